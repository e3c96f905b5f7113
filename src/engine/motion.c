/* motion.c - the car in time: made, started, driven, looked at. */
#include "motion_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RPM (LW_PI / 30)

/* ---- made ---- */

/* What the integrator may be off by, beside a ten-thousandth; sums are not judged. */
static void set_tolerances(lw_motion *m) {
  double *a = m->atol;
  for (int i = SUMS; i < STATES; i++)
    a[i] = 1e6;
  a[ST_SPEED] = 0.02;
  a[ST_ROAD] = 2e-3;
  for (int s = 0; s < LW_SIDES; s++) {
    a[ST_AIR + s] = 2e-7;
    a[ST_FUEL + s] = 3e-8;
    a[ST_FILM + s] = 1e-6;
  }
  a[ST_BOWL] = 4e-6;
  a[ST_PUMP] = 1e-6;
  a[ST_POWER] = a[ST_VALVE] = a[ST_DIAPHRAGM] = a[ST_KICK] = a[ST_CHOKE] = 2e-3;
  a[ST_DASHPOT] = a[ST_CAM] = 2e-4;
  a[ST_DISTRIBUTOR] = 100;
  a[ST_THERMOSTAT] = a[ST_COOLANT] = 0.05;
}

lw_controls lw_controls_idle(void) {
  return (lw_controls){.pedal_rate = 20, .clutch = 1, .governed = NAN, .ignition = true};
}

static void fill(lw_motion *m, const lw_engine *engine, const lw_net *net, const lw_card *card,
                 const lw_surroundings *around) {
  m->engine = *engine;
  m->net = *net;
  m->origin = net;
  m->around = *around;
  if (around->temperature > 0)
    m->net.fluids = lw_fluids_at(around->temperature, net->fuel_density_15);
  m->vehicle = lw_vehicle_usual(card);
  m->controls = lw_controls_idle();
  m->air_density = lw_air_density(around->temperature, around->ambient, around->humidity);
  m->fuel_density = m->net.fluids.fuel_density;
  m->charge_temperature =
      lw_charge_temperature(&net->draw, lw_breathed(around->temperature, 355, 0));
  double idle = lw_known(engine->speed_hot) ? engine->speed_hot : 650 * RPM;
  m->stall_speed = 0.45 * idle;
  m->run_speed = 0.8 * idle;
  for (int i = 0; i < LW_CYLINDERS_MOST; i++)
    m->spark[i] = engine->health[i].spark;
  set_tolerances(m);
}

lw_status lw_motion_new(const lw_engine *engine, const lw_net *net, const lw_card *card,
                        const lw_surroundings *around, const lw_devices *devices,
                        lw_motion **motion, lw_error *error) {
  lw_arena *arena = lw_arena_new((size_t)1 << 20);
  lw_motion *m = arena ? lw_arena_alloc(arena, sizeof *m) : NULL;
  if (!m) {
    lw_arena_free(arena);
    return lw_fail(error, LW_NO_MEMORY, "no memory for the car");
  }
  m->arena = arena;
  m->effort.bytes = sizeof *m;
  fill(m, engine, net, card, around);
  lw_status status = LW_OK;
  if (devices) {
    m->devices = *devices;
  } else {
    status = lw_devices_usual(engine, net, card, around, &m->devices, error);
  }
  if (status == LW_OK) {
    lw_motion_cold(m, around->temperature);
    status = lw_stepper_new(m, error);
  }
  if (status != LW_OK) {
    lw_motion_free(m);
    return status;
  }
  *motion = m;
  return LW_OK;
}

void lw_motion_free(lw_motion *m) {
  if (!m) return;
  lw_stepper_free(m);
  lw_arena_free(m->arena);
}

const lw_devices *lw_motion_devices(const lw_motion *m) {
  return &m->devices;
}

void lw_motion_vehicle(lw_motion *m, const lw_vehicle *vehicle) {
  m->vehicle = *vehicle;
  if (m->stepper) lw_stepper_restart(m);
}

double lw_motion_time(const lw_motion *m) {
  return m->time;
}

lw_effort lw_motion_effort(const lw_motion *m) {
  return m->effort;
}

/* ---- started ---- */

static void sparks(lw_motion *m) {
  for (int i = 0; i < LW_CYLINDERS_MOST; i++)
    m->engine.health[i].spark = m->controls.ignition ? m->spark[i] : 0;
}

/* Everything at rest at time 0; what a start differs in follows. */
static void rest(lw_motion *m) {
  const lw_devices *d = &m->devices;
  double *y = m->y;
  memset(y, 0, sizeof m->y);
  m->time = m->pedal_from = m->pedal_since = 0;
  m->controls = lw_controls_idle();
  m->event_count = 0;
  m->running = false;
  m->state.known = m->solved = false;
  memset(m->answer, 0, sizeof m->answer);
  m->recent_lambda = m->recent_manifold = NAN;
  m->recent_load = m->recent_misfire = 0;
  sparks(m);
  y[ST_BOWL] = LW_BOWL_DEPTH * m->fuel_density * d->bowl_area;
  y[ST_PUMP] = d->pump_volume * m->fuel_density;
  y[ST_CHOKE] = 1;
  if (m->stepper) lw_stepper_restart(m);
}

static void fill_manifold(lw_motion *m, double pressure, const double *share, double over_fuel) {
  double air = pressure * m->engine.manifold_volume / (m->net.fluids.air_r * m->charge_temperature);
  for (int s = 0; s < LW_SIDES; s++) {
    m->y[ST_AIR + s] = air * share[s];
    m->y[ST_FUEL + s] = over_fuel > 0 ? air * share[s] / over_fuel : 0;
  }
}

/* A foot sets choke and cam by pressing the pedal down once, and in the cold it does so twice or
   three times (common practice: what owners were told): so many of the pump's shots wet the
   manifold. */
static double presses(double temperature) {
  return 1 + 2 * lw_clamp((295 - temperature) / 27, 0, 1);
}

void lw_motion_cold(lw_motion *m, double temperature) {
  const lw_devices *d = &m->devices;
  double *y = m->y, both[LW_SIDES] = {0.5, 0.5}, one[LW_SIDES] = {1, 0}, slope = 0;
  rest(m);
  fill_manifold(m, m->around.ambient, m->engine.sides > 1 ? both : one, 0);
  y[ST_THERMOSTAT] = y[ST_COOLANT] = temperature;
  y[ST_POWER] = 1;
  for (int s = 0; s < m->engine.sides; s++)
    y[ST_FILM + s] = presses(temperature) * d->pump_volume * m->fuel_density / m->engine.sides;
  if (!d->choke) return;
  y[ST_CHOKE] = lw_clamp((temperature - d->choke_index) / (d->choke_open - d->choke_index),
                         LW_CHOKE_CLEARANCE, 1);
  y[ST_CAM] = d->cam * (1 - lw_smooth_step((y[ST_CHOKE] - 0.2) / 0.8, &slope));
  y[ST_PUMP] *= 1 - lw_clamp(y[ST_CAM] / d->pump_to, 0, 1);
}

static void warm_states(lw_motion *m, const lw_running *run) {
  double *y = m->y, share[LW_SIDES] = {1, 0};
  lw_charge c = lw_charge_of(&m->engine, &m->net, &run->point, run->setting.speed, &m->around);
  double air = c.air[0] + c.air[1], fuel = c.fuel[0] + c.fuel[1];
  if (air > 0) share[0] = c.air[0] / air;
  share[1] = 1 - share[0];
  fill_manifold(m, run->point.manifold, share, fuel > 0 ? air / fuel : 0);
  y[ST_SPEED] = run->setting.speed;
  for (int s = 0; s < LW_SIDES; s++) {
    double wet = m->devices.film * lw_film_share(run->point.manifold, y[ST_SPEED], 355);
    y[ST_FILM + s] = wet * c.fuel[s] * lw_film_time(run->point.manifold, y[ST_SPEED], 355);
  }
  y[ST_THERMOSTAT] = fmax(m->devices.choke_well, m->devices.choke_open);
  y[ST_COOLANT] = 355;
  y[ST_KICK] = m->devices.kick > 0;
  double ported = lw_ported_share(run->point.angle[0], m->net.barrels[0].stop);
  y[ST_DISTRIBUTOR] = lw_distributor_vacuum(&m->engine.spark, run->vacuum, ported);
}

static void zero_time(lw_motion *m) {
  m->time = m->pedal_since = 0;
  m->event_count = 0;
  for (int i = SUMS; i < STATES; i++)
    m->y[i] = 0;
  m->y[ST_ROAD] = 0;
  lw_stepper_restart(m);
}

lw_status lw_motion_idle(lw_motion *m, lw_error *error) {
  lw_running run;
  lw_state state = {0};
  rest(m);
  lw_surroundings warm = m->around;
  warm.coolant = 355;
  warm.temperature = lw_breathed(m->around.temperature, 355, 0);
  lw_status status =
      lw_engine_idle(&m->engine, m->origin, &warm, 0, LW_LOAD_NONE, &state, &run, error);
  if (status != LW_OK) return status;
  if (run.stalled) return lw_fail(error, LW_NO_CONVERGENCE, "this engine does not idle");
  warm_states(m, &run);
  m->running = true;
  status = lw_motion_advance(m, 20, error); /* bowl, film and hoses come to rest */
  if (status != LW_OK) return status;
  if (!m->running) return lw_fail(error, LW_NO_CONVERGENCE, "this engine does not keep idling");
  zero_time(m);
  return LW_OK;
}

/* ---- driven ---- */

void lw_motion_control(lw_motion *m, const lw_controls *c) {
  lw_controls before = m->controls;
  m->pedal_from = lw_motion_pedal(m, m->time);
  m->pedal_since = m->time;
  m->controls = *c;
  m->controls.pedal = lw_clamp(c->pedal, 0, 1);
  sparks(m);
  /* the foot moves steadily: slopes do not jump with it. With anything else they do. */
  before.pedal = m->controls.pedal;
  before.pedal_rate = m->controls.pedal_rate;
  bool same =
      before.gear == c->gear && before.clutch == c->clutch && before.brake == c->brake &&
      before.grade == c->grade && before.dynamometer == c->dynamometer &&
      before.choke_knob == c->choke_knob && before.ignition == c->ignition &&
      before.starter == c->starter &&
      (before.governed == c->governed || (!lw_known(before.governed) && !lw_known(c->governed)));
  if (!same) lw_stepper_restart(m);
}

const lw_controls *lw_motion_controls(const lw_motion *m) {
  return &m->controls;
}

lw_status lw_motion_advance(lw_motion *m, double dt, lw_error *error) {
  if (!(dt > 0 && dt <= 3600))
    return lw_fail(error, LW_BAD_INPUT, "a span of %g s cannot be driven; 0 to 3,600 s can", dt);
  double until = m->time + dt, moved = lw_motion_pedal_end(m);
  lw_status status = LW_OK;
  if (moved > m->time && moved < until) status = lw_stepper_to(m, moved, error);
  if (status == LW_OK && m->time < until) status = lw_stepper_to(m, until, error);
  return status;
}

/* ---- for others ---- */

_Static_assert((int)LW_MOTION_STATES == (int)STATES && (int)LW_MOTION_SUMS == STATES - SUMS,
               "motion.h tells how many");

void lw_motion_states(const lw_motion *m, double *states, double *tolerances) {
  if (states) memcpy(states, m->y, sizeof m->y);
  if (tolerances) memcpy(tolerances, m->atol, sizeof m->atol);
}

void lw_motion_put(lw_motion *m, double time, const double *states) {
  m->time = time;
  memcpy(m->y, states, sizeof m->y);
  m->running = m->y[ST_SPEED] > m->run_speed;
  lw_stepper_restart(m);
}

bool lw_motion_slopes(lw_motion *m, double time, const double *states, double *slopes) {
  /* as if little had been asked before: the network starts from where it was, no more */
  m->solved = false;
  memset(m->answer, 0, sizeof m->answer);
  return lw_motion_rates(m, time, states, ANEW_ALL, slopes);
}

/* ---- looked at ---- */

static void look_flows(const lw_motion *m, lw_look *l) {
  const lw_moment *n = &m->now;
  double need = lw_fuel_stoichiometric(&m->engine.fuel);
  l->air_in = n->in_air[0] + n->in_air[1];
  l->air_out = n->out_air[0] + n->out_air[1];
  l->metered = n->in_fuel[0] + n->in_fuel[1];
  l->pumped = n->shot;
  l->fuel_out = n->out_fuel[0] + n->out_fuel[1];
  memcpy(l->by_circuit, m->point.by_circuit, sizeof l->by_circuit);
  double comes = l->metered + l->pumped;
  l->lambda_metered = comes > 1e-9 ? l->air_in / comes / need : NAN;
  l->lambda_cylinders = l->fuel_out > 1e-9 ? l->air_out / l->fuel_out / need : NAN;
}

static void look_states(const lw_motion *m, lw_look *l) {
  const double *y = m->y;
  double well = m->devices.pump_volume * m->fuel_density;
  l->speed = y[ST_SPEED];
  l->road_speed = y[ST_ROAD];
  for (int s = 0; s < LW_SIDES; s++) {
    l->film[s] = y[ST_FILM + s];
    l->manifold_air += y[ST_AIR + s];
    l->manifold_fuel += y[ST_FUEL + s];
  }
  l->distributor_vacuum = y[ST_DISTRIBUTOR];
  l->bowl = y[ST_BOWL];
  l->pump_fuel = y[ST_PUMP];
  l->pump = well > 0 ? 1 - y[ST_PUMP] / well : 0;
  l->power = y[ST_POWER];
  l->valve = y[ST_VALVE];
  l->diaphragm = y[ST_DIAPHRAGM];
  l->dashpot = y[ST_DASHPOT];
  l->cam = y[ST_CAM];
  l->choke = y[ST_CHOKE];
  l->thermostat = y[ST_THERMOSTAT];
  l->coolant = y[ST_COOLANT];
  l->kick = y[ST_KICK];
  l->totals = (lw_totals){.air_in = y[ST_AIR_IN],
                          .air_out = y[ST_AIR_OUT],
                          .fuel_in = y[ST_FLOAT],
                          .fuel_metered = y[ST_METERED],
                          .fuel_pumped = y[ST_PUMPED],
                          .fuel_out = y[ST_FUEL_OUT],
                          .fuel_burned = y[ST_BURNED],
                          .distance = y[ST_DISTANCE]};
}

lw_status lw_motion_look(lw_motion *m, lw_look *l, lw_error *error) {
  double rates[STATES];
  const lw_moment *n = &m->now;
  /* looking does not change what comes after */
  lw_state state = m->state;
  lw_inputs inputs = m->inputs;
  double answer[LW_INPUTS][LW_NET_UNKNOWNS];
  memcpy(answer, m->answer, sizeof answer);
  bool good = lw_motion_rates(m, m->time, m->y, ANEW_ALL, rates);
  memcpy(m->answer, answer, sizeof answer);
  m->state = state;
  m->inputs = inputs;
  m->solved = false;
  if (!good)
    return lw_fail(error, LW_NO_CONVERGENCE, "at %.3f s the flows did not settle (%s)", m->time,
                   m->report.where);
  *l = (lw_look){.time = m->time,
                 .running = m->running,
                 .manifold = n->manifold,
                 .vacuum = n->vacuum,
                 .pedal = n->pedal,
                 .throttle = n->throttle,
                 .angle = m->point.angle[0],
                 .timing = n->charge.timing,
                 .torque = n->torque,
                 .load = n->load,
                 .bowl_level = n->level,
                 .needle = n->needle,
                 .pump_lever = n->lever,
                 .charge = n->charge};
  look_flows(m, l);
  look_states(m, l);
  lw_burn_charge(&m->engine, &n->charge, &l->burned);
  return LW_OK;
}
