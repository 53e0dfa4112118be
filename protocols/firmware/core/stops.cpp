// The stop table of SPEC.md, section 12.
#include "board.h"
#include "rom.h"

namespace core {

enum Feed { FEED_ON, FEED_EDGE, FEED_RAMP, FEED_SLOW };
enum Cutter { CUTTER_DONE, CUTTER_HOME, CUTTER_REST };
enum Known { KNOWN_KEPT, DOUBTFUL_IF_MOVED, DOUBTFUL };

struct StopRow {
  uint8_t feed;
  uint8_t cut;     // in the cut phase, and at rest
  uint8_t back;    // in the return phase
  bool drive_off;
  uint8_t known;
  uint8_t ending;   // of a move by hand
  uint8_t outcome;  // of a portion or stroke
};

// In the order of Cause. Where the table has a dash, nothing begins and the cutter finishes its stroke.
static const StopRow ROWS[CAUSE_COUNT] ROM = {
    {FEED_RAMP, CUTTER_HOME, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_STOPPED, wire::OUTCOME_STOPPED},
    {FEED_EDGE, CUTTER_HOME, CUTTER_DONE, true, DOUBTFUL_IF_MOVED, wire::ENDING_STOPPED, wire::OUTCOME_STOPPED},
    {FEED_EDGE, CUTTER_REST, CUTTER_REST, true, DOUBTFUL_IF_MOVED, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_EDGE, CUTTER_REST, CUTTER_REST, false, DOUBTFUL_IF_MOVED, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_EDGE, CUTTER_DONE, CUTTER_DONE, false, DOUBTFUL, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_ON, CUTTER_HOME, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_ON, CUTTER_REST, CUTTER_REST, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_EDGE, CUTTER_REST, CUTTER_REST, false, DOUBTFUL_IF_MOVED, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_RAMP, CUTTER_DONE, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_RAMP, CUTTER_DONE, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_EDGE, CUTTER_DONE, CUTTER_DONE, true, DOUBTFUL, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_EDGE, CUTTER_DONE, CUTTER_DONE, false, DOUBTFUL, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_RAMP, CUTTER_DONE, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_RAMP, CUTTER_HOME, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_SLOW, CUTTER_DONE, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_LAPSED, wire::OUTCOME_LAPSED},
    {FEED_RAMP, CUTTER_DONE, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_ON, CUTTER_REST, CUTTER_REST, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
    {FEED_RAMP, CUTTER_DONE, CUTTER_DONE, false, KNOWN_KEPT, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED}};

static const uint8_t AUTOMATIC = 22;  // the one trip that latches nothing

// With these latched the cutter is not driven anywhere, not even home.
static const uint32_t REST_LATCHES = ((uint32_t)1 << 0) | ((uint32_t)1 << 1) | ((uint32_t)1 << 7) | ((uint32_t)1 << 23);

static void tell_trip(Board &board, const Trip &trip, uint32_t t_us) {
  if (trip.interlock == 0) {
    return;
  }
  if (trip.interlock != AUTOMATIC) {
    board.safety.latches |= latch_bit(trip.interlock);
  }
  Event *event = events_put(board, wire::CODE_TRIP, trip.interlock, board.cycle.portion, t_us, false);
  if (event) {
    event->numbers[0] = trip.value;
    event->numbers[1] = trip.bound;
    event->numbers[2] = motion_position(board);
  }
}

static void stop_feed(Board &board, const StopRow &row) {
  if (row.feed == FEED_ON) {
    return;
  }
  board.safety.ease = EASE_NONE;
  if (row.feed == FEED_EDGE) {
    motion_halt(board);
  } else {
    motion_stop(board, row.feed == FEED_RAMP);
  }
}

static void stop_cutter(Board &board, const StopRow &row) {
  if (!board.limits.in_force) {
    return;  // which level is home is not known, so any change might send the cutter out
  }
  const bool may_drive = (board.safety.latches & REST_LATCHES) == 0;
  if (row.cut == CUTTER_REST) {
    cutter_rest(board);
  } else if (row.cut == CUTTER_HOME && may_drive) {
    cutter_home(board);
  }
}

static void stop_cycle(Board &board, const StopRow &row) {
  Cycle &cycle = board.cycle;
  if (cycle.outcome == GOING) {
    cycle.outcome = row.outcome;
  }
  switch (cycle.phase) {
    case wire::PHASE_SETTLE:
      stop_cutter(board, row);
      cycle_finish(board, cycle.outcome);
      break;
    case wire::PHASE_CUT:
      stop_cutter(board, row);
      if (row.cut == CUTTER_HOME) {
        cycle_return(board);
      } else if (row.cut == CUTTER_REST) {
        cycle_finish(board, cycle.outcome);
      }
      break;
    case wire::PHASE_RETURN:
      if (row.back == CUTTER_REST) {
        cutter_rest(board);
        cycle_finish(board, cycle.outcome);
      }
      break;
    default:
      stop_cutter(board, row);  // the portion ends once the feed rests
  }
}

void stop_for(Board &board, Cause cause, const Trip &trip) {
  StopRow row;
  ROM_COPY(row, ROWS[cause]);
  Motion &motion = board.motion;
  const bool moved = motion.running || board.sense.halted;
  const uint32_t t_us = board.sense.halted ? board.sense.halt_us : now_us(board);
  tell_trip(board, trip, t_us);
  stop_feed(board, row);
  if (row.known == DOUBTFUL || (row.known == DOUBTFUL_IF_MOVED && moved)) {
    motion.known = false;
  }
  if (row.drive_off) {
    drive_off(board);
  }
  board.cycle.armed = false;
  if (board.hand.kind != MOVE_NONE && board.hand.ending == GOING) {
    board.hand.ending = row.ending;
  }
  if (board.cycle.waiting) {
    cycle_finish(board, row.outcome);
  }
  if (board.cycle.phase != wire::PHASE_NONE) {
    stop_cycle(board, row);
  } else {
    stop_cutter(board, row);
    cycle_forget(board.cycle);
  }
}

}  // namespace core
