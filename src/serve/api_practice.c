/* api_practice.c - a practice car asked for, worked on, ended and reviewed. docs/practice.md says
** what each move is; openapi.json its form.
*/
#include "yard.h"

#include <stdlib.h>
#include <string.h>

/* ---- bodies ---- */

json_t *practice_body(request *r) {
  json_error_t wrong;
  json_t *body = json_loadb(r->body ? r->body : "", r->used, JSON_REJECT_DUPLICATES, &wrong);
  if (json_is_object(body)) return body;
  if (body) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT, "the body must be an object");
  } else {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT, "the body is no JSON: %.200s", wrong.text);
  }
  json_decref(body);
  return NULL;
}

/* "": not given. NULL: not a text, or too long. */
const char *practice_text(const json_t *body, const char *key, size_t most) {
  const json_t *value = json_object_get(body, key);
  const char *text = value ? json_string_value(value) : "";
  return text && strlen(text) < most ? text : NULL;
}

bool practice_keys(request *r, const json_t *body, const char *known) {
  const char *key;
  json_t *value;
  json_object_foreach((json_t *)(uintptr_t)body, key, value) { // NOLINT(performance-no-int-to-ptr)
    char word[64];
    snprintf(word, sizeof word, " %.60s ", key);
    if (strstr(known, word)) continue;
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT, "'%.40s' is not a key this takes; it takes%s",
                key, known);
    return false;
  }
  return true;
}

/* ---- causes by name ---- */

/* LW_CAUSES: none of this name. */
static lw_cause_id practice_cause(const char *name) {
  for (int i = 0; i < LW_CAUSES; i++) {
    if (lw_fault_may((lw_cause_id)i) && lw_text_same(lw_cause_text((lw_cause_id)i), name))
      return (lw_cause_id)i;
  }
  return LW_CAUSES;
}

/* "": any, drawn. False: r has the refusal. */
bool practice_cause_asked(request *r, const json_t *body, lw_cause_id *cause) {
  const char *name = practice_text(body, "cause", 80);
  *cause = LW_CAUSES;
  if (name && !name[0]) return true;
  *cause = name ? practice_cause(name) : LW_CAUSES;
  if (*cause != LW_CAUSES) return true;
  reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT,
              "cause: one that GET /api/practice lists was expected, or none for a hidden one");
  return false;
}

void api_practice(hand *h, request *r) {
  yard *y = r->server->yard;
  json_t *causes = json_array();
  (void)h;
  for (int i = 0; i < LW_CAUSES; i++) {
    if (lw_fault_may((lw_cause_id)i))
      json_array_append_new(causes, json_string(lw_cause_text((lw_cause_id)i)));
  }
  uint64_t ticks = 0, missed = 0;
  double worst = 0;
  pthread_mutex_lock(&y->lock);
  size_t cars = y->count;
  for (int i = 0; i < CLOCKS; i++) {
    const ticker *t = &y->clocks[i];
    ticks += t->ticks;
    missed += t->missed;
    worst = t->worst > worst ? t->worst : worst;
  }
  pthread_mutex_unlock(&y->lock);
  json_t *json = json_pack("{s:o, s:I, s:i, s:I, s:I, s:f}", "causes", causes, "cars",
                           (json_int_t)cars, "cars_most", YARD_MOST, "ticks", (json_int_t)ticks,
                           "missed_ticks", (json_int_t)missed, "longest_round_s", worst);
  reply_json(r, MHD_HTTP_OK, json);
}

/* ---- who may ---- */

static bool has_pass(const request *r, const char *pass) {
  return r->pass && strlen(r->pass) == strlen(pass) && same_secret(r->pass, pass, strlen(pass));
}

static bool has_class_pass(const request *r, const stand *s) {
  yard *y = r->server->yard;
  pthread_mutex_lock(&y->lock);
  const group *g = yard_group(y, s->group);
  bool has = g && has_pass(r, g->pass);
  pthread_mutex_unlock(&y->lock);
  return has;
}

/* The stand r names, held, when the pass is its own or, to look on, its class's; NULL: r has the
   refusal. */
static stand *take_stand(request *r, bool look) {
  stand *s = yard_take(r->server->yard, r->number);
  if (!s) {
    reply_error(r, MHD_HTTP_NOT_FOUND, "there is no practice car of this number, or no longer");
    return NULL;
  }
  if (has_pass(r, s->pass) || (look && has_class_pass(r, s))) return s;
  reply_error(r, MHD_HTTP_FORBIDDEN, "this is another learner's car: its Practice-Pass is missing");
  yard_give_back(r->server->yard, s);
  return NULL;
}

/* ---- a new car ---- */

typedef struct wish {
  const char *card, *name;
  lw_cause_id cause;
  int64_t group;
} wish;

static bool take_wish(request *r, const json_t *body, wish *w) {
  const json_t *number = json_object_get(body, "class");
  if (!practice_keys(r, body, " card cause class name ")) return false;
  w->card = practice_text(body, "card", 120);
  w->name = practice_text(body, "name", PERSON_TEXT);
  w->group = json_integer_value(number);
  bool in_class = json_is_integer(number) && w->group > 0;
  if (!w->name || (in_class && !w->name[strspn(w->name, " ")])) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT,
                in_class ? "name: who learns, in up to 40 letters, was expected"
                         : "name: a text of up to 40 letters was expected");
  } else if (number && !in_class) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT, "class: the number of one was expected");
  } else if (in_class && (json_object_get(body, "card") || json_object_get(body, "cause"))) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT,
                "card and cause are the class's: they are not chosen by who joins it");
  } else if (!in_class && (!w->card || !w->card[0])) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT,
                "card: one that GET /api/cards lists was "
                "expected");
  } else {
    return practice_cause_asked(r, body, &w->cause);
  }
  return false;
}

/* The class's fault on the class's card. False: r has the refusal. */
static bool join(request *r, const wish *w, stand *made, lw_fault *fault, uint64_t *seed) {
  yard *y = r->server->yard;
  if (r->who > 0 && yard_has(y, w->group, r->who)) {
    reply_error(r, MHD_HTTP_CONFLICT, "this device has a car of this class; end that one first");
    return false;
  }
  pthread_mutex_lock(&y->lock);
  const group *g = yard_group(y, w->group);
  bool open = g && g->open;
  if (open) {
    made->base = g->base;
    *fault = g->fault;
    *seed = g->seed;
  }
  pthread_mutex_unlock(&y->lock);
  if (open) {
    pthread_mutex_lock(&y->bases_lock);
    made->base->holders++;
    pthread_mutex_unlock(&y->bases_lock);
    made->group = w->group;
    return true;
  }
  reply_error(r, g ? MHD_HTTP_CONFLICT : MHD_HTTP_NOT_FOUND,
              g ? "this class is closed" : "there is no class of this number");
  return false;
}

/* made->practice is there when it is LW_OK and r has no reply. */
static lw_status make_practice(hand *h, request *r, const wish *w, stand *made, lw_error *error) {
  lw_fault fault;
  uint64_t seed = yard_seed();
  lw_status status = LW_OK;
  if (w->group) {
    if (!join(r, w, made, &fault, &seed)) return LW_OK;
  } else {
    status = yard_base(h, w->card, &made->base, error);
    if (status == LW_OK)
      status = lw_fault_draw(h->units, made->base->car, w->cause, seed, &fault, error);
  }
  if (status == LW_OK)
    status = lw_practice_new(h->units, made->base->car, &fault, seed, &made->practice, error);
  return status;
}

static void reply_made(request *r, const stand *s) {
  json_t *json = practice_json(s);
  if (json) json_object_set_new(json, "pass", json_string(s->pass));
  snprintf(r->reply.location, sizeof r->reply.location, "/api/practice/%lld", (long long)s->number);
  reply_json(r, MHD_HTTP_CREATED, json);
}

/* Sent again: the same car. False: it is new. */
static bool made_before(request *r, const char *digest) {
  yard *y = r->server->yard;
  stand *s = yard_made_with(y, r->key);
  if (!s) return false;
  if (strcmp(s->made.digest, digest) == 0) {
    pthread_mutex_lock(&s->lock);
    reply_made(r, s);
    pthread_mutex_unlock(&s->lock);
  } else {
    reply_error(r, MHD_HTTP_CONFLICT,
                "this Idempotency-Key was used for another change; make a new one");
  }
  yard_give_back(y, s);
  return true;
}

static void put_in(request *r, stand *made) {
  yard *y = r->server->yard;
  stand *s = yard_add(y, made);
  if (!s) {
    r->reply.retry_after = 60;
    reply_error(r, MHD_HTTP_SERVICE_UNAVAILABLE,
                "%d practice cars run already; one that has ended is given away after ten minutes",
                YARD_MOST);
    lw_practice_free(made->practice);
    yard_base_back(y, made->base);
    return;
  }
  pthread_mutex_lock(&s->lock);
  yard_told(y, s);
  reply_made(r, s);
  pthread_mutex_unlock(&s->lock);
  yard_give_back(y, s);
}

static void new_car(hand *h, request *r, const json_t *body, const char *digest) {
  wish w = {0};
  lw_error error = {0};
  stand made = {.who = r->who};
  if (!take_wish(r, body, &w)) return;
  snprintf(made.name, sizeof made.name, "%s", w.name);
  snprintf(made.made.key, sizeof made.made.key, "%s", r->key);
  snprintf(made.made.digest, sizeof made.made.digest, "%s", digest);
  lw_status status = yard_pass(made.pass) ? make_practice(h, r, &w, &made, &error)
                                          : lw_fail(&error, LW_IO, "no chance to be had");
  if (status == LW_OK && made.practice) {
    put_in(r, &made);
    return;
  }
  yard_base_back(r->server->yard, made.base);
  if (status != LW_OK) reply_failure(r, status, &error);
}

void api_practice_new(hand *h, request *r) {
  char digest[DIGEST_TEXT];
  digest_of(r, digest);
  pthread_mutex_lock(&h->server->yard->making);
  if (!made_before(r, digest)) {
    json_t *body = practice_body(r);
    if (body) new_car(h, r, body, digest);
    json_decref(body);
  }
  pthread_mutex_unlock(&h->server->yard->making);
}

/* ---- looked at ---- */

void api_practice_state(hand *h, request *r) {
  (void)h;
  stand *s = take_stand(r, true);
  if (!s) return;
  pthread_mutex_lock(&s->lock);
  reply_json(r, MHD_HTTP_OK, practice_json(s));
  pthread_mutex_unlock(&s->lock);
  yard_give_back(r->server->yard, s);
}

/* ---- moves ---- */

static int screw_of(const lw_practice *p, const char *name) {
  lw_practice_screw screws[LW_SIGHT_SCREWS + 1];
  size_t count = lw_practice_screws(p, screws);
  for (size_t i = 0; i < count; i++) {
    if (lw_text_same(screws[i].name, name)) return (int)i;
  }
  return -1;
}

static int hose_of(const char *name) {
  for (int i = 0; i < LW_HOSES; i++) {
    if (lw_text_same(lw_hose_text((lw_hose_id)i), name)) return i;
  }
  return -1;
}

static int check_of(const char *name) {
  size_t count = 0;
  const lw_next_test *checks = lw_plain_tests(&count);
  for (size_t i = 0; i < count; i++) {
    if (lw_text_same(checks[i].name, name)) return (int)i;
  }
  return -1;
}

static int cause_of(const char *name) {
  lw_cause_id cause = practice_cause(name);
  return cause == LW_CAUSES ? -1 : (int)cause;
}

/* Of each move: the key beside "move", "" for none, and its form. */
typedef struct move_form {
  const char *which, *amount, *expected;
} move_form;
static const move_form forms[LW_ACTS] = {
    [LW_ACT_TURN] = {"screw", "turns", "screw, and turns counter-clockwise"},
    [LW_ACT_PEDAL] = {"", "share", "share, 0 to 1"},
    [LW_ACT_HOLD] = {"", "speed_rad_s", "speed_rad_s"},
    [LW_ACT_BLIP] = {"", "", "nothing else"},
    [LW_ACT_HOSE] = {"hose", "plugged", "hose, and plugged: true or false"},
    [LW_ACT_GEAR] = {"", "drive", "drive: true or false"},
    [LW_ACT_START] = {"", "", "nothing else"},
    [LW_ACT_STOP] = {"", "", "nothing else"},
    [LW_ACT_WAIT] = {"", "", "nothing else"},
    [LW_ACT_READ] = {"", "", "nothing else"},
    [LW_ACT_CHECK] = {"check", "", "check"},
    [LW_ACT_NAME] = {"cause", "", "cause"},
};

static int kind_of(const char *name) {
  for (int i = 0; i < LW_ACTS; i++) {
    if (name && strcmp(lw_act_text((lw_act_kind)i), name) == 0) return i;
  }
  return -1;
}

static bool take_amount(const json_t *value, bool yes_no, double *amount) {
  if (yes_no ? !json_is_boolean(value) : !json_is_number(value)) return false;
  *amount = yes_no ? json_is_true(value) : json_number_value(value);
  return true;
}

static int which_of(const lw_practice *p, lw_act_kind kind, const char *name) {
  switch (kind) {
  case LW_ACT_TURN: return screw_of(p, name);
  case LW_ACT_HOSE: return hose_of(name);
  case LW_ACT_CHECK: return check_of(name);
  default: return cause_of(name);
  }
}

/* False: r has the refusal. */
static bool take_act(request *r, const lw_practice *p, const json_t *body, lw_act *act) {
  int kind = kind_of(json_string_value(json_object_get(body, "move")));
  if (kind < 0) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT,
                "move: one of turn, pedal, hold, blip, hose, gear, start, stop, wait, read, check, "
                "name was expected");
    return false;
  }
  const move_form *f = &forms[kind];
  const char *name = f->which[0] ? json_string_value(json_object_get(body, f->which)) : NULL;
  bool yes_no = kind == LW_ACT_HOSE || kind == LW_ACT_GEAR;
  bool good = json_object_size(body) == 1u + (f->which[0] != 0) + (f->amount[0] != 0);
  *act = (lw_act){.kind = (lw_act_kind)kind, .which = -1};
  if (good && f->which[0]) good = name != NULL;
  if (good && f->amount[0]) {
    good = take_amount(json_object_get(body, f->amount), yes_no, &act->amount);
  }
  if (!good) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT, "%s: %s was expected",
                lw_act_text((lw_act_kind)kind), f->expected);
    return false;
  }
  if (name) act->which = which_of(p, act->kind, name);
  if (!name || act->which >= 0) return true;
  reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT, "%s: '%.60s' is none this car has", f->which,
              name);
  return false;
}

/* 1: made before; 0: new; -1: another change with this key. */
static int key_known(const stand *s, const char *key, const char *digest) {
  size_t kept = s->key_count < KEYS_KEPT ? s->key_count : KEYS_KEPT;
  for (size_t i = 0; i < kept; i++) {
    if (strcmp(s->keys[i].key, key) == 0) return strcmp(s->keys[i].digest, digest) == 0 ? 1 : -1;
  }
  return 0;
}

static void keep_key(stand *s, const char *key, const char *digest) {
  kept_key *k = &s->keys[s->key_count++ % KEYS_KEPT];
  snprintf(k->key, sizeof k->key, "%s", key);
  snprintf(k->digest, sizeof k->digest, "%s", digest);
}

static bool move_once(hand *h, request *r, stand *s) {
  lw_act act;
  lw_error error = {0};
  json_t *body = practice_body(r);
  bool good = body && take_act(r, s->practice, body, &act);
  json_decref(body);
  if (!good) return false;
  lw_status status = lw_practice_do(s->practice, h->units, &act, &error);
  if (status != LW_OK) reply_failure(r, status, &error);
  return status == LW_OK;
}

/* change: true when it was made. */
static void change_stand(hand *h, request *r, bool (*change)(hand *, request *, stand *)) {
  char digest[DIGEST_TEXT];
  stand *s = take_stand(r, false);
  if (!s) return;
  digest_of(r, digest);
  pthread_mutex_lock(&s->lock);
  int known = key_known(s, r->key, digest);
  if (known < 0) {
    reply_error(r, MHD_HTTP_CONFLICT,
                "this Idempotency-Key was used for another change; make a new one");
  } else if (known > 0 || change(h, r, s)) {
    if (!known) {
      keep_key(s, r->key, digest);
      yard_told(r->server->yard, s);
    }
    reply_json(r, MHD_HTTP_OK, practice_json(s));
  }
  pthread_mutex_unlock(&s->lock);
  yard_give_back(r->server->yard, s);
}

void api_practice_move(hand *h, request *r) {
  change_stand(h, r, move_once);
}

/* ---- the end ---- */

static bool end_once(hand *h, request *r, stand *s) {
  (void)h;
  (void)r;
  lw_practice_end(s->practice);
  return true;
}

void api_practice_end(hand *h, request *r) {
  change_stand(h, r, end_once);
}

/* Worked out once, then kept. */
static lw_status make_review(hand *h, stand *s, lw_error *error) {
  lw_review *review = NULL;
  if (s->review) return LW_OK;
  lw_status status = lw_practice_review(h->arena, h->units, s->practice, &review, error);
  if (status != LW_OK) return status;
  json_t *json = practice_review_json(review);
  s->review = json ? json_dumps(json, JSON_COMPACT) : NULL;
  json_decref(json);
  return s->review ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no memory for the review");
}

void api_practice_review(hand *h, request *r) {
  lw_error error = {0};
  stand *s = take_stand(r, true);
  if (!s) return;
  pthread_mutex_lock(&s->lock);
  if (lw_practice_where(s->practice) != LW_PRACTICE_OVER) {
    reply_error(r, MHD_HTTP_CONFLICT, "the review comes when the exercise has ended");
  } else {
    lw_status status = make_review(h, s, &error);
    if (status != LW_OK) {
      reply_failure(r, status, &error);
    } else {
      r->reply.body = strdup(s->review);
      r->reply.length = strlen(s->review);
      r->reply.type = "application/json";
      r->reply.status = r->reply.body ? MHD_HTTP_OK : MHD_HTTP_SERVICE_UNAVAILABLE;
    }
  }
  pthread_mutex_unlock(&s->lock);
  yard_give_back(r->server->yard, s);
}
