/* bench_spread.c - virtual units a second: one thread by processor time, two by the clock. See
** README.md.
**
**     bench_spread [UNITS [CARD]]
*/
#include "leanward/guide.h"
#include "leanward/record.h"
#include "leanward/spread.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { THREADS = 2, CHUNK = 16 };

static double now(clockid_t clock) {
  struct timespec t;
  clock_gettime(clock, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

typedef struct pool {
  lw_spread *spread;
  atomic_size_t next;
} pool;

static void *work(void *of) {
  pool *p = of;
  for (size_t at; (at = atomic_fetch_add(&p->next, CHUNK)) < lw_spread_runs(p->spread);)
    lw_spread_work(p->spread, at, CHUNK);
  return NULL;
}

/* Seconds by a clock. */
static double run(lw_spread *spread, int threads, clockid_t clock) {
  pool p = {.spread = spread};
  pthread_t thread[THREADS];
  double start = now(clock);
  for (int i = 1; i < threads; i++)
    pthread_create(&thread[i], NULL, work, &p);
  work(&p);
  for (int i = 1; i < threads; i++)
    pthread_join(thread[i], NULL);
  return now(clock) - start;
}

static int one(const char *path, size_t units) {
  lw_arena *arena = lw_arena_new((size_t)1 << 30);
  lw_units *shop = NULL;
  lw_error error = {0};
  lw_card *card = NULL;
  lw_test_car *car = NULL;
  lw_spread *spread = NULL;
  lw_spread_result r;
  const char *text = NULL;
  size_t length = 0;
  char line[700];
  lw_status status = lw_units_open(&shop, &error);
  lw_bind bind = {arena, shop, path};
  if (status == LW_OK) status = lw_file_read(arena, path, 1 << 20, &text, &length, &error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &error);
  if (status == LW_OK) status = lw_test_car_new(arena, card, &car, &error);
  if (status == LW_OK) {
    lw_goal g = lw_goal_from(card);
    lw_spread_goal goal = {g.speed, g.speed_within, g.co,      g.co_lo,
                           g.co_hi, g.co_most,      g.hc_most, g.gear};
    lw_spread_ask ask = lw_spread_asked(&goal, units);
    ask.ranked = 0;
    status = lw_spread_new(arena, car, &ask, &spread, &error);
  }
  if (status == LW_OK) {
    double single = run(spread, 1, CLOCK_PROCESS_CPUTIME_ID);
    double both = run(spread, THREADS, CLOCK_MONOTONIC);
    status = lw_spread_finish(arena, spread, &r, &error);
    if (status == LW_OK)
      printf("%-40s %8.0f %9.0f   %5.1f %% set, %zu lost\n", strrchr(path, '/') + 1,
             (double)units / single, (double)units / both, 100 * r.in_band.share,
             r.ends[LW_SPREAD_LOST]);
  }
  if (status != LW_OK) fprintf(stderr, "%s\n", lw_error_line(&error, line, sizeof line));
  lw_units_close(shop);
  lw_arena_free(arena);
  return status != LW_OK;
}

int main(int argc, char **argv) {
  static const char *const cards[] = {"corran-220-six-manual",   "corran-220-six-limiter",
                                      "corran-290-eight-manual", "corran-290-eight-automatic",
                                      "corran-350-eight-manual", "corran-350-eight-vacuum",
                                      "corran-350-eight-pair"};
  size_t units = argc > 1 ? strtoul(argv[1], NULL, 10) : 4000;
  int bad = 0;
  printf("%-40s %8s %9s\n", "virtual units a second", "1 core", "2 threads");
  if (argc > 2) return one(argv[2], units);
  for (size_t i = 0; i < sizeof cards / sizeof cards[0]; i++) {
    char path[400];
    snprintf(path, sizeof path, "%s/cards/%s.yaml", LW_SOURCE_ROOT, cards[i]);
    bad |= one(path, units);
  }
  return bad;
}
