/* checksum.c - check sums of telegrams. */
#include "leanward/instrument.h"

static const struct {
  const char *text;
  int bytes;
} kinds[LW_CHECKSUMS] = {
    [LW_CHECKSUM_UNSAID] = {"none", 1},
    [LW_CHECKSUM_SUM8] = {"sum8", 1},
    [LW_CHECKSUM_NEG8] = {"neg8", 1},
    [LW_CHECKSUM_XOR8] = {"xor8", 1},
    [LW_CHECKSUM_CRC8] = {"crc8", 1},
    [LW_CHECKSUM_SUM16] = {"sum16", 2},
    [LW_CHECKSUM_CRC16_MODBUS] = {"crc16 modbus", 2},
    [LW_CHECKSUM_CRC16_CCITT] = {"crc16 ccitt", 2},
    [LW_CHECKSUM_CRC16_XMODEM] = {"crc16 xmodem", 2},
    [LW_CHECKSUM_CRC32] = {"crc32", 4},
};

static bool known(lw_checksum kind) {
  return (int)kind >= 0 && kind < LW_CHECKSUMS;
}

const char *lw_checksum_text(lw_checksum kind) {
  return known(kind) ? kinds[kind].text : "";
}

int lw_checksum_bytes(lw_checksum kind) {
  return known(kind) ? kinds[kind].bytes : 1;
}

static uint32_t sum(const unsigned char *p, size_t n) {
  uint32_t s = 0;
  for (size_t i = 0; i < n; i++)
    s += p[i];
  return s;
}

/* Low bit first: the register is shifted right. */
static uint32_t reflected(uint32_t polynomial, uint32_t r, const unsigned char *p, size_t n) {
  for (size_t i = 0; i < n; i++) {
    r ^= p[i];
    for (int bit = 0; bit < 8; bit++)
      r = r & 1 ? (r >> 1) ^ polynomial : r >> 1;
  }
  return r;
}

/* High bit first, in a register of `width` bits. */
static uint32_t straight(uint32_t polynomial, int width, uint32_t r, const unsigned char *p,
                         size_t n) {
  uint32_t top = (uint32_t)1 << (width - 1), all = top | (top - 1);
  for (size_t i = 0; i < n; i++) {
    r ^= (uint32_t)p[i] << (width - 8);
    for (int bit = 0; bit < 8; bit++)
      r = r & top ? (r << 1) ^ polynomial : r << 1;
    r &= all;
  }
  return r;
}

uint32_t lw_checksum_of(lw_checksum kind, const void *bytes, size_t length) {
  const unsigned char *p = bytes;
  uint32_t x = 0;
  switch (kind) {
  case LW_CHECKSUM_SUM8: return sum(p, length) & 0xFF;
  case LW_CHECKSUM_NEG8: return (0x100 - (sum(p, length) & 0xFF)) & 0xFF;
  case LW_CHECKSUM_SUM16: return sum(p, length) & 0xFFFF;
  case LW_CHECKSUM_CRC8: return straight(0x07, 8, 0, p, length);
  case LW_CHECKSUM_CRC16_MODBUS: return reflected(0xA001, 0xFFFF, p, length);
  case LW_CHECKSUM_CRC16_CCITT: return straight(0x1021, 16, 0xFFFF, p, length);
  case LW_CHECKSUM_CRC16_XMODEM: return straight(0x1021, 16, 0, p, length);
  case LW_CHECKSUM_CRC32: return ~reflected(0xEDB88320, 0xFFFFFFFF, p, length);
  case LW_CHECKSUM_XOR8:
    for (size_t i = 0; i < length; i++)
      x ^= p[i];
    return x;
  case LW_CHECKSUM_UNSAID:
  case LW_CHECKSUMS: break;
  }
  return 0;
}
