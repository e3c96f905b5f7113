/* bench_causes.c - is the right cause found, and do its probabilities mean what they say?
**
** Virtual cars of every demo card: set right, then given one fault of random size (or none), then
** read as a shop does: idle as found, idle with the screw turned, 2,500 rpm, timing, compression;
** with the errors, steps and noise of real instruments. So that the test is not circular each car
** has physics of its own: every passage's discharge, breathing, valve overlap, friction, distribution,
** lean limit, crevices and walls are off from what the twin assumes. See README.md.
**
** With SNAPS=1 in the environment the throttle is also opened quickly: a snap in neutral, and floored at
** 1,500 rpm under load; a weak pump and a mis-set air valve spring show there and nowhere else.
**
**   bench_causes [CARS [SEED [CARD]]]
*/
#include "virtual.h"

#include "../src/service/causes_internal.h"

#include "leanward/record.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double rpm = 3.14159265358979323846 / 30, degree = 3.14159265358979323846 / 180;

/* ---- faults ---- */

static const struct {
  lw_cause_id id;
  const char *edit, *also;
  double lo, hi;
} faults[] = {
    {LW_CAUSE_NONE, NULL, NULL, 0, 0},
    {LW_CAUSE_SCREWS, NULL, NULL, 0, 0},
    {LW_CAUSE_UNBALANCED, NULL, NULL, 0, 0},
    {LW_CAUSE_VACUUM_LEAK, "vacuum leak=", " mm", 1.5, 4.0},
    {LW_CAUSE_PORT_LEAK, "vacuum leak=", " mm", 1.2, 3.2},
    {LW_CAUSE_POWER_LEAK, "power valve=leaking", NULL, 0, 0},
    {LW_CAUSE_FLOAT_HIGH, "float level=+", " mm", 2.5, 4.5},
    {LW_CAUSE_FLOAT_LOW, "float level=-", " mm", 3.5, 7},
    {LW_CAUSE_IDLE_FEED, "idle feed=clogged ", " %", 25, 75},
    {LW_CAUSE_IDLE_BLEED, "idle bleed=clogged ", " %", 25, 90},
    {LW_CAUSE_MAIN_RICH, "main jet=worn ", " %", 5, 10},
    {LW_CAUSE_MAIN_LEAN, "main jet=clogged ", " %", 14, 28},
    {LW_CAUSE_MAIN_BLEED, "main bleed=clogged ", " %", 50, 90},
    {LW_CAUSE_SHAFT, "shaft wear=", " mm", 0.15, 0.4},
    {LW_CAUSE_CHOKE, "choke=", " %", 50, 80},
    {LW_CAUSE_CLEANER, "air cleaner=clogged ", " %", 75, 92},
    {LW_CAUSE_SECONDARY, "secondary=stuck open ", " deg", 1.5, 5},
    {LW_CAUSE_CHECK_VALVE, "check valve=stuck open", NULL, 0, 0},
    {LW_CAUSE_ADVANCE, "centrifugal advance=stuck", NULL, 0, 0},
    {LW_CAUSE_FUEL, "fuel=E", "", 8, 15},
    {LW_CAUSE_TIMING_LATE, "timing=-", " deg", 5, 13},
    {LW_CAUSE_TIMING_EARLY, "timing=+", " deg", 5, 13},
    {LW_CAUSE_WEAK, "cylinder=3 compression ", " %", 45, 76},
    {LW_CAUSE_MISFIRE, "cylinder=3 spark ", " %", 0, 30},
    {LW_CAUSE_SAMPLE_AIR, "exhaust leak=", " %", 5, 20},
    {LW_CAUSE_ANALYZER, NULL, NULL, 0, 0},
    {LW_CAUSE_UNIT, NULL, NULL, 0, 0},
    {LW_CAUSE_PUMP, "accelerator pump=weak ", " %", 0, 22},
    {LW_CAUSE_AIR_VALVE, "air valve spring=+", " turns", 0.8, 2},
    {LW_CAUSE_AIR_VALVE, "air valve spring=-", " turns", 0.7, 1.6},
};
enum { FAULTS = sizeof faults / sizeof faults[0] };

static double break_it(virtual_car *v, size_t which, cars_random *r) {
  double size = cars_between(r, faults[which].lo, faults[which].hi);
  v->fault_count = 0;
  if (!faults[which].edit) return size;
  if (faults[which].hi > 0) {
    snprintf(v->fault[0], sizeof v->fault[0], "%s%.3g%s", faults[which].edit, size,
             faults[which].also);
  } else {
    snprintf(v->fault[0], sizeof v->fault[0], "%s", faults[which].edit);
  }
  v->fault_count = 1;
  if (faults[which].id == LW_CAUSE_PORT_LEAK) {
    snprintf(v->fault[1], sizeof v->fault[1], "leak at cylinder=3");
    v->fault_count = 2;
  }
  return size;
}

/* ---- one car ---- */

enum { SIGHTS = 3, NO_EFFECT = 1, NO_CAR = 2 };

typedef struct outcome {
  size_t which;
  double size;
  double p_first, p_right;
  lw_cause_id first;
  int place; /* of the right cause, from 0; 99: not there */
  double seconds;
  bool tested, after; /* a test was proposed; the right cause is first after it (or as it was) */
} outcome;

static lw_findings findings_of(const virtual_car *v, size_t which, double size, cars_random *r) {
  lw_findings f = lw_findings_none();
  lw_cause_id id = faults[which].id;
  f.timing = v->engine.spark.initial + v->engine.timing_error + 0.5 * degree * virtual_bell(r);
  if (id == LW_CAUSE_TIMING_LATE) f.timing -= size * degree;
  if (id == LW_CAUSE_TIMING_EARLY) f.timing += size * degree;
  f.weakest = fmin(0.94 + 0.03 * virtual_bell(r), 1);
  if (id == LW_CAUSE_WEAK) f.weakest = size / 100 + 0.03 * virtual_bell(r);
  f.weakest_cylinder = id == LW_CAUSE_WEAK ? 3 : 1 + cars_below(r, v->engine.cylinders);
  return f;
}

/* As found, all screws half a turn further (or nearer, at the stop), 2,500 rpm as found. */
static bool run_all(virtual_car *v, double speed, lw_running *runs, bool *held) {
  double before[LW_SIGHT_SCREWS];
  bool good = virtual_at_idle(v, speed, &runs[0], &held[0]);
  memcpy(before, v->turns, sizeof before);
  for (size_t k = 0; k < v->screws; k++) {
    lw_range t = virtual_travel(virtual_screw(v, k));
    double by = v->turns[k] + 0.5 <= t.hi ? 0.5 : -0.5;
    v->turns[k] = fmax(v->turns[k] + by, t.lo);
  }
  good = good && virtual_at_idle(v, speed, &runs[1], &held[1]);
  memcpy(v->turns, before, sizeof before);
  held[2] = true;
  return good && virtual_hold(v, 2500 * rpm, &runs[2]);
}

/* ---- the throttle opened quickly ---- */

enum { SNAPS = 2 };

static void what_snap(int i, lw_snap *s) {
  *s = (lw_snap){.label = i ? "floored at 1,500 rpm" : "snap",
                 .kind = i ? LW_SNAP_FLOORED : LW_SNAP_NEUTRAL,
                 .speed = LW_NONE,
                 .accuracy = LW_CLASS_I};
}

/* As a car and a hand of their own give it: what the displays come to, and how it is felt. */
static bool snap_all(virtual_car *v, const virtual_shop *in, cars_random *r, lw_snap *snaps) {
  static const double gain[LW_SNAP_CHANNELS] = {0.03, 0.03, 0.08, 0.03, 0, 0};
  bool good = true;
  for (int i = 0; i < SNAPS && good; i++) {
    lw_snap *s = &snaps[i];
    lw_snap_shown shown;
    lw_arena *arena = lw_arena_new(0);
    lw_test_car *car = virtual_build(v, arena);
    what_snap(i, s);
    s->hold = 0.3 * exp(0.25 * virtual_bell(r));
    if (car) car->devices.pump *= exp(0.1 * virtual_bell(r));
    good = car && lw_snap_of(car, s, &shown, NULL) == LW_OK && shown.possible;
    lw_arena_free(arena);
    if (!good) break;
    for (int k = 0; k < LW_SNAP_CHANNELS; k++)
      s->x[k] = shown.x[k] * exp(gain[k] * virtual_bell(r));
    s->x[LW_SNAP_CO_MOST] *= in->gain[LW_SEE_CO];
    s->x[LW_SNAP_CO_LEAST] *= in->gain[LW_SEE_CO];
    s->x[LW_SNAP_HC_MOST] *= in->gain[LW_SEE_HC];
    double at = cars_between(r, 0, 1);
    for (int f = LW_FELT_CLEAN; f <= LW_FELT_SMOKES; f++) {
      lw_snap only = {.felt = (lw_felt)f};
      for (int k = 0; k < LW_SNAP_CHANNELS; k++)
        only.x[k] = LW_NONE;
      at -= exp(lw_snap_log(&only, &shown, 1));
      if (at < 0 && s->felt == LW_FELT_UNSAID) s->felt = (lw_felt)f;
    }
    s->hold = 0; /* nobody timed it */
  }
  return good;
}

/* A snap that has come out otherwise by more than hands and cars differ. */
static bool snaps_show(const lw_snap *sound, const lw_snap *now) {
  for (int i = 0; i < SNAPS; i++) {
    for (int k = 0; k < LW_SNAP_CHANNELS; k++) {
      double off = fabs(now[i].x[k] - sound[i].x[k]);
      if (off > 2 * lw_snap_spread((lw_snap_channel)k, sound[i].x[k])) return true;
    }
  }
  return false;
}

/* Whether any reading has moved by more than its instrument's band (95 %), or the speed by 20 rpm. */
static bool shows(const lw_running *sound, const bool *sound_held, const lw_running *now,
                  const bool *held) {
  for (int i = 0; i < SIGHTS; i++) {
    const lw_products *a = &sound[i].burned.sampled, *b = &now[i].burned.sampled;
    const double was[] = {a->dry.co, a->dry.co2, a->dry.o2, a->dry.hc / 6, sound[i].vacuum};
    const double is[] = {b->dry.co, b->dry.co2, b->dry.o2, b->dry.hc / 6, now[i].vacuum};
    static const lw_channel channel[] = {LW_SEE_CO, LW_SEE_CO2, LW_SEE_O2, LW_SEE_HC,
                                         LW_SEE_VACUUM};
    for (int k = 0; k < 5; k++) {
      double u = virtual_u[channel[k]], part = virtual_gains[channel[k]] * was[k];
      if (fabs(is[k] - was[k]) > 2 * sqrt(u * u + part * part)) return true;
    }
    if (held[i] != sound_held[i]) return true;
    if (!held[i] && fabs(now[i].setting.speed - sound[i].setting.speed) > 20 * rpm) return true;
  }
  return false;
}

static void read_all(const virtual_car *v, const lw_running *runs, const bool *held,
                     const virtual_shop *in, cars_random *r, lw_sight *sights) {
  static const char *const labels[] = {"idle as found", "idle, screw turned", "2,500 rpm"};
  for (int i = 0; i < SIGHTS; i++) {
    virtual_read(&runs[i], in, r, &sights[i]);
    sights[i].label = labels[i];
    sights[i].at = i < 2 ? LW_AT_IDLE : LW_AT_FAST_IDLE;
    sights[i].held = held[i];
    sights[i].stop_as_first = i == 1;
    virtual_read_screws(v, r, &sights[i]);
    if (i != 1) continue;
    for (size_t k = 0; k < v->screws; k++) {
      lw_range t = virtual_travel(virtual_screw(v, k));
      double by = v->turns[k] + 0.5 <= t.hi ? 0.5 : -0.5;
      sights[i].screws[k].turns = fmax(sights[i].screws[k].turns + by, t.lo);
    }
  }
}

static void mis_set(virtual_car *v, lw_cause_id id, cars_random *r) {
  double off = cars_between(r, 0.5, 1.0) * (cars_below(r, 2) ? 1 : -1);
  for (size_t k = 0; k < v->screws; k++) {
    lw_range t = virtual_travel(virtual_screw(v, k));
    double by = id != LW_CAUSE_UNBALANCED ? off : (k % 2 ? -0.5 : 0.5) * fabs(off);
    v->turns[k] = fmin(fmax(v->turns[k] + by, t.lo), t.hi);
  }
}

static int place_of(const lw_diagnosis *g, lw_cause_id id) {
  for (size_t i = 0; i < g->cause_count; i++) {
    if (g->causes[i].id == id) return (int)i;
  }
  return 99;
}

/* The first proposed test done on this car, answered as such tests are, and weighed. */
static bool after_test(virtual_car *v, const lw_test_car *model, const lw_diagnosis *g,
                       lw_cause_id id, const virtual_shop *in, const lw_told *told,
                       cars_random *r) {
  const lw_next_test *t = &g->tests[0];
  if (t->find_count) {
    double at = cars_between(r, 0, 1), best = -1;
    size_t answer = 0;
    for (; answer < t->find_count; answer++) {
      at -= lw_test_likelihood(t, answer, id);
      if (at < 0) break;
    }
    lw_cause_id first = LW_CAUSE_OTHER;
    for (size_t i = 0; i < g->cause_count; i++) {
      const lw_cause *c = &g->causes[i];
      double p = lw_test_likelihood(t, answer, c->id);
      if (c->second) p = fmax(p, lw_test_likelihood(t, answer, c->second));
      p *= c->probability;
      if (!(p > best)) continue;
      best = p;
      first = c->id;
    }
    return first == id;
  }
  lw_running run;
  lw_state state = {0};
  lw_diagnosis *again = NULL;
  lw_told all = *told;
  bool good = false;
  lw_arena *arena = lw_arena_new(0);
  lw_test_car *car = virtual_build(v, arena);
  if (car &&
      lw_engine_idle(car->engine, car->twin->net, &car->around, 0, LW_LOAD_DRIVE, &state, &run,
                     NULL) == LW_OK &&
      !run.stalled) {
    lw_sight *s = &all.sights[all.count++];
    *s = told->sights[0];
    virtual_read(&run, in, r, s);
    s->label = "idle in drive";
    s->gear = LW_LOAD_DRIVE;
    s->stop_as_first = !s->held;
    good = lw_causes_weigh(arena, v->units, model, &all, &again, NULL) == LW_OK &&
           again->causes[0].id == id;
  } else {
    good = g->causes[0].id == id; /* it stalls: the test gave nothing */
  }
  lw_arena_free(arena);
  return good;
}

static void tell_car(const char *card, uint64_t seed, lw_cause_id id, double size,
                     const lw_sight *s, const lw_diagnosis *g, const outcome *o) {
  printf("%s seed %llu: %s %.3g: CO", card, (unsigned long long)seed, lw_cause_text(id), size);
  for (int i = 0; i < SIGHTS; i++)
    printf(" | %.0f rpm %.2f O2 %.2f HC %.0f", s[i].speed / rpm, 100 * s[i].x[LW_SEE_CO],
           100 * s[i].x[LW_SEE_O2], 1e6 * s[i].x[LW_SEE_HC]);
  putchar('\n');
  for (size_t i = 0; i < g->cause_count && i < 6; i++)
    printf("    %4.0f %% %s\n", 100 * g->causes[i].probability, g->causes[i].name);
  for (size_t i = 0; i < g->test_count; i++)
    printf("    next: %s, gain %.2f\n", g->tests[i].name, g->tests[i].gain);
  printf("    after: %d; %s\n", o->after, g->summary);
}

/* How far sound cars lie from the twin, in the spreads it believes: to find those spreads by. */
static int spread_said(lw_units *units, const lw_test_car *model, const lw_told *told) {
  lw_match m;
  const lw_sight *s = told->sights;
  if (lw_match_run(units, model, NULL, 0, s, SIGHTS, false, &m, NULL) != LW_OK) return NO_CAR;
  printf("SOUND misfit %.2f of %zu z", m.misfit, m.read);
  for (size_t k = 0; k < LW_UNKNOWNS + SIGHTS; k++)
    printf(" %.3f/%.2f", m.z[k], m.z_u[k]);
  printf(" rows");
  for (size_t i = 0; i < SIGHTS; i++) {
    for (int k = 0; k < LW_CHANNELS; k++) {
      if (lw_known(s[i].x[k]))
        printf(" %zu:%d:%.3f", i, k, (s[i].x[k] - m.seen[i][k]) / m.band[i][k]);
    }
  }
  for (size_t i = 0; i < told->snap_count; i++) {
    const lw_snap *snap = &told->snaps[i];
    lw_snap_shown sound;
    if (lw_snap_run(units, model, NULL, 0, s, m.throttle[0], snap, &sound, NULL) != LW_OK) continue;
    printf(" %s", lw_felt_text(snap->felt));
    for (int k = 0; k < LW_SNAP_CHANNELS; k++) {
      double spread = lw_snap_spread((lw_snap_channel)k, sound.x[k]);
      printf(" %d:%.3f", k, (snap->x[k] - sound.x[k]) / spread);
    }
  }
  putchar('\n');
  return NO_CAR;
}

/* What a shop has of this car, for a classifier that knows nothing of engines (ceiling.py): the cause
   drawn, then only what was read and what the sound twin would have shown. */
static int readings_said(lw_units *units, const lw_test_car *model, const lw_sight *s,
                         lw_cause_id id, const lw_findings *f, lw_range co) {
  lw_match m;
  if (lw_match_run(units, model, NULL, 0, s, SIGHTS, false, &m, NULL) != LW_OK || !m.possible)
    return NO_CAR;
  printf("READ %s;%.5g %.5g %.5g", lw_cause_text(id), f->timing, f->weakest,
         (s[0].x[LW_SEE_CO] - co.lo) / (co.hi - co.lo));
  for (size_t k = 0; k < LW_UNKNOWNS + SIGHTS; k++)
    printf(" %.3f", m.z[k]);
  for (size_t i = 0; i < SIGHTS; i++) {
    printf(" %.4f %d %.5f", s[i].speed / model->engine->speed_hot, s[i].held, m.throttle[i]);
    for (int k = 0; k < LW_CHANNELS; k++) {
      if (!lw_known(s[i].x[k])) continue;
      double off = (s[i].x[k] - m.seen[i][k]) / m.band[i][k];
      printf(" %.5g %.3f %.4f", s[i].x[k], off, (s[i].x[k] - m.fitted[i][k]) / m.band[i][k]);
    }
    for (size_t k = 0; k < s[i].screw_count; k++)
      printf(" %.3f", s[i].screws[k].turns);
  }
  putchar('\n');
  return 0;
}

/* One card on the bench: its car, and the same engine with the unit for the other transmission (NULL:
   there is no such card). */
typedef struct bench_model {
  const cars_card *card;
  lw_test_car *car, *other;
} bench_model;

/* The other unit bolted on: set by somebody who did not know, or left as it came. */
static bool bolt_on(virtual_car *v, const bench_model *m, double co, double speed, cars_random *r) {
  virtual_car other = virtual_of(v->units, m->other, v->seed, r);
  other.engine = v->engine;
  *v = other;
  if (cars_below(r, 2) && virtual_set_right(v, co, speed)) return true;
  const lw_screw_card *s;
  for (size_t k = 0; (s = virtual_screw(v, k)); k++)
    v->turns[k] = lw_known(lw_range_middle(s->preset)) ? lw_range_middle(s->preset) : 1.5;
  v->stop = m->other->twin->net->barrels[0].stop;
  return true;
}

/* Where screws of another kind give it away, nobody needs to weigh it. */
static bool same_screws(const lw_card *a, const lw_card *b) {
  const lw_screw_card *x = a->carburetor.screws.items, *y = b->carburetor.screws.items;
  bool same = a->carburetor.screws.count == b->carburetor.screws.count;
  for (size_t i = 0; same && i < a->carburetor.screws.count; i++)
    same = strcmp(x[i].name, y[i].name) == 0;
  return same;
}

static lw_status model_of(lw_arena *arena, lw_units *units, const cars_card *card, bench_model *m,
                          lw_error *error) {
  *m = (bench_model){.card = card};
  lw_status status = lw_test_car_new(arena, card->card, &m->car, error);
  const lw_card *other = lw_card_other(arena, units, LW_SOURCE_ROOT "/cards", card->card);
  if (status != LW_OK || !other || !same_screws(card->card, other)) return status;
  status = lw_test_car_new(arena, other, &m->other, error);
  if (status == LW_OK) m->other->engine = m->car->engine;
  return status;
}

/* Of the first cause, given what is true of every car here: no second fault, none outside the list. */
static double first_given_single(const lw_diagnosis *g) {
  double singles = 0, first = g->causes[0].probability;
  for (size_t i = 0; i < g->cause_count; i++) {
    bool single = g->causes[i].second == LW_CAUSE_NONE && g->causes[i].id != LW_CAUSE_OTHER;
    singles += single ? g->causes[i].probability : 0;
  }
  return first < singles ? first / singles : first;
}

static int weigh_car(const bench_model *m, virtual_car *v, size_t which, lw_told *told,
                     const virtual_shop *in, cars_random *r, outcome *o, bool tell) {
  lw_cause_id id = faults[which].id;
  lw_diagnosis *g = NULL;
  lw_error error = {0};
  lw_arena *arena = lw_arena_new((size_t)1 << 30);
  double begin = virtual_now();
  if (lw_causes_weigh(arena, v->units, m->car, told, &g, &error) != LW_OK) {
    printf("%s: %s\n", m->card->name, error.text);
    lw_arena_free(arena);
    return NO_CAR;
  }
  o->seconds = virtual_now() - begin;
  o->first = g->causes[0].id;
  o->p_first = first_given_single(g);
  o->p_right = g->by_id[id];
  o->place = place_of(g, id);
  o->tested = g->test_count > 0;
  o->after = o->tested ? after_test(v, m->car, g, id, in, told, r) : o->place == 0;
  if (tell) tell_car(m->card->name, v->seed, id, o->size, told->sights, g, o);
  lw_arena_free(arena);
  return 0;
}

static int one_car(const bench_model *m, lw_units *units, uint64_t seed, size_t which, outcome *o,
                   bool tell) {
  const lw_test_car *model = m->car;
  cars_random r = {virtual_stirred(seed)};
  virtual_car v = virtual_of(units, model, seed, &r);
  lw_running sound[SIGHTS], runs[SIGHTS];
  bool sound_held[SIGHTS], held[SIGHTS], snaps = getenv("SNAPS") != NULL;
  lw_snap sound_snaps[SNAPS];
  lw_told told = {.count = SIGHTS, .snap_count = snaps ? SNAPS : 0, .other = m->other};
  lw_cause_id id = faults[which].id;
  virtual_shop in = virtual_shop_of(&r);
  lw_range want = m->card->card->idle.co;
  double lo = lw_known(want.lo) ? want.lo : 0.008, hi = lw_known(want.hi) ? want.hi : 0.02;
  double speed = model->engine->speed_hot;
  o->which = which;
  if (id == LW_CAUSE_UNBALANCED && v.screws < 2) return NO_CAR;
  if (id == LW_CAUSE_UNIT && !m->other) return NO_CAR;
  if (lw_cause_moves(id) && !snaps) return NO_CAR;
  double set_speed = speed * (1 + 0.015 * virtual_bell(&r)), set_co = cars_between(&r, lo, hi);
  if (!virtual_set_right(&v, set_co, set_speed)) return NO_CAR;
  if (!run_all(&v, speed, sound, sound_held)) return NO_CAR;
  if (snaps && !snap_all(&v, &in, &r, sound_snaps)) return NO_CAR;
  o->size = break_it(&v, which, &r);
  if (id == LW_CAUSE_UNIT && !bolt_on(&v, m, set_co, set_speed, &r)) return NO_CAR;
  if (id == LW_CAUSE_SCREWS || id == LW_CAUSE_UNBALANCED) mis_set(&v, id, &r);
  if (id == LW_CAUSE_ANALYZER) {
    double g = cars_below(&r, 2) ? cars_between(&r, 1.14, 1.3) : cars_between(&r, 0.74, 0.86);
    in.gain[LW_SEE_CO] *= g;
    in.gain[LW_SEE_CO2] *= g;
    in.gain[LW_SEE_HC] *= g;
  }
  if (!run_all(&v, speed, runs, held)) return NO_CAR;
  if (snaps && !snap_all(&v, &in, &r, told.snaps)) return NO_CAR;
  double co = runs[0].burned.sampled.dry.co;
  if (id == LW_CAUSE_SCREWS && !(co < lo - 0.004 || co > hi + 0.004)) return NO_CAR;
  bool beside = id == LW_CAUSE_TIMING_LATE || id == LW_CAUSE_TIMING_EARLY || id == LW_CAUSE_WEAK;
  bool ails = faults[which].edit || id == LW_CAUSE_UNIT;
  if (ails && !beside && !shows(sound, sound_held, runs, held) &&
      !(snaps && snaps_show(sound_snaps, told.snaps)))
    return NO_EFFECT;
  read_all(&v, runs, held, &in, &r, told.sights);
  if (getenv("SPREADS")) return spread_said(units, model, &told);
  told.findings = findings_of(&v, which, o->size, &r);
  if (getenv("READINGS"))
    return readings_said(units, model, told.sights, id, &told.findings,
                         (lw_range){.lo = lo, .hi = hi});
  return weigh_car(m, &v, which, &told, &in, &r, o, tell);
}

/* ---- figures ---- */

static void print_matrix(const outcome *all, size_t count) {
  printf("%-42s%6s%8s%8s%9s\n", "cause", "cars", "first", "in 3", "p right");
  for (size_t f = 0; f < FAULTS; f++) {
    int cars = 0, first = 0, three = 0, wrong[LW_CAUSES] = {0};
    double p = 0;
    for (size_t i = 0; i < count; i++) {
      if (all[i].which != f) continue;
      cars++;
      first += all[i].place == 0;
      three += all[i].place < 3;
      p += all[i].p_right;
      if (all[i].place != 0) wrong[all[i].first]++;
    }
    if (!cars) continue;
    printf("%-42s%6d%7.0f%%%7.0f%%%8.0f%%  ", lw_cause_text(faults[f].id), cars,
           100.0 * first / cars, 100.0 * three / cars, 100 * p / cars);
    for (int k = 0; k < 3; k++) {
      int most = 0;
      for (int c = 1; c < LW_CAUSES; c++)
        most = wrong[c] > wrong[most] ? c : most;
      if (wrong[most] == 0) break;
      printf("%s%s %d", k ? ", " : "taken for ", lw_cause_text((lw_cause_id)most), wrong[most]);
      wrong[most] = 0;
    }
    putchar('\n');
  }
}

/* Cars are drawn evenly over the faults; a probability is to be right among cars as they are met.
   Each counts by its prior over how often it was drawn. */
static double met(const outcome *all, size_t count, size_t which) {
  size_t cars = 0;
  for (size_t i = 0; i < count; i++)
    cars += all[i].which == which;
  return lw_cause_prior(faults[which].id) / (double)cars;
}

static void print_calibration(const outcome *all, size_t count) {
  double off = 0, everything = 0;
  puts("\nsaid of the first cause    cars    right");
  for (int b = 0; b < 10; b++) {
    int cars = 0;
    double said = 0, right = 0, weight = 0;
    for (size_t i = 0; i < count; i++) {
      int bin = (int)(all[i].p_first * 10);
      if ((bin > 9 ? 9 : bin) != b) continue;
      double w = met(all, count, all[i].which);
      cars++;
      weight += w;
      said += w * all[i].p_first;
      right += all[i].place == 0 ? w : 0;
    }
    if (!cars) continue;
    printf("%8.0f %%            %8d %8.0f %%\n", 100 * said / weight, cars, 100 * right / weight);
    off += fabs(said - right);
    everything += weight;
  }
  printf("calibration error %.1f points\n", 100 * off / everything);
}

/* Drawn evenly over the faults, and weighed by how often each is met. */
static void print_total(const outcome *all, size_t count) {
  double sum[2][5] = {{0}};
  for (size_t i = 0; i < count; i++) {
    bool none = faults[all[i].which].id == LW_CAUSE_NONE;
    const double weight[2] = {1, met(all, count, all[i].which)};
    for (int k = 0; k < 2; k++) {
      sum[k][none ? 3 : 0] += weight[k];
      if (none) {
        sum[k][4] += all[i].place == 0 ? weight[k] : 0;
        continue;
      }
      sum[k][1] += all[i].place == 0 ? weight[k] : 0;
      sum[k][2] += all[i].place < 3 ? weight[k] : 0;
    }
  }
  double after = 0;
  for (size_t i = 0; i < count; i++)
    after += faults[all[i].which].id != LW_CAUSE_NONE && all[i].after;
  puts("");
  for (int k = 0; k < 2; k++)
    printf("%s: right cause first %.1f %%, among three %.1f %%\n",
           k ? "faults as often as they are met" : "faults drawn evenly",
           100 * sum[k][1] / sum[k][0], 100 * sum[k][2] / sum[k][0]);
  printf("first after the proposed next test %.1f %%; healthy called healthy %.1f %%\n",
         100 * after / sum[0][0], 100 * sum[0][4] / sum[0][3]);
}

int main(int argc, char **argv) {
  static cars_card cards[CARS_MOST];
  size_t count = 0, used = 0, tried = 0;
  size_t want = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 2000;
  uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
  const char *only = getenv("ONLY");
  bool tell = getenv("TELL") != NULL, spreads = getenv("SPREADS") != NULL;
  lw_arena *arena = lw_arena_new((size_t)1 << 30);
  lw_units *units = NULL;
  lw_error error = {0};
  outcome *all = calloc(want + 1, sizeof *all);
  if (!arena || !all || want < 1 || lw_units_open(&units, &error) != LW_OK ||
      cars_read(arena, units, LW_SOURCE_ROOT "/cards", cards, &count, &error) != LW_OK) {
    fprintf(stderr, "bench_causes: %s\n", error.text);
    return 2;
  }
  bench_model models[CARS_MOST] = {{0}};
  size_t own = 0;
  for (size_t i = 0; i < count && own < 11; i++) {
    if (strncmp(cards[i].name, "corran", 6) != 0) continue;
    if (argc > 3 && !strstr(cards[i].name, argv[3])) continue;
    if (model_of(arena, units, &cards[i], &models[own++], &error) != LW_OK) return 2;
  }
  double seconds = 0, slowest = 0;
  size_t left_out = 0, of[FAULTS] = {0};
  while (used < want && tried < 6 * want + 100) {
    size_t which = spreads ? 0 : tried % FAULTS,
           card = spreads ? tried % own : (tried / FAULTS) % own;
    tried++;
    if (only && !strstr(lw_cause_text(faults[which].id), only)) continue;
    int why = one_car(&models[card], units, seed * 1000003 + tried, which, &all[used], tell);
    left_out += why == NO_EFFECT;
    of[which] += why == NO_EFFECT;
    if (why) continue;
    seconds += all[used].seconds;
    slowest = fmax(slowest, all[used].seconds);
    used++;
  }
  print_matrix(all, used);
  printf("left out, for no reading shows them:");
  for (size_t i = 0; i < FAULTS; i++) {
    if (of[i]) printf(" %s %zu;", lw_cause_text(faults[i].id), of[i]);
  }
  putchar('\n');
  print_calibration(all, used);
  print_total(all, used);
  printf("%zu cars (%zu drawn, %zu left out, for no reading shows the fault); %.2f s a job on one "
         "core, longest %.2f s\n",
         used, tried, left_out, seconds / (double)used, slowest);
  free(all);
  lw_units_close(units);
  lw_arena_free(arena);
  return 0;
}
