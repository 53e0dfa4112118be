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

// When air was away: before the last stroke began, or since.
enum Dry { DRY_BEFORE = 1, DRY_SINCE };

struct Cycle {
  Program program;
  uint8_t phase;    // wire::PHASE_ number
  uint8_t outcome;  // GOING or a wire::OUTCOME_ number
  bool stroke;      // a dry stroke
  bool waiting;     // for the local button
  bool armed;
  uint8_t dry_needed;  // air was away, or may have been: IL-17; a DRY_ value, or 0
  bool far;         // the cutter reached its far end
  uint16_t portion;  // under way or waiting, 0 if none
  // For the summary.
  Flow flow;
  bool blind;  // the portion before saw no dough, so that its feed counts on
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

// Steps of take-up and push that may go without dough: IL-09.
uint32_t cycle_blind_steps(const Board &board);

void cycle_begin(Board &board);
void cycle_wait(Board &board);
void cycle_stroke(Board &board);
void cycle_poll(Board &board);

// Air is, or may be, away: IL-17 asks for a dry stroke.
void cycle_watch_air(Board &board);

// The cutter goes home now, as a return phase.
void cycle_return(Board &board);

// Summary and `ended`; nothing goes on afterwards.
void cycle_finish(Board &board, uint8_t outcome);

}  // namespace core

#endif
