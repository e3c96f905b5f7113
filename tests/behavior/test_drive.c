/* test_drive.c - cars on a schedule do what the trade knows; sizes are printed. Directions are
** common practice without a single source. */
#include "car_kit.h"

#include "leanward/drive.h"

static const double mph = 0.44704, mile = 1609.344;

static lw_schedule *seven(shop *s, bool whole) {
  lw_schedule *schedule = NULL;
  shop_must(s, lw_schedule_seven(s->arena, whole, &schedule, &s->error), "seven");
  return schedule;
}

static lw_drive *driven(shop *s, const lw_test_car *car, const lw_drive_plan *plan) {
  lw_drive *d = NULL;
  shop_must(s, lw_drive_run(s->arena, car, plan, &d, &s->error), car->twin->card->unit);
  return d;
}

static void tell(const char *what, const lw_drive *d) {
  double by = 1e3 * mile / d->distance;
  printf("  %-26s HC %4.0f ppm CO %5.2f %%; HC %5.2f CO %5.1f NOx %5.2f g/mi, fuel %.0f g/mi\n",
         what, 1e6 * d->composite.hc, 100 * d->composite.co, by * d->hc, by * d->co, by * d->nox,
         by * d->fuel);
}

static void a_larger_jet_is_richer_over_the_cycle(void **state) {
  shop *s = *state;
  lw_drive_plan plan = {.schedule = seven(s, false)};
  const lw_test_car *car = shop_car(s, "corran-220-six-manual");
  const lw_drive *as_is = driven(s, car, &plan);
  const lw_drive *rich = driven(s, car_with(s, car, "main jet=+6 %"), &plan);
  tell("as it is", as_is);
  tell("main jet 6 % larger", rich);
  assert_true(rich->composite.co > 1.3 * as_is->composite.co);
  assert_true(rich->fuel > as_is->fuel);
  assert_true(rich->nox < as_is->nox);
}

static void a_dead_cylinder_gives_hydrocarbons_and_costs_fuel(void **state) {
  shop *s = *state;
  lw_drive_plan plan = {.schedule = seven(s, false)};
  const lw_test_car *car = shop_car(s, "corran-220-six-manual");
  const lw_drive *as_is = driven(s, car, &plan);
  const lw_drive *dead = driven(s, car_with(s, car, "cylinder=3 dead"), &plan);
  tell("cylinder 3 dead", dead);
  assert_true(dead->composite.hc > 5 * as_is->composite.hc);
  assert_true(dead->fuel > 1.05 * as_is->fuel);
  HOLDS(dead->worst[1].cause, "of cycles do not burn");
}

static void late_timing_lowers_nitric_oxide_and_costs_fuel(void **state) {
  shop *s = *state;
  lw_drive_plan plan = {.schedule = seven(s, false)};
  const lw_test_car *car = shop_car(s, "corran-290-eight-automatic");
  const lw_drive *as_is = driven(s, car, &plan);
  const lw_drive *late = driven(s, car_with(s, car, "timing=-8 deg"), &plan);
  tell("eight as it is", as_is);
  tell("8 degrees late", late);
  assert_true(late->nox < 0.85 * as_is->nox);
  assert_true(late->fuel > as_is->fuel);
}

static void without_its_pump_it_gives_less_carbon_monoxide_tipping_in(void **state) {
  shop *s = *state;
  const lw_test_car *car = shop_car(s, "corran-220-six-manual");
  lw_devices devices;
  shop_must(s,
            lw_devices_usual(car->engine, car->twin->net, car->twin->card, &car->around, &devices,
                             &s->error),
            "devices");
  lw_drive_plan plan = {.schedule = seven(s, false)};
  const lw_drive *with = driven(s, car, &plan);
  devices.pump_volume = 0;
  plan.devices = &devices;
  const lw_drive *without = driven(s, car, &plan);
  double lean_with = 0, lean_without = 0; /* the leanest second while moving off */
  for (size_t i = 18; i < 40; i++) {
    lean_with = fmax(lean_with, with->seconds[i].lambda);
    lean_without = fmax(lean_without, without->seconds[i].lambda);
  }
  tell("pump disconnected", without);
  printf("  leanest second moving off: lambda %.2f with the pump, %.2f without\n", lean_with,
         lean_without);
  assert_true(lean_without > lean_with + 0.02);
  assert_true(without->co < with->co);
}

static void a_cold_start_is_dirtier_and_thirstier(void **state) {
  shop *s = *state;
  const lw_test_car *car = shop_car(s, "corran-220-six-automatic");
  lw_drive_plan plan = {.schedule = seven(s, true)};
  const lw_drive *warm = driven(s, car, &plan);
  plan.cold = true;
  const lw_drive *cold = driven(s, car, &plan);
  tell("seven cycles, warm", warm);
  tell("seven cycles, cold", cold);
  assert_true(cold->hc > 1.5 * warm->hc);
  assert_true(cold->fuel > 1.02 * warm->fuel);
  assert_true(cold->seconds[30].choke < 0.98 && cold->seconds[900].choke > 0.99);
}

/* Physics.md, section 5, 8: letting go at speed leaves too thin a charge to burn. */
static void letting_go_at_speed_gives_hydrocarbons(void **state) {
  shop *s = *state;
  lw_drive_plan plan = {.schedule = seven(s, false)};
  const lw_drive *d = driven(s, shop_car(s, "corran-220-six-manual"), &plan);
  double coast = 0, cruise = 0;
  for (size_t i = 0; i < d->modes; i++) {
    if (strcmp(d->mode[i].name, "50-20 mph") == 0) coast = d->mode[i].dry.hc;
    if (strcmp(d->mode[i].name, "30 mph") == 0) cruise = d->mode[i].dry.hc;
  }
  printf("  HC %.0f ppm at 30 mph, %.0f ppm from 50 to 20\n", 1e6 * cruise, 1e6 * coast);
  assert_true(coast > 1.4 * cruise);
}

/* An analyzer at the tailpipe shows what the port gave some ten seconds ago: at a standing idle the
   same, after moving off richly the richness in the mode behind; over all about as much. */
static void an_analyzer_reads_the_mode_before(void **state) {
  shop *s = *state;
  const lw_test_car *car = shop_car(s, "corran-350-eight-manual");
  lw_meter_kind kind = lw_meter_usual(LW_CLASS_I);
  lw_drive_plan plan = {.schedule = seven(s, false)};
  const lw_drive *plain = driven(s, car, &plan);
  plan.meter = &kind;
  const lw_drive *d = driven(s, car, &plan);
  double given = 0, shown = 0;
  assert_true(isnan(plain->mode[0].read.co));
  for (size_t i = 0; i < d->modes; i++) {
    const lw_drive_mode *m = &d->mode[i];
    printf("  %-10s CO %.2f %%, displayed %.2f\n", m->name, 100 * m->dry.co, 100 * m->read.co);
    NEAR(m->dry.co, plain->mode[i].dry.co, 0); /* looking changes nothing */
    given += m->dry.co * m->seconds;
    shown += m->read.co * m->seconds;
    if (strcmp(m->name, "idle") == 0) NEAR(m->read.co, m->dry.co, 0.002);
    if (strcmp(m->name, "30 mph") == 0) assert_true(m->read.co > 1.5 * m->dry.co);
  }
  printf("  over all %.2f of it\n", shown / given);
  assert_true(shown > 0.8 * given && shown < 1.2 * given);
}

/* With its choke set a sound car starts, keeps running and keeps up (common practice). */
static void cold_cars_keep_running(void **state) {
  static const char *const cards[] = {"corran-350-eight-manual", "corran-350-eight-vacuum",
                                      "corran-290-eight-export", "corran-220-six-limiter"};
  shop *s = *state;
  for (size_t i = 0; i < sizeof cards / sizeof cards[0]; i++) {
    lw_test_car *car = shop_car(s, cards[i]);
    for (int k = 0; k < 2; k++) {
      car->around.temperature = k ? 273 : 293;
      lw_drive_plan plan = {.schedule = seven(s, true), .cold = true};
      const lw_drive *d = driven(s, car, &plan);
      printf("  %s at %.0f degC: %d stalls, off the trace %.1f %% of the time\n", cards[i],
             car->around.temperature - 273, d->stalls, 100 * d->missed);
      assert_int_equal(d->stalls, 0);
      assert_true(d->missed < 0.02);
    }
  }
}

/* A car too weak for the schedule is told, not forced. */
static void a_schedule_too_fast_is_missed(void **state) {
  shop *s = *state;
  const double time[] = {0, 5, 9, 30, 40}, speed[] = {0, 0, 100 * mph, 100 * mph, 0};
  lw_schedule *fast = NULL;
  shop_must(
      s, lw_schedule_of(s->arena, "a dragster's", time, speed, 5, NULL, 0, NULL, &fast, &s->error),
      "fast");
  lw_drive_plan plan = {.schedule = fast};
  const lw_drive *d = driven(s, shop_car(s, "corran-220-six-automatic"), &plan);
  printf("  0 to 100 mph in 4 s: missed %.0f %% of the time, by up to %.0f mph\n", 100 * d->missed,
         d->worst_miss / mph);
  assert_true(d->missed > 0.4);
  assert_true(d->worst_miss < -40 * mph);
}

static void the_same_drive_gives_the_same_bits(void **state) {
  shop *s = *state;
  lw_drive_plan plan = {.schedule = seven(s, false)};
  const lw_test_car *car = shop_car(s, "corran-350-eight-automatic");
  const lw_drive *a = driven(s, car, &plan), *b = driven(s, car, &plan);
  assert_int_equal(a->count, b->count);
  for (size_t i = 0; i < a->count; i++) {
    assert_true(a->seconds[i].hc == b->seconds[i].hc && a->seconds[i].co == b->seconds[i].co);
    assert_true(a->seconds[i].driven == b->seconds[i].driven);
  }
}

/* Seconds, modes and sums tell of the same grams; every card can be driven. */
static void every_card_drives_and_adds_up(void **state) {
  shop *s = *state;
  lw_drive_plan plan = {.schedule = seven(s, false)};
  for (size_t k = 0; k < CAR_CARDS; k++) {
    const lw_drive *d = driven(s, shop_car(s, car_cards[k]), &plan);
    double co = 0, hc = 0, fuel = 0;
    assert_int_equal(d->count, 274);
    for (size_t i = 0; i < d->count; i++) {
      co += d->seconds[i].co;
      hc += d->seconds[i].hc;
      fuel += d->seconds[i].fuel;
    }
    tell(car_cards[k], d);
    NEAR(co, d->co, 1e-9 * d->co);
    NEAR(hc, d->hc, 1e-9 * d->hc);
    NEAR(fuel, d->fuel, 0.02 * d->fuel);
    assert_int_equal(d->stalls, 0);
    assert_true(d->missed < 0.02);
    for (size_t i = 0; i < d->worst_count; i++)
      assert_true(d->worst[i].cause[0] && d->worst[i].over >= 1);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(a_larger_jet_is_richer_over_the_cycle, shop_setup,
                                      shop_teardown),
      cmocka_unit_test_setup_teardown(a_dead_cylinder_gives_hydrocarbons_and_costs_fuel, shop_setup,
                                      shop_teardown),
      cmocka_unit_test_setup_teardown(late_timing_lowers_nitric_oxide_and_costs_fuel, shop_setup,
                                      shop_teardown),
      cmocka_unit_test_setup_teardown(without_its_pump_it_gives_less_carbon_monoxide_tipping_in,
                                      shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(a_cold_start_is_dirtier_and_thirstier, shop_setup,
                                      shop_teardown),
      cmocka_unit_test_setup_teardown(letting_go_at_speed_gives_hydrocarbons, shop_setup,
                                      shop_teardown),
      cmocka_unit_test_setup_teardown(an_analyzer_reads_the_mode_before, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(cold_cars_keep_running, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(a_schedule_too_fast_is_missed, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(the_same_drive_gives_the_same_bits, shop_setup,
                                      shop_teardown),
      cmocka_unit_test_setup_teardown(every_card_drives_and_adds_up, shop_setup, shop_teardown),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
