/* bench_gas.c - how fast a CSV of exhaust readings is worked, against reading and writing it only.
**
** Makes one file in /tmp, then runs in turn, several times: a plain loop of read and write with the
** stream's own buffer sizes (the yardstick: no program can be faster on this machine), the stream
** without uncertainty, and with it; then a shorter file of CO and CO2 only, where the rest has to
** be inferred. Prints the median of each. See README.md.
*/
#include "leanward/gas_stream.h"

#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { REPEATS_MOST = 99, FEWER = 500 };

static const char all_gases[] = "time,CO [%],CO2 [%],HC [ppm hexane],O2 [%],NO [ppm],speed [rpm]\n";
static const char two_gases[] = "time,CO [%],CO2 [%],a,b,c,speed [rpm]\n";

typedef struct bench {
  lw_units *units;
  lw_gas_plan plan;
  int in, out;
} bench;

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int by_size(const void *a, const void *b) {
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

static double median(double *x, int n) {
  qsort(x, (size_t)n, sizeof *x, by_size);
  return n % 2 ? x[n / 2] : 0.5 * (x[n / 2 - 1] + x[n / 2]);
}

/* A plain generator, so that every machine gets the same file. */
static double random_unit(uint64_t *state) {
  *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
  return (double)(*state >> 33) / 2147483648.0;
}

/* Rows as an analyzer logs them: gases that follow from a lambda that wanders, and a little noise.
 */
static bool make_file(const char *path, long rows, const char *header) {
  FILE *f = fopen(path, "w");
  if (!f) return false;
  uint64_t state = 220;
  fputs(header, f);
  for (long i = 0; i < rows; i++) {
    double lean = 0.1 * sin((double)i * 1e-4) + 0.02 * (random_unit(&state) - 0.5);
    double co = lean < 0 ? 0.6 - 38 * lean : 0.6 * exp(-25 * lean);
    double o2 = lean < 0 ? 0.6 * exp(12 * lean) : 0.6 + 19 * lean;
    double hc = 180 + 400 * fabs(lean) + 20 * random_unit(&state);
    fprintf(f, "%.2f,%.2f,%.1f,%.0f,%.2f,%.0f,%.0f\n", (double)i * 0.1, co,
            14.6 - co - 8 * fabs(lean), hc, o2, 400 + 900 * random_unit(&state),
            650 + 30 * random_unit(&state));
  }
  bool written = !ferror(f);
  return fclose(f) == 0 && written;
}

/* The yardstick. */
static bool copy(int in, int out) {
  static char buffer[LW_GAS_IN_BUFFER];
  for (;;) {
    ssize_t n = read(in, buffer, sizeof buffer);
    if (n < 0) return false;
    if (n == 0) return true;
    for (ssize_t done = 0; done < n;) {
      ssize_t w = write(out, buffer + done, (size_t)(n - done));
      if (w < 0) return false;
      done += w;
    }
  }
}

static bool rewind_both(const bench *b) {
  return lseek(b->in, 0, SEEK_SET) == 0 && lseek(b->out, 0, SEEK_SET) == 0 &&
         ftruncate(b->out, 0) == 0;
}

/* Seconds of one run, NaN when it failed. */
static double run_copy(const bench *b) {
  if (!rewind_both(b)) return NAN;
  double begin = now();
  return copy(b->in, b->out) ? now() - begin : NAN;
}

static double run_stream(bench *b, bool uncertainty) {
  if (!rewind_both(b)) return NAN;
  lw_gas_count count = {0};
  lw_error error = {0};
  b->plan.uncertainty = uncertainty;
  double begin = now();
  lw_status status = lw_gas_stream(b->units, &b->plan, &count, &error);
  double seconds = now() - begin;
  if (status == LW_OK && count.bad == 0) return seconds;
  fprintf(stderr, "bench_gas: %s (%llu bad rows)\n", error.text, (unsigned long long)count.bad);
  return NAN;
}

static void report(const char *what, double *seconds, int repeats, long rows, double yardstick) {
  double least = seconds[0];
  for (int i = 1; i < repeats; i++)
    least = fmin(least, seconds[i]);
  double middle = median(seconds, repeats);
  printf("%-28s %9.3f s %9.3f s %12.0f rows/s", what, middle, least, (double)rows / middle);
  if (yardstick > 0) printf("  %6.2f times the copy", middle / yardstick);
  printf("\n");
}

static int measure(bench *b, long rows, int repeats) {
  double plain[REPEATS_MOST], sure[REPEATS_MOST], copied[REPEATS_MOST];
  for (int i = 0; i < repeats; i++) {
    copied[i] = run_copy(b);
    plain[i] = run_stream(b, false);
    sure[i] = run_stream(b, true);
    if (!isfinite(copied[i] + plain[i] + sure[i])) return 1;
  }
  double yardstick = median(copied, repeats);
  printf("%ld rows, %d repeats%27s %11s\n", rows, repeats, "median", "least");
  report("copy only (yardstick)", copied, repeats, rows, 0);
  report("lambda", plain, repeats, rows, yardstick);
  report("lambda with uncertainty", sure, repeats, rows, yardstick);
  return 0;
}

/* The same with CO and CO2 only, on a file FEWER times shorter. */
static int measure_fewer(bench *b, const char *path, long rows, int repeats) {
  double sure[REPEATS_MOST];
  if (!make_file(path, rows, two_gases)) return 2;
  for (int i = 0; i < repeats; i++) {
    sure[i] = run_stream(b, true);
    if (!isfinite(sure[i])) return 1;
  }
  report("CO and CO2, rest inferred", sure, repeats, rows, 0);
  return 0;
}

int main(int argc, char **argv) {
  long rows = argc > 1 ? strtol(argv[1], NULL, 10) : 1000000;
  int repeats = argc > 2 ? (int)strtol(argv[2], NULL, 10) : 7;
  if (rows < 1 || repeats < 1 || repeats > REPEATS_MOST) {
    fprintf(stderr, "usage: bench_gas [ROWS [REPEATS]]\n");
    return 2;
  }
  char in_path[] = "/tmp/leanward-bench-in-XXXXXX", out_path[] = "/tmp/leanward-bench-out-XXXXXX";
  bench b = {.in = mkstemp(in_path), .out = mkstemp(out_path)};
  lw_fuel fuel;
  lw_error error = {0};
  int code = 2;
  if (b.in < 0 || b.out < 0 || !make_file(in_path, rows, all_gases)) {
    perror("bench_gas: /tmp");
  } else if (lw_units_open(&b.units, &error) != LW_OK || !lw_fuel_by_name("gasoline", &fuel)) {
    fprintf(stderr, "bench_gas: %s\n", error.text);
  } else {
    b.plan = lw_gas_plan_new(&fuel);
    b.plan.analyzer.accuracy = LW_CLASS_I;
    b.plan.in = b.in;
    b.plan.out = b.out;
    code = measure(&b, rows, repeats);
    if (code == 0) code = measure_fewer(&b, in_path, rows / FEWER + 1, repeats);
  }
  lw_units_close(b.units);
  unlink(in_path);
  unlink(out_path);
  return code;
}
