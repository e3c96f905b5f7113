/* causes_internal.h - what weighing causes and saying them share. Private to this floor. */
#ifndef LW_CAUSES_INTERNAL_H
#define LW_CAUSES_INTERNAL_H

#include "leanward/causes.h"

enum { SIZES_MOST = 6, SIZES_TRIED = 10, KEPT_MOST = 64 };

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
double lw_cause_prior(lw_cause_id id); /* of all its rows */
/* Whether this car has the part at all, where a what-if would not refuse it. */
bool lw_cause_may(const lw_test_car *car, const cause_row *row);

/* A cause of one size, as what-ifs. */
typedef struct trial {
  const cause_row *row;
  double size;
  size_t edit_count;
  char text[2][64];
} trial;

/* The trial of a row in a size, at a cylinder (from 1) where it has one. */
void lw_cause_trial(const cause_row *row, double size, int cylinder, trial *trial);

/* A row while it is weighed over its sizes. */
typedef struct standing_row {
  const cause_row *row;
  bool cannot; /* this unit cannot have it */
  size_t count;
  double size[SIZES_TRIED], weight[SIZES_TRIED]; /* in order of size; natural logarithms */
  double alone[SIZES_TRIED];                     /* of it, as it was set and left alone */
  double best;
  trial trial; /* the best */
  lw_match match;
  double snaps;
  lw_snap_shown shown[LW_SNAPS_MOST];
} standing_row;

/* A cause in its best size, or two, with its weight (over all sizes). */
typedef struct kept {
  trial trials[2];
  size_t count;
  double weight, probability;
  lw_match match;
  double snaps;                       /* logarithm of the probability of the snaps, in weight */
  lw_snap_shown shown[LW_SNAPS_MOST]; /* as the sound car's where it was not run */
} kept;

typedef struct inquiry {
  lw_arena *arena;
  lw_units *units;
  const lw_test_car *car;
  lw_sight sights[LW_SIGHTS_MOST];
  lw_state flows[LW_SIGHTS_MOST]; /* of the sound car */
  size_t count, first_idle;
  const lw_snap *snaps;
  size_t snap_count;
  lw_snap_shown sound_shown[LW_SNAPS_MOST];
  double sound_snaps; /* logarithm of their probability with a sound car */
  const lw_test_car *other;
  const char *other_name;
  bool not_its_unit;
  lw_findings findings;
  lw_before before;  /* as it was set when all was well; */
  bool before_known; /* else of no use */
  lw_before other_before;
  bool other_before_known;
  double left_alone; /* probability that screws and stop stand as set then */
  kept kept[KEPT_MOST];
  size_t kept_count;
  lw_match sound;
  bool seen[LW_CAUSES], unseen[LW_CAUSES]; /* some reading shows it, in some size; none does */
  double weight[LW_CAUSES], probability[LW_CAUSES];
  double most; /* weight of the likeliest size so far */
  int runs;
} inquiry;

/* The snaps of this inquiry with these faults; logarithm of their probability (causes_snap.c). 0
   without snaps. */
double lw_causes_snaps(inquiry *d, const trial *trials, size_t count, const lw_match *match,
                       lw_snap_shown *shown);
/* How often snaps stray so far from all cars that are known. */
double lw_causes_snaps_stray(const inquiry *d);

/* Logarithm of the probability of the findings under a cause of a size; initial: rad. */
double lw_cause_findings(const lw_findings *findings, lw_cause_id id, double size, double initial);

bool lw_cause_leaks(lw_cause_id id); /* air into the manifold */
/* It shows when the throttle is opened quickly and nowhere else. */
bool lw_cause_moves(lw_cause_id id);
/* To so many digits. */
double lw_cause_round(double x, int digits);

/* Fills evidence and together of a cause (causes_evidence.c). */
void lw_causes_evidence(inquiry *d, const kept *k, lw_cause *c);
/* The same of screws that are mis-set or apart on a sound car. */
void lw_causes_screws_evidence(inquiry *d, lw_cause *c);
/* The answer in words (causes_say.c). */
lw_status lw_causes_say(inquiry *d, lw_diagnosis **out, lw_error *error) LW_MUST_USE;
/* Tests worth making (causes_test.c); at most most, best first. */
size_t lw_causes_tests(inquiry *d, lw_next_test *tests, size_t most);

#endif
