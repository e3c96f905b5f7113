/* leanward/document.h - a job file as a tree that forms and programs can change, and back to text.
**
** A person's words stay as written: every scalar of the tree is a JSON string ("3.68 %", "1 1/4
** turns"), or null where the file leaves it empty. Which keys may stand where is docs/files.md's.
**
** Units    none: values carry theirs, as written.
** Errors   LW_BAD_INPUT: the tree holds what no file of ours can; LW_TOO_LARGE: deeper than
**          LW_DOC_MAX_DEPTH.
** Memory   texts in the caller's arena; json_t values belong to the caller (json_decref).
** Threads  reentrant.
*/
#ifndef LEANWARD_DOCUMENT_H
#define LEANWARD_DOCUMENT_H

#include "leanward/doc.h"

#include <jansson.h>

/* The tree of a parsed document, in its order. NULL: no memory. */
json_t *lw_document_json(const lw_node *root);

/* The keys of a file by their table, for forms: a list in the table's order; docs/serve.md describes
   it. NULL: no memory. */
json_t *lw_table_json(const lw_table *table);

/* A tree as YAML that reads back as the same tree. Strings stay words; whole numbers and true and
   false are taken as a person would have written them; null and empty maps and lists are left out.
   Other numbers are refused: a value needs its unit, and so is a text. */
lw_status lw_document_text(lw_arena *arena, const json_t *tree, const char **text, size_t *length,
                           lw_error *error) LW_MUST_USE;

/* text with item added at the end of the list under key of the outermost map. Where the list is
   written one item a line, or is not there yet, comments and everything else stay as they are, byte
   for byte; otherwise the whole is written anew, without comments. file: for errors. */
lw_status lw_document_add(lw_arena *arena, const char *file, const char *text, size_t length,
                          const char *key, const json_t *item, const char **out, size_t *out_length,
                          lw_error *error) LW_MUST_USE;

#endif
