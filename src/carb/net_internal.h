/* net_internal.h - what the files of the network share. Private to this floor.
**
** Unknowns, in order: for each barrel its block (throat Mach number, then pressure and composition
** of each inner node it owns), then the border (pressures of gas nodes, pressure and composition of
** shared inner nodes). Pressures are held as their difference from the air outside in units of 1e5
** Pa (small differences keep their digits), so that every unknown is of the order
** of 1. Row u is the balance that goes with unknown u: air of a barrel below its venturi, mass or
** fuel of an inner node, air of a gas node. Barrels touch each other only through the border, so
** the Jacobian is block diagonal with a border.
*/
#ifndef LW_NET_INTERNAL_H
#define LW_NET_INTERNAL_H

#include "leanward/carb.h"

#define LW_BAR 1e5

/* Residual and Jacobian of one evaluation. */
typedef struct lw_system {
  double r[LW_NET_UNKNOWNS];       /* kg/s; fuel rows kg/s of fuel */
  double through[LW_NET_UNKNOWNS]; /* flow through the node of that row, kg/s */
  double a[LW_NET_BARRELS][LW_NET_BLOCK][LW_NET_BLOCK];
  double b[LW_NET_BARRELS][LW_NET_BLOCK][LW_NET_BORDER];
  double c[LW_NET_BARRELS][LW_NET_BORDER][LW_NET_BLOCK];
  double d[LW_NET_BORDER][LW_NET_BORDER];
} lw_system;

/* First unknown of a block, and of the border. */
int lw_net_block_at(const lw_net *net, int barrel);
int lw_net_border_at(const lw_net *net);

/* Evaluate all balances at x. soft (Pa, 0: as they are): each passage flows both ways a little while
   the difference across it is of this order, so that no flow turns round sharply. */
void lw_net_assemble(const lw_net *net, const lw_setting *setting, double soft, const double *x,
                     lw_system *s);

/* Solve J step = -r in place by block elimination with row scaling; the border's Schur complement
   last. False when a pivot vanishes. s is used up. */
bool lw_net_step(const lw_net *net, lw_system *s, double *step);

/* Flows of one evaluation, for lw_net_point. */
void lw_net_flows(const lw_net *net, const lw_setting *setting, const double *x, lw_point *point);

/* A cold start that any network can be walked in from. */
void lw_net_cold(const lw_net *net, const lw_setting *setting, double *x);

#endif
