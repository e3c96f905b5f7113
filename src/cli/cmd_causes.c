/* cmd_causes.c - `leanward causes JOB`: what is wrong, how that is known, what would tell more. */
#include "print_work.h"

#include "leanward/causes.h"

#include <getopt.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward causes [--json] JOB\n"
    "Weigh what may be wrong with a job's car: every usual cause is tried on the twin of its "
    "card,\n"
    "in several sizes, and gets a probability from how well it explains all readings and checks.\n"
    "The readings that tell are shown beside what a sound car and what this cause would give; "
    "then\n"
    "the tests that would tell the remaining causes apart, best for their effort first.\n\n"
    "  --json   print the result as JSON (docs/json.md)\n"
    "  --help   this text\n\n"
    "Exit status: 0 nothing wrong is the likeliest, 1 a cause was found, 2 could not.\n";

static lw_status write_json(const lw_diagnosis *g, lw_error *error) {
  json_t *json = lw_causes_json(g);
  if (!json) return lw_fail(error, LW_NO_MEMORY, "no memory for the result");
  json_dumpf(json, stdout, JSON_INDENT(2));
  putchar('\n');
  json_decref(json);
  return LW_OK;
}

static int weigh(const char *path, bool json, lw_arena *arena, lw_units *units) {
  lw_error error = {0};
  lw_case given = {0};
  const lw_work *work = NULL;
  lw_diagnosis *g = NULL;
  lw_status status = lw_case_read(arena, units, path, &given, &error);
  if (status == LW_OK)
    status = lw_job_work(arena, given.job, given.card, given.fitted, &work, &error);
  const lw_card *other = status == LW_OK ? lw_card_other(arena, units, NULL, given.card) : NULL;
  if (status == LW_OK) status = lw_causes_of(arena, units, work, other, &g, &error);
  if (status == LW_OK && json) status = write_json(g, &error);
  if (status != LW_OK) return cli_fail("causes", &error);
  if (!json) print_causes(work, g);
  return cli_finish("causes", g->found || g->unit ? CLI_OUTSIDE : CLI_DONE);
}

int cmd_causes(int argc, char **argv) {
  static const struct option options[] = {
      {"json", no_argument, NULL, 'j'}, {"help", no_argument, NULL, 'h'}, {0}};
  bool json = false;
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    switch (c) {
    case 'j': json = true; break;
    case 'h': fputs(usage, stdout); return cli_finish("causes", CLI_DONE);
    default: return cli_usage("causes", "'%s' is not an option", argv[optind - 1]);
    }
  }
  if (optind + 1 != argc) return cli_usage("causes", "one job file was expected");
  lw_error error = {0};
  lw_units *units = NULL;
  lw_arena *arena = lw_arena_new((size_t)256 << 20);
  if (!arena) lw_fail(&error, LW_NO_MEMORY, "no memory");
  bool ready = arena && lw_units_open(&units, &error) == LW_OK;
  int code = ready ? weigh(argv[optind], json, arena, units) : cli_fail("causes", &error);
  lw_units_close(units);
  lw_arena_free(arena);
  return code;
}
