// Step intervals of one move: D. Austin, "Generate stepper-motor speed profiles in real time", 2004. All times in ticks
// of 0.5 us. Interval i lies between two steps; i counts up while the feed gains speed and down while it loses it, so
// that i is also the number of further intervals it needs to come to rest.
#ifndef BENCHD_RAMP_H
#define BENCHD_RAMP_H
#include <stdint.h>

namespace core {

static const uint32_t TICKS_PER_S = 2000000;

struct Ramp {
  uint32_t interval;  // to the next step
  uint32_t fastest;   // shortest interval allowed
  uint32_t rest;      // remainder of the recurrence's last division
  uint32_t index;
  uint32_t left;      // steps still to go out
  uint32_t accel;     // steps/s2 that `index` belongs to
  bool fresh;         // the first interval is still to come
  bool rising;
};

// 0.676 f sqrt(2 / accel), within 1 in 8000; accel 100 to 500000 steps/s2.
uint32_t ramp_first_interval(uint32_t accel);

// `steps` at least 1, `speed` 10 to 20000 steps/s.
void ramp_begin(Ramp &ramp, uint32_t steps, uint16_t speed, uint32_t accel);

// Call after each step: the interval to the next one, 0 when that was the last.
uint32_t ramp_next(Ramp &ramp);

// Steps that a stop begun at this index takes, after the one under way, with another deceleration.
uint32_t ramp_stop_steps(uint32_t index, uint32_t accel, uint32_t decel);

// Begins to stop now; `steps` from ramp_stop_steps. A move that ends sooner by itself only gains no more speed.
void ramp_stop(Ramp &ramp, uint32_t steps, uint32_t decel);

}  // namespace core

#endif
