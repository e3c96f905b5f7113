/* build.c - from a spec card to a network: the families, each with its own builder.
**
** A family is a way to set the idle and to open the barrels. The first one in the table that a card
** fits builds it; a new carburetor is a new row and a new function here.
*/
#include "build.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

typedef struct family {
  const char *name;
  bool (*fits)(const lw_card *card);
  void (*build)(lw_builder *b);
} family;

/* ---- looking at a card ---- */

static const lw_screw_card *screw_at(const lw_card *card, size_t i) {
  const lw_screw_card *s = card->carburetor.screws.items;
  return i < card->carburetor.screws.count ? &s[i] : NULL;
}

/* The i-th screw that can be turned, NULL behind the last. */
static const lw_screw_card *turned(const lw_card *card, size_t i) {
  for (size_t k = 0; k < card->carburetor.screws.count; k++) {
    const lw_screw_card *s = screw_at(card, k);
    if (s->kind == LW_SCREW_FIXED) continue;
    if (i-- == 0) return s;
  }
  return NULL;
}

static lw_screw_kind kind_of(const lw_card *card) {
  const lw_screw_card *s = turned(card, 0);
  return s && s->kind ? s->kind : s ? LW_SCREW_FUEL : LW_SCREW_FIXED;
}

static int primaries(const lw_card *card) {
  const lw_carburetor_card *c = &card->carburetor;
  if (c->primary.count) return c->primary.count;
  return c->barrels ? c->barrels - c->secondary.count : 1;
}

static int secondaries(const lw_card *card) {
  return card->carburetor.secondary.count;
}

/* ---- shared steps ---- */

static const char *side(int i, int count) {
  static const char *const names[] = {"left", "right", "third", "fourth"};
  return count == 1 ? "" : names[i];
}

static void idle_with(lw_builder *b, lw_barrel_nodes at, const lw_screw_card *screw) {
  const lw_barrel_card *card = &b->card->carburetor.primary;
  if (!screw || screw->kind == LW_SCREW_FIXED) {
    build_port_fixed(b, at, card);
  } else if (screw->kind == LW_SCREW_FUEL_LIMITER) {
    build_port_limited(b, at, card, screw);
  } else {
    build_port_screw(b, at, card, screw);
  }
}

/* Primary barrels, each with its own screw (the last one serves those that have none). */
static void primaries_with_screws(lw_builder *b) {
  int count = primaries(b->card);
  const lw_carburetor_card *c = &b->card->carburetor;
  for (int i = 0; i < count; i++) {
    const lw_screw_card *screw = turned(b->card, (size_t)i);
    if (!screw) screw = turned(b->card, 0);
    int barrel = build_barrel(b, &c->primary, LW_LINK_PEDAL, false, side(i, count));
    int well = build_main(b, barrel, &c->primary, side(i, count));
    lw_barrel_nodes at = build_idle(b, barrel, well, &c->primary, side(i, count));
    idle_with(b, at, screw);
    if (c->check_valve == LW_YES) build_check_valve(b, at);
    if (lw_known(c->primary.bypass)) build_bypass(b, barrel, c->primary.bypass);
  }
}

/* The diaphragm of vacuum secondaries hangs on the booster of this barrel, its unit's first. */
static int diaphragm_of(lw_builder *b, int barrel, const char *unit) {
  char node[LW_NET_NAME] = "secondary diaphragm", bleed[LW_NET_NAME] = "diaphragm bleed";
  if (unit[0]) {
    lw_text_append(node, sizeof node, ", %s", unit);
    lw_text_append(bleed, sizeof bleed, ", %s", unit);
  }
  int at = build_node(b, LW_NET_GAS, -1, 0, 0, node);
  build_gas(b, b->net->barrels[barrel].signal, at, 0.5e-6, bleed);
  return at;
}

static void secondary_barrels(lw_builder *b, lw_linkage linkage, bool air_valve, int diaphragm) {
  const lw_carburetor_card *c = &b->card->carburetor;
  int count = secondaries(b->card);
  b->secondary = true;
  for (int i = 0; i < count; i++) {
    char name[LW_NET_NAME] = "rear ";
    lw_text_append(name, sizeof name, "%s", side(i, count));
    int barrel = build_barrel(b, &c->secondary, linkage, air_valve, name);
    int well = build_main(b, barrel, &c->secondary, name);
    if (linkage == LW_LINK_DIAPHRAGM) {
      b->net->barrels[barrel].link_from = 1.5e3;
      b->net->barrels[barrel].link_to = 4.5e3;
      b->net->barrels[barrel].diaphragm = diaphragm;
    }
    if (!lw_known(c->secondary.idle_feed)) continue;
    lw_barrel_nodes at = build_idle(b, barrel, well, &c->secondary, name);
    build_port_fixed(b, at, &c->secondary);
  }
  b->secondary = false;
}

/* ---- families ---- */

static bool fits_one_fuel(const lw_card *c) {
  return primaries(c) == 1 && !secondaries(c) && kind_of(c) == LW_SCREW_FUEL;
}
static bool fits_one_limited(const lw_card *c) {
  return primaries(c) == 1 && !secondaries(c) && kind_of(c) == LW_SCREW_FUEL_LIMITED;
}
static bool fits_one_limiter(const lw_card *c) {
  return primaries(c) == 1 && !secondaries(c) && kind_of(c) == LW_SCREW_FUEL_LIMITER;
}
static bool fits_two_screws(const lw_card *c) {
  return primaries(c) == 2 && !secondaries(c) && kind_of(c) != LW_SCREW_AIR_BLEED;
}
static bool fits_air_bleed(const lw_card *c) {
  return primaries(c) <= 2 && !secondaries(c) && kind_of(c) == LW_SCREW_AIR_BLEED;
}
static bool fits_four_air_valve(const lw_card *c) {
  return secondaries(c) && c->carburetor.secondary.operation != 2 && c->carburetor.units < 2;
}
static bool fits_four_vacuum(const lw_card *c) {
  return secondaries(c) && c->carburetor.secondary.operation == 2 && c->carburetor.units < 2;
}
static bool fits_pair(const lw_card *c) {
  return secondaries(c) && c->carburetor.units == 2;
}

static void build_plain(lw_builder *b) {
  build_unit(b, "");
  primaries_with_screws(b);
}

static void build_air_bleed(lw_builder *b) {
  const lw_carburetor_card *c = &b->card->carburetor;
  lw_barrel_nodes at[4];
  int count = primaries(b->card);
  build_unit(b, "");
  for (int i = 0; i < count; i++) {
    int barrel = build_barrel(b, &c->primary, LW_LINK_PEDAL, false, side(i, count));
    int well = build_main(b, barrel, &c->primary, side(i, count));
    at[i] = build_idle(b, barrel, well, &c->primary, side(i, count));
    build_port_fixed(b, at[i], &c->primary);
    if (lw_known(c->primary.bypass)) build_bypass(b, barrel, c->primary.bypass);
    if (c->check_valve == LW_YES) build_check_valve(b, at[i]);
  }
  build_air_screw(b, at, count, turned(b->card, 0));
}

static void build_four_air_valve(lw_builder *b) {
  build_unit(b, "");
  primaries_with_screws(b);
  secondary_barrels(b, LW_LINK_LATE, b->card->carburetor.secondary.operation == 3, -1);
}

static void build_four_vacuum(lw_builder *b) {
  build_unit(b, "");
  primaries_with_screws(b);
  secondary_barrels(b, LW_LINK_DIAPHRAGM, false, diaphragm_of(b, 0, ""));
}

/* The secondaries of one unit of a pair, as its card says; first: the unit's first barrel. */
static void pair_secondaries(lw_builder *b, int first, const char *unit) {
  int operation = b->card->carburetor.secondary.operation;
  if (operation == 2) {
    secondary_barrels(b, LW_LINK_DIAPHRAGM, false, diaphragm_of(b, first, unit));
  } else {
    secondary_barrels(b, LW_LINK_LATE, operation == 3, -1);
  }
}

/* Front: fixed idle. Rear: adjustable primaries, secondaries with a fixed idle of their own. */
static void build_pair(lw_builder *b) {
  const lw_carburetor_card *c = &b->card->carburetor;
  int count = primaries(b->card);
  build_unit(b, "front");
  for (int i = 0; i < count; i++) {
    char name[LW_NET_NAME] = "front ";
    lw_text_append(name, sizeof name, "%s", side(i, count));
    int barrel = build_barrel(b, &c->primary, LW_LINK_PEDAL, false, name);
    int well = build_main(b, barrel, &c->primary, name);
    lw_barrel_nodes at = build_idle(b, barrel, well, &c->primary, name);
    build_port_fixed(b, at, &c->primary);
  }
  pair_secondaries(b, 0, "front");
  int first = b->net->barrel_count;
  build_unit(b, "rear");
  primaries_with_screws(b);
  pair_secondaries(b, first, "rear");
}

static const family families[] = {
    {"one barrel, fuel-side screw", fits_one_fuel, build_plain},
    {"one barrel, fuel-side screw with limited travel", fits_one_limited, build_plain},
    {"one barrel, fuel-side screw behind a limiter", fits_one_limiter, build_plain},
    {"two barrels, a fuel-side screw each", fits_two_screws, build_plain},
    {"two barrels, one air-bleed screw", fits_air_bleed, build_air_bleed},
    {"two four-barrels, the rear one adjustable", fits_pair, build_pair},
    {"four barrels, vacuum secondaries", fits_four_vacuum, build_four_vacuum},
    {"four barrels, mechanical secondaries and air valve", fits_four_air_valve,
     build_four_air_valve},
};

/* ---- the whole ---- */

static lw_status refuse(const lw_card *card, lw_error *error, int line, const char *field,
                        const char *text) {
  lw_error_place(error, card->file, line, field);
  return lw_fail(error, LW_BAD_INPUT, "%s", text);
}

/* What the network has no room or no builder for, and a power valve that is the wrong way round. */
static lw_status check_unit(const lw_card *card, lw_error *error) {
  const lw_carburetor_card *c = &card->carburetor;
  int units = c->units ? c->units : 1, first = primaries(card), second = secondaries(card);
  if (first < 1 || first > 4 || second > 4 || units * (first + second) > LW_NET_BARRELS) {
    return refuse(card, error, c->line, "carburetor, barrels",
                  "a network holds at most 4 barrels of a kind and 8 on the manifold; check the "
                  "barrels, their counts and the units");
  }
  if (units > 1 && !second) {
    return refuse(card, error, c->line, "carburetor, units",
                  "two units are known only as a pair of four-barrels; give one unit, with the "
                  "displacement it feeds");
  }
  double opens = lw_known(c->power_opens) ? c->power_opens : 20e3;
  if (lw_known(c->power_closes) && c->power_closes <= opens) {
    return refuse(card, error, c->line, "carburetor, power valve closed",
                  "the power valve must close at a higher vacuum than it opens at (20 kPa unless "
                  "given); give both, or swap them");
  }
  return LW_OK;
}

static double widest_step(const lw_values *rods) {
  double widest = 0;
  for (size_t i = 0; i < rods->count; i++)
    widest = fmax(widest, rods->x[i]);
  return widest;
}

/* The sizes of one side: what could not flow, in trade words. */
static lw_status check_group(const lw_card *card, const lw_barrel_card *g, const char *side,
                             lw_error *error) {
  const struct {
    bool wrong;
    const char *key, *text;
  } faults[] = {
      {g->main_jet > 0.5 * g->venturi, "main jet",
       "the main jet is wider than half the venturi; one of them is mistyped"},
      {g->power_jet > 0.5 * g->venturi, "power jet",
       "the power jet is wider than half the venturi; one of them is mistyped"},
      {widest_step(&g->rods) >= g->main_jet, "rods",
       "the rod fills its jet: no fuel can pass; check the rod and the main jet"},
      {g->idle_feed > g->main_jet, "idle feed",
       "the idle feed is wider than the main jet that feeds it"},
      {g->nozzle_lip <= 0, "nozzle lip",
       "a nozzle at or under the fuel level siphons: the lip must lie above it"},
  };
  for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
    char field[60];
    if (!faults[i].wrong) continue;
    snprintf(field, sizeof field, "carburetor, %s, %s", side, faults[i].key);
    return refuse(card, error, g->line, field, faults[i].text);
  }
  return LW_OK;
}

/* What could not flow, in trade words. */
static lw_status check(const lw_card *card, lw_error *error) {
  lw_status status = check_unit(card, error);
  if (status != LW_OK) return status;
  status = check_group(card, &card->carburetor.primary, "primary", error);
  if (status != LW_OK) return status;
  return check_group(card, &card->carburetor.secondary, "secondary", error);
}

/* back: ours. Residual gas at idle is some 20 to 30 % by mass (Heywood 1988, 6.4; Fox, Cheng and
   Heywood, SAE 931025, with usual overlaps), half as much again as the clearance alone holds. It is
   what makes 3.6 L at 650 rpm and 19 inHg draw 4.6 g/s and not 5.4. eta0 leaves 0.75 of the
   displacement at full throttle. */
static void draw_of(const lw_card *card, lw_draw *d) {
  const lw_engine_card *e = &card->engine;
  *d = (lw_draw){
      .displacement = e->displacement,
      .compression_ratio = lw_known(e->compression_ratio) ? e->compression_ratio : 8.5,
      .eta0 = 0.85,
      .back = 0.6,
      .temperature = 310,
      .gamma = 1.35,
  };
}

static void set_stops(lw_net *net, double stop) {
  for (int b = 0; b < net->barrel_count; b++) {
    if (net->barrels[b].linkage == LW_LINK_PEDAL) net->barrels[b].stop = stop;
  }
}

/* Common practice: some 0.02 in of the transfer slot shows under the plate at curb idle. */
static const double slot_shown = 0.5e-3;

static void place_slots(lw_net *net) {
  for (int i = 0; i < net->passage_count; i++) {
    lw_passage *p = &net->passages[i];
    if (p->gate != LW_GATE_SLOT_BELOW && p->gate != LW_GATE_SLOT_ABOVE) continue;
    const lw_barrel *barrel = &net->barrels[p->barrel];
    if (barrel->linkage != LW_LINK_PEDAL) continue;
    double slope = 0, angle = barrel->closed + barrel->stop;
    p->low = lw_throttle_edge(angle, barrel->closed, barrel->bore, &slope) - slot_shown;
  }
}

bool lw_net_set_stop(lw_net *net, double speed, double vacuum) {
  const lw_barrel *first = &net->barrels[0];
  lw_setting s = {.speed = speed, .ambient = LW_STANDARD_PRESSURE};
  lw_state state = {0};
  if (lw_net_throttle_for(net, &s, lw_known(vacuum) ? vacuum : 62e3, &state, NULL) != LW_OK) {
    return false;
  }
  set_stops(net, first->stop + s.throttle * (first->wide - first->closed - first->stop));
  return true;
}

/* The half of a barrel's slot on this side of the plate; NULL: it has none. A what-if may add or
   take passages, so that a slot's place in the list tells nothing. */
static const lw_passage *slot_like(const lw_net *like, const lw_passage *slot) {
  for (int i = 0; i < like->passage_count; i++) {
    const lw_passage *p = &like->passages[i];
    if (p->gate == slot->gate && p->barrel == slot->barrel) return p;
  }
  return NULL;
}

void lw_net_keep_stop(lw_net *net, const lw_net *like) {
  set_stops(net, like->barrels[0].stop);
  for (int i = 0; i < net->passage_count; i++) {
    lw_passage *p = &net->passages[i];
    if (p->gate != LW_GATE_SLOT_BELOW && p->gate != LW_GATE_SLOT_ABOVE) continue;
    const lw_passage *slot = slot_like(like, p);
    if (slot) p->low = slot->low;
  }
}

/* The card's idle speed and vacuum, or usual ones, tell where the stop stands, and the stop where
   the slots are cut. What a slot feeds moves the stop a little: twice is enough. */
static void first_stop(lw_net *net, const lw_card *card) {
  double speed = lw_range_middle(card->idle.speed);
  set_stops(net, 0.03);
  for (int i = 0; i < 2; i++) {
    lw_net_set_stop(net, lw_known(speed) ? speed : 73, lw_range_middle(card->engine.idle_vacuum));
    place_slots(net);
  }
}

lw_status lw_net_build(lw_arena *arena, const lw_card *card, lw_net **out, lw_error *error) {
  lw_status status = lw_net_build_like(arena, card, NULL, out, error);
  if (status == LW_OK) first_stop(*out, card);
  return status;
}

lw_status lw_net_build_like(lw_arena *arena, const lw_card *card, const lw_net *like, lw_net **out,
                            lw_error *error) {
  lw_status status = check(card, error);
  if (status != LW_OK) return status;
  lw_net *net = lw_arena_alloc(arena, sizeof *net);
  if (!net) return lw_fail(error, LW_NO_MEMORY, "no memory for this network");
  lw_builder b = {.net = net, .card = card, .error = error};
  if (!lw_known(card->engine.displacement)) {
    return refuse(card, error, card->engine.line, "engine, displacement",
                  "the engine's displacement is needed to know how much air it draws");
  }
  const family *f = NULL;
  for (size_t i = 0; i < sizeof families / sizeof families[0] && !f; i++) {
    if (families[i].fits(card)) f = &families[i];
  }
  if (!f) {
    return refuse(card, error, card->carburetor.line, "carburetor",
                  "no carburetor family that is known fits these barrels and screws");
  }
  net->family = f->name;
  lw_fuel_by_name("gasoline", &net->fuel);
  if (card->fuel.name) lw_fuel_by_name(card->fuel.name, &net->fuel);
  net->fuel_density_15 = lw_known(net->fuel.density) ? net->fuel.density : 745;
  net->fluids = lw_fluids_at(293.15, net->fuel_density_15);
  draw_of(card, &net->draw);
  f->build(&b);
  build_number(&b);
  if (b.missing[0]) {
    lw_error_place(error, card->file, card->carburetor.line, "carburetor");
    b.missing[strlen(b.missing) - 1] = '\0'; /* the comma behind the last */
    return lw_fail(error, LW_BAD_INPUT, "the card lacks %s", b.missing);
  }
  if (like) lw_net_keep_stop(net, like);
  *out = net;
  return LW_OK;
}

size_t lw_net_families(const char **names, size_t most) {
  size_t count = sizeof families / sizeof families[0];
  for (size_t i = 0; i < count && i < most; i++)
    names[i] = families[i].name;
  return count;
}

const char *lw_circuit_text(lw_circuit circuit) {
  static const char *const texts[] = {
#define TEXT_OF(id, text) text,
      LW_CIRCUIT_LIST(TEXT_OF)
#undef TEXT_OF
  };
  return texts[circuit];
}
