/* api_twin.c - what the bench says of a job's car: causes, the next move at the idle, idle against
** each screw, the mixture over throttle and speed. Each takes a tenth of a second to a second.
*/
#include "serve.h"

#include "leanward/bench_json.h"
#include "leanward/job_car.h"

#include <string.h>

#define RPM (3.14159265358979323846 / 30)

enum { SIGHTS_MOST = 40, CURVE_POINTS = 15, MAP_THROTTLES = 9, MAP_SPEEDS = 9 };

void api_causes(hand *h, request *r) {
  lw_case given;
  lw_error error = {0};
  const lw_work *work = NULL;
  lw_diagnosis *causes = NULL;
  if (!api_worked(h, r, &given, &work)) return;
  lw_status status = lw_causes_of(h->arena, h->units, work, &causes, &error);
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

void api_map(hand *h, request *r) {
  static const double throttle[MAP_THROTTLES] = {0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1};
  static const double speed[MAP_SPEEDS] = {700 * RPM,  1000 * RPM, 1500 * RPM,
                                           2000 * RPM, 2500 * RPM, 3000 * RPM,
                                           3500 * RPM, 4000 * RPM, 4500 * RPM};
  lw_error error = {0};
  lw_test_car *car = NULL;
  lw_map *map = NULL;
  lw_status status = car_of(h, r, &car, &error);
  if (status == LW_OK) {
    status =
        lw_map_run(h->arena, car->twin, throttle, MAP_THROTTLES, speed, MAP_SPEEDS, &map, &error);
  }
  if (status == LW_OK) {
    reply_json(r, MHD_HTTP_OK, lw_map_json(car->twin, map));
  } else if (!r->reply.status) {
    reply_failure(r, status, &error);
  }
}
