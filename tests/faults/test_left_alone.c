/* test_left_alone.c - what a person wrote is never overwritten, cut short or passed over by the program
** they start. Each case was found by a person trying it.
*/
#include "check.h"

#include <stdlib.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[64], said[65536];

static void path_of(char *path, size_t size, const char *name) {
  snprintf(path, size, "%s/%s", folder, name);
}

static void write_text(const char *name, const char *text) {
  char path[128];
  path_of(path, sizeof path, name);
  FILE *f = fopen(path, "wb");
  assert_non_null(f);
  assert_int_equal(fwrite(text, 1, strlen(text), f), strlen(text));
  assert_int_equal(fclose(f), 0);
}

static size_t read_bytes(const char *name, char *bytes, size_t size) {
  char path[128];
  path_of(path, sizeof path, name);
  FILE *f = fopen(path, "rb");
  assert_non_null(f);
  size_t n = fread(bytes, 1, size, f);
  fclose(f);
  return n;
}

/* Run leanward in the folder; both its outputs go to `said`. Returns its exit code. */
static int leanward(const char *arguments) {
  char line[700];
  snprintf(line, sizeof line, "cd %s && %s %s >said 2>&1", folder, getenv("LEANWARD"), arguments);
  int status = system(line); /* NOLINT: our own words */
  size_t n = read_bytes("said", said, sizeof said - 1);
  said[n] = '\0';
  assert_true(WIFEXITED(status));
  return WEXITSTATUS(status);
}

static int setup(void **state) {
  (void)state;
  snprintf(folder, sizeof folder, "/tmp/leanward-alone-XXXXXX");
  return mkdtemp(folder) ? 0 : -1;
}

static int teardown(void **state) {
  (void)state;
  char line[100];
  snprintf(line, sizeof line, "rm -rf %s", folder);
  return system(line); /* NOLINT: our own words */
}

static const char card[] = "unit: U-1\nidle: {gear: neutral, speed: 600 to 700 rpm}\n"
                           "carburetor: {screws: [{name: left, kind: fuel}]}\n";
static const char job[] =
    "job: J\ncard: card.yaml\nfitted unit: U-1\n"
    "readings: [{speed: 650 rpm, CO: 1 %, CO2: 14.2 %, HC: 180 ppm, O2: 0.6 %}]\n"
    "limits: [{gas: CO, value: at most 2 %}]\n";

static void a_sheet_never_replaces_a_job_a_card_or_a_store(void **state) {
  (void)state;
  static char before[1 << 20], after[1 << 20];
  write_text("card.yaml", card);
  write_text("job.yaml", job);
  assert_int_equal(leanward("job job.yaml --store s.db"), 0);
  const char *const targets[] = {"job.yaml", "card.yaml", "s.db"};
  for (size_t i = 0; i < 3; i++) {
    char line[120];
    size_t n = read_bytes(targets[i], before, sizeof before);
    snprintf(line, sizeof line, "job job.yaml --no-store --sheet %s", targets[i]);
    assert_int_equal(leanward(line), 2);
    HOLDS(said, "left alone");
    assert_int_equal(read_bytes(targets[i], after, sizeof after), n);
    assert_memory_equal(before, after, n);
  }
  assert_int_equal(leanward("job job.yaml --no-store --sheet out.pdf"), 0);
  assert_int_equal(leanward("job job.yaml --no-store --sheet out.pdf"), 0); /* its own, again */
}

static void an_export_never_replaces_the_store_or_a_job(void **state) {
  (void)state;
  static char before[1 << 20], after[1 << 20];
  write_text("card.yaml", card);
  write_text("job.yaml", job);
  assert_int_equal(leanward("job job.yaml --store t.db"), 0);
  size_t n = read_bytes("t.db", before, sizeof before);
  assert_int_equal(leanward("jobs --store t.db --export t.db --form csv"), 2);
  assert_int_equal(leanward("jobs --store t.db --export job.yaml --form json"), 2);
  assert_int_equal(leanward("jobs --store t.db --readings t.db"), 2);
  assert_int_equal(read_bytes("t.db", after, sizeof after), n);
  assert_memory_equal(before, after, n);
  assert_int_equal(leanward("jobs --store t.db --export e.json"), 0);
  assert_int_equal(leanward("jobs --store t.db --export e.json"), 0);
  assert_int_equal(leanward("jobs --store t.db --export e.csv"), 0);
  assert_int_equal(leanward("jobs --store t.db --export e.csv"), 0);
}

static void no_limit_is_one_too_many(void **state) {
  (void)state;
  char text[4000] =
      "job: J\nreadings: [{CO: 2.0 %, CO2: 13.8 %, HC: 180 ppm, O2: 0.6 %}]\nlimits:\n";
  for (int i = 0; i < 40; i++)
    lw_text_append(text, sizeof text, "- {gas: CO, value: at most 3 %%}\n");
  lw_text_append(text, sizeof text, "- {gas: CO, value: at most 0.5 %%}\n");
  write_text("many.yaml", text);
  assert_int_equal(leanward("job many.yaml --no-store"), 1);
  HOLDS(said, "outside at least one limit");
}

static void no_sealed_part_is_one_too_many(void **state) {
  (void)state;
  char text[4000] = "unit: U\ncarburetor:\n  sealed:\n";
  for (int i = 1; i <= 60; i++)
    lw_text_append(text, sizeof text, "  - plug %d\n", i);
  write_text("sealed.yaml", text);
  write_text("s.yaml", "job: J\ncard: sealed.yaml\n");
  leanward("job s.yaml --no-store");
  HOLDS(said, "plug 60");
  HOLDS(said, "seat a screw lightly");
}

static void a_reading_in_drive_does_not_overturn_one_in_neutral(void **state) {
  (void)state;
  write_text("card.yaml", card);
  write_text("d.yaml",
             "job: J\ncard: card.yaml\nreadings:\n"
             "- {gear: neutral, speed: 650 rpm, CO: 1 %, CO2: 14.2 %, HC: 180 ppm, O2: 0.6 %, "
             "vacuum: 19 inHg}\n"
             "- {stage: as left, gear: drive, speed: 560 rpm, CO: 2.6 %, vacuum: 14.5 inHg}\n"
             "checks: {accessories off: yes}\nlimits: [{gas: CO, value: at most 2 %}]\n");
  assert_int_equal(leanward("job d.yaml --no-store"), 0);
  HOLDS(said, "19.0 inHg");
  HOLDS(said, "within");
}

static void words_behind_a_number_sign_are_not_lost(void **state) {
  (void)state;
  write_text("n.yaml", "job: J\ncomplaint: needs work #3 plug wet\n");
  assert_int_equal(leanward("job n.yaml --no-store"), 2);
  HOLDS(said, "n.yaml:2");
  HOLDS(said, "quotes");
  write_text("n.yaml", "job: J # a comment\ncomplaint: \"needs work #3 plug wet\" # meant\n");
  assert_int_equal(leanward("job n.yaml --no-store"), 0);
  HOLDS(said, "#3 plug wet");
}

static void a_misspelt_screw_is_asked_about(void **state) {
  (void)state;
  write_text("card.yaml", card);
  write_text("m.yaml",
             "job: J\ncard: card.yaml\nreadings:\n- {CO: 5 %, screws: {lefft: 0 turns}}\n");
  assert_int_equal(leanward("job m.yaml --no-store"), 2);
  HOLDS(said,
        "m.yaml:4: reading 1, screws: 'lefft' is not a screw of the card; did you mean 'left'?");
}

static void the_way_a_screw_was_turned_stands_as_it_was_written(void **state) {
  (void)state;
  write_text("w.yaml",
             "job: J\ndone: [{what: leaned it, screw: left, turned: 1/4 turn clockwise}]\n");
  assert_int_equal(leanward("job w.yaml --no-store"), 0);
  HOLDS(said, "left 1/4 turn clockwise");
  write_text("w.yaml", "job: J\ndone: [{what: turned it clockwise, turned: 1/4 turn}]\n");
  assert_int_equal(leanward("job w.yaml --no-store"), 2);
  HOLDS(said, "opposite ways");
}

static void a_void_sample_is_not_a_success(void **state) {
  (void)state;
  write_text("v.yaml", "job: J\nreadings: [{CO: 1 %, CO2: 4.5 %, HC: 90 ppm, O2: 14 %}]\n"
                       "limits: [{gas: CO, value: at most 2 %}]\n");
  assert_int_equal(leanward("job v.yaml --no-store"), 1);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_sheet_never_replaces_a_job_a_card_or_a_store),
      cmocka_unit_test(an_export_never_replaces_the_store_or_a_job),
      cmocka_unit_test(no_limit_is_one_too_many),
      cmocka_unit_test(no_sealed_part_is_one_too_many),
      cmocka_unit_test(a_reading_in_drive_does_not_overturn_one_in_neutral),
      cmocka_unit_test(words_behind_a_number_sign_are_not_lost),
      cmocka_unit_test(a_misspelt_screw_is_asked_about),
      cmocka_unit_test(the_way_a_screw_was_turned_stands_as_it_was_written),
      cmocka_unit_test(a_void_sample_is_not_a_success),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
