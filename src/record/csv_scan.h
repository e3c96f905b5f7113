/* csv_scan.h - where the rows and cells of a CSV text begin and end (RFC 4180). Private to this
** floor. Nothing is copied; nothing is kept between calls. */
#ifndef LW_RECORD_CSV_SCAN_H
#define LW_RECORD_CSV_SCAN_H

#include <stdbool.h>
#include <stddef.h>

typedef enum lw_csv_found {
  LW_CSV_ROW,        /* a whole row */
  LW_CSV_MORE,       /* the text ends before the row does */
  LW_CSV_OPEN_QUOTE, /* the same, inside a quoted cell */
  LW_CSV_TORN_QUOTE  /* text follows a closing quote: not a row anyone can read */
} lw_csv_found;

/* Find the end of the row that begins at p: its line feed, or end when the text is over (last).
   A quote opens a quoted cell only where a cell begins; elsewhere it is a letter like others. */
lw_csv_found lw_csv_row(const char *p, const char *end, bool last, const char **row_end);

/* The next cell of a row in [*p, end), without its quotes but with quotes inside still doubled. *p
   moves behind the comma, or becomes NULL after the last cell. */
typedef struct lw_csv_cell {
  const char *text;
  size_t length;
  bool quoted;
} lw_csv_cell;
lw_csv_cell lw_csv_next(const char **p, const char *end);

/* A cell with doubled quotes made single, into buffer (cut at its end). Returns the length. */
size_t lw_csv_plain(lw_csv_cell cell, char *buffer, size_t size);

#endif
