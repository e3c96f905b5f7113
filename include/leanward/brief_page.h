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

/* One of the two. */
typedef struct lw_brief_document {
  const lw_brief *pair;
  const lw_brief_year *year;
} lw_brief_document;

/* What every page begins with, by which it may be written over. */
#define LW_BRIEF_PAGE_BEGIN "<!DOCTYPE html>\n<!-- leanward brief -->"

lw_status lw_brief_page_write(const lw_brief_document *document, const char *path,
                              lw_error *error) LW_MUST_USE;
/* paper: "A4" or "Letter". */
lw_status lw_brief_sheet_write(const lw_brief_document *document, const char *path,
                               const char *paper, lw_error *error) LW_MUST_USE;
/* docs/brief.md describes it. */
json_t *lw_brief_json(const lw_brief_document *document);

#endif
