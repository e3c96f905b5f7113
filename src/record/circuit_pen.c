/* circuit_pen.c - shapes of the circuit picture: pipes in three styles, arrows, jets, dots.
**
** Fuel is dark and solid, emulsion of middle shade with white dots in it, air light with an
** outline, and a passage without flow a thin gray line: told apart without color.
*/
#include "circuit_sketch.h"

#include <math.h>

static const double pipe_width = 10;

static const double shades[][3] = {
    [LW_SHADE_TEXT] = {0.08, 0.08, 0.10},     [LW_SHADE_SOFT] = {0.36, 0.36, 0.40},
    [LW_SHADE_PRESSURE] = {0.02, 0.30, 0.48}, [LW_SHADE_LINE] = {0.22, 0.22, 0.25},
    [LW_SHADE_METAL] = {0.80, 0.81, 0.83},    [LW_SHADE_FUEL] = {0.42, 0.17, 0.03},
    [LW_SHADE_EMULSION] = {0.82, 0.53, 0.22}, [LW_SHADE_AIR] = {0.88, 0.94, 0.98},
    [LW_SHADE_NONE] = {0.62, 0.62, 0.64},     [LW_SHADE_PAPER] = {1, 1, 1},
    [LW_SHADE_WARNING] = {0.62, 0.08, 0.08},
};

static lw_shade shade_of(lw_stuff stuff) {
  switch (stuff) {
  case LW_STUFF_FUEL: return LW_SHADE_FUEL;
  case LW_STUFF_EMULSION: return LW_SHADE_EMULSION;
  case LW_STUFF_AIR: return LW_SHADE_AIR;
  case LW_STUFF_NONE: break;
  }
  return LW_SHADE_NONE;
}

static void trace(lw_sketch *s, const lw_dot *dots, size_t count) {
  cairo_new_path(s->cr);
  for (size_t i = 0; i < count; i++)
    cairo_line_to(s->cr, dots[i].x, dots[i].y);
}

static void stroke(lw_sketch *s, const lw_dot *dots, size_t count, double width, lw_shade shade) {
  trace(s, dots, count);
  cairo_set_line_width(s->cr, width);
  lw_shade_set(s, shade);
  cairo_stroke(s->cr);
}

static void mark_busy(lw_sketch *s, const lw_dot *dots, size_t count, double width) {
  for (size_t i = 1; i < count; i++) {
    double x = fmin(dots[i - 1].x, dots[i].x), y = fmin(dots[i - 1].y, dots[i].y);
    lw_busy(s, x - width / 2, y - width / 2, fabs(dots[i].x - dots[i - 1].x) + width,
            fabs(dots[i].y - dots[i - 1].y) + width);
  }
}

/* The place at this share of a line's length, and its direction. */
static lw_dot along(const lw_dot *dots, size_t count, double share, lw_dot *direction) {
  double total = 0;
  for (size_t i = 1; i < count; i++)
    total += hypot(dots[i].x - dots[i - 1].x, dots[i].y - dots[i - 1].y);
  double left = share * total;
  for (size_t i = 1; i < count; i++) {
    double dx = dots[i].x - dots[i - 1].x, dy = dots[i].y - dots[i - 1].y, l = hypot(dx, dy);
    if (left > l && i + 1 < count) {
      left -= l;
      continue;
    }
    *direction = (lw_dot){dx / l, dy / l};
    return (lw_dot){dots[i - 1].x + left * dx / l, dots[i - 1].y + left * dy / l};
  }
  *direction = (lw_dot){1, 0};
  return dots[0];
}

void lw_shade_set(lw_sketch *s, lw_shade shade) {
  cairo_set_source_rgb(s->cr, shades[shade][0], shades[shade][1], shades[shade][2]);
}

void lw_duct(lw_sketch *s, lw_stuff stuff, const lw_dot *dots, size_t count) {
  static const double beads[] = {0, 7};
  mark_busy(s, dots, count, stuff == LW_STUFF_NONE ? 4 : pipe_width + 2);
  cairo_set_line_join(s->cr, CAIRO_LINE_JOIN_ROUND);
  cairo_set_line_cap(s->cr, CAIRO_LINE_CAP_BUTT);
  if (stuff == LW_STUFF_NONE) {
    stroke(s, dots, count, 2, LW_SHADE_NONE);
    return;
  }
  stroke(s, dots, count, pipe_width, LW_SHADE_LINE);
  stroke(s, dots, count, pipe_width - 3, shade_of(stuff));
  if (stuff != LW_STUFF_EMULSION) return;
  cairo_set_line_cap(s->cr, CAIRO_LINE_CAP_ROUND);
  cairo_set_dash(s->cr, beads, 2, 3);
  stroke(s, dots, count, 3.2, LW_SHADE_PAPER);
  cairo_set_dash(s->cr, NULL, 0, 0);
}

void lw_pipe(lw_sketch *s, const lw_stream *stream, const lw_dot *dots, size_t count,
             double arrow_at, bool bridge) {
  if (!stream->exists) return;
  if (bridge) {
    cairo_set_line_cap(s->cr, CAIRO_LINE_CAP_BUTT);
    stroke(s, dots, count, pipe_width + 8, LW_SHADE_PAPER);
  }
  lw_duct(s, stream->plugged ? LW_STUFF_NONE : stream->stuff, dots, count);
  if (arrow_at < 0 || stream->plugged || stream->stuff == LW_STUFF_NONE) return;
  lw_dot way, at = along(dots, count, arrow_at, &way);
  double sign = stream->flow < 0 ? -1 : 1;
  lw_arrow(s, at.x, at.y, sign * way.x, sign * way.y, stream->flow);
}

/* As wide as the cube root of the flow: 1 mg/s and 100 g/s are to stand on one picture. */
void lw_arrow(lw_sketch *s, double x, double y, double dx, double dy, double kg_s) {
  double width = fmin(10 + 1.3 * cbrt(fabs(kg_s) * 1e6), 90), length = 0.55 * width + 5;
  cairo_new_path(s->cr);
  cairo_move_to(s->cr, x + dx * length / 2, y + dy * length / 2);
  cairo_line_to(s->cr, x - dx * length / 2 - dy * width / 2, y - dy * length / 2 + dx * width / 2);
  cairo_line_to(s->cr, x - dx * length / 2 + dy * width / 2, y - dy * length / 2 - dx * width / 2);
  cairo_close_path(s->cr);
  lw_shade_set(s, LW_SHADE_PAPER);
  cairo_fill_preserve(s->cr);
  lw_shade_set(s, LW_SHADE_LINE);
  cairo_set_line_width(s->cr, 1.6);
  cairo_set_line_join(s->cr, CAIRO_LINE_JOIN_ROUND);
  cairo_stroke(s->cr);
  double reach = fmax(width, length);
  lw_busy(s, x - reach / 2, y - reach / 2, reach, reach);
}

static void wedge(lw_sketch *s, double x, double y, double side, bool upright) {
  cairo_new_path(s->cr);
  if (upright) {
    cairo_move_to(s->cr, x + side * 2, y);
    cairo_line_to(s->cr, x + side * 9, y - 7);
    cairo_line_to(s->cr, x + side * 9, y + 7);
  } else {
    cairo_move_to(s->cr, x, y + side * 2);
    cairo_line_to(s->cr, x - 7, y + side * 9);
    cairo_line_to(s->cr, x + 7, y + side * 9);
  }
  cairo_close_path(s->cr);
  cairo_fill(s->cr);
}

void lw_jet(lw_sketch *s, const lw_stream *stream, double x, double y, bool upright) {
  if (!stream->exists) return;
  lw_shade_set(s, stream->stuff == LW_STUFF_NONE ? LW_SHADE_NONE : LW_SHADE_LINE);
  wedge(s, x, y, 1, upright);
  wedge(s, x, y, -1, upright);
  lw_busy(s, x - 9, y - 9, 18, 18);
  if (!stream->plugged) return;
  lw_line(s, x - 10, y - 10, x + 10, y + 10, 3.5, LW_SHADE_WARNING);
  lw_line(s, x - 10, y + 10, x + 10, y - 10, 3.5, LW_SHADE_WARNING);
}

void lw_node_dot(lw_sketch *s, double x, double y) {
  cairo_new_path(s->cr);
  cairo_arc(s->cr, x, y, 5.5, 0, 6.283185307179586);
  lw_shade_set(s, LW_SHADE_PAPER);
  cairo_fill_preserve(s->cr);
  lw_shade_set(s, LW_SHADE_PRESSURE);
  cairo_set_line_width(s->cr, 2);
  cairo_stroke(s->cr);
  lw_busy(s, x - 6, y - 6, 12, 12);
}

void lw_line(lw_sketch *s, double x1, double y1, double x2, double y2, double thick,
             lw_shade shade) {
  lw_dot dots[] = {{x1, y1}, {x2, y2}};
  cairo_set_line_cap(s->cr, CAIRO_LINE_CAP_BUTT);
  stroke(s, dots, 2, thick, shade);
}

void lw_filled(lw_sketch *s, double x, double y, double width, double height, lw_shade fill) {
  lw_shade_set(s, fill);
  cairo_rectangle(s->cr, x, y, width, height);
  cairo_fill(s->cr);
}

void lw_framed(lw_sketch *s, double x, double y, double width, double height, lw_shade fill,
               double thick) {
  lw_filled(s, x, y, width, height, fill);
  cairo_rectangle(s->cr, x, y, width, height);
  lw_shade_set(s, LW_SHADE_LINE);
  cairo_set_line_width(s->cr, thick);
  cairo_stroke(s->cr);
}
