/* motion_maneuver.c - ready-made runs: driven step by step, looked at every step, summed up. */
#include "motion_internal.h"

#include "leanward/maneuver.h"

#include <math.h>
#include <string.h>

enum { POINTS_MOST = 4000 };

typedef struct run {
  lw_arena *arena;
  lw_motion *motion;
  lw_trace_point *points;
  size_t count;
  lw_error *error;
  lw_status status;
} run;

/* ---- the trace ---- */

static lw_trace_point point_of(const lw_look *l) {
  const lw_gases *dry = &l->burned.exhaust.dry;
  return (lw_trace_point){
      .time = l->time,
      .speed = l->speed,
      .vacuum = l->vacuum,
      .throttle = l->throttle,
      .road_speed = l->road_speed,
      .air_in = l->air_in,
      .air_out = l->air_out,
      .metered = l->metered,
      .pumped = l->pumped,
      .lambda_metered = l->lambda_metered,
      .lambda_cylinders = l->lambda_cylinders,
      .film = l->film[0] + l->film[1],
      .timing = l->timing,
      .distributor_vacuum = l->distributor_vacuum,
      .torque = l->torque,
      .misfire = l->burned.misfire,
      .co = dry->co,
      .co2 = dry->co2,
      .hc = dry->hc / 6,
      .o2 = dry->o2,
      .no = dry->no,
      .hc_flow = l->burned.hc,
      .bowl_level = l->bowl_level,
      .power = l->power,
      .valve = l->valve,
      .diaphragm = l->diaphragm,
      .dashpot = l->dashpot,
      .choke = l->choke,
      .cam = l->cam,
      .coolant = l->coolant,
  };
}

static void look(run *r) {
  lw_look l;
  if (r->status == LW_OK && r->count < POINTS_MOST) {
    r->status = lw_motion_look(r->motion, &l, r->error);
    if (r->status == LW_OK) r->points[r->count++] = point_of(&l);
  }
}

static void go(run *r, double seconds, double every) {
  long steps = lround(ceil(seconds / every - 1e-9));
  for (long i = 0; i < steps && r->status == LW_OK; i++) {
    r->status = lw_motion_advance(r->motion, seconds / (double)steps, r->error);
    look(r);
  }
}

static run begin(lw_arena *arena, lw_motion *m, lw_error *error) {
  run r = {.arena = arena, .motion = m, .error = error};
  r.points = lw_arena_array(arena, POINTS_MOST, sizeof *r.points);
  r.status = r.points ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no memory for the trace");
  return r;
}

static void pedal(run *r, double to, double within) {
  lw_controls c = *lw_motion_controls(r->motion);
  c.pedal = to;
  c.pedal_rate = within > 0 ? fmax(fabs(to - r->motion->controls.pedal), 1e-3) / within : 20;
  lw_motion_control(r->motion, &c);
}

static void key(run *r, bool starter) {
  lw_controls c = *lw_motion_controls(r->motion);
  c.starter = starter;
  lw_motion_control(r->motion, &c);
}

/* ---- the figures ---- */

static lw_maneuver nothing(void) {
  return (lw_maneuver){.moved = NAN,
                       .lean_dip = NAN,
                       .lean_time = NAN,
                       .rich_dip = NAN,
                       .leanest = NAN,
                       .richest = NAN,
                       .vacuum_before = NAN,
                       .vacuum_least = NAN,
                       .vacuum_most = NAN,
                       .speed_most = NAN,
                       .speed_end = NAN,
                       .fall_time = NAN,
                       .distributor_fall = NAN,
                       .hc_most = NAN,
                       .hc_mass = NAN,
                       .misfire_most = NAN,
                       .pump_mass = NAN,
                       .pump_time = NAN,
                       .started = NAN,
                       .choke_opened = NAN,
                       .fast_idle = NAN};
}

static void extremes(const run *r, size_t from, lw_maneuver *o) {
  o->vacuum_least = INFINITY;
  o->vacuum_most = o->speed_most = o->hc_most = o->misfire_most = -INFINITY;
  o->hc_mass = 0;
  for (size_t i = from; i < r->count; i++) {
    const lw_trace_point *p = &r->points[i];
    o->vacuum_least = fmin(o->vacuum_least, p->vacuum);
    o->vacuum_most = fmax(o->vacuum_most, p->vacuum);
    o->speed_most = fmax(o->speed_most, p->speed);
    o->hc_most = fmax(o->hc_most, p->hc);
    o->misfire_most = fmax(o->misfire_most, p->misfire);
    if (i > from) o->hc_mass += 0.5 * (p->hc_flow + p[-1].hc_flow) * (p->time - p[-1].time);
  }
}

/* Lambda against where it was and where it comes to rest. */
static void dips(const run *r, size_t from, lw_maneuver *o) {
  double before = r->points[from].lambda_cylinders;
  double after = r->points[r->count - 1].lambda_cylinders;
  double lean = fmax(before, after), rich = fmin(before, after);
  o->leanest = lean;
  o->richest = rich;
  o->lean_time = 0;
  for (size_t i = from; i < r->count; i++) {
    double at = r->points[i].lambda_cylinders;
    o->leanest = fmax(o->leanest, at);
    o->richest = fmin(o->richest, at);
    if (i > from && at > lean + 0.05) o->lean_time += r->points[i].time - r->points[i - 1].time;
  }
  o->lean_dip = o->leanest - lean;
  o->rich_dip = rich - o->richest;
}

/* When the last point that is not `under` has passed. */
static double settled(const run *r, size_t from, double limit, size_t member) {
  double last = NAN;
  for (size_t i = r->count; i-- > from;) {
    const char *p = (const char *)&r->points[i];
    if (*(const double *)(const void *)(p + member) > limit) break;
    last = r->points[i].time - r->points[from].time;
  }
  return last;
}

static void pumped(const run *r, size_t from, lw_maneuver *o) {
  double sum = 0, so_far = 0;
  for (int pass = 0; pass < 2; pass++) {
    so_far = 0;
    for (size_t i = from + 1; i < r->count; i++) {
      const lw_trace_point *p = &r->points[i];
      so_far += 0.5 * (p->pumped + p[-1].pumped) * (p->time - p[-1].time);
      if (pass && so_far <= 0.9 * sum) o->pump_time = p->time - r->points[from].time;
    }
    sum = so_far;
  }
  o->pump_mass = sum;
}

static lw_status finish(const run *r, size_t from, lw_maneuver *o) {
  if (r->status != LW_OK) return r->status;
  size_t end = r->count - 1;
  o->points = r->points;
  o->count = r->count;
  o->event_count = lw_motion_events(r->motion, &o->events);
  lw_event *kept = lw_arena_array(r->arena, o->event_count + 1, sizeof *kept);
  if (!kept) return lw_fail(r->error, LW_NO_MEMORY, "no memory for the events");
  memcpy(kept, o->events, o->event_count * sizeof *kept);
  o->events = kept;
  o->moved = r->points[from].time;
  o->vacuum_before = r->points[from].vacuum;
  o->speed_end = r->points[end].speed;
  extremes(r, from, o);
  dips(r, from, o);
  o->fall_time = settled(r, from, 1.1 * o->speed_end, offsetof(lw_trace_point, speed));
  for (size_t i = 0; i < o->event_count; i++) {
    if (kept[i].kind != LW_EVENT_STALLED || o->stalled) continue;
    o->stalled = true;
    o->cause = kept[i].cause;
  }
  return LW_OK;
}

/* A run tells what it is for; what would only be a zero, or a reading of something else, is left
   out. */
static void no_flat_spot(lw_maneuver *o) {
  o->lean_dip = o->lean_time = o->rich_dip = NAN;
}

static void pump_alone(lw_maneuver *o) {
  no_flat_spot(o);
  o->leanest = o->richest = o->vacuum_before = o->vacuum_least = o->vacuum_most = NAN;
  o->speed_most = o->speed_end = o->fall_time = NAN;
  o->hc_most = o->hc_mass = o->misfire_most = NAN;
}

/* ---- warm runs ---- */

static run idle(lw_arena *arena, lw_motion *m, lw_error *error) {
  run r = begin(arena, m, error);
  if (r.status == LW_OK) r.status = lw_motion_idle(m, error);
  look(&r);
  return r;
}

lw_status lw_run_blip(lw_arena *arena, lw_motion *m, double hold, lw_maneuver *out,
                      lw_error *error) {
  *out = nothing();
  run r = idle(arena, m, error);
  pedal(&r, 1, 0.08);
  go(&r, hold, 0.02);
  pedal(&r, 0, 0.08);
  go(&r, 3, 0.02);
  go(&r, 7 - hold, 0.1);
  lw_status status = finish(&r, 0, out);
  if (status == LW_OK) pumped(&r, 0, out);
  no_flat_spot(out);
  return status;
}

static void govern(run *r, double speed, double throttle) {
  lw_controls c = *lw_motion_controls(r->motion);
  c.governed = speed;
  c.pedal = throttle;
  lw_motion_control(r->motion, &c);
}

lw_status lw_run_tip(lw_arena *arena, lw_motion *m, double speed, double from, double to,
                     double within, lw_maneuver *out, lw_error *error) {
  *out = nothing();
  run r = idle(arena, m, error);
  govern(&r, speed, from);
  go(&r, 15, 0.5);
  size_t moved = r.count ? r.count - 1 : 0;
  pedal(&r, to, within);
  go(&r, 3, 0.01);
  go(&r, 12, 0.2);
  lw_status status = finish(&r, moved, out);
  if (status == LW_OK) pumped(&r, moved, out);
  out->fall_time = out->speed_most = out->speed_end = out->vacuum_most = NAN; /* speed is held */
  return status;
}

lw_status lw_run_snap_shut(lw_arena *arena, lw_motion *m, double speed, double set,
                           lw_maneuver *out, lw_error *error) {
  *out = nothing();
  lw_state state = {0};
  lw_running held;
  lw_status status =
      lw_engine_hold(&m->engine, m->origin, &m->around, speed, 0, &state, &held, error);
  if (status != LW_OK) return status;
  run r = idle(arena, m, error);
  govern(&r, speed, held.setting.throttle);
  go(&r, 10, 0.5);
  size_t moved = r.count ? r.count - 1 : 0;
  govern(&r, NAN, 0);
  go(&r, 6, 0.02);
  go(&r, 9, 0.1);
  status = finish(&r, moved, out);
  if (status == LW_OK)
    out->distributor_fall = settled(&r, moved, lw_known(set) ? set : 20e3,
                                    offsetof(lw_trace_point, distributor_vacuum));
  no_flat_spot(out);
  out->vacuum_least = NAN;
  return status;
}

/* ---- others ---- */

lw_status lw_run_pump_shot(lw_arena *arena, lw_motion *m, double within, lw_maneuver *out,
                           lw_error *error) {
  *out = nothing();
  run r = begin(arena, m, error);
  lw_motion_cold(m, 355);
  look(&r);
  pedal(&r, 1, within);
  go(&r, 3, 0.01);
  lw_status status = finish(&r, 0, out);
  if (status == LW_OK) pumped(&r, 0, out);
  pump_alone(out);
  return status;
}

static double crank(run *r) {
  double since = lw_motion_time(r->motion);
  key(r, true);
  for (int i = 0; i < 100 && r->status == LW_OK && !r->motion->running; i++)
    go(r, 0.1, 0.1);
  double took = r->motion->running ? lw_motion_time(r->motion) - since : NAN;
  go(r, 0.7, 0.1); /* a hand lets go when it runs evenly */
  key(r, false);
  return took;
}

lw_status lw_run_warm_up(lw_arena *arena, lw_motion *m, double temperature, double seconds,
                         lw_maneuver *out, lw_error *error) {
  *out = nothing();
  run r = begin(arena, m, error);
  lw_motion_cold(m, temperature);
  look(&r);
  double started = crank(&r), every = fmax(0.25, seconds / 3000), fast = NAN;
  long rounds = lround(ceil(seconds / 20));
  for (long i = 0; i < rounds && r.status == LW_OK; i++) {
    go(&r, 10, every);
    if (!(fast == fast)) fast = m->y[ST_SPEED];
    go(&r, 9.2, every);
    if (i + 1 == rounds) break; /* it ends as it settles */
    pedal(&r, 0.15, 0.2);
    go(&r, 0.4, 0.2);
    pedal(&r, 0, 0.2);
    go(&r, 0.4, 0.2);
  }
  lw_status status = finish(&r, 0, out);
  out->started = started;
  out->fast_idle = fast;
  no_flat_spot(out);
  out->vacuum_before = out->vacuum_least = out->fall_time = out->misfire_most = NAN;
  for (size_t i = 0; status == LW_OK && i < out->event_count; i++) {
    if (out->events[i].kind == LW_EVENT_CHOKE_OPEN && !lw_known(out->choke_opened))
      out->choke_opened = out->events[i].time;
  }
  return status;
}

lw_status lw_run_stall(lw_arena *arena, lw_motion *m, double load, lw_maneuver *out,
                       lw_error *error) {
  *out = nothing();
  run r = idle(arena, m, error);
  lw_controls c = *lw_motion_controls(m);
  c.dynamometer = load;
  lw_motion_control(m, &c);
  for (int i = 0; i < 100 && r.status == LW_OK && m->running; i++)
    go(&r, 0.1, 0.02);
  go(&r, 1.5, 0.1);
  c.dynamometer = 0;
  lw_motion_control(m, &c);
  pedal(&r, 0.08, 0.2); /* warm: with a little throttle */
  double started = crank(&r);
  go(&r, 0.5, 0.1);
  pedal(&r, 0, 0.5);
  go(&r, 8, 0.1);
  lw_status status = finish(&r, 0, out);
  out->started = started;
  no_flat_spot(out);
  out->vacuum_least = out->fall_time = out->misfire_most = NAN;
  return status;
}
