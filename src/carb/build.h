/* build.h - the pieces a builder puts together. Private to this floor.
**
** Pieces take their sizes from the card; what no card names (heights, channel lengths,
** coefficients) is ours and stands once, at the top of build_pieces.c.
*/
#ifndef LW_CARB_BUILD_H
#define LW_CARB_BUILD_H

#include "net_internal.h"

typedef struct lw_builder {
  lw_net *net;
  const lw_card *card;
  lw_error *error;
  char missing[360];                              /* keys the card lacks */
  bool secondary;                                 /* whose sizes are asked for */
  int ambient, cleaned, air_horn, manifold, bowl; /* nodes of the unit being built */
} lw_builder;

/* The well and idle channel of a barrel, for pieces that add to them. */
typedef struct lw_barrel_nodes {
  int barrel, well, idle_top, channel;
} lw_barrel_nodes;

/* Nodes and passages. */
int build_node(lw_builder *b, lw_net_kind kind, int barrel, double height, double rest_y,
               const char *name);
lw_passage *build_mix(lw_builder *b, int from, int to, double diameter, double length,
                      lw_circuit circuit, const char *name);
lw_passage *build_gas(lw_builder *b, int from, int to, double cd_area, const char *name);

/* Ask for a size of the card; notes the key when it is missing and gives 1 mm to go on with. */
double build_size(lw_builder *b, double size, const char *key);

/* The air outside, cleaner, air horn (behind the choke), bowl and manifold of a unit; the manifold
   and the air outside are made once. */
void build_unit(lw_builder *b, const char *name);
/* A barrel: venturi, booster, plate, its clearance. air_valve: a spring valve instead of a venturi.
   */
int build_barrel(lw_builder *b, const lw_barrel_card *card, lw_linkage linkage, bool air_valve,
                 const char *name);
/* Main circuit (jet, rods, well, bleed, nozzle) and power enrichment where the card has it. */
int build_main(lw_builder *b, int barrel, const lw_barrel_card *card, const char *name);
/* Idle feed, bleeds, channel and transfer slot. What leaves at the port is the family's. */
lw_barrel_nodes build_idle(lw_builder *b, int barrel, int well, const lw_barrel_card *card,
                           const char *name);
/* Ways out of the channel at the idle port. */
void build_port_fixed(lw_builder *b, lw_barrel_nodes at, const lw_barrel_card *card);
void build_port_screw(lw_builder *b, lw_barrel_nodes at, const lw_barrel_card *card,
                      const lw_screw_card *screw);
void build_port_limited(lw_builder *b, lw_barrel_nodes at, const lw_barrel_card *card,
                        const lw_screw_card *screw);
/* One air-bleed screw for all barrels: air horn - screw - chamber - each channel. */
void build_air_screw(lw_builder *b, const lw_barrel_nodes *at, int count,
                     const lw_screw_card *screw);
/* Fixed air passages around the plate, and the off-idle check valve. */
void build_bypass(lw_builder *b, int barrel, double diameter);
void build_check_valve(lw_builder *b, lw_barrel_nodes at);

/* Number the unknowns; to be called once, after all pieces. */
void build_number(lw_builder *b);

#endif
