/* leanward/car.h - the whole car on the bench: the carburetor's twin, the engine, what is around it.
**
** What-ifs may change all three. From here come the answers a technician reads on the needles: the
** idle against each screw, no-load 2,500 rpm, a road load.
**
** Units    SI; screw positions in turns out from lightly seated.
** Errors   those of bench.h and engine.h. A point that does not converge, or at which the engine
**          stalls, is a result and says so.
** Memory   results lie in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
*/
#ifndef LEANWARD_CAR_H
#define LEANWARD_CAR_H

#include "leanward/bench.h"
#include "leanward/engine.h"
#include "leanward/motion.h"

/* How this car's devices differ from the usual (lw_devices_usual). */
typedef struct lw_device_change {
  double pump; /* share of the accelerator pump's stroke that delivers; 0: disconnected */
  bool no_dashpot;
  double dashpot_time;    /* s to creep to the idle stop; NaN: usual */
  double advance_release; /* s, lag of the vacuum at the distributor falling; NaN: usual */
  bool choke_cold;        /* its heat does not come */
} lw_device_change;

typedef struct lw_test_car {
  const lw_twin *twin;
  lw_engine *engine;
  lw_surroundings around;
  lw_device_change devices;
  bool trimmed; /* see lw_engine_new */
} lw_test_car;

/* The car of a card: sea level, 20 degC, dry, warm. */
lw_status lw_test_car_new(lw_arena *arena, const lw_card *card, lw_test_car **car,
                          lw_error *error) LW_MUST_USE;

/* A changed copy. Edits are those of lw_what_if and those that only an engine knows ("timing=-5
   deg", "cylinder=3 dead", "coolant=60 degF"); docs/what-ifs.md lists both. The engine's trim stays
   what it was: an ailing car is not trimmed to its card. */
lw_status lw_test_car_what_if(lw_arena *arena, lw_units *units, const lw_test_car *from,
                              const char *const *edits, size_t count, lw_test_car **changed,
                              lw_error *error) LW_MUST_USE;

/* This car in time, its devices changed as they are. The caller frees it; the car must outlive it. */
lw_status lw_test_car_motion(const lw_test_car *car, lw_motion **motion,
                             lw_error *error) LW_MUST_USE;

/* What a turn of the speed screw moves the plate, rad: 1/32 in on a lever of 20 mm (ours). */
double lw_speed_screw_turn(void);

/* ---- Idle against a screw ------------------------------------------------------------------- */

/* What is held while the screw is turned. */
typedef enum lw_idle_hold {
  LW_HOLD_STOP, /* the speed screw: speed goes where it will */
  LW_HOLD_SPEED /* the speed: the speed screw is turned with it, as in setting an idle */
} lw_idle_hold;

typedef struct lw_idle_point {
  double turns; /* out from lightly seated; the speed screw: turns in from where it stands */
  bool solved;  /* else why says what went wrong and run is empty */
  lw_running run;
  char why[120];
} lw_idle_point;

typedef struct lw_idle_curve {
  const char *screw;  /* its name on the card; "speed screw" */
  lw_screw_kind kind; /* LW_SCREW_UNSAID for the speed screw and for all screws at once */
  double now;         /* turns at which it stands */
  size_t count;
  const lw_idle_point *points;
  size_t fastest; /* point of the highest speed; count: none */
} lw_idle_curve;

typedef struct lw_idle_table {
  lw_idle_hold hold;
  lw_gear_load gear;
  double speed; /* held, rad/s */
  lw_idle_point now;
  size_t curve_count;
  const lw_idle_curve *curves; /* each mixture screw, all together where there are several, then
                                  the speed screw (only with LW_HOLD_STOP) */
} lw_idle_table;

/* Turn each screw through its travel in `points` places (at least 3), the others as they stand. */
lw_status lw_idle_sweep(lw_arena *arena, lw_units *units, const lw_test_car *car, lw_gear_load gear,
                        lw_idle_hold hold, size_t points, lw_idle_table **table,
                        lw_error *error) LW_MUST_USE;

#endif
