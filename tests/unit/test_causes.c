/* test_causes.c - the arithmetic of weighing: evidence against brute force, what must not matter,
** what must add up.
*/
#include "cause_kit.h"

static double bell(uint64_t *state) {
  double sum = 0;
  for (int i = 0; i < 12; i++) {
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    sum += (double)(*state >> 33) / 2147483648.0;
  }
  return sum - 6;
}

/* ---- evidence ---- */

/* What fit.c says a reading of the vacuum and of CO may be off by, and the scale on which it
   compares CO: docs/causes.md. */
static const double of_vacuum = 200, of_co = 0.0002, part_co = 0.025, lone = 0.4, floor_co = 0.003;

static double even_co(double x) {
  return asinh(x / (2 * floor_co));
}

/* How likely the one reading of this sight is from one car; all spreads wider by a factor. */
static double likely(const lw_sight *sight, const lw_shown *shown, double factor) {
  bool vacuum = lw_known(sight->x[LW_SEE_VACUUM]);
  double x = sight->x[LW_SEE_CO], slope = 1 / sqrt(4 * floor_co * floor_co + x * x);
  double sd = vacuum ? hypot(of_vacuum, lone * sight->u[LW_SEE_VACUUM])
                     : slope * hypot(hypot(of_co, part_co * x), lone * sight->u[LW_SEE_CO]);
  double off = vacuum ? shown->x[LW_SEE_VACUUM] - sight->x[LW_SEE_VACUUM]
                      : even_co(shown->x[LW_SEE_CO]) - even_co(x);
  double e = off / (factor * sd);
  return exp(-0.5 * e * e) / (factor * sd * sqrt(2 * CAR_PI));
}

/* The mean over many cars: the evidence by no approximation. */
static double brute(shop *s, const lw_test_car *car, const lw_sight *sight, double factor,
                    int cars) {
  uint64_t state = 7;
  double sum = 0;
  for (int i = 0; i < cars; i++) {
    double z[LW_UNKNOWNS];
    lw_shown shown;
    for (int k = 0; k < LW_UNKNOWNS; k++)
      z[k] = factor * bell(&state);
    shop_must(s, lw_match_show(s->units, car, NULL, 0, sight, z, &shown, &s->error), "show");
    sum += likely(sight, &shown, factor) / cars;
  }
  return sum;
}

/* Within 0.4 natural units: what the bends of the model cost the approximation, here and there.
   One reading at a time: of two, few cars fit both, and the brute force would be unsure. */
static void evidence_is_that_of_brute_force(void **state) {
  shop *s = *state;
  enum { CARS = 800 };
  lw_test_car *car = shop_car(s, "corran-220-six-automatic");
  lw_running run = car_idle(s, car);
  lw_sight sight = cause_sight(&run, "idle", LW_AT_IDLE);
  cause_screws(&sight, car->twin->card, 0);
  sight.screw_u = 1e-6; /* the brute force has no unknown for it */
  for (int k = 0; k < LW_CHANNELS; k++)
    sight.x[k] = LW_NONE;
  const double vacuum[] = {0, 1500, -2500}, co[] = {0, 0.006, -0.004};
  for (int i = 0; i < 6; i++) {
    lw_match match;
    lw_sight read = sight;
    if (i < 3) read.x[LW_SEE_VACUUM] = run.vacuum + vacuum[i];
    if (i >= 3) read.x[LW_SEE_CO] = run.burned.sampled.dry.co + co[i - 3];
    shop_must(s, lw_match_run(s->units, car, NULL, 0, &read, 1, false, &match, &s->error), "match");
    double p = 0.8 * brute(s, car, &read, 1, CARS) + 0.14 * brute(s, car, &read, 1.6, CARS) +
               0.06 * brute(s, car, &read, 2.6, CARS);
    printf("%s %.4g: %.3f, brute force %.3f\n", i < 3 ? "vacuum" : "CO",
           i < 3 ? read.x[LW_SEE_VACUUM] : read.x[LW_SEE_CO], match.evidence, log(p));
    assert_float_equal(match.evidence, log(p), 0.4);
  }
}

/* ---- what must add up, what must not matter ---- */

static void probabilities_add_up(void **state) {
  shop *s = *state;
  lw_sight sights[SEEN_MOST];
  lw_test_car *car = shop_car(s, "corran-290-eight-manual");
  cause_read(s, car_with(s, car, "vacuum leak=2 mm"), sights);
  const lw_diagnosis *g = cause_find(s, car, sights, SEEN_MOST, NULL);
  double sum = 0;
  for (size_t i = 0; i < g->cause_count; i++) {
    assert_true(g->causes[i].probability >= 0.005 && g->causes[i].probability <= 1 + 1e-9);
    if (i > 0) assert_true(g->causes[i].probability <= g->causes[i - 1].probability);
    sum += g->causes[i].probability;
  }
  assert_true(sum > 0.9 && sum < 1 + 1e-9);
  for (int i = 0; i < LW_CAUSES; i++)
    assert_true(g->by_id[i] >= 0 && g->by_id[i] <= 1 + 1e-9);
}

/* Where no reading alone speaks for a cause, the one or two most apart stand there and that is said. */
static void evidence_is_never_empty_without_a_word(void **state) {
  shop *s = *state;
  lw_sight sights[SEEN_MOST];
  lw_test_car *car = shop_car(s, "corran-290-eight-manual");
  size_t together = 0;
  cause_read(s, car, sights);
  const lw_diagnosis *g = cause_find(s, car, sights, SEEN_MOST, NULL);
  for (size_t i = 0; i < g->cause_count; i++) {
    const lw_cause *c = &g->causes[i];
    bool plain = c->edit_count == 0;
    together += c->together;
    if (c->together) assert_true(c->evidence_count <= 2);
    if (!plain) assert_true(c->evidence_count > 0 || c->together);
    for (size_t k = 0; k < c->evidence_count; k++)
      assert_int_equal(c->evidence[k].tells >= 0.05, !c->together);
  }
  printf("%zu of %zu causes without a reading that speaks for them alone\n", together,
         g->cause_count);
  for (int i = 0; i < LW_CAUSES; i++)
    assert_true(lw_cause_shown_by((lw_cause_id)i)[0]);
}

static void order_of_readings_does_not_matter(void **state) {
  shop *s = *state;
  lw_sight sights[SEEN_MOST];
  lw_test_car *car = shop_car(s, "corran-220-six-manual");
  cause_read(s, car_with(s, car, "float level=+4 mm"), sights);
  const lw_diagnosis *one = cause_find(s, car, sights, SEEN_MOST, NULL);
  lw_sight other[SEEN_MOST] = {sights[2], sights[0], sights[1]};
  const lw_diagnosis *two = cause_find(s, car, other, SEEN_MOST, NULL);
  for (int i = 0; i < LW_CAUSES; i++)
    assert_float_equal(one->by_id[i], two->by_id[i], 1e-3);
}

/* Without HC or vacuum the same car stands first, less surely. */
static void what_was_not_read_costs_certainty_alone(void **state) {
  shop *s = *state;
  lw_sight sights[SEEN_MOST];
  lw_test_car *car = shop_car(s, "corran-220-six-manual");
  cause_read(s, car_with(s, car, "vacuum leak=3 mm"), sights);
  const lw_diagnosis *all = cause_find(s, car, sights, SEEN_MOST, NULL);
  assert_int_equal(all->causes[0].id, LW_CAUSE_VACUUM_LEAK);
  for (int i = 0; i < SEEN_MOST; i++)
    sights[i].x[LW_SEE_HC] = sights[i].x[LW_SEE_VACUUM] = LW_NONE;
  const lw_diagnosis *fewer = cause_find(s, car, sights, SEEN_MOST, NULL);
  cause_print("all", all);
  cause_print("without HC and vacuum", fewer);
  assert_int_equal(fewer->causes[0].id, LW_CAUSE_VACUUM_LEAK);
  assert_true(fewer->by_id[LW_CAUSE_VACUUM_LEAK] < all->by_id[LW_CAUSE_VACUUM_LEAK] + 0.02);
}

/* Fuel high by a little changes a sound idle by less than the instruments' own errors. */
static void what_no_reading_shows_is_said_not_weighed(void **state) {
  shop *s = *state;
  lw_sight sights[SEEN_MOST];
  lw_test_car *car = shop_car(s, "corran-220-six-manual");
  cause_read(s, car, sights);
  const lw_diagnosis *g = cause_find(s, car, sights, 1, NULL); /* idle alone */
  assert_true(g->unseen[LW_CAUSE_MAIN_BLEED] && g->unseen[LW_CAUSE_POWER_SHUT]);
  assert_true(g->by_id[LW_CAUSE_MAIN_BLEED] == 0);
  assert_int_equal(g->causes[0].id, LW_CAUSE_NONE);
  assert_false(g->found);
}

static void nothing_to_weigh_is_an_error(void **state) {
  shop *s = *state;
  lw_diagnosis *g = NULL;
  lw_error error = {0};
  lw_sight blank = {.at = LW_AT_IDLE, .speed = 70};
  for (int k = 0; k < LW_CHANNELS; k++)
    blank.x[k] = LW_NONE;
  lw_test_car *car = shop_car(s, "corran-220-six-manual");
  assert_int_equal(lw_causes_find(s->arena, s->units, car, &blank, 1, NULL, &g, &error),
                   LW_BAD_INPUT);
  assert_int_equal(lw_causes_find(s->arena, s->units, car, NULL, 0, NULL, &g, &error),
                   LW_BAD_INPUT);
  assert_true(error.text[0]);
}

/* ---- tests ---- */

static void likelihoods_of_a_test_add_up(void **state) {
  (void)state;
  lw_next_test t = {.find_count = 2,
                    .finds = {{LW_CAUSE_FLOAT_HIGH, 0.92}, {LW_CAUSE_FLOAT_LOW, 0.9}},
                    .falsely = 0.06};
  for (int which = 0; which < 2; which++) {
    t.tells_which = which;
    for (int c = 0; c < LW_CAUSES; c++) {
      double sum = 0;
      for (size_t a = 0; a <= t.find_count; a++)
        sum += lw_test_likelihood(&t, a, (lw_cause_id)c);
      assert_float_equal(sum, 1, 1e-12);
    }
  }
  assert_float_equal(lw_test_likelihood(&t, 0, LW_CAUSE_FLOAT_HIGH), 0.92, 1e-12);
  assert_float_equal(lw_test_likelihood(&t, 1, LW_CAUSE_FLOAT_LOW), 0.9, 1e-12);
  assert_float_equal(lw_test_likelihood(&t, 2, LW_CAUSE_NONE), 0.94, 1e-12);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(evidence_is_that_of_brute_force),
      cmocka_unit_test(probabilities_add_up),
      cmocka_unit_test(evidence_is_never_empty_without_a_word),
      cmocka_unit_test(order_of_readings_does_not_matter),
      cmocka_unit_test(what_was_not_read_costs_certainty_alone),
      cmocka_unit_test(what_no_reading_shows_is_said_not_weighed),
      cmocka_unit_test(nothing_to_weigh_is_an_error),
      cmocka_unit_test(likelihoods_of_a_test_add_up),
  };
  return cmocka_run_group_tests(tests, shop_setup, shop_teardown);
}
