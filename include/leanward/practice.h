/* leanward/practice.h - an exercise: a practice car with something wrong, hands that work on it and
** the minutes they take, and at the end a review.
**
**   lw_fault_draw(units, car, cause, seed, &fault, &error)    what is wrong
**   lw_practice_new(units, car, &fault, seed, &practice, &error)
**   lw_practice_tick(practice, dt)                            ten times a second
**   lw_practice_do(practice, units, &act, &error)             each move of the learner
**   lw_practice_end(practice)
**   lw_practice_review(arena, units, practice, &review, &error)
**
** The car runs in real time (practice_car.h). A screw turned, a hose plugged, a foot on the pedal
** changes what its needles show; a check with a plain answer (causes.h: lw_plain_tests) is answered as
** such checks are: mostly right. The clock counts what hands do, not what a head thinks. Naming the
** right cause repairs it; the idle may then be set. The review says what was wrong, what each
** reading and check told, and what the same search would have taken done by the causes engine
** and the idle guide.
**
** Units    SI; turns counted counter-clockwise as seen where they are a move, out from lightly
**          seated where they are a place.
** Errors   LW_BAD_INPUT for a move that cannot be made: nothing has happened then.
** Memory   lw_practice_new allocates (under 200 kB with its car), lw_practice_free frees. At most
**          LW_ACTS_MOST moves are kept; then LW_TOO_LARGE. Reviews lie in the caller's arena.
** Threads  one practice belongs to one thread at a time; one lw_units for each thread.
** Repeats  the same seeds and calls give the same car, answers and review.
** Source   minutes, complaints and answers' words are ours; how often a check is right: causes.h.
*/
#ifndef LEANWARD_PRACTICE_H
#define LEANWARD_PRACTICE_H

#include "leanward/causes.h"
#include "leanward/guide.h"
#include "leanward/practice_car.h"

/* ---- What is wrong -------------------------------------------------------------------------- */

#define LW_HOSE_LIST(X)                                                                            \
  X(LW_HOSE_ADVANCE, "vacuum advance hose")                                                        \
  X(LW_HOSE_BOOSTER, "brake booster hose")                                                         \
  X(LW_HOSE_CRANKCASE, "crankcase vent hose")
typedef enum lw_hose_id {
#define LW_HOSE_ENUM(id, name) id,
  LW_HOSE_LIST(LW_HOSE_ENUM)
#undef LW_HOSE_ENUM
      LW_HOSES
} lw_hose_id;
const char *lw_hose_text(lw_hose_id hose);

typedef struct lw_fault {
  lw_cause_id id;
  double size;       /* in the unit of its what-if; 0: none */
  int cylinder;      /* from 1; 0: none in particular */
  int hose;          /* that leaks; -1: none */
  double gain;       /* of the analyzer: 1 right */
  char edits[2][64]; /* what-ifs that make it */
  size_t edit_count;
  double turned[LW_SIGHT_SCREWS]; /* turns out each mixture screw is off */
  char name[96];                  /* "vacuum leak into all cylinders, 2.7 mm, brake booster hose" */
  bool stumbles;                  /* what the customer says is of opening the throttle */
  char complaint[120];            /* what the customer says; gives nothing away */
} lw_fault;

/* A fault this car can have and that its needles show. cause: LW_CAUSES for any, drawn as often as
   it is met; LW_CAUSE_NONE: a sound car. LW_BAD_INPUT when this car cannot have it, or it would
   not show. Takes some hundredths of a second. */
lw_status lw_fault_draw(lw_units *units, const lw_test_car *car, lw_cause_id cause, uint64_t seed,
                        lw_fault *fault, lw_error *error) LW_MUST_USE;
/* Whether the cause may be asked for and named at all. */
bool lw_fault_may(lw_cause_id cause);

/* ---- The exercise --------------------------------------------------------------------------- */

typedef struct lw_practice lw_practice;

/* car: sound, as on its card; it must outlive the practice. */
lw_status lw_practice_new(lw_units *units, const lw_test_car *car, const lw_fault *fault,
                          uint64_t seed, lw_practice **out, lw_error *error) LW_MUST_USE;
void lw_practice_free(lw_practice *practice); /* NULL is allowed */

typedef enum lw_practice_state {
  LW_PRACTICE_SEEKING, /* something is wrong, not found yet */
  LW_PRACTICE_FOUND,   /* named and repaired; the idle may be set */
  LW_PRACTICE_OVER     /* ended: nothing more is done */
} lw_practice_state;
lw_practice_state lw_practice_where(const lw_practice *practice);

/* On by dt seconds. A tenth of a second is usual. */
void lw_practice_tick(lw_practice *practice, double dt);
lw_needles lw_practice_needles(const lw_practice *practice);
/* Seconds until a reading taken now would count as settled; 0: it has. */
double lw_practice_unsettled(const lw_practice *practice);

/* ---- Moves ---------------------------------------------------------------------------------- */

#define LW_ACT_LIST(X)                                                                             \
  X(LW_ACT_TURN, "turn")   /* which: a screw; amount: turns, + counter-clockwise */                \
  X(LW_ACT_PEDAL, "pedal") /* amount: share */                                                     \
  X(LW_ACT_HOLD, "hold")   /* amount: rad/s */                                                     \
  X(LW_ACT_BLIP, "blip")   /* floored for three tenths of a second */                              \
  X(LW_ACT_HOSE, "hose")   /* which: a hose; amount: 1 plugged, 0 on again */                      \
  X(LW_ACT_GEAR, "gear")   /* amount: 1 drive with the brake held, 0 neutral */                    \
  X(LW_ACT_START, "start")                                                                         \
  X(LW_ACT_STOP, "stop")                                                                           \
  X(LW_ACT_WAIT, "wait")   /* half a minute passes at once */                                      \
  X(LW_ACT_READ, "read")   /* the needles are written down */                                      \
  X(LW_ACT_CHECK, "check") /* which: of lw_plain_tests */                                          \
  X(LW_ACT_NAME, "name")   /* which: a cause */
typedef enum lw_act_kind {
#define LW_ACT_ENUM(id, name) id,
  LW_ACT_LIST(LW_ACT_ENUM)
#undef LW_ACT_ENUM
      LW_ACTS
} lw_act_kind;
const char *lw_act_text(lw_act_kind kind);

enum { LW_ACTS_MOST = 400, LW_ACT_WORDS = 160 };

typedef struct lw_act {
  lw_act_kind kind;
  int which;
  double amount;
  /* filled in by lw_practice_do */
  double minutes;   /* it took */
  double done;      /* TURN: what it came to; a stop ends a turn */
  size_t answer;    /* CHECK: as in lw_test_likelihood */
  bool right;       /* NAME; READ: it had settled */
  bool seeking;     /* made before the cause was found */
  unsigned plugged; /* READ: bit of each hose that was plugged */
  lw_sight sight;   /* READ */
} lw_act;

/* Make a move. *act comes back as it was done. */
lw_status lw_practice_do(lw_practice *practice, lw_units *units, lw_act *act,
                         lw_error *error) LW_MUST_USE;
const lw_act *lw_practice_acts(const lw_practice *practice, size_t *count);
double lw_practice_minutes(const lw_practice *practice);
/* "left screw: 1/8 turn clockwise", "compression of all cylinders: cylinder 3 is low". Returns
   buffer. */
const char *lw_practice_words(const lw_practice *practice, const lw_act *act, char *buffer,
                              size_t size);
/* How many causes were named that it was not. */
int lw_practice_wrong(const lw_practice *practice);

/* ---- What lies before the learner ------------------------------------------------------------ */

typedef struct lw_practice_screw {
  char name[48];      /* "left screw", "speed screw" */
  lw_screw_kind kind; /* LW_SCREW_UNSAID: the speed screw */
  double turns;       /* out from lightly seated; the speed screw: turns in since it came */
  double lo, hi;      /* stops, or the ends of what a screw has */
} lw_practice_screw;
/* At most LW_SIGHT_SCREWS + 1; the speed screw comes last. */
size_t lw_practice_screws(const lw_practice *practice, lw_practice_screw *screws);
bool lw_practice_plugged(const lw_practice *practice, lw_hose_id hose);
bool lw_practice_has_hose(const lw_practice *practice, lw_hose_id hose);
bool lw_practice_in_drive(const lw_practice *practice);
bool lw_practice_automatic(const lw_practice *practice);
const char *lw_practice_complaint(const lw_practice *practice);
lw_goal lw_practice_goal(const lw_practice *practice);
const lw_card *lw_practice_card(const lw_practice *practice);

/* ---- The review ----------------------------------------------------------------------------- */

void lw_practice_end(lw_practice *practice);

typedef struct lw_review_step {
  const char *what; /* "idle", "compression of all cylinders" */
  double minutes;
  const char *words;    /* what it showed and what that told */
  double before, after; /* probability of the cause; NaN: not weighed */
} lw_review_step;

typedef struct lw_review {
  const char *fault, *remedy;
  bool found;
  int wrong;                       /* causes named before that were not it */
  double minutes, minutes_seeking; /* in all; until it was found */
  size_t moves_seeking;            /* hands' moves until then */
  const lw_review_step *steps;     /* readings and checks, in their order */
  size_t step_count;
  const char *would; /* what the causes engine makes of the learner's readings and checks */
  /* the same search by the causes engine: readings and checks with the answers usual for it */
  const lw_review_step *fewest;
  size_t fewest_count;
  double fewest_minutes;
  bool fewest_finds;       /* it ends with the right cause first */
  const char *fewest_says; /* in a sentence */
  /* the idle as it was left */
  bool within;         /* speed, CO and HC where the card wants them, by their true values */
  const char *set;     /* in a sentence */
  size_t turns_made;   /* moves at screws, the whole exercise */
  size_t turns_fewest; /* times the guide would have had the screws turned, from where they stood
                          when the cause was found; SIZE_MAX: it says it cannot be set */
} lw_review;

/* LW_BAD_INPUT before the end. Takes one to a few causes' weighings (tenths of a second to some
   seconds). Reads only. */
lw_status lw_practice_review(lw_arena *arena, lw_units *units, const lw_practice *practice,
                             lw_review **out, lw_error *error) LW_MUST_USE;

#endif
