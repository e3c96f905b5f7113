/* snap.c - a car driven through a quick opening of the throttle, behind an analyzer that is late. */
#include "leanward/snap.h"

#include "bench_internal.h"

#include "leanward/gauge.h"

#include <math.h>

static const char *const texts[] = {
#define TEXT_OF(id, text) text,
    LW_SNAP_LIST(TEXT_OF)
#undef TEXT_OF
};

const char *lw_snap_text(lw_snap_channel channel) {
  return channel < LW_SNAP_CHANNELS ? texts[channel] : "reading";
}

/* ---- the run ---- */

static const double held_speed = 157.07963267948966;    /* 1,500 rpm, unless said */
static const double light = 0.08, half = 0.40, all = 1; /* throttle */

typedef struct run {
  lw_motion *motion;
  lw_meter meter;
  lw_products gas; /* of the last look */
  double flow;     /* its exhaust, m3/s */
  bool opening;    /* the throttle is on its way, or stays open */
  lw_snap_shown *out;
  lw_status status;
  lw_error *error;
} run;

static void keep(const run *r) {
  lw_gases read = lw_meter_true(&r->meter);
  double *x = r->out->x;
  x[LW_SNAP_CO_MOST] = fmax(x[LW_SNAP_CO_MOST], read.co);
  x[LW_SNAP_CO_LEAST] = fmin(x[LW_SNAP_CO_LEAST], read.co);
  x[LW_SNAP_HC_MOST] = fmax(x[LW_SNAP_HC_MOST], read.hc);
  x[LW_SNAP_O2_MOST] = fmax(x[LW_SNAP_O2_MOST], read.o2);
}

static void look(run *r, double dt) {
  lw_look l;
  if (r->status == LW_OK) r->status = lw_motion_look(r->motion, &l, r->error);
  if (r->status != LW_OK) return;
  r->gas = l.burned.exhaust;
  r->flow = lw_exhaust_flow(l.air_out, l.fuel_out);
  lw_meter_step(&r->meter, dt, &r->gas, r->flow);
  keep(r);
  r->out->x[LW_SNAP_VACUUM_MOST] = fmax(r->out->x[LW_SNAP_VACUUM_MOST], l.vacuum);
  r->out->x[LW_SNAP_SPEED_MOST] = fmax(r->out->x[LW_SNAP_SPEED_MOST], l.speed);
  if (r->opening && lw_known(l.lambda_cylinders))
    r->out->leanest = fmax(r->out->leanest, l.lambda_cylinders);
}

static void go(run *r, int steps, double every) {
  for (int i = 0; i < steps && r->status == LW_OK; i++) {
    r->status = lw_motion_advance(r->motion, every, r->error);
    look(r, every);
  }
}

static void control(run *r, double pedal, double within, double governed) {
  lw_controls c = *lw_motion_controls(r->motion);
  c.pedal_rate = fabs(pedal - c.pedal) / within;
  c.pedal = pedal;
  c.governed = governed;
  lw_motion_control(r->motion, &c);
}

/* From here on it counts. */
static void begin(run *r) {
  for (int k = 0; k < LW_SNAP_CHANNELS; k++)
    r->out->x[k] = k == LW_SNAP_CO_LEAST ? INFINITY : -INFINITY;
  look(r, 600); /* the displays have settled */
}

/* What has gone into the pipe still comes, then the gas stays as it is. */
static void wait(run *r, int steps, double every) {
  for (int i = 0; i < steps && r->status == LW_OK; i++) {
    lw_meter_step(&r->meter, every, &r->gas, r->flow);
    keep(r);
  }
}

static void neutral(run *r, double hold) {
  begin(r);
  r->opening = true;
  control(r, 1, 0.08, LW_NONE);
  go(r, 15, (hold > 0 ? hold : 0.3) / 15);
  control(r, 0, 0.08, LW_NONE);
  r->opening = false;
  go(r, 40, 0.04);
  go(r, 14, 0.15);
  wait(r, 30, 0.3);
}

static void under_load(run *r, const lw_snap *snap) {
  double speed = lw_known(snap->speed) ? snap->speed : held_speed;
  control(r, light, 0.5, speed);
  for (int i = 0; i < 4 && r->status == LW_OK; i++)
    r->status = lw_motion_advance(r->motion, 2, r->error);
  begin(r);
  r->opening = true;
  control(r, snap->kind == LW_SNAP_TIP_IN ? half : all, 0.2, speed);
  go(r, 50, 0.02);
  go(r, 15, 0.2);
  go(r, 8, 0.5);
  wait(r, 20, 0.3);
  r->out->x[LW_SNAP_SPEED_MOST] = r->out->x[LW_SNAP_VACUUM_MOST] = LW_NONE; /* as they were held */
}

static bool has_stalled(const lw_motion *motion) {
  const lw_event *events = NULL;
  size_t count = lw_motion_events(motion, &events);
  for (size_t i = 0; i < count; i++) {
    if (events[i].kind == LW_EVENT_STALLED) return true;
  }
  return false;
}

lw_status lw_snap_of(const lw_test_car *car, const lw_snap *snap, lw_snap_shown *out,
                     lw_error *error) {
  *out = (lw_snap_shown){.leanest = 0};
  run r = {.out = out, .error = error};
  lw_meter_kind kind = lw_meter_usual(snap->accuracy);
  r.status = lw_test_car_motion(car, &r.motion, error);
  if (r.status != LW_OK) return r.status == LW_NO_CONVERGENCE ? LW_OK : r.status;
  lw_meter_start(&r.meter, &kind);
  r.status = lw_motion_idle(r.motion, error);
  if (r.status == LW_OK && snap->kind == LW_SNAP_NEUTRAL) neutral(&r, snap->hold);
  if (r.status == LW_OK && snap->kind != LW_SNAP_NEUTRAL) under_load(&r, snap);
  out->stalled = has_stalled(r.motion);
  out->possible = r.status == LW_OK;
  lw_motion_free(r.motion);
  return r.status == LW_NO_CONVERGENCE ? LW_OK : r.status;
}

/* The speed screw goes to where the throttle stands in that share of its travel. */
static void put_stop(lw_net *net, double throttle) {
  for (int b = 0; b < net->barrel_count; b++) {
    lw_barrel *barrel = &net->barrels[b];
    double travel = barrel->wide - barrel->closed - barrel->stop;
    if (barrel->linkage == LW_LINK_PEDAL)
      barrel->stop = fmax(barrel->stop + throttle * travel, 1e-4);
  }
}

lw_status lw_snap_run(lw_units *units, const lw_test_car *car, const char *const *edits,
                      size_t edit_count, const lw_sight *stands, double throttle,
                      const lw_snap *snap, lw_snap_shown *out, lw_error *error) {
  const char *screws[LW_SIGHT_SCREWS];
  lw_test_car *ill = NULL, *own = NULL;
  size_t count = 0;
  *out = (lw_snap_shown){.leanest = 0};
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory for this run");
  lw_status status = lw_test_car_what_if(arena, units, car, edits, edit_count, &ill, error);
  if (status == LW_OK && stands) status = lw_sight_edits(arena, ill, stands, screws, &count, error);
  if (status == LW_OK) status = lw_test_car_what_if(arena, units, ill, screws, count, &own, error);
  if (status == LW_OK) {
    if (stands) put_stop(own->twin->net, throttle);
    status = lw_snap_of(own, snap, out, error);
  }
  lw_arena_free(arena);
  return status;
}

/* ---- how likely ---- */

/* Car to car, hand to hand, on a scale that is even under a floor and logarithmic over it: from
   virtual sound cars (SPREADS=1 bench_causes), docs/causes.md. */
static const struct {
  double floor, spread;
} channels[LW_SNAP_CHANNELS] = {
    [LW_SNAP_CO_MOST] = {0.003, 0.15}, [LW_SNAP_CO_LEAST] = {0.003, 0.3},
    [LW_SNAP_HC_MOST] = {40e-6, 0.5},  [LW_SNAP_O2_MOST] = {0.004, 0.25},
    [LW_SNAP_VACUUM_MOST] = {0, 2000}, [LW_SNAP_SPEED_MOST] = {10, 0.12},
};

static double even(lw_snap_channel k, double x) {
  double floor = channels[k].floor;
  return floor > 0 ? asinh(x / (2 * floor)) : x;
}

double lw_snap_spread(lw_snap_channel k, double x) {
  double floor = channels[k].floor;
  return channels[k].spread * (floor > 0 ? sqrt(4 * floor * floor + x * x) : 1);
}

/* Of Student's distribution with four degrees of freedom: seldom a reading is far off (a hand that
   let go late). */
static double log_near(double off) {
  return log(0.375) - 2.5 * log1p(0.25 * off * off);
}

/* How likely each is felt. A flat spot is felt where the cylinders come to lambda 1.22 or more;
   black smoke follows gas of over 8 % CO. Ours. */
static double log_felt(lw_felt felt, const lw_snap_shown *s) {
  double dies = s->stalled ? 0.8 : 0.02, lean = 1 / (1 + exp((1.22 - s->leanest) / 0.025));
  double black =
      s->x[LW_SNAP_CO_MOST] > 0 ? 1 / (1 + exp((0.08 - s->x[LW_SNAP_CO_MOST]) / 0.006)) : 0;
  double flat = (1 - dies) * (0.05 + 0.87 * lean),
         smoke = (1 - dies - flat) * (0.03 + 0.85 * black);
  switch (felt) {
  case LW_FELT_CLEAN: return log(fmax(1 - dies - flat - smoke, 0.01));
  case LW_FELT_HESITATES: return log(0.75 * flat);
  case LW_FELT_POPS_BACK: return log(0.25 * flat);
  case LW_FELT_DIES: return log(dies);
  case LW_FELT_SMOKES: return log(smoke);
  default: return 0;
  }
}

const char *lw_snap_feels(const lw_snap_shown *shown) {
  lw_felt best = LW_FELT_CLEAN;
  for (int f = LW_FELT_CLEAN; f <= LW_FELT_SMOKES; f++) {
    if (log_felt((lw_felt)f, shown) > log_felt(best, shown)) best = (lw_felt)f;
  }
  return lw_felt_text(best);
}

double lw_snap_log(const lw_snap *snap, const lw_snap_shown *shown, double wider) {
  double sum = log_felt(snap->felt, shown);
  for (int k = 0; k < LW_SNAP_CHANNELS; k++) {
    if (!lw_known(snap->x[k]) || !lw_known(shown->x[k])) continue;
    lw_snap_channel c = (lw_snap_channel)k;
    double spread = channels[k].spread * wider;
    sum += log_near((even(c, snap->x[k]) - even(c, shown->x[k])) / spread) - log(spread);
  }
  return sum;
}
