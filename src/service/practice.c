/* practice.c - an exercise: the car, hands on it, minutes.
**
**   SEEKING --right cause named--> FOUND --end--> OVER
**      \---------------------end-----------------/
*/
#include "practice_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What moves cost (ours; docs/practice.md says why). A wrong part fitted costs most. */
static const double minutes_of[LW_ACTS] = {
    [LW_ACT_TURN] = 1, [LW_ACT_PEDAL] = 1, [LW_ACT_HOLD] = 1,  [LW_ACT_BLIP] = 1,
    [LW_ACT_HOSE] = 1, [LW_ACT_GEAR] = 1,  [LW_ACT_START] = 1, [LW_ACT_STOP] = 0,
    [LW_ACT_WAIT] = 1, [LW_ACT_READ] = 2,  [LW_ACT_CHECK] = 0, [LW_ACT_NAME] = 0};
static const double wrong_minutes = 20, blip_seconds = 0.3, wait_seconds = 30;
static const double stop_turns = 4; /* the speed screw goes so far either way */

const char *lw_act_text(lw_act_kind kind) {
  static const char *const texts[] = {
#define ACT_TEXT(id, name) name,
      LW_ACT_LIST(ACT_TEXT)
#undef ACT_TEXT
  };
  return kind < LW_ACTS ? texts[kind] : "";
}

/* ---- the car as it stands ---- */

size_t lw_practice_edits(const lw_practice *p, const bay *b, char texts[][EDIT_SIZE],
                         const char **edits) {
  const lw_fault *f = &p->fault;
  size_t n = 0;
  bool mended = b->repaired || (f->hose >= 0 && b->plugged[f->hose]);
  for (size_t i = 0; i < f->edit_count && !mended; i++)
    snprintf(texts[n++], EDIT_SIZE, "%s", f->edits[i]);
  for (size_t k = 0; k < p->screw_count; k++)
    snprintf(texts[n++], EDIT_SIZE, "%s screw=%.6f turns", p->screws[k]->name, b->turns[k]);
  if (b->stop != 0) snprintf(texts[n++], EDIT_SIZE, "idle stop=%+.6f turns", b->stop);
  if (b->plugged[LW_HOSE_ADVANCE]) snprintf(texts[n++], EDIT_SIZE, "vacuum advance=plugged");
  for (size_t i = 0; i < n; i++)
    edits[i] = texts[i];
  return n;
}

static lw_status apply(lw_practice *p, lw_units *units, const bay *b, lw_error *error) {
  char texts[EDITS_MOST][EDIT_SIZE];
  const char *edits[EDITS_MOST];
  size_t n = lw_practice_edits(p, b, texts, edits);
  lw_status status = lw_practice_car_change(p->car, units, edits, n, error);
  if (status == LW_OK) p->bay = *b;
  return status;
}

static bool has_gear(const lw_practice *p) {
  return p->from->engine->converter > 0;
}

static void place_screws(lw_practice *p) {
  p->screw_count = lw_practice_find_screws(p->from->twin->card, p->screws);
  for (size_t k = 0; k < p->screw_count; k++)
    p->bay.turns[k] = lw_practice_preset(p->screws[k]) + p->fault.turned[k];
}

lw_status lw_practice_new(lw_units *units, const lw_test_car *car, const lw_fault *fault,
                          uint64_t seed, lw_practice **out, lw_error *error) {
  char texts[EDITS_MOST][EDIT_SIZE];
  const char *edits[EDITS_MOST];
  lw_practice *p = calloc(1, sizeof *p);
  if (!p) return lw_fail(error, LW_NO_MEMORY, "no memory for a practice car");
  p->from = car;
  p->fault = *fault;
  p->seed = seed;
  p->goal = lw_goal_from(car->twin->card);
  place_screws(p);
  size_t n = lw_practice_edits(p, &p->bay, texts, edits);
  lw_status status =
      lw_practice_car_new(car, units, edits, n, LW_CLASS_I, seed | 1, &p->car, error);
  if (status != LW_OK) {
    free(p);
    return status;
  }
  lw_practice_car_gain(p->car, fault->gain);
  *out = p;
  return LW_OK;
}

void lw_practice_free(lw_practice *p) {
  if (!p) return;
  lw_practice_car_free(p->car);
  free(p->acts);
  free(p);
}

lw_practice_state lw_practice_where(const lw_practice *p) {
  return p->where;
}

/* ---- in time ---- */

void lw_practice_tick(lw_practice *p, double dt) {
  if (p->where == LW_PRACTICE_OVER) return;
  if (p->blip > 0) {
    p->blip -= dt;
    if (p->blip <= 1e-9) lw_practice_car_pedal(p->car, 0);
  }
  lw_practice_car_advance(p->car, dt);
  p->unsettled = fmax(p->unsettled - dt, 0);
}

lw_needles lw_practice_needles(const lw_practice *p) {
  return lw_practice_car_needles(p->car);
}

double lw_practice_unsettled(const lw_practice *p) {
  return p->unsettled;
}

/* Something was moved: the analyzer is behind by its hose, its cells and the pipe. */
static void disturb(lw_practice *p) {
  lw_meter_kind kind = lw_meter_usual(LW_CLASS_I);
  p->unsettled = 4 + fmax(lw_meter_settling(&kind, LW_GAS_CO, true),
                          lw_meter_settling(&kind, LW_GAS_HC, false));
}

/* ---- moves ---- */

static lw_status refuse(lw_error *error, const char *words) {
  return lw_fail(error, LW_BAD_INPUT, "%s", words);
}

/* Counter-clockwise to turns out, or for the speed screw to turns in. */
static double out_of(const lw_practice *p, int screw) {
  if (screw < (int)p->screw_count)
    return lw_screw_thread(p->screws[screw]) == LW_THREAD_LEFT ? -1 : 1;
  return p->from->twin->card->carburetor.speed_thread == LW_THREAD_LEFT ? 1 : -1;
}

static lw_status turn(lw_practice *p, lw_units *units, lw_act *act, lw_error *error) {
  bay b = p->bay;
  if (act->which < 0 || act->which > (int)p->screw_count)
    return refuse(error, "there is no such screw on this unit");
  if (!(fabs(act->amount) > 0 && fabs(act->amount) <= 4))
    return refuse(error, "a screw is turned by up to 4 turns at a time, either way");
  bool mixture = act->which < (int)p->screw_count;
  double sign = out_of(p, act->which), *at = mixture ? &b.turns[act->which] : &b.stop;
  double lo = mixture ? lw_practice_lowest(p->screws[act->which]) : -stop_turns;
  double hi = mixture ? lw_practice_highest(p->screws[act->which]) : stop_turns;
  double before = *at;
  *at = fmin(fmax(before + sign * act->amount, lo), hi);
  act->done = (*at - before) * sign;
  if (fabs(act->done) < 1e-9)
    return refuse(error, "it stands at its stop and goes no further that way; never force it");
  disturb(p);
  return apply(p, units, &b, error);
}

static lw_status plug(lw_practice *p, lw_units *units, const lw_act *act, lw_error *error) {
  bay b = p->bay;
  if (act->which < 0 || act->which >= LW_HOSES || !lw_practice_has_hose(p, (lw_hose_id)act->which))
    return refuse(error, "there is no such hose on this car");
  b.plugged[act->which] = act->amount != 0;
  disturb(p);
  return apply(p, units, &b, error);
}

static lw_status wait_some(lw_practice *p) {
  const double span = 0.25;
  for (int i = 0; i < (int)(wait_seconds / span); i++)
    lw_practice_tick(p, span);
  return LW_OK;
}

static lw_status read_needles(lw_practice *p, lw_act *act, lw_error *error) {
  lw_needles n = lw_practice_needles(p);
  lw_sight *s = &act->sight;
  if (!n.running) return refuse(error, "the engine stands; start it, then read");
  *s = (lw_sight){.at = n.pedal > 0 ? LW_AT_FAST_IDLE : LW_AT_IDLE,
                  .gear = p->drive ? LW_LOAD_DRIVE : LW_LOAD_NONE,
                  .speed = n.speed,
                  .screws_known = true,
                  .held = n.pedal > 0,
                  .near = n.pedal,
                  .screw_count = p->screw_count};
  s->label = s->held ? "throttle held" : p->drive ? "idle in drive" : "idle";
  for (size_t k = 0; k < p->screw_count; k++) {
    s->screws[k].name = p->screws[k]->name;
    s->screws[k].turns = p->bay.turns[k];
  }
  const double x[LW_CHANNELS] = {n.vacuum,   n.gases.co, n.gases.co2, n.gases.o2,
                                 n.gases.hc, LW_NONE,    LW_NONE};
  memcpy(s->x, x, sizeof x);
  lw_practice_uncertain(s);
  act->right = p->unsettled <= 0;
  for (unsigned h = 0; h < LW_HOSES; h++)
    act->plugged |= p->bay.plugged[h] ? 1u << h : 0;
  return LW_OK;
}

static lw_status check(lw_practice *p, lw_act *act, lw_error *error) {
  size_t count = 0;
  const lw_next_test *checks = lw_plain_tests(&count);
  if (act->which < 0 || act->which >= (int)count) return refuse(error, "there is no such check");
  const lw_next_test *t = &checks[act->which];
  /* the same answer each time: made again it tells no more */
  lw_fault f = p->fault;
  if (p->bay.repaired) f.id = LW_CAUSE_NONE;
  act->answer = lw_practice_answer(&f, t, lw_practice_lot(p->seed, 1000 + (uint64_t)act->which));
  act->minutes = t->minutes;
  return LW_OK;
}

static lw_status name_cause(lw_practice *p, lw_units *units, lw_act *act, lw_error *error) {
  if (act->which < 0 || !lw_fault_may((lw_cause_id)act->which))
    return refuse(error, "that is not one of the causes that can be named");
  if (p->where != LW_PRACTICE_SEEKING) return refuse(error, "the cause is found already");
  act->right = act->which == (int)p->fault.id;
  act->minutes = act->right ? 0 : wrong_minutes;
  if (!act->right) {
    p->wrong++;
    return LW_OK;
  }
  bay b = p->bay;
  b.repaired = true;
  lw_status status = apply(p, units, &b, error);
  if (status != LW_OK) return status;
  lw_practice_car_gain(p->car, 1);
  p->where = LW_PRACTICE_FOUND;
  p->found_bay = b;
  disturb(p);
  return LW_OK;
}

static lw_status foot(lw_practice *p, const lw_act *act, lw_error *error) {
  const double rpm = 0.10471975511965977;
  p->blip = 0;
  if (act->kind == LW_ACT_PEDAL) {
    if (!(act->amount >= 0 && act->amount <= 1))
      return refuse(error, "a throttle goes from 0 to 100 %");
    lw_practice_car_pedal(p->car, act->amount);
  } else if (act->kind == LW_ACT_HOLD) {
    if (!(act->amount >= 600 * rpm && act->amount <= 4000 * rpm))
      return refuse(error, "a foot holds 600 to 4,000 rpm");
    if (!lw_practice_needles(p).running) return refuse(error, "the engine stands; start it first");
    lw_practice_car_hold(p->car, act->amount);
  } else {
    lw_practice_car_pedal(p->car, 1);
    p->blip = blip_seconds;
  }
  disturb(p);
  return LW_OK;
}

static lw_status gear(lw_practice *p, const lw_act *act, lw_error *error) {
  if (!has_gear(p)) return refuse(error, "this car has no automatic: it stays in neutral");
  p->drive = act->amount != 0;
  lw_practice_car_gear(p->car, p->drive);
  disturb(p);
  return LW_OK;
}

static lw_status make(lw_practice *p, lw_units *units, lw_act *act, lw_error *error) {
  switch (act->kind) {
  case LW_ACT_TURN: return turn(p, units, act, error);
  case LW_ACT_PEDAL:
  case LW_ACT_HOLD:
  case LW_ACT_BLIP: return foot(p, act, error);
  case LW_ACT_HOSE: return plug(p, units, act, error);
  case LW_ACT_GEAR: return gear(p, act, error);
  case LW_ACT_START: lw_practice_car_start(p->car); return LW_OK;
  case LW_ACT_STOP: lw_practice_car_stop(p->car); return LW_OK;
  case LW_ACT_WAIT: return wait_some(p);
  case LW_ACT_READ: return read_needles(p, act, error);
  case LW_ACT_CHECK: return check(p, act, error);
  case LW_ACT_NAME: return name_cause(p, units, act, error);
  default: return refuse(error, "there is no such move");
  }
}

static bool make_room(lw_practice *p) {
  if (p->count < p->room) return true;
  size_t room = p->room ? 2 * p->room : 8;
  lw_act *grown = realloc(p->acts, room * sizeof *grown);
  if (!grown) return false;
  p->acts = grown;
  p->room = room;
  return true;
}

lw_status lw_practice_do(lw_practice *p, lw_units *units, lw_act *act, lw_error *error) {
  lw_act a = {.kind = act->kind, .which = act->which, .amount = act->amount};
  if (p->where == LW_PRACTICE_OVER) return refuse(error, "this exercise is over");
  if (p->count >= LW_ACTS_MOST)
    return lw_fail(error, LW_TOO_LARGE, "%d moves were made; end the exercise and read its review",
                   LW_ACTS_MOST);
  if (a.kind < 0 || a.kind >= LW_ACTS) return refuse(error, "there is no such move");
  if (!make_room(p)) return lw_fail(error, LW_NO_MEMORY, "no memory for another move");
  a.minutes = minutes_of[a.kind];
  if (a.kind == LW_ACT_PEDAL && !(a.amount > 0)) a.minutes = 0; /* letting go takes no time */
  a.seeking = p->where == LW_PRACTICE_SEEKING;
  lw_status status = make(p, units, &a, error);
  if (status != LW_OK) return status;
  if (a.kind == LW_ACT_START) disturb(p);
  p->minutes += a.minutes;
  p->acts[p->count++] = a;
  *act = a;
  return LW_OK;
}

const lw_act *lw_practice_acts(const lw_practice *p, size_t *count) {
  *count = p->count;
  return p->acts;
}

double lw_practice_minutes(const lw_practice *p) {
  return p->minutes;
}

int lw_practice_wrong(const lw_practice *p) {
  return p->wrong;
}

void lw_practice_end(lw_practice *p) {
  p->where = LW_PRACTICE_OVER;
}

/* ---- in words ---- */

static void say_turn(const lw_practice *p, const lw_act *a, char *buffer, size_t size) {
  lw_practice_screw screws[LW_SIGHT_SCREWS + 1];
  char turns[48];
  lw_practice_screws(p, screws);
  snprintf(buffer, size, "%s: %s %s", screws[a->which].name,
           lw_turns_text(turns, sizeof turns, fabs(a->done)),
           a->done > 0 ? "counter-clockwise" : "clockwise");
  if (fabs(a->done) < fabs(a->amount) - 1e-9) lw_text_append(buffer, size, ", to its stop");
}

static void say_reading(const lw_act *a, char *buffer, size_t size) {
  const lw_sight *s = &a->sight;
  snprintf(buffer, size,
           "%s: %.0f rpm, CO %.2f %%, CO2 %.1f %%, HC %.0f ppm, O2 %.1f %%, %.1f inHg", s->label,
           lw_dim_shown(LW_SPIN, LW_SHOP, s->speed), 100 * s->x[LW_SEE_CO], 100 * s->x[LW_SEE_CO2],
           1e6 * s->x[LW_SEE_HC], 100 * s->x[LW_SEE_O2],
           lw_dim_shown(LW_PRESSURE, LW_SHOP, s->x[LW_SEE_VACUUM]));
  if (!a->right) lw_text_append(buffer, size, "; not settled");
}

static void say_check(const lw_practice *p, const lw_act *a, char *buffer, size_t size) {
  char what[LW_ACT_WORDS];
  size_t count = 0;
  lw_fault f = p->fault;
  if (!a->seeking) f.id = LW_CAUSE_NONE;
  snprintf(buffer, size, "%s: %s", lw_plain_tests(&count)[a->which].name,
           lw_practice_seen(&f, (size_t)a->which, a->answer, what, sizeof what));
}

const char *lw_practice_words(const lw_practice *p, const lw_act *a, char *buffer, size_t size) {
  switch (a->kind) {
  case LW_ACT_TURN: say_turn(p, a, buffer, size); break;
  case LW_ACT_PEDAL:
    snprintf(buffer, size, a->amount > 0 ? "throttle held at %.0f %%" : "throttle let go",
             100 * a->amount);
    break;
  case LW_ACT_HOLD:
    snprintf(buffer, size, "held at %.0f rpm", lw_dim_shown(LW_SPIN, LW_SHOP, a->amount));
    break;
  case LW_ACT_BLIP: snprintf(buffer, size, "throttle blipped"); break;
  case LW_ACT_HOSE:
    snprintf(buffer, size, "%s %s", lw_hose_text((lw_hose_id)a->which),
             a->amount != 0 ? "plugged" : "put on again");
    break;
  case LW_ACT_GEAR:
    snprintf(buffer, size, a->amount != 0 ? "put in drive, brake held" : "put in neutral");
    break;
  case LW_ACT_START: snprintf(buffer, size, "starter turned"); break;
  case LW_ACT_STOP: snprintf(buffer, size, "ignition off"); break;
  case LW_ACT_WAIT: snprintf(buffer, size, "waited half a minute"); break;
  case LW_ACT_READ: say_reading(a, buffer, size); break;
  case LW_ACT_CHECK: say_check(p, a, buffer, size); break;
  case LW_ACT_NAME:
    snprintf(buffer, size, "named \"%s\": %s", lw_cause_text((lw_cause_id)a->which),
             a->right ? "right, and mended" : "not it");
    break;
  default: snprintf(buffer, size, "%s", "");
  }
  return buffer;
}

/* ---- what lies before the learner ---- */

size_t lw_practice_screws(const lw_practice *p, lw_practice_screw *screws) {
  for (size_t k = 0; k < p->screw_count; k++) {
    const lw_screw_card *s = p->screws[k];
    screws[k] = (lw_practice_screw){.kind = s->kind,
                                    .turns = p->bay.turns[k],
                                    .lo = lw_practice_lowest(s),
                                    .hi = lw_practice_highest(s)};
    snprintf(screws[k].name, sizeof screws[k].name, "%.40s screw", s->name);
  }
  screws[p->screw_count] = (lw_practice_screw){
      .name = "speed screw", .turns = p->bay.stop, .lo = -stop_turns, .hi = stop_turns};
  return p->screw_count + 1;
}

bool lw_practice_plugged(const lw_practice *p, lw_hose_id hose) {
  return hose < LW_HOSES && p->bay.plugged[hose];
}

bool lw_practice_has_hose(const lw_practice *p, lw_hose_id hose) {
  return hose < LW_HOSES &&
         (hose != LW_HOSE_ADVANCE || p->from->engine->spark.source != LW_VACUUM_NONE);
}

bool lw_practice_in_drive(const lw_practice *p) {
  return p->drive;
}

bool lw_practice_automatic(const lw_practice *p) {
  return has_gear(p);
}

const char *lw_practice_complaint(const lw_practice *p) {
  return p->fault.complaint;
}

lw_goal lw_practice_goal(const lw_practice *p) {
  return p->goal;
}

const lw_card *lw_practice_card(const lw_practice *p) {
  return p->from->twin->card;
}
