/* leanward/flow.h - the laws of passages: how much flows for given pressures, and how that changes.
**
** Every law returns the flow together with its exact partial derivatives, is smooth through zero
** flow, and keeps its value and slope where it chokes. Laws do not know about networks: direction,
** heights and faults are the caller's.
**
** Units    SI, absolute pressure.
** Errors   none: every finite pressure above 0 gives a finite flow. A law that is asked outside its
**          physical range answers at the range's edge and says so here.
** Memory   none.  Threads: pure functions.
** Source   beside each law; tests/unit/test_flow.c holds every derivative to differences and every
**          limit to its law; tests/published/test_flow.c to printed tables.
*/
#ifndef LEANWARD_FLOW_H
#define LEANWARD_FLOW_H

#include "leanward/base.h"

/* ---- What flows ---------------------------------------------------------------------------- */

/* The two fluids of a carburetor at one temperature. */
typedef struct lw_fluids {
  double fuel_density;   /* kg/m3 */
  double fuel_viscosity; /* Pa s */
  double air_r;          /* gas constant, J/(kg K) */
  double air_gamma;
  double air_viscosity; /* Pa s */
  double temperature;   /* K, of air and fuel alike */
} lw_fluids;

/* Air and gasoline-like fuel at a temperature. fuel_density_15 at 15 degC (kg/m3); it falls by
   0.095 % a kelvin (common for gasoline; from memory). Air viscosity by Sutherland, U.S. Standard
   Atmosphere 1976. Fuel viscosity: a fit of ours through 0.55 mPa s x density ratio at 20 degC,
   -1.1 % a kelvin. */
lw_fluids lw_fluids_at(double temperature, double fuel_density_15);

/* ---- Gas through a restriction ------------------------------------------------------------- */

/* A flow and its derivatives by the pressures at the two ends. */
typedef struct lw_flow {
  double m;    /* kg/s, from 1 to 2 */
  double d_p1; /* kg/(s Pa) */
  double d_p2;
} lw_flow;

/* Ideal gas, isentropic to the throat, choked below the critical ratio; either direction.
   cd_area: discharge coefficient times area, m2. Within some 10 Pa of equal pressures the flow
   turns linear (a square root has no slope there; a real edge is laminar there too).
   Source: NACA Report 1135; Heywood 1988, app. C. */
lw_flow lw_gas_flow(double cd_area, const lw_fluids *fluids, double p1, double p2);
/* The same told by the drop p1 - p2 (either sign), which keeps its digits when it is small. */
lw_flow lw_gas_flow_drop(double cd_area, const lw_fluids *fluids, double p1, double drop);
/* The ratio of pressures at which a gas chokes, (2/(g+1))^(g/(g-1)). */
double lw_critical_ratio(double gamma);

/* ---- Air through a venturi ----------------------------------------------------------------- */

/* A venturi told by the Mach number at its throat, which flow and depression both follow smoothly
   from, choked (mach 1) or not. mach may be negative (blow-back): the depression is even, the flow
   odd. Above 1 the flow keeps its choked value with a slight slope, so that a solver finds its way
   back. */
typedef struct lw_venturi {
  double m, d_mach_m, d_p_m; /* kg/s; its derivatives by mach and by the pressure upstream */
  double throat, d_mach_throat, d_p_throat; /* Pa at the throat */
} lw_venturi;
lw_venturi lw_venturi_flow(double cd_area, const lw_fluids *fluids, double p, double mach);

/* ---- Fuel, air or their mixture through a small passage ------------------------------------ */

/* A mixture's flow through a passage, one way (from 1 to 2). */
typedef struct lw_mix_flow {
  double m; /* kg/s, >= 0 */
  double d_p1, d_p2;
  double d_y; /* by the fuel mass fraction upstream */
  bool choked;
} lw_mix_flow;

typedef struct lw_orifice {
  double area;     /* m2; 0: shut */
  double diameter; /* m, hydraulic: for the Reynolds number */
  double length;   /* length over diameter, 2 to 10 */
} lw_orifice;

/* Homogeneous flow of gas at one temperature and liquid: specific volume v = y/rho + (1-y) R T/p,
   G = sqrt(2 integral v dp)/v2, choked where G peaks; times the discharge coefficient below. y = 1
   is the liquid orifice law, y = 0 the isothermal gas law (which lies 5 to 11 % under the
   isentropic one: see tests). p2 >= p1 gives no flow. No slip between the phases: measured emulsion
   flows differ by some tens of percent (Arias and Shedd, J. Fluids Eng. 127, 2005, 778, say the
   homogeneous model is poor in small pipes); jets are sized on it, so the difference goes into
   their inferred size. Source: Tangren, Dodge and Seifert, J. Appl. Phys. 20 (1949) 637. */
lw_mix_flow lw_mix_orifice(const lw_orifice *orifice, const lw_fluids *fluids, double p1, double y,
                           double p2);
/* The same told by the drop p1 - p2, which keeps its digits when it is small: a wide jet at rest
   turns the last digit of a pressure into more than a clogged passage carries. */
lw_mix_flow lw_mix_orifice_drop(const lw_orifice *orifice, const lw_fluids *fluids, double p1,
                                double drop, double y);

/* Discharge coefficient of a long orifice at the Reynolds number of the ideal velocity, and its
   derivative by it. Goes to zero with the Reynolds number, which makes the flow linear in a small
   pressure difference. length 2 to 10 diameters (held to that range).
   Source: Lichtarowicz, Duggins and Markland, J. Mech. Eng. Sci. 7 (1965) 210. */
double lw_orifice_cd(double reynolds, double length, double *slope);

/* ---- Shapes -------------------------------------------------------------------------------- */

/* Share of the bore that a plate on a shaft leaves open; angle and closed from the plane across the
   bore, rad; shaft: shaft diameter over bore. *slope: by the angle. Source: geometry of an elliptic
   plate (docs/physics.md, "Throttle"; Heywood 1988 eq. 7.18 has the same terms). */
double lw_throttle_share(double angle, double closed, double shaft, double *slope);

/* Height of the plate's edge above its closed place, along the bore's wall, m. */
double lw_throttle_edge(double angle, double closed, double bore, double *slope);

/* The part of a slot below the edge (0..length) when its lower end lies `low` above the edge's
   closed place (negative: already below it); rounded over a tenth of a millimeter at both ends. */
double lw_slot_below(double edge, double low, double length, double *slope);

/* Open area of a tapered needle lifted from its seat, m2: lift x (m), seat diameter d (m), half
   angle (rad); a frustum's side until it meets the seat's own area, rounded there. */
double lw_needle_area(double lift, double seat, double half_angle, double *slope);

/* A step from 0 at x <= 0 to 1 at x >= 1 with continuous slope, 3x^2 - 2x^3. */
double lw_smooth_step(double x, double *slope);

/* A spring-loaded air valve: share open (0..1) at a depression across it. It leaves its seat at
   `opens` and is fully open at `full` (Pa), the spring's torque rising linearly. */
double lw_air_valve_share(double depression, double opens, double full, double *slope);

#endif
