/* plot.c - the mixture and the circuits against air flow.
**
** Air flow stands on a logarithmic scale: idle, transfer and main metering each get their room.
*/
#include "plot_pen.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { POINTS_MOST = 400, LEFT = 40, RIGHT = 346 };

static const double afr_least = 7, afr_most = 24; /* what a curve may ask of the scale */

/* Which circuits are stacked, bottom up, and how each looks. */
static const struct {
  lw_circuit circuit;
  lw_tint tint;
  int hatch;
} stack[] = {
    {LW_CIRCUIT_IDLE, LW_TINT_IDLE, 1}, {LW_CIRCUIT_TRANSFER, LW_TINT_TRANSFER, 2},
    {LW_CIRCUIT_MAIN, LW_TINT_MAIN, 3}, {LW_CIRCUIT_POWER, LW_TINT_POWER, 4},
    {LW_CIRCUIT_LEAK, LW_TINT_LEAK, 5},
};
enum { STACK = sizeof stack / sizeof stack[0] };

static bool good(const lw_map_point *p) {
  return p->report.converged && p->air > 0 && p->afr == p->afr;
}

/* ---- scales ---- */

static void air_span(const lw_map *m, double *lo, double *hi) {
  for (size_t i = 0; m && i < m->speeds; i++) {
    if (!good(&m->points[i])) continue;
    double x = log10(1e3 * m->points[i].air);
    *lo = fmin(*lo, x);
    *hi = fmax(*hi, x);
  }
}

static void afr_span(const lw_map *m, double *lo, double *hi) {
  for (size_t i = 0; m && i < m->speeds; i++) {
    if (!good(&m->points[i])) continue;
    *lo = fmin(*lo, fmax(m->points[i].afr, afr_least));
    *hi = fmax(*hi, fmin(m->points[i].afr, afr_most));
  }
}

static void grid_air(lw_canvas *c, const lw_frame *f, const lw_plot_lines *plot) {
  static const double ticks[] = {0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000};
  for (size_t i = 0; i < sizeof ticks / sizeof ticks[0]; i++) {
    double x = log10(ticks[i]);
    char text[24];
    if (x < f->x0 - 1e-9 || x > f->x1 + 1e-9) continue;
    snprintf(text, sizeof text, "%g", ticks[i]);
    lw_canvas_grid_x(c, f, x, text);
  }
  lw_canvas_text(c, 10, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, f->right, f->bottom + 17,
                 plot->changed ? "original's air flow, g/s (log)" : "air flow, g/s (log)");
}

static void grid_value(lw_canvas *c, const lw_frame *f, int most, bool sign) {
  double step = lw_nice_step(f->y1 - f->y0, most);
  double first = step * ceil(f->y0 / step - 1e-9);
  for (int i = 0; first + i * step <= f->y1 + 1e-9; i++) {
    char text[24];
    double y = first + i * step;
    double shown = fabs(y) < 1e-9 ? 0.0 : y;
    snprintf(text, sizeof text, sign && shown > 0 ? "+%g" : "%g", shown);
    lw_canvas_grid_y(c, f, y, text);
  }
}

static lw_frame frame_at(double top, double height, const lw_plot_lines *plot) {
  lw_frame f = {.left = LEFT, .right = RIGHT, .top = top, .bottom = top + height};
  double lo = 1e9, hi = -1e9;
  air_span(plot->original, &lo, &hi);
  if (hi - lo < 0.1) {
    lo -= 0.05;
    hi += 0.05;
  }
  f.x0 = lo;
  f.x1 = hi;
  return f;
}

/* ---- gaps ---- */

/* The span of air flow that the points not converged leave open, between their neighbors. */
static void gaps(lw_canvas *c, const lw_frame *f, const lw_map *m, const lw_map *axis) {
  double last = f->x0;
  bool open = false;
  for (size_t i = 0; i <= m->speeds; i++) {
    bool end = i == m->speeds;
    if (!end && !(good(&m->points[i]) && good(&axis->points[i]))) {
      open = true;
      continue;
    }
    double x = end ? f->x1 : log10(1e3 * axis->points[i].air);
    if (open && x > last) {
      double from = lw_frame_x(f, last), to = lw_frame_x(f, x);
      cairo_rectangle(c->cr, from, f->top, to - from, f->bottom - f->top);
      lw_canvas_hatch(c, 0, LW_TINT_SOFT, 0.7);
    }
    open = false;
    last = x;
  }
}

/* What the hatched spans are; NULL: there are none. */
static const char *gap_words(const lw_plot_lines *plot) {
  const lw_map *maps[] = {plot->original, plot->changed, plot->after};
  bool dry = false, lost = false;
  for (size_t k = 0; k < 3 && maps[k]; k++) {
    lost = lost || maps[k]->failed;
    for (size_t i = 0; i < maps[k]->speeds; i++)
      dry = dry || (maps[k]->points[i].report.converged && !good(&maps[k]->points[i]));
  }
  if (dry && lost) return "hatched: no fuel, or not settled";
  return dry ? "hatched: no fuel flows" : lost ? "hatched: flows not settled" : NULL;
}

/* ---- curves ---- */

typedef double (*value_of)(const lw_plot_lines *plot, size_t i);

static double original_afr(const lw_plot_lines *plot, size_t i) {
  return plot->original->points[i].afr;
}

static double changed_afr(const lw_plot_lines *plot, size_t i) {
  return plot->changed->points[i].afr;
}

static double after_afr(const lw_plot_lines *plot, size_t i) {
  return plot->after->points[i].afr;
}

static double change(const lw_plot_lines *plot, size_t i) {
  return 100 * lw_change(&plot->original->points[i], &plot->changed->points[i]);
}

static double left_over(const lw_plot_lines *plot, size_t i) {
  return 100 * lw_change(&plot->original->points[i], &plot->after->points[i]);
}

static void curve(lw_canvas *c, const lw_frame *f, const lw_plot_lines *plot, const lw_map *at,
                  value_of value) {
  bool down = false;
  cairo_save(c->cr);
  cairo_rectangle(c->cr, f->left, f->top, f->right - f->left, f->bottom - f->top);
  cairo_clip(c->cr);
  cairo_new_path(c->cr);
  for (size_t i = 0; i < at->speeds; i++) {
    double y = value(plot, i);
    if (!good(&at->points[i]) || !(y == y)) {
      down = false;
      continue;
    }
    double px = lw_frame_x(f, log10(1e3 * at->points[i].air)), py = lw_frame_y(f, y);
    py = fmin(fmax(py, f->top - 50), f->bottom + 50);
    if (down) {
      cairo_line_to(c->cr, px, py);
    } else {
      cairo_move_to(c->cr, px, py);
    }
    down = true;
  }
  cairo_stroke(c->cr);
  cairo_restore(c->cr);
}

/* The three lines of a picture. */
typedef enum line { LINE_ORIGINAL, LINE_CHANGED, LINE_AFTER } line;

static void pen_of(lw_canvas *c, line which) {
  static const double dashes[] = {6, 3}, dots[] = {2, 2.5};
  static const lw_tint tints[] = {LW_TINT_TEXT, LW_TINT_ACCENT, LW_TINT_MAIN};
  const double *dash = which == LINE_CHANGED ? dashes : which == LINE_AFTER ? dots : NULL;
  lw_canvas_tint(c, tints[which], 1);
  cairo_set_line_width(c->cr, which == LINE_AFTER ? 2.4 : 2);
  cairo_set_line_join(c->cr, CAIRO_LINE_JOIN_ROUND);
  cairo_set_dash(c->cr, dash, dash ? 2 : 0, 0);
}

/* "original ---  changed - - -" at the right over a panel. */
static void legend(lw_canvas *c, const lw_plot_lines *plot, double y) {
  const char *const names[] = {"original", plot->after ? "not rejetted" : "changed", "rejetted"};
  double x = RIGHT;
  for (int i = plot->after ? 2 : 1; i >= 0; i--) {
    double width = 0, height = 0;
    lw_canvas_measure(c, 10.5, false, names[i], &width, &height);
    lw_canvas_text(c, 10.5, false, LW_TINT_TEXT, LW_ALIGN_RIGHT, x, y, names[i]);
    x -= width + 4;
    pen_of(c, (line)i);
    cairo_move_to(c->cr, x - 22, y + height / 2);
    cairo_line_to(c->cr, x, y + height / 2);
    cairo_stroke(c->cr);
    cairo_set_dash(c->cr, NULL, 0, 0);
    x -= plot->after ? 28 : 34;
  }
}

static double stoichiometric(const lw_map *m) {
  for (size_t i = 0; i < m->speeds; i++) {
    if (good(&m->points[i])) return m->points[i].afr / m->points[i].lambda;
  }
  return LW_NONE;
}

/* Where burning would be complete, as a thin dotted line, named where the curves are far. */
static void correct_line(lw_canvas *c, const lw_frame *f, double afr) {
  static const double dots[] = {1.5, 3};
  double y = lw_frame_y(f, afr);
  if (!(afr > f->y0 && afr < f->y1)) return;
  lw_canvas_tint(c, LW_TINT_SOFT, 1);
  cairo_set_line_width(c->cr, 1.1);
  cairo_set_dash(c->cr, dots, 2, 0);
  cairo_move_to(c->cr, f->left, y);
  cairo_line_to(c->cr, f->right, y);
  cairo_stroke(c->cr);
  cairo_set_dash(c->cr, NULL, 0, 0);
}

static void afr_panel(lw_canvas *c, const lw_plot_lines *plot, double top, double height) {
  lw_frame f = frame_at(top, height, plot);
  double lo = 1e9, hi = -1e9, afr = stoichiometric(plot->original);
  char text[80];
  afr_span(plot->original, &lo, &hi);
  afr_span(plot->changed, &lo, &hi);
  afr_span(plot->after, &lo, &hi);
  f.y0 = floor(fmin(lo, afr) - 0.5);
  f.y1 = ceil(fmax(hi, afr) + 0.5);
  grid_air(c, &f, plot);
  grid_value(c, &f, 8, false);
  gaps(c, &f, plot->original, plot->original);
  if (plot->changed) gaps(c, &f, plot->changed, plot->original);
  if (plot->after) gaps(c, &f, plot->after, plot->original);
  correct_line(c, &f, afr);
  lw_canvas_outline(c, &f);
  pen_of(c, LINE_ORIGINAL);
  curve(c, &f, plot, plot->original, original_afr);
  if (plot->changed) {
    pen_of(c, LINE_CHANGED);
    curve(c, &f, plot, plot->original, changed_afr);
    legend(c, plot, top - 21);
  }
  if (plot->after) {
    pen_of(c, LINE_AFTER);
    curve(c, &f, plot, plot->original, after_afr);
  }
  cairo_set_dash(c->cr, NULL, 0, 0);
  lw_canvas_text(c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top - 21,
                 plot->changed ? "Air-fuel ratio" : "Air-fuel ratio (higher is leaner)");
  snprintf(text, sizeof text, "dotted: %.1f, just enough air", afr);
  lw_canvas_text(c, 9.5, false, LW_TINT_SOFT, LW_ALIGN_LEFT, LEFT, f.bottom + 17, text);
}

static void change_panel(lw_canvas *c, const lw_plot_lines *plot, double top, double height) {
  lw_frame f = frame_at(top, height, plot);
  double most = 1;
  for (size_t i = 0; i < plot->original->speeds; i++) {
    double x = fabs(change(plot, i));
    if (x == x) most = fmax(most, fmin(x, 60));
    x = plot->after ? fabs(left_over(plot, i)) : 0;
    if (x == x) most = fmax(most, fmin(x, 60));
  }
  double step = lw_nice_step(2 * most, 6);
  f.y1 = step * ceil(most / step - 1e-9);
  f.y0 = -f.y1;
  grid_air(c, &f, plot);
  grid_value(c, &f, 6, true);
  lw_canvas_tint(c, LW_TINT_SOFT, 1);
  cairo_set_line_width(c->cr, 1.1);
  cairo_move_to(c->cr, f.left, lw_frame_y(&f, 0));
  cairo_line_to(c->cr, f.right, lw_frame_y(&f, 0));
  cairo_stroke(c->cr);
  lw_canvas_outline(c, &f);
  pen_of(c, LINE_CHANGED);
  if (!plot->after) cairo_set_dash(c->cr, NULL, 0, 0);
  curve(c, &f, plot, plot->original, change);
  if (plot->after) {
    pen_of(c, LINE_AFTER);
    curve(c, &f, plot, plot->original, left_over);
    cairo_set_dash(c->cr, NULL, 0, 0);
  }
  lw_canvas_text(c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top - 21,
                 "Change, % (+ leaner, \xE2\x88\x92 richer)");
}

/* ---- circuits ---- */

typedef struct shares {
  size_t count;
  double x[POINTS_MOST], top[STACK + 1][POINTS_MOST]; /* cumulated, 0..100 */
  bool good[POINTS_MOST];
  bool present[STACK];
} shares;

/* The shares of p, at the air flow of the original's point: all panels have one axis. */
static void add_shares(shares *s, const lw_map_point *p, const lw_map_point *original) {
  size_t i = s->count++;
  double total = 0, sum = 0;
  s->good[i] = good(p) && good(original);
  s->x[i] = s->good[i] ? log10(1e3 * original->air) : LW_NONE;
  for (int k = 0; k < STACK && s->good[i]; k++)
    total += fmax(p->by_circuit[stack[k].circuit], 0);
  s->top[0][i] = 0;
  for (int k = 0; k < STACK; k++) {
    double share = total > 0 ? 100 * fmax(p->by_circuit[stack[k].circuit], 0) / total : 0;
    sum += s->good[i] ? share : 0;
    s->top[k + 1][i] = sum;
    if (s->good[i] && share > 0.5) s->present[k] = true;
  }
}

/* The outline of one circuit's area between points from and to. */
static void area(lw_canvas *c, const lw_frame *f, const shares *s, int k, size_t from, size_t to) {
  cairo_new_path(c->cr);
  for (size_t i = from; i < to; i++)
    cairo_line_to(c->cr, lw_frame_x(f, s->x[i]), lw_frame_y(f, s->top[k + 1][i]));
  for (size_t i = to; i > from; i--)
    cairo_line_to(c->cr, lw_frame_x(f, s->x[i - 1]), lw_frame_y(f, s->top[k][i - 1]));
  cairo_close_path(c->cr);
}

static void one_area(lw_canvas *c, const lw_frame *f, const shares *s, int k, size_t from,
                     size_t to) {
  area(c, f, s, k, from, to);
  lw_canvas_tint(c, stack[k].tint, 0.28);
  cairo_fill(c->cr);
  area(c, f, s, k, from, to);
  lw_canvas_hatch(c, stack[k].hatch, stack[k].tint, 0.55);
  area(c, f, s, k, from, to);
  lw_canvas_tint(c, stack[k].tint, 1);
  cairo_set_line_width(c->cr, 0.8);
  cairo_stroke(c->cr);
}

/* Thickness of an area, canvas units, over the span a label would take. */
static double thickness(const lw_frame *f, const shares *s, int k, double left, double right,
                        double *middle) {
  double top = -1e9, bottom = 1e9;
  for (size_t i = 0; i < s->count; i++) {
    if (!s->good[i]) continue;
    double x = lw_frame_x(f, s->x[i]);
    if (x < left - 6 || x > right + 6) continue;
    top = fmax(top, lw_frame_y(f, s->top[k + 1][i]));
    bottom = fmin(bottom, lw_frame_y(f, s->top[k][i]));
  }
  *middle = (top + bottom) / 2;
  return bottom - top;
}

/* The name in the area where it has most room; an area without room is in the legend only. */
static void label_area(lw_canvas *c, const lw_frame *f, const shares *s, int k) {
  const char *name = lw_circuit_text(stack[k].circuit);
  double width = 0, height = 0, best = 0, at = 0, at_y = 0;
  lw_canvas_measure(c, 10.5, true, name, &width, &height);
  double first = f->left + width / 2 + 6;
  for (int i = 0; first + 3 * i < f->right - width / 2 - 6; i++) {
    double x = first + 3 * i, middle = 0,
           thick = thickness(f, s, k, x - width / 2, x + width / 2, &middle);
    if (thick <= best || thick > 1e8) continue;
    best = thick;
    at = x;
    at_y = middle;
  }
  if (best < height + 5) return;
  lw_canvas_tint(c, LW_TINT_PAPER, 0.85);
  cairo_rectangle(c->cr, at - width / 2 - 3, at_y - height / 2 - 1, width + 6, height + 2);
  cairo_fill(c->cr);
  lw_canvas_text(c, 10.5, true, LW_TINT_TEXT, LW_ALIGN_MIDDLE, at, at_y - height / 2, name);
}

static void circuit_legend(lw_canvas *c, const shares *s, double y) {
  double x = LEFT;
  for (int k = 0; k < STACK; k++) {
    double width = 0, height = 0;
    const char *name = lw_circuit_text(stack[k].circuit);
    if (!s->present[k]) continue;
    lw_canvas_measure(c, 10.5, false, name, &width, &height);
    cairo_rectangle(c->cr, x, y + 1, 16, 11);
    lw_canvas_tint(c, stack[k].tint, 0.28);
    cairo_fill_preserve(c->cr);
    lw_canvas_hatch(c, stack[k].hatch, stack[k].tint, 0.55);
    cairo_rectangle(c->cr, x, y + 1, 16, 11);
    lw_canvas_tint(c, stack[k].tint, 1);
    cairo_set_line_width(c->cr, 0.8);
    cairo_stroke(c->cr);
    lw_canvas_text(c, 10.5, false, LW_TINT_TEXT, LW_ALIGN_LEFT, x + 20, y, name);
    x += 20 + width + 12;
  }
}

static void circuit_panel(lw_canvas *c, const lw_plot_lines *plot, double top, double height) {
  const lw_map *m = plot->after ? plot->after : plot->changed ? plot->changed : plot->original;
  lw_frame f = frame_at(top, height, plot);
  static const shares none;
  shares s = none;
  f.y0 = 0;
  f.y1 = 100;
  for (size_t i = 0; i < m->speeds && i < POINTS_MOST; i++)
    add_shares(&s, &m->points[i], &plot->original->points[i]);
  grid_air(c, &f, plot);
  grid_value(c, &f, 4, false);
  gaps(c, &f, m, plot->original);
  for (int k = 0; k < STACK; k++) {
    for (size_t from = 0; from < s.count && s.present[k];) {
      size_t to = from;
      while (to < s.count && s.good[to])
        to++;
      if (to - from > 1) one_area(c, &f, &s, k, from, to);
      from = to + 1;
    }
  }
  for (int k = 0; k < STACK; k++) {
    if (s.present[k]) label_area(c, &f, &s, k);
  }
  lw_canvas_outline(c, &f);
  lw_canvas_text(c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top - 21,
                 plot->after     ? "Where the fuel comes from, %, rejetted"
                 : plot->changed ? "Where the fuel comes from, %, changed"
                                 : "Where the fuel comes from, %");
  const char *hatched = gap_words(plot);
  if (hatched) {
    lw_canvas_text(c, 9.5, false, LW_TINT_SOFT, LW_ALIGN_LEFT, LEFT, f.bottom + 17, hatched);
  }
  circuit_legend(c, &s, f.bottom + 33);
}

/* ---- the picture ---- */

enum { AFR_HIGH = 190, CHANGE_HIGH = 96, CIRCUITS_HIGH = 130, HEAD = 23, FOOT = 34 };

static double height(lw_canvas *c, const void *what) {
  const lw_plot_lines *plot = what;
  double y = lw_canvas_title(c, plot->title, plot->note, false);
  y += HEAD + AFR_HIGH + FOOT;
  if (plot->changed) y += HEAD + CHANGE_HIGH + FOOT;
  return y + HEAD + CIRCUITS_HIGH + FOOT + 22;
}

static void draw(lw_canvas *c, const void *what) {
  const lw_plot_lines *plot = what;
  double y = lw_canvas_title(c, plot->title, plot->note, true);
  afr_panel(c, plot, y + HEAD, AFR_HIGH);
  y += HEAD + AFR_HIGH + FOOT;
  if (plot->changed) {
    change_panel(c, plot, y + HEAD, CHANGE_HIGH);
    y += HEAD + CHANGE_HIGH + FOOT;
  }
  circuit_panel(c, plot, y + HEAD, CIRCUITS_HIGH);
}

static size_t good_points(const lw_map *m) {
  size_t count = 0;
  for (size_t i = 0; i < m->speeds; i++)
    count += good(&m->points[i]);
  return count;
}

lw_status lw_plot_line_use(const lw_plot_lines *plot, lw_picture_use use, void *to,
                           lw_error *error) {
  if (good_points(plot->original) < 2 || plot->original->speeds > POINTS_MOST) {
    return lw_fail(error, LW_BAD_INPUT, "too few points converged to draw a curve");
  }
  lw_picture picture = {
      .title = plot->title,
      .about = plot->changed ? "Air-fuel ratio against air flow, original and changed, the change "
                               "in percent, and the circuits' shares of the fuel"
                             : "Air-fuel ratio against air flow, and the circuits' shares of the "
                               "fuel",
      .height = height,
      .draw = draw,
      .what = plot,
  };
  return use(to, &picture, error);
}

lw_status lw_plot_line(const lw_plot_lines *plot, lw_plot_form form, const char *path,
                       lw_error *error) {
  lw_picture_file file = {form, path};
  return lw_plot_line_use(plot, lw_picture_to_file, &file, error);
}
