/* complete.c - the sizes a card lacks, from what the unit shall do.
**
** Each unknown size is held between bounds that are plausible over a size it goes with (a bleed
** over its jet, a slot over its bore), as the sine of a free variable of its logarithm. Two kinds
** of residuals are squared and summed: how far each target is missed (2 % counts 1), and how far
** each size is from the usual ratio (its spread counts 1). The second kind keeps sizes sane that
** the targets do not tell. Levenberg-Marquardt (cminpack) minimizes the sum; throttles and idle
** stop are found again between rounds, since they hang on air and hardly on fuel.
**
** The ratios are ours: what units of this age look like.
*/
#include "leanward/bench.h"

#include <cminpack.h>
#include <math.h>
#include <string.h>

#define RPM  0.10471975511965977
#define INHG 3386.389

enum { UNKNOWNS = 24, TARGETS = 24, ROUNDS = 2, RUNS_EACH_ROUND = 400 };

static const double target_spread = 0.02;
/* The longest step a finite difference takes is the root of this times the variable. */
static const double difference = 1e-8;

/* ---- what may be unknown ---- */

typedef enum want { WANT_MAIN, WANT_POWER, WANT_IDLE, WANT_LIMITER, WANT_SLOT } want;

typedef struct rule {
  const char *key;
  size_t at, over;      /* members of lw_barrel_card: the size and the one it goes with */
  double usual, spread; /* ratio of the two, and how far its logarithm usually strays */
  double least, most;   /* believed ratios */
  double secondary;     /* usual ratio on the secondary side */
  want want;
} rule;

#define AT(m) offsetof(lw_barrel_card, m)

static const rule rules[] = {
    {"main jet", AT(main_jet), AT(venturi), 0.046, 0.25, 0.025, 0.10, 0.055, WANT_MAIN},
    {"main bleed", AT(main_bleed), AT(main_jet), 0.68, 0.15, 0.35, 1.3, 0.6, WANT_MAIN},
    {"power jet", AT(power_jet), AT(main_jet), 0.65, 0.3, 0.2, 1.2, 0.5, WANT_POWER},
    {"idle feed", AT(idle_feed), AT(main_jet), 0.52, 0.2, 0.25, 0.8, 0.3, WANT_IDLE},
    {"idle bleed", AT(idle_bleed), AT(idle_feed), 1.6, 0.25, 0.8, 3.5, 1.8, WANT_IDLE},
    {"idle restriction", AT(idle_restriction), AT(idle_feed), 1.7, 0.2, 1, 3.5, 1.7, WANT_IDLE},
    {"idle port", AT(idle_port), AT(idle_feed), 2.2, 0.2, 1.2, 4, 1.8, WANT_IDLE},
    {"idle limiter", AT(idle_limiter), AT(idle_feed), 1.35, 0.2, 0.8, 3, 1.35, WANT_LIMITER},
    {"slot length", AT(slot_length), AT(bore), 0.09, 0.15, 0.05, 0.16, 0.09, WANT_SLOT},
    {"slot width", AT(slot_width), AT(bore), 0.0165, 0.25, 0.008, 0.03, 0.0165, WANT_SLOT},
};
enum { RULES = sizeof rules / sizeof rules[0] };

typedef struct unknown {
  const rule *rule;
  bool secondary;
  double mid, half; /* logarithms of the bounds */
} unknown;

typedef struct task {
  lw_arena *arena;
  lw_card *card; /* being filled */
  lw_error *error;
  unknown unknowns[UNKNOWNS];
  int count;
  lw_inferred_size sizes[UNKNOWNS + 4]; /* those by rule of thumb come first */
  size_t by_thumb;
  lw_target *targets;
  int target_count;
  double throttle[TARGETS];
  lw_state states[TARGETS];
  const lw_net *like;
  int runs;
} task;

static lw_barrel_card *group(task *t, bool secondary) {
  return secondary ? &t->card->carburetor.secondary : &t->card->carburetor.primary;
}

static double *member(lw_barrel_card *barrel, size_t at) {
  return (double *)(void *)((char *)barrel + at);
}

/* ---- bores and venturis by rule of thumb ---- */

static int barrels_of(const lw_card *card, bool secondary) {
  const lw_carburetor_card *c = &card->carburetor;
  if (secondary) return c->secondary.count;
  if (c->primary.count) return c->primary.count;
  return c->barrels > c->secondary.count ? c->barrels - c->secondary.count : 1;
}

static void note(task *t, bool secondary, const char *key, double value) {
  t->sizes[t->by_thumb++] = (lw_inferred_size){secondary, key, value, false};
}

/* At 4,000 rpm and three quarters of its displacement an engine pulls some 95 m/s through its
   venturis; secondaries take three fifths of that. A throttle bore is a venturi over 0.77. */
static void thumb(task *t, bool secondary) {
  const lw_card *card = t->card;
  int count = barrels_of(card, secondary), units = card->carburetor.units == 2 ? 2 : 1;
  lw_barrel_card *g = group(t, secondary);
  if (!count || !lw_known(card->engine.displacement)) return;
  double share = barrels_of(card, true) ? (secondary ? 0.6 : 0.4) : 1;
  double air = card->engine.displacement * 4000 / 120 * 0.75 * share;
  double venturi = sqrt(4 / 3.14159265358979 * air / 95 / count / units);
  const double bore_over = 0.77;
  if (!lw_known(g->venturi)) {
    g->venturi = lw_known(g->bore) ? bore_over * g->bore : venturi;
    note(t, secondary, "venturi", g->venturi);
  }
  if (lw_known(g->bore)) return;
  g->bore = g->venturi / bore_over;
  note(t, secondary, "throttle bore", g->bore);
}

/* ---- which sizes are unknown ---- */

static bool any_idle(const lw_barrel_card *g) {
  return lw_known(g->idle_feed) || lw_known(g->idle_bleed) || lw_known(g->idle_port) ||
         lw_known(g->idle_restriction);
}

static bool has_screw(const lw_card *card, lw_screw_kind kind) {
  const lw_screw_card *s = card->carburetor.screws.items;
  for (size_t i = 0; i < card->carburetor.screws.count; i++) {
    if (s[i].kind == kind) return true;
  }
  return false;
}

static bool wanted(const lw_card *card, const lw_barrel_card *g, bool secondary, want kind) {
  const lw_carburetor_card *c = &card->carburetor;
  bool idle = !secondary || any_idle(g) || c->secondary.operation == 2 || c->units == 2;
  switch (kind) {
  case WANT_MAIN: return true;
  case WANT_POWER: return !secondary && !g->rods.count;
  case WANT_IDLE: return idle;
  case WANT_LIMITER:
    return !secondary &&
           (has_screw(card, LW_SCREW_FUEL_LIMITER) || has_screw(card, LW_SCREW_AIR_BLEED));
  case WANT_SLOT: return !secondary || (idle && c->secondary.operation == 2);
  }
  return false;
}

/* A jet with rods in it is wider than what it lets by: the rod's area comes on top. */
static double usual_of(const rule *r, const lw_barrel_card *g, bool secondary) {
  double usual = secondary ? r->secondary : r->usual;
  if (r->at != AT(main_jet) || !g->rods.count) return usual;
  double lean = g->rods.x[0] / g->venturi;
  return sqrt(usual * usual + lean * lean);
}

static void list_unknowns(task *t, bool secondary) {
  lw_barrel_card *g = group(t, secondary);
  if (!barrels_of(t->card, secondary)) return;
  for (int i = 0; i < RULES && t->count < UNKNOWNS; i++) {
    const rule *r = &rules[i];
    double *size = member(g, r->at), over = *member(g, r->over);
    if (lw_known(*size) || !wanted(t->card, g, secondary, r->want)) continue;
    double least = r->least * over, most = r->most * over;
    *size = usual_of(r, g, secondary) * over;
    if (r->at == AT(main_jet) && g->rods.count) {
      least = fmax(least, 1.05 * g->rods.x[0]);
      most = fmax(most, 1.5 * least);
    }
    if (r->at == AT(idle_feed)) most = fmin(most, 0.95 * g->main_jet);
    t->unknowns[t->count++] =
        (unknown){r, secondary, 0.5 * log(least * most), 0.5 * log(most / least)};
  }
}

/* ---- residuals ---- */

static void put(task *t, const double *u) {
  for (int i = 0; i < t->count; i++) {
    const unknown *x = &t->unknowns[i];
    *member(group(t, x->secondary), x->rule->at) = exp(x->mid + x->half * sin(u[i]));
  }
}

static void get(task *t, double *u) {
  for (int i = 0; i < t->count; i++) {
    const unknown *x = &t->unknowns[i];
    double share = (log(*member(group(t, x->secondary), x->rule->at)) - x->mid) / x->half;
    u[i] = asin(fmin(fmax(share, -0.95), 0.95));
  }
}

static lw_setting setting_of(const task *t, int target) {
  const lw_target *x = &t->targets[target];
  return (lw_setting){
      .throttle = t->throttle[target], .speed = x->speed, .ambient = LW_STANDARD_PRESSURE};
}

/* The mixture at a target; NaN where it cannot be had. */
static double mixture(task *t, const lw_net *net, int target) {
  lw_setting setting = setting_of(t, target);
  lw_report report;
  lw_point point;
  lw_net_solve(net, &setting, &t->states[target], &report);
  if (!report.converged) return LW_NONE;
  lw_net_point(net, &setting, &t->states[target], &point);
  return point.afr;
}

static double strayed(task *t, const unknown *x) {
  const lw_barrel_card *g = group(t, x->secondary);
  lw_barrel_card *own = group(t, x->secondary);
  double ratio = *member(own, x->rule->at) / *member(own, x->rule->over);
  return log(ratio / usual_of(x->rule, g, x->secondary)) / x->rule->spread;
}

static int residuals(void *p, int m, int n, const double *u, double *r, int flag) {
  task *t = p;
  const double far = 60; /* of what cannot be had: further than any mixture */
  lw_net *net = NULL;
  (void)m;
  (void)n;
  (void)flag;
  put(t, u);
  lw_arena *scratch = lw_arena_new(0);
  bool good = scratch && lw_net_build_like(scratch, t->card, t->like, &net, NULL) == LW_OK;
  t->runs++;
  for (int i = 0; i < t->target_count; i++) {
    const lw_target *x = &t->targets[i];
    double afr = good ? mixture(t, net, i) : LW_NONE;
    r[i] = lw_known(afr) ? x->weight * log(afr / x->afr) / target_spread : far;
  }
  for (int i = 0; i < t->count; i++)
    r[t->target_count + i] = strayed(t, &t->unknowns[i]);
  lw_arena_free(scratch);
  return 0;
}

/* ---- rounds ---- */

/* Stop and throttles of the card as it stands. */
static lw_status find_throttles(task *t) {
  lw_net *net = NULL;
  lw_status status = lw_net_build(t->arena, t->card, &net, t->error);
  for (int i = 0; i < t->target_count && status == LW_OK; i++) {
    const lw_target *x = &t->targets[i];
    lw_setting setting = {.speed = x->speed, .ambient = LW_STANDARD_PRESSURE, .throttle = 1};
    lw_error own = {0};
    t->states[i].known = false;
    static const double aside[] = {1, 1.004, 0.996}; /* past a lone point that does not settle */
    status = lw_known(x->vacuum) ? LW_NO_CONVERGENCE : LW_OK;
    for (int k = 0; k < 3 && status == LW_NO_CONVERGENCE; k++) {
      t->states[i].known = false; /* that of other sizes may lie far off */
      status = lw_net_throttle_for(net, &setting, aside[k] * x->vacuum, &t->states[i], &own);
    }
    t->throttle[i] = setting.throttle;
    if (status != LW_OK) lw_fail(t->error, status, "target '%s': %s", x->name, own.text);
  }
  t->like = net;
  return status;
}

static lw_status fit(task *t) {
  int n = t->count, m = t->target_count + n, info = 0, runs = 0;
  enum { N = UNKNOWNS, M = UNKNOWNS + TARGETS };
  double u[N], r[M], diag[N], qtf[N], w1[N], w2[N], w3[N], w4[M];
  int pivot[N];
  double *jacobian = lw_arena_array(t->arena, (size_t)M * N, sizeof *jacobian);
  if (!jacobian) return lw_fail(t->error, LW_NO_MEMORY, "no memory to complete this card");
  get(t, u);
  info = lmdif(residuals, t, m, n, u, r, 1e-4, 1e-4, 0, RUNS_EACH_ROUND, difference, diag, 1, 1, 0,
               &runs, jacobian, m, pivot, qtf, w1, w2, w3, w4);
  put(t, u);
  if (info > 0) return LW_OK;
  return lw_fail(t->error, LW_NO_CONVERGENCE, "the sizes could not be fitted to the targets");
}

static lw_status judge(task *t, double *worst) {
  lw_status status = find_throttles(t);
  *worst = 0;
  for (int i = 0; i < t->target_count && status == LW_OK; i++) {
    lw_target *x = &t->targets[i];
    x->met = mixture(t, t->like, i);
    if (!lw_known(x->met)) {
      return lw_fail(t->error, LW_NO_CONVERGENCE, "target '%s': no mixture there: %s", x->name,
                     "no fuel flows, or the flows did not settle");
    }
    *worst = fmax(*worst, fabs(x->met / x->afr - 1));
  }
  return status;
}

static lw_status rounds(task *t, double *worst) {
  lw_status status = find_throttles(t);
  for (int i = 0; i < ROUNDS && t->count && status == LW_OK; i++) {
    double before[TARGETS], moved = 0;
    memcpy(before, t->throttle, sizeof before);
    status = fit(t);
    if (status == LW_OK) status = find_throttles(t);
    for (int k = 0; k < t->target_count; k++)
      moved = fmax(moved, fabs(t->throttle[k] - before[k]));
    if (moved < 1e-4) break;
  }
  return status == LW_OK ? judge(t, worst) : status;
}

/* ---- targets ---- */

/* The usual ones. At idle and just off it without load the vacuum is that of the idle. */
static void usual_targets(task *t) {
  const lw_card *card = t->card;
  double speed = lw_range_middle(card->idle.speed), afr = lw_range_middle(card->idle.afr);
  double vacuum = lw_range_middle(card->engine.idle_vacuum), lean = 1;
  lw_fuel fuel, gasoline;
  if (!lw_known(speed)) speed = 700 * RPM;
  if (!lw_known(vacuum)) vacuum = 18.3 * INHG;
  bool other = card->fuel.name && lw_fuel_by_name(card->fuel.name, &fuel) &&
               lw_fuel_by_name("gasoline", &gasoline);
  if (other) lean = lw_fuel_stoichiometric(&fuel) / lw_fuel_stoichiometric(&gasoline);
  const lw_target usual[] = {
      {"idle", speed, vacuum, lw_known(afr) ? afr : 14.0 * lean, 3, 0},
      {"off idle", speed + 150 * RPM, vacuum, 14.4 * lean, 1, 0},
      {"off idle", speed + 350 * RPM, vacuum, 14.8 * lean, 1, 0},
      {"off idle", speed + 600 * RPM, vacuum, 15.0 * lean, 1, 0},
      {"light cruise", 1600 * RPM, 17 * INHG, 15.3 * lean, 1, 0},
      {"cruise", 2000 * RPM, 15 * INHG, 15.5 * lean, 2, 0},
      {"cruise", 2500 * RPM, 13 * INHG, 15.5 * lean, 2, 0},
      {"full throttle", 2000 * RPM, LW_NONE, 12.7 * lean, 2, 0},
      {"full throttle", 3000 * RPM, LW_NONE, 12.7 * lean, 1, 0},
      {"full throttle", 4000 * RPM, LW_NONE, 12.7 * lean, 2, 0},
  };
  t->target_count = sizeof usual / sizeof usual[0];
  memcpy(t->targets, usual, sizeof usual);
}

static lw_status check_targets(const lw_target *targets, size_t count, lw_error *error) {
  if (count > TARGETS) {
    return lw_fail(error, LW_BAD_INPUT, "at most %d targets are taken", TARGETS);
  }
  for (size_t i = 0; i < count; i++) {
    const lw_target *x = &targets[i];
    bool good = x->speed >= 20 && x->speed <= 1000 && x->afr >= 4 && x->afr <= 30 && x->weight > 0;
    if (good && (!lw_known(x->vacuum) || (x->vacuum > 0 && x->vacuum < 95e3))) continue;
    return lw_fail(error, LW_BAD_INPUT, "target '%s' is not something an engine does", x->name);
  }
  return LW_OK;
}

/* ---- the whole ---- */

static lw_status hand_over(task *t, double worst, lw_completed **out) {
  lw_completed *c = lw_arena_alloc(t->arena, sizeof *c);
  lw_inferred_size *sizes = lw_arena_array(t->arena, UNKNOWNS + 4, sizeof *sizes);
  if (!c || !sizes) return lw_fail(t->error, LW_NO_MEMORY, "no memory to complete this card");
  memcpy(sizes, t->sizes, t->by_thumb * sizeof *sizes);
  size_t n = t->by_thumb, bound = 0;
  for (int i = 0; i < t->count; i++) {
    const unknown *x = &t->unknowns[i];
    double value = *member(group(t, x->secondary), x->rule->at);
    bool at_bound = fabs(log(value) - x->mid) > 0.995 * x->half;
    sizes[n++] = (lw_inferred_size){x->secondary, x->rule->key, value, at_bound};
    bound += at_bound;
  }
  *c =
      (lw_completed){t->card, sizes, n, bound, t->targets, (size_t)t->target_count, worst, t->runs};
  *out = c;
  return LW_OK;
}

lw_status lw_card_complete(lw_arena *arena, const lw_card *card, const lw_target *targets,
                           size_t count, lw_completed **out, lw_error *error) {
  double worst = 0;
  task *t = lw_arena_alloc(arena, sizeof *t);
  lw_card *own = lw_arena_alloc(arena, sizeof *own);
  lw_target *list = lw_arena_array(arena, TARGETS, sizeof *list);
  if (!t || !own || !list) return lw_fail(error, LW_NO_MEMORY, "no memory to complete this card");
  lw_status status = check_targets(targets, targets ? count : 0, error);
  if (status != LW_OK) return status;
  *own = *card;
  *t = (task){.arena = arena, .card = own, .error = error, .targets = list};
  if (targets) {
    memcpy(list, targets, count * sizeof *list);
    t->target_count = (int)count;
  } else {
    usual_targets(t);
  }
  for (int secondary = 0; secondary < 2; secondary++) {
    thumb(t, secondary);
    list_unknowns(t, secondary);
  }
  status = rounds(t, &worst);
  return status == LW_OK ? hand_over(t, worst, out) : status;
}
