/* test_store.c - what is saved comes back, is found, and goes out and in again unchanged. */
#include "store_case.h"

#include <sqlite3.h>

static char folder[64], store_path[128];

static int set_up(void **state) {
  (void)state;
  snprintf(folder, sizeof folder, "%s", fresh_folder());
  snprintf(store_path, sizeof store_path, "%s/data/leanward/jobs.db", folder);
  return 0;
}

static int tear_down(void **state) {
  (void)state;
  remove_folder(folder);
  return 0;
}

/* One value of the store file, read by SQLite itself. */
static void look(const char *sql, char *out, size_t size) {
  sqlite3 *db = NULL;
  sqlite3_stmt *s = NULL;
  assert_int_equal(sqlite3_open(store_path, &db), SQLITE_OK);
  if (sqlite3_prepare_v2(db, sql, -1, &s, NULL) != SQLITE_OK) fail_msg("%s", sqlite3_errmsg(db));
  assert_int_equal(sqlite3_step(s), SQLITE_ROW);
  const char *text = (const char *)sqlite3_column_text(s, 0);
  snprintf(out, size, "%s", text ? text : "NULL");
  sqlite3_finalize(s);
  sqlite3_close(db);
}

#define LOOKS(sql, want)                                                                           \
  do {                                                                                             \
    char got_[400];                                                                                \
    look((sql), got_, sizeof got_);                                                                \
    assert_string_equal(got_, (want));                                                             \
  } while (0)

static int mode_of(const char *path) {
  struct stat info;
  assert_int_equal(stat(path, &info), 0);
  return (int)(info.st_mode & 0777);
}

static void a_new_store_is_private_and_marked(void **state) {
  (void)state;
  mode_t mask = umask(0);
  lw_store_close(open_store(store_path));
  umask(mask);
  assert_int_equal(mode_of(store_path), 0600);
  char path[128];
  snprintf(path, sizeof path, "%s/data/leanward", folder);
  assert_int_equal(mode_of(path), 0700);
  snprintf(path, sizeof path, "%s/data", folder);
  assert_int_equal(mode_of(path), 0700);
  LOOKS("PRAGMA journal_mode", "wal");
  LOOKS("PRAGMA user_version", "2");
  LOOKS("SELECT printf('%x', application_id) FROM pragma_application_id", "4c777264");
  LOOKS("SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND strict", "6");
}

static void the_side_files_are_private_too(void **state) {
  (void)state;
  mode_t mask = umask(0);
  lw_store *store = open_store(store_path);
  save_text(store, HARD_JOB, NULL);
  umask(mask);
  char path[160];
  snprintf(path, sizeof path, "%s-wal", store_path);
  assert_int_equal(mode_of(path), 0600);
  snprintf(path, sizeof path, "%s-shm", store_path);
  assert_int_equal(mode_of(path), 0600);
  lw_store_close(store);
}

static void sources_come_back_byte_for_byte(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  int64_t run = save_text(store, HARD_JOB, SMALL_CARD);
  lw_store_close(store);
  lw_error error = {0};
  must(lw_store_open(store_path, true, &store, &error), &error);
  lw_arena *arena = lw_arena_new(0);
  lw_store_run shown;
  must(lw_store_show(store, run, arena, &shown, &error), &error);
  assert_int_equal(shown.job_length, sizeof HARD_JOB - 1);
  assert_memory_equal(shown.job_source, HARD_JOB, sizeof HARD_JOB - 1);
  assert_string_equal(shown.card_source, SMALL_CARD);
  assert_null(shown.fitted_source);
  assert_null(shown.fitted_file);
  assert_string_equal(shown.job_file, "jobs/made.yaml");
  assert_string_equal(shown.program, "leanward " LW_VERSION);
  json_t *result = json_loads(shown.result, 0, NULL);
  assert_true(json_is_object(result));
  assert_int_equal(json_array_size(json_object_get(result, "readings")), 2);
  json_decref(result);
  assert_int_equal(lw_store_show(store, run + 1, arena, &shown, &error), LW_NOT_FOUND);
  lw_arena_free(arena);
  lw_store_close(store);
}

static void readings_are_rows_in_si(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  save_text(store, HARD_JOB, NULL);
  lw_store_close(store);
  LOOKS("SELECT count(*) FROM reading", "2");
  LOOKS("SELECT printf('%.4f', speed_rad_per_s) FROM reading WHERE number = 1", "68.0678");
  LOOKS("SELECT co_fraction FROM reading WHERE number = 1", "0.035");
  LOOKS("SELECT printf('%.6f ', hc_fraction) || hc_as FROM reading WHERE number = 1",
        "0.000240 hexane");
  LOOKS("SELECT stage || ',' || condition FROM reading WHERE number = 2", "as left,idle");
  LOOKS("SELECT o2_fraction IS NULL AND hc_fraction IS NULL AND hc_as IS NULL AND vacuum_pa IS NULL"
        " AND gear IS NULL AND settled IS NULL FROM reading WHERE number = 2",
        "1");
  LOOKS("SELECT group_concat(name || '=' || turns) FROM screw WHERE reading = 1",
        "left=2.0,right=1.75");
}

static void the_same_job_again_is_a_new_run(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  int64_t first = save_text(store, "job: A\n", NULL);
  int64_t second = save_text(store, "job: A\n", NULL);
  save_text(store, "job: B\n", NULL);
  assert_int_not_equal(first, second);
  assert_int_equal(count_runs(store, NULL, false), 2);
  assert_int_equal(count_runs(store, NULL, true), 3);
  lw_store_close(store);
  LOOKS("SELECT count(*) FROM job", "2");
  LOOKS("SELECT count(DISTINCT saved_at) FROM run", "3");
}

typedef struct seen {
  char jobs[400];
  int64_t newest;
} seen;

static void see(void *to, const lw_store_row *row) {
  seen *s = to;
  lw_text_append(s->jobs, sizeof s->jobs, "%s;", row->job);
  if (!s->newest) s->newest = row->run;
}

static void the_list_is_newest_first_and_of_newest_runs(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  save_text(store, "job: A\n", NULL);
  save_text(store, "job: B\n", NULL);
  int64_t last = save_text(store, "job: A\n", NULL);
  lw_error error = {0};
  seen newest = {{0}, 0}, every = {{0}, 0};
  must(lw_store_list(store, NULL, false, see, &newest, &error), &error);
  assert_string_equal(newest.jobs, "A;B;");
  assert_int_equal(newest.newest, last);
  must(lw_store_list(store, NULL, true, see, &every, &error), &error);
  assert_string_equal(every.jobs, "A;B;A;");
  lw_store_close(store);
}

static void search_wants_every_word_and_no_more(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  save_text(store, HARD_JOB, NULL);
  save_text(store, "job: other\ncar: {description: Corran 290}\nnotes: [a choke that sticks]\n",
            NULL);
  assert_int_equal(count_runs(store, NULL, false), 2);
  assert_int_equal(count_runs(store, "corran", false), 2);
  assert_int_equal(count_runs(store, "CORRAN  cw-9", false), 1);
  assert_int_equal(count_runs(store, "corran zebra", false), 0);
  assert_int_equal(count_runs(store, "sticks 290", false), 1);
  assert_int_equal(count_runs(store, "", false), 2);
  assert_int_equal(count_runs(store, " \t", false), 2);
  /* letters that patterns give a meaning */
  assert_int_equal(count_runs(store, "%", false), 1);
  assert_int_equal(count_runs(store, "_", false), 1);
  assert_int_equal(count_runs(store, "100%", false), 1);
  assert_int_equal(count_runs(store, "coupe_x", false), 1);
  assert_int_equal(count_runs(store, "coupe?x", false), 0);
  assert_int_equal(count_runs(store, "c*n", false), 0);
  assert_int_equal(count_runs(store, "'; DROP TABLE run; --", false), 0);
  assert_int_equal(count_runs(store, "\\", false), 0);
  assert_int_equal(count_runs(store, "\"nine\"", false), 1);
  /* words of two fields do not run into one another */
  assert_int_equal(count_runs(store, "other2026", false), 0);
  lw_store_close(store);
}

static void search_ignores_case_beyond_ascii(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  save_text(store, HARD_JOB, NULL);
  assert_int_equal(count_runs(store, "\xC3\xBCNAL", false), 1); /* ü and Ü */
  assert_int_equal(count_runs(store, "unal", false), 0);
  /* capitals, with a capital sigma where the name ends in a final one */
  assert_int_equal(
      count_runs(store, "\xCE\xA3\xCE\x8A\xCE\xA3\xCE\xA5\xCE\xA6\xCE\x9F\xCE\xA3", false), 1);
  assert_int_equal(count_runs(store, "\xF0\x9F\x9A\x97", false), 1);
  save_text(store, "job: cyr\ncustomer: \xD0\x96\xD1\x83\xD0\xBA\xD0\xBE\xD0\xB2\n", NULL);
  assert_int_equal(count_runs(store, "\xD0\xB6\xD0\xA3\xD0\x9A", false), 1);
  lw_store_close(store);
}

static void fill(lw_store *store) {
  save_text(store, HARD_JOB, SMALL_CARD);
  save_text(store, "job: plain\n", NULL);
  save_text(store, HARD_JOB, NULL);
}

static void import_must(lw_store *store, lw_export_form form, const char *text, size_t length,
                        int64_t added, int64_t present) {
  lw_error error = {0};
  int64_t got_added = -1, got_present = -1;
  must(lw_store_import(store, form, "e", text, length, &got_added, &got_present, &error), &error);
  assert_int_equal(got_added, added);
  assert_int_equal(got_present, present);
}

static void round_trip(lw_export_form form) {
  lw_store *store = open_store(store_path);
  fill(store);
  size_t length = 0, again_length = 0;
  char *text = exported(store, form, &length);
  char *readings = exported(store, LW_EXPORT_READINGS_CSV, NULL);
  import_must(store, form, text, length, 0, 3);
  lw_store_close(store);
  char other_path[160];
  snprintf(other_path, sizeof other_path, "%s/other.db", folder);
  lw_store *other = open_store(other_path);
  import_must(other, form, text, length, 3, 0);
  import_must(other, form, text, length, 0, 3);
  char *again = exported(other, form, &again_length);
  assert_int_equal(again_length, length);
  assert_memory_equal(again, text, length);
  char *readings_again = exported(other, LW_EXPORT_READINGS_CSV, NULL);
  assert_string_equal(readings_again, readings);
  lw_store_close(other);
  free(readings_again);
  free(readings);
  free(again);
  free(text);
}

static void json_goes_out_and_in_unchanged(void **state) {
  (void)state;
  round_trip(LW_EXPORT_JSON);
}

static void csv_goes_out_and_in_unchanged(void **state) {
  (void)state;
  round_trip(LW_EXPORT_CSV);
}

static void the_two_forms_hold_the_same(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  fill(store);
  size_t csv_length = 0;
  char *csv = exported(store, LW_EXPORT_CSV, &csv_length);
  char *json = exported(store, LW_EXPORT_JSON, NULL);
  lw_store_close(store);
  char other_path[160];
  snprintf(other_path, sizeof other_path, "%s/other.db", folder);
  lw_store *other = open_store(other_path);
  import_must(other, LW_EXPORT_CSV, csv, csv_length, 3, 0);
  char *again = exported(other, LW_EXPORT_JSON, NULL);
  assert_string_equal(again, json);
  lw_store_close(other);
  free(again);
  free(json);
  free(csv);
}

static void an_export_is_json_that_any_program_reads(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  char *empty = exported(store, LW_EXPORT_JSON, NULL);
  json_t *root = json_loads(empty, 0, NULL);
  assert_int_equal(json_array_size(json_object_get(root, "runs")), 0);
  json_decref(root);
  free(empty);
  fill(store);
  char *text = exported(store, LW_EXPORT_JSON, NULL);
  root = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
  json_t *run = json_array_get(json_object_get(root, "runs"), 0);
  assert_string_equal(json_string_value(json_object_get(run, "job_source")), HARD_JOB);
  assert_true(json_is_null(json_object_get(run, "fitted_source")));
  assert_true(json_is_object(json_object_get(run, "result")));
  json_decref(root);
  free(text);
  lw_store_close(store);
}

static void a_cell_is_no_formula(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  fill(store);
  char *csv = exported(store, LW_EXPORT_CSV, NULL);
  HOLDS(csv, ",'=SUM(A1:A9),");
  HOLDS(csv, ",''CW 1,");
  char *readings = exported(store, LW_EXPORT_READINGS_CSV, NULL);
  HOLDS(readings, ",'-1,");
  HOLDS(readings, ",'+ later,");
  free(readings);
  free(csv);
  lw_store_close(store);
}

static void readings_are_in_shop_units(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  save_text(store, HARD_JOB, NULL);
  char *csv = exported(store, LW_EXPORT_READINGS_CSV, NULL);
  const char *second = strstr(csv, "\r\n") + 2;
  HOLDS(csv, "speed (rpm)");
  HOLDS(csv, "manifold vacuum (inHg)");
  HOLDS(second, ",as found,idle,,650,,3.5,13.1,240,hexane,0.4,,");
  HOLDS(second, ",18,,,,,,left 2; right 1.75,\r\n");
  free(csv);
  lw_store_close(store);
}

static void joined_stores_keep_every_run(void **state) {
  (void)state;
  char other_path[160];
  snprintf(other_path, sizeof other_path, "%s/other.db", folder);
  lw_store *store = open_store(store_path), *other = open_store(other_path);
  fill(store);
  save_text(other, "job: elsewhere\n", NULL);
  save_text(other, "job: plain\n", NULL);
  size_t length = 0;
  char *text = exported(other, LW_EXPORT_CSV, &length);
  import_must(store, LW_EXPORT_CSV, text, length, 2, 0);
  assert_int_equal(count_runs(store, NULL, true), 5);
  assert_int_equal(count_runs(store, NULL, false), 3);
  free(text);
  lw_store_close(store);
  lw_store_close(other);
  LOOKS("SELECT group_concat(id) FROM run", "1,2,3,4,5");
}

static void a_backup_is_a_store_of_one_file(void **state) {
  (void)state;
  char copy_path[160], other[170];
  snprintf(copy_path, sizeof copy_path, "%s/copy.db", folder);
  lw_store *store = open_store(store_path);
  fill(store);
  lw_error error = {0};
  must(lw_store_backup(store, copy_path, &error), &error);
  assert_int_equal(mode_of(copy_path), 0600);
  save_text(store, "job: later\n", NULL);
  must(lw_store_backup(store, copy_path, &error), &error); /* replaces the older copy */
  char *text = exported(store, LW_EXPORT_JSON, NULL);
  assert_int_equal(lw_store_backup(store, store_path, &error), LW_STORE);
  HOLDS(error.text, "the store itself");
  snprintf(other, sizeof other, "%s/letter.txt", folder);
  spill(other, "Dear A. R.", 10);
  assert_int_equal(lw_store_backup(store, other, &error), LW_STORE);
  HOLDS(error.text, "no backup copy");
  char *kept = slurp(other, NULL);
  assert_string_equal(kept, "Dear A. R.");
  free(kept);
  lw_store_close(store);
  snprintf(other, sizeof other, "%s-wal", copy_path);
  assert_int_equal(access(other, F_OK), -1);
  lw_store *copy = open_store(copy_path);
  char *again = exported(copy, LW_EXPORT_JSON, NULL);
  assert_string_equal(again, text);
  save_text(copy, "job: goes on\n", NULL);
  lw_store_close(copy);
  free(again);
  free(text);
}

static void the_usual_place_follows_the_environment(void **state) {
  (void)state;
  char path[300];
  setenv("HOME", "/home/mk", 1);
  unsetenv("XDG_DATA_HOME");
  unsetenv("LEANWARD_STORE");
  assert_string_equal(lw_store_default_path(path, sizeof path),
                      "/home/mk/.local/share/leanward/jobs.db");
  setenv("XDG_DATA_HOME", "/data", 1);
  assert_string_equal(lw_store_default_path(path, sizeof path), "/data/leanward/jobs.db");
  setenv("XDG_DATA_HOME", "relative", 1);
  assert_string_equal(lw_store_default_path(path, sizeof path),
                      "/home/mk/.local/share/leanward/jobs.db");
  setenv("LEANWARD_STORE", "/shop/jobs.db", 1);
  assert_string_equal(lw_store_default_path(path, sizeof path), "/shop/jobs.db");
}

/* SQLite reads a meaning into some names; here each is a file. */
static void odd_names_are_files(void **state) {
  (void)state;
  static const char *const names[] = {":memory:", "file:x?mode=memory", "a b%20#c?.db", "-x"};
  char held[300];
  assert_non_null(getcwd(held, sizeof held));
  assert_int_equal(chdir(folder), 0);
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
    lw_store *store = open_store(names[i]);
    save_text(store, "job: odd\n", NULL);
    lw_store_close(store);
    assert_int_equal(access(names[i], F_OK), 0);
    lw_error error = {0};
    must(lw_store_open(names[i], true, &store, &error), &error);
    assert_int_equal(count_runs(store, NULL, true), 1);
    lw_store_close(store);
  }
  assert_int_equal(chdir(held), 0);
}

#define IN_FOLDER(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void) {
  const struct CMUnitTest tests[] = {
      IN_FOLDER(a_new_store_is_private_and_marked),
      IN_FOLDER(the_side_files_are_private_too),
      IN_FOLDER(sources_come_back_byte_for_byte),
      IN_FOLDER(readings_are_rows_in_si),
      IN_FOLDER(the_same_job_again_is_a_new_run),
      IN_FOLDER(the_list_is_newest_first_and_of_newest_runs),
      IN_FOLDER(search_wants_every_word_and_no_more),
      IN_FOLDER(search_ignores_case_beyond_ascii),
      IN_FOLDER(json_goes_out_and_in_unchanged),
      IN_FOLDER(csv_goes_out_and_in_unchanged),
      IN_FOLDER(the_two_forms_hold_the_same),
      IN_FOLDER(an_export_is_json_that_any_program_reads),
      IN_FOLDER(a_cell_is_no_formula),
      IN_FOLDER(readings_are_in_shop_units),
      IN_FOLDER(joined_stores_keep_every_run),
      IN_FOLDER(a_backup_is_a_store_of_one_file),
      IN_FOLDER(the_usual_place_follows_the_environment),
      IN_FOLDER(odd_names_are_files),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
