// The only way to the hardware: one struct of functions, each with the user pointer that came with it.
#ifndef BENCHD_HAL_H
#define BENCHD_HAL_H
#include <stdint.h>

#include "rom.h"

namespace core {

// Bits of the outputs.
static const uint8_t OUT_VALVE = 1;      // valve driven
static const uint8_t OUT_DRIVE = 2;      // stepper drive powered
static const uint8_t OUT_DIRECTION = 4;  // level of the direction line
static const uint8_t OUT_LEAVING = 8;    // a portion leaves

static const uint8_t ADC_EYE = 0;
static const uint8_t ADC_THRUST = 1;
static const uint8_t ADC_AIR = 2;

// All functions return at once: readings are the latest that the converter made by itself.
struct Hal {
  void *user;
  uint8_t (*pins)(void *user);                          // pins 0 to 7 in the order of the table of pins
  bool (*drop)(void *user);                             // the drop eye sees something
  uint16_t (*adc)(void *user, uint8_t channel);         // 0 to 1023 counts
  uint16_t (*supply_mv)(void *user);                    // logic supply
  void (*outputs)(void *user, uint8_t bits);            // OUT_ bits
  void (*pulse)(void *user);                            // one step pulse
  void (*start_steps)(void *user, uint16_t ticks);      // call step_due after so many ticks of 0.5 us
  uint32_t (*now_us)(void *user);                       // board time, wraps
  uint8_t (*eeprom_read)(void *user, uint16_t at);      // 0xFF where never written
  void (*eeprom_write)(void *user, uint16_t at, uint8_t value);
  void (*tx_start)(void *user);                         // bytes wait: call tx_next until it gives no more
  const char *board;  // word of at most 4, in plain memory
  const char *build;  // word of at most 8, in plain memory
};

// Keeps interrupts away while it lives.
class Locked {
 public:
  __attribute__((always_inline)) Locked() : before_(BENCHD_LOCK()) {}
  __attribute__((always_inline)) ~Locked() { BENCHD_UNLOCK(before_); }

 private:
  Locked(const Locked &);
  Locked &operator=(const Locked &);
  uint8_t before_;
};

}  // namespace core

#endif
