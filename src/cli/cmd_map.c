/* cmd_map.c - `leanward map`: the mixture over throttle and speed, or along a line of air flow. */
#include "cli_twin.h"

#include "leanward/bench_json.h"
#include "leanward/plot.h"

#include <getopt.h>
#include <math.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward map [OPTION]... CARD\n"
    "Run the twin of a spec card's carburetor: air-fuel ratio over throttle and\n"
    "speed, and which circuit brings the fuel. CARD may be `-`. Sea level, 20 degC;\n"
    "`leanward try` changes them.\n\n"
    "  --circuits         the circuits' shares of the fuel, for each --speed\n";

static double afr_of(const void *of, size_t i) {
  return ((const lw_map *)of)->points[i].afr;
}

/* ---- tables ---- */

static void head(const lw_twin *twin) {
  const lw_card *card = twin->card;
  cli_styled(stdout, CLI_STRONG, card->unit);
  printf("%s%s, %s\n", card->engine_name ? " on " : "", card->engine_name ? card->engine_name : "",
         twin->net->family);
  printf("%s, %.1f kPa, %.0f degC\n\n", twin->net->fuel.name, twin->ambient / 1e3,
         twin->temperature - 273.15);
}

/* Wide enough for the circuit's name over "100 %". */
static int circuit_width(int circuit) {
  int name = (int)strlen(lw_circuit_text((lw_circuit)circuit)) + 1;
  return name > 6 ? name : 6;
}

static void line_head(const char *first) {
  printf("%s%8s%8s%7s%7s", first, "air g/s", "vac kPa", "AFR", "lambda");
  for (int c = LW_CIRCUIT_AIR + 1; c < LW_CIRCUITS; c++)
    printf("%*s", circuit_width(c), lw_circuit_text((lw_circuit)c));
  putchar('\n');
}

static void line_row(const lw_twin *twin, const lw_map_point *p) {
  if (!p->report.converged) {
    printf("  x  did not converge: %.40s\n", p->report.where);
    return;
  }
  cli_cell(stdout, 8, 2, 1e3 * p->air);
  cli_cell(stdout, 8, 1, (twin->ambient - p->manifold) / 1e3);
  cli_cell(stdout, 7, 2, p->afr);
  cli_cell(stdout, 7, 2, p->lambda);
  for (int c = LW_CIRCUIT_AIR + 1; c < LW_CIRCUITS; c++) {
    double share = 100 * cli_share(p, (lw_circuit)c);
    cli_cell(stdout, circuit_width(c) - 2, 0, fabs(share) < 0.5 ? 0 : share);
    fputs(" %", stdout);
  }
  putchar('\n');
}

static void print_line(const lw_twin *twin, const lw_map *map) {
  puts("The fuel's circuits along the line");
  line_head("   rpm throttle");
  for (size_t i = 0; i < map->speeds; i++) {
    const lw_map_point *p = &map->points[i];
    printf("%6.0f", lw_dim_shown(LW_SPIN, LW_SHOP, p->speed));
    cli_cell(stdout, 7, 1, 100 * p->throttle);
    fputs(" %", stdout);
    line_row(twin, p);
  }
}

static void print_circuits(const lw_twin *twin, const lw_map *map) {
  for (size_t i = 0; i < map->speeds; i++) {
    printf("%sThe fuel's circuits at %.0f rpm\n", i ? "\n" : "",
           lw_dim_shown(LW_SPIN, LW_SHOP, map->speed[i]));
    line_head("throttle");
    for (size_t k = 0; k < map->throttles; k++) {
      cli_cell(stdout, 6, 1, 100 * map->throttle[k]);
      fputs(" %", stdout);
      line_row(twin, &map->points[i * map->throttles + k]);
    }
  }
}

static void print_tables(const lw_twin *twin, const lw_map *map, bool circuits) {
  head(twin);
  if (!map->throttle) {
    print_line(twin, map);
  } else if (circuits) {
    print_circuits(twin, map);
  } else {
    puts("Air-fuel ratio");
    cli_grid(map, 1, false, afr_of, map);
    puts("\n0 % is the idle stop, 100 % wide open; `--circuits --speed \"2000 rpm\"` shows\n"
         "what brings the fuel.");
  }
  if (map->failed) putchar('\n');
  cli_failures("", map);
}

/* ---- files ---- */

static lw_status write_csv(const char *path, const lw_map *map, lw_error *error) {
  lw_draft draft;
  lw_status status = lw_draft_begin(path, &draft, error);
  if (status != LW_OK) return status;
  fputs("speed_rpm,throttle_pct,", draft.stream);
  cli_csv_header(draft.stream, "");
  fputs("\r\n", draft.stream);
  for (size_t i = 0; i < map->throttles * map->speeds; i++) {
    const lw_map_point *p = &map->points[i];
    fprintf(draft.stream, "%.7g,", lw_dim_shown(LW_SPIN, LW_SHOP, p->speed));
    if (lw_known(p->throttle)) fprintf(draft.stream, "%.7g", 100 * p->throttle);
    fputc(',', draft.stream);
    cli_csv_point(draft.stream, p);
    fputs("\r\n", draft.stream);
  }
  return lw_draft_finish(&draft, error);
}

static void write_json(const lw_twin *twin, const lw_map *map) {
  json_t *root = lw_map_json(twin, map);
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(12));
  putchar('\n');
  json_decref(root);
}

/* *lost: points of the picture, which are more than the tables', that did not converge are added. */
static lw_status draw(cli_twin *t, const cli_range *range, lw_plot_form form, const char *path,
                      size_t *lost, lw_error *error) {
  lw_map *map = NULL;
  char title[160], note[200];
  lw_status status = cli_run(t, range, true, &map, error);
  if (status != LW_OK) return status;
  *lost += map->failed;
  snprintf(title, sizeof title, "%s, %s", t->twin->card->unit,
           t->twin->card->engine_name ? t->twin->card->engine_name : t->twin->net->family);
  snprintf(note, sizeof note,
           "%s, %.1f kPa, %.0f \xC2\xB0"
           "C%s",
           t->twin->net->fuel.name, t->twin->ambient / 1e3, t->twin->temperature - 273.15,
           !range->line                 ? ""
           : range->run == LW_LINE_ROAD ? "; level road, idle to top speed"
                                        : "; wide open throttle");
  lw_plot_lines lines = {title, note, map, NULL, NULL};
  return range->line ? lw_plot_line(&lines, form, path, error)
                     : lw_plot_map(title, note, map, form, path, error);
}

/* ---- the command ---- */

static int answer(cli_twin *t, const cli_range *range, bool circuits, lw_error *error) {
  lw_map *map = NULL;
  size_t lost = 0;
  lw_status status = cli_run(t, range, false, &map, error);
  if (status == LW_OK && range->svg) status = draw(t, range, LW_PLOT_SVG, range->svg, &lost, error);
  if (status == LW_OK && range->png) status = draw(t, range, LW_PLOT_PNG, range->png, &lost, error);
  if (status == LW_OK && range->csv) status = write_csv(range->csv, map, error);
  if (status != LW_OK) return cli_fail("map", error);
  if (range->json) {
    write_json(t->twin, map);
  } else if (!range->csv && !range->svg && !range->png) {
    print_tables(t->twin, map, circuits);
  }
  size_t all = map->throttles * map->speeds;
  return cli_finish("map", map->failed == all   ? CLI_COULD_NOT
                           : map->failed + lost ? CLI_OUTSIDE
                                                : CLI_DONE);
}

int cmd_map(int argc, char **argv) {
  static const struct option options[] = {
      CLI_RANGE_OPTIONS, {"circuits", no_argument, NULL, 'q'}, {0}};
  cli_range range = {0};
  bool circuits = false;
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      fputs(cli_range_usage, stdout);
      return cli_finish("map", CLI_DONE);
    }
    if (c == 'q') {
      circuits = true;
    } else if (!cli_range_option(&range, c, optarg)) {
      return cli_usage("map", "'%s' is not an option, or lacks its value, or has a wrong one",
                       argv[optind - 1]);
    }
  }
  if (optind + 1 != argc) return cli_usage("map", "one spec card was expected");
  if (circuits && !range.speed && !range.line) range.speed = "2000 rpm";
  const char *conflict = cli_range_conflict(&range);
  if (conflict) return cli_usage("map", "%s", conflict);
  lw_error error = {0};
  cli_twin t;
  int code = cli_twin_open(&t, argv[optind], &error) == LW_OK ? answer(&t, &range, circuits, &error)
                                                              : cli_fail("map", &error);
  cli_twin_close(&t);
  return code;
}
