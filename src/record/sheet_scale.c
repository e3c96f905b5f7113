/* sheet_scale.c - before and after: each limit and each gas on a scale of its own.
**
** A row shows the limit as a line with what lies beyond it shaded, the value as a mark and its
** 95 % band (x +- 2u) as a bar, so that a reader sees why a verdict is what it is.
*/
#include "sheet.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { ROW = 41, MOST_ROWS = 40 };

typedef struct mark {
  double x, lo, hi; /* shown units; NaN: not read */
  bool open;        /* hi is only as far as an engine will run */
  bool judged;
  lw_verdict verdict;
  const char *who; /* "found", "left", "read" */
} mark;

typedef struct scale {
  char name[80], limit_text[80];
  const char *source, *unit;
  int decimals;
  lw_range limit, target; /* shown units */
  double reference;       /* a dashed line; NaN: none */
  double start, end;      /* suggested ends; NaN: worked out */
  mark marks[2];
  size_t count;
} scale;

typedef struct scales {
  scale rows[MOST_ROWS];
  size_t count;
} scales;

/* ---- filling ---- */

static double factor_of(lw_gas_name gas) {
  if (gas == LW_GAS_HC || gas == LW_GAS_NO) return 1e6;
  return gas == LW_GAS_UNSAID ? 1 : 100;
}

static const char *unit_of(lw_gas_name gas) {
  if (gas == LW_GAS_HC || gas == LW_GAS_NO) return "ppm";
  return gas == LW_GAS_UNSAID ? "" : "%";
}

static int decimals_of(lw_gas_name gas) {
  if (gas == LW_GAS_HC || gas == LW_GAS_NO) return 0;
  if (gas == LW_GAS_CO2) return 1;
  return gas == LW_GAS_UNSAID ? 3 : 2;
}

static double gas_of(const lw_gases *gases, lw_gas_name gas) {
  switch (gas) {
  case LW_GAS_CO: return gases->co;
  case LW_GAS_CO2: return gases->co2;
  case LW_GAS_HC: return gases->hc;
  case LW_GAS_O2: return gases->o2;
  case LW_GAS_NO: return gases->no;
  case LW_GAS_UNSAID: break;
  }
  return LW_NONE;
}

static lw_range times(lw_range range, double factor) {
  return (lw_range){range.lo * factor, range.at * factor, range.hi * factor};
}

static mark mark_of(lw_measure value, double factor, const char *who) {
  double band = lw_known(value.u) ? LW_COVERAGE * value.u * factor : 0;
  double x = value.x * factor;
  return (mark){.x = x, .lo = x - band, .hi = x + band, .who = who};
}

static scale scale_new(lw_gas_name gas, const char *name) {
  scale s = {.unit = unit_of(gas), .decimals = decimals_of(gas)};
  s.limit = s.target = lw_range_none;
  s.reference = s.start = s.end = LW_NONE;
  snprintf(s.name, sizeof s.name, "%s", name);
  if (gas == LW_GAS_UNSAID) {
    s.start = 0.85;
    s.end = 1.15;
    s.reference = 1;
  } else {
    s.start = 0;
  }
  return s;
}

static mark mark_judged(const lw_work *work, const lw_judgement *j) {
  mark m = mark_of(j->value, factor_of(j->gas), lw_sheet_stage(work, j->reading));
  m.judged = true;
  m.verdict = j->verdict;
  return m;
}

/* The as-found judgement of the same limit. */
static const lw_judgement *found_like(const lw_work *work, const lw_judgement *j) {
  for (size_t i = 0; i < work->judgement_found_count; i++) {
    const lw_judgement *f = &work->judgements_found[i];
    bool same = f->gas == j->gas && f->at == j->at &&
                (f->name == j->name || (f->name && j->name && strcmp(f->name, j->name) == 0)) &&
                !(fabs(lw_range_middle(f->limit) - lw_range_middle(j->limit)) > 1e-9);
    if (same) return f;
  }
  return NULL;
}

static void limit_words(char *out, size_t size, lw_gas_name gas, lw_range limit) {
  if (!lw_range_known(limit)) {
    snprintf(out, size, "no limit given");
  } else if (gas == LW_GAS_UNSAID) {
    lw_range_text(out, size, LW_RATIO, LW_SHOP, limit);
  } else {
    bool ppm = gas == LW_GAS_HC || gas == LW_GAS_NO;
    lw_range_text(out, size, ppm ? LW_PPM : LW_FRACTION, LW_SHOP, limit);
  }
}

static void add_judgement(scales *all, const lw_work *work, const lw_judgement *j) {
  scale s = scale_new(j->gas, j->name ? j->name : lw_gas_text(j->gas));
  const lw_judgement *found = found_like(work, j);
  limit_words(s.limit_text, sizeof s.limit_text, j->gas, j->limit);
  s.source = j->source;
  s.limit = times(j->limit, factor_of(j->gas));
  bool idle = j->at == LW_AT_IDLE || j->at == LW_AT_UNSAID;
  if (j->gas == LW_GAS_CO && idle && work->card) s.target = times(work->card->idle.co, 100);
  if (found && found->reading != j->reading && found->reading != SIZE_MAX) {
    s.marks[s.count++] = mark_judged(work, found);
  }
  s.marks[s.count++] = mark_judged(work, j);
  if (all->count < MOST_ROWS) all->rows[all->count++] = s;
}

static bool judged_at_idle(const lw_work *work, lw_gas_name gas) {
  for (size_t i = 0; i < work->judgement_count; i++) {
    const lw_judgement *j = &work->judgements[i];
    bool idle = j->at == LW_AT_IDLE || j->at == LW_AT_UNSAID;
    if (j->gas == gas && idle && j->reading != SIZE_MAX) return true;
  }
  return false;
}

/* The as-found and as-left idle readings, or the newest one with gas when neither is marked. */
static size_t idle_readings(const lw_work *work, size_t out[2]) {
  size_t count = 0;
  if (work->found < work->reading_count) out[count++] = work->found;
  if (work->left < work->reading_count && work->left != work->found) out[count++] = work->left;
  for (size_t i = work->reading_count; count == 0 && i-- > 0;) {
    if (work->readings[i].has_gas) out[count++] = i;
  }
  return count;
}

static void add_gas(scales *all, const lw_work *work, lw_gas_name gas) {
  size_t which[2], n = idle_readings(work, which);
  char name[40];
  snprintf(name, sizeof name, "%s at idle", lw_gas_text(gas));
  scale s = scale_new(gas, name);
  for (size_t i = 0; i < n; i++) {
    const lw_reading_work *r = &work->readings[which[i]];
    if (!r->has_gas || gas_of(&r->exhaust.missing, gas) > 0.5) continue;
    lw_measure value = {gas_of(&r->exhaust.filled, gas), gas_of(&r->exhaust.filled_u, gas)};
    if (!lw_known(value.x)) continue;
    s.marks[s.count++] = mark_of(value, factor_of(gas), lw_sheet_stage(work, which[i]));
  }
  if (s.count && all->count < MOST_ROWS) all->rows[all->count++] = s;
}

static void add_lambda(scales *all, const lw_work *work) {
  size_t which[2], n = idle_readings(work, which);
  scale s = scale_new(LW_GAS_UNSAID, "Lambda at idle");
  snprintf(s.limit_text, sizeof s.limit_text, "1.00: just enough air");
  s.source = "worked out from the gas";
  for (size_t i = 0; i < n; i++) {
    const lw_exhaust *e = &work->readings[which[i]].exhaust;
    if (!work->readings[which[i]].has_gas || !lw_known(e->lambda.x)) continue;
    mark m = mark_of(e->lambda, 1, lw_sheet_stage(work, which[i]));
    if (lw_known(e->lambda_lo)) m.lo = e->lambda_lo;
    if (lw_known(e->lambda_hi)) m.hi = e->lambda_hi;
    m.open = e->lean_open;
    s.marks[s.count++] = m;
  }
  if (s.count && all->count < MOST_ROWS) all->rows[all->count++] = s;
}

/* Neutral and drive have speeds of their own, so each gear has a row of its own. */
static void add_speed(scales *all, const lw_work *work, bool drive) {
  const double rpm = 9.549296585513721;
  size_t which[2], n = idle_readings(work, which);
  scale s = scale_new(LW_GAS_CO, drive ? "Idle speed in drive" : "Idle speed");
  lw_range spec = lw_range_none;
  if (work->card) spec = drive ? work->card->idle.speed_drive : work->card->idle.speed;
  s.unit = "rpm";
  s.decimals = 0;
  s.start = LW_NONE;
  s.limit = times(spec, rpm);
  for (size_t i = 0; i < n; i++) {
    const lw_reading *r = work->readings[which[i]].reading;
    if (!lw_known(r->speed) || (r->gear == LW_GEAR_DRIVE) != drive) continue;
    lw_measure speed = {r->speed, LW_NONE};
    s.marks[s.count++] = mark_of(speed, rpm, lw_sheet_stage(work, which[i]));
  }
  if (!s.count || all->count >= MOST_ROWS) return;
  if (lw_range_known(spec)) {
    lw_range_text(s.limit_text, sizeof s.limit_text, LW_SPIN, LW_SHOP, spec);
    s.source = "spec card";
  }
  all->rows[all->count++] = s;
}

static void fill(scales *all, const lw_work *work) {
  static const lw_gas_name gases[] = {LW_GAS_CO, LW_GAS_HC, LW_GAS_CO2, LW_GAS_O2, LW_GAS_NO};
  bool lambda_judged = false;
  for (size_t i = 0; i < work->judgement_count; i++) {
    add_judgement(all, work, &work->judgements[i]);
    lambda_judged = lambda_judged || work->judgements[i].gas == LW_GAS_UNSAID;
  }
  if (work->reading_count == 0) return;
  for (size_t i = 0; i < sizeof gases / sizeof gases[0]; i++) {
    if (!judged_at_idle(work, gases[i])) add_gas(all, work, gases[i]);
  }
  if (!lambda_judged) add_lambda(all, work);
  add_speed(all, work, false);
  add_speed(all, work, true);
}

/* ---- drawing ---- */

typedef struct axis {
  double from, to, step; /* shown units */
  double x, width;       /* points */
} axis;

static double nice_step(double span) {
  double raw = span / 5, power = pow(10, floor(log10(raw))), lead = raw / power;
  return power * (lead <= 1 ? 1 : lead <= 2 ? 2 : lead <= 5 ? 5 : 10);
}

static void widen(double *lo, double *hi, double x) {
  if (!lw_known(x)) return;
  if (!lw_known(*lo) || x < *lo) *lo = x;
  if (!lw_known(*hi) || x > *hi) *hi = x;
}

static axis axis_of(const scale *s, double x, double width) {
  double lo = s->start, hi = lw_known(s->end) ? s->end : s->start;
  const double parts[] = {s->limit.lo, s->limit.hi, s->target.lo, s->target.hi, s->reference};
  for (size_t i = 0; i < 5; i++)
    widen(&lo, &hi, parts[i]);
  for (size_t i = 0; i < s->count; i++) {
    widen(&lo, &hi, s->marks[i].lo);
    widen(&lo, &hi, s->marks[i].open ? s->marks[i].x : s->marks[i].hi);
  }
  if (!lw_known(lo)) lo = 0;
  if (!lw_known(hi) || hi <= lo) hi = lo + (lo != 0 ? fabs(lo) * 0.1 : 1);
  double pad = (hi - lo) * 0.08;
  if (s->start != 0) lo -= pad;
  hi += pad;
  axis a = {.x = x, .width = width, .step = nice_step(hi - lo)};
  a.from = s->start == 0 ? 0 : floor(lo / a.step) * a.step;
  a.to = ceil(hi / a.step) * a.step;
  return a;
}

static double at(const axis *a, double value) {
  double share = (value - a->from) / (a->to - a->from);
  return a->x + a->width * fmin(1, fmax(0, share));
}

static void draw_axis(lw_pen *pen, const axis *a, double y) {
  static const lw_hand hand = {5.8, false, LW_INK_SOFT, 1};
  lw_pen_rule(pen, a->x, y, a->width, 0.5, LW_INK_RULE);
  int steps = (int)lround((a->to - a->from) / a->step);
  int decimals = (int)fmax(0, ceil(-log10(a->step) - 1e-9));
  for (int i = 0; i <= steps && steps < 30; i++) {
    char text[32];
    double value = a->from + i * a->step, x = at(a, value);
    lw_pen_rule(pen, x - 0.25, y, 0.5, 2.5, LW_INK_RULE);
    snprintf(text, sizeof text, "%.*f", decimals, value);
    double half = lw_pen_text_width(pen, hand, text) / 2;
    lw_pen_text(pen, hand, NULL, x - half, y + 2.5, 2 * half + 2, text);
  }
}

static void shade(lw_pen *pen, double from, double to, double y, double height) {
  if (to - from < 0.1) return;
  lw_pen_ink(pen, LW_INK_SHADE);
  cairo_rectangle(pen->cr, from, y, to - from, height);
  cairo_fill(pen->cr);
}

static void draw_limit(lw_pen *pen, const scale *s, const axis *a, double y, double height) {
  if (lw_known(s->limit.lo)) {
    shade(pen, a->x, at(a, s->limit.lo), y, height);
    lw_pen_rule(pen, at(a, s->limit.lo) - 0.7, y - 2, 1.4, height + 2, LW_INK_TEXT);
  }
  if (lw_known(s->limit.hi)) {
    shade(pen, at(a, s->limit.hi), a->x + a->width, y, height);
    lw_pen_rule(pen, at(a, s->limit.hi) - 0.7, y - 2, 1.4, height + 2, LW_INK_TEXT);
  }
  cairo_save(pen->cr);
  const double dashes[] = {2, 1.5};
  cairo_set_dash(pen->cr, dashes, 2, 0);
  cairo_set_line_width(pen->cr, 0.8);
  lw_pen_ink(pen, LW_INK_SOFT);
  const double lines[] = {s->reference, s->target.lo, s->target.hi};
  for (size_t i = 0; i < 3; i++) {
    if (!lw_known(lines[i])) continue;
    cairo_move_to(pen->cr, at(a, lines[i]), y);
    cairo_line_to(pen->cr, at(a, lines[i]), y + height);
    cairo_stroke(pen->cr);
  }
  cairo_restore(pen->cr);
}

/* The band, with an arrow head where it runs off the scale or is open. */
static void draw_band(lw_pen *pen, const axis *a, const mark *m, double y, bool found) {
  double from = at(a, m->lo), to = at(a, m->hi);
  if (to - from > 0.5) {
    cairo_rectangle(pen->cr, from, y - 2.4, to - from, 4.8);
    cairo_set_source_rgb(pen->cr, found ? 0.80 : 0.58, found ? 0.80 : 0.66, found ? 0.80 : 0.68);
    cairo_fill_preserve(pen->cr);
    lw_pen_ink(pen, found ? LW_INK_SOFT : LW_INK_ACCENT);
    cairo_set_line_width(pen->cr, 0.6);
    cairo_stroke(pen->cr);
  }
  if (!m->open && m->hi <= a->to) return;
  lw_pen_ink(pen, LW_INK_TEXT);
  cairo_move_to(pen->cr, to + 6, y);
  cairo_line_to(pen->cr, to + 0.5, y - 3.4);
  cairo_line_to(pen->cr, to + 0.5, y + 3.4);
  cairo_close_path(pen->cr);
  cairo_fill(pen->cr);
}

static void value_words(char *out, size_t size, const scale *s, const mark *m) {
  char x[32], band[32];
  double half = (m->hi - m->lo) / 2;
  if (!lw_known(m->x)) {
    snprintf(out, size, "not read");
    return;
  }
  lw_text_value(x, sizeof x, m->x, half, s->decimals);
  const char *gap = s->unit[0] ? " " : "";
  if (m->open) {
    snprintf(out, size, "%s or leaner", x);
  } else if (half > 0) {
    lw_text_value(band, sizeof band, half, half, s->decimals);
    snprintf(out, size, "%s \xC2\xB1 %s%s%s", x, band, gap, s->unit);
  } else {
    snprintf(out, size, "%s%s%s", x, gap, s->unit);
  }
}

static void draw_mark(lw_pen *pen, const scale *s, const axis *a, const mark *m, double y) {
  static const lw_hand label = {6.8, false, LW_INK_SOFT, 1}, value = {7.6, true, LW_INK_TEXT, 1};
  static const lw_hand said = {6.8, false, LW_INK_TEXT, 1};
  bool found = strcmp(m->who, "left") != 0;
  char text[96];
  double x = a->x + a->width + 14;
  if (lw_known(m->x)) {
    draw_band(pen, a, m, y, found);
    if (found) {
      lw_pen_found_shape(pen, at(a, m->x), y, 2.9);
    } else {
      lw_pen_left_shape(pen, at(a, m->x), y, 2.9);
    }
  }
  lw_pen_text(pen, label, NULL, x, y - 4.5, 26, m->who);
  value_words(text, sizeof text, s, m);
  lw_pen_text(pen, value, NULL, x + 26, y - 5, 74, text);
  if (!m->judged || m->verdict == LW_NO_VERDICT) return;
  lw_pen_verdict_shape(pen, m->verdict, x + 104, y, 3.6);
  snprintf(text, sizeof text, "%s",
           m->verdict == LW_TOO_CLOSE ? "too close" : lw_verdict_text(m->verdict));
  lw_pen_text(pen, said, NULL, x + 110, y - 4.5, pen->right - x - 110, text);
}

static void draw_row(lw_pen *pen, const scale *s) {
  static const lw_hand name = {8, true, LW_INK_TEXT, 1}, limit = {7, false, LW_INK_TEXT, 1};
  static const lw_hand source = {6, false, LW_INK_SOFT, 1};
  double y = pen->y, wide = pen->right - pen->left;
  axis a = axis_of(s, pen->left + 122, wide - 122 - 178);
  double height = s->count > 1 ? 25 : 14;
  lw_pen_text(pen, name, NULL, pen->left, y - 1, 114, s->name);
  lw_pen_text(pen, limit, NULL, pen->left, y + 10, 114, s->limit_text);
  if (s->source) lw_pen_text(pen, source, NULL, pen->left, y + 20, 114, s->source);
  draw_limit(pen, s, &a, y + 1, height);
  draw_axis(pen, &a, y + 1 + height);
  for (size_t i = 0; i < s->count; i++) {
    draw_mark(pen, s, &a, &s->marks[i], y + 8 + 11.5 * (double)i);
  }
  pen->y += s->count > 1 ? ROW : 32;
}

static void legend(lw_pen *pen) {
  static const lw_hand hand = {6.5, false, LW_INK_SOFT, 1};
  double x = pen->left + 3, y = pen->y + 4;
  lw_pen_found_shape(pen, x, y, 2.6);
  lw_pen_text(pen, hand, NULL, x + 7, y - 4, 60, "as found");
  lw_pen_left_shape(pen, x + 52, y, 2.6);
  lw_pen_text(pen, hand, NULL, x + 59, y - 4, 60, "as left");
  lw_pen_rule(pen, x + 98, y - 2.4, 16, 4.8, LW_INK_RULE);
  lw_pen_text(pen, hand, NULL, x + 118, y - 4, 130, "95 % band of the value (\xC2\xB1 2u)");
  lw_pen_rule(pen, x + 246, y - 5, 1.4, 10, LW_INK_TEXT);
  shade(pen, x + 247.4, x + 264, y - 4, 8);
  lw_pen_text(pen, hand, NULL, x + 268, y - 4, 100, "limit, and beyond it");
  cairo_save(pen->cr);
  const double dashes[] = {2, 1.5};
  cairo_set_dash(pen->cr, dashes, 2, 0);
  cairo_set_line_width(pen->cr, 0.8);
  lw_pen_ink(pen, LW_INK_SOFT);
  cairo_move_to(pen->cr, x + 352, y - 4.5);
  cairo_line_to(pen->cr, x + 352, y + 4.5);
  cairo_stroke(pen->cr);
  cairo_restore(pen->cr);
  lw_pen_text(pen, hand, NULL, x + 358, y - 4, pen->right - x - 358, "target, or lambda 1");
  pen->y += 16;
}

void lw_sheet_scales(lw_pen *pen) {
  static const lw_hand hand = {8, false, LW_INK_SOFT, 0};
  scales *all = lw_arena_alloc(pen->arena, sizeof *all);
  if (!all) return;
  fill(all, pen->work);
  if (!lw_pen_title(pen, "Before and after", all->count ? 70 : 20)) return;
  if (all->count == 0) {
    pen->y += lw_pen_text(pen, hand, NULL, pen->left, pen->y, pen->right - pen->left,
                          "No exhaust reading and no limit was given.");
    return;
  }
  legend(pen);
  for (size_t i = 0; i < all->count; i++) {
    if (i >= pen->level->scales || !lw_pen_room(pen, ROW)) {
      lw_pen_shorten(pen, "before and after");
      return;
    }
    draw_row(pen, &all->rows[i]);
  }
}
