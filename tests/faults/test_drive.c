/* test_drive.c - `leanward drive` given what cannot be: one clear line, exit 2; and its outputs. */
#include "run.h"

#define SIX "cards/corran-220-six-manual.yaml"

static const ran *with_schedule(const char *text) {
  const char *const args[] = {"drive", "--schedule", "-", SIX, NULL};
  return run(args, text);
}

static void refused(const ran *r, const char *part) {
  HOLDS(r->err, part);
  assert_int_equal(r->code, 2);
  assert_string_equal(r->out, "");
  char *end = strchr(r->err, '\n');
  assert_non_null(end);
  assert_string_equal(end + 1, "");
}

static void schedules_that_cannot_be_name_their_line(void **state) {
  (void)state;
  refused(with_schedule(""), "a schedule needs two times at least");
  refused(with_schedule("time_s,speed_mph\n"), "a schedule needs two times at least");
  refused(with_schedule("time,speed\n0,0\n1,0\n"),
          "-:1: header: a header with time_s and speed_mph");
  refused(with_schedule("time_s,speed_mph,speed_ms\n0,0,0\n"),
          "-:1: header: there are two columns");
  refused(with_schedule("time_s,speed_mph\n0,0\n1,fast\n"), "-:3: speed: 'fast' is not a number");
  refused(with_schedule("time_s,speed_mph\n0,0\n\n1,\n"), "-:4: speed: '' is not a number");
  refused(with_schedule("time_s,speed_mph\n1,0\n2,0\n"), "-:2: the first time must be 0");
  refused(with_schedule("time_s,speed_mph\n0,0\n2,0\n2,1\n"), "-:4: times must rise");
  refused(with_schedule("time_s,speed_mph\n0,0\n2,-1\n"), "-:3: a speed lies outside");
  refused(with_schedule("time_s,speed_mph\n0,0\n2,900\n"), "-:3: a speed lies outside");
  refused(with_schedule("time_s,speed_mph\n0,0\n99999,1\n"),
          "-:3: a schedule ends within six hours");
  refused(with_schedule("time_s,speed_mph\n0,0\n1,\"2\n"), "-:3: a quote is not closed");
  refused(with_schedule("time_s,speed_mph\n0,0\n1,nan\n"), "-:3: speed: 'nan' is not a number");
}

static void arguments_that_cannot_be(void **state) {
  (void)state;
  refused(RUN("drive"), "a spec card was expected");
  refused(RUN("drive", "--sideways", SIX), "'--sideways' is not an option");
  refused(RUN("drive", "--json", "--csv", SIX), "do not go together");
  refused(RUN("drive", "--schedule", "-", "-"), "cannot both be standard input");
  refused(RUN("drive", "--schedule", "no such file", SIX), "no such file");
  refused(RUN("drive", "no such card"), "no such card");
  refused(RUN("drive", SIX, "main jot=1 mm"), "is 'main jet' meant?");
  refused(RUN("drive", "--svg", "/no/where.svg", SIX), "/no/where.svg");
}

/* Kilometers an hour, a byte order mark, other columns, line ends of another system, a phase by
   name. */
static void files_as_people_write_them(void **state) {
  (void)state;
  const ran *r = with_schedule("\xEF\xBB\xBFphase,note, time_s ,speed_kmh\r\n"
                               "town,x,0,0\r\ntown,\"a, b\",5,0\r\nroad,,20, 50\r\n\r\n,,30,0\r\n");
  assert_string_equal(r->err, "");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "on standard input: 30 s");
  HOLDS(r->out, "town ");
  HOLDS(r->out, "road ");
  HOLDS(r->out, "never stalled");
}

static void table_csv_and_json_tell_the_same(void **state) {
  (void)state;
  const ran *r = RUN("drive", SIX);
  HOLDS(r->out, "15-30 mph");
  HOLDS(r->out, "weighted, undiluted");
  HOLDS(r->out, "the first federal standard allowed 275");
  assert_int_equal(r->code, 0);
  r = RUN("drive", "--csv", SIX);
  HOLDS(r->out, "time_s,wanted_mph,speed_mph,gear");
  HOLDS(r->out, "\r\n1,0,");
  assert_int_equal(r->code, 0);
  r = RUN("drive", "--json", SIX);
  HOLDS(r->out, "\"composite\"");
  HOLDS(r->out, "\"missed_share\": 0.0");
  r = RUN("drive", "--help");
  HOLDS(r->out, "Usage: leanward drive");
  assert_int_equal(r->code, 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(schedules_that_cannot_be_name_their_line),
      cmocka_unit_test(arguments_that_cannot_be),
      cmocka_unit_test(files_as_people_write_them),
      cmocka_unit_test(table_csv_and_json_tell_the_same),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
