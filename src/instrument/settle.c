/* settle.c - settled or wait: a straight line through the last readings, against their scatter. */
#include "leanward/instrument.h"

#include "leanward/gauge.h"

#include <math.h>
#include <string.h>

/* ---- what is usual ---- */

static const struct item_row {
  const char *name;
  lw_dim dim;
} items[LW_LIVE_ITEMS] = {
#define ITEM_ROW(id, name, dim, least, most) [id] = {name, dim},
    LW_LIVE_ITEM_LIST(ITEM_ROW)
#undef ITEM_ROW
};

const char *lw_live_item_text(lw_live_item item) {
  return (int)item >= 0 && item < LW_LIVE_ITEMS ? items[item].name : "";
}

lw_dim lw_live_item_dim(lw_live_item item) {
  return (int)item >= 0 && item < LW_LIVE_ITEMS ? items[item].dim : LW_COUNT;
}

const char *lw_settling_text(lw_settling settling) {
  static const char *const words[] = {"", "wait", "settled", "does not rest"};
  return (int)settling >= 0 && settling <= LW_SETTLE_UNSTEADY ? words[settling] : "";
}

/* Gas of an idle stands this long in 25 L of pipe and muffler (gauge.h, docs/gauges.md). */
static const double pipe_time = 5;

static bool is_gas(lw_live_item item) {
  return item <= LW_LIVE_NO;
}

double lw_live_lag(lw_class accuracy, lw_live_item item) {
  if (is_gas(item)) {
    lw_meter_kind meter = lw_meter_usual(accuracy);
    lw_gas_name gas = (lw_gas_name)(LW_GAS_CO + (int)item);
    return pipe_time +
           fmax(lw_meter_settling(&meter, gas, true), lw_meter_settling(&meter, gas, false));
  }
  switch (item) {
  case LW_LIVE_LAMBDA: return pipe_time + 1;
  case LW_LIVE_SPEED: return 2; /* a tachometer's 3 x 0.4 s, and the crank's own */
  case LW_LIVE_VACUUM:
  case LW_LIVE_DISTRIBUTOR: return 1;
  case LW_LIVE_TIMING:
  case LW_LIVE_DWELL: return 2;
  case LW_LIVE_COOLANT:
  case LW_LIVE_OIL: return 30;
  default: return 10;
  }
}

double lw_live_within(lw_class accuracy, lw_live_item item) {
  static const double usual[LW_LIVE_ITEMS] = {
      [LW_LIVE_LAMBDA] = 0.005,     [LW_LIVE_SPEED] = 1.5708, /* 15 rpm */
      [LW_LIVE_VACUUM] = 850,                                 /* a quarter of an inch */
      [LW_LIVE_DISTRIBUTOR] = 850,  [LW_LIVE_TIMING] = 0.0087, [LW_LIVE_DWELL] = 0.0087,
      [LW_LIVE_COOLANT] = 1,        [LW_LIVE_OIL] = 1,         [LW_LIVE_AIR_TEMPERATURE] = 0.5,
      [LW_LIVE_AIR_PRESSURE] = 100, [LW_LIVE_HUMIDITY] = 0.02};
  if (!is_gas(item)) return (int)item < LW_LIVE_ITEMS ? usual[item] : LW_NONE;
  lw_gas_name gas = (lw_gas_name)(LW_GAS_CO + (int)item);
  return fmax(lw_permissible(accuracy, gas, 0) / 3, lw_display_step(accuracy, gas));
}

double lw_live_tail(lw_live_item item) {
  return item == LW_LIVE_HC ? lw_meter_usual(LW_CLASS_UNSAID).hang_clear : 0;
}

/* ---- the judge ---- */

void lw_settler_start(lw_settler *s, double lag, double within) {
  memset(s, 0, sizeof *s);
  s->lag = lag > 0 ? lag : 0;
  s->within = within > 0 ? within : 0;
  s->window = fmax(3, s->lag / 2);
  s->first = s->moved = s->waiting = s->mean = s->slope = s->spread = s->wait = LW_NONE;
}

void lw_settler_tail(lw_settler *s, double tail) {
  s->tail = tail > 0 ? tail : 0;
  s->window = fmax(s->window, s->tail / 2);
}

static double later(double a, double b) { /* NaN: never */
  return lw_known(a) && (!lw_known(b) || a > b) ? a : b;
}

void lw_settler_moved(lw_settler *s, double time) {
  double before = s->moved;
  s->moved = later(time, s->moved);
  if (s->moved == before) return;
  if (s->state == LW_SETTLE_SETTLED || s->state == LW_SETTLE_UNSTEADY) s->waiting = time;
  if (s->state != LW_SETTLE_UNSAID) s->state = LW_SETTLE_WAIT;
}

/* Room for one more: readings close together become one point. */
static void add(lw_settler *s, double time, double x) {
  int n = s->newest;
  if (s->count > 0 && time - s->point[n].time < s->window / 48 && s->point[n].merged < 1000) {
    int m = s->point[n].merged++;
    s->point[n].x += (x - s->point[n].x) / (m + 1);
    return;
  }
  n = s->count ? (n + 1) % LW_SETTLER_POINTS : 0;
  s->newest = n;
  s->point[n].time = time;
  s->point[n].x = x;
  s->point[n].merged = 1;
  if (s->count < LW_SETTLER_POINTS) s->count++;
}

typedef struct line {
  double span, slope, error; /* s covered; per s; standard error of the slope */
  int points;
} line;

/* Least squares over the window, each point by how many readings it stands for. */
static line fit(lw_settler *s, double now) {
  double w = 0, t = 0, x = 0, tt = 0, tx = 0, xx = 0;
  line l = {0};
  for (int i = 0; i < s->count; i++) {
    int at = (s->newest - i + LW_SETTLER_POINTS) % LW_SETTLER_POINTS;
    double age = now - s->point[at].time, m = s->point[at].merged;
    if (age > s->window * 1.02 && l.points >= 4) break; /* slow instruments: the last four */
    l.span = age;
    l.points++;
    w += m;
    t -= m * age;
    x += m * s->point[at].x;
  }
  t /= w;
  x /= w;
  for (int i = 0; i < l.points; i++) {
    int at = (s->newest - i + LW_SETTLER_POINTS) % LW_SETTLER_POINTS;
    double m = s->point[at].merged, dt = s->point[at].time - now - t, dx = s->point[at].x - x;
    tt += m * dt * dt;
    tx += m * dt * dx;
    xx += m * dx * dx;
  }
  l.slope = tt > 0 ? tx / tt : 0;
  double rest = fmax(xx - l.slope * tx, 0), freedom = l.points - 2;
  s->mean = x;
  s->slope = l.slope;
  s->spread = freedom > 0 ? sqrt(rest / w * l.points / freedom) : LW_NONE;
  l.error = freedom > 0 && tt > 0 ? s->spread * sqrt(w / l.points / tt) : INFINITY;
  return l;
}

static double left_to_wait(const lw_settler *s, double now, const line *l) {
  double lag = s->lag - (now - s->moved), window = s->window - l->span;
  double sure = fmax(fabs(l->slope) - 2 * l->error, 0); /* not what the scatter alone may be */
  double move = sure * fmax(s->window, s->tail), fall = 0;
  if (s->within > 0 && move > s->within)
    fall = fmax(s->lag / 3, s->tail) * log(move / s->within) + s->window / 4;
  return fmax(0.5, fmax(fmax(lag, window), fall));
}

static lw_settling judge(lw_settler *s, double now, const line *l) {
  double ahead = fmax(s->window, s->tail);
  double move = fabs(l->slope) * ahead, sure = 2 * l->error * ahead;
  double allowed = s->state == LW_SETTLE_SETTLED ? 1.5 * s->within : s->within;
  bool enough = l->points >= 4 && l->span >= 0.9 * s->window;
  bool rests = enough && now - s->moved >= s->lag && move + sure / 2 <= allowed;
  if (rests) return LW_SETTLE_SETTLED;
  return now - later(s->waiting, s->moved) > 3 * s->lag + 30 ? LW_SETTLE_UNSTEADY : LW_SETTLE_WAIT;
}

lw_settling lw_settler_take(lw_settler *s, double time, double x) {
  if (!lw_known(x) || !lw_known(time)) return s->state;
  if (s->count > 0 && time < s->point[s->newest].time) time = s->point[s->newest].time;
  if (!lw_known(s->first)) {
    s->first = s->waiting = time;
    s->moved = later(s->moved, time);
  }
  add(s, time, x);
  line l = fit(s, time);
  lw_settling before = s->state;
  s->state = judge(s, time, &l);
  if (before == LW_SETTLE_SETTLED && s->state != before) {
    s->waiting = time;
    s->state = LW_SETTLE_WAIT;
  }
  s->wait = s->state == LW_SETTLE_SETTLED ? 0 : left_to_wait(s, time, &l);
  if (s->state == LW_SETTLE_UNSTEADY) s->wait = LW_NONE;
  return s->state;
}
