#include "converter.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "../core/hal.h"
#include "pins.h"
#include "store.h"

static const uint8_t AGAINST_SUPPLY = 1 << REFS0;
static const uint8_t BANDGAP = 14;
static const uint16_t BANDGAP_MV = 1100;
static const uint8_t READINGS = 4;
static const uint8_t SUPPLY = 3;

static_assert(core::ADC_EYE == 0 && core::ADC_THRUST == 1 && core::ADC_AIR == 2, "readings stand in this order");

static volatile uint16_t counts[READINGS];
static uint8_t reading = SUPPLY;

static inline uint8_t channel_of(uint8_t which) {
  return which == core::ADC_EYE ? BENCHD_EYE_CHANNEL
         : which == core::ADC_THRUST ? BENCHD_THRUST_CHANNEL
         : which == core::ADC_AIR ? BENCHD_AIR_CHANNEL
                                  : BANDGAP;
}

void converter_init() {
  // The inputs of analog pins are off, so that levels in between cost no current.
  DIDR0 = BENCHD_ANALOG_C;
  ADMUX = AGAINST_SUPPLY | BANDGAP;
  ADCSRA = (1 << ADEN) | (1 << ADIE) | (1 << ADPS2) | (1 << ADPS1) | (1 << ADPS0);
}

void converter_start() {
  // The reference comes first in each round: it needs the rest between rounds to settle.
  if (reading == SUPPLY) {
    ADCSRA |= 1 << ADSC;
  }
}

ISR(ADC_vect) {
  counts[reading] = ADC;
  reading = reading == SUPPLY ? 0 : (uint8_t)(reading + 1);
  ADMUX = (uint8_t)(AGAINST_SUPPLY | channel_of(reading));
  if (reading != SUPPLY) {
    ADCSRA |= 1 << ADSC;
  }
}

uint16_t converter_counts(uint8_t channel) {
  uint16_t value;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { value = counts[channel]; }
  return value;
}

uint16_t converter_supply_mv() {
  static uint16_t known_counts;
  static uint16_t known_mv;
  const uint16_t now = converter_counts(SUPPLY);
  if (now == known_counts) {
    return known_mv;
  }
  // Fewer counts would be a supply beyond what the wire can say; then nothing is known.
  const uint32_t mv = now < 18 ? 0 : (uint32_t)(BANDGAP_MV + store.bandgap_mv) * 1024 / now;
  known_counts = now;
  known_mv = mv > 65534u ? 0 : (uint16_t)mv;
  return known_mv;
}
