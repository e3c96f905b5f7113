/* cmd_try.c - `leanward try`: a change beside the original, over the whole range. */
#include "cli_twin.h"

#include "leanward/bench_json.h"
#include "leanward/plot.h"

#include <getopt.h>
#include <math.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward try [OPTION]... CARD EDIT...\n"
    "       leanward try --list\n"
    "What a change does to the mixture before anything is drilled. An EDIT is\n"
    "NAME=VALUE: \"main jet=0.061 in\", \"main jet=+5 %\", \"left screw=-1/4 turn\",\n"
    "\"altitude=1600 m\", \"vacuum leak=2 mm\", \"idle bleed=plugged\". A signed value is a\n"
    "change, an unsigned one a new value. Edits are done in order. Throttle and speed\n"
    "are the same in both runs.\n\n"
    "  --list             the names that can be changed, with their values\n";

typedef struct trial {
  const lw_twin *twin, *changed;
  const lw_map *a, *b;
  const lw_comparison *c;
  char what[240]; /* the edits, as written */
} trial;

static double afr_of(const void *of, size_t i) {
  return ((const lw_map *)of)->points[i].afr;
}

static double change_of(const void *of, size_t i) {
  const trial *t = of;
  return 100 * lw_change(&t->a->points[i], &t->b->points[i]);
}

/* ---- words and tables ---- */

static void print_words(const trial *t) {
  cli_styled(stdout, CLI_STRONG, t->twin->card->unit);
  printf(" with ");
  cli_wrapped(stdout, 12, 2, t->what);
  putchar('\n');
  for (int i = 0; i < LW_PLACES; i++) {
    const lw_effect *e = &t->c->effects[i];
    if (!e->words) continue;
    fputs("- ", stdout);
    cli_wrapped(stdout, 2, 2, e->words);
  }
  printf("= ");
  cli_wrapped(stdout, 2, 2, t->c->summary);
  if (strcmp(t->twin->net->fuel.name, t->changed->net->fuel.name) != 0) {
    cli_wrapped(stdout, 0, 0,
                "The fuels need different amounts of air: percentages compare lambda, not the "
                "air-fuel ratio.");
  }
}

static void print_line(const trial *t) {
  printf("\n%8s %9s %9s %9s %9s %9s\n", "rpm", "throttle", "air g/s", "original", "changed",
         "change");
  for (size_t i = 0; i < t->a->speeds; i++) {
    const lw_map_point *a = &t->a->points[i], *b = &t->b->points[i];
    printf("%8.0f", lw_dim_shown(LW_SPIN, LW_SHOP, a->speed));
    cli_cell(stdout, 8, 1, 100 * a->throttle);
    fputs(" %", stdout);
    cli_cell(stdout, 10, 2, 1e3 * a->air);
    cli_cell(stdout, 10, 2, a->afr);
    cli_cell(stdout, 10, 2, b->afr);
    double change = change_of(t, i);
    if (change == change) printf("%+8.1f %%", change);
    if (change != change) printf("%10s", "x");
    putchar('\n');
  }
}

static void print_tables(const trial *t) {
  print_words(t);
  if (!t->a->throttle) {
    print_line(t);
  } else {
    puts("\nAir-fuel ratio, original");
    cli_grid(t->a, 1, false, afr_of, t->a);
    puts("\nAir-fuel ratio, changed");
    cli_grid(t->b, 1, false, afr_of, t->b);
    puts("\nChange, % of lambda (+ leaner, - richer)");
    cli_grid(t->b, 1, true, change_of, t);
  }
  if (t->a->failed + t->b->failed) putchar('\n');
  cli_failures("original: ", t->a);
  cli_failures("changed: ", t->b);
}

static void print_names(void) {
  size_t count = 0;
  const lw_what_if_name *names = lw_what_ifs(&count);
  for (int fault = 0; fault < 2; fault++) {
    puts(fault ? "\nFaults" : "Changes");
    for (size_t i = 0; i < count; i++) {
      if (names[i].fault != fault) continue;
      char text[200];
      printf("  %-20s ", names[i].name);
      snprintf(text, sizeof text, "%s: %s", names[i].values, names[i].what);
      cli_wrapped(stdout, 23, 23, text);
    }
  }
  puts("\nBefore a size may stand 'secondary', or 'left' or 'right' for the\n"
       "primary barrel of that side.");
}

/* ---- files ---- */

static lw_status write_csv(const char *path, const trial *t, lw_error *error) {
  lw_draft draft;
  lw_status status = lw_draft_begin(path, &draft, error);
  if (status != LW_OK) return status;
  FILE *to = draft.stream;
  fputs("speed_rpm,throttle_pct,", to);
  cli_csv_header(to, "");
  fputc(',', to);
  cli_csv_header(to, "changed_");
  fputs(",change_pct\r\n", to);
  for (size_t i = 0; i < t->a->throttles * t->a->speeds; i++) {
    const lw_map_point *a = &t->a->points[i];
    double change = change_of(t, i);
    fprintf(to, "%.7g,", lw_dim_shown(LW_SPIN, LW_SHOP, a->speed));
    if (lw_known(a->throttle)) fprintf(to, "%.7g", 100 * a->throttle);
    fputc(',', to);
    cli_csv_point(to, a);
    fputc(',', to);
    cli_csv_point(to, &t->b->points[i]);
    fputc(',', to);
    if (change == change) fprintf(to, "%.5g", change);
    fputs("\r\n", to);
  }
  return lw_draft_finish(&draft, error);
}

static void write_json(const trial *t, char **edits, int count) {
  json_t *root =
      lw_trial_json((const char *const *)edits, (size_t)count, t->twin, t->changed, t->c);
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(12));
  putchar('\n');
  json_decref(root);
}

/* The picture is always drawn against air flow: two maps beside each other tell less. */
static lw_status draw(cli_twin *t, const trial *r, cli_range range, lw_plot_form form,
                      const char *path, size_t *lost, lw_error *error) {
  lw_map *a = NULL, *b = NULL;
  char title[320];
  if (!range.line) range.speed = NULL;
  range.line = true;
  lw_status status = cli_run(t, &range, true, &a, error);
  if (status == LW_OK) status = lw_map_again(t->arena, r->changed, a, &b, error);
  if (status != LW_OK) return status;
  *lost += a->failed + b->failed;
  snprintf(title, sizeof title, "%s with %s", r->twin->card->unit, r->what);
  lw_plot_lines lines = {
      title, range.run == LW_LINE_ROAD ? "level road, idle to top speed" : "wide open throttle", a,
      b, NULL};
  return lw_plot_line(&lines, form, path, error);
}

/* ---- the command ---- */

static int answer(cli_twin *t, const cli_range *range, char **edits, int count, lw_error *error) {
  trial r = {.twin = t->twin};
  lw_twin *changed = NULL;
  lw_map *a = NULL, *b = NULL;
  lw_comparison *c = NULL;
  size_t lost = 0;
  lw_status status = lw_what_if(t->arena, t->units, t->twin, (const char *const *)edits,
                                (size_t)count, &changed, error);
  if (status == LW_OK) status = cli_run(t, range, false, &a, error);
  if (status == LW_OK) status = lw_map_again(t->arena, changed, a, &b, error);
  if (status == LW_OK) {
    double idle = lw_range_middle(t->twin->card->idle.speed);
    status = lw_compare(t->arena, a, b, idle, t->twin->ambient, &c, error);
  }
  if (status != LW_OK) return cli_fail("try", error);
  r.changed = changed;
  r.a = a;
  r.b = b;
  r.c = c;
  for (int i = 0; i < count; i++)
    lw_text_append(r.what, sizeof r.what, i ? ", %s" : "%s", edits[i]);
  if (range->svg) status = draw(t, &r, *range, LW_PLOT_SVG, range->svg, &lost, error);
  if (status == LW_OK && range->png)
    status = draw(t, &r, *range, LW_PLOT_PNG, range->png, &lost, error);
  if (status == LW_OK && range->csv) status = write_csv(range->csv, &r, error);
  if (status != LW_OK) return cli_fail("try", error);
  if (range->json) {
    write_json(&r, edits, count);
  } else if (!range->csv && !range->svg && !range->png) {
    print_tables(&r);
  }
  size_t all = a->throttles * a->speeds;
  return cli_finish("try", c->lost == all   ? CLI_COULD_NOT
                           : c->lost + lost ? CLI_OUTSIDE
                                            : CLI_DONE);
}

int cmd_try(int argc, char **argv) {
  static const struct option options[] = {CLI_RANGE_OPTIONS, {"list", no_argument, NULL, 'L'}, {0}};
  cli_range range = {0};
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      fputs(cli_range_usage, stdout);
      return cli_finish("try", CLI_DONE);
    }
    if (c == 'L') {
      print_names();
      return cli_finish("try", CLI_DONE);
    }
    if (!cli_range_option(&range, c, optarg)) {
      return cli_usage("try", "'%s' is not an option, or lacks its value, or has a wrong one",
                       argv[optind - 1]);
    }
  }
  if (optind == argc) return cli_usage("try", "a spec card and what to change were expected");
  if (optind + 1 == argc) return cli_usage("try", "what to change was expected behind the card");
  const char *conflict = cli_range_conflict(&range);
  if (conflict) return cli_usage("try", "%s", conflict);
  lw_error error = {0};
  cli_twin t;
  int code = cli_twin_open(&t, argv[optind], &error) == LW_OK
                 ? answer(&t, &range, argv + optind + 1, argc - optind - 1, &error)
                 : cli_fail("try", &error);
  cli_twin_close(&t);
  return code;
}
