/* leanward/brief_page.h - a brief as a page, a sheet, and JSON.
**
** The page is one HTML file without anything beside it: style and pictures are in it, it asks for
** nothing over a network, and it reads at 360 pixels as well as on paper. The sheet is the same as
** PDF.
**
** Units    SI in JSON with the unit in the key's name, beside the texts people read.
** Errors   one line in lw_error; what could not be written leaves what was there before.
** Memory   lw_brief_json gives a new value the caller owns (json_decref); NULL: no memory.
*/
#ifndef LEANWARD_BRIEF_PAGE_H
#define LEANWARD_BRIEF_PAGE_H

#include "leanward/brief.h"
#include "leanward/record.h"

/* ---- its cards ---- */

enum { LW_BRIEF_CARDS_MOST = 400 };

/* A card's file as one side. Texts lie in the arena. shown: what the brief calls the file; NULL: its
   path. */
lw_status lw_brief_side_read(lw_arena *arena, lw_units *units, const char *path, const char *shown,
                             lw_brief_side *side, lw_error *error) LW_MUST_USE;
/* Every .yaml directly in a folder, by name; LW_NOT_FOUND: there is none. shown: of the folder. */
lw_status lw_brief_folder_read(lw_arena *arena, lw_units *units, const char *folder,
                               const char *shown, const lw_brief_side **sides, size_t *count,
                               lw_error *error) LW_MUST_USE;

/* ---- what is made of it ---- */

/* One of the two. */
typedef struct lw_brief_document {
  const lw_brief *pair;
  const lw_brief_year *year;
} lw_brief_document;

/* What every page begins with, by which it may be written over. */
#define LW_BRIEF_PAGE_BEGIN "<!DOCTYPE html>\n<!-- leanward brief -->"

/* In memory; the caller frees *bytes. */
lw_status lw_brief_page_make(const lw_brief_document *document, char **bytes, size_t *length,
                             lw_error *error) LW_MUST_USE;
lw_status lw_brief_page_write(const lw_brief_document *document, const char *path,
                              lw_error *error) LW_MUST_USE;
/* paper: "A4" or "Letter". The caller frees *bytes. Not by two threads at once: fonts are shared. */
lw_status lw_brief_sheet_make(const lw_brief_document *document, const char *paper, char **bytes,
                              size_t *length, lw_error *error) LW_MUST_USE;
lw_status lw_brief_sheet_write(const lw_brief_document *document, const char *path,
                               const char *paper, lw_error *error) LW_MUST_USE;
/* docs/brief.md describes it. */
json_t *lw_brief_json(const lw_brief_document *document);

#endif
