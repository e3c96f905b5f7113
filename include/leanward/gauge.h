/* leanward/gauge.h - what the instruments show of a running engine: analyzer, vacuum gauge,
** tachometer, timing light.
**
** The engine's gas and vacuum are one thing, what a technician reads is another: it comes late, at
** its own pace, with hang-up, drift, noise and in steps. These are the instruments, to be fed from
** motion.h (or from any other run) moment by moment.
**
** Units    SI; mole fractions of dry gas; HC on a meter is hexane, as displays have it.
** Errors   none: any input gives a reading. Times that are not over 0 change nothing.
** Memory   each instrument is one struct of fixed size that its caller owns; nothing is allocated.
** Threads  one instrument belongs to one thread at a time; no globals.
** Repeats  the same seed and inputs give the same bits. For inputs that stay, one long step gives
**          what many short ones give (to rounding): all answers are closed, none is stepped.
** Source   beside each part; sizes without a source are ours. docs/gauges.md works them out.
*/
#ifndef LEANWARD_GAUGE_H
#define LEANWARD_GAUGE_H

#include "leanward/engine.h"

/* ---- Exhaust gas analyzer ------------------------------------------------------------------- */

enum { LW_METER_GASES = 5, LW_METER_PIECES = 256 }; /* order of lw_gases: CO, CO2, HC, O2, NO */

/* One analyzer with its hose. Arrays in the order of lw_gases. */
typedef struct lw_meter_kind {
  double pipe;                  /* m3 of exhaust pipe and muffler from port to probe */
  double pump;                  /* m3/s the instrument draws; less exhaust than that is air */
  double hose;                  /* s from the probe to the cells */
  double rise[LW_METER_GASES];  /* s, time constant while a gas rises */
  double fall[LW_METER_GASES];  /* s, while it falls */
  double hang;                  /* share of HC that wets hose and filter and comes off late */
  double hang_load, hang_clear; /* s, time constants of filling and of clearing */
  double zero[LW_METER_GASES];  /* drift of zero, mole fraction an hour (standard deviation) */
  double span[LW_METER_GASES];  /* drift of span, share an hour (the same) */
  double noise[LW_METER_GASES]; /* mole fraction, standard deviation */
  double step[LW_METER_GASES];  /* display step, mole fraction */
  double most[LW_METER_GASES];  /* end of the scale */
  double refresh;               /* s between two displays */
  uint64_t seed;
} lw_meter_kind;

/* An analyzer of a class (LW_CLASS_UNSAID: a shop's of class II), warmed up. CO falls faster than
   it rises: a mixture that goes lean reads sooner than one that goes rich (common practice). */
lw_meter_kind lw_meter_usual(lw_class accuracy);
/* One without delay, lag, drift, noise and steps: the gas itself. */
lw_meter_kind lw_meter_ideal(void);

/* A stretch of gas on its way. */
typedef struct lw_meter_piece {
  double entered; /* m3 that had gone into the pipe before it */
  double arrives; /* s, at the cells; infinite while in the pipe */
  double gas[LW_METER_GASES];
} lw_meter_piece;

typedef struct lw_meter {
  lw_meter_kind kind;
  double time, passed; /* s; m3 into the pipe so far */
  double at_cells[LW_METER_GASES];
  double cell[LW_METER_GASES]; /* what each cell has come to */
  double hung;                 /* HC as hose and filter give it off, hexane */
  int first, count, exited;    /* ring of pieces; how many of them have left the pipe */
  lw_meter_piece piece[LW_METER_PIECES];
} lw_meter;

/* Zeroed and standing in fresh air. */
void lw_meter_start(lw_meter *meter, const lw_meter_kind *kind);
/* On by dt seconds of this exhaust; flow: m3/s of it in the pipe (lw_exhaust_flow). When more
   pieces are on their way than fit, the two oldest still in the pipe become their mean. */
void lw_meter_step(lw_meter *meter, double dt, const lw_products *exhaust, double flow);
/* What it displays now: drift, noise, step and end of scale included; HC as hexane. */
lw_gases lw_meter_read(const lw_meter *meter);
/* What the cells see behind delay and lag, before drift, noise and steps. */
lw_gases lw_meter_true(const lw_meter *meter);
/* Time after which a step of this gas shows 95 % of itself, s, from the probe on; rising or not.
   HC's includes hang-up. */
double lw_meter_settling(const lw_meter_kind *kind, lw_gas_name gas, bool rising);

/* Volume of the exhaust, cold enough for a pipe's end, from air and fuel burned (kg/s): m3/s at
   450 K. */
double lw_exhaust_flow(double air, double fuel);

/* ---- Vacuum gauge --------------------------------------------------------------------------- */

/* The gauge with its hose. */
typedef struct lw_dial {
  double hose, needle; /* s, time constants */
  double step;         /* Pa, what an eye tells apart */
} lw_dial;
lw_dial lw_dial_usual(void); /* 0.01 s, 0.02 s, a quarter of an inch of mercury */

/* Vacuum at the needle, with each cylinder's part in it. A cylinder that keeps less of its charge
   pushes it back, or draws less: the pressure jumps at its intake and is drawn down again by all.
   One that gives less work lets the crank slow, and the pressure follows. */
typedef struct lw_vacuum_gauge {
  lw_dial dial;
  uint64_t seed;
  double time, phase; /* s; rad of the two-turn cycle since cylinder 1 fired */
  uint64_t cycle;
  int beats;             /* cylinders that have had their turn in this cycle */
  double slow, pressure; /* share the crank is slow by; Pa over the mean */
  double hose, needle;   /* Pa of vacuum there */
} lw_vacuum_gauge;

void lw_vacuum_gauge_start(lw_vacuum_gauge *gauge, const lw_dial *dial, uint64_t seed,
                           double vacuum);
/* On by dt seconds. vacuum: mean, Pa; manifold: absolute, Pa. A cylinder's cycles are dropped by
   lot (seed) as often as it misfires. */
void lw_vacuum_gauge_step(lw_vacuum_gauge *gauge, double dt, const lw_engine *engine,
                          const lw_burned *burned, double speed, double vacuum, double manifold);
double lw_vacuum_gauge_read(const lw_vacuum_gauge *gauge); /* Pa, to the dial's step */

/* How the needle moves when all stays as it is. */
typedef struct lw_needle_motion {
  lw_needle kind;
  double mean, lowest, highest; /* Pa of vacuum */
  double regular, irregular;    /* Pa from peak to peak: the same each cycle; by missed cycles */
  double rate;                  /* Hz, of the regular part: a cycle's */
  int cylinder;                 /* the one it drops for, from 0; -1: none stands out */
} lw_needle_motion;

/* Watched for 12 seconds. Words by what moves it most: it is steady while the regular part is under
   a quarter of an inch of mercury and the irregular one under half an inch; one cylinder each cycle
   drops regularly; one now and then drops irregularly; all of them now and then drift; faster than
   an eye follows, or several different cylinders, vibrate. How unevenly a sound engine burns (5 %)
   moves the needle within lowest and highest, and counts in none of the two. */
lw_needle_motion lw_needle_watch(const lw_engine *engine, const lw_burned *burned, double speed,
                                 double vacuum, double manifold, uint64_t seed);
/* "steady", "drops regularly", ... */
const char *lw_needle_text(lw_needle needle);

/* ---- Tachometer and timing light ------------------------------------------------------------ */

typedef struct lw_tachometer {
  double lag, step; /* s; rad/s */
  double shown;     /* rad/s before the step */
} lw_tachometer;
lw_tachometer lw_tachometer_usual(double speed); /* 0.4 s, 10 rpm; standing at speed */
void lw_tachometer_step(lw_tachometer *tachometer, double dt, double speed);
double lw_tachometer_read(const lw_tachometer *tachometer);

/* Timing as a light shows it: the mark's mean, to half a degree, and how far it is seen to wander
   (standard deviation: points and shaft 0.3 degrees, and what the speed's unevenness moves the
   centrifugal advance). rad before top dead center. */
typedef struct lw_light {
  double timing, wander;
} lw_light;
lw_light lw_light_read(const lw_engine *engine, const lw_burned *burned, double speed);

#endif
