/* brief_internal.h - what the files of the brief share. Private to this floor.
**
** brief_items.c finds the differences and says what they mean, brief_twin.c runs the twin,
** brief_say.c puts its numbers into words, brief.c brings a pair together, brief_year.c a year.
*/
#ifndef LW_SERVICE_BRIEF_INTERNAL_H
#define LW_SERVICE_BRIEF_INTERNAL_H

#include "differ.h"

#include "leanward/brief.h"

enum { BRIEF_ITEMS_MOST = 200 };

/* A pair while it is worked. */
typedef struct brief_desk {
  desk *d; /* texts */
  lw_units *units;
  lw_brief *brief;
  lw_brief_item *items; /* BRIEF_ITEMS_MOST of them; those of paths[] stand on the card there */
  const char *paths[BRIEF_ITEMS_MOST];
  size_t count;
  lw_test_car *car[2]; /* NULL: it cannot be run */
  lines gaps, evidence;
} brief_desk;

/* ---- brief_items.c ---- */

void brief_find(brief_desk *b);
/* The line of a path on a card's document; that of what holds it when it stands nowhere; 0 when
   there is no document. */
int brief_line(const lw_node *root, const char *path);
/* How many screws turn, and the first of them; NULL: none. */
const lw_screw_card *brief_screw(const lw_card *card, size_t *count);

/* ---- brief_twin.c ---- */

/* Both cars, reach, maneuver, maps, swaps and each item alone, as far as they can be run. */
void brief_run(brief_desk *b);
/* unit's carburetor on engine's car (not of the same card). */
void brief_run_swap(desk *d, lw_units *units, const lw_card *unit, const lw_test_car *engine,
                    lw_brief_swap *swap);
/* A card's car; NULL: it cannot be run, and *why says so. */
lw_test_car *brief_car(desk *d, const lw_card *card, const char **why);

/* ---- brief_say.c ---- */

/* Sizes of the items, verdict, evidence. */
void brief_say(brief_desk *b);
const char *brief_swap_text(desk *d, const lw_brief_swap *swap);

#endif
