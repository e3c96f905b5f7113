/* brief_page.c - lw_brief_page_write: a brief as one HTML file.
**
** Everything is in the file: style, and pictures as PNG in data addresses, half the bytes their SVG
** would take. No script. What a card says is escaped wherever it stands. The page forbids itself to
** load anything.
*/
#include "brief_parts.h"

#include <stdlib.h>
#include <string.h>

/* ---- writing ---- */

static void put(FILE *to, const char *text) {
  fputs(text, to);
}

/* Text of a card: never markup, no control or direction-override characters. */
static void put_text(FILE *to, const char *text) {
  size_t length = strlen(text);
  for (size_t i = 0; i < length;) {
    size_t n = 1;
    unsigned char c = (unsigned char)text[i];
    while (i + n < length && n < 4 && ((unsigned char)text[i + n] & 0xC0) == 0x80)
      n++;
    bool override = n == 3 && c == 0xE2 &&
                    ((unsigned char)text[i + 1] == 0x80 || (unsigned char)text[i + 1] == 0x81) &&
                    (unsigned char)text[i + 2] >= 0xA6 && (unsigned char)text[i + 2] <= 0xAE;
    switch (c) {
    case '<': put(to, "&lt;"); break;
    case '>': put(to, "&gt;"); break;
    case '&': put(to, "&amp;"); break;
    case '"': put(to, "&quot;"); break;
    case '\'': put(to, "&#39;"); break;
    default:
      if (override || !lw_text_utf8(text + i, n, NULL)) break;
      if (c < 0x20 || c == 0x7F) {
        fputc(' ', to);
      } else {
        fwrite(text + i, 1, n, to);
      }
    }
    i += n;
  }
}

static void element(FILE *to, const char *open, const char *text, const char *close) {
  put(to, open);
  put_text(to, text);
  put(to, close);
}

static void put_base64(FILE *to, const char *data, size_t length) {
  static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  for (size_t i = 0; i < length; i += 3) {
    unsigned long bits = 0;
    size_t left = length - i < 3 ? length - i : 3;
    for (size_t k = 0; k < 3; k++)
      bits = bits << 8 | (k < left ? (unsigned char)data[i + k] : 0);
    for (size_t k = 0; k < 4; k++)
      fputc(k <= left ? letters[bits >> (18 - 6 * k) & 63] : '=', to);
  }
}

/* ---- head ---- */

static const char style[] =
    ":root{--ink:#1f2426;--rule:#c9cdce;--accent:#0d545f;--bad:#8f2a16;--shade:#f2f4f4}"
    "*{box-sizing:border-box}"
    "body{margin:0 auto;padding:12px;max-width:60rem;color:#1f2426;background:#fff;"
    "font:16px/1.45 'DejaVu Sans',Verdana,sans-serif;overflow-wrap:break-word}"
    "h1{font-size:1.4rem;line-height:1.25;margin:.4em 0}"
    "h2{font-size:1.2rem;line-height:1.25;margin:1.6em 0 .4em;padding-bottom:.15em;"
    "border-bottom:2px solid var(--accent);color:var(--accent)}"
    "h3{font-size:1.05rem;margin:1.2em 0 .3em;color:var(--accent)}"
    "h4{font-size:1rem;margin:.9em 0 .2em}"
    "p{margin:.3em 0}ul{margin:.3em 0;padding-left:1.2em}li{margin:.25em 0}"
    "a{color:var(--accent)}"
    ".item{border-left:3px solid var(--rule);padding-left:10px;margin:.8em 0}"
    ".ab{display:grid;grid-template-columns:1fr;gap:2px 16px;margin:.2em 0}"
    ".k{color:#50595b;font-size:.85rem}"
    ".line{color:#50595b;font-size:.8rem;overflow-wrap:anywhere}"
    ".do{font-weight:600}"
    ".twin{background:var(--shade);padding:4px 8px;font-size:.92rem}"
    ".no{color:var(--bad);font-weight:600}"
    ".pictures{display:flex;flex-wrap:wrap;gap:12px;align-items:flex-start;margin:.8em 0}"
    ".pictures img{width:100%;max-width:360px;height:auto;border:1px solid var(--rule)}"
    "table{border-collapse:collapse;font-size:.9rem;width:100%}"
    "th,td{text-align:left;vertical-align:top;padding:3px 8px 3px 0;"
    "border-top:1px solid var(--rule);font-weight:400}th{color:#50595b;font-size:.85rem;width:32%}"
    "thead th{width:auto}"
    ".foot{margin-top:2em;border-top:1px solid var(--rule);padding-top:.6em;font-size:.85rem;"
    "color:#50595b}"
    "@media(min-width:640px){.ab{grid-template-columns:1fr 1fr}body{padding:24px}}"
    "@media print{body{max-width:none;padding:0;font-size:10.5pt}h2,h3,h4{break-after:avoid}"
    ".item,.pictures img,tr{break-inside:avoid}.unit{break-before:page}.twin{background:none;"
    "border:1px solid var(--rule)}a{color:inherit;text-decoration:none}}";

static void head(FILE *to, const char *title) {
  put(to, LW_BRIEF_PAGE_BEGIN
      "\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
      "style-src 'unsafe-inline'; img-src data:\">\n");
  element(to, "<title>", title, "</title>\n<style>");
  put(to, style);
  put(to, "</style>\n</head>\n<body>\n");
}

static void foot(FILE *to) {
  put(to, "<p class=\"foot\">Was and now are the cards&#39; figures, with the line each stands on. "
          "What is marked twin was computed: gases dry, HC as hexane, sea level, warm engine. The "
          "manual and the emission label come first, and local law; sealed parts are never "
          "adjusted. Running exhaust in a closed room kills: extract it. Leanward " LW_VERSION
          ".</p>\n</body>\n</html>\n");
}

/* ---- items ---- */

static void figure(FILE *to, const char *label, const lw_brief_figure *f) {
  element(to, "<div><span class=\"k\">", label, "</span> ");
  put_text(to, f->text ? f->text : "not given");
  if (f->line) fprintf(to, " <span class=\"line\">line %d</span>", f->line);
  put(to, "</div>");
}

static void item(FILE *to, const lw_brief_item *i) {
  element(to, "<div class=\"item\"><h4>", i->what, "</h4>\n<div class=\"ab\">");
  figure(to, "was", &i->before);
  figure(to, "now", &i->after);
  put(to, "</div>\n");
  if (i->act) element(to, "<p class=\"do\">", i->act, "</p>\n");
  if (i->why && !i->act) element(to, "<p>", i->why, "</p>\n");
  if (i->size) element(to, "<p class=\"twin\"><span class=\"k\">twin</span> ", i->size, "</p>\n");
  put(to, "</div>\n");
}

static bool shown(const lw_brief_item *i, int group, bool with_common) {
  return (int)i->group == group && (with_common || !i->common);
}

static void groups(FILE *to, const lw_brief *b, bool with_common, const char *level) {
  for (int g = 0; g < LW_BRIEF_GROUPS; g++) {
    bool begun = false;
    for (size_t i = 0; i < b->item_count; i++) {
      if (!shown(&b->items[i], g, with_common)) continue;
      if (!begun)
        fprintf(to, "<%s>%s</%s>\n", level, lw_brief_group_text((lw_brief_group)g), level);
      begun = true;
      item(to, &b->items[i]);
    }
  }
}

/* ---- the twin ---- */

static void reach(FILE *to, const lw_brief *b, const char *level) {
  lw_reach_row row[2];
  lw_brief_reach_row(b->before.card, &b->reach[0], row[0]);
  lw_brief_reach_row(b->after.card, &b->reach[1], row[1]);
  fprintf(to, "<%s>What the screws reach (twin)</%s>\n<table>\n", level, level);
  for (int i = 0; i < LW_REACH_COLUMNS; i++) {
    element(to, i ? "<tr><th scope=\"row\">" : "<thead><tr><th scope=\"col\">", lw_reach_heads[i],
            "</th>");
    for (int k = 0; k < 2; k++)
      element(to, i ? "<td>" : "<th scope=\"col\">", row[k][i], i ? "</td>" : "</th>");
    put(to, i ? "</tr>\n" : "</tr></thead>\n<tbody>\n");
  }
  put(to, "</tbody></table>\n");
}

static void list(FILE *to, const char *const *text, size_t count) {
  put(to, "<ul>\n");
  for (size_t i = 0; i < count; i++)
    element(to, "<li>", text[i], "</li>\n");
  put(to, "</ul>\n");
}

static void mixture(FILE *to, const lw_brief *b, const char *level) {
  if (!b->road) return;
  fprintf(to, "<%s>The mixture over the range, a level road (twin)</%s>\n<ul>\n", level, level);
  for (int i = 0; i < LW_PLACES; i++) {
    if (b->road->effects[i].words) element(to, "<li>", b->road->effects[i].words, "</li>\n");
  }
  put(to, "</ul>\n");
}

static lw_status picture(void *to, const lw_picture *p, lw_error *error) {
  char *data = NULL;
  size_t length = 0;
  lw_status status = lw_picture_make(p, LW_PLOT_PNG, &data, &length, error);
  if (status != LW_OK) return status;
  element(to, "<img alt=\"", p->title, ". ");
  put_text(to, p->about);
  put(to, "\" src=\"data:image/png;base64,");
  put_base64(to, data, length);
  put(to, "\">\n");
  free(data);
  return LW_OK;
}

static void evidence(FILE *to, const lw_brief *b, const lw_brief_swap *sibling, const char *level) {
  if (b->evidence_count) {
    fprintf(to, "<%s>%s</%s>\n", level,
            b->interchanges ? "Interchange" : "Does not interchange: the evidence", level);
    list(to, b->evidence, b->evidence_count);
  }
  if (sibling) {
    fprintf(to, "<%s>The unit of the other transmission</%s>\n", level, level);
    element(to, "<p class=\"twin\"><span class=\"k\">twin</span> ", sibling->words, "</p>\n");
  }
  if (!b->gap_count) return;
  fprintf(to, "<%s>Not said</%s>\n", level, level);
  list(to, b->gaps, b->gap_count);
}

/* The files whose lines are named. */
static void sources(FILE *to, const lw_brief *b) {
  if (!b->before.card->file || !b->after.card->file) return;
  element(to, "<p class=\"line\">was: ", b->before.card->file, "<br>");
  element(to, "now: ", b->after.card->file, "</p>\n");
}

static lw_status whole(FILE *to, const lw_brief *b, const lw_brief_swap *sibling, bool with_common,
                       const char *level, lw_error *error) {
  element(to, b->interchanges ? "<p>" : "<p class=\"no\">", b->verdict, "</p>\n");
  sources(to, b);
  groups(to, b, with_common, level);
  reach(to, b, level);
  mixture(to, b, level);
  evidence(to, b, sibling, level);
  put(to, "<div class=\"pictures\">\n");
  lw_status status = lw_brief_pictures(b, picture, to, error);
  put(to, "</div>\n");
  return status;
}

static lw_status pair_page(FILE *to, const lw_brief *b, lw_error *error) {
  head(to, b->title);
  element(to, "<h1>", b->title, "</h1>\n");
  return whole(to, b, NULL, true, "h2", error);
}

/* ---- a model year ---- */

static void contents(FILE *to, const lw_brief_year *y) {
  put(to, "<h2>Contents</h2>\n<ol>\n<li><a href=\"#all\">What applies to all</a></li>\n");
  for (size_t k = 0; k < y->unit_count; k++) {
    fprintf(to, "<li><a href=\"#unit-%zu\">", k);
    element(to, "", y->units[k]->title, "</a></li>\n");
  }
  put(to, "<li><a href=\"#procedures\">Procedures that changed</a></li>\n</ol>\n");
}

static void cards(FILE *to, const char *title, const lw_card *const *card, size_t count) {
  char text[600];
  if (!count) return;
  element(to, "<h3>", title, "</h3>\n<ul>\n");
  for (size_t i = 0; i < count; i++)
    element(to, "<li>", lw_brief_card_text(card[i], text, sizeof text), "</li>\n");
  put(to, "</ul>\n");
}

static void common(FILE *to, const lw_brief_year *y) {
  char text[2000];
  put(to, "<h2 id=\"all\">1. What applies to all</h2>\n");
  if (!y->common_count) put(to, "<p>Nothing: each unit changed in its own way.</p>\n");
  for (size_t c = 0; c < y->common_count; c++) {
    const lw_brief_item *i = y->common[c].item;
    element(to, "<div class=\"item\"><h4>", i->what, " <span class=\"k\">");
    element(to, "", lw_brief_units_text(y, &y->common[c], text, sizeof text), "</span></h4>\n");
    element(to, "<div class=\"ab\"><div><span class=\"k\">was</span> ",
            i->before.text ? i->before.text : "not given", "</div>");
    element(to, "<div><span class=\"k\">now</span> ", i->after.text ? i->after.text : "not given",
            "</div></div>\n");
    if (i->act) element(to, "<p class=\"do\">", i->act, "</p>\n");
    put(to, "</div>\n");
  }
}

static void procedures(FILE *to, const lw_brief_year *y) {
  char text[2000];
  fprintf(to, "<h2 id=\"procedures\" class=\"unit\">%zu. Procedures that changed</h2>\n",
          y->unit_count + 2);
  if (!y->procedure_count) put(to, "<p>None.</p>\n");
  int group = -1;
  for (size_t c = 0; c < y->procedure_count; c++) {
    const lw_brief_item *i = y->procedures[c].item;
    if ((int)i->group != group) element(to, "<h3>", lw_brief_group_text(i->group), "</h3>\n");
    group = (int)i->group;
    element(to, "<div class=\"item\"><p class=\"do\">", i->act, "</p>\n");
    element(to, "<p class=\"k\">", lw_brief_units_text(y, &y->procedures[c], text, sizeof text),
            "</p></div>\n");
  }
}

static void year_title(const lw_brief_year *y, char *out, size_t size) {
  snprintf(out, size, "Model year %d against %d", y->after, y->before);
  if (!y->before || !y->after) snprintf(out, size, "What changed, unit by unit");
}

static lw_status year_page(FILE *to, const lw_brief_year *y, lw_error *error) {
  char title[100];
  lw_status status = LW_OK;
  year_title(y, title, sizeof title);
  head(to, title);
  element(to, "<h1>", title, "</h1>\n");
  contents(to, y);
  cards(to, "Dropped", y->dropped, y->dropped_count);
  cards(to, "Added", y->added, y->added_count);
  common(to, y);
  for (size_t k = 0; k < y->unit_count && status == LW_OK; k++) {
    fprintf(to, "<h2 id=\"unit-%zu\" class=\"unit\">%zu. ", k, k + 2);
    element(to, "", y->units[k]->title, "</h2>\n");
    status = whole(to, y->units[k], y->siblings[k], false, "h3", error);
  }
  procedures(to, y);
  return status;
}

/* ---- the file ---- */

lw_status lw_brief_page_make(const lw_brief_document *document, char **bytes, size_t *length,
                             lw_error *error) {
  FILE *to = open_memstream(bytes, length);
  if (!to) return lw_fail(error, LW_NO_MEMORY, "no memory for this page");
  lw_status status =
      document->pair ? pair_page(to, document->pair, error) : year_page(to, document->year, error);
  foot(to);
  bool good = !ferror(to);
  if (fclose(to) != 0) good = false;
  if (status == LW_OK && !good) status = lw_fail(error, LW_NO_MEMORY, "no memory for this page");
  if (status == LW_OK) return LW_OK;
  free(*bytes);
  *bytes = NULL;
  return status;
}

lw_status lw_brief_page_write(const lw_brief_document *document, const char *path,
                              lw_error *error) {
  char *bytes = NULL;
  size_t length = 0;
  lw_status status = lw_brief_page_make(document, &bytes, &length, error);
  if (status == LW_OK) status = lw_file_write(path, bytes, length, error);
  free(bytes);
  return status;
}
