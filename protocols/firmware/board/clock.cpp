#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "bench.h"
#include "converter.h"
#include "pins.h"

static const uint32_t ROUND_US = 32768;  // one round of timer 1
static const uint8_t TICK_COUNTS = F_CPU / 64 / 1000;

static uint32_t rounds_us;
static uint32_t ticks_left;  // to the next step, beyond the compare that is set

void clock_start() {
  TCCR1A = 0;
  TCCR1B = 1 << CS11;
  TIMSK1 = 1 << TOIE1;
  TCCR0A = 1 << WGM01;
  TCCR0B = (1 << CS01) | (1 << CS00);
  OCR0A = TICK_COUNTS - 1;
  TIMSK0 = 1 << OCIE0A;
}

uint32_t clock_us() {
  const uint16_t count = TCNT1;
  uint32_t us = rounds_us + (count >> 1);
  if ((TIFR1 & (1 << TOV1)) && count < 0x8000) {
    us += ROUND_US;  // the round that has just ended is not counted yet
  }
  return us;
}

ISR(TIMER1_OVF_vect) { rounds_us += ROUND_US; }

ISR(TIMER0_COMPA_vect) {
  converter_start();
  bench_wake();
}

// The next compare, so many counts after the one that is set.
static inline void compare_after(uint16_t ticks) {
  const uint16_t last = OCR1A;
  OCR1A = (uint16_t)(last + ticks);
  // One that is past by now would come a whole round later.
  if ((uint16_t)(TCNT1 - last) >= ticks && !(TIFR1 & (1 << OCF1A))) {
    OCR1A = (uint16_t)(TCNT1 + 2);
  }
}

void clock_start_steps(uint16_t ticks) {
  ticks_left = 0;
  OCR1A = (uint16_t)(TCNT1 + ticks);
  TIFR1 = 1 << OCF1A;
  TIMSK1 |= 1 << OCIE1A;
}

static void count_down() {
  if (ticks_left >= 0x10000) {
    ticks_left -= 0x8000;
    compare_after(0x8000);
  } else {
    const uint16_t ticks = (uint16_t)ticks_left;
    ticks_left = 0;
    compare_after(ticks);
  }
}

ISR(TIMER1_COMPA_vect) {
  if (ticks_left != 0) {
    count_down();
    return;
  }
  const uint32_t ticks = core::step_due(board);
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
