// What happens before main: outputs off with the very first instructions, and why the chip started.
#ifndef BENCHD_START_H
#define BENCHD_START_H
#include <stdint.h>

// A wire::CAUSE_ number; kept until the next start.
uint8_t start_cause();

// A main loop that does not call this for 60 ms restarts the board.
void start_alive();

#endif
