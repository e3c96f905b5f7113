/* exhaust_internal.h - what the files of the exhaust analysis share. Private to this floor. */
#ifndef LW_EXHAUST_INTERNAL_H
#define LW_EXHAUST_INTERNAL_H

#include "leanward/exhaust.h"

/* What gases say of lambda when some were not read. */
typedef struct lw_inferred {
  lw_measure lambda;
  double lo, hi;             /* 2.5 % and 97.5 % */
  lw_gases filled, filled_u; /* dry; HC as carbon atoms */
  double h2, water;
  lw_measure efficiency;
} lw_inferred;

/* Needs at least one of CO, CO2, O2. See infer.c for the model and its priors. */
lw_inferred lw_infer(const lw_sample *sample);

/* Share of the fuel's heat released, from dry gases (HC as carbon atoms) and H2. */
double lw_combustion_efficiency(const lw_fuel *fuel, const lw_gases *dry, double h2);

/* The spread of lambda that CO beside O2 would mean, when HC stands for charge that did not burn.
 */
double lw_spread_of(const lw_fuel *fuel, const lw_gases *dry, double h2, double lambda);

/* Add the words: everything else in *out must be filled. */
void lw_exhaust_notes(const lw_sample *sample, lw_exhaust *out);

#endif
