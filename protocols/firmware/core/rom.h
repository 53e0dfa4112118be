// Where constant tables live. A board with separate program memory names its own header in BENCHD_ROM_H; it then
// defines the same three words, so that no table costs RAM there.
#ifndef BENCHD_ROM
#define BENCHD_ROM

#ifdef BENCHD_ROM_H
#include BENCHD_ROM_H
#else
#include <string.h>
#define ROM
#define ROM_COPY(to, from) memcpy(&(to), &(from), sizeof(to))
#define ROM_CHAR(at) (*(at))
#endif

#endif
