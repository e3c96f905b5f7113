/* burn.c - from how a charge burned to what comes out of the pipe.
**
** For each mole of fuel carbon, CHxOy, S = 1 + x/4 - y/2 moles of O2 burn it completely. A share
** `unburned` leaves as it came. Over cylinders and cycles lambda is normal (mean lambda, standard
** deviation spread); the lean part leaves O2 over, the rich part lacks O2:
**
**   t = (lambda - 1)/spread
**   over = spread (phi(t) + t Phi(t)),    short = spread (phi(t) - t Phi(-t))
**
** The lack shows as CO and H2, (CO + H2)/2 = burned S short, shared between them by the water-gas
** ratio K of the mixed gas. (Heywood 1988, 4.9: one mixture. The spread is ours: it is what lets CO
** and O2 stand side by side. lambda.c returns this lambda for any spread and any unburned share.)
*/
#include "leanward/exhaust.h"

#include <math.h>

typedef struct parts {
  double over, lack;
} parts;

static parts spread_parts(double lambda, double spread) {
  double d = lambda - 1;
  if (!(spread > 1e-9)) return (parts){fmax(d, 0), fmax(-d, 0)};
  double t = d / spread;
  double density = 0.39894228040143268 * exp(-0.5 * t * t);
  double below = 0.5 * erfc(-t * 0.70710678118654752);
  double over = spread * (density + t * below);
  /* far out on either side the small part is the tail, the large one follows */
  return (parts){fmax(over, 0), fmax(over - d, 0)};
}

/* CO for each mole of fuel carbon: (K-1) c^2 - (K (b + 2D) + H - 2D) c + 2 K D b = 0, lesser root
   in the form that stands K = 1 and D = 0. */
static double carbon_monoxide(double burned, double hydrogen, double lack, double k) {
  double product = 2 * k * lack * burned;
  double linear = k * (burned + 2 * lack) + hydrogen - 2 * lack;
  double root = sqrt(fmax(linear * linear - 4 * (k - 1) * product, 0));
  double co = 2 * product / (linear + root);
  return fmin(co, burned);
}

lw_products lw_burn_products(const lw_fuel *fuel, const lw_burn *burn, double water_gas,
                             double air_water) {
  double k = lw_known(water_gas) ? water_gas : 3.5;
  double need = lw_fuel_oxygen(fuel), burned = 1 - burn->unburned;
  double breathed = burn->lambda * need;
  double brought = (lw_known(air_water) ? air_water : 0) / LW_AIR_O2 * breathed;
  double hydrogen = fuel->h_c / 2 * burned + brought;
  parts p = spread_parts(burn->lambda, burn->spread);
  double lack = burned * need * p.lack;
  double co = carbon_monoxide(burned, hydrogen, lack, k);
  double h2 = fmin(fmax(2 * lack - co, 0), hydrogen);
  double o2 = burned * need * p.over + burn->unburned * breathed;
  double n2 = LW_AIR_N2_TO_O2 * breathed;
  /* HC counts as hexane-sized molecules in the volume: a few parts in ten thousand */
  double dry = co + (burned - co) + h2 + o2 + n2 + burn->unburned / 6;
  double water = hydrogen - h2;
  return (lw_products){
      .dry = {co / dry, (burned - co) / dry, burn->unburned / dry, o2 / dry, 0},
      .h2 = h2 / dry,
      .n2 = n2 / dry,
      .h2o = water / (dry + water),
  };
}
