/* leanward/spread.h - the tolerance study: thousands of units of one card, no two of them alike.
**
** Every size of a unit and every setting is drawn from its tolerance; each unit idles as it was
** assembled, then its screws are set as a careful hand would: CO to where the meter should stand,
** at the card's speed, within the screws' travel. What comes out is what share can be set, what
** share idles in its band untouched, how far the screws must be turned, and which dimension it
** hangs on.
**
** Units    SI; turns out from lightly seated; speed screw in turns, + is in (faster); CO as mole
**          fraction, HC as mole fraction of hexane, both dry.
** Errors   LW_BAD_INPUT for a car that does not idle as the card has it, or numbers out of range.
** Memory   all of a study lies in the caller's arena; some 70 bytes a run (lw_spread_runs).
** Threads  lw_spread_work may be called at the same time for runs that do not overlap: the caller
**          starts threads, this floor starts none. Random numbers are counted, not drawn in turn,
**          and every run starts from the same state: any number of threads, the same bits.
** Source   docs/spread.md lists every tolerance with its source. Sensitivity: Saltelli, Annoni,
**          Azzini, Campolongo, Ratto and Tarantola, Comput. Phys. Commun. 181 (2010) 259, table 2
**          (b: first order, f: total, after Jansen). Random numbers: Salmon, Moraes, Dror and Shaw,
**          Parallel random numbers: as easy as 1, 2, 3, SC11 (2011), Philox4x32-10.
*/
#ifndef LEANWARD_SPREAD_H
#define LEANWARD_SPREAD_H

#include "leanward/car.h"

/* ---- What differs from unit to unit --------------------------------------------------------- */

#define LW_VARY_LIST(X)                                                                            \
  X(LW_VARY_MAIN_JET, "main jet")                                                                  \
  X(LW_VARY_MAIN_BLEED, "main bleed")                                                              \
  X(LW_VARY_POWER_JET, "power jet")                                                                \
  X(LW_VARY_IDLE_FEED, "idle feed")                                                                \
  X(LW_VARY_IDLE_BLEED, "idle bleed")                                                              \
  X(LW_VARY_SECOND_BLEED, "second idle bleed")                                                     \
  X(LW_VARY_RESTRICTION, "idle restriction")                                                       \
  X(LW_VARY_LIMITER, "idle limiter")                                                               \
  X(LW_VARY_PORT, "idle port")                                                                     \
  X(LW_VARY_SEAT, "screw seat")                                                                    \
  X(LW_VARY_SEATED, "screw's count")                                                               \
  X(LW_VARY_AIR_HOLES, "bleed air holes")                                                          \
  X(LW_VARY_SLOT_WIDTH, "slot width")                                                              \
  X(LW_VARY_SLOT_PLACE, "slot place")                                                              \
  X(LW_VARY_BYPASS, "idle air bypass")                                                             \
  X(LW_VARY_VENTURI, "venturi")                                                                    \
  X(LW_VARY_BOOSTER, "booster signal")                                                             \
  X(LW_VARY_PLATE_FIT, "plate fit")                                                                \
  X(LW_VARY_FUEL_LEVEL, "fuel level")                                                              \
  X(LW_VARY_EDGES, "edges of holes")                                                               \
  X(LW_VARY_STOP, "stop as assembled")                                                             \
  X(LW_VARY_PRESET, "preset")                                                                      \
  X(LW_VARY_TIMING, "timing")                                                                      \
  X(LW_VARY_ADVANCE, "advance")                                                                    \
  X(LW_VARY_COMPRESSION, "compression ratio")                                                      \
  X(LW_VARY_BREATHING, "breathing")                                                                \
  X(LW_VARY_FRICTION, "friction")                                                                  \
  X(LW_VARY_OVERLAP, "valve overlap")                                                              \
  X(LW_VARY_ACCESSORIES, "accessories")                                                            \
  X(LW_VARY_DISTRIBUTION, "distribution")                                                          \
  X(LW_VARY_LEAN_LIMIT, "lean limit")                                                              \
  X(LW_VARY_CREVICES, "crevices")                                                                  \
  X(LW_VARY_HAND, "hand at the screw")                                                             \
  X(LW_VARY_METER, "CO meter")                                                                     \
  X(LW_VARY_TACHOMETER, "tachometer")
typedef enum lw_vary {
#define LW_VARY_ENUM(id, text) id,
  LW_VARY_LIST(LW_VARY_ENUM)
#undef LW_VARY_ENUM
      LW_VARIES
} lw_vary;
const char *lw_vary_text(lw_vary what);

/* How a tolerance is filled. */
typedef enum lw_fill {
  LW_FILL_MADE, /* normal, three standard deviations to the tolerance, cut there: what is made and
                   inspected */
  LW_FILL_SET   /* even from end to end: what is set by hand, and stopped at as soon as it is in */
} lw_fill;

/* What a half width counts. */
typedef enum lw_half {
  LW_HALF_LENGTH, /* m */
  LW_HALF_SHARE,  /* of the value itself */
  LW_HALF_TURNS,
  LW_HALF_ANGLE, /* rad */
  LW_HALF_SPEED, /* rad/s */
  LW_HALF_GAS,   /* mole fraction */
  LW_HALF_NUMBER
} lw_half;

/* The tolerance of one kind of dimension where the card says none. */
typedef struct lw_tolerance {
  double half; /* either way */
  lw_half counts;
  lw_fill fill;
  const char *what, *source; /* one line each, for people */
} lw_tolerance;
const lw_tolerance *lw_tolerance_of(lw_vary what);

/* A half width as people write it, "+/- 0.007 mm", "+/- 2 %". Returns buffer. */
const char *lw_half_text(char *buffer, size_t size, lw_half counts, double half);

/* ---- What is asked -------------------------------------------------------------------------- */

/* Where the idle shall be; service's lw_goal_from says it of a card. */
typedef struct lw_spread_goal {
  double speed, speed_within; /* rad/s, either way */
  double co, co_lo, co_hi;    /* mole fraction: aimed at, the card's band */
  double co_most, hc_most;    /* limits; NaN: none. HC as hexane */
  lw_gear_load gear;
} lw_spread_goal;

typedef struct lw_spread_ask {
  lw_spread_goal goal;
  size_t units;            /* virtual units, 2 to LW_SPREAD_UNITS_MOST */
  size_t ranked;           /* pairs of units the ranking is worked from: at most half of units and
                              LW_SPREAD_RANKED_MOST; 0: no ranking */
  uint64_t seed;           /* another seed, other units */
  double times[LW_VARIES]; /* each tolerance's width times this; 1: as it is, 0: none */
} lw_spread_ask;
enum { LW_SPREAD_UNITS_MOST = 200000, LW_SPREAD_RANKED_MOST = 5000 };
/* The ask of a goal: every tolerance as it is, seed 1. */
lw_spread_ask lw_spread_asked(const lw_spread_goal *goal, size_t units);

/* ---- One unit ------------------------------------------------------------------------------- */

/* How setting it ended. */
#define LW_SPREAD_END_LIST(X)                                                                      \
  X(LW_SPREAD_SET, "set inside its band and limits")                                               \
  X(LW_SPREAD_TOO_LEAN, "below its band with the screw at its richest")                            \
  X(LW_SPREAD_TOO_RICH, "over its band with the screw at its leanest")                             \
  X(LW_SPREAD_FAST, "too fast with the plate shut")                                                \
  X(LW_SPREAD_SLOW, "does not reach its speed")                                                    \
  X(LW_SPREAD_MISSED, "CO beside its band by the meter's error or the hand's")                     \
  X(LW_SPREAD_HC_OVER, "HC over its limit with CO right")                                          \
  X(LW_SPREAD_LOST, "its flows were not found")
typedef enum lw_spread_end {
#define LW_SPREAD_END_ENUM(id, text) id,
  LW_SPREAD_END_LIST(LW_SPREAD_END_ENUM)
#undef LW_SPREAD_END_ENUM
      LW_SPREAD_ENDS
} lw_spread_end;
const char *lw_spread_end_text(lw_spread_end end);

/* What is looked at of a unit. */
#define LW_SPREAD_SEEN_LIST(X)                                                                     \
  X(LW_SPREAD_SPEED, "speed as assembled")                                                         \
  X(LW_SPREAD_CO, "CO as assembled")                                                               \
  X(LW_SPREAD_HC, "HC as assembled")                                                               \
  X(LW_SPREAD_TURNS, "turns of the mixture screw")                                                 \
  X(LW_SPREAD_SPEED_TURNS, "turns of the speed screw")                                             \
  X(LW_SPREAD_SET_CO, "CO as set")                                                                 \
  X(LW_SPREAD_SET_HC, "HC as set")
typedef enum lw_spread_seen {
#define LW_SPREAD_SEEN_ENUM(id, text) id,
  LW_SPREAD_SEEN_LIST(LW_SPREAD_SEEN_ENUM)
#undef LW_SPREAD_SEEN_ENUM
      LW_SPREAD_SEENS
} lw_spread_seen;
const char *lw_spread_seen_text(lw_spread_seen seen);

typedef struct lw_spread_unit {
  double x[LW_SPREAD_SEENS]; /* NaN: there is none (stalled as assembled, no screw, lost) */
  lw_spread_end end;
  bool stalled; /* as assembled */
  bool within;  /* as set: at its speed, under the limits for CO and HC, at whatever CO */
} lw_spread_unit;

/* ---- The study ------------------------------------------------------------------------------ */

/* One kind of dimension that this unit has. */
typedef struct lw_spread_dim {
  lw_vary what;
  size_t parts; /* how many such dimensions it has, each with a draw of its own */
  double half;  /* as used */
  bool card;    /* the card says this tolerance */
} lw_spread_dim;

typedef struct lw_spread lw_spread;

/* A study of this car as it stands: the nominal unit. Everything is laid out here; nothing is
   allocated later. */
lw_status lw_spread_new(lw_arena *arena, const lw_test_car *car, const lw_spread_ask *ask,
                        lw_spread **spread, lw_error *error) LW_MUST_USE;
/* How many runs there are to do: the units, then those of the ranking. */
size_t lw_spread_runs(const lw_spread *spread);
/* Do runs first to first + count - 1 (beyond the last: none). See Threads. */
void lw_spread_work(lw_spread *spread, size_t first, size_t count);

/* A share with its 95 % interval (Wilson, J. Am. Stat. Assoc. 22 (1927) 209). */
typedef struct lw_spread_share {
  size_t count, of;
  double share, lo, hi;
} lw_spread_share;
lw_spread_share lw_share_of(size_t count, size_t of);

/* How one number is spread over the units that have it. */
typedef struct lw_spread_numbers {
  size_t count;
  const double *sorted; /* count of them, rising */
  double mean, sd;      /* NaN under two */
} lw_spread_numbers;
/* The value that this share of the units lies under; between two, on the line between them. */
double lw_spread_quantile(const lw_spread_numbers *numbers, double share);

/* What part of a number's variance hangs on one kind of dimension: alone, and with all it does
   together with others. Each with its standard error. NaN: no variance, or too few runs. */
typedef struct lw_sensitivity {
  double first, first_u, total, total_u;
} lw_sensitivity;

typedef struct lw_spread_result {
  const lw_spread_unit *nominal; /* every dimension in its middle */
  const lw_spread_unit *units;
  size_t unit_count;
  lw_spread_share settable;      /* by its screws: at its speed, under its limits */
  lw_spread_share in_band;       /* the same with CO in the card's band */
  lw_spread_share speed_at_once; /* as assembled: speed in its band */
  lw_spread_share good_at_once;  /* the same with CO in its band and nothing over a limit */
  size_t ends[LW_SPREAD_ENDS];
  lw_spread_numbers numbers[LW_SPREAD_SEENS];
  const lw_spread_dim *dims;
  size_t dim_count;
  size_t ranked;                                 /* 0: no ranking */
  const lw_sensitivity (*rank)[LW_SPREAD_SEENS]; /* one row for each of dims; NULL without */
  const size_t (*order)[LW_SPREAD_SEENS];        /* order[i][seen]: the dim that is i-th by total */
} lw_spread_result;

/* Add up what was done; every run must have been. */
lw_status lw_spread_finish(lw_arena *arena, const lw_spread *spread, lw_spread_result *result,
                           lw_error *error) LW_MUST_USE;

/* ---- The parts, for tests and for other studies ---------------------------------------------- */

/* Sensitivity from runs f(A), f(B) and f(A with one factor from B), n of each (see Source). Runs of
   which one is NaN are left out; under eight runs, or without variance, all is NaN. */
lw_sensitivity lw_sensitivity_of(const double *a, const double *b, const double *ab, size_t n);

/* Four random words of a counter and a key. */
void lw_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t out[4]);
/* Draw number `draw` of unit `unit`: over 0, under 1. */
double lw_spread_draw(uint64_t seed, uint64_t unit, uint32_t draw);
/* Where in its tolerance a draw u (0..1) lies, -1..1. */
double lw_fill_at(lw_fill fill, double u);

#endif
