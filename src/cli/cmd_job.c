/* cmd_job.c - `leanward job FILE`: work a job, print it, write its sheet, keep it. */
#include "cli.h"
#include "print_work.h"

#include "leanward/causes.h"

#include <getopt.h>
#include <stdlib.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward job [OPTION]... FILE\n"
    "Work a job file (YAML; `-` for standard input): does the unit belong, is the engine fit to\n"
    "be adjusted, what does the exhaust say, is it inside its limits, what to turn next. The run\n"
    "is kept in the store.\n\n"
    "  --sheet OUT.pdf   also write the handover sheet\n"
    "  --paper SIZE      A4 (the default) or Letter\n"
    "  --json            print the result as JSON instead of text\n"
    "  --store PATH      keep the run in this store\n"
    "  --no-store        do not keep the run\n"
    "  --help            this text\n\n"
    "Exit status: 0 within (or nothing to judge, and fit); 1 outside, too close to call, sample "
    "void, not fit\n"
    "to be adjusted, or the wrong unit; 2 could not.\n";

typedef struct job_options {
  const char *file, *sheet, *paper, *store;
  bool json, keep;
} job_options;

static bool any_void(const lw_work *w) {
  for (size_t i = 0; i < w->judgement_count; i++) {
    size_t at = w->judgements[i].reading;
    if (at < w->reading_count && w->readings[at].exhaust.void_sample) return true;
  }
  return false;
}

static int outcome(const lw_work *w) {
  bool amiss = any_void(w) || w->verdict == LW_OUTSIDE || w->verdict == LW_TOO_CLOSE ||
               w->fitness.overall == LW_NOT_FIT || w->intake.answer == LW_BELONGS_NOT;
  return amiss ? CLI_OUTSIDE : CLI_DONE;
}

static lw_status print_json(const lw_work *work, lw_error *error) {
  json_t *json = lw_work_json(work);
  if (!json) return lw_fail(error, LW_NO_MEMORY, "no memory for the result");
  json_dumpf(json, stdout, JSON_INDENT(2));
  putchar('\n');
  json_decref(json);
  return LW_OK;
}

static lw_status keep(const job_options *o, const lw_case *given, const lw_work *work, int64_t *run,
                      lw_error *error) {
  char path[1024];
  lw_store *store = NULL;
  const char *where = o->store ? o->store : lw_store_default_path(path, sizeof path);
  lw_status status = lw_store_open(where, false, &store, error);
  if (status == LW_OK) status = lw_store_save(store, given, work, run, error);
  lw_store_close(store);
  return status;
}

/* The run is kept before the sheet is written: a full disk must not cost the readings. */
static int finish(const job_options *o, const lw_case *given, const lw_work *work) {
  lw_error error = {0};
  int code = outcome(work);
  int64_t run = 0;
  FILE *notes = o->json ? stderr : stdout;
  if (o->json && print_json(work, &error) != LW_OK) return cli_fail("job", &error);
  if (!o->json) print_work(work);
  if (!o->json) putchar('\n');
  if (o->keep && keep(o, given, work, &run, &error) != LW_OK) {
    code = cli_fail("job", &error);
  } else if (o->keep) {
    fprintf(notes, "kept as run %lld of job %s\n", (long long)run, work->job->id);
  }
  error = (lw_error){0};
  if (o->sheet && lw_sheet_write(work, o->sheet, o->paper, &error) != LW_OK) {
    code = cli_fail("job", &error);
  } else if (o->sheet && strcmp(o->sheet, "-") != 0) {
    fprintf(notes, "sheet written to %s\n", o->sheet);
  }
  return cli_finish("job", code);
}

/* What is likely wrong, where that adds something. A job is never the worse for it: NULL. */
static const lw_diagnosis *causes_of(lw_arena *arena, lw_units *units, const lw_work *work) {
  lw_diagnosis *causes = NULL;
  if (!lw_causes_worth(work)) return NULL;
  const lw_card *other = lw_card_other(arena, units, NULL, work->card);
  if (lw_causes_of(arena, units, work, other, &causes, NULL) != LW_OK) return NULL;
  return causes;
}

static int run(const job_options *o, lw_arena *arena, lw_units *units) {
  static const char *const sheets[] = {"%PDF-", NULL};
  lw_error error = {0};
  lw_case given = {0};
  const lw_work *work = NULL;
  lw_status status = o->sheet ? lw_file_replaceable(o->sheet, sheets, &error) : LW_OK;
  if (status == LW_OK) status = lw_case_read(arena, units, o->file, &given, &error);
  if (status == LW_OK) {
    status = lw_job_work(arena, given.job, given.card, given.fitted, &work, &error);
  }
  if (status != LW_OK) return cli_fail("job", &error);
  lw_work with = *work;
  with.causes = causes_of(arena, units, work);
  return finish(o, &given, &with);
}

static int read_options(int argc, char **argv, job_options *o) {
  static const struct option options[] = {{"sheet", required_argument, NULL, 's'},
                                          {"paper", required_argument, NULL, 'p'},
                                          {"json", no_argument, NULL, 'j'},
                                          {"store", required_argument, NULL, 'S'},
                                          {"no-store", no_argument, NULL, 'n'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    switch (c) {
    case 's': o->sheet = optarg; break;
    case 'p': o->paper = optarg; break;
    case 'j': o->json = true; break;
    case 'S': o->store = optarg; break;
    case 'n': o->keep = false; break;
    case 'h': fputs(usage, stdout); return cli_finish("job", CLI_DONE);
    default: return cli_usage("job", "'%s' is not an option, or lacks its value", argv[optind - 1]);
    }
  }
  if (optind + 1 != argc) return cli_usage("job", "one job file was expected");
  if (!lw_text_same(o->paper, "A4") && !lw_text_same(o->paper, "Letter")) {
    return cli_usage("job", "'%s' is not a paper size; use A4 or Letter", o->paper);
  }
  bool both = o->json && o->sheet && strcmp(o->sheet, "-") == 0;
  if (both) return cli_usage("job", "--json and --sheet - both want standard output");
  o->file = argv[optind];
  return -1;
}

int cmd_job(int argc, char **argv) {
  job_options o = {.paper = "A4", .keep = true};
  int code = read_options(argc, argv, &o);
  if (code >= 0) return code;
  lw_error error = {0};
  lw_units *units = NULL;
  lw_arena *arena = lw_arena_new(0);
  if (!arena) lw_fail(&error, LW_NO_MEMORY, "no memory");
  bool ready = arena && lw_units_open(&units, &error) == LW_OK;
  code = ready ? run(&o, arena, units) : cli_fail("job", &error);
  lw_units_close(units);
  lw_arena_free(arena);
  return code;
}
