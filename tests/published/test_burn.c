/* test_burn.c - what comes out of the pipe, forward: textbooks, an open course's model, and gas
** computed with other programs' data.
**
** Books count 3.76 mol of N2 for each O2 and the program 3.773: `at_air` waters a composition down
** to the air of its source, so that the tolerance can be the source's last figure.
*/
#include "check.h"
#include "csv.h"

#include "leanward/exhaust.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define M        " (from memory)"

static const double no_hydrogen = 1e12; /* textbooks leave no H2 */

typedef struct percent {
  double co, co2, o2, h2, n2, h2o;
} percent;

static lw_fuel fuel_of(double h_c, double o_c) {
  return (lw_fuel){.name = "test", .h_c = h_c, .o_c = o_c, .heating_value = 44e6};
}

static double h_c_of(double carbon_mass, double hydrogen_mass) {
  return hydrogen_mass / 1.008 / (carbon_mass / 12.011);
}

/* Complete burning at one lambda, in percent of dry or wet gas, with `air` mol of N2 for each O2.
 */
static percent at_air(lw_fuel fuel, double lambda, double k, double air, bool wet) {
  lw_burn burn = {.lambda = lambda};
  lw_products p = lw_burn_products(&fuel, &burn, k, 0);
  double dry = 1 / (p.dry.co + p.dry.co2); /* mol of dry gas for each mol of carbon */
  double n2 = p.n2 * dry * air / LW_AIR_N2_TO_O2;
  double water = dry * p.h2o / (1 - p.h2o);
  double total = dry - p.n2 * dry + n2 + (wet ? water : 0);
  double share = 100 * dry / total;
  return (percent){p.dry.co * share, p.dry.co2 * share, p.dry.o2 * share,
                   p.h2 * share,     100 * n2 / total,  wet ? 100 * water / total : 0};
}

/* ---- textbooks ---- */

static void rich_dry_gas_by_gupta(void **state) {
  (void)state;
  const char *source =
      "Gupta, Fundamentals of I.C. Engines (2006), ex. 3.5, p. 72: C 86, H 14 %, phi 1.25, no H2";
  percent p = at_air(fuel_of(14.0 / (86.0 / 12), 0), 0.8, no_hydrogen, 3.76, false);
  PUBLISHED(p.co, 10.88, 0.03, source);
  PUBLISHED(p.co2, 7.38, 0.03, source);
  PUBLISHED(p.n2, 81.74, 0.03, source);
}

/* Air of a share of oxygen by mass, as mol of N2 for each O2. */
static double air_by_mass(double oxygen) {
  return (1 - oxygen) / 28 / (oxygen / 32);
}

/* This book's ratio for hexane, 15.30, is that of air with 23.1 % oxygen by mass; so is its gas. */
static void rich_wet_gas_by_mathur(void **state) {
  (void)state;
  const char *source =
      "Mathur and Sharma, A Course in I.C. Engines, ex. 8.4, p. 208: hexane, 25 % rich";
  percent p = at_air(fuel_of(14.0 / 6, 0), 0.8, no_hydrogen, air_by_mass(0.231), true);
  PUBLISHED(p.h2o, 16.70, 0.01, source);
  PUBLISHED(p.co2, 5.25, 0.01, source);
  PUBLISHED(p.co, 9.07, 0.01, source);
  PUBLISHED(p.n2, 68.98, 0.01, source);
}

static void lean_wet_gas_by_mathur(void **state) {
  (void)state;
  const char *source = "Mathur and Sharma, ex. 8.5: heptane, 50 % excess air";
  percent p = at_air(fuel_of(16.0 / 7, 0), 1.5, no_hydrogen, 3.76, true);
  PUBLISHED(p.co2, 8.48, 0.005, source);
  PUBLISHED(p.o2, 6.66, 0.005, source);
  PUBLISHED(p.n2, 75.2, 0.05, source);
  PUBLISHED(p.h2o, 9.69, 0.005, source);
}

static void lean_wet_gas_by_joel(void **state) {
  (void)state;
  const char *source = "Joel, Basic Engineering Thermodynamics, 5th ed., ex. 8.10, p. 210: C 86, H "
                       "14 %, 20 % excess air, air 23 % oxygen by mass";
  percent p = at_air(fuel_of(14.0 / (86.0 / 12), 0), 1.2, no_hydrogen, air_by_mass(0.23), true);
  PUBLISHED(p.co2, 10.98, 0.005, source);
  PUBLISHED(p.h2o, 10.72, 0.005, source);
  PUBLISHED(p.o2, 3.27, 0.005, source);
  PUBLISHED(p.n2, 75.03, 0.005, source);
}

static void lean_wet_gas_by_borgnakke(void **state) {
  (void)state;
  const char *source =
      "Borgnakke and Sonntag, Fundamentals of Thermodynamics, 7th ed., ex. 15.2: octane, 200 % air";
  percent p = at_air(fuel_of(2.25, 0), 2, no_hydrogen, 3.76, true);
  PUBLISHED(p.co2, 6.48, 0.01, source);
  PUBLISHED(p.h2o, 7.29, 0.01, source);
  PUBLISHED(p.o2, 10.12, 0.01, source);
  PUBLISHED(p.n2, 76.11, 0.01, source);
}

static void butane_by_potter(void **state) {
  (void)state;
  percent p = at_air(fuel_of(2.5, 0), 0.9, no_hydrogen, 3.76, true);
  PUBLISHED(p.co, 4.19, 0.005,
            "Potter, Thermodynamics Demystified (2009), ex. 9.2: butane, 90 % air, wet CO 4.19 %");
  p = at_air(fuel_of(2.5, 0), 1.2928, no_hydrogen, 3.76, true);
  PUBLISHED(p.co2, 9.41, 0.005, "Potter, ex. 9.1: butane, 29.28 % excess air, CO2 9.41 %");
}

/* Where dry CO2 and O2 are alike, the ratio of the mixture is told by the fuel alone. */
static void heptane_with_as_much_oxygen_as_carbon_dioxide_by_keswani(void **state) {
  (void)state;
  lw_fuel heptane = fuel_of(16.0 / 7, 0);
  double lo = 1.2, hi = 2.5;
  for (int i = 0; i < 60; i++) {
    lw_burn burn = {.lambda = 0.5 * (lo + hi)};
    lw_products p = lw_burn_products(&heptane, &burn, NAN, 0);
    *(p.dry.o2 < p.dry.co2 ? &lo : &hi) = burn.lambda;
  }
  PUBLISHED(
      lo * lw_fuel_stoichiometric(&heptane), 24.8, 0.05 + 0.04,
      "Keswani, I.C. Engines, 4th ed. (2003), ex. 8.2: air-fuel ratio 24.8 (stoichiometric 15.2)");
}

static void masses_for_each_kilogram_of_fuel_by_mathur(void **state) {
  (void)state;
  const char *source =
      "Mathur and Sharma, ex. 8.6, p. 218: C 85, H 15 %, air-fuel ratio 14, kg for each kg of fuel";
  lw_fuel fuel = fuel_of(h_c_of(85, 15), 0);
  percent p = at_air(fuel, 14 / lw_fuel_stoichiometric(&fuel), no_hydrogen, LW_AIR_N2_TO_O2, true);
  double mol = 0.85 / 12.011e-3 / (p.co + p.co2); /* of carbon for each percent */
  PUBLISHED(p.co2 * mol * 44.01e-3, 2.51, 0.02 * 2.51, source);
  PUBLISHED(p.h2o * mol * 18.015e-3, 1.35, 0.01, source);
  PUBLISHED(p.n2 * mol * 28.013e-3, 10.75, 0.01 * 10.75, source);
}

/* ---- an open course's model ---- */

static void dry_gas_over_lambda_with_k_3_7(void **state) {
  (void)state;
  const char *source = "MIT OpenCourseWare 2.61 (2017), exhaust composition note: CH1.87, K 3.7, "
                       "N2/O2 3.773 (own arithmetic)";
  /* lambda, CO2, CO, H2, O2, percent of dry gas */
  static const double rows[][5] = {
      {0.60, 5.220, 15.861, 8.888, 0}, {0.70, 7.650, 11.766, 5.330, 0},
      {0.80, 10.217, 7.680, 2.826, 0}, {0.85, 11.514, 5.679, 1.891, 0},
      {0.90, 12.801, 3.724, 1.126, 0}, {0.95, 14.066, 1.828, 0.504, 0},
      {1.00, 15.298, 0, 0, 0},         {1.05, 14.520, 0, 0, 1.065},
      {1.10, 13.817, 0, 0, 2.028},     {1.20, 12.598, 0, 0, 3.698},
      {1.30, 11.576, 0, 0, 5.097},     {1.40, 10.708, 0, 0, 6.286},
  };
  for (size_t i = 0; i < COUNT(rows); i++) {
    percent p = at_air(fuel_of(1.87, 0), rows[i][0], 3.7, 3.773, false);
    PUBLISHED(p.co2, rows[i][1], 0.0006, source);
    PUBLISHED(p.co, rows[i][2], 0.0006, source);
    PUBLISHED(p.h2, rows[i][3], 0.0006, source);
    PUBLISHED(p.o2, rows[i][4], 0.0006, source);
  }
}

static void wet_gas_with_k_3_7(void **state) {
  (void)state;
  const char *source = "MIT OpenCourseWare 2.61 (2017), exhaust composition note: CH1.87, K 3.7, "
                       "wet (own arithmetic)";
  percent p = at_air(fuel_of(1.87, 0), 1, 3.7, 3.773, true);
  PUBLISHED(p.co2, 13.384, 0.0006, source);
  PUBLISHED(p.h2o, 12.514, 0.0006, source);
  PUBLISHED(p.n2, 74.103, 0.0006, source);
  p = at_air(fuel_of(1.87, 0), 0.8, 3.7, 3.773, true);
  PUBLISHED(p.co2, 8.970, 0.0006, source);
  PUBLISHED(p.h2o, 12.210, 0.0006, source);
  PUBLISHED(p.co, 6.742, 0.0006, source);
  PUBLISHED(p.h2, 2.481, 0.0006, source);
  PUBLISHED(p.n2, 69.597, 0.0006, source);
}

/* The most CO2 a fuel's dry exhaust can show, and the factor its bag test is diluted by. */
static void most_carbon_dioxide_of_a_fuel(void **state) {
  (void)state;
  static const struct {
    double h_c, o_c, dry, wet;
  } rows[] = {{1.89, 0.016, 15.32, 13.4},
              {2.525, 0, 13.98, 11.9},
              {4, 0, 11.70, 9.5},
              {2.74, 0.385, 15.08, 12.5}};
  for (size_t i = 0; i < COUNT(rows); i++) {
    lw_fuel fuel = fuel_of(rows[i].h_c, rows[i].o_c);
    NEAR(at_air(fuel, 1, NAN, 3.773, false).co2, rows[i].dry, 0.0051);
    PUBLISHED(at_air(fuel, 1, NAN, 3.76, true).co2, rows[i].wet, 0.05,
              "UNECE R83 annex 4a: dilution factors 13.4 (E5), 11.9 (LPG), 9.5 (NG), 12.5 (E85)" M);
  }
}

/* ---- computed gas ---- */

static const struct fuel_row {
  const char *name;
  double h_c, o_c;
} fuels[] = {{"C8H18", 2.25, 0}, {"CH1.7261O0.0176", 1.7261, 0.0176}, {"C2H5OH", 3, 0.5}};

static lw_fuel fuel_named(const char *name) {
  for (size_t i = 0; i < COUNT(fuels); i++) {
    if (strcmp(fuels[i].name, name) == 0) return fuel_of(fuels[i].h_c, fuels[i].o_c);
  }
  fail_msg("no fuel %s", name);
  return fuel_of(0, 0);
}

static void check_frozen(const csv *c, const char *prefix, double k, double tolerance) {
  const char *source =
      "Cantera 3.0.1 with NASA-7 polynomials (NASA TM-4513), tests/data/frozen_exhaust.csv";
  const double air = (0.7812 + 0.0093) / 0.2095;
  lw_fuel fuel = fuel_named(csv_text(c, "fuel"));
  double lambda = 1 / csv_number(c, "phi");
  percent dry = at_air(fuel, lambda, k, air, false), wet = at_air(fuel, lambda, k, air, true);
  const struct {
    const char *name;
    double got;
  } columns[] = {{"dry_CO", dry.co},
                 {"dry_CO2", dry.co2},
                 {"dry_O2", dry.o2},
                 {"dry_H2", dry.h2},
                 {"wet_H2O", wet.h2o}};
  for (size_t i = 0; i < COUNT(columns); i++) {
    char name[40];
    snprintf(name, sizeof name, "%s_%s", prefix, columns[i].name);
    PUBLISHED(columns[i].got / 100, csv_number(c, name), tolerance, source);
  }
}

static void computed_gas_frozen_at_3_5(void **state) {
  (void)state;
  int count = 0;
  for (csv *c = csv_open("frozen_exhaust.csv"); csv_next(c); count++)
    check_frozen(c, "frzK3.5", 3.5, 2e-9);
  assert_int_equal(count, 51);
}

static void computed_gas_frozen_at_1740_kelvin(void **state) {
  (void)state;
  int count = 0;
  /* K is printed as 3.5799, five figures: 1.4e-5 of it moves H2 by a millionth at most */
  for (csv *c = csv_open("frozen_exhaust.csv"); csv_next(c); count++)
    check_frozen(c, "frz", 3.5799, 1e-6);
  assert_int_equal(count, 51);
}

/* ---- back and forth ---- */

/* lambda.c undoes burn.c for any fuel, mixture, spread, unburned share and humidity. */
static void forward_and_back_is_the_same_lambda(void **state) {
  (void)state;
  for (int i = 0; i < 2000; i++) {
    lw_fuel fuel = fuel_of(1 + 0.003 * (i % 1000), 0.0003 * (i % 700));
    lw_burn burn = {.lambda = 0.6 + 0.001 * ((i * 37) % 1000),
                    .spread = 0.0004 * (i % 500),
                    .unburned = 0.0001 * (i % 900)};
    double water = 0.0001 * (i % 400), k = i % 3 ? NAN : 3.0 + 0.001 * (i % 1000);
    lw_products p = lw_burn_products(&fuel, &burn, k, water);
    lw_sample s = lw_sample_new(&fuel);
    s.x = p.dry;
    s.hc_basis = LW_HC_C1;
    s.water_gas = k;
    s.air_water = water;
    NEAR(lw_lambda_balance(&s), burn.lambda, 1e-9);
    double sum = p.dry.co + p.dry.co2 + p.dry.o2 + p.dry.hc / 6 + p.h2 + p.n2;
    NEAR(sum, 1, 1e-12);
    assert_true(p.dry.co >= 0 && p.dry.co2 >= 0 && p.dry.o2 >= 0 && p.h2 >= 0 && p.h2o > 0 &&
                p.h2o < 0.5);
  }
}

/* Hydrogen, carbon and oxygen go out as they came in. */
static void atoms_are_kept(void **state) {
  (void)state;
  for (int i = 0; i < 500; i++) {
    lw_fuel fuel = fuel_of(1.85, 0.03);
    lw_burn burn = {.lambda = 0.6 + 0.002 * i, .spread = 0.0003 * i, .unburned = 0};
    lw_products p = lw_burn_products(&fuel, &burn, NAN, 0);
    double carbon = p.dry.co + p.dry.co2, water = p.h2o / (1 - p.h2o);
    NEAR((2 * water + 2 * p.h2) / carbon, 1.85, 1e-9);
    double oxygen = p.dry.co + 2 * p.dry.co2 + 2 * p.dry.o2 + water;
    NEAR(oxygen / carbon, 0.03 + 2 * burn.lambda * lw_fuel_oxygen(&fuel), 1e-9);
    if (p.h2 > 1e-6) NEAR(p.dry.co * water / (p.dry.co2 * p.h2), 3.5, 1e-6);
  }
}

/* ---- what is left unburned ---- */

static double efficiency(double ratio, double k) {
  lw_fuel fuel;
  assert_true(lw_fuel_by_name("gasoline", &fuel));
  lw_burn burn = {.lambda = ratio / lw_fuel_stoichiometric(&fuel)};
  lw_products p = lw_burn_products(&fuel, &burn, k, 0);
  lw_sample s = lw_sample_new(&fuel);
  s.x = p.dry;
  s.x.no = NAN;
  s.hc_basis = LW_HC_C1;
  s.water_gas = k;
  lw_exhaust e;
  lw_error error = {0};
  assert_int_equal(lw_exhaust_work(&s, &e, &error), LW_OK);
  return e.efficiency.x;
}

/* Heywood's definition written out by mass, from the gas alone: 1 - sum of x Q over the fuel's heat
   in the mixture. The abstract of Gerrish and Voss (NACA, Aug. 1940) names 58 % at a fuel-air ratio
   of 0.118 and "most complete" burning near 0.082, richer than stoichiometric; by Heywood's
   definition these are 46 % and a mixture that cannot be the most complete, so theirs is another
   one, which was not found, and no check is made of it. */
static void combustion_efficiency_by_mass(void **state) {
  (void)state;
  const double ratios[] = {8.5, 10, 11.5, 12.5, 13.5, 14.2};
  lw_fuel fuel;
  assert_true(lw_fuel_by_name("gasoline", &fuel));
  for (size_t i = 0; i < COUNT(ratios); i++) {
    percent p = at_air(fuel, ratios[i] / lw_fuel_stoichiometric(&fuel), NAN, LW_AIR_N2_TO_O2, true);
    double mass = p.co * 28.010 + p.co2 * 44.009 + p.h2 * 2.016 + p.n2 * 28.155 + p.h2o * 18.015 +
                  p.o2 * 31.998;
    double left = (p.co * 28.010 * 10.1 + p.h2 * 2.016 * 120) / mass;
    PUBLISHED(efficiency(ratios[i], NAN), 1 - left / (44.0 / (1 + ratios[i])), 2e-3,
              "Heywood (1988), eq. 4.69: CO 10.1, H2 120, gasoline 44 MJ/kg" M);
  }
}

/* Heywood 1988, fig. 3-9 (from memory): near all of the fuel when lean, falling with the air when
   rich. */
static void combustion_efficiency_falls_with_the_air(void **state) {
  (void)state;
  NEAR(efficiency(15.5, NAN), 1, 1e-9);
  double before = 1;
  for (double ratio = 14.5; ratio > 8.5; ratio -= 0.5) {
    double now = efficiency(ratio, NAN);
    assert_true(now < before);
    before = now;
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(rich_dry_gas_by_gupta),
      cmocka_unit_test(rich_wet_gas_by_mathur),
      cmocka_unit_test(lean_wet_gas_by_mathur),
      cmocka_unit_test(lean_wet_gas_by_joel),
      cmocka_unit_test(lean_wet_gas_by_borgnakke),
      cmocka_unit_test(butane_by_potter),
      cmocka_unit_test(heptane_with_as_much_oxygen_as_carbon_dioxide_by_keswani),
      cmocka_unit_test(masses_for_each_kilogram_of_fuel_by_mathur),
      cmocka_unit_test(dry_gas_over_lambda_with_k_3_7),
      cmocka_unit_test(wet_gas_with_k_3_7),
      cmocka_unit_test(most_carbon_dioxide_of_a_fuel),
      cmocka_unit_test(computed_gas_frozen_at_3_5),
      cmocka_unit_test(computed_gas_frozen_at_1740_kelvin),
      cmocka_unit_test(forward_and_back_is_the_same_lambda),
      cmocka_unit_test(atoms_are_kept),
      cmocka_unit_test(combustion_efficiency_by_mass),
      cmocka_unit_test(combustion_efficiency_falls_with_the_air),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
