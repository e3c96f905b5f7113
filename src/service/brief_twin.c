/* brief_twin.c - what the brief asks of the twin: reach of the screws, each difference alone, the
** mixture over the range, the closing throttle, and the wrong unit on an engine.
**
** A unit on another engine keeps its own idle stop, slots and screw presets, as it comes out of its
** box; the engine keeps the trim its own unit gave it. One difference alone is done to the first
** card's car with stop and trim left: what a person would see who changed that and set nothing.
*/
#include "brief_internal.h"

#include "leanward/maneuver.h"

#include <math.h>
#include <string.h>

#define RPM (3.14159265358979323846 / 30)

enum {
  SWEEP_POINTS = 41, /* of each screw's travel */
  ROAD_SPEEDS = 24,
  GRID = 31, /* throttles and speeds */
  FINE = 16  /* steps between two points of a sweep when a window is sought */
};

/* ---- cars ---- */

static const char *error_text(desk *d, const lw_error *error) {
  return say(d, "%s%s%s", error->field, error->field[0] ? ": " : "", error->text);
}

lw_test_car *brief_car(desk *d, const lw_card *card, const char **why) {
  lw_error error = {0};
  lw_test_car *car = NULL;
  lw_status status = lw_test_car_new(d->arena, card, &car, &error);
  if (status == LW_OK) return car;
  if (status == LW_NO_MEMORY) d->no_memory = true;
  *why = error_text(d, &error);
  return NULL;
}

/* The engine of card with net on it, trimmed as like is. */
static lw_status engine_like(lw_arena *arena, const lw_card *card, const lw_net *net,
                             const lw_engine *like, lw_engine **out, lw_error *error) {
  lw_engine *e = NULL;
  lw_status status = lw_engine_new(arena, card, net, &e, NULL, error);
  if (status != LW_OK) return status;
  e->overlap = like->overlap;
  e->friction = like->friction;
  e->converter = like->converter;
  e->speed_hot = like->speed_hot;
  e->vacuum_hot = like->vacuum_hot;
  *out = e;
  return LW_OK;
}

/* from with its card changed to card (kept by the caller), stop and slots as in stops. */
static lw_status car_like(lw_arena *arena, const lw_card *card, const lw_net *stops,
                          const lw_test_car *from, lw_test_car **out, lw_error *error) {
  lw_test_car *car = lw_arena_alloc(arena, sizeof *car);
  lw_twin *twin = lw_arena_alloc(arena, sizeof *twin);
  if (!car || !twin) return lw_fail(error, LW_NO_MEMORY, "no memory for this car");
  *car = *from;
  *twin = *from->twin;
  twin->card = card;
  car->twin = twin;
  lw_status status = lw_net_build_like(arena, card, stops, &twin->net, error);
  if (status == LW_OK)
    status = engine_like(arena, card, twin->net, from->engine, &car->engine, error);
  if (status == LW_OK) *out = car;
  return status;
}

/* ---- what the screws reach ---- */

static double co_of(const lw_idle_point *p) {
  return p->run.burned.sampled.dry.co;
}

static double hexane_of(const lw_idle_point *p) {
  return p->run.burned.sampled.dry.hc / 6;
}

/* All mixture screws alike, or the only one; NULL: there is none. */
static const lw_idle_curve *all_screws(const lw_idle_table *t) {
  size_t count = t->curve_count - (t->hold == LW_HOLD_STOP ? 1 : 0);
  return count ? &t->curves[count - 1] : NULL;
}

typedef struct wanted {
  lw_range co, hc; /* HC as hexane; an unknown bound never refuses */
} wanted;

static bool inside(const wanted *w, double co, double hc) {
  return lw_range_side(w->co, co) == 0 && lw_range_side(w->hc, hc) == 0;
}

/* The longest run of turns that is inside, straight lines between the points of the curve. */
static lw_brief_window window(const lw_idle_curve *c, const wanted *w) {
  lw_brief_window best = {LW_NONE, LW_NONE}, run = best;
  for (size_t i = 0; i + 1 < c->count; i++) {
    const lw_idle_point *a = &c->points[i], *b = &c->points[i + 1];
    for (int k = 0; k <= FINE; k++) {
      double s = (double)k / FINE, turns = a->turns + s * (b->turns - a->turns);
      bool in = a->solved && b->solved &&
                inside(w, co_of(a) + s * (co_of(b) - co_of(a)),
                       hexane_of(a) + s * (hexane_of(b) - hexane_of(a)));
      if (!in) {
        run.lo = LW_NONE;
        continue;
      }
      if (!lw_known(run.lo)) run.lo = turns;
      run.hi = turns;
      if (!lw_known(best.lo) || run.hi - run.lo > best.hi - best.lo) best = run;
    }
  }
  return best;
}

static wanted target_of(const lw_card *card) {
  return (wanted){card->idle.co, lw_range_none};
}

/* The tightest bounds of a card on a gas at idle. */
static lw_range bound(const lw_card *card, lw_gas_name gas) {
  const lw_limit_said *l = card->limits.items;
  lw_range r = lw_range_none;
  for (size_t i = 0; i < card->limits.count; i++) {
    if (l[i].gas != gas || (l[i].at != LW_AT_IDLE && l[i].at != LW_AT_UNSAID)) continue;
    if (lw_known(l[i].value.lo)) r.lo = fmax(l[i].value.lo, lw_known(r.lo) ? r.lo : 0);
    if (lw_known(l[i].value.hi)) r.hi = fmin(l[i].value.hi, lw_known(r.hi) ? r.hi : 1);
  }
  return r;
}

static wanted limits_of(const lw_card *card) {
  return (wanted){bound(card, LW_GAS_CO), bound(card, LW_GAS_HC)};
}

static double slope_at(const lw_idle_curve *c, double turns) {
  for (size_t i = 0; i + 1 < c->count; i++) {
    const lw_idle_point *a = &c->points[i], *b = &c->points[i + 1];
    bool here = turns >= a->turns - 1e-9 && turns <= b->turns + 1e-9;
    if (here && a->solved && b->solved) return (co_of(b) - co_of(a)) / (b->turns - a->turns);
  }
  return LW_NONE;
}

static void widen(double *lo, double *hi, double x) {
  if (!(*lo <= x)) *lo = x;
  if (!(*hi >= x)) *hi = x;
}

static void measure_kept(lw_brief_reach *r, const lw_card *engine) {
  const lw_idle_curve *c = r->kept;
  wanted target = target_of(engine), limits = limits_of(engine);
  r->turns = c->now;
  r->turns_lo = c->points[0].turns;
  r->turns_hi = c->points[c->count - 1].turns;
  for (size_t i = 0; i < c->count; i++) {
    if (c->points[i].solved) widen(&r->co_lo, &r->co_hi, co_of(&c->points[i]));
    r->dies = r->dies || !c->points[i].solved;
  }
  r->co_per_turn = slope_at(c, c->now);
  if (lw_range_known(target.co)) r->target = window(c, &target);
  if (lw_range_known(limits.co) || lw_range_known(limits.hc)) r->limits = window(c, &limits);
}

static void measure_free(lw_brief_reach *r) {
  for (size_t i = 0; i < r->free->count; i++) {
    const lw_idle_point *p = &r->free->points[i];
    if (p->solved) widen(&r->speed_lo, &r->speed_hi, p->run.setting.speed);
    r->dies = r->dies || !p->solved;
  }
}

/* engine: the card whose idle is wanted. */
static void run_reach(desk *d, lw_units *units, const lw_test_car *car, const lw_card *engine,
                      lw_brief_reach *r) {
  lw_error error = {0};
  lw_idle_table *kept = NULL, *free = NULL;
  const lw_brief_window none = {LW_NONE, LW_NONE};
  lw_status status =
      lw_idle_sweep(d->arena, units, car, LW_LOAD_NONE, LW_HOLD_SPEED, SWEEP_POINTS, &kept, &error);
  if (status == LW_OK)
    status = lw_idle_sweep(d->arena, units, car, LW_LOAD_NONE, LW_HOLD_STOP, SWEEP_POINTS, &free,
                           &error);
  *r = (lw_brief_reach){.why = "", .target = none, .limits = none};
  r->turns = r->turns_lo = r->turns_hi = r->co_lo = r->co_hi = r->speed_lo = r->speed_hi = LW_NONE;
  r->co_per_turn = LW_NONE;
  if (status != LW_OK) {
    if (status == LW_NO_MEMORY) d->no_memory = true;
    r->why = error_text(d, &error);
    return;
  }
  r->run = true;
  r->why = NULL;
  r->trimmed = car->trimmed;
  r->left = free->now;
  r->set = kept->now;
  r->kept = all_screws(kept);
  r->free = all_screws(free);
  r->screws = r->kept != NULL;
  if (!r->screws) return;
  measure_kept(r, engine);
  measure_free(r);
}

/* ---- the wrong unit ---- */

static lw_brief_fits judge(const lw_brief_reach *r, const lw_card *engine) {
  lw_range target = engine->idle.co;
  if (!r->run) return LW_FITS_UNKNOWN;
  if (!r->set.solved) return LW_FITS_NOT;
  if (!lw_range_known(target)) return LW_FITS_UNKNOWN;
  if (lw_range_side(target, co_of(&r->set)) == 0) return LW_FITS;
  return lw_known(r->target.lo) ? LW_FITS_BY_SCREW : LW_FITS_NOT;
}

void brief_run_swap(desk *d, lw_units *units, const lw_card *unit, const lw_test_car *engine,
                    lw_brief_swap *swap) {
  lw_error error = {0};
  lw_net *own = NULL;
  lw_test_car *car = NULL;
  const lw_card *on = engine->twin->card;
  lw_card *both = lw_arena_alloc(d->arena, sizeof *both);
  *swap = (lw_brief_swap){.unit = unit, .engine = on};
  if (!both) {
    d->no_memory = true;
    return;
  }
  *both = *on;
  both->carburetor = unit->carburetor;
  lw_status status = lw_net_build(d->arena, unit, &own, &error);
  if (status == LW_OK) status = car_like(d->arena, both, own, engine, &car, &error);
  if (status == LW_OK && car) {
    run_reach(d, units, car, on, &swap->reach);
  } else {
    swap->reach.why = error_text(d, &error);
  }
  swap->answer = judge(&swap->reach, on);
  swap->words = brief_swap_text(d, swap);
}

/* ---- one difference alone ---- */

static size_t size_of(const lw_field *f) {
  switch (f->kind) {
  case LW_KIND_TEXT: return sizeof(const char *);
  case LW_KIND_QUANTITY: return sizeof(double);
  case LW_KIND_RANGE: return sizeof(lw_range);
  case LW_KIND_WHOLE:
  case LW_KIND_CHOICE: return sizeof(int);
  case LW_KIND_ANSWER: return sizeof(lw_answer);
  case LW_KIND_HC: return sizeof(lw_hc);
  case LW_KIND_MAP: return f->table->size;
  case LW_KIND_LIST:
  case LW_KIND_NAMED: return sizeof(lw_list);
  case LW_KIND_QUANTITIES: return sizeof(lw_values);
  case LW_KIND_TEXTS: return sizeof(lw_texts);
  }
  return 0;
}

/* Copy what stands at path from one struct of this table to another. False: there is no such. */
static bool copy_field(const lw_table *table, char *to, const char *from, const char *path) {
  const char *comma = strstr(path, ", ");
  size_t n = comma ? (size_t)(comma - path) : strlen(path);
  for (size_t i = 0; i < table->count; i++) {
    const lw_field *f = &table->fields[i];
    if (strlen(f->key) != n || strncmp(f->key, path, n) != 0) continue;
    if (comma && f->kind == LW_KIND_MAP)
      return copy_field(f->table, to + f->at, from + f->at, comma + 2);
    memcpy(to + f->at, from + f->at, size_of(f));
    return true;
  }
  return false;
}

/* What network or engine are built from. Screws are told by what they reach. */
static bool felt(const char *path) {
  static const char *const begins[] = {"carburetor, primary, ",
                                       "carburetor, secondary, ",
                                       "carburetor, bowl vent",
                                       "carburetor, power valve",
                                       "carburetor, air valve spring",
                                       "carburetor, off-idle check valve",
                                       "carburetor, idle air bypass",
                                       "engine, initial timing",
                                       "engine, centrifugal advance",
                                       "engine, vacuum advance",
                                       "engine, vacuum source",
                                       "engine, compression ratio",
                                       "fuel"};
  for (size_t i = 0; i < sizeof begins / sizeof begins[0]; i++) {
    if (strncmp(path, begins[i], strlen(begins[i])) == 0) return true;
  }
  return false;
}

/* The first card's car as it is, run once. */
typedef struct base {
  const lw_test_car *car;
  lw_running free, kept;
  lw_map *road;
  bool run;
} base;

static bool idle_of(const lw_test_car *car, double speed, lw_running *free, lw_running *kept) {
  lw_state state = {0}, other = {0};
  lw_status a = lw_engine_idle(car->engine, car->twin->net, &car->around, 0, LW_LOAD_NONE, &state,
                               free, NULL);
  lw_status b =
      lw_engine_hold(car->engine, car->twin->net, &car->around, speed, 0, &other, kept, NULL);
  return a == LW_OK && b == LW_OK && !kept->stalled;
}

static void road_speeds(double idle, double *speed) {
  double top = fmax(4000 * RPM, 2 * idle);
  for (int i = 0; i < ROAD_SPEEDS; i++)
    speed[i] = idle + (top - idle) * i / (ROAD_SPEEDS - 1);
}

static void run_base(brief_desk *b, base *out) {
  double speed[ROAD_SPEEDS];
  *out = (base){.car = b->car[0]};
  double idle = b->car[0]->engine->speed_hot;
  road_speeds(idle, speed);
  out->run = idle_of(b->car[0], idle, &out->free, &out->kept) &&
             lw_line_run(b->d->arena, b->car[0]->twin, LW_LINE_ROAD, speed, ROAD_SPEEDS, &out->road,
                         NULL) == LW_OK;
}

static void compare_alone(lw_arena *arena, const base *from, const lw_test_car *car,
                          lw_brief_alone *out) {
  lw_running free, kept;
  lw_map *road = NULL;
  lw_comparison *c = NULL;
  double idle = from->car->engine->speed_hot;
  if (!idle_of(car, idle, &free, &kept)) return;
  if (lw_map_again(arena, car->twin, from->road, &road, NULL) != LW_OK) return;
  if (lw_compare(arena, from->road, road, idle, car->twin->ambient, &c, NULL) != LW_OK) return;
  out->run = true;
  out->stalls = free.stalled;
  out->speed = free.setting.speed - from->free.setting.speed;
  out->co = kept.burned.sampled.dry.co - from->kept.burned.sampled.dry.co;
  out->idle = kept.burned.lambda / from->kept.burned.lambda - 1;
  for (int i = 0; i < LW_PLACES; i++)
    out->places[i] = c->effects[i].points ? c->effects[i].mean : LW_NONE;
}

static void run_alone(brief_desk *b, const base *from, const char *path, lw_brief_alone *out) {
  lw_test_car *car = NULL;
  lw_arena *own = lw_arena_new(0);
  lw_card *card = own ? lw_arena_alloc(own, sizeof *card) : NULL;
  if (!card) {
    b->d->no_memory = true;
  } else {
    *card = *b->brief->before.card;
    bool copied =
        copy_field(lw_card_table(), (char *)card, (const char *)b->brief->after.card, path);
    if (copied && car_like(own, card, from->car->twin->net, from->car, &car, NULL) == LW_OK && car)
      compare_alone(own, from, car, out);
  }
  lw_arena_free(own);
}

/* A limiter comes or goes with its screw: alone it changes nothing. */
static bool comes_with_its_screw(const lw_brief_item *item) {
  return strstr(item->what, "idle limiter") && (!item->before.text || !item->after.text);
}

static void run_each_alone(brief_desk *b) {
  base from;
  run_base(b, &from);
  for (size_t i = 0; i < b->count && from.run; i++) {
    if (b->paths[i] && felt(b->paths[i]) && !comes_with_its_screw(&b->items[i]))
      run_alone(b, &from, b->paths[i], &b->items[i].alone);
  }
}

/* ---- the closing throttle ---- */

static bool throttle_matters(const brief_desk *b) {
  for (size_t i = 0; i < b->count; i++) {
    const char *p = b->paths[i] ? b->paths[i] : "";
    if (strncmp(p, "carburetor, dashpot", 19) == 0 ||
        strncmp(p, "engine, control valve", 21) == 0 || strcmp(p, "engine, vacuum source") == 0)
      return true;
  }
  return false;
}

static void run_snap(const lw_test_car *car, lw_brief_snap *out) {
  lw_motion *motion = NULL;
  lw_maneuver m;
  lw_arena *own = lw_arena_new(0);
  double set = car->twin->card->engine.control_valve.set_vacuum;
  if (own && lw_test_car_motion(car, &motion, NULL) == LW_OK &&
      lw_run_snap_shut(own, motion, 2500 * RPM, set, &m, NULL) == LW_OK) {
    *out = (lw_brief_snap){.run = true,
                           .stalled = m.stalled,
                           .fall_time = m.fall_time,
                           .distributor_fall = m.distributor_fall,
                           .hc_most = m.hc_most,
                           .leanest = m.leanest,
                           .richest = m.richest};
  }
  lw_motion_free(motion);
  lw_arena_free(own);
}

/* ---- the mixture over the range ---- */

/* Closely spaced where the plate is nearly shut: most happens there. */
static void run_grids(brief_desk *b) {
  double throttle[GRID], speed[GRID], idle = b->car[0]->engine->speed_hot;
  for (int i = 0; i < GRID; i++) {
    double s = (double)i / (GRID - 1);
    throttle[i] = s * s;
    speed[i] = idle + (fmax(4000 * RPM, 2 * idle) - idle) * s;
  }
  for (int k = 0; k < 2; k++) {
    lw_map *map = NULL;
    if (lw_map_run(b->d->arena, b->car[k]->twin, throttle, GRID, speed, GRID, &map, NULL) == LW_OK)
      b->brief->grid[k] = map;
  }
}

static void run_road(brief_desk *b) {
  enum { SPEEDS = 60 };
  double speed[SPEEDS], idle = b->car[0]->engine->speed_hot;
  lw_map *before = NULL, *after = NULL;
  lw_comparison *c = NULL;
  for (int i = 0; i < SPEEDS; i++)
    speed[i] = idle + (fmax(4000 * RPM, 2 * idle) - idle) * i / (SPEEDS - 1);
  lw_status status =
      lw_line_run(b->d->arena, b->car[0]->twin, LW_LINE_ROAD, speed, SPEEDS, &before, NULL);
  if (status == LW_OK) status = lw_map_again(b->d->arena, b->car[1]->twin, before, &after, NULL);
  if (status == LW_OK)
    status = lw_compare(b->d->arena, before, after, idle, b->car[0]->twin->ambient, &c, NULL);
  if (status == LW_OK) b->brief->road = c;
}

/* ---- all ---- */

static void open_car(brief_desk *b, int k, const lw_card *card) {
  const char *why = NULL;
  b->car[k] = brief_car(b->d, card, &why);
  if (b->car[k] && b->car[k]->trimmed) return;
  lines_add(b->d, &b->gaps,
            b->car[k] ? say(b->d,
                            "the twin of %s could not be trimmed to its card's idle speed and "
                            "vacuum: read its changes, not its heights",
                            card->unit)
                      : say(b->d, "the twin of %s cannot be run: %s", card->unit, why));
}

void brief_run(brief_desk *b) {
  lw_brief *brief = b->brief;
  const lw_card *card[2] = {brief->before.card, brief->after.card};
  for (int k = 0; k < 2; k++) {
    open_car(b, k, card[k]);
    if (b->car[k]) {
      run_reach(b->d, b->units, b->car[k], card[k], &brief->reach[k]);
    } else {
      brief->reach[k].why = "its twin cannot be run";
    }
  }
  for (int k = 0; k < 2 && b->count; k++) {
    brief->swap[k] = (lw_brief_swap){.unit = card[k], .engine = card[1 - k]};
    brief->swap[k].reach.why = "a twin cannot be run";
    if (b->car[1 - k]) brief_run_swap(b->d, b->units, card[k], b->car[1 - k], &brief->swap[k]);
    if (!brief->swap[k].words) brief->swap[k].words = brief_swap_text(b->d, &brief->swap[k]);
  }
  if (b->car[0] && b->count) run_each_alone(b);
  for (int k = 0; k < 2; k++) {
    if (b->car[k] && throttle_matters(b)) run_snap(b->car[k], &brief->snap[k]);
  }
  if (!b->car[0] || !b->car[1] || !b->count) return;
  run_grids(b);
  run_road(b);
}
