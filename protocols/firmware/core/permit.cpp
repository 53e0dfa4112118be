// What must hold before something moves: SPEC.md, section 6, in its order.
#include "board.h"
#include "rom.h"

namespace core {

void refuse(Answer &answer, uint8_t reason, int32_t value, int32_t bound) {
  answer.reason = reason;
  answer.value = value;
  answer.bound = bound;
}

APART void refuse_plainly(Answer &answer, uint8_t reason) {
  answer = Answer();
  answer.reason = reason;
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
  if (!(ask.what & ASK_WAY_OUT)) {
    return false;
  }
  if (ask.direction < 0) {
    return (latches & ~latch_bits(9, 11, 14, 18)) == 0 && !reverse_end;
  }
  return (ask.what & ASK_JOG) && latches == latch_bit(14) && reverse_end;
}

// Conditions: true when the action must not be. The row gives the reason; what was measured is for them to say.
static bool no_limits(THE_BOARD(const Board), const Ask &, Answer &) { return !board.limits.in_force; }

static bool is_busy(THE_BOARD(const Board), const Ask &, Answer &answer) {
  answer.value = mode(board);
  return busy(board);
}

static bool some_latch(THE_BOARD(const Board), const Ask &ask, Answer &answer) {
  uint8_t number = 1;
  for (uint32_t latches = board.safety.latches; number < 30 && !(latches & 1); latches >>= 1) {
    ++number;
  }
  answer.value = number;
  return board.safety.latches != 0 && !is_way_out(board, ask);
}

static bool is_stale(THE_BOARD(const Board), const Ask &ask, Answer &answer) {
  answer.value = ask.nonce;
  answer.bound = board.link.nonce;
  return (ask.what & ASK_NUMBERED) && !is_fresh(board, ask.nonce);
}

static bool has_no_power(THE_BOARD(const Board), const Ask &ask, Answer &) {
  return (ask.what & ASK_FEED) && !board.motion.powered;
}

static bool is_lost(THE_BOARD(const Board), const Ask &ask, Answer &) {
  return (ask.what & ASK_KNOWN) && !board.motion.known;
}

static bool stop_pressed(THE_BOARD(const Board), const Ask &, Answer &) { return (board.sense.low & MASK_STOP) != 0; }
static bool guard_open(THE_BOARD(const Board), const Ask &, Answer &) { return (board.sense.low & MASK_GUARD) != 0; }

static bool not_still(THE_BOARD(const Board), const Ask &ask, Answer &answer) {
  const uint16_t still_ms = board.sense.age[AGE_STILL];
  answer.value = still_ms;
  answer.bound = limit(board, wire::LIMIT_STILL_MS);
  return (ask.what & ASK_CUT_NOW) && !past(still_ms, (uint16_t)answer.bound);
}

static bool cutter_away(THE_BOARD(const Board), const Ask &ask, Answer &answer) {
  // A cutter that goes to the far end without power comes home by a dry stroke.
  if ((ask.what & ASK_CUT_NOW) && !valve_is_home(board)) {
    return false;
  }
  const bool fitted = (board.sense.watch & MASK_HOME) != 0;
  answer.value = board.sense.age[fitted ? AGE_HOME : AGE_VALVE_HOME];
  answer.bound = fitted ? (int32_t)wire::HOME_STEADY_MS : limit(board, wire::LIMIT_RETURN_MS);
  return !(ask.what & ASK_FREE_BLADE) && !cutter_is_home(board);
}

static bool switches_together(THE_BOARD(const Board), const Ask &, Answer &) { return both_switches(board); }

static bool no_air(THE_BOARD(const Board), const Ask &ask, Answer &answer) {
  return (ask.what & ASK_CUTTER) && air_bad(board, answer);
}

static bool dry_first(THE_BOARD(const Board), const Ask &ask, Answer &) {
  return (ask.what & (ASK_CUTTER | ASK_CUT_NOW)) == ASK_CUTTER && board.cycle.dry_needed;
}

static bool no_supply(THE_BOARD(const Board), const Ask &ask, Answer &answer) {
  return (ask.what & ASK_CUTTER) && supply_low(board, answer);
}

static bool locals_together(THE_BOARD(const Board), const Ask &ask, Answer &) {
  const uint8_t both = MASK_FORWARD | MASK_REVERSE;
  return (ask.what & ASK_FEED) && (board.sense.pins & both) == both;
}

struct Condition {
  uint8_t reason;
  bool (*holds)(const Board &, const Ask &, Answer &);
};

static const Condition CONDITIONS[] ROM = {
    {wire::NO_NO_LIMITS, no_limits}, {wire::NO_BUSY, is_busy}, {wire::NO_LATCHED, some_latch},
    {wire::NO_STALE, is_stale}, {wire::NO_DRIVE_OFF, has_no_power}, {wire::NO_POSITION, is_lost},
    {1, stop_pressed}, {2, guard_open}, {3, not_still}, {4, cutter_away}, {8, switches_together}, {16, no_air},
    {17, dry_first}, {22, locals_together}, {29, no_supply}};

bool permit(const Board &board, const Ask &ask, Answer &answer) {
  for (uint8_t i = 0; i < sizeof(CONDITIONS) / sizeof(CONDITIONS[0]); ++i) {
    Condition condition;
    ROM_COPY(condition, CONDITIONS[i]);
    refuse_plainly(answer, condition.reason);
    if (condition.holds(board, ask, answer)) {
      return false;
    }
  }
  refuse_plainly(answer, 0);
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
