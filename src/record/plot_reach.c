/* plot_reach.c - what the screws of two units reach: CO with the speed kept, and speed with the
** speed screw left alone, against turns. The band of each card is shaded, each preset ringed.
*/
#include "brief_parts.h"

#include <math.h>
#include <stdio.h>

enum { LEFT = 46, RIGHT = 346, PANEL = 150, GAP = 58 };

typedef struct panel {
  const char *name;
  double (*value)(const lw_idle_point *p);
  const lw_idle_curve *curve[2]; /* before, now; NULL: none */
  const lw_idle_point *ring[2];
  double turns[2];
  lw_range band[2];
  double most; /* the scale goes no higher */
} panel;

static double co_of(const lw_idle_point *p) {
  return 100 * p->run.burned.sampled.dry.co;
}

static double speed_of(const lw_idle_point *p) {
  return lw_dim_shown(LW_SPIN, LW_SHOP, p->run.setting.speed);
}

static void panels_of(const lw_brief *b, panel out[2]) {
  out[0] = (panel){.name = "CO, %, speed kept with the speed screw", .value = co_of, .most = 10};
  out[1] =
      (panel){.name = "Idle speed, rpm, speed screw left alone", .value = speed_of, .most = 4000};
  for (int k = 0; k < 2; k++) {
    const lw_brief_reach *r = &b->reach[k];
    const lw_card *card = k ? b->after.card : b->before.card;
    double to_rpm = lw_dim_shown(LW_SPIN, LW_SHOP, 1);
    out[0].curve[k] = r->kept;
    out[1].curve[k] = r->free;
    out[0].ring[k] = &r->set;
    out[1].ring[k] = &r->left;
    out[0].turns[k] = out[1].turns[k] = r->run ? r->turns : LW_NONE;
    out[0].band[k] = (lw_range){100 * card->idle.co.lo, LW_NONE, 100 * card->idle.co.hi};
    out[1].band[k] =
        (lw_range){to_rpm * card->idle.speed.lo, LW_NONE, to_rpm * card->idle.speed.hi};
  }
}

/* ---- a panel ---- */

static void pen(lw_canvas *c, int k) {
  static const double dashes[] = {6, 3};
  cairo_set_dash(c->cr, dashes, k ? 0 : 2, 0);
  lw_canvas_tint(c, k ? LW_TINT_ACCENT : LW_TINT_MAIN, 1);
  cairo_set_line_width(c->cr, 2);
}

static void scale_of(const panel *p, lw_frame *f) {
  f->x0 = f->y0 = 1e9;
  f->x1 = f->y1 = -1e9;
  for (int k = 0; k < 2; k++) {
    for (size_t i = 0; p->curve[k] && i < p->curve[k]->count; i++) {
      const lw_idle_point *at = &p->curve[k]->points[i];
      f->x0 = fmin(f->x0, at->turns);
      f->x1 = fmax(f->x1, at->turns);
      if (!at->solved) continue;
      f->y0 = fmin(f->y0, p->value(at));
      f->y1 = fmax(f->y1, fmin(p->value(at), p->most));
    }
    if (lw_known(p->band[k].lo)) f->y0 = fmin(f->y0, p->band[k].lo);
    if (lw_known(p->band[k].hi)) f->y1 = fmax(f->y1, p->band[k].hi);
  }
  if (f->y1 < f->y0) f->y0 = f->y1 = 0;
  double step = lw_nice_step(fmax(f->y1 - f->y0, 1e-3), 6);
  f->y0 = step * floor(f->y0 / step);
  f->y1 = step * ceil(f->y1 / step + 1e-9);
}

static void grid(lw_canvas *c, const lw_frame *f) {
  char text[24];
  double step = lw_nice_step(f->y1 - f->y0, 6);
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

/* The old band is hatched, the new one filled: they may lie over each other. */
static void band(lw_canvas *c, const lw_frame *f, lw_range r, int k) {
  if (!lw_known(r.lo) || !lw_known(r.hi)) return;
  double top = lw_frame_y(f, r.hi), bottom = lw_frame_y(f, r.lo);
  cairo_rectangle(c->cr, f->left, top, f->right - f->left, fmax(bottom - top, 1));
  if (k) {
    lw_canvas_tint(c, LW_TINT_ACCENT, 0.18);
    cairo_fill(c->cr);
  } else {
    lw_canvas_hatch(c, 1, LW_TINT_MAIN, 0.55);
  }
}

static void curve(lw_canvas *c, const lw_frame *f, const panel *p, const lw_idle_curve *k) {
  bool down = false;
  cairo_save(c->cr);
  cairo_rectangle(c->cr, f->left, f->top, f->right - f->left, f->bottom - f->top);
  cairo_clip(c->cr);
  cairo_new_path(c->cr);
  for (size_t i = 0; i < k->count; i++) {
    const lw_idle_point *at = &k->points[i];
    if (!at->solved) {
      down = false;
      continue;
    }
    double x = lw_frame_x(f, at->turns), y = lw_frame_y(f, p->value(at));
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

static void ring(lw_canvas *c, const lw_frame *f, const panel *p, int k) {
  if (!lw_known(p->turns[k]) || !p->ring[k]->solved || p->value(p->ring[k]) > f->y1) return;
  cairo_set_dash(c->cr, NULL, 0, 0);
  cairo_new_path(c->cr);
  cairo_arc(c->cr, lw_frame_x(f, p->turns[k]), lw_frame_y(f, p->value(p->ring[k])), 4, 0,
            6.2831853);
  lw_canvas_tint(c, LW_TINT_PAPER, 1);
  cairo_fill_preserve(c->cr);
  pen(c, k);
  cairo_set_dash(c->cr, NULL, 0, 0);
  cairo_stroke(c->cr);
}

static void draw_panel(lw_canvas *c, const panel *p, double top) {
  lw_frame f = {.left = LEFT, .right = RIGHT, .top = top, .bottom = top + PANEL};
  scale_of(p, &f);
  grid(c, &f);
  for (int k = 0; k < 2; k++)
    band(c, &f, p->band[k], k);
  lw_canvas_outline(c, &f);
  for (int k = 0; k < 2; k++) {
    pen(c, k);
    if (p->curve[k]) curve(c, &f, p, p->curve[k]);
  }
  for (int k = 0; k < 2; k++) {
    if (p->curve[k]) ring(c, &f, p, k);
  }
  cairo_set_dash(c->cr, NULL, 0, 0);
  lw_canvas_text(c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, top - 20, p->name);
  lw_canvas_text(c, 9.5, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, f.right, f.bottom + 17,
                 "screws alike, turns out from lightly seated");
}

/* ---- the picture ---- */

static double legend(lw_canvas *c, const lw_brief *b, double top, bool draw) {
  for (int k = 0; k < 2 && draw; k++) {
    char text[160];
    const lw_card *card = k ? b->after.card : b->before.card;
    double y = top + 16 * k;
    pen(c, k);
    cairo_move_to(c->cr, 12, y + 7);
    cairo_line_to(c->cr, 44, y + 7);
    cairo_stroke(c->cr);
    cairo_set_dash(c->cr, NULL, 0, 0);
    snprintf(text, sizeof text, "%.80s, %s", card->unit, k ? "now" : "before");
    lw_canvas_text(c, 10.5, false, LW_TINT_TEXT, LW_ALIGN_LEFT, 52, y, text);
  }
  return top + 36;
}

static double below_title(lw_canvas *c, const lw_brief *b, bool draw) {
  char title[200];
  snprintf(title, sizeof title, "What the screws reach: %.80s", b->after.card->unit);
  double y = lw_canvas_title(c, title,
                             "ring: as its card has it; band: what the card wants, before hatched, "
                             "now filled",
                             draw);
  return legend(c, b, y + 4, draw);
}

static double height(lw_canvas *c, const void *what) {
  return below_title(c, what, false) + 2 * (PANEL + GAP) + 4;
}

static void draw_all(lw_canvas *c, const void *what) {
  panel panels[2];
  panels_of(what, panels);
  double top = below_title(c, what, true) + 24;
  for (int i = 0; i < 2; i++)
    draw_panel(c, &panels[i], top + i * (PANEL + GAP));
}

lw_status lw_plot_reach_use(const lw_brief *brief, lw_picture_use use, void *to, lw_error *error) {
  if (!brief->reach[0].kept && !brief->reach[1].kept) return LW_OK;
  lw_picture picture = {"What the screws of both units reach",
                        "CO with the speed kept and speed with the speed screw left alone, against "
                        "the turns of the mixture screws, before and now",
                        height, draw_all, brief};
  return use(to, &picture, error);
}
