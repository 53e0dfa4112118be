// Lines from the host: the receive ring, framing, and numbers with one spelling each.
#ifndef BENCHD_LINE_H
#define BENCHD_LINE_H
#include <stdint.h>

#include "wire.h"

namespace core {

static const uint8_t RX_BYTES = 64;

// Filled by the receive interrupt, emptied by the main loop.
struct Rx {
  uint8_t bytes[RX_BYTES];
  volatile uint8_t in;
  volatile uint8_t out;
  uint32_t newline_us;  // when the newest newline came
  uint16_t taken;       // bytes taken out since boot, modulo 65536
};

// Drops the byte when the ring is full: the line then fails its check.
void rx_put(Rx &rx, uint8_t byte, uint32_t now_us);
bool rx_take(Rx &rx, uint8_t &byte);
bool rx_empty(const Rx &rx);

enum Verdict { LINE_UNFINISHED, LINE_GOOD, LINE_SHORT, LINE_LONG, LINE_CHARACTERS, LINE_CHECK };

struct Line {
  char text[wire::LINE_BYTES_MAX];
  uint8_t length;  // of the body once the verdict is LINE_GOOD; the body then ends with a zero
  uint8_t damage;  // a Verdict that the bytes so far already brought
};

// Takes one byte. Says anything but LINE_UNFINISHED once for each line: an over-long one when it is too long.
Verdict line_byte(Line &line, uint8_t byte);

// Where the reading of a body stands.
struct Cursor {
  const char *at;
};

enum NumberKind { NUMBER_NONE, NUMBER_FITS, NUMBER_TOO_BIG };

struct Number {
  uint32_t size;
  bool negative;
};

// Reads the space before a number and the number itself, up to the next space or the end.
NumberKind read_number(Cursor &cursor, Number &number);

}  // namespace core

#endif
