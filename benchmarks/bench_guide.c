/* bench_guide.c - does the idle guide set an idle in a few moves?
**
** Virtual cars of every demo card, sound but with physics of their own (virtual.h), their screws
** and idle stop turned at random away from right. Read with a shop's instruments, asked of the
** guide, turned as a hand turns and set to the speed as a tachometer shows it, read again, until the
** guide says set, or cannot, or twelve moves are not enough. See README.md.
**
**   bench_guide [CARS [SEED [CARD]]]
**
** TELL=1 in the environment tells of each car.
*/
#include "virtual.h"

#include "leanward/guide.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double rpm = 3.14159265358979323846 / 30;

/* How far things were turned, and how well a hand does. */
static const double screw_off = 1.25, stop_off = 150; /* turns, rpm */
static const double hand = 1.0 / 32;                  /* of a turn, either way */
static const double tachometer = 10, needle = 4;      /* rpm: its steps, and what they are off by */

enum { MOVES_MOST = 12, READINGS_MOST = MOVES_MOST + 1, BANDS = 3 };
static const char *const band_names[BANDS] = {"CO", "HC", "rpm"};

typedef struct outcome {
  size_t card;
  lw_screw_kind kind;
  bool can;      /* there is a place of the screws where it truly is right */
  bool set;      /* the guide said so */
  bool cannot;   /* or that it cannot be */
  bool wait;     /* or that the reading must be taken again */
  bool failed;   /* or gave an error */
  bool in_limit; /* as left: true CO and HC within the card's limits, true speed within its span */
  bool in_span;  /* and true CO within what the card wants */
  int moves;
  int past_stop, rich_last; /* moves asked past a stop; that ended richening short of one */
  int predicted, inside[BANDS];
  const char *why;
} outcome;

/* ---- the work ---- */

typedef struct bay {
  virtual_car v;
  virtual_shop shop;
  lw_goal goal;
  double counted[LW_SIGHT_SCREWS]; /* where the screws are believed to stand */
  lw_sight sights[READINGS_MOST];
  lw_running run;
  size_t readings;
  cars_random random;
} bay;

typedef struct clock_ {
  double *seconds;
  size_t count, room;
} clock_;

static void put_time(clock_ *c, double seconds) {
  if (c->count == c->room) {
    size_t room = c->room ? 2 * c->room : 4096;
    double *more = realloc(c->seconds, room * sizeof *more);
    if (!more) return;
    c->seconds = more;
    c->room = room;
  }
  c->seconds[c->count++] = seconds;
}

/* What it truly is against what it truly should be: dry exhaust before any air joins it. */
static bool truly(const bay *b, const lw_running *run, bool span) {
  const lw_goal *g = &b->goal;
  const lw_products *gas = &run->burned.exhaust;
  if (fabs(run->setting.speed - g->speed) > g->speed_within) return false;
  if (lw_known(g->co_most) && gas->dry.co > g->co_most) return false;
  if (lw_known(g->hc_most) && gas->dry.hc / 6 > g->hc_most) return false;
  return !span || (gas->dry.co >= g->co_lo && gas->dry.co <= g->co_hi);
}

/* Whether screws all alike can bring it right at all: at the lean end, the middle or the rich end
   of what the card wants. Leaves it right, or as near as it went. */
static bool can_be_right(bay *b) {
  const double wanted[] = {b->goal.co_lo, b->goal.co_hi, 0.5 * (b->goal.co_lo + b->goal.co_hi)};
  lw_running run;
  bool can = false;
  virtual_car before = b->v;
  for (size_t i = 0; i < sizeof wanted / sizeof wanted[0]; i++) {
    b->v = before;
    if (!virtual_set_right(&b->v, wanted[i], b->goal.speed)) continue;
    lw_goal near = b->goal;
    b->goal.co_lo -= 0.004; /* as near as set_right goes */
    b->goal.co_hi += 0.004;
    can = can || (virtual_hold(&b->v, b->goal.speed, &run) && truly(b, &run, true));
    b->goal = near;
  }
  return can;
}

static void mis_set(bay *b) {
  virtual_car *v = &b->v;
  cars_random *r = &b->random;
  lw_running run;
  double speed = b->goal.speed + cars_between(r, -stop_off, stop_off) * rpm;
  if (virtual_hold(v, speed, &run)) virtual_stop_at(v, &run);
  bool apart = cars_below(r, 2) == 1;
  double by = cars_between(r, -screw_off, screw_off);
  for (size_t k = 0; k < v->screws; k++) {
    lw_range t = virtual_travel(virtual_screw(v, k));
    if (k && apart) by = cars_between(r, -screw_off, screw_off);
    v->turns[k] = fmin(fmax(v->turns[k] + by, t.lo), t.hi);
    b->counted[k] = fmin(fmax(v->turns[k] + cars_between(r, -hand, hand), t.lo), t.hi);
  }
}

/* The speed screw, turned until the tachometer shows this speed; as far as it goes when it cannot.
   false: the engine does not run. */
static bool set_speed(bay *b, double speed) {
  cars_random *r = &b->random;
  double off = cars_between(r, -0.5, 0.5) * tachometer + needle * virtual_bell(r);
  lw_running run;
  if (virtual_hold(&b->v, speed + off * rpm, &run)) {
    virtual_stop_at(&b->v, &run);
    return true;
  }
  double stop = b->v.stop;
  b->v.stop = 0;
  if (virtual_idle(&b->v, &run) && run.setting.speed > speed) return true;
  b->v.stop = stop;
  return false;
}

/* Wait until it settles and read all. An engine that will not stay alive gets more throttle first.
 */
static bool read_now(bay *b) {
  bool held = false;
  lw_sight *s = &b->sights[b->readings];
  if (!virtual_at_idle(&b->v, b->goal.speed, &b->run, &held)) return false;
  if (held) virtual_stop_at(&b->v, &b->run);
  *s = (lw_sight){.label = "idle", .at = LW_AT_IDLE, .screw_count = b->v.screws};
  virtual_read(&b->run, &b->shop, &b->random, s);
  for (size_t k = 0; k < b->v.screws; k++) {
    s->screws[k].name = virtual_screw(&b->v, k)->name;
    s->screws[k].turns = b->counted[k];
  }
  b->readings++;
  return true;
}

/* One mixture screw as told; positions are counted on, with the hand's errors adding up. */
static void turn(bay *b, size_t k, const lw_screw_move *m, outcome *o) {
  const lw_screw_card *s = virtual_screw(&b->v, k);
  lw_range t = virtual_travel(s);
  double by = m->to - b->counted[k], beyond = by > 0 ? m->beyond : -m->beyond;
  bool richer = (by > 0) == (s->kind != LW_SCREW_AIR_BLEED);
  double far = m->to + beyond, end = richer == (s->kind != LW_SCREW_AIR_BLEED) ? t.hi : t.lo;
  if (fmin(far, m->to) < t.lo - 1e-9 || fmax(far, m->to) > t.hi + 1e-9) o->past_stop++;
  if (richer && !m->back && fabs(m->to - end) > 1e-9) o->rich_last++;
  b->counted[k] = m->to;
  b->v.turns[k] =
      fmin(fmax(b->v.turns[k] + by + cars_between(&b->random, -hand, hand), t.lo), t.hi);
}

static bool carry_out(bay *b, const lw_guidance *g, outcome *o) {
  for (size_t i = 0; i < g->move_count; i++) {
    for (size_t k = 0; k < b->v.screws; k++) {
      if (strcmp(g->moves[i].screw, virtual_screw(&b->v, k)->name) == 0)
        turn(b, k, &g->moves[i], o);
    }
  }
  return set_speed(b, g->speed);
}

static void hold_against(const bay *b, const lw_guidance *g, outcome *o) {
  const lw_sight *s = &b->sights[b->readings - 1];
  const double off[BANDS] = {(s->x[LW_SEE_CO] - g->co) / g->co_u,
                             (s->x[LW_SEE_HC] - g->hc) / g->hc_u,
                             (s->speed - g->speed) / g->speed_u};
  o->predicted++;
  for (int k = 0; k < BANDS; k++)
    o->inside[k] += fabs(off[k]) <= 2;
}

static void tell_reading(const bay *b, const lw_guidance *g) {
  const lw_sight *s = &b->sights[b->readings - 1];
  printf("  %3.0f rpm CO %.2f (true %.2f) HC %3.0f O2 %.2f screws", s->speed / rpm,
         100 * s->x[LW_SEE_CO], 100 * b->run.burned.exhaust.dry.co, 1e6 * s->x[LW_SEE_HC],
         100 * s->x[LW_SEE_O2]);
  for (size_t k = 0; k < b->v.screws; k++)
    printf(" %.3f (%.3f)", b->counted[k], b->v.turns[k]);
  printf(": %s\n", g->words ? g->words : "");
}

static lw_guidance ask(bay *b, outcome *o, clock_ *c, bool tell) {
  lw_guidance g;
  lw_error error = {0};
  lw_arena *arena = lw_arena_new(0);
  double begin = virtual_now();
  lw_status status =
      lw_guide_next(arena, b->v.units, b->v.model, &b->goal, b->sights, b->readings, &g, &error);
  put_time(c, virtual_now() - begin);
  o->failed = status != LW_OK;
  o->set = !o->failed && g.state == LW_GUIDE_SET;
  o->cannot = !o->failed && g.state == LW_GUIDE_CANNOT;
  o->wait = !o->failed && g.state == LW_GUIDE_WAIT;
  o->why = o->cannot ? g.why : "";
  if (tell) tell_reading(b, &g);
  if (o->failed) printf("error: %s\n", error.text);
  lw_arena_free(arena);
  return g;
}

/* false: no such car, it does not run as it was turned. */
static bool one_car(const cars_card *card, const lw_test_car *model, lw_units *units, uint64_t seed,
                    clock_ *c, outcome *o, bool tell) {
  bay b = {.random = {virtual_stirred(seed)}, .goal = lw_goal_from(card->card)};
  b.v = virtual_of(units, model, seed, &b.random);
  b.shop = virtual_shop_of(&b.random);
  if (b.v.screws == 0) return false;
  o->kind = virtual_screw(&b.v, 0)->kind;
  o->can = can_be_right(&b);
  mis_set(&b);
  if (!read_now(&b)) return false;
  if (tell)
    printf("%s seed %llu%s\n", card->name, (unsigned long long)seed,
           o->can ? "" : " (cannot be right)");
  for (;;) {
    lw_guidance g = ask(&b, o, c, tell);
    if (o->failed || g.state != LW_GUIDE_MOVE || o->moves == MOVES_MOST) break;
    o->moves++;
    if (!carry_out(&b, &g, o) || !read_now(&b)) break;
    hold_against(&b, &g, o);
  }
  o->in_limit = truly(&b, &b.run, false);
  o->in_span = truly(&b, &b.run, true);
  if (tell) printf("  %s, %d moves\n", o->set ? "set" : o->cannot ? "cannot" : "no end", o->moves);
  return true;
}

/* ---- figures ---- */

static int by_size(const void *a, const void *b) {
  const double *x = a, *y = b;
  return (*x > *y) - (*x < *y);
}

/* Of sorted numbers. */
static double at_share(const double *x, size_t count, double share) {
  size_t i = (size_t)ceil(share * (double)count);
  return count ? x[i > 0 ? i - 1 : 0] : NAN;
}

typedef struct figures {
  size_t cars, can, set, can_set, can_quick, rightly_cannot, wrongly_cannot, wait, failed, endless;
  size_t in_limit, in_span, past_stop, rich_last, predicted, inside[BANDS], count;
  double *moves; /* of those that were set */
} figures;

static void add(figures *f, const outcome *o) {
  f->cars++;
  f->can += o->can;
  f->set += o->set;
  f->can_set += o->set && o->can;
  f->can_quick += o->set && o->can && o->moves <= 6;
  f->rightly_cannot += o->cannot && !o->can;
  f->wrongly_cannot += o->cannot && o->can;
  f->wait += o->wait;
  f->failed += o->failed;
  f->endless += !o->set && !o->cannot && !o->wait && !o->failed;
  f->in_limit += o->set && o->in_limit;
  f->in_span += o->set && o->in_span;
  f->past_stop += (size_t)o->past_stop;
  f->rich_last += (size_t)o->rich_last;
  f->predicted += (size_t)o->predicted;
  for (int k = 0; k < BANDS; k++)
    f->inside[k] += (size_t)o->inside[k];
  if (o->set) f->moves[f->count++] = o->moves;
}

static double percent(size_t part, size_t whole) {
  return whole ? 100 * (double)part / (double)whole : NAN;
}

static void print_head(void) {
  printf("%-36s%6s%8s%8s%8s%8s  %-12s%-20s%6s%8s%8s%8s\n", "", "cars", "can be", "set", "within",
         "within", "moves", "cannot, or no end", "past", "in band", "", "");
  printf("%-36s%6s%8s%8s%8s%8s  %-12s%-20s%6s%8s%8s%8s\n", "", "", "set %", "%", "limit %",
         "span %", "50/95/100", "right/wrong/other", "stop", band_names[0], band_names[1],
         band_names[2]);
}

static void print_figures(const char *name, figures *f) {
  char moves[32], ends[32];
  if (!f->cars) return;
  qsort(f->moves, f->count, sizeof *f->moves, by_size);
  snprintf(moves, sizeof moves, "%.0f/%.0f/%.0f", at_share(f->moves, f->count, 0.5),
           at_share(f->moves, f->count, 0.95), at_share(f->moves, f->count, 1));
  snprintf(ends, sizeof ends, "%zu/%zu/%zu", f->rightly_cannot, f->wrongly_cannot,
           f->wait + f->failed + f->endless);
  printf("%-36s%6zu%8.1f%8.1f%8.1f%8.1f  %-12s%-20s%6zu", name, f->cars, percent(f->can, f->cars),
         percent(f->set, f->cars), percent(f->in_limit, f->set), percent(f->in_span, f->set), moves,
         ends, f->past_stop);
  for (int k = 0; k < BANDS; k++)
    printf("%8.1f", percent(f->inside[k], f->predicted));
  putchar('\n');
}

static void gather(const outcome *all, size_t count, const size_t *card, const lw_screw_kind *kind,
                   figures *f) {
  double *moves = f->moves;
  *f = (figures){.moves = moves};
  for (size_t i = 0; i < count; i++) {
    if (card && all[i].card != *card) continue;
    if (kind && all[i].kind != *kind) continue;
    add(f, &all[i]);
  }
}

static void print_whys(const outcome *all, size_t count) {
  const char *whys[16];
  size_t of[16][2] = {{0}}, within[16] = {0}, n = 0;
  for (size_t i = 0; i < count; i++) {
    size_t k = 0;
    if (!all[i].cannot) continue;
    while (k < n && strcmp(whys[k], all[i].why) != 0)
      k++;
    if (k == 16) continue;
    if (k == n) whys[n++] = all[i].why;
    of[k][all[i].can]++;
    within[k] += all[i].can && all[i].in_limit;
  }
  for (size_t k = 0; k < n; k++)
    printf("cannot: %s: %zu that cannot, %zu that can (%zu truly within limits as left)\n", whys[k],
           of[k][0], of[k][1], within[k]);
}

static void print_targets(const figures *f, clock_ *c) {
  const double budget = 0.05; /* s */
  size_t quick = 0, three = 0, in_time = 0;
  qsort(c->seconds, c->count, sizeof *c->seconds, by_size);
  for (size_t i = 0; i < f->count; i++) {
    three += f->moves[i] <= 3;
    quick += f->moves[i] <= 6;
  }
  while (in_time < c->count && c->seconds[in_time] < budget)
    in_time++;
  printf("\nmoves of cars that were set: median %.0f (target at most 3), %.1f %% in at most 3, "
         "%.1f %% in at most 6 (target 95 %%)\n",
         at_share(f->moves, f->count, 0.5), percent(three, f->count), percent(quick, f->count));
  printf("of cars that can be set: %.1f %% set, %.1f %% set in at most 6\n",
         percent(f->can_set, f->can), percent(f->can_quick, f->can));
  printf("moves past a stop %zu (target none in 10,000 cars); ended richening %zu\n", f->past_stop,
         f->rich_last);
  printf(
      "a step: median %.1f ms, 95 %% %.1f ms, longest %.1f ms; %.2f %% of %zu under 50 ms (target: "
      "all, on one core)\n",
      1e3 * at_share(c->seconds, c->count, 0.5), 1e3 * at_share(c->seconds, c->count, 0.95),
      1e3 * at_share(c->seconds, c->count, 1), percent(in_time, c->count), c->count);
}

static void print_all(const outcome *all, size_t count, const cars_card *cards, size_t own,
                      clock_ *c) {
  figures f = {.moves = calloc(count + 1, sizeof *f.moves)};
  if (!f.moves) return;
  print_head();
  for (size_t i = 0; i < own; i++) {
    gather(all, count, &i, NULL, &f);
    print_figures(cards[i].name, &f);
  }
  putchar('\n');
  for (int k = 0; k <= LW_SCREW_FIXED; k++) {
    lw_screw_kind kind = (lw_screw_kind)k;
    gather(all, count, NULL, &kind, &f);
    print_figures(lw_screw_kind_text(kind), &f);
  }
  gather(all, count, NULL, NULL, &f);
  putchar('\n');
  print_figures("all", &f);
  print_whys(all, count);
  print_targets(&f, c);
  free(f.moves);
}

int main(int argc, char **argv) {
  static cars_card cards[CARS_MOST];
  lw_test_car *models[CARS_MOST] = {NULL};
  size_t count = 0, own = 0, used = 0, want = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 2000;
  uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
  bool tell = getenv("TELL") != NULL;
  clock_ c = {0};
  lw_arena *arena = lw_arena_new((size_t)1 << 30);
  lw_units *units = NULL;
  lw_error error = {0};
  outcome *all = calloc(want + 1, sizeof *all);
  if (!arena || !all || lw_units_open(&units, &error) != LW_OK ||
      cars_read(arena, units, LW_SOURCE_ROOT "/cards", cards, &count, &error) != LW_OK) {
    fprintf(stderr, "bench_guide: %s\n", error.text);
    return 2;
  }
  for (size_t i = 0; i < count; i++) {
    if (strncmp(cards[i].name, "corran", 6) != 0) continue;
    if (argc > 3 && !strstr(cards[i].name, argv[3])) continue;
    if (lw_test_car_new(arena, cards[i].card, &models[own], &error) != LW_OK) return 2;
    cards[own++] = cards[i];
  }
  for (size_t i = 0; i < want && own; i++) {
    all[used] = (outcome){.card = i % own};
    used +=
        one_car(&cards[i % own], models[i % own], units, seed * 1000003 + i, &c, &all[used], tell);
  }
  print_all(all, used, cards, own, &c);
  printf("%zu cars, seed %llu; %zu more did not run as they were turned\n", used,
         (unsigned long long)seed, own ? want - used : 0);
  free(all);
  free(c.seconds);
  lw_units_close(units);
  lw_arena_free(arena);
  return 0;
}
