/* leanward/brief.h - what changed between two units or two model years, and what that does.
**
** Two spec cards are held against each other. Each difference says what the person adjusting now
** does and no longer does, with the figures of both cards and the lines they stand on, and is sized
** on the twin: what it does by itself, what the screws reach before and after, the mixture over the
** range, and what happens when the other unit is fitted.
**
** Units    SI; screw positions in turns out from lightly seated. Texts are in shop units.
** Errors   LW_NO_MEMORY; LW_BAD_INPUT where two folders have no unit in common. A card whose twin
**          cannot be run is a result: its numbers are missing, and gaps says why.
** Memory   results lie in the caller's arena, which the cards must outlive.
** Threads  pure functions; one lw_units for each thread.
** Source   the consequences are common practice, no source; the numbers are the twin's (engine.h,
**          carb.h, motion.h). docs/brief.md says how each is made.
*/
#ifndef LEANWARD_BRIEF_H
#define LEANWARD_BRIEF_H

#include "leanward/car.h"

/* ---- What differs ---------------------------------------------------------------------------- */

/* By what it means for the person adjusting, most first. */
#define LW_BRIEF_GROUP_LIST(X)                                                                     \
  X(LW_BRIEF_SCREWS, "Mixture and speed screws")                                                   \
  X(LW_BRIEF_SEALED, "Sealed parts")                                                               \
  X(LW_BRIEF_IDLE, "Idle setting")                                                                 \
  X(LW_BRIEF_TIMING, "Timing and advance")                                                         \
  X(LW_BRIEF_DEVICES, "Devices")                                                                   \
  X(LW_BRIEF_LIMITS, "Limits")                                                                     \
  X(LW_BRIEF_CHECKS, "Checks of the engine")                                                       \
  X(LW_BRIEF_BENCH, "Set on the bench: float, choke, pump")                                        \
  X(LW_BRIEF_SIZES, "Sizes inside")                                                                \
  X(LW_BRIEF_OTHER, "Other")
typedef enum lw_brief_group {
#define LW_BRIEF_GROUP_ENUM(id, name) id,
  LW_BRIEF_GROUP_LIST(LW_BRIEF_GROUP_ENUM)
#undef LW_BRIEF_GROUP_ENUM
      LW_BRIEF_GROUPS
} lw_brief_group;
const char *lw_brief_group_text(lw_brief_group group);

/* A card with the document it was read from; root NULL: no lines can be named. */
typedef struct lw_brief_side {
  const lw_card *card;
  const lw_node *root;
} lw_brief_side;

typedef struct lw_brief_figure {
  const char *text; /* NULL: the card does not say */
  int line;         /* of the card; 0: not known */
} lw_brief_figure;

/* One difference done alone to the first card's car: idle stop and trim stay, nobody sets anything
   after. Only what the twin feels is run. */
typedef struct lw_brief_alone {
  bool run, stalls;
  double speed;             /* change of the idle speed, rad/s */
  double co;                /* change of CO at idle, mole fraction */
  double idle;              /* change of lambda at idle, relative */
  double places[LW_PLACES]; /* the same on a level road, mean of each place; NaN: no point there */
} lw_brief_alone;

typedef struct lw_brief_item {
  lw_brief_group group;
  const char *what; /* "kind of mixture screw" */
  lw_brief_figure before, after;
  const char *act;  /* what to do now and what no longer; NULL: nothing is done differently */
  const char *why;  /* what it does; NULL: nothing is known */
  const char *size; /* how much, from the twin; NULL: not run */
  bool method;      /* how it is done changed, not only its figure */
  bool interchange; /* by itself keeps one unit from standing in for the other */
  bool common;      /* told for the whole year, see lw_brief_year */
  lw_brief_alone alone;
} lw_brief_item;

/* ---- What the screws reach ------------------------------------------------------------------- */

/* A span of turns; lo NaN: there is none. */
typedef struct lw_brief_window {
  double lo, hi;
} lw_brief_window;

/* An engine at idle with a unit on it, all mixture screws turned alike. */
typedef struct lw_brief_reach {
  bool run;                         /* else why says what is missing, and the rest is empty */
  const char *why;                  /* NULL when run */
  bool trimmed;                     /* the engine meets its card's idle (engine.h) */
  bool screws;                      /* there is one to turn */
  lw_idle_point left;               /* as the card has it, the speed screw where it stands */
  lw_idle_point set;                /* the same with the speed set to the engine's card */
  double turns;                     /* where the screws then stand; NaN: no screw */
  double turns_lo, turns_hi;        /* travel */
  double co_lo, co_hi;              /* speed kept, over the travel */
  double speed_lo, speed_hi;        /* speed screw left alone, rad/s; where it keeps running */
  bool dies;                        /* somewhere in the travel it does not keep running */
  double co_per_turn;               /* mole fraction a turn, about where the screws stand */
  lw_brief_window target;           /* turns with CO in the band of the engine's card */
  lw_brief_window limits;           /* turns inside every limit on CO and HC at idle */
  const lw_idle_curve *kept, *free; /* the curves; NULL: none */
} lw_brief_reach;

/* ---- The wrong unit -------------------------------------------------------------------------- */

/* What the twin says when a unit is fitted to an engine it does not belong on. */
typedef enum lw_brief_fits {
  LW_FITS_UNKNOWN,  /* it could not be run */
  LW_FITS,          /* idles as specified with its screws at their presets, speed set */
  LW_FITS_BY_SCREW, /* only after its screws were turned */
  LW_FITS_NOT       /* its screws do not reach the target, or it does not keep running */
} lw_brief_fits;

typedef struct lw_brief_swap {
  const lw_card *unit, *engine; /* whose carburetor, on whose engine */
  lw_brief_fits answer;
  lw_brief_reach reach;
  const char *words;
} lw_brief_swap;

/* The foot comes off at 2,500 rpm in neutral (maneuver.h). */
typedef struct lw_brief_snap {
  bool run, stalled;
  double fall_time;        /* s for the speed to fall */
  double distributor_fall; /* s for the vacuum at the distributor to fall */
  double hc_most, leanest, richest;
} lw_brief_snap;

/* ---- Two units ------------------------------------------------------------------------------- */

typedef struct lw_brief {
  lw_brief_side before, after;
  const char *title;          /* "CW-1M (1968) to CW-2M (1969): Corran 220 six, manual" */
  const lw_brief_item *items; /* in order of group */
  size_t item_count;
  lw_brief_reach reach[2]; /* before, after */
  lw_brief_snap snap[2];
  const lw_map *grid[2]; /* air-fuel ratio over throttle and speed, the same axes; NULL: not run */
  const lw_comparison *road; /* after against before, along a level road; NULL: not run */
  lw_brief_swap swap[2];     /* the first unit on the second's engine, and the other way round */
  bool interchanges;         /* nothing was found that speaks against it */
  const char *verdict;       /* one sentence */
  const char *const *evidence;
  size_t evidence_count;
  const char *const *gaps; /* what could not be said, and why */
  size_t gap_count;
} lw_brief;

lw_status lw_brief_pair(lw_arena *arena, lw_units *units, lw_brief_side before, lw_brief_side after,
                        lw_brief **brief, lw_error *error) LW_MUST_USE;

/* ---- A model year ---------------------------------------------------------------------------- */

/* A difference that most units share, word for word; or a procedure that changed. */
typedef struct lw_brief_shared {
  const lw_brief_item *item; /* of one of the units */
  const size_t *units;       /* indices into lw_brief_year.units, rising */
  size_t count;
} lw_brief_shared;

typedef struct lw_brief_year {
  int before, after;      /* model years; 0: cards do not say or disagree */
  lw_brief *const *units; /* in order of engine, package, transmission */
  size_t unit_count;
  const lw_brief_swap *const *siblings; /* for each unit: that of the other transmission, of the
                                           same year, on its engine; NULL: there is none */
  const lw_card *const *dropped, *const *added;
  size_t dropped_count, added_count;
  const lw_brief_shared *common; /* shared by two thirds of the units, and by two at least */
  size_t common_count;
  const lw_brief_shared *procedures; /* each thing done differently, with the units it is for */
  size_t procedure_count;
} lw_brief_year;

/* "all units", "all but CW-1X", "CW-1M, CW-2M (manual)" into buffer. Returns buffer. */
const char *lw_brief_units_text(const lw_brief_year *year, const lw_brief_shared *shared,
                                char *buffer, size_t size);
/* "CW-1M: Corran 220 six, manual, idle control set E69" into buffer. Returns buffer. */
const char *lw_brief_card_text(const lw_card *card, char *buffer, size_t size);
/* "from 1 1/2 turns to 1 3/4 turns out" into buffer. Returns buffer. */
const char *lw_brief_window_text(lw_brief_window window, char *buffer, size_t size);

/* Pair the units of two years: the same number, else the same engine, transmission and emission
   package (its digits aside), else what is left of an engine, transmission and package up to its
   comma when only one is on each side. The rest was dropped or added. */
typedef struct lw_brief_years_ask {
  const lw_brief_side *before, *after;
  size_t before_count, after_count;
  void (*progress)(void *to, size_t done, size_t all); /* units; NULL: nobody watches */
  void *to;
} lw_brief_years_ask;
lw_status lw_brief_years(lw_arena *arena, lw_units *units, const lw_brief_years_ask *ask,
                         lw_brief_year **year, lw_error *error) LW_MUST_USE;

#endif
