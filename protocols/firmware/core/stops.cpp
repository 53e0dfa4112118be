// The stop table of SPEC.md, section 12.
#include "board.h"
#include "rom.h"

namespace core {

enum Feed { FEED_ON, FEED_EDGE, FEED_RAMP, FEED_SLOW };
enum Cutter { CUTTER_DONE, CUTTER_HOME, CUTTER_REST };
enum Known { KNOWN_KEPT, DOUBTFUL_IF_MOVED, DOUBTFUL };

struct StopRow {
  uint8_t feed;
  uint8_t cut;     // in the cut phase
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
    {FEED_EDGE, CUTTER_REST, CUTTER_REST, true, DOUBTFUL_IF_MOVED, wire::ENDING_TRIPPED, wire::OUTCOME_TRIPPED},
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

// The trips that latch nothing: a dry stroke ends the one, letting go of the switches the other.
static bool latches_nothing(uint8_t interlock) { return interlock == 17 || interlock == 22; }

static void tell_trip(Board &board, const Trip &trip, uint32_t t_us) {
  if (trip.interlock == 0) {
    return;
  }
  if (!latches_nothing(trip.interlock)) {
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

static void stop_cycle(Board &board, const StopRow &row) {
  Cycle &cycle = board.cycle;
  if (cycle.outcome == GOING) {
    cycle.outcome = row.outcome;
  }
  switch (cycle.phase) {
    case wire::PHASE_SETTLE:
      cycle_finish(board, cycle.outcome);
      break;
    case wire::PHASE_CUT:
      if (row.cut == CUTTER_HOME) {
        cycle_return(board);
      } else if (row.cut == CUTTER_REST) {
        cycle_finish(board, cycle.outcome);
      }
      break;
    case wire::PHASE_RETURN:
      if (row.back == CUTTER_REST) {
        cycle_finish(board, cycle.outcome);
      }
      break;
    default:
      break;  // the portion ends once the feed rests
  }
}

// A blade that stands still stays where it is, but where guard or stop let a hand come near: those take the power
// off everything. Home it is sent out of a cut only, by the return.
static bool takes_valve_off(uint8_t phase, const StopRow &row) {
  if (phase == wire::PHASE_RETURN) {
    return row.back == CUTTER_REST;
  }
  return row.cut == CUTTER_REST && (phase == wire::PHASE_CUT || row.drive_off);
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
  if (takes_valve_off(board.cycle.phase, row)) {
    cutter_rest(board);
  }
  if (board.cycle.phase != wire::PHASE_NONE) {
    stop_cycle(board, row);
  } else {
    cycle_forget(board.cycle);
  }
}

}  // namespace core
