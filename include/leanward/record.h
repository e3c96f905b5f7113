/* leanward/record.h - files and the store: what comes in from disk and what must not be lost.
**
** Units    SI in structs; JSON carries SI with the unit in the key's name (speed_rad_per_s,
**          co_fraction) beside the texts people read.
** Errors   every failure is one line in lw_error; a store that cannot be written is left as it was.
** Memory   named at each function.
** Threads  one lw_store is used by one thread; several processes may use one file (WAL).
*/
#ifndef LEANWARD_RECORD_H
#define LEANWARD_RECORD_H

#include "leanward/causes.h"
#include "leanward/service.h"

#include <jansson.h>
#include <stdio.h>

/* ---- Files ---------------------------------------------------------------------------------- */

/* The whole of a file (or standard input for "-") into arena, with a 0 behind it; at most most
   bytes, else LW_TOO_LARGE before anything larger is read. LW_NOT_FOUND when there is no such file.
 */
lw_status lw_file_read(lw_arena *arena, const char *path, size_t most, const char **text,
                       size_t *length, lw_error *error) LW_MUST_USE;
/* Write all bytes to path, through a new file beside it that is synced and then renamed over it:
   after a crash the old or the new file is there, never half of one. "-" is standard output. What
   is no regular file (a pipe, /dev/null) is written straight. A symbolic link is followed. What a
   killed writer has left in that folder (`.leanward-PID-N.new`) is removed when it is gone. */
lw_status lw_file_write(const char *path, const void *bytes, size_t length,
                        lw_error *error) LW_MUST_USE;

/* The same for what is written piece by piece: write to draft.stream, then finish or abandon. Each
   of the two ends the draft; finish reports a write that failed earlier, too, and then leaves what
   was there before. */
typedef struct lw_draft {
  FILE *stream;
  char *path, *temporary; /* temporary is NULL when path is written straight */
  bool is_stdout;
} lw_draft;
lw_status lw_draft_begin(const char *path, lw_draft *draft, lw_error *error) LW_MUST_USE;
lw_status lw_draft_finish(lw_draft *draft, lw_error *error) LW_MUST_USE;
void lw_draft_abandon(lw_draft *draft);

/* One program at a time: from here until it is released, or the program ends in any way, another
   one that takes the lock of this file gets LW_IO with a line that names `who`. The lock is the
   file `.NAME.lock` beside it; reading and writing without it go on as ever. "-", what is no regular
   file and what is not there need none: LW_OK. Released twice is allowed. */
typedef struct lw_file_lock {
  int fd;     /* -1: none is held */
  char *name; /* malloced */
} lw_file_lock;
lw_status lw_file_lock_take(const char *path, const char *who, lw_file_lock *lock,
                            lw_error *error) LW_MUST_USE;
void lw_file_lock_release(lw_file_lock *lock);

/* LW_OK when path may be written to: it names no file, an empty one, no regular file (a pipe, a
   terminal, "-"), or a file that begins with one of the texts in begins (NULL at the end), which is
   an earlier one of ours. A job, a card or a store is never taken for one. */
lw_status lw_file_replaceable(const char *path, const char *const *begins,
                              lw_error *error) LW_MUST_USE;
/* path as written in a file, relative to the folder of that file. In arena; NULL: no memory. */
const char *lw_file_beside(lw_arena *arena, const char *file, const char *path);

/* A job with the cards it names, read from disk, with the bytes of each kept for the store. */
typedef struct lw_case {
  const char *job_text, *card_text, *fitted_text; /* NULL when not given */
  size_t job_length, card_length, fitted_length;
  lw_job *job;
  lw_card *card, *fitted; /* NULL when not given */
} lw_case;

/* path may be "-": the job comes from standard input and its cards lie in the working folder. A
   card that cannot be read is an error at the job's key; one that is wrong, at the card's own line.
 */
lw_status lw_case_read(lw_arena *arena, lw_units *units, const char *path, lw_case *out,
                       lw_error *error) LW_MUST_USE;

/* The unit made for the other transmission on the same engine of the same year, from the cards in a
   folder (NULL: the one the card itself lies in). NULL: there is none; cards that cannot be read are
   passed over. */
const lw_card *lw_card_other(lw_arena *arena, lw_units *units, const char *folder,
                             const lw_card *card);

/* ---- JSON ----------------------------------------------------------------------------------- */

/* A worked job, or one gas analysis, as a new JSON value the caller owns (json_decref). NULL when
   there is no memory. docs/json.md describes it. */
json_t *lw_work_json(const lw_work *work);
json_t *lw_causes_json(const lw_diagnosis *causes);
json_t *lw_exhaust_json(const lw_sample *sample, const lw_exhaust *exhaust);

/* ---- Handover sheet ------------------------------------------------------------------------- */

/* The sheet as PDF (A4, one or two pages). paper: "A4" or "Letter". To a file, or as bytes the
   caller frees. */
lw_status lw_sheet_make(const lw_work *work, const char *paper, unsigned char **bytes,
                        size_t *length, lw_error *error) LW_MUST_USE;
lw_status lw_sheet_write(const lw_work *work, const char *path, const char *paper,
                         lw_error *error) LW_MUST_USE;

/* ---- Store ---------------------------------------------------------------------------------- */

typedef struct lw_store lw_store;

#define LW_STORE_VERSION 2

/* Where the store is unless the user says otherwise: $LEANWARD_STORE, else
   $XDG_DATA_HOME/leanward/jobs.db, else ~/.local/share/leanward/jobs.db. Into buffer. */
const char *lw_store_default_path(char *buffer, size_t size);

/* Open or create a store; folders are made as needed (0700), files are 0600. read_only never
   changes what is kept, and opens a store on a read-only or full disk; without a store there it is
   LW_NOT_FOUND. Refuses, and changes nothing: a store from a newer version, a file that is no
   store, a damaged one, an empty file. A store that is only partly made is never seen by anyone: it
   is built beside path and then linked there. */
lw_status lw_store_open(const char *path, bool read_only, lw_store **out,
                        lw_error *error) LW_MUST_USE;
/* NULL is allowed. */
void lw_store_close(lw_store *store);

/* Save one run of a job: sources as read, result as JSON, readings as rows. One transaction, on the
   disk when this returns LW_OK. The same sources saved again give a new run of the same job. *run
   gets its number. A store that another process holds is waited for, at most 10 s. */
lw_status lw_store_save(lw_store *store, const lw_case *given, const lw_work *work, int64_t *run,
                        lw_error *error) LW_MUST_USE;

/* One line of a listing; texts are valid during the call only. */
typedef struct lw_store_row {
  int64_t run;
  const char *saved_at; /* UTC, ISO 8601 */
  const char *job, *date, *car, *plate, *technician, *complaint, *verdict;
  int64_t readings;
  int64_t job_number; /* of the job in this store */
} lw_store_row;
typedef void (*lw_store_each)(void *to, const lw_store_row *row);

/* The newest run of each job (or every run) whose job, car, plate, technician, shop, customer,
   complaint or notes hold every word of search (NULL: all), newest first. Case is ignored, for
   Latin, Greek and Cyrillic letters. */
lw_status lw_store_list(lw_store *store, const char *search, bool every_run, lw_store_each each,
                        void *to, lw_error *error) LW_MUST_USE;

/* One run as it was saved. Texts are in the caller's arena; NULL where there was no such card. */
typedef struct lw_store_run {
  int64_t run;
  const char *saved_at, *program, *verdict;
  const char *job_file, *card_file, *fitted_file; /* as named by the user */
  const char *job_source, *card_source, *fitted_source;
  size_t job_length, card_length, fitted_length;
  const char *result; /* JSON, as lw_work_json made it */
} lw_store_run;
/* LW_NOT_FOUND when there is no such run. */
lw_status lw_store_show(lw_store *store, int64_t run, lw_arena *arena, lw_store_run *out,
                        lw_error *error) LW_MUST_USE;

/* The newest run of a job by the job's number in this store; LW_NOT_FOUND when there is none. */
lw_status lw_store_newest(lw_store *store, int64_t job_number, int64_t *run,
                          lw_error *error) LW_MUST_USE;
/* A run as it was saved, as a case that can be worked again. The run must outlive it. */
lw_status lw_case_of_run(lw_arena *arena, lw_units *units, const lw_store_run *run, lw_case *out,
                         lw_error *error) LW_MUST_USE;
/* The readings of one run as LW_EXPORT_READINGS_CSV writes them. */
lw_status lw_store_readings(lw_store *store, int64_t run, FILE *to, lw_error *error) LW_MUST_USE;

/* ---- Changes that may be sent twice ---------------------------------------------------------- */

/* A change asked for over a network, where an answer can be lost and the asker tries again. key
   names the change: the same key with the same digest is saved once, and asking again gives the
   first run. */
typedef struct lw_store_change {
  const char *key;    /* at most LW_CHANGE_KEY_MOST letters */
  const char *digest; /* of all that was asked */
  int64_t on_run;     /* the newest run of the job, which the change was made to; LW_ON_NEW_JOB */
} lw_store_change;
enum { LW_ON_NEW_JOB = 0, LW_CHANGE_KEY_MOST = 80 };

typedef enum lw_change_end {
  LW_CHANGE_SAVED,    /* as the run given back */
  LW_CHANGE_AGAIN,    /* it was saved before, as the run given back */
  LW_CHANGE_KEY_USED, /* the key names another change; nothing was saved */
  LW_CHANGE_STALE     /* on_run is not the newest run of this job (or the job is there already);
                         nothing was saved */
} lw_change_end;

typedef struct lw_changed {
  lw_change_end end;
  int64_t run, job_number; /* saved now or before */
  char saved_at[40];
  int64_t readings;
} lw_changed;

/* lw_store_save with a key: key and run are one transaction. */
lw_status lw_store_change_save(lw_store *store, const lw_case *given, const lw_work *work,
                               const lw_store_change *change, lw_changed *out,
                               lw_error *error) LW_MUST_USE;
/* Was this change saved before? *known false: it was not, and *out is untouched. */
lw_status lw_store_change_find(lw_store *store, const lw_store_change *change, bool *known,
                               lw_changed *out, lw_error *error) LW_MUST_USE;

/* ---- Devices that may use the store over a network ------------------------------------------- */

typedef struct lw_device {
  int64_t number;
  const char *name, *secret; /* secret: the digest that was given */
  const char *paired_at;     /* UTC, ISO 8601 */
} lw_device;
lw_status lw_store_device_add(lw_store *store, const char *name, const char *secret,
                              int64_t *number, lw_error *error) LW_MUST_USE;
/* LW_NOT_FOUND when there is no such device, or it is revoked already. */
lw_status lw_store_device_revoke(lw_store *store, int64_t number, lw_error *error) LW_MUST_USE;
/* The devices that are not revoked, oldest first; texts are valid during the call only. */
typedef void (*lw_device_each)(void *to, const lw_device *device);
lw_status lw_store_devices(lw_store *store, lw_device_each each, void *to,
                           lw_error *error) LW_MUST_USE;

/* Everything the store holds at one moment, to a stream: JSON (one object, one line a run) or CSV
   (one row a run, RFC 4180). Either can be imported into an empty or filled store. Readings are an
   extract in shop units for a spreadsheet, one row a reading; they cannot be imported.
   docs/store.md describes all three. */
typedef enum lw_export_form {
  LW_EXPORT_JSON,
  LW_EXPORT_CSV,
  LW_EXPORT_READINGS_CSV
} lw_export_form;
lw_status lw_store_export(lw_store *store, lw_export_form form, FILE *to,
                          lw_error *error) LW_MUST_USE;
/* file: its name for errors, which name the line. Runs already there (same content and time) are
   not added twice; *added and *present count runs. All or nothing. A run keeps its number where
   that is free. */
lw_status lw_store_import(lw_store *store, lw_export_form form, const char *file, const char *text,
                          size_t length, int64_t *added, int64_t *present,
                          lw_error *error) LW_MUST_USE;

/* A copy of the store, made while it may be in use, checked, and then renamed to path. An older
   copy there is replaced; any other file there is left alone and refused. */
lw_status lw_store_backup(lw_store *store, const char *path, lw_error *error) LW_MUST_USE;

#endif
