#include "ramp.h"

#include "rom.h"

namespace core {

// 0.676 * 2000000 * sqrt(2)
static const uint32_t FIRST_FACTOR = 1912017;

static uint32_t square_root(uint32_t value) {
  uint32_t root = 0;
  for (uint32_t bit = (uint32_t)1 << 30; bit != 0; bit >>= 2) {
    if (value >= root + bit) {
      value -= root + bit;
      root = (root >> 1) + bit;
    } else {
      root >>= 1;
    }
  }
  return root;
}

uint32_t ramp_first_interval(uint32_t accel) {
  // Scaled so that the root has as many bits as fit; half the scale goes into the factor.
  const uint8_t shift = accel < 4096 ? 10 : accel < 65536 ? 8 : 6;
  const uint32_t scale = (uint32_t)1 << shift;
  return FIRST_FACTOR * scale / square_root(accel * scale * scale);
}

void ramp_begin(Ramp &ramp, uint32_t steps, uint16_t speed, uint32_t accel) {
  ramp.fastest = (TICKS_PER_S + speed - 1) / speed;
  ramp.interval = ramp_first_interval(accel);
  if (ramp.interval < ramp.fastest) {
    ramp.interval = ramp.fastest;
  }
  ramp.rest = 0;
  ramp.index = 0;
  ramp.left = steps;
  ramp.accel = accel;
  ramp.fresh = true;
  ramp.rising = true;
}

// Quotients are below 8 whenever intervals are short, so that the slow division is for slow steps only.
static uint32_t divide(uint32_t value, uint32_t by, uint32_t &rest) {
  uint8_t quotient = 0;
  for (; value >= by; value -= by) {
    if (quotient == 8) {
      rest = value % by;
      return value / by + 8;
    }
    ++quotient;
  }
  rest = value;
  return quotient;
}

APART static void change(Ramp &ramp, bool rise) {
  if (ramp.rising != rise) {
    ramp.rest = 0;
    ramp.rising = rise;
  }
  if (rise) {
    ++ramp.index;
  }
  const uint32_t by = 4 * ramp.index + (rise ? 1 : (uint32_t)-1);
  const uint32_t change = divide(2 * ramp.interval + ramp.rest, by, ramp.rest);
  if (!rise) {
    ramp.interval += change;
    --ramp.index;
    return;
  }
  ramp.interval -= change;
  if (ramp.interval < ramp.fastest) {
    ramp.interval = ramp.fastest;
    ramp.rest = 0;
  }
}

uint32_t ramp_next(Ramp &ramp) {
  if (ramp.left <= 1) {
    ramp.left = 0;
    return 0;
  }
  --ramp.left;
  if (ramp.fresh) {
    ramp.fresh = false;
    return ramp.interval;
  }
  const uint32_t after = ramp.left - 1;  // intervals that follow the coming one
  const bool fall = ramp.index > after;
  if (fall || (ramp.index < after && ramp.interval > ramp.fastest)) {
    change(ramp, !fall);
  }
  return ramp.interval;
}

uint32_t ramp_stop_steps(uint32_t index, uint32_t accel, uint32_t decel) {
  // index * accel is half the square of a speed: at most 2e8, which fits.
  return (index * accel + decel / 2) / decel;
}

void ramp_stop(Ramp &ramp, uint32_t steps, uint32_t decel) {
  if (ramp.left <= steps + 1) {
    ramp.fastest = ramp.interval;
    return;
  }
  ramp.left = steps + 1;
  ramp.index = steps;
  ramp.accel = decel;
  ramp.rest = 0;
}

}  // namespace core
