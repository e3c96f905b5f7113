/* bench_sure.c - does the network solver find its flows, whatever the unit suffers?
**
** Draws units and ailments (cars.h) and settings, and solves each point three ways: cold, warm from
** a point near it, and warm from the point before it, which may be anywhere. Prints the share that
** did not converge, by unit and by ailment, where the worst balance lay, how often the ways
** disagree, the steps and the fallbacks. See README.md.
**
**   bench_sure [POINTS [SEED [SHOWN]]]
*/
#include "cars.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { POINTS_OF_UNIT = 25, STEPS_MOST = 400, WAYS = 3 };

static const char *const way_names[WAYS] = {"cold", "near", "far"};

typedef struct tally {
  long points, failed[WAYS], differ[WAYS]; /* from cold */
} tally;

typedef struct bench {
  lw_units *units;
  cars_card cards[CARS_MOST];
  size_t count;
  cars_random random;
  tally by_card[CARS_MOST], by_kind[CARS_KINDS];
  long falls[WAYS][4], steps[WAYS][STEPS_MOST + 1], most_steps[WAYS];
  double seconds[WAYS], longest[WAYS], worst_balance;
  long shown, show;
} bench;

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* ---- one point ---- */

typedef struct unit {
  const lw_net *net;
  size_t card;
  cars_kind kind;
  const char *what;
} unit;

static void show(bench *b, const unit *u, const lw_setting *s, int way, const lw_report *report) {
  if (b->shown++ >= b->show) return;
  printf("  %s, %s (%s), %s: throttle %.17g, %.17g rpm, %.17g Pa, %.17g K: %.2g at %s after %d\n",
         b->cards[u->card].name, cars_kind_text(u->kind), u->what, way_names[way], s->throttle,
         s->speed * 9.549296585513721, s->ambient, s->temperature, report->residual, report->where,
         report->steps);
}

static bool solve(bench *b, const unit *u, const lw_setting *s, int way, lw_state *state) {
  lw_report report = {0};
  double begin = now();
  lw_net_solve(u->net, s, state, &report);
  double took = now() - begin;
  b->seconds[way] += took;
  b->longest[way] = fmax(b->longest[way], took);
  b->falls[way][report.falls]++;
  b->steps[way][report.steps < STEPS_MOST ? report.steps : STEPS_MOST]++;
  if (report.steps > b->most_steps[way]) b->most_steps[way] = report.steps;
  if (report.converged) {
    b->worst_balance = fmax(b->worst_balance, report.residual);
    return true;
  }
  b->by_card[u->card].failed[way]++;
  b->by_kind[u->kind].failed[way]++;
  show(b, u, s, way, &report);
  return false;
}

/* Another solution, not the same one to the digits both have: 1e-6 of air or fuel. */
static bool differ(const unit *u, const lw_setting *s, const lw_state *a, const lw_state *b) {
  lw_point p, q;
  lw_net_point(u->net, s, a, &p);
  lw_net_point(u->net, s, b, &q);
  return fabs(p.air - q.air) > 1e-6 * p.air + 1e-12 ||
         fabs(p.fuel - q.fuel) > 1e-6 * fabs(p.fuel) + 1e-12;
}

static void disagree(bench *b, const unit *u, int way) {
  b->by_card[u->card].differ[way]++;
  b->by_kind[u->kind].differ[way]++;
}

/* *last: the point before it, of this unit. */
static void one_point(bench *b, const unit *u, lw_state *last) {
  lw_setting s = cars_setting(u->net, &b->random), near = cars_neighbor(u->net, &s, &b->random);
  lw_state states[WAYS] = {{.known = false}, {.known = false}, *last};
  lw_report report = {0};
  bool found[WAYS];
  lw_net_solve(u->net, &near, &states[1],
               &report); /* not counted: it is a cold point like others */
  for (int way = 0; way < WAYS; way++)
    found[way] = solve(b, u, &s, way, &states[way]);
  b->by_card[u->card].points++;
  b->by_kind[u->kind].points++;
  for (int way = 1; way < WAYS; way++) {
    if (found[0] && found[way] && differ(u, &s, &states[0], &states[way])) disagree(b, u, way);
  }
  if (found[2]) *last = states[2];
}

/* ---- units ---- */

static bool one_unit(bench *b, size_t card, cars_kind kind) {
  char what[400];
  lw_arena *arena = lw_arena_new(0);
  lw_twin *sound = NULL, *twin = NULL;
  lw_error error = {0};
  if (!arena) return false;
  if (lw_twin_new(arena, b->cards[card].card, &sound, &error) != LW_OK) {
    fprintf(stderr, "bench_sure: %s: %s\n", b->cards[card].name, error.text);
    lw_arena_free(arena);
    return false;
  }
  lw_status status = cars_alter(arena, b->units, sound, kind, &b->random, &twin, what, sizeof what);
  if (status == LW_OK) {
    unit u = {twin->net, card, kind, what};
    lw_state last = {0};
    for (int i = 0; i < POINTS_OF_UNIT; i++)
      one_point(b, &u, &last);
  }
  lw_arena_free(arena);
  return status == LW_OK || status == LW_BAD_INPUT;
}

/* ---- what came out ---- */

static void add(tally *to, const tally *from) {
  to->points += from->points;
  for (int w = 0; w < WAYS; w++) {
    to->failed[w] += from->failed[w];
    to->differ[w] += from->differ[w];
  }
}

static void line(const char *name, const tally *t) {
  if (!t->points) return;
  printf("%-34.34s %7ld", name, t->points);
  for (int w = 0; w < WAYS; w++)
    printf(" %6ld %7.3f %%", t->failed[w], 100.0 * (double)t->failed[w] / (double)t->points);
  printf(" %8ld %6ld\n", t->differ[1], t->differ[2]);
}

static long quantile(const long *count, long total, double share) {
  long seen = 0;
  for (int i = 0; i <= STEPS_MOST; i++) {
    seen += count[i];
    if ((double)seen >= share * (double)total) return i;
  }
  return STEPS_MOST;
}

static tally report(const bench *b) {
  tally all = {0};
  printf("%-34s %7s %16s %16s %16s  differ from cold\n", "", "points", "failed cold", "near",
         "far");
  for (size_t i = 0; i < b->count; i++) {
    line(b->cards[i].name, &b->by_card[i]);
    add(&all, &b->by_card[i]);
  }
  printf("\n");
  for (cars_kind k = 0; k < CARS_KINDS; k++)
    line(cars_kind_text(k), &b->by_kind[k]);
  printf("\n");
  line("all", &all);
  printf("worst balance of those that converged: %.2g\n", b->worst_balance);
  for (int w = 0; w < WAYS; w++) {
    printf("%s: steps median %ld, 99 %% %ld, 99.9 %% %ld, most %ld; fallbacks none %ld, one %ld, "
           "two %ld, three %ld; %.1f us a point, longest %.2f ms\n",
           way_names[w], quantile(b->steps[w], all.points, 0.5),
           quantile(b->steps[w], all.points, 0.99), quantile(b->steps[w], all.points, 0.999),
           b->most_steps[w], b->falls[w][0], b->falls[w][1], b->falls[w][2], b->falls[w][3],
           1e6 * b->seconds[w] / (double)all.points, 1e3 * b->longest[w]);
  }
  return all;
}

static bool run(bench *b, long points) {
  long done = 0;
  while (done < points) {
    for (size_t i = 0; i < b->count && done < points; i++) {
      cars_kind kind = (cars_kind)cars_below(&b->random, CARS_KINDS);
      if (!one_unit(b, i, kind)) return false;
      done = 0;
      for (size_t k = 0; k < b->count; k++)
        done += b->by_card[k].points;
    }
  }
  return true;
}

int main(int argc, char **argv) {
  static bench b;
  long points = argc > 1 ? strtol(argv[1], NULL, 10) : 100000;
  lw_arena *arena = lw_arena_new(0);
  lw_error error = {0};
  b.random.state = argc > 2 ? strtoull(argv[2], NULL, 10) : 3;
  b.show = argc > 3 ? strtol(argv[3], NULL, 10) : 10;
  int code = 2;
  if (points < 1) {
    fprintf(stderr, "usage: bench_sure [POINTS [SEED [SHOWN]]]\n");
  } else if (!arena || lw_units_open(&b.units, &error) != LW_OK ||
             cars_read(arena, b.units, LW_SOURCE_ROOT "/cards", b.cards, &b.count, &error) !=
                 LW_OK) {
    fprintf(stderr, "bench_sure: %s\n", error.text);
  } else if (run(&b, points)) {
    tally all = report(&b);
    long failed = all.failed[0] + all.failed[1] + all.failed[2];
    code = (double)failed < 0.001 * WAYS * (double)all.points ? 0 : 1;
  }
  lw_units_close(b.units);
  lw_arena_free(arena);
  return code;
}
