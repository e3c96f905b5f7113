/* causes_evidence.c - what was read and found that speaks for a cause, beside what a sound car and
** this cause would give. Readings are compared one by one, each by the spread of such cars.
*/
#include "causes_internal.h"

#include <math.h>
#include <string.h>

enum { EVIDENCE_MOST = 8, APART_MOST = 2 };
static const double apart_least = 0.1;

/* ---- values in words ---- */

static const char *value_of(inquiry *d, lw_channel k, double x) {
  switch (k) {
  case LW_SEE_VACUUM:
    return lw_arena_print(d->arena, "%.1f inHg", lw_dim_shown(LW_PRESSURE, LW_SHOP, x));
  case LW_SEE_CO: return lw_arena_print(d->arena, "%.2f %%", 100 * x);
  case LW_SEE_CO2:
  case LW_SEE_O2: return lw_arena_print(d->arena, "%.1f %%", 100 * x);
  case LW_SEE_HC:
  case LW_SEE_NO: return lw_arena_print(d->arena, "%.0f ppm", 1e6 * x);
  case LW_SEE_TIMING:
    return lw_arena_print(d->arena, "%.0f deg", lw_dim_shown(LW_ANGLE, LW_SHOP, x) + 0.0);
  default: return "";
  }
}

static const char *span_of(inquiry *d, lw_channel k, double x, double band) {
  double lo = k == LW_SEE_TIMING ? x - band : fmax(x - band, 0);
  const char *a = value_of(d, k, lo), *b = value_of(d, k, x + band);
  if (!a || !b) return "";
  return lw_arena_print(d->arena, "%.*s to %s", (int)strcspn(a, " "), a, b);
}

static int stronger(const lw_evidence *a, const lw_evidence *b) {
  return (a->tells < b->tells) - (a->tells > b->tells);
}

static void insert(lw_evidence *list, size_t *n, const lw_evidence *e) {
  size_t at = *n < EVIDENCE_MOST ? (*n)++ : EVIDENCE_MOST;
  while (at > 0 && stronger(&list[at - 1], e) > 0) {
    if (at < EVIDENCE_MOST) list[at] = list[at - 1];
    at--;
  }
  if (at < EVIDENCE_MOST) list[at] = *e;
}

/* ---- snaps ---- */

static const char *snap_value(inquiry *d, lw_snap_channel k, double x) {
  static const lw_channel same[LW_SNAP_CHANNELS] = {[LW_SNAP_CO_MOST] = LW_SEE_CO,
                                                    [LW_SNAP_CO_LEAST] = LW_SEE_CO,
                                                    [LW_SNAP_HC_MOST] = LW_SEE_HC,
                                                    [LW_SNAP_O2_MOST] = LW_SEE_O2,
                                                    [LW_SNAP_VACUUM_MOST] = LW_SEE_VACUUM};
  if (k != LW_SNAP_SPEED_MOST) return value_of(d, same[k], x);
  return lw_arena_print(d->arena, "%.0f rpm",
                        10 * floor(0.1 * lw_dim_shown(LW_SPIN, LW_SHOP, x) + 0.5));
}

static const char *snap_span(inquiry *d, lw_snap_channel k, double x) {
  double u = lw_snap_spread(k, x);
  const char *a = snap_value(d, k, fmax(x - u, 0)), *b = snap_value(d, k, x + u);
  if (!a || !b) return "";
  return lw_arena_print(d->arena, "%.*s to %s", (int)strcspn(a, " "), a, b);
}

static void add_snap(inquiry *d, const kept *k, size_t i, lw_evidence *list, size_t *n) {
  const lw_snap *s = &d->snaps[i];
  const lw_snap_shown *sound = &d->sound_shown[i], *with = &k->shown[i];
  for (int ch = 0; ch < LW_SNAP_CHANNELS; ch++) {
    lw_snap_channel c = (lw_snap_channel)ch;
    if (!lw_known(s->x[ch]) || !lw_known(sound->x[ch]) || !lw_known(with->x[ch])) continue;
    lw_snap one = {.label = s->label};
    for (int o = 0; o < LW_SNAP_CHANNELS; o++)
      one.x[o] = o == ch ? s->x[ch] : LW_NONE;
    lw_evidence e = {.tells = lw_snap_log(&one, with, 1) - lw_snap_log(&one, sound, 1)};
    if (e.tells < 0.05) continue;
    e.reading = lw_arena_print(d->arena, "%s, %s", lw_snap_text(c), s->label);
    e.read = snap_value(d, c, s->x[ch]);
    e.healthy = snap_span(d, c, sound->x[ch]);
    e.with = snap_value(d, c, with->x[ch]);
    if (e.reading && e.read && e.healthy && e.with) insert(list, n, &e);
  }
  lw_snap felt = {.felt = s->felt};
  for (int o = 0; o < LW_SNAP_CHANNELS; o++)
    felt.x[o] = LW_NONE;
  lw_evidence e = {.tells = lw_snap_log(&felt, with, 1) - lw_snap_log(&felt, sound, 1)};
  if (e.tells < 0.05) return;
  e.reading = lw_arena_print(d->arena, "felt, %s", s->label);
  e.read = lw_felt_text(s->felt);
  e.healthy = lw_snap_feels(sound);
  e.with = lw_snap_feels(with);
  if (e.reading) insert(list, n, &e);
}

/* ---- readings ---- */

/* Whether this channel of a sight was read and both cars show it. */
static bool compared(const inquiry *d, const kept *k, size_t i, int ch) {
  return lw_known(d->sights[i].x[ch]) && d->sound.band[i][ch] > 0 && k->match.band[i][ch] > 0;
}

/* How strongly one reading speaks for a cause against a sound car, each by its own spread. */
static double tells_of(const inquiry *d, const kept *k, size_t i, int ch) {
  double x = d->sights[i].x[ch];
  double h = (x - d->sound.seen[i][ch]) / d->sound.band[i][ch];
  double w = (x - k->match.seen[i][ch]) / k->match.band[i][ch];
  return 0.5 * fmin(h * h, 200) - 0.5 * fmin(w * w, 200);
}

/* One reading in words; with: what the cause gives. Nothing is put when memory runs out. */
static void add_reading(inquiry *d, size_t i, int ch, double with, double tells, lw_evidence *list,
                        size_t *n) {
  lw_channel c = (lw_channel)ch;
  const char *label = d->sights[i].label ? d->sights[i].label : "reading";
  lw_evidence e = {
      .reading = lw_arena_print(d->arena, "%s, %s", lw_channel_text(c), label),
      .read = value_of(d, c, d->sights[i].x[ch]),
      .healthy = span_of(d, c, d->sound.seen[i][ch], d->sound.band[i][ch]),
      .with = value_of(d, c, with),
      .tells = tells,
  };
  if (e.reading && e.read && e.healthy && e.with) insert(list, n, &e);
}

/* The readings in which a cause differs most from a sound car, in spreads of sound cars. */
static void add_apart(inquiry *d, const kept *k, lw_evidence *list, size_t *n) {
  double last = INFINITY;
  for (int times = 0; times < APART_MOST; times++) {
    double most = 0;
    size_t sight = 0;
    int channel = 0;
    for (size_t i = 0; i < d->count; i++) {
      for (int ch = 0; ch < LW_CHANNELS; ch++) {
        double off = compared(d, k, i, ch) ? fabs(k->match.seen[i][ch] - d->sound.seen[i][ch]) : 0;
        off /= d->sound.band[i][ch];
        if (!(off > most && off < last)) continue;
        most = off;
        sight = i;
        channel = ch;
      }
    }
    if (!(most > apart_least)) return;
    last = most;
    add_reading(d, sight, channel, k->match.seen[sight][channel], tells_of(d, k, sight, channel),
                list, n);
  }
}

/* ---- what was found without gas ---- */

/* How strongly one finding speaks for a cause against a sound car. */
static double found_tells(const inquiry *d, const kept *k, const lw_findings *one) {
  double initial = d->car->engine->spark.initial, sum = 0;
  double sound = lw_cause_findings(one, LW_CAUSE_NONE, 0, initial);
  for (size_t i = 0; i < k->count; i++)
    sum += lw_cause_findings(one, k->trials[i].row->id, k->trials[i].size, initial) - sound;
  return sum;
}

static void add_found(inquiry *d, const kept *k, const lw_findings *one, lw_evidence e,
                      lw_evidence *list, size_t *n) {
  e.tells = found_tells(d, k, one);
  if (e.tells >= 0.05 && e.read && e.healthy && e.with) insert(list, n, &e);
}

/* With a cause that a finding speaks for, it is what the cause would give. */
static void add_looked(inquiry *d, const kept *k, lw_evidence *list, size_t *n) {
  static const char *const leak[] = {"", "", "none", "found"};
  static const char *const choke[] = {"", "open", "partly open", "closed"};
  static const char *const needle[] = {"", "steady", "even drops", "drops", "drifts", "shakes"};
  static const char *const shot[] = {"", "strong", "weak", "none"};
  const lw_findings *f = &d->findings;
  lw_findings one = lw_findings_none();
  one.leak_test = f->leak_test;
  add_found(d, k, &one,
            (lw_evidence){"leak test", leak[f->leak_test], "none", leak[f->leak_test], 0}, list, n);
  one = lw_findings_none();
  one.choke = f->choke;
  add_found(d, k, &one, (lw_evidence){"choke plate", choke[f->choke], "open", choke[f->choke], 0},
            list, n);
  one = lw_findings_none();
  one.needle = f->needle;
  add_found(d, k, &one,
            (lw_evidence){"vacuum needle", needle[f->needle], "steady", needle[f->needle], 0}, list,
            n);
  one = lw_findings_none();
  one.shot = f->shot;
  add_found(d, k, &one, (lw_evidence){"pump shot", shot[f->shot], "strong", "weak or none", 0},
            list, n);
  one = lw_findings_none();
  one.advance = f->advance;
  const char *curve = f->advance == LW_NOT_FIT ? "off the curve" : "on the curve";
  add_found(d, k, &one,
            (lw_evidence){"centrifugal advance", curve, "on the curve", "off the curve", 0}, list,
            n);
}

/* The size of a kept cause of this kind, else 0. */
static double size_of(const kept *k, lw_cause_id id) {
  for (size_t i = 0; i < k->count; i++) {
    if (k->trials[i].row->id == id) return k->trials[i].size;
  }
  return 0;
}

static const char *said(inquiry *d, double x, int decimals, const char *unit) {
  return lw_arena_print(d->arena, "%.*f %s", decimals, x + 0.0, unit);
}

static const char *timing_said(inquiry *d, double angle) {
  char text[48];
  return lw_arena_print(d->arena, "%s", lw_timing_text(text, sizeof text, angle));
}

static void add_measured(inquiry *d, const kept *k, lw_evidence *list, size_t *n) {
  const lw_findings *f = &d->findings;
  const double degree = 0.017453292519943295, initial = d->car->engine->spark.initial;
  lw_findings one = lw_findings_none();
  one.timing = f->timing;
  if (lw_known(f->timing)) {
    double by = size_of(k, LW_CAUSE_TIMING_EARLY) - size_of(k, LW_CAUSE_TIMING_LATE);
    add_found(d, k, &one,
              (lw_evidence){"initial timing", timing_said(d, f->timing), timing_said(d, initial),
                            timing_said(d, initial + by * degree), 0},
              list, n);
  }
  one = lw_findings_none();
  one.weakest = f->weakest;
  if (lw_known(f->weakest)) {
    add_found(d, k, &one,
              (lw_evidence){"weakest cylinder over the median", said(d, 100 * f->weakest, 0, "%"),
                            "90 to 98 %", said(d, size_of(k, LW_CAUSE_WEAK), 0, "%"), 0},
              list, n);
  }
  one = lw_findings_none();
  one.fuel_high = f->fuel_high;
  if (lw_known(f->fuel_high)) {
    double by = size_of(k, LW_CAUSE_FLOAT_HIGH) - size_of(k, LW_CAUSE_FLOAT_LOW);
    add_found(d, k, &one,
              (lw_evidence){"fuel over the card's level", said(d, 1e3 * f->fuel_high, 1, "mm"),
                            "-1 to 1 mm", said(d, by, 1, "mm"), 0},
              list, n);
  }
}

static void add_timed(inquiry *d, const kept *k, lw_evidence *list, size_t *n) {
  const lw_findings *f = &d->findings;
  lw_findings one = lw_findings_none();
  one.air_valve = f->air_valve;
  if (lw_known(f->air_valve)) {
    double size = size_of(k, LW_CAUSE_AIR_VALVE);
    add_found(d, k, &one,
              (lw_evidence){"air valve spring against the card", said(d, f->air_valve, 2, "turns"),
                            "-0.25 to 0.25 turns",
                            said(d, f->air_valve < 0 ? -size : size, 2, "turns"), 0},
              list, n);
  }
  one = lw_findings_none();
  one.fall_time = f->fall_time;
  if (lw_known(f->fall_time)) {
    add_found(d, k, &one,
              (lw_evidence){"advance vacuum fall", said(d, f->fall_time, 1, "s"), "0.8 to 2 s",
                            "over 3 s", 0},
              list, n);
  }
}

/* ---- the whole ---- */

void lw_causes_evidence(inquiry *d, const kept *k, lw_cause *c) {
  lw_evidence *list = lw_arena_array(d->arena, EVIDENCE_MOST, sizeof *list);
  size_t n = 0;
  if (!list) return;
  for (size_t i = 0; i < d->count; i++) {
    for (int ch = 0; ch < LW_CHANNELS; ch++) {
      double tells = compared(d, k, i, ch) ? tells_of(d, k, i, ch) : 0;
      if (tells >= 0.05) add_reading(d, i, ch, k->match.fitted[i][ch], tells, list, &n);
    }
  }
  for (size_t i = 0; i < d->snap_count; i++) {
    if (d->sound_shown[i].possible) add_snap(d, k, i, list, &n);
  }
  add_looked(d, k, list, &n);
  add_measured(d, k, list, &n);
  add_timed(d, k, list, &n);
  c->together = n == 0;
  if (c->together) add_apart(d, k, list, &n);
  c->evidence = list;
  c->evidence_count = n;
}

/* ---- screws ---- */

/* The CO that the card wants at idle, against what was read; false: not both are known. */
static bool co_against_card(inquiry *d, lw_evidence *e) {
  const lw_sight *s = &d->sights[d->first_idle];
  lw_range want = d->car->twin->card->idle.co;
  char text[48];
  double x = s->x[LW_SEE_CO];
  if (s->at != LW_AT_IDLE || !lw_known(x) || !lw_range_known(want)) return false;
  e->reading = lw_arena_print(d->arena, "CO, %s", s->label ? s->label : "idle");
  e->read = value_of(d, LW_SEE_CO, x);
  e->healthy =
      lw_arena_print(d->arena, "%s", lw_range_text(text, sizeof text, LW_FRACTION, LW_SHOP, want));
  e->with = value_of(d, LW_SEE_CO, d->sound.fitted[d->first_idle][LW_SEE_CO]);
  return true;
}

/* How far the mixture screws were counted apart; false: no two of them were. */
static bool screws_apart(inquiry *d, lw_evidence *e) {
  const lw_sight *s = &d->sights[d->first_idle];
  double lo = INFINITY, hi = -INFINITY;
  char text[48];
  if (!s->screws_known || s->screw_count < 2) return false;
  for (size_t i = 0; i < s->screw_count; i++) {
    lo = fmin(lo, s->screws[i].turns);
    hi = fmax(hi, s->screws[i].turns);
  }
  e->reading = "mixture screws apart";
  e->read = e->with = lw_arena_print(d->arena, "%s", lw_turns_text(text, sizeof text, hi - lo));
  e->healthy = "0 turns";
  return true;
}

void lw_causes_screws_evidence(inquiry *d, lw_cause *c) {
  bool unbalanced = c->id == LW_CAUSE_UNBALANCED;
  double prior = log(lw_cause_prior(c->id) / lw_cause_prior(LW_CAUSE_NONE));
  lw_evidence e = {.tells = fmin(d->weight[c->id] - d->weight[LW_CAUSE_NONE] - prior, 100)};
  if ((c->id != LW_CAUSE_SCREWS && !unbalanced) || !(e.tells >= 0.05)) return;
  if (!(unbalanced ? screws_apart(d, &e) : co_against_card(d, &e))) return;
  lw_evidence *list = lw_arena_array(d->arena, 1, sizeof *list);
  if (!list || !e.reading || !e.read || !e.healthy || !e.with) return;
  *list = e;
  c->evidence = list;
  c->evidence_count = 1;
}
