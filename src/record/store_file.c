/* store_file.c - the store as a file: what stands there, making a new one, opening it.
**
** A process must never open and close a file that SQLite has open in the same process: POSIX drops
** all of a process's locks on a file when any descriptor of it is closed. So the first bytes are
** read through SQLite's own file layer, which knows of its other descriptors.
*/
#include "store.h"

#include "hold.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { HEADER_BYTES = 100, VERSION_AT = 60, APPLICATION_AT = 68, BUSY_MS = 10000 };

static lw_status refuse(const char *path, lw_error *error, lw_status status, const char *text) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, status, "%s", text);
}

static lw_status refuse_errno(const char *path, lw_error *error, const char *what, int number) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_STORE, "%s (%s); name another store with --store PATH", what,
                 strerror(number));
}

/* SQLite gives names like ":memory:" and "file:x" a meaning of their own; "./" takes it away. */
static char *plain_name(const char *path) {
  size_t size = strlen(path) + 3;
  char *name = malloc(size);
  if (name) snprintf(name, size, "%s%s", path[0] == '/' ? "" : "./", path);
  return name;
}

static char *immutable_name(const char *path) {
  static const char hex[] = "0123456789ABCDEF";
  char *name = malloc(strlen(path) * 3 + 32);
  if (!name) return NULL;
  char *at = name + sprintf(name, "file:%s", path[0] == '/' ? "" : "./");
  for (const unsigned char *c = (const unsigned char *)path; *c; c++) {
    if (*c == '%' || *c == '?' || *c == '#') {
      *at++ = '%';
      *at++ = hex[*c >> 4];
      *at++ = hex[*c & 15];
    } else {
      *at++ = (char)*c;
    }
  }
  memcpy(at, "?immutable=1", sizeof "?immutable=1");
  return name;
}

static uint32_t big_endian(const unsigned char *at) {
  return (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | at[3];
}

/* The first bytes of the file, zero behind its end. */
static int read_header(const char *path, unsigned char *header) {
  char *name = plain_name(path);
  sqlite3 *db = NULL;
  sqlite3_file *file = NULL;
  int code = name ? sqlite3_open_v2(name, &db, SQLITE_OPEN_READONLY, NULL) : SQLITE_NOMEM;
  if (code == SQLITE_OK) code = sqlite3_file_control(db, "main", SQLITE_FCNTL_FILE_POINTER, &file);
  if (code == SQLITE_OK) code = file->pMethods->xRead(file, header, HEADER_BYTES, 0);
  sqlite3_close(db);
  free(name);
  return code == SQLITE_IOERR_SHORT_READ ? SQLITE_OK : code;
}

static lw_status inspect_header(const char *path, lw_error *error) {
  unsigned char header[HEADER_BYTES] = {0};
  if (read_header(path, header) != SQLITE_OK) {
    int number = access(path, R_OK) != 0 ? errno : EIO;
    return refuse_errno(path, error, "the store cannot be read", number);
  }
  if (memcmp(header, "SQLite format 3", 16) != 0) {
    return refuse(
        path, error, LW_STORE,
        "this file is no store of Leanward, or its first bytes are damaged; nothing was "
        "changed: put a backup copy in its place, or name another store with --store PATH");
  }
  if (big_endian(header + APPLICATION_AT) != STORE_APPLICATION_ID) {
    return refuse(path, error, LW_STORE,
                  "this is a database of another program, no store of Leanward; nothing was "
                  "changed: name another store with --store PATH");
  }
  uint32_t version = big_endian(header + VERSION_AT);
  return version > LW_STORE_VERSION ? store_newer(path, (int64_t)version, error) : LW_OK;
}

static void folder_part(const char *path, char *folder, size_t size) {
  const char *slash = strrchr(path, '/');
  int length = slash ? (int)(slash - path) : 1;
  if (slash == path) length = 1;
  snprintf(folder, size, "%.*s", length, slash ? path : ".");
}

/* Make the folder path lies in, and those above it, 0700 where they are missing. */
static lw_status make_folders(const char *path, lw_error *error) {
  char folder[PATH_MAX];
  if (strlen(path) >= sizeof folder) return refuse(path, error, LW_STORE, "the path is too long");
  folder_part(path, folder, sizeof folder);
  for (char *slash = folder + 1;; slash++) {
    if (*slash != '/' && *slash) continue;
    char held = *slash;
    *slash = '\0';
    int failed = mkdir(folder, 0700) != 0 ? errno : 0;
    struct stat info;
    bool there = stat(folder, &info) == 0;
    if (there && !S_ISDIR(info.st_mode)) failed = ENOTDIR;
    if (failed && (!there || failed == ENOTDIR)) {
      lw_error_place(error, path, 0, NULL);
      return lw_fail(error, LW_STORE,
                     "the folder %.150s cannot be made (%s); name another store with --store PATH",
                     folder, strerror(failed));
    }
    *slash = held;
    if (!held) return LW_OK;
  }
}

static lw_status build(const char *temporary, const char *path, lw_error *error) {
  sqlite3 *db = NULL;
  lw_status status = LW_OK;
  const char *nothing = "no store was made";
  if (store_connect(temporary, SQLITE_OPEN_READWRITE, false, &db) != SQLITE_OK) {
    status = store_fail(db, path, nothing, error);
  }
  if (status == LW_OK) status = store_migrate(db, path, error);
  if (status == LW_OK && store_run_sql(db, "PRAGMA journal_mode = WAL") != SQLITE_OK) {
    status = store_fail(db, path, nothing, error);
  }
  sqlite3_close(db);
  int failed = status == LW_OK ? store_sync(temporary) : 0;
  return failed ? refuse_errno(path, error, "the store cannot be written", failed) : status;
}

/* Give the finished store its name; whoever comes second leaves the first one's. A file system
   without hard links gets a rename, which two processes must not do in the same instant. */
static int publish(const char *temporary, const char *path) {
  if (link(temporary, path) == 0 || errno == EEXIST) return 0;
  if (access(path, F_OK) == 0) return 0;
  return rename(temporary, path) == 0 ? 0 : errno;
}

lw_status store_inspect(const char *path, lw_error *error) {
  if (!path[0]) {
    return lw_fail(error, LW_STORE, "the path of the store is empty; name one with --store PATH");
  }
  struct stat info;
  if (stat(path, &info) != 0) {
    if (errno != ENOENT) return refuse_errno(path, error, "the store cannot be reached", errno);
    return refuse(path, error, LW_NOT_FOUND,
                  "there is no store here; the first job saved makes one");
  }
  if (S_ISDIR(info.st_mode)) {
    return refuse(path, error, LW_STORE,
                  "this is a folder; name the store's file, as in --store FOLDER/jobs.db");
  }
  if (!S_ISREG(info.st_mode)) {
    return refuse(path, error, LW_STORE,
                  "this is no regular file; name another store with --store PATH");
  }
  if (info.st_size == 0) {
    return refuse(path, error, LW_STORE,
                  "this file is empty, which a store never is; put a backup copy in its place, "
                  "remove it, or name another store with --store PATH");
  }
  return inspect_header(path, error);
}

int store_connect(const char *path, int flags, bool immutable, sqlite3 **out) {
  *out = NULL;
  char *name = immutable ? immutable_name(path) : plain_name(path);
  if (!name) return SQLITE_NOMEM;
  int code = sqlite3_open_v2(
      name, out, flags | SQLITE_OPEN_EXRESCODE | (immutable ? SQLITE_OPEN_URI : 0), NULL);
  free(name);
  if (code != SQLITE_OK) return code;
  sqlite3_busy_timeout(*out, BUSY_MS);
  sqlite3_db_config(*out, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
  sqlite3_db_config(*out, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
  code = store_search_register(*out);
  if (code != SQLITE_OK) return code;
  return store_run_sql(*out, "PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL;"
                             "PRAGMA cell_size_check = ON;");
}

lw_status store_create(const char *path, lw_error *error) {
  lw_status status = make_folders(path, error);
  if (status != LW_OK) return status;
  char *temporary = store_beside(path);
  if (!temporary) return refuse_errno(path, error, "no store can be made here", errno);
  status = build(temporary, path, error);
  int failed = status == LW_OK ? publish(temporary, path) : 0;
  if (failed) status = refuse_errno(path, error, "no store can be made here", failed);
  store_discard(temporary);
  if (status == LW_OK) store_sync_folder(path);
  return status;
}

char *store_beside(const char *path) {
  char folder[PATH_MAX];
  if (strlen(path) >= sizeof folder - 64) {
    errno = ENAMETOOLONG;
    return NULL;
  }
  folder_part(path, folder, sizeof folder);
  size_t size = strlen(folder) + 64;
  char *name = malloc(size);
  hold_sweep(folder);
  for (int i = 0; name && i < 100; i++) {
    snprintf(name, size, "%s/.leanward-%ld-%d.new", folder, (long)getpid(), i);
    int fd = open(name, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd >= 0) {
      close(fd);
      return name;
    }
    if (errno != EEXIST) break;
  }
  int number = errno;
  free(name);
  errno = number;
  return NULL;
}

void store_discard(char *temporary) {
  static const char *const ends[] = {"", "-journal", "-wal", "-shm"};
  size_t size = strlen(temporary) + 16;
  char *name = malloc(size);
  for (size_t i = 0; name && i < sizeof ends / sizeof ends[0]; i++) {
    snprintf(name, size, "%s%s", temporary, ends[i]);
    unlink(name);
  }
  free(name);
  free(temporary);
}

int store_sync(const char *path) {
  int fd = open(path, O_RDWR | O_CLOEXEC);
  if (fd < 0) return errno;
  int number = fsync(fd) != 0 ? errno : 0;
  close(fd);
  return number;
}

void store_sync_folder(const char *path) {
  char folder[PATH_MAX];
  folder_part(path, folder, sizeof folder);
  int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) return;
  (void)fsync(fd); /* a file system that cannot sync a folder: nothing more can be done */
  close(fd);
}
