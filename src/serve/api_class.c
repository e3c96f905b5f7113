/* api_class.c - a class: one fault on one card, many learners, a board of how far each is. The
** trainer holds its pass; without it the board does not say what is wrong.
*/
#include "yard.h"

#include <stdlib.h>
#include <string.h>

static bool has_pass(const request *r, const group *g) {
  return r->pass && strlen(r->pass) == strlen(g->pass) &&
         same_secret(r->pass, g->pass, strlen(g->pass));
}

/* ---- as JSON; all under the yard's lock ---- */

static const char *state_text(const progress *p) {
  bool over = p->where == LW_PRACTICE_OVER;
  return p->found ? (over ? "done" : "found") : over ? "gave up" : "seeking";
}

static json_t *learner_json(stand *s, double now) {
  return json_pack("{s:I, s:s, s:s, s:b, s:f, s:I, s:i, s:f}", "practice", (json_int_t)s->number,
                   "name", s->name, "state", state_text(&s->progress), "found",
                   (int)s->progress.found, "minutes", s->progress.minutes, "moves",
                   (json_int_t)s->progress.moves, "wrong", s->progress.wrong, "idle_s",
                   needles_watched(s) ? 0.0 : now - s->used);
}

static json_t *learners_json(const yard *y, const group *g, size_t *found) {
  double now = seconds_now();
  json_t *list = json_array();
  *found = 0;
  for (size_t i = 0; i < y->count; i++) {
    if (y->stands[i]->group != g->number) continue;
    *found += y->stands[i]->progress.found;
    json_array_append_new(list, learner_json(y->stands[i], now));
  }
  return list;
}

static json_t *class_json(const yard *y, const group *g, bool trainer) {
  size_t found = 0;
  const lw_card *card = g->base->car->twin->card;
  json_t *learners = learners_json(y, g, &found);
  return json_pack("{s:I, s:s, s:b, s:s, s:s, s:s, s:I, s:o, s:o}", "class", (json_int_t)g->number,
                   "title", g->title, "open", (int)g->open, "card", g->base->card, "unit",
                   card->unit ? card->unit : "", "complaint", g->fault.complaint, "found",
                   (json_int_t)found, "learners", learners, "fault",
                   trainer ? json_string(g->fault.name) : json_null());
}

/* ---- a new class ---- */

typedef struct plan {
  const char *card, *title;
  lw_cause_id cause;
} plan;

static bool take_plan(request *r, const json_t *body, plan *p) {
  if (!practice_keys(r, body, " card cause title ")) return false;
  p->card = practice_text(body, "card", 120);
  p->title = practice_text(body, "title", PERSON_TEXT);
  if (!p->title || !p->title[strspn(p->title, " ")]) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT,
                "title: what the class is called, in up to 40 letters, was expected");
    return false;
  }
  if (!p->card || !p->card[0]) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT,
                "card: one that GET /api/cards lists was expected");
    return false;
  }
  return practice_cause_asked(r, body, &p->cause);
}

static bool in_use(const yard *y, int64_t number) {
  for (size_t i = 0; i < y->count; i++) {
    if (y->stands[i]->group == number) return true;
  }
  return false;
}

/* A free place, or a closed class nobody is in any more; its base comes back by *old. */
static group *free_place(yard *y, base **old) {
  group *found = NULL;
  *old = NULL;
  for (size_t i = 0; i < CLASSES_MOST; i++) {
    group *g = &y->groups[i];
    if (!g->number) return g;
    if (!g->open && !in_use(y, g->number) && (!found || g->number < found->number)) found = g;
  }
  if (found) *old = found->base;
  return found;
}

static void reply_made(request *r, const group *g) {
  json_t *json = class_json(r->server->yard, g, true);
  if (json) json_object_set_new(json, "pass", json_string(g->pass));
  snprintf(r->reply.location, sizeof r->reply.location, "/api/classes/%lld", (long long)g->number);
  reply_json(r, MHD_HTTP_CREATED, json);
}

static void put_in(request *r, const group *made) {
  yard *y = r->server->yard;
  base *old = NULL;
  pthread_mutex_lock(&y->lock);
  group *g = free_place(y, &old);
  if (g) {
    *g = *made;
    g->number = ++y->last_group;
    reply_made(r, g);
  }
  pthread_mutex_unlock(&y->lock);
  if (!g) {
    reply_error(r, MHD_HTTP_SERVICE_UNAVAILABLE, "%d classes are there; close one that has ended",
                CLASSES_MOST);
  }
  yard_base_back(y, g ? old : made->base);
}

static void new_class(hand *h, request *r, const json_t *body, const char *digest) {
  plan p = {0};
  lw_error error = {0};
  group g = {.seed = yard_seed(), .open = true};
  if (!take_plan(r, body, &p)) return;
  snprintf(g.title, sizeof g.title, "%s", p.title);
  snprintf(g.made.key, sizeof g.made.key, "%s", r->key);
  snprintf(g.made.digest, sizeof g.made.digest, "%s", digest);
  lw_status status = yard_pass(g.pass) ? yard_base(h, p.card, &g.base, &error)
                                       : lw_fail(&error, LW_IO, "no chance to be had");
  if (status == LW_OK)
    status = lw_fault_draw(h->units, g.base->car, p.cause, g.seed, &g.fault, &error);
  if (status == LW_OK) {
    put_in(r, &g);
    return;
  }
  yard_base_back(r->server->yard, g.base);
  reply_failure(r, status, &error);
}

/* Sent again: the same class. False: it is new. */
static bool made_before(request *r, const char *digest) {
  yard *y = r->server->yard;
  bool known = false;
  pthread_mutex_lock(&y->lock);
  for (size_t i = 0; i < CLASSES_MOST && !known; i++) {
    const group *g = &y->groups[i];
    known = g->number && strcmp(g->made.key, r->key) == 0;
    if (known && strcmp(g->made.digest, digest) == 0) {
      reply_made(r, g);
    } else if (known) {
      reply_error(r, MHD_HTTP_CONFLICT,
                  "this Idempotency-Key was used for another change; make a new one");
    }
  }
  pthread_mutex_unlock(&y->lock);
  return known;
}

void api_class_new(hand *h, request *r) {
  char digest[DIGEST_TEXT];
  digest_of(r, digest);
  pthread_mutex_lock(&h->server->yard->making);
  if (!made_before(r, digest)) {
    json_t *body = practice_body(r);
    if (body) new_class(h, r, body, digest);
    json_decref(body);
  }
  pthread_mutex_unlock(&h->server->yard->making);
}

/* ---- the board ---- */

void api_classes(hand *h, request *r) {
  yard *y = r->server->yard;
  json_t *list = json_array();
  (void)h;
  pthread_mutex_lock(&y->lock);
  for (size_t i = 0; i < CLASSES_MOST; i++) {
    const group *g = &y->groups[i];
    if (g->number) json_array_append_new(list, class_json(y, g, has_pass(r, g)));
  }
  pthread_mutex_unlock(&y->lock);
  reply_json(r, MHD_HTTP_OK, json_pack("{s:o}", "classes", list));
}

static void no_class(request *r) {
  reply_error(r, MHD_HTTP_NOT_FOUND, "there is no class of this number");
}

void api_class(hand *h, request *r) {
  yard *y = r->server->yard;
  json_t *json = NULL;
  (void)h;
  pthread_mutex_lock(&y->lock);
  const group *g = yard_group(y, r->number);
  if (g) json = class_json(y, g, has_pass(r, g));
  pthread_mutex_unlock(&y->lock);
  if (g) {
    reply_json(r, MHD_HTTP_OK, json);
  } else {
    no_class(r);
  }
}

/* Nobody joins any more; who works goes on. */
void api_class_close(hand *h, request *r) {
  yard *y = r->server->yard;
  json_t *json = NULL;
  bool may = false;
  (void)h;
  pthread_mutex_lock(&y->lock);
  group *g = yard_group(y, r->number);
  may = g && has_pass(r, g);
  if (may) {
    g->open = false;
    json = class_json(y, g, true);
  }
  pthread_mutex_unlock(&y->lock);
  if (may) {
    hub_tell(y->server->hub, -r->number, "board", "{}");
    reply_json(r, MHD_HTTP_OK, json);
  } else if (g) {
    reply_error(r, MHD_HTTP_FORBIDDEN,
                "only its trainer closes a class: the Practice-Pass is "
                "missing");
  } else {
    no_class(r);
  }
}
