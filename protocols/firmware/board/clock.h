// Timer 1 counts half microseconds and times the steps; timer 0 ticks each millisecond.
#ifndef BENCHD_CLOCK_H
#define BENCHD_CLOCK_H
#include <avr/io.h>
#include <stdint.h>

static const uint32_t CLOCK_ROUND_US = 32768;  // one round of timer 1
extern uint32_t clock_rounds_us;

void clock_start();

// Board time in us. In interrupts, or with them off. It is in the way of every step and every byte: no call, few
// registers.
__attribute__((always_inline)) inline uint32_t clock_us() {
  const uint16_t count = TCNT1;
  uint32_t us = clock_rounds_us + (count >> 1);
  if ((TIFR1 & (1 << TOV1)) && count < 0x8000) {
    us += CLOCK_ROUND_US;  // the round that has just ended is not counted yet
  }
  return us;
}

// The next step is due this many half microseconds from now. With interrupts off.
void clock_start_steps(uint16_t ticks);

// From here on to its end the step interrupt lets in those that do not touch the feed: bytes, readings, the tick. Not
// those of the contacts and of the next step.
void clock_let_others_in();

#endif
