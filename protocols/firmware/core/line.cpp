#include "line.h"

#include "crc.h"

namespace core {

static const uint8_t TAIL = 5;  // a space and four digits

static_assert((RX_BYTES & (RX_BYTES - 1)) == 0, "the ring wraps by a mask");

void rx_put(Rx &rx, uint8_t byte, uint32_t now_us) {
  // The count runs freely, so that all 64 places can be used.
  if ((uint8_t)(rx.in - rx.out) >= RX_BYTES) {
    return;
  }
  rx.bytes[rx.in & (RX_BYTES - 1)] = byte;
  if (byte == '\n') {
    rx.newline_us = now_us;
  }
  rx.in = (uint8_t)(rx.in + 1);
}

bool rx_empty(const Rx &rx) { return rx.in == rx.out; }

bool rx_take(Rx &rx, uint8_t &byte) {
  if (rx_empty(rx)) {
    return false;
  }
  byte = rx.bytes[rx.out & (RX_BYTES - 1)];
  rx.out = (uint8_t)(rx.out + 1);
  ++rx.taken;
  return true;
}

static char hex_digit(uint8_t nibble) { return (char)(nibble < 10 ? '0' + nibble : 'A' + nibble - 10); }

static Verdict unframe(Line &line, char *text) {
  if (line.length <= TAIL) {
    return LINE_SHORT;
  }
  const uint8_t body = line.length - TAIL;
  if (text[body] != ' ') {
    return LINE_SHORT;
  }
  uint16_t crc = CRC16_START;
  for (uint8_t i = 0; i < body; ++i) {
    crc = crc16(crc, (uint8_t)text[i]);
  }
  for (uint8_t i = 0; i < 4; ++i) {
    if (text[body + 1 + i] != hex_digit((uint8_t)(crc >> 12))) {
      return LINE_CHECK;
    }
    crc = (uint16_t)(crc << 4);
  }
  text[body] = 0;
  line.length = body;
  return LINE_GOOD;
}

Verdict line_byte(Line &line, char *text, uint8_t room, uint8_t byte) {
  if (byte == '\n') {
    const Verdict damage = (Verdict)line.damage;
    Verdict verdict = damage;
    if (damage == LINE_UNFINISHED) {
      verdict = unframe(line, text);
    } else if (damage == LINE_LONG) {
      verdict = LINE_UNFINISHED;  // told already
    }
    line.damage = LINE_UNFINISHED;
    if (verdict != LINE_GOOD) {
      line.length = 0;
    }
    return verdict;
  }
  if (line.damage == LINE_LONG) {
    return LINE_UNFINISHED;
  }
  if (line.length >= room - 1) {
    line.damage = LINE_LONG;
    return LINE_LONG;
  }
  if (byte < 0x20 || byte > 0x7E) {
    line.damage = LINE_CHARACTERS;
  }
  text[line.length++] = (char)byte;
  return LINE_UNFINISHED;
}

NumberKind read_number(Cursor &cursor, Number &number) {
  const char *at = cursor.at;
  number.size = 0;
  number.negative = false;
  if (*at != ' ') {
    return NUMBER_NONE;
  }
  ++at;
  if (*at == '-') {
    number.negative = true;
    ++at;
  }
  if (*at == '0' && (number.negative || (at[1] != ' ' && at[1] != 0))) {
    return NUMBER_NONE;
  }
  bool fits = true;
  const char *const first = at;
  for (; *at >= '0' && *at <= '9'; ++at) {
    const uint8_t digit = (uint8_t)(*at - '0');
    if (number.size > 429496729u || (number.size == 429496729u && digit > 5)) {
      fits = false;
    } else {
      number.size = number.size * 10 + digit;
    }
  }
  if (at == first || (*at != ' ' && *at != 0)) {
    return NUMBER_NONE;
  }
  cursor.at = at;
  return fits ? NUMBER_FITS : NUMBER_TOO_BIG;
}

}  // namespace core
