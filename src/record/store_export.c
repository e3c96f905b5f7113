/* store_export.c - everything the store holds, as JSON or CSV, and its readings for a spreadsheet.
**
** One SELECT is one snapshot: runs saved while an export runs are wholly in it or not at all. JSON
** is written run by run, one line each, so that a large store needs the memory of one run.
*/
#include "store.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#define COLUMN_NAME(id, name, kind, sql) name,
#define COLUMN_KIND(id, name, kind, sql) kind,
#define COLUMN_SQL(id, name, kind, sql)  ", " sql
const char *const store_column_names[STORE_COLUMN_COUNT] = {STORE_COLUMN_LIST(COLUMN_NAME)};
const store_column_kind store_column_kinds[STORE_COLUMN_COUNT] = {STORE_COLUMN_LIST(COLUMN_KIND)};

/* Column 0 only opens the list for the commas. */
static const char runs_sql[] = "SELECT 0" STORE_COLUMN_LIST(
    COLUMN_SQL) " FROM run AS r JOIN job AS j ON j.id = r.job ORDER BY r.id";

static store_text cell_text(sqlite3_stmt *s, int column) {
  const char *text = (const char *)sqlite3_column_text(s, column);
  return (store_text){text, text ? (size_t)sqlite3_column_bytes(s, column) : 0};
}

/* ---- CSV ---- */

static void write_cell(FILE *to, store_text cell) {
  bool guard = cell.length && store_csv_guarded(cell.text[0]);
  bool quote = false;
  for (size_t i = 0; i < cell.length && !quote; i++)
    quote = strchr("\",\r\n", cell.text[i]) != NULL;
  if (quote) fputc('"', to);
  if (guard) fputc('\'', to);
  for (size_t i = 0; i < cell.length; i++) {
    if (cell.text[i] == '"') fputc('"', to);
    fputc(cell.text[i], to);
  }
  if (quote) fputc('"', to);
}

static void csv_row(sqlite3_stmt *s, FILE *to) {
  for (int i = 0; i < STORE_COLUMN_COUNT; i++) {
    if (i) fputc(',', to);
    write_cell(to, cell_text(s, i + 1));
  }
  fputs("\r\n", to);
}

static void csv_head(FILE *to) {
  for (int i = 0; i < STORE_COLUMN_COUNT; i++) {
    fprintf(to, "%s%s", i ? "," : "", store_column_names[i]);
  }
  fputs("\r\n", to);
}

/* ---- JSON ---- */

static json_t *json_cell(sqlite3_stmt *s, int column) {
  store_column_kind kind = store_column_kinds[column];
  if (sqlite3_column_type(s, column + 1) == SQLITE_NULL) return json_null();
  if (kind == STORE_NUMBER || kind == STORE_DERIVED_NUMBER) {
    return json_integer(sqlite3_column_int64(s, column + 1));
  }
  store_text text = cell_text(s, column + 1);
  if (!text.text) return NULL;
  if (kind == STORE_RESULT) return json_loadb(text.text, text.length, 0, NULL);
  return json_stringn(text.text, text.length);
}

/* False when a value cannot be written: no memory, or not UTF-8 in a store another hand changed. */
static bool json_row(sqlite3_stmt *s, FILE *to) {
  json_t *row = json_object();
  bool good = row != NULL;
  for (int i = 0; good && i < STORE_COLUMN_COUNT; i++) {
    good = json_object_set_new(row, store_column_names[i], json_cell(s, i)) == 0;
  }
  good = good && json_dumpf(row, to, JSON_COMPACT) == 0;
  json_decref(row);
  return good;
}

/* ---- readings ---- */

typedef struct reading_column {
  const char *title, *sql;
  lw_dim dim; /* LW_COUNT: as it is */
} reading_column;

/* What was read stands as read; condition and lambda come from the stored result. */
#define FROM_RESULT(path) "json_extract(r.result, '$.readings[' || (n.number - 1) || ']." path "')"

static const reading_column reading_columns[] = {
    {"run", "r.id", LW_COUNT},
    {"newest run of the job",
     "iif(NOT EXISTS (SELECT 1 FROM run AS later WHERE later.job = r.job"
     " AND (later.saved_at, later.id) > (r.saved_at, r.id)), 'yes', 'no')",
     LW_COUNT},
    {"job", "j.name", LW_COUNT},
    {"date", "r.date", LW_COUNT},
    {"car", "r.car", LW_COUNT},
    {"plate", "r.plate", LW_COUNT},
    {"verdict of the run", "r.verdict", LW_COUNT},
    {"saved at (UTC)", "r.saved_at", LW_COUNT},
    {"reading", "n.number", LW_COUNT},
    {"label", "n.label", LW_COUNT},
    {"time", "n.taken_at", LW_COUNT},
    {"stage", "n.stage", LW_COUNT},
    {"condition", "coalesce(n.condition, " FROM_RESULT("condition") ")", LW_COUNT},
    {"analyzer", "n.analyzer", LW_COUNT},
    {"speed (rpm)", "n.speed_rad_per_s", LW_SPIN},
    {"gear", "n.gear", LW_COUNT},
    {"CO (%)", "n.co_fraction", LW_FRACTION},
    {"CO2 (%)", "n.co2_fraction", LW_FRACTION},
    {"HC (ppm)", "n.hc_fraction", LW_PPM},
    {"HC counted as", "n.hc_as", LW_COUNT},
    {"O2 (%)", "n.o2_fraction", LW_FRACTION},
    {"NO (ppm)", "n.no_fraction", LW_PPM},
    {"lambda", FROM_RESULT("gas.lambda.value"), LW_RATIO},
    {"lambda at least", FROM_RESULT("gas.lambda_lo"), LW_RATIO},
    {"lambda at most", FROM_RESULT("gas.lambda_hi"), LW_RATIO},
    {"manifold vacuum (inHg)", "n.vacuum_pa", LW_PRESSURE},
    {"vacuum needle", "n.needle", LW_COUNT},
    {"timing (deg before TDC)", "n.timing_rad_before_tdc", LW_ANGLE},
    {"choke", "n.choke", LW_COUNT},
    {"air cleaner on", "n.air_cleaner", LW_COUNT},
    {"settled", "n.settled", LW_COUNT},
    {"screws (turns out)",
     "(SELECT group_concat(name || ' ' || printf('%.10g', turns), '; ') FROM"
     " (SELECT name, turns FROM screw AS w WHERE w.run = n.run AND w.reading = n.number"
     "  ORDER BY w.number))",
     LW_COUNT},
    {"note", "n.note", LW_COUNT},
};

enum { READING_COLUMNS = sizeof reading_columns / sizeof reading_columns[0] };

/* Ten figures: a reading comes back as it was written ("650", not 649.99999999999989), and nothing
   an instrument shows is lost. */
static void reading_number(FILE *to, lw_dim dim, double si) {
  if (dim == LW_RATIO) {
    fprintf(to, "%.4f", si);
  } else {
    fprintf(to, "%.10g", lw_dim_shown(dim, LW_SHOP, si));
  }
}

static void reading_row(sqlite3_stmt *s, FILE *to) {
  for (int i = 0; i < READING_COLUMNS; i++) {
    if (i) fputc(',', to);
    if (sqlite3_column_type(s, i) == SQLITE_NULL) continue;
    if (reading_columns[i].dim == LW_COUNT) {
      write_cell(to, cell_text(s, i));
    } else {
      reading_number(to, reading_columns[i].dim, sqlite3_column_double(s, i));
    }
  }
  fputs("\r\n", to);
}

static void reading_head(FILE *to) {
  for (int i = 0; i < READING_COLUMNS; i++) {
    fprintf(to, "%s%s", i ? "," : "", reading_columns[i].title);
  }
  fputs("\r\n", to);
}

/* run 0: of every run. */
static int prepare_readings(sqlite3 *db, int64_t run, sqlite3_stmt **s) {
  sqlite3_str *sql = sqlite3_str_new(db);
  for (int i = 0; i < READING_COLUMNS; i++) {
    sqlite3_str_appendf(sql, "%s%s", i ? ", " : "SELECT ", reading_columns[i].sql);
  }
  sqlite3_str_appendall(sql, " FROM reading AS n JOIN run AS r ON r.id = n.run"
                             " JOIN job AS j ON j.id = r.job WHERE ?1 = 0 OR n.run = ?1"
                             " ORDER BY n.run, n.number");
  char *text = sqlite3_str_finish(sql);
  int code = text ? sqlite3_prepare_v2(db, text, -1, s, NULL) : SQLITE_NOMEM;
  sqlite3_free(text);
  return code == SQLITE_OK ? sqlite3_bind_int64(*s, 1, run) : code;
}

/* ---- all of them ---- */

static bool write_row(sqlite3_stmt *s, lw_export_form form, bool first, FILE *to) {
  if (form == LW_EXPORT_READINGS_CSV) {
    reading_row(s, to);
  } else if (form == LW_EXPORT_CSV) {
    csv_row(s, to);
  } else {
    fputs(first ? "\n" : ",\n", to);
    return json_row(s, to);
  }
  return true;
}

static void write_head(lw_export_form form, FILE *to) {
  if (form == LW_EXPORT_READINGS_CSV) {
    reading_head(to);
  } else if (form == LW_EXPORT_CSV) {
    csv_head(to);
  } else {
    fprintf(to, "{\"format\":\"%s\",\"version\":%d,\"runs\":[", STORE_EXPORT_MARK,
            STORE_EXPORT_VERSION);
  }
}

static lw_status broken_run(const lw_store *store, int64_t run, lw_error *error) {
  lw_error_place(error, store->path, 0, NULL);
  return lw_fail(error, LW_STORE,
                 "run %lld cannot be written as JSON: there is no memory or disk space for it, or "
                 "it holds bytes that are not text",
                 (long long)run);
}

static lw_status write_rows(lw_store *store, sqlite3_stmt *s, lw_export_form form, FILE *to,
                            lw_error *error) {
  write_head(form, to);
  int code;
  for (bool first = true; (code = sqlite3_step(s)) == SQLITE_ROW && !ferror(to); first = false) {
    if (!write_row(s, form, first, to) && !ferror(to)) {
      return broken_run(store, sqlite3_column_int64(s, STORE_RUN_COLUMN + 1), error);
    }
  }
  if (ferror(to)) {
    return lw_fail(error, LW_IO, "the export could not be written: %s",
                   strerror(errno ? errno : EIO));
  }
  if (code != SQLITE_DONE) return store_fail(store->db, store->path, "the export broke off", error);
  if (form == LW_EXPORT_JSON) fputs("\n]}\n", to);
  return LW_OK;
}

bool store_csv_guarded(char first) {
  return first != '\0' && strchr("=+-@\t\r'", first) != NULL;
}

lw_status lw_store_export(lw_store *store, lw_export_form form, FILE *to, lw_error *error) {
  sqlite3_stmt *s = NULL;
  int code = form == LW_EXPORT_READINGS_CSV ? prepare_readings(store->db, 0, &s)
                                            : sqlite3_prepare_v2(store->db, runs_sql, -1, &s, NULL);
  lw_status status = code == SQLITE_OK
                         ? write_rows(store, s, form, to, error)
                         : store_fail(store->db, store->path, "the export broke off", error);
  sqlite3_finalize(s);
  return status;
}

lw_status lw_store_readings(lw_store *store, int64_t run, FILE *to, lw_error *error) {
  sqlite3_stmt *s = NULL;
  lw_status status = prepare_readings(store->db, run, &s) == SQLITE_OK
                         ? write_rows(store, s, LW_EXPORT_READINGS_CSV, to, error)
                         : store_fail(store->db, store->path, "the readings broke off", error);
  sqlite3_finalize(s);
  return status;
}
