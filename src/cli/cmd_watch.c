/* cmd_watch.c - `leanward watch`: what the needles do while the throttle moves. */
#include "cli_twin.h"

#include "leanward/bench_json.h"
#include "leanward/gauge.h"
#include "leanward/plot.h"
#include "leanward/watch.h"

#include <getopt.h>
#include <math.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward watch [OPTION]... CARD RUN [EDIT]...\n"
    "What this car does in time when a hand moves the throttle. RUN is one of\n\n"
    "  blip        neutral, floored for a moment and let go\n"
    "  tip-in      held at a speed, the throttle opened from light to half: the flat spot\n"
    "  snap-shut   neutral, held at a speed, the foot off at once: dashpot, advance, HC\n"
    "  pump-shot   engine standing, the throttle opened: what the pump delivers\n"
    "  warm-up     from cold: starting, kick, fast idle, choke opening\n"
    "  stall       loaded until it stalls, then started again\n\n"
    "An EDIT changes the car first, as in `leanward try`: \"accelerator pump=disconnected\",\n"
    "\"dashpot=none\", \"air valve spring=3 turns\", \"advance release=4 s\".\n\n"
    "Quantities carry their unit: --speed \"2000 rpm\", --hold \"0.5 s\", --from \"8 %\".\n"
    "  --speed RPM        tip-in, snap-shut: the speed held (1500, 2500 rpm)\n"
    "  --from, --to SHARE tip-in: throttle (8 %, 40 %)\n"
    "  --within S         tip-in, pump-shot: how quickly the throttle opens (0.2 s)\n"
    "  --hold S           blip: how long it is floored (0.3 s)\n"
    "  --cold TEMPERATURE, --for S   warm-up: engine and air (20 degF), how long (240 s)\n"
    "  --load NM          stall: torque at the crankshaft, N m (60)\n"
    "  --class 0|I|II     show what an analyzer of this class reads beside the gas\n"
    "  --csv[=FILE]       the whole trace as comma-separated values\n"
    "  --json             trace, events and figures as JSON (docs/watch.md)\n"
    "  --svg FILE, --png FILE   the trace as a picture\n"
    "  --help             this text\n\n"
    "Exit status: 0 run; 1 it stalled where it should not; 2 could not.\n";

typedef struct request {
  lw_watch_ask ask;
  bool json, meter;
  lw_class class;
  const char *csv, *svg, *png;
} request;

static double rpm(double speed) {
  double shown = lw_dim_shown(LW_SPIN, LW_SHOP, speed);
  return fabs(shown) < 0.5 ? 0 : shown;
}

static double inches(double pa) {
  double shown = lw_dim_shown(LW_PRESSURE, LW_SHOP, pa);
  return fabs(shown) < 0.05 ? 0 : shown; /* standing still: no -0.0 */
}

/* ---- what an analyzer would show ---- */

static lw_products gas_of(const lw_trace_point *p) {
  lw_products gas = {.dry = {p->co, p->co2, 6 * p->hc, p->o2, p->no}};
  gas.h2 = 0.4 * p->co; /* what burned gas holds of it beside CO; it only dilutes */
  gas.n2 = fmax(1 - p->co - p->co2 - p->hc - p->o2 - p->no - gas.h2, 0);
  gas.h2o = 0.13;
  return gas;
}

/* One reading for each point of the trace. */
static lw_gases *read_meter(lw_arena *arena, const request *r, const lw_maneuver *m) {
  lw_meter_kind kind = lw_meter_usual(r->class);
  lw_meter *meter = lw_arena_alloc(arena, sizeof *meter);
  lw_gases *read = lw_arena_array(arena, m->count, sizeof *read);
  if (!meter || !read) return NULL;
  lw_meter_start(meter, &kind);
  lw_products first = gas_of(&m->points[0]);
  lw_meter_step(meter, 600, &first, lw_exhaust_flow(m->points[0].air_out, m->points[0].metered));
  for (size_t i = 0; i < m->count; i++) {
    const lw_trace_point *p = &m->points[i];
    lw_products gas = gas_of(p);
    double dt = i ? p->time - m->points[i - 1].time : 0;
    if (dt > 0) lw_meter_step(meter, dt, &gas, lw_exhaust_flow(p->air_out, p->metered + p->pumped));
    read[i] = lw_meter_read(meter);
  }
  return read;
}

/* ---- text ---- */

static void figure(const char *name, const char *format, double x) {
  if (!lw_known(x)) return;
  printf("  %-34s ", name);
  char text[64];
  int decimals = format[0] - '0';
  snprintf(text, sizeof text, "%.*f", decimals, x);
  printf("%s%s\n", text, format + 1);
}

static void print_figures(const lw_maneuver *m) {
  figure("leanest lambda in the cylinders", "2", m->leanest);
  figure("richest", "2", m->richest);
  figure("lean dip of lambda", "2", m->lean_dip);
  figure("flat spot: leaner by 0.05 for", "2 s", m->lean_time);
  figure("vacuum before", "1 inHg", inches(m->vacuum_before));
  figure("vacuum least", "1 inHg", inches(m->vacuum_least));
  figure("vacuum most", "1 inHg", inches(m->vacuum_most));
  figure("speed most", "0 rpm", rpm(m->speed_most));
  figure("speed at the end", "0 rpm", rpm(m->speed_end));
  figure("back at idle speed after", "1 s", m->fall_time);
  figure("distributor vacuum down after", "1 s (at most 3 is wanted)", m->distributor_fall);
  figure("HC most", "0 ppm", 1e6 * m->hc_most);
  figure("HC after the move", "2 g", 1e3 * m->hc_mass);
  figure("cycles lost, most", "0 %", 100 * m->misfire_most);
  figure("pump delivers", "2 g", 1e3 * m->pump_mass);
  figure("nine tenths of it in", "1 s", m->pump_time);
  figure("starts after", "1 s", m->started);
  figure("fast idle, 10 s after starting", "0 rpm", rpm(m->fast_idle));
  figure("choke open after", "0 s", m->choke_opened);
}

static void print_row(const lw_trace_point *p, const lw_gases *read) {
  printf("%7.2f%7.0f%7.1f%7.1f%7.1f%8.3f%7.2f%8.0f%7.2f%6.0f", p->time, rpm(p->speed),
         inches(p->vacuum), inches(p->distributor_vacuum), 100 * p->throttle, p->lambda_cylinders,
         100 * p->co, 1e6 * p->hc, 100 * p->o2, lw_dim_shown(LW_ANGLE, LW_SHOP, p->timing) + 0.0);
  if (read) printf("%8.2f%8.0f", 100 * read->co, 1e6 * read->hc);
  putchar('\n');
}

/* Some forty lines, closer after the throttle moved. */
static void print_trace(const lw_maneuver *m, const lw_gases *read) {
  double last = -1e9, length = m->points[m->count - 1].time - m->points[0].time;
  printf("\n%7s%7s%7s%7s%7s%8s%7s%8s%7s%6s", "s", "rpm", "inHg", "dist.", "thr. %", "lambda",
         "CO %", "HC ppm", "O2 %", "deg");
  if (read) printf("%8s%8s", "CO read", "HC read");
  putchar('\n');
  for (size_t i = 0; i < m->count; i++) {
    double since = m->points[i].time - m->moved;
    bool near = since > -0.05 && since < 2 && length < 60;
    double every = near ? 0.2 : fmax(length / 30, 0.5);
    if (m->points[i].time < last + every - 1e-6 && i + 1 < m->count) continue;
    last = m->points[i].time;
    print_row(&m->points[i], read ? &read[i] : NULL);
  }
}

static void print_all(const lw_test_car *car, const request *r, const char *what,
                      const lw_maneuver *m, const lw_gases *read) {
  cli_styled(stdout, CLI_STRONG, car->twin->card->unit);
  printf(", %s%s%s\n", lw_watch_names()[r->ask.run], what[0] ? ", with " : "", what);
  print_figures(m);
  if (m->event_count) puts("\nEvents");
  for (size_t i = 0; i < m->event_count; i++) {
    char text[120];
    printf("  %s\n", lw_event_text(&m->events[i], text, sizeof text));
  }
  print_trace(m, read);
}

/* ---- files ---- */

static void csv_number(FILE *to, double x) {
  if (lw_known(x) && x > -1e300 && x < 1e300) {
    fprintf(to, ",%.6g", x);
  } else {
    fputc(',', to);
  }
}

static lw_status write_csv(const char *path, const lw_maneuver *m, const lw_gases *read,
                           lw_error *error) {
  lw_draft draft;
  lw_status status = lw_draft_begin(path, &draft, error);
  if (status != LW_OK) return status;
  FILE *to = draft.stream;
  fputs("time_s,speed_rpm,vacuum_inhg,distributor_inhg,throttle_pct,lambda,co_pct,co2_pct,o2_pct,"
        "hc_ppm,no_ppm,timing_deg,misfire_pct,air_g_s,fuel_g_s,pump_g_s,film_g,dashpot_pct,"
        "choke_open_pct,coolant_degc",
        to);
  fputs(read ? ",co_read_pct,hc_read_ppm,co2_read_pct,o2_read_pct\r\n" : "\r\n", to);
  for (size_t i = 0; i < m->count; i++) {
    const lw_trace_point *p = &m->points[i];
    const double x[] = {rpm(p->speed),
                        inches(p->vacuum),
                        inches(p->distributor_vacuum),
                        100 * p->throttle,
                        p->lambda_cylinders,
                        100 * p->co,
                        100 * p->co2,
                        100 * p->o2,
                        1e6 * p->hc,
                        1e6 * p->no,
                        lw_dim_shown(LW_ANGLE, LW_SHOP, p->timing),
                        100 * p->misfire,
                        1e3 * p->air_in,
                        1e3 * p->metered,
                        1e3 * p->pumped,
                        1e3 * p->film,
                        100 * p->dashpot,
                        100 * p->choke,
                        p->coolant - 273.15};
    fprintf(to, "%.4f", p->time);
    for (size_t k = 0; k < sizeof x / sizeof x[0]; k++)
      csv_number(to, x[k]);
    if (read) {
      csv_number(to, 100 * read[i].co);
      csv_number(to, 1e6 * read[i].hc);
      csv_number(to, 100 * read[i].co2);
      csv_number(to, 100 * read[i].o2);
    }
    fputs("\r\n", to);
  }
  return lw_draft_finish(&draft, error);
}

static void write_json(const lw_test_car *car, const request *r, const lw_maneuver *m) {
  json_t *root = lw_watch_json(car->twin, r->ask.run, m);
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(9));
  putchar('\n');
  json_decref(root);
}

static lw_status draw(const lw_test_car *car, const request *r, const char *what,
                      const lw_maneuver *m, lw_error *error) {
  char title[320];
  lw_status status = LW_OK;
  snprintf(title, sizeof title, "%s, %s", car->twin->card->unit, lw_watch_names()[r->ask.run]);
  lw_plot_watch plot = {title, what[0] ? what : NULL, m};
  if (r->svg) status = lw_plot_watch_write(&plot, LW_PLOT_SVG, r->svg, error);
  if (status == LW_OK && r->png) status = lw_plot_watch_write(&plot, LW_PLOT_PNG, r->png, error);
  return status;
}

/* ---- the command ---- */

static lw_status prepare(cli_twin *t, char **edits, int count, lw_test_car **car, lw_error *error) {
  lw_status status = lw_test_car_new(t->arena, t->twin->card, car, error);
  if (status != LW_OK || !count) return status;
  return lw_test_car_what_if(t->arena, t->units, *car, (const char *const *)edits, (size_t)count,
                             car, error);
}

static int answer(cli_twin *t, const request *r, char **edits, int count, lw_error *error) {
  lw_test_car *car = NULL;
  lw_maneuver m;
  lw_gases *read = NULL;
  char what[240] = "";
  for (int i = 0; i < count; i++)
    lw_text_append(what, sizeof what, i ? ", %s" : "%s", edits[i]);
  lw_status status = prepare(t, edits, count, &car, error);
  if (status == LW_OK) status = lw_watch_run(t->arena, car, &r->ask, &m, error);
  if (status == LW_OK && r->meter && !(read = read_meter(t->arena, r, &m)))
    status = lw_fail(error, LW_NO_MEMORY, "no memory for the analyzer's readings");
  if (status == LW_OK) status = draw(car, r, what, &m, error);
  if (status == LW_OK && r->csv) status = write_csv(r->csv, &m, read, error);
  if (status != LW_OK) return cli_fail("watch", error);
  if (r->json) {
    write_json(car, r, &m);
  } else if (!r->csv && !r->svg && !r->png) {
    print_all(car, r, what, &m, read);
  }
  return cli_finish("watch", m.stalled && r->ask.run != LW_WATCH_STALL ? CLI_OUTSIDE : CLI_DONE);
}

static bool class_of(request *r, const char *text) {
  static const struct {
    const char *name;
    lw_class class;
  } classes[] = {{"00", LW_CLASS_00}, {"0", LW_CLASS_0}, {"I", LW_CLASS_I}, {"II", LW_CLASS_II}};
  for (size_t i = 0; i < sizeof classes / sizeof classes[0]; i++) {
    if (strcmp(classes[i].name, text) != 0) continue;
    r->class = classes[i].class;
    return r->meter = true;
  }
  return false;
}

/* An option with a quantity. */
static bool quantity(request *r, lw_units *units, int c, const char *value, lw_error *error) {
  static const struct {
    int c;
    const char *name;
  } all[] = {{'n', "speed"}, {'a', "from"}, {'b', "to"},  {'w', "within"},
             {'H', "hold"},  {'k', "cold"}, {'f', "for"}, {'L', "load"}};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    if (all[i].c == c) return lw_watch_set(&r->ask, units, all[i].name, value, error) == LW_OK;
  }
  return false;
}

static bool take(request *r, lw_units *units, int c, const char *value, lw_error *error) {
  switch (c) {
  case 'j': return r->json = true;
  case 'c': r->csv = value ? value : "-"; return true;
  case 'S': r->svg = value; return true;
  case 'P': r->png = value; return true;
  case 'C': return class_of(r, value);
  default: return quantity(r, units, c, value, error);
  }
}

static int run(int argc, char **argv, request *r) {
  lw_error error = {0};
  cli_twin t;
  if (optind == argc) return cli_usage("watch", "a spec card was expected");
  if (optind + 1 == argc) return cli_usage("watch", "what to run was expected behind the card");
  r->ask.run = lw_watch_named(argv[optind + 1]);
  if (r->ask.run == LW_WATCH_KINDS) {
    const char *near = lw_text_nearest(argv[optind + 1], lw_watch_names(), LW_WATCH_KINDS);
    return near ? cli_usage("watch", "'%s' is not a run; is '%s' meant?", argv[optind + 1], near)
                : cli_usage("watch", "'%s' is not a run", argv[optind + 1]);
  }
  if (r->json && r->csv && strcmp(r->csv, "-") == 0)
    return cli_usage("watch", "--json and --csv on standard output do not go together");
  int code = cli_twin_open(&t, argv[optind], &error) == LW_OK
                 ? answer(&t, r, argv + optind + 2, argc - optind - 2, &error)
                 : cli_fail("watch", &error);
  cli_twin_close(&t);
  return code;
}

int cmd_watch(int argc, char **argv) {
  static const struct option options[] = {{"speed", required_argument, NULL, 'n'},
                                          {"from", required_argument, NULL, 'a'},
                                          {"to", required_argument, NULL, 'b'},
                                          {"within", required_argument, NULL, 'w'},
                                          {"hold", required_argument, NULL, 'H'},
                                          {"cold", required_argument, NULL, 'k'},
                                          {"for", required_argument, NULL, 'f'},
                                          {"load", required_argument, NULL, 'L'},
                                          {"class", required_argument, NULL, 'C'},
                                          {"csv", optional_argument, NULL, 'c'},
                                          {"svg", required_argument, NULL, 'S'},
                                          {"png", required_argument, NULL, 'P'},
                                          {"json", no_argument, NULL, 'j'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  request r = {.ask = lw_watch_usual(LW_WATCH_KINDS)};
  lw_units *units = NULL;
  lw_error error = {0};
  int code = CLI_DONE;
  bool done = false;
  if (lw_units_open(&units, &error) != LW_OK) return cli_fail("watch", &error);
  opterr = 0;
  for (int c; !done && (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      code = cli_finish("watch", CLI_DONE);
      done = true;
    } else if (!take(&r, units, c, optarg, &error)) {
      code = error.text[0] ? cli_usage("watch", "%s: %s", argv[optind - 1], error.text)
                           : cli_usage("watch",
                                       "'%s' is not an option, or lacks its value, or has a "
                                       "wrong one",
                                       argv[optind - 1]);
      done = true;
    }
  }
  lw_units_close(units);
  return done ? code : run(argc, argv, &r);
}
