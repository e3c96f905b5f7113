/* file.c - bytes in from disk, and out to it without ever leaving half a file.
**
** A file is written as a new one beside it, synced, and renamed over it; the folder is synced too,
** so that the new name survives a power cut. What is no regular file (a pipe, a device) cannot be
** replaced by a rename without destroying it, so it is written straight.
*/
#define _XOPEN_SOURCE 700 /* realpath */

#include "leanward/record.h"

#include "hold.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { FIRST_PIECE = 64 * 1024, TEMPORARY_TRIES = 100 };

static lw_status fail_at(lw_error *error, const char *path, lw_status status, const char *what,
                         int number) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, status, "%s: %s", what, strerror(number));
}

static bool is_stream(const char *path) {
  return strcmp(path, "-") == 0;
}

/* ---- reading ---- */

static lw_status too_large(lw_error *error, const char *path, size_t most) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_TOO_LARGE, "it holds more than %zu bytes, the most that is read here",
                 most);
}

/* Read to the end, but never more than most + 1 bytes: a pipe has no size to ask for first. */
static lw_status read_all(int fd, const char *path, size_t most, char **bytes, size_t *length,
                          lw_error *error) {
  size_t size = 0, used = 0;
  char *held = NULL;
  for (;;) {
    if (used == size) {
      size = size ? size * 2 : FIRST_PIECE;
      if (size > most + 1) size = most + 1;
      char *grown = realloc(held, size);
      if (!grown) {
        free(held);
        lw_error_place(error, path, 0, NULL);
        return lw_fail(error, LW_NO_MEMORY, "no memory to read this file");
      }
      held = grown;
    }
    ssize_t got = read(fd, held + used, size - used);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) {
      int number = errno;
      free(held);
      return fail_at(error, path, LW_IO, "it cannot be read", number);
    }
    if (got == 0) {
      *bytes = held;
      *length = used;
      return LW_OK;
    }
    used += (size_t)got;
    if (used > most) {
      free(held);
      return too_large(error, path, most);
    }
  }
}

static lw_status read_open(lw_arena *arena, int fd, const char *path, size_t most,
                           const char **text, size_t *length, lw_error *error) {
  struct stat info;
  if (fstat(fd, &info) != 0) return fail_at(error, path, LW_IO, "it cannot be read", errno);
  if (S_ISDIR(info.st_mode)) {
    lw_error_place(error, path, 0, NULL);
    return lw_fail(error, LW_IO, "this is a folder; a file was expected");
  }
  if (S_ISREG(info.st_mode) && (uintmax_t)info.st_size > most) return too_large(error, path, most);
  char *bytes = NULL;
  size_t used = 0;
  lw_status status = read_all(fd, path, most, &bytes, &used, error);
  if (status != LW_OK) return status;
  char *copy = lw_arena_copy(arena, bytes, used);
  free(bytes);
  if (!copy) {
    lw_error_place(error, path, 0, NULL);
    return lw_fail(error, LW_NO_MEMORY, "no memory to read this file");
  }
  *text = copy;
  *length = used;
  return LW_OK;
}

/* ---- writing ---- */

/* The folder part of path, with malloc; "." when there is none. */
static char *folder_of(const char *path) {
  const char *slash = strrchr(path, '/');
  if (!slash) return strdup(".");
  return strndup(path, slash == path ? 1 : (size_t)(slash - path));
}

/* Held from the start, and still there: nobody took it for a leftover in between. */
static bool is_mine(int fd) {
  struct stat info;
  return hold_file(fd) && fstat(fd, &info) == 0 && info.st_nlink > 0;
}

/* A new file in the folder of path. Its name is short and its own, so that a long name in path
   cannot make it too long; its mode is what the user's umask gives. */
static int temporary_open(const char *path, char **name) {
  char *folder = folder_of(path);
  if (!folder) return -1;
  size_t size = strlen(folder) + 64;
  char *made = malloc(size);
  int fd = -1;
  hold_sweep(folder);
  for (int i = 0; made && fd < 0 && i < TEMPORARY_TRIES; i++) {
    snprintf(made, size, "%s/.leanward-%ld-%d.new", folder, (long)getpid(), i);
    fd = open(made, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (fd < 0 && errno != EEXIST) break;
    if (fd < 0 || is_mine(fd)) continue;
    close(fd);
    fd = -1;
    errno = EBUSY;
  }
  int number = errno;
  free(folder);
  if (fd < 0) {
    free(made);
    made = NULL;
  }
  errno = number;
  *name = made;
  return fd;
}

/* After the rename the name itself must reach the disk. A file system that cannot sync a folder
   says EINVAL; nothing more can be done there. */
static bool folder_sync(const char *path) {
  char *folder = folder_of(path);
  int fd = folder ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
  free(folder);
  if (fd < 0) return true; /* a folder that may be written but not listed */
  bool synced = fsync(fd) == 0 || errno == EINVAL || errno == ENOTSUP;
  close(fd);
  return synced;
}

static void draft_free(lw_draft *draft) {
  free(draft->path);
  free(draft->temporary);
  *draft = (lw_draft){0};
}

/* On failure the caller abandons the draft, which frees its paths. */
static lw_status draft_open(const char *path, lw_draft *draft, lw_error *error) {
  struct stat info;
  bool there = stat(path, &info) == 0;
  if (!there && errno != ENOENT) {
    return fail_at(error, path, LW_IO, "it cannot be written", errno);
  }
  if (there && S_ISDIR(info.st_mode)) {
    lw_error_place(error, path, 0, NULL);
    return lw_fail(error, LW_IO, "this is a folder; the name of a file was expected");
  }
  int fd;
  if (there && !S_ISREG(info.st_mode)) {
    draft->path = strdup(path);
    fd = open(path, O_WRONLY | O_CLOEXEC);
  } else {
    /* follow a symbolic link: the file it names is replaced, not the link */
    char *target = there ? realpath(path, NULL) : strdup(path);
    fd = target ? temporary_open(target, &draft->temporary) : -1;
    draft->path = target;
  }
  if (fd < 0) return fail_at(error, path, LW_IO, "it cannot be written", errno);
  if (there && draft->temporary) (void)fchmod(fd, info.st_mode & 0777);
  draft->stream = fdopen(fd, "wb");
  if (draft->stream) return LW_OK;
  int number = errno;
  close(fd);
  return fail_at(error, path, LW_IO, "it cannot be written", number);
}

/* Flush, sync and close; errno of the first thing that failed, or 0. */
static int draft_close(lw_draft *draft) {
  int number = ferror(draft->stream) ? EIO : 0;
  errno = 0;
  if (fflush(draft->stream) != 0) number = errno ? errno : EIO;
  if (draft->is_stdout) return number;
  if (!number && draft->temporary && fsync(fileno(draft->stream)) != 0) number = errno;
  if (fclose(draft->stream) != 0 && !number) number = errno;
  draft->stream = NULL;
  return number;
}

static const char *not_written(const lw_draft *draft) {
  return draft->temporary ? "it could not be written; what was there before is unchanged"
                          : "it could not be written";
}

lw_status lw_file_read(lw_arena *arena, const char *path, size_t most, const char **text,
                       size_t *length, lw_error *error) {
  if (most > SIZE_MAX / 4) most = SIZE_MAX / 4;
  if (is_stream(path)) {
    return read_open(arena, STDIN_FILENO, "standard input", most, text, length, error);
  }
  int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
  if (fd < 0) {
    lw_status status = errno == ENOENT || errno == ENOTDIR ? LW_NOT_FOUND : LW_IO;
    return fail_at(error, path, status, "it cannot be opened", errno);
  }
  lw_status status = read_open(arena, fd, path, most, text, length, error);
  close(fd);
  return status;
}

lw_status lw_file_replaceable(const char *path, const char *const *begins, lw_error *error) {
  struct stat info;
  char start[64] = "";
  if (is_stream(path) || stat(path, &info) != 0 || !S_ISREG(info.st_mode) || info.st_size == 0) {
    return LW_OK;
  }
  FILE *file = fopen(path, "rb");
  size_t length = file ? fread(start, 1, sizeof start - 1, file) : 0;
  if (file) fclose(file);
  for (size_t i = 0; begins[i]; i++) {
    size_t n = strlen(begins[i]);
    if (length >= n && memcmp(start, begins[i], n) == 0) return LW_OK;
  }
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_IO,
                 "there is another kind of file here, and it is left alone; name another file");
}

lw_status lw_draft_begin(const char *path, lw_draft *draft, lw_error *error) {
  *draft = (lw_draft){0};
  if (!path[0]) return lw_fail(error, LW_IO, "the name of the file to write is empty");
  if (is_stream(path)) {
    draft->stream = stdout;
    draft->is_stdout = true;
    draft->path = strdup("standard output");
    if (draft->path) return LW_OK;
    return lw_fail(error, LW_NO_MEMORY, "no memory to write this file");
  }
  lw_status status = draft_open(path, draft, error);
  if (status != LW_OK) lw_draft_abandon(draft);
  return status;
}

lw_status lw_draft_finish(lw_draft *draft, lw_error *error) {
  int number = draft_close(draft);
  if (!number && draft->temporary && rename(draft->temporary, draft->path) != 0) number = errno;
  if (number) {
    fail_at(error, draft->path, LW_IO, not_written(draft), number);
    lw_draft_abandon(draft);
    return LW_IO;
  }
  if (draft->temporary && !folder_sync(draft->path)) {
    number = errno;
    fail_at(error, draft->path, LW_IO, "it was written, but its folder could not be synced",
            number);
    draft_free(draft);
    return LW_IO;
  }
  draft_free(draft);
  return LW_OK;
}

void lw_draft_abandon(lw_draft *draft) {
  if (draft->stream && !draft->is_stdout) fclose(draft->stream);
  if (draft->temporary) unlink(draft->temporary);
  draft_free(draft);
}

lw_status lw_file_write(const char *path, const void *bytes, size_t length, lw_error *error) {
  lw_draft draft;
  lw_status status = lw_draft_begin(path, &draft, error);
  if (status != LW_OK) return status;
  if (length && fwrite(bytes, 1, length, draft.stream) < length) {
    fail_at(error, draft.path, LW_IO, not_written(&draft), errno);
    lw_draft_abandon(&draft);
    return LW_IO;
  }
  return lw_draft_finish(&draft, error);
}

const char *lw_file_beside(lw_arena *arena, const char *file, const char *path) {
  const char *slash = path[0] == '/' || is_stream(file) ? NULL : strrchr(file, '/');
  if (!slash) return lw_arena_copy(arena, path, strlen(path));
  return lw_arena_print(arena, "%.*s/%s", (int)(slash - file), file, path);
}
