/* idle_keep.c - a reading taken from instruments, and the moves before it, into the job's file.
**
** The file is read anew each time, so that what a person changed in it meanwhile stays. It is
** replaced as a whole, synced, moves and reading at once (lw_file_write): after a kill or a power
** cut the old or the new one is there.
*/
#include "idle_turn.h"

#include "leanward/document.h"

#include <math.h>
#include <string.h>
#include <time.h>

/* ---- the items ---- */

static void put(json_t *item, const char *key, const char *text) {
  if (text && text[0]) json_object_set_new(item, key, json_string(text));
}

static void put_number(json_t *item, const char *key, double shown, int decimals,
                       const char *unit) {
  char text[64];
  if (!lw_known(shown)) return;
  snprintf(text, sizeof text, "%.*f %s", decimals, shown, unit);
  put(item, key, text);
}

/* A gas hangs about zero, and oxygen about that of air, by the analyzer's own error; no job takes
   less than none, or more than air has. */
static double gas(const idle_taken *t, lw_live_item item) {
  double x = t->x[item], most = item == LW_LIVE_O2 ? 0.209 : 0.25;
  return x < 0 ? 0 : x > most ? most : x;
}

static void put_gases(json_t *item, const idle_taken *t) {
  static const char *const bases[] = {"ppm", "ppm hexane", "ppm propane", "ppm C1"};
  put_number(item, "CO", 100 * gas(t, LW_LIVE_CO), 3, "%");
  put_number(item, "CO2", 100 * gas(t, LW_LIVE_CO2), 2, "%");
  put_number(item, "HC", 1e6 * gas(t, LW_LIVE_HC), 1, bases[t->hc_basis]);
  put_number(item, "O2", 100 * gas(t, LW_LIVE_O2), 2, "%");
  put_number(item, "NO", 1e6 * gas(t, LW_LIVE_NO), 0, "ppm");
}

/* The time of day here, as a clock on the wall shows it. */
static void put_time(json_t *item, int64_t wall) {
  time_t seconds = (time_t)(wall / 1000);
  struct tm day;
  char text[16];
  if (wall < 0 || !localtime_r(&seconds, &day)) return;
  strftime(text, sizeof text, "%H:%M:%S", &day);
  put(item, "time", text);
}

static json_t *places_json(const idle_screws *s) {
  json_t *places = json_object();
  for (size_t i = 0; i < s->count; i++) {
    char text[48];
    double now = idle_screw_now(&s->at[i]);
    if (s->at[i].speed || !lw_known(now)) continue;
    put(places, s->at[i].name, lw_turns_text(text, sizeof text, fmax(now, 0)));
  }
  return places;
}

static json_t *reading_json(const idle_taken *t, const idle_screws *s) {
  char label[240];
  json_t *item = json_object();
  idle_screws_words(s, label, sizeof label);
  put(item, "label", label[0] ? label : t->first ? "as it came in" : "read again");
  put_time(item, t->wall);
  put(item, "stage", t->first ? "as found" : "working");
  put(item, "at", "idle");
  put(item, "analyzer", t->analyzer);
  put_number(item, "speed", lw_dim_shown(LW_SPIN, LW_SHOP, t->x[LW_LIVE_SPEED]), 0, "rpm");
  put(item, "gear", t->gear == LW_LOAD_DRIVE ? "drive" : "neutral");
  put(item, "settled", "yes");
  put_gases(item, t);
  double vacuum = t->x[LW_LIVE_VACUUM];
  put_number(item, "vacuum", lw_dim_shown(LW_PRESSURE, LW_SHOP, vacuum < 0 ? 0 : vacuum), 2,
             "inHg");
  json_object_set_new(item, "screws", places_json(s));
  put(item, "note", t->note);
  return item;
}

/* What a person turned the speed screw by is not known when the guide asked for a speed. */
static json_t *done_json(const idle_screw *s, const idle_taken *t) {
  char text[96], by[48];
  json_t *item = json_object();
  if (s->speed && !s->typed) {
    snprintf(text, sizeof text, "idle speed set to %.0f rpm with the speed screw",
             lw_dim_shown(LW_SPIN, LW_SHOP, t->x[LW_LIVE_SPEED]));
    put(item, "what", text);
    return item;
  }
  put(item, "what",
      s->typed    ? "turned, as typed beside the instruments"
      : s->beyond ? "turned an eighth beyond and back, as the guide asked"
                  : "turned as the guide asked");
  put(item, "screw", s->name);
  lw_turns_text(by, sizeof by, fabs(s->turned));
  snprintf(text, sizeof text, "%s %s", by, s->turned > 0 ? "counter-clockwise" : "clockwise");
  put(item, "turned", text);
  return item;
}

/* ---- the file ---- */

typedef struct page {
  lw_arena *arena;
  const char *path, *text;
  size_t length;
} page;

static lw_status add(page *p, const char *key, json_t *item, lw_error *error) {
  lw_status status = lw_document_add(p->arena, p->path, p->text, p->length, key, item, &p->text,
                                     &p->length, error);
  json_decref(item);
  return status;
}

static lw_status add_all(page *p, const idle_taken *t, const idle_screws *s, lw_error *error) {
  lw_status status = LW_OK;
  for (size_t i = 0; status == LW_OK && i < s->count; i++) {
    if (s->at[i].turned != 0) status = add(p, "done", done_json(&s->at[i], t), error);
  }
  return status == LW_OK ? add(p, "readings", reading_json(t, s), error) : status;
}

lw_status idle_keep(lw_units *units, const char *path, const idle_taken *taken,
                    const idle_screws *screws, lw_error *error) {
  page p = {.arena = lw_arena_new(0), .path = path};
  if (!p.arena) return lw_fail(error, LW_NO_MEMORY, "no memory for this reading");
  const lw_bind bind = {p.arena, units, path};
  lw_job *job = NULL;
  lw_status status = lw_file_read(p.arena, path, LW_DOC_MAX_BYTES, &p.text, &p.length, error);
  if (status == LW_OK) status = add_all(&p, taken, screws, error);
  /* never a file that could not be read again */
  if (status == LW_OK) status = lw_job_read(&bind, p.text, p.length, &job, error);
  if (status == LW_OK) status = lw_file_write(path, p.text, p.length, error);
  lw_arena_free(p.arena);
  return status;
}
