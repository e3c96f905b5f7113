/* leanward/maneuver.h - what a mechanic does with the throttle, ready made: each run drives a car
** (motion.h) and gives its trace and key figures.
**
** Every run starts the car anew (warm and idling, or cold) and leaves it where the run ends. What
** ails the car is put into it before, by its network, engine or devices.
**
** Units    SI; HC as moles of hexane in a mole of dry gas, as analyzers show it.
** Errors   those of lw_motion_idle and lw_motion_advance; a stall is a result.
** Memory   traces lie in the caller's arena.
** Threads  as the motion.
*/
#ifndef LEANWARD_MANEUVER_H
#define LEANWARD_MANEUVER_H

#include "leanward/motion.h"

typedef struct lw_trace_point {
  double time;
  double speed, vacuum, throttle, road_speed;
  double air_in, air_out, metered, pumped; /* kg/s */
  double lambda_metered, lambda_cylinders; /* NaN without fuel */
  double film;                             /* kg, both sides */
  double timing, distributor_vacuum, torque, misfire;
  double co, co2, hc, o2, no; /* dry, at the port */
  double hc_flow;             /* kg/s, as CH1.85 */
  double bowl_level, power, valve, diaphragm, dashpot, choke, cam, coolant;
} lw_trace_point;

/* Figures a run does not have are NaN; times are from the moment the throttle moved, and NaN when
   it never came to that. */
typedef struct lw_maneuver {
  const lw_trace_point *points;
  size_t count;
  const lw_event *events;
  size_t event_count;
  double moved; /* time at which the throttle was moved */
  /* the mixture in the cylinders after that */
  double lean_dip;  /* its leanest lambda less the leaner of those it left and came to rest at */
  double lean_time; /* s over that by 0.05: what is felt as a flat spot */
  double rich_dip;  /* the richer of the two less its richest */
  double leanest, richest;
  /* what the gauges show */
  double vacuum_before, vacuum_least, vacuum_most;
  double speed_most, speed_end;
  double fall_time;        /* s for the speed to fall within 10 % of where it ends */
  double distributor_fall; /* s for the vacuum at the distributor to fall to the set value */
  double hc_most, hc_mass; /* kg from the move to the end */
  double misfire_most;
  /* devices */
  double pump_mass, pump_time; /* kg; s for nine tenths of it */
  double started, choke_opened,
      fast_idle; /* s from the first crank; s; rad/s 10 s after starting */
  bool stalled;
  lw_stall cause;
} lw_maneuver;

/* Neutral: floored for `hold` s (about 0.3 is a blip), then let go. Followed for 10 s. */
lw_status lw_run_blip(lw_arena *arena, lw_motion *motion, double hold, lw_maneuver *out,
                      lw_error *error) LW_MUST_USE;
/* On an engine dynamometer at `speed`: the throttle goes from one place to another in `within`
   s. */
lw_status lw_run_tip(lw_arena *arena, lw_motion *motion, double speed, double from, double to,
                     double within, lw_maneuver *out, lw_error *error) LW_MUST_USE;
/* Neutral: held at `speed`, then the foot comes off at once. distributor_fall is counted to `set`
   Pa (NaN: 20 kPa, 6 inHg). Followed for 15 s. */
lw_status lw_run_snap_shut(lw_arena *arena, lw_motion *motion, double speed, double set,
                           lw_maneuver *out, lw_error *error) LW_MUST_USE;
/* Engine standing, as one looks down the air horn: the throttle goes wide open in `within` s. */
lw_status lw_run_pump_shot(lw_arena *arena, lw_motion *motion, double within, lw_maneuver *out,
                           lw_error *error) LW_MUST_USE;
/* From cold: cranked until it runs (10 s at most), then idling with a touch of the pedal every 20 s
   that lets the fast-idle cam turn, for `seconds`. */
lw_status lw_run_warm_up(lw_arena *arena, lw_motion *motion, double temperature, double seconds,
                         lw_maneuver *out, lw_error *error) LW_MUST_USE;
/* Warm idle, loaded by `load` N m at the crankshaft until it stalls (10 s at most); the load is
   taken off, and it is cranked until it runs again (10 s at most). started is counted from the
   crank. */
lw_status lw_run_stall(lw_arena *arena, lw_motion *motion, double load, lw_maneuver *out,
                       lw_error *error) LW_MUST_USE;

#endif
