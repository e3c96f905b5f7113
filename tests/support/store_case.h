/* store_case.h - jobs made in memory, worked and saved, for the tests of the store. */
#ifndef LW_TESTS_STORE_CASE_H
#define LW_TESTS_STORE_CASE_H

#include "check.h"

#include "leanward/record.h"

#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

/* Texts that break careless writers: quotes, commas, both line ends, a formula, other alphabets. */
#define HARD_JOB                                                                                   \
  "# \xC3\x9C"                                                                                     \
  "ber alles: \"quotes\", commas; a tab\there\r\n"                                                 \
  "job: \"CW-9, \\\"nine\\\"\"\r\n"                                                                \
  "date: 2026-11-20\r\n"                                                                           \
  "technician: =SUM(A1:A9)\r\n"                                                                    \
  "customer: \"\xC3\x9Cnal \xCE\xA3\xCE\xAF\xCF\x83\xCF\x85\xCF\x86\xCE\xBF\xCF\x82\"\r\n"         \
  "complaint: \"stalls, \\\"coughs\\\" \xF0\x9F\x9A\x97\xF0\x9F\x92\xA8\\r\\nsecond "              \
  "line\\n'third'\"\r\n"                                                                           \
  "car: {description: \"Corran 220, 100% coupe_x\", plate: \"'CW 1\"}\r\n"                         \
  "readings:\r\n"                                                                                  \
  "  - {label: \"-1\", stage: as found, at: idle, speed: 650 rpm, CO: 3.5 %, CO2: 13.1 %,\r\n"     \
  "     HC: 240 ppm hexane, O2: 0.4 %, vacuum: 18 inHg, screws: {left: 2 turns, right: 1 3/4 "     \
  "turns}}\r\n"                                                                                    \
  "  - {label: \"+ later\", stage: as left, at: idle, speed: 640 rpm, CO: 1.2 %}\r\n"              \
  "notes: [\"one\", \"two, \\\"2\\\"\"]\r\n"

#define SMALL_CARD "# a card, in part\nunit: CW-2201M\n"

typedef struct made_case {
  lw_arena *arena;
  lw_units *units;
  lw_case given;
  const lw_work *work;
} made_case;

static inline void must(lw_status status, const lw_error *error) {
  char line[1000];
  if (status != LW_OK) fail_msg("%s", lw_error_line(error, line, sizeof line));
}

/* Read and work a job of this text; card_text may be NULL. */
static inline made_case made_case_new(const char *job_text, const char *card_text) {
  made_case m = {.arena = lw_arena_new(0)};
  lw_error error = {0};
  must(lw_units_open(&m.units, &error), &error);
  lw_bind bind = {m.arena, m.units, "jobs/made.yaml"};
  m.given.job_text = job_text;
  m.given.job_length = strlen(job_text);
  must(lw_job_read(&bind, job_text, strlen(job_text), &m.given.job, &error), &error);
  if (card_text) {
    bind.file = "cards/made.yaml";
    m.given.card_text = card_text;
    m.given.card_length = strlen(card_text);
    must(lw_card_read(&bind, card_text, strlen(card_text), &m.given.card, &error), &error);
  }
  must(lw_job_work(m.arena, m.given.job, m.given.card, m.given.fitted, &m.work, &error), &error);
  return m;
}

static inline void made_case_free(made_case *m) {
  lw_arena_free(m->arena);
  lw_units_close(m->units);
}

static inline int64_t save_text(lw_store *store, const char *job_text, const char *card_text) {
  made_case m = made_case_new(job_text, card_text);
  lw_error error = {0};
  int64_t run = 0;
  must(lw_store_save(store, &m.given, m.work, &run, &error), &error);
  made_case_free(&m);
  return run;
}

static inline lw_store *open_store(const char *path) {
  lw_error error = {0};
  lw_store *store = NULL;
  must(lw_store_open(path, false, &store, &error), &error);
  return store;
}

/* The line lw_store_open gives for a path that must be refused. */
static inline const char *refusal(const char *path, bool read_only, lw_status want) {
  static char line[1000];
  lw_error error = {0};
  lw_store *store = NULL;
  lw_status status = lw_store_open(path, read_only, &store, &error);
  lw_error_line(&error, line, sizeof line);
  if (status != want) fail_msg("status %d, %d was expected: %s", (int)status, (int)want, line);
  assert_null(store);
  assert_true(strlen(error.text) > 10);
  return line;
}

/* A new folder of the test's own. */
static inline const char *fresh_folder(void) {
  static char folder[64];
  snprintf(folder, sizeof folder, "/tmp/leanward-test-XXXXXX");
  char made[64];
  snprintf(made, sizeof made, "%s", folder);
  char *given = mkdtemp(made);
  assert_non_null(given);
  snprintf(folder, sizeof folder, "%s", made);
  return folder;
}

static inline void remove_folder(const char *folder) {
  char command[200];
  snprintf(command, sizeof command, "rm -rf '%s'", folder);
  assert_int_equal(system(command), 0);
}

/* A file's bytes, malloced with a 0 behind. */
static inline char *slurp(const char *path, size_t *length) {
  FILE *file = fopen(path, "rb");
  if (!file) fail_msg("%s cannot be opened", path);
  fseek(file, 0, SEEK_END);
  long size = ftell(file);
  rewind(file);
  char *bytes = malloc((size_t)size + 1);
  assert_int_equal(fread(bytes, 1, (size_t)size, file), size);
  bytes[size] = '\0';
  fclose(file);
  if (length) *length = (size_t)size;
  return bytes;
}

static inline void spill(const char *path, const void *bytes, size_t length) {
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  assert_int_equal(fwrite(bytes, 1, length, file), length);
  assert_int_equal(fclose(file), 0);
}

/* An export as text, malloced. */
static inline char *exported(lw_store *store, lw_export_form form, size_t *length) {
  char *text = NULL;
  size_t size = 0;
  FILE *stream = open_memstream(&text, &size);
  lw_error error = {0};
  must(lw_store_export(store, form, stream, &error), &error);
  fclose(stream);
  if (length) *length = size;
  return text;
}

static inline void count_row(void *to, const lw_store_row *row) {
  (void)row;
  ++*(int64_t *)to;
}

static inline int64_t count_runs(lw_store *store, const char *search, bool every_run) {
  int64_t count = 0;
  lw_error error = {0};
  must(lw_store_list(store, search, every_run, count_row, &count, &error), &error);
  return count;
}

#endif
