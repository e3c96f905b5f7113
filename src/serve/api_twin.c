/* api_twin.c - what the bench says of a job's car: causes, the next move at the idle, idle against
** each screw, the mixture over throttle and speed, and what a change would do to it. Each takes a tenth of a second to a second.
*/
#include "serve.h"

#include "leanward/bench_json.h"
#include "leanward/circuit.h"
#include "leanward/job_car.h"

#include <string.h>

#define RPM (3.14159265358979323846 / 30)

enum { EDITS_MOST = 20, SIGHTS_MOST = 40, CURVE_POINTS = 15, MAP_THROTTLES = 9, MAP_SPEEDS = 9 };

void api_causes(hand *h, request *r) {
  lw_case given;
  lw_error error = {0};
  const lw_work *work = NULL;
  lw_diagnosis *causes = NULL;
  if (!api_worked(h, r, &given, &work)) return;
  const lw_card *other = card_other(h, given.card);
  lw_status status = lw_causes_of(h->arena, h->units, work, other, &causes, &error);
  if (status == LW_OK) {
    reply_json(r, MHD_HTTP_OK, lw_causes_json(causes));
  } else {
    reply_failure(r, status, &error);
  }
}

/* ---- idle ---- */

/* Nothing is turned on an engine that is not fit, or with the wrong unit on it. */
static bool may_turn(request *r, const lw_work *work) {
  if (work->intake.answer == LW_BELONGS_NOT) {
    reply_error(r, MHD_HTTP_CONFLICT, "not the right unit: %s", work->intake.summary);
    return false;
  }
  if (work->fitness.overall != LW_NOT_FIT) return true;
  reply_error(r, MHD_HTTP_CONFLICT, "not fit to be adjusted: %s",
              work->fitness.first ? work->fitness.first : work->fitness.summary);
  return false;
}

static lw_status guide(hand *h, request *r, const lw_work *work, lw_error *error) {
  lw_goal goal;
  lw_guidance g;
  lw_test_car *car = NULL;
  lw_diagnosis *causes = NULL;
  lw_sight *sights = lw_arena_array(h->arena, SIGHTS_MOST, sizeof *sights);
  if (!sights) return lw_fail(error, LW_NO_MEMORY, "no memory");
  lw_status status = lw_job_car(h->arena, h->units, work, &car, error);
  if (status != LW_OK) return status;
  goal = lw_goal_from(car->twin->card);
  size_t count = lw_job_idles(work, sights, SIGHTS_MOST);
  status = lw_guide_next(h->arena, h->units, car, &goal, sights, count, &g, error);
  if (status != LW_OK) return status;
  size_t skip = count > LW_SIGHTS_MOST ? count - LW_SIGHTS_MOST : 0;
  if (g.state == LW_GUIDE_CANNOT && lw_causes_find(h->arena, h->units, car, sights + skip,
                                                   count - skip, NULL, &causes, NULL) != LW_OK) {
    causes = NULL;
  }
  reply_json(r, MHD_HTTP_OK, lw_guidance_json(work->job, &goal, count, &g, causes));
  return LW_OK;
}

void api_idle(hand *h, request *r) {
  lw_case given;
  lw_error error = {0};
  const lw_work *work = NULL;
  if (!api_worked(h, r, &given, &work) || !may_turn(r, work)) return;
  lw_status status = guide(h, r, work, &error);
  if (status != LW_OK) reply_failure(r, status, &error);
}

/* ---- curves and map ---- */

static lw_status car_of(hand *h, request *r, lw_test_car **car, lw_error *error) {
  lw_case given;
  const lw_work *work = NULL;
  if (!api_worked(h, r, &given, &work)) return LW_BAD_INPUT;
  return lw_job_car(h->arena, h->units, work, car, error);
}

void api_idle_curves(hand *h, request *r) {
  lw_error error = {0};
  lw_test_car *car = NULL;
  lw_idle_table *table = NULL;
  bool speed = r->hold && strcmp(r->hold, "speed") == 0;
  if (r->hold && !speed && strcmp(r->hold, "screw") != 0) {
    reply_error(r, MHD_HTTP_BAD_REQUEST, "hold is speed or screw");
    return;
  }
  lw_status status = car_of(h, r, &car, &error);
  if (status == LW_OK) {
    status = lw_idle_sweep(h->arena, h->units, car, LW_LOAD_NONE,
                           speed ? LW_HOLD_SPEED : LW_HOLD_STOP, CURVE_POINTS, &table, &error);
  }
  if (status == LW_OK) {
    reply_json(r, MHD_HTTP_OK, lw_idle_table_json(car, table));
  } else if (!r->reply.status) {
    reply_failure(r, status, &error);
  }
}

static lw_status run_map(hand *h, const lw_twin *twin, lw_map **map, lw_error *error) {
  static const double throttle[MAP_THROTTLES] = {0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1};
  static const double speed[MAP_SPEEDS] = {700 * RPM,  1000 * RPM, 1500 * RPM,
                                           2000 * RPM, 2500 * RPM, 3000 * RPM,
                                           3500 * RPM, 4000 * RPM, 4500 * RPM};
  return lw_map_run(h->arena, twin, throttle, MAP_THROTTLES, speed, MAP_SPEEDS, map, error);
}

void api_map(hand *h, request *r) {
  lw_error error = {0};
  lw_test_car *car = NULL;
  lw_map *map = NULL;
  lw_status status = car_of(h, r, &car, &error);
  if (status == LW_OK) status = run_map(h, car->twin, &map, &error);
  if (status == LW_OK) {
    reply_json(r, MHD_HTTP_OK, lw_map_json(car->twin, map));
  } else if (!r->reply.status) {
    reply_failure(r, status, &error);
  }
}

/* ---- what if ---- */

void api_what_ifs(hand *h, request *r) {
  size_t count = 0;
  const lw_what_if_name *names = lw_what_ifs(&count);
  json_t *list = json_array();
  (void)h;
  for (size_t i = 0; i < count; i++)
    json_array_append_new(list, json_pack("{s:s, s:s, s:s, s:b}", "name", names[i].name, "values",
                                          names[i].values, "what", names[i].what, "fault",
                                          (int)names[i].fault));
  reply_json(r, MHD_HTTP_OK, json_pack("{s:o}", "what_ifs", list));
}

/* What is asked: {"edits": ["main jet=0.061 in", ...], "circuit": {"throttle": 0.1, "speed_rad_s":
   157}}. The texts lie in the hand's arena. */
typedef struct wish {
  const char *edits[EDITS_MOST];
  size_t count;
  bool circuit; /* a drawing too, at: */
  double throttle, speed;
} wish;

/* Where the passages are drawn: an idle stop to wide open, cranking to any engine's end. */
static bool place_of(const json_t *circuit, wish *w) {
  w->throttle = json_number_value(json_object_get(circuit, "throttle"));
  w->speed = json_number_value(json_object_get(circuit, "speed_rad_s"));
  bool open = w->throttle >= 0 && w->throttle <= 1;
  return open && w->speed >= 100 * RPM && w->speed <= 8000 * RPM;
}

static lw_status wish_of(hand *h, const request *r, wish *w, lw_error *error) {
  json_error_t wrong;
  json_t *body = json_loadb(r->body ? r->body : "", r->used, JSON_REJECT_DUPLICATES, &wrong);
  if (!body) {
    lw_error_place(error, NULL, wrong.line, NULL);
    return lw_fail(error, LW_BAD_INPUT, "the body is no JSON: %.200s", wrong.text);
  }
  const json_t *list = json_object_get(body, "edits");
  size_t given = json_array_size(list);
  bool good = given >= 1 && given <= EDITS_MOST;
  for (size_t i = 0; good && i < given; i++) {
    const char *text = json_string_value(json_array_get(list, i));
    w->edits[i] = text ? lw_arena_copy(h->arena, text, strlen(text)) : NULL;
    good = w->edits[i] != NULL;
  }
  const json_t *circuit = json_object_get(body, "circuit");
  w->circuit = circuit != NULL;
  bool placed = !circuit || place_of(circuit, w);
  json_decref(body);
  w->count = given;
  if (good && placed) return LW_OK;
  if (good) {
    lw_error_place(error, NULL, 0, "circuit");
    return lw_fail(error, LW_BAD_INPUT,
                   "a throttle from 0 to 1 and a speed_rad_s from 10.5 to 838 are expected");
  }
  lw_error_place(error, NULL, 0, "edits");
  return lw_fail(error, LW_BAD_INPUT, "1 to %d texts such as \"main jet=0.061 in\" are expected",
                 EDITS_MOST);
}

/* Sizes that are changed most, before and after. */
static json_t *sizes_json(const lw_carburetor_card *before, const lw_carburetor_card *after) {
  const struct {
    const char *name;
    double before, after;
  } sizes[] = {
      {"main jet", before->primary.main_jet, after->primary.main_jet},
      {"secondary main jet", before->secondary.main_jet, after->secondary.main_jet},
      {"idle feed", before->primary.idle_feed, after->primary.idle_feed},
      {"idle bleed", before->primary.idle_bleed, after->primary.idle_bleed},
  };
  json_t *list = json_array();
  for (size_t i = 0; i < sizeof sizes / sizeof sizes[0]; i++) {
    if (!(sizes[i].before > 0)) continue;
    json_array_append_new(
        list,
        json_pack("{s:s, s:f, s:o}", "name", sizes[i].name, "original_m", sizes[i].before,
                  "changed_m", lw_known(sizes[i].after) ? json_real(sizes[i].after) : json_null()));
  }
  return list;
}

/* The changed carburetor's passages, with what flows in them there, as SVG. */
static lw_status draw_circuit(hand *h, const lw_twin *twin, const wish *w, json_t *json,
                              lw_error *error) {
  lw_state state = {0};
  lw_report report = {0};
  const void *bytes = NULL;
  size_t length = 0;
  const lw_setting set = {.throttle = w->throttle,
                          .speed = w->speed,
                          .ambient = twin->ambient,
                          .temperature = twin->temperature};
  lw_point *point = lw_arena_alloc(h->arena, sizeof *point);
  if (!point) return lw_fail(error, LW_NO_MEMORY, "no memory");
  lw_net_solve(twin->net, &set, &state, &report);
  if (report.converged) lw_net_point(twin->net, &set, &state, point);
  const lw_circuit_view view = {twin->card, twin->net, &set, &report, point, -1};
  pthread_mutex_lock(&h->server->drawing);
  lw_status status = lw_circuit_draw(h->arena, &view, LW_PICTURE_SVG, 0, &bytes, &length, error);
  pthread_mutex_unlock(&h->server->drawing);
  if (status == LW_OK) json_object_set_new(json, "circuit_svg", json_stringn(bytes, length));
  return status;
}

static lw_status compare(hand *h, const lw_twin *twin, wish *w, json_t **json, lw_error *error) {
  lw_twin *changed = NULL;
  lw_map *a = NULL, *b = NULL;
  lw_comparison *c = NULL;
  lw_status status = lw_what_if(h->arena, h->units, twin, w->edits, w->count, &changed, error);
  if (status == LW_OK) status = run_map(h, twin, &a, error);
  if (status == LW_OK) status = lw_map_again(h->arena, changed, a, &b, error);
  if (status == LW_OK) {
    double idle = lw_range_middle(twin->card->idle.speed);
    status = lw_compare(h->arena, a, b, idle, twin->ambient, &c, error);
  }
  if (status != LW_OK) return status;
  *json = lw_trial_json(w->edits, w->count, twin, changed, c);
  json_object_set_new(*json, "sizes",
                      sizes_json(&twin->card->carburetor, &changed->card->carburetor));
  return w->circuit ? draw_circuit(h, changed, w, *json, error) : LW_OK;
}

void api_try(hand *h, request *r) {
  lw_error error = {0};
  lw_test_car *car = NULL;
  json_t *json = NULL;
  wish w = {.count = 0};
  lw_status status = wish_of(h, r, &w, &error);
  if (status == LW_OK) status = car_of(h, r, &car, &error);
  if (status == LW_OK) status = compare(h, car->twin, &w, &json, &error);
  if (status == LW_OK) {
    reply_json(r, MHD_HTTP_OK, json);
    return;
  }
  json_decref(json);
  if (!r->reply.status) reply_failure(r, status, &error);
}
