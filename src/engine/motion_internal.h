/* motion_internal.h - what the files of the car in time share. Private to this floor.
**
** The states are integrated together by CVODE. Some of them the carburetor's network feels
** (manifold pressure, plates, fuel level, what lags); the others it does not, so that their
** slopes need no network: lw_motion_rates can be asked with the network, or network and burning,
** kept.
*/
#ifndef LW_MOTION_INTERNAL_H
#define LW_MOTION_INTERNAL_H

#include "engine_internal.h"
#include "leanward/motion.h"

enum {
  ST_SPEED,                     /* rad/s */
  ST_ROAD,                      /* m/s */
  ST_AIR,                       /* kg of air in the manifold, by side */
  ST_FUEL = ST_AIR + LW_SIDES,  /* kg of fuel vapor and mist in it, by side */
  ST_FILM = ST_FUEL + LW_SIDES, /* kg on the walls, by side */
  ST_BOWL = ST_FILM + LW_SIDES, /* kg */
  ST_PUMP,                      /* kg in the pump's well */
  ST_POWER,                     /* shares open */
  ST_VALVE,
  ST_DIAPHRAGM,
  ST_DASHPOT,     /* throttle that the plunger would hold */
  ST_CAM,         /* throttle that the fast-idle cam would hold */
  ST_DISTRIBUTOR, /* Pa of vacuum */
  ST_THERMOSTAT,  /* K */
  ST_CHOKE,       /* share open */
  ST_KICK,        /* share pulled */
  ST_COOLANT,     /* K */
  /* sums: nothing depends on them */
  ST_AIR_IN,
  ST_AIR_OUT,
  ST_FLOAT,
  ST_METERED,
  ST_PUMPED,
  ST_FUEL_OUT,
  ST_BURNED,
  ST_DISTANCE,
  STATES,
  SUMS = ST_AIR_IN
};

/* m of fuel in the bowl at the float's setting (common practice; what is below the jets). */
#define LW_BOWL_DEPTH 0.020
/* Share of its bore that a shut choke plate leaves around it: as the choke what-if has it. */
#define LW_CHOKE_CLEARANCE 0.03

/* How much of a moment is computed anew. */
typedef enum lw_anew { ANEW_ALL, ANEW_BURNING, ANEW_LIGHT } lw_anew;

/* What the network is solved for; the same inputs need no new solution. */
typedef struct lw_inputs {
  double throttle, manifold, level, choke, valve, power, diaphragm;
} lw_inputs;
enum { LW_INPUTS = 7 };

/* Everything at one time and state. */
typedef struct lw_moment {
  double pedal, throttle, manifold, vacuum, level, needle, lever;
  double net_air[LW_SIDES], net_fuel[LW_SIDES], leak; /* kg/s at the point solved, by side */
  double in_air[LW_SIDES], in_fuel[LW_SIDES];         /* into the manifold */
  double out_air[LW_SIDES], out_fuel[LW_SIDES];       /* kg/s into the cylinders */
  double film_share, film_time;
  double choke_drop;                 /* Pa across the plate */
  double valve_goal, diaphragm_goal; /* shares they move to */
  double shot, refill, inflow;       /* pump out, pump in, float valve, kg/s */
  double torque, load, pull;         /* N m of engine, on it; N at the wheels */
  lw_charge charge;
  lw_burned burned;
} lw_moment;

typedef struct lw_stepper lw_stepper; /* CVODE and what it needs (motion_step.c) */

struct lw_motion {
  lw_arena *arena;
  lw_engine engine; /* own: ignition off weakens its sparks */
  double spark[LW_CYLINDERS_MOST];
  lw_net net;           /* own: fuel level and choke move in it */
  const lw_net *origin; /* as it was given */
  lw_devices devices;
  lw_vehicle vehicle;
  lw_surroundings around;
  lw_controls controls;
  double air_density, fuel_density, charge_temperature, stall_speed, run_speed;
  double time, pedal_from, pedal_since; /* of the move of the foot under way */
  double y[STATES], atol[STATES];
  lw_state state; /* of the network, solved at inputs */
  lw_inputs inputs;
  bool solved;                               /* point belongs to inputs */
  double answer[LW_INPUTS][LW_NET_UNKNOWNS]; /* how its state changes with them, as learned */
  lw_point point;
  lw_moment now;
  bool running;
  double recent_lambda, recent_misfire; /* while it still turned well: why it stalls */
  double recent_load, recent_manifold;
  lw_event events[LW_EVENTS_MOST];
  size_t event_count;
  lw_report report; /* of the last network that did not settle */
  lw_effort effort;
  lw_stepper *stepper;
};

/* Slopes of all states. False when the network does not settle there. m->now is filled. */
bool lw_motion_rates(lw_motion *m, double t, const double *y, lw_anew anew, double *rates);
/* Share at which the power valve would stand at once (m->now). */
double lw_power_goal(const lw_motion *m);
/* The foot at a time, and when it comes to rest. */
double lw_motion_pedal(const lw_motion *m, double t);
double lw_motion_pedal_end(const lw_motion *m);
/* What an event hangs on: functions that pass through zero there. */
enum { LW_ROOTS = 10 };
void lw_motion_roots(const lw_motion *m, double t, const double *y, double *g);
/* Note those that have passed: direction +1, -1, 0 each. */
void lw_motion_passed(lw_motion *m, const int *direction);

/* Film: share of the fuel that wets the walls, and the time it takes to leave (s). floor: of the
   manifold, K. */
double lw_film_share(double manifold, double speed, double floor);
double lw_film_time(double manifold, double speed, double floor);

/* Air at the carburetor's horn, K, outside air and coolant being such. */
double lw_breathed(double outside, double coolant, double road_speed);

/* CVODE. */
lw_status lw_stepper_new(lw_motion *m, lw_error *error) LW_MUST_USE;
void lw_stepper_free(lw_motion *m);
void lw_stepper_restart(lw_motion *m); /* slopes jump at the next step */
lw_status lw_stepper_to(lw_motion *m, double until, lw_error *error) LW_MUST_USE;

#endif
