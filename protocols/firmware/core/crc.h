// The two check values of the wire, without tables.
#ifndef BENCHD_CRC_H
#define BENCHD_CRC_H
#include <stdint.h>

namespace core {

static const uint16_t CRC16_START = 0xFFFF;
static const uint32_t CRC32_START = 0xFFFFFFFFu;

// CRC-16/IBM-3740: start with CRC16_START, the result is the check value. "123456789" gives 29B1.
uint16_t crc16(uint16_t crc, uint8_t byte);

// CRC-32/ISO-HDLC: start with CRC32_START, the inverted result is the check value. "123456789" gives CBF43926.
uint32_t crc32(uint32_t crc, uint8_t byte);

}  // namespace core

#endif
