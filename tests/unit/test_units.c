/* test_units.c - quantities as people write them: every accepted unit, and every way to get it
 *wrong.
 **
 ** Factors are written out here from the units' definitions, not taken from the code under test;
 *the
 ** published figures for them stand in tests/published/test_units.c.
 */
#include "check.h"

#include <stdlib.h>

#include "leanward/units.h"

#define PI       3.14159265358979323846
#define COUNT(a) (sizeof(a) / sizeof(a)[0])

static lw_units *units;

static int open_units(void **state) {
  (void)state;
  lw_error error = {0};
  return lw_units_open(&units, &error) == LW_OK ? 0 : -1;
}

static int close_units(void **state) {
  (void)state;
  lw_units_close(units);
  return 0;
}

static void close_to(double got, double want, const char *what) {
  if (fabs(got - want) <= 1e-9 * fabs(want) + 1e-300) return;
  fail_msg("%s: got %.15g, expected %.15g", what, got, want);
}

/* ---- units ---- */

static const struct definition {
  lw_dim dim;
  const char *unit;
  double scale, offset;
} definitions[] = {
    {LW_LENGTH, "in", 0.0254, 0},
    {LW_LENGTH, "thou", 0.0000254, 0},
    {LW_LENGTH, "mm", 0.001, 0},
    {LW_LENGTH, "cm", 0.01, 0},
    {LW_LENGTH, "m", 1, 0},
    {LW_LENGTH, "ft", 0.3048, 0},
    {LW_VOLUME, "in3", 0.0254 * 0.0254 * 0.0254, 0},
    {LW_VOLUME, "cm3", 1e-6, 0},
    {LW_VOLUME, "cc", 1e-6, 0},
    {LW_VOLUME, "L", 1e-3, 0},
    {LW_MASS, "kg", 1, 0},
    {LW_MASS, "g", 1e-3, 0},
    {LW_MASS, "lb", 0.45359237, 0},
    {LW_TIME, "s", 1, 0},
    {LW_TIME, "ms", 1e-3, 0},
    {LW_TIME, "min", 60, 0},
    {LW_SPIN, "rpm", 2 * PI / 60, 0},
    {LW_ANGLE, "deg", PI / 180, 0},
    {LW_ANGLE, "deg BTDC", PI / 180, 0},
    {LW_ANGLE, "deg ATDC", -PI / 180, 0},
    {LW_TURNS, "turns", 1, 0},
    {LW_PRESSURE, "inHg", 25.4 * 13.5951 * 9.80665, 0},
    {LW_PRESSURE, "psi", 0.45359237 * 9.80665 / (0.0254 * 0.0254), 0},
    {LW_PRESSURE, "kPa", 1e3, 0},
    {LW_PRESSURE, "bar", 1e5, 0},
    {LW_PRESSURE, "mbar", 100, 0},
    {LW_PRESSURE, "mmHg", 13.5951 * 9.80665, 0},
    {LW_PRESSURE, "inH2O", 25.4 * 9.80665, 0},
    {LW_COMPRESSION, "psi", 0.45359237 * 9.80665 / (0.0254 * 0.0254), 0},
    {LW_COMPRESSION, "bar", 1e5, 0},
    {LW_COMPRESSION, "kPa", 1e3, 0},
    {LW_TEMPERATURE, "degF", 5.0 / 9, 459.67 * 5 / 9},
    {LW_TEMPERATURE, "degC", 1, 273.15},
    {LW_TEMPERATURE, "K", 1, 0},
    {LW_SHARE, "%", 0.01, 0},
    {LW_FRACTION, "%", 0.01, 0},
    {LW_FRACTION, "ppm", 1e-6, 0},
    {LW_PPM, "ppm", 1e-6, 0},
    {LW_PPM, "%", 0.01, 0},
    {LW_SPEED, "mph", 1609.344 / 3600, 0},
    {LW_SPEED, "km/h", 1 / 3.6, 0},
    {LW_SPEED, "m/s", 1, 0},
    {LW_ELEVATION, "ft", 0.3048, 0},
    {LW_ELEVATION, "m", 1, 0},
    {LW_AIRFLOW, "cfm", 0.3048 * 0.3048 * 0.3048 / 60, 0},
    {LW_AIRFLOW, "L/s", 1e-3, 0},
    {LW_AIRFLOW, "m3/h", 1.0 / 3600, 0},
    {LW_DENSITY, "kg/m3", 1, 0},
    {LW_DENSITY, "g/cm3", 1000, 0},
    /* the unit database carries the gallon with seven figures: 3.785412e-3 m3, exact 231 in3 */
    {LW_DENSITY, "lb/gallon", 0.45359237 / 3.785412e-3, 0},
    {LW_ENERGY_PER_MASS, "MJ/kg", 1e6, 0},
    {LW_ENERGY_PER_MASS, "Btu/lb", 2326, 0},
};

static const struct definition *defined(lw_dim dim, const char *unit) {
  for (size_t i = 0; i < COUNT(definitions); i++) {
    if (definitions[i].dim == dim && strcmp(definitions[i].unit, unit) == 0) return &definitions[i];
  }
  fail_msg("'%s' is named as accepted and has no definition in this test", unit);
  return NULL;
}

static void every_unit_an_error_names_is_accepted_and_has_its_size(void **state) {
  (void)state;
  size_t checked = 0;
  for (int d = LW_LENGTH; d < LW_DIM_COUNT; d++) {
    char names[120], *at = NULL;
    snprintf(names, sizeof names, "%s", lw_dim_accepts((lw_dim)d));
    for (char *name = strtok_r(names, ",", &at); name; name = strtok_r(NULL, ",", &at), checked++) {
      while (*name == ' ')
        name++;
      double scale = NAN, offset = NAN;
      lw_error error = {0};
      if (lw_units_scale(units, (lw_dim)d, name, &scale, &offset, &error) != LW_OK) {
        fail_msg("%s: %s", name, error.text);
      }
      close_to(scale, defined((lw_dim)d, name)->scale, name);
      if (fabs(offset - defined((lw_dim)d, name)->offset) > 1e-9) fail_msg("%s: offset", name);
    }
  }
  assert_int_equal(checked, COUNT(definitions));
}

/* Units are written with the fixed factors and read with UDUNITS: the two must be one. */
static void what_is_shown_reads_back_the_same(void **state) {
  (void)state;
  static const double samples[] = {0, 1e-4, 0.37, 12.5, 300};
  for (int d = LW_LENGTH; d < LW_DIM_COUNT; d++) {
    for (int system = 0; system < 2; system++) {
      for (size_t i = 0; i < COUNT(samples); i++) {
        char text[80];
        double shown = lw_dim_shown((lw_dim)d, (lw_unit_system)system, samples[i]), back = NAN;
        snprintf(text, sizeof text, "%.17g %s", shown,
                 lw_dim_unit((lw_dim)d, (lw_unit_system)system));
        lw_error error = {0};
        if (lw_quantity_read(units, (lw_dim)d, text, &back, &error) != LW_OK) {
          fail_msg("'%s': %s", text, error.text);
        }
        if (fabs(back - samples[i]) > 1e-9 * (1 + fabs(samples[i]))) {
          fail_msg("'%s' reads back %.15g instead of %.15g", text, back, samples[i]);
        }
      }
    }
  }
}

static void the_unit_inside_is_one(void **state) {
  (void)state;
  for (int d = LW_LENGTH; d < LW_DIM_COUNT; d++) {
    double scale = NAN, offset = NAN;
    lw_error error = {0};
    if (strcmp(lw_dim_inside((lw_dim)d), "1") == 0) continue;
    assert_int_equal(
        lw_units_scale(units, (lw_dim)d, lw_dim_inside((lw_dim)d), &scale, &offset, &error), LW_OK);
    close_to(scale, 1, lw_dim_inside((lw_dim)d));
    NEAR(offset, 0, 0);
  }
}

/* ---- one quantity ---- */

static const struct {
  lw_dim dim;
  const char *text;
  double si;
} quantities[] = {
    {LW_LENGTH, "0.059 in", 0.059 * 0.0254},
    {LW_LENGTH, ".059 in", 0.059 * 0.0254},
    {LW_LENGTH, "59 thou", 0.059 * 0.0254},
    {LW_LENGTH, "1 1/4 in", 1.25 * 0.0254},
    {LW_LENGTH, "3/16 in", 0.1875 * 0.0254},
    {LW_LENGTH, "-1 1/4 in", -1.25 * 0.0254},
    {LW_LENGTH, "+1/4 in", 0.25 * 0.0254},
    {LW_LENGTH, "  1.5mm", 0.0015},
    {LW_LENGTH, "1.5\tmm", 0.0015},
    {LW_LENGTH, "1e-3 m", 0.001},
    {LW_LENGTH, "1.5E0 mm", 0.0015},
    {LW_LENGTH, "0 mm", 0},
    {LW_VOLUME, "220 in3", 220 * 1.6387064e-5},
    {LW_VOLUME, "3600 cc", 3.6e-3},
    {LW_TURNS, "2 1/2 turns", 2.5},
    {LW_TURNS, "1 turn", 1},
    {LW_TURNS, "1/8 turn", 0.125},
    {LW_ANGLE, "5 deg", 5 * PI / 180},
    {LW_ANGLE, "5 deg BTDC", 5 * PI / 180},
    {LW_ANGLE, "5 deg ATDC", -5 * PI / 180},
    {LW_ANGLE, "5 deg atdc", -5 * PI / 180},
    {LW_ANGLE, "5 deg after TDC", -5 * PI / 180},
    {LW_ANGLE, "5 deg before top dead center", 5 * PI / 180},
    {LW_ANGLE, "0 deg TDC", 0},
    {LW_ANGLE, "12 \xc2\xb0", 12 * PI / 180},
    {LW_ANGLE, "12\xc2\xb0 BTDC", 12 * PI / 180},
    {LW_ANGLE, "-5 deg ATDC", 5 * PI / 180},
    {LW_FRACTION, "3.5 %", 0.035},
    {LW_FRACTION, "3.5%", 0.035},
    {LW_FRACTION, "3.5 % vol", 0.035},
    {LW_FRACTION, "3.5 % by volume", 0.035},
    {LW_SHARE, "55 % RH", 0.55},
    {LW_FRACTION, "400 ppm", 4e-4},
    {LW_PPM, "220 ppm hexane", 2.2e-4},
    {LW_PPM, "220 ppm-hexane", 2.2e-4},
    {LW_PPM, "220 ppm propane", 2.2e-4},
    {LW_PPM, "1320 ppm C1", 1.32e-3},
    {LW_PPM, "220 ppm vol hexane", 2.2e-4},
    {LW_PPM, "0.022 %", 2.2e-4},
    {LW_PRESSURE, "19.5 inHg", 19.5 * 3386.38864034},
    {LW_COMPRESSION, "150 psi gauge", 150 * 6894.757293168},
    {LW_TEMPERATURE, "180 degF", (180 + 459.67) / 1.8},
    {LW_TEMPERATURE, "-40 degF", 233.15},
    {LW_TEMPERATURE, "-40 degC", 233.15},
    {LW_TEMPERATURE, "82 degC", 355.15},
    {LW_COUNT, "8", 8},
    {LW_COUNT, "8.0", 8},
    {LW_RATIO, "9.2", 9.2},
    {LW_RATIO, "9.2:1", 9.2},
    {LW_RATIO, "14 7/10", 14.7},
    {LW_SPIN, "650 rpm", 650 * PI / 30},
    {LW_DENSITY, "0.74 g/cm3", 740},
    {LW_ENERGY_PER_MASS, "18676 Btu/lb", 18676 * 2326.0},
};

static void quantities_are_read_as_written(void **state) {
  (void)state;
  for (size_t i = 0; i < COUNT(quantities); i++) {
    double si = NAN;
    lw_error error = {0};
    if (lw_quantity_read(units, quantities[i].dim, quantities[i].text, &si, &error) != LW_OK) {
      fail_msg("'%s': %s", quantities[i].text, error.text);
    }
    close_to(si, quantities[i].si, quantities[i].text);
  }
}

/* Each must be refused with a text that holds `says`; the output must stay untouched. */
static const struct refused {
  lw_dim dim;
  const char *text, *says;
} refused[] = {
    {LW_LENGTH, "", "not a number"},
    {LW_LENGTH, "   ", "not a number"},
    {LW_LENGTH, "in", "not a number"},
    {LW_LENGTH, "1.5", "the unit is missing; use in, thou, mm"},
    {LW_LENGTH, "1.5 ", "the unit is missing"},
    {LW_LENGTH, "1.5 kg", "'kg' is not a unit that fits here; use in, thou, mm"},
    {LW_LENGTH, "1.5 furry", "'furry' is not a unit that fits here"},
    {LW_LENGTH, "1,5 mm", "write a point, as in 3.5"},
    {LW_LENGTH, "1.5, mm", "is not a unit"},
    {LW_LENGTH, "NaN mm", "is not a number"},
    {LW_LENGTH, "nan", "leave the line out if not known"},
    {LW_LENGTH, "-NaN", "leave the line out if not known"},
    {LW_LENGTH, "inf mm", "is not a number"},
    {LW_LENGTH, "-inf mm", "is not a number"},
    {LW_LENGTH, "infinity", "is not a number"},
    {LW_LENGTH, "0x10 mm", "is not a number"},
    {LW_LENGTH, "0x10/2 mm", ""},
    {LW_LENGTH, "1/0x10 mm", ""},
    {LW_LENGTH, "1e999 mm", "is not a number"},
    {LW_LENGTH, "1e999/1 mm", ""},
    {LW_LENGTH, "1e999/1e999 mm", ""},
    {LW_LENGTH, "1/1e999 mm", ""},
    {LW_LENGTH, "1e3/4 mm", ""},
    {LW_LENGTH, "1/0 in", ""},
    {LW_LENGTH, "1/-4 in", ""},
    {LW_LENGTH, "1/2/3 in", ""},
    {LW_LENGTH, "1 5/4 in", ""},
    {LW_LENGTH, "1.5 1/4 in", ""},
    {LW_LENGTH, "1 2 in", ""},
    {LW_LENGTH, "12 13 mm", ""},
    {LW_LENGTH, "1 000 mm", ""},
    {LW_LENGTH, "1.5.5 mm", ""},
    {LW_LENGTH, "0.030-0.035 in", "to"},
    {LW_LENGTH, "0.030 - 0.035 in", "to"},
    {LW_LENGTH, "5 m @ 3", ""},
    {LW_LENGTH, "5 m from 3", ""},
    {LW_LENGTH, "--5 mm", "is not a number"},
    {LW_LENGTH, "+-5 mm", "is not a number"},
    {LW_LENGTH, "5 (mm)", "is not a unit"},
    {LW_LENGTH, "5 mm mm", "is not a unit"},
    {LW_LENGTH, "5 mm extra", "is not a unit"},
    {LW_LENGTH, "5 \"", "is not a unit"},
    {LW_LENGTH, "5 mm\n6 mm", ""},
    {LW_LENGTH, "5 to 6 mm", "one value was expected"},
    {LW_LENGTH, "5 +/- 1 mm", "one value was expected"},
    {LW_LENGTH, "at most 5 mm", "is not a number"},
    {LW_SPIN, "650", "the unit is missing; use rpm"},
    {LW_SPIN, "650 Hz", "is not a unit that fits here; use rpm"},
    {LW_SPIN, "650 deg", "is not a unit"},
    {LW_TURNS, "2", "the unit is missing; use turns"},
    {LW_TURNS, "2 rad", "is not a unit"},
    {LW_TURNS, "2 %", "is not a unit"},
    {LW_ANGLE, "5", "the unit is missing"},
    {LW_ANGLE, "5 BTDC", "the unit is missing"},
    {LW_ANGLE, "5 turns", "is not a unit"},
    {LW_ANGLE, "5 %", "is not a unit"},
    {LW_FRACTION, "0.035", "the unit is missing; use %, ppm"},
    {LW_FRACTION, "3.5 vol", "the unit is missing"},
    {LW_FRACTION, "3.5 deg", "is not a unit"},
    {LW_FRACTION, "3.5 psi", "is not a unit"},
    {LW_PRESSURE, "19.5 in", "is not a unit"},
    {LW_PRESSURE, "19.5 hg", "is not a unit"},
    {LW_TEMPERATURE, "180 F", "is not a unit"},
    {LW_TEMPERATURE, "20 C", "is not a unit"},
    {LW_TEMPERATURE, "180", "the unit is missing"},
    {LW_COUNT, "8.5", "is not a whole number"},
    {LW_COUNT, "8 cylinders", "should not be there"},
    {LW_RATIO, "9.2 %", "should not be there"},
    {LW_RATIO, "9.2:2", "should not be there"},
    {LW_ENERGY_PER_MASS, "1e305 MJ/kg", ""},
};

static void bad_quantities_are_refused_in_words(void **state) {
  (void)state;
  for (size_t i = 0; i < COUNT(refused); i++) {
    double si = 12345;
    lw_error error = {0};
    lw_status status = lw_quantity_read(units, refused[i].dim, refused[i].text, &si, &error);
    if (status != LW_BAD_INPUT) fail_msg("'%s' was taken as %g", refused[i].text, si);
    if (si != 12345) fail_msg("'%s' touched the output", refused[i].text);
    if (!error.text[0]) fail_msg("'%s' has no words", refused[i].text);
    HOLDS(error.text, refused[i].says);
  }
}

static void long_texts_are_refused_and_cut_in_the_message(void **state) {
  (void)state;
  char text[201];
  static const char *const starts[] = {"5 ", "at most ", "5 to ", "5 +/- ", "", "5 deg "};
  for (size_t i = 0; i < COUNT(starts); i++) {
    memset(text, 'x', sizeof text - 1);
    text[200] = '\0';
    memcpy(text, starts[i], strlen(starts[i]));
    lw_error error = {0};
    lw_range range;
    double si = 0;
    assert_int_equal(lw_quantity_read(units, LW_LENGTH, text, &si, &error), LW_BAD_INPUT);
    assert_int_equal(lw_range_read(units, LW_ANGLE, text, &range, &error), LW_BAD_INPUT);
    assert_true(strlen(error.text) < 200);
  }
  memset(text, '9', 200);
  double si = 0;
  lw_error error = {0};
  assert_int_equal(lw_number_read(text, &si, &error), LW_OK);
  close_to(si, 1e200, "200 nines");
}

static void an_error_may_be_left_out(void **state) {
  (void)state;
  double si = 0;
  lw_range range;
  assert_int_equal(lw_quantity_read(units, LW_LENGTH, "x", &si, NULL), LW_BAD_INPUT);
  assert_int_equal(lw_range_read(units, LW_LENGTH, "6 to 5 mm", &range, NULL), LW_BAD_INPUT);
  assert_int_equal(lw_number_read("1,5", &si, NULL), LW_BAD_INPUT);
}

static void numbers_stand_alone(void **state) {
  (void)state;
  static const struct {
    const char *text;
    double value;
  } good[] = {{"650", 650},     {"-0.5", -0.5}, {".059", 0.059}, {"1 1/4", 1.25}, {"-1/4", -0.25},
              {"1e-3", 1e-3},   {" 7 ", 7},     {"+3", 3},       {"5.", 5},       {"-1 1/2", -1.5},
              {"-0 1/2", -0.5}, {"0", 0},       {"007", 7}};
  static const char *const bad[] = {
      "",    " ",     "x",      "1x",  "1 x",       "1,5",   "1.5,", "0x1",    "nan",
      "inf", "1e999", "-1e999", "1/0", "1e400/1",   "0x8/2", "1 2",  "1 -1/2", "1/2 1/2",
      ".",   "-",     "+",      "e5",  "1 1/4 1/4", "-.",    "1//2"};
  for (size_t i = 0; i < COUNT(good); i++) {
    double value = NAN;
    lw_error error = {0};
    assert_int_equal(lw_number_read(good[i].text, &value, &error), LW_OK);
    close_to(value, good[i].value, good[i].text);
  }
  for (size_t i = 0; i < COUNT(bad); i++) {
    double value = 12345;
    lw_error error = {0};
    if (lw_number_read(bad[i], &value, &error) != LW_BAD_INPUT)
      fail_msg("'%s' is %g", bad[i], value);
    assert_true(value == 12345);
    assert_true(error.text[0] != '\0');
  }
}

/* ---- ranges ---- */

static const struct {
  lw_dim dim;
  const char *text;
  double lo, at, hi; /* in the unit named by scale */
  double scale;
} ranges[] = {
    {LW_SPIN, "650 rpm", 650, 650, 650, PI / 30},
    {LW_SPIN, "600 to 700 rpm", 600, 650, 700, PI / 30},
    {LW_SPIN, "600 rpm to 700 rpm", 600, 650, 700, PI / 30},
    {LW_SPIN, "600  to  700 rpm", 600, 650, 700, PI / 30},
    {LW_SPIN, "650 +/- 50 rpm", 600, 650, 700, PI / 30},
    {LW_SPIN, "650 rpm +/- 50 rpm", 600, 650, 700, PI / 30},
    {LW_SPIN, "650 rpm +/- 50", 600, 650, 700, PI / 30},
    {LW_SPIN, "650 \xc2\xb1 50 rpm", 600, 650, 700, PI / 30},
    {LW_SPIN, "650+/-50 rpm", 600, 650, 700, PI / 30},
    {LW_SPIN, "700 to 700 rpm", 700, 700, 700, PI / 30},
    {LW_FRACTION, "at most 3 %", NAN, NAN, 3, 0.01},
    {LW_COMPRESSION, "at least 100 psi", 100, NAN, NAN, 6894.757293168},
    {LW_LENGTH, "1/8 to 3/16 in", 0.125, 0.15625, 0.1875, 0.0254},
    {LW_LENGTH, "1/4 in +/- 1/32 in", 0.21875, 0.25, 0.28125, 0.0254},
    {LW_LENGTH, "1 in +/- 1 mm", 24.4, 25.4, 26.4, 0.001},
    {LW_LENGTH, "10 mm to 1 in", 10, 17.7, 25.4, 0.001},
    {LW_TURNS, "1 1/2 to 2 1/2 turns", 1.5, 2, 2.5, 1},
    {LW_RATIO, "12.5 to 13.2", 12.5, 12.85, 13.2, 1},
    {LW_RATIO, "14.7 +/- 0.3", 14.4, 14.7, 15.0, 1},
    {LW_ANGLE, "5 deg ATDC to 5 deg BTDC", -5, 0, 5, PI / 180},
    {LW_ANGLE, "10 +/- 2 deg ATDC", -12, -10, -8, PI / 180},
    {LW_ANGLE, "5 to 10 deg ATDC", -10, -7.5, -5, PI / 180},
    {LW_ANGLE, "5 deg ATDC to 10 deg ATDC", -10, -7.5, -5, PI / 180},
    {LW_ANGLE, "at most 5 deg ATDC", -5, NAN, NAN, PI / 180},
    {LW_ANGLE, "at least 5 deg ATDC", NAN, NAN, -5, PI / 180},
    {LW_TEMPERATURE, "20 +/- 5 degC", 288.15, 293.15, 298.15, 1},
    {LW_TEMPERATURE, "68 +/- 9 degF", 288.15, 293.15, 298.15, 1},
};

static bool alike(double a, double b) {
  return (isnan(a) && isnan(b)) || fabs(a - b) <= 1e-9 * (1e-3 + fabs(b));
}

static void ranges_are_read_as_written(void **state) {
  (void)state;
  for (size_t i = 0; i < COUNT(ranges); i++) {
    lw_range r = {0, 0, 0};
    lw_error error = {0};
    if (lw_range_read(units, ranges[i].dim, ranges[i].text, &r, &error) != LW_OK) {
      fail_msg("'%s': %s", ranges[i].text, error.text);
    }
    double k = ranges[i].scale;
    if (!alike(r.lo, ranges[i].lo * k) || !alike(r.at, ranges[i].at * k) ||
        !alike(r.hi, ranges[i].hi * k)) {
      fail_msg("'%s' gave %g %g %g", ranges[i].text, r.lo / k, r.at / k, r.hi / k);
    }
  }
}

static const struct refused refused_ranges[] = {
    {LW_SPIN, "700 to 600 rpm", "the span runs backward"},
    {LW_SPIN, "700 rpm to 600 rpm", "the span runs backward"},
    {LW_LENGTH, "1 in to 10 mm", "the span runs backward"},
    {LW_ANGLE, "10 to 5 deg ATDC", "the span runs backward"},
    {LW_SPIN, "650 +/- -50 rpm", "write the tolerance as in"},
    {LW_SPIN, "650 +/- rpm", "is not a number"},
    {LW_SPIN, "650 +/- 50", "the unit is missing"},
    {LW_SPIN, "650 +/- 50 +/- 5 rpm", "write the tolerance as in"},
    {LW_SPIN, "600 to 650 to 700 rpm", "write a span as in"},
    {LW_SPIN, "600 to rpm", "is not a number"},
    {LW_SPIN, "to 600 rpm", "is not a number"},
    {LW_SPIN, "600 to 700", "the unit is missing"},
    {LW_SPIN, "600 psi to 700 rpm", "is not a unit"},
    {LW_SPIN, "600 rpm to 700 psi", "is not a unit"},
    {LW_SPIN, "at most", "is not a number"},
    {LW_SPIN, "at most ", "is not a number"},
    {LW_SPIN, "at most 700", "the unit is missing"},
    {LW_SPIN, "at most 600 to 700 rpm", "one value was expected"},
    {LW_SPIN, "at most at least 5 rpm", "is not a number"},
    {LW_SPIN, "600-700 rpm", "to"},
    {LW_LENGTH, "0.030-0.035 in", "to"},
    {LW_LENGTH, "1,2 to 1,4 mm", "write a point"},
    {LW_LENGTH, "1.2 to 1,4 mm", "write a point"},
    {LW_LENGTH, "1.2 +/- 0,1 mm", "write a point"},
    {LW_LENGTH, "1 2 to 3 4 mm", ""},
    {LW_LENGTH, "nan to 5 mm", "is not a number"},
    {LW_LENGTH, "5 mm to inf mm", "is not a number"},
    {LW_ENERGY_PER_MASS, "1e305 +/- 1e305 MJ/kg", ""},
    {LW_FRACTION, "< 3 %", "is not a number"},
    {LW_FRACTION, "3 % max", "is not a unit"},
    {LW_FRACTION, "", "is not a number"},
};

static void bad_ranges_are_refused_in_words(void **state) {
  (void)state;
  for (size_t i = 0; i < COUNT(refused_ranges); i++) {
    const struct refused *r = &refused_ranges[i];
    lw_range si = {1, 2, 3};
    lw_error error = {0};
    lw_status status = lw_range_read(units, r->dim, r->text, &si, &error);
    if (status != LW_BAD_INPUT)
      fail_msg("'%s' was taken as %g %g %g", r->text, si.lo, si.at, si.hi);
    if (si.lo != 1 || si.at != 2 || si.hi != 3) fail_msg("'%s' touched the output", r->text);
    HOLDS(error.text, r->says);
  }
}

/* ---- writing ---- */

static void quantities_are_written_as_people_read_them(void **state) {
  (void)state;
  char t[80];
  assert_string_equal(lw_quantity_text(t, sizeof t, LW_PRESSURE, LW_SHOP, 19.5 * 3386.38864, NAN),
                      "19.5 inHg");
  assert_string_equal(lw_quantity_text(t, sizeof t, LW_PRESSURE, LW_METRIC, 66034.6, NAN),
                      "66.0 kPa");
  assert_string_equal(lw_quantity_text_both(t, sizeof t, LW_PRESSURE, 19.5 * 3386.38864),
                      "19.5 inHg (66.0 kPa)");
  assert_string_equal(lw_quantity_text_both(t, sizeof t, LW_SPIN, 650 * PI / 30), "650 rpm");
  assert_string_equal(lw_quantity_text_both(t, sizeof t, LW_SPIN, NAN), "not known");
  assert_string_equal(lw_quantity_text(t, sizeof t, LW_TEMPERATURE, LW_SHOP, 355.372222, NAN),
                      "180 degF");
  assert_string_equal(lw_quantity_text(t, sizeof t, LW_TEMPERATURE, LW_METRIC, 355.15, NAN),
                      "82 degC");
  assert_string_equal(lw_quantity_text(t, sizeof t, LW_FRACTION, LW_SHOP, 0.0123, 0.02), "1.2 %");
  assert_string_equal(lw_quantity_text(t, sizeof t, LW_RATIO, LW_SHOP, 9.2, NAN), "9.20");
  assert_string_equal(
      lw_range_text(t, sizeof t, LW_SPIN, LW_SHOP, (lw_range){600 * PI / 30, NAN, 700 * PI / 30}),
      "600 to 700 rpm");
  assert_string_equal(lw_range_text(t, sizeof t, LW_FRACTION, LW_SHOP, (lw_range){NAN, NAN, 0.015}),
                      "at most 1.50 %");
  assert_string_equal(
      lw_range_text(t, sizeof t, LW_COMPRESSION, LW_SHOP, (lw_range){689475.7, NAN, NAN}),
      "at least 100 psi");
  assert_string_equal(lw_range_text(t, sizeof t, LW_TURNS, LW_SHOP, (lw_range){1.5, 2, 2.5}),
                      "1 1/2 to 2 1/2 turns");
  assert_string_equal(lw_range_text(t, sizeof t, LW_SPIN, LW_SHOP, lw_range_none), "not known");
}

static void a_number_is_never_cut_into_another_number(void **state) {
  (void)state;
  static const double huge[] = {1e20, 1e60, 1e308, -1e200};
  for (size_t i = 0; i < COUNT(huge); i++) {
    char text[64];
    lw_quantity_text(text, sizeof text, LW_LENGTH, LW_METRIC, huge[i], NAN);
    double back = strtod(text, NULL) / 1000;
    if (isfinite(back) && fabs(back / huge[i] - 1) > 0.01)
      fail_msg("%g is written as %s", huge[i], text);
    HOLDS(text, " mm");
  }
}

static void turns_are_eighths_when_near(void **state) {
  (void)state;
  static const struct {
    double turns;
    const char *text;
  } rows[] = {
      {2.5, "2 1/2 turns"},   {0.25, "1/4 turn"},      {1, "1 turn"},          {0, "0 turns"},
      {1.125, "1 1/8 turns"}, {-0.5, "-1/2 turn"},     {-2, "-2 turns"},       {0.3, "0.30 turns"},
      {0.99, "1 turn"},       {-0.01, "0 turns"},      {7.875, "7 7/8 turns"}, {0.07, "1/16 turn"},
      {0.09, "0.09 turns"},   {-1.75, "-1 3/4 turns"}, {20, "20 turns"},       {NAN, "not known"}};
  for (size_t i = 0; i < COUNT(rows); i++) {
    char text[40];
    assert_string_equal(lw_turns_text(text, sizeof text, rows[i].turns), rows[i].text);
  }
}

static void turns_read_back_what_was_written(void **state) {
  (void)state;
  for (int n = 0; n <= 160; n++) {
    char text[40];
    double back = NAN;
    lw_error error = {0};
    lw_turns_text(text, sizeof text, n / 8.0);
    assert_int_equal(lw_quantity_read(units, LW_TURNS, text, &back, &error), LW_OK);
    NEAR(back, n / 8.0, 0);
  }
}

/* More units than the memory of asked ones holds: the answers must stay right. */
static void many_units_do_not_spoil_each_other(void **state) {
  (void)state;
  for (int round = 0; round < 2; round++) {
    for (int n = 0; n < 100; n++) {
      char text[60];
      double si = NAN;
      lw_error error = {0};
      snprintf(text, sizeof text, "7%*s mm%*s", n % 10, "", n / 10, "");
      assert_int_equal(lw_quantity_read(units, LW_LENGTH, text, &si, &error), LW_OK);
      close_to(si, 0.007, text);
    }
    for (size_t i = 0; i < COUNT(definitions); i++) {
      double scale = NAN, offset = NAN;
      lw_error error = {0};
      char padded[48];
      snprintf(padded, sizeof padded, "%s%s", definitions[i].unit, round ? " " : "");
      assert_int_equal(lw_units_scale(units, definitions[i].dim, padded, &scale, &offset, &error),
                       LW_OK);
      close_to(scale, definitions[i].scale, definitions[i].unit);
    }
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_unit_an_error_names_is_accepted_and_has_its_size),
      cmocka_unit_test(what_is_shown_reads_back_the_same),
      cmocka_unit_test(the_unit_inside_is_one),
      cmocka_unit_test(quantities_are_read_as_written),
      cmocka_unit_test(bad_quantities_are_refused_in_words),
      cmocka_unit_test(long_texts_are_refused_and_cut_in_the_message),
      cmocka_unit_test(an_error_may_be_left_out),
      cmocka_unit_test(numbers_stand_alone),
      cmocka_unit_test(ranges_are_read_as_written),
      cmocka_unit_test(bad_ranges_are_refused_in_words),
      cmocka_unit_test(quantities_are_written_as_people_read_them),
      cmocka_unit_test(a_number_is_never_cut_into_another_number),
      cmocka_unit_test(turns_are_eighths_when_near),
      cmocka_unit_test(turns_read_back_what_was_written),
      cmocka_unit_test(many_units_do_not_spoil_each_other),
  };
  return cmocka_run_group_tests(tests, open_units, close_units);
}
