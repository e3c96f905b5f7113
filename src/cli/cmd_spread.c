/* cmd_spread.c - `leanward spread`: what tolerances do to units of one card and to setting them. */
#include "cli_twin.h"
#include "print_spread.h"

#include "leanward/guide.h"
#include "leanward/plot.h"

#include <errno.h>
#include <getopt.h>
#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { UNITS = 4000, THREADS_MOST = 64, CHUNK = 16 };

static const char usage[] =
    "Usage: leanward spread [OPTION]... CARD [EDIT]...\n"
    "       leanward spread --tolerances\n"
    "Thousands of virtual units of one card, every size and setting drawn from its\n"
    "tolerance: how they idle as assembled, what share can be set by its screws, how\n"
    "far those must be turned, and which dimension it hangs on. An EDIT changes the\n"
    "car first, as in `leanward try`.\n\n"
    "  --units N          how many (4000)\n"
    "  --rank N           pairs of units the ranking is worked from (1000); 0: none\n"
    "  --tolerance NAME=TIMES   a tolerance this many times as wide, 0 to 10: 0.5 is\n"
    "                     half, 0 none; NAME may be `all`. In order, any number of them\n"
    "  --co-limit, --hc-limit VALUE   held to this instead: 1.0 %, 250 ppm\n"
    "  --seed N           other units (1)\n"
    "  --threads N        at once (as many as the machine has); the same result for any N\n"
    "  --csv[=FILE]       one line for each unit\n"
    "  --json             as JSON (docs/spread.md)\n"
    "  --svg FILE, --png FILE   histograms and ranking as a picture\n"
    "  --tolerances       every tolerance with its source\n"
    "  --help             this text\n\n"
    "Exit status: 0 done; 1 the unit with every size in its middle cannot be set; 2 could not.\n";

typedef struct request {
  size_t units, ranked, threads;
  bool rank_said, json;
  uint64_t seed;
  double times[LW_VARIES];
  const char *co_limit, *hc_limit, *csv, *svg, *png;
} request;

/* ---- worked by threads ---- */

typedef struct pool {
  lw_spread *spread;
  size_t runs;
  atomic_size_t next, done;
} pool;

static void *work(void *of) {
  pool *p = of;
  for (size_t at; (at = atomic_fetch_add(&p->next, CHUNK)) < p->runs;) {
    lw_spread_work(p->spread, at, CHUNK);
    atomic_fetch_add(&p->done, p->runs - at < CHUNK ? p->runs - at : CHUNK);
  }
  return NULL;
}

static void show_bar(size_t done, size_t all, bool last) {
  enum { WIDTH = 40 };
  char bar[WIDTH + 1];
  int full = (int)(WIDTH * done / all);
  for (int i = 0; i < WIDTH; i++)
    bar[i] = i < full ? '#' : '.';
  bar[WIDTH] = '\0';
  if (last) {
    fprintf(stderr, "\r%*s\r", WIDTH + 30, "");
  } else {
    fprintf(stderr, "\r[%s] %3zu %% of %zu runs", bar, 100 * done / all, all);
  }
  fflush(stderr);
}

/* On a terminal only; looks ten times a second. */
static void watch_progress(pool *p) {
  const struct timespec tenth = {0, 100000000};
  if (!isatty(STDERR_FILENO)) return;
  for (size_t done; (done = atomic_load(&p->done)) < p->runs;) {
    show_bar(done, p->runs, false);
    nanosleep(&tenth, NULL);
  }
  show_bar(p->runs, p->runs, true);
}

/* What threads cannot be had, this one does. */
static void work_all(lw_spread *spread, size_t threads) {
  pool p = {.spread = spread, .runs = lw_spread_runs(spread)};
  pthread_t thread[THREADS_MOST];
  size_t started = 0;
  while (started < threads && pthread_create(&thread[started], NULL, work, &p) == 0)
    started++;
  if (started) {
    watch_progress(&p);
  } else {
    work(&p);
  }
  for (size_t i = 0; i < started; i++)
    pthread_join(thread[i], NULL);
}

/* ---- what is asked ---- */

static lw_status limit_of(cli_twin *t, const char *option, const char *text, double *limit,
                          lw_error *error) {
  if (!text) return LW_OK;
  lw_error own = {0};
  lw_status status = lw_quantity_read(t->units, LW_FRACTION, text, limit, &own);
  if (status == LW_OK && !(*limit > 0)) {
    status = LW_BAD_INPUT;
    snprintf(own.text, sizeof own.text, "a limit over 0 was expected");
  }
  if (status == LW_OK) return LW_OK;
  lw_error_place(error, NULL, 0, option);
  return lw_fail(error, status, "'%.60s': %s", text, own.text);
}

static lw_spread_goal goal_of(const lw_card *card) {
  lw_goal g = lw_goal_from(card);
  return (lw_spread_goal){.speed = g.speed,
                          .speed_within = g.speed_within,
                          .co = g.co,
                          .co_lo = g.co_lo,
                          .co_hi = g.co_hi,
                          .co_most = g.co_most,
                          .hc_most = g.hc_most,
                          .gear = g.gear};
}

/* A CO limit under what the card aims at pulls the aim down with it: nine tenths of it are the
   band's upper end, as the guide has it. */
static void tighten(lw_spread_goal *g, double limit) {
  double hi = 0.9 * limit;
  g->co_most = limit;
  if (g->co_hi <= hi) return;
  g->co_hi = hi;
  if (g->co_lo > hi) g->co_lo = 0.3 * hi;
  g->co = 0.5 * (g->co_lo + g->co_hi);
}

static lw_status ask_of(cli_twin *t, const lw_card *card, const request *r, lw_spread_ask *ask,
                        lw_error *error) {
  lw_spread_goal goal = goal_of(card);
  double co = LW_NONE;
  lw_status status = limit_of(t, "--co-limit", r->co_limit, &co, error);
  if (status == LW_OK) status = limit_of(t, "--hc-limit", r->hc_limit, &goal.hc_most, error);
  if (status != LW_OK) return status;
  if (lw_known(co)) tighten(&goal, co);
  *ask = lw_spread_asked(&goal, r->units);
  if (r->rank_said) ask->ranked = r->ranked;
  ask->seed = r->seed;
  memcpy(ask->times, r->times, sizeof ask->times);
  return LW_OK;
}

/* ---- the command ---- */

static lw_status car_of(cli_twin *t, char **edits, int count, lw_test_car **car, lw_error *error) {
  lw_test_car *sound = NULL;
  lw_status status = lw_test_car_new(t->arena, t->twin->card, &sound, error);
  *car = sound;
  if (status != LW_OK || count == 0) return status;
  return lw_test_car_what_if(t->arena, t->units, sound, (const char *const *)edits, (size_t)count,
                             car, error);
}

static lw_status draw(const cli_study *s, const request *r, lw_error *error) {
  char title[320];
  lw_status status = LW_OK;
  snprintf(title, sizeof title, "%s%s%s", s->car->twin->card->unit, s->what[0] ? " with " : "",
           s->what);
  lw_plot_spread plot = {title, &s->ask.goal, s->result};
  if (r->svg) status = lw_plot_spread_write(&plot, LW_PLOT_SVG, r->svg, error);
  if (status == LW_OK && r->png) status = lw_plot_spread_write(&plot, LW_PLOT_PNG, r->png, error);
  return status;
}

static int answer(cli_twin *t, const request *r, char **edits, int count, lw_error *error) {
  lw_test_car *car = NULL;
  lw_spread *spread = NULL;
  lw_spread_result result;
  cli_study study = {.result = &result};
  lw_status status = car_of(t, edits, count, &car, error);
  if (status == LW_OK) status = ask_of(t, t->twin->card, r, &study.ask, error);
  if (status == LW_OK) status = lw_spread_new(t->arena, car, &study.ask, &spread, error);
  if (status != LW_OK) return cli_fail("spread", error);
  work_all(spread, r->threads);
  status = lw_spread_finish(t->arena, spread, &result, error);
  study.car = car;
  for (int i = 0; i < count; i++)
    lw_text_append(study.what, sizeof study.what, i ? ", %s" : "%s", edits[i]);
  if (status == LW_OK) status = draw(&study, r, error);
  if (status == LW_OK && r->csv) status = cli_spread_csv(r->csv, &study, error);
  if (status != LW_OK) return cli_fail("spread", error);
  if (r->json) {
    cli_spread_json(&study);
  } else if (!r->csv && !r->svg && !r->png) {
    cli_spread_print(&study);
  }
  return cli_finish("spread", result.nominal->within ? CLI_DONE : CLI_OUTSIDE);
}

static bool number(const char *text, unsigned long long most, unsigned long long *n) {
  char *end = NULL;
  errno = 0;
  *n = strtoull(text, &end, 10);
  return text[0] >= '0' && text[0] <= '9' && !*end && !errno && *n <= most;
}

/* "idle feed=0.5", "all=0"; false: no such thing. */
static bool take_tolerance(request *r, const char *text) {
  const char *equals = strchr(text, '=');
  char name[64], *end = NULL;
  if (!equals || equals == text || (size_t)(equals - text) >= sizeof name) return false;
  snprintf(name, sizeof name, "%.*s", (int)(equals - text), text);
  double times = strtod(equals + 1, &end);
  bool good = equals[1] && !*end && times >= 0 && times <= 10, any = false;
  for (int i = 0; good && i < LW_VARIES; i++) {
    if (!lw_text_same(name, "all") && !lw_text_same(name, lw_vary_text((lw_vary)i))) continue;
    r->times[i] = times;
    any = true;
  }
  return any;
}

static int refuse_tolerance(const char *text) {
  const char *names[LW_VARIES];
  char name[64];
  snprintf(name, sizeof name, "%.*s", (int)strcspn(text, "="), text);
  for (int i = 0; i < LW_VARIES; i++)
    names[i] = lw_vary_text((lw_vary)i);
  const char *near = lw_text_nearest(name, names, LW_VARIES);
  if (near && !lw_text_same(near, name)) {
    return cli_usage("spread", "--tolerance '%.80s': did you mean '%s'?", text, near);
  }
  return cli_usage("spread",
                   "--tolerance '%.80s': NAME=TIMES with 0 to 10 times was expected, NAME one of "
                   "those that --tolerances lists",
                   text);
}

static bool take(request *r, int c, const char *value) {
  unsigned long long n = 0;
  switch (c) {
  case 'j': r->json = true; return true;
  case 'c': r->csv = value ? value : "-"; return true;
  case 'S': r->svg = value; return true;
  case 'P': r->png = value; return true;
  case 'O': r->co_limit = value; return true;
  case 'H': r->hc_limit = value; return true;
  case 'T': return take_tolerance(r, value);
  case 'n':
    if (!number(value, LW_SPREAD_UNITS_MOST, &n) || n < 2) return false;
    r->units = (size_t)n;
    return true;
  case 'r':
    if (!number(value, LW_SPREAD_RANKED_MOST, &n)) return false;
    r->ranked = (size_t)n;
    r->rank_said = true;
    return true;
  case 't':
    if (!number(value, THREADS_MOST, &n) || n < 1) return false;
    r->threads = (size_t)n;
    return true;
  case 's':
    if (!number(value, UINT64_MAX, &n)) return false;
    r->seed = n;
    return true;
  default: return false;
  }
}

static request usual(void) {
  long cores = sysconf(_SC_NPROCESSORS_ONLN);
  request r = {.units = UNITS, .seed = 1};
  r.threads = cores < 1 ? 1 : cores > THREADS_MOST ? THREADS_MOST : (size_t)cores;
  for (int i = 0; i < LW_VARIES; i++)
    r.times[i] = 1;
  return r;
}

static int to_output(const request *r) {
  const char *const files[] = {r->csv, r->svg, r->png};
  int count = r->json;
  for (size_t i = 0; i < 3; i++)
    count += files[i] && strcmp(files[i], "-") == 0;
  return count;
}

int cmd_spread(int argc, char **argv) {
  static const struct option options[] = {{"units", required_argument, NULL, 'n'},
                                          {"rank", required_argument, NULL, 'r'},
                                          {"tolerance", required_argument, NULL, 'T'},
                                          {"co-limit", required_argument, NULL, 'O'},
                                          {"hc-limit", required_argument, NULL, 'H'},
                                          {"seed", required_argument, NULL, 's'},
                                          {"threads", required_argument, NULL, 't'},
                                          {"csv", optional_argument, NULL, 'c'},
                                          {"svg", required_argument, NULL, 'S'},
                                          {"png", required_argument, NULL, 'P'},
                                          {"json", no_argument, NULL, 'j'},
                                          {"tolerances", no_argument, NULL, 'L'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  request r = usual();
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h' || c == 'L') {
      if (c == 'h') fputs(usage, stdout);
      if (c == 'L') cli_tolerances_print();
      return cli_finish("spread", CLI_DONE);
    }
    if (take(&r, c, optarg)) continue;
    if (c == 'T') return refuse_tolerance(optarg);
    return cli_usage("spread", "'%s' is not an option, or lacks its value, or has a wrong one",
                     argv[optind - 1]);
  }
  if (optind == argc) return cli_usage("spread", "a spec card was expected");
  if (to_output(&r) > 1) {
    return cli_usage("spread",
                     "only one of --csv, --json, --svg and --png can go to standard output");
  }
  lw_error error = {0};
  cli_twin t;
  int code = cli_twin_open(&t, argv[optind], &error) == LW_OK
                 ? answer(&t, &r, argv + optind + 1, argc - optind - 1, &error)
                 : cli_fail("spread", &error);
  cli_twin_close(&t);
  return code;
}
