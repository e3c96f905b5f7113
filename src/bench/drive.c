/* drive.c - a car driven through a schedule, weighed second by second. */
#include "drive_internal.h"

#include <math.h>

static const double mile = 1609.344, gallon = 3.785411784e-3, mph = 0.44704;

/* A run while it is under way. */
typedef struct run {
  const lw_drive_plan *plan;
  const lw_test_car *car;
  lw_motion *motion;
  lw_driving driving;
  lw_look look, before;
  double from; /* motion's time when the schedule begins */
  double start_fuel, start_distance;
  lw_drive *out;
  lw_drive_second *second;
  lw_drive_mode *mode;
  double filled; /* s of the second at hand */
  int blind;     /* moments in a row that could not be looked at */
  double missed, judged;
  lw_meter meter;
} run;

/* ---- what a moment gives off ---- */

typedef struct rates {
  double hc, co, co2, nox, fuel;
  lw_gases dry;
} rates;

static double finite(double x) {
  return isfinite(x) ? x : 0;
}

/* The engine's NO is that of dry air; the law counts it at 75 grains of water for each pound of it:
   1/(1 - 0.0047 (H - 75)), H 0 (40 CFR 86.144, from memory). */
static const double at_75_grains = 1 / (1 + 0.0047 * 75);

static rates rates_of(const lw_look *l, const lw_fuel *fuel) {
  const lw_burned *b = &l->burned;
  const lw_gases *x = &b->exhaust.dry;
  double burned = l->charge.fuel[0] + l->charge.fuel[1];
  double carbon = burned / lw_fuel_molar_mass(fuel), in_gas = x->co + x->co2 + x->hc;
  return (rates){
      .hc = finite(b->hc),
      .co = finite(b->co),
      .co2 = in_gas > 0 ? carbon / in_gas * x->co2 * 44.009e-3 : 0,
      .nox = at_75_grains * finite(b->nox_as_no) * 46.0055 / 30.006,
      .fuel = burned,
      .dry = {finite(x->co), finite(x->co2), finite(x->hc) / 6, finite(x->o2), finite(x->no)},
  };
}

static void add_gases(lw_gases *to, const lw_gases *x, double times) {
  to->co += times * x->co;
  to->co2 += times * x->co2;
  to->hc += times * x->hc;
  to->o2 += times * x->o2;
  to->no += times * x->no;
}

static lw_gases times_gases(const lw_gases *x, double times) {
  lw_gases out = {0};
  add_gases(&out, x, times);
  return out;
}

/* ---- modes ---- */

enum { KIND_IDLE, KIND_FASTER, KIND_CRUISE, KIND_SLOWER, KINDS };
static const char *const kinds[KINDS] = {"idle", "speeding up", "cruising", "slowing"};

/* What a schedule without modes asks for around a time: half a mile an hour a second is a change of
   speed (ours). */
static int kind_at(const lw_schedule *s, double time) {
  double a = lw_schedule_speed(s, fmax(time - 0.75, 0)), b = lw_schedule_speed(s, time + 0.75);
  if (a < 0.1 && b < 0.1) return KIND_IDLE;
  double slope = (b - a) / 1.5;
  return slope > 0.5 * mph ? KIND_FASTER : slope < -0.5 * mph ? KIND_SLOWER : KIND_CRUISE;
}

static int mode_at(const lw_schedule *s, double time) {
  if (s->modes == 0) return kind_at(s, time);
  if (!s->in) return -1;
  size_t lo = 0, hi = s->count - 1;
  while (hi - lo > 1) {
    size_t middle = (lo + hi) / 2;
    *(s->time[middle] <= time ? &lo : &hi) = middle;
  }
  return s->in[lo];
}

static void add_to_mode(lw_drive_mode *m, const rates *r, double road, double dt) {
  m->seconds += dt;
  m->distance += road * dt;
  m->hc += r->hc * dt;
  m->co += r->co * dt;
  m->co2 += r->co2 * dt;
  m->nox += r->nox * dt;
  m->fuel += r->fuel * dt;
  add_gases(&m->dry, &r->dry, dt);
}

/* ---- a step ---- */

/* Off the trace: by more than 2 mph from all it was within a second. */
static double off_trace(const lw_schedule *s, double time, double driven) {
  double lo = INFINITY, hi = -INFINITY;
  for (int i = -4; i <= 4; i++) {
    double v = lw_schedule_speed(s, fmin(fmax(time + 0.25 * i, 0), lw_schedule_length(s)));
    lo = fmin(lo, v);
    hi = fmax(hi, v);
  }
  return driven > hi ? driven - hi : driven < lo ? driven - lo : 0;
}

static void judge(run *r, double time, double dt) {
  double off = off_trace(r->plan->schedule, time, r->look.road_speed);
  r->judged += dt;
  if (fabs(off) > 2 * mph) r->missed += dt;
  if (fabs(off) > fabs(r->out->worst_miss)) {
    r->out->worst_miss = off;
    r->out->worst_miss_time = time;
  }
}

static void add_to_second(run *r, const rates *x, double dt) {
  lw_drive_second *s = r->second;
  const lw_look *l = &r->look;
  add_gases(&s->dry, &x->dry, dt);
  s->hc += x->hc * dt;
  s->co += x->co * dt;
  s->co2 += x->co2 * dt;
  s->nox += x->nox * dt;
  s->fuel += x->fuel * dt;
  s->engine += l->speed * dt;
  s->throttle += l->throttle * dt;
  s->pedal += l->pedal * dt;
  s->vacuum += l->vacuum * dt;
  s->choke += l->choke * dt;
  s->power += l->power * dt;
  s->misfire += finite(l->burned.misfire) * dt;
  s->film += r->before.film[0] + r->before.film[1] - l->film[0] - l->film[1];
  s->pumped += l->totals.fuel_pumped - r->before.totals.fuel_pumped;
  for (int c = 0; c < LW_CIRCUITS; c++)
    s->by_circuit[c] += l->by_circuit[c] * dt;
}

/* The second is over: sums become means. */
static void close_second(run *r, double time) {
  lw_drive_second *s = r->second;
  const lw_look *l = &r->look;
  double per = 1 / r->filled, burned = s->fuel;
  s->pumped = burned > 0 ? fmin(s->pumped / burned, 1) : 0;
  s->dry = times_gases(&s->dry, per);
  double *means[] = {&s->hc,     &s->co,       &s->co2,   &s->nox,    &s->fuel,
                     &s->engine, &s->throttle, &s->pedal, &s->vacuum, &s->choke,
                     &s->power,  &s->misfire,  &s->film};
  for (size_t i = 0; i < sizeof means / sizeof means[0]; i++)
    *means[i] *= per;
  for (int c = 0; c < LW_CIRCUITS; c++)
    s->by_circuit[c] *= per;
  s->time = time;
  s->wanted = lw_schedule_speed(r->plan->schedule, time);
  s->driven = l->road_speed;
  s->lambda = l->lambda_cylinders;
  s->gear = lw_motion_controls(r->motion)->gear;
  s->mode = mode_at(r->plan->schedule, time - 0.5 * r->filled);
  s->running = l->running;
  s->on_stop = !(l->throttle > 1e-6);
  r->filled = 0;
  r->second++;
  r->out->count++;
}

/* The analyzer at the tailpipe, read as its needle stands: nothing is shifted back in time. */
static void read_meter(run *r, double dt, lw_drive_mode *mode) {
  if (!r->plan->meter) return;
  const lw_look *l = &r->look;
  lw_meter_step(&r->meter, dt, &l->burned.exhaust, lw_exhaust_flow(l->air_out, l->fuel_out));
  lw_gases shown = lw_meter_read(&r->meter);
  if (mode) add_gases(&mode->read, &shown, dt);
}

static void start_meter(run *r) {
  const double long_enough = 600; /* s at idle before the schedule begins, when it starts warm */
  if (!r->plan->meter) return;
  lw_meter_start(&r->meter, r->plan->meter);
  if (!r->plan->cold) read_meter(r, long_enough, NULL);
}

static void take(run *r, double time, double dt) {
  rates a = rates_of(&r->before, &r->car->engine->fuel),
        b = rates_of(&r->look, &r->car->engine->fuel);
  rates mean = {.hc = 0.5 * (a.hc + b.hc),
                .co = 0.5 * (a.co + b.co),
                .co2 = 0.5 * (a.co2 + b.co2),
                .nox = 0.5 * (a.nox + b.nox),
                .fuel = 0.5 * (a.fuel + b.fuel)};
  add_gases(&mean.dry, &a.dry, 0.5);
  add_gases(&mean.dry, &b.dry, 0.5);
  double road = 0.5 * (r->before.road_speed + r->look.road_speed);
  int mode = mode_at(r->plan->schedule, time - 0.5 * dt);
  if (mode >= 0) add_to_mode(&r->mode[mode], &mean, road, dt);
  read_meter(r, dt, mode >= 0 ? &r->mode[mode] : NULL);
  lw_drive *out = r->out;
  out->hc += mean.hc * dt;
  out->co += mean.co * dt;
  out->co2 += mean.co2 * dt;
  out->nox += mean.nox * dt;
  add_to_second(r, &mean, dt);
  r->filled += dt;
  judge(r, time, dt);
}

/* A lone moment whose flows do not settle is passed over: what was seen before stands for it. */
static lw_status look(run *r, lw_error *error) {
  enum { BLIND_MOST = 8 };
  lw_status status = lw_motion_look(r->motion, &r->look, error);
  if (status == LW_NO_CONVERGENCE && r->blind < BLIND_MOST) {
    r->blind++;
    r->out->unseen++;
    return LW_OK;
  }
  r->blind = 0;
  return status;
}

/* One decision and what comes of it. */
static lw_status go(run *r, double dt, lw_error *error) {
  lw_controls controls;
  bool ran = r->look.running;
  lw_driving_decide(&r->driving, r->plan->schedule, r->from, lw_motion_time(r->motion), &r->look,
                    &controls);
  lw_motion_control(r->motion, &controls);
  lw_status status = lw_motion_advance(r->motion, dt, error);
  r->before = r->look;
  if (status == LW_OK) status = look(r, error);
  if (status == LW_OK && ran && !r->look.running) r->out->stalls++;
  return status;
}

/* ---- beginning ---- */

static lw_status start(run *r, lw_error *error) {
  const lw_drive_plan *plan = r->plan;
  const double longest = 40; /* s a driver cranks before giving up */
  lw_status status = LW_OK;
  if (plan->cold) {
    lw_motion_cold(r->motion, r->car->around.temperature);
  } else {
    status = lw_motion_idle(r->motion, error);
  }
  if (status == LW_OK) status = look(r, error);
  r->from = INFINITY;
  for (double step = r->driving.driver.step; status == LW_OK && !r->look.running;) {
    if (lw_motion_time(r->motion) > longest)
      return lw_fail(error, LW_NO_CONVERGENCE, "the engine did not start within %.0f s", longest);
    status = go(r, step, error);
  }
  double rest = plan->warm_up > 0 ? plan->warm_up : 0;
  while (status == LW_OK && rest > 1e-6) {
    double dt = fmin(rest, 1);
    status = go(r, dt, error);
    rest -= dt;
  }
  if (status != LW_OK) return status;
  r->out->stalls = r->out->unseen = 0;
  r->from = lw_motion_time(r->motion);
  r->start_fuel = r->look.totals.fuel_metered + r->look.totals.fuel_pumped;
  r->start_distance = r->look.totals.distance;
  start_meter(r);
  return LW_OK;
}

static lw_status prepare(run *r, lw_arena *arena, lw_error *error) {
  const lw_drive_plan *plan = r->plan;
  const lw_test_car *car = r->car;
  lw_driving *d = &r->driving;
  d->vehicle = plan->vehicle ? *plan->vehicle : lw_vehicle_usual(car->twin->card);
  d->driver = plan->driver ? *plan->driver : lw_driver_usual(car->engine, &d->vehicle);
  d->converter = car->engine->converter;
  d->automatic = d->converter > 0;
  d->inertia = car->engine->inertia;
  d->idle = lw_known(car->engine->speed_hot) ? car->engine->speed_hot : 70;
  d->clutch_most = 110e3 * car->engine->displacement; /* as motion.h's clutch holds at most */
  d->air_density =
      lw_air_density(car->around.temperature, car->around.ambient, car->around.humidity);
  d->gear = 1;
  size_t seconds = (size_t)ceil(lw_schedule_length(plan->schedule)) + 2;
  size_t modes = plan->schedule->modes ? plan->schedule->modes : KINDS;
  r->out = lw_arena_alloc(arena, sizeof *r->out);
  r->second = lw_arena_array(arena, seconds, sizeof *r->second);
  r->mode = lw_arena_array(arena, modes, sizeof *r->mode);
  if (!r->out || !r->second || !r->mode)
    return lw_fail(error, LW_NO_MEMORY, "no memory for this drive");
  r->out->seconds = r->second;
  r->out->mode = r->mode;
  r->out->modes = modes;
  r->out->schedule = plan->schedule;
  for (size_t i = 0; i < modes; i++) {
    r->mode[i].name = plan->schedule->modes ? plan->schedule->mode[i].name : kinds[i];
    r->mode[i].weight = plan->schedule->modes ? plan->schedule->mode[i].weight : 0;
  }
  lw_status status = lw_foot_learn(car, &d->foot, error);
  if (status == LW_OK && !plan->devices) status = lw_test_car_motion(car, &r->motion, error);
  if (status == LW_OK && plan->devices) {
    status = lw_motion_new(car->engine, car->twin->net, car->twin->card, &car->around,
                           plan->devices, &r->motion, error);
  }
  if (status == LW_OK && plan->vehicle) lw_motion_vehicle(r->motion, plan->vehicle);
  return status;
}

/* ---- adding up ---- */

/* Air that dilutes a sample is taken out by what carbon burned gas must hold: 1966 procedure, from
   memory (docs/drive.md). */
static double dilution_of(const lw_gases *dry) {
  double whole = 100 * (dry->co2 + 0.5 * dry->co + 10.8 * dry->hc);
  return whole > 0 ? 14.5 / whole : LW_NONE;
}

static void finish_modes(run *r) {
  lw_drive *out = r->out;
  double weight = 0;
  out->composite = out->composite_plain = (lw_gases){0};
  for (size_t i = 0; i < out->modes; i++) {
    lw_drive_mode *m = &r->mode[i];
    if (m->seconds > 0) m->dry = times_gases(&m->dry, 1 / m->seconds);
    m->read = times_gases(&m->read, r->plan->meter && m->seconds > 0 ? 1 / m->seconds : LW_NONE);
    m->dilution = dilution_of(&m->dry);
    if (!(m->weight > 0) || !(m->seconds > 0)) continue;
    weight += m->weight;
    add_gases(&out->composite, &m->dry, m->weight * m->dilution);
    add_gases(&out->composite_plain, &m->dry, m->weight);
  }
  double by = weight > 0 ? 1 / weight : LW_NONE;
  out->composite = times_gases(&out->composite, by);
  out->composite_plain = times_gases(&out->composite_plain, by);
}

static double rate_of(const lw_drive_second *s, lw_gas_name gas) {
  return gas == LW_GAS_CO ? s->co : gas == LW_GAS_HC ? s->hc : s->nox;
}

static void find_worst(run *r) {
  static const lw_gas_name gases[] = {LW_GAS_CO, LW_GAS_HC, LW_GAS_NO};
  lw_drive *out = r->out;
  double idle = lw_known(r->car->engine->vacuum_hot) ? r->car->engine->vacuum_hot : 60e3;
  for (size_t k = 0; k < 3 && out->count > 0; k++) {
    lw_drive_worst *w = &out->worst[out->worst_count++];
    double sum = 0;
    *w = (lw_drive_worst){.gas = gases[k]};
    for (size_t i = 0; i < out->count; i++) {
      double rate = rate_of(&out->seconds[i], gases[k]);
      sum += rate;
      if (rate > w->rate) w->rate = rate, w->second = i;
    }
    w->over = sum > 0 ? w->rate * (double)out->count / sum : LW_NONE;
    lw_drive_cause(&out->seconds[w->second], gases[k], idle, w->cause, sizeof w->cause);
  }
}

static void finish(run *r) {
  lw_drive *out = r->out;
  const lw_totals *t = &r->look.totals;
  const lw_fuel *fuel = &r->car->engine->fuel;
  out->distance = t->distance - r->start_distance;
  out->wanted_distance = lw_schedule_distance(r->plan->schedule);
  out->fuel = t->fuel_metered + t->fuel_pumped - r->start_fuel;
  out->fuel_volume = out->fuel / fuel->density;
  out->missed = r->judged > 0 ? r->missed / r->judged : 0;
  double miles = out->distance / mile;
  if (miles > 0) {
    double carbon = 12.011e-3 / lw_fuel_molar_mass(fuel), g = 1000 / miles;
    double grams = out->hc * g * carbon + 0.429 * out->co * g + 0.273 * out->co2 * g;
    out->economy_carbon = 1e3 * fuel->density * gallon * carbon / grams * mile / gallon;
  }
  finish_modes(r);
  find_worst(r);
  out->effort = lw_motion_effort(r->motion);
}

/* ---- the run ---- */

static lw_status follow(run *r, lw_error *error) {
  const lw_schedule *s = r->plan->schedule;
  double length = lw_schedule_length(s), step = r->driving.driver.step;
  lw_status status = start(r, error);
  for (double time = 0; status == LW_OK && time < length - 1e-9;) {
    double whole = floor(time + 1e-6) + 1; /* seconds end on the second */
    double dt = fmin(fmin(step, whole - time), length - time);
    status = go(r, dt, error);
    if (status != LW_OK) break;
    time = time + dt > whole - 1e-9 ? whole : time + dt;
    if (time > length) time = length;
    take(r, time, dt);
    if (time >= whole - 1e-9 || time >= length - 1e-9) {
      close_second(r, time);
      if (r->plan->progress && r->out->count % 8 == 0)
        r->plan->progress(r->plan->with, time / length);
    }
  }
  return status;
}

lw_status lw_drive_run(lw_arena *arena, const lw_test_car *car, const lw_drive_plan *plan,
                       lw_drive **drive, lw_error *error) {
  run *r = lw_arena_alloc(arena, sizeof *r);
  if (!r) return lw_fail(error, LW_NO_MEMORY, "no memory for this drive");
  r->plan = plan;
  r->car = car;
  lw_status status = prepare(r, arena, error);
  if (status == LW_OK) status = follow(r, error);
  if (status == LW_OK) {
    finish(r);
    *drive = r->out;
  }
  lw_motion_free(r->motion);
  if (plan->progress) plan->progress(plan->with, 1);
  return status;
}

/* ---- arithmetic of the law ---- */

double lw_carbon_balance(double hc, double co, double co2) {
  return 2421 / (0.866 * hc + 0.429 * co + 0.273 * co2);
}

double lw_carbon_balance_fuel(double hc, double co, double co2, double gravity, double carbon,
                              double heating) {
  return 5174e4 * carbon * gravity /
         ((carbon * hc + 0.429 * co + 0.273 * co2) * (0.6 * gravity * heating + 5471));
}
