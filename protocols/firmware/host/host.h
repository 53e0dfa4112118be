// The core on this machine: a virtual clock in half microseconds, inputs that stay as set, and records of what came out.
#ifndef BENCHD_HOST_H
#define BENCHD_HOST_H
#include <stddef.h>
#include <stdint.h>

#include "../core/board.h"

#define BC_API extern "C" __attribute__((visibility("default")))

static const size_t TX_MAX = 1 << 16;
static const size_t RX_MAX = 1 << 12;
static const size_t EDGES_MAX = 1 << 10;
static const uint32_t BYTE_HALF_US = 80;  // ten bits at 250000 baud

// Reasons for which bc_run returns before its time; also the bits of its mask.
static const uint32_t STOP_OUTPUT = 1;  // valve or drive changed
static const uint32_t STOP_LINE = 2;    // the last byte of a line left the board
static const uint32_t STOP_STEPS = 4;   // as many steps as bc_step_stop asked for

struct OutputEdge {
  uint64_t half_us;
  int64_t steps;
  uint32_t outputs;
  uint32_t spare;
};

struct Host {
  core::Board board;
  core::Hal hal;
  uint64_t now;       // all times in half microseconds
  uint64_t board_zero;  // virtual time at which the board's own clock stood at 0
  uint64_t step_at;
  uint64_t poll_at;
  uint64_t away_until;  // the main loop hangs
  uint64_t rx_at;
  uint64_t tx_at;
  uint32_t reasons;
  uint8_t pins;
  bool drop;
  uint16_t adc[3];
  uint16_t supply_mv;
  uint8_t eeprom[1024];
  uint8_t outputs;
  int64_t steps;
  uint32_t step_stop;
  uint32_t steps_since;
  uint64_t *trace;
  size_t trace_max;
  size_t trace_count;
  uint8_t tx[TX_MAX];
  size_t tx_count;
  uint8_t rx[RX_MAX];
  size_t rx_in;
  size_t rx_out;
  OutputEdge edges[EDGES_MAX];
  size_t edge_count;
  char board_word[5];
  char build_word[9];
};

#endif
