/* spread_rows.c - every tolerance with its source, and which dimensions a car has of each.
**
** "ISO 286-1" stands for its table of grades, read in a reprint (mechguru.com, "DIN ISO 286
** standard tolerance zone size table"): a hole of up to 3 mm has 0.014 mm in grade IT8, 0.025 in
** IT9, 0.040 in IT10; 3 to 6 mm 0.030 in IT9; 30 to 50 mm 0.100 in IT10. Which grade a
** carburetor's maker worked to is ours: reamed holes IT8, drilled ones IT9.
*/
#include "spread_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define PI     3.14159265358979323846
#define DEGREE (PI / 180)
#define RPM    (PI / 30)

static const double reamed = 7e-6, drilled = 12.5e-6, drilled_wide = 15e-6;

const lw_tolerance *lw_tolerance_of(lw_vary what) {
  static const lw_tolerance table[LW_VARIES] = {
      [LW_VARY_MAIN_JET] = {reamed, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT8"},
      [LW_VARY_MAIN_BLEED] = {drilled, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT9"},
      [LW_VARY_POWER_JET] = {reamed, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT8"},
      [LW_VARY_IDLE_FEED] = {reamed, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT8"},
      [LW_VARY_IDLE_BLEED] = {drilled, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT9"},
      [LW_VARY_SECOND_BLEED] = {drilled, LW_HALF_LENGTH, LW_FILL_MADE, "diameter",
                                "ISO 286-1, IT9"},
      [LW_VARY_RESTRICTION] = {drilled, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT9"},
      [LW_VARY_LIMITER] = {reamed, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT8"},
      [LW_VARY_PORT] = {drilled, LW_HALF_LENGTH, LW_FILL_MADE, "diameter, without a screw",
                        "ISO 286-1, IT9"},
      [LW_VARY_SEAT] = {drilled_wide, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT9"},
      [LW_VARY_SEATED] = {1.0 / 16, LW_HALF_TURNS, LW_FILL_SET, "where a hand feels it seated",
                          "ours"},
      [LW_VARY_AIR_HOLES] = {drilled, LW_HALF_LENGTH, LW_FILL_MADE,
                             "diameter, from the air screw to each barrel", "ISO 286-1, IT9"},
      [LW_VARY_SLOT_WIDTH] = {20e-6, LW_HALF_LENGTH, LW_FILL_MADE, "width of the transfer slot",
                              "ISO 286-1, IT10"},
      [LW_VARY_SLOT_PLACE] = {0.1e-3, LW_HALF_LENGTH, LW_FILL_MADE, "height against the plate",
                              "ours"},
      [LW_VARY_BYPASS] = {drilled_wide, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT9"},
      [LW_VARY_VENTURI] = {50e-6, LW_HALF_LENGTH, LW_FILL_MADE, "diameter", "ISO 286-1, IT10"},
      [LW_VARY_BOOSTER] = {0.03, LW_HALF_SHARE, LW_FILL_MADE, "signal over throat depression",
                           "ours"},
      [LW_VARY_PLATE_FIT] = {0.3, LW_HALF_SHARE, LW_FILL_MADE, "gap around the shut plate", "ours"},
      [LW_VARY_FUEL_LEVEL] = {25.4e-3 / 32, LW_HALF_LENGTH, LW_FILL_SET, "height of the fuel",
                              "the card; else 1/32 in, common practice"},
      [LW_VARY_EDGES] = {0.02, LW_HALF_SHARE, LW_FILL_MADE, "flow of each hole at its size",
                         "ours"},
      [LW_VARY_STOP] = {1.0 / 16, LW_HALF_TURNS, LW_FILL_SET, "speed screw", "ours"},
      [LW_VARY_PRESET] = {1.0 / 8, LW_HALF_TURNS, LW_FILL_SET, "mixture screw",
                          "the card; else common practice"},
      [LW_VARY_TIMING] = {1 * DEGREE, LW_HALF_ANGLE, LW_FILL_SET, "initial timing",
                          "the card; else common practice"},
      [LW_VARY_ADVANCE] = {0, LW_HALF_ANGLE, LW_FILL_MADE, "advance at idle", "the card"},
      [LW_VARY_COMPRESSION] = {0.2, LW_HALF_NUMBER, LW_FILL_MADE, "volume of the chambers", "ours"},
      [LW_VARY_BREATHING] = {0.02, LW_HALF_SHARE, LW_FILL_MADE, "air drawn at the same vacuum",
                             "ours"},
      [LW_VARY_FRICTION] = {0.12, LW_HALF_SHARE, LW_FILL_MADE, "rubbing friction, run in", "ours"},
      [LW_VARY_OVERLAP] = {0.2, LW_HALF_SHARE, LW_FILL_MADE, "cam, chain and lash", "ours"},
      [LW_VARY_ACCESSORIES] = {0.15, LW_HALF_SHARE, LW_FILL_MADE, "fan, pump, generator", "ours"},
      [LW_VARY_DISTRIBUTION] = {0.3, LW_HALF_SHARE, LW_FILL_MADE,
                                "difference of mixture between cylinders", "ours"},
      [LW_VARY_LEAN_LIMIT] = {0.5, LW_HALF_NUMBER, LW_FILL_MADE,
                              "gas over fuel at which half the cycles miss", "ours"},
      [LW_VARY_CREVICES] = {0.2, LW_HALF_SHARE, LW_FILL_MADE, "fuel that hides from the flame",
                            "ours"},
      [LW_VARY_HAND] = {1.0 / 32, LW_HALF_TURNS, LW_FILL_SET,
                        "no hand stops finer than a sixteenth", "docs/guide.md, ours"},
      [LW_VARY_METER] = {0, LW_HALF_GAS, LW_FILL_SET, "what the meter reads over the gas",
                         "OIML R 99, class I"},
      [LW_VARY_TACHOMETER] = {10 * RPM, LW_HALF_SPEED, LW_FILL_SET, "speed as set", "ours"},
  };
  return &table[what];
}

const char *lw_vary_text(lw_vary what) {
  static const char *const texts[] = {
#define TEXT_OF(id, text) text,
      LW_VARY_LIST(TEXT_OF)
#undef TEXT_OF
  };
  return texts[what];
}

const char *lw_half_text(char *buffer, size_t size, lw_half counts, double half) {
  switch (counts) {
  case LW_HALF_LENGTH: snprintf(buffer, size, "+/- %.3g mm", 1e3 * half); break;
  case LW_HALF_SHARE: snprintf(buffer, size, "+/- %.3g %%", 100 * half); break;
  case LW_HALF_TURNS: snprintf(buffer, size, "+/- %.3g turn", half); break;
  case LW_HALF_ANGLE: snprintf(buffer, size, "+/- %.3g deg", half / DEGREE); break;
  case LW_HALF_SPEED: snprintf(buffer, size, "+/- %.3g rpm", half / RPM); break;
  case LW_HALF_GAS: snprintf(buffer, size, "+/- %.2g %%", 100 * half); break;
  case LW_HALF_NUMBER: snprintf(buffer, size, "+/- %.3g", half); break;
  }
  return buffer;
}

/* ---- what the card says ---- */

static double half_of(lw_range r) {
  return lw_known(r.lo) && lw_known(r.hi) ? 0.5 * (r.hi - r.lo) : LW_NONE;
}

/* Half the span an advance curve is given at x, on the line between its points, level beyond. */
static double advance_half(const lw_list *list, double x, bool by_vacuum, double twice) {
  const lw_advance_point *p = list->items;
  double before = LW_NONE, half = 0;
  for (size_t i = 0; i < list->count; i++) {
    double at = by_vacuum ? p[i].vacuum : p[i].speed * twice, h = twice * half_of(p[i].advance);
    if (!lw_known(at) || !lw_known(h)) continue;
    if (x <= at) {
      double share = lw_known(before) ? (x - before) / (at - before) : 1;
      return half + share * (h - half);
    }
    before = at;
    half = h;
  }
  return half;
}

/* Of the centrifugal curve at the idle speed, or of the vacuum curve where idle vacuum gets
   there. */
static double card_advance(const lw_spread *s, bool by_vacuum) {
  const lw_engine_card *c = &s->car->twin->card->engine;
  const lw_engine *e = s->car->engine;
  double twice = c->advance_degrees == LW_DEGREES_DISTRIBUTOR ? 2 : 1;
  if (!by_vacuum) return advance_half(&c->centrifugal_advance, s->ask.goal.speed, false, twice);
  bool reaches = e->spark.source == LW_VACUUM_MANIFOLD;
  return reaches ? advance_half(&c->vacuum_advance, e->vacuum_hot, true, twice) : 0;
}

static double card_level(const lw_carburetor_card *c) {
  double half = half_of(c->fuel_level);
  return lw_known(half) && half > 0 ? half : half_of(c->float_level);
}

/* The card's own tolerance; NaN or 0: it gives none. */
static double said(const lw_spread *s, lw_vary what, int at) {
  const lw_card *card = s->car->twin->card;
  switch (what) {
  case LW_VARY_FUEL_LEVEL: return card_level(&card->carburetor);
  case LW_VARY_PRESET: return half_of(s->screws[at].card->preset);
  case LW_VARY_TIMING: return half_of(card->engine.initial_timing);
  case LW_VARY_ADVANCE: return card_advance(s, at == 1);
  default: return LW_NONE;
  }
}

/* ---- which dimensions there are ---- */

typedef struct planner {
  lw_spread *s;
  lw_vary what;
  size_t first;
  bool full;
} planner;

static void put(planner *p, int at) {
  lw_spread *s = p->s;
  if (s->part_count == SPREAD_PARTS) {
    p->full = true;
    return;
  }
  lw_spread_dim *dim = &s->dims[s->dim_count];
  double half = said(s, p->what, at);
  bool card = lw_known(half) && half > 0;
  if (!card) half = lw_tolerance_of(p->what)->half;
  if (p->what == LW_VARY_METER) half = lw_permissible(LW_CLASS_I, LW_GAS_CO, s->ask.goal.co);
  half *= s->ask.times[p->what];
  if (s->part_count == p->first) *dim = (lw_spread_dim){.what = p->what, .half = half};
  dim->card = dim->card || card;
  dim->half = fmax(dim->half, half);
  dim->parts++;
  s->parts[s->part_count++] = (lw_spread_part){s->dim_count, at, half};
}

/* Passages by how their names begin. Rods leave the jet's own size in the main jet alone. */
static const char *passage_of(lw_vary what) {
  switch (what) {
  case LW_VARY_MAIN_JET: return "main jet";
  case LW_VARY_MAIN_BLEED: return "main air bleed";
  case LW_VARY_POWER_JET: return "power jet";
  case LW_VARY_IDLE_FEED: return "idle feed";
  case LW_VARY_IDLE_BLEED: return "idle air bleed";
  case LW_VARY_SECOND_BLEED: return "second idle bleed";
  case LW_VARY_RESTRICTION: return "idle restriction";
  case LW_VARY_LIMITER: return "idle limiter";
  case LW_VARY_PORT: return "fixed idle port";
  case LW_VARY_SEAT: return "screw";
  case LW_VARY_AIR_HOLES: return "bleed hole";
  case LW_VARY_BYPASS: return "idle air bypass";
  case LW_VARY_PLATE_FIT: return "plate clearance";
  default: return NULL;
  }
}

static bool begins(const char *name, const char *with) {
  size_t n = strlen(with);
  return strncmp(name, with, n) == 0 && (name[n] == '\0' || name[n] == ',' || name[n] == ' ');
}

static bool is_hole(const lw_passage *p) {
  bool slot = p->gate == LW_GATE_SLOT_ABOVE || p->gate == LW_GATE_SLOT_BELOW;
  return !p->gas && !slot && !begins(p->name, "screw") && p->circuit != LW_CIRCUIT_LEAK;
}

static void put_passages(planner *p, const char *name) {
  const lw_net *net = p->s->car->twin->net;
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *q = &net->passages[i];
    if (name ? begins(q->name, name) : is_hole(q)) put(p, i);
  }
}

static bool has_slot(const lw_net *net, int barrel) {
  for (int i = 0; i < net->passage_count; i++) {
    if (net->passages[i].gate == LW_GATE_SLOT_BELOW && net->passages[i].barrel == barrel)
      return true;
  }
  return false;
}

static void put_barrels(planner *p) {
  const lw_net *net = p->s->car->twin->net;
  bool slot = p->what == LW_VARY_SLOT_WIDTH || p->what == LW_VARY_SLOT_PLACE;
  for (int i = 0; i < net->barrel_count; i++) {
    if (slot && !has_slot(net, i)) continue;
    put(p, i);
  }
}

static void put_bowls(planner *p) {
  const lw_net *net = p->s->car->twin->net;
  for (int i = 0; i < net->node_count; i++) {
    if (net->nodes[i].kind == LW_NET_BOWL) put(p, i);
  }
}

static void put_all(planner *p) {
  switch (p->what) {
  case LW_VARY_SLOT_WIDTH:
  case LW_VARY_SLOT_PLACE:
  case LW_VARY_VENTURI:
  case LW_VARY_BOOSTER: put_barrels(p); break;
  case LW_VARY_FUEL_LEVEL: put_bowls(p); break;
  case LW_VARY_EDGES: put_passages(p, NULL); break;
  case LW_VARY_SEATED:
  case LW_VARY_PRESET:
    for (size_t i = 0; i < p->s->screw_count; i++)
      put(p, (int)i);
    break;
  case LW_VARY_HAND:
  case LW_VARY_METER:
    if (p->s->screw_count) put(p, 0);
    break;
  case LW_VARY_ADVANCE:
    for (int i = 0; i < 2; i++) {
      if (card_advance(p->s, i == 1) > 0) put(p, i);
    }
    break;
  default:
    if (passage_of(p->what)) {
      put_passages(p, passage_of(p->what));
    } else {
      put(p, 0); /* of the engine, the stop or the tachometer: one of each */
    }
  }
}

/* ---- screws ---- */

/* A screw of the card and the passages its needle stands in. Names are cut as a network's are. */
static void add_screw(lw_spread *s, const lw_screw_card *card) {
  char want[LW_NET_NAME];
  const lw_net *net = s->car->twin->net;
  if (s->screw_count == SPREAD_SCREWS) return;
  lw_spread_screw *screw = &s->screws[s->screw_count];
  *screw = (lw_spread_screw){.card = card, .preset = lw_edit_screw_now(card)};
  snprintf(want, sizeof want, card->name[0] ? "screw, %s" : "screw%s", card->name);
  for (int i = 0; i < net->passage_count && screw->passage_count < SPREAD_SCREWS; i++) {
    if (strcmp(net->passages[i].name, want) == 0) screw->passages[screw->passage_count++] = i;
  }
  if (!screw->passage_count) return;
  lw_range travel = card->travel;
  double lo = lw_known(travel.lo) ? travel.lo : 0;
  double hi = lw_known(travel.hi) ? travel.hi : fmax(2 * screw->preset, screw->preset + 2);
  s->lo = s->screw_count ? fmax(s->lo, lo) : lo;
  s->hi = s->screw_count ? fmin(s->hi, hi) : hi;
  s->sense = card->kind == LW_SCREW_AIR_BLEED ? -1 : 1;
  s->screw_count++;
}

lw_status lw_spread_plan(lw_spread *s, lw_error *error) {
  const lw_list *list = &s->car->twin->card->carburetor.screws;
  const lw_screw_card *screws = list->items;
  for (size_t i = 0; i < list->count; i++) {
    if (screws[i].kind != LW_SCREW_FIXED) add_screw(s, &screws[i]);
  }
  planner p = {.s = s};
  for (int what = 0; what < LW_VARIES; what++) {
    p.what = (lw_vary)what;
    p.first = s->part_count;
    put_all(&p);
    s->dim_count += s->part_count > p.first;
  }
  if (p.full) {
    return lw_fail(error, LW_TOO_LARGE, "this unit has more than %d dimensions that differ",
                   SPREAD_PARTS);
  }
  return LW_OK;
}
