/* cmd_rejet.c - `leanward rejet`: which sizes bring the mixture back after a change. */
#include "print_rejet.h"

#include "leanward/plot.h"

#include <getopt.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward rejet [OPTION]... CARD EDIT...\n"
    "Decide a change before metal is cut. An EDIT says what changes, as in `leanward\n"
    "try`: \"altitude=1600 m\", \"fuel=E10\", \"displacement=5.2 L\", \"air\n"
    "cleaner=clogged 30 %\". The answer is a ranked list: which jets, rods, bleeds,\n"
    "feeds, power valve, fuel level and screws bring the mixture back, fewest parts\n"
    "first. Each proposal was run on the twin. Sealed parts are never proposed.\n\n"
    "  --drawer FILE      sizes at hand (YAML, docs/rejet.md); without it whole\n"
    "                     thousandths of an inch about what is fitted\n"
    "  --keep PART        leave this part as it is; may be given again\n"
    "  --parts N          change at most N parts at once, 0 to 6 (4)\n"
    "  --target LIST      \"cruise=15.5, full throttle=12.7\" instead of the original's\n"
    "                     mixture there; \"cruise=lambda 1.05\" is understood. Places:\n"
    "                     idle, off idle, cruise, heavy load, full throttle\n"
    "  --maps             print the three maps, too\n"
    "  --csv[=FILE]       the list as CSV, to standard output or FILE\n"
    "  --json             all of it as JSON\n"
    "  --svg FILE, --png FILE  before, nothing done and after as a picture\n"
    "  --drawer-keys      the keys of a drawer file\n"
    "  --help             this text\n";

enum { KEEP_MOST = 16 };

typedef struct request {
  const char *drawer, *target, *csv, *svg, *png;
  const char *keep[KEEP_MOST];
  size_t keep_count;
  int parts;
  bool json, maps;
} request;

/* ---- targets ---- */

static const struct {
  const char *name;
  lw_place place;
} target_names[] = {{"idle", LW_PLACE_IDLE},           {"off idle", LW_PLACE_OFF_IDLE},
                    {"cruise", LW_PLACE_CRUISE},       {"heavy load", LW_PLACE_LOAD},
                    {"wide open", LW_PLACE_WIDE_OPEN}, {"full throttle", LW_PLACE_WIDE_OPEN}};
enum { TARGETS = sizeof target_names / sizeof target_names[0] };

static lw_status bad_target(lw_error *error, const char *part, const char *why) {
  lw_error_place(error, NULL, 0, "--target");
  return lw_fail(error, LW_BAD_INPUT, "'%.60s': %s", part, why);
}

static lw_status one_target(char *part, lw_rejet_ask *ask, lw_error *error) {
  const char *names[TARGETS];
  char whole[80];
  double x = 0;
  part += strspn(part, " ");
  snprintf(whole, sizeof whole, "%s", part);
  char *value = strchr(part, '=');
  if (!value) return bad_target(error, whole, "write PLACE=AIR-FUEL RATIO, as cruise=15.5");
  char *end = value;
  while (end > part && end[-1] == ' ')
    end--;
  *end = '\0';
  value += 1 + strspn(value + 1, " ");
  bool lambda = strncmp(value, "lambda ", 7) == 0;
  for (int i = 0; i < TARGETS; i++) {
    names[i] = target_names[i].name;
    if (!lw_text_same(part, names[i])) continue;
    lw_error own = {0};
    if (lw_number_read(value + (lambda ? 7 : 0), &x, &own) != LW_OK)
      return bad_target(error, whole, own.text);
    if (!(lambda ? x >= 0.5 && x <= 2 : x >= 3 && x <= 30))
      return bad_target(error, whole,
                        "an air-fuel ratio of 3 to 30, or lambda 0.5 to 2, was "
                        "expected");
    (lambda ? ask->lambda : ask->afr)[target_names[i].place] = x;
    return LW_OK;
  }
  const char *near = lw_text_nearest(part, names, TARGETS);
  char why[120];
  snprintf(why, sizeof why,
           near ? "is '%s' meant?"
                : "places are idle, off idle, cruise, heavy "
                  "load, full throttle",
           near);
  return bad_target(error, whole, why);
}

static lw_status read_targets(const char *text, lw_rejet_ask *ask, lw_error *error) {
  char all[400];
  lw_status status = LW_OK;
  if (strlen(text) >= sizeof all) return bad_target(error, text, "the list is too long");
  snprintf(all, sizeof all, "%s", text);
  for (char *part = all; part && status == LW_OK;) {
    char *comma = strchr(part, ',');
    if (comma) *comma = '\0';
    status = one_target(part, ask, error);
    part = comma ? comma + 1 : NULL;
  }
  return status;
}

/* ---- the question ---- */

static lw_status read_drawer(cli_twin *t, const char *path, lw_drawer **drawer, lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  lw_bind bind = {t->arena, t->units, path};
  lw_status status = lw_file_read(t->arena, path, LW_DOC_MAX_BYTES, &text, &length, error);
  return status == LW_OK ? lw_drawer_read(&bind, text, length, drawer, error) : status;
}

/* Words for what people change and the twin has no what-if for. */
static lw_status check_edits(char **edits, int count, lw_error *error) {
  static const char *const missing[] = {"exhaust",  "exhaust system", "muffler",   "headers",
                                        "manifold", "intake",         "camshaft",  "valves",
                                        "heads",    "breathing",      "air filter"};
  for (int i = 0; i < count; i++) {
    size_t n = strcspn(edits[i], "=");
    while (n && edits[i][n - 1] == ' ')
      n--;
    for (size_t k = 0; k < sizeof missing / sizeof missing[0]; k++) {
      char name[32];
      snprintf(name, sizeof name, "%.*s", (int)(n < 31 ? n : 31), edits[i]);
      if (!lw_text_same(name, missing[k])) continue;
      lw_error_place(error, NULL, 0, edits[i]);
      return lw_fail(error, LW_BAD_INPUT,
                     "the twin has no what-if for it: of the engine's breathing it knows "
                     "displacement, compression ratio and 'air cleaner=clogged 30 %%'; what the "
                     "exhaust or the valves let through is missing");
    }
  }
  return LW_OK;
}

static lw_status ask_of(cli_twin *t, const request *r, lw_rejet_ask *ask, lw_error *error) {
  lw_drawer *drawer = NULL;
  lw_status status = LW_OK;
  *ask = lw_rejet_ask_usual();
  if (r->drawer) status = read_drawer(t, r->drawer, &drawer, error);
  if (status == LW_OK && r->target) status = read_targets(r->target, ask, error);
  ask->drawer = drawer;
  ask->keep = r->keep;
  ask->keep_count = r->keep_count;
  if (r->parts >= 0) ask->parts_most = r->parts;
  return status;
}

/* ---- maps and pictures ---- */

static lw_status maps_of(cli_twin *t, print_rejet *p, lw_error *error) {
  const cli_range range = {0};
  const lw_rejet *r = p->answer;
  lw_map *a = NULL, *b = NULL, *c = NULL;
  lw_status status = cli_run(t, &range, false, &a, error);
  if (status == LW_OK) status = lw_map_again(t->arena, r->changed->twin, a, &b, error);
  if (status == LW_OK && r->count)
    status = lw_map_again(t->arena, r->proposals[0].twin, a, &c, error);
  p->original = a;
  p->nothing = b;
  p->after = c;
  return status;
}

static lw_status draw(cli_twin *t, const print_rejet *p, lw_plot_form form, const char *path,
                      lw_error *error) {
  const cli_range range = {.line = true, .run = LW_LINE_ROAD};
  const lw_rejet *r = p->answer;
  lw_map *a = NULL, *b = NULL, *c = NULL;
  char title[320];
  lw_status status = cli_run(t, &range, true, &a, error);
  if (status == LW_OK) status = lw_map_again(t->arena, r->changed->twin, a, &b, error);
  if (status == LW_OK && r->count)
    status = lw_map_again(t->arena, r->proposals[0].twin, a, &c, error);
  if (status != LW_OK) return status;
  snprintf(title, sizeof title, "%s with %s", r->original->twin->card->unit, p->what);
  bool fuels = strcmp(t->twin->net->fuel.name, r->changed->twin->net->fuel.name) != 0;
  lw_plot_lines lines = {title,
                         fuels ? "level road, idle to top speed; the fuels need different amounts "
                                 "of air: the change, in lambda, compares them"
                               : "level road, idle to top speed",
                         a, b, c};
  return lw_plot_line(&lines, form, path, error);
}

/* ---- the command ---- */

static int code_of(const lw_rejet *r) {
  if (r->nothing_to_do) return CLI_DONE;
  if (!r->count) return CLI_COULD_NOT;
  return r->proposals[0].within ? CLI_DONE : CLI_OUTSIDE;
}

static lw_status work(cli_twin *t, const request *r, print_rejet *p, lw_error *error) {
  lw_rejet_ask ask;
  lw_rejet *answer = NULL;
  lw_test_car *car = NULL;
  lw_status status = check_edits(p->edits, p->edit_count, error);
  if (status == LW_OK) status = ask_of(t, r, &ask, error);
  if (status == LW_OK) status = lw_test_car_new(t->arena, t->twin->card, &car, error);
  if (status == LW_OK)
    status = lw_rejet_run(t->arena, t->units, car, (const char *const *)p->edits,
                          (size_t)p->edit_count, &ask, &answer, error);
  p->answer = answer;
  return status == LW_OK ? maps_of(t, p, error) : status;
}

static int answer(cli_twin *t, const request *r, char **edits, int count, lw_error *error) {
  char what[240] = "";
  print_rejet p = {.what = what, .edits = edits, .edit_count = count, .maps = r->maps};
  for (int i = 0; i < count; i++)
    lw_text_append(what, sizeof what, i ? ", %s" : "%s", edits[i]);
  lw_status status = work(t, r, &p, error);
  if (status == LW_OK && r->svg) status = draw(t, &p, LW_PLOT_SVG, r->svg, error);
  if (status == LW_OK && r->png) status = draw(t, &p, LW_PLOT_PNG, r->png, error);
  if (status == LW_OK && r->csv) status = print_rejet_csv(&p, r->csv, error);
  if (status != LW_OK) return cli_fail("rejet", error);
  if (r->json) {
    print_rejet_json(&p);
  } else if (!r->csv && !r->svg && !r->png) {
    print_rejet_text(&p);
  }
  return cli_finish("rejet", code_of(p.answer));
}

static bool take(request *r, int c, const char *value) {
  char *end = NULL;
  switch (c) {
  case 'D': r->drawer = value; return true;
  case 'T': r->target = value; return true;
  case 'm': r->maps = true; return true;
  case 'j': r->json = true; return true;
  case 'c': r->csv = value ? value : "-"; return true;
  case 'S': r->svg = value; return true;
  case 'P': r->png = value; return true;
  case 'K':
    if (r->keep_count == KEEP_MOST) return false;
    r->keep[r->keep_count++] = value;
    return true;
  case 'n': {
    long n = strtol(value, &end, 10);
    r->parts = (int)n;
    return *value && !*end && n >= 0 && n <= LW_REJET_PARTS_MOST;
  }
  default: return false;
  }
}

static void put_text(void *to, const char *text) {
  fputs(text, to);
}

static const char *conflict(const request *r) {
  const char *const files[] = {r->csv, r->svg, r->png};
  int count = r->json;
  for (size_t i = 0; i < 3; i++)
    count += files[i] && strcmp(files[i], "-") == 0;
  if (count > 1) return "only one of --csv, --json, --svg and --png can go to standard output";
  return NULL;
}

int cmd_rejet(int argc, char **argv) {
  static const struct option options[] = {
      {"drawer", required_argument, NULL, 'D'}, {"keep", required_argument, NULL, 'K'},
      {"parts", required_argument, NULL, 'n'},  {"target", required_argument, NULL, 'T'},
      {"maps", no_argument, NULL, 'm'},         {"csv", optional_argument, NULL, 'c'},
      {"json", no_argument, NULL, 'j'},         {"svg", required_argument, NULL, 'S'},
      {"png", required_argument, NULL, 'P'},    {"drawer-keys", no_argument, NULL, 'k'},
      {"help", no_argument, NULL, 'h'},         {0}};
  request r = {.parts = -1};
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      return cli_finish("rejet", CLI_DONE);
    }
    if (c == 'k') {
      lw_table_reference(lw_drawer_table(), put_text, stdout);
      return cli_finish("rejet", CLI_DONE);
    }
    if (!take(&r, c, optarg)) {
      return cli_usage("rejet", "'%s' is not an option, or lacks its value, or has a wrong one",
                       argv[optind - 1]);
    }
  }
  if (optind == argc) return cli_usage("rejet", "a spec card and what changes were expected");
  if (optind + 1 == argc) return cli_usage("rejet", "what changes was expected behind the card");
  if (conflict(&r)) return cli_usage("rejet", "%s", conflict(&r));
  lw_error error = {0};
  cli_twin t;
  int code = cli_twin_open(&t, argv[optind], &error) == LW_OK
                 ? answer(&t, &r, argv + optind + 1, argc - optind - 1, &error)
                 : cli_fail("rejet", &error);
  cli_twin_close(&t);
  return code;
}
