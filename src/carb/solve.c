/* solve.c - Newton's method on the balances of a network, with fallbacks.
**
** 1. Damped Newton: exact Jacobian, steps held inside what unknowns can be, halved while the sum of
**    squares of the scaled balances does not fall.
** 2. Softened: every passage flows both ways a little, so that there are no corners where a flow
**    turns round; then the passages are sharpened step by step. First from the neighbor's solution,
**    then (after a plain cold start) from a cold one.
** 3. In time: every node is given a small room and the softened network is followed by implicit
**    steps that grow until it rests; then it is sharpened.
** 4. The same, softer and sharper.
** Converged means: every balance is under 1e-9 of the flow through its node (floor 0.1 mg/s: what is
** left is then 1e-16 kg/s, which the last digit of a pressure moves through a wide jet at rest).
*/
#include "net_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { NEWTON_STEPS = 60, HALVINGS = 10, TIME_STEPS = 200 };

static const double tolerance = 1e-9;
static const double floor_flow = 1e-7; /* kg/s */

typedef enum sort { SORT_MACH, SORT_PRESSURE, SORT_FUEL } sort;

typedef struct job {
  const lw_net *net;
  lw_setting setting;
  double per_dt, start[LW_NET_UNKNOWNS]; /* 1/s; 0: at rest */
  double soft, goal;                     /* see lw_net_assemble; the norm that is good enough */
  sort sorts[LW_NET_UNKNOWNS];
  int node_of[LW_NET_UNKNOWNS]; /* node of a row; -1 - barrel for a barrel's air */
  double hold[LW_NET_UNKNOWNS]; /* kg for each unit of the unknown, for the relaxed way */
  lw_system s;                  /* at x */
  double norm, merit;
  double weight[LW_NET_UNKNOWNS]; /* of the balances in the merit, fixed while a step is tried */
  int worst, steps;
  double x[LW_NET_UNKNOWNS];
} job;

static void sort_unknowns(job *j) {
  const lw_net *net = j->net;
  for (int b = 0; b < net->barrel_count; b++) {
    int u = net->barrels[b].unknown;
    j->sorts[u] = SORT_MACH;
    j->node_of[u] = -1 - b;
    j->hold[u] = -1e-4; /* its balance rises with it: see relax */
  }
  for (int i = 0; i < net->node_count; i++) {
    int u = net->nodes[i].unknown;
    if (u < 0) continue;
    j->sorts[u] = SORT_PRESSURE;
    j->node_of[u] = i;
    j->hold[u] = net->nodes[i].kind == LW_NET_GAS ? 2e-3 : 1e-6;
    if (net->nodes[i].kind != LW_NET_INNER) continue;
    j->sorts[u + 1] = SORT_FUEL;
    j->node_of[u + 1] = i;
    j->hold[u + 1] = 1e-6;
  }
}

/* Norm of the balances, each over the flow through its node. */
static void measure(job *j) {
  j->norm = j->merit = 0;
  j->worst = -1;
  for (int i = 0; i < j->net->unknown_count; i++) {
    double e = fabs(j->s.r[i]) / (j->s.through[i] + floor_flow), w = j->s.r[i] * j->weight[i];
    j->merit += w * w;
    if (e > j->norm || !(e == e)) {
      j->norm = e;
      j->worst = i;
    }
  }
}

/* What each node takes up in its little room in the time of a step. And where nothing flows, no
   balance tells the pressure: it stays what it is, by a slope without a flow (`pore`), so that its
   row is not empty. */
static void add_hold(job *j) {
  static const double pore[] = {[SORT_PRESSURE] = 1e-10, [SORT_FUEL] = 0}; /* kg/s for 1e5 Pa */
  int at = 0;
  for (int i = 0; j->per_dt > 0 && i < j->net->unknown_count; i++)
    j->s.r[i] -= j->hold[i] * j->per_dt * (j->x[i] - j->start[i]);
  for (int b = 0; b < j->net->barrel_count; b++) {
    for (int i = 0; i < j->net->block_size[b]; i++, at++)
      j->s.a[b][i][i] -= j->hold[at] * j->per_dt + pore[j->sorts[at]];
  }
  for (int i = 0; i < j->net->border_size; i++, at++)
    j->s.d[i][i] -= j->hold[at] * j->per_dt + pore[j->sorts[at]];
}

static void evaluate(job *j) {
  lw_net_assemble(j->net, &j->setting, j->soft, j->x, &j->s);
  add_hold(j);
  measure(j);
}

/* A balance over its own flow cannot exceed 1, however far a step goes wrong, so that the merit of
   a step counts each balance over the flow from before it. */
static void weigh(job *j) {
  const double light = 1e-6; /* kg/s */
  j->merit = 0;
  for (int i = 0; i < j->net->unknown_count; i++) {
    j->weight[i] = 1 / (j->s.through[i] + light);
    double w = j->s.r[i] * j->weight[i];
    j->merit += w * w;
  }
}

static double between(double x, double lo, double hi) {
  return x > lo ? (x < hi ? x : hi) : lo;
}

static double held(const job *j, sort kind, double x) {
  switch (kind) {
  case SORT_MACH: return between(x, -0.3, 1.2);
  case SORT_PRESSURE: return between(x, 0.005 - j->setting.ambient / LW_BAR, 1);
  case SORT_FUEL: return between(x, 0, 1);
  }
  return x;
}

/* The share of a step that keeps every unknown's change believable. */
static double first_share(const job *j, const double *step) {
  static const double most[] = {[SORT_MACH] = 0.3, [SORT_PRESSURE] = 0.35, [SORT_FUEL] = 2};
  double share = 1;
  for (int i = 0; i < j->net->unknown_count; i++) {
    double s = fabs(step[i]);
    if (s * share > most[j->sorts[i]]) share = most[j->sorts[i]] / s;
  }
  return share;
}

static void move(job *j, const double *from, const double *step, double share) {
  for (int i = 0; i < j->net->unknown_count; i++)
    j->x[i] = held(j, j->sorts[i], from[i] + share * step[i]);
}

/* ---- Newton ---- */

static bool newton(job *j, int most) {
  double step[LW_NET_UNKNOWNS], from[LW_NET_UNKNOWNS];
  size_t bytes = (size_t)j->net->unknown_count * sizeof *from;
  evaluate(j);
  for (int i = 0, stuck = 0, creep = 0; i < most; i++) {
    if (j->norm <= j->goal) return true;
    weigh(j);
    double merit = j->merit;
    memcpy(from, j->x, bytes);
    if (!lw_net_step(j->net, &j->s, step)) return false;
    j->steps++;
    double share = first_share(j, step);
    bool better = false;
    for (int k = 0; k < HALVINGS && !better; k++) {
      move(j, from, step, share);
      evaluate(j);
      better = j->merit < merit || j->norm <= j->goal;
      share *= 0.5;
    }
    /* a kink (a flow that turns round) can raise the sum once on the way: go on, not for long */
    if (!better && ++stuck > 3) return false;
    /* it creeps along a corner, each step halved to nothing: the fallbacks are quicker */
    creep = j->merit > 0.98 * merit ? creep + 1 : 0;
    if (creep > 5) return false;
  }
  return j->norm <= j->goal;
}

/* ---- in time ---- */

/* Every node gets the little room it has, and the network is followed from its cold start until it
   rests: implicit steps, each solved by Newton, that grow while that is easy. Softly, so that no
   flow rattles about its turning point. */
static bool follow(job *j, double soft) {
  double dt = 1e-4;
  size_t bytes = (size_t)j->net->unknown_count * sizeof *j->x;
  j->soft = soft;
  j->goal = 1e-4;
  for (int i = 0; i < TIME_STEPS && dt < 1e3; i++) {
    memcpy(j->start, j->x, bytes);
    j->per_dt = 1 / dt;
    int before = j->steps;
    if (newton(j, 12)) {
      dt *= j->steps - before < 5 ? 4 : 1.5;
    } else {
      memcpy(j->x, j->start, bytes);
      dt *= 0.2;
      if (dt < 1e-9) break;
    }
  }
  j->per_dt = 0;
  return dt >= 1e3;
}

/* ---- from softer flows ---- */

/* Newton stumbles where a flow turns round: it sees one side only. With soft passages there are no
   such corners; they are sharpened step by step, each solved roughly from the one before. From x,
   solved with passages soft by 10^at Pa. */
static bool sharpen(job *j, double at) {
  double from[LW_NET_UNKNOWNS], stride = 0.5;
  const double last = -7; /* logarithms of Pa */
  size_t bytes = (size_t)j->net->unknown_count * sizeof *from;
  bool good = true;
  while (good && at > last - 1) {
    double next = at - stride;
    memcpy(from, j->x, bytes);
    j->soft = next > last ? pow(10, next) : 0;
    j->goal = next > last ? 1e-4 : tolerance;
    if (newton(j, 25)) {
      at = next > last ? next : last - 1;
      stride = fmin(stride * 1.6, 1);
    } else {
      memcpy(j->x, from, bytes);
      stride *= 0.4;
      good = stride > 1e-3;
    }
  }
  return good;
}

static void plain(job *j) {
  j->soft = j->per_dt = 0;
  j->goal = tolerance;
}

static bool soft_start(job *j) {
  bool good = false;
  for (int at = 3; at < 5 && !good; at++) {
    j->soft = pow(10, at);
    j->goal = 1e-3;
    lw_net_cold(j->net, &j->setting, j->x);
    good = newton(j, 30) && sharpen(j, at);
  }
  plain(j);
  return good;
}

/* From the neighbor's solution, softened by as little as lets a flow turn round. */
static bool soften(job *j, const double *neighbor) {
  memcpy(j->x, neighbor, (size_t)j->net->unknown_count * sizeof *j->x);
  j->soft = 10;
  j->goal = 1e-3;
  bool good = newton(j, 30) && sharpen(j, 1);
  plain(j);
  return good;
}

/* A neighbor may lead astray where a cold start does not. */
static bool cold_start(job *j) {
  lw_net_cold(j->net, &j->setting, j->x);
  return newton(j, NEWTON_STEPS);
}

/* log: of the softness it is followed with. */
static bool relax(job *j, double log) {
  lw_net_cold(j->net, &j->setting, j->x);
  bool good = follow(j, pow(10, log)) && sharpen(j, log);
  plain(j);
  evaluate(j);
  return good;
}

/* ---- the report ---- */

static void say_where(const job *j, lw_report *report) {
  report->worst = -1;
  if (j->worst < 0) return;
  int node = j->node_of[j->worst];
  report->worst = node;
  if (node < 0) {
    snprintf(report->where, sizeof report->where, "air of barrel %d", -node);
    report->worst = j->net->barrels[-1 - node].below;
    return;
  }
  bool fuel = j->sorts[j->worst] == SORT_FUEL;
  snprintf(report->where, sizeof report->where, "%s balance of %s", fuel ? "fuel" : "mass",
           j->net->nodes[node].name);
}

void lw_net_solve(const lw_net *net, const lw_setting *setting, lw_state *state,
                  lw_report *report) {
  job j;                  /* 70 kB: what is used of it is set before */
#ifdef __clang_analyzer__ /* which does not follow that through the counts of a network */
  memset(&j, 0, sizeof j);
#endif
  j.net = net;
  j.setting = *setting;
  j.steps = 0;
  plain(&j);
  size_t bytes = (size_t)net->unknown_count * sizeof *j.x;
  sort_unknowns(&j);
  *report = (lw_report){0};
  if (state->known) {
    memcpy(j.x, state->x, bytes);
  } else {
    lw_net_cold(net, setting, j.x);
  }
  bool done = newton(&j, NEWTON_STEPS);
  if (!done) {
    report->falls = 1;
    done = state->known && (soften(&j, state->x) || cold_start(&j));
    if (!done) done = soft_start(&j);
  }
  /* soft enough that nothing rattles, sharp enough to end in the right place: 10 Pa nearly always */
  static const double logs[] = {1, 0, 2, -1};
  for (int i = 0; i < 4 && !done; i++) {
    report->falls = 2 + (i > 0);
    done = relax(&j, logs[i]);
  }
  report->converged = done;
  report->steps = j.steps;
  report->residual = j.norm;
  say_where(&j, report);
  if (!done) return;
  memcpy(state->x, j.x, bytes);
  state->known = true;
}
