#include "limits.h"

#include "crc.h"
#include "rom.h"

namespace core {

static const wire::LimitRow ROWS[wire::LIMIT_COUNT] ROM = {BENCHD_LIMIT_ROWS};

static void load(Limits &limits, uint8_t index, const wire::LimitRow &row, int32_t value) {
  limits.lower[index] = (uint16_t)value;
  if (row.wide != wire::NARROW) {
    limits.upper[row.wide] = (uint16_t)((uint32_t)value >> 16);
  }
}

static int32_t loaded(const Limits &limits, uint8_t index, const wire::LimitRow &row) {
  const uint16_t upper = row.wide == wire::NARROW ? 0 : limits.upper[row.wide];
  return (int32_t)(((uint32_t)upper << 16) | limits.lower[index]);
}

void limits_init(Limits &limits) {
  for (uint8_t i = 0; i < wire::LIMIT_COUNT; ++i) {
    wire::LimitRow row;
    ROM_COPY(row, ROWS[i]);
    load(limits, i, row, row.start);
  }
  limits.digest = 0;
  limits.in_force = false;
}

int32_t limit(const Limits &limits, uint8_t index) {
  wire::LimitRow row;
  ROM_COPY(row, ROWS[index]);
  return limits.in_force ? loaded(limits, index, row) : row.start;
}

int32_t limit_loaded(const Limits &limits, uint8_t index) {
  wire::LimitRow row;
  ROM_COPY(row, ROWS[index]);
  return loaded(limits, index, row);
}

LimitVerdict limits_set(Limits &limits, uint8_t key, int32_t value, int32_t &nearest) {
  for (uint8_t i = 0; i < wire::LIMIT_COUNT; ++i) {
    wire::LimitRow row;
    ROM_COPY(row, ROWS[i]);
    if (row.key != key) {
      continue;
    }
    if (value < row.low) {
      nearest = row.low;
      return LIMIT_TOO_LOW;
    }
    if (value > row.high) {
      nearest = row.high;
      return LIMIT_TOO_HIGH;
    }
    load(limits, i, row, value);
    limits.in_force = false;
    limits.digest = 0;
    return LIMIT_TAKEN;
  }
  nearest = wire::LIMIT_COUNT;
  return LIMIT_NO_SUCH_KEY;
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
