/* csv_scan.c - where the rows and cells of a CSV text begin and end. */
#include "csv_scan.h"

#include <assert.h>
#include <string.h>

/* Behind the quoted cell that opens at p, or NULL when it does not close before end. A closing
   quote at the very end of a text that is not over may be the first of two. */
static const char *quoted_end(const char *p, const char *end, bool last) {
  p++;
  while (p < end && (p = memchr(p, '"', (size_t)(end - p)))) {
    if (p + 1 == end) return last ? end : NULL;
    if (p[1] != '"') return p + 1;
    p += 2;
  }
  return NULL;
}

static bool cell_may_end(const char *p, const char *end, bool last) {
  if (p == end) return last;
  return *p == ',' || *p == '\n' || (*p == '\r' && (p + 1 == end || p[1] == '\n'));
}

static lw_csv_found row_with_quotes(const char *p, const char *end, bool last,
                                    const char **row_end) {
  bool begins = true;
  while (p < end && *p != '\n') {
    if (*p == '"' && begins) {
      p = quoted_end(p, end, last);
      if (!p) return LW_CSV_OPEN_QUOTE;
      if (!cell_may_end(p, end, last)) return LW_CSV_TORN_QUOTE;
      begins = false;
      continue;
    }
    begins = *p == ',';
    p++;
  }
  *row_end = p;
  return p < end || last ? LW_CSV_ROW : LW_CSV_MORE;
}

lw_csv_found lw_csv_row(const char *p, const char *end, bool last, const char **row_end) {
  const char *line_end = memchr(p, '\n', (size_t)(end - p));
  const char *stop = line_end ? line_end : end;
  if (memchr(p, '"', (size_t)(stop - p))) return row_with_quotes(p, end, last, row_end);
  *row_end = stop;
  return line_end || last ? LW_CSV_ROW : LW_CSV_MORE;
}

lw_csv_cell lw_csv_next(const char **p, const char *end) {
  const char *begin = *p, *stop = begin;
  bool quoted = begin < end && *begin == '"';
  if (quoted) stop = quoted_end(begin, end, true);
  if (!stop) stop = end; /* not closed: lw_csv_row does not pass such a row */
  assert(stop);
  while (stop < end && *stop != ',')
    stop++;
  *p = stop < end ? stop + 1 : NULL;
  if (quoted && stop - begin >= 2 && stop[-1] == '"') {
    return (lw_csv_cell){begin + 1, (size_t)(stop - begin) - 2, true};
  }
  return (lw_csv_cell){begin, (size_t)(stop - begin), false};
}

size_t lw_csv_plain(lw_csv_cell cell, char *buffer, size_t size) {
  size_t used = 0;
  for (size_t i = 0; i < cell.length && used + 1 < size; i++) {
    buffer[used++] = cell.text[i];
    if (cell.quoted && cell.text[i] == '"') i++; /* its double */
  }
  buffer[used] = '\0';
  return used;
}
