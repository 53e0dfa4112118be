#include "crc.h"

namespace core {

// The polynomial has three terms, so that a byte goes in by a few shifts; a table takes more room and is no quicker.
uint16_t crc16(uint16_t crc, uint8_t byte) {
  uint8_t mixed = (uint8_t)(crc >> 8) ^ byte;
  mixed ^= (uint8_t)(mixed >> 4);
  return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)mixed << 12) ^ (uint16_t)((uint16_t)mixed << 5) ^ mixed);
}

uint32_t crc32(uint32_t crc, uint8_t byte) {
  crc ^= byte;
  for (uint8_t bit = 0; bit < 8; ++bit) {
    const bool carry = crc & 1;
    crc >>= 1;
    if (carry) {
      crc ^= 0xEDB88320u;
    }
  }
  return crc;
}

}  // namespace core
