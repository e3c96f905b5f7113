/* causes_internal.h - what weighing causes and saying them share. Private to this floor. */
#ifndef LW_CAUSES_INTERNAL_H
#define LW_CAUSES_INTERNAL_H

#include "leanward/causes.h"

enum { SIZES_MOST = 6, KEPT_MOST = 64 };

typedef struct cause_row {
  lw_cause_id id;
  double prior;
  const char *edit, *also; /* what-ifs; NULL: none */
  const char *where;       /* "left" */
  double sizes[SIZES_MOST];
  size_t size_count;
  const char *unit; /* of the size, for people */
} cause_row;
const cause_row *lw_cause_rows(size_t *count);

/* A cause of one size, as what-ifs. */
typedef struct trial {
  const cause_row *row;
  double size;
  size_t edit_count;
  char text[2][64];
} trial;

/* A cause in its best size, or two, with its weight (over all sizes). */
typedef struct kept {
  trial trials[2];
  size_t count;
  double weight, probability;
  lw_match match;
} kept;

typedef struct inquiry {
  lw_arena *arena;
  lw_units *units;
  const lw_test_car *car;
  const lw_sight *sights;
  size_t count, first_idle;
  lw_findings findings;
  kept kept[KEPT_MOST];
  size_t kept_count;
  lw_match sound;
  double weight[LW_CAUSES], probability[LW_CAUSES];
  int runs;
} inquiry;

/* Logarithm of the probability of the findings under a cause of a size; initial: rad. */
double lw_cause_findings(const lw_findings *findings, lw_cause_id id, double size, double initial);

/* The answer in words (causes_say.c). */
lw_status lw_causes_say(inquiry *d, lw_diagnosis **out, lw_error *error) LW_MUST_USE;
/* Tests worth making (causes_test.c); at most most, best first. */
size_t lw_causes_tests(inquiry *d, lw_next_test *tests, size_t most);

#endif
