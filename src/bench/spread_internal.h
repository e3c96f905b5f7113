/* spread_internal.h - what the files of the tolerance study share. Private to this floor. */
#ifndef LW_SPREAD_INTERNAL_H
#define LW_SPREAD_INTERNAL_H

#include "bench_internal.h"
#include "leanward/spread.h"

enum { SPREAD_PARTS = 400, SPREAD_SCREWS = 8 };

/* One dimension with a draw of its own. */
typedef struct lw_spread_part {
  size_t dim; /* which of dims */
  int at;     /* passage, barrel, node or screw it is of; ADVANCE: 0 centrifugal, 1 vacuum */
  double half;
} lw_spread_part;

/* A mixture screw that turns. */
typedef struct lw_spread_screw {
  const lw_screw_card *card;
  int passages[SPREAD_SCREWS];
  size_t passage_count;
  double preset;
} lw_spread_screw;

struct lw_spread {
  const lw_test_car *car;
  lw_spread_ask ask;
  lw_spread_dim dims[LW_VARIES];
  size_t dim_count;
  lw_spread_part parts[SPREAD_PARTS];
  size_t part_count;
  lw_spread_screw screws[SPREAD_SCREWS];
  size_t screw_count;
  double lo, hi; /* turns all screws can stand at */
  int sense;     /* +1: out richens, -1: out leans */
  /* the nominal unit, from which every run starts */
  lw_spread_unit nominal;
  lw_state idle_state, set_state;
  double idle_speed, by_speed; /* rad/s; torque left over for each rad/s there */
  double set_stop, by_stop;    /* rad; torque left over for each rad there */
  double set_turns, by_turns;  /* turns; richness for each turn there */
  lw_spread_unit *runs;        /* units, then ranked for each dim */
};

/* The dimensions this car has, with their parts. LW_TOO_LARGE: more than there is room for. */
lw_status lw_spread_plan(lw_spread *s, lw_error *error) LW_MUST_USE;

/* What a unit is while it is run: its own network and engine. */
typedef struct lw_virtual {
  const lw_spread *s;
  lw_net net;
  lw_engine engine;
  double seated[SPREAD_SCREWS]; /* turns that each screw's count is off */
  double preset[SPREAD_SCREWS]; /* turns it was assembled at */
  double hand, meter, tachometer;
  double stop;  /* rad over shut, as assembled */
  double turns; /* where the screws stand (the first one's, as assembled) */
  lw_state state;
  lw_running run; /* last solved */
  double left;    /* torque left over there */
} lw_virtual;

/* Make the unit whose dimensions lie at z (one for each part, -1..1) in their tolerances. */
void lw_virtual_make(const lw_spread *s, const double *z, lw_virtual *v);
/* Idle it as assembled, set it, and look. */
void lw_virtual_run(lw_virtual *v, lw_spread_unit *out);
/* Run the nominal unit and keep what every other starts from. False: it does not run. */
bool lw_spread_nominal(lw_spread *s, lw_virtual *v);

#endif
