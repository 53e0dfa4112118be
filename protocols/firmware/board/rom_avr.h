// Tables of the core in program memory, so that they cost no RAM.
#ifndef BENCHD_ROM_AVR_H
#define BENCHD_ROM_AVR_H
#include <avr/pgmspace.h>
#include <string.h>

#define ROM PROGMEM
#define ROM_COPY(to, from) memcpy_P(&(to), &(from), sizeof(to))
#define ROM_CHAR(at) pgm_read_byte(at)

#endif
