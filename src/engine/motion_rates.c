/* motion_rates.c - the slopes of all states at one moment.
**
** In the order of cause and effect: where the plates stand, what the carburetor brings at this
** manifold pressure (carb.h, held), what the cylinders draw and make of it, and how each device
** moves. Equations: docs/physics-motion.md.
*/
#include "motion_internal.h"

#include <math.h>
#include <string.h>

static const double gravity = 9.80665;

static double step(double x) {
  double slope = 0;
  return lw_smooth_step(x, &slope);
}

/* ---- the fuel film ---- */

/* How cold: 0 warm .. 1 at freezing and below. */
static double coldness(double wall) {
  return lw_clamp((355 - wall) / 80, 0, 1);
}

/* The manifold's floor is heated by the exhaust as the choke's well beside it is, sooner than the
   coolant. */
static double wall(const double *y) {
  return fmax(y[ST_COOLANT], fmin(y[ST_THERMOSTAT], 355));
}

/* Aquino's x-tau film (SAE 810494) with the constants fitted by Hendricks and Sorenson (SAE
   900616), pressure in bar, speed in thousands of rpm. Held to where they hold: over 2,500 rpm the
   fit's pressure term would turn about, and no film would be left after an overrun. Colder walls
   wet more and dry slower (ours). */
double lw_film_share(double manifold, double speed, double floor) {
  double n = lw_clamp(speed * 30 / LW_PI * 1e-3, 0.5, 4), p = lw_clamp(manifold * 1e-5, 0.3, 1);
  double warm = -0.277 * p - 0.055 * n + 0.68;
  return warm + 0.4 * (1 - warm) * coldness(floor);
}

double lw_film_time(double manifold, double speed, double floor) {
  double n = lw_clamp(speed * 30 / LW_PI * 1e-3, 0.5, 4), p = lw_clamp(manifold * 1e-5, 0.3, 1);
  double thin = 1.35 * fmax(-0.672 * n + 1.68, 0) * (p - 0.825) * (p - 0.825);
  return (thin - 0.06 * n + 0.15 + 0.56) * (1 + 3 * coldness(floor));
}

/* ---- plates ---- */

double lw_motion_pedal_end(const lw_motion *m) {
  double rate = m->controls.pedal_rate > 0 ? fmin(m->controls.pedal_rate, 20) : 20;
  return m->pedal_since + fabs(m->controls.pedal - m->pedal_from) / rate;
}

double lw_motion_pedal(const lw_motion *m, double t) {
  double end = lw_motion_pedal_end(m);
  if (t >= end) return m->controls.pedal;
  double share = (t - m->pedal_since) / (end - m->pedal_since);
  return m->pedal_from + lw_clamp(share, 0, 1) * (m->controls.pedal - m->pedal_from);
}

/* The lever rests on whatever holds it highest. */
static void place_plates(lw_motion *m, double t, const double *y) {
  lw_moment *n = &m->now;
  n->pedal = lw_motion_pedal(m, t);
  n->throttle = fmax(n->pedal, 0);
  if (m->devices.dashpot_touch > 0) n->throttle = fmax(n->throttle, y[ST_DASHPOT]);
  n->throttle = fmax(n->throttle, y[ST_CAM]);
  n->throttle = fmin(n->throttle, 1);
}

/* ---- the network ---- */

/* Under a shut hood winter air reaches the horn warmed by radiator and exhaust: standing, with the
   engine warm, seven tenths of the way to the 20 degC at which idles are set; at speed less
   (ours). */
double lw_breathed(double outside, double coolant, double road_speed) {
  const double set_at = 293.15, share = 0.7, blown = 15; /* K, 1, m/s */
  if (outside >= set_at) return outside;
  double warm = lw_clamp((coolant - outside) / (355 - outside), 0, 1), v = road_speed / blown;
  return outside + share * warm * (set_at - outside) / (1 + v * v);
}

static void set_network(lw_motion *m, const lw_inputs *in) {
  for (int i = 0; i < m->net.node_count; i++) {
    if (m->net.nodes[i].kind == LW_NET_BOWL)
      m->net.nodes[i].height = m->origin->nodes[i].height + in->level;
  }
  for (int i = 0; i < m->net.passage_count; i++) {
    if (strncmp(m->net.passages[i].name, "choke", 5) == 0)
      m->net.passages[i].cd_area = m->origin->passages[i].cd_area * in->choke;
  }
}

/* Where power valve, air valve and diaphragm would stand at once. */
static void find_goals(lw_motion *m) {
  const lw_net *net = &m->net;
  const lw_point *point = &m->point;
  lw_moment *n = &m->now;
  double slope = 0;
  n->valve_goal = n->diaphragm_goal = n->choke_drop = 0;
  for (int b = net->barrel_count - 1; b >= 0; b--) {
    const lw_barrel *barrel = &net->barrels[b];
    double horn = point->pressure[barrel->horn];
    if (barrel->valve_full > 0) {
      double throat = (horn - point->pressure[barrel->below]) / barrel->lost;
      n->valve_goal = lw_air_valve_share(throat, barrel->valve_opens, barrel->valve_full, &slope);
    }
    if (barrel->linkage == LW_LINK_DIAPHRAGM) {
      double depth = horn - point->pressure[barrel->diaphragm];
      n->diaphragm_goal = lw_air_valve_share(depth, barrel->link_from, barrel->link_to, &slope);
    }
  }
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *p = &net->passages[i];
    if (strncmp(p->name, "choke", 5) == 0)
      n->choke_drop = point->pressure[p->from] - point->pressure[p->to];
  }
}

double lw_power_goal(const lw_motion *m) {
  double slope = 0;
  for (int i = 0; i < m->net.passage_count; i++) {
    const lw_passage *p = &m->net.passages[i];
    if (p->gate == LW_GATE_POWER)
      return lw_air_valve_share(p->high - m->now.vacuum, 0, p->high - p->low, &slope);
  }
  return 0;
}

/* How far inputs lie apart, each over what changes flows about alike (ours; any would do). */
static double apart(const lw_inputs *a, const lw_inputs *b, double *d) {
  static const double like[LW_INPUTS] = {0.05, 1e4, 1e-3, 0.2, 0.2, 0.2, 0.2};
  const double x[LW_INPUTS] = {a->throttle - b->throttle,  a->manifold - b->manifold,
                               a->level - b->level,        a->choke - b->choke,
                               a->valve - b->valve,        a->power - b->power,
                               a->diaphragm - b->diaphragm};
  double square = 0;
  for (int i = 0; i < LW_INPUTS; i++) {
    d[i] = x[i] / like[i];
    square += d[i] * d[i];
  }
  return square;
}

/* Where the network will be, from where it was and how it has answered so far. */
static void foresee(lw_motion *m, const double *d) {
  for (int i = 0; i < LW_INPUTS; i++) {
    if (d[i] == 0) continue;
    for (int k = 0; k < m->net.unknown_count; k++)
      m->state.x[k] += m->answer[i][k] * d[i];
  }
}

/* It answered otherwise: learn from it (Broyden's rank-one update, Math. Comp. 19, 1965, 577). */
static void learn(lw_motion *m, const double *seen, const double *d, double square) {
  for (int k = 0; k < m->net.unknown_count; k++) {
    double off = (m->state.x[k] - seen[k]) / square;
    for (int i = 0; i < LW_INPUTS; i++)
      m->answer[i][k] += off * d[i];
  }
}

/* Now and then a network has no peace at one very place, as where a nozzle just spills: a hair
   beside it it has. Beside in pressure, a hundred-thousandth of the air outside; and where the
   plate's gap is choked and pressure below does not count, in throttle, some thousandths of a
   degree. Or it is led astray by where it was, and finds its way from nowhere. */
static const struct {
  double pressure, throttle; /* Pa, share */
  bool afresh;
} beside[] = {{0, 0, false}, {-0.7, 0, false}, {0.9, 0, false}, {0, 1e-5, false},
              {0, 0, true},  {0, -1e-5, true}, {0, 4e-5, true}, {-3, -4e-5, true}};

static bool settle(lw_motion *m, const lw_inputs *in, lw_setting *setting, lw_held *held) {
  enum { TRIES = sizeof beside / sizeof beside[0] };
  double manifold = held->manifold, throttle = setting->throttle, d[LW_INPUTS];
  double seen[LW_NET_UNKNOWNS];
  size_t bytes = (size_t)m->net.unknown_count * sizeof *seen;
  lw_state before;
  before.known = m->state.known;
  memcpy(before.x, m->state.x, bytes);
  double square = m->state.known ? apart(in, &m->inputs, d) : 0;
  bool near = square > 1e-10 && square < 0.1;
  if (near) foresee(m, d);
  memcpy(seen, m->state.x, bytes);
  for (int i = 0; i < TRIES; i++) {
    held->manifold = manifold + beside[i].pressure;
    setting->throttle = fmax(throttle + beside[i].throttle, 0);
    if (beside[i].afresh) m->state.known = false;
    m->effort.networks++;
    lw_net_solve(&m->net, setting, &m->state, &m->report);
    m->effort.newton += m->report.steps;
    if (m->report.converged) {
      if (near && i == 0) learn(m, seen, d, square);
      m->inputs = *in;
      return true;
    }
    m->effort.failed++;
    m->state.known = before.known;
    memcpy(m->state.x, before.x, bytes);
  }
  return false;
}

/* With the engine standing nothing flows and no balance has anything to hold on to: under a few Pa
   of vacuum what flows is in proportion to it, from where it does flow. */
static const double faint = 40; /* Pa */

static bool solve_network(lw_motion *m, const double *y) {
  lw_moment *n = &m->now;
  lw_inputs in = {.throttle = n->throttle,
                  .manifold = m->around.ambient - fmax(n->vacuum, faint),
                  .level = n->level,
                  .choke = y[ST_CHOKE],
                  .valve = y[ST_VALVE],
                  .power = y[ST_POWER],
                  .diaphragm = fmin(y[ST_DIAPHRAGM], n->throttle)};
  double moved[LW_INPUTS];
  if (m->solved && apart(&in, &m->inputs, moved) == 0) return true;
  lw_held held = {in.manifold, lw_clamp(in.valve, 0, 1), lw_clamp(in.power, 0, 1),
                  lw_clamp(in.diaphragm, 0, 1)};
  lw_setting setting = {.throttle = in.throttle,
                        .speed = fmax(y[ST_SPEED], 1),
                        .ambient = m->around.ambient,
                        .temperature =
                            lw_breathed(m->around.temperature, y[ST_COOLANT], y[ST_ROAD]),
                        .held = &held};
  set_network(m, &in);
  m->solved = false;
  if (!settle(m, &in, &setting, &held)) return false;
  lw_net_point(&m->net, &setting, &m->state, &m->point);
  m->solved = true;
  lw_charge in_flow = lw_charge_of(&m->engine, &m->net, &m->point, y[ST_SPEED], &m->around);
  n->leak = m->engine.leak_cylinder >= 0 ? fmax(in_flow.leak, 0) : 0;
  /* all that flows, also what lw_charge_of holds at zero: an even share of it */
  double air = m->point.air - n->leak - in_flow.air[0] - in_flow.air[1];
  double fuel = m->point.fuel - in_flow.fuel[0] - in_flow.fuel[1];
  for (int s = 0; s < LW_SIDES; s++) {
    bool fed = s < m->engine.sides;
    n->net_air[s] = fed ? in_flow.air[s] + air / m->engine.sides : 0;
    n->net_fuel[s] = fed ? in_flow.fuel[s] + fuel / m->engine.sides : 0;
  }
  find_goals(m);
  return true;
}

static void take_in(lw_moment *n) {
  double share = fmin(n->vacuum / faint, 1);
  for (int s = 0; s < LW_SIDES; s++) {
    n->in_air[s] = n->net_air[s] * share;
    n->in_fuel[s] = n->net_fuel[s] * fmax(share, 0);
  }
}

/* ---- the cylinders ---- */

/* What they draw from the manifold: carb.h, lw_draw; never back (rounded over 200 Pa). */
static double drawn(const lw_motion *m, double speed, double p) {
  const lw_draw *e = &m->net.draw;
  double r = e->compression_ratio, g = e->gamma;
  double scale = e->eta0 * e->displacement * speed / (4 * LW_PI) /
                 (m->net.fluids.air_r * m->charge_temperature);
  double by = r / (r - 1) - (g - 1) / (g * (r - 1));
  double d = by * p - (1 + e->back) * m->around.ambient / (g * (r - 1));
  return scale * 0.5 * (d + sqrt(d * d + 200.0 * 200.0));
}

static void draw(lw_motion *m, const double *y) {
  lw_moment *n = &m->now;
  double air = y[ST_AIR] + y[ST_AIR + 1], speed = fmax(y[ST_SPEED], 0);
  double all = fmax(drawn(m, speed, n->manifold) - n->leak, 0);
  for (int s = 0; s < LW_SIDES; s++) {
    double held = y[ST_AIR + s];
    n->out_air[s] = air > 0 ? all * held / air : 0;
    n->out_fuel[s] = held > 0 ? n->out_air[s] * fmax(y[ST_FUEL + s], 0) / held : 0;
  }
}

/* Below cranking speed nothing burns and the oil alone holds it: the engine's own torque fades out
   under some 14 rad/s (ours; a stall's last turn). */
static void turn(lw_motion *m, const double *y) {
  const double still = 6, cranked = 14;
  lw_moment *n = &m->now;
  double speed = fmax(y[ST_SPEED], 0), share = step((speed - still) / (cranked - still));
  double drag = 1.1e5 * m->engine.displacement / (4 * LW_PI) * tanh(y[ST_SPEED]);
  double counted = fmax(speed, still), by = speed > 0.1 ? counted / speed : 0;
  n->charge = (lw_charge){
      .speed = counted, .manifold = n->manifold, .leak = n->leak * by, .around = m->around};
  n->charge.around.coolant = y[ST_COOLANT];
  n->charge.around.floor = wall(y);
  for (int s = 0; s < LW_SIDES; s++) {
    n->charge.air[s] = n->out_air[s] * by;
    n->charge.fuel[s] = n->out_fuel[s] * by;
  }
  n->charge.timing = lw_timing(&m->engine, counted, y[ST_DISTRIBUTOR]);
  lw_burn_work(&m->engine, &n->charge, &n->burned);
  n->torque = share * n->burned.torque - (1 - share) * drag;
  if (!(by > 0)) n->burned.hc = 0;
}

/* ---- the driveline ---- */

/* A converter takes torque with the square of speed, little less until the turbine comes near, and
   gives up to 2.1 times it to a standing turbine (common practice). */
static double converter(const lw_motion *m, double speed, double turbine, double *out) {
  double fast = fmax(fmax(speed, fabs(turbine)), 1e-3);
  bool drives = speed >= turbine;
  double ratio = drives ? fmax(turbine, 0) / fast : speed / fast;
  double r2 = ratio * ratio, torque = m->engine.converter * fast * fast * (1 - r2 * r2 * r2);
  if (!drives) torque = -torque;
  *out = torque * (drives ? fmax(2.1 - 1.1 * ratio / 0.85, 1) : 1);
  return torque;
}

/* A clutch slips a few rpm at all it carries (which stands for the give of shafts and tires as
   well). */
static double clutch(const lw_motion *m, double speed, double turbine) {
  double most = 110e3 * m->engine.displacement; /* N m; ours */
  return lw_clamp(m->controls.clutch, 0, 1) * most * tanh((speed - turbine) / 3);
}

static void drive(lw_motion *m, const double *y, double *road_slope) {
  lw_moment *n = &m->now;
  const lw_vehicle *v = &m->vehicle;
  const lw_controls *c = &m->controls;
  double speed = y[ST_SPEED], road = y[ST_ROAD], taken = 0, pull = 0;
  if (c->gear > 0 && c->gear <= v->gears) {
    double ratio = v->axle * v->gear[c->gear - 1], turbine = road / v->tire * ratio, out = 0;
    if (m->engine.converter > 0) {
      taken = converter(m, speed, turbine, &out);
    } else {
      taken = out = clutch(m, speed, turbine);
    }
    pull = out * ratio / v->tire * (out > 0 ? 0.93 : 1 / 0.93);
  }
  n->pull = pull;
  n->load = taken + c->dynamometer * tanh(speed);
  if (lw_known(c->governed)) n->load += m->engine.inertia * 500 * (speed - c->governed);
  if (c->starter)
    n->load -= m->devices.starter_torque * fmax(1 - speed / m->devices.starter_speed, 0);
  double weight = v->mass * gravity;
  double resist = weight * (v->rolling * tanh(road / 0.2) + c->grade) +
                  0.5 * m->air_density * v->drag_area * road * fabs(road) +
                  c->brake * tanh(road / 0.1);
  *road_slope = (pull - resist) / (v->mass * 1.04);
}

/* ---- devices ---- */

/* Flow of a jet for each m2: as the root of the pressure, in proportion to it under `low` Pa, so
   that a plunger comes to rest without rattling. */
static double jet(double rho, double pressure, double low) {
  return sqrt(2 * rho / (pressure + low)) * pressure;
}

static void bowl_and_pump(lw_motion *m, const double *y, double *r) {
  const lw_devices *d = &m->devices;
  lw_moment *n = &m->now;
  double rho = m->fuel_density, seat = 0.25 * LW_PI * d->needle_seat * d->needle_seat;
  n->needle = lw_clamp(-n->level / d->needle_travel, 0, 1);
  n->inflow = 0.7 * seat * n->needle * sqrt(2 * rho * d->supply_pressure);
  n->shot = n->refill = n->lever = 0;
  double well = d->pump_volume * rho;
  if (well > 0) {
    const double sucks = 5e3; /* Pa: what the lever's return lifts fuel with */
    n->lever = lw_clamp(n->throttle / d->pump_to, 0, 1);
    const double play = 0.01;                         /* of the stroke, in the link */
    double over = n->lever - (1 - y[ST_PUMP] / well); /* lever ahead of the plunger */
    double press = fmin(d->pump_spring * fmax(over - play, 0), d->pump_yield);
    double lift = fmin(d->pump_spring * fmax(-over, 0), sucks);
    n->shot = d->pump_nozzle * jet(rho, press, 0.02 * d->pump_spring);
    n->refill = d->pump_inlet * jet(rho, lift, 0.02 * d->pump_spring);
  }
  double metered = n->in_fuel[0] + n->in_fuel[1];
  r[ST_BOWL] = n->inflow - metered - n->refill;
  r[ST_PUMP] = n->refill - n->shot;
  r[ST_FLOAT] = n->inflow;
  r[ST_METERED] = metered;
  r[ST_PUMPED] = n->shot;
}

static void manifold(lw_motion *m, const double *y, double *r) {
  lw_moment *n = &m->now;
  n->film_share = m->devices.film * lw_film_share(n->manifold, y[ST_SPEED], wall(y));
  n->film_time = lw_film_time(n->manifold, y[ST_SPEED], wall(y));
  for (int s = 0; s < LW_SIDES; s++) {
    double shot = s < m->engine.sides ? n->shot / m->engine.sides : 0;
    double fuel = n->in_fuel[s] + shot, dried = y[ST_FILM + s] / n->film_time;
    r[ST_AIR + s] = n->in_air[s] - n->out_air[s];
    r[ST_FILM + s] = n->film_share * fuel - dried;
    r[ST_FUEL + s] = (1 - n->film_share) * fuel + dried - n->out_fuel[s];
  }
  r[ST_AIR_IN] = n->in_air[0] + n->in_air[1];
  r[ST_AIR_OUT] = n->out_air[0] + n->out_air[1];
  r[ST_FUEL_OUT] = n->out_fuel[0] + n->out_fuel[1];
  r[ST_BURNED] = fmax(r[ST_FUEL_OUT] - n->burned.hc, 0);
}

/* The throttle spring presses the plunger in, at an even pace set by its bleed; free, it follows
   the lever out. Rounded over a hundredth of its travel, so that it neither bounces nor
   chatters. */
static double dashpot(const lw_motion *m, double at) {
  const lw_devices *d = &m->devices;
  const double out = 0.08; /* s to spring out */
  if (!(d->dashpot_touch > 0)) return 0;
  double over = at - fmax(m->now.pedal, 0), soft = 0.01 * d->dashpot_touch;
  if (over > 0) return -d->dashpot_touch / d->dashpot_time * fmin(over / soft, 1);
  double goal = fmin(d->dashpot_touch, fmax(m->now.pedal, 0));
  return (goal - at) / out;
}

/* Share open at which the thermostat alone would leave the plate. */
static double thermostat(const lw_motion *m, double at) {
  const lw_devices *d = &m->devices;
  if (!d->choke) return 1 - m->controls.choke_knob;
  return lw_clamp((at - d->choke_index) / (d->choke_open - d->choke_index), 0, 1);
}

/* The cam hangs on the thermostat, not on what air does to the plate, and turns only while the
   lever is off it. */
static double cam(const lw_motion *m, const double *y) {
  const double lag = 0.1; /* s */
  double goal = m->devices.cam * (1 - step((thermostat(m, y[ST_THERMOSTAT]) - 0.2) / 0.8));
  double free = step((m->now.pedal - y[ST_CAM]) / 0.01);
  return free * (goal - y[ST_CAM]) / lag;
}

/* The control valve opens over some 1.5 kPa, so that nothing jumps. */
static double distributor(const lw_motion *m, double at) {
  const lw_spark *s = &m->engine.spark;
  const double band = 1500; /* Pa */
  double angle = m->point.angle[0], stop = m->net.barrels[0].stop, depth = fmax(m->now.vacuum, 0);
  double ported = lw_ported_share(angle, stop), goal = lw_distributor_vacuum(s, depth, ported);
  if (s->source == LW_VACUUM_VALVE) {
    double open = step((depth - s->valve_set) / band + 0.5);
    goal = (open + (1 - open) * ported) * depth;
  }
  return (goal - at) / (goal > at ? m->devices.hose_lag : m->devices.release_lag);
}

/* Vacuum secondaries open no further than the pedal: the primary lever pushes them shut (common
   practice). */
static double diaphragm(const lw_motion *m, double at) {
  const double pushed = 0.03; /* s */
  double over = at - m->now.throttle, goal = fmin(m->now.diaphragm_goal, m->now.throttle);
  return (goal - at) / m->devices.diaphragm_lag - fmax(over, 0) / pushed;
}

/* Share open at which thermostat, air, kick and unloader leave the plate. */
static double choke_goal(const lw_motion *m, const double *y) {
  const lw_devices *d = &m->devices;
  double goal = thermostat(m, y[ST_THERMOSTAT]);
  if (d->choke) goal += m->now.choke_drop / d->choke_spring;
  goal = fmax(goal, d->kick * y[ST_KICK]);
  goal = fmax(goal, d->unloader * step((m->now.pedal - 0.85) / 0.1));
  return lw_clamp(goal, LW_CHOKE_CLEARANCE, 1);
}

static void devices(lw_motion *m, const double *y, double *r) {
  const lw_devices *d = &m->devices;
  const lw_moment *n = &m->now;
  const double plate_lag = 0.1; /* s, ours */
  double runs = step((y[ST_SPEED] - 20) / 20);
  r[ST_POWER] = (lw_power_goal(m) - y[ST_POWER]) / d->power_lag;
  r[ST_VALVE] = (n->valve_goal - y[ST_VALVE]) / d->valve_lag;
  r[ST_DIAPHRAGM] = diaphragm(m, y[ST_DIAPHRAGM]);
  r[ST_DASHPOT] = dashpot(m, y[ST_DASHPOT]);
  r[ST_CAM] = cam(m, y);
  r[ST_DISTRIBUTOR] = distributor(m, y[ST_DISTRIBUTOR]);
  double well = d->choke_well + 0.35 * (m->around.temperature - 293); /* it loses some: ours */
  double heated = (fmax(well, y[ST_THERMOSTAT]) - y[ST_THERMOSTAT]) / d->choke_heat;
  double cooled = (m->around.temperature - y[ST_THERMOSTAT]) / d->choke_cool;
  r[ST_THERMOSTAT] = runs * heated + (1 - runs) * cooled;
  r[ST_CHOKE] = (choke_goal(m, y) - y[ST_CHOKE]) / plate_lag;
  double pulled = step(n->vacuum / d->kick_vacuum * 2.5 - 1.5);
  r[ST_KICK] = d->kick > 0 ? (pulled - y[ST_KICK]) / d->kick_lag : 0;
}

/* Some 28 % of the fuel's heat goes into the coolant (Heywood 12.1: 17 to 26, with oil and walls
   more when slow), and all rubbing ends as heat in oil and block, which at a cold idle is half as
   much again; the radiator's thermostat keeps it at 355 K. */
static double coolant(const lw_motion *m, const double *y, const double *r) {
  double rubbing = m->now.burned.fmep * m->engine.displacement * fmax(y[ST_SPEED], 0) / (4 * LW_PI);
  double heat = 0.28 * r[ST_BURNED] * m->engine.fuel.heating_value + rubbing, at = y[ST_COOLANT];
  double air = 6 * (at - m->around.temperature);
  double opens = lw_clamp((at - 354) / 4, 0, 1);
  return (heat - air - opens * 250 * (at - m->around.temperature)) / m->devices.heat_capacity;
}

/* ---- all ---- */

bool lw_motion_rates(lw_motion *m, double t, const double *y, lw_anew anew, double *r) {
  lw_moment *n = &m->now;
  double air = y[ST_AIR] + y[ST_AIR + 1];
  m->effort.slopes++;
  n->manifold = air * m->net.fluids.air_r * m->charge_temperature / m->engine.manifold_volume;
  if (!(n->manifold > 1000) || !(n->manifold < 2 * m->around.ambient)) {
    m->report = (lw_report){.where = "manifold pressure out of range"};
    return false;
  }
  n->vacuum = m->around.ambient - n->manifold;
  n->level = y[ST_BOWL] / (m->fuel_density * m->devices.bowl_area) - LW_BOWL_DEPTH;
  place_plates(m, t, y);
  if (anew == ANEW_ALL && !solve_network(m, y)) return false;
  take_in(n);
  draw(m, y);
  if (anew != ANEW_LIGHT) turn(m, y);
  drive(m, y, &r[ST_ROAD]);
  r[ST_SPEED] = (n->torque - n->load) / m->engine.inertia;
  bowl_and_pump(m, y, r);
  manifold(m, y, r);
  devices(m, y, r);
  r[ST_COOLANT] = coolant(m, y, r);
  r[ST_DISTANCE] = y[ST_ROAD];
  return true;
}
