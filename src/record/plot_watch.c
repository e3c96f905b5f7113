/* plot_watch.c - what the needles do while the throttle moves: a maneuver against time. */
#include "plot_pen.h"

#include <math.h>
#include <stdio.h>

enum { LEFT = 46, RIGHT = 346, PANEL = 96, GAP = 44 };

typedef struct shown {
  const char *name;
  double (*value)(const lw_trace_point *p);
  double (*second)(const lw_trace_point *p); /* dashed; NULL: none */
  double least, most;                        /* what a curve may ask of the scale */
  lw_tint tint;
  bool (*told)(const lw_maneuver *m); /* whether the run has anything to show here; NULL: always */
} shown;

static double speed(const lw_trace_point *p) {
  return lw_dim_shown(LW_SPIN, LW_SHOP, p->speed);
}

static double vacuum(const lw_trace_point *p) {
  return lw_dim_shown(LW_PRESSURE, LW_SHOP, p->vacuum);
}

static double distributor(const lw_trace_point *p) {
  return lw_dim_shown(LW_PRESSURE, LW_SHOP, p->distributor_vacuum);
}

static double lambda(const lw_trace_point *p) {
  return p->lambda_cylinders;
}

static double hexane(const lw_trace_point *p) {
  return 1e6 * p->hc;
}

static double throttle(const lw_trace_point *p) {
  return 100 * p->throttle;
}

static double pump(const lw_trace_point *p) {
  return 1e3 * p->pumped;
}

static double choke(const lw_trace_point *p) {
  return 100 * p->choke;
}

static bool it_turned(const lw_maneuver *m) {
  const double turning = 10; /* rad/s */
  for (size_t i = 0; i < m->count; i++) {
    if (m->points[i].speed > turning) return true;
  }
  return false;
}

static bool it_pumped(const lw_maneuver *m) {
  return m->pump_mass > 1e-6;
}

static bool it_choked(const lw_maneuver *m) {
  return m->points[0].choke < 0.95;
}

static const shown panels[] = {
    {"Engine speed, rpm", speed, NULL, 0, 6000, LW_TINT_ACCENT, it_turned},
    {"Vacuum, inHg (dashed: at the distributor)", vacuum, distributor, 0, 30, LW_TINT_IDLE,
     it_turned},
    {"Lambda in the cylinders (over 1: lean)", lambda, NULL, 0.5, 1.6, LW_TINT_MAIN, it_turned},
    {"HC at the port, ppm as hexane", hexane, NULL, 0, 12000, LW_TINT_POWER, it_turned},
    {"Accelerator pump, g/s", pump, NULL, 0, 20, LW_TINT_MAIN, it_pumped},
    {"Choke, % open", choke, NULL, 0, 100, LW_TINT_IDLE, it_choked},
    {"Throttle, % of its travel", throttle, NULL, 0, 100, LW_TINT_LEAK, NULL},
};
enum { PANELS = sizeof panels / sizeof panels[0] };

/* What lies around the move: a long run-in at a held speed is of no interest. */
static void stretch_of(const lw_maneuver *m, lw_frame *f) {
  const double before = 1, after = 8; /* s */
  f->x0 = m->points[0].time;
  f->x1 = fmax(m->points[m->count - 1].time, f->x0 + 0.1);
  if (!(m->moved > f->x0 + 5)) return;
  f->x0 = m->moved - before;
  f->x1 = fmin(f->x1, m->moved + after);
}

static void scale_of(const lw_maneuver *m, const shown *s, lw_frame *f) {
  stretch_of(m, f);
  f->y0 = 1e9;
  f->y1 = -1e9;
  for (size_t i = 0; i < m->count; i++) {
    if (m->points[i].time < f->x0 || m->points[i].time > f->x1) continue;
    double y = s->value(&m->points[i]);
    if (!(y == y)) continue;
    f->y0 = fmin(f->y0, fmax(y, s->least));
    f->y1 = fmax(f->y1, fmin(y, s->most));
    if (!s->second) continue;
    f->y0 = fmin(f->y0, fmax(s->second(&m->points[i]), s->least));
    f->y1 = fmax(f->y1, fmin(s->second(&m->points[i]), s->most));
  }
  if (f->y1 < f->y0) f->y0 = f->y1 = s->least;
  double step = lw_nice_step(fmax(f->y1 - f->y0, 1e-2), 4);
  f->y0 = step * floor(f->y0 / step + 1e-9);
  f->y1 = step * ceil(f->y1 / step - 1e-6) + (f->y1 - f->y0 < 1e-9 ? step : 0);
}

static void grid(lw_canvas *c, const lw_frame *f, bool last) {
  char text[24];
  double step = lw_nice_step(f->y1 - f->y0, 4);
  for (int i = 0; f->y0 + i * step <= f->y1 + 1e-9; i++) {
    double y = f->y0 + i * step;
    snprintf(text, sizeof text, "%g", fabs(y) < 1e-9 ? 0.0 : y);
    lw_canvas_grid_y(c, f, y, text);
  }
  step = lw_nice_step(f->x1 - f->x0, 8);
  for (int i = (int)ceil(f->x0 / step - 1e-9); i * step <= f->x1 + 1e-9; i++) {
    snprintf(text, sizeof text, "%g", i * step);
    lw_canvas_grid_x(c, f, i * step, last ? text : "");
  }
}

static void curve(lw_canvas *c, const lw_frame *f, const lw_maneuver *m,
                  double (*value)(const lw_trace_point *)) {
  bool down = false;
  cairo_save(c->cr);
  cairo_rectangle(c->cr, f->left, f->top, f->right - f->left, f->bottom - f->top);
  cairo_clip(c->cr);
  cairo_new_path(c->cr);
  for (size_t i = 0; i < m->count; i++) {
    double y = value(&m->points[i]);
    if (!(y == y)) {
      down = false;
      continue;
    }
    double px = lw_frame_x(f, m->points[i].time), py = lw_frame_y(f, y);
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

/* A dotted line where the throttle was moved, and where the engine stalled. */
static void marks(lw_canvas *c, const lw_frame *f, const lw_maneuver *m) {
  const double dots[] = {1.5, 2.5};
  double at[2] = {m->moved, LW_NONE};
  for (size_t i = 0; i < m->event_count; i++) {
    if (m->events[i].kind == LW_EVENT_STALLED) at[1] = m->events[i].time;
  }
  for (int i = 0; i < 2; i++) {
    if (!(at[i] >= f->x0 && at[i] <= f->x1)) continue;
    cairo_set_dash(c->cr, dots, 2, 0);
    lw_canvas_tint(c, LW_TINT_TEXT, 0.8);
    cairo_set_line_width(c->cr, i ? 1.8 : 1);
    cairo_move_to(c->cr, lw_frame_x(f, at[i]), f->top);
    cairo_line_to(c->cr, lw_frame_x(f, at[i]), f->bottom);
    cairo_stroke(c->cr);
  }
  cairo_set_dash(c->cr, NULL, 0, 0);
}

static void panel(lw_canvas *c, const lw_maneuver *m, const shown *s, double top, bool last) {
  const double dashes[] = {5, 3};
  lw_frame f = {.left = LEFT, .right = RIGHT, .top = top, .bottom = top + PANEL};
  scale_of(m, s, &f);
  grid(c, &f, last);
  marks(c, &f, m);
  lw_canvas_outline(c, &f);
  lw_canvas_tint(c, s->tint, 1);
  cairo_set_line_width(c->cr, 1.8);
  curve(c, &f, m, s->value);
  if (s->second) {
    cairo_set_dash(c->cr, dashes, 2, 0);
    curve(c, &f, m, s->second);
    cairo_set_dash(c->cr, NULL, 0, 0);
  }
  lw_canvas_text(c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top - 20, s->name);
  if (last)
    lw_canvas_text(c, 9.5, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, f.right, f.bottom + 17,
                   "s (dotted: throttle moved, engine stalled)");
}

static bool told(const shown *s, const lw_maneuver *m) {
  return !s->told || s->told(m);
}

static double height_of(lw_canvas *c, const void *what) {
  const lw_plot_watch *plot = what;
  int count = 0;
  for (int i = 0; i < PANELS; i++)
    count += told(&panels[i], plot->run);
  return lw_canvas_title(c, plot->title, plot->note, false) + count * (PANEL + GAP) + 20;
}

static void draw_all(lw_canvas *c, const void *what) {
  const lw_plot_watch *plot = what;
  double top = lw_canvas_title(c, plot->title, plot->note, true) + 28;
  for (int i = 0; i < PANELS; i++) {
    if (!told(&panels[i], plot->run)) continue;
    panel(c, plot->run, &panels[i], top, i + 1 == PANELS);
    top += PANEL + GAP;
  }
}

lw_status lw_plot_watch_write(const lw_plot_watch *plot, lw_plot_form form, const char *path,
                              lw_error *error) {
  if (plot->run->count < 2) return lw_fail(error, LW_BAD_INPUT, "there is no trace to draw");
  lw_picture picture = {plot->title, "Speed, vacuum, lambda, HC and throttle against time.",
                        height_of, draw_all, plot};
  return lw_picture_write(&picture, form, path, error);
}
