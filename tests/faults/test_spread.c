/* test_spread.c - `leanward spread` as it is run: what is refused, exit codes, the same bytes for
** any number of threads, JSON, CSV and pictures that hold.
*/
#include "run.h"

#include <jansson.h>

#define SIX "cards/corran-220-six-manual.yaml"

static void refused(const ran *r, const char *part) {
  HOLDS(r->err, part);
  assert_int_equal(r->code, 2);
  assert_string_equal(r->out, "");
  char *end = strchr(r->err, '\n');
  assert_non_null(end);
  assert_string_equal(end + 1, "");
}

static void what_cannot_be_asked_is_refused(void **state) {
  (void)state;
  refused(RUN("spread"), "a spec card was expected");
  refused(RUN("spread", "no-such-card.yaml"), "no-such-card.yaml");
  refused(RUN("spread", "--units", "1", SIX), "is not an option, or");
  refused(RUN("spread", "--units", "many", SIX), "is not an option, or");
  refused(RUN("spread", "--units", "999999999999999999999", SIX), "is not an option, or");
  refused(RUN("spread", "--threads", "0", SIX), "is not an option, or");
  refused(RUN("spread", "--threads", "-2", SIX), "is not an option, or");
  refused(RUN("spread", "--units", "10", "--rank", "9", SIX), "pairs of units");
  refused(RUN("spread", "--tolerance", "idle fed=0.5", SIX), "did you mean 'idle feed'");
  refused(RUN("spread", "--tolerance", "idle feed", SIX), "NAME=TIMES");
  refused(RUN("spread", "--tolerance", "idle feed=20", SIX), "NAME=TIMES");
  refused(RUN("spread", "--tolerance", "idle feed=x", SIX), "NAME=TIMES");
  refused(RUN("spread", "--co-limit", "much", SIX), "--co-limit");
  refused(RUN("spread", "--hc-limit", "250", SIX), "--hc-limit");
  refused(RUN("spread", "--json", "--csv", SIX), "only one of");
  refused(RUN("spread", SIX, "main jet=plugged"), "does not idle");
  refused(RUN("spread", SIX, "camshaft=hot"), "camshaft");
  refused(RUN("spread", "--units", "4", "--svg", "/no-such-folder/a.svg", SIX), "no-such-folder");
}

static void any_threads_print_the_same_bytes(void **state) {
  (void)state;
  char *one = strdup(RUN("spread", "--units", "50", "--threads", "1", "--json", SIX)->out);
  assert_non_null(one);
  assert_true(strlen(one) > 1000);
  assert_string_equal(RUN("spread", "--units", "50", "--threads", "2", "--json", SIX)->out, one);
  assert_string_equal(RUN("spread", "--units", "50", "--threads", "3", "--json", SIX)->out, one);
  assert_string_not_equal(RUN("spread", "--units", "50", "--seed", "2", "--json", SIX)->out, one);
  free(one);
}

static void the_text_and_the_exit_code_say_how_it_went(void **state) {
  (void)state;
  const ran *r = RUN("spread", "--units", "60", "--rank", "10", SIX);
  assert_int_equal(r->code, 0);
  assert_string_equal(r->err, "");
  HOLDS(r->out, "CW-2201M: 60 units.");
  HOLDS(r->out, "set by their screws: CO in its band as well");
  HOLDS(r->out, "What it hangs on");
  r = RUN("spread", "--units", "20", "--rank", "0", "--hc-limit", "150 ppm", SIX);
  assert_int_equal(r->code, 1);
  HOLDS(r->out, "HC over its limit with CO right");
  assert_null(strstr(r->out, "What it hangs on"));
  r = RUN("spread", "--units", "20", "--co-limit", "0.8 %", SIX, "fuel=E10");
  HOLDS(r->out, "with fuel=E10");
  HOLDS(r->out, "CO 0.22 to 0.72 %, at most 0.80 %");
}

static void without_tolerances_all_units_are_alike(void **state) {
  (void)state;
  const ran *r =
      RUN("spread", "--units", "20", "--tolerance", "all=0", "--tolerance", "preset=0", SIX);
  HOLDS(r->out, "speed in its band                          100.0 %");
  assert_null(strstr(r->out, "nan"));
}

static void json_holds_what_the_handbook_says(void **state) {
  (void)state;
  char command[700]; /* it prints more than a run here keeps */
  snprintf(command, sizeof command, "cd %s && %s spread --units 40 --json " SIX,
           getenv("SOURCE_ROOT"), getenv("LEANWARD"));
  FILE *from = popen(command, "r");
  assert_non_null(from);
  json_t *root = json_loadf(from, 0, NULL);
  assert_int_equal(pclose(from), 0);
  assert_non_null(root);
  json_t *numbers = json_object_get(root, "numbers"), *dims = json_object_get(root, "dimensions");
  assert_int_equal(json_integer_value(json_object_get(root, "units")), 40);
  assert_int_equal(json_object_size(numbers), 7);
  assert_true(json_array_size(dims) > 20);
  json_t *first = json_array_get(dims, 0), *hang = json_object_get(first, "variance");
  assert_string_equal(json_string_value(json_object_get(first, "name")), "main jet");
  assert_true(json_is_number(json_object_get(json_object_get(hang, "co"), "total_u")));
  json_t *settable = json_object_get(json_object_get(root, "shares"), "settable");
  assert_true(json_real_value(json_object_get(settable, "least")) <=
              json_real_value(json_object_get(settable, "share")));
  json_decref(root);
}

static void csv_has_a_line_for_each_unit(void **state) {
  (void)state;
  const ran *r = RUN("spread", "--units", "30", "--rank", "0", "--csv", SIX);
  size_t lines = 0;
  for (const char *p = r->out; (p = strchr(p, '\n')) != NULL; p++)
    lines++;
  assert_int_equal(lines, 31);
  HOLDS(r->out, "unit,speed_rpm,co_pct,hc_ppm,turns,speed_screw_turns,set_co_pct,set_hc_ppm,");
}

/* docs/spread.md holds the program's own table. */
static void the_handbook_lists_the_tolerances(void **state) {
  (void)state;
  char path[600], *want = strdup(RUN("spread", "--tolerances")->out);
  static char page[65536];
  snprintf(path, sizeof path, "%s/docs/spread.md", getenv("SOURCE_ROOT"));
  FILE *f = fopen(path, "rb");
  assert_non_null(f);
  page[fread(page, 1, sizeof page - 1, f)] = '\0';
  fclose(f);
  assert_non_null(want);
  if (!strstr(page, want)) fail_msg("run tools/docs after changing the tolerances");
  free(want);
}

/* One whose every dimension stands still can be drawn as well. */
static void pictures_are_drawn(void **state) {
  (void)state;
  const ran *r = RUN("spread", "--units", "30", "--rank", "8", "--svg", "-", SIX);
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "<svg");
  r = RUN("spread", "--units", "4", "--rank", "0", "--tolerance", "all=0", "--svg", "-", SIX);
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "<svg");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_cannot_be_asked_is_refused),
      cmocka_unit_test(any_threads_print_the_same_bytes),
      cmocka_unit_test(the_text_and_the_exit_code_say_how_it_went),
      cmocka_unit_test(without_tolerances_all_units_are_alike),
      cmocka_unit_test(json_holds_what_the_handbook_says),
      cmocka_unit_test(csv_has_a_line_for_each_unit),
      cmocka_unit_test(the_handbook_lists_the_tolerances),
      cmocka_unit_test(pictures_are_drawn),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
