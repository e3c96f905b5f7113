/* csv.h - the columns of a CSV in tests/data, by name. For tests only: plain fields, no quotes. */
#ifndef LW_TESTS_CSV_H
#define LW_TESTS_CSV_H

#include <stdlib.h>

#include "check.h"

enum { CSV_COLUMNS = 32, CSV_LINE = 1000 };

typedef struct csv {
  FILE *file;
  char head[CSV_LINE], row[CSV_LINE];
  char *name[CSV_COLUMNS], *cell[CSV_COLUMNS];
  size_t columns;
} csv;

static inline size_t csv_split(char *line, char **cells) {
  size_t count = 0;
  line[strcspn(line, "\r\n")] = '\0';
  for (char *p = line; p && count < CSV_COLUMNS; count++) {
    cells[count] = p;
    p = strchr(p, ',');
    if (p) *p++ = '\0';
  }
  return count;
}

static inline csv *csv_open(const char *name) {
  char path[600];
  const char *root = getenv("SOURCE_ROOT");
  snprintf(path, sizeof path, "%s/tests/data/%s", root ? root : LW_SOURCE_ROOT, name);
  csv *c = calloc(1, sizeof *c);
  assert_non_null(c);
  c->file = fopen(path, "r");
  if (!c->file || !fgets(c->head, CSV_LINE, c->file)) fail_msg("cannot read %s", path);
  c->columns = csv_split(c->head, c->name);
  return c;
}

/* The next row; false (and all freed) behind the last. */
static inline bool csv_next(csv *c) {
  if (!fgets(c->row, CSV_LINE, c->file)) {
    fclose(c->file);
    free(c);
    return false;
  }
  assert_int_equal(csv_split(c->row, c->cell), c->columns);
  return true;
}

static inline const char *csv_text(const csv *c, const char *name) {
  for (size_t i = 0; i < c->columns; i++) {
    if (strcmp(c->name[i], name) == 0) return c->cell[i];
  }
  fail_msg("no column %s", name);
  return "";
}

static inline double csv_number(const csv *c, const char *name) {
  return strtod(csv_text(c, name), NULL);
}

#endif
