// The table of host lines: what each looks like and who acts on it.
#ifndef BENCHD_COMMANDS_H
#define BENCHD_COMMANDS_H
#include <stdint.h>

#include "safety.h"

namespace core {

static const uint8_t FIELDS_MAX = 5;

struct Command {
  uint8_t code;     // 0: unknown first word
  uint32_t id;      // 0: unnumbered, or not readable
  uint32_t fields[FIELDS_MAX];  // in the order of SPEC.md; negative ones in two's complement
  Answer fault;     // reason 41, 42 or 55 when the line cannot be taken
};

// Reads a body that ends with a zero.
void command_read(const char *body, Command &command);

// Acts on a numbered line of this code, 10 and up.
void handle(Board &board, const Command &command, Answer &answer);

// The nearest signed number.
int32_t as_signed(uint32_t bound);

// Nearest value of a range fault, for a field counted from 1.
void refuse_range(Answer &answer, uint8_t field, int32_t nearest);

}  // namespace core

#endif
