/* leanward/bench.h - the twin of a card, for runs on the bench. Maps, what-ifs and sizes from
** targets are to come.
**
** Units    SI.
** Errors   those of lw_net_build.
** Memory   results lie in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
*/
#ifndef LEANWARD_BENCH_H
#define LEANWARD_BENCH_H

#include "leanward/carb.h"

/* A network with its surroundings: what a what-if changes. */
typedef struct lw_twin {
  const lw_card *card; /* as changed */
  lw_net *net;
  double ambient, temperature; /* Pa, K */
} lw_twin;

/* The twin of a card at sea level, 20 degC. */
lw_status lw_twin_new(lw_arena *arena, const lw_card *card, lw_twin **twin,
                      lw_error *error) LW_MUST_USE;

#endif
