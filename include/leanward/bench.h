/* leanward/bench.h - runs of the twin: what-ifs, maps, and what a change does.
**
** Units    SI.
** Errors   LW_BAD_INPUT for a what-if that is not known (with the nearest name) or cannot be, and
**          those of lw_net_build. A point that does not converge is a result: its report says so.
** Memory   results lie in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
*/
#ifndef LEANWARD_BENCH_H
#define LEANWARD_BENCH_H

#include "leanward/carb.h"

/* ---- The twin ------------------------------------------------------------------------------- */

typedef enum lw_stuck { LW_STUCK_NOT, LW_STUCK_OPEN, LW_STUCK_SHUT } lw_stuck;

/* The passages of one size that differ from the card: plugged, or of one side only. */
typedef struct lw_scaled {
  size_t name;    /* which of lw_what_ifs */
  bool secondary; /* of the secondary barrels */
  int side;       /* 0: both, 1: left, 2: right */
  double scale;   /* of the diameter; 0: plugged */
} lw_scaled;
enum { LW_SCALED_MOST = 24 };

/* What the unit suffers that no card says. All zero: nothing. */
typedef struct lw_altered {
  double fuel_rise;       /* m the fuel stands over the card's level */
  double choke_shut;      /* share of the choke's opening that is lost, 0..1 */
  double cleaner_clogged; /* share of the air cleaner's opening that is lost, 0..1 */
  double vacuum_leak;     /* m, hole into the manifold */
  double shaft_wear;      /* m, play of the throttle shaft in its bores */
  double power_leak;      /* m, hole from the bowl to the manifold past the power valve */
  lw_stuck power_valve, check_valve;
  bool secondary_stuck;   /* at secondary_angle over shut */
  double secondary_angle; /* rad */
  lw_scaled scaled[LW_SCALED_MOST];
  size_t scaled_count;
} lw_altered;

/* A network with its surroundings: what a what-if changes. */
typedef struct lw_twin {
  const lw_card *card; /* as changed */
  lw_net *net;
  double ambient, temperature; /* Pa, K */
  lw_altered altered;          /* in force in net, beside what the card says */
} lw_twin;

/* The twin of a card at sea level, 20 degC. */
lw_status lw_twin_new(lw_arena *arena, const lw_card *card, lw_twin **twin,
                      lw_error *error) LW_MUST_USE;

/* ---- What-ifs ------------------------------------------------------------------------------- */

/* A changed copy. Each edit is NAME=VALUE as a person writes it: "main jet=0.061 in", "float
   level=+2 mm", "altitude=1600 m", "fuel=E10", "left screw=-1/4 turn", faults such as "vacuum
   leak=2 mm", "idle bleed=plugged". A signed value is a change, an unsigned one a new value; a
   percentage with a sign changes a size by that much. Edits are done in order, each on what those
   before it left. Idle stops stay where they are unless edited. Before a size may stand
   "secondary", or "left" or "right" for the primary barrels of that side; a screw is called by its
   name on the card, "screws" are all that turn. A screw is not turned past its stops, and what is sealed is not changed. */
lw_status lw_what_if(lw_arena *arena, lw_units *units, const lw_twin *from,
                     const char *const *edits, size_t count, lw_twin **changed,
                     lw_error *error) LW_MUST_USE;

/* The names, with the values each takes; docs/what-ifs.md lists the same. */
typedef struct lw_what_if_name {
  const char *name, *values, *what; /* "vacuum leak", "mm, in", "a hole into the manifold" */
  bool fault;
} lw_what_if_name;
const lw_what_if_name *lw_what_ifs(size_t *count);

/* ---- Maps ----------------------------------------------------------------------------------- */

typedef struct lw_map_point {
  double throttle, speed;
  lw_report report; /* when it did not converge, what follows is NaN */
  double air, fuel, afr, lambda, manifold;
  double by_circuit[LW_CIRCUITS]; /* fuel, kg/s */
} lw_map_point;

typedef struct lw_map {
  size_t throttles, speeds;
  const double *throttle, *speed; /* axes */
  const lw_map_point *points;     /* row by row: speed outer, throttle inner */
  size_t failed;                  /* points that did not converge */
} lw_map;

/* Solve every point of a grid, each warm from its neighbor. */
lw_status lw_map_run(lw_arena *arena, const lw_twin *twin, const double *throttle, size_t throttles,
                     const double *speed, size_t speeds, lw_map **map, lw_error *error) LW_MUST_USE;

/* Where an engine runs. */
typedef enum lw_line {
  LW_LINE_ROAD, /* a level road in top gear: from the idle stop at the first speed to nearly wide
                       open at the last; manifold pressure rises with the square of speed between
                       (as drag does; the shape is ours) */
  LW_LINE_WIDE_OPEN /* throttle wide open */
} lw_line;

/* Solve a line of points, one for each speed. The map has one throttle and its axis is NULL: each
   point holds its own. Speeds must rise. */
lw_status lw_line_run(lw_arena *arena, const lw_twin *twin, lw_line line, const double *speed,
                      size_t speeds, lw_map **map, lw_error *error) LW_MUST_USE;
/* The same throttles and speeds, point by point, on another twin. */
lw_status lw_map_again(lw_arena *arena, const lw_twin *twin, const lw_map *like, lw_map **map,
                       lw_error *error) LW_MUST_USE;

/* ---- What a change does ---------------------------------------------------------------------- */

/* Where on the range, by what the original does there. */
#define LW_PLACE_LIST(X)                                                                           \
  X(LW_PLACE_IDLE, "idle")                                                                         \
  X(LW_PLACE_COAST, "coasting")                                                                    \
  X(LW_PLACE_OFF_IDLE, "off idle")                                                                 \
  X(LW_PLACE_CRUISE, "cruise")                                                                     \
  X(LW_PLACE_LOAD, "heavy load")                                                                   \
  X(LW_PLACE_WIDE_OPEN, "wide open")
typedef enum lw_place {
#define LW_PLACE_ENUM(id, name) id,
  LW_PLACE_LIST(LW_PLACE_ENUM)
#undef LW_PLACE_ENUM
      LW_PLACES
} lw_place;
const char *lw_place_text(lw_place place);

/* One place's change. Changes are those of lambda, changed over original less 1 (the same as those
   of the air-fuel ratio as long as the fuel is the same): positive is leaner. */
typedef struct lw_effect {
  lw_place place;
  size_t points; /* compared; 0: none lay here */
  size_t dry;    /* not among those: fuel flows in the original, none when changed */
  double mean, worst;
  double speed, throttle, afr, afr_changed; /* at the worst */
  const char *words;                        /* "leans cruise by 4.1 % ..."; NULL: no point at all */
} lw_effect;

typedef struct lw_comparison {
  const lw_map *original, *changed;
  lw_effect effects[LW_PLACES];
  size_t lost;         /* points that did not converge in one of the two */
  size_t dry;          /* points without fuel when changed; with fuel in the original */
  double worst;        /* the change furthest from none */
  const char *summary; /* one sentence */
} lw_comparison;

/* The change of one point; NaN where one of the two has no mixture. */
double lw_change(const lw_map_point *original, const lw_map_point *changed);
/* The change between two maps of the same shape, ambient (Pa) being the original's. idle: rad/s of
   the idle speed; NaN: the lowest speed counts as idle. */
lw_status lw_compare(lw_arena *arena, const lw_map *original, const lw_map *changed, double idle,
                     double ambient, lw_comparison **comparison, lw_error *error) LW_MUST_USE;

/* ---- Sizes from targets ---------------------------------------------------------------------- */

/* An air-fuel ratio the unit shall give. */
typedef struct lw_target {
  const char *name; /* "idle", "off idle", "cruise", "full throttle" */
  double speed;     /* rad/s */
  double vacuum;    /* Pa of manifold vacuum; NaN: throttle wide open */
  double afr, weight;
  double met; /* what the completed unit gives */
} lw_target;

typedef struct lw_inferred_size {
  bool secondary;
  const char *key; /* "main jet" */
  double value;    /* m, not rounded to a drill */
  bool at_bound;   /* the targets asked for more than is plausible */
} lw_inferred_size;

typedef struct lw_completed {
  lw_card *card; /* with every size a builder needs */
  const lw_inferred_size *sizes;
  size_t size_count, at_bound;
  const lw_target *targets;
  size_t target_count;
  double worst; /* largest |met/afr - 1| */
  int runs;     /* networks that were tried */
} lw_completed;

/* Fill the sizes a card lacks (jets, bleeds, feeds, port, slot; venturi and bore by rule of thumb)
   so that the unit meets its targets, by least squares on the twin, held to what is usual where
   targets do not tell. targets NULL: idle as the card says or 14.0, off idle 14.5 to 15, cruise
   15.5, full throttle 12.7. Sizes the card gives are kept. A card that lacks nothing is a result
   without sizes. LW_NO_CONVERGENCE says which target could not be reached at all. */
lw_status lw_card_complete(lw_arena *arena, const lw_card *card, const lw_target *targets,
                           size_t count, lw_completed **out, lw_error *error) LW_MUST_USE;

#endif
