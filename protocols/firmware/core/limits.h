// The values that a bench card loads into the board.
#ifndef BENCHD_LIMITS_H
#define BENCHD_LIMITS_H
#include <stdint.h>

#include "wire.h"

namespace core {

struct Board;

// Most values fit 16 bits; the upper halves of the others stand apart, which saves RAM.
struct Limits {
  uint16_t lower[wire::LIMIT_COUNT];
  uint16_t upper[wire::WIDE_LIMITS];
  uint32_t digest;  // of the values in force, 0 if none
  bool in_force;
};

void limits_init(Limits &limits);

// The value in force: the one at boot while none were adopted. `index` is a wire::LIMIT_ number.
int32_t limit(const Board &board, uint8_t index);

// The same of one that fits 16 bits, or the lower half.
uint16_t limit16(const Board &board, uint8_t index);

// The value loaded last, in force or not.
int32_t limit_loaded(const Limits &limits, uint8_t index);

enum LimitVerdict { LIMIT_TAKEN, LIMIT_NO_SUCH_KEY, LIMIT_TOO_LOW, LIMIT_TOO_HIGH };

// Loads one value and takes the limits out of force; `nearest` is the allowed value when it is refused.
LimitVerdict limits_set(Limits &limits, uint8_t key, int32_t value, int32_t &nearest);

// CRC-32/ISO-HDLC over all loaded values.
uint32_t limits_digest(const Limits &limits);

}  // namespace core

#endif
