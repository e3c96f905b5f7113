/* fit.c - readings against a car: unknowns fitted by Gauss and Newton, evidence by Laplace.
**
** Each sight is run once with the throttle that gives the speed that was read, and once a little
** further open. Between and near these two the charge is a straight line in the throttle, so that
** unknowns which change the torque move the throttle without another network. Unknowns of the
** mixture scale the fuel; the rest are the engine's or the instruments'.
*/
#include "bench_internal.h"

#include "leanward/fit.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const channel_texts[] = {
#define TEXT_OF(id, text) text,
    LW_CHANNEL_LIST(TEXT_OF)
#undef TEXT_OF
};
static const struct {
  const char *text;
  double spread;
} unknowns[] = {
#define UNKNOWN_OF(id, text, spread) {text, spread},
    LW_UNKNOWN_LIST(UNKNOWN_OF)
#undef UNKNOWN_OF
};

const char *lw_channel_text(lw_channel channel) {
  return channel < LW_CHANNELS ? channel_texts[channel] : "reading";
}

const char *lw_unknown_text(lw_unknown unknown) {
  return unknown < LW_UNKNOWNS ? unknowns[unknown].text : "where the screw stood";
}

static const double screw_spread = 0.04; /* of the fuel: a sixteenth of a turn either way */
static const double anywhere = 6; /* times the spread of the mixture when nobody counted turns */
static const double plain_sample = 0.003; /* air in the sample of a sound probe, about */

/* ---- one sight of one car ---- */

typedef struct view {
  const lw_sight *sight;
  lw_charge here, there; /* at the throttle that holds the speed, and further open */
  double idle_share;     /* of the fuel that comes through idle and transfer */
  double load;
  double throttle, next; /* of here and there */
} view;

typedef struct desk {
  lw_engine engine; /* of the car as edited */
  double wide;      /* 1, or `anywhere` for the idle mixture and its sides */
  view views[LW_SIGHTS_MOST];
  size_t count, unknown_count;
} desk;

static bool look(const lw_test_car *car, const lw_sight *sight, lw_state *state, view *v) {
  const double further = 0.004;
  lw_running run;
  const lw_net *net = car->twin->net;
  double load =
      sight->gear == LW_LOAD_DRIVE ? car->engine->converter * sight->speed * sight->speed : 0;
  if (lw_engine_hold(car->engine, net, &car->around, sight->speed, load, state, &run, NULL) !=
      LW_OK)
    return false;
  v->sight = sight;
  v->load = load;
  v->throttle = run.setting.throttle;
  double idle = run.point.by_circuit[LW_CIRCUIT_IDLE] + run.point.by_circuit[LW_CIRCUIT_TRANSFER];
  v->idle_share = run.point.fuel > 0 ? fmin(fmax(idle / run.point.fuel, 0), 1) : 1;
  v->here = lw_engine_charge(car->engine, net, &run, &car->around);
  double next = run.setting.throttle + further * (1 + 5 * fabs(run.setting.throttle));
  if (lw_engine_at(car->engine, net, &car->around, next, sight->speed, state, &run, NULL) != LW_OK)
    return false;
  v->next = next;
  v->there = lw_engine_charge(car->engine, net, &run, &car->around);
  return true;
}

/* ---- unknowns at work ---- */

static double at(const double *z, lw_unknown k) {
  return z[k] * unknowns[k].spread;
}

static double between(double a, double b, double s) {
  return a + s * (b - a);
}

static lw_charge charge_at(const desk *d, size_t i, const double *z, double s) {
  const view *v = &d->views[i];
  lw_charge c = v->here;
  double open = v->sight->at == LW_AT_IDLE ? 1 : v->idle_share;
  double mixture = v->idle_share * d->wide * at(z, LW_UNKNOWN_IDLE_MIXTURE) +
                   (1 - v->idle_share) * at(z, LW_UNKNOWN_MAIN_MIXTURE) +
                   open * z[LW_UNKNOWNS + i] * screw_spread;
  double air = exp(at(z, LW_UNKNOWN_DRAW));
  c.manifold = between(v->here.manifold, v->there.manifold, s);
  c.timing = between(v->here.timing, v->there.timing, s);
  c.leak = between(v->here.leak, v->there.leak, s);
  for (int k = 0; k < LW_SIDES; k++) {
    double side = (k == 0 ? 1 : -1) * v->idle_share * d->wide * at(z, LW_UNKNOWN_SIDES);
    c.air[k] = fmax(between(v->here.air[k], v->there.air[k], s), 0) * air;
    c.fuel[k] = fmax(between(v->here.fuel[k], v->there.fuel[k], s), 0) * air * exp(mixture + side);
  }
  c.timing += at(z, LW_UNKNOWN_TIMING);
  return c;
}

static lw_engine engine_at(const desk *d, const double *z) {
  lw_engine e = d->engine;
  e.friction *= exp(at(z, LW_UNKNOWN_FRICTION));
  e.overlap *= exp(at(z, LW_UNKNOWN_OVERLAP));
  e.spread *= exp(at(z, LW_UNKNOWN_SPREAD));
  e.lean_limit *= exp(at(z, LW_UNKNOWN_LEAN));
  double air = plain_sample * exp(at(z, LW_UNKNOWN_SAMPLE));
  e.exhaust_leak = 1 - (1 - e.exhaust_leak) * (1 - air);
  return e;
}

/* The throttle that still holds the speed, on the straight line: secant, a few steps. */
static double settle(const desk *d, const lw_engine *e, size_t i, const double *z, lw_burned *out) {
  double a = 0, b = 0.5, fa = 0, fb = 0;
  lw_charge c = charge_at(d, i, z, a);
  lw_burn_work(e, &c, out);
  fa = out->torque - d->views[i].load;
  for (int k = 0; k < 5; k++) {
    c = charge_at(d, i, z, b);
    lw_burn_work(e, &c, out);
    fb = out->torque - d->views[i].load;
    double slope = (fb - fa) / (b - a);
    if (fabs(fb) < 1e-3 || !(fabs(slope) > 1e-9)) break;
    double next = fmin(fmax(b - fb / slope, -12), 40);
    if (fabs(next - b) < 1e-4) break;
    a = b;
    fa = fb;
    b = next;
  }
  c = charge_at(d, i, z, b);
  if (lw_known(d->views[i].sight->x[LW_SEE_NO])) {
    lw_burn_charge(e, &c, out);
  } else {
    lw_burn_work(e, &c, out); /* NO takes most of the time */
  }
  return b;
}

/* Returns how far along the straight line the throttle settles. */
static double show(const desk *d, size_t i, const double *z, double *x, lw_burned *burned) {
  lw_engine e = engine_at(d, z);
  double s = settle(d, &e, i, z, burned);
  const lw_products *gas = &burned->sampled;
  const view *v = &d->views[i];
  x[LW_SEE_VACUUM] = v->here.around.ambient - between(v->here.manifold, v->there.manifold, s) +
                     at(z, LW_UNKNOWN_GAUGE);
  x[LW_SEE_CO] = gas->dry.co * (1 + at(z, LW_UNKNOWN_CO_GAIN));
  x[LW_SEE_CO2] = gas->dry.co2 * (1 + at(z, LW_UNKNOWN_CO2_GAIN));
  x[LW_SEE_O2] = gas->dry.o2 + at(z, LW_UNKNOWN_O2_ZERO);
  x[LW_SEE_HC] = gas->dry.hc / 6 * exp(at(z, LW_UNKNOWN_HC));
  x[LW_SEE_NO] = gas->dry.no;
  x[LW_SEE_TIMING] = burned->timing;
  return s;
}

/* ---- scales on which errors are even ---- */

/* Gases are compared as logarithms down to a floor, so that 0.05 % and 0.1 % of CO are near each
   other and 4 % and 8 % are far apart. */
static const double floors[LW_CHANNELS] = {
    [LW_SEE_CO] = 0.003, [LW_SEE_O2] = 0.004, [LW_SEE_HC] = 40e-6, [LW_SEE_NO] = 200e-6};
/* What the model itself may be off by: part of the reading, and an amount (ours: docs/causes.md). */
static const struct {
  double part, amount;
} model[LW_CHANNELS] = {
    [LW_SEE_VACUUM] = {0, 1200},   [LW_SEE_CO] = {0.08, 0.0008}, [LW_SEE_CO2] = {0.01, 0.002},
    [LW_SEE_O2] = {0.12, 0.0012},  [LW_SEE_HC] = {0.20, 15e-6},  [LW_SEE_NO] = {0.5, 100e-6},
    [LW_SEE_TIMING] = {0, 0.0087},
};

static double even(lw_channel k, double x) {
  return floors[k] > 0 ? asinh(x / (2 * floors[k])) : x;
}

static double uneven(lw_channel k, double y) {
  return floors[k] > 0 ? 2 * floors[k] * sinh(y) : y;
}

/* Standard deviation on the even scale, at a value. */
static double error_of(lw_channel k, double x, double u) {
  double part = model[k].part * x, amount = model[k].amount;
  double sum = sqrt(part * part + amount * amount + (lw_known(u) ? u * u : 0));
  double slope = floors[k] > 0 ? 1 / (2 * floors[k] * sqrt(1 + pow(x / (2 * floors[k]), 2))) : 1;
  return sum * slope;
}

/* ---- the fit ---- */

enum { ROWS = LW_SIGHTS_MOST * LW_CHANNELS };

typedef struct system {
  size_t rows;
  size_t sight[ROWS];
  lw_channel channel[ROWS];
  double want[ROWS], error[ROWS];
  double got[ROWS], jacobian[ROWS][LW_UNKNOWNS_MOST];
} system_;

static void collect(const desk *d, system_ *s) {
  s->rows = 0;
  for (size_t i = 0; i < d->count; i++) {
    for (int k = 0; k < LW_CHANNELS; k++) {
      const lw_sight *sight = d->views[i].sight;
      if (!lw_known(sight->x[k])) continue;
      s->sight[s->rows] = i;
      s->channel[s->rows] = (lw_channel)k;
      s->want[s->rows] = even((lw_channel)k, sight->x[k]);
      s->error[s->rows++] = error_of((lw_channel)k, sight->x[k], sight->u[k]);
    }
  }
}

static void predict(const desk *d, const system_ *s, const double *z, double *got,
                    double x[][LW_CHANNELS]) {
  lw_burned burned;
  for (size_t i = 0; i < d->count; i++)
    show(d, i, z, x[i], &burned);
  for (size_t r = 0; r < s->rows; r++)
    got[r] = even(s->channel[r], x[s->sight[r]][s->channel[r]]);
}

static double objective(const system_ *s, const double *got, const double *z, size_t n) {
  double sum = 0;
  for (size_t r = 0; r < s->rows; r++) {
    double e = (got[r] - s->want[r]) / s->error[r];
    sum += e * e;
  }
  for (size_t k = 0; k < n; k++)
    sum += z[k] * z[k];
  return sum;
}

static void differentiate(const desk *d, system_ *s, const double *z) {
  const double step = 0.25;
  double moved[LW_UNKNOWNS_MOST], got[ROWS], x[LW_SIGHTS_MOST][LW_CHANNELS];
  memcpy(moved, z, sizeof moved);
  for (size_t k = 0; k < d->unknown_count; k++) {
    moved[k] = z[k] + step;
    predict(d, s, moved, got, x);
    moved[k] = z[k];
    for (size_t r = 0; r < s->rows; r++)
      s->jacobian[r][k] = (got[r] - s->got[r]) / step / s->error[r];
  }
}

/* Cholesky of I + J'J, in place below the diagonal. Returns the logarithm of its determinant. */
static double factor(const system_ *s, size_t n, double a[][LW_UNKNOWNS_MOST]) {
  double log_det = 0;
  for (size_t i = 0; i < n; i++) {
    for (size_t j = 0; j <= i; j++) {
      double sum = i == j;
      for (size_t r = 0; r < s->rows; r++)
        sum += s->jacobian[r][i] * s->jacobian[r][j];
      for (size_t k = 0; k < j; k++)
        sum -= a[i][k] * a[j][k];
      a[i][j] = i == j ? sqrt(fmax(sum, 1e-12)) : sum / a[j][j];
    }
    log_det += 2 * log(a[i][i]);
  }
  return log_det;
}

static void solve(double a[][LW_UNKNOWNS_MOST], size_t n, double *b) {
  for (size_t i = 0; i < n; i++) {
    for (size_t k = 0; k < i; k++)
      b[i] -= a[i][k] * b[k];
    b[i] /= a[i][i];
  }
  for (size_t i = n; i-- > 0;) {
    for (size_t k = i + 1; k < n; k++)
      b[i] -= a[k][i] * b[k];
    b[i] /= a[i][i];
  }
}

/* One step of Gauss and Newton with the Jacobian as it is; false: no better. */
static bool step(const desk *d, system_ *s, double a[][LW_UNKNOWNS_MOST], double *z,
                 double *value) {
  size_t n = d->unknown_count;
  double g[LW_UNKNOWNS_MOST], x[LW_SIGHTS_MOST][LW_CHANNELS], got[ROWS];
  for (size_t k = 0; k < n; k++) {
    g[k] = -z[k];
    for (size_t r = 0; r < s->rows; r++)
      g[k] -= s->jacobian[r][k] * (s->got[r] - s->want[r]) / s->error[r];
  }
  solve(a, n, g);
  for (double share = 1; share > 0.1; share *= 0.4) { // NOLINT(cert-flp30-c)
    double next[LW_UNKNOWNS_MOST] = {0};
    for (size_t k = 0; k < n; k++)
      next[k] = fmin(fmax(z[k] + share * g[k], -5), 5);
    predict(d, s, next, got, x);
    double v = objective(s, got, next, n);
    if (!(v < *value)) continue;
    bool far = *value - v > 0.05;
    *value = v;
    memcpy(z, next, sizeof next);
    memcpy(s->got, got, sizeof got);
    return far;
  }
  return false;
}

/* How wide the prediction spreads from car to car, to first order: sqrt(J J') on the even scale. */
static void spread_of(const system_ *s, size_t n, lw_match *fit) {
  const double far = 4;
  fit->stray = 0;
  for (size_t r = 0; r < s->rows; r++) {
    double sum = 1; /* the model and the instrument themselves */
    for (size_t k = 0; k < n; k++)
      sum += s->jacobian[r][k] * s->jacobian[r][k];
    double y = s->got[r], half = s->error[r] * sqrt(sum);
    lw_channel k = s->channel[r];
    double e = (s->want[r] - y) / (far * half);
    fit->stray -= 0.5 * e * e + log(far * half * 2.5066282746310002);
    fit->band[s->sight[r]][k] = 0.5 * fabs(uneven(k, y + half) - uneven(k, y - half));
  }
}

static void open_left(double a[][LW_UNKNOWNS_MOST], size_t n, double *u) {
  for (size_t k = 0; k < n; k++) {
    double b[LW_UNKNOWNS_MOST] = {0};
    b[k] = 1;
    solve(a, n, b);
    u[k] = sqrt(fmax(b[k], 0));
  }
}

static void work(const desk *d, bool rough, lw_match *fit) {
  static const int rounds = 2, steps = 3;
  system_ s;
  double a[LW_UNKNOWNS_MOST][LW_UNKNOWNS_MOST], z[LW_UNKNOWNS_MOST] = {0}, log_det = 0;
  size_t n = d->unknown_count;
  collect(d, &s);
  predict(d, &s, z, s.got, fit->seen);
  lw_burned burned;
  for (size_t i = 0; i < d->count; i++) {
    double x[LW_CHANNELS];
    show(d, i, z, x, &burned);
    fit->throttle[i] = d->views[i].throttle;
    fit->lambda[i] = burned.lambda;
    fit->misfire[i] = burned.misfire;
  }
  fit->read = s.rows;
  fit->misfit = objective(&s, s.got, z, n);
  if (rough) return;
  for (int k = 0; k < rounds; k++) {
    differentiate(d, &s, z);
    if (k == 0) spread_of(&s, n, fit);
    log_det = factor(&s, n, a);
    bool more = true;
    for (int i = 0; i < steps && more; i++)
      more = step(d, &s, a, z, &fit->misfit);
  }
  open_left(a, n, fit->z_u);
  predict(d, &s, z, s.got, fit->fitted);
  memcpy(fit->z, z, sizeof z);
  fit->evidence = -0.5 * fit->misfit - 0.5 * log_det;
  for (size_t r = 0; r < s.rows; r++)
    fit->evidence -= log(s.error[r] * 2.5066282746310002);
}

/* ---- a car with its edits, sight by sight ---- */

/* A screw by its name on the card, or by what an edit calls it. */
static const lw_screw_card *screw_of(const lw_card *card, const char *name) {
  const lw_screw_card *s = card->carburetor.screws.items;
  for (size_t i = 0; i < card->carburetor.screws.count; i++) {
    if (lw_text_same(s[i].name, name)) return &s[i];
  }
  return lw_edit_find_screw(card, name);
}

static lw_status view_of(lw_arena *arena, lw_units *units, const lw_test_car *car,
                         const lw_sight *sight, lw_state *state, view *v, bool *possible,
                         lw_error *error) {
  const char *edits[LW_SIGHT_SCREWS];
  lw_test_car *own = NULL;
  for (size_t k = 0; k < sight->screw_count; k++) {
    char name[96];
    const lw_screw_card *screw = screw_of(car->twin->card, sight->screws[k].name);
    lw_range t = screw ? screw->travel : lw_range_none;
    double turns = sight->screws[k].turns; /* a reading a little past a stop stands at it */
    if (lw_known(t.lo)) turns = fmax(turns, t.lo);
    if (lw_known(t.hi)) turns = fmin(turns, t.hi);
    const char *called =
        screw ? lw_edit_screw_name(name, sizeof name, screw) : sight->screws[k].name;
    edits[k] = lw_arena_print(arena, "%s=%.6f turns", called, turns);
    if (!edits[k]) return lw_fail(error, LW_NO_MEMORY, "no memory for this reading");
  }
  lw_status status = lw_test_car_what_if(arena, units, car, edits, sight->screw_count, &own, error);
  if (status == LW_OK) *possible = look(own, sight, state, v);
  return status;
}

/* The car as edited, run at every sight. */
static lw_status lay_out(lw_arena *arena, lw_units *units, const lw_test_car *car,
                         const char *const *edits, size_t edit_count, const lw_sight *sights,
                         size_t count, desk *d, bool *possible, lw_error *error) {
  lw_state state = {0};
  lw_test_car *own = NULL;
  *d = (desk){.count = count, .unknown_count = LW_UNKNOWNS + count, .wide = 1};
  *possible = true;
  lw_status status = lw_test_car_what_if(arena, units, car, edits, edit_count, &own, error);
  if (status == LW_OK) d->engine = *own->engine;
  for (size_t i = 0; i < count && status == LW_OK && *possible; i++) {
    if (!sights[i].screws_known) d->wide = anywhere;
    status = view_of(arena, units, own, &sights[i], &state, &d->views[i], possible, error);
  }
  return status;
}

lw_status lw_match_run(lw_units *units, const lw_test_car *car, const char *const *edits,
                       size_t edit_count, const lw_sight *sights, size_t count, bool rough,
                       lw_match *fit, lw_error *error) {
  desk d;
  *fit = (lw_match){.possible = true};
  if (count > LW_SIGHTS_MOST) {
    return lw_fail(error, LW_TOO_LARGE, "%zu readings, at most %d can be weighed", count,
                   LW_SIGHTS_MOST);
  }
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh these readings");
  lw_status status =
      lay_out(arena, units, car, edits, edit_count, sights, count, &d, &fit->possible, error);
  if (status == LW_OK && fit->possible) work(&d, rough, fit);
  lw_arena_free(arena);
  return status;
}

lw_status lw_match_show(lw_units *units, const lw_test_car *car, const char *const *edits,
                        size_t edit_count, const lw_sight *sight, const double *z, lw_shown *shown,
                        lw_error *error) {
  desk d;
  double own[LW_UNKNOWNS_MOST] = {0};
  lw_burned burned;
  *shown = (lw_shown){.possible = true};
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory for this reading");
  lw_status status =
      lay_out(arena, units, car, edits, edit_count, sight, 1, &d, &shown->possible, error);
  if (status == LW_OK && shown->possible) {
    memcpy(own, z, LW_UNKNOWNS * sizeof *own);
    double further = show(&d, 0, own, shown->x, &burned);
    shown->lambda = burned.lambda;
    shown->misfire = burned.misfire;
    shown->throttle = between(d.views[0].throttle, d.views[0].next, further);
  }
  lw_arena_free(arena);
  return status;
}
