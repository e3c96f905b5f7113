/* typed.c - a reading as a person types it: "CO: 1.2 %, HC: 210 ppm hexane, speed: 650 rpm". */
#include "instrument_internal.h"

#include <stdio.h>
#include <string.h>

enum { PART_MOST = 80 };

static const char *const names[LW_LIVE_ITEMS] = {
#define NAME(id, name, dim, least, most) [id] = name,
    LW_LIVE_ITEM_LIST(NAME)
#undef NAME
};

static const struct {
  double least, most;
} believed[LW_LIVE_ITEMS] = {
#define BELIEVED(id, name, dim, least, most) [id] = {least, most},
    LW_LIVE_ITEM_LIST(BELIEVED)
#undef BELIEVED
};

static char *trim(char *text) {
  while (*text == ' ' || *text == '\t')
    text++;
  size_t n = strlen(text);
  while (n && strchr(" \t\r\n", text[n - 1]))
    text[--n] = '\0';
  return text;
}

/* The longest name this begins with, followed by a colon or a blank; its length in *used. */
static int item_at(const char *text, size_t *used) {
  int best = -1;
  *used = 0;
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    char head[PART_MOST];
    size_t n = strlen(names[i]);
    snprintf(head, sizeof head, "%.*s", (int)n, text);
    if (strlen(text) <= n || !strchr(": ", text[n]) || !lw_text_same(head, names[i])) continue;
    if (n <= *used) continue;
    best = i;
    *used = n;
  }
  return best;
}

static lw_status no_such(const char *part, lw_error *error) {
  char word[PART_MOST];
  snprintf(word, sizeof word, "%.*s", (int)strcspn(part, ": "), part);
  const char *near = lw_text_nearest(word, names, LW_LIVE_ITEMS);
  if (near)
    return lw_fail(error, LW_BAD_INPUT, "'%.40s' is nothing that is read; is '%s' meant?", word,
                   near);
  return lw_fail(error, LW_BAD_INPUT,
                 "'%.40s' is nothing that is read; write as in 'CO: 1.2 %%, speed: 650 rpm'", word);
}

static lw_status part(lw_units *units, char *text, double *x, lw_hc_basis *basis, lw_error *error) {
  size_t used = 0;
  int item = item_at(text, &used);
  if (item < 0) return no_such(text, error);
  lw_error_place(error, NULL, 0, names[item]);
  if (lw_known(x[item])) return lw_fail(error, LW_BAD_INPUT, "this is given twice");
  char *value = trim(text + used);
  if (*value == ':') value = trim(value + 1);
  double si = LW_NONE;
  lw_status status =
      lw_quantity_read(units, lw_live_item_dim((lw_live_item)item), value, &si, error);
  if (status != LW_OK) return status;
  if (!(si >= believed[item].least && si <= believed[item].most))
    return lw_fail(error, LW_BAD_INPUT, "'%.40s' cannot be", value);
  lw_hc_basis said = lw_basis_in(value);
  if (said != LW_HC_UNSAID && item != LW_LIVE_HC)
    return lw_fail(error, LW_BAD_INPUT, "only HC is counted in hexane, propane or C1");
  if (item == LW_LIVE_HC) *basis = said;
  x[item] = si;
  lw_error_place(error, NULL, 0, "");
  return LW_OK;
}

lw_status lw_typed_read(lw_units *units, const char *text, double *x, lw_hc_basis *basis,
                        lw_error *error) {
  double found[LW_LIVE_ITEMS];
  lw_hc_basis counted = LW_HC_UNSAID;
  int count = 0;
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    found[i] = LW_NONE;
  for (const char *p = text; *p;) {
    char copy[PART_MOST];
    size_t n = strcspn(p, ",;");
    if (n >= sizeof copy)
      return lw_fail(error, LW_BAD_INPUT, "'%.40s...' is too long for one value", p);
    snprintf(copy, sizeof copy, "%.*s", (int)n, p);
    char *one = trim(copy);
    lw_status status = *one ? part(units, one, found, &counted, error) : LW_OK;
    if (status != LW_OK) return status;
    count += *one != '\0';
    p += n + (p[n] != '\0');
  }
  if (!count)
    return lw_fail(error, LW_BAD_INPUT,
                   "nothing is said; write as in 'CO: 1.2 %%, speed: 650 rpm'");
  memcpy(x, found, sizeof found);
  *basis = counted;
  return LW_OK;
}
