/* leanward/circuit.h - a picture of a carburetor's passages, with what flows in them at one point.
**
** One barrel is drawn in full, as a section: bowl, jets, well, bleeds, nozzle, idle channel, slot
** and port at the plate's edge, the plate at its angle. The others stand in a table below it.
** docs/drawing.md tells how to read the picture.
**
** Units    lengths on the picture are its own units: 720 wide, y down. Values as in carb.h.
** Errors   LW_BAD_INPUT for a name that ends in neither .svg nor .png or a width that is not 100 to
**          8000 pixels; LW_NO_MEMORY.
** Memory   bytes and texts lie in the caller's arena.
** Threads  reentrant: fonts are the caller's thread's own.
*/
#ifndef LEANWARD_CIRCUIT_H
#define LEANWARD_CIRCUIT_H

#include "leanward/carb.h"

/* What is drawn. When the report says that the point did not converge, point is not read and may
   be NULL: the picture then shows the passages, says so, and holds no pressure and no flow. */
typedef struct lw_circuit_view {
  const lw_card *card;
  const lw_net *net; /* of this card, perhaps edited */
  const lw_setting *setting;
  const lw_report *report;
  const lw_point *point;
  int barrel; /* drawn in full; -1: the first that has a mixture screw, else the first */
} lw_circuit_view;

typedef enum lw_picture_form { LW_PICTURE_SVG, LW_PICTURE_PNG } lw_picture_form;

/* The form a file's name asks for by its ending. */
lw_status lw_picture_form_of(const char *path, lw_picture_form *form, lw_error *error) LW_MUST_USE;

/* The picture as a file's bytes; pixels is a PNG's width. The same view gives the same bytes. */
lw_status lw_circuit_draw(lw_arena *arena, const lw_circuit_view *view, lw_picture_form form,
                          int pixels, const void **bytes, size_t *length,
                          lw_error *error) LW_MUST_USE;

/* Every text of the picture and the box it stands in: for tests, and for reading it aloud. */
typedef struct lw_picture_label {
  const char *text;
  double x, y, width, height; /* upper left corner */
  double size;                /* of its letters */
} lw_picture_label;
typedef struct lw_picture_layout {
  double width, height;
  const lw_picture_label *labels;
  size_t count;
  size_t unplaced; /* labels that found no free room and were left out: 0, or the picture says so */
} lw_picture_layout;
lw_status lw_circuit_lay_out(lw_arena *arena, const lw_circuit_view *view,
                             lw_picture_layout *layout, lw_error *error) LW_MUST_USE;

#endif
