/* test_spread.c - the parts of a tolerance study against published figures: random numbers,
** quantiles, intervals, sensitivity.
*/
#include "spread_kit.h"

/* ---- Philox ---- */

static void random_words_are_those_of_the_authors(void **state) {
  (void)state;
  /* Random123 1.x, tests/kat_vectors, philox4x32 with 10 rounds (from memory) */
  static const struct {
    uint32_t counter[4], key[2], want[4];
  } known[] = {
      {{0, 0, 0, 0}, {0, 0}, {0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8}},
      {{0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff},
       {0xffffffff, 0xffffffff},
       {0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd}},
      {{0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344},
       {0xa4093822, 0x299f31d0},
       {0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1}},
  };
  for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
    uint32_t out[4];
    lw_philox(known[i].counter, known[i].key, out);
    assert_memory_equal(out, known[i].want, sizeof out);
  }
}

/* ---- the normal ---- */

static double below(double z) {
  return 0.5 * erfc(-z / sqrt(2));
}

static void made_sizes_are_normal_cut_at_three(void **state) {
  (void)state;
  static const struct {
    double p, z;
  } table[] = {{0.5, 0},
               {0.841344746068543, 1},
               {0.975, 1.959963984540054},
               {0.95, 1.644853626951473},
               {0.99, 2.326347874040841},
               {0.995, 2.575829303548901},
               {0.05, -1.644853626951473},
               {0.01, -2.326347874040841}};
  for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
    double out = below(-3), u = (table[i].p - out) / (1 - 2 * out);
    PUBLISHED(3 * lw_fill_at(LW_FILL_MADE, u), table[i].z, 1e-9,
              "normal quantiles, Abramowitz and Stegun table 26.1 and usual tables (from memory)");
  }
}

/* ---- intervals ---- */

static void shares_have_the_interval_of_wilson(void **state) {
  (void)state;
  static const struct {
    size_t count, of;
    double lo, hi;
  } table[] = {{81, 263, 0.2553, 0.3662},
               {15, 148, 0.0624, 0.1605},
               {0, 20, 0.0000, 0.1611},
               {1, 29, 0.0061, 0.1718}};
  for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
    lw_spread_share s = lw_share_of(table[i].count, table[i].of);
    PUBLISHED(s.lo, table[i].lo, 0.00005,
              "Newcombe, Stat. Med. 17 (1998) 857, table I (from memory)");
    PUBLISHED(s.hi, table[i].hi, 0.00005,
              "Newcombe, Stat. Med. 17 (1998) 857, table I (from memory)");
  }
}

/* ---- sensitivity ---- */

enum { N = 20000, D = 3 };

typedef double (*function)(const double *x);

static double ishigami(const double *x) {
  double s = sin(x[1]);
  return sin(x[0]) + 7 * s * s + 0.1 * pow(x[2], 4) * sin(x[0]);
}

/* Sobol's g-function with a = 0, 1, 4.5, on the same -pi..pi. */
static double g_function(const double *x) {
  static const double a[D] = {0, 1, 4.5};
  double g = 1;
  for (int i = 0; i < D; i++) {
    double u = x[i] / (2 * CAR_PI) + 0.5;
    g *= (fabs(4 * u - 2) + a[i]) / (1 + a[i]);
  }
  return g;
}

static void inputs(uint64_t seed, size_t unit, double *x) {
  for (uint32_t i = 0; i < D; i++)
    x[i] = CAR_PI * lw_fill_at(LW_FILL_SET, lw_spread_draw(seed, unit, i));
}

static void sensitivity(function f, uint64_t seed, size_t n, lw_sensitivity out[D]) {
  double *y = calloc(3 * n, sizeof *y);
  assert_non_null(y);
  for (int i = 0; i < D; i++) {
    for (size_t j = 0; j < n; j++) {
      double a[D], b[D];
      inputs(seed, j, a);
      inputs(seed, n + j, b);
      y[j] = f(a);
      y[n + j] = f(b);
      a[i] = b[i];
      y[2 * n + j] = f(a);
    }
    out[i] = lw_sensitivity_of(y, y + n, y + 2 * n, n);
  }
  free(y);
}

static void ishigami_has_its_known_indices(void **state) {
  (void)state;
  static const double first[D] = {0.3139, 0.4424, 0}, total[D] = {0.5576, 0.4424, 0.2437};
  const char *source =
      "Ishigami and Homma 1990, a = 7, b = 0.1: indices in closed form, as printed "
      "in Saltelli et al., Global Sensitivity Analysis: The Primer, 2008 (from "
      "memory; they follow from the formula)";
  lw_sensitivity s[D];
  sensitivity(ishigami, 1, N, s);
  for (int i = 0; i < D; i++) {
    assert_true(s[i].first_u < 0.03 && s[i].total_u < 0.02);
    PUBLISHED(s[i].first, first[i], 3.5 * s[i].first_u + 5e-5, source);
    PUBLISHED(s[i].total, total[i], 3.5 * s[i].total_u + 5e-5, source);
  }
}

static void g_function_has_its_known_indices(void **state) {
  (void)state;
  /* Sobol 1993: V_i = 1/(3 (1 + a_i)^2), V = prod(1 + V_i) - 1, V_Ti = V_i prod of the others */
  static const double a[D] = {0, 1, 4.5};
  double v[D], all = 1;
  lw_sensitivity s[D];
  for (int i = 0; i < D; i++) {
    v[i] = 1 / (3 * (1 + a[i]) * (1 + a[i]));
    all *= 1 + v[i];
  }
  sensitivity(g_function, 2, N, s);
  for (int i = 0; i < D; i++) {
    const char *source = "Sobol, Math. Model. Comput. Exp. 1 (1993) 407: the g-function";
    PUBLISHED(s[i].first, v[i] / (all - 1), 3.5 * s[i].first_u, source);
    PUBLISHED(s[i].total, v[i] * all / (1 + v[i]) / (all - 1), 3.5 * s[i].total_u, source);
  }
}

/* The standard errors are honest: over many seeds two thirds lie within one, 19 of 20 in two. */
static void error_bars_cover_what_they_should(void **state) {
  (void)state;
  static const double first[D] = {0.3139, 0.4424, 0}, total[D] = {0.5576, 0.4424, 0.2437};
  int one = 0, two = 0, all = 0;
  for (uint64_t seed = 100; seed < 200; seed++) {
    lw_sensitivity s[D];
    sensitivity(ishigami, seed, 500, s);
    for (int i = 0; i < D; i++, all += 2) {
      double f = fabs(s[i].first - first[i]) / s[i].first_u;
      double t = fabs(s[i].total - total[i]) / s[i].total_u;
      one += (f < 1) + (t < 1);
      two += (f < 2) + (t < 2);
    }
  }
  NEAR((double)one / all, 0.683, 0.06);
  NEAR((double)two / all, 0.954, 0.03);
}

/* Brute force: the variance of means over everything else with one input held, two loops. */
static void first_order_is_the_variance_of_held_means(void **state) {
  (void)state;
  enum { HELD = 400, REST = 400 };
  lw_sensitivity s[D];
  sensitivity(g_function, 3, N, s);
  for (uint32_t i = 0; i < D; i++) {
    double sum = 0, square = 0, all = 0, all_square = 0;
    for (size_t k = 0; k < HELD; k++) {
      double mean = 0, held[D], x[D];
      inputs(50, k, held);
      for (size_t j = 0; j < REST; j++) {
        inputs(51, k * REST + j, x);
        x[i] = held[i];
        double y = g_function(x);
        mean += y / REST;
        all += y;
        all_square += y * y;
      }
      sum += mean;
      square += mean * mean;
    }
    double n = (double)HELD * REST, variance = all_square / n - all * all / (n * n);
    /* the noise of a mean over the rest adds a 400th of what is left of the variance */
    double of_means = square / HELD - sum * sum / ((double)HELD * HELD) - variance / REST;
    NEAR(s[i].first, of_means / variance, 0.06);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(random_words_are_those_of_the_authors),
      cmocka_unit_test(made_sizes_are_normal_cut_at_three),
      cmocka_unit_test(shares_have_the_interval_of_wilson),
      cmocka_unit_test(ishigami_has_its_known_indices),
      cmocka_unit_test(g_function_has_its_known_indices),
      cmocka_unit_test(error_bars_cover_what_they_should),
      cmocka_unit_test(first_order_is_the_variance_of_held_means),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
