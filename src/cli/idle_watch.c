/* idle_watch.c - running instruments beside the idle guide: settled, turned, or to be waited for.
**
** Settled is what the instruments say of each item (docs/instruments.md). Turned is what leaves the
** place that was marked: further than drift and scatter carry it (bands ours).
*/
#include "idle_watch.h"

#include <math.h>
#include <string.h>

static const double rpm = 0.10471975511965977;
static const double oldest = 10;                   /* s: what is older is not read any more */
static const double slowest = 250, fastest = 1500; /* rpm: an idle */
static const double creep = 120;                   /* s: the mark follows what takes so long */

static const lw_live_item needed[] = {LW_LIVE_CO, LW_LIVE_CO2,   LW_LIVE_HC,
                                      LW_LIVE_O2, LW_LIVE_SPEED, LW_LIVE_VACUUM};
static const lw_live_item telling[] = {LW_LIVE_CO, LW_LIVE_SPEED, LW_LIVE_VACUUM};
enum { NEEDED = sizeof needed / sizeof needed[0], TELLING = sizeof telling / sizeof telling[0] };

void idle_watch_start(idle_watch *w) {
  *w = (idle_watch){.turned_at = LW_NONE, .marked_at = LW_NONE};
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    w->lag[i] = lw_live_lag(LW_CLASS_UNSAID, (lw_live_item)i);
    w->within[i] = lw_live_within(LW_CLASS_UNSAID, (lw_live_item)i);
    w->typed[i] = w->mark[i] = w->band[i] = w->now.x[i] = LW_NONE;
  }
}

void idle_watch_instrument(idle_watch *w, const lw_instrument *instrument) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    double lag = 0, within = 0;
    if (!lw_instrument_gives(instrument, (lw_live_item)i, &lag, &within) || w->gives[i]) continue;
    w->gives[i] = true;
    w->lag[i] = lag;
    w->within[i] = within;
  }
}

void idle_watch_came(idle_watch *w, const lw_source *source, const lw_live *came) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (!lw_known(came->x[i])) continue;
    if (came->instrument >= 0) {
      w->gives[i] = true;
    } else {
      w->typed[i] = came->x[i];
      if (i == LW_LIVE_HC) w->typed_basis = came->hc_basis;
    }
  }
  lw_source_now(source, oldest, &w->now);
  for (int i = 0; i < LW_LIVE_ITEMS; i++) { /* typed: until a reading is taken, and no longer */
    if (w->gives[i]) continue;
    w->now.x[i] = w->typed[i];
    w->now.mean[i] = LW_NONE;
    w->now.state[i] = lw_known(w->typed[i]) ? LW_SETTLE_SETTLED : LW_SETTLE_UNSAID;
    if (i == LW_LIVE_HC) w->now.hc_basis = w->typed_basis;
  }
}

static double mean(const idle_watch *w, lw_live_item i) {
  return lw_known(w->now.mean[i]) ? w->now.mean[i] : w->now.x[i];
}

/* ---- settled ---- */

static bool missing(const idle_watch *w, lw_live_item i, char *why, size_t size) {
  if (lw_known(w->now.x[i])) return false;
  if (w->gives[i]) {
    snprintf(why, size, "no %s comes; it is waited for", lw_live_item_text(i));
  } else {
    snprintf(why, size, "no instrument gives %s; type it, as in '%s'",
             i == LW_LIVE_SPEED ? "the speed" : lw_live_item_text(i),
             i == LW_LIVE_SPEED ? "speed: 650 rpm" : "CO: 1.2 %");
  }
  return true;
}

/* An idle that hunts has a mean all the same; CO that never rests has none to go by. */
static bool rests(const idle_watch *w, lw_live_item i, char *why, size_t size) {
  if (lw_known(w->turned_at) && w->now.time - w->turned_at < w->lag[i] && w->gives[i]) return false;
  if (w->now.state[i] == LW_SETTLE_SETTLED) return true;
  if (w->now.state[i] != LW_SETTLE_UNSTEADY) return false;
  if (i != LW_LIVE_CO) return true;
  snprintf(why, size, "CO does not rest: a hunting idle, or a probe that leaks; it is waited for");
  return false;
}

bool idle_watch_settled(const idle_watch *w, char *why, size_t size) {
  bool all = true;
  why[0] = '\0';
  for (size_t k = 0; k < NEEDED; k++) {
    lw_live_item i = needed[k];
    if (!w->gives[i] && i != LW_LIVE_CO && i != LW_LIVE_SPEED) continue;
    if (missing(w, i, why, size)) return false;
    all = rests(w, i, why, size) && all;
  }
  double speed = w->now.x[LW_LIVE_SPEED] / rpm;
  if (speed >= slowest && speed <= fastest) return all;
  snprintf(why, size,
           speed < slowest ? "the engine does not run" : "%.0f rpm is no idle; let the throttle go",
           speed);
  return false;
}

void idle_watch_means(const idle_watch *w, double x[LW_LIVE_ITEMS], lw_hc_basis *basis) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    bool good = w->now.state[i] == LW_SETTLE_SETTLED || w->now.state[i] == LW_SETTLE_UNSTEADY;
    x[i] = good ? mean(w, (lw_live_item)i) : LW_NONE;
  }
  *basis = w->now.hc_basis;
}

void idle_watch_restless(const idle_watch *w, char *text, size_t size) {
  text[0] = '\0';
  for (size_t k = 0; k < NEEDED; k++) {
    if (!lw_known(w->now.x[needed[k]]) || w->now.state[needed[k]] != LW_SETTLE_UNSTEADY) continue;
    lw_text_append(text, size, "%s%s", text[0] ? ", " : "", lw_live_item_text(needed[k]));
  }
}

/* ---- turned ---- */

/* Twice the drift that counts as standing for CO, half as much again for what the tachometer and the
   gauge show, and never less than three standard deviations of the readings. */
static double band_of(const idle_watch *w, lw_live_item i) {
  double spread = lw_known(w->now.spread[i]) ? w->now.spread[i] : 0;
  double least = i == LW_LIVE_CO ? fmax(2 * w->within[i], 0.0005) : 1.5 * w->within[i];
  return fmax(least, 3 * spread);
}

void idle_watch_mark(idle_watch *w) {
  for (size_t k = 0; k < TELLING; k++) {
    lw_live_item i = telling[k];
    w->mark[i] = w->gives[i] ? mean(w, i) : LW_NONE;
    w->band[i] = band_of(w, i);
  }
  w->marked_at = w->now.time;
}

bool idle_watch_left(const idle_watch *w, double share) {
  for (size_t k = 0; k < TELLING; k++) {
    lw_live_item i = telling[k];
    if (fabs(mean(w, i) - w->mark[i]) > share * w->band[i]) return true; /* NaN: not */
  }
  return false;
}

void idle_watch_follow(idle_watch *w) {
  double by = fmin((w->now.time - w->marked_at) / creep, 1);
  for (size_t k = 0; k < TELLING; k++) {
    double to = mean(w, telling[k]), *mark = &w->mark[telling[k]];
    if (!lw_known(to) || !w->gives[telling[k]]) continue;
    *mark = lw_known(*mark) ? *mark + by * (to - *mark) : to;
  }
  w->marked_at = w->now.time;
}

/* An hour later a sound car is not quite where it was: wider than the bands above (ours). */
bool idle_watch_differs(const idle_watch *w, const lw_sight *then) {
  double co = fabs(mean(w, LW_LIVE_CO) - then->x[LW_SEE_CO]);
  double speed = fabs(mean(w, LW_LIVE_SPEED) - then->speed);
  double vacuum = fabs(mean(w, LW_LIVE_VACUUM) - then->x[LW_SEE_VACUUM]);
  if (!lw_known(co) || !lw_known(speed)) return true;
  double most = fmax(fmax(0.001, 0.1 * then->x[LW_SEE_CO]), 2 * w->within[LW_LIVE_CO]);
  return co > most || speed > 30 * rpm || vacuum > 1700;
}
