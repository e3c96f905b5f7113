/* test_car.c - a whole car: what-ifs that reach the engine, idle swept over its screws. */
#include "check.h"

#include "leanward/car.h"
#include "leanward/plot.h"
#include "leanward/record.h"

#include <dirent.h>
#include <stdlib.h>
#include <unistd.h>

#define SIX   "corran-220-six-manual.yaml"
#define EIGHT "corran-290-eight-manual.yaml"
#define BLEED "corran-290-eight-automatic.yaml"

static const double rpm = 3.14159265358979323846 / 30, degree = 3.14159265358979323846 / 180;

typedef struct shop {
  lw_arena *arena;
  lw_units *units;
  lw_error error;
} shop;

static int setup(void **state) {
  shop *s = calloc(1, sizeof *s);
  if (!s) return 1;
  s->arena = lw_arena_new((size_t)256 << 20);
  *state = s;
  return s->arena && lw_units_open(&s->units, &s->error) == LW_OK ? 0 : 1;
}

static int teardown(void **state) {
  shop *s = *state;
  lw_units_close(s->units);
  lw_arena_free(s->arena);
  free(s);
  return 0;
}

static lw_test_car *car_of(shop *s, const char *name) {
  char path[600], line[900];
  const char *text = NULL;
  size_t length = 0;
  lw_card *card = NULL;
  lw_test_car *car = NULL;
  snprintf(path, sizeof path, "%s/cards/%s", getenv("SOURCE_ROOT"), name);
  lw_bind bind = {s->arena, s->units, path};
  lw_status status = lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &text, &length, &s->error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &s->error);
  if (status == LW_OK) status = lw_test_car_new(s->arena, card, &car, &s->error);
  if (status != LW_OK) fail_msg("%s", lw_error_line(&s->error, line, sizeof line));
  return car;
}

static lw_test_car *with(shop *s, const lw_test_car *from, const char *edit) {
  char line[900];
  lw_test_car *car = NULL;
  if (lw_test_car_what_if(s->arena, s->units, from, &edit, 1, &car, &s->error) != LW_OK)
    fail_msg("%s", lw_error_line(&s->error, line, sizeof line));
  return car;
}

static lw_running idle_of(shop *s, const lw_test_car *car) {
  lw_state state = {0};
  lw_running run;
  assert_int_equal(lw_engine_idle(car->engine, car->twin->net, &car->around, 0, LW_LOAD_NONE,
                                  &state, &run, &s->error),
                   LW_OK);
  return run;
}

/* ---- tests ---- */

static void engine_edits_reach_the_engine_and_leave_the_original(void **state) {
  shop *s = *state;
  lw_test_car *car = car_of(s, SIX);
  lw_engine before = *car->engine;
  NEAR(with(s, car, "timing=-5 deg")->engine->timing_error, -5 * degree, 1e-12);
  NEAR(with(s, car, "timing=10 deg BTDC")->engine->timing_error,
       10 * degree - car->engine->spark.initial, 1e-12);
  assert_true(with(s, car, "cylinder=3 dead")->engine->health[2].spark == 0);
  NEAR(with(s, car, "cylinder=6 compression 70 %")->engine->health[5].compression, 0.7, 1e-12);
  NEAR(with(s, car, "cylinder=1 spark 50 %")->engine->health[0].spark, 0.5, 1e-12);
  assert_int_equal(with(s, car, "leak at cylinder=4")->engine->leak_cylinder, 3);
  assert_int_equal(with(s, car, "centrifugal advance=stuck")->engine->spark.centrifugal.count, 0);
  assert_int_equal(with(s, car, "vacuum advance=manifold")->engine->spark.source,
                   LW_VACUUM_MANIFOLD);
  NEAR(with(s, car, "exhaust leak=5 %")->engine->exhaust_leak, 0.05, 1e-12);
  NEAR(with(s, car, "coolant=50 degF")->around.coolant, 283.15, 1e-6);
  NEAR(with(s, car, "altitude=1600 m")->around.ambient, lw_standard_pressure(1600), 1e-6);
  NEAR(with(s, car, "temperature=50 degF")->around.temperature, 283.15, 1e-6);
  assert_string_equal(with(s, car, "fuel=E10")->engine->fuel.name, "E10");
  assert_memory_equal(&before, car->engine, sizeof before);
}

/* An edit of the carburetor does not trim the engine to its card again. */
static void an_ailing_car_is_not_trimmed_to_its_card(void **state) {
  shop *s = *state;
  lw_test_car *car = car_of(s, SIX), *leaking = with(s, car, "vacuum leak=2 mm");
  assert_true(leaking->engine->friction == car->engine->friction);
  assert_true(leaking->engine->overlap == car->engine->overlap);
  double sound = idle_of(s, car).burned.lambda, ailing = idle_of(s, leaking).burned.lambda;
  printf("lambda at idle %.3f, with a leak of 2 mm %.3f\n", sound, ailing);
  assert_true(ailing > sound + 0.02);
}

static void a_sweep_turns_every_screw_through_its_travel(void **state) {
  shop *s = *state;
  lw_idle_table *t = NULL;
  lw_test_car *car = car_of(s, EIGHT);
  assert_int_equal(
      lw_idle_sweep(s->arena, s->units, car, LW_LOAD_NONE, LW_HOLD_STOP, 7, &t, &s->error), LW_OK);
  assert_int_equal(t->curve_count, 4); /* left, right, both, speed */
  assert_string_equal(t->curves[2].screw, "screws");
  assert_string_equal(t->curves[3].screw, "speed screw");
  for (size_t k = 0; k < t->curve_count; k++) {
    const lw_idle_curve *c = &t->curves[k];
    assert_int_equal(c->count, 7);
    for (size_t i = 1; i < c->count; i++)
      assert_true(c->points[i].turns > c->points[i - 1].turns);
    assert_true(c->fastest < c->count);
    /* where it stands, it is the car as it stands */
    for (size_t i = 0; i < c->count; i++) {
      if (fabs(c->points[i].turns - c->now) > 1e-9) continue;
      NEAR(c->points[i].run.setting.speed, t->now.run.setting.speed, 1e-6);
    }
  }
  NEAR(t->now.run.setting.speed, car->engine->speed_hot, 0.5 * rpm);
}

static void a_held_speed_is_held(void **state) {
  shop *s = *state;
  lw_idle_table *t = NULL;
  lw_test_car *car = car_of(s, BLEED);
  assert_int_equal(
      lw_idle_sweep(s->arena, s->units, car, LW_LOAD_DRIVE, LW_HOLD_SPEED, 9, &t, &s->error),
      LW_OK);
  assert_int_equal(t->curve_count, 1);
  for (size_t i = 0; i < t->curves[0].count; i++) {
    const lw_idle_point *p = &t->curves[0].points[i];
    assert_true(p->solved);
    NEAR(p->run.setting.speed, 560 * rpm, 1e-9);
    NEAR(p->run.burned.torque, p->run.load, 1e-4);
    /* outward on an air bleed leans: common practice, no source */
    if (i) assert_true(p->run.burned.lambda > t->curves[0].points[i - 1].run.burned.lambda);
  }
}

/* Every demo card has an idle picture and a table without a point lost to the solver. */
static void every_demo_card_is_swept_and_drawn(void **state) {
  shop *s = *state;
  char folder[500];
  snprintf(folder, sizeof folder, "%s/cards", getenv("SOURCE_ROOT"));
  DIR *dir = opendir(folder);
  size_t cards = 0;
  assert_non_null(dir);
  for (struct dirent *d; (d = readdir(dir));) {
    if (!strstr(d->d_name, ".yaml")) continue;
    lw_idle_table *t = NULL;
    lw_test_car *car = car_of(s, d->d_name);
    char path[64] = "/tmp/leanward-idle-XXXXXX";
    assert_true(car->trimmed);
    assert_int_equal(
        lw_idle_sweep(s->arena, s->units, car, LW_LOAD_NONE, LW_HOLD_STOP, 9, &t, &s->error),
        LW_OK);
    assert_true(t->now.solved);
    size_t lost = 0;
    for (size_t k = 0; k < t->curve_count; k++) {
      for (size_t i = 0; i < t->curves[k].count; i++) {
        const lw_idle_point *p = &t->curves[k].points[i];
        if (p->solved || strcmp(p->why, "it stalls") == 0) continue;
        printf("%s, %s %.2f: %s\n", d->d_name, t->curves[k].screw, p->turns, p->why);
        lost++;
      }
    }
    assert_int_equal(lost, 0);
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    close(fd);
    lw_plot_idle plot = {car->twin->card->unit, car->twin->card, t};
    assert_int_equal(lw_plot_idle_write(&plot, LW_PLOT_SVG, path, &s->error), LW_OK);
    unlink(path);
    cards++;
  }
  closedir(dir);
  assert_true(cards >= 11);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(engine_edits_reach_the_engine_and_leave_the_original),
      cmocka_unit_test(an_ailing_car_is_not_trimmed_to_its_card),
      cmocka_unit_test(a_sweep_turns_every_screw_through_its_travel),
      cmocka_unit_test(a_held_speed_is_held),
      cmocka_unit_test(every_demo_card_is_swept_and_drawn),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
