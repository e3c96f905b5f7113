/* edit_other.c - what-ifs that change no size: screws, stops, surroundings, faults.
**
** Figures of ours: the speed screw's pitch and lever, the hole of a leaking power valve.
*/
#include "bench_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define DEG (3.14159265358979323846 / 180)

/* 1/32 in for each turn on a lever of 20 mm. */
const double lw_stop_per_turn = 25.4e-3 / 32 / 20e-3; /* rad */

double lw_speed_screw_turn(void) {
  return lw_stop_per_turn;
}
static const double power_leak_hole = 0.12e-3; /* m */
static const double usual_lip = 5e-3;          /* m, as built without a card's */

/* ---- screws ---- */

const char *lw_edit_screw_name(char *buffer, size_t size, const lw_screw_card *screw) {
  size_t n = strlen(screw->name);
  bool ends = n >= 5 && lw_text_same(screw->name + n - 5, "screw");
  snprintf(buffer, size, ends ? "%s" : "%s screw", screw->name);
  return buffer;
}

/* How people call a screw when there is one to turn, and all of them turned alike. */
static const char *const any_screw[] = {"screw", "mixture screw", "idle mixture screw", NULL};
static const char *const all_screws[] = {"screws", "mixture screws", "idle mixture screws",
                                         "both screws", NULL};

static bool one_of(const char *name, const char *const *words) {
  while (*words && !lw_text_same(name, *words))
    words++;
  return *words != NULL;
}

lw_screw_card *lw_edit_find_screw(const lw_card *card, const char *name) {
  const lw_list *list = &card->carburetor.screws;
  /* the copied card's own screws (copy_card in what_if.c), which lw_list holds as const */
  lw_screw_card *screws = // NOLINTNEXTLINE(performance-no-int-to-ptr)
      (lw_screw_card *)(uintptr_t)list->items;
  char own[96];
  for (size_t i = 0; i < list->count; i++) {
    if (lw_text_same(name, lw_edit_screw_name(own, sizeof own, &screws[i]))) return &screws[i];
  }
  if (!one_of(name, any_screw)) return NULL;
  size_t turnable = 0, at = 0;
  for (size_t i = 0; i < list->count; i++) {
    if (screws[i].kind == LW_SCREW_FIXED) continue;
    turnable++;
    at = i;
  }
  return turnable == 1 || list->count == 1 ? &screws[at] : NULL;
}

bool lw_edit_screw_word(const char *name) {
  return one_of(name, any_screw) || one_of(name, all_screws);
}

double lw_edit_screw_now(const lw_screw_card *s) {
  double now = lw_range_middle(s->preset); /* else as the network builder takes it */
  return lw_known(now) ? now : s->kind == LW_SCREW_FUEL_LIMITER ? 1.5 : 2;
}

static lw_status turn(const lw_edit *e, lw_screw_card *s) {
  if (s->kind == LW_SCREW_FIXED) {
    return lw_edit_refuse(e, "this idle mixture is fixed: there is no screw to turn");
  }
  double at = 0, now = lw_edit_screw_now(s);
  lw_status status = lw_edit_value(e, LW_TURNS, now, -100, 100, &at);
  if (status != LW_OK) return status;
  double lo = lw_known(s->travel.lo) ? s->travel.lo : 0;
  double hi = lw_known(s->travel.hi) ? s->travel.hi : 8;
  if (at < lo - 1e-9 || at > hi + 1e-9) {
    char there[48], low[48], high[48];
    lw_turns_text(there, sizeof there, at);
    bool sealed = at > hi && s->kind == LW_SCREW_FUEL_LIMITED;
    return lw_edit_refuse(e, "the screw would stand at %s out; it goes from %s to %s%s", there,
                          lw_turns_text(low, sizeof low, lo), lw_turns_text(high, sizeof high, hi),
                          sealed ? ", where a sealed stop holds it: force breaks it off" : "");
  }
  s->preset = (lw_range){at, at, at};
  return LW_OK;
}

static lw_status turn_all(const lw_edit *e) {
  const lw_list *list = &e->card->carburetor.screws;
  lw_screw_card *screws = // NOLINTNEXTLINE(performance-no-int-to-ptr)
      (lw_screw_card *)(uintptr_t)list->items;
  lw_status status = LW_OK;
  size_t turned = 0;
  for (size_t i = 0; i < list->count && status == LW_OK; i++) {
    if (screws[i].kind == LW_SCREW_FIXED) continue;
    status = turn(e, &screws[i]);
    turned++;
  }
  return turned ? status
                : lw_edit_refuse(e, "this idle mixture is fixed: there is no screw to turn");
}

/* Several screws and none was named: which there are. */
static lw_status say_which(const lw_edit *e) {
  const lw_list *list = &e->card->carburetor.screws;
  const lw_screw_card *screws = list->items;
  char names[240] = "", own[96];
  for (size_t i = 0; i < list->count; i++) {
    if (screws[i].kind == LW_SCREW_FIXED) continue;
    lw_text_append(names, sizeof names, "'%s', ", lw_edit_screw_name(own, sizeof own, &screws[i]));
  }
  return lw_edit_refuse(e, "there are several screws; write %sor 'screws' for all alike", names);
}

lw_status lw_edit_screw(lw_edit *e) {
  if (e->card->carburetor.screws.count == 0) {
    return lw_edit_refuse(e, "the card names no mixture screw");
  }
  if (one_of(e->name, all_screws)) return turn_all(e);
  lw_screw_card *s = lw_edit_find_screw(e->card, e->name);
  return s ? turn(e, s) : say_which(e);
}

lw_status lw_edit_stop(lw_edit *e) {
  double change = 0;
  bool turns = strstr(e->value, "turn") != NULL;
  if (turns && !e->sign) {
    return lw_edit_refuse(e, "a speed screw has no counted place; write a change, as +1/4 turn");
  }
  double now = turns ? *e->stop / lw_stop_per_turn : *e->stop;
  lw_status status = lw_edit_value(e, turns ? LW_TURNS : LW_ANGLE, now, -100, 100, &change);
  if (status != LW_OK) return status;
  double stop = turns ? change * lw_stop_per_turn : change;
  if (stop < 0 || stop > 40 * DEG) {
    return lw_edit_refuse(e,
                          "the plate would stand %.1f deg over shut; it can stand 0 to 40 deg, "
                          "and stands at %.1f deg",
                          stop / DEG, *e->stop / DEG);
  }
  *e->stop = stop;
  return LW_OK;
}

lw_status lw_edit_float(lw_edit *e) {
  double lip = e->card->carburetor.primary.nozzle_lip, rise = 0;
  if (!e->sign) {
    return lw_edit_refuse(e, "write a change of the fuel's height, as +2 mm (+: fuel higher)");
  }
  double *now = &e->twin->altered.fuel_rise;
  lw_status status = lw_edit_value(e, LW_LENGTH, *now, -20e-3, 20e-3, &rise);
  if (status != LW_OK) return status;
  if (!lw_known(lip)) lip = usual_lip;
  double second = e->card->carburetor.secondary.nozzle_lip;
  if (lw_known(second)) lip = fmin(lip, second);
  if (rise >= lip) {
    return lw_edit_refuse(e,
                          "the fuel would stand over the nozzle's lip, %.2f mm above the level, "
                          "and run over: that is flooding, not a mixture",
                          lip * 1e3);
  }
  *now = rise;
  return LW_OK;
}

/* ---- choke, cleaner, vent, valves ---- */

lw_status lw_edit_choke(lw_edit *e) {
  double share = 0, angle = 0;
  if (strstr(e->value, "deg")) { /* a plate turned by an angle hides its sine of the bore */
    lw_status status =
        lw_edit_value(e, LW_ANGLE, asin(e->twin->altered.choke_shut), 0, 90 * DEG, &angle);
    if (status != LW_OK) return status;
    share = sin(angle);
  } else if (lw_text_same(e->value, "shut")) {
    share = 1;
  } else if (lw_text_same(e->value, "open")) {
    share = 0;
  } else if (e->sign || !lw_edit_share(e, NULL, &share)) {
    return lw_edit_refuse(e, "write how far it is shut: 20 %%, 35 deg, open or shut");
  }
  e->twin->altered.choke_shut = share;
  return LW_OK;
}

lw_status lw_edit_cleaner(lw_edit *e) {
  double share = 0;
  if (lw_text_same(e->value, "clean")) {
    share = 0;
  } else if (!lw_edit_share(e, "clogged", &share)) {
    return lw_edit_refuse(e, "write 'clogged 50 %%' (of its opening) or 'clean'");
  }
  if (share > 0.98) return lw_edit_refuse(e, "an engine gets no air through this; at most 98 %%");
  e->twin->altered.cleaner_clogged = share;
  return LW_OK;
}

lw_status lw_edit_vent(lw_edit *e) {
  static const char *const words[] = {"internal", "external", "both"};
  for (int i = 0; i < 3; i++) {
    if (!lw_text_same(e->value, words[i])) continue;
    e->card->carburetor.vent = i + 1;
    return LW_OK;
  }
  return lw_edit_refuse(e, "write internal, external or both");
}

/* "stuck open", "stuck shut", "sound". False: none of them. */
static bool stuck_words(const lw_edit *e, lw_stuck *how) {
  static const char *const words[] = {"sound", "stuck open", "stuck shut"};
  for (int i = 0; i < 3; i++) {
    if (!lw_text_same(e->value, words[i])) continue;
    *how = (lw_stuck)i;
    return true;
  }
  return false;
}

lw_status lw_edit_power_valve(lw_edit *e) {
  lw_altered *a = &e->twin->altered;
  const lw_barrel_card *primary = &e->card->carburetor.primary;
  if (!lw_known(primary->power_jet) && primary->rods.count < 2) {
    return lw_edit_refuse(e, "the card gives no power enrichment");
  }
  if (lw_text_same(e->value, "leaking")) {
    if (primary->rods.count) {
      return lw_edit_refuse(e, "a vacuum piston moves this unit's rods: it does not leak fuel; "
                               "write stuck open or stuck shut");
    }
    a->power_leak = power_leak_hole;
    return LW_OK;
  }
  if (!stuck_words(e, &a->power_valve)) {
    return lw_edit_refuse(e, "write leaking, stuck open, stuck shut or sound");
  }
  if (!a->power_valve) a->power_leak = 0;
  return LW_OK;
}

lw_status lw_edit_check_valve(lw_edit *e) {
  if (e->card->carburetor.check_valve != LW_YES) {
    return lw_edit_refuse(e, "this unit has no off-idle check valve");
  }
  if (stuck_words(e, &e->twin->altered.check_valve)) return LW_OK;
  return lw_edit_refuse(e, "write stuck open, stuck shut or sound");
}

lw_status lw_edit_secondary(lw_edit *e) {
  lw_altered *a = &e->twin->altered;
  double angle = 0;
  if (!e->card->carburetor.secondary.count) {
    return lw_edit_refuse(e, "this unit has no secondary barrels");
  }
  if (lw_text_same(e->value, "sound")) {
    a->secondary_stuck = false;
    return LW_OK;
  }
  if (strncmp(e->value, "stuck open ", 11) == 0) {
    lw_error error = {0};
    lw_status status = lw_quantity_read(e->units, LW_ANGLE, e->value + 11, &angle, &error);
    if (status != LW_OK) return lw_edit_refuse(e, "%s", error.text);
    if (!(angle >= 0 && angle <= 73 * DEG)) {
      return lw_edit_refuse(e, "the plates can stand 0 to 73 deg over shut");
    }
  } else if (!lw_text_same(e->value, "stuck shut")) {
    return lw_edit_refuse(e, "write 'stuck open 5 deg', 'stuck shut' or 'sound'");
  }
  a->secondary_stuck = true;
  a->secondary_angle = angle;
  return LW_OK;
}

/* Holes: vacuum leak, shaft wear. */
lw_status lw_edit_hole(lw_edit *e) {
  lw_altered *a = &e->twin->altered;
  bool leak = lw_text_same(e->name, "vacuum leak");
  double *at = leak ? &a->vacuum_leak : &a->shaft_wear;
  if (lw_text_same(e->value, "none")) {
    *at = 0;
    return LW_OK;
  }
  return lw_edit_value(e, LW_LENGTH, *at, 0, leak ? 30e-3 : 1e-3, at);
}

/* ---- surroundings ---- */

static double altitude_of(double pressure) {
  double lo = -500, hi = 11000;
  for (int i = 0; i < 60; i++) {
    double mid = 0.5 * (lo + hi);
    *(lw_standard_pressure(mid) > pressure ? &lo : &hi) = mid;
  }
  return 0.5 * (lo + hi);
}

lw_status lw_edit_altitude(lw_edit *e) {
  double altitude = 0;
  lw_status status =
      lw_edit_value(e, LW_ELEVATION, altitude_of(e->twin->ambient), -500, 5000, &altitude);
  if (status == LW_OK) e->twin->ambient = lw_standard_pressure(altitude);
  return status;
}

lw_status lw_edit_pressure(lw_edit *e) {
  return lw_edit_value(e, LW_PRESSURE, e->twin->ambient, 50e3, 110e3, &e->twin->ambient);
}

lw_status lw_edit_temperature(lw_edit *e) {
  return lw_edit_value(e, LW_TEMPERATURE, e->twin->temperature, 233.15, 333.15,
                       &e->twin->temperature);
}

lw_status lw_edit_fuel(lw_edit *e) {
  const char *names[32], *list = "gasoline, E5, E10, E15, E85, ethanol, methanol, iso-octane";
  size_t count = 0;
  while (count < 32 && lw_fuel_name(count)) {
    names[count] = lw_fuel_name(count);
    count++;
  }
  lw_fuel fuel = {0};
  if (!lw_fuel_by_name(e->value, &fuel)) {
    const char *near = lw_text_nearest(e->value, names, count);
    if (near) return lw_edit_refuse(e, "'%s' is not known; is '%s' meant?", e->value, near);
    return lw_edit_refuse(e, "'%s' is not known; use %s", e->value, list);
  }
  if (!lw_known(fuel.density) || fuel.density < 600) {
    return lw_edit_refuse(e, "%s is no liquid in a float bowl; use %s", fuel.name, list);
  }
  e->card->fuel = (lw_fuel_said){.name = fuel.name,
                                 .h_c = fuel.h_c,
                                 .o_c = fuel.o_c,
                                 .heating_value = fuel.heating_value,
                                 .density = fuel.density,
                                 .line = e->card->fuel.line};
  return LW_OK;
}
