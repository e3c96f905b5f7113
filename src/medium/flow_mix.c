/* flow_mix.c - fuel, air and their homogeneous mixture through small passages.
**
** G(p2) = sqrt(2 I)/v2 with I = y (p1 - p2)/rho + (1-y) R T ln(p1/p2) and v2 = v(p2). G peaks where
**   (y p2/rho + (1-y) R T)^2 = 2 (1-y) R T I,
** which is solved for p2 when the given p2 lies under it. At the peak dG/dp2 = 0, so the choked
** flow's derivatives by p1 and y are the partial ones at the peak (envelope theorem).
*/
#include "leanward/flow.h"

#include <math.h>

typedef struct mix {
  double a; /* y/rho: volume of the liquid */
  double b; /* (1-y) R T */
} mix;

typedef struct ideal {
  double g, d_p1, d_p2, d_y; /* kg/(m2 s) */
  bool choked;
} ideal;

/* ln = ln(p2/p1) */
static double integral(const mix *m, double drop, double ln) {
  return m->a * drop - m->b * ln;
}

/* How far G is from its peak: negative below it (choked), positive above. h = (a p + b)^2 - 2 b I
   */
static double beyond_peak(const mix *m, double p1, double drop, double ln) {
  double c = m->a * (p1 - drop) + m->b;
  return c * c - 2 * m->b * integral(m, drop, ln);
}

/* The pressure at the peak: h rises with p2 from -inf to b^2.., so Newton from a bracket. It starts
   from a fit of ours, within 6 % of the answer: exp(-1/2) for gas alone, less the more liquid. The
   last step squares what is left. */
static double peak(const mix *m, double p1) {
  double s = m->a * p1 / m->b, lo = 0, hi = p1;
  double p = 0.60653 * p1 / sqrt(1 + s * (0.2 + 0.22 / (1 + 0.12 * s)));
  for (int i = 0; i < 40; i++) {
    double h = beyond_peak(m, p1, p1 - p, log(p / p1));
    *(h < 0 ? &lo : &hi) = p;
    double slope = 2 * m->a * (m->a * p + m->b) + 2 * m->b * (m->a + m->b / p);
    double next = p - h / slope;
    if (!(next > lo && next < hi)) next = 0.5 * (lo + hi);
    if (fabs(next - p) <= 1e-8 * p1) return next;
    p = next;
  }
  return p;
}

/* d v/dy = 1/rho - R T/p: what fuel does to the volume. */
static ideal ideal_flow(const mix *m, const lw_fluids *f, double p1, double drop) {
  ideal out = {0};
  double p2 = p1 - drop, ln = log1p(-drop / p1);
  out.choked = m->b > 0 && beyond_peak(m, p1, drop, ln) < 0;
  if (out.choked) {
    p2 = peak(m, p1);
    drop = p1 - p2;
    ln = log(p2 / p1);
  }
  double gas = f->air_r * f->temperature, liquid = 1 / f->fuel_density;
  double i = integral(m, drop, ln), v1 = m->a + m->b / p1, v2 = m->a + m->b / p2;
  double root = sqrt(2 * i);
  double d_i_y = liquid * drop + gas * ln, d_v2_y = liquid - gas / p2;
  out.g = root / v2;
  if (!(root > 0)) return out;
  out.d_p1 = v1 / (root * v2);
  out.d_p2 = out.choked ? 0 : -1 / root + root * m->b / (p2 * p2 * v2 * v2);
  out.d_y = d_i_y / (root * v2) - out.g * d_v2_y / v2;
  return out;
}

double lw_orifice_cd(double reynolds, double length, double *slope) {
  double l = fmin(fmax(length, 2), 10), k = 20 * (1 + 2.25 * l);
  if (!(reynolds > 0)) {
    *slope = 1 / k;
    return 0;
  }
  double top = 0.827 - 0.0085 * l;
  const double ln_10 = 2.302585092994046;
  double lg = log(0.00015 * reynolds) / ln_10, bell = 1 + 7.5 * lg * lg;
  double inverse = 1 / top + k / reynolds - 0.005 * l / bell;
  double d_lg = 1 / (reynolds * ln_10);
  double d_inverse = -k / (reynolds * reynolds) + 0.005 * l * 15 * lg * d_lg / (bell * bell);
  *slope = -d_inverse / (inverse * inverse);
  return 1 / inverse;
}

lw_mix_flow lw_mix_orifice_drop(const lw_orifice *o, const lw_fluids *f, double p1, double drop,
                                double y) {
  lw_mix_flow out = {0};
  if (!(o->area > 0) || !(drop > 0)) return out;
  double held = fmin(fmax(y, 0), 1);
  mix m = {held / f->fuel_density, (1 - held) * f->air_r * f->temperature};
  ideal g = ideal_flow(&m, f, p1, drop);
  /* viscosity by mass: the liquid wets the wall */
  double mu = held * f->fuel_viscosity + (1 - held) * f->air_viscosity;
  double d_mu = f->fuel_viscosity - f->air_viscosity;
  double reynolds = g.g * o->diameter / mu, slope = 0;
  double cd = lw_orifice_cd(reynolds, o->length, &slope);
  double by_g = o->area * (cd + slope * reynolds);
  out.m = o->area * cd * g.g;
  out.d_p1 = by_g * g.d_p1;
  out.d_p2 = by_g * g.d_p2;
  out.d_y = by_g * g.d_y - o->area * g.g * slope * reynolds * d_mu / mu;
  out.choked = g.choked;
  return out;
}

lw_mix_flow lw_mix_orifice(const lw_orifice *o, const lw_fluids *f, double p1, double y,
                           double p2) {
  return lw_mix_orifice_drop(o, f, p1, p1 - p2, y);
}
