/* test_lambda.c - lambda from exhaust gas against textbooks, other formulas and computed gas.
**
** The textbook balances are the independent ones: their authors balance atoms by N2 or by the fuel
** and assume no hydrogen in the exhaust. The same balance is had here with an endless water-gas
** constant.
*/
#include "check.h"
#include "csv.h"

#include "leanward/exhaust.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define M        " (from memory)"

static const double no_hydrogen = 1e12; /* water-gas constant: all hydrogen burns to water */

/* Percent in; HC as percent of C1. */
static lw_sample gas(double h_c, double o_c, double co, double co2, double o2, double c1,
                     double k) {
  lw_fuel fuel = {.name = "test", .h_c = h_c, .o_c = o_c, .heating_value = 44e6};
  lw_sample s = lw_sample_new(&fuel);
  s.x = (lw_gases){co / 100, co2 / 100, c1 / 100, o2 / 100, NAN};
  s.hc_basis = LW_HC_C1;
  s.water_gas = k;
  return s;
}

static double lambda(double h_c, double o_c, double co, double co2, double o2, double c1,
                     double k) {
  lw_sample s = gas(h_c, o_c, co, co2, o2, c1, k);
  return lw_lambda_balance(&s);
}

static double stoichiometric(double h_c, double o_c) {
  lw_fuel fuel = {.h_c = h_c, .o_c = o_c};
  return lw_fuel_stoichiometric(&fuel);
}

static double h_c_of(double carbon_mass, double hydrogen_mass) {
  return hydrogen_mass / 1.008 / (carbon_mass / 12.011);
}

/* ---- textbooks ---- */

static void a_lean_balance_by_gupta(void **state) {
  (void)state;
  double x = h_c_of(86.3, 13.7), got = lambda(x, 0, 0.5, 12, 4, 0, no_hydrogen);
  PUBLISHED(got, 1.203, 0.003 * 1.203,
            "Gupta, Fundamentals of I.C. Engines (2006), ex. 3.4, p. 71: 120.3 % air");
  /* the book weighs 1 O2 + 3.76 N2 as 137.28 g; the program 4.773 times 28.962 */
  PUBLISHED(got * stoichiometric(x, 0) * 137.28 / (4.773 * 28.962), 17.5, 0.05,
            "Gupta, ex. 3.4: air-fuel ratio 17.5");
}

/* The book rounds 10.90/8 = 1.3625 mol of fuel to 1.36 (0.2 %) and prints three figures (0.4 %). */
static void a_lean_balance_by_cengel(void **state) {
  (void)state;
  double got = lambda(2.25, 0, 0.88, 10.02, 5.62, 0, no_hydrogen);
  PUBLISHED(got, 1.31, 0.005 + 0.0025,
            "Cengel and Boles, Thermodynamics, 5th ed. (2006), ex. 15-4, p. 760: 131 % air");
  PUBLISHED(got * stoichiometric(2.25, 0), 19.76, 0.005 * 19.76,
            "Cengel and Boles, ex. 15-4: air-fuel ratio 19.76");
}

static void a_lean_balance_by_gupta_without_co(void **state) {
  (void)state;
  double x = h_c_of(82, 18), got = lambda(x, 0, 0, 11.19, 3.61, 0, 3.5);
  PUBLISHED(
      got, 1.208, 0.025 * 1.208,
      "Gupta, ex. 18.9, p. 393: 20.8 % excess air; the book's air is 23 % oxygen by mass, 2.5 %");
}

static void a_lean_balance_of_methane_by_moran(void **state) {
  (void)state;
  double got = lambda(4, 0, 0.5, 9.7, 2.95, 0, no_hydrogen);
  PUBLISHED(got, 1.1324, 0.0001,
            "Moran and Shapiro, Engineering Thermodynamics, 5th ed. (2006), ex. 13.2, p. 626: "
            "113.24 % air");
  PUBLISHED(got * stoichiometric(4, 0) * 4.76 / 4.773 * 28.97 / 28.962, 19.47, 0.01,
            "Moran and Shapiro, ex. 13.2: air-fuel ratio 19.47 with 3.76");
}

/* The best rich case: H2 and CH4 are given. Five methods of the book give 11.3, 11.4, 11.3, 11.3
   and 11.37; lambda near 0.757. Leaving the hydrogen out is wrong by 10 %, and so is not what we
   do. */
static void a_rich_gas_with_hydrogen_by_gaggioli(void **state) {
  (void)state;
  const char *source =
      "Gaggioli and Obert, Thermodynamics, 3rd ed. (1987), ex. 16.7 to 16.12, pp. 742-747";
  double x = 17.0 / 8, got = lambda(x, 0, 8.9, 8.7, 0.3, 0.3, 3.5);
  PUBLISHED(got, 0.757, 0.009 * 0.757, source);
  PUBLISHED(got * stoichiometric(x, 0), 11.34, 0.009 * 11.34, source);
  PUBLISHED(lambda(x, 0, 8.9, 8.7, 0.3, 0.3, 4.06), 0.757, 0.009 * 0.757, source);
  assert_true(lambda(x, 0, 8.9, 8.7, 0.3, 0.3, no_hydrogen) > 0.82);
}

/* The gas's own hydrogen: H2 3.7 % and H2O 14.7 mol for 100 mol of dry gas, K = 4.06. */
static void hydrogen_of_the_rich_gas_by_gaggioli(void **state) {
  (void)state;
  lw_sample s = gas(17.0 / 8, 0, 8.9, 8.7, 0.3, 0.3, 8.9 * 14.7 / (8.7 * 3.7));
  lw_exhaust e;
  lw_error error = {0};
  assert_int_equal(lw_exhaust_work(&s, &e, &error), LW_OK);
  PUBLISHED(e.h2, 0.037, 0.05 * 0.037,
            "Gaggioli and Obert, ex. 16.7: H2 3.7 % of dry gas; K good to 5 %");
  PUBLISHED(e.water / (1 - e.water), 0.147, 0.02 * 0.147,
            "Gaggioli and Obert, ex. 16.7: 14.7 mol water for 100 mol dry gas");
}

/* Both books balance this gas by its nitrogen, which is what is left of 100 %. By oxygen, as here,
   it is 4 % leaner in air, and that is because the gas does not close: the program must say so, and
   by as much. */
static void a_gas_that_does_not_close_by_joel_and_keswani(void **state) {
  (void)state;
  double x = h_c_of(84, 14), y = 2 / 15.999 / (84 / 12.011);
  lw_sample s = gas(x, y, 1.2, 8.85, 6.8, 0, no_hydrogen);
  lw_exhaust e;
  lw_error error = {0};
  assert_int_equal(lw_exhaust_work(&s, &e, &error), LW_OK);
  assert_true(e.closure.x < -0.03);
  double n2 = LW_AIR_N2_TO_O2 * e.lambda.x * lw_fuel_oxygen(&s.fuel) * 0.1005;
  PUBLISHED(e.afr.x * (1 - e.closure.x / n2), 21.2, 0.01 * 21.2,
            "Joel, ex. 8.9 (21.1) and Keswani, I.C. Engines, ex. 8.19 (21.29)");
}

static void an_inverse_of_gupta_rich_products(void **state) {
  (void)state;
  PUBLISHED(lambda(h_c_of(86, 14), 0, 10.88, 7.38, 0, 0, no_hydrogen), 0.8, 0.001,
            "Gupta, ex. 3.5, p. 72: 1/1.25, no hydrogen in the book's gas");
}

/* ---- the standards' formula ---- */

static void the_formula_of_the_standards(void **state) {
  (void)state;
  /* CO %, CO2 %, HC ppm hexane, O2 %, lambda */
  static const double rows[][5] = {
      {0.5, 14.5, 100, 0.5, 1.0047}, {0.5, 14.7, 100, 0.6, 1.0093},
      {0.3, 15.0, 50, 0.4, 1.0078},  {0.1, 15.2, 10, 0.1, 1.0013},
      {1.2, 13.8, 220, 0.6, 0.9840}, {1.5, 13.7, 275, 0.8, 0.9824},
      {2.0, 13.5, 250, 0.6, 0.9603}, {2.3, 13.0, 410, 0.8, 0.9540},
      {3.5, 12.0, 300, 0.5, 0.9094}, {4.5, 11.4, 400, 0.6, 0.8830},
      {6.0, 10.2, 600, 0.5, 0.8295}, {0.05, 13.0, 150, 2.8, 1.1413},
      {0.2, 12.0, 900, 4.0, 1.1714}, {0.01, 13.78, 834, 2.29, 1.0773},
      {0, 15.33, 0, 0, 1.0000},
  };
  for (size_t i = 0; i < COUNT(rows); i++) {
    const double *r = rows[i];
    PUBLISHED(lw_lambda_simple(r[0] / 100, r[1] / 100, r[2] / 1e6, r[3] / 100), r[4], 0.5e-4 + 1e-9,
              "OIML R 99 / ISO 3930 formula (Brettschneider 1979)" M ", own arithmetic");
  }
}

/* Slopes at CO 0.5, CO2 14.5, HC 100 ppm, O2 0.5: oxygen rules. */
static void what_moves_lambda_most(void **state) {
  (void)state;
  const double base = lw_lambda_simple(0.005, 0.145, 100e-6, 0.005);
  NEAR(lw_lambda_simple(0.0051, 0.145, 100e-6, 0.005) - base, -0.00030, 0.5e-5);
  NEAR(lw_lambda_simple(0.005, 0.146, 100e-6, 0.005) - base, -0.00003, 0.5e-5);
  NEAR(lw_lambda_simple(0.005, 0.145, 110e-6, 0.005) - base, -0.00040, 0.5e-5);
  NEAR(lw_lambda_simple(0.005, 0.145, 100e-6, 0.006) - base, 0.00467, 0.5e-5);
}

/* The same by the general balance with the standards' fuel: one formula, not two. */
static void the_general_balance_holds_the_standard_one(void **state) {
  (void)state;
  for (int i = 0; i < 200; i++) {
    double co = 0.06 * i, co2 = 15 - 0.03 * i, o2 = 0.02 * i, hexane = 1e-3 * i;
    NEAR(lambda(1.7261, 0.0176, co, co2, o2, 6 * hexane, NAN),
         lw_lambda_simple(co / 100, co2 / 100, hexane / 100, o2 / 100), 1e-12);
  }
}

/* Written out again from the printed form, term by term. */
static double printed_form(double co, double co2, double hexane, double o2) {
  const double hcv = 1.7261, ocv = 0.0176, k1 = 6;
  double top = co2 + co / 2 + o2 + (hcv / 4 * (3.5 / (3.5 + co / co2)) - ocv / 2) * (co2 + co);
  return top / ((1 + hcv / 4 - ocv / 2) * (co2 + co + k1 * hexane));
}

static void the_printed_form_term_by_term(void **state) {
  (void)state;
  for (int i = 1; i < 100; i++) {
    double co = 0.0012 * i, co2 = 0.155 - 0.001 * i, hexane = 1e-5 * i, o2 = 0.2 / i;
    PUBLISHED(lw_lambda_simple(co, co2, hexane, o2), printed_form(co, co2, hexane, o2), 1e-12,
              "OIML R 99 / ISO 3930, lambda formula with Hcv 1.7261, Ocv 0.0176, K1 6" M);
  }
}

/* ---- another man's formula ---- */

static double spindt(double co, double co2, double o2, double c1, double h_c) {
  double q = o2 / co2, r = co / co2, fb = (co + co2) / (co + co2 + c1);
  double fc = 12.01 / (12.01 + 1.008 * h_c);
  return fb * (11.492 * fc * (1 + r / 2 + q) / (1 + r) + 120 * (1 - fc) / (3.5 + r));
}

/* Spindt's constants are those of air with 23.2 % oxygen by mass, 0.1 % under ours. Lean with
   much unburned HC he scales the whole ratio, oxygen and all, which is the same thing we do. */
static void spindt_gives_the_same_ratio(void **state) {
  (void)state;
  static const double rows[][4] = {
      {0.5, 14.5, 0.5, 0.06}, {1.2, 13.8, 0.6, 0.132}, {2.0, 13.5, 0.6, 0.15},
      {3.5, 12.0, 0.5, 0.18}, {4.5, 11.4, 0.6, 0.24},  {6.0, 10.2, 0.5, 0.36},
      {0.05, 13, 2.8, 0.09},  {0.2, 12, 4, 0.54},      {0, 15.33, 0, 0}};
  for (size_t i = 0; i < COUNT(rows); i++) {
    const double *r = rows[i];
    double ours = lambda(1.85, 0, r[0], r[1], r[2], r[3], 3.5) * stoichiometric(1.85, 0);
    PUBLISHED(ours / spindt(r[0], r[1], r[2], r[3], 1.85), 1, 0.002, "Spindt, SAE 650507 (1965)");
  }
}

/* ---- computed gas ---- */

static const struct fuel_row {
  const char *name;
  double h_c, o_c;
} fuels[] = {{"C8H18", 2.25, 0}, {"CH1.7261O0.0176", 1.7261, 0.0176}, {"C2H5OH", 3, 0.5}};

static const struct fuel_row *fuel_named(const char *name) {
  for (size_t i = 0; i < COUNT(fuels); i++) {
    if (strcmp(fuels[i].name, name) == 0) return &fuels[i];
  }
  fail_msg("no fuel %s", name);
  return NULL;
}

/* Gas frozen at K = 3.5: the formula must give 1/phi back. The file holds nine figures, so that
   lambda is known to a few parts in 1e9. */
static void computed_gas_gives_its_lambda_back(void **state) {
  (void)state;
  const char *source =
      "Cantera 3.0.1 with NASA-7 polynomials (NASA TM-4513), tests/data/frozen_exhaust.csv";
  int simple = 0, balanced = 0;
  csv *c = csv_open("frozen_exhaust.csv");
  while (csv_next(c)) {
    const struct fuel_row *f = fuel_named(csv_text(c, "fuel"));
    double want = 1 / csv_number(c, "phi");
    double co = csv_number(c, "frzK3.5_dry_CO"), co2 = csv_number(c, "frzK3.5_dry_CO2");
    double o2 = csv_number(c, "frzK3.5_dry_O2");
    PUBLISHED(lambda(f->h_c, f->o_c, co * 100, co2 * 100, o2 * 100, 0, 3.5), want, 5e-9, source);
    balanced++;
    if (f->o_c == 0.0176) {
      PUBLISHED(lw_lambda_simple(co, co2, 0, o2), want, 5e-9, source);
      simple++;
    }
  }
  assert_int_equal(simple, 17);
  assert_int_equal(balanced, 51);
}

/* The same gas frozen at 1740 K (K = 3.5799): read with K = 3.5 it is off by what K means, and with
   its own K it comes back. */
static void the_water_gas_constant_is_worth_little(void **state) {
  (void)state;
  const char *source =
      "Cantera 3.0.1, water-gas frozen at 1740 K, K = 3.5799, tests/data/frozen_exhaust.csv";
  double worst = 0;
  csv *c = csv_open("frozen_exhaust.csv");
  while (csv_next(c)) {
    const struct fuel_row *f = fuel_named(csv_text(c, "fuel"));
    double want = 1 / csv_number(c, "phi");
    double co = csv_number(c, "frz_dry_CO"), co2 = csv_number(c, "frz_dry_CO2"),
           o2 = csv_number(c, "frz_dry_O2");
    double own = lambda(f->h_c, f->o_c, co * 100, co2 * 100, o2 * 100, 0, 3.5799);
    PUBLISHED(own, want, 3e-6, source); /* K is given to five figures */
    worst = fmax(worst, fabs(lambda(f->h_c, f->o_c, co * 100, co2 * 100, o2 * 100, 0, 3.5) - want));
  }
  /* own arithmetic: 0.0023 at phi 1.5, nothing when lean; well under what any analyzer resolves */
  NEAR(worst, 0.0023, 0.0001);
}

static void rich_and_lean_gas_of_the_standard_fuel(void **state) {
  (void)state;
  /* lambda, CO2 %, CO %, O2 %; the percent are rounded to three decimals */
  static const double rows[][4] = {
      {0.70, 8.037, 11.906, 0}, {0.75, 9.336, 9.803, 0},  {0.80, 10.643, 7.731, 0},
      {0.85, 11.944, 5.704, 0}, {0.90, 13.228, 3.734, 0}, {0.95, 14.484, 1.830, 0},
      {0.98, 15.220, 0.723, 0}, {1.00, 15.704, 0, 0},     {1.02, 15.376, 0, 0.438},
      {1.05, 14.909, 0, 1.061}, {1.10, 14.190, 0, 2.019}, {1.20, 12.943, 0, 3.683},
      {1.30, 11.897, 0, 5.078}};
  for (size_t i = 0; i < COUNT(rows); i++) {
    const double *r = rows[i];
    NEAR(lw_lambda_simple(r[2] / 100, r[1] / 100, 0, r[3] / 100), r[0], 5e-5);
  }
}

/* ---- corrections, void samples, permissible errors ---- */

static lw_exhaust worked(double co, double co2, double hexane_ppm, double o2) {
  lw_fuel fuel;
  assert_true(lw_fuel_by_name("gasoline", &fuel));
  lw_sample s = lw_sample_new(&fuel);
  s.x = (lw_gases){co / 100, co2 / 100, hexane_ppm / 1e6, o2 / 100, NAN};
  lw_exhaust e;
  lw_error error = {0};
  assert_int_equal(lw_exhaust_work(&s, &e, &error), LW_OK);
  return e;
}

static void co_is_corrected_for_dilution(void **state) {
  (void)state;
  const char *source = "UNECE R83 annex 5, Directive 98/69/EC: CO x 15/(CO + CO2) under 15 %" M;
  PUBLISHED(worked(3, 9, 100, 5).co_corrected.x * 100, 3.75, 0.005, source);
  PUBLISHED(worked(1, 5, 100, 12).co_corrected.x * 100, 2.50, 0.005, source);
  PUBLISHED(worked(2, 10, 100, 5).co_corrected.x * 100, 2.50, 0.005, source);
  PUBLISHED(worked(4.5, 10.5, 100, 0.5).co_corrected.x * 100, 4.50, 0.005, source);
  PUBLISHED(worked(3.5, 12, 100, 0.5).co_corrected.x * 100, 3.50, 0.005, source);
  PUBLISHED(worked(0.5, 14.5, 100, 0.5).co_corrected.x * 100, 0.50, 0.005, source);
  assert_true(worked(3, 9, 100, 5).co_is_corrected);
  assert_false(worked(3.5, 12, 100, 0.5).co_is_corrected);
}

static void a_thin_sample_is_void(void **state) {
  (void)state;
  /* 40 CFR 85.2213, 85.2215, 85.2220 and part 51 subpart S, app. B: CO + CO2 under 6 % */
  assert_true(worked(1, 4.9, 100, 13).void_sample);
  assert_false(worked(1, 5.1, 100, 13).void_sample);
}

static void permissible_errors_of_the_classes(void **state) {
  (void)state;
  static const struct {
    lw_class accuracy;
    lw_gas_name gas;
    double value, error;
  } rows[] = {
      {LW_CLASS_0, LW_GAS_CO, 0.002, 0.0003},  {LW_CLASS_0, LW_GAS_CO, 0.035, 0.00175},
      {LW_CLASS_0, LW_GAS_CO2, 0.05, 0.005},   {LW_CLASS_0, LW_GAS_CO2, 0.14, 0.007},
      {LW_CLASS_0, LW_GAS_HC, 100e-6, 10e-6},  {LW_CLASS_0, LW_GAS_HC, 1000e-6, 50e-6},
      {LW_CLASS_0, LW_GAS_O2, 0.005, 0.001},   {LW_CLASS_0, LW_GAS_O2, 0.2, 0.01},
      {LW_CLASS_I, LW_GAS_CO, 0.002, 0.0006},  {LW_CLASS_I, LW_GAS_CO, 0.035, 0.00175},
      {LW_CLASS_I, LW_GAS_CO2, 0.05, 0.005},   {LW_CLASS_I, LW_GAS_HC, 100e-6, 12e-6},
      {LW_CLASS_I, LW_GAS_HC, 1000e-6, 50e-6}, {LW_CLASS_I, LW_GAS_O2, 0.005, 0.001},
  };
  for (size_t i = 0; i < COUNT(rows); i++) {
    PUBLISHED(lw_permissible(rows[i].accuracy, rows[i].gas, rows[i].value), rows[i].error, 1e-12,
              "Directive 2014/32/EU, annex XII (MI-010) = OIML R 99 classes 0 and I" M);
  }
}

static void display_steps_of_the_classes(void **state) {
  (void)state;
  const char *source = "Swiss ordinance on exhaust gas analyzers (fedlex eli/cc/2006/251), annex "
                       "5: CO 0.01, CO2 0.1, O2 0.01 %, HC 1 ppm";
  PUBLISHED(lw_display_step(LW_CLASS_0, LW_GAS_CO), 1e-4, 1e-12, source);
  PUBLISHED(lw_display_step(LW_CLASS_I, LW_GAS_CO2), 1e-3, 1e-12, source);
  PUBLISHED(lw_display_step(LW_CLASS_I, LW_GAS_O2), 1e-4, 1e-12, source);
  PUBLISHED(lw_display_step(LW_CLASS_I, LW_GAS_HC), 1e-6, 1e-12, source);
}

/* GUM 4.3.7: half widths of rectangles, /sqrt 3; their squares add. */
static void a_reading_has_the_uncertainty_of_two_rectangles(void **state) {
  (void)state;
  lw_analyzer a = {.accuracy = LW_CLASS_I,
                   .co = NAN,
                   .co2 = NAN,
                   .hc = NAN,
                   .o2 = NAN,
                   .no = NAN,
                   .co_step = NAN,
                   .co2_step = NAN,
                   .hc_step = NAN,
                   .o2_step = NAN,
                   .no_step = NAN};
  PUBLISHED(lw_reading_u(&a, LW_GAS_CO, 0.035), sqrt(0.00175 * 0.00175 / 3 + 0.00005 * 0.00005 / 3),
            1e-12, "JCGM 100:2008 (GUM), 4.3.7 and 5.1.2");
  a.co = 0.001;
  a.co_step = 0.001;
  PUBLISHED(lw_reading_u(&a, LW_GAS_CO, 0.035), sqrt(0.001 * 0.001 / 3 + 0.0005 * 0.0005 / 3),
            1e-12, "JCGM 100:2008 (GUM), 4.3.7 and 5.1.2");
}

/* The propagated uncertainty against moving each gas by hand (GUM 5.1.3 note 2). */
static void lambda_uncertainty_is_that_of_its_gases(void **state) {
  (void)state;
  for (int i = 0; i < 40; i++) {
    lw_sample s = gas(1.85, 0.02, 0.2 * i, 15 - 0.2 * i, 0.1 * i, 0.02 * i, 3.5);
    s.u = (lw_gases){0.0008, 0.003, 0.0002, 0.0006, NAN};
    lw_measure got = lw_lambda_measure(&s);
    double sum = 0, *x[] = {&s.x.co, &s.x.co2, &s.x.hc, &s.x.o2};
    const double u[] = {s.u.co, s.u.co2, s.u.hc, s.u.o2};
    for (int g = 0; g < 4; g++) {
      double keep = *x[g], h = 1e-3 * u[g];
      *x[g] = keep + h;
      double up = lw_lambda_balance(&s);
      *x[g] = keep - h;
      double slope = (up - lw_lambda_balance(&s)) / (2 * h);
      *x[g] = keep;
      sum += slope * slope * u[g] * u[g];
    }
    NEAR(got.u / sqrt(sum), 1, 1e-6);
    NEAR(got.x, lw_lambda_balance(&s), 0);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_lean_balance_by_gupta),
      cmocka_unit_test(a_lean_balance_by_cengel),
      cmocka_unit_test(a_lean_balance_by_gupta_without_co),
      cmocka_unit_test(a_lean_balance_of_methane_by_moran),
      cmocka_unit_test(a_rich_gas_with_hydrogen_by_gaggioli),
      cmocka_unit_test(hydrogen_of_the_rich_gas_by_gaggioli),
      cmocka_unit_test(a_gas_that_does_not_close_by_joel_and_keswani),
      cmocka_unit_test(an_inverse_of_gupta_rich_products),
      cmocka_unit_test(the_formula_of_the_standards),
      cmocka_unit_test(what_moves_lambda_most),
      cmocka_unit_test(the_general_balance_holds_the_standard_one),
      cmocka_unit_test(the_printed_form_term_by_term),
      cmocka_unit_test(spindt_gives_the_same_ratio),
      cmocka_unit_test(computed_gas_gives_its_lambda_back),
      cmocka_unit_test(the_water_gas_constant_is_worth_little),
      cmocka_unit_test(rich_and_lean_gas_of_the_standard_fuel),
      cmocka_unit_test(co_is_corrected_for_dilution),
      cmocka_unit_test(a_thin_sample_is_void),
      cmocka_unit_test(permissible_errors_of_the_classes),
      cmocka_unit_test(display_steps_of_the_classes),
      cmocka_unit_test(a_reading_has_the_uncertainty_of_two_rectangles),
      cmocka_unit_test(lambda_uncertainty_is_that_of_its_gases),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
