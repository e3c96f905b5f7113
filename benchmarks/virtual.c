/* virtual.c - cars with physics of their own, read by instruments that are off. */
#include "virtual.h"

#include <math.h>
#include <stdio.h>
#include <time.h>

static const double rpm = 3.14159265358979323846 / 30, degree = 3.14159265358979323846 / 180;

/* ---- chance and time ---- */

double virtual_now(void) {
  struct timespec t;
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Neighboring seeds give cars that are no neighbors (the finalizer of splitmix64: Steele, Lea,
   Flood, OOPSLA 2014; from memory). */
uint64_t virtual_stirred(uint64_t x) {
  x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9u;
  x = (x ^ (x >> 27)) * 0x94D049BB133111EBu;
  return x ^ (x >> 31);
}

double virtual_bell(cars_random *r) {
  double sum = 0;
  for (int i = 0; i < 12; i++)
    sum += cars_between(r, 0, 1);
  return sum - 6;
}

/* ---- a car with physics of its own ---- */

static double of_name(uint64_t seed, const char *name) {
  cars_random r = {virtual_stirred(seed)};
  for (; *name; name++)
    r.state = (r.state ^ (unsigned char)*name) * 1099511628211u;
  cars_between(&r, 0, 1);
  return virtual_bell(&r);
}

static void own_passages(lw_net *net, uint64_t seed) {
  for (int i = 0; i < net->passage_count; i++) {
    lw_passage *p = &net->passages[i];
    double by = exp(0.03 * of_name(seed, p->name));
    p->cd_area *= by;
    p->orifice.area *= by;
    p->orifice.diameter *= sqrt(by);
  }
  for (int b = 0; b < net->barrel_count; b++)
    net->barrels[b].cd_area *= exp(0.02 * of_name(seed, "venturi"));
  net->draw.eta0 *= exp(0.03 * of_name(seed, "breathing"));
  net->draw.back *= exp(0.10 * of_name(seed, "residual"));
}

static void own_engine(lw_engine *e, cars_random *r) {
  e->friction *= exp(0.12 * virtual_bell(r));
  e->overlap *= exp(0.35 * virtual_bell(r));
  e->spread *= exp(0.35 * virtual_bell(r));
  e->flutter *= exp(0.25 * virtual_bell(r));
  e->lean_limit *= exp(0.04 * virtual_bell(r));
  e->hidden *= exp(0.25 * virtual_bell(r));
  e->crossing = fmin(fmax(e->crossing * exp(0.4 * virtual_bell(r)), 0), 0.45);
  e->timing_error = 1.0 * degree * virtual_bell(r);
  e->exhaust_leak = 0.004 * fabs(virtual_bell(r));
}

lw_test_car *virtual_build(virtual_car *v, lw_arena *arena) {
  char text[LW_SIGHT_SCREWS][96];
  const char *edits[LW_SIGHT_SCREWS + 2];
  size_t n = 0;
  const lw_screw_card *s = v->model->twin->card->carburetor.screws.items;
  for (size_t i = 0; i < v->fault_count; i++)
    edits[n++] = v->fault[i];
  for (size_t i = 0, k = 0; i < v->model->twin->card->carburetor.screws.count; i++) {
    if (s[i].kind == LW_SCREW_FIXED) continue;
    snprintf(text[k], sizeof text[k], "%s screw=%.6f turns", s[i].name, v->turns[k]);
    edits[n++] = text[k++];
  }
  lw_test_car own = *v->model, *car = NULL;
  own.engine = &v->engine;
  if (lw_test_car_what_if(arena, v->units, &own, edits, n, &car, NULL) != LW_OK) return NULL;
  own_passages(car->twin->net, v->seed);
  for (int b = 0; b < car->twin->net->barrel_count; b++) {
    if (car->twin->net->barrels[b].linkage == LW_LINK_PEDAL)
      car->twin->net->barrels[b].stop = v->stop;
  }
  return car;
}

bool virtual_hold(virtual_car *v, double speed, lw_running *run) {
  lw_state state = {0};
  lw_arena *arena = lw_arena_new(0);
  lw_test_car *car = virtual_build(v, arena);
  bool good = car && lw_engine_hold(car->engine, car->twin->net, &car->around, speed, 0, &state,
                                    run, NULL) == LW_OK;
  lw_arena_free(arena);
  return good;
}

bool virtual_idle(virtual_car *v, lw_running *run) {
  lw_state state = {0};
  lw_arena *arena = lw_arena_new(0);
  lw_test_car *car = virtual_build(v, arena);
  bool good = car &&
              lw_engine_idle(car->engine, car->twin->net, &car->around, 0, LW_LOAD_NONE, &state,
                             run, NULL) == LW_OK &&
              !run->stalled;
  lw_arena_free(arena);
  return good;
}

const lw_screw_card *virtual_screw(const virtual_car *v, size_t k) {
  const lw_list *list = &v->model->twin->card->carburetor.screws;
  const lw_screw_card *s = list->items;
  for (size_t i = 0; i < list->count; i++) {
    if (s[i].kind != LW_SCREW_FIXED && k-- == 0) return &s[i];
  }
  return NULL;
}

lw_range virtual_travel(const lw_screw_card *s) {
  lw_range t = s->travel;
  if (!lw_known(t.lo)) t.lo = 0;
  if (!lw_known(t.hi)) t.hi = 4;
  return t;
}

virtual_car virtual_of(lw_units *units, const lw_test_car *model, uint64_t seed, cars_random *r) {
  virtual_car v = {.units = units, .model = model, .seed = seed, .engine = *model->engine};
  own_engine(&v.engine, r);
  v.stop = model->twin->net->barrels[0].stop;
  while (v.screws < LW_SIGHT_SCREWS && virtual_screw(&v, v.screws))
    v.screws++;
  return v;
}

void virtual_stop_at(virtual_car *v, const lw_running *run) {
  const lw_barrel *b = &v->model->twin->net->barrels[0];
  v->stop += run->setting.throttle * (b->wide - b->closed - v->stop);
}

bool virtual_set_right(virtual_car *v, double co, double speed) {
  const lw_screw_card *s = virtual_screw(v, 0);
  lw_running run;
  if (!s) return false;
  lw_range t = virtual_travel(s);
  bool richer_out = s->kind != LW_SCREW_AIR_BLEED;
  double lo = t.lo, hi = t.hi;
  for (int i = 0; i < 14; i++) {
    double mid = 0.5 * (lo + hi);
    for (size_t k = 0; k < v->screws; k++)
      v->turns[k] = mid;
    bool rich = virtual_hold(v, speed, &run) && run.burned.exhaust.dry.co > co;
    *(rich == richer_out ? &hi : &lo) = mid;
  }
  if (!virtual_hold(v, speed, &run) || fabs(run.burned.exhaust.dry.co - co) > 0.004) return false;
  virtual_stop_at(v, &run);
  return true;
}

/* ---- reading it ---- */

const double virtual_gains[LW_CHANNELS] = {0, 0.025, 0.015, 0.02, 0.05, 0, 0};
static const double zeros[LW_CHANNELS] = {700, 0.0002, 0.001, 0.0006, 4e-6, 0, 0};
const double virtual_u[LW_CHANNELS] = {
    [LW_SEE_VACUUM] = 700, [LW_SEE_CO] = 0.0006, [LW_SEE_CO2] = 0.003,   [LW_SEE_O2] = 0.001,
    [LW_SEE_HC] = 12e-6,   [LW_SEE_NO] = NAN,    [LW_SEE_TIMING] = 0.012};

static double steps(double x, double step) {
  return step * floor(x / step + 0.5);
}

void virtual_read(const lw_running *run, const virtual_shop *in, cars_random *r, lw_sight *s) {
  static const double step[LW_CHANNELS] = {338, 0.0001, 0.001, 0.0001, 1e-6, 1, 0.0087};
  static const double noise[LW_CHANNELS] = {300, 0.0003, 0.0008, 0.0005, 6e-6, 0, 0.006};
  const lw_products *gas = &run->burned.sampled;
  const double x[LW_CHANNELS] = {run->vacuum,     gas->dry.co, gas->dry.co2, gas->dry.o2,
                                 gas->dry.hc / 6, NAN,         NAN};
  for (int k = 0; k < LW_CHANNELS; k++) {
    s->u[k] = virtual_u[k];
    s->x[k] =
        lw_known(x[k])
            ? fmax(steps(x[k] * in->gain[k] + in->zero[k] + noise[k] * virtual_bell(r), step[k]), 0)
            : LW_NONE;
  }
  s->speed = steps(run->setting.speed / rpm + 4 * virtual_bell(r), 10) * rpm;
  s->screws_known = true;
}

void virtual_read_screws(const virtual_car *v, cars_random *r, lw_sight *s) {
  s->screw_count = v->screws;
  for (size_t k = 0; k < v->screws; k++) {
    s->screws[k].name = virtual_screw(v, k)->name;
    s->screws[k].turns = fmax(v->turns[k] + 0.03 * virtual_bell(r), 0);
  }
}

bool virtual_at_idle(virtual_car *v, double speed, lw_running *run, bool *held) {
  *held = !(virtual_idle(v, run) && run->setting.speed > 0.6 * speed);
  return !*held || virtual_hold(v, speed, run);
}

virtual_shop virtual_shop_of(cars_random *r) {
  virtual_shop in;
  for (int k = 0; k < LW_CHANNELS; k++) {
    in.gain[k] = 1 + virtual_gains[k] * virtual_bell(r);
    in.zero[k] = zeros[k] * virtual_bell(r);
  }
  return in;
}
