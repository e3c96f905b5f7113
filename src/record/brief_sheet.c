/* brief_sheet.c - lw_brief_sheet_write: a brief as PDF, as many pages as it takes.
**
** Drawn twice: once to count the pages, once to keep. Made in memory and then written whole.
*/
#include "brief_parts.h"
#include "sheet.h"

#include <cairo-pdf.h>
#include <stdlib.h>
#include <string.h>

static const lw_hand title_hand = {14, true, LW_INK_TEXT, 3}, name = {8.2, true, LW_INK_TEXT, 2},
                     body = {8, false, LW_INK_TEXT, 24}, strong = {8, true, LW_INK_TEXT, 24},
                     soft = {7, false, LW_INK_SOFT, 24};
static const double indent = 8, label_width = 26;

typedef struct sheet {
  lw_pen pen;
  const lw_brief_document *document;
  lw_error *error;
  lw_status status;
} sheet;

static double wide(const lw_pen *pen) {
  return pen->right - pen->left;
}

/* ---- lines ---- */

/* A paragraph in the whole width, in points from the left. */
static void paragraph(lw_pen *pen, lw_hand hand, double in, const char *text) {
  double width = wide(pen) - in, height = lw_pen_text_height(pen, hand, width, text);
  if (!lw_pen_room(pen, height + 2)) return;
  pen->y += lw_pen_text(pen, hand, "words", pen->left + in, pen->y, width, text) + 2;
}

static void labeled(lw_pen *pen, const char *label, lw_hand hand, const char *text) {
  double in = indent + label_width, width = wide(pen) - in;
  double height = lw_pen_text_height(pen, hand, width, text);
  if (!lw_pen_room(pen, height + 2)) return;
  lw_pen_text(pen, soft, NULL, pen->left + indent, pen->y + 0.8, label_width, label);
  pen->y += lw_pen_text(pen, hand, "words", pen->left + in, pen->y, width, text) + 2;
}

static void bullet(lw_pen *pen, const char *text) {
  double width = wide(pen) - 2 * indent, height = lw_pen_text_height(pen, body, width, text);
  if (!lw_pen_room(pen, height + 2)) return;
  lw_pen_text(pen, body, NULL, pen->left + 1, pen->y, indent, "\xE2\x80\xA2");
  pen->y += lw_pen_text(pen, body, "words", pen->left + indent, pen->y, width, text) + 2;
}

/* A heading under a section's, kept with what follows. */
static void heading(lw_pen *pen, const char *text) {
  static const lw_hand hand = {9, true, LW_INK_ACCENT, 1};
  if (!lw_pen_room(pen, 46)) return;
  pen->y += 6;
  pen->y += lw_pen_text(pen, hand, NULL, pen->left, pen->y, wide(pen), text) + 3;
}

/* ---- items ---- */

static const char *figure_text(lw_pen *pen, const lw_brief_figure *f) {
  const char *said = f->text ? f->text : "not given";
  const char *text = f->line ? lw_arena_print(pen->arena, "%s (line %d)", said, f->line) : said;
  return text ? text : said;
}

static double item_height(lw_pen *pen, const lw_brief_item *i) {
  double width = wide(pen) - indent - label_width;
  return 36 + (i->act ? lw_pen_text_height(pen, strong, width, i->act) : 0);
}

static void item(lw_pen *pen, const lw_brief_item *i) {
  lw_pen_room(pen, item_height(pen, i));
  pen->y += 2;
  paragraph(pen, name, 0, i->what);
  labeled(pen, "was", body, figure_text(pen, &i->before));
  labeled(pen, "now", body, figure_text(pen, &i->after));
  if (i->act) labeled(pen, "do", strong, i->act);
  if (i->why && !i->act) labeled(pen, "why", body, i->why);
  if (i->size) labeled(pen, "twin", body, i->size);
}

static void groups(lw_pen *pen, const lw_brief *b, bool with_common) {
  for (int g = 0; g < LW_BRIEF_GROUPS; g++) {
    bool begun = false;
    for (size_t i = 0; i < b->item_count; i++) {
      const lw_brief_item *at = &b->items[i];
      if ((int)at->group != g || (at->common && !with_common)) continue;
      if (!begun) heading(pen, lw_brief_group_text((lw_brief_group)g));
      begun = true;
      item(pen, at);
    }
  }
}

/* ---- the twin ---- */

static void reach(lw_pen *pen, const lw_brief *b) {
  lw_reach_row row[2];
  double third = wide(pen) / 3;
  lw_brief_reach_row(b->before.card, &b->reach[0], row[0]);
  lw_brief_reach_row(b->after.card, &b->reach[1], row[1]);
  heading(pen, "What the screws reach (twin)");
  lw_pen_room(pen, 13 * LW_REACH_COLUMNS);
  for (int i = 0; i < LW_REACH_COLUMNS; i++) {
    double height = 0;
    lw_pen_rule(pen, pen->left, pen->y - 1, wide(pen), 0.3, LW_INK_RULE);
    lw_pen_text(pen, soft, NULL, pen->left, pen->y + 0.8, third - 6, lw_reach_heads[i]);
    for (int k = 0; k < 2; k++) {
      double h = lw_pen_text(pen, i ? body : name, NULL, pen->left + (k + 1) * third, pen->y,
                             third - 6, row[k][i]);
      height = h > height ? h : height;
    }
    pen->y += (height > 10 ? height : 10) + 3;
  }
}

static void mixture(lw_pen *pen, const lw_brief *b) {
  if (!b->road) return;
  heading(pen, "The mixture over the range, a level road (twin)");
  for (int i = 0; i < LW_PLACES; i++) {
    if (b->road->effects[i].words) bullet(pen, b->road->effects[i].words);
  }
}

/* Pictures stand two beside each other, each as high as it is. */
typedef struct row {
  sheet *s;
  int column;
  double height;
} row;

static lw_status picture(void *to, const lw_picture *p, lw_error *error) {
  row *r = to;
  lw_pen *pen = &r->s->pen;
  double gap = 12, width = (wide(pen) - gap) / 2, scale = width / PLOT_WIDTH;
  double height = scale * lw_picture_height(p);
  (void)error;
  if (r->column == 0) {
    lw_pen_room(pen, 1.3 * height); /* the one beside it may be the higher */
    pen->y += 4;
    r->height = 0;
  }
  cairo_save(pen->cr);
  cairo_translate(pen->cr, pen->left + r->column * (width + gap), pen->y);
  cairo_scale(pen->cr, scale, scale);
  lw_picture_draw(p, pen->cr);
  cairo_restore(pen->cr);
  r->height = height > r->height ? height : r->height;
  r->column = 1 - r->column;
  if (r->column == 0) pen->y += r->height + 4;
  return LW_OK;
}

static void pictures(sheet *s, const lw_brief *b) {
  row r = {s, 0, 0};
  lw_status status = lw_brief_pictures(b, picture, &r, s->error);
  if (r.column) s->pen.y += r.height + 4;
  if (status != LW_OK) s->status = status;
}

static void list(lw_pen *pen, const char *title, const char *const *text, size_t count) {
  if (!count) return;
  heading(pen, title);
  for (size_t i = 0; i < count; i++)
    bullet(pen, text[i]);
}

/* The files whose lines are named. */
static void sources(lw_pen *pen, const lw_brief *b) {
  if (!b->before.card->file || !b->after.card->file) return;
  labeled(pen, "was", soft, b->before.card->file);
  labeled(pen, "now", soft, b->after.card->file);
}

static void whole(sheet *s, const lw_brief *b, const lw_brief_swap *sibling, bool with_common) {
  lw_pen *pen = &s->pen;
  paragraph(pen, strong, 0, b->verdict);
  sources(pen, b);
  groups(pen, b, with_common);
  reach(pen, b);
  mixture(pen, b);
  list(pen, b->interchanges ? "Interchange" : "Does not interchange: the evidence", b->evidence,
       b->evidence_count);
  if (sibling) list(pen, "The unit of the other transmission (twin)", &sibling->words, 1);
  list(pen, "Not said", b->gaps, b->gap_count);
  pictures(s, b);
}

/* ---- a model year ---- */

static void contents(lw_pen *pen, const lw_brief_year *y) {
  lw_pen_title(pen, "Contents", 60);
  paragraph(pen, body, 0, "1. What applies to all");
  for (size_t k = 0; k < y->unit_count; k++) {
    const char *text = lw_arena_print(pen->arena, "%zu. %s", k + 2, y->units[k]->title);
    paragraph(pen, body, 0, text ? text : "");
  }
  const char *text = lw_arena_print(pen->arena, "%zu. Procedures that changed", y->unit_count + 2);
  paragraph(pen, body, 0, text ? text : "");
}

static void cards(lw_pen *pen, const char *title, const lw_card *const *card, size_t count) {
  char text[600];
  if (!count) return;
  heading(pen, title);
  for (size_t i = 0; i < count; i++)
    bullet(pen, lw_brief_card_text(card[i], text, sizeof text));
}

static void common(lw_pen *pen, const lw_brief_year *y) {
  char text[2000];
  lw_pen_title(pen, "1. What applies to all", 60);
  if (!y->common_count) paragraph(pen, body, 0, "Nothing: each unit changed in its own way.");
  for (size_t c = 0; c < y->common_count; c++) {
    const lw_brief_item *i = y->common[c].item;
    lw_pen_room(pen, item_height(pen, i));
    pen->y += 2;
    paragraph(pen, name, 0, i->what);
    labeled(pen, "for", body, lw_brief_units_text(y, &y->common[c], text, sizeof text));
    labeled(pen, "was", body, i->before.text ? i->before.text : "not given");
    labeled(pen, "now", body, i->after.text ? i->after.text : "not given");
    if (i->act) labeled(pen, "do", strong, i->act);
  }
}

static void procedures(lw_pen *pen, const lw_brief_year *y) {
  char text[2000];
  int group = -1;
  const char *title = lw_arena_print(pen->arena, "%zu. Procedures that changed", y->unit_count + 2);
  lw_pen_title(pen, title ? title : "", 60);
  if (!y->procedure_count) paragraph(pen, body, 0, "None.");
  for (size_t c = 0; c < y->procedure_count; c++) {
    const lw_brief_item *i = y->procedures[c].item;
    if ((int)i->group != group) heading(pen, lw_brief_group_text(i->group));
    group = (int)i->group;
    lw_pen_room(pen, item_height(pen, i));
    pen->y += 2;
    labeled(pen, "do", strong, i->act);
    labeled(pen, "for", body, lw_brief_units_text(y, &y->procedures[c], text, sizeof text));
  }
}

/* Each unit begins a page of its own: it is handed to whoever works on that car. */
static void new_page(lw_pen *pen) {
  if (pen->y > pen->top + 1) lw_pen_room(pen, 2 * pen->height);
}

static void year(sheet *s, const lw_brief_year *y) {
  lw_pen *pen = &s->pen;
  contents(pen, y);
  cards(pen, "Dropped", y->dropped, y->dropped_count);
  cards(pen, "Added", y->added, y->added_count);
  common(pen, y);
  for (size_t k = 0; k < y->unit_count; k++) {
    const char *title = lw_arena_print(pen->arena, "%zu. %s", k + 2, y->units[k]->title);
    new_page(pen);
    lw_pen_title(pen, title ? title : "", 60);
    whole(s, y->units[k], y->siblings[k], false);
  }
  new_page(pen);
  procedures(pen, y);
}

/* ---- the file ---- */

static void draw(sheet *s) {
  lw_pen *pen = &s->pen;
  pen->page = 1;
  pen->y = pen->top;
  pen->shortened[0] = '\0';
  paragraph(pen, title_hand, 0, pen->head);
  if (s->document->pair) {
    whole(s, s->document->pair, NULL, true);
  } else {
    year(s, s->document->year);
  }
  if (pen->shortened[0]) paragraph(pen, soft, 0, "Some words were too long for this sheet.");
  lw_pen_page_end(pen);
}

static cairo_status_t take(void *to, const unsigned char *data, unsigned int length) {
  return fwrite(data, 1, length, to) == length ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_WRITE_ERROR;
}

/* The same brief gives the same bytes, whenever it is printed. */
static void describe(cairo_surface_t *surface, const char *title) {
  static const char day[] = "1970-01-01T00:00:00Z";
  if (lw_text_utf8(title, strlen(title), NULL))
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, title);
  cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_SUBJECT, "What changed");
  cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "Leanward " LW_VERSION);
  cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, day);
  cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_MOD_DATE, day);
}

static bool make(sheet *s, FILE *to) {
  lw_pen *pen = &s->pen;
  PangoFontMap *fonts = pango_cairo_font_map_new();
  if (!fonts) return false;
  PangoContext *context = pango_font_map_create_context(fonts);
  cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(take, to, pen->width, pen->height);
  describe(surface, pen->head);
  pen->cr = cairo_create(surface);
  pango_cairo_update_context(pen->cr, context);
  pen->layout = pango_layout_new(context);
  draw(s);
  g_object_unref(pen->layout);
  g_object_unref(context);
  g_object_unref(fonts);
  bool good = cairo_status(pen->cr) == CAIRO_STATUS_SUCCESS;
  cairo_destroy(pen->cr);
  cairo_surface_finish(surface);
  good = good && cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS;
  cairo_surface_destroy(surface);
  return good;
}

static bool into_memory(sheet *s, char **bytes, size_t *length) {
  FILE *to = open_memstream(bytes, length);
  if (!to) return false;
  bool good = make(s, to);
  return fclose(to) == 0 && good;
}

static void title_of(const lw_brief_document *document, char *out, size_t size) {
  const lw_brief_year *y = document->year;
  if (document->pair) {
    snprintf(out, size, "%s", document->pair->title);
  } else if (y->before && y->after) {
    snprintf(out, size, "Model year %d against %d", y->after, y->before);
  } else {
    snprintf(out, size, "What changed, unit by unit");
  }
}

lw_status lw_brief_sheet_make(const lw_brief_document *document, const char *paper, char **bytes,
                              size_t *length, lw_error *error) {
  char title[400];
  bool letter = lw_text_same(paper, "Letter");
  sheet s = {.document = document, .error = error, .status = LW_OK};
  *bytes = NULL;
  *length = 0;
  if (!letter && !lw_text_same(paper, "A4"))
    return lw_fail(error, LW_BAD_INPUT, "'%.40s' is not a paper; use A4 or Letter", paper);
  title_of(document, title, sizeof title);
  s.pen = (lw_pen){.width = letter ? 612 : 595.276,
                   .height = letter ? 792 : 841.890,
                   .left = 42,
                   .top = 42,
                   .head = title,
                   .foot = "Was and now: the cards' figures. Twin: computed. The manual and the "
                           "emission label come first.",
                   .pages_most = -1};
  s.pen.right = s.pen.width - 42;
  s.pen.bottom = s.pen.height - 42;
  s.pen.arena = lw_arena_new(0);
  bool good = s.pen.arena && into_memory(&s, bytes, length);
  free(*bytes);
  *bytes = NULL;
  s.pen.pages = s.pen.page;
  good = good && into_memory(&s, bytes, length);
  lw_arena_free(s.pen.arena);
  lw_status status = s.status;
  if (status == LW_OK && !good) status = lw_fail(error, LW_NO_MEMORY, "no memory for this sheet");
  if (status == LW_OK) return LW_OK;
  free(*bytes);
  *bytes = NULL;
  return status;
}

lw_status lw_brief_sheet_write(const lw_brief_document *document, const char *path,
                               const char *paper, lw_error *error) {
  char *bytes = NULL;
  size_t length = 0;
  lw_status status = lw_brief_sheet_make(document, paper, &bytes, &length, error);
  if (status == LW_OK) status = lw_file_write(path, bytes, length, error);
  free(bytes);
  return status;
}
