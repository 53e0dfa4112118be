// The one board, and what wakes its main loop.
#ifndef BENCHD_BENCH_H
#define BENCHD_BENCH_H
#include "../core/board.h"

extern core::Board board;
extern volatile bool bench_awake;

// The main loop has something to do. In interrupts.
inline void bench_wake() { bench_awake = true; }

#endif
