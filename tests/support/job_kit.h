/* job_kit.h - a job and its card from a few words, worked; and every text of the answer, walked.
**
** A story starts from a fit inline six with a right unit and one settled idle reading on target;
** a test changes only what it is about. Parts are YAML as a person writes it.
*/
#ifndef LW_TESTS_JOB_KIT_H
#define LW_TESTS_JOB_KIT_H

#include "check.h"

#include <stdlib.h>

#include "leanward/service.h"

typedef struct kit {
  lw_arena *arena;
  lw_units *units;
} kit;

static inline int kit_setup(void **state) {
  kit *k = calloc(1, sizeof *k);
  lw_error error = {0};
  if (!k) return 1;
  k->arena = lw_arena_new(0);
  *state = k;
  return k->arena && lw_units_open(&k->units, &error) == LW_OK ? 0 : 1;
}

static inline int kit_teardown(void **state) {
  kit *k = *state;
  lw_units_close(k->units);
  lw_arena_free(k->arena);
  free(k);
  return 0;
}

/* Each part is written into its place; NULL leaves the usual one. Parts that end a file (card_tail,
   job_tail) hold whole lines. */
typedef struct story {
  const char *engine;     /* whole map of the card's engine, in braces */
  const char *screws;     /* list of screws, in brackets */
  const char *sealed;     /* list of texts, in brackets */
  const char *carburetor; /* further keys of the unit: "  dashpot: yes\n" */
  const char *idle;       /* map, in braces */
  const char *card_tail;  /* limits, year */
  const char *checks;     /* map, in braces */
  const char *reading;    /* list of readings, in brackets */
  const char *car;        /* map, in braces */
  const char *job_tail;   /* "fitted unit: A-1\nlimits: ..." */
} story;

#define KIT_ENGINE                                                                                 \
  "{name: test six, layout: inline, cylinders: 6, displacement: 3.6 L, "                           \
  "compression pressure: 125 to 155 psi, dwell: 38 to 43 deg, initial timing: 5 +/- 1 deg BTDC, "  \
  "timing speed: 700 rpm, timing hose: plugged, idle vacuum: 17 to 20 inHg}"
#define KIT_SCREW                                                                                  \
  "[{name: mixture, kind: fuel with limited travel, thread: right-hand, travel: 0 to 3 turns}]"
/* Checks of an engine with nothing against it; more keys may follow before the brace. */
#define KIT_CHECKS_OPEN                                                                            \
  "{compression: [140 psi, 138 psi, 141 psi, 139 psi, 137 psi, 140 psi], dwell: 40 deg, "          \
  "timing speed: 650 rpm, timing hose: plugged"
#define KIT_CHECKS                                                                                 \
  KIT_CHECKS_OPEN                                                                                  \
  ", timing: 5 deg BTDC, leak test: none found, warm: yes, choke open: yes, air cleaner: yes, "    \
  "dashpot clear: yes, accessories off: yes}"

/* Gases that fit together, by how rich the idle is. */
#define KIT_VERY_RICH         "CO: 3.68 %, CO2: 12.7 %, HC: 292 ppm hexane, O2: 0.26 %"
#define KIT_RICH              "CO: 2.52 %, CO2: 13.5 %, HC: 262 ppm hexane, O2: 0.24 %"
#define KIT_ON_TARGET         "CO: 1.20 %, CO2: 14.3 %, HC: 216 ppm hexane, O2: 0.24 %"
#define KIT_LEAN              "CO: 0.30 %, CO2: 14.9 %, HC: 160 ppm hexane, O2: 0.35 %"
#define KIT_STEADY            "gear: neutral, settled: yes, vacuum: 18 inHg, needle: steady"
#define KIT_READ(gases, more) "[{at: idle, speed: 700 rpm, " KIT_STEADY ", " gases more "}]"

static inline const char *kit_or(const char *said, const char *usual) {
  return said ? said : usual;
}

static inline void kit_complain(const lw_error *error, const char *text) {
  char line[900];
  fprintf(stderr, "%s\n---\n%s\n", lw_error_line(error, line, sizeof line), text);
}

static inline const lw_card *kit_card_text(kit *k, const char *text) {
  lw_card *card = NULL;
  lw_error error = {0};
  lw_bind bind = {k->arena, k->units, "card.yaml"};
  if (lw_card_read(&bind, text, strlen(text), &card, &error) != LW_OK) kit_complain(&error, text);
  assert_non_null(card);
  return card;
}

static inline lw_job *kit_job_text(kit *k, const char *text) {
  lw_job *job = NULL;
  lw_error error = {0};
  lw_bind bind = {k->arena, k->units, "job.yaml"};
  if (lw_job_read(&bind, text, strlen(text), &job, &error) != LW_OK) kit_complain(&error, text);
  assert_non_null(job);
  return job;
}

static inline const lw_card *kit_card(kit *k, const char *unit, const story *s) {
  const char *text =
      lw_arena_print(k->arena,
                     "unit: %s\nengine name: test six\ntransmission: manual\nengine: %s\n"
                     "carburetor:\n  screws: %s\n  sealed: %s\n%sidle: %s\n%s",
                     unit, kit_or(s->engine, KIT_ENGINE), kit_or(s->screws, KIT_SCREW),
                     kit_or(s->sealed, "[staked stop pin]"), kit_or(s->carburetor, ""),
                     kit_or(s->idle, "{speed: 700 +/- 25 rpm, gear: neutral, CO: 1.0 to 1.5 %}"),
                     kit_or(s->card_tail, "year: 1968\n"
                                          "limits: [{gas: CO, value: at most 2.0 %, at: idle}, "
                                          "{gas: HC, value: at most 350 ppm, at: idle}]\n"));
  assert_non_null(text);
  return kit_card_text(k, text);
}

static inline lw_job *kit_job(kit *k, const story *s) {
  const char *text = lw_arena_print(
      k->arena,
      "job: T-1\nfuel: gasoline\ncar: %s\nanalyzers: [{name: bench, class: I}]\n"
      "checks: %s\nreadings: %s\n%s",
      kit_or(s->car, "{year: 1968, engine: test six, cylinders: 6, displacement: 3.6 L, "
                     "transmission: manual}"),
      kit_or(s->checks, KIT_CHECKS), kit_or(s->reading, KIT_READ(KIT_ON_TARGET, "")),
      kit_or(s->job_tail, "fitted unit: A-1\nweather: {pressure: 101.325 kPa}\n"));
  assert_non_null(text);
  return kit_job_text(k, text);
}

static inline const lw_work *kit_work_with(kit *k, const lw_job *job, const lw_card *card,
                                           const lw_card *fitted) {
  const lw_work *work = NULL;
  lw_error error = {0};
  if (lw_job_work(k->arena, job, card, fitted, &work, &error) != LW_OK) kit_complain(&error, "");
  assert_non_null(work);
  return work;
}

static inline const lw_work *kit_work(kit *k, const story *s) {
  return kit_work_with(k, kit_job(k, s), kit_card(k, "A-1", s), NULL);
}

static inline bool kit_turns_something(const lw_work *w) {
  lw_move_kind kind = w->advice.move.kind;
  return kind == LW_MOVE_SPEED || kind == LW_MOVE_MIXTURE || kind == LW_MOVE_BALANCE;
}

static inline const lw_check *kit_check(const lw_work *w, lw_check_id id) {
  return &w->fitness.checks[id];
}

/* ---- every text of an answer ---- */

typedef enum kit_where {
  KIT_TOLD,   /* anything but what follows */
  KIT_COMPARE /* the two sides of a difference: they quote the cards */
} kit_where;
typedef void (*kit_text)(void *to, const char *text, bool needed, kit_where where);

static inline void kit_walk_exhaust(const lw_work *w, kit_text each, void *to) {
  for (size_t i = 0; i < w->reading_count; i++) {
    for (size_t j = 0; j < w->readings[i].exhaust.note_count; j++)
      each(to, w->readings[i].exhaust.notes[j].text, true, KIT_TOLD);
  }
}

static inline void kit_walk_judgements(const lw_judgement *j, size_t count, kit_text each,
                                       void *to) {
  for (size_t i = 0; i < count; i++) {
    each(to, j[i].name, true, KIT_TOLD);
    each(to, j[i].source, true, KIT_TOLD);
    each(to, j[i].remark, j[i].verdict == LW_NO_VERDICT, KIT_TOLD);
  }
}

static inline void kit_walk_advice(const lw_advice *a, kit_text each, void *to) {
  lw_move_kind kind = a->move.kind;
  bool turns = kind == LW_MOVE_SPEED || kind == LW_MOVE_MIXTURE || kind == LW_MOVE_BALANCE;
  each(to, a->target, false, KIT_TOLD);
  each(to, a->move.words, true, KIT_TOLD);
  each(to, a->move.reason, true, KIT_TOLD);
  each(to, a->move.screw, turns, KIT_TOLD);
  for (size_t i = 0; i < a->step_count; i++)
    each(to, a->steps[i], true, KIT_TOLD);
  for (size_t i = 0; i < a->care_count; i++)
    each(to, a->cares[i], true, KIT_TOLD);
}

static inline void kit_walk(const lw_work *w, kit_text each, void *to) {
  each(to, w->ambient_how, true, KIT_TOLD);
  each(to, w->intake.summary, true, KIT_TOLD);
  for (size_t i = 0; i < w->intake.difference_count; i++) {
    const lw_difference *d = &w->intake.differences[i];
    each(to, d->what, true, KIT_COMPARE);
    each(to, d->expected, true, KIT_COMPARE);
    each(to, d->fitted, true, KIT_COMPARE);
    each(to, d->why, false, KIT_COMPARE);
  }
  for (size_t i = 0; i < LW_CHECK_COUNT; i++) {
    const lw_check *c = &w->fitness.checks[i];
    each(to, c->name, true, KIT_TOLD);
    each(to, c->found, false, KIT_TOLD);
    each(to, c->expected, false, KIT_TOLD);
    each(to, c->why, true, KIT_TOLD);
    each(to, c->next, false, KIT_TOLD);
  }
  each(to, w->fitness.summary, true, KIT_TOLD);
  each(to, w->fitness.first, false, KIT_TOLD);
  kit_walk_exhaust(w, each, to);
  kit_walk_judgements(w->judgements, w->judgement_count, each, to);
  kit_walk_judgements(w->judgements_found, w->judgement_found_count, each, to);
  each(to, w->verdict_words, true, KIT_TOLD);
  kit_walk_advice(&w->advice, each, to);
  for (size_t i = 0; i < w->caution_count; i++)
    each(to, w->cautions[i], true, KIT_TOLD);
  for (size_t i = 0; i < w->gap_count; i++)
    each(to, w->gaps[i], true, KIT_TOLD);
}

/* ---- chance with a seed (splitmix64) ---- */

static inline uint64_t kit_next(uint64_t *seed) {
  uint64_t z = (*seed += 0x9E3779B97F4A7C15u);
  z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
  z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
  return z ^ (z >> 31);
}

/* 0 <= x < 1 */
static inline double kit_chance(uint64_t *seed) {
  return (double)(kit_next(seed) >> 11) * 0x1p-53;
}

static inline double kit_between(uint64_t *seed, double lo, double hi) {
  return lo + (hi - lo) * kit_chance(seed);
}

static inline size_t kit_pick(uint64_t *seed, size_t count) {
  return (size_t)(kit_next(seed) % count);
}

/* Standard normal, Box and Muller. */
static inline double kit_normal(uint64_t *seed) {
  double u = 1 - kit_chance(seed), v = kit_chance(seed);
  return sqrt(-2 * log(u)) * cos(6.283185307179586 * v);
}

#endif
