/* cli_twin.h - what the commands of the twin share. Private to this floor. */
#ifndef LW_CLI_TWIN_H
#define LW_CLI_TWIN_H

#include "cli.h"

#include "leanward/bench.h"

/* What both commands are told. NULL, 0: not given. */
typedef struct cli_range {
  const char *throttle, *speed; /* as written */
  const char *csv, *svg, *png;  /* files; "-": standard output */
  bool json;
  bool line;   /* --over airflow */
  lw_line run; /* which line */
} cli_range;

/* An arena, the units and a card's twin, opened together. */
typedef struct cli_twin {
  lw_arena *arena;
  lw_units *units;
  lw_twin *twin;
} cli_twin;
lw_status cli_twin_open(cli_twin *t, const char *card, lw_error *error) LW_MUST_USE;
void cli_twin_close(cli_twin *t);

/* "0:100:20 %", "600 to 4000 rpm", "0, 5, 20 %", "2000 rpm" as values of an axis. field names it in
   errors. */
enum { CLI_AXIS_MOST = 200 };
typedef struct cli_axis {
  double x[CLI_AXIS_MOST];
  size_t count;
} cli_axis;
lw_status cli_axis_read(lw_units *units, lw_dim dim, const char *field, const char *text,
                        cli_axis *axis, lw_error *error) LW_MUST_USE;

/* The grid or the line that was asked for, on this twin; fine: as dense as a picture wants. */
lw_status cli_run(cli_twin *t, const cli_range *range, bool fine, lw_map **map,
                  lw_error *error) LW_MUST_USE;
/* Take an option both commands have; false: it is not one of them, or wrong (then said). */
bool cli_range_option(cli_range *range, int c, const char *value);
/* Why these options do not go together; NULL: they do. */
const char *cli_range_conflict(const cli_range *range);
#define CLI_RANGE_OPTIONS                                                                          \
  {"throttle", required_argument, NULL, 't'}, {"speed", required_argument, NULL, 'n'},             \
      {"csv", optional_argument, NULL, 'c'}, {"svg", required_argument, NULL, 'S'},                \
      {"png", required_argument, NULL, 'P'}, {"json", no_argument, NULL, 'j'},                     \
      {"over", required_argument, NULL, 'o'}, {"line", required_argument, NULL, 'l'}, {            \
    "help", no_argument, NULL, 'h'                                                                 \
  }
/* The same as usage lines. */
extern const char cli_range_usage[];

/* One cell of a table: width columns; "--" where there is no number. */
void cli_cell(FILE *to, int width, int decimals, double x);
/* A table of one number of each point, rows by speed, columns by throttle, as wide as needed; a
   point that did not converge is marked with `x`. value is given the point and its index. */
typedef double (*cli_value)(const void *of, size_t index);
void cli_grid(const lw_map *map, int decimals, bool sign, cli_value value, const void *of);
/* Say how many points failed, and where the first one did. */
void cli_failures(const char *which, const lw_map *map);

/* The share of the fuel that a circuit brings at a point; NaN without fuel. */
double cli_share(const lw_map_point *p, lw_circuit circuit);

/* A point, and a map with its twin, as JSON (docs/what-ifs.md); NULL without memory. */
json_t *cli_twin_json(const lw_twin *twin);
json_t *cli_points_json(const lw_map *map);

/* The columns of CSV for one point (no comma before, none behind). prefix: "", "changed_". */
void cli_csv_header(FILE *to, const char *prefix);
void cli_csv_point(FILE *to, const lw_map_point *p);

#endif
