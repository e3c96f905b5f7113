/* test_demo.c - the demo cards and jobs read without error and hold together: displacement, year,
** the cards a job names, and gas readings that an engine could have given.
*/
#include "check.h"

#include "leanward/card.h"

#include <dirent.h>
#include <stdlib.h>

enum { MOST_BYTES = 1 << 20, MOST_PATH = 1024 };

typedef struct bench {
  lw_arena *arena;
  lw_units *units;
} bench;

static int setup(void **state) {
  bench *b = calloc(1, sizeof *b);
  lw_error error = {0};
  if (!b) return 1;
  b->arena = lw_arena_new(0);
  *state = b;
  return b->arena && lw_units_open(&b->units, &error) == LW_OK ? 0 : 1;
}

static int teardown(void **state) {
  bench *b = *state;
  lw_units_close(b->units);
  lw_arena_free(b->arena);
  free(b);
  return 0;
}

static const char *text_of(bench *b, const char *path, size_t *length) {
  FILE *file = fopen(path, "rb");
  if (!file) return NULL;
  char *text = lw_arena_alloc(b->arena, MOST_BYTES);
  *length = text ? fread(text, 1, MOST_BYTES - 1, file) : 0;
  fclose(file);
  return text;
}

static void complain(const lw_error *error) {
  char line[900];
  fprintf(stderr, "%s\n", lw_error_line(error, line, sizeof line));
}

static const lw_card *card_of(bench *b, const char *path) {
  size_t length = 0;
  lw_error error = {0};
  lw_card *card = NULL;
  const char *text = text_of(b, path, &length);
  lw_bind bind = {b->arena, b->units, path};
  if (!text) {
    fprintf(stderr, "%s cannot be opened\n", path);
  } else if (lw_card_read(&bind, text, length, &card, &error) != LW_OK) {
    complain(&error);
  }
  return card;
}

static const lw_job *job_of(bench *b, const char *path) {
  size_t length = 0;
  lw_error error = {0};
  lw_job *job = NULL;
  const char *text = text_of(b, path, &length);
  lw_bind bind = {b->arena, b->units, path};
  if (!text) {
    fprintf(stderr, "%s cannot be opened\n", path);
  } else if (lw_job_read(&bind, text, length, &job, &error) != LW_OK) {
    complain(&error);
  }
  return job;
}

/* Call each for every .yaml of a folder of the source tree; returns how many there were. */
static size_t every(bench *b, const char *folder, void (*each)(bench *, const char *)) {
  char path[MOST_PATH];
  const char *root = getenv("SOURCE_ROOT") ? getenv("SOURCE_ROOT") : LW_SOURCE_ROOT;
  snprintf(path, sizeof path, "%s/%s", root, folder);
  DIR *dir = opendir(path);
  assert_non_null(dir);
  size_t count = 0;
  for (const struct dirent *entry = readdir(dir); entry; entry = readdir(dir)) {
    size_t n = strlen(entry->d_name);
    if (n < 6 || strcmp(entry->d_name + n - 5, ".yaml") != 0) continue;
    snprintf(path, sizeof path, "%s/%s/%s", root, folder, entry->d_name);
    each(b, path);
    count++;
  }
  closedir(dir);
  return count;
}

static void card_holds_together(bench *b, const char *path) {
  const lw_card *card = card_of(b, path);
  assert_non_null(card);
  const lw_engine_card *e = &card->engine;
  double swept = 3.14159265358979323846 / 4 * e->bore * e->bore * e->stroke * e->cylinders;
  NEAR(swept / e->displacement, 1, 0.01);
  assert_int_equal(card->year, 1968);
  assert_true(card->transmission != LW_TRANSMISSION_UNSAID);
  assert_true(card->carburetor.screws.count >= 1);
  assert_true(lw_range_known(e->initial_timing) && lw_range_known(card->idle.speed));
  assert_true(card->limits.count == 2);
  int named = 0;
  for (const char *c = e->firing_order; *c; c++)
    named += *c >= '1' && *c <= '0' + e->cylinders;
  assert_int_equal(named, e->cylinders);
}

static void every_demo_card_reads_and_holds_together(void **state) {
  assert_int_equal(every(*state, "cards", card_holds_together), 11);
}

/* Sum of all gases less 1: hydrogen from the water-gas reaction at 3.5, nitrogen from the oxygen
   that was used and left. Written out here on its own, so that a slip in the program's balance
   cannot hide one in the demo data. */
static double closure(const lw_reading *r, double h_c, double o_c) {
  double carbon = r->co + r->co2, hc = r->hc.x;
  double water = h_c / 2 * carbon / (1 + r->co / (3.5 * r->co2));
  double h2 = r->co * water / (3.5 * r->co2);
  double oxygen = r->co2 + r->co / 2 + r->o2 + water / 2 - o_c / 2 * (carbon + 6 * hc);
  return r->co + r->co2 + r->o2 + h2 + hc + 3.773 * oxygen - 1;
}

/* 1 % of closure is what rounding CO2 to 0.1 % and O2 to 0.1 % can leave. */
static void readings_close(const lw_job *job) {
  bool alcohol = job->fuel.name && strcmp(job->fuel.name, "E10") == 0;
  const lw_reading *readings = job->readings.items;
  for (size_t i = 0; i < job->readings.count; i++) {
    const lw_reading *r = &readings[i];
    if (!lw_known(r->co2) || !lw_known(r->o2)) continue;
    NEAR(closure(r, alcohol ? 1.92 : 1.85, alcohol ? 0.033 : 0), 0, 0.01);
  }
}

static const lw_card *card_beside(bench *b, const char *job_path, const char *named) {
  char path[MOST_PATH];
  const char *slash = strrchr(job_path, '/');
  snprintf(path, sizeof path, "%.*s/%s", (int)(slash - job_path), job_path, named);
  return card_of(b, path);
}

static void job_holds_together(bench *b, const char *path) {
  const lw_job *job = job_of(b, path);
  assert_non_null(job);
  assert_non_null(job->card);
  const lw_card *card = card_beside(b, path, job->card);
  assert_non_null(card);
  assert_int_equal(card->transmission, job->car.transmission);
  NEAR(card->engine.displacement, job->car.displacement, 1e-9);
  assert_int_equal(job->checks.compression.count, card->engine.cylinders);
  if (job->fitted_card) {
    const lw_card *fitted = card_beside(b, path, job->fitted_card);
    assert_non_null(fitted);
    assert_string_equal(fitted->unit, job->fitted_unit);
  }
  assert_true(job->readings.count >= 1);
  readings_close(job);
}

static void every_demo_job_reads_and_its_gases_close(void **state) {
  assert_true(every(*state, "jobs", job_holds_together) >= 9);
}

static void the_two_units_of_an_engine_differ_where_it_matters(void **state) {
  static const char *const engines[] = {"220-six", "290-eight", "350-eight"};
  for (size_t i = 0; i < 3; i++) {
    char path[MOST_PATH];
    snprintf(path, sizeof path, LW_SOURCE_ROOT "/cards/corran-%s-manual.yaml", engines[i]);
    const lw_card *manual = card_of(*state, path);
    snprintf(path, sizeof path, LW_SOURCE_ROOT "/cards/corran-%s-automatic.yaml", engines[i]);
    const lw_card *automatic = card_of(*state, path);
    assert_non_null(manual);
    assert_non_null(automatic);
    assert_string_equal(manual->engine_name, automatic->engine_name);
    assert_string_not_equal(manual->unit, automatic->unit);
    assert_true(manual->carburetor.dashpot != automatic->carburetor.dashpot);
    assert_true(manual->carburetor.primary.main_jet > automatic->carburetor.primary.main_jet);
    assert_true(manual->engine.initial_timing.at < automatic->engine.initial_timing.at);
    assert_true(manual->idle.speed.at > automatic->idle.speed.at);
  }
}

static void the_290_automatic_has_one_air_bleed_screw_and_the_manual_two_fuel_screws(void **state) {
  const lw_card *automatic =
      card_of(*state, LW_SOURCE_ROOT "/cards/corran-290-eight-automatic.yaml");
  const lw_card *manual = card_of(*state, LW_SOURCE_ROOT "/cards/corran-290-eight-manual.yaml");
  assert_non_null(automatic);
  assert_non_null(manual);
  const lw_screw_card *one = automatic->carburetor.screws.items;
  const lw_screw_card *two = manual->carburetor.screws.items;
  assert_int_equal(automatic->carburetor.screws.count, 1);
  assert_int_equal(one->kind, LW_SCREW_AIR_BLEED);
  assert_int_equal(lw_screw_thread(one), LW_THREAD_LEFT);
  assert_int_equal(automatic->carburetor.check_valve, LW_YES);
  assert_int_equal(automatic->carburetor.bypass, LW_YES);
  assert_int_equal(manual->carburetor.screws.count, 2);
  assert_int_equal(two[0].kind, LW_SCREW_FUEL_LIMITER);
  assert_int_equal(two[1].kind, LW_SCREW_FUEL_LIMITER);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_demo_card_reads_and_holds_together),
      cmocka_unit_test(every_demo_job_reads_and_its_gases_close),
      cmocka_unit_test(the_two_units_of_an_engine_differ_where_it_matters),
      cmocka_unit_test(the_290_automatic_has_one_air_bleed_screw_and_the_manual_two_fuel_screws),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
