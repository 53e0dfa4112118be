#include "hand.h"

#include "board.h"
#include "rom.h"

namespace core {

static const uint8_t SIGNAL_BUTTON = 2;

APART void flow_begin(Flow &flow, int32_t position) {
  flow.last = position;
  flow.from = position;
  flow.longest = 0;
  flow.seen = false;
}

APART void flow_see(Flow &flow, int32_t position, bool dough, uint32_t gap) {
  const uint32_t without = (uint32_t)(position - flow.last);
  if (flow.seen && without > flow.longest) {
    flow.longest = without;
  }
  if (!dough) {
    return;
  }
  if (!flow.seen || without > gap) {
    flow.from = position;
  }
  flow.seen = true;
  flow.last = position;
}

void hand_init(Hand &hand) { hand.kind = MOVE_NONE; }

void hand_begin(Board &board, uint8_t kind, int8_t direction, uint32_t steps, uint16_t speed, uint8_t must) {
  Hand &hand = board.hand;
  hand.kind = kind;
  hand.ending = GOING;
  hand.thrust_dn = sense_thrust_dn(board);
  flow_begin(board.cycle.flow, motion_position(board));
  board.cycle.blind = false;
  board.cycle.armed = false;
  safety_forward(board);
  motion_start(board, direction, steps, speed, must);
}

static void end_by(Board &board, uint8_t ending) {
  board.hand.ending = ending;
  motion_stop(board, true);
}

static void watch_thrust(Board &board) {
  Hand &hand = board.hand;
  const uint16_t now_dn = sense_thrust_dn(board);
  if (now_dn == wire::NOT_FITTED) {
    return;
  }
  if (hand.kind == wire::MOVE_RELIEVE && now_dn <= wire::RELIEVED_DN) {
    end_by(board, wire::ENDING_RELIEVED);
  }
  const uint32_t rise = (uint32_t)limit(board, wire::LIMIT_CONTACT);
  if (hand.kind == wire::MOVE_APPROACH && now_dn >= hand.thrust_dn + rise) {
    end_by(board, wire::ENDING_CONTACT);
  }
}

static void watch_flow(Board &board) {
  Flow &flow = board.cycle.flow;
  if (!sense_is_fitted(board, wire::FITTED_EYE)) {
    return;
  }
  const int32_t position = motion_position(board);
  const uint32_t gap = (uint32_t)limit(board, wire::LIMIT_GAP);
  flow_see(flow, position, board.sense.dough, gap);
  const uint32_t without = (uint32_t)(position - flow.last);
  if (flow.seen && without <= gap &&
      (uint32_t)(position - flow.from) >= (uint32_t)limit(board, wire::LIMIT_PRIME_FLOW)) {
    end_by(board, wire::ENDING_FLOWING);
  } else if (without >= (uint32_t)limit(board, wire::LIMIT_FIRST_FLOW)) {
    end_by(board, wire::ENDING_NO_FLOW);
  }
}

static void watch_switch(Board &board) {
  const uint8_t mask = (uint8_t)(MASK_FORWARD << board.hand.signal);
  if (!(board.sense.pins & mask)) {
    board.hand.ending = wire::ENDING_RELEASED;
    motion_stop(board, true);
  }
}

static void ignore(Board &board, uint8_t index, uint8_t reason) {
  events_numbers(board, wire::CODE_IGNORED, (uint8_t)(wire::PIN_FORWARD + index), reason, 0, 0, 0);
}

static uint8_t local_reason(const Board &board, int8_t direction) {
  if (board.cycle.phase != wire::PHASE_NONE || board.cycle.waiting) {
    return 23;
  }
  if (board.hand.locked) {
    return wire::NO_LOCKED;
  }
  const Ask ask = {ASK_FEED, direction, 0};
  Answer answer;
  if (!permit(board, ask, answer)) {
    return answer.reason;
  }
  return motion_room(board, direction) == 0 ? (uint8_t)wire::NO_TRAVEL : (uint8_t)0;
}

static void press_local(Board &board, uint8_t index) {
  const int8_t direction = index == 0 ? 1 : -1;
  const uint8_t reason = local_reason(board, direction);
  if (reason != 0) {
    ignore(board, index, reason);
    return;
  }
  board.hand.signal = index;
  hand_begin(board, wire::MOVE_LOCAL, direction, motion_room(board, direction),
             motion_speed(board, wire::LIMIT_LOCAL_SPEED), must_pins(board, false));
}

// Starts the portion that waits, if all is well. A contact that stays on asks again and again, and says nothing.
static void press_button(Board &board, bool silent) {
  uint8_t reason = wire::NO_NO_PLAN;
  if (board.cycle.waiting) {
    const Ask ask = {ASK_FEED | ASK_CUTTER | ASK_KNOWN, 1, 0};
    // It is the waiting itself that makes the bench busy.
    board.cycle.waiting = false;
    Answer answer;
    if (permit(board, ask, answer)) {
      if (events_room(board.events) >= wire::RING_EVENTS_NEEDED) {
        cycle_begin(board);
        return;
      }
      answer.reason = wire::NO_RING;
    }
    board.cycle.waiting = true;
    reason = answer.reason;
  }
  if (!silent) {
    ignore(board, SIGNAL_BUTTON, reason);
  }
}

static void watch_move(Board &board) {
  Hand &hand = board.hand;
  if (hand.ending == GOING && board.motion.running) {
    switch (hand.kind) {
      case wire::MOVE_RELIEVE:
      case wire::MOVE_APPROACH:
        watch_thrust(board);
        break;
      case wire::MOVE_PRIME:
        watch_flow(board);
        break;
      case wire::MOVE_LOCAL:
        watch_switch(board);
        break;
      default:
        break;
    }
  }
  // A feed that an interrupt stopped ends only after the interlocks have said why.
  if (board.motion.running || board.motion.halted || ease_poll(board)) {
    return;
  }
  if (hand.ending == GOING) {
    if (hand.kind == wire::MOVE_LOCAL && board.motion.reached && board.motion.known) {
      return;  // at a soft limit, which IL-14 says in the next poll
    }
    hand.ending = board.motion.reached ? wire::ENDING_REACHED : wire::ENDING_STOPPED;
  }
  const uint8_t kind = hand.kind;
  hand.kind = MOVE_NONE;
  events_moment(board, wire::CODE_MOVED, kind, hand.ending, now_us(board), false);
}

void hand_poll(Board &board) {
  if (board.hand.kind != MOVE_NONE) {
    watch_move(board);
  }
  if (sense_is_fitted(board, wire::FITTED_READY)) {
    if (board.sense.press_ms[SIGNAL_BUTTON] >= PRESS_MS) {
      press_button(board, true);
    }
  } else if (board.sense.pressed & (1 << SIGNAL_BUTTON)) {
    press_button(board, false);
  }
  for (uint8_t index = 0; index < SIGNAL_BUTTON; ++index) {
    if (board.sense.pressed & (1 << index)) {
      press_local(board, index);
    }
  }
}

}  // namespace core
