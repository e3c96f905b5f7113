/* idle_job.h - the idle guide of a job, asked once or beside running instruments. Private to this
** floor.
*/
#ifndef LW_CLI_IDLE_JOB_H
#define LW_CLI_IDLE_JOB_H

#include "cli.h"

#include "leanward/guide.h"
#include "leanward/instrument.h"
#include "leanward/job_car.h"

enum { IDLE_SIGHTS_MOST = 32 };

/* What was asked of the guide and what it said. Everything lies in arena. */
typedef struct idle_guided {
  lw_arena *arena;
  lw_case given;
  const lw_work *work;
  lw_test_car *car; /* NULL: the engine is not fit, or the wrong unit is on it */
  lw_goal goal;
  lw_sight sights[IDLE_SIGHTS_MOST];
  size_t count;
  lw_guidance g;
  const lw_diagnosis *causes; /* when the screws cannot do it; NULL: not weighed */
} idle_guided;

/* The job as it stands in its file, its car and its idle readings. An arena of its own. */
lw_status idle_guided_read(idle_guided *d, lw_units *units, const char *path,
                           lw_error *error) LW_MUST_USE;
/* The next move; LW_BAD_INPUT without an idle reading. */
lw_status idle_guided_next(idle_guided *d, lw_units *units, lw_error *error) LW_MUST_USE;
void idle_guided_free(idle_guided *d);

/* What is wanted, and every reading so far. */
void idle_print_start(const idle_guided *d);
/* The move or the end; caution: with the word on where hands must not be. */
void idle_print_guidance(const idle_guided *d, bool caution);
/* Nothing is turned: why, and the exit code. */
int idle_print_not_fit(const idle_guided *d);

/* ---- beside running instruments ---- */

typedef struct idle_listening {
  const char *job;
  const char *paths[LW_SOURCE_INSTRUMENTS], *ports[LW_SOURCE_INSTRUMENTS]; /* ports: NULL */
  size_t count;
  const char *log;       /* NULL: none */
  double speed, seconds; /* NaN: not said */
  bool wait, json;
} idle_listening;

/* `idle JOB --listen ...`: returns the exit code. */
int idle_live(const idle_listening *asked);

#endif
