/* sheet.h - the handover sheet's own tools: a pen that knows its page, scales, and the sections.
**
** Units    points (1/72 in), y down the page. Values that are drawn on a scale are SI until the
**          scale's factor turns them into what people read.
** Errors   none on the way: what did not fit is remembered in the pen and said on the sheet.
** Memory   texts made on the way live in the pen's arena.
*/
#ifndef LW_RECORD_SHEET_H
#define LW_RECORD_SHEET_H

#include "leanward/record.h"

#include <pango/pangocairo.h>

typedef enum lw_ink {
  LW_INK_TEXT,
  LW_INK_SOFT,   /* labels and remarks */
  LW_INK_ACCENT, /* dark enough to stay readable as gray */
  LW_INK_RULE,
  LW_INK_SHADE,
  LW_INK_PAPER
} lw_ink;

typedef struct lw_hand {
  double size; /* points */
  bool bold;
  lw_ink ink;
  int lines; /* at most; 0: as many as it takes */
} lw_hand;

/* How much is said: the first level that fits on two pages is used. */
typedef struct lw_level {
  int complaint, item, cell; /* lines */
  bool split;                /* tables may start on one page and end on the next */
  size_t items, scales, readings, differences; /* entries of each list */
} lw_level;

typedef struct lw_pen {
  cairo_t *cr;
  PangoLayout *layout;
  lw_arena *arena;
  const lw_work *work;
  const char *head, *foot; /* of every page but the first, of every page; NULL: the sheet's own */
  int pages_most;          /* 0: two, as the sheet has; under 0: as many as it takes */
  const lw_level *level;
  double width, height;            /* paper */
  double left, right, top, bottom; /* what may be written on */
  double y;
  int page, pages;     /* pages: 0 until counted */
  double end_height;   /* kept free on the last page for what closes the sheet */
  bool overflow;       /* more than two pages would be needed */
  char shortened[400]; /* what was cut, in words */
} lw_pen;

/* ---- sheet_pen.c ---- */

void lw_pen_ink(lw_pen *pen, lw_ink ink);
/* Plain text (never markup) in a box of this width at x, y; returns its height. what names it when
   it had to be cut; NULL: cut without a word. */
double lw_pen_text(lw_pen *pen, lw_hand hand, const char *what, double x, double y, double width,
                   const char *text);
/* The same, ending at the right edge x. One line. */
void lw_pen_text_right(lw_pen *pen, lw_hand hand, double x, double y, const char *text);
double lw_pen_text_height(lw_pen *pen, lw_hand hand, double width, const char *text);
double lw_pen_text_width(lw_pen *pen, lw_hand hand, const char *text);
void lw_pen_rule(lw_pen *pen, double x, double y, double width, double thick, lw_ink ink);
/* Room for height more points, on another page if need be. False: there is none. */
bool lw_pen_room(lw_pen *pen, double height);
/* Say on the sheet that this was cut. */
void lw_pen_shorten(lw_pen *pen, const char *what);
/* A section's title, kept together with height points that follow. False: no room. */
bool lw_pen_title(lw_pen *pen, const char *title, double height);
void lw_pen_page_end(lw_pen *pen);

/* Shapes that tell themselves apart without color, in a circle of radius r around x, y. */
void lw_pen_verdict_shape(lw_pen *pen, lw_verdict verdict, double x, double y, double r);
void lw_pen_found_shape(lw_pen *pen, double x, double y, double r);
void lw_pen_left_shape(lw_pen *pen, double x, double y, double r);

/* A growing list of texts. */
typedef struct lw_items {
  const char *text[96];
  size_t count;
} lw_items;
void lw_items_add(lw_pen *pen, lw_items *items, const char *format, ...) LW_PRINTF(3, 4);

/* ---- sheet_scale.c ---- */

void lw_sheet_scales(lw_pen *pen);

/* ---- sheet_table.c ---- */

void lw_sheet_checks(lw_pen *pen);
void lw_sheet_differences(lw_pen *pen);
void lw_sheet_readings(lw_pen *pen);

/* ---- sheet_parts.c ---- */

void lw_sheet_header(lw_pen *pen);
void lw_sheet_verdict(lw_pen *pen);
void lw_sheet_found_and_set(lw_pen *pen);
void lw_sheet_advice(lw_pen *pen);
void lw_sheet_causes(lw_pen *pen); /* nothing where none were weighed */
void lw_sheet_snaps(lw_pen *pen);  /* nothing where none were taken */
void lw_sheet_sureness(lw_pen *pen);
double lw_sheet_end_height(lw_pen *pen);
void lw_sheet_end(lw_pen *pen);

/* "found", "left" or "read": what a reading is called on the sheet. */
const char *lw_sheet_stage(const lw_work *work, size_t reading);

#endif
