/* gauge.c - the vacuum gauge's needle, cylinder by cylinder; tachometer and timing light.
**
** Between two intakes all is linear and falls off by itself:
**
**   crank      w' = -w/S                 share it is slow by
**   manifold   p' = (P w - p)/F          Pa over its mean: a slower engine draws less
**   hose       h' = (V - p - h)/H        Pa of vacuum
**   needle     n' = (h - n)/G
**
** a chain of first-order lags, each driven by the exponentials of those before it: closed, and
** exact for any length of step. At each cylinder's turn w and p jump by what that cylinder gave and
** drew less than the mean.
*/
#include "gauge_internal.h"

#include "leanward/gauge.h"

#include <math.h>

static const double pi = 3.14159265358979323846, turn = 4 * 3.14159265358979323846;
static const double inch = 3386.389; /* Pa, of mercury */

/* ---- A chain of lags ------------------------------------------------------------------------ */

/* Amplitudes of exp(-t/lag) that one quantity is made of, beside a constant. */
enum { CRANK, MANIFOLD, HOSE, NEEDLE, LAGS };
typedef struct waves {
  double part[LAGS];
} waves;

/* What a lag at `own` makes of the waves that drive it, beginning at `from` (both over the constant
   it settles at): b/(1 - own/lag) of each, and the rest as its own. */
static waves driven(const waves *by, const double *lag, int own, double from) {
  waves out = {{0}};
  for (int i = 0; i < own; i++) {
    if (by->part[i] == 0) continue;
    out.part[i] = by->part[i] / (1 - lag[own] / lag[i]);
    from -= out.part[i];
  }
  out.part[own] = from;
  return out;
}

static double after(const waves *w, const double *fallen, int own) {
  double sum = 0;
  for (int i = 0; i <= own; i++)
    sum += w->part[i] * fallen[i];
  return sum;
}

/* Equal lags are moved apart, by less than anyone sees. */
static void part_lags(double *lag) {
  for (int i = 1; i < LAGS; i++) {
    for (int k = 0; k < i; k++) {
      if (fabs(lag[i] / lag[k] - 1) < 1e-4) {
        lag[i] *= 1.0003;
        k = -1;
      }
    }
  }
}

static waves scaled(const waves *w, double by) {
  waves out;
  for (int i = 0; i < LAGS; i++)
    out.part[i] = by * w->part[i];
  return out;
}

static void glide(lw_vacuum_gauge *g, const double *lag, double dt, double vacuum,
                  double manifold) {
  double fallen[LAGS];
  for (int i = 0; i < LAGS; i++)
    fallen[i] = exp(-dt / lag[i]);
  waves crank = {{g->slow}}, push = scaled(&crank, manifold);
  waves pressure = driven(&push, lag, MANIFOLD, g->pressure), lack = scaled(&pressure, -1);
  waves hose = driven(&lack, lag, HOSE, g->hose - vacuum);
  waves needle = driven(&hose, lag, NEEDLE, g->needle - vacuum);
  g->slow = after(&crank, fallen, CRANK);
  g->pressure = after(&pressure, fallen, MANIFOLD);
  g->hose = vacuum + after(&hose, fallen, HOSE);
  g->needle = vacuum + after(&needle, fallen, NEEDLE);
}

/* ---- Cylinders ------------------------------------------------------------------------------ */

/* Ours: share of a leaking cylinder's loss that goes back to the manifold; share by which a charge
   after a missed one is smaller (what stays is cold and does not shrink in the port); unevenness of
   work between cycles that burn; volumetric efficiency over manifold density. */
static const double pushed_back = 0.5, cold_loss = 0.2, uneven = 0.05, filling = 0.75;

/* What is left to chance: nothing, how evenly it burns, whether it burns too. */
typedef enum lots { NO_LOTS, UNEVEN, MISSING } lots;

typedef struct beat {
  const lw_engine *e;
  const lw_burned *b;
  double work, air; /* mean of a cylinder */
  double loss;      /* mean share of a charge that is not drawn */
  double by_work;   /* share of speed for each joule */
  double by_charge; /* Pa for a whole charge */
  lots lots;
} beat;

static double lost_charge(const beat *t, int i, double missed) {
  double less = t->air > 0 ? 1 - t->b->cylinder[i].air / t->air : 0;
  return less + pushed_back * (1 - fmin(t->e->health[i].compression, 1)) + cold_loss * missed;
}

static beat beat_of(const lw_engine *e, const lw_burned *b, double speed, double manifold,
                    lots chance) {
  beat t = {.e = e, .b = b, .lots = chance};
  for (int i = 0; i < e->cylinders; i++) {
    t.work += b->cylinder[i].work / e->cylinders;
    t.air += b->cylinder[i].air / e->cylinders;
  }
  for (int i = 0; i < e->cylinders; i++)
    t.loss += lost_charge(&t, i, b->cylinder[i].misfire) / e->cylinders;
  t.by_work = 1 / (fmax(e->inertia, 0.02) * speed * speed);
  t.by_charge = manifold * filling * e->displacement / e->cylinders / e->manifold_volume;
  return t;
}

static bool misses(const lw_burned *b, int i, uint64_t seed, uint64_t cycle) {
  return lw_lot_even(seed, cycle, (uint64_t)i) < b->cylinder[i].misfire;
}

/* Cylinder i has its turn. */
static void jump(lw_vacuum_gauge *g, const beat *t, int i) {
  const lw_cylinder *c = &t->b->cylinder[i];
  double work = c->work, missed = c->misfire;
  if (t->lots == MISSING) {
    bool now = misses(t->b, i, g->seed, g->cycle);
    bool before = g->cycle > 0 && misses(t->b, i, g->seed, g->cycle - 1);
    work = now || c->misfire >= 1 ? 0 : c->work / (1 - c->misfire);
    missed = before ? 1 : 0;
  }
  if (t->lots != NO_LOTS) work *= 1 + uneven * lw_lot(g->seed + 1, g->cycle, (uint64_t)i);
  g->slow = fmin(fmax(g->slow + (t->work - work) * t->by_work, -0.5), 0.5);
  g->pressure += (lost_charge(t, i, missed) - t->loss) * t->by_charge;
}

/* How fast the crank comes back to its speed (its inertia against what torque and load change with
   speed at a given air flow: both together half as much again as the torque over the speed, ours),
   and the manifold to its pressure. */
static void lags_of(const lw_dial *dial, const lw_engine *e, const lw_burned *b, double speed,
                    double *lag) {
  double torque = fmax(b->imep * e->displacement / turn, 5);
  lag[CRANK] = fmin(fmax(e->inertia * speed / (1.5 * torque), 0.02), 2);
  lag[MANIFOLD] = e->manifold_volume * turn / (filling * e->displacement * speed);
  lag[HOSE] = fmax(dial->hose, 1e-4);
  lag[NEEDLE] = fmax(dial->needle, 1e-4);
  part_lags(lag);
}

/* ---- The gauge ------------------------------------------------------------------------------ */

lw_dial lw_dial_usual(void) {
  return (lw_dial){.hose = 0.01, .needle = 0.02, .step = 0.25 * 3386.389};
}

void lw_vacuum_gauge_start(lw_vacuum_gauge *gauge, const lw_dial *dial, uint64_t seed,
                           double vacuum) {
  *gauge = (lw_vacuum_gauge){.dial = *dial, .seed = seed, .hose = vacuum, .needle = vacuum};
}

static void run(lw_vacuum_gauge *g, double dt, const beat *t, const double *lag, double speed,
                double vacuum, double manifold) {
  double between = turn / t->e->cylinders, left = dt;
  for (;;) {
    double wait = fmax(((g->beats + 1) * between - g->phase) / speed, 0);
    if (wait > left) break;
    glide(g, lag, wait, vacuum, manifold);
    left -= wait;
    g->beats++;
    g->phase = g->beats * between;
    if (g->beats == t->e->cylinders) {
      g->phase = 0;
      g->beats = 0;
      g->cycle++;
    }
    jump(g, t, g->beats);
  }
  glide(g, lag, left, vacuum, manifold);
  g->phase += left * speed;
}

void lw_vacuum_gauge_step(lw_vacuum_gauge *g, double dt, const lw_engine *engine,
                          const lw_burned *burned, double speed, double vacuum, double manifold) {
  if (!(dt > 0)) return;
  double lag[LAGS];
  lags_of(&g->dial, engine, burned, fmax(speed, 1), lag);
  g->time += dt;
  if (!(speed > 5) || engine->cylinders < 1) { /* stands: the needle falls to what is there */
    g->slow = g->pressure = 0;
    glide(g, lag, dt, vacuum, manifold);
    return;
  }
  beat t = beat_of(engine, burned, speed, manifold, MISSING);
  run(g, dt, &t, lag, speed, vacuum, manifold);
}

double lw_vacuum_gauge_read(const lw_vacuum_gauge *g) {
  return g->dial.step > 0 ? g->dial.step * round(g->needle / g->dial.step) : g->needle;
}

/* ---- Watching the needle -------------------------------------------------------------------- */

typedef struct watched {
  double lowest, highest, mean, deviation;
} watched;

/* The needle over so many cycles, eight looks for each cylinder, after some to settle. */
static watched watch(const beat *t, double speed, double vacuum, double manifold, uint64_t seed,
                     int cycles) {
  lw_dial dial = lw_dial_usual();
  lw_vacuum_gauge g;
  double lag[LAGS], dt = turn / t->e->cylinders / speed / 8, sum = 0, squares = 0;
  lags_of(&dial, t->e, t->b, speed, lag);
  lw_vacuum_gauge_start(&g, &dial, seed, vacuum);
  run(&g, 20 * turn / speed, t, lag, speed, vacuum, manifold);
  watched w = {.lowest = INFINITY, .highest = -INFINITY};
  int looks = cycles * t->e->cylinders * 8;
  for (int i = 0; i < looks; i++) {
    run(&g, dt, t, lag, speed, vacuum, manifold);
    double d = g.needle - vacuum;
    w.lowest = fmin(w.lowest, d);
    w.highest = fmax(w.highest, d);
    sum += d;
    squares += d * d;
  }
  w.mean = sum / looks;
  w.deviation = sqrt(fmax(squares / looks - w.mean * w.mean, 0));
  return w;
}

/* The cylinder whose turns are far below those of the others, -1: none. */
static int odd_one(const beat *t, double *share) {
  int worst = -1;
  double least = 0, all = 0;
  for (int i = 0; i < t->e->cylinders; i++) {
    const lw_cylinder *c = &t->b->cylinder[i];
    double lack = (lost_charge(t, i, c->misfire) - t->loss) * t->by_charge +
                  (t->work - c->work) * t->by_work * t->by_charge;
    if (lack <= 0) continue;
    all += lack;
    if (lack > least) least = lack, worst = i;
  }
  *share = all > 0 ? least / all : 0;
  return worst;
}

/* Share of all missed cycles that one cylinder has. */
static double one_sided(const lw_burned *b, int cylinders) {
  double most = 0, all = 0;
  for (int i = 0; i < cylinders; i++) {
    double m = b->cylinder[i].misfire * (1 - b->cylinder[i].misfire);
    most = fmax(most, m);
    all += m;
  }
  return all > 0 ? most / all : 0;
}

lw_needle_motion lw_needle_watch(const lw_engine *engine, const lw_burned *burned, double speed,
                                 double vacuum, double manifold, uint64_t seed) {
  lw_needle_motion out = {.kind = LW_NEEDLE_STEADY,
                          .mean = vacuum,
                          .lowest = vacuum,
                          .highest = vacuum,
                          .cylinder = -1};
  if (!(speed > 5) || engine->cylinders < 1) return out;
  int cycles = (int)fmin(fmax(12 * speed / turn, 20), 600);
  beat t = beat_of(engine, burned, speed, manifold, NO_LOTS);
  watched even = watch(&t, speed, vacuum, manifold, seed, 20);
  t.lots = UNEVEN;
  watched uneven_only = watch(&t, speed, vacuum, manifold, seed, cycles);
  t.lots = MISSING;
  watched by_lot = watch(&t, speed, vacuum, manifold, seed, cycles);
  out.lowest = vacuum + by_lot.lowest;
  out.highest = vacuum + by_lot.highest;
  out.mean = vacuum + by_lot.mean;
  out.regular = even.highest - even.lowest;
  /* four deviations: what an eye takes for the swing (96 % of the time) */
  out.irregular =
      4 *
      sqrt(fmax(by_lot.deviation * by_lot.deviation - uneven_only.deviation * uneven_only.deviation,
                0));
  out.rate = speed / turn;
  double share;
  int odd = odd_one(&t, &share);
  if (out.regular < 0.25 * inch && out.irregular < 0.5 * inch) return out;
  if (out.regular >= out.irregular) {
    bool follows = out.rate < 9 && share > 0.6; /* an eye tells nine beats a second */
    out.kind = follows ? LW_NEEDLE_REGULAR_DROP : LW_NEEDLE_VIBRATION;
    out.cylinder = share > 0.6 ? odd : -1;
  } else {
    bool one = one_sided(burned, engine->cylinders) > fmin(0.5, 2.5 / engine->cylinders);
    out.kind = one ? LW_NEEDLE_IRREGULAR_DROP : LW_NEEDLE_DRIFT;
    out.cylinder = one ? odd : -1;
  }
  return out;
}

const char *lw_needle_text(lw_needle needle) {
  switch (needle) {
  case LW_NEEDLE_UNSAID: return "not watched";
  case LW_NEEDLE_STEADY: return "steady";
  case LW_NEEDLE_REGULAR_DROP: return "drops regularly";
  case LW_NEEDLE_IRREGULAR_DROP: return "drops now and then";
  case LW_NEEDLE_DRIFT: return "drifts";
  case LW_NEEDLE_VIBRATION: return "vibrates";
  }
  return "not watched";
}

/* ---- Tachometer and timing light ------------------------------------------------------------ */

lw_tachometer lw_tachometer_usual(double speed) {
  return (lw_tachometer){.lag = 0.4, .step = 10 * 3.14159265358979323846 / 30, .shown = speed};
}

void lw_tachometer_step(lw_tachometer *t, double dt, double speed) {
  if (!(dt > 0)) return;
  t->shown = speed + (t->shown - speed) * (t->lag > 0 ? exp(-dt / t->lag) : 0);
}

double lw_tachometer_read(const lw_tachometer *t) {
  return t->step > 0 ? t->step * round(t->shown / t->step) : t->shown;
}

lw_light lw_light_read(const lw_engine *engine, const lw_burned *burned, double speed) {
  const double degree = pi / 180, mark = 0.5 * degree, points = 0.3 * degree;
  /* speed's standard deviation from cycles that burn unevenly or not at all */
  double variance = 0;
  double joule = speed > 5 ? 1 / (fmax(engine->inertia, 0.02) * speed * speed) : 0;
  for (int i = 0; i < engine->cylinders; i++) {
    const lw_cylinder *c = &burned->cylinder[i];
    double fired = c->misfire < 1 ? c->work / (1 - c->misfire) : 0;
    variance += fired * fired * (uneven * uneven + c->misfire * (1 - c->misfire));
  }
  double slow = joule * sqrt(variance) * speed, span = fmax(slow, 1);
  double slope = (lw_curve_at(&engine->spark.centrifugal, speed + span) -
                  lw_curve_at(&engine->spark.centrifugal, speed - span)) /
                 (2 * span);
  double follow = slope * slow, wander = sqrt(points * points + follow * follow);
  return (lw_light){.timing = mark * round(burned->timing / mark), .wander = wander};
}
