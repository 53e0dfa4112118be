#include "host.h"

#include <stdlib.h>
#include <string.h>

#include "idle.h"

static const uint64_t NEVER = ~(uint64_t)0;
static const uint64_t HALF_US_PER_MS = 2000;

static uint8_t hal_pins(void *user) { return ((Host *)user)->pins; }
static bool hal_drop(void *user) { return ((Host *)user)->drop; }
static uint16_t hal_adc(void *user, uint8_t channel) { return ((Host *)user)->adc[channel]; }
static uint16_t hal_supply_mv(void *user) { return ((Host *)user)->supply_mv; }

static void hal_outputs(void *user, uint8_t outputs) {
  Host *host = (Host *)user;
  const uint8_t changed = host->outputs ^ outputs;
  host->outputs = outputs;
  if (!(changed & (core::OUT_VALVE | core::OUT_DRIVE))) {
    return;
  }
  host->reasons |= STOP_OUTPUT;
  if (host->edge_count < EDGES_MAX) {
    OutputEdge &edge = host->edges[host->edge_count++];
    edge.half_us = host->now;
    edge.steps = host->steps;
    edge.outputs = outputs;
    edge.spare = 0;
  }
}

static void hal_pulse(void *user) {
  Host *host = (Host *)user;
  host->steps += (host->outputs & core::OUT_DIRECTION) ? 1 : -1;
  if (host->trace_count < host->trace_max) {
    host->trace[host->trace_count++] = host->now;
  }
  if (host->step_stop > 0 && ++host->steps_since >= host->step_stop) {
    host->steps_since = 0;
    host->reasons |= STOP_STEPS;
  }
}

static void hal_start_steps(void *user, uint16_t ticks) {
  Host *host = (Host *)user;
  host->step_at = host->now + ticks;
}

static uint32_t hal_now_us(void *user) {
  const Host *host = (const Host *)user;
  return (uint32_t)((host->now - host->board_zero) / 2);
}

static uint8_t hal_eeprom_read(void *user, uint16_t at) { return ((Host *)user)->eeprom[at & 1023]; }
static void hal_eeprom_write(void *user, uint16_t at, uint8_t value) { ((Host *)user)->eeprom[at & 1023] = value; }

static void hal_tx_start(void *user) {
  Host *host = (Host *)user;
  if (host->tx_at == NEVER) {
    host->tx_at = host->now + BYTE_HALF_US;
  }
}

static const core::Hal HAL = {0,          hal_pins,        hal_drop,         hal_adc,          hal_supply_mv, hal_outputs,
                              hal_pulse,  hal_start_steps, hal_now_us,       hal_eeprom_read, hal_eeprom_write,
                              hal_tx_start, 0,               0};

static void copy_word(char *to, const char *from, size_t size) {
  strncpy(to, from, size - 1);
  to[size - 1] = 0;
}

BC_API void bc_reset(Host *host, uint32_t cause, uint32_t board_us) {
  host->board_zero = host->now - (uint64_t)board_us * 2;  // may wrap, and wraps back in the difference
  host->step_at = NEVER;
  host->rx_at = NEVER;
  host->tx_at = NEVER;
  host->rx_in = 0;
  host->rx_out = 0;
  host->poll_at = host->now;
  host->away_until = 0;
  core::init(host->board, &host->hal, (uint8_t)cause);
}

// boot: the number that the first boot gets; its EEPROM remembers the one before.
BC_API Host *bc_create(uint64_t now_us, uint32_t board_us, uint32_t cause, const char *board, const char *build,
                       uint32_t boot) {
  Host *host = (Host *)calloc(1, sizeof(Host));
  if (host == 0) {
    return 0;
  }
  host->hal = HAL;
  host->hal.user = host;
  copy_word(host->board_word, board, sizeof(host->board_word));
  copy_word(host->build_word, build, sizeof(host->build_word));
  host->hal.board = host->board_word;
  host->hal.build = host->build_word;
  memset(host->eeprom, 0xFF, sizeof(host->eeprom));
  host->eeprom[0] = (uint8_t)(boot - 1u);
  host->eeprom[1] = (uint8_t)((boot - 1u) >> 8);
  host->pins = (1 << wire::PIN_GUARD) | (1 << wire::PIN_STOP) | (1 << wire::PIN_ENDS) | (1 << wire::PIN_HOME);
  host->supply_mv = 5000;
  host->now = now_us * 2;
  bc_reset(host, cause, board_us);
  return host;
}

BC_API void bc_free(Host *host) { free(host); }

BC_API void bc_inputs(Host *host, uint32_t pins, uint32_t eye, uint32_t thrust, uint32_t air, uint32_t supply_mv) {
  host->adc[core::ADC_EYE] = (uint16_t)eye;
  host->adc[core::ADC_THRUST] = (uint16_t)thrust;
  host->adc[core::ADC_AIR] = (uint16_t)air;
  host->supply_mv = (uint16_t)supply_mv;
  const bool drop = (pins >> wire::SIGNAL_DROP & 1) != 0;
  // The board's main loop looks each millisecond: what lasts no longer than a rest of the one here must not slip by.
  if (host->drop != drop || (host->board.cycle.dry_needed != core::DRY_SINCE && core::sense_air_away(host->board))) {
    host->drop = drop;
    host->poll_at = host->now;
  }
  if (host->pins == (uint8_t)pins) {
    return;
  }
  // The board's main loop never rests as long as the one here may; what it times must begin at the change.
  if (host->away_until <= host->now) {
    core::poll(host->board);
  }
  host->pins = (uint8_t)pins;
  core::pins_changed(host->board);
  if (host->poll_at > host->now) {
    host->poll_at = host->now;
  }
}

BC_API uint32_t bc_rx(Host *host, const uint8_t *bytes, uint32_t size) {
  uint32_t taken = 0;
  while (taken < size && host->rx_in - host->rx_out < RX_MAX) {
    host->rx[host->rx_in++ % RX_MAX] = bytes[taken++];
  }
  if (host->rx_at == NEVER && taken > 0) {
    host->rx_at = host->now + BYTE_HALF_US;
  }
  return taken;
}

static void receive(Host *host) {
  const uint8_t byte = host->rx[host->rx_out++ % RX_MAX];
  core::rx_byte(host->board, byte);
  // The receive interrupt wakes the main loop; here only for a whole line or half a ring.
  const uint8_t waiting = (uint8_t)(host->board.rx.in - host->board.rx.out);
  if (byte == '\n' || waiting >= core::RX_BYTES / 2) {
    host->poll_at = host->now;
  }
  host->rx_at = host->rx_out == host->rx_in ? NEVER : host->rx_at + BYTE_HALF_US;
}

static void transmit(Host *host) {
  uint8_t byte;
  if (!core::tx_next(host->board, byte)) {
    host->tx_at = NEVER;
    return;
  }
  if (host->tx_count < TX_MAX) {
    host->tx[host->tx_count++] = byte;
  }
  if (byte == '\n') {
    host->reasons |= STOP_LINE;
  }
  host->tx_at = host->board.tx.in == host->board.tx.out ? NEVER : host->tx_at + BYTE_HALF_US;
}

static void step(Host *host) {
  const uint32_t ticks = core::step_due(host->board);
  host->step_at = ticks == 0 ? NEVER : host->step_at + ticks;
  if (ticks == 0) {
    host->poll_at = host->now;
  }
}

static uint64_t poll_time(const Host *host) {
  return host->poll_at > host->away_until ? host->poll_at : host->away_until;
}

static uint64_t next_time(const Host *host) {
  uint64_t next = poll_time(host);
  next = host->step_at < next ? host->step_at : next;
  next = host->rx_at < next ? host->rx_at : next;
  return host->tx_at < next ? host->tx_at : next;
}

// What is due at this moment, interrupts first.
static void run_due(Host *host) {
  if (host->step_at <= host->now) {
    step(host);
  }
  if (host->rx_at <= host->now) {
    receive(host);
  }
  if (poll_time(host) <= host->now) {
    core::poll(host->board);
    host->poll_at = host->now + idle_ms(host->board) * HALF_US_PER_MS;
  }
  if (host->tx_at <= host->now) {
    transmit(host);
  }
}

BC_API uint32_t bc_run(Host *host, uint64_t until_us, uint32_t mask) {
  const uint64_t until = until_us * 2;
  host->reasons = 0;
  while (true) {
    const uint64_t next = next_time(host);
    if (next > until) {
      host->now = host->now > until ? host->now : until;
      return host->reasons;
    }
    host->now = host->now > next ? host->now : next;
    run_due(host);
    if (host->reasons & mask) {
      return host->reasons;
    }
  }
}

BC_API void bc_hang(Host *host, uint32_t ms) { host->away_until = host->now + ms * HALF_US_PER_MS; }
BC_API uint64_t bc_now_half_us(const Host *host) { return host->now; }
BC_API int64_t bc_steps(const Host *host) { return host->steps; }
BC_API uint32_t bc_outputs(const Host *host) { return host->outputs; }
BC_API void bc_step_stop(Host *host, uint32_t every) {
  host->step_stop = every;
  host->steps_since = 0;
}

BC_API uint32_t bc_tx(Host *host, uint8_t *to, uint32_t most) {
  const uint32_t size = host->tx_count < most ? (uint32_t)host->tx_count : most;
  memcpy(to, host->tx, size);
  memmove(host->tx, host->tx + size, host->tx_count - size);
  host->tx_count -= size;
  return size;
}

BC_API uint32_t bc_edges(Host *host, OutputEdge *to, uint32_t most) {
  const uint32_t size = host->edge_count < most ? (uint32_t)host->edge_count : most;
  memcpy(to, host->edges, size * sizeof(OutputEdge));
  host->edge_count = 0;
  return size;
}

BC_API void bc_trace(Host *host, uint64_t *to, uint64_t most) {
  host->trace = to;
  host->trace_max = to == 0 ? 0 : (size_t)most;
  host->trace_count = 0;
}
BC_API uint64_t bc_traced(const Host *host) { return host->trace_count; }

BC_API uint32_t bc_ram_bytes(void) { return sizeof(core::Board); }
