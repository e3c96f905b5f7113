/* text.c - small helpers for words and numbers that people read. */
#include "leanward/base.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { LONGEST_WORD = 64 };

const lw_range lw_range_none = {NAN, NAN, NAN};

static char lower(char c) {
  return (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

/* Edit distance with neighbors swapped counting as one slip (optimal string alignment). Words over
   LONGEST_WORD letters are never near anything. */
static size_t slips(const char *a, const char *b) {
  size_t la = strlen(a), lb = strlen(b);
  if (la > LONGEST_WORD || lb > LONGEST_WORD) return SIZE_MAX;
  size_t rows[3][LONGEST_WORD + 1];
  size_t *before = rows[0], *above = rows[1], *now = rows[2];
  memset(before, 0, sizeof rows[0]);
  for (size_t j = 0; j <= lb; j++)
    above[j] = j;
  for (size_t i = 1; i <= la; i++) {
    now[0] = i;
    for (size_t j = 1; j <= lb; j++) {
      bool same = lower(a[i - 1]) == lower(b[j - 1]);
      size_t best = above[j - 1] + (same ? 0 : 1);
      if (above[j] + 1 < best) best = above[j] + 1;
      if (now[j - 1] + 1 < best) best = now[j - 1] + 1;
      bool swapped = i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) &&
                     lower(a[i - 2]) == lower(b[j - 1]);
      if (swapped && before[j - 2] + 1 < best) best = before[j - 2] + 1;
      now[j] = best;
    }
    size_t *free_row = before;
    before = above;
    above = now;
    now = free_row;
  }
  return above[lb];
}

bool lw_known(double x) {
  return !isnan(x);
}

bool lw_range_known(lw_range range) {
  return lw_known(range.lo) || lw_known(range.at) || lw_known(range.hi);
}

double lw_range_middle(lw_range range) {
  if (lw_known(range.at)) return range.at;
  if (lw_known(range.lo) && lw_known(range.hi)) return 0.5 * (range.lo + range.hi);
  return lw_known(range.lo) ? range.lo : range.hi;
}

int lw_range_side(lw_range range, double x) {
  if (lw_known(range.lo) && x < range.lo) return -1;
  if (lw_known(range.hi) && x > range.hi) return 1;
  return 0;
}

const char *lw_text_nearest(const char *word, const char *const *candidates, size_t count) {
  size_t length = strlen(word);
  size_t allowed = length / 3 < 3 ? length / 3 : 3;
  if (allowed == 0 && length > 1) allowed = 1;
  const char *best = NULL;
  size_t fewest = allowed + 1;
  for (size_t i = 0; i < count; i++) {
    size_t n = slips(word, candidates[i]);
    if (n < fewest) {
      fewest = n;
      best = candidates[i];
    }
  }
  return best;
}

const char *lw_text_value(char *buffer, size_t size, double x, double band, int max_decimals) {
  if (!lw_known(x)) {
    snprintf(buffer, size, "not known");
    return buffer;
  }
  if (fabs(x) >= 1e15) {
    snprintf(buffer, size, "%.4g", x); /* beyond what a double has decimals for, and short */
    return buffer;
  }
  int decimals = max_decimals;
  if (lw_known(band) && band > 0 && isfinite(band)) {
    int wanted = 1 - (int)floor(log10(band));
    if (wanted < 0) wanted = 0;
    if (wanted < decimals) decimals = wanted;
  }
  snprintf(buffer, size, "%.*f", decimals, x);
  return buffer;
}

bool lw_text_same(const char *a, const char *b) {
  if (!a || !b) return a == b;
  while (*a && lower(*a) == lower(*b)) {
    a++;
    b++;
  }
  return lower(*a) == lower(*b);
}

char *lw_text_append(char *buffer, size_t size, const char *format, ...) {
  size_t used = strlen(buffer);
  if (used + 1 >= size) return buffer;
  va_list args;
  va_start(args, format);
  vsnprintf(buffer + used, size - used, format, args);
  va_end(args);
  return buffer;
}

size_t lw_text_columns(const char *text) {
  size_t columns = 0;
  for (; *text; text++) {
    if (((unsigned char)*text & 0xC0) != 0x80) columns++;
  }
  return columns;
}

/* Length of the UTF-8 sequence at s (at most left bytes), 0 when it is not well formed. Overlong
   forms, surrogates and code points over U+10FFFF are refused (RFC 3629, section 4). */
static size_t sequence(const unsigned char *s, size_t left) {
  unsigned char c = s[0];
  if (c == 0) return 0;
  if (c < 0x80) return 1;
  size_t length = c >= 0xF0 ? 4 : c >= 0xE0 ? 3 : 2;
  if (c < 0xC2 || c > 0xF4 || left < length) return 0;
  for (size_t i = 1; i < length; i++) {
    if ((s[i] & 0xC0) != 0x80) return 0;
  }
  if ((c == 0xE0 && s[1] < 0xA0) || (c == 0xED && s[1] > 0x9F)) return 0;
  if ((c == 0xF0 && s[1] < 0x90) || (c == 0xF4 && s[1] > 0x8F)) return 0;
  return length;
}

bool lw_text_utf8(const char *text, size_t length, size_t *bad_at) {
  for (size_t at = 0; at < length;) {
    size_t n = sequence((const unsigned char *)text + at, length - at);
    if (n == 0) {
      if (bad_at) *bad_at = at;
      return false;
    }
    at += n;
  }
  return true;
}
