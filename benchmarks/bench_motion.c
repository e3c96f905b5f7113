/* bench_motion.c - how fast the car in time runs, alone and against a plain use of its integrator.
**
** A warm car is driven for 1,372 s through stops, gears and a restless foot; controls change every
** second. Ours is motion.h. Against it, in the same run, on the same equations to the same
** tolerances and with the same stops, SUNDIALS CVODE as its manual shows it: BDF, dense Jacobian by
** differences of its own, set up anew for every call; and the same kept from call to call, set up
** anew only where slopes jump. The plain runs look for no events. See README.md.
**
**   bench_motion [REPEATS [CARD]]
*/
#include "cars.h"

#include "leanward/motion.h"

#include <cvode/cvode.h>
#include <math.h>
#include <nvector/nvector_serial.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>
#include <time.h>

enum { SECONDS = 1372, REPEATS_MOST = 99 };

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
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

/* Away from rest through the gears, along with a restless foot, braked to rest, standing. */
static lw_controls second(int i, const lw_controls *before) {
  lw_controls c = *before;
  int at = i % 60;
  c.gear = at < 40 ? 1 + (at > 5) + (at > 11) : at < 52 ? 3 : 0;
  c.pedal = at < 40 ? 0.14 + 0.06 * sin(1.7 * i) + (at == 12 ? 0.4 : 0) : 0;
  c.pedal_rate = 1;
  c.clutch = at < 4 ? 0.15 * (at + 1) : 1;
  if (at >= 48 && at < 52) c.clutch = 0;
  c.brake = at >= 40 ? 2500 : 0;
  return c;
}

static bool jumps(const lw_controls *a, const lw_controls *b) {
  return a->gear != b->gear || a->clutch != b->clutch || a->brake != b->brake;
}

/* ---- ours ---- */

typedef struct outcome {
  double seconds, distance, fuel;
  long steps, slopes, networks;
} outcome;

static void tell(outcome *o, const double *y) {
  o->distance = y[LW_MOTION_STATES - 1];
  o->fuel = y[LW_MOTION_STATES - 5] + y[LW_MOTION_STATES - 4];
}

static bool ours(lw_motion *m, outcome *o, lw_error *error) {
  double y[LW_MOTION_STATES];
  if (lw_motion_idle(m, error) != LW_OK) return false;
  lw_effort before = lw_motion_effort(m);
  double begin = now();
  for (int i = 0; i < SECONDS; i++) {
    lw_controls c = second(i, lw_motion_controls(m));
    lw_motion_control(m, &c);
    if (lw_motion_advance(m, 1, error) != LW_OK) return false;
  }
  o->seconds = now() - begin;
  lw_effort after = lw_motion_effort(m);
  o->steps = after.steps - before.steps;
  o->slopes = after.slopes - before.slopes;
  o->networks = after.networks - before.networks;
  lw_motion_states(m, y, NULL);
  tell(o, y);
  return true;
}

/* ---- plain ---- */

static int slopes(realtype t, N_Vector y, N_Vector f, void *user) {
  return lw_motion_slopes(user, t, N_VGetArrayPointer(y), N_VGetArrayPointer(f)) ? 0 : 1;
}

typedef struct rival {
  SUNContext context;
  N_Vector y, tolerances;
  SUNMatrix a;
  SUNLinearSolver linear;
  void *cvode;
} rival;

static bool open_rival(rival *r, lw_motion *m) {
  if (SUNContext_Create(NULL, &r->context) != 0) return false;
  r->y = N_VNew_Serial(LW_MOTION_STATES, r->context);
  r->tolerances = N_VNew_Serial(LW_MOTION_STATES, r->context);
  r->a = SUNDenseMatrix(LW_MOTION_STATES, LW_MOTION_STATES, r->context);
  r->linear = SUNLinSol_Dense(r->y, r->a, r->context);
  r->cvode = CVodeCreate(CV_BDF, r->context);
  lw_motion_states(m, N_VGetArrayPointer(r->y), N_VGetArrayPointer(r->tolerances));
  return CVodeInit(r->cvode, slopes, 0, r->y) == CV_SUCCESS &&
         CVodeSVtolerances(r->cvode, 1e-4, r->tolerances) == CV_SUCCESS &&
         CVodeSetUserData(r->cvode, m) == CV_SUCCESS &&
         CVodeSetErrFile(r->cvode, NULL) == CV_SUCCESS &&
         CVodeSetMaxNumSteps(r->cvode, 100000) == CV_SUCCESS &&
         CVodeSetLinearSolver(r->cvode, r->linear, r->a) == CV_SUCCESS;
}

static void close_rival(rival *r) {
  CVodeFree(&r->cvode);
  SUNLinSolFree(r->linear);
  SUNMatDestroy(r->a);
  N_VDestroy(r->y);
  N_VDestroy(r->tolerances);
  SUNContext_Free(&r->context);
}

static bool to(rival *r, double *at, double until, bool anew) {
  if (anew && CVodeReInit(r->cvode, *at, r->y) != CV_SUCCESS) return false;
  return CVodeSetStopTime(r->cvode, until) == CV_SUCCESS &&
         CVode(r->cvode, until, r->y, at, CV_NORMAL) >= 0;
}

/* One second: to where the foot rests, and on. */
static bool plain_second(rival *r, lw_motion *m, int i, bool keep, double *at) {
  lw_controls before = *lw_motion_controls(m), c = second(i, &before);
  double moved = i + fabs(c.pedal - before.pedal) / c.pedal_rate;
  bool anew = !keep || i == 0 || jumps(&before, &c);
  lw_motion_put(m, i, N_VGetArrayPointer(r->y)); /* so that it knows the time */
  lw_motion_control(m, &c);
  if (moved > i + 1e-9 && moved < i + 1) {
    if (!to(r, at, moved, anew)) return false;
    anew = !keep;
  }
  return to(r, at, i + 1, anew);
}

static bool plain(lw_motion *m, bool keep, outcome *o, lw_error *error) {
  rival r = {0};
  double at = 0;
  if (lw_motion_idle(m, error) != LW_OK || !open_rival(&r, m)) return false;
  lw_effort before = lw_motion_effort(m);
  bool good = true;
  double begin = now();
  for (int i = 0; i < SECONDS && good; i++) {
    long steps = 0;
    good = plain_second(&r, m, i, keep, &at);
    CVodeGetNumSteps(r.cvode, &steps);
  }
  o->seconds = now() - begin;
  lw_effort after = lw_motion_effort(m);
  o->slopes = after.slopes - before.slopes;
  o->networks = after.networks - before.networks;
  tell(o, N_VGetArrayPointer(r.y));
  close_rival(&r);
  return good;
}

/* ---- one car ---- */

static void show(const char *name, const outcome *o, double typical) {
  printf(
      "  %-34s %7.0f times real time (%.3f s); %ld moments, %ld networks; %.3f km, %.1f g fuel\n",
      name, SECONDS / typical, typical, o->slopes, o->networks, 1e-3 * o->distance, 1e3 * o->fuel);
}

static bool measure(lw_arena *arena, const cars_card *card, int repeats, lw_error *error) {
  lw_twin *twin = NULL;
  lw_engine *engine = NULL;
  lw_motion *m = NULL;
  lw_surroundings around = lw_surroundings_standard();
  double own[REPEATS_MOST], fresh[REPEATS_MOST], kept[REPEATS_MOST];
  outcome a = {0}, b = {0}, c = {0};
  if (lw_twin_new(arena, card->card, &twin, error) != LW_OK ||
      lw_engine_new(arena, twin->card, twin->net, &engine, NULL, error) != LW_OK ||
      lw_motion_new(engine, twin->net, twin->card, &around, NULL, &m, error) != LW_OK)
    return false;
  bool good = true;
  for (int i = 0; i < repeats && good; i++) {
    good = ours(m, &a, error) && plain(m, false, &b, error) && plain(m, true, &c, error);
    own[i] = a.seconds;
    fresh[i] = b.seconds;
    kept[i] = c.seconds;
  }
  if (good) {
    double ours_typical = median(own, repeats), fresh_typical = median(fresh, repeats),
           kept_typical = median(kept, repeats);
    printf("%s: %zu bytes a car, %ld steps\n", card->name, lw_motion_effort(m).bytes, a.steps);
    show("ours, with events", &a, ours_typical);
    show("plain CVODE, anew for each call", &b, fresh_typical);
    show("plain CVODE, kept between calls", &c, kept_typical);
    printf("  ours is %.1f times as fast as plain, %.1f times as fast as kept\n",
           fresh_typical / ours_typical, kept_typical / ours_typical);
  }
  lw_motion_free(m);
  return good;
}

int main(int argc, char **argv) {
  static cars_card cards[CARS_MOST];
  size_t count = 0;
  int repeats = argc > 1 ? (int)strtol(argv[1], NULL, 10) : 5, code = 2;
  lw_arena *arena = lw_arena_new(0);
  lw_units *units = NULL;
  lw_error error = {0};
  if (repeats < 1 || repeats > REPEATS_MOST) {
    fprintf(stderr, "usage: bench_motion [REPEATS [CARD]]\n");
  } else if (!arena || lw_units_open(&units, &error) != LW_OK ||
             cars_read(arena, units, LW_SOURCE_ROOT "/cards", cards, &count, &error) != LW_OK) {
    fprintf(stderr, "bench_motion: %s\n", error.text);
  } else {
    code = 0;
    for (size_t i = 0; i < count; i++) {
      if (argc > 2 && strcmp(argv[2], cards[i].name) != 0) continue;
      if (measure(arena, &cards[i], repeats, &error)) continue;
      fprintf(stderr, "bench_motion: %s: %s\n", cards[i].name, error.text);
      code = 1;
    }
  }
  lw_units_close(units);
  lw_arena_free(arena);
  return code;
}
