/* guide.c - the next move at the idle screws.
**
** Fit the car to what it has shown, ask where the screws must stand for the goal, go there. What
** the fit does not know yet it learns from the next reading; nothing else is remembered.
*/
#include "leanward/guide.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double rpm = 0.10471975511965977;
static const double finest = 1.0 / 16; /* of a turn: no hand does better */
static const double touch = 1.0 / 8;   /* beyond and back, to finish lean */

/* ---- the goal ---- */

/* What a card wants is aimed at in its middle; a limit is kept well under, for the analyzer's own
   error and the next cold morning. Without either: 1 to 2 % suited engines of the time (common
   practice, no source). */
lw_goal lw_goal_from(const lw_card *card) {
  const lw_idle_card *idle = &card->idle;
  const lw_limit_said *l = card->limits.items;
  lw_goal g = {.co_lo = 0.005, .co_hi = 0.025, .co_most = LW_NONE, .hc_most = LW_NONE};
  g.gear = idle->gear == LW_GEAR_DRIVE ? LW_LOAD_DRIVE : LW_LOAD_NONE;
  lw_range speed = g.gear == LW_LOAD_DRIVE ? idle->speed_drive : idle->speed;
  g.speed = lw_range_known(speed) ? lw_range_middle(speed) : 650 * rpm;
  bool spanned = lw_known(speed.lo) && lw_known(speed.hi);
  g.speed_within = fmax(spanned ? 0.5 * (speed.hi - speed.lo) : 0, 15 * rpm);
  for (size_t i = 0; i < card->limits.count; i++) {
    bool here = l[i].at == LW_AT_IDLE || l[i].at == LW_AT_UNSAID;
    if (!here || !lw_known(l[i].value.hi)) continue;
    if (l[i].gas == LW_GAS_CO) {
      g.co_hi = fmin(g.co_hi, 0.9 * l[i].value.hi);
      if (!(g.co_most <= l[i].value.hi)) g.co_most = l[i].value.hi;
    }
    if (l[i].gas == LW_GAS_HC && !(g.hc_most <= l[i].value.hi)) g.hc_most = l[i].value.hi;
  }
  if (lw_known(idle->co.lo)) g.co_lo = idle->co.lo;
  if (lw_known(idle->co.hi))
    g.co_hi = lw_known(idle->co.lo) ? idle->co.hi : fmin(g.co_hi, idle->co.hi);
  if (g.co_lo > g.co_hi) g.co_lo = 0.3 * g.co_hi;
  g.co = 0.5 * (g.co_lo + g.co_hi);
  return g;
}

/* ---- the desk ---- */

/* Where the next place is sought from: near the one before. */
typedef struct hint {
  lw_state flows;
  double throttle;
} hint;

typedef struct plan {
  lw_arena *arena;
  lw_units *units;
  const lw_test_car *car;
  const lw_goal *goal;
  const lw_sight *sights;
  size_t count;
  const lw_sight *newest;
  const lw_screw_card *screws[LW_SIGHT_SCREWS];
  double now[LW_SIGHT_SCREWS]; /* where they stand */
  lw_shown here;               /* the fitted twin with the screws so, at the speed that was read */
  size_t screw_count;
  lw_range travel; /* all of them have */
  bool known;      /* positions were counted */
  hint *hint;
  lw_guidance *out;
} plan;

static lw_range travel_of(const lw_screw_card *s) {
  lw_range t = s->travel;
  double preset = lw_range_known(s->preset) ? lw_range_middle(s->preset) : 2;
  if (!lw_known(t.lo)) t.lo = 0;
  if (!lw_known(t.hi)) t.hi = fmax(2 * preset, preset + 2);
  return t;
}

static double stands(const plan *p, const lw_screw_card *s) {
  for (size_t k = 0; k < p->newest->screw_count; k++) {
    if (lw_text_same(p->newest->screws[k].name, s->name)) return p->newest->screws[k].turns;
  }
  return lw_range_known(s->preset) ? lw_range_middle(s->preset) : 2;
}

static void look_at_screws(plan *p) {
  const lw_list *list = &p->car->twin->card->carburetor.screws;
  const lw_screw_card *s = list->items;
  p->travel = (lw_range){0, LW_NONE, INFINITY};
  for (size_t i = 0; i < list->count && p->screw_count < LW_SIGHT_SCREWS; i++) {
    if (s[i].kind == LW_SCREW_FIXED || s[i].kind == LW_SCREW_UNSAID) continue;
    lw_range t = travel_of(&s[i]);
    p->travel.lo = fmax(p->travel.lo, t.lo);
    p->travel.hi = fmin(p->travel.hi, t.hi);
    p->now[p->screw_count] = stands(p, &s[i]);
    p->screws[p->screw_count++] = &s[i];
  }
  p->known = p->newest->screws_known;
}

static bool richer_out(const plan *p) {
  return p->screws[0]->kind != LW_SCREW_AIR_BLEED;
}

/* ---- what the car would show ---- */

static lw_sight sight_at(const plan *p, double speed, const double *turns) {
  lw_sight s = {.label = "next", .at = LW_AT_IDLE, .gear = p->goal->gear, .speed = speed};
  s.screws_known = p->known;
  s.flows = &p->hint->flows;
  s.near = p->hint->throttle;
  for (int k = 0; k < LW_CHANNELS; k++)
    s.x[k] = LW_NONE;
  for (size_t k = 0; k < p->screw_count; k++) {
    s.screws[k].name = p->screws[k]->name;
    s.screws[k].turns = turns[k];
  }
  s.screw_count = p->screw_count;
  return s;
}

static bool shown_at(const plan *p, double speed, const double *turns, const double *z,
                     lw_shown *shown) {
  lw_sight s = sight_at(p, speed, turns);
  if (lw_match_show(p->units, p->car, NULL, 0, &s, z, shown, NULL) != LW_OK || !shown->possible)
    return false;
  if (shown->throttle > 0 && shown->throttle < 0.5) p->hint->throttle = shown->throttle;
  return true;
}

/* What the twin leaves of the newest reading goes with the car to the next place, as a factor over a
   floor (on which errors are even: fit.c). It is taken where the screws are said to stand: what that
   was misread by stays with them as they are turned on. */
static double carried(const plan *p, lw_channel k, double x) {
  const double floor = k == LW_SEE_HC ? 40e-6 : 0.003;
  double here = p->here.possible ? p->here.x[k] : p->out->match.fitted[p->count - 1][k];
  double read = p->newest->x[k];
  if (!lw_known(read)) return x;
  return fmax((x + floor) * (read + floor) / (here + floor) - floor, 0);
}

/* Mixture screws all alike, at the goal's speed. */
typedef struct place {
  double rich; /* where: turns toward richer */
  double co, hc;
  double even; /* CO on the scale on which the screws move it evenly; a place where the engine does
                  not run counts as leaner than any */
} place;

static double even(double co) {
  return asinh(co / 0.006);
}

static place place_at(const plan *p, double rich) {
  double each[LW_SIGHT_SCREWS];
  lw_shown shown;
  place at = {.rich = rich, .co = LW_NONE, .hc = LW_NONE, .even = -1};
  for (size_t k = 0; k < p->screw_count; k++)
    each[k] = richer_out(p) ? rich : -rich;
  if (!shown_at(p, p->goal->speed, each, p->out->match.z, &shown)) return at;
  at.co = carried(p, LW_SEE_CO, shown.x[LW_SEE_CO]);
  at.hc = carried(p, LW_SEE_HC, shown.x[LW_SEE_HC]);
  at.even = even(at.co);
  return at;
}

/* Where all screws must stand for a CO, and what a turn does there. */
typedef struct sought {
  int short_of; /* -1 or 1: even the lean or rich end falls short, and at is that end */
  place at;
  double co_by, hc_by; /* a turn richer */
} sought;

static double mean_rich(const plan *p) {
  double sum = 0;
  for (size_t k = 0; k < p->screw_count; k++)
    sum += richer_out(p) ? p->now[k] : -p->now[k];
  return sum / (double)p->screw_count;
}

/* From where they stand toward it in steps that grow, until it lies between two places. -1 or 1:
   even the lean or rich end falls short, and is then the place on that side. */
static int surround(const plan *p, double want, place *lean, place *rich) {
  const double usual = 5, grow = 2.2; /* of the even scale in a turn: ours */
  double lo = richer_out(p) ? p->travel.lo : -p->travel.hi;
  double hi = richer_out(p) ? p->travel.hi : -p->travel.lo;
  place at = place_at(p, fmin(fmax(mean_rich(p), lo), hi));
  bool up = at.even < want;
  double by = fmin(fmax(1.2 * fabs(want - at.even) / usual, 0.5 * finest), 0.5);
  for (;;) {
    *(up ? lean : rich) = at;
    if (up ? at.rich >= hi : at.rich <= lo) return up ? 1 : -1;
    at = place_at(p, up ? fmin(at.rich + by, hi) : fmax(at.rich - by, lo));
    if ((at.even < want) != up) break;
    by *= grow;
  }
  *(up ? rich : lean) = at;
  return 0;
}

static void learn_slope(sought *s, const place *lean, const place *rich) {
  double by = rich->rich - lean->rich;
  if (!lw_known(lean->co) || !lw_known(rich->co) || !(by > 0)) return;
  s->co_by = (rich->co - lean->co) / by;
  s->hc_by = (rich->hc - lean->hc) / by;
}

/* CO rises one way only: false position between the two, its stiff end eased (Illinois). */
static sought seek(const plan *p, double co) {
  enum { ROUNDS = 8 };
  const double near = 0.03; /* of the even scale: some 4 % of CO, less than a sixteenth moves it */
  double want = even(co), ease_lean = 1, ease_rich = 1;
  place lean, rich;
  sought s = {.short_of = surround(p, want, &lean, &rich)};
  if (s.short_of != 0) {
    s.at = s.short_of > 0 ? lean : rich;
    return s;
  }
  int last = 0;
  for (int i = 0; i < ROUNDS; i++) {
    double a = ease_lean * (want - lean.even), b = ease_rich * (rich.even - want);
    double share = lean.even < 0 ? 0.5 : a / (a + b);
    learn_slope(&s, &lean, &rich);
    s.at = place_at(p, lean.rich + share * (rich.rich - lean.rich));
    if (fabs(s.at.even - want) < near || rich.rich - lean.rich < 0.5 * finest) break;
    int side = s.at.even > want ? 1 : -1;
    *(side > 0 ? &rich : &lean) = s.at;
    ease_lean = side < 0 ? 1 : last > 0 ? 0.5 * ease_lean : ease_lean;
    ease_rich = side > 0 ? 1 : last < 0 ? 0.5 * ease_rich : ease_rich;
    last = side;
  }
  return s;
}

/* Where HC would come near its limit in the middle of the span, the side where it is lower. */
static void mind_hc(const plan *p, sought *s) {
  const lw_goal *g = p->goal;
  const double share = 0.3, margin = 40e-6; /* of the span; hexane: ours */
  if (!lw_known(g->hc_most) || s->short_of != 0 || !(s->co_by > 0)) return;
  if (s->at.hc < g->hc_most - margin) return;
  double co = share * (g->co_hi - g->co_lo) * (s->hc_by > 0 ? -1 : 1), by = co / s->co_by;
  s->at.rich += by;
  s->at.co += co;
  s->at.hc += by * s->hc_by;
}

/* ---- how sure ---- */

/* Standard deviation of the prediction: part of the CO there, a quarter of the change that is asked
   for (a long way is not known worse than a middling one), the hand and the speed by what a turn
   does there, and the analyzer (ours, from virtual cars; benchmarks/bench_guide.c counts how often
   readings fall inside twice of it). */
static void how_sure(const plan *p, const sought *s) {
  const double part = 0.22, change = 0.25, most = 0.3, hand = 0.028; /* turns */
  lw_guidance *g = p->out;
  double co = fabs(g->co - p->newest->x[LW_SEE_CO]), n = fmax((double)p->screw_count, 1);
  double hc = lw_known(p->newest->x[LW_SEE_HC]) ? g->hc - p->newest->x[LW_SEE_HC] : g->hc;
  double far = fmin(change * co, most * g->co), by_hand = hand * s->co_by / sqrt(n);
  g->co_u = sqrt(pow(part * g->co, 2) + pow(far, 2) + pow(by_hand, 2) + pow(0.0012, 2));
  g->hc_u = sqrt(pow(change * hc, 2) + pow(0.10 * g->hc, 2) + pow(12e-6, 2));
  g->speed_u = 9 * rpm;
}

/* ---- words ---- */

static const char *way(double counter_clockwise) {
  return counter_clockwise > 0 ? "counter-clockwise" : "clockwise";
}

/* Room beyond a place on the rich side, up to a touch. */
static double room_beyond(const plan *p, double to) {
  double room = richer_out(p) ? p->travel.hi - to : to - p->travel.lo;
  return fmin(fmax(room, 0), touch);
}

static void add_mixture(plan *p, size_t k, double to) {
  const lw_screw_card *s = p->screws[k];
  double out = to - p->now[k], sign = lw_screw_thread(s) == LW_THREAD_LEFT ? -1 : 1;
  bool richer = (out > 0) == richer_out(p);
  char by[48], back[48], name[96];
  if (fabs(out) < 0.5 * finest || p->out->move_count >= LW_MOVES_MOST) return;
  lw_screw_move *m = &p->out->moves[p->out->move_count++];
  double beyond = richer ? room_beyond(p, to) : 0;
  bool room = beyond > 0.5 * finest;
  *m = (lw_screw_move){.screw = s->name,
                       .turns = sign * out,
                       .from = p->known ? p->now[k] : LW_NONE,
                       .to = p->known ? to : LW_NONE,
                       .back = room,
                       .beyond = room ? beyond : 0};
  lw_turns_text(by, sizeof by, fabs(out) + m->beyond);
  lw_turns_text(back, sizeof back, beyond);
  snprintf(name, sizeof name, "%s%s", s->name, strstr(s->name, "screw") ? "" : " screw");
  m->words = room ? lw_arena_print(p->arena,
                                   "%s: %s %s (richer), then %s back clockwise, to finish "
                                   "lean",
                                   name, by, way(m->turns), back)
                  : lw_arena_print(p->arena, "%s: %s %s (%s)", name, by, way(m->turns),
                                   richer ? "richer" : "leaner");
}

/* The plate's way from where it is to where the goal wants it, as turns of the speed screw. */
static void add_speed(plan *p, double from, double to) {
  const lw_barrel *b = &p->car->twin->net->barrels[0];
  double turns = (to - from) * (b->wide - b->closed - b->stop) / lw_speed_screw_turn();
  bool left = p->car->twin->card->carburetor.speed_thread == LW_THREAD_LEFT;
  char by[48];
  double shown = lw_dim_shown(LW_SPIN, LW_SHOP, p->goal->speed);
  turns = finest * floor(turns / finest + 0.5);
  if (p->out->move_count >= LW_MOVES_MOST) return;
  lw_screw_move *m = &p->out->moves[p->out->move_count++];
  *m = (lw_screw_move){.screw = "speed screw", .from = LW_NONE, .to = LW_NONE};
  m->turns = (turns > 0) == left ? fabs(turns) : -fabs(turns);
  lw_turns_text(by, sizeof by, fabs(turns));
  m->words = fabs(turns) < finest
                 ? lw_arena_print(p->arena, "speed screw: as needed for %.0f rpm", shown)
                 : lw_arena_print(p->arena, "speed screw: about %s %s, to %.0f rpm", by,
                                  way(m->turns), shown);
}

static lw_status sum_up(plan *p, lw_error *error) {
  lw_guidance *g = p->out;
  char all[1600] = "";
  for (size_t i = 0; i < g->move_count; i++) {
    if (!g->moves[i].words) return lw_fail(error, LW_NO_MEMORY, "no memory for this advice");
    lw_text_append(all, sizeof all, "%s%s", i ? "; " : "", g->moves[i].words);
  }
  g->words = lw_arena_print(
      p->arena,
      "%s. Wait until the readings settle; expect CO %.1f to %.1f %%, HC %.0f to %.0f ppm", all,
      100 * fmax(g->co - 2 * g->co_u, 0), 100 * (g->co + 2 * g->co_u),
      1e6 * fmax(g->hc - 2 * g->hc_u, 0), 1e6 * (g->hc + 2 * g->hc_u));
  return g->words ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no memory for this advice");
}

/* ---- set, or cannot be ---- */

static bool speed_right(const plan *p) {
  return fabs(p->newest->speed - p->goal->speed) <= p->goal->speed_within;
}

static bool co_within(const plan *p, double slack) {
  double co = p->newest->x[LW_SEE_CO];
  if (lw_known(p->goal->co_most) && co > p->goal->co_most) return false;
  return co >= p->goal->co_lo - slack && co <= p->goal->co_hi + slack;
}

/* Inside what is wanted as far as the analyzer can tell; never over the limit. */
static bool co_near(const plan *p) {
  double u = p->newest->u[LW_SEE_CO];
  return co_within(p, fmax(0.0015, lw_known(u) ? 2 * u : 0));
}

/* The first moves go for the span itself. */
static bool co_right(const plan *p) {
  enum { PATIENCE = 3 };
  return p->count <= PATIENCE ? co_within(p, 0) : co_near(p);
}

static bool hc_right(const plan *p) {
  double hc = p->newest->x[LW_SEE_HC];
  return !lw_known(p->goal->hc_most) || !lw_known(hc) || hc <= p->goal->hc_most;
}

static lw_status say_set(plan *p, lw_error *error) {
  p->out->state = LW_GUIDE_SET;
  p->out->words = lw_arena_print(p->arena, "set: %.0f rpm, CO %.2f %%; leave the screws alone",
                                 lw_dim_shown(LW_SPIN, LW_SHOP, p->newest->speed),
                                 100 * p->newest->x[LW_SEE_CO]);
  return p->out->words ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no memory for this advice");
}

/* The screws cannot do it. What prevents it is for lw_causes_find, which takes longer. */
static lw_status say_cannot(plan *p, const char *what, lw_error *error) {
  lw_guidance *g = p->out;
  g->state = LW_GUIDE_CANNOT;
  g->move_count = 0;
  g->why = what;
  g->words = lw_arena_print(p->arena, "the idle cannot be set: %s", what);
  return g->words ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no memory for this advice");
}

/* The screws were turned half a turn or more and CO hardly moved where the twin would have moved it
   far: no authority. A lean engine has no CO to move; there the oxygen tells. */
static bool no_authority(const plan *p) {
  if (p->count < 2 || p->screw_count == 0) return false;
  const lw_sight *a = &p->sights[p->count - 2], *b = p->newest;
  double turned = 0;
  for (size_t k = 0; k < b->screw_count && k < a->screw_count; k++)
    turned = fmax(turned, fabs(b->screws[k].turns - a->screws[k].turns));
  if (turned < 0.5 || !lw_known(a->x[LW_SEE_CO]) || !lw_known(b->x[LW_SEE_CO])) return false;
  if (fabs(b->x[LW_SEE_O2] - a->x[LW_SEE_O2]) > 0.01) return false;
  double want = fabs(p->out->match.seen[p->count - 1][LW_SEE_CO] -
                     p->out->match.seen[p->count - 2][LW_SEE_CO]);
  double got = fabs(b->x[LW_SEE_CO] - a->x[LW_SEE_CO]);
  return want > 0.01 && got < 0.15 * want && got < 0.003;
}

/* ---- the next move ---- */

static bool at_end(const plan *p, int short_of) {
  const double near = 1.25 * finest; /* the rich end is left by a sixteenth, to finish lean */
  bool out = richer_out(p) == (short_of > 0);
  for (size_t k = 0; k < p->screw_count; k++) {
    if (out ? p->now[k] < p->travel.hi - near : p->now[k] > p->travel.lo + near) return false;
  }
  return true;
}

/* A place that can be come to leaning: off the rich stop by what a hand can come back. */
static double reachable(const plan *p, size_t k, double to) {
  double rich = richer_out(p) ? p->travel.hi - finest : p->travel.lo + finest;
  bool richer = (to > p->now[k]) == richer_out(p);
  to = fmin(fmax(to, p->travel.lo), p->travel.hi);
  if (!richer || (richer_out(p) ? to <= rich : to >= rich)) return to;
  return (richer_out(p) ? p->now[k] < rich : p->now[k] > rich) ? rich : p->now[k];
}

/* Each screw to this place by sixteenths of a turn; what rounding leaves of one is made up by the
   next. false: none needs to be turned. */
static bool aim(const plan *p, double turns, double *to) {
  double most = p->count < 2 ? 1.0 : 1.5; /* turns: before the car has answered, not too far */
  double left = 0, mean = richer_out(p) ? mean_rich(p) : -mean_rich(p);
  bool any = false;
  turns = fmin(fmax(turns, mean - most), mean + most);
  for (size_t k = 0; k < p->screw_count; k++) {
    double by = turns - p->now[k] + left;
    double whole = finest * floor(by / finest + 0.5);
    to[k] = reachable(p, k, p->now[k] + whole);
    left = fabs(by - whole) < finest ? by - whole : 0;
    any = any || fabs(to[k] - p->now[k]) > 0.5 * finest;
  }
  return any;
}

/* The least a hand can do toward the goal, where less was found to be right and was not: the screw
   that is furthest the other way. false: it is at its stop. */
static bool least_turn(const plan *p, double *to) {
  bool richer = p->newest->x[LW_SEE_CO] < p->goal->co, out = richer == richer_out(p);
  size_t k = 0;
  for (size_t i = 1; i < p->screw_count; i++) {
    if (out ? p->now[i] < p->now[k] : p->now[i] > p->now[k]) k = i;
  }
  to[k] = reachable(p, k, p->now[k] + (out ? finest : -finest));
  return fabs(to[k] - p->now[k]) > 0.5 * finest;
}

static lw_status move_on(plan *p, const double *to, const sought *s, lw_error *error) {
  lw_guidance *g = p->out;
  lw_shown there, here;
  double most = 0;
  g->state = LW_GUIDE_MOVE;
  for (size_t k = 0; k < p->screw_count; k++) {
    most = fmax(most, fabs(to[k] - p->now[k]));
    add_mixture(p, k, to[k]);
  }
  if (!shown_at(p, p->goal->speed, to, g->match.z, &there)) {
    return lw_fail(error, LW_NO_CONVERGENCE,
                   "the twin of this car does not run where the screws should go");
  }
  double from = there.throttle;
  bool touched = most <= touch && speed_right(p); /* the plate hardly moves: not worth a run */
  if (!touched && shown_at(p, p->newest->speed, p->now, g->match.z, &here)) from = here.throttle;
  add_speed(p, from, there.throttle);
  g->speed = p->goal->speed;
  g->co = carried(p, LW_SEE_CO, there.x[LW_SEE_CO]);
  g->co2 = there.x[LW_SEE_CO2];
  g->o2 = there.x[LW_SEE_O2];
  g->hc = there.x[LW_SEE_HC];
  g->vacuum = there.x[LW_SEE_VACUUM];
  how_sure(p, s);
  return sum_up(p, error);
}

static double far_apart(const plan *p) {
  double lo = INFINITY, hi = -INFINITY;
  for (size_t k = 0; k < p->screw_count; k++) {
    lo = fmin(lo, p->now[k]);
    hi = fmax(hi, p->now[k]);
  }
  return p->screw_count ? hi - lo : 0;
}

/* With CO left over there is no oxygen left over for long: CO and CO2 together then make up some
   14 %. Less is outside air in the sample, or a cylinder that does not burn (docs/physics.md). */
static bool diluted(const plan *p) {
  double co = p->newest->x[LW_SEE_CO], co2 = p->newest->x[LW_SEE_CO2];
  if (!(lw_known(co2) && co > 0.003 && co + co2 < 0.12)) return false;
  if (!p->known) return true;
  /* screws far apart leave one side too lean to burn: together first; and the twin with its screws
     so may show the same */
  const double *seen = p->out->match.seen[p->count - 1];
  return far_apart(p) < 0.5 && seen[LW_SEE_CO] + seen[LW_SEE_CO2] > 0.13;
}

static lw_status say_diluted(plan *p, lw_error *error) {
  double sum = p->newest->x[LW_SEE_CO] + p->newest->x[LW_SEE_CO2];
  p->out->state = LW_GUIDE_WAIT;
  p->out->words = lw_arena_print(
      p->arena,
      "CO and CO2 make only %.1f %%: outside air in the sample, or a cylinder that does not burn; "
      "put "
      "the probe deeper, mend the exhaust, short the plugs in turn, then read again before turning "
      "a screw",
      100 * sum);
  return p->out->words ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no memory for this advice");
}

/* HC is over its limit with CO right: whether no place in the span is better, for all one knows. */
static bool hc_prevents(const plan *p, const sought *s, bool there) {
  enum { TRIES = 4 };
  double u = p->newest->u[LW_SEE_HC];
  bool better = s->at.hc <= p->goal->hc_most + (lw_known(u) ? u : 0);
  return !hc_right(p) && (there || !better || p->count > TRIES);
}

static const char over_hc[] = "HC stays over its limit with CO where it should be";
static const char at_rich[] = "the screw is at its rich stop and it is still too lean";
static const char at_lean[] = "the screw is at its lean stop and it is still too rich";

/* Only the speed screw can be turned. */
static lw_status without_screws(plan *p, lw_error *error) {
  if (!co_near(p)) return say_cannot(p, "this unit has no mixture screw to turn", error);
  if (!speed_right(p)) return move_on(p, p->now, &(sought){0}, error);
  return hc_right(p) ? say_set(p, error) : say_cannot(p, over_hc, error);
}

/* CO is not right and no screw can be turned further toward it. */
static lw_status stuck(plan *p, lw_error *error) {
  if (co_near(p) && hc_right(p))
    return speed_right(p) ? say_set(p, error) : move_on(p, p->now, &(sought){0}, error);
  return say_cannot(p, p->newest->x[LW_SEE_CO] < p->goal->co ? at_rich : at_lean, error);
}

static lw_status decide(plan *p, lw_error *error) {
  enum { LONG_ENOUGH = 8 };
  if (!lw_known(p->newest->x[LW_SEE_CO])) {
    return lw_fail(error, LW_BAD_INPUT, "the newest idle reading has no CO; read it first");
  }
  if (diluted(p)) return say_diluted(p, error);
  if (speed_right(p) && co_right(p) && hc_right(p)) return say_set(p, error);
  if (p->screw_count == 0) return without_screws(p, error);
  if (no_authority(p)) return say_cannot(p, "the screw does not change the mixture", error);
  sought s = seek(p, p->goal->co);
  mind_hc(p, &s);
  double to[LW_SIGHT_SCREWS];
  bool any = aim(p, richer_out(p) ? s.at.rich : -s.at.rich, to);
  if (co_near(p) && speed_right(p) && hc_prevents(p, &s, !any))
    return say_cannot(p, over_hc, error);
  if (p->count >= LONG_ENOUGH)
    return say_cannot(p, "the readings do not follow the screws as they should", error);
  if (s.short_of != 0 && at_end(p, s.short_of))
    return say_cannot(p, s.short_of > 0 ? at_rich : at_lean, error);
  if (!any && !co_right(p) && !least_turn(p, to)) return stuck(p, error);
  bool leave = co_right(p) && hc_right(p); /* only the speed is off */
  return move_on(p, leave ? p->now : to, &s, error);
}

static void how_surprising(plan *p) {
  const lw_match *m = &p->out->match;
  double sum = 0, n = 0;
  for (int k = 0; k < LW_CHANNELS; k++) {
    double x = p->newest->x[k];
    if (!lw_known(x) || !(m->band[p->count - 1][k] > 0)) continue;
    sum += pow((x - m->seen[p->count - 1][k]) / m->band[p->count - 1][k], 2);
    n++;
  }
  p->out->surprise = n > 0 ? sqrt(sum / n) : 0;
}

lw_status lw_guide_next(lw_arena *arena, lw_units *units, const lw_test_car *car,
                        const lw_goal *goal, const lw_sight *sights, size_t count, lw_guidance *out,
                        lw_error *error) {
  *out = (lw_guidance){0};
  if (count == 0) return lw_fail(error, LW_BAD_INPUT, "no idle reading to go by");
  size_t skip = count > LW_SIGHTS_MOST ? count - LW_SIGHTS_MOST : 0;
  hint from = {.throttle = 0};
  plan p = {.arena = arena, .units = units, .car = car, .goal = goal, .hint = &from, .out = out};
  p.sights = sights + skip;
  p.count = count - skip;
  p.newest = &sights[count - 1];
  look_at_screws(&p);
  lw_status status =
      lw_match_run(units, car, NULL, 0, p.sights, p.count, false, &out->match, error);
  if (status != LW_OK) return status;
  if (!out->match.possible) {
    return lw_fail(error, LW_NO_CONVERGENCE, "the twin of this car does not run at %.0f rpm",
                   p.newest->speed / rpm);
  }
  how_surprising(&p);
  if (!shown_at(&p, p.newest->speed, p.now, out->match.z, &p.here)) p.here.possible = false;
  return decide(&p, error);
}
