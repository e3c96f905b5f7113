/* leanward/carb.h - the carburetor as a network of passages, and the solver that finds its flows.
**
** A spec card is lowered to a network: nodes hold a pressure and a fuel mass fraction, passages
** join them and carry what their upstream node holds. What-ifs and faults are edits of the network.
** One solver serves every carburetor; a new carburetor is a new builder (src/carb/build_*.c).
**
** Units    SI, absolute pressure; heights in m above the fuel level the float holds; fuel mass
**          fraction 0..1.
** Errors   a card that cannot flow is LW_BAD_INPUT in trade words. A point that does not converge
**          is a result: lw_report says how far it came and which balance is worst. Flows must not
**          be read from a point whose report says it did not converge.
** Memory   a network lies in the caller's arena. Solving allocates nothing.
** Threads  one network may be solved by many threads, each with its own lw_state.
** Source   docs/physics.md, "The network"; the laws are those of flow.h.
*/
#ifndef LEANWARD_CARB_H
#define LEANWARD_CARB_H

#include "leanward/card.h"
#include "leanward/flow.h"
#include "leanward/medium.h"

/* ---- The network --------------------------------------------------------------------------- */

enum {
  LW_NET_NODES = 96,
  LW_NET_PASSAGES = 224,
  LW_NET_BARRELS = 8,
  LW_NET_BLOCK = 16,  /* unknowns of one barrel */
  LW_NET_BORDER = 20, /* unknowns shared by barrels */
  LW_NET_UNKNOWNS = LW_NET_BARRELS * LW_NET_BLOCK + LW_NET_BORDER,
  LW_NET_NAME = 28
};

typedef enum lw_net_kind {
  LW_NET_AMBIENT, /* the air outside: pressure given */
  LW_NET_GAS,     /* air at an unknown pressure: air horn, below the choke, manifold */
  LW_NET_BOWL,    /* fuel at the pressure of the node it is vented to */
  LW_NET_SIGNAL,  /* at the booster of a barrel: pressure follows from the barrel's air */
  LW_NET_BELOW,   /* between venturi and plate of a barrel: the same */
  LW_NET_INNER    /* inside: pressure and composition unknown */
} lw_net_kind;

typedef struct lw_net_node {
  lw_net_kind kind;
  int barrel;    /* SIGNAL, BELOW: whose; INNER: whose block it is solved in, -1: shared */
  int vent;      /* BOWL: node it breathes from */
  double height; /* m */
  double rest_y; /* INNER: what it holds when nothing flows */
  int unknown;   /* first of its unknowns; -1: none */
  char name[LW_NET_NAME];
} lw_net_node;

/* Which circuit a passage belongs to; fuel is counted by the circuit it leaves the unit through. */
#define LW_CIRCUIT_LIST(X)                                                                         \
  X(LW_CIRCUIT_AIR, "air")                                                                         \
  X(LW_CIRCUIT_MAIN, "main")                                                                       \
  X(LW_CIRCUIT_POWER, "power")                                                                     \
  X(LW_CIRCUIT_IDLE, "idle")                                                                       \
  X(LW_CIRCUIT_TRANSFER, "transfer")                                                               \
  X(LW_CIRCUIT_LEAK, "leak")
typedef enum lw_circuit {
#define LW_CIRCUIT_ENUM(id, name) id,
  LW_CIRCUIT_LIST(LW_CIRCUIT_ENUM)
#undef LW_CIRCUIT_ENUM
      LW_CIRCUITS
} lw_circuit;
const char *lw_circuit_text(lw_circuit circuit);

/* What opens and shuts a passage. */
typedef enum lw_gate {
  LW_GATE_NONE,
  LW_GATE_POWER,      /* open under `low` of manifold vacuum, shut over `high`, Pa */
  LW_GATE_CHECK,      /* shut while the difference across it is under `low`, open over `high`, Pa */
  LW_GATE_SLOT_BELOW, /* the part of a slot under the plate's edge: low end `low`, long `high`, m */
  LW_GATE_SLOT_ABOVE, /* the part over it */
  LW_GATE_PLATE,      /* the throttle plate itself */
  LW_GATE_VALVE /* a jet with rods hung on the air valve: `low` of it open when that is shut */
} lw_gate;

typedef struct lw_passage {
  bool gas; /* isentropic air both ways; else mixture, one law each way */
  lw_circuit circuit;
  int from, to;       /* nodes */
  lw_orifice orifice; /* mixture: full open */
  double cd_area;     /* gas: full open, m2 */
  double sump;        /* m of fuel that must be pushed down before gas flows back */
  double hole;        /* the same before gas flows forth: how deep a bleed's hole lies in fuel */
  lw_gate gate;
  int barrel;       /* whose plate or slot; manifold node for POWER */
  double low, high; /* of the gate; high of a choke, which has none: its cd_area when open, m2 */
  char name[LW_NET_NAME];
} lw_passage;

/* How a barrel's plate is moved. */
typedef enum lw_linkage {
  LW_LINK_PEDAL,     /* opens with the pedal from 0 to 1 */
  LW_LINK_LATE,      /* mechanical secondary: opens between `from` and `to` of the pedal */
  LW_LINK_DIAPHRAGM, /* vacuum secondary: opens between `from` and `to` Pa of signal */
  LW_LINK_SHUT
} lw_linkage;

typedef struct lw_barrel {
  int horn, manifold; /* GAS nodes */
  int signal, below;  /* its own derived nodes; -1: none */
  int unknown;        /* its throat Mach number */
  double cd_area;     /* of the venturi throat, m2 */
  double booster;     /* signal depression over throat depression */
  double lost;        /* share of the throat depression not recovered below the venturi */
  double valve_opens, valve_full;   /* air valve: Pa; valve_full 0: none */
  double bore, closed, shaft, wide; /* m; rad; shaft over bore; rad at full throttle */
  double stop;                      /* rad over closed that the idle stop holds */
  lw_linkage linkage;
  double link_from, link_to;
  int diaphragm; /* GAS node with the diaphragm's signal; -1: none */
} lw_barrel;

/* The engine as the network sees it: what its cylinders draw from each manifold.
   Source: Heywood 1988, 6.2.2 (residual gas expanding into the intake). */
typedef struct lw_draw {
  double displacement; /* m3 */
  double compression_ratio;
  double eta0;        /* volumetric efficiency without residual */
  double back;        /* exhaust coming back in valve overlap, over what the clearance holds */
  double temperature; /* of the charge when the air outside has 293.15 K, K */
  double gamma;
} lw_draw;

typedef struct lw_net {
  lw_net_node nodes[LW_NET_NODES];
  lw_passage passages[LW_NET_PASSAGES];
  lw_barrel barrels[LW_NET_BARRELS];
  int node_count, passage_count, barrel_count;
  int manifolds[LW_NET_BARRELS], manifold_count; /* nodes; each draws its share of the engine */
  int block_size[LW_NET_BARRELS], border_size, unknown_count;
  lw_draw draw;
  lw_fluids fluids;
  double fuel_density_15;
  lw_fuel fuel;
  const char *family;
} lw_net;

/* ---- Operating point ----------------------------------------------------------------------- */

/* What lags in time and is therefore given instead of following at once. NaN: it follows. */
typedef struct lw_held {
  double manifold;  /* Pa: the engine draws what it draws; what flows in is what the point says */
  double valve;     /* share open of the air valves, 0..1 */
  double power;     /* share open of the power valve */
  double diaphragm; /* share open of vacuum secondaries */
} lw_held;

typedef struct lw_setting {
  double throttle;     /* 0: plates on their idle stop, 1: wide open */
  double speed;        /* rad/s of the crankshaft */
  double ambient;      /* Pa */
  double temperature;  /* K, air and fuel; 0: as the network's fluids are */
  const lw_held *held; /* NULL: everything follows at once */
} lw_setting;

/* The unknowns, kept by the caller for a warm start. Set `known` false to start cold. */
typedef struct lw_state {
  bool known;
  double x[LW_NET_UNKNOWNS];
} lw_state;

typedef struct lw_report {
  bool converged;
  int steps;       /* Newton steps, all attempts */
  int falls;       /* 0: plain Newton; 1: softened; 2: followed in time; 3: both again */
  double residual; /* worst balance over the flow through its node */
  int worst;       /* node of the worst balance; -1: none */
  char where[96];  /* the same in words */
} lw_report;

/* What the charge has when the air outside has this, K: on its way it is heated by a share of what
   the warm manifold is over it (docs/physics-flow.md). */
double lw_charge_temperature(const lw_draw *draw, double outside);

/* Solve one point. *state is the start when known and gets the solution when converged (and is left
   as it was when not). */
void lw_net_solve(const lw_net *net, const lw_setting *setting, lw_state *state, lw_report *report);

/* The scaled residual of a state, and its Jacobian when not NULL (row-major, unknown_count
   squared): for tests and for other solvers. */
void lw_net_residual(const lw_net *net, const lw_setting *setting, const double *x,
                     double *residual, double *jacobian);

/* ---- What flows at a solved point ----------------------------------------------------------- */

typedef struct lw_point {
  double air, fuel;               /* kg/s into the engine */
  double afr, lambda;             /* NaN without fuel */
  double manifold;                /* Pa; of the first manifold */
  double by_circuit[LW_CIRCUITS]; /* fuel, kg/s */
  double barrel_air[LW_NET_BARRELS], barrel_fuel[LW_NET_BARRELS];
  double angle[LW_NET_BARRELS]; /* plates over closed, rad */
  double pressure[LW_NET_NODES], fuel_fraction[LW_NET_NODES];
  double flow[LW_NET_PASSAGES], fuel_flow[LW_NET_PASSAGES]; /* kg/s, from -> to positive */
} lw_point;

void lw_net_point(const lw_net *net, const lw_setting *setting, const lw_state *state,
                  lw_point *point);

/* The throttle (0 at the stop; may come out below 0: plates further shut than the stop) at which
   the manifold has this vacuum within 1 Pa at this speed, by bracketing and the solver.
   LW_NO_CONVERGENCE says why: out of reach, no flows found, or a vacuum that jumps over it. */
lw_status lw_net_throttle_for(const lw_net *net, lw_setting *setting, double vacuum,
                              lw_state *state, lw_error *error) LW_MUST_USE;

/* ---- From a card ---------------------------------------------------------------------------- */

/* Lower a card. Sizes the card lacks are an LW_BAD_INPUT that lists them; sizes that cannot flow are
   refused in trade words. */
lw_status lw_net_build(lw_arena *arena, const lw_card *card, lw_net **net,
                       lw_error *error) LW_MUST_USE;
/* The same with stops and slots as in like (see lw_net_keep_stop): spares the search for them. */
lw_status lw_net_build_like(lw_arena *arena, const lw_card *card, const lw_net *like, lw_net **net,
                            lw_error *error) LW_MUST_USE;

/* Hold the plates of net where those of like have their idle stop, and the slots where they are
   cut: a what-if turns no speed screw and moves no slot. */
void lw_net_keep_stop(lw_net *net, const lw_net *like);
/* Turn the speed screw: put the stop where this speed shows this vacuum (Pa; NaN: the card's, or 62
   kPa). False, and nothing is changed, when no place of the plate does. */
bool lw_net_set_stop(lw_net *net, double speed, double vacuum);

/* Turn the needle of a screw's passage (the one named "screw" or "screw, NAME", whose low holds the
   pitch and high the seat, m) to these turns out from lightly seated. */
void lw_passage_turn(lw_passage *screw, double turns);

/* The carburetor families that have a builder. */
size_t lw_net_families(const char **names, size_t most);

#endif
