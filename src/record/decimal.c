/* decimal.c - decimal numbers to doubles and back, for files with millions of them.
**
** Almost every number in a log has few digits. Those take one exact integer and one rounded
** operation; all others go to the C library, in the C locale.
*/
#include "leanward/gas_stream.h"

#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NUMBER_MOST = 400, EXACT_POWER = 22, DIGITS_IN_64_BITS = 19, EXPONENT_CAP = 99999 };

/* Powers of ten that a double holds exactly: 5^22 < 2^53. */
static const double power_of_ten[EXACT_POWER + 1] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                                     1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                                     1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/* Doubles from here on have no fraction, and all whole numbers up to here are doubles. */
static const double two_to_52 = 4503599627370496.0;
static const uint64_t two_to_53 = UINT64_C(9007199254740992);

static bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

/* The program may have set a locale with a decimal comma; these run without it. glibc hands out a
   fixed object for "C", so this costs no memory. */
static double strtod_c(const char *text) {
  locale_t c = newlocale(LC_ALL_MASK, "C", (locale_t)0);
  locale_t before = uselocale(c);
  double value = strtod(text, NULL);
  uselocale(before);
  freelocale(c);
  return value;
}

static size_t print_c(char *to, double x, int decimals) {
  locale_t c = newlocale(LC_ALL_MASK, "C", (locale_t)0);
  locale_t before = uselocale(c);
  int length = snprintf(to, LW_DECIMAL_SPACE, "%.*f", decimals, x);
  uselocale(before);
  freelocale(c);
  return length > 0 ? (size_t)length : 0;
}

/* text is known to be a decimal. */
static bool read_slowly(const char *text, size_t length, double *value) {
  char copy[NUMBER_MOST + 1];
  if (length > NUMBER_MOST) return false;
  memcpy(copy, text, length);
  copy[length] = '\0';
  double x = strtod_c(copy);
  if (!isfinite(x)) return false;
  *value = x;
  return true;
}

/* "e-12" at *s, if it is there; false when an e is there without digits. */
static bool read_exponent(const char **s, const char *end, int *exponent) {
  const char *p = *s;
  *exponent = 0;
  if (p == end || (*p != 'e' && *p != 'E')) return true;
  p++;
  bool minus = p < end && *p == '-';
  if (p < end && (*p == '-' || *p == '+')) p++;
  const char *first = p;
  for (; p < end && is_digit(*p); p++) {
    if (*exponent < EXPONENT_CAP) *exponent = 10 * *exponent + (*p - '0');
  }
  if (minus) *exponent = -*exponent;
  *s = p;
  return p > first;
}

/* Digits at *s into *digits, modulo 2^64; moves *s behind them and returns how many. */
static size_t read_digits(const char **s, const char *end, uint64_t *digits) {
  const char *p = *s;
  uint64_t n = *digits;
  for (; p < end && is_digit(*p); p++)
    n = 10 * n + (uint64_t)(*p - '0');
  size_t count = (size_t)(p - *s);
  *digits = n;
  *s = p;
  return count;
}

bool lw_decimal_read(const char *text, size_t length, double *value) {
  const char *p = text, *end = text + length;
  bool minus = p < end && *p == '-';
  if (p < end && (*p == '-' || *p == '+')) p++;
  uint64_t digits = 0;
  size_t whole = read_digits(&p, end, &digits), places = 0;
  if (p < end && *p == '.') {
    p++;
    places = read_digits(&p, end, &digits);
  }
  int exponent = 0;
  if (whole + places == 0 || !read_exponent(&p, end, &exponent) || p != end) return false;
  /* One rounded operation on two exact numbers is correctly rounded (W. D. Clinger, "How to read
     floating point numbers accurately", 1990), where a double is not computed in a wider format. */
  bool exact = FLT_EVAL_METHOD == 0 && whole + places <= DIGITS_IN_64_BITS && digits <= two_to_53;
  if (!exact) return read_slowly(text, length, value);
  exponent -= (int)places;
  if (exponent < -EXACT_POWER || exponent > EXACT_POWER) return read_slowly(text, length, value);
  double x = (double)digits;
  x = exponent < 0 ? x / power_of_ten[-exponent] : x * power_of_ten[exponent];
  *value = minus ? -x : x;
  return true;
}

/* x * 10^decimals to the nearest whole number, exact ties to even. The product is rounded once; it
   and its whole part are multiples of the same unit, so only at an apparent tie can the rounding
   error decide, and fma gives that error exactly. */
static uint64_t scaled_round(double x, double scale) {
  double product = x * scale, whole = floor(product), rest = product - whole;
  uint64_t n = (uint64_t)whole;
  if (rest > 0.5) return n + 1;
  if (rest < 0.5) return n;
  double error = fma(x, scale, -product);
  if (error > 0) return n + 1;
  return error < 0 ? n : n + (n & 1);
}

size_t lw_decimal_write(char *to, double x, int decimals) {
  double size = fabs(x), scale = power_of_ten[decimals];
  if (FLT_EVAL_METHOD != 0 || !(size * scale < two_to_52)) return print_c(to, x, decimals);
  uint64_t n = scaled_round(size, scale);
  char digits[24], *p = digits + sizeof digits;
  int count = 0;
  do {
    if (count == decimals && decimals > 0) *--p = '.';
    *--p = (char)('0' + n % 10);
    n /= 10;
    count++;
  } while (n > 0 || count <= decimals);
  size_t sign = signbit(x) ? 1 : 0, length = (size_t)(digits + sizeof digits - p);
  if (sign) *to = '-';
  memcpy(to + sign, p, length);
  to[sign + length] = '\0';
  return sign + length;
}
