// The feed and the outputs: what the step interrupt and the main loop share.
#ifndef BENCHD_MOTION_H
#define BENCHD_MOTION_H
#include <stdint.h>

#include "ramp.h"

namespace core {

struct Board;

// A main loop that was away for this long gets no further steps.
static const uint32_t UNPOLLED_US_MAX = 20000;
static const uint16_t DIRECTION_TICKS = 40;  // from a change of the direction line to the first pulse

// Positions that the wire can carry.
static const int32_t POSITION_MIN = -9999999;
static const int32_t POSITION_MAX = 99999999;

struct Motion {
  // Shared with interrupts: touched only where they are kept away.
  Ramp ramp;
  int32_t position;
  uint32_t polled_us;  // when the main loop last looked
  uint32_t halt_us;
  volatile uint8_t outputs;
  volatile uint8_t must;  // pins that must stay on while the feed steps
  volatile uint8_t halted_low;  // pins of `must` that stopped the feed
  volatile bool halted;   // an interrupt stopped the feed at halt_us; taken over by the next poll
  volatile bool running;
  volatile bool stepped;
  volatile bool reached;  // the last move made all its steps
  // Of the main loop alone.
  int8_t direction;       // of the last move, 0 at boot
  bool stopping;
  bool fast_stop;         // with stop_decel
  bool known;
  bool powered;
};

int32_t motion_position(const Board &board);

// Starts one trapezoid of a feed at rest. Does nothing when the drive is off or one of the pins in `must` is off.
void motion_start(Board &board, int8_t direction, uint32_t steps, uint16_t speed, uint8_t must);

// A feed forward that was not told to stop is to come to rest here, or goes on to here although it slows down already.
void motion_reach(Board &board, int32_t target);

// Slows down to rest: with `stop_decel` when fast, with `accel` otherwise.
void motion_stop(Board &board, bool fast);

// No further pulse.
void motion_halt(Board &board);

// Steps from here to the end of travel in this direction, 0 if there are none.
uint32_t motion_room(const Board &board, int8_t direction);

// The speed of this limit, or the highest allowed if that is less.
uint16_t motion_speed(const Board &board, uint8_t index);

// Bounds for a target: the soft limits when the position is known, else what the wire can carry.
int32_t travel_bound(const Board &board, int8_t direction);

// Does nothing while stop is pressed.
void drive_on(Board &board);
void drive_off(Board &board);

// Valve to the far level, to the home level, or off. It is never driven while guard or stop is open.
void cutter_far(Board &board);
void cutter_home(Board &board);
void cutter_rest(Board &board);

// Switches one of the outputs that no interrupt switches.
void motion_output(Board &board, uint8_t bit, bool on);

bool valve_is_home(const Board &board);

// The valve is at the home level, and the home switch has been on, or that level, for long enough.
bool cutter_is_home(const Board &board);

// Of the interrupts: stop the feed if it must, and with guard or stop open drop the outputs.
void motion_check_pins(Board &board, uint8_t raw);
uint32_t motion_step(Board &board);

}  // namespace core

#endif
