/* fuel.c - fuels by name. Each row's atoms, heating value and density with their source.
**
** (m) marks a figure written from memory. Blend heating values and densities are mass balances of
** gasoline (44.0 MJ/kg, 745 kg/m3) and ethanol (26.8 MJ/kg, 789 kg/m3) by the volume in the name.
*/
#include "leanward/medium.h"

#include <math.h>
#include <stddef.h>

static const lw_fuel fuels[] = {
    /* H/C 1.85: 40 CFR 1065.655 table 2 (m); heating value: Heywood 1988 table D.4 (m) */
    {"gasoline", 1.85, 0, 44.0e6, 745},
    /* C1H1.89O0.016: UNECE R83 terms for reference fuel E5 */
    {"E5", 1.89, 0.016, 43.1e6, 747},
    /* C1H1.93O0.033: UNECE R83 reference fuel E10 (m); 40 CFR 1065.655 has 1.92, 0.03 (m) */
    {"E10", 1.93, 0.033, 42.2e6, 749},
    /* 40 CFR 1065.655 table 2 (m) */
    {"E15", 1.95, 0.05, 41.3e6, 752},
    /* C1H2.74O0.385: UNECE R83 terms */
    {"E85", 2.74, 0.385, 29.3e6, 782},
    /* C1H2.525: UNECE R83 terms */
    {"LPG", 2.525, 0, 46.0e6, 540},
    {"propane", 8.0 / 3, 0, 46.4e6, 507}, /* heating value: Heywood 1988 table D.4 (m) */
    {"methane", 4, 0, 50.0e6, NAN},       /* a gas at 15 degC; the same table (m) */
    {"ethanol", 3, 0.5, 26.8e6, 790},     /* Cengel and Boles, Thermodynamics, table A-27 */
    {"methanol", 4, 1, 20.0e6, 792},      /* Heywood 1988 table D.4 (m) */
    {"iso-octane", 2.25, 0, 44.3e6, 692}, /* the same table (m) */
};

bool lw_fuel_by_name(const char *name, lw_fuel *fuel) {
  for (size_t i = 0; i < sizeof fuels / sizeof fuels[0]; i++) {
    if (!lw_text_same(name, fuels[i].name)) continue;
    *fuel = fuels[i];
    return true;
  }
  return false;
}

const char *lw_fuel_name(size_t i) {
  return i < sizeof fuels / sizeof fuels[0] ? fuels[i].name : NULL;
}

double lw_fuel_molar_mass(const lw_fuel *fuel) {
  return 12.011e-3 + 1.008e-3 * fuel->h_c + 15.999e-3 * fuel->o_c;
}

double lw_fuel_oxygen(const lw_fuel *fuel) {
  return 1 + fuel->h_c / 4 - fuel->o_c / 2;
}

double lw_fuel_stoichiometric(const lw_fuel *fuel) {
  double air = lw_fuel_oxygen(fuel) / LW_AIR_O2 * LW_AIR_MOLAR_MASS;
  return air / lw_fuel_molar_mass(fuel);
}
