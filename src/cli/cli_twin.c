/* cli_twin.c - what the commands of the twin share: a card's twin, axes, tables, CSV, JSON. */
#include "cli_twin.h"

#include "leanward/bench_json.h"

#include <math.h>
#include <string.h>

const char cli_range_usage[] =
    "  --throttle SPAN    FROM:TO:STEP %, a list `0, 5, 20 %` or `0 to 50 %`;\n"
    "                     0 is the idle stop\n"
    "  --speed SPAN       the same in rpm\n"
    "  --over airflow     along a line instead of a grid, told by air flow\n"
    "  --line LINE        of --over: road (level road, the default) or wide-open\n"
    "  --csv[=FILE]       as CSV, to standard output or FILE\n"
    "  --json             as JSON\n"
    "  --svg FILE, --png FILE  a picture; `-` is standard output\n"
    "  --help             this text\n";

/* ---- the twin of a card ---- */

lw_status cli_twin_open(cli_twin *t, const char *path, lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  lw_card *card = NULL;
  *t = (cli_twin){.arena = lw_arena_new(0)};
  if (!t->arena) return lw_fail(error, LW_NO_MEMORY, "no memory");
  lw_status status = lw_units_open(&t->units, error);
  if (status != LW_OK) return status;
  lw_bind bind = {t->arena, t->units, path};
  status = lw_file_read(t->arena, path, LW_DOC_MAX_BYTES, &text, &length, error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, error);
  if (status == LW_OK) status = lw_twin_new(t->arena, card, &t->twin, error);
  if (status == LW_BAD_INPUT && strncmp(error->text, "the card lacks", 14) == 0) {
    lw_text_append(error->text, sizeof error->text,
                   "; `leanward card --complete` works them out from targets");
  }
  return status;
}

void cli_twin_close(cli_twin *t) {
  lw_units_close(t->units);
  lw_arena_free(t->arena);
}

/* ---- axes ---- */

typedef struct axis_reader {
  lw_units *units;
  lw_dim dim;
  const char *field, *text;
  char unit[24];
  lw_error *error;
} axis_reader;

static lw_status axis_fail(const axis_reader *r, const char *text) {
  lw_error_place(r->error, NULL, 0, r->field);
  return lw_fail(r->error, LW_BAD_INPUT, "'%.60s': %s", r->text, text);
}

/* One number of the list, with the unit that stands at its end. */
static lw_status one(const axis_reader *r, const char *text, size_t length, double *x) {
  char buffer[80];
  lw_error own = {0};
  snprintf(buffer, sizeof buffer, "%.*s %s", (int)(length < 40 ? length : 40), text, r->unit);
  if (lw_quantity_read(r->units, r->dim, buffer, x, &own) == LW_OK) return LW_OK;
  return axis_fail(r, own.text);
}

static bool put(cli_axis *axis, double x) {
  if (axis->count == CLI_AXIS_MOST) return false;
  axis->x[axis->count++] = x;
  return true;
}

static lw_status too_many(const axis_reader *r) {
  char text[60];
  snprintf(text, sizeof text, "at most %d values were expected", CLI_AXIS_MOST);
  return axis_fail(r, text);
}

/* FROM:TO:STEP; the last value is TO when the steps do not meet it. */
static lw_status steps(const axis_reader *r, const double *v, size_t count, cli_axis *axis) {
  double step = count == 3 ? v[2] : (v[1] - v[0]) / 10;
  if (count == 1 || count > 3) return axis_fail(r, "FROM:TO:STEP was expected");
  if (!(step > 0) || !(v[1] > v[0])) return axis_fail(r, "the steps must rise from FROM to TO");
  for (size_t i = 0;; i++) {
    double x = v[0] + (double)i * step;
    if (x > v[1] - 1e-6 * step) break;
    if (!put(axis, x)) return too_many(r);
  }
  return put(axis, v[1]) ? LW_OK : too_many(r);
}

static lw_status list(const axis_reader *r, const char *numbers, size_t length, cli_axis *axis) {
  double v[CLI_AXIS_MOST];
  size_t count = 0;
  bool colons = memchr(numbers, ':', length) != NULL;
  for (size_t at = 0; at <= length;) {
    size_t n = 0;
    while (at + n < length && numbers[at + n] != ':' && numbers[at + n] != ',')
      n++;
    if (count == CLI_AXIS_MOST) return too_many(r);
    lw_status status = one(r, numbers + at, n, &v[count++]);
    if (status != LW_OK) return status;
    at += n + 1;
  }
  if (colons) return steps(r, v, count, axis);
  for (size_t i = 0; i < count; i++) {
    if (i && !(v[i] > v[i - 1])) return axis_fail(r, "the values must rise");
    put(axis, v[i]);
  }
  return LW_OK;
}

/* A step people like, for about nine values: 1, 2, 2.5 or 5 times a power of ten. */
static double nice_step(double span) {
  static const double sizes[] = {1, 2, 2.5, 5, 10};
  double raw = span / 9, power = pow(10, floor(log10(raw)));
  for (size_t i = 0; i < 5; i++) {
    if (sizes[i] * power >= raw * (1 - 1e-9)) return sizes[i] * power;
  }
  return raw;
}

/* "600 to 4000 rpm": the ends, and round values between them. */
static lw_status between(const axis_reader *r, cli_axis *axis) {
  lw_range range = lw_range_none;
  lw_error own = {0};
  if (lw_range_read(r->units, r->dim, r->text, &range, &own) != LW_OK) {
    return axis_fail(r, own.text);
  }
  if (!(range.hi > range.lo)) return axis_fail(r, "a span from a smaller to a greater value");
  double unit = lw_dim_shown(r->dim, LW_SHOP, 1), lo = range.lo * unit, hi = range.hi * unit;
  double step = nice_step(hi - lo);
  put(axis, range.lo);
  double first = step * ceil(lo / step + 0.35);
  for (int i = 0; first + i * step < hi - 0.35 * step; i++)
    put(axis, (first + i * step) / unit);
  put(axis, range.hi);
  return LW_OK;
}

lw_status cli_axis_read(lw_units *units, lw_dim dim, const char *field, const char *text,
                        cli_axis *axis, lw_error *error) {
  axis_reader r = {units, dim, field, text, "", error};
  *axis = (cli_axis){.count = 0};
  if (strstr(text, " to ")) return between(&r, axis);
  size_t end = strlen(text);
  while (end && !(text[end - 1] >= '0' && text[end - 1] <= '9') && text[end - 1] != '.')
    end--;
  snprintf(r.unit, sizeof r.unit, "%s", text + end + strspn(text + end, " "));
  return list(&r, text, end, axis);
}

/* ---- running ---- */

static lw_status usual_throttle(bool fine, cli_axis *axis) {
  static const double usual[] = {0, 0.02, 0.05, 0.10, 0.15, 0.20, 0.30, 0.50, 0.75, 1};
  *axis = (cli_axis){.count = 0};
  for (size_t i = 0; i < sizeof usual / sizeof usual[0] && !fine; i++)
    put(axis, usual[i]);
  for (int i = 0; i <= 40 && fine; i++) /* even on the picture's square-root scale */
    put(axis, i * i / 1600.0);
  return LW_OK;
}

/* From the idle speed to 4,000 rpm, or to 6 times idle where that is less. */
static lw_status usual_speed(const lw_twin *twin, size_t fine, cli_axis *axis) {
  double rpm = 2 * 3.14159265358979323846 / 60, idle = lw_range_middle(twin->card->idle.speed);
  double first = lw_known(idle) ? idle : 700 * rpm, last = fmax(4000 * rpm, 2 * first);
  *axis = (cli_axis){.count = 0};
  put(axis, first);
  for (int i = 1; !fine && 500 * i * rpm < last + 1; i++) {
    if (500 * i * rpm > first + 200 * rpm) put(axis, 500 * i * rpm);
  }
  for (size_t i = 1; i < fine; i++)
    put(axis, first + (last - first) * (double)i / (double)(fine - 1));
  return LW_OK;
}

lw_status cli_run(cli_twin *t, const cli_range *range, bool fine, lw_map **map, lw_error *error) {
  cli_axis throttle, speed;
  lw_status status = range->speed
                         ? cli_axis_read(t->units, LW_SPIN, "--speed", range->speed, &speed, error)
                         : usual_speed(t->twin,
                                       range->line ? (fine ? 60 : 16)
                                       : fine      ? 41
                                                   : 0,
                                       &speed);
  if (status == LW_OK) {
    status = range->throttle ? cli_axis_read(t->units, LW_SHARE, "--throttle", range->throttle,
                                             &throttle, error)
                             : usual_throttle(fine, &throttle);
  }
  if (status != LW_OK) return status;
  if (range->line) {
    if (speed.count < 2) {
      lw_error_place(error, NULL, 0, "--speed");
      return lw_fail(error, LW_BAD_INPUT, "a line needs at least two speeds");
    }
    return lw_line_run(t->arena, t->twin, range->run, speed.x, speed.count, map, error);
  }
  return lw_map_run(t->arena, t->twin, throttle.x, throttle.count, speed.x, speed.count, map,
                    error);
}

bool cli_range_option(cli_range *range, int c, const char *value) {
  switch (c) {
  case 't': range->throttle = value; return true;
  case 'n': range->speed = value; return true;
  case 'c': range->csv = value ? value : "-"; return true;
  case 'S': range->svg = value; return true;
  case 'P': range->png = value; return true;
  case 'j': range->json = true; return true;
  case 'o': range->line = true; return strcmp(value, "airflow") == 0;
  case 'l':
    range->line = true;
    range->run = strcmp(value, "road") == 0 ? LW_LINE_ROAD : LW_LINE_WIDE_OPEN;
    return range->run == LW_LINE_ROAD || strcmp(value, "wide-open") == 0;
  default: return false;
  }
}

/* What goes to standard output, once at most. */
static int to_output(const cli_range *range) {
  const char *const files[] = {range->csv, range->svg, range->png};
  int count = range->json;
  for (size_t i = 0; i < 3; i++)
    count += files[i] && strcmp(files[i], "-") == 0;
  return count;
}

const char *cli_range_conflict(const cli_range *range) {
  if (range->line && range->throttle) {
    return "along a line the load sets the throttle: leave --throttle or --over out";
  }
  if (to_output(range) > 1) {
    return "only one of --csv, --json, --svg and --png can go to standard output";
  }
  return NULL;
}

/* ---- tables ---- */

void cli_cell(FILE *to, int width, int decimals, double x) {
  if (x == x && fabs(x) < 1e6) {
    fprintf(to, "%*.*f", width, decimals, x);
  } else {
    fprintf(to, "%*s", width, "--");
  }
}

void cli_grid(const lw_map *map, int decimals, bool sign, cli_value value, const void *of) {
  const int width = 7;
  size_t most = 10; /* columns beside the speeds in 80 */
  for (size_t from = 0; from < map->throttles; from += most) {
    size_t to = from + most < map->throttles ? from + most : map->throttles;
    if (from) putchar('\n');
    printf("%9s", "throttle");
    for (size_t k = from; k < to; k++) {
      char text[24];
      double x = 100 * map->throttle[k];
      snprintf(text, sizeof text, fabs(x - round(x)) < 0.005 ? "%.0f %%" : "%.1f %%", x);
      printf("%*s", width, text);
    }
    putchar('\n');
    for (size_t i = 0; i < map->speeds; i++) {
      printf("%5.0f rpm", lw_dim_shown(LW_SPIN, LW_SHOP, map->speed[i]));
      for (size_t k = from; k < to; k++) {
        size_t at = i * map->throttles + k;
        double x = value(of, at);
        if (!map->points[at].report.converged) {
          printf("%*s", width, "x");
        } else if (sign && x == x) {
          printf("%+*.*f", width, decimals, x);
        } else {
          cli_cell(stdout, width, decimals, x);
        }
      }
      putchar('\n');
    }
  }
}

void cli_failures(const char *which, const lw_map *map) {
  if (!map->failed) return;
  for (size_t i = 0; i < map->throttles * map->speeds; i++) {
    const lw_map_point *p = &map->points[i];
    if (p->report.converged) continue;
    char text[400];
    snprintf(
        text, sizeof text,
        "%s%zu of %zu points did not converge (x); the first at %.0f rpm, throttle %.0f %%: %s",
        which, map->failed, map->throttles * map->speeds, lw_dim_shown(LW_SPIN, LW_SHOP, p->speed),
        100 * p->throttle, p->report.where[0] ? p->report.where : "unknown");
    cli_wrapped(stdout, 0, 0, text);
    return;
  }
}

double cli_share(const lw_map_point *p, lw_circuit circuit) {
  return p->fuel > 1e-9 ? p->by_circuit[circuit] / p->fuel : LW_NONE;
}

/* ---- JSON ---- */

json_t *cli_twin_json(const lw_twin *twin) {
  return lw_twin_json(twin);
}

json_t *cli_points_json(const lw_map *map) {
  return lw_map_points_json(map);
}

/* ---- CSV ---- */

void cli_csv_header(FILE *to, const char *prefix) {
  static const char *const names[] = {"afr", "lambda", "air_g_s", "fuel_g_s", "manifold_kpa"};
  for (size_t i = 0; i < 5; i++)
    fprintf(to, "%s%s%s", i ? "," : "", prefix, names[i]);
  for (int c = LW_CIRCUIT_AIR + 1; c < LW_CIRCUITS; c++)
    fprintf(to, ",%s%s_share", prefix, lw_circuit_text((lw_circuit)c));
  fprintf(to, ",%sconverged", prefix);
}

static void csv_number(FILE *to, double x, int digits) {
  if (x == x) fprintf(to, "%.*g", digits, x);
}

void cli_csv_point(FILE *to, const lw_map_point *p) {
  const double values[] = {p->afr, p->lambda, 1e3 * p->air, 1e3 * p->fuel, p->manifold / 1e3};
  for (size_t i = 0; i < 5; i++) {
    if (i) fputc(',', to);
    csv_number(to, values[i], 7);
  }
  for (int c = LW_CIRCUIT_AIR + 1; c < LW_CIRCUITS; c++) {
    fputc(',', to);
    csv_number(to, cli_share(p, (lw_circuit)c), 5);
  }
  fputs(p->report.converged ? ",yes" : ",no", to);
}
