/* causes_test.c - which reading would tell most, for the minutes it takes.
**
** Gain is the expected fall of the entropy of the causes (mutual information of cause and outcome).
** A test with a plain answer (leak found or not) has it from how often each cause gives each;
** a reading has it from where each cause would put the best of its channels, on the twin.
*/
#include "causes_internal.h"

#include <math.h>
#include <string.h>

enum { STANDING_MOST = 10, ANSWERS_MOST = 24, GRID = 80 };

/* Causes still standing, each in its likeliest size, and pairs of them; plain ones stand on the sound
   car. */
typedef struct standing {
  lw_cause_id id, second; /* second: LW_CAUSE_NONE for one alone */
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
      list[n++] = (standing){plain[i], LW_CAUSE_NONE, d->probability[plain[i]], NULL, 0};
  }
  for (size_t i = 0; i < d->kept_count && n < STANDING_MOST; i++) {
    const kept *k = &d->kept[i];
    if (k->trials[0].row->id == LW_CAUSE_NONE || k->probability < 0.02) continue;
    lw_cause_id second = k->count > 1 ? k->trials[1].row->id : LW_CAUSE_NONE;
    list[n++] = (standing){k->trials[0].row->id, second, k->probability, k, k->trials[0].size};
  }
  for (size_t i = 0; i < n; i++)
    total += list[i].probability;
  for (size_t i = 0; i < n; i++)
    list[i].probability /= total;
  return n;
}

/* ---- plain answers ---- */

/* How often each finds what is there, or what is not: ours (docs/causes.md). */
static const lw_next_test questions[] = {
    {"spray or propane around the manifold",
     "with the engine idling, move along gaskets, hoses and ports; watch the speed",
     4,
     0,
     "the speed changes at a gasket or hose: that leak; at one port: that cylinder's; at the "
     "throttle shaft: the shaft; nowhere: hardly a leak",
     3,
     {{LW_CAUSE_VACUUM_LEAK, 0.9}, {LW_CAUSE_PORT_LEAK, 0.9}, {LW_CAUSE_SHAFT, 0.7}},
     0.03,
     true},
    {"look at the choke plate, engine warm",
     "air cleaner off, look at the plate",
     2,
     0,
     "not upright: the choke; upright: not the choke",
     1,
     {{LW_CAUSE_CHOKE, 0.95}},
     0.02,
     true},
    {"short the plugs in turn",
     "engine idling, one cylinder after the other; note each fall of speed",
     6,
     0,
     "one falls less than the others: that cylinder's plug, wire, port or compression; all alike: "
     "no cylinder is weak",
     3,
     {{LW_CAUSE_MISFIRE, 0.92}, {LW_CAUSE_WEAK, 0.85}, {LW_CAUSE_PORT_LEAK, 0.6}},
     0.04,
     false},
    {"compression of all cylinders",
     "plugs out, throttle open",
     25,
     0,
     "one low: the engine first; all alike: not compression",
     1,
     {{LW_CAUSE_WEAK, 0.93}},
     0.05,
     true},
    {"timing light, hose plugged",
     "at the speed on the decal",
     4,
     0,
     "late or early: set it; right: not the initial timing",
     2,
     {{LW_CAUSE_TIMING_LATE, 0.95}, {LW_CAUSE_TIMING_EARLY, 0.95}},
     0.04,
     true},
    {"advance at 2,500 rpm, hose plugged",
     "hold the speed and read the timing",
     3,
     0,
     "no more than at idle: the weights are stuck; by the curve: they are free",
     1,
     {{LW_CAUSE_ADVANCE, 0.95}},
     0.04,
     true},
    {"fuel level",
     "at the sight hole or with the cover off",
     12,
     0,
     "high or low by the card's measure: float, needle or supply; right: not the level",
     2,
     {{LW_CAUSE_FLOAT_HIGH, 0.92}, {LW_CAUSE_FLOAT_LOW, 0.92}},
     0.05,
     true},
    {"span gas into the analyzer",
     "calibrate, then read again",
     8,
     0,
     "off: read again after calibration; right: believe the readings",
     1,
     {{LW_CAUSE_ANALYZER, 0.95}},
     0.02,
     true},
    {"leak test of probe and exhaust",
     "block the tail pipe briefly and listen; seal the probe",
     4,
     0,
     "hissing: mend it and read again; quiet: believe the readings",
     1,
     {{LW_CAUSE_SAMPLE_AIR, 0.9}},
     0.04,
     true},
    {"vacuum fall time at the distributor",
     "gauge on the hose, rev and let go",
     3,
     0,
     "over three seconds: set the valve or the dashpot; less: neither",
     1,
     {{LW_CAUSE_VALVE_SET, 0.93}},
     0.04,
     true},
    {"air cleaner off",
     "read the gases again without it",
     2,
     0,
     "CO falls: change the element; the same: not the cleaner",
     1,
     {{LW_CAUSE_CLEANER, 0.93}},
     0.03,
     true},
    {"feel the throttle shaft",
     "move it across its bores; a drop of oil there changes the speed",
     2,
     0,
     "play: the shaft; none: not the shaft",
     1,
     {{LW_CAUSE_SHAFT, 0.9}},
     0.10,
     true},
    {"power valve",
     "cover off or vacuum pump on its passage",
     15,
     0,
     "leaks or sticks: change it; holds and moves: not the power valve",
     2,
     {{LW_CAUSE_POWER_LEAK, 0.93}, {LW_CAUSE_POWER_SHUT, 0.93}},
     0.03,
     true},
    {"idle tubes and bleeds",
     "blow through, drill gauge",
     20,
     0,
     "dirt in the tube: idle feed; in the bleed: idle bleed; free: neither",
     2,
     {{LW_CAUSE_IDLE_FEED, 0.9}, {LW_CAUSE_IDLE_BLEED, 0.9}},
     0.06,
     true},
    {"main jet and bleed",
     "cover off, drill gauge",
     18,
     0,
     "large: the jet is worn; small: dirt in it; the bleed shut: clean it; to size: not the main "
     "circuit",
     3,
     {{LW_CAUSE_MAIN_RICH, 0.93}, {LW_CAUSE_MAIN_LEAN, 0.93}, {LW_CAUSE_MAIN_BLEED, 0.9}},
     0.06,
     true},
    {"secondary plates",
     "air cleaner off, engine stopped: light from below, feel the stop",
     3,
     0,
     "not on their stop: what holds them; shut: not the secondaries",
     1,
     {{LW_CAUSE_SECONDARY, 0.93}},
     0.03,
     true},
    {"look at the pump shot",
     "engine stopped, air cleaner off: look down the air horn and open the throttle",
     2,
     0,
     "no stream or a thin one: the accelerator pump; strong from the first movement: not the pump",
     1,
     {{LW_CAUSE_PUMP, 0.93}},
     0.05,
     true},
    {"count the turns of the air valve's spring",
     "from slack with the valve closed, to the card's figure",
     5,
     0,
     "more or fewer turns than the card's: set them; the same: not the spring",
     1,
     {{LW_CAUSE_AIR_VALVE, 0.93}},
     0.03,
     true},
    {"read the number on the unit",
     "stamped on the casting or on a tag at the cover",
     2,
     0,
     "another unit's: fit the one that belongs here; the card's: it is the right one",
     1,
     {{LW_CAUSE_UNIT, 0.98}},
     0.01,
     true},
    {"fuel from another can",
     "a known gasoline through the pump's hose, then read again",
     15,
     0,
     "CO rises to its usual place: the fuel in the tank; the same: not the fuel",
     1,
     {{LW_CAUSE_FUEL, 0.9}},
     0.03,
     true},
};
enum { QUESTIONS = sizeof questions / sizeof questions[0] };

const lw_next_test *lw_plain_tests(size_t *count) {
  *count = QUESTIONS;
  return questions;
}

double lw_test_likelihood(const lw_next_test *t, size_t answer, lw_cause_id cause) {
  size_t own = t->find_count;
  for (size_t i = 0; i < t->find_count; i++)
    own = t->finds[i].id == cause ? i : own;
  bool there = own < t->find_count;
  double found = there ? t->finds[own].often : t->falsely;
  if (!t->tells_which) return answer < t->find_count ? (answer == 0 ? found : 0) : 1 - found;
  size_t others = t->find_count - (there ? 1 : 0);
  double each = others ? t->falsely / (double)t->find_count : 0;
  if (answer == own && there) return found;
  if (answer < t->find_count) return each;
  return 1 - (there ? found : 0) - each * (double)others;
}

double lw_check_gain(const lw_next_test *t, const double *by_id) {
  double gain = 0;
  for (size_t a = 0; a <= t->find_count; a++) {
    double all = 0, each = 0;
    for (int i = 0; i < LW_CAUSES; i++) {
      double p = by_id[i] > 0 ? lw_test_likelihood(t, a, (lw_cause_id)i) : 0;
      all += by_id[i] * p;
      each += p > 0 ? by_id[i] * p * log(p) : 0;
    }
    gain += each - (all > 0 ? all * log(all) : 0);
  }
  return gain;
}

static double gain_of(const lw_next_test *t, const standing *list, size_t n) {
  double by_id[LW_CAUSES] = {0};
  for (size_t i = 0; i < n; i++) { /* a check may find either of two */
    bool pair = list[i].second != LW_CAUSE_NONE;
    by_id[list[i].id] += (pair ? 0.5 : 1) * list[i].probability;
    if (pair) by_id[list[i].second] += 0.5 * list[i].probability;
  }
  return lw_check_gain(t, by_id);
}

static bool answered(const inquiry *d, const lw_next_test *q) {
  const lw_findings *f = &d->findings;
  lw_cause_id first = q->finds[0].id;
  if (first == LW_CAUSE_VACUUM_LEAK)
    return f->leak_test == LW_LEAK_FOUND || f->leak_test == LW_LEAK_NONE;
  if (first == LW_CAUSE_CHOKE) return f->choke != LW_CHOKE_UNSAID;
  if (first == LW_CAUSE_WEAK) return lw_known(f->weakest);
  if (first == LW_CAUSE_TIMING_LATE) return lw_known(f->timing);
  if (first == LW_CAUSE_ADVANCE) return f->advance != LW_FIT_UNKNOWN;
  if (first == LW_CAUSE_FLOAT_HIGH) return lw_known(f->fuel_high);
  if (first == LW_CAUSE_PUMP) return f->shot != LW_SHOT_UNSAID;
  if (first == LW_CAUSE_AIR_VALVE) return lw_known(f->air_valve);
  if (first == LW_CAUSE_VALVE_SET) return lw_known(f->fall_time);
  return false;
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
    const char *edits[4];
    lw_match match;
    const kept *had = list[i].kept;
    size_t count = 0;
    for (size_t t = 0; had && t < had->count; t++) {
      for (size_t e = 0; e < had->trials[t].edit_count; e++)
        edits[count++] = had->trials[t].text[e];
    }
    const lw_test_car *car = list[i].id == LW_CAUSE_UNIT ? d->other : d->car;
    d->runs++;
    if (lw_match_run(d->units, car, edits, count, &sight, 1, false, &match, NULL) != LW_OK ||
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

/* Minutes count, but a test that tells is worth taking the cover off for. */
double lw_test_worth(const lw_next_test *t) {
  return t->gain / (20 + t->minutes);
}

static void put(lw_next_test *list, size_t *n, size_t most, const lw_next_test *t) {
  if (t->gain < 0.03) return;
  size_t at = *n < most ? (*n)++ : most;
  while (at > 0 && lw_test_worth(&list[at - 1]) < lw_test_worth(t)) {
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
    lw_next_test t = {.name = "gases at 2,500 rpm",
                      .how = "hold the speed in neutral until the readings settle",
                      .minutes = 3};
    t.gain = reading_gain(d, &fast, list, n, &best);
    t.outcomes = lw_arena_print(d->arena,
                                "%s tells most: idle circuits and leaks fade there, main circuit "
                                "faults show",
                                lw_channel_text(best));
    if (t.outcomes) put(tests, count, most, &t);
  }
  if (d->car->engine->converter > 0 && !has_sight(d, LW_AT_IDLE, LW_LOAD_DRIVE)) {
    const lw_sight *idle = &d->sights[d->first_idle];
    lw_sight drive = *idle;
    drive.label = "in drive";
    drive.gear = LW_LOAD_DRIVE;
    drive.speed = 0.87 * idle->speed;
    lw_next_test t = {.name = "idle in drive",
                      .how = "brake on, wheels chocked, nobody in front of the car",
                      .minutes = 3};
    t.gain = reading_gain(d, &drive, list, n, &best);
    t.outcomes = lw_arena_print(d->arena, "%s tells most", lw_channel_text(best));
    if (t.outcomes) put(tests, count, most, &t);
  }
}

size_t lw_causes_tests(inquiry *d, lw_next_test *tests, size_t most) {
  standing list[STANDING_MOST];
  size_t n = stand(d, list), count = 0;
  if (n < 2) return 0;
  for (size_t i = 0; i < QUESTIONS; i++) {
    if (answered(d, &questions[i])) continue;
    lw_next_test t = questions[i];
    t.gain = gain_of(&t, list, n);
    put(tests, &count, most, &t);
  }
  try_readings(d, list, n, tests, &count, most);
  return count;
}
