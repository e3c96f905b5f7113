/* print_rejet.h - the answer of `leanward rejet` in words, CSV and JSON. Private to this floor. */
#ifndef LW_PRINT_REJET_H
#define LW_PRINT_REJET_H

#include "cli_twin.h"

#include "leanward/rejet.h"

/* The maps behind the answer, point by point those of the original. */
typedef struct print_rejet {
  const lw_rejet *answer;
  const char *what; /* the edits, as written */
  char **edits;
  int edit_count;
  const lw_map *original, *nothing, *after; /* after: the best proposal's */
  bool maps;                                /* print them as tables, too */
} print_rejet;

void print_rejet_text(const print_rejet *p);
lw_status print_rejet_csv(const print_rejet *p, const char *path, lw_error *error) LW_MUST_USE;
void print_rejet_json(const print_rejet *p);

#endif
