/* hub.c - live events: each told once, read by every stream of its job.
**
** The newest events are kept in one ring. A stream holds the number of the event it wants next; it
** reads until there is none, then its connection sleeps (is suspended) until hub_tell wakes it. A
** stream that comes back with a Last-Event-ID goes on from there; where that is no longer known
** (the server was started anew, the ring has moved on) it gets `begin`, which means: read the job
** again, events follow from here.
**
** All of a stream's members belong to hub.lock. Waking from any thread while the talking thread
** puts a connection to sleep is safe because both happen under that lock.
*/
#include "serve.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

typedef struct event {
  int64_t job;
  char *text; /* as sent */
  size_t length;
} event;

typedef struct stream stream;
struct stream {
  hub *hub;
  struct MHD_Connection *connection;
  int64_t job, device;
  uint64_t wants; /* number of the next event */
  char *pending;  /* text on its way, malloced */
  size_t length, sent;
  bool asleep, beat, ended;
  stream *next, *before;
};

struct hub {
  pthread_mutex_t lock;
  char epoch[24];
  event ring[EVENTS_KEPT]; /* event n lies at n % EVENTS_KEPT */
  uint64_t oldest, newest; /* kept: oldest <= n < newest */
  size_t bytes;
  stream *streams;
  size_t stream_count;
  bool ended;
};

hub *hub_new(void) {
  hub *h = calloc(1, sizeof *h);
  if (!h) return NULL;
  struct timespec now;
  clock_gettime(CLOCK_REALTIME, &now);
  snprintf(h->epoch, sizeof h->epoch, "%llx",
           (unsigned long long)now.tv_sec * 1000000 + (unsigned long long)now.tv_nsec / 1000);
  h->oldest = h->newest = 1;
  pthread_mutex_init(&h->lock, NULL);
  return h;
}

static void drop_oldest(hub *h) {
  event *e = &h->ring[h->oldest++ % EVENTS_KEPT];
  h->bytes -= e->length;
  free(e->text);
  e->text = NULL;
}

void hub_free(hub *h) {
  if (!h) return;
  while (h->oldest < h->newest)
    drop_oldest(h);
  pthread_mutex_destroy(&h->lock);
  free(h);
}

/* ---- telling ---- */

static void wake(stream *s) {
  if (!s->asleep) return;
  s->asleep = false;
  MHD_resume_connection(s->connection);
}

static char *event_text(const hub *h, const char *type, const char *data, size_t *length) {
  size_t size = strlen(type) + strlen(data) + 96;
  char *text = malloc(size);
  if (!text) return NULL;
  *length = (size_t)snprintf(text, size, "id: %s-%llu\nevent: %s\ndata: %s\n\n", h->epoch,
                             (unsigned long long)h->newest, type, data);
  return text;
}

/* Without memory for the event every stream of the job is told to begin again, which needs none
   here. */
void hub_tell(hub *h, int64_t job, const char *type, const char *data) {
  pthread_mutex_lock(&h->lock);
  event e = {.job = job};
  e.text = event_text(h, type, data, &e.length);
  if (h->newest - h->oldest == EVENTS_KEPT) drop_oldest(h);
  while (h->oldest < h->newest && h->bytes + e.length > EVENT_BYTES_KEPT)
    drop_oldest(h);
  h->ring[h->newest++ % EVENTS_KEPT] = e;
  h->bytes += e.length;
  if (!e.text) h->oldest = h->newest;
  for (stream *s = h->streams; s; s = s->next) {
    if (s->job == job || job == EVERY_JOB) wake(s);
  }
  pthread_mutex_unlock(&h->lock);
}

void hub_beat(hub *h) {
  pthread_mutex_lock(&h->lock);
  for (stream *s = h->streams; s; s = s->next) {
    s->beat = true;
    wake(s);
  }
  pthread_mutex_unlock(&h->lock);
}

void hub_end(hub *h, int64_t device) {
  pthread_mutex_lock(&h->lock);
  if (device == NOBODY) h->ended = true;
  for (stream *s = h->streams; s; s = s->next) {
    if (device != NOBODY && s->device != device) continue;
    s->ended = true;
    wake(s);
  }
  pthread_mutex_unlock(&h->lock);
}

/* ---- reading ---- */

/* Put the next text on its way; false: there is none. */
static bool next_text(stream *s) {
  hub *h = s->hub;
  if (s->wants < h->oldest) { /* it was too slow, or an event could not be kept */
    s->wants = h->newest;
    char begin[128];
    s->length = (size_t)snprintf(begin, sizeof begin, "id: %s-%llu\nevent: begin\ndata: {}\n\n",
                                 h->epoch, (unsigned long long)(h->newest - 1));
    s->pending = strdup(begin);
    return s->pending != NULL;
  }
  while (s->wants < h->newest) {
    const event *e = &h->ring[s->wants++ % EVENTS_KEPT];
    if (e->job != s->job && e->job != EVERY_JOB) continue;
    s->pending = strdup(e->text);
    s->length = e->length;
    return s->pending != NULL;
  }
  if (!s->beat) return false;
  s->beat = false;
  s->pending = strdup(":\n\n");
  s->length = 3;
  return s->pending != NULL;
}

static size_t send_some(stream *s, char *buffer, size_t most) {
  size_t left = s->length - s->sent, now = left < most ? left : most;
  memcpy(buffer, s->pending + s->sent, now);
  s->sent += now;
  if (s->sent == s->length) {
    free(s->pending);
    s->pending = NULL;
    s->length = s->sent = 0;
  }
  return now;
}

static ssize_t read_stream(void *to, uint64_t at, char *buffer, size_t most) {
  stream *s = to;
  ssize_t given = 0;
  (void)at;
  pthread_mutex_lock(&s->hub->lock);
  if (!s->pending && s->ended) {
    given = MHD_CONTENT_READER_END_OF_STREAM;
  } else if (s->pending || next_text(s)) {
    given = (ssize_t)send_some(s, buffer, most);
  } else {
    s->asleep = true;
    MHD_suspend_connection(s->connection);
  }
  pthread_mutex_unlock(&s->hub->lock);
  return given;
}

static void stream_free(void *to) {
  stream *s = to;
  hub *h = s->hub;
  pthread_mutex_lock(&h->lock);
  if (s->before) {
    s->before->next = s->next;
  } else {
    h->streams = s->next;
  }
  if (s->next) s->next->before = s->before;
  h->stream_count--;
  pthread_mutex_unlock(&h->lock);
  free(s->pending);
  free(s);
}

/* "EPOCH-17": the event after the 17th, if it is still there; else 0, which is before all. */
static uint64_t resume_at(const hub *h, const char *from) {
  size_t length = strlen(h->epoch);
  if (!from || strncmp(from, h->epoch, length) != 0 || from[length] != '-') return 0;
  uint64_t number = strtoull(from + length + 1, NULL, 10);
  return number < h->newest ? number + 1 : 0;
}

struct MHD_Response *hub_stream(hub *h, struct MHD_Connection *connection, int64_t job,
                                int64_t device, const char *from) {
  stream *s = calloc(1, sizeof *s);
  if (!s) return NULL;
  *s = (stream){.hub = h, .connection = connection, .job = job, .device = device};
  pthread_mutex_lock(&h->lock);
  bool room = h->stream_count < STREAMS_MOST && !h->ended;
  if (room) {
    s->wants = resume_at(h, from);
    s->next = h->streams;
    if (s->next) s->next->before = s;
    h->streams = s;
    h->stream_count++;
  }
  pthread_mutex_unlock(&h->lock);
  if (!room) {
    free(s);
    return NULL;
  }
  struct MHD_Response *response =
      MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, 4096, read_stream, s, stream_free);
  if (!response) stream_free(s);
  return response;
}
