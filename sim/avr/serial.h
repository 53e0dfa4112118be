// The chip's serial line: bytes take their time, and no more are held than the chip can hold.
#ifndef BENCHD_SERIAL_LINE_H
#define BENCHD_SERIAL_LINE_H
#include "chip.h"

static uint32_t rx_held(const Chip *chip) {
  return (uint32_t)(chip->uart->input.write - chip->uart->input.read) & (uart_fifo_fifo_size - 1);
}

static uint64_t tx_due(const Chip *chip) { return chip->tx_in == chip->tx_out ? NEVER : chip->tx_end[chip->tx_out]; }

// The simulator tells of a byte when it is written, and knows no second buffer.
static void uart_irq(struct avr_irq_t *irq, uint32_t value, void *param) {
  Chip *chip = param;
  (void)irq;
  const uint64_t now = chip->avr->cycle;
  const uint64_t start = chip->tx_free > now ? chip->tx_free : now;
  chip->tx_free = start + chip->uart->cycles_per_byte;
  chip->tx_wait[chip->tx_in] = (uint8_t)value;
  chip->tx_end[chip->tx_in++] = chip->tx_free;
}

API uint32_t ba_rx(Chip *chip, const uint8_t *bytes, uint32_t size) {
  uint32_t taken = 0;
  while (taken < size && chip->rx_in - chip->rx_out < RX_MAX) {
    chip->rx[chip->rx_in++ % RX_MAX] = bytes[taken++];
  }
  if (chip->rx_at == NEVER && taken > 0) {
    chip->rx_at = chip->avr->cycle;
  }
  return taken;
}

// The simulator tells the firmware of one byte in a byte's time; the chip does as long as it holds one.
static void tell_of_bytes(Chip *chip) {
  if (rx_held(chip) > 0 && !chip->uart->rxc.pending) {
    chip->uart->rxc_raise_time = 0;
    avr_raise_interrupt(chip->avr, &chip->uart->rxc);
  }
}

// The simulator holds 64 bytes, and lets the firmware have no two of them within a byte's time, so that it never makes
// up for a delay. The chip holds two, and a third while no other begins; all of them can be read at once.
static void receive(Chip *chip) {
  avr_uart_t *uart = chip->uart;
  if (chip->rx_busy && !chip->rx_lost) {
    uart->input.buffer[uart->input.write] = chip->rx_byte;
    uart->input.write = (uart->input.write + 1) & (uart_fifo_fifo_size - 1);
    // At once: a chip that sleeps would else go on sleeping until something else woke it, and lose the next.
    tell_of_bytes(chip);
  }
  chip->rx_busy = chip->rx_out != chip->rx_in;
  if (!chip->rx_busy) {
    chip->rx_at = NEVER;
    return;
  }
  chip->rx_byte = chip->rx[chip->rx_out++ % RX_MAX];
  chip->rx_lost = rx_held(chip) >= 3;
  chip->overruns += chip->rx_lost;
  chip->rx_at += uart->cycles_per_byte;
}

static void transmit(Chip *chip) {
  const uint8_t byte = chip->tx_wait[chip->tx_out++];
  if (chip->tx_count < TX_MAX) {
    chip->tx[chip->tx_count++] = byte;
  }
  if (byte == '\n') {
    chip->reasons |= STOP_LINE;
  }
}

#endif
