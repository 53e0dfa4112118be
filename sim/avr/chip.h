// What the shim holds of one chip: levels, bytes under way, planned inputs, what it recorded.
#ifndef BENCHD_CHIP_H
#define BENCHD_CHIP_H
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <avr_adc.h>
#include <avr_eeprom.h>
#include <avr_extint.h>
#include <avr_ioport.h>
#include <avr_timer.h>
#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_elf.h>
#include <sim_irq.h>

#define API __attribute__((visibility("default")))

enum { PORTS = 3, TX_MAX = 1 << 16, RX_MAX = 1 << 12, EDGES_MAX = 1 << 10, PLANS_MAX = 256 };
enum { STEP, DIRECTION, DRIVE, VALVE, LEAVING, OUTPUTS };
enum { STOP_OUTPUT = 1, STOP_LINE = 2, STOP_STEPS = 4, STOP_RESET = 8, STOP_CRASH = 16 };
enum { TIFR1_AT = 0x36, MCUSR_AT = 0x54, SPL_AT = 0x5D, SPH_AT = 0x5E, R2 = 2, SPIN = 0xCFFF };
enum { DDRB_AT = 0x24, PORTD_AT = 0x2B, PINS_AT = 2 };  // PIN, DDR and PORT of B, C, D from 0x23 on; the first are at 2 mod 3

static const uint64_t NEVER = ~(uint64_t)0;
static const char PORT_NAMES[PORTS] = {'B', 'C', 'D'};

typedef struct {
  uint64_t cycle;
  int64_t steps;
  uint32_t outputs;  // 1 valve, 2 drive
  uint32_t spare;
} Edge;

typedef struct {
  uint64_t cycle;
  uint8_t port, bit, level;
} Plan;

typedef struct {
  avr_t *avr;
  avr_uart_t *uart;
  void (*chip_reset)(avr_t *);
  void (*usual_run)(avr_t *);
  avr_cycle_count_t own_byte;  // what the simulator reckoned for a byte, already put right
  uint64_t limit;              // a sleep ends here at the latest
  uint32_t reasons;
  avr_int_vector_t *maskable[8];  // interrupts that the firmware holds back at times
  uint32_t maskables;
  uint8_t listened;
  uint8_t was_reset;
  uint8_t input_mask[PORTS], input_level[PORTS];
  uint8_t output_at[OUTPUTS];  // port << 3 | bit
  uint8_t level[OUTPUTS];
  int64_t steps;
  uint32_t step_stop, steps_since;
  uint64_t step_rose, step_narrowest;
  uint64_t *trace;
  size_t trace_max, trace_count;
  Edge edges[EDGES_MAX];
  size_t edge_count;
  uint8_t tx_wait[256];  // bytes under way, and when they are through
  uint64_t tx_end[256];
  uint8_t tx_in, tx_out;
  uint64_t tx_free;
  uint8_t tx[TX_MAX];
  size_t tx_count;
  uint8_t rx[RX_MAX];
  size_t rx_in, rx_out;
  uint64_t rx_at;    // a byte is through, and the next may begin
  uint8_t rx_busy, rx_lost, rx_byte;
  uint32_t overruns;
  Plan plans[PLANS_MAX];
  size_t plan_count;
  uint64_t plan_at;
  uint16_t lowest_sp;
  uint64_t asleep;  // cycles
  uint64_t deaf_since, deaf_longest;  // interrupts off
  uint32_t deaf_at, deaf_from;
  uint32_t hang_from, hang_to, hang_at;
  uint64_t hang_cycles, hang_end;
  uint8_t hung[2];
} Chip;

static uint64_t least(uint64_t a, uint64_t b) { return a < b ? a : b; }

#endif
