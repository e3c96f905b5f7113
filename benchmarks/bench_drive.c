/* bench_drive.c - how long a driving schedule takes, car by car, and a call for nitric oxide, in
** time of the processor: other programs do not count.
**
**   bench_drive [REPEATS [SCHEDULE]]     (data/schedules/udds.csv)
*/
#include "leanward/drive_file.h"
#include "leanward/record.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { REPEATS_MOST = 99 };

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int by_size(const void *a, const void *b) {
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

static lw_status car_of(lw_arena *arena, lw_units *units, const char *name, lw_test_car **car,
                        lw_error *error) {
  char path[600];
  const char *text = NULL;
  size_t length = 0;
  lw_card *card = NULL;
  snprintf(path, sizeof path, "%s/cards/%s.yaml", LW_SOURCE_ROOT, name);
  lw_bind bind = {arena, units, path};
  lw_status status = lw_file_read(arena, path, LW_DOC_MAX_BYTES, &text, &length, error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, error);
  return status == LW_OK ? lw_test_car_new(arena, card, car, error) : status;
}

static lw_status bench(lw_arena *arena, const lw_test_car *car, const lw_schedule *schedule,
                       int repeats, lw_error *error) {
  double seconds[REPEATS_MOST];
  lw_drive_plan plan = {.schedule = schedule};
  lw_drive *d = NULL;
  for (int i = 0; i < repeats; i++) {
    double start = now();
    lw_status status = lw_drive_run(arena, car, &plan, &d, error);
    if (status != LW_OK) return status;
    seconds[i] = now() - start;
  }
  qsort(seconds, (size_t)repeats, sizeof *seconds, by_size);
  double median = seconds[repeats / 2];
  printf(
      "%-10s %6.2f s median, %6.2f s least, %5.0f times real time, %ld networks, missed %.1f %%\n",
      car->twin->card->unit, median, seconds[0], lw_schedule_length(schedule) / median,
      d->effort.networks, 100 * d->missed);
  return LW_OK;
}

static void nitric(void) {
  lw_fuel fuel;
  enum { CALLS = 200000 };
  double sum = 0, start = now();
  if (!lw_fuel_by_name("gasoline", &fuel)) return;
  for (int i = 0; i < CALLS; i++)
    sum += lw_nitric_oxide(&fuel, 0.8 + 1e-3 * (i % 500), 0.1, 4e4 + 50 * (i % 1000), 8.5, 200, 0);
  printf("nitric oxide %.2f us a call (mean %.0f ppm)\n", 1e6 * (now() - start) / CALLS,
         1e6 * sum / CALLS);
}

int main(int argc, char **argv) {
  static const char *const names[] = {"corran-220-six-manual", "corran-220-six-automatic",
                                      "corran-290-eight-manual", "corran-350-eight-manual"};
  int repeats = argc > 1 ? atoi(argv[1]) : 5;
  if (repeats < 1 || repeats > REPEATS_MOST) repeats = 5;
  const char *path = argc > 2 ? argv[2] : LW_SOURCE_ROOT "/data/schedules/udds.csv";
  lw_arena *arena = lw_arena_new((size_t)1 << 30);
  lw_units *units = NULL;
  lw_schedule *schedule = NULL;
  lw_error error = {0};
  lw_status status = lw_units_open(&units, &error);
  if (status == LW_OK) status = lw_schedule_read(arena, path, &schedule, &error);
  for (size_t i = 0; status == LW_OK && i < sizeof names / sizeof names[0]; i++) {
    lw_test_car *car = NULL;
    status = car_of(arena, units, names[i], &car, &error);
    if (status == LW_OK) status = bench(arena, car, schedule, repeats, &error);
  }
  if (status == LW_OK) nitric();
  char line[900];
  if (status != LW_OK) fprintf(stderr, "%s\n", lw_error_line(&error, line, sizeof line));
  lw_units_close(units);
  lw_arena_free(arena);
  return status == LW_OK ? 0 : 2;
}
