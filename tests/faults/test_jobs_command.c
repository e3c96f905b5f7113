/* test_jobs_command.c - `leanward jobs` as a person meets it: what it prints, and how it ends. */
#include "store_case.h"

#include <sys/wait.h>

static char folder[64], store_path[128], out[200000], err[20000];

static void read_into(char *buffer, size_t size, const char *name) {
  char path[160];
  snprintf(path, sizeof path, "%s/%s", folder, name);
  size_t length = 0;
  char *bytes = slurp(path, &length);
  assert_true(length < size);
  memcpy(buffer, bytes, length + 1);
  free(bytes);
}

/* Run `leanward jobs --store S ARGUMENTS`; its exit code, with out and err filled. */
static int jobs(const char *arguments) {
  char command[1200];
  snprintf(command, sizeof command,
           "cd '%s' && COLUMNS=80 NO_COLOR=1 '%s' jobs --store '%s' %s >out 2>err </dev/null",
           folder, getenv("LEANWARD"), store_path, arguments);
  int result = system(command);
  read_into(out, sizeof out, "out");
  read_into(err, sizeof err, "err");
  assert_true(WIFEXITED(result));
  return WEXITSTATUS(result);
}

static void is_one_line(const char *text) {
  size_t length = strlen(text);
  assert_true(length > 10);
  assert_ptr_equal(strchr(text, '\n'), text + length - 1);
}

/* It could not: code 2, one line on standard error that holds words, nothing on standard output. */
static void could_not(const char *arguments, const char *words) {
  int code = jobs(arguments);
  if (code != 2) fail_msg("jobs %s ended with %d: %s", arguments, code, out);
  is_one_line(err);
  HOLDS(err, "leanward jobs: ");
  HOLDS(err, words);
  assert_string_equal(out, "");
}

static void done(const char *arguments) {
  int code = jobs(arguments);
  if (code != 0) fail_msg("jobs %s ended with %d: %s", arguments, code, err);
  assert_string_equal(err, "");
}

static int set_up(void **state) {
  (void)state;
  snprintf(folder, sizeof folder, "%s", fresh_folder());
  snprintf(store_path, sizeof store_path, "%s/store/jobs.db", folder);
  lw_store *store = open_store(store_path);
  save_text(store, HARD_JOB, SMALL_CARD);
  save_text(
      store,
      "job: a job with a very long number of its own\ndate: 2026-11-21\n"
      "car: {description: \"Corran 350 \xE2\x80\x94 \xC3\xA4 wagon with a roof rack and a long "
      "name\"}\n",
      NULL);
  save_text(store, "job: \"CW\\e[31m-2\\u0085\\n\"\ncar: {description: plain}\n", NULL);
  save_text(store, HARD_JOB, SMALL_CARD);
  lw_store_close(store);
  return 0;
}

static int tear_down(void **state) {
  (void)state;
  remove_folder(folder);
  return 0;
}

static void the_list_fits_eighty_columns(void **state) {
  (void)state;
  done("");
  int lines = 0;
  char *held = strdup(out);
  for (char *line = strtok(held, "\n"); line; line = strtok(NULL, "\n"), lines++) {
    if (strstr(line, " jobs in ")) continue;
    if (lw_text_columns(line) > 80) fail_msg("too wide: %s", line);
    for (const char *c = line; *c; c++)
      assert_true((unsigned char)*c >= 0x20 && *c != 0x7F);
    assert_null(strstr(line, "\xC2\x85"));
  }
  free(held);
  assert_int_equal(lines, 5);
  HOLDS(out, "Run  Job ");
  HOLDS(out, "\xE2\x80\xA6");
  HOLDS(out, "3 jobs in ");
  assert_ptr_equal(strstr(out, "\n  1  "), NULL);
  done("--every-run");
  HOLDS(out, "\n  1  ");
  HOLDS(out, "4 runs in ");
}

static void words_narrow_the_list(void **state) {
  (void)state;
  done("ROOF wagon");
  HOLDS(out, "1 job in ");
  done("roof plain");
  HOLDS(out, "No job in ");
  done("--json roof");
  json_t *root = json_loads(out, 0, NULL);
  json_t *runs = json_object_get(root, "runs");
  assert_int_equal(json_array_size(runs), 1);
  json_t *row = json_array_get(runs, 0);
  assert_int_equal(json_integer_value(json_object_get(row, "run")), 2);
  assert_string_equal(json_string_value(json_object_get(row, "date")), "2026-11-21");
  json_decref(root);
}

static void show_prints_the_source_as_it_was(void **state) {
  (void)state;
  done("--show 1");
  assert_string_equal(out, HARD_JOB);
  done("--show 1 --json");
  json_t *root = json_loads(out, 0, NULL);
  assert_true(json_is_object(json_object_get(root, "job")));
  json_decref(root);
  could_not("--show 99", "there is no run 99 here");
  could_not("--show x", "--show needs the number of a run");
  could_not("--show -1", "--show needs the number of a run");
}

static void export_and_import_carry_everything(void **state) {
  (void)state;
  done("--export a.json");
  assert_string_equal(out, "a.json written.\n");
  done("--export a.csv");
  done("--export - --form json");
  char path[160];
  snprintf(path, sizeof path, "%s/a.json", folder);
  char *file = slurp(path, NULL);
  assert_string_equal(out, file);
  free(file);
  done("--readings r.csv");
  char held[128];
  snprintf(held, sizeof held, "%s", store_path);
  snprintf(store_path, sizeof store_path, "%s/other.db", folder);
  done("--import a.csv");
  assert_string_equal(out, "4 added, 0 already there.\n");
  done("--import a.json --json");
  assert_string_equal(out, "{\"added\": 0, \"present\": 4}\n");
  could_not("--import r.csv", "r.csv:1: ");
  could_not("--import none.csv", "none.csv: it cannot be opened: No such file");
  done("--backup copy.db");
  snprintf(store_path, sizeof store_path, "%s/copy.db", folder);
  done("--every-run");
  HOLDS(out, "4 runs in ");
  snprintf(store_path, sizeof store_path, "%s", held);
}

static void a_broken_import_names_its_line(void **state) {
  (void)state;
  done("--export a.json");
  char path[160];
  snprintf(path, sizeof path, "%s/a.json", folder);
  size_t length = 0;
  char *text = slurp(path, &length);
  char *at = strstr(strstr(text, "\"run\":3"), "\"saved_at\":\"2");
  at[12] = 'X';
  spill(path, text, length);
  free(text);
  could_not("--import a.json", "leanward jobs: a.json:4: saved_at: a time in UTC was expected");
}

static void wrong_options_are_told(void **state) {
  (void)state;
  could_not("--export a.txt", "say --form json or csv");
  could_not("--export -", "say --form json or csv");
  could_not("--export a.txt --form xml", "--form is json or csv");
  could_not("--form json", "--form goes with --export");
  could_not("--nonsense", "--nonsense");
  could_not("-z", "-z");
  could_not("--show", "--show needs a value");
  could_not("--show 1 --backup b.db", "at a time");
  could_not("--show 1 word", "go with the list");
  could_not("--export a.json --every-run", "--every-run");
  could_not("--backup b.db --json", "--json");
  could_not("--backup -", "--backup needs the name of a file");
  could_not("--import ''", "the name of the file is empty");
}

static void a_store_that_is_not_there_is_told(void **state) {
  (void)state;
  snprintf(store_path, sizeof store_path, "%s/none.db", folder);
  could_not("", "none.db: there is no store here");
  could_not("--export a.json", "there is no store here");
  assert_int_equal(access(store_path, F_OK), -1);
  char path[160], command[600];
  snprintf(path, sizeof path, "%s/a.json", folder);
  assert_int_equal(access(path, F_OK), -1);
  /* the usual place may well be empty: that is no error */
  snprintf(command, sizeof command,
           "cd '%s' && env -u LEANWARD_STORE -u XDG_DATA_HOME HOME='%s/home' '%s' jobs >out 2>err",
           folder, folder, getenv("LEANWARD"));
  assert_int_equal(system(command), 0);
  read_into(out, sizeof out, "out");
  HOLDS(out, "No jobs are saved yet");
  snprintf(path, sizeof path, "%s/home", folder);
  assert_int_equal(access(path, F_OK), -1);
}

static void a_full_output_is_told(void **state) {
  (void)state;
  static const char *const asks[] = {"", "--json", "--show 1", "--export - --form csv", "--help"};
  for (size_t i = 0; i < sizeof asks / sizeof asks[0]; i++) {
    char command[700];
    snprintf(command, sizeof command, "'%s' jobs --store '%s' %s >/dev/full 2>'%s/err'",
             getenv("LEANWARD"), store_path, asks[i], folder);
    int result = system(command);
    if (WEXITSTATUS(result) != 2) fail_msg("'%s' ended with %d", asks[i], WEXITSTATUS(result));
    read_into(err, sizeof err, "err");
    is_one_line(err);
    HOLDS(err, "No space left");
  }
}

static void help_names_every_option(void **state) {
  (void)state;
  static const char *const names[] = {"--every-run", "--json",   "--show",   "--export", "--form",
                                      "--readings",  "--import", "--backup", "--store",  "--help"};
  done("--help");
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
    HOLDS(out, names[i]);
  char *held = strdup(out);
  for (char *line = strtok(held, "\n"); line; line = strtok(NULL, "\n")) {
    assert_true(strlen(line) <= 90);
  }
  free(held);
}

#define IN_FOLDER(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void) {
  const struct CMUnitTest tests[] = {
      IN_FOLDER(the_list_fits_eighty_columns),      IN_FOLDER(words_narrow_the_list),
      IN_FOLDER(show_prints_the_source_as_it_was),  IN_FOLDER(export_and_import_carry_everything),
      IN_FOLDER(a_broken_import_names_its_line),    IN_FOLDER(wrong_options_are_told),
      IN_FOLDER(a_store_that_is_not_there_is_told), IN_FOLDER(a_full_output_is_told),
      IN_FOLDER(help_names_every_option),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
