/* store.h - what the parts of the store share. Private to this floor.
**
** store.c opens and lists; store_schema.c makes and moves the schema; store_save.c writes runs;
** store_export.c and store_import.c carry them to and from files; store_backup.c copies the whole.
*/
#ifndef LW_RECORD_STORE_H
#define LW_RECORD_STORE_H

#include "leanward/record.h"

#include <sqlite3.h>

/* "Lwrd" as SQLite's application id: marks the file as ours. */
#define STORE_APPLICATION_ID 0x4C777264

struct lw_store {
  sqlite3 *db;
  char *path; /* as the user named it */
  bool read_only;
};

/* ---- failures: one line, the store named, what to do ---- */

/* The line for the last failure of db. what: "nothing was saved". */
lw_status store_fail(sqlite3 *db, const char *path, const char *what, lw_error *error);
/* Run statements that give no rows; SQLite's result code. */
int store_run_sql(sqlite3 *db, const char *sql);
/* One whole number from a statement that takes no parameters. */
int store_whole(sqlite3 *db, const char *sql, int64_t *value);

/* ---- files (store_file.c) ---- */

/* What stands at path, from its first bytes alone: nothing is locked, made or changed. */
lw_status store_inspect(const char *path, lw_error *error);
/* Open a connection with the settings every connection of ours has. immutable: a file nobody can
   write, on a disk where no lock can be taken. SQLite's result code; *out is to be closed even
   then. */
int store_connect(const char *path, int flags, bool immutable, sqlite3 **out);
/* Make a new store at path, with its folders, unless another process is faster. */
lw_status store_create(const char *path, lw_error *error);
/* A new, empty, closed file of mode 0600 in the folder of path; its name is malloced. NULL: errno.
 */
char *store_beside(const char *path);
/* Remove a file made by store_beside and what SQLite may have put beside it; free its name. */
void store_discard(char *temporary);
/* Put a finished file's bytes on the disk. 0 or errno. */
int store_sync(const char *path);
/* Sync the folder path lies in, so that a new name in it survives a power cut. */
void store_sync_folder(const char *path);

/* ---- schema ---- */

/* Bring a connection's database from the version it has to LW_STORE_VERSION, in one transaction.
   LW_STORE when it is newer. */
lw_status store_migrate(sqlite3 *db, const char *path, lw_error *error);
/* Refuse a newer version (an older one too when it cannot be brought up to date), and a file that
   quick_check finds damaged. */
lw_status store_check(sqlite3 *db, const char *path, bool read_only, lw_error *error);
/* The line for a store of a newer version. */
lw_status store_newer(const char *path, int64_t version, lw_error *error);

/* ---- runs ---- */

/* A text that may be missing (NULL). */
typedef struct store_text {
  const char *text;
  size_t length;
} store_text;

/* A run as it is written: what cannot be derived from the job's source, and the job. */
typedef struct store_entry {
  int64_t run; /* number to keep if it is free; 0: any */
  store_text saved_at, program, verdict, result;
  store_text job_file, job_source, card_file, card_source, fitted_file, fitted_source;
  const lw_job *job;
} store_entry;

/* Words of the job that the store keeps as columns of their own, in arena. */
typedef struct store_words {
  const char *job, *date, *car, *plate, *technician, *shop, *customer, *complaint, *notes;
  size_t readings;
} store_words;
lw_status store_words_of(lw_arena *arena, const lw_job *job, store_words *words, lw_error *error);

/* Insert a run with its readings; the caller holds the transaction. *run gets its number. SQLite's
   result code; SQLITE_NOMEM also for the arena. */
int store_insert(sqlite3 *db, const store_entry *entry, const store_words *words, int64_t *run);

/* One run in one transaction. first, if not NULL, looks at the store inside the transaction before
   anything is written; go_on false ends it there with nothing saved and *run 0. also, if not NULL,
   adds to the transaction once the run is in. Both return SQLite's result code. */
typedef int (*store_first)(sqlite3 *db, void *with, bool *go_on);
typedef int (*store_also)(sqlite3 *db, int64_t run, void *with);
lw_status store_save_run(lw_store *store, const lw_case *given, const lw_work *work,
                         store_first first, store_also also, void *with, int64_t *run,
                         lw_error *error);
/* Now in UTC, as saved_at is written, into buffer. */
void store_now(char *buffer, size_t size);

/* ---- columns of an exported run ---- */

typedef enum store_column_kind {
  STORE_NUMBER,  /* a whole number */
  STORE_TEXT,    /* kept as it is */
  STORE_SOURCE,  /* a text that may be missing */
  STORE_RESULT,  /* JSON */
  STORE_DERIVED, /* follows from the job's source; in a file for people's eyes, checked on import */
  STORE_DERIVED_NUMBER
} store_column_kind;

/* Name in the file, kind, expression over run r and job j. One list for both forms and both ways.
 */
#define STORE_COLUMN_LIST(X)                                                                       \
  X(RUN, "run", STORE_NUMBER, "r.id")                                                              \
  X(SAVED_AT, "saved_at", STORE_TEXT, "r.saved_at")                                                \
  X(PROGRAM, "program", STORE_TEXT, "r.program")                                                   \
  X(VERDICT, "verdict", STORE_TEXT, "r.verdict")                                                   \
  X(JOB, "job", STORE_DERIVED, "j.name")                                                           \
  X(DATE, "date", STORE_DERIVED, "r.date")                                                         \
  X(CAR, "car", STORE_DERIVED, "r.car")                                                            \
  X(PLATE, "plate", STORE_DERIVED, "r.plate")                                                      \
  X(TECHNICIAN, "technician", STORE_DERIVED, "r.technician")                                       \
  X(SHOP, "shop", STORE_DERIVED, "r.shop")                                                         \
  X(CUSTOMER, "customer", STORE_DERIVED, "r.customer")                                             \
  X(COMPLAINT, "complaint", STORE_DERIVED, "r.complaint")                                          \
  X(NOTES, "notes", STORE_DERIVED, "r.notes")                                                      \
  X(READINGS, "readings", STORE_DERIVED_NUMBER,                                                    \
    "(SELECT count(*) FROM reading AS n WHERE n.run = r.id)")                                      \
  X(JOB_FILE, "job_file", STORE_TEXT, "r.job_file")                                                \
  X(JOB_SOURCE, "job_source", STORE_TEXT, "r.job_source")                                          \
  X(CARD_FILE, "card_file", STORE_SOURCE, "r.card_file")                                           \
  X(CARD_SOURCE, "card_source", STORE_SOURCE, "r.card_source")                                     \
  X(FITTED_FILE, "fitted_file", STORE_SOURCE, "r.fitted_file")                                     \
  X(FITTED_SOURCE, "fitted_source", STORE_SOURCE, "r.fitted_source")                               \
  X(RESULT, "result", STORE_RESULT, "r.result")

typedef enum store_column {
#define STORE_COLUMN_ENUM(id, name, kind, sql) STORE_##id##_COLUMN,
  STORE_COLUMN_LIST(STORE_COLUMN_ENUM)
#undef STORE_COLUMN_ENUM
      STORE_COLUMN_COUNT
} store_column;

extern const char *const store_column_names[STORE_COLUMN_COUNT];
extern const store_column_kind store_column_kinds[STORE_COLUMN_COUNT];

#define STORE_EXPORT_MARK "leanward jobs"
/* of the form of an export; a new version of the schema alone leaves it as it is */
#define STORE_EXPORT_VERSION 1

/* ---- CSV ---- */

/* A text that a spreadsheet would take for a formula, or that starts with an apostrophe, is written
   with an apostrophe in front, which import takes away again. */
bool store_csv_guarded(char first);

/* ---- letters ---- */

/* Register holds_words(text, words): every blank-separated word of words is in text, case ignored.
 */
int store_search_register(sqlite3 *db);

#endif
