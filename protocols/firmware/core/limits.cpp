#include "limits.h"

#include "board.h"
#include "crc.h"
#include "rom.h"

namespace core {

// What the rows of the tables hold.
enum Which { LOW, HIGH, START, WHICH_COUNT };

using wire::NARROW;
static const uint8_t PLACES[wire::LIMIT_COUNT] ROM = {BENCHD_LIMIT_PLACES};
static const uint16_t LOWER[wire::LIMIT_COUNT][WHICH_COUNT] ROM = {BENCHD_LIMIT_LOWER};
static const uint16_t UPPER[wire::WIDE_LIMITS][WHICH_COUNT] ROM = {BENCHD_LIMIT_UPPER};

static uint8_t place_of(uint8_t index) { return (uint8_t)ROM_CHAR(&PLACES[index]); }

static int32_t joined(uint16_t upper, uint16_t lower) { return (int32_t)((uint32_t)upper << 16 | lower); }

static int32_t from_table(uint8_t index, Which which) {
  uint16_t lower;
  ROM_COPY(lower, LOWER[index][which]);
  uint16_t upper = 0;
  const uint8_t place = place_of(index);
  if (place != NARROW) {
    ROM_COPY(upper, UPPER[place][which]);
  }
  return joined(upper, lower);
}

static void load(Limits &limits, uint8_t index, int32_t value) {
  limits.lower[index] = (uint16_t)value;
  const uint8_t place = place_of(index);
  if (place != NARROW) {
    limits.upper[place] = (uint16_t)((uint32_t)value >> 16);
  }
}

void limits_init(Limits &limits) {
  for (uint8_t i = 0; i < wire::LIMIT_COUNT; ++i) {
    load(limits, i, from_table(i, START));
  }
  limits.digest = 0;
  limits.in_force = false;
}

int32_t limit(const Board &board, uint8_t index) {
  return board.limits.in_force ? limit_loaded(board.limits, index) : from_table(index, START);
}

uint16_t limit16(const Board &board, uint8_t index) { return (uint16_t)limit(board, index); }

int32_t limit_loaded(const Limits &limits, uint8_t index) {
  const uint8_t place = place_of(index);
  return joined(place == NARROW ? 0 : limits.upper[place], limits.lower[index]);
}

LimitVerdict limits_set(Limits &limits, uint8_t key, int32_t value, int32_t &nearest) {
  nearest = wire::LIMIT_COUNT;
  if (key == 0 || key > wire::LIMIT_COUNT) {
    return LIMIT_NO_SUCH_KEY;
  }
  const uint8_t index = (uint8_t)(key - 1);
  nearest = from_table(index, LOW);
  if (value < nearest) {
    return LIMIT_TOO_LOW;
  }
  nearest = from_table(index, HIGH);
  if (value > nearest) {
    return LIMIT_TOO_HIGH;
  }
  load(limits, index, value);
  limits.in_force = false;
  limits.digest = 0;
  return LIMIT_TAKEN;
}

uint32_t limits_digest(const Limits &limits) {
  uint32_t crc = CRC32_START;
  for (uint8_t i = 0; i < wire::LIMIT_COUNT; ++i) {
    uint32_t value = (uint32_t)limit_loaded(limits, i);
    for (uint8_t k = 0; k < 4; ++k) {
      crc = crc32(crc, (uint8_t)value);
      value >>= 8;
    }
  }
  return ~crc;
}

}  // namespace core
