#include "idle.h"

using namespace core;

static bool restless(const Board &board) {
  const Sense &sense = board.sense;
  if (busy(board) || board.cycle.armed || board.safety.ease != EASE_NONE || board.motion.halted) {
    return true;
  }
  if (board.link.answer_due || board.link.greeting_due || board.events.sent < board.events.count ||
      board.events.lost > 0) {
    return true;
  }
  for (uint8_t i = 0; i < LOCAL_SWITCHES; ++i) {
    if (sense.press_ms[i] > 0 && sense.press_ms[i] < PRESS_MS) {
      return true;
    }
  }
  for (uint8_t i = 0; i < EDGE_SIGNALS; ++i) {
    if (sense.quiet_ms[i] > 0) {
      return true;
    }
  }
  // Limits that came into force may find a pin off already.
  const uint32_t latches = board.safety.latches;
  if (((sense.low & MASK_STOP) && !(latches & latch_bit(1))) || ((sense.low & MASK_GUARD) && !(latches & latch_bit(2))) ||
      ((sense.low & MASK_ENDS) && !(latches & latch_bit(14)))) {
    return true;
  }
  // IL-08 may be about to trip.
  return (sense.pins & MASK_FAR) && !(board.safety.latches & latch_bit(8));
}

static void sooner(uint32_t &least, uint32_t age, uint32_t due) {
  const uint32_t left = age >= due ? 1 : due - age;
  if (left < least) {
    least = left;
  }
}

uint32_t idle_ms(const Board &board) {
  if (restless(board)) {
    return 1;
  }
  const uint16_t *age = board.sense.age;
  uint32_t least = 1000;
  sooner(least, age[AGE_BEAT], beat_period_ms(board));
  sooner(least, age[AGE_SAMPLE], sample_period_ms(board));
  if (board.events.count > 0) {
    sooner(least, age[AGE_ACK], wire::RESEND_MS);
  }
  if (board.motion.powered) {
    sooner(least, age[AGE_WORD], wire::DRIVE_OFF_MS);
    if (!(limit(board, wire::LIMIT_DRIVE_HOLD) & 1)) {
      const uint32_t rest = (uint32_t)limit(board, wire::LIMIT_RELEASE_MS) + 1;
      const uint16_t since = age[AGE_STILL] < age[AGE_POWERED] ? age[AGE_STILL] : age[AGE_POWERED];
      sooner(least, since, rest);
    }
  }
  return least;
}
