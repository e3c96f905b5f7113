/* listener.c - from telegrams to readings: one instrument, driven by what happened to it.
**
** A reading is a line, a frame, or a whole round of answers. Nothing here looks at a clock: see
** instrument_internal.h.
*/
#include "instrument_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double remark_pause = 10; /* s: the same trouble is told again after it */

void lw_live_clear(lw_live *live) {
  memset(live, 0, sizeof *live);
  live->instrument = -1;
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    live->x[i] = live->wait[i] = live->mean[i] = live->spread[i] = LW_NONE;
}

static void forget_round(lw_listener *l) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    l->x[i] = LW_NONE;
  l->current = 0;
  l->waiting = false;
}

static void settlers_start(lw_listener *l) {
  const field *f = instrument_fields(l->instrument);
  for (size_t k = 0; k < l->instrument->fields.count; k++) {
    lw_settler_start(&l->settler[f[k].item], f[k].lag, f[k].within);
    lw_settler_tail(&l->settler[f[k].item], f[k].tail);
  }
}

void lw_listener_start(lw_listener *l, const lw_instrument *instrument, int index) {
  lw_live_taker take = l->take;
  void *to = l->to;
  memset(l, 0, sizeof *l);
  l->instrument = instrument;
  l->index = index;
  l->take = take;
  l->to = to;
  l->heard = l->stirred = l->remarked = l->last_time = LW_NONE;
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    l->last[i] = l->last_at[i] = LW_NONE;
  const field *f = instrument_fields(instrument);
  for (size_t k = 0; k < instrument->fields.count; k++)
    l->gives[f[k].item] = true;
  l->health.name = instrument->name;
  settlers_start(l);
  forget_round(l);
}

void lw_listener_begin(lw_listener *l) {
  l->health.stray += l->count;
  l->count = 0;
  l->heard = LW_NONE;
  l->whole = l->instrument->start.count > 0 || l->instrument->request_count > 0;
  l->status = 0;
  forget_round(l);
}

/* ---- telling ---- */

void lw_listener_state(const lw_listener *l, lw_live *live) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    const lw_settler *s = &l->settler[i];
    if (!l->gives[i] || !lw_known(l->last[i])) continue;
    live->state[i] = s->state;
    live->wait[i] = s->wait;
    live->mean[i] = s->mean;
    live->spread[i] = s->spread;
  }
}

static void tell(lw_listener *l, double time, lw_live_kind kind, const char *words) {
  lw_live live;
  lw_live_clear(&live);
  live.kind = kind;
  live.instrument = l->index;
  live.time = time;
  live.hc_basis = l->instrument->hc_basis;
  snprintf(live.words, sizeof live.words, "%s", words);
  l->take(l->to, &live);
}

/* Something is wrong with what comes: kept for whoever asks, and told now and then. */
static void remark(lw_listener *l, double time, const char *words) {
  snprintf(l->health.last, sizeof l->health.last, "%s", words);
  if (time - l->remarked < remark_pause) return; /* NaN: not yet */
  l->remarked = time;
  char line[LW_LIVE_WORDS];
  snprintf(line, sizeof line, "%.60s: %.130s", l->instrument->name, words);
  tell(l, time, LW_LIVE_REMARK, line);
}

/* ---- a reading ---- */

static bool fast(int item) {
  return item == LW_LIVE_SPEED || item == LW_LIVE_VACUUM;
}

static bool still_moves(const lw_settler *s) {
  bool known = s->state == LW_SETTLE_WAIT || s->state == LW_SETTLE_SETTLED;
  return known && s->count >= 4 && fabs(s->slope) * s->window > 1.5 * s->within;
}

/* Speed and vacuum show at once what gases show seconds later: while they move, no gas can have
   settled. A trend is seen as long as its window holds some of it, so what moves did so up to a
   window ago. */
static void stir(lw_listener *l, double time) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (fast(i) && l->gives[i] && still_moves(&l->settler[i]))
      l->stirred = fmax(time - l->settler[i].window, lw_known(l->stirred) ? l->stirred : 0);
  }
  if (lw_known(l->stirred)) lw_listener_stirred(l, l->stirred);
}

void lw_listener_stirred(lw_listener *l, double time) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (l->gives[i] && !fast(i)) lw_settler_moved(&l->settler[i], time);
  }
}

void lw_listener_moved(lw_listener *l, double time) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (l->gives[i]) lw_settler_moved(&l->settler[i], time);
  }
}

static void settle(lw_listener *l, double time, const double *x, lw_live *live) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (fast(i)) lw_settler_take(&l->settler[i], time, x[i]);
  }
  stir(l, time);
  int read = 0, settled = 0;
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (!lw_known(x[i])) continue;
    if (!fast(i)) lw_settler_take(&l->settler[i], time, x[i]);
    l->last[i] = x[i];
    l->last_at[i] = time;
    read++;
    settled += l->settler[i].state == LW_SETTLE_SETTLED;
    live->longest_wait = fmax(live->longest_wait, l->settler[i].wait);
  }
  live->settled = read > 0 && settled == read;
}

void lw_listener_reading(lw_listener *l, double time, const double *x) {
  lw_live live;
  if (!l->there && l->ever) {
    char words[LW_LIVE_WORDS];
    snprintf(words, sizeof words, "%.80s is back", l->instrument->name);
    tell(l, time, LW_LIVE_BACK, words);
  }
  l->there = l->ever = true;
  lw_live_clear(&live);
  live.kind = LW_LIVE_READING;
  live.instrument = l->index;
  live.time = l->last_time = time;
  live.hc_basis = l->instrument->hc_basis;
  memcpy(live.x, x, sizeof live.x);
  settle(l, time, x, &live);
  lw_listener_state(l, &live);
  l->health.readings++;
  l->take(l->to, &live);
}

/* A reading of nothing is one, too, when the instrument says that it has nothing to show. */
static void finish_round(lw_listener *l, double time, bool some) {
  double x[LW_LIVE_ITEMS];
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    some |= lw_known(l->x[i]);
  memcpy(x, l->x, sizeof x);
  forget_round(l);
  if (some) lw_listener_reading(l, time, x);
}

static void next_request(lw_listener *l, double time) {
  l->waiting = false;
  if (++l->current >= l->instrument->request_count) finish_round(l, time, false);
}

/* ---- telegrams ---- */

static void refused(lw_listener *l, double time, const telegram *f) {
  char words[LW_LIVE_WORDS];
  const question *q = &l->instrument->requests[l->current];
  l->health.bad_form++;
  if (l->instrument->protocol == LW_PROTOCOL_AK) {
    snprintf(words, sizeof words, "the instrument does not know the code %s", q->code);
  } else {
    snprintf(words, sizeof words, "station %d refuses registers %d to %d (exception %d)",
             l->instrument->station, q->address, q->address + q->registers - 1, f->status);
  }
  remark(l, time, words);
}

/* AK: the digit is 0 without error and counts on with each change. */
static void status_digit(lw_listener *l, double time, int status) {
  if (status != l->status && status > 0) {
    char words[LW_LIVE_WORDS];
    snprintf(words, sizeof words, "it reports an error (status %d)", status);
    remark(l, time, words);
  }
  l->status = status;
}

static void take_frame(lw_listener *l, double time, const telegram *f) {
  const lw_instrument *i = l->instrument;
  bool ak = i->protocol == LW_PROTOCOL_AK;
  bool modbus = i->protocol == LW_PROTOCOL_MODBUS_RTU || i->protocol == LW_PROTOCOL_MODBUS_TCP;
  int wrong = 0, doubted = 0;
  if (ak ? f->status < 0 : modbus && f->status > 0) {
    refused(l, time, f);
    next_request(l, time);
    return;
  }
  if (ak) status_digit(l, time, f->status);
  int found = lw_fields_read(i, l->current, f, l->x, &wrong, &doubted);
  l->health.doubted += (uint64_t)doubted;
  if (doubted) remark(l, time, "a value that cannot be was left out");
  if (wrong) {
    l->health.bad_form++;
    remark(l, time, found ? "a field holds no number" : "a line or telegram is not as described");
  }
  if (i->request_count) {
    next_request(l, time);
  } else {
    finish_round(l, time, !wrong && !doubted);
  }
}

static void drop(lw_listener *l, size_t n) {
  memmove(l->bytes, l->bytes + n, l->count - n);
  l->count -= n;
}

/* The first line after the port was opened may be the end of one. */
static bool first_piece(lw_listener *l, const telegram *f) {
  if (l->whole || l->instrument->protocol != LW_PROTOCOL_LINES) return false;
  l->whole = true;
  l->health.stray += f->used;
  drop(l, f->used);
  return true;
}

static bool one_frame(lw_listener *l, double time) {
  const question *wanted = l->waiting ? &l->instrument->requests[l->current] : NULL;
  telegram f;
  frame_state state = lw_frame_find(l->instrument, wanted, l->transaction, l->bytes, l->count, &f);
  bool asked = l->instrument->request_count > 0;
  if (state == FRAME_MORE) {
    l->health.stray += f.noise;
    drop(l, f.used);
    return f.used > 0 && l->count > 0;
  }
  if (first_piece(l, &f)) return l->count > 0;
  l->health.stray += f.noise;
  unsigned char copy[FRAME_MOST + CHUNK_MOST]; /* what is told may ask for more */
  memcpy(copy, f.data, f.length);
  f.data = copy;
  drop(l, f.used);
  if (state == FRAME_WHOLE) {
    take_frame(l, time, &f);
  } else if (state == FRAME_BAD_CHECKSUM) {
    l->health.bad_checksum++;
    remark(l, time, "a checksum was wrong; what it stood for was thrown away");
  } else if (asked || l->instrument->start.count || l->instrument->protocol == LW_PROTOCOL_LINES) {
    l->health.bad_form++;
    remark(l, time, "a line or telegram is not as described");
  }
  return l->count > 0;
}

void lw_listener_hear(lw_listener *l, double time, const void *bytes, size_t length) {
  const unsigned char *p = bytes;
  l->health.bytes += length;
  if (l->count && time - l->heard > l->instrument->gap) { /* the rest of it never came */
    l->health.bad_form++;
    l->health.stray += l->count;
    l->count = 0;
    if (!l->instrument->start.count && !l->instrument->request_count) l->whole = false;
  }
  l->heard = time;
  while (length > 0) {
    size_t room = sizeof l->bytes - l->count, n = length < room ? length : room;
    memcpy(l->bytes + l->count, p, n);
    l->count += n;
    p += n;
    length -= n;
    while (l->count > 0 && one_frame(l, time))
      ;
    if (l->count == sizeof l->bytes) { /* no finder keeps so much: never, but no endless loop */
      l->health.stray += l->count;
      l->count = 0;
    }
  }
}

/* ---- questions ---- */

const question *lw_listener_ask(lw_listener *l) {
  l->health.stray += l->count;
  l->count = 0;
  l->waiting = true;
  l->transaction++;
  return &l->instrument->requests[l->current];
}

void lw_listener_no_answer(lw_listener *l, double time) {
  if (!l->waiting) return;
  l->health.unanswered++;
  remark(l, time,
         l->count ? "an answer came in part or with a wrong checksum" : "no answer in time");
  l->health.stray += l->count;
  l->count = 0;
  next_request(l, time);
}

/* ---- lost ---- */

void lw_listener_lost(lw_listener *l, double time, const char *why) {
  char words[LW_LIVE_WORDS];
  if (l->there || !l->ever) l->health.losses++;
  l->there = false;
  l->ever = true;
  lw_listener_begin(l);
  settlers_start(l);
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    l->last[i] = LW_NONE;
  snprintf(l->health.last, sizeof l->health.last, "%s", why);
  snprintf(words, sizeof words, "%.60s: %.120s", l->instrument->name, why);
  tell(l, time, LW_LIVE_LOST, words);
}

/* ---- by itself ---- */

static void ignore(void *to, const lw_live *live) {
  (void)to;
  (void)live;
}

lw_status lw_listener_new(const lw_instrument *instrument, lw_listener **listener,
                          lw_error *error) {
  lw_listener *l = calloc(1, sizeof *l);
  if (!l) return lw_fail(error, LW_NO_MEMORY, "no memory to listen to an instrument");
  lw_listener_start(l, instrument, 0);
  l->take = ignore;
  lw_listener_begin(l);
  *listener = l;
  return LW_OK;
}

void lw_listener_free(lw_listener *listener) {
  free(listener);
}

void lw_listener_bytes(lw_listener *l, double time, const void *bytes, size_t length,
                       lw_live_taker take, void *to) {
  l->take = take;
  l->to = to;
  const unsigned char *p = bytes;
  if (!l->instrument->request_count) {
    lw_listener_hear(l, time, bytes, length);
    return;
  }
  for (size_t i = 0; i < length; i++) { /* an answer ends the wait for it: ask again at once */
    if (!l->waiting) lw_listener_ask(l);
    lw_listener_hear(l, time, p + i, 1);
  }
}

lw_health lw_listener_health(const lw_listener *l) {
  lw_health health = l->health;
  health.there = l->there;
  return health;
}
