/* csv.c - a CSV file as an instrument: "time [s],CO [%],HC [ppm hexane],speed [rpm]".
**
** Every column whose name is an item is read; others are passed over. It is judged like any
** instrument of class II, so that a log that was written by another program is settled or not too.
*/
#include "instrument_internal.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROW_MOST = 8192, CELL = 96, COLUMNS_MOST = 256, NOT_READ = -1, TIME = -2 };

struct csv_reader {
  FILE *file;
  int line, columns;
  int item[COLUMNS_MOST]; /* item, TIME or NOT_READ */
  double scale[COLUMNS_MOST], offset[COLUMNS_MOST];
  double last; /* s */
  struct lw_instrument instrument;
  field fields[LW_LIVE_ITEMS];
  char name[128], text[ROW_MOST];
};

const lw_instrument *lw_csv_reader_instrument(const csv_reader *r) {
  return &r->instrument;
}

void lw_csv_reader_free(csv_reader *r) {
  if (!r) return;
  if (r->file) fclose(r->file);
  free(r);
}

/* The next cell without quotes and blanks around it. False at the end of the row. */
static bool cell(char **p, char out[CELL]) {
  if (!*p) return false;
  char *from = *p;
  size_t n = 0;
  bool quoted = *from == '"';
  if (quoted) from++;
  for (; *from && (quoted ? *from != '"' || from[1] == '"' : *from != ','); from++) {
    if (quoted && *from == '"') from++;
    if (n + 1 < CELL) out[n++] = *from;
  }
  while (n && strchr(" \t\r\n", out[n - 1]))
    n--;
  out[n] = '\0';
  memmove(out, out + strspn(out, " \t"), n + 1 - strspn(out, " \t"));
  from += strcspn(from, ",");
  *p = *from ? from + 1 : NULL;
  return true;
}

static bool row(csv_reader *r) {
  while (fgets(r->text, sizeof r->text, r->file)) {
    r->line++;
    size_t n = strlen(r->text);
    while (n && strchr("\r\n", r->text[n - 1]))
      r->text[--n] = '\0';
    if (n) return true;
  }
  return false;
}

/* "CO2 [%]" and "time_s" into name and unit. */
static void heading(char *text, char **unit) {
  size_t n = strlen(text);
  char close = n ? text[n - 1] : '\0';
  char *open = close == ']' ? strrchr(text, '[') : close == ')' ? strrchr(text, '(') : NULL;
  *unit = NULL;
  if (lw_text_same(text, "time_s")) {
    text[4] = '\0';
    *unit = text + 5;
  } else if (open) {
    text[n - 1] = *open = '\0';
    *unit = open + 1;
    for (n = (size_t)(open - text); n && text[n - 1] == ' ';)
      text[--n] = '\0';
  }
}

static int item_named(const char *name) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (lw_text_same(name, lw_live_item_text((lw_live_item)i))) return i;
  }
  return lw_text_same(name, "time") ? TIME : NOT_READ;
}

static lw_status column(csv_reader *r, lw_units *units, char *text, lw_error *error) {
  char *unit = NULL;
  heading(text, &unit);
  int item = item_named(text), k = r->columns;
  r->item[k] = item;
  r->columns++;
  if (item == NOT_READ) return LW_OK;
  lw_error_place(error, NULL, 1, text);
  for (int i = 0; i < k; i++) {
    if (r->item[i] == item)
      return lw_fail(error, LW_BAD_INPUT, "two columns have this name; rename the one not meant");
  }
  lw_dim dim = item == TIME ? LW_TIME : lw_live_item_dim((lw_live_item)item);
  if (!unit && dim != LW_RATIO)
    return lw_fail(error, LW_BAD_INPUT, "the unit is missing in the header; use %s, in brackets",
                   lw_dim_accepts(dim));
  lw_status status =
      lw_units_scale(units, dim, unit ? unit : "", &r->scale[k], &r->offset[k], error);
  if (status != LW_OK || item == TIME) return status;
  size_t n = r->instrument.fields.count++;
  r->fields[n] = (field){.item = (lw_live_item)item,
                         .lag = lw_live_lag(LW_CLASS_UNSAID, (lw_live_item)item),
                         .tail = lw_live_tail((lw_live_item)item),
                         .within = lw_live_within(LW_CLASS_UNSAID, (lw_live_item)item)};
  if (item == LW_LIVE_HC) r->instrument.hc_basis = lw_basis_in(unit);
  return LW_OK;
}

static lw_status header(csv_reader *r, lw_units *units, lw_error *error) {
  char text[CELL], *p = r->text;
  bool time = false;
  if (!row(r)) return lw_fail(error, LW_BAD_INPUT, "the file is empty");
  if (strncmp(p, "\xEF\xBB\xBF", 3) == 0) p += 3;
  while (cell(&p, text) && r->columns < COLUMNS_MOST) {
    lw_status status = column(r, units, text, error);
    if (status != LW_OK) return status;
    time |= r->item[r->columns - 1] == TIME;
  }
  lw_error_place(error, NULL, 1, "header");
  if (!time)
    return lw_fail(error, LW_BAD_INPUT, "a column 'time [s]' is missing: when each row was read");
  if (!r->instrument.fields.count)
    return lw_fail(error, LW_BAD_INPUT,
                   "no column is anything that is read; name them as in "
                   "'time [s],CO [%%],HC [ppm hexane],speed [rpm]'");
  return LW_OK;
}

static const char *base_name(const char *path) {
  const char *slash = strrchr(path, '/');
  return slash ? slash + 1 : path;
}

lw_status lw_csv_reader_new(lw_units *units, const char *path, csv_reader **reader,
                            lw_error *error) {
  csv_reader *r = calloc(1, sizeof *r);
  if (!r) return lw_fail(error, LW_NO_MEMORY, "no memory to read a file");
  r->last = LW_NONE;
  r->instrument.fields.items = r->fields;
  snprintf(r->name, sizeof r->name, "%s", base_name(path));
  r->instrument.name = r->name;
  r->instrument.protocol = LW_PROTOCOL_LINES;
  r->file = fopen(path, "rb");
  lw_error_place(error, path, 0, NULL);
  lw_status status = LW_OK;
  if (!r->file) {
    status = lw_fail(error, errno == ENOENT ? LW_NOT_FOUND : LW_IO, "%s",
                     errno == ENOENT ? "there is no such file" : strerror(errno));
  }
  if (status == LW_OK) status = header(r, units, error);
  if (status != LW_OK) {
    lw_csv_reader_free(r);
    return status;
  }
  lw_error_place(error, "", 0, "");
  *reader = r;
  return LW_OK;
}

int lw_csv_reader_next(csv_reader *r, double *time, double *x, char *words, size_t size) {
  char text[CELL], *p = r->text;
  if (!row(r)) return 0;
  *time = LW_NONE;
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    x[i] = LW_NONE;
  for (int k = 0; k < r->columns && cell(&p, text); k++) {
    double number = LW_NONE;
    if (r->item[k] == NOT_READ || !text[0]) continue;
    if (!lw_decimal_of((const unsigned char *)text, strlen(text), false, &number)) {
      snprintf(words, size, "row at line %d: '%.40s' is not a number", r->line, text);
      return -1;
    }
    *(r->item[k] == TIME ? time : &x[r->item[k]]) = number * r->scale[k] + r->offset[k];
  }
  if (!lw_known(*time) || (lw_known(r->last) && *time < r->last) || *time < 0 || *time > 4e9) {
    snprintf(words, size, "row at line %d: its time is missing or before that of the row above",
             r->line);
    return -1;
  }
  r->last = *time;
  return 1;
}
