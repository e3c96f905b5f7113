/* leanward/medium.h - air and fuel: what goes in.
**
** Units    SI.
** Errors   lw_fuel_by_name gives false for a name it does not know.
** Threads  pure functions.
** Source   beside each declaration; worked out in docs/physics.md, "Air and fuel".
*/
#ifndef LEANWARD_MEDIUM_H
#define LEANWARD_MEDIUM_H

#include "leanward/base.h"

/* ---- Air ----------------------------------------------------------------------------------- */

/* Dry air as combustion balances use it: 20.95 % O2, the rest counted as N2 (Heywood 1988, table
   3.1 and section 3.2: 3.773 mol of it for each mol of O2, 28.962 kg/kmol). */
#define LW_AIR_O2            (1.0 / 4.773)
#define LW_AIR_N2_TO_O2      3.773
#define LW_AIR_MOLAR_MASS    28.962e-3 /* kg/mol */
#define LW_AIR_R             287.055   /* J/(kg K) */
#define LW_STANDARD_PRESSURE 101325.0  /* Pa */

/* Pressure (Pa) and temperature (K) of the standard atmosphere at a geometric altitude (m), -500
   to 11,000 m. Source: U.S. Standard Atmosphere 1976, troposphere. */
double lw_standard_pressure(double altitude);
double lw_standard_temperature(double altitude);

/* Saturation pressure of water (Pa) over water, 250 to 340 K. Source: CIPM-2007 (Picard, Davis,
   Glaeser and Fujii, Metrologia 45, 2008, 149), eq. A1.1. */
double lw_water_saturation(double temperature);

/* Moles of water for each mole of dry air. humidity 0..1. */
double lw_air_water(double temperature, double pressure, double humidity);

/* Density of moist air, kg/m3, as an ideal gas mixture (0.04 % under real gas at 20 degC). */
double lw_air_density(double temperature, double pressure, double humidity);

/* ---- Fuel ---------------------------------------------------------------------------------- */

/* A fuel CH(h_c)O(o_c). */
typedef struct lw_fuel {
  const char *name;
  double h_c, o_c;
  double heating_value; /* lower, J/kg */
  double density;       /* kg/m3, liquid at 15 degC */
} lw_fuel;

/* gasoline, E5, E10, E15, E85, LPG, propane, methane, ethanol, methanol, iso-octane. Case does not
   matter. Sources stand in fuel.c beside each row. */
bool lw_fuel_by_name(const char *name, lw_fuel *fuel);
/* The i-th known name, NULL behind the last. */
const char *lw_fuel_name(size_t i);

/* Mass of one mole of fuel carbon with its hydrogen and oxygen, kg/mol. */
double lw_fuel_molar_mass(const lw_fuel *fuel);
/* O2 to burn one mole of fuel carbon completely: 1 + (H/C)/4 - (O/C)/2. */
double lw_fuel_oxygen(const lw_fuel *fuel);
/* Stoichiometric air-fuel ratio by mass, dry air (Heywood eq. 3.6 with 3.773). */
double lw_fuel_stoichiometric(const lw_fuel *fuel);

#endif
