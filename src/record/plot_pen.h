/* plot_pen.h - what the pictures are drawn with. Private to this floor.
**
** Units    canvas units (1/96 in on paper, CSS pixels on a screen), y down.
*/
#ifndef LW_RECORD_PLOT_PEN_H
#define LW_RECORD_PLOT_PEN_H

#include "leanward/plot.h"

#include <pango/pangocairo.h>

enum { PLOT_WIDTH = 360 };

typedef enum lw_tint {
  LW_TINT_PAPER,
  LW_TINT_TEXT,
  LW_TINT_SOFT,
  LW_TINT_RULE,
  LW_TINT_ACCENT,
  LW_TINT_IDLE,
  LW_TINT_TRANSFER,
  LW_TINT_MAIN,
  LW_TINT_POWER,
  LW_TINT_LEAK
} lw_tint;

typedef struct lw_canvas {
  cairo_t *cr;
  PangoLayout *layout;
  double height;
} lw_canvas;

/* A plot's frame and its two scales: values to canvas units. */
typedef struct lw_frame {
  double left, top, right, bottom;
  double x0, x1, y0, y1; /* values at left, right, bottom, top; x already on its own scale */
} lw_frame;
double lw_frame_x(const lw_frame *f, double x);
double lw_frame_y(const lw_frame *f, double y);

void lw_canvas_tint(lw_canvas *c, lw_tint tint, double alpha);
typedef enum lw_align { LW_ALIGN_LEFT, LW_ALIGN_MIDDLE, LW_ALIGN_RIGHT } lw_align;
/* One line of plain text; x is its left, middle or right, y its top. */
void lw_canvas_text(lw_canvas *c, double size, bool bold, lw_tint tint, lw_align align, double x,
                    double y, const char *text);
void lw_canvas_measure(lw_canvas *c, double size, bool bold, const char *text, double *width,
                       double *height);
/* Text in a box of this width, at most lines lines; returns its height. draw false: only measure. */
double lw_canvas_box(lw_canvas *c, double size, bool bold, lw_tint tint, double x, double y,
                     double width, int lines, const char *text, bool draw);
/* Hatch the current path: kind 0 is for gaps, 1.. tell areas apart. The path is used up. */
void lw_canvas_hatch(lw_canvas *c, int kind, lw_tint tint, double alpha);
/* Title and note at the top; returns where the rest begins. draw false: only measure. */
double lw_canvas_title(lw_canvas *c, const char *title, const char *note, bool draw);
void lw_canvas_grid_x(lw_canvas *c, const lw_frame *f, double x, const char *label);
void lw_canvas_grid_y(lw_canvas *c, const lw_frame *f, double y, const char *label);
void lw_canvas_outline(lw_canvas *c, const lw_frame *f);

/* A step of 1, 2 or 5 times a power of ten, for at most most of them in span. */
double lw_nice_step(double span, int most);

/* Draw on a canvas of this height and write it. height and draw are given the same canvas. */
typedef struct lw_picture {
  const char *title, *about; /* for those who cannot see it (SVG) */
  double (*height)(lw_canvas *c, const void *what);
  void (*draw)(lw_canvas *c, const void *what);
  const void *what;
} lw_picture;
lw_status lw_picture_write(const lw_picture *picture, lw_plot_form form, const char *path,
                           lw_error *error) LW_MUST_USE;
/* The same as bytes the caller frees. */
lw_status lw_picture_make(const lw_picture *picture, lw_plot_form form, char **bytes,
                          size_t *length, lw_error *error) LW_MUST_USE;
/* On another canvas, PLOT_WIDTH wide at its origin; its height comes from lw_picture_height. */
double lw_picture_height(const lw_picture *picture);
void lw_picture_draw(const lw_picture *picture, cairo_t *cr);

/* Pictures for a page or a sheet: use is given the picture while what it is drawn from lives. */
typedef lw_status (*lw_picture_use)(void *to, const lw_picture *picture, lw_error *error);
typedef struct lw_picture_file {
  lw_plot_form form;
  const char *path;
} lw_picture_file;
lw_status lw_picture_to_file(void *to, const lw_picture *picture, lw_error *error); /* such a use */
lw_status lw_plot_line_use(const lw_plot_lines *plot, lw_picture_use use, void *to,
                           lw_error *error) LW_MUST_USE;
lw_status lw_plot_map_use(const char *title, const char *note, const lw_map *map,
                          lw_picture_use use, void *to, lw_error *error) LW_MUST_USE;

#endif
