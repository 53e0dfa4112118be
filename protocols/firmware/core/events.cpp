#include "events.h"

#include <string.h>

#include "board.h"
#include "rom.h"

namespace core {

static const wire::EventTag TAGS[] ROM = {BENCHD_EVENT_TAGS};
static const uint8_t FIRST_CODE = wire::CODE_BOOT;

void events_init(Events &events) {
  events.first_number = 1;
  events.next_number = 1;
}

uint8_t events_room(const Events &events) { return (uint8_t)(wire::RING_EVENTS - events.count); }

static uint8_t place(const Events &events, uint8_t offset) {
  const uint8_t at = (uint8_t)(events.first + offset);
  return at < wire::RING_EVENTS ? at : (uint8_t)(at - wire::RING_EVENTS);
}

// Written where it stays: a copy on the stack is RAM that the board does not have.
APART static Event *store(Events &events, uint8_t kind, uint8_t small, uint16_t portion, uint32_t t_us) {
  if (events.count == 0) {
    events.first_number = events.next_number;
  }
  Event *event = &events.ring[place(events, events.count)];
  *event = Event();
  event->kind = kind;
  event->small = small;
  event->portion = portion;
  event->t_us = t_us;
  ++events.count;
  ++events.next_number;
  return event;
}

static void store_lost(Board &board) {
  Events &events = board.events;
  if (events.lost == 0 || events_room(events) <= events.reserved) {
    return;
  }
  const uint32_t lost = events.lost;
  events.next_number += lost;
  events.lost = 0;
  store(events, wire::CODE_LOST, 0, 0, now_us(board))->numbers[0] = (int32_t)lost;
}

Event *events_put(Board &board, uint8_t kind, uint8_t small, uint16_t portion, uint32_t t_us, bool extra) {
  Events &events = board.events;
  store_lost(board);
  if (events_room(events) <= (extra ? events.reserved : 0)) {
    ++events.lost;
    return 0;
  }
  if (!extra && events.reserved > 0) {
    --events.reserved;
  }
  return store(events, kind, small, portion, t_us);
}

void events_moment(Board &board, uint8_t kind, uint8_t small, uint16_t portion, uint32_t t_us, bool extra) {
  Event *event = events_put(board, kind, small, portion, t_us, extra);
  if (event) {
    event->moment.position = motion_position(board);
    sense_readings(board, event->moment.readings);
  }
}

void events_numbers(Board &board, uint8_t kind, uint8_t small, uint16_t portion, int32_t a, int32_t b, int32_t c) {
  Event *event = events_put(board, kind, small, portion, now_us(board), kind == wire::CODE_IGNORED);
  if (event) {
    event->numbers[0] = a;
    event->numbers[1] = b;
    event->numbers[2] = c;
  }
}

// The lost event follows the numbers of the dropped ones.
static uint32_t step_from(const Event &next) {
  return next.kind == wire::CODE_LOST ? 1 + (uint32_t)next.numbers[0] : 1;
}

static void forget_first(Events &events) {
  events.first = place(events, 1);
  --events.count;
  if (events.sent > 0) {
    --events.sent;
  }
  if (events.count == 0) {
    events.first_number = events.next_number;
  } else {
    events.first_number += step_from(events.ring[events.first]);
  }
}

void events_seen(Board &board, uint32_t number) {
  Events &events = board.events;
  // A number that was never sent belongs to an earlier life of the board.
  if (number > events.sent_number) {
    return;
  }
  while (events.count > 0 && events.first_number <= number) {
    forget_first(events);
    board.sense.age[AGE_ACK] = 0;
  }
}

// The fields of each kind, in the order of the tags: p portion, s small number, e its upper bits, b its lowest bit; from
// the values i a signed number, u another, h one of 16 bits.
static const char SHAPES[][9] ROM = {"sp",    "psihhhh", "pebihhhh", "spihhhh", "psihhhh", "psiii",
                                     "s",     "sp",      "piihh",    "phhhhhh", "u"};
static_assert(sizeof(SHAPES) / sizeof(SHAPES[0]) == sizeof(TAGS) / sizeof(TAGS[0]), "a shape for each kind");

static void write_fields(Tx &tx, const Event &event) {
  const uint16_t *half = event.six;
  const char *shape = SHAPES[event.kind - FIRST_CODE];
  for (uint8_t i = 0; i < 9; ++i) {
    const char field = (char)ROM_CHAR(shape + i);
    if (field == 0) {
      return;
    }
    if (field == 'i' || field == 'u') {
      uint32_t value;
      memcpy(&value, half, sizeof(value));
      half += 2;
      if (field == 'i') {
        text_i32(tx, (int32_t)value);
      } else {
        text_u32(tx, value);
      }
      continue;
    }
    uint16_t value = event.small;
    if (field == 'p') {
      value = event.portion;
    } else if (field == 'e') {
      value >>= 1;
    } else if (field == 'b') {
      value &= 1;
    } else if (field == 'h') {
      value = *half++;
    }
    text_u16(tx, value);
  }
}

bool events_send(Board &board) {
  Events &events = board.events;
  store_lost(board);
  if (events.sent > 0 && board.sense.age[AGE_ACK] >= wire::RESEND_MS) {
    events_resend(board);
  }
  uint32_t number = events.first_number;
  for (uint8_t i = 0; i < events.count; ++i) {
    const Event &event = events.ring[place(events, i)];
    if (i > 0) {
      number += step_from(event);
    }
    if (i < events.sent) {
      continue;
    }
    Tx &tx = board.tx;
    text_begin(tx, TAGS[event.kind - FIRST_CODE].tag);
    text_u32(tx, number);
    text_u32(tx, event.t_us);
    write_fields(tx, event);
    if (!text_end(tx)) {
      return false;
    }
    hal_of(board)->tx_start(hal_of(board)->user);
    if (events.sent == 0) {
      board.sense.age[AGE_ACK] = 0;
    }
    ++events.sent;
    if (number > events.sent_number) {
      events.sent_number = number;
    }
  }
  return true;
}

void events_resend(Board &board) {
  board.events.sent = 0;
  board.sense.age[AGE_ACK] = 0;
}

}  // namespace core
