/* rejet_search.c - the drawer looked through.
**
** Each size is run alone on the twin, the screws left alone, and so are the screws. Fuel of parallel
** passages adds up, so fuel over air is taken as a sum of what each size does: with that, sets of
** parts are looked through by the hundred, growing part by part from the best so far. The best of
** each number of parts are then improved step by step on the twin itself. Where that does not bring
** the mixture near, the sum is made anew about the best that was found, and looked through again.
*/
#include "rejet_internal.h"

#include <math.h>
#include <string.h>

enum { NODES = 9, SCREW_NODES = 9, BEAM = 30, REFINED = 3, ROUNDS_MOST = 12, PASSES = 6 };

const double lw_labor_worth = 0.0025;

static const double no_way = 9;         /* cost of what cannot be */
static const double near_enough = 0.02; /* no second look is taken */

typedef struct beam {
  lw_choice choice;
  unsigned parts; /* set of those changed */
  double score;
} beam;

/* What sizes and screws do to fuel over air, over what is wanted there. */
typedef struct model {
  lw_rejet_task *task;
  lw_choice about; /* what is added to */
  size_t spots;
  lw_place place[LW_ROUGH];
  int of_place[LW_PLACES];
  double base[LW_ROUGH];
  double of[LW_KNOBS][LW_SIZES][LW_ROUGH]; /* NaN in the first: cannot be */
  double turn[SCREW_NODES], of_turn[SCREW_NODES][LW_ROUGH];
  int turns; /* nodes of the screws; 0: none turns */
} model;

/* ---- making the model ---- */

static lw_choice as_fitted(const lw_rejet_task *t) {
  lw_choice c = {.turn = 0};
  for (int i = 0; i < t->knobs.count; i++)
    c.size[i] = (short)t->knobs.knob[i].now;
  return c;
}

/* Fuel over air; a point without mixture is as lean as fuel over air can be. */
static bool richness(lw_rejet_task *t, const lw_choice *c, double *phi) {
  size_t n = 0;
  if (!lw_spots_run(t, c, true, phi)) return false;
  for (int i = 0; i < t->spot_count; i++) {
    if (!t->spots[i].rough) continue;
    phi[n] = lw_known(phi[n]) ? exp(-phi[n]) : 0.1;
    n++;
  }
  return true;
}

/* Between two sizes that were run, in a straight line. */
static void fill(model *m, int k, int from, int to) {
  const lw_knob *knob = &m->task->knobs.knob[k];
  double span = knob->size[to] - knob->size[from];
  for (int i = from + 1; i < to; i++) {
    double share = span > 0 ? (knob->size[i] - knob->size[from]) / span : 0;
    for (size_t s = 0; s < m->spots; s++)
      m->of[k][i][s] = m->of[k][from][s] + share * (m->of[k][to][s] - m->of[k][from][s]);
  }
}

static void run_size(model *m, int k, int i) {
  lw_choice c = m->about;
  double phi[LW_ROUGH];
  c.size[k] = (short)i;
  if (!richness(m->task, &c, phi)) {
    for (size_t s = 0; s < m->spots; s++)
      m->of[k][i][s] = LW_NONE;
    return;
  }
  for (size_t s = 0; s < m->spots; s++)
    m->of[k][i][s] = phi[s] - m->base[s];
}

static void run_knob(model *m, int k) {
  const lw_knob *knob = &m->task->knobs.knob[k];
  bool rods = knob->kind == LW_KNOB_ROD; /* pairs lie on no line */
  int step = rods ? 1 : (knob->count + NODES - 2) / (NODES - 1), last = -1;
  if (step < 1) step = 1;
  for (int i = 0; i < knob->count; i++) {
    bool here = i == m->about.size[k];
    bool node = i % step == 0 || i == knob->count - 1 || i == knob->now || here;
    if (!node) continue;
    if (here) {
      memset(m->of[k][i], 0, sizeof m->of[k][i]);
    } else {
      run_size(m, k, i);
    }
    if (last >= 0) fill(m, k, last, i);
    last = i;
  }
}

static void run_screws(model *m) {
  lw_range r = m->task->turns;
  m->turns = 0;
  if (!lw_range_known(r)) return;
  for (int i = 0; i < SCREW_NODES; i++) {
    lw_choice c = m->about;
    double share = (double)i / (SCREW_NODES - 1);
    c.turn = r.lo + (r.hi - r.lo) * share;
    double phi[LW_ROUGH];
    if (!richness(m->task, &c, phi)) continue;
    m->turn[m->turns] = c.turn;
    for (size_t s = 0; s < m->spots; s++)
      m->of_turn[m->turns][s] = phi[s] - m->base[s];
    m->turns++;
  }
}

static bool make(model *m, lw_rejet_task *t, const lw_choice *about) {
  m->task = t;
  m->about = *about;
  m->spots = 0;
  memset(m->of_place, 0, sizeof m->of_place);
  for (int i = 0; i < t->spot_count && m->spots < LW_ROUGH; i++) {
    if (!t->spots[i].rough) continue;
    m->place[m->spots++] = t->spots[i].place;
    m->of_place[t->spots[i].place]++;
  }
  if (!richness(t, about, m->base)) return false;
  for (int k = 0; k < t->knobs.count; k++)
    run_knob(m, k);
  run_screws(m);
  return true;
}

/* ---- asking the model ---- */

/* Turn the screws so that idle, the first spot, is right: between the nodes that hold it, else at the
   node nearest to it. */
static void model_screws(const model *m, double *phi) {
  int best = -1;
  double least = fabs(phi[0] - 1);
  for (int i = 0; i < m->turns; i++) {
    double here = phi[0] + m->of_turn[i][0] - 1;
    double next = i + 1 < m->turns ? phi[0] + m->of_turn[i + 1][0] - 1 : here;
    if (here * next < 0) {
      double share = here / (here - next);
      for (size_t s = 0; s < m->spots; s++)
        phi[s] += m->of_turn[i][s] + share * (m->of_turn[i + 1][s] - m->of_turn[i][s]);
      return;
    }
    if (fabs(here) >= least) continue;
    least = fabs(here);
    best = i;
  }
  for (size_t s = 0; s < m->spots && best >= 0; s++)
    phi[s] += m->of_turn[best][s];
}

static double model_cost(const model *m, const lw_choice *c) {
  double phi[LW_ROUGH], sum[LW_PLACES] = {0}, all = 0;
  int places = 0;
  memcpy(phi, m->base, m->spots * sizeof phi[0]);
  for (int k = 0; k < m->task->knobs.count; k++) {
    const double *add = m->of[k][c->size[k]];
    if (c->size[k] == m->about.size[k]) continue;
    if (!lw_known(add[0])) return no_way;
    for (size_t s = 0; s < m->spots; s++)
      phi[s] += add[s];
  }
  model_screws(m, phi);
  for (size_t s = 0; s < m->spots; s++) { /* near the logarithm, and cheaper */
    double x = fmax(phi[s], 0.05), e = 2 * (1 - x) / (1 + x);
    sum[m->place[s]] += e * e;
  }
  for (int i = 0; i < LW_PLACES; i++) {
    if (!m->of_place[i]) continue;
    all += sum[i] / m->of_place[i];
    places++;
  }
  return sqrt(all / places);
}

/* ---- growing sets of parts ---- */

/* The best size of each knob of these parts, the others held, again and again. */
static double descend(const model *m, lw_choice *c, unsigned parts) {
  const lw_knobs *ks = &m->task->knobs;
  double least = model_cost(m, c);
  for (int pass = 0; pass < PASSES; pass++) {
    double before = least;
    for (int k = 0; k < ks->count; k++) {
      if (!(parts >> ks->knob[k].part & 1)) continue;
      short best = c->size[k];
      for (short i = 0; i < ks->knob[k].count; i++) {
        c->size[k] = i;
        double cost = model_cost(m, c);
        if (cost >= least - 1e-9) continue;
        least = cost;
        best = i;
      }
      c->size[k] = best;
    }
    if (before - least < 1e-6) break;
  }
  return least;
}

static void insert(beam *beams, size_t *count, size_t most, const beam *b) {
  for (size_t i = 0; i < *count; i++) {
    if (beams[i].parts != b->parts) continue;
    if (beams[i].score <= b->score) return;
    memmove(&beams[i], &beams[i + 1], (*count - 1 - i) * sizeof *beams);
    (*count)--;
    break;
  }
  size_t at = *count;
  while (at > 0 && beams[at - 1].score > b->score)
    at--;
  if (at >= most) return;
  if (*count < most) (*count)++;
  memmove(&beams[at + 1], &beams[at], (*count - 1 - at) * sizeof *beams);
  beams[at] = *b;
}

/* Every beam with one part more. */
static size_t grow(const model *m, const beam *from, size_t count, beam *to) {
  const lw_knobs *ks = &m->task->knobs;
  size_t grown = 0;
  for (size_t i = 0; i < count; i++) {
    for (int part = 0; part < ks->parts; part++) {
      if (from[i].parts >> part & 1) continue;
      beam b = {from[i].choice, from[i].parts | 1U << part, 0};
      double labor = 0;
      b.score = descend(m, &b.choice, b.parts);
      (void)lw_choice_parts(ks, &b.choice, &labor);
      b.score += lw_labor_worth * labor;
      insert(to, &grown, BEAM, &b);
    }
  }
  return grown;
}

/* ---- improving on the twin ---- */

static double twin_cost(lw_rejet_task *t, lw_choice *c) {
  double errors[LW_ROUGH];
  lw_rejet_fit fit;
  if (!lw_spots_try(t, c, true, errors)) return no_way;
  lw_spots_fit(t, errors, true, &fit);
  return lw_fit_cost(&fit);
}

static bool step(const lw_knobs *ks, lw_choice *c, int k, int by) {
  int to = c->size[k] + by;
  if (to < 0 || to >= ks->knob[k].count) return false;
  c->size[k] = (short)to;
  return true;
}

/* A step of one size, or of two at once, that is better; false: there is none. */
static bool improve(lw_rejet_task *t, lw_choice *c, unsigned parts, double *least) {
  const lw_knobs *ks = &t->knobs;
  for (int two = 0; two < 2; two++) {
    for (int k = 0; k < ks->count; k++) {
      if (!(parts >> ks->knob[k].part & 1)) continue;
      for (int j = two ? k + 1 : k; j < (two ? ks->count : k + 1); j++) {
        if (!(parts >> ks->knob[j].part & 1)) continue;
        for (int way = 0; way < (two ? 4 : 2); way++) {
          lw_choice other = *c;
          if (!step(ks, &other, k, way & 1 ? 1 : -1)) continue;
          if (two && !step(ks, &other, j, way & 2 ? 1 : -1)) continue;
          double cost = twin_cost(t, &other);
          if (cost >= *least - 1e-6) continue;
          *least = cost;
          *c = other;
          return true;
        }
      }
    }
  }
  return false;
}

static void refine(lw_rejet_task *t, beam *b) {
  double labor = 0, least = twin_cost(t, &b->choice);
  for (int i = 0; i < ROUNDS_MOST && improve(t, &b->choice, b->parts, &least); i++) {}
  (void)lw_choice_parts(&t->knobs, &b->choice, &labor);
  b->score = least + lw_labor_worth * labor;
}

/* The parts that did change: a set may hold one that is best as it is. */
static unsigned changed(const lw_knobs *ks, const lw_choice *c) {
  unsigned parts = 0;
  for (int k = 0; k < ks->count; k++) {
    if (c->size[k] != ks->knob[k].now) parts |= 1U << ks->knob[k].part;
  }
  return parts;
}

/* One look: sets grown on the model about a choice, the best of each number improved. */
static void look(model *m, const lw_choice *about, beam *kept, size_t *kept_count, size_t most) {
  lw_rejet_task *t = m->task;
  beam level[2][BEAM + 1];
  size_t count = 1;
  if (!make(m, t, about)) return;
  level[0][0] = (beam){as_fitted(t), 0, 0};
  for (int n = 0; n < t->ask->parts_most && count; n++) {
    beam *next = level[(n + 1) % 2];
    count = grow(m, level[n % 2], count, next);
    for (size_t i = 0; i < count && i < REFINED; i++) {
      beam b = next[i];
      refine(t, &b);
      b.parts = changed(&t->knobs, &b.choice);
      insert(kept, kept_count, most, &b);
    }
  }
}

size_t lw_rejet_search(lw_rejet_task *t, lw_choice *found, size_t most) {
  enum { KEPT = 2 * LW_REJET_PARTS_MOST * REFINED + 1 };
  beam kept[KEPT + 1], screws = {as_fitted(t), 0, 0};
  size_t count = 0;
  model *m = lw_arena_alloc(t->arena, sizeof *m);
  if (!m) return 0;
  m->task = t;
  refine(t, &screws);
  insert(kept, &count, KEPT, &screws);
  look(m, &screws.choice, kept, &count, KEPT);
  if (kept[0].score > near_enough) look(m, &kept[0].choice, kept, &count, KEPT);
  for (size_t i = 0; i < count && i < most; i++)
    found[i] = kept[i].choice;
  return count < most ? count : most;
}
