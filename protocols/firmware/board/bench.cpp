// The 8-bit board under the core: ATmega328P at 16 MHz. Promises:
// - outputs are off from the first instruction, and the watchdog runs from the third;
// - nothing waits: bytes, readings and steps go by interrupts, the memory is written at the start only;
// - no interrupt comes upon another, but for short ones upon that of a slow step; the main loop sleeps when it may.
#include "bench.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#include "clock.h"
#include "converter.h"
#include "pins.h"
#include "serial.h"
#include "start.h"
#include "store.h"

#ifndef BENCHD_BUILD
#define BENCHD_BUILD "unknown"
#endif

core::Board board;
volatile bool bench_awake;

static const uint16_t BOOT = 0;  // where the core keeps its boot counter, low byte first
static uint8_t level_off;        // contacts that are off while they read 0

static uint8_t hal_pins(void *) { return (uint8_t)~(BENCHD_CONTACTS ^ level_off); }
static bool hal_drop(void *) { return (BENCHD_DROP_EYE_PINS & (1 << BENCHD_DROP_EYE_BIT)) != 0; }
static uint16_t hal_adc(void *, uint8_t channel) { return converter_counts(channel); }
static uint16_t hal_supply_mv(void *) { return converter_supply_mv(); }

static void hal_outputs(void *, uint8_t bits) {
  if (bits & core::OUT_VALVE) {
    BENCHD_VALVE_PORT |= 1 << BENCHD_VALVE_BIT;
  } else {
    BENCHD_VALVE_PORT &= (uint8_t)~(1 << BENCHD_VALVE_BIT);
  }
  if (bits & core::OUT_DRIVE) {
    BENCHD_DRIVE_PORT |= 1 << BENCHD_DRIVE_BIT;
  } else {
    BENCHD_DRIVE_PORT &= (uint8_t)~(1 << BENCHD_DRIVE_BIT);
  }
  if (bits & core::OUT_DIRECTION) {
    BENCHD_DIRECTION_PORT |= 1 << BENCHD_DIRECTION_BIT;
  } else {
    BENCHD_DIRECTION_PORT &= (uint8_t)~(1 << BENCHD_DIRECTION_BIT);
  }
  if (bits & core::OUT_LEAVING) {
    BENCHD_LEAVING_PORT |= 1 << BENCHD_LEAVING_BIT;
  } else {
    BENCHD_LEAVING_PORT &= (uint8_t)~(1 << BENCHD_LEAVING_BIT);
  }
}

// The way to the next step takes up to 80 us where it is so long that the ramp must divide; the line brings two bytes
// meanwhile, which is all that the port can hold.
static const uint16_t LONG_TICKS = 256;

// The step interrupt lets go of the line again, once the next step is timed.
static void hal_pulse(void *) {
  BENCHD_STEP_PORT |= 1 << BENCHD_STEP_BIT;
  if (board.motion.ramp.interval >= LONG_TICKS) {
    clock_let_others_in();
  }
}

static void hal_start_steps(void *, uint16_t ticks) { clock_start_steps(ticks); }

static uint32_t hal_now_us(void *) {
  core::Locked locked;
  return clock_us();
}

static uint8_t hal_eeprom_read(void *, uint16_t at) { return store.boot[(at - BOOT) & 1]; }
static void hal_eeprom_write(void *, uint16_t at, uint8_t value) { store.boot[(at - BOOT) & 1] = value; }
static void hal_tx_start(void *) { serial_send(); }

const core::Hal board_hal = {0,          hal_pins,        hal_drop,   hal_adc, hal_supply_mv,   hal_outputs,
                             hal_pulse,  hal_start_steps, hal_now_us, hal_eeprom_read, hal_eeprom_write,
                             hal_tx_start, "328p",          BENCHD_BUILD};

static_assert(BENCHD_WATCHED_D >> 2 ==
                  (core::MASK_GUARD | core::MASK_STOP | core::MASK_HOME | core::MASK_FAR | core::MASK_ENDS),
              "one port's change interrupt watches all that stops the feed");

ISR(PCINT2_vect) {
  core::pins_changed(board);
  bench_wake();
}

// Guard, stop and ends as the wiring page says, the others as the store says; pull-ups where it does not forbid them.
static void contacts_init() {
  level_off = store.flipped;
  const uint8_t pulled = (uint8_t)~store.bare;
  PORTD = (uint8_t)(pulled << 2) & BENCHD_CONTACTS_D;
  PORTC = (uint8_t)(pulled >> 3) & BENCHD_CONTACTS_C;
  PCMSK2 = BENCHD_WATCHED_D;
  PCICR = 1 << PCIE2;
}

static void sleep_until_woken() {
  cli();
  if (!bench_awake) {
    // The instruction after sei still runs, so that no interrupt slips in before the sleep.
    sleep_enable();
    sei();
    sleep_cpu();
    sleep_disable();
  }
  sei();
}

int main() {
  store_load();
  contacts_init();
  converter_init();
  serial_init();
  clock_start();
  core::init(board, &board_hal, start_cause());
  store_save();
  set_sleep_mode(SLEEP_MODE_IDLE);
  sei();
  for (;;) {
    sleep_until_woken();
    if (bench_awake) {
      bench_awake = false;
      core::poll(board);
      start_alive();
    }
  }
}
