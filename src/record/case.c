/* case.c - a job with the cards it names, as they stand on disk. */
#include "leanward/record.h"

#include <string.h>

static const char *name_for_errors(const char *path) {
  return strcmp(path, "-") == 0 ? "standard input" : path;
}

/* libyaml would read UTF-16 too, but the store and its exports keep sources as UTF-8 text. */
static lw_status check_text(const char *file, const char *text, size_t length, lw_error *error) {
  size_t bad = 0;
  if (lw_text_utf8(text, length, &bad)) return LW_OK;
  int line = 1;
  for (size_t i = 0; i < bad; i++)
    line += text[i] == '\n';
  lw_error_place(error, file, line, NULL);
  return lw_fail(error, LW_BAD_INPUT, "this is not UTF-8 text (byte %zu); save the file as UTF-8",
                 bad + 1);
}

/* A card the job names: the path is the job's, so what keeps it from being read is said there. */
static lw_status card_read(const lw_bind *bind, const char *job_path, const char *key,
                           const char *named, const char **text, size_t *length, lw_card **card,
                           lw_error *error) {
  if (strcmp(named, "-") == 0) {
    lw_error_place(error, bind->file, 0, key);
    return lw_fail(error, LW_BAD_INPUT, "a card must be a file; '-' is for the job only");
  }
  const char *path = lw_file_beside(bind->arena, job_path, named);
  if (!path) return lw_fail(error, LW_NO_MEMORY, "no memory for this card");
  lw_error inner = {0};
  lw_status status =
      lw_file_read(bind->arena, path, LW_DOC_MAX_BYTES, text, length, error ? &inner : NULL);
  if (status != LW_OK) {
    lw_error_place(error, bind->file, 0, key);
    return lw_fail(error, status, "the card '%.100s', named from the job's folder: %.200s", path,
                   inner.text);
  }
  status = check_text(path, *text, *length, error);
  if (status != LW_OK) return status;
  const lw_bind card_bind = {bind->arena, bind->units, path};
  return lw_card_read(&card_bind, *text, *length, card, error);
}

lw_status lw_case_read(lw_arena *arena, lw_units *units, const char *path, lw_case *out,
                       lw_error *error) {
  lw_case read = {0};
  const lw_bind bind = {arena, units, name_for_errors(path)};
  lw_status status =
      lw_file_read(arena, path, LW_DOC_MAX_BYTES, &read.job_text, &read.job_length, error);
  if (status == LW_OK) status = check_text(bind.file, read.job_text, read.job_length, error);
  if (status == LW_OK) {
    status = lw_job_read(&bind, read.job_text, read.job_length, &read.job, error);
  }
  if (status != LW_OK) return status;
  const lw_job *job = read.job;
  if (job->card) {
    status = card_read(&bind, path, "card", job->card, &read.card_text, &read.card_length,
                       &read.card, error);
  }
  if (status == LW_OK && job->fitted_card) {
    status = card_read(&bind, path, "fitted card", job->fitted_card, &read.fitted_text,
                       &read.fitted_length, &read.fitted, error);
  }
  if (status == LW_OK) *out = read;
  return status;
}

static lw_status kept_card(lw_arena *arena, lw_units *units, const char *file, const char *text,
                           size_t length, lw_card **card, lw_error *error) {
  const lw_bind bind = {arena, units, file ? file : "card"};
  lw_status status = text ? check_text(bind.file, text, length, error) : LW_OK;
  return text && status == LW_OK ? lw_card_read(&bind, text, length, card, error) : status;
}

lw_status lw_case_of_run(lw_arena *arena, lw_units *units, const lw_store_run *run, lw_case *out,
                         lw_error *error) {
  lw_case made = {.job_text = run->job_source,
                  .card_text = run->card_source,
                  .fitted_text = run->fitted_source,
                  .job_length = run->job_length,
                  .card_length = run->card_length,
                  .fitted_length = run->fitted_length};
  const lw_bind bind = {arena, units, run->job_file};
  lw_status status = check_text(bind.file, made.job_text, made.job_length, error);
  if (status == LW_OK)
    status = lw_job_read(&bind, made.job_text, made.job_length, &made.job, error);
  if (status == LW_OK) {
    status = kept_card(arena, units, run->card_file, made.card_text, made.card_length, &made.card,
                       error);
  }
  if (status == LW_OK) {
    status = kept_card(arena, units, run->fitted_file, made.fitted_text, made.fitted_length,
                       &made.fitted, error);
  }
  if (status == LW_OK) *out = made;
  return status;
}
