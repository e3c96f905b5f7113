/* cmd_brief.c - `leanward brief`: what changed between two units or two model years. */
#include "cli.h"
#include "print_brief.h"

#include "leanward/brief_page.h"

#include <getopt.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char usage[] =
    "Usage: leanward brief [OPTION]... CARD_A CARD_B\n"
    "       leanward brief [OPTION]... FOLDER_A FOLDER_B\n"
    "What changed from one unit to another, or from one model year to the next: what to\n"
    "do now and no longer do, how much it is on the twin, what the screws reach before\n"
    "and after, the mixture over the range, and what does not interchange. Of folders,\n"
    "every .yaml in them is a card.\n\n"
    "  --html OUT    write it as one page for a browser or a printer\n"
    "  --pdf OUT     write it as a sheet\n"
    "  --paper SIZE  of the sheet: A4 (the default) or Letter\n"
    "  --json        print it as JSON (docs/brief.md)\n"
    "  --help        this text\n\n"
    "Exit status: 0 done; 1 done, but the twin of some card could not be run; 2 could not.\n";

enum { ARENA_BYTES = 1 << 30 };

typedef struct request {
  const char *html, *pdf, *paper;
  bool json;
} request;

typedef struct work {
  lw_arena *arena;
  lw_units *units;
  lw_error error;
} work;

static bool is_folder(const char *path) {
  struct stat info;
  return stat(path, &info) == 0 && S_ISDIR(info.st_mode);
}

/* ---- answering ---- */

static lw_status write_files(work *w, const request *r, const lw_brief_document *document) {
  lw_status status = LW_OK;
  if (r->html) status = lw_brief_page_write(document, r->html, &w->error);
  if (status == LW_OK && r->pdf)
    status = lw_brief_sheet_write(document, r->pdf, r->paper, &w->error);
  return status;
}

static bool complete(const lw_brief *b) {
  return b->reach[0].run && b->reach[1].run;
}

static int code_of(const lw_brief_document *document) {
  if (document->pair) return complete(document->pair) ? CLI_DONE : CLI_OUTSIDE;
  const lw_brief_year *y = document->year;
  for (size_t k = 0; y && k < y->unit_count; k++) {
    if (!complete(y->units[k])) return CLI_OUTSIDE;
  }
  return CLI_DONE;
}

static int answer(work *w, const request *r, const lw_brief_document *document) {
  if (write_files(w, r, document) != LW_OK) return cli_fail("brief", &w->error);
  if (r->json) {
    json_t *json = lw_brief_json(document);
    if (!json) lw_fail(&w->error, LW_NO_MEMORY, "no memory for the result");
    if (!json) return cli_fail("brief", &w->error);
    json_dumpf(json, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(9));
    putchar('\n');
    json_decref(json);
  } else if (!r->html && !r->pdf) {
    if (document->pair) {
      print_brief(document->pair);
    } else {
      print_brief_year(document->year);
    }
  }
  return cli_finish("brief", code_of(document));
}

static int brief_pair(work *w, const request *r, char **path) {
  lw_brief_side side[2];
  lw_brief *pair = NULL;
  lw_status status = lw_brief_side_read(w->arena, w->units, path[0], NULL, &side[0], &w->error);
  if (status == LW_OK)
    status = lw_brief_side_read(w->arena, w->units, path[1], NULL, &side[1], &w->error);
  if (status == LW_OK)
    status = lw_brief_pair(w->arena, w->units, side[0], side[1], &pair, &w->error);
  if (status != LW_OK) return cli_fail("brief", &w->error);
  return answer(w, r, &(lw_brief_document){.pair = pair});
}

/* One line, written over and taken away at the end. */
static void watch(void *to, size_t done, size_t all) {
  (void)to;
  if (done < all) {
    fprintf(stderr, "\r%zu of %zu units", done, all);
  } else {
    fprintf(stderr, "\r%*s\r", 30, "");
  }
  fflush(stderr);
}

static int brief_year(work *w, const request *r, char **path) {
  lw_brief_years_ask ask = {.progress = isatty(STDERR_FILENO) ? watch : NULL};
  lw_brief_year *year = NULL;
  lw_status status = lw_brief_folder_read(w->arena, w->units, path[0], NULL, &ask.before,
                                          &ask.before_count, &w->error);
  if (status == LW_OK)
    status = lw_brief_folder_read(w->arena, w->units, path[1], NULL, &ask.after, &ask.after_count,
                                  &w->error);
  if (status == LW_OK) status = lw_brief_years(w->arena, w->units, &ask, &year, &w->error);
  if (status != LW_OK) return cli_fail("brief", &w->error);
  return answer(w, r, &(lw_brief_document){.year = year});
}

/* ---- the command ---- */

/* Refuse before the twin is run what could not be written after. */
static lw_status replaceable(const request *r, lw_error *error) {
  static const char *const pages[] = {LW_BRIEF_PAGE_BEGIN, NULL}, *const sheets[] = {"%PDF-", NULL};
  lw_status status = r->html ? lw_file_replaceable(r->html, pages, error) : LW_OK;
  if (status == LW_OK && r->pdf) status = lw_file_replaceable(r->pdf, sheets, error);
  return status;
}

static int run(const request *r, char **path) {
  work w = {.arena = lw_arena_new(ARENA_BYTES)};
  int code = CLI_COULD_NOT;
  bool folders = is_folder(path[0]);
  if (!w.arena) {
    lw_fail(&w.error, LW_NO_MEMORY, "no memory");
    code = cli_fail("brief", &w.error);
  } else if (replaceable(r, &w.error) != LW_OK || lw_units_open(&w.units, &w.error) != LW_OK) {
    code = cli_fail("brief", &w.error);
  } else {
    code = folders ? brief_year(&w, r, path) : brief_pair(&w, r, path);
  }
  lw_units_close(w.units);
  lw_arena_free(w.arena);
  return code;
}

static bool take(request *r, int c, const char *value) {
  switch (c) {
  case 'H': r->html = value; return true;
  case 'P': r->pdf = value; return true;
  case 'p': r->paper = value; return true;
  case 'j': return r->json = true;
  default: return false;
  }
}

static const char *conflict(const request *r) {
  int count = r->json;
  count += r->html && strcmp(r->html, "-") == 0;
  count += r->pdf && strcmp(r->pdf, "-") == 0;
  return count > 1 ? "only one of --html, --json and --pdf can go to standard output" : NULL;
}

int cmd_brief(int argc, char **argv) {
  static const struct option options[] = {
      {"html", required_argument, NULL, 'H'},  {"pdf", required_argument, NULL, 'P'},
      {"paper", required_argument, NULL, 'p'}, {"json", no_argument, NULL, 'j'},
      {"help", no_argument, NULL, 'h'},        {0}};
  request r = {.paper = "A4"};
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      return cli_finish("brief", CLI_DONE);
    }
    if (!take(&r, c, optarg))
      return cli_usage("brief", "'%s' is not an option, or lacks its value", argv[optind - 1]);
  }
  if (optind + 2 != argc) return cli_usage("brief", "two cards or two folders were expected");
  if (!lw_text_same(r.paper, "A4") && !lw_text_same(r.paper, "Letter"))
    return cli_usage("brief", "'%s' is not a paper size; use A4 or Letter", r.paper);
  if (conflict(&r)) return cli_usage("brief", "%s", conflict(&r));
  if (is_folder(argv[optind]) != is_folder(argv[optind + 1]))
    return cli_usage("brief", "two cards or two folders were expected, not one of each");
  return run(&r, argv + optind);
}
