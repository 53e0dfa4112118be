// Inputs and time: pins, readings, and ages in ms that stop growing at 65535, so that nothing wraps.
#ifndef BENCHD_SENSE_H
#define BENCHD_SENSE_H
#include <stdint.h>

#include "wire.h"

namespace core {

struct Board;

enum Age {
  AGE_STILL,        // since the last step
  AGE_HOME,         // home switch on without a break
  AGE_VALVE_HOME,   // valve at the home level
  AGE_BOTH,         // home and far on together
  AGE_FAR_STAYS,    // far on with the valve at the home level
  AGE_PHASE,        // of the cycle
  AGE_FAR,          // cutter at the far end
  AGE_LEASE,        // last fresh number
  AGE_WORD,         // last fresh number, or power given to the drive
  AGE_POWERED,      // power given to the drive
  AGE_ARMED,
  AGE_WAITING,      // portion waits for its button
  AGE_BEAT,
  AGE_SAMPLE,
  AGE_LOADING,      // since limits were in force last
  AGE_ACK,          // events sent and not acknowledged
  AGE_COUNT
};

static const uint8_t LOCAL_SWITCHES = 3;   // forward, reverse, button
static const uint8_t EDGE_SIGNALS = 10;    // pins whose edges are events at any time
static const uint8_t PRESS_MS = 20;        // a switch counts as pressed after this time
static const uint8_t EDGE_QUIET_MS = 10;   // contact bounce: one edge of a signal in this time
static const uint8_t EYE_CHANGES_MAX = 4;  // of one portion

// Masks of the pins that stop the feed within one pulse.
static const uint8_t MASK_GUARD = 1 << wire::PIN_GUARD;
static const uint8_t MASK_STOP = 1 << wire::PIN_STOP;
static const uint8_t MASK_HOME = 1 << wire::PIN_HOME;
static const uint8_t MASK_FAR = 1 << wire::PIN_FAR;
static const uint8_t MASK_ENDS = 1 << wire::PIN_ENDS;
static const uint8_t MASK_FORWARD = 1 << wire::PIN_FORWARD;
static const uint8_t MASK_REVERSE = 1 << wire::PIN_REVERSE;

struct Sense {
  uint16_t age[AGE_COUNT];
  uint32_t last_us;
  uint16_t spare_us;
  uint16_t second_ms;
  uint16_t up_ms;      // wraps; see is_fresh
  uint32_t uptime_s;
  uint8_t elapsed_ms;  // since the poll before, at most 255
  uint8_t watch;       // fitted pins among guard, stop, home, far, ends
  uint8_t pins;        // pins 0 to 7, safe levels where not fitted; home as switched or presumed
  uint8_t low;         // watched pins that were off at any time since the poll before
  uint8_t pressed;     // local switches that became pressed in this poll, bit 0 forward
  uint8_t press_ms[LOCAL_SWITCHES];
  uint8_t quiet_ms[EDGE_SIGNALS];
  uint16_t told;       // levels that edge events have told
  uint32_t halt_us;    // when an interrupt stopped the feed since the poll before
  uint8_t halted_low;  // and the pins that it had to
  bool halted;
  bool dough;
  uint8_t eye_changes;
  bool dropped;        // the drop eye saw something since the last portion or stroke began
  // Written by interrupts.
  volatile uint8_t seen_low;
  volatile bool changed;
  uint32_t changed_us;
};

void sense_init(Board &board);
void sense_poll(Board &board);

// Sends an edge event for each signal that changed and is quiet.
void sense_edges(Board &board);

// New limits are in force, or none: what is fitted may have changed. No edges, no presses from it. Commands of the
// same poll are judged by what the inputs say under these limits.
void sense_fitted(Board &board);

// Pins 0 to 15 for the beat.
uint16_t sense_word(const Board &board);

bool sense_is_fitted(const Board &board, uint16_t part);

// Readings, NOT_FITTED where there is no sensor.
uint16_t sense_eye(const Board &board);
uint16_t sense_thrust_dn(const Board &board);
uint16_t sense_air_hpa(const Board &board);
// The air sensor says that air is, or may be, away: less than half of `air_min`, nothing, or its wire is off.
bool sense_air_away(const Board &board);
uint16_t sense_supply_mv(const Board &board);
void sense_readings(const Board &board, uint16_t *four);

uint32_t now_us(const Board &board);

// A wait of at least `ms` is over. Ages count millisecond borders, of which the first may come at once.
inline bool past(uint16_t age, uint16_t ms) { return age > ms; }

}  // namespace core

#endif
