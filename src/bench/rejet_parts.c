/* rejet_parts.c - what may be changed: parts with the sizes a drawer holds, and a unit with them.
**
** Steps of the usual drawer are common practice without a source: jets and drills by whole
** thousandths of an inch, power valves by half an inch of mercury, the fuel's height by 1/64 in.
** How far each size may go, and what labor each part is, are ours.
*/
#include "rejet_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define INCH 25.4e-3
#define INHG 3386.38864

static const double thousandth = INCH / 1000;
static const double least_hole = 0.1e-3, most_hole = 8e-3; /* m, as on a card */

/* ---- the kinds of parts ---- */

typedef struct part_kind {
  const char *name;
  lw_knob_kind kind;
  size_t at, drawer;  /* members of lw_barrel_card and of lw_drawer */
  double least, most; /* of the usual drawer, over what is fitted */
  double labor;
  const char *sealed; /* words that seal it, beside its name */
} part_kind;

#define AT(m) offsetof(lw_barrel_card, m)
#define IN(m) offsetof(lw_drawer, m)

static const part_kind kinds[] = {
    {"main jet", LW_KNOB_SIZE, AT(main_jet), IN(main_jet), 0.75, 1.35, 1, "main jets"},
    {"main bleed", LW_KNOB_SIZE, AT(main_bleed), IN(main_bleed), 0.7, 1.4, 2, "main air bleed"},
    {"power jet", LW_KNOB_SIZE, AT(power_jet), IN(power_jet), 0.6, 1.6, 1, "power jets"},
    {"idle feed", LW_KNOB_SIZE, AT(idle_feed), IN(idle_feed), 0.75, 1.4, 2, "idle tube"},
    {"idle bleed", LW_KNOB_SIZE, AT(idle_bleed), IN(idle_bleed), 0.6, 1.6, 2, "idle air bleed"},
    {"second idle bleed", LW_KNOB_SIZE, AT(second_idle_bleed), IN(second_idle_bleed), 0.6, 1.6, 2,
     "second idle air bleed"},
    {"idle restriction", LW_KNOB_SIZE, AT(idle_restriction), IN(idle_restriction), 0.7, 1.4, 2,
     "idle restrictions"},
    {"rod economy step", LW_KNOB_ROD_ECONOMY, AT(rods), IN(rods), 0.7, 1.15, 1, "metering rods"},
    {"rod power step", LW_KNOB_ROD_POWER, AT(rods), IN(rods), 0.5, 1.3, 1, "metering rods"},
    {"power valve", LW_KNOB_VALVE, 0, IN(power_valve), 0, 0, 1, "vacuum piston"},
    {"float level", LW_KNOB_FLOAT, 0, IN(float_level), 0, 0, 1, "float setting"},
};
enum { KINDS = sizeof kinds / sizeof kinds[0] };

typedef struct lister {
  lw_arena *arena;
  const lw_twin *twin;
  const lw_rejet_ask *ask;
  lw_knobs *knobs;
} lister;

static const lw_barrel_card *group(const lw_card *card, bool secondary) {
  return secondary ? &card->carburetor.secondary : &card->carburetor.primary;
}

static double member(const lw_barrel_card *g, size_t at) {
  return *(const double *)(const void *)((const char *)g + at);
}

/* What is fitted; NaN: nothing of this kind is. */
static double fitted(const lister *l, const part_kind *k, bool secondary) {
  const lw_carburetor_card *c = &l->twin->card->carburetor;
  const lw_barrel_card *g = group(l->twin->card, secondary);
  size_t last = g->rods.count ? g->rods.count - 1 : 0;
  if (secondary && !g->count) return LW_NONE;
  switch (k->kind) {
  case LW_KNOB_ROD_ECONOMY: return g->rods.count ? g->rods.x[0] : LW_NONE;
  case LW_KNOB_ROD_POWER: return g->rods.count > 1 ? g->rods.x[last] : LW_NONE;
  case LW_KNOB_VALVE:
    return !secondary && (lw_known(g->power_jet) || last) ? c->power_opens : LW_NONE;
  case LW_KNOB_FLOAT: return secondary ? LW_NONE : 0;
  default:
    if (k->at == AT(power_jet) && (g->rods.count || secondary)) return LW_NONE;
    return member(g, k->at);
  }
}

/* ---- sealed, kept ---- */

/* Words of phrase stand in text, whole, whatever their case. */
static bool speaks_of(const char *text, const char *phrase) {
  size_t n = strlen(phrase);
  char part[64];
  for (const char *at = text; *at; at++) {
    bool begins = at == text || at[-1] == ' ';
    if (!begins || strlen(at) < n) continue;
    bool ends = at[n] == '\0' || strchr(" ,;.s", at[n]) != NULL;
    snprintf(part, sizeof part, "%.*s", (int)n, at);
    if (ends && lw_text_same(part, phrase)) return true;
  }
  return false;
}

static bool sealed(const lister *l, const part_kind *k) {
  const lw_texts *texts = &l->twin->card->carburetor.sealed;
  for (size_t i = 0; i < texts->count; i++) {
    /* a screw that sets a part's height is not the part */
    if (strstr(texts->text[i], "height screw")) continue;
    if (speaks_of(texts->text[i], k->name) || speaks_of(texts->text[i], k->sealed)) return true;
  }
  return false;
}

static bool kept(const lister *l, const part_kind *k, const char *name) {
  bool rod = k->kind == LW_KNOB_ROD_ECONOMY || k->kind == LW_KNOB_ROD_POWER;
  for (size_t i = 0; i < l->ask->keep_count; i++) {
    const char *word = l->ask->keep[i];
    if (lw_text_same(word, name) || lw_text_same(word, k->name)) return true;
    if (rod && (lw_text_same(word, "rods") || lw_text_same(word, "rod"))) return true;
  }
  return false;
}

/* ---- sizes ---- */

static void add_size(lw_knob *k, double size, double second) {
  const double same = 1e-7; /* m, or Pa: closer than any drill */
  int at = 0;
  for (int i = 0; i < k->count; i++) {
    if (fabs(k->size[i] - size) < same && (!lw_known(second) || fabs(k->second[i] - second) < same))
      return;
  }
  if (k->count == LW_SIZES) return;
  while (at < k->count && (k->size[at] < size || (k->size[at] == size && k->second[at] < second)))
    at++;
  for (int i = k->count; i > at; i--) {
    k->size[i] = k->size[i - 1];
    k->second[i] = k->second[i - 1];
  }
  k->size[at] = size;
  k->second[at] = second;
  k->count++;
}

static void find_now(lw_knob *k, double now, double second) {
  for (int i = 0; i < k->count; i++) {
    bool alike = !lw_known(second) || fabs(k->second[i] - second) < 1e-9;
    if (fabs(k->size[i] - now) < 1e-7 && alike) k->now = i;
  }
}

static void usual_sizes(lw_knob *k, const part_kind *kind, double now) {
  if (kind->kind == LW_KNOB_FLOAT) {
    for (int i = -4; i <= 4; i++)
      add_size(k, i * INCH / 64, LW_NONE);
  } else if (kind->kind == LW_KNOB_VALVE) {
    for (int i = 3; i <= 21; i++)
      add_size(k, 0.5 * i * INHG, LW_NONE);
  } else {
    long first = lround(ceil(fmax(kind->least * now, least_hole) / thousandth));
    long last = lround(floor(fmin(kind->most * now, most_hole) / thousandth));
    long step = (last - first) / (LW_SIZES - 4) + 1;
    for (long i = first; i <= last; i += step)
      add_size(k, (double)i * thousandth, LW_NONE);
  }
}

static void drawer_sizes(lw_knob *k, const part_kind *kind, const lw_drawer *drawer) {
  const char *at = (const char *)drawer + kind->drawer;
  if (kind->kind == LW_KNOB_ROD_ECONOMY) {
    const lw_rod_said *rods = drawer->rods.items;
    for (size_t i = 0; i < drawer->rods.count; i++)
      add_size(k, rods[i].economy, rods[i].power);
    return;
  }
  const lw_values *values = (const lw_values *)(const void *)at;
  for (size_t i = 0; i < values->count; i++)
    add_size(k, values->x[i], LW_NONE);
}

/* ---- the list ---- */

static void leave_out(const lister *l, const char *name, const char *why) {
  lw_knobs *ks = l->knobs;
  char *text = lw_arena_print(l->arena, "%s: %s", name, why);
  if (text && ks->left_out_count < LW_KNOBS) ks->left_out[ks->left_out_count++] = text;
}

/* Both steps of a rod are one part. */
static int part_of(lw_knobs *ks, const part_kind *kind, bool secondary) {
  for (int i = 0; i < ks->count; i++) {
    if (kind->kind == LW_KNOB_ROD_POWER && ks->knob[i].secondary == secondary &&
        ks->knob[i].kind == LW_KNOB_ROD_ECONOMY)
      return ks->knob[i].part;
  }
  ks->labor[ks->parts] = kind->labor;
  return ks->parts++;
}

static void list_kind(const lister *l, const part_kind *kind, bool secondary) {
  lw_knobs *ks = l->knobs;
  const lw_drawer *drawer = l->ask->drawer;
  double now = fitted(l, kind, secondary), second = LW_NONE;
  if (!lw_known(now) || ks->count == LW_KNOBS) return;
  lw_knob *k = &ks->knob[ks->count];
  *k = (lw_knob){.kind = kind->kind, .secondary = secondary, .at = kind->at, .labor = kind->labor};
  snprintf(k->name, sizeof k->name, "%s%s", secondary ? "secondary " : "", kind->name);
  if (drawer && kind->kind == LW_KNOB_ROD_POWER) return; /* with its economy step */
  if (drawer && kind->kind == LW_KNOB_ROD_ECONOMY) {
    const lw_values *rods = &group(l->twin->card, secondary)->rods;
    k->kind = LW_KNOB_ROD;
    second = rods->x[rods->count - 1];
    snprintf(k->name, sizeof k->name, "%srods", secondary ? "secondary " : "");
  }
  if (kept(l, kind, k->name)) {
    leave_out(l, k->name, "kept");
  } else if (sealed(l, kind)) {
    leave_out(l, k->name, "sealed");
  } else {
    add_size(k, now, second);
    if (drawer) {
      drawer_sizes(k, kind, drawer);
    } else {
      usual_sizes(k, kind, now);
    }
    if (k->count < 2) return; /* none in the drawer */
    find_now(k, now, second);
    k->part = part_of(ks, kind, secondary);
    ks->count++;
  }
}

/* A part to keep must be one there is a word for. */
static lw_status check_keep(const lw_rejet_ask *ask, lw_error *error) {
  const char *names[2 * KINDS + 2];
  char seconds[KINDS][40];
  size_t count = 0;
  names[count++] = "rods";
  for (size_t i = 0; i < KINDS; i++) {
    snprintf(seconds[i], sizeof seconds[i], "secondary %s", kinds[i].name);
    names[count++] = kinds[i].name;
    names[count++] = seconds[i];
  }
  for (size_t i = 0; i < ask->keep_count; i++) {
    size_t k = 0;
    while (k < count && !lw_text_same(ask->keep[i], names[k]))
      k++;
    if (k < count) continue;
    const char *near = lw_text_nearest(ask->keep[i], names, count);
    return lw_fail(error, LW_BAD_INPUT,
                   "'%.60s' is no part that could be kept%s%s%s; the parts are %s", ask->keep[i],
                   near ? "; is '" : "", near ? near : "", near ? "' meant?" : "",
                   "main jet, main bleed, rods, power jet, power valve, idle feed, idle bleed, "
                   "second idle bleed, idle restriction, float level");
  }
  return LW_OK;
}

lw_status lw_knobs_list(lw_arena *arena, const lw_twin *twin, const lw_rejet_ask *ask,
                        lw_knobs *knobs, lw_error *error) {
  lister l = {arena, twin, ask, knobs};
  lw_status status = check_keep(ask, error);
  if (status != LW_OK) return status;
  knobs->count = knobs->parts = 0;
  knobs->left_out_count = 0;
  for (int secondary = 0; secondary < 2; secondary++) {
    for (size_t i = 0; i < KINDS; i++)
      list_kind(&l, &kinds[i], secondary == 1);
  }
  return LW_OK;
}

/* ---- a unit with a choice ---- */

static void own_rods(lw_candidate *c, bool secondary) {
  lw_values *rods =
      secondary ? &c->card.carburetor.secondary.rods : &c->card.carburetor.primary.rods;
  if (!rods->count || rods->count > LW_SIZES || rods->x == c->rods[secondary]) return;
  memcpy(c->rods[secondary], rods->x, rods->count * sizeof *rods->x);
  rods->x = c->rods[secondary];
}

static void put(lw_candidate *c, const lw_knob *k, int i) {
  lw_carburetor_card *unit = &c->card.carburetor;
  lw_barrel_card *g = k->secondary ? &unit->secondary : &unit->primary;
  double *rods = c->rods[k->secondary];
  switch (k->kind) {
  case LW_KNOB_SIZE: *(double *)(void *)((char *)g + k->at) = k->size[i]; break;
  case LW_KNOB_ROD:
    rods[g->rods.count - 1] = k->second[i];
    rods[0] = k->size[i];
    break;
  case LW_KNOB_ROD_ECONOMY: rods[0] = k->size[i]; break;
  case LW_KNOB_ROD_POWER: rods[g->rods.count - 1] = k->size[i]; break;
  case LW_KNOB_VALVE: /* another spring load, the same spring: it shuts as much above as before */
    unit->power_closes += k->size[i] - unit->power_opens;
    unit->power_opens = k->size[i];
    break;
  case LW_KNOB_FLOAT: c->twin.altered.fuel_rise += k->size[i]; break;
  }
}

static bool sane(const lw_candidate *c) {
  const lw_carburetor_card *u = &c->card.carburetor;
  const lw_barrel_card *groups[] = {&u->primary, &u->secondary};
  double rise = c->twin.altered.fuel_rise;
  for (int i = 0; i < 2; i++) {
    const lw_barrel_card *g = groups[i];
    const lw_values *r = &g->rods;
    if (r->count && !(r->x[0] < g->main_jet && r->x[r->count - 1] <= r->x[0])) return false;
    if (lw_known(g->nozzle_lip) && rise >= 0.9 * g->nozzle_lip) return false;
  }
  return !lw_card_impossible(&c->card);
}

static bool turn_screws(lw_candidate *c, double turn) {
  const lw_list *list = &c->card.carburetor.screws;
  if (list->count > LW_REJET_SCREWS) return turn == 0;
  if (list->count) memcpy(c->screws, list->items, list->count * sizeof c->screws[0]);
  for (size_t i = 0; i < list->count; i++) {
    lw_screw_card *s = &c->screws[i];
    double at = lw_edit_screw_now(s) + turn;
    if (s->kind != LW_SCREW_FIXED) s->preset = (lw_range){at, at, at};
  }
  c->card.carburetor.screws.items = c->screws;
  return true;
}

bool lw_candidate_build(lw_arena *arena, const lw_twin *base, const lw_knobs *knobs,
                        const lw_choice *choice, lw_candidate *c) {
  c->card = *base->card;
  c->twin = *base;
  c->twin.card = &c->card;
  own_rods(c, false);
  own_rods(c, true);
  for (int i = 0; i < knobs->count; i++) {
    if (choice->size[i] != knobs->knob[i].now) put(c, &knobs->knob[i], choice->size[i]);
  }
  if (choice->turn != 0 && !turn_screws(c, choice->turn)) return false;
  if (!sane(c)) return false;
  if (lw_net_build_like(arena, &c->card, base->net, &c->twin.net, NULL) != LW_OK) return false;
  return lw_twin_alter(&c->twin, NULL) == LW_OK;
}

/* ---- screws ---- */

lw_range lw_screws_range(const lw_card *card) {
  const lw_list *list = &card->carburetor.screws;
  const lw_screw_card *screws = list->items;
  lw_range turns = lw_range_none;
  if (list->count > LW_REJET_SCREWS) return turns;
  for (size_t i = 0; i < list->count; i++) {
    const lw_screw_card *s = &screws[i];
    if (s->kind == LW_SCREW_FIXED) continue;
    double now = lw_edit_screw_now(s), lo = lw_known(s->travel.lo) ? s->travel.lo : 0;
    double hi = lw_known(s->travel.hi) ? s->travel.hi : fmax(2 * now, now + 2);
    bool first = !lw_range_known(turns);
    turns.lo = first ? lo - now : fmax(turns.lo, lo - now);
    turns.hi = first ? hi - now : fmin(turns.hi, hi - now);
  }
  return turns;
}

int lw_choice_parts(const lw_knobs *knobs, const lw_choice *choice, double *labor) {
  unsigned seen = 0;
  int parts = 0;
  *labor = 0;
  for (int i = 0; i < knobs->count; i++) {
    const lw_knob *k = &knobs->knob[i];
    if (choice->size[i] == k->now || (seen >> k->part & 1)) continue;
    seen |= 1U << k->part;
    *labor += knobs->labor[k->part];
    parts++;
  }
  return parts;
}
