// Made by protocols/gen.py from protocols/pins.py. Not to be edited.
#ifndef BENCHD_PINS_H
#define BENCHD_PINS_H

// Pins 0 to 7 in the order of the wire, as they stand: a closed contact reads 0.
#define BENCHD_CONTACTS ((uint8_t)((uint8_t)(PINC & 0x18) << 3) | (uint8_t)((uint8_t)(PIND & 0xFC) >> 2))

// Each output: its port, its bit.
#define BENCHD_STEP_PORT PORTB
#define BENCHD_STEP_BIT 0
#define BENCHD_DRIVE_PORT PORTB
#define BENCHD_DRIVE_BIT 1
#define BENCHD_VALVE_PORT PORTB
#define BENCHD_VALVE_BIT 2
#define BENCHD_DIRECTION_PORT PORTB
#define BENCHD_DIRECTION_BIT 3
#define BENCHD_LEAVING_PORT PORTB
#define BENCHD_LEAVING_BIT 4

// Each reading: its channel of the converter.
#define BENCHD_EYE_CHANNEL 0
#define BENCHD_THRUST_CHANNEL 1
#define BENCHD_AIR_CHANNEL 2

// Reads 1 while on: sees the portion fall.
#define BENCHD_DROP_EYE_PINS PINB
#define BENCHD_DROP_EYE_BIT 5

// Outputs, and contacts with the chip's pull-up, of each port.
#define BENCHD_OUTPUTS_B 0x1F
#define BENCHD_CONTACTS_B 0x00
#define BENCHD_OUTPUTS_C 0x00
#define BENCHD_CONTACTS_C 0x18
#define BENCHD_OUTPUTS_D 0x00
#define BENCHD_CONTACTS_D 0xFC
#define BENCHD_ANALOG_C 0x07

// Guard, stop, home, far and ends: a change of theirs interrupts.
#define BENCHD_WATCHED_D 0x7C

#endif
