/* leanward/rejet.h - decide a change before metal is cut: which sizes bring the mixture back.
**
** Fuel, altitude, engine or air cleaner change, and the mixture with them. From a drawer of sizes
** (jets, rods, bleeds, feeds, power valves, the float) and the idle screws come the ways to bring
** the map back to what the card gave, or to targets: the fewest parts first. What is sealed is not
** touched. A quick additive model looks through the drawer; what it finds is run, improved and
** judged on the twin, so that no figure of a proposal is interpolated.
**
** Units    SI; screws in turns, + is outward; errors are relative ones of lambda, + is leaner.
** Errors   those of lw_test_car_what_if; LW_BAD_INPUT for parts nobody knows, LW_NO_CONVERGENCE when
**          the original's map cannot be had.
** Memory   results lie in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
** Source   docs/rejet.md: what is compared where, how it is ranked, what is ours.
*/
#ifndef LEANWARD_REJET_H
#define LEANWARD_REJET_H

#include "leanward/car.h"

enum {
  LW_REJET_PARTS_MOST = 6,   /* changed in one proposal */
  LW_REJET_CHANGES_MOST = 8, /* sizes: a rod has two */
  LW_REJET_EDITS_MOST = 24,
  LW_REJET_PROPOSALS = 12,
  LW_DRAWER_SIZES_MOST = 64 /* of one part */
};

/* ---- The drawer ----------------------------------------------------------------------------- */

typedef struct lw_rod_said {
  double economy, power; /* m */
  int line;
} lw_rod_said;

/* Sizes at hand, for primary and secondary barrels alike; what is fitted is at hand as well. A part
   without sizes stays as it is. */
typedef struct lw_drawer {
  lw_values main_jet, main_bleed, power_jet, idle_feed, idle_bleed, second_idle_bleed; /* m */
  lw_values idle_restriction;                                                          /* m */
  lw_values power_valve; /* Pa: vacuum under which it is open */
  lw_values float_level; /* m the fuel may be set higher (+) or lower (-) */
  lw_list rods;          /* of lw_rod_said */
  int line;
} lw_drawer;

const lw_table *lw_drawer_table(void);
/* text: the bytes of a YAML file; bind->file names it in errors. Errors are those of doc.h. */
lw_status lw_drawer_read(const lw_bind *bind, const char *text, size_t length, lw_drawer **drawer,
                         lw_error *error) LW_MUST_USE;

/* ---- What is asked -------------------------------------------------------------------------- */

typedef struct lw_rejet_ask {
  const lw_drawer *drawer; /* NULL: whole thousandths of an inch about what is fitted, power valves
                              by half an inch of mercury, the fuel by 1/64 in (docs/rejet.md) */
  const char *const *keep; /* parts that stay: "idle feed", "float level", "secondary main jet" */
  size_t keep_count;
  int parts_most;           /* changed in one proposal, 0 (screws alone) to LW_REJET_PARTS_MOST */
  double lambda[LW_PLACES]; /* wanted there; NaN: as in the original */
  double afr[LW_PLACES];    /* the same in air over the fuel that is burned; NaN: see lambda */
} lw_rejet_ask;

/* Up to four parts, nothing kept, no targets, the usual drawer. */
lw_rejet_ask lw_rejet_ask_usual(void);

/* ---- The answer ----------------------------------------------------------------------------- */

typedef struct lw_rejet_place {
  lw_place place;
  size_t points;                      /* compared; 0: none lie here */
  size_t lost;                        /* not among those: no mixture found, or no fuel */
  double mean, error, worst;          /* error: root of the mean square */
  double worst_speed, worst_throttle; /* where */
} lw_rejet_place;

typedef struct lw_rejet_fit {
  lw_rejet_place places[LW_PLACES]; /* coasting is not compared: it is idle's circuit */
  double error;                     /* root of the mean square of the places' errors */
  double furthest;                  /* the largest of the places' errors */
  size_t lost;
} lw_rejet_fit;

/* The warm engine held at the card's idle speed with its speed screw. */
typedef struct lw_rejet_idle {
  bool solved; /* else why says what went wrong */
  char why[120];
  double turn;          /* of every mixture screw from where it stands, + outward */
  bool short_of_travel; /* a stop was met before the mixture was back */
  double speed, throttle, vacuum, co, lambda;
  int side; /* of CO against the card's band: -1 under, 0 inside or no band, +1 over */
} lw_rejet_idle;

typedef struct lw_rejet_change {
  const char *name; /* "main jet", "secondary idle feed", "power valve", "float level" */
  lw_dim dim;
  double from, to;
  int part; /* both steps of a rod have one number */
} lw_rejet_change;

typedef struct lw_proposal {
  size_t part_count, change_count;
  lw_rejet_change changes[LW_REJET_CHANGES_MOST];
  double labor; /* 1 for what screws in or is bent, 2 for what is pressed in or drilled */
  lw_rejet_idle idle;
  lw_rejet_fit fit;
  double score; /* the error, and a quarter percent for each labor */
  bool within;  /* every place's error is within LW_REJET_WITHIN, no point lost */
  const char *edits[LW_REJET_EDITS_MOST]; /* for lw_what_if on the changed twin */
  size_t edit_count;
  const lw_twin *twin; /* with all that in force */
} lw_proposal;

#define LW_REJET_WITHIN  0.02
#define LW_REJET_NOTHING 0.005 /* nothing is to be done for less */

typedef struct lw_rejet {
  const lw_test_car *original, *changed;
  lw_rejet_idle before; /* the original's idle */
  lw_range band;        /* CO the card asks for at idle; not known: none */
  double co_wanted;     /* the original's, brought into the band; NaN: lambda is wanted */
  bool to_target;
  lw_proposal nothing; /* changed, and nothing done */
  bool nothing_to_do;
  size_t count;
  const lw_proposal *proposals; /* those within first, then by score */
  lw_range turns;               /* all screws can turn together; not known: none turns */
  size_t part_count;            /* that could be changed */
  const char *const *left_out;  /* "idle feed: sealed" */
  size_t left_out_count;
  size_t points, runs; /* compared; networks run over them */
} lw_rejet;

/* edits: what changes, as in lw_test_car_what_if (at least one). */
lw_status lw_rejet_run(lw_arena *arena, lw_units *units, const lw_test_car *original,
                       const char *const *edits, size_t count, const lw_rejet_ask *ask,
                       lw_rejet **out, lw_error *error) LW_MUST_USE;

#endif
