/* fitness.c - is this engine fit to be adjusted? The checks around the engine, and the answer.
**
** Rules without another source are common practice.
*/
#include "service_internal.h"

#include <math.h>

/* ---- conditions ---- */

static bool any_idle(const lw_reading_work *r) {
  (void)r;
  return true;
}

static void check_warm(desk *d, lw_check *c) {
  const lw_checks *k = &d->work->job->checks;
  double least = engine_of(d)->warm_coolant;
  /* oil from 60 degC: StVZO Anlage XI (old), item idle test; coolant 70 degC: common practice */
  const double least_oil = 333.15;
  if (!lw_known(least)) least = 343.15;
  c->essential = true;
  c->expected = say(d, "coolant at least %s, or oil at least %s",
                    say_both(d, LW_TEMPERATURE, least), say_both(d, LW_TEMPERATURE, least_oil));
  c->next = "drive or run it warm; an idle set on a cold engine is wrong once it is warm";
  if (lw_known(k->coolant))
    c->found = say(d, "coolant %s", say_both(d, LW_TEMPERATURE, k->coolant));
  if (lw_known(k->oil)) {
    c->found = say(d, "%s%soil %s", c->found ? c->found : "", c->found ? ", " : "",
                   say_both(d, LW_TEMPERATURE, k->oil));
  }
  bool hot = k->coolant >= least || k->oil >= least_oil || k->warm == LW_YES;
  bool read_cold = k->coolant < least || k->oil < least_oil;
  bool measured = k->coolant >= least || k->oil >= least_oil;
  bool cold = k->warm == LW_NO || (read_cold && !measured);
  c->answer = cold ? LW_NOT_FIT : hot ? LW_FIT : LW_FIT_UNKNOWN;
  c->why = cold ? "the engine is not warm" : hot ? "warm" : "no temperature was given";
  if (hot && !cold) c->next = NULL;
}

/* A yes-or-no check with its words. */
static void answer(lw_check *c, lw_answer said, const char *good, const char *bad,
                   const char *unknown, const char *next) {
  c->answer = said == LW_YES ? LW_FIT : said == LW_NO ? LW_NOT_FIT : LW_FIT_UNKNOWN;
  c->why = said == LW_YES ? good : said == LW_NO ? bad : unknown;
  c->next = said == LW_YES ? NULL : next;
}

static void check_choke(desk *d, lw_check *c) {
  lw_answer said = d->work->job->checks.choke_open;
  const lw_reading_work *r = newest_idle(d, any_idle);
  if (said == LW_UNSAID && r && r->reading->choke) {
    said = r->reading->choke == LW_CHOKE_OPEN ? LW_YES : LW_NO;
  }
  c->essential = true;
  c->expected = "fully open";
  answer(c, said, "open", "not fully open: it richens every circuit", "not looked at",
         "look at the plate; free the shaft or set the choke before anything else");
}

static void check_air_cleaner(desk *d, lw_check *c) {
  lw_answer said = d->work->job->checks.air_cleaner;
  const lw_reading_work *r = newest_idle(d, any_idle);
  if (said == LW_UNSAID && r) said = r->reading->air_cleaner;
  c->essential = true;
  c->expected = "fitted";
  answer(c, said, "fitted", "off: with it on the mixture will be richer than it reads", "not said",
         "fit the air cleaner with a clean element and read again");
}

static void check_accessories(desk *d, lw_check *c) {
  const lw_checks *k = &d->work->job->checks;
  const lw_card *card = d->work->card;
  lw_gear wanted = card ? card->idle.gear : LW_GEAR_UNSAID;
  const lw_reading_work *r = newest_idle(d, any_idle);
  lw_gear got = r ? r->reading->gear : LW_GEAR_UNSAID;
  static const char *const gears[] = {"", "neutral", "park", "drive"};
  c->essential = true;
  c->expected =
      wanted ? say(d, "accessories off, selector in %s", gears[wanted]) : "accessories off";
  if (got) c->found = say(d, "selector in %s", gears[got]);
  bool apart = wanted && got && (wanted == LW_GEAR_DRIVE) != (got == LW_GEAR_DRIVE);
  if (apart || k->converter_idle == LW_NO) {
    c->answer = LW_NOT_FIT;
    c->why =
        "not the gear the card sets the idle in: the converter's drag changes speed and mixture";
    c->next = "parking brake on, wheels chocked, then the gear the card names";
    return;
  }
  answer(c, k->accessories_off, "off", "something draws load", "not said",
         "switch off air conditioning, lamps and fans");
}

/* ---- air leaks and vacuum ---- */

static void check_air_leak(desk *d, lw_check *c) {
  const lw_checks *k = &d->work->job->checks;
  c->essential = true;
  c->expected = "none";
  c->next =
      "test the base, manifold joints, hoses and throttle shaft, best with smoke; spray nothing "
      "that burns on a hot engine";
  switch (k->leak_test) {
  case LW_LEAK_NONE:
    c->answer = LW_FIT;
    c->why = "tested, none found";
    c->next = NULL;
    break;
  case LW_LEAK_FOUND:
    c->answer = LW_NOT_FIT;
    c->found = k->leak_place;
    c->why = "air that the carburetor does not meter leans the idle most and fades with load";
    c->next = "stop the leak, then read again";
    break;
  default: c->why = "not tested";
  }
}

static bool has_vacuum(const lw_reading_work *r) {
  return lw_known(r->reading->vacuum);
}

static bool has_needle(const lw_reading_work *r) {
  return r->reading->needle != LW_NEEDLE_UNSAID;
}

static void check_vacuum(desk *d, lw_check *c) {
  const double inhg = 3386.38864034;
  lw_range spec = engine_of(d)->idle_vacuum;
  /* 17 to 22 inHg warm at sea level: vacuum-gauge charts; an inch less for each 1,000 ft: US Army
     Ordnance course OD1001 p. 87. That inch is the air pressure itself, so it is taken off whole.
   */
  if (!lw_range_known(spec)) spec = (lw_range){17 * inhg, NAN, 22 * inhg};
  double lost = LW_STANDARD_PRESSURE - d->work->ambient;
  lw_range here = {spec.lo - lost, NAN, spec.hi - lost};
  c->expected = say(d, "%s%s", say_range(d, LW_PRESSURE, here),
                    fabs(lost) > 1000 ? " (corrected for the air pressure here)" : "");
  const lw_reading_work *r = newest_idle(d, has_vacuum);
  if (!r) {
    c->why = "not read";
    c->next = "read manifold vacuum at idle";
    return;
  }
  c->found = say_both(d, LW_PRESSURE, r->reading->vacuum);
  int side = lw_range_side(here, r->reading->vacuum);
  c->answer = side < 0 ? LW_NOT_FIT : LW_FIT;
  c->why = side < 0   ? "low: late timing, an air leak, a weak cylinder or a mixture far off"
           : side > 0 ? "above the usual span; nothing against it"
                      : "inside its span";
  if (side < 0) c->next = "look at timing, air leaks and compression in that order";
}

static void check_needle(desk *d, lw_check *c) {
  const lw_reading_work *r = newest_idle(d, has_needle);
  c->expected = "steady";
  if (!r) {
    c->why = "not watched";
    return;
  }
  static const char *const found[] = {
      "", "steady", "drops at even intervals", "drops now and then", "drifts", "shakes fast"};
  lw_needle n = r->reading->needle;
  c->found = found[n];
  c->essential = n == LW_NEEDLE_REGULAR_DROP || n == LW_NEEDLE_VIBRATION;
  c->answer = n == LW_NEEDLE_STEADY || n == LW_NEEDLE_DRIFT ? LW_FIT : LW_NOT_FIT;
  switch (n) {
  case LW_NEEDLE_REGULAR_DROP:
    c->why = "one cylinder does not do its share: valve, plug or gasket";
    c->next =
        "cancel one cylinder at a time (its lead grounded, never held by hand) and find the one "
        "that makes no difference";
    break;
  case LW_NEEDLE_IRREGULAR_DROP:
    c->why = "a sticking valve or a plug that misses now and then";
    c->next = "look at plugs and cables, then at the valves";
    break;
  case LW_NEEDLE_VIBRATION:
    c->why = "worn valve guides or weak springs";
    c->next = "find the cause before the idle is set";
    break;
  case LW_NEEDLE_DRIFT: c->why = "slow drift is usually the mixture, or a small air leak"; break;
  default: c->why = "no single cylinder stands out";
  }
}

/* ---- carburetor ---- */

static void check_fuel_level(desk *d, lw_check *c) {
  lw_range spec = carburetor_of(d)->fuel_level;
  double found = d->work->job->checks.fuel_level;
  if (lw_range_known(spec)) c->expected = say_range(d, LW_LENGTH, spec);
  if (lw_known(found)) c->found = say_both(d, LW_LENGTH, found);
  c->essential = true;
  if (!lw_known(found) || !lw_range_known(spec)) {
    c->essential = false; /* a wet level is not always specified nor reachable */
    c->why = lw_known(found) ? "the card does not say what it should be" : "not measured";
    return;
  }
  /* the level is counted down from a mark: more is lower */
  int side = lw_range_side(spec, found);
  c->answer = side == 0 ? LW_FIT : LW_NOT_FIT;
  c->why = side == 0  ? "inside its span"
           : side < 0 ? "high: rich, the more so at small flow"
                      : "low: lean, and starts the main circuit late";
  c->next = side == 0 ? NULL : "set the float and look at needle, seat and pump pressure";
}

static void check_dashpot(desk *d, lw_check *c) {
  lw_answer fitted = carburetor_of(d)->dashpot, clear = d->work->job->checks.dashpot_clear;
  c->expected = "the throttle rests on the speed screw alone";
  c->essential = fitted == LW_YES || clear == LW_NO;
  if (fitted == LW_NO && clear == LW_UNSAID) {
    c->answer = LW_FIT;
    c->why = "none on this unit";
    return;
  }
  answer(c, clear, "clear of the throttle",
         "it holds the throttle open: fast idle that no screw can bring down", "not looked at",
         "back it off until the idle is set, then set its gap");
}

static void check_fall_time(desk *d, lw_check *c) {
  const lw_engine_card *e = engine_of(d);
  /* three seconds: common practice, no source */
  double most = lw_known(e->control_valve.fall_time) ? e->control_valve.fall_time : 3;
  double found = d->work->job->checks.fall_time;
  bool fitted = e->vacuum_source == 3 || lw_known(e->control_valve.set_vacuum);
  c->expected = say(d, "down within %.0f s after the throttle is let go", most);
  if (!lw_known(found)) {
    c->essential = fitted;
    c->answer = fitted || !d->work->card ? LW_FIT_UNKNOWN : LW_FIT;
    c->why = fitted          ? "not timed"
             : d->work->card ? "the card names no advance control valve"
                             : "not timed; no card says whether there is a control valve";
    if (fitted)
      c->next = "in neutral open and release the throttle and time the vacuum at the distributor";
    return;
  }
  c->essential = true;
  c->found = say(d, "%.1f s", found);
  c->answer = found <= most ? LW_FIT : LW_NOT_FIT;
  c->why = found <= most ? "falls in time"
                         : "stays up: spark stays early and the idle stays fast, as with a dashpot "
                           "that holds the throttle; the timing tells them apart";
  if (found > most) c->next = "set the advance control valve, then the idle";
}

/* ---- off idle: the idle can be set all the same ---- */

/* Common practice, no source: the shot starts with the throttle and is the same in all barrels. */
static void check_pump(desk *d, lw_check *c) {
  static const char *const found[] = {NULL, "strong", "weak", "none"};
  lw_pump_shot shot = d->work->job->checks.pump_shot;
  c->expected = "a strong shot from every nozzle as soon as the throttle moves";
  c->found = found[shot];
  if (shot == LW_SHOT_UNSAID) {
    c->why = "not looked at; it acts as the throttle opens";
    return;
  }
  bool good = shot == LW_SHOT_STRONG;
  c->answer = good ? LW_FIT : LW_NOT_FIT;
  c->why = good ? "strong"
                : "does not change the idle; the engine hesitates when the throttle opens, and a "
                  "richer idle would only hide it";
  if (!good)
    c->next = "look at the pump's cup, its inlet check, nozzle and linkage; set the idle as ever";
}

/* A quarter turn: how well its wind-up is counted off the slack; common practice, no source. */
static void check_air_valve(desk *d, lw_check *c) {
  const double counted = 0.25;
  const lw_card *card = d->work->fitted ? d->work->fitted : d->work->card;
  const lw_carburetor_card *unit = card ? &card->carburetor : carburetor_of(d);
  double found = d->work->job->checks.air_valve_turns, want = unit->air_valve_turns;
  char text[48];
  bool fitted = unit->secondary.operation == 3 || lw_known(want);
  if (lw_known(want)) c->expected = say(d, "%s", lw_turns_text(text, sizeof text, want));
  if (lw_known(found)) c->found = say(d, "%s", lw_turns_text(text, sizeof text, found));
  if (!lw_known(found) || !lw_known(want)) {
    bool none = card && !fitted && !lw_known(found);
    if (none) c->expected = "none";
    c->answer = none ? LW_FIT : LW_FIT_UNKNOWN;
    c->why = none               ? "no air valve on this unit"
             : !lw_known(found) ? "not counted; it acts at wide throttle"
                                : "the card does not say what it should be";
    return;
  }
  double off = found - want;
  c->answer = fabs(off) <= counted ? LW_FIT : LW_NOT_FIT;
  c->why = fabs(off) <= counted ? "as on the card"
           : off > 0 ? "too tight: the secondaries open late; the idle is not touched by it"
                     : "too loose: the secondaries open too soon and the engine goes lean for a "
                       "moment; the idle is not touched by it";
  if (c->answer == LW_NOT_FIT) c->next = "wind it to the card's turns, counted from slack";
}

/* ---- the answer ---- */

/* What does not keep the idle from being set, and must be said all the same. */
static const char *fit_but(desk *d, const lw_fitness *f) {
  char list[300] = "";
  for (size_t i = 0; i < LW_CHECK_COUNT; i++) {
    if (f->checks[i].answer != LW_NOT_FIT) continue;
    lw_text_append(list, sizeof list, "%s%s", list[0] ? ", " : "", f->checks[i].name);
  }
  if (!list[0]) return "fit to be adjusted";
  return say(d,
             "fit to be adjusted; not right, though it does not keep the idle from being set: %s",
             list);
}

static void sum_up(desk *d, lw_fitness *f) {
  const lw_check *bad = NULL, *open = NULL;
  size_t essential_open = 0;
  for (size_t i = 0; i < LW_CHECK_COUNT; i++) {
    const lw_check *c = &f->checks[i];
    f->fit += c->answer == LW_FIT;
    f->not_fit += c->answer == LW_NOT_FIT;
    f->unknown += c->answer == LW_FIT_UNKNOWN;
    if (!c->essential || c->answer == LW_FIT) continue;
    if (c->answer == LW_NOT_FIT && !bad) bad = c;
    if (c->answer == LW_FIT_UNKNOWN) {
      essential_open++;
      if (!open) open = c;
    }
  }
  const lw_check *first = bad ? bad : open;
  f->overall = bad ? LW_NOT_FIT : open ? LW_FIT_UNKNOWN : LW_FIT;
  if (bad) {
    f->summary = say(d, "not fit to be adjusted: %s (%s)", bad->name, bad->why);
  } else if (open) {
    f->summary = say(d, "not known to be fit: %zu needed check%s not made, the first is %s",
                     essential_open, essential_open == 1 ? " was" : "s were", open->name);
  } else {
    f->summary = fit_but(d, f);
  }
  if (first && first->next) f->first = say(d, "%s: %s", first->name, first->next);
}

void work_fitness(desk *d) {
  static const struct {
    const char *name;
    void (*check)(desk *, lw_check *);
  } all[LW_CHECK_COUNT] = {
#define NAME(id, text) [id].name = text,
      LW_CHECK_LIST(NAME)
#undef NAME
          [LW_CHECK_WARM]
              .check = check_warm,
      [LW_CHECK_CHOKE].check = check_choke,
      [LW_CHECK_AIR_CLEANER].check = check_air_cleaner,
      [LW_CHECK_ACCESSORIES].check = check_accessories,
      [LW_CHECK_COMPRESSION].check = check_compression,
      [LW_CHECK_LEAKAGE].check = check_leakage,
      [LW_CHECK_DWELL].check = check_dwell,
      [LW_CHECK_TIMING].check = check_timing,
      [LW_CHECK_CENTRIFUGAL].check = check_centrifugal,
      [LW_CHECK_VACUUM_ADVANCE].check = check_vacuum_advance,
      [LW_CHECK_AIR_LEAK].check = check_air_leak,
      [LW_CHECK_VACUUM].check = check_vacuum,
      [LW_CHECK_NEEDLE].check = check_needle,
      [LW_CHECK_FUEL_LEVEL].check = check_fuel_level,
      [LW_CHECK_DASHPOT].check = check_dashpot,
      [LW_CHECK_FALL_TIME].check = check_fall_time,
      [LW_CHECK_PUMP].check = check_pump,
      [LW_CHECK_AIR_VALVE].check = check_air_valve,
  };
  lw_fitness *f = &d->work->fitness;
  for (size_t i = 0; i < LW_CHECK_COUNT; i++) {
    f->checks[i].id = (lw_check_id)i;
    f->checks[i].name = all[i].name;
    all[i].check(d, &f->checks[i]);
  }
  sum_up(d, f);
}
