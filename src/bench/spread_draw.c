/* spread_draw.c - random numbers by count, where in a tolerance they fall, and sensitivity. */
#include "leanward/spread.h"

#include <math.h>

/* ---- Philox4x32-10 (Salmon et al. 2011); known answers in tests/published/test_spread.c ---- */

static void multiply(uint32_t a, uint32_t b, uint32_t *high, uint32_t *low) {
  uint64_t product = (uint64_t)a * b;
  *high = (uint32_t)(product >> 32);
  *low = (uint32_t)product;
}

void lw_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t out[4]) {
  const uint32_t m0 = 0xD2511F53u, m1 = 0xCD9E8D57u, w0 = 0x9E3779B9u, w1 = 0xBB67AE85u;
  uint32_t c[4] = {counter[0], counter[1], counter[2], counter[3]}, k0 = key[0], k1 = key[1];
  for (int round = 0; round < 10; round++) {
    uint32_t high0 = 0, low0 = 0, high1 = 0, low1 = 0;
    multiply(m0, c[0], &high0, &low0);
    multiply(m1, c[2], &high1, &low1);
    c[0] = high1 ^ c[1] ^ k0;
    c[1] = low1;
    c[2] = high0 ^ c[3] ^ k1;
    c[3] = low0;
    k0 += w0;
    k1 += w1;
  }
  for (int i = 0; i < 4; i++)
    out[i] = c[i];
}

/* 52 bits, in the middle of their steps: never 0, never 1. Two draws come from one count. */
double lw_spread_draw(uint64_t seed, uint64_t unit, uint32_t draw) {
  const uint32_t counter[4] = {(uint32_t)unit, (uint32_t)(unit >> 32), draw / 2, 0};
  const uint32_t key[2] = {(uint32_t)seed, (uint32_t)(seed >> 32)};
  uint32_t words[4];
  lw_philox(counter, key, words);
  const uint32_t *two = draw % 2 ? words + 2 : words;
  uint64_t both = (uint64_t)two[0] << 32 | two[1];
  return ((double)(both >> 12) + 0.5) * 0x1p-52;
}

/* ---- where in its tolerance ---- */

static double normal_below(double z) {
  return 0.5 * erfc(-z * 0.70710678118654752);
}

/* Abramowitz and Stegun 26.2.23 (within 4.5e-4), sharpened by two steps of Halley. */
static double normal_at(double p) {
  double tail = fmin(p, 1 - p), t = sqrt(-2 * log(tail));
  double z = t - (2.515517 + t * (0.802853 + t * 0.010328)) /
                     (1 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
  if (p < 0.5) z = -z;
  for (int i = 0; i < 2; i++) {
    double off = (normal_below(z) - p) * 2.5066282746310002 * exp(0.5 * z * z);
    z -= off / (1 + 0.5 * z * off);
  }
  return z;
}

double lw_fill_at(lw_fill fill, double u) {
  const double cut = 3; /* standard deviations to the tolerance */
  if (fill == LW_FILL_SET) return 2 * u - 1;
  double below = normal_below(-cut);
  return fmin(fmax(normal_at(below + (1 - 2 * below) * u) / cut, -1), 1);
}

/* ---- sensitivity ---- */

static bool whole(const double *a, const double *b, const double *ab, size_t i) {
  return lw_known(a[i]) && lw_known(b[i]) && lw_known(ab[i]);
}

/* Both are a mean over a variance; the standard error is that of such a ratio (delta method). The
   mean is taken off first: it only adds noise to the first order. */
typedef struct sums {
  double n, mean, variance, first, total;
} sums;

static sums means_of(const double *a, const double *b, const double *ab, size_t count) {
  sums s = {0};
  for (size_t i = 0; i < count; i++) {
    if (!whole(a, b, ab, i)) continue;
    s.n += 1;
    s.mean += 0.5 * (a[i] + b[i]);
  }
  s.mean /= s.n;
  for (size_t i = 0; i < count; i++) {
    if (!whole(a, b, ab, i)) continue;
    double x = a[i] - s.mean, y = b[i] - s.mean, d = a[i] - ab[i];
    s.variance += 0.5 * (x * x + y * y);
    s.first -= y * d;
    s.total += 0.5 * d * d;
  }
  return (sums){s.n, s.mean, s.variance / s.n, s.first / s.n, s.total / s.n};
}

lw_sensitivity lw_sensitivity_of(const double *a, const double *b, const double *ab, size_t n) {
  lw_sensitivity out = {LW_NONE, LW_NONE, LW_NONE, LW_NONE};
  sums s = means_of(a, b, ab, n);
  double least = 1e-20 * s.mean * s.mean; /* what rounding makes of none */
  if (s.n < 8 || !(s.variance > least)) return out;
  double first = s.first / s.variance, total = s.total / s.variance, off_first = 0, off_total = 0;
  for (size_t i = 0; i < n; i++) {
    if (!whole(a, b, ab, i)) continue;
    double x = a[i] - s.mean, y = b[i] - s.mean, d = a[i] - ab[i];
    double v = 0.5 * (x * x + y * y), f = -y * d - first * v, t = 0.5 * d * d - total * v;
    off_first += f * f;
    off_total += t * t;
  }
  double scale = 1 / (s.n * s.variance);
  out = (lw_sensitivity){first, sqrt(off_first) * scale, total, sqrt(off_total) * scale};
  return out;
}
