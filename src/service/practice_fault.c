/* practice_fault.c - something wrong with a sound car: drawn, made, and seen to show. */
#include "practice_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double rpm = 0.10471975511965977;
static const double fast = 2500 * 0.10471975511965977;

static const char *const hoses[] = {
#define HOSE_TEXT(id, name) name,
    LW_HOSE_LIST(HOSE_TEXT)
#undef HOSE_TEXT
};

const char *lw_hose_text(lw_hose_id hose) {
  return hose < LW_HOSES ? hoses[hose] : "hose";
}

/* splitmix64 (Steele, Lea, Flood, OOPSLA 2014; from memory) */
double lw_practice_lot(uint64_t seed, uint64_t place) {
  uint64_t x = seed + (place + 1) * 0x9E3779B97F4A7C15u;
  x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9u;
  x = (x ^ (x >> 27)) * 0x94D049BB133111EBu;
  return (double)((x ^ (x >> 31)) >> 11) / 9007199254740992.0;
}

/* An air valve shows under load only, and a wrong unit needs a card of its own. */
bool lw_fault_may(lw_cause_id cause) {
  return cause < LW_CAUSES && cause != LW_CAUSE_OTHER && cause != LW_CAUSE_AIR_VALVE &&
         cause != LW_CAUSE_UNIT;
}

/* ---- screws ---- */

size_t lw_practice_find_screws(const lw_card *card, const lw_screw_card **screws) {
  const lw_list *list = &card->carburetor.screws;
  const lw_screw_card *s = list->items;
  size_t n = 0;
  for (size_t i = 0; i < list->count && n < LW_SIGHT_SCREWS; i++) {
    if (s[i].kind != LW_SCREW_FIXED) screws[n++] = &s[i];
  }
  return n;
}

double lw_practice_lowest(const lw_screw_card *s) {
  return lw_known(s->travel.lo) ? s->travel.lo : 0;
}

double lw_practice_highest(const lw_screw_card *s) {
  return lw_known(s->travel.hi) ? s->travel.hi : 6;
}

/* As the network builder takes it. */
double lw_practice_preset(const lw_screw_card *s) {
  double now = lw_range_middle(s->preset);
  return lw_known(now) ? now : s->kind == LW_SCREW_FUEL_LIMITER ? 1.5 : 2;
}

/* ---- what it shows ---- */

lw_symptoms lw_practice_symptoms(const lw_test_car *car, double gain, double speed,
                                 lw_gear_load gear) {
  lw_running run;
  lw_state state = {0};
  lw_error ignored = {0};
  double load =
      gear == LW_LOAD_DRIVE && lw_known(speed) ? car->engine->converter * speed * speed : 0;
  lw_status status = lw_known(speed) ? lw_engine_hold(car->engine, car->twin->net, &car->around,
                                                      speed, load, &state, &run, &ignored)
                                     : lw_engine_idle(car->engine, car->twin->net, &car->around, 0,
                                                      gear, &state, &run, &ignored);
  const lw_gases *gas = &run.burned.sampled.dry;
  if (status != LW_OK || run.stalled) return (lw_symptoms){0};
  return (lw_symptoms){.runs = true,
                       .speed = run.setting.speed,
                       .vacuum = run.vacuum,
                       .co = gas->co * gain,
                       .co2 = gas->co2 * gain,
                       .o2 = gas->o2,
                       .hc = gas->hc / 6 * gain,
                       .misfire = run.burned.misfire,
                       .throttle = run.setting.throttle};
}

/* More than an instrument's own error would hide, twice over (ours; docs/practice.md). */
static bool differ(const lw_symptoms *a, const lw_symptoms *b) {
  const double was[] = {a->co, a->co2, a->o2, a->hc, a->vacuum},
               is[] = {b->co, b->co2, b->o2, b->hc, b->vacuum};
  static const double least[] = {0.002, 0.006, 0.003, 40e-6, 1700},
                      part[] = {0.08, 0.05, 0.08, 0.15, 0};
  if (a->runs != b->runs) return true;
  for (int k = 0; k < 5; k++) {
    if (fabs(is[k] - was[k]) > least[k] + part[k] * was[k]) return true;
  }
  return fabs(a->speed - b->speed) > 40 * rpm;
}

static lw_gear_load gear_of(const lw_test_car *car) {
  return car->twin->card->idle.gear == LW_GEAR_DRIVE && car->engine->converter > 0 ? LW_LOAD_DRIVE
                                                                                   : LW_LOAD_NONE;
}

/* ---- making it ---- */

static void turn_screws(const lw_test_car *car, lw_fault *f, uint64_t seed) {
  const lw_screw_card *screws[LW_SIGHT_SCREWS];
  size_t n = lw_practice_find_screws(car->twin->card, screws);
  double off = 0.5 + 0.6 * lw_practice_lot(seed, 31);
  if (lw_practice_lot(seed, 32) < 0.5) off = -off;
  for (size_t k = 0; k < n; k++) {
    double by = f->id == LW_CAUSE_SCREWS ? off : (k % 2 ? -0.6 : 0.6) * off;
    double now = lw_practice_preset(screws[k]);
    double to = fmin(fmax(now + by, lw_practice_lowest(screws[k])), lw_practice_highest(screws[k]));
    f->turned[k] = to - now;
  }
}

/* The row in one of its sizes. */
static void make(const lw_test_car *car, const cause_row *row, double size, uint64_t seed,
                 lw_fault *f) {
  trial t;
  bool one = (row->edit && strchr(row->edit, '#')) || (row->also && strchr(row->also, '#'));
  *f = (lw_fault){.id = row->id, .size = size, .hose = -1, .gain = 1};
  if (one) f->cylinder = 1 + (int)(lw_practice_lot(seed, 41) * car->engine->cylinders);
  lw_cause_trial(row, size, f->cylinder, &t);
  f->edit_count = t.edit_count;
  memcpy(f->edits, t.text, sizeof f->edits);
  if (row->id == LW_CAUSE_ANALYZER) f->gain = size;
  if (row->id == LW_CAUSE_VACUUM_LEAK) { /* half of them at a hose that can be plugged */
    double at = lw_practice_lot(seed, 42);
    f->hose = at < 0.25 ? LW_HOSE_BOOSTER : at < 0.5 ? LW_HOSE_CRANKCASE : -1;
  }
  snprintf(f->name, sizeof f->name, "%s", lw_cause_text(row->id));
  if (row->where) lw_text_append(f->name, sizeof f->name, ", %s side", row->where);
  if (row->id == LW_CAUSE_ANALYZER) {
    lw_text_append(f->name, sizeof f->name, ": shows %.0f %% of what is there", 100 * size);
  } else if (row->unit && size > 0) {
    lw_text_append(f->name, sizeof f->name, ", %g %s", size, row->unit);
  }
  if (f->cylinder) lw_text_append(f->name, sizeof f->name, ", cylinder %d", f->cylinder);
  if (f->hose >= 0) lw_text_append(f->name, sizeof f->name, ", at the %s", hoses[f->hose]);
}

static void make_plain(const lw_test_car *car, lw_cause_id id, uint64_t seed, lw_fault *f) {
  *f = (lw_fault){.id = id, .hose = -1, .gain = 1};
  snprintf(f->name, sizeof f->name, "%s", lw_cause_text(id));
  if (id != LW_CAUSE_NONE) turn_screws(car, f, seed);
}

/* What a customer would say of it. */
static void complain(const lw_test_car *car, const lw_symptoms *idle, lw_fault *f) {
  lw_goal goal = lw_goal_from(car->twin->card);
  const char *words = "It is here for its yearly look; the owner notices nothing.";
  f->stumbles = f->id == LW_CAUSE_PUMP;
  if (f->stumbles) {
    words = "It stumbles when the throttle is opened.";
  } else if (!idle->runs) {
    words = "It starts, and dies as soon as the foot comes off.";
  } else if (idle->misfire > 0.05) {
    words = "It shakes at idle and failed its exhaust test.";
  } else if (idle->speed > goal.speed + goal.speed_within + 25 * rpm) {
    words = "It idles too fast.";
  } else if (idle->speed < goal.speed - goal.speed_within - 25 * rpm) {
    words = "It idles too slowly and wants to die at lights.";
  } else if (idle->co > goal.co_hi + 0.005) {
    words = "It smells of fuel, and uses more than it did.";
  } else if (idle->co < goal.co_lo - 0.002) {
    words = "It idles unwillingly until it is quite warm.";
  }
  snprintf(f->complaint, sizeof f->complaint, "%s", words);
}

/* It can also be run in time; a pump that ails must be there. */
static bool can_run(const lw_test_car *car, const lw_test_car *sound, lw_cause_id id) {
  lw_motion *motion = NULL, *was = NULL;
  lw_error ignored = {0};
  bool can = lw_test_car_motion(car, &motion, &ignored) == LW_OK &&
             lw_test_car_motion(sound, &was, &ignored) == LW_OK;
  if (can && id == LW_CAUSE_PUMP) can = lw_motion_devices(was)->pump_volume > 0;
  lw_motion_free(motion);
  lw_motion_free(was);
  return can;
}

/* Whether the needles show it, at idle or at 2,500 rpm; a sound car shows nothing, and may. */
static bool seen_on(const lw_test_car *sound, const lw_test_car *ill, lw_fault *f) {
  lw_gear_load gear = gear_of(sound);
  lw_symptoms is_fast = lw_practice_symptoms(ill, f->gain, fast, LW_LOAD_NONE);
  if (!is_fast.runs || !can_run(ill, sound, f->id)) return false;
  lw_symptoms was_fast = lw_practice_symptoms(sound, 1, fast, LW_LOAD_NONE);
  lw_symptoms was = lw_practice_symptoms(sound, 1, LW_NONE, gear);
  lw_symptoms is = lw_practice_symptoms(ill, f->gain, LW_NONE, gear);
  complain(sound, &is, f);
  bool anyway = f->id == LW_CAUSE_NONE || f->stumbles;
  return anyway || differ(&was, &is) || differ(&was_fast, &is_fast);
}

/* Looked at as it is on the car. */
static bool shows(lw_units *units, const lw_test_car *car, lw_fault *f) {
  lw_error ignored = {0};
  lw_test_car *ill = NULL;
  const lw_screw_card *screws[LW_SIGHT_SCREWS];
  char texts[LW_SIGHT_SCREWS][EDIT_SIZE];
  const char *edits[LW_SIGHT_SCREWS + 2];
  size_t n = 0, screw_count = lw_practice_find_screws(car->twin->card, screws);
  lw_arena *arena = lw_arena_new(0);
  for (; n < f->edit_count; n++)
    edits[n] = f->edits[n];
  for (size_t k = 0; k < screw_count; k++) {
    snprintf(texts[k], sizeof texts[k], "%s screw=%.6f turns", screws[k]->name,
             lw_practice_preset(screws[k]) + f->turned[k]);
    edits[n++] = texts[k];
  }
  bool seen = arena && lw_test_car_what_if(arena, units, car, edits, n, &ill, &ignored) == LW_OK &&
              seen_on(car, ill, f);
  lw_arena_free(arena);
  return seen;
}

/* ---- drawing ---- */

/* All sizes of a row, from one drawn on, until one shows. */
static bool try_row(lw_units *units, const lw_test_car *car, const cause_row *row, uint64_t seed,
                    lw_fault *f) {
  if (!lw_cause_may(car, row)) return false;
  if (!row->edit && row->id != LW_CAUSE_ANALYZER) return false;
  size_t first = (size_t)(lw_practice_lot(seed, 51) * (double)row->size_count);
  for (size_t i = 0; i < row->size_count; i++) {
    make(car, row, row->sizes[(first + i) % row->size_count], seed, f);
    if (shows(units, car, f)) return true;
  }
  return false;
}

static bool try_plain(lw_units *units, const lw_test_car *car, lw_cause_id id, uint64_t seed,
                      lw_fault *f) {
  const lw_screw_card *screws[LW_SIGHT_SCREWS];
  size_t n = lw_practice_find_screws(car->twin->card, screws);
  if ((id == LW_CAUSE_SCREWS && n < 1) || (id == LW_CAUSE_UNBALANCED && n < 2)) return false;
  for (uint64_t i = 0; i < 8; i++) {
    make_plain(car, id, seed + i, f);
    if (shows(units, car, f)) return true;
  }
  return false;
}

static bool is_plain(lw_cause_id id) {
  return id == LW_CAUSE_NONE || id == LW_CAUSE_SCREWS || id == LW_CAUSE_UNBALANCED;
}

/* A cause as often as it is met, the sound car aside. */
static lw_cause_id draw_cause(uint64_t seed) {
  double total = 0;
  for (int i = LW_CAUSE_NONE + 1; i < LW_CAUSE_OTHER; i++)
    total += lw_cause_prior((lw_cause_id)i);
  double at = total * lw_practice_lot(seed, 61);
  int i = LW_CAUSE_NONE + 1;
  for (; i < LW_CAUSE_OTHER - 1; i++) {
    at -= lw_cause_prior((lw_cause_id)i);
    if (at < 0) break;
  }
  return (lw_cause_id)i;
}

static bool try_cause(lw_units *units, const lw_test_car *car, lw_cause_id id, uint64_t seed,
                      lw_fault *f) {
  size_t count = 0, of_it = 0;
  const cause_row *rows = lw_cause_rows(&count), *own[8];
  if (is_plain(id)) return try_plain(units, car, id, seed, f);
  for (size_t i = 0; i < count && of_it < 8; i++) {
    if (rows[i].id == id) own[of_it++] = &rows[i];
  }
  size_t first = (size_t)(lw_practice_lot(seed, 71) * (double)of_it);
  for (size_t i = 0; i < of_it; i++) {
    if (try_row(units, car, own[(first + i) % of_it], seed, f)) return true;
  }
  return false;
}

lw_status lw_fault_draw(lw_units *units, const lw_test_car *car, lw_cause_id cause, uint64_t seed,
                        lw_fault *fault, lw_error *error) {
  enum { DRAWS = 60 };
  bool any = cause == LW_CAUSES;
  if (!any && !lw_fault_may(cause))
    return lw_fail(error, LW_BAD_INPUT, "'%s' cannot be made on a car", lw_cause_text(cause));
  for (uint64_t i = 0; i < (any ? DRAWS : 1); i++) {
    lw_fault f;
    lw_cause_id id = any ? draw_cause(seed + i) : cause;
    if (!lw_fault_may(id) || !try_cause(units, car, id, seed + i, &f)) continue;
    *fault = f;
    return LW_OK;
  }
  if (any) return lw_fail(error, LW_BAD_INPUT, "no fault could be made on this car");
  return lw_fail(error, LW_BAD_INPUT,
                 "'%s' cannot be had on this car, or its needles would not show it; choose another",
                 lw_cause_text(cause));
}
