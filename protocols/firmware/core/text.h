// Lines to the host: a bounded writer into the transmit ring. A line goes in whole or not at all, and nothing waits.
#ifndef BENCHD_TEXT_H
#define BENCHD_TEXT_H
#include <stdint.h>

namespace core {

static const uint8_t TX_BYTES = 128;

// Filled by the main loop, emptied by the transmit interrupt.
struct Tx {
  volatile uint8_t bytes[TX_BYTES];
  volatile uint8_t in;
  volatile uint8_t out;
  // Of the line being written; what it wrote is invisible to the interrupt until text_end.
  uint8_t at;
  bool full;
  uint16_t crc;
};

bool tx_take(Tx &tx, uint8_t &byte);
uint8_t tx_room(const Tx &tx);

// Begins a line. One line is written at a time.
void text_begin(Tx &tx, const char *rom_tag);
void text_u16(Tx &tx, uint16_t value);
void text_u32(Tx &tx, uint32_t value);
void text_i32(Tx &tx, int32_t value);
void text_word(Tx &tx, const char *word, uint8_t most);
void text_rom_word(Tx &tx, const char *rom_word);

// Adds check value and newline; false when there was no room, and then nothing of the line is sent.
bool text_end(Tx &tx);

}  // namespace core

#endif
