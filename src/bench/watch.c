/* watch.c - the runs of `leanward watch` by their names. */
#include "leanward/watch.h"

#include <math.h>
#include <string.h>

#define RPM  0.10471975511965977 /* rad/s of an rpm */
#define COLD 266.48              /* K, 20 degF */

static const char *const names[LW_WATCH_KINDS] = {"blip",      "tip-in",  "snap-shut",
                                                  "pump-shot", "warm-up", "stall"};

const char *const *lw_watch_names(void) {
  return names;
}

lw_watch_kind lw_watch_named(const char *name) {
  int i = 0;
  while (i < LW_WATCH_KINDS && strcmp(names[i], name) != 0)
    i++;
  return (lw_watch_kind)i;
}

lw_watch_ask lw_watch_usual(lw_watch_kind run) {
  return (lw_watch_ask){run,     LW_NONE, LW_NONE, LW_NONE, LW_NONE,
                        LW_NONE, LW_NONE, LW_NONE, LW_NONE};
}

lw_status lw_watch_set(lw_watch_ask *ask, lw_units *units, const char *name, const char *text,
                       lw_error *error) {
  const struct {
    const char *name;
    double *to;
    lw_dim dim;
    double lo, hi;
  } all[] = {
      {"speed", &ask->speed, LW_SPIN, 60, 700}, {"from", &ask->from, LW_SHARE, 0, 1},
      {"to", &ask->to, LW_SHARE, 0, 1},         {"within", &ask->within, LW_TIME, 0.01, 20},
      {"hold", &ask->hold, LW_TIME, 0.05, 10},  {"cold", &ask->cold, LW_TEMPERATURE, 233, 323},
      {"for", &ask->seconds, LW_TIME, 5, 1800}, {"load", &ask->load, LW_RATIO, 1, 1000}};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    double x = LW_NONE;
    if (strcmp(all[i].name, name) != 0) continue;
    lw_status status = lw_quantity_read(units, all[i].dim, text, &x, error);
    if (status != LW_OK) return status;
    *all[i].to = x;
    if (x >= all[i].lo && x <= all[i].hi) return LW_OK;
    return lw_fail(error, LW_BAD_INPUT, "'%s' is more or less than this run can be given", text);
  }
  return lw_fail(error, LW_BAD_INPUT, "no run takes a quantity named '%s'", name);
}

static double or_else(double given, double usual) {
  return lw_known(given) ? given : usual;
}

static lw_status drive(lw_arena *arena, lw_motion *m, const lw_test_car *car, const lw_watch_ask *a,
                       lw_maneuver *out, lw_error *error) {
  switch (a->run) {
  case LW_WATCH_BLIP: return lw_run_blip(arena, m, or_else(a->hold, 0.3), out, error);
  case LW_WATCH_TIP_IN:
    return lw_run_tip(arena, m, or_else(a->speed, 1500 * RPM), or_else(a->from, 0.08),
                      or_else(a->to, 0.40), or_else(a->within, 0.2), out, error);
  case LW_WATCH_SNAP_SHUT: {
    const lw_control_valve *valve = &car->twin->card->engine.control_valve;
    return lw_run_snap_shut(arena, m, or_else(a->speed, 2500 * RPM), valve->set_vacuum, out, error);
  }
  case LW_WATCH_PUMP_SHOT: return lw_run_pump_shot(arena, m, or_else(a->within, 0.2), out, error);
  case LW_WATCH_WARM_UP:
    return lw_run_warm_up(arena, m, or_else(a->cold, COLD), or_else(a->seconds, 240), out, error);
  case LW_WATCH_STALL: return lw_run_stall(arena, m, or_else(a->load, 60), out, error);
  case LW_WATCH_KINDS: break;
  }
  return lw_fail(error, LW_BAD_INPUT, "there is no such run");
}

lw_status lw_watch_run(lw_arena *arena, lw_test_car *car, const lw_watch_ask *ask, lw_maneuver *out,
                       lw_error *error) {
  lw_motion *motion = NULL;
  if (ask->run == LW_WATCH_WARM_UP) car->around.temperature = or_else(ask->cold, COLD);
  lw_status status = lw_test_car_motion(car, &motion, error);
  if (status == LW_OK) status = drive(arena, motion, car, ask, out, error);
  lw_motion_free(motion);
  return status;
}
