/* wire_kit.h - instruments for tests: descriptions read, pseudo-terminals that can be unplugged and
** plugged in again, readings gathered.
**
** A test that includes this defines _XOPEN_SOURCE 700 before anything else (posix_openpt).
**
** Tests run beside each other on one machine: wire_plug says how they keep off each other's lines.
*/
#ifndef LW_TESTS_WIRE_KIT_H
#define LW_TESTS_WIRE_KIT_H

#include "check.h"

#include "leanward/instrument.h"

#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define WIRE_RPM 0.10471975511965977

/* ---- a folder for what a test makes ---- */

typedef struct wire_kit {
  lw_arena *arena;
  lw_units *units;
  char folder[64];
} wire_kit;

static inline void wire_remove(const char *folder) {
  pid_t child = fork();
  if (child == 0) {
    execlp("rm", "rm", "-rf", "--", folder, (char *)NULL);
    _exit(1);
  }
  if (child > 0) (void)waitpid(child, NULL, 0);
}

/* Waits for the end of the program, however it ends (a failed test, a sanitizer, killed because it
   took too long), and takes its folder away: then nobody holds the other end of the pipe. */
static inline void wire_broom(const char *folder, int end) {
  char byte;
  (void)setsid(); /* what kills the program's group shall not kill the broom */
  while (read(end, &byte, 1) < 0)
    ;
  execlp("rm", "rm", "-rf", "--", folder, (char *)NULL);
  _exit(1);
}

/* One for the whole program; each kit has a folder in it. */
static inline const char *wire_base(void) {
  static char base[40];
  int end[2];
  if (base[0]) return base;
  snprintf(base, sizeof base, "/tmp/leanward-wire-XXXXXX");
  assert_non_null(mkdtemp(base));
  assert_int_equal(pipe(end), 0);
  for (int i = 0; i < 2; i++)
    assert_int_equal(fcntl(end[i], F_SETFD, FD_CLOEXEC), 0);
  fflush(NULL);
  pid_t child = fork();
  assert_true(child >= 0);
  if (child == 0) {
    close(end[1]);
    wire_broom(base, end[0]);
  }
  close(end[0]);
  return base;
}

static inline wire_kit wire_kit_new(void) {
  static int number;
  wire_kit k = {.arena = lw_arena_new(0)};
  assert_non_null(k.arena);
  assert_int_equal(lw_units_open(&k.units, NULL), LW_OK);
  snprintf(k.folder, sizeof k.folder, "%s/%d", wire_base(), ++number);
  assert_int_equal(mkdir(k.folder, 0700), 0);
  return k;
}

static inline void wire_kit_free(wire_kit *k) {
  wire_remove(k->folder);
  lw_arena_free(k->arena);
  lw_units_close(k->units);
}

static inline const char *wire_path(wire_kit *k, const char *name) {
  const char *path = lw_arena_print(k->arena, "%s/%s", k->folder, name);
  assert_non_null(path);
  return path;
}

static inline lw_instrument *wire_describe(wire_kit *k, const char *text) {
  lw_bind bind = {k->arena, k->units, "i.yaml"};
  lw_instrument *i = NULL;
  lw_error error = {0};
  char line[900];
  if (lw_instrument_read(&bind, text, strlen(text), &i, &error) != LW_OK)
    fail_msg("%s\n%s", lw_error_line(&error, line, sizeof line), text);
  return i;
}

/* The line with which a description is refused. */
static inline const char *wire_refusal(wire_kit *k, const char *text) {
  static char line[900];
  lw_bind bind = {k->arena, k->units, "i.yaml"};
  lw_instrument *i = NULL;
  lw_error error = {0};
  if (lw_instrument_read(&bind, text, strlen(text), &i, &error) != LW_BAD_INPUT)
    fail_msg("taken, though it is wrong:\n%s", text);
  assert_null(i);
  return lw_error_line(&error, line, sizeof line);
}

/* One of the descriptions that come with leanward, with this port; `but` is written in place of
   `of` when that is given. */
static inline lw_instrument *wire_demo_but(wire_kit *k, const char *name, const char *port,
                                           const char *of, const char *but) {
  char text[16384], path[600];
  snprintf(path, sizeof path, "%s/instruments/%s", getenv("SOURCE_ROOT"), name);
  FILE *file = fopen(path, "rb");
  if (!file) fail_msg("%s cannot be opened", path);
  size_t n = fread(text, 1, sizeof text - 1, file);
  fclose(file);
  text[n] = '\0';
  const char *at = strstr(text, of);
  if (!at) fail_msg("%s holds no '%s'", path, of);
  const char *said =
      lw_arena_print(k->arena, "%.*s%s%s", (int)(at - text), text, but, at + strlen(of));
  assert_non_null(said);
  lw_instrument *i = wire_describe(k, said);
  if (port) lw_instrument_set_port(i, port);
  return i;
}

static inline lw_instrument *wire_demo(wire_kit *k, const char *name, const char *port) {
  return wire_demo_but(k, name, port, "", "");
}

/* ---- a pseudo-terminal behind a name that stays ---- */

typedef struct wire {
  int master;
  int held;         /* the slave, once more */
  const char *path; /* a symbolic link to the slave */
} wire;

static inline void wire_drop(int *fd) {
  if (*fd >= 0) close(*fd);
  *fd = -1;
}

/* When the last one lets go of a pseudo-terminal its number is free, and the next test that makes
   one gets it, while the link here still names it: a source that tries to get its line back would
   open a stranger's, take bytes away there and ask its own questions. So the slave is held until
   the link no longer names it. */
static inline void wire_plug(wire *w) {
  w->master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
  assert_true(w->master >= 0);
  assert_int_equal(grantpt(w->master), 0);
  assert_int_equal(unlockpt(w->master), 0);
  struct termios t; /* an instrument does not echo */
  assert_int_equal(tcgetattr(w->master, &t), 0);
  t.c_iflag = t.c_oflag = t.c_lflag = 0;
  assert_int_equal(tcsetattr(w->master, TCSANOW, &t), 0);
  unlink(w->path);
  wire_drop(&w->held);
  w->held = open(ptsname(w->master), O_RDWR | O_NOCTTY | O_NONBLOCK);
  assert_true(w->held >= 0);
  assert_int_equal(symlink(ptsname(w->master), w->path), 0);
}

/* The link stays and names a line that is dead. */
static inline void wire_unplug(wire *w) {
  wire_drop(&w->master);
}

static inline void wire_free(wire *w) {
  unlink(w->path);
  wire_drop(&w->master);
  wire_drop(&w->held);
}

static inline wire wire_new(wire_kit *k, const char *name) {
  wire w = {-1, -1, wire_path(k, name)};
  wire_plug(&w);
  return w;
}

static inline void wire_bytes(const wire *w, const void *bytes, size_t length) {
  assert_int_equal(write(w->master, bytes, length), (ssize_t)length);
}

static inline void wire_say(const wire *w, const char *text) {
  wire_bytes(w, text, strlen(text));
}

/* What was asked, waited for up to 2 s; returns its length. */
static inline size_t wire_hear(const wire *w, void *bytes, size_t most, size_t wanted) {
  size_t count = 0;
  double until = lw_now() + 2;
  while (count < wanted && lw_now() < until) {
    ssize_t n = read(w->master, (char *)bytes + count, most - count);
    if (n > 0) count += (size_t)n;
    if (n <= 0) nanosleep(&(struct timespec){0, 1000000}, NULL);
  }
  return count;
}

/* ---- what came ---- */

enum { GATHER_MOST = 4096 };
typedef struct gathered {
  size_t count;
  lw_live live[GATHER_MOST];
} gathered;

static inline void gather(void *to, const lw_live *live) {
  gathered *g = to;
  if (g->count < GATHER_MOST) g->live[g->count++] = *live;
}

/* Entries of a source until one of this kind (or for s seconds); true when it came. */
static inline bool wire_until(lw_source *s, lw_live_kind kind, double seconds, lw_live *live) {
  lw_error error = {0};
  double until = lw_now() + seconds;
  while (lw_now() < until) {
    if (lw_source_next(s, until, live, &error) != LW_OK) fail_msg("%s", error.text);
    if (live->kind == kind) return true;
  }
  return false;
}

/* As long as that only on a machine that has much else to do. */
static inline lw_live wire_reading(lw_source *s) {
  lw_live live;
  if (!wire_until(s, LW_LIVE_READING, 20, &live)) fail_msg("no reading in 20 s");
  return live;
}

static inline lw_source *wire_source(void) {
  lw_source *s = NULL;
  assert_int_equal(lw_source_new(&s, NULL), LW_OK);
  return s;
}

static inline void wire_listen(lw_source *s, const lw_instrument *i, int flags) {
  lw_error error = {0};
  if (lw_source_listen(s, i, flags, &error) != LW_OK) fail_msg("%s", error.text);
}

/* Equal to the last bit, NaN for NaN. */
static inline bool same_bits(const double *a, const double *b, size_t count) {
  return memcmp(a, b, count * sizeof *a) == 0;
}

#endif
