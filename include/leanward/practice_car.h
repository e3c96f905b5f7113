/* leanward/practice_car.h - a car that runs by somebody's clock behind the instruments of a shop:
** tachometer, vacuum gauge and analyzer show it, a foot, a key and what-ifs change it while it runs.
**
** Units    SI; pedal as a share of its way; gases as mole fractions of dry gas, HC as hexane.
** Errors   those of lw_test_car_what_if for a change that cannot be; the car then stays as it was.
**          An engine that stalls is a result (needles.running). Flows that do not settle stop the
**          engine too, warm, and are counted (lost): a practice car never ends.
** Memory   lw_practice_car_new allocates (about 180 kB), lw_practice_car_free frees. The car it was
**          made from must outlive it. Running allocates nothing.
** Threads  one car belongs to one thread at a time.
** Repeats  the same seed and calls give the same bits.
*/
#ifndef LEANWARD_PRACTICE_CAR_H
#define LEANWARD_PRACTICE_CAR_H

#include "leanward/car.h"
#include "leanward/gauge.h"

typedef struct lw_practice_car lw_practice_car;

/* What the instruments show, and what eyes and ears tell. */
typedef struct lw_needles {
  double time;          /* s of the car's time */
  double speed, vacuum; /* rad/s, Pa: tachometer, gauge */
  lw_gases gases;
  double pedal;  /* share: where the foot is */
  bool running;  /* turns by itself */
  bool cranking; /* the starter turns it */
  lw_stall why;  /* why it stalled last; LW_STALL_NOT while it runs */
} lw_needles;

/* The car from, with these edits, warm and idling; when it does not idle, warm and stopped.
   accuracy: of its analyzer. */
lw_status lw_practice_car_new(const lw_test_car *from, lw_units *units, const char *const *edits,
                              size_t count, lw_class accuracy, uint64_t seed, lw_practice_car **out,
                              lw_error *error) LW_MUST_USE;
void lw_practice_car_free(lw_practice_car *car); /* NULL is allowed */

/* The car from with these edits instead of those before (all of them: each call says the whole),
   while it runs: speed, fuel film, bowl and the rest go on from where they are. */
lw_status lw_practice_car_change(lw_practice_car *car, lw_units *units, const char *const *edits,
                                 size_t count, lw_error *error) LW_MUST_USE;

/* On by dt seconds (0 < dt <= 1). */
void lw_practice_car_advance(lw_practice_car *car, double dt);
lw_needles lw_practice_car_needles(const lw_practice_car *car);

/* The foot: a place of the pedal (0..1), or a speed it holds as a mechanic does, by the tachometer
   (rad/s; within 2 % after a few seconds). */
void lw_practice_car_pedal(lw_practice_car *car, double pedal);
void lw_practice_car_hold(lw_practice_car *car, double speed);
double lw_practice_car_held(const lw_practice_car *car); /* that speed; NaN: none */
/* The starter, with a little throttle where the foot is off, until it runs or 6 s have passed; the
   ignition off. */
void lw_practice_car_start(lw_practice_car *car);
void lw_practice_car_stop(lw_practice_car *car);
/* An automatic put in drive with the brake held, or back in neutral; a manual stays in neutral. */
void lw_practice_car_gear(lw_practice_car *car, bool drive);
/* An analyzer out of calibration: CO, CO2 and HC are shown so many times as high (1: right). */
void lw_practice_car_gain(lw_practice_car *car, double gain);

/* The car as it is now, changed; lives until the next change. */
const lw_test_car *lw_practice_car_now(const lw_practice_car *car);
/* How often flows did not settle and the engine was stopped for it. */
int lw_practice_car_lost(const lw_practice_car *car);

#endif
