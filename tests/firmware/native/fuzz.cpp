// The firmware core's line input under libFuzzer. The first byte chooses the board's state at the start; in raw runs the
// rest goes to the port as it is, in repaired runs lines get their check value, numbers and nonces, and bytes beyond
// ASCII change pins, readings and time. Oracle: the laws, and that all the board says is allowed by SPEC.md.
#include <stdlib.h>

#include "laws.h"
#include "spec_lines.h"  // made from protocols/messages.py

static Host *host;
static bool repairs;
static laws::Snapshot fresh;
static laws::Snapshot ready;
static uint32_t next_id;
static uint32_t nonce;
static uint32_t newest_event;

static void stop_here(const char *words) {
  fprintf(stderr, "law broken: %s\n", words);
  abort();
}

static const char *read_field(const char *at, const char *end, const SpecField &field) {
  const char *const from = at;
  while (at < end && *at != ' ') {
    ++at;
  }
  const size_t size = (size_t)(at - from);
  laws::law(size >= 1, "a line with an empty field");
  if (field.word > 0) {
    laws::law(size <= field.word, "a word that is too long");
    return at;
  }
  char digits[24];
  laws::law(size < sizeof(digits), "a number that is too long");
  memcpy(digits, from, size);
  digits[size] = 0;
  const long long value = strtoll(digits, 0, 10);
  char spelled[24];
  snprintf(spelled, sizeof(spelled), "%lld", value);
  laws::law(strcmp(spelled, digits) == 0, "a number with another spelling");
  laws::law(value >= field.low && value <= field.high, "a number out of its range");
  return at;
}

static void judge_line(const char *line, size_t size) {
  laws::law(size >= 7 && size < 96 && line[size - 5] == ' ', "a line of a wrong length");
  char check[5];
  snprintf(check, sizeof(check), "%04X", (unsigned)bc_crc16((const uint8_t *)line, (uint32_t)(size - 5)));
  laws::law(memcmp(check, line + size - 4, 4) == 0, "a line with a wrong check value");
  const char *const end = line + size - 5;
  for (const SpecLine &spec : SPEC_LINES) {
    const size_t tag = strlen(spec.tag);
    if ((size_t)(end - line) <= tag || memcmp(line, spec.tag, tag) != 0 || line[tag] != ' ') {
      continue;
    }
    const char *at = line + tag;
    for (uint32_t i = 0; i < spec.count; ++i) {
      laws::law(at < end && *at == ' ', "a line with too few fields");
      at = read_field(at + 1, end, SPEC_FIELDS[spec.first + i]);
    }
    laws::law(at == end, "a line with too many fields");
    const uint32_t first = (uint32_t)strtoul(line + tag + 1, 0, 10);
    if (strcmp(spec.tag, "beat") == 0) {
      nonce = first;
    } else if (spec.event) {
      newest_event = first;
    }
    return;
  }
  laws::law(false, "a line that SPEC.md does not know");
}

static void hear() {
  size_t from = 0;
  for (size_t i = 0; i < host->tx_count; ++i) {
    if (host->tx[i] == '\n') {
      judge_line((const char *)host->tx + from, i - from);
      from = i + 1;
    }
  }
  memmove(host->tx, host->tx + from, host->tx_count - from);
  host->tx_count -= from;
}

static void run(uint64_t us) {
  laws::run_us(host, us);
  hear();
}

static void say(const char *body) {
  laws::say(host, body, strlen(body));
  run(strlen(body) * 40 + 1500);
}

static const uint8_t PINS = laws::SAFE_PINS;
static const uint16_t EYE = 100, THRUST = 110, AIR = 300, SUPPLY_MV = 5000;

// The dry stroke that comes before a first portion.
static void make_stroke() {
  char body[64];
  snprintf(body, sizeof(body), "arm %u", (unsigned)next_id++);
  say(body);
  snprintf(body, sizeof(body), "fire %u %u", (unsigned)next_id++, (unsigned)nonce);
  say(body);
  bc_inputs(host, (PINS & ~core::MASK_HOME) | core::MASK_FAR, EYE, THRUST, AIR, SUPPLY_MV);
  run(20000);
  bc_inputs(host, PINS, EYE, THRUST, AIR, SUPPLY_MV);
  run(200000);
  laws::law(!host->board.cycle.dry_needed, "the dry stroke does not end");
}

static void make_ready() {
  char body[64];
  for (const SpecValue &value : SPEC_READY) {
    snprintf(body, sizeof(body), "set %u %u %ld", (unsigned)next_id++, (unsigned)value.key, (long)value.value);
    say(body);
  }
  snprintf(body, sizeof(body), "adopt %u %u", (unsigned)next_id++, (unsigned)core::limits_digest(host->board.limits));
  say(body);
  run(2000000);
  snprintf(body, sizeof(body), "clear %u 20", (unsigned)next_id++);
  say(body);
  snprintf(body, sizeof(body), "drive %u 1", (unsigned)next_id++);
  say(body);
  snprintf(body, sizeof(body), "here %u 0", (unsigned)next_id++);
  say(body);
  run(200000);
  make_stroke();
  snprintf(body, sizeof(body), "seen %u", (unsigned)newest_event);
  say(body);
  laws::law(core::mode(host->board) == wire::MODE_READY, "the board does not get ready");
}

extern "C" int LLVMFuzzerInitialize(int *, char ***) {
  const char *kind = getenv("BENCHD_FUZZ");
  repairs = kind != 0 && strcmp(kind, "repaired") == 0;
  host = bc_create(0, 0, wire::CAUSE_POWER, "host", "00000000", 7);
  laws::watch(host, stop_here);
  bc_inputs(host, PINS, EYE, THRUST, AIR, SUPPLY_MV);
  next_id = 1;
  run(150000);
  laws::keep(host, fresh);
  make_ready();
  laws::keep(host, ready);
  return 0;
}

static uint64_t left_us;  // bounds the time of one run

static void pass(uint64_t us) {
  us = us < left_us ? us : left_us;
  left_us -= us;
  run(us);
}

static void inputs(uint8_t pins) {
  bc_inputs(host, pins, host->adc[0], host->adc[1], host->adc[2], host->supply_mv);
}

// `@` is the newest nonce, `#` the next command number.
static void say_repaired(const char *text, size_t size) {
  char body[64];
  size_t length = 0;
  for (size_t i = 0; i < size && length < 50; ++i) {
    if (text[i] == '@') {
      length += (size_t)snprintf(body + length, 12, "%u", (unsigned)nonce);
    } else if (text[i] == '#') {
      length += (size_t)snprintf(body + length, 12, "%u", (unsigned)next_id++);
    } else {
      body[length++] = text[i];
    }
  }
  laws::say(host, body, length);
  pass(length * 40 + 700);
}

static void act(uint8_t byte) {
  if (byte < 0xC0) {
    inputs((uint8_t)(host->pins ^ (1 << (byte & 7))));
    pass(byte & 8 ? 30 : 300);
  } else if (byte < 0xE0) {
    pass((uint64_t)100 << ((byte & 15) < 10 ? byte & 15 : 10));
  } else {
    const uint8_t which = (byte >> 3) & 3;
    const uint16_t level = (uint16_t)((byte & 7) * 146);
    const uint16_t supply_mv = which == 3 ? (uint16_t)(level * 6) : host->supply_mv;
    bc_inputs(host, host->pins, which == 0 ? level : host->adc[0], which == 1 ? level : host->adc[1],
              which == 2 ? level : host->adc[2], supply_mv);
    pass(2000);
  }
}

static void run_repaired(const uint8_t *data, size_t size) {
  char text[48];
  size_t length = 0;
  for (size_t i = 0; i < size; ++i) {
    if (data[i] >= 0x80) {
      act(data[i]);
    } else if (data[i] == '\n') {
      say_repaired(text, length);
      length = 0;
    } else if (data[i] == 1) {
      say_repaired("lease @", 7);
    } else if (data[i] == 2) {
      char seen[24];
      say_repaired(seen, (size_t)snprintf(seen, sizeof(seen), "seen %u", (unsigned)newest_event));
    } else if (length < sizeof(text)) {
      text[length++] = (char)data[i];
    }
  }
}

extern "C" int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
  if (size < 2) {
    return 0;
  }
  const bool is_ready = data[0] & 1;
  laws::go_back(host, is_ready ? ready : fresh);
  // What a line was halfway through when the state was kept goes out whole in no run.
  host->board.tx.out = host->board.tx.in;
  next_id = host->board.link.last_id + 1;
  nonce = host->board.link.nonce;
  newest_event = host->board.events.sent_number;
  left_us = 150000;
  if (repairs) {
    run_repaired(data + 1, size - 1);
  } else {
    bc_rx(host, data + 1, (uint32_t)(size - 1));
    pass((size - 1) * 40 + 1000);
  }
  pass(3000);
  return 0;
}
