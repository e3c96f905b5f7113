/* circuit.c - the picture of a carburetor's passages, as SVG or PNG.
**
** Text is measured without hinting, so that labels lie alike on both. The SVG carries its letters
** as outlines: it looks the same where the font is missing. Cairo numbers its surfaces through the
** life of a process; that number is taken out, so that the same view gives the same bytes.
*/
#include "circuit_sketch.h"

#include <cairo-svg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PIXELS_LEAST = 100, PIXELS_MOST = 8000 };

typedef struct bytes {
  unsigned char *at;
  size_t used, size;
} bytes;

static cairo_status_t grow(void *to, const unsigned char *data, unsigned int length) {
  bytes *b = to;
  if (b->used + length + 1 > b->size) {
    size_t size = (b->used + length + 1) * 2;
    unsigned char *at = realloc(b->at, size);
    if (!at) return CAIRO_STATUS_NO_MEMORY;
    b->at = at;
    b->size = size;
  }
  memcpy(b->at + b->used, data, length);
  b->used += length;
  b->at[b->used] = '\0';
  return CAIRO_STATUS_SUCCESS;
}

/* ---- drawing ---- */

static void draw(lw_sketch *s) {
  const lw_box within = {8, 160, LW_SKETCH_WIDTH - 16, 774};
  lw_filled(s, 0, 0, LW_SKETCH_WIDTH, s->height + 8, LW_SHADE_PAPER);
  lw_draw_head(s);
  lw_draw_barrel(s);
  lw_draw_edge(s);
  lw_tags_place(s, within);
  lw_draw_foot(s);
  lw_tags_draw(s);
}

/* Draw on a surface, scale pixels to a unit; what was laid out stays in the sketch. */
static bool draw_on(lw_sketch *s, cairo_surface_t *surface, double scale) {
  PangoFontMap *fonts = pango_cairo_font_map_new();
  PangoContext *context = fonts ? pango_font_map_create_context(fonts) : NULL;
  if (!context) return false;
  cairo_font_options_t *options = cairo_font_options_create();
  cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
  cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
  pango_cairo_context_set_font_options(context, options);
  pango_cairo_context_set_resolution(context, 96);
  cairo_font_options_destroy(options);
  s->layout = pango_layout_new(context);
  s->cr = cairo_create(surface);
  cairo_scale(s->cr, scale, scale);
  draw(s);
  bool good = cairo_status(s->cr) == CAIRO_STATUS_SUCCESS && !s->failed;
  cairo_destroy(s->cr);
  g_object_unref(s->layout);
  g_object_unref(context);
  g_object_unref(fonts);
  return good;
}

static lw_sketch *sketch_of(lw_arena *arena, const lw_circuit_view *view) {
  lw_sketch *s = lw_arena_alloc(arena, sizeof *s);
  if (!s) return NULL;
  s->arena = arena;
  s->view = view;
  s->height = lw_foot_height(view);
  lw_scene_find(view, &s->scene);
  return s;
}

/* ---- forms ---- */

static bool make_png(lw_sketch *s, int pixels, bytes *out) {
  double scale = (double)pixels / LW_SKETCH_WIDTH;
  cairo_surface_t *surface =
      cairo_image_surface_create(CAIRO_FORMAT_RGB24, pixels, (int)ceil(s->height * scale));
  bool good = cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS && draw_on(s, surface, scale);
  good = good && cairo_surface_write_to_png_stream(surface, grow, out) == CAIRO_STATUS_SUCCESS;
  cairo_surface_destroy(surface);
  return good;
}

static bool make_svg(lw_sketch *s, bytes *out) {
  cairo_surface_t *surface =
      cairo_svg_surface_create_for_stream(grow, out, LW_SKETCH_WIDTH, s->height);
  cairo_svg_surface_set_document_unit(surface, CAIRO_SVG_UNIT_PX);
  bool good = cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS && draw_on(s, surface, 1);
  cairo_surface_finish(surface);
  good = good && cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS;
  cairo_surface_destroy(surface);
  return good;
}

static void append_escaped(bytes *out, const char *text) {
  for (; *text; text++) {
    const char *as = *text == '&'    ? "&amp;"
                     : *text == '<'  ? "&lt;"
                     : *text == '>'  ? "&gt;"
                     : *text == '\n' ? " "
                                     : NULL;
    grow(out, (const unsigned char *)(as ? as : text), (unsigned)(as ? strlen(as) : 1));
  }
}

static void append(bytes *out, const char *text) {
  grow(out, (const unsigned char *)text, (unsigned)strlen(text));
}

/* The SVG with a title and all its texts as a description (for those who are read to), and without
   cairo's running number. */
static bool finish_svg(const lw_sketch *s, const bytes *svg, bytes *out) {
  static const char mark[] = "<g id=\"surface";
  const char *text = (const char *)svg->at, *open = strstr(text, "<svg ");
  const char *end = open ? strchr(open, '>') : NULL;
  const char *numbered = end ? strstr(end, mark) : NULL;
  if (!end) return false;
  grow(out, svg->at, (unsigned)(end + 1 - text));
  append(out, "\n<title>Passages of ");
  append_escaped(out, s->view->card->unit ? s->view->card->unit : "a carburetor");
  append(out, "</title>\n<desc>");
  for (size_t i = 0; i < s->tag_count; i++) {
    if (i) append(out, "; ");
    append_escaped(out, s->tags[i].text);
  }
  append(out, "</desc>");
  const char *rest = end + 1;
  if (numbered) {
    grow(out, (const unsigned char *)rest, (unsigned)(numbered - rest));
    append(out, "<g id=\"surface");
    rest = numbered + sizeof mark - 1;
    rest += strspn(rest, "0123456789");
  }
  append(out, rest);
  return out->at != NULL;
}

/* ---- outside ---- */

lw_status lw_picture_form_of(const char *path, lw_picture_form *form, lw_error *error) {
  const char *dot = strrchr(path, '.');
  if (dot && lw_text_same(dot, ".svg")) {
    *form = LW_PICTURE_SVG;
  } else if (dot && lw_text_same(dot, ".png")) {
    *form = LW_PICTURE_PNG;
  } else {
    return lw_fail(error, LW_BAD_INPUT, "'%.120s' names no kind of picture; end it in .svg or .png",
                   path);
  }
  return LW_OK;
}

lw_status lw_circuit_draw(lw_arena *arena, const lw_circuit_view *view, lw_picture_form form,
                          int pixels, const void **out, size_t *length, lw_error *error) {
  if (form == LW_PICTURE_PNG && (pixels < PIXELS_LEAST || pixels > PIXELS_MOST)) {
    return lw_fail(error, LW_BAD_INPUT, "a picture is %d to %d pixels wide, not %d", PIXELS_LEAST,
                   PIXELS_MOST, pixels);
  }
  bytes first = {0}, second = {0};
  lw_sketch *s = sketch_of(arena, view);
  bool svg = form == LW_PICTURE_SVG;
  bool good = s && (svg ? make_svg(s, &first) && finish_svg(s, &first, &second)
                        : make_png(s, pixels, &second));
  char *copy = good ? lw_arena_copy(arena, (const char *)second.at, second.used) : NULL;
  if (copy) {
    *out = copy;
    *length = second.used;
  }
  free(first.at);
  free(second.at);
  return copy ? LW_OK : lw_fail(error, LW_NO_MEMORY, "no memory to draw this carburetor");
}

lw_status lw_circuit_lay_out(lw_arena *arena, const lw_circuit_view *view,
                             lw_picture_layout *layout, lw_error *error) {
  lw_sketch *s = sketch_of(arena, view);
  cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, 1, 1);
  bool good = s && draw_on(s, surface, 1);
  cairo_surface_destroy(surface);
  lw_picture_label *labels = good ? lw_arena_array(arena, LW_TAGS_MOST, sizeof *labels) : NULL;
  if (!labels) return lw_fail(error, LW_NO_MEMORY, "no memory to draw this carburetor");
  size_t count = 0;
  for (size_t i = 0; i < s->tag_count; i++) {
    const lw_tag *t = &s->tags[i];
    if (!t->placed) continue;
    labels[count++] =
        (lw_picture_label){t->text, t->box.x, t->box.y, t->box.width, t->box.height, t->size};
  }
  *layout = (lw_picture_layout){LW_SKETCH_WIDTH, s->height, labels, count, s->unplaced};
  return LW_OK;
}
