// How long the main loop may rest when nothing comes in.
#ifndef BENCHD_IDLE_H
#define BENCHD_IDLE_H
#include "../core/board.h"

// Milliseconds until the next poll that can do anything, 1 to 1000.
uint32_t idle_ms(const core::Board &board);

#endif
