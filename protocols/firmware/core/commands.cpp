#include "commands.h"

#include "board.h"
#include "crc.h"
#include "rom.h"

namespace core {

static const wire::HostLine LINES[] ROM = {BENCHD_HOST_LINES};
static const uint8_t FIELDS[] ROM = {BENCHD_FIELDS};
static const wire::FieldRange RANGES[] ROM = {BENCHD_FIELD_RANGES};
static const uint8_t LINE_COUNT = sizeof(LINES) / sizeof(LINES[0]);
static const uint8_t NUMBERED = wire::CODE_SET;  // codes from here on carry a number

APART void refuse_range(Answer &answer, uint8_t field, int32_t nearest) { refuse(answer, wire::NO_RANGE, field, nearest); }

static bool same_tag(const char *body, const char *tag, Cursor &cursor) {
  for (uint8_t i = 0; i < 8; ++i) {
    if (tag[i] == 0) {
      cursor.at = body + i;
      return body[i] == ' ' || body[i] == 0;
    }
    if (body[i] != tag[i]) {
      return false;
    }
  }
  return false;
}

static bool find_line(const char *body, wire::HostLine &line, Cursor &cursor) {
  for (uint8_t i = 0; i < LINE_COUNT; ++i) {
    ROM_COPY(line, LINES[i]);
    if (same_tag(body, line.tag, cursor)) {
      return true;
    }
  }
  return false;
}

int32_t as_signed(uint32_t bound) { return bound > 2147483647u ? 2147483647 : (int32_t)bound; }

// 0 when the number lies in the range; else -1 below, 1 above.
static int8_t compare(const Number &number, bool fits, const wire::FieldRange &range) {
  if (number.negative) {
    const bool below = !fits || range.low >= 0 || number.size > 0u - (uint32_t)range.low;
    return below ? -1 : 0;
  }
  if (!fits || number.size > range.high) {
    return 1;
  }
  return range.low > 0 && number.size < (uint32_t)range.low ? -1 : 0;
}

static void read_field(Cursor &cursor, uint8_t index, const wire::FieldRange &range, Command &command) {
  Number number;
  const NumberKind kind = read_number(cursor, number);
  if (kind == NUMBER_NONE) {
    refuse_plainly(command.fault, wire::NO_MALFORMED);
    return;
  }
  const int8_t side = compare(number, kind == NUMBER_FITS, range);
  if (side != 0) {
    if (command.fault.reason == 0) {
      refuse_range(command.fault, (uint8_t)(index + 1), side < 0 ? range.low : as_signed(range.high));
    }
    return;
  }
  command.fields[index] = number.negative ? 0u - number.size : number.size;
}

// Finds the number of a line whose first word is unknown.
static void read_stranger(const char *body, Command &command) {
  Cursor cursor = {body};
  while (*cursor.at != ' ' && *cursor.at != 0) {
    ++cursor.at;
  }
  Number number;
  refuse_plainly(command.fault, wire::NO_UNKNOWN);
  if (cursor.at != body && read_number(cursor, number) == NUMBER_FITS && !number.negative) {
    command.id = number.size;
  }
}

void command_read(const char *body, Command &command) {
  command = Command();
  wire::HostLine line;
  Cursor cursor;
  if (!find_line(body, line, cursor)) {
    read_stranger(body, command);
    return;
  }
  command.code = line.code;
  for (uint8_t i = 0; i < line.count && command.fault.reason != wire::NO_MALFORMED; ++i) {
    wire::FieldRange range;
    ROM_COPY(range, RANGES[(uint8_t)ROM_CHAR(&FIELDS[line.first + i])]);
    read_field(cursor, i, range, command);
    if (i == 0 && line.code >= NUMBERED && command.fault.reason == 0) {
      command.id = command.fields[0];
    }
  }
  if (*cursor.at != 0 && command.fault.reason != wire::NO_MALFORMED) {
    refuse_plainly(command.fault, wire::NO_MALFORMED);
  }
}

static void stop(Board &board, uint32_t level) {
  const Trip none = Trip();
  stop_for(board, level == 0 ? CAUSE_STOP_0 : CAUSE_STOP_1, none);
}

static void take_lease(Board &board, uint16_t nonce, uint32_t came_us) {
  if (!is_fresh(board, nonce)) {
    return;
  }
  board.link.lease = nonce;
  board.link.lease_us = came_us == 0 ? 1 : came_us;  // 0 says that none came yet
  renew(board);
}

static void unnumbered(Board &board, const Command &command, uint32_t came_us) {
  if (command.fault.reason != 0) {
    ++board.link.bad;
  }
  if (command.code == wire::CODE_STOP) {
    // It always acts, also when its level cannot be read.
    stop(board, command.fault.reason == 0 ? command.fields[0] : 0);
  }
  if (command.fault.reason != 0) {
    return;
  }
  if (command.code == wire::CODE_LEASE) {
    take_lease(board, (uint16_t)command.fields[0], came_us);
  } else if (command.code == wire::CODE_SEEN) {
    events_seen(board, command.fields[0]);
  } else if (command.code == wire::CODE_HELLO) {
    board.link.greeting_due = true;
    events_resend(board);
  }
}

static void numbered(Board &board, const Command &command, const char *body, uint8_t length) {
  Link &link = board.link;
  uint32_t crc = CRC32_START;
  for (uint8_t i = 0; i < length; ++i) {
    crc = crc32(crc, (uint8_t)body[i]);
  }
  link.answer_due = true;
  link.reply_id = command.id;
  link.reply_reason = 0;
  if (command.id < link.last_id) {
    link.reply_reason = wire::NO_ORDER;
    return;
  }
  if (command.id == link.last_id) {
    if (crc != link.body_crc || length != link.body_length) {
      link.reply_reason = wire::NO_REUSED;
    }
    return;
  }
  link.last_id = command.id;
  link.body_crc = crc;
  link.body_length = length;
  link.kept = command.fault;
  if (command.fault.reason == 0) {
    handle(board, command, link.kept);
  }
}

void command_line(Board &board, const char *body, uint8_t length, uint32_t came_us) {
  Command command;
  command_read(body, command);
  if (command.code != 0 && command.code < NUMBERED) {
    unnumbered(board, command, came_us);
  } else if (command.id == 0) {
    ++board.link.bad;
  } else {
    numbered(board, command, body, length);
  }
}

}  // namespace core
