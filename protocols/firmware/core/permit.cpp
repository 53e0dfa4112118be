// What must hold before something moves: SPEC.md, section 6, in its order.
#include "board.h"
#include "rom.h"

namespace core {

void refuse(Answer &answer, uint8_t reason, int32_t value, int32_t bound) {
  answer.reason = reason;
  answer.value = value;
  answer.bound = bound;
}

uint8_t mode(const Board &board) {
  if (board.safety.latches != 0) {
    return wire::MODE_TRIPPED;
  }
  if (board.cycle.phase != wire::PHASE_NONE) {
    return board.cycle.stroke ? wire::MODE_STROKE : wire::MODE_PORTION;
  }
  if (board.hand.kind != MOVE_NONE) {
    return wire::MODE_MOVING;
  }
  return board.motion.powered ? wire::MODE_READY : wire::MODE_DRIVE_OFF;
}

bool busy(const Board &board) {
  return board.motion.running || board.hand.kind != MOVE_NONE || board.cycle.phase != wire::PHASE_NONE ||
         board.cycle.waiting;
}

// The way out of a latch: back from dough, thrust or an end, or forward from the reverse end.
static bool is_way_out(const Board &board, const Ask &ask) {
  const uint32_t latches = board.safety.latches;
  const bool reverse_end = (latches & latch_bit(14)) && board.safety.end_side < 0;
  if (!ask.way_out) {
    return false;
  }
  if (ask.direction < 0) {
    return (latches & ~latch_bits(9, 11, 14, 18)) == 0 && !reverse_end;
  }
  return ask.jog && latches == latch_bit(14) && reverse_end;
}

static bool no_limits(const Board &board, const Ask &, Answer &answer) {
  refuse(answer, wire::NO_NO_LIMITS, 0, 0);
  return !board.limits.in_force;
}

static bool is_busy(const Board &board, const Ask &, Answer &answer) {
  refuse(answer, wire::NO_BUSY, mode(board), 0);
  return busy(board);
}

static bool is_latched(const Board &board, const Ask &ask, Answer &answer) {
  uint8_t number = 1;
  while (number < 30 && !(board.safety.latches & latch_bit(number))) {
    ++number;
  }
  refuse(answer, wire::NO_LATCHED, number, 0);
  return board.safety.latches != 0 && !is_way_out(board, ask);
}

static bool is_stale(const Board &board, const Ask &ask, Answer &answer) {
  refuse(answer, wire::NO_STALE, ask.nonce, board.link.nonce);
  return ask.numbered && !is_fresh(board, ask.nonce);
}

static bool has_no_power(const Board &board, const Ask &ask, Answer &answer) {
  refuse(answer, wire::NO_DRIVE_OFF, 0, 0);
  return ask.feed && !board.motion.powered;
}

static bool is_lost(const Board &board, const Ask &ask, Answer &answer) {
  refuse(answer, wire::NO_POSITION, 0, 0);
  return ask.known && !board.motion.known;
}

static bool stop_pressed(const Board &board, const Ask &, Answer &answer) {
  refuse(answer, 1, 0, 0);
  return (board.sense.low & MASK_STOP) != 0;
}

static bool guard_open(const Board &board, const Ask &, Answer &answer) {
  refuse(answer, 2, 0, 0);
  return (board.sense.low & MASK_GUARD) != 0;
}

static bool not_still(const Board &board, const Ask &ask, Answer &answer) {
  const int32_t needed = limit(board.limits, wire::LIMIT_STILL_MS);
  refuse(answer, 3, board.sense.age[AGE_STILL], needed);
  return ask.cut_now && !past(board.sense.age[AGE_STILL], (uint32_t)needed);
}

static bool cutter_away(const Board &board, const Ask &ask, Answer &answer) {
  const bool fitted = (board.sense.watch & MASK_HOME) != 0;
  refuse(answer, 4, board.sense.age[fitted ? AGE_HOME : AGE_VALVE_HOME],
         fitted ? (int32_t)wire::HOME_STEADY_MS : limit(board.limits, wire::LIMIT_RETURN_MS));
  return !ask.free_blade && !cutter_is_home(board);
}

static bool switches_together(const Board &board, const Ask &, Answer &answer) {
  refuse(answer, 8, 0, 0);
  return both_switches(board);
}

static bool no_air(const Board &board, const Ask &ask, Answer &answer) {
  Trip trip = Trip();
  const bool bad = ask.cutter && air_bad(board, trip);
  refuse(answer, 16, trip.value, trip.bound);
  return bad;
}

static bool no_supply(const Board &board, const Ask &ask, Answer &answer) {
  Trip trip = Trip();
  const bool bad = ask.cutter && supply_low(board, trip);
  refuse(answer, 29, trip.value, trip.bound);
  return bad;
}

static bool locals_together(const Board &board, const Ask &ask, Answer &answer) {
  refuse(answer, 22, 0, 0);
  return ask.feed && (board.sense.pins & MASK_FORWARD) && (board.sense.pins & MASK_REVERSE);
}

typedef bool (*Condition)(const Board &, const Ask &, Answer &);

static const Condition CONDITIONS[] ROM = {no_limits,    is_busy,      is_latched,  is_stale,    has_no_power,
                                           is_lost,      stop_pressed, guard_open,  not_still,   cutter_away,
                                           switches_together, no_air,  locals_together, no_supply};

bool permit(const Board &board, const Ask &ask, Answer &answer) {
  for (uint8_t i = 0; i < sizeof(CONDITIONS) / sizeof(CONDITIONS[0]); ++i) {
    Condition condition;
    ROM_COPY(condition, CONDITIONS[i]);
    if (condition(board, ask, answer)) {
      return false;
    }
  }
  answer = Answer();
  return true;
}

uint8_t must_pins(const Board &board, bool free_blade) {
  uint8_t must = MASK_GUARD | MASK_STOP | MASK_ENDS | MASK_HOME;
  if (free_blade) {
    must &= (uint8_t)~MASK_HOME;
  }
  if (board.sense.low & MASK_ENDS) {
    must &= (uint8_t)~MASK_ENDS;  // the way out; watched again once the switch is on
  }
  return must;
}

}  // namespace core
