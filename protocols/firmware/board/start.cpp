#include "start.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "../core/wire.h"
#include "pins.h"

// Not cleared by the start code, which runs after they are written.
static uint8_t reset_flags __attribute__((section(".noinit")));
static uint8_t loader_flags __attribute__((section(".noinit")));

// A boot loader may have left anything on the ports and interrupts on. No register is set up yet, so this is assembly.
// Levels first, then directions: no output is ever high for a moment.
extern "C" void outputs_off() __attribute__((naked, used, section(".init1")));
void outputs_off() {
  asm volatile(
      "cli\n\t"
      "ldi r16, 0\n\t"
      "out %[portb], r16\n\t"
      "out %[portc], r16\n\t"
      "out %[portd], r16\n\t"
      "ldi r16, %[outb]\n\t"
      "out %[ddrb], r16\n\t"
      "ldi r16, %[outc]\n\t"
      "out %[ddrc], r16\n\t"
      "ldi r16, %[outd]\n\t"
      "out %[ddrd], r16\n\t"
      "sts %[kept], r2\n\t"
      :
      : [portb] "I"(_SFR_IO_ADDR(PORTB)), [portc] "I"(_SFR_IO_ADDR(PORTC)), [portd] "I"(_SFR_IO_ADDR(PORTD)),
        [ddrb] "I"(_SFR_IO_ADDR(DDRB)), [ddrc] "I"(_SFR_IO_ADDR(DDRC)), [ddrd] "I"(_SFR_IO_ADDR(DDRD)),
        [outb] "M"(BENCHD_OUTPUTS_B), [outc] "M"(BENCHD_OUTPUTS_C), [outd] "M"(BENCHD_OUTPUTS_D),
        [kept] "i"(&loader_flags)
      : "r16");
}

// The flags are cleared, or the next start would show them again; the watchdog runs on from a watchdog start, with its
// shortest time, until it is set anew.
extern "C" void keep_cause() __attribute__((naked, used, section(".init3")));
void keep_cause() {
  reset_flags = MCUSR;
  MCUSR = 0;
  wdt_enable(WDTO_60MS);
}

uint8_t start_cause() {
  // Common boot loaders clear the flags and leave them in register 2.
  const bool from_loader = reset_flags == 0 && loader_flags < 16;
  const uint8_t flags = from_loader ? loader_flags : reset_flags;
  if (flags & (1 << PORF)) {
    return wire::CAUSE_POWER;
  }
  if (flags & (1 << BORF)) {
    return wire::CAUSE_LOWVOLT;
  }
  if (flags & (1 << WDRF)) {
    return wire::CAUSE_WATCHDOG;
  }
  return (flags & (1 << EXTRF)) ? wire::CAUSE_BUTTON : wire::CAUSE_UNKNOWN;
}

void start_alive() { wdt_reset(); }
