/* test_flow.c - the laws of passages: every derivative held to differences, every joint to
** continuity and monotonicity, every limit to its own law.
**
** Differences are central and of fourth order. Their own error is a few parts in 1e7 of the slope:
** truncation (step about a fiftieth of the length over which the law bends) and rounding (1e-16 of
** a pressure over the difference of pressures). They are held to `close`.
*/
#include "check.h"

#include "leanward/flow.h"

#include <float.h>

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define PI       3.14159265358979323846

static const double close = 1e-6;
static const double fuel_15 = 745;
static const double pressures[] = {60e3, 80e3, 101325, 105e3};
static const double temperatures[] = {250, 273.15, 293.15, 330};
static const double ratios[] = {0.02,  0.1,    0.3,    0.5,     0.525,   0.53,    0.54,
                                0.6,   0.7,    0.8,    0.9,     0.97,    0.99,    0.997,
                                0.999, 0.9997, 0.9999, 0.99997, 0.99999, 0.999999};

/* ---- differences ---- */

enum { MOST = 3 };

/* A law of up to three variables: its value, and its own slopes when not NULL. */
typedef double law(const void *what, const double *v, double *slopes);

static double at(law *f, const void *what, const double *v, int i, double step) {
  double moved[MOST];
  memcpy(moved, v, sizeof moved);
  moved[i] += step;
  return f(what, moved, NULL);
}

static double central(law *f, const void *what, const double *v, int i, double h) {
  return (8 * (at(f, what, v, i, h) - at(f, what, v, i, -h)) -
          (at(f, what, v, i, 2 * h) - at(f, what, v, i, -2 * h))) /
         (12 * h);
}

/* To one side only; h < 0: downward. */
static double sided(law *f, const void *what, const double *v, int i, double h) {
  return (-25 * at(f, what, v, i, 0) + 48 * at(f, what, v, i, h) - 36 * at(f, what, v, i, 2 * h) +
          16 * at(f, what, v, i, 3 * h) - 3 * at(f, what, v, i, 4 * h)) /
         (12 * h);
}

/* The worst error of a law's slope, over the larger of the slope and `scale`. */
static void agree(double got, double want, double scale, double *worst, const char *what,
                  const double *v) {
  double error = fabs(got - want) / fmax(fabs(want), scale);
  if (error <= close) {
    *worst = fmax(*worst, error);
    return;
  }
  fail_msg("%s at %.9g, %.9g, %.9g: slope %.9g, by differences %.9g", what, v[0], v[1], v[2], got,
           want);
}

/* The same numbers on every machine. */
static double chance(uint64_t *seed) {
  *seed = *seed * 6364136223846793005u + 1442695040888963407u;
  return (double)(*seed >> 11) / 9007199254740992.0;
}

/* ---- gas ---- */

typedef struct gas {
  double cd_area;
  lw_fluids fluids;
} gas;

static double gas_law(const void *what, const double *v, double *slopes) {
  const gas *g = what;
  lw_flow flow = lw_gas_flow(g->cd_area, &g->fluids, v[0], v[1]);
  if (slopes) {
    slopes[0] = flow.d_p1;
    slopes[1] = flow.d_p2;
  }
  return flow.m;
}

/* Both slopes at p1, p2; false where the step would reach over the choking point. */
static bool gas_slopes(const gas *g, double p1, double p2, double *worst) {
  double v[MOST] = {p1, p2}, own[MOST], high = fmax(p1, p2), low = fmin(p1, p2);
  double h = fmin(0.02 * (high - low), 1e-3 * low);
  double critical = lw_critical_ratio(g->fluids.air_gamma);
  if (fabs(low - critical * high) < 4 * h) return false;
  double m = gas_law(g, v, own);
  for (int i = 0; i < 2; i++)
    agree(own[i], central(gas_law, g, v, i, h), fabs(m) / high, worst, "gas", v);
  return true;
}

static void gas_slopes_equal_differences(void **state) {
  (void)state;
  double worst = 0;
  int done = 0;
  for (size_t t = 0; t < COUNT(temperatures); t++) {
    gas g = {3e-6, lw_fluids_at(temperatures[t], fuel_15)};
    for (size_t p = 0; p < COUNT(pressures); p++) {
      for (size_t r = 0; r < COUNT(ratios); r++) {
        done += gas_slopes(&g, pressures[p], ratios[r] * pressures[p], &worst);
        done += gas_slopes(&g, ratios[r] * pressures[p], pressures[p], &worst);
      }
    }
  }
  uint64_t seed = 1;
  for (int i = 0; i < 20000; i++) {
    gas g = {1e-6, lw_fluids_at(250 + 80 * chance(&seed), fuel_15)};
    double high = 60e3 + 45e3 * chance(&seed);
    double share = pow(10, -6 + 6 * chance(&seed)); /* of the pressure: 0.06 Pa to all of it */
    double low = fmax(high * (1 - share), 0.02 * high);
    done +=
        chance(&seed) < 0.5 ? gas_slopes(&g, high, low, &worst) : gas_slopes(&g, low, high, &worst);
  }
  assert_true(done > 20000);
  print_message("gas: %d points, worst slope off by %.1e\n", done, worst);
}

/* The square root gives way to a straight line: the slope at zero is that of the line, from both
   sides. The law bends there, so a step of 1e-4 Pa is off by some 1e-5 (step over 4 x 5 Pa). */
static void gas_is_straight_through_zero(void **state) {
  (void)state;
  for (size_t p = 0; p < COUNT(pressures); p++) {
    gas g = {3e-6, lw_fluids_at(293.15, fuel_15)};
    double v[MOST] = {pressures[p], pressures[p]}, own[MOST];
    assert_true(gas_law(&g, v, own) == 0);
    assert_true(own[0] > 0);
    NEAR(own[1], -own[0], 1e-12 * own[0]);
    for (int i = 0; i < 2; i++) {
      double h = 1e-4, there = (at(gas_law, &g, v, i, h) - at(gas_law, &g, v, i, -h)) / (2 * h);
      NEAR(own[i], there, 2e-5 * own[0]);
    }
    for (double x = 1e-7; x < 1e-3; x *= 3) { /* over the change from one formula to the other */
      double off[MOST] = {pressures[p] + x, pressures[p]}, near_zero[MOST];
      gas_law(&g, off, near_zero);
      NEAR(near_zero[0], own[0], 1e-4 * own[0]);
      NEAR(near_zero[1], own[1], 1e-4 * own[0]);
    }
  }
}

/* Value and slope pass the choking point without a jump: just above and just below they differ by
   what the law bends there, which is of the order of the step. */
static void gas_keeps_value_and_slope_where_it_chokes(void **state) {
  (void)state;
  gas g = {3e-6, lw_fluids_at(293.15, fuel_15)};
  double critical = lw_critical_ratio(1.4);
  for (size_t p = 0; p < COUNT(pressures); p++) {
    const double step = 1e-6;
    double over[MOST] = {pressures[p], pressures[p] * critical * (1 + step)}, a[MOST];
    double under[MOST] = {pressures[p], pressures[p] * critical * (1 - step)}, b[MOST];
    double m1 = gas_law(&g, over, a), m2 = gas_law(&g, under, b), per_pa = m2 / pressures[p];
    assert_true(b[1] == 0); /* choked: what is behind does not matter */
    NEAR(m1, m2, 10 * step * step * m2);
    NEAR(a[0], b[0], 10 * step * per_pa);
    NEAR(a[1], b[1], 10 * step * per_pa);
  }
}

static void gas_flow_turns_with_the_pressures(void **state) {
  (void)state;
  lw_fluids f = lw_fluids_at(293.15, fuel_15);
  uint64_t seed = 2;
  for (int i = 0; i < 2000; i++) {
    double a = 2e3 + 103e3 * chance(&seed), b = 2e3 + 103e3 * chance(&seed);
    lw_flow there = lw_gas_flow(2e-6, &f, a, b), back = lw_gas_flow(2e-6, &f, b, a);
    /* the two ways may be compiled apart: rounding only */
    NEAR(there.m, -back.m, 1e-15 * fabs(there.m));
    NEAR(there.d_p1, -back.d_p2, 1e-13 * fabs(there.d_p1) + 1e-20);
    NEAR(there.d_p2, -back.d_p1, 1e-13 * fabs(there.d_p2) + 1e-20);
  }
}

/* More in front never lessens the flow, more behind never adds to it. */
static void gas_flow_is_monotone(void **state) {
  (void)state;
  lw_fluids f = lw_fluids_at(293.15, fuel_15);
  double before = INFINITY, p = 101325;
  for (int i = 1; i <= 200000; i++) { /* from 0.5 to 105 kPa behind */
    double m = lw_gas_flow(1e-6, &f, p, 500 + 0.5225 * i).m;
    assert_true(m <= before + 1e-14 * 1e-3);
    before = m;
  }
  before = -INFINITY;
  for (int i = 1; i <= 200000; i++) {
    double m = lw_gas_flow(1e-6, &f, 500 + 0.5225 * i, 80e3).m;
    assert_true(m >= before);
    before = m;
  }
}

/* ---- mixture ---- */

typedef struct mixture {
  lw_orifice orifice;
  lw_fluids fluids;
} mixture;

static double mix_law(const void *what, const double *v, double *slopes) {
  const mixture *m = what;
  lw_mix_flow flow = lw_mix_orifice(&m->orifice, &m->fluids, v[0], v[1], v[2]);
  if (slopes) {
    slopes[0] = flow.d_p1;
    slopes[1] = flow.d_y;
    slopes[2] = flow.d_p2;
  }
  return flow.m;
}

static bool mix_choked(const mixture *m, const double *v, int i, double step) {
  double moved[MOST];
  memcpy(moved, v, sizeof moved);
  moved[i] += step;
  return lw_mix_orifice(&m->orifice, &m->fluids, moved[0], moved[1], moved[2]).choked;
}

/* All three slopes; 0 where a step would reach over the choking point. Near pure fuel the volume of
   little gas outweighs that of the fuel, so that the law bends within p/(rho R T) of 1 (choked: as
   1 - y does); near pure air little fuel outweighs the air's viscosity, so that it bends within
   0.03 of 0. */
static int mix_slopes(const mixture *m, double p1, double y, double p2, double *worst) {
  double v[MOST] = {p1, y, p2}, own[MOST], x = p1 - p2;
  double volume = m->fluids.fuel_density * m->fluids.air_r * m->fluids.temperature;
  double hp = fmin(0.02 * x, 2e-3 * p2);
  double dry = 1 - y + (mix_choked(m, v, 0, 0) ? 0 : p2 / volume);
  double hy = 0.01 * fmin(y + 0.03, dry);
  double flow = mix_law(m, v, own);
  const double step[MOST] = {hp, hy, hp}, scale[MOST] = {flow / p1, flow, flow / p1};
  assert_true(flow > 0);
  for (int i = 0; i < MOST; i++) {
    bool low = i == 1 && y < 2 * hy, high = i == 1 && y > 1 - 2 * hy;
    double h = step[i], there = mix_choked(m, v, i, low ? 0 : high ? -4 * h : -2 * h);
    if (there != mix_choked(m, v, i, high ? 0 : low ? 4 * h : 2 * h)) return 0;
    double by = low    ? sided(mix_law, m, v, i, 0.1 * h)
                : high ? sided(mix_law, m, v, i, -0.1 * h)
                       : central(mix_law, m, v, i, h);
    agree(own[i], by, scale[i], worst, i == 1 ? "mixture by fuel" : "mixture by pressure", v);
  }
  return 1;
}

static const double fractions[] = {0,    1e-3, 0.01,  0.1,   0.3,    0.5,    0.7,     0.9,
                                   0.97, 0.99, 0.997, 0.999, 0.9997, 0.9999, 0.99999, 1};

static void mixture_slopes_equal_differences(void **state) {
  (void)state;
  double worst = 0;
  int done = 0;
  for (size_t t = 0; t < COUNT(temperatures); t++) {
    mixture m = {{2e-6, 1.6e-3, 3}, lw_fluids_at(temperatures[t], fuel_15)};
    for (size_t p = 0; p < COUNT(pressures); p++) {
      for (size_t r = 0; r < COUNT(ratios); r++) {
        for (size_t y = 0; y < COUNT(fractions); y++)
          done += mix_slopes(&m, pressures[p], fractions[y], ratios[r] * pressures[p], &worst);
      }
    }
  }
  uint64_t seed = 3;
  for (int i = 0; i < 20000; i++) {
    double d = 0.3e-3 + 3e-3 * chance(&seed);
    mixture m = {{PI / 4 * d * d, d, 2 + 8 * chance(&seed)},
                 lw_fluids_at(250 + 80 * chance(&seed), fuel_15)};
    double p1 = 60e3 + 45e3 * chance(&seed), share = pow(10, -6 + 6 * chance(&seed));
    double y = chance(&seed) < 0.5 ? chance(&seed) : 1 - pow(10, -6 * chance(&seed));
    done += mix_slopes(&m, p1, y, fmax(p1 * (1 - share), 0.02 * p1), &worst);
  }
  assert_true(done > 20000);
  print_message("mixture: %d points, worst slope off by %.1e\n", done, worst);
}

/* The pressure behind at which a mixture begins to choke, by bisection on the law's own word. */
static double choking(const mixture *m, double p1, double y) {
  double lo = 0, hi = p1;
  for (int i = 0; i < 200 && hi - lo > 1e-12 * p1; i++) {
    double p = 0.5 * (lo + hi);
    *(lw_mix_orifice(&m->orifice, &m->fluids, p1, y, p).choked ? &lo : &hi) = p;
  }
  return 0.5 * (lo + hi);
}

static void mixture_keeps_value_and_slope_where_it_chokes(void **state) {
  (void)state;
  mixture m = {{2e-6, 1.6e-3, 3}, lw_fluids_at(293.15, fuel_15)};
  for (size_t y = 0; y + 1 < COUNT(fractions); y++) {
    double p1 = 101325, p = choking(&m, p1, fractions[y]), a[MOST], b[MOST], most = 0;
    const double step = 1e-6;
    double over[MOST] = {p1, fractions[y], p * (1 + step)};
    double under[MOST] = {p1, fractions[y], p * (1 - step)};
    double m1 = mix_law(&m, over, a), m2 = mix_law(&m, under, b);
    assert_true(b[2] == 0);
    NEAR(m1, m2, 1e-9 * m2);
    /* the flow bends there as m/p^2 times some tens, more the less gas there is to choke */
    double bend = 1e3 * step * m2 / p;
    NEAR(a[0], b[0], bend);
    NEAR(a[2], b[2], bend);
    NEAR(a[1], b[1], 1e3 * step * fmax(m2, fabs(b[1])));
    for (int i = 1; i < 2000; i++) { /* the choked flow is the most of all */
      double v[MOST] = {p1, fractions[y], p1 * i / 2000};
      most = fmax(most, mix_law(&m, v, NULL));
    }
    assert_true(most <= m2 * (1 + 1e-12));
  }
}

static void mixture_flow_is_monotone(void **state) {
  (void)state;
  mixture m = {{2e-6, 1.6e-3, 3}, lw_fluids_at(293.15, fuel_15)};
  for (size_t y = 0; y < COUNT(fractions); y++) {
    double by_p1 = 0, by_p2 = INFINITY;
    for (int i = 1; i < 20000; i++) {
      double up[MOST] = {60e3 + 2 * i, fractions[y], 60e3};
      double down[MOST] = {101325, fractions[y], 5 * i};
      double m1 = mix_law(&m, up, NULL), m2 = mix_law(&m, down, NULL);
      assert_true(m1 > by_p1);
      assert_true(m2 <= by_p2 * (1 + 1e-13));
      by_p1 = m1;
      by_p2 = m2;
    }
  }
}

/* Fuel is heavier than the air it displaces: with more of it more flows, while Cd is level. At
   small Reynolds numbers its viscosity can outweigh that: by 2 % at a difference of 1.3 kPa through
   this bleed, between air and 13 % of fuel. */
static void more_fuel_is_more_flow_but_for_its_viscosity(void **state) {
  (void)state;
  mixture m = {{2e-6, 1.6e-3, 3}, lw_fluids_at(293.15, fuel_15)};
  const double ps[] = {90e3, 75e3, 60e3, 30e3};
  for (size_t k = 0; k < COUNT(ps); k++) {
    double before = 0;
    for (int i = 0; i <= 10000; i++) {
      double v[MOST] = {101325, i / 1e4, ps[k]}, now = mix_law(&m, v, NULL);
      assert_true(now > before);
      before = now;
    }
  }
  double v[MOST] = {101325, 0, 100e3}, air = mix_law(&m, v, NULL), least = air;
  for (int i = 0; i <= 10000; i++) {
    v[1] = i / 1e4;
    least = fmin(least, mix_law(&m, v, NULL));
  }
  assert_true(least > 0.97 * air);
  assert_true(mix_law(&m, v, NULL) > 10 * air);
}

/* y = 1: Cd A sqrt(2 rho dp), Cd by the Reynolds number of the ideal velocity. */
static void pure_fuel_is_the_liquid_law(void **state) {
  (void)state;
  for (size_t t = 0; t < COUNT(temperatures); t++) {
    lw_fluids f = lw_fluids_at(temperatures[t], fuel_15);
    lw_orifice o = {2e-6, 1.6e-3, 3};
    for (double dp = 1e-3; dp < 60e3; dp *= 1.7) {
      double slope = 0, speed = sqrt(2 * dp / f.fuel_density);
      double re = f.fuel_density * speed * o.diameter / f.fuel_viscosity;
      double want = lw_orifice_cd(re, o.length, &slope) * o.area * sqrt(2 * f.fuel_density * dp);
      lw_mix_flow got = lw_mix_orifice(&o, &f, 101325, 1, 101325 - dp);
      NEAR(got.m, want, (1e-12 + 3e-11 / dp) * want); /* dp itself is rounded to 1.5e-11 Pa */
      assert_false(got.choked);
    }
  }
}

/* The isothermal flow of gas over area, kg/(m2 s), choked at p1/sqrt(e). */
static double isothermal(const lw_fluids *f, double p1, double p2) {
  double q = fmax(p2, p1 * exp(-0.5)), rt = f->air_r * f->temperature;
  return q / rt * sqrt(2 * rt * log(p1 / q));
}

static void pure_gas_is_the_isothermal_law(void **state) {
  (void)state;
  for (size_t t = 0; t < COUNT(temperatures); t++) {
    lw_fluids f = lw_fluids_at(temperatures[t], fuel_15);
    lw_orifice o = {2e-6, 1.6e-3, 2.5};
    for (size_t r = 0; r < COUNT(ratios); r++) {
      double slope = 0, p2 = ratios[r] * 101325, g = isothermal(&f, 101325, p2);
      double re = g * o.diameter / f.air_viscosity;
      double want = lw_orifice_cd(re, o.length, &slope) * o.area * g;
      lw_mix_flow got = lw_mix_orifice(&o, &f, 101325, 0, p2);
      NEAR(got.m, want, 1e-9 * want);
      assert_true(got.choked == (ratios[r] < exp(-0.5)));
    }
  }
}

/* The two laws for air alone: how far apart, where. Both choke: 1/sqrt(e) of the isothermal flow
   function against sqrt(g) (2/(g+1))^((g+1)/(2(g-1))) of the isentropic one. */
static void isothermal_lies_under_isentropic(void **state) {
  (void)state;
  static const double shown[] = {0.99, 0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5283, 0.3};
  lw_fluids f = lw_fluids_at(293.15, fuel_15);
  double before = 0;
  for (size_t i = 0; i < COUNT(shown); i++) {
    double p1 = 101325, p2 = shown[i] * p1;
    double under = 1 - isothermal(&f, p1, p2) / lw_gas_flow(1, &f, p1, p2).m;
    print_message("pressure ratio %.4f: isothermal %.2f %% under isentropic\n", shown[i],
                  100 * under);
    assert_true(under > before - 1e-9);
    before = under;
  }
  NEAR(before, 1 - exp(-0.5) / (sqrt(1.4) * pow(2 / 2.4, 3)), 1e-9);
  double small =
      1 - isothermal(&f, 101325, 0.999 * 101325) / lw_gas_flow(1, &f, 101325, 0.999 * 101325).m;
  assert_true(small < 3e-4); /* one law at small differences */
}

static void shut_passages_pass_nothing(void **state) {
  (void)state;
  lw_fluids f = lw_fluids_at(293.15, fuel_15);
  const lw_orifice shut = {0, 1e-3, 3}, open = {1e-6, 1e-3, 3};
  const lw_mix_flow flows[] = {
      lw_mix_orifice(&shut, &f, 101325, 0.5, 50e3), lw_mix_orifice(&open, &f, 60e3, 0.5, 60e3),
      lw_mix_orifice(&open, &f, 50e3, 1, 60e3), lw_mix_orifice(&open, &f, 50e3, 0, 101325)};
  for (size_t i = 0; i < COUNT(flows); i++) {
    assert_true(flows[i].m == 0 && flows[i].d_p1 == 0 && flows[i].d_p2 == 0 && flows[i].d_y == 0);
    assert_false(flows[i].choked);
  }
  lw_flow none = lw_gas_flow(0, &f, 101325, 50e3);
  assert_true(none.m == 0 && none.d_p1 == 0 && none.d_p2 == 0);
}

/* Through zero a mixture's flow is straight: twice the difference, twice the flow. */
static void mixture_starts_as_a_straight_line(void **state) {
  (void)state;
  mixture m = {{2e-6, 1.6e-3, 3}, lw_fluids_at(293.15, fuel_15)};
  for (size_t y = 0; y < COUNT(fractions); y++) {
    double one[MOST] = {101325, fractions[y], 101325 - 1e-6}, own[MOST];
    double two[MOST] = {101325, fractions[y], 101325 - 2e-6};
    double a = mix_law(&m, one, own), b = mix_law(&m, two, NULL);
    double x1 = one[0] - one[2], x2 = two[0] - two[2]; /* as rounded */
    NEAR(b / a, x2 / x1, 1e-3);
    NEAR(own[0] * x1, a, 1e-3 * a);
    NEAR(own[2] * x1, -a, 1e-3 * a);
  }
}

/* ---- every finite pressure gives a finite flow ---- */

static void every_pressure_gives_a_finite_flow(void **state) {
  (void)state;
  static const double all[] = {1e-6, 1, 500, 2e3, 30e3, 60e3, 101325, 101325.0000001, 2e5, 1e7};
  static const double y[] = {-0.1, 0, 1e-12, 0.5, 1 - 1e-12, 1, 1.1};
  lw_fluids f = lw_fluids_at(293.15, fuel_15);
  lw_orifice o = {1e-6, 1e-3, 3};
  for (size_t i = 0; i < COUNT(all); i++) {
    for (size_t k = 0; k < COUNT(all); k++) {
      lw_flow g = lw_gas_flow(1e-6, &f, all[i], all[k]);
      assert_true(isfinite(g.m) && isfinite(g.d_p1) && isfinite(g.d_p2));
      assert_true((g.m > 0) == (all[i] > all[k]) || g.m == 0);
      for (size_t n = 0; n < COUNT(y); n++) {
        lw_mix_flow m = lw_mix_orifice(&o, &f, all[i], y[n], all[k]);
        assert_true(isfinite(m.m) && isfinite(m.d_p1) && isfinite(m.d_p2) && isfinite(m.d_y));
        assert_true(m.m >= 0);
      }
    }
  }
}

/* ---- venturi ---- */

static double venturi_flow(const void *what, const double *v, double *slopes) {
  const gas *g = what;
  lw_venturi flow = lw_venturi_flow(g->cd_area, &g->fluids, v[0], v[1]);
  if (slopes) {
    slopes[0] = flow.d_p_m;
    slopes[1] = flow.d_mach_m;
  }
  return flow.m;
}

static double venturi_throat(const void *what, const double *v, double *slopes) {
  const gas *g = what;
  lw_venturi flow = lw_venturi_flow(g->cd_area, &g->fluids, v[0], v[1]);
  if (slopes) {
    slopes[0] = flow.d_p_throat;
    slopes[1] = flow.d_mach_throat;
  }
  return flow.throat;
}

static void venturi_slopes_equal_differences(void **state) {
  (void)state;
  double worst = 0;
  for (size_t t = 0; t < COUNT(temperatures); t++) {
    gas g = {6e-4, lw_fluids_at(temperatures[t], fuel_15)};
    double full = lw_venturi_flow(g.cd_area, &g.fluids, 1e5, 1).m;
    for (size_t p = 0; p < COUNT(pressures); p++) {
      for (int i = -60; i <= 240; i++) {
        double mach = i * 0.005 + 0.0001, v[MOST] = {pressures[p], mach}, own[MOST];
        if (fabs(fabs(mach) - 1) < 0.003) continue; /* the slope steps there */
        const double h[] = {1e-3 * pressures[p], 1e-3};
        venturi_flow(&g, v, own);
        for (int k = 0; k < 2; k++)
          agree(own[k], central(venturi_flow, &g, v, k, h[k]), k ? full : full / 1e5, &worst,
                "venturi's flow", v);
        venturi_throat(&g, v, own);
        for (int k = 0; k < 2; k++)
          agree(own[k], central(venturi_throat, &g, v, k, h[k]), k ? 1e5 : 1, &worst,
                "venturi's throat", v);
      }
    }
  }
  print_message("venturi: worst slope off by %.1e\n", worst);
}

/* At mach 1 flow and throat pressure are those of choked gas; beyond, the throat stays and the flow
   rises slightly; value and order are kept, the slope steps from 0 to the slight one. Blow-back is
   the mirror image. */
static void venturi_at_and_beyond_mach_1(void **state) {
  (void)state;
  lw_fluids f = lw_fluids_at(293.15, fuel_15);
  double p = 101325, area = 6e-4, choked = lw_gas_flow(area, &f, p, 0.3 * p).m;
  lw_venturi one = lw_venturi_flow(area, &f, p, 1), past = lw_venturi_flow(area, &f, p, 1 + 1e-9);
  NEAR(one.m, choked, 1e-12 * choked);
  NEAR(one.throat, p * lw_critical_ratio(1.4), 1e-9 * p);
  NEAR(one.d_mach_m, 0, 1e-12 * choked);
  NEAR(past.m, one.m, 1e-9 * choked);
  assert_true(past.m > one.m && past.d_mach_m > 0 && past.d_mach_throat == 0);
  double before = -INFINITY;
  for (int i = -1500; i <= 1500; i++) {
    double mach = i / 1e3;
    lw_venturi v = lw_venturi_flow(area, &f, p, mach), back = lw_venturi_flow(area, &f, p, -mach);
    assert_true(v.m > before);
    assert_true(v.m == -back.m && v.throat == back.throat && v.d_mach_m == back.d_mach_m);
    assert_true(v.d_mach_throat == -back.d_mach_throat);
    assert_true(v.throat >= lw_critical_ratio(1.4) * p * (1 - 1e-12) && v.throat <= p);
    before = v.m;
  }
  assert_true(lw_venturi_flow(area, &f, p, 1.5).m < 1.02 * choked);
}

/* The flow at a throat pressure is that of the gas law to the same pressure: two ways, one law. */
static void venturi_and_gas_are_one_law(void **state) {
  (void)state;
  lw_fluids f = lw_fluids_at(293.15, fuel_15);
  for (double mach = 0.05; mach < 1; mach += 0.01) {
    lw_venturi v = lw_venturi_flow(6e-4, &f, 98e3, mach);
    NEAR(lw_gas_flow(6e-4, &f, 98e3, v.throat).m, v.m, 1e-12 * v.m / mach);
  }
}

/* ---- discharge ---- */

static double cd_law(const void *what, const double *v, double *slopes) {
  double slope = 0, cd = lw_orifice_cd(v[0], *(const double *)what, &slope);
  if (slopes) slopes[0] = slope;
  return cd;
}

static void discharge_slopes_equal_differences(void **state) {
  (void)state;
  double worst = 0;
  for (double l = 2; l <= 10; l += 0.5) {
    for (double re = 1e-6; re < 1e8; re *= 1.13) {
      double v[MOST] = {re}, own[MOST], cd = cd_law(&l, v, own);
      agree(own[0], central(cd_law, &l, v, 0, 0.004 * re), 0.01 * cd / re, &worst, "Cd", v);
    }
  }
  print_message("Cd: worst slope off by %.1e\n", worst);
}

/* From nothing at rest up to a top at some Re; past it the correlation has a hump of its own, and
   settles at 0.827 - 0.0085 L/d from above. The length is held to 2..10. */
static void discharge_rises_from_nothing(void **state) {
  (void)state;
  double slope = 0, other = 0;
  assert_true(lw_orifice_cd(0, 3, &slope) == 0 && slope > 0);
  NEAR(lw_orifice_cd(1e-9, 3, &other), slope * 1e-9, 1e-9 * slope * 1e-9);
  NEAR(other, slope, 1e-6 * slope);
  assert_true(lw_orifice_cd(-5, 3, &slope) == 0);
  assert_true(lw_orifice_cd(500, 1, &slope) == lw_orifice_cd(500, 2, &slope));
  assert_true(lw_orifice_cd(500, 40, &slope) == lw_orifice_cd(500, 10, &slope));
  for (double l = 2; l <= 10; l += 1) {
    double before = 0, top = 0.827 - 0.0085 * l, most = 0;
    for (double re = 1e-3; re < 1e9; re *= 1.05) {
      double cd = lw_orifice_cd(re, l, &slope);
      if (re < 1e4) assert_true(cd > before);
      assert_true(cd > 0 && cd < 1);
      before = cd;
      most = fmax(most, cd);
    }
    NEAR(before, top, 3e-3);
    print_message("L/d %.0f: Cd at most %.4f, %.4f in the end\n", l, most, top);
  }
}

/* ---- shapes ---- */

typedef struct shape {
  double a, b, c;
} shape;

static double keep(double value, double slope, double *slopes) {
  if (slopes) slopes[0] = slope;
  return value;
}

static double share_law(const void *what, const double *v, double *slopes) {
  const shape *s = what;
  double slope = 0, f = lw_throttle_share(v[0], s->a, s->b, &slope);
  return keep(f, slope, slopes);
}

static double edge_law(const void *what, const double *v, double *slopes) {
  const shape *s = what;
  double slope = 0, f = lw_throttle_edge(v[0], s->a, s->b, &slope);
  return keep(f, slope, slopes);
}

static double slot_law(const void *what, const double *v, double *slopes) {
  const shape *s = what;
  double slope = 0, f = lw_slot_below(v[0], s->a, s->b, &slope);
  return keep(f, slope, slopes);
}

static double needle_law(const void *what, const double *v, double *slopes) {
  const shape *s = what;
  double slope = 0, f = lw_needle_area(v[0], s->a, s->b, &slope);
  return keep(f, slope, slopes);
}

static double step_law(const void *what, const double *v, double *slopes) {
  (void)what;
  double slope = 0, f = lw_smooth_step(v[0], &slope);
  return keep(f, slope, slopes);
}

static double valve_law(const void *what, const double *v, double *slopes) {
  const shape *s = what;
  double slope = 0, f = lw_air_valve_share(v[0], s->a, s->b, &slope);
  return keep(f, slope, slopes);
}

/* A law of one variable from lo to hi: slopes by differences but on a joint, with steps that shrink
   toward it; no fall, no jump (a value moves no further than the steepest slope allows). */
static void walk(law *f, const shape *s, double lo, double hi, const double *joints, int count,
                 const char *what) {
  enum { POINTS = 4000 };
  double gap = (hi - lo) / POINTS, worst = 0, most = 0, own[MOST];
  double top[MOST] = {hi}, bottom[MOST] = {lo};
  double scale = 1e-2 * (f(s, top, NULL) - f(s, bottom, NULL)) / (hi - lo);
  for (int i = 0; i <= POINTS; i++) {
    double v[MOST] = {lo + gap * i};
    f(s, v, own);
    most = fmax(most, own[0]);
  }
  double before = f(s, bottom, NULL);
  for (int i = 0; i <= POINTS; i++) {
    double v[MOST] = {lo + gap * i}, now = f(s, v, own);
    double h = 0.2 * gap;
    for (int k = 0; k < count; k++)
      h = fmin(h, 0.02 * fabs(v[0] - joints[k]));
    if (h > 1e-4 * gap) agree(own[0], central(f, s, v, 0, h), scale, &worst, what, v);
    assert_true(own[0] >= 0);
    assert_true(now >= before - 1e-15);
    assert_true(now - before <= 1.01 * most * gap + 1e-15);
    before = now;
  }
}

static void shapes_slopes_equal_differences_and_none_falls_or_jumps(void **state) {
  (void)state;
  for (int i = 0; i < 4; i++) {
    const double shafts[] = {0, 0.1, 0.2, 0.3};
    shape s = {10 * PI / 180, shafts[i], 0};
    double full = acos(fmin(shafts[i] * cos(s.a), 1)), joints[] = {s.a, full};
    walk(share_law, &s, 0, PI / 2 - 1e-9, joints, 2, "throttle share");
  }
  shape edge = {10 * PI / 180, 0.043, 0}, slot = {0.4e-3, 4e-3, 0}, needle = {1.8e-3, 0.12, 0};
  shape valve = {200, 420, 0};
  walk(edge_law, &edge, 0, 85 * PI / 180, NULL, 0, "throttle edge");
  const double slot_joints[] = {0.3e-3, 0.5e-3, 4.3e-3, 4.5e-3};
  walk(slot_law, &slot, -1e-3, 6e-3, slot_joints, 4, "slot");
  const double needle_joints[] = {0, 1.8e-3 / (2 * sin(0.12) * cos(0.12))};
  walk(needle_law, &needle, -1e-3, 12e-3, needle_joints, 2, "needle");
  const double step_joints[] = {0, 1};
  walk(step_law, &slot, -0.5, 1.5, step_joints, 2, "step");
  const double valve_joints[] = {189, 211, 409, 431};
  walk(valve_law, &valve, 0, 600, valve_joints, 4, "air valve");
}

/* Short slots, as short as their rounded ends, stay within their length. */
static void slot_halves_add_up(void **state) {
  (void)state;
  for (double length = 0.1e-3; length < 6e-3; length *= 1.5) {
    double slope = 0, middle = 0.7e-3 + 0.5 * length;
    for (double d = 0; d < 5e-3; d += 0.03e-3) {
      double below = lw_slot_below(middle + d, 0.7e-3, length, &slope);
      double mirrored = lw_slot_below(middle - d, 0.7e-3, length, &slope);
      NEAR(below + mirrored, length, 1e-15);
      assert_true(below >= 0 && below <= length && mirrored >= 0);
    }
    assert_true(lw_slot_below(0, 0.7e-3, length, &slope) == 0);
    NEAR(lw_slot_below(9e-3, 0.7e-3, length, &slope), length, 1e-15);
  }
  double slope = 0; /* clear of both ends the share is the plain length */
  NEAR(lw_slot_below(2e-3, 0.7e-3, 4e-3, &slope), 1.3e-3, 1e-15);
  NEAR(slope, 1, 1e-12);
}

/* Small lifts open the side of a frustum, pi x sin(t) (d - x sin(t) cos(t)); far out the area
   stays, at 1/sqrt(1 + cos(t)^2), some 0.71, of the seat's own: side and seat in series. */
static void needle_saturates(void **state) {
  (void)state;
  double slope = 0, d = 1.8e-3, t = 7 * PI / 180, seat = PI / 4 * d * d;
  assert_true(lw_needle_area(0, d, t, &slope) == 0 && slope == 0);
  assert_true(lw_needle_area(-1e-3, d, t, &slope) == 0 && slope == 0);
  double x = 0.05e-3, side = PI * x * sin(t) * (d - x * sin(t) * cos(t));
  NEAR(lw_needle_area(x, d, t, &slope), side, 0.5 * side * side / (seat * seat) * side * 1.01);
  double end = lw_needle_area(20e-3, d, t, &slope);
  assert_true(slope == 0);
  assert_true(end == lw_needle_area(1, d, t, &slope));
  NEAR(end / seat, 1 / sqrt(1 + cos(t) * cos(t)), 1e-12);
  assert_true(end < seat);
}

/* From shut at the closed angle; past where the plate hides behind its shaft nothing more. */
static void throttle_share_starts_and_ends(void **state) {
  (void)state;
  double slope = 0, closed = 10 * PI / 180;
  assert_true(lw_throttle_share(closed, closed, 0.2, &slope) == 0);
  assert_true(lw_throttle_share(0, closed, 0.2, &slope) == 0 && slope == 0);
  double full = lw_throttle_share(PI / 2, closed, 0.2, &slope);
  assert_true(slope == 0);
  NEAR(full, 1 - 2 / PI * (0.2 * sqrt(0.96) + asin(0.2)), 1e-15);
  NEAR(lw_throttle_share(PI / 2, closed, 0, &slope), 1, 1e-15);
  double just = acos(0.2 * cos(closed));
  NEAR(lw_throttle_share(just - 1e-6, closed, 0.2, &slope), full, 1e-6);
  NEAR(slope, 0, 1e-2); /* it ends as a square root does: slope to zero */
}

static void steps_and_valves_begin_and_end(void **state) {
  (void)state;
  double slope = 0;
  assert_true(lw_smooth_step(0, &slope) == 0 && slope == 0);
  assert_true(lw_smooth_step(1, &slope) == 1 && slope == 0);
  assert_true(lw_smooth_step(-9, &slope) == 0 && lw_smooth_step(9, &slope) == 1);
  NEAR(lw_smooth_step(0.5, &slope), 0.5, 1e-15);
  NEAR(slope, 1.5, 1e-15);
  assert_true(lw_air_valve_share(100, 200, 420, &slope) == 0 && slope == 0);
  NEAR(lw_air_valve_share(310, 200, 420, &slope), 0.5, 1e-12);
  NEAR(slope, 1 / 220.0, 1e-15);
  NEAR(lw_air_valve_share(500, 200, 420, &slope), 1, 1e-15);
  assert_true(slope == 0);
}

/* ---- what flows ---- */

/* Fuel thins and lightens as it warms, air thickens. */
static void fluids_change_with_temperature_as_they_should(void **state) {
  (void)state;
  lw_fluids cold = lw_fluids_at(250, 745), warm = lw_fluids_at(330, 745);
  assert_true(cold.fuel_density > warm.fuel_density);
  assert_true(cold.fuel_viscosity > warm.fuel_viscosity);
  assert_true(cold.air_viscosity < warm.air_viscosity);
  NEAR(lw_fluids_at(288.15, 745).fuel_density, 745, 1e-9);
  NEAR(lw_fluids_at(289.15, 745).fuel_density, 745 * (1 - 0.00095), 1e-9);
}

/* docs/physics-flow.md, "Worked by hand". */
static void handbooks_worked_example(void **state) {
  (void)state;
  lw_fluids f = lw_fluids_at(293.15, 745);
  NEAR(f.fuel_density, 741.46, 0.005);
  NEAR(f.fuel_viscosity, 0.5511e-3, 5e-8);
  lw_orifice jet = {PI / 4 * 0.7e-3 * 0.7e-3, 0.7e-3, 3};
  double slope = 0;
  NEAR(lw_orifice_cd(1546.8, 3, &slope), 0.7440, 5e-5);
  NEAR(lw_mix_orifice(&jet, &f, 101325, 1, 100325).m, 0.3487e-3, 5e-8);
  lw_venturi v = lw_venturi_flow(0.85 * PI / 4 * 0.03 * 0.03, &f, 101325, 0.080859);
  NEAR(v.m, 0.020, 5e-7);
  NEAR(101325 - v.throat, 462.4, 0.05);
  double booster = 101325 - 101325 * pow(v.throat / 101325, 1.8);
  NEAR(booster, 830.8, 0.05);
  NEAR(booster - 9.80665 * f.fuel_density * 5e-3, 794.4, 0.05);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(gas_slopes_equal_differences),
      cmocka_unit_test(gas_is_straight_through_zero),
      cmocka_unit_test(gas_keeps_value_and_slope_where_it_chokes),
      cmocka_unit_test(gas_flow_turns_with_the_pressures),
      cmocka_unit_test(gas_flow_is_monotone),
      cmocka_unit_test(mixture_slopes_equal_differences),
      cmocka_unit_test(mixture_keeps_value_and_slope_where_it_chokes),
      cmocka_unit_test(mixture_flow_is_monotone),
      cmocka_unit_test(more_fuel_is_more_flow_but_for_its_viscosity),
      cmocka_unit_test(mixture_starts_as_a_straight_line),
      cmocka_unit_test(pure_fuel_is_the_liquid_law),
      cmocka_unit_test(pure_gas_is_the_isothermal_law),
      cmocka_unit_test(isothermal_lies_under_isentropic),
      cmocka_unit_test(shut_passages_pass_nothing),
      cmocka_unit_test(every_pressure_gives_a_finite_flow),
      cmocka_unit_test(venturi_slopes_equal_differences),
      cmocka_unit_test(venturi_at_and_beyond_mach_1),
      cmocka_unit_test(venturi_and_gas_are_one_law),
      cmocka_unit_test(discharge_slopes_equal_differences),
      cmocka_unit_test(discharge_rises_from_nothing),
      cmocka_unit_test(shapes_slopes_equal_differences_and_none_falls_or_jumps),
      cmocka_unit_test(slot_halves_add_up),
      cmocka_unit_test(needle_saturates),
      cmocka_unit_test(throttle_share_starts_and_ends),
      cmocka_unit_test(steps_and_valves_begin_and_end),
      cmocka_unit_test(handbooks_worked_example),
      cmocka_unit_test(fluids_change_with_temperature_as_they_should),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
