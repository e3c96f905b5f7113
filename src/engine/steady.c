/* steady.c - where the engine comes to rest: torque against load, speed or throttle sought. */
#include "engine_internal.h"

#include <math.h>

#define RPM (LW_PI / 30)

lw_surroundings lw_surroundings_standard(void) {
  return (lw_surroundings){.ambient = LW_STANDARD_PRESSURE, .temperature = 293.15, .coolant = 355};
}

/* ---- from the network to the cylinders ---- */

double lw_leak_air(const lw_net *net, const lw_point *point) {
  double leak = 0;
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *p = &net->passages[i];
    if (p->gas && p->circuit == LW_CIRCUIT_LEAK && net->nodes[p->from].kind == LW_NET_AMBIENT)
      leak += point->flow[i];
  }
  return leak;
}

lw_charge lw_charge_of(const lw_engine *e, const lw_net *net, const lw_point *point, double speed,
                       const lw_surroundings *around) {
  lw_charge c = {.speed = speed, .manifold = point->manifold, .around = *around};
  c.leak = lw_leak_air(net, point);
  double rest_air = point->air, rest_fuel = point->fuel;
  for (int b = 0; b < net->barrel_count; b++) {
    int side = e->sides > 1 ? b % LW_SIDES : 0;
    c.air[side] += point->barrel_air[b];
    c.fuel[side] += point->barrel_fuel[b];
    rest_air -= point->barrel_air[b];
    rest_fuel -= point->barrel_fuel[b];
  }
  if (lw_leak_is_own(e)) rest_air -= c.leak;
  for (int s = 0; s < e->sides; s++) { /* bleeds, bypasses, leaks: to all alike */
    c.air[s] = fmax(c.air[s] + rest_air / e->sides, 0);
    c.fuel[s] = fmax(c.fuel[s] + rest_fuel / e->sides, 0);
  }
  return c;
}

lw_charge lw_engine_charge(const lw_engine *e, const lw_net *net, const lw_running *running,
                           const lw_surroundings *around) {
  lw_charge c = lw_charge_of(e, net, &running->point, running->setting.speed, around);
  c.timing = running->burned.timing;
  return c;
}

/* ---- one point ---- */

/* Burned for its work alone: NO is for the point that is kept. */
static bool run_at(const lw_engine *e, const lw_net *net, const lw_surroundings *around,
                   double throttle, double speed, lw_state *state, lw_running *out,
                   lw_charge *charge, lw_report *report) {
  out->setting = (lw_setting){.throttle = throttle,
                              .speed = speed,
                              .ambient = around->ambient,
                              .temperature = around->temperature};
  lw_net_solve(net, &out->setting, state, report);
  if (!report->converged) return false;
  lw_net_point(net, &out->setting, state, &out->point);
  out->vacuum = around->ambient - out->point.manifold;
  *charge = lw_charge_of(e, net, &out->point, speed, around);
  double ported = lw_ported_share(out->point.angle[0], net->barrels[0].stop);
  charge->timing = lw_timing(e, speed, lw_distributor_vacuum(&e->spark, out->vacuum, ported));
  lw_burn_work(e, charge, &out->burned);
  return true;
}

static lw_status not_settled(const lw_report *report, double speed, lw_error *error) {
  return lw_fail(error, LW_NO_CONVERGENCE, "at %.0f rpm the flows did not settle (%s)", speed / RPM,
                 report->where);
}

lw_status lw_engine_at(const lw_engine *e, const lw_net *net, const lw_surroundings *around,
                       double throttle, double speed, lw_state *state, lw_running *out,
                       lw_error *error) {
  lw_report report = {0};
  lw_charge charge;
  *out = (lw_running){0};
  if (!run_at(e, net, around, throttle, speed, state, out, &charge, &report))
    return not_settled(&report, speed, error);
  lw_burn_charge(e, &charge, &out->burned);
  return LW_OK;
}

lw_status lw_engine_work_at(const lw_engine *e, const lw_net *net, const lw_surroundings *around,
                            double throttle, double speed, lw_state *state, lw_running *out,
                            lw_error *error) {
  lw_report report = {0};
  lw_charge charge;
  *out = (lw_running){0};
  if (run_at(e, net, around, throttle, speed, state, out, &charge, &report)) return LW_OK;
  return not_settled(&report, speed, error);
}

/* ---- a crossing ---- */

/* What is sought: the torque left over as speed (idle) or throttle (hold) changes. */
typedef struct hunt {
  const lw_engine *e;
  const lw_net *net;
  const lw_surroundings *around;
  bool by_speed;
  double throttle, speed, torque, converter;
  lw_state *state;
  lw_running *out;
  lw_charge charge; /* of the last try */
  lw_report report;
} hunt;

static bool left_over(hunt *h, double at, double *left) {
  double throttle = h->by_speed ? h->throttle : at, speed = h->by_speed ? at : h->speed;
  if (!run_at(h->e, h->net, h->around, throttle, speed, h->state, h->out, &h->charge, &h->report)) {
    h->speed = speed;
    return false;
  }
  h->out->load = h->torque + h->converter * speed * speed;
  *left = h->out->burned.torque - h->out->load;
  return true;
}

/* Illinois between a (left over fa) and b (fb of the other sign), until it is as good as met. */
static bool meet(hunt *h, double a, double fa, double b, double fb, double fine) {
  const double met = 1e-6; /* N m */
  for (int i = 0; i < 80 && fabs(b - a) > fine; i++) {
    double x = (a * fb - b * fa) / (fb - fa), f = 0;
    if (!left_over(h, x, &f)) return false;
    if (fabs(f) < met) return true;
    if ((f > 0) == (fb > 0)) {
      fa *= 0.5;
    } else {
      a = b;
      fa = fb;
    }
    b = x;
    fb = f;
  }
  return true;
}

/* The last try is the one to keep. */
static lw_status kept(hunt *h) {
  lw_burn_charge(h->e, &h->charge, &h->out->burned);
  return LW_OK;
}

/* ---- idle: the speed ---- */

/* The stable crossing lies where torque is left over below and lacking above. From the speed the
   sound engine idles at: up while torque is left over, down while it lacks. Under 350 rpm it stalls:
   the flywheel does not reach from one firing to the next (ours; means over a cycle do not show it).
 */
lw_status lw_engine_idle(const lw_engine *e, const lw_net *net, const lw_surroundings *around,
                         double throttle, lw_gear_load gear, lw_state *state, lw_running *out,
                         lw_error *error) {
  const double slowest = 350 * RPM, fastest = 7000 * RPM, stride = 1.07;
  *out = (lw_running){0};
  hunt h = {.e = e,
            .net = net,
            .around = around,
            .by_speed = true,
            .throttle = throttle,
            .converter = gear == LW_LOAD_DRIVE ? e->converter : 0,
            .state = state,
            .out = out};
  double at = lw_clamp(lw_known(e->speed_hot) ? e->speed_hot : 650 * RPM, slowest, fastest), f = 0;
  if (!left_over(&h, at, &f)) return not_settled(&h.report, h.speed, error);
  bool up = f > 0;
  double by = stride;
  while (up ? at < fastest : at > slowest) {
    double next = up ? fmin(at * by, fastest) : fmax(at / by, slowest), g = 0;
    if (!left_over(&h, next, &g)) return not_settled(&h.report, h.speed, error);
    if ((g > 0) != up) {
      if (!meet(&h, at, f, next, g, 1e-9 * next)) return not_settled(&h.report, h.speed, error);
      return kept(&h);
    }
    at = next;
    f = g;
    by = up ? fmin(by * 1.2, 1.3) : stride;
  }
  out->stalled = !up; /* going up without end: it overspeeds, and is shown at its fastest */
  return kept(&h);
}

/* ---- hold: the throttle ---- */

lw_status lw_engine_hold(const lw_engine *e, const lw_net *net, const lw_surroundings *around,
                         double speed, double torque, lw_state *state, lw_running *out,
                         lw_error *error) {
  const lw_barrel *first = &net->barrels[0];
  double shut = -first->stop / (first->wide - first->closed - first->stop);
  *out = (lw_running){0};
  hunt h = {.e = e,
            .net = net,
            .around = around,
            .speed = speed,
            .torque = torque,
            .state = state,
            .out = out};
  /* from the stop, opening or closing in steps that grow */
  double at = 0, f = 0;
  if (!left_over(&h, at, &f)) return not_settled(&h.report, speed, error);
  bool up = f < 0;
  double by = 0.005;
  for (;;) {
    double next = up ? fmin(at + by, 1) : fmax(at - by, shut), g = 0;
    if (!left_over(&h, next, &g)) return not_settled(&h.report, speed, error);
    if ((g < 0) != up) {
      if (!meet(&h, at, f, next, g, 1e-12)) return not_settled(&h.report, speed, error);
      return kept(&h);
    }
    if (next >= 1 || next <= shut) break;
    at = next;
    f = g;
    by *= 1.5;
  }
  return lw_fail(error, LW_NO_CONVERGENCE,
                 up ? "at %.0f rpm the engine does not pull %.0f N m with the throttle wide open"
                    : "at %.0f rpm the engine pulls more than %.0f N m with the throttle shut",
                 speed / RPM, torque);
}
