// A portion's program, phase by phase, and the dry stroke.
#ifndef BENCHD_CYCLE_H
#define BENCHD_CYCLE_H
#include <stdint.h>

#include "hand.h"

namespace core {

struct Program {
  uint32_t take_up;
  uint32_t push;
  uint32_t draw_back;
  uint16_t speed;
  uint16_t settle_ms;
  uint16_t dwell_ms;
  uint16_t draft;   // portion of the first part, 0 if none
  uint16_t detail;  // portion of the second part, 0 if none
};

struct Cycle {
  Program program;
  uint8_t phase;    // wire::PHASE_ number
  uint8_t outcome;  // GOING or a wire::OUTCOME_ number
  bool stroke;      // a dry stroke
  bool waiting;     // for the local button
  bool armed;
  bool far;         // the cutter reached its far end
  uint16_t portion;  // under way or waiting, 0 if none
  // For the summary.
  Flow flow;
  int32_t start;
  uint32_t feed_ms;  // of this phase
  uint32_t eye_sum;
  uint32_t eye_count;
  uint32_t made;
  uint16_t push_ms;
  uint16_t eye_min;
  uint16_t thrust_peak;
  uint16_t thrust_cut;
  uint16_t air_min;
  uint16_t supply_min;
};

void cycle_init(Cycle &cycle);

// Portion of the complete program, 0 if there is none.
uint16_t cycle_loaded(const Cycle &cycle);
void cycle_forget(Cycle &cycle);

bool cycle_feeds(const Cycle &cycle);

void cycle_begin(Board &board);
void cycle_wait(Board &board);
void cycle_stroke(Board &board);
void cycle_poll(Board &board);

// The cutter goes home now, as a return phase.
void cycle_return(Board &board);

// Summary and `ended`; nothing goes on afterwards.
void cycle_finish(Board &board, uint8_t outcome);

}  // namespace core

#endif
