#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "bench.h"
#include "converter.h"
#include "pins.h"

static const uint8_t TICK_COUNTS = F_CPU / 64 / 1000;

uint32_t clock_rounds_us;
static uint32_t ticks_left;  // to the next step, beyond the compare that is set
static bool counting_down;   // ticks_left is not 0

void clock_start() {
  TCCR1A = 0;
  TCCR1B = 1 << CS11;
  TIMSK1 = 1 << TOIE1;
  TCCR0A = 1 << WGM01;
  TCCR0B = (1 << CS01) | (1 << CS00);
  OCR0A = TICK_COUNTS - 1;
  TIMSK0 = 1 << OCIE0A;
}

ISR(TIMER1_OVF_vect) { clock_rounds_us += CLOCK_ROUND_US; }

ISR(TIMER0_COMPA_vect) {
  converter_start();
  bench_wake();
}

// The next compare, so many counts after the one that is set.
__attribute__((always_inline)) static inline void compare_after(uint16_t ticks) {
  const uint16_t last = OCR1A;
  OCR1A = (uint16_t)(last + ticks);
  // One that is past by now would come a whole round later.
  if ((uint16_t)(TCNT1 - last) >= ticks && !(TIFR1 & (1 << OCF1A))) {
    OCR1A = (uint16_t)(TCNT1 + 2);
  }
}

void clock_start_steps(uint16_t ticks) {
  counting_down = false;
  OCR1A = (uint16_t)(TCNT1 + ticks);
  TIFR1 = 1 << OCF1A;
  TIMSK1 |= 1 << OCIE1A;
}

static void count_down() {
  counting_down = ticks_left >= 0x10000;
  const uint16_t ticks = counting_down ? 0x8000 : (uint16_t)ticks_left;
  ticks_left -= ticks;
  compare_after(ticks);
}

static bool others_in;  // the step interrupt under way can be interrupted

void clock_let_others_in() {
  others_in = true;
  PCICR = 0;
  TIMSK1 = 1 << TOIE1;
  sei();
}

static inline void keep_others_out() {
  cli();
  if (others_in) {
    others_in = false;
    PCICR = 1 << PCIE2;
    TIMSK1 = (1 << TOIE1) | (1 << OCIE1A);
  }
}

// Small code is what all is compiled for; here a step may take no longer than a byte.
ISR(TIMER1_COMPA_vect, __attribute__((optimize("gcse")))) {
  if (counting_down) {
    count_down();
    return;
  }
  const uint32_t ticks = core::step_due(board);
  keep_others_out();
  if (ticks == 0) {
    TIMSK1 &= (uint8_t)~(1 << OCIE1A);
    bench_wake();
  } else if (ticks < 0x10000) {
    compare_after((uint16_t)ticks);
  } else {
    ticks_left = ticks;
    count_down();
  }
  BENCHD_STEP_PORT &= (uint8_t)~(1 << BENCHD_STEP_BIT);
}
