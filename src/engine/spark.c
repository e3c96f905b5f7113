/* spark.c - timing: initial, centrifugal, vacuum. */
#include "engine_internal.h"

#include <math.h>

double lw_curve_at(const lw_curve *curve, double x) {
  int n = curve->count;
  if (n == 0) return 0;
  if (x <= curve->x[0]) return curve->y[0];
  for (int i = 1; i < n; i++) {
    if (x > curve->x[i]) continue;
    double share = (x - curve->x[i - 1]) / (curve->x[i] - curve->x[i - 1]);
    return curve->y[i - 1] + share * (curve->y[i] - curve->y[i - 1]);
  }
  return curve->y[n - 1];
}

/* The tap lies just over the edge of a plate at curb idle and is uncovered over some four degrees
   of plate (ours). */
double lw_ported_share(double angle, double stop) {
  const double from = 0.010, to = 0.080; /* rad over the stop */
  double t = lw_clamp((angle - stop - from) / (to - from), 0, 1);
  return t * t * (3 - 2 * t);
}

double lw_distributor_vacuum(const lw_spark *spark, double manifold_vacuum, double ported_share) {
  double depth = fmax(manifold_vacuum, 0);
  switch (spark->source) {
  case LW_VACUUM_NONE: return 0;
  case LW_VACUUM_PORTED: return ported_share * depth;
  case LW_VACUUM_MANIFOLD: return depth;
  case LW_VACUUM_VALVE: break;
  }
  return depth > spark->valve_set ? depth : ported_share * depth;
}

double lw_timing(const lw_engine *engine, double speed, double distributor_vacuum) {
  const lw_spark *s = &engine->spark;
  return s->initial + engine->timing_error + lw_curve_at(&s->centrifugal, speed) +
         lw_curve_at(&s->vacuum, distributor_vacuum);
}
