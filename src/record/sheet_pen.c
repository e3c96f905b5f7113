/* sheet_pen.c - text, rules, shapes and pages of the handover sheet.
**
** All text goes through pango_layout_set_text, so nothing a user wrote can act as markup. Control
** and direction-override characters are taken out first: they could hide or reorder what a person
** signs for.
*/
#include "sheet.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* No line of a sheet needs more; it keeps a megabyte of pasted text from being laid out. */
enum { MOST_TEXT = 6000 };

static const double inks[][3] = {
    [LW_INK_TEXT] = {0.10, 0.10, 0.11},   [LW_INK_SOFT] = {0.38, 0.38, 0.40},
    [LW_INK_ACCENT] = {0.05, 0.33, 0.38}, [LW_INK_RULE] = {0.62, 0.62, 0.64},
    [LW_INK_SHADE] = {0.93, 0.93, 0.93},  [LW_INK_PAPER] = {1, 1, 1},
};

/* Length of the character at s, 0 at the end, and whether it may be shown. */
static size_t character(const char *s, size_t left, bool *shown) {
  if (left == 0) return 0;
  size_t n = 1;
  while (n < left && n < 4 && ((unsigned char)s[n] & 0xC0) == 0x80)
    n++;
  *shown = lw_text_utf8(s, n, NULL);
  if (n == 3 && memcmp(s, "\xE2\x80", 2) == 0) { /* U+200E, U+200F, U+2028 to U+202E */
    unsigned char c = (unsigned char)s[2];
    if (c == 0x8E || c == 0x8F || (c >= 0xA8 && c <= 0xAE)) *shown = false;
  }
  if (n == 3 && memcmp(s, "\xE2\x81", 2) == 0) { /* U+2066 to U+2069 */
    unsigned char c = (unsigned char)s[2];
    if (c >= 0xA6 && c <= 0xA9) *shown = false;
  }
  if (n == 2 && (unsigned char)s[0] == 0xC2 && (unsigned char)s[1] < 0xA0) *shown = false;
  return n;
}

/* text without what must not be shown, on one line; *cut when it was longer than MOST_TEXT. */
static size_t clean(const char *text, char *out, bool *cut) {
  size_t length = strlen(text), used = 0;
  for (size_t at = 0; at < length;) {
    bool shown = true;
    size_t n = character(text + at, length - at, &shown);
    if (used + n >= MOST_TEXT) {
      *cut = true;
      memcpy(out + used, " \xE2\x80\xA6", 5);
      return used + 4;
    }
    unsigned char c = (unsigned char)text[at];
    if (c < 0x20 || c == 0x7F) {
      if (used && out[used - 1] != ' ') out[used++] = ' ';
    } else if (shown) {
      memcpy(out + used, text + at, n);
      used += n;
    } else if (n == 1) {
      out[used++] = '?';
    }
    at += n;
  }
  out[used] = '\0';
  return used;
}

/* Lay text out; true when it was cut. */
static bool lay(lw_pen *pen, lw_hand hand, double width, const char *text) {
  char cleaned[MOST_TEXT + 8];
  bool cut = false;
  size_t length = clean(text ? text : "", cleaned, &cut);
  PangoFontDescription *font = pango_font_description_from_string("DejaVu Sans, Sans");
  pango_font_description_set_absolute_size(font, hand.size * PANGO_SCALE);
  pango_font_description_set_weight(font, hand.bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
  pango_layout_set_font_description(pen->layout, font);
  pango_font_description_free(font);
  pango_layout_set_width(pen->layout, width < 0 ? -1 : (int)(width * PANGO_SCALE));
  pango_layout_set_wrap(pen->layout, PANGO_WRAP_WORD_CHAR);
  pango_layout_set_ellipsize(pen->layout, hand.lines ? PANGO_ELLIPSIZE_END : PANGO_ELLIPSIZE_NONE);
  pango_layout_set_height(pen->layout, hand.lines ? -hand.lines : -1);
  pango_layout_set_text(pen->layout, cleaned, (int)length);
  return cut || (width >= 0 && pango_layout_is_ellipsized(pen->layout));
}

static double laid_height(lw_pen *pen) {
  int width = 0, height = 0;
  pango_layout_get_size(pen->layout, &width, &height);
  return (double)height / PANGO_SCALE;
}

void lw_pen_ink(lw_pen *pen, lw_ink ink) {
  cairo_set_source_rgb(pen->cr, inks[ink][0], inks[ink][1], inks[ink][2]);
}

double lw_pen_text(lw_pen *pen, lw_hand hand, const char *what, double x, double y, double width,
                   const char *text) {
  bool cut = lay(pen, hand, width, text);
  if (cut && what) lw_pen_shorten(pen, what);
  lw_pen_ink(pen, hand.ink);
  cairo_move_to(pen->cr, x, y);
  pango_cairo_show_layout(pen->cr, pen->layout);
  return laid_height(pen);
}

void lw_pen_text_right(lw_pen *pen, lw_hand hand, double x, double y, const char *text) {
  double width = lw_pen_text_width(pen, hand, text), most = x - pen->left;
  hand.lines = 1;
  lw_pen_text(pen, hand, NULL, x - fmin(width, most), y, fmin(width, most) + 1, text);
}

double lw_pen_text_height(lw_pen *pen, lw_hand hand, double width, const char *text) {
  lay(pen, hand, width, text);
  return laid_height(pen);
}

double lw_pen_text_width(lw_pen *pen, lw_hand hand, const char *text) {
  hand.lines = 0;
  lay(pen, hand, -1, text);
  int width = 0, height = 0;
  pango_layout_get_size(pen->layout, &width, &height);
  return (double)width / PANGO_SCALE;
}

void lw_pen_rule(lw_pen *pen, double x, double y, double width, double thick, lw_ink ink) {
  lw_pen_ink(pen, ink);
  cairo_rectangle(pen->cr, x, y, width, thick);
  cairo_fill(pen->cr);
}

void lw_pen_shorten(lw_pen *pen, const char *what) {
  if (strstr(pen->shortened, what)) return;
  lw_text_append(pen->shortened, sizeof pen->shortened, pen->shortened[0] ? ", %s" : "%s", what);
}

/* ---- pages ---- */

static const lw_hand foot = {6.5, false, LW_INK_SOFT, 1};

/* "Page 1 of 2", the program, and what the sheet is not. */
void lw_pen_page_end(lw_pen *pen) {
  char right[96];
  double y = pen->height - 30, middle = pen->right - 170;
  lw_pen_rule(pen, pen->left, y - 4, pen->right - pen->left, 0.5, LW_INK_RULE);
  lw_pen_text(pen, foot, NULL, pen->left, y, middle - pen->left,
              pen->foot ? pen->foot
                        : "Advice, not a certificate: a licensed inspector decides whether a car "
                          "passes.");
  snprintf(right, sizeof right, "Leanward %s  \xC2\xB7  page %d of %d", LW_VERSION, pen->page,
           pen->pages ? pen->pages : pen->page);
  lw_pen_text_right(pen, foot, pen->right, y, right);
  cairo_show_page(pen->cr);
}

static void next_page(lw_pen *pen) {
  static const lw_hand head = {7.5, true, LW_INK_SOFT, 1};
  char text[256] = "";
  lw_pen_page_end(pen);
  pen->page++;
  pen->y = pen->top;
  if (!pen->head) snprintf(text, sizeof text, "Handover sheet, job %.200s", pen->work->job->id);
  lw_pen_text(pen, head, NULL, pen->left, pen->y, pen->right - pen->left,
              pen->head ? pen->head : text);
  lw_pen_rule(pen, pen->left, pen->y + 12, pen->right - pen->left, 0.5, LW_INK_RULE);
  pen->y += 20;
}

bool lw_pen_room(lw_pen *pen, double height) {
  if (pen->page == 1 || pen->pages_most < 0) {
    if (pen->y + height <= pen->bottom) return true;
    next_page(pen);
  }
  if (pen->pages_most < 0) return true;
  if (pen->y + height <= pen->bottom - pen->end_height) return true;
  pen->overflow = true;
  return false;
}

bool lw_pen_title(lw_pen *pen, const char *title, double height) {
  static const lw_hand hand = {9, true, LW_INK_ACCENT, 1};
  if (!lw_pen_room(pen, height + 24)) {
    lw_pen_shorten(pen, title);
    return false;
  }
  pen->y += 8;
  lw_pen_text(pen, hand, NULL, pen->left, pen->y, pen->right - pen->left, title);
  pen->y += 13;
  lw_pen_rule(pen, pen->left, pen->y, pen->right - pen->left, 0.8, LW_INK_ACCENT);
  pen->y += 5;
  return true;
}

/* ---- shapes ---- */

static void polygon(lw_pen *pen, double x, double y, double r, int corners, double turn) {
  for (int i = 0; i < corners; i++) {
    double a = turn + 6.283185307179586 * i / corners;
    cairo_line_to(pen->cr, x + r * cos(a), y + r * sin(a));
  }
  cairo_close_path(pen->cr);
}

static void within_shape(lw_pen *pen, double x, double y, double r) {
  cairo_new_path(pen->cr);
  cairo_arc(pen->cr, x, y, r, 0, 6.283185307179586);
  cairo_stroke(pen->cr);
  cairo_move_to(pen->cr, x - 0.45 * r, y + 0.02 * r);
  cairo_line_to(pen->cr, x - 0.10 * r, y + 0.40 * r);
  cairo_line_to(pen->cr, x + 0.48 * r, y - 0.38 * r);
  cairo_stroke(pen->cr);
}

static void outside_shape(lw_pen *pen, double x, double y, double r) {
  cairo_new_path(pen->cr);
  polygon(pen, x, y, r, 8, 0.39269908169872414);
  cairo_fill(pen->cr);
  lw_pen_ink(pen, LW_INK_PAPER);
  for (int i = -1; i <= 1; i += 2) {
    cairo_move_to(pen->cr, x - 0.42 * r, y - 0.42 * r * i);
    cairo_line_to(pen->cr, x + 0.42 * r, y + 0.42 * r * i);
    cairo_stroke(pen->cr);
  }
}

/* A limit line with a band across it, in a diamond. */
static void close_shape(lw_pen *pen, double x, double y, double r) {
  cairo_new_path(pen->cr);
  polygon(pen, x, y, r, 4, 0);
  cairo_stroke(pen->cr);
  cairo_move_to(pen->cr, x, y - 0.5 * r);
  cairo_line_to(pen->cr, x, y + 0.5 * r);
  cairo_stroke(pen->cr);
  cairo_rectangle(pen->cr, x - 0.45 * r, y - 0.13 * r, 0.9 * r, 0.26 * r);
  cairo_fill(pen->cr);
}

static void none_shape(lw_pen *pen, double x, double y, double r) {
  double dashes[] = {r * 0.35, r * 0.25};
  cairo_new_path(pen->cr);
  cairo_set_dash(pen->cr, dashes, 2, 0);
  cairo_arc(pen->cr, x, y, r, 0, 6.283185307179586);
  cairo_stroke(pen->cr);
  cairo_set_dash(pen->cr, NULL, 0, 0);
  cairo_move_to(pen->cr, x - 0.4 * r, y);
  cairo_line_to(pen->cr, x + 0.4 * r, y);
  cairo_stroke(pen->cr);
}

void lw_pen_verdict_shape(lw_pen *pen, lw_verdict verdict, double x, double y, double r) {
  cairo_save(pen->cr);
  lw_pen_ink(pen, verdict == LW_NO_VERDICT ? LW_INK_SOFT : LW_INK_TEXT);
  cairo_set_line_width(pen->cr, r * 0.2);
  switch (verdict) {
  case LW_WITHIN: within_shape(pen, x, y, r); break;
  case LW_OUTSIDE: outside_shape(pen, x, y, r); break;
  case LW_TOO_CLOSE: close_shape(pen, x, y, r); break;
  case LW_NO_VERDICT: none_shape(pen, x, y, r); break;
  }
  cairo_restore(pen->cr);
}

void lw_pen_found_shape(lw_pen *pen, double x, double y, double r) {
  cairo_new_path(pen->cr);
  cairo_arc(pen->cr, x, y, r, 0, 6.283185307179586);
  lw_pen_ink(pen, LW_INK_PAPER);
  cairo_fill_preserve(pen->cr);
  lw_pen_ink(pen, LW_INK_TEXT);
  cairo_set_line_width(pen->cr, 1.1);
  cairo_stroke(pen->cr);
}

void lw_pen_left_shape(lw_pen *pen, double x, double y, double r) {
  cairo_new_path(pen->cr);
  polygon(pen, x, y, r * 1.25, 4, 0);
  lw_pen_ink(pen, LW_INK_ACCENT);
  cairo_fill(pen->cr);
}

/* ---- lists ---- */

void lw_items_add(lw_pen *pen, lw_items *items, const char *format, ...) {
  if (items->count >= sizeof items->text / sizeof items->text[0]) return;
  va_list args, again;
  va_start(args, format);
  va_copy(again, args);
  int length = vsnprintf(NULL, 0, format, args);
  va_end(args);
  char *text = length < 0 ? NULL : lw_arena_alloc(pen->arena, (size_t)length + 1);
  if (text) {
    vsnprintf(text, (size_t)length + 1, format, again);
    if (text[0] >= 'a' && text[0] <= 'z') text[0] = (char)(text[0] - 'a' + 'A');
    items->text[items->count++] = text;
  }
  va_end(again);
}
