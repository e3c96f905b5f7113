/* hold.c - one program at a time adds to a file, and what a killed one left half written is removed.
**
** Locks are those of the open file (fcntl F_OFD_SETLK): they go when it is closed, also by a kill, and
** are not lost when another part of the program closes the same file. A file that is replaced by a
** rename cannot carry a lock across it, so the lock stands beside it: `.NAME.lock`, with the holder in
** words, removed in the end. Who finds it removed while taking it begins anew.
*/
#define _GNU_SOURCE /* F_OFD_SETLK, realpath */

#include "hold.h"

#include "leanward/record.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { TRIES = 100, NAME_KEPT = 200 };

bool hold_file(int fd) {
  struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
  return fcntl(fd, F_OFD_SETLK, &whole) == 0 || (errno != EAGAIN && errno != EACCES);
}

/* ---- leftovers ---- */

/* ".leanward-1234-0.new", also with "-journal" and such behind it; 0: another name. */
static long writer_of(const char *name) {
  static const char *const ends[] = {".new", ".new-journal", ".new-wal", ".new-shm"};
  static const char head[] = ".leanward-";
  if (strncmp(name, head, sizeof head - 1) != 0) return 0;
  char *end = NULL;
  long pid = strtol(name + sizeof head - 1, &end, 10);
  if (pid <= 0 || *end != '-') return 0;
  end += 1 + strspn(end + 1, "0123456789");
  for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
    if (strcmp(end, ends[i]) == 0) return pid;
  }
  return 0;
}

static bool is_gone(long pid) {
  return kill((pid_t)pid, 0) != 0 && errno == ESRCH;
}

/* A writer on another machine of a shared folder has a number that says nothing here, but holds it. */
static void remove_if_free(int folder, const char *name) {
  struct stat info;
  int fd = openat(folder, name, O_RDWR | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
  if (fd < 0) return;
  bool ours = fstat(fd, &info) == 0 && S_ISREG(info.st_mode) && info.st_uid == geteuid();
  if (ours && hold_file(fd)) (void)unlinkat(folder, name, 0);
  close(fd);
}

void hold_sweep(const char *folder) {
  int was = errno;
  DIR *list = opendir(folder);
  for (const struct dirent *e; list && (e = readdir(list)) != NULL;) {
    long pid = writer_of(e->d_name);
    if (pid && is_gone(pid)) remove_if_free(dirfd(list), e->d_name);
  }
  if (list) closedir(list);
  errno = was;
}

/* ---- one program at a time ---- */

/* "FOLDER/.NAME.lock" of the file that path leads to; malloced. */
static char *lock_name(const char *path) {
  char *target = realpath(path, NULL);
  if (!target) target = strdup(path);
  if (!target) return NULL;
  const char *slash = strrchr(target, '/');
  int folder = slash ? (int)(slash - target) + 1 : 0;
  size_t size = strlen(target) + 16;
  char *name = malloc(size);
  if (name) {
    snprintf(name, size, "%.*s.%.*s.lock", folder, target, (int)NAME_KEPT, target + folder);
  }
  free(target);
  return name;
}

static void say_holder(int fd, const char *who) {
  char text[100];
  int length = snprintf(text, sizeof text, "%.60s, process %ld\n", who, (long)getpid());
  if (ftruncate(fd, 0) != 0 || pwrite(fd, text, (size_t)length, 0) != length) {
    return; /* a full disk: the lock holds without words */
  }
}

static lw_status held(int fd, const char *path, lw_error *error) {
  char text[100] = "";
  ssize_t got = pread(fd, text, sizeof text - 1, 0);
  text[got > 0 ? got : 0] = '\0';
  text[strcspn(text, "\n")] = '\0';
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_IO, "another program adds to this file (%s): end it, or work on a copy",
                 text[0] ? text : "it says no name");
}

/* Whether the name still leads to what is open: its holder may have removed it meanwhile. */
static bool is_still(int fd, const char *name) {
  struct stat open_one, named;
  return fstat(fd, &open_one) == 0 && stat(name, &named) == 0 && open_one.st_ino == named.st_ino &&
         open_one.st_dev == named.st_dev;
}

static lw_status cannot(const char *path, lw_error *error) {
  int number = errno;
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_IO, "no lock can be put beside it: %s", strerror(number));
}

/* mode: of the file, so that who may write it may take the lock. */
static lw_status take(const char *path, const char *who, mode_t mode, lw_file_lock *lock,
                      lw_error *error) {
  for (int i = 0; i < TRIES; i++) {
    int fd = open(lock->name, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (fd < 0) return cannot(path, error);
    if (!hold_file(fd)) {
      lw_status status = held(fd, path, error);
      close(fd);
      return status;
    }
    if (is_still(fd, lock->name)) {
      (void)fchmod(fd, mode & 0666);
      say_holder(fd, who);
      lock->fd = fd;
      return LW_OK;
    }
    close(fd);
  }
  errno = EBUSY;
  return cannot(path, error);
}

lw_status lw_file_lock_take(const char *path, const char *who, lw_file_lock *lock,
                            lw_error *error) {
  struct stat info;
  *lock = (lw_file_lock){-1, NULL};
  if (strcmp(path, "-") == 0 || stat(path, &info) != 0 || !S_ISREG(info.st_mode)) return LW_OK;
  lock->name = lock_name(path);
  if (!lock->name) return lw_fail(error, LW_NO_MEMORY, "no memory to lock this file");
  lw_status status = take(path, who, info.st_mode, lock, error);
  if (status != LW_OK) lw_file_lock_release(lock);
  return status;
}

void lw_file_lock_release(lw_file_lock *lock) {
  if (lock->name && lock->fd >= 0) {
    unlink(lock->name);
    close(lock->fd);
  }
  free(lock->name);
  *lock = (lw_file_lock){-1, NULL};
}
