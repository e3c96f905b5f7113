/* service_internal.h - what the files of this floor share. Private to it. */
#ifndef LW_SERVICE_INTERNAL_H
#define LW_SERVICE_INTERNAL_H

#include "leanward/service.h"

/* One job while it is worked. Texts come from say(); when memory runs out they become "" and
   no_memory is set, which lw_job_work turns into LW_NO_MEMORY at the end. */
typedef struct desk {
  lw_arena *arena;
  lw_error *error;
  bool no_memory;
  const lw_card *blank; /* a card with nothing on it */
  lw_work *work;
} desk;

const char *say(desk *d, const char *format, ...) LW_PRINTF(2, 3);

/* A growing list of texts in the arena: none is ever left out. */
typedef struct lines {
  const char **text;
  size_t count, room;
} lines;
void lines_add(desk *d, lines *l, const char *text);

/* A quantity in both unit systems, in the arena. */
const char *say_both(desk *d, lw_dim dim, double si);
const char *say_range(desk *d, lw_dim dim, lw_range range);

/* Each fills its part of d->work. */
void work_intake(desk *d);
void work_fitness(desk *d);
lw_status work_verdict(desk *d);
void work_advice(desk *d);
void work_cautions(desk *d);
void work_gaps(desk *d);

/* The checks of fitness, by what they look at. Each fills one lw_check. */
void check_compression(desk *d, lw_check *c);
void check_leakage(desk *d, lw_check *c);
void check_dwell(desk *d, lw_check *c);
void check_timing(desk *d, lw_check *c);
void check_centrifugal(desk *d, lw_check *c);
void check_vacuum_advance(desk *d, lw_check *c);

/* Card and job halves that are never NULL: an empty card stands in for a missing one. */
const lw_engine_card *engine_of(const desk *d);
const lw_carburetor_card *carburetor_of(const desk *d);
/* Whether a reading was taken in the gear the idle is set in: drive only when the card says so. A
   gear that was not said counts as the right one. */
bool in_set_gear(const lw_work *w, const lw_reading *r);
/* The newest reading at idle for which has() is true, one in the set gear before others; or NULL. */
typedef bool (*reading_test)(const lw_reading_work *reading);
const lw_reading_work *newest_idle(const desk *d, reading_test has);

#endif
