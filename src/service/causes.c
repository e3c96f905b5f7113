/* causes.c - causes tried on the twin, weighed, and put in words.
**
** Rows below hold each cause's prior (how often it is met among cars brought for an idle that will
** not set; ours) and the sizes it is tried in. A cause that a unit cannot have is refused by the
** what-if and drops out.
*/
#include "causes_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const names[] = {
#define NAME_OF(id, name) name,
    LW_CAUSE_LIST(NAME_OF)
#undef NAME_OF
};

const char *lw_cause_text(lw_cause_id cause) {
  return cause < LW_CAUSES ? names[cause] : "cause";
}

/* @ is the size, # the cylinder. */
static const cause_row rows[] = {
    {LW_CAUSE_NONE, 0.26, NULL, NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_VACUUM_LEAK, 0.09, "vacuum leak=@ mm", NULL, NULL, {1.2, 1.8, 2.5, 3.3, 4.2}, 5, "mm"},
    {LW_CAUSE_PORT_LEAK, 0.05, "vacuum leak=@ mm", "leak at cylinder=#", NULL,
     {1.0, 1.5, 2.1, 2.8, 3.6}, 5, "mm"},
    {LW_CAUSE_POWER_LEAK, 0.03, "power valve=leaking", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_POWER_LEAK, 0.02, "power valve=stuck open", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_POWER_SHUT, 0.01, "power valve=stuck shut", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_FLOAT_HIGH, 0.04, "float level=+@ mm", NULL, NULL, {1.5, 2.5, 3.5, 4.5}, 4, "mm"},
    {LW_CAUSE_FLOAT_LOW, 0.03, "float level=-@ mm", NULL, NULL, {2, 3.5, 5, 7}, 4, "mm"},
    {LW_CAUSE_IDLE_FEED, 0.02, "idle feed=clogged @ %", NULL, NULL, {15, 25, 40, 60, 85}, 5, "%"},
    {LW_CAUSE_IDLE_FEED, 0.015, "left idle feed=clogged @ %", NULL, "left", {25, 45, 70, 95}, 4, "%"},
    {LW_CAUSE_IDLE_FEED, 0.015, "right idle feed=clogged @ %", NULL, "right", {25, 45, 70, 95}, 4,
     "%"},
    {LW_CAUSE_IDLE_BLEED, 0.02, "idle bleed=clogged @ %", NULL, NULL, {12, 25, 40, 60, 90}, 5, "%"},
    {LW_CAUSE_IDLE_BLEED, 0.01, "left idle bleed=clogged @ %", NULL, "left", {20, 40, 65, 95}, 4, "%"},
    {LW_CAUSE_IDLE_BLEED, 0.01, "right idle bleed=clogged @ %", NULL, "right", {20, 40, 65, 95}, 4,
     "%"},
    {LW_CAUSE_MAIN_RICH, 0.03, "main jet=worn @ %", NULL, NULL, {4, 7, 10}, 3, "%"},
    {LW_CAUSE_MAIN_LEAN, 0.02, "main jet=clogged @ %", NULL, NULL, {10, 18, 28}, 3, "%"},
    {LW_CAUSE_MAIN_BLEED, 0.02, "main bleed=clogged @ %", NULL, NULL, {40, 65, 90}, 3, "%"},
    {LW_CAUSE_SHAFT, 0.03, "shaft wear=@ mm", NULL, NULL, {0.15, 0.25, 0.4}, 3, "mm"},
    {LW_CAUSE_CHOKE, 0.04, "choke=@ %", NULL, NULL, {40, 52, 60, 66, 72, 78}, 6, "%"},
    {LW_CAUSE_CLEANER, 0.02, "air cleaner=clogged @ %", NULL, NULL, {70, 82, 90}, 3, "%"},
    {LW_CAUSE_SECONDARY, 0.02, "secondary=stuck open @ deg", NULL, NULL, {1.5, 3, 5}, 3, "deg"},
    {LW_CAUSE_CHECK_VALVE, 0.02, "check valve=stuck open", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_TIMING_LATE, 0.04, "timing=-@ deg", NULL, NULL, {4, 7, 10, 14}, 4, "deg"},
    {LW_CAUSE_TIMING_EARLY, 0.03, "timing=+@ deg", NULL, NULL, {4, 7, 10, 14}, 4, "deg"},
    {LW_CAUSE_ADVANCE, 0.02, "centrifugal advance=stuck", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_VALVE_SET, 0.02, NULL, NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_WEAK, 0.03, "cylinder=# compression @ %", NULL, NULL, {45, 60, 70, 78}, 4, "%"},
    {LW_CAUSE_MISFIRE, 0.05, "cylinder=# spark @ %", NULL, NULL, {0, 25, 40, 55}, 4, "%"},
    {LW_CAUSE_SAMPLE_AIR, 0.05, "exhaust leak=@ %", NULL, NULL, {4, 7, 12, 20}, 4, "%"},
    {LW_CAUSE_ANALYZER, 0.03, NULL, NULL, NULL, {0.75, 0.84, 1.16, 1.28}, 4, NULL},
    {LW_CAUSE_FUEL, 0.02, "fuel=E@", NULL, NULL, {10, 15}, 2, NULL},
};
enum { ROWS = sizeof rows / sizeof rows[0] };

const cause_row *lw_cause_rows(size_t *count) {
  *count = ROWS;
  return rows;
}

/* ---- one cause, one size ---- */

/* A pattern with its size and cylinder filled in. */
static void fill(char *out, size_t size, const char *pattern, double x, int cylinder) {
  out[0] = '\0';
  for (; *pattern; pattern++) {
    if (*pattern == '@') {
      lw_text_append(out, size, "%g", x);
    } else if (*pattern == '#') {
      lw_text_append(out, size, "%d", cylinder);
    } else {
      lw_text_append(out, size, "%c", *pattern);
    }
  }
}

static void edits_of(const cause_row *row, double size, int cylinder, trial *t) {
  t->row = row;
  t->size = size;
  t->edit_count = 0;
  if (!row->edit) return;
  fill(t->text[t->edit_count++], sizeof t->text[0], row->edit, size, cylinder);
  if (row->also) fill(t->text[t->edit_count++], sizeof t->text[0], row->also, size, cylinder);
}

/* An analyzer that reads `gain` times too much: as if what it read were over that. */
static void scaled(const inquiry *d, double gain, lw_sight *sights) {
  memcpy(sights, d->sights, d->count * sizeof *sights);
  for (size_t i = 0; i < d->count; i++) {
    static const lw_channel read[] = {LW_SEE_CO, LW_SEE_CO2, LW_SEE_HC};
    for (size_t k = 0; k < 3; k++)
      sights[i].x[read[k]] /= gain;
  }
}

static lw_status run(inquiry *d, const trial *trials, size_t count, lw_match *match,
                     lw_error *error) {
  const char *edits[4];
  size_t n = 0;
  lw_sight own[LW_SIGHTS_MOST];
  const lw_sight *sights = d->sights;
  for (size_t i = 0; i < count; i++) {
    for (size_t k = 0; k < trials[i].edit_count; k++)
      edits[n++] = trials[i].text[k];
    if (trials[i].row->id != LW_CAUSE_ANALYZER) continue;
    scaled(d, trials[i].size, own);
    sights = own;
  }
  d->runs++;
  lw_status status =
      lw_match_run(d->units, d->car, edits, n, sights, d->count, false, match, error);
  if (status == LW_OK && !match->possible) match->evidence = -1e6;
  return status;
}

/* ---- findings ---- */

static double normal(double x, double mean, double sd) {
  double e = (x - mean) / sd;
  return -0.5 * e * e - log(sd * 2.5066282746310002);
}

static bool leaks(lw_cause_id id) {
  return id == LW_CAUSE_VACUUM_LEAK || id == LW_CAUSE_PORT_LEAK;
}

/* Logarithm of the probability of what was found beside the gases, under a cause of a size. How
   often each finding is made is ours (docs/causes.md). */
double lw_cause_findings(const lw_findings *f, lw_cause_id id, double size, double initial) {
  const double degree = 0.017453292519943295;
  double sum = 0;
  if (lw_known(f->timing)) {
    double off = id == LW_CAUSE_TIMING_LATE ? -size : id == LW_CAUSE_TIMING_EARLY ? size : 0;
    sum += normal(f->timing / degree, initial / degree + off, 1.6);
  }
  if (lw_known(f->weakest)) {
    double share = id == LW_CAUSE_WEAK ? size / 100 : 0.94;
    sum += normal(fmin(f->weakest, 1), share, id == LW_CAUSE_WEAK ? 0.06 : 0.04);
  }
  if (f->leak_test == LW_LEAK_FOUND || f->leak_test == LW_LEAK_NONE) {
    double found = leaks(id) ? 0.9 : id == LW_CAUSE_SHAFT ? 0.5 : 0.03;
    sum += log(f->leak_test == LW_LEAK_FOUND ? found : 1 - found);
  }
  if (f->choke != LW_CHOKE_UNSAID) {
    double shut = id == LW_CAUSE_CHOKE ? 0.92 : 0.02;
    sum += log(f->choke == LW_CHOKE_OPEN ? 1 - shut : shut);
  }
  if (f->needle != LW_NEEDLE_UNSAID) {
    bool one = id == LW_CAUSE_WEAK || id == LW_CAUSE_MISFIRE, port = id == LW_CAUSE_PORT_LEAK;
    double steady = one ? 0.1 : port ? 0.4 : 0.75;
    double regular = one ? 0.6 : port ? 0.25 : 0.05;
    sum += log(f->needle == LW_NEEDLE_STEADY         ? steady
               : f->needle == LW_NEEDLE_REGULAR_DROP ? regular
                                                     : (1 - steady - regular) / 3);
  }
  if (lw_known(f->fall_time)) {
    bool slow = id == LW_CAUSE_VALVE_SET;
    sum += normal(log(fmax(f->fall_time, 0.05)), slow ? log(5) : log(1.3), slow ? 0.5 : 0.45);
  }
  return sum;
}

lw_findings lw_findings_none(void) {
  return (lw_findings){.timing = LW_NONE, .weakest = LW_NONE, .fall_time = LW_NONE};
}

/* ---- nothing wrong, or mis-set ---- */

/* Whether CO as found lies where this card wants it, softly: 1 well inside. */
static double well_set(const inquiry *d, double co) {
  lw_range want = d->car->twin->card->idle.co;
  double lo = lw_known(want.lo) ? want.lo : 0.005, hi = lw_known(want.hi) ? want.hi : 0.025;
  if (!lw_known(co)) return 0.5;
  const double soft = 0.0025, slack = 0.006;
  double under = 1 / (1 + exp((lo - slack - co) / soft));
  double over = 1 / (1 + exp((co - hi - slack) / soft));
  return under * over;
}

/* How far two screws stand apart at the first idle sight, turns; 0 with less than two. */
static double apart(const inquiry *d) {
  double lo = INFINITY, hi = -INFINITY;
  const lw_sight *s = &d->sights[d->first_idle];
  for (size_t i = 0; i < s->screw_count; i++) {
    lo = fmin(lo, s->screws[i].turns);
    hi = fmax(hi, s->screws[i].turns);
  }
  return s->screw_count > 1 ? hi - lo : 0;
}

static void split_sound(inquiry *d, double log_weight) {
  const lw_sight *s = &d->sights[d->first_idle];
  double set = well_set(d, s->x[LW_SEE_CO]);
  double skew = 1 / (1 + exp((0.4 - apart(d)) / 0.06));
  double mis_set = 0.20 / 0.26; /* prior of mis-set screws over that of a sound car */
  d->weight[LW_CAUSE_NONE] = log_weight + log(fmax(set * (1 - skew), 1e-9));
  d->weight[LW_CAUSE_SCREWS] = log_weight + log(fmax(mis_set * (1 - set) * (1 - skew), 1e-9));
  d->weight[LW_CAUSE_UNBALANCED] = log_weight + log(fmax(mis_set * skew, 1e-9));
}

/* ---- all of them ---- */

static double log_add(double a, double b) {
  double most = fmax(a, b);
  if (!(most > -INFINITY)) return most;
  return most + log(exp(a - most) + exp(b - most));
}

static void keep(inquiry *d, const trial *trials, size_t count, double weight, const lw_match *match) {
  if (d->kept_count >= KEPT_MOST) return;
  kept *k = &d->kept[d->kept_count++];
  memcpy(k->trials, trials, count * sizeof *trials);
  k->count = count;
  k->weight = weight;
  k->match = *match;
}

/* One row over its sizes: its weight, and its best size kept. */
static lw_status weigh_row(inquiry *d, const cause_row *row, lw_error *error) {
  double total = -INFINITY, best = -INFINITY;
  trial best_trial = {0};
  lw_match best_match = {0};
  int cylinder = d->findings.weakest_cylinder > 0 ? d->findings.weakest_cylinder : 1;
  for (size_t i = 0; i < row->size_count; i++) {
    trial t;
    lw_match match;
    edits_of(row, row->sizes[i], cylinder, &t);
    lw_status status = run(d, &t, 1, &match, error);
    if (status != LW_OK && row->id == LW_CAUSE_NONE) return status;
    if (status != LW_OK) return LW_OK; /* this unit cannot have it */
    double w = match.evidence +
               lw_cause_findings(&d->findings, row->id, row->sizes[i], d->car->engine->spark.initial) +
               log(row->prior / (double)row->size_count);
    total = log_add(total, w);
    if (!(w > best)) continue;
    best = w;
    best_trial = t;
    best_match = match;
  }
  if (row->id == LW_CAUSE_NONE) {
    d->sound = best_match;
    double findings =
        lw_cause_findings(&d->findings, LW_CAUSE_NONE, 0, d->car->engine->spark.initial);
    d->weight[LW_CAUSE_OTHER] = best_match.stray + findings + log(0.05);
  }
  keep(d, &best_trial, 1, total, &best_match);
  return LW_OK;
}

/* The most likely single faults, two by two. */
static lw_status weigh_pairs(inquiry *d) {
  enum { BEST = 5 };
  const kept *best[BEST];
  size_t n = 0, singles = d->kept_count;
  for (size_t i = 0; i < singles; i++) {
    const kept *k = &d->kept[i];
    if (!k->trials[0].row->edit || !(k->weight > -1e5)) continue;
    size_t at = n < BEST ? n++ : BEST;
    while (at > 0 && best[at - 1]->weight < k->weight) {
      if (at < BEST) best[at] = best[at - 1];
      at--;
    }
    if (at < BEST) best[at] = k;
  }
  for (size_t i = 0; i < n; i++) {
    for (size_t j = i + 1; j < n; j++) {
      trial two[2] = {best[i]->trials[0], best[j]->trials[0]};
      lw_match match;
      if (two[0].row->id == two[1].row->id) continue;
      if (leaks(two[0].row->id) && leaks(two[1].row->id)) continue;
      if (run(d, two, 2, &match, NULL) != LW_OK) continue;
      double initial = d->car->engine->spark.initial;
      double found = fmax(lw_cause_findings(&d->findings, two[0].row->id, two[0].size, initial),
                          lw_cause_findings(&d->findings, two[1].row->id, two[1].size, initial));
      double prior = two[0].row->prior * two[1].row->prior / (double)two[0].row->size_count /
                     (double)two[1].row->size_count;
      keep(d, two, 2, match.evidence + found + log(prior), &match);
    }
  }
  return LW_OK;
}

static void normalize(inquiry *d) {
  double total = d->weight[LW_CAUSE_OTHER];
  for (size_t i = 0; i < d->kept_count; i++) {
    kept *k = &d->kept[i];
    if (k->trials[0].row->id == LW_CAUSE_NONE) {
      split_sound(d, k->weight);
      total = log_add(total, log_add(d->weight[LW_CAUSE_NONE],
                                     log_add(d->weight[LW_CAUSE_SCREWS],
                                             d->weight[LW_CAUSE_UNBALANCED])));
    } else {
      total = log_add(total, k->weight);
    }
  }
  for (int i = 0; i < LW_CAUSES; i++)
    d->probability[i] = exp(d->weight[i] - total);
  for (size_t i = 0; i < d->kept_count; i++) {
    kept *k = &d->kept[i];
    k->probability = exp(k->weight - total);
    for (size_t c = 0; c < k->count && k->trials[0].row->id != LW_CAUSE_NONE; c++)
      d->probability[k->trials[c].row->id] += k->probability;
  }
}

static lw_status prepare(inquiry *d, lw_error *error) {
  bool any = false;
  d->first_idle = 0;
  for (size_t i = d->count; i-- > 0;) {
    if (d->sights[i].at == LW_AT_IDLE) d->first_idle = i;
    for (int k = 0; k < LW_CHANNELS; k++)
      any = any || lw_known(d->sights[i].x[k]);
  }
  if (d->count == 0 || !any) {
    return lw_fail(error, LW_BAD_INPUT,
                   "no reading to weigh: at least one with its speed and a gas or the vacuum");
  }
  for (int i = 0; i < LW_CAUSES; i++)
    d->weight[i] = -INFINITY;
  return LW_OK;
}

lw_status lw_causes_find(lw_arena *arena, lw_units *units, const lw_test_car *car,
                         const lw_sight *sights, size_t count, const lw_findings *findings,
                         lw_diagnosis **out, lw_error *error) {
  inquiry *d = lw_arena_alloc(arena, sizeof *d);
  if (!d) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh causes");
  d->arena = arena;
  d->units = units;
  d->car = car;
  d->sights = sights;
  d->count = count;
  d->findings = findings ? *findings : lw_findings_none();
  lw_status status = prepare(d, error);
  for (size_t i = 0; i < ROWS && status == LW_OK; i++)
    status = weigh_row(d, &rows[i], error);
  if (status == LW_OK) status = weigh_pairs(d);
  if (status != LW_OK) return status;
  normalize(d);
  return lw_causes_say(d, out, error);
}
