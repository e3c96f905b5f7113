/* car_kit.h - whole demo cars: read, changed, run at idle and elsewhere. For tests only.
**
** What runs fails the test when it cannot; a stall is a result. SOURCE_ROOT stands in the
** environment (tests/meson.build).
*/
#ifndef LW_TESTS_CAR_KIT_H
#define LW_TESTS_CAR_KIT_H

#include "check.h"

#include <stdlib.h>

#include "leanward/car.h"
#include "leanward/record.h"

#define CAR_PI     3.14159265358979323846
#define CAR_RPM    (CAR_PI / 30)
#define CAR_DEGREE (CAR_PI / 180)
#define CAR_INHG   3386.389

static const char *const car_cards[] = {
    "corran-220-six-automatic",   "corran-220-six-export",   "corran-220-six-limiter",
    "corran-220-six-manual",      "corran-290-eight-export", "corran-290-eight-automatic",
    "corran-290-eight-manual",    "corran-350-eight-manual", "corran-350-eight-pair",
    "corran-350-eight-automatic", "corran-350-eight-vacuum"};
enum { CAR_CARDS = sizeof car_cards / sizeof car_cards[0] };

typedef struct shop {
  lw_arena *arena;
  lw_units *units;
  lw_error error;
} shop;

static inline int shop_setup(void **state) {
  shop *s = calloc(1, sizeof *s);
  if (!s) return 1;
  s->arena = lw_arena_new((size_t)512 << 20);
  *state = s;
  return s->arena && lw_units_open(&s->units, &s->error) == LW_OK ? 0 : 1;
}

static inline int shop_teardown(void **state) {
  shop *s = *state;
  lw_units_close(s->units);
  lw_arena_free(s->arena);
  free(s);
  return 0;
}

static inline void shop_must(shop *s, lw_status status, const char *what) {
  char line[900];
  if (status != LW_OK) fail_msg("%s: %s", what, lw_error_line(&s->error, line, sizeof line));
}

static inline const lw_card *shop_card(shop *s, const char *name) {
  char path[600];
  const char *text = NULL, *root = getenv("SOURCE_ROOT");
  size_t length = 0;
  lw_card *card = NULL;
  snprintf(path, sizeof path, "%s/cards/%s.yaml", root ? root : LW_SOURCE_ROOT, name);
  lw_bind bind = {s->arena, s->units, path};
  shop_must(s, lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &text, &length, &s->error), name);
  shop_must(s, lw_card_read(&bind, text, length, &card, &s->error), name);
  return card;
}

static inline lw_test_car *shop_car(shop *s, const char *name) {
  lw_test_car *car = NULL;
  shop_must(s, lw_test_car_new(s->arena, shop_card(s, name), &car, &s->error), name);
  return car;
}

/* One edit, or several parted by ';'. */
static inline lw_test_car *car_with(shop *s, const lw_test_car *from, const char *edits) {
  const char *list[8];
  size_t count = 0;
  char *text = lw_arena_print(s->arena, "%s", edits);
  for (char *p = strtok(text, ";"); p && count < 8; p = strtok(NULL, ";"))
    list[count++] = p;
  lw_test_car *car = NULL;
  shop_must(s, lw_test_car_what_if(s->arena, s->units, from, list, count, &car, &s->error), edits);
  return car;
}

static inline lw_running car_idle_in(shop *s, const lw_test_car *car, lw_gear_load gear) {
  lw_state state = {0};
  lw_running run;
  shop_must(
      s,
      lw_engine_idle(car->engine, car->twin->net, &car->around, 0, gear, &state, &run, &s->error),
      "idle");
  return run;
}

static inline lw_running car_idle(shop *s, const lw_test_car *car) {
  return car_idle_in(s, car, LW_LOAD_NONE);
}

static inline lw_running car_hold(shop *s, const lw_test_car *car, double rpm, double torque) {
  lw_state state = {0};
  lw_running run;
  shop_must(s,
            lw_engine_hold(car->engine, car->twin->net, &car->around, rpm * CAR_RPM, torque, &state,
                           &run, &s->error),
            "hold");
  return run;
}

static inline lw_running car_at(shop *s, const lw_test_car *car, double throttle, double rpm) {
  lw_state state = {0};
  lw_running run;
  shop_must(s,
            lw_engine_at(car->engine, car->twin->net, &car->around, throttle, rpm * CAR_RPM, &state,
                         &run, &s->error),
            "point");
  return run;
}

/* Level road in top gear, steady. */
static inline lw_running car_road(shop *s, const lw_test_car *car, double mile_h) {
  lw_vehicle v = lw_vehicle_usual(car->twin->card);
  double torque = 0, speed = 0;
  lw_road_load(&v, mile_h * 0.44704, 0, v.gears - 1,
               lw_air_density(car->around.temperature, car->around.ambient, 0), &torque, &speed);
  return car_hold(s, car, speed / CAR_RPM, torque);
}

static inline double run_rpm(const lw_running *r) {
  return r->setting.speed / CAR_RPM;
}
static inline double run_inhg(const lw_running *r) {
  return r->vacuum / CAR_INHG;
}
static inline double run_co(const lw_running *r) { /* % */
  return 100 * r->burned.sampled.dry.co;
}
static inline double run_o2(const lw_running *r) { /* % */
  return 100 * r->burned.sampled.dry.o2;
}
static inline double run_hc(const lw_running *r) { /* ppm hexane */
  return 1e6 / 6 * r->burned.sampled.dry.hc;
}

static inline void run_print(const char *what, const lw_running *r) {
  printf(
      "%-34s %5.0f rpm %5.1f inHg lambda %.3f CO %.2f O2 %.2f %% HC %.0f ppm misfire %.1f %%%s\n",
      what, run_rpm(r), run_inhg(r), r->burned.lambda, run_co(r), run_o2(r), run_hc(r),
      100 * r->burned.misfire, r->stalled ? ", stalls" : "");
}

/* A charge straight to the cylinders: all alike, no carburetor. filling: manifold over standard
   pressure; air as a sound engine breathes then. */
static inline lw_charge plain_charge(const lw_engine *e, double rpm, double filling,
                                     double lambda) {
  double air = 0.80 * filling * 1.204 * e->displacement * rpm / 120;
  lw_charge c = {.speed = rpm * CAR_RPM,
                 .manifold = filling * LW_STANDARD_PRESSURE,
                 .timing = 0.4,
                 .around = lw_surroundings_standard()};
  for (int side = 0; side < e->sides; side++) {
    c.air[side] = air / e->sides;
    c.fuel[side] = c.air[side] / (lambda * lw_fuel_stoichiometric(&e->fuel));
  }
  return c;
}

#endif
