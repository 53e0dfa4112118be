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

static void put_raw(Tx &tx, char byte) {
  if ((uint8_t)(tx.at - tx.out) >= TX_BYTES) {
    tx.full = true;
    return;
  }
  tx.bytes[tx.at & (TX_BYTES - 1)] = (uint8_t)byte;
  tx.at = (uint8_t)(tx.at + 1);
}

static void put(Tx &tx, char byte) {
  tx.crc = crc16(tx.crc, (uint8_t)byte);
  put_raw(tx, byte);
}

static void put_rom(Tx &tx, const char *rom) {
  for (uint8_t i = 0; i < 16; ++i) {
    const char byte = (char)ROM_CHAR(rom + i);
    if (byte == 0) {
      return;
    }
    put(tx, byte);
  }
}

void text_begin(Tx &tx, const char *rom_tag) {
  tx.crc = CRC16_START;
  tx.at = tx.in;
  tx.full = false;
  put_rom(tx, rom_tag);
}

// Subtraction of powers of ten: the board has no divider.
static void put_digits(Tx &tx, uint32_t value) {
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
      put(tx, digit);
    }
  }
  put(tx, (char)('0' + (uint8_t)value));
}

void text_u32(Tx &tx, uint32_t value) {
  put(tx, ' ');
  put_digits(tx, value);
}

void text_u16(Tx &tx, uint16_t value) { text_u32(tx, value); }

void text_i32(Tx &tx, int32_t value) {
  put(tx, ' ');
  if (value < 0) {
    put(tx, '-');
    put_digits(tx, 0u - (uint32_t)value);
    return;
  }
  put_digits(tx, (uint32_t)value);
}

void text_word(Tx &tx, const char *word, uint8_t most) {
  put(tx, ' ');
  for (uint8_t i = 0; i < most && word[i] != 0; ++i) {
    put(tx, word[i]);
  }
}

void text_rom_word(Tx &tx, const char *rom_word) {
  put(tx, ' ');
  put_rom(tx, rom_word);
}

bool text_end(Tx &tx) {
  uint16_t crc = tx.crc;
  put_raw(tx, ' ');
  for (uint8_t i = 0; i < 4; ++i) {
    const uint8_t nibble = (uint8_t)(crc >> 12);
    put_raw(tx, (char)(nibble < 10 ? '0' + nibble : 'A' + nibble - 10));
    crc = (uint16_t)(crc << 4);
  }
  put_raw(tx, '\n');
  if (tx.full) {
    return false;
  }
  tx.in = tx.at;
  return true;
}

}  // namespace core
