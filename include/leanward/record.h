/* leanward/record.h - files and the store: what comes in from disk and what must not be lost.
**
** Units    SI in structs; JSON carries SI with the unit in the key's name (speed_rad_s, co_fraction)
**          beside the texts people read.
** Errors   every failure is one line in lw_error; a store that cannot be written is left as it was.
** Memory   named at each function.
** Threads  one lw_store is used by one thread; several processes may use one file (WAL).
*/
#ifndef LEANWARD_RECORD_H
#define LEANWARD_RECORD_H

#include "leanward/service.h"

#include <jansson.h>
#include <stdio.h>

/* ---- Files ---------------------------------------------------------------------------------- */

/* The whole of a file (or standard input for "-") into arena; at most most bytes, else
   LW_TOO_LARGE before anything larger is read. */
lw_status lw_file_read(lw_arena *arena, const char *path, size_t most, const char **text,
                       size_t *length, lw_error *error) LW_MUST_USE;
/* Write all bytes to path, through a new file beside it that is synced and then renamed over it:
   after a crash the old or the new file is there, never half of one. "-" is standard output. */
lw_status lw_file_write(const char *path, const void *bytes, size_t length,
                        lw_error *error) LW_MUST_USE;
/* path as written in a file, relative to the folder of that file. In arena. */
const char *lw_file_beside(lw_arena *arena, const char *file, const char *path);

/* A job with the cards it names, read from disk, with the bytes of each kept for the store. */
typedef struct lw_case {
  const char *job_text, *card_text, *fitted_text; /* NULL when not given */
  size_t job_length, card_length, fitted_length;
  lw_job *job;
  lw_card *card, *fitted; /* NULL when not given */
} lw_case;

lw_status lw_case_read(lw_arena *arena, lw_units *units, const char *path, lw_case *out,
                       lw_error *error) LW_MUST_USE;

/* ---- JSON ----------------------------------------------------------------------------------- */

/* A worked job, or one gas analysis, as a new JSON value the caller owns (json_decref). NULL when
   there is no memory. docs/json.md describes it. */
json_t *lw_work_json(const lw_work *work);
json_t *lw_exhaust_json(const lw_sample *sample, const lw_exhaust *exhaust);

/* ---- Handover sheet ------------------------------------------------------------------------- */

/* Write the sheet as PDF (A4, one or two pages). paper: "A4" or "Letter". */
lw_status lw_sheet_write(const lw_work *work, const char *path, const char *paper,
                         lw_error *error) LW_MUST_USE;

/* ---- Store ---------------------------------------------------------------------------------- */

typedef struct lw_store lw_store;

#define LW_STORE_VERSION 1

/* Where the store is unless the user says otherwise: $LEANWARD_STORE, else
   $XDG_DATA_HOME/leanward/jobs.db, else ~/.local/share/leanward/jobs.db. Into buffer. */
const char *lw_store_default_path(char *buffer, size_t size);

/* Open or create a store; folders are made as needed, files are 0600. read_only never writes and
   opens a store on a read-only disk. Refuses, and changes nothing: a store from a newer version, a
   file that is no store, a damaged one. */
lw_status lw_store_open(const char *path, bool read_only, lw_store **out,
                        lw_error *error) LW_MUST_USE;
void lw_store_close(lw_store *store);

/* Save one run of a job: sources as read, result as JSON, readings as rows. One transaction. The
   same sources saved again give a new run of the same job. *run gets its number. */
lw_status lw_store_save(lw_store *store, const lw_case *given, const lw_work *work, int64_t *run,
                        lw_error *error) LW_MUST_USE;

/* One line of a listing; texts are valid during the call only. */
typedef struct lw_store_row {
  int64_t run;
  const char *saved_at; /* UTC, ISO 8601 */
  const char *job, *date, *car, *plate, *technician, *complaint, *verdict;
  int64_t readings;
} lw_store_row;
typedef void (*lw_store_each)(void *to, const lw_store_row *row);

/* The newest run of each job (or every run) whose job, car, plate, technician, customer, complaint
   or notes hold every word of search (NULL: all), newest first. */
lw_status lw_store_list(lw_store *store, const char *search, bool every_run, lw_store_each each,
                        void *to, lw_error *error) LW_MUST_USE;

/* Everything the store holds, to a stream: JSON (one object) or CSV (one row a run, RFC 4180). Either
   can be imported into an empty or filled store; runs already there (same content and time) are
   not added twice. */
typedef enum lw_export_form { LW_EXPORT_JSON, LW_EXPORT_CSV, LW_EXPORT_READINGS_CSV } lw_export_form;
lw_status lw_store_export(lw_store *store, lw_export_form form, FILE *to,
                          lw_error *error) LW_MUST_USE;
/* file: its name for errors. *added and *present count runs. All or nothing. */
lw_status lw_store_import(lw_store *store, lw_export_form form, const char *file, const char *text,
                          size_t length, int64_t *added, int64_t *present,
                          lw_error *error) LW_MUST_USE;

#endif
