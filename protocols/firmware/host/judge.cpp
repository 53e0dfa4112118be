// The core's reading of lines, for the golden vectors that both languages share.
#include <string.h>

#include "../core/commands.h"
#include "../core/crc.h"
#include "host.h"

// Feeds bytes of one line, newline included. Returns a core::Verdict; `body` gets a good line's body and a zero.
BC_API uint32_t bc_judge_line(const uint8_t *bytes, uint32_t size, char *body) {
  core::Line line = core::Line();
  char text[wire::LINE_BYTES_MAX];
  body[0] = 0;
  for (uint32_t i = 0; i < size; ++i) {
    const core::Verdict verdict = core::line_byte(line, text, sizeof(text), bytes[i]);
    if (verdict != core::LINE_UNFINISHED) {
      memcpy(body, text, line.length);
      body[verdict == core::LINE_GOOD ? line.length : 0] = 0;
      return verdict;
    }
  }
  return core::LINE_UNFINISHED;
}

struct Judged {
  uint32_t code;    // journal code, 0 for an unknown first word
  uint32_t id;
  uint32_t reason;  // 0, 41, 42 or 55
  int32_t value;
  int32_t bound;
  uint32_t fields[core::FIELDS_MAX];
};

// Reads a body as the board reads one from the host.
BC_API void bc_judge_body(const char *body, Judged *judged) {
  core::Command command;
  core::command_read(body, command);
  judged->code = command.code;
  judged->id = command.id;
  judged->reason = command.fault.reason;
  judged->value = command.fault.value;
  judged->bound = command.fault.bound;
  memcpy(judged->fields, command.fields, sizeof(command.fields));
}

BC_API uint32_t bc_crc16(const uint8_t *bytes, uint32_t size) {
  uint16_t crc = core::CRC16_START;
  for (uint32_t i = 0; i < size; ++i) {
    crc = core::crc16(crc, bytes[i]);
  }
  return crc;
}

BC_API uint32_t bc_crc32(const uint8_t *bytes, uint32_t size) {
  uint32_t crc = core::CRC32_START;
  for (uint32_t i = 0; i < size; ++i) {
    crc = core::crc32(crc, bytes[i]);
  }
  return ~crc;
}

// Intervals of a whole move, in ticks of 0.5 us; a stop with `decel` may begin after `stop_after` steps. Returns how
// many there are.
BC_API uint32_t bc_ramp(uint32_t steps, uint32_t speed, uint32_t accel, uint32_t stop_after, uint32_t decel,
                        uint32_t *to, uint32_t most) {
  core::Ramp ramp;
  core::ramp_begin(ramp, steps, (uint16_t)speed, accel);
  uint32_t count = 0;
  for (uint32_t done = 1; done <= steps && count < most; ++done) {
    if (done == stop_after) {
      core::ramp_stop(ramp, core::ramp_stop_steps(ramp.index, ramp.accel, decel), decel);
    }
    const uint32_t interval = core::ramp_next(ramp);
    if (interval == 0) {
      break;
    }
    to[count++] = interval;
  }
  return count;
}
