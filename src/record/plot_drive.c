/* plot_drive.c - a drive second by second: speed, CO, HC and vacuum. */
#include "leanward/drive_file.h"

#include "plot_pen.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { LEFT = 40, RIGHT = 348, PANEL = 92, GAP = 38 };

/* What a panel shows of a second. */
typedef struct shown {
  const char *name;
  double (*value)(const lw_drive_second *s);
  double (*wanted)(const lw_drive_second *s); /* a second, dotted curve; NULL: none */
  lw_gas_name gas;                            /* its worst second is marked */
  lw_tint tint;
} shown;

static double driven(const lw_drive_second *s) {
  return s->driven / 0.44704;
}

static double wanted(const lw_drive_second *s) {
  return s->wanted / 0.44704;
}

static double carbon_monoxide(const lw_drive_second *s) {
  return 100 * s->dry.co;
}

static double hydrocarbons(const lw_drive_second *s) {
  return 1e6 * s->dry.hc;
}

static double vacuum(const lw_drive_second *s) {
  return lw_dim_shown(LW_PRESSURE, LW_SHOP, s->vacuum);
}

static const shown panels[] = {
    {"Speed, mph (dotted: wanted)", driven, wanted, LW_GAS_UNSAID, LW_TINT_ACCENT},
    {"CO, % dry", carbon_monoxide, NULL, LW_GAS_CO, LW_TINT_POWER},
    {"HC, ppm as hexane", hydrocarbons, NULL, LW_GAS_HC, LW_TINT_MAIN},
    {"Manifold vacuum, inHg", vacuum, NULL, LW_GAS_UNSAID, LW_TINT_IDLE},
};
enum { PANELS = sizeof panels / sizeof panels[0] };

/* ---- a panel ---- */

/* From nothing to the most, but for rare spikes: what 1 second in 200 exceeds leaves the panel. */
static double top_of(const lw_drive *d, const shown *s) {
  double most = 0, top = 0;
  for (size_t i = 0; i < d->count; i++)
    most = fmax(most, s->value(&d->seconds[i]));
  for (int k = 0; k < 60; k++) { /* the least of many levels that few exceed */
    double level = most * pow(0.9, k);
    size_t over = 0;
    for (size_t i = 0; i < d->count; i++)
      over += s->value(&d->seconds[i]) > level;
    if (over * 200 > d->count) break;
    top = level;
  }
  return top > 0 ? top : 1;
}

static void grid(lw_canvas *c, const lw_frame *f, bool last) {
  char text[24];
  double step = lw_nice_step(f->y1 - f->y0, 4);
  for (int i = 0; f->y0 + i * step <= f->y1 + 1e-9 * f->y1; i++) {
    snprintf(text, sizeof text, "%g", f->y0 + i * step);
    lw_canvas_grid_y(c, f, f->y0 + i * step, text);
  }
  step = lw_nice_step(f->x1 - f->x0, 8);
  for (int i = 0; f->x0 + i * step <= f->x1 + 1e-9; i++) {
    snprintf(text, sizeof text, "%g", f->x0 + i * step);
    lw_canvas_grid_x(c, f, f->x0 + i * step, last ? text : "");
  }
}

static void curve(lw_canvas *c, const lw_frame *f, const lw_drive *d,
                  double (*value)(const lw_drive_second *s)) {
  cairo_save(c->cr);
  cairo_rectangle(c->cr, f->left, f->top, f->right - f->left, f->bottom - f->top);
  cairo_clip(c->cr);
  cairo_new_path(c->cr);
  for (size_t i = 0; i < d->count; i++)
    cairo_line_to(c->cr, lw_frame_x(f, d->seconds[i].time), lw_frame_y(f, value(&d->seconds[i])));
  cairo_stroke(c->cr);
  cairo_restore(c->cr);
}

/* A ring at the second that gave off most, at the panel's edge when it lies outside; in words over
   the panel, where no curve is. */
static void mark(lw_canvas *c, const lw_frame *f, const lw_drive *d, const shown *s) {
  for (size_t k = 0; k < d->worst_count; k++) {
    if (s->gas == LW_GAS_UNSAID || d->worst[k].gas != s->gas) continue;
    const lw_drive_second *at = &d->seconds[d->worst[k].second];
    char text[80];
    cairo_new_path(c->cr);
    cairo_arc(c->cr, lw_frame_x(f, at->time), lw_frame_y(f, fmin(s->value(at), f->y1)), 4, 0,
              6.2831853);
    lw_canvas_tint(c, LW_TINT_TEXT, 1);
    cairo_set_line_width(c->cr, 1.4);
    cairo_stroke(c->cr);
    snprintf(text, sizeof text, "ring: most grams, %.0f s, %.*f %s", at->time,
             s->gas == LW_GAS_CO ? 1 : 0, s->value(at), s->gas == LW_GAS_CO ? "%" : "ppm");
    lw_canvas_text(c, 9, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, f->right, f->top - 16, text);
  }
}

static void panel(lw_canvas *c, const lw_drive *d, const shown *s, double top, bool last) {
  lw_frame f = {.left = LEFT, .right = RIGHT, .top = top, .bottom = top + PANEL, .x0 = 0};
  f.x1 = d->seconds[d->count - 1].time;
  double step = lw_nice_step(top_of(d, s), 4);
  f.y1 = step * ceil(top_of(d, s) / step - 1e-9);
  grid(c, &f, last);
  lw_canvas_outline(c, &f);
  cairo_set_line_join(c->cr, CAIRO_LINE_JOIN_ROUND);
  lw_canvas_tint(c, s->tint, 1);
  cairo_set_line_width(c->cr, 1);
  curve(c, &f, d, s->value);
  if (s->wanted) {
    const double dots[] = {1, 2};
    cairo_set_dash(c->cr, dots, 2, 0);
    lw_canvas_tint(c, LW_TINT_TEXT, 1);
    cairo_set_line_width(c->cr, 0.8);
    curve(c, &f, d, s->wanted);
    cairo_set_dash(c->cr, NULL, 0, 0);
  }
  mark(c, &f, d, s);
  lw_canvas_text(c, 10.5, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top - 18, s->name);
}

/* ---- the picture ---- */

static double height_of(lw_canvas *c, const void *what) {
  const lw_plot_drive *plot = what;
  return lw_canvas_title(c, plot->title, plot->note, false) + 8 + PANELS * (PANEL + GAP) + 12;
}

static void draw_all(lw_canvas *c, const void *what) {
  const lw_plot_drive *plot = what;
  double top = lw_canvas_title(c, plot->title, plot->note, true) + 28;
  for (int i = 0; i < PANELS; i++)
    panel(c, plot->drive, &panels[i], top + i * (PANEL + GAP), i + 1 == PANELS);
  lw_canvas_text(c, 9.5, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, RIGHT,
                 top + PANELS * (PANEL + GAP) - GAP + 17, "time, s");
}

lw_status lw_plot_drive_write(const lw_plot_drive *plot, lw_plot_form form, const char *path,
                              lw_error *error) {
  if (plot->drive->count < 2)
    return lw_fail(error, LW_BAD_INPUT, "there is no second of the drive to draw");
  lw_picture picture = {plot->title, "Speed, CO, HC and manifold vacuum of a drive against time.",
                        height_of, draw_all, plot};
  return lw_picture_write(&picture, form, path, error);
}
