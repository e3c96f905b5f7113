/* run.h - the program itself, run in the source folder: what it printed and how it ended.
**
** LEANWARD and SOURCE_ROOT stand in the environment (tests/meson.build).
*/
#ifndef LW_TESTS_RUN_H
#define LW_TESTS_RUN_H

#include "check.h"

#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

enum { TEXT = 32768 };

typedef struct ran {
  int code; /* -1: ended by a signal */
  char out[TEXT], err[TEXT];
} ran;

static inline int scratch(const char *text) {
  char path[] = "/tmp/leanward-test-XXXXXX";
  int fd = mkstemp(path);
  assert_true(fd >= 0);
  unlink(path);
  assert_int_equal(write(fd, text, strlen(text)), (ssize_t)strlen(text));
  lseek(fd, 0, SEEK_SET);
  return fd;
}

static inline void slurp(int fd, char text[TEXT]) {
  ssize_t n = pread(fd, text, TEXT - 1, 0);
  assert_true(n >= 0);
  text[n] = '\0';
  close(fd);
}

/* args ends in NULL; the result lasts until the next run. */
static inline const ran *run(const char *const *args, const char *input) {
  const char *argv[24] = {getenv("LEANWARD")};
  assert_non_null(argv[0]);
  for (size_t i = 0; args[i]; i++) {
    assert_true(i + 2 < 24);
    argv[i + 1] = args[i];
  }
  int in = scratch(input), out = scratch(""), err = scratch("");
  fflush(NULL);
  pid_t child = fork();
  assert_true(child >= 0);
  if (child == 0) {
    dup2(in, 0);
    dup2(out, 1);
    dup2(err, 2);
    if (chdir(getenv("SOURCE_ROOT")) == 0) execv(argv[0], (char *const *)(uintptr_t)argv);
    _exit(99);
  }
  int status = 0;
  assert_int_equal(waitpid(child, &status, 0), child);
  static ran r;
  r.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  close(in);
  slurp(out, r.out);
  slurp(err, r.err);
  return &r;
}
#define RUN(...) run((const char *const[]){__VA_ARGS__, NULL}, "")

#endif
