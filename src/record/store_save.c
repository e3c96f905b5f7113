/* store_save.c - one run of a job into the store: the sources as read, and columns made of them.
**
** Reading rows are filled through the job's own key tables, so that a word a person may write in a
** job file and the word in the store cannot drift apart.
*/
#include "store.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

/* Key in the job file, column in the store. HC and the screws stand apart: they take more than one
   column. */
#define READING_COLUMN_LIST(X)                                                                     \
  X("label", "label")                                                                              \
  X("time", "taken_at")                                                                            \
  X("analyzer", "analyzer")                                                                        \
  X("stage", "stage")                                                                              \
  X("at", "condition")                                                                             \
  X("gear", "gear")                                                                                \
  X("choke", "choke")                                                                              \
  X("air cleaner", "air_cleaner")                                                                  \
  X("settled", "settled")                                                                          \
  X("needle", "needle")                                                                            \
  X("note", "note")                                                                                \
  X("speed", "speed_rad_per_s")                                                                    \
  X("vacuum", "vacuum_pa")                                                                         \
  X("timing", "timing_rad_before_tdc")                                                             \
  X("CO", "co_fraction")                                                                           \
  X("CO2", "co2_fraction")                                                                         \
  X("O2", "o2_fraction")                                                                           \
  X("NO", "no_fraction")

static const char *const reading_keys[] = {
#define READING_KEY(key, column) key,
    READING_COLUMN_LIST(READING_KEY)
#undef READING_KEY
};

enum { READING_KEYS = sizeof reading_keys / sizeof reading_keys[0], FIRST_KEY_AT = 5 };

#define READING_COLUMN(key, column) ", " column
#define READING_MARK(key, column)   ", ?"
static const char insert_reading[] =
    "INSERT INTO reading(run, number, hc_fraction, hc_as" READING_COLUMN_LIST(
        READING_COLUMN) ") VALUES(?, ?, ?, ?" READING_COLUMN_LIST(READING_MARK) ")";
#undef READING_COLUMN
#undef READING_MARK

static const char insert_screw[] =
    "INSERT INTO screw(run, reading, number, name, turns) VALUES(?, ?, ?, ?, ?)";

static const char insert_run[] =
    "INSERT INTO run(id, job, saved_at, program, verdict, date, car, plate, technician, shop,"
    " customer, complaint, notes, job_file, job_source, card_file, card_source, fitted_file,"
    " fitted_source, result)"
    " VALUES(?1, (SELECT id FROM job WHERE name = ?2), ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12,"
    " ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20)";

/* ---- readings ---- */

static const lw_field *field_of(const lw_table *table, const char *key) {
  for (size_t i = 0; i < table->count; i++) {
    if (strcmp(table->fields[i].key, key) == 0) return &table->fields[i];
  }
  return NULL;
}

static int bind_text(sqlite3_stmt *s, int at, const char *text) {
  return text ? sqlite3_bind_text(s, at, text, -1, SQLITE_STATIC) : sqlite3_bind_null(s, at);
}

static int bind_number(sqlite3_stmt *s, int at, double x) {
  return lw_known(x) ? sqlite3_bind_double(s, at, x) : sqlite3_bind_null(s, at);
}

static int bind_field(sqlite3_stmt *s, int at, const lw_field *field, const void *object) {
  const char *member = (const char *)object + field->at;
  switch (field->kind) {
  case LW_KIND_TEXT: return bind_text(s, at, *(const char *const *)(const void *)member);
  case LW_KIND_QUANTITY: return bind_number(s, at, *(const double *)(const void *)member);
  case LW_KIND_CHOICE: {
    int choice = *(const int *)(const void *)member;
    return bind_text(s, at, choice ? field->choices[choice] : NULL);
  }
  case LW_KIND_ANSWER: {
    lw_answer answer = *(const lw_answer *)(const void *)member;
    return bind_text(s, at, answer == LW_UNSAID ? NULL : answer == LW_YES ? "yes" : "no");
  }
  default: return SQLITE_MISUSE;
  }
}

/* Bind, step, make ready for the next row. */
static int step_row(sqlite3_stmt *s, int code) {
  if (code == SQLITE_OK) code = sqlite3_step(s);
  int reset = sqlite3_reset(s);
  return code == SQLITE_DONE ? SQLITE_OK : reset != SQLITE_OK ? reset : code;
}

static int put_screws(sqlite3_stmt *s, int64_t run, int64_t number, const lw_list *screws) {
  const lw_named *named = screws->items;
  int code = SQLITE_OK;
  for (size_t i = 0; code == SQLITE_OK && i < screws->count; i++) {
    code = sqlite3_bind_int64(s, 1, run);
    if (code == SQLITE_OK) code = sqlite3_bind_int64(s, 2, number);
    if (code == SQLITE_OK) code = sqlite3_bind_int64(s, 3, (int64_t)i + 1);
    if (code == SQLITE_OK) code = bind_text(s, 4, named[i].name);
    if (code == SQLITE_OK) code = bind_number(s, 5, named[i].x);
    code = step_row(s, code);
  }
  return code;
}

static int put_reading(sqlite3_stmt *s, int64_t run, int64_t number, const lw_table *table,
                       const lw_reading *reading) {
  static const char *const bases[] = {NULL, "hexane", "propane", "C1"};
  bool hc = lw_known(reading->hc.x);
  int code = sqlite3_bind_int64(s, 1, run);
  if (code == SQLITE_OK) code = sqlite3_bind_int64(s, 2, number);
  if (code == SQLITE_OK) code = bind_number(s, 3, reading->hc.x);
  if (code == SQLITE_OK) code = bind_text(s, 4, hc ? bases[reading->hc.basis] : NULL);
  for (int i = 0; code == SQLITE_OK && i < READING_KEYS; i++) {
    const lw_field *field = field_of(table, reading_keys[i]);
    code = field ? bind_field(s, FIRST_KEY_AT + i, field, reading) : SQLITE_MISUSE;
  }
  return step_row(s, code);
}

static int put_readings(sqlite3 *db, int64_t run, const lw_job *job) {
  const lw_table *table = field_of(lw_job_table(), "readings")->table;
  const lw_reading *readings = job->readings.items;
  sqlite3_stmt *reading = NULL, *screw = NULL;
  int code = sqlite3_prepare_v2(db, insert_reading, -1, &reading, NULL);
  if (code == SQLITE_OK) code = sqlite3_prepare_v2(db, insert_screw, -1, &screw, NULL);
  for (size_t i = 0; code == SQLITE_OK && i < job->readings.count; i++) {
    int64_t number = (int64_t)i + 1;
    code = put_reading(reading, run, number, table, &readings[i]);
    if (code == SQLITE_OK) code = put_screws(screw, run, number, &readings[i].screws);
  }
  sqlite3_finalize(reading);
  sqlite3_finalize(screw);
  return code;
}

/* ---- the run ---- */

static int put_job(sqlite3 *db, const char *name) {
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(db, "INSERT INTO job(name) VALUES(?1) ON CONFLICT(name) DO NOTHING",
                                -1, &s, NULL);
  if (code == SQLITE_OK) code = step_row(s, bind_text(s, 1, name));
  sqlite3_finalize(s);
  return code;
}

static int put_run(sqlite3 *db, const store_entry *e, const store_words *w) {
  const char *words[] = {w->date, w->car,      w->plate,     w->technician,
                         w->shop, w->customer, w->complaint, w->notes};
  const store_text sources[] = {e->job_file,    e->job_source,    e->card_file, e->card_source,
                                e->fitted_file, e->fitted_source, e->result};
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(db, insert_run, -1, &s, NULL);
  if (code == SQLITE_OK && e->run) code = sqlite3_bind_int64(s, 1, e->run);
  if (code == SQLITE_OK) code = bind_text(s, 2, w->job);
  if (code == SQLITE_OK) code = bind_text(s, 3, e->saved_at.text);
  if (code == SQLITE_OK) code = bind_text(s, 4, e->program.text);
  if (code == SQLITE_OK) code = bind_text(s, 5, e->verdict.text);
  for (int i = 0; code == SQLITE_OK && i < 8; i++)
    code = bind_text(s, 6 + i, words[i]);
  for (int i = 0; code == SQLITE_OK && i < 7; i++) {
    const store_text *source = &sources[i];
    if (!source->text) continue; /* NULL unless bound */
    code = sqlite3_bind_text64(s, 14 + i, source->text, source->length, SQLITE_STATIC, SQLITE_UTF8);
  }
  if (code == SQLITE_OK) code = step_row(s, code);
  sqlite3_finalize(s);
  return code;
}

static const char *said(const char *text) {
  return text ? text : "";
}

/* The notes of a job, one a line. */
static const char *joined_notes(lw_arena *arena, const lw_texts *notes) {
  const char *joined = "";
  for (size_t i = 0; joined && i < notes->count; i++) {
    joined = lw_arena_print(arena, "%s%s%s", joined, i ? "\n" : "", notes->text[i]);
  }
  return joined;
}

lw_status store_words_of(lw_arena *arena, const lw_job *job, store_words *words, lw_error *error) {
  const lw_car *car = &job->car;
  const char *notes = joined_notes(arena, &job->notes);
  if (!notes) return lw_fail(error, LW_NO_MEMORY, "no memory for this job");
  *words = (store_words){
      .job = job->id,
      .date = said(job->date),
      .car = car->description ? car->description : said(car->engine),
      .plate = said(car->plate),
      .technician = said(job->technician),
      .shop = said(job->shop),
      .customer = said(job->customer),
      .complaint = said(job->complaint),
      .notes = notes,
      .readings = job->readings.count,
  };
  return LW_OK;
}

int store_insert(sqlite3 *db, const store_entry *entry, const store_words *words, int64_t *run) {
  int code = put_job(db, words->job);
  if (code == SQLITE_OK) code = put_run(db, entry, words);
  if (code != SQLITE_OK) return code;
  int64_t number = sqlite3_last_insert_rowid(db);
  code = put_readings(db, number, entry->job);
  if (code == SQLITE_OK) *run = number;
  return code;
}

/* ---- saving ---- */

static void stamp(char *buffer, size_t size, int64_t ms) {
  time_t seconds = (time_t)(ms / 1000);
  struct tm utc;
  gmtime_r(&seconds, &utc);
  char day[32];
  strftime(day, sizeof day, "%Y-%m-%dT%H:%M:%S", &utc);
  snprintf(buffer, size, "%s.%03dZ", day, (int)(ms % 1000));
}

/* Now, or the first millisecond behind it that no run has yet: content and time together name a run
   when stores are joined, so two runs of a store never share both. */
static int free_time(sqlite3 *db, char *buffer, size_t size) {
  struct timespec now;
  clock_gettime(CLOCK_REALTIME, &now);
  int64_t ms = (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
  sqlite3_stmt *s = NULL;
  int code = sqlite3_prepare_v2(db, "SELECT 1 FROM run WHERE saved_at = ?1", -1, &s, NULL);
  for (bool taken = true; code == SQLITE_OK && taken; ms++) {
    stamp(buffer, size, ms);
    code = sqlite3_bind_text(s, 1, buffer, -1, SQLITE_STATIC);
    if (code == SQLITE_OK) code = sqlite3_step(s);
    taken = code == SQLITE_ROW;
    if (code == SQLITE_ROW || code == SQLITE_DONE) code = sqlite3_reset(s);
  }
  sqlite3_finalize(s);
  return code;
}

static store_text whole(const char *text) {
  return (store_text){text, text ? strlen(text) : 0};
}

static lw_status check_sources(const lw_case *given, lw_error *error) {
  const store_text sources[] = {{given->job_text, given->job_length},
                                {given->card_text, given->card_length},
                                {given->fitted_text, given->fitted_length}};
  for (size_t i = 0; i < 3; i++) {
    if (!sources[i].text || lw_text_utf8(sources[i].text, sources[i].length, NULL)) continue;
    return lw_fail(error, LW_BAD_INPUT, "a source to be saved is not UTF-8 text");
  }
  return LW_OK;
}

/* What a saving transaction does besides: see store_save_run. */
typedef struct beside {
  store_first first;
  store_also also;
  void *with;
} beside;

static int save_inside(lw_store *store, const store_entry *entry, const store_words *words,
                       const beside *b, int64_t *run) {
  char now[40];
  bool go_on = true;
  store_entry stamped = *entry;
  int code = store_run_sql(store->db, "BEGIN IMMEDIATE");
  if (code == SQLITE_OK && b->first) code = b->first(store->db, b->with, &go_on);
  if (code == SQLITE_OK && !go_on) return store_run_sql(store->db, "ROLLBACK");
  if (code == SQLITE_OK) code = free_time(store->db, now, sizeof now);
  stamped.saved_at = whole(now);
  if (code == SQLITE_OK) code = store_insert(store->db, &stamped, words, run);
  if (code == SQLITE_OK && b->also) code = b->also(store->db, *run, b->with);
  if (code == SQLITE_OK) code = store_run_sql(store->db, "COMMIT");
  return code;
}

static lw_status save_entry(lw_store *store, store_entry *entry, const beside *b, int64_t *run,
                            lw_error *error) {
  lw_arena *arena = lw_arena_new(0);
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory to save this job");
  store_words words;
  int64_t number = 0;
  lw_status status = store_words_of(arena, entry->job, &words, error);
  if (status == LW_OK && save_inside(store, entry, &words, b, &number) != SQLITE_OK) {
    status = store_fail(store->db, store->path, "nothing was saved", error);
    if (!sqlite3_get_autocommit(store->db)) store_run_sql(store->db, "ROLLBACK");
  }
  lw_arena_free(arena);
  if (status == LW_OK) *run = number;
  return status;
}

void store_now(char *buffer, size_t size) {
  struct timespec now;
  clock_gettime(CLOCK_REALTIME, &now);
  stamp(buffer, size, (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000);
}

lw_status store_save_run(lw_store *store, const lw_case *given, const lw_work *work,
                         store_first first, store_also also, void *with, int64_t *run,
                         lw_error *error) {
  lw_status status = check_sources(given, error);
  if (status != LW_OK) return status;
  json_t *json = lw_work_json(work);
  char *result = json ? json_dumps(json, JSON_COMPACT) : NULL;
  json_decref(json);
  if (!result) return lw_fail(error, LW_NO_MEMORY, "no memory to save this job");
  store_entry entry = {
      .program = whole("leanward " LW_VERSION),
      .verdict = whole(lw_verdict_text(work->verdict)),
      .result = whole(result),
      .job_file = whole(given->job->file),
      .job_source = {given->job_text, given->job_length},
      .card_file = whole(given->card ? given->card->file : NULL),
      .card_source = {given->card ? given->card_text : NULL, given->card_length},
      .fitted_file = whole(given->fitted ? given->fitted->file : NULL),
      .fitted_source = {given->fitted ? given->fitted_text : NULL, given->fitted_length},
      .job = given->job,
  };
  const beside b = {first, also, with};
  status = save_entry(store, &entry, &b, run, error);
  free(result);
  return status;
}

lw_status lw_store_save(lw_store *store, const lw_case *given, const lw_work *work, int64_t *run,
                        lw_error *error) {
  return store_save_run(store, given, work, NULL, NULL, NULL, run, error);
}
