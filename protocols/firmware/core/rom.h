// Where constant tables live, how interrupts are kept away, and what else keeps the code of a small board small. A board
// with separate program memory or with interrupts names its own header in BENCHD_ROM_H; it then defines the same five
// words, so that no table costs RAM there. BENCHD_LOCK keeps interrupts away until BENCHD_UNLOCK gets its result back;
// both must keep the compiler from moving memory accesses across them.
#ifndef BENCHD_ROM
#define BENCHD_ROM

#ifdef BENCHD_ROM_H
#include BENCHD_ROM_H
#else
#include <string.h>
#define ROM
#define ROM_COPY(to, from) memcpy(&(to), &(from), sizeof(to))
#define ROM_CHAR(at) (*(at))
#define BENCHD_LOCK() 0
#define BENCHD_UNLOCK(before) (void)(before)
#endif

// A function that is to get a pointer and no fixed place built in: through a pointer a struct of small size takes half
// the code on an 8-bit board.
#ifdef __AVR__
#define APART __attribute__((noinline, noclone))
#else
#define APART
#endif

#endif
