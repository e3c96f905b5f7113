/* test_flow.c - the flow laws against printed tables and measured coefficients. */
#include "check.h"

#include "leanward/flow.h"
#include "leanward/medium.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define DEG      0.017453292519943295

static const lw_fluids air = {745, 0.55e-3, 287.05, 1.4, 1.8e-5, 288.15};

/* ---- isentropic air ---- */

static const struct {
  double mach, p, rho, t, area;
  const char *source;
} isentropic[] = {
    {0.05, 0.9983, 0.9988, 0.9995, 11.5914, "isentropic tables, k = 1.4 (as NACA Report 1135)"},
    {0.10, 0.9930, 0.9950, 0.9980, 5.8218, "isentropic tables, k = 1.4 (as NACA Report 1135)"},
    {0.15, 0.9844, 0.9888, 0.9955, 3.9103, "isentropic tables, k = 1.4 (as NACA Report 1135)"},
    {0.50, 0.8430, 0.8852, 0.9524, 1.3398, "isentropic tables, k = 1.4 (as NACA Report 1135)"},
    {0.60, 0.7840, 0.8405, 0.9328, 1.1882, "isentropic tables, k = 1.4 (as NACA Report 1135)"},
    {0.82, 0.6430, 0.7295, 0.8815, 1.0305, "isentropic tables, k = 1.4 (as NACA Report 1135)"},
    {0.90, 0.5913, 0.6870, 0.8606, 1.0089, "isentropic tables, k = 1.4 (as NACA Report 1135)"},
    {1.00, 0.5283, 0.6339, 0.8333, 1.0000, "Aeronautical Engineer's Data Book, app. 4"},
};

/* Half a unit of the last digit. */
static void venturi_follows_the_isentropic_tables(void **state) {
  (void)state;
  const double half = 5e-5;
  double choked = lw_venturi_flow(1, &air, 1e5, 1).m;
  for (size_t i = 0; i < COUNT(isentropic); i++) {
    lw_venturi v = lw_venturi_flow(1, &air, 1e5, isentropic[i].mach);
    double share = v.throat / 1e5;
    PUBLISHED(share, isentropic[i].p, half, isentropic[i].source);
    PUBLISHED(pow(share, 1 / 1.4), isentropic[i].rho, half, isentropic[i].source);
    PUBLISHED(pow(share, 0.4 / 1.4), isentropic[i].t, half, isentropic[i].source);
    PUBLISHED(choked / v.m, isentropic[i].area, half, isentropic[i].source);
  }
}

static void critical_ratios(void **state) {
  (void)state;
  PUBLISHED(lw_critical_ratio(1.4), 0.528, 5e-4, "orifice maker's choked-flow tutorial, k = 1.4");
  NEAR(lw_critical_ratio(1.4), 0.528282, 5e-7);
  NEAR(lw_critical_ratio(1.35), 0.536851, 5e-7);
  NEAR(lw_critical_ratio(1.3), 0.545728, 5e-7);
}

static void choked_mass_flow(void **state) {
  (void)state;
  double m = lw_gas_flow(1e-6, &air, 2e5, 0.2e5).m;
  double si = m * sqrt(air.temperature) / (2e5 * 1e-6);
  NEAR(si, 0.0404149, 5e-8);
  /* kg/s sqrt(K)/N to lbm/s sqrt(R)/lbf: x 1/0.45359237 x sqrt(1.8) x 4.4482216 */
  PUBLISHED(si / 0.45359237 * sqrt(1.8) * 4.4482216, 0.532, 5e-4, "Fliegner's formula: 0.532");
}

/* m sqrt(R T0)/(p0 A) */
static void flow_function(void **state) {
  (void)state;
  static const double rows[][2] = {{0.99, 0.14066}, {0.98, 0.19785}, {0.95, 0.30764},
                                   {0.90, 0.42258}, {0.85, 0.50180}, {0.80, 0.56066},
                                   {0.70, 0.63832}, {0.60, 0.67692}, {0.50, 0.68473}};
  double root = sqrt(air.air_r * air.temperature);
  for (size_t i = 0; i < COUNT(rows); i++) {
    double m = lw_gas_flow(1e-6, &air, 101325, rows[i][0] * 101325).m;
    PUBLISHED(m * root / (101325 * 1e-6), rows[i][1], 1e-5,
              "Heywood 1988, eqs. 7.19 and 7.20 (form; own arithmetic)");
  }
}

/* Inlet density in Bernoulli's law against the isentropic one: what the simple formula overstates.
   The simple one is the mixture law filled with a "liquid" of the air's density. */
static void incompressible_overstates_by_known_factors(void **state) {
  (void)state;
  static const double rows[][2] = {
      {0.99, 1.00540}, {0.95, 1.02791}, {0.90, 1.05829}, {0.85, 1.09152}, {0.80, 1.12805}};
  lw_fluids light = air;
  light.fuel_density = 101325 / (air.air_r * air.temperature);
  light.fuel_viscosity = 1e-9;
  lw_orifice hole = {1, 1, 2};
  for (size_t i = 0; i < COUNT(rows); i++) {
    double slope = 0, p2 = rows[i][0] * 101325;
    double re = sqrt(2 * light.fuel_density * (101325 - p2)) / light.fuel_viscosity;
    double cd = lw_orifice_cd(re, 2, &slope);
    double simple = lw_mix_orifice(&hole, &light, 101325, 1, p2).m / cd;
    NEAR(simple / lw_gas_flow(1, &air, 101325, p2).m, rows[i][1], 1e-5);
  }
}

/* ---- throttle plate ---- */

static void throttle_area(void **state) {
  (void)state;
  const char *source = "geometry of an elliptic plate, integrated numerically (own arithmetic)";
  static const double at10[] = {11, 12, 15, 20, 30, 45, 60, 75, 80};
  static const struct {
    double shaft, share[9], most;
  } rows[] = {
      {0, {0.00323, 0.00676, 0.01917, 0.04581, 0.12061, 0.28198, 0.49229, 0.73719, 0.82367}, 1},
      {0.1,
       {0.00323, 0.00676, 0.01916, 0.04579, 0.12055, 0.28178, 0.49167, 0.73426, 0.81669},
       0.87289},
      {0.2,
       {0.00322, 0.00674, 0.01911, 0.04564, 0.12011, 0.28036, 0.48725, 0.71155, 0.74706},
       0.74706},
  };
  double slope = 0;
  for (size_t i = 0; i < COUNT(rows); i++) {
    for (size_t k = 0; k < COUNT(at10); k++)
      PUBLISHED(lw_throttle_share(at10[k] * DEG, 10 * DEG, rows[i].shaft, &slope), rows[i].share[k],
                1e-5, source);
    PUBLISHED(lw_throttle_share(90 * DEG, 10 * DEG, rows[i].shaft, &slope), rows[i].most, 1e-5,
              "pi D^2/4 less the shaft's strip: as Heywood 1988, 7.6 (from memory)");
  }
  static const double at5[][2] = {{6, 0.00167},  {7, 0.00365},  {10, 0.01139}, {20, 0.05650},
                                  {30, 0.13011}, {45, 0.28849}, {60, 0.49289}, {75, 0.71383}};
  for (size_t k = 0; k < COUNT(at5); k++)
    PUBLISHED(lw_throttle_share(at5[k][0] * DEG, 5 * DEG, 0.2, &slope), at5[k][1], 1e-5, source);
}

/* The same by counting: the part of the bore's cross-section that the plate's outline and the
   shaft's shadow leave free, in strips across the shaft. */
static void throttle_area_by_counting(void **state) {
  (void)state;
  const double a = 0.15, closed = 8 * DEG;
  for (double angle = 9; angle < 90; angle += 7) {
    double k = cos(angle * DEG) / cos(closed), covered = 0, slope = 0;
    enum { STRIPS = 20000 };
    for (int i = 0; i < STRIPS; i++) { /* x along the shaft; bore of radius 1 */
      double x = -1 + (i + 0.5) * 2 / STRIPS, chord = sqrt(1 - x * x);
      covered += 2 * fmin(fmax(k * chord, fmin(a, chord)), chord) * 2 / STRIPS;
    }
    NEAR(lw_throttle_share(angle * DEG, closed, a, &slope), 1 - covered / 3.14159265358979, 2e-6);
  }
}

/* ---- discharge coefficients ---- */

static void long_orifice_correlation(void **state) {
  (void)state;
  const char *source =
      "Lichtarowicz, Duggins and Markland, J. Mech. Eng. Sci. 7 (1965) 210: formula";
  static const double rows[][4] = {
      {2e4, 2, 0.8088166, 5e-8}, {100, 2, 0.4284155, 5e-8}, {10, 2, 0.0817, 5e-5},
      {50, 2, 0.2912, 5e-5},     {500, 2, 0.6879, 5e-5},    {1000, 2, 0.7446, 5e-5},
      {2000, 2, 0.7774, 5e-5},   {5000, 2, 0.8015, 5e-5},   {1e4, 2, 0.8081, 5e-5},
      {500, 5, 0.5674, 5e-5},    {1000, 5, 0.6598, 5e-5},   {5000, 5, 0.7685, 5e-5},
      {2e4, 5, 0.7826, 5e-5},
  };
  double slope = 0;
  for (size_t i = 0; i < COUNT(rows); i++)
    PUBLISHED(lw_orifice_cd(rows[i][0], rows[i][1], &slope), rows[i][2], rows[i][3], source);
  static const double ends[][2] = {{2, 0.810}, {4, 0.793}, {10, 0.742}};
  for (size_t i = 0; i < COUNT(ends); i++)
    PUBLISHED(lw_orifice_cd(1e12, ends[i][0], &slope), ends[i][1], 5e-4, source);
}

/* A mouthpiece of L = 2.5 d gave 0.82 by test (+-0.005 as printed); the correlation stands at 0.806
   there. Its authors' scatter is about 1.5 %, 0.012: together 0.017. Thin plates (0.60 to 0.62) are
   not these passages: the law holds the length to 2 diameters and up. */
static void measured_coefficients(void **state) {
  (void)state;
  double slope = 0;
  PUBLISHED(
      lw_orifice_cd(1e6, 2.5, &slope), 0.82, 0.005 + 0.012,
      "Encyclopaedia Britannica 11th ed., Hydraulics (Unwin): cylindrical mouthpiece by test");
  for (double l = 2; l <= 10; l += 1) { /* middle and half width of 0.62 to 0.88 */
    PUBLISHED(lw_orifice_cd(3e4, l, &slope), 0.75, 0.13,
              "Joachim, NACA Report 224 (1926): small round orifices, Cd 0.62 to 0.88");
  }
  PUBLISHED(lw_orifice_cd(1e6, 0.1, &slope), 0.810, 5e-4,
            "thin plates are taken for 2 diameters: Lichtarowicz et al. 1965 at L/d 2");
}

/* ---- air ---- */

static void viscosity_of_air(void **state) {
  (void)state;
  PUBLISHED(lw_fluids_at(288.15, 745).air_viscosity, 1.7894e-5, 5e-10,
            "U.S. Standard Atmosphere 1976, table III, p. 101");
}

static void density_of_the_standard_atmosphere(void **state) {
  (void)state;
  static const struct {
    double z, rho, half;
  } rows[] = {{0, 1.2250, 5e-5},     {500, 1.1673, 5e-5},  {1000, 1.1117, 5e-5},
              {1500, 1.0581, 5e-5},  {2000, 1.0066, 6e-5}, {3000, 0.90925, 5e-6},
              {4500, 0.77704, 5e-6}, {5000, 0.73643, 5e-6}};
  lw_fluids f = lw_fluids_at(288.15, 745);
  for (size_t i = 0; i < COUNT(rows); i++) {
    double rho = lw_standard_pressure(rows[i].z) / (f.air_r * lw_standard_temperature(rows[i].z));
    PUBLISHED(rho, rows[i].rho, rows[i].half + 1e-5 * rows[i].rho,
              "U.S. Standard Atmosphere 1976, table I; R = 287.055 is 7e-6 off 287.053");
  }
}

/* A carburetor meters fuel by volume flow squared times density: the mixture leans by the root of
   the density ratio. Air by the gas law at one small pressure ratio, fuel unchanged. */
static void enrichment_with_altitude(void **state) {
  (void)state;
  static const double rows[][2] = {{500, 0.97615},  {1000, 0.95262}, {1500, 0.92939},
                                   {2000, 0.90646}, {3000, 0.86154}, {5000, 0.77535}};
  lw_fluids sea = lw_fluids_at(288.15, 745);
  double dp = 0.5; /* Pa: so small that air is as good as incompressible */
  lw_orifice hole = {1, 1, 2};
  sea.fuel_viscosity = 1e-9;
  sea.fuel_density = lw_standard_pressure(0) / (sea.air_r * 288.15);
  double m0 = lw_mix_orifice(&hole, &sea, 101325, 1, 101325 - dp).m;
  for (size_t i = 0; i < COUNT(rows); i++) {
    lw_fluids high = sea;
    double p = lw_standard_pressure(rows[i][0]);
    high.fuel_density = p / (sea.air_r * lw_standard_temperature(rows[i][0]));
    PUBLISHED(lw_mix_orifice(&hole, &high, p, 1, p - dp).m / m0, rows[i][1], 1e-5,
              "square root of the standard atmosphere's density ratio (own arithmetic)");
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(venturi_follows_the_isentropic_tables),
      cmocka_unit_test(critical_ratios),
      cmocka_unit_test(choked_mass_flow),
      cmocka_unit_test(flow_function),
      cmocka_unit_test(incompressible_overstates_by_known_factors),
      cmocka_unit_test(throttle_area),
      cmocka_unit_test(throttle_area_by_counting),
      cmocka_unit_test(long_orifice_correlation),
      cmocka_unit_test(measured_coefficients),
      cmocka_unit_test(viscosity_of_air),
      cmocka_unit_test(density_of_the_standard_atmosphere),
      cmocka_unit_test(enrichment_with_altitude),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
