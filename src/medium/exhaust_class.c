/* exhaust_class.c - what an analyzer of a class may be wrong by.
**
** Source: OIML R 99-1&2:2008, table of maximum permissible errors (classes 00, 0, I), and the 1998
** edition for class II; classes 0 and I are also in Directive 2014/32/EU Annex XII. The figures are
** from memory: the tables could not be read. The rule "greater of absolute and relative" is theirs.
*/
#include "leanward/exhaust.h"

#include <math.h>

typedef struct permissible {
  double absolute, relative, step;
} permissible;

/* Steps: Swiss ordinance SR 941.210.3 annex 5 asks 0.01 % CO, 0.1 % CO2, 0.01 % O2, 1 ppm HC. */
static const permissible table[LW_CLASS_II + 1][LW_GAS_NO + 1] = {
    [LW_CLASS_00] = {[LW_GAS_CO] = {0.0002, 0.05, 0.0001},
                     [LW_GAS_CO2] = {0.003, 0.05, 0.001},
                     [LW_GAS_HC] = {4e-6, 0.05, 1e-6},
                     [LW_GAS_O2] = {0.001, 0.05, 0.0001}},
    [LW_CLASS_0] = {[LW_GAS_CO] = {0.0003, 0.05, 0.0001},
                    [LW_GAS_CO2] = {0.005, 0.05, 0.001},
                    [LW_GAS_HC] = {10e-6, 0.05, 1e-6},
                    [LW_GAS_O2] = {0.001, 0.05, 0.0001}},
    [LW_CLASS_I] = {[LW_GAS_CO] = {0.0006, 0.05, 0.0001},
                    [LW_GAS_CO2] = {0.005, 0.05, 0.001},
                    [LW_GAS_HC] = {12e-6, 0.05, 1e-6},
                    [LW_GAS_O2] = {0.001, 0.05, 0.0001}},
    [LW_CLASS_II] = {[LW_GAS_CO] = {0.002, 0.10, 0.001},
                     [LW_GAS_CO2] = {0.010, 0.10, 0.001},
                     [LW_GAS_HC] = {30e-6, 0.10, 10e-6},
                     [LW_GAS_O2] = {0.002, 0.10, 0.001}},
};

static const permissible nitric_oxide = {50e-6, 0.10, 1e-6};

static permissible row(lw_class accuracy, lw_gas_name gas) {
  if (gas == LW_GAS_NO) return nitric_oxide;
  return table[accuracy == LW_CLASS_UNSAID ? LW_CLASS_II : accuracy][gas];
}

double lw_permissible(lw_class accuracy, lw_gas_name gas, double value) {
  permissible p = row(accuracy, gas);
  return fmax(p.absolute, p.relative * fabs(value));
}

double lw_display_step(lw_class accuracy, lw_gas_name gas) {
  return row(accuracy, gas).step;
}

/* The analyzer's own figure for a gas, NaN when not given. */
static double own(const lw_analyzer *a, lw_gas_name gas, bool step) {
  switch (gas) {
  case LW_GAS_CO: return step ? a->co_step : a->co;
  case LW_GAS_CO2: return step ? a->co2_step : a->co2;
  case LW_GAS_HC: return step ? a->hc_step : a->hc;
  case LW_GAS_O2: return step ? a->o2_step : a->o2;
  case LW_GAS_NO: return step ? a->no_step : a->no;
  case LW_GAS_UNSAID: break;
  }
  return NAN;
}

double lw_reading_u(const lw_analyzer *analyzer, lw_gas_name gas, double value) {
  lw_class accuracy = analyzer ? analyzer->accuracy : LW_CLASS_UNSAID;
  double error = lw_permissible(accuracy, gas, value), step = lw_display_step(accuracy, gas);
  if (analyzer && lw_known(own(analyzer, gas, false))) error = own(analyzer, gas, false);
  if (analyzer && lw_known(own(analyzer, gas, true))) step = own(analyzer, gas, true);
  return sqrt(error * error / 3 + step * step / 12);
}
