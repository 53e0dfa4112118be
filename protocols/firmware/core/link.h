// What the board says by itself, and the leave to move.
#ifndef BENCHD_LINK_H
#define BENCHD_LINK_H
#include <stdint.h>

#include "safety.h"

namespace core {

static const uint8_t BEATS_KEPT = 8;  // 250 ms at 40 ms a beat

struct Link {
  uint16_t beat_ms[BEATS_KEPT];  // wrapping uptime at which the newest beats were sent
  uint32_t lease_us;             // 0 until the first came
  uint32_t last_id;
  uint32_t body_crc;             // of the last command
  uint32_t reply_id;             // of the answer to send
  Answer kept;                   // to the last command
  uint16_t nonce;                // of the newest beat
  uint16_t lease;
  uint16_t sample;
  uint16_t bad;
  uint16_t boot;
  uint8_t body_length;
  uint8_t beats_sent;            // up to BEATS_KEPT
  uint8_t cause;
  uint8_t reply_reason;          // 0: the kept answer; else 49 or 50
  bool answer_due;
  bool greeting_due;
};

void link_init(Board &board, uint8_t cause);

// Sends what is due while there is room: answers, greeting, beat, events, samples.
void link_poll(Board &board);

// Time between beats and between samples at this moment.
uint16_t beat_period_ms(const Board &board);
uint16_t sample_period_ms(const Board &board);

// A beat with this number was sent at most FRESH_MS ago.
bool is_fresh(const Board &board, uint16_t nonce);

// A fresh number came: the lease begins anew.
void renew(Board &board);

// Takes a line's body; what it orders is done at once.
void command_line(Board &board, const char *body, uint8_t length, uint32_t came_us);

}  // namespace core

#endif
