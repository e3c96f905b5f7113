/* store_import.c - exported runs back into a store, all of them or none.
**
** Both forms become the same row of columns. What follows from the job's source is made anew from
** it, never believed: a row whose `plate` is not that of its own source was edited by hand in the
** wrong place, and is refused rather than half taken.
*/
#include "store.h"

#include "csv_scan.h"

#include <ctype.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

enum { RUN_MOST = 1000000000 };

typedef struct importer {
  lw_store *store;
  lw_units *units;
  const char *file;
  int line; /* of the run at hand */
  int64_t added, present;
  lw_error *error;
} importer;

static lw_status refuse(importer *in, int line, const char *field, const char *text) {
  lw_error_place(in->error, in->file, line, field);
  return lw_fail(in->error, LW_BAD_INPUT, "%s", text);
}

static lw_status no_memory(importer *in) {
  lw_error_place(in->error, in->file, in->line, NULL);
  return lw_fail(in->error, LW_NO_MEMORY, "no memory to import this");
}

static lw_status unknown_name(importer *in, int line, const char *what, const char *name) {
  const char *near = lw_text_nearest(name, store_column_names, STORE_COLUMN_COUNT);
  lw_error_place(in->error, in->file, line, NULL);
  return lw_fail(in->error, LW_BAD_INPUT, "'%.60s' is no %s of an exported run%s%s%s", name, what,
                 near ? "; did you mean '" : "", near ? near : "", near ? "'?" : "");
}

/* -1 when there is no such column. */
static int column_of(const char *name) {
  for (int i = 0; i < STORE_COLUMN_COUNT; i++) {
    if (strcmp(store_column_names[i], name) == 0) return i;
  }
  return -1;
}

/* ---- one run, whatever the form ---- */

static int two_digits(const char *at) {
  return 10 * (at[0] - '0') + (at[1] - '0');
}

/* YYYY-MM-DDTHH:MM:SS.mmmZ with believable figures: times are compared as text. */
static bool is_time(store_text t) {
  static const char shape[] = "0000-10-30T20:50:50.000Z";
  if (t.length != sizeof shape - 1) return false;
  for (size_t i = 0; i < t.length; i++) {
    bool digit = isdigit((unsigned char)shape[i]) != 0;
    if (digit ? !isdigit((unsigned char)t.text[i]) : t.text[i] != shape[i]) return false;
  }
  int month = two_digits(t.text + 5), day = two_digits(t.text + 8);
  return month >= 1 && month <= 12 && day >= 1 && day <= 31 && two_digits(t.text + 11) <= 23 &&
         two_digits(t.text + 14) <= 59 && two_digits(t.text + 17) <= 60;
}

static bool is_verdict(const char *text) {
  for (int v = LW_NO_VERDICT; v <= LW_TOO_CLOSE; v++) {
    if (strcmp(text, lw_verdict_text((lw_verdict)v)) == 0) return true;
  }
  return false;
}

/* A run number, 0 when none is given, -1 when it is none. */
static int64_t run_number(store_text text) {
  if (!text.length) return 0;
  if (text.length > 10) return -1;
  int64_t number = 0;
  for (size_t i = 0; i < text.length; i++) {
    if (!isdigit((unsigned char)text.text[i])) return -1;
    number = number * 10 + (text.text[i] - '0');
  }
  return number >= 1 && number <= RUN_MOST ? number : -1;
}

static lw_status check_texts(importer *in, const store_text *row) {
  for (int i = 0; i < STORE_COLUMN_COUNT; i++) {
    bool needed = store_column_kinds[i] == STORE_TEXT || store_column_kinds[i] == STORE_RESULT;
    if (needed && !row[i].length) {
      return refuse(in, in->line, store_column_names[i], "it is missing or empty");
    }
    if (row[i].text && !lw_text_utf8(row[i].text, row[i].length, NULL)) {
      return refuse(in, in->line, store_column_names[i], "it is not UTF-8 text");
    }
  }
  return LW_OK;
}

static lw_status check_values(importer *in, const store_text *row) {
  if (run_number(row[STORE_RUN_COLUMN]) < 0) {
    return refuse(in, in->line, "run", "a whole number from 1 to 1,000,000,000 was expected");
  }
  if (!is_time(row[STORE_SAVED_AT_COLUMN])) {
    return refuse(in, in->line, "saved_at",
                  "a time in UTC was expected, as in 2026-11-20T09:14:03.512Z");
  }
  if (!is_verdict(row[STORE_VERDICT_COLUMN].text)) {
    return refuse(in, in->line, "verdict",
                  "'within', 'outside', 'too close to call' or 'no verdict' was expected");
  }
  if (!row[STORE_CARD_FILE_COLUMN].length != !row[STORE_CARD_SOURCE_COLUMN].length) {
    return refuse(in, in->line, "card_file", "a card needs both its file's name and its source");
  }
  if (!row[STORE_FITTED_FILE_COLUMN].length != !row[STORE_FITTED_SOURCE_COLUMN].length) {
    return refuse(in, in->line, "fitted_file", "a card needs both its file's name and its source");
  }
  return LW_OK;
}

/* The stored form of a result: one line, as saving writes it. */
static lw_status settle_result(importer *in, lw_arena *arena, store_text *result) {
  json_error_t at;
  json_t *json = json_loadb(result->text, result->length, JSON_REJECT_DUPLICATES, &at);
  if (!json_is_object(json)) {
    json_decref(json);
    return refuse(in, in->line, "result", "a JSON object was expected");
  }
  char *text = json_dumps(json, JSON_COMPACT);
  json_decref(json);
  const char *copy = text ? lw_arena_copy(arena, text, strlen(text)) : NULL;
  free(text);
  if (!copy) return no_memory(in);
  *result = (store_text){copy, strlen(copy)};
  return LW_OK;
}

static lw_status check_derived(importer *in, const store_text *row, const store_words *words) {
  char count[24];
  snprintf(count, sizeof count, "%zu", words->readings);
  const struct {
    store_column column;
    const char *made;
  } pairs[] = {
      {STORE_JOB_COLUMN, words->job},
      {STORE_DATE_COLUMN, words->date},
      {STORE_CAR_COLUMN, words->car},
      {STORE_PLATE_COLUMN, words->plate},
      {STORE_TECHNICIAN_COLUMN, words->technician},
      {STORE_SHOP_COLUMN, words->shop},
      {STORE_CUSTOMER_COLUMN, words->customer},
      {STORE_COMPLAINT_COLUMN, words->complaint},
      {STORE_NOTES_COLUMN, words->notes},
      {STORE_READINGS_COLUMN, count},
  };
  for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
    const store_text *given = &row[pairs[i].column];
    if (!given->text || strcmp(given->text, pairs[i].made) == 0) continue;
    lw_error_place(in->error, in->file, in->line, store_column_names[pairs[i].column]);
    return lw_fail(in->error, LW_BAD_INPUT,
                   "'%.60s' is not what the run's job_source says ('%.60s'); change it there, or "
                   "leave this as it was exported",
                   given->text, pairs[i].made);
  }
  return LW_OK;
}

/* The job of a run, read from its source; an error in it is placed at the run. */
static lw_status read_job(importer *in, lw_arena *arena, const store_text *row, lw_job **job) {
  const store_text *source = &row[STORE_JOB_SOURCE_COLUMN];
  const lw_bind bind = {arena, in->units, row[STORE_JOB_FILE_COLUMN].text};
  lw_error inner = {0};
  lw_status status = lw_job_read(&bind, source->text, source->length, job, &inner);
  if (status == LW_OK) return LW_OK;
  inner.file[0] = '\0';
  char line[600];
  lw_error_place(in->error, in->file, in->line, "job_source");
  return lw_fail(in->error, status, "%.380s", lw_error_line(&inner, line, sizeof line));
}

/* Does a statement with these texts bound from 1 on find a row? */
static int finds(sqlite3 *db, const char *sql, const store_text *texts, int count, bool *found) {
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(db, sql, -1, &s, NULL);
  for (int i = 0; code == SQLITE_OK && i < count; i++) {
    if (!texts[i].length) continue;
    code =
        sqlite3_bind_text64(s, i + 1, texts[i].text, texts[i].length, SQLITE_STATIC, SQLITE_UTF8);
  }
  if (code == SQLITE_OK) code = sqlite3_step(s);
  *found = code == SQLITE_ROW;
  sqlite3_finalize(s);
  return code == SQLITE_ROW || code == SQLITE_DONE ? SQLITE_OK : code;
}

static int is_present(sqlite3 *db, const store_text *row, bool *present) {
  const store_text content[] = {row[STORE_SAVED_AT_COLUMN], row[STORE_JOB_SOURCE_COLUMN],
                                row[STORE_CARD_SOURCE_COLUMN], row[STORE_FITTED_SOURCE_COLUMN],
                                row[STORE_RESULT_COLUMN]};
  return finds(db,
               "SELECT 1 FROM run WHERE saved_at = ?1 AND job_source = ?2 AND card_source IS ?3"
               " AND fitted_source IS ?4 AND result = ?5",
               content, 5, present);
}

/* A source that is empty is one that is missing. */
static store_text or_null(store_text text) {
  return text.length ? text : (store_text){NULL, 0};
}

static int add_run(importer *in, const store_text *row, const lw_job *job,
                   const store_words *words) {
  sqlite3 *db = in->store->db;
  bool present = false, taken = false;
  int code = is_present(db, row, &present);
  if (code != SQLITE_OK || present) {
    in->present += present;
    return code;
  }
  code = finds(db, "SELECT 1 FROM run WHERE id = CAST(?1 AS INTEGER)", &row[STORE_RUN_COLUMN], 1,
               &taken);
  if (code != SQLITE_OK) return code;
  const store_entry entry = {
      .run = taken ? 0 : run_number(row[STORE_RUN_COLUMN]),
      .saved_at = row[STORE_SAVED_AT_COLUMN],
      .program = row[STORE_PROGRAM_COLUMN],
      .verdict = row[STORE_VERDICT_COLUMN],
      .result = row[STORE_RESULT_COLUMN],
      .job_file = row[STORE_JOB_FILE_COLUMN],
      .job_source = row[STORE_JOB_SOURCE_COLUMN],
      .card_file = or_null(row[STORE_CARD_FILE_COLUMN]),
      .card_source = or_null(row[STORE_CARD_SOURCE_COLUMN]),
      .fitted_file = or_null(row[STORE_FITTED_FILE_COLUMN]),
      .fitted_source = or_null(row[STORE_FITTED_SOURCE_COLUMN]),
      .job = job,
  };
  int64_t run = 0;
  code = store_insert(db, &entry, words, &run);
  in->added += code == SQLITE_OK;
  return code;
}

static lw_status import_row(importer *in, lw_arena *arena, store_text *row) {
  lw_job *job = NULL;
  store_words words;
  lw_status status = check_texts(in, row);
  if (status == LW_OK) status = check_values(in, row);
  if (status == LW_OK) status = settle_result(in, arena, &row[STORE_RESULT_COLUMN]);
  if (status == LW_OK) status = read_job(in, arena, row, &job);
  if (status == LW_OK) status = store_words_of(arena, job, &words, in->error);
  if (status == LW_OK) status = check_derived(in, row, &words);
  if (status != LW_OK) return status;
  if (add_run(in, row, job, &words) == SQLITE_OK) return LW_OK;
  return store_fail(in->store->db, in->store->path, "nothing was imported", in->error);
}

/* ---- JSON ---- */

/* The line on which element `index` of the only list at the top of a JSON object starts. text has
   been parsed before, so that only strings and brackets need to be told apart. */
static int element_line(const char *text, size_t length, size_t index) {
  int line = 1, depth = 0;
  size_t at = 0;
  bool in_string = false, in_list = false, waiting = false;
  for (size_t i = 0; i < length; i++) {
    char c = text[i];
    if (c == '\n') line++;
    if (in_string) {
      if (c == '\\') i++;
      in_string = c != '"';
      continue;
    }
    if (waiting && !strchr(" \t\r\n,", c)) {
      if (at == index) return line;
      waiting = false;
    }
    in_string = c == '"';
    if (c == '[' && depth == 1) in_list = waiting = true;
    if (c == ',' && depth == 2 && in_list) {
      at++;
      waiting = true;
    }
    depth += c == '{' || c == '[';
    depth -= c == '}' || c == ']';
    if (depth == 1 && c == ']') in_list = false;
  }
  return line;
}

static lw_status json_value(importer *in, lw_arena *arena, int column, json_t *value,
                            store_text *out) {
  store_column_kind kind = store_column_kinds[column];
  const char *name = store_column_names[column];
  const char *copy = NULL;
  size_t length = 0;
  if (json_is_null(value)) return LW_OK;
  if (kind == STORE_NUMBER || kind == STORE_DERIVED_NUMBER) {
    if (!json_is_integer(value)) return refuse(in, in->line, name, "a whole number was expected");
    copy = lw_arena_print(arena, "%lld", (long long)json_integer_value(value));
    length = copy ? strlen(copy) : 0;
  } else if (kind == STORE_RESULT) {
    if (!json_is_object(value)) return refuse(in, in->line, name, "an object was expected");
    char *text = json_dumps(value, JSON_COMPACT);
    length = text ? strlen(text) : 0;
    copy = text ? lw_arena_copy(arena, text, length) : NULL;
    free(text);
  } else {
    if (!json_is_string(value)) return refuse(in, in->line, name, "a text was expected");
    length = json_string_length(value);
    copy = lw_arena_copy(arena, json_string_value(value), length);
  }
  if (!copy) return no_memory(in);
  *out = (store_text){copy, length};
  return LW_OK;
}

static lw_status json_run(importer *in, lw_arena *arena, json_t *run) {
  if (!json_is_object(run)) return refuse(in, in->line, "runs", "an object was expected");
  store_text row[STORE_COLUMN_COUNT] = {{NULL, 0}};
  const char *key;
  json_t *value;
  json_object_foreach(run, key, value) {
    int column = column_of(key);
    if (column < 0) return unknown_name(in, in->line, "key", key);
    lw_status status = json_value(in, arena, column, value, &row[column]);
    if (status != LW_OK) return status;
  }
  return import_row(in, arena, row);
}

static lw_status check_json_head(importer *in, json_t *root) {
  const char *format = json_string_value(json_object_get(root, "format"));
  json_t *version = json_object_get(root, "version");
  if (!format || strcmp(format, STORE_EXPORT_MARK) != 0 || !json_is_integer(version)) {
    return refuse(in, 1, NULL,
                  "this is no export of Leanward; `leanward jobs --export FILE.json` writes one");
  }
  if (json_integer_value(version) != STORE_EXPORT_VERSION) {
    return refuse(in, 1, "version", "this export is of another version than this program reads");
  }
  const char *key;
  json_t *value;
  json_object_foreach(root, key, value) {
    if (strcmp(key, "format") != 0 && strcmp(key, "version") != 0 && strcmp(key, "runs") != 0) {
      return unknown_name(in, 1, "key", key);
    }
  }
  if (json_is_array(json_object_get(root, "runs"))) return LW_OK;
  return refuse(in, 1, "runs", "a list of runs was expected");
}

static lw_status import_json(importer *in, const char *text, size_t length) {
  json_error_t at;
  json_t *root = json_loadb(text, length, JSON_REJECT_DUPLICATES, &at);
  if (!root) {
    lw_error_place(in->error, in->file, at.line, NULL);
    return lw_fail(in->error, LW_BAD_INPUT, "this does not read as JSON (%.150s)", at.text);
  }
  lw_status status = check_json_head(in, root);
  json_t *runs = json_object_get(root, "runs");
  for (size_t i = 0; status == LW_OK && i < json_array_size(runs); i++) {
    lw_arena *arena = lw_arena_new(0);
    in->line = 0;
    status = arena ? json_run(in, arena, json_array_get(runs, i)) : no_memory(in);
    if (status == LW_BAD_INPUT || status == LW_TOO_LARGE) {
      lw_error_place(in->error, in->file, element_line(text, length, i), NULL);
    }
    lw_arena_free(arena);
  }
  json_decref(root);
  return status;
}

/* ---- CSV ---- */

typedef struct csv_text {
  const char *at, *end;
  int line;
} csv_text;

static store_text plain_cell(lw_arena *arena, lw_csv_cell cell) {
  char *copy = lw_arena_alloc(arena, cell.length + 1);
  if (!copy) return (store_text){NULL, 0};
  size_t length = lw_csv_plain(cell, copy, cell.length + 1);
  bool guarded = length >= 2 && copy[0] == '\'' && store_csv_guarded(copy[1]);
  return (store_text){copy + guarded, length - guarded};
}

/* The cells of the next row; in->line gets its first line. */
static lw_status next_row(importer *in, csv_text *csv, lw_arena *arena, store_text *cells,
                          size_t *count) {
  const char *begin = csv->at, *stop = csv->end;
  in->line = csv->line;
  lw_csv_found found = lw_csv_row(begin, csv->end, true, &stop);
  if (found == LW_CSV_OPEN_QUOTE) {
    return refuse(in, in->line, NULL, "a quoted cell of the row that starts here is never closed");
  }
  if (found != LW_CSV_ROW) {
    return refuse(in, in->line, NULL,
                  "text follows a closing quote in the row that starts here; a comma was expected");
  }
  for (const char *c = begin; c < stop; c++)
    csv->line += *c == '\n';
  csv->line++;
  csv->at = stop < csv->end ? stop + 1 : stop;
  if (stop > begin && stop[-1] == '\r') stop--;
  *count = 0;
  for (const char *p = begin; p;) {
    lw_csv_cell cell = lw_csv_next(&p, stop);
    if (*count == STORE_COLUMN_COUNT) {
      return refuse(in, in->line, NULL, "the row has more cells than an exported run has columns");
    }
    cells[*count] = plain_cell(arena, cell);
    if (!cells[(*count)++].text) return no_memory(in);
  }
  return LW_OK;
}

static lw_status csv_header(importer *in, csv_text *csv, int *columns, size_t *count) {
  store_text cells[STORE_COLUMN_COUNT];
  bool seen[STORE_COLUMN_COUNT] = {false};
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return no_memory(in);
  lw_status status = next_row(in, csv, arena, cells, count);
  for (size_t i = 0; status == LW_OK && i < *count; i++) {
    columns[i] = column_of(cells[i].text);
    if (columns[i] < 0) {
      status = unknown_name(in, in->line, "column", cells[i].text);
    } else if (seen[columns[i]]) {
      status = refuse(in, in->line, cells[i].text, "this column stands twice");
    } else {
      seen[columns[i]] = true;
    }
  }
  for (int i = 0; status == LW_OK && i < STORE_COLUMN_COUNT; i++) {
    bool needed = store_column_kinds[i] == STORE_TEXT || store_column_kinds[i] == STORE_RESULT;
    if (needed && !seen[i]) {
      status =
          refuse(in, in->line, store_column_names[i], "this column is missing from the header");
    }
  }
  lw_arena_free(arena);
  return status;
}

static lw_status csv_run(importer *in, csv_text *csv, lw_arena *arena, const int *columns,
                         size_t width) {
  store_text cells[STORE_COLUMN_COUNT], row[STORE_COLUMN_COUNT] = {{NULL, 0}};
  size_t count = 0;
  lw_status status = next_row(in, csv, arena, cells, &count);
  if (status != LW_OK) return status;
  if (count == 1 && !cells[0].length) return LW_OK; /* an empty line */
  if (count != width) {
    lw_error_place(in->error, in->file, in->line, NULL);
    return lw_fail(in->error, LW_BAD_INPUT, "the row has %zu cells and the header has %zu", count,
                   width);
  }
  for (size_t i = 0; i < count; i++)
    row[columns[i]] = cells[i];
  return import_row(in, arena, row);
}

static lw_status import_csv(importer *in, const char *text, size_t length) {
  csv_text csv = {text, text + length, 1};
  /* spreadsheets put a byte order mark in front */
  if (length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0) csv.at += 3;
  int columns[STORE_COLUMN_COUNT];
  size_t width = 0;
  lw_status status = csv_header(in, &csv, columns, &width);
  while (status == LW_OK && csv.at < csv.end) {
    lw_arena *arena = lw_arena_new(0);
    status = arena ? csv_run(in, &csv, arena, columns, width) : no_memory(in);
    lw_arena_free(arena);
  }
  return status;
}

/* ---- both ---- */

static lw_status import_inside(importer *in, lw_export_form form, const char *text, size_t length) {
  sqlite3 *db = in->store->db;
  const char *nothing = "nothing was imported";
  if (store_run_sql(db, "BEGIN IMMEDIATE") != SQLITE_OK) {
    return store_fail(db, in->store->path, nothing, in->error);
  }
  lw_status status =
      form == LW_EXPORT_JSON ? import_json(in, text, length) : import_csv(in, text, length);
  if (status == LW_OK && store_run_sql(db, "COMMIT") != SQLITE_OK) {
    status = store_fail(db, in->store->path, nothing, in->error);
  }
  if (status != LW_OK && !sqlite3_get_autocommit(db)) store_run_sql(db, "ROLLBACK");
  return status;
}

lw_status lw_store_import(lw_store *store, lw_export_form form, const char *file, const char *text,
                          size_t length, int64_t *added, int64_t *present, lw_error *error) {
  importer in = {.store = store, .file = file, .error = error};
  if (form == LW_EXPORT_READINGS_CSV) {
    return refuse(&in, 0, NULL,
                  "readings are an extract and cannot be imported; import an export of the runs");
  }
  lw_status status = lw_units_open(&in.units, error);
  if (status != LW_OK) return status;
  status = import_inside(&in, form, text, length);
  lw_units_close(in.units);
  if (status != LW_OK) return status;
  *added = in.added;
  *present = in.present;
  return LW_OK;
}
