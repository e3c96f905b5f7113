/* bench_engine.c - what one burned charge, one idle and one held speed cost, and how sure they are.
**
** Times the engine of every demo card, then puts random ailments on their carburetors and looks for
** the idle and for 2,500 rpm without load of each: how many are found, how many stall, how many the
** flows were not found for. See README.md.
*/
#include "cars.h"

#include "leanward/engine.h"
#include "leanward/record.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static const double rpm = 3.14159265358979323846 / 30;

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

typedef struct test_car {
  const char *name;
  lw_twin *twin;
  lw_engine *engine;
} test_car;

typedef struct stand {
  lw_arena *arena;
  lw_units *units;
  test_car cars[CARS_MOST];
  size_t count;
  lw_error error;
} stand;

/* ---- cost ---- */

typedef void (*burner)(const lw_engine *, const lw_charge *, lw_burned *);

/* The least of 400 runs of 40, each shorter than a slice of a busy machine's time: what it does when
   left alone. */
static double cost_of(burner burn, const lw_engine *engine, lw_charge charge) {
  double least = INFINITY;
  lw_burned burned;
  for (int i = 0; i < 400; i++) {
    double start = now();
    for (int k = 0; k < 40; k++) {
      charge.manifold += 1e-3;
      burn(engine, &charge, &burned);
    }
    least = fmin(least, (now() - start) / 40);
  }
  return least;
}

static void time_car(const test_car *c) {
  lw_surroundings around = lw_surroundings_standard();
  lw_running run;
  lw_state state = {0};
  double start = now();
  enum { RUNS = 20 };
  bool good = true;
  for (int i = 0; i < RUNS; i++)
    good &= lw_engine_idle(c->engine, c->twin->net, &around, 0, LW_LOAD_NONE, &state, &run, NULL) ==
            LW_OK;
  double idle = (now() - start) / RUNS;
  lw_charge charge = lw_engine_charge(c->engine, c->twin->net, &run, &around);
  start = now();
  for (int i = 0; i < RUNS; i++)
    good &= lw_engine_hold(c->engine, c->twin->net, &around, 2500 * rpm, 0, &state, &run, NULL) ==
            LW_OK;
  double hold = (now() - start) / RUNS;
  printf("%-28s %10.2f %12.1f %10.2f %10.2f%s\n", c->name,
         1e6 * cost_of(lw_burn_work, c->engine, charge),
         1e6 * cost_of(lw_burn_charge, c->engine, charge), 1e3 * idle, 1e3 * hold,
         good ? "" : " NOT FOUND");
}

/* ---- sureness ---- */

typedef struct tally {
  size_t tried, ran, stalled, lost, held, beyond;
} tally;

static void try_one(const test_car *c, const lw_twin *twin, tally *t, const char *what) {
  lw_surroundings around = {
      .ambient = twin->ambient, .temperature = twin->temperature, .coolant = 355};
  lw_engine engine = *c->engine;
  lw_running run;
  lw_state state = {0};
  lw_error error = {0};
  engine.fuel = twin->net->fuel;
  t->tried++;
  lw_status status =
      lw_engine_idle(&engine, twin->net, &around, 0, LW_LOAD_NONE, &state, &run, &error);
  if (status == LW_OK) {
    *(run.stalled ? &t->stalled : &t->ran) += 1;
  } else {
    t->lost++;
    printf("  %s, %s: %s\n", c->name, what, error.text);
  }
  state.known = false;
  status = lw_engine_hold(&engine, twin->net, &around, 2500 * rpm, 0, &state, &run, &error);
  if (status == LW_OK) {
    t->held++;
  } else if (strstr(error.text, "settle")) {
    t->lost++;
    printf("  %s, %s: %s\n", c->name, what, error.text);
  } else {
    t->beyond++;
  }
}

static void try_many(stand *s, long count) {
  cars_random random = {20261126};
  tally t = {0};
  double start = now();
  while (t.tried < (size_t)count) {
    lw_arena *arena = lw_arena_new((size_t)64 << 20);
    lw_twin *twin = NULL;
    char what[200];
    const test_car *c = &s->cars[cars_below(&random, (int)s->count)];
    cars_kind kind = (cars_kind)cars_below(&random, CARS_KINDS);
    if (arena &&
        cars_alter(arena, s->units, c->twin, kind, &random, &twin, what, sizeof what) == LW_OK)
      try_one(c, twin, &t, what);
    lw_arena_free(arena);
  }
  printf("%zu ailing cars: %zu idle, %zu stall; %zu hold 2,500 rpm, %zu cannot; %zu points not "
         "found; %.2f ms each\n",
         t.tried, t.ran, t.stalled, t.held, t.beyond, t.lost,
         1e3 * (now() - start) / (double)count);
}

static bool make_cars(stand *s, const char *folder) {
  cars_card cards[CARS_MOST];
  size_t count = 0;
  if (cars_read(s->arena, s->units, folder, cards, &count, &s->error) != LW_OK) return false;
  for (size_t i = 0; i < count; i++) {
    test_car *c = &s->cars[s->count];
    c->name = cards[i].name;
    if (lw_twin_new(s->arena, cards[i].card, &c->twin, &s->error) != LW_OK) return false;
    if (lw_engine_new(s->arena, cards[i].card, c->twin->net, &c->engine, NULL, &s->error) != LW_OK)
      continue; /* a made-up card without an engine */
    s->count++;
  }
  return s->count > 0;
}

int main(int argc, char **argv) {
  static stand s;
  long count = argc > 1 ? strtol(argv[1], NULL, 10) : 2000;
  char line[900];
  s.arena = lw_arena_new((size_t)256 << 20);
  if (!s.arena || lw_units_open(&s.units, &s.error) != LW_OK ||
      !make_cars(&s, LW_SOURCE_ROOT "/cards")) {
    fprintf(stderr, "%s\n", lw_error_line(&s.error, line, sizeof line));
    return 2;
  }
  printf("%-28s %10s %12s %10s %10s\n", "", "work, us", "with NO, us", "idle, ms", "hold, ms");
  for (size_t i = 0; i < s.count; i++)
    time_car(&s.cars[i]);
  try_many(&s, count);
  lw_units_close(s.units);
  lw_arena_free(s.arena);
  return 0;
}
