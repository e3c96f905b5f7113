/* cmd_jobs.c - `leanward jobs`: what the store holds, and carrying it in and out. */
#include "cli.h"
#include "cli_jobs.h"

#include <errno.h>
#include <getopt.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#define IMPORT_MOST ((size_t)1 << 30)

static const char usage[] =
    "Usage: leanward jobs [OPTION]... [WORD]...\n"
    "List the saved jobs, newest first. With WORDs, only jobs in which every WORD stands\n"
    "somewhere: number, date, car, plate, technician, shop, customer, complaint, notes.\n"
    "\n"
    "  --every-run        list every saved run of a job, not only the newest\n"
    "  --json             write the list (or the run, or the counts) as JSON\n"
    "  --show RUN         print the job file of a run as it was saved;\n"
    "                       with --json, print its result\n"
    "  --export FILE      write every run to FILE.json or FILE.csv; either can be imported\n"
    "  --form FORM        json or csv, for an --export whose name does not say\n"
    "  --readings FILE    write every reading to FILE as CSV for a spreadsheet, in shop units\n"
    "  --import FILE      add the runs of an exported FILE, all or none; runs that are\n"
    "                       already here are not added twice\n"
    "  --backup FILE      copy the whole store to FILE, also while others use it\n"
    "  --store PATH       use the store at PATH instead of the usual one\n"
    "  --help             show this and stop\n"
    "\n"
    "FILE may be - for standard input or output, except with --backup.\n"
    "The usual store is $LEANWARD_STORE, else leanward/jobs.db in $XDG_DATA_HOME or in\n"
    "~/.local/share.\n"
    "\n"
    "Exit status: 0 done, 2 could not (one line says why).\n";

enum {
  OPT_STORE = 256,
  OPT_EVERY,
  OPT_JSON,
  OPT_SHOW,
  OPT_EXPORT,
  OPT_FORM,
  OPT_READINGS,
  OPT_IMPORT,
  OPT_BACKUP,
  OPT_HELP
};

static const struct option options[] = {
    {"store", required_argument, NULL, OPT_STORE},
    {"every-run", no_argument, NULL, OPT_EVERY},
    {"json", no_argument, NULL, OPT_JSON},
    {"show", required_argument, NULL, OPT_SHOW},
    {"export", required_argument, NULL, OPT_EXPORT},
    {"form", required_argument, NULL, OPT_FORM},
    {"readings", required_argument, NULL, OPT_READINGS},
    {"import", required_argument, NULL, OPT_IMPORT},
    {"backup", required_argument, NULL, OPT_BACKUP},
    {"help", no_argument, NULL, OPT_HELP},
    {NULL, 0, NULL, 0},
};

typedef struct request {
  char store[PATH_MAX];
  bool store_said; /* by option or environment: a store that is not there is then an error */
  bool every_run, json, help;
  int action; /* OPT_SHOW, OPT_EXPORT, ...; 0: list */
  const char *file;
  const char *form;
  int64_t run;
} request;

/* ---- actions ---- */

static int open_store(const request *r, bool read_only, lw_store **store, lw_error *error) {
  return lw_store_open(r->store, read_only, store, error) == LW_OK ? CLI_DONE
                                                                   : cli_fail("jobs", error);
}

static int do_list(const request *r, const char *search) {
  lw_error error = {0};
  lw_store *store = NULL;
  lw_status status = lw_store_open(r->store, true, &store, &error);
  if (status == LW_NOT_FOUND && !r->store_said) {
    if (r->json) return cli_jobs_list(NULL, r->store, search, r->every_run, true);
    printf("No jobs are saved yet; the first one saved makes %s.\n", r->store);
    return CLI_DONE;
  }
  if (status != LW_OK) return cli_fail("jobs", &error);
  int code = cli_jobs_list(store, r->store, search, r->every_run, r->json);
  lw_store_close(store);
  return code;
}

static int do_show(const request *r) {
  lw_error error = {0};
  lw_store *store = NULL;
  int code = open_store(r, true, &store, &error);
  if (code != CLI_DONE) return code;
  lw_arena *arena = lw_arena_new(0);
  lw_store_run run;
  if (!arena) {
    lw_fail(&error, LW_NO_MEMORY, "no memory to show this run");
    code = cli_fail("jobs", &error);
  } else if (lw_store_show(store, r->run, arena, &run, &error) != LW_OK) {
    code = cli_fail("jobs", &error);
  } else if (r->json) {
    printf("%s\n", run.result);
  } else {
    (void)!fwrite(run.job_source, 1, run.job_length, stdout); /* cli_finish looks at stdout */
  }
  lw_arena_free(arena);
  lw_store_close(store);
  return code;
}

/* Nothing is left half written: the file appears when all of it is there. */
static int do_export(const request *r, lw_export_form form) {
  /* only an earlier export is replaced: not the store, a job or a card */
  static const char *const exports[] = {"{\"format\":\"leanward jobs\"", "run,saved_at,program,",
                                        "run,newest run of the job,", NULL};
  lw_error error = {0};
  if (lw_file_replaceable(r->file, exports, &error) != LW_OK) return cli_fail("jobs", &error);
  lw_store *store = NULL;
  lw_draft draft;
  int code = open_store(r, true, &store, &error);
  if (code != CLI_DONE) return code;
  lw_status status = lw_draft_begin(r->file, &draft, &error);
  if (status == LW_OK) {
    status = lw_store_export(store, form, draft.stream, &error);
    if (status == LW_OK) {
      status = lw_draft_finish(&draft, &error);
    } else {
      lw_draft_abandon(&draft);
    }
  }
  lw_store_close(store);
  if (status != LW_OK) return cli_fail("jobs", &error);
  if (strcmp(r->file, "-") != 0) printf("%s written.\n", r->file);
  return CLI_DONE;
}

/* An export in JSON opens with a brace, one in CSV with the name of a column. */
static lw_export_form form_of(const char *text, size_t length) {
  size_t i = 0;
  while (i < length && strchr(" \t\r\n", text[i]))
    i++;
  return i < length && text[i] == '{' ? LW_EXPORT_JSON : LW_EXPORT_CSV;
}

static int import_text(const request *r, const char *text, size_t length) {
  lw_error error = {0};
  lw_store *store = NULL;
  int code = open_store(r, false, &store, &error);
  if (code != CLI_DONE) return code;
  int64_t added = 0, present = 0;
  const char *name = strcmp(r->file, "-") == 0 ? "standard input" : r->file;
  lw_status status =
      lw_store_import(store, form_of(text, length), name, text, length, &added, &present, &error);
  lw_store_close(store);
  if (status != LW_OK) return cli_fail("jobs", &error);
  printf(r->json ? "{\"added\": %lld, \"present\": %lld}\n" : "%lld added, %lld already there.\n",
         (long long)added, (long long)present);
  return CLI_DONE;
}

static int do_import(const request *r) {
  lw_error error = {0};
  const char *text = NULL;
  size_t length = 0;
  lw_arena *arena = lw_arena_new(IMPORT_MOST + 4096);
  int code;
  if (!arena) {
    lw_fail(&error, LW_NO_MEMORY, "no memory to import this");
    code = cli_fail("jobs", &error);
  } else if (lw_file_read(arena, r->file, IMPORT_MOST, &text, &length, &error) != LW_OK) {
    code = cli_fail("jobs", &error);
  } else {
    code = import_text(r, text, length);
  }
  lw_arena_free(arena);
  return code;
}

static int do_backup(const request *r) {
  lw_error error = {0};
  lw_store *store = NULL;
  int code = open_store(r, true, &store, &error);
  if (code != CLI_DONE) return code;
  lw_status status = lw_store_backup(store, r->file, &error);
  lw_store_close(store);
  if (status != LW_OK) return cli_fail("jobs", &error);
  printf("%s is a checked copy of %s.\n", r->file, r->store);
  return CLI_DONE;
}

/* ---- options ---- */

static int set_store(request *r, const char *path) {
  if (!path) {
    const char *environment = getenv("LEANWARD_STORE");
    r->store_said = environment && environment[0];
    lw_store_default_path(r->store, sizeof r->store);
    return CLI_DONE;
  }
  if (strlen(path) >= sizeof r->store) return cli_usage("jobs", "the path of --store is too long");
  r->store_said = true;
  snprintf(r->store, sizeof r->store, "%s", path);
  return CLI_DONE;
}

static int set_run(request *r, const char *text) {
  char *end = NULL;
  errno = 0;
  long long run = strtoll(text, &end, 10);
  if (errno || end == text || *end || run < 1) {
    return cli_usage("jobs", "--show needs the number of a run, as listed; '%.40s' is none", text);
  }
  r->run = run;
  return CLI_DONE;
}

static int set_action(request *r, int action, const char *file) {
  if (r->action) {
    return cli_usage("jobs",
                     "one of --show, --export, --readings, --import and --backup at a time");
  }
  r->action = action;
  r->file = file;
  if (action == OPT_SHOW) return set_run(r, file);
  return file[0] ? CLI_DONE : cli_usage("jobs", "the name of the file is empty");
}

static int read_option(request *r, int option, char **argv) {
  switch (option) {
  case OPT_STORE: return set_store(r, optarg);
  case OPT_EVERY: r->every_run = true; return CLI_DONE;
  case OPT_JSON: r->json = true; return CLI_DONE;
  case OPT_FORM: r->form = optarg; return CLI_DONE;
  case OPT_HELP: r->help = true; return CLI_DONE;
  case ':': return cli_usage("jobs", "%s needs a value", argv[optind - 1]);
  case '?':
    if (optopt) return cli_usage("jobs", "there is no option '-%c'", optopt);
    return cli_usage("jobs", "'%s' is no option here", argv[optind - 1]);
  default: return set_action(r, option, optarg);
  }
}

static bool ends_in(const char *name, const char *end) {
  size_t length = strlen(name), tail = strlen(end);
  return length > tail && lw_text_same(name + length - tail, end);
}

static int export_form(const request *r, lw_export_form *form) {
  if (r->form) {
    if (lw_text_same(r->form, "json")) {
      *form = LW_EXPORT_JSON;
    } else if (lw_text_same(r->form, "csv")) {
      *form = LW_EXPORT_CSV;
    } else {
      return cli_usage("jobs", "--form is json or csv, not '%.40s'", r->form);
    }
  } else if (ends_in(r->file, ".json")) {
    *form = LW_EXPORT_JSON;
  } else if (ends_in(r->file, ".csv")) {
    *form = LW_EXPORT_CSV;
  } else {
    return cli_usage("jobs", "'%.100s' does not end in .json or .csv; say --form json or csv",
                     r->file);
  }
  return CLI_DONE;
}

/* Options that would be ignored are refused: the person meant something by them. */
static int check_request(const request *r, bool words) {
  if (r->action && words) {
    return cli_usage("jobs", "words to look for go with the list, not with another option");
  }
  if (r->action && r->every_run) return cli_usage("jobs", "--every-run goes with the list only");
  if (r->form && r->action != OPT_EXPORT)
    return cli_usage("jobs", "--form goes with --export only");
  if (r->json && r->action && r->action != OPT_SHOW && r->action != OPT_IMPORT) {
    return cli_usage("jobs", "--json goes with the list, --show and --import only");
  }
  if (r->action == OPT_BACKUP && strcmp(r->file, "-") == 0) {
    return cli_usage("jobs", "--backup needs the name of a file");
  }
  return CLI_DONE;
}

static int do_request(const request *r, const char *search) {
  lw_export_form form = LW_EXPORT_READINGS_CSV;
  switch (r->action) {
  case OPT_SHOW: return do_show(r);
  case OPT_READINGS: return do_export(r, form);
  case OPT_IMPORT: return do_import(r);
  case OPT_BACKUP: return do_backup(r);
  case OPT_EXPORT: {
    int code = export_form(r, &form);
    return code == CLI_DONE ? do_export(r, form) : code;
  }
  default: return do_list(r, search);
  }
}

/* The words joined by blanks, malloced; NULL when there are none or no memory. */
static char *joined(int count, char **words) {
  size_t size = 1;
  for (int i = 0; i < count; i++)
    size += strlen(words[i]) + 1;
  char *text = count ? malloc(size) : NULL;
  if (!text) return NULL;
  text[0] = '\0';
  for (int i = 0; i < count; i++)
    lw_text_append(text, size, "%s%s", i ? " " : "", words[i]);
  return text;
}

int cmd_jobs(int argc, char **argv) {
  request r = {.action = 0};
  int code = set_store(&r, NULL);
  opterr = 0;
  optind = 0; /* glibc: start afresh */
  for (int option;
       code == CLI_DONE && (option = getopt_long(argc, argv, ":", options, NULL)) != -1;) {
    code = read_option(&r, option, argv);
  }
  if (code != CLI_DONE) return code;
  if (r.help) {
    fputs(usage, stdout);
    return cli_finish("jobs", CLI_DONE);
  }
  code = check_request(&r, optind < argc);
  if (code != CLI_DONE) return code;
  char *search = joined(argc - optind, argv + optind);
  code = do_request(&r, search);
  free(search);
  return code == CLI_COULD_NOT ? code : cli_finish("jobs", code);
}
