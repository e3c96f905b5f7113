/* leanward/snap.h - what the needles show when the throttle is opened quickly, and how well a car
** explains it.
**
** A snap is neutral, from idle: floored for about 0.3 s and let go. A tip-in is taken at a speed that
** is held (rollers, or a hill): from light to about half throttle. Floored is the same to wide open.
** What is read are the highest and lowest values the displays came to; the analyzer's delay and lag
** are in them. The bench runs the car in time (motion.h) behind such an analyzer and compares.
**
** Units    SI; gases as mole fractions of dry gas, HC as hexane.
** Errors   a car that does not idle, or whose flows do not settle on the way, shows nothing:
**          possible false. Others are those of lw_test_car_what_if.
** Memory   none beyond the caller's structs; scratch is freed before return.
** Threads  pure functions; one lw_units for each thread.
** Source   how hands differ and what is felt when: ours, docs/causes.md.
*/
#ifndef LEANWARD_SNAP_H
#define LEANWARD_SNAP_H

#include "leanward/fit.h"

#define LW_SNAP_LIST(X)                                                                            \
  X(LW_SNAP_CO_MOST, "highest CO")                                                                 \
  X(LW_SNAP_CO_LEAST, "lowest CO")                                                                 \
  X(LW_SNAP_HC_MOST, "highest HC")                                                                 \
  X(LW_SNAP_O2_MOST, "highest O2")                                                                 \
  X(LW_SNAP_VACUUM_MOST, "highest vacuum")                                                         \
  X(LW_SNAP_SPEED_MOST, "highest speed")
typedef enum lw_snap_channel {
#define LW_SNAP_ENUM(id, text) id,
  LW_SNAP_LIST(LW_SNAP_ENUM)
#undef LW_SNAP_ENUM
      LW_SNAP_CHANNELS
} lw_snap_channel;
const char *lw_snap_text(lw_snap_channel channel);

enum { LW_SNAPS_MOST = 4 };

typedef struct lw_snap {
  const char *label; /* for people */
  lw_snap_kind kind; /* card.h */
  double speed;      /* rad/s held: tip-in (1,500 rpm when NaN) and floored (the same) */
  double hold;       /* s a snap is floored; 0: 0.3 */
  lw_class accuracy; /* of the analyzer: its delay and lag */
  lw_felt felt;
  double x[LW_SNAP_CHANNELS]; /* NaN: not read. Mole fractions, Pa, rad/s */
} lw_snap;

typedef struct lw_snap_shown {
  bool possible;
  double x[LW_SNAP_CHANNELS]; /* NaN where this kind does not have it */
  double leanest;             /* lambda in the cylinders while it opens */
  bool stalled;
} lw_snap_shown;

/* Run a car through it. edits (may be 0) are done first, as in lw_test_car_what_if. stands: screws
   and speed of an idle as it was read, and throttle where the car needs it to hold that speed (as in
   lw_match): the speed screw is put there. NULL: as on the card. */
lw_status lw_snap_run(lw_units *units, const lw_test_car *car, const char *const *edits,
                      size_t edit_count, const lw_sight *stands, double throttle,
                      const lw_snap *snap, lw_snap_shown *shown, lw_error *error) LW_MUST_USE;

/* The car as it stands. */
lw_status lw_snap_of(const lw_test_car *car, const lw_snap *snap, lw_snap_shown *shown,
                     lw_error *error) LW_MUST_USE;

/* Logarithm of the probability of what was read and felt, from a car that shows this. Car to car,
   hand to hand: lw_snap_spread, times wider (1 unless cars stray). */
double lw_snap_log(const lw_snap *snap, const lw_snap_shown *shown, double wider);
/* How such a car is felt to take it, in the word that is likeliest. */
const char *lw_snap_feels(const lw_snap_shown *shown);
/* Standard deviation about what a car shows, at that value. */
double lw_snap_spread(lw_snap_channel channel, double x);

#endif
