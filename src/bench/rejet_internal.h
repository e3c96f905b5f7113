/* rejet_internal.h - what the files of rejetting share. Private to this floor. */
#ifndef LW_REJET_INTERNAL_H
#define LW_REJET_INTERNAL_H

#include "bench_internal.h"

#include "leanward/rejet.h"

enum { LW_KNOBS = 20, LW_SIZES = 72, LW_SPOTS = 96, LW_ROUGH = 32, LW_REJET_SCREWS = 16 };

/* ---- Parts: rejet_parts.c ------------------------------------------------------------------- */

typedef enum lw_knob_kind {
  LW_KNOB_SIZE,
  LW_KNOB_ROD_ECONOMY,
  LW_KNOB_ROD_POWER,
  LW_KNOB_ROD, /* both steps */
  LW_KNOB_VALVE,
  LW_KNOB_FLOAT
} lw_knob_kind;

/* One size that may be changed, with those it may become. */
typedef struct lw_knob {
  char name[32];
  lw_knob_kind kind;
  bool secondary;
  size_t at; /* SIZE: member of lw_barrel_card */
  int part;
  double labor;
  int count, now;                          /* sizes rise; which of them is fitted */
  double size[LW_SIZES], second[LW_SIZES]; /* second: ROD, its power step */
} lw_knob;

typedef struct lw_knobs {
  int count, parts;
  lw_knob knob[LW_KNOBS];
  double labor[LW_KNOBS]; /* of a part */
  const char *left_out[LW_KNOBS];
  size_t left_out_count;
} lw_knobs;

/* What of this twin may be changed. */
lw_status lw_knobs_list(lw_arena *arena, const lw_twin *twin, const lw_rejet_ask *ask,
                        lw_knobs *knobs, lw_error *error) LW_MUST_USE;

/* A size for each knob, and how far all screws are turned. */
typedef struct lw_choice {
  short size[LW_KNOBS];
  double turn;
} lw_choice;

/* A twin with a choice in force. It points into itself: it must not be copied. */
typedef struct lw_candidate {
  lw_card card;
  lw_screw_card screws[LW_REJET_SCREWS];
  double rods[2][LW_SIZES];
  lw_twin twin;
} lw_candidate;
/* False: such a unit cannot be. The network lies in arena. */
bool lw_candidate_build(lw_arena *arena, const lw_twin *base, const lw_knobs *knobs,
                        const lw_choice *choice, lw_candidate *candidate);

/* How far all mixture screws can be turned together; not known: there is none to turn. */
lw_range lw_screws_range(const lw_card *card);

/* ---- Running: rejet_run.c ------------------------------------------------------------------- */

/* A point that is compared. */
typedef struct lw_spot {
  lw_place place;
  double throttle, speed;
  double goal;    /* lambda */
  bool rough;     /* among those the search looks at */
  lw_state start; /* of the changed twin */
} lw_spot;

typedef struct lw_rejet_task {
  lw_arena *arena;
  lw_units *units;
  lw_error *error;
  const lw_rejet_ask *ask;
  const lw_test_car *original, *changed;
  lw_knobs knobs;
  lw_range turns;
  int spot_count;
  lw_spot spots[LW_SPOTS]; /* the first is idle */
  lw_gear_load gear;
  double idle_speed, idle_load;
  lw_range band;
  double co_wanted;
  size_t runs;
} lw_rejet_task;

/* The spots, with what is wanted at each; rough ones are chosen. */
lw_status lw_spots_list(lw_rejet_task *task, lw_rejet_idle *before) LW_MUST_USE;
/* Errors of lambda at the spots (the rough ones alone, in order), logarithms; NaN: no mixture. The
   screws are turned to bring idle back, if they can, and *choice told so. False: cannot be. */
bool lw_spots_try(lw_rejet_task *task, lw_choice *choice, bool rough, double *errors);
/* The same with the turn as it stands in the choice. */
bool lw_spots_run(lw_rejet_task *task, const lw_choice *choice, bool rough, double *errors);
/* Errors as places; spots of them: rough or all. */
void lw_spots_fit(const lw_rejet_task *task, const double *errors, bool rough, lw_rejet_fit *fit);
/* What the search makes small: the error, with a penalty for points lost. */
double lw_fit_cost(const lw_rejet_fit *fit);

/* Run a choice for good: through what-ifs, with the idle held and its screws set by CO. */
lw_status lw_proposal_settle(lw_rejet_task *task, const lw_choice *choice, bool turn,
                             lw_proposal *out) LW_MUST_USE;
/* Of a choice: parts changed, labor. */
int lw_choice_parts(const lw_knobs *knobs, const lw_choice *choice, double *labor);

/* ---- Searching: rejet_search.c -------------------------------------------------------------- */

extern const double lw_labor_worth; /* of error */

/* The best choices found, best first; no two change the same parts. Returns how many. */
size_t lw_rejet_search(lw_rejet_task *task, lw_choice *found, size_t most);

#endif
