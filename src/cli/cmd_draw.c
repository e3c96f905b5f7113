/* cmd_draw.c - `leanward card --draw`: a picture of the unit's passages with what flows in them. */
#include "cli_twin.h"

#include "leanward/circuit.h"

#include <getopt.h>
#include <math.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward card --draw OUT [--throttle SHARE] [--speed SPEED] CARD [NAME=VALUE ...]\n"
    "Draw the passages of a unit with pressures and flows at one point: curb idle unless said.\n"
    "What-ifs as in `leanward try` may follow the card.\n\n"
    "  --draw OUT        a name that ends in .svg or .png\n"
    "  --throttle SHARE  0 to 100 %; 0 is the idle stop, 100 wide open\n"
    "  --speed SPEED     in rpm\n"
    "  --help            this text\n";

enum { PIXELS = 1440 }; /* of a PNG: two for each unit of the picture, for a phone's zoom */

#define RPM (2 * 3.14159265358979323846 / 60)

static const double least_speed = 100 * RPM, most_speed = 12000 * RPM;

typedef struct wish {
  const char *out, *throttle, *speed;
  char *const *edits;
  size_t edit_count;
} wish;

/* A value of an option; a bare number is in the option's usual unit. */
static lw_status option_value(lw_units *units, lw_dim dim, const char *option, const char *text,
                              double lo, double hi, double *x, lw_error *error) {
  char with_unit[64];
  double bare = 0;
  lw_error own = {0};
  snprintf(with_unit, sizeof with_unit, "%.40s %s", text, lw_dim_unit(dim, LW_SHOP));
  const char *said = lw_number_read(text, &bare, &own) == LW_OK ? with_unit : text;
  lw_error_place(error, NULL, 0, option);
  if (lw_quantity_read(units, dim, said, x, &own) != LW_OK) {
    return lw_fail(error, LW_BAD_INPUT, "%s", own.text);
  }
  if (*x >= lo && *x <= hi) return LW_OK;
  return lw_fail(error, LW_BAD_INPUT, "'%.40s' was given; %.0f to %.0f %s was expected", text,
                 lw_dim_shown(dim, LW_SHOP, lo), lw_dim_shown(dim, LW_SHOP, hi),
                 lw_dim_unit(dim, LW_SHOP));
}

static lw_status setting_of(const cli_twin *t, const wish *w, lw_setting *set, lw_error *error) {
  double idle = lw_range_middle(t->twin->card->idle.speed);
  *set = (lw_setting){.throttle = 0,
                      .speed = lw_known(idle) ? idle : 700 * RPM,
                      .ambient = t->twin->ambient,
                      .temperature = t->twin->temperature};
  lw_status status = LW_OK;
  if (w->throttle) {
    status =
        option_value(t->units, LW_SHARE, "--throttle", w->throttle, 0, 1, &set->throttle, error);
  }
  if (status == LW_OK && w->speed) {
    status = option_value(t->units, LW_SPIN, "--speed", w->speed, least_speed, most_speed,
                          &set->speed, error);
  }
  return status;
}

static lw_status what_ifs(cli_twin *t, const wish *w, lw_error *error) {
  if (!w->edit_count) return LW_OK;
  const char **edits = lw_arena_array(t->arena, w->edit_count, sizeof *edits);
  if (!edits) return lw_fail(error, LW_NO_MEMORY, "no memory");
  for (size_t i = 0; i < w->edit_count; i++)
    edits[i] = w->edits[i];
  return lw_what_if(t->arena, t->units, t->twin, edits, w->edit_count, &t->twin, error);
}

static lw_status draw(cli_twin *t, const wish *w, lw_report *report, lw_error *error) {
  lw_setting set;
  lw_state state = {0};
  lw_picture_form form = LW_PICTURE_SVG;
  const void *bytes = NULL;
  size_t length = 0;
  lw_status status = lw_picture_form_of(w->out, &form, error);
  if (status == LW_OK) status = what_ifs(t, w, error);
  if (status == LW_OK) status = setting_of(t, w, &set, error);
  if (status != LW_OK) return status;
  lw_point *point = lw_arena_alloc(t->arena, sizeof *point);
  if (!point) return lw_fail(error, LW_NO_MEMORY, "no memory");
  lw_net_solve(t->twin->net, &set, &state, report);
  if (report->converged) lw_net_point(t->twin->net, &set, &state, point);
  const lw_circuit_view view = {t->twin->card, t->twin->net, &set, report, point, -1};
  status = lw_circuit_draw(t->arena, &view, form, PIXELS, &bytes, &length, error);
  return status == LW_OK ? lw_file_write(w->out, bytes, length, error) : status;
}

/* Like every command that found no answer: the picture is there and says so, and the code is 2. */
static int answer(cli_twin *t, const wish *w, lw_error *error) {
  lw_report report = {0};
  if (draw(t, w, &report, error) != LW_OK) return cli_fail("card", error);
  if (report.converged) return cli_finish("card", CLI_DONE);
  *error = (lw_error){0};
  lw_fail(error, LW_NO_CONVERGENCE,
          "the flows did not settle (%s); the picture shows the passages only", report.where);
  return cli_fail("card", error);
}

bool cmd_draw_asked(int argc, char **argv) {
  for (int i = 1; i < argc && strcmp(argv[i], "--") != 0; i++) {
    if (strcmp(argv[i], "--draw") == 0 || strncmp(argv[i], "--draw=", 7) == 0) return true;
  }
  return false;
}

int cmd_draw(int argc, char **argv) {
  static const struct option options[] = {{"draw", required_argument, NULL, 'd'},
                                          {"throttle", required_argument, NULL, 't'},
                                          {"speed", required_argument, NULL, 'n'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  wish w = {0};
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    switch (c) {
    case 'd': w.out = optarg; break;
    case 't': w.throttle = optarg; break;
    case 'n': w.speed = optarg; break;
    case 'h': fputs(usage, stdout); return cli_finish("card", CLI_DONE);
    default:
      return cli_usage("card --draw", "'%s' is not an option of --draw, or lacks its value",
                       argv[optind - 1]);
    }
  }
  if (optind >= argc) return cli_usage("card --draw", "a spec card was expected");
  w.edits = argv + optind + 1;
  w.edit_count = (size_t)(argc - optind - 1);
  for (size_t i = 0; i < w.edit_count; i++) {
    if (!strchr(w.edits[i], '=')) {
      return cli_usage("card --draw", "'%s' is no what-if (NAME=VALUE); one card was expected",
                       w.edits[i]);
    }
  }
  lw_error error = {0};
  cli_twin t;
  int code = cli_twin_open(&t, argv[optind], &error) == LW_OK ? answer(&t, &w, &error)
                                                              : cli_fail("card", &error);
  cli_twin_close(&t);
  return code;
}
