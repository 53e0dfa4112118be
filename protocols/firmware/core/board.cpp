#include "board.h"

#include <string.h>

namespace core {

static const uint16_t EEPROM_BOOT = 0;

static uint16_t count_boot(const Hal *hal) {
  const uint8_t low = hal->eeprom_read(hal->user, EEPROM_BOOT);
  const uint8_t high = hal->eeprom_read(hal->user, EEPROM_BOOT + 1);
  const uint16_t boot = (uint16_t)(((uint16_t)high << 8 | low) + 1u);
  hal->eeprom_write(hal->user, EEPROM_BOOT, (uint8_t)boot);
  if ((uint8_t)(boot >> 8) != high) {
    hal->eeprom_write(hal->user, EEPROM_BOOT + 1, (uint8_t)(boot >> 8));
  }
  return boot;
}

void init(Board &board, const Hal *hal, uint8_t cause) {
  memset(&board, 0, sizeof(board));  // an assignment would need a second Board on the stack
  board.hal = hal;
  hal->outputs(hal->user, 0);
  limits_init(board.limits);
  events_init(board.events);
  hand_init(board.hand);
  cycle_init(board.cycle);
  sense_init(board);
  board.safety.latches = latch_bit(20);
  board.link.boot = count_boot(hal);
  link_init(board, cause);
  events_numbers(board, wire::CODE_BOOT, cause, board.link.boot, 0, 0, 0);
}

static void take_lines(Board &board) {
  for (uint8_t i = 0; i < RX_BYTES; ++i) {
    uint8_t byte;
    if (!rx_take(board.rx, byte)) {
      return;
    }
    const Verdict verdict = line_byte(board.line, board.line_text, HOST_LINE_ROOM, byte);
    if (verdict == LINE_UNFINISHED) {
      continue;
    }
    if (verdict != LINE_GOOD) {
      ++board.link.bad;
      continue;
    }
    uint32_t came_us = now_us(board);
    if (rx_empty(board.rx)) {
      Locked locked;
      came_us = board.rx.newline_us;
    }
    command_line(board, board.line_text, board.line.length, came_us);
    board.line.length = 0;
  }
}

void poll(Board &board) {
  sense_poll(board);
  safety_poll(board);
  take_lines(board);
  hand_poll(board);
  cycle_poll(board);
  sense_edges(board);
  link_poll(board);
}

void rx_byte(Board &board, uint8_t byte) { rx_put(board.rx, byte, now_us(board)); }

bool tx_next(Board &board, uint8_t &byte) { return tx_take(board.tx, byte); }

uint32_t step_due(Board &board) { return board.motion.running ? motion_step(board) : 0; }

void pins_changed(Board &board) {
  Sense &sense = board.sense;
  if (!sense.changed) {
    sense.changed = true;
    sense.changed_us = now_us(board);
  }
  motion_check_pins(board, hal_of(board)->pins(hal_of(board)->user));
}

}  // namespace core
