/* test_brief.c - `leanward brief` as it is run: exit codes, what is refused, what is left alone.
**
** Runs the program itself (LEANWARD in the environment), in the source folder.
*/
#include "run.h"

#include <sys/stat.h>

#define OLD "cards/corran-220-six-manual.yaml"
#define NEW "cards/1969/corran-220-six-manual.yaml"

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
  refused(RUN("brief"), "two cards or two folders were expected");
  refused(RUN("brief", OLD), "two cards or two folders were expected");
  refused(RUN("brief", OLD, NEW, NEW), "two cards or two folders were expected");
  refused(RUN("brief", "cards", NEW), "not one of each");
  refused(RUN("brief", OLD, "cards/none.yaml"), "cards/none.yaml: it cannot be opened");
  refused(RUN("brief", OLD, "jobs/demo.yaml"), "jobs/demo.yaml");
  refused(RUN("brief", "cards", "docs"), "there is no card");
  refused(RUN("brief", "cards", "jobs"), "jobs/");
  refused(RUN("brief", "--colour", OLD, NEW), "is not an option");
  refused(RUN("brief", "--paper", "A7", OLD, NEW), "is not a paper size");
  refused(RUN("brief", "--json", "--html", "-", OLD, NEW), "only one of");
  refused(RUN("brief", "--pdf", "-", "--html", "-", OLD, NEW), "only one of");
}

static void no_card_is_written_over(void **state) {
  (void)state;
  struct stat before, after;
  char path[700];
  snprintf(path, sizeof path, "%s/" NEW, getenv("SOURCE_ROOT"));
  assert_int_equal(stat(path, &before), 0);
  refused(RUN("brief", "--html", NEW, OLD, NEW), "it is left alone");
  refused(RUN("brief", "--pdf", NEW, OLD, NEW), "it is left alone");
  assert_int_equal(stat(path, &after), 0);
  assert_int_equal(before.st_size, after.st_size);
  refused(RUN("brief", "--html", "/nowhere/at/all.html", OLD, NEW), "/nowhere/at/all.html");
  refused(RUN("brief", "--html", "/dev/full", OLD, NEW), "/dev/full");
}

static void a_page_may_be_written_again(void **state) {
  (void)state;
  char path[] = "/tmp/leanward-brief-XXXXXX";
  int fd = mkstemp(path);
  assert_true(fd >= 0);
  close(fd);
  for (int i = 0; i < 2; i++) {
    const ran *r = RUN("brief", "--html", path, OLD, NEW);
    assert_int_equal(r->code, 0);
    assert_string_equal(r->out, "");
  }
  refused(RUN("brief", "--pdf", path, OLD, NEW), "it is left alone");
  unlink(path);
}

static void a_brief_is_printed(void **state) {
  (void)state;
  const ran *r = RUN("brief", OLD, NEW);
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "CW-2211M does not interchange with CW-2201M");
  HOLDS(r->out, "fuel-side screw behind a sealed limiter (line 61)");
  HOLDS(r->out, "What the screws reach (twin)");
  HOLDS(RUN("brief", OLD, OLD)->out, "The two cards say the same");
}

/* The screw is told, the twin is not run, and the exit code says so. */
static void a_card_without_sizes_is_told_as_far_as_it_goes(void **state) {
  (void)state;
  static const char card[] = "unit: X-1\nengine name: Corran 220 six\ntransmission: manual\n"
                             "carburetor: {screws: [{name: mixture, kind: air bleed}]}\n";
  const char *const args[] = {"brief", OLD, "-", NULL};
  const ran *r = run(args, card);
  assert_int_equal(r->code, 1);
  HOLDS(r->out, "X-1 does not interchange with CW-2201M");
  HOLDS(r->out, "the twin of X-1 cannot be run");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_cannot_be_asked_is_refused),
      cmocka_unit_test(no_card_is_written_over),
      cmocka_unit_test(a_page_may_be_written_again),
      cmocka_unit_test(a_brief_is_printed),
      cmocka_unit_test(a_card_without_sizes_is_told_as_far_as_it_goes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
