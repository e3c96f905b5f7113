/* air.c - the air an engine breathes: standard atmosphere, moisture, density. */
#include "leanward/medium.h"

#include <math.h>

double lw_standard_temperature(double altitude) {
  /* USSA 1976: lapse rate on geopotential altitude, earth radius 6356.766 km */
  const double earth = 6356766.0;
  return 288.15 - 0.0065 * (earth * altitude / (earth + altitude));
}

double lw_standard_pressure(double altitude) {
  /* USSA 1976 eq. 33a: exponent g0 M / (R* L) = 5.255877 */
  return LW_STANDARD_PRESSURE * pow(lw_standard_temperature(altitude) / 288.15, 5.255877);
}

double lw_water_saturation(double t) {
  return exp(1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6343.1645 / t);
}

double lw_air_water(double temperature, double pressure, double humidity) {
  double vapor = humidity * lw_water_saturation(temperature);
  /* boiling in the bay is a mistyped pressure; keep the answer finite */
  if (vapor > 0.5 * pressure) vapor = 0.5 * pressure;
  return vapor / (pressure - vapor);
}

double lw_air_density(double temperature, double pressure, double humidity) {
  const double water_molar_mass = 18.015e-3, gas_constant = 8.314462618;
  double water = lw_air_water(temperature, pressure, humidity);
  double molar_mass = (LW_AIR_MOLAR_MASS + water * water_molar_mass) / (1 + water);
  return pressure * molar_mass / (gas_constant * temperature);
}
