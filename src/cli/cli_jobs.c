/* cli_jobs.c - saved jobs as a table that fits the terminal, or as JSON. */
#include "cli_jobs.h"
#include "cli.h"

#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { RUN, JOB, DATE, CAR, VERDICT, SAVED, READINGS, COLUMNS };
enum {
  GAP = 2,
  JOB_MOST = 16,
  JOB_LEAST = 8,
  CAR_WANTED = 14,
  CAR_LEAST = 8,
  DAY_COLUMNS = 10,
  DEFAULT_WIDTH = 80
};

static const char *const titles[COLUMNS] = {"Run",     "Job",         "Date",    "Car",
                                            "Verdict", "Saved (UTC)", "Readings"};
static const bool to_the_right[COLUMNS] = {[RUN] = true, [READINGS] = true};

typedef struct line {
  struct line *next;
  const char *cells[COLUMNS];
} line;

typedef struct table {
  lw_arena *arena;
  line *first, *last;
  size_t count;
  size_t widths[COLUMNS];
  bool failed;
} table;

/* ---- taking the rows ---- */

/* A copy without what would move the cursor or color the terminal: C0, DEL, C1. */
static const char *clean(lw_arena *arena, const char *text) {
  char *copy = lw_arena_copy(arena, text, strlen(text));
  for (unsigned char *c = (unsigned char *)copy; c && *c; c++) {
    if (*c < 0x20 || *c == 0x7F) *c = ' ';
    if (*c == 0xC2 && c[1] >= 0x80 && c[1] < 0xA0) c[0] = c[1] = ' ';
  }
  return copy;
}

/* "2026-11-20T09:14:03.512Z" to "2026-11-20 09:14" */
static const char *minute_of(lw_arena *arena, const char *saved_at) {
  char *copy = lw_arena_print(arena, "%.16s", saved_at);
  if (copy && strlen(copy) > DAY_COLUMNS) copy[DAY_COLUMNS] = ' ';
  return copy;
}

static void take_row(void *to, const lw_store_row *row) {
  table *t = to;
  line *l = lw_arena_alloc(t->arena, sizeof *l);
  if (!l) {
    t->failed = true;
    return;
  }
  l->cells[RUN] = lw_arena_print(t->arena, "%lld", (long long)row->run);
  l->cells[JOB] = clean(t->arena, row->job);
  l->cells[DATE] = clean(t->arena, row->date);
  l->cells[CAR] = clean(t->arena, row->car);
  l->cells[VERDICT] = clean(t->arena, row->verdict);
  l->cells[SAVED] = minute_of(t->arena, row->saved_at);
  l->cells[READINGS] = lw_arena_print(t->arena, "%lld", (long long)row->readings);
  for (int i = 0; i < COLUMNS; i++) {
    if (!l->cells[i]) {
      t->failed = true;
      return;
    }
    size_t width = lw_text_columns(l->cells[i]);
    if (width > t->widths[i]) t->widths[i] = width;
  }
  if (t->last) {
    t->last->next = l;
  } else {
    t->first = l;
  }
  t->last = l;
  t->count++;
}

/* ---- printing them ---- */

static size_t terminal_width(void) {
  const char *said = getenv("COLUMNS");
  long width = said ? strtol(said, NULL, 10) : 0;
  struct winsize size;
  if (width <= 0 && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0) width = size.ws_col;
  return width > 0 && width < 10000 ? (size_t)width : DEFAULT_WIDTH;
}

static size_t room_for_car(const table *t) {
  size_t room = terminal_width(), others = (size_t)GAP * (COLUMNS - 1);
  for (int i = 0; i < COLUMNS; i++)
    others += i == CAR ? 0 : t->widths[i];
  return room > others ? room - others : 0;
}

/* The car takes what the others leave; when that is too little, first the time of day goes, then
   the end of long job numbers. */
static void fit_widths(table *t) {
  for (int i = 0; i < COLUMNS; i++) {
    size_t title = strlen(titles[i]);
    if (t->widths[i] < title) t->widths[i] = title;
  }
  if (t->widths[JOB] > JOB_MOST) t->widths[JOB] = JOB_MOST;
  if (t->widths[DATE] > DAY_COLUMNS) t->widths[DATE] = DAY_COLUMNS;
  size_t wanted = t->widths[CAR] < CAR_WANTED ? t->widths[CAR] : CAR_WANTED;
  if (room_for_car(t) < wanted) t->widths[SAVED] = strlen(titles[SAVED]);
  while (room_for_car(t) < wanted && t->widths[JOB] > JOB_LEAST)
    t->widths[JOB]--;
  size_t room = room_for_car(t);
  if (room < CAR_LEAST) room = CAR_LEAST;
  if (t->widths[CAR] > room) t->widths[CAR] = room;
}

/* Bytes of the first columns letters of a UTF-8 text. */
static size_t bytes_of(const char *text, size_t columns) {
  size_t i = 0;
  while (text[i] && columns) {
    i++;
    while (((unsigned char)text[i] & 0xC0) == 0x80)
      i++;
    columns--;
  }
  return i;
}

static void spaces(size_t count) {
  printf("%*s", (int)count, "");
}

static void cell(const char *text, int column, size_t width, cli_style style) {
  size_t columns = lw_text_columns(text);
  bool cut = columns > width;
  bool day_only = column == SAVED && cut;
  char buffer[512];
  if (cut) {
    size_t keep = day_only ? DAY_COLUMNS : width - 1;
    snprintf(buffer, sizeof buffer, "%.*s%s", (int)bytes_of(text, keep), text,
             day_only ? "" : "\xE2\x80\xA6");
    text = buffer;
    columns = lw_text_columns(text);
  }
  size_t pad = width > columns ? width - columns : 0;
  if (to_the_right[column]) spaces(pad);
  cli_styled(stdout, style, text);
  if (!to_the_right[column] && column != COLUMNS - 1) spaces(pad);
}

static cli_style verdict_style(const char *verdict) {
  if (strcmp(verdict, lw_verdict_text(LW_WITHIN)) == 0) return CLI_GOOD;
  if (strcmp(verdict, lw_verdict_text(LW_OUTSIDE)) == 0) return CLI_BAD;
  return strcmp(verdict, lw_verdict_text(LW_TOO_CLOSE)) == 0 ? CLI_DOUBT : CLI_FAINT;
}

static void print_line(const table *t, const char *const *cells, bool head) {
  for (int i = 0; i < COLUMNS; i++) {
    cli_style style = head ? CLI_STRONG : i == VERDICT ? verdict_style(cells[i]) : CLI_PLAIN;
    if (i) spaces(GAP);
    cell(cells[i], i, t->widths[i], style);
  }
  putchar('\n');
}

static void print_table(table *t, const char *path, bool searched, bool every_run) {
  const char *one = every_run ? "run" : "job";
  if (!t->count) {
    printf(searched ? "No %s in %s holds all of these words.\n" : "There is no %s in %s yet.\n",
           one, path);
    return;
  }
  fit_widths(t);
  print_line(t, titles, true);
  for (const line *l = t->first; l; l = l->next)
    print_line(t, l->cells, false);
  printf("\n%zu %s%s in %s\n", t->count, one, t->count == 1 ? "" : "s", path);
}

/* ---- JSON ---- */

typedef struct json_rows {
  json_t *runs;
  bool failed;
} json_rows;

static void take_json(void *to, const lw_store_row *row) {
  json_rows *rows = to;
  json_t *object =
      json_pack("{sI ss ss ss ss ss ss ss ss sI}", "run", (json_int_t)row->run, "saved_at",
                row->saved_at, "job", row->job, "date", row->date, "car", row->car, "plate",
                row->plate, "technician", row->technician, "complaint", row->complaint, "verdict",
                row->verdict, "readings", (json_int_t)row->readings);
  if (json_array_append_new(rows->runs, object) != 0) rows->failed = true;
}

static int no_memory(void) {
  lw_error error = {0};
  lw_fail(&error, LW_NO_MEMORY, "no memory for this list");
  return cli_fail("jobs", &error);
}

static int list_json(lw_store *store, const char *path, const char *search, bool every_run) {
  json_rows rows = {json_array(), false};
  lw_error error = {0};
  lw_status status =
      store ? lw_store_list(store, search, every_run, take_json, &rows, &error) : LW_OK;
  json_t *object = json_pack("{ss so}", "store", path, "runs", rows.runs);
  int code = CLI_DONE;
  if (status != LW_OK) {
    code = cli_fail("jobs", &error);
  } else if (!object || rows.failed) {
    code = no_memory();
  } else {
    /* a write that fails shows in cli_finish */
    (void)json_dumpf(object, stdout, JSON_INDENT(2));
    putchar('\n');
  }
  json_decref(object);
  return code;
}

int cli_jobs_list(lw_store *store, const char *path, const char *search, bool every_run,
                  bool as_json) {
  if (as_json) return list_json(store, path, search, every_run);
  table t = {.arena = lw_arena_new((size_t)1 << 30)};
  if (!t.arena) return no_memory();
  lw_error error = {0};
  int code = CLI_DONE;
  if (lw_store_list(store, search, every_run, take_row, &t, &error) != LW_OK) {
    code = cli_fail("jobs", &error);
  } else if (t.failed) {
    code = no_memory();
  } else {
    print_table(&t, path, search != NULL, every_run);
  }
  lw_arena_free(t.arena);
  return code;
}
