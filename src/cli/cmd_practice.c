/* cmd_practice.c - `leanward practice`: a car that idles in real time and speaks as an instrument.
**
** The engine's twin runs by the clock behind an analyzer, a vacuum gauge and a tachometer; what
** they show goes out on a pseudo-terminal, as instruments/corran-bench-5.yaml describes it, to any
** program that reads serial lines. Commands come in on the same line, or are typed.
*/
#define _XOPEN_SOURCE 700 /* posix_openpt */
#include "cli.h"

#include "leanward/instrument.h"
#include "leanward/practice_car.h"

#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

static const char usage[] =
    "Usage: leanward practice [OPTION]... CARD [EDIT]...\n"
    "A car of this card that idles in real time. An EDIT changes it first, as in `leanward try`.\n"
    "Its analyzer, tachometer and vacuum gauge speak on a pseudo-terminal, whose name is printed;\n"
    "read it with `leanward listen --port NAME instruments/corran-bench-5.yaml`, or with anything\n"
    "else. Commands, typed here or sent there:\n\n"
    "  throttle 10 %          hold the pedal; `throttle 0 %` lets it go\n"
    "  left screw=-1/8 turn   any EDIT, while it runs: screws, timing, hoses, faults\n"
    "  start                  the starter, until it runs\n"
    "  stop                   the ignition off\n"
    "  quit\n\n"
    "  --link FILE   a name of your own for the pseudo-terminal (a symbolic link)\n"
    "  --class C     accuracy class of its analyzer: 0, I, II (I)\n"
    "  --fast X      time runs so many times as fast (1)\n"
    "  --for S       end after so many seconds of the car's time\n"
    "  --help        this text\n\n"
    "Exit status: 0 ended in order; 2 could not.\n";

enum { LINE = 160, GIVEN_MOST = 256 };

static const double tick = 0.05, every = 0.5; /* s */
static const uint64_t seed = 1;               /* of the instruments' noise */

typedef struct typed_line {
  char text[LINE];
  size_t count;
} typed_line;

typedef struct practice {
  lw_arena *arena;
  lw_units *units;
  lw_practice_car *car;
  char **edits; /* all since the card, those typed included */
  size_t edit_count;
  int master;
  const char *link;
  lw_class class;
  double fast, seconds;
  bool end, typing, linked;
  double shown; /* s of the car's time: the last line */
  typed_line here, there;
} practice;

static volatile sig_atomic_t ended;

static void on_signal(int number) {
  (void)number;
  ended = 1;
}

/* ---- the line ---- */

static lw_status open_line(practice *p, lw_error *error) {
  struct termios t;
  p->master = posix_openpt(O_RDWR | O_NOCTTY);
  bool open = p->master >= 0 && grantpt(p->master) == 0 && unlockpt(p->master) == 0 &&
              tcgetattr(p->master, &t) == 0;
  if (open) { /* an instrument does not echo */
    t.c_iflag = t.c_oflag = t.c_lflag = 0;
    open = tcsetattr(p->master, TCSANOW, &t) == 0 && fcntl(p->master, F_SETFL, O_NONBLOCK) == 0;
  }
  if (!open) return lw_fail(error, LW_IO, "no pseudo-terminal: %s", strerror(errno));
  const char *name = ptsname(p->master);
  struct stat st;
  if (p->link && lstat(p->link, &st) == 0 && S_ISLNK(st.st_mode)) unlink(p->link);
  if (p->link && symlink(name, p->link) != 0) {
    lw_error_place(error, p->link, 0, NULL);
    return lw_fail(error, LW_IO, "the link cannot be made: %s", strerror(errno));
  }
  p->linked = p->link != NULL;
  printf("%s\n", p->link ? p->link : name);
  fflush(stdout);
  return LW_OK;
}

/* Nobody there, or nobody who reads: what cannot go out is gone. */
static void send_text(practice *p, const char *text) {
  ssize_t n = write(p->master, text, strlen(text));
  (void)n;
}

static void send_reading(practice *p, const lw_needles *n) {
  char line[LINE];
  const lw_gases *g = &n->gases;
  snprintf(line, sizeof line, "$GAS,%.1f,%.2f,%.2f,%.0f,%.2f,%.0f,%.0f,%.1f", n->time, 100 * g->co,
           100 * g->co2, 1e6 * g->hc, 100 * g->o2, 1e6 * g->no,
           lw_dim_shown(LW_SPIN, LW_SHOP, n->speed), lw_dim_shown(LW_PRESSURE, LW_SHOP, n->vacuum));
  uint32_t sum = lw_checksum_of(LW_CHECKSUM_XOR8, line + 1, strlen(line) - 1);
  lw_text_append(line, sizeof line, "*%02X\r\n", (unsigned)sum);
  send_text(p, line);
}

/* ---- the car ---- */

static void advance(practice *p, double dt) {
  lw_practice_car_advance(p->car, dt);
  lw_needles needles = lw_practice_car_needles(p->car);
  if (needles.time - p->shown < every - 1e-9) return;
  p->shown = needles.time;
  send_reading(p, &needles);
}

static bool keep_edit(practice *p, const char *text) {
  char **grown = realloc(p->edits, (p->edit_count + 1) * sizeof *grown);
  if (!grown) return false;
  p->edits = grown;
  grown[p->edit_count] = strdup(text);
  if (!grown[p->edit_count]) return false;
  p->edit_count++;
  return true;
}

static lw_status edit(practice *p, const char *what, lw_error *error) {
  if (!keep_edit(p, what)) return lw_fail(error, LW_NO_MEMORY, "no memory for another edit");
  lw_status status =
      lw_practice_car_change(p->car, p->units, (const char *const *)p->edits, p->edit_count, error);
  if (status != LW_OK) free(p->edits[--p->edit_count]);
  return status;
}

static lw_status begin(practice *p, const char *path, char **edits, int count, lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  lw_card *card = NULL;
  lw_test_car *car = NULL;
  lw_bind bind = {p->arena, p->units, path};
  for (int i = 0; i < count; i++) {
    if (!keep_edit(p, edits[i])) return lw_fail(error, LW_NO_MEMORY, "no memory for the edits");
  }
  lw_status status = lw_file_read(p->arena, path, LW_DOC_MAX_BYTES, &text, &length, error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, error);
  if (status == LW_OK) status = lw_test_car_new(p->arena, card, &car, error);
  if (status == LW_OK) {
    status = lw_practice_car_new(car, p->units, (const char *const *)p->edits, p->edit_count,
                                 p->class, seed, &p->car, error);
  }
  if (status == LW_OK && !lw_practice_car_needles(p->car).running)
    fprintf(stderr,
            "leanward practice: this engine does not idle; it stands, and `start` turns the "
            "starter\n");
  return status;
}

/* ---- commands ---- */

static lw_status throttle(practice *p, const char *text, lw_error *error) {
  double pedal = 0;
  lw_status status = lw_quantity_read(p->units, LW_SHARE, text, &pedal, error);
  if (status != LW_OK) return status;
  if (!(pedal >= 0 && pedal <= 1))
    return lw_fail(error, LW_BAD_INPUT, "a throttle goes from 0 to 100 %%");
  lw_practice_car_pedal(p->car, pedal);
  return LW_OK;
}

static lw_status obey(practice *p, const char *line, lw_error *error) {
  if (strcmp(line, "quit") == 0) {
    p->end = true;
  } else if (strncmp(line, "throttle ", 9) == 0) {
    return throttle(p, line + 9, error);
  } else if (strcmp(line, "start") == 0) {
    lw_practice_car_start(p->car);
  } else if (strcmp(line, "stop") == 0) {
    lw_practice_car_stop(p->car);
  } else if (strchr(line, '=')) {
    return edit(p, line, error);
  } else {
    return lw_fail(error, LW_BAD_INPUT,
                   "'%.60s' is not a command; throttle, start, stop, quit, or an "
                   "edit such as 'left screw=-1/8 turn'",
                   line);
  }
  return LW_OK;
}

/* One line was given, here or at the other end of the wire; the answer goes back there. */
static void given(practice *p, const char *line, bool here) {
  lw_error error = {0};
  char text[900] = "done", out[960];
  line += strspn(line, " \t");
  if (!*line) return;
  if (obey(p, line, &error) != LW_OK) lw_error_line(&error, text, sizeof text);
  if (here) {
    printf("%s\n", text);
    fflush(stdout);
  } else {
    snprintf(out, sizeof out, "# %s\r\n", text);
    send_text(p, out);
  }
}

static void hear(practice *p, int fd, typed_line *l, bool here) {
  char bytes[GIVEN_MOST];
  ssize_t n = read(fd, bytes, sizeof bytes);
  if (here && (n == 0 || (n < 0 && errno != EINTR))) p->typing = false;
  for (ssize_t i = 0; i < n; i++) {
    if (bytes[i] != '\n' && bytes[i] != '\r') {
      if (l->count + 1 < sizeof l->text) l->text[l->count++] = bytes[i];
      continue;
    }
    l->text[l->count] = '\0';
    l->count = 0;
    given(p, l->text, here);
  }
}

/* Until the next tick, listening. A line nobody has open says so all the time: not asked then. */
static void wait_until(practice *p, double when) {
  for (double left; !ended && !p->end && (left = when - lw_now()) > 0;) {
    struct pollfd fds[2] = {{p->master, POLLIN, 0}, {p->typing ? STDIN_FILENO : -1, POLLIN, 0}};
    if (poll(fds, 2, (int)ceil(1e3 * left)) < 0) continue;
    if (fds[0].revents & POLLIN) {
      hear(p, p->master, &p->there, false);
    } else if (fds[0].revents) {
      struct pollfd here = fds[1];
      (void)poll(&here, 1, (int)ceil(1e3 * fmin(left, tick)));
      fds[1].revents = here.revents;
    }
    if (fds[1].revents) hear(p, STDIN_FILENO, &p->here, true);
  }
}

static void run_car(practice *p) {
  double began = lw_now();
  for (long n = 1; !ended && !p->end; n++) {
    if (lw_known(p->seconds) && tick * (double)n > p->seconds) break;
    advance(p, tick);
    wait_until(p, began + tick * (double)n / p->fast);
  }
}

/* ---- the command ---- */

static int run(practice *p, char **args, int count) {
  lw_error error = {0};
  struct sigaction act = {.sa_handler = on_signal};
  sigaction(SIGINT, &act, NULL);
  sigaction(SIGTERM, &act, NULL);
  sigaction(SIGHUP, &act, NULL);
  p->arena = lw_arena_new(0);
  p->typing = true;
  p->master = -1;
  lw_status status = p->arena ? lw_units_open(&p->units, &error)
                              : lw_fail(&error, LW_NO_MEMORY, "no memory for a car");
  if (status == LW_OK) status = begin(p, args[0], args + 1, count - 1, &error);
  if (status == LW_OK) status = open_line(p, &error);
  if (status == LW_OK) run_car(p);
  if (p->linked) unlink(p->link);
  if (p->master >= 0) close(p->master);
  lw_practice_car_free(p->car);
  for (size_t i = 0; i < p->edit_count; i++)
    free(p->edits[i]);
  free(p->edits);
  lw_units_close(p->units);
  lw_arena_free(p->arena);
  if (status != LW_OK) return cli_fail("practice", &error);
  return cli_finish("practice", CLI_DONE);
}

static bool take(practice *p, int c, const char *value) {
  static const struct {
    const char *name;
    lw_class class;
  } classes[] = {{"0", LW_CLASS_0}, {"I", LW_CLASS_I}, {"II", LW_CLASS_II}};
  lw_error unheard = {0};
  if (c == 'l') {
    p->link = value;
    return true;
  }
  if (c == 'f') return lw_number_read(value, &p->fast, &unheard) == LW_OK && p->fast > 0;
  if (c == 's') return lw_number_read(value, &p->seconds, &unheard) == LW_OK && p->seconds > 0;
  for (size_t i = 0; c == 'c' && i < sizeof classes / sizeof classes[0]; i++) {
    if (strcmp(classes[i].name, value) != 0) continue;
    p->class = classes[i].class;
    return true;
  }
  return false;
}

int cmd_practice(int argc, char **argv) {
  static const struct option options[] = {
      {"link", required_argument, NULL, 'l'}, {"class", required_argument, NULL, 'c'},
      {"fast", required_argument, NULL, 'f'}, {"for", required_argument, NULL, 's'},
      {"help", no_argument, NULL, 'h'},       {0}};
  practice *p = calloc(1, sizeof *p);
  if (!p) return CLI_COULD_NOT;
  p->class = LW_CLASS_I;
  p->fast = 1;
  p->seconds = LW_NONE;
  opterr = 0;
  int code = -1;
  for (int c; code < 0 && (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      code = cli_finish("practice", CLI_DONE);
    } else if (!take(p, c, optarg)) {
      code = cli_usage("practice", "'%s' is not an option, or lacks its value, or has a wrong one",
                       argv[optind - 1]);
    }
  }
  if (code < 0 && optind == argc) code = cli_usage("practice", "a spec card was expected");
  if (code < 0) code = run(p, argv + optind, argc - optind);
  free(p);
  return code;
}
