/* leanward/job_car.h - a job's car put on the bench: its weather and fuel, its readings as sights.
**
** Units    SI.
** Errors   LW_BAD_INPUT, in words, when the job has no card, or its card cannot be run.
** Memory   the car lies in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
*/
#ifndef LEANWARD_JOB_CAR_H
#define LEANWARD_JOB_CAR_H

#include "leanward/fit.h"
#include "leanward/service.h"

/* The car of a job, trimmed to its card at sea level, then in the job's weather and on its fuel. The
   fitted unit's card when it is another one that can be run. */
lw_status lw_job_car(lw_arena *arena, lw_units *units, const lw_work *work, lw_test_car **car,
                     lw_error *error) LW_MUST_USE;

/* This engine, as car has it, with the unit of another card on it. */
lw_status lw_job_car_with(lw_arena *arena, lw_units *units, const lw_work *work,
                          const lw_test_car *car, const lw_card *unit, lw_test_car **with,
                          lw_error *error) LW_MUST_USE;

/* One reading as a sight: false when it tells nothing (no speed, not settled, sample void, over a
   cycle, a cruise without its vacuum). The label points into the job. */
bool lw_job_sight(const lw_work *work, const lw_reading_work *reading, lw_sight *sight);

/* The idle readings in the gear the card sets the mixture in, oldest first; at most most, the newest
   kept. Returns how many. */
size_t lw_job_idles(const lw_work *work, lw_sight *sights, size_t most);

#endif
