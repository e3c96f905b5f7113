/* cmd_idle.c - `leanward idle`: speed, vacuum and gases against the turns of each screw. */
#include "cli_live.h"
#include "cli_twin.h"
#include "idle_job.h"

#include "leanward/bench_json.h"
#include "leanward/car.h"
#include "leanward/plot.h"

#include <getopt.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward idle [--json] JOB\n"
    "       leanward idle JOB --listen DESCRIPTION [--port PORT]... [OPTION]...\n"
    "       leanward idle [OPTION]... CARD [EDIT]...\n"
    "With a job: which screw to turn next, which way and how far, and what the analyzer\n"
    "should then show; or that the idle is set; or what prevents it.\n"
    "Beside running instruments (--listen): each time the readings have settled one is\n"
    "written into the job's file and the next move is said; turn the screws, and it goes\n"
    "on by itself. Enter says that it was turned; \"left out 1/4\", that it was another\n"
    "move; \"left at 1 1/2 turns\", where a screw stands (docs/guide.md).\n"
    "With a card: how this engine idles with each of its screws turned: speed, vacuum\n"
    "and exhaust gas, the other screws left as the card has them. An EDIT changes the car\n"
    "first, as in `leanward try`: \"vacuum leak=2 mm\", \"cylinder=3 dead\".\n\n"
    "  --drive            an automatic in drive, the car standing\n"
    "  --hold-speed       keep the idle speed with the speed screw meanwhile, as in\n"
    "                     setting an idle; else the speed screw is left alone\n"
    "  --points N         places each screw is turned to, 3 to 200 (13)\n"
    "  --csv[=FILE]       the same as comma-separated values\n"
    "  --json             the same as JSON (docs/idle.md)\n"
    "  --svg FILE, --png FILE   the curves as a picture\n\n"
    "  --listen FILE      a description (docs/instruments.md), up to 8 times; or a log or\n"
    "                     a CSV file, to be played\n"
    "  --port PORT        use this device or HOST:PORT for the --listen before it\n"
    "  --log FILE         keep every byte with its time; an existing log is continued\n"
    "  --wait             a port that is not there is waited for\n"
    "  --speed X          play a file so many times as fast as it was (1; 0: at once)\n"
    "  --for S            end after so long\n"
    "  --help             this text\n\n"
    "Exit status: 0 set, or it idles; 1 to be turned, cannot be set, not fit, or it does\n"
    "not idle; 2 could not.\n";

enum { POINTS = 13, POINTS_MOST = 200, PICTURE_POINTS = 61 };

typedef struct request {
  bool drive, hold, json, sized; /* sized: --points was given */
  int points;
  const char *csv, *svg, *png;
  idle_listening listening;
} request;

static double rpm(double speed) {
  return lw_dim_shown(LW_SPIN, LW_SHOP, speed);
}

static double hexane(const lw_products *p) {
  return p->dry.hc / 6;
}

/* ---- text ---- */

/* The place nearest to where the screw stands. */
static size_t here(const lw_idle_curve *c) {
  size_t best = c->count;
  for (size_t i = 0; lw_known(c->now) && i < c->count; i++) {
    if (best == c->count ||
        fabs(c->points[i].turns - c->now) < fabs(c->points[best].turns - c->now))
      best = i;
  }
  return best;
}

static void print_row(const lw_idle_table *t, const lw_idle_curve *c, size_t i) {
  const lw_idle_point *p = &c->points[i];
  const lw_products *gas = &p->run.burned.sampled;
  printf("%7.2f", p->turns);
  if (!p->solved) {
    printf("  %s\n", p->why);
    return;
  }
  printf("%7.0f%7.1f%8.2f%7.1f%7.2f%8.0f%7.0f%8.3f", rpm(p->run.setting.speed),
         lw_dim_shown(LW_PRESSURE, LW_SHOP, p->run.vacuum), 100 * gas->dry.co, 100 * gas->dry.co2,
         100 * gas->dry.o2, 1e6 * hexane(gas), 1e6 * gas->dry.no, p->run.burned.lambda);
  printf("%7.1f", 100 * p->run.burned.misfire);
  bool on = fabs(p->turns - c->now) < 1e-6, speed = t->hold == LW_HOLD_STOP;
  printf("%s%s\n",
         i != here(c) ? ""
         : on         ? "  stands here"
                      : "  stands near here",
         speed && i == c->fastest ? "  fastest" : "");
}

static void print_curve(const lw_idle_table *t, const lw_idle_curve *c) {
  char kind[120] = "";
  putchar('\n');
  cli_styled(stdout, CLI_STRONG, c->screw);
  if (c->kind != LW_SCREW_UNSAID) snprintf(kind, sizeof kind, " (%s)", lw_screw_kind_text(c->kind));
  if (lw_known(c->now) && c->kind != LW_SCREW_UNSAID)
    lw_text_append(kind, sizeof kind, ", %.2f turns out as it stands", c->now);
  printf("%s%s\n", kind, t->hold == LW_HOLD_SPEED ? ", speed kept with the speed screw" : "");
  printf("%7s%7s%7s%8s%7s%7s%8s%7s%8s%7s\n", "turns", "rpm", "inHg", "CO %", "CO2 %", "O2 %",
         "HC ppm", "NO ppm", "lambda", "lost %");
  for (size_t i = 0; i < c->count; i++)
    print_row(t, c, i);
}

static void print_now(const lw_test_car *car, const lw_idle_table *t, const char *what) {
  const lw_running *r = &t->now.run;
  cli_styled(stdout, CLI_STRONG, car->twin->card->unit);
  printf("%s%s", what[0] ? " with " : "", what);
  if (!t->now.solved) {
    printf(": %s\n", t->now.why);
    return;
  }
  printf(
      ": idles at %.0f rpm and %.1f inHg%s, CO %.2f %%, HC %.0f ppm, O2 %.2f %%, timing %+.1f deg, "
      "lambda %.3f\n",
      rpm(r->setting.speed), lw_dim_shown(LW_PRESSURE, LW_SHOP, r->vacuum),
      t->gear == LW_LOAD_DRIVE ? " in drive" : "", 100 * r->burned.sampled.dry.co,
      1e6 * hexane(&r->burned.sampled), 100 * r->burned.sampled.dry.o2,
      lw_dim_shown(LW_ANGLE, LW_SHOP, r->burned.timing) + 0.0, r->burned.lambda);
}

static void print_tables(const lw_test_car *car, const lw_idle_table *t, const char *what) {
  print_now(car, t, what);
  for (size_t i = 0; i < t->curve_count; i++)
    print_curve(t, &t->curves[i]);
  puts("\nHC as hexane; gases dry. lost: cycles that do not burn. The speed screw counts turns in\n"
       "from where it stands.");
  if (!car->trimmed) {
    cli_wrapped(stdout, 0, 0,
                "This engine could not be trimmed to its card's idle speed and vacuum: read the "
                "curves for their shape, not their height.");
  }
}

/* ---- files ---- */

static lw_status write_csv(const char *path, const lw_idle_table *t, lw_error *error) {
  lw_draft draft;
  lw_status status = lw_draft_begin(path, &draft, error);
  if (status != LW_OK) return status;
  FILE *to = draft.stream;
  fputs("screw,turns,speed_rpm,vacuum_inhg,co_pct,co2_pct,o2_pct,hc_ppm,no_ppm,lambda,misfire_pct,"
        "air_g_s,fuel_g_s,timing_deg\r\n",
        to);
  for (size_t k = 0; k < t->curve_count; k++) {
    for (size_t i = 0; i < t->curves[k].count; i++) {
      const lw_idle_point *p = &t->curves[k].points[i];
      const lw_products *gas = &p->run.burned.sampled;
      fprintf(to, "%s,%.5g", t->curves[k].screw, p->turns);
      if (!p->solved) {
        fputs(",,,,,,,,,,,,\r\n", to);
        continue;
      }
      fprintf(to, ",%.6g,%.5g,%.5g,%.5g,%.5g,%.5g,%.5g,%.5g,%.5g,%.5g,%.5g,%.4g\r\n",
              rpm(p->run.setting.speed), lw_dim_shown(LW_PRESSURE, LW_SHOP, p->run.vacuum),
              100 * gas->dry.co, 100 * gas->dry.co2, 100 * gas->dry.o2, 1e6 * hexane(gas),
              1e6 * gas->dry.no, p->run.burned.lambda, 100 * p->run.burned.misfire,
              1e3 * p->run.point.air, 1e3 * p->run.point.fuel,
              lw_dim_shown(LW_ANGLE, LW_SHOP, p->run.burned.timing));
    }
  }
  return lw_draft_finish(&draft, error);
}

static void write_json(const lw_test_car *car, const lw_idle_table *t) {
  json_t *root = lw_idle_table_json(car, t);
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(12));
  putchar('\n');
  json_decref(root);
}

/* ---- the command ---- */

static lw_status sweep(cli_twin *t, const lw_test_car *car, const request *r, int points,
                       lw_idle_table **table, lw_error *error) {
  return lw_idle_sweep(t->arena, t->units, car, r->drive ? LW_LOAD_DRIVE : LW_LOAD_NONE,
                       r->hold ? LW_HOLD_SPEED : LW_HOLD_STOP, (size_t)points, table, error);
}

static lw_status draw(cli_twin *t, const lw_test_car *car, const request *r, const char *what,
                      lw_error *error) {
  lw_idle_table *fine = NULL;
  char title[320];
  if (!r->svg && !r->png) return LW_OK;
  lw_status status = sweep(t, car, r, PICTURE_POINTS, &fine, error);
  if (status != LW_OK) return status;
  snprintf(title, sizeof title, "%s%s%s", car->twin->card->unit, what[0] ? " with " : "", what);
  lw_plot_idle plot = {title, car->twin->card, fine};
  if (r->svg) status = lw_plot_idle_write(&plot, LW_PLOT_SVG, r->svg, error);
  if (status == LW_OK && r->png) status = lw_plot_idle_write(&plot, LW_PLOT_PNG, r->png, error);
  return status;
}

static lw_status prepare(cli_twin *t, char **edits, int count, lw_test_car **car, char *what,
                         size_t size, lw_error *error) {
  lw_test_car *sound = NULL;
  lw_status status = lw_test_car_new(t->arena, t->twin->card, &sound, error);
  *car = sound;
  if (status == LW_OK && count > 0) {
    status = lw_test_car_what_if(t->arena, t->units, sound, (const char *const *)edits,
                                 (size_t)count, car, error);
  }
  for (int i = 0; i < count; i++)
    lw_text_append(what, size, i ? ", %s" : "%s", edits[i]);
  return status;
}

static int answer(cli_twin *t, const request *r, char **edits, int count, lw_error *error) {
  lw_test_car *car = NULL;
  lw_idle_table *table = NULL;
  char what[240] = "";
  lw_status status = prepare(t, edits, count, &car, what, sizeof what, error);
  if (status == LW_OK && r->drive && !(car->engine->converter > 0)) {
    return cli_usage("idle", "this card's transmission is not automatic: there is no drive");
  }
  if (status == LW_OK) status = sweep(t, car, r, r->points, &table, error);
  if (status == LW_OK) status = draw(t, car, r, what, error);
  if (status == LW_OK && r->csv) status = write_csv(r->csv, table, error);
  if (status != LW_OK) return cli_fail("idle", error);
  if (r->json) {
    write_json(car, table);
  } else if (!r->csv && !r->svg && !r->png) {
    print_tables(car, table, what);
  }
  return cli_finish("idle", table->now.solved ? CLI_DONE : CLI_OUTSIDE);
}

static bool not_negative(const char *text, double *to) {
  lw_error unheard = {0};
  return lw_number_read(text, to, &unheard) == LW_OK && *to >= 0;
}

/* Options of --listen; a port belongs to the description before it. */
static bool take_listening(idle_listening *l, int c, const char *value) {
  switch (c) {
  case 'L':
    if (l->count == LW_SOURCE_INSTRUMENTS) return false;
    l->paths[l->count++] = value;
    return true;
  case 'p':
    if (l->count == 0 || l->ports[l->count - 1]) return false;
    l->ports[l->count - 1] = value;
    return true;
  case 'l': l->log = value; return true;
  case 'w': return l->wait = true;
  case 's': return not_negative(value, &l->speed);
  case 'f': return not_negative(value, &l->seconds);
  default: return false;
  }
}

static bool take(request *r, int c, const char *value) {
  char *end = NULL;
  switch (c) {
  case 'd': r->drive = true; return true;
  case 'k': r->hold = true; return true;
  case 'j': r->json = true; return true;
  case 'c': r->csv = value ? value : "-"; return true;
  case 'S': r->svg = value; return true;
  case 'P': r->png = value; return true;
  case 'n': {
    long n = strtol(value, &end, 10);
    r->points = (int)n;
    r->sized = true;
    return *value && !*end && n >= 3 && n <= POINTS_MOST;
  }
  default: return take_listening(&r->listening, c, value);
  }
}

static bool of_listening(const idle_listening *l) {
  return l->count || l->log || l->wait || lw_known(l->speed) || lw_known(l->seconds);
}

/* The instruments of `idle JOB --listen` do not go with what a card is asked. */
static int listen_beside(const request *r, char **args, int count) {
  idle_listening listening = r->listening;
  if (!listening.count)
    return cli_usage("idle", "--log, --wait, --speed and --for go with --listen");
  if (r->drive || r->hold || r->sized || r->csv || r->svg || r->png)
    return cli_usage("idle", "--listen goes with a job; this option is one of a card's");
  if (count != 1) return cli_usage("idle", "one job was expected beside --listen");
  bool file = false;
  for (size_t i = 0; i < listening.count; i++)
    file = file || cli_live_is_played(listening.paths[i]);
  if (file && (listening.count > 1 || listening.ports[0] || listening.log || listening.wait))
    return cli_usage("idle", "a file is played alone, without --port, --log and --wait");
  listening.job = args[0];
  listening.json = r->json;
  return idle_live(&listening);
}

int cmd_idle(int argc, char **argv) {
  static const struct option options[] = {{"drive", no_argument, NULL, 'd'},
                                          {"hold-speed", no_argument, NULL, 'k'},
                                          {"points", required_argument, NULL, 'n'},
                                          {"csv", optional_argument, NULL, 'c'},
                                          {"svg", required_argument, NULL, 'S'},
                                          {"png", required_argument, NULL, 'P'},
                                          {"json", no_argument, NULL, 'j'},
                                          {"listen", required_argument, NULL, 'L'},
                                          {"port", required_argument, NULL, 'p'},
                                          {"log", required_argument, NULL, 'l'},
                                          {"wait", no_argument, NULL, 'w'},
                                          {"speed", required_argument, NULL, 's'},
                                          {"for", required_argument, NULL, 'f'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  request r = {.points = POINTS, .listening = {.speed = LW_NONE, .seconds = LW_NONE}};
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      return cli_finish("idle", CLI_DONE);
    }
    if (!take(&r, c, optarg)) {
      return cli_usage("idle", "'%s' is not an option, or lacks its value, or has a wrong one",
                       argv[optind - 1]);
    }
  }
  if (optind == argc) return cli_usage("idle", "a job or a spec card was expected");
  if (of_listening(&r.listening)) return listen_beside(&r, argv + optind, argc - optind);
  if (r.json && r.csv && strcmp(r.csv, "-") == 0) {
    return cli_usage("idle", "--json and --csv on standard output do not go together");
  }
  if (optind + 1 == argc && cmd_idle_is_job(argv[optind]))
    return cmd_idle_job(argv[optind], r.json);
  lw_error error = {0};
  cli_twin t;
  int code = cli_twin_open(&t, argv[optind], &error) == LW_OK
                 ? answer(&t, &r, argv + optind + 1, argc - optind - 1, &error)
                 : cli_fail("idle", &error);
  cli_twin_close(&t);
  return code;
}
