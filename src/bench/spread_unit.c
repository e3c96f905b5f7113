/* spread_unit.c - one virtual unit: made, idled as assembled, set by its screws.
**
** Nothing is built anew: the nominal network is copied, its passages are made wider and narrower,
** and each search starts from the nominal unit's flows, slopes and setting.
*/
#include "spread_internal.h"

#include <math.h>

#define PI  3.14159265358979323846
#define RPM (PI / 30)

/* ---- made ---- */

/* A rod in a jet keeps its size (see alter.c). */
static void widen(lw_passage *p, double by) {
  double d = p->orifice.diameter, wide = fmax(d + by, 0.1 * d);
  p->orifice.area = fmax(p->orifice.area + PI / 4 * (wide * wide - d * d), 0);
  p->orifice.diameter = wide;
}

static void widen_slot(lw_net *net, int barrel, double by, bool place) {
  for (int i = 0; i < net->passage_count; i++) {
    lw_passage *p = &net->passages[i];
    bool slot = p->gate == LW_GATE_SLOT_ABOVE || p->gate == LW_GATE_SLOT_BELOW;
    if (!slot || p->barrel != barrel) continue;
    if (place) {
      p->low += by;
      continue;
    }
    double share = 1 + by / p->orifice.diameter; /* its diameter is its width */
    p->orifice.area *= share;
    p->orifice.diameter *= share;
  }
}

static void widen_venturi(lw_barrel *b, double by) {
  const double cd = 0.85; /* near enough for a share of a diameter */
  double share = 1 + by / sqrt(4 / PI * b->cd_area / cd);
  b->cd_area *= share * share;
}

static void widen_gas(lw_passage *p, double by) {
  const double cd = 0.7;
  double share = 1 + by / sqrt(4 / PI * p->cd_area / cd);
  p->cd_area *= share * share;
}

static void vary_carburetor(lw_virtual *v, lw_vary what, int at, double by) {
  lw_net *net = &v->net;
  switch (what) {
  case LW_VARY_SEAT: net->passages[at].high += by; break;
  case LW_VARY_SEATED: v->seated[at] = by; break;
  case LW_VARY_SLOT_WIDTH: widen_slot(net, at, by, false); break;
  case LW_VARY_SLOT_PLACE: widen_slot(net, at, by, true); break;
  case LW_VARY_BYPASS: widen_gas(&net->passages[at], by); break;
  case LW_VARY_VENTURI: widen_venturi(&net->barrels[at], by); break;
  case LW_VARY_BOOSTER: net->barrels[at].booster *= 1 + by; break;
  case LW_VARY_PLATE_FIT: net->passages[at].cd_area *= 1 + by; break;
  case LW_VARY_FUEL_LEVEL: net->nodes[at].height += by; break;
  case LW_VARY_EDGES: net->passages[at].orifice.area *= 1 + by; break;
  case LW_VARY_STOP: v->stop = fmax(v->stop + by * lw_stop_per_turn, 0); break;
  case LW_VARY_PRESET: v->preset[at] += by; break;
  default: widen(&net->passages[at], by);
  }
}

static void vary_engine(lw_virtual *v, lw_vary what, double by) {
  lw_engine *e = &v->engine;
  switch (what) {
  case LW_VARY_TIMING:
  case LW_VARY_ADVANCE: e->timing_error += by; break;
  case LW_VARY_COMPRESSION:
    e->compression_ratio += by;
    v->net.draw.compression_ratio += by;
    break;
  case LW_VARY_BREATHING: v->net.draw.eta0 *= 1 + by; break;
  case LW_VARY_FRICTION: e->friction *= 1 + by; break;
  case LW_VARY_OVERLAP: e->overlap *= 1 + by; break;
  case LW_VARY_ACCESSORIES: e->accessory *= 1 + by; break;
  case LW_VARY_DISTRIBUTION: e->spread *= 1 + by; break;
  case LW_VARY_LEAN_LIMIT: e->lean_limit += by; break;
  case LW_VARY_CREVICES: e->hidden *= 1 + by; break;
  case LW_VARY_HAND: v->hand = by; break;
  case LW_VARY_METER: v->meter = by; break;
  default: v->tachometer = by;
  }
}

void lw_virtual_make(const lw_spread *s, const double *z, lw_virtual *v) {
  v->s = s;
  v->net = *s->car->twin->net;
  v->engine = *s->car->engine;
  v->hand = v->meter = v->tachometer = 0;
  v->stop = v->net.barrels[0].stop;
  for (size_t i = 0; i < s->screw_count; i++) {
    v->seated[i] = 0;
    v->preset[i] = s->screws[i].preset;
  }
  for (size_t i = 0; i < s->part_count; i++) {
    const lw_spread_part *p = &s->parts[i];
    lw_vary what = s->dims[p->dim].what;
    if (what < LW_VARY_TIMING) {
      vary_carburetor(v, what, p->at, p->half * z[i]);
    } else {
      vary_engine(v, what, p->half * z[i]);
    }
  }
  for (size_t i = 0; i < s->screw_count; i++)
    v->preset[i] = fmin(fmax(v->preset[i], s->lo), s->hi);
}

/* ---- its screws ---- */

static void turn_one(lw_virtual *v, size_t screw, double turns) {
  const lw_spread_screw *s = &v->s->screws[screw];
  for (size_t i = 0; i < s->passage_count; i++)
    lw_passage_turn(&v->net.passages[s->passages[i]], fmax(turns + v->seated[screw], 0));
}

static void turn_all(lw_virtual *v, double turns) {
  v->turns = turns;
  for (size_t i = 0; i < v->s->screw_count; i++)
    turn_one(v, i, turns);
}

static void put_stop(lw_virtual *v, double stop) {
  for (int b = 0; b < v->net.barrel_count; b++) {
    if (v->net.barrels[b].linkage == LW_LINK_PEDAL) v->net.barrels[b].stop = stop;
  }
}

/* ---- one point ---- */

/* Torque left over with the plates on their stop at this speed; false: its flows were not found. As
   steady.c does it, but burned for its work alone. */
static bool run_at(lw_virtual *v, double speed) {
  const lw_surroundings *around = &v->s->car->around;
  lw_report report;
  lw_burned *burned = &v->run.burned;
  v->run.setting =
      (lw_setting){.speed = speed, .ambient = around->ambient, .temperature = around->temperature};
  lw_net_solve(&v->net, &v->run.setting, &v->state, &report);
  if (!report.converged) return false;
  lw_net_point(&v->net, &v->run.setting, &v->state, &v->run.point);
  v->run.vacuum = around->ambient - v->run.point.manifold;
  double ported = lw_ported_share(v->run.point.angle[0], v->net.barrels[0].stop);
  burned->timing =
      lw_timing(&v->engine, speed, lw_distributor_vacuum(&v->engine.spark, v->run.vacuum, ported));
  lw_charge charge = lw_engine_charge(&v->engine, &v->net, &v->run, around);
  lw_burn_work(&v->engine, &charge, burned);
  bool drive = v->s->ask.goal.gear == LW_LOAD_DRIVE;
  v->left = burned->torque - (drive ? v->engine.converter * speed * speed : 0);
  return true;
}

static double co_of(const lw_virtual *v) {
  return v->run.burned.sampled.dry.co;
}

static double hc_of(const lw_virtual *v) {
  return v->run.burned.sampled.dry.hc / 6;
}

/* CO on a scale on which a screw moves it evenly: logarithms, down to a tenth of a percent. */
static double richness(double co) {
  return log(co + 0.001);
}

/* ---- a root between two ends ---- */

/* A value that rises or falls with x as its slope says. */
typedef bool (*seek_value)(lw_virtual *v, double x, double *f);
typedef struct seek {
  double lo, hi, x, slope; /* ends, start, and the slope expected there */
  double met, fine;        /* good enough: of the value, of x */
} seek;
typedef enum seek_end { SEEK_MET, SEEK_AT_LO, SEEK_AT_HI, SEEK_FAILED } seek_end;

/* Secants inside what is known to hold the root; an end is answered only after it was tried. The
   last point tried is the one the answer stands at. */
static seek_end seek_root(lw_virtual *v, const seek *s, seek_value value, double *at) {
  double lo = s->lo, hi = s->hi, x = fmin(fmax(s->x, lo), hi), slope = s->slope;
  double before = LW_NONE, f_before = LW_NONE, wide = hi - lo;
  for (int i = 0; i < 90; i++) {
    double f = 0;
    if (!value(v, x, &f)) return SEEK_FAILED;
    *at = x;
    if (fabs(f) < s->met) return SEEK_MET;
    bool below = (f < 0) == (s->slope > 0); /* the root lies over x */
    if (below && x >= s->hi) return SEEK_AT_HI;
    if (!below && x <= s->lo) return SEEK_AT_LO;
    *(below ? &lo : &hi) = x;
    if (hi - lo < s->fine) return SEEK_MET;
    double chord = (f - f_before) / (x - before);
    if (chord * s->slope > 0) slope = chord;
    before = x;
    f_before = f;
    x -= f / slope;
    if (!(x > lo)) x = lo > s->lo ? 0.5 * (lo + hi) : s->lo;
    if (!(x < hi)) x = hi < s->hi ? 0.5 * (lo + hi) : s->hi;
    if (i % 3 != 2) continue;
    if (hi - lo > 0.5 * wide && i > 3) x = 0.5 * (lo + hi); /* secants that only creep */
    wide = hi - lo;
  }
  return SEEK_FAILED;
}

/* ---- as assembled ---- */

static const double torque_met = 1e-3; /* N m: some hundredths of an rpm */

static bool by_speed(lw_virtual *v, double speed, double *f) {
  bool good = run_at(v, speed);
  *f = v->left;
  return good;
}

/* Near the nominal idle by secants; what is not found there, or at a crossing that is not stable,
   is looked for in full. False: it stalls, or its flows are not found. */
static bool idle(lw_virtual *v) {
  const lw_spread *s = v->s;
  double speed = s->idle_speed, at = 0;
  seek near = {0.8 * speed, 1.3 * speed, speed, s->by_speed, torque_met, 1e-6};
  v->state = s->idle_state;
  if (s->by_speed < 0 && seek_root(v, &near, by_speed, &at) == SEEK_MET) {
    double met = v->left;
    if (run_at(v, 0.995 * at) && v->left > met) return run_at(v, at);
  }
  lw_running run;
  v->state = s->idle_state;
  lw_status status = lw_engine_idle(&v->engine, &v->net, &s->car->around, 0, s->ask.goal.gear,
                                    &v->state, &run, NULL);
  return status == LW_OK && !run.stalled && run_at(v, run.setting.speed);
}

static void see_assembled(lw_virtual *v, lw_spread_unit *out) {
  put_stop(v, v->stop);
  for (size_t i = 0; i < v->s->screw_count; i++)
    turn_one(v, i, v->preset[i]);
  out->stalled = !idle(v);
  if (out->stalled) return;
  out->x[LW_SPREAD_SPEED] = v->run.setting.speed;
  out->x[LW_SPREAD_CO] = co_of(v);
  out->x[LW_SPREAD_HC] = hc_of(v);
}

/* ---- set ---- */

static const double widest_stop = 0.30; /* rad: a speed screw opens the plate no further (ours) */

static double wanted_speed(const lw_virtual *v) {
  return v->s->ask.goal.speed + v->tachometer;
}

static bool by_stop(lw_virtual *v, double stop, double *f) {
  put_stop(v, stop);
  bool good = run_at(v, wanted_speed(v));
  *f = v->left;
  return good;
}

/* The speed screw, until it turns at the speed that is wanted. */
static seek_end hold(lw_virtual *v) {
  double at = v->net.barrels[0].stop;
  seek s = {0, widest_stop, at, v->s->by_stop, torque_met, 1e-9};
  return seek_root(v, &s, by_stop, &at);
}

/* The meter reads CO and its error; the hand stops where it reads what is aimed at. */
static double aimed(const lw_virtual *v) {
  const lw_spread_goal *g = &v->s->ask.goal;
  return fmax(g->co - v->meter, 0.1 * g->co);
}

static bool by_turns(lw_virtual *v, double turns, double *f) {
  turn_all(v, turns);
  bool good = hold(v) != SEEK_FAILED;
  *f = richness(co_of(v)) - richness(aimed(v));
  return good;
}

static bool reads_in_band(const lw_virtual *v) {
  const lw_spread_goal *g = &v->s->ask.goal;
  double reads = co_of(v) + v->meter;
  return reads >= g->co_lo && reads <= g->co_hi;
}

/* A hand stops beside the place it wants. When the meter then reads beside the band it tries again,
   and gets half as far off: four times, then it leaves it. */
static seek_end by_hand(lw_virtual *v, double at, bool reached) {
  double off = v->hand;
  seek_end end = SEEK_FAILED;
  for (int i = 0; i < 5; i++) {
    turn_all(v, fmin(fmax(at + off, v->s->lo), v->s->hi));
    end = hold(v);
    if (end == SEEK_FAILED || !reached || reads_in_band(v)) break;
    off *= 0.5;
  }
  return end;
}

typedef struct ending {
  seek_end mixture, speed;
} ending;

static ending set_screws(lw_virtual *v) {
  const lw_spread *s = v->s;
  ending e = {SEEK_MET, SEEK_MET};
  v->state = s->set_state;
  put_stop(v, s->set_stop);
  if (s->screw_count) {
    double at = 0;
    seek mixture = {s->lo, s->hi, s->set_turns, s->by_turns, 1e-3, 1e-5};
    e.mixture = seek_root(v, &mixture, by_turns, &at);
    if (e.mixture == SEEK_FAILED) return e;
    e.speed = by_hand(v, at, e.mixture == SEEK_MET);
    return e;
  }
  e.speed = hold(v);
  return e;
}

/* Where a unit ended: what stands first in the way. */
static lw_spread_end judged(const lw_virtual *v, const ending *e, const lw_spread_unit *u) {
  const lw_spread_goal *g = &v->s->ask.goal;
  double co = u->x[LW_SPREAD_SET_CO];
  bool rich_end = e->mixture == (v->s->sense > 0 ? SEEK_AT_HI : SEEK_AT_LO);
  bool lean_end = e->mixture != SEEK_MET && !rich_end;
  if (e->speed == SEEK_AT_LO) return LW_SPREAD_FAST;
  if (e->speed == SEEK_AT_HI) return LW_SPREAD_SLOW;
  bool fixed = v->s->screw_count == 0;
  if (co < g->co_lo) return rich_end || fixed ? LW_SPREAD_TOO_LEAN : LW_SPREAD_MISSED;
  if (co > g->co_hi) return lean_end || fixed ? LW_SPREAD_TOO_RICH : LW_SPREAD_MISSED;
  if (co > g->co_most) return LW_SPREAD_MISSED;
  return u->x[LW_SPREAD_SET_HC] > g->hc_most ? LW_SPREAD_HC_OVER : LW_SPREAD_SET;
}

static void see_set(lw_virtual *v, lw_spread_unit *out) {
  const lw_spread *s = v->s;
  const lw_spread_goal *g = &s->ask.goal;
  ending e = set_screws(v);
  out->end = LW_SPREAD_LOST;
  if (e.mixture == SEEK_FAILED || e.speed == SEEK_FAILED) return;
  double turned = 0;
  for (size_t i = 0; i < s->screw_count; i++)
    turned += (v->turns - v->preset[i]) / (double)s->screw_count;
  if (s->screw_count) out->x[LW_SPREAD_TURNS] = turned;
  out->x[LW_SPREAD_SPEED_TURNS] = (v->net.barrels[0].stop - v->stop) / lw_stop_per_turn;
  out->x[LW_SPREAD_SET_CO] = co_of(v);
  out->x[LW_SPREAD_SET_HC] = hc_of(v);
  out->within = e.speed == SEEK_MET && fabs(v->tachometer) <= g->speed_within &&
                !(co_of(v) > g->co_most) && !(hc_of(v) > g->hc_most);
  out->end = judged(v, &e, out);
}

void lw_virtual_run(lw_virtual *v, lw_spread_unit *out) {
  *out = (lw_spread_unit){.end = LW_SPREAD_LOST};
  for (int i = 0; i < LW_SPREAD_SEENS; i++)
    out->x[i] = LW_NONE;
  see_assembled(v, out);
  see_set(v, out);
}

/* ---- the nominal unit ---- */

/* The slope of a value about x; 0: not found. */
static double slope_at(lw_virtual *v, seek_value value, double x, double by) {
  double f = 0, g = 0;
  if (!value(v, x - by, &f) || !value(v, x + by, &g)) return 0;
  return (g - f) / (2 * by);
}

bool lw_spread_nominal(lw_spread *s, lw_virtual *v) {
  static const double middle[SPREAD_PARTS];
  lw_virtual_make(s, middle, v);
  s->idle_speed = s->ask.goal.speed;
  s->set_turns = s->screw_count ? s->screws[0].preset : 0;
  s->set_stop = v->stop;
  s->by_stop = 100; /* N m for each rad, until they are known: only their sign is trusted */
  s->by_turns = s->sense;
  see_assembled(v, &s->nominal);
  if (!s->nominal.stalled) { /* else every unit is looked for in full */
    s->idle_speed = v->run.setting.speed;
    s->idle_state = v->state;
    s->by_speed = slope_at(v, by_speed, s->idle_speed, 0.01 * s->idle_speed);
  }
  s->set_state = s->idle_state;
  ending e = set_screws(v);
  if (e.mixture == SEEK_FAILED || e.speed == SEEK_FAILED) return false;
  if (s->nominal.stalled && e.speed == SEEK_AT_HI) return false;
  s->set_stop = v->net.barrels[0].stop;
  s->set_state = v->state;
  s->set_turns = v->turns;
  double by = slope_at(v, by_stop, s->set_stop, 0.02 * fmax(s->set_stop, 0.01));
  if (by > 0) s->by_stop = by;
  if (s->screw_count) {
    put_stop(v, s->set_stop);
    by = slope_at(v, by_turns, s->set_turns, 1.0 / 32);
    if (by * s->sense > 0) s->by_turns = by;
  }
  lw_virtual_make(s, middle, v);
  lw_virtual_run(v, &s->nominal);
  return true;
}
