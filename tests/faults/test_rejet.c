/* test_rejet.c - `leanward rejet` as it is run: exit codes, what is refused, JSON and CSV that hold.
**
** Runs the program itself (LEANWARD in the environment), in the source folder.
*/
#include "run.h"

#include <jansson.h>

#define SIX   "cards/corran-220-six-manual.yaml"
#define EIGHT "cards/corran-290-eight-manual.yaml"

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
  refused(RUN("rejet"), "a spec card and what changes were expected");
  refused(RUN("rejet", SIX), "what changes was expected behind the card");
  refused(RUN("rejet", SIX, "altitude=high"), "is not a value for it");
  refused(RUN("rejet", SIX, "exhaust=2 1/4 in"), "what the exhaust or the valves let through is "
                                                 "missing");
  refused(RUN("rejet", SIX, "camshaft=hot"), "has no what-if for it");
  refused(RUN("rejet", "--parts", "7", SIX, "fuel=E10"), "is not an option, or");
  refused(RUN("rejet", "--parts", "two", SIX, "fuel=E10"), "is not an option, or");
  refused(RUN("rejet", "--target", "cruize=15", SIX, "fuel=E10"), "is 'cruise' meant?");
  refused(RUN("rejet", "--target", "cruise", SIX, "fuel=E10"), "write PLACE=AIR-FUEL RATIO");
  refused(RUN("rejet", "--target", "cruise=150", SIX, "fuel=E10"), "3 to 30");
  refused(RUN("rejet", "--target", "cruise=lambda 15", SIX, "fuel=E10"), "lambda 0.5 to 2");
  refused(RUN("rejet", "--target", "cruise=x", SIX, "fuel=E10"), "--target: 'cruise=x'");
  refused(RUN("rejet", "--keep", "carburetor", SIX, "fuel=E10"), "is no part that could be kept");
  refused(RUN("rejet", "--drawer", "no-such-drawer.yaml", SIX, "fuel=E10"), "no-such-drawer.yaml");
  refused(RUN("rejet", "--drawer", SIX, SIX, "fuel=E10"), "is not a key of a drawer");
  refused(RUN("rejet", "--json", "--csv", SIX, "fuel=E10"), "only one of");
  refused(RUN("rejet", "no-such-card.yaml", "fuel=E10"), "no-such-card.yaml");
}

static void the_exit_code_says_whether_it_came_back(void **state) {
  (void)state;
  const ran *r = RUN("rejet", EIGHT, "fuel=E10");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "Back within 2 %: main jet 0.061 to 0.062 in");
  HOLDS(r->out, "leanward try " EIGHT);
  r = RUN("rejet", "--parts", "0", EIGHT, "fuel=E85");
  assert_int_equal(r->code, 1);
  HOLDS(r->out, "Not within 2 %");
  r = RUN("rejet", EIGHT, "altitude=0 m");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "Nothing to do");
}

static void a_drawer_from_a_file_is_used(void **state) {
  (void)state;
  const char *const args[] = {"rejet", "--drawer", "-", "--maps", SIX, "altitude=1600 m", NULL};
  const ran *r = run(args, "main jet: [0.065 in, 0.064 in]\npower valve: [5 inHg]\n");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "main jet 0.067 to 0.065 in, power valve 6.5 to 5.0 inHg");
  HOLDS(r->out, "Lambda before");
  HOLDS(r->out, "Lambda after no. 1");
  HOLDS(RUN("rejet", "--drawer-keys")->out, "second idle bleed");
}

static void json_holds_what_was_answered(void **state) {
  (void)state;
  char path[] = "/tmp/leanward-rejet-XXXXXX";
  int fd = mkstemp(path);
  assert_true(fd >= 0);
  close(fd);
  char command[400];
  snprintf(command, sizeof command,
           "cd \"$SOURCE_ROOT\" && \"$LEANWARD\" rejet --json %s fuel=E10 >%s", EIGHT, path);
  assert_int_equal(system(command), 0); /* too long for run.h to keep */
  json_error_t why;
  json_t *root = json_load_file(path, 0, &why), *list = NULL;
  unlink(path);
  if (!root) fail_msg("%s", why.text);
  list = json_object_get(root, "proposals");
  assert_true(json_array_size(list) >= 3);
  json_t *first = json_array_get(list, 0), *fit = json_object_get(first, "fit");
  assert_true(json_is_true(json_object_get(first, "within")));
  assert_int_equal(json_array_size(json_object_get(fit, "places")), 5);
  assert_true(json_number_value(json_object_get(fit, "furthest")) <= 0.02);
  assert_int_equal(json_array_size(json_object_get(root, "after")),
                   json_array_size(json_object_get(root, "original")));
  json_decref(root);
}

static void csv_has_as_many_cells_as_its_header(void **state) {
  (void)state;
  const ran *r = RUN("rejet", "--csv", EIGHT, "fuel=E10");
  size_t want = 0, rows = 0;
  for (const char *line = r->out; *line; line = strstr(line, "\r\n") + 2) {
    size_t cells = 1;
    bool quoted = false;
    for (const char *c = line; *c != '\r'; c++) {
      if (*c == '"') quoted = !quoted;
      if (*c == ',' && !quoted) cells++;
    }
    if (!rows++) want = cells;
    assert_int_equal(cells, want);
  }
  assert_true(rows >= 4 && want == 24);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_cannot_be_asked_is_refused),
      cmocka_unit_test(the_exit_code_says_whether_it_came_back),
      cmocka_unit_test(a_drawer_from_a_file_is_used),
      cmocka_unit_test(json_holds_what_was_answered),
      cmocka_unit_test(csv_has_as_many_cells_as_its_header),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
