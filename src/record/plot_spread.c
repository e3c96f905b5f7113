/* plot_spread.c - a tolerance study as a picture: histograms, and what they hang on. */
#include "plot_pen.h"

#include <math.h>
#include <stdio.h>

enum { LEFT = 46, RIGHT = 346, PANEL = 92, GAP = 56, BINS = 40, BARS = 6, BAR = 17 };

typedef struct shown {
  lw_spread_seen seen;
  const char *name;
  double times;
} shown;

static const shown panels[] = {
    {LW_SPREAD_SPEED, "Speed as assembled, rpm", 9.5492965855137201},
    {LW_SPREAD_CO, "CO as assembled, %", 100},
    {LW_SPREAD_HC, "HC as assembled, ppm as hexane", 1e6},
    {LW_SPREAD_TURNS, "Mixture screw, turns out from its preset", 1},
    {LW_SPREAD_SPEED_TURNS, "Speed screw, turns in", 1},
    {LW_SPREAD_SET_HC, "HC as set, ppm as hexane", 1e6},
};
enum { PANELS = sizeof panels / sizeof panels[0] };

/* What of these is ranked in the picture. */
static const lw_spread_seen ranked[] = {LW_SPREAD_SPEED, LW_SPREAD_CO, LW_SPREAD_TURNS,
                                        LW_SPREAD_SET_HC};
enum { RANKED = sizeof ranked / sizeof ranked[0] };

static lw_range band_of(const lw_spread_goal *g, lw_spread_seen seen) {
  if (seen == LW_SPREAD_SPEED)
    return (lw_range){g->speed - g->speed_within, g->speed, g->speed + g->speed_within};
  if (seen == LW_SPREAD_CO) return (lw_range){g->co_lo, g->co, g->co_hi};
  return lw_range_none;
}

static double limit_of(const lw_spread_goal *g, lw_spread_seen seen) {
  if (seen == LW_SPREAD_CO) return g->co_most;
  return seen == LW_SPREAD_HC || seen == LW_SPREAD_SET_HC ? g->hc_most : LW_NONE;
}

/* ---- a histogram ---- */

typedef struct bins {
  double lo, step;
  size_t count[BINS + 1], n, over, most; /* over: beyond the picture */
} bins;

/* 98 of 100 units set the scale, with the band and the limit; the few beyond are counted beside. */
static bins bins_of(const lw_spread_numbers *x, const shown *s, lw_range band, double limit) {
  double lo = lw_spread_quantile(x, 0.01), hi = lw_spread_quantile(x, 0.99);
  double wide = fmax(hi - lo, 1e-3 / s->times);
  lo -= 0.08 * wide;
  hi += 0.08 * wide;
  if (lw_known(band.lo)) lo = fmin(lo, band.lo - 0.04 * wide);
  if (lw_known(band.hi)) hi = fmax(hi, band.hi + 0.04 * wide);
  if (lw_known(limit) && limit < hi + wide) hi = fmax(hi, limit + 0.08 * wide);
  bool positive = s->seen != LW_SPREAD_TURNS && s->seen != LW_SPREAD_SPEED_TURNS;
  if (positive && lo < 0) lo = 0;
  bins b = {.lo = s->times * lo, .step = s->times * (hi - lo) / BINS, .most = 1};
  for (size_t i = 0; i < x->count; i++) {
    double at = (s->times * x->sorted[i] - b.lo) / b.step;
    if (at < 0 || at >= BINS) {
      b.over++;
      continue;
    }
    size_t k = (size_t)at;
    b.count[k]++;
    if (b.count[k] > b.most) b.most = b.count[k];
  }
  b.n = x->count;
  return b;
}

static void grid(lw_canvas *c, const lw_frame *f) {
  char text[24];
  double step = lw_nice_step(f->y1 - f->y0, 3);
  for (int i = 0; i * step <= f->y1 + 1e-9; i++) {
    snprintf(text, sizeof text, "%g %%", i * step);
    lw_canvas_grid_y(c, f, i * step, text);
  }
  step = lw_nice_step(f->x1 - f->x0, 7);
  for (int i = (int)ceil(f->x0 / step - 1e-9); i * step <= f->x1 + 1e-9; i++) {
    double x = i * step;
    snprintf(text, sizeof text, "%g", fabs(x) < 1e-9 ? 0.0 : x);
    lw_canvas_grid_x(c, f, x, text);
  }
}

static void shade(lw_canvas *c, const lw_frame *f, lw_range band, double times) {
  if (!lw_known(band.lo) || !lw_known(band.hi)) return;
  double left = lw_frame_x(f, times * band.lo), right = lw_frame_x(f, times * band.hi);
  cairo_rectangle(c->cr, left, f->top, right - left, f->bottom - f->top);
  lw_canvas_tint(c, LW_TINT_IDLE, 0.18);
  cairo_fill(c->cr);
}

static void draw_bins(lw_canvas *c, const lw_frame *f, const bins *b) {
  double all = b->n ? (double)b->n : 1;
  for (size_t i = 0; i < BINS; i++) {
    if (!b->count[i]) continue;
    double left = lw_frame_x(f, b->lo + (double)i * b->step);
    double right = lw_frame_x(f, b->lo + (double)(i + 1) * b->step);
    double top = lw_frame_y(f, 100 * (double)b->count[i] / all);
    cairo_rectangle(c->cr, left + 0.4, top, right - left - 0.8, f->bottom - top);
  }
  lw_canvas_tint(c, LW_TINT_ACCENT, 0.85);
  cairo_fill(c->cr);
}

/* A dotted line with its word. */
static void mark(lw_canvas *c, const lw_frame *f, double x, const char *word, bool left) {
  const double dots[] = {1.5, 2.5};
  if (!(x > f->x0 && x < f->x1)) return;
  double at = lw_frame_x(f, x), width = 0, height = 0;
  cairo_set_dash(c->cr, dots, 2, 0);
  lw_canvas_tint(c, LW_TINT_TEXT, 1);
  cairo_set_line_width(c->cr, 1.3);
  cairo_move_to(c->cr, at, f->top);
  cairo_line_to(c->cr, at, f->bottom);
  cairo_stroke(c->cr);
  cairo_set_dash(c->cr, NULL, 0, 0);
  lw_canvas_measure(c, 9, false, word, &width, &height);
  if (left && at - width - 6 < f->left) left = false;
  if (!left && at + width + 6 > f->right) left = true;
  double from = left ? at - width - 4 : at + 4;
  cairo_rectangle(c->cr, from - 1, f->top + 2, width + 2, height);
  lw_canvas_tint(c, LW_TINT_PAPER, 0.85);
  cairo_fill(c->cr);
  lw_canvas_text(c, 9, false, LW_TINT_TEXT, LW_ALIGN_LEFT, from, f->top + 2, word);
}

static void histogram(lw_canvas *c, const lw_plot_spread *plot, const shown *s, double top) {
  const lw_spread_numbers *x = &plot->result->numbers[s->seen];
  lw_range band = band_of(plot->goal, s->seen);
  double limit = limit_of(plot->goal, s->seen), middle = plot->result->nominal->x[s->seen];
  bins b = bins_of(x, s, band, limit);
  lw_frame f = {.left = LEFT, .right = RIGHT, .top = top, .bottom = top + PANEL};
  f.x0 = b.lo;
  f.x1 = b.lo + BINS * b.step;
  double most = 100 * (double)b.most / (double)(b.n ? b.n : 1), step = lw_nice_step(most, 3);
  f.y1 = step * ceil(1.12 * most / step);
  shade(c, &f, band, s->times);
  grid(c, &f);
  draw_bins(c, &f, &b);
  lw_canvas_outline(c, &f);
  if (lw_known(middle)) mark(c, &f, s->times * middle, "middle", true);
  if (lw_known(limit)) mark(c, &f, s->times * limit, "limit", false);
  lw_canvas_text(c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top - 20, s->name);
  char text[80] = "";
  size_t none = plot->result->unit_count - x->count;
  if (b.over)
    lw_text_append(text, sizeof text, b.over > 1 ? "%zu units lie beside" : "%zu unit lies beside",
                   b.over);
  if (none) lw_text_append(text, sizeof text, "%s%zu have none", b.over ? ", " : "", none);
  lw_canvas_text(c, 9.5, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, f.right, f.bottom + 17, text);
}

/* ---- what it hangs on ---- */

static size_t bars_of(const lw_spread_result *r, lw_spread_seen seen) {
  size_t n = 0;
  while (n < BARS && n < r->dim_count && r->rank[r->order[n][seen]][seen].total > 0.02)
    n++;
  return n;
}

/* The whole bar is the total, hatched what the dimension does alone; a whisker the standard
   error. */
static void bar(lw_canvas *c, const lw_spread_result *r, lw_spread_seen seen, size_t k,
                double top) {
  const double left = 150, wide = RIGHT - 40 - left;
  const lw_sensitivity *s = &r->rank[r->order[k][seen]][seen];
  double total = fmin(s->total, 1), alone = fmin(fmax(s->first, 0), total);
  char text[40];
  lw_canvas_text(c, 10, false, LW_TINT_TEXT, LW_ALIGN_RIGHT, left - 6, top,
                 lw_vary_text(r->dims[r->order[k][seen]].what));
  cairo_rectangle(c->cr, left, top + 1, total * wide, BAR - 6);
  lw_canvas_tint(c, LW_TINT_ACCENT, 0.35);
  cairo_fill(c->cr);
  cairo_rectangle(c->cr, left, top + 1, alone * wide, BAR - 6);
  lw_canvas_tint(c, LW_TINT_ACCENT, 0.85);
  cairo_fill(c->cr);
  double lo = left + fmax(total - s->total_u, 0) * wide;
  double hi = left + fmin(total + s->total_u, 1) * wide; /* few units can give more than all */
  double y = top + 1 + (BAR - 6) / 2.0;
  lw_canvas_tint(c, LW_TINT_TEXT, 1);
  cairo_set_line_width(c->cr, 1.2);
  cairo_move_to(c->cr, lo, y);
  cairo_line_to(c->cr, hi, y);
  cairo_stroke(c->cr);
  snprintf(text, sizeof text, "%.0f %%", 100 * s->total);
  lw_canvas_text(c, 10, false, LW_TINT_TEXT, LW_ALIGN_LEFT, hi + 5, top, text);
}

static double rank(lw_canvas *c, const lw_plot_spread *plot, double top, bool draw) {
  const lw_spread_result *r = plot->result;
  char text[80];
  if (!r->ranked) return top;
  for (size_t i = 0; i < RANKED; i++) {
    size_t n = bars_of(r, ranked[i]);
    if (!n) continue;
    snprintf(text, sizeof text, "What the %s hang%s on", lw_spread_seen_text(ranked[i]),
             ranked[i] == LW_SPREAD_TURNS ? "" : "s");
    if (draw) lw_canvas_text(c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top, text);
    top += 20;
    for (size_t k = 0; k < n; k++) {
      if (draw) bar(c, r, ranked[i], k, top);
      top += BAR;
    }
    top += 10;
  }
  return top + lw_canvas_box(c, 9.5, false, LW_TINT_SOFT, 12, top, PLOT_WIDTH - 24, 3,
                             "Share of the variance; dark: alone, light: together with others; "
                             "line: standard error of the whole.",
                             draw);
}

/* ---- the picture ---- */

static double head(lw_canvas *c, const lw_plot_spread *plot, bool draw) {
  const lw_spread_result *r = plot->result;
  char note[300];
  snprintf(note, sizeof note,
           "%zu units. Set by their screws: %.1f %%, with CO in its band: %.1f %%. Speed right as "
           "assembled: %.1f %%.",
           r->unit_count, 100 * r->settable.share, 100 * r->in_band.share,
           100 * r->speed_at_once.share);
  return lw_canvas_title(c, plot->title, note, draw);
}

static bool drawn(const lw_plot_spread *plot, size_t i) {
  return plot->result->numbers[panels[i].seen].count > 0;
}

static double height_of(lw_canvas *c, const void *what) {
  const lw_plot_spread *plot = what;
  double top = head(c, plot, false) + 28;
  for (size_t i = 0; i < PANELS; i++)
    top += drawn(plot, i) ? PANEL + GAP : 0;
  return rank(c, plot, top, false) + 10;
}

static void draw_all(lw_canvas *c, const void *what) {
  const lw_plot_spread *plot = what;
  double top = head(c, plot, true) + 28;
  for (size_t i = 0; i < PANELS; i++) {
    if (!drawn(plot, i)) continue;
    histogram(c, plot, &panels[i], top);
    top += PANEL + GAP;
  }
  rank(c, plot, top, true);
}

lw_status lw_plot_spread_write(const lw_plot_spread *plot, lw_plot_form form, const char *path,
                               lw_error *error) {
  if (plot->result->unit_count < 2) {
    return lw_fail(error, LW_BAD_INPUT, "there are no units to draw");
  }
  lw_picture picture = {plot->title,
                        "Histograms of speed, CO, HC and screw turns over virtual units, and which "
                        "dimensions they hang on.",
                        height_of, draw_all, plot};
  return lw_picture_write(&picture, form, path, error);
}
