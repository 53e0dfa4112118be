// Interlocks: the rules that are watched, what must hold before a motion, and the stop table.
#ifndef BENCHD_SAFETY_H
#define BENCHD_SAFETY_H
#include <stdint.h>

#include "wire.h"

namespace core {

struct Board;

static const int32_t SAME_END_STEPS = 1000;
static const uint8_t THRUST_SLOTS = 10;
static const uint8_t THRUST_SLOT_MS = wire::COLLAPSE_MS / THRUST_SLOTS;

enum Ease { EASE_NONE, EASE_WANTED, EASE_UNDER_WAY };

struct Safety {
  uint32_t latches;  // bit k is IL k+1
  uint16_t thrust_dn[THRUST_SLOTS];  // highest of each slot, for IL-12
  uint8_t thrust_slot;
  uint8_t thrust_slot_ms;
  uint8_t thrust_high;  // readings in a row above thrust_max
  uint8_t ease;
  int8_t end_side;      // direction of the move that met the end of travel
  int32_t end_position;  // where it was met
};

// Rows of the stop table.
enum Cause {
  CAUSE_STOP_0,
  CAUSE_STOP_1,
  CAUSE_STOP_PIN,
  CAUSE_GUARD,
  CAUSE_LEFT_HOME,
  CAUSE_CUT_LONG,
  CAUSE_RETURN_LONG,
  CAUSE_BOTH_SWITCHES,
  CAUSE_DOUGH_GONE,
  CAUSE_THRUST_HIGH,
  CAUSE_COLLAPSE,
  CAUSE_END_SWITCH,
  CAUSE_SOFT_LIMIT,
  CAUSE_AIR_SUPPLY,
  CAUSE_LEASE,
  CAUSE_LOCALS,
  CAUSE_VALVE_LONG,
  CAUSE_PUSH_LONG,
  CAUSE_COUNT
};

// What was measured, and what it was held against.
struct Finding {
  int32_t value;
  int32_t bound;
};

struct Trip : Finding {
  uint8_t interlock;  // 0: none, a stop command
};

// Does what the stop table says for this cause. A trip latches and sends its event unless it is an automatic one.
void stop_for(Board &board, Cause cause, const Trip &trip);

constexpr uint32_t latch_bit(uint8_t interlock) { return (uint32_t)1 << (interlock - 1); }
constexpr uint32_t latch_bits(uint8_t a, uint8_t b, uint8_t c, uint8_t d) {
  return latch_bit(a) | latch_bit(b) | latch_bit(c) | latch_bit(d);
}

// Watches every interlock, in the order of their numbers.
void safety_poll(Board &board);

// A forward move begins: thrust is judged afresh.
void safety_forward(Board &board);

// Feeds back after IL-11. True while that is wanted or under way.
bool ease_poll(Board &board);

// Why the cutter may not move now: IL-16, IL-29.
bool air_bad(const Board &board, Finding &found);
bool supply_low(const Board &board, Finding &found);

// Home and far are on at this moment.
bool both_switches(const Board &board);

// Whether the cause of this interlock is still there; `found` says what was measured.
bool cause_stays(const Board &board, uint8_t interlock, Trip &found);

bool is_latched(const Board &board, uint8_t interlock);

// What a command asks for, and how it was refused.
struct Answer : Finding {
  uint8_t reason;  // 0 if accepted
};

// What is asked for, as bits.
static const uint8_t ASK_FEED = 1;         // moves the feed
static const uint8_t ASK_CUTTER = 2;       // moves the cutter, at once or later
static const uint8_t ASK_CUT_NOW = 4;      // needs the feed at rest
static const uint8_t ASK_NUMBERED = 8;     // carries the number of a beat
static const uint8_t ASK_KNOWN = 16;       // needs a known position
static const uint8_t ASK_WAY_OUT = 32;     // may move although latched: jog and relieve
static const uint8_t ASK_JOG = 64;         // of kind jog
static const uint8_t ASK_FREE_BLADE = 128;  // a short jog in reverse, which needs no cutter at home

struct Ask {
  uint8_t what;
  int8_t direction;
  uint16_t nonce;
};

// Conditions of section 6 that come before those of the program; false with the reason in `answer`.
bool permit(const Board &board, const Ask &ask, Answer &answer);

void refuse(Answer &answer, uint8_t reason, int32_t value, int32_t bound);
// With nothing to tell.
void refuse_plainly(Answer &answer, uint8_t reason);

// Something moves, or is about to by itself.
bool busy(const Board &board);
uint8_t mode(const Board &board);

// Pins that must be on while a move of this kind steps.
uint8_t must_pins(const Board &board, bool free_blade);

}  // namespace core

#endif
