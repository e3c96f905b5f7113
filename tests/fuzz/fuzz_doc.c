/* fuzz_doc.c - any bytes as a spec card and as a job.
**
** Built twice: by tests/fuzz/run with libFuzzer, and with replay.c for `./check`. Beyond "no crash"
** it holds what doc.h promises: LW_OK comes with a result and only LW_OK does; a refusal has one
** line that can be shown; what was read can be walked; a small arena ends in LW_NO_MEMORY or in the
** same answer.
*/
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "leanward/card.h"

static lw_units *units;

static void visit(void *to, const char *path, const lw_field *field, const char *shop,
                  const char *metric) {
  size_t *sum = to;
  *sum += strlen(path) + strlen(field->key) + strlen(shop) + strlen(metric);
}

static void check_error(lw_status status, const lw_error *error) {
  char line[900];
  lw_error_line(error, line, sizeof line);
  size_t bad = 0;
  HOLD(error->status == status && error->text[0]);
  HOLD(!strcmp(error->file, "f") && error->line >= 0);
  HOLD(lw_text_utf8(line, strlen(line), &bad));
  HOLD(!strpbrk(line, "\n\r\t\x1b\x7f"));
}

static lw_status read_card(const char *text, size_t length, size_t limit) {
  lw_arena *arena = lw_arena_new(limit);
  lw_bind bind = {arena, units, "f"};
  lw_card *card = NULL;
  lw_error error = {0};
  lw_status status = lw_card_read(&bind, text, length, &card, &error);
  HOLD((status == LW_OK) == (card != NULL));
  if (card) {
    size_t sum = 0;
    lw_table_walk(lw_card_table(), card, visit, &sum);
    HOLD(card->unit && card->unit[0] && sum > 0);
  } else {
    check_error(status, &error);
  }
  lw_arena_free(arena);
  return status;
}

static lw_status read_job(const char *text, size_t length, size_t limit) {
  lw_arena *arena = lw_arena_new(limit);
  lw_bind bind = {arena, units, "f"};
  lw_job *job = NULL;
  lw_error error = {0};
  lw_status status = lw_job_read(&bind, text, length, &job, &error);
  HOLD((status == LW_OK) == (job != NULL));
  if (job) {
    size_t sum = 0;
    lw_table_walk(lw_job_table(), job, visit, &sum);
    HOLD(job->id && job->id[0] && sum > 0);
    const lw_reading *readings = job->readings.items;
    for (size_t i = 0; i < job->readings.count; i++) {
      const lw_reading *r = &readings[i];
      HOLD(!(r->co < 0) && !(r->o2 > 0.21) && !(r->co + r->co2 > 0.25));
    }
  } else {
    check_error(status, &error);
  }
  lw_arena_free(arena);
  return status;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
  if (!units && lw_units_open(&units, NULL) != LW_OK) abort();
  const char *text = (const char *)data;
  lw_status card = read_card(text, size, 0), job = read_job(text, size, 0);
  size_t limit = 1 + (size * 2654435761u) % 16384;
  lw_status small_card = read_card(text, size, limit), small_job = read_job(text, size, limit);
  HOLD(small_card == card || small_card == LW_NO_MEMORY);
  HOLD(small_job == job || small_job == LW_NO_MEMORY);
  return 0;
}
