/* api_watch.c - off idle and devices: what the card says of them, and what the needles of this car's
** twin do while a hand moves the throttle, sound or with a fault put in.
*/
#include "serve.h"

#include "leanward/bench_json.h"
#include "leanward/job_car.h"

#include <string.h>

enum { EDITS_MOST = 6 };

/* ---- what is tried ---- */

/* Faults that these runs show: common practice, no source. Those that this car cannot have (no
   dashpot, no air valve) are left out by trying them. */
static const struct {
  lw_watch_kind run;
  const char *name, *edit;
} faults[] = {
    {LW_WATCH_TIP_IN, "pump weak by half", "accelerator pump=weak 50 %"},
    {LW_WATCH_TIP_IN, "pump disconnected", "accelerator pump=disconnected"},
    {LW_WATCH_TIP_IN, "power valve stuck shut", "power valve=stuck shut"},
    {LW_WATCH_TIP_IN, "fuel level 4 mm low", "float level=-4 mm"},
    {LW_WATCH_TIP_IN, "air valve spring 2 turns tight", "air valve spring=+2 turns"},
    {LW_WATCH_TIP_IN, "air valve spring 2 turns loose", "air valve spring=-2 turns"},
    {LW_WATCH_PUMP_SHOT, "pump weak by half", "accelerator pump=weak 50 %"},
    {LW_WATCH_PUMP_SHOT, "pump disconnected", "accelerator pump=disconnected"},
    {LW_WATCH_SNAP_SHUT, "advance valve slow", "advance release=4 s"},
    {LW_WATCH_SNAP_SHUT, "dashpot gone", "dashpot=none"},
    {LW_WATCH_SNAP_SHUT, "dashpot slow, 6 s", "dashpot=6 s"},
    {LW_WATCH_BLIP, "pump disconnected", "accelerator pump=disconnected"},
    {LW_WATCH_BLIP, "dashpot gone", "dashpot=none"},
    {LW_WATCH_BLIP, "dashpot slow, 6 s", "dashpot=6 s"},
};
enum { FAULTS = sizeof faults / sizeof faults[0] };

static bool can_have(hand *h, const lw_test_car *car, size_t i) {
  lw_error ignored = {0};
  lw_test_car *changed = NULL;
  bool dashpot = strncmp(faults[i].edit, "dashpot", strlen("dashpot")) == 0;
  if (dashpot && car->twin->card->carburetor.dashpot == LW_NO) return false;
  return lw_test_car_what_if(h->arena, h->units, car, &faults[i].edit, 1, &changed, &ignored) ==
         LW_OK;
}

static json_t *faults_json(hand *h, const lw_test_car *car) {
  json_t *list = json_array();
  for (size_t i = 0; car && i < FAULTS; i++) {
    if (!can_have(h, car, i)) continue;
    json_array_append_new(list, json_pack("{s:s, s:s, s:s}", "run", lw_watch_names()[faults[i].run],
                                          "name", faults[i].name, "edit", faults[i].edit));
  }
  return list;
}

/* ---- what the card says ---- */

static json_t *number(double x) {
  return lw_known(x) ? json_real(x) : json_null();
}

static json_t *answer_json(lw_answer a) {
  return a == LW_UNSAID ? json_null() : json_boolean(a == LW_YES);
}

static json_t *range_json(lw_dim dim, lw_range range) {
  char text[2][64];
  if (!lw_range_known(range)) return json_null();
  lw_range_text(text[0], sizeof text[0], dim, LW_SHOP, range);
  lw_range_text(text[1], sizeof text[1], dim, LW_METRIC, range);
  return json_pack("{s:s, s:s}", "shop", text[0], "metric", text[1]);
}

/* The engine is the one this car has; its devices are the fitted unit's. */
static json_t *devices_json(const lw_work *work) {
  const lw_card *card = work->card, *unit = work->fitted ? work->fitted : work->card;
  if (!card) return json_null();
  const lw_engine_card *e = &card->engine;
  const lw_carburetor_card *c = &unit->carburetor;
  bool valve = e->vacuum_source == 3 || lw_known(e->control_valve.set_vacuum);
  return json_pack("{s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "control_valve", (int)valve,
                   "set_vacuum_pa", number(e->control_valve.set_vacuum), "fall_time_s",
                   number(e->control_valve.fall_time), "dashpot", answer_json(c->dashpot),
                   "dashpot_time_s", number(c->dashpot_time), "dashpot_gap",
                   range_json(LW_LENGTH, c->dashpot_gap), "pump_duration_s",
                   number(c->pump_duration), "pump_stroke", range_json(LW_LENGTH, c->pump_stroke),
                   "pump_volume_m3", number(c->pump_volume));
}

void api_off_idle(hand *h, request *r) {
  lw_case given;
  lw_error error = {0};
  const lw_work *work = NULL;
  lw_test_car *car = NULL;
  if (!api_worked(h, r, &given, &work)) return;
  lw_status status = lw_job_car(h->arena, h->units, work, &car, &error);
  reply_json(r, MHD_HTTP_OK,
             json_pack("{s:o, s:o, s:o}", "devices", devices_json(work), "faults",
                       faults_json(h, status == LW_OK ? car : NULL), "no_twin",
                       status == LW_OK ? json_null() : json_string(error.text)));
}

/* ---- the run ---- */

typedef struct ask {
  const char *edits[EDITS_MOST];
  size_t count;
  const char *run, *to;
  bool more; /* edits than are taken */
} ask;

static enum MHD_Result take(void *to, enum MHD_ValueKind kind, const char *name,
                            const char *value) {
  ask *a = to;
  (void)kind;
  if (!value) value = "";
  if (strcmp(name, "run") == 0) a->run = value;
  if (strcmp(name, "to") == 0) a->to = value;
  if (strcmp(name, "edit") != 0) return MHD_YES;
  a->more = a->count == EDITS_MOST;
  if (!a->more) a->edits[a->count++] = value;
  return MHD_YES;
}

/* False: r has the refusal. */
static bool understand(hand *h, request *r, const ask *a, lw_watch_ask *want) {
  lw_error error = {0};
  lw_watch_kind run = a->run ? lw_watch_named(a->run) : LW_WATCH_KINDS;
  *want = lw_watch_usual(run);
  bool known = run == LW_WATCH_TIP_IN || run == LW_WATCH_SNAP_SHUT || run == LW_WATCH_BLIP ||
               run == LW_WATCH_PUMP_SHOT;
  if (!known) reply_error(r, MHD_HTTP_BAD_REQUEST, "run is tip-in, snap-shut, blip or pump-shot");
  if (known && a->more)
    reply_error(r, MHD_HTTP_BAD_REQUEST, "at most %d edits are taken", EDITS_MOST);
  if (r->reply.status) return false;
  if (!a->to || lw_watch_set(want, h->units, "to", a->to, &error) == LW_OK) return true;
  reply_failure(r, LW_BAD_INPUT, &error);
  return false;
}

static lw_status run(hand *h, const lw_work *work, const ask *a, const lw_watch_ask *want,
                     json_t **json, lw_error *error) {
  lw_test_car *car = NULL;
  lw_maneuver m;
  lw_status status = lw_job_car(h->arena, h->units, work, &car, error);
  if (status == LW_OK && a->count)
    status = lw_test_car_what_if(h->arena, h->units, car, a->edits, a->count, &car, error);
  if (status == LW_OK) status = lw_watch_run(h->arena, car, want, &m, error);
  if (status == LW_OK) *json = lw_watch_json(car->twin, want->run, &m);
  return status;
}

void api_watch(hand *h, request *r) {
  lw_case given;
  lw_error error = {0};
  lw_watch_ask want;
  const lw_work *work = NULL;
  json_t *json = NULL;
  ask a = {0};
  MHD_get_connection_values(r->connection, MHD_GET_ARGUMENT_KIND, take, &a);
  if (!understand(h, r, &a, &want) || !api_worked(h, r, &given, &work)) return;
  lw_status status = run(h, work, &a, &want, &json, &error);
  if (status == LW_OK) {
    reply_json(r, MHD_HTTP_OK, json);
  } else {
    reply_failure(r, status, &error);
  }
}
