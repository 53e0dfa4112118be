#include "link.h"

#include "board.h"
#include "rom.h"

#ifndef BENCHD_FIRMWARE
#define BENCHD_FIRMWARE "0.1.0"
#endif

namespace core {

static const char TAG_BENCH[] ROM = "bench";
static const char TAG_YES[] ROM = "yes";
static const char TAG_NO[] ROM = "no";
static const char TAG_BEAT[] ROM = "beat";
static const char TAG_SAMPLE[] ROM = "sample";
static const char FIRMWARE[] ROM = BENCHD_FIRMWARE;

struct CauseWord {
  char word[9];
};
// In the order of the table of causes.
static const CauseWord CAUSES[] ROM = {{"unknown"}, {"power"}, {"button"}, {"watchdog"}, {"lowvolt"}};

void link_init(Board &board, uint8_t cause) {
  board.link.cause = cause < sizeof(CAUSES) / sizeof(CAUSES[0]) ? cause : wire::CAUSE_UNKNOWN;
  board.link.greeting_due = true;
  board.link.nonce = 65535;
}

static bool finish(Board &board, Text &text) {
  if (!text_end(text)) {
    return false;
  }
  board.hal->tx_start(board.hal->user);
  return true;
}

static bool send_greeting(Board &board) {
  const Link &link = board.link;
  Text text = text_begin(board.tx, TAG_BENCH);
  text_u32(text, wire::PROTOCOL);
  text_rom_word(text, FIRMWARE);
  text_word(text, board.hal->build, 8);
  text_word(text, board.hal->board, 4);
  text_u32(text, link.boot);
  text_rom_word(text, CAUSES[link.cause].word);
  text_u32(text, board.sense.uptime_s > 9999999u ? 9999999u : board.sense.uptime_s);
  text_u32(text, link.last_id);
  text_u32(text, board.limits.digest);
  text_u32(text, board.events.count > 0 ? board.events.first_number : 0);
  return finish(board, text);
}

static bool send_answer(Board &board) {
  const Link &link = board.link;
  Answer answer = link.kept;
  if (link.reply_reason != 0) {
    answer.reason = link.reply_reason;
    answer.value = link.reply_id > 2147483647u ? 2147483647 : (int32_t)link.reply_id;
    answer.bound = 0;
    if (link.reply_reason == wire::NO_ORDER) {
      answer.bound = link.last_id > 2147483647u ? 2147483647 : (int32_t)link.last_id;
    }
  }
  Text text = text_begin(board.tx, answer.reason == 0 ? TAG_YES : TAG_NO);
  text_u32(text, link.reply_id);
  if (answer.reason != 0) {
    text_u32(text, answer.reason);
    text_i32(text, answer.value);
    text_i32(text, answer.bound);
  }
  text_u32(text, board.rx.taken);
  return finish(board, text);
}

static int32_t wire_position(const Board &board) {
  const int32_t position = motion_position(board);
  return position < POSITION_MIN ? POSITION_MIN : position > POSITION_MAX ? POSITION_MAX : position;
}

static bool send_beat(Board &board) {
  Link &link = board.link;
  const uint16_t nonce = (uint16_t)(link.nonce + 1);
  Text text = text_begin(board.tx, TAG_BEAT);
  text_u32(text, nonce);
  text_u32(text, now_us(board));
  text_u32(text, link.lease);
  text_u32(text, link.lease_us);
  text_u32(text, mode(board));
  text_u32(text, board.cycle.phase);
  text_u32(text, board.cycle.portion);
  text_u32(text, board.safety.latches);
  text_i32(text, wire_position(board));
  text_u32(text, sense_word(board));
  text_u32(text, link.bad);
  text_u32(text, board.rx.taken);
  if (!finish(board, text)) {
    return false;
  }
  link.nonce = nonce;
  link.beat_ms[nonce & (BEATS_KEPT - 1)] = board.sense.up_ms;
  if (link.beats_sent < BEATS_KEPT) {
    ++link.beats_sent;
  }
  return true;
}

static_assert((BEATS_KEPT & (BEATS_KEPT - 1)) == 0, "the ring wraps by a mask");

bool is_fresh(const Board &board, uint16_t nonce) {
  const Link &link = board.link;
  const uint16_t back = (uint16_t)(link.nonce - nonce);
  const uint16_t age_ms = (uint16_t)(board.sense.up_ms - link.beat_ms[nonce & (BEATS_KEPT - 1)]);
  // Without a recent beat none is fresh; so the low part of the uptime cannot have gone round.
  return back < link.beats_sent && board.sense.age[AGE_BEAT] <= wire::FRESH_MS && age_ms <= wire::FRESH_MS;
}

void renew(Board &board) {
  board.sense.age[AGE_LEASE] = 0;
  board.sense.age[AGE_WORD] = 0;
}

static void send_sample(Board &board) {
  uint16_t readings[READINGS];
  sense_readings(board, readings);
  Text text = text_begin(board.tx, TAG_SAMPLE);
  text_u32(text, board.link.sample);
  text_u32(text, now_us(board));
  text_i32(text, wire_position(board));
  for (uint8_t i = 0; i < READINGS; ++i) {
    text_u32(text, readings[i]);
  }
  finish(board, text);
}

// A period that begins where the last one should have ended, unless it is far behind.
static void restart(uint16_t &age, uint16_t period) {
  age = (uint16_t)(age - period);
  if (age >= period) {
    age = 0;
  }
}

uint16_t beat_period_ms(const Board &board) {
  return board.hand.kind == wire::MOVE_HELD ? wire::BEAT_HELD_MS : wire::BEAT_MS;
}

uint16_t sample_period_ms(const Board &board) {
  const bool moves = board.motion.running || board.cycle.phase != wire::PHASE_NONE;
  return (uint16_t)limit(board.limits, moves ? wire::LIMIT_SAMPLE_BUSY_MS : wire::LIMIT_SAMPLE_MS);
}

void link_poll(Board &board) {
  Link &link = board.link;
  Sense &sense = board.sense;
  const uint16_t sample_ms = sample_period_ms(board);
  const bool sample_due = sense.age[AGE_SAMPLE] >= sample_ms;
  if (sample_due) {
    restart(sense.age[AGE_SAMPLE], sample_ms);
    ++link.sample;  // counts dropped ones too
  }
  if (link.answer_due) {
    if (!send_answer(board)) {
      return;
    }
    link.answer_due = false;
  }
  if (link.greeting_due) {
    if (!send_greeting(board)) {
      return;
    }
    link.greeting_due = false;
  }
  const uint16_t beat_ms = beat_period_ms(board);
  if (sense.age[AGE_BEAT] >= beat_ms) {
    if (!send_beat(board)) {
      return;
    }
    restart(sense.age[AGE_BEAT], beat_ms);
  }
  if (events_send(board) && sample_due) {
    send_sample(board);
  }
}

}  // namespace core
