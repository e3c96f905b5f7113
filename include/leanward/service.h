/* leanward/service.h - the specialist's judgement: does this unit belong here, is the engine fit
** to be adjusted, is the exhaust inside its limits, which screw goes which way.
**
** Everything is worked from the job and its cards; nothing is read or written. Each answer carries
** its reason in words, and what is not known is an answer too.
**
** Units    SI; texts are in shop units with metric in brackets.
** Errors   LW_NO_MEMORY; LW_BAD_INPUT where a job and its card do not go together (lw_job_work).
** Memory   texts and lists live in the arena given to lw_job_work.
** Threads  pure functions.
** Source   rules of the trade stand in docs/service.md; each says 'common practice' or its source.
*/
#ifndef LEANWARD_SERVICE_H
#define LEANWARD_SERVICE_H

#include "leanward/card.h"
#include "leanward/exhaust.h"

/* ---- Intake: does the fitted unit belong on this car? --------------------------------------- */

typedef enum lw_belongs { LW_BELONGS_UNKNOWN, LW_BELONGS, LW_BELONGS_NOT } lw_belongs;

typedef struct lw_difference {
  const char *what;     /* "transmission", "idle mixture screw" */
  const char *expected; /* as the card of this car says */
  const char *fitted;   /* as the fitted unit's card says */
  const char *why;      /* what it does when the unit is fitted all the same; may be NULL */
} lw_difference;

typedef struct lw_intake {
  lw_belongs answer;
  const char *summary;
  const lw_difference *differences;
  size_t difference_count;
} lw_intake;

/* ---- Fit to adjust -------------------------------------------------------------------------- */

typedef enum lw_fit { LW_FIT_UNKNOWN, LW_FIT, LW_NOT_FIT } lw_fit;

/* In the order of work: what makes the later checks meaningless comes first. */
#define LW_CHECK_LIST(X)                                                                           \
  X(LW_CHECK_WARM, "engine warm")                                                                  \
  X(LW_CHECK_CHOKE, "choke open")                                                                  \
  X(LW_CHECK_AIR_CLEANER, "air cleaner on")                                                        \
  X(LW_CHECK_ACCESSORIES, "accessories and gear")                                                  \
  X(LW_CHECK_COMPRESSION, "compression")                                                           \
  X(LW_CHECK_LEAKAGE, "cylinder leakage")                                                          \
  X(LW_CHECK_DWELL, "dwell or point gap")                                                          \
  X(LW_CHECK_TIMING, "initial timing")                                                             \
  X(LW_CHECK_CENTRIFUGAL, "centrifugal advance")                                                   \
  X(LW_CHECK_VACUUM_ADVANCE, "vacuum advance")                                                     \
  X(LW_CHECK_AIR_LEAK, "air leaks")                                                                \
  X(LW_CHECK_VACUUM, "manifold vacuum")                                                            \
  X(LW_CHECK_NEEDLE, "vacuum needle")                                                              \
  X(LW_CHECK_FUEL_LEVEL, "fuel level")                                                             \
  X(LW_CHECK_DASHPOT, "dashpot and solenoid")                                                      \
  X(LW_CHECK_FALL_TIME, "advance vacuum fall")                                                     \
  X(LW_CHECK_PUMP, "accelerator pump")                                                             \
  X(LW_CHECK_AIR_VALVE, "air valve spring")

typedef enum lw_check_id {
#define LW_CHECK_ENUM(id, name) id,
  LW_CHECK_LIST(LW_CHECK_ENUM)
#undef LW_CHECK_ENUM
      LW_CHECK_COUNT
} lw_check_id;

typedef struct lw_check {
  lw_check_id id;
  const char *name;
  lw_fit answer;
  bool essential;       /* the idle may not be set while this is not fit */
  const char *found;    /* "128, 131, 126, 130 psi"; NULL when nothing was read */
  const char *expected; /* "120 to 150 psi, ..."; NULL when there is nothing to go by */
  const char *why;      /* the reason for the answer */
  const char *next;     /* what to do; NULL when nothing */
} lw_check;

typedef struct lw_fitness {
  lw_check checks[LW_CHECK_COUNT]; /* in the order of lw_check_id */
  lw_fit overall;                  /* may the idle be adjusted now? */
  size_t fit, not_fit, unknown;    /* counts */
  const char *summary;
  const char *first; /* what to do first; NULL when nothing */
} lw_fitness;

/* ---- Limits and verdicts -------------------------------------------------------------------- */

typedef enum lw_verdict { LW_NO_VERDICT, LW_WITHIN, LW_OUTSIDE, LW_TOO_CLOSE } lw_verdict;
const char *lw_verdict_text(lw_verdict verdict); /* "within", "outside", "too close to call" */

/* One row of a public set of limits. Sources: see limits.c, each row. */
typedef struct lw_public_limit {
  const char *set;                           /* "european idle" */
  const char *title;                         /* what it is, in a line */
  const char *source;                        /* rule, article, year */
  const char *standing;                      /* "read", "read in a secondary text", "from memory" */
  int year_from, year_to;                    /* model years, inclusive */
  double displacement_over, displacement_to; /* m3; NaN: any */
  lw_gas_name gas;                           /* LW_GAS_UNSAID: lambda */
  lw_condition at;
  lw_range value; /* mole fraction, HC as hexane; or lambda */
} lw_public_limit;

/* The built-in rows, in order of set and year. */
const lw_public_limit *lw_public_limits(size_t *count);
/* The names of all sets, each once; returns how many, fills at most most. */
size_t lw_public_sets(const char **names, size_t most);

/* The share of a normal (x, u) that lies at or under hi and at or over lo; NaN without a value or a
   limit. */
double lw_inside_probability(lw_measure value, lw_range limit);
/* The guard-banded decision (JCGM 106:2012, 8.3): within when the whole band x +- 2u is inside,
   outside when x +- 2u lies wholly beyond a bound, else too close to call. */
lw_verdict lw_judge(lw_measure value, lw_range limit);

typedef struct lw_judgement {
  const char *name;   /* "CO at idle" */
  const char *source; /* of the limit */
  lw_gas_name gas;    /* LW_GAS_UNSAID: lambda */
  lw_condition at;
  lw_range limit;
  size_t reading;   /* index into the job's readings; SIZE_MAX: none fits */
  lw_measure value; /* NaN: not read */
  double inside;    /* probability 0..1 that the true value is inside */
  lw_verdict verdict;
  const char *remark; /* NULL or what limits the verdict */
} lw_judgement;

/* ---- Idle advice ---------------------------------------------------------------------------- */

typedef enum lw_move_kind {
  LW_MOVE_NONE,    /* nothing to turn */
  LW_MOVE_FIRST,   /* something else must be done first */
  LW_MOVE_SPEED,   /* idle speed screw */
  LW_MOVE_MIXTURE, /* a mixture screw, or all of them alike */
  LW_MOVE_SEEK,    /* out of reach of the screws: look for the cause */
  LW_MOVE_BALANCE  /* bring screws that stand apart together: turns is half the gap, each its way */
} lw_move_kind;

typedef struct lw_move {
  lw_move_kind kind;
  const char *screw; /* "left", "both", "idle speed"; NULL when none */
  bool leaner;       /* mixture moves only */
  bool clockwise;
  double turns;      /* > 0 */
  const char *words; /* the whole move in one line, for a person at the car */
  const char *reason;
} lw_move;

typedef struct lw_advice {
  lw_move move;
  const char *target;       /* "CO 1.0 to 2.0 %, 650 rpm" */
  const char *const *steps; /* what follows, in order */
  size_t step_count;
  const char *const *cares; /* stops, sealed parts, screws that break */
  size_t care_count;
} lw_advice;

/* ---- The job, worked ------------------------------------------------------------------------ */

typedef struct lw_reading_work {
  const lw_reading *reading;
  const lw_analyzer *analyzer; /* NULL: none named; class II is assumed */
  bool has_gas;                /* any of CO, CO2, HC, O2, NO read */
  lw_exhaust exhaust;
  lw_condition at; /* as said or worked out */
} lw_reading_work;

typedef struct lw_work {
  const lw_job *job;
  const lw_card *card;   /* of this car; NULL: none given */
  const lw_card *fitted; /* of the unit fitted; NULL: none given */
  lw_fuel fuel;
  double ambient; /* Pa: measured, from altitude, or standard */
  const char *ambient_how;
  lw_intake intake;
  lw_fitness fitness;
  const lw_reading_work *readings; /* as many as the job's readings */
  size_t reading_count;
  size_t found, left; /* indices of the as-found and as-left idle readings; SIZE_MAX: none */
  const lw_judgement *judgements; /* of the newest readings */
  size_t judgement_count;
  const lw_judgement *judgements_found; /* of the as-found readings */
  size_t judgement_found_count;
  lw_verdict verdict; /* overall, newest readings: outside beats too close beats within */
  const char *verdict_words;
  lw_advice advice;
  const struct lw_diagnosis *causes; /* set by who weighs them (causes.h); NULL: not weighed */
  const char *const *cautions;
  size_t caution_count;
  const char *const *gaps; /* what was not given and what that kept from being said */
  size_t gap_count;
} lw_work;

/* Work a job. card: of this car, may be NULL. fitted: of the unit in the car, may be NULL, may be
   the same as card. *work and all it points to live in arena; job and cards must outlive it.
   LW_BAD_INPUT when a reading holds values no gas can have or names a screw no card lists, a fuel
   is not known, or a limit names an unknown set. */
lw_status lw_job_work(lw_arena *arena, const lw_job *job, const lw_card *card,
                      const lw_card *fitted, const lw_work **work, lw_error *error) LW_MUST_USE;

/* The job's analyzer of this name; without a name the only one. NULL: none. */
const lw_analyzer *lw_analyzer_of(const lw_job *job, const char *name);
/* The exhaust sample of a reading, with uncertainties from its analyzer. */
lw_sample lw_reading_sample(const lw_reading *reading, const lw_analyzer *analyzer,
                            const lw_fuel *fuel, double air_water);
/* One snap in a line: "tip-in at 1,500 rpm: CO 0.6 to 3.0 %, HC to 480 ppm; hesitates". Gases as they
   were read, HC in what it was counted in. Returns buffer. */
const char *lw_snap_line(char *buffer, size_t size, const lw_snap_reading *snap);
/* The fuel of what was said; false when the name is unknown and no atoms are given. */
bool lw_fuel_from(const lw_fuel_said *said, lw_fuel *fuel);

#endif
