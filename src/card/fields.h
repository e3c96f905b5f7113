/* fields.h - short forms for rows of an lw_field table. Private to this floor.
**
** Before a table, #define S as the struct it fills; #undef S after it. Bounds are SI.
*/
#ifndef LW_CARD_FIELDS_H
#define LW_CARD_FIELDS_H

#include "leanward/doc.h"

#include <math.h>
#include <stddef.h>

#define FIELD(k, kind_, m, d, l, h, c, t, r, w)                                                    \
  { k, kind_, offsetof(S, m), d, l, h, c, t, r, w }

#define TEXT(k, m, w)            FIELD(k, LW_KIND_TEXT, m, LW_COUNT, NAN, NAN, NULL, NULL, false, w)
#define REQUIRED(k, m, w)        FIELD(k, LW_KIND_TEXT, m, LW_COUNT, NAN, NAN, NULL, NULL, true, w)
#define TEXTS(k, m, w)           FIELD(k, LW_KIND_TEXTS, m, LW_COUNT, NAN, NAN, NULL, NULL, false, w)
#define ANSWER(k, m, w)          FIELD(k, LW_KIND_ANSWER, m, LW_COUNT, NAN, NAN, NULL, NULL, false, w)
#define HC(k, m, h, w)           FIELD(k, LW_KIND_HC, m, LW_PPM, 0, h, NULL, NULL, false, w)
#define WHOLE(k, m, l, h, w)     FIELD(k, LW_KIND_WHOLE, m, LW_COUNT, l, h, NULL, NULL, false, w)
#define VALUE(k, m, d, l, h, w)  FIELD(k, LW_KIND_QUANTITY, m, d, l, h, NULL, NULL, false, w)
#define SPAN(k, m, d, l, h, w)   FIELD(k, LW_KIND_RANGE, m, d, l, h, NULL, NULL, false, w)
#define VALUES(k, m, d, l, h, w) FIELD(k, LW_KIND_QUANTITIES, m, d, l, h, NULL, NULL, false, w)
#define NAMED(k, m, d, l, h, w)  FIELD(k, LW_KIND_NAMED, m, d, l, h, NULL, NULL, false, w)
#define CHOICE(k, m, c, w)       FIELD(k, LW_KIND_CHOICE, m, LW_COUNT, NAN, NAN, c, NULL, false, w)
#define MAP(k, m, t, w)          FIELD(k, LW_KIND_MAP, m, LW_COUNT, NAN, NAN, NULL, t, false, w)
#define LIST(k, m, t, w)         FIELD(k, LW_KIND_LIST, m, LW_COUNT, NAN, NAN, NULL, t, false, w)

#define COUNT_OF(fields) (sizeof(fields) / sizeof(fields)[0])
#define TABLE(name_, fields_)                                                                      \
  { name_, fields_, COUNT_OF(fields_), sizeof(S), offsetof(S, line), false }
#define SHORTHAND(name_, fields_)                                                                  \
  { name_, fields_, COUNT_OF(fields_), sizeof(S), offsetof(S, line), true }

/* Bounds as people think of them. */
#define MM(x)   ((x)*1e-3)
#define CM3(x)  ((x)*1e-6)
#define DEG(x)  ((x)*0.017453292519943295)
#define RPM(x)  ((x)*0.10471975511965977)
#define KPA(x)  ((x)*1e3)
#define PCT(x)  ((x)*1e-2)
#define DEGC(x) ((x) + 273.15)

#endif
