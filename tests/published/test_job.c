/* test_job.c - a published exhaust analysis worked as a whole job, from its file to the verdict. */
#include "check.h"

#include "leanward/record.h"

#include <stdlib.h>

#define BOOK                                                                                       \
  "Gaggioli and Obert, Thermodynamics, 3rd ed. 1987, examples 16.7 and 16.9 to 16.12 (as worked "  \
  "in a public companion to the book)"

typedef struct worked {
  lw_arena *arena;
  lw_units *units;
  const lw_work *work;
} worked;

static worked work_file(const char *name) {
  worked w = {.arena = lw_arena_new(0)};
  lw_error error = {0};
  char path[600], line[900];
  snprintf(path, sizeof path, "%s/tests/published/%s", getenv("SOURCE_ROOT"), name);
  assert_int_equal(lw_units_open(&w.units, &error), LW_OK);
  lw_case given = {0};
  if (lw_case_read(w.arena, w.units, path, &given, &error) != LW_OK ||
      lw_job_work(w.arena, given.job, given.card, given.fitted, &w.work, &error) != LW_OK) {
    fail_msg("%s", lw_error_line(&error, line, sizeof line));
  }
  return w;
}

static void done(worked *w) {
  lw_units_close(w->units);
  lw_arena_free(w->arena);
}

static void a_published_rich_exhaust_gives_the_published_air_fuel_ratio(void **state) {
  (void)state;
  worked w = work_file("textbook-rich.yaml");
  const lw_exhaust *e = &w.work->readings[0].exhaust;
  /* five methods: 11.3, 11.4, 11.3, 11.3, 11.37; their spread is the tolerance */
  PUBLISHED(e->afr.x, 11.34, 0.1, BOOK);
  assert_true(e->afr.x - 2 * e->afr.u < 11.3 && 11.3 < e->afr.x + 2 * e->afr.u);
  /* the book's gas holds 3.7 % H2; at K = 3.5 more is expected than at the book's own K of 4.06 */
  PUBLISHED(e->h2, 0.037, 0.0065, BOOK);
  assert_int_equal(w.work->verdict, LW_OUTSIDE);
  assert_true(w.work->advice.move.leaner && w.work->advice.move.clockwise);
  assert_int_equal(w.work->fitness.overall, LW_FIT_UNKNOWN);
  done(&w);
}

static void nothing_is_doubted_in_a_published_set_that_closes(void **state) {
  (void)state;
  worked w = work_file("textbook-rich.yaml");
  const lw_exhaust *e = &w.work->readings[0].exhaust;
  for (size_t i = 0; i < e->note_count; i++) {
    assert_int_not_equal(e->notes[i].code, LW_NOTE_CLOSURE);
    assert_int_not_equal(e->notes[i].code, LW_NOTE_MISFIRE);
    assert_int_not_equal(e->notes[i].code, LW_NOTE_DILUTED);
  }
  done(&w);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_published_rich_exhaust_gives_the_published_air_fuel_ratio),
      cmocka_unit_test(nothing_is_doubted_in_a_published_set_that_closes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
