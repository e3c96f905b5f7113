/* causes_say.c - a weighed list of causes in words: sizes, evidence, what to do, one sentence. */
#include "causes_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { TESTS_MOST = 4 };
static const double least_shown = 0.005;

static const char *const remedies[LW_CAUSES] = {
    [LW_CAUSE_NONE] = "nothing: leave it as it is",
    [LW_CAUSE_SCREWS] = "set the idle; `leanward idle` says which way",
    [LW_CAUSE_UNBALANCED] = "turn the mixture screws to the same place, then set the idle",
    [LW_CAUSE_VACUUM_LEAK] =
        "spray or propane around gaskets, hoses, booster and base; mend the leak",
    [LW_CAUSE_PORT_LEAK] =
        "spray or propane along the manifold's ports; the speed changes at the leak",
    [LW_CAUSE_POWER_LEAK] = "check the power valve or piston, its gasket and its vacuum passage",
    [LW_CAUSE_POWER_SHUT] = "free the power valve or piston",
    [LW_CAUSE_FLOAT_HIGH] = "measure the fuel level; check needle, seat, float and pump pressure",
    [LW_CAUSE_FLOAT_LOW] = "measure the fuel level; check float setting and fuel supply",
    [LW_CAUSE_IDLE_FEED] = "clean the idle feed restriction (idle tube)",
    [LW_CAUSE_IDLE_BLEED] = "clean the idle air bleed",
    [LW_CAUSE_MAIN_RICH] = "measure the main jet; fit the size on the card",
    [LW_CAUSE_MAIN_LEAN] = "clean the main jet and its passage",
    [LW_CAUSE_MAIN_BLEED] = "clean the main air bleed",
    [LW_CAUSE_SHAFT] = "feel for play of the throttle shaft; bush it or change the body",
    [LW_CAUSE_CHOKE] = "open the choke: thermostat setting, linkage, heat",
    [LW_CAUSE_CLEANER] = "change the air cleaner element",
    [LW_CAUSE_SECONDARY] = "find what holds the secondary plates off their seats",
    [LW_CAUSE_CHECK_VALVE] = "clean or change the off-idle check valve",
    [LW_CAUSE_TIMING_LATE] = "set initial timing with the hose plugged",
    [LW_CAUSE_TIMING_EARLY] = "set initial timing with the hose plugged",
    [LW_CAUSE_ADVANCE] = "free the centrifugal weights",
    [LW_CAUSE_VALVE_SET] =
        "set the control valve or dashpot: vacuum must fall within three seconds",
    [LW_CAUSE_PUMP] = "look at the pump shot; then the pump's cup, inlet check, nozzle and linkage",
    [LW_CAUSE_AIR_VALVE] = "wind the air valve's spring to the card's turns, from slack",
    [LW_CAUSE_UNIT] = "read the number on the unit; fit the one made for this transmission",
    [LW_CAUSE_WEAK] = "compression and leakage test; mend the engine before the idle",
    [LW_CAUSE_MISFIRE] = "short the plugs in turn; plug, wire, cap of the one that changes nothing",
    [LW_CAUSE_SAMPLE_AIR] = "put the probe deeper, mend the exhaust, leak-test the analyzer",
    [LW_CAUSE_ANALYZER] = "calibrate the analyzer with span gas and read again",
    [LW_CAUSE_FUEL] = "ask for the fuel; read again on a known one",
    [LW_CAUSE_OTHER] = "look further: no cause in the list explains these readings well",
};

const char *lw_cause_remedy(lw_cause_id cause) {
  return cause < LW_CAUSES ? remedies[cause] : "";
}

/* What is plain in one kind of reading and hardly seen in the others. */
static const char *const shown_by[LW_CAUSES] = {
    [LW_CAUSE_NONE] = "an idle with all gases",
    [LW_CAUSE_SCREWS] = "CO at idle, with the turns of the screws",
    [LW_CAUSE_UNBALANCED] = "the turns of each screw, counted from its seat",
    [LW_CAUSE_VACUUM_LEAK] = "CO and O2 at idle, and again at 2,500 rpm where a leak fades",
    [LW_CAUSE_PORT_LEAK] = "HC and O2 at idle, and again at 2,500 rpm where a leak fades",
    [LW_CAUSE_POWER_LEAK] = "CO at idle and at 2,500 rpm",
    [LW_CAUSE_POWER_SHUT] = "a cruise at low vacuum, with its vacuum",
    [LW_CAUSE_FLOAT_HIGH] = "CO at 2,500 rpm, or at a cruise with its vacuum",
    [LW_CAUSE_FLOAT_LOW] = "CO and O2 at 2,500 rpm, or at a cruise with its vacuum",
    [LW_CAUSE_IDLE_FEED] = "CO at idle, with the turns of the screws",
    [LW_CAUSE_IDLE_BLEED] = "CO at idle, with the turns of the screws",
    [LW_CAUSE_MAIN_RICH] = "gases at 2,500 rpm, or at a cruise with its vacuum",
    [LW_CAUSE_MAIN_LEAN] = "gases at 2,500 rpm, or at a cruise with its vacuum",
    [LW_CAUSE_MAIN_BLEED] = "gases at 2,500 rpm, or at a cruise with its vacuum",
    [LW_CAUSE_SHAFT] = "O2 and CO at idle",
    [LW_CAUSE_CHOKE] = "CO at 2,500 rpm",
    [LW_CAUSE_CLEANER] = "CO at 2,500 rpm, or at a cruise with its vacuum",
    [LW_CAUSE_SECONDARY] = "speed and gases at idle, with the turns of the screws",
    [LW_CAUSE_CHECK_VALVE] = "gases at idle, with the turns of the screws",
    [LW_CAUSE_TIMING_LATE] = "the initial timing, or vacuum at idle",
    [LW_CAUSE_TIMING_EARLY] = "the initial timing, or vacuum at idle",
    [LW_CAUSE_ADVANCE] = "timing at 2,500 rpm, hose plugged",
    [LW_CAUSE_VALVE_SET] = "the fall of the vacuum at the distributor, timed",
    [LW_CAUSE_PUMP] = "a snap from idle, or a tip-in",
    [LW_CAUSE_AIR_VALVE] = "the throttle floored under load (kind: floored)",
    [LW_CAUSE_UNIT] = "the number on the unit, or an idle in drive",
    [LW_CAUSE_WEAK] = "vacuum and HC at idle",
    [LW_CAUSE_MISFIRE] = "HC and O2 at idle",
    [LW_CAUSE_SAMPLE_AIR] = "O2 beside CO and CO2, at idle and at 2,500 rpm",
    [LW_CAUSE_ANALYZER] = "CO and CO2 together, or span gas",
    [LW_CAUSE_FUEL] = "gases at 2,500 rpm, or what was tanked",
    [LW_CAUSE_OTHER] = "all gases at idle and at 2,500 rpm",
};

const char *lw_cause_shown_by(lw_cause_id cause) {
  return cause < LW_CAUSES ? shown_by[cause] : "";
}

/* ---- names ---- */

static const char *sized(inquiry *d, const trial *t) {
  const cause_row *row = t->row;
  const char *place = lw_cause_moves(row->id) ? "" : " side";
  if (row->id == LW_CAUSE_UNIT)
    return lw_arena_print(d->arena, "%s: %s", lw_cause_text(row->id),
                          d->other_name ? d->other_name : "the other transmission's");
  const char *side = row->where ? lw_arena_print(d->arena, ", %s%s", row->where, place) : "";
  if (!row->unit || !side || (row->id == LW_CAUSE_MISFIRE && t->size == 0))
    return lw_arena_print(d->arena, "%s%s", lw_cause_text(row->id), side ? side : "");
  return lw_arena_print(d->arena, "%s%s, about %g %s", lw_cause_text(row->id), side,
                        lw_cause_round(fabs(t->size), 2), row->unit);
}

static void put(lw_cause *list, size_t *n, size_t most, const lw_cause *c) {
  size_t at = *n < most ? (*n)++ : most;
  while (at > 0 && list[at - 1].probability < c->probability) {
    if (at < most) list[at] = list[at - 1];
    at--;
  }
  if (at < most) list[at] = *c;
}

static void add_kept(inquiry *d, const kept *k, lw_cause *list, size_t *n, size_t most) {
  if (k->probability < least_shown || k->trials[0].row->id == LW_CAUSE_NONE) return;
  lw_cause c = {.id = k->trials[0].row->id,
                .second = k->count > 1 ? k->trials[1].row->id : LW_CAUSE_NONE,
                .where = k->trials[0].row->where,
                .probability = k->probability,
                .size = k->trials[0].row->unit ? k->trials[0].size : LW_NONE};
  c.name = sized(d, &k->trials[0]);
  if (k->count > 1) {
    const char *second = sized(d, &k->trials[1]);
    c.name = lw_arena_print(d->arena, "%s, and %s", c.name ? c.name : "", second ? second : "");
  }
  for (size_t i = 0; i < k->count; i++) {
    for (size_t e = 0; e < k->trials[i].edit_count; e++)
      c.edits[c.edit_count++] = lw_arena_print(d->arena, "%s", k->trials[i].text[e]);
  }
  lw_causes_evidence(d, k, &c);
  put(list, n, most, &c);
}

/* Sides and sizes of one cause are one line for people: the likeliest names it. */
static void merge(lw_cause *list, size_t *n) {
  for (size_t i = 0; i < *n; i++) {
    for (size_t j = i + 1; j < *n;) {
      if (list[j].id != list[i].id || list[j].second != list[i].second) {
        j++;
        continue;
      }
      list[i].probability += list[j].probability;
      memmove(&list[j], &list[j + 1], (*n - j - 1) * sizeof *list);
      (*n)--;
    }
  }
  for (size_t i = 1; i < *n; i++) {
    lw_cause c = list[i];
    size_t at = i;
    for (; at > 0 && list[at - 1].probability < c.probability; at--)
      list[at] = list[at - 1];
    list[at] = c;
  }
}

/* The number on the unit says that it is another car's: nothing else can be the only thing wrong. */
static void beside_wrong_unit(inquiry *d, lw_diagnosis *g, lw_cause *list, size_t n) {
  for (size_t i = 0; i < n; i++) {
    lw_cause *c = &list[i];
    bool alone = c->id == LW_CAUSE_NONE;
    c->name = lw_arena_print(d->arena, "%s%s%s", lw_cause_text(LW_CAUSE_UNIT),
                             alone ? "" : ", and ", alone || !c->name ? "" : c->name);
    if (!alone && c->second == LW_CAUSE_NONE) c->second = c->id;
    c->id = LW_CAUSE_UNIT;
  }
  g->by_id[LW_CAUSE_UNIT] = 1;
  g->by_id[LW_CAUSE_NONE] = 0;
}

/* ---- the sentence ---- */

static const char *sentence(inquiry *d, const lw_cause *list, size_t n, bool tie) {
  if (n == 0) return "no cause could be weighed";
  const lw_cause *first = &list[0];
  int percent = (int)(100 * first->probability + 0.5);
  if (tie && n > 1) {
    return lw_arena_print(d->arena, "these readings do not tell %s (%d %%) from %s (%d %%)%s",
                          first->name, percent, list[1].name,
                          (int)(100 * list[1].probability + 0.5), n > 2 ? " and others" : "");
  }
  const char *how = first->probability > 0.9   ? "almost surely"
                    : first->probability > 0.7 ? "probably"
                                               : "most likely, but not surely,";
  return lw_arena_print(d->arena, "%s %s (%d %%): %s", how, first->name, percent,
                        lw_cause_remedy(first->id));
}

lw_status lw_causes_say(inquiry *d, lw_diagnosis **out, lw_error *error) {
  size_t most = KEPT_MOST + 4, n = 0;
  lw_diagnosis *g = lw_arena_alloc(d->arena, sizeof *g);
  lw_cause *list = lw_arena_array(d->arena, most, sizeof *list);
  lw_next_test *tests = lw_arena_array(d->arena, TESTS_MOST, sizeof *tests);
  if (!g || !list || !tests) return lw_fail(error, LW_NO_MEMORY, "no memory to say the causes");
  static const lw_cause_id plain[] = {LW_CAUSE_NONE, LW_CAUSE_SCREWS, LW_CAUSE_UNBALANCED,
                                      LW_CAUSE_OTHER};
  for (size_t i = 0; i < sizeof plain / sizeof plain[0]; i++) {
    if (d->probability[plain[i]] < least_shown) continue;
    lw_cause c = {.id = plain[i],
                  .second = LW_CAUSE_NONE,
                  .name = lw_cause_text(plain[i]),
                  .probability = d->probability[plain[i]],
                  .size = LW_NONE};
    lw_causes_screws_evidence(d, &c);
    put(list, &n, most, &c);
  }
  for (size_t i = 0; i < d->kept_count; i++)
    add_kept(d, &d->kept[i], list, &n, most);
  merge(list, &n);
  g->causes = list;
  g->cause_count = n;
  memcpy(g->by_id, d->probability, sizeof g->by_id);
  if (d->not_its_unit) beside_wrong_unit(d, g, list, n);
  g->tie = n > 1 && list[0].probability < 2 * list[1].probability;
  g->tests = tests;
  g->test_count = lw_causes_tests(d, tests, TESTS_MOST);
  g->summary = sentence(d, list, n, g->tie);
  g->runs = d->runs;
  g->found = n > 0 && list[0].id != LW_CAUSE_NONE;
  for (int i = 0; i < LW_CAUSES; i++)
    g->unseen[i] = d->unseen[i] && !d->seen[i];
  for (int i = 0; i < LW_UNKNOWNS; i++)
    g->open[i] = d->sound.z_u[i] > 0.97;
  for (size_t i = 0; i < n; i++) {
    if (!list[i].name) return lw_fail(error, LW_NO_MEMORY, "no memory to say the causes");
  }
  if (!g->summary) return lw_fail(error, LW_NO_MEMORY, "no memory to say the causes");
  *out = g;
  return LW_OK;
}
