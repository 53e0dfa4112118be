// Tables of the core in program memory, so that they cost no RAM. Two and four bytes are most of what is read, and are
// read without a call.
#ifndef BENCHD_ROM_AVR_H
#define BENCHD_ROM_AVR_H
#include <avr/pgmspace.h>
#include <stdint.h>
#include <string.h>

template <unsigned SIZE>
struct RomReader {
  static void copy(void *to, const void *from) { memcpy_P(to, from, SIZE); }
};
template <>
struct RomReader<2> {
  static void copy(void *to, const void *from) {
    const uint16_t word = pgm_read_word(from);
    __builtin_memcpy(to, &word, 2);
  }
};
template <>
struct RomReader<4> {
  static void copy(void *to, const void *from) {
    const uint32_t word = pgm_read_dword(from);
    __builtin_memcpy(to, &word, 4);
  }
};

#define ROM PROGMEM
#define ROM_COPY(to, from) RomReader<sizeof(to)>::copy(&(to), &(from))
#define ROM_CHAR(at) pgm_read_byte(at)

#endif
