/* json.h - what the writers of JSON share. Private to this floor. */
#ifndef LW_RECORD_JSON_H
#define LW_RECORD_JSON_H

#include "leanward/record.h"

/* A JSON string; bytes that are not UTF-8 become '?'. NULL when there is no memory. */
json_t *lw_json_text(const char *text, size_t length);

/* A note in one word, as in JSON and in a CSV cell: "fewer_gases". */
const char *lw_note_word(lw_note_code code);

#endif
