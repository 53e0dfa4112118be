#include "text.h"

#include "crc.h"
#include "rom.h"
#include "wire.h"

namespace core {

static_assert((TX_BYTES & (TX_BYTES - 1)) == 0, "the ring wraps by a mask");
static_assert(TX_BYTES >= wire::LINE_BYTES_MAX, "the longest line must fit");

static const uint32_t POWERS[9] ROM = {1000000000u, 100000000u, 10000000u, 1000000u, 100000u, 10000u, 1000u, 100u, 10u};

uint8_t tx_room(const Tx &tx) { return (uint8_t)(TX_BYTES - (uint8_t)(tx.in - tx.out)); }

bool tx_take(Tx &tx, uint8_t &byte) {
  if (tx.in == tx.out) {
    return false;
  }
  byte = tx.bytes[tx.out & (TX_BYTES - 1)];
  tx.out = (uint8_t)(tx.out + 1);
  return true;
}

static void put_raw(Text &text, char byte) {
  if ((uint8_t)(text.at - text.tx->out) >= TX_BYTES) {
    text.full = true;
    return;
  }
  text.tx->bytes[text.at & (TX_BYTES - 1)] = (uint8_t)byte;
  text.at = (uint8_t)(text.at + 1);
}

static void put(Text &text, char byte) {
  text.crc = crc16(text.crc, (uint8_t)byte);
  put_raw(text, byte);
}

static void put_rom(Text &text, const char *rom) {
  for (uint8_t i = 0; i < 16; ++i) {
    const char byte = (char)ROM_CHAR(rom + i);
    if (byte == 0) {
      return;
    }
    put(text, byte);
  }
}

Text text_begin(Tx &tx, const char *rom_tag) {
  Text text = {&tx, CRC16_START, tx.in, false};
  put_rom(text, rom_tag);
  return text;
}

// Subtraction of powers of ten: the board has no divider.
static void put_digits(Text &text, uint32_t value) {
  bool leading = true;
  for (uint8_t i = 0; i < 9; ++i) {
    uint32_t power;
    ROM_COPY(power, POWERS[i]);
    char digit = '0';
    while (value >= power) {
      value -= power;
      ++digit;
    }
    if (digit != '0' || !leading) {
      leading = false;
      put(text, digit);
    }
  }
  put(text, (char)('0' + (uint8_t)value));
}

void text_u32(Text &text, uint32_t value) {
  put(text, ' ');
  put_digits(text, value);
}

void text_i32(Text &text, int32_t value) {
  put(text, ' ');
  if (value < 0) {
    put(text, '-');
    put_digits(text, 0u - (uint32_t)value);
    return;
  }
  put_digits(text, (uint32_t)value);
}

void text_word(Text &text, const char *word, uint8_t most) {
  put(text, ' ');
  for (uint8_t i = 0; i < most && word[i] != 0; ++i) {
    put(text, word[i]);
  }
}

void text_rom_word(Text &text, const char *rom_word) {
  put(text, ' ');
  put_rom(text, rom_word);
}

bool text_end(Text &text) {
  uint16_t crc = text.crc;
  put_raw(text, ' ');
  for (uint8_t i = 0; i < 4; ++i) {
    const uint8_t nibble = (uint8_t)(crc >> 12);
    put_raw(text, (char)(nibble < 10 ? '0' + nibble : 'A' + nibble - 10));
    crc = (uint16_t)(crc << 4);
  }
  put_raw(text, '\n');
  if (text.full) {
    return false;
  }
  text.tx->in = text.at;
  return true;
}

}  // namespace core
