/* test_listen.c - the commands: a practice car heard by `leanward listen`, logged, played again. */
#define _XOPEN_SOURCE 700
#include "wire_kit.h"

#include "run.h"

#include <signal.h>

static const char card[] = "cards/corran-290-eight-automatic.yaml";
static const char bench[] = "instruments/corran-bench-5.yaml";

/* The program in the background, its output in a file of the kit. */
static pid_t spawn(wire_kit *k, const char *out, const char *const *args) {
  const char *argv[24] = {getenv("LEANWARD")};
  for (size_t i = 0; args[i]; i++)
    argv[i + 1] = args[i];
  fflush(NULL);
  pid_t child = fork();
  assert_true(child >= 0);
  if (child > 0) return child;
  int to = open(wire_path(k, out), O_WRONLY | O_CREAT | O_TRUNC, 0600),
      none = open("/dev/null", O_RDONLY);
  dup2(none, 0);
  dup2(to, 1);
  dup2(to, 2);
  if (chdir(getenv("SOURCE_ROOT")) == 0) execv(argv[0], (char *const *)(uintptr_t)argv);
  _exit(99);
}
#define SPAWN(k, out, ...) spawn(k, out, (const char *const[]){__VA_ARGS__, NULL})

static int ended(pid_t child) {
  int status = 0;
  assert_int_equal(waitpid(child, &status, 0), child);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static char *file_text(wire_kit *k, const char *name) {
  static char text[1 << 20];
  FILE *file = fopen(wire_path(k, name), "rb");
  assert_non_null(file);
  text[fread(text, 1, sizeof text - 1, file)] = '\0';
  fclose(file);
  return text;
}

static void wait_for(const char *path) {
  struct stat st;
  for (int i = 0; i < 600 && lstat(path, &st) != 0; i++)
    nanosleep(&(struct timespec){0, 50000000}, NULL);
  assert_int_equal(lstat(path, &st), 0);
}

static size_t lines_with(const char *text, const char *part) {
  size_t n = 0;
  for (const char *p = text; (p = strstr(p, part)); p++)
    n++;
  return n;
}

/* A car whose time runs eight times as fast, heard and logged; Ctrl-C ends both in order. */
static void test_practice_heard(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  const char *link = wire_path(&k, "car"), *log = wire_path(&k, "run.log");
  pid_t car = SPAWN(&k, "car.out", "practice", "--fast", "8", "--link", link, card);
  wait_for(link);
  pid_t ear =
      SPAWN(&k, "ear.out", "listen", "--csv", "--wait", "--port", link, "--log", log, bench);
  nanosleep(&(struct timespec){3, 0}, NULL);
  assert_int_equal(kill(ear, SIGINT), 0);
  assert_int_equal(ended(ear), 0);
  assert_int_equal(kill(car, SIGINT), 0);
  assert_int_equal(ended(car), 0);
  struct stat st;
  assert_int_not_equal(lstat(link, &st), 0); /* its link is gone with it */
  char *live = strdup(file_text(&k, "ear.out"));
  HOLDS(
      live,
      "time [s],wall,CO [%],CO2 [%],HC [ppm],O2 [%],NO [ppm],speed [rpm],vacuum [inHg],state,wait");
  size_t rows =
      lines_with(live, ",wait,") + lines_with(live, ",settled,") + lines_with(live, ",,\n");
  assert_true(rows >= 20); /* 16 a second, less what starting takes */
  /* played again: the same rows */
  const ran *again = RUN("listen", "--csv", "--speed", "0", log);
  assert_int_equal(again->code, 0);
  HOLDS(again->out, "speed [rpm]");
  assert_int_equal(lines_with(again->out, "\n"), lines_with(live, "\n"));
  const ran *json = RUN("listen", "--json", "--speed", "0", log);
  assert_int_equal(json->code, 0);
  HOLDS(json->out, "{\"kind\":\"reading\",\"number\":1,\"instrument\":0,\"time_s\":");
  HOLDS(json->out, "\"HC_as\":\"hexane\"");
  free(live);
  wire_kit_free(&k);
}

/* Commands over the wire: the throttle moves, an edit changes the mixture, nonsense is answered. */
static void test_practice_commands(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  const char *link = wire_path(&k, "car");
  pid_t car =
      SPAWN(&k, "car.out", "practice", "--fast", "10", "--for", "200", "--link", link, card);
  wait_for(link);
  lw_source *s = wire_source();
  wire_listen(s, wire_demo(&k, "corran-bench-5.yaml", link), 0);
  double idle = wire_reading(s).x[LW_LIVE_SPEED] / WIRE_RPM;
  assert_true(idle > 500 && idle < 900);
  int fd = open(link, O_WRONLY | O_NOCTTY);
  if (fd < 0) { /* held by the source alone: only root may open it twice */
    lw_source_free(s);
    kill(car, SIGTERM);
    (void)ended(car);
    wire_kit_free(&k);
    skip();
  }
  lw_live live = {0};
  assert_int_equal(write(fd, "throttle 20 %\n", 14), 14);
  double until = lw_now() + 5;
  while (live.x[LW_LIVE_SPEED] < 1500 * WIRE_RPM && lw_now() < until)
    live = wire_reading(s);
  assert_true(live.x[LW_LIVE_SPEED] > 1500 * WIRE_RPM);
  assert_int_equal(write(fd, "throttle 0 %\nscrews=+1/2 turn\nnonsense\n", 39), 39);
  double co = 1;
  until = lw_now() + 12;
  while (lw_now() < until && !(live.x[LW_LIVE_SPEED] < 800 * WIRE_RPM && co < 0.0075))
    co = (live = wire_reading(s)).x[LW_LIVE_CO];
  printf("half a turn out: CO %.2f %%, %.0f rpm\n", 100 * co, live.x[LW_LIVE_SPEED] / WIRE_RPM);
  assert_true(co < 0.0075); /* an air bleed screw: leaner; 1.05 % before */
  close(fd);
  lw_source_free(s);
  kill(car, SIGTERM);
  assert_int_equal(ended(car), 0);
  wire_kit_free(&k);
}

static void test_refusals(void **state) {
  (void)state;
  const ran *r = RUN("listen");
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "a description, a log or a CSV file was expected");
  r = RUN("listen", "nowhere.yaml");
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "leanward listen: nowhere.yaml");
  r = RUN("listen", "--port", "/dev/nowhere", bench);
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "instruments/corran-bench-5.yaml: /dev/nowhere cannot be opened: No such file");
  r = RUN("listen", "--fast", bench);
  assert_int_equal(r->code, 2);
  r = RUN("listen", "--speed", "quick", bench);
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "--help");
  r = RUN("listen", "--check", card);
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "is not a key of an instrument");
  assert_null(strchr(r->err, '\n')[1] ? "more than one line" : NULL);
  r = RUN("listen", "--check", bench);
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "settles in");
  r = RUN("practice");
  assert_int_equal(r->code, 2);
  r = RUN("practice", card, "nothing like it=1");
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "leanward practice:");
}

/* Lost at the end: code 1. A log that could not be kept: code 2. */
static void test_exit_codes(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  wire w = wire_new(&k, "port");
  const ran *r = RUN("listen", "--port", w.path, "--for", "0.2", bench);
  assert_int_equal(r->code, 1); /* not one reading came */
  HOLDS(r->out, "Corran Works bench 5: 0 readings");
  r = RUN("listen", "--port", w.path, "--for", "0.2", "--log", "/dev/full", bench);
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "No space left");
  r = RUN("listen", "--port", w.path, "--log", "README.md", bench);
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "README.md:1: this is no log of leanward");
  wire_free(&w);
  wire_kit_free(&k);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_practice_heard),
      cmocka_unit_test(test_practice_commands),
      cmocka_unit_test(test_refusals),
      cmocka_unit_test(test_exit_codes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
