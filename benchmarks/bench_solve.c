/* bench_solve.c - how fast the network solver is, alone and against a general one.
**
** Walks a grid of throttle and speed row by row and back, each point warm from the one before it:
** points a second, Newton steps, and the time of a whole map. Where SUNDIALS KINSOL is installed,
** the same points are solved by it too, in the same run, from the same starts, on the same
** equations to the same balance: with its own difference Jacobian and with ours, each as plain
** Newton, with a line search and with its default of keeping a Jacobian for ten steps. It leaves
** some points unsolved; the ratio is of the time both took for the points it solved. See README.md.
**
**   bench_solve [REPEATS [CARD]]
*/
#include "cars.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#ifdef LW_KINSOL
#include <kinsol/kinsol.h>
#include <nvector/nvector_serial.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>
#endif

enum { ACROSS = 40, POINTS = ACROSS * ACROSS, REPEATS_MOST = 99, STEPS_MOST = 400 };

static const double rpm = 3.14159265358979323846 / 30;

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int by_size(const void *a, const void *b) {
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

static double median(double *x, int n) {
  qsort(x, (size_t)n, sizeof *x, by_size);
  return n % 2 ? x[n / 2] : 0.5 * (x[n / 2 - 1] + x[n / 2]);
}

/* ---- the points ---- */

typedef struct walk {
  const lw_net *net;
  lw_setting settings[POINTS];
  lw_state starts[POINTS], ends[POINTS]; /* of each point: its neighbor's solution, its own */
  double steps[POINTS], took[POINTS];    /* s */
  int fallbacks;
} walk;

/* Throttle from the idle stop, closer where the mixture changes most, to wide open; 600 to 5,000
   rpm. */
static void lay_out(walk *w, const lw_net *net) {
  w->net = net;
  for (int i = 0; i < POINTS; i++) {
    int row = i / ACROSS, at = row % 2 ? ACROSS - 1 - i % ACROSS : i % ACROSS;
    double share = (double)at / (ACROSS - 1);
    w->settings[i] = (lw_setting){.throttle = share * share,
                                  .speed = (600 + 4400.0 * row / (ACROSS - 1)) * rpm,
                                  .ambient = LW_STANDARD_PRESSURE};
  }
}

/* Once in order, keeping what each point starts from. */
static bool prepare(walk *w) {
  lw_state state = {0};
  lw_report report;
  lw_net_solve(w->net, &w->settings[0], &state, &report);
  w->fallbacks = 0;
  for (int i = 0; i < POINTS; i++) {
    w->starts[i] = state;
    lw_net_solve(w->net, &w->settings[i], &state, &report);
    if (!report.converged) return false;
    w->ends[i] = state;
    w->steps[i] = report.steps;
    w->fallbacks += report.falls > 0;
  }
  return true;
}

/* Seconds for all points. */
static double solve_all(walk *w) {
  lw_report report;
  lw_state state = w->starts[0];
  double begin = now(), last = begin;
  for (int i = 0; i < POINTS; i++) {
    lw_net_solve(w->net, &w->settings[i], &state, &report);
    double at = now();
    w->took[i] = at - last;
    last = at;
  }
  return last - begin;
}

/* ---- against a general solver ---- */

#ifdef LW_KINSOL

typedef struct rival {
  const walk *w;
  const lw_setting *setting;
  int n, strategy, keep; /* KIN_NONE or KIN_LINESEARCH; steps a Jacobian is kept */
  bool exact;
  SUNContext context;
  N_Vector x, scale_x, scale_f;
  SUNMatrix a;
  SUNLinearSolver linear;
  void *kinsol;
  double jacobian[LW_NET_UNKNOWNS * LW_NET_UNKNOWNS];
} rival;

static int balances(N_Vector x, N_Vector f, void *user) {
  const rival *r = user;
  lw_net_residual(r->w->net, r->setting, N_VGetArrayPointer(x), N_VGetArrayPointer(f), NULL);
  return 0;
}

static int slopes(N_Vector x, N_Vector f, SUNMatrix a, void *user, N_Vector t1, N_Vector t2) {
  rival *r = user;
  (void)f, (void)t2;
  lw_net_residual(r->w->net, r->setting, N_VGetArrayPointer(x), N_VGetArrayPointer(t1),
                  r->jacobian);
  for (int j = 0; j < r->n; j++) {
    realtype *column = SUNDenseMatrix_Column(a, j);
    for (int i = 0; i < r->n; i++)
      column[i] = r->jacobian[i * r->n + j];
  }
  return 0;
}

/* The flow through the node of each balance, kg/s, from a solved point: what its balance is
   measured by (solve.c). */
static void through(const lw_net *net, const lw_setting *setting, const lw_state *at, double *t) {
  static lw_point p;
  lw_net_point(net, setting, at, &p);
  memset(t, 0, (size_t)net->unknown_count * sizeof *t);
  for (int i = 0; i < net->passage_count; i++) {
    const lw_net_node *ends[] = {&net->nodes[net->passages[i].from],
                                 &net->nodes[net->passages[i].to]};
    for (int k = 0; k < 2; k++) {
      bool derived = ends[k]->kind == LW_NET_SIGNAL || ends[k]->kind == LW_NET_BELOW;
      int u = derived ? net->barrels[ends[k]->barrel].unknown : ends[k]->unknown;
      if (u < 0) continue;
      t[u] += fabs(p.flow[i]);
      if (ends[k]->kind == LW_NET_INNER) t[u + 1] += fabs(p.flow[i]);
    }
  }
  for (int b = 0; b < net->barrel_count; b++) {
    int horn = net->nodes[net->barrels[b].horn].unknown;
    t[net->barrels[b].unknown] += fabs(p.barrel_air[b]);
    if (horn >= 0) t[horn] += fabs(p.barrel_air[b]);
  }
  for (int i = 0; i < net->manifold_count; i++)
    t[net->nodes[net->manifolds[i]].unknown] += p.air / net->manifold_count;
}

static bool open_rival(rival *r, const walk *w) {
  r->w = w;
  r->n = w->net->unknown_count;
  if (SUNContext_Create(NULL, &r->context) != 0) return false;
  r->x = N_VNew_Serial(r->n, r->context);
  r->scale_x = N_VNew_Serial(r->n, r->context);
  r->scale_f = N_VNew_Serial(r->n, r->context);
  r->a = SUNDenseMatrix(r->n, r->n, r->context);
  r->linear = SUNLinSol_Dense(r->x, r->a, r->context);
  r->kinsol = KINCreate(r->context);
  N_VConst(1, r->scale_x);
  bool good = KINInit(r->kinsol, balances, r->x) == 0 && KINSetUserData(r->kinsol, r) == 0 &&
              KINSetLinearSolver(r->kinsol, r->linear, r->a) == 0 &&
              KINSetMaxSetupCalls(r->kinsol, r->keep) == 0 &&
              KINSetNumMaxIters(r->kinsol, 60) == 0 && KINSetPrintLevel(r->kinsol, 0) == 0 &&
              KINSetScaledStepTol(r->kinsol, 1e-16) == 0 &&
              KINSetFuncNormTol(r->kinsol, 1e-9) == 0 && KINSetErrFile(r->kinsol, NULL) == 0;
  if (good && r->exact) good = KINSetJacFn(r->kinsol, slopes) == 0;
  return good;
}

static void close_rival(rival *r) {
  KINFree(&r->kinsol);
  SUNLinSolFree(r->linear);
  SUNMatDestroy(r->a);
  N_VDestroy(r->x);
  N_VDestroy(r->scale_x);
  N_VDestroy(r->scale_f);
  SUNContext_Free(&r->context);
}

/* Worst difference between its solution and ours, of what is of the order of 1 (mixtures, bars). */
static double apart(const rival *r, int i) {
  const double *x = N_VGetArrayPointer(r->x);
  double worst = 0;
  for (int k = 0; k < r->n; k++)
    worst = fmax(worst, fabs(x[k] - r->w->ends[i].x[k]));
  return worst;
}

typedef struct outcome {
  double seconds, own, apart; /* of the points it solved: its time, ours */
  int solved;
  long steps;
} outcome;

static outcome race(rival *r) {
  static double weights[POINTS][LW_NET_UNKNOWNS];
  outcome o = {0};
  for (int i = 0; i < POINTS; i++) {
    through(r->w->net, &r->w->settings[i], &r->w->ends[i], weights[i]);
    for (int k = 0; k < r->n; k++)
      weights[i][k] = 1 / (weights[i][k] + 1e-7);
  }
  for (int i = 0; i < POINTS; i++) {
    long steps = 0;
    r->setting = &r->w->settings[i];
    memcpy(N_VGetArrayPointer(r->x), r->w->starts[i].x, (size_t)r->n * sizeof(double));
    memcpy(N_VGetArrayPointer(r->scale_f), weights[i], (size_t)r->n * sizeof(double));
    double begin = now();
    int code = KINSol(r->kinsol, r->x, r->strategy, r->scale_x, r->scale_f);
    double took = now() - begin;
    if (code != KIN_SUCCESS && code != KIN_INITIAL_GUESS_OK) continue;
    KINGetNumNonlinSolvIters(r->kinsol, &steps);
    o.seconds += took;
    o.own += r->w->took[i];
    o.steps += steps;
    o.solved++;
    o.apart = fmax(o.apart, apart(r, i));
  }
  return o;
}

static void against(const walk *w, bool exact) {
  static rival r;
  static const char *const names[] = {"Newton", "line search", "kept Jacobian"};
  for (int k = 0; k < 3; k++) {
    r = (rival){
        .exact = exact, .strategy = k == 1 ? KIN_LINESEARCH : KIN_NONE, .keep = k == 2 ? 10 : 1};
    if (!open_rival(&r, w)) {
      printf("  KINSOL could not be set up\n");
      return;
    }
    outcome o = race(&r);
    close_rival(&r);
    printf(
        "  KINSOL, %s Jacobian, %-13s: %4d of %d solved, %4.1f steps, %6.0f points/s, ours %4.1f "
        "times as fast on these; apart by %.1e\n",
        exact ? "our exact " : "difference", names[k], o.solved, POINTS, (double)o.steps / o.solved,
        o.solved / o.seconds, o.seconds / o.own, o.apart);
  }
}

#endif

/* ---- one unit ---- */

static double map_time(lw_arena *arena, const lw_twin *twin) {
  double throttle[ACROSS], speed[ACROSS];
  lw_map *map = NULL;
  for (int i = 0; i < ACROSS; i++) {
    double share = (double)i / (ACROSS - 1);
    throttle[i] = share * share;
    speed[i] = (600 + 4400 * share) * rpm;
  }
  double begin = now();
  if (lw_map_run(arena, twin, throttle, ACROSS, speed, ACROSS, &map, NULL) != LW_OK) return NAN;
  double took = now() - begin;
  return map->failed ? NAN : took;
}

static bool measure(const cars_card *card, int repeats) {
  static walk w;
  double seconds[REPEATS_MOST], maps[REPEATS_MOST];
  lw_arena *arena = lw_arena_new(0);
  lw_twin *twin = NULL;
  lw_error error = {0};
  if (!arena || lw_twin_new(arena, card->card, &twin, &error) != LW_OK) {
    fprintf(stderr, "bench_solve: %s: %s\n", card->name, error.text);
    lw_arena_free(arena);
    return false;
  }
  lay_out(&w, twin->net);
  if (!prepare(&w)) {
    fprintf(stderr, "bench_solve: %s: a point did not converge\n", card->name);
    lw_arena_free(arena);
    return false;
  }
  for (int i = 0; i < repeats; i++) {
    seconds[i] = solve_all(&w);
    maps[i] = map_time(arena, twin);
  }
  double typical = median(seconds, repeats), fewest = seconds[0], steps = median(w.steps, POINTS);
  printf("%s (%s): %d unknowns\n", card->name, twin->net->family, twin->net->unknown_count);
  printf("  warm from the neighbor: %.0f points/s (best %.0f), %.0f steps in the median, %.0f at "
         "most, %d of %d with a fallback; a %d x %d map %.1f ms\n",
         POINTS / typical, POINTS / fewest, steps, w.steps[POINTS - 1], w.fallbacks, POINTS, ACROSS,
         ACROSS, 1e3 * median(maps, repeats));
#ifdef LW_KINSOL
  against(&w, false);
  against(&w, true);
#endif
  lw_arena_free(arena);
  return true;
}

int main(int argc, char **argv) {
  static cars_card cards[CARS_MOST];
  size_t count = 0;
  int repeats = argc > 1 ? (int)strtol(argv[1], NULL, 10) : 9, code = 2;
  lw_arena *arena = lw_arena_new(0);
  lw_units *units = NULL;
  lw_error error = {0};
  if (repeats < 1 || repeats > REPEATS_MOST) {
    fprintf(stderr, "usage: bench_solve [REPEATS [CARD]]\n");
  } else if (!arena || lw_units_open(&units, &error) != LW_OK ||
             cars_read(arena, units, LW_SOURCE_ROOT "/cards", cards, &count, &error) != LW_OK) {
    fprintf(stderr, "bench_solve: %s\n", error.text);
  } else {
    code = 0;
    for (size_t i = 0; i < count; i++)
      if (argc < 3 || strcmp(argv[2], cards[i].name) == 0)
        code = measure(&cards[i], repeats) ? code : 1;
#ifndef LW_KINSOL
    printf("built without SUNDIALS KINSOL (libsundials-dev): nothing to compare with\n");
#endif
  }
  lw_units_close(units);
  lw_arena_free(arena);
  return code;
}
