/* practice_internal.h - what the parts of an exercise share. Private to this floor. */
#ifndef LW_PRACTICE_INTERNAL_H
#define LW_PRACTICE_INTERNAL_H

#include "causes_internal.h"

#include "leanward/practice.h"

enum { EDITS_MOST = LW_SIGHT_SCREWS + LW_HOSES + 4, EDIT_SIZE = 96 };

/* Where everything stands that hands can move. */
typedef struct bay {
  double turns[LW_SIGHT_SCREWS]; /* out from lightly seated */
  double stop;                   /* turns in since it came */
  bool plugged[LW_HOSES];
  bool repaired;
} bay;

struct lw_practice {
  const lw_test_car *from;
  lw_practice_car *car;
  lw_fault fault;
  uint64_t seed;
  lw_goal goal;
  const lw_screw_card *screws[LW_SIGHT_SCREWS];
  size_t screw_count;
  bay bay, found_bay; /* now; when the cause was found */
  lw_practice_state where;
  lw_act *acts;
  size_t count, room;
  double minutes;
  double unsettled; /* s */
  double blip;      /* s left of it */
  bool drive;
  int wrong;
};

/* A number in 0..1 of a seed and a place. */
double lw_practice_lot(uint64_t seed, uint64_t place);
/* The what-ifs that make this bay of the sound car. texts: EDITS_MOST of EDIT_SIZE. */
size_t lw_practice_edits(const lw_practice *p, const bay *b, char texts[][EDIT_SIZE],
                         const char **edits);
size_t lw_practice_find_screws(const lw_card *card, const lw_screw_card **screws);
double lw_practice_lowest(const lw_screw_card *screw);
double lw_practice_highest(const lw_screw_card *screw);
double lw_practice_preset(const lw_screw_card *screw);

/* What a steady look at the engine shows. */
typedef struct lw_symptoms {
  bool runs;
  double speed, vacuum, co, co2, o2, hc, misfire, throttle;
} lw_symptoms;
/* Idling in this gear on its stop, or held at a speed (NaN: idle). */
lw_symptoms lw_practice_symptoms(const lw_test_car *car, double gain, double speed,
                                 lw_gear_load gear);
/* As the instruments of a shop would write it down. */
void lw_practice_sight(const lw_practice *p, const bay *b, const lw_symptoms *s, lw_sight *sight);
void lw_practice_uncertain(lw_sight *sight);

/* The answer of a check on this fault, and in words. */
size_t lw_practice_answer(const lw_fault *fault, const lw_next_test *check, double lot);
const char *lw_practice_seen(const lw_fault *fault, size_t check, size_t answer, char *buffer,
                             size_t size);

#endif
