/* api_jobs.c - jobs listed, opened, and changed. Every change is a new run in the store, on the
** disk before it is acknowledged; who looks at the job is told.
*/
#include "serve.h"

#include <stdlib.h>
#include <string.h>

/* ---- listing ---- */

static void take_row(void *to, const lw_store_row *row) {
  json_t *list = to;
  json_array_append_new(
      list,
      json_pack("{sI sI ss ss ss ss ss ss ss ss sI}", "job", (json_int_t)row->job_number, "run",
                (json_int_t)row->run, "saved_at", row->saved_at, "id", row->job, "date", row->date,
                "car", row->car, "plate", row->plate, "technician", row->technician, "complaint",
                row->complaint, "verdict", row->verdict, "readings", (json_int_t)row->readings));
}

void api_jobs(hand *h, request *r) {
  lw_error error = {0};
  json_t *list = json_array();
  const char *search = r->search && r->search[0] ? r->search : NULL;
  lw_status status = lw_store_list(h->store, search, false, take_row, list, &error);
  if (status == LW_OK) {
    reply_json(r, MHD_HTTP_OK, json_pack("{s:o}", "jobs", list));
  } else {
    json_decref(list);
    reply_failure(r, status, &error);
  }
}

/* ---- opening ---- */

bool api_newest(hand *h, request *r, lw_store_run *run) {
  lw_error error = {0};
  int64_t number = 0;
  lw_status status = lw_store_newest(h->store, r->number, &number, &error);
  if (status == LW_OK) status = lw_store_show(h->store, number, h->arena, run, &error);
  if (status != LW_OK) reply_failure(r, status, &error);
  return status == LW_OK;
}

bool api_worked(hand *h, request *r, lw_case *given, const lw_work **work) {
  lw_error error = {0};
  lw_store_run *run = lw_arena_alloc(h->arena, sizeof *run);
  if (!run) {
    reply_error(r, MHD_HTTP_SERVICE_UNAVAILABLE, "the server is out of memory");
    return false;
  }
  if (!api_newest(h, r, run)) return false;
  lw_status status = lw_case_of_run(h->arena, h->units, run, given, &error);
  if (status == LW_OK) {
    status = lw_job_work(h->arena, given->job, given->card, given->fitted, work, &error);
  }
  if (status != LW_OK) reply_failure(r, status, &error);
  return status == LW_OK;
}

static json_t *text_or_null(const char *text) {
  return text ? json_string(text) : json_null();
}

static json_t *document_of(hand *h, const lw_store_run *run) {
  lw_error error = {0};
  const lw_node *root = NULL;
  lw_status status =
      lw_doc_parse(h->arena, run->job_file, run->job_source, run->job_length, &root, &error);
  return status == LW_OK ? lw_document_json(root) : json_null();
}

static void tag_run(request *r, int64_t run) {
  snprintf(r->reply.tag, sizeof r->reply.tag, "\"%lld\"", (long long)run);
}

void api_job(hand *h, request *r) {
  lw_store_run run;
  if (!api_newest(h, r, &run)) return;
  tag_run(r, run.run);
  reply_json(r, MHD_HTTP_OK,
             json_pack("{sI sI ss ss so so so so}", "job", (json_int_t)r->number, "run",
                       (json_int_t)run.run, "saved_at", run.saved_at, "verdict", run.verdict,
                       "card_file", text_or_null(run.card_file), "fitted_file",
                       text_or_null(run.fitted_file), "document", document_of(h, &run), "source",
                       json_stringn(run.job_source, run.job_length)));
}

/* ---- changing: the new text ---- */

/* The body as the text of a job file. */
static lw_status body_text(hand *h, const request *r, const char **text, size_t *length,
                           lw_error *error) {
  json_error_t wrong;
  if (r->yaml) {
    *text = r->body ? r->body : "";
    *length = r->used;
    return LW_OK;
  }
  json_t *tree = json_loadb(r->body ? r->body : "", r->used, JSON_REJECT_DUPLICATES, &wrong);
  if (!tree) {
    lw_error_place(error, NULL, wrong.line, NULL);
    return lw_fail(error, LW_BAD_INPUT, "the body is no JSON: %.200s", wrong.text);
  }
  lw_status status = lw_document_text(h->arena, tree, text, length, error);
  json_decref(tree);
  return status;
}

/* A card named as before stays the card that was kept; else the folder of cards has it. */
static lw_status choose_card(hand *h, const char *key, const char *named, const char *before,
                             const char *kept, const lw_store_run *old, bool fitted,
                             lw_store_run *run, lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  if (!named) return LW_OK;
  lw_status status = LW_OK;
  const char *file = named;
  if (kept && before && strcmp(before, named) == 0) {
    text = kept;
    length = fitted ? old->fitted_length : old->card_length;
    file = fitted ? old->fitted_file : old->card_file;
  } else {
    status = card_text(h, named, &text, &length, error);
  }
  if (status != LW_OK) {
    lw_error_place(error, "job", 0, key);
    return LW_BAD_INPUT;
  }
  if (fitted) {
    run->fitted_file = file;
    run->fitted_source = text;
    run->fitted_length = length;
  } else {
    run->card_file = file;
    run->card_source = text;
    run->card_length = length;
  }
  return LW_OK;
}

/* old: the run that is changed; NULL: a new job. */
static lw_status make_run(hand *h, const char *text, size_t length, const lw_store_run *old,
                          lw_store_run *run, lw_error *error) {
  const char *file = old ? old->job_file : "web";
  const lw_bind bind = {h->arena, h->units, file};
  lw_job *job = NULL, *before = NULL;
  *run = (lw_store_run){.job_file = file, .job_source = text, .job_length = length};
  if (!lw_text_utf8(text, length, NULL)) {
    return lw_fail(error, LW_BAD_INPUT, "the body is not UTF-8 text");
  }
  lw_status status = lw_job_read(&bind, text, length, &job, error);
  if (status == LW_OK && old) {
    status = lw_job_read(&bind, old->job_source, old->job_length, &before, error);
  }
  if (status != LW_OK) return status;
  if (before && strcmp(before->id, job->id) != 0) {
    lw_error_place(error, file, 0, "job");
    return lw_fail(error, LW_BAD_INPUT, "the number of a job stays; a new number is a new job");
  }
  status = choose_card(h, "card", job->card, before ? before->card : NULL,
                       old ? old->card_source : NULL, old, false, run, error);
  if (status != LW_OK) return status;
  return choose_card(h, "fitted card", job->fitted_card, before ? before->fitted_card : NULL,
                     old ? old->fitted_source : NULL, old, true, run, error);
}

/* ---- changing: saving it ---- */

void digest_of(const request *r, char text[DIGEST_TEXT]) {
  char line[160];
  snprintf(line, sizeof line, "%s %.120s %lld", r->method, r->path, (long long)r->on_run);
  char parts[2][DIGEST_TEXT];
  digest_text(line, strlen(line), parts[0]);
  digest_text(r->body ? r->body : "", r->used, parts[1]);
  digest_text(parts, sizeof parts, text);
}

static void reply_changed(request *r, const lw_changed *changed) {
  if (changed->end == LW_CHANGE_KEY_USED) {
    reply_error(r, MHD_HTTP_CONFLICT,
                "this Idempotency-Key was used for another change; make a new one");
  } else if (changed->end == LW_CHANGE_STALE) {
    bool there = !(r->route->flags & NEEDS_RUN);
    tag_run(r, changed->run);
    reply_error(r, there ? MHD_HTTP_CONFLICT : MHD_HTTP_PRECONDITION_FAILED, "%s",
                there ? "a job of this number is here already"
                      : "somebody else has changed this job; read it again");
  } else {
    unsigned status = r->route->flags & NEEDS_RUN ? MHD_HTTP_OK : MHD_HTTP_CREATED;
    tag_run(r, changed->run);
    snprintf(r->reply.location, sizeof r->reply.location, "/api/jobs/%lld",
             (long long)changed->job_number);
    reply_json(r, status,
               json_pack("{sI sI ss sI}", "job", (json_int_t)changed->job_number, "run",
                         (json_int_t)changed->run, "saved_at", changed->saved_at, "readings",
                         (json_int_t)changed->readings));
  }
}

/* what: "document" or "reading". */
static void tell(const hand *h, const lw_changed *changed, const char *what, const lw_work *work) {
  char data[200];
  snprintf(data, sizeof data,
           "{\"run\":%lld,\"saved_at\":\"%s\",\"what\":\"%s\",\"readings\":%lld,"
           "\"verdict\":\"%s\"}",
           (long long)changed->run, changed->saved_at, what, (long long)changed->readings,
           lw_verdict_text(work->verdict));
  hub_tell(h->server->hub, changed->job_number, "saved", data);
}

static lw_status save_run(hand *h, const lw_store_run *run, const lw_store_change *change,
                          const char *what, lw_changed *changed, lw_error *error) {
  lw_case given;
  const lw_work *work = NULL;
  lw_status status = lw_case_of_run(h->arena, h->units, run, &given, error);
  if (status == LW_OK) {
    status = lw_job_work(h->arena, given.job, given.card, given.fitted, &work, error);
  }
  if (status == LW_OK) {
    status = lw_store_change_save(h->store, &given, work, change, changed, error);
  }
  if (status == LW_OK && changed->end == LW_CHANGE_SAVED) tell(h, changed, what, work);
  return status;
}

/* The job as it is now; with the reading of the body added. */
static lw_status with_reading(hand *h, const request *r, const lw_store_run *old, const char **text,
                              size_t *length, lw_error *error) {
  json_error_t wrong;
  json_t *item = json_loadb(r->body ? r->body : "", r->used, JSON_REJECT_DUPLICATES, &wrong);
  if (!item) {
    lw_error_place(error, NULL, wrong.line, NULL);
    return lw_fail(error, LW_BAD_INPUT, "the body is no JSON: %.200s", wrong.text);
  }
  lw_status status = lw_document_add(h->arena, old->job_file, old->job_source, old->job_length,
                                     "readings", item, text, length, error);
  json_decref(item);
  return status;
}

typedef enum change_kind { CHANGE_NEW, CHANGE_WHOLE, CHANGE_READING } change_kind;

static lw_status change_once(hand *h, request *r, change_kind kind, lw_store_change *change,
                             lw_changed *changed, lw_error *error) {
  lw_store_run old, run;
  const char *text = NULL;
  size_t length = 0;
  int64_t newest = LW_ON_NEW_JOB;
  lw_status status = LW_OK;
  if (kind != CHANGE_NEW) {
    status = lw_store_newest(h->store, r->number, &newest, error);
    if (status == LW_OK) status = lw_store_show(h->store, newest, h->arena, &old, error);
  }
  if (status == LW_OK) {
    status = kind == CHANGE_READING ? with_reading(h, r, &old, &text, &length, error)
                                    : body_text(h, r, &text, &length, error);
  }
  if (status == LW_OK) {
    status = make_run(h, text, length, kind == CHANGE_NEW ? NULL : &old, &run, error);
  }
  change->on_run = kind == CHANGE_WHOLE ? r->on_run : newest;
  return status == LW_OK ? save_run(h, &run, change,
                                    kind == CHANGE_READING ? "reading" : "document", changed, error)
                         : status;
}

/* A change that was saved before is answered without being worked again. Of several at once each
   waits its turn, so that a reading is added to the newest run; another program that saves the same
   job in between makes it look again. */
static void change_job(hand *h, request *r, change_kind kind) {
  enum { LOOKS = 5 };
  char digest[DIGEST_TEXT];
  lw_error error = {0};
  lw_changed changed = {0};
  bool known = false;
  digest_of(r, digest);
  lw_store_change change = {r->key, digest, LW_ON_NEW_JOB};
  pthread_mutex_lock(&h->server->writing);
  lw_status status = lw_store_change_find(h->store, &change, &known, &changed, &error);
  for (int i = 0; status == LW_OK && !known && i < LOOKS; i++) {
    status = change_once(h, r, kind, &change, &changed, &error);
    if (kind != CHANGE_READING || changed.end != LW_CHANGE_STALE) break;
  }
  pthread_mutex_unlock(&h->server->writing);
  if (status != LW_OK) {
    reply_failure(r, status, &error);
  } else {
    reply_changed(r, &changed);
  }
}

void api_job_create(hand *h, request *r) {
  change_job(h, r, CHANGE_NEW);
}

void api_job_put(hand *h, request *r) {
  change_job(h, r, CHANGE_WHOLE);
}

void api_reading_add(hand *h, request *r) {
  change_job(h, r, CHANGE_READING);
}
