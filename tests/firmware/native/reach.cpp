// Walks, breadth first, through all states of leases, latches and resets that the firmware core itself can get into, by
// driving the core: kept, driven by one input, compared, gone back to. Two states are one when their keys are equal; the
// key is what decides, with ages and distances told by the thresholds they have passed. The first state found with a key
// stands for it. The laws are judged at each pulse and each change of an output on the way.
#include <stdlib.h>

#include <deque>
#include <string>
#include <unordered_map>
#include <vector>

#include "laws.h"
#include "spec_lines.h"

using core::Board;

static Host *host;
static uint8_t blade;  // where the cutter is, 0 home to BLADE_FAR
static const uint8_t BLADE_FAR = 8;
static const uint16_t STILL_MS = 20, LEASE_MS = 100, CUT_MAX_MS = 60, RETURN_MAX_MS = 100;

struct State {
  laws::Snapshot snapshot;
  uint8_t blade;
  size_t parent;
  const char *input;
};

static std::deque<State> states;
static size_t current;
static const char *under_way = "";

static void tell_and_stop(const char *words) {
  std::vector<const char *> way;
  way.push_back(under_way);
  for (size_t at = current; at != 0; at = states[at].parent) {
    way.push_back(states[at].input);
  }
  fprintf(stderr, "law broken: %s; after:", words);
  for (size_t i = way.size(); i > 0; --i) {
    fprintf(stderr, " %s;", way[i - 1]);
  }
  fprintf(stderr, "\n");
  exit(1);
}

static void pins(uint8_t mask, bool on) {
  bc_inputs(host, on ? host->pins | mask : host->pins & (uint8_t)~mask, 0, 0, 0, 5000);
}

static void move_blade() {
  const bool out = laws::is_far(host, host->outputs);
  if (out ? blade < BLADE_FAR : blade > 0) {
    blade = (uint8_t)(out ? blade + 1 : blade - 1);
    pins(core::MASK_HOME, blade == 0);
    pins(core::MASK_FAR, blade == BLADE_FAR);
  }
}

static void run_ms(uint32_t ms) {
  for (uint32_t i = 0; i < ms; ++i) {
    laws::run_us(host, 1000);
    move_blade();
  }
  host->tx_count = 0;
  host->edge_count = 0;
  core::events_seen(host->board, host->board.events.sent_number);
}

static void say(const char *body) {
  laws::say(host, body, strlen(body));
  run_ms(3);
}

// A numbered line: its fields behind the number, and the nonce where one belongs.
static bool order(const char *tag, const char *fields, int32_t back = -1) {
  char body[64];
  int length = snprintf(body, sizeof(body), "%s %u%s", tag, (unsigned)(host->board.link.last_id + 1), fields);
  if (back >= 0) {
    snprintf(body + length, sizeof(body) - (size_t)length, " %u",
             (unsigned)(uint16_t)(host->board.link.nonce - (uint16_t)back));
  }
  say(body);
  return host->board.link.kept.reason == 0;
}

static void limits() {
  char fields[40];
  for (const SpecValue &value : SPEC_READY) {
    snprintf(fields, sizeof(fields), " %u %ld", (unsigned)value.key, (long)value.value);
    order("set", fields);
  }
  snprintf(fields, sizeof(fields), " %u", (unsigned)core::limits_digest(host->board.limits));
  order("adopt", fields);
}

static void lease(uint16_t back) {
  char body[24];
  snprintf(body, sizeof(body), "lease %u", (unsigned)(uint16_t)(host->board.link.nonce - back));
  say(body);
}

static void clear_lowest() {
  for (uint8_t k = 1; k <= 30; ++k) {
    if (host->board.safety.latches & core::latch_bit(k)) {
      char fields[8];
      snprintf(fields, sizeof(fields), " %u", (unsigned)k);
      if (order("clear", fields)) {
        return;
      }
    }
  }
}

static void stop_1() {
  say("stop 1");
  laws::law(!host->board.motion.running, "the feed runs after stop 1");
  laws::law(!(host->outputs & core::OUT_DRIVE), "the drive has power after stop 1");
}

static void load() {
  order("draft", " 3 0 20 8000");
  order("detail", " 3 0 9 0");
}

static void turn(uint8_t mask) {
  pins(mask, !(host->pins & mask));
  run_ms(1);
  laws::judge_rest(host);
}

static void reset() {
  bc_reset(host, wire::CAUSE_WATCHDOG, 0);
  host->outputs = 0;
  laws::fitted = 0;
  run_ms(120);
}

// What takes the limits out of force, though it changes none.
static void set_again() {
  char fields[40];
  snprintf(fields, sizeof(fields), " %u %ld", wire::LIMIT_CUT_MS + 1u,
           (long)core::limit_loaded(host->board.limits, wire::LIMIT_CUT_MS));
  order("set", fields);
}

struct Input {
  const char *name;
  void (*act)();
};

static const Input INPUTS[] = {
    {"lease", [] { lease(0); }},
    {"stale lease", [] { lease(9); }},
    {"stop 0", [] { say("stop 0"); }},
    {"stop 1", stop_1},
    {"clear", clear_lowest},
    {"drive on", [] { order("drive", " 1"); }},
    {"drive off", [] { order("drive", " 0"); }},
    {"here", [] { order("here", " 0"); }},
    {"jog", [] { order("move", " 0 900 4000", 0); }},
    {"stale jog", [] { order("move", " 0 900 4000", 9); }},
    {"jog back", [] { order("move", " 0 -900 4000", 0); }},
    {"held", [] { order("move", " 1 4000 8000", 0); }},
    {"load", load},
    {"run", [] { order("run", " 3 0", 0); }},
    {"arm", [] { order("arm", ""); }},
    {"fire", [] { order("fire", "", 0); }},
    {"stale fire", [] { order("fire", "", 9); }},
    {"guard", [] { turn(core::MASK_GUARD); }},
    {"stop pin", [] { turn(core::MASK_STOP); }},
    {"reset", reset},
    {"limits", limits},
    {"set", set_again},
    {"5 ms", [] { run_ms(5); }},
    {"30 ms", [] { run_ms(30); }},
    {"130 ms", [] { run_ms(130); }},
    {"5100 ms", [] { run_ms(5100); }}};

static void put(std::string &key, uint32_t value) { key.append((const char *)&value, sizeof(value)); }

// How many of these an age has passed.
static void put_passed(std::string &key, uint32_t age, std::initializer_list<uint32_t> thresholds) {
  char passed = 0;
  for (uint32_t threshold : thresholds) {
    passed = (char)(passed + (age > threshold));
  }
  key += passed;
}

static std::string key_of() {
  const Board &board = host->board;
  const core::Motion &motion = board.motion;
  const core::Cycle &cycle = board.cycle;
  const uint16_t *age = board.sense.age;
  std::string key;
  put(key, board.safety.latches);
  put(key, (uint32_t)host->pins << 24 | (uint32_t)board.sense.pins << 16 | (uint32_t)(board.sense.low | board.sense.seen_low) << 8 |
               (uint32_t)(host->outputs & 3));
  put(key, (uint32_t)board.hand.kind << 24 | (uint32_t)board.hand.ending << 16 | (uint32_t)cycle.phase << 8 | cycle.outcome);
  const bool flags[] = {board.limits.in_force, motion.running, motion.stopping, motion.fast_stop, motion.halted,
                        motion.known, motion.powered, motion.direction < 0, cycle.stroke, cycle.waiting,
                        cycle.armed, cycle.far, core::cycle_loaded(cycle) != 0, cycle.program.draft != 0,
                        board.safety.ease != 0, board.link.lease_us != 0, cycle.dry_needed != 0,
                        cycle.dry_needed == core::DRY_SINCE};
  for (bool flag : flags) {
    key += (char)flag;
  }
  key += (char)motion.must;
  key += (char)(motion.running ? 1 + (motion.ramp.left > 40) + (motion.ramp.left > 400) : 0);
  key += (char)(blade == 0 ? 0 : blade == BLADE_FAR ? 2 : 1);
  put_passed(key, age[core::AGE_STILL], {STILL_MS});
  put_passed(key, age[core::AGE_HOME], {wire::HOME_STEADY_MS});
  put_passed(key, age[core::AGE_PHASE], cycle.phase == 0 ? std::initializer_list<uint32_t>{}
                                                          : std::initializer_list<uint32_t>{9, CUT_MAX_MS, RETURN_MAX_MS});
  put_passed(key, age[core::AGE_LEASE], {LEASE_MS / 2, LEASE_MS - 1u});
  put_passed(key, age[core::AGE_WORD], {wire::DRIVE_OFF_MS - 1u});
  put_passed(key, cycle.armed ? age[core::AGE_ARMED] : 0, {wire::ARM_MS});
  return key;
}

int main(int count, char **arguments) {
  const size_t most = count > 1 ? (size_t)atol(arguments[1]) : 1000000;
  host = bc_create(0, 0, wire::CAUSE_POWER, "host", "00000000", 7);
  laws::watch(host, tell_and_stop);
  bc_inputs(host, laws::SAFE_PINS, 0, 0, 0, 5000);
  run_ms(120);
  std::unordered_map<std::string, size_t> known;
  states.push_back(State{laws::Snapshot(), blade, 0, "power"});
  laws::keep(host, states[0].snapshot);
  known[key_of()] = 0;
  size_t transitions = 0, moving = 0, firing = 0, latched = 0;
  for (current = 0; current < states.size() && states.size() < most; ++current) {
    for (const Input &input : INPUTS) {
      laws::go_back(host, states[current].snapshot);
      blade = states[current].blade;
      under_way = input.name;
      input.act();
      ++transitions;
      if (!known.emplace(key_of(), states.size()).second) {
        continue;
      }
      states.push_back(State{laws::Snapshot(), blade, current, input.name});
      laws::keep(host, states.back().snapshot);
      moving += host->board.motion.running;
      firing += host->board.cycle.phase == wire::PHASE_CUT;
      latched += host->board.safety.latches != 0;
    }
  }
  printf("states %zu transitions %zu left %zu moving %zu cutting %zu latched %zu pulses %llu strokes %llu\n",
         states.size(), transitions, states.size() - current, moving, firing, latched,
         (unsigned long long)laws::pulses, (unsigned long long)laws::strokes);
  return 0;
}
