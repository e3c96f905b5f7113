/* leanward/hot_gas.h - burned gas while it is hot: what it consists of and how hot it gets.
**
** lw_burn_products says what an exhaust pipe holds. While the gas burns it is another gas: part of
** its CO2 and water has come apart, and oxygen atoms are there that make nitric oxide. Here its
** composition is that of equilibrium, at a temperature given or at that of its flame.
**
** Units    SI; mole fractions of the whole (wet) gas; enthalpy from the elements at 298.15 K.
** Errors   false when no composition was found: outside 1,000 to 4,000 K, 1 kPa to 30 MPa, lambda
**          0.4 to 5. The result is then untouched.
** Memory   none.
** Threads  pure functions.
** Source   equilibrium constants and enthalpies from NASA's seven-coefficient polynomials, as given
**          with GRI-Mech 3.0; Heywood 1988, 3.7. Held to Cantera and NASA CEA by
**          tests/published/test_nitric.c. Worked out in docs/physics-nitric.md.
*/
#ifndef LEANWARD_HOT_GAS_H
#define LEANWARD_HOT_GAS_H

#include "leanward/medium.h"

typedef enum lw_hot {
  LW_HOT_CO2,
  LW_HOT_CO,
  LW_HOT_H2O,
  LW_HOT_H2,
  LW_HOT_OH,
  LW_HOT_H,
  LW_HOT_O,
  LW_HOT_O2,
  LW_HOT_N2,
  LW_HOT_NO,
  LW_HOT_AR,
  LW_HOTS
} lw_hot;

typedef struct lw_hot_gas {
  double temperature, pressure; /* K, Pa */
  double x[LW_HOTS];            /* mole fractions */
  double molar_mass;            /* kg/mol */
  double enthalpy;              /* J/kg */
  double root_o2, amount;       /* where the solution lay: the next one starts there when > 0 */
} lw_hot_gas;

/* Equilibrium of ten gases (and argon) of a fuel burned at lambda. gas holds a solution near by, or
   zeros. About half a microsecond. */
bool lw_hot_gas_at(const lw_fuel *fuel, double lambda, double temperature, double pressure,
                   lw_hot_gas *gas) LW_MUST_USE;

/* The same at the temperature the flame has at constant pressure: fuel vapor (heating value as that
   of vapor) and dry air, with a mass share residual of cold burned gas, all at `unburned` K. About
   two microseconds. */
bool lw_flame(const lw_fuel *fuel, double lambda, double residual, double unburned, double pressure,
              lw_hot_gas *gas) LW_MUST_USE;

#endif
