/* store_schema.c - the tables, and how a store of an older version becomes one of this version.
**
** The version is SQLite's user_version. Each step below leads from one version to the next and is
** never changed once it was released; a new version adds a step. All steps that are due run in one
** transaction, so that a store is always wholly of one version.
*/
#include "store.h"

#include <stdlib.h>
#include <string.h>

/* Sources are kept byte for byte: they are the record, and everything else can be made from them
   again. The columns beside them serve listing, searching and spreadsheets. */
static const char *const steps[] = {
    "CREATE TABLE job("
    "  id INTEGER PRIMARY KEY,"
    "  name TEXT NOT NULL UNIQUE" /* the `job` key of the job file */
    ") STRICT;"
    /* AUTOINCREMENT: a number once given to a run is not given to another */
    "CREATE TABLE run("
    "  id INTEGER PRIMARY KEY AUTOINCREMENT,"
    "  job INTEGER NOT NULL REFERENCES job(id),"
    "  saved_at TEXT NOT NULL," /* UTC, 2026-11-20T09:14:03.512Z */
    "  program TEXT NOT NULL,"  /* that worked the job: leanward 0.1.0 */
    "  verdict TEXT NOT NULL,"
    "  date TEXT NOT NULL, car TEXT NOT NULL, plate TEXT NOT NULL, technician TEXT NOT NULL,"
    "  shop TEXT NOT NULL, customer TEXT NOT NULL, complaint TEXT NOT NULL, notes TEXT NOT NULL,"
    "  job_file TEXT NOT NULL, job_source TEXT NOT NULL,"
    "  card_file TEXT, card_source TEXT,"
    "  fitted_file TEXT, fitted_source TEXT,"
    "  result TEXT NOT NULL,"
    "  CHECK((card_file IS NULL) = (card_source IS NULL)),"
    "  CHECK((fitted_file IS NULL) = (fitted_source IS NULL))"
    ") STRICT;"
    "CREATE INDEX run_by_job ON run(job, saved_at, id);"
    "CREATE INDEX run_by_time ON run(saved_at, id);"
    /* one row a reading, SI, NULL where nothing was read */
    "CREATE TABLE reading("
    "  run INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE,"
    "  number INTEGER NOT NULL CHECK(number >= 1)," /* in the order of the job file */
    "  label TEXT, taken_at TEXT, analyzer TEXT, stage TEXT, condition TEXT, gear TEXT,"
    "  choke TEXT, air_cleaner TEXT, settled TEXT, needle TEXT, note TEXT,"
    "  speed_rad_per_s REAL, vacuum_pa REAL, timing_rad_before_tdc REAL,"
    "  co_fraction REAL, co2_fraction REAL, o2_fraction REAL, no_fraction REAL,"
    "  hc_fraction REAL, hc_as TEXT," /* of the gas named */
    "  PRIMARY KEY(run, number)"
    ") STRICT, WITHOUT ROWID;"
    "CREATE TABLE screw("
    "  run INTEGER NOT NULL,"
    "  reading INTEGER NOT NULL,"
    "  number INTEGER NOT NULL CHECK(number >= 1),"
    "  name TEXT NOT NULL,"
    "  turns REAL NOT NULL," /* out from lightly seated */
    "  PRIMARY KEY(run, reading, number),"
    "  FOREIGN KEY(run, reading) REFERENCES reading(run, number) ON DELETE CASCADE"
    ") STRICT, WITHOUT ROWID;",
    /* 2: changes that came over the network, so that one sent twice is saved once, and the devices
       that may send them. The secret itself is never kept. */
    "CREATE TABLE change("
    "  key TEXT PRIMARY KEY," /* chosen by the sender */
    "  asked TEXT NOT NULL,"  /* digest of what was asked */
    "  run INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE"
    ") STRICT, WITHOUT ROWID;"
    "CREATE INDEX change_by_run ON change(run);"
    "CREATE TABLE device("
    "  id INTEGER PRIMARY KEY AUTOINCREMENT,"
    "  name TEXT NOT NULL,"
    "  secret TEXT NOT NULL," /* digest of the secret the device holds */
    "  paired_at TEXT NOT NULL,"
    "  revoked_at TEXT"
    ") STRICT;",
};

_Static_assert(sizeof steps / sizeof steps[0] == LW_STORE_VERSION, "one step for each version");

lw_status store_newer(const char *path, int64_t version, lw_error *error) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_STORE,
                 "this store is of version %lld and this program knows up to version %d; use the "
                 "newer program, or name another store with --store PATH",
                 (long long)version, LW_STORE_VERSION);
}

static int run_steps(sqlite3 *db, int64_t version) {
  int code = SQLITE_OK;
  for (int64_t at = version; code == SQLITE_OK && at < LW_STORE_VERSION; at++) {
    code = store_run_sql(db, steps[at]);
  }
  char mark[96];
  snprintf(mark, sizeof mark, "PRAGMA application_id = %d; PRAGMA user_version = %d;",
           STORE_APPLICATION_ID, LW_STORE_VERSION);
  return code == SQLITE_OK ? store_run_sql(db, mark) : code;
}

lw_status store_migrate(sqlite3 *db, const char *path, lw_error *error) {
  int64_t version = 0;
  int code = store_whole(db, "PRAGMA user_version", &version);
  if (code == SQLITE_OK && version == LW_STORE_VERSION) return LW_OK;
  /* another process may be at the same work: look again once nobody else can write */
  if (code == SQLITE_OK) code = store_run_sql(db, "BEGIN IMMEDIATE");
  if (code == SQLITE_OK) code = store_whole(db, "PRAGMA user_version", &version);
  if (code == SQLITE_OK && version > LW_STORE_VERSION) {
    store_run_sql(db, "ROLLBACK");
    return store_newer(path, version, error);
  }
  if (code == SQLITE_OK) code = run_steps(db, version < 0 ? 0 : version);
  if (code == SQLITE_OK) code = store_run_sql(db, "COMMIT");
  if (code == SQLITE_OK) return LW_OK;
  lw_status status = store_fail(db, path, "the store was left as it was", error);
  store_run_sql(db, "ROLLBACK");
  return status;
}

/* What quick_check says first, without the heading line some versions of SQLite put before it. */
static const char *finding(const char *text) {
  const char *line_break = strncmp(text, "***", 3) == 0 ? strchr(text, '\n') : NULL;
  return line_break ? line_break + 1 : text;
}

static lw_status check_whole(sqlite3 *db, const char *path, lw_error *error) {
  sqlite3_stmt *statement = NULL;
  int code = sqlite3_prepare_v2(db, "PRAGMA quick_check(1)", -1, &statement, NULL);
  if (code == SQLITE_OK) code = sqlite3_step(statement);
  const char *found = code == SQLITE_ROW ? (const char *)sqlite3_column_text(statement, 0) : NULL;
  lw_status status = LW_OK;
  if (!found) {
    status = store_fail(db, path, "the store was not opened", error);
  } else if (strcmp(found, "ok") != 0) {
    lw_error_place(error, path, 0, NULL);
    status = lw_fail(error, LW_STORE,
                     "the store is damaged (%.120s); nothing was changed: put a backup copy in its "
                     "place, or name another store with --store PATH",
                     finding(found));
  }
  sqlite3_finalize(statement);
  return status;
}

lw_status store_check(sqlite3 *db, const char *path, bool read_only, lw_error *error) {
  int64_t version = 0;
  if (store_whole(db, "PRAGMA user_version", &version) != SQLITE_OK) {
    return store_fail(db, path, "the store was not opened", error);
  }
  if (version > LW_STORE_VERSION) return store_newer(path, version, error);
  if (version < 1 || (read_only && version < LW_STORE_VERSION)) {
    lw_error_place(error, path, 0, NULL);
    return lw_fail(error, LW_STORE, "%s",
                   version < 1 ? "the store is damaged (it has no version); put a backup copy in "
                                 "its place, or name another store with --store PATH"
                               : "this store is of an older version; any command that saves to it "
                                 "brings it up to date");
  }
  return check_whole(db, path, error);
}
