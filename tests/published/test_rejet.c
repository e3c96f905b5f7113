/* test_rejet.c - rejetting held to what others say of altitude and of ethanol in the fuel.
**
** Altitude: fuel through a jet goes with the root of the depression, that with the density of the
** air, and the air with density itself: the mixture richens with the inverse root of density
** (textbooks' relation AFR_h = AFR_0 sqrt(rho_h/rho_0)), a jet's area must shrink with that root and
** its diameter with the fourth root. Bleeds and nozzle lips, which the rule leaves out, soften it.
*/
#include "car_kit.h"

#include "leanward/rejet.h"

#define LAW                                                                                        \
  "area with the root of density, diameter with its fourth root (common practice, no source)"

static const double thou = 25.4e-6;

/* The main jet that is proposed when nothing else may be changed, over the one that was fitted. Sizes
   of a tenth of a thousandth about `about` times the fitted one. */
static double jet_over_fitted(shop *s, const lw_test_car *car, const char *const *edits,
                              size_t count, double about) {
  double sizes[60], first = car->twin->card->carburetor.primary.main_jet;
  lw_drawer drawer = {.line = 0};
  lw_rejet_ask ask = lw_rejet_ask_usual();
  lw_rejet *r = NULL;
  for (int i = 0; i < 60; i++)
    sizes[i] = thou * (round(about * first / thou * 10) + i - 30) / 10;
  drawer.main_jet = (lw_values){sizes, 60};
  ask.drawer = &drawer;
  ask.parts_most = 1;
  shop_must(s, lw_rejet_run(s->arena, s->units, car, edits, count, &ask, &r, &s->error), edits[0]);
  assert_int_equal(r->proposals[0].part_count, 1);
  return r->proposals[0].changes[0].to / first;
}

/* Without the bleed's air and without the power circuit the rule holds closely: it is the rule of a
   plain jet. */
static void a_plain_jet_shrinks_with_the_fourth_root(void **state) {
  shop *s = *state;
  static const char *const cards[] = {"corran-220-six-manual", "corran-290-eight-manual"};
  static const double heights[] = {1000, 1600, 2500};
  for (size_t i = 0; i < 2; i++) {
    const lw_test_car *plain = car_with(s, shop_car(s, cards[i]),
                                        "main bleed=0.006 in;power jet=plugged;nozzle lip=0.5 mm");
    for (size_t k = 0; k < 3; k++) {
      char edit[40];
      const char *edits[] = {edit};
      double law = pow(lw_standard_pressure(heights[k]) / LW_STANDARD_PRESSURE, 0.25);
      snprintf(edit, sizeof edit, "altitude=%.0f m", heights[k]);
      double got = jet_over_fitted(s, plain, edits, 1, law);
      PUBLISHED(got, law, 0.01, LAW);
    }
  }
}

/* A whole unit: within a step of the usual drawer, a thousandth of an inch. */
static void a_whole_unit_keeps_within_a_drill_step_of_the_rule(void **state) {
  shop *s = *state;
  const lw_test_car *car = shop_car(s, "corran-290-eight-manual");
  static const double heights[] = {1000, 1600, 2500};
  for (size_t k = 0; k < 3; k++) {
    char edit[40];
    const char *edits[] = {edit};
    double law = pow(lw_standard_pressure(heights[k]) / LW_STANDARD_PRESSURE, 0.25);
    snprintf(edit, sizeof edit, "altitude=%.0f m", heights[k]);
    double got = 61 * jet_over_fitted(s, car, edits, 1, law);
    PUBLISHED(got, 61 * law, 1, LAW);
  }
}

/* Worked examples: pressure and temperature at the height, and the air-fuel ratio that an untouched
   unit comes to. The jet's area must shrink by that ratio. */
static void worked_examples_of_altitude(void **state) {
  shop *s = *state;
  static const struct {
    const char *pressure, *temperature;
    double afr, afr_low, ts;
    const char *source;
  } rows[] = {
      {"pressure=62.702 kPa", "temperature=-4 degC", 12.1116, 14.7, 22,
       "Gupta, Fundamentals of Internal Combustion Engines, 2006, ex. 9.7 p. 289"},
      {"pressure=59.217 kPa", "temperature=-3.8 degC", 11.2621, 14, 25,
       "Rajput, A Textbook of Internal Combustion Engines, ex. 11.11 p. 407"},
      {"pressure=55.615 kPa", "temperature=-5.5 degC", 10.9855, 14, 27,
       "Mathur and Sharma, Internal Combustion Engine, 8th ed., ex. 11.7"},
  };
  const lw_test_car *car = shop_car(s, "corran-220-six-manual");
  for (size_t i = 0; i < 3; i++) {
    char low[120];
    snprintf(low, sizeof low,
             "main bleed=0.006 in;power jet=plugged;nozzle lip=0.5 mm;temperature=%.0f degC",
             rows[i].ts);
    const lw_test_car *plain = car_with(s, car, low);
    const char *edits[] = {rows[i].pressure, rows[i].temperature};
    double want = sqrt(rows[i].afr / rows[i].afr_low);
    double got = jet_over_fitted(s, plain, edits, 2, want);
    PUBLISHED(got, want, 0.015, rows[i].source);
  }
}

/* 10 % ethanol carries 3.7 % of oxygen by mass: the same air needs 3 to 4 % more fuel. */
static void ten_percent_ethanol_needs_three_to_four_percent_more_area(void **state) {
  shop *s = *state;
  static const char *const cards[] = {"corran-220-six-manual", "corran-290-eight-manual",
                                      "corran-290-eight-automatic"};
  const char *const edits[] = {"fuel=E10"};
  for (size_t i = 0; i < 3; i++) {
    double over = jet_over_fitted(s, shop_car(s, cards[i]), edits, 1, 1.02);
    PUBLISHED(over * over - 1, 0.035, 0.01,
              "oxygen share of E10, 3.5 to 3.7 % by mass (common practice, no source)");
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
#define SHOP_TEST(t) cmocka_unit_test_setup_teardown(t, shop_setup, shop_teardown)
      SHOP_TEST(a_plain_jet_shrinks_with_the_fourth_root),
      SHOP_TEST(a_whole_unit_keeps_within_a_drill_step_of_the_rule),
      SHOP_TEST(worked_examples_of_altitude),
      SHOP_TEST(ten_percent_ethanol_needs_three_to_four_percent_more_area),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
