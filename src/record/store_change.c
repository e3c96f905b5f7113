/* store_change.c - changes that may be sent twice, and the devices that may send them. */
#include "store.h"

#include <string.h>

/* ---- finding ---- */

static const char changed_sql[] =
    "SELECT r.id, r.job, r.saved_at, (SELECT count(*) FROM reading AS n WHERE n.run = r.id)"
    " FROM run AS r WHERE r.id = ?1";

/* Fill *out from a run. SQLite's result code. */
static int describe(sqlite3 *db, int64_t run, lw_changed *out) {
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(db, changed_sql, -1, &s, NULL);
  if (code == SQLITE_OK) code = sqlite3_bind_int64(s, 1, run);
  if (code == SQLITE_OK) code = sqlite3_step(s);
  if (code == SQLITE_ROW) {
    out->run = sqlite3_column_int64(s, 0);
    out->job_number = sqlite3_column_int64(s, 1);
    snprintf(out->saved_at, sizeof out->saved_at, "%s", (const char *)sqlite3_column_text(s, 2));
    out->readings = sqlite3_column_int64(s, 3);
    code = SQLITE_OK;
  }
  sqlite3_finalize(s);
  return code == SQLITE_DONE ? SQLITE_CORRUPT : code;
}

/* *known: the key is there; *out then says as what. SQLite's result code. */
static int find_key(sqlite3 *db, const lw_store_change *change, bool *known, lw_changed *out) {
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(db, "SELECT run, asked FROM change WHERE key = ?1", -1, &s, NULL);
  if (code == SQLITE_OK) code = sqlite3_bind_text(s, 1, change->key, -1, SQLITE_STATIC);
  if (code == SQLITE_OK) code = sqlite3_step(s);
  *known = code == SQLITE_ROW;
  if (code == SQLITE_ROW) {
    const char *asked = (const char *)sqlite3_column_text(s, 1);
    bool same = asked && strcmp(asked, change->digest) == 0;
    out->end = same ? LW_CHANGE_AGAIN : LW_CHANGE_KEY_USED;
    code = describe(db, sqlite3_column_int64(s, 0), out);
  }
  sqlite3_finalize(s);
  return code == SQLITE_DONE ? SQLITE_OK : code;
}

static const char newest_sql[] =
    "SELECT id FROM run WHERE job = ?1 ORDER BY saved_at DESC, id DESC LIMIT 1";

/* One number from a statement with one parameter; 0 when there is no row. */
static int number_of(sqlite3 *db, const char *sql, int64_t whole, const char *text, int64_t *out) {
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(db, sql, -1, &s, NULL);
  if (code == SQLITE_OK) {
    code =
        text ? sqlite3_bind_text(s, 1, text, -1, SQLITE_STATIC) : sqlite3_bind_int64(s, 1, whole);
  }
  if (code == SQLITE_OK) code = sqlite3_step(s);
  *out = code == SQLITE_ROW ? sqlite3_column_int64(s, 0) : 0;
  sqlite3_finalize(s);
  return code == SQLITE_ROW || code == SQLITE_DONE ? SQLITE_OK : code;
}

lw_status lw_store_newest(lw_store *store, int64_t job_number, int64_t *run, lw_error *error) {
  int64_t found = 0;
  if (number_of(store->db, newest_sql, job_number, NULL, &found) != SQLITE_OK) {
    return store_fail(store->db, store->path, "the job could not be read", error);
  }
  if (!found) {
    return lw_fail(error, LW_NOT_FOUND, "there is no job of number %lld in this store",
                   (long long)job_number);
  }
  *run = found;
  return LW_OK;
}

/* ---- saving ---- */

typedef struct changing {
  const lw_store_change *change;
  const char *job; /* its name */
  lw_changed *out;
} changing;

/* Inside the transaction nobody else can write: what is seen here still holds at its end. */
static int look_first(sqlite3 *db, void *with, bool *go_on) {
  const changing *c = with;
  bool known = false;
  int64_t job = 0, newest = 0;
  int code = find_key(db, c->change, &known, c->out);
  if (code != SQLITE_OK || known) {
    *go_on = false;
    return code;
  }
  code = number_of(db, "SELECT id FROM job WHERE name = ?1", 0, c->job, &job);
  if (code == SQLITE_OK && job) code = number_of(db, newest_sql, job, NULL, &newest);
  *go_on = code == SQLITE_OK && newest == c->change->on_run;
  if (code == SQLITE_OK && !*go_on) {
    c->out->end = LW_CHANGE_STALE;
    c->out->run = newest;
    c->out->job_number = job;
  }
  return code;
}

static int keep_key(sqlite3 *db, int64_t run, void *with) {
  const changing *c = with;
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(db, "INSERT INTO change(key, asked, run) VALUES(?1, ?2, ?3)", -1,
                                &s, NULL);
  if (code == SQLITE_OK) code = sqlite3_bind_text(s, 1, c->change->key, -1, SQLITE_STATIC);
  if (code == SQLITE_OK) code = sqlite3_bind_text(s, 2, c->change->digest, -1, SQLITE_STATIC);
  if (code == SQLITE_OK) code = sqlite3_bind_int64(s, 3, run);
  if (code == SQLITE_OK) code = sqlite3_step(s);
  sqlite3_finalize(s);
  c->out->end = LW_CHANGE_SAVED;
  return code == SQLITE_DONE ? describe(db, run, c->out) : code;
}

lw_status lw_store_change_save(lw_store *store, const lw_case *given, const lw_work *work,
                               const lw_store_change *change, lw_changed *out, lw_error *error) {
  lw_changed made = {0};
  changing c = {change, given->job->id, &made};
  int64_t run = 0;
  lw_status status = store_save_run(store, given, work, look_first, keep_key, &c, &run, error);
  if (status == LW_OK) *out = made;
  return status;
}

lw_status lw_store_change_find(lw_store *store, const lw_store_change *change, bool *known,
                               lw_changed *out, lw_error *error) {
  lw_changed found = {0};
  bool there = false;
  if (find_key(store->db, change, &there, &found) != SQLITE_OK) {
    return store_fail(store->db, store->path, "the store could not be read", error);
  }
  *known = there;
  if (there) *out = found;
  return LW_OK;
}

/* ---- devices ---- */

lw_status lw_store_device_add(lw_store *store, const char *name, const char *secret,
                              int64_t *number, lw_error *error) {
  char now[40];
  sqlite3_stmt *s = NULL;
  store_now(now, sizeof now);
  int code = sqlite3_prepare_v2(
      store->db, "INSERT INTO device(name, secret, paired_at) VALUES(?1, ?2, ?3)", -1, &s, NULL);
  if (code == SQLITE_OK) code = sqlite3_bind_text(s, 1, name, -1, SQLITE_STATIC);
  if (code == SQLITE_OK) code = sqlite3_bind_text(s, 2, secret, -1, SQLITE_STATIC);
  if (code == SQLITE_OK) code = sqlite3_bind_text(s, 3, now, -1, SQLITE_STATIC);
  if (code == SQLITE_OK) code = sqlite3_step(s);
  lw_status status = code == SQLITE_DONE
                         ? LW_OK
                         : store_fail(store->db, store->path, "the device was not kept", error);
  if (status == LW_OK) *number = sqlite3_last_insert_rowid(store->db);
  sqlite3_finalize(s);
  return status;
}

lw_status lw_store_device_revoke(lw_store *store, int64_t number, lw_error *error) {
  char now[40];
  sqlite3_stmt *s = NULL;
  store_now(now, sizeof now);
  int code = sqlite3_prepare_v2(
      store->db, "UPDATE device SET revoked_at = ?2 WHERE id = ?1 AND revoked_at IS NULL", -1, &s,
      NULL);
  if (code == SQLITE_OK) code = sqlite3_bind_int64(s, 1, number);
  if (code == SQLITE_OK) code = sqlite3_bind_text(s, 2, now, -1, SQLITE_STATIC);
  if (code == SQLITE_OK) code = sqlite3_step(s);
  lw_status status =
      code == SQLITE_DONE ? LW_OK : store_fail(store->db, store->path, "the device stays", error);
  sqlite3_finalize(s);
  if (status == LW_OK && sqlite3_changes(store->db) == 0) {
    return lw_fail(error, LW_NOT_FOUND, "there is no device of number %lld", (long long)number);
  }
  return status;
}

lw_status lw_store_devices(lw_store *store, lw_device_each each, void *to, lw_error *error) {
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(store->db,
                                "SELECT id, name, secret, paired_at FROM device"
                                " WHERE revoked_at IS NULL ORDER BY id",
                                -1, &s, NULL);
  while (code == SQLITE_OK || code == SQLITE_ROW) {
    code = sqlite3_step(s);
    if (code != SQLITE_ROW) continue;
    const lw_device device = {sqlite3_column_int64(s, 0), (const char *)sqlite3_column_text(s, 1),
                              (const char *)sqlite3_column_text(s, 2),
                              (const char *)sqlite3_column_text(s, 3)};
    each(to, &device);
  }
  lw_status status = code == SQLITE_DONE ? LW_OK
                                         : store_fail(store->db, store->path,
                                                      "the devices could not be read", error);
  sqlite3_finalize(s);
  return status;
}
