/* causes.c - causes tried on the twin, weighed, and put in words.
**
** Each cause is run in a few sizes, and where it stands among the likely ones in more between them,
** until the integral over its size is good enough.
*/
#include "causes_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

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

void lw_cause_trial(const cause_row *row, double size, int cylinder, trial *t) {
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
  bool unit = trials[0].row->id == LW_CAUSE_UNIT;
  lw_before *before = unit ? &d->other_before : &d->before;
  bool before_known = unit ? d->other_before_known : d->before_known;
  for (size_t i = 0; i < count; i++) {
    for (size_t k = 0; k < trials[i].edit_count; k++)
      edits[n++] = trials[i].text[k];
    if (trials[i].row->id != LW_CAUSE_ANALYZER) continue;
    scaled(d, trials[i].size, own);
    sights = own;
  }
  d->runs++;
  lw_status status = lw_match_since(d->units, unit ? d->other : d->car, edits, n, sights, d->count,
                                    before_known ? before : NULL, false, match, error);
  if (status == LW_OK && !match->possible) match->evidence = match->turned = -1e6;
  if (status == LW_OK) d->before.enough = fmax(d->before.enough, match->evidence - 30);
  if (unit) d->other_before.enough = d->before.enough;
  return status;
}

static double log_add(double a, double b) {
  double most = fmax(a, b);
  if (!(most > -INFINITY)) return most;
  return most + log(exp(a - most) + exp(b - most));
}

/* Left as it was set, or turned since. */
static double either(const inquiry *d, const lw_match *match) {
  if (!d->before_known) return match->evidence;
  return log_add(match->evidence + log(d->left_alone), match->turned + log(1 - d->left_alone));
}

/* ---- nothing wrong, or mis-set ---- */

/* Probability that the car's CO as found lies where this card wants it, from what was read: 1 well
   inside. The analyzer leaves the edges soft. */
static double well_set(const inquiry *d, double co, double u) {
  lw_range want = d->car->twin->card->idle.co;
  double lo = lw_known(want.lo) ? want.lo : 0.005, hi = lw_known(want.hi) ? want.hi : 0.025;
  if (!lw_known(co)) return 0.5;
  /* a logistic curve has its scale times 1.81 for standard deviation */
  double soft = fmax(lw_known(u) ? u : 0, 0.0003) / 1.81;
  double under = 1 / (1 + exp((lo - co) / soft));
  double over = 1 / (1 + exp((co - hi) / soft));
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

/* Logarithm of the probability that screws stand so far apart: when set they are turned alike, but
   some set by ear (ours). */
static double stand_even(const inquiry *d, bool unbalanced) {
  const lw_sight *s = &d->sights[d->first_idle];
  const double alike = 0.08, by_ear = 0.03, widest = 1.5;
  double x = apart(d), bell = exp(-0.5 * x * x / (alike * alike)) / (alike * 1.25);
  if (s->screw_count < 2 || !s->screws_known) return unbalanced ? -100 : 0;
  if (unbalanced) return log(x > 0.3 ? 1 / (widest - 0.3) : 1e-9);
  return log((1 - by_ear) * bell + by_ear / widest);
}

/* A sound car that is set, and one whose screws were turned since. */
static void split_sound(inquiry *d, double log_weight) {
  const lw_sight *s = &d->sights[d->first_idle];
  double turned = d->before_known ? d->sound.turned - either(d, &d->sound) : 0;
  double even = stand_even(d, false), uneven = stand_even(d, true);
  double set = well_set(d, s->x[LW_SEE_CO], s->u[LW_SEE_CO]);
  double sound = log_weight - log(lw_cause_prior(LW_CAUSE_NONE));
  d->weight[LW_CAUSE_NONE] = log_weight + log(fmax(set, 1e-9));
  d->weight[LW_CAUSE_SCREWS] =
      sound + turned + log(lw_cause_prior(LW_CAUSE_SCREWS) * fmax(1 - set, 1e-9));
  d->weight[LW_CAUSE_UNBALANCED] = sound + log(lw_cause_prior(LW_CAUSE_UNBALANCED)) + uneven - even;
}

/* ---- all of them ---- */

static void keep(inquiry *d, const trial *trials, size_t count, double weight,
                 const lw_match *match, double snaps, const lw_snap_shown *shown) {
  if (d->kept_count >= KEPT_MOST) return;
  kept *k = &d->kept[d->kept_count++];
  memcpy(k->trials, trials, count * sizeof *trials);
  k->count = count;
  k->weight = weight;
  k->match = *match;
  k->snaps = snaps;
  memcpy(k->shown, shown, sizeof k->shown);
}

/* Whether a car shows itself other than a sound one by more than the instruments' band (95 %). */
static bool shows(const inquiry *d, const lw_match *match) {
  const double rpm = 0.10471975511965977, band = 20 * rpm;
  for (size_t i = 0; i < d->count; i++) {
    const lw_sight *s = &d->sights[i];
    for (int k = 0; k < LW_CHANNELS; k++) {
      double off = fabs(match->seen[i][k] - d->sound.seen[i][k]);
      if (lw_known(s->x[k]) && off > 2 * (lw_known(s->u[k]) ? s->u[k] : 0)) return true;
    }
    if (!d->before_known || s->held || s->at != LW_AT_IDLE) continue;
    double off = (match->throttle[i] - d->sound.throttle[i]) / d->before.of_speed;
    if (fabs(off) > band / s->speed) return true;
  }
  return false;
}

static double findings(const inquiry *d, lw_cause_id id, double size) {
  return lw_cause_findings(&d->findings, id, size, d->car->engine->spark.initial);
}

/* What was found is as likely as with a sound car: it tells nothing of this cause. */
static bool found(const inquiry *d, lw_cause_id id, double size) {
  return fabs(findings(d, id, size) - findings(d, LW_CAUSE_NONE, 0)) > 1e-9;
}

/* Whether this car can have it at all, without running it. */
static lw_status may_be(const inquiry *d, const trial *t, lw_error *error) {
  const char *edits[2] = {t->text[0], t->text[1]};
  lw_test_car *car = NULL;
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh causes");
  lw_status status =
      lw_test_car_what_if(arena, d->units, d->car, edits, t->edit_count, &car, error);
  lw_arena_free(arena);
  return status;
}

/* One size more; kept in order of size. LW_OK and no point more: nothing shows it. */
static lw_status try_size(inquiry *d, standing_row *r, double size, lw_error *error) {
  trial t;
  lw_match match;
  int cylinder = d->findings.weakest_cylinder > 0 ? d->findings.weakest_cylinder : 1;
  lw_snap_shown shown[LW_SNAPS_MOST] = {{0}};
  lw_cause_trial(r->row, size, cylinder, &t);
  lw_cause_id id = r->row->id;
  bool moves = lw_cause_moves(id);
  if (moves) match = d->sound; /* at a steady speed it is one */
  lw_status status = moves ? may_be(d, &t, error) : run(d, &t, 1, &match, error);
  if (status != LW_OK) return status;
  bool plain = id == LW_CAUSE_NONE || id == LW_CAUSE_ANALYZER;
  bool told = found(d, id, size) || (moves ? d->snap_count > 0 : shows(d, &match));
  if (match.possible && !plain && !told) return LW_OK;
  double w = either(d, &match) + findings(d, id, size);
  double snaps = moves ? lw_causes_snaps(d, &t, 1, &match, shown) : 0;
  w += snaps;
  size_t at = r->count++;
  for (; at > 0 && r->size[at - 1] > size; at--) {
    r->size[at] = r->size[at - 1];
    r->weight[at] = r->weight[at - 1];
    r->alone[at] = r->alone[at - 1];
  }
  r->size[at] = size;
  r->weight[at] = w;
  r->alone[at] = match.evidence;
  d->most = fmax(d->most, w);
  if (r->count > 1 && !(w > r->best)) return LW_OK;
  r->best = w;
  r->trial = t;
  r->match = match;
  if (moves) memcpy(r->shown, shown, sizeof r->shown);
  r->snaps = snaps;
  return LW_OK;
}

/* Mean of exp(weight) over the sizes, straight lines of the logarithm between them. */
static double mean_over(const standing_row *r) {
  if (r->count < 2) return r->count ? r->weight[0] : -INFINITY;
  double sum = -INFINITY;
  for (size_t i = 0; i + 1 < r->count; i++) {
    double a = r->weight[i], b = r->weight[i + 1], lean = fabs(b - a);
    double part = lean < 1e-6 ? 1 : -expm1(-lean) / lean;
    sum = log_add(sum, fmax(a, b) + log(part * (r->size[i + 1] - r->size[i])));
  }
  return sum - log(r->size[r->count - 1] - r->size[0]);
}

/* The size at the top of the parabola through the best of these weights and its neighbors; NaN: near
   enough to one that was tried. */
static double top_of(const standing_row *r, const double *weight) {
  size_t k = 0;
  for (size_t i = 1; i < r->count; i++)
    k = weight[i] > weight[k] ? i : k;
  if (r->count < 2) return LW_NONE;
  double near = 0.2, x = LW_NONE;
  if (k == 0 || k + 1 == r->count) { /* at an end: half way to its neighbor */
    double next = r->size[k == 0 ? 1 : k - 1];
    x = 0.6 * r->size[k] + 0.4 * next;
  } else {
    double h0 = r->size[k] - r->size[k - 1], h1 = r->size[k + 1] - r->size[k];
    double s0 = (weight[k] - weight[k - 1]) / h0, s1 = (weight[k + 1] - weight[k]) / h1;
    if (!(s0 - s1 > 1e-9)) return LW_NONE;
    x = 0.5 * (r->size[k - 1] + r->size[k]) + s0 / (s0 - s1) * 0.5 * (h0 + h1);
    x = fmin(fmax(x, r->size[k - 1] + 0.25 * h0), r->size[k + 1] - 0.25 * h1);
    double by = x - r->size[k], gap = by > 0 ? h1 : h0;
    if (fabs(by) < near * gap) x = r->size[k] + (h1 > h0 ? 0.4 * h1 : -0.4 * h0);
  }
  return x;
}

/* To so many digits. */
double lw_cause_round(double x, int digits) {
  double unit = x != 0 ? pow(10, floor(log10(fabs(x))) - digits + 1) : 1;
  return unit * floor(x / unit + 0.5);
}

static double weight_of(const standing_row *r) {
  return mean_over(r) + log(r->row->prior);
}

/* The sizes tried so far are out of the question, and become more so. */
static bool hopeless(const inquiry *d, const standing_row *r) {
  const double far = 30;
  size_t n = r->count;
  return n > 1 && r->weight[n - 1] < r->weight[n - 2] && r->weight[n - 2] < d->most - far;
}

static lw_status weigh_row(inquiry *d, standing_row *r, lw_error *error) {
  for (size_t i = 0; i < r->row->size_count && !hopeless(d, r); i++) {
    lw_status status = try_size(d, r, r->row->sizes[i], error);
    if (status != LW_OK) {
      r->count = 0;
      r->cannot = true; /* this unit cannot have it */
      return r->row->id == LW_CAUSE_NONE ? status : LW_OK;
    }
    if (r->row->id == LW_CAUSE_NONE) {
      d->sound = r->match;
      d->sound_snaps = lw_causes_snaps(d, &r->trial, 1, &d->sound, d->sound_shown);
      memcpy(r->shown, d->sound_shown, sizeof r->shown);
    }
    for (size_t k = 0; k < d->count && r->row->id == LW_CAUSE_NONE; k++)
      d->sights[k].near = d->sound.throttle[k]; /* most faults leave it about there */
  }
  return LW_OK;
}

/* More sizes for what stands among the likely. As it was set and left alone a fault can have but one
   size that gives the CO that was read: a narrow top, which is looked for by itself. */
static lw_status refine(inquiry *d, standing_row *r, double most, lw_error *error) {
  enum { MORE = 4 };
  const double far[MORE] = {12, 12, 7, 7};
  for (int k = 0; k < MORE && weight_of(r) > most - far[k] && r->count < SIZES_TRIED; k++) {
    double x = top_of(r, k % 2 == 0 && d->before_known ? r->alone : r->weight);
    if (!lw_known(x)) continue;
    x = lw_cause_round(x, 3);
    size_t before = r->count;
    lw_status status = try_size(d, r, x, error);
    if (status != LW_OK || r->count == before) return status;
  }
  return LW_OK;
}

/* The snaps under a row's best size; what stands far behind without them is taken to show what a
   sound car shows. */
static double snaps_of(inquiry *d, standing_row *r, double most) {
  const double far = 10;
  if (r->row->id == LW_CAUSE_NONE) return d->sound_snaps;
  memcpy(r->shown, d->sound_shown, sizeof r->shown);
  if (!(weight_of(r) > most - far)) return d->sound_snaps;
  return lw_causes_snaps(d, &r->trial, 1, &r->match, r->shown);
}

static lw_status weigh_rows(inquiry *d, lw_error *error) {
  size_t count = 0;
  double most = -INFINITY;
  const cause_row *rows = lw_cause_rows(&count);
  standing_row *list = lw_arena_array(d->arena, count, sizeof *list);
  if (!list) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh causes");
  lw_status status = LW_OK;
  for (size_t i = 0; i < count && status == LW_OK; i++) {
    list[i].row = &rows[i];
    if (!lw_cause_may(d->car, &rows[i]) || (rows[i].id == LW_CAUSE_UNIT && !d->other)) continue;
    status = weigh_row(d, &list[i], error);
    if (list[i].count) most = fmax(most, weight_of(&list[i]));
  }
  for (size_t i = 0; i < count && status == LW_OK; i++) {
    if (!list[i].count) continue;
    status = refine(d, &list[i], most, error);
    double weight = weight_of(&list[i]); /* of moving parts with their snaps */
    if (!lw_cause_moves(rows[i].id)) weight += list[i].snaps = snaps_of(d, &list[i], most);
    keep(d, &list[i].trial, 1, weight, &list[i].match, list[i].snaps, list[i].shown);
  }
  for (size_t i = 0; i < count; i++) {
    lw_cause_id id = rows[i].id;
    d->seen[id] = d->seen[id] || list[i].count;
    d->unseen[id] =
        d->unseen[id] || (!list[i].count && !list[i].cannot && lw_cause_may(d->car, &rows[i]) &&
                          (id != LW_CAUSE_UNIT || d->other));
  }
  d->weight[LW_CAUSE_OTHER] =
      d->sound.stray + findings(d, LW_CAUSE_NONE, 0) + log(lw_cause_prior(LW_CAUSE_OTHER));
  d->weight[LW_CAUSE_OTHER] += lw_causes_snaps_stray(d);
  return status;
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
      if (lw_cause_leaks(two[0].row->id) && lw_cause_leaks(two[1].row->id)) continue;
      if (run(d, two, 2, &match, NULL) != LW_OK) continue;
      double found_beside = findings(d, two[0].row->id, two[0].size) +
                            findings(d, two[1].row->id, two[1].size) -
                            findings(d, LW_CAUSE_NONE, 0);
      double prior = two[0].row->prior * two[1].row->prior / (double)two[0].row->size_count /
                     (double)two[1].row->size_count;
      /* in time the one of them shows that explains more: both would explain it twice */
      bool first = best[i]->snaps > best[j]->snaps;
      double snaps = (first ? best[i] : best[j])->snaps;
      keep(d, two, 2, either(d, &match) + found_beside + log(prior) + snaps, &match, snaps,
           (first ? best[i] : best[j])->shown);
    }
  }
  return LW_OK;
}

/* Probability of what people see as one line: a cause, or a pair, in all its rows. */
static double line_of(const inquiry *d, const kept *k) {
  double sum = 0;
  for (size_t i = 0; i < d->kept_count; i++) {
    const kept *o = &d->kept[i];
    bool same = o->count == k->count;
    for (size_t c = 0; c < k->count && same; c++)
      same = o->trials[c].row->id == k->trials[c].row->id;
    sum += same ? o->probability : 0;
  }
  return sum;
}

static const lw_cause_id plain_ones[] = {LW_CAUSE_NONE, LW_CAUSE_SCREWS, LW_CAUSE_UNBALANCED,
                                         LW_CAUSE_OTHER};
enum { PLAIN_ONES = sizeof plain_ones / sizeof plain_ones[0] };

/* The evidence is shy, for spreads are taken wide and unknowns as if each were free of the others:
   of virtual cars said to be so with 55 %, 73 % were (docs/causes.md). One exponent on all
   probabilities sets that right (temperature scaling: Guo, Pleiss, Sun and Weinberger, ICML 2017,
   from memory); what is likelier stays likelier. */
static void sharpen(inquiry *d) {
  const double sharper = 1.25;
  double line[KEPT_MOST] = {0}, total = 0;
  for (size_t i = 0; i < d->kept_count; i++) {
    bool plain = d->kept[i].trials[0].row->id == LW_CAUSE_NONE;
    line[i] = plain ? 0 : line_of(d, &d->kept[i]);
  }
  for (size_t i = 0; i < d->kept_count; i++) { /* of one line each its share */
    kept *k = &d->kept[i];
    k->probability = line[i] > 0 ? k->probability * pow(line[i], sharper - 1) : 0;
    total += k->probability;
  }
  for (size_t i = 0; i < PLAIN_ONES; i++) {
    double *p = &d->probability[plain_ones[i]];
    *p = pow(*p, sharper);
    total += *p;
  }
  for (size_t i = 0; i < PLAIN_ONES; i++)
    d->probability[plain_ones[i]] /= total;
  for (size_t i = 0; i < d->kept_count; i++)
    d->kept[i].probability /= total;
}

static void normalize(inquiry *d) {
  double total = d->weight[LW_CAUSE_OTHER];
  for (size_t i = 0; i < d->kept_count; i++) {
    kept *k = &d->kept[i];
    if (k->trials[0].row->id == LW_CAUSE_NONE) {
      split_sound(d, k->weight);
      total = log_add(total,
                      log_add(d->weight[LW_CAUSE_NONE],
                              log_add(d->weight[LW_CAUSE_SCREWS], d->weight[LW_CAUSE_UNBALANCED])));
    } else {
      total = log_add(total, k->weight);
    }
  }
  for (int i = 0; i < LW_CAUSES; i++)
    d->probability[i] = exp(d->weight[i] - total);
  for (size_t i = 0; i < d->kept_count; i++)
    d->kept[i].probability = exp(d->kept[i].weight - total);
  sharpen(d);
  for (size_t i = 0; i < d->kept_count; i++) {
    const kept *k = &d->kept[i];
    for (size_t c = 0; c < k->count && k->trials[0].row->id != LW_CAUSE_NONE; c++)
      d->probability[k->trials[c].row->id] += k->probability;
  }
}

/* How far the fuel may be off for what a counted screw position may be off, at each sight: much
   near the seat, little far out. */
static lw_status feel_screws(inquiry *d, lw_error *error) {
  const double by = 0.1, off = 0.04, least = 0.012, most = 0.3;
  for (size_t i = 0; i < d->count; i++) {
    lw_sight *s = &d->sights[i], further = *s;
    const double z[LW_UNKNOWNS] = {0};
    lw_shown here, there;
    if (!s->screws_known || s->at != LW_AT_IDLE || s->screw_count == 0) continue;
    for (size_t k = 0; k < s->screw_count; k++)
      further.screws[k].turns += s->screws[k].turns > 0.5 ? -by : by;
    lw_status status = lw_match_show(d->units, d->car, NULL, 0, s, z, &here, error);
    if (status == LW_OK)
      status = lw_match_show(d->units, d->car, NULL, 0, &further, z, &there, error);
    if (status != LW_OK) return status;
    if (!here.possible || !there.possible) continue;
    double slope = log(here.lambda / there.lambda) / by;
    if (isfinite(slope)) s->screw_u = fmin(sqrt(least * least + off * off * slope * slope), most);
  }
  return LW_OK;
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
  d->most = -INFINITY;
  lw_status status = feel_screws(d, error);
  if (status != LW_OK) return status;
  const lw_sight *first = &d->sights[d->first_idle];
  const lw_card *card = d->car->twin->card;
  d->left_alone = lw_known(d->findings.left_alone) ? d->findings.left_alone : 0.7;
  if (first->at != LW_AT_IDLE || !first->screws_known || !lw_range_known(card->idle.co))
    return LW_OK;
  double speed = d->car->engine->speed_hot;
  status = lw_match_before(d->units, d->car, first, speed, card->idle.co, &d->before,
                           &d->before_known, error);
  if (status != LW_OK || !d->other) return status;
  lw_status fits = lw_match_before(d->units, d->other, first, speed, card->idle.co,
                                   &d->other_before, &d->other_before_known, NULL);
  if (fits != LW_OK) d->other = NULL; /* it has not the screws that were turned */
  return LW_OK;
}

lw_status lw_causes_weigh(lw_arena *arena, lw_units *units, const lw_test_car *car,
                          const lw_told *told, lw_diagnosis **out, lw_error *error) {
  inquiry *d = lw_arena_alloc(arena, sizeof *d);
  if (!d) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh causes");
  d->arena = arena;
  d->units = units;
  d->car = car;
  memcpy(d->sights, told->sights, told->count * sizeof *told->sights);
  d->count = told->count;
  for (size_t i = 0; i < d->count; i++)
    d->sights[i].flows = &d->flows[i];
  d->snaps = told->snaps;
  d->snap_count = told->snap_count;
  d->other = told->other;
  d->other_name = told->other_name;
  d->not_its_unit = told->not_its_unit;
  d->findings = told->findings;
  lw_status status = prepare(d, error);
  if (status == LW_OK) status = weigh_rows(d, error);
  if (status == LW_OK) status = weigh_pairs(d);
  if (status != LW_OK) return status;
  normalize(d);
  return lw_causes_say(d, out, error);
}

lw_status lw_causes_find(lw_arena *arena, lw_units *units, const lw_test_car *car,
                         const lw_sight *sights, size_t count, const lw_findings *findings,
                         lw_diagnosis **out, lw_error *error) {
  if (count > LW_SIGHTS_MOST) {
    return lw_fail(error, LW_TOO_LARGE, "%zu readings, at most %d can be weighed", count,
                   LW_SIGHTS_MOST);
  }
  lw_told *told = lw_arena_alloc(arena, sizeof *told);
  if (!told) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh causes");
  if (count) memcpy(told->sights, sights, count * sizeof *sights);
  told->count = count;
  told->findings = findings ? *findings : lw_findings_none();
  return lw_causes_weigh(arena, units, car, told, out, error);
}
