/* cmd_watch.c - `leanward watch`: what the needles do while the throttle moves. */
#include "cli_twin.h"

#include "leanward/gauge.h"
#include "leanward/maneuver.h"
#include "leanward/plot.h"

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

typedef enum run_kind { BLIP, TIP_IN, SNAP_SHUT, PUMP_SHOT, WARM_UP, STALL, RUNS } run_kind;
static const char *const run_names[RUNS] = {"blip",      "tip-in",  "snap-shut",
                                            "pump-shot", "warm-up", "stall"};

typedef struct request {
  run_kind run;
  double speed, from, to, within, hold, cold, seconds, load; /* NaN: as usual */
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

static double or_else(double given, double usual) {
  return lw_known(given) ? given : usual;
}

/* ---- the run ---- */

static lw_status drive(lw_arena *arena, lw_motion *m, const lw_test_car *car, const request *r,
                       lw_maneuver *out, lw_error *error) {
  const double turn = 0.10471975511965977; /* rad/s of an rpm */
  switch (r->run) {
  case BLIP: return lw_run_blip(arena, m, or_else(r->hold, 0.3), out, error);
  case TIP_IN:
    return lw_run_tip(arena, m, or_else(r->speed, 1500 * turn), or_else(r->from, 0.08),
                      or_else(r->to, 0.40), or_else(r->within, 0.2), out, error);
  case SNAP_SHUT: {
    const lw_control_valve *valve = &car->twin->card->engine.control_valve;
    return lw_run_snap_shut(arena, m, or_else(r->speed, 2500 * turn), valve->set_vacuum, out,
                            error);
  }
  case PUMP_SHOT: return lw_run_pump_shot(arena, m, or_else(r->within, 0.2), out, error);
  case WARM_UP:
    return lw_run_warm_up(arena, m, or_else(r->cold, 266.48), or_else(r->seconds, 240), out, error);
  case STALL: return lw_run_stall(arena, m, or_else(r->load, 60), out, error);
  case RUNS: break;
  }
  return LW_BAD_INPUT;
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
  printf(", %s%s%s\n", run_names[r->run], what[0] ? ", with " : "", what);
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

static json_t *number(double x) {
  return lw_known(x) && x > -1e300 && x < 1e300 ? json_real(x) : json_null();
}

static json_t *figures_json(const lw_maneuver *m) {
  return json_pack(
      "{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, "
      "s:o, s:o, s:b}",
      "lean_dip", number(m->lean_dip), "lean_time_s", number(m->lean_time), "leanest",
      number(m->leanest), "richest", number(m->richest), "vacuum_before_pa",
      number(m->vacuum_before), "vacuum_least_pa", number(m->vacuum_least), "vacuum_most_pa",
      number(m->vacuum_most), "speed_most_rad_s", number(m->speed_most), "speed_end_rad_s",
      number(m->speed_end), "fall_time_s", number(m->fall_time), "distributor_fall_s",
      number(m->distributor_fall), "hc_most", number(m->hc_most), "hc_mass_kg", number(m->hc_mass),
      "misfire_most", number(m->misfire_most), "pump_mass_kg", number(m->pump_mass), "pump_time_s",
      number(m->pump_time), "started_s", number(m->started), "choke_opened_s",
      number(m->choke_opened), "stalled", (int)m->stalled);
}

static json_t *trace_json(const lw_maneuver *m) {
  json_t *trace = json_array();
  for (size_t i = 0; i < m->count; i++) {
    const lw_trace_point *p = &m->points[i];
    json_array_append_new(
        trace, json_pack("{s:f, s:f, s:f, s:f, s:f, s:o, s:f, s:f, s:f, s:f, s:f, s:f}", "time_s",
                         p->time, "speed_rad_s", p->speed, "vacuum_pa", p->vacuum,
                         "distributor_vacuum_pa", p->distributor_vacuum, "throttle", p->throttle,
                         "lambda", number(p->lambda_cylinders), "co", p->co, "co2", p->co2, "o2",
                         p->o2, "hc_hexane", p->hc, "no", p->no, "timing_rad", p->timing));
  }
  return trace;
}

static void write_json(const lw_test_car *car, const request *r, const lw_maneuver *m) {
  json_t *events = json_array();
  for (size_t i = 0; i < m->event_count; i++) {
    char text[120];
    json_array_append_new(events, json_pack("{s:f, s:s}", "time_s", m->events[i].time, "words",
                                            lw_event_text(&m->events[i], text, sizeof text)));
  }
  json_t *root = json_pack("{s:o, s:s, s:f, s:o, s:o, s:o}", "twin", cli_twin_json(car->twin),
                           "run", run_names[r->run], "moved_s", lw_known(m->moved) ? m->moved : 0.0,
                           "figures", figures_json(m), "events", events, "trace", trace_json(m));
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(9));
  putchar('\n');
  json_decref(root);
}

static lw_status draw(const lw_test_car *car, const request *r, const char *what,
                      const lw_maneuver *m, lw_error *error) {
  char title[320];
  lw_status status = LW_OK;
  snprintf(title, sizeof title, "%s, %s", car->twin->card->unit, run_names[r->run]);
  lw_plot_watch plot = {title, what[0] ? what : NULL, m};
  if (r->svg) status = lw_plot_watch_write(&plot, LW_PLOT_SVG, r->svg, error);
  if (status == LW_OK && r->png) status = lw_plot_watch_write(&plot, LW_PLOT_PNG, r->png, error);
  return status;
}

/* ---- the command ---- */

static lw_status prepare(cli_twin *t, const request *r, char **edits, int count, lw_test_car **car,
                         lw_motion **motion, lw_error *error) {
  lw_test_car *sound = NULL;
  lw_status status = lw_test_car_new(t->arena, t->twin->card, &sound, error);
  *car = sound;
  if (status == LW_OK && count > 0)
    status = lw_test_car_what_if(t->arena, t->units, sound, (const char *const *)edits,
                                 (size_t)count, car, error);
  if (status == LW_OK && r->run == WARM_UP) (*car)->around.temperature = or_else(r->cold, 266.48);
  if (status == LW_OK) status = lw_test_car_motion(*car, motion, error);
  return status;
}

static int answer(cli_twin *t, const request *r, char **edits, int count, lw_error *error) {
  lw_test_car *car = NULL;
  lw_motion *motion = NULL;
  lw_maneuver m;
  lw_gases *read = NULL;
  char what[240] = "";
  for (int i = 0; i < count; i++)
    lw_text_append(what, sizeof what, i ? ", %s" : "%s", edits[i]);
  lw_status status = prepare(t, r, edits, count, &car, &motion, error);
  if (status == LW_OK) status = drive(t->arena, motion, car, r, &m, error);
  lw_motion_free(motion);
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
  return cli_finish("watch", m.stalled && r->run != STALL ? CLI_OUTSIDE : CLI_DONE);
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

/* An option with a quantity: where it goes and what it measures. */
static bool quantity(request *r, lw_units *units, int c, const char *value, lw_error *error) {
  const struct {
    int c;
    double *to;
    lw_dim dim;
    double lo, hi;
  } all[] = {{'n', &r->speed, LW_SPIN, 60, 700},   {'a', &r->from, LW_SHARE, 0, 1},
             {'b', &r->to, LW_SHARE, 0, 1},        {'w', &r->within, LW_TIME, 0.01, 20},
             {'H', &r->hold, LW_TIME, 0.05, 10},   {'k', &r->cold, LW_TEMPERATURE, 233, 323},
             {'f', &r->seconds, LW_TIME, 5, 1800}, {'L', &r->load, LW_RATIO, 1, 1000}};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    if (all[i].c != c) continue;
    if (lw_quantity_read(units, all[i].dim, value, all[i].to, error) != LW_OK) return false;
    if (*all[i].to >= all[i].lo && *all[i].to <= all[i].hi) return true;
    lw_fail(error, LW_BAD_INPUT, "'%s' is more or less than this run can be given", value);
    return false;
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

static int named(const char *name) {
  for (int i = 0; i < RUNS; i++) {
    if (strcmp(run_names[i], name) == 0) return i;
  }
  return -1;
}

static int run(int argc, char **argv, request *r) {
  lw_error error = {0};
  cli_twin t;
  if (optind == argc) return cli_usage("watch", "a spec card was expected");
  if (optind + 1 == argc) return cli_usage("watch", "what to run was expected behind the card");
  int which = named(argv[optind + 1]);
  if (which < 0) {
    const char *near = lw_text_nearest(argv[optind + 1], run_names, RUNS);
    return near ? cli_usage("watch", "'%s' is not a run; is '%s' meant?", argv[optind + 1], near)
                : cli_usage("watch", "'%s' is not a run", argv[optind + 1]);
  }
  r->run = (run_kind)which;
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
  request r = {.speed = LW_NONE,
               .from = LW_NONE,
               .to = LW_NONE,
               .within = LW_NONE,
               .hold = LW_NONE,
               .cold = LW_NONE,
               .seconds = LW_NONE,
               .load = LW_NONE};
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
