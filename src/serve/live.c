/* live.c - readings from instruments to everybody who looks: one thread owns the source, tells the
** hub what comes, and keeps a copy of the newest for who asks.
**
** The raw log lies beside the store (live.log); docs/instruments.md says what stands in it.
*/
#include "serve.h"

#include "leanward/instrument.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define DESCRIPTION_MOST ((size_t)64 * 1024)

enum { WAIT_SECONDS = 5 };

struct live_feed {
  lw_server *server;
  lw_arena *arena;
  lw_units *units;
  lw_source *source;
  pthread_t thread;
  bool running, replays;
  pthread_mutex_t lock; /* of what follows */
  bool stopping, moved;
  size_t count;
  lw_health health[LW_SOURCE_INSTRUMENTS]; /* names point into arena */
  lw_live newest;                          /* the last reading */
};

/* ---- as JSON ---- */

static json_t *number(double x) {
  return lw_known(x) ? json_real(x) : json_null();
}

static void shown_text(char *text, size_t size, lw_live_item item, double x) {
  lw_quantity_text(text, size, lw_live_item_dim(item), LW_SHOP, x, LW_NONE);
}

static json_t *items_json(const lw_live *live) {
  json_t *items = json_object();
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    char text[64];
    if (!lw_known(live->x[i])) continue;
    shown_text(text, sizeof text, (lw_live_item)i, live->x[i]);
    json_object_set_new(items, lw_live_item_text((lw_live_item)i),
                        json_pack("{s:f, s:s, s:s, s:o, s:o, s:o}", "x", live->x[i], "shown", text,
                                  "state", lw_settling_text(live->state[i]), "wait_s",
                                  number(live->wait[i]), "mean", number(live->mean[i]), "spread",
                                  number(live->spread[i])));
  }
  return items;
}

static void wall_text(char *text, size_t size, int64_t wall) {
  time_t seconds = (time_t)(wall / 1000);
  struct tm utc;
  char day[32];
  gmtime_r(&seconds, &utc);
  strftime(day, sizeof day, "%Y-%m-%dT%H:%M:%S", &utc);
  snprintf(text, size, "%s.%03dZ", day, (int)(wall % 1000));
}

json_t *lw_live_json(const lw_live *live) {
  static const char *const kinds[] = {"nothing", "reading", "lost", "back",
                                      "remark",  "moved",   "end"};
  static const char *const bases[] = {NULL, "hexane", "propane", "C1"};
  char wall[48];
  bool reading = live->kind == LW_LIVE_READING;
  wall_text(wall, sizeof wall, live->wall);
  const char *basis = bases[live->hc_basis];
  return json_pack("{s:s, s:I, s:i, s:f, s:s, s:o, s:o, s:o, s:o, s:s}", "kind", kinds[live->kind],
                   "number", (json_int_t)live->number, "instrument", live->instrument, "time_s",
                   live->time, "wall", wall, "settled",
                   reading ? json_boolean(live->settled) : json_null(), "wait_s",
                   reading ? number(live->longest_wait) : json_null(), "items",
                   reading ? items_json(live) : json_object(), "hc_as",
                   reading && basis ? json_string(basis) : json_null(), "words", live->words);
}

/* ---- the thread ---- */

static void tell(live_feed *l, const lw_live *entry) {
  json_t *json = lw_live_json(entry);
  char *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(9)) : NULL;
  if (text) hub_tell(l->server->hub, EVERY_JOB, "live", text);
  free(text);
  json_decref(json);
}

static void keep(live_feed *l, const lw_live *entry) {
  pthread_mutex_lock(&l->lock);
  l->count = lw_source_instruments(l->source);
  for (size_t i = 0; i < l->count; i++)
    l->health[i] = lw_source_health(l->source, i);
  if (entry->kind == LW_LIVE_READING) lw_source_now(l->source, WAIT_SECONDS, &l->newest);
  pthread_mutex_unlock(&l->lock);
}

/* What others asked for since; false: stop. */
static bool heed(live_feed *l) {
  lw_error error = {0};
  pthread_mutex_lock(&l->lock);
  bool stop = l->stopping, moved = l->moved;
  l->moved = false;
  pthread_mutex_unlock(&l->lock);
  if (!stop && moved && lw_source_moved(l->source, "", &error) != LW_OK) return true;
  return !stop;
}

static void *live_main(void *to) {
  live_feed *l = to;
  lw_live entry;
  lw_error error = {0};
  while (heed(l)) {
    if (lw_source_next(l->source, lw_now() + 1, &entry, &error) != LW_OK) break;
    if (entry.kind == LW_LIVE_NOTHING) continue;
    keep(l, &entry);
    tell(l, &entry);
    if (entry.kind == LW_LIVE_END) break;
  }
  return NULL;
}

/* ---- start and stop ---- */

static lw_status listen_to(live_feed *l, const char *path, lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  lw_instrument *instrument = NULL;
  const lw_bind bind = {l->arena, l->units, path};
  lw_status status = lw_file_read(l->arena, path, DESCRIPTION_MOST, &text, &length, error);
  if (status == LW_OK) status = lw_instrument_read(&bind, text, length, &instrument, error);
  if (status == LW_OK) status = lw_source_listen(l->source, instrument, LW_LISTEN_PATIENT, error);
  if (status != LW_OK) lw_error_place(error, path, 0, NULL);
  return status;
}

static lw_status start_log(live_feed *l, lw_error *error) {
  const char *path = lw_file_beside(l->arena, l->server->store, "live.log");
  if (!path) return lw_fail(error, LW_NO_MEMORY, "no memory for the log");
  return lw_source_log(l->source, path, error);
}

static lw_status open_source(live_feed *l, const lw_serve_options *options, lw_error *error) {
  lw_status status = lw_units_open(&l->units, error);
  if (status == LW_OK) status = lw_source_new(&l->source, error);
  if (status != LW_OK) return status;
  l->replays = options->replay != NULL;
  if (l->replays) {
    return lw_source_replay(l->source, l->units, options->replay, options->replay_speed, error);
  }
  status = start_log(l, error);
  for (size_t i = 0; status == LW_OK && i < options->instrument_count; i++)
    status = listen_to(l, options->instruments[i], error);
  return status;
}

lw_status live_start(lw_server *server, const lw_serve_options *options, lw_error *error) {
  if (!options->instrument_count && !options->replay) return LW_OK;
  live_feed *l = calloc(1, sizeof *l);
  if (!l) return lw_fail(error, LW_NO_MEMORY, "no memory for the instruments");
  server->live = l;
  l->server = server;
  l->arena = lw_arena_new(0);
  pthread_mutex_init(&l->lock, NULL);
  lw_status status =
      l->arena ? open_source(l, options, error) : lw_fail(error, LW_NO_MEMORY, "no memory");
  if (status != LW_OK) return status;
  l->running = pthread_create(&l->thread, NULL, live_main, l) == 0;
  return l->running ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no thread for the instruments");
}

void live_stop(lw_server *server) {
  live_feed *l = server->live;
  if (!l) return;
  if (l->running) {
    pthread_mutex_lock(&l->lock);
    l->stopping = true;
    pthread_mutex_unlock(&l->lock);
    lw_source_wake(l->source);
    pthread_join(l->thread, NULL);
  }
  lw_source_free(l->source);
  lw_units_close(l->units);
  lw_arena_free(l->arena);
  pthread_mutex_destroy(&l->lock);
  free(l);
  server->live = NULL;
}

/* ---- the answers ---- */

static json_t *health_json(const lw_health *health) {
  return json_pack("{s:s, s:b, s:I, s:I, s:s}", "name", health->name ? health->name : "", "there",
                   health->there, "readings", (json_int_t)health->readings, "lost",
                   (json_int_t)health->losses, "words", health->last);
}

void api_live(hand *h, request *r) {
  (void)h;
  live_feed *l = r->server->live;
  json_t *list = json_array(), *newest = NULL;
  if (l) {
    pthread_mutex_lock(&l->lock);
    for (size_t i = 0; i < l->count; i++)
      json_array_append_new(list, health_json(&l->health[i]));
    if (l->newest.kind == LW_LIVE_READING) newest = lw_live_json(&l->newest);
    pthread_mutex_unlock(&l->lock);
  }
  reply_json(r, MHD_HTTP_OK,
             json_pack("{s:b, s:o, s:o}", "listening", l != NULL, "instruments", list, "newest",
                       newest ? newest : json_null()));
}

/* A screw was turned: nothing counts as settled until its lag has passed. */
void api_live_moved(hand *h, request *r) {
  (void)h;
  live_feed *l = r->server->live;
  if (!l || l->replays) {
    reply_error(r, MHD_HTTP_CONFLICT,
                l ? "a file is played: what was moved stands in it"
                  : "no instrument is listened to; start the server with --listen");
    return;
  }
  pthread_mutex_lock(&l->lock);
  l->moved = true;
  pthread_mutex_unlock(&l->lock);
  lw_source_wake(l->source);
  reply_json(r, MHD_HTTP_OK, json_pack("{s:b}", "moved", 1));
}
