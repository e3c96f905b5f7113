/* store_backup.c - a copy of the whole store while others use it (SQLite's online backup). */
#include "store.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static lw_status refuse(const char *path, lw_error *error, const char *text) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_STORE, "%s", text);
}

static bool same_file(const char *a, const char *b) {
  struct stat first, second;
  return stat(a, &first) == 0 && stat(b, &second) == 0 && first.st_dev == second.st_dev &&
         first.st_ino == second.st_ino;
}

/* Only an older copy may be replaced. */
static lw_status check_target(const lw_store *store, const char *path, lw_error *error) {
  if (!path[0]) return lw_fail(error, LW_STORE, "the path of the backup copy is empty");
  if (same_file(store->path, path)) {
    return refuse(path, error, "this is the store itself; name another file for the copy");
  }
  lw_error inner = {0};
  lw_status status = store_inspect(path, &inner);
  if (status == LW_OK || status == LW_NOT_FOUND) return LW_OK;
  struct stat info;
  if (stat(path, &info) != 0)
    return refuse(path, error, "the folder of the copy cannot be reached");
  return refuse(path, error,
                S_ISDIR(info.st_mode)
                    ? "this is a folder; name the file of the copy"
                    : "there is a file here that is no backup copy; name another, or remove it");
}

static int copy_pages(sqlite3 *from, sqlite3 *to) {
  sqlite3_backup *backup = sqlite3_backup_init(to, "main", from, "main");
  if (!backup) return sqlite3_extended_errcode(to);
  /* all pages in one step: a store is small, and one step is one snapshot */
  int code;
  int tries = 0;
  while ((code = sqlite3_backup_step(backup, -1)) == SQLITE_BUSY || code == SQLITE_LOCKED) {
    if (++tries > 100) break;
    sqlite3_sleep(100);
  }
  int finished = sqlite3_backup_finish(backup);
  return code == SQLITE_DONE ? finished : code;
}

static lw_status copy_to(lw_store *store, const char *temporary, const char *path,
                         lw_error *error) {
  sqlite3 *copy = NULL;
  lw_status status = LW_OK;
  int code = store_connect(temporary, SQLITE_OPEN_READWRITE, false, &copy);
  if (code == SQLITE_OK) code = copy_pages(store->db, copy);
  /* one file that can be read on a disk that cannot be written */
  if (code == SQLITE_OK) code = store_run_sql(copy, "PRAGMA journal_mode = DELETE");
  if (code != SQLITE_OK) {
    status = store_fail(copy, path, "no copy was made", error);
  } else {
    status = store_check(copy, path, false, error);
  }
  sqlite3_close(copy);
  return status;
}

lw_status lw_store_backup(lw_store *store, const char *path, lw_error *error) {
  lw_status status = check_target(store, path, error);
  if (status != LW_OK) return status;
  char *temporary = store_beside(path);
  int failed = temporary ? 0 : errno;
  if (temporary) {
    status = copy_to(store, temporary, path, error);
    if (status == LW_OK) failed = store_sync(temporary);
    if (status == LW_OK && !failed && rename(temporary, path) != 0) failed = errno;
    store_discard(temporary);
  }
  if (failed) {
    lw_error_place(error, path, 0, NULL);
    return lw_fail(error, LW_STORE, "no copy was made: %s", strerror(failed));
  }
  if (status == LW_OK) store_sync_folder(path);
  return status;
}
