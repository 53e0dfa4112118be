#include "safety.h"

#include "board.h"
#include "rom.h"

namespace core {

bool is_latched(const Board &board, uint8_t interlock) {
  return (board.safety.latches & latch_bit(interlock)) != 0;
}

static bool feeds_forward(const Board &board) { return board.motion.running && board.motion.direction > 0; }

static bool pushes(const Board &board) {
  return (board.cycle.phase == wire::PHASE_TAKE_UP || board.cycle.phase == wire::PHASE_PUSH) &&
         board.cycle.outcome == GOING;
}

static bool longer(const Board &board, uint8_t age, uint8_t allowed, Trip &trip) {
  trip.value = board.sense.age[age];
  trip.bound = limit(board, allowed);
  return past(board.sense.age[age], (uint32_t)trip.bound);
}

static bool rule_stop(THE_BOARD(const Board), Trip &) { return (board.sense.low & MASK_STOP) != 0; }
static bool rule_guard(THE_BOARD(const Board), Trip &) { return (board.sense.low & MASK_GUARD) != 0; }

static bool rule_left_home(THE_BOARD(const Board), Trip &) {
  return (board.sense.halted_low & MASK_HOME) != 0 ||
         (board.motion.running && (board.motion.must & board.sense.low & MASK_HOME) != 0);
}

static bool rule_cut_long(THE_BOARD(const Board), Trip &trip) {
  return board.cycle.phase == wire::PHASE_CUT && !board.cycle.far && (board.sense.watch & MASK_FAR) &&
         !(board.sense.pins & MASK_FAR) && longer(board, AGE_PHASE, wire::LIMIT_CUT_MAX_MS, trip);
}

static bool rule_return_long(THE_BOARD(const Board), Trip &trip) {
  if (board.cycle.phase != wire::PHASE_RETURN || !(board.sense.watch & MASK_HOME) ||
      !longer(board, AGE_PHASE, wire::LIMIT_RETURN_MAX_MS, trip)) {
    return false;
  }
  // One that came on in time has still to stay on.
  return !(board.sense.pins & MASK_HOME) ||
         (past(board.sense.age[AGE_PHASE], (uint32_t)trip.bound + wire::HOME_STEADY_MS + 1) && !cutter_is_home(board));
}

static const uint16_t BOTH_MS = 5;

bool both_switches(const Board &board) {
  const uint8_t both = MASK_HOME | MASK_FAR;
  return (board.sense.watch & MASK_HOME) && (board.sense.pins & both) == both;
}

static bool rule_both_switches(THE_BOARD(const Board), Trip &) {
  return past(board.sense.age[AGE_BOTH], BOTH_MS) ||
         past(board.sense.age[AGE_FAR_STAYS], limit16(board, wire::LIMIT_RETURN_MAX_MS));
}

static bool rule_dough(THE_BOARD(const Board), Trip &trip) {
  if (!pushes(board) || !sense_is_fitted(board, wire::FITTED_EYE)) {
    return false;
  }
  const Flow &flow = board.cycle.flow;
  trip.value = motion_position(board) - flow.last;
  trip.bound = (int32_t)cycle_blind_steps(board);
  return !board.sense.dough && trip.value >= trip.bound;
}

static bool rule_thrust(THE_BOARD(const Board), Trip &trip) {
  if (!feeds_forward(board) || board.safety.thrust_high < 2) {
    return false;
  }
  trip.value = sense_thrust_dn(board);
  trip.bound = limit(board, wire::LIMIT_THRUST_MAX);
  return true;
}

static bool rule_collapse(THE_BOARD(const Board), Trip &trip) {
  if (!feeds_forward(board) || !sense_is_fitted(board, wire::FITTED_THRUST)) {
    return false;
  }
  uint16_t before = 0;
  for (uint8_t i = 0; i < THRUST_SLOTS; ++i) {
    if (board.safety.thrust_dn[i] > before) {
      before = board.safety.thrust_dn[i];
    }
  }
  trip.value = sense_thrust_dn(board);
  trip.bound = before;
  return before >= wire::COLLAPSE_FLOOR_DN &&
         (uint32_t)trip.value * 100 < (uint32_t)before * (100 - wire::COLLAPSE_PERCENT);
}

static bool rule_end(THE_BOARD(const Board), Trip &trip) {
  // While latched only the feed that it stopped again; on the way out the switch may still be off.
  const bool off = (board.sense.low & MASK_ENDS) && !(board.safety.latches & latch_bit(14));
  if (!off && !(board.sense.halted_low & MASK_ENDS)) {
    return false;
  }
  trip.value = motion_position(board);
  trip.bound = travel_bound(board, board.motion.direction < 0 ? -1 : 1);
  return true;
}

static bool rule_soft_limit(THE_BOARD(const Board), Trip &trip) {
  const Hand &hand = board.hand;
  if (hand.kind != wire::MOVE_LOCAL || hand.ending != GOING || board.motion.running || !board.motion.reached ||
      !board.motion.known) {
    return false;
  }
  trip.value = motion_position(board) + board.motion.direction;
  trip.bound = travel_bound(board, board.motion.direction);
  return true;
}

static bool rule_lease(THE_BOARD(const Board), Trip &trip) {
  const Hand &hand = board.hand;
  const bool by_hand = hand.kind != MOVE_NONE && hand.kind != wire::MOVE_LOCAL && hand.ending == GOING;
  const bool by_cycle = board.cycle.phase != wire::PHASE_NONE && board.cycle.outcome == GOING;
  if (!by_hand && !by_cycle && !board.cycle.waiting) {
    return false;
  }
  const bool held = hand.kind == wire::MOVE_HELD;
  trip.value = board.sense.age[AGE_LEASE];
  trip.bound = limit(board, held ? wire::LIMIT_HELD_MS : wire::LIMIT_LEASE_MS);
  return trip.value >= trip.bound;
}

static bool rule_locals(THE_BOARD(const Board), Trip &) {
  const uint8_t both = MASK_FORWARD | MASK_REVERSE;
  return (board.sense.pins & both) == both && board.motion.running && !board.motion.stopping &&
         board.safety.ease == EASE_NONE;
}

static bool rule_valve_long(THE_BOARD(const Board), Trip &trip) {
  return board.cycle.phase == wire::PHASE_CUT && longer(board, AGE_PHASE, wire::LIMIT_VALVE_MAX_MS, trip);
}

static bool rule_push_long(THE_BOARD(const Board), Trip &trip) {
  trip.value = (int32_t)board.cycle.feed_ms;
  trip.bound = limit(board, wire::LIMIT_PUSH_MAX_MS);
  return pushes(board) && board.motion.running && trip.value > trip.bound;
}

bool supply_low(const Board &board, Finding &found) {
  const uint16_t supply_mv = sense_supply_mv(board);
  found.value = supply_mv;
  found.bound = limit(board, wire::LIMIT_SUPPLY_MIN);
  return supply_mv != wire::NOT_FITTED && found.value < found.bound;
}

static bool rule_supply(THE_BOARD(const Board), Trip &trip) {
  const bool driven = (board.motion.outputs & OUT_VALVE) != 0 || board.cycle.phase == wire::PHASE_CUT;
  return driven && supply_low(board, trip);
}

bool air_bad(const Board &board, Finding &found) {
  if (!sense_is_fitted(board, wire::FITTED_AIR)) {
    return false;
  }
  const uint16_t air_hpa = sense_air_hpa(board);
  found.value = air_hpa;
  found.bound = limit(board, wire::LIMIT_AIR_MIN);
  if (found.value < found.bound) {
    return true;
  }
  found.bound = limit(board, wire::LIMIT_AIR_MAX);
  return found.value > found.bound;
}

struct Rule {
  uint8_t interlock;
  uint8_t cause;
  bool again;  // also while latched: its trip may stop the way out
  bool (*watch)(const Board &, Trip &);
};

static const Rule RULES[] ROM = {{1, CAUSE_STOP_PIN, false, rule_stop},
                                 {2, CAUSE_GUARD, false, rule_guard},
                                 {5, CAUSE_LEFT_HOME, false, rule_left_home},
                                 {6, CAUSE_CUT_LONG, false, rule_cut_long},
                                 {7, CAUSE_RETURN_LONG, false, rule_return_long},
                                 {8, CAUSE_BOTH_SWITCHES, false, rule_both_switches},
                                 {9, CAUSE_DOUGH_GONE, false, rule_dough},
                                 {11, CAUSE_THRUST_HIGH, false, rule_thrust},
                                 {12, CAUSE_COLLAPSE, false, rule_collapse},
                                 {14, CAUSE_END_SWITCH, true, rule_end},
                                 {14, CAUSE_SOFT_LIMIT, false, rule_soft_limit},
                                 {18, CAUSE_LEASE, true, rule_lease},
                                 {22, CAUSE_LOCALS, false, rule_locals},
                                 {24, CAUSE_VALVE_LONG, false, rule_valve_long},
                                 {24, CAUSE_PUSH_LONG, false, rule_push_long},
                                 {29, CAUSE_AIR_SUPPLY, false, rule_supply}};

static void watch_thrust(Board &board) {
  Safety &safety = board.safety;
  if (!feeds_forward(board) || !sense_is_fitted(board, wire::FITTED_THRUST)) {
    safety.thrust_high = 0;
    return;
  }
  const uint16_t now_dn = sense_thrust_dn(board);
  if (now_dn <= limit(board, wire::LIMIT_THRUST_MAX)) {
    safety.thrust_high = 0;
  } else if (safety.thrust_high < 2) {
    ++safety.thrust_high;
  }
  if (now_dn == wire::NOT_FITTED) {
    return;  // IL-11 stops for it; its way back to a reading is no collapse.
  }
  uint16_t passed = (uint16_t)(safety.thrust_slot_ms + board.sense.elapsed_ms);
  for (uint8_t i = 0; i < THRUST_SLOTS && passed >= THRUST_SLOT_MS; ++i) {
    passed = (uint16_t)(passed - THRUST_SLOT_MS);
    safety.thrust_slot = (uint8_t)(safety.thrust_slot + 1 < THRUST_SLOTS ? safety.thrust_slot + 1 : 0);
    safety.thrust_dn[safety.thrust_slot] = now_dn;
  }
  safety.thrust_slot_ms = passed < THRUST_SLOT_MS ? (uint8_t)passed : 0;
  if (now_dn > safety.thrust_dn[safety.thrust_slot]) {
    safety.thrust_dn[safety.thrust_slot] = now_dn;
  }
}

void safety_forward(Board &board) {
  Safety &safety = board.safety;
  for (uint8_t i = 0; i < THRUST_SLOTS; ++i) {
    safety.thrust_dn[i] = 0;
  }
  safety.thrust_slot_ms = 0;
  safety.thrust_high = 0;
}

// A switch that chatters on the way out is still that of the end it left, whatever the direction.
static void meet_end(Board &board) {
  Safety &safety = board.safety;
  const int32_t position = motion_position(board);
  const int32_t away = position - safety.end_position;
  if ((safety.latches & latch_bit(14)) && away <= SAME_END_STEPS && away >= -SAME_END_STEPS) {
    return;
  }
  safety.end_side = board.motion.direction;
  safety.end_position = position;
}

static void trip_for(Board &board, const Rule &rule, Trip &trip) {
  const bool forward = board.motion.direction > 0;
  trip.interlock = rule.interlock;
  if (rule.interlock == 14) {
    meet_end(board);
  }
  stop_for(board, (Cause)rule.cause, trip);
  if (rule.interlock == 11 && forward && limit(board, wire::LIMIT_EASE) > 0) {
    board.safety.ease = EASE_WANTED;
  }
}

// Without a word from the host the drive goes off; a feed that still moves is stopped first.
static void watch_silence(Board &board) {
  static const uint16_t STOP_MS = 1000;  // given to a ramp
  const uint16_t silent_ms = board.sense.age[AGE_WORD];
  if (!board.motion.powered || silent_ms < wire::DRIVE_OFF_MS) {
    return;
  }
  if (board.motion.running && silent_ms < wire::DRIVE_OFF_MS + STOP_MS) {
    board.safety.ease = EASE_NONE;
    if (board.hand.kind != MOVE_NONE && board.hand.ending == GOING) {
      board.hand.ending = wire::ENDING_LAPSED;
    }
    motion_stop(board, true);
    return;
  }
  if (board.motion.running) {
    motion_halt(board);
    board.motion.known = false;
  }
  drive_off(board);
  board.cycle.armed = false;
  cycle_forget(board.cycle);
}

// A drive that the card does not hold is released after a rest.
static void watch_release(Board &board) {
  if ((limit(board, wire::LIMIT_DRIVE_HOLD) & 1) || !board.motion.powered || busy(board)) {
    return;
  }
  const uint16_t rest_ms = limit16(board, wire::LIMIT_RELEASE_MS);
  if (past(board.sense.age[AGE_STILL], rest_ms) && past(board.sense.age[AGE_POWERED], rest_ms)) {
    drive_off(board);
  }
}

static void watch_rules(Board &board) {
  for (uint8_t i = 0; i < sizeof(RULES) / sizeof(RULES[0]); ++i) {
    Rule rule;
    ROM_COPY(rule, RULES[i]);
    Trip trip = Trip();
    // The rule before the latch, whose bit takes longer to find.
    if (rule.watch(board, trip) && (rule.again || !is_latched(board, rule.interlock))) {
      trip_for(board, rule, trip);
    }
  }
}

// A host loads limits in less. Nobody saw meanwhile whether air was away.
static const uint16_t LOADING_MS = 2000;

void safety_poll(Board &board) {
  cycle_watch_air(board);
  watch_thrust(board);
  watch_rules(board);
  if (board.sense.low & (MASK_GUARD | MASK_STOP)) {
    drive_off(board);  // also where its latch stood already, and power was given since
  }
  if (board.limits.in_force) {
    board.sense.age[AGE_LOADING] = 0;
    watch_release(board);
  } else if (past(board.sense.age[AGE_LOADING], LOADING_MS)) {
    board.cycle.dry_needed = DRY_SINCE;
  }
  if (board.sense.halted && board.sense.halted_low == 0) {
    board.motion.known = false;  // the main loop was away; whether that mattered nobody knows
  }
  watch_silence(board);
  Locked locked;
  if (board.motion.running && !(board.sense.low & MASK_ENDS)) {
    board.motion.must |= MASK_ENDS & board.sense.watch;
  }
}

bool ease_poll(Board &board) {
  Safety &safety = board.safety;
  if (safety.ease == EASE_NONE) {
    return false;
  }
  if (board.motion.running) {
    return true;
  }
  if (safety.ease == EASE_UNDER_WAY) {
    safety.ease = EASE_NONE;
    return false;
  }
  uint32_t steps = (uint32_t)limit(board, wire::LIMIT_EASE);
  const uint32_t room = motion_room(board, -1);
  motion_start(board, -1, steps < room ? steps : room, motion_speed(board, wire::LIMIT_DRAW_SPEED),
               must_pins(board, false));
  safety.ease = board.motion.running ? EASE_UNDER_WAY : EASE_NONE;
  return board.motion.running;
}

bool cause_stays(const Board &board, uint8_t interlock, Trip &trip) {
  trip = Trip();
  bool stays = false;
  switch (interlock) {
    case 1:
      stays = rule_stop(board, trip);
      break;
    case 2:
      stays = rule_guard(board, trip);
      break;
    case 5:
    case 7:
      // With the valve at the far level only a dry stroke brings it home, and IL-07 watches that.
      stays = valve_is_home(board) && !cutter_is_home(board);
      break;
    case 8:
      stays = rule_both_switches(board, trip) || both_switches(board);
      break;
    case 11:
      trip.value = sense_thrust_dn(board);
      stays = sense_is_fitted(board, wire::FITTED_THRUST) && trip.value > limit(board, wire::LIMIT_THRUST_MAX);
      break;
    case 14:
      stays = (board.sense.low & MASK_ENDS) != 0;
      break;
    case 16:
      stays = air_bad(board, trip);
      break;
    case 29:
      stays = supply_low(board, trip);
      break;
    default:
      break;
  }
  return stays;
}

}  // namespace core
