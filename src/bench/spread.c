/* spread.c - the tolerance study: laid out, worked in any order, added up in one. */
#include "spread_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- words ---- */

const char *lw_spread_end_text(lw_spread_end end) {
  static const char *const texts[] = {
#define TEXT_OF(id, text) text,
      LW_SPREAD_END_LIST(TEXT_OF)
#undef TEXT_OF
  };
  return texts[end];
}

const char *lw_spread_seen_text(lw_spread_seen seen) {
  static const char *const texts[] = {
#define TEXT_OF(id, text) text,
      LW_SPREAD_SEEN_LIST(TEXT_OF)
#undef TEXT_OF
  };
  return texts[seen];
}

/* ---- laid out ---- */

lw_spread_ask lw_spread_asked(const lw_spread_goal *goal, size_t units) {
  lw_spread_ask ask = {.goal = *goal, .units = units, .seed = 1};
  const size_t usual = 1000;
  ask.ranked = units / 2 < usual ? units / 2 : usual;
  for (int i = 0; i < LW_VARIES; i++)
    ask.times[i] = 1;
  return ask;
}

static lw_status check(const lw_spread_ask *ask, lw_error *error) {
  if (ask->units < 2 || ask->units > LW_SPREAD_UNITS_MOST) {
    return lw_fail(error, LW_BAD_INPUT, "2 to %d units can be studied", LW_SPREAD_UNITS_MOST);
  }
  if (ask->ranked > ask->units / 2 || ask->ranked > LW_SPREAD_RANKED_MOST) {
    return lw_fail(
        error, LW_BAD_INPUT,
        "the ranking is worked from pairs of units: at most half of them, and at most %d",
        LW_SPREAD_RANKED_MOST);
  }
  for (int i = 0; i < LW_VARIES; i++) {
    if (ask->times[i] >= 0 && ask->times[i] <= 10) continue;
    return lw_fail(error, LW_BAD_INPUT, "%s: a tolerance can be 0 to 10 times as wide",
                   lw_vary_text((lw_vary)i));
  }
  const lw_spread_goal *g = &ask->goal;
  if (!(g->speed > 0) || !(g->co > 0) || !(g->co_lo <= g->co_hi)) {
    return lw_fail(error, LW_BAD_INPUT, "an idle speed and a CO to aim at are needed");
  }
  return LW_OK;
}

lw_status lw_spread_new(lw_arena *arena, const lw_test_car *car, const lw_spread_ask *ask,
                        lw_spread **out, lw_error *error) {
  lw_status status = check(ask, error);
  if (status != LW_OK) return status;
  lw_spread *s = lw_arena_alloc(arena, sizeof *s);
  lw_virtual *v = lw_arena_alloc(arena, sizeof *v);
  if (!s || !v) return lw_fail(error, LW_NO_MEMORY, "no memory for this study");
  s->car = car;
  s->ask = *ask;
  status = lw_spread_plan(s, error);
  if (status != LW_OK) return status;
  s->runs = lw_arena_array(arena, lw_spread_runs(s), sizeof *s->runs);
  if (!s->runs) return lw_fail(error, LW_NO_MEMORY, "no memory for this study");
  if (!lw_spread_nominal(s, v)) {
    return lw_fail(error, LW_BAD_INPUT,
                   "with every size in its middle this car does not idle: nothing to study");
  }
  *out = s;
  return LW_OK;
}

/* ---- worked ---- */

size_t lw_spread_runs(const lw_spread *s) {
  return s->ask.units + s->ask.ranked * s->dim_count;
}

/* Unit `unit`, but for the parts of one dimension, which are those of `other`. */
static void draw(const lw_spread *s, size_t unit, size_t dim, size_t other, double *z) {
  for (size_t i = 0; i < s->part_count; i++) {
    const lw_spread_part *p = &s->parts[i];
    size_t from = p->dim == dim ? other : unit;
    lw_fill fill = lw_tolerance_of(s->dims[p->dim].what)->fill;
    z[i] = p->half > 0 ? lw_fill_at(fill, lw_spread_draw(s->ask.seed, from, (uint32_t)i)) : 0;
  }
}

void lw_spread_work(lw_spread *s, size_t first, size_t count) {
  size_t all = lw_spread_runs(s), units = s->ask.units, ranked = s->ask.ranked;
  double z[SPREAD_PARTS];
  lw_virtual v; /* 50 kB: made anew for each run */
  memset(&v, 0, sizeof v);
  for (size_t i = first; i < all && i - first < count; i++) {
    bool plain = i < units;
    size_t at = plain ? 0 : i - units, unit = plain ? i : at % ranked;
    draw(s, unit, plain ? s->dim_count : at / ranked, ranked + unit, z);
    lw_virtual_make(s, z, &v);
    lw_virtual_run(&v, &s->runs[i]);
  }
}

/* ---- added up ---- */

lw_spread_share lw_share_of(size_t count, size_t of) {
  const double z = 1.959963984540054;
  double n = (double)of, p = of ? (double)count / n : LW_NONE;
  double middle = (p + z * z / (2 * n)) / (1 + z * z / n);
  double wide = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n));
  return (lw_spread_share){count, of, p, fmax(middle - wide, 0), fmin(middle + wide, 1)};
}

double lw_spread_quantile(const lw_spread_numbers *x, double share) {
  if (!x->count) return LW_NONE;
  double at = fmin(fmax(share, 0), 1) * (double)(x->count - 1);
  size_t i = (size_t)at;
  if (i + 1 >= x->count) return x->sorted[x->count - 1];
  return x->sorted[i] + (at - (double)i) * (x->sorted[i + 1] - x->sorted[i]);
}

static int rising(const void *a, const void *b) {
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

static bool numbers_of(lw_arena *arena, const lw_spread *s, int seen, lw_spread_numbers *out) {
  double *x = lw_arena_array(arena, s->ask.units, sizeof *x), sum = 0, square = 0;
  size_t n = 0;
  if (!x) return false;
  for (size_t i = 0; i < s->ask.units; i++) {
    if (lw_known(s->runs[i].x[seen])) x[n++] = s->runs[i].x[seen];
  }
  qsort(x, n, sizeof *x, rising);
  for (size_t i = 0; i < n; i++)
    sum += x[i];
  double mean = n ? sum / (double)n : LW_NONE;
  for (size_t i = 0; i < n; i++)
    square += (x[i] - mean) * (x[i] - mean);
  *out = (lw_spread_numbers){n, x, mean, n > 1 ? sqrt(square / (double)(n - 1)) : LW_NONE};
  return true;
}

static void count_units(const lw_spread *s, lw_spread_result *r) {
  const lw_spread_goal *g = &s->ask.goal;
  size_t settable = 0, in_band = 0, at_once = 0, good = 0;
  for (size_t i = 0; i < s->ask.units; i++) {
    const lw_spread_unit *u = &s->runs[i];
    double co = u->x[LW_SPREAD_CO];
    bool turns = fabs(u->x[LW_SPREAD_SPEED] - g->speed) <= g->speed_within;
    settable += u->within;
    in_band += u->end == LW_SPREAD_SET && u->within;
    at_once += turns;
    good += turns && co >= g->co_lo && co <= g->co_hi && !(co > g->co_most) &&
            !(u->x[LW_SPREAD_HC] > g->hc_most);
    r->ends[u->end]++;
  }
  r->settable = lw_share_of(settable, s->ask.units);
  r->in_band = lw_share_of(in_band, s->ask.units);
  r->speed_at_once = lw_share_of(at_once, s->ask.units);
  r->good_at_once = lw_share_of(good, s->ask.units);
}

/* By the total; NaN last; equals as they are listed. */
static void sort_order(const lw_sensitivity (*rank)[LW_SPREAD_SEENS], size_t count, int seen,
                       size_t (*order)[LW_SPREAD_SEENS]) {
  for (size_t i = 0; i < count; i++) {
    size_t k = i;
    double total = rank[i][seen].total;
    while (k > 0 && total > rank[order[k - 1][seen]][seen].total) {
      order[k][seen] = order[k - 1][seen];
      k--;
    }
    order[k][seen] = i;
  }
}

static bool rank_dims(lw_arena *arena, const lw_spread *s, lw_spread_result *r) {
  size_t n = s->ask.ranked, dims = s->dim_count;
  lw_sensitivity(*rank)[LW_SPREAD_SEENS] = lw_arena_array(arena, dims, sizeof *rank);
  size_t(*order)[LW_SPREAD_SEENS] = lw_arena_array(arena, dims, sizeof *order);
  double *f = lw_arena_array(arena, 3 * n, sizeof *f);
  if (!rank || !order || !f) return false;
  for (int seen = 0; seen < LW_SPREAD_SEENS; seen++) {
    for (size_t j = 0; j < 2 * n; j++)
      f[j] = s->runs[j].x[seen];
    for (size_t d = 0; d < dims; d++) {
      const lw_spread_unit *mixed = &s->runs[s->ask.units + d * n];
      for (size_t j = 0; j < n; j++)
        f[2 * n + j] = mixed[j].x[seen];
      rank[d][seen] = lw_sensitivity_of(f, f + n, f + 2 * n, n);
    }
    sort_order((const lw_sensitivity(*)[LW_SPREAD_SEENS])rank, dims, seen, order);
  }
  r->rank = (const lw_sensitivity(*)[LW_SPREAD_SEENS])rank;
  r->order = (const size_t(*)[LW_SPREAD_SEENS])order;
  return true;
}

lw_status lw_spread_finish(lw_arena *arena, const lw_spread *s, lw_spread_result *out,
                           lw_error *error) {
  lw_spread_result r = {.nominal = &s->nominal,
                        .units = s->runs,
                        .unit_count = s->ask.units,
                        .dims = s->dims,
                        .dim_count = s->dim_count,
                        .ranked = s->ask.ranked};
  bool good = true;
  for (int seen = 0; seen < LW_SPREAD_SEENS && good; seen++)
    good = numbers_of(arena, s, seen, &r.numbers[seen]);
  if (good && r.ranked) good = rank_dims(arena, s, &r);
  if (!good) return lw_fail(error, LW_NO_MEMORY, "no memory for this study's result");
  count_units(s, &r);
  *out = r;
  return LW_OK;
}
