/* drive_driver.c - the driver: pedal, brake, clutch and gears from the schedule ahead.
**
** The foot asks for the acceleration that meets the schedule `preview` seconds on, and a little
** more for every meter the car is behind. Road load turns it into torque, a table of what each
** throttle gives into a pedal; less than a released pedal gives is braked.
*/
#include "drive_internal.h"

#include <math.h>

static const double rpm = 3.14159265358979323846 / 30, mph = 0.44704, gravity = 9.80665;

/* ---- knowing the pedal ---- */

lw_status lw_foot_learn(const lw_test_car *car, lw_foot *f, lw_error *error) {
  static const double throttles[LW_FOOT_THROTTLES] = {0,    0.01, 0.025, 0.05, 0.08, 0.12,
                                                      0.17, 0.24, 0.33,  0.45, 0.65, 1};
  static const double speeds[LW_FOOT_SPEEDS] = {500,  700,  900,  1200, 1500,
                                                1900, 2400, 3000, 3800, 4600};
  for (int i = 0; i < LW_FOOT_SPEEDS; i++) {
    lw_state state = {0};
    f->speed[i] = speeds[i] * rpm;
    for (int k = 0; k < LW_FOOT_THROTTLES; k++) {
      lw_running run;
      f->throttle[k] = throttles[k];
      lw_status status = lw_engine_at(car->engine, car->twin->net, &car->around, throttles[k],
                                      f->speed[i], &state, &run, error);
      if (status == LW_NO_CONVERGENCE && k > 0) { /* a lone point: its neighbor will do */
        f->torque[i][k] = f->torque[i][k - 1];
        state = (lw_state){0};
        continue;
      }
      if (status != LW_OK) return status;
      f->torque[i][k] = run.burned.torque;
      /* a foot knows that more is more */
      if (k > 0) f->torque[i][k] = fmax(f->torque[i][k], f->torque[i][k - 1] + 0.01);
    }
  }
  return LW_OK;
}

static double torque_at(const lw_foot *f, int i, double part, int k) {
  return f->torque[i][k] + part * (f->torque[i + 1][k] - f->torque[i][k]);
}

double lw_foot_throttle(const lw_foot *f, double speed, double torque, double *least) {
  int i = 0;
  while (i < LW_FOOT_SPEEDS - 2 && speed > f->speed[i + 1])
    i++;
  double part = (speed - f->speed[i]) / (f->speed[i + 1] - f->speed[i]);
  part = fmin(fmax(part, 0), 1);
  double below = torque_at(f, i, part, 0);
  *least = below;
  if (torque <= below) return 0;
  for (int k = 1; k < LW_FOOT_THROTTLES; k++) {
    double above = torque_at(f, i, part, k);
    if (torque <= above) {
      double share = (torque - below) / (above - below);
      return f->throttle[k - 1] + share * (f->throttle[k] - f->throttle[k - 1]);
    }
    below = above;
  }
  return 1;
}

/* ---- habits ---- */

/* Manual three-speeds were driven through the schedules with shifts at 15 and 25 mph, four-speeds
   at 15, 25 and 40 (common practice); automatics shift by a governor. All shift later with a heavy
   foot (ours). */
lw_driver lw_driver_usual(const lw_engine *engine, const lw_vehicle *vehicle) {
  bool automatic = engine->converter > 0;
  lw_driver d = {.step = 0.25,
                 .preview = 0.9,
                 .integral = 0.12,
                 .foot = 1.5,
                 .down = automatic ? 0.62 : 0.66,
                 .shift = 0.7,
                 .clutch_in = 850 * rpm,
                 .up = {15 * mph, 25 * mph, 40 * mph, 50 * mph, 60 * mph}};
  for (int i = 0; i < 6; i++)
    d.kick[i] = automatic ? 2 : 0.8;
  if (automatic) {
    d.up[0] = 11 * mph;
    d.up[1] = 20 * mph;
  }
  for (int i = vehicle->gears - 1; i < 6; i++)
    d.up[i] = INFINITY;
  return d;
}

/* ---- gears ---- */

static double ratio_of(const lw_driving *d, int gear) {
  return d->vehicle.axle * d->vehicle.gear[gear - 1] / d->vehicle.tire;
}

static int gear_for(const lw_driving *d, double road, double pedal) {
  int gear = d->gear > 0 ? d->gear : 1;
  for (;;) {
    double later = 1 + d->driver.kick[gear - 1] * fmax(pedal - 0.15, 0);
    if (gear < d->vehicle.gears && road > d->driver.up[gear - 1] * later) {
      gear++;
      continue;
    }
    double under = gear > 1 ? d->driver.up[gear - 2] * d->driver.down *
                                  (1 + d->driver.kick[gear - 2] * fmax(pedal - 0.3, 0))
                            : 0;
    if (gear > 1 && road < under) {
      gear--;
      continue;
    }
    return gear;
  }
}

/* ---- pedal ---- */

/* What the turbine's torque asks of the crank: a converter multiplies while it slips. */
static double through_converter(const lw_driving *d, double torque, double speed, double turbine) {
  if (!d->automatic || torque <= 0 || speed <= turbine) return torque;
  return torque / fmax(2.1 - 1.1 * (turbine / speed) / 0.85, 1);
}

/* Torque at the crank that gives this acceleration. */
static double torque_for(const lw_driving *d, double road, double acceleration, int gear,
                         double speed) {
  double torque, turbine;
  lw_road_load(&d->vehicle, fmax(road, 0.3), acceleration, gear - 1, d->air_density, &torque,
               &turbine);
  turbine = road * ratio_of(d, gear);
  torque = through_converter(d, torque, speed, turbine);
  return torque + d->inertia * acceleration * ratio_of(d, gear);
}

static void press(lw_driving *d, double pedal, const lw_look *look, lw_controls *c) {
  double most = d->driver.foot * d->driver.step;
  /* half of the way each step: a foot does not chase every ripple */
  double goal = pedal <= 0 ? 0 : 0.35 * d->pedal + 0.65 * pedal;
  d->pedal = fmin(fmax(goal, d->pedal - 2 * most), d->pedal + most);
  c->pedal = fmin(fmax(d->pedal, 0), 1);
  c->pedal_rate = fmax(fabs(c->pedal - look->pedal) / d->driver.step, 1e-3);
}

/* Brakes are moved in steps: each move is a jump for the integrator. */
static void brake(lw_driving *d, double force, lw_controls *c) {
  double most = 0.6 * d->vehicle.mass * gravity;
  force = fmin(fmax(force, 0), most);
  if (force < 60) force = 0;
  if (force == 0 || fabs(force - d->brake) > 0.08 * force + 40) d->brake = force;
  c->brake = d->brake;
}

/* ---- the clutch ---- */

/* Starting off: the clutch carries what the acceleration asks for while the engine is held near
   1,200 rpm, until the gearbox has caught up. */
static bool slips(lw_driving *d, double road, double torque, const lw_look *look, lw_controls *c) {
  const double hold = 1200 * rpm;
  double turbine = road * ratio_of(d, d->gear);
  if (d->gear != 1 || turbine > fmin(0.95 * look->speed, hold)) return false;
  double asked = fmin(fmax(torque, 15), 0.6 * d->clutch_most), least;
  /* it bites as the engine comes up: nothing under idle, all at 1,200 rpm */
  double low = 0.95 * d->idle, bite = (look->speed - low) / (hold - low);
  double carried = asked * fmin(fmax(bite, 0), 1);
  double catch_up = d->inertia * (hold - look->speed) / 0.4;
  c->clutch = carried / d->clutch_most;
  press(d, lw_foot_throttle(&d->foot, look->speed, asked + catch_up, &least), look, c);
  return true;
}

/* ---- deciding ---- */

static void stand(lw_driving *d, const lw_look *look, lw_controls *c) {
  d->behind = 0;
  d->gear = 1;
  /* one that has just died is let run up before it is put in gear again */
  bool weak = d->nursed > 0 && look->speed < 1.3 * d->idle;
  c->gear = d->automatic && !weak ? 1 : 0;
  c->clutch = 1;
  press(d, d->nursed, look, c);
  brake(d, 0.3 * d->vehicle.mass * gravity, c);
}

/* An engine that has died is kept alive with a little foot for a minute, brake or not. */
static void start_engine(lw_driving *d, const lw_look *look, lw_controls *c) {
  if (d->cranking == 0) d->nursed = fmin(d->nursed + 0.02, 0.1);
  c->starter = true;
  c->gear = 0;
  c->clutch = 1;
  d->cranking += d->driver.step;
  /* a little more foot the longer it takes */
  c->pedal = d->pedal = fmax(fmin(0.02 * d->cranking, 0.1), d->nursed - 0.02);
  c->pedal_rate = fmax(fabs(c->pedal - look->pedal) / d->driver.step, 1e-3);
}

static void shift_manual(lw_driving *d, double time, int gear) {
  if (gear == d->gear) return;
  d->gear = gear;
  d->shift_end = time + d->driver.shift;
}

static void slow_down(lw_driving *d, double road, double torque, double least, int gear,
                      lw_controls *c) {
  double held = fmin(least, 0) * ratio_of(d, gear); /* what the engine holds back, N */
  if (c->gear == 0 || c->clutch == 0) held = 0;
  brake(d, -(torque * ratio_of(d, gear)) + held - (road < 0.5 ? -200 : 0), c);
}

void lw_driving_decide(lw_driving *d, const lw_schedule *s, double from, double time,
                       const lw_look *look, lw_controls *c) {
  double now = time - from, road = look->road_speed, ahead = d->driver.preview;
  double wanted = lw_schedule_speed(s, now), soon = lw_schedule_speed(s, now + ahead);
  *c = lw_controls_idle();
  c->choke_knob = 0;
  if (!look->running) {
    start_engine(d, look, c);
    return;
  }
  d->cranking = 0;
  d->nursed *= exp(-d->driver.step / 60);
  if (d->nursed < 0.003) d->nursed = 0;
  bool still = wanted < 0.2 && soon < 0.2;
  if (now < 0 || (still && road < 0.6)) {
    stand(d, look, c);
    return;
  }
  d->behind = fmin(fmax(d->behind + (wanted - road) * d->driver.step, -4), 6);
  double acceleration = (soon - road) / ahead + d->driver.integral * d->behind;
  /* it catches up gently: no more than 1.2 m/s2 beyond what the schedule asks */
  double slope = (soon - wanted) / ahead;
  acceleration = fmin(fmax(acceleration, slope - 1.2), slope + 1.2);
  if (d->automatic) {
    d->gear = gear_for(d, road, d->pedal);
  } else if (time >= d->shift_end && acceleration > -0.2) {
    shift_manual(d, time, gear_for(d, road, d->pedal));
  }
  c->gear = d->gear;
  double torque = torque_for(d, road, acceleration, d->gear, look->speed), least;
  double throttle = lw_foot_throttle(&d->foot, look->speed, torque, &least);
  if (!d->automatic) {
    double turbine = road * ratio_of(d, d->gear);
    if (acceleration <= 0 && turbine < d->driver.clutch_in) { /* rolling out, clutch pressed */
      c->clutch = 0;
      press(d, d->nursed, look, c);
      if (road < 1) d->gear = 1;
      slow_down(d, road, torque, least, d->gear, c);
      return;
    }
    if (time < d->shift_end) {
      double left = d->shift_end - time;
      c->clutch = left > 0.5 * d->driver.shift ? 0 : 0.5;
      press(d, left > 0.5 * d->driver.shift ? 0 : throttle, look, c);
      return;
    }
    if (slips(d, road, torque, look, c)) return;
  }
  press(d, fmax(throttle, d->nursed), look, c);
  if (torque < least) {
    slow_down(d, road, torque, least, d->gear, c);
  } else {
    brake(d, 0, c);
  }
}
