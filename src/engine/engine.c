/* engine.c - an engine from a card: what it says, what is assumed, cam and friction trimmed to it. */
#include "engine_internal.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>

#define RPM    (LW_PI / 30)
#define DEGREE (LW_PI / 180)

/* ---- spark ---- */

static lw_curve curve_of(const lw_list *list, bool by_vacuum, double twice) {
  const lw_advance_point *p = list->items;
  lw_curve c = {0};
  for (size_t i = 0; i < list->count && c.count < LW_ADVANCE_MOST; i++) {
    double x = by_vacuum ? p[i].vacuum : p[i].speed * twice;
    if (!lw_known(x) || !lw_range_known(p[i].advance)) continue;
    if (c.count && x <= c.x[c.count - 1]) continue;
    c.x[c.count] = x;
    c.y[c.count++] = twice * lw_range_middle(p[i].advance);
  }
  return c;
}

static lw_spark spark_of(const lw_engine_card *card) {
  double twice = card->advance_degrees == LW_DEGREES_DISTRIBUTOR ? 2 : 1;
  lw_spark s = {.initial = lw_range_known(card->initial_timing)
                               ? lw_range_middle(card->initial_timing)
                               : 6 * DEGREE};
  s.centrifugal = curve_of(&card->centrifugal_advance, false, twice);
  s.vacuum = curve_of(&card->vacuum_advance, true, twice);
  if (s.centrifugal.count == 0) { /* what most distributors of the time came near */
    s.centrifugal =
        (lw_curve){3, {800 * RPM, 2500 * RPM, 4200 * RPM}, {0, 16 * DEGREE, 24 * DEGREE}};
  }
  s.source = s.vacuum.count ? LW_VACUUM_PORTED : LW_VACUUM_NONE;
  if (s.vacuum.count && card->vacuum_source == 2) s.source = LW_VACUUM_MANIFOLD;
  if (s.vacuum.count && card->vacuum_source == 3) s.source = LW_VACUUM_VALVE;
  /* a control valve passes manifold vacuum on when coasting makes it deeper than idle's */
  const double coasting = 70e3;
  s.valve_set = coasting;
  return s;
}

/* ---- cylinders and sides ---- */

/* The firing order's place of each cylinder, or false when the card does not tell them all. */
static bool places_of(const char *order, int cylinders, int *place) {
  bool seen[LW_CYLINDERS_MOST] = {false};
  int at = 0;
  while (order && *order && at < cylinders) {
    if (!isdigit((unsigned char)*order)) {
      order++;
      continue;
    }
    char *end = NULL;
    long n = strtol(order, &end, 10);
    if (n < 1 || n > cylinders || seen[n - 1]) return false;
    seen[n - 1] = true;
    place[n - 1] = at++;
    order = end;
  }
  return at == cylinders;
}

/* Two-plane manifolds feed every other cylinder in firing order from one side; inline engines the
   front half (common practice, no source). */
static void set_sides(lw_engine *e, const lw_card *card, const lw_net *net) {
  int place[LW_CYLINDERS_MOST] = {0};
  e->sides = net->barrel_count > 1 ? 2 : 1;
  bool told = places_of(card->engine.firing_order, e->cylinders, place);
  for (int i = 0; i < e->cylinders; i++) {
    bool second = e->layout == 1 ? i >= e->cylinders / 2 : (told ? place[i] : i) % 2 == 1;
    e->side[i] = e->sides > 1 && second;
  }
}

static lw_status say_missing(const lw_card *card, const char *what, lw_error *error) {
  lw_error_place(error, card->file, card->engine.line ? card->engine.line : card->line, "engine");
  return lw_fail(error, LW_BAD_INPUT, "%s is needed to turn the engine; add it to the card", what);
}

static void assume(lw_engine *e, const lw_card *card, const lw_net *net) {
  const lw_engine_card *c = &card->engine;
  double liters = e->displacement * 1e3;
  double even = cbrt(4 * e->displacement / (LW_PI * e->cylinders));
  e->layout = c->layout ? c->layout : (e->cylinders > 6 ? 2 : 1);
  e->bore = lw_known(c->bore) ? c->bore : even;
  e->stroke = lw_known(c->stroke) ? c->stroke : even;
  set_sides(e, card, net);
  e->crossing = 0.15;
  e->spread = e->sides > 1 ? 0.02 : 0.03;
  e->flutter = 0.03;
  e->friction = 1;
  e->lean_limit = LW_LEAN_LIMIT;
  e->hidden = 0.0105;
  e->accessory = 0.9 * liters;
  e->inertia = (card->transmission == LW_AUTOMATIC_TRANSMISSION ? 0.055 : 0.045) * liters;
  e->manifold_volume = 0.7 * e->displacement;
  e->leak_cylinder = -1;
  e->fuel = net->fuel;
  for (int i = 0; i < e->cylinders; i++)
    e->health[i] = (lw_cylinder_health){1, 1};
  e->speed_hot = lw_range_known(card->idle.speed) ? lw_range_middle(card->idle.speed) : 650 * RPM;
  e->vacuum_hot = lw_range_known(c->idle_vacuum) ? lw_range_middle(c->idle_vacuum) : 62e3;
}

/* ---- trimmed to the card ---- */

/* Torque left over at the idle point, which the network has solved once for all. */
static double spare(lw_engine *e, const lw_net *net, const lw_running *run,
                    const lw_surroundings *around, double overlap, double *fmep) {
  lw_burned burned;
  lw_charge charge = lw_charge_of(e, net, &run->point, run->setting.speed, around);
  charge.timing = run->burned.timing;
  e->overlap = overlap;
  lw_burn_work(e, &charge, &burned);
  *fmep = burned.fmep;
  return burned.torque;
}

/* A cam with more overlap idles at less vacuum, for the exhaust it lets back: that is tried first,
   as far as cams go, and friction makes up the rest. */
static bool trim(lw_engine *e, const lw_net *net) {
  const double per_degree = LW_PI / 180, least = 0.7, most = 1.4;
  double lo = 0.1 * per_degree, hi = 1.5 * per_degree, fmep = 0, left = 0;
  lw_surroundings around = lw_surroundings_standard();
  lw_state state = {0};
  lw_running run;
  if (lw_engine_at(e, net, &around, 0, e->speed_hot, &state, &run, NULL) != LW_OK) return false;
  for (int i = 0; i < 50; i++) {
    double mid = 0.5 * (lo + hi);
    left = spare(e, net, &run, &around, mid, &fmep);
    *(left > 0 ? &lo : &hi) = mid;
  }
  double want = 1 + left * 4 * LW_PI / e->displacement / fmep;
  e->friction = lw_clamp(want, least, most);
  return e->friction == want;
}

/* A full-throttle stall speed of some 2,100 rpm. */
double lw_converter_usual(const lw_engine *e) {
  return 0.0013 * e->displacement * 1e3;
}

/* What the converter takes where the card says both idle speeds; else a usual one. */
static void trim_converter(lw_engine *e, const lw_card *card, const lw_net *net) {
  double usual = lw_converter_usual(e);
  e->converter = usual;
  if (!lw_range_known(card->idle.speed_drive)) return;
  double speed = lw_range_middle(card->idle.speed_drive);
  lw_surroundings around = lw_surroundings_standard();
  lw_state state = {0};
  lw_running run;
  if (lw_engine_at(e, net, &around, 0, speed, &state, &run, NULL) != LW_OK) return;
  e->converter = lw_clamp(run.burned.torque / (speed * speed), 0.1 * usual, 2 * usual);
}

lw_status lw_engine_new(lw_arena *arena, const lw_card *card, const lw_net *net, lw_engine **engine,
                        bool *trimmed, lw_error *error) {
  const lw_engine_card *c = &card->engine;
  if (!lw_known(c->displacement)) return say_missing(card, "displacement", error);
  if (c->cylinders < 1) return say_missing(card, "the number of cylinders", error);
  if (c->cylinders > LW_CYLINDERS_MOST)
    return lw_fail(error, LW_BAD_INPUT, "engine, cylinders: %d, at most %d can be run",
                   c->cylinders, LW_CYLINDERS_MOST);
  if (!lw_known(c->compression_ratio)) return say_missing(card, "compression ratio", error);
  lw_engine *e = lw_arena_alloc(arena, sizeof *e);
  if (!e) return lw_fail(error, LW_NO_MEMORY, "no memory for the engine");
  e->cylinders = c->cylinders;
  e->displacement = c->displacement;
  e->compression_ratio = c->compression_ratio;
  e->spark = spark_of(c);
  assume(e, card, net);
  bool good = trim(e, net);
  if (trimmed) *trimmed = good;
  if (card->transmission == LW_AUTOMATIC_TRANSMISSION) trim_converter(e, card, net);
  *engine = e;
  return LW_OK;
}
