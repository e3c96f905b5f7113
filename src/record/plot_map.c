/* plot_map.c - the mixture over throttle and speed: bands, contours and their labels.
**
** Each cell of the grid is four triangles about its middle; a band is all parts of triangles over
** its level, a contour their edges at the level, chained to lines so that each can carry a number.
*/
#include "plot_pen.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LEVELS_MOST = 40, SEGMENTS_MOST = 20000, LABELS_MOST = 60 };
enum { LEFT = 46, RIGHT = 346, HIGH = 300, BAR = 14 };

static const double afr_least = 8, afr_most = 22;

typedef struct vertex {
  double x, y, z; /* canvas units; air-fuel ratio */
} vertex;

typedef struct segment {
  double x[2], y[2];
  bool used;
} segment;

typedef struct label {
  double x0, y0, x1, y1;
} label;

typedef struct chart {
  const char *title, *note;
  const lw_map *map;
  double level[LEVELS_MOST], step, lo, hi, correct;
  int levels;
  segment *segments;
} chart;

/* What is drawn while contours are labeled. */
typedef struct plotter {
  lw_canvas *c;
  const chart *chart;
  lw_frame f;
  size_t count; /* segments of the level in hand */
  label labels[LABELS_MOST];
  int label_count;
  double broken_at; /* level whose whole cells are drawn already; NaN: none */
} plotter;

/* ---- values ---- */

static double z_at(const lw_map *m, size_t i, size_t k) {
  const lw_map_point *p = &m->points[i * m->throttles + k];
  if (!p->report.converged || !(p->afr == p->afr)) return LW_NONE;
  return fmin(fmax(p->afr, afr_least), afr_most);
}

static void find_levels(chart *ch) {
  const lw_map *m = ch->map;
  ch->lo = 1e9;
  ch->hi = -1e9;
  ch->correct = LW_NONE;
  for (size_t i = 0; i < m->throttles * m->speeds; i++) {
    double z = z_at(m, i / m->throttles, i % m->throttles);
    if (!(z == z)) continue;
    ch->lo = fmin(ch->lo, z);
    ch->hi = fmax(ch->hi, z);
    ch->correct = m->points[i].afr / m->points[i].lambda;
  }
  double span = ch->hi - ch->lo;
  ch->step = span < 1.5 ? 0.1 : span < 5 ? 0.5 : 1;
  double first = ch->step * ceil(ch->lo / ch->step);
  while (ch->levels < LEVELS_MOST && first + ch->levels * ch->step < ch->hi) {
    ch->level[ch->levels] = first + ch->levels * ch->step;
    ch->levels++;
  }
}

/* Rich is warm, just enough air is pale, lean is cool; lightness falls both ways. */
static void band_color(lw_canvas *c, double afr, double correct) {
  double t = fmin(fmax((afr - correct) / 5, -1), 1), a = pow(fabs(t), 0.8);
  static const double warm[] = {0.76, 0.50, 0.22}, cool[] = {0.27, 0.47, 0.60},
                      pale[] = {0.97, 0.96, 0.92};
  const double *to = t < 0 ? warm : cool;
  cairo_set_source_rgb(c->cr, pale[0] + a * (to[0] - pale[0]), pale[1] + a * (to[1] - pale[1]),
                       pale[2] + a * (to[2] - pale[2]));
}

static vertex vertex_at(const plotter *p, size_t i, size_t k) {
  const lw_map *m = p->chart->map;
  return (vertex){lw_frame_x(&p->f, sqrt(m->throttle[k])),
                  lw_frame_y(&p->f, lw_dim_shown(LW_SPIN, LW_SHOP, m->speed[i])), z_at(m, i, k)};
}

/* ---- triangles ---- */

static bool whole_cell(const plotter *p, size_t i, size_t k, double level) {
  const lw_map *m = p->chart->map;
  double least =
      fmin(fmin(z_at(m, i, k), z_at(m, i, k + 1)), fmin(z_at(m, i + 1, k), z_at(m, i + 1, k + 1)));
  double sum = z_at(m, i, k) + z_at(m, i, k + 1) + z_at(m, i + 1, k) + z_at(m, i + 1, k + 1);
  return sum == sum && least >= level;
}

typedef void (*triangle_at)(plotter *p, const vertex *t, double level);

static void each_triangle(plotter *p, double level, triangle_at each) {
  const lw_map *m = p->chart->map;
  for (size_t i = 0; i + 1 < m->speeds; i++) {
    for (size_t k = 0; k + 1 < m->throttles; k++) {
      vertex v[4] = {vertex_at(p, i, k), vertex_at(p, i, k + 1), vertex_at(p, i + 1, k + 1),
                     vertex_at(p, i + 1, k)};
      vertex mid = {0, 0, 0};
      for (int j = 0; j < 4; j++) {
        mid.x += v[j].x / 4;
        mid.y += v[j].y / 4;
        mid.z += v[j].z / 4;
      }
      if (!(mid.z == mid.z)) continue; /* a corner is missing: hatched elsewhere */
      if (lw_known(p->broken_at) && whole_cell(p, i, k, p->broken_at)) continue;
      for (int j = 0; j < 4; j++)
        each(p, (vertex[]){mid, v[j], v[(j + 1) % 4]}, level);
    }
  }
}

static void crossing(const vertex *a, const vertex *b, double level, double *x, double *y) {
  double s = (level - a->z) / (b->z - a->z);
  *x = a->x + s * (b->x - a->x);
  *y = a->y + s * (b->y - a->y);
}

/* The part of a triangle at or over the level, as a subpath. */
static void over_level(plotter *p, const vertex *t, double level) {
  bool first = true;
  for (int j = 0; j < 3; j++) {
    const vertex *a = &t[j], *b = &t[(j + 1) % 3];
    bool in = a->z >= level, next = b->z >= level;
    double x = a->x, y = a->y;
    if (in) {
      first ? cairo_move_to(p->c->cr, x, y) : cairo_line_to(p->c->cr, x, y);
      first = false;
    }
    if (in == next) continue;
    crossing(a, b, level, &x, &y);
    first ? cairo_move_to(p->c->cr, x, y) : cairo_line_to(p->c->cr, x, y);
    first = false;
  }
  if (!first) cairo_close_path(p->c->cr);
}

static void at_level(plotter *p, const vertex *t, double level) {
  int found = 0;
  segment s = {.used = false};
  for (int j = 0; j < 3; j++) {
    const vertex *a = &t[j], *b = &t[(j + 1) % 3];
    if ((a->z >= level) == (b->z >= level) || found == 2) continue;
    crossing(a, b, level, &s.x[found], &s.y[found]);
    found++;
  }
  bool some = found == 2 && (fabs(s.x[0] - s.x[1]) > 1e-9 || fabs(s.y[0] - s.y[1]) > 1e-9);
  if (some && p->count < SEGMENTS_MOST) p->chart->segments[p->count++] = s;
}

/* ---- contours ---- */

enum { CHAIN_MOST = 4000 };
typedef struct chain {
  double x[2 * CHAIN_MOST], y[2 * CHAIN_MOST];
  int from, to; /* points from..to-1 */
  double length;
} chain;

static bool near(double ax, double ay, double bx, double by) {
  return fabs(ax - bx) < 1e-6 && fabs(ay - by) < 1e-6;
}

/* The next unused segment that touches (x, y); its other end becomes (x, y). */
static bool follow(plotter *p, double *x, double *y) {
  for (size_t i = 0; i < p->count; i++) {
    segment *s = &p->chart->segments[i];
    if (s->used) continue;
    for (int e = 0; e < 2; e++) {
      if (!near(s->x[e], s->y[e], *x, *y)) continue;
      s->used = true;
      *x = s->x[1 - e];
      *y = s->y[1 - e];
      return true;
    }
  }
  return false;
}

static void chain_from(plotter *p, segment *s, chain *c) {
  double x = s->x[1], y = s->y[1];
  s->used = true;
  c->from = CHAIN_MOST - 1;
  c->to = CHAIN_MOST + 1;
  c->x[c->from] = s->x[0];
  c->y[c->from] = s->y[0];
  c->x[c->to - 1] = x;
  c->y[c->to - 1] = y;
  while (c->to < 2 * CHAIN_MOST && follow(p, &x, &y)) {
    c->x[c->to] = x;
    c->y[c->to++] = y;
  }
  x = s->x[0];
  y = s->y[0];
  while (c->from > 0 && follow(p, &x, &y)) {
    c->x[--c->from] = x;
    c->y[c->from] = y;
  }
  c->length = 0;
  for (int i = c->from + 1; i < c->to; i++)
    c->length += hypot(c->x[i] - c->x[i - 1], c->y[i] - c->y[i - 1]);
}

static bool free_place(const plotter *p, label box) {
  if (box.x0 < p->f.left + 3 || box.x1 > p->f.right - 3) return false;
  if (box.y0 < p->f.top + 3 || box.y1 > p->f.bottom - 3) return false;
  for (int i = 0; i < p->label_count; i++) {
    const label *l = &p->labels[i];
    bool apart =
        box.x1 + 5 < l->x0 || box.x0 - 5 > l->x1 || box.y1 + 3 < l->y0 || box.y0 - 3 > l->y1;
    if (!apart) return false;
  }
  return true;
}

static void label_chain(plotter *p, const chain *c, const char *text) {
  static const double tries[] = {0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88};
  double width = 0, height = 0;
  lw_canvas_measure(p->c, 10, true, text, &width, &height);
  for (size_t t = 0; t < sizeof tries / sizeof tries[0]; t++) {
    double wanted = tries[t] * c->length, walked = 0;
    int i = c->from + 1;
    for (; i + 1 < c->to && walked < wanted; i++)
      walked += hypot(c->x[i] - c->x[i - 1], c->y[i] - c->y[i - 1]);
    double x = c->x[i - 1], y = c->y[i - 1];
    label box = {x - width / 2 - 2, y - height / 2, x + width / 2 + 2, y + height / 2};
    if (!free_place(p, box) || p->label_count == LABELS_MOST) continue;
    p->labels[p->label_count++] = box;
    lw_canvas_tint(p->c, LW_TINT_PAPER, 0.85);
    cairo_rectangle(p->c->cr, box.x0, box.y0, box.x1 - box.x0, box.y1 - box.y0);
    cairo_fill(p->c->cr);
    lw_canvas_text(p->c, 10, true, LW_TINT_TEXT, LW_ALIGN_MIDDLE, x, box.y0, text);
    return;
  }
}

/* Lines first, for all levels, then labels, so that no line runs through a number. */
static void contours(plotter *p, chain *c, bool labels) {
  for (int l = 0; l < p->chart->levels; l++) {
    double level = p->chart->level[l];
    bool whole = fabs(level - round(level)) < 1e-6 || p->chart->step < 0.3;
    char text[24];
    snprintf(text, sizeof text, whole && p->chart->step > 0.3 ? "%.0f" : "%.1f", level);
    p->count = 0;
    /* a hair off the level, so that no corner lies on it */
    each_triangle(p, level + 1e-7, at_level);
    for (size_t i = 0; i < p->count; i++) {
      if (p->chart->segments[i].used) continue;
      chain_from(p, &p->chart->segments[i], c);
      if (labels) {
        if (c->length > (whole ? 34 : 90)) label_chain(p, c, text);
        continue;
      }
      lw_canvas_tint(p->c, LW_TINT_TEXT, whole ? 0.75 : 0.35);
      cairo_set_line_width(p->c->cr, whole ? 1.1 : 0.7);
      cairo_new_path(p->c->cr);
      for (int k = c->from; k < c->to; k++)
        cairo_line_to(p->c->cr, c->x[k], c->y[k]);
      cairo_stroke(p->c->cr);
    }
  }
}

/* ---- the rest ---- */

/* Cells that lie over the level as a whole, a run of them as one rectangle: a tenth of the file. */
static void whole_runs(plotter *p, double level) {
  const lw_map *m = p->chart->map;
  for (size_t i = 0; i + 1 < m->speeds; i++) {
    for (size_t k = 0; k + 1 < m->throttles;) {
      size_t to = k;
      while (to + 1 < m->throttles && whole_cell(p, i, to, level))
        to++;
      if (to > k) {
        vertex a = vertex_at(p, i, k), b = vertex_at(p, i + 1, to);
        cairo_move_to(p->c->cr, a.x, a.y);
        cairo_line_to(p->c->cr, b.x, a.y);
        cairo_line_to(p->c->cr, b.x, b.y);
        cairo_line_to(p->c->cr, a.x, b.y);
        cairo_close_path(p->c->cr);
      }
      k = to + 1;
    }
  }
}

static void bands(plotter *p) {
  const chart *ch = p->chart;
  for (int l = -1; l < ch->levels; l++) {
    double level = l < 0 ? -1e9 : ch->level[l];
    double middle = l < 0 ? ch->lo : level + ch->step / 2;
    cairo_new_path(p->c->cr);
    whole_runs(p, level);
    p->broken_at = level;
    each_triangle(p, level, over_level);
    p->broken_at = LW_NONE;
    band_color(p->c, middle, ch->correct);
    cairo_fill(p->c->cr);
  }
}

/* What the hatched cells are; NULL: there are none. */
static const char *gap_words(const lw_map *m) {
  bool dry = false;
  for (size_t i = 0; i < m->throttles * m->speeds; i++)
    dry = dry || (m->points[i].report.converged && !(m->points[i].afr == m->points[i].afr));
  if (dry && m->failed) return "hatched: no fuel flows, or the flows did not settle";
  if (dry) return "hatched: no fuel flows there";
  return m->failed ? "hatched: the flows did not settle there" : NULL;
}

/* Cells with a corner that did not converge, or has no fuel. */
static void gaps(plotter *p) {
  const lw_map *m = p->chart->map;
  bool any = false;
  cairo_new_path(p->c->cr);
  for (size_t i = 0; i + 1 < m->speeds; i++) {
    for (size_t k = 0; k + 1 < m->throttles; k++) {
      vertex a = vertex_at(p, i, k), b = vertex_at(p, i + 1, k + 1);
      double sum = a.z + b.z + z_at(m, i, k + 1) + z_at(m, i + 1, k);
      if (sum == sum) continue;
      cairo_rectangle(p->c->cr, a.x, b.y, b.x - a.x, a.y - b.y);
      any = true;
    }
  }
  if (any) lw_canvas_hatch(p->c, 0, LW_TINT_SOFT, 0.9);
  cairo_new_path(p->c->cr);
}

static void axes(plotter *p) {
  static const double throttles[] = {0, 2, 5, 10, 20, 40, 70, 100};
  char text[24];
  for (size_t i = 0; i < sizeof throttles / sizeof throttles[0]; i++) {
    double x = sqrt(throttles[i] / 100);
    if (x < p->f.x0 - 1e-9 || x > p->f.x1 + 1e-9) continue;
    snprintf(text, sizeof text, "%g", throttles[i]);
    lw_canvas_grid_x(p->c, &p->f, x, text);
  }
  double step = lw_nice_step(p->f.y1 - p->f.y0, 8);
  double first = step * ceil(p->f.y0 / step - 1e-9);
  for (int i = 0; first + i * step <= p->f.y1 + 1e-6; i++) {
    double y = first + i * step;
    snprintf(text, sizeof text, "%g", y);
    lw_canvas_grid_y(p->c, &p->f, y, text);
  }
  lw_canvas_text(p->c, 11, true, LW_TINT_TEXT, LW_ALIGN_LEFT, 12, p->f.top - 21,
                 "Air-fuel ratio; up: speed, rpm");
  lw_canvas_text(p->c, 10.5, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, p->f.right, p->f.bottom + 17,
                 "throttle from the idle stop, % (square-root scale)");
}

/* "rich [colors with their numbers] lean". */
static void color_bar(plotter *p, double y) {
  const chart *ch = p->chart;
  double left = LEFT + 34, right = RIGHT - 34, last = -1e9;
  double lo = ch->step * floor(ch->lo / ch->step), hi = ch->step * ceil(ch->hi / ch->step);
  int count = (int)lround((hi - lo) / ch->step);
  if (count < 1) count = 1;
  for (int i = 0; i < count; i++) {
    double x = left + (right - left) * i / count, next = left + (right - left) * (i + 1) / count;
    band_color(p->c, lo + (i + 0.5) * ch->step, ch->correct);
    cairo_rectangle(p->c->cr, x, y, next - x, BAR);
    cairo_fill(p->c->cr);
  }
  for (int i = 0; i <= count; i++) {
    double z = lo + i * ch->step, x = left + (right - left) * i / count;
    char text[24];
    snprintf(text, sizeof text, "%g", round(z * 10) / 10);
    bool whole = fabs(z - round(z)) < 1e-6 || ch->step < 0.3;
    if (!whole || x - last < 26) continue;
    last = x;
    lw_canvas_text(p->c, 10, false, LW_TINT_SOFT, LW_ALIGN_MIDDLE, x, y + BAR + 1, text);
  }
  lw_canvas_tint(p->c, LW_TINT_SOFT, 1);
  cairo_set_line_width(p->c->cr, 0.8);
  cairo_rectangle(p->c->cr, left, y, right - left, BAR);
  cairo_stroke(p->c->cr);
  lw_canvas_text(p->c, 10.5, false, LW_TINT_TEXT, LW_ALIGN_RIGHT, left - 6, y, "richer");
  lw_canvas_text(p->c, 10.5, false, LW_TINT_TEXT, LW_ALIGN_LEFT, right + 6, y, "leaner");
}

static double height(lw_canvas *c, const void *what) {
  const chart *ch = what;
  return lw_canvas_title(c, ch->title, ch->note, false) + 23 + HIGH + 36 + BAR + 20 +
         (gap_words(ch->map) ? 16 : 0);
}

static void draw(lw_canvas *c, const void *what) {
  const chart *ch = what;
  const lw_map *m = ch->map;
  plotter p = {.c = c, .chart = ch, .broken_at = LW_NONE};
  double top = lw_canvas_title(c, ch->title, ch->note, true) + 23;
  p.f = (lw_frame){LEFT,
                   top,
                   RIGHT,
                   top + HIGH,
                   sqrt(m->throttle[0]),
                   sqrt(m->throttle[m->throttles - 1]),
                   lw_dim_shown(LW_SPIN, LW_SHOP, m->speed[0]),
                   lw_dim_shown(LW_SPIN, LW_SHOP, m->speed[m->speeds - 1])};
  chain *room = malloc(sizeof *room);
  axes(&p);
  bands(&p);
  gaps(&p);
  if (room) {
    contours(&p, room, false);
    contours(&p, room, true);
  }
  free(room);
  lw_canvas_outline(c, &p.f);
  color_bar(&p, p.f.bottom + 36);
  const char *hatched = gap_words(m);
  if (hatched) {
    lw_canvas_text(c, 10, false, LW_TINT_SOFT, LW_ALIGN_LEFT, 12, p.f.bottom + 36 + BAR + 18,
                   hatched);
  }
}

lw_status lw_plot_map_use(const char *title, const char *note, const lw_map *map,
                          lw_picture_use use, void *to, lw_error *error) {
  chart ch = {.title = title, .note = note, .map = map};
  if (map->throttles < 2 || map->speeds < 2 || !map->throttle) {
    return lw_fail(error, LW_BAD_INPUT,
                   "a map is drawn over at least two throttles and two speeds");
  }
  find_levels(&ch);
  if (!lw_known(ch.correct)) {
    return lw_fail(error, LW_BAD_INPUT, "no point converged: there is nothing to draw");
  }
  ch.segments = malloc(SEGMENTS_MOST * sizeof *ch.segments);
  if (!ch.segments) return lw_fail(error, LW_NO_MEMORY, "no memory for this picture");
  lw_picture picture = {
      .title = title,
      .about = "Air-fuel ratio over throttle and engine speed, as bands with labeled contours",
      .height = height,
      .draw = draw,
      .what = &ch,
  };
  lw_status status = use(to, &picture, error);
  free(ch.segments);
  return status;
}

lw_status lw_plot_map(const char *title, const char *note, const lw_map *map, lw_plot_form form,
                      const char *path, lw_error *error) {
  lw_picture_file file = {form, path};
  return lw_plot_map_use(title, note, map, lw_picture_to_file, &file, error);
}
