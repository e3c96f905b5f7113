/* leanward/bench.h - runs of the twin: maps, what-ifs, and sizes worked out from targets.
**
** Units    SI.
** Errors   LW_BAD_INPUT for a what-if that is not known (with the nearest name), LW_NO_CONVERGENCE
** with the worst balance where a run cannot be had.
** Memory   results lie in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
*/
#ifndef LEANWARD_BENCH_H
#define LEANWARD_BENCH_H

#include "leanward/carb.h"

/* ---- What-ifs ------------------------------------------------------------------------------- */

/* A network with its surroundings: what a what-if changes. */
typedef struct lw_twin {
  const lw_card *card; /* as changed */
  lw_net *net;
  double ambient, temperature; /* Pa, K */
} lw_twin;

/* The twin of a card at sea level, 20 degC. */
lw_status lw_twin_new(lw_arena *arena, const lw_card *card, lw_twin **twin,
                      lw_error *error) LW_MUST_USE;

/* A changed copy. Each edit is NAME=VALUE as a person writes it: "main jet=0.061 in", "float
   level=+2 mm", "altitude=1600 m", "fuel=E10", "left screw=-1/4 turn", faults such as "vacuum
   leak=2 mm", "idle bleed=plugged". A signed value is a change, an unsigned one a new size. Idle
   stops stay where they are. lw_what_ifs lists the names. */
lw_status lw_what_if(lw_arena *arena, lw_units *units, const lw_twin *from,
                     const char *const *edits, size_t count, lw_twin **changed,
                     lw_error *error) LW_MUST_USE;

typedef struct lw_what_if_name {
  const char *name, *values, *what; /* "vacuum leak", "mm, in", "a hole into the manifold" */
  bool fault;
} lw_what_if_name;
const lw_what_if_name *lw_what_ifs(size_t *count);

/* ---- Maps ----------------------------------------------------------------------------------- */

typedef struct lw_map_point {
  double throttle, speed;
  lw_report report; /* read it before the point */
  double air, fuel, afr, lambda, manifold;
  double by_circuit[LW_CIRCUITS];
} lw_map_point;

typedef struct lw_map {
  size_t throttles, speeds;
  const double *throttle, *speed; /* axes */
  const lw_map_point *points;     /* row by row: speed outer, throttle inner */
  size_t failed;                  /* points that did not converge */
} lw_map;

/* Solve every point of a grid, each warm from its neighbor. */
lw_status lw_map_run(lw_arena *arena, const lw_twin *twin, const double *throttle, size_t throttles,
                     const double *speed, size_t speeds, lw_map **map, lw_error *error) LW_MUST_USE;

/* ---- Sizes from targets ---------------------------------------------------------------------- */

typedef struct lw_target {
  const char *name;               /* "idle", "off idle", "cruise", "full throttle" */
  double speed, throttle, vacuum; /* rad/s; throttle NaN: found for the vacuum (Pa) */
  double afr, weight;
  double met; /* what the completed unit gives */
} lw_target;

typedef struct lw_inferred_size {
  const char *key; /* "carburetor, primary, main jet" */
  double value;    /* m */
  bool at_bound;
} lw_inferred_size;

typedef struct lw_completed {
  lw_card *card; /* with every size a builder needs */
  lw_inferred_size *sizes;
  size_t size_count;
  lw_target *targets;
  size_t target_count;
  double worst; /* largest |afr/target - 1| */
} lw_completed;

/* Fill the sizes a card lacks (jets, bleeds, feeds, port, slot) so that the unit meets its targets,
   by bounded least squares on the twin. targets NULL: idle by the card, cruise 15.5, full throttle
   12.7. Sizes the card gives are kept. */
lw_status lw_card_complete(lw_arena *arena, const lw_card *card, const lw_target *targets,
                           size_t count, lw_completed **out, lw_error *error) LW_MUST_USE;

#endif
