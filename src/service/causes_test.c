/* causes_test.c - which reading would tell most, for the minutes it takes.
**
** Gain is the expected fall of the entropy of the causes (mutual information of cause and outcome).
** A test with a plain answer (leak found or not) has it from how often each cause gives each answer;
** a reading has it from where each cause would put the best of its channels, on the twin.
*/
#include "causes_internal.h"

#include <math.h>
#include <string.h>

enum { STANDING_MOST = 10, ANSWERS_MOST = 24, GRID = 80 };

/* Causes still standing, each in its likeliest size; plain ones stand on the sound car. */
typedef struct standing {
  lw_cause_id id;
  double probability;
  const kept *kept; /* NULL: the sound car */
  double size;
} standing;

static size_t stand(const inquiry *d, standing *list) {
  static const lw_cause_id plain[] = {LW_CAUSE_NONE, LW_CAUSE_SCREWS, LW_CAUSE_UNBALANCED};
  size_t n = 0;
  double total = 0;
  for (size_t i = 0; i < 3; i++) {
    if (d->probability[plain[i]] > 0.02)
      list[n++] = (standing){plain[i], d->probability[plain[i]], NULL, 0};
  }
  for (size_t i = 0; i < d->kept_count && n < STANDING_MOST; i++) {
    const kept *k = &d->kept[i];
    if (k->count > 1 || k->trials[0].row->id == LW_CAUSE_NONE || k->probability < 0.02) continue;
    list[n++] = (standing){k->trials[0].row->id, k->probability, k, k->trials[0].size};
  }
  for (size_t i = 0; i < n; i++)
    total += list[i].probability;
  for (size_t i = 0; i < n; i++)
    list[i].probability /= total;
  return n;
}

/* ---- plain answers ---- */

typedef struct question {
  const char *name, *how;
  double minutes;
  double usual;           /* how often a car without any of these causes answers yes */
  lw_cause_id ids[4];     /* the causes that answer yes */
  double yes[4];
  const char *outcomes;
} question;

static const question questions[] = {
    {"spray or propane around the manifold",
     "with the engine idling, move along gaskets, hoses and ports; watch the speed", 4, 0.03,
     {LW_CAUSE_VACUUM_LEAK, LW_CAUSE_PORT_LEAK, LW_CAUSE_SHAFT}, {0.9, 0.9, 0.5},
     "speed changes at a place: the leak is there; nowhere: hardly a leak"},
    {"look at the choke plate, engine warm", "air cleaner off, look at the plate", 2, 0.02,
     {LW_CAUSE_CHOKE}, {0.95}, "not upright: the choke; upright: not the choke"},
    {"short the plugs in turn", "engine idling, one cylinder after the other; note each fall of speed",
     6, 0.04, {LW_CAUSE_MISFIRE, LW_CAUSE_WEAK, LW_CAUSE_PORT_LEAK}, {0.92, 0.85, 0.6},
     "one falls less than the others: that cylinder; all fall alike: no cylinder is weak"},
    {"compression of all cylinders", "plugs out, throttle open", 25, 0.05, {LW_CAUSE_WEAK}, {0.93},
     "one low: the engine; all alike: not compression"},
    {"timing light, hose plugged", "at the speed on the decal", 4, 0.04,
     {LW_CAUSE_TIMING_LATE, LW_CAUSE_TIMING_EARLY}, {0.95, 0.95},
     "off: set it; right: not the initial timing"},
    {"timing at 2,500 rpm, hose plugged", "hold the speed and read the advance", 3, 0.04,
     {LW_CAUSE_ADVANCE, LW_CAUSE_TIMING_LATE, LW_CAUSE_TIMING_EARLY}, {0.95, 0.9, 0.9},
     "no advance: the weights are stuck"},
    {"fuel level", "at the sight hole or with the cover off", 12, 0.05,
     {LW_CAUSE_FLOAT_HIGH, LW_CAUSE_FLOAT_LOW}, {0.92, 0.92},
     "off the card's measure: float or needle; right: not the level"},
    {"span gas into the analyzer", "calibrate, then read again", 8, 0.02, {LW_CAUSE_ANALYZER}, {0.95},
     "off: read again after calibration; right: believe the readings"},
    {"leak test of probe and exhaust", "block the tail pipe briefly and listen; seal the probe", 4, 0.04,
     {LW_CAUSE_SAMPLE_AIR}, {0.9}, "hissing: mend it and read again; quiet: believe the readings"},
    {"vacuum fall time at the distributor", "gauge on the hose, rev and let go", 3, 0.04,
     {LW_CAUSE_VALVE_SET}, {0.93}, "over three seconds: set the valve or the dashpot"},
    {"air cleaner off", "read the gases again without it", 2, 0.03, {LW_CAUSE_CLEANER}, {0.93},
     "CO falls: change the element; the same: not the cleaner"},
    {"feel the throttle shaft", "move it across its bores; a drop of oil there changes the speed", 2,
     0.10, {LW_CAUSE_SHAFT}, {0.9}, "play: the shaft; none: not the shaft"},
    {"power valve", "cover off or vacuum pump on its passage", 15, 0.03,
     {LW_CAUSE_POWER_LEAK, LW_CAUSE_POWER_SHUT}, {0.93, 0.93}, "leaks or sticks: change it"},
    {"idle tubes and bleeds", "blow through, drill gauge", 20, 0.06,
     {LW_CAUSE_IDLE_FEED, LW_CAUSE_IDLE_BLEED}, {0.9, 0.9}, "dirt: clean; free: not the idle passages"},
    {"main jet and bleed", "cover off, drill gauge", 18, 0.06,
     {LW_CAUSE_MAIN_RICH, LW_CAUSE_MAIN_LEAN, LW_CAUSE_MAIN_BLEED}, {0.93, 0.93, 0.9},
     "off its size: that jet; right: not the main circuit"},
};
enum { QUESTIONS = sizeof questions / sizeof questions[0] };

static double entropy2(double p) {
  return p > 0 && p < 1 ? -p * log(p) - (1 - p) * log(1 - p) : 0;
}

static bool answered(const inquiry *d, const question *q) {
  const lw_findings *f = &d->findings;
  if (q->ids[0] == LW_CAUSE_VACUUM_LEAK)
    return f->leak_test == LW_LEAK_FOUND || f->leak_test == LW_LEAK_NONE;
  if (q->ids[0] == LW_CAUSE_CHOKE) return f->choke != LW_CHOKE_UNSAID;
  if (q->ids[0] == LW_CAUSE_WEAK) return lw_known(f->weakest);
  if (q->ids[0] == LW_CAUSE_TIMING_LATE) return lw_known(f->timing);
  if (q->ids[0] == LW_CAUSE_VALVE_SET) return lw_known(f->fall_time);
  return false;
}

static double gain_of(const question *q, const standing *list, size_t n) {
  double all = 0, each = 0;
  for (size_t i = 0; i < n; i++) {
    double yes = q->usual;
    for (size_t k = 0; k < 4; k++) {
      if (q->yes[k] > 0 && q->ids[k] == list[i].id) yes = q->yes[k];
    }
    all += list[i].probability * yes;
    each += list[i].probability * entropy2(yes);
  }
  return entropy2(all) - each;
}

/* ---- readings on the twin ---- */

/* Mutual information of which bell an outcome came from. */
static double bells(const double *p, const double *mean, const double *sd, size_t n) {
  double lo = INFINITY, hi = -INFINITY, sum = 0;
  for (size_t i = 0; i < n; i++) {
    lo = fmin(lo, mean[i] - 4 * sd[i]);
    hi = fmax(hi, mean[i] + 4 * sd[i]);
  }
  double step = (hi - lo) / GRID;
  for (int k = 0; k < GRID; k++) {
    double x = lo + (k + 0.5) * step, mixed = 0, inside = 0;
    for (size_t i = 0; i < n; i++) {
      double e = (x - mean[i]) / sd[i], bell = exp(-0.5 * e * e) / (sd[i] * 2.5066282746310002);
      mixed += p[i] * bell;
      inside += bell > 0 ? p[i] * bell * log(bell) : 0;
    }
    if (mixed > 0) sum += step * (inside - mixed * log(mixed));
  }
  return fmax(sum, 0);
}

static bool has_sight(const inquiry *d, lw_condition at, lw_gear_load gear) {
  for (size_t i = 0; i < d->count; i++) {
    if (d->sights[i].at == at && d->sights[i].gear == gear) return true;
  }
  return false;
}

/* What each standing cause would show at one more sight; the best channel's gain. */
static double reading_gain(inquiry *d, const lw_sight *more, const standing *list, size_t n,
                           lw_channel *best) {
  double p[STANDING_MOST], mean[LW_CHANNELS][STANDING_MOST], sd[LW_CHANNELS][STANDING_MOST];
  double most = 0;
  lw_sight sight = *more;
  for (int k = 0; k < LW_CHANNELS; k++)
    sight.x[k] = k == LW_SEE_NO || k == LW_SEE_TIMING ? LW_NONE : 0;
  for (size_t i = 0; i < n; i++) {
    const char *edits[2];
    lw_match match;
    size_t count = list[i].kept ? list[i].kept->trials[0].edit_count : 0;
    for (size_t e = 0; e < count; e++)
      edits[e] = list[i].kept->trials[0].text[e];
    d->runs++;
    if (lw_match_run(d->units, d->car, edits, count, &sight, 1, false, &match, NULL) != LW_OK ||
        !match.possible)
      return 0;
    p[i] = list[i].probability;
    for (int k = 0; k < LW_CHANNELS; k++) {
      bool log_scale = k == LW_SEE_CO || k == LW_SEE_HC || k == LW_SEE_O2;
      double floor = k == LW_SEE_HC ? 40e-6 : 0.003, x = match.seen[0][k], b = match.band[0][k];
      mean[k][i] = log_scale ? asinh(x / floor) : x;
      sd[k][i] = fmax(log_scale ? b / sqrt(x * x + floor * floor) : b, 1e-9);
    }
  }
  for (int k = 0; k < LW_CHANNELS; k++) {
    if (!lw_known(sight.x[k])) continue;
    double gain = bells(p, mean[k], sd[k], n);
    if (!(gain > most)) continue;
    most = gain;
    *best = (lw_channel)k;
  }
  return most;
}

/* ---- the list ---- */

static void put(lw_next_test *list, size_t *n, size_t most, const lw_next_test *t) {
  if (t->gain < 0.03) return;
  double worth = t->gain / (2 + t->minutes);
  size_t at = *n < most ? (*n)++ : most;
  while (at > 0 && list[at - 1].gain / (2 + list[at - 1].minutes) < worth) {
    if (at < most) list[at] = list[at - 1];
    at--;
  }
  if (at < most) list[at] = *t;
}

static void try_readings(inquiry *d, const standing *list, size_t n, lw_next_test *tests,
                         size_t *count, size_t most) {
  const double rpm = 0.10471975511965977;
  lw_channel best = LW_SEE_CO;
  if (!has_sight(d, LW_AT_FAST_IDLE, LW_LOAD_NONE)) {
    lw_sight fast = {.label = "2,500 rpm", .at = LW_AT_FAST_IDLE, .speed = 2500 * rpm};
    fast.screws_known = true;
    double gain = reading_gain(d, &fast, list, n, &best);
    lw_next_test t = {"gases at 2,500 rpm", "hold the speed in neutral until the readings settle", 3,
                      gain, NULL};
    t.outcomes = lw_arena_print(d->arena, "%s tells most: idle circuits and leaks fade there, main "
                                          "circuit faults show",
                                lw_channel_text(best));
    if (t.outcomes) put(tests, count, most, &t);
  }
  if (d->car->engine->converter > 0 && !has_sight(d, LW_AT_IDLE, LW_LOAD_DRIVE)) {
    const lw_sight *idle = &d->sights[d->first_idle];
    lw_sight drive = *idle;
    drive.label = "in drive";
    drive.gear = LW_LOAD_DRIVE;
    drive.speed = 0.87 * idle->speed;
    double gain = reading_gain(d, &drive, list, n, &best);
    lw_next_test t = {"idle in drive", "brake on, wheels chocked, nobody in front of the car", 3, gain,
                      NULL};
    t.outcomes = lw_arena_print(d->arena, "%s tells most", lw_channel_text(best));
    if (t.outcomes) put(tests, count, most, &t);
  }
}

size_t lw_causes_tests(inquiry *d, lw_next_test *tests, size_t most) {
  standing list[STANDING_MOST];
  size_t n = stand(d, list), count = 0;
  if (n < 2) return 0;
  for (size_t i = 0; i < QUESTIONS; i++) {
    const question *q = &questions[i];
    if (answered(d, q)) continue;
    lw_next_test t = {q->name, q->how, q->minutes, gain_of(q, list, n), q->outcomes};
    put(tests, &count, most, &t);
  }
  try_readings(d, list, n, tests, &count, most);
  return count;
}
