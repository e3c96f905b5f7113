/* differ.h - two spec cards side by side, value by value: what intake and the brief share. Private
** to this floor.
*/
#ifndef LW_SERVICE_DIFFER_H
#define LW_SERVICE_DIFFER_H

#include "service_internal.h"

/* The plain values of a card, in its table's order. */
typedef struct said {
  const char *path, *value; /* "carburetor, primary, main jet", in shop units */
} said;

enum { SAID_MOST = 400 };

typedef struct said_list {
  desk *d;
  bool (*wanted)(const char *path);
  said v[SAID_MOST];
  size_t count;
} said_list;

/* Collect the values of card whose path is wanted. NULL: no memory (then noted in the desk). */
said_list *said_of(desk *d, const lw_card *card, bool (*wanted)(const char *path));
const char *said_value(const said_list *list, const char *path); /* NULL: not said */
/* Hand over what differs, in the order of a, then what only b says. NULL: not said. */
typedef void (*said_visit)(void *to, const char *path, const char *a, const char *b);
void said_compare(const said_list *a, const said_list *b, said_visit visit, void *to);

/* Parts of a card that are read as one, each in words; NULL when the card does not say. */
const char *differ_screws(desk *d, const lw_card *card); /* "left: fuel-side screw, ..." */
const char *differ_sealed(desk *d, const lw_card *card);
const char *differ_timing(desk *d, const lw_card *card);
const char *differ_curve(desk *d, const lw_list *points); /* of lw_advance_point */

/* What a difference there does when the unit is fitted all the same; NULL: nothing is known. */
const char *differ_reason(const char *path);

#endif
