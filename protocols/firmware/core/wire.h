// Made by protocols/gen.py from messages.py, codes.py and limits.py. Not to be edited.
#ifndef BENCHD_WIRE_H
#define BENCHD_WIRE_H
#include <stdint.h>

namespace wire {
static const uint16_t PROTOCOL = 1;
static const uint16_t LINE_BYTES_MAX = 96;
static const uint16_t WINDOW_BYTES = 60;
static const uint16_t BEAT_MS = 100;
static const uint16_t BEAT_HELD_MS = 40;
static const uint16_t FRESH_MS = 250;
static const uint16_t ARM_MS = 3000;
static const uint16_t RESEND_MS = 300;
static const uint16_t DRIVE_OFF_MS = 5000;
static const uint16_t HOME_STEADY_MS = 50;
static const uint16_t RING_EVENTS = 24;
static const uint16_t RING_EVENTS_NEEDED = 22;
static const uint16_t BUTTON_MS = 60000;
static const uint16_t COLLAPSE_PERCENT = 40;
static const uint16_t COLLAPSE_MS = 50;
static const uint16_t COLLAPSE_FLOOR_DN = 300;
static const uint16_t RELIEVED_DN = 100;
static const uint16_t NOT_FITTED = 65535;

static const uint8_t MODE_DRIVE_OFF = 0;
static const uint8_t MODE_READY = 1;
static const uint8_t MODE_MOVING = 2;
static const uint8_t MODE_PORTION = 3;
static const uint8_t MODE_STROKE = 4;
static const uint8_t MODE_TRIPPED = 5;
static const uint8_t PHASE_NONE = 0;
static const uint8_t PHASE_TAKE_UP = 1;
static const uint8_t PHASE_PUSH = 2;
static const uint8_t PHASE_DRAW_BACK = 3;
static const uint8_t PHASE_SETTLE = 4;
static const uint8_t PHASE_CUT = 5;
static const uint8_t PHASE_RETURN = 6;
static const uint8_t PIN_GUARD = 0;
static const uint8_t PIN_STOP = 1;
static const uint8_t PIN_HOME = 2;
static const uint8_t PIN_FAR = 3;
static const uint8_t PIN_ENDS = 4;
static const uint8_t PIN_FORWARD = 5;
static const uint8_t PIN_REVERSE = 6;
static const uint8_t PIN_BUTTON = 7;
static const uint8_t PIN_VALVE = 8;
static const uint8_t PIN_DRIVE = 9;
static const uint8_t PIN_DOUGH = 10;
static const uint8_t PIN_KNOWN = 11;
static const uint8_t PIN_LOCAL_LOCK = 12;
static const uint8_t PIN_ARMED = 13;
static const uint8_t PIN_WAITING = 14;
static const uint8_t PIN_ADOPTED = 15;
static const uint8_t CAUSE_UNKNOWN = 0;
static const uint8_t CAUSE_POWER = 1;
static const uint8_t CAUSE_BUTTON = 2;
static const uint8_t CAUSE_WATCHDOG = 3;
static const uint8_t CAUSE_LOWVOLT = 4;
static const uint8_t MOVE_JOG = 0;
static const uint8_t MOVE_HELD = 1;
static const uint8_t MOVE_RELIEVE = 2;
static const uint8_t MOVE_APPROACH = 3;
static const uint8_t MOVE_PRIME = 4;
static const uint8_t MOVE_LOCAL = 5;
static const uint8_t ENDING_REACHED = 0;
static const uint8_t ENDING_STOPPED = 1;
static const uint8_t ENDING_LAPSED = 2;
static const uint8_t ENDING_TRIPPED = 3;
static const uint8_t ENDING_CONTACT = 4;
static const uint8_t ENDING_RELIEVED = 5;
static const uint8_t ENDING_FLOWING = 6;
static const uint8_t ENDING_NO_FLOW = 7;
static const uint8_t ENDING_RELEASED = 8;
static const uint8_t OUTCOME_COMPLETE = 0;
static const uint8_t OUTCOME_STOPPED = 1;
static const uint8_t OUTCOME_TRIPPED = 2;
static const uint8_t OUTCOME_LAPSED = 3;
static const uint8_t NO_NO_LIMITS = 40;
static const uint8_t NO_MALFORMED = 41;
static const uint8_t NO_RANGE = 42;
static const uint8_t NO_BUSY = 43;
static const uint8_t NO_DRIVE_OFF = 44;
static const uint8_t NO_POSITION = 45;
static const uint8_t NO_NOT_ARMED = 46;
static const uint8_t NO_RING = 47;
static const uint8_t NO_STALE = 48;
static const uint8_t NO_ORDER = 49;
static const uint8_t NO_REUSED = 50;
static const uint8_t NO_NO_PLAN = 51;
static const uint8_t NO_LATCHED = 52;
static const uint8_t NO_DIGEST = 53;
static const uint8_t NO_NOT_FITTED = 54;
static const uint8_t NO_UNKNOWN = 55;
static const uint8_t NO_CAUSE_STAYS = 56;
static const uint8_t NO_TRAVEL = 57;
static const uint8_t NO_LOCKED = 58;
static const uint8_t SIGNAL_DROP = 16;
static const uint16_t FITTED_GUARD = 1;
static const uint16_t FITTED_STOP = 2;
static const uint16_t FITTED_HOME = 4;
static const uint16_t FITTED_FAR = 8;
static const uint16_t FITTED_ENDS = 16;
static const uint16_t FITTED_EYE = 32;
static const uint16_t FITTED_THRUST = 64;
static const uint16_t FITTED_AIR = 128;
static const uint16_t FITTED_SUPPLY = 256;
static const uint16_t FITTED_LOCAL = 512;
static const uint16_t FITTED_BUTTON = 1024;
static const uint16_t FITTED_DUMP = 2048;
static const uint16_t FITTED_READY = 4096;
static const uint16_t FITTED_DROP = 8192;

// Event kinds are the journal codes of their messages.
static const uint8_t CODE_HELLO = 1;
static const uint8_t CODE_STOP = 2;
static const uint8_t CODE_LEASE = 3;
static const uint8_t CODE_SEEN = 4;
static const uint8_t CODE_SET = 10;
static const uint8_t CODE_ADOPT = 11;
static const uint8_t CODE_DRIVE = 12;
static const uint8_t CODE_HERE = 13;
static const uint8_t CODE_CLEAR = 14;
static const uint8_t CODE_LOCK = 15;
static const uint8_t CODE_MOVE = 16;
static const uint8_t CODE_DRAFT = 17;
static const uint8_t CODE_DETAIL = 18;
static const uint8_t CODE_RUN = 19;
static const uint8_t CODE_ARM = 20;
static const uint8_t CODE_FIRE = 21;
static const uint8_t CODE_BENCH = 30;
static const uint8_t CODE_YES = 31;
static const uint8_t CODE_NO = 32;
static const uint8_t CODE_BEAT = 33;
static const uint8_t CODE_SAMPLE = 34;
static const uint8_t CODE_BOOT = 40;
static const uint8_t CODE_PHASE = 41;
static const uint8_t CODE_EDGE = 42;
static const uint8_t CODE_MOVED = 43;
static const uint8_t CODE_ENDED = 44;
static const uint8_t CODE_TRIP = 45;
static const uint8_t CODE_FREED = 46;
static const uint8_t CODE_IGNORED = 47;
static const uint8_t CODE_TALLY = 48;
static const uint8_t CODE_EXTREMES = 49;
static const uint8_t CODE_LOST = 50;

// Index of each limit in the table below.
static const uint8_t LIMIT_FITTED = 0;
static const uint8_t LIMIT_ACCEL = 1;
static const uint8_t LIMIT_STOP_DECEL = 2;
static const uint8_t LIMIT_SPEED_MAX = 3;
static const uint8_t LIMIT_TRAVEL_MIN = 4;
static const uint8_t LIMIT_TRAVEL_MAX = 5;
static const uint8_t LIMIT_LOCAL_SPEED = 6;
static const uint8_t LIMIT_DRAW_SPEED = 7;
static const uint8_t LIMIT_DRIVE_HOLD = 8;
static const uint8_t LIMIT_RELEASE_MS = 9;
static const uint8_t LIMIT_VALVE_HOME = 10;
static const uint8_t LIMIT_CUT_MS = 11;
static const uint8_t LIMIT_RETURN_MS = 12;
static const uint8_t LIMIT_CUT_MAX_MS = 13;
static const uint8_t LIMIT_RETURN_MAX_MS = 14;
static const uint8_t LIMIT_VALVE_MAX_MS = 15;
static const uint8_t LIMIT_STILL_MS = 16;
static const uint8_t LIMIT_EYE_ON = 17;
static const uint8_t LIMIT_EYE_OFF = 18;
static const uint8_t LIMIT_GAP = 19;
static const uint8_t LIMIT_FIRST_FLOW = 20;
static const uint8_t LIMIT_THRUST_MAX = 21;
static const uint8_t LIMIT_EASE = 22;
static const uint8_t LIMIT_THRUST_ZERO = 23;
static const uint8_t LIMIT_THRUST_FULL = 24;
static const uint8_t LIMIT_AIR_ZERO = 25;
static const uint8_t LIMIT_AIR_FULL = 26;
static const uint8_t LIMIT_AIR_MIN = 27;
static const uint8_t LIMIT_AIR_MAX = 28;
static const uint8_t LIMIT_SUPPLY_MIN = 29;
static const uint8_t LIMIT_SAMPLE_MS = 30;
static const uint8_t LIMIT_SAMPLE_BUSY_MS = 31;
static const uint8_t LIMIT_LEASE_MS = 32;
static const uint8_t LIMIT_HELD_MS = 33;
static const uint8_t LIMIT_PUSH_MAX_MS = 34;
static const uint8_t LIMIT_CONTACT = 35;
static const uint8_t LIMIT_PRIME_FLOW = 36;
static const uint8_t LIMIT_DIRECTION = 37;
static const uint8_t LIMIT_COUNT = 38;
// Of each limit, which of the values that need 32 bits it is, else NARROW.
static const uint8_t NARROW = 255;
static const uint8_t WIDE_LIMITS = 9;
#define BENCHD_LIMIT_PLACES 255, 0, 1, 255, 2, 3, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 4, 5, 255, 6, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 7, 255, 8, 255
// Halves of the lowest, the highest and the first value: the lower ones of all limits,
// the upper ones of those that have any.
#define BENCHD_LIMIT_LOWER \
  {0, 16383, 0}, \
  {100, 41248, 20000}, \
  {100, 41248, 14464}, \
  {10, 20000, 8000}, \
  {1, 65535, 0}, \
  {1, 65535, 0}, \
  {10, 20000, 800}, \
  {10, 20000, 8000}, \
  {0, 3, 3}, \
  {0, 60000, 2000}, \
  {0, 1, 0}, \
  {20, 5000, 350}, \
  {20, 5000, 350}, \
  {20, 10000, 1050}, \
  {20, 10000, 1050}, \
  {20, 20000, 2000}, \
  {0, 5000, 100}, \
  {0, 1023, 0}, \
  {0, 1023, 0}, \
  {1, 65535, 4000}, \
  {1, 65535, 20000}, \
  {0, 65534, 3000}, \
  {0, 34464, 1200}, \
  {0, 1023, 102}, \
  {1, 65534, 5000}, \
  {0, 1023, 102}, \
  {1, 65534, 10000}, \
  {0, 65534, 0}, \
  {0, 65534, 65534}, \
  {0, 6000, 4500}, \
  {10, 10000, 500}, \
  {5, 10000, 50}, \
  {100, 5000, 500}, \
  {50, 5000, 200}, \
  {100, 54464, 30000}, \
  {0, 65534, 200}, \
  {1, 65535, 8000}, \
  {0, 1, 0}
#define BENCHD_LIMIT_UPPER \
  {0, 7, 0}, \
  {0, 7, 1}, \
  {32768, 32767, 0}, \
  {32768, 32767, 0}, \
  {0, 32767, 0}, \
  {0, 32767, 0}, \
  {0, 1, 0}, \
  {0, 1, 0}, \
  {0, 32767, 0}

// Host lines: tag, code, place of the first field, number of fields.
struct HostLine { char tag[8]; uint8_t code; uint8_t first; uint8_t count; };
#define BENCHD_HOST_LINES \
  {"hello", 1, 0, 0}, \
  {"stop", 2, 0, 1}, \
  {"lease", 3, 1, 1}, \
  {"seen", 4, 2, 1}, \
  {"set", 10, 3, 3}, \
  {"adopt", 11, 6, 2}, \
  {"drive", 12, 8, 2}, \
  {"here", 13, 10, 2}, \
  {"clear", 14, 12, 2}, \
  {"lock", 15, 14, 2}, \
  {"move", 16, 16, 5}, \
  {"draft", 17, 21, 5}, \
  {"detail", 18, 26, 5}, \
  {"run", 19, 31, 4}, \
  {"arm", 20, 35, 1}, \
  {"fire", 21, 36, 2}

// Of each field, which of the ranges it has.
#define BENCHD_FIELDS 0, 1, 2, 3, 4, 5, 3, 2, 3, 0, 3, 6, 3, 7, 3, 0, 3, 8, 9, 10, 1, 3, 11, 12, 13, 10, 3, 11, 12, 14, 15, 3, 11, 0, 1, 3, 3, 1

struct FieldRange { int32_t low; uint32_t high; };
#define BENCHD_FIELD_RANGES \
  {0, 1u}, \
  {0, 65535u}, \
  {0, 4294967295u}, \
  {1, 4294967295u}, \
  {1, 99u}, \
  {-2147483647, 2147483647u}, \
  {-9999999, 99999999u}, \
  {1, 30u}, \
  {0, 4u}, \
  {-999999, 999999u}, \
  {10, 20000u}, \
  {1, 65535u}, \
  {0, 99999u}, \
  {1, 999999u}, \
  {0, 9999u}, \
  {0, 999u}

// Of each event, in the order of the codes.
struct EventTag { char tag[9]; };
#define BENCHD_EVENT_TAGS \
  {"boot"}, \
  {"phase"}, \
  {"edge"}, \
  {"moved"}, \
  {"ended"}, \
  {"trip"}, \
  {"freed"}, \
  {"ignored"}, \
  {"tally"}, \
  {"extremes"}, \
  {"lost"}

}  // namespace wire

#endif
