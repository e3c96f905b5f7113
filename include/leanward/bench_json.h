/* leanward/bench_json.h - what the bench finds, as JSON: the one writer for it, for the command
** line and for the server. docs/json.md and docs/idle.md describe the keys.
**
** Units    SI, named in the keys.
** Memory   each is a new value the caller owns (json_decref); NULL when there is no memory.
** Threads  pure functions.
*/
#ifndef LEANWARD_BENCH_JSON_H
#define LEANWARD_BENCH_JSON_H

#include "leanward/causes.h"
#include "leanward/guide.h"
#include "leanward/watch.h"

#include <jansson.h>

json_t *lw_twin_json(const lw_twin *twin);
json_t *lw_map_point_json(const lw_map_point *point);
json_t *lw_map_points_json(const lw_map *map);
/* `leanward map --json` */
json_t *lw_map_json(const lw_twin *twin, const lw_map *map);
/* `leanward try --json`: edits as written, which made changed of twin; c: the comparison of both */
json_t *lw_trial_json(const char *const *edits, size_t count, const lw_twin *twin,
                      const lw_twin *changed, const lw_comparison *c);
/* `leanward idle CARD --json` */
json_t *lw_idle_table_json(const lw_test_car *car, const lw_idle_table *table);
/* `leanward idle JOB --json`. readings: how many the guide was given; causes may be NULL. */
json_t *lw_guidance_json(const lw_job *job, const lw_goal *goal, size_t readings,
                         const lw_guidance *guidance, const lw_diagnosis *causes);
/* `leanward watch --json` (docs/watch.md) */
json_t *lw_watch_json(const lw_twin *twin, lw_watch_kind run, const lw_maneuver *maneuver);

#endif
