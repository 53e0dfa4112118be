#include "cycle.h"

#include "board.h"
#include "rom.h"

namespace core {

void cycle_init(Cycle &cycle) {
  cycle.outcome = GOING;
  cycle.dry_needed = DRY_SINCE;
}

uint16_t cycle_loaded(const Cycle &cycle) {
  return cycle.program.draft == cycle.program.detail ? cycle.program.draft : 0;
}

void cycle_forget(Cycle &cycle) {
  cycle.program.draft = 0;
  cycle.program.detail = 0;
}

static bool pushes(const Cycle &cycle) {
  return cycle.phase == wire::PHASE_TAKE_UP || cycle.phase == wire::PHASE_PUSH;
}

static void tell_phase(Board &board, uint8_t phase) {
  board.cycle.phase = phase;
  board.sense.age[AGE_PHASE] = 0;
  events_moment(board, wire::CODE_PHASE, phase, board.cycle.portion, now_us(board), false);
}

// Steps of take-up or push that are still to go.
APART static uint32_t steps_left(const Cycle &cycle, int32_t position) {
  uint32_t asked = cycle.program.take_up;
  if (cycle.phase == wire::PHASE_PUSH) {
    asked += cycle.program.push;
  }
  return asked - (uint32_t)(position - cycle.start);
}

uint32_t cycle_blind_steps(const Board &board) {
  return (uint32_t)limit(board, board.cycle.flow.seen ? wire::LIMIT_GAP : wire::LIMIT_FIRST_FLOW);
}

// As many of them as may be made before IL-09's count runs out: the feed comes to rest at that very step, whatever the
// main loop does, unless dough is seen before.
static int32_t steps_allowed(const Board &board, int32_t position) {
  const int32_t left = (int32_t)steps_left(board.cycle, position);
  // A draw-back may have gone behind where the count began.
  const int32_t more = board.cycle.flow.last + (int32_t)cycle_blind_steps(board) - position;
  return more < left && sense_is_fitted(board, wire::FITTED_EYE) ? more : left;
}

static void push_on(Board &board) {
  const int32_t steps = steps_allowed(board, motion_position(board));
  motion_start(board, 1, steps > 0 ? (uint32_t)steps : 0, board.cycle.program.speed, must_pins(board, false));
}

static void begin_push(Board &board, uint8_t phase) {
  board.cycle.feed_ms = 0;
  tell_phase(board, phase);
  push_on(board);
}

static void begin_record(Board &board) {
  Cycle &cycle = board.cycle;
  cycle.outcome = GOING;
  cycle.waiting = false;
  cycle.armed = false;
  cycle.far = false;
  cycle.start = motion_position(board);
  cycle.made = 0;
  if (!cycle.blind) {
    flow_begin(cycle.flow, cycle.start);
  }
  cycle.eye_sum = 0;
  cycle.eye_count = 0;
  cycle.push_ms = 0;
  cycle.eye_min = wire::NOT_FITTED;
  cycle.thrust_peak = 0;
  cycle.thrust_cut = wire::NOT_FITTED;
  cycle.air_min = wire::NOT_FITTED;
  cycle.supply_min = wire::NOT_FITTED;
  board.sense.eye_changes = 0;
  board.sense.dropped = false;
  safety_forward(board);
}

void cycle_begin(Board &board) {
  Cycle &cycle = board.cycle;
  begin_record(board);
  cycle.stroke = false;
  cycle.portion = cycle.program.draft;
  board.events.reserved = wire::RING_EVENTS_NEEDED;
  begin_push(board, cycle.program.take_up > 0 ? wire::PHASE_TAKE_UP : wire::PHASE_PUSH);
}

void cycle_wait(Board &board) {
  board.cycle.waiting = true;
  board.cycle.portion = board.cycle.program.draft;
  board.sense.age[AGE_WAITING] = 0;
}

static void begin_cut(Board &board) {
  Cycle &cycle = board.cycle;
  cycle.thrust_cut = sense_thrust_dn(board);
  cycle.air_min = sense_air_hpa(board);
  tell_phase(board, wire::PHASE_CUT);
  cutter_far(board);
}

void cycle_stroke(Board &board) {
  begin_record(board);
  board.cycle.stroke = true;
  if (board.cycle.dry_needed) {
    board.cycle.dry_needed = DRY_BEFORE;
  }
  board.cycle.portion = 0;
  cycle_forget(board.cycle);
  begin_cut(board);
}

void cycle_watch_air(Board &board) {
  // Guard and stop vent it by wire.
  if ((board.sense.low & (MASK_GUARD | MASK_STOP)) || sense_air_away(board)) {
    board.cycle.dry_needed = DRY_SINCE;
  }
}

void cycle_return(Board &board) {
  cutter_home(board);
  if (board.cycle.far && !board.cycle.stroke) {
    motion_output(board, OUT_LEAVING, true);
  }
  tell_phase(board, wire::PHASE_RETURN);
}

static void tell_tally(Board &board) {
  const Cycle &cycle = board.cycle;
  Event *event = events_put(board, wire::CODE_TALLY, 0, cycle.portion, now_us(board), false);
  if (event) {
    event->tally.asked = (int32_t)(cycle.program.take_up + cycle.program.push);
    event->tally.made = (int32_t)cycle.made;
    event->tally.gap = !sense_is_fitted(board, wire::FITTED_EYE) ? wire::NOT_FITTED
                       : cycle.flow.longest < wire::NOT_FITTED   ? (uint16_t)cycle.flow.longest
                                                                 : (uint16_t)(wire::NOT_FITTED - 1);
    event->tally.push_ms = cycle.push_ms;
  }
}

static void tell_extremes(Board &board) {
  const Cycle &cycle = board.cycle;
  Event *event = events_put(board, wire::CODE_EXTREMES, 0, cycle.portion, now_us(board), false);
  if (event) {
    const bool thrust = sense_is_fitted(board, wire::FITTED_THRUST);
    event->six[0] = cycle.eye_min;
    event->six[1] = cycle.eye_count == 0 ? wire::NOT_FITTED : (uint16_t)(cycle.eye_sum / cycle.eye_count);
    event->six[2] = thrust ? cycle.thrust_peak : wire::NOT_FITTED;
    event->six[3] = cycle.thrust_cut;
    event->six[4] = cycle.air_min;
    event->six[5] = cycle.supply_min;
  }
}

void cycle_finish(Board &board, uint8_t outcome) {
  Cycle &cycle = board.cycle;
  if (!cycle.stroke && cycle.phase != wire::PHASE_NONE) {
    tell_tally(board);
    tell_extremes(board);
    cycle.blind = !cycle.flow.seen;
  }
  if (cycle.stroke && outcome == wire::OUTCOME_COMPLETE && cycle.dry_needed == DRY_BEFORE) {
    cycle.dry_needed = 0;
  }
  motion_output(board, OUT_LEAVING, false);
  events_moment(board, wire::CODE_ENDED, outcome, cycle.portion, now_us(board), false);
  cycle.phase = wire::PHASE_NONE;
  cycle.outcome = GOING;
  cycle.stroke = false;
  cycle.waiting = false;
  cycle.portion = 0;
  board.events.reserved = 0;
  cycle_forget(cycle);
}

static void lower(uint16_t &least, uint16_t value) {
  if (value < least) {
    least = value;
  }
}

static void record(Board &board) {
  Cycle &cycle = board.cycle;
  lower(cycle.supply_min, sense_supply_mv(board));
  if (cycle.phase >= wire::PHASE_CUT) {
    lower(cycle.air_min, sense_air_hpa(board));
    return;
  }
  const uint16_t thrust_dn = sense_thrust_dn(board);
  if (thrust_dn != wire::NOT_FITTED && thrust_dn > cycle.thrust_peak) {
    cycle.thrust_peak = thrust_dn;
  }
  if (!pushes(cycle) || board.motion.direction < 0) {
    return;  // back by `ease` is no part of the push, however it ends
  }
  cycle.feed_ms += board.sense.elapsed_ms;
  cycle.push_ms = cycle.push_ms > 65535u - board.sense.elapsed_ms
                      ? (uint16_t)65535
                      : (uint16_t)(cycle.push_ms + board.sense.elapsed_ms);
  const int32_t position = motion_position(board);
  cycle.made = (uint32_t)(position - cycle.start);
  const uint16_t eye = sense_eye(board);
  if (eye == wire::NOT_FITTED) {
    return;
  }
  lower(cycle.eye_min, eye);
  cycle.eye_sum += eye;
  ++cycle.eye_count;
  flow_see(cycle.flow, position, board.sense.dough, (uint32_t)limit(board, wire::LIMIT_GAP));
  motion_reach(board, position + steps_allowed(board, position));
}

static void after_feed(Board &board) {
  Cycle &cycle = board.cycle;
  const Program &program = cycle.program;
  if (cycle.outcome != GOING || !board.motion.reached) {
    cycle_finish(board, cycle.outcome == GOING ? wire::OUTCOME_STOPPED : cycle.outcome);
  } else if (pushes(cycle) && steps_left(cycle, motion_position(board)) > 0) {
    push_on(board);  // at rest for want of dough: it came at last, or IL-09 says so in the next poll
  } else if (cycle.phase == wire::PHASE_TAKE_UP) {
    begin_push(board, wire::PHASE_PUSH);
  } else if (cycle.phase == wire::PHASE_PUSH && program.draw_back > 0) {
    tell_phase(board, wire::PHASE_DRAW_BACK);
    motion_start(board, -1, program.draw_back, motion_speed(board, wire::LIMIT_DRAW_SPEED), must_pins(board, false));
  } else {
    tell_phase(board, wire::PHASE_SETTLE);
  }
}

static void settle(Board &board) {
  const Sense &sense = board.sense;
  if (!past(sense.age[AGE_PHASE], board.cycle.program.settle_ms) ||
      !past(sense.age[AGE_STILL], limit16(board, wire::LIMIT_STILL_MS))) {
    return;
  }
  Trip trip = Trip();
  if (air_bad(board, trip)) {
    trip.interlock = 16;
  } else if (supply_low(board, trip)) {
    trip.interlock = 29;
  } else if (board.cycle.dry_needed) {
    trip = Trip();
    trip.interlock = 17;
  } else {
    begin_cut(board);
    return;
  }
  stop_for(board, CAUSE_AIR_SUPPLY, trip);
}

static void cut(Board &board) {
  Cycle &cycle = board.cycle;
  Sense &sense = board.sense;
  if (!cycle.far) {
    const bool fitted = (sense.watch & MASK_FAR) != 0;
    cycle.far = fitted ? (sense.pins & MASK_FAR) != 0
                       : past(sense.age[AGE_PHASE], limit16(board, wire::LIMIT_CUT_MS));
    sense.age[AGE_FAR] = 0;
  }
  if (cycle.far && past(sense.age[AGE_FAR], cycle.stroke ? 0 : cycle.program.dwell_ms)) {
    cycle_return(board);
  }
}

static void wait_for_button(Board &board) {
  if (past(board.sense.age[AGE_WAITING], wire::BUTTON_MS)) {
    cycle_finish(board, wire::OUTCOME_STOPPED);
  }
}

void cycle_poll(Board &board) {
  Cycle &cycle = board.cycle;
  if (cycle.armed && past(board.sense.age[AGE_ARMED], wire::ARM_MS)) {
    cycle.armed = false;
  }
  if (cycle.waiting) {
    wait_for_button(board);
  }
  if (cycle.phase == wire::PHASE_NONE) {
    return;
  }
  // Looked at before the record is made: a last step that goes out meanwhile belongs in it. And a feed that an interrupt
  // stopped ends only after the interlocks have said why.
  const bool rests = !board.motion.running && !board.motion.halted;
  record(board);
  switch (cycle.phase) {
    case wire::PHASE_SETTLE:
      settle(board);
      break;
    case wire::PHASE_CUT:
      cut(board);
      break;
    case wire::PHASE_RETURN:
      if (cutter_is_home(board)) {
        cycle_finish(board, cycle.outcome == GOING ? wire::OUTCOME_COMPLETE : cycle.outcome);
      }
      break;
    default:
      if (rests && !ease_poll(board)) {
        after_feed(board);
      }
  }
}

}  // namespace core
