/* alter.c - what a unit suffers that no card says, put into its network.
**
** Sizes of faults that nobody states are ours and stand here once.
*/
#include "bench_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define PI 3.14159265358979323846

static const double leak_cd = 0.65;         /* a sharp-edged hole */
static const double choke_clearance = 0.03; /* of its opening, around a choke that is shut */
static const double port_length = 2;        /* diameters */
/* A worn shaft lets air in at both of its ends along half of its round (the loaded side is tight),
   and half of that gets in under the plate. */
static const double shaft_share = 0.25, shaft_cd = 0.5;

static double circle(double d) {
  return PI / 4 * d * d;
}

/* ---- finding passages ---- */

/* "main jet" begins "main jet" and "main jet, left", and not "main jet screw". */
static bool begins(const char *name, const char *prefix, size_t length) {
  return strncmp(name, prefix, length) == 0 &&
         (name[length] == '\0' || name[length] == ',' || strcmp(prefix, "idle air bypass") == 0);
}

static bool named(const lw_passage *p, const char *prefixes) {
  while (*prefixes) {
    size_t length = strcspn(prefixes, "|");
    if (begins(p->name, prefixes, length)) return true;
    prefixes += length;
    if (*prefixes) prefixes++;
  }
  return false;
}

/* The barrel a passage belongs to; -1: none. */
static int barrel_of(const lw_net *net, const lw_passage *p) {
  if (net->nodes[p->to].barrel >= 0) return net->nodes[p->to].barrel;
  return net->nodes[p->from].barrel;
}

static bool is_secondary(const lw_net *net, int barrel) {
  return net->barrels[barrel].linkage != LW_LINK_PEDAL;
}

/* Primary barrels are built left, right, left, right. */
static int side_of(const lw_net *net, int barrel) {
  int primary = 0;
  for (int b = 0; b < barrel; b++)
    primary += !is_secondary(net, b);
  return primary % 2 + 1;
}

static void scale(lw_net *net, const lw_scaled *s) {
  const char *prefixes = lw_size_passages(s->name);
  for (int i = 0; i < net->passage_count && prefixes; i++) {
    lw_passage *p = &net->passages[i];
    int barrel = barrel_of(net, p);
    if (barrel < 0 || !named(p, prefixes)) continue;
    if (is_secondary(net, barrel) != s->secondary) continue;
    if (s->side && side_of(net, barrel) != s->side) continue;
    if (!(s->scale > 0)) {
      p->orifice.area = p->cd_area = 0;
      continue;
    }
    /* a rod in a jet keeps its size, and the step it adds is the rod's */
    bool step = p->gate == LW_GATE_POWER && strncmp(p->name, "power step", 10) == 0;
    if (step) continue;
    p->orifice.area += circle(p->orifice.diameter) * (s->scale * s->scale - 1);
    p->orifice.diameter *= s->scale;
    p->cd_area *= s->scale * s->scale;
  }
}

/* ---- new passages ---- */

static lw_status add(lw_net *net, lw_passage passage, lw_error *error) {
  if (net->passage_count == LW_NET_PASSAGES) {
    return lw_fail(error, LW_TOO_LARGE, "this network has no room for another passage");
  }
  passage.circuit = LW_CIRCUIT_LEAK;
  net->passages[net->passage_count++] = passage;
  return LW_OK;
}

static int find_node(const lw_net *net, lw_net_kind kind) {
  for (int i = 0; i < net->node_count; i++) {
    if (net->nodes[i].kind == kind) return i;
  }
  return 0;
}

static lw_status leak_air(lw_net *net, double cd_area, const char *name, lw_error *error) {
  lw_passage p = {.gas = true, .cd_area = cd_area, .barrel = -1};
  p.from = find_node(net, LW_NET_AMBIENT);
  p.to = net->manifolds[0];
  snprintf(p.name, sizeof p.name, "%s", name);
  return add(net, p, error);
}

/* Primary barrels of a unit share a shaft; each pair of them has two ends. */
static lw_status leak_shaft(lw_net *net, double wear, lw_error *error) {
  int primaries = 0;
  double diameter = net->barrels[0].shaft * net->barrels[0].bore;
  for (int b = 0; b < net->barrel_count; b++)
    primaries += !is_secondary(net, b);
  int shafts = (primaries + 1) / 2;
  double gap = PI * diameter * wear / 2;
  return leak_air(net, shafts * 2 * gap * shaft_share * shaft_cd, "worn throttle shaft", error);
}

static lw_status leak_fuel(lw_net *net, double diameter, lw_error *error) {
  lw_passage p = {.orifice = {circle(diameter), diameter, port_length}, .barrel = -1};
  p.from = find_node(net, LW_NET_BOWL);
  p.to = net->manifolds[0];
  snprintf(p.name, sizeof p.name, "leaking power valve");
  return add(net, p, error);
}

/* ---- valves ---- */

static void stick(lw_net *net, lw_gate gate, lw_stuck how) {
  for (int i = 0; i < net->passage_count && how; i++) {
    lw_passage *p = &net->passages[i];
    if (p->gate != gate) continue;
    if (how == LW_STUCK_SHUT) p->orifice.area = 0;
    p->gate = LW_GATE_NONE;
  }
}

static void stick_secondaries(lw_net *net, double angle) {
  for (int b = 0; b < net->barrel_count; b++) {
    if (!is_secondary(net, b)) continue;
    net->barrels[b].linkage = LW_LINK_SHUT;
    net->barrels[b].stop = angle;
  }
}

static void narrow(lw_net *net, const char *prefix, double share) {
  for (int i = 0; i < net->passage_count; i++) {
    if (net->passages[i].gas && named(&net->passages[i], prefix)) net->passages[i].cd_area *= share;
  }
}

lw_status lw_twin_alter(lw_twin *twin, lw_error *error) {
  lw_net *net = twin->net;
  const lw_altered *a = &twin->altered;
  lw_status status = LW_OK;
  if (twin->temperature != net->fluids.temperature) {
    net->fluids = lw_fluids_at(twin->temperature, net->fuel_density_15);
  }
  /* heights count from the card's fuel level: a higher float is a higher bowl */
  for (int i = 0; i < net->node_count; i++) {
    if (net->nodes[i].kind == LW_NET_BOWL) net->nodes[i].height += a->fuel_rise;
  }
  narrow(net, "choke", fmax(1 - a->choke_shut, choke_clearance));
  narrow(net, "air cleaner", 1 - a->cleaner_clogged);
  for (size_t i = 0; i < a->scaled_count; i++)
    scale(net, &a->scaled[i]);
  stick(net, LW_GATE_POWER, a->power_valve);
  stick(net, LW_GATE_CHECK, a->check_valve);
  if (a->vacuum_leak > 0) {
    status = leak_air(net, leak_cd * circle(a->vacuum_leak), "vacuum leak", error);
  }
  if (status == LW_OK && a->shaft_wear > 0) status = leak_shaft(net, a->shaft_wear, error);
  if (status == LW_OK && a->power_leak > 0) status = leak_fuel(net, a->power_leak, error);
  /* last: sides are told by the linkages as built */
  if (a->secondary_stuck) stick_secondaries(net, a->secondary_angle);
  return status;
}
