/* flow_shape.c - openings as they change with an angle, a lift or a depression. */
#include "leanward/flow.h"

#include <math.h>

#define PI 3.14159265358979323846

double lw_throttle_share(double angle, double closed, double shaft, double *slope) {
  double a = shaft, wide = 1 - 2 / PI * (a * sqrt(1 - a * a) + asin(a));
  *slope = 0;
  if (angle <= closed) return 0;
  double k = cos(angle) / cos(closed);
  if (k <= a || angle >= PI / 2) return wide;
  double d_k = -sin(angle) / cos(closed), ratio = a / k;
  double root = sqrt(1 - ratio * ratio);
  double share = (1 - k) + 2 / PI * (a * root + k * asin(ratio) - a * sqrt(1 - a * a) - asin(a));
  /* d/dk of (a root + k asin(a/k)) */
  double d_bracket = a * (ratio * ratio / k) / root + asin(ratio) - ratio / root;
  *slope = (-1 + 2 / PI * d_bracket) * d_k;
  return share;
}

double lw_throttle_edge(double angle, double closed, double bore, double *slope) {
  double half = 0.5 * bore / cos(closed);
  *slope = half * cos(angle);
  return half * (sin(angle) - sin(closed));
}

/* max(x, 0) with a parabola over |x| < w */
static double softened(double x, double w, double *slope) {
  if (x >= w) {
    *slope = 1;
    return x;
  }
  if (x <= -w) {
    *slope = 0;
    return 0;
  }
  *slope = (x + w) / (2 * w);
  return (x + w) * (x + w) / (4 * w);
}

double lw_slot_below(double edge, double low, double length, double *slope) {
  const double w = 0.1e-3;
  double s1 = 0, s2 = 0;
  double below = softened(edge - low, w, &s1) - softened(edge - low - length, w, &s2);
  *slope = s1 - s2;
  return fmin(fmax(below, 0), length);
}

double lw_needle_area(double lift, double seat, double half_angle, double *slope) {
  *slope = 0;
  if (lift <= 0) return 0;
  double full = PI / 4 * seat * seat, s = sin(half_angle), c = cos(half_angle);
  double x = fmin(lift, seat / (2 * s * c)); /* the side's largest area */
  double side = PI * x * s * (seat - x * s * c), d_side = PI * s * (seat - 2 * x * s * c);
  if (x < lift) d_side = 0;
  /* both in series as flow areas: 1/A^2 = 1/side^2 + 1/full^2 */
  double area = side / sqrt(1 + side * side / (full * full));
  double cube = area / side;
  *slope = cube * cube * cube * d_side;
  return area;
}

double lw_smooth_step(double x, double *slope) {
  double t = fmin(fmax(x, 0), 1);
  *slope = x > 0 && x < 1 ? 6 * t * (1 - t) : 0;
  return t * t * (3 - 2 * t);
}

double lw_air_valve_share(double depression, double opens, double full, double *slope) {
  double width = full - opens, s1 = 0, s2 = 0, x = (depression - opens) / width;
  double share = softened(x, 0.05, &s1) - softened(x - 1, 0.05, &s2);
  *slope = (s1 - s2) / width;
  return fmin(fmax(share, 0), 1);
}
