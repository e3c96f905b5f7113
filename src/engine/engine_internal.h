/* engine_internal.h - what the files of this floor share. */
#ifndef LW_ENGINE_INTERNAL_H
#define LW_ENGINE_INTERNAL_H

#include "leanward/engine.h"

#define LW_PI  3.14159265358979323846
#define LW_BAR 1e5 /* Pa */

/* The exhaust of `moles` of dry gas, added up over cylinders. Moles. */
typedef struct lw_pool {
  double co, co2, hc, o2, no, h2, n2, h2o;
} lw_pool;
void lw_pool_add(lw_pool *pool, const lw_products *products, double dry_moles);
lw_products lw_pool_mixed(const lw_pool *pool);

/* How a charge gets to the cylinders of each side (share.c): kg a cycle of each cylinder. */
void lw_share_out(const lw_engine *engine, const lw_charge *charge, lw_cylinder *cylinders);

/* Whether the network's vacuum leak feeds one cylinder alone. */
bool lw_leak_is_own(const lw_engine *engine);

/* Torque over speed squared that the converter of an engine of this size usually takes, N m s2. */
double lw_converter_usual(const lw_engine *engine);
/* Torque of fan, generator and pump, N m. */
double lw_accessory_torque(const lw_engine *engine, double speed);
/* What arrives at the cylinders at a solved point. */
lw_charge lw_charge_of(const lw_engine *engine, const lw_net *net, const lw_point *point,
                       double speed, const lw_surroundings *around);
/* Air of the network's leaks into the manifold, kg/s. */
double lw_leak_air(const lw_net *net, const lw_point *point);

static inline double lw_clamp(double x, double lo, double hi) {
  return x > lo ? (x < hi ? x : hi) : lo;
}

#endif
