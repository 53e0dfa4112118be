#include "sense.h"

#include "board.h"

namespace core {

static const uint8_t SAFE_ON = MASK_GUARD | MASK_STOP | MASK_ENDS;
static const uint8_t WATCHABLE = MASK_GUARD | MASK_STOP | MASK_HOME | MASK_FAR | MASK_ENDS;

static_assert(wire::FITTED_GUARD == MASK_GUARD && wire::FITTED_STOP == MASK_STOP && wire::FITTED_HOME == MASK_HOME &&
                  wire::FITTED_FAR == MASK_FAR && wire::FITTED_ENDS == MASK_ENDS,
              "watched pins and parts fitted have the same bits");

uint32_t now_us(const Board &board) { return hal_of(board)->now_us(hal_of(board)->user); }

bool sense_is_fitted(const Board &board, uint16_t part) {
  return (limit16(board, wire::LIMIT_FITTED) & part) != 0;
}

static uint16_t convert(const Board &board, uint8_t channel, uint8_t zero_index, uint8_t full_index) {
  const uint16_t counts = hal_of(board)->adc(hal_of(board)->user, channel);
  const uint16_t zero = limit16(board, zero_index);
  // A sensor whose zero lies above nothing never reads so little: its wire is off. That is no low reading.
  if (counts < zero / 2) {
    return wire::NOT_FITTED;
  }
  if (counts <= zero || zero >= 1023) {
    return 0;
  }
  const uint32_t full = (uint32_t)limit(board, full_index);
  return (uint16_t)((uint32_t)(counts - zero) * full / (uint16_t)(1023 - zero));
}

uint16_t sense_eye(const Board &board) {
  return sense_is_fitted(board, wire::FITTED_EYE) ? hal_of(board)->adc(hal_of(board)->user, ADC_EYE) : wire::NOT_FITTED;
}

uint16_t sense_thrust_dn(const Board &board) {
  if (!sense_is_fitted(board, wire::FITTED_THRUST)) {
    return wire::NOT_FITTED;
  }
  return convert(board, ADC_THRUST, wire::LIMIT_THRUST_ZERO, wire::LIMIT_THRUST_FULL);
}

uint16_t sense_air_hpa(const Board &board) {
  if (!sense_is_fitted(board, wire::FITTED_AIR)) {
    return wire::NOT_FITTED;
  }
  return convert(board, ADC_AIR, wire::LIMIT_AIR_ZERO, wire::LIMIT_AIR_FULL);
}

bool sense_air_away(const Board &board) {
  if (!sense_is_fitted(board, wire::FITTED_AIR)) {
    return false;
  }
  // In products, since every poll asks and a division is slow: counts - zero against least as in `convert`.
  const uint16_t counts = hal_of(board)->adc(hal_of(board)->user, ADC_AIR);
  const uint16_t zero = limit16(board, wire::LIMIT_AIR_ZERO);
  if (counts <= zero) {
    return true;
  }
  uint16_t least_hpa = limit16(board, wire::LIMIT_AIR_MIN) / 2;
  if (least_hpa == 0) {
    least_hpa = 1;
  }
  return (uint32_t)(uint16_t)(counts - zero) * limit16(board, wire::LIMIT_AIR_FULL) <
         (uint32_t)least_hpa * (uint16_t)(1023 - zero);
}

uint16_t sense_supply_mv(const Board &board) {
  return sense_is_fitted(board, wire::FITTED_SUPPLY) ? hal_of(board)->supply_mv(hal_of(board)->user) : wire::NOT_FITTED;
}

void sense_readings(const Board &board, uint16_t *four) {
  four[0] = sense_eye(board);
  four[1] = sense_thrust_dn(board);
  four[2] = sense_air_hpa(board);
  four[3] = sense_supply_mv(board);
}

void sense_init(Board &board) {
  Sense &sense = board.sense;
  sense.last_us = now_us(board);
  sense.pins = SAFE_ON;
  sense.told = SAFE_ON;
  sense.age[AGE_BEAT] = wire::BEAT_MS;
}

static void pass_time(Board &board) {
  Sense &sense = board.sense;
  const uint32_t now = now_us(board);
  uint32_t gap = now - sense.last_us + sense.spare_us;
  sense.last_us = now;
  uint16_t elapsed = 0;
  // Usually one round; the division is for a main loop that was away.
  if (gap >= 5000) {
    const uint32_t whole = gap / 1000;
    gap %= 1000;
    elapsed = whole > 65000 ? 65000 : (uint16_t)whole;
  }
  uint16_t left_us = (uint16_t)gap;
  while (left_us >= 1000) {
    left_us -= 1000;
    ++elapsed;
  }
  sense.spare_us = left_us;
  sense.elapsed_ms = elapsed > 255 ? 255 : (uint8_t)elapsed;
  sense.up_ms = (uint16_t)(sense.up_ms + elapsed);
  uint32_t second = (uint32_t)sense.second_ms + elapsed;
  while (second >= 1000) {
    second -= 1000;
    ++sense.uptime_s;
  }
  sense.second_ms = (uint16_t)second;
  for (uint8_t i = 0; i < AGE_COUNT; ++i) {
    const uint16_t age = sense.age[i];
    sense.age[i] = age > (uint16_t)(65535 - elapsed) ? 65535 : (uint16_t)(age + elapsed);
  }
}

static uint8_t read_pins(const Board &board, uint8_t raw) {
  const uint16_t fitted = limit16(board, wire::LIMIT_FITTED);
  uint8_t usable = (uint8_t)fitted & WATCHABLE;
  if (fitted & wire::FITTED_LOCAL) {
    usable |= MASK_FORWARD | MASK_REVERSE;
  }
  if (fitted & (wire::FITTED_BUTTON | wire::FITTED_READY)) {
    usable |= 1 << wire::PIN_BUTTON;
  }
  uint8_t pins = (raw & usable) | (SAFE_ON & ~usable);
  if (!(usable & MASK_HOME) && board.limits.in_force && cutter_is_home(board)) {
    pins |= MASK_HOME;
  }
  return pins;
}

static void count_presses(Sense &sense) {
  sense.pressed = 0;
  for (uint8_t i = 0; i < LOCAL_SWITCHES; ++i) {
    if (!(sense.pins & (uint8_t)(MASK_FORWARD << i))) {
      sense.press_ms[i] = 0;
      continue;
    }
    const uint8_t before = sense.press_ms[i];
    // The time before it was seen first does not count.
    const uint16_t after = before == 0 ? 1 : (uint16_t)(before + sense.elapsed_ms);
    sense.press_ms[i] = after > 255 ? 255 : (uint8_t)after;
    if (before < PRESS_MS && after >= PRESS_MS) {
      sense.pressed |= (uint8_t)(1 << i);
    }
  }
}

static void see_dough(Board &board) {
  Sense &sense = board.sense;
  if (!sense_is_fitted(board, wire::FITTED_EYE)) {
    sense.dough = false;
    return;
  }
  const int32_t level = sense_eye(board);
  const int32_t on = limit(board, wire::LIMIT_EYE_ON);
  const int32_t off = limit(board, wire::LIMIT_EYE_OFF);
  // An eye whose level falls with dough is taught with the lower level as `eye_on`.
  const bool rises = on >= off;
  if (rises ? level >= on : level <= on) {
    sense.dough = true;
  } else if (rises ? level <= off : level >= off) {
    sense.dough = false;
  }
}

static void see_valve(Board &board) {
  if (!valve_is_home(board)) {
    board.sense.age[AGE_VALVE_HOME] = 0;
    board.sense.age[AGE_FAR_STAYS] = 0;
  }
}

void sense_poll(Board &board) {
  Sense &sense = board.sense;
  pass_time(board);
  uint8_t raw;
  uint8_t seen;
  bool stepped;
  {
    Locked locked;
    raw = hal_of(board)->pins(hal_of(board)->user);
    seen = sense.seen_low;
    sense.seen_low = 0;
    stepped = board.motion.stepped || board.motion.running;
    board.motion.stepped = false;
    board.motion.polled_us = now_us(board);
    sense.halted = board.motion.halted;
    sense.halted_low = board.motion.halted_low;
    sense.halt_us = board.motion.halt_us;
    board.motion.halted = false;
    board.motion.halted_low = 0;
  }
  if (stepped) {
    sense.age[AGE_STILL] = 0;
  }
  see_valve(board);
  sense.low = (seen | (uint8_t)~raw) & sense.watch;
  if (((seen | (uint8_t)~raw) & MASK_HOME) != 0) {
    sense.age[AGE_HOME] = 0;
  }
  sense.pins = read_pins(board, raw);
  if (!(sense.pins & MASK_FAR)) {
    sense.age[AGE_FAR_STAYS] = 0;
    sense.age[AGE_BOTH] = 0;
  }
  if (!(sense.watch & MASK_HOME) || !(sense.pins & MASK_HOME)) {
    sense.age[AGE_BOTH] = 0;
  }
  count_presses(sense);
  see_dough(board);
}

static bool takes_edge(const Board &board, uint8_t signal) {
  if (signal == wire::PIN_HOME) {
    return (board.sense.watch & MASK_HOME) != 0;  // a presumption is no edge
  }
  return signal < EDGE_SIGNALS || board.sense.eye_changes < EYE_CHANGES_MAX;
}

// The first time since the portion began: a piece has holes and corners, and falls once.
static void see_drop(Board &board, uint32_t now) {
  Sense &sense = board.sense;
  if (sense.dropped || !sense_is_fitted(board, wire::FITTED_DROP) || !hal_of(board)->drop(hal_of(board)->user)) {
    return;
  }
  sense.dropped = true;
  events_moment(board, wire::CODE_EDGE, wire::SIGNAL_DROP << 1 | 1, board.cycle.portion, now, true);
}

void sense_edges(Board &board) {
  Sense &sense = board.sense;
  const uint16_t word = sense_word(board);
  const uint32_t now = now_us(board);
  uint32_t pins_us = now;
  {
    Locked locked;
    if (sense.changed) {
      pins_us = sense.changed_us;
    }
    sense.changed = false;
  }
  // The interrupt that saw guard or stop open has switched outputs off by itself.
  const uint32_t outputs_us = (sense.low & (MASK_GUARD | MASK_STOP)) ? pins_us : now;
  uint16_t bit = 1;
  for (uint8_t signal = 0; signal <= wire::PIN_DOUGH; ++signal, bit <<= 1) {
    const bool counted = signal < EDGE_SIGNALS;
    if (counted && sense.quiet_ms[signal] > 0) {
      const uint8_t quiet = sense.quiet_ms[signal];
      sense.quiet_ms[signal] = quiet > sense.elapsed_ms ? (uint8_t)(quiet - sense.elapsed_ms) : 0;
      if (sense.quiet_ms[signal] > 0) {
        continue;
      }
    }
    if (!((word ^ sense.told) & bit)) {
      continue;
    }
    sense.told ^= bit;
    if (!takes_edge(board, signal) || (!counted && board.cycle.phase == wire::PHASE_NONE)) {
      continue;
    }
    if (signal < wire::PIN_VALVE) {
      sense.quiet_ms[signal] = EDGE_QUIET_MS;
    } else if (!counted) {
      ++sense.eye_changes;
    }
    const uint32_t t_us = signal < wire::PIN_VALVE ? pins_us : counted ? outputs_us : now;
    const bool extra = signal >= wire::PIN_FORWARD && signal <= wire::PIN_BUTTON;
    const uint8_t small = (uint8_t)((uint8_t)(signal << 1) | ((word & bit) ? 1 : 0));
    events_moment(board, wire::CODE_EDGE, small, board.cycle.portion, t_us, extra);
  }
  see_drop(board, now);
}

void sense_fitted(Board &board) {
  Sense &sense = board.sense;
  see_valve(board);
  {
    Locked locked;
    const uint8_t raw = hal_of(board)->pins(hal_of(board)->user);
    uint8_t watch = (uint8_t)limit(board, wire::LIMIT_FITTED) & WATCHABLE;
    if (!board.limits.in_force) {
      // While a host loads limits the board goes on to watch these by those of before.
      watch |= sense.watch & (MASK_GUARD | MASK_STOP);
    }
    sense.watch = watch;
    sense.seen_low = 0;
    sense.low = sense.watch & (uint8_t)~raw;
    sense.pins = read_pins(board, raw);
  }
  for (uint8_t i = 0; i < LOCAL_SWITCHES; ++i) {
    sense.press_ms[i] = 255;
  }
  see_dough(board);
  sense.told = sense_word(board);
}

static_assert(1 << wire::PIN_VALVE == OUT_VALVE << 8 && 1 << wire::PIN_DRIVE == OUT_DRIVE << 8,
              "outputs and their pins in the beat stand in the same order");

uint16_t sense_word(const Board &board) {
  uint8_t upper = board.motion.outputs & (OUT_VALVE | OUT_DRIVE);
  if (board.sense.dough) {
    upper |= 1 << (wire::PIN_DOUGH - 8);
  }
  if (board.motion.known) {
    upper |= 1 << (wire::PIN_KNOWN - 8);
  }
  if (board.hand.locked) {
    upper |= 1 << (wire::PIN_LOCAL_LOCK - 8);
  }
  if (board.cycle.armed) {
    upper |= 1 << (wire::PIN_ARMED - 8);
  }
  if (board.cycle.waiting) {
    upper |= 1 << (wire::PIN_WAITING - 8);
  }
  if (board.limits.in_force) {
    upper |= 1 << (wire::PIN_ADOPTED - 8);
  }
  return (uint16_t)((uint16_t)upper << 8 | board.sense.pins);
}

}  // namespace core
