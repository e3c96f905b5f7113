/* api_work.c - what is made of a job: the worked result, the handover sheet, readings as CSV; and
** the status of the server, which needs no job.
*/
#include "serve.h"

#include "leanward/causes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void api_status(hand *h, request *r) {
  (void)h;
  bool in = r->who != NOBODY;
  reply_json(r, MHD_HTTP_OK,
             json_pack("{s:s, s:b, s:b, s:o}", "leanward", LW_VERSION, "lan", r->server->lan,
                       "paired", in, "device",
                       r->who > 0 ? json_integer((json_int_t)r->who) : json_null()));
}

/* The result as it was saved with the run; worked anew when an older program saved it. */
void api_work(hand *h, request *r) {
  lw_store_run run;
  if (!api_newest(h, r, &run)) return;
  snprintf(r->reply.tag, sizeof r->reply.tag, "\"%lld\"", (long long)run.run);
  if (strcmp(run.program, "leanward " LW_VERSION) == 0) {
    r->reply.body = strdup(run.result);
    r->reply.length = strlen(run.result);
    r->reply.type = "application/json";
    r->reply.status = r->reply.body ? MHD_HTTP_OK : MHD_HTTP_SERVICE_UNAVAILABLE;
    return;
  }
  lw_case given;
  const lw_work *work = NULL;
  if (api_worked(h, r, &given, &work)) reply_json(r, MHD_HTTP_OK, lw_work_json(work));
}

/* A file name out of a job's number: letters, digits, - and . stay. */
static void name_file(request *r, const char *id, const char *ending) {
  char name[60] = "";
  size_t used = 0;
  for (; *id && used < sizeof name - 1; id++) {
    bool stays = strchr("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.", *id);
    if (stays) name[used++] = *id;
  }
  name[used] = '\0';
  snprintf(r->reply.disposition, sizeof r->reply.disposition, "attachment; filename=\"job-%s%s\"",
           name, ending);
}

/* The sheet of a car that is not well says why, as `leanward job` does. */
static const lw_work *with_causes(hand *h, const lw_work *work) {
  lw_error ignored = {0};
  lw_diagnosis *causes = NULL;
  lw_work *more = lw_arena_alloc(h->arena, sizeof *more);
  if (!more || work->causes || !lw_causes_worth(work)) return work;
  const lw_card *other = card_other(h, work->card);
  if (lw_causes_of(h->arena, h->units, work, other, &causes, &ignored) != LW_OK) return work;
  *more = *work;
  more->causes = causes;
  return more;
}

void api_sheet(hand *h, request *r) {
  lw_case given;
  lw_error error = {0};
  const lw_work *work = NULL;
  unsigned char *pdf = NULL;
  size_t length = 0;
  if (!api_worked(h, r, &given, &work)) return;
  work = with_causes(h, work);
  pthread_mutex_lock(&h->server->drawing);
  lw_status status = lw_sheet_make(work, r->paper ? r->paper : "A4", &pdf, &length, &error);
  pthread_mutex_unlock(&h->server->drawing);
  if (status != LW_OK) {
    reply_failure(r, status, &error);
    return;
  }
  r->reply.body = (char *)pdf;
  r->reply.length = length;
  r->reply.type = "application/pdf";
  r->reply.status = MHD_HTTP_OK;
  name_file(r, given.job->id, ".pdf");
}

void api_readings_csv(hand *h, request *r) {
  lw_error error = {0};
  int64_t run = 0;
  char *bytes = NULL;
  size_t length = 0;
  lw_status status = lw_store_newest(h->store, r->number, &run, &error);
  FILE *stream = status == LW_OK ? open_memstream(&bytes, &length) : NULL;
  if (status == LW_OK && !stream) status = lw_fail(&error, LW_NO_MEMORY, "no memory");
  if (status == LW_OK) status = lw_store_readings(h->store, run, stream, &error);
  bool written = stream && fclose(stream) == 0;
  if (status == LW_OK && !written) status = lw_fail(&error, LW_NO_MEMORY, "no memory");
  if (status != LW_OK) {
    free(bytes);
    reply_failure(r, status, &error);
    return;
  }
  char number[24];
  snprintf(number, sizeof number, "%lld", (long long)r->number);
  r->reply.body = bytes;
  r->reply.length = length;
  r->reply.type = "text/csv; charset=utf-8";
  r->reply.status = MHD_HTTP_OK;
  name_file(r, number, "-readings.csv");
}
