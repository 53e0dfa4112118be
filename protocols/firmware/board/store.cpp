#include "store.h"

#include <avr/eeprom.h>
#include <stddef.h>
#include <string.h>

#include "../core/crc.h"
#include "../core/sense.h"
#include "start.h"

Store store;

// The first bytes of this memory are the ones that a failing supply spoils.
static const uint8_t PLACES[2] = {32, 64};
static const uint8_t CHECKED = offsetof(Store, check);
// Guard, stop and ends must open to stop, and stop when their wire is off: neither sense nor pull-up is for the memory
// to say.
static const uint8_t MAY_FLIP = (uint8_t)~(core::MASK_GUARD | core::MASK_STOP | core::MASK_ENDS);
static const int8_t BANDGAP_MV_MAX = 100;

static uint8_t newest;

static uint16_t check_of(const Store &copy) {
  const uint8_t *bytes = (const uint8_t *)&copy;
  uint16_t crc = core::CRC16_START;
  for (uint8_t i = 0; i < CHECKED; ++i) {
    crc = core::crc16(crc, bytes[i]);
  }
  return crc;
}

static bool read_copy(uint8_t which, Store &copy) {
  eeprom_read_block(&copy, (const void *)(uint16_t)PLACES[which], sizeof(copy));
  const uint16_t check = check_of(copy);
  return copy.check[0] == (uint8_t)(check >> 8) && copy.check[1] == (uint8_t)check;
}

void store_load() {
  memset(&store, 0, sizeof(store));
  store.boot[0] = 0xFF;
  store.boot[1] = 0xFF;
  newest = 1;
  bool found = false;
  for (uint8_t which = 0; which < 2; ++which) {
    Store copy;
    if (!read_copy(which, copy) || (found && (int8_t)(copy.order - store.order) < 0)) {
      continue;
    }
    found = true;
    newest = which;
    store = copy;
  }
  store.flipped &= MAY_FLIP;
  store.bare &= MAY_FLIP;
  if (store.bandgap_mv > BANDGAP_MV_MAX || store.bandgap_mv < -BANDGAP_MV_MAX) {
    store.bandgap_mv = 0;
  }
}

void store_save() {
  newest ^= 1;
  ++store.order;
  const uint16_t check = check_of(store);
  store.check[0] = (uint8_t)(check >> 8);
  store.check[1] = (uint8_t)check;
  const uint8_t *bytes = (const uint8_t *)&store;
  uint8_t *const place = (uint8_t *)(uint16_t)PLACES[newest];
  for (uint8_t i = 0; i < sizeof(store); ++i) {
    eeprom_update_byte(place + i, bytes[i]);
    start_alive();
  }
}
