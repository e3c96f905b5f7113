/* test_engine.c - the engine's own promises: what goes in comes out, numbers stay numbers, the trim
** meets the card, crossings are found, nothing is allocated, the same in gives the same out.
**
** This program is linked with malloc, calloc and realloc wrapped (meson.build), so that it can count
** what our own code asks for.
*/
#include "car_kit.h"

#include "../../src/engine/engine_internal.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])

/* ---- allocation, counted ---- */

static size_t allocations;

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);

void *__wrap_malloc(size_t size) {
  allocations++;
  return __real_malloc(size);
}
void *__wrap_calloc(size_t count, size_t size) {
  allocations++;
  return __real_calloc(count, size);
}
void *__wrap_realloc(void *old, size_t size) {
  allocations++;
  return __real_realloc(old, size);
}

/* ---- chance with a seed (splitmix64) ---- */

static uint64_t seed = 20261126;

static double chance(double lo, double hi) {
  uint64_t z = (seed += 0x9E3779B97F4A7C15u);
  z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
  z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
  z ^= z >> 31;
  return lo + (hi - lo) * (double)(z >> 11) * 0x1p-53;
}

static bool often(double share) {
  return chance(0, 1) < share;
}

/* ---- engines and charges of every kind ---- */

static lw_engine any_engine(void) {
  static const char *const fuels[] = {"gasoline", "E10", "E85", "LPG", "methane", "methanol"};
  lw_engine e = {.cylinders = (int)chance(1, LW_CYLINDERS_MOST + 0.999),
                 .layout = 1,
                 .displacement = chance(0.3e-3, 7e-3),
                 .compression_ratio = chance(6, 12),
                 .sides = often(0.5) ? 2 : 1,
                 .crossing = chance(0, 0.5),
                 .spread = chance(0, 0.15),
                 .flutter = chance(0, 0.1),
                 .overlap = chance(0, 1.5 * CAR_DEGREE),
                 .friction = chance(0.7, 1.4),
                 .lean_limit = chance(18, 27),
                 .hidden = chance(0, 0.03),
                 .accessory = chance(0, 6),
                 .timing_error = chance(-0.3, 0.3),
                 .leak_cylinder = often(0.5) ? -1 : (int)chance(0, 13),
                 .exhaust_leak = often(0.5) ? 0 : chance(0, 1)};
  assert_true(lw_fuel_by_name(fuels[(size_t)chance(0, 5.999)], &e.fuel));
  for (int i = 0; i < e.cylinders; i++) {
    e.side[i] = e.sides > 1 && often(0.5);
    e.health[i] =
        (lw_cylinder_health){often(0.7) ? 1 : chance(0, 1.2), often(0.7) ? 1 : chance(0, 1.2)};
  }
  return e;
}

static lw_charge any_charge(const lw_engine *e) {
  double rpm = chance(200, 6500), filling = chance(0.15, 1);
  lw_charge c = plain_charge(e, rpm, filling, exp(chance(-1, 1)));
  for (int side = 0; side < LW_SIDES; side++) {
    c.air[side] *= chance(0, 2);
    c.fuel[side] *= often(0.1) ? 0 : chance(0, 2);
  }
  c.leak = often(0.5) ? 0 : c.air[0] * chance(0, 1);
  c.timing = chance(-0.4, 1);
  c.around =
      (lw_surroundings){chance(60e3, 105e3), chance(250, 315), chance(0, 1), chance(250, 375), 0};
  return c;
}

/* ---- what goes in comes out ---- */

typedef struct atoms {
  double carbon, hydrogen, oxygen, nitrogen; /* mol/s; nitrogen as N2 with argon */
} atoms;

static atoms atoms_in(const lw_engine *e, const lw_charge *c, double air, double fuel) {
  double carbon = fuel / lw_fuel_molar_mass(&e->fuel), moles = air / LW_AIR_MOLAR_MASS;
  double water = moles * lw_air_water(c->around.temperature, c->around.ambient, c->around.humidity);
  return (atoms){carbon, carbon * e->fuel.h_c + 2 * water,
                 carbon * e->fuel.o_c + 2 * moles * LW_AIR_O2 + water, moles * (1 - LW_AIR_O2)};
}

/* The gas gives shares; its nitrogen and NO give the amount. */
static atoms atoms_out(const lw_engine *e, const lw_products *p, double nitrogen) {
  double dry = nitrogen / (p->n2 + p->dry.no / 2), wet = p->h2o / (1 - p->h2o);
  return (atoms){dry * (p->dry.co + p->dry.co2 + p->dry.hc),
                 dry * (2 * p->h2 + 2 * wet + e->fuel.h_c * p->dry.hc),
                 dry * (p->dry.co + 2 * p->dry.co2 + 2 * p->dry.o2 + p->dry.no + wet +
                        e->fuel.o_c * p->dry.hc),
                 nitrogen};
}

static void air_and_fuel_are_shared_out_to_the_last(void **state) {
  (void)state;
  for (int n = 0; n < 20000; n++) {
    lw_engine e = any_engine();
    lw_charge c = any_charge(&e);
    lw_cylinder cylinders[LW_CYLINDERS_MOST];
    lw_share_out(&e, &c, cylinders);
    double air = 0, fuel = 0, cycles = c.speed / (4 * CAR_PI);
    for (int i = 0; i < e.cylinders; i++) {
      assert_true(cylinders[i].air >= 0 && cylinders[i].fuel >= 0);
      air += cylinders[i].air * cycles;
      fuel += cylinders[i].fuel * cycles;
    }
    double given = c.air[0] + c.air[1] + (lw_leak_is_own(&e) ? c.leak : 0);
    assert_true(fabs(air - given) <= 1e-12 * given);
    double arriving = c.fuel[0] + c.fuel[1];
    assert_true(fabs(fuel - arriving) <= 1e-12 * arriving);
  }
}

static void atoms_in_are_atoms_out(void **state) {
  (void)state;
  double worst = 0;
  for (int n = 0; n < 4000; n++) {
    lw_engine e = any_engine();
    lw_charge c = any_charge(&e);
    lw_burned b;
    lw_burn_charge(&e, &c, &b);
    double air = c.air[0] + c.air[1] + (lw_leak_is_own(&e) ? c.leak : 0);
    double fuel = c.fuel[0] + c.fuel[1];
    atoms in = atoms_in(&e, &c, air, fuel), out = atoms_out(&e, &b.exhaust, in.nitrogen);
    worst = fmax(worst, fabs(out.carbon - in.carbon) / (in.carbon + 1e-9 * in.oxygen));
    worst = fmax(worst, fabs(out.hydrogen - in.hydrogen) / (in.hydrogen + 1e-9 * in.oxygen));
    worst = fmax(worst, fabs(out.oxygen - in.oxygen) / in.oxygen);
    /* what is weighed is what the gas holds */
    double dry = in.nitrogen / (b.exhaust.n2 + b.exhaust.dry.no / 2);
    worst = fmax(worst, fabs(b.co - dry * b.exhaust.dry.co * 28.010e-3) / (fuel + 1e-12));
    worst = fmax(worst, fabs(b.hc - dry * b.exhaust.dry.hc * 13.876e-3) / (fuel + 1e-12));
  }
  printf("worst atom balance %.1e\n", worst);
  assert_true(worst < 1e-9);
}

static void the_sum_of_dry_gas_is_one(void **state) {
  (void)state;
  for (int n = 0; n < 4000; n++) {
    lw_engine e = any_engine();
    lw_charge c = any_charge(&e);
    lw_burned b;
    lw_burn_charge(&e, &c, &b);
    const lw_products *both[] = {&b.exhaust, &b.sampled};
    for (size_t i = 0; i < 2; i++) {
      const lw_gases *g = &both[i]->dry;
      NEAR(g->co + g->co2 + g->hc / 6 + g->o2 + g->no + both[i]->h2 + both[i]->n2, 1, 1e-12);
    }
  }
}

/* Cylinders alike: the lambda that four gases tell is the lambda that was burned. */
static void the_exhaust_tells_the_lambda_that_was_burned(void **state) {
  (void)state;
  for (int n = 0; n < 2000; n++) {
    lw_engine e = any_engine();
    e.sides = 1;
    e.spread = 0;
    e.leak_cylinder = -1;
    for (int i = 0; i < e.cylinders; i++)
      e.health[i] = e.health[0];
    lw_charge c = any_charge(&e);
    c.around.coolant = 355;
    lw_burned b;
    lw_burn_charge(&e, &c, &b);
    if (!(b.lambda > 0.6 && b.lambda < 1.6) || b.misfire > 0.99) continue;
    lw_sample s = lw_sample_new(&e.fuel);
    s.x = b.exhaust.dry;
    s.x.hc /= 6;
    s.water_gas = 3.5;
    s.air_water = lw_air_water(c.around.temperature, c.around.ambient, c.around.humidity);
    /* the oxygen in NO that CO2 gave up is a hair off the frozen water-gas ratio */
    NEAR(lw_lambda_balance(&s), b.lambda, 1e-4 * b.lambda);
  }
}

/* ---- numbers stay numbers ---- */

static bool whole(const lw_burned *b) {
  const double numbers[] = {b->imep,
                            b->pmep,
                            b->fmep,
                            b->torque,
                            b->timing,
                            b->best,
                            b->residual,
                            b->misfire,
                            b->co,
                            b->hc,
                            b->nox_as_no,
                            b->efficiency,
                            b->roughness,
                            b->exhaust.dry.co,
                            b->exhaust.dry.co2,
                            b->exhaust.dry.hc,
                            b->exhaust.dry.o2,
                            b->exhaust.dry.no,
                            b->exhaust.h2,
                            b->exhaust.n2,
                            b->exhaust.h2o,
                            b->sampled.dry.o2,
                            b->sampled.dry.co2};
  for (size_t i = 0; i < COUNT(numbers); i++) {
    if (!isfinite(numbers[i])) return false;
  }
  const double shares[] = {b->residual,       b->misfire,         b->efficiency,
                           b->exhaust.dry.co, b->exhaust.dry.co2, b->exhaust.dry.hc,
                           b->exhaust.dry.o2, b->exhaust.dry.no,  b->exhaust.h2,
                           b->exhaust.n2,     b->exhaust.h2o};
  for (size_t i = 0; i < COUNT(shares); i++) {
    if (shares[i] < -1e-12 || shares[i] > 6) return false;
  }
  return b->lambda >= 0; /* infinite without fuel */
}

static void any_charge_gives_numbers(void **state) {
  (void)state;
  for (int n = 0; n < 10000; n++) {
    lw_engine e = any_engine();
    lw_charge c = any_charge(&e);
    lw_burned b;
    if (often(0.05)) c.speed = 0;
    if (often(0.05)) c.fuel[0] = c.fuel[1] = 0;
    if (often(0.05)) c.air[0] = c.air[1] = 0;
    if (often(0.05)) c.manifold = 0;
    if (often(0.05)) c.manifold = chance(0, 200e3);
    lw_burn_charge(&e, &c, &b);
    assert_true(whole(&b));
    lw_burned work;
    lw_burn_work(&e, &c, &work);
    assert_true(work.torque == b.torque && work.nox_as_no == 0);
  }
}

static void an_engine_that_stands_is_only_dragged(void **state) {
  (void)state;
  lw_engine e = any_engine();
  lw_charge c = any_charge(&e);
  lw_burned b;
  c.speed = 0;
  lw_burn_charge(&e, &c, &b);
  assert_true(whole(&b) && b.imep == 0 && b.torque < 0);
  NEAR(b.exhaust.dry.o2, LW_AIR_O2, 1e-12);
}

static void one_cylinder_may_have_a_leak_of_its_own(void **state) {
  (void)state;
  lw_engine e = any_engine();
  e.cylinders = 1;
  e.sides = 1;
  e.side[0] = e.leak_cylinder = 0;
  e.health[0] = (lw_cylinder_health){1, 1};
  lw_charge c = plain_charge(&e, 900, 0.5, 0.9);
  lw_burned b;
  c.leak = 0.1 * c.air[0];
  lw_burn_charge(&e, &c, &b);
  NEAR(b.lambda, 0.99, 1e-9);
}

static void laws_stay_in_bounds(void **state) {
  (void)state;
  for (int n = 0; n < 20000; n++) {
    double residual = lw_residual(chance(0, 700), chance(0, 120e3), chance(50e3, 120e3),
                                  chance(0, 0.05), chance(0, 3), chance(5, 14));
    assert_true(residual >= 0 && residual <= 0.7);
    double lost =
        lw_misfire(chance(0, 5), residual, chance(0, 1.2), chance(0, 1.2), chance(0, 1.2));
    assert_true(lost >= 0 && lost <= 1);
    double friction = lw_friction(chance(0, 700), chance(230, 390));
    assert_true(friction > 0.5e5 && friction < 15e5);
  }
  assert_true(lw_misfire(1, 0.1, 1, 0, 1) == 1 && lw_misfire(1, 0.1, 1, 1, 0) == 1);
  assert_true(lw_misfire(INFINITY, 0.1, 1, 1, 1) == 1 && lw_misfire(0, 0.1, 1, 1, 1) == 1);
}

/* Leaner, more exhaust, thinner, weaker spark, less compression: never fewer misfires. */
static void misfire_rises_with_each_cause(void **state) {
  (void)state;
  for (int n = 0; n < 5000; n++) {
    double l = chance(0.9, 1.6), r = chance(0, 0.4), f = chance(0.1, 1), s = chance(0.1, 1),
           k = chance(0.1, 1), now = lw_misfire(l, r, f, s, k) - 1e-12;
    assert_true(lw_misfire(l + 0.05, r, f, s, k) >= now);
    assert_true(lw_misfire(l, r + 0.02, f, s, k) >= now);
    assert_true(lw_misfire(l, r, f - 0.05, s, k) >= now);
    assert_true(lw_misfire(l, r, f, s - 0.05, k) >= now);
    assert_true(lw_misfire(l, r, f, s, k - 0.05) >= now);
  }
}

/* docs/physics-engine.md, "Worked by hand". */
static void an_idle_worked_by_hand(void **state) {
  shop *s = *state;
  lw_engine e = *shop_car(s, "corran-220-six-manual")->engine;
  e.overlap = 0.15 * CAR_DEGREE;
  e.spread = 0;
  lw_charge c = plain_charge(&e, 700, 38.68e3 / LW_STANDARD_PRESSURE, 0.98);
  c.timing = 2.5 * CAR_DEGREE;
  lw_burned b;
  lw_burn_charge(&e, &c, &b);
  NEAR(b.residual, 0.190, 5e-4);
  NEAR(b.best / CAR_DEGREE, 28.6, 0.05);
  NEAR(b.misfire, 1 / (1 + exp(5.31 / 0.55)), 1e-6);
  double late = b.imep;
  c.timing = b.best;
  lw_burn_charge(&e, &c, &b);
  NEAR(late / b.imep, 0.808, 1e-3);
}

/* ---- spark ---- */

static void a_curve_is_level_beyond_its_ends(void **state) {
  (void)state;
  lw_curve c = {3, {1, 2, 4}, {10, 20, 0}};
  NEAR(lw_curve_at(&c, 0), 10, 0);
  NEAR(lw_curve_at(&c, 1.5), 15, 1e-12);
  NEAR(lw_curve_at(&c, 3), 10, 1e-12);
  NEAR(lw_curve_at(&c, 9), 0, 0);
  NEAR(lw_curve_at(&(lw_curve){0}, 3), 0, 0);
}

static void vacuum_reaches_the_distributor_by_its_source(void **state) {
  (void)state;
  lw_spark s = {.valve_set = 70e3};
  NEAR(lw_distributor_vacuum(&s, 60e3, 1), 0, 0);
  s.source = LW_VACUUM_MANIFOLD;
  NEAR(lw_distributor_vacuum(&s, 60e3, 0), 60e3, 0);
  NEAR(lw_distributor_vacuum(&s, -1e3, 0), 0, 0);
  s.source = LW_VACUUM_PORTED;
  NEAR(lw_distributor_vacuum(&s, 60e3, 0.25), 15e3, 1e-9);
  s.source = LW_VACUUM_VALVE;
  NEAR(lw_distributor_vacuum(&s, 60e3, 0.25), 15e3, 1e-9);
  NEAR(lw_distributor_vacuum(&s, 75e3, 0.25), 75e3, 0);
  assert_true(lw_ported_share(0.03, 0.03) == 0 && lw_ported_share(0.2, 0.03) == 1);
}

/* ---- trim ---- */

static void the_trim_meets_every_card(void **state) {
  shop *s = *state;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    const lw_engine *e = car->engine;
    lw_running run = car_idle(s, car);
    printf("%-28s overlap %.2f deg/m, friction %.3f, %.2f rpm, %.3f inHg\n", car_cards[i],
           e->overlap / CAR_DEGREE, e->friction, run_rpm(&run), run_inhg(&run));
    assert_true(car->trimmed && !run.stalled);
    NEAR(run.setting.speed / e->speed_hot, 1, 1e-3);
    NEAR(run.vacuum / e->vacuum_hot, 1, 2e-3);
    assert_true(e->overlap >= 0.0999 * CAR_DEGREE && e->overlap <= 1.5001 * CAR_DEGREE);
    assert_true(e->friction >= 0.9 && e->friction <= 1.1);
    double said = lw_range_middle(car->twin->card->idle.speed);
    NEAR(e->speed_hot, said, 1e-9);
  }
}

static void a_card_that_cannot_turn_is_refused_in_one_line(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, "corran-220-six-manual");
  static const char *const missing[] = {"displacement", "number of cylinders", "compression ratio"};
  for (int i = 0; i < 4; i++) {
    lw_card card = *car->twin->card;
    if (i == 0) card.engine.displacement = NAN;
    if (i == 1) card.engine.cylinders = 0;
    if (i == 2) card.engine.compression_ratio = NAN;
    if (i == 3) card.engine.cylinders = 13;
    lw_engine *e = NULL;
    lw_error error = {0};
    assert_int_equal(lw_engine_new(s->arena, &card, car->twin->net, &e, NULL, &error),
                     LW_BAD_INPUT);
    HOLDS(error.text, i < 3 ? missing[i] : "at most 12");
  }
}

static void sides_follow_the_firing_order(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, "corran-350-eight-manual");
  /* every other cylinder in firing order */
  const char *order = car->twin->card->engine.firing_order;
  int place = 0;
  for (const char *p = order; *p; p++) {
    if (*p < '1' || *p > '8') continue;
    assert_int_equal(car->engine->side[*p - '1'], place++ % 2);
  }
  assert_int_equal(place, 8);
  assert_int_equal(shop_car(s, "corran-220-six-manual")->engine->sides, 1);
}

/* ---- crossings ---- */

static void idle_is_where_torque_meets_load(void **state) {
  shop *s = *state;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    for (int gear = LW_LOAD_NONE; gear <= LW_LOAD_DRIVE; gear++) {
      lw_running run = car_idle_in(s, car, (lw_gear_load)gear);
      NEAR(run.burned.torque, run.load, 1e-4);
      /* stable: torque left over below, lacking above */
      double speed = run_rpm(&run), load = run.load / (run.setting.speed * run.setting.speed);
      lw_running below = car_at(s, car, 0, speed - 10), above = car_at(s, car, 0, speed + 10);
      assert_true(below.burned.torque > load * below.setting.speed * below.setting.speed);
      assert_true(above.burned.torque < load * above.setting.speed * above.setting.speed);
    }
  }
}

static void hold_finds_the_throttle(void **state) {
  shop *s = *state;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    double most = car_at(s, car, 1, 2500).burned.torque, before = -1;
    for (int k = 0; k <= 9; k++) {
      lw_running run = car_hold(s, car, 2500, 0.1 * k * most);
      NEAR(run.burned.torque, 0.1 * k * most, 1e-3);
      assert_true(run.setting.throttle > before);
      before = run.setting.throttle;
    }
    /* the idle itself, given as a speed to hold, is the stop */
    lw_running idle = car_hold(s, car, car->engine->speed_hot / CAR_RPM, 0);
    NEAR(idle.setting.throttle, 0, 2e-4);
    /* under the idle speed the plates go further shut than the stop */
    assert_true(car_hold(s, car, 0.9 * car->engine->speed_hot / CAR_RPM, 0).setting.throttle < 0);
  }
}

static void more_than_it_pulls_is_said(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, "corran-220-six-manual");
  lw_state warm = {0};
  lw_running run;
  lw_error error = {0};
  assert_int_equal(lw_engine_hold(car->engine, car->twin->net, &car->around, 2500 * CAR_RPM, 900,
                                  &warm, &run, &error),
                   LW_NO_CONVERGENCE);
  HOLDS(error.text, "does not pull 900 N m");
  assert_int_equal(lw_engine_hold(car->engine, car->twin->net, &car->around, 2500 * CAR_RPM, -900,
                                  &warm, &run, &error),
                   LW_NO_CONVERGENCE);
  HOLDS(error.text, "throttle shut");
}

static void it_stalls_when_it_must(void **state) {
  shop *s = *state;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    bool pair = strstr(car_cards[i], "pair") != NULL;
    static const char *const fatal[] = {"fuel=E85", "coolant=0 degF", "idle feed=plugged",
                                        "vacuum leak=8 mm"};
    for (size_t k = 0; k < COUNT(fatal); k++) {
      lw_running run = car_idle(s, car_with(s, car, fatal[k]));
      if (!run.stalled && !pair) run_print(fatal[k], &run);
      assert_true(run.stalled || pair);
      assert_true(!run.stalled || run.setting.speed < 360 * CAR_RPM);
    }
    lw_test_car *dead = car_with(s, car, "timing=+0 deg");
    for (int k = 0; k < dead->engine->cylinders; k++)
      dead->engine->health[k].spark = 0;
    lw_running run = car_idle(s, dead);
    assert_true(run.stalled && run.burned.misfire > 1 - 1e-12 && run.burned.torque < 0);
  }
}

/* ---- the road ---- */

static void road_load_is_weight_air_and_gearing(void **state) {
  (void)state;
  lw_vehicle v = {1500, 1, 0.014, 0.335, 3.2, 3, {2.6, 1.5, 1}};
  double torque = 0, speed = 0, at = 25;
  lw_road_load(&v, at, 0, 2, 1.2, &torque, &speed);
  NEAR(speed, at / 0.335 * 3.2, 1e-9);
  NEAR(torque * speed * 0.93, (1500 * 9.80665 * 0.014 + 0.5 * 1.2 * at * at) * at, 1e-6);
  double pulled = torque;
  lw_road_load(&v, at, 1, 2, 1.2, &torque, &speed);
  assert_true(torque > pulled);
  lw_road_load(&v, at, -2, 2, 1.2, &torque, &speed);
  assert_true(torque < 0); /* it pushes the engine */
  lw_road_load(&v, 0, 0, 0, 1.2, &torque, &speed);
  NEAR(torque, 0, 0);
  NEAR(speed, 0, 0);
}

/* ---- the page ---- */

/* docs/physics-engine.md shows what the sound demo engines give, between two marks. */
enum { ROWS = 40, COLUMNS = 11 };
typedef struct page_row {
  char label[60];
  double number[COLUMNS];
} page_row;

static const char *const page_cards[] = {"corran-220-six-manual",   "corran-220-six-automatic",
                                         "corran-290-eight-manual", "corran-290-eight-automatic",
                                         "corran-350-eight-manual", "corran-350-eight-automatic"};
static const int digits[COLUMNS] = {0, 1, 3, 2, 2, 0, 1, 1, 0, 0, 0};

static page_row row_of(const char *card, const char *where, const lw_running *r) {
  page_row row = {.number = {run_rpm(r), run_inhg(r), r->burned.lambda, run_co(r), run_o2(r),
                             run_hc(r), 100 * r->burned.residual, 100 * r->burned.misfire,
                             r->burned.timing / CAR_DEGREE, r->burned.best / CAR_DEGREE,
                             r->burned.torque}};
  snprintf(row.label, sizeof row.label, "%s, %s", card + strlen("corran-"), where);
  return row;
}

static size_t rows_of_the_program(shop *s, page_row *rows) {
  size_t n = 0;
  for (size_t i = 0; i < COUNT(page_cards); i++) {
    const char *card = page_cards[i];
    lw_test_car *car = shop_car(s, card);
    lw_running run = car_idle(s, car);
    rows[n++] = row_of(card, "idle", &run);
    if (car->engine->converter > 0) {
      run = car_idle_in(s, car, LW_LOAD_DRIVE);
      rows[n++] = row_of(card, "in drive", &run);
    }
    run = car_hold(s, car, 2500, 0);
    rows[n++] = row_of(card, "2,500 rpm no load", &run);
    run = car_road(s, car, 50);
    rows[n++] = row_of(card, "50 mile/h", &run);
    run = car_at(s, car, 1, 2500);
    rows[n++] = row_of(card, "wide open", &run);
  }
  return n;
}

static void print_page(const page_row *rows, size_t count) {
  printf("the table of docs/physics-engine.md should be\n");
  for (size_t i = 0; i < count; i++) {
    printf("| %s", rows[i].label);
    for (size_t k = 0; k < COLUMNS; k++)
      printf(" | %.*f", digits[k],
             fabs(rows[i].number[k]) < 0.5 * pow(10, -digits[k]) ? 0 : rows[i].number[k]);
    printf(" |\n");
  }
}

/* To one unit of the last figure and a percent, so that rounding does not make it another page. */
static bool on_the_page(const char *page, const page_row *row) {
  char start[80] = "\n| ";
  strcat(strcat(start, row->label), " |");
  const char *at = strstr(page, start);
  if (!at) return false;
  at += strlen(start);
  for (size_t k = 0; k < COLUMNS; k++) {
    char *end = NULL;
    double said = strtod(at, &end);
    if (end == at || fabs(said - row->number[k]) > pow(10, -digits[k]) + 0.01 * fabs(said))
      return false;
    at = strchr(end, '|');
    if (!at) return false;
    at++;
  }
  return true;
}

static void the_page_shows_what_the_demo_engines_give(void **state) {
  shop *s = *state;
  page_row rows[ROWS];
  size_t count = rows_of_the_program(s, rows), length = 0, wrong = 0;
  char path[600];
  const char *page = NULL, *root = getenv("SOURCE_ROOT");
  snprintf(path, sizeof path, "%s/docs/physics-engine.md", root ? root : LW_SOURCE_ROOT);
  shop_must(s, lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &page, &length, &s->error), path);
  for (size_t i = 0; i < count; i++)
    wrong += !on_the_page(page, &rows[i]);
  if (wrong) print_page(rows, count);
  assert_int_equal(wrong, 0);
}

/* ---- memory and chance ---- */

static void running_allocates_nothing_and_repeats_itself(void **state) {
  shop *s = *state;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    const lw_net *net = car->twin->net;
    lw_running a[3], b[3];
    memset(a, 0, sizeof a);
    memset(b, 0, sizeof b);
    allocations = 0;
    for (int twice = 0; twice < 2; twice++) {
      lw_running *to = twice ? b : a;
      lw_state state_of = {0};
      lw_status status =
          lw_engine_idle(car->engine, net, &car->around, 0, LW_LOAD_NONE, &state_of, &to[0], NULL);
      if (status == LW_OK)
        status = lw_engine_hold(car->engine, net, &car->around, 2500 * CAR_RPM, 30, &state_of,
                                &to[1], NULL);
      if (status == LW_OK)
        status = lw_engine_at(car->engine, net, &car->around, 1, 3000 * CAR_RPM, &state_of, &to[2],
                              NULL);
      assert_int_equal(status, LW_OK);
    }
    size_t counted = allocations;
    assert_int_equal(counted, 0);
    for (int k = 0; k < 3; k++) {
      assert_true(a[k].setting.speed == b[k].setting.speed);
      assert_true(a[k].setting.throttle == b[k].setting.throttle);
      assert_memory_equal(&a[k].burned.exhaust, &b[k].burned.exhaust, sizeof a[k].burned.exhaust);
      assert_true(a[k].burned.torque == b[k].burned.torque);
    }
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(air_and_fuel_are_shared_out_to_the_last),
      cmocka_unit_test(atoms_in_are_atoms_out),
      cmocka_unit_test(the_sum_of_dry_gas_is_one),
      cmocka_unit_test(the_exhaust_tells_the_lambda_that_was_burned),
      cmocka_unit_test(any_charge_gives_numbers),
      cmocka_unit_test(an_engine_that_stands_is_only_dragged),
      cmocka_unit_test(one_cylinder_may_have_a_leak_of_its_own),
      cmocka_unit_test(laws_stay_in_bounds),
      cmocka_unit_test(misfire_rises_with_each_cause),
      cmocka_unit_test(an_idle_worked_by_hand),
      cmocka_unit_test(a_curve_is_level_beyond_its_ends),
      cmocka_unit_test(vacuum_reaches_the_distributor_by_its_source),
      cmocka_unit_test(the_trim_meets_every_card),
      cmocka_unit_test(a_card_that_cannot_turn_is_refused_in_one_line),
      cmocka_unit_test(sides_follow_the_firing_order),
      cmocka_unit_test(idle_is_where_torque_meets_load),
      cmocka_unit_test(hold_finds_the_throttle),
      cmocka_unit_test(more_than_it_pulls_is_said),
      cmocka_unit_test(it_stalls_when_it_must),
      cmocka_unit_test(road_load_is_weight_air_and_gearing),
      cmocka_unit_test(the_page_shows_what_the_demo_engines_give),
      cmocka_unit_test(running_allocates_nothing_and_repeats_itself),
  };
  return cmocka_run_group_tests(tests, shop_setup, shop_teardown);
}
