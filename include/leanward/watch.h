/* leanward/watch.h - the runs of `leanward watch` by their names: what the needles do while a hand
** moves the throttle (maneuver.h), with the usual speed, opening and time where none is given.
**
** Units    SI.
** Errors   those of car.h and maneuver.h; LW_BAD_INPUT for a quantity out of what a run can be given.
**          A stall is a result.
** Memory   the trace lies in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
*/
#ifndef LEANWARD_WATCH_H
#define LEANWARD_WATCH_H

#include "leanward/car.h"
#include "leanward/maneuver.h"

typedef enum lw_watch_kind {
  LW_WATCH_BLIP,
  LW_WATCH_TIP_IN,
  LW_WATCH_SNAP_SHUT,
  LW_WATCH_PUMP_SHOT,
  LW_WATCH_WARM_UP,
  LW_WATCH_STALL,
  LW_WATCH_KINDS
} lw_watch_kind;

/* "tip-in"; the list of all, LW_WATCH_KINDS long. */
const char *const *lw_watch_names(void);
/* LW_WATCH_KINDS: there is no such run. */
lw_watch_kind lw_watch_named(const char *name);

/* What to run. NaN: as usual. */
typedef struct lw_watch_ask {
  lw_watch_kind run;
  double speed;    /* tip-in, snap-shut: held (1,500 and 2,500 rpm) */
  double from, to; /* tip-in: share of the throttle (8 %, 40 %) */
  double within;   /* tip-in, pump-shot: s in which it opens (0.2) */
  double hold;     /* blip: s it is floored (0.3) */
  double cold;     /* warm-up: engine and air (20 degF) */
  double seconds;  /* warm-up (240) */
  double load;     /* stall: N m at the crankshaft (60) */
} lw_watch_ask;
/* All as usual. */
lw_watch_ask lw_watch_usual(lw_watch_kind run);

/* One of the quantities as a person writes it, with its unit. name: "speed", "from", "to", "within",
   "hold", "cold", "for", "load". */
lw_status lw_watch_set(lw_watch_ask *ask, lw_units *units, const char *name, const char *text,
                       lw_error *error) LW_MUST_USE;

/* Run it. car is the one to run; a warm-up puts the cold into its surroundings. */
lw_status lw_watch_run(lw_arena *arena, lw_test_car *car, const lw_watch_ask *ask, lw_maneuver *out,
                       lw_error *error) LW_MUST_USE;

#endif
