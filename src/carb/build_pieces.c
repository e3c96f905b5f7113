/* build_pieces.c - the pieces carburetors are made of, from a card's sizes.
**
** Sizes no card names. All are ours: plausible, and what differs from a real unit goes into the
** sizes that will be fitted to targets.
*/
#include "build.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define PI 3.14159265358979323846

/* Heights over the fuel level, m. */
static const double top_height = 0.012; /* idle tube's upper end, under the idle bleed */
/* The idle channel at the throttle bore. Manifold and bore below the venturi count as being there
   too: a column of fuel that had to climb back out of the ports would plug them wide open. */
static const double channel_height = -0.03;
static const double bleed_height = 0.02; /* bleeds, in the air horn: nothing siphons from them */
/* Nozzle, unless the card gives it: the lip itself and what the wetted lip holds back (4 s/d of
   gasoline at a 3 mm hole is 4 mm of fuel). Over 7 mm the main circuit of a 32 mm venturi begins at
   some 10 g/s. */
static const double lip_height = 0.007;
/* The nozzle's hole over the main jet's: wide enough for emulsion at full throttle. */
static const double nozzle_over_jet = 2.2;
/* The main bleed's hole under the fuel level: air comes only when the well has fallen to it, so that
   bleeding begins after the main circuit and leans with flow. */
static const double bleed_depth = 0.008;
static const double well_depth = 0.02; /* fuel that must be pushed down before air gets under */

/* Lengths over diameter. */
static const double jet_length = 3, bleed_length = 2.5, channel_length = 4, port_length = 2;

static const double venturi_cd = 0.85; /* with the booster in its way */
static const double booster_gain = 1.8;
static const double venturi_lost =
    0.2; /* Heywood 1988, 7.2: part of the depression is not recovered */
static const double plate_cd = 0.75;
static const double clearance = 0.03e-3; /* m around a shut plate */
static const double primary_closed = 10 * PI / 180, secondary_closed = 12 * PI / 180;
static const double wide_open = 85 * PI / 180, shaft_diameter = 8e-3;
static const double slot_low = 0.2e-3;  /* slot's lower end over the edge of the shut plate, m */
static const double cleaner_area = 0.6; /* m2 effective for each m3 of displacement */
static const double fuel_pitch = 25.4e-3 / 32, air_pitch = 25.4e-3 / 40; /* m for each turn */
static const double needle_half_angle = 9 * PI / 180;
/* Pa across the off-idle check valve: over the 2 to 3 kPa in an idle channel at curb idle, where
   the slot still breathes air, and under the 10 kPa and more once the plate has passed the slot. */
static const double check_opens_from = 4e3, check_open_at = 10e3;
static const double check_diameter = 0.8e-3;
/* A light spring: from some 200 Pa on the valve gives way, under 500 Pa it is wide open. */
static const double air_valve_pa_per_turn = 100;
/* Rods hung on the air valve leave this share of the jet open when it is shut: enough to feed the
   idle of the secondary side. Without them fuel would follow the spring, not the air. */
static const double valve_rods_shut = 0.25;
static const double air_screw_seat = 2.2e-3, air_chamber_hole = 1.3e-3;

static double circle(double d) {
  return PI / 4 * d * d;
}

static double known(double x, double otherwise) {
  return lw_known(x) ? x : otherwise;
}

/* ---- nodes and passages ---- */

int build_node(lw_builder *b, lw_net_kind kind, int barrel, double height, double rest_y,
               const char *name) {
  lw_net *net = b->net;
  int i = net->node_count;
  if (i == LW_NET_NODES) return i - 1; /* build_number reports the overflow */
  net->node_count++;
  net->nodes[i] = (lw_net_node){.kind = kind,
                                .barrel = barrel,
                                .vent = -1,
                                .height = height,
                                .rest_y = rest_y,
                                .unknown = -1};
  snprintf(net->nodes[i].name, LW_NET_NAME, "%s", name);
  return i;
}

static lw_passage *passage(lw_builder *b, int from, int to, const char *name) {
  lw_net *net = b->net;
  int i = net->passage_count;
  if (i == LW_NET_PASSAGES) {
    i--;
  } else {
    net->passage_count++;
  }
  net->passages[i] = (lw_passage){.from = from, .to = to, .barrel = -1};
  snprintf(net->passages[i].name, LW_NET_NAME, "%s", name);
  return &net->passages[i];
}

lw_passage *build_mix(lw_builder *b, int from, int to, double diameter, double length,
                      lw_circuit circuit, const char *name) {
  lw_passage *p = passage(b, from, to, name);
  p->circuit = circuit;
  p->orifice = (lw_orifice){circle(diameter), diameter, length};
  return p;
}

lw_passage *build_gas(lw_builder *b, int from, int to, double cd_area, const char *name) {
  lw_passage *p = passage(b, from, to, name);
  p->gas = true;
  p->cd_area = cd_area;
  return p;
}

double build_size(lw_builder *b, double size, const char *key) {
  char whose[48];
  if (lw_known(size) && size > 0) return size;
  snprintf(whose, sizeof whose, "%s%s,", b->secondary ? "secondary " : "", key);
  if (strstr(b->missing, whose)) return 1e-3;
  lw_text_append(b->missing, sizeof b->missing, b->missing[0] ? " %s" : "%s", whose);
  return 1e-3;
}

/* "left" and "idle port" make "idle port, left"; one barrel needs no name. */
static const char *named(char *buffer, const char *what, const char *whose) {
  snprintf(buffer, LW_NET_NAME, whose[0] ? "%s, %s" : "%s", what, whose);
  return buffer;
}

/* ---- the unit ---- */

void build_unit(lw_builder *b, const char *name) {
  lw_net *net = b->net;
  char text[LW_NET_NAME];
  const lw_carburetor_card *c = &b->card->carburetor;
  double displacement = known(b->card->engine.displacement, 3e-3);
  int units = c->units ? c->units : 1;
  if (net->node_count == 0) {
    b->ambient = build_node(b, LW_NET_AMBIENT, -1, 0, 0, "air outside");
    b->manifold = build_node(b, LW_NET_GAS, -1, channel_height, 0, "manifold");
    net->manifolds[net->manifold_count++] = b->manifold;
  }
  b->cleaned = build_node(b, LW_NET_GAS, -1, bleed_height, 0, named(text, "air cleaner", name));
  b->air_horn = build_node(b, LW_NET_GAS, -1, bleed_height, 0, named(text, "air horn", name));
  build_gas(b, b->ambient, b->cleaned, cleaner_area * displacement / units,
            named(text, "air cleaner", name));
  double bores = circle(known(c->primary.bore, 0.04)) * (c->primary.count ? c->primary.count : 1);
  lw_passage *choke =
      build_gas(b, b->cleaned, b->air_horn, 0.8 * 1.4 * bores, named(text, "choke", name));
  choke->high = choke->cd_area; /* kept, so that what-ifs can be pictured */
  b->bowl = build_node(b, LW_NET_BOWL, -1, 0, 1, named(text, "fuel bowl", name));
  net->nodes[b->bowl].vent = c->vent == 2 ? b->ambient : b->cleaned;
}

int build_barrel(lw_builder *b, const lw_barrel_card *card, lw_linkage linkage, bool air_valve,
                 const char *name) {
  lw_net *net = b->net;
  char text[LW_NET_NAME];
  if (net->barrel_count == LW_NET_BARRELS) return LW_NET_BARRELS - 1;
  int i = net->barrel_count++;
  bool secondary = linkage != LW_LINK_PEDAL;
  double bore = build_size(b, card->bore, "throttle bore");
  double venturi =
      air_valve ? known(card->venturi, 0.9 * bore) : build_size(b, card->venturi, "venturi");
  lw_barrel *barrel = &net->barrels[i];
  *barrel = (lw_barrel){
      /* the choke stands over the primary bores alone: common practice */
      .horn = secondary ? b->cleaned : b->air_horn,
      .manifold = b->manifold,
      .cd_area = venturi_cd * circle(venturi),
      .booster = lw_known(card->booster) ? booster_gain : 1,
      .lost = venturi_lost,
      .bore = bore,
      .closed = secondary ? secondary_closed : primary_closed,
      .shaft = shaft_diameter / bore,
      .wide = wide_open,
      .linkage = linkage,
      .link_from = 0.5,
      .link_to = 1,
      .diaphragm = -1,
  };
  if (air_valve) {
    double turns = known(b->card->carburetor.air_valve_turns, 2);
    barrel->valve_opens = air_valve_pa_per_turn * turns;
    barrel->valve_full = 1.6 * barrel->valve_opens + 100;
  }
  barrel->signal = build_node(b, LW_NET_SIGNAL, i, 0, 0, named(text, "booster", name));
  barrel->below =
      build_node(b, LW_NET_BELOW, i, channel_height, 0, named(text, "below venturi", name));
  lw_passage *plate = build_gas(b, barrel->below, b->manifold, plate_cd * circle(bore),
                                named(text, "throttle", name));
  plate->gate = LW_GATE_PLATE;
  plate->barrel = i;
  build_gas(b, barrel->below, b->manifold, 0.6 * PI * bore * clearance,
            named(text, "plate clearance", name));
  return i;
}

/* ---- main circuit ---- */

/* The jet with the rod's economy step in it, and what the power step adds, opened by vacuum. */
static void main_jet(lw_builder *b, int barrel, int well, const lw_barrel_card *card,
                     const char *name) {
  char text[LW_NET_NAME];
  const lw_carburetor_card *c = &b->card->carburetor;
  double jet = build_size(b, card->main_jet, "main jet"), open = circle(jet), extra = 0;
  if (card->rods.count) {
    double lean = card->rods.x[0], rich = card->rods.x[card->rods.count - 1];
    open = fmax(circle(jet) - circle(fmax(lean, rich)), 0.02 * circle(jet));
    extra = fmax(circle(jet) - circle(fmin(lean, rich)) - open, 0);
  } else if (lw_known(card->power_jet)) {
    extra = circle(card->power_jet);
  }
  lw_passage *p =
      build_mix(b, b->bowl, well, jet, jet_length, LW_CIRCUIT_MAIN, named(text, "main jet", name));
  p->orifice.area = open;
  if (b->net->barrels[barrel].valve_full > 0) {
    p->gate = LW_GATE_VALVE;
    p->barrel = barrel;
    p->low = valve_rods_shut;
  }
  if (!(extra > 0)) return;
  p = build_mix(b, b->bowl, well, sqrt(4 / PI * extra), jet_length, LW_CIRCUIT_POWER,
                named(text, card->rods.count ? "power step of rod" : "power jet", name));
  p->gate = LW_GATE_POWER;
  p->barrel = b->manifold;
  p->low = known(c->power_opens, 20e3);
  p->high = known(c->power_closes, p->low + 8e3);
}

int build_main(lw_builder *b, int barrel, const lw_barrel_card *card, const char *name) {
  char text[LW_NET_NAME];
  int well = build_node(b, LW_NET_INNER, barrel, 0, 1, named(text, "main well", name));
  double lip = known(card->nozzle_lip, lip_height);
  int top = build_node(b, LW_NET_INNER, barrel, lip, 0, named(text, "nozzle", name));
  /* it opens into the booster at its own height: no column hangs behind the lip and draws more */
  b->net->nodes[b->net->barrels[barrel].signal].height = lip;
  main_jet(b, barrel, well, card, name);
  double jet = known(card->main_jet, 1.5e-3);
  lw_passage *spill =
      build_mix(b, well, top, 2 * jet, port_length, LW_CIRCUIT_MAIN, named(text, "well", name));
  spill->sump = well_depth;
  build_mix(b, b->net->barrels[barrel].horn, top, build_size(b, card->main_bleed, "main bleed"),
            bleed_length, LW_CIRCUIT_AIR, named(text, "main air bleed", name))
      ->hole = lip + bleed_depth;
  build_mix(b, top, b->net->barrels[barrel].signal, nozzle_over_jet * jet, port_length,
            LW_CIRCUIT_MAIN, named(text, "main nozzle", name));
  return well;
}

/* ---- idle and transfer ---- */

static void transfer_slot(lw_builder *b, lw_barrel_nodes at, const lw_barrel_card *card,
                          const char *name) {
  char text[LW_NET_NAME];
  if (!lw_known(card->slot_length) || !lw_known(card->slot_width)) return;
  const lw_barrel *barrel = &b->net->barrels[at.barrel];
  double area = card->slot_length * card->slot_width;
  for (int above = 0; above < 2; above++) {
    lw_passage *p = build_mix(b, at.channel, above ? barrel->below : b->manifold, card->slot_width,
                              port_length, LW_CIRCUIT_TRANSFER,
                              named(text, above ? "slot above plate" : "transfer slot", name));
    p->orifice.area = area;
    p->gate = above ? LW_GATE_SLOT_ABOVE : LW_GATE_SLOT_BELOW;
    p->barrel = at.barrel;
    p->low = slot_low;
    p->high = card->slot_length;
  }
}

lw_barrel_nodes build_idle(lw_builder *b, int barrel, int well, const lw_barrel_card *card,
                           const char *name) {
  char text[LW_NET_NAME];
  lw_barrel_nodes at = {barrel, well, 0, 0};
  at.idle_top =
      build_node(b, LW_NET_INNER, barrel, top_height, 0, named(text, "idle tube top", name));
  at.channel =
      build_node(b, LW_NET_INNER, barrel, channel_height, 0, named(text, "idle channel", name));
  lw_passage *feed = build_mix(b, well, at.idle_top, build_size(b, card->idle_feed, "idle feed"),
                               jet_length, LW_CIRCUIT_IDLE, named(text, "idle feed", name));
  feed->sump = well_depth;
  int horn = b->net->barrels[barrel].horn;
  build_mix(b, horn, at.idle_top, build_size(b, card->idle_bleed, "idle bleed"), bleed_length,
            LW_CIRCUIT_AIR, named(text, "idle air bleed", name));
  if (lw_known(card->second_idle_bleed)) {
    build_mix(b, horn, at.channel, card->second_idle_bleed, bleed_length, LW_CIRCUIT_AIR,
              named(text, "second idle bleed", name));
  }
  build_mix(b, at.idle_top, at.channel, known(card->idle_restriction, 1.2e-3), channel_length,
            LW_CIRCUIT_IDLE, named(text, "idle restriction", name));
  transfer_slot(b, at, card, name);
  return at;
}

/* ---- ways out at the idle port ---- */

void lw_passage_turn(lw_passage *p, double turns) {
  double slope = 0;
  p->orifice.area = lw_needle_area(turns * p->low, p->high, needle_half_angle, &slope);
  p->orifice.diameter = fmax(sqrt(4 / PI * p->orifice.area), 0.1e-3);
}

/* The needle in its seat at the screw's preset: area by its lift. */
static void set_needle(lw_passage *p, double seat, double turns, double pitch) {
  p->high = seat; /* kept for those who turn the screw */
  p->low = pitch;
  lw_passage_turn(p, turns);
}

static double preset(const lw_screw_card *screw, double otherwise) {
  double at = lw_range_middle(screw->preset);
  return lw_known(at) ? at : otherwise;
}

void build_port_fixed(lw_builder *b, lw_barrel_nodes at, const lw_barrel_card *card) {
  double hole = lw_known(card->idle_limiter) ? card->idle_limiter
                                             : build_size(b, card->idle_port, "idle port");
  build_mix(b, at.channel, b->manifold, hole, port_length, LW_CIRCUIT_IDLE, "fixed idle port");
}

void build_port_screw(lw_builder *b, lw_barrel_nodes at, const lw_barrel_card *card,
                      const lw_screw_card *screw) {
  char text[LW_NET_NAME];
  double seat = build_size(b, card->idle_port, "idle port");
  lw_passage *p = build_mix(b, at.channel, b->manifold, seat, port_length, LW_CIRCUIT_IDLE,
                            named(text, "screw", screw->name));
  set_needle(p, seat, preset(screw, 2), fuel_pitch);
}

void build_port_limited(lw_builder *b, lw_barrel_nodes at, const lw_barrel_card *card,
                        const lw_screw_card *screw) {
  char text[LW_NET_NAME];
  double seat = build_size(b, card->idle_port, "idle port");
  int behind = build_node(b, LW_NET_INNER, at.barrel, channel_height, 0,
                          named(text, "behind limiter", screw->name));
  build_mix(b, at.channel, behind, build_size(b, card->idle_limiter, "idle limiter"), port_length,
            LW_CIRCUIT_IDLE, named(text, "idle limiter", screw->name));
  lw_passage *p = build_mix(b, behind, b->manifold, seat, port_length, LW_CIRCUIT_IDLE,
                            named(text, "screw", screw->name));
  set_needle(p, seat, preset(screw, 1.5), fuel_pitch);
}

void build_air_screw(lw_builder *b, const lw_barrel_nodes *at, int count,
                     const lw_screw_card *screw) {
  char text[LW_NET_NAME];
  int chamber = build_node(b, LW_NET_INNER, -1, channel_height, 0, "bleed air chamber");
  lw_passage *p = build_mix(b, b->air_horn, chamber, air_screw_seat, bleed_length, LW_CIRCUIT_AIR,
                            named(text, "screw", screw->name));
  set_needle(p, air_screw_seat, preset(screw, 2), air_pitch);
  for (int i = 0; i < count; i++) {
    named(text, "bleed hole", i == 0 ? "left" : "right");
    build_mix(b, chamber, at[i].channel, air_chamber_hole, bleed_length, LW_CIRCUIT_AIR, text);
  }
}

void build_bypass(lw_builder *b, int barrel, double diameter) {
  char text[LW_NET_NAME];
  snprintf(text, sizeof text, "idle air bypass %u", (unsigned)barrel % 100 + 1);
  build_gas(b, b->net->barrels[barrel].below, b->manifold, 0.7 * circle(diameter), text);
}

void build_check_valve(lw_builder *b, lw_barrel_nodes at) {
  lw_passage *p = build_mix(b, b->air_horn, at.channel, check_diameter, bleed_length,
                            LW_CIRCUIT_AIR, "off-idle check valve");
  p->gate = LW_GATE_CHECK;
  p->low = check_opens_from;
  p->high = check_open_at;
}

/* ---- unknowns ---- */

void build_number(lw_builder *b) {
  lw_net *net = b->net;
  int u = 0;
  for (int i = 0; i < net->barrel_count; i++) {
    int first = u;
    net->barrels[i].unknown = u++;
    for (int k = 0; k < net->node_count; k++) {
      if (net->nodes[k].kind != LW_NET_INNER || net->nodes[k].barrel != i) continue;
      net->nodes[k].unknown = u;
      u += 2;
    }
    net->block_size[i] = u - first;
  }
  int border = u;
  for (int k = 0; k < net->node_count; k++) {
    lw_net_node *n = &net->nodes[k];
    bool shared = n->kind == LW_NET_GAS || (n->kind == LW_NET_INNER && n->barrel < 0);
    if (!shared) continue;
    n->unknown = u;
    u += n->kind == LW_NET_GAS ? 1 : 2;
  }
  net->border_size = u - border;
  net->unknown_count = u;
}
