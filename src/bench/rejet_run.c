/* rejet_run.c - a choice of sizes on the twin: the points that are compared, the idle and its screws.
**
** The points are a grid of throttle and speed, placed by what the original does there. Idle is one
** point: the throttle at which the warm engine turns at its idle speed, for speed is set with the
** speed screw whatever else is changed.
*/
#include "rejet_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define RPM 0.10471975511965977

enum { ROUGH_EACH = 7, THROTTLES = 9, SPEEDS = 12, SCREW_STEPS = 12 };

static const double lost_error = 0.3; /* what a point without mixture counts in the search */
static const double idle_near = 2e-4; /* of lambda, where the search stops turning screws */
static const double co_near = 0.01;   /* of the CO that is wanted, or as near in lambda: */
static const double lambda_near = 1e-3;
static const double band_edge = 0.1; /* of the CO band: how far inside it a screw is set */

/* ---- goals ---- */

static double goal_at(const lw_rejet_task *t, lw_place place, double original) {
  const lw_rejet_ask *ask = t->ask;
  if (lw_known(ask->afr[place]))
    return ask->afr[place] / lw_fuel_stoichiometric(&t->changed->twin->net->fuel);
  return lw_known(ask->lambda[place]) ? ask->lambda[place] : original;
}

static bool has_goal(const lw_rejet_ask *ask, lw_place place) {
  return lw_known(ask->afr[place]) || lw_known(ask->lambda[place]);
}

/* ---- idle held ---- */

static void hold(const lw_rejet_task *t, const lw_test_car *car, lw_state *state,
                 lw_rejet_idle *idle, lw_running *run) {
  lw_error own = {0};
  lw_status status = lw_engine_hold(car->engine, car->twin->net, &car->around, t->idle_speed,
                                    t->idle_load, state, run, &own);
  if (status != LW_OK) { /* from the cold, in case the neighbor led astray */
    state->known = false;
    status = lw_engine_hold(car->engine, car->twin->net, &car->around, t->idle_speed, t->idle_load,
                            state, run, &own);
  }
  idle->solved = status == LW_OK && !run->stalled;
  idle->speed = t->idle_speed;
  if (!idle->solved) {
    snprintf(idle->why, sizeof idle->why, "%.110s", status == LW_OK ? "it stalls" : own.text);
    idle->throttle = idle->vacuum = idle->co = idle->lambda = LW_NONE;
    return;
  }
  idle->throttle = run->setting.throttle;
  idle->vacuum = run->vacuum;
  idle->co = run->burned.sampled.dry.co;
  idle->lambda = run->point.lambda;
  idle->side = lw_range_side(t->band, idle->co);
}

/* ---- the points ---- */

static bool mixture(const lw_twin *twin, const lw_spot *s, lw_state *state, double *lambda) {
  lw_setting setting = {.throttle = s->throttle, .speed = s->speed, .ambient = twin->ambient};
  lw_report report;
  lw_point point;
  lw_net_solve(twin->net, &setting, state, &report);
  if (!report.converged && state->known) {
    state->known = false;
    lw_net_solve(twin->net, &setting, state, &report);
  }
  if (!report.converged) return false;
  lw_net_point(twin->net, &setting, state, &point);
  *lambda = point.lambda;
  return point.lambda == point.lambda && point.lambda > 0;
}

static size_t speeds_of(const lw_rejet_task *t, double *speed) {
  size_t count = 0;
  speed[count++] = t->idle_speed;
  for (int i = 2; i <= 8; i++) {
    if (500 * i * RPM > t->idle_speed + 200 * RPM && count < SPEEDS) speed[count++] = 500 * i * RPM;
  }
  return count;
}

static lw_status grid(lw_rejet_task *t) {
  static const double throttle[THROTTLES] = {0.02, 0.05, 0.10, 0.15, 0.20, 0.30, 0.50, 0.75, 1};
  const lw_twin *twin = t->original->twin;
  double speed[SPEEDS];
  lw_map *map = NULL;
  size_t speeds = speeds_of(t, speed);
  lw_status status = lw_map_run(t->arena, twin, throttle, THROTTLES, speed, speeds, &map, t->error);
  for (size_t i = 0; status == LW_OK && i < THROTTLES * speeds; i++) {
    const lw_map_point *p = &map->points[i];
    if (!p->report.converged || !(p->lambda > 0) || t->spot_count == LW_SPOTS) continue;
    lw_place place = lw_place_of(p, t->idle_speed, twin->ambient);
    if (place == LW_PLACE_IDLE || place == LW_PLACE_COAST) continue;
    t->spots[t->spot_count++] = (lw_spot){.place = place,
                                          .throttle = p->throttle,
                                          .speed = p->speed,
                                          .goal = goal_at(t, place, p->lambda)};
  }
  return status;
}

/* Solve each spot on the changed twin: where the search starts from, and how far it is off. */
static void warm(lw_rejet_task *t, double *off) {
  lw_state state = {0};
  for (int i = 0; i < t->spot_count; i++) {
    lw_spot *s = &t->spots[i];
    double lambda = 0;
    bool good = mixture(t->changed->twin, s, &state, &lambda);
    off[i] = good ? log(lambda / s->goal) : 1;
    if (good) s->start = state;
  }
}

/* Some of each place, from those the change leans most to those it richens most: where a valve
   opens or main metering begins, few points are off by much. */
static void choose_rough(lw_rejet_task *t, const double *off) {
  t->spots[0].rough = true;
  for (int place = 0; place < LW_PLACES; place++) {
    int of[LW_SPOTS], count = 0;
    for (int i = 1; i < t->spot_count; i++) {
      if (t->spots[i].place != (lw_place)place) continue;
      int at = count++;
      for (; at > 0 && off[of[at - 1]] > off[i]; at--)
        of[at] = of[at - 1];
      of[at] = i;
    }
    int most = count < ROUGH_EACH ? count : ROUGH_EACH;
    for (int i = 0; i < most; i++)
      t->spots[of[most > 1 ? i * (count - 1) / (most - 1) : 0]].rough = true;
  }
}

/* The CO that is set: the original's, brought inside the card's band. */
static double wanted_co(const lw_rejet_task *t, double original) {
  double margin = band_edge * (t->band.hi - t->band.lo);
  if (has_goal(t->ask, LW_PLACE_IDLE)) return LW_NONE;
  if (!lw_known(margin)) margin = 0;
  double co = original;
  if (lw_known(t->band.lo)) co = fmax(co, t->band.lo + margin);
  if (lw_known(t->band.hi)) co = fmin(co, t->band.hi - margin);
  return co;
}

static lw_status conditions(lw_rejet_task *t) {
  const lw_idle_card *said = &t->original->twin->card->idle;
  const lw_engine *engine = t->original->engine;
  bool drive = said->gear == LW_GEAR_DRIVE && engine->converter > 0;
  double speed = lw_range_middle(drive ? said->speed_drive : said->speed);
  t->gear = drive ? LW_LOAD_DRIVE : LW_LOAD_NONE;
  t->idle_speed = lw_known(speed) ? speed : engine->speed_hot;
  t->idle_load = drive ? engine->converter * t->idle_speed * t->idle_speed : 0;
  t->band = said->co;
  if (t->idle_speed > 10) return LW_OK;
  return lw_fail(t->error, LW_BAD_INPUT, "the card gives no idle speed");
}

lw_status lw_spots_list(lw_rejet_task *t, lw_rejet_idle *before) {
  double off[LW_SPOTS];
  lw_state state = {0};
  lw_running run = {0};
  lw_status status = conditions(t);
  if (status != LW_OK) return status;
  hold(t, t->original, &state, before, &run);
  if (!before->solved)
    return lw_fail(t->error, LW_NO_CONVERGENCE,
                   "the car does not idle at its card's speed as it is: %s", before->why);
  t->co_wanted = wanted_co(t, before->co);
  t->spots[0] = (lw_spot){.place = LW_PLACE_IDLE,
                          .throttle = before->throttle,
                          .speed = t->idle_speed,
                          .goal = goal_at(t, LW_PLACE_IDLE, before->lambda)};
  t->spot_count = 1;
  status = grid(t);
  if (status != LW_OK) return status;
  if (t->spot_count < 8)
    return lw_fail(t->error, LW_NO_CONVERGENCE,
                   "too few points of the original's map have a mixture to compare with");
  /* where the speed screw stands after the change, if it idles at all with nothing else done */
  lw_rejet_idle now;
  state.known = false;
  hold(t, t->changed, &state, &now, &run);
  if (now.solved) t->spots[0].throttle = now.throttle;
  warm(t, off);
  choose_rough(t, off);
  return LW_OK;
}

/* ---- the network's idle against its screws ---- */

/* Logarithm of lambda over the goal at idle with this turn; NaN: none. */
static double idle_off(lw_rejet_task *t, lw_choice choice, double turn) {
  lw_candidate candidate;
  double lambda = 0, off = LW_NONE;
  lw_arena *own = lw_arena_new(0);
  choice.turn = turn;
  if (own && lw_candidate_build(own, t->changed->twin, &t->knobs, &choice, &candidate)) {
    lw_state state = t->spots[0].start;
    if (mixture(&candidate.twin, &t->spots[0], &state, &lambda))
      off = log(lambda / t->spots[0].goal);
  }
  lw_arena_free(own);
  return off;
}

/* Between two turns whose values differ in sign. */
static double between(lw_rejet_task *t, const lw_choice *choice, double a, double fa, double b,
                      double fb) {
  double best = fabs(fa) < fabs(fb) ? a : b, least = fmin(fabs(fa), fabs(fb));
  for (int i = 0; i < SCREW_STEPS && least > idle_near; i++) {
    double share = fa / (fa - fb), x = a + (b - a) * fmin(fmax(share, 0.03), 0.97);
    if (i % 4 == 3) x = 0.5 * (a + b);
    double f = idle_off(t, *choice, x);
    if (!lw_known(f)) return best;
    if (fabs(f) < least) {
      least = fabs(f);
      best = x;
    }
    if ((f > 0) == (fa > 0)) {
      a = x;
      fa = f;
    } else {
      b = x;
      fb = f;
    }
  }
  return best;
}

/* The turn that brings idle back, or as near to it as the travel lets. */
static double turn_back(lw_rejet_task *t, const lw_choice *choice) {
  double now = idle_off(t, *choice, 0);
  if (!lw_range_known(t->turns) || !lw_known(now) || fabs(now) < idle_near) return 0;
  double out = idle_off(t, *choice, t->turns.hi), in = idle_off(t, *choice, t->turns.lo);
  if (lw_known(out) && (out > 0) != (now > 0)) return between(t, choice, 0, now, t->turns.hi, out);
  if (lw_known(in) && (in > 0) != (now > 0)) return between(t, choice, 0, now, t->turns.lo, in);
  if (lw_known(out) && fabs(out) < fabs(now) - idle_near && !(fabs(in) < fabs(out)))
    return t->turns.hi;
  return lw_known(in) && fabs(in) < fabs(now) - idle_near ? t->turns.lo : 0;
}

bool lw_spots_run(lw_rejet_task *t, const lw_choice *choice, bool rough, double *errors) {
  lw_candidate candidate;
  size_t n = 0;
  lw_arena *own = lw_arena_new(0);
  bool good = own && lw_candidate_build(own, t->changed->twin, &t->knobs, choice, &candidate);
  t->runs++;
  for (int i = 0; i < t->spot_count && good; i++) {
    const lw_spot *s = &t->spots[i];
    lw_state state = s->start;
    double lambda = 0;
    if (rough && !s->rough) continue;
    errors[n++] = mixture(&candidate.twin, s, &state, &lambda) ? log(lambda / s->goal) : LW_NONE;
  }
  lw_arena_free(own);
  return good;
}

bool lw_spots_try(lw_rejet_task *t, lw_choice *choice, bool rough, double *errors) {
  choice->turn = turn_back(t, choice);
  return lw_spots_run(t, choice, rough, errors);
}

/* ---- errors as places ---- */

static void count(lw_rejet_place *p, const lw_spot *s, double error) {
  if (!lw_known(error)) {
    p->lost++;
    return;
  }
  double change = exp(error) - 1;
  p->points++;
  p->mean += change;
  p->error += change * change;
  if (p->points > 1 && fabs(change) <= fabs(p->worst)) return;
  p->worst = change;
  p->worst_speed = s->speed;
  p->worst_throttle = s->throttle;
}

void lw_spots_fit(const lw_rejet_task *t, const double *errors, bool rough, lw_rejet_fit *fit) {
  size_t n = 0;
  int places = 0;
  double sum = 0;
  *fit = (lw_rejet_fit){.error = 0};
  for (int i = 0; i < t->spot_count; i++) {
    if (rough && !t->spots[i].rough) continue;
    count(&fit->places[t->spots[i].place], &t->spots[i], errors[n++]);
  }
  for (int i = 0; i < LW_PLACES; i++) {
    lw_rejet_place *p = &fit->places[i];
    p->place = (lw_place)i;
    fit->lost += p->lost;
    if (!p->points) continue;
    p->mean /= (double)p->points;
    p->error = sqrt(p->error / (double)p->points);
    fit->furthest = fmax(fit->furthest, p->error);
    sum += p->error * p->error;
    places++;
  }
  fit->error = places ? sqrt(sum / places) : lost_error;
}

double lw_fit_cost(const lw_rejet_fit *fit) {
  return fit->error + lost_error * (double)fit->lost / 8;
}

/* ---- a choice for good ---- */

static bool add_edit(lw_arena *arena, lw_proposal *p, const char *name, lw_dim dim, bool sign,
                     double si) {
  static const struct {
    lw_dim dim;
    const char *unit;
    double scale;
    int decimals;
  } forms[] = {{LW_LENGTH, "in", 1 / 25.4e-3, 5},
               {LW_PRESSURE, "inHg", 1 / 3386.38864, 4},
               {LW_TURNS, "turns", 1, 3}};
  size_t i = 0;
  while (forms[i].dim != dim)
    i++;
  if (p->edit_count == LW_REJET_EDITS_MOST) return false;
  p->edits[p->edit_count] = lw_arena_print(arena, sign ? "%s=%+.*f %s" : "%s=%.*f %s", name,
                                           forms[i].decimals, si * forms[i].scale, forms[i].unit);
  return p->edits[p->edit_count++] != NULL;
}

static bool add_change(lw_arena *arena, lw_proposal *p, const char *name, lw_dim dim, double from,
                       double to, int part) {
  if (p->change_count == LW_REJET_CHANGES_MOST) return false;
  const char *own = lw_arena_print(arena, "%s", name);
  p->changes[p->change_count++] = (lw_rejet_change){own, dim, from, to, part};
  return own != NULL;
}

static bool say_rod(lw_arena *arena, lw_proposal *p, const lw_knob *k, bool power, double from,
                    double to) {
  char name[48];
  snprintf(name, sizeof name, "%srod %s step", k->secondary ? "secondary " : "",
           power ? "power" : "economy");
  return from == to || (add_change(arena, p, name, LW_LENGTH, from, to, k->part) &&
                        add_edit(arena, p, name, LW_LENGTH, false, to));
}

static bool say_knob(lw_arena *arena, const lw_carburetor_card *c, lw_proposal *p, const lw_knob *k,
                     int i) {
  double from = k->size[k->now], to = k->size[i];
  switch (k->kind) {
  case LW_KNOB_ROD:
    return say_rod(arena, p, k, false, from, to) &&
           say_rod(arena, p, k, true, k->second[k->now], k->second[i]);
  case LW_KNOB_VALVE:
    return add_change(arena, p, k->name, LW_PRESSURE, from, to, k->part) &&
           add_edit(arena, p, "power valve opens", LW_PRESSURE, false, to) &&
           add_edit(arena, p, "power valve closed", LW_PRESSURE, false,
                    c->power_closes + to - from);
  case LW_KNOB_FLOAT:
    return add_change(arena, p, k->name, LW_LENGTH, 0, to, k->part) &&
           add_edit(arena, p, "float level", LW_LENGTH, true, to);
  default:
    return add_change(arena, p, k->name, LW_LENGTH, from, to, k->part) &&
           add_edit(arena, p, k->name, LW_LENGTH, false, to);
  }
}

static bool say_screws(lw_arena *arena, const lw_list *list, lw_proposal *p, double turn) {
  const lw_screw_card *s = list->items;
  for (size_t i = 0; i < list->count && turn != 0; i++) {
    char name[96];
    if (s[i].kind == LW_SCREW_FIXED) continue;
    lw_edit_screw_name(name, sizeof name, &s[i]);
    if (!add_edit(arena, p, name, LW_TURNS, false, lw_edit_screw_now(&s[i]) + turn)) return false;
  }
  return true;
}

/* The car with a choice and this turn, through the what-ifs a person would write. */
static lw_status car_of(const lw_rejet_task *t, lw_arena *arena, const lw_choice *choice,
                        double turn, lw_proposal *p, lw_test_car **car) {
  const lw_carburetor_card *unit = &t->changed->twin->card->carburetor;
  p->change_count = p->edit_count = 0;
  bool good = true;
  for (int i = 0; i < t->knobs.count && good; i++) {
    const lw_knob *k = &t->knobs.knob[i];
    if (choice->size[i] != k->now) good = say_knob(arena, unit, p, k, choice->size[i]);
  }
  if (!good || !say_screws(arena, &unit->screws, p, turn)) {
    (void)lw_fail(t->error, LW_NO_MEMORY, "no memory for this proposal");
    return LW_NO_MEMORY;
  }
  return lw_test_car_what_if(arena, t->units, t->changed, p->edits, p->edit_count, car, t->error);
}

/* How rich idle is over what is wanted (logarithm; + rich) with this turn; NaN: it does not idle. */
static double rich_at(lw_rejet_task *t, const lw_choice *choice, double turn, lw_rejet_idle *idle) {
  lw_test_car *car = NULL;
  lw_proposal scratch = {.labor = 0};
  lw_state state = {0};
  lw_running run = {0};
  lw_arena *own = lw_arena_new(0);
  double rich = LW_NONE;
  idle->solved = false;
  if (own && car_of(t, own, choice, turn, &scratch, &car) == LW_OK) {
    hold(t, car, &state, idle, &run);
    idle->turn = turn;
    if (idle->solved)
      rich = lw_known(t->co_wanted) ? log(fmax(idle->co, 1e-5) / t->co_wanted)
                                    : log(t->spots[0].goal / idle->lambda) * co_near / lambda_near;
  }
  lw_arena_free(own);
  return rich;
}

/* Outward is richer on all fuel-side screws, leaner on an air-bleed screw: the sign of a small turn
   tells. Walk from the hint toward what is wanted, then halve. */
static double set_screws(lw_rejet_task *t, const lw_choice *choice, double hint,
                         lw_rejet_idle *idle) {
  double a = hint, fa = rich_at(t, choice, a, idle), best = a;
  if (!lw_known(fa) || !lw_range_known(t->turns)) return a;
  const double probe = a + 0.02 < t->turns.hi ? 0.02 : -0.02;
  double slope = (rich_at(t, choice, a + probe, idle) - fa) / probe, step = 0.1;
  if (!lw_known(slope) || fabs(fa) < co_near || fabs(slope) < 1e-4) return a;
  double way = (fa > 0) == (slope > 0) ? -1 : 1, b = a, fb = fa;
  while ((fb > 0) == (fa > 0)) {
    if ((way > 0 && b >= t->turns.hi) || (way < 0 && b <= t->turns.lo)) return b;
    a = b;
    fa = fb;
    b = fmin(fmax(b + way * step, t->turns.lo), t->turns.hi);
    fb = rich_at(t, choice, b, idle);
    step *= 2;
    if (!lw_known(fb)) return a;
  }
  for (int i = 0; i < SCREW_STEPS; i++) {
    double x = a + (b - a) * fmin(fmax(fa / (fa - fb), 0.05), 0.95), f = 0;
    f = rich_at(t, choice, x, idle);
    best = x;
    if (!lw_known(f) || fabs(f) < co_near) break;
    if ((f > 0) == (fa > 0)) {
      a = x;
      fa = f;
    } else {
      b = x;
      fb = f;
    }
  }
  return best;
}

/* Errors on the finished twin; idle's is that of the engine held. */
static void judge(const lw_rejet_task *t, lw_proposal *p) {
  double errors[LW_SPOTS];
  for (int i = 0; i < t->spot_count; i++) {
    lw_spot s = t->spots[i];
    lw_state state = s.start;
    double lambda = 0;
    if (i == 0 && p->idle.solved) s.throttle = p->idle.throttle;
    errors[i] = mixture(p->twin, &s, &state, &lambda) ? log(lambda / s.goal) : LW_NONE;
  }
  lw_spots_fit(t, errors, false, &p->fit);
  p->within = p->fit.furthest <= LW_REJET_WITHIN && !p->fit.lost;
}

/* True where a stop holds the screws and idle is not what is wanted, or not even in the band. */
static bool at_stop(const lw_rejet_task *t, const lw_rejet_idle *idle, double rich, double turn) {
  if (!lw_range_known(t->turns) || !lw_known(rich) || fabs(rich) < 3 * co_near) return false;
  if (lw_known(t->co_wanted) && lw_range_known(t->band) && !idle->side) return false;
  return turn > t->turns.hi - 2e-3 || turn < t->turns.lo + 2e-3;
}

lw_status lw_proposal_settle(lw_rejet_task *t, const lw_choice *choice, bool turn,
                             lw_proposal *out) {
  lw_proposal p = {.labor = 0};
  lw_test_car *car = NULL;
  lw_rejet_idle idle = {.solved = false};
  double at = choice->turn;
  p.part_count = (size_t)lw_choice_parts(&t->knobs, choice, &p.labor);
  if (turn) at = set_screws(t, choice, at, &idle);
  at = trunc(at * 1000) / 1000; /* toward where it stands: never over a stop by rounding */
  double rich = rich_at(t, choice, at, &p.idle);
  p.idle.short_of_travel = turn && at_stop(t, &p.idle, rich, at);
  p.idle.turn = at;
  lw_status status = car_of(t, t->arena, choice, at, &p, &car);
  if (status != LW_OK) return status;
  p.twin = car->twin;
  judge(t, &p);
  p.score = lw_fit_cost(&p.fit) + lw_labor_worth * p.labor;
  *out = p;
  return LW_OK;
}
