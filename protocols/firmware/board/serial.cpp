#include "serial.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "bench.h"
#include "clock.h"

#ifndef BENCHD_BAUD
#define BENCHD_BAUD 250000
#endif

static const uint16_t DIVISOR = (F_CPU + BENCHD_BAUD * 4) / (BENCHD_BAUD * 8) - 1;

void serial_init() {
  // Double speed before the divisor: 250000 is then exact, 115200 is 2.1 % fast, which 8-N-1 bears.
  UCSR0A = 1 << U2X0;
  UBRR0 = DIVISOR;
  UCSR0C = (1 << UCSZ01) | (1 << UCSZ00);
  UCSR0B = (1 << RXEN0) | (1 << TXEN0) | (1 << RXCIE0);
}

void serial_send() { UCSR0B |= 1 << UDRIE0; }

ISR(USART_RX_vect) {
  const uint8_t byte = UDR0;
  const bool last = byte == '\n';
  // Only the end of a line has its time taken, which is the slow part.
  core::rx_put(board.rx, byte, last ? clock_us() : 0);
  if (last || (uint8_t)(board.rx.in - board.rx.out) >= core::RX_BYTES / 2) {
    bench_wake();
  }
}

ISR(USART_UDRE_vect) {
  uint8_t byte;
  if (core::tx_take(board.tx, byte)) {
    UDR0 = byte;
  } else {
    UCSR0B &= (uint8_t)~(1 << UDRIE0);
  }
}
