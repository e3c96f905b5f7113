/* virtual.h - cars to be read and serviced: physics of their own, instruments that are off.
**
** A virtual car is the car of a card with every passage's discharge, breathing, valve overlap,
** friction, distribution, lean limit, crevices and walls off from what its twin assumes, so that a
** test is not circular. It is read as a shop reads: with the errors, steps and noise of real
** instruments. Shared by the benchmarks of the causes and of the idle guide; all is drawn from a
** seed.
**
** Units    SI; turns out from lightly seated.
** Memory   none kept: each run uses an arena of its own.
** Source   how far cars and instruments differ is ours: docs/causes.md.
*/
#ifndef LW_BENCHMARKS_VIRTUAL_H
#define LW_BENCHMARKS_VIRTUAL_H

#include "cars.h"

#include "leanward/fit.h"

/* ---- Chance and time ------------------------------------------------------------------------ */

/* Neighboring seeds give cars that are no neighbors. */
uint64_t virtual_stirred(uint64_t seed);
/* About normal, standard deviation 1, never beyond 6. */
double virtual_bell(cars_random *random);
/* Processor time, s: the machine is shared. */
double virtual_now(void);

/* ---- A car with physics of its own ---------------------------------------------------------- */

typedef struct virtual_car {
  lw_units *units;
  const lw_test_car *model; /* what the twin believes */
  uint64_t seed;
  lw_engine engine; /* of this car */
  double turns[LW_SIGHT_SCREWS], stop;
  size_t screws;
  char fault[2][64];
  size_t fault_count;
} virtual_car;

/* Sound, not yet set. */
virtual_car virtual_of(lw_units *units, const lw_test_car *model, uint64_t seed,
                       cars_random *random);
/* The car as it is now: its faults, its screws, its physics, its stop. NULL: it cannot be built. */
lw_test_car *virtual_build(virtual_car *v, lw_arena *arena);
/* At a speed, whatever throttle that takes; and as it idles on its stop. false: it does not. */
bool virtual_hold(virtual_car *v, double speed, lw_running *run);
bool virtual_idle(virtual_car *v, lw_running *run);
/* As it idles; when it does not, at this speed with the throttle opened by hand. */
bool virtual_at_idle(virtual_car *v, double speed, lw_running *run, bool *held);
/* Its mixture screws, from 0; NULL: no more. */
const lw_screw_card *virtual_screw(const virtual_car *v, size_t k);
lw_range virtual_travel(const lw_screw_card *screw);
/* The stop goes to where the throttle was in this run. */
void virtual_stop_at(virtual_car *v, const lw_running *run);
/* Screws (all alike) and stop to a CO at a speed, as a careful hand leaves it. */
bool virtual_set_right(virtual_car *v, double co, double speed);

/* ---- Reading it ----------------------------------------------------------------------------- */

typedef struct virtual_shop {
  double gain[LW_CHANNELS], zero[LW_CHANNELS]; /* of this shop's instruments */
} virtual_shop;

/* Standard deviations from shop to shop, and the uncertainty of each instrument as a shop knows it:
   by lw_channel; NaN where there is none. */
extern const double virtual_gains[LW_CHANNELS], virtual_u[LW_CHANNELS];

virtual_shop virtual_shop_of(cars_random *random);
/* Gauges and tachometer; no label, no screws. */
void virtual_read(const lw_running *run, const virtual_shop *shop, cars_random *random,
                  lw_sight *sight);
/* Where the screws stand, as counted by hand. */
void virtual_read_screws(const virtual_car *v, cars_random *random, lw_sight *sight);

#endif
