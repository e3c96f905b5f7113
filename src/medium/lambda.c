/* lambda.c - lambda from a full set of gases, with its uncertainty.
**
** For each mole of sample, with C burned = CO + CO2 and fuel CHxOy:
**   hydrogen   H2O + H2 = x/2 (CO + CO2) + w A        w: water brought in for each mole of O2
**   water gas  CO H2O = K CO2 H2   =>   H2O = f (x/2 (CO + CO2) + w A),  f = K CO2/(K CO2 + CO)
**   oxygen     A = CO2 + CO/2 + O2 + NO/2 + (H2O - w A)/2 - y/2 (CO + CO2)
**   lambda     A / (S (CO + CO2 + HC)),               S = 1 + x/4 - y/2
** A is the O2 breathed in. Unburned HC is taken as fuel: it keeps its own oxygen and hydrogen.
** With x = 1.7261, y = 0.0176, K = 3.5 and w = NO = 0 this is the formula of OIML R 99 / ISO 3930
** (Brettschneider 1979). Wet or dry cancels: all terms scale alike.
*/
#include "leanward/exhaust.h"

#include <math.h>

enum { CO, CO2, HC, O2, NO, GASES };

/* The sample as the balance wants it: HC in carbon atoms, NO as 0 when not read. */
typedef struct balance {
  double g[GASES], u[GASES];
  double x, y, k, w;
} balance;

static double carbon_atoms(lw_hc_basis basis) {
  return basis == LW_HC_PROPANE ? 3 : basis == LW_HC_C1 ? 1 : 6;
}

static balance balance_of(const lw_sample *s) {
  double atoms = carbon_atoms(s->hc_basis);
  balance b = {
      .g = {s->x.co, s->x.co2, s->x.hc * atoms, s->x.o2, lw_known(s->x.no) ? s->x.no : 0},
      .u = {s->u.co, s->u.co2, s->u.hc * atoms, s->u.o2, s->u.no},
      .x = s->fuel.h_c,
      .y = s->fuel.o_c,
      .k = lw_known(s->water_gas) ? s->water_gas : 3.5,
      .w = (lw_known(s->air_water) ? s->air_water : 0) / LW_AIR_O2,
  };
  for (int i = 0; i < GASES; i++)
    b.u[i] = lw_known(b.u[i]) ? b.u[i] : 0;
  if (!lw_known(s->x.no)) b.u[NO] = 0;
  return b;
}

/* lambda and its derivative by each gas (when slope is not NULL). */
static double lambda_of(const balance *b, double *slope) {
  double burned = b->g[CO] + b->g[CO2], carbon = burned + b->g[HC];
  if (!(burned > 0)) return NAN;
  double den = b->k * b->g[CO2] + b->g[CO], f = b->k * b->g[CO2] / den;
  double scale = 1 + (1 - f) * b->w / 2;
  double oxygen = b->g[CO2] + b->g[CO] / 2 + b->g[O2] + b->g[NO] / 2 - b->y / 2 * burned +
                  f * b->x / 4 * burned;
  double air = oxygen / scale, need = 1 + b->x / 4 - b->y / 2;
  double lambda = air / (need * carbon);
  if (!slope) return lambda;
  double f_co2 = b->k * b->g[CO] / (den * den), f_co = -b->k * b->g[CO2] / (den * den);
  double by_f = b->x / 4 * burned + air * b->w / 2;
  const double d_oxygen[GASES] = {
      [CO] = 0.5 - b->y / 2 + f * b->x / 4 + f_co * by_f,
      [CO2] = 1 - b->y / 2 + f * b->x / 4 + f_co2 * by_f,
      [HC] = 0,
      [O2] = 1,
      [NO] = 0.5,
  };
  const double d_carbon[GASES] = {[CO] = 1, [CO2] = 1, [HC] = 1};
  for (int i = 0; i < GASES; i++) {
    slope[i] = d_oxygen[i] / scale / (need * carbon) - lambda * d_carbon[i] / carbon;
  }
  return lambda;
}

double lw_sample_carbon(const lw_sample *sample) {
  return sample->x.hc * carbon_atoms(sample->hc_basis);
}

double lw_sample_hexane(const lw_sample *sample) {
  double pef = lw_known(sample->pef) ? sample->pef : 0.52;
  if (sample->hc_basis == LW_HC_PROPANE) return sample->x.hc * pef;
  return lw_sample_carbon(sample) / 6;
}

lw_sample lw_sample_new(const lw_fuel *fuel) {
  const lw_gases none = {NAN, NAN, NAN, NAN, NAN};
  return (lw_sample){
      .x = none, .u = none, .pef = NAN, .fuel = *fuel, .water_gas = NAN, .air_water = NAN};
}

double lw_lambda_simple(double co, double co2, double hc_hexane, double o2) {
  const balance b = {.g = {co, co2, 6 * hc_hexane, o2, 0}, .x = 1.7261, .y = 0.0176, .k = 3.5};
  return lambda_of(&b, NULL);
}

double lw_lambda_balance(const lw_sample *sample) {
  balance b = balance_of(sample);
  return lambda_of(&b, NULL);
}

lw_measure lw_lambda_measure(const lw_sample *sample) {
  double slope[GASES] = {0};
  balance b = balance_of(sample);
  double lambda = lambda_of(&b, slope), variance = 0;
  for (int i = 0; i < GASES; i++)
    variance += slope[i] * b.u[i] * slope[i] * b.u[i];
  return (lw_measure){lambda, sqrt(variance)};
}
