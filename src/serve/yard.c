/* yard.c - stands and classes, and the clocks that run the cars.
**
** A clock's thread looks at each of its stands in turn: it takes the stand's lock when it is free, else it
** leaves the car to the next round, which then runs it that much longer. A round that ends after the
** next was due is counted as missed; rounds are not made up for.
*/
#include "yard.h"

#include <errno.h>
#include <gnutls/crypto.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static const double tick = 0.1;      /* s */
static const double longest = 0.5;   /* s a car is run at once after waiting */
static const double unwatched = 60;  /* s after which a car nobody looks at stands still */
static const double over_kept = 600; /* s that a finished car is kept when room is needed */
static const double unused_kept = 3 * 3600;

/* ---- chance ---- */

bool yard_pass(char *text) {
  unsigned char random[(PASS_TEXT - 1) / 2];
  if (gnutls_rnd(GNUTLS_RND_KEY, random, sizeof random) != 0) return false;
  for (size_t i = 0; i < sizeof random; i++)
    snprintf(text + 2 * i, 3, "%02x", random[i]);
  return true;
}

uint64_t yard_seed(void) {
  uint64_t seed = 1;
  if (gnutls_rnd(GNUTLS_RND_NONCE, &seed, sizeof seed) != 0) seed = (uint64_t)(1e6 * seconds_now());
  return seed;
}

/* ---- cards kept ready ---- */

static lw_status base_fill(hand *h, base *b, const char *card, const char *text, size_t length,
                           lw_error *error) {
  lw_card *read = NULL;
  b->arena = lw_arena_new(0);
  if (!b->arena) return lw_fail(error, LW_NO_MEMORY, "no memory for this card");
  const char *own = lw_arena_copy(b->arena, text, length);
  const lw_bind bind = {b->arena, h->units, lw_arena_print(b->arena, "%s", card)};
  if (!own || !bind.file) return lw_fail(error, LW_NO_MEMORY, "no memory for this card");
  lw_status status = lw_card_read(&bind, own, length, &read, error);
  if (status == LW_OK) status = lw_test_car_new(b->arena, read, &b->car, error);
  return status;
}

static void base_empty(base *b) {
  lw_arena_free(b->arena);
  *b = (base){0};
}

/* The one that holds this text, or a free place; NULL: all are in use. */
static base *base_place(yard *y, const char *digest) {
  base *idle = NULL;
  for (size_t i = 0; i < BASES_MOST; i++) {
    base *b = &y->bases[i];
    if (b->arena && strcmp(b->digest, digest) == 0) return b;
    if (b->holders == 0 && (!idle || !b->arena)) idle = b;
  }
  return idle;
}

lw_status yard_base(hand *h, const char *card, base **out, lw_error *error) {
  yard *y = h->server->yard;
  const char *text = NULL;
  size_t length = 0;
  char digest[DIGEST_TEXT];
  lw_status status = card_text(h, card, &text, &length, error);
  if (status != LW_OK) return status;
  digest_text(text, length, digest);
  pthread_mutex_lock(&y->bases_lock);
  base *b = base_place(y, digest);
  if (!b) {
    status = lw_fail(error, LW_TOO_LARGE, "%d cards are being practised on; take one of them",
                     BASES_MOST);
  } else if (!b->arena || strcmp(b->digest, digest) != 0) {
    base_empty(b);
    status = base_fill(h, b, card, text, length, error);
    snprintf(b->card, sizeof b->card, "%s", card);
    snprintf(b->digest, sizeof b->digest, "%s", digest);
    if (status != LW_OK) base_empty(b);
  }
  if (status == LW_OK && b) {
    b->holders++;
    *out = b;
  }
  pthread_mutex_unlock(&y->bases_lock);
  return status;
}

void yard_base_back(yard *y, base *b) {
  if (!b) return;
  pthread_mutex_lock(&y->bases_lock);
  b->holders--;
  pthread_mutex_unlock(&y->bases_lock);
}

/* ---- stands ---- */

static void stand_free(yard *y, stand *s) {
  lw_practice_free(s->practice);
  yard_base_back(y, s->base);
  pthread_mutex_destroy(&s->lock);
  pthread_mutex_destroy(&s->looking);
  free(s->review);
  free(s);
}

/* With the yard's lock held; true: nobody holds it any more, and it is to be freed without it. */
static bool let_go(stand *s) {
  return --s->holders == 0;
}

void yard_give_back(yard *y, stand *s) {
  if (!s) return;
  pthread_mutex_lock(&y->lock);
  bool last = let_go(s);
  pthread_mutex_unlock(&y->lock);
  if (last) stand_free(y, s);
}

/* With the yard's lock held: out of the list; streams end. *last as of let_go. */
static stand *take_out(yard *y, size_t at, bool *last) {
  stand *s = y->stands[at];
  y->stands[at] = y->stands[--y->count];
  needles_end_all(s);
  *last = let_go(s);
  return s;
}

static bool may_go(const stand *s, double now) {
  double kept = s->progress.where == LW_PRACTICE_OVER ? over_kept : unused_kept;
  return now - s->used > kept;
}

/* The one unused longest goes when it may. */
static bool make_room(yard *y, stand **gone, bool *last) {
  size_t oldest = 0;
  double now = seconds_now();
  *gone = NULL;
  if (y->count < YARD_MOST) return true;
  for (size_t i = 1; i < y->count; i++) {
    bool more = may_go(y->stands[i], now) > may_go(y->stands[oldest], now);
    if (more || y->stands[i]->used < y->stands[oldest]->used) oldest = i;
  }
  if (!may_go(y->stands[oldest], now)) return false;
  *gone = take_out(y, oldest, last);
  return true;
}

stand *yard_add(yard *y, const stand *made) {
  stand *gone = NULL, *s = malloc(sizeof *s);
  bool last = false;
  if (!s) return NULL;
  *s = *made;
  pthread_mutex_init(&s->lock, NULL);
  pthread_mutex_init(&s->looking, NULL);
  s->holders = 2; /* the list, the caller */
  s->used = s->ticked = seconds_now();
  pthread_mutex_lock(&y->lock);
  bool room = !y->stopping && make_room(y, &gone, &last);
  if (room) {
    s->number = ++y->last_stand;
    y->stands[y->count++] = s;
  }
  pthread_mutex_unlock(&y->lock);
  if (gone && last) stand_free(y, gone);
  if (room) return s;
  pthread_mutex_destroy(&s->lock);
  pthread_mutex_destroy(&s->looking);
  free(s);
  return NULL;
}

static stand *hold(stand *s) {
  s->holders++;
  s->used = seconds_now();
  return s;
}

stand *yard_take(yard *y, int64_t number) {
  stand *found = NULL;
  pthread_mutex_lock(&y->lock);
  for (size_t i = 0; i < y->count && !found; i++) {
    if (y->stands[i]->number == number) found = hold(y->stands[i]);
  }
  pthread_mutex_unlock(&y->lock);
  return found;
}

stand *yard_made_with(yard *y, const char *key) {
  stand *found = NULL;
  pthread_mutex_lock(&y->lock);
  for (size_t i = 0; i < y->count && !found; i++) {
    if (strcmp(y->stands[i]->made.key, key) == 0) found = hold(y->stands[i]);
  }
  pthread_mutex_unlock(&y->lock);
  return found;
}

bool yard_has(yard *y, int64_t number, int64_t who) {
  bool has = false;
  pthread_mutex_lock(&y->lock);
  for (size_t i = 0; i < y->count; i++) {
    const stand *s = y->stands[i];
    has = has || (s->group == number && s->who == who && s->progress.where != LW_PRACTICE_OVER);
  }
  pthread_mutex_unlock(&y->lock);
  return has;
}

void yard_told(yard *y, stand *s) {
  progress p = {.where = lw_practice_where(s->practice),
                .minutes = lw_practice_minutes(s->practice),
                .wrong = lw_practice_wrong(s->practice)};
  const lw_act *acts = lw_practice_acts(s->practice, &p.moves);
  for (size_t i = 0; i < p.moves; i++)
    p.found = p.found || (acts[i].kind == LW_ACT_NAME && acts[i].right);
  pthread_mutex_lock(&y->lock);
  s->progress = p;
  pthread_mutex_unlock(&y->lock);
  if (p.where == LW_PRACTICE_OVER) needles_end_all(s);
  if (s->group) hub_tell(y->server->hub, -s->group, "board", "{}");
}

group *yard_group(yard *y, int64_t number) {
  for (size_t i = 0; i < CLASSES_MOST; i++) {
    if (number > 0 && y->groups[i].number == number) return &y->groups[i];
  }
  return NULL;
}

/* ---- the clock ---- */

/* A car somebody looks at, or worked on lately, runs. */
static bool runs(stand *s, double now) {
  return !needles_ended(s) && (now - s->used < unwatched || needles_watched(s));
}

static void tick_one(stand *s, double now) {
  char text[NEEDLES_TEXT];
  if (pthread_mutex_trylock(&s->lock) != 0) return; /* a hand is at it */
  double dt = now - s->ticked; /* after a rest it goes on, it does not catch up */
  s->ticked = now;
  bool over = lw_practice_where(s->practice) == LW_PRACTICE_OVER;
  if (!over) {
    lw_practice_tick(s->practice, dt < longest ? dt : tick);
    needles_text(s->practice, text);
  }
  pthread_mutex_unlock(&s->lock);
  if (!over) needles_put(s, text);
}

static void give_back_all(yard *y, stand **list, size_t count) {
  size_t gone = 0;
  pthread_mutex_lock(&y->lock);
  for (size_t i = 0; i < count; i++) {
    if (let_go(list[i])) list[gone++] = list[i];
  }
  pthread_mutex_unlock(&y->lock);
  for (size_t i = 0; i < gone; i++)
    stand_free(y, list[i]);
}

static void round_of(yard *y, int which, double due) {
  stand *list[YARD_MOST];
  size_t count = 0;
  pthread_mutex_lock(&y->lock);
  for (size_t i = 0; i < y->count; i++) {
    stand *s = y->stands[i];
    if (s->number % CLOCKS != which) continue;
    if (!runs(s, due)) continue;
    s->holders++;
    list[count++] = s;
  }
  pthread_mutex_unlock(&y->lock);
  for (size_t i = 0; i < count; i++)
    tick_one(list[i], due);
  give_back_all(y, list, count);
}

static bool wait_until(yard *y, double when) {
  struct timespec until = {.tv_sec = (time_t)when};
  until.tv_nsec = (long)((when - (double)until.tv_sec) * 1e9);
  pthread_mutex_lock(&y->lock);
  while (!y->stopping && pthread_cond_timedwait(&y->wake, &y->lock, &until) != ETIMEDOUT)
    continue;
  bool stop = y->stopping;
  pthread_mutex_unlock(&y->lock);
  return !stop;
}

static void note_round(ticker *t, uint64_t late, double took) {
  pthread_mutex_lock(&t->yard->lock);
  t->ticks++;
  t->missed += late;
  if (took > t->worst) t->worst = took;
  pthread_mutex_unlock(&t->yard->lock);
}

static void *clock_main(void *to) {
  ticker *t = to;
  double began = seconds_now();
  for (uint64_t n = 1; wait_until(t->yard, began + tick * (double)n); n++) {
    double due = began + tick * (double)n, from = seconds_now();
    round_of(t->yard, t->which, due);
    double now = seconds_now();
    uint64_t late = now - due > tick ? (uint64_t)((now - due) / tick) : 0;
    note_round(t, late, now - from);
    n += late;
  }
  return NULL;
}

/* ---- start and stop ---- */

lw_status yard_start(lw_server *server, lw_error *error) {
  pthread_condattr_t monotonic;
  yard *y = calloc(1, sizeof *y);
  if (!y) return lw_fail(error, LW_NO_MEMORY, "no memory for practice cars");
  server->yard = y;
  y->server = server;
  pthread_mutex_init(&y->lock, NULL);
  pthread_mutex_init(&y->bases_lock, NULL);
  pthread_mutex_init(&y->making, NULL);
  pthread_condattr_init(&monotonic);
  pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
  pthread_cond_init(&y->wake, &monotonic);
  pthread_condattr_destroy(&monotonic);
  for (int i = 0; i < CLOCKS; i++) {
    ticker *t = &y->clocks[i];
    t->yard = y;
    t->which = i;
    t->running = pthread_create(&t->thread, NULL, clock_main, t) == 0;
    if (!t->running) return lw_fail(error, LW_NO_MEMORY, "no thread for practice cars");
  }
  return LW_OK;
}

void yard_end(lw_server *server, int64_t device) {
  yard *y = server->yard;
  if (!y) return;
  pthread_mutex_lock(&y->lock);
  for (size_t i = 0; i < y->count; i++) {
    stand *s = y->stands[i];
    if (device != NOBODY) {
      needles_end(s, device);
    } else {
      needles_end_all(s);
    }
  }
  if (device == NOBODY) {
    y->stopping = true;
    pthread_cond_broadcast(&y->wake);
  }
  pthread_mutex_unlock(&y->lock);
  for (int i = 0; device == NOBODY && i < CLOCKS; i++) {
    if (y->clocks[i].running) pthread_join(y->clocks[i].thread, NULL);
    y->clocks[i].running = false;
  }
}

void yard_free(lw_server *server) {
  yard *y = server->yard;
  if (!y) return;
  while (y->count > 0) {
    bool last = false;
    stand *s = take_out(y, y->count - 1, &last);
    if (last) stand_free(y, s);
  }
  for (size_t i = 0; i < BASES_MOST; i++)
    base_empty(&y->bases[i]);
  pthread_mutex_destroy(&y->lock);
  pthread_mutex_destroy(&y->bases_lock);
  pthread_mutex_destroy(&y->making);
  pthread_cond_destroy(&y->wake);
  free(y);
  server->yard = NULL;
}
