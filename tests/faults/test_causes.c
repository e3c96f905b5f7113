/* test_causes.c - `leanward causes` with jobs that tell little or nothing, and jobs that must not
** suffer when causes cannot be weighed.
*/
#include "run.h"

#define JOB "job: 1\ncar: {cylinders: 8, year: 1968, transmission: manual}\n"
#define READ                                                                                       \
  "speed: 700 rpm, gear: neutral, CO: 5.6 %, CO2: 11.3 %, HC: 430 ppm hexane, O2: 0.4 %, "         \
  "vacuum: 17.7 inHg, screws: {left: 1 1/2 turns, right: 1 1/2 turns}"
#define CARD "card: cards/corran-290-eight-manual.yaml\n"

static const ran *causes(const char *job) {
  static const char *const args[] = {"causes", "-", NULL};
  return run(args, job);
}

/* Two, one line on standard error, and it says this. */
static void could_not(const ran *r, const char *why) {
  if (r->code != 2 || !strstr(r->err, why)) fail_msg("%d: %s%s", r->code, r->out, r->err);
  assert_ptr_equal(strchr(r->err, '\n'), r->err + strlen(r->err) - 1);
}

static void without_a_card_it_says_so(void **state) {
  (void)state;
  could_not(causes(JOB "readings: [{at: idle, " READ "}]\n"), "without a spec card");
}

static void a_card_that_cannot_be_run_is_named(void **state) {
  (void)state;
  char path[] = "/tmp/leanward-card-XXXXXX", job[2000];
  int fd = mkstemp(path);
  static const char card[] = "unit: A-1\nengine: {cylinders: 8, layout: vee}\n"
                             "carburetor: {barrels: 2, primary: {count: 2}, screws: [{name: left}, "
                             "{name: right}]}\n";
  assert_int_equal(write(fd, card, sizeof card - 1), (ssize_t)sizeof card - 1);
  close(fd);
  snprintf(job, sizeof job, "%scard: %s\nreadings: [{at: idle, %s}]\n", JOB, path, READ);
  const ran *r = causes(job);
  assert_int_equal(r->code, 2);
  assert_non_null(strstr(r->err, path));
  /* and the job itself is none the worse */
  static const char *const args[] = {"job", "--no-store", "--json", "-", NULL};
  r = run(args, job);
  assert_true(r->code == 0 || r->code == 1);
  assert_non_null(strstr(r->out, "\"causes\": null"));
  unlink(path);
}

static void without_a_reading_it_says_so(void **state) {
  (void)state;
  could_not(causes(JOB CARD), "no reading to weigh");
  could_not(causes(JOB CARD "readings: [{at: idle, settled: no, " READ "}]\n"),
            "no reading to weigh");
  could_not(causes(JOB CARD "readings: [{at: idle, CO: 3 %}]\n"), "no reading to weigh");
}

static void another_unit_without_its_card_is_not_weighed(void **state) {
  (void)state;
  could_not(causes(JOB CARD "fitted unit: CW-2902A\nreadings: [{at: idle, " READ "}]\n"),
            "its own card is not given");
}

static void wrong_options_are_refused(void **state) {
  (void)state;
  static const char *const none[] = {"causes", NULL}, *const odd[] = {"causes", "--odd", NULL};
  assert_int_equal(run(none, "")->code, 2);
  assert_int_equal(run(odd, "")->code, 2);
}

/* A speed nobody idles at, gases of another world: an answer, however unsure, and no crash. */
static void strange_readings_give_an_answer(void **state) {
  (void)state;
  static const char *const odd[] = {
      "readings: [{at: idle, speed: 90 rpm, CO: 0 %, CO2: 0.1 %, O2: 20.8 %}]\n",
      "readings: [{at: idle, speed: 4000 rpm, CO: 14 %, HC: 9000 ppm hexane}]\n",
      "readings: [{at: idle, speed: 700 rpm, vacuum: 1 inHg}]\n",
      "readings: [{at: fast idle, speed: 2500 rpm, vacuum: 25 inHg, CO: 0.01 %}]\n",
      ("checks: {timing: 40 deg BTDC, compression: [1 psi, 150 psi, 1 psi, 150 psi]}\n"
       "readings: [{at: idle, speed: 700 rpm, CO: 1 %}]\n"),
  };
  for (size_t i = 0; i < sizeof odd / sizeof odd[0]; i++) {
    char job[900];
    snprintf(job, sizeof job, JOB CARD "%s", odd[i]);
    const ran *r = causes(job);
    if (r->code < 0 || r->code > 2) fail_msg("%s: %d %s", odd[i], r->code, r->err);
    if (r->code == 2) assert_true(r->err[0]);
  }
}

/* ---- the demo jobs ---- */

static const ran *demo(const char *name, const char *option) {
  char path[80];
  const char *args[4] = {"causes", option ? option : path, option ? path : NULL, NULL};
  snprintf(path, sizeof path, "jobs/%s.yaml", name);
  return run(args, "");
}

static void the_demo_jobs_say_what_they_are_about(void **state) {
  (void)state;
  static const struct {
    const char *job;
    int code;
    const char *says;
  } jobs[] = {
      {"power-valve", 1, "power valve leaking"},
      {"vacuum-leak", 1, "hunting: had not settled"},
      {"vacuum-leak", 1, "vacuum leak into all cylinders"},
      {"weak-cylinder", 1, "one cylinder weak"},
      {"probe-leak", 1, "exhaust leak, or the probe takes in air"},
      {"lean-enough", 0, "nothing wrong"},
      {"wrong-unit", 1, "wrong unit"},
      {"demo", 1, "idle mixture mis-set"},
      {"demo", 1, "CO, as it came in                    3.68 %     1.00 to 1.50 %"},
      {"flat-spot", 1, "=> almost surely accelerator pump weak"},
      {"flat-spot", 1, "1. look at the pump shot"},
      {"flat-spot", 1, "weighed: idle; fast idle; snap from idle"},
      {"vacuum-leak", 1, "leak test                            found      none"},
      {"vacuum-leak", 1, "accelerator pump weak: a snap from idle, or a tip-in"},
  };
  for (size_t i = 0; i < sizeof jobs / sizeof jobs[0]; i++) {
    const ran *r = demo(jobs[i].job, NULL);
    if (r->code != jobs[i].code || !strstr(r->out, jobs[i].says))
      fail_msg("%s: %d\n%s%s", jobs[i].job, r->code, r->out, r->err);
  }
}

static void json_is_one_object(void **state) {
  (void)state;
  const ran *r = demo("power-valve", "--json");
  assert_int_equal(r->code, 1);
  assert_int_equal(r->out[0], '{');
  assert_non_null(strstr(r->out, "\"cause\": \"power_leak\""));
}

/* ---- snaps and checks off idle, as `leanward job` says them ---- */

static const ran *work(const char *rest) {
  static const char *const args[] = {"job", "--no-store", "-", NULL};
  static char job[1200];
  snprintf(job, sizeof job, "%s%s", JOB CARD "readings: [{at: idle, " READ "}]\n", rest);
  return run(args, job);
}

static void says(const ran *r, const char *words) {
  if (r->code < 0 || r->code > 1 || !strstr(r->out, words))
    fail_msg("'%s' is not in\n%s%s", words, r->out, r->err);
}

static void a_job_shows_its_snaps_a_line_each(void **state) {
  (void)state;
  const ran *r = work("snaps: [{CO least: 0.58 %, CO most: 3 %, HC most: 480 ppm, felt: hesitates},"
                      "{kind: tip-in, speed: 1600 rpm, O2 most: 2.2 %}, {label: last}]\n");
  says(r, "When the throttle was opened quickly\n"
          "  - snap: CO 0.6 to 3.0 %, HC to 480 ppm; hesitates\n"
          "  - tip-in at 1600 rpm: O2 to 2.2 %\n"
          "  - last: nothing read\n");
  assert_null(strstr(work("")->out, "opened quickly"));
}

static void a_weak_pump_is_said(void **state) {
  (void)state;
  says(work("checks: {pump shot: none}\n"), "accelerator pump       NOT FIT  none; ");
  says(work("checks: {pump shot: strong}\n"), "accelerator pump       fit      strong");
  says(work(""), "accelerator pump       ?        not looked at");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(without_a_card_it_says_so),
      cmocka_unit_test(a_card_that_cannot_be_run_is_named),
      cmocka_unit_test(without_a_reading_it_says_so),
      cmocka_unit_test(another_unit_without_its_card_is_not_weighed),
      cmocka_unit_test(wrong_options_are_refused),
      cmocka_unit_test(strange_readings_give_an_answer),
      cmocka_unit_test(the_demo_jobs_say_what_they_are_about),
      cmocka_unit_test(json_is_one_object),
      cmocka_unit_test(a_job_shows_its_snaps_a_line_each),
      cmocka_unit_test(a_weak_pump_is_said),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
