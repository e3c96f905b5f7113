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

static const double screw_spread = 0.025; /* of the fuel: a thirtieth of a turn either way */
static const double anywhere = 6; /* times the spread of the mixture when nobody counted turns */
static const double plain_sample = 0.003; /* air in the sample of a sound probe, about */
static const double stop_same = 0.012;    /* of the speed: how well two readings of it compare */
static const double stop_set = 0.03;      /* of the speed: how near it is set to the card's */

/* ---- one sight of one car ---- */

typedef lw_view view;

typedef struct desk {
  lw_engine engine; /* of the car as edited */
  double wide;      /* 1, or `anywhere` for the idle mixture and its sides */
  const lw_sight *sights;
  view views[LW_SIGHTS_MOST];
  size_t count, unknown_count, first_idle; /* the first idle sight; count: none */
  const lw_test_car *cars[LW_SIGHTS_MOST]; /* as edited, screws as at each sight */
  const lw_before *before;                 /* the view after the sights'; NULL: none */
  bool set;                                /* it is taken to stand as it was set */
} desk;

/* The last view is the one before anything went wrong. */
static const view *view_at(const desk *d, size_t i) {
  return i < d->count ? &d->views[i] : &d->before->view;
}

static size_t view_count(const desk *d) {
  return d->count + (d->set ? 1 : 0);
}

/* The load of a cruise is not known; its vacuum is. */
static bool holds_vacuum(const lw_sight *sight) {
  return sight->at == LW_AT_CRUISE;
}

/* The network at one throttle. pull: what grows as it opens: the torque, N m; where the vacuum is
   held, the manifold's pressure, kPa. */
typedef struct spot {
  double throttle, pull, idle_share;
  lw_charge charge;
} spot;

static bool spot_at(const lw_test_car *car, const lw_sight *sight, double throttle, lw_state *state,
                    spot *s) {
  lw_running run;
  const lw_net *net = car->twin->net;
  if (lw_engine_work_at(car->engine, net, &car->around, throttle, sight->speed, state, &run,
                        NULL) != LW_OK)
    return false;
  double idle = run.point.by_circuit[LW_CIRCUIT_IDLE] + run.point.by_circuit[LW_CIRCUIT_TRANSFER];
  s->idle_share = run.point.fuel > 0 ? fmin(fmax(idle / run.point.fuel, 0), 1) : 1;
  s->charge = lw_engine_charge(car->engine, net, &run, &car->around);
  s->pull = holds_vacuum(sight) ? run.point.manifold / 1e3 : run.burned.torque;
  s->throttle = throttle;
  return true;
}

/* How far apart the two ends of a line are drawn. */
static double line_length(double throttle) {
  const double further = 0.004;
  return further * (1 + 5 * fabs(throttle));
}

/* The straight line from one spot on its way to another, brought to the usual length. */
static void draw(const spot *from, const spot *to, view *v) {
  double by = line_length(from->throttle), share = by / (to->throttle - from->throttle);
  lw_charge c = from->charge;
  c.manifold += share * (to->charge.manifold - from->charge.manifold);
  c.timing += share * (to->charge.timing - from->charge.timing);
  c.leak += share * (to->charge.leak - from->charge.leak);
  for (int k = 0; k < LW_SIDES; k++) {
    c.air[k] += share * (to->charge.air[k] - from->charge.air[k]);
    c.fuel[k] += share * (to->charge.fuel[k] - from->charge.fuel[k]);
  }
  v->idle_share = from->idle_share;
  v->here = from->charge;
  v->there = c;
  v->throttle = from->throttle;
  v->next = from->throttle + by;
}

/* The charge at a throttle and a little further open. */
static bool draw_line(const lw_test_car *car, const lw_sight *sight, double throttle,
                      lw_state *state, view *v) {
  spot here, there;
  if (!spot_at(car, sight, throttle, state, &here)) return false;
  if (!spot_at(car, sight, throttle + line_length(throttle), state, &there)) return false;
  draw(&here, &there, v);
  return true;
}

/* The throttle that holds the speed (or the vacuum) by this pull, sought by secants from near it,
   and its line drawn; false: not within a few steps. Two or three networks, where seeking from the
   stop takes some twenty. */
static bool draw_near(const lw_test_car *car, const lw_sight *sight, double pull, lw_state *state,
                      view *v) {
  enum { TRIES = 6 };
  const double enough = 0.5, leap = 10; /* of the line's length */
  spot here, other;
  double x = sight->near, by = line_length(x);
  if (!spot_at(car, sight, x, state, &here)) return false;
  if (!spot_at(car, sight, x + by, state, &other)) return false;
  for (int i = 0; i < TRIES; i++) {
    double slope = (other.pull - here.pull) / (other.throttle - here.throttle);
    if (!(slope > 1e-6)) return false;
    double off = (pull - here.pull) / slope;
    if (fabs(off) < enough * by) {
      draw(&here, &other, v);
      return true;
    }
    x = here.throttle + fmin(fmax(off, -leap * by), leap * by);
    if (!(x > -0.1 && x < 0.9)) return false;
    other = here;
    if (!spot_at(car, sight, x, state, &here)) return false;
  }
  return false;
}

/* A car that cannot hold this speed may yet with its unknowns: it is looked at on its stop. */
static bool look(const lw_test_car *car, const lw_sight *sight, lw_state *state, view *v) {
  lw_running run;
  lw_state cold = {0};
  v->idle = sight->at == LW_AT_IDLE;
  if (sight->flows && sight->flows->known) *state = *sight->flows;
  v->load = sight->gear == LW_LOAD_DRIVE ? car->engine->converter * sight->speed * sight->speed : 0;
  v->by_vacuum = holds_vacuum(sight);
  v->vacuum = sight->x[LW_SEE_VACUUM];
  double held = (car->around.ambient - v->vacuum) / 1e3;
  if (draw_near(car, sight, v->by_vacuum ? held : v->load, state, v)) return true;
  *state = cold;
  const lw_net *net = car->twin->net;
  if (v->by_vacuum) {
    lw_setting setting = {.speed = sight->speed,
                          .ambient = car->around.ambient,
                          .temperature = car->around.temperature};
    return lw_net_throttle_for(net, &setting, v->vacuum, state, NULL) == LW_OK &&
           draw_line(car, sight, setting.throttle, state, v);
  }
  bool holds = lw_engine_hold(car->engine, net, &car->around, sight->speed, v->load, state, &run,
                              NULL) == LW_OK;
  if (!holds) *state = cold;
  return draw_line(car, sight, holds ? run.setting.throttle : 0, state, v);
}

/* ---- unknowns at work ---- */

static double at(const double *z, lw_unknown k) {
  return z[k] * unknowns[k].spread;
}

static double between(double a, double b, double s) {
  return a + s * (b - a);
}

/* Whose screws a view has. Before anything went wrong they stood where the first idle found them:
   what that place was misread by is the same for both. */
static size_t screws_of(const desk *d, size_t i) {
  return i < d->count ? i : d->first_idle;
}

static lw_charge charge_at(const desk *d, size_t i, const double *z, double s) {
  const view *v = view_at(d, i);
  lw_charge c = v->here;
  double open = v->idle ? 1 : v->idle_share;
  size_t stood = screws_of(d, i);
  double spread = stood < d->count ? d->sights[stood].screw_u : 0;
  if (!(spread > 0)) spread = screw_spread;
  double mixture = v->idle_share * d->wide * at(z, LW_UNKNOWN_IDLE_MIXTURE) +
                   (1 - v->idle_share) * at(z, LW_UNKNOWN_MAIN_MIXTURE) +
                   open * z[LW_UNKNOWNS + stood] * spread;
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

static lw_engine engine_at(const desk *d, size_t i, const double *z) {
  lw_engine e = i < d->count ? d->engine : d->before->engine;
  e.friction *= exp(at(z, LW_UNKNOWN_FRICTION));
  e.overlap *= exp(at(z, LW_UNKNOWN_OVERLAP));
  e.spread *= exp(at(z, LW_UNKNOWN_SPREAD));
  e.lean_limit *= exp(at(z, LW_UNKNOWN_LEAN));
  double air = plain_sample * exp(at(z, LW_UNKNOWN_SAMPLE));
  e.exhaust_leak = 1 - (1 - e.exhaust_leak) * (1 - air);
  return e;
}

/* The manifold's pressure at a cruise, once the gauge is told its own error. */
static double held_pressure(const view *v, const double *z) {
  return v->here.around.ambient - (v->vacuum - at(z, LW_UNKNOWN_GAUGE));
}

/* The throttle that still holds the speed, on the straight line: secant, a few steps. */
static double settle(const desk *d, const lw_engine *e, size_t i, const double *z) {
  lw_burned burned;
  const view *v = view_at(d, i);
  if (v->by_vacuum)
    return (held_pressure(v, z) - v->here.manifold) / (v->there.manifold - v->here.manifold);
  double a = 0, b = 0.5, fa = 0, fb = 0, load = v->load;
  lw_charge c = charge_at(d, i, z, a);
  lw_burn_work(e, &c, &burned);
  fa = burned.torque - load;
  if (fabs(fa) < 1e-3) return a;
  for (int k = 0; k < 5; k++) {
    c = charge_at(d, i, z, b);
    lw_burn_work(e, &c, &burned);
    fb = burned.torque - load;
    double slope = (fb - fa) / (b - a);
    if (fabs(fb) < 1e-3 || !(fabs(slope) > 1e-9)) break;
    double next = fmin(fmax(b - fb / slope, -12), 40);
    if (fabs(next - b) < 1e-4) break;
    a = b;
    fa = fb;
    b = next;
  }
  return b;
}

/* What one view would show to instruments without error of their own. */
typedef struct shown {
  double raw[LW_CHANNELS];
  double place;    /* along the straight line of the throttle */
  double left;     /* torque left over there, N m: none when settled */
  double throttle; /* the same as a share of its travel */
  double lambda, misfire;
} shown;

static shown show_at(const desk *d, size_t i, const double *z, double place) {
  lw_burned burned;
  lw_engine e = engine_at(d, i, z);
  lw_charge c = charge_at(d, i, z, place);
  const view *v = view_at(d, i);
  if (i < d->count && lw_known(d->sights[i].x[LW_SEE_NO])) {
    lw_burn_charge(&e, &c, &burned);
  } else {
    lw_burn_work(&e, &c, &burned); /* NO takes most of the time */
  }
  const lw_products *gas = &burned.sampled;
  return (shown){
      .raw = {[LW_SEE_VACUUM] = c.around.ambient - c.manifold,
              [LW_SEE_CO] = gas->dry.co,
              [LW_SEE_CO2] = gas->dry.co2,
              [LW_SEE_O2] = gas->dry.o2,
              [LW_SEE_HC] = gas->dry.hc / 6,
              [LW_SEE_NO] = gas->dry.no,
              [LW_SEE_TIMING] = burned.timing},
      .place = place,
      .left = v->by_vacuum ? (c.manifold - held_pressure(v, z)) / 1e3 : burned.torque - v->load,
      .throttle = between(v->throttle, v->next, place),
      .lambda = burned.lambda,
      .misfire = burned.misfire,
  };
}

static shown show(const desk *d, size_t i, const double *z) {
  lw_engine e = engine_at(d, i, z);
  return show_at(d, i, z, settle(d, &e, i, z));
}

/* What changes with place, on the line. */
static shown along(const desk *d, size_t i, const double *z, const shown *here) {
  const double by = 0.5;
  shown there = show_at(d, i, z, here->place + by);
  for (int k = 0; k < LW_CHANNELS; k++)
    there.raw[k] = (there.raw[k] - here->raw[k]) / by;
  there.left = (there.left - here->left) / by;
  there.throttle = (there.throttle - here->throttle) / by;
  return there;
}

/* Where an unknown has moved what is shown and the torque with it, the throttle follows: by the
   implicit function, without seeking it. */
static shown follow(const desk *d, size_t i, const double *z, const shown *here,
                    const shown *slope) {
  shown moved = show_at(d, i, z, here->place);
  if (!(fabs(slope->left) > 1e-9)) return moved;
  double by = -(moved.left - here->left) / slope->left;
  by = fmin(fmax(by, -20), 20);
  for (int k = 0; k < LW_CHANNELS; k++)
    moved.raw[k] += by * slope->raw[k];
  moved.throttle += by * slope->throttle;
  moved.place += by;
  return moved;
}

/* The same through this shop's instruments. */
static double through(lw_channel k, double raw, const double *z) {
  switch (k) {
  case LW_SEE_VACUUM: return raw + at(z, LW_UNKNOWN_GAUGE);
  case LW_SEE_CO: return raw * (1 + at(z, LW_UNKNOWN_CO_GAIN));
  case LW_SEE_CO2: return raw * (1 + at(z, LW_UNKNOWN_CO2_GAIN));
  case LW_SEE_O2: return raw + at(z, LW_UNKNOWN_O2_ZERO);
  case LW_SEE_HC: return raw * exp(at(z, LW_UNKNOWN_HC));
  default: return raw;
  }
}

static bool of_instruments(size_t unknown) {
  return unknown == LW_UNKNOWN_GAUGE || unknown == LW_UNKNOWN_CO_GAIN ||
         unknown == LW_UNKNOWN_CO2_GAIN || unknown == LW_UNKNOWN_O2_ZERO ||
         unknown == LW_UNKNOWN_HC;
}

/* ---- scales on which errors are even ---- */

/* Gases are compared as logarithms down to a floor, so that 0.05 % and 0.1 % of CO are near each
   other and 4 % and 8 % are far apart. */
static const double floors[LW_CHANNELS] = {
    [LW_SEE_CO] = 0.003, [LW_SEE_O2] = 0.004, [LW_SEE_HC] = 40e-6, [LW_SEE_NO] = 200e-6};
/* What the model itself may be off by: part of the reading, and an amount (docs/causes.md). */
static const struct {
  double part, amount;
} model[LW_CHANNELS] = {
    [LW_SEE_VACUUM] = {0, 200},    [LW_SEE_CO] = {0.025, 0.0002}, [LW_SEE_CO2] = {0.002, 0.0005},
    [LW_SEE_O2] = {0.03, 0.0003},  [LW_SEE_HC] = {0.05, 4e-6},    [LW_SEE_NO] = {0.5, 100e-6},
    [LW_SEE_TIMING] = {0, 0.0087},
};

/* Of an instrument's uncertainty, what differs from one of its readings to the next; the rest is
   among the unknowns (ours: repeatability is commonly a third of what is permitted). */
static const double lone = 0.4;

static double even(lw_channel k, double x) {
  return floors[k] > 0 ? asinh(x / (2 * floors[k])) : x;
}

static double uneven(lw_channel k, double y) {
  return floors[k] > 0 ? 2 * floors[k] * sinh(y) : y;
}

/* Standard deviation on the even scale, at a value. */
static double error_of(lw_channel k, double x, double u) {
  double part = model[k].part * x, amount = model[k].amount;
  double own = lw_known(u) ? lone * u : 0, sum = sqrt(part * part + amount * amount + own * own);
  double slope = floors[k] > 0 ? 1 / (2 * floors[k] * sqrt(1 + pow(x / (2 * floors[k]), 2))) : 1;
  return sum * slope;
}

/* ---- the fit ---- */

/* Beside the channels: CO before anything went wrong, where the stop stands against then, and
   against the first idle. */
enum {
  ROW_SET_CO = LW_CHANNELS,
  ROW_SET_STOP,
  ROW_SAME_STOP,
  VIEWS = LW_SIGHTS_MOST + 1,
  ROWS = LW_SIGHTS_MOST * (LW_CHANNELS + 1) + 2
};

typedef struct system {
  size_t rows;
  size_t sight[ROWS];
  int channel[ROWS];
  double want[ROWS], error[ROWS];
  double got[ROWS], jacobian[ROWS][LW_UNKNOWNS_MOST];
  shown seen[VIEWS];
} system_;

static void add_row(system_ *s, size_t sight, int channel, double want, double error) {
  s->sight[s->rows] = sight;
  s->channel[s->rows] = channel;
  s->want[s->rows] = want;
  s->error[s->rows++] = error;
}

static void collect(const desk *d, system_ *s) {
  s->rows = 0;
  for (size_t i = 0; i < d->count; i++) {
    const lw_sight *sight = &d->sights[i];
    for (int k = 0; k < LW_CHANNELS; k++) {
      if (!lw_known(sight->x[k])) continue;
      lw_channel c = (lw_channel)k;
      if (c == LW_SEE_VACUUM && holds_vacuum(sight)) continue; /* it is where the car was put */
      add_row(s, i, k, even(c, sight->x[k]), error_of(c, sight->x[k], sight->u[k]));
    }
    bool same = sight->stop_as_first && !sight->held && d->first_idle < i;
    if (d->before && same && !d->sights[d->first_idle].held)
      add_row(s, i, ROW_SAME_STOP, 0, stop_same);
  }
  if (!d->set || d->first_idle == d->count) return;
  const lw_before *b = d->before;
  add_row(s, d->count, ROW_SET_CO, 0, b->co_error);
  if (!d->sights[d->first_idle].held) add_row(s, d->first_idle, ROW_SET_STOP, 0, stop_set);
}

/* How far outside the limits: any CO between them is as likely to have been set as any other. */
static double outside(const lw_before *b, double co) {
  double off = co - b->co, half = 0.5 * b->co_width;
  return off - fmin(fmax(off, -half), half);
}

static double row_of(const desk *d, const system_ *s, size_t r, const shown *seen,
                     const double *z) {
  const shown *own = &seen[s->sight[r]];
  switch (s->channel[r]) {
  case ROW_SET_CO: return outside(d->before, even(LW_SEE_CO, own->raw[LW_SEE_CO]));
  case ROW_SET_STOP: return (own->throttle - seen[d->count].throttle) / d->before->of_speed;
  case ROW_SAME_STOP: return (own->throttle - seen[d->first_idle].throttle) / d->before->of_speed;
  default: {
    lw_channel k = (lw_channel)s->channel[r];
    return even(k, through(k, own->raw[k], z));
  }
  }
}

static void predict(const desk *d, const system_ *s, const double *z, double *got, shown *seen) {
  for (size_t i = 0; i < view_count(d); i++)
    seen[i] = show(d, i, z);
  for (size_t r = 0; r < s->rows; r++)
    got[r] = row_of(d, s, r, seen, z);
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

/* Views that an unknown does not touch stay as they were. */
static void differentiate(const desk *d, system_ *s, const double *z) {
  const double step = 0.25;
  double moved[LW_UNKNOWNS_MOST];
  shown slope[VIEWS], seen[VIEWS];
  memcpy(moved, z, sizeof moved);
  for (size_t i = 0; i < view_count(d); i++)
    slope[i] = along(d, i, z, &s->seen[i]);
  for (size_t k = 0; k < d->unknown_count; k++) {
    memcpy(seen, s->seen, sizeof seen);
    moved[k] = z[k] + step;
    for (size_t i = 0; i < view_count(d); i++) {
      bool own = k < LW_UNKNOWNS ? !of_instruments(k) : k - LW_UNKNOWNS == screws_of(d, i);
      bool held = k == LW_UNKNOWN_GAUGE && view_at(d, i)->by_vacuum;
      if (own || held) seen[i] = follow(d, i, moved, &s->seen[i], &slope[i]);
    }
    for (size_t r = 0; r < s->rows; r++)
      s->jacobian[r][k] = (row_of(d, s, r, seen, moved) - s->got[r]) / step / s->error[r];
    moved[k] = z[k];
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
  double g[LW_UNKNOWNS_MOST], got[ROWS];
  shown seen[VIEWS];
  for (size_t k = 0; k < n; k++) {
    g[k] = -z[k];
    for (size_t r = 0; r < s->rows; r++)
      g[k] -= s->jacobian[r][k] * (s->got[r] - s->want[r]) / s->error[r];
  }
  solve(a, n, g);
  static const double shares[] = {1, 0.4, 0.16};
  for (size_t i = 0; i < sizeof shares / sizeof shares[0]; i++) {
    double share = shares[i];
    double next[LW_UNKNOWNS_MOST] = {0};
    for (size_t k = 0; k < n; k++)
      next[k] = fmin(fmax(z[k] + share * g[k], -5), 5);
    predict(d, s, next, got, seen);
    double v = objective(s, got, next, n);
    if (!(v < *value)) continue;
    bool far = *value - v > 0.05;
    *value = v;
    memcpy(z, next, sizeof next);
    memcpy(s->got, got, sizeof got);
    memcpy(s->seen, seen, sizeof seen);
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
    lw_channel k = (lw_channel)s->channel[r];
    double e = (s->want[r] - y) / (far * half);
    fit->stray -= 0.5 * e * e + log(far * half * 2.5066282746310002);
    if (s->channel[r] >= LW_CHANNELS) continue;
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

static void put_shown(const desk *d, const system_ *s, const double *z, double x[][LW_CHANNELS]) {
  for (size_t i = 0; i < d->count; i++) {
    for (int k = 0; k < LW_CHANNELS; k++)
      x[i][k] = through((lw_channel)k, s->seen[i].raw[k], z);
  }
}

/* How well cars of this kind follow the twin is itself not known: all spreads may be wider than
   believed by a factor, seldom much (ours). With all of them scaled alike the best z stays where it
   is, and the evidence of each factor follows from the misfit. */
static double trusted(double evidence, double misfit, size_t rows) {
  static const struct {
    double factor, probability;
  } wider[] = {{1, 0.8}, {1.6, 0.14}, {2.6, 0.06}};
  double terms[3], most = -INFINITY, sum = 0;
  for (size_t i = 0; i < 3; i++) {
    double f = wider[i].factor;
    terms[i] = evidence + 0.5 * misfit * (1 - 1 / (f * f)) - (double)rows * log(f) +
               log(wider[i].probability);
    most = fmax(most, terms[i]);
  }
  for (size_t i = 0; i < 3; i++)
    sum += exp(terms[i] - most);
  return most + log(sum);
}

/* From z to the best z; returns the evidence. */
static double settle_unknowns(const desk *d, system_ *s, int rounds, double *z, double *misfit,
                              double *open, lw_match *fit) {
  static const int steps = 3, most = 5;
  double a[LW_UNKNOWNS_MOST][LW_UNKNOWNS_MOST], log_det = 0;
  size_t n = d->unknown_count;
  *misfit = objective(s, s->got, z, n);
  for (int k = 0; k < rounds; k++) {
    double before = *misfit;
    differentiate(d, s, z);
    if (k == 0 && fit) spread_of(s, n, fit);
    log_det = factor(s, n, a);
    bool more = true;
    for (int i = 0; i < steps && more; i++)
      more = step(d, s, a, z, misfit);
    /* still gaining, and near enough to count */
    if (k + 1 == rounds && rounds < most && before - *misfit > 1 && *misfit < 200) rounds++;
  }
  open_left(a, n, open);
  double evidence = -0.5 * *misfit - 0.5 * log_det;
  for (size_t r = 0; r < s->rows; r++)
    evidence -= log(s->error[r] * 2.5066282746310002);
  return trusted(evidence, *misfit, s->rows);
}

static void note(const desk *d, const system_ *s, lw_match *fit) {
  for (size_t i = 0; i < d->count; i++) {
    fit->throttle[i] = s->seen[i].throttle;
    fit->lambda[i] = s->seen[i].lambda;
    fit->misfire[i] = s->seen[i].misfire;
  }
  for (size_t r = 0; r < s->rows; r++)
    fit->read += s->channel[r] < LW_CHANNELS;
}

/* The straight line is drawn anew where the fit has settled far from where it was drawn. */
static bool look_again(desk *d, const system_ *s) {
  const double far = 4;
  bool any = false;
  for (size_t i = 0; i < d->count; i++) {
    view *v = &d->views[i], again;
    double to = s->seen[i].throttle;
    if (!(fabs(to - v->throttle) > far * (v->next - v->throttle)) || to > 0.98) continue;
    again = *v;
    lw_state state = {0};
    if (!draw_line(d->cars[i], &d->sights[i], to, &state, &again)) continue;
    *v = again;
    any = true;
  }
  return any;
}

/* As if screws and stop stood where they did when all was well: from where the fit without that
   ended. Otherwise those two tell nothing: their places are as likely as any. */
static void work_before(desk *d, system_ *s, const double *z, lw_match *fit) {
  const double log_places =
      -2.3 + 0.98; /* of CO and of the stop, turned at random (docs/causes.md) */
  const double root_tau = 2.5066282746310002;
  double own[LW_UNKNOWNS_MOST], open[LW_UNKNOWNS_MOST], misfit = 0;
  fit->turned = fit->evidence + log_places;
  memcpy(own, z, sizeof own);
  d->set = true;
  collect(d, s);
  predict(d, s, own, s->got, s->seen);
  fit->evidence = settle_unknowns(d, s, 2, own, &misfit, open, NULL);
  fit->evidence += log(d->before->co_error * root_tau) -
                   log(d->before->co_width + d->before->co_error * root_tau);
  if (!(fit->evidence > fit->turned)) return;
  memcpy(fit->z, own, sizeof own);
  memcpy(fit->z_u, open, sizeof open);
  put_shown(d, s, own, fit->fitted);
}

static void work(desk *d, bool rough, lw_match *fit) {
  static const int agains = 2;
  system_ s;
  double z[LW_UNKNOWNS_MOST] = {0};
  collect(d, &s);
  predict(d, &s, z, s.got, s.seen);
  put_shown(d, &s, z, fit->seen);
  note(d, &s, fit);
  fit->misfit = objective(&s, s.got, z, d->unknown_count);
  if (rough) return;
  fit->evidence = settle_unknowns(d, &s, 2, z, &fit->misfit, fit->z_u, fit);
  for (int k = 0; k < agains && look_again(d, &s); k++) {
    if (d->before && fit->evidence < d->before->enough - 200) break;
    predict(d, &s, z, s.got, s.seen);
    fit->evidence = settle_unknowns(d, &s, 2, z, &fit->misfit, fit->z_u, NULL);
  }
  fit->turned = fit->evidence;
  put_shown(d, &s, z, fit->fitted);
  memcpy(fit->z, z, sizeof z);
  if (d->before && !(fit->evidence < d->before->enough)) work_before(d, &s, z, fit);
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

lw_status lw_sight_edits(lw_arena *arena, const lw_test_car *car, const lw_sight *sight,
                         const char **edits, size_t *count, lw_error *error) {
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
  *count = sight->screw_count;
  return LW_OK;
}

static lw_status view_of(lw_arena *arena, lw_units *units, const lw_test_car *car,
                         const lw_sight *sight, lw_state *state, view *v, const lw_test_car **seen,
                         bool *possible, lw_error *error) {
  const char *edits[LW_SIGHT_SCREWS];
  size_t count = 0;
  lw_test_car *own = NULL;
  lw_status status = lw_sight_edits(arena, car, sight, edits, &count, error);
  if (status != LW_OK) return status;
  status = lw_test_car_what_if(arena, units, car, edits, count, &own, error);
  if (status == LW_OK) *possible = look(own, sight, state, v);
  *seen = own;
  return status;
}

lw_status lw_match_before(lw_units *units, const lw_test_car *car, const lw_sight *sight,
                          double speed, lw_range co, lw_before *before, bool *possible,
                          lw_error *error) {
  const double faster = 1.05, soft = 0.25; /* of the limits' width: how sharply hands keep them */
  lw_state state = {0};
  const lw_test_car *seen = NULL;
  view quick;
  lw_sight own = *sight;
  own.gear = LW_LOAD_NONE;
  own.speed = speed;
  *before = (lw_before){.engine = *car->engine, .enough = -INFINITY};
  double lo = even(LW_SEE_CO, fmax(co.lo, 0)), hi = even(LW_SEE_CO, co.hi);
  before->co = 0.5 * (lo + hi);
  before->co_width = fmax(hi - lo, 0.1);
  before->co_error = fmax(soft * before->co_width, 0.05);
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh these readings");
  lw_status status =
      view_of(arena, units, car, &own, &state, &before->view, &seen, possible, error);
  own.speed *= faster;
  if (status == LW_OK && *possible)
    status = view_of(arena, units, car, &own, &state, &quick, &seen, possible, error);
  if (status == LW_OK && *possible)
    before->of_speed = (quick.throttle - before->view.throttle) / log(faster);
  *possible = *possible && before->of_speed > 1e-9;
  lw_arena_free(arena);
  return status;
}

/* The car as edited, run at every sight. */
static lw_status lay_out(lw_arena *arena, lw_units *units, const lw_test_car *car,
                         const char *const *edits, size_t edit_count, const lw_sight *sights,
                         size_t count, const lw_before *before, desk *d, bool *possible,
                         lw_error *error) {
  lw_state state = {0};
  lw_test_car *own = NULL;
  *d = (desk){.sights = sights,
              .count = count,
              .before = before,
              .unknown_count = LW_UNKNOWNS + count,
              .first_idle = count,
              .wide = 1};
  for (size_t i = count; i-- > 0;) {
    if (sights[i].at == LW_AT_IDLE) d->first_idle = i;
  }
  *possible = true;
  lw_status status = lw_test_car_what_if(arena, units, car, edits, edit_count, &own, error);
  if (status == LW_OK) d->engine = *own->engine;
  for (size_t i = 0; i < count && status == LW_OK && *possible; i++) {
    if (!sights[i].screws_known) d->wide = anywhere;
    status =
        view_of(arena, units, own, &sights[i], &state, &d->views[i], &d->cars[i], possible, error);
    if (sights[i].flows && !sights[i].flows->known && *possible) *sights[i].flows = state;
  }
  return status;
}

lw_status lw_match_run(lw_units *units, const lw_test_car *car, const char *const *edits,
                       size_t edit_count, const lw_sight *sights, size_t count, bool rough,
                       lw_match *fit, lw_error *error) {
  return lw_match_since(units, car, edits, edit_count, sights, count, NULL, rough, fit, error);
}

lw_status lw_match_since(lw_units *units, const lw_test_car *car, const char *const *edits,
                         size_t edit_count, const lw_sight *sights, size_t count,
                         const lw_before *before, bool rough, lw_match *fit, lw_error *error) {
  desk d;
  *fit = (lw_match){.possible = true};
  if (count > LW_SIGHTS_MOST) {
    return lw_fail(error, LW_TOO_LARGE, "%zu readings, at most %d can be weighed", count,
                   LW_SIGHTS_MOST);
  }
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh these readings");
  lw_status status = lay_out(arena, units, car, edits, edit_count, sights, count, before, &d,
                             &fit->possible, error);
  if (status == LW_OK && fit->possible) work(&d, rough, fit);
  lw_arena_free(arena);
  return status;
}

lw_status lw_match_show(lw_units *units, const lw_test_car *car, const char *const *edits,
                        size_t edit_count, const lw_sight *sight, const double *z, lw_shown *out,
                        lw_error *error) {
  desk d;
  double own[LW_UNKNOWNS_MOST] = {0};
  *out = (lw_shown){.possible = true};
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory for this reading");
  lw_status status =
      lay_out(arena, units, car, edits, edit_count, sight, 1, NULL, &d, &out->possible, error);
  if (status == LW_OK && out->possible) {
    memcpy(own, z, LW_UNKNOWNS * sizeof *own);
    shown seen = show(&d, 0, own);
    for (int k = 0; k < LW_CHANNELS; k++)
      out->x[k] = through((lw_channel)k, seen.raw[k], own);
    out->lambda = seen.lambda;
    out->misfire = seen.misfire;
    out->throttle = seen.throttle;
  }
  lw_arena_free(arena);
  return status;
}
