/* store.c - opening the store, listing what it holds, showing one run, and its failures in words.
 */
#define _XOPEN_SOURCE 700 /* realpath */

#include "store.h"

#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- failures ---- */

/* What to say of an SQLite result. number: the errno behind it, where SQLite still has it; a quota
   or a size limit often shows only as a write that failed. */
static const char *reason(int code, int number) {
  if (number == ENOSPC || number == EDQUOT || code == SQLITE_IOERR_SHMSIZE) code = SQLITE_FULL;
  if (code == SQLITE_IOERR_WRITE) {
    return "the disk took no more: it is full, over a quota or a size limit, or failing; free some "
           "space, or name another store with --store PATH";
  }
  switch (code & 0xff) {
  case SQLITE_FULL:
    return "the disk is full; free some space, or name another store with --store PATH";
  case SQLITE_BUSY:
  case SQLITE_LOCKED: return "another program has held the store for 10 s; try again";
  case SQLITE_READONLY:
  case SQLITE_PERM:
  case SQLITE_AUTH:
    return "the store may not be written (file permissions or a read-only disk); name another "
           "store with --store PATH";
  case SQLITE_CANTOPEN:
    return "the store, or the -wal and -shm files beside it, cannot be opened; see who owns them, "
           "or name another store with --store PATH";
  case SQLITE_CORRUPT:
    return "the store is damaged; put a backup copy in its place, or name another store with "
           "--store PATH";
  case SQLITE_NOTADB:
    return "this file is no store of Leanward, or its first bytes are damaged; put a backup copy "
           "in its place, or name another store with --store PATH";
  case SQLITE_IOERR:
    return "the disk gave an error; see whether it is still there, or name another store with "
           "--store PATH";
  case SQLITE_NOMEM: return "out of memory";
  default: return NULL;
  }
}

lw_status store_fail(sqlite3 *db, const char *path, const char *what, lw_error *error) {
  int code = db ? sqlite3_extended_errcode(db) : SQLITE_NOMEM;
  int number = (code & 0xff) == SQLITE_IOERR || (code & 0xff) == SQLITE_CANTOPEN
                   ? sqlite3_system_errno(db)
                   : 0;
  const char *words = reason(code, number);
  lw_error_place(error, path, 0, NULL);
  if (!words) words = sqlite3_errmsg(db);
  lw_status status = (code & 0xff) == SQLITE_NOMEM ? LW_NO_MEMORY : LW_STORE;
  return lw_fail(error, status, "%s: %s", what, words);
}

int store_run_sql(sqlite3 *db, const char *sql) {
  return sqlite3_exec(db, sql, NULL, NULL, NULL);
}

int store_whole(sqlite3 *db, const char *sql, int64_t *value) {
  sqlite3_stmt *statement = NULL;
  int code = sqlite3_prepare_v2(db, sql, -1, &statement, NULL);
  if (code == SQLITE_OK) code = sqlite3_step(statement);
  if (code == SQLITE_ROW) *value = sqlite3_column_int64(statement, 0);
  int finished = sqlite3_finalize(statement);
  return code == SQLITE_ROW ? SQLITE_OK : finished;
}

/* ---- opening ---- */

static lw_status refuse_writing(const char *path, int number, lw_error *error) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_STORE,
                 "the store may not be written (%s); nothing was changed: change its permissions, "
                 "or name another store with --store PATH",
                 strerror(number));
}

/* SQLite opens what it cannot write for reading, and finds out about the folder only when it needs
   the -wal file there; asking first gives the person the reason. */
static lw_status check_writable(const char *path, lw_error *error) {
  if (access(path, W_OK) != 0) return refuse_writing(path, errno, error);
  char *real = realpath(path, NULL);
  char *slash = real ? strrchr(real, '/') : NULL;
  if (slash) slash[slash == real ? 1 : 0] = '\0';
  bool refused = slash && access(real, W_OK) != 0;
  int number = errno;
  free(real);
  return refused ? refuse_writing(path, number, error) : LW_OK;
}

static bool journal_is_wal(sqlite3 *db) {
  sqlite3_stmt *statement = NULL;
  bool wal = sqlite3_prepare_v2(db, "PRAGMA journal_mode", -1, &statement, NULL) == SQLITE_OK &&
             sqlite3_step(statement) == SQLITE_ROW &&
             strcmp((const char *)sqlite3_column_text(statement, 0), "wal") == 0;
  sqlite3_finalize(statement);
  return wal;
}

static lw_status open_writing(lw_store *store, lw_error *error) {
  lw_status status = check_writable(store->path, error);
  if (status != LW_OK) return status;
  if (store_connect(store->path, SQLITE_OPEN_READWRITE, false, &store->db) != SQLITE_OK) {
    return store_fail(store->db, store->path, "the store was not opened", error);
  }
  if (sqlite3_db_readonly(store->db, "main") == 1)
    return refuse_writing(store->path, EACCES, error);
  status = store_check(store->db, store->path, false, error);
  if (status == LW_OK) status = store_migrate(store->db, store->path, error);
  /* a backup copy put in place comes without WAL; while others use it, it works without, too */
  if (status == LW_OK && !journal_is_wal(store->db)) {
    store_run_sql(store->db, "PRAGMA journal_mode = WAL");
  }
  return status;
}

/* True when the write-ahead log holds nothing, so that the main file alone is the whole store. */
static bool log_is_empty(const char *path) {
  size_t size = strlen(path) + 8;
  char *name = malloc(size);
  if (!name) return false;
  snprintf(name, size, "%s-wal", path);
  struct stat info;
  bool empty = stat(name, &info) != 0 ? errno == ENOENT : info.st_size == 0;
  free(name);
  return empty;
}

/* Close what is there and open anew; see that a first read works. SQLite's result code. */
static int reopen(lw_store *store, int flags, bool immutable) {
  int64_t version = 0;
  sqlite3_close(store->db);
  int code = store_connect(store->path, flags, immutable, &store->db);
  if (code == SQLITE_OK) code = store_run_sql(store->db, "PRAGMA query_only = ON");
  return code == SQLITE_OK ? store_whole(store->db, "PRAGMA schema_version", &version) : code;
}

static bool cannot_lock(int code) {
  int kind = code & 0xff;
  return kind == SQLITE_CANTOPEN || kind == SQLITE_READONLY || kind == SQLITE_IOERR ||
         kind == SQLITE_FULL;
}

/* Readers share a -shm file beside the store. A connection that may write tidies it away at the
   end; where nothing can be written, one that may not is next; and on a disk where the -shm file
   cannot even be made, an empty log means that the main file is complete and may be read without
   locks. */
static lw_status open_reading(lw_store *store, lw_error *error) {
  lw_error ignored = {0};
  int code = SQLITE_READONLY;
  if (check_writable(store->path, &ignored) == LW_OK) {
    code = reopen(store, SQLITE_OPEN_READWRITE, false);
  }
  if (cannot_lock(code)) code = reopen(store, SQLITE_OPEN_READONLY, false);
  if (cannot_lock(code) && log_is_empty(store->path)) {
    code = reopen(store, SQLITE_OPEN_READONLY, true);
  }
  if (code != SQLITE_OK) {
    return store_fail(store->db, store->path, "the store was not opened", error);
  }
  return store_check(store->db, store->path, true, error);
}

lw_status lw_store_open(const char *path, bool read_only, lw_store **out, lw_error *error) {
  lw_status status = store_inspect(path, error);
  if (status == LW_NOT_FOUND && !read_only) {
    status = store_create(path, error);
    if (status == LW_OK) status = store_inspect(path, error);
  }
  if (status != LW_OK) return status;
  lw_store *store = calloc(1, sizeof *store);
  if (store) store->path = strdup(path);
  if (!store || !store->path) {
    free(store);
    return lw_fail(error, LW_NO_MEMORY, "no memory to open the store");
  }
  store->read_only = read_only;
  status = read_only ? open_reading(store, error) : open_writing(store, error);
  if (status != LW_OK) {
    lw_store_close(store);
    return status;
  }
  *out = store;
  return LW_OK;
}

void lw_store_close(lw_store *store) {
  if (!store) return;
  sqlite3_close(store->db);
  free(store->path);
  free(store);
}

const char *lw_store_default_path(char *buffer, size_t size) {
  const char *said = getenv("LEANWARD_STORE");
  const char *data = getenv("XDG_DATA_HOME");
  const char *home = getenv("HOME");
  if (said && said[0]) {
    snprintf(buffer, size, "%s", said);
  } else if (data && data[0] == '/') { /* a relative one is to be ignored, XDG Base Directory 0.8 */
    snprintf(buffer, size, "%s/leanward/jobs.db", data);
  } else {
    snprintf(buffer, size, "%s/.local/share/leanward/jobs.db", home && home[0] ? home : ".");
  }
  return buffer;
}

/* ---- listing and showing ---- */

static const char list_sql[] =
    "SELECT r.id, r.saved_at, j.name, r.date, r.car, r.plate, r.technician, r.complaint,"
    "  r.verdict, (SELECT count(*) FROM reading AS n WHERE n.run = r.id), j.id"
    " FROM run AS r JOIN job AS j ON j.id = r.job"
    " WHERE (?1 OR NOT EXISTS (SELECT 1 FROM run AS later WHERE later.job = r.job"
    "    AND (later.saved_at, later.id) > (r.saved_at, r.id)))"
    "  AND (?2 IS NULL OR holds_words(j.name || char(10) || r.date || char(10) || r.car ||"
    "    char(10) || r.plate || char(10) || r.technician || char(10) || r.shop || char(10) ||"
    "    r.customer || char(10) || r.complaint || char(10) || r.notes, ?2))"
    " ORDER BY r.saved_at DESC, r.id DESC";

static const char *text_at(sqlite3_stmt *statement, int column) {
  const char *text = (const char *)sqlite3_column_text(statement, column);
  return text ? text : "";
}

static void give_row(sqlite3_stmt *statement, lw_store_each each, void *to) {
  const lw_store_row row = {
      .run = sqlite3_column_int64(statement, 0),
      .saved_at = text_at(statement, 1),
      .job = text_at(statement, 2),
      .date = text_at(statement, 3),
      .car = text_at(statement, 4),
      .plate = text_at(statement, 5),
      .technician = text_at(statement, 6),
      .complaint = text_at(statement, 7),
      .verdict = text_at(statement, 8),
      .readings = sqlite3_column_int64(statement, 9),
      .job_number = sqlite3_column_int64(statement, 10),
  };
  each(to, &row);
}

lw_status lw_store_list(lw_store *store, const char *search, bool every_run, lw_store_each each,
                        void *to, lw_error *error) {
  sqlite3_stmt *statement = NULL;
  int code = sqlite3_prepare_v2(store->db, list_sql, -1, &statement, NULL);
  if (code == SQLITE_OK) code = sqlite3_bind_int(statement, 1, every_run);
  if (code == SQLITE_OK && search) {
    code = sqlite3_bind_text(statement, 2, search, -1, SQLITE_STATIC);
  }
  while (code == SQLITE_OK || code == SQLITE_ROW) {
    code = sqlite3_step(statement);
    if (code == SQLITE_ROW) give_row(statement, each, to);
  }
  lw_status status =
      code == SQLITE_DONE ? LW_OK : store_fail(store->db, store->path, "the list broke off", error);
  sqlite3_finalize(statement);
  return status;
}

/* A column's bytes into arena; NULL for SQL NULL. *failed is set when there is no memory. */
static const char *copy_at(sqlite3_stmt *statement, int column, lw_arena *arena, size_t *length,
                           bool *failed) {
  const char *text = (const char *)sqlite3_column_text(statement, column);
  if (length) *length = 0;
  if (!text) return NULL;
  size_t bytes = (size_t)sqlite3_column_bytes(statement, column);
  const char *copy = lw_arena_copy(arena, text, bytes);
  if (!copy) *failed = true;
  if (length) *length = bytes;
  return copy;
}

static bool copy_run(sqlite3_stmt *s, int64_t run, lw_arena *arena, lw_store_run *out) {
  bool failed = false;
  lw_store_run read = {.run = run};
  read.saved_at = copy_at(s, 0, arena, NULL, &failed);
  read.program = copy_at(s, 1, arena, NULL, &failed);
  read.verdict = copy_at(s, 2, arena, NULL, &failed);
  read.job_file = copy_at(s, 3, arena, NULL, &failed);
  read.job_source = copy_at(s, 4, arena, &read.job_length, &failed);
  read.card_file = copy_at(s, 5, arena, NULL, &failed);
  read.card_source = copy_at(s, 6, arena, &read.card_length, &failed);
  read.fitted_file = copy_at(s, 7, arena, NULL, &failed);
  read.fitted_source = copy_at(s, 8, arena, &read.fitted_length, &failed);
  read.result = copy_at(s, 9, arena, NULL, &failed);
  if (!failed) *out = read;
  return !failed;
}

lw_status lw_store_show(lw_store *store, int64_t run, lw_arena *arena, lw_store_run *out,
                        lw_error *error) {
  sqlite3_stmt *statement = NULL;
  int code =
      sqlite3_prepare_v2(store->db,
                         "SELECT saved_at, program, verdict, job_file, job_source, card_file,"
                         " card_source, fitted_file, fitted_source, result"
                         " FROM run WHERE id = ?1",
                         -1, &statement, NULL);
  if (code == SQLITE_OK) code = sqlite3_bind_int64(statement, 1, run);
  if (code == SQLITE_OK) code = sqlite3_step(statement);
  lw_status status = LW_OK;
  if (code == SQLITE_ROW) {
    if (!copy_run(statement, run, arena, out)) {
      status = lw_fail(error, LW_NO_MEMORY, "no memory for this run");
    }
  } else if (code == SQLITE_DONE) {
    lw_error_place(error, store->path, 0, NULL);
    status = lw_fail(error, LW_NOT_FOUND,
                     "there is no run %lld here; `leanward jobs --every-run` lists them",
                     (long long)run);
  } else {
    status = store_fail(store->db, store->path, "the run could not be read", error);
  }
  sqlite3_finalize(statement);
  return status;
}
