/* circuit_sketch.h - the drawing tools of the circuit picture. Private to this floor.
**
** A sketch draws shapes as they come and collects labels; labels find their places when all shapes
** are known, and are drawn last.
**
** Units    the picture's own: 720 wide, y down.
** Errors   a label without room is counted, never drawn over another.
** Memory   texts live in the sketch's arena.
*/
#ifndef LW_RECORD_CIRCUIT_SKETCH_H
#define LW_RECORD_CIRCUIT_SKETCH_H

#include "leanward/circuit.h"

#include <pango/pangocairo.h>

enum { LW_SKETCH_WIDTH = 720, LW_TAGS_MOST = 220, LW_BUSY_MOST = 400 };

typedef enum lw_shade {
  LW_SHADE_TEXT,
  LW_SHADE_SOFT,
  LW_SHADE_PRESSURE, /* pressures, beside flows in LW_SHADE_TEXT */
  LW_SHADE_LINE,
  LW_SHADE_METAL,
  LW_SHADE_FUEL,
  LW_SHADE_EMULSION,
  LW_SHADE_AIR,
  LW_SHADE_NONE, /* nothing flows */
  LW_SHADE_PAPER,
  LW_SHADE_WARNING
} lw_shade;

/* What a passage carries now. */
typedef enum lw_stuff { LW_STUFF_NONE, LW_STUFF_AIR, LW_STUFF_FUEL, LW_STUFF_EMULSION } lw_stuff;

/* The places of a barrel's passages on the picture. */
typedef enum lw_role {
  LW_ROLE_MAIN_JET,
  LW_ROLE_POWER,
  LW_ROLE_WELL,
  LW_ROLE_MAIN_BLEED,
  LW_ROLE_NOZZLE,
  LW_ROLE_FEED,
  LW_ROLE_IDLE_BLEED,
  LW_ROLE_SECOND_BLEED,
  LW_ROLE_RESTRICTION,
  LW_ROLE_SLOT_BELOW,
  LW_ROLE_SLOT_ABOVE,
  LW_ROLE_LIMITER,
  LW_ROLE_PORT,
  LW_ROLE_AIR_SCREW,
  LW_ROLE_BLEED_HOLE,
  LW_ROLE_CHECK,
  LW_ROLE_BYPASS,
  LW_ROLE_PLATE,
  LW_ROLE_CLEARANCE,
  LW_ROLES
} lw_role;

typedef struct lw_stream {
  bool exists, plugged;
  double flow, fuel, air; /* kg/s, along the passage; NaN when the point is not solved */
  lw_stuff stuff;
  const lw_passage *passage;
} lw_stream;

/* The drawn barrel: its streams and nodes (-1: it has none). */
typedef struct lw_scene {
  int barrel;
  const lw_barrel *b;
  lw_stream streams[LW_ROLES];
  int horn, bowl, well, nozzle, booster, below, idle_top, channel, behind, chamber, manifold;
  double reference; /* Pa at the air horn of this barrel */
  bool solved;
  double angle; /* of the plate from the plane across the bore, rad */
} lw_scene;

typedef struct lw_box {
  double x, y, width, height;
} lw_box;

typedef struct lw_tag {
  const char *text;
  double size;
  bool bold;
  lw_shade shade;
  lw_box box;
  bool floats;           /* its place is looked for, else its box is what was asked */
  double at_x, at_y;     /* floats: what it speaks of */
  double wish_x, wish_y; /* floats: where its middle would best be */
  bool placed;
} lw_tag;

typedef struct lw_sketch {
  cairo_t *cr;
  PangoLayout *layout;
  lw_arena *arena;
  const lw_circuit_view *view;
  lw_scene scene;
  double height;
  lw_tag tags[LW_TAGS_MOST];
  size_t tag_count;
  lw_box busy[LW_BUSY_MOST]; /* what labels had better not cover */
  size_t busy_count;
  size_t unplaced;
  bool failed; /* no memory */
} lw_sketch;

/* ---- circuit_scene.c: which passage is which, and numbers in words ---- */

void lw_scene_find(const lw_circuit_view *view, lw_scene *scene);
/* The whole travel of a plate at the view's throttle: known without a solved point but for
   diaphragms, which then count as shut. */
double lw_scene_angle(const lw_circuit_view *view, int barrel);
/* Share open of the choke before this air horn; NaN: it has none. */
double lw_scene_choke(const lw_net *net, int horn);
/* Share open of a barrel's air valve at a solved point; NaN: it has none. */
double lw_scene_valve(const lw_circuit_view *view, int barrel);
/* Two figures, three when the first is 1: as much as the twin is good for. */
const char *lw_figures(char *buffer, size_t size, double x);
/* "fuel 230 mg/s", "air 1.2 g/s", both on two lines, or "no flow". */
const char *lw_flow_words(char *buffer, size_t size, const lw_stream *stream);
/* The same on one line: "fuel 42, air 110 mg/s". */
const char *lw_flow_line(char *buffer, size_t size, const lw_stream *stream);
/* "-12.4 inH2O" against the air horn. */
const char *lw_pressure_words(char *buffer, size_t size, const lw_scene *scene, double p);
/* "front unit, primary left". */
const char *lw_barrel_words(char *buffer, size_t size, const lw_net *net, int barrel);
/* What this flow is: nothing under 0.02 mg/s, a thousandth of an idle jet's. */
lw_stuff lw_stuff_of(double flow, double fuel);
/* How far a screw's needle is off its seat, m. */
double lw_needle_lift(const lw_circuit_view *view, const lw_passage *passage);
/* Turns out from lightly seated, as the card of the view says; NaN: it does not. */
double lw_screw_turns(const lw_circuit_view *view, const lw_passage *passage);

/* ---- circuit_place.c: labels ---- */

/* A label at a fixed place: x is its left edge (align 0), middle (0.5) or right edge (1). */
lw_box lw_tag_at(lw_sketch *s, double x, double y, double align, double size, bool bold,
                 lw_shade shade, const char *text);
/* A label that speaks of (x, y) and would best have its middle at (wish_x, wish_y). */
void lw_tag_near(lw_sketch *s, double x, double y, double wish_x, double wish_y, bool bold,
                 lw_shade shade, const char *text);
double lw_tag_width(lw_sketch *s, double size, bool bold, const char *text);
void lw_busy(lw_sketch *s, double x, double y, double width, double height);
/* Find a place for every label that floats, within this box. */
void lw_tags_place(lw_sketch *s, lw_box within);
void lw_tags_draw(lw_sketch *s);

/* ---- circuit_pen.c: shapes ---- */

typedef struct lw_dot {
  double x, y;
} lw_dot;

void lw_shade_set(lw_sketch *s, lw_shade shade);
/* A passage along these dots, from -> to, in the style of what it carries; over what lies there
   when bridge. The arrow stands at this share of its length (negative: none). */
void lw_pipe(lw_sketch *s, const lw_stream *stream, const lw_dot *dots, size_t count,
             double arrow_at, bool bridge);
/* A length of pipe without a passage of its own. */
void lw_duct(lw_sketch *s, lw_stuff stuff, const lw_dot *dots, size_t count);
void lw_arrow(lw_sketch *s, double x, double y, double dx, double dy, double kg_s);
/* A narrow place in a pipe; crossed out when plugged. */
void lw_jet(lw_sketch *s, const lw_stream *stream, double x, double y, bool upright);
void lw_node_dot(lw_sketch *s, double x, double y);
void lw_line(lw_sketch *s, double x1, double y1, double x2, double y2, double thick,
             lw_shade shade);
void lw_filled(lw_sketch *s, double x, double y, double width, double height, lw_shade fill);
void lw_framed(lw_sketch *s, double x, double y, double width, double height, lw_shade fill,
               double thick);

/* ---- circuit_barrel.c, circuit_edge.c, circuit_table.c ---- */

void lw_draw_barrel(lw_sketch *s);
/* The enlarged wall at the plate's edge: slot, port, needle. */
void lw_draw_edge(lw_sketch *s);
void lw_draw_head(lw_sketch *s);
void lw_draw_foot(lw_sketch *s);
double lw_foot_height(const lw_circuit_view *view);

#endif
