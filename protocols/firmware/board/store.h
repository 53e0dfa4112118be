// What outlives power: the boot counter, and how the inputs are wired. Two copies with check values; the older one is
// written, once at each start while nothing can move, so that one of them is always whole.
#ifndef BENCHD_STORE_H
#define BENCHD_STORE_H
#include <stdint.h>

struct Store {
  uint8_t order;       // of the two copies the one written later
  uint8_t boot[2];     // low byte first
  uint8_t flipped;     // contacts that are on while open, bits as on the wire
  uint8_t bare;        // contacts without the chip's pull-up
  int8_t bandgap_mv;   // what the chip's reference has above 1100 mV
  uint8_t check[2];    // CRC-16/IBM-3740 of the bytes before, high byte first
};

// Reads the newest whole copy; without one everything is as in a blank memory: boot 65535, nothing flipped or bare.
void store_load();

// Writes the copy that was not read. Takes some 4 ms for each byte that differs.
void store_save();

extern Store store;

#endif
