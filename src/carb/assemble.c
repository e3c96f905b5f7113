/* assemble.c - all balances of a network and their exact derivatives at given unknowns.
**
** Every passage is evaluated once: its opening (gate), its flow one way or both ways, and how they
** change with the unknowns behind its ends; the changes are kept as a short list of terms and added
** to the rows of the nodes it joins.
*/
#include "net_internal.h"

#include <assert.h>
#include <math.h>
#include <stddef.h>
#include <string.h>

enum { TERMS = 16 };

static const double gravity = 9.80665;
/* What a node holds in which nothing flows, told so that a point has one answer: as a flow a
   billionth of an idle circuit's. Its pressure stays untold (see solve.c, add_hold). */
static const double settle = 1e-13; /* kg/s toward what the node holds at rest */
/* Share of a bleed's holes that lie under the fuel at rest; the others always breathe. Ours. */
static const double holes_below = 0.75;

/* A sum of changes: d(something) = sum v * d(unknown col). */
typedef struct terms {
  int n, col[TERMS];
  double v[TERMS];
} terms;

static void term(terms *t, int col, double v) {
  if (col < 0) return;
  assert(t->n < TERMS);
  t->col[t->n] = col;
  t->v[t->n++] = v;
}

static void scaled(terms *t, const terms *from, double by) {
  for (int i = 0; i < from->n; i++)
    term(t, from->col[i], by * from->v[i]);
}

/* ---- where unknowns live ---- */

int lw_net_block_at(const lw_net *net, int barrel) {
  int at = 0;
  for (int b = 0; b < barrel; b++)
    at += net->block_size[b];
  return at;
}

int lw_net_border_at(const lw_net *net) {
  return net->unknown_count - net->border_size;
}

typedef struct place {
  int block, local; /* block -1: border */
} place;

typedef struct sheet {
  const lw_net *net;
  const lw_setting *setting;
  lw_system *s;
  double soft; /* Pa: see lw_net_assemble */
  lw_fluids fluids;
  place places[LW_NET_UNKNOWNS];
  struct value {
    double p, over, y; /* over: p less that of the air outside, with all its digits */
    terms dp;          /* in Pa for each unit of the unknown */
    int ycol;
  } value[LW_NET_NODES];
  struct plate {
    double angle;
    terms d; /* rad */
  } plate[LW_NET_BARRELS];
  struct plate valve[LW_NET_BARRELS]; /* share open of an air valve */
  double venturi[LW_NET_BARRELS];
  terms d_venturi[LW_NET_BARRELS];
} sheet;

static void map_places(sheet *w) {
  int u = 0;
  for (int b = 0; b < w->net->barrel_count; b++) {
    for (int i = 0; i < w->net->block_size[b]; i++)
      w->places[u++] = (place){b, i};
  }
  for (int i = 0; i < w->net->border_size; i++)
    w->places[u++] = (place){-1, i};
}

static void jacobian(sheet *w, int row, int col, double v) {
  place r = w->places[row], c = w->places[col];
  if (r.block >= 0 && c.block == r.block) {
    w->s->a[r.block][r.local][c.local] += v;
  } else if (r.block >= 0) {
    assert(c.block < 0); /* builders keep barrels apart but for the border */
    w->s->b[r.block][r.local][c.local] += v;
  } else if (c.block >= 0) {
    w->s->c[c.block][r.local][c.local] += v;
  } else {
    w->s->d[r.local][c.local] += v;
  }
}

static void add_row(sheet *w, int row, double r, const terms *d, double by) {
  w->s->r[row] += by * r;
  for (int i = 0; i < d->n; i++)
    jacobian(w, row, d->col[i], by * d->v[i]);
}

/* Whether this member of what is held is given; *value gets it. */
static bool is_held(const sheet *w, size_t member, double *value) {
  if (!w->setting->held) return false;
  double held = *(const double *)(const void *)((const char *)w->setting->held + member);
  if (held != held) return false;
  *value = held;
  return true;
}

/* ---- nodes ---- */

static void plain_value(sheet *w, int i, const double *x) {
  const lw_net_node *n = &w->net->nodes[i];
  struct value *v = &w->value[i];
  v->p = v->over = v->y = 0;
  v->ycol = -1;
  v->dp.n = 0;
  switch (n->kind) {
  case LW_NET_AMBIENT: v->p = w->setting->ambient; break;
  case LW_NET_INNER:
    v->y = x[n->unknown + 1];
    v->ycol = n->unknown + 1;
    /* fall through */
  case LW_NET_GAS:
    v->over = LW_BAR * x[n->unknown];
    v->p = w->setting->ambient + v->over;
    term(&v->dp, n->unknown, LW_BAR);
    break;
  default: break; /* derived ones follow */
  }
}

/* Air through a barrel's venturi, its booster's signal and the pressure below it. */
static void barrel_values(sheet *w, int b, const double *x) {
  const lw_barrel *barrel = &w->net->barrels[b];
  const struct value *horn = &w->value[barrel->horn];
  double mach = x[barrel->unknown];
  w->valve[b].d.n = w->d_venturi[b].n = 0;
  lw_venturi v = lw_venturi_flow(barrel->cd_area, &w->fluids, horn->p, mach);
  double open = 1, d_open = 0, lost = barrel->lost, d_lost = 0; /* by the valve's depression */
  if (barrel->valve_full > 0) { /* ours: the gap around a shut air valve */
    const double shut = 0.08;
    double slope = 0;
    double share =
        lw_air_valve_share(horn->p - v.throat, barrel->valve_opens, barrel->valve_full, &slope);
    double follows = share;
    if (is_held(w, offsetof(lw_held, valve), &share)) {
      /* a flap that lags is a baffle: what it throttles is not recovered below it (ours) */
      lost += (1 - barrel->lost) * fmax(follows - share, 0);
      d_lost = follows > share ? (1 - barrel->lost) * slope : 0;
      slope = 0;
    }
    open = shut + (1 - shut) * share;
    d_open = (1 - shut) * slope;
    w->valve[b].angle = share;
    term(&w->valve[b].d, barrel->unknown, -slope * v.d_mach_throat);
    scaled(&w->valve[b].d, &horn->dp, slope * (1 - v.d_p_throat));
  }
  w->venturi[b] = v.m * open;
  terms *d = &w->d_venturi[b];
  term(d, barrel->unknown, v.d_mach_m * open - v.m * d_open * v.d_mach_throat);
  scaled(d, &horn->dp, v.d_p_m * open + v.m * d_open * (1 - v.d_p_throat));
  if (barrel->signal >= 0) {
    /* (throat/horn)^booster: the depression times booster while it is small, never below zero */
    struct value *s = &w->value[barrel->signal];
    double ratio = v.throat / horn->p, power = pow(ratio, barrel->booster);
    double by_throat = barrel->booster * power / ratio;
    s->over = horn->over + horn->p * (power - 1);
    s->p = w->setting->ambient + s->over;
    term(&s->dp, barrel->unknown, by_throat * v.d_mach_throat);
    scaled(&s->dp, &horn->dp, by_throat * v.d_p_throat + power * (1 - barrel->booster));
  }
  /* past choking the pressure below falls by itself, down to what the plate asks for (the slope is
     ours: no flow depends on it) */
  const double falls = 2.2;
  double past = falls * fmax(mach - 1, 0), drop = horn->p - v.throat;
  double by_drop = lost + drop * d_lost;
  struct value *below = &w->value[barrel->below];
  below->over = horn->over - lost * drop - past * horn->p;
  below->p = w->setting->ambient + below->over;
  term(&below->dp, barrel->unknown, by_drop * v.d_mach_throat - (mach > 1 ? falls * horn->p : 0));
  scaled(&below->dp, &horn->dp, 1 - by_drop * (1 - v.d_p_throat) - past);
}

static void plate_angle(sheet *w, int b) {
  const lw_barrel *barrel = &w->net->barrels[b];
  struct plate *plate = &w->plate[b];
  double travel = barrel->wide - barrel->closed - barrel->stop, slope = 0;
  double pedal = w->setting->throttle;
  plate->d.n = 0;
  switch (barrel->linkage) {
  case LW_LINK_PEDAL: plate->angle = barrel->closed + barrel->stop + pedal * travel; return;
  case LW_LINK_LATE: {
    double share = (pedal - barrel->link_from) / (barrel->link_to - barrel->link_from);
    plate->angle = barrel->closed + barrel->stop + fmin(fmax(share, 0), 1) * travel;
    return;
  }
  case LW_LINK_DIAPHRAGM: {
    const struct value *horn = &w->value[barrel->horn], *at = &w->value[barrel->diaphragm];
    double share =
        lw_air_valve_share(horn->over - at->over, barrel->link_from, barrel->link_to, &slope);
    if (is_held(w, offsetof(lw_held, diaphragm), &share)) slope = 0;
    plate->angle = barrel->closed + barrel->stop + share * travel;
    scaled(&plate->d, &horn->dp, slope * travel);
    scaled(&plate->d, &at->dp, -slope * travel);
    return;
  }
  case LW_LINK_SHUT: break;
  }
  plate->angle = barrel->closed + barrel->stop;
}

static void all_values(sheet *w, const double *x) {
  const lw_net *net = w->net;
  for (int i = 0; i < net->node_count; i++)
    plain_value(w, i, x);
  for (int b = 0; b < net->barrel_count; b++)
    barrel_values(w, b, x);
  for (int b = 0; b < net->barrel_count; b++)
    plate_angle(w, b);
  for (int i = 0; i < net->node_count; i++) {
    if (net->nodes[i].kind != LW_NET_BOWL) continue;
    w->value[i].p = w->value[net->nodes[i].vent].p;
    w->value[i].over = w->value[net->nodes[i].vent].over;
    w->value[i].dp = w->value[net->nodes[i].vent].dp;
    w->value[i].y = 1;
  }
}

/* ---- gates ---- */

static double slot_share(sheet *w, const lw_passage *p, terms *d) {
  const lw_barrel *barrel = &w->net->barrels[p->barrel];
  const struct plate *plate = &w->plate[p->barrel];
  double by_angle = 0, by_edge = 0;
  double edge = lw_throttle_edge(plate->angle, barrel->closed, barrel->bore, &by_angle);
  double share = lw_slot_below(edge, p->low, p->high, &by_edge) / p->high;
  double slope = by_edge * by_angle / p->high;
  bool above = p->gate == LW_GATE_SLOT_ABOVE;
  scaled(d, &plate->d, above ? -slope : slope);
  return above ? 1 - share : share;
}

/* Share of the full opening, and how it changes. */
static double gate(sheet *w, const lw_passage *p, terms *d) {
  double slope = 0, share = 1;
  switch (p->gate) {
  case LW_GATE_NONE: break;
  case LW_GATE_POWER: {
    const struct value *m = &w->value[p->barrel];
    double vacuum = -m->over;
    share = lw_air_valve_share(p->high - vacuum, 0, p->high - p->low, &slope);
    if (is_held(w, offsetof(lw_held, power), &share)) slope = 0;
    scaled(d, &m->dp, slope);
    break;
  }
  case LW_GATE_CHECK: {
    const struct value *a = &w->value[p->from], *b = &w->value[p->to];
    share = lw_smooth_step((a->over - b->over - p->low) / (p->high - p->low), &slope);
    scaled(d, &a->dp, slope / (p->high - p->low));
    scaled(d, &b->dp, -slope / (p->high - p->low));
    break;
  }
  case LW_GATE_SLOT_BELOW:
  case LW_GATE_SLOT_ABOVE: return slot_share(w, p, d);
  case LW_GATE_PLATE: {
    const lw_barrel *barrel = &w->net->barrels[p->barrel];
    share = lw_throttle_share(w->plate[p->barrel].angle, barrel->closed, barrel->shaft, &slope);
    scaled(d, &w->plate[p->barrel].d, slope);
    break;
  }
  case LW_GATE_VALVE:
    share = p->low + (1 - p->low) * w->valve[p->barrel].angle;
    scaled(d, &w->valve[p->barrel].d, 1 - p->low);
    break;
  }
  return share;
}

/* ---- flows into rows ---- */

/* m (kg/s) with its changes leaves `from` and arrives at `to`, holding y_from of fuel. */
static void carry(sheet *w, int from, int to, double m, const terms *d) {
  const lw_net_node *f = &w->net->nodes[from], *t = &w->net->nodes[to];
  const struct value *vf = &w->value[from], *vt = &w->value[to];
  int out = f->kind == LW_NET_SIGNAL || f->kind == LW_NET_BELOW ? w->net->barrels[f->barrel].unknown
                                                                : f->unknown;
  int in = t->kind == LW_NET_SIGNAL || t->kind == LW_NET_BELOW ? w->net->barrels[t->barrel].unknown
                                                               : t->unknown;
  if (out >= 0) {
    add_row(w, out, m, d, -1);
    w->s->through[out] += m;
    if (f->kind == LW_NET_INNER) w->s->through[out + 1] += m;
  }
  if (in < 0) return;
  w->s->through[in] += m;
  if (t->kind != LW_NET_INNER) { /* only the air counts from here on */
    add_row(w, in, m, d, 1 - vf->y);
    if (vf->ycol >= 0) jacobian(w, in, vf->ycol, -m);
    return;
  }
  add_row(w, in, m, d, 1);
  w->s->through[in + 1] += m;
  add_row(w, in + 1, m, d, vf->y - vt->y);
  if (vf->ycol >= 0) jacobian(w, in + 1, vf->ycol, m);
  jacobian(w, in + 1, vt->ycol, -m);
}

/* The drop that drives a flow one way: none under zero, bent around it over some `soft` Pa (the
   logarithm of 1 + exp). Returns its slope. */
static double softened(double soft, double *drop) {
  if (!(soft > 0) || *drop > 40 * soft) return 1;
  if (*drop < -40 * soft) return *drop = 0;
  double z = exp(*drop / soft);
  *drop = soft * log1p(z);
  return z / (1 + z);
}

/* One way of a mixture passage. Returns the flow. */
static double one_way(sheet *w, const lw_passage *p, int from, int to, double sump, double open,
                      const terms *d_open) {
  const struct value *f = &w->value[from], *t = &w->value[to];
  double rise = w->net->nodes[from].height - w->net->nodes[to].height;
  double weight = w->fluids.fuel_density * gravity;
  /* what fuel the passage holds stands in it as a column; gas must push the sump's fuel down first
     */
  double drop = f->over - t->over + weight * (f->y * rise - (1 - f->y) * sump);
  double bend = softened(w->soft, &drop);
  if (!(drop > 0) || !(open > 0)) return 0;
  lw_mix_flow flow = lw_mix_orifice_drop(&p->orifice, &w->fluids, t->p + drop, drop, f->y);
  if (!(flow.m > 0)) return 0;
  terms d;
  d.n = 0;
  scaled(&d, &f->dp, open * flow.d_p1 * bend);
  scaled(&d, &t->dp, open * (flow.d_p1 * (1 - bend) + flow.d_p2));
  term(&d, f->ycol, open * (flow.d_y + flow.d_p1 * bend * weight * (rise + sump)));
  scaled(&d, d_open, flow.m);
  carry(w, from, to, open * flow.m, &d);
  return open * flow.m;
}

static double gas_passage(sheet *w, const lw_passage *p, double open, const terms *d_open) {
  const struct value *f = &w->value[p->from], *t = &w->value[p->to];
  lw_flow flow = lw_gas_flow_drop(p->cd_area, &w->fluids, f->p, f->over - t->over);
  terms d;
  d.n = 0;
  bool forward = flow.m >= 0;
  double sign = forward ? 1 : -1;
  scaled(&d, &f->dp, sign * open * flow.d_p1);
  scaled(&d, &t->dp, sign * open * flow.d_p2);
  scaled(&d, d_open, sign * flow.m);
  carry(w, forward ? p->from : p->to, forward ? p->to : p->from, sign * open * flow.m, &d);
  return open * flow.m;
}

static double passage(sheet *w, const lw_passage *p, double *fuel) {
  terms d_open;
  d_open.n = 0;
  double open = gate(w, p, &d_open);
  if (p->gas) {
    *fuel = 0;
    return gas_passage(w, p, open, &d_open);
  }
  double below = p->hole > 0 ? holes_below : 0;
  double there = one_way(w, p, p->from, p->to, 0, (1 - below) * open, &d_open);
  if (below > 0) there += one_way(w, p, p->from, p->to, p->hole, below * open, &d_open);
  double back = one_way(w, p, p->to, p->from, p->sump, open, &d_open);
  *fuel = there * w->value[p->from].y - back * w->value[p->to].y;
  return there - back;
}

static void venturis(sheet *w) {
  for (int b = 0; b < w->net->barrel_count; b++) {
    const lw_barrel *barrel = &w->net->barrels[b];
    int horn = w->net->nodes[barrel->horn].unknown;
    double m = w->venturi[b];
    add_row(w, barrel->unknown, m, &w->d_venturi[b], 1);
    w->s->through[barrel->unknown] += fabs(m);
    if (horn < 0) continue;
    add_row(w, horn, m, &w->d_venturi[b], -1);
    w->s->through[horn] += fabs(m);
  }
}

double lw_charge_temperature(const lw_draw *draw, double outside) {
  /* ours: a manifold at 355 K heats air of 293 K to 310 K, which is 0.27 of the way */
  const double follows = 0.73;
  return draw->temperature + follows * (outside - 293.15);
}

/* What the cylinders draw: linear in the manifold's pressure (carb.h, lw_draw). */
static double draw(const sheet *w, double p, double *slope) {
  const lw_net *net = w->net;
  const lw_setting *set = w->setting;
  const lw_draw *e = &net->draw;
  double r = e->compression_ratio, g = e->gamma;
  double temperature = lw_charge_temperature(e, w->fluids.temperature);
  double scale = e->eta0 * e->displacement * set->speed / (4 * 3.14159265358979323846) /
                 (net->fluids.air_r * temperature) / net->manifold_count;
  *slope = scale * (r / (r - 1) - (g - 1) / (g * (r - 1)));
  return *slope * p - scale * (1 + e->back) * set->ambient / (g * (r - 1));
}

/* A manifold at a given pressure: its balance is not the engine's. */
static void hold_manifold(sheet *w, int node, double given) {
  const double stiff = 1; /* kg/s for 1e5 Pa */
  int row = w->net->nodes[node].unknown;
  place r = w->places[row];
  assert(r.block < 0);
  for (int b = 0; b < w->net->barrel_count; b++)
    memset(w->s->c[b][r.local], 0, sizeof w->s->c[b][r.local]);
  memset(w->s->d[r.local], 0, sizeof w->s->d[r.local]);
  w->s->r[row] = stiff * (given - w->value[node].p) / LW_BAR;
  w->s->through[row] = stiff;
  jacobian(w, row, row, -stiff);
}

static void draws(sheet *w) {
  for (int i = 0; i < w->net->manifold_count; i++) {
    int node = w->net->manifolds[i], row = w->net->nodes[node].unknown;
    double given = 0;
    if (is_held(w, offsetof(lw_held, manifold), &given)) {
      hold_manifold(w, node, given);
      continue;
    }
    double slope = 0, m = draw(w, w->value[node].p, &slope);
    terms d;
    d.n = 0;
    scaled(&d, &w->value[node].dp, slope);
    add_row(w, row, m, &d, -1);
    w->s->through[row] += fabs(m);
  }
}

static void rests(sheet *w) {
  for (int i = 0; i < w->net->node_count; i++) {
    const lw_net_node *n = &w->net->nodes[i];
    if (n->kind != LW_NET_INNER) continue;
    w->s->r[n->unknown + 1] += settle * (n->rest_y - w->value[i].y);
    jacobian(w, n->unknown + 1, n->unknown + 1, -settle);
  }
}

static void clear(const lw_net *net, lw_system *s) {
  int n = net->unknown_count, k = net->border_size;
  memset(s->r, 0, (size_t)n * sizeof *s->r);
  memset(s->through, 0, (size_t)n * sizeof *s->through);
  for (int b = 0; b < net->barrel_count; b++) {
    size_t rows = (size_t)net->block_size[b];
    memset(s->a[b], 0, rows * sizeof s->a[b][0]);
    memset(s->b[b], 0, rows * sizeof s->b[b][0]);
    memset(s->c[b], 0, (size_t)k * sizeof s->c[b][0]);
  }
  memset(s->d, 0, (size_t)k * sizeof s->d[0]);
}

static void evaluate(const lw_net *net, const lw_setting *setting, double soft, const double *x,
                     lw_system *s, lw_point *point) {
  sheet w; /* what is used of it is set before: clearing the rest would cost a tenth of the time */
#ifdef __clang_analyzer__ /* see solve.c */
  memset(&w, 0, sizeof w);
#endif
  w.net = net;
  w.setting = setting;
  w.s = s;
  w.soft = soft;
  w.fluids = net->fluids;
  if (setting->temperature > 0 && setting->temperature != net->fluids.temperature) {
    w.fluids = lw_fluids_at(setting->temperature, net->fuel_density_15);
  }
  clear(net, s);
  map_places(&w);
  all_values(&w, x);
  for (int i = 0; i < net->passage_count; i++) {
    double fuel = 0, m = passage(&w, &net->passages[i], &fuel);
    if (!point) continue;
    point->flow[i] = m;
    point->fuel_flow[i] = fuel;
  }
  venturis(&w);
  draws(&w);
  rests(&w);
  if (!point) return;
  for (int i = 0; i < net->node_count; i++) {
    point->pressure[i] = w.value[i].p;
    point->fuel_fraction[i] = w.value[i].y;
  }
  for (int b = 0; b < net->barrel_count; b++) {
    point->barrel_air[b] = w.venturi[b];
    point->angle[b] = w.plate[b].angle - net->barrels[b].closed;
  }
}

void lw_net_assemble(const lw_net *net, const lw_setting *setting, double soft, const double *x,
                     lw_system *s) {
  evaluate(net, setting, soft, x, s, NULL);
}

void lw_net_flows(const lw_net *net, const lw_setting *setting, const double *x, lw_point *point) {
  lw_system s;
  evaluate(net, setting, 0, x, &s, point);
}
