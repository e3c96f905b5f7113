/* test_network.c - the network and its solver: exact Jacobian, conservation, one answer from every
** start, a plain report on what cannot be solved, no allocation, the bordered elimination against a
** dense one, the idle stop.
**
** Every demo card and one made-up card for each family of build.c goes through all of it. This
** program is linked with malloc, calloc and realloc wrapped (meson.build), so that it can count
** what our own code asks for.
*/
#include "check.h"

#include "../../src/carb/net_internal.h"

#include <dirent.h>
#include <stdlib.h>

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define PI       3.14159265358979323846
#define RPM      (PI / 30)

/* ---- allocation, counted ---- */

static size_t allocations;

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);

void *__wrap_malloc(size_t size) {
  allocations++;
  return __real_malloc(size);
}
void *__wrap_calloc(size_t count, size_t size) {
  allocations++;
  return __real_calloc(count, size);
}
void *__wrap_realloc(void *old, size_t size) {
  allocations++;
  return __real_realloc(old, size);
}

/* ---- cards ---- */

enum { MOST_NETS = 24, MOST_TEXT = 64 * 1024, DEMO_CARDS = 6 /* or more */ };

typedef struct unit {
  char name[64];
  const lw_card *card;
  const lw_net *net;
} unit;

typedef struct bench {
  lw_arena *arena;
  lw_units *units;
  unit all[MOST_NETS];
  size_t count;
} bench;

#define ENGINE(name, liters)                                                                       \
  "unit: " name "\nmaker: Corran Works\nengine:\n  cylinders: 8\n  displacement: " liters          \
  "\n  compression ratio: 9\n  idle vacuum: 16 to 19 inHg\n"
#define SIZES                                                                                      \
  "    main jet: 1.5 mm\n    main bleed: 1.0 mm\n    idle feed: 0.70 mm\n    idle bleed: 1.3 mm\n" \
  "    second idle bleed: 0.9 mm\n    idle restriction: 1.3 mm\n    idle port: 1.7 mm\n"           \
  "    slot length: 4 mm\n    slot width: 0.8 mm\n    nozzle lip: 5 mm\n"
#define PRIMARY(count)                                                                             \
  "  primary:\n    count: " count                                                                  \
  "\n    throttle bore: 38 mm\n    venturi: 30 mm\n    booster: 9 mm\n" SIZES
#define LIMITER  "    idle limiter: 1.1 mm\n"
#define ONE_BORE "  primary:\n    count: 1\n    throttle bore: 43 mm\n    venturi: 33 mm\n" SIZES
#define SECONDARY                                                                                  \
  "  secondary:\n    count: 2\n    throttle bore: 42 mm\n    venturi: 36 mm\n"                     \
  "    main jet: 2.2 mm\n    main bleed: 1.2 mm\n    nozzle lip: 6 mm\n"
#define SECONDARY_IDLE "    idle feed: 0.6 mm\n    idle bleed: 1.5 mm\n    idle port: 1.2 mm\n"
#define SCREW(name, kind)                                                                          \
  "    - name: " name "\n      kind: " kind "\n      travel: 0 to 5 turns\n      preset: 2 "       \
  "turns\n"
#define IDLE "idle:\n  speed: 600 rpm\n"

/* One for each family of build.c, in the order of its table. */
static const char *const made_up[] = {
    ENGINE("ONE-FUEL", "2.4 L") "carburetor:\n  barrels: 1\n  bowl vent: external\n" ONE_BORE
                                "    power jet: 0.9 mm\n  power valve opens: 7 inHg\n"
                                "  screws:\n" SCREW("mixture", "fuel") IDLE,
    ENGINE("ONE-LIMITED", "2.8 L") "carburetor:\n  barrels: 1\n" ONE_BORE
                                   "  screws:\n" SCREW("mixture", "fuel with limited travel") IDLE,
    ENGINE("ONE-LIMITER", "3.1 L") "carburetor:\n  barrels: 1\n" ONE_BORE LIMITER
                                   "  screws:\n" SCREW("mixture", "fuel behind limiter") IDLE,
    ENGINE("TWO-SCREWS", "4.4 L") "carburetor:\n  barrels: 2\n" PRIMARY(
        "2") "    rods: [1.1 mm, 0.8 mm]\n"
             "  screws:\n" SCREW("left", "fuel") SCREW("right", "fuel") IDLE,
    ENGINE("AIR-BLEED", "4.7 L") "carburetor:\n  barrels: 2\n" PRIMARY("2") LIMITER
    "    bypass: 2.5 mm\n  off-idle check valve: yes\n"
    "  screws:\n" SCREW("bleed", "air bleed") IDLE,
    ENGINE("PAIR", "6.9 L") "carburetor:\n  barrels: 4\n  units: 2\n" PRIMARY("2")
        SECONDARY SECONDARY_IDLE "    operation: mechanical\n"
                                 "  screws:\n" SCREW("left", "fuel") SCREW("right", "fuel") IDLE,
    ENGINE("FOUR-VACUUM", "5.2 L") "carburetor:\n  barrels: 4\n" PRIMARY("2")
        SECONDARY SECONDARY_IDLE "    operation: vacuum\n"
                                 "  screws:\n" SCREW("left", "fuel") SCREW("right", "fuel") IDLE,
    ENGINE("FOUR-AIR-VALVE", "6.5 L") "carburetor:\n  barrels: 4\n" PRIMARY("2") SECONDARY
    "    operation: air valve\n  air valve spring: 2 turns\n"
    "  screws:\n" SCREW("left", "fuel") SCREW("right", "fuel") IDLE,
};

static const lw_card *card_of(bench *b, const char *text, const char *name) {
  lw_error error = {0};
  lw_card *card = NULL;
  char line[900];
  lw_bind bind = {b->arena, b->units, name};
  if (lw_card_read(&bind, text, strlen(text), &card, &error) == LW_OK) return card;
  fprintf(stderr, "%s\n", lw_error_line(&error, line, sizeof line));
  return NULL;
}

static bool add(bench *b, const char *text, const char *name) {
  lw_error error = {0};
  lw_net *net = NULL;
  char line[900];
  const lw_card *card = card_of(b, text, name);
  if (!card || b->count == MOST_NETS) return false;
  if (lw_net_build(b->arena, card, &net, &error) != LW_OK) {
    fprintf(stderr, "%s\n", lw_error_line(&error, line, sizeof line));
    return false;
  }
  unit *u = &b->all[b->count++];
  *u = (unit){.card = card, .net = net};
  snprintf(u->name, sizeof u->name, "%s", card->unit);
  return true;
}

static bool add_demo_cards(bench *b) {
  char path[1024];
  const char *root = getenv("SOURCE_ROOT") ? getenv("SOURCE_ROOT") : LW_SOURCE_ROOT;
  snprintf(path, sizeof path, "%s/cards", root);
  DIR *dir = opendir(path);
  bool good = dir != NULL;
  for (const struct dirent *entry = good ? readdir(dir) : NULL; entry; entry = readdir(dir)) {
    if (!strstr(entry->d_name, ".yaml")) continue;
    snprintf(path, sizeof path, "%s/cards/%s", root, entry->d_name);
    FILE *file = fopen(path, "rb");
    char *text = lw_arena_alloc(b->arena, MOST_TEXT);
    good = good && file && text && fread(text, 1, MOST_TEXT - 1, file) > 0;
    if (file) fclose(file);
    good = good && add(b, text, entry->d_name);
  }
  if (dir) closedir(dir);
  return good && b->count >= DEMO_CARDS;
}

static int setup(void **state) {
  bench *b = calloc(1, sizeof *b);
  lw_error error = {0};
  if (!b) return 1;
  *state = b;
  b->arena = lw_arena_new(0);
  if (!b->arena || lw_units_open(&b->units, &error) != LW_OK || !add_demo_cards(b)) return 1;
  for (size_t i = 0; i < COUNT(made_up); i++) {
    if (!add(b, made_up[i], "made up")) return 1;
  }
  return 0;
}

static int teardown(void **state) {
  bench *b = *state;
  lw_units_close(b->units);
  lw_arena_free(b->arena);
  free(b);
  return 0;
}

static void every_family_builds_its_card(void **state) {
  const bench *b = *state;
  const char *names[16];
  size_t families = lw_net_families(names, COUNT(names));
  assert_int_equal(families, COUNT(made_up));
  for (size_t i = 0; i < families; i++) {
    const unit *u = &b->all[b->count - families + i];
    assert_string_equal(u->net->family, names[i]);
    assert_true(u->net->unknown_count <= LW_NET_UNKNOWNS);
    assert_true(u->net->border_size <= LW_NET_BORDER);
    print_message("%s: %s; %d unknowns, border %d\n", u->name, u->net->family,
                  u->net->unknown_count, u->net->border_size);
  }
}

/* ---- chance: the same numbers on every machine ---- */

static double chance(uint64_t *seed) {
  *seed = *seed * 6364136223846793005u + 1442695040888963407u;
  return (double)(*seed >> 11) / 9007199254740992.0;
}

static lw_setting any_setting(uint64_t *seed) {
  return (lw_setting){.throttle = pow(chance(seed), 2),
                      .speed = (300 + 5700 * chance(seed)) * RPM,
                      .ambient = 60e3 + 45e3 * chance(seed),
                      .temperature = chance(seed) < 0.5 ? 0 : 250 + 80 * chance(seed)};
}

static bool is_manifold(const lw_net *net, int node) {
  for (int k = 0; k < net->manifold_count; k++) {
    if (net->manifolds[k] == node) return true;
  }
  return false;
}

/* Any state a solver may pass through, solved or not. */
static void any_state(const lw_net *net, const lw_setting *s, uint64_t *seed, double *x) {
  for (int b = 0; b < net->barrel_count; b++)
    x[net->barrels[b].unknown] = -0.2 + 1.15 * chance(seed);
  for (int i = 0; i < net->node_count; i++) {
    const lw_net_node *n = &net->nodes[i];
    if (n->unknown < 0) continue;
    double drop = n->kind == LW_NET_INNER ? 0.4 : is_manifold(net, i) ? 0.8 : 0.05;
    x[n->unknown] = s->ambient / LW_BAR * (1.01 - drop * chance(seed));
    if (n->kind == LW_NET_INNER) x[n->unknown + 1] = 0.02 + 0.96 * chance(seed);
  }
}

/* ---- the Jacobian ---- */

/* One column by differences of fourth order. */
static void column(const lw_net *net, const lw_setting *s, double *x, int col, double h,
                   double *out) {
  double r[4][LW_NET_UNKNOWNS], kept = x[col];
  const double steps[] = {h, -h, 2 * h, -2 * h};
  for (int k = 0; k < 4; k++) {
    x[col] = kept + steps[k];
    lw_net_residual(net, s, x, r[k], NULL);
  }
  x[col] = kept;
  for (int i = 0; i < net->unknown_count; i++)
    out[i] = (8 * (r[0][i] - r[1][i]) - (r[2][i] - r[3][i])) / (12 * h);
}

typedef struct tally {
  long held, doubtful;
  double worst;
} tally;

/* Differences are believed where two steps tell the same: they do not across a kink (a flow that
   turns round). What is believed must agree with the Jacobian. */
static void compare_column(const unit *u, const lw_setting *s, double *x, int col,
                           const double *jacobian, tally *t) {
  double wide[LW_NET_UNKNOWNS], fine[LW_NET_UNKNOWNS];
  int n = u->net->unknown_count;
  column(u->net, s, x, col, 1e-5, wide);
  column(u->net, s, x, col, 2e-6, fine);
  for (int i = 0; i < n; i++) {
    double own = jacobian[i * n + col], row = 0;
    for (int k = 0; k < n; k++)
      row = fmax(row, fabs(jacobian[i * n + k]));
    double scale = fmax(fabs(own), 1e-4 * row);
    if (fabs(wide[i] - fine[i]) > 1e-6 * fmax(scale, fabs(fine[i]))) {
      t->doubtful++;
      continue;
    }
    double error = fabs(fine[i] - own) / scale;
    if (error > 1e-5) {
      fail_msg("%s: row %d, unknown %d: %.9g, by differences %.9g", u->name, i, col, own, fine[i]);
    }
    t->worst = fmax(t->worst, error);
    t->held++;
  }
}

static void jacobian_equals_differences(void **state) {
  const bench *b = *state;
  static double jacobian[LW_NET_UNKNOWNS * LW_NET_UNKNOWNS];
  uint64_t seed = 11;
  for (size_t k = 0; k < b->count; k++) {
    const unit *u = &b->all[k];
    tally t = {0};
    for (int trial = 0; trial < 12; trial++) {
      double x[LW_NET_UNKNOWNS], r[LW_NET_UNKNOWNS];
      lw_setting s = any_setting(&seed);
      any_state(u->net, &s, &seed, x);
      lw_net_residual(u->net, &s, x, r, jacobian);
      for (int col = 0; col < u->net->unknown_count; col++)
        compare_column(u, &s, x, col, jacobian, &t);
    }
    print_message("%s: %ld slopes held, %ld doubtful, worst off by %.1e\n", u->name, t.held,
                  t.doubtful, t.worst);
    assert_true(t.doubtful < t.held / 100);
  }
}

/* ---- the bordered elimination ---- */

/* Gauss with full row scaling and partial pivoting in long double, on the dense matrix. */
static bool dense(int n, const double *jacobian, const double *r, double *step) {
  static long double a[LW_NET_UNKNOWNS][LW_NET_UNKNOWNS + 1];
  for (int i = 0; i < n; i++) {
    long double most = 0;
    for (int j = 0; j < n; j++)
      most = fmaxl(most, fabsl((long double)jacobian[i * n + j]));
    if (!(most > 0)) return false;
    for (int j = 0; j < n; j++)
      a[i][j] = jacobian[i * n + j] / most;
    a[i][n] = -r[i] / most;
  }
  for (int k = 0; k < n; k++) {
    int best = k;
    for (int i = k + 1; i < n; i++) {
      if (fabsl(a[i][k]) > fabsl(a[best][k])) best = i;
    }
    if (!(fabsl(a[best][k]) > 0)) return false;
    for (int j = 0; j <= n; j++) {
      long double t = a[k][j];
      a[k][j] = a[best][j];
      a[best][j] = t;
    }
    for (int i = k + 1; i < n; i++) {
      long double f = a[i][k] / a[k][k];
      for (int j = k; f != 0 && j <= n; j++)
        a[i][j] -= f * a[k][j];
    }
  }
  for (int i = n - 1; i >= 0; i--) {
    long double t = a[i][n];
    for (int j = i + 1; j < n; j++)
      t -= a[i][j] * step[j];
    step[i] = (double)(t / a[i][i]);
  }
  return true;
}

/* The dense matrix cut into blocks and border again. What lies outside of them must be empty. */
static void cut(const lw_net *net, const double *jacobian, const double *r, lw_system *system) {
  int n = net->unknown_count, edge = lw_net_border_at(net);
  memcpy(system->r, r, (size_t)n * sizeof *r);
  for (int i = 0; i < n; i++) {
    for (int j = 0; j < n; j++) {
      double v = jacobian[i * n + j];
      int at = 0, b = 0;
      while (b < net->barrel_count && i >= at + net->block_size[b] && j >= at + net->block_size[b])
        at += net->block_size[b++];
      if (i >= edge && j >= edge) {
        system->d[i - edge][j - edge] = v;
      } else if (i >= edge) {
        system->c[b][i - edge][j - at] = v;
      } else if (j >= edge) {
        system->b[b][i - at][j - edge] = v;
      } else if (j >= at && i >= at && i < at + net->block_size[b] && j < at + net->block_size[b]) {
        system->a[b][i - at][j - at] = v;
      } else {
        assert_true(v == 0);
      }
    }
  }
}

/* Both steps, compared over the larger step of all unknowns. */
static double step_error(const lw_net *net, const lw_setting *s, const double *x) {
  static double jacobian[LW_NET_UNKNOWNS * LW_NET_UNKNOWNS];
  static lw_system system;
  double r[LW_NET_UNKNOWNS], want[LW_NET_UNKNOWNS], got[LW_NET_UNKNOWNS], most = 0, worst = 0;
  int n = net->unknown_count;
  lw_net_residual(net, s, x, r, jacobian);
  memset(&system, 0, sizeof system);
  cut(net, jacobian, r, &system);
  assert_true(dense(n, jacobian, r, want));
  assert_true(lw_net_step(net, &system, got));
  for (int i = 0; i < n; i++)
    most = fmax(most, fabs(want[i]));
  for (int i = 0; i < n; i++)
    worst = fmax(worst, fabs(got[i] - want[i]) / most);
  return worst;
}

/* 1e-16 of rounding times a condition number of some 1e7 of the row-scaled matrix. */
static void bordered_elimination_equals_a_dense_one(void **state) {
  const bench *b = *state;
  uint64_t seed = 12;
  double worst = 0;
  for (size_t k = 0; k < b->count; k++) {
    const lw_net *net = b->all[k].net;
    for (int trial = 0; trial < 30; trial++) {
      double x[LW_NET_UNKNOWNS];
      lw_setting s = any_setting(&seed);
      any_state(net, &s, &seed, x);
      worst = fmax(worst, step_error(net, &s, x));
      lw_net_cold(net, &s, x);
      worst = fmax(worst, step_error(net, &s, x));
    }
  }
  print_message("bordered against dense: worst %.1e of the step\n", worst);
  assert_true(worst < 1e-9);
}

/* ---- conservation ---- */

/* What the cylinders draw (Heywood 1988, 6.2.2), written again from carb.h's words. */
static double drawn(const lw_net *net, const lw_setting *s, const lw_point *p) {
  const lw_draw *d = &net->draw;
  double r = d->compression_ratio, g = d->gamma, all = 0;
  double outside = s->temperature > 0 ? s->temperature : net->fluids.temperature;
  double charge = d->temperature + 0.73 * (outside - 293.15);
  double fill = d->eta0 * d->displacement * s->speed / (4 * PI) / (LW_AIR_R * charge);
  for (int k = 0; k < net->manifold_count; k++) {
    double pm = p->pressure[net->manifolds[k]], pe = (1 + d->back) * s->ambient;
    all += fill * pm * (r / (r - 1) - (pe / pm + g - 1) / (g * (r - 1))) / net->manifold_count;
  }
  return all;
}

typedef struct balance {
  double air, fuel, through; /* worst relative mismatch */
  int points, lost;
} balance;

/* Air in = air drawn; air into the manifold = air drawn; fuel out of the bowls = fuel delivered. */
static void weigh(const lw_net *net, const lw_setting *s, const lw_state *solved, balance *w) {
  lw_point p;
  lw_net_point(net, s, solved, &p);
  double draw = drawn(net, s, &p), bowls = 0, into = 0;
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *way = &net->passages[i];
    double air = p.flow[i] - p.fuel_flow[i];
    if (net->nodes[way->from].kind == LW_NET_BOWL) bowls += p.fuel_flow[i];
    if (net->nodes[way->to].kind == LW_NET_BOWL) bowls -= p.fuel_flow[i];
    if (is_manifold(net, way->to)) into += air;
    if (is_manifold(net, way->from)) into -= air;
  }
  w->points++;
  w->air = fmax(w->air, fabs(p.air - draw) / draw);
  w->through = fmax(w->through, fabs(into - draw) / draw);
  assert_true(p.air > 0 && p.fuel >= 0);
  if (p.fuel < 1e-6) return;                 /* eight barrels wide open at 600 rpm lift no fuel */
  double least = 1e-14 * net->unknown_count; /* the solver's floor: 1e-9 of 10 mg/s each */
  w->fuel = fmax(w->fuel, (fabs(bowls - p.fuel) - least) / p.fuel);
  double circuits = 0, barrels = 0;
  for (int c = 0; c < LW_CIRCUITS; c++)
    circuits += p.by_circuit[c];
  for (int k = 0; k < net->barrel_count; k++)
    barrels += p.barrel_fuel[k];
  NEAR(circuits, p.fuel, 1e-12 * p.fuel);
  assert_true(barrels <= p.fuel * (1 + 1e-12)); /* a shared chamber's fuel is no barrel's */
}

static const double throttles[] = {0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.6, 1};
static const double speeds[] = {600, 1100, 2000, 3200, 4600};

/* The solver promises each balance to 1e-9 of the flow in and out, which is twice the flow: 2e-9 of
   the draw for the manifold. From the air outside to the draw are four balances in a row (cleaner,
   horn, barrel, manifold), from the bowl to the manifold as many: 8e-9. */
static void nothing_is_lost_at_solved_points(void **state) {
  const bench *b = *state;
  for (size_t k = 0; k < b->count; k++) {
    const lw_net *net = b->all[k].net;
    balance w = {0};
    for (size_t n = 0; n < 2 * COUNT(speeds); n++) {
      bool high = n >= COUNT(speeds);
      lw_state from = {0};
      for (size_t t = 0; t < COUNT(throttles); t++) {
        lw_setting s = {throttles[t], speeds[n % COUNT(speeds)] * RPM, high ? 75e3 : 101325,
                        high ? 300 : 0, NULL};
        lw_report report;
        lw_net_solve(net, &s, &from, &report);
        if (!report.converged) {
          w.lost++;
          continue;
        }
        assert_true(report.residual <= 1e-9);
        weigh(net, &s, &from, &w);
      }
    }
    print_message("%s: %d points, %d lost; air off by %.1e, into manifold %.1e, fuel %.1e\n",
                  b->all[k].name, w.points, w.lost, w.air, w.through, w.fuel);
    assert_int_equal(w.lost, 0);
    assert_true(w.through < 2e-9);
    assert_true(w.air < 8e-9);
    assert_true(w.fuel < 8e-9);
  }
}

/* ---- one answer ---- */

/* Cold, from the neighbor, from far away: the same flows. */
static void warm_start_equals_cold_start(void **state) {
  const bench *b = *state;
  uint64_t seed = 13;
  double worst = 0;
  for (size_t k = 0; k < b->count; k++) {
    const lw_net *net = b->all[k].net;
    lw_state warm = {0};
    for (int trial = 0; trial < 40; trial++) {
      lw_setting s = any_setting(&seed);
      s.speed = fmax(s.speed, 500 * RPM);
      lw_state cold = {0};
      lw_report first, second;
      lw_point a, c;
      lw_net_solve(net, &s, &cold, &first);
      lw_net_solve(net, &s, &warm, &second); /* from the trial before */
      if (!first.converged || !second.converged) {
        fail_msg("%s: throttle %.3f, %.0f rpm, %.0f kPa: %s", b->all[k].name, s.throttle,
                 s.speed / RPM, s.ambient / 1e3, first.converged ? second.where : first.where);
      }
      lw_net_point(net, &s, &cold, &a);
      lw_net_point(net, &s, &warm, &c);
      worst = fmax(worst, fabs(a.air - c.air) / a.air);
      worst = fmax(worst, fabs(a.manifold - c.manifold) / a.manifold);
      worst = fmax(worst, fabs(a.fuel - c.fuel) / fmax(a.fuel, 1e-6));
      if (worst > 1e-6) {
        fail_msg("%s: throttle %.4f, %.0f rpm, %.1f kPa: cold %.9g, warm %.9g of fuel",
                 b->all[k].name, s.throttle, s.speed / RPM, s.ambient / 1e3, a.fuel, c.fuel);
      }
    }
  }
  print_message("warm against cold: worst %.1e\n", worst);
}

/* ---- what is held ---- */

/* Held where it would settle by itself, nothing changes; held elsewhere, the manifold has what it
   was told, and the derivatives stay exact. */
static void held_pressures_are_held(void **state) {
  const bench *b = *state;
  for (size_t k = 0; k < b->count; k++) {
    const lw_net *net = b->all[k].net;
    static lw_point free_point, held_point;
    lw_held held = {.valve = NAN, .power = NAN, .diaphragm = NAN};
    lw_setting s = {.throttle = 0.1, .speed = 1800 * RPM, .ambient = LW_STANDARD_PRESSURE};
    lw_state from = {0};
    lw_report report;
    lw_net_solve(net, &s, &from, &report);
    assert_true(report.converged);
    lw_net_point(net, &s, &from, &free_point);
    held.manifold = free_point.manifold;
    s.held = &held;
    lw_net_solve(net, &s, &from, &report);
    assert_true(report.converged);
    lw_net_point(net, &s, &from, &held_point);
    NEAR(held_point.air, free_point.air, 1e-8 * free_point.air);
    NEAR(held_point.fuel, free_point.fuel, 1e-7 * free_point.fuel);
    held.manifold = 0.5 * (free_point.manifold + LW_STANDARD_PRESSURE);
    held.valve = held.power = held.diaphragm = 0.3;
    lw_net_solve(net, &s, &from, &report);
    assert_true(report.converged);
    lw_net_point(net, &s, &from, &held_point);
    NEAR(held_point.manifold, held.manifold, 0.01);
    assert_true(held_point.air < free_point.air || net->barrel_count > 1);
  }
}

/* ---- what cannot be solved ---- */

/* Each is refused with a place named and the state left alone, or solved to finite flows. */
static void impossible_settings_are_reported(void **state) {
  const bench *b = *state;
  const lw_setting settings[] = {
      {NAN, 200, 101325, 0, NULL},
      {0.3, NAN, 101325, 0, NULL},
      {0.3, INFINITY, 101325, 0, NULL},
      {0.3, 200, NAN, 0, NULL},
      {0.3, 200, 0, 0, NULL},
      {0.3, 200, -5e4, 0, NULL},
      {0.3, 200, 101325, INFINITY, NULL},
      {0.3, -200, 101325, 0, NULL},
      {0.3, 200, INFINITY, 0, NULL},
      {-INFINITY, 200, 101325, 0, NULL},
      {0.3, 1e9, 101325, 0, NULL},
      {0.3, 200, 1e-300, 0, NULL},
  };
  for (size_t k = 0; k < b->count; k += 5) {
    const lw_net *net = b->all[k].net;
    for (size_t i = 0; i < COUNT(settings); i++) {
      lw_state from = {0}, before;
      lw_setting good = {0.2, 200, 101325, 0, NULL};
      lw_report report;
      lw_net_solve(net, &good, &from, &report);
      assert_true(report.converged);
      memcpy(&before, &from, sizeof before);
      lw_net_solve(net, &settings[i], &from, &report);
      if (report.converged) {
        lw_point p;
        lw_net_point(net, &settings[i], &from, &p);
        assert_true(isfinite(p.air) && isfinite(p.fuel) && isfinite(p.manifold));
        continue;
      }
      assert_memory_equal(&before, &from, sizeof before);
      assert_false(report.residual <= 1e-9);
      assert_true(report.where[0] != 0);
    }
  }
}

/* A state that is nonsense is no way to start: the solver begins anew. */
static void nonsense_start_does_not_spoil_the_answer(void **state) {
  const bench *b = *state;
  for (size_t k = 0; k < b->count; k++) {
    const lw_net *net = b->all[k].net;
    lw_setting s = {0.1, 1800 * RPM, 101325, 0, NULL};
    lw_state good = {0}, bad = {.known = true};
    lw_report report;
    lw_point a, c;
    lw_net_solve(net, &s, &good, &report);
    assert_true(report.converged);
    for (int i = 0; i < net->unknown_count; i++)
      bad.x[i] = i % 3 ? NAN : 1e30;
    lw_net_solve(net, &s, &bad, &report);
    assert_true(report.converged && report.falls > 0);
    lw_net_point(net, &s, &good, &a);
    lw_net_point(net, &s, &bad, &c);
    NEAR(c.fuel, a.fuel, 1e-6 * a.fuel);
    NEAR(c.air, a.air, 1e-6 * a.air);
  }
}

/* ---- no allocation ---- */

static void solving_allocates_nothing(void **state) {
  const bench *b = *state;
  size_t before = allocations;
  lw_arena *arena = lw_arena_new(0);
  assert_true(allocations > before); /* the count is alive: our floors are linked with the wraps */
  lw_arena_free(arena);
  uint64_t seed = 14;
  before = allocations;
  for (size_t k = 0; k < b->count; k++) {
    for (int trial = 0; trial < 10; trial++) {
      lw_setting s = any_setting(&seed);
      lw_state from = {.known = trial == 3}; /* all zero: a start that must fall back */
      lw_report report;
      lw_point p;
      lw_net_solve(b->all[k].net, &s, &from, &report);
      if (report.converged) lw_net_point(b->all[k].net, &s, &from, &p);
    }
  }
  assert_true(allocations == before);
}

/* ---- the idle stop ---- */

/* With the throttle on its stop, at idle speed and sea level, the manifold shows the card's vacuum,
   and half a millimeter of the transfer slot shows under the plate. */
static void idle_stop_holds_the_cards_vacuum(void **state) {
  const bench *b = *state;
  for (size_t k = 0; k < b->count; k++) {
    const unit *u = &b->all[k];
    double speed = lw_range_middle(u->card->idle.speed);
    lw_setting s = {0, speed, LW_STANDARD_PRESSURE, 0, NULL};
    lw_state from = {0};
    lw_report report;
    lw_point p;
    lw_net_solve(u->net, &s, &from, &report);
    assert_true(report.converged);
    lw_net_point(u->net, &s, &from, &p);
    double vacuum = s.ambient - p.manifold, want = lw_range_middle(u->card->engine.idle_vacuum);
    print_message("%s: idle at %.2f kPa vacuum (card %.2f), plate %.2f deg, %.2f g/s, AFR %.2f\n",
                  u->name, vacuum / 1e3, want / 1e3, p.angle[0] * 180 / PI, p.air * 1e3, p.afr);
    NEAR(vacuum, want, 300);
    assert_int_equal(lw_range_side(u->card->engine.idle_vacuum, vacuum), 0);
    assert_true(p.angle[0] > 0);
    for (int i = 0; i < u->net->passage_count; i++) {
      const lw_passage *slot = &u->net->passages[i];
      const lw_barrel *barrel = &u->net->barrels[slot->barrel >= 0 ? slot->barrel : 0];
      if (slot->gate != LW_GATE_SLOT_BELOW || barrel->linkage != LW_LINK_PEDAL) continue;
      double slope = 0, edge = lw_throttle_edge(barrel->closed + barrel->stop, barrel->closed,
                                                barrel->bore, &slope);
      NEAR(edge - slot->low, 0.5e-3, 1e-12);
    }
  }
}

/* The speed screw puts it there to a pascal or says that it cannot. */
static void speed_screw_finds_the_vacuum_or_refuses(void **state) {
  bench *b = *state;
  lw_net *net = lw_arena_alloc(b->arena, sizeof *net);
  assert_non_null(net);
  for (size_t k = 0; k < b->count; k++) {
    *net = *b->all[k].net;
    assert_true(lw_net_set_stop(net, 750 * RPM, 58e3));
    lw_setting s = {0, 750 * RPM, LW_STANDARD_PRESSURE, 0, NULL};
    lw_state from = {0};
    lw_report report;
    lw_point p;
    lw_net_solve(net, &s, &from, &report);
    assert_true(report.converged);
    lw_net_point(net, &s, &from, &p);
    NEAR(s.ambient - p.manifold, 58e3, 2);
    double stop = net->barrels[0].stop;
    assert_false(lw_net_set_stop(net, 750 * RPM, 120e3)); /* deeper than there is air */
    assert_true(net->barrels[0].stop == stop);
  }
}

static void throttle_for_a_vacuum_is_found_or_refused_in_words(void **state) {
  const bench *b = *state;
  for (size_t k = 0; k < b->count; k++) {
    for (double vacuum = 10e3; vacuum < 60e3; vacuum += 12e3) {
      lw_setting s = {0, 1800 * RPM, LW_STANDARD_PRESSURE, 0, NULL};
      lw_state from = {0};
      lw_error error = {0};
      lw_point p;
      assert_int_equal(lw_net_throttle_for(b->all[k].net, &s, vacuum, &from, &error), LW_OK);
      lw_net_point(b->all[k].net, &s, &from, &p);
      NEAR(s.ambient - p.manifold, vacuum, 1);
    }
    lw_setting s = {0, 1800 * RPM, LW_STANDARD_PRESSURE, 0, NULL};
    lw_state from = {0};
    lw_error error = {0};
    assert_int_equal(lw_net_throttle_for(b->all[k].net, &s, 130e3, &from, &error),
                     LW_NO_CONVERGENCE);
    HOLDS(error.text, "no throttle gives this vacuum");
  }
}

/* ---- cards that cannot flow ---- */

static void refused(bench *b, const char *text, const char *words) {
  lw_error error = {0};
  lw_net *net = NULL;
  const lw_card *card = card_of(b, text, "broken.yaml");
  assert_non_null(card);
  lw_status status = lw_net_build(b->arena, card, &net, &error);
  if (status != LW_BAD_INPUT) fail_msg("not refused: %s", words);
  assert_null(net);
  HOLDS(error.text, words);
  assert_string_equal(error.file, "broken.yaml");
  assert_true(error.line > 0);
}

#define ONE(sizes)                                                                                 \
  ENGINE("BROKEN", "3 L")                                                                          \
  "carburetor:\n  barrels: 1\n  primary:\n    count: 1\n    throttle bore: 40 mm\n" sizes          \
  "  screws:\n" SCREW("mixture", "fuel") IDLE

static void cards_that_cannot_flow_are_refused_in_trade_words(void **state) {
  bench *b = *state;
  refused(b, ONE("    venturi: 15 mm\n    main jet: 8 mm\n"), "wider than half the venturi");
  refused(b, ONE("    venturi: 30 mm\n    main jet: 1 mm\n    rods: [1.1 mm, 0.8 mm]\n"),
          "the rod fills its jet");
  refused(b, ONE("    venturi: 30 mm\n    main jet: 1 mm\n    idle feed: 1.2 mm\n"), "idle feed");
  refused(b, ONE("    venturi: 30 mm\n    main jet: 1 mm\n    nozzle lip: 0 mm\n"), "siphons");
  refused(b, ONE("    venturi: 30 mm\n"), "main jet, main bleed, idle feed, idle bleed");
  refused(b,
          ENGINE("NO-FAMILY", "5 L") "carburetor:\n  barrels: 3\n" PRIMARY("3") "  screws:\n" SCREW(
              "mixture", "fuel") IDLE,
          "no carburetor family");
}

/* More barrels than the network has room for, units it has no builder for, a power valve said to be
   shut at a vacuum where it would open (20 kPa, as nothing else is said). */
static void cards_beyond_the_networks_reach_are_refused(void **state) {
  bench *b = *state;
  refused(b,
          ENGINE("SIXTEEN", "9 L") "carburetor:\n  barrels: 8\n  units: 2\n" PRIMARY(
              "4") "  secondary:\n    count: 4\n    throttle bore: 42 mm\n    venturi: 36 mm\n"
                   "    main jet: 2.2 mm\n    main bleed: 1.2 mm\n    nozzle lip: 6 mm\n"
                   "  screws:\n" SCREW("mixture", "fuel") IDLE,
          "barrels");
  refused(b,
          ENGINE("TWO-ONES", "3 L") "carburetor:\n  barrels: 1\n  units: 2\n" ONE_BORE
                                    "  screws:\n" SCREW("mixture", "fuel") IDLE,
          "two units are known only as a pair");
  refused(b,
          ENGINE("TURNED", "3 L") "carburetor:\n  barrels: 1\n" ONE_BORE
                                  "    power jet: 1 mm\n  power valve closed: 15 kPa\n"
                                  "  screws:\n" SCREW("mixture", "fuel") IDLE,
          "power valve");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_family_builds_its_card),
      cmocka_unit_test(jacobian_equals_differences),
      cmocka_unit_test(bordered_elimination_equals_a_dense_one),
      cmocka_unit_test(nothing_is_lost_at_solved_points),
      cmocka_unit_test(warm_start_equals_cold_start),
      cmocka_unit_test(impossible_settings_are_reported),
      cmocka_unit_test(nonsense_start_does_not_spoil_the_answer),
      cmocka_unit_test(solving_allocates_nothing),
      cmocka_unit_test(idle_stop_holds_the_cards_vacuum),
      cmocka_unit_test(speed_screw_finds_the_vacuum_or_refuses),
      cmocka_unit_test(held_pressures_are_held),
      cmocka_unit_test(throttle_for_a_vacuum_is_found_or_refused_in_words),
      cmocka_unit_test(cards_that_cannot_flow_are_refused_in_trade_words),
      cmocka_unit_test(cards_beyond_the_networks_reach_are_refused),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
