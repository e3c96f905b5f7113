/* test_units.c - unit factors against the figures NIST and the standards print. */
#include "check.h"

#include "leanward/units.h"

#define SP811 "NIST SP 811 (2008), appendix B.8: "
#define M     " (from memory)"

static lw_units *units;

static int open_units(void **state) {
  (void)state;
  return lw_units_open(&units, NULL) == LW_OK ? 0 : -1;
}

static int close_units(void **state) {
  (void)state;
  lw_units_close(units);
  return 0;
}

static double read_one(lw_dim dim, const char *text) {
  double si = NAN;
  lw_error error = {0};
  if (lw_quantity_read(units, dim, text, &si, &error) != LW_OK)
    fail_msg("%s: %s", text, error.text);
  return si;
}

/* Tolerance: half of the last figure the source prints; 0 where the factor is exact by definition.
 */
static const struct {
  lw_dim dim;
  const char *text;
  double si, tolerance;
  const char *source;
} rows[] = {
    {LW_LENGTH, "1 in", 0.0254, 1e-17, SP811 "inch 2.54 E-02, exact" M},
    {LW_LENGTH, "1 thou", 2.54e-5, 1e-19, SP811 "mil 2.54 E-05, exact" M},
    {LW_LENGTH, "1 ft", 0.3048, 1e-15, SP811 "foot 3.048 E-01, exact" M},
    {LW_ELEVATION, "5280 ft", 1609.344, 1e-9, SP811 "mile 1.609344 E+03, exact" M},
    {LW_MASS, "1 lb", 0.45359237, 1e-15, SP811 "pound avoirdupois 4.5359237 E-01, exact" M},
    {LW_VOLUME, "1 in3", 1.638706e-5, 5e-12, SP811 "cubic inch 1.638706 E-05" M},
    {LW_VOLUME, "1 L", 1e-3, 1e-17, SP811 "liter 1.0 E-03, exact" M},
    {LW_PRESSURE, "1 psi", 6894.757, 5e-4, SP811 "psi 6.894757 E+03" M},
    {LW_PRESSURE, "1 inHg", 3386.389, 5e-4, SP811 "inch of mercury, conventional 3.386389 E+03" M},
    {LW_PRESSURE, "1 inHg", 3386.38, 2e-2,
     SP811 "inch of mercury (32 degF) 3.38638 E+03; the program follows the conventional inch, "
           "0.009 Pa above" M},
    {LW_PRESSURE, "1 mmHg", 133.3224, 5e-5,
     SP811 "millimeter of mercury, conventional 1.333224 E+02" M},
    {LW_PRESSURE, "1 inH2O", 249.0889, 5e-5, SP811 "inch of water, conventional 2.490889 E+02" M},
    {LW_PRESSURE, "1 inH2O", 249.082, 8e-3,
     SP811 "inch of water (39.2 degF) 2.49082 E+02; the program follows the conventional inch, "
           "0.007 Pa above" M},
    {LW_PRESSURE, "1 bar", 1e5, 1e-9, SP811 "bar 1.0 E+05, exact" M},
    {LW_PRESSURE, "1 mbar", 100, 1e-12, SP811 "millibar 1.0 E+02, exact" M},
    {LW_PRESSURE, "29.92 inHg", 101325, 25,
     "U.S. Standard Atmosphere 1976: 29.92 inHg is 1013.25 hPa, to the last figure of 29.92"},
    {LW_PRESSURE, "14.696 psi", 101325, 3.5,
     "SI: standard atmosphere 101325 Pa, 14.696 psi to its last figure" M},
    {LW_SPEED, "1 mph", 0.44704, 1e-15, SP811 "mile per hour 4.4704 E-01, exact" M},
    {LW_SPEED, "1 km/h", 0.2777778, 5e-8, SP811 "kilometer per hour 2.777778 E-01" M},
    {LW_AIRFLOW, "1 cfm", 4.719474e-4, 5e-11, SP811 "cubic foot per minute 4.719474 E-04" M},
    {LW_DENSITY, "1 lb/gallon", 119.8264, 5e-5, SP811 "pound per gallon (U.S.) 1.198264 E+02" M},
    {LW_ENERGY_PER_MASS, "1 Btu/lb", 2326, 0.5,
     SP811 "Btu (IT) per pound 2.326 E+03; not Btu (th), 2.324444 E+03" M},
    {LW_SPIN, "1 rpm", 0.1047198, 5e-8, SP811 "revolution per minute 1.047198 E-01" M},
    {LW_ANGLE, "1 deg", 0.01745329, 5e-9, SP811 "degree 1.745329 E-02" M},
    {LW_TEMPERATURE, "32 degF", 273.15, 1e-9, SP811 "degree Fahrenheit: (t + 459.67)/1.8, exact" M},
    {LW_TEMPERATURE, "212 degF", 373.15, 1e-9, SP811 "the same" M},
    {LW_TEMPERATURE, "-40 degF", 233.15, 1e-9, SP811 "the same; -40 degF is -40 degC" M},
    {LW_TEMPERATURE, "15 degC", 288.15, 1e-9, "U.S. Standard Atmosphere 1976: 15 degC is 288.15 K"},
    {LW_DENSITY, "6.61 lb/gallon", 796, 5,
     "US DOE AFDC fuel table: ethanol 6.61 lb/gal, specific gravity 0.796 at 60 degF"},
    {LW_ENERGY_PER_MASS, "11500 Btu/lb", 26.7e6, 0.15e6,
     "US DOE AFDC fuel table: ethanol 11500 Btu/lb; Cengel and Boles table A-27: 26.81 MJ/kg"},
};

static void factors_are_the_printed_ones(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    PUBLISHED(read_one(rows[i].dim, rows[i].text), rows[i].si, rows[i].tolerance, rows[i].source);
  }
}

/* 40 CFR 86 says so in so many words: limits in cubic inches and liters stand side by side. */
static void displacements_read_the_same_in_both_systems(void **state) {
  (void)state;
  PUBLISHED(read_one(LW_VOLUME, "50 in3") * 1e6, 819.3532, 5e-5, SP811 "cubic inch, 50 of them" M);
  PUBLISHED(read_one(LW_VOLUME, "140 in3") * 1e3, 2.294189, 5e-7,
            SP811 "cubic inch, 140 of them" M);
}

/* Moran and Shapiro print standard conditions of 40 CFR 1065.640: 1000 ft3/min at 101325 Pa, 293.15
   K. */
static void the_standard_flow_of_the_cfr(void **state) {
  (void)state;
  double mol = 101325 * read_one(LW_AIRFLOW, "1000 cfm") / (8.314462618 * 293.15);
  PUBLISHED(mol, 19.619, 5e-4 + 1e-4, "40 CFR 1065.640(a) example: 19.619 mol/s");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(factors_are_the_printed_ones),
      cmocka_unit_test(displacements_read_the_same_in_both_systems),
      cmocka_unit_test(the_standard_flow_of_the_cfr),
  };
  return cmocka_run_group_tests(tests, open_units, close_units);
}
