/* bench_internal.h - what the files of the bench share. Private to this floor. */
#ifndef LW_BENCH_INTERNAL_H
#define LW_BENCH_INTERNAL_H

#include "leanward/bench.h"
#include "leanward/car.h"

/* One edit while it is done: NAME=VALUE taken apart, and what it works on. */
typedef struct lw_edit {
  lw_arena *arena;
  lw_units *units;
  lw_error *error;
  lw_card *card;    /* a copy that may be changed */
  lw_twin *twin;    /* its altered, ambient and temperature may be changed */
  double *stop;     /* rad of the idle stop over shut */
  lw_test_car *car; /* a copy whose engine and surroundings may be changed; NULL: the twin alone */
  char text[200];   /* as written, for errors */
  char name[64];
  char value[120]; /* all of it, and what follows its sign */
  const char *magnitude;
  int sign; /* -1, 0, +1 */
  bool secondary;
  int side;   /* 0: both, 1: left, 2: right */
  size_t row; /* which of lw_what_ifs */
} lw_edit;

/* A refusal that names the edit. */
lw_status lw_edit_refuse(const lw_edit *e, const char *format, ...) LW_PRINTF(2, 3);
/* The value in this dimension: new, or a change of now (NaN: nothing to change), held to lo..hi. */
lw_status lw_edit_value(const lw_edit *e, lw_dim dim, double now, double lo, double hi,
                        double *value) LW_MUST_USE;
/* "worn 5 %", "clogged 50 %", "50 %": the share behind the word (NULL: none), 0..1. False: not of
   this shape. */
bool lw_edit_share(const lw_edit *e, const char *word, double *share);

/* ---- The edits: edit_size.c, edit_other.c ---- */
lw_status lw_edit_size(lw_edit *e);
lw_status lw_edit_rod(lw_edit *e);
lw_status lw_edit_engine(lw_edit *e);
lw_status lw_edit_power_vacuum(lw_edit *e);
lw_status lw_edit_air_valve(lw_edit *e);
lw_status lw_edit_float(lw_edit *e);
lw_status lw_edit_screw(lw_edit *e);
lw_status lw_edit_stop(lw_edit *e);
lw_status lw_edit_choke(lw_edit *e);
lw_status lw_edit_altitude(lw_edit *e);
lw_status lw_edit_pressure(lw_edit *e);
lw_status lw_edit_temperature(lw_edit *e);
lw_status lw_edit_fuel(lw_edit *e);
lw_status lw_edit_vent(lw_edit *e);
lw_status lw_edit_hole(lw_edit *e);
lw_status lw_edit_power_valve(lw_edit *e);
lw_status lw_edit_cleaner(lw_edit *e);
lw_status lw_edit_check_valve(lw_edit *e);
lw_status lw_edit_secondary(lw_edit *e);
/* Of the engine: edit_engine.c. Refused without a car. */
lw_status lw_edit_timing(lw_edit *e);
lw_status lw_edit_advance(lw_edit *e);
lw_status lw_edit_vacuum_advance(lw_edit *e);
lw_status lw_edit_cylinder(lw_edit *e);
lw_status lw_edit_leak_at(lw_edit *e);
lw_status lw_edit_exhaust_leak(lw_edit *e);
lw_status lw_edit_coolant(lw_edit *e);
lw_status lw_edit_humidity(lw_edit *e);
lw_status lw_edit_pump(lw_edit *e);
lw_status lw_edit_dashpot(lw_edit *e);
lw_status lw_edit_release(lw_edit *e);
lw_status lw_edit_choke_heat(lw_edit *e);

/* lw_what_if with a car whose engine and surroundings are changed too (NULL: no car). */
lw_status lw_what_if_car(lw_arena *arena, lw_units *units, const lw_twin *from,
                         const char *const *edits, size_t count, lw_test_car *car,
                         lw_twin **changed, lw_error *error) LW_MUST_USE;
/* What a turn of the speed screw moves the plate, rad. */
extern const double lw_stop_per_turn;
/* Turns at which a screw of a card stands. */
double lw_edit_screw_now(const lw_screw_card *screw);

/* A screw of the card by what a person calls it; NULL: there is none. */
lw_screw_card *lw_edit_find_screw(const lw_card *card, const char *name);
/* True for what names any screw ("mixture screw") or all of them ("screws"). */
bool lw_edit_screw_word(const char *name);
/* "left screw": what a screw of the card is called in an edit. Returns buffer. */
const char *lw_edit_screw_name(char *buffer, size_t size, const lw_screw_card *screw);

/* The passages that a size of the card meters, as their names begin, parted by '|'; NULL for what
   is no single passage. name: which of lw_what_ifs. */
const char *lw_size_passages(size_t name);

/* What could not be made of metal, in words; NULL: nothing. */
const char *lw_card_impossible(const lw_card *card);

/* Where on the range a point of the original lies: speed of its idle (rad/s), its air outside. */
lw_place lw_place_of(const lw_map_point *p, double idle, double ambient);

/* Put twin->altered and its temperature in force in a network that was just built from its card. */
lw_status lw_twin_alter(lw_twin *twin, lw_error *error) LW_MUST_USE;

#endif
