// Timer 1 counts half microseconds and times the steps; timer 0 ticks each millisecond.
#ifndef BENCHD_CLOCK_H
#define BENCHD_CLOCK_H
#include <stdint.h>

void clock_start();

// Board time in us. In interrupts, or with them off.
uint32_t clock_us();

// The next step is due this many half microseconds from now. With interrupts off.
void clock_start_steps(uint16_t ticks);

#endif
