/* point.c - cold starts, and what flows at a solved point. */
#include "net_internal.h"

#include <math.h>
#include <string.h>

/* Air through all plates from the air outside to a manifold at p, roughly: plates and venturis in
   series, no bleeds. */
static double rough_air(const lw_net *net, const lw_setting *set, double p, double *mach) {
  double total = 0;
  for (int b = 0; b < net->barrel_count; b++) {
    const lw_barrel *barrel = &net->barrels[b];
    double slope = 0, travel = barrel->wide - barrel->closed - barrel->stop;
    double pedal = barrel->linkage == LW_LINK_PEDAL ? set->throttle : 0;
    if (barrel->linkage == LW_LINK_LATE) {
      pedal = (set->throttle - barrel->link_from) / (barrel->link_to - barrel->link_from);
      pedal = fmin(fmax(pedal, 0), 1);
    }
    double share = lw_throttle_share(barrel->closed + barrel->stop + pedal * travel, barrel->closed,
                                     barrel->shaft, &slope);
    double area = share * 0.785 * barrel->bore * barrel->bore + 2e-6;
    double both = 1 / sqrt(1 / (area * area) + 1 / (barrel->cd_area * barrel->cd_area));
    lw_flow flow = lw_gas_flow(both, &net->fluids, set->ambient, p);
    double full = lw_venturi_flow(barrel->cd_area, &net->fluids, set->ambient, 1).m;
    mach[b] = fmin(0.6 * flow.m / full, 0.9);
    total += flow.m;
  }
  return total;
}

/* The manifold pressure at which rough air and the engine's draw meet. */
static double rough_manifold(const lw_net *net, const lw_setting *set, double *mach) {
  const lw_draw *e = &net->draw;
  double outside = set->temperature > 0 ? set->temperature : net->fluids.temperature;
  double r = e->compression_ratio, g = e->gamma, lo = 0.05 * set->ambient, hi = set->ambient;
  if (set->held && lw_known(set->held->manifold)) lo = hi = set->held->manifold;
  double scale =
      e->eta0 * e->displacement * set->speed /
      (4 * 3.14159265358979323846 * net->fluids.air_r * lw_charge_temperature(e, outside));
  for (int i = 0; i < 40; i++) {
    double p = 0.5 * (lo + hi);
    double wants = scale * (p * (r / (r - 1) - (g - 1) / (g * (r - 1))) -
                            (1 + e->back) * set->ambient / (g * (r - 1)));
    *(rough_air(net, set, p, mach) > wants ? &lo : &hi) = p;
  }
  return 0.5 * (lo + hi);
}

/* The well under a nozzle that spills lifts its fuel over the lip and hardly more. */
static void cold_well(const lw_net *net, int nozzle, double lift, double *x) {
  for (int i = 0; i < net->passage_count; i++) {
    const lw_net_node *from = &net->nodes[net->passages[i].from];
    if (net->passages[i].to != nozzle || from->kind != LW_NET_INNER) continue;
    x[from->unknown] = x[net->nodes[nozzle].unknown] + 1.1 * lift / LW_BAR;
  }
}

/* A main nozzle stands at its booster's depression; it spills when that lifts fuel over its lip. */
static void cold_nozzles(const lw_net *net, const lw_setting *set, const double *mach, double *x) {
  for (int i = 0; i < net->passage_count; i++) {
    const lw_net_node *to = &net->nodes[net->passages[i].to];
    const lw_net_node *from = &net->nodes[net->passages[i].from];
    if (to->kind != LW_NET_SIGNAL || from->kind != LW_NET_INNER) continue;
    const lw_barrel *b = &net->barrels[to->barrel];
    lw_venturi v = lw_venturi_flow(b->cd_area, &net->fluids, set->ambient, mach[to->barrel]);
    double signal = set->ambient * pow(v.throat / set->ambient, b->booster);
    double lift = net->fluids.fuel_density * 9.80665 * from->height;
    double spare = set->ambient - signal - lift;
    x[from->unknown] = (signal - set->ambient + 1 + 0.35 * fmax(spare, 0)) / LW_BAR;
    x[from->unknown + 1] = spare > 0.1 * lift ? 0.97 : 0;
    if (spare > 0.1 * lift) cold_well(net, net->passages[i].from, lift, x);
  }
}

void lw_net_cold(const lw_net *net, const lw_setting *set, double *x) {
  double mach[LW_NET_BARRELS] = {0};
  double p = rough_manifold(net, set, mach);
  for (int b = 0; b < net->barrel_count; b++)
    x[net->barrels[b].unknown] = mach[b];
  for (int i = 0; i < net->node_count; i++) {
    const lw_net_node *n = &net->nodes[i];
    if (n->unknown < 0) continue;
    bool manifold = false;
    for (int k = 0; k < net->manifold_count; k++)
      manifold = manifold || net->manifolds[k] == i;
    double share = manifold ? 1 : n->kind == LW_NET_GAS ? 0.001 : n->rest_y > 0.9 ? 0.002 : 0.08;
    x[n->unknown] = -share * (set->ambient - p) / LW_BAR;
    if (n->kind == LW_NET_INNER) x[n->unknown + 1] = n->rest_y > 0.9 ? 1 : 0.5;
  }
  cold_nozzles(net, set, mach, x);
}

static bool is_sink(const lw_net_node *n) {
  return n->kind == LW_NET_SIGNAL || n->kind == LW_NET_BELOW || n->kind == LW_NET_GAS;
}

/* Inside the unit: where fuel has not been delivered yet. A bowl as well: a leak past the power valve
   goes straight from it (bench/alter.c). */
static bool is_inside(const lw_net_node *n) {
  return n->kind == LW_NET_INNER || n->kind == LW_NET_BOWL;
}

/* Fuel is counted where it leaves the unit: by the circuit of the passage it leaves through, also
   when that is a bleed it spills from (it runs down the bore, and the engine gets it). */
static void count_fuel(const lw_net *net, lw_point *point) {
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *p = &net->passages[i];
    const lw_net_node *to = &net->nodes[p->to], *from = &net->nodes[p->from];
    double fuel = point->fuel_flow[i], out = 0;
    if (is_inside(from) && is_sink(to)) out = fuel;
    if (is_sink(from) && is_inside(to)) out = -fuel;
    const lw_net_node *inside = is_inside(from) ? from : to;
    point->fuel += out;
    point->by_circuit[p->circuit] += out;
    if (inside->barrel >= 0) point->barrel_fuel[inside->barrel] += out;
    if (p->circuit == LW_CIRCUIT_POWER) point->by_circuit[LW_CIRCUIT_POWER] += fuel;
  }
  /* power fuel leaves through the main nozzle: it is shown as its own and taken from the main's */
  point->by_circuit[LW_CIRCUIT_MAIN] -= point->by_circuit[LW_CIRCUIT_POWER];
}

/* Air into the engine: all that leaves the air outside, and what the bowls' vents do not count. */
static void count_air(const lw_net *net, lw_point *point) {
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *p = &net->passages[i];
    double air = point->flow[i] - point->fuel_flow[i];
    if (net->nodes[p->from].kind == LW_NET_AMBIENT) point->air += air;
    if (net->nodes[p->to].kind == LW_NET_AMBIENT) point->air -= air;
  }
}

void lw_net_point(const lw_net *net, const lw_setting *setting, const lw_state *state,
                  lw_point *point) {
  memset(point, 0, sizeof *point);
  lw_net_flows(net, setting, state->x, point);
  count_fuel(net, point);
  count_air(net, point);
  point->manifold = point->pressure[net->manifolds[0]];
  bool any = point->fuel > 1e-9;
  point->afr = any ? point->air / point->fuel : NAN;
  point->lambda = any ? point->afr / lw_fuel_stoichiometric(&net->fuel) : NAN;
}

void lw_net_residual(const lw_net *net, const lw_setting *setting, const double *x,
                     double *residual, double *jacobian) {
  lw_system s;
  lw_net_assemble(net, setting, 0, x, &s);
  int n = net->unknown_count, k = net->border_size, border = lw_net_border_at(net), at = 0;
  for (int i = 0; i < n; i++)
    residual[i] = s.r[i];
  if (!jacobian) return;
  memset(jacobian, 0, (size_t)n * (size_t)n * sizeof *jacobian);
  for (int b = 0; b < net->barrel_count; b++) {
    int size = net->block_size[b];
    for (int i = 0; i < size; i++) {
      for (int j = 0; j < size; j++)
        jacobian[(at + i) * n + at + j] = s.a[b][i][j];
      for (int j = 0; j < k; j++) {
        jacobian[(at + i) * n + border + j] = s.b[b][i][j];
        jacobian[(border + j) * n + at + i] = s.c[b][j][i];
      }
    }
    at += size;
  }
  for (int i = 0; i < k; i++) {
    for (int j = 0; j < k; j++)
      jacobian[(border + i) * n + border + j] = s.d[i][j];
  }
}

/* ---- the throttle for a vacuum ---- */

static bool vacuum_at(const lw_net *net, lw_setting *s, lw_state *state, double throttle,
                      double *vacuum, lw_report *report) {
  s->throttle = throttle;
  lw_net_solve(net, s, state, report);
  if (!report->converged) return false;
  *vacuum = -LW_BAR * state->x[net->nodes[net->manifolds[0]].unknown];
  return true;
}

/* Vacuum falls as the plate opens: bisection on the throttle, regula falsi inside. */
lw_status lw_net_throttle_for(const lw_net *net, lw_setting *s, double vacuum, lw_state *state,
                              lw_error *error) {
  lw_report report = {0};
  double travel = net->barrels[0].wide - net->barrels[0].closed - net->barrels[0].stop;
  double lo = -net->barrels[0].stop / travel, hi = 1, at_lo = 0, at_hi = 0;
  bool good = vacuum_at(net, s, state, hi, &at_hi, &report) &&
              vacuum_at(net, s, state, lo, &at_lo, &report);
  if (good && (at_lo < vacuum || at_hi > vacuum)) {
    return lw_fail(error, LW_NO_CONVERGENCE,
                   "no throttle gives this vacuum at this speed: it lies between %.0f and %.0f kPa",
                   at_hi / 1e3, at_lo / 1e3);
  }
  for (int i = 0; good && i < 60; i++) {
    double share = i % 3 == 2 ? 0.5 : (at_lo - vacuum) / (at_lo - at_hi), at = 0;
    double mid = lo + (hi - lo) * fmin(fmax(share, 0.02), 0.98);
    good = vacuum_at(net, s, state, mid, &at, &report);
    if (!good) break;
    if (fabs(at - vacuum) < 1) return LW_OK;
    if (at > vacuum) {
      lo = mid;
      at_lo = at;
    } else {
      hi = mid;
      at_hi = at;
    }
  }
  if (!good) {
    return lw_fail(error, LW_NO_CONVERGENCE, "the flows did not settle (%s)", report.where);
  }
  /* the flow jumps here: a plugged bleed leaves a well full on one side and empty on the other */
  return lw_fail(error, LW_NO_CONVERGENCE,
                 "no throttle gives this vacuum at this speed: at %.2f %% it jumps from %.2f to "
                 "%.2f kPa",
                 100 * s->throttle, at_lo / 1e3, at_hi / 1e3);
}
