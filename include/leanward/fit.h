/* leanward/fit.h - how well a car on the bench explains what was read, and what its readings tell.
**
** A sight is one reading as a person took it: speed, gases, vacuum, timing, screws. The bench runs
** the car at the speed that was read, with the throttle wherever that speed needs it, and compares.
** At a cruise the load is not known, but the vacuum is: the throttle is where that vacuum needs it.
** What differs from car to car without being a fault (tolerances of jets and cam, friction,
** distribution, the analyzer's own error) is a handful of unknowns with known spreads; they are
** fitted, and the evidence is the probability of the readings with all of them integrated out.
**
** Units    SI; gases as mole fractions of dry gas, HC as hexane.
** Errors   a car that cannot be brought to a speed that was read explains nothing: possible false.
** Memory   none beyond the caller's structs and a scratch arena freed before return.
** Threads  pure functions; one lw_units for each thread.
** Source   Laplace's approximation of the evidence: MacKay, Information Theory, Inference, and
**          Learning Algorithms, 2003, ch. 27 and 28. Spreads are ours: docs/causes.md.
*/
#ifndef LEANWARD_FIT_H
#define LEANWARD_FIT_H

#include "leanward/car.h"

/* ---- What was read -------------------------------------------------------------------------- */

#define LW_CHANNEL_LIST(X)                                                                         \
  X(LW_SEE_VACUUM, "vacuum")                                                                       \
  X(LW_SEE_CO, "CO")                                                                               \
  X(LW_SEE_CO2, "CO2")                                                                             \
  X(LW_SEE_O2, "O2")                                                                               \
  X(LW_SEE_HC, "HC")                                                                               \
  X(LW_SEE_NO, "NO")                                                                               \
  X(LW_SEE_TIMING, "timing")
typedef enum lw_channel {
#define LW_CHANNEL_ENUM(id, text) id,
  LW_CHANNEL_LIST(LW_CHANNEL_ENUM)
#undef LW_CHANNEL_ENUM
      LW_CHANNELS
} lw_channel;
const char *lw_channel_text(lw_channel channel);

enum { LW_SIGHTS_MOST = 8, LW_SIGHT_SCREWS = 8 };

typedef struct lw_sight {
  const char *label; /* for people */
  lw_condition at;
  lw_gear_load gear;
  double speed; /* rad/s */
  size_t screw_count;
  struct {
    const char *name; /* as on the card */
    double turns;
  } screws[LW_SIGHT_SCREWS]; /* the others stand as on the card, if at all (screws_known) */
  double screw_u;            /* of the fuel, for what the positions may be off; 0: a usual one */
  bool screws_known;         /* false: nobody counted; the mixture may be set anywhere */
  bool held;                 /* the throttle was held: where the idle stop stands tells nothing */
  double near;        /* the throttle it takes, about, as in lw_setting: saves time. 0: the stop */
  lw_state *flows;    /* the network is sought from here: saves time. What the first car run
                             leaves in it, where it was empty, serves all others. NULL: none */
  bool stop_as_first; /* the speed screw stands as at the first idle of these sights */
  double x[LW_CHANNELS]; /* NaN: not read. Pa, mole fractions, rad */
  double u[LW_CHANNELS]; /* standard uncertainty of the instrument */
} lw_sight;

/* ---- What differs from car to car ------------------------------------------------------------ */

#define LW_UNKNOWN_LIST(X)                                                                         \
  X(LW_UNKNOWN_IDLE_MIXTURE, "idle mixture", 0.035)  /* of the fuel, logarithm */                  \
  X(LW_UNKNOWN_MAIN_MIXTURE, "main mixture", 0.045)  /* the same */                                \
  X(LW_UNKNOWN_SIDES, "mixture between sides", 0.03) /* the same, left against right */            \
  X(LW_UNKNOWN_FRICTION, "friction", 0.11)           /* logarithm */                               \
  X(LW_UNKNOWN_OVERLAP, "valve overlap", 0.35)       /* logarithm */                               \
  X(LW_UNKNOWN_SPREAD, "distribution", 0.37)         /* logarithm */                               \
  X(LW_UNKNOWN_HC, "unburned fuel", 0.26)            /* logarithm, of the reading */               \
  X(LW_UNKNOWN_TIMING, "timing", 0.0175)             /* rad: 1 degree */                           \
  X(LW_UNKNOWN_SAMPLE, "air in the sample", 0.9)     /* logarithm, of half a percent */            \
  X(LW_UNKNOWN_CO_GAIN, "analyzer, CO", 0.02)        /* of the reading */                          \
  X(LW_UNKNOWN_CO2_GAIN, "analyzer, CO2", 0.015)     /* of the reading */                          \
  X(LW_UNKNOWN_O2_ZERO, "analyzer, O2", 0.0008)      /* mole fraction */                           \
  X(LW_UNKNOWN_GAUGE, "vacuum gauge", 1000.0)        /* Pa */                                      \
  X(LW_UNKNOWN_DRAW, "breathing", 0.028)             /* of the air at the same vacuum */           \
  X(LW_UNKNOWN_LEAN, "lean limit", 0.04)             /* of the leanest it fires on */
typedef enum lw_unknown {
#define LW_UNKNOWN_ENUM(id, text, spread) id,
  LW_UNKNOWN_LIST(LW_UNKNOWN_ENUM)
#undef LW_UNKNOWN_ENUM
      LW_UNKNOWNS,
  LW_UNKNOWNS_MOST = LW_UNKNOWNS + LW_SIGHTS_MOST /* where the screws stood at each sight */
} lw_unknown;
const char *lw_unknown_text(lw_unknown unknown);

/* ---- The fit ---------------------------------------------------------------------------------- */

typedef struct lw_match {
  bool possible;                /* the car could be run at every sight */
  double evidence;              /* natural logarithm of the probability of the readings */
  double turned;                /* the same if screws and stop were turned since it was set */
  double stray;                 /* the same if readings strayed four times as far as cars do */
  double misfit;                /* sum of squares of readings and unknowns over their spreads */
  size_t read;                  /* readings compared */
  double z[LW_UNKNOWNS_MOST];   /* unknowns, in their spreads */
  double z_u[LW_UNKNOWNS_MOST]; /* how much of that the readings leave open: 1 all of it */
  double seen[LW_SIGHTS_MOST][LW_CHANNELS];   /* what the car would show, z = 0 */
  double fitted[LW_SIGHTS_MOST][LW_CHANNELS]; /* and with the unknowns fitted */
  double band[LW_SIGHTS_MOST][LW_CHANNELS];   /* standard deviation about seen, car to car */
  double throttle[LW_SIGHTS_MOST], lambda[LW_SIGHTS_MOST], misfire[LW_SIGHTS_MOST];
} lw_match;

/* One sight as the network gave it: burned anew as the unknowns change. */
typedef struct lw_view {
  lw_charge here, there; /* at the throttle that holds the speed, and further open */
  double idle_share;     /* of the fuel that comes through idle and transfer */
  bool by_vacuum;        /* the throttle is where this vacuum needs it, not the load */
  double vacuum;         /* Pa, as read */
  double load;           /* N m */
  double throttle, next; /* of here and there */
  bool idle;
} lw_view;

/* How the idle was set when all was well: somebody once brought it to its card's speed and CO with
   the screws as they were found. That binds the unknowns of a car that has come out of its setting
   by itself, and not those of one whose screws were turned (evidence, turned). */
typedef struct lw_before {
  lw_engine engine; /* sound */
  lw_view view;
  double co, co_width; /* middle of the limits and from one to the other, on the even scale */
  double co_error;     /* how far outside them it may have been left */
  double of_speed;     /* throttle against logarithm of the idle speed */
  double enough;       /* evidence below which a car is hopeless: less work is put into it */
} lw_before;

/* The sound car with the screws of this sight at this speed (rad/s), set to a CO in this range
   (mole fraction). possible false: it cannot be run so; before is then of no use. */
lw_status lw_match_before(lw_units *units, const lw_test_car *car, const lw_sight *sight,
                          double speed, lw_range co, lw_before *before, bool *possible,
                          lw_error *error) LW_MUST_USE;

/* The screws of a sight as what-ifs for this car, kept inside their stops. edits: LW_SIGHT_SCREWS of
   them, texts in arena. */
lw_status lw_sight_edits(lw_arena *arena, const lw_test_car *car, const lw_sight *sight,
                         const char **edits, size_t *count, lw_error *error) LW_MUST_USE;

/* Hold a car against sights. edits (may be 0) are done to it first, as in lw_test_car_what_if; then
   each sight's screws. lw_match_run: without before. rough: only the prediction (seen, lambda), no
   fit: cheaper. */
lw_status lw_match_since(lw_units *units, const lw_test_car *car, const char *const *edits,
                         size_t edit_count, const lw_sight *sights, size_t count,
                         const lw_before *before, bool rough, lw_match *fit,
                         lw_error *error) LW_MUST_USE;
lw_status lw_match_run(lw_units *units, const lw_test_car *car, const char *const *edits,
                       size_t edit_count, const lw_sight *sights, size_t count, bool rough,
                       lw_match *fit, lw_error *error) LW_MUST_USE;

/* What a car with these unknowns (LW_UNKNOWNS of them, as a fit found them) would show. */
typedef struct lw_shown {
  bool possible;
  double x[LW_CHANNELS];
  double throttle, lambda, misfire;
} lw_shown;
lw_status lw_match_show(lw_units *units, const lw_test_car *car, const char *const *edits,
                        size_t edit_count, const lw_sight *sight, const double *z, lw_shown *shown,
                        lw_error *error) LW_MUST_USE;

#endif
