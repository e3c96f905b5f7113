/* store_search.c - does a text hold every word, whatever their case?
**
** SQLite's LIKE ignores case for ASCII only; a customer called Ünal would be found under one of the
** two spellings. Simple folding (one letter to one letter) of the alphabets with two-byte UTF-8
** letters is enough here and keeps every text's length. Source: Unicode 15, CaseFolding.txt, status
** C and S, U+00C0 to U+042F; left out: letters that fold to several, and U+0130.
*/
#include "store.h"

#include <string.h>

typedef struct fold_span {
  unsigned first, last;
  int step;  /* 1: every letter of the span is a capital; 2: every second, from the first */
  int shift; /* to the small letter */
} fold_span;

static const fold_span spans[] = {
    {'A', 'Z', 1, 32},     {0xC0, 0xD6, 1, 32},   {0xD8, 0xDE, 1, 32},   {0x100, 0x12E, 2, 1},
    {0x132, 0x136, 2, 1},  {0x139, 0x147, 2, 1},  {0x14A, 0x176, 2, 1},  {0x178, 0x178, 1, -121},
    {0x179, 0x17D, 2, 1},  {0x386, 0x386, 1, 38}, {0x388, 0x38A, 1, 37}, {0x38C, 0x38C, 1, 64},
    {0x38E, 0x38F, 1, 63}, {0x391, 0x3A1, 1, 32}, {0x3A3, 0x3AB, 1, 32}, {0x3C2, 0x3C2, 1, 1},
    {0x400, 0x40F, 1, 80}, {0x410, 0x42F, 1, 32},
};

static unsigned folded(unsigned letter) {
  for (size_t i = 0; i < sizeof spans / sizeof spans[0]; i++) {
    const fold_span *span = &spans[i];
    if (letter < span->first || letter > span->last) continue;
    if ((letter - span->first) % (unsigned)span->step) return letter;
    return (unsigned)((int)letter + span->shift);
  }
  return letter;
}

/* A folded copy, for sqlite3_free. NULL: no memory. */
static char *fold_text(const char *text) {
  char *copy = sqlite3_mprintf("%s", text);
  for (unsigned char *c = (unsigned char *)copy; c && *c; c++) {
    if (*c < 0x80) {
      *c = (unsigned char)folded(*c);
    } else if ((*c & 0xE0) == 0xC0 && (c[1] & 0xC0) == 0x80) {
      unsigned letter = folded((unsigned)(*c & 0x1F) << 6 | (c[1] & 0x3Fu));
      c[0] = (unsigned char)(0xC0 | letter >> 6);
      c[1] = (unsigned char)(0x80 | (letter & 0x3F));
      c++;
    }
  }
  return copy;
}

static bool holds_all(const char *text, char *words) {
  static const char blanks[] = " \t\r\n\f\v";
  for (char *word = words + strspn(words, blanks); *word;) {
    size_t length = strcspn(word, blanks);
    char *next = word + length + strspn(word + length, blanks);
    word[length] = '\0';
    if (!strstr(text, word)) return false;
    word = next;
  }
  return true;
}

static void holds_words(sqlite3_context *context, int count, sqlite3_value **values) {
  (void)count;
  const char *text = (const char *)sqlite3_value_text(values[0]);
  const char *words = (const char *)sqlite3_value_text(values[1]);
  if (!text || !words) {
    sqlite3_result_int(context, !words);
    return;
  }
  char *folded_text = fold_text(text), *folded_words = fold_text(words);
  if (folded_text && folded_words) {
    sqlite3_result_int(context, holds_all(folded_text, folded_words));
  } else {
    sqlite3_result_error_nomem(context);
  }
  sqlite3_free(folded_text);
  sqlite3_free(folded_words);
}

int store_search_register(sqlite3 *db) {
  return sqlite3_create_function(db, "holds_words", 2, SQLITE_UTF8 | SQLITE_DETERMINISTIC, NULL,
                                 holds_words, NULL, NULL);
}
