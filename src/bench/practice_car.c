/* practice_car.c - a car by somebody's clock, its instruments, and hands on it.
**
** Every change builds the car anew from the one it was made from and puts the old one's state into
** it, so nothing piles up however often a screw is turned.
*/
#include "leanward/practice_car.h"

#include <math.h>
#include <stdlib.h>

static const double crank_most = 6, warm = 355; /* s, K */
static const double catches = 0.7;              /* s it must run before a hand lets go of the key */
/* A warm engine is started with a little throttle, let go of half a second after it has caught
   (common practice, no source; as lw_run_stall does). */
static const double starting = 0.08, lifts = 0.5;
/* The foot: how fast it follows the tachometer, 1/s of the throttle that speed needs (ours). */
static const double foot_gain = 0.5, foot_most = 0.3, foot_rests = 0.006;

struct lw_practice_car {
  const lw_test_car *from;
  lw_arena *arena; /* of car */
  const lw_test_car *car;
  lw_motion *motion;
  lw_controls controls;
  lw_meter meter;
  lw_vacuum_gauge gauge;
  lw_tachometer tachometer;
  double gain;
  double held, needs; /* rad/s the foot holds, NaN: none; throttle that takes, about */
  double cranked;     /* s the starter has turned */
  double ran;         /* s of them the engine ran by itself */
  double lift; /* s until the foot comes off after starting; NaN: it has not been on for it */
  bool running;
  lw_stall why;
  int lost;
};

/* ---- made and changed ---- */

typedef struct built {
  lw_arena *arena;
  lw_test_car *car;
  lw_motion *motion;
} built;

static lw_status build(const lw_test_car *from, lw_units *units, const char *const *edits,
                       size_t count, built *b, lw_error *error) {
  *b = (built){.arena = lw_arena_new(0)};
  if (!b->arena) return lw_fail(error, LW_NO_MEMORY, "no memory for a practice car");
  lw_status status = lw_test_car_what_if(b->arena, units, from, edits, count, &b->car, error);
  if (status == LW_OK) status = lw_test_car_motion(b->car, &b->motion, error);
  if (status != LW_OK) lw_arena_free(b->arena);
  return status;
}

/* Stopped and warm, the starter to be turned. */
static void stand_still(lw_practice_car *c) {
  lw_motion_cold(c->motion, warm);
  c->running = false;
  c->held = c->lift = LW_NONE;
  c->controls = lw_controls_idle();
  lw_motion_control(c->motion, &c->controls);
}

static void start_instruments(lw_practice_car *c, lw_class accuracy, uint64_t seed) {
  lw_look look;
  lw_error ignored = {0};
  lw_meter_kind kind = lw_meter_usual(accuracy);
  lw_dial dial = lw_dial_usual();
  bool looked = c->running && lw_motion_look(c->motion, &look, &ignored) == LW_OK;
  kind.seed = seed;
  lw_meter_start(&c->meter, &kind);
  if (looked) /* it stood there idling for a while */
    lw_meter_step(&c->meter, 120, &look.burned.sampled,
                  lw_exhaust_flow(look.air_out, look.fuel_out));
  lw_vacuum_gauge_start(&c->gauge, &dial, seed, looked ? look.vacuum : 0);
  c->tachometer = lw_tachometer_usual(looked ? look.speed : 0);
}

lw_status lw_practice_car_new(const lw_test_car *from, lw_units *units, const char *const *edits,
                              size_t count, lw_class accuracy, uint64_t seed, lw_practice_car **out,
                              lw_error *error) {
  built b;
  lw_error ignored = {0};
  lw_practice_car *c = calloc(1, sizeof *c);
  if (!c) return lw_fail(error, LW_NO_MEMORY, "no memory for a practice car");
  lw_status status = build(from, units, edits, count, &b, error);
  if (status != LW_OK) {
    free(c);
    return status;
  }
  c->from = from;
  c->arena = b.arena;
  c->car = b.car;
  c->motion = b.motion;
  c->gain = 1;
  c->held = c->lift = LW_NONE;
  c->running = lw_motion_idle(c->motion, &ignored) == LW_OK;
  if (c->running) {
    c->controls = *lw_motion_controls(c->motion);
  } else {
    stand_still(c);
  }
  start_instruments(c, accuracy, seed);
  *out = c;
  return LW_OK;
}

void lw_practice_car_free(lw_practice_car *c) {
  if (!c) return;
  lw_motion_free(c->motion);
  lw_arena_free(c->arena);
  free(c);
}

lw_status lw_practice_car_change(lw_practice_car *c, lw_units *units, const char *const *edits,
                                 size_t count, lw_error *error) {
  built b;
  double states[LW_MOTION_STATES], time = lw_motion_time(c->motion);
  lw_status status = build(c->from, units, edits, count, &b, error);
  if (status != LW_OK) return status;
  lw_motion_states(c->motion, states, NULL);
  lw_motion_put(b.motion, time, states);
  lw_motion_control(b.motion, &c->controls);
  lw_motion_free(c->motion);
  lw_arena_free(c->arena);
  c->arena = b.arena;
  c->car = b.car;
  c->motion = b.motion;
  return LW_OK;
}

/* ---- in time ---- */

/* Why it stopped, from what the motion tells. */
static void hear_events(lw_practice_car *c) {
  const lw_event *events = NULL;
  size_t count = lw_motion_events(c->motion, &events);
  for (size_t i = 0; i < count; i++) {
    if (events[i].kind == LW_EVENT_STALLED) c->why = events[i].cause;
  }
  lw_motion_forget_events(c->motion);
}

/* A mechanic's foot: to where that speed is about, then by the tachometer. */
static void move_foot(lw_practice_car *c, double dt) {
  if (!lw_known(c->held) || !c->running) return;
  double off = (c->held - c->tachometer.shown) / c->held;
  if (fabs(off) < foot_rests) return;
  double by = foot_gain * c->needs * fmin(fmax(off, -foot_most), foot_most) * dt;
  c->controls.pedal = fmin(fmax(c->controls.pedal + by, 0), 1);
  lw_motion_control(c->motion, &c->controls);
}

static void turn_starter(lw_practice_car *c, double dt) {
  if (!c->controls.starter) return;
  c->cranked += dt;
  c->ran = c->running ? c->ran + dt : 0;
  if (c->ran < catches && c->cranked < crank_most) return;
  c->controls.starter = false;
  lw_motion_control(c->motion, &c->controls);
}

static void lift_foot(lw_practice_car *c, double dt) {
  if (c->controls.starter || !lw_known(c->lift)) return;
  c->lift -= dt;
  if (c->lift > 0) return;
  lw_practice_car_pedal(c, 0);
}

static void show(lw_practice_car *c, const lw_look *look, double dt) {
  bool runs = look->running;
  lw_products air = {.dry = {0, 0, 0, 0.2095, 0}, .n2 = 0.7905};
  double flow = runs ? lw_exhaust_flow(look->air_out, look->fuel_out) : 0;
  lw_meter_step(&c->meter, dt, runs ? &look->burned.sampled : &air, flow);
  lw_tachometer_step(&c->tachometer, dt, look->speed);
  lw_vacuum_gauge_step(&c->gauge, dt, c->car->engine, &look->burned, look->speed, look->vacuum,
                       look->manifold);
}

void lw_practice_car_advance(lw_practice_car *c, double dt) {
  lw_look look;
  lw_error error = {0};
  if (!(dt > 0 && dt <= 1)) return;
  move_foot(c, dt);
  lw_status status = lw_motion_advance(c->motion, dt, &error);
  if (status == LW_OK) status = lw_motion_look(c->motion, &look, &error);
  if (status != LW_OK) {
    c->lost++;
    stand_still(c);
    return;
  }
  hear_events(c);
  c->running = look.running;
  turn_starter(c, dt);
  lift_foot(c, dt);
  show(c, &look, dt);
}

lw_needles lw_practice_car_needles(const lw_practice_car *c) {
  lw_needles n = {.time = lw_motion_time(c->motion),
                  .speed = lw_tachometer_read(&c->tachometer),
                  .vacuum = lw_vacuum_gauge_read(&c->gauge),
                  .gases = lw_meter_read(&c->meter),
                  .pedal = c->controls.pedal,
                  .running = c->running,
                  .cranking = c->controls.starter,
                  .why = c->running ? LW_STALL_NOT : c->why};
  n.gases.co *= c->gain;
  n.gases.co2 *= c->gain;
  n.gases.hc *= c->gain;
  return n;
}

/* ---- hands ---- */

void lw_practice_car_pedal(lw_practice_car *c, double pedal) {
  c->held = c->lift = LW_NONE;
  c->controls.pedal = fmin(fmax(pedal, 0), 1);
  lw_motion_control(c->motion, &c->controls);
}

void lw_practice_car_hold(lw_practice_car *c, double speed) {
  lw_running run;
  lw_state state = {0};
  lw_error ignored = {0};
  if (!(speed > 0) || !c->running) return;
  bool known = lw_engine_hold(c->car->engine, c->car->twin->net, &c->car->around, speed, 0, &state,
                              &run, &ignored) == LW_OK &&
               !run.stalled;
  c->lift = LW_NONE;
  c->held = speed;
  c->needs = fmax(known ? run.setting.throttle : 0.05, 0.01);
  c->controls.pedal = c->needs;
  lw_motion_control(c->motion, &c->controls);
}

double lw_practice_car_held(const lw_practice_car *c) {
  return c->held;
}

void lw_practice_car_start(lw_practice_car *c) {
  c->controls.ignition = c->controls.starter = true;
  c->cranked = c->ran = 0;
  if (c->controls.pedal < starting) {
    c->controls.pedal = starting;
    c->lift = lifts;
  }
  lw_motion_control(c->motion, &c->controls);
}

void lw_practice_car_stop(lw_practice_car *c) {
  if (lw_known(c->held) || lw_known(c->lift)) c->controls.pedal = 0;
  c->held = c->lift = LW_NONE;
  c->controls.ignition = c->controls.starter = false;
  lw_motion_control(c->motion, &c->controls);
}

void lw_practice_car_gear(lw_practice_car *c, bool drive) {
  if (!(c->from->engine->converter > 0)) return;
  c->controls.gear = drive;
  c->controls.brake = drive ? 8000 : 0;
  lw_motion_control(c->motion, &c->controls);
}

void lw_practice_car_gain(lw_practice_car *c, double gain) {
  c->gain = gain;
}

const lw_test_car *lw_practice_car_now(const lw_practice_car *c) {
  return c->car;
}

int lw_practice_car_lost(const lw_practice_car *c) {
  return c->lost;
}
