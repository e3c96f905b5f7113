/* print_spread.h - what a tolerance study says: text, JSON, CSV. Private to this floor. */
#ifndef LW_PRINT_SPREAD_H
#define LW_PRINT_SPREAD_H

#include "cli.h"

#include "leanward/spread.h"

typedef struct cli_study {
  const lw_test_car *car;
  lw_spread_ask ask;
  const lw_spread_result *result;
  char what[240]; /* the edits, as written */
} cli_study;

void cli_spread_print(const cli_study *study);
void cli_spread_json(const cli_study *study);
lw_status cli_spread_csv(const char *path, const cli_study *study, lw_error *error) LW_MUST_USE;
/* Every tolerance with its source, as a Markdown table (docs/spread.md holds the same). */
void cli_tolerances_print(void);

#endif
