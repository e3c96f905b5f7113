/* flow_gas.c - compressible air through restrictions and venturis.
**
** Derivatives are worked out by hand and held to differences by tests/unit/test_flow.c.
*/
#include "leanward/flow.h"

#include <math.h>

/* Around this difference of pressures the square root gives way to a straight line, Pa. */
static const double laminar = 5;

lw_fluids lw_fluids_at(double temperature, double fuel_density_15) {
  double density = fuel_density_15 * (1 - 0.00095 * (temperature - 288.15));
  return (lw_fluids){
      .fuel_density = density,
      .fuel_viscosity = 0.55e-3 * (density / 740) * exp(-0.011 * (temperature - 293.15)),
      .air_r = 287.055,
      .air_gamma = 1.4,
      .air_viscosity = 1.458e-6 * pow(temperature, 1.5) / (temperature + 110.4),
      .temperature = temperature,
  };
}

double lw_critical_ratio(double gamma) {
  return pow(2 / (gamma + 1), gamma / (gamma - 1));
}

/* From the higher pressure p to the lower one p - x, r = 1 - x/p held at the critical ratio:
**   m = scale p r^(1/g) sqrt(2/k R E),  R = 1 - r^k,  k = (g-1)/g,  E = 1 - exp(-x/laminar)
** R is the law; E turns its square root into a straight line through zero and is 1 to ten digits
** from a difference of 23 `laminar` on. Near zero R and E are both proportional to x. */
static lw_flow downhill(double cd_area, const lw_fluids *f, double p, double x) {
  const double never = 0.61; /* no gas chokes over it: the critical ratio of gamma 1 is 0.607 */
  double g = f->air_gamma, k = (g - 1) / g;
  double critical = p - x < never * p ? lw_critical_ratio(g) : 0;
  double scale = cd_area / sqrt(f->air_r * f->temperature) * sqrt(2 / k);
  bool choked = p - x < critical * p;
  double r = choked ? critical : 1 - x / p, lg = choked ? log(critical) : log1p(-x / p);
  double inverse = exp(lg / g), rest = -expm1(k * lg),
         ease = x < 40 * laminar ? -expm1(-x / laminar) : 1;
  double root = sqrt(rest * ease);
  if (choked) return (lw_flow){scale * p * inverse * root, scale * inverse * root, 0};
  double by_r = root / (g * r), by_x;
  double d_rest = -k * (1 - rest) / r, d_ease = (1 - ease) / laminar;
  if (x > 1e-6 * laminar) {
    by_r += 0.5 * ease * d_rest / root;
    by_x = 0.5 * rest * d_ease / root;
  } else { /* root = x sqrt(k/(p laminar)): all of its slope is counted by x */
    by_x = sqrt(k / (p * laminar));
  }
  double m = scale * p * inverse * root;
  return (lw_flow){m, m / p + scale * p * inverse * (by_x - by_r * r / p),
                   scale * p * inverse * (by_r / p - by_x)};
}

lw_flow lw_gas_flow_drop(double cd_area, const lw_fluids *fluids, double p1, double drop) {
  if (drop >= 0) return downhill(cd_area, fluids, p1, drop);
  lw_flow back = downhill(cd_area, fluids, p1 - drop, -drop);
  return (lw_flow){-back.m, -back.d_p2, -back.d_p1};
}

lw_flow lw_gas_flow(double cd_area, const lw_fluids *fluids, double p1, double p2) {
  return lw_gas_flow_drop(cd_area, fluids, p1, p1 - p2);
}

lw_venturi lw_venturi_flow(double cd_area, const lw_fluids *f, double p, double mach) {
  double g = f->air_gamma, h = 0.5 * (g - 1);
  double held = fmin(fabs(mach), 1), sign = mach < 0 ? -1 : 1;
  double t = 1 + h * held * held, lg = log1p(h * held * held); /* T0/T */
  double throat_share = exp(-g / (g - 1) * lg);
  double bend = exp(-0.5 * (g + 1) / (g - 1) * lg), flow = held * bend;
  double scale = cd_area * sqrt(g / (f->air_r * f->temperature));
  /* d flow/dM = t^(-e) (1 - e 2 h M^2 / t),  e = (g+1)/(2(g-1)); zero at M = 1 */
  double d_flow = bend * (1 - 0.5 * (g + 1) * held * held / t);
  double d_share = -g * held * throat_share / t;
  lw_venturi v = {
      .m = sign * scale * p * flow,
      .d_mach_m = scale * p * d_flow,
      .d_p_m = sign * scale * flow,
      .throat = p * throat_share,
      .d_mach_throat = sign * p * d_share,
      .d_p_throat = throat_share,
  };
  if (fabs(mach) > 1) {
    const double slight = 0.02;
    double over = fabs(mach) - 1;
    v.m += sign * scale * p * slight * over;
    v.d_mach_m = scale * p * slight;
    v.d_p_m += sign * scale * slight * over;
    v.d_mach_throat = 0;
  }
  return v;
}
