/* field.c - the numbers in a telegram, to SI. */
#include "instrument_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct piece {
  const unsigned char *at;
  size_t length;
} piece;

static bool blank(unsigned char c) {
  return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static piece trimmed(piece p) {
  while (p.length && blank(*p.at)) {
    p.at++;
    p.length--;
  }
  while (p.length && blank(p.at[p.length - 1]))
    p.length--;
  return p;
}

static bool digit(int c) {
  return c >= '0' && c <= '9';
}

bool lw_decimal_of(const unsigned char *text, size_t length, bool comma, double *x) {
  char copy[48];
  piece p = trimmed((piece){text, length});
  size_t n = 0, digits = 0;
  bool point = false;
  for (; n < p.length && n + 1 < sizeof copy; n++) {
    unsigned char c = p.at[n];
    bool sign = (c == '+' || c == '-') && n == 0, dot = c == (comma ? ',' : '.') && !point;
    if (!digit(c) && !sign && !dot) break;
    digits += digit(c);
    point |= dot;
    copy[n] = dot ? '.' : (char)c;
  }
  /* an exponent, where one is whole */
  bool e = n > 0 && n < p.length && (p.at[n] == 'e' || p.at[n] == 'E');
  if (digits && e && n + 5 < sizeof copy) {
    size_t k = n + 1, sign = k < p.length && (p.at[k] == '+' || p.at[k] == '-');
    size_t from = k + sign, to = from;
    while (to < p.length && digit(p.at[to]) && to - from < 3)
      to++;
    if (to > from) {
      memcpy(copy + n, p.at + n, to - n);
      n = to;
    }
  }
  copy[n] = '\0';
  /* a unit may follow, another number may not */
  for (size_t k = n; k < p.length; k++) {
    if (digit(p.at[k]) || p.at[k] < ' ' || p.at[k] == '.' || p.at[k] == ',') return false;
  }
  if (!digits) return false;
  *x = strtod(copy, NULL);
  return isfinite(*x) != 0;
}

static bool is_missing(const lw_instrument *i, piece p) {
  if (p.length == 0) return true;
  for (size_t k = 0; k < i->missing.count; k++) {
    const char *word = i->missing.text[k];
    if (strlen(word) == p.length && memcmp(word, p.at, p.length) == 0) return true;
  }
  return false;
}

static bool number_missing(const lw_instrument *i, double x) {
  for (size_t k = 0; k < i->missing.count; k++) {
    char *end = NULL;
    double word = strtod(i->missing.text[k], &end);
    if (end != i->missing.text[k] && *end == '\0' && word == x) return true;
  }
  return false;
}

/* ---- places of a line ---- */

/* The nth place, from 1. Blanks as separators count as one however many. */
static bool place(char separator, const telegram *f, int n, piece *out) {
  const unsigned char *p = f->data, *end = f->data + f->length;
  for (int k = 1;; k++) {
    if (!separator) {
      while (p < end && blank(*p))
        p++;
      if (p == end) return false;
    }
    const unsigned char *stop = p;
    while (stop < end && (separator ? *stop != (unsigned char)separator : !blank(*stop)))
      stop++;
    if (k == n) {
      *out = trimmed((piece){p, (size_t)(stop - p)});
      return true;
    }
    if (stop == end) return false;
    p = stop + 1;
  }
}

static int places(char separator, const telegram *f) {
  int n = 0;
  piece unused;
  while (n <= 100 && place(separator, f, n + 1, &unused))
    n++;
  return n;
}

static bool behind(const mark *m, const telegram *f, piece *out) {
  for (size_t i = 0; i + m->count <= f->length; i++) {
    if (memcmp(f->data + i, m->at, m->count) != 0) continue;
    piece p = {f->data + i + m->count, f->length - i - m->count};
    while (p.length && blank(*p.at)) {
      p.at++;
      p.length--;
    }
    size_t n = 0;
    while (n < p.length && !blank(p.at[n]) && !strchr(",;|", p.at[n]))
      n++;
    *out = (piece){p.at, n};
    return true;
  }
  return false;
}

static bool text_of(const lw_instrument *i, const field *f, const telegram *frame, piece *out) {
  if (i->protocol == LW_PROTOCOL_AK) return place('\0', frame, f->place, out);
  if (f->place) return place(i->separator, frame, f->place, out);
  if (f->behind) return behind(&f->mark, frame, out);
  size_t from = (size_t)f->column - 1;
  if (from >= frame->length) return false;
  size_t width = (size_t)f->width, rest = frame->length - from;
  *out = trimmed((piece){frame->data + from, width < rest ? width : rest});
  return true;
}

/* ---- binary numbers ---- */

static uint32_t gather(const field *f, const unsigned char *p, int bytes, bool registers) {
  unsigned char b[4] = {0};
  for (int i = 0; i < bytes; i++) {
    int at = i;
    if (registers && bytes == 4 && f->word_order == LOW_FIRST) at = (at + 2) % 4;
    if (registers && f->byte_order == LOW_FIRST) at ^= 1; /* inside of each register */
    if (!registers && f->byte_order == LOW_FIRST) at = bytes - 1 - i;
    b[i] = p[at];
  }
  uint32_t x = 0;
  for (int i = 0; i < bytes; i++)
    x = x << 8 | b[i];
  return x;
}

static double binary_of(const field *f, const unsigned char *p, bool registers) {
  int bytes = f->form == U8 || f->form == S8 ? 1 : f->form == U16 || f->form == S16 ? 2 : 4;
  uint32_t x = gather(f, p, bytes, registers);
  float real = 0;
  switch (f->form) {
  case S8: return (double)(int8_t)(uint8_t)x;
  case S16: return (double)(int16_t)(uint16_t)x;
  case S32: return (double)(int32_t)x;
  case F32: memcpy(&real, &x, sizeof real); return isfinite(real) ? (double)real : NAN;
  default: return (double)x;
  }
}

static size_t bytes_of(const field *f) {
  return f->form == U8 || f->form == S8 ? 1 : f->form == U16 || f->form == S16 ? 2 : 4;
}

/* ---- all fields ---- */

static const struct {
  double least, most;
} believed[LW_LIVE_ITEMS] = {
#define BELIEVED(id, name, dim, least, most) [id] = {least, most},
    LW_LIVE_ITEM_LIST(BELIEVED)
#undef BELIEVED
};

/* The number as it stands there. 1: there is one, 0: it is said to be missing, -1: it is wrong. */
static int raw(const lw_instrument *i, const field *f, const telegram *frame, double *x) {
  if (i->protocol == LW_PROTOCOL_LINES || i->protocol == LW_PROTOCOL_AK) {
    piece p = {0};
    if (!text_of(i, f, frame, &p)) return -1;
    if (is_missing(i, p)) return 0;
    if (!lw_decimal_of(p.at, p.length, i->framing.decimal_comma == LW_YES, x)) return -1;
    return number_missing(i, *x) ? 0 : 1;
  }
  if (f->at + bytes_of(f) > frame->length) return -1;
  *x = binary_of(f, frame->data + f->at, i->protocol != LW_PROTOCOL_FRAMES);
  return lw_known(*x) && !number_missing(i, *x);
}

int lw_fields_read(const lw_instrument *i, int request, const telegram *frame, double *x,
                   int *wrong, int *doubted) {
  const field *fields = instrument_fields(i);
  int found = 0;
  bool line = i->protocol == LW_PROTOCOL_LINES;
  if (line && i->framing.places && places(i->separator, frame) != i->framing.places) {
    *wrong = (int)i->fields.count;
    return 0;
  }
  for (size_t k = 0; k < i->fields.count; k++) {
    const field *f = &fields[k];
    if (f->request != request) continue;
    double number = NAN;
    int there = raw(i, f, frame, &number);
    if (there < 0) ++*wrong;
    if (there <= 0) continue;
    double si = number * f->to_si + f->from;
    if (si >= believed[f->item].least && si <= believed[f->item].most) {
      x[f->item] = si;
      found++;
    } else {
      ++*doubted;
    }
  }
  return found;
}
