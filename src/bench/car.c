/* car.c - a car from a card, and its idle against each screw. */
#include "bench_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double stop_range = 1.5; /* turns of the speed screw, each way */

lw_status lw_test_car_new(lw_arena *arena, const lw_card *card, lw_test_car **out,
                          lw_error *error) {
  lw_test_car *car = lw_arena_alloc(arena, sizeof *car);
  lw_twin *twin = NULL;
  if (!car) return lw_fail(error, LW_NO_MEMORY, "no memory for this car");
  lw_status status = lw_twin_new(arena, card, &twin, error);
  if (status != LW_OK) return status;
  car->twin = twin;
  car->around = lw_surroundings_standard();
  car->devices = (lw_device_change){.pump = 1, .dashpot_time = LW_NONE, .advance_release = LW_NONE};
  status = lw_engine_new(arena, card, twin->net, &car->engine, &car->trimmed, error);
  if (status == LW_OK) *out = car;
  return status;
}

lw_status lw_test_car_motion(const lw_test_car *car, lw_motion **motion, lw_error *error) {
  const double far = 1e9; /* s: heat that does not come */
  const lw_device_change *c = &car->devices;
  const lw_twin *twin = car->twin;
  lw_devices d;
  lw_status status = lw_devices_usual(car->engine, twin->net, twin->card, &car->around, &d, error);
  if (status != LW_OK) return status;
  d.pump_volume *= c->pump;
  if (c->no_dashpot) d.dashpot_touch = 0;
  if (lw_known(c->dashpot_time)) d.dashpot_time = c->dashpot_time;
  if (lw_known(c->advance_release)) d.release_lag = c->advance_release;
  if (c->choke_cold) d.choke_heat = far;
  return lw_motion_new(car->engine, twin->net, twin->card, &car->around, &d, motion, error);
}

/* ---- one point ---- */

typedef struct sweep {
  lw_arena *arena;
  lw_units *units;
  const lw_test_car *car;
  lw_idle_table *table;
  lw_state state; /* of the point before */
} sweep;

static double speed_load(const sweep *s, double speed) {
  return s->table->gear == LW_LOAD_DRIVE ? s->car->engine->converter * speed * speed : 0;
}

static void run_point(sweep *s, const lw_test_car *car, lw_idle_point *p) {
  lw_error error = {0};
  const lw_idle_table *t = s->table;
  lw_status status = t->hold == LW_HOLD_SPEED
                         ? lw_engine_hold(car->engine, car->twin->net, &car->around, t->speed,
                                          speed_load(s, t->speed), &s->state, &p->run, &error)
                         : lw_engine_idle(car->engine, car->twin->net, &car->around, 0, t->gear,
                                          &s->state, &p->run, &error);
  p->solved = status == LW_OK && !p->run.stalled;
  if (p->solved) return;
  snprintf(p->why, sizeof p->why, "%.110s", status == LW_OK ? "it stalls" : error.text);
}

/* The car with one edit more; its faults are the point's. It lives no longer than its point. */
static void run_edited(sweep *s, const char *edit, lw_idle_point *p) {
  lw_error error = {0};
  lw_test_car *car = NULL;
  lw_arena *own = lw_arena_new(0);
  if (!own) {
    snprintf(p->why, sizeof p->why, "no memory for this point");
  } else if (lw_test_car_what_if(own, s->units, s->car, &edit, 1, &car, &error) != LW_OK) {
    snprintf(p->why, sizeof p->why, "%.110s", error.text);
  } else {
    run_point(s, car, p);
  }
  lw_arena_free(own);
}

static void find_fastest(lw_idle_curve *c) {
  c->fastest = c->count;
  for (size_t i = 0; i < c->count; i++) {
    if (!c->points[i].solved) continue;
    if (c->fastest == c->count ||
        c->points[i].run.setting.speed > c->points[c->fastest].run.setting.speed)
      c->fastest = i;
  }
}

/* ---- one screw ---- */

/* name: as in an edit ("left screw", "screws"). change: turns count from where it stands. */
static lw_status curve_over(sweep *s, const char *name, bool change, double lo, double hi,
                            size_t count, lw_idle_curve *c) {
  lw_idle_point *points = lw_arena_array(s->arena, count, sizeof *points);
  c->screw = lw_arena_print(s->arena, "%s", name);
  if (!points || !c->screw) return LW_NO_MEMORY;
  lw_state start = s->state;
  for (size_t i = 0; i < count; i++) {
    char edit[160];
    double turns = lo + (hi - lo) * (double)i / (double)(count - 1);
    points[i].turns = turns;
    snprintf(edit, sizeof edit, "%s=%s%.6f turns", name, change && turns >= 0 ? "+" : "", turns);
    run_edited(s, edit, &points[i]);
  }
  s->state = start;
  c->points = points;
  c->count = count;
  find_fastest(c);
  return LW_OK;
}

static lw_range travel_of(const lw_screw_card *screw) {
  lw_range t = screw->travel;
  double preset = lw_edit_screw_now(screw);
  if (!lw_known(t.lo)) t.lo = 0;
  if (!lw_known(t.hi)) t.hi = fmax(2 * preset, preset + 2);
  return t;
}

static lw_status screws_of(sweep *s, size_t points, lw_idle_curve *curves, size_t *count) {
  const lw_list *list = &s->car->twin->card->carburetor.screws;
  const lw_screw_card *screw = list->items;
  lw_status status = LW_OK;
  double lo = 0, hi = INFINITY, now = LW_NONE;
  size_t turned = 0;
  for (size_t i = 0; i < list->count && status == LW_OK; i++) {
    char name[96];
    if (screw[i].kind == LW_SCREW_FIXED) continue;
    lw_range t = travel_of(&screw[i]);
    lw_idle_curve *c = &curves[(*count)++];
    c->kind = screw[i].kind;
    c->now = lw_edit_screw_now(&screw[i]);
    lo = fmax(lo, t.lo);
    hi = fmin(hi, t.hi);
    now = c->now;
    turned++;
    status = curve_over(s, lw_edit_screw_name(name, sizeof name, &screw[i]), false, t.lo, t.hi,
                        points, c);
  }
  if (turned < 2 || status != LW_OK || !(hi > lo)) return status;
  lw_idle_curve *all = &curves[(*count)++];
  all->now = now;
  return curve_over(s, "screws", false, lo, hi, points, all);
}

lw_status lw_idle_sweep(lw_arena *arena, lw_units *units, const lw_test_car *car, lw_gear_load gear,
                        lw_idle_hold hold, size_t points, lw_idle_table **out, lw_error *error) {
  size_t most = car->twin->card->carburetor.screws.count + 2, count = 0;
  lw_idle_table *t = lw_arena_alloc(arena, sizeof *t);
  lw_idle_curve *curves = lw_arena_array(arena, most, sizeof *curves);
  if (!t || !curves) return lw_fail(error, LW_NO_MEMORY, "no memory for this idle table");
  const lw_idle_card *said = &car->twin->card->idle;
  bool drive = gear == LW_LOAD_DRIVE && lw_range_known(said->speed_drive);
  *t = (lw_idle_table){.hold = hold, .gear = gear};
  t->speed = drive ? lw_range_middle(said->speed_drive) : car->engine->speed_hot;
  sweep s = {arena, units, car, t, {0}};
  run_point(&s, car, &t->now);
  t->now.turns = LW_NONE;
  lw_status status = screws_of(&s, points < 3 ? 3 : points, curves, &count);
  if (status == LW_OK && hold == LW_HOLD_STOP) {
    lw_idle_curve *c = &curves[count++];
    c->now = 0;
    double shut = -car->twin->net->barrels[0].stop / lw_stop_per_turn; /* no further in */
    status =
        curve_over(&s, "idle stop", true, fmax(-stop_range, 0.999 * shut), stop_range, points, c);
    c->screw = "speed screw";
  }
  if (status != LW_OK) return lw_fail(error, status, "no memory for this idle table");
  t->curves = curves;
  t->curve_count = count;
  *out = t;
  return LW_OK;
}
