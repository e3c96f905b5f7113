/* sheet.c - lw_sheet_write: the handover sheet as PDF.
**
** The sheet is drawn twice at each level of detail: once to count its pages, once to keep. The
** first level that fits on two pages is taken; what it left out is said on the sheet. The PDF is
** made in memory and then written whole, so a full disk leaves the old sheet as it was.
*/
#include "sheet.h"

#include <cairo-pdf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* From all there is to what a person must see. The last one always fits: what still finds no room
   is left out and named. */
static const lw_level levels[] = {
    /* complaint, item, cell lines; split; items, scales, readings, differences */
    {14, 8, 6, false, 40, 24, 60, 10}, {14, 8, 6, true, 40, 24, 60, 10},
    {14, 8, 6, true, 40, 24, 60, 7},   {12, 6, 6, true, 24, 16, 40, 5},
    {9, 5, 4, true, 16, 12, 26, 5},    {6, 3, 3, true, 9, 9, 18, 5},
    {5, 2, 3, true, 8, 8, 14, 4},      {4, 2, 2, true, 6, 7, 14, 4},
    {4, 2, 2, true, 5, 6, 9, 3},       {3, 2, 1, true, 4, 5, 4, 2},
};
enum { LEVELS = sizeof levels / sizeof levels[0] };

typedef struct paper {
  const char *name;
  double width, height; /* points */
} paper;

static const paper papers[] = {{"A4", 595.276, 841.890}, {"Letter", 612, 792}};

/* ---- a PDF in memory ---- */

typedef struct bytes {
  unsigned char *at;
  size_t used, size;
} bytes;

static cairo_status_t grow(void *to, const unsigned char *data, unsigned int length) {
  bytes *b = to;
  if (b->used + length > b->size) {
    size_t size = (b->used + length) * 2;
    unsigned char *at = realloc(b->at, size);
    if (!at) return CAIRO_STATUS_NO_MEMORY;
    b->at = at;
    b->size = size;
  }
  memcpy(b->at + b->used, data, length);
  b->used += length;
  return CAIRO_STATUS_SUCCESS;
}

/* text starts like shape, where d is any digit */
static bool is_shape(const char *text, const char *shape) {
  for (; *shape; text++, shape++) {
    bool digit = *text >= '0' && *text <= '9';
    if (*shape == 'd' ? !digit : *text != *shape) return false;
  }
  return true;
}

/* "2026-11-20" at the start of the job's date, else a fixed day: the same job gives the same bytes,
   whenever it is printed. */
static void date_of(const lw_job *job, char *out, size_t size) {
  const char *date = job->date ? job->date : "";
  bool good = is_shape(date, "dddd-dd-dd") && memcmp(date, "1900", 4) >= 0 &&
              memcmp(date + 5, "01", 2) >= 0 && memcmp(date + 5, "12", 2) <= 0 &&
              memcmp(date + 8, "01", 2) >= 0 && memcmp(date + 8, "31", 2) <= 0;
  if (good) {
    snprintf(out, size, "%.10sT00:00:00Z", date);
  } else {
    snprintf(out, size, "1970-01-01T00:00:00Z");
  }
}

/* Cairo takes only well-formed UTF-8. */
static void describe(cairo_surface_t *surface, cairo_pdf_metadata_t key, const char *text) {
  if (text && lw_text_utf8(text, strlen(text), NULL)) {
    cairo_pdf_surface_set_metadata(surface, key, text);
  }
}

static void metadata(cairo_surface_t *surface, const lw_job *job) {
  char title[200], date[40];
  size_t bad = 0;
  snprintf(title, sizeof title, "Handover sheet, job %s", job->id);
  if (!lw_text_utf8(title, strlen(title), &bad)) title[bad] = '\0'; /* cut inside a character */
  date_of(job, date, sizeof date);
  describe(surface, CAIRO_PDF_METADATA_TITLE, title);
  describe(surface, CAIRO_PDF_METADATA_AUTHOR, job->technician ? job->technician : job->shop);
  describe(surface, CAIRO_PDF_METADATA_SUBJECT, "Carburetor and idle adjustment");
  describe(surface, CAIRO_PDF_METADATA_CREATOR, "Leanward " LW_VERSION);
  describe(surface, CAIRO_PDF_METADATA_CREATE_DATE, date);
  describe(surface, CAIRO_PDF_METADATA_MOD_DATE, date);
}

/* ---- drawing ---- */

static void draw(lw_pen *pen) {
  pen->page = 1;
  pen->y = pen->top;
  pen->overflow = false;
  pen->shortened[0] = '\0';
  pen->end_height = lw_sheet_end_height(pen);
  lw_sheet_header(pen);
  lw_sheet_verdict(pen);
  lw_sheet_scales(pen);
  lw_sheet_found_and_set(pen);
  lw_sheet_advice(pen);
  lw_sheet_causes(pen);
  lw_sheet_checks(pen);
  lw_sheet_differences(pen);
  lw_sheet_readings(pen);
  lw_sheet_snaps(pen);
  lw_sheet_sureness(pen);
  lw_sheet_end(pen);
  lw_pen_page_end(pen);
}

/* One drawing on a surface; false when pango or cairo ran out of memory. */
static bool draw_on(lw_pen *pen, PangoFontMap *fonts, cairo_surface_t *surface) {
  PangoContext *context = pango_font_map_create_context(fonts);
  pen->cr = cairo_create(surface);
  pango_cairo_update_context(pen->cr, context);
  pen->layout = pango_layout_new(context);
  pango_layout_set_auto_dir(pen->layout, TRUE);
  draw(pen);
  g_object_unref(pen->layout);
  g_object_unref(context);
  bool good = cairo_status(pen->cr) == CAIRO_STATUS_SUCCESS;
  cairo_destroy(pen->cr);
  return good;
}

static bool make(lw_pen *pen, PangoFontMap *fonts, bytes *out) {
  out->used = 0;
  cairo_surface_t *surface =
      cairo_pdf_surface_create_for_stream(grow, out, pen->width, pen->height);
  metadata(surface, pen->work->job);
  bool good = draw_on(pen, fonts, surface);
  cairo_surface_finish(surface);
  good = good && cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS;
  cairo_surface_destroy(surface);
  return good;
}

static bool make_fitting(lw_pen *pen, PangoFontMap *fonts, bytes *out) {
  for (size_t i = 0; i < LEVELS; i++) {
    pen->level = &levels[i];
    pen->pages = 0;
    if (!make(pen, fonts, out)) return false;
    if (!pen->overflow || i + 1 == LEVELS) break;
  }
  pen->pages = pen->page;
  return make(pen, fonts, out);
}

static const paper *paper_of(const char *name) {
  for (size_t i = 0; i < sizeof papers / sizeof papers[0]; i++) {
    if (lw_text_same(name ? name : "A4", papers[i].name)) return &papers[i];
  }
  return NULL;
}

lw_status lw_sheet_make(const lw_work *work, const char *paper_name, unsigned char **out,
                        size_t *length, lw_error *error) {
  const paper *sheet = paper_of(paper_name);
  if (!sheet) {
    return lw_fail(error, LW_BAD_INPUT, "'%.40s' is not a paper; use A4 or Letter", paper_name);
  }
  bytes pdf = {NULL, 0, 0};
  lw_pen pen = {.work = work, .width = sheet->width, .height = sheet->height};
  pen.left = pen.top = 42;
  pen.right = sheet->width - 42;
  pen.bottom = sheet->height - 42;
  pen.arena = lw_arena_new(0);
  PangoFontMap *fonts = pango_cairo_font_map_new();
  bool good = pen.arena && fonts && make_fitting(&pen, fonts, &pdf);
  if (fonts) g_object_unref(fonts);
  lw_arena_free(pen.arena);
  if (!good) {
    free(pdf.at);
    return lw_fail(error, LW_NO_MEMORY, "no memory to draw the handover sheet");
  }
  *out = pdf.at;
  *length = pdf.used;
  return LW_OK;
}

lw_status lw_sheet_write(const lw_work *work, const char *path, const char *paper_name,
                         lw_error *error) {
  unsigned char *pdf = NULL;
  size_t length = 0;
  lw_status status = lw_sheet_make(work, paper_name, &pdf, &length, error);
  if (status == LW_OK) status = lw_file_write(path, pdf, length, error);
  free(pdf);
  return status;
}
