/* causes_say.c - a weighed list of causes in words: sizes, evidence, what to do, one sentence. */
#include "causes_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { EVIDENCE_MOST = 8, TESTS_MOST = 4 };
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
    [LW_CAUSE_PUMP] = "accelerator pump: cup, inlet check, nozzle, linkage",
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

/* ---- evidence ---- */

static const char *value_of(inquiry *d, lw_channel k, double x) {
  switch (k) {
  case LW_SEE_VACUUM:
    return lw_arena_print(d->arena, "%.1f inHg", lw_dim_shown(LW_PRESSURE, LW_SHOP, x));
  case LW_SEE_CO: return lw_arena_print(d->arena, "%.2f %%", 100 * x);
  case LW_SEE_CO2:
  case LW_SEE_O2: return lw_arena_print(d->arena, "%.1f %%", 100 * x);
  case LW_SEE_HC:
  case LW_SEE_NO: return lw_arena_print(d->arena, "%.0f ppm", 1e6 * x);
  case LW_SEE_TIMING:
    return lw_arena_print(d->arena, "%.0f deg", lw_dim_shown(LW_ANGLE, LW_SHOP, x) + 0.0);
  default: return "";
  }
}

static const char *span_of(inquiry *d, lw_channel k, double x, double band) {
  double lo = k == LW_SEE_TIMING ? x - band : fmax(x - band, 0);
  const char *a = value_of(d, k, lo), *b = value_of(d, k, x + band);
  if (!a || !b) return "";
  return lw_arena_print(d->arena, "%.*s to %s", (int)strcspn(a, " "), a, b);
}

static int stronger(const lw_evidence *a, const lw_evidence *b) {
  return (a->tells < b->tells) - (a->tells > b->tells);
}

static void insert(lw_evidence *list, size_t *n, const lw_evidence *e) {
  size_t at = *n < EVIDENCE_MOST ? (*n)++ : EVIDENCE_MOST;
  while (at > 0 && stronger(&list[at - 1], e) > 0) {
    if (at < EVIDENCE_MOST) list[at] = list[at - 1];
    at--;
  }
  if (at < EVIDENCE_MOST) list[at] = *e;
}

static const char *snap_value(inquiry *d, lw_snap_channel k, double x) {
  static const lw_channel same[LW_SNAP_CHANNELS] = {[LW_SNAP_CO_MOST] = LW_SEE_CO,
                                                    [LW_SNAP_CO_LEAST] = LW_SEE_CO,
                                                    [LW_SNAP_HC_MOST] = LW_SEE_HC,
                                                    [LW_SNAP_O2_MOST] = LW_SEE_O2,
                                                    [LW_SNAP_VACUUM_MOST] = LW_SEE_VACUUM};
  if (k != LW_SNAP_SPEED_MOST) return value_of(d, same[k], x);
  return lw_arena_print(d->arena, "%.0f rpm",
                        10 * floor(0.1 * lw_dim_shown(LW_SPIN, LW_SHOP, x) + 0.5));
}

static const char *snap_span(inquiry *d, lw_snap_channel k, double x) {
  double u = lw_snap_spread(k, x);
  const char *a = snap_value(d, k, fmax(x - u, 0)), *b = snap_value(d, k, x + u);
  if (!a || !b) return "";
  return lw_arena_print(d->arena, "%.*s to %s", (int)strcspn(a, " "), a, b);
}

static void add_snap(inquiry *d, const kept *k, size_t i, lw_evidence *list, size_t *n) {
  const lw_snap *s = &d->snaps[i];
  const lw_snap_shown *sound = &d->sound_shown[i], *with = &k->shown[i];
  for (int ch = 0; ch < LW_SNAP_CHANNELS; ch++) {
    lw_snap_channel c = (lw_snap_channel)ch;
    if (!lw_known(s->x[ch]) || !lw_known(sound->x[ch]) || !lw_known(with->x[ch])) continue;
    lw_snap one = {.label = s->label};
    for (int o = 0; o < LW_SNAP_CHANNELS; o++)
      one.x[o] = o == ch ? s->x[ch] : LW_NONE;
    lw_evidence e = {.tells = lw_snap_log(&one, with, 1) - lw_snap_log(&one, sound, 1)};
    if (e.tells < 0.05) continue;
    e.reading = lw_arena_print(d->arena, "%s, %s", lw_snap_text(c), s->label);
    e.read = snap_value(d, c, s->x[ch]);
    e.healthy = snap_span(d, c, sound->x[ch]);
    e.with = snap_value(d, c, with->x[ch]);
    if (e.reading && e.read && e.healthy && e.with) insert(list, n, &e);
  }
  lw_snap felt = {.felt = s->felt};
  for (int o = 0; o < LW_SNAP_CHANNELS; o++)
    felt.x[o] = LW_NONE;
  lw_evidence e = {.tells = lw_snap_log(&felt, with, 1) - lw_snap_log(&felt, sound, 1)};
  if (e.tells < 0.05) return;
  e.reading = lw_arena_print(d->arena, "felt, %s", s->label);
  e.read = lw_felt_text(s->felt);
  e.healthy = lw_snap_feels(sound);
  e.with = lw_snap_feels(with);
  if (e.reading) insert(list, n, &e);
}

/* What each reading says for this cause against a sound car, both by their own spread. */
static void add_evidence(inquiry *d, const kept *k, lw_cause *c) {
  lw_evidence *list = lw_arena_array(d->arena, EVIDENCE_MOST, sizeof *list);
  size_t n = 0;
  if (!list) return;
  for (size_t i = 0; i < d->count; i++) {
    for (int ch = 0; ch < LW_CHANNELS; ch++) {
      double x = d->sights[i].x[ch];
      if (!lw_known(x) || !(d->sound.band[i][ch] > 0 && k->match.band[i][ch] > 0)) continue;
      double h = (x - d->sound.seen[i][ch]) / d->sound.band[i][ch];
      double w = (x - k->match.seen[i][ch]) / k->match.band[i][ch];
      double tells = 0.5 * fmin(h * h, 200) - 0.5 * fmin(w * w, 200);
      if (tells < 0.05) continue;
      lw_evidence e = {
          .reading = lw_arena_print(d->arena, "%s, %s", lw_channel_text((lw_channel)ch),
                                    d->sights[i].label ? d->sights[i].label : "reading"),
          .read = value_of(d, (lw_channel)ch, x),
          .healthy = span_of(d, (lw_channel)ch, d->sound.seen[i][ch], d->sound.band[i][ch]),
          .with = value_of(d, (lw_channel)ch, k->match.fitted[i][ch]),
          .tells = tells,
      };
      if (e.reading && e.read && e.healthy && e.with) insert(list, &n, &e);
    }
  }
  for (size_t i = 0; i < d->snap_count; i++) {
    if (d->sound_shown[i].possible) add_snap(d, k, i, list, &n);
  }
  c->evidence = list;
  c->evidence_count = n;
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
                        lw_cause_round(t->size, 2), row->unit);
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
  add_evidence(d, k, &c);
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
