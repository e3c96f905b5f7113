/* frame.c - where a line, a frame or a telegram begins and ends, and whether it is whole.
**
** Every finder looks at the front of a buffer of bytes and answers the same four ways. None keeps
** anything between two looks, so that the same bytes always give the same answer however they came.
** An unexpected byte is noise: it is passed over, and the search begins anew behind it.
*/
#include "instrument_internal.h"

#include <string.h>

enum { STX = 2, ETX = 3, MODBUS_HEAD = 6, MODBUS_TCP_MOST = 260 };

/* Where mark stands in the bytes; count when nowhere. */
static size_t find(const unsigned char *bytes, size_t count, const mark *m) {
  for (size_t i = 0; i + m->count <= count; i++) {
    if (memcmp(bytes + i, m->at, m->count) == 0) return i;
  }
  return count;
}

/* How many bytes at the end may be the beginning of mark. */
static size_t begun(const unsigned char *bytes, size_t count, const mark *m) {
  for (size_t n = m->count > 0 ? m->count - 1 : 0; n > 0; n--) {
    if (n <= count && memcmp(bytes + count - n, m->at, n) == 0) return n;
  }
  return 0;
}

/* ---- check sums ---- */

static uint32_t binary(const unsigned char *p, int bytes, bool low_first) {
  uint32_t x = 0;
  for (int i = 0; i < bytes; i++)
    x = x << 8 | p[low_first ? bytes - 1 - i : i];
  return x;
}

static bool number_in(const unsigned char *p, size_t length, int base, uint32_t *x) {
  uint64_t sum = 0;
  if (length == 0 || length > 10) return false;
  for (size_t i = 0; i < length; i++) {
    int c = p[i], d = c >= '0' && c <= '9'   ? c - '0'
                      : c >= 'A' && c <= 'F' ? c - 'A' + 10
                      : c >= 'a' && c <= 'f' ? c - 'a' + 10
                                             : 99;
    if (d >= base) return false;
    sum = sum * (unsigned)base + (unsigned)d;
  }
  *x = (uint32_t)sum;
  return sum <= UINT32_MAX;
}

static size_t last_of(const unsigned char *bytes, size_t count, const mark *m) {
  for (size_t i = count >= m->count ? count - m->count + 1 : 0; i-- > 0;) {
    if (memcmp(bytes + i, m->at, m->count) == 0) return i;
  }
  return count;
}

/* A line's checksum at its end. *length shrinks to what stands before it. */
static bool line_holds(const lw_instrument *i, const unsigned char *line, size_t *length) {
  const checksum_said *c = &i->checksum;
  int bytes = lw_checksum_bytes((lw_checksum)c->kind);
  size_t end = *length, digits = (size_t)(c->form == CHECK_HEX ? 2 * bytes : bytes);
  size_t from = end >= digits ? end - digits : end; /* first byte of the checksum */
  if (i->check_mark.count) {
    size_t mark_at = last_of(line, end, &i->check_mark);
    if (mark_at == end) return false;
    from = mark_at + i->check_mark.count;
    *length = mark_at;
  } else {
    *length = from;
  }
  if (from >= end || (size_t)c->from > *length) return false;
  uint32_t said = 0;
  if (c->form == CHECK_BINARY) {
    if (end - from != (size_t)bytes) return false;
    said = binary(line + from, bytes, c->order == LOW_FIRST);
  } else {
    if (c->form == CHECK_HEX && end - from != digits) return false;
    if (!number_in(line + from, end - from, c->form == CHECK_HEX ? 16 : 10, &said)) return false;
    if (c->form == CHECK_HEX && c->order == LOW_FIRST && bytes == 2)
      said = (said & 0xFF) << 8 | said >> 8;
  }
  return said ==
         lw_checksum_of((lw_checksum)c->kind, line + c->from - 1, *length - (size_t)c->from + 1);
}

/* ---- lines ---- */

static frame_state find_line(const lw_instrument *i, const unsigned char *bytes, size_t count,
                             telegram *out) {
  size_t from = i->start.count ? find(bytes, count, &i->start) : 0;
  if (i->start.count && from == count) {
    out->noise = out->used = count - begun(bytes, count, &i->start);
    return FRAME_MORE;
  }
  out->noise = from;
  size_t stop = from + i->start.count +
                find(bytes + from + i->start.count, count - from - i->start.count, &i->end);
  if (stop == count) {
    bool endless = count - from >= FRAME_MOST;
    out->used = endless ? count : from;
    return endless ? FRAME_BAD_FORM : FRAME_MORE;
  }
  /* a start inside of a line: the line before it was cut off */
  for (size_t next = from; i->start.count;) {
    next += 1 + find(bytes + next + 1, stop - next - 1, &i->start);
    if (next >= stop) break;
    out->noise = from = next;
  }
  size_t length = stop - from;
  out->used = stop + i->end.count;
  if (length && i->end.at[0] == '\n' && bytes[stop - 1] == '\r') length--;
  if (length == 0) { /* a blank line is nothing */
    out->noise = out->used;
    return FRAME_MORE;
  }
  if (i->checksum.kind && !line_holds(i, bytes + from, &length))
    return length || !i->check_mark.count ? FRAME_BAD_CHECKSUM : FRAME_BAD_FORM;
  if (length < i->start.count) return FRAME_BAD_FORM;
  out->data = bytes + from + i->start.count;
  out->length = length - i->start.count;
  return FRAME_WHOLE;
}

/* ---- frames of fixed length ---- */

static bool frame_holds(const lw_instrument *i, const unsigned char *p) {
  const checksum_said *c = &i->checksum;
  if (!c->kind) return true;
  int bytes = lw_checksum_bytes((lw_checksum)c->kind);
  size_t end = (size_t)(i->framing.length - bytes), from = (size_t)c->from - 1;
  return binary(p + end, bytes, c->order == LOW_FIRST) ==
         lw_checksum_of((lw_checksum)c->kind, p + from, end - from);
}

/* A wrong checksum may also mean that the start was none: only its first byte is taken away. */
static frame_state find_frame(const lw_instrument *i, const unsigned char *bytes, size_t count,
                              telegram *out) {
  size_t length = (size_t)i->framing.length;
  size_t from = i->start.count ? find(bytes, count, &i->start) : 0;
  if (i->start.count && from == count) {
    out->noise = out->used = count - begun(bytes, count, &i->start);
    return FRAME_MORE;
  }
  out->noise = out->used = from;
  if (count - from < length) return FRAME_MORE;
  if (!frame_holds(i, bytes + from)) {
    out->used = from + 1;
    if (i->start.count) return FRAME_BAD_CHECKSUM;
    out->noise++; /* without a start, most places are no beginning */
    return FRAME_BAD_FORM;
  }
  out->data = bytes + from;
  out->length = length;
  out->used = from + length;
  return FRAME_WHOLE;
}

/* ---- Modbus ---- */

/* Length of the answer, address to last data byte, when one to this request may stand here; 0: it
   may not. Two bytes are looked at, three where there are. */
static size_t answer_length(const lw_instrument *i, const question *wanted, const unsigned char *p,
                            size_t count) {
  if (count > 0 && p[0] != i->station) return 0;
  if (count > 1 && p[1] == (wanted->function | 0x80)) return 3;
  if (count > 1 && p[1] != wanted->function) return 0;
  if (count > 2 && p[2] != 2 * wanted->registers) return 0;
  return 3 + 2 * (size_t)wanted->registers;
}

static frame_state answer(const unsigned char *p, size_t length, telegram *out) {
  bool refused = p[1] & 0x80;
  out->status = refused ? p[2] : 0;
  out->data = p + 3;
  out->length = refused ? 0 : length - 3;
  return FRAME_WHOLE;
}

/* On a serial line: the answer is where its head and its CRC fit; everything before it is noise,
   or the echo of the request. */
static frame_state find_rtu(const lw_instrument *i, const question *wanted,
                            const unsigned char *bytes, size_t count, telegram *out) {
  size_t keep = count;
  bool broken = false;
  for (size_t k = 0; k < count; k++) {
    size_t length = answer_length(i, wanted, bytes + k, count - k);
    if (!length) continue;
    if (count - k < length + 2) {
      if (keep == count) keep = k; /* may still become one */
      continue;
    }
    if (binary(bytes + k + length, 2, true) !=
        lw_checksum_of(LW_CHECKSUM_CRC16_MODBUS, bytes + k, length)) {
      broken = true;
      continue;
    }
    out->noise = k;
    out->used = k + length + 2;
    return answer(bytes + k, length, out);
  }
  out->noise = out->used = keep;
  return broken && keep == count ? FRAME_BAD_CHECKSUM : FRAME_MORE;
}

/* On TCP: transaction, protocol 0, length, then the answer. A head that is none means that nobody
   knows any more where the next begins. */
static frame_state find_tcp(const lw_instrument *i, const question *wanted, unsigned transaction,
                            const unsigned char *p, size_t count, telegram *out) {
  if (count < MODBUS_HEAD) return FRAME_MORE;
  size_t length = (size_t)p[4] << 8 | p[5];
  if (p[2] || p[3] || length < 3 || length > MODBUS_TCP_MOST - MODBUS_HEAD) {
    out->used = count;
    return FRAME_BAD_FORM;
  }
  if (count < MODBUS_HEAD + length) return FRAME_MORE;
  out->used = MODBUS_HEAD + length;
  bool ours = ((unsigned)p[0] << 8 | p[1]) == (transaction & 0xFFFF);
  if (!ours) { /* the late answer to a question that was given up */
    out->noise = out->used;
    return FRAME_MORE;
  }
  if (answer_length(i, wanted, p + MODBUS_HEAD, length) != length) return FRAME_BAD_FORM;
  return answer(p + MODBUS_HEAD, length, out);
}

/* ---- AK ---- */

/* STX, any byte, the code again, a blank, the status digit, a blank and data, ETX. "????" instead
   of the code: the instrument does not know it. */
static frame_state find_ak(const question *wanted, const unsigned char *bytes, size_t count,
                           telegram *out) {
  const unsigned char *p = memchr(bytes, STX, count);
  if (!p) {
    out->noise = out->used = count;
    return FRAME_MORE;
  }
  out->noise = out->used = (size_t)(p - bytes);
  const unsigned char *end = memchr(p, ETX, count - out->noise);
  if (!end) {
    bool endless = count - out->noise >= FRAME_MOST;
    out->used = endless ? count : out->noise;
    return endless ? FRAME_BAD_FORM : FRAME_MORE;
  }
  for (const unsigned char *q; (q = memchr(p + 1, STX, (size_t)(end - p - 1)));)
    p = q; /* begun anew: what came before was cut off */
  out->noise = (size_t)(p - bytes);
  out->used = (size_t)(end - bytes) + 1;
  if (end - p < 8 || p[6] != ' ' || p[7] < '0' || p[7] > '9') return FRAME_BAD_FORM;
  bool known = memcmp(p + 2, "????", 4) != 0;
  if (known && memcmp(p + 2, wanted->code, 4) != 0) return FRAME_BAD_FORM;
  out->status = known ? p[7] - '0' : -1;
  out->data = p + 8;
  out->length = (size_t)(end - p) - 8;
  return FRAME_WHOLE;
}

/* ---- the one that belongs ---- */

frame_state lw_frame_find(const lw_instrument *i, const question *wanted, unsigned transaction,
                          const unsigned char *bytes, size_t count, telegram *out) {
  *out = (telegram){.data = bytes};
  if (i->request_count && !wanted) { /* nobody asked */
    out->noise = out->used = count;
    return FRAME_MORE;
  }
  switch (i->protocol) {
  case LW_PROTOCOL_FRAMES: return find_frame(i, bytes, count, out);
  case LW_PROTOCOL_MODBUS_RTU: return find_rtu(i, wanted, bytes, count, out);
  case LW_PROTOCOL_MODBUS_TCP: return find_tcp(i, wanted, transaction, bytes, count, out);
  case LW_PROTOCOL_AK: return find_ak(wanted, bytes, count, out);
  default: return find_line(i, bytes, count, out);
  }
}
