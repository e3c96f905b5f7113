/* needles.c - the needles of a practice car to who looks at them, ten times a second.
**
** A stream sends the newest needles when it can; those between are left out, so that a slow link is
** never behind and nothing piles up. As in hub.c, putting a connection to sleep and waking it happen
** under one lock: the yard's.
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

void needles_wake(stand *s) {
  for (needle_stream *n = s->streams; n; n = n->next) {
    if (!n->asleep) continue;
    n->asleep = false;
    MHD_resume_connection(n->connection);
  }
}

void needles_end(stand *s, int64_t device) {
  for (needle_stream *n = s->streams; n; n = n->next)
    n->ended = n->ended || n->who == device;
  needles_wake(s);
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
  pthread_mutex_lock(&n->yard->lock);
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
  pthread_mutex_unlock(&n->yard->lock);
  return given;
}

static void needles_over(void *to) {
  needle_stream *n = to;
  yard *y = n->yard;
  pthread_mutex_lock(&y->lock);
  if (n->before) {
    n->before->next = n->next;
  } else {
    n->stand->streams = n->next;
  }
  if (n->next) n->next->before = n->before;
  n->stand->used = seconds_now();
  y->stream_count--;
  pthread_mutex_unlock(&y->lock);
  yard_give_back(y, n->stand);
  free(n);
}

/* ---- asked for ---- */

static bool enter(needle_stream *n) {
  yard *y = n->yard;
  pthread_mutex_lock(&y->lock);
  bool room = y->stream_count < YARD_STREAMS_MOST && !y->stopping && !n->stand->ended;
  if (room) {
    n->next = n->stand->streams;
    if (n->next) n->next->before = n;
    n->stand->streams = n;
    y->stream_count++;
  }
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
    bool over = s->ended;
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
