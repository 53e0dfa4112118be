// Tables of the core in program memory, so that they cost no RAM. Two and four bytes are most of what is read, and are
// read without a call.
#ifndef BENCHD_ROM_AVR_H
#define BENCHD_ROM_AVR_H
#include <avr/interrupt.h>
#include <avr/io.h>
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

// Keeps interrupts away, and lets them in again as before; no memory access moves across either.
__attribute__((always_inline)) static inline uint8_t board_lock() {
  const uint8_t before = SREG;
  cli();
  return before;
}
__attribute__((always_inline)) static inline void board_unlock(uint8_t before) {
  asm volatile("" ::: "memory");
  SREG = before;
}
#define BENCHD_LOCK() board_lock()
#define BENCHD_UNLOCK(before) board_unlock(before)

#define ROM PROGMEM
#define ROM_COPY(to, from) RomReader<sizeof(to)>::copy(&(to), &(from))
#define ROM_CHAR(at) pgm_read_byte(at)

#endif
