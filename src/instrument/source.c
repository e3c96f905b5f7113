/* source.c - several instruments, a log and a clock as one row of readings.
**
** One loop: what is waiting in the queue goes out first; then either the next entry of what is
** played, or whatever poll(2) finds on the ports. Whatever happens becomes an event; an event is
** written to the log and then does what it does (apply), live and on replay by the same code.
*/
#include "instrument_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { QUEUE_MOST = CHUNK_MOST + 32 };

static const double first_retry = 0.1, longest_retry = 2; /* s */
/* A line holds this many chunks for a program that was away (a terminal 4 kB, doubled). */
enum { HELD_MOST = 2 * 4096 / CHUNK_MOST };
static const char wall_set[] = " set";  /* behind the time of a W in the middle of a session */
static const double sleep_least = 1;    /* s */
static const int64_t wall_apart = 1000; /* ms: less is a clock that is steered, not set */
/* s: away for longer, and a fast line may have lost some of what it held */
static const double away_most = 2;

typedef struct wire {
  plug port;
  double round_at;                           /* s of the source's clock: the next round begins */
  double ask_at, answer_by, retry_at, retry; /* s of the source's clock */
  double silent_from;                        /* s: since when nothing was read */
  double quiet;                              /* s: when it was last seen to have nothing to say */
  int looks;                                 /* in a row that found something */
  bool lost;                                 /* told as lost */
} wire;

struct lw_source {
  source_clocks clocks;
  int64_t base_us; /* of the source's clock when it began */
  double began;    /* now_of() then */
  double slept;    /* s of sleep that are accounted for */
  int64_t wall_ms; /* time of day at 0 of the source's clock, as the clock on the wall stands now */
  size_t count;
  const lw_instrument *instrument[LW_SOURCE_INSTRUMENTS];
  lw_listener *listener[LW_SOURCE_INSTRUMENTS];
  wire wire[LW_SOURCE_INSTRUMENTS];
  int wake[2]; /* pipe */
  log_file log;
  double log_retry;
  /* what is played */
  log_reader *played;
  csv_reader *csv;
  lw_units *units;
  lw_arena *arena;                /* of the descriptions in a log */
  double speed, due_from, due_at; /* s: entry time and lw_now() that belong together */
  event next;
  bool next_there, over;
  double next_time, next_x[LW_LIVE_ITEMS];
  char next_words[LW_LIVE_WORDS];
  int next_state;
  /* what goes out */
  lw_hc_basis typed_basis;
  double typed[LW_LIVE_ITEMS], typed_at[LW_LIVE_ITEMS];
  uint64_t number;
  double newest;
  size_t first, waiting, dropped;
  lw_live queue[QUEUE_MOST];
};

/* Goes on while the machine sleeps: what was settled before is not taken for settled after. */
double lw_now(void) {
  struct timespec t;
  if (clock_gettime(CLOCK_BOOTTIME, &t) != 0) clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* s since the machine was started that it has slept. */
static double usual_slept(void *to) {
  struct timespec t;
  (void)to;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return lw_now() - ((double)t.tv_sec + 1e-9 * (double)t.tv_nsec);
}

static double usual_now(void *to) {
  (void)to;
  return lw_now();
}

static int64_t usual_wall(void *to) {
  struct timespec t;
  (void)to;
  clock_gettime(CLOCK_REALTIME, &t);
  return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static double now_of(const lw_source *s) {
  return s->clocks.now(s->clocks.to);
}

static int64_t wall_of(const lw_source *s) {
  return s->clocks.wall(s->clocks.to);
}

static int64_t clock_us(const lw_source *s) {
  return s->base_us + (int64_t)((now_of(s) - s->began) * 1e6);
}

static double seconds(int64_t us) {
  return (double)us * 1e-6;
}

static double clock_s(const lw_source *s) {
  return seconds(clock_us(s));
}

/* ---- what goes out ---- */

static void push(void *to, const lw_live *live) {
  lw_source *s = to;
  if (s->waiting == QUEUE_MOST) { /* cannot be: an event makes fewer, and they are taken first */
    s->dropped++;
    return;
  }
  lw_live *at = &s->queue[(s->first + s->waiting++) % QUEUE_MOST];
  *at = *live;
  at->number = ++s->number;
  at->wall = s->wall_ms + (int64_t)(live->time * 1e3);
  if (live->time > s->newest) s->newest = live->time;
}

static void say(lw_source *s, double time, int instrument, lw_live_kind kind, const char *words) {
  lw_live live;
  lw_live_clear(&live);
  live.kind = kind;
  live.instrument = instrument;
  live.time = time;
  snprintf(live.words, sizeof live.words, "%s", words);
  push(s, &live);
}

/* ---- events ---- */

/* Speed and vacuum of one instrument hold up the gases of another. */
static void stir_others(lw_source *s, int by) {
  double stirred = s->listener[by]->stirred;
  if (!lw_known(stirred)) return;
  for (size_t i = 0; i < s->count; i++) {
    if ((int)i != by) lw_listener_stirred(s->listener[i], stirred);
  }
}

static void take_typed(lw_source *s, double time, const char *text) {
  lw_live live;
  lw_error unheard = {0};
  lw_live_clear(&live);
  if (lw_typed_read(s->units, text, live.x, &live.hc_basis, &unheard) != LW_OK) return;
  live.kind = LW_LIVE_READING;
  live.time = time;
  live.settled = true;
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (!lw_known(live.x[i])) continue;
    live.state[i] = LW_SETTLE_SETTLED;
    live.wait[i] = 0;
    s->typed[i] = live.x[i];
    s->typed_at[i] = time;
  }
  if (lw_known(live.x[LW_LIVE_HC])) s->typed_basis = live.hc_basis;
  push(s, &live);
}

static void moved(lw_source *s, double time, const char *what) {
  for (size_t i = 0; i < s->count; i++)
    lw_listener_moved(s->listener[i], time);
  say(s, time, -1, LW_LIVE_MOVED, what);
}

static lw_status describe(lw_source *s, const event *e, lw_error *error);

static const char *span_text(char *text, size_t size, double s) {
  if (s < 120) {
    snprintf(text, size, "%.0f s", s);
  } else if (s < 7200) {
    snprintf(text, size, "%.0f min", s / 60);
  } else if (s < 2 * 86400) {
    snprintf(text, size, "%.1f h", s / 3600);
  } else {
    snprintf(text, size, "%.0f days", s / 86400);
  }
  return text;
}

/* "1764125600000": a session begins; "1764125600000 set": somebody set the clock in the middle of
   it. Only the times of day go with it: durations are of another clock. */
static void take_wall(lw_source *s, double time, const char *text) {
  char *end = NULL, words[LW_LIVE_WORDS], span[32];
  int64_t wall = strtoll(text, &end, 10);
  double by = 1e-3 * (double)(wall - s->wall_ms);
  s->wall_ms = wall;
  if (strcmp(end, wall_set) != 0) return;
  snprintf(words, sizeof words,
           "the clock of this machine was set %s by %s; times of day before and after do not fit "
           "together, durations do",
           by > 0 ? "forward" : "back", span_text(span, sizeof span, fabs(by)));
  say(s, time, -1, LW_LIVE_REMARK, words);
}

/* What an event does. Its bytes have a 0 behind them. */
static void apply(lw_source *s, const event *e) {
  double time = seconds(e->us);
  const char *text = (const char *)e->bytes;
  lw_listener *l = (size_t)e->instrument < s->count ? s->listener[e->instrument] : NULL;
  char words[LW_LIVE_WORDS];
  switch (e->kind) {
  case EVENT_BEGIN:
    if (l) lw_listener_begin(l);
    break;
  case EVENT_IN:
    if (!l) break;
    lw_listener_hear(l, time, e->bytes, e->length);
    stir_others(s, e->instrument);
    break;
  case EVENT_AWAY:
    if (l) l->heard = time;
    break;
  case EVENT_OUT:
    if (l && l->instrument->request_count && !l->waiting) (void)lw_listener_ask(l);
    break;
  case EVENT_NO_ANSWER:
    if (l) lw_listener_no_answer(l, time);
    break;
  case EVENT_LOST:
    if (l) lw_listener_lost(l, time, text);
    break;
  case EVENT_MOVED: moved(s, time, text); break;
  case EVENT_TYPED: take_typed(s, time, text); break;
  case EVENT_LACKS:
    snprintf(words, sizeof words, "the disk was full; entries missing from the log here: %.20s",
             text);
    say(s, time, -1, LW_LIVE_REMARK, words);
    for (size_t i = 0; i < s->count; i++)
      lw_listener_begin(s->listener[i]);
    break;
  case EVENT_WALL: take_wall(s, time, text); break;
  case EVENT_DESCRIBE:
  case EVENT_END: break;
  }
}

/* Into the log, with a word when it cannot be kept. */
static void keep(lw_source *s, const event *e) {
  bool failed = s->log.failing;
  if (lw_log_write(&s->log, e)) {
    if (failed) say(s, seconds(e->us), -1, LW_LIVE_REMARK, "the log can be written again");
    return;
  }
  if (failed) return;
  char words[LW_LIVE_WORDS];
  snprintf(words, sizeof words,
           "the log cannot be written (%.60s); what came before is kept, what "
           "comes now is not, until there is room",
           strerror(errno));
  say(s, seconds(e->us), -1, LW_LIVE_REMARK, words);
}

static void happen(lw_source *s, event_kind kind, int instrument, const void *bytes,
                   size_t length) {
  unsigned char copy[CHUNK_MOST + MARK_MOST + LW_LIVE_WORDS + 1];
  size_t n = length < sizeof copy - 1 ? length : sizeof copy - 1;
  event e = {clock_us(s), kind, instrument, copy, n};
  memcpy(copy, bytes, n);
  copy[n] = '\0';
  keep(s, &e);
  apply(s, &e);
}

static void happen_text(lw_source *s, event_kind kind, int instrument, const char *text) {
  happen(s, kind, instrument, text, strlen(text));
}

/* ---- making one ---- */

lw_status lw_source_new(lw_source **source, lw_error *error) {
  lw_source *s = calloc(1, sizeof *s);
  if (!s) return lw_fail(error, LW_NO_MEMORY, "no memory for a source");
  s->log.fd = s->wake[0] = s->wake[1] = -1;
  if (pipe(s->wake) != 0) {
    lw_source_free(s);
    return lw_fail(error, LW_IO, "no pipe: %s", strerror(errno));
  }
  for (int i = 0; i < 2; i++) {
    (void)fcntl(s->wake[i], F_SETFL, O_NONBLOCK);
    (void)fcntl(s->wake[i], F_SETFD, FD_CLOEXEC);
  }
  lw_source_clocks(s, &(source_clocks){usual_now, usual_slept, usual_wall, NULL});
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    s->typed[i] = s->typed_at[i] = LW_NONE;
  *source = s;
  return LW_OK;
}

void lw_source_clocks(lw_source *s, const source_clocks *clocks) {
  s->clocks = *clocks;
  s->began = now_of(s);
  s->slept = clocks->slept(clocks->to);
  s->wall_ms = wall_of(s);
}

void lw_source_free(lw_source *s) {
  if (!s) return;
  if (s->log.fd >= 0) happen(s, EVENT_END, 0, "", 0);
  lw_log_close(&s->log);
  for (size_t i = 0; i < s->count; i++) {
    lw_port_close(&s->wire[i].port);
    lw_listener_free(s->listener[i]);
  }
  for (int i = 0; i < 2; i++) {
    if (s->wake[i] >= 0) close(s->wake[i]);
  }
  lw_log_reader_free(s->played);
  lw_csv_reader_free(s->csv);
  lw_arena_free(s->arena);
  free(s);
}

void lw_source_wake(lw_source *s) {
  int was = errno;
  ssize_t n = write(s->wake[1], "", 1); /* full: it is awake already */
  (void)n;
  errno = was;
}

/* The clock goes on from where the log ended: by the time of day when that makes sense, else a
   second behind. */
lw_status lw_source_log(lw_source *s, const char *path, lw_error *error) {
  int64_t us = 0, wall = 0, now = wall_of(s);
  lw_status status = lw_log_open(&s->log, path, &us, &wall, error);
  if (status != LW_OK) return status;
  if (wall > 0) {
    int64_t since = (now - wall) * 1000;
    s->base_us = since > us + 1000000 && since < us + 4000000000000LL ? since : us + 1000000;
  }
  s->began = now_of(s);
  s->wall_ms = now - s->base_us / 1000;
  char text[32];
  snprintf(text, sizeof text, "%lld", (long long)s->wall_ms);
  happen_text(s, EVENT_WALL, 0, text);
  return LW_OK;
}

static lw_status add(lw_source *s, const lw_instrument *instrument, lw_error *error) {
  if (s->count == LW_SOURCE_INSTRUMENTS)
    return lw_fail(error, LW_TOO_LARGE, "more than %d instruments", LW_SOURCE_INSTRUMENTS);
  lw_listener *l = NULL;
  lw_status status = lw_listener_new(instrument, &l, error);
  if (status != LW_OK) return status;
  size_t i = s->count++;
  l->index = (int)i;
  l->take = push;
  l->to = s;
  s->listener[i] = l;
  s->instrument[i] = instrument;
  s->wire[i] = (wire){.port = {-1, false}};
  return LW_OK;
}

static bool refused(lw_source *s, lw_error *error) {
  if (!s->played && !s->csv) return false;
  (void)lw_fail(error, LW_BAD_INPUT, "this source plays a file; it cannot listen as well");
  return true;
}

/* ---- wires: a port and what is due on it ---- */

static void wire_up(lw_source *s, int i) {
  wire *k = &s->wire[i];
  const mark *hello = &s->instrument[i]->greeting;
  k->silent_from = k->ask_at = k->round_at = k->quiet = clock_s(s);
  k->answer_by = LW_NONE;
  happen(s, EVENT_BEGIN, i, "", 0);
  if (hello->count && write(k->port.fd, hello->at, hello->count) != (ssize_t)hello->count)
    say(s, clock_s(s), i, LW_LIVE_REMARK, "the hello could not be sent");
}

static void wire_lost(lw_source *s, int i, const char *why) {
  wire *k = &s->wire[i];
  lw_port_close(&k->port);
  k->retry_at = clock_s(s) + k->retry;
  k->retry = fmin(2 * k->retry, longest_retry);
  if (!k->lost) happen_text(s, EVENT_LOST, i, why);
  k->lost = true;
}

static lw_status wire_open(lw_source *s, int i, lw_error *error) {
  wire *k = &s->wire[i];
  lw_status status = lw_port_open(s->instrument[i], &k->port, error);
  if (status != LW_OK) return status;
  if (k->port.connecting) {
    k->answer_by = clock_s(s) + fmax(5, s->instrument[i]->answer);
  } else {
    wire_up(s, i);
  }
  return LW_OK;
}

lw_status lw_source_listen(lw_source *s, const lw_instrument *instrument, int flags,
                           lw_error *error) {
  lw_error why = {0};
  if (refused(s, error)) return LW_BAD_INPUT;
  lw_status status = add(s, instrument, error);
  if (status != LW_OK) return status;
  int i = (int)s->count - 1;
  s->wire[i].retry = first_retry;
  event e = {clock_us(s), EVENT_DESCRIBE, i, (const unsigned char *)instrument->text,
             instrument->text_length};
  keep(s, &e);
  status = wire_open(s, i, &why);
  if (status == LW_OK) return LW_OK;
  if (status == LW_IO && flags & LW_LISTEN_PATIENT) {
    wire_lost(s, i, why.text);
    return LW_OK;
  }
  lw_listener_free(s->listener[--s->count]);
  return lw_fail(error, status, "%s", why.text);
}

/* The question that is due goes out whole or the port is lost: forty bytes fit any buffer. */
static void ask(lw_source *s, int i) {
  wire *k = &s->wire[i];
  lw_listener *l = s->listener[i];
  question q = l->instrument->requests[l->current];
  if (l->instrument->protocol == LW_PROTOCOL_MODBUS_TCP) {
    unsigned transaction = l->transaction + 1;
    q.bytes[0] = (unsigned char)(transaction >> 8 & 0xFF);
    q.bytes[1] = (unsigned char)(transaction & 0xFF);
  }
  ssize_t n = write(k->port.fd, q.bytes, q.count);
  if (n != (ssize_t)q.count) {
    wire_lost(s, i, n < 0 ? strerror(errno) : "it takes no more bytes");
    return;
  }
  if (l->current == 0) k->round_at = fmax(k->round_at + l->instrument->every, clock_s(s));
  happen(s, EVENT_OUT, i, q.bytes, q.count);
  k->answer_by = clock_s(s) + l->instrument->answer;
}

/* Between two telegrams of Modbus RTU stand 3.5 characters of 11 bits, above 19,200 baud 1.75 ms
   (/work/shared/reference/libraries.md, 7); others do not mind as much. */
static double line_gap(const lw_instrument *in) {
  return in->baud > 19200 ? 0.00175 : 3.5 * 11 / in->baud;
}

/* The next one of a round follows at once, the next round when it is due. */
static void next_question(lw_source *s, int i, double pause) {
  wire *k = &s->wire[i];
  double now = clock_s(s);
  k->ask_at = now + pause;
  if (s->listener[i]->current == 0) k->ask_at = fmax(k->ask_at, k->round_at);
}

/* Readings mean that it is neither lost nor silent. A port that opens does not: one that shuts at
   once, again and again, is not to be tried ten times a second. */
static void note_life(lw_source *s, int i) {
  wire *k = &s->wire[i];
  const lw_listener *l = s->listener[i];
  if (!l->there) return;
  k->retry = first_retry;
  k->lost = false;
  k->silent_from = fmax(k->silent_from, l->last_time);
}

/* The first half of a telegram is here, and whether a pause came after it nobody saw: who calls was
   away, or the disk was slow. What waits may well be the other half. */
static bool away(const lw_source *s, int i) {
  const lw_listener *l = s->listener[i];
  double pause = clock_s(s) - l->heard, gap = l->instrument->gap;
  return l->count > 0 && pause > gap && pause < away_most && s->wire[i].quiet - l->heard < gap;
}

static void read_port(lw_source *s, int i) {
  unsigned char bytes[CHUNK_MOST];
  wire *k = &s->wire[i];
  ssize_t n = read(k->port.fd, bytes, sizeof bytes);
  if (n < 0 && (errno == EAGAIN || errno == EINTR)) return;
  if (n <= 0) {
    wire_lost(s, i, n == 0 || errno == EIO ? "unplugged" : strerror(errno));
    return;
  }
  bool waited = s->listener[i]->waiting;
  if (away(s, i)) happen(s, EVENT_AWAY, i, "", 0);
  happen(s, EVENT_IN, i, bytes, (size_t)n);
  if (waited && !s->listener[i]->waiting) next_question(s, i, line_gap(s->instrument[i]));
  note_life(s, i);
}

/* A serial read of nothing means that the line is dead only when poll said so. */
static void look_at_port(lw_source *s, int i, short found) {
  wire *k = &s->wire[i];
  lw_error why = {0};
  if (k->port.connecting) {
    if (!(found & (POLLOUT | POLLERR | POLLHUP))) return;
    if (lw_port_connected(&k->port, &why) == LW_OK) {
      wire_up(s, i);
    } else {
      wire_lost(s, i, why.text);
    }
    return;
  }
  if (found & POLLIN) {
    read_port(s, i);
  } else if (found & (POLLHUP | POLLERR | POLLNVAL)) {
    wire_lost(s, i, "unplugged");
  }
}

static bool network(const lw_source *s, int i) {
  return s->instrument[i]->port[0] != '/';
}

/* Nothing is settled across it. */
static void gap(lw_source *s, int i, const char *words) {
  wire *k = &s->wire[i];
  if (network(s, i)) { /* the far end may be gone without a word: connect anew */
    wire_lost(s, i, words);
    return;
  }
  happen_text(s, EVENT_LOST, i, words);
  k->lost = true;
  k->ask_at = k->round_at = clock_s(s);
}

static void silence(lw_source *s, int i) {
  char words[LW_LIVE_WORDS];
  snprintf(words, sizeof words, "silent for %.3g s", s->instrument[i]->silence);
  gap(s, i, words);
}

/* A line that speaks at once when the machine wakes was not heard meanwhile, all the same. */
static void check_sleep(lw_source *s) {
  double slept = s->clocks.slept(s->clocks.to), by = slept - s->slept;
  char words[LW_LIVE_WORDS], span[32];
  if (by < sleep_least) return;
  s->slept = slept;
  snprintf(words, sizeof words, "this machine slept for %s", span_text(span, sizeof span, by));
  for (size_t i = 0; i < s->count; i++) {
    if (s->wire[i].port.fd >= 0 && !s->wire[i].port.connecting && !s->wire[i].lost)
      gap(s, (int)i, words);
  }
}

/* What is due on a wire by the clock; spoke: this look found something there. */
static void on_time(lw_source *s, int i, bool spoke) {
  wire *k = &s->wire[i];
  lw_error why = {0};
  const lw_instrument *in = s->instrument[i];
  double now = clock_s(s);
  k->looks = spoke ? k->looks + 1 : 0;
  if (k->port.fd < 0) {
    if (now >= k->retry_at && wire_open(s, i, &why) != LW_OK) wire_lost(s, i, why.text);
    return;
  }
  if (k->port.connecting) {
    if (now >= k->answer_by) wire_lost(s, i, "cannot be reached: no answer");
    return;
  }
  bool heard_out = k->looks == 0 || k->looks > HELD_MOST; /* nothing waits that came in time */
  if (in->request_count && s->listener[i]->waiting && heard_out && now >= k->answer_by) {
    happen(s, EVENT_NO_ANSWER, i, "", 0);
    next_question(s, i, in->answer); /* what comes late belongs to nobody */
    note_life(s, i);
  }
  if (in->request_count && !s->listener[i]->waiting && now >= k->ask_at) ask(s, i);
  if (k->port.fd < 0 || (k->lost && !network(s, i))) return;
  if (heard_out && now - k->silent_from >= in->silence) silence(s, i);
}

static double due(const lw_source *s, int i) {
  const wire *k = &s->wire[i];
  const lw_instrument *in = s->instrument[i];
  if (k->port.fd < 0) return k->retry_at;
  if (k->port.connecting) return k->answer_by;
  const lw_listener *l = s->listener[i];
  double at = k->lost && !network(s, i) ? INFINITY : k->silent_from + in->silence;
  if (l->count > 0 && k->quiet < l->heard + in->gap) at = fmin(at, l->heard + in->gap);
  if (!in->request_count) return at;
  return fmin(at, l->waiting ? k->answer_by : k->ask_at);
}

/* ---- waiting ---- */

static int milliseconds(double s) {
  if (!(s > 0)) return 0;
  return s > 3600 ? 3600000 : (int)ceil(s * 1e3);
}

/* Until a port speaks, something is due, or the deadline (source's clock). True: woken. */
static bool wait_ports(lw_source *s, double deadline) {
  struct pollfd fds[LW_SOURCE_INSTRUMENTS + 1] = {{s->wake[0], POLLIN, 0}};
  double until = deadline;
  for (size_t i = 0; i < s->count; i++) {
    const plug *p = &s->wire[i].port;
    fds[i + 1] = (struct pollfd){p->fd, (short)(p->connecting ? POLLOUT : POLLIN), 0};
    if (!s->played && !s->csv) until = fmin(until, due(s, (int)i));
  }
  double before = clock_s(s);
  int most = milliseconds(until - before);
  int n = poll(fds, (nfds_t)s->count + 1, most);
  if (n < 0) return errno == EINTR;
  double quiet = before + (n == 0 ? 1e-3 * most : 0); /* poll does not give up sooner */
  char bytes[64];
  bool woken = (fds[0].revents & POLLIN) && read(s->wake[0], bytes, sizeof bytes) > 0;
  for (size_t i = 0; i < s->count && !s->played && !s->csv; i++) {
    bool spoke = fds[i + 1].revents != 0;
    if (spoke) look_at_port(s, (int)i, fds[i + 1].revents);
    if (!spoke) s->wire[i].quiet = quiet;
    on_time(s, (int)i, spoke);
  }
  return woken;
}

/* ---- playing ---- */

lw_status lw_source_replay(lw_source *s, lw_units *units, const char *path, double speed,
                           lw_error *error) {
  if (s->count > 0 || refused(s, error))
    return lw_fail(error, LW_BAD_INPUT, "this source listens or plays already");
  s->units = units;
  s->speed = speed > 0 ? speed : 0;
  s->due_from = s->due_at = LW_NONE;
  if (lw_log_is(path)) {
    s->arena = lw_arena_new(0);
    if (!s->arena) return lw_fail(error, LW_NO_MEMORY, "no memory to play a log");
    return lw_log_reader_new(path, &s->played, error);
  }
  lw_status status = lw_csv_reader_new(units, path, &s->csv, error);
  return status == LW_OK ? add(s, lw_csv_reader_instrument(s->csv), error) : status;
}

/* A description out of a log: a new instrument, or one that is begun anew. */
static lw_status describe(lw_source *s, const event *e, lw_error *error) {
  lw_bind bind = {s->arena, s->units, "description in the log"};
  lw_instrument *instrument = NULL;
  size_t i = (size_t)e->instrument;
  lw_status status =
      lw_instrument_read(&bind, (const char *)e->bytes, e->length, &instrument, error);
  if (status != LW_OK) return status;
  if (i > s->count) return lw_fail(error, LW_BAD_INPUT, "instruments of this log are out of order");
  if (i == s->count) return add(s, instrument, error);
  s->instrument[i] = instrument;
  lw_listener_start(s->listener[i], instrument, (int)i);
  lw_listener_begin(s->listener[i]);
  return LW_OK;
}

static void fetch_row(lw_source *s) {
  s->next_words[0] = '\0';
  int n = lw_csv_reader_next(s->csv, &s->next_time, s->next_x, s->next_words, sizeof s->next_words);
  s->over = n == 0;
  s->next_there = n != 0;
  if (n < 0) s->next_time = s->newest;
}

static void fetch_entry(lw_source *s) {
  int line = 0;
  s->next_words[0] = '\0';
  log_state state = lw_log_reader_next(s->played, &s->next, &line);
  s->over = state == LOG_OVER;
  s->next_there = !s->over;
  s->next_time = state == LOG_ENTRY ? seconds(s->next.us) : s->newest;
  if (state == LOG_TORN)
    snprintf(s->next_words, sizeof s->next_words,
             "the log ends inside of a line; %zu bytes of it are left out", s->next.length);
  if (state == LOG_DAMAGED)
    snprintf(s->next_words, sizeof s->next_words, "line %d of the log is damaged and left out",
             line);
}

/* lw_now() at which the entry that is next is due. */
static double next_due(lw_source *s) {
  if (s->speed == 0) return 0;
  if (!lw_known(s->due_from)) {
    s->due_from = s->next_time;
    s->due_at = now_of(s);
  }
  return s->due_at + (s->next_time - s->due_from) / s->speed;
}

static lw_status play_entry(lw_source *s, lw_error *error) {
  s->next_there = false;
  if (s->next_words[0]) {
    say(s, s->next_time, -1, LW_LIVE_REMARK, s->next_words);
    return LW_OK;
  }
  if (s->csv) {
    lw_listener_reading(s->listener[0], s->next_time, s->next_x);
    return LW_OK;
  }
  if (s->next.kind == EVENT_DESCRIBE) return describe(s, &s->next, error);
  if (s->next.length > CHUNK_MOST && s->next.kind == EVENT_IN)
    return lw_fail(error, LW_BAD_INPUT, "an entry of the log holds more than %d bytes", CHUNK_MOST);
  apply(s, &s->next);
  return LW_OK;
}

static lw_status play(lw_source *s, double deadline, bool *woken, lw_error *error) {
  if (!s->next_there && !s->over) s->csv ? fetch_row(s) : fetch_entry(s);
  if (s->over) {
    if (!s->dropped) say(s, s->newest, -1, LW_LIVE_END, "");
    return LW_OK;
  }
  double at = next_due(s);
  if (at <= now_of(s)) return play_entry(s, error);
  *woken = wait_ports(s, clock_s(s) + fmin(at, deadline) - now_of(s));
  return LW_OK;
}

/* ---- the loop ---- */

static void pop(lw_source *s, lw_live *live) {
  *live = s->queue[s->first];
  s->first = (s->first + 1) % QUEUE_MOST;
  s->waiting--;
  if (live->kind == LW_LIVE_READING) lw_log_sync(&s->log);
}

/* Whether the clock on the wall still goes with the source's own. */
static void check_wall(lw_source *s) {
  char text[48];
  int64_t at_zero = wall_of(s) - clock_us(s) / 1000, apart = at_zero - s->wall_ms;
  if (apart > -wall_apart && apart < wall_apart) return;
  snprintf(text, sizeof text, "%lld%s", (long long)at_zero, wall_set);
  happen_text(s, EVENT_WALL, 0, text);
}

lw_status lw_source_next(lw_source *s, double deadline, lw_live *live, lw_error *error) {
  bool woken = false, late = false;
  while (s->waiting == 0 && !woken && !late) {
    if (!s->played && !s->csv) {
      check_sleep(s);
      check_wall(s);
    }
    lw_status status = LW_OK;
    if (s->played || s->csv) {
      status = play(s, deadline, &woken, error);
    } else {
      woken = wait_ports(s, deadline - now_of(s) + clock_s(s));
    }
    if (status != LW_OK) return status;
    late = s->waiting == 0 && now_of(s) >= deadline;
  }
  if (s->waiting > 0) {
    pop(s, live);
    return LW_OK;
  }
  lw_live_clear(live);
  live->kind = LW_LIVE_NOTHING;
  live->time = clock_s(s);
  live->wall = s->wall_ms + (int64_t)(live->time * 1e3);
  return LW_OK;
}

/* ---- from a person ---- */

lw_status lw_source_type(lw_source *s, lw_units *units, const char *text, lw_error *error) {
  double x[LW_LIVE_ITEMS];
  lw_hc_basis basis = LW_HC_UNSAID;
  if (refused(s, error)) return LW_BAD_INPUT;
  if (strlen(text) > LW_LIVE_WORDS)
    return lw_fail(error, LW_BAD_INPUT, "more than %d characters in one reading", LW_LIVE_WORDS);
  if (s->waiting + 4 > QUEUE_MOST)
    return lw_fail(error, LW_TOO_LARGE, "too much waits to be taken");
  lw_status status = lw_typed_read(units, text, x, &basis, error);
  if (status != LW_OK) return status;
  s->units = units;
  happen_text(s, EVENT_TYPED, 0, text);
  return LW_OK;
}

lw_status lw_source_moved(lw_source *s, const char *what, lw_error *error) {
  if (refused(s, error)) return LW_BAD_INPUT;
  if (s->waiting + 4 > QUEUE_MOST)
    return lw_fail(error, LW_TOO_LARGE, "too much waits to be taken");
  char words[LW_LIVE_WORDS];
  snprintf(words, sizeof words, "%s", what ? what : "");
  happen_text(s, EVENT_MOVED, 0, words);
  return LW_OK;
}

/* ---- looking ---- */

static void merge(lw_live *live, const lw_listener *l, double oldest) {
  lw_live state;
  lw_live_clear(&state);
  lw_listener_state(l, &state);
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (lw_known(live->x[i]) || !lw_known(l->last[i]) || l->last_at[i] < oldest) continue;
    live->x[i] = l->last[i];
    live->state[i] = state.state[i];
    live->wait[i] = state.wait[i];
    live->mean[i] = state.mean[i];
    live->spread[i] = state.spread[i];
    if (i == LW_LIVE_HC) live->hc_basis = l->instrument->hc_basis;
  }
}

void lw_source_now(const lw_source *s, double age, lw_live *live) {
  lw_live_clear(live);
  double oldest = s->newest - age;
  live->time = s->newest;
  live->wall = s->wall_ms + (int64_t)(s->newest * 1e3);
  for (size_t i = 0; i < s->count; i++)
    merge(live, s->listener[i], oldest);
  int read = 0, settled = 0;
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (!lw_known(live->x[i]) && lw_known(s->typed[i]) && s->typed_at[i] >= oldest) {
      live->x[i] = s->typed[i];
      live->state[i] = LW_SETTLE_SETTLED;
      live->wait[i] = 0;
      if (i == LW_LIVE_HC) live->hc_basis = s->typed_basis;
    }
    if (!lw_known(live->x[i])) continue;
    read++;
    settled += live->state[i] == LW_SETTLE_SETTLED;
    live->longest_wait = fmax(live->longest_wait, live->wait[i]);
  }
  live->settled = read > 0 && read == settled;
  live->kind = read > 0 ? LW_LIVE_READING : LW_LIVE_NOTHING;
}

size_t lw_source_instruments(const lw_source *s) {
  return s->count;
}

lw_health lw_source_health(const lw_source *s, size_t instrument) {
  return instrument < s->count ? lw_listener_health(s->listener[instrument]) : (lw_health){0};
}
