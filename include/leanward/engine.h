/* leanward/engine.h - the engine around the carburetor: what its cylinders draw, burn and turn.
**
** The network (carb.h) says what air and fuel arrive in the manifold. The engine shares them out to
** its cylinders, burns them there with what exhaust stayed behind, and gives torque and exhaust gas.
** Idle speed, a road load and the needles of the gauges follow. What happens in time is motion.h.
**
** Units    SI; angles in rad of the crankshaft, timing positive before top dead center; torque in
**          N m at the crankshaft; mole fractions.
** Errors   an engine that cannot run is a result (stalled, misfire 1), not an error. A card without
**          displacement, cylinders or compression ratio is LW_BAD_INPUT.
** Memory   an engine lies in the caller's arena. Running it allocates nothing.
** Threads  pure functions; one engine may be run by many threads.
** Source   Heywood, Internal Combustion Engine Fundamentals, 1988, beside each part; what is fitted
**          by us says so. Worked out in docs/physics-engine.md.
*/
#ifndef LEANWARD_ENGINE_H
#define LEANWARD_ENGINE_H

#include "leanward/carb.h"
#include "leanward/exhaust.h"

enum { LW_CYLINDERS_MOST = 12, LW_ADVANCE_MOST = 12, LW_SIDES = 2 };

/* ---- The engine ----------------------------------------------------------------------------- */

/* A line through points, level beyond its ends. */
typedef struct lw_curve {
  int count;
  double x[LW_ADVANCE_MOST], y[LW_ADVANCE_MOST];
} lw_curve;
double lw_curve_at(const lw_curve *curve, double x);

typedef enum lw_vacuum_source {
  LW_VACUUM_NONE, /* no vacuum unit, or its hose plugged */
  LW_VACUUM_PORTED,
  LW_VACUUM_MANIFOLD,
  LW_VACUUM_VALVE /* ported, and manifold while manifold vacuum exceeds the control valve's set */
} lw_vacuum_source;

typedef struct lw_spark {
  double initial;       /* rad at or below the slowest point of the centrifugal curve */
  lw_curve centrifugal; /* rad over initial against rad/s */
  lw_curve vacuum;      /* rad against Pa of vacuum at the distributor */
  lw_vacuum_source source;
  double valve_set; /* Pa of manifold vacuum over which the control valve passes it on */
} lw_spark;

/* What ails one cylinder: 1 sound, 0 dead. */
typedef struct lw_cylinder_health {
  double compression; /* share of its charge it keeps until it fires */
  double spark;       /* strength of its spark */
} lw_cylinder_health;

typedef struct lw_engine {
  int cylinders, layout;                                /* 1 inline, 2 vee, 3 flat */
  double displacement, compression_ratio, bore, stroke; /* of all cylinders, m3; m */
  int side[LW_CYLINDERS_MOST]; /* side of the carburetor that feeds it; barrel b is on side b % 2 */
  int sides;                   /* 1 when all barrels feed all cylinders */
  double crossing; /* share of a side's charge that goes to the other side's cylinders, 0..0.5 */
  double spread;   /* standard deviation of lambda between cylinders of one side, warm */
  double flutter;  /* the same from cycle to cycle */
  double overlap;  /* valve overlap factor, rad/m (Fox, Cheng and Heywood); and */
  double friction; /* factor on rubbing friction: both trimmed so that the sound engine idles as its
                      card says; 0.1 to 1.5 degrees/m and 0.7 to 1.4 are plausible */
  double lean_limit; /* gas over fuel at which half the cycles of an idle do not burn */
  double hidden;     /* share of the fuel that comes out of crevices unburned at a thin charge */
  double accessory;  /* N m: fan, generator, water pump at 1,000 rpm; rises with speed */
  double converter;  /* N m s2: torque over speed squared, turbine at rest; 0: manual */
  double inertia;    /* kg m2 of crankshaft, flywheel or converter */
  double manifold_volume;       /* m3 */
  double speed_hot, vacuum_hot; /* idle speed (rad/s) and vacuum (Pa) it was trimmed to */
  lw_spark spark;
  double timing_error; /* rad the whole timing is early (+) or late (-) */
  lw_cylinder_health health[LW_CYLINDERS_MOST];
  int leak_cylinder;   /* the network's vacuum leak feeds this cylinder alone; -1: all */
  double exhaust_leak; /* share of outside air in the sample at the probe, 0..1 */
  lw_fuel fuel;
} lw_engine;

/* Around the engine. */
typedef struct lw_surroundings {
  double ambient, temperature; /* Pa, K */
  double humidity;             /* 0..1 */
  double coolant;              /* K; 355 warm */
  double
      floor; /* K of the manifold's floor, which exhaust heats before the coolant; 0: as coolant */
} lw_surroundings;
lw_surroundings lw_surroundings_standard(void); /* sea level, 293.15 K, dry, warm */

/* An engine from a card and the card's network: what the card does not say is assumed
   (docs/physics-engine.md lists it). Valve overlap, then friction, are trimmed so that the healthy
   engine, screws as preset, turns at the card's idle speed at the card's idle vacuum; where that
   cannot be, they stay at their bounds and trimmed gets false. trimmed may be NULL. */
lw_status lw_engine_new(lw_arena *arena, const lw_card *card, const lw_net *net, lw_engine **engine,
                        bool *trimmed, lw_error *error) LW_MUST_USE;

/* ---- Spark ---------------------------------------------------------------------------------- */

/* Share of manifold vacuum that a ported tap sees: none with the plate under it, all above. angle:
   rad of the first plate over shut, stop: the same at curb idle. */
double lw_ported_share(double angle, double stop);
/* Vacuum at the distributor when it has settled, Pa. */
double lw_distributor_vacuum(const lw_spark *spark, double manifold_vacuum, double ported_share);
/* Timing, rad before top dead center, from speed and vacuum at the distributor. */
double lw_timing(const lw_engine *engine, double speed, double distributor_vacuum);

/* ---- Burning -------------------------------------------------------------------------------- */

/* What arrives at the cylinders. Flows are of the whole engine, kg/s. */
typedef struct lw_charge {
  double speed, manifold;               /* rad/s, Pa */
  double air[LW_SIDES], fuel[LW_SIDES]; /* arriving from each side; side 1 unused with one side */
  double leak; /* air of the vacuum leak, counted in air[] unless leak_cylinder says whose it is */
  double timing; /* rad before top dead center */
  lw_surroundings around;
} lw_charge;

typedef struct lw_cylinder {
  double air, fuel; /* kg a cycle */
  double lambda;
  double residual; /* mass share of exhaust in its charge */
  double misfire;  /* share of its cycles that do not burn */
  double work;     /* J a cycle, gross indicated, mean over fired and misfired cycles */
} lw_cylinder;

/* What comes of it. */
typedef struct lw_burned {
  lw_cylinder cylinder[LW_CYLINDERS_MOST];
  double imep, pmep, fmep;  /* Pa: gross indicated, pumping, rubbing with accessories */
  double torque;            /* N m at the crankshaft, friction and accessories taken off */
  double timing, best;      /* rad: as fired, for best torque (without fuel: of a usual charge) */
  double lambda;            /* of the whole engine; infinite without fuel */
  double residual, misfire; /* means */
  double efficiency;        /* of combustion: heat released over heat of the fuel */
  lw_products exhaust;      /* at the port, all cylinders mixed: dry with NO; HC as carbon */
  lw_products sampled;      /* the same with the probe's air leak */
  double nox_as_no;         /* kg/s */
  double co, hc;            /* kg/s; HC counted as CH1.85 */
  double roughness;         /* standard deviation of work between cylinders over its mean */
} lw_burned;

void lw_burn_charge(const lw_engine *engine, const lw_charge *charge, lw_burned *out);
/* The same without NO, which takes most of the time and gives no work. */
void lw_burn_work(const lw_engine *engine, const lw_charge *charge, lw_burned *out);

/* Exhaust that stays behind, mass share of the charge. Fox, Cheng and Heywood, SAE 931025.
   overlap rad/m, phi the fuel-air equivalence ratio. */
double lw_residual(double speed, double inlet, double exhaust, double overlap, double phi,
                   double compression_ratio);
#define LW_LEAN_LIMIT 23.2 /* of a usual engine */
/* Share of cycles that do not burn, usual limit. filling: manifold pressure over standard pressure.
   Ours; see docs/physics-engine.md. */
double lw_misfire(double lambda, double residual, double filling, double spark, double compression);
/* Rubbing friction, Pa: Barnes-Moss less its pumping, cold oil by viscosity. */
double lw_friction(double speed, double coolant);
/* NO, mole fraction of wet burned gas at the end of burning (extended Zeldovich, burned gas at
   flame temperature with residual; docs/physics-nitric.md). */
double lw_nitric_oxide(const lw_fuel *fuel, double lambda, double residual, double manifold,
                       double compression_ratio, double speed, double retard);

/* ---- Steady running ------------------------------------------------------------------------- */

typedef struct lw_running {
  lw_setting setting;
  lw_point point; /* of the network */
  lw_burned burned;
  double vacuum; /* Pa */
  double load;   /* N m: converter and road, beside the accessories */
  bool stalled;  /* no speed at which it keeps turning; the rest is where it was last tried */
} lw_running;

/* Speed and throttle given. LW_NO_CONVERGENCE says where. Distributor vacuum follows the spark's
   source. */
lw_status lw_engine_at(const lw_engine *engine, const lw_net *net, const lw_surroundings *around,
                       double throttle, double speed, lw_state *state, lw_running *out,
                       lw_error *error) LW_MUST_USE;
/* The same burned for its work alone (lw_burn_work), for searches. */
lw_status lw_engine_work_at(const lw_engine *engine, const lw_net *net,
                            const lw_surroundings *around, double throttle, double speed,
                            lw_state *state, lw_running *out, lw_error *error) LW_MUST_USE;

/* The charge a running engine was given. */
lw_charge lw_engine_charge(const lw_engine *engine, const lw_net *net, const lw_running *running,
                           const lw_surroundings *around);

typedef enum lw_gear_load {
  LW_LOAD_NONE, /* neutral or park */
  LW_LOAD_DRIVE /* automatic in drive, car standing */
} lw_gear_load;

/* Speed at which torque meets load with the throttle held (0: on the idle stop): the speed the car
   idles at. The upper of the crossings when there are several (the stable one). */
lw_status lw_engine_idle(const lw_engine *engine, const lw_net *net, const lw_surroundings *around,
                         double throttle, lw_gear_load gear, lw_state *state, lw_running *out,
                         lw_error *error) LW_MUST_USE;

/* Throttle that holds this speed against a torque (N m beyond the accessories; 0: no load). */
lw_status lw_engine_hold(const lw_engine *engine, const lw_net *net, const lw_surroundings *around,
                         double speed, double torque, lw_state *state, lw_running *out,
                         lw_error *error) LW_MUST_USE;

/* ---- The car -------------------------------------------------------------------------------- */

typedef struct lw_vehicle {
  double mass, drag_area, rolling; /* kg; m2, Cd A; N/N */
  double tire, axle;               /* m rolling radius; ratio */
  int gears;
  double gear[6]; /* ratios, first to top */
} lw_vehicle;
/* Of the size an engine like this usually drives (from its displacement), manual or automatic. */
lw_vehicle lw_vehicle_usual(const lw_card *card);
/* Torque at the crankshaft and its speed on a level road; gear from 0. */
void lw_road_load(const lw_vehicle *vehicle, double road_speed, double acceleration, int gear,
                  double air_density, double *torque, double *speed);

#endif
