/* plot_idle.c - the curves a specialist carries in the head: speed, CO and HC against a screw. */
#include "plot_pen.h"

#include <math.h>
#include <stdio.h>

enum { LEFT = 46, RIGHT = 346, PANEL = 128, GAP = 58, CURVES_MOST = 4 };

/* What a panel shows: the value of a point, and what the card wants of it. */
typedef struct shown {
  const char *name;
  double (*value)(const lw_idle_point *p);
  lw_range band; /* shaded */
  double limit;  /* a line; NaN: none */
  double most;   /* the scale goes no higher: what is above leaves the panel */
  bool from_zero;
} shown;

static double speed_of(const lw_idle_point *p) {
  return lw_dim_shown(LW_SPIN, LW_SHOP, p->run.setting.speed);
}

static double vacuum_of(const lw_idle_point *p) {
  return lw_dim_shown(LW_PRESSURE, LW_SHOP, p->run.vacuum);
}

static double co_of(const lw_idle_point *p) {
  return 100 * p->run.burned.sampled.dry.co;
}

static double hc_of(const lw_idle_point *p) {
  return 1e6 * p->run.burned.sampled.dry.hc / 6;
}

static lw_range in_shop(lw_range r, lw_dim dim, double times) {
  double scale = dim == LW_COUNT ? times : lw_dim_shown(dim, LW_SHOP, 1);
  return (lw_range){r.lo * scale, r.at * scale, r.hi * scale};
}

/* The tightest limit of a card on a gas at idle; NaN: none. */
static double limit_of(const lw_card *card, lw_gas_name gas, double times) {
  const lw_limit_said *l = card->limits.items;
  double least = LW_NONE;
  for (size_t i = 0; i < card->limits.count; i++) {
    if (l[i].gas != gas || !lw_known(l[i].value.hi)) continue;
    if (l[i].at != LW_AT_IDLE && l[i].at != LW_AT_UNSAID) continue;
    double x = l[i].value.hi * times;
    if (!(least <= x)) least = x;
  }
  return least;
}

static size_t panels_of(const lw_plot_idle *plot, shown *out) {
  const lw_card *card = plot->card;
  bool held = plot->table->hold == LW_HOLD_SPEED;
  out[0] = (shown){
      held ? "Manifold vacuum, inHg" : "Idle speed, rpm",
      held ? vacuum_of : speed_of,
      held ? in_shop(card->engine.idle_vacuum, LW_PRESSURE, 1)
           : in_shop(plot->table->gear == LW_LOAD_DRIVE ? card->idle.speed_drive : card->idle.speed,
                     LW_SPIN, 1),
      LW_NONE,
      4000,
      false};
  out[1] =
      (shown){"CO, %", co_of, in_shop(card->idle.co, LW_COUNT, 100), limit_of(card, LW_GAS_CO, 100),
              12,      true};
  out[2] = (shown){
      "HC, ppm as hexane", hc_of, lw_range_none, limit_of(card, LW_GAS_HC, 1e6), 1500, true};
  return 3;
}

/* Which curves are drawn: those of mixture screws; the speed screw's when there are none. */
static size_t curves_of(const lw_idle_table *t, const lw_idle_curve **out) {
  size_t n = 0;
  for (size_t i = 0; i < t->curve_count && n < CURVES_MOST; i++) {
    bool speed = t->hold == LW_HOLD_STOP && i + 1 == t->curve_count;
    if (!speed) out[n++] = &t->curves[i];
  }
  if (n == 0 && t->curve_count) out[n++] = &t->curves[0];
  return n;
}

/* ---- a panel ---- */

static void pen(lw_canvas *c, size_t k) {
  static const double dashes[CURVES_MOST][4] = {{0}, {7, 3}, {2, 2.5}, {8, 2.5, 2, 2.5}};
  static const int counts[CURVES_MOST] = {0, 2, 2, 4};
  static const lw_tint tints[CURVES_MOST] = {LW_TINT_ACCENT, LW_TINT_MAIN, LW_TINT_IDLE,
                                             LW_TINT_POWER};
  cairo_set_dash(c->cr, dashes[k], counts[k], 0);
  lw_canvas_tint(c, tints[k], 1);
  cairo_set_line_width(c->cr, 2);
}

static void scale_of(const shown *s, const lw_idle_curve **curves, size_t n, lw_frame *f) {
  f->x0 = f->y0 = 1e9;
  f->x1 = f->y1 = -1e9;
  for (size_t k = 0; k < n; k++) {
    for (size_t i = 0; i < curves[k]->count; i++) {
      const lw_idle_point *p = &curves[k]->points[i];
      f->x0 = fmin(f->x0, p->turns);
      f->x1 = fmax(f->x1, p->turns);
      if (!p->solved) continue;
      f->y0 = fmin(f->y0, s->value(p));
      f->y1 = fmax(f->y1, fmin(s->value(p), s->most));
    }
  }
  if (lw_known(s->band.lo)) f->y0 = fmin(f->y0, s->band.lo);
  if (lw_known(s->band.hi)) f->y1 = fmax(f->y1, s->band.hi);
  if (lw_known(s->limit)) f->y1 = fmax(f->y1, 1.1 * s->limit);
  if (f->y1 < f->y0) f->y0 = f->y1 = 0;
  double step = lw_nice_step(fmax(f->y1 - f->y0, 1e-3), 5);
  f->y0 = s->from_zero ? 0 : step * floor(f->y0 / step);
  f->y1 = step * ceil(f->y1 / step + 1e-9);
}

static void grid(lw_canvas *c, const lw_frame *f) {
  char text[24];
  double step = lw_nice_step(f->y1 - f->y0, 5);
  for (int i = 0; f->y0 + i * step <= f->y1 + 1e-9; i++) {
    snprintf(text, sizeof text, "%g", f->y0 + i * step);
    lw_canvas_grid_y(c, f, f->y0 + i * step, text);
  }
  step = lw_nice_step(f->x1 - f->x0, 8);
  double first = step * ceil(f->x0 / step - 1e-9);
  for (int i = 0; first + i * step <= f->x1 + 1e-9; i++) {
    double x = first + i * step;
    snprintf(text, sizeof text, "%g", fabs(x) < 1e-9 ? 0.0 : x);
    lw_canvas_grid_x(c, f, x, text);
  }
}

static void wanted(lw_canvas *c, const lw_frame *f, const shown *s) {
  if (lw_known(s->band.lo) && lw_known(s->band.hi)) {
    double top = lw_frame_y(f, s->band.hi), bottom = lw_frame_y(f, s->band.lo);
    cairo_rectangle(c->cr, f->left, top, f->right - f->left, fmax(bottom - top, 1));
    lw_canvas_tint(c, LW_TINT_IDLE, 0.18);
    cairo_fill(c->cr);
  }
  if (!lw_known(s->limit)) return;
  const double dots[] = {1.5, 2.5};
  cairo_set_dash(c->cr, dots, 2, 0);
  lw_canvas_tint(c, LW_TINT_TEXT, 1);
  cairo_set_line_width(c->cr, 1.2);
  cairo_move_to(c->cr, f->left, lw_frame_y(f, s->limit));
  cairo_line_to(c->cr, f->right, lw_frame_y(f, s->limit));
  cairo_stroke(c->cr);
  cairo_set_dash(c->cr, NULL, 0, 0);
}

/* Its word, on paper of its own: a curve may pass there. */
static void name_limit(lw_canvas *c, const lw_frame *f, const shown *s) {
  if (!lw_known(s->limit)) return;
  double width = 0, height = 0, y = lw_frame_y(f, s->limit);
  lw_canvas_measure(c, 9, false, "limit", &width, &height);
  cairo_rectangle(c->cr, f->right - width - 5, y - height - 1.5, width + 4, height);
  lw_canvas_tint(c, LW_TINT_PAPER, 1);
  cairo_fill(c->cr);
  lw_canvas_text(c, 9, false, LW_TINT_TEXT, LW_ALIGN_RIGHT, f->right - 3, y - height - 1.5,
                 "limit");
}

static void draw_curve(lw_canvas *c, const lw_frame *f, const shown *s, const lw_idle_curve *k) {
  bool down = false;
  cairo_save(c->cr);
  cairo_rectangle(c->cr, f->left, f->top, f->right - f->left, f->bottom - f->top);
  cairo_clip(c->cr);
  cairo_new_path(c->cr);
  for (size_t i = 0; i < k->count; i++) {
    const lw_idle_point *p = &k->points[i];
    if (!p->solved) {
      down = false;
      continue;
    }
    double x = lw_frame_x(f, p->turns), y = lw_frame_y(f, s->value(p));
    if (down) {
      cairo_line_to(c->cr, x, y);
    } else {
      cairo_move_to(c->cr, x, y);
    }
    down = true;
  }
  cairo_stroke(c->cr);
  cairo_restore(c->cr);
}

/* Where the screw stands now: a ring on its curve. */
static void mark(lw_canvas *c, const lw_frame *f, const shown *s, const lw_idle_curve *k,
                 const lw_idle_point *now) {
  if (!lw_known(k->now) || !now->solved || s->value(now) > f->y1) return;
  cairo_set_dash(c->cr, NULL, 0, 0);
  cairo_new_path(c->cr);
  cairo_arc(c->cr, lw_frame_x(f, k->now), lw_frame_y(f, s->value(now)), 4, 0, 6.2831853);
  lw_canvas_tint(c, LW_TINT_PAPER, 1);
  cairo_fill_preserve(c->cr);
  lw_canvas_tint(c, LW_TINT_TEXT, 1);
  cairo_set_line_width(c->cr, 1.5);
  cairo_stroke(c->cr);
}

static void panel(lw_canvas *c, const lw_plot_idle *plot, const shown *s, double top) {
  const lw_idle_curve *curves[CURVES_MOST];
  size_t n = curves_of(plot->table, curves);
  lw_frame f = {.left = LEFT, .right = RIGHT, .top = top, .bottom = top + PANEL};
  scale_of(s, curves, n, &f);
  grid(c, &f);
  wanted(c, &f, s);
  lw_canvas_outline(c, &f);
  for (size_t k = 0; k < n; k++) {
    pen(c, k);
    draw_curve(c, &f, s, curves[k]);
  }
  name_limit(c, &f, s);
  for (size_t k = 0; k < n; k++)
    mark(c, &f, s, curves[k], &plot->table->now);
  cairo_set_dash(c->cr, NULL, 0, 0);
  lw_canvas_text(c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top - 20, s->name);
  lw_canvas_text(c, 9.5, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, f.right, f.bottom + 17,
                 "screw, turns out from lightly seated");
}

/* ---- the picture ---- */

static double legend(lw_canvas *c, const lw_plot_idle *plot, double top, bool draw) {
  const lw_idle_curve *curves[CURVES_MOST];
  size_t n = curves_of(plot->table, curves);
  for (size_t k = 0; k < n; k++) {
    double y = top + 16 * (double)k;
    if (!draw) continue;
    pen(c, k);
    cairo_move_to(c->cr, 12, y + 7);
    cairo_line_to(c->cr, 44, y + 7);
    cairo_stroke(c->cr);
    cairo_set_dash(c->cr, NULL, 0, 0);
    bool all = n > 1 && curves[k]->kind == LW_SCREW_UNSAID;
    char text[120];
    snprintf(text, sizeof text, "%s", all ? "all screws alike" : curves[k]->screw);
    lw_canvas_text(c, 10.5, false, LW_TINT_TEXT, LW_ALIGN_LEFT, 52, y, text);
  }
  return top + 16 * (double)n + 4;
}

static const char *note(const lw_plot_idle *plot) {
  return plot->table->hold == LW_HOLD_SPEED
             ? "speed kept with the speed screw; ring: as it stands; shaded: what the card wants"
             : "speed screw left alone; ring: as it stands; shaded: what the card wants";
}

static double below_title(lw_canvas *c, const lw_plot_idle *plot, bool draw) {
  return legend(c, plot, lw_canvas_title(c, plot->title, note(plot), draw) + 4, draw);
}

static double height_of(lw_canvas *c, const void *what) {
  shown panels[3];
  size_t n = panels_of(what, panels);
  return below_title(c, what, false) + (double)n * (PANEL + GAP) + 4;
}

static void draw_all(lw_canvas *c, const void *what) {
  const lw_plot_idle *plot = what;
  shown panels[3];
  size_t n = panels_of(plot, panels);
  double top = below_title(c, plot, true) + 24;
  for (size_t i = 0; i < n; i++)
    panel(c, plot, &panels[i], top + (double)i * (PANEL + GAP));
}

lw_status lw_plot_idle_write(const lw_plot_idle *plot, lw_plot_form form, const char *path,
                             lw_error *error) {
  if (plot->table->curve_count == 0)
    return lw_fail(error, LW_BAD_INPUT, "there is no screw to draw a curve of");
  lw_picture picture = {plot->title, "Idle speed, CO and HC against the turns of each screw.",
                        height_of, draw_all, plot};
  return lw_picture_write(&picture, form, path, error);
}
