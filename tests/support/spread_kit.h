/* spread_kit.h - tolerance studies of demo cars. For tests only. */
#ifndef LW_TESTS_SPREAD_KIT_H
#define LW_TESTS_SPREAD_KIT_H

#include "car_kit.h"

#include "leanward/guide.h"
#include "leanward/spread.h"

static inline lw_spread_ask spread_ask(const lw_test_car *car, size_t units) {
  lw_goal g = lw_goal_from(car->twin->card);
  lw_spread_goal goal = {.speed = g.speed,
                         .speed_within = g.speed_within,
                         .co = g.co,
                         .co_lo = g.co_lo,
                         .co_hi = g.co_hi,
                         .co_most = g.co_most,
                         .hc_most = g.hc_most,
                         .gear = g.gear};
  return lw_spread_asked(&goal, units);
}

/* Every tolerance this many times as wide. */
static inline void spread_all(lw_spread_ask *ask, double times) {
  for (int i = 0; i < LW_VARIES; i++)
    ask->times[i] = times;
}

static inline lw_spread_result spread_run(shop *s, const lw_test_car *car,
                                          const lw_spread_ask *ask) {
  lw_spread *spread = NULL;
  lw_spread_result result;
  shop_must(s, lw_spread_new(s->arena, car, ask, &spread, &s->error), "study");
  lw_spread_work(spread, 0, lw_spread_runs(spread));
  shop_must(s, lw_spread_finish(s->arena, spread, &result, &s->error), "result");
  return result;
}

/* Which of a result's dims this is. */
static inline size_t spread_dim(const lw_spread_result *r, lw_vary what) {
  for (size_t i = 0; i < r->dim_count; i++) {
    if (r->dims[i].what == what) return i;
  }
  fail_msg("this car has no %s", lw_vary_text(what));
  return 0;
}

#endif
