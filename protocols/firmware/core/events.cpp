#include "events.h"

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
static Event *store(Events &events, uint8_t kind, uint8_t small, uint16_t portion, uint32_t t_us) {
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

static void write_moment(Text &text, const Event &event) {
  text_i32(text, event.moment.position);
  for (uint8_t i = 0; i < READINGS; ++i) {
    text_u32(text, event.moment.readings[i]);
  }
}

static void write_fields(Text &text, const Event &event) {
  switch (event.kind) {
    case wire::CODE_BOOT:
    case wire::CODE_IGNORED:
      text_u32(text, event.small);
      text_u32(text, event.portion);
      break;
    case wire::CODE_FREED:
      text_u32(text, event.small);
      break;
    case wire::CODE_MOVED:
      text_u32(text, event.small);
      text_u32(text, event.portion);
      write_moment(text, event);
      break;
    case wire::CODE_PHASE:
    case wire::CODE_ENDED:
      text_u32(text, event.portion);
      text_u32(text, event.small);
      write_moment(text, event);
      break;
    case wire::CODE_EDGE:
      text_u32(text, event.portion);
      text_u32(text, event.small >> 1);
      text_u32(text, event.small & 1);
      write_moment(text, event);
      break;
    case wire::CODE_TRIP:
      text_u32(text, event.portion);
      text_u32(text, event.small);
      for (uint8_t i = 0; i < 3; ++i) {
        text_i32(text, event.numbers[i]);
      }
      break;
    case wire::CODE_TALLY:
      text_u32(text, event.portion);
      text_i32(text, event.tally.asked);
      text_i32(text, event.tally.made);
      text_u32(text, event.tally.gap);
      text_u32(text, event.tally.push_ms);
      break;
    case wire::CODE_EXTREMES:
      text_u32(text, event.portion);
      for (uint8_t i = 0; i < 6; ++i) {
        text_u32(text, event.six[i]);
      }
      break;
    default:
      text_u32(text, (uint32_t)event.numbers[0]);
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
    Text text = text_begin(board.tx, TAGS[event.kind - FIRST_CODE].tag);
    text_u32(text, number);
    text_u32(text, event.t_us);
    write_fields(text, event);
    if (!text_end(text)) {
      return false;
    }
    board.hal->tx_start(board.hal->user);
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
