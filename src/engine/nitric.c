/* nitric.c - nitric oxide of one cylinder: extended Zeldovich along the pressure of its burning.
**
** The charge is compressed, burns by a Wiebe law around best-torque timing (less `retard`), and
** expands. Three layers burn one after the other, each at its own pressure, and each is then
** compressed and expanded with all the gas, without mixing: the first becomes the hottest and makes
** most of the NO (Heywood 1988, 9.2 and 11.2). In each, the atoms are at equilibrium and NO grows
** by Heywood's eq. 11.5
**
**   d[NO]/dt = 2 R1 (1 - a^2)/(1 + a R1/(R2 + R3)),  a = [NO]/[NO]e,  R1 = k1 [O]e [N2]e
**
** until the gas has cooled too far to go on: freezing comes out, it is not put in. What is ours is
** said beside each constant; docs/physics-nitric.md has an example by hand and the accuracy.
*/
#include "leanward/engine.h"
#include "leanward/hot_gas.h"

#include <math.h>

enum { STEPS = 22, LAYERS = 3 };

/* One step of the crank, and the first of them before top dead center, rad. */
static const double stride = 0.10471975511965977; /* 6 degrees */
static const double first = -7 * 0.10471975511965977;
/* Ours: fresh charge where compression begins, gas left behind, K; share of heat the walls take;
   share of the gas that makes NO (the rest lies along walls or burns
   cold; fitted to Brinkman's engine); ratio of specific heats of the whole charge; exponent of
   compression with its heat loss, of expansion of burned gas */
static const double fresh_temperature = 330, left_temperature = 1050, lost = 0.15, core = 0.75;
static const double gamma_charge = 1.29, gamma_unburned = 1.31;
/* Half of the charge has burned at 8 degrees after top dead center at best torque (common practice,
   no source); Wiebe law with a 5, m 2 (Heywood eq. 9.27, from memory) */
static const double best_half = 0.13962634015954636;
static const double charge_molar_mass = 29.3e-3, gas_constant = 8.314462618;

typedef struct stroke {
  double log_p[STEPS + 1]; /* over the pressure at the start of compression */
  double burned[STEPS + 1];
} stroke;

/* Heat of one kilogram of fresh charge, J. */
static double heat_of(const lw_fuel *fuel, double lambda) {
  lw_burn burn = {.lambda = lambda};
  lw_products p = lw_burn_products(fuel, &burn, NAN, 0);
  double left = (283.0e3 * p.dry.co + 241.8e3 * p.h2) / (p.dry.co + p.dry.co2);
  double ratio = lambda * lw_fuel_stoichiometric(fuel);
  return fmax(fuel->heating_value - left / lw_fuel_molar_mass(fuel), 0) / (1 + ratio);
}

/* Crank angle the charge burns in, 0 to 99 %, rad: 55 degrees at best, longer away from a slightly
   rich mixture and with exhaust left behind (shape ours, after Heywood 9.4: flame speed). */
static double burn_angle(double lambda, double residual) {
  double off = 1 / lambda - 1.08;
  return 0.96 * (1 + 6 * off * off) * (1 + 1.5 * residual);
}

/* Pressure of the whole charge: d(p V^g) = (g - 1) V^(g-1) dQ. Volumes over that at top dead
   center; heat over that volume times the pressure before compression. */
static void stroke_of(double ratio, double heat, double angle, double half, stroke *out) {
  const double g = gamma_charge, rod = 0.145; /* half of crank over rod */
  double start = half - 0.517 * angle;        /* Wiebe's half lies at 0.517 of its angle */
  double c = cos(first), s = sin(first), dc = cos(stride), ds = sin(stride);
  double state = exp(g * log(ratio)), before = 0, log_before = 0;
  for (int i = 0; i <= STEPS; i++) {
    double log_v = log(1 + 0.5 * (ratio - 1) * (1 - c + rod * s * s));
    double at = (first + stride * i - start) / angle;
    double burned = at > 0 ? 1 - exp(-5 * at * at * at) : 0;
    if (i == 0) log_before = log_v;
    double rise = burned - before;
    if (rise > 0) state += (g - 1) * exp((g - 1) * 0.5 * (log_v + log_before)) * heat * rise;
    out->log_p[i] = log(state) - g * log_v;
    out->burned[i] = before = burned;
    log_before = log_v;
    double turned = c * dc - s * ds;
    s = s * dc + c * ds;
    c = turned;
  }
}

/* Where the charge stands when this share has burned. */
typedef struct moment {
  double step, log_p, unburned;
} moment;

static moment moment_of(const stroke *s, double share, double before) {
  double at = STEPS, log_p = s->log_p[STEPS];
  for (int i = 0; i < STEPS; i++) {
    if (!(s->burned[i + 1] > share)) continue;
    /* a burn so slow that it began before the first step */
    double part = fmax((share - s->burned[i]) / (s->burned[i + 1] - s->burned[i]), 0);
    at = i + part;
    log_p = s->log_p[i] + part * (s->log_p[i + 1] - s->log_p[i]);
    break;
  }
  const double k = (gamma_unburned - 1) / gamma_unburned;
  return (moment){at, log_p, fmin(before * exp(k * log_p), 1500)};
}

/* Along an expansion ln x is a straight line over 1/T, pressure falling with it. */
typedef struct line {
  double at, slope;
} line;

typedef struct path {
  double inverse, log_p, pressure; /* where the lines begin: 1/K, over the first pressure, Pa */
  line oxygen, nitric;
  double nitrogen; /* N2, mole fraction */
  double reaction; /* R1/(R2 + R3) at 2,600 K: 0.33, 0.26, 0.14 for phi 0.8, 1, 1.2: Heywood table
                      11.2 (from memory) */
} path;

static const double expand = (1.25 - 1) / 1.25; /* (gamma_burned - 1)/gamma_burned */

static line line_through(double x0, double x1, double run) {
  double at = log(x0);
  return (line){at, (log(x1) - at) / run};
}

static bool path_of(const lw_fuel *fuel, double lambda, const lw_hot_gas *hot, path *out) {
  const double fall = 0.9; /* of temperature to the second point */
  lw_hot_gas cool = *hot;
  double pressure = hot->pressure * exp(log(fall) / expand);
  if (!lw_hot_gas_at(fuel, lambda, fall * hot->temperature, pressure, &cool)) return false;
  out->inverse = 1 / hot->temperature;
  out->pressure = hot->pressure;
  out->nitrogen = hot->x[LW_HOT_N2];
  double run = 1 / cool.temperature - out->inverse;
  out->oxygen = line_through(hot->x[LW_HOT_O], cool.x[LW_HOT_O], run);
  out->nitric = line_through(hot->x[LW_HOT_NO], cool.x[LW_HOT_NO], run);
  return true;
}

/* NO of one layer, mole fraction, burned at moment m with temperature `flame`. dt: one step, s.
   Its isentrope lies beside the path's: at one temperature O goes with the root of pressure. */
static double layer(const stroke *s, const path *way, double flame, const moment *m, double dt) {
  double made = 0, log_t0 = log(flame * way->inverse);
  double aside = -0.5 * (m->log_p - way->log_p - log_t0 / expand);
  for (int i = (int)m->step; i < STEPS; i++) {
    double part = fmin(1, i + 1 - m->step);
    double p = s->log_p[i + 1] + 0.5 * part * (s->log_p[i] - s->log_p[i + 1]);
    double t = flame * exp(expand * (p - m->log_p));
    if (t < 1700) {
      if (s->log_p[i + 1] < s->log_p[i]) break; /* cold, and cooling */
      continue;
    }
    double inverse = 1 / t, run = inverse - way->inverse;
    double most = exp(way->nitric.at + way->nitric.slope * run);
    /* moles a cubic centimeter; k1 = 7.6e13 exp(-38000/T) cm3/(mol s): Heywood table 11.1 */
    double dense = 1e-6 * way->pressure * inverse / gas_constant;
    double rate =
        2 * 7.6e13 * dense * way->nitrogen *
        exp(way->oxygen.at + aside + way->oxygen.slope * run - 38000 * inverse + p - way->log_p);
    double a = made / most, turn = part * dt * rate / (most * (1 + way->reaction * a));
    /* the end of an implicit step: turn a'^2 + a' = a + turn */
    made = most * 2 * (a + turn) / (1 + sqrt(1 + 4 * turn * (a + turn)));
  }
  return made;
}

/* What one layer's flame is hotter than another's for each kelvin that compression left its
   unburned gas warmer: both warmth and pressure (fit of ours to lw_flame from 25 to 100 kPa,
   compression ratios 7 to 11: within 10 K). */
static double flame_rise(double lambda) {
  return 0.74 + 0.28 * fabs(1 / lambda - 1);
}

/* Share of its heat that the charge loses while it burns: more of it in the flatter space of a high
   compression ratio, slowly, and at light load (directions of Heywood 12.4; exponents ours). */
static double loss(double ratio, double manifold, double speed) {
  double load = fmax(9e4 / manifold * 150 / speed, 1);
  return fmin(lost * sqrt(sqrt((ratio - 1) / 8 * load)), 0.35);
}

double lw_nitric_oxide(const lw_fuel *fuel, double lambda, double residual, double manifold,
                       double compression_ratio, double speed, double retard) {
  /* under 0.55 there is no oxygen left to make any, and its equilibrium no longer solves */
  if (!(lambda > 0.55 && lambda < 2.5 && residual < 0.8 && manifold > 0 && speed > 0)) return 0;
  double before = (1 - residual) * fresh_temperature + residual * left_temperature;
  double left = loss(compression_ratio, manifold, speed);
  double heat = (1 - left) * (1 - residual) * heat_of(fuel, lambda) * charge_molar_mass /
                (gas_constant * before) * compression_ratio;
  stroke s;
  stroke_of(compression_ratio, heat, burn_angle(lambda, residual), best_half + retard, &s);
  moment middle = moment_of(&s, 0.5, before);
  lw_hot_gas hot = {0};
  path way;
  if (!lw_flame(fuel, lambda, residual, middle.unburned, manifold * exp(middle.log_p), &hot) ||
      !path_of(fuel, lambda, &hot, &way))
    return 0;
  way.log_p = middle.log_p;
  way.reaction = fmin(fmax(0.26 - 0.475 * (1 / lambda - 1), 0.05), 0.4);
  double sum = 0;
  for (int n = 0; n < LAYERS; n++) {
    moment m = moment_of(&s, (n + 0.5) / LAYERS, before);
    double t = hot.temperature + flame_rise(lambda) * (m.unburned - middle.unburned);
    t -= 0.5 * (left - lost) * (t - m.unburned); /* of what is lost beyond the usual; fitted */
    sum += layer(&s, &way, t, &m, stride / speed);
  }
  /* what stayed behind brings its NO along */
  return core * sum / LAYERS / (1 - residual);
}
