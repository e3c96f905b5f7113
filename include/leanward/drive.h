/* leanward/drive.h - the car on a driving schedule: what it emits, burns and misses, second by
** second and by mode.
**
** A driver looks ahead along the schedule and moves pedal, brake, clutch and gears; motion.h moves
** the car. Gas is taken at the port and weighed; concentrations are those a perfect analyzer would
** show. What a real one displays meanwhile, late and at its own pace, is told beside (plan->meter).
**
** Units    SI; mole fractions of dry gas; HC in fractions is hexane, by mass CH1.85; NOx by mass is
**          counted as NO2 and at 75 grains of water for each pound of air (0.74 of dry air's), as
**          the law does; NO in fractions is that of dry air.
** Errors   a car that cannot follow is a result: the share of time missed, stalls counted. A car
** that          does not idle, or whose flows do not settle, is LW_NO_CONVERGENCE with time and
** cause. Memory   results lie in the caller's arena; the motion is made and freed inside.
** Threads  reentrant.
** Repeats  the same run gives the same bits.
** Source   docs/drive.md; schedules 40 CFR 86 app. I and 600 app. I; seven modes: docs/drive.md.
*/
#ifndef LEANWARD_DRIVE_H
#define LEANWARD_DRIVE_H

#include "leanward/car.h"
#include "leanward/gauge.h"
#include "leanward/motion.h"

/* ---- Schedules ------------------------------------------------------------------------------ */

enum { LW_MODES_MOST = 64, LW_MODE_NAME = 40 };

/* A stretch that is reported by itself. */
typedef struct lw_mode {
  char name[LW_MODE_NAME]; /* "0-25 mph", "phase 1" */
  double weight;           /* in the composite; 0: reported only */
} lw_mode;

typedef struct lw_schedule {
  const char *name;
  size_t count;
  const double *time, *speed; /* s, rising from 0; m/s, straight lines between */
  size_t modes; /* 0: idle, speeding up, cruising and slowing are told apart instead */
  const lw_mode *mode;
  const signed char *in; /* mode of the stretch that begins at each time, -1: none; NULL: none */
} lw_schedule;

/* Speed wanted at a time; 0 behind the end. */
double lw_schedule_speed(const lw_schedule *schedule, double time);
double lw_schedule_distance(const lw_schedule *schedule); /* m */
double lw_schedule_length(const lw_schedule *schedule);   /* s */

/* The seven-mode cycle of the first federal standard, 137 s (31 FR 5170, 1966; times and weights
   from memory; weights sum to 1). whole: seven cycles, of which the first four (warming up) count
   0.35 and the last two (hot) 0.65; else two hot ones. */
lw_status lw_schedule_seven(lw_arena *arena, bool whole, lw_schedule **schedule,
                            lw_error *error) LW_MUST_USE;
/* Of arrays (copied). mode and in may be NULL. LW_BAD_INPUT: fewer than two times, times that do
   not rise from 0 or reach over six hours, speeds under 0 or over 90 m/s. error->line is the row,
   from 0. */
lw_status lw_schedule_of(lw_arena *arena, const char *name, const double *time, const double *speed,
                         size_t count, const lw_mode *mode, size_t modes, const signed char *in,
                         lw_schedule **schedule, lw_error *error) LW_MUST_USE;

/* ---- The driver ----------------------------------------------------------------------------- */

typedef struct lw_driver {
  double step;      /* s between two decisions */
  double preview;   /* s looked ahead */
  double integral;  /* 1/s2: acceleration asked for each meter behind */
  double foot;      /* 1/s, fastest pedal */
  double up[6];     /* m/s: out of each gear upward, light pedal */
  double kick[6];   /* of it more at full pedal, share */
  double down;      /* share of up under which a gear is left downward */
  double shift;     /* s a manual shift takes */
  double clutch_in; /* rad/s of the crank under which a manual's clutch is pressed */
} lw_driver;
lw_driver lw_driver_usual(const lw_engine *engine, const lw_vehicle *vehicle);

/* ---- Running -------------------------------------------------------------------------------- */

typedef struct lw_drive_plan {
  const lw_schedule *schedule;
  const lw_devices *devices;  /* NULL: as usual for the card */
  const lw_vehicle *vehicle;  /* NULL: as usual for the card */
  const lw_driver *driver;    /* NULL: as usual */
  const lw_meter_kind *meter; /* analyzer at the tailpipe; NULL: none */
  bool cold;                  /* started cold at the surroundings' temperature; else warm, idling */
  double warm_up;             /* s of idling before the schedule begins, after the start */
  /* called now and then with the share done; may be NULL */
  void (*progress)(void *with, double share);
  void *with;
} lw_drive_plan;

/* One second (the last may be shorter). Rates and fractions are means over it. */
typedef struct lw_drive_second {
  double time;           /* its end */
  double wanted, driven; /* m/s at its end */
  double engine;         /* rad/s */
  double pedal, throttle, vacuum, lambda;
  double choke;                   /* share open */
  int gear;                       /* 0: neutral */
  lw_gases dry;                   /* hexane */
  double hc, co, co2, nox, fuel;  /* kg/s; fuel as burned */
  double misfire;                 /* share of cycles */
  double pumped, power;           /* share of the fuel from the pump; share open */
  double film;                    /* kg/s the walls give (+) or take (-) */
  double by_circuit[LW_CIRCUITS]; /* kg/s */
  int mode;                       /* -1: none */
  bool running, on_stop;          /* turning by itself; throttle on its stop */
} lw_drive_second;

/* Means by time over a mode, and sums. */
typedef struct lw_drive_mode {
  const char *name;
  double weight, seconds, distance;
  lw_gases dry;    /* hexane */
  lw_gases read;   /* mean of what the analyzer displayed, hexane; NaN without one */
  double dilution; /* 14.5/(CO2 + CO/2 + 10.8 HC), percent (1966 procedure; from memory) */
  double hc, co, co2, nox, fuel; /* kg */
} lw_drive_mode;

/* Where most of a gas was given off. */
typedef struct lw_drive_worst {
  lw_gas_name gas;
  size_t second;   /* index */
  double rate;     /* kg/s */
  double over;     /* times the mean rate of the run */
  char cause[160]; /* "accelerator pump: 62 % of the fuel ..." */
} lw_drive_worst;

typedef struct lw_drive {
  const lw_schedule *schedule;
  size_t count;
  const lw_drive_second *seconds;
  size_t modes;
  const lw_drive_mode *mode;
  lw_gases composite, composite_plain; /* weighted, with dilution factors and without; NaN where
                                          the schedule has no weights */
  double distance, wanted_distance;    /* m */
  double hc, co, co2, nox;             /* kg over the run */
  double fuel, fuel_volume;            /* kg and m3 out of the carburetor */
  double economy_carbon;               /* m/m3 by carbon balance of the exhaust */
  double missed;                       /* share of time off the trace, see below */
  double worst_miss, worst_miss_time;  /* m/s, s */
  int stalls;
  int unseen; /* moments whose flows did not settle: the one before stands for each */
  size_t worst_count;
  lw_drive_worst worst[3]; /* CO, HC, NO */
  lw_effort effort;
} lw_drive;

/* Within 2 mph of the trace within a second (40 CFR 86.515-78; read for motorcycles, the same as
   86.115 for cars, from memory). */
lw_status lw_drive_run(lw_arena *arena, const lw_test_car *car, const lw_drive_plan *plan,
                       lw_drive **drive, lw_error *error) LW_MUST_USE;

/* ---- Arithmetic of the law ------------------------------------------------------------------- */

/* Miles a U.S. gallon from grams a mile, fuel of 2,421 g carbon a gallon: 40 CFR 600 app. II (the
   equation from memory, its example read). */
double lw_carbon_balance(double hc, double co, double co2);
/* The same with specific gravity, carbon mass fraction and net heating value (Btu/lb). */
double lw_carbon_balance_fuel(double hc, double co, double co2, double gravity, double carbon,
                              double heating);

#endif
