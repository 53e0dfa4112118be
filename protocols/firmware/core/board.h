// The firmware core of the bench. Promises:
// - portable C++11; the hardware only through one struct of functions (hal.h), tables and what keeps interrupts away
//   through rom.h;
// - no heap, no recursion, no globals: all state is in one Board, which the caller owns;
// - every loop is bounded by a constant of this folder; nothing waits, sending least of all;
// - what an interrupt shares with the main loop is touched only where interrupts are kept away.
#ifndef BENCHD_BOARD_H
#define BENCHD_BOARD_H
#include <stdint.h>

#include "cycle.h"
#include "events.h"
#include "hal.h"
#include "hand.h"
#include "limits.h"
#include "line.h"
#include "link.h"
#include "motion.h"
#include "safety.h"
#include "sense.h"
#include "text.h"
#include "wire.h"

namespace core {

struct Board {
  Sense sense;
  Hand hand;
  Safety safety;
  Motion motion;
  Cycle cycle;
  Limits limits;
  Link link;
  const Hal *hal;
  Line line;
  Rx rx;
  Tx tx;
  char line_text[HOST_LINE_ROOM];
  Events events;
};

// Pointers and alignment make it larger on a host.
static_assert(sizeof(Board) <= (sizeof(void *) == 2 ? 1173 : 1240), "the ledger of SPEC.md leaves no more RAM");

// Outputs to rest and a new life. Call first, with interrupts off. `cause` is a wire::CAUSE_ number.
void init(Board &board, const Hal *hal, uint8_t cause);

// Main loop: as often as can be, and in 20 ms at most while anything runs, or steps end; the 8-bit board comes round in
// 10 ms at full speed.
void poll(Board &board);

// Receive interrupt, one byte.
void rx_byte(Board &board, uint8_t byte);

// Transmit interrupt: the next byte to send; false when there is none.
bool tx_next(Board &board, uint8_t &byte);

// Step timer: sends a pulse if it may. Returns ticks of 0.5 us to the next call, 0 for none.
uint32_t step_due(Board &board);

// Pin-change interrupt: guard, stop, home, far, ends.
void pins_changed(Board &board);

}  // namespace core

// The parameter of functions that are called through tables, and the way to the hardware. Where there is one board only,
// a variable named `board` whose hardware is named `board_hal`, BENCHD_ONE_BOARD says so, and these are used: they have a
// fixed place, which takes less code.
#ifdef BENCHD_ONE_BOARD
extern core::Board board;
extern const core::Hal board_hal;
#define THE_BOARD(type) type &
#else
#define THE_BOARD(type) type &board
#endif

namespace core {

#ifdef BENCHD_ONE_BOARD
inline const Hal *hal_of(const Board &) { return &board_hal; }
#else
inline const Hal *hal_of(const Board &board) { return board.hal; }
#endif

}  // namespace core

#endif
