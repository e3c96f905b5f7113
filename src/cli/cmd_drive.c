/* cmd_drive.c - `leanward drive`: the car on a driving schedule, or on the seven-mode cycle. */
#include "cli_twin.h"

#include "leanward/drive_file.h"
#include "leanward/gauge.h"

#include <getopt.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

static const char usage[] =
    "Usage: leanward drive [OPTION]... CARD [EDIT]...\n"
    "Drive this car through a speed schedule and weigh its exhaust: concentrations by\n"
    "mode, the weighted composite, grams a mile, fuel, and what made the worst second.\n"
    "Without --schedule: the seven-mode cycle of the first federal standard, hot. An EDIT\n"
    "changes the car first, as in `leanward try`: \"main jet=0.061 in\", \"timing=-5 deg\".\n\n"
    "  --schedule FILE    CSV with time_s and speed_mph, speed_kmh or speed_ms, and phase\n"
    "                     if there is one; data/schedules holds the federal ones; `-`:\n"
    "                     standard input\n"
    "  --cold             start cold (20 degC unless an EDIT says otherwise); the seven-mode\n"
    "                     cycle is then driven seven times and weighed as the rule has it\n"
    "  --class 00|0|I|II  show beside each mode what an analyzer of this class displays\n"
    "                     meanwhile at the tailpipe\n"
    "  --csv[=FILE]       every second as comma-separated values\n"
    "  --json             all of it as JSON (docs/drive.md)\n"
    "  --svg FILE, --png FILE   speed, CO, HC and vacuum against time as a picture\n"
    "  --help             this text\n\n"
    "Exit status: 0 driven; 1 stalled, off the trace for more than 2 % of the time, or over a\n"
    "cycle limit of the card; 2 could not.\n";

static const double mph = 0.44704, mile = 1609.344, gallon = 3.785411784e-3, inch = 3386.389;
static const double most_missed = 0.02; /* share of time; ours */

typedef struct request {
  bool cold, json, meter;
  lw_class class;
  const char *class_name, *schedule, *csv, *svg, *png;
} request;

/* What was driven and what came of it. */
typedef struct driven {
  const lw_test_car *car;
  const lw_schedule *schedule;
  lw_drive *drive;
  char what[240];    /* the edits */
  const char *class; /* of the analyzer; NULL: none */
} driven;

static double rpm(double speed) {
  return lw_dim_shown(LW_SPIN, LW_SHOP, speed);
}

/* ---- progress ---- */

static void bar(void *with, double share) {
  enum { WIDTH = 40 };
  int full = (int)(WIDTH * share + 0.5);
  (void)with;
  if (share >= 1) { /* leave nothing behind */
    fprintf(stderr, "\r%*s\r", WIDTH + 16, "");
  } else {
    fprintf(stderr, "\rdriving [%.*s%*s] %3.0f %%", full,
            "########################################", WIDTH - full, "", 100 * share);
  }
  fflush(stderr);
}

/* ---- limits ---- */

/* A public set's limit of a gas over a cycle for this displacement; NaN: none. */
static double public_limit(const char *set, lw_gas_name gas, double displacement) {
  size_t count;
  const lw_public_limit *row = lw_public_limits(&count);
  for (size_t i = 0; i < count; i++) {
    if (!lw_text_same(row[i].set, set) || row[i].gas != gas || row[i].at != LW_AT_CYCLE) continue;
    if (lw_known(row[i].displacement_over) && !(displacement > row[i].displacement_over)) continue;
    if (lw_known(row[i].displacement_to) && !(displacement <= row[i].displacement_to)) continue;
    return row[i].value.hi;
  }
  return LW_NONE;
}

/* The card's limit of a gas over a cycle; NaN: none. */
static double limit_of(const lw_card *card, lw_gas_name gas) {
  const lw_limit_said *l = card->limits.items;
  double least = LW_NONE;
  for (size_t i = 0; i < card->limits.count; i++) {
    double x = l[i].gas == gas && l[i].at == LW_AT_CYCLE ? l[i].value.hi : LW_NONE;
    if (l[i].public_set) x = public_limit(l[i].public_set, gas, card->engine.displacement);
    if (lw_known(x) && !(least <= x)) least = x;
  }
  return least;
}

static bool over(const driven *d, lw_gas_name gas, double x) {
  return lw_known(x) && x > limit_of(d->car->twin->card, gas);
}

static bool outside(const driven *d) {
  return d->drive->stalls > 0 || d->drive->missed > most_missed ||
         over(d, LW_GAS_CO, d->drive->composite.co) || over(d, LW_GAS_HC, d->drive->composite.hc);
}

/* ---- text ---- */

static void print_gases(const lw_gases *g) {
  printf("%8.0f%8.2f%7.1f%7.1f%8.0f", 1e6 * g->hc, 100 * g->co, 100 * g->co2, 100 * g->o2,
         1e6 * g->no);
}

static void print_modes(const lw_drive *d) {
  bool weighted = lw_known(d->composite.co);
  printf("\n%-20s%7s%8s%8s%8s%7s%7s%8s%9s\n", "mode", "s", weighted ? "weight" : "", "HC ppm",
         "CO %", "CO2 %", "O2 %", "NO ppm", "dilution");
  for (size_t i = 0; i < d->modes; i++) {
    const lw_drive_mode *m = &d->mode[i];
    if (!(m->seconds > 0)) continue;
    printf("%-20s%7.0f", m->name, m->seconds);
    if (weighted) {
      printf("%8.3f", m->weight);
    } else {
      printf("%8s", "");
    }
    print_gases(&m->dry);
    printf("%9.2f\n", m->dilution);
  }
  if (!weighted) return;
  printf("%-35s%8.0f%8.2f%7s%7s%8.0f\n", "weighted, undiluted", 1e6 * d->composite.hc,
         100 * d->composite.co, "", "", 1e6 * d->composite.no);
  printf("%-35s%8.0f%8.2f%7s%7s%8.0f\n", "weighted, as it is", 1e6 * d->composite_plain.hc,
         100 * d->composite_plain.co, "", "", 1e6 * d->composite_plain.no);
}

/* What hangs behind: a mode's needle still shows much of the mode before. */
static void print_read(const driven *v) {
  char head[48];
  if (!v->class) return;
  snprintf(head, sizeof head, "as class %s displays it", v->class);
  printf("\n%-35s%8s%8s%7s%7s%8s\n", head, "HC ppm", "CO %", "CO2 %", "O2 %", "NO ppm");
  for (size_t i = 0; i < v->drive->modes; i++) {
    const lw_drive_mode *m = &v->drive->mode[i];
    if (!(m->seconds > 0)) continue;
    printf("%-35s", m->name);
    print_gases(&m->read);
    putchar('\n');
  }
  putchar('\n');
}

/* Against the card's limit, or for comparison against the standard the cycle was made for. */
static void print_limit(const driven *d, lw_gas_name gas, double x, double scale, int decimals,
                        const char *unit) {
  const lw_card *card = d->car->twin->card;
  double limit = limit_of(card, gas);
  const char *whose = "limit of the card";
  if (!lw_known(limit)) {
    limit = public_limit("us federal cycle", gas, card->engine.displacement);
    whose = "the first federal standard allowed";
  }
  if (!lw_known(limit) || !lw_known(x)) return;
  printf("%s %.*f %s; %s %.*f: ", lw_gas_text(gas), decimals, scale * x, unit, whose, decimals,
         scale * limit);
  cli_styled(stdout, x > limit ? CLI_BAD : CLI_GOOD, x > limit ? "outside" : "within");
  putchar('\n');
}

static void print_sums(const driven *v) {
  const lw_drive *d = v->drive;
  double miles = d->distance / mile, by = 1e3 / miles;
  printf("\n%.2f mi (%.2f wanted), off the trace %.1f %% of the time, worst %+.1f mph at %.0f s; ",
         miles, d->wanted_distance / mile, 100 * d->missed, d->worst_miss / mph,
         d->worst_miss_time);
  if (d->stalls) {
    printf("stalled %d time%s\n", d->stalls, d->stalls == 1 ? "" : "s");
  } else {
    puts("never stalled");
  }
  if (d->unseen) printf("%d moments did not settle and were passed over\n", d->unseen);
  if (!(miles > 0)) return;
  printf("HC %.2f, CO %.1f, NOx %.2f, CO2 %.0f g/mi\n", by * d->hc, by * d->co, by * d->nox,
         by * d->co2);
  printf("fuel %.2f L/100 km, %.1f mi/gal; %.1f mi/gal by the carbon in the exhaust\n",
         d->fuel_volume * 1e3 / (d->distance / 1e5), miles / (d->fuel_volume / gallon),
         d->economy_carbon / mile * gallon);
}

static void print_worst(const lw_drive *d) {
  puts("\nWorst seconds");
  for (size_t i = 0; i < d->worst_count; i++) {
    const lw_drive_worst *w = &d->worst[i];
    const lw_drive_second *s = &d->seconds[w->second];
    char head[120];
    snprintf(head, sizeof head, "%-4s%5.0f s%6.0f mph%8.3f g/s, %.0f times the mean: ",
             w->gas == LW_GAS_NO ? "NOx" : lw_gas_text(w->gas), s->time, s->driven / mph,
             1e3 * w->rate, w->over);
    fputs(head, stdout);
    cli_wrapped(stdout, (int)strlen(head), 4, w->cause);
  }
}

static void print_text(const driven *v) {
  const lw_schedule *s = v->schedule;
  cli_styled(stdout, CLI_STRONG, v->car->twin->card->unit);
  printf("%s%s on %s: %.0f s, %.2f mi\n", v->what[0] ? " with " : "", v->what, s->name,
         lw_schedule_length(s), lw_schedule_distance(s) / mile);
  print_modes(v->drive);
  print_read(v);
  print_limit(v, LW_GAS_HC, v->drive->composite.hc, 1e6, 0, "ppm");
  print_limit(v, LW_GAS_CO, v->drive->composite.co, 100, 2, "%");
  print_sums(v);
  print_worst(v->drive);
  puts("\nGases dry, at the port, means by time; HC as hexane, by mass CH1.85; NOx as NO2.");
}

/* ---- files ---- */

static lw_status write_csv(const char *path, const lw_drive *d, lw_error *error) {
  lw_draft draft;
  lw_status status = lw_draft_begin(path, &draft, error);
  if (status != LW_OK) return status;
  fputs("time_s,wanted_mph,speed_mph,gear,engine_rpm,pedal_pct,throttle_pct,vacuum_inhg,lambda,"
        "hc_ppm,co_pct,co2_pct,o2_pct,no_ppm,hc_g_s,co_g_s,co2_g_s,nox_g_s,fuel_g_s,misfire_pct,"
        "pump_pct,power_pct,choke_pct,mode\r\n",
        draft.stream);
  for (size_t i = 0; i < d->count; i++) {
    const lw_drive_second *s = &d->seconds[i];
    fprintf(draft.stream, "%.6g,%.4g,%.4g,%d,%.5g,%.4g,%.4g,%.4g,", s->time, s->wanted / mph,
            s->driven / mph, s->gear, rpm(s->engine), 100 * s->pedal, 100 * s->throttle,
            s->vacuum / inch);
    if (isfinite(s->lambda)) fprintf(draft.stream, "%.4g", s->lambda);
    fprintf(draft.stream, ",%.4g,%.4g,%.4g,%.4g,%.4g,%.4g,%.4g,%.4g,%.4g,%.4g", 1e6 * s->dry.hc,
            100 * s->dry.co, 100 * s->dry.co2, 100 * s->dry.o2, 1e6 * s->dry.no, 1e3 * s->hc,
            1e3 * s->co, 1e3 * s->co2, 1e3 * s->nox, 1e3 * s->fuel);
    fprintf(draft.stream, ",%.3g,%.3g,%.3g,%.3g,%s\r\n", 100 * s->misfire, 100 * s->pumped,
            100 * s->power, 100 * s->choke, s->mode < 0 ? "" : d->mode[s->mode].name);
  }
  return lw_draft_finish(&draft, error);
}

static json_t *real(double x) {
  return isfinite(x) ? json_real(x) : json_null();
}

static json_t *gases_json(const lw_gases *g) {
  return json_pack("{s:o, s:o, s:o, s:o, s:o}", "co", real(g->co), "co2", real(g->co2), "hc_hexane",
                   real(g->hc), "o2", real(g->o2), "no", real(g->no));
}

static json_t *modes_json(const lw_drive *d) {
  json_t *all = json_array();
  for (size_t i = 0; i < d->modes; i++) {
    const lw_drive_mode *m = &d->mode[i];
    json_array_append_new(all,
                          json_pack("{s:s, s:f, s:f, s:f, s:o, s:o, s:o, s:f, s:f, s:f, s:f, s:f}",
                                    "mode", m->name, "weight", m->weight, "seconds", m->seconds,
                                    "distance_m", m->distance, "dry", gases_json(&m->dry), "read",
                                    lw_known(m->read.co) ? gases_json(&m->read) : json_null(),
                                    "dilution", real(m->dilution), "hc_kg", m->hc, "co_kg", m->co,
                                    "co2_kg", m->co2, "nox_kg", m->nox, "fuel_kg", m->fuel));
  }
  return all;
}

static json_t *worst_json(const lw_drive *d) {
  json_t *all = json_array();
  for (size_t i = 0; i < d->worst_count; i++) {
    const lw_drive_worst *w = &d->worst[i];
    json_array_append_new(all, json_pack("{s:s, s:f, s:f, s:o, s:s}", "gas", lw_gas_text(w->gas),
                                         "time_s", d->seconds[w->second].time, "rate_kg_s", w->rate,
                                         "over_mean", real(w->over), "cause", w->cause));
  }
  return all;
}

static json_t *seconds_json(const lw_drive *d) {
  json_t *all = json_array();
  for (size_t i = 0; i < d->count; i++) {
    const lw_drive_second *s = &d->seconds[i];
    json_array_append_new(
        all,
        json_pack("{s:f, s:f, s:f, s:i, s:f, s:f, s:f, s:f, s:o, s:o, s:f, s:f, s:f, s:f, s:f}",
                  "time_s", s->time, "wanted_m_s", s->wanted, "speed_m_s", s->driven, "gear",
                  s->gear, "engine_rad_s", s->engine, "pedal", s->pedal, "throttle", s->throttle,
                  "vacuum_pa", s->vacuum, "lambda", real(s->lambda), "dry", gases_json(&s->dry),
                  "hc_kg_s", s->hc, "co_kg_s", s->co, "co2_kg_s", s->co2, "nox_kg_s", s->nox,
                  "fuel_kg_s", s->fuel));
  }
  return all;
}

static void write_json(const driven *v) {
  const lw_drive *d = v->drive;
  json_t *root = json_pack(
      "{s:o, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:i, s:i, s:o, s:o, s:o}", "twin",
      cli_twin_json(v->car->twin), "schedule", v->schedule->name, "seconds_wanted",
      lw_schedule_length(v->schedule), "distance_wanted_m", d->wanted_distance, "distance_m",
      d->distance, "missed_share", d->missed, "worst_miss_m_s", d->worst_miss, "worst_miss_time_s",
      d->worst_miss_time, "stalls", d->stalls, "unseen", d->unseen, "modes", modes_json(d),
      "composite", gases_json(&d->composite), "composite_plain", gases_json(&d->composite_plain));
  json_object_update_new(root, json_pack("{s:f, s:f, s:f, s:f, s:f, s:f, s:o, s:o, s:o}", "hc_kg",
                                         d->hc, "co_kg", d->co, "co2_kg", d->co2, "nox_kg", d->nox,
                                         "fuel_kg", d->fuel, "fuel_m3", d->fuel_volume,
                                         "economy_carbon_m_m3", real(d->economy_carbon), "worst",
                                         worst_json(d), "seconds", seconds_json(d)));
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(9));
  putchar('\n');
  json_decref(root);
}

static lw_status draw(const driven *v, const request *r, lw_error *error) {
  char title[320], note[200];
  const lw_drive *d = v->drive;
  if (!r->svg && !r->png) return LW_OK;
  double by = d->distance > 0 ? 1e3 * mile / d->distance : LW_NONE;
  snprintf(title, sizeof title, "%s%s%s", v->car->twin->card->unit, v->what[0] ? " with " : "",
           v->what);
  snprintf(note, sizeof note, "%s, %s start; HC %.1f, CO %.0f, NOx %.1f g/mi, %.1f mi/gal",
           v->schedule->name, r->cold ? "cold" : "warm", by * d->hc, by * d->co, by * d->nox,
           d->distance / mile / (d->fuel_volume / gallon));
  lw_plot_drive plot = {title, note, d};
  lw_status status = LW_OK;
  if (r->svg) status = lw_plot_drive_write(&plot, LW_PLOT_SVG, r->svg, error);
  if (status == LW_OK && r->png) status = lw_plot_drive_write(&plot, LW_PLOT_PNG, r->png, error);
  return status;
}

/* ---- the command ---- */

static lw_status prepare(cli_twin *t, const request *r, char **edits, int count, driven *v,
                         lw_error *error) {
  lw_test_car *sound = NULL, *car = NULL;
  lw_schedule *schedule = NULL;
  lw_status status = lw_test_car_new(t->arena, t->twin->card, &sound, error);
  car = sound;
  if (status == LW_OK && count > 0)
    status = lw_test_car_what_if(t->arena, t->units, sound, (const char *const *)edits,
                                 (size_t)count, &car, error);
  for (int i = 0; i < count; i++)
    lw_text_append(v->what, sizeof v->what, i ? ", %s" : "%s", edits[i]);
  if (status == LW_OK)
    status = r->schedule ? lw_schedule_read(t->arena, r->schedule, &schedule, error)
                         : lw_schedule_seven(t->arena, r->cold, &schedule, error);
  v->car = car;
  v->schedule = schedule;
  return status;
}

static int answer(cli_twin *t, const request *r, char **edits, int count, lw_error *error) {
  driven v = {0};
  lw_status status = prepare(t, r, edits, count, &v, error);
  lw_meter_kind kind = lw_meter_usual(r->class);
  lw_drive_plan plan = {.schedule = v.schedule, .cold = r->cold, .meter = r->meter ? &kind : NULL};
  v.class = r->meter ? r->class_name : NULL;
  if (isatty(STDERR_FILENO)) plan.progress = bar;
  if (status == LW_OK) status = lw_drive_run(t->arena, v.car, &plan, &v.drive, error);
  if (status == LW_OK) status = draw(&v, r, error);
  if (status == LW_OK && r->csv) status = write_csv(r->csv, v.drive, error);
  if (status != LW_OK) return cli_fail("drive", error);
  if (r->json) {
    write_json(&v);
  } else if (!(r->csv && strcmp(r->csv, "-") == 0)) {
    print_text(&v);
  }
  return cli_finish("drive", outside(&v) ? CLI_OUTSIDE : CLI_DONE);
}

static bool class_of(request *r, const char *text) {
  static const char *const names[] = {"00", "0", "I", "II"};
  static const lw_class classes[] = {LW_CLASS_00, LW_CLASS_0, LW_CLASS_I, LW_CLASS_II};
  for (size_t i = 0; i < sizeof classes / sizeof classes[0]; i++) {
    if (strcmp(names[i], text) != 0) continue;
    r->class = classes[i];
    r->class_name = names[i];
    return r->meter = true;
  }
  return false;
}

static bool take(request *r, int c, const char *value) {
  switch (c) {
  case 's': r->schedule = value; return true;
  case 'K': return class_of(r, value);
  case 'C': r->cold = true; return true;
  case 'j': r->json = true; return true;
  case 'c': r->csv = value ? value : "-"; return true;
  case 'S': r->svg = value; return true;
  case 'P': r->png = value; return true;
  default: return false;
  }
}

int cmd_drive(int argc, char **argv) {
  static const struct option options[] = {{"schedule", required_argument, NULL, 's'},
                                          {"cold", no_argument, NULL, 'C'},
                                          {"csv", optional_argument, NULL, 'c'},
                                          {"svg", required_argument, NULL, 'S'},
                                          {"png", required_argument, NULL, 'P'},
                                          {"class", required_argument, NULL, 'K'},
                                          {"json", no_argument, NULL, 'j'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  request r = {0};
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      return cli_finish("drive", CLI_DONE);
    }
    if (!take(&r, c, optarg)) {
      return cli_usage("drive", "'%s' is not an option, or lacks its value, or has a wrong one",
                       argv[optind - 1]);
    }
  }
  if (optind == argc) return cli_usage("drive", "a spec card was expected");
  if (r.json && r.csv && strcmp(r.csv, "-") == 0)
    return cli_usage("drive", "--json and --csv on standard output do not go together");
  if (r.schedule && strcmp(r.schedule, "-") == 0 && strcmp(argv[optind], "-") == 0)
    return cli_usage("drive", "card and schedule cannot both be standard input");
  lw_error error = {0};
  cli_twin t;
  int code = cli_twin_open(&t, argv[optind], &error) == LW_OK
                 ? answer(&t, &r, argv + optind + 1, argc - optind - 1, &error)
                 : cli_fail("drive", &error);
  cli_twin_close(&t);
  return code;
}
