#include "cycle.h"

#include "board.h"

namespace core {

void cycle_init(Cycle &cycle) { cycle.outcome = GOING; }

uint16_t cycle_loaded(const Cycle &cycle) {
  return cycle.program.draft == cycle.program.detail ? cycle.program.draft : 0;
}

void cycle_forget(Cycle &cycle) {
  cycle.program.draft = 0;
  cycle.program.detail = 0;
}

bool cycle_feeds(const Cycle &cycle) {
  return cycle.phase >= wire::PHASE_TAKE_UP && cycle.phase <= wire::PHASE_DRAW_BACK;
}

static bool pushes(const Cycle &cycle) {
  return cycle.phase == wire::PHASE_TAKE_UP || cycle.phase == wire::PHASE_PUSH;
}

static void tell_phase(Board &board, uint8_t phase) {
  board.cycle.phase = phase;
  board.sense.age[AGE_PHASE] = 0;
  events_moment(board, wire::CODE_PHASE, phase, board.cycle.portion, now_us(board), false);
}

static void feed(Board &board, uint8_t phase, int8_t direction, uint32_t steps, uint16_t speed) {
  board.cycle.feed_ms = 0;
  tell_phase(board, phase);
  motion_start(board, direction, steps, speed, must_pins(board, false));
}

static void begin_record(Board &board) {
  Cycle &cycle = board.cycle;
  cycle.outcome = GOING;
  cycle.waiting = false;
  cycle.armed = false;
  cycle.far = false;
  cycle.start = motion_position(board);
  cycle.made = 0;
  flow_begin(cycle.flow, cycle.start);
  cycle.eye_sum = 0;
  cycle.eye_count = 0;
  cycle.push_ms = 0;
  cycle.eye_min = wire::NOT_FITTED;
  cycle.thrust_peak = 0;
  cycle.thrust_cut = wire::NOT_FITTED;
  cycle.air_min = wire::NOT_FITTED;
  cycle.supply_min = wire::NOT_FITTED;
  board.sense.eye_changes = 0;
  safety_forward(board);
}

void cycle_begin(Board &board) {
  Cycle &cycle = board.cycle;
  begin_record(board);
  cycle.stroke = false;
  cycle.portion = cycle.program.draft;
  board.events.reserved = wire::RING_EVENTS_NEEDED;
  if (cycle.program.take_up > 0) {
    feed(board, wire::PHASE_TAKE_UP, 1, cycle.program.take_up, cycle.program.speed);
  } else {
    feed(board, wire::PHASE_PUSH, 1, cycle.program.push, cycle.program.speed);
  }
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
  board.cycle.portion = 0;
  cycle_forget(board.cycle);
  begin_cut(board);
}

void cycle_return(Board &board) {
  tell_phase(board, wire::PHASE_RETURN);
  cutter_home(board);
}

static void tell_tally(Board &board) {
  const Cycle &cycle = board.cycle;
  Event *event = events_put(board, wire::CODE_TALLY, 0, cycle.portion, now_us(board), false);
  if (event) {
    event->tally.asked = (int32_t)(cycle.program.take_up + cycle.program.push);
    event->tally.made = (int32_t)cycle.made;
    event->tally.gap = cycle.flow.longest > 65535u ? 65535 : (uint16_t)cycle.flow.longest;
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
  }
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
  flow_see(cycle.flow, position, board.sense.dough, (uint32_t)limit(board.limits, wire::LIMIT_GAP));
}

static void after_feed(Board &board) {
  Cycle &cycle = board.cycle;
  const Program &program = cycle.program;
  if (cycle.outcome != GOING || !board.motion.reached) {
    cycle_finish(board, cycle.outcome == GOING ? wire::OUTCOME_STOPPED : cycle.outcome);
  } else if (cycle.phase == wire::PHASE_TAKE_UP) {
    feed(board, wire::PHASE_PUSH, 1, program.push, program.speed);
  } else if (cycle.phase == wire::PHASE_PUSH && program.draw_back > 0) {
    int32_t speed = limit(board.limits, wire::LIMIT_DRAW_SPEED);
    const int32_t most = limit(board.limits, wire::LIMIT_SPEED_MAX);
    feed(board, wire::PHASE_DRAW_BACK, -1, program.draw_back, (uint16_t)(speed < most ? speed : most));
  } else {
    tell_phase(board, wire::PHASE_SETTLE);
  }
}

static void settle(Board &board) {
  const Sense &sense = board.sense;
  if (!past(sense.age[AGE_PHASE], board.cycle.program.settle_ms) ||
      !past(sense.age[AGE_STILL], (uint32_t)limit(board.limits, wire::LIMIT_STILL_MS))) {
    return;
  }
  Trip trip = Trip();
  if (air_bad(board, trip) || supply_low(board, trip)) {
    stop_for(board, CAUSE_AIR_SUPPLY, trip);
    return;
  }
  begin_cut(board);
}

static void cut(Board &board) {
  Cycle &cycle = board.cycle;
  Sense &sense = board.sense;
  if (!cycle.far) {
    const bool fitted = (sense.watch & MASK_FAR) != 0;
    cycle.far = fitted ? (sense.pins & MASK_FAR) != 0
                       : past(sense.age[AGE_PHASE], (uint32_t)limit(board.limits, wire::LIMIT_CUT_MS));
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
