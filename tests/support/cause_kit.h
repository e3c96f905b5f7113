/* cause_kit.h - a twin read as a shop reads a car: sights without noise. For tests only. */
#ifndef LW_TESTS_CAUSE_KIT_H
#define LW_TESTS_CAUSE_KIT_H

#include "car_kit.h"

#include "leanward/causes.h"

#include <math.h>

enum { SEEN_MOST = 3 };

/* Instruments as a shop has them. */
static inline lw_sight cause_sight(const lw_running *run, const char *label, lw_condition at) {
  const lw_products *gas = &run->burned.sampled;
  lw_sight s = {.label = label, .at = at, .speed = run->setting.speed, .screws_known = true};
  const double x[LW_CHANNELS] = {run->vacuum,     gas->dry.co, gas->dry.co2, gas->dry.o2,
                                 gas->dry.hc / 6, LW_NONE,     LW_NONE};
  const double u[LW_CHANNELS] = {700, 0.0006, 0.003, 0.001, 12e-6, LW_NONE, LW_NONE};
  memcpy(s.x, x, sizeof x);
  memcpy(s.u, u, sizeof u);
  return s;
}

static inline void cause_screws(lw_sight *s, const lw_card *card, double by) {
  const lw_screw_card *screw = card->carburetor.screws.items;
  for (size_t i = 0; i < card->carburetor.screws.count; i++) {
    if (screw[i].kind == LW_SCREW_FIXED) continue;
    s->screws[s->screw_count].name = screw[i].name;
    s->screws[s->screw_count++].turns = lw_range_middle(screw[i].preset) + by;
  }
}

/* Idle as found, all screws a quarter further in, 2,500 rpm. The idle is held at the card's speed
   when the car does not idle by itself. */
static inline void cause_read(shop *s, const lw_test_car *car, lw_sight sights[SEEN_MOST]) {
  lw_running run[SEEN_MOST];
  const double in = -0.25, rpm = car->engine->speed_hot / CAR_RPM;
  const lw_card *card = car->twin->card;
  lw_test_car *turned = car_with(s, car, "screws=-1/4 turn");
  bool held[SEEN_MOST] = {false, false, true};
  run[0] = car_idle(s, car);
  run[1] = car_idle(s, turned);
  held[0] = run[0].stalled || run[0].setting.speed < 0.6 * car->engine->speed_hot;
  held[1] = run[1].stalled || run[1].setting.speed < 0.6 * car->engine->speed_hot;
  if (held[0]) run[0] = car_hold(s, car, rpm, 0);
  if (held[1]) run[1] = car_hold(s, turned, rpm, 0);
  run[2] = car_hold(s, car, 2500, 0);
  static const char *const labels[] = {"idle as found", "idle, screws in", "2,500 rpm"};
  for (int i = 0; i < SEEN_MOST; i++) {
    sights[i] = cause_sight(&run[i], labels[i], i < 2 ? LW_AT_IDLE : LW_AT_FAST_IDLE);
    cause_screws(&sights[i], card, i == 1 ? in : 0);
    sights[i].held = held[i];
    sights[i].stop_as_first = i == 1;
  }
}

static inline const lw_diagnosis *cause_find(shop *s, const lw_test_car *model,
                                             const lw_sight *sights, size_t count,
                                             const lw_findings *findings) {
  lw_diagnosis *g = NULL;
  shop_must(s, lw_causes_find(s->arena, s->units, model, sights, count, findings, &g, &s->error),
            "causes");
  return g;
}

static inline size_t cause_place(const lw_diagnosis *g, lw_cause_id id) {
  for (size_t i = 0; i < g->cause_count; i++) {
    if (g->causes[i].id == id) return i;
  }
  return 99;
}

static inline void cause_print(const char *what, const lw_diagnosis *g) {
  printf("%s:", what);
  for (size_t i = 0; i < g->cause_count && i < 4; i++)
    printf(" %s %.0f %%;", g->causes[i].name, 100 * g->causes[i].probability);
  putchar('\n');
}

#endif
