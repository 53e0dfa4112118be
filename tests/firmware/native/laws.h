// Laws that hold at every pulse and at every change of an output, whatever was sent. They are judged from what goes in
// and out, and from what the core says it is doing; not from how it decides.
#ifndef BENCHD_LAWS_H
#define BENCHD_LAWS_H
#include <stdio.h>
#include <string.h>

#include "../../../protocols/firmware/host/host.h"

#define BC_USE extern "C"
BC_USE Host *bc_create(uint64_t now_us, uint32_t board_us, uint32_t cause, const char *board, const char *build,
                       uint32_t boot);
BC_USE void bc_reset(Host *host, uint32_t cause, uint32_t board_us);
BC_USE void bc_inputs(Host *host, uint32_t pins, uint32_t eye, uint32_t thrust, uint32_t air, uint32_t supply_mv);
BC_USE uint32_t bc_rx(Host *host, const uint8_t *bytes, uint32_t size);
BC_USE uint32_t bc_run(Host *host, uint64_t until_us, uint32_t mask);
BC_USE uint32_t bc_crc16(const uint8_t *bytes, uint32_t size);

namespace laws {

static const uint64_t HALF_US_PER_MS = 2000;
static const uint8_t SAFE_PINS = core::MASK_GUARD | core::MASK_STOP | core::MASK_ENDS | core::MASK_HOME;

static uint64_t last_pulse;  // in half microseconds
static uint32_t fitted;      // by the limits that were in force last since the reset
static uint64_t pulses;
static uint64_t strokes;

// What a harness does with a law that is broken; it does not come back.
static void (*broken)(const char *law);

inline void law(bool holds, const char *words) {
  if (!holds) {
    broken(words);
  }
}

inline int32_t in_force(const Host *host, uint8_t index) { return core::limit(host->board, index); }

inline void remember_fitted(const Host *host) {
  if (host->board.limits.in_force) {
    fitted = (uint32_t)in_force(host, wire::LIMIT_FITTED);
  }
}

// Fitted pins among guard, stop, home, far and ends that are off.
inline uint8_t off(const Host *host) {
  const uint8_t watched = core::MASK_GUARD | core::MASK_STOP | core::MASK_HOME | core::MASK_FAR | core::MASK_ENDS;
  remember_fitted(host);
  return (uint8_t)(fitted & watched & ~host->pins);
}

inline bool is_far(const Host *host, uint8_t outputs) {
  return ((outputs & core::OUT_VALVE) != 0) != (in_force(host, wire::LIMIT_VALVE_HOME) != 0);
}

// Latches whose trip stops the feed by edge: SPEC.md, section 12.
static const uint32_t EDGE_LATCHES = core::latch_bits(1, 2, 5, 8) | core::latch_bits(12, 20, 20, 20);

inline void judge_lease(const Host *host) {
  const core::Board &board = host->board;
  if (board.hand.kind == wire::MOVE_LOCAL || board.safety.ease != core::EASE_NONE) {
    return;
  }
  const int64_t lease = in_force(host, wire::LIMIT_LEASE_MS);
  const int64_t held = in_force(host, wire::LIMIT_HELD_MS);
  const int64_t slow = 1000LL * in_force(host, wire::LIMIT_SPEED_MAX) / in_force(host, wire::LIMIT_ACCEL);
  const int64_t most = (lease > held ? lease : held) + slow + 250;
  law(board.sense.age[core::AGE_LEASE] <= (most < 65535 ? most : 65535), "the feed steps long after its lease lapsed");
}

inline void judge_pulse(const Host *host) {
  const core::Board &board = host->board;
  const uint8_t low = off(host);
  law(board.limits.in_force, "the feed steps without limits");
  law((host->outputs & core::OUT_DRIVE) != 0, "the feed steps without power");
  law(!(low & core::MASK_STOP), "the feed steps while stop is pressed");
  law(!(low & core::MASK_GUARD), "the feed steps while the guard is open");
  law(!(board.safety.latches & EDGE_LATCHES), "the feed steps under a latch that stops it at once");
  law(!(low & core::MASK_ENDS) || (board.safety.latches & core::latch_bit(14)), "the feed steps into an end switch");
  const bool frees_blade = board.hand.kind == wire::MOVE_JOG && board.motion.direction < 0;
  law(!(low & core::MASK_HOME) || frees_blade, "the feed steps with the cutter away");
  law(!is_far(host, host->outputs) || frees_blade, "the feed steps with the valve at the far level");
  const uint8_t phase = board.cycle.phase;
  law(phase == wire::PHASE_NONE || phase <= wire::PHASE_DRAW_BACK, "the feed steps in settle, cut or return");
  judge_lease(host);
}

inline void judge_outputs(const Host *host, uint8_t outputs) {
  const core::Board &board = host->board;
  const uint8_t low = off(host);
  law(!(outputs & core::OUT_VALVE) || !(low & (core::MASK_GUARD | core::MASK_STOP)),
      "the valve is driven while guard or stop is open");
  if (!board.limits.in_force || !is_far(host, outputs) || is_far(host, host->outputs)) {
    return;
  }
  law(!board.motion.running, "the cutter fires while the feed moves");
  if (!(outputs & core::OUT_VALVE)) {
    return;  // it may have dropped to rest, which is the far level of this bench
  }
  ++strokes;
  const uint64_t still = (uint64_t)in_force(host, wire::LIMIT_STILL_MS) * HALF_US_PER_MS;
  law(board.cycle.phase == wire::PHASE_CUT, "the cutter fires outside a cut");
  law(last_pulse == 0 || host->now - last_pulse >= still, "the cutter fires before the feed was still for long enough");
  law(board.safety.latches == 0, "the cutter fires under a latch");
  law(board.cycle.stroke || !board.cycle.dry_needed, "the cutter fires for a portion before a dry stroke");
}

static void (*real_pulse)(void *);
static void (*real_outputs)(void *, uint8_t);

inline void pulse(void *user) {
  Host *host = (Host *)user;
  judge_pulse(host);
  last_pulse = host->now;
  ++pulses;
  real_pulse(user);
}

inline void outputs(void *user, uint8_t bits) {
  judge_outputs((const Host *)user, bits);
  real_outputs(user, bits);
}

// Puts the laws between the core and its hardware.
inline void watch(Host *host, void (*on_broken)(const char *)) {
  broken = on_broken;
  real_pulse = host->hal.pulse;
  real_outputs = host->hal.outputs;
  host->hal.pulse = pulse;
  host->hal.outputs = outputs;
}

// Everything of a host but what it recorded and what is under way to the board, to go back to.
struct Snapshot {
  char bytes[sizeof(core::Board) + 1024 + 512];  // and the memory that outlives a reset
  uint64_t last_pulse;
  uint32_t fitted;
};

inline size_t size_of(const Host *host) { return (size_t)((const char *)host->tx - (const char *)host); }

inline void keep(const Host *host, Snapshot &to) {
  law(size_of(host) <= sizeof(to.bytes), "a snapshot has no room for the host's state");
  memcpy(to.bytes, (const void *)host, size_of(host));
  to.last_pulse = last_pulse;
  to.fitted = fitted;
}

inline void go_back(Host *host, const Snapshot &from) {
  memcpy((void *)host, from.bytes, size_of(host));
  last_pulse = from.last_pulse;
  fitted = from.fitted;
  host->rx_in = host->rx_out = host->tx_count = host->edge_count = 0;
}

// The line with its check value, handed to the board's port.
inline void say(Host *host, const char *body, size_t size) {
  char line[80];
  const uint32_t crc = bc_crc16((const uint8_t *)body, (uint32_t)size);
  const int length = snprintf(line, sizeof(line), "%.*s %04X\n", (int)size, body, (unsigned)crc);
  bc_rx(host, (const uint8_t *)line, (uint32_t)length);
}

inline void run_us(Host *host, uint64_t us) {
  bc_run(host, host->now / 2 + us, 0);
  remember_fitted(host);
}

// Once the main loop had time to see it.
inline void judge_rest(const Host *host) {
  law(!(off(host) & (core::MASK_GUARD | core::MASK_STOP)) || !(host->outputs & core::OUT_DRIVE),
      "the drive has power while guard or stop is open");
}

}  // namespace laws

#endif
