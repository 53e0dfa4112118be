// Numbered events, kept until the host has them safe.
#ifndef BENCHD_EVENTS_H
#define BENCHD_EVENTS_H
#include <stdint.h>

#include "wire.h"

namespace core {

struct Board;

static const uint8_t READINGS = 4;  // eye, thrust, air, supply

struct EventMoment {
  int32_t position;
  uint16_t readings[READINGS];
};

struct EventTally {
  int32_t asked;
  int32_t made;
  uint16_t gap;
  uint16_t push_ms;
};

// One event as the ring keeps it. What `small` and `portion` mean depends on the kind; see events_send.
struct Event {
  uint8_t kind;
  uint8_t small;
  uint16_t portion;
  uint32_t t_us;
  union {
    EventMoment moment;
    EventTally tally;
    int32_t numbers[3];
    uint16_t six[6];
  };
};
static_assert(sizeof(Event) == 20, "the ledger of SPEC.md counts 20 bytes for an event");

struct Events {
  Event ring[wire::RING_EVENTS];
  uint8_t first;
  uint8_t count;
  uint8_t sent;           // of those held, from the first
  uint8_t reserved;       // places that the portion under way may still need
  uint32_t first_number;  // of the oldest held, or the next one when none is held
  uint32_t next_number;
  uint32_t sent_number;   // newest that was ever sent
  uint32_t lost;          // dropped and not told yet; their numbers are used up when they are told
};

void events_init(Events &events);

// A place in the ring for an event whose values the caller writes at once; 0 when there is none and it counts as lost.
// An extra one never takes a place that the portion may need.
Event *events_put(Board &board, uint8_t kind, uint8_t small, uint16_t portion, uint32_t t_us, bool extra);

// Shorthands: with position and readings of this moment, or with up to three numbers.
void events_moment(Board &board, uint8_t kind, uint8_t small, uint16_t portion, uint32_t t_us, bool extra);
void events_numbers(Board &board, uint8_t kind, uint8_t small, uint16_t portion, int32_t a, int32_t b, int32_t c);

uint8_t events_room(const Events &events);

// The host has all up to this number.
void events_seen(Board &board, uint32_t number);

// Sends what is to be sent while there is room for it; true when nothing more waits.
bool events_send(Board &board);

// From the oldest again.
void events_resend(Board &board);

}  // namespace core

#endif
