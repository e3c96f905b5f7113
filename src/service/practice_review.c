/* practice_review.c - what was wrong, what each reading and check told, and what the causes engine
** and the idle guide would have done.
**
** After each reading all so far are weighed together, as the engine weighs them; each check moves
** the probabilities by Bayes' theorem. Beside each reading stands what a sound car and what this one
** would show.
*/
#include "practice_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double rpm = 0.10471975511965977;
static const double sure = 0.8; /* the engine names a cause it holds this likely */
static const double wrong_minutes = 20, read_minutes = 2, hold_minutes = 2; /* practice.c's */
static const double worth_it = 0.03; /* gain under which a check is not made, as in causes_test.c */

enum { CHECKS_MOST = 32, FEWEST_MOST = 20, GUIDE_MOST = 12 };

/* ---- readings as a shop writes them ---- */

/* Of instruments as they are in a shop, standard uncertainties: class I, a good gauge (ours). */
void lw_practice_uncertain(lw_sight *s) {
  static const double u[LW_CHANNELS] = {
      [LW_SEE_VACUUM] = 700, [LW_SEE_CO] = 0.0006, [LW_SEE_CO2] = 0.003,   [LW_SEE_O2] = 0.001,
      [LW_SEE_HC] = 12e-6,   [LW_SEE_NO] = 50e-6,  [LW_SEE_TIMING] = 0.012};
  memcpy(s->u, u, sizeof u);
}

static double steps(double x, double step) {
  return step * floor(x / step + 0.5);
}

void lw_practice_sight(const lw_practice *p, const bay *b, const lw_symptoms *s, lw_sight *out) {
  *out = (lw_sight){.label = "idle",
                    .at = LW_AT_IDLE,
                    .speed = steps(s->speed / rpm, 10) * rpm,
                    .screws_known = true,
                    .screw_count = p->screw_count};
  for (size_t k = 0; k < p->screw_count; k++) {
    out->screws[k].name = p->screws[k]->name;
    out->screws[k].turns = b->turns[k];
  }
  const double x[LW_CHANNELS] = {steps(s->vacuum, 846),
                                 steps(s->co, 1e-4),
                                 steps(s->co2, 1e-3),
                                 steps(s->o2, 1e-4),
                                 steps(s->hc, 1e-6),
                                 LW_NONE,
                                 LW_NONE};
  memcpy(out->x, x, sizeof x);
  lw_practice_uncertain(out);
}

/* ---- probabilities ---- */

static void normalize(double *p) {
  double sum = 0;
  for (int i = 0; i < LW_CAUSES; i++)
    sum += p[i];
  for (int i = 0; i < LW_CAUSES && sum > 0; i++)
    p[i] /= sum;
}

static void answer_weighed(double *p, const lw_next_test *t, size_t answer) {
  for (int i = 0; i < LW_CAUSES; i++)
    p[i] *= lw_test_likelihood(t, answer, (lw_cause_id)i);
  normalize(p);
}

static int likeliest(const double *p) {
  int best = 0;
  for (int i = 1; i < LW_CAUSES; i++)
    best = p[i] > p[best] ? i : best;
  return best;
}

/* How it ends most often with this cause. */
static size_t usual_answer(const lw_next_test *t, lw_cause_id cause) {
  size_t usual = 0;
  for (size_t a = 1; a <= t->find_count; a++) {
    if (lw_test_likelihood(t, a, cause) > lw_test_likelihood(t, usual, cause)) usual = a;
  }
  return usual;
}

/* The engine leaves out what its readings would not show. Such a car reads as a sound one, so beside
   "nothing wrong" it stands as before. */
static void keep_unseen(const lw_diagnosis *d, double *by_id) {
  double sound = by_id[LW_CAUSE_NONE] / lw_cause_prior(LW_CAUSE_NONE);
  for (int i = 0; i < LW_CAUSES; i++) {
    if (d->unseen[i] && lw_fault_may((lw_cause_id)i))
      by_id[i] = fmax(by_id[i], sound * lw_cause_prior((lw_cause_id)i));
  }
}

/* An owner who speaks of opening the throttle: how often of which cause is ours. */
static void complaint_weighed(const lw_practice *p, double *by_id) {
  for (int i = 0; i < LW_CAUSES && p->fault.stumbles; i++)
    by_id[i] *= i == LW_CAUSE_PUMP || i == LW_CAUSE_AIR_VALVE ? 0.9 : 0.05;
  normalize(by_id);
}

/* What the engine makes of readings; without any, how often each cause is met. */
static lw_status weigh(lw_arena *arena, lw_units *units, const lw_practice *p,
                       const lw_sight *sights, size_t count, double *by_id,
                       const lw_diagnosis **diagnosis, lw_error *error) {
  lw_diagnosis *d = NULL;
  *diagnosis = NULL;
  for (int i = 0; i < LW_CAUSES; i++)
    by_id[i] = lw_cause_prior((lw_cause_id)i);
  if (count > 0) {
    lw_status status = lw_causes_find(arena, units, p->from, sights, count, NULL, &d, error);
    if (status != LW_OK) return status;
    memcpy(by_id, d->by_id, sizeof d->by_id);
    keep_unseen(d, by_id);
    *diagnosis = d;
  }
  complaint_weighed(p, by_id);
  return LW_OK;
}

/* ---- what one reading tells ---- */

static const char *value_text(char *text, size_t size, lw_channel k, double x) {
  switch (k) {
  case LW_SEE_VACUUM:
    snprintf(text, size, "%.1f inHg", lw_dim_shown(LW_PRESSURE, LW_SHOP, x));
    break;
  case LW_SEE_HC: snprintf(text, size, "%.0f ppm", 1e6 * x); break;
  case LW_SEE_CO: snprintf(text, size, "%.2f %%", 100 * x); break;
  default: snprintf(text, size, "%.1f %%", 100 * x);
  }
  return text;
}

static const char *weight_text(double tells) {
  return tells > 3    ? "speaks strongly for it"
         : tells > 1  ? "speaks for it"
         : tells > -1 ? "tells little of it"
                      : "speaks against it";
}

/* This car, or a sound one, held against one reading. What it would show is as it is displayed. */
static bool held_against(lw_units *units, const lw_practice *p, const lw_act *a, bool ill,
                         lw_match *match) {
  static const lw_channel scaled[] = {LW_SEE_CO, LW_SEE_CO2, LW_SEE_HC};
  const lw_fault *f = &p->fault;
  const char *edits[3];
  size_t n = 0;
  lw_sight s = a->sight;
  lw_error ignored = {0};
  bool unplugged = f->hose < 0 || !(a->plugged & 1u << f->hose);
  for (size_t i = 0; ill && unplugged && i < f->edit_count; i++)
    edits[n++] = f->edits[i];
  if (a->plugged & 1u << LW_HOSE_ADVANCE) edits[n++] = "vacuum advance=plugged";
  for (size_t k = 0; !ill && k < s.screw_count;
       k++) { /* a fault of theirs is none of a sound car */
    if (f->turned[k] != 0) s.screws[k].turns = lw_practice_preset(p->screws[k]);
  }
  for (size_t k = 0; ill && k < 3; k++)
    s.x[scaled[k]] /= f->gain;
  bool good = lw_match_run(units, p->from, edits, n, &s, 1, false, match, &ignored) == LW_OK &&
              match->possible;
  for (size_t k = 0; ill && k < 3; k++)
    match->seen[0][scaled[k]] *= f->gain;
  return good;
}

/* The channel on which the two stand furthest apart, for what either may be off. */
static lw_channel furthest(const lw_match *a, const lw_match *b, const lw_sight *s) {
  static const lw_channel channels[] = {LW_SEE_CO, LW_SEE_HC, LW_SEE_O2, LW_SEE_CO2, LW_SEE_VACUUM};
  lw_channel best = LW_SEE_CO;
  double most = -1;
  for (size_t i = 0; i < sizeof channels / sizeof channels[0]; i++) {
    lw_channel k = channels[i];
    double band = fmax(fmin(a->band[0][k], b->band[0][k]), 1e-9);
    double apart = fabs(a->seen[0][k] - b->seen[0][k]) / band;
    if (!lw_known(s->x[k]) || !(apart > most)) continue;
    most = apart;
    best = k;
  }
  return best;
}

static const char *reading_tells(lw_arena *arena, lw_units *units, const lw_practice *p,
                                 const lw_act *a) {
  lw_match sound, ill;
  char read[40], healthy[40], with[40];
  bool off = p->fault.hose >= 0 && (a->plugged & 1u << p->fault.hose);
  if (!held_against(units, p, a, false, &sound) || !held_against(units, p, a, true, &ill))
    return "the twin does not run so: not compared";
  lw_channel best = furthest(&sound, &ill, &a->sight);
  return lw_arena_print(arena, "%s %s; a sound car about %s, this one %s: %s",
                        lw_channel_text(best),
                        value_text(read, sizeof read, best, a->sight.x[best]),
                        value_text(healthy, sizeof healthy, best, sound.seen[0][best]),
                        value_text(with, sizeof with, best, ill.seen[0][best]),
                        off ? "the leaking hose was plugged, so it reads as a sound car"
                            : weight_text(ill.evidence - sound.evidence));
}

/* ---- the learner's own search ---- */

/* What is known so far: readings that can be weighed, checks with their answers, names that were
   wrong. */
typedef struct known {
  lw_arena *arena;
  lw_units *units;
  const lw_practice *p;
  lw_sight sights[LW_SIGHTS_MOST];
  size_t sight_count;
  bool made[CHECKS_MOST], named[LW_CAUSES];
  size_t answers[CHECKS_MOST];
  double by_id[LW_CAUSES];
  const lw_diagnosis *diagnosis; /* of the readings; NULL: none */
} known;

static double of_fault(const known *k) {
  return k->by_id[k->p->fault.id];
}

/* Weigh the readings anew; what checks and wrong names told stays told. */
static lw_status weigh_again(known *k, lw_error *error) {
  size_t checks = 0;
  const lw_next_test *all = lw_plain_tests(&checks);
  lw_status status =
      weigh(k->arena, k->units, k->p, k->sights, k->sight_count, k->by_id, &k->diagnosis, error);
  if (status != LW_OK) return status;
  for (size_t i = 0; i < checks && i < CHECKS_MOST; i++) {
    if (k->made[i]) answer_weighed(k->by_id, &all[i], k->answers[i]);
  }
  for (int i = 0; i < LW_CAUSES; i++)
    k->by_id[i] = k->named[i] ? 0 : k->by_id[i];
  normalize(k->by_id);
  return LW_OK;
}

static void check_known(known *k, size_t check, size_t answer) {
  size_t checks = 0;
  k->made[check] = true;
  k->answers[check] = answer;
  answer_weighed(k->by_id, &lw_plain_tests(&checks)[check], answer);
}

/* It was not this one. */
static void name_known(known *k, int cause) {
  k->named[cause] = true;
  k->by_id[cause] = 0;
  normalize(k->by_id);
}

/* Of too many the first and the newest. */
static void sight_known(known *k, const lw_sight *sight) {
  if (k->sight_count == LW_SIGHTS_MOST) {
    memmove(&k->sights[1], &k->sights[2], (LW_SIGHTS_MOST - 2) * sizeof *k->sights);
    k->sight_count--;
  }
  k->sights[k->sight_count++] = *sight;
}

/* Settled, nothing plugged: what the engine can weigh. */
static bool can_be_weighed(const lw_act *a) {
  return a->kind == LW_ACT_READ && a->right && a->seeking && !a->plugged;
}

static const char *check_tells(lw_arena *arena, const lw_practice *p, const lw_act *a,
                               double before, double after) {
  char what[LW_ACT_WORDS];
  size_t count = 0;
  const lw_next_test *t = &lw_plain_tests(&count)[a->which];
  size_t usual = usual_answer(t, p->fault.id);
  double often = lw_test_likelihood(t, a->answer, p->fault.id);
  const char *told = after > before + 0.15                    ? "told much"
                     : after > before + 0.02 && before < 0.9  ? "told something"
                     : after > before - 0.02 && before >= 0.9 ? "it was nearly certain before"
                     : after > before - 0.02                  ? "told little of it"
                                                              : "spoke against it";
  lw_practice_seen(&p->fault, (size_t)a->which, a->answer, what, sizeof what);
  if (a->answer == usual) return lw_arena_print(arena, "%s: %s", what, told);
  return lw_arena_print(arena, "%s: misled; with this fault it ends so %.0f times in 100", what,
                        100 * often);
}

static lw_status say_reading(known *k, const lw_act *a, bool weighed, lw_review_step *s,
                             lw_error *error) {
  lw_status status = LW_OK;
  s->what = a->sight.label;
  s->words = a->right ? reading_tells(k->arena, k->units, k->p, a)
                      : "written down before the needles had come to rest: tells nothing";
  if (!can_be_weighed(a)) return LW_OK;
  sight_known(k, &a->sight);
  if (!weighed) return LW_OK;
  s->before = of_fault(k);
  status = weigh_again(k, error);
  s->after = of_fault(k);
  return status;
}

static void say_check(known *k, const lw_act *a, lw_review_step *s) {
  size_t checks = 0;
  bool again = k->made[a->which];
  s->what = lw_plain_tests(&checks)[a->which].name;
  s->before = of_fault(k);
  if (!again) check_known(k, (size_t)a->which, a->answer);
  s->after = of_fault(k);
  s->words = again ? "made before: the same answer tells no more"
                   : check_tells(k->arena, k->p, a, s->before, s->after);
}

static void say_name(known *k, const lw_act *a, lw_review_step *s) {
  double likely = k->by_id[a->which];
  s->what = "named";
  s->words = lw_arena_print(k->arena, "%s, at %.0f %%: %s", lw_cause_text((lw_cause_id)a->which),
                            100 * likely, a->right ? "right" : "not it");
  if (!a->right) name_known(k, a->which);
}

/* Each weighing takes its time: the first few readings and the last are weighed as they came. */
static lw_status say_steps(known *k, lw_review *r, lw_review_step *steps, lw_error *error) {
  enum { WEIGHED_FIRST = 4 };
  const lw_practice *p = k->p;
  size_t last = SIZE_MAX, weighed = 0;
  lw_status status = LW_OK;
  for (size_t i = 0; i < p->count; i++)
    last = can_be_weighed(&p->acts[i]) ? i : last;
  for (size_t i = 0; status == LW_OK && i < p->count; i++) {
    const lw_act *a = &p->acts[i];
    bool tells = a->kind == LW_ACT_READ || a->kind == LW_ACT_CHECK || a->kind == LW_ACT_NAME;
    if (!a->seeking || !tells) continue;
    lw_review_step *s = &steps[r->step_count++];
    *s = (lw_review_step){.minutes = a->minutes, .before = LW_NONE, .after = LW_NONE};
    if (a->kind == LW_ACT_READ) {
      status = say_reading(k, a, weighed++ < WEIGHED_FIRST || i == last, s, error);
    } else if (a->kind == LW_ACT_CHECK) {
      say_check(k, a, s);
    } else {
      say_name(k, a, s);
    }
  }
  return status;
}

static known *known_new(lw_arena *arena, lw_units *units, const lw_practice *p) {
  known *k = lw_arena_alloc(arena, sizeof *k);
  if (!k) return NULL;
  k->arena = arena;
  k->units = units;
  k->p = p;
  for (int i = 0; i < LW_CAUSES; i++)
    k->by_id[i] = lw_cause_prior((lw_cause_id)i);
  complaint_weighed(p, k->by_id);
  return k;
}

static lw_status own_search(lw_arena *arena, lw_units *units, const lw_practice *p, lw_review *r,
                            lw_error *error) {
  known *k = known_new(arena, units, p);
  lw_review_step *steps = lw_arena_array(arena, p->count ? p->count : 1, sizeof *steps);
  if (!k || !steps) return lw_fail(error, LW_NO_MEMORY, "no memory for the review");
  lw_status status = say_steps(k, r, steps, error);
  if (status != LW_OK) return status;
  int best = likeliest(k->by_id);
  r->steps = steps;
  r->would = lw_arena_print(arena, "From these %s the causes engine would say: %s, %.0f %%%s",
                            k->sight_count ? "readings and checks"
                                           : "checks alone (no settled reading was written down)",
                            lw_cause_text((lw_cause_id)best), 100 * k->by_id[best],
                            best == (int)p->fault.id ? "." : "; it was not that.");
  return LW_OK;
}

/* ---- the same search by the engine ---- */

typedef struct search {
  known k;
  double reading_gain; /* of 2,500 rpm, when the engine proposes it */
  lw_review_step steps[FEWEST_MOST];
  size_t count;
  double minutes;
} search;

static void put_step(search *s, const char *what, double minutes, const char *words,
                     double before) {
  if (s->count == FEWEST_MOST) return;
  s->steps[s->count++] =
      (lw_review_step){what, minutes, words ? words : "", before, of_fault(&s->k)};
  s->minutes += minutes;
}

static double gain_of_reading(const search *s) {
  const lw_diagnosis *d = s->k.diagnosis;
  for (size_t i = 0; d && i < d->test_count && s->k.sight_count == 1; i++) {
    if (d->tests[i].find_count == 0 && strstr(d->tests[i].name, "2,500")) return d->tests[i].gain;
  }
  return 0;
}

/* The car as it came in, read at idle (held at its speed where it does not idle) or at 2,500 rpm. */
static bool take_sight(search *s, bool fast) {
  const lw_practice *p = s->k.p;
  bay b = {0};
  lw_test_car *car = NULL;
  lw_error ignored = {0};
  char texts[EDITS_MOST][EDIT_SIZE];
  const char *edits[EDITS_MOST];
  for (size_t k = 0; k < p->screw_count; k++)
    b.turns[k] = lw_practice_preset(p->screws[k]) + p->fault.turned[k];
  size_t n = lw_practice_edits(p, &b, texts, edits);
  lw_arena *own = lw_arena_new(0);
  bool good =
      own && lw_test_car_what_if(own, s->k.units, p->from, edits, n, &car, &ignored) == LW_OK;
  lw_symptoms seen = {0};
  bool held = fast;
  if (good && !fast) seen = lw_practice_symptoms(car, p->fault.gain, LW_NONE, p->goal.gear);
  if (good && !seen.runs) {
    held = true;
    seen =
        lw_practice_symptoms(car, p->fault.gain, fast ? 2500 * rpm : p->goal.speed, LW_LOAD_NONE);
  }
  lw_arena_free(own);
  if (!seen.runs) return false;
  lw_sight *out = &s->k.sights[s->k.sight_count++];
  lw_practice_sight(p, &b, &seen, out);
  out->held = held;
  out->near = held ? seen.throttle : 0;
  if (!held) out->gear = p->goal.gear;
  if (fast) {
    out->at = LW_AT_FAST_IDLE;
    out->label = "2,500 rpm";
  }
  return true;
}

/* The check worth most; -1: none is worth making, or the reading is (then *reading). */
static int next_check(const search *s, bool *reading) {
  size_t checks = 0;
  const lw_next_test *all = lw_plain_tests(&checks);
  lw_next_test fast = {.minutes = hold_minutes + read_minutes, .gain = s->reading_gain};
  double best = fast.gain > worth_it ? lw_test_worth(&fast) : 0;
  int which = -1;
  *reading = best > 0;
  for (size_t i = 0; i < checks && i < CHECKS_MOST; i++) {
    lw_next_test t = all[i];
    if (s->k.made[i]) continue;
    t.gain = lw_check_gain(&t, s->k.by_id);
    if (t.gain < worth_it || lw_test_worth(&t) <= best) continue;
    best = lw_test_worth(&t);
    which = (int)i;
    *reading = false;
  }
  return which;
}

/* As such a check usually ends on this fault. */
static void make_check(search *s, size_t which) {
  char what[LW_ACT_WORDS];
  size_t checks = 0;
  const lw_fault *f = &s->k.p->fault;
  const lw_next_test *t = &lw_plain_tests(&checks)[which];
  double before = of_fault(&s->k);
  size_t answer = usual_answer(t, f->id);
  check_known(&s->k, which, answer);
  put_step(s, t->name, t->minutes,
           lw_arena_print(s->k.arena, "%s", lw_practice_seen(f, which, answer, what, sizeof what)),
           before);
}

/* True when it was right. */
static bool name_likeliest(search *s) {
  int best = likeliest(s->k.by_id);
  double before = of_fault(&s->k);
  bool right = best == (int)s->k.p->fault.id;
  const char *words =
      lw_arena_print(s->k.arena, "%s, at %.0f %%: %s", lw_cause_text((lw_cause_id)best),
                     100 * s->k.by_id[best], right ? "right" : "not it");
  if (!right) name_known(&s->k, best);
  put_step(s, "named", right ? 0 : wrong_minutes, words, before);
  return right;
}

static lw_status read_again(search *s, bool fast, lw_error *error) {
  double before = of_fault(&s->k);
  s->reading_gain = 0;
  if (!take_sight(s, fast)) return LW_OK;
  lw_status status = weigh_again(&s->k, error);
  if (status != LW_OK) return status;
  int best = likeliest(s->k.by_id);
  s->reading_gain = gain_of_reading(s);
  put_step(s, fast ? "gases at 2,500 rpm" : "gases at idle",
           read_minutes + (fast ? hold_minutes : 0),
           lw_arena_print(s->k.arena, "the likeliest then: %s, %.0f %%",
                          lw_cause_text((lw_cause_id)best), 100 * s->k.by_id[best]),
           before);
  return LW_OK;
}

static lw_status engine_search(search *s, bool *found, lw_error *error) {
  *found = false;
  lw_status status = read_again(s, false, error);
  while (status == LW_OK && !*found && s->count < FEWEST_MOST - 1) {
    bool reading = false;
    int check = s->k.by_id[likeliest(s->k.by_id)] >= sure ? -1 : next_check(s, &reading);
    if (reading) {
      status = read_again(s, true, error);
    } else if (check >= 0) {
      make_check(s, (size_t)check);
    } else {
      *found = name_likeliest(s);
    }
  }
  return status;
}

static lw_status fewest(lw_arena *arena, lw_units *units, const lw_practice *p, lw_review *r,
                        lw_error *error) {
  search *s = lw_arena_alloc(arena, sizeof *s);
  known *k = known_new(arena, units, p);
  if (!s || !k) return lw_fail(error, LW_NO_MEMORY, "no memory for the review");
  s->k = *k;
  lw_status status = engine_search(s, &r->fewest_finds, error);
  if (status != LW_OK) return status;
  r->fewest = s->steps;
  r->fewest_count = s->count;
  r->fewest_minutes = s->minutes;
  double spent = r->minutes_seeking;
  r->fewest_says = lw_arena_print(
      arena,
      !r->fewest_finds ? "The causes engine would not have found this one in %.0f minutes."
      : r->found && spent < s->minutes - 0.5
          ? "The causes engine would have taken %.0f minutes: you were faster."
          : "The causes engine would have taken %.0f minutes.",
      s->minutes);
  return LW_OK;
}

/* ---- the idle ---- */

/* Idling, or held at a speed (NaN: idle). */
static bool symptoms_of(lw_units *units, const lw_practice *p, const bay *b, double speed,
                        lw_symptoms *out) {
  char texts[EDITS_MOST][EDIT_SIZE];
  const char *edits[EDITS_MOST];
  lw_test_car *car = NULL;
  lw_error ignored = {0};
  lw_arena *own = lw_arena_new(0);
  size_t n = lw_practice_edits(p, b, texts, edits);
  bool good = own && lw_test_car_what_if(own, units, p->from, edits, n, &car, &ignored) == LW_OK;
  if (good) *out = lw_practice_symptoms(car, 1, speed, p->goal.gear);
  lw_arena_free(own);
  return good && out->runs;
}

static void turn_as_told(const lw_practice *p, const lw_screw_move *m, bay *b) {
  bool left = p->from->twin->card->carburetor.speed_thread == LW_THREAD_LEFT;
  if (strcmp(m->screw, "speed screw") == 0) {
    b->stop += left ? m->turns : -m->turns;
    return;
  }
  for (size_t k = 0; k < p->screw_count; k++) {
    const lw_screw_card *s = p->screws[k];
    if (strcmp(m->screw, s->name) != 0) continue;
    double out = lw_screw_thread(s) == LW_THREAD_LEFT ? -m->turns : m->turns;
    b->turns[k] = fmin(fmax(b->turns[k] + out, lw_practice_lowest(s)), lw_practice_highest(s));
  }
}

/* How often the guide would have had the screws turned from there; SIZE_MAX: it cannot. */
static size_t guided(lw_arena *arena, lw_units *units, const lw_practice *p, bay b) {
  lw_sight *sights = lw_arena_array(arena, GUIDE_MOST, sizeof *sights);
  size_t turned = 0;
  memset(b.plugged, 0, sizeof b.plugged);
  for (size_t i = 0; sights && i < GUIDE_MOST; i++) {
    lw_symptoms seen;
    lw_guidance g;
    lw_error ignored = {0};
    bool idles = symptoms_of(units, p, &b, LW_NONE, &seen); /* else a foot keeps it running */
    if (!idles && !symptoms_of(units, p, &b, p->goal.speed, &seen)) return SIZE_MAX;
    lw_practice_sight(p, &b, &seen, &sights[i]);
    sights[i].held = !idles;
    sights[i].near = idles ? 0 : seen.throttle;
    sights[i].gear = p->goal.gear;
    if (lw_guide_next(arena, units, p->from, &p->goal, sights, i + 1, &g, &ignored) != LW_OK)
      return SIZE_MAX;
    if (g.state == LW_GUIDE_SET) return turned;
    if (g.state == LW_GUIDE_CANNOT) return SIZE_MAX;
    for (size_t k = 0; k < g.move_count; k++)
      turn_as_told(p, &g.moves[k], &b);
    turned += g.state == LW_GUIDE_MOVE;
  }
  return SIZE_MAX;
}

static lw_status idle_left(lw_arena *arena, lw_units *units, const lw_practice *p, lw_review *r,
                           lw_error *error) {
  const lw_goal *g = &p->goal;
  lw_symptoms s = {0};
  bay b = p->bay;
  memset(b.plugged, 0, sizeof b.plugged);
  bool runs = symptoms_of(units, p, &b, LW_NONE, &s);
  bool speed = runs && fabs(s.speed - g->speed) <= g->speed_within;
  bool co = runs && s.co >= g->co_lo - 5e-4 && s.co <= g->co_hi + 5e-4;
  bool hc = runs && !(s.hc > g->hc_most);
  r->within = speed && co && hc;
  char wrong[40] = "";
  if (!speed) lw_text_append(wrong, sizeof wrong, " speed");
  if (!co) lw_text_append(wrong, sizeof wrong, "%s CO", wrong[0] ? "," : "");
  if (!hc) lw_text_append(wrong, sizeof wrong, "%s HC", wrong[0] ? "," : "");
  r->set = !runs ? "As it was left it does not idle."
                 : lw_arena_print(arena,
                                  "As it was left it idles at %.0f rpm with CO %.2f %% and HC %.0f "
                                  "ppm: %s%s.",
                                  s.speed / rpm, 100 * s.co, 1e6 * s.hc,
                                  r->within ? "all where the card wants them" : "not right:",
                                  r->within ? "" : wrong);
  r->turns_fewest =
      r->found ? guided(arena, units, p, p->found_bay) : guided(arena, units, p, p->bay);
  return r->set ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no memory for the review");
}

/* ---- all of it ---- */

static void count_moves(const lw_practice *p, lw_review *r) {
  r->minutes = p->minutes;
  r->wrong = p->wrong;
  for (size_t i = 0; i < p->count; i++) {
    const lw_act *a = &p->acts[i];
    if (a->kind == LW_ACT_NAME && a->right) r->found = true;
    if (a->seeking) r->minutes_seeking += a->minutes;
    if (a->seeking) r->moves_seeking++;
    if (a->kind == LW_ACT_TURN) r->turns_made++;
  }
}

lw_status lw_practice_review(lw_arena *arena, lw_units *units, const lw_practice *p,
                             lw_review **out, lw_error *error) {
  if (p->where != LW_PRACTICE_OVER)
    return lw_fail(error, LW_BAD_INPUT, "the review comes when the exercise has ended");
  lw_review *r = lw_arena_alloc(arena, sizeof *r);
  if (!r) return lw_fail(error, LW_NO_MEMORY, "no memory for the review");
  r->fault = lw_arena_print(arena, "%s", p->fault.name);
  r->remedy = lw_cause_remedy(p->fault.id);
  count_moves(p, r);
  lw_status status = own_search(arena, units, p, r, error);
  if (status == LW_OK) status = fewest(arena, units, p, r, error);
  if (status == LW_OK) status = idle_left(arena, units, p, r, error);
  if (status == LW_OK) *out = r;
  return status;
}
