/* test_gas_bad.c - `leanward gas` given what it cannot use: one clear line, exit 2, nothing lost.
**
** Runs the program itself (LEANWARD in the environment) with its three streams on files or pipes.
*/
#include "check.h"

#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

enum { ARGS_MOST = 24, TEXT = 16384 };

typedef struct ran {
  int code; /* -1: ended by a signal */
  char out[TEXT], err[TEXT];
} ran;

static int scratch(const char *text) {
  char path[] = "/tmp/leanward-test-XXXXXX";
  int fd = mkstemp(path);
  assert_true(fd >= 0);
  unlink(path);
  assert_int_equal(write(fd, text, strlen(text)), (ssize_t)strlen(text));
  lseek(fd, 0, SEEK_SET);
  return fd;
}

static void slurp(int fd, char text[TEXT]) {
  ssize_t n = pread(fd, text, TEXT - 1, 0);
  assert_true(n >= 0);
  text[n] = '\0';
}

/* Run `leanward gas ARGS...`; args ends in NULL. out: where its output goes, -1 for r.out. */
static ran run_to(const char *const *args, const char *input, int out) {
  const char *program = getenv("LEANWARD");
  assert_non_null(program);
  const char *argv[ARGS_MOST] = {program, "gas"};
  for (size_t i = 0; args[i]; i++) {
    assert_true(i + 3 < ARGS_MOST);
    argv[i + 2] = args[i];
  }
  int in = scratch(input), kept = scratch(""), err = scratch("");
  fflush(NULL);
  pid_t child = fork();
  assert_true(child >= 0);
  if (child == 0) {
    signal(SIGPIPE, SIG_DFL);
    dup2(in, 0);
    dup2(out >= 0 ? out : kept, 1);
    dup2(err, 2);
    execv(program, (char *const *)(uintptr_t)argv);
    _exit(99);
  }
  int status = 0;
  assert_int_equal(waitpid(child, &status, 0), child);
  static ran r;
  r.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  slurp(kept, r.out);
  slurp(err, r.err);
  close(in);
  close(kept);
  close(err);
  return r;
}

#define ARGS(...) ((const char *const[]){__VA_ARGS__, NULL})

/* Nothing on standard output, one line on standard error that begins as all do and holds part. */
static void refuses_input(const char *const *args, const char *input, const char *part) {
  ran r = run_to(args, input, -1);
  HOLDS(r.err, part);
  assert_int_equal(r.code, 2);
  assert_string_equal(r.out, "");
  assert_int_equal(strncmp(r.err, "leanward gas: ", 14), 0);
  char *end = strchr(r.err, '\n');
  assert_non_null(end);
  assert_string_equal(end + 1, "");
}

static void refuses(const char *const *args, const char *part) {
  refuses_input(args, "", part);
}

static void a_value_without_its_unit_is_refused_with_the_units(void **state) {
  (void)state;
  refuses(ARGS("--co", "3.2"), "--co: the unit is missing; use %, ppm");
  refuses(ARGS("--co2=12.8"), "--co2: the unit is missing; use %, ppm");
  refuses(ARGS("--hc", "250"), "--hc: the unit is missing; use ppm, %");
  refuses(ARGS("--co", "3.2 mg"), "--co: 'mg' is not a unit that fits here; use %, ppm");
  refuses(ARGS("--co", "3,2 %"), "--co: '3,2 %' has a comma in a number");
  refuses(ARGS("--co", "rich"), "--co: 'rich' is not a number");
  refuses(ARGS("--o2", ""), "--o2: ");
  refuses(ARGS("--o2", "nan %"), "--o2: ");
  refuses(ARGS("--o2", "1 % to 2 %"), "--o2: ");
}

static void values_no_gas_can_have_are_refused(void **state) {
  (void)state;
  refuses(ARGS("--co", "-1 %"), "CO: ");
  refuses(ARGS("--o2", "35 %"), "O2: ");
  refuses(ARGS("--co", "15 %", "--co2", "14 %"), "CO and CO2: ");
  refuses(ARGS("--hc", "2000000 ppm"), "HC: ");
  refuses(ARGS("--no", "150 %"), "NO: ");
}

static void words_that_are_not_known_are_refused_with_those_that_are(void **state) {
  (void)state;
  refuses(ARGS("--co", "1 %", "--fuel", "gasolin"), "--fuel: 'gasolin' is not known; is 'gasoline' "
                                                    "meant?");
  refuses(ARGS("--co", "1 %", "--fuel", "coal"), "use gasoline, E5, E10, E15, E85, LPG");
  refuses(ARGS("--co", "1 %", "--class", "IV"), "--class: 'IV' is not known");
  refuses(ARGS("--co", "1 %", "--class", "3"), "use 00, 0, I or II");
  refuses(ARGS("--hc", "1 %", "--hc-as", "butane"), "use hexane, propane or C1");
  refuses(ARGS("--hc", "1 %", "--propane-factor", "52"), "--propane-factor: 52 is not a factor");
  refuses(ARGS("--hc", "1 %", "--propane-factor", "half"),
          "--propane-factor: 'half' is not a number");
}

static void what_does_not_go_together_is_refused(void **state) {
  (void)state;
  refuses(ARGS("--hc", "90 ppm propane", "--hc-as", "hexane"), "do not agree");
  refuses(ARGS("--co", "1 % hexane"), "only HC is counted in another gas");
  refuses(ARGS("--csv", "--co", "1 %"), "with --csv the gases come from the file");
  refuses(ARGS("--csv", "--json"), "use --json-lines with --csv");
  refuses(ARGS("--json-lines", "--co", "1 %"), "--json-lines goes with --csv");
  refuses(ARGS("--csv", "a.csv", "b.csv"), "one file was expected");
  refuses(ARGS("--wet"), "no gas was given");
  refuses(ARGS("3.2%"), "'3.2%': a file is worked with --csv");
}

static void unknown_options_are_refused_with_the_nearest(void **state) {
  (void)state;
  refuses(ARGS("--c02", "1 %"), "'--c02' is not an option; is --co2 meant?");
  refuses(ARGS("--uncertain-ty", "--csv"), "is --uncertainty meant?");
  refuses(ARGS("--frobnicate"), "'--frobnicate' is not an option; `leanward gas --help`");
  refuses(ARGS("-x"), "'-x' is not an option");
  refuses(ARGS("--co"), "--co needs a value");
  refuses(ARGS("--json=yes", "--co", "1%"), "'--json=yes'");
}

static void files_that_are_not_there_are_refused(void **state) {
  (void)state;
  refuses(ARGS("--csv", "/tmp/leanward-no-such-file.csv"),
          "/tmp/leanward-no-such-file.csv: cannot be opened: No such file");
  refuses(ARGS("--csv", "/tmp"), "/tmp: cannot read: Is a directory");
  refuses_input(ARGS("--csv"), "", "-:1: the file is empty");
  refuses_input(ARGS("--csv", "-"), "time,CO [%]\n1,2\n", "-:1: no column CO2");
  refuses_input(ARGS("--csv"), "CO,CO2,HC,O2\n", "-:1: CO: the unit is missing in the header");
  refuses_input(ARGS("--csv"), "%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n", "-:1: no column CO");
}

#define HEADER "CO [%],CO2 [%],HC [ppm],O2 [%],note"
#define GOOD   "3.20,12.8,250,0.60,ok"

static void bad_rows_are_told_counted_and_left_in_place(void **state) {
  (void)state;
  ran r =
      run_to(ARGS("--csv"),
             HEADER "\n" GOOD "\n3,20,12.8,250,0.60,ok\n" GOOD "\nx,12.8,250,0.60,ok\n" GOOD, -1);
  assert_int_equal(r.code, 2);
  char first[200], want[1000];
  const char *lambda = strchr(r.out, '\n');
  assert_non_null(lambda);
  snprintf(first, sizeof first, "%.*s", (int)strcspn(lambda + 1, "\n"), lambda + 1);
  HOLDS(first, GOOD ",0.9");
  snprintf(want, sizeof want,
           "%s,lambda,afr\n%s\n3,20,12.8,250,0.60,ok,,\n%s\nx,12.8,250,0.60,ok,,\n%s\n", HEADER,
           first, first, first);
  assert_string_equal(r.out, want);
  assert_string_equal(r.err,
                      "leanward gas: -:3: 6 cells where the header has 5; is there a comma "
                      "inside a number?\n"
                      "leanward gas: -:5: CO: 'x' is not a number; leave the cell empty when "
                      "it was not measured\n"
                      "leanward gas: 5 rows, 2 with errors\n");
}

static void good_rows_end_in_silence(void **state) {
  (void)state;
  ran r = run_to(ARGS("--csv"), HEADER "\n" GOOD "\n", -1);
  assert_int_equal(r.code, 0);
  assert_string_equal(r.err, "");
  r = run_to(ARGS("--csv", "--json-lines", "--uncertainty"), HEADER "\n" GOOD "\n", -1);
  assert_int_equal(r.code, 0);
  HOLDS(r.out, "\"exhaust\":{");
  r = run_to(ARGS("--co", "3.2%", "--co2", "12.8%", "--hc", "250 ppm hexane", "--o2", "0.6%"), "",
             -1);
  assert_int_equal(r.code, 0);
  assert_string_equal(r.err, "");
  HOLDS(r.out, "Lambda");
  HOLDS(r.out, "richer than stoichiometric");
  assert_null(strchr(r.out, '\x1b')); /* no color where no terminal is */
}

static void a_full_disk_and_a_reader_that_left_are_told(void **state) {
  (void)state;
  int full = open("/dev/full", O_WRONLY), ends[2];
  assert_true(full >= 0);
  ran r = run_to(ARGS("--csv"), HEADER "\n" GOOD "\n", full);
  assert_int_equal(r.code, 2);
  assert_string_equal(r.err, "leanward gas: output: cannot write: No space left on device\n");
  r = run_to(ARGS("--co", "3.2%"), "", full);
  assert_int_equal(r.code, 2);
  HOLDS(r.err, "No space left on device");
  r = run_to(ARGS("--co", "3.2%", "--json"), "", full);
  assert_int_equal(r.code, 2);
  close(full);
  assert_int_equal(pipe(ends), 0);
  close(ends[0]);
  r = run_to(ARGS("--csv"), HEADER "\n" GOOD "\n", ends[1]);
  close(ends[1]);
  assert_int_equal(r.code, 2);
  assert_string_equal(
      r.err, "leanward gas: output: cannot write: the program reading the output has ended\n");
}

/* Every prefix of a good file, and every file with one byte changed: no crash, no hang, and a code
   that is 0 or 2. The sanitizers watch. */
static void a_file_cut_or_damaged_anywhere_ends_in_0_or_2(void **state) {
  (void)state;
  static const char text[] = HEADER "\n\"3.20\",12.8,250,0.60,\"a \"\"b\"\"\"\n" GOOD "\n";
  static const char bytes[] = {'"', ',', '\n', '\0', '\xff', '\r', '9'};
  char damaged[sizeof text];
  for (size_t at = 0; at < sizeof text - 1; at += 3) {
    snprintf(damaged, sizeof damaged, "%.*s", (int)at, text);
    ran r = run_to(ARGS("--csv"), damaged, -1);
    if (r.code != 0 && r.code != 2) fail_msg("cut at %zu: code %d: %s", at, r.code, r.err);
    memcpy(damaged, text, sizeof text);
    damaged[at] = bytes[at / 3 % sizeof bytes];
    r = run_to(ARGS("--csv", "--uncertainty"), damaged, -1);
    if (r.code != 0 && r.code != 2) fail_msg("changed at %zu: code %d: %s", at, r.code, r.err);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_value_without_its_unit_is_refused_with_the_units),
      cmocka_unit_test(values_no_gas_can_have_are_refused),
      cmocka_unit_test(words_that_are_not_known_are_refused_with_those_that_are),
      cmocka_unit_test(what_does_not_go_together_is_refused),
      cmocka_unit_test(unknown_options_are_refused_with_the_nearest),
      cmocka_unit_test(files_that_are_not_there_are_refused),
      cmocka_unit_test(bad_rows_are_told_counted_and_left_in_place),
      cmocka_unit_test(good_rows_end_in_silence),
      cmocka_unit_test(a_full_disk_and_a_reader_that_left_are_told),
      cmocka_unit_test(a_file_cut_or_damaged_anywhere_ends_in_0_or_2),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
