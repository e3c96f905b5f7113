/* plot_pen.c - a canvas that becomes SVG or PNG, and what is drawn on it again and again. */
#include "plot_pen.h"

#include "leanward/record.h"

#include <cairo-svg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PNG_SCALE = 2, HATCHES = 6 };

static const double tints[][3] = {
    [LW_TINT_PAPER] = {1, 1, 1},
    [LW_TINT_TEXT] = {0.12, 0.14, 0.15},
    [LW_TINT_SOFT] = {0.36, 0.39, 0.40},
    [LW_TINT_RULE] = {0.84, 0.85, 0.85},
    [LW_TINT_ACCENT] = {0.68, 0.26, 0.12},
    [LW_TINT_IDLE] = {0.27, 0.46, 0.33},
    [LW_TINT_TRANSFER] = {0.45, 0.33, 0.52},
    [LW_TINT_MAIN] = {0.13, 0.36, 0.47},
    [LW_TINT_POWER] = {0.66, 0.43, 0.08},
    [LW_TINT_LEAK] = {0.60, 0.20, 0.20},
};

/* ---- bytes ---- */

typedef struct bytes {
  char *data;
  size_t used, size;
} bytes;

static cairo_status_t take(void *to, const unsigned char *data, unsigned int length) {
  bytes *b = to;
  if (length == 0) return CAIRO_STATUS_SUCCESS;
  if (!b->data || b->used + length + 1 > b->size) {
    size_t size = (b->used + length + 1) * 2;
    char *grown = realloc(b->data, size);
    if (!grown) return CAIRO_STATUS_NO_MEMORY;
    b->data = grown;
    b->size = size;
  }
  memcpy(b->data + b->used, data, length);
  b->used += length;
  b->data[b->used] = '\0';
  return CAIRO_STATUS_SUCCESS;
}

static bool put(bytes *b, const char *text) {
  return take(b, (const unsigned char *)text, (unsigned)strlen(text)) == CAIRO_STATUS_SUCCESS;
}

static bool put_escaped(bytes *b, const char *text) {
  bool good = true;
  for (; *text && good; text++) {
    char one[2] = {*text, '\0'};
    const char *as = *text == '<' ? "&lt;" : *text == '>' ? "&gt;" : *text == '&' ? "&amp;" : one;
    if ((unsigned char)*text < 0x20) as = " ";
    good = put(b, as);
  }
  return good;
}

/* Take out the name of the root group: nothing refers to it, and it counts the surfaces this
   process has made, so that the same picture would not be the same bytes. */
static void unname(bytes *svg) {
  char *name = svg->data ? strstr(svg->data, " id=\"surface") : NULL;
  char *end = name ? strchr(name + 5, '"') : NULL;
  if (!end) return;
  memmove(name, end + 1, strlen(end + 1) + 1);
  svg->used -= (size_t)(end + 1 - name);
}

/* Title and description behind the opening tag: what a screen reader says. */
static bool describe(bytes *svg, const lw_picture *picture) {
  unname(svg);
  const char *tag = svg->data ? strstr(svg->data, "<svg") : NULL;
  const char *end = tag ? strchr(tag, '>') : NULL;
  if (!end) return false;
  size_t first = (size_t)(end + 1 - svg->data);
  bytes out = {0};
  bool good = take(&out, (const unsigned char *)svg->data, (unsigned)first) == 0 &&
              put(&out, "\n<title>") && put_escaped(&out, picture->title) &&
              put(&out, "</title>\n<desc>") && put_escaped(&out, picture->about) &&
              put(&out, "</desc>") && put(&out, svg->data + first);
  free(svg->data);
  *svg = out;
  return good;
}

/* ---- text ---- */

static void lay(lw_canvas *c, double size, bool bold, double width, int lines, const char *text) {
  PangoFontDescription *font = pango_font_description_from_string("DejaVu Sans, Sans");
  pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
  pango_font_description_set_weight(font, bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
  pango_layout_set_font_description(c->layout, font);
  pango_font_description_free(font);
  pango_layout_set_width(c->layout, width < 0 ? -1 : (int)(width * PANGO_SCALE));
  pango_layout_set_wrap(c->layout, PANGO_WRAP_WORD_CHAR);
  pango_layout_set_ellipsize(c->layout, lines ? PANGO_ELLIPSIZE_END : PANGO_ELLIPSIZE_NONE);
  pango_layout_set_height(c->layout, lines ? -lines : -1);
  /* set_text makes nothing of markup, and invalid bytes visible */
  pango_layout_set_text(c->layout, text, -1);
}

static void laid(lw_canvas *c, double *width, double *height) {
  int w = 0, h = 0;
  pango_layout_get_size(c->layout, &w, &h);
  *width = (double)w / PANGO_SCALE;
  *height = (double)h / PANGO_SCALE;
}

void lw_canvas_tint(lw_canvas *c, lw_tint tint, double alpha) {
  cairo_set_source_rgba(c->cr, tints[tint][0], tints[tint][1], tints[tint][2], alpha);
}

void lw_canvas_measure(lw_canvas *c, double size, bool bold, const char *text, double *width,
                       double *height) {
  lay(c, size, bold, -1, 0, text);
  laid(c, width, height);
}

void lw_canvas_text(lw_canvas *c, double size, bool bold, lw_tint tint, lw_align align, double x,
                    double y, const char *text) {
  double width = 0, height = 0;
  lw_canvas_measure(c, size, bold, text, &width, &height);
  if (align == LW_ALIGN_MIDDLE) x -= width / 2;
  if (align == LW_ALIGN_RIGHT) x -= width;
  lw_canvas_tint(c, tint, 1);
  cairo_move_to(c->cr, x, y);
  pango_cairo_show_layout(c->cr, c->layout);
}

double lw_canvas_box(lw_canvas *c, double size, bool bold, lw_tint tint, double x, double y,
                     double width, int lines, const char *text, bool draw) {
  double w = 0, h = 0;
  lay(c, size, bold, width, lines, text);
  laid(c, &w, &h);
  if (!draw) return h;
  lw_canvas_tint(c, tint, 1);
  cairo_move_to(c->cr, x, y);
  pango_cairo_show_layout(c->cr, c->layout);
  return h;
}

double lw_canvas_title(lw_canvas *c, const char *title, const char *note, bool draw) {
  double y = 10, width = PLOT_WIDTH - 24;
  y += lw_canvas_box(c, 13, true, LW_TINT_TEXT, 12, y, width, 3, title, draw) + 2;
  if (note) y += lw_canvas_box(c, 10.5, false, LW_TINT_SOFT, 12, y, width, 2, note, draw) + 2;
  return y + 6;
}

/* ---- hatching ---- */

/* Slope of the lines and their distance: gaps, then the circuits'. */
static const struct {
  double rise, gap;
} hatches[HATCHES] = {{1, 6}, {1, 9}, {-1, 9}, {0, 7}, {1e9, 7}, {-1, 5}};

void lw_canvas_hatch(lw_canvas *c, int kind, lw_tint tint, double alpha) {
  double x0 = 0, y0 = 0, x1 = 0, y1 = 0, gap = hatches[kind].gap, rise = hatches[kind].rise;
  cairo_save(c->cr);
  cairo_path_extents(c->cr, &x0, &y0, &x1, &y1);
  cairo_clip(c->cr);
  lw_canvas_tint(c, tint, alpha);
  cairo_set_line_width(c->cr, 0.8);
  if (rise > 1e6) {
    double first = gap * floor(x0 / gap);
    int lines = (int)ceil((x1 - first) / gap);
    for (int i = 0; i < lines; i++) {
      double x = first + i * gap;
      cairo_move_to(c->cr, x, y0);
      cairo_line_to(c->cr, x, y1);
    }
  } else {
    double run = rise == 0 ? 0 : x1 - x0, shift = rise < 0 ? 0 : run;
    double first = gap * floor((y0 - run) / gap);
    int lines = (int)ceil((y1 + run - first) / gap);
    for (int i = 0; i < lines; i++) {
      double y = first + i * gap;
      cairo_move_to(c->cr, x0, y + (rise > 0 ? shift : 0));
      cairo_line_to(c->cr, x1, y + (rise > 0 ? shift - run : run));
    }
  }
  cairo_stroke(c->cr);
  cairo_restore(c->cr);
}

/* ---- frames ---- */

double lw_frame_x(const lw_frame *f, double x) {
  return f->left + (x - f->x0) / (f->x1 - f->x0) * (f->right - f->left);
}

double lw_frame_y(const lw_frame *f, double y) {
  return f->bottom - (y - f->y0) / (f->y1 - f->y0) * (f->bottom - f->top);
}

void lw_canvas_grid_x(lw_canvas *c, const lw_frame *f, double x, const char *label) {
  double at = lw_frame_x(f, x);
  lw_canvas_tint(c, LW_TINT_RULE, 1);
  cairo_set_line_width(c->cr, 0.7);
  cairo_move_to(c->cr, at, f->top);
  cairo_line_to(c->cr, at, f->bottom + 3);
  cairo_stroke(c->cr);
  if (label) {
    lw_canvas_text(c, 10.5, false, LW_TINT_SOFT, LW_ALIGN_MIDDLE, at, f->bottom + 4, label);
  }
}

void lw_canvas_grid_y(lw_canvas *c, const lw_frame *f, double y, const char *label) {
  double at = lw_frame_y(f, y);
  lw_canvas_tint(c, LW_TINT_RULE, 1);
  cairo_set_line_width(c->cr, 0.7);
  cairo_move_to(c->cr, f->left - 3, at);
  cairo_line_to(c->cr, f->right, at);
  cairo_stroke(c->cr);
  if (label) {
    lw_canvas_text(c, 10.5, false, LW_TINT_SOFT, LW_ALIGN_RIGHT, f->left - 5, at - 6.5, label);
  }
}

void lw_canvas_outline(lw_canvas *c, const lw_frame *f) {
  lw_canvas_tint(c, LW_TINT_SOFT, 1);
  cairo_set_line_width(c->cr, 0.9);
  cairo_rectangle(c->cr, f->left, f->top, f->right - f->left, f->bottom - f->top);
  cairo_stroke(c->cr);
}

double lw_nice_step(double span, int most) {
  static const double sizes[] = {1, 2, 5, 10};
  double raw = fmax(span, 1e-9) / most, power = pow(10, floor(log10(raw)));
  for (int i = 0; i < 4; i++) {
    if (sizes[i] * power >= raw * (1 - 1e-9)) return sizes[i] * power;
  }
  return raw;
}

/* ---- the picture ---- */

/* The same glyph shapes whatever the screen this was made on. cr is taken over. */
static void canvas_on(lw_canvas *c, cairo_t *cr) {
  cairo_font_options_t *fonts = cairo_font_options_create();
  c->cr = cr;
  c->layout = pango_cairo_create_layout(c->cr);
  cairo_font_options_set_antialias(fonts, CAIRO_ANTIALIAS_GRAY);
  cairo_font_options_set_hint_style(fonts, CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(fonts, CAIRO_HINT_METRICS_OFF);
  pango_cairo_context_set_font_options(pango_layout_get_context(c->layout), fonts);
  cairo_font_options_destroy(fonts);
}

static void canvas_begin(lw_canvas *c, cairo_surface_t *surface) {
  canvas_on(c, cairo_create(surface));
}

static void canvas_end(lw_canvas *c) {
  g_object_unref(c->layout);
  cairo_destroy(c->cr);
}

double lw_picture_height(const lw_picture *picture) {
  cairo_surface_t *scratch = cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1);
  lw_canvas c = {0};
  canvas_begin(&c, scratch);
  double height = ceil(picture->height(&c, picture->what));
  canvas_end(&c);
  cairo_surface_destroy(scratch);
  return height;
}

static bool render(const lw_picture *picture, lw_plot_form form, bytes *out) {
  lw_canvas c = {.height = lw_picture_height(picture)};
  bool svg = form == LW_PLOT_SVG;
  cairo_surface_t *surface =
      svg ? cairo_svg_surface_create_for_stream(take, out, PLOT_WIDTH, c.height)
          : cairo_image_surface_create(CAIRO_FORMAT_RGB24, PLOT_WIDTH * PNG_SCALE,
                                       (int)c.height * PNG_SCALE);
  if (svg) cairo_svg_surface_set_document_unit(surface, CAIRO_SVG_UNIT_PX);
  canvas_begin(&c, surface);
  if (!svg) cairo_scale(c.cr, PNG_SCALE, PNG_SCALE);
  lw_canvas_tint(&c, LW_TINT_PAPER, 1);
  cairo_rectangle(c.cr, 0, 0, PLOT_WIDTH, c.height);
  cairo_fill(c.cr);
  picture->draw(&c, picture->what);
  bool good = cairo_status(c.cr) == CAIRO_STATUS_SUCCESS;
  canvas_end(&c);
  if (!svg && good) {
    good = cairo_surface_write_to_png_stream(surface, take, out) == CAIRO_STATUS_SUCCESS;
  }
  cairo_surface_finish(surface);
  good = good && cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS;
  cairo_surface_destroy(surface);
  return good && (!svg || describe(out, picture));
}

void lw_picture_draw(const lw_picture *picture, cairo_t *cr) {
  lw_canvas c = {.height = lw_picture_height(picture)};
  cairo_save(cr);
  canvas_on(&c, cairo_reference(cr));
  picture->draw(&c, picture->what);
  canvas_end(&c);
  cairo_restore(cr);
}

lw_status lw_picture_make(const lw_picture *picture, lw_plot_form form, char **data, size_t *length,
                          lw_error *error) {
  bytes out = {0};
  if (!render(picture, form, &out)) {
    free(out.data);
    return lw_fail(error, LW_NO_MEMORY, "the picture could not be drawn");
  }
  *data = out.data;
  *length = out.used;
  return LW_OK;
}

lw_status lw_picture_write(const lw_picture *picture, lw_plot_form form, const char *path,
                           lw_error *error) {
  char *data = NULL;
  size_t length = 0;
  lw_status status = lw_picture_make(picture, form, &data, &length, error);
  if (status == LW_OK) status = lw_file_write(path, data, length, error);
  free(data);
  return status;
}

lw_status lw_picture_to_file(void *to, const lw_picture *picture, lw_error *error) {
  const lw_picture_file *file = to;
  return lw_picture_write(picture, file->form, file->path, error);
}
