#include "crc.h"

#include "rom.h"

namespace core {

static const uint16_t TABLE16[16] ROM = {
    0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7,
    0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF};

static const uint32_t TABLE32[16] ROM = {
    0x00000000u, 0x1DB71064u, 0x3B6E20C8u, 0x26D930ACu,
    0x76DC4190u, 0x6B6B51F4u, 0x4DB26158u, 0x5005713Cu,
    0xEDB88320u, 0xF00F9344u, 0xD6D6A3E8u, 0xCB61B38Cu,
    0x9B64C2B0u, 0x86D3D2D4u, 0xA00AE278u, 0xBDBDF21Cu};

static uint16_t nibble16(uint16_t crc, uint8_t nibble) {
  uint16_t entry;
  ROM_COPY(entry, TABLE16[(uint8_t)(crc >> 12) ^ nibble]);
  return (uint16_t)(crc << 4) ^ entry;
}

uint16_t crc16(uint16_t crc, uint8_t byte) {
  return nibble16(nibble16(crc, byte >> 4), byte & 15);
}

static uint32_t nibble32(uint32_t crc, uint8_t nibble) {
  uint32_t entry;
  ROM_COPY(entry, TABLE32[((uint8_t)crc ^ nibble) & 15]);
  return (crc >> 4) ^ entry;
}

uint32_t crc32(uint32_t crc, uint8_t byte) {
  return nibble32(nibble32(crc, byte & 15), byte >> 4);
}

}  // namespace core
