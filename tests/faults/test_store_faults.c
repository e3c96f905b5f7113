/* test_store_faults.c - the store when things go wrong: wrong files, damage, full and read-only
** disks, several processes at once, and a process killed in the middle.
**
** Full and read-only disks are real ones: small tmpfs mounts in a mount namespace of a child, gone
** when it ends. Where that is not allowed, those tests say that they were skipped; a full disk is
** then still tested through a limit on file size.
*/
#define _GNU_SOURCE /* unshare */

#include "store_case.h"

#include "../../src/record/store.h"

#include <dirent.h>
#include <sched.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>

static char folder[64], store_path[128];

static int set_up(void **state) {
  (void)state;
  snprintf(folder, sizeof folder, "%s", fresh_folder());
  snprintf(store_path, sizeof store_path, "%s/jobs.db", folder);
  return 0;
}

static int tear_down(void **state) {
  (void)state;
  remove_folder(folder);
  return 0;
}

static int entries(const char *path) {
  int count = 0;
  DIR *dir = opendir(path);
  assert_non_null(dir);
  while (readdir(dir))
    count++;
  closedir(dir);
  return count - 2;
}

static void make_store(const char *path, int jobs) {
  lw_store *store = open_store(path);
  for (int i = 0; i < jobs; i++) {
    char text[sizeof HARD_JOB + 40];
    snprintf(text, sizeof text, "%sshop: bay %d\r\n", HARD_JOB, i);
    save_text(store, text, SMALL_CARD);
  }
  lw_store_close(store);
}

static void run_sql(const char *path, const char *sql) {
  sqlite3 *db = NULL;
  assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
  char *words = NULL;
  if (sqlite3_exec(db, sql, NULL, NULL, &words) != SQLITE_OK) fail_msg("%s: %s", sql, words);
  assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

static void integrity_holds(const char *path) {
  sqlite3 *db = NULL;
  sqlite3_stmt *s = NULL;
  assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
  assert_int_equal(sqlite3_prepare_v2(db, "PRAGMA integrity_check", -1, &s, NULL), SQLITE_OK);
  assert_int_equal(sqlite3_step(s), SQLITE_ROW);
  assert_string_equal((const char *)sqlite3_column_text(s, 0), "ok");
  sqlite3_finalize(s);
  assert_int_equal(sqlite3_prepare_v2(db, "PRAGMA foreign_key_check", -1, &s, NULL), SQLITE_OK);
  assert_int_equal(sqlite3_step(s), SQLITE_DONE);
  sqlite3_finalize(s);
  sqlite3_close(db);
}

/* Opening for reading and for writing gives a line that holds words, and not a byte changes. */
static void is_refused(const char *path, const char *words) {
  size_t before_length = 0, after_length = 0;
  char *before = slurp(path, &before_length);
  int files = entries(folder);
  HOLDS(refusal(path, false, LW_STORE), words);
  HOLDS(refusal(path, true, LW_STORE), words);
  char *after = slurp(path, &after_length);
  assert_int_equal(after_length, before_length);
  assert_memory_equal(after, before, before_length);
  assert_int_equal(entries(folder), files);
  free(after);
  free(before);
}

/* ---- wrong files ---- */

static void a_newer_store_is_left_alone(void **state) {
  (void)state;
  make_store(store_path, 2);
  run_sql(store_path, "PRAGMA user_version = 99");
  is_refused(store_path, "version 99 and this program knows up to version 2");
  HOLDS(refusal(store_path, false, LW_STORE), "--store PATH");
}

/* The newer version may still lie in the log that its program left when it was killed. */
static void a_newer_version_in_the_log_is_seen(void **state) {
  (void)state;
  make_store(store_path, 1);
  pid_t child = fork();
  if (child == 0) {
    sqlite3 *db = NULL;
    sqlite3_open(store_path, &db);
    sqlite3_exec(db, "PRAGMA user_version = 99", NULL, NULL, NULL);
    kill(getpid(), SIGKILL);
  }
  int result = 0;
  waitpid(child, &result, 0);
  HOLDS(refusal(store_path, false, LW_STORE), "version 99");
  HOLDS(refusal(store_path, true, LW_STORE), "version 99");
}

static void migration_goes_from_nothing_to_now_and_no_further(void **state) {
  (void)state;
  sqlite3 *db = NULL;
  lw_error error = {0};
  int64_t version = -1, tables = 0;
  assert_int_equal(sqlite3_open(":memory:", &db), SQLITE_OK);
  must(store_migrate(db, "m", &error), &error);
  assert_int_equal(store_whole(db, "PRAGMA user_version", &version), SQLITE_OK);
  assert_int_equal(version, LW_STORE_VERSION);
  must(store_migrate(db, "m", &error), &error);
  assert_int_equal(store_run_sql(db, "PRAGMA user_version = 99"), SQLITE_OK);
  assert_int_equal(store_migrate(db, "m", &error), LW_STORE);
  HOLDS(error.text, "version 99");
  assert_int_not_equal(sqlite3_get_autocommit(db), 0);
  sqlite3_close(db);
  /* a step that fails leaves what was there, wholly */
  assert_int_equal(sqlite3_open(":memory:", &db), SQLITE_OK);
  store_run_sql(db, "CREATE TABLE reading(x)");
  assert_int_equal(store_migrate(db, "m", &error), LW_STORE);
  assert_int_equal(store_whole(db, "SELECT count(*) FROM sqlite_schema", &tables), SQLITE_OK);
  assert_int_equal(tables, 1);
  sqlite3_close(db);
}

static void a_database_of_another_program_is_left_alone(void **state) {
  (void)state;
  run_sql(store_path, "CREATE TABLE songs(title TEXT); INSERT INTO songs VALUES('x')");
  is_refused(store_path, "database of another program");
  char path[140];
  snprintf(path, sizeof path, "%s/wal.db", folder);
  run_sql(path, "PRAGMA journal_mode = WAL; PRAGMA user_version = 1; CREATE TABLE run(id)");
  is_refused(path, "database of another program");
}

static void what_is_no_database_is_left_alone(void **state) {
  (void)state;
  spill(store_path, "job: CW-1\n", 10);
  is_refused(store_path, "no store of Leanward");
  char *junk = malloc(40000);
  for (int i = 0; i < 40000; i++)
    junk[i] = (char)(i * 31 + 7);
  spill(store_path, junk, 40000);
  is_refused(store_path, "no store of Leanward");
  free(junk);
  spill(store_path, "", 0);
  is_refused(store_path, "this file is empty");
}

static void paths_that_are_no_files(void **state) {
  (void)state;
  HOLDS(refusal("", false, LW_STORE), "path of the store is empty");
  HOLDS(refusal("", true, LW_STORE), "--store PATH");
  HOLDS(refusal(folder, false, LW_STORE), "this is a folder");
  HOLDS(refusal("/dev/null", false, LW_STORE), "no regular file");
  HOLDS(refusal(store_path, true, LW_NOT_FOUND), "there is no store here");
  assert_int_equal(entries(folder), 0);
  spill(store_path, "x", 1);
  char path[200];
  snprintf(path, sizeof path, "%s/under/jobs.db", store_path);
  HOLDS(refusal(path, false, LW_STORE), "Not a directory");
  HOLDS(refusal("/proc/nowhere/jobs.db", false, LW_STORE), "/proc/nowhere cannot be made");
  char longest[5000];
  memset(longest, 'a', sizeof longest - 1);
  longest[sizeof longest - 1] = '\0';
  refusal(longest, false, LW_STORE);
}

/* ---- damage ---- */

static void a_damaged_page_anywhere_is_found(void **state) {
  (void)state;
  make_store(store_path, 8);
  size_t length = 0;
  char *whole = slurp(store_path, &length);
  assert_true(length / 4096 > 12);
  for (size_t page = 0; page < length / 4096; page++) {
    char *bytes = malloc(length);
    memcpy(bytes, whole, length);
    memset(bytes + page * 4096, 0xA5, 4096);
    spill(store_path, bytes, length);
    size_t after_length = 0;
    const char *line = refusal(store_path, false, LW_STORE);
    HOLDS(line, page ? "damaged" : "no store of Leanward");
    HOLDS(line, "--store PATH");
    char *after = slurp(store_path, &after_length);
    assert_int_equal(after_length, length);
    assert_memory_equal(after, bytes, length);
    free(after);
    free(bytes);
  }
  spill(store_path, whole, length);
  lw_store_close(open_store(store_path));
  free(whole);
}

static void a_cut_store_is_found(void **state) {
  (void)state;
  make_store(store_path, 8);
  size_t length = 0;
  char *whole = slurp(store_path, &length);
  for (size_t kept = 1; kept < length; kept += kept < 200 ? 33 : 4096 * 3 + 17) {
    spill(store_path, whole, kept);
    HOLDS(refusal(store_path, false, LW_STORE), "--store PATH");
    HOLDS(refusal(store_path, true, LW_STORE), "--store PATH");
  }
  free(whole);
}

static void a_store_without_its_tables_is_found(void **state) {
  (void)state;
  char sql[100];
  snprintf(sql, sizeof sql, "PRAGMA application_id = %d; CREATE TABLE x(y)", STORE_APPLICATION_ID);
  run_sql(store_path, sql);
  is_refused(store_path, "damaged (it has no version)");
}

/* A run that the tables refuse (a card without a name) takes nothing with it; the store goes on. */
static void a_refused_run_leaves_no_trace(void **state) {
  (void)state;
  lw_store *store = open_store(store_path);
  made_case m = made_case_new("job: refused\n", SMALL_CARD);
  m.given.card->file = NULL;
  lw_error error = {0};
  int64_t run = -7, jobs = -1;
  assert_int_equal(lw_store_save(store, &m.given, m.work, &run, &error), LW_STORE);
  HOLDS(error.text, "nothing was saved");
  assert_int_equal(run, -7);
  made_case_free(&m);
  save_text(store, "job: next\n", NULL);
  assert_int_equal(count_runs(store, NULL, true), 1);
  lw_store_close(store);
  sqlite3 *db = NULL;
  assert_int_equal(sqlite3_open(store_path, &db), SQLITE_OK);
  assert_int_equal(store_whole(db, "SELECT count(*) FROM job", &jobs), SQLITE_OK);
  sqlite3_close(db);
  assert_int_equal(jobs, 1);
}

/* ---- full disk ---- */

static char *long_job(int number) {
  char *text = malloc(9000);
  int length = snprintf(text, 9000, "job: F-%d\ncomplaint: ", number);
  memset(text + length, 'x', 8000);
  memcpy(text + length + 8000, "\n", 2);
  return text;
}

/* Save until it fails; how many runs were acknowledged. The failure must say what it is. */
static int64_t save_until_full(lw_store *store, int most, char *line, size_t size) {
  int64_t saved = 0;
  for (int i = 0; i < most; i++) {
    char *text = long_job(i);
    made_case m = made_case_new(text, NULL);
    lw_error error = {0};
    int64_t run = -7;
    lw_status status = lw_store_save(store, &m.given, m.work, &run, &error);
    lw_error_line(&error, line, size);
    made_case_free(&m);
    free(text);
    if (status != LW_OK) {
      assert_int_equal(status, LW_STORE);
      assert_int_equal(run, -7);
      return saved;
    }
    saved++;
  }
  fail_msg("the disk never filled");
  return -1;
}

static void in_child(void (*body)(void)) {
  fflush(NULL);
  pid_t child = fork();
  if (child == 0) {
    body();
    _exit(0);
  }
  int result = -1;
  assert_int_equal(waitpid(child, &result, 0), child);
  if (result != 0) fail_msg("the child ended with %#x", result);
}

/* A failed check in a child must end it, not return into the tests behind it. */
#define CHILD_HOLDS(condition)                                                                     \
  do {                                                                                             \
    if (!(condition)) {                                                                            \
      fprintf(stderr, "%s:%d: not so: %s\n", __FILE__, __LINE__, #condition);                      \
      _exit(1);                                                                                    \
    }                                                                                              \
  } while (0)

static void under_a_size_limit(void) {
  signal(SIGXFSZ, SIG_IGN);
  lw_store *store = open_store(store_path);
  setrlimit(RLIMIT_FSIZE, &(struct rlimit){400000, 400000});
  char line[1000];
  int64_t saved = save_until_full(store, 200, line, sizeof line);
  CHILD_HOLDS(saved >= 3);
  CHILD_HOLDS(strstr(line, "nothing was saved: the disk took no more: it is full, over a quota"));
  CHILD_HOLDS(count_runs(store, NULL, true) == saved);
  lw_store_close(store);
  FILE *note = fopen(store_path, "r");
  CHILD_HOLDS(note);
  fclose(note);
  char path[160];
  snprintf(path, sizeof path, "%s/saved", folder);
  note = fopen(path, "w");
  fprintf(note, "%lld", (long long)saved);
  fclose(note);
}

static void a_size_limit_loses_nothing(void **state) {
  (void)state;
  in_child(under_a_size_limit);
  char path[160];
  snprintf(path, sizeof path, "%s/saved", folder);
  char *text = slurp(path, NULL);
  int64_t saved = atoi(text);
  free(text);
  integrity_holds(store_path);
  lw_store *store = open_store(store_path);
  assert_int_equal(count_runs(store, NULL, true), saved);
  save_text(store, "job: after\n", NULL);
  assert_int_equal(count_runs(store, NULL, true), saved + 1);
  lw_store_close(store);
}

/* A tmpfs of this size over folder, in a namespace of our own. False: not allowed here. */
static bool own_disk(const char *options) {
  return unshare(CLONE_NEWNS) == 0 && mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) == 0 &&
         mount("tmpfs", folder, "tmpfs", 0, options) == 0;
}

static void try_own_disk(void) {
  _exit(own_disk("size=64k") ? 0 : 1);
}

static bool mounts_allowed(void) {
  fflush(NULL);
  pid_t child = fork();
  if (child == 0) try_own_disk();
  int result = -1;
  waitpid(child, &result, 0);
  if (result != 0) fprintf(stderr, "mounting is not allowed here: skipped\n");
  return result == 0;
}

/* Fill what is left of the disk to the last byte. */
static void fill_disk(void) {
  char path[160], block[4096] = {1};
  snprintf(path, sizeof path, "%s/ballast", folder);
  FILE *file = fopen(path, "wb");
  setvbuf(file, NULL, _IONBF, 0);
  while (fwrite(block, 1, sizeof block, file) == sizeof block) {}
  while (fwrite(block, 1, 1, file) == 1) {}
  fclose(file);
}

static void free_disk(void) {
  char path[160];
  snprintf(path, sizeof path, "%s/ballast", folder);
  CHILD_HOLDS(unlink(path) == 0);
}

static void on_a_small_disk(void) {
  CHILD_HOLDS(own_disk("size=600k"));
  lw_store *store = open_store(store_path);
  char line[1000];
  int64_t saved = save_until_full(store, 500, line, sizeof line);
  CHILD_HOLDS(saved >= 3);
  CHILD_HOLDS(strstr(line, "jobs.db: nothing was saved: the disk is full; free some space"));
  CHILD_HOLDS(strstr(line, "--store PATH"));
  CHILD_HOLDS(count_runs(store, NULL, true) == saved);
  lw_store_close(store);
  fill_disk();
  integrity_holds(store_path);
  lw_error error = {0};
  CHILD_HOLDS(lw_store_open(store_path, true, &store, &error) == LW_OK);
  CHILD_HOLDS(count_runs(store, NULL, true) == saved);
  lw_store_close(store);
  free_disk();
  store = open_store(store_path);
  CHILD_HOLDS(count_runs(store, NULL, true) == saved);
  lw_store_close(store);
}

static void a_full_disk_loses_nothing(void **state) {
  (void)state;
  if (!mounts_allowed()) skip();
  in_child(on_a_small_disk);
}

/* The larger half of what can be refused by a disk: an import, a copy, an export. */
static void carrying_on_a_small_disk(void) {
  CHILD_HOLDS(own_disk("size=900k"));
  make_store(store_path, 3);
  lw_store *store = open_store(store_path);
  char *before = exported(store, LW_EXPORT_JSON, NULL);
  char other_path[] = "/tmp/leanward-import-XXXXXX";
  CHILD_HOLDS(mkdtemp(other_path) != NULL);
  char path[160];
  snprintf(path, sizeof path, "%s/other.db", other_path);
  lw_store *other = open_store(path);
  for (int i = 0; i < 120; i++) {
    char *text = long_job(i);
    save_text(other, text, NULL);
    free(text);
  }
  size_t length = 0;
  char *large = exported(other, LW_EXPORT_CSV, &length);
  lw_store_close(other);
  remove_folder(other_path);
  lw_error error = {0};
  int64_t added = -1, present = -1;
  CHILD_HOLDS(lw_store_import(store, LW_EXPORT_CSV, "e.csv", large, length, &added, &present,
                              &error) == LW_STORE);
  CHILD_HOLDS(strstr(error.text, "nothing was imported: the disk is full"));
  CHILD_HOLDS(added == -1 && present == -1);
  char *after = exported(store, LW_EXPORT_JSON, NULL);
  CHILD_HOLDS(strcmp(after, before) == 0);
  fill_disk();
  int files = entries(folder);
  snprintf(path, sizeof path, "%s/copy.db", folder);
  CHILD_HOLDS(lw_store_backup(store, path, &error) == LW_STORE);
  CHILD_HOLDS(strstr(error.text, "full") || strstr(error.text, "No space"));
  CHILD_HOLDS(access(path, F_OK) != 0);
  snprintf(path, sizeof path, "%s/new/jobs.db", folder);
  refusal(path, false, LW_STORE);
  snprintf(path, sizeof path, "%s/new.db", folder);
  CHILD_HOLDS(strstr(refusal(path, false, LW_STORE), "full"));
  CHILD_HOLDS(access(path, F_OK) != 0);
  CHILD_HOLDS(lw_file_write(path, large, length, &error) == LW_IO);
  CHILD_HOLDS(access(path, F_OK) != 0);
  free_disk();
  snprintf(path, sizeof path, "%s/new", folder);
  bool folder_made = access(path, F_OK) == 0;
  CHILD_HOLDS(entries(folder) == files - 1 + folder_made);
  lw_store_close(store);
  integrity_holds(store_path);
}

static void a_full_disk_refuses_import_and_copy_whole(void **state) {
  (void)state;
  if (!mounts_allowed()) skip();
  in_child(carrying_on_a_small_disk);
}

/* ---- what may not be written ---- */

static void on_a_read_only_disk(void) {
  CHILD_HOLDS(own_disk("size=2m"));
  make_store(store_path, 2);
  CHILD_HOLDS(mount("none", folder, NULL, MS_REMOUNT | MS_RDONLY, NULL) == 0);
  lw_store *store = NULL;
  lw_error error = {0};
  CHILD_HOLDS(lw_store_open(store_path, false, &store, &error) == LW_STORE);
  CHILD_HOLDS(strstr(error.text, "may not be written (Read-only file system)"));
  CHILD_HOLDS(strstr(error.text, "--store PATH"));
  char line[1000];
  error = (lw_error){0};
  if (lw_store_open(store_path, true, &store, &error) != LW_OK) {
    fprintf(stderr, "%s\n", lw_error_line(&error, line, sizeof line));
    _exit(1);
  }
  CHILD_HOLDS(count_runs(store, "corran", true) == 2);
  made_case m = made_case_new("job: x\n", NULL);
  int64_t run = -7;
  CHILD_HOLDS(lw_store_save(store, &m.given, m.work, &run, &error) == LW_STORE && run == -7);
  made_case_free(&m);
  lw_store_close(store);
  char path[160];
  snprintf(path, sizeof path, "%s/new.db", folder);
  CHILD_HOLDS(strstr(refusal(path, false, LW_STORE), "Read-only file system"));
}

static void a_read_only_disk_is_read(void **state) {
  (void)state;
  if (!mounts_allowed()) skip();
  in_child(on_a_read_only_disk);
}

static void give_up_root(void) {
  if (geteuid() != 0) return;
  CHILD_HOLDS(setgid(65534) == 0 && setuid(65534) == 0);
}

static void as_a_stranger(void) {
  give_up_root();
  lw_store *store = NULL;
  lw_error error = {0};
  CHILD_HOLDS(lw_store_open(store_path, false, &store, &error) == LW_STORE);
  CHILD_HOLDS(strstr(error.text, "may not be written (Permission denied)"));
  CHILD_HOLDS(lw_store_open(store_path, true, &store, &error) == LW_OK);
  CHILD_HOLDS(count_runs(store, NULL, true) == 2);
  lw_store_close(store);
  char path[160];
  snprintf(path, sizeof path, "%s/new.db", folder);
  CHILD_HOLDS(strstr(refusal(path, false, LW_STORE), "Permission denied"));
  snprintf(path, sizeof path, "%s/sub/new.db", folder);
  CHILD_HOLDS(strstr(refusal(path, false, LW_STORE), "Permission denied"));
}

static void a_folder_without_write_permission_is_read(void **state) {
  (void)state;
  make_store(store_path, 2);
  assert_int_equal(chmod(store_path, 0666), 0); /* the file may be written, its folder not */
  assert_int_equal(chmod(folder, 0555), 0);
  in_child(as_a_stranger);
  assert_int_equal(chmod(store_path, 0444), 0);
  in_child(as_a_stranger);
  assert_int_equal(chmod(folder, 0755), 0);
  assert_int_equal(entries(folder), 1);
}

static void as_a_stranger_without_rights(void) {
  give_up_root();
  CHILD_HOLDS(strstr(refusal(store_path, true, LW_STORE), "Permission denied"));
  CHILD_HOLDS(strstr(refusal(store_path, false, LW_STORE), "Permission denied"));
}

static void an_unreadable_store_says_so(void **state) {
  (void)state;
  make_store(store_path, 1);
  assert_int_equal(chmod(store_path, 0000), 0);
  assert_int_equal(chmod(folder, 0755), 0);
  in_child(as_a_stranger_without_rights);
}

/* ---- several processes ---- */

enum { PROCESSES = 4, EACH = 25 };

static void save_many(int process) {
  lw_store *store = open_store(store_path);
  for (int i = 0; i < EACH; i++) {
    char text[100];
    snprintf(text, sizeof text, "job: P%d-%d\nreadings: [{speed: %d rpm}]\n", process, i, 600 + i);
    save_text(store, text, NULL);
  }
  lw_store_close(store);
}

/* All start on a path where there is no store yet. */
static void a_hundred_jobs_from_four_processes_are_all_there(void **state) {
  (void)state;
  fflush(NULL);
  pid_t children[PROCESSES];
  for (int p = 0; p < PROCESSES; p++) {
    children[p] = fork();
    if (children[p] == 0) {
      save_many(p);
      _exit(0);
    }
  }
  for (int p = 0; p < PROCESSES; p++) {
    int result = -1;
    waitpid(children[p], &result, 0);
    assert_int_equal(result, 0);
  }
  integrity_holds(store_path);
  lw_store *store = open_store(store_path);
  assert_int_equal(count_runs(store, NULL, true), PROCESSES * EACH);
  assert_int_equal(count_runs(store, NULL, false), PROCESSES * EACH);
  lw_store_close(store);
  assert_int_equal(entries(folder), 1);
}

/* Another process holds the store for a while: saving waits. */
static void a_held_store_is_waited_for(void **state) {
  (void)state;
  make_store(store_path, 1);
  int ready[2];
  assert_int_equal(pipe(ready), 0);
  fflush(NULL);
  pid_t child = fork();
  if (child == 0) {
    sqlite3 *db = NULL;
    sqlite3_open(store_path, &db);
    sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL);
    if (write(ready[1], "x", 1) != 1) _exit(1);
    nanosleep(&(struct timespec){0, 400000000L}, NULL);
    sqlite3_close(db);
    _exit(0);
  }
  char byte;
  assert_int_equal(read(ready[0], &byte, 1), 1);
  lw_store *store = open_store(store_path);
  save_text(store, "job: patient\n", NULL);
  assert_int_equal(count_runs(store, NULL, true), 2);
  lw_store_close(store);
  int result = -1;
  waitpid(child, &result, 0);
  assert_int_equal(result, 0);
  close(ready[0]);
  close(ready[1]);
}

/* ---- a process killed in the middle ---- */

static void save_and_tell(int out, int round) {
  lw_store *store = open_store(store_path);
  for (int i = 0;; i++) {
    char text[200];
    snprintf(text, sizeof text, "job: K%d-%d\nreadings: [{speed: 600 rpm}, {speed: 700 rpm}]\n",
             round, i);
    int64_t run = save_text(store, text, SMALL_CARD);
    if (write(out, &run, sizeof run) != sizeof run) _exit(1);
  }
}

/* Every acknowledged run is there with its two readings; at most one more, whole, is too. */
static void acknowledged_runs_are_there(const int64_t *runs, int64_t count) {
  lw_store *store = open_store(store_path);
  lw_error error = {0};
  for (int64_t i = 0; i < count; i++) {
    lw_arena *arena = lw_arena_new(0);
    lw_store_run shown;
    must(lw_store_show(store, runs[i], arena, &shown, &error), &error);
    lw_arena_free(arena);
  }
  lw_store_close(store);
  sqlite3 *db = NULL;
  int64_t bare = -1;
  assert_int_equal(sqlite3_open(store_path, &db), SQLITE_OK);
  assert_int_equal(store_whole(db,
                               "SELECT count(*) FROM run WHERE 2 <>"
                               " (SELECT count(*) FROM reading WHERE reading.run = run.id)",
                               &bare),
                   SQLITE_OK);
  sqlite3_close(db);
  assert_int_equal(bare, 0);
}

static void a_killed_process_loses_no_acknowledged_run(void **state) {
  (void)state;
  enum { ROUNDS = 20, ROUNDS_MOST = 200, MOST = 20000 };
  int64_t *runs = calloc(MOST, sizeof *runs);
  int64_t count = 0;
  int round = 0;
  /* on a busy machine it may take more of them, and longer, until enough is acknowledged */
  for (; round < ROUNDS || (count <= ROUNDS && round < ROUNDS_MOST); round++) {
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    fflush(NULL);
    pid_t child = fork();
    if (child == 0) {
      close(ends[0]);
      save_and_tell(ends[1], round);
    }
    close(ends[1]);
    nanosleep(&(struct timespec){0, 2000000L + round * 9000000L}, NULL);
    kill(child, SIGKILL);
    int64_t run;
    while (read(ends[0], &run, sizeof run) == sizeof run && count < MOST)
      runs[count++] = run;
    close(ends[0]);
    int result = 0;
    waitpid(child, &result, 0);
    assert_true(WIFSIGNALED(result) && WTERMSIG(result) == SIGKILL);
    if (access(store_path, F_OK) != 0) {
      assert_int_equal(count, 0); /* killed before there was a store */
      continue;
    }
    integrity_holds(store_path);
    acknowledged_runs_are_there(runs, count);
  }
  assert_true(count > ROUNDS);
  lw_store *store = open_store(store_path);
  int64_t held = count_runs(store, NULL, true);
  lw_store_close(store);
  if (held < count || held > count + round) {
    fail_msg("%lld runs are there, %lld were acknowledged", (long long)held, (long long)count);
  }
  free(runs);
}

/* ---- broken imports ---- */

/* Change text (a piece of an export) and import it: refused, line named, nothing added. */
static void import_is_refused(lw_export_form form, const char *text, size_t length,
                              const char *words) {
  lw_store *store = open_store(store_path);
  char *before = exported(store, LW_EXPORT_JSON, NULL);
  lw_error error = {0};
  int64_t added = -1, present = -1;
  lw_status status = lw_store_import(store, form, "e", text, length, &added, &present, &error);
  char line[1000];
  lw_error_line(&error, line, sizeof line);
  if (status != LW_BAD_INPUT) fail_msg("status %d (want: %s): %s", (int)status, words, line);
  HOLDS(line, words);
  assert_int_equal(added, -1);
  char *after = exported(store, LW_EXPORT_JSON, NULL);
  assert_string_equal(after, before);
  free(after);
  free(before);
  lw_store_close(store);
}

typedef struct change {
  const char *from, *to, *words;
} change;

/* text with the last from replaced by to, malloced. */
static char *changed(const char *text, const change *c) {
  const char *at = NULL;
  for (const char *p = text; (p = strstr(p, c->from)); p++)
    at = p;
  if (!at) fail_msg("'%s' is not in the export", c->from);
  char *made = malloc(strlen(text) + strlen(c->to) + 1);
  memcpy(made, text, (size_t)(at - text));
  sprintf(made + (at - text), "%s%s", c->to, at + strlen(c->from));
  return made;
}

/* An export of three runs; the last, plain one, is what the changes break. */
static char *three_runs(lw_export_form form) {
  char path[160];
  snprintf(path, sizeof path, "%s/from.db", folder);
  lw_store *store = open_store(path);
  save_text(store, HARD_JOB, SMALL_CARD);
  save_text(store, HARD_JOB, NULL);
  save_text(store, "job: last\ncar: {plate: CW 7}\n", NULL);
  char *text = exported(store, form, NULL);
  lw_store_close(store);
  return text;
}

static int lines_before(const char *text, const char *part) {
  int line = 1;
  for (const char *p = text; p < strstr(text, part); p++)
    line += *p == '\n';
  return line;
}

static void a_broken_json_export_is_refused_whole(void **state) {
  (void)state;
  static const change changes[] = {
      {"\"saved_at\":\"2", "\"saved_at\":\"X", "e:4: saved_at: "},
      {"\"saved_at\"", "\"saved_ad\"",
       "e:4: 'saved_ad' is no key of an exported run; did you mean"},
      {"\"car\":\"\",\"plate\":\"CW 7\"", "\"car\":\"\",\"plate\":\"CW 8\"",
       "e:4: plate: 'CW 8' is not what"},
      {"\"readings\":0", "\"readings\":1", "e:4: readings: "},
      {"\"readings\":0", "\"readings\":\"0\"", "e:4: readings: a whole number"},
      {"\"run\":3", "\"run\":-3", "e:4: run: "},
      {"\"run\":3", "\"run\":9223372036854775807", "e:4: run: "},
      {"job: last\\ncar", "job: last\\ncra", "e:4: job_source: line 2: "},
      {"job: last\\ncar", "job: last\\u0000car", "e:4"},
      {"\"card_file\":null,\"card_s", "\"card_file\":\"x\",\"card_s", "e:4: card_file: "},
      {"\"result\":{", "\"result\":[{", "e:"},
      {"\"job_file\":\"jobs/made.yaml\"", "\"job_file\":\"\"", "e:4: job_file: it is missing"},
      {"\n]}", "\n,7]}", "e:5: runs: an object"},
      {"\n]}", "\n],\"more\":1}", "e:1: 'more' is no key"},
      {"\n]}", "\n]", "e:6: this does not read as JSON"},
      {"leanward jobs", "other jobs", "e:1: this is no export of Leanward"},
      {"\"version\":1,", "\"version\":2,", "e:1: version: "},
  };
  char *text = three_runs(LW_EXPORT_JSON);
  for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
    char *made = changed(text, &changes[i]);
    import_is_refused(LW_EXPORT_JSON, made, strlen(made), changes[i].words);
    free(made);
  }
  free(text);
}

static void a_broken_csv_export_is_refused_whole(void **state) {
  (void)state;
  static const change changes[] = {
      {"3,2", "3,X", "saved_at: "},
      {"3,2", "three,2", "run: "},
      {",no verdict,", ",fine,", "verdict: "},
      {",CW 7,", ",CW 8,", "plate: 'CW 8' is not what"},
      {",CW 7,", ",CW 7,,", "the row has more cells"},
      {",CW 7,", ",", "the row has 20 cells and the header has 21"},
      {"\"job: last\ncar", "\"job: last\ncra", "job_source: line 2: "},
      {"\"job: last\ncar", "\"job: last\n\xFF", "job_source: it is not UTF-8"},
      {",\"job: last", ",\"job: last\" x", "text follows a closing quote"},
      {"}\"\r\n", "}\r\n", "a quoted cell of the row that starts here is never closed"},
      {"{\"\"leanward", "[{\"\"leanward", "result: a JSON object"},
  };
  char *text = three_runs(LW_EXPORT_CSV);
  char at[20];
  snprintf(at, sizeof at, "e:%d: ", lines_before(text, "\r\n3,2") + 1);
  for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
    char *made = changed(text, &changes[i]);
    char words[200];
    snprintf(words, sizeof words, "%s%s", at, changes[i].words);
    import_is_refused(LW_EXPORT_CSV, made, strlen(made), words);
    free(made);
  }
  char *made = changed(text, &(change){"verdict,job,", "verdikt,job,", ""});
  import_is_refused(LW_EXPORT_CSV, made, strlen(made), "e:1: 'verdikt' is no column");
  free(made);
  made = changed(text, &(change){"verdict,job,", "program,job,", ""});
  import_is_refused(LW_EXPORT_CSV, made, strlen(made), "e:1: program: this column stands twice");
  free(made);
  import_is_refused(LW_EXPORT_CSV, "run,saved_at\r\n", 14, "e:1: program: this column is missing");
  import_is_refused(LW_EXPORT_CSV, "", 0, "e:1: ");
  import_is_refused(LW_EXPORT_READINGS_CSV, text, strlen(text), "cannot be imported");
  free(text);
}

/* What a spreadsheet does to a file on its way: a mark in front, other line ends, columns moved. */
static void a_csv_export_survives_a_spreadsheet(void **state) {
  (void)state;
  char *text = three_runs(LW_EXPORT_CSV);
  lw_store *store = open_store(store_path);
  lw_error error = {0};
  int64_t added = 0, present = 0;
  size_t size = strlen(text) + 8;
  char *marked = malloc(size);
  assert_non_null(marked);
  snprintf(marked, size, "\xEF\xBB\xBF%s\n", text);
  must(lw_store_import(store, LW_EXPORT_CSV, "e", marked, strlen(marked), &added, &present, &error),
       &error);
  assert_int_equal(added, 3);
  char *again = exported(store, LW_EXPORT_CSV, NULL);
  assert_string_equal(again, text);
  lw_store_close(store);
  free(again);
  free(marked);
  free(text);
}

/* Bytes flipped anywhere: taken or refused, never half, never a crash. */
static void flipped_bytes_are_taken_or_refused(void **state) {
  (void)state;
  static const lw_export_form forms[] = {LW_EXPORT_JSON, LW_EXPORT_CSV};
  unsigned seed = 20261120;
  int refused = 0;
  for (size_t f = 0; f < 2; f++) {
    char *text = three_runs(forms[f]);
    size_t length = strlen(text);
    for (int i = 0; i < 150; i++) {
      seed = seed * 1103515245u + 12345u;
      size_t at = (seed >> 8) % length;
      char held = text[at];
      text[at] = (char)(seed >> 3);
      lw_store *store = open_store(store_path);
      int64_t had = count_runs(store, NULL, true), added = 0, present = 0;
      lw_error error = {0};
      lw_status status =
          lw_store_import(store, forms[f], "e", text, length, &added, &present, &error);
      assert_int_equal(count_runs(store, NULL, true), had + added);
      if (status != LW_OK) {
        refused++;
        assert_int_equal(added, 0);
        assert_int_equal(status, LW_BAD_INPUT);
        assert_true(error.line >= 1);
      }
      lw_store_close(store);
      text[at] = held;
    }
    free(text);
    run_sql(store_path, "DELETE FROM screw; DELETE FROM reading; DELETE FROM run");
    char path[160];
    snprintf(path, sizeof path, "%s/from.db", folder);
    unlink(path);
  }
  assert_true(refused > 100);
  integrity_holds(store_path);
}

#define IN_FOLDER(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void) {
  const struct CMUnitTest tests[] = {
      IN_FOLDER(a_newer_store_is_left_alone),
      IN_FOLDER(a_newer_version_in_the_log_is_seen),
      IN_FOLDER(migration_goes_from_nothing_to_now_and_no_further),
      IN_FOLDER(a_database_of_another_program_is_left_alone),
      IN_FOLDER(what_is_no_database_is_left_alone),
      IN_FOLDER(paths_that_are_no_files),
      IN_FOLDER(a_damaged_page_anywhere_is_found),
      IN_FOLDER(a_cut_store_is_found),
      IN_FOLDER(a_store_without_its_tables_is_found),
      IN_FOLDER(a_refused_run_leaves_no_trace),
      IN_FOLDER(a_size_limit_loses_nothing),
      IN_FOLDER(a_full_disk_loses_nothing),
      IN_FOLDER(a_full_disk_refuses_import_and_copy_whole),
      IN_FOLDER(a_read_only_disk_is_read),
      IN_FOLDER(a_folder_without_write_permission_is_read),
      IN_FOLDER(an_unreadable_store_says_so),
      IN_FOLDER(a_hundred_jobs_from_four_processes_are_all_there),
      IN_FOLDER(a_held_store_is_waited_for),
      IN_FOLDER(a_killed_process_loses_no_acknowledged_run),
      IN_FOLDER(a_broken_json_export_is_refused_whole),
      IN_FOLDER(a_broken_csv_export_is_refused_whole),
      IN_FOLDER(a_csv_export_survives_a_spreadsheet),
      IN_FOLDER(flipped_bytes_are_taken_or_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
