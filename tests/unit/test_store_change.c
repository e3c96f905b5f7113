/* test_store_change.c - changes that may be sent twice, the devices that may send them, and a store
** of version 1 brought up to date.
*/
#include "store_case.h"

#include "../../src/record/store.h"

static char folder[64], path[128];

static int set_up(void **state) {
  (void)state;
  snprintf(folder, sizeof folder, "%s", fresh_folder());
  snprintf(path, sizeof path, "%s/jobs.db", folder);
  return 0;
}

static int tear_down(void **state) {
  (void)state;
  remove_folder(folder);
  return 0;
}

static lw_changed change(lw_store *store, const char *key, const char *asked, int64_t on_run,
                         const char *job_text) {
  lw_error error = {0};
  lw_changed changed = {0};
  made_case m = made_case_new(job_text, NULL);
  const lw_store_change c = {key, asked, on_run};
  must(lw_store_change_save(store, &m.given, m.work, &c, &changed, &error), &error);
  made_case_free(&m);
  return changed;
}

static int64_t count(lw_store *store, const char *table) {
  char sql[80];
  int64_t n = -1;
  snprintf(sql, sizeof sql, "SELECT count(*) FROM %s", table);
  assert_int_equal(store_whole(store->db, sql, &n), SQLITE_OK);
  return n;
}

static void a_change_is_saved_once(void **state) {
  lw_store *store = open_store(path);
  lw_error error = {0};
  bool known = false;
  lw_changed found = {0};
  const lw_store_change asked = {"key-1", "digest", 0};
  (void)state;
  must(lw_store_change_find(store, &asked, &known, &found, &error), &error);
  assert_false(known);
  lw_changed first =
      change(store, "key-1", "digest", LW_ON_NEW_JOB, "job: A\nreadings: [{CO: 1 %}]\n");
  assert_int_equal(first.end, LW_CHANGE_SAVED);
  assert_int_equal(first.readings, 1);
  lw_changed again = change(store, "key-1", "digest", LW_ON_NEW_JOB, "job: A\n");
  assert_int_equal(again.end, LW_CHANGE_AGAIN);
  assert_int_equal(again.run, first.run);
  assert_string_equal(again.saved_at, first.saved_at);
  lw_changed other = change(store, "key-1", "another digest", first.run, "job: A\n");
  assert_int_equal(other.end, LW_CHANGE_KEY_USED);
  assert_int_equal(count(store, "run"), 1);
  must(lw_store_change_find(store, &asked, &known, &found, &error), &error);
  assert_true(known && found.end == LW_CHANGE_AGAIN && found.run == first.run);
  lw_store_close(store);
}

static void who_comes_late_changes_nothing(void **state) {
  lw_store *store = open_store(path);
  lw_error error = {0};
  int64_t newest = 0;
  (void)state;
  lw_changed a = change(store, "k1", "d", LW_ON_NEW_JOB, "job: A\n");
  lw_changed b = change(store, "k2", "d", a.run, "job: A\ncomplaint: b\n");
  assert_int_equal(b.end, LW_CHANGE_SAVED);
  assert_int_equal(b.job_number, a.job_number);
  lw_changed late = change(store, "k3", "d", a.run, "job: A\ncomplaint: c\n");
  assert_int_equal(late.end, LW_CHANGE_STALE);
  assert_int_equal(late.run, b.run);
  assert_int_equal(change(store, "k4", "d", LW_ON_NEW_JOB, "job: A\n").end, LW_CHANGE_STALE);
  assert_int_equal(change(store, "k5", "d", 99, "job: new\n").end, LW_CHANGE_STALE);
  assert_int_equal(count(store, "run"), 2);
  assert_int_equal(count(store, "change"), 2);
  assert_int_equal(count(store, "job"), 1);
  must(lw_store_newest(store, a.job_number, &newest, &error), &error);
  assert_int_equal(newest, b.run);
  assert_int_equal(lw_store_newest(store, 77, &newest, &error), LW_NOT_FOUND);
  lw_store_close(store);
}

static void take(void *to, const lw_device *d) {
  lw_text_append(to, 200, "%lld %s %s;", (long long)d->number, d->name, d->secret);
}

static void devices_come_and_go(void **state) {
  lw_store *store = open_store(path);
  lw_error error = {0};
  int64_t one = 0, two = 0;
  char list[200] = "";
  (void)state;
  must(lw_store_device_add(store, "bay 3", "s1", &one, &error), &error);
  must(lw_store_device_add(store, "desk", "s2", &two, &error), &error);
  must(lw_store_device_revoke(store, one, &error), &error);
  assert_int_equal(lw_store_device_revoke(store, one, &error), LW_NOT_FOUND);
  assert_int_equal(lw_store_device_revoke(store, 99, &error), LW_NOT_FOUND);
  lw_store_close(store);
  store = open_store(path);
  must(lw_store_devices(store, take, list, &error), &error);
  assert_string_equal(list, "2 desk s2;");
  lw_store_close(store);
}

/* Version 1 had neither table; everything else was as it is. */
static void a_store_of_version_1_is_brought_up_to_date(void **state) {
  lw_store *store = open_store(path);
  lw_error error = {0};
  int64_t version = 0;
  (void)state;
  save_text(store, "job: old\n", NULL);
  assert_int_equal(store_run_sql(store->db, "DROP TABLE change; DROP TABLE device;"
                                            "PRAGMA user_version = 1"),
                   SQLITE_OK);
  lw_store_close(store);
  store = NULL;
  assert_int_equal(lw_store_open(path, true, &store, &error),
                   LW_STORE); /* not without being asked */
  store = open_store(path);
  assert_int_equal(store_whole(store->db, "PRAGMA user_version", &version), SQLITE_OK);
  assert_int_equal(version, 2);
  assert_int_equal(count(store, "run"), 1);
  assert_int_equal(change(store, "k", "d", LW_ON_NEW_JOB, "job: new\n").end, LW_CHANGE_SAVED);
  lw_store_close(store);
}

#define FRESH(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void) {
  const struct CMUnitTest tests[] = {
      FRESH(a_change_is_saved_once),
      FRESH(who_comes_late_changes_nothing),
      FRESH(devices_come_and_go),
      FRESH(a_store_of_version_1_is_brought_up_to_date),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
