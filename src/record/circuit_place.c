/* circuit_place.c - labels of the circuit picture: measured, placed without touching, drawn last.
**
** A label that floats tries its best place first and then rings around it. A place is taken when no
** other label is touched; among those, the one near and over the least of the drawing.
*/
#include "circuit_sketch.h"

#include <math.h>
#include <string.h>

static const double gap = 3;         /* between labels */
static const double label_size = 13; /* 6.5 pixels on a picture 360 pixels wide */
static const double ring = 7, farthest = 160;

static bool apart(const lw_box *a, const lw_box *b, double space) {
  return a->x + a->width + space <= b->x || b->x + b->width + space <= a->x ||
         a->y + a->height + space <= b->y || b->y + b->height + space <= a->y;
}

static double common(const lw_box *a, const lw_box *b) {
  double w = fmin(a->x + a->width, b->x + b->width) - fmax(a->x, b->x);
  double h = fmin(a->y + a->height, b->y + b->height) - fmax(a->y, b->y);
  return w > 0 && h > 0 ? w * h : 0;
}

static void lay(lw_sketch *s, double size, bool bold, const char *text) {
  PangoFontDescription *font = pango_font_description_from_string("DejaVu Sans, Sans");
  pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
  pango_font_description_set_weight(font, bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
  pango_layout_set_font_description(s->layout, font);
  pango_font_description_free(font);
  pango_layout_set_text(s->layout, text, -1);
}

static void measure(lw_sketch *s, double size, bool bold, const char *text, lw_box *box) {
  int width = 0, height = 0;
  lay(s, size, bold, text);
  pango_layout_get_size(s->layout, &width, &height);
  box->width = (double)width / PANGO_SCALE;
  box->height = (double)height / PANGO_SCALE;
}

/* Pango takes only well-formed text: a card's words are, but not where they were cut. */
static lw_tag *add(lw_sketch *s, double size, bool bold, lw_shade shade, const char *text) {
  char *copy = lw_arena_print(s->arena, "%s", text);
  size_t bad = 0;
  if (!copy || s->tag_count == LW_TAGS_MOST) {
    s->failed = true;
    return NULL;
  }
  if (!lw_text_utf8(copy, strlen(copy), &bad)) copy[bad] = '\0';
  lw_tag *tag = &s->tags[s->tag_count++];
  *tag = (lw_tag){.text = copy, .size = size, .bold = bold, .shade = shade};
  measure(s, size, bold, copy, &tag->box);
  return tag;
}

static bool is_free(const lw_sketch *s, const lw_tag *tag, const lw_box *box, const lw_box *in) {
  if (box->x < in->x || box->y < in->y || box->x + box->width > in->x + in->width ||
      box->y + box->height > in->y + in->height) {
    return false;
  }
  for (size_t i = 0; i < s->tag_count; i++) {
    const lw_tag *other = &s->tags[i];
    if (other != tag && other->placed && !apart(box, &other->box, gap)) return false;
  }
  return true;
}

static double covered(const lw_sketch *s, const lw_box *box) {
  double area = 0;
  for (size_t i = 0; i < s->busy_count; i++)
    area += common(box, &s->busy[i]);
  return area;
}

static void place(lw_sketch *s, lw_tag *tag, const lw_box *within) {
  lw_box best = tag->box;
  double least = INFINITY;
  for (int rings = 0; rings * ring <= farthest && rings * ring < least; rings++) {
    double r = rings * ring;
    int steps = r > 0 ? 16 : 1;
    for (int k = 0; k < steps; k++) {
      double turn = 6.283185307179586 * k / steps;
      lw_box box = tag->box;
      box.x = tag->wish_x + r * cos(turn) - box.width / 2;
      box.y = tag->wish_y + 0.7 * r * sin(turn) - box.height / 2;
      if (!is_free(s, tag, &box, within)) continue;
      double cost = r + 0.12 * covered(s, &box);
      if (cost < least) {
        least = cost;
        best = box;
      }
    }
  }
  tag->placed = isfinite(least);
  tag->box = best;
  if (!tag->placed) s->unplaced++;
}

/* A thin line from a label that had to move away to what it speaks of. */
static void leader(lw_sketch *s, const lw_tag *tag) {
  const lw_box *b = &tag->box;
  double x = fmin(fmax(tag->at_x, b->x), b->x + b->width);
  double y = fmin(fmax(tag->at_y, b->y), b->y + b->height);
  if (hypot(x - tag->at_x, y - tag->at_y) < 26) return;
  lw_line(s, x, y, tag->at_x, tag->at_y, 0.8, LW_SHADE_SOFT);
}

static void draw_tag(lw_sketch *s, const lw_tag *tag) {
  lay(s, tag->size, tag->bold, tag->text);
  /* a light rim only over lines: as outlines it makes the file long */
  if (tag->floats && covered(s, &tag->box) > 0) {
    cairo_move_to(s->cr, tag->box.x, tag->box.y);
    pango_cairo_layout_path(s->cr, s->layout);
    lw_shade_set(s, LW_SHADE_PAPER);
    cairo_set_line_width(s->cr, 4);
    cairo_set_line_join(s->cr, CAIRO_LINE_JOIN_ROUND);
    cairo_stroke(s->cr);
  }
  lw_shade_set(s, tag->shade);
  cairo_move_to(s->cr, tag->box.x, tag->box.y);
  pango_cairo_show_layout(s->cr, s->layout);
}

lw_box lw_tag_at(lw_sketch *s, double x, double y, double align, double size, bool bold,
                 lw_shade shade, const char *text) {
  lw_tag *tag = add(s, size, bold, shade, text);
  if (!tag) return (lw_box){x, y, 0, 0};
  tag->box.x = x - align * tag->box.width;
  tag->box.y = y;
  tag->placed = true;
  return tag->box;
}

void lw_tag_near(lw_sketch *s, double x, double y, double wish_x, double wish_y, bool bold,
                 lw_shade shade, const char *text) {
  if (!text[0]) return;
  lw_tag *tag = add(s, label_size, bold, shade, text);
  if (!tag) return;
  tag->floats = true;
  tag->at_x = x;
  tag->at_y = y;
  tag->wish_x = wish_x;
  tag->wish_y = wish_y;
}

double lw_tag_width(lw_sketch *s, double size, bool bold, const char *text) {
  lw_box box = {0};
  measure(s, size, bold, text, &box);
  return box.width;
}

void lw_busy(lw_sketch *s, double x, double y, double width, double height) {
  if (s->busy_count == LW_BUSY_MOST) return; /* only the looks suffer */
  s->busy[s->busy_count++] = (lw_box){x, y, width, height};
}

void lw_tags_place(lw_sketch *s, lw_box within) {
  for (size_t i = 0; i < s->tag_count; i++) {
    if (s->tags[i].floats) place(s, &s->tags[i], &within);
  }
}

void lw_tags_draw(lw_sketch *s) {
  for (size_t i = 0; i < s->tag_count; i++) {
    if (s->tags[i].floats && s->tags[i].placed) leader(s, &s->tags[i]);
  }
  for (size_t i = 0; i < s->tag_count; i++) {
    if (s->tags[i].placed) draw_tag(s, &s->tags[i]);
  }
}
