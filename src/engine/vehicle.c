/* vehicle.c - the car's resistance on a level road, geared down to the crankshaft. */
#include "engine_internal.h"

#include <math.h>

/* Cars of the nineteen-sixties: 1,150 kg with 2 L to 1,950 kg with 7 L, frontal area about 2.1 m2 at
   a drag coefficient of 0.45 to 0.5, bias-ply tires (1.3 to 1.5 %). From memory of period road
   tests; the card may say otherwise. */
lw_vehicle lw_vehicle_usual(const lw_card *card) {
  double liters = lw_known(card->engine.displacement) ? card->engine.displacement * 1e3 : 4;
  bool automatic = card->transmission == LW_AUTOMATIC_TRANSMISSION;
  lw_vehicle v = {
      .mass = lw_clamp(830 + 160 * liters, 900, 2000) + 136, /* two persons */
      .drag_area = 1.0,
      .rolling = 0.014,
      .tire = 0.335,
      .axle = lw_clamp(4.0 - 0.17 * liters, 2.7, 3.9),
      .gears = 3,
      .gear = {2.60, 1.55, 1.0},
  };
  if (automatic) {
    v.gear[0] = 2.45;
    v.gear[1] = 1.45;
  }
  return v;
}

void lw_road_load(const lw_vehicle *v, double road_speed, double acceleration, int gear,
                  double air_density, double *torque, double *speed) {
  const double gravity = 9.80665, driveline = 0.93, turning = 1.04; /* wheels and shafts: ours */
  double ratio = v->axle * v->gear[gear], sign = road_speed > 0 ? 1 : 0;
  double force = v->mass * (gravity * v->rolling * sign + turning * acceleration) +
                 0.5 * air_density * v->drag_area * road_speed * fabs(road_speed);
  *speed = road_speed / v->tire * ratio;
  *torque = force * v->tire / ratio * (force > 0 ? 1 / driveline : driveline);
}
