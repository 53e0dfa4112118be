#include "link.h"

#include "board.h"
#include "commands.h"
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

static bool finish(Board &board) {
  if (!text_end(board.tx)) {
    return false;
  }
  hal_of(board)->tx_start(hal_of(board)->user);
  return true;
}

static bool send_greeting(Board &board) {
  const Link &link = board.link;
  Tx &tx = board.tx;
  text_begin(tx, TAG_BENCH);
  text_u16(tx, wire::PROTOCOL);
  text_rom_word(tx, FIRMWARE);
  text_word(tx, hal_of(board)->build, 8);
  text_word(tx, hal_of(board)->board, 4);
  text_u16(tx, link.boot);
  text_rom_word(tx, CAUSES[link.cause].word);
  text_u32(tx, board.sense.uptime_s > 9999999u ? 9999999u : board.sense.uptime_s);
  text_u32(tx, link.last_id);
  text_u32(tx, board.limits.digest);
  text_u32(tx, board.events.count > 0 ? board.events.first_number : 0);
  return finish(board);
}

static bool send_answer(Board &board) {
  const Link &link = board.link;
  Answer answer = link.kept;
  if (link.reply_reason != 0) {
    answer.reason = link.reply_reason;
    answer.value = as_signed(link.reply_id);
    answer.bound = link.reply_reason == wire::NO_ORDER ? as_signed(link.last_id) : 0;
  }
  Tx &tx = board.tx;
  text_begin(tx, answer.reason == 0 ? TAG_YES : TAG_NO);
  text_u32(tx, link.reply_id);
  if (answer.reason != 0) {
    text_u16(tx, answer.reason);
    text_i32(tx, answer.value);
    text_i32(tx, answer.bound);
  }
  text_u16(tx, board.rx.taken);
  return finish(board);
}

static int32_t wire_position(const Board &board) {
  const int32_t position = motion_position(board);
  return position < POSITION_MIN ? POSITION_MIN : position > POSITION_MAX ? POSITION_MAX : position;
}

static bool send_beat(Board &board) {
  Link &link = board.link;
  const uint16_t nonce = (uint16_t)(link.nonce + 1);
  Tx &tx = board.tx;
  text_begin(tx, TAG_BEAT);
  text_u16(tx, nonce);
  text_u32(tx, now_us(board));
  text_u16(tx, link.lease);
  text_u32(tx, link.lease_us);
  text_u16(tx, mode(board));
  text_u16(tx, board.cycle.phase);
  text_u16(tx, board.cycle.portion);
  text_u32(tx, board.safety.latches);
  text_i32(tx, wire_position(board));
  text_u16(tx, sense_word(board));
  text_u16(tx, link.bad);
  text_u16(tx, board.rx.taken);
  if (!finish(board)) {
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
  Tx &tx = board.tx;
  text_begin(tx, TAG_SAMPLE);
  text_u16(tx, board.link.sample);
  text_u32(tx, now_us(board));
  text_i32(tx, wire_position(board));
  for (uint8_t i = 0; i < READINGS; ++i) {
    text_u16(tx, readings[i]);
  }
  finish(board);
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
  return limit16(board, moves ? wire::LIMIT_SAMPLE_BUSY_MS : wire::LIMIT_SAMPLE_MS);
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
