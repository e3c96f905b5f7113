/* leanward/motion.h - the car in time: engine, carburetor and their devices from second to second.
**
** What takes time on a car is followed here: crank speed, air and fuel in the manifold, the fuel
** film on its walls, bowl and pump, every spring, diaphragm and plunger that lags, choke and
** coolant, road speed. What does not (the flows in the carburetor's passages) is solved at each
** moment by carb.h, and burned by engine.h.
**
** How to use it, also from a driving schedule or an analyzer:
**
**   lw_motion_new(engine, net, card, &around, NULL, &motion, &error)   once
**   lw_motion_idle(motion, &error)                 warm, idling, everything at rest; or
**   lw_motion_cold(motion, temperature)            stopped and cold
**   lw_controls controls = *lw_motion_controls(motion);
**   for each span of time (0.05 to 1 s is usual for a schedule):
**     controls.pedal = ...; controls.gear = ...;   where the foot goes, what is engaged
**     lw_motion_control(motion, &controls)
**     lw_motion_advance(motion, dt, &error)        LW_OK also when the engine stalls: see running
**     lw_motion_look(motion, &look)                look.burned.exhaust is the gas at the port,
**                                                  look.manifold the pressure a gauge sees
**   lw_motion_free(motion)
**
** Units    SI; angles in rad; shares 0..1; throttle as in carb.h (0: plates on the idle stop).
** Errors   a stalled engine is a result, told by an event with its cause. A run that cannot go on
**          (the flows do not settle however short the step, or too many steps) ends at the last
**          good moment with LW_NO_CONVERGENCE, time and cause in the error; it never hangs.
** Memory   lw_motion_new allocates (under 1 MB) and the caller frees it by lw_motion_free. Running
**          allocates nothing.
** Threads  one motion belongs to one thread at a time; engine and net are only read and must live
**          as long as the motion.
** Repeats  the same calls give the same bits.
** Source   docs/physics-motion.md; the film is Aquino's, SAE 810494. Integrated by SUNDIALS CVODE.
*/
#ifndef LEANWARD_MOTION_H
#define LEANWARD_MOTION_H

#include "leanward/engine.h"

typedef struct lw_motion lw_motion;

/* ---- Devices -------------------------------------------------------------------------------- */

/* What lags and how. lw_devices_usual fills it from the card; docs/physics-motion.md says for each
   which card key feeds it, and what is assumed without. */
typedef struct lw_devices {
  /* bowl and float valve */
  double bowl_area;       /* m2 of all bowls */
  double needle_seat;     /* m */
  double needle_travel;   /* m of fuel level from shut to wide open */
  double supply_pressure; /* Pa of the fuel pump */
  /* accelerator pump */
  double pump_volume; /* m3 of a full stroke, all nozzles; 0: disconnected */
  double pump_to;     /* throttle at which its lever has made the whole stroke */
  double pump_spring; /* Pa under the plunger when the duration spring is pressed a full stroke */
  double pump_yield;  /* Pa at which the lever gives way */
  double pump_nozzle; /* m2, discharge coefficient times area of all nozzles */
  double pump_inlet;  /* m2, the same of the inlet check */
  /* what follows vacuum or air flow */
  double power_lag;     /* s, power piston or valve */
  double valve_lag;     /* s, air valve against its damper */
  double diaphragm_lag; /* s, vacuum secondaries */
  /* dashpot */
  double dashpot_touch; /* throttle at which the lever meets the plunger; 0: none */
  double dashpot_time;  /* s to creep from there to the idle stop */
  /* distributor */
  double hose_lag;    /* s, vacuum rising at the diaphragm */
  double release_lag; /* s, falling */
  /* choke and fast idle */
  bool choke;          /* a plate moved by a thermostat; otherwise by choke_knob */
  double choke_index;  /* K: a cold plate just shuts */
  double choke_open;   /* K: it stands open */
  double choke_spring; /* Pa of depression across the plate that opens it against a thermostat
                               which holds it shut */
  double choke_heat, choke_cool; /* s, thermostat with the engine running, stopped */
  double choke_well;             /* K: what the thermostat is heated to with 20 degC outside */
  double kick, unloader;         /* share of the plate's opening each pulls; 0: none */
  double kick_vacuum;            /* Pa at which the kick has pulled */
  double kick_lag;               /* s */
  double cam;                    /* throttle the fast-idle cam holds with the choke shut */
  /* heat, film, starter */
  double heat_capacity;                 /* J/K of engine and coolant */
  double film;                          /* factor on the share that wets the walls; 0: no film */
  double starter_torque, starter_speed; /* N m at rest; rad/s without load */
} lw_devices;

lw_status lw_devices_usual(const lw_engine *engine, const lw_net *net, const lw_card *card,
                           const lw_surroundings *around, lw_devices *devices,
                           lw_error *error) LW_MUST_USE;

/* ---- A car ---------------------------------------------------------------------------------- */

/* devices NULL: as usual. The vehicle is lw_vehicle_usual's; see lw_motion_vehicle. */
lw_status lw_motion_new(const lw_engine *engine, const lw_net *net, const lw_card *card,
                        const lw_surroundings *around, const lw_devices *devices,
                        lw_motion **motion, lw_error *error) LW_MUST_USE;
void lw_motion_free(lw_motion *motion); /* NULL is allowed */

const lw_devices *lw_motion_devices(const lw_motion *motion);
/* Another car around the engine. */
void lw_motion_vehicle(lw_motion *motion, const lw_vehicle *vehicle);

/* Time 0, warm, idling in neutral, car standing, and let run until it rests. LW_NO_CONVERGENCE when
   this engine does not idle. */
lw_status lw_motion_idle(lw_motion *motion, lw_error *error) LW_MUST_USE;
/* Time 0, stopped, everything at this temperature, ignition on; the pedal has been pressed once, so
   that choke and fast-idle cam have set, in the cold up to three times. */
void lw_motion_cold(lw_motion *motion, double temperature);

/* ---- Driving it ----------------------------------------------------------------------------- */

typedef struct lw_controls {
  double pedal;       /* where the foot goes, 0..1 */
  double pedal_rate;  /* 1/s; at most 20 (floored in 50 ms), which NaN and 0 mean as well */
  int gear;           /* 0: neutral or park, 1: first, ... */
  double clutch;      /* 0 out .. 1 engaged; no meaning with an automatic */
  double brake;       /* N at the wheels */
  double grade;       /* rise over run */
  double dynamometer; /* N m taken at the crankshaft */
  double governed;    /* rad/s: an engine dynamometer holds this speed; NaN: free */
  double choke_knob;  /* 0 open .. 1 shut, where no thermostat moves the choke */
  bool ignition, starter;
} lw_controls;

lw_controls lw_controls_idle(void); /* foot off, neutral, clutch in, ignition on */
/* From now on. */
void lw_motion_control(lw_motion *motion, const lw_controls *controls);
const lw_controls *lw_motion_controls(const lw_motion *motion);

/* On by dt seconds (over 0; at most 3,600). */
lw_status lw_motion_advance(lw_motion *motion, double dt, lw_error *error) LW_MUST_USE;

/* ---- Looking at it -------------------------------------------------------------------------- */

/* Sums since time 0, kg. What goes in comes out or stays:
     air_in = air_out + change of manifold_air
     fuel_in = fuel_out + change of (bowl + pump + film + manifold_fuel) */
typedef struct lw_totals {
  double air_in, air_out; /* into the manifold; into cylinders */
  double fuel_in;         /* past the float valve */
  double fuel_metered;    /* out of the bowl through the circuits, pump filling aside */
  double fuel_pumped;     /* the accelerator pump's */
  double fuel_out;        /* into cylinders */
  double fuel_burned;     /* of it, what did not leave as HC */
  double distance;        /* m */
} lw_totals;

typedef struct lw_look {
  double time;
  bool running; /* turns by itself: between a start and a stall */
  double speed, road_speed;
  double manifold, vacuum;       /* Pa: absolute; under the air outside */
  double pedal, throttle, angle; /* angle of the first plate over shut, rad */
  double air_in, air_out;        /* kg/s into the manifold, into the cylinders */
  double metered, pumped;        /* fuel from the circuits, from the accelerator pump, kg/s */
  double by_circuit[LW_CIRCUITS];
  double fuel_out;         /* into the cylinders, kg/s */
  double lambda_metered;   /* of what arrives: circuits and pump; NaN without fuel */
  double lambda_cylinders; /* of what is drawn */
  double film[LW_SIDES], manifold_air, manifold_fuel; /* kg */
  double distributor_vacuum, timing;                  /* Pa, rad */
  double torque, load;            /* N m at the crankshaft: engine's, taken from it */
  lw_burned burned;               /* exhaust at the port, misfire, residual, cylinders */
  lw_charge charge;               /* what was burned */
  double bowl, bowl_level;        /* kg; m over the float's setting */
  double needle;                  /* share open of the float valve */
  double pump, pump_lever;        /* shares of the stroke made: plunger, lever */
  double power, valve, diaphragm; /* shares open */
  double dashpot, cam;            /* throttle each would hold */
  double choke;                   /* share open */
  double thermostat, coolant;     /* K */
  double kick;                    /* share pulled */
  double pump_fuel;               /* kg in the pump's well */
  lw_totals totals;
} lw_look;

/* LW_NO_CONVERGENCE when the flows of this moment do not settle. */
lw_status lw_motion_look(lw_motion *motion, lw_look *look, lw_error *error) LW_MUST_USE;
double lw_motion_time(const lw_motion *motion);

/* ---- Events --------------------------------------------------------------------------------- */

#define LW_EVENT_LIST(X)                                                                           \
  X(LW_EVENT_ON_STOP, "throttle on its idle stop")                                                 \
  X(LW_EVENT_OFF_STOP, "throttle off its idle stop")                                               \
  X(LW_EVENT_DASHPOT_MET, "dashpot touched")                                                       \
  X(LW_EVENT_DASHPOT_LEFT, "dashpot left")                                                         \
  X(LW_EVENT_NEEDLE_SEATED, "float needle seated")                                                 \
  X(LW_EVENT_NEEDLE_LIFTED, "float needle lifted")                                                 \
  X(LW_EVENT_POWER_OPEN, "power valve opened")                                                     \
  X(LW_EVENT_POWER_SHUT, "power valve shut")                                                       \
  X(LW_EVENT_VALVE_OPEN, "air valve half open")                                                    \
  X(LW_EVENT_VALVE_SHUT, "air valve shutting")                                                     \
  X(LW_EVENT_KICK, "choke vacuum kick pulled")                                                     \
  X(LW_EVENT_KICK_OFF, "choke vacuum kick let go")                                                 \
  X(LW_EVENT_CHOKE_OPEN, "choke open")                                                             \
  X(LW_EVENT_PUMP_DOWN, "pump plunger at its bottom")                                              \
  X(LW_EVENT_STALLED, "engine stalled")                                                            \
  X(LW_EVENT_STARTED, "engine runs by itself")
typedef enum lw_event_kind {
#define LW_EVENT_ENUM(id, text) id,
  LW_EVENT_LIST(LW_EVENT_ENUM)
#undef LW_EVENT_ENUM
      LW_EVENTS
} lw_event_kind;

/* Why it stalled. */
#define LW_STALL_LIST(X)                                                                           \
  X(LW_STALL_NOT, "")                                                                              \
  X(LW_STALL_RICH, "flooded")                                                                      \
  X(LW_STALL_LEAN, "too lean")                                                                     \
  X(LW_STALL_AIR, "no air")                                                                        \
  X(LW_STALL_LOAD, "load")                                                                         \
  X(LW_STALL_SPARK, "ignition off")
typedef enum lw_stall {
#define LW_STALL_ENUM(id, text) id,
  LW_STALL_LIST(LW_STALL_ENUM)
#undef LW_STALL_ENUM
} lw_stall;

typedef struct lw_event {
  double time;
  lw_event_kind kind;
  lw_stall cause;
} lw_event;

enum { LW_EVENTS_MOST = 512 };
/* In order of time since time 0; the first LW_EVENTS_MOST are kept. */
size_t lw_motion_events(const lw_motion *motion, const lw_event **events);
/* Those so far are of no interest any more: the list begins anew. */
void lw_motion_forget_events(lw_motion *motion);
/* "4.21 s: engine stalled: too lean". Returns buffer. */
const char *lw_event_text(const lw_event *event, char *buffer, size_t size);

/* ---- How hard it was ------------------------------------------------------------------------ */

typedef struct lw_effort {
  long steps, slopes; /* integrator's steps; moments evaluated, those for derivatives too */
  long networks;      /* network solutions */
  long newton;        /* their Newton steps */
  long failed;        /* of them, not converged: the step was shortened */
  size_t bytes;       /* allocated, the integrator's included as it tells */
} lw_effort;
lw_effort lw_motion_effort(const lw_motion *motion);

/* ---- For tests and for other integrators ----------------------------------------------------- */

/* How many states there are; the last LW_MOTION_SUMS of them are sums nothing depends on. */
enum { LW_MOTION_STATES = 28, LW_MOTION_SUMS = 8 };
/* States as they are, and what each may be off by beside a ten-thousandth of itself. Either may be
   NULL. */
void lw_motion_states(const lw_motion *motion, double *states, double *tolerances);
/* Go to a time and state. */
void lw_motion_put(lw_motion *motion, double time, const double *states);
/* How fast each state changes there, under the controls in force. False when the flows do not
   settle. */
bool lw_motion_slopes(lw_motion *motion, double time, const double *states, double *slopes);

#endif
