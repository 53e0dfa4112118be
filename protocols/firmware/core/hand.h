// Moves of the feed by hand: commanded ones and the local switches.
#ifndef BENCHD_HAND_H
#define BENCHD_HAND_H
#include <stdint.h>

#include "wire.h"

namespace core {

struct Board;

static const uint8_t GOING = 255;           // no ending or outcome yet
static const uint8_t MOVE_NONE = 255;
static const int32_t FREE_BLADE_STEPS = 1000;

// Where dough was seen along a forward stretch of feed: of the prime or portion under way.
struct Flow {
  int32_t last;     // position where dough was seen last, or the start
  int32_t from;     // where the present stretch of dough began
  uint32_t longest;  // without dough, once seen
  bool seen;
};

void flow_begin(Flow &flow, int32_t position);
void flow_see(Flow &flow, int32_t position, bool dough, uint32_t gap);

struct Hand {
  uint8_t kind;    // MOVE_NONE or a wire::MOVE_ number
  uint8_t ending;  // GOING or a wire::ENDING_ number
  uint8_t signal;  // switch that holds a local move
  bool locked;
  uint16_t thrust_dn;  // at the start
};

void hand_init(Hand &hand);

// Begins a move whose conditions were checked.
void hand_begin(Board &board, uint8_t kind, int8_t direction, uint32_t steps, uint16_t speed, uint8_t must);

// Ends moves when their sensor says so, and answers the local switches and the button.
void hand_poll(Board &board);

}  // namespace core

#endif
