// The converter: each millisecond one reading of the supply and of each sensor, by itself.
#ifndef BENCHD_CONVERTER_H
#define BENCHD_CONVERTER_H
#include <stdint.h>

void converter_init();

// Begins a round of readings. In an interrupt.
void converter_start();

// The newest reading of a core::ADC_ channel, 0 to 1023.
uint16_t converter_counts(uint8_t channel);

// The logic supply [mV], from the chip's own reference; 0 before the first reading.
uint16_t converter_supply_mv();

#endif
