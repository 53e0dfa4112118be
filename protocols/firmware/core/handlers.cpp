// What each numbered command does. A refused one has done nothing.
#include "board.h"
#include "commands.h"
#include "rom.h"

namespace core {

static bool is_free(const Board &board, Answer &answer) {
  if (busy(board)) {
    refuse(answer, wire::NO_BUSY, mode(board), 0);
    return false;
  }
  return true;
}

// What was prepared under other limits is void.
static void forget_plans(Board &board) {
  board.cycle.armed = false;
  cycle_forget(board.cycle);
  sense_fitted(board);
}

static void on_set(THE_BOARD(Board), const Command &command, Answer &answer) {
  if (!is_free(board, answer)) {
    return;
  }
  int32_t nearest = 0;
  const int32_t direction = limit_loaded(board.limits, wire::LIMIT_DIRECTION);
  switch (limits_set(board.limits, (uint8_t)command.fields[1], (int32_t)command.fields[2], nearest)) {
    case LIMIT_TAKEN:
      forget_plans(board);
      if (limit_loaded(board.limits, wire::LIMIT_DIRECTION) != direction) {
        // All was counted the other way.
        board.motion.known = false;
        board.safety.end_side = (int8_t)-board.safety.end_side;
      }
      break;
    case LIMIT_NO_SUCH_KEY:
      refuse_range(answer, 2, nearest);
      break;
    default:
      refuse_range(answer, 3, nearest);
  }
}

static void on_adopt(THE_BOARD(Board), const Command &command, Answer &answer) {
  if (!is_free(board, answer)) {
    return;
  }
  const uint32_t digest = limits_digest(board.limits);
  if (digest != command.fields[1]) {
    refuse_plainly(answer, wire::NO_DIGEST);
    return;
  }
  board.limits.digest = digest;
  board.limits.in_force = true;
  forget_plans(board);
}

static void on_drive(THE_BOARD(Board), const Command &command, Answer &answer) {
  if (!is_free(board, answer)) {
    return;
  }
  if (command.fields[1] == 0) {
    drive_off(board);
    board.cycle.armed = false;
  } else if (!board.limits.in_force) {
    refuse_plainly(answer, wire::NO_NO_LIMITS);
  } else if (board.safety.latches & latch_bit(1)) {
    refuse(answer, wire::NO_LATCHED, 1, 0);
  } else if (board.sense.low & (MASK_STOP | MASK_GUARD)) {
    refuse_plainly(answer, (board.sense.low & MASK_STOP) ? 1 : 2);
  } else if (!board.motion.powered) {
    drive_on(board);
  }
}

static void on_here(THE_BOARD(Board), const Command &command, Answer &answer) {
  if (!is_free(board, answer)) {
    return;
  }
  const int32_t position = (int32_t)command.fields[1];
  Locked locked;
  board.safety.end_position += position - board.motion.position;
  board.motion.position = position;
  board.motion.known = true;
  board.cycle.blind = false;
}

// Interlocks whose cause is looked at: not without limits, which say what is fitted.
static const uint32_t LOOKED_AT =
    latch_bits(1, 2, 5, 7) | latch_bits(8, 11, 14, 16) | latch_bit(29);

static void on_clear(THE_BOARD(Board), const Command &command, Answer &answer) {
  const uint8_t interlock = (uint8_t)command.fields[1];
  if (!is_free(board, answer)) {
    return;
  }
  if (!is_latched(board, interlock)) {
    return;
  }
  if (!board.limits.in_force && (latch_bit(interlock) & LOOKED_AT)) {
    refuse_plainly(answer, wire::NO_NO_LIMITS);
    return;
  }
  Trip found;
  if (cause_stays(board, interlock, found)) {
    refuse(answer, wire::NO_CAUSE_STAYS, interlock, found.value);
    return;
  }
  board.safety.latches &= ~latch_bit(interlock);
  board.cycle.blind = false;
  events_numbers(board, wire::CODE_FREED, interlock, 0, 0, 0, 0);
}

static void on_lock(THE_BOARD(Board), const Command &command, Answer &) {
  board.hand.locked = command.fields[1] != 0;
  if (board.hand.locked && board.hand.kind == wire::MOVE_LOCAL && board.hand.ending == GOING) {
    board.hand.ending = wire::ENDING_RELEASED;
    motion_stop(board, true);
  }
}

static bool in_force(const Board &board, Answer &answer) {
  if (!board.limits.in_force) {
    refuse_plainly(answer, wire::NO_NO_LIMITS);
  }
  return board.limits.in_force;
}

static bool speed_allowed(const Board &board, uint32_t speed, uint8_t field, Answer &answer) {
  const int32_t most = limit(board, wire::LIMIT_SPEED_MAX);
  if (speed > (uint32_t)most) {
    refuse_range(answer, field, most);
    return false;
  }
  return true;
}

// Whether a stretch of feed ends inside the end of travel; one that comes back inside may begin outside.
static bool travel_allowed(const Board &board, int32_t target, int8_t direction, Answer &answer) {
  const int32_t bound = travel_bound(board, direction);
  if (direction < 0 ? target < bound : target > bound) {
    refuse(answer, wire::NO_TRAVEL, target, bound);
    return false;
  }
  return true;
}

static void on_move(THE_BOARD(Board), const Command &command, Answer &answer) {
  const uint8_t kind = (uint8_t)command.fields[1];
  const int32_t distance = (int32_t)command.fields[2];
  const uint16_t speed = (uint16_t)command.fields[3];
  if (!in_force(board, answer)) {
    return;
  }
  const bool only_forward = kind == wire::MOVE_APPROACH || kind == wire::MOVE_PRIME;
  if (distance == 0 || (only_forward && distance < 0) || (kind == wire::MOVE_RELIEVE && distance > 0)) {
    refuse_range(answer, 3, kind == wire::MOVE_RELIEVE ? -1 : 1);
    return;
  }
  if (!speed_allowed(board, speed, 4, answer)) {
    return;
  }
  const bool jog = kind == wire::MOVE_JOG;
  Ask ask = {ASK_FEED | ASK_NUMBERED, (int8_t)(distance < 0 ? -1 : 1), (uint16_t)command.fields[4]};
  if (jog) {
    ask.what |= ASK_JOG;
  }
  if (jog || kind == wire::MOVE_RELIEVE) {
    ask.what |= ASK_WAY_OUT;
  }
  const bool free_blade = jog && distance < 0 && distance >= -FREE_BLADE_STEPS;
  if (free_blade) {
    ask.what |= ASK_FREE_BLADE;
  }
  if (!permit(board, ask, answer) ||
      !travel_allowed(board, motion_position(board) + distance, ask.direction, answer)) {
    return;
  }
  renew(board);
  hand_begin(board, kind, ask.direction, (uint32_t)(distance < 0 ? -distance : distance), speed,
             must_pins(board, free_blade && !cutter_is_home(board)));
}

static bool may_plan(const Board &board, Answer &answer) { return in_force(board, answer) && is_free(board, answer); }

static void on_draft(THE_BOARD(Board), const Command &command, Answer &answer) {
  if (!in_force(board, answer) || !speed_allowed(board, command.fields[4], 5, answer) ||
      !may_plan(board, answer)) {
    return;
  }
  Program &program = board.cycle.program;
  program.draft = (uint16_t)command.fields[1];
  program.detail = 0;
  program.take_up = command.fields[2];
  program.push = command.fields[3];
  program.speed = (uint16_t)command.fields[4];
}

static void on_detail(THE_BOARD(Board), const Command &command, Answer &answer) {
  if (!may_plan(board, answer)) {
    return;
  }
  Program &program = board.cycle.program;
  program.detail = (uint16_t)command.fields[1];
  program.draw_back = command.fields[2];
  program.settle_ms = (uint16_t)command.fields[3];
  program.dwell_ms = (uint16_t)command.fields[4];
}

static bool program_allowed(const Board &board, uint16_t portion, Answer &answer) {
  const Program &program = board.cycle.program;
  const uint16_t loaded = cycle_loaded(board.cycle);
  if (loaded != portion) {
    refuse(answer, wire::NO_NO_PLAN, portion, loaded);
    return false;
  }
  const int32_t forward = motion_position(board) + (int32_t)(program.take_up + program.push);
  if (!travel_allowed(board, forward, 1, answer) ||
      (program.draw_back > 0 && !travel_allowed(board, forward - (int32_t)program.draw_back, -1, answer))) {
    return false;
  }
  const uint8_t room = events_room(board.events);
  if (room < wire::RING_EVENTS_NEEDED) {
    refuse(answer, wire::NO_RING, room, wire::RING_EVENTS_NEEDED);
    return false;
  }
  return true;
}

static void on_run(THE_BOARD(Board), const Command &command, Answer &answer) {
  const bool at_button = command.fields[2] != 0;
  const Ask ask = {ASK_FEED | ASK_CUTTER | ASK_NUMBERED | ASK_KNOWN, 1, (uint16_t)command.fields[3]};
  if (!permit(board, ask, answer)) {
    return;
  }
  if (at_button && !sense_is_fitted(board, wire::FITTED_BUTTON)) {
    refuse(answer, wire::NO_NOT_FITTED, 10, 0);
    return;
  }
  if (!program_allowed(board, (uint16_t)command.fields[1], answer)) {
    return;
  }
  renew(board);
  if (at_button || sense_is_fitted(board, wire::FITTED_READY)) {
    cycle_wait(board);
  } else {
    cycle_begin(board);
  }
}

static void on_arm(THE_BOARD(Board), const Command &, Answer &answer) {
  const Ask ask = {ASK_CUTTER | ASK_CUT_NOW, 0, 0};
  if (!permit(board, ask, answer)) {
    return;
  }
  board.cycle.armed = true;
  board.sense.age[AGE_ARMED] = 0;
}

static void on_fire(THE_BOARD(Board), const Command &command, Answer &answer) {
  const Ask ask = {ASK_CUTTER | ASK_CUT_NOW | ASK_NUMBERED, 0, (uint16_t)command.fields[1]};
  if (!permit(board, ask, answer)) {
    return;
  }
  // The cycle drops it too, but only after this when the main loop was away.
  if (!board.cycle.armed || past(board.sense.age[AGE_ARMED], wire::ARM_MS)) {
    refuse_plainly(answer, wire::NO_NOT_ARMED);
    return;
  }
  renew(board);
  cycle_stroke(board);
}

typedef void (*Handler)(Board &, const Command &, Answer &);

// In the order of the codes.
static const Handler HANDLERS[] ROM = {on_set,  on_adopt, on_drive,  on_here, on_clear, on_lock,
                                       on_move, on_draft, on_detail, on_run,  on_arm,   on_fire};

static_assert(wire::CODE_FIRE - wire::CODE_SET + 1 == sizeof(HANDLERS) / sizeof(HANDLERS[0]),
              "one handler for each numbered line");

void handle(Board &board, const Command &command, Answer &answer) {
  Handler handler;
  ROM_COPY(handler, HANDLERS[command.code - wire::CODE_SET]);
  handler(board, command, answer);
}

}  // namespace core
