#include "motion.h"

#include "board.h"

namespace core {

static void write_outputs(Board &board, uint8_t outputs) {
  board.motion.outputs = outputs;
  hal_of(board)->outputs(hal_of(board)->user, outputs);
}

void motion_output(Board &board, uint8_t bit, bool on) {
  Locked locked;
  const uint8_t others = board.motion.outputs & (uint8_t)~bit;
  write_outputs(board, on ? others | bit : others);
}

int32_t motion_position(const Board &board) {
  Locked locked;
  return board.motion.position;
}

void motion_start(Board &board, int8_t direction, uint32_t steps, uint16_t speed, uint8_t must) {
  Motion &motion = board.motion;
  // Nothing runs, so that the step interrupt leaves the ramp alone.
  ramp_begin(motion.ramp, steps, speed, (uint32_t)limit(board, wire::LIMIT_ACCEL));
  const bool high = (limit16(board, wire::LIMIT_DIRECTION) != 0) == (direction < 0);
  Locked locked;
  motion.direction = direction;
  motion.stopping = false;
  motion.fast_stop = false;
  motion.reached = false;
  motion.must = must & board.sense.watch;
  const uint8_t low = motion.must & (uint8_t)~hal_of(board)->pins(hal_of(board)->user);
  if (low != 0 || steps == 0 || !(motion.outputs & OUT_DRIVE)) {
    board.sense.seen_low |= low;
    return;
  }
  motion.polled_us = now_us(board);
  motion.running = true;
  write_outputs(board, (uint8_t)((motion.outputs & ~OUT_DIRECTION) | (high ? OUT_DIRECTION : 0)));
  hal_of(board)->start_steps(hal_of(board)->user, DIRECTION_TICKS);
}

void motion_reach(Board &board, int32_t target) {
  Motion &motion = board.motion;
  Locked locked;
  if (!motion.running || motion.stopping) {
    return;
  }
  int32_t left = target - motion.position;
  if (left < (int32_t)motion.ramp.index) {
    left = (int32_t)motion.ramp.index;  // stopped dead from its speed it would no longer be where it counts itself
  }
  motion.ramp.left = (uint32_t)left;
  if (left == 0) {
    motion.running = false;
    motion.reached = true;
  }
}

uint16_t motion_speed(const Board &board, uint8_t index) {
  const uint16_t speed = limit16(board, index);
  const uint16_t most = limit16(board, wire::LIMIT_SPEED_MAX);
  return speed < most ? speed : most;
}

void motion_stop(Board &board, bool fast) {
  Motion &motion = board.motion;
  if (!motion.running || (motion.stopping && (motion.fast_stop || !fast))) {
    return;
  }
  const uint32_t decel =
      (uint32_t)limit(board, fast ? wire::LIMIT_STOP_DECEL : wire::LIMIT_ACCEL);
  uint32_t index;
  uint32_t accel;
  {
    Locked locked;
    index = motion.ramp.index;
    accel = motion.ramp.accel;
  }
  // Divided with interrupts on; a step that goes out meanwhile shifts the stop by that step only. Volatile, since the
  // compiler may else divide where the result is first needed, behind the lock.
  const volatile uint32_t divided = ramp_stop_steps(index, accel, decel);
  const uint32_t steps = divided;
  Locked locked;
  motion.stopping = true;
  motion.fast_stop = fast;
  if (!motion.running) {
    return;
  }
  if (steps == 0) {
    motion.running = false;
    return;
  }
  ramp_stop(motion.ramp, steps, decel);
}

void motion_halt(Board &board) {
  Locked locked;
  board.motion.running = false;
  board.motion.stopping = true;
}

int32_t travel_bound(const Board &board, int8_t direction) {
  int32_t bound = direction < 0 ? POSITION_MIN : POSITION_MAX;
  if (board.motion.known) {
    const int32_t soft = limit(board, direction < 0 ? wire::LIMIT_TRAVEL_MIN : wire::LIMIT_TRAVEL_MAX);
    if (direction < 0 ? soft > bound : soft < bound) {
      bound = soft;
    }
  }
  return bound;
}

uint32_t motion_room(const Board &board, int8_t direction) {
  const int32_t bound = travel_bound(board, direction);
  const int32_t position = motion_position(board);
  if (direction < 0 ? position <= bound : position >= bound) {
    return 0;
  }
  return direction < 0 ? (uint32_t)position - (uint32_t)bound : (uint32_t)bound - (uint32_t)position;
}

void drive_on(Board &board) {
  board.sense.age[AGE_WORD] = 0;
  board.sense.age[AGE_POWERED] = 0;
  Locked locked;
  // Pressed since the main loop looked: the interrupt that saw it came too early to take this power off.
  if (board.sense.watch & (uint8_t)~hal_of(board)->pins(hal_of(board)->user) & MASK_STOP) {
    return;
  }
  board.motion.powered = true;
  write_outputs(board, (uint8_t)(board.motion.outputs | OUT_DRIVE));
}

void drive_off(Board &board) {
  Locked locked;
  if (!board.motion.powered) {
    return;
  }
  board.motion.powered = false;
  board.motion.running = false;
  write_outputs(board, (uint8_t)(board.motion.outputs & ~OUT_DRIVE));
  if (!(limit(board, wire::LIMIT_DRIVE_HOLD) & 2)) {
    board.motion.known = false;
  }
}

static void set_valve(Board &board, bool on) {
  Locked locked;
  const uint8_t low = board.sense.watch & (uint8_t)~hal_of(board)->pins(hal_of(board)->user);
  uint8_t outputs = board.motion.outputs & (uint8_t)~OUT_VALVE;
  if (on && !(low & (MASK_GUARD | MASK_STOP))) {
    outputs |= OUT_VALVE;
  }
  write_outputs(board, outputs);
}

static bool home_level(const Board &board) { return limit16(board, wire::LIMIT_VALVE_HOME) != 0; }

void cutter_far(Board &board) { set_valve(board, !home_level(board)); }
void cutter_home(Board &board) { set_valve(board, home_level(board)); }
void cutter_rest(Board &board) { set_valve(board, false); }

bool valve_is_home(const Board &board) { return ((board.motion.outputs & OUT_VALVE) != 0) == home_level(board); }

bool cutter_is_home(const Board &board) {
  if (board.sense.watch & MASK_HOME) {
    // With the valve at the other level only missing air holds it there.
    return valve_is_home(board) && past(board.sense.age[AGE_HOME], wire::HOME_STEADY_MS);
  }
  return past(board.sense.age[AGE_VALVE_HOME], limit16(board, wire::LIMIT_RETURN_MS));
}

void motion_check_pins(Board &board, uint8_t raw) {
  Motion &motion = board.motion;
  Sense &sense = board.sense;
  const uint8_t low = sense.watch & (uint8_t)~raw;
  sense.seen_low |= low;
  const uint8_t broken = low & motion.must;
  if (motion.running && broken != 0) {
    motion.running = false;
    motion.halted = true;
    motion.halted_low |= broken;
    motion.halt_us = now_us(board);
  }
  if (low & (MASK_GUARD | MASK_STOP)) {
    uint8_t outputs = motion.outputs & (uint8_t)~OUT_VALVE;
    if (low & MASK_STOP) {
      outputs &= (uint8_t)~OUT_DRIVE;
    }
    if (outputs != motion.outputs) {
      write_outputs(board, outputs);
    }
  }
}

uint32_t motion_step(Board &board) {
  Motion &motion = board.motion;
  const uint32_t now = now_us(board);
  if (now - motion.polled_us > UNPOLLED_US_MAX) {
    motion.running = false;
    motion.halted = true;
    motion.halt_us = now;
    return 0;
  }
  // The pins are read last, so that next to nothing lies between the reading and the pulse that it allows.
  const uint8_t raw = hal_of(board)->pins(hal_of(board)->user);
  if (motion.must & (uint8_t)~raw) {
    motion_check_pins(board, raw);
    return 0;
  }
  hal_of(board)->pulse(hal_of(board)->user);
  motion.position += motion.direction;
  motion.stepped = true;
  const uint32_t interval = ramp_next(motion.ramp);
  if (interval == 0) {
    motion.running = false;
    motion.reached = !motion.stopping;
  }
  return interval;
}

}  // namespace core
