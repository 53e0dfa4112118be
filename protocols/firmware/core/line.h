// Lines from the host: the receive ring, framing, and numbers with one spelling each.
#ifndef BENCHD_LINE_H
#define BENCHD_LINE_H
#include <stdint.h>

#include "wire.h"

namespace core {

static const uint8_t RX_BYTES = 64;

// Filled by the receive interrupt, emptied by the main loop.
struct Rx {
  volatile uint8_t bytes[RX_BYTES];
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

// A line being received. Its text lies with the caller: the board needs room for lines from the host only.
struct Line {
  uint8_t length;  // of the body once the verdict is LINE_GOOD; the body then ends with a zero
  uint8_t damage;  // a Verdict that the bytes so far already brought
};

// Longest line from the host that can be under way at all, newline included.
static const uint8_t HOST_LINE_ROOM = wire::WINDOW_BYTES;

// Takes one byte of a line of at most `room` bytes with its newline. Says anything but LINE_UNFINISHED once for each
// line: of an over-long one as soon as it is too long.
Verdict line_byte(Line &line, char *text, uint8_t room, uint8_t byte);

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
