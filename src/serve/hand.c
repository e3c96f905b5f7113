/* hand.c - the threads that work: each with a store, units and memory of its own. */
#include "serve.h"

#include <stdlib.h>

#define ARENA_MOST ((size_t)256 << 20)

static bool is_heavy(const request *r) {
  return r->route->flags & HEAVY;
}

/* The first that may be worked now, out of the queue; NULL: none. One hand always stays free for
   what is quick: a reading to be saved does not wait for a cause to be found. */
static request *take_first(lw_server *server) {
  request *before = NULL, *r = server->first;
  while (r && is_heavy(r) && server->heavy + 1 >= HANDS) {
    before = r;
    r = r->next;
  }
  if (!r) return NULL;
  if (before) {
    before->next = r->next;
  } else {
    server->first = r->next;
  }
  if (server->last == r) server->last = before;
  server->waiting--;
  server->heavy += is_heavy(r);
  return r;
}

/* NULL: the server stops, and nothing waits any more. */
static request *next_request(lw_server *server) {
  request *r;
  pthread_mutex_lock(&server->lock);
  while ((r = take_first(server)) == NULL && !(server->stopping && !server->first))
    pthread_cond_wait(&server->work, &server->lock);
  pthread_mutex_unlock(&server->lock);
  return r;
}

static void heavy_done(lw_server *server) {
  pthread_mutex_lock(&server->lock);
  server->heavy--;
  pthread_cond_broadcast(&server->work);
  pthread_mutex_unlock(&server->lock);
}

bool hand_ready(hand *h, request *r) {
  lw_error error = {0};
  lw_status status = LW_OK;
  if (!h->store) status = lw_store_open(h->server->store, false, &h->store, &error);
  if (status == LW_OK && !h->units) status = lw_units_open(&h->units, &error);
  if (status == LW_OK) return true;
  reply_failure(r, status, &error);
  return false;
}

static void work(hand *h, request *r) {
  h->arena = lw_arena_new(ARENA_MOST);
  if (!h->arena) {
    reply_error(r, MHD_HTTP_SERVICE_UNAVAILABLE, "the server is out of memory");
  } else if (hand_ready(h, r)) {
    r->route->answer(h, r);
  }
  lw_arena_free(h->arena);
  h->arena = NULL;
}

/* Until the server stops and nothing waits any more: what was taken in is answered. */
static void *hand_main(void *to) {
  hand *h = to;
  for (request *r; (r = next_request(h->server)) != NULL;) {
    struct MHD_Connection *connection = r->connection;
    bool heavy = is_heavy(r);
    work(h, r);
    if (heavy) heavy_done(h->server);
    MHD_resume_connection(connection); /* r belongs to the talking thread from here on */
  }
  lw_store_close(h->store);
  lw_units_close(h->units);
  return NULL;
}

bool hands_start(lw_server *server) {
  for (size_t i = 0; i < HANDS; i++) {
    server->hands[i].server = server;
    if (pthread_create(&server->hands[i].thread, NULL, hand_main, &server->hands[i]) != 0) {
      return false;
    }
    server->hands_running++;
  }
  return true;
}

void hands_stop(lw_server *server) {
  pthread_mutex_lock(&server->lock);
  server->stopping = true;
  pthread_cond_broadcast(&server->work);
  pthread_mutex_unlock(&server->lock);
  for (size_t i = 0; i < server->hands_running; i++)
    pthread_join(server->hands[i].thread, NULL);
  server->hands_running = 0;
}

bool hands_take(lw_server *server, request *r) {
  pthread_mutex_lock(&server->lock);
  bool taken = server->waiting < WAITING_MOST && !server->stopping;
  if (taken) {
    r->next = NULL;
    if (server->last) {
      server->last->next = r;
    } else {
      server->first = r;
    }
    server->last = r;
    server->waiting++;
    pthread_cond_signal(&server->work);
  }
  pthread_mutex_unlock(&server->lock);
  return taken;
}
