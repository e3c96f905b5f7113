/* bench_internal.h - what the files of the bench share. Private to this floor. */
#ifndef LW_BENCH_INTERNAL_H
#define LW_BENCH_INTERNAL_H

#include "leanward/bench.h"

/* One edit while it is done: NAME=VALUE taken apart, and what it works on. */
typedef struct lw_edit {
  lw_arena *arena;
  lw_units *units;
  lw_error *error;
  lw_card *card;  /* a copy that may be changed */
  lw_twin *twin;  /* its altered, ambient and temperature may be changed */
  double *stop;   /* rad of the idle stop over shut */
  char text[200]; /* as written, for errors */
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

/* A screw of the card by what a person calls it; NULL: there is none. */
lw_screw_card *lw_edit_find_screw(const lw_card *card, const char *name);
/* True for what names any screw ("mixture screw") or all of them ("screws"). */
bool lw_edit_screw_word(const char *name);
/* "left screw": what a screw of the card is called in an edit. Returns buffer. */
const char *lw_edit_screw_name(char *buffer, size_t size, const lw_screw_card *screw);

/* The passages that a size of the card meters, as their names begin, parted by '|'; NULL for what
   is no single passage. name: which of lw_what_ifs. */
const char *lw_size_passages(size_t name);

/* Put twin->altered and its temperature in force in a network that was just built from its card. */
lw_status lw_twin_alter(lw_twin *twin, lw_error *error) LW_MUST_USE;

#endif
