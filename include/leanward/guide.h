/* leanward/guide.h - the next move at the idle screws, from what they have done so far.
**
** The guide keeps the twin of this car fitted to every settled reading since the work began (fit.h),
** and asks it where the screws must go. A move turns the mixture screws and the speed screw
** together; then the readings settle, and the next move is asked for. It finishes lean: the last
** turn of a mixture screw is in the leaning direction. It never asks for a place past a stop, names
** a screw without authority, and ends with `set` or with why it cannot be.
**
** Units    SI; turns out from lightly seated; speed screw in turns, + is in (faster).
** Errors   LW_BAD_INPUT without a card that can be run, or without an idle reading.
** Memory   texts lie in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
** Source   docs/guide.md; order of work and finishing lean are common practice, no source.
*/
#ifndef LEANWARD_GUIDE_H
#define LEANWARD_GUIDE_H

#include "leanward/fit.h"

/* Where the idle shall be. */
typedef struct lw_goal {
  double speed, speed_within; /* rad/s, either way */
  double co, co_lo, co_hi;    /* mole fraction: aimed at, accepted */
  double co_most;             /* the limit; NaN: none */
  double hc_most;             /* as hexane; NaN: no limit */
  lw_gear_load gear;
} lw_goal;
/* From the card and its limits; what neither says is what is usual (docs/guide.md). */
lw_goal lw_goal_from(const lw_card *card);

typedef enum lw_guide_state {
  LW_GUIDE_MOVE,   /* turn, then wait and read again */
  LW_GUIDE_SET,    /* all inside: leave it */
  LW_GUIDE_CANNOT, /* the screws cannot do it: why says what prevents it */
  LW_GUIDE_WAIT    /* the last reading must be taken again first: words say why */
} lw_guide_state;

typedef struct lw_screw_move {
  const char *screw; /* name on the card; "speed screw" */
  double turns;      /* to turn: + counter-clockwise as seen, - clockwise */
  double from, to;   /* turns out; NaN for the speed screw and where nobody counted */
  bool back;         /* richening: go further and come back by it, to finish lean */
  double beyond;     /* by how much: an eighth, less where the stop is nearer; 0: not */
  const char *words; /* "mixture screw: 1/4 turn clockwise (leaner)" */
} lw_screw_move;

enum { LW_MOVES_MOST = 9 };

typedef struct lw_guidance {
  lw_guide_state state;
  size_t move_count;
  lw_screw_move moves[LW_MOVES_MOST];
  /* what the next reading should show, with standard deviations */
  double speed, co, co2, o2, hc, vacuum;
  double speed_u, co_u, hc_u;
  const char *words; /* the whole of it in a sentence or two */
  const char *why;   /* LW_GUIDE_CANNOT: what stands against it; lw_causes_find says the cause */
  lw_match match;    /* the car as it is believed to be */
  double surprise; /* how far the newest reading lay from what was predicted, standard deviations */
} lw_guidance;

/* The next move. sights: idle readings since the work began, oldest first, the last one the newest
   (more than LW_SIGHTS_MOST: the newest are used); their screws are where they stood at each. */
lw_status lw_guide_next(lw_arena *arena, lw_units *units, const lw_test_car *car,
                        const lw_goal *goal, const lw_sight *sights, size_t count, lw_guidance *out,
                        lw_error *error) LW_MUST_USE;

#endif
