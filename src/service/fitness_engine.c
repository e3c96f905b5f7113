/* fitness_engine.c - checks of the engine itself: compression, leakage, ignition.
**
** Rules without another source are common practice. Compression: the weakest cylinder at least 75 %
** of the strongest (rule of a 1990s industrial-engine service manual; other makers say 70 % and
** 100 psi). Specification scales with the air pressure: both ends of the gauge reading do.
*/
#include "service_internal.h"

#include <math.h>

static const double least_share = 0.75;
static const double most_leakage = 0.20;

/* ---- compression ---- */

typedef struct cylinders {
  size_t count, weakest, strongest; /* indices */
  double lo, hi;
} cylinders;

static cylinders look_at(const lw_values *v) {
  cylinders c = {.count = v->count, .lo = INFINITY, .hi = -INFINITY};
  for (size_t i = 0; i < v->count; i++) {
    if (v->x[i] < c.lo) {
      c.lo = v->x[i];
      c.weakest = i;
    }
    if (v->x[i] > c.hi) {
      c.hi = v->x[i];
      c.strongest = i;
    }
  }
  return c;
}

static const char *say_values(desk *d, lw_dim dim, const lw_values *v) {
  char text[400] = "", one[40];
  for (size_t i = 0; i < v->count; i++) {
    double x = lw_dim_shown(dim, LW_SHOP, v->x[i]);
    lw_text_append(text, sizeof text, i ? ", %s" : "%s", lw_text_value(one, sizeof one, x, NAN, 0));
  }
  return say(d, "%s %s", text, lw_dim_unit(dim, LW_SHOP));
}

static lw_range at_this_pressure(const desk *d, lw_range range) {
  double share = d->work->ambient / LW_STANDARD_PRESSURE;
  return (lw_range){range.lo * share, range.at * share, range.hi * share};
}

static const char *compression_expected(desk *d, double share, double variation, lw_range spec) {
  const char *rule = say(d, "weakest at least %.0f %% of strongest", share * 100);
  if (lw_known(variation)) {
    rule = say(d, "%s, no more than %s apart", rule, say_both(d, LW_COMPRESSION, variation));
  }
  if (!lw_range_known(spec)) return rule;
  bool corrected = fabs(d->work->ambient / LW_STANDARD_PRESSURE - 1) > 0.01;
  return say(d, "%s%s; %s", say_range(d, LW_COMPRESSION, spec),
             corrected ? " (corrected for the air pressure here)" : "", rule);
}

/* Weak neighbors share a gasket. In a row following numbers are neighbors; with two banks the
   numbers alone do not tell. */
static const char *weak_words(desk *d, const lw_values *v, double floor) {
  const bool banks = engine_of(d)->layout > 1;
  char list[120] = "";
  size_t weak = 0, last = 0;
  bool neighbors = false;
  for (size_t i = 0; i < v->count; i++) {
    if (v->x[i] >= floor) continue;
    lw_text_append(list, sizeof list, weak ? ", %zu" : "%zu", i + 1);
    neighbors = neighbors || (weak && i == last + 1);
    last = i;
    weak++;
  }
  const char *gasket = banks && weak > 1
                           ? "; if they stand side by side, suspect the head gasket between them"
                       : neighbors ? "; neighbors together point to the head gasket between them"
                                   : "";
  return say(d, "cylinder%s %s %s weak%s", weak == 1 ? "" : "s", list, weak == 1 ? "is" : "are",
             gasket);
}

void check_compression(desk *d, lw_check *c) {
  const lw_engine_card *e = engine_of(d);
  const lw_values *v = &d->work->job->checks.compression;
  double share = lw_known(e->compression_share) ? e->compression_share : least_share;
  lw_range spec = at_this_pressure(d, e->compression_pressure);
  c->essential = true;
  c->expected = compression_expected(d, share, e->compression_variation, spec);
  c->next = "measure compression on every cylinder: engine warm, throttle open, ignition disabled";
  size_t wanted = (size_t)(e->cylinders ? e->cylinders : d->work->job->car.cylinders);
  if (v->count == 0) {
    c->why = "compression was not measured";
    return;
  }
  cylinders cyl = look_at(v);
  c->found = say_values(d, LW_COMPRESSION, v);
  double floor = fmax(cyl.hi * share,
                      lw_known(e->compression_variation) ? cyl.hi - e->compression_variation : 0);
  const char *repair =
      "find out why (wet test, leakage test, valve clearance) and repair before the "
      "idle is touched: the screws cannot hide a weak cylinder";
  if (!(cyl.hi > 0)) {
    c->answer = LW_NOT_FIT;
    c->why = "no cylinder builds any pressure";
    c->next = "look at the gauge and its hose first, then at the valve timing";
  } else if (cyl.lo < floor * (1 - 1e-9)) {
    c->answer = LW_NOT_FIT;
    c->why = say(d, "%s; the weakest is %.0f %% of the strongest", weak_words(d, v, floor),
                 100 * cyl.lo / cyl.hi);
    c->next = repair;
  } else if (cyl.lo < spec.lo) {
    c->answer = LW_NOT_FIT;
    c->why = "even, but under the specification: worn, cranked slowly, or valve timing late";
    c->next = "crank with a full battery and the throttle open; if it stays low, repair first";
  } else if (wanted && v->count < wanted) {
    c->why = say(d, "only %zu of %zu cylinders were measured", v->count, wanted);
  } else {
    c->answer = LW_FIT;
    c->next = NULL;
    c->why = say(d, "weakest is %.0f %% of strongest%s", 100 * cyl.lo / cyl.hi,
                 cyl.hi > spec.hi ? "; over the specification, carbon is likely" : "");
  }
}

void check_leakage(desk *d, lw_check *c) {
  const lw_engine_card *e = engine_of(d);
  const lw_values *v = &d->work->job->checks.leakage;
  double most = lw_known(e->leakage) ? e->leakage : most_leakage;
  c->expected = say(d, "at most %.0f %%", most * 100);
  if (v->count == 0) {
    c->why = "not measured; compression alone can do";
    return;
  }
  cylinders cyl = look_at(v);
  c->found = say_values(d, LW_SHARE, v);
  bool good = cyl.hi <= most;
  c->answer = good ? LW_FIT : LW_NOT_FIT;
  c->essential = true;
  c->why = say(d, "most in cylinder %zu, %.0f %%", cyl.strongest + 1, cyl.hi * 100);
  if (!good)
    c->next =
        "listen at the carburetor, tailpipe, oil filler and radiator (opened only when cool), and "
        "repair first";
}

/* ---- ignition ---- */

void check_dwell(desk *d, lw_check *c) {
  const lw_engine_card *e = engine_of(d);
  const lw_checks *k = &d->work->job->checks;
  c->essential = true;
  bool by_dwell = lw_known(k->dwell);
  double found = by_dwell ? k->dwell : k->point_gap;
  lw_dim dim = by_dwell ? LW_ANGLE : LW_LENGTH;
  lw_range spec = by_dwell || lw_range_known(e->dwell) ? e->dwell : e->point_gap;
  if (!by_dwell && lw_known(k->point_gap)) spec = e->point_gap;
  lw_dim spec_dim = by_dwell || !lw_known(k->point_gap) ? LW_ANGLE : LW_LENGTH;
  if (!lw_range_known(e->dwell) && !lw_known(k->dwell)) spec_dim = LW_LENGTH;
  if (lw_range_known(spec)) c->expected = say_range(d, spec_dim, spec);
  if (!lw_known(found)) {
    c->essential = lw_range_known(spec); /* no points, nothing to prove */
    c->why = c->essential ? "not measured; it moves the timing" : "neither specified nor measured";
    c->next = c->essential ? "measure dwell before the timing" : NULL;
    return;
  }
  c->found = say_both(d, dim, found);
  if (!lw_range_known(spec)) {
    c->why = "the card does not say what it should be";
    c->essential = false;
    return;
  }
  bool good = lw_range_side(spec, found) == 0;
  c->answer = good ? LW_FIT : LW_NOT_FIT;
  c->why = good ? "inside its span" : "outside its span; it moves the timing";
  if (!good) c->next = "set dwell (points), then the timing";
}

static bool timing_condition_wrong(desk *d, lw_check *c) {
  const lw_engine_card *e = engine_of(d);
  const lw_checks *k = &d->work->job->checks;
  if (e->timing_hose && k->timing_hose && e->timing_hose != k->timing_hose) {
    c->why = say(d, "read with the vacuum hose %s; the card wants it %s",
                 k->timing_hose == LW_HOSE_CONNECTED ? "connected" : "plugged",
                 e->timing_hose == LW_HOSE_CONNECTED ? "connected" : "plugged");
    return true;
  }
  if (k->timing_speed > e->timing_speed * 1.05) {
    c->why = say(d, "read at %s; the card wants at most %s", say_both(d, LW_SPIN, k->timing_speed),
                 say_both(d, LW_SPIN, e->timing_speed));
    return true;
  }
  return false;
}

void check_timing(desk *d, lw_check *c) {
  const lw_engine_card *e = engine_of(d);
  const lw_checks *k = &d->work->job->checks;
  char text[40];
  c->essential = true;
  c->next = "read the initial timing as the card says (speed, hose)";
  if (lw_range_known(e->initial_timing)) {
    char lo[40], hi[40];
    lw_timing_text(lo, sizeof lo, e->initial_timing.lo);
    lw_timing_text(hi, sizeof hi, e->initial_timing.hi);
    c->expected =
        e->initial_timing.lo < e->initial_timing.hi ? say(d, "%s to %s", lo, hi) : say(d, "%s", lo);
  }
  if (!lw_known(k->timing)) {
    c->why = "timing was not read";
    return;
  }
  c->found = say(d, "%s", lw_timing_text(text, sizeof text, k->timing));
  if (!lw_range_known(e->initial_timing)) {
    c->why = "the card does not say what it should be";
    return;
  }
  if (timing_condition_wrong(d, c)) return;
  /* a timing light is read to half a degree; common practice */
  const double readable = 0.5 * 3.14159265358979323846 / 180;
  lw_range spec = {e->initial_timing.lo - readable, 0, e->initial_timing.hi + readable};
  int side = lw_range_side(spec, k->timing);
  c->answer = side == 0 ? LW_FIT : LW_NOT_FIT;
  c->why = side == 0  ? "inside its span"
           : side < 0 ? "late: the engine needs more throttle to idle, runs hot and low on vacuum"
                      : "early: idle is fast with the plate nearly closed, off the idle port";
  c->next = side == 0 ? NULL : "set the timing first; speed and mixture move with it";
}

/* ---- advance curves ---- */

typedef struct curve_point {
  double at;
  lw_range advance;
} curve_point;

/* The span of the curve at x between its points; outside them the nearest end. */
static lw_range curve_at(const curve_point *p, size_t n, double x) {
  if (x <= p[0].at) return p[0].advance;
  for (size_t i = 1; i < n; i++) {
    if (x > p[i].at) continue;
    double t = (x - p[i - 1].at) / (p[i].at - p[i - 1].at);
    lw_range a = p[i - 1].advance, b = p[i].advance;
    return (lw_range){a.lo + t * (b.lo - a.lo), NAN, a.hi + t * (b.hi - a.hi)};
  }
  return p[n - 1].advance;
}

enum { CURVE_MOST = 32 };

/* Card points as crank degrees over crank speed (or vacuum), rising. Returns how many are usable.
 */
static size_t curve_of(const desk *d, const lw_list *list, bool by_vacuum, curve_point *out) {
  const lw_advance_point *p = list->items;
  bool distributor = engine_of(d)->advance_degrees == LW_DEGREES_DISTRIBUTOR;
  double twice = distributor ? 2 : 1;
  size_t n = 0;
  for (size_t i = 0; i < list->count && n < CURVE_MOST; i++) {
    double at = by_vacuum ? p[i].vacuum : p[i].speed * twice;
    if (!lw_known(at) || !lw_range_known(p[i].advance) || (n && at <= out[n - 1].at)) continue;
    lw_range a = p[i].advance;
    out[n++] = (curve_point){at, {a.lo * twice, NAN, a.hi * twice}};
  }
  return n;
}

static void check_curve(desk *d, lw_check *c, const lw_list *card, const lw_list *read,
                        bool by_vacuum) {
  curve_point curve[CURVE_MOST];
  size_t n = curve_of(d, card, by_vacuum, curve);
  const lw_advance_reading *r = read->items;
  const double readable = 3.14159265358979323846 / 180; /* a degree by the light; common practice */
  char found[300] = "", expected[300] = "";
  size_t compared = 0, wrong = 0;
  for (size_t i = 0; i < read->count; i++) {
    double at = by_vacuum ? r[i].vacuum : r[i].speed;
    if (!lw_known(at) || !lw_known(r[i].advance)) continue;
    lw_dim dim = by_vacuum ? LW_PRESSURE : LW_SPIN;
    lw_text_append(found, sizeof found, "%s%.1f deg at %s", found[0] ? ", " : "",
                   lw_dim_shown(LW_ANGLE, LW_SHOP, r[i].advance), say_both(d, dim, at));
    if (!n) continue;
    lw_range span = curve_at(curve, n, at);
    lw_text_append(expected, sizeof expected, "%s%s", expected[0] ? ", " : "",
                   say_range(d, LW_ANGLE, span));
    span.lo -= readable;
    span.hi += readable;
    compared++;
    wrong += lw_range_side(span, r[i].advance) != 0;
  }
  c->found = found[0] ? say(d, "%s", found) : NULL;
  c->expected = expected[0] ? say(d, "%s", expected) : NULL;
  c->answer = !compared ? LW_FIT_UNKNOWN : wrong ? LW_NOT_FIT : LW_FIT;
  c->why = !found[0]   ? "not read; it acts off idle"
           : !compared ? "the card gives no curve"
           : wrong     ? say(d, "%zu of %zu points off the curve", wrong, compared)
                       : "on the curve";
  if (wrong) {
    c->next = by_vacuum ? "test the diaphragm for leaks and the plate for free movement"
                        : "free the weights, look at the springs";
  }
}

void check_centrifugal(desk *d, lw_check *c) {
  check_curve(d, c, &engine_of(d)->centrifugal_advance, &d->work->job->checks.centrifugal_advance,
              false);
}

void check_vacuum_advance(desk *d, lw_check *c) {
  check_curve(d, c, &engine_of(d)->vacuum_advance, &d->work->job->checks.vacuum_advance, true);
}
