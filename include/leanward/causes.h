/* leanward/causes.h - what is wrong: causes weighed by how well each explains what was read.
**
** Every cause is tried on the twin of this car, in several sizes; each gets the probability of all
** readings under it (fit.h) times how often it is met (its prior). "Nothing wrong" and "something
** that is not in the list" are always among them. What no gas can tell (compression, leak test,
** timing light, needle) weighs in by how likely each finding is under each cause.
**
** Units    SI; probabilities 0..1.
** Errors   LW_BAD_INPUT without a card that can be run, or without a single reading to weigh.
** Memory   texts and lists lie in the caller's arena.
** Threads  pure functions; one lw_units for each thread.
** Source   Bayes' theorem; priors, sizes and findings are ours: docs/causes.md lists them.
*/
#ifndef LEANWARD_CAUSES_H
#define LEANWARD_CAUSES_H

#include "leanward/fit.h"
#include "leanward/service.h"
#include "leanward/snap.h"

/* ---- The causes ------------------------------------------------------------------------------ */

#define LW_CAUSE_LIST(X)                                                                           \
  X(LW_CAUSE_NONE, "nothing wrong")                                                                \
  X(LW_CAUSE_SCREWS, "idle mixture mis-set")                                                       \
  X(LW_CAUSE_UNBALANCED, "mixture screws unbalanced")                                              \
  X(LW_CAUSE_VACUUM_LEAK, "vacuum leak into all cylinders")                                        \
  X(LW_CAUSE_PORT_LEAK, "vacuum leak at one cylinder")                                             \
  X(LW_CAUSE_POWER_LEAK, "power valve leaking or open")                                            \
  X(LW_CAUSE_POWER_SHUT, "power valve stuck shut")                                                 \
  X(LW_CAUSE_FLOAT_HIGH, "fuel level high")                                                        \
  X(LW_CAUSE_FLOAT_LOW, "fuel level low")                                                          \
  X(LW_CAUSE_IDLE_FEED, "idle feed clogged")                                                       \
  X(LW_CAUSE_IDLE_BLEED, "idle air bleed clogged")                                                 \
  X(LW_CAUSE_MAIN_RICH, "main jet worn")                                                           \
  X(LW_CAUSE_MAIN_LEAN, "main jet clogged")                                                        \
  X(LW_CAUSE_MAIN_BLEED, "main air bleed clogged")                                                 \
  X(LW_CAUSE_SHAFT, "throttle shaft worn")                                                         \
  X(LW_CAUSE_CHOKE, "choke not fully open")                                                        \
  X(LW_CAUSE_CLEANER, "air cleaner clogged")                                                       \
  X(LW_CAUSE_SECONDARY, "secondary plates not shut")                                               \
  X(LW_CAUSE_CHECK_VALVE, "off-idle check valve stuck open")                                       \
  X(LW_CAUSE_TIMING_LATE, "timing late")                                                           \
  X(LW_CAUSE_TIMING_EARLY, "timing early")                                                         \
  X(LW_CAUSE_ADVANCE, "advance stuck")                                                             \
  X(LW_CAUSE_VALVE_SET, "advance control valve or dashpot mis-set")                                \
  X(LW_CAUSE_PUMP, "accelerator pump weak")                                                        \
  X(LW_CAUSE_AIR_VALVE, "air valve spring mis-set")                                                \
  X(LW_CAUSE_UNIT, "wrong unit fitted")                                                            \
  X(LW_CAUSE_WEAK, "one cylinder weak")                                                            \
  X(LW_CAUSE_MISFIRE, "one cylinder misfiring")                                                    \
  X(LW_CAUSE_SAMPLE_AIR, "exhaust leak, or the probe takes in air")                                \
  X(LW_CAUSE_ANALYZER, "analyzer out of calibration")                                              \
  X(LW_CAUSE_FUEL, "fuel with alcohol")                                                            \
  X(LW_CAUSE_OTHER, "something that is not in the list")
typedef enum lw_cause_id {
#define LW_CAUSE_ENUM(id, name) id,
  LW_CAUSE_LIST(LW_CAUSE_ENUM)
#undef LW_CAUSE_ENUM
      LW_CAUSES
} lw_cause_id;
const char *lw_cause_text(lw_cause_id cause);

/* What to do about it, in words. */
const char *lw_cause_remedy(lw_cause_id cause);
/* The reading that would show it, where others do not: "a snap from idle". Common practice and the
   twin's own behavior; no source. */
const char *lw_cause_shown_by(lw_cause_id cause);

/* ---- Findings beside the gases ------------------------------------------------------------- */

typedef struct lw_findings {
  double timing;          /* rad: initial timing with the hose plugged; NaN: not taken */
  double weakest;         /* compression of the weakest cylinder over the median; NaN */
  int weakest_cylinder;   /* from 1; 0: not known */
  lw_leak_test leak_test; /* spray or propane around the manifold */
  lw_choke_state choke;   /* as looked at */
  lw_needle needle;       /* of the vacuum gauge at idle */
  double fall_time;       /* s, distributor vacuum after the throttle is let go; NaN */
  double fuel_high;       /* m the fuel stands over the card's level; NaN: not measured */
  lw_fit advance;         /* whether the centrifugal advance was right */
  lw_pump_shot shot;      /* the accelerator pump's, as looked at */
  double air_valve;       /* turns of its spring over the card's; NaN: not counted */
  double left_alone; /* probability that nobody has turned screws since the idle was set; NaN */
} lw_findings;
lw_findings lw_findings_none(void);

/* ---- The answer ----------------------------------------------------------------------------- */

typedef struct lw_evidence {
  const char *reading;               /* "CO at idle" */
  const char *read, *healthy, *with; /* in words, with units */
  double tells; /* how strongly it speaks for the cause against a sound car, natural log */
} lw_evidence;

typedef struct lw_cause {
  lw_cause_id id, second; /* second: LW_CAUSE_NONE for a single cause */
  const char *name;       /* "vacuum leak into all cylinders, about 2 mm" */
  const char *where;      /* "left side", "cylinder 3"; NULL */
  double probability;
  double size;          /* most likely, in the unit of its what-if; NaN: none */
  const char *edits[4]; /* what-ifs that make it on the twin */
  size_t edit_count;
  const lw_evidence *evidence; /* strongest first */
  size_t evidence_count;
  /* No reading alone speaks for it, only all of them and how often it is met: evidence holds the
     one or two readings in which it differs most from a sound car, in spreads of such cars. */
  bool together;
} lw_cause;

/* A test that would tell more: a check with a plain answer, or one more reading. */
enum { LW_TEST_FINDS = 4 };
typedef struct lw_next_test {
  const char *name, *how; /* "gases at 2,500 rpm", what to do */
  double minutes;
  double gain;          /* expected, natural log units */
  const char *outcomes; /* what each outcome would mean */
  size_t find_count;    /* 0: a reading, to be weighed with the others */
  struct {
    lw_cause_id id;
    double often; /* how often the check finds this cause when it is there */
  } finds[LW_TEST_FINDS];
  double falsely;   /* how often it finds something that is not there */
  bool tells_which; /* the answer says which of finds; else only that there is something */
} lw_next_test;

/* Probability that a check ends so under a cause. answer: which of finds (0 when it does not tell
   which); find_count: it finds nothing. */
double lw_test_likelihood(const lw_next_test *test, size_t answer, lw_cause_id cause);
/* All checks with a plain answer there are; gain is 0 in each. */
const lw_next_test *lw_plain_tests(size_t *count);
/* What a check is expected to tell (natural log units) when causes have these probabilities, by
   lw_cause_id, adding to 1. */
double lw_check_gain(const lw_next_test *check, const double *by_id);
/* Its gain against its minutes: tests are proposed by this. */
double lw_test_worth(const lw_next_test *test);

typedef struct lw_diagnosis lw_diagnosis;

/* What a job told: its readings as sights and snaps, its checks as findings. */
enum { LW_LEFT_OUT_MOST = 16 };
typedef struct lw_told {
  lw_sight sights[LW_SIGHTS_MOST];
  size_t count;
  lw_snap snaps[LW_SNAPS_MOST];
  size_t snap_count;
  lw_findings findings;
  /* This engine with the unit made for the other transmission, which may be on it when nobody has
     read the number; NULL: its card is not known, or the number was read. */
  const lw_test_car *other;
  const char *other_name;
  bool not_its_unit; /* known: the car that is weighed has a unit of another car */
  const char *left_out[LW_LEFT_OUT_MOST]; /* "hunting: had not settled" */
  size_t left_out_count;
} lw_told;

struct lw_diagnosis {
  const lw_cause *causes; /* most likely first, down to 0.5 % */
  size_t cause_count;
  double by_id[LW_CAUSES];   /* probability that this cause is among what is wrong */
  const lw_next_test *tests; /* most telling for their effort first */
  size_t test_count;
  const char *summary;    /* one sentence */
  bool tie;               /* the readings do not tell the first causes apart */
  bool found;             /* something is wrong, more likely than not */
  bool unseen[LW_CAUSES]; /* these readings would not show it: not weighed */
  bool open[LW_UNKNOWNS]; /* what differs from car to car and these readings say nothing of */
  int runs;               /* cars tried */
  const char *unit;       /* the unit does not belong on this car: why; NULL: it does, or unknown */
  const lw_told *told;    /* lw_causes_of: what was weighed and left out; else NULL */
};

/* Weigh all causes. At least one sight. told: stays with the caller; left_out is not looked at. */
lw_status lw_causes_weigh(lw_arena *arena, lw_units *units, const lw_test_car *car,
                          const lw_told *told, lw_diagnosis **out, lw_error *error) LW_MUST_USE;
/* The same of sights and findings (NULL: none) alone. */
lw_status lw_causes_find(lw_arena *arena, lw_units *units, const lw_test_car *car,
                         const lw_sight *sights, size_t count, const lw_findings *findings,
                         lw_diagnosis **out, lw_error *error) LW_MUST_USE;

/* Sights, snaps and findings of a job's readings and checks. Readings that had not settled or are void are
   left out; of too many, the first and the newest are kept. Texts in arena. */
void lw_sights_from(lw_arena *arena, const lw_work *work, lw_told *told);

/* Weigh the causes of a job: its card's car in its weather, on its fuel; the fitted unit's card
   when that is another one. other: card of the unit for the other transmission (NULL: not known);
   of use when the job does not say which unit is fitted. LW_BAD_INPUT, in words, when there is no
   card that can be run. */
lw_status lw_causes_of(lw_arena *arena, lw_units *units, const lw_work *work, const lw_card *other,
                       lw_diagnosis **out, lw_error *error) LW_MUST_USE;
/* Whether that adds something to a worked job: outside its limits, not fit, no setting in reach,
   or a snap that was felt. */
bool lw_causes_worth(const lw_work *work);

#endif
