/* needles.c - the needles of a practice car to who looks at them, ten times a second.
**
** A stream sends the newest needles when it can; those between are left out, so that a slow link is
** never behind and nothing piles up. As in hub.c, putting a connection to sleep and waking it happen
** under one lock: the stand's for looking.
*/
#include "yard.h"

#include <stdlib.h>
#include <string.h>

struct needle_stream {
  yard *yard;
  stand *stand;
  struct MHD_Connection *connection;
  int64_t who;
  uint64_t seen; /* beat of what was sent last */
  char pending[NEEDLES_TEXT + 64];
  size_t length, sent;
  bool asleep, ended;
  needle_stream *next, *before;
};

/* ---- what goes out ---- */

void needles_text(const lw_practice *p, char text[NEEDLES_TEXT]) {
  lw_needles n = lw_practice_needles(p);
  static const char *const stalls[] = {
#define STALL_TEXT(id, words) words,
      LW_STALL_LIST(STALL_TEXT)
#undef STALL_TEXT
  };
  snprintf(text, NEEDLES_TEXT,
           "{\"time_s\":%.1f,\"running\":%s,\"cranking\":%s,\"why\":\"%s\",\"speed_rad_s\":%.3f,"
           "\"vacuum_pa\":%.0f,\"co\":%.5f,\"co2\":%.4f,\"hc_hexane\":%.7f,\"o2\":%.5f,"
           "\"no\":%.7f,\"pedal\":%.3f,\"unsettled_s\":%.1f}",
           n.time, n.running ? "true" : "false", n.cranking ? "true" : "false", stalls[n.why],
           n.speed, n.vacuum, n.gases.co, n.gases.co2, n.gases.hc, n.gases.o2, n.gases.no, n.pedal,
           lw_practice_unsettled(p));
}

/* With the lock held. */
static void wake(stand *s) {
  for (needle_stream *n = s->streams; n; n = n->next) {
    if (!n->asleep) continue;
    n->asleep = false;
    MHD_resume_connection(n->connection);
  }
}

void needles_put(stand *s, const char text[NEEDLES_TEXT]) {
  pthread_mutex_lock(&s->looking);
  memcpy(s->needles, text, NEEDLES_TEXT);
  s->beat++;
  wake(s);
  pthread_mutex_unlock(&s->looking);
}

void needles_end(stand *s, int64_t device) {
  pthread_mutex_lock(&s->looking);
  for (needle_stream *n = s->streams; n; n = n->next)
    n->ended = n->ended || n->who == device;
  wake(s);
  pthread_mutex_unlock(&s->looking);
}

void needles_end_all(stand *s) {
  pthread_mutex_lock(&s->looking);
  s->ended = true;
  wake(s);
  pthread_mutex_unlock(&s->looking);
}

bool needles_watched(stand *s) {
  pthread_mutex_lock(&s->looking);
  bool watched = s->streams != NULL;
  pthread_mutex_unlock(&s->looking);
  return watched;
}

bool needles_ended(stand *s) {
  pthread_mutex_lock(&s->looking);
  bool ended = s->ended;
  pthread_mutex_unlock(&s->looking);
  return ended;
}

/* ---- reading ---- */

static bool next_text(needle_stream *n) {
  const stand *s = n->stand;
  if (n->seen == s->beat || !s->needles[0]) return false;
  n->seen = s->beat;
  n->length =
      (size_t)snprintf(n->pending, sizeof n->pending, "event: needles\ndata: %s\n\n", s->needles);
  n->sent = 0;
  return true;
}

static ssize_t read_needles(void *to, uint64_t at, char *buffer, size_t most) {
  needle_stream *n = to;
  ssize_t given = 0;
  (void)at;
  pthread_mutex_lock(&n->stand->looking);
  if (n->sent == n->length && (n->ended || n->stand->ended)) {
    given = MHD_CONTENT_READER_END_OF_STREAM;
  } else if (n->sent < n->length || next_text(n)) {
    size_t left = n->length - n->sent, now = left < most ? left : most;
    memcpy(buffer, n->pending + n->sent, now);
    n->sent += now;
    given = (ssize_t)now;
  } else {
    n->asleep = true;
    MHD_suspend_connection(n->connection);
  }
  pthread_mutex_unlock(&n->stand->looking);
  return given;
}

static void needles_over(void *to) {
  needle_stream *n = to;
  yard *y = n->yard;
  stand *s = n->stand;
  pthread_mutex_lock(&s->looking);
  if (n->before) {
    n->before->next = n->next;
  } else {
    s->streams = n->next;
  }
  if (n->next) n->next->before = n->before;
  pthread_mutex_unlock(&s->looking);
  pthread_mutex_lock(&y->lock);
  s->used = seconds_now();
  y->stream_count--;
  pthread_mutex_unlock(&y->lock);
  yard_give_back(y, s);
  free(n);
}

/* ---- asked for ---- */

static bool enter(needle_stream *n) {
  yard *y = n->yard;
  stand *s = n->stand;
  pthread_mutex_lock(&y->lock);
  pthread_mutex_lock(&s->looking);
  bool room = y->stream_count < YARD_STREAMS_MOST && !y->stopping && !s->ended;
  if (room) {
    n->next = s->streams;
    if (n->next) n->next->before = n;
    s->streams = n;
    y->stream_count++;
  }
  pthread_mutex_unlock(&s->looking);
  pthread_mutex_unlock(&y->lock);
  return room;
}

struct MHD_Response *needles_stream(request *r) {
  yard *y = r->server->yard;
  stand *s = yard_take(y, r->number);
  if (!s) {
    reply_error(r, MHD_HTTP_NOT_FOUND, "there is no practice car of this number, or no longer");
    return NULL;
  }
  needle_stream *n = calloc(1, sizeof *n);
  if (n) *n = (needle_stream){.yard = y, .stand = s, .connection = r->connection, .who = r->who};
  if (!n || !enter(n)) {
    bool over = needles_ended(s);
    free(n);
    yard_give_back(y, s);
    reply_error(r, over ? MHD_HTTP_CONFLICT : MHD_HTTP_SERVICE_UNAVAILABLE,
                over ? "this exercise is over: its car stands still"
                     : "too many pages are open; close one");
    return NULL;
  }
  struct MHD_Response *response =
      MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, 1024, read_needles, n, needles_over);
  if (!response) {
    needles_over(n);
    reply_error(r, MHD_HTTP_SERVICE_UNAVAILABLE, "the server is out of memory");
  }
  return response;
}
