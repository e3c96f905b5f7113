/* hot_gas.c - burned gas in equilibrium, and its flame temperature.
**
** Of one mole of fuel carbon, with partial pressures in units of one bar and s = sqrt(p of O2):
**
**   CO2 = Ka CO s    H2O = Kb H2 s    OH = Kc sqrt(H2) s    H = Kd sqrt(H2)
**   O   = Ke s       NO  = Kf sqrt(N2) s
**
** Carbon gives CO, hydrogen a quadratic in sqrt(H2), nitrogen one in sqrt(N2), all from s and the
** amount M (moles of the gas for each mole of carbon over its pressure). What is left are oxygen's
** balance and the sum of the pressures: Newton in ln s and ln M with exact derivatives.
*/
#include "leanward/hot_gas.h"
#include "leanward/exhaust.h"

#include <math.h>

static const double gas_constant = 8.314462618, bar = 1e5, cold = 298.15;
/* argon's share of what air balances count as nitrogen: 0.93 of 79.05 % */
static const double argon = 0.0093 / 0.7905;

/* NASA polynomials 1,000 K and up, a1 to a7: cp/R = a1 + a2 T + ..., h/RT adds a6/T, s/R a7.
   Source: thermodynamic data of GRI-Mech 3.0 (gri30.yaml of Cantera); N2 there: 1986 fit. */
static const double hot[LW_HOTS][7] = {
    [LW_HOT_CO2] = {3.85746029, 4.41437026e-3, -2.21481404e-6, 5.23490188e-10, -4.72084164e-14,
                    -4.8759166e4, 2.27163806},
    [LW_HOT_CO] = {2.71518561, 2.06252743e-3, -9.98825771e-7, 2.30053008e-10, -2.03647716e-14,
                   -1.41518724e4, 7.81868772},
    [LW_HOT_H2O] = {3.03399249, 2.17691804e-3, -1.64072518e-7, -9.7041987e-11, 1.68200992e-14,
                    -3.00042971e4, 4.9667701},
    [LW_HOT_H2] = {3.3372792, -4.94024731e-5, 4.99456778e-7, -1.79566394e-10, 2.00255376e-14,
                   -950.158922, -3.20502331},
    [LW_HOT_OH] = {3.09288767, 5.48429716e-4, 1.26505228e-7, -8.79461556e-11, 1.17412376e-14,
                   3858.657, 4.4766961},
    [LW_HOT_H] = {2.50000001, -2.30842973e-11, 1.61561948e-14, -4.73515235e-18, 4.98197357e-22,
                  2.54736599e4, -0.446682914},
    [LW_HOT_O] = {2.56942078, -8.59741137e-5, 4.19484589e-8, -1.00177799e-11, 1.22833691e-15,
                  2.92175791e4, 4.78433864},
    [LW_HOT_O2] = {3.28253784, 1.48308754e-3, -7.57966669e-7, 2.09470555e-10, -2.16717794e-14,
                   -1088.45772, 5.45323129},
    [LW_HOT_N2] = {2.92664, 1.4879768e-3, -5.68476e-7, 1.0097038e-10, -6.753351e-15, -922.7977,
                   5.980528},
    [LW_HOT_NO] = {3.2606056, 1.1911043e-3, -4.2917048e-7, 6.9457669e-11, -4.0336099e-15, 9920.9746,
                   6.3693027},
    [LW_HOT_AR] = {2.5, 0, 0, 0, 0, -745.375, 4.366},
};

/* The same below 1,000 K, of the gases that are there before the flame. */
static const double mild[LW_HOTS][6] = {
    [LW_HOT_CO2] = {2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13,
                    -4.83719697e4},
    [LW_HOT_CO] = {3.57953347, -6.1035368e-4, 1.01681433e-6, 9.07005884e-10, -9.04424499e-13,
                   -1.4344086e4},
    [LW_HOT_H2O] = {4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12,
                    -3.02937267e4},
    [LW_HOT_H2] = {2.34433112, 7.98052075e-3, -1.9478151e-5, 2.01572094e-8, -7.37611761e-12,
                   -917.935173},
    [LW_HOT_O2] = {3.78245636, -2.99673416e-3, 9.84730201e-6, -9.68129509e-9, 3.24372837e-12,
                   -1063.94356},
    [LW_HOT_N2] = {3.298677, 1.4082404e-3, -3.963222e-6, 5.641515e-9, -2.444854e-12, -1020.8999},
    [LW_HOT_AR] = {2.5, 0, 0, 0, 0, -745.375},
};

static const double molar_mass[LW_HOTS] = {
    [LW_HOT_CO2] = 44.009e-3, [LW_HOT_CO] = 28.010e-3, [LW_HOT_H2O] = 18.015e-3,
    [LW_HOT_H2] = 2.016e-3,   [LW_HOT_OH] = 17.007e-3, [LW_HOT_H] = 1.008e-3,
    [LW_HOT_O] = 15.999e-3,   [LW_HOT_O2] = 31.998e-3, [LW_HOT_N2] = 28.014e-3,
    [LW_HOT_NO] = 30.006e-3,  [LW_HOT_AR] = 39.948e-3,
};

/* ---- Polynomials ---- */

/* h/R, K. */
static double enthalpy(const double *a, double t) {
  return t * (a[0] + t * (a[1] / 2 + t * (a[2] / 3 + t * (a[3] / 4 + t * a[4] / 5)))) + a[5];
}

/* g/RT at one bar (GRI's state is one atm: the pressure's logarithm is taken off). */
static double gibbs(const double *a, double t, double log_t) {
  const double atm = 0.013163877; /* ln(101325/1e5) */
  return a[0] * (1 - log_t) - t * (a[1] / 2 + t * (a[2] / 6 + t * (a[3] / 12 + t * a[4] / 20))) +
         a[5] / t - a[6] - atm;
}

/* ---- Equilibrium ---- */

typedef struct constants {
  double co2, h2o, oh, h, o, no;
} constants;

static constants constants_at(double t) {
  double g[LW_HOTS], log_t = log(t);
  for (int i = 0; i < LW_HOT_AR; i++)
    g[i] = gibbs(hot[i], t, log_t);
  double half_o2 = 0.5 * g[LW_HOT_O2], half_h2 = 0.5 * g[LW_HOT_H2];
  return (constants){
      .co2 = exp(g[LW_HOT_CO] + half_o2 - g[LW_HOT_CO2]),
      .h2o = exp(g[LW_HOT_H2] + half_o2 - g[LW_HOT_H2O]),
      .oh = exp(half_h2 + half_o2 - g[LW_HOT_OH]),
      .h = exp(half_h2 - g[LW_HOT_H]),
      .o = exp(half_o2 - g[LW_HOT_O]),
      .no = exp(0.5 * g[LW_HOT_N2] + half_o2 - g[LW_HOT_NO]),
  };
}

/* Atoms for each carbon atom, and argon. */
typedef struct atoms {
  double h, o, n, ar;
} atoms;

static atoms atoms_of(const lw_fuel *fuel, double lambda) {
  double o2 = lambda * lw_fuel_oxygen(fuel), inert = LW_AIR_N2_TO_O2 * o2;
  return (atoms){fuel->h_c, fuel->o_c + 2 * o2, 2 * (1 - argon) * inert, argon * inert};
}

/* Pressures in bar, what oxygen and the pressures lack, and how that changes with ln s, ln M. */
typedef struct balance {
  double p[LW_HOTS];
  double oxygen, sum;
  double oxygen_s, oxygen_m, sum_s, sum_m;
} balance;

/* Root of 2 a q^2 + b q = c, in the form that stands a = 0. */
static double root(double a, double b, double c) {
  return 2 * c / (b + sqrt(b * b + 8 * a * c));
}

static void balance_at(const constants *k, const atoms *e, double pressure, double s, double m,
                       balance *out) {
  double *p = out->p;
  double bound = k->co2 * s / (1 + k->co2 * s);
  p[LW_HOT_CO2] = bound / m;
  p[LW_HOT_CO] = (1 - bound) / m;
  double ah = 1 + k->h2o * s, bh = k->oh * s + k->h, q = root(ah, bh, e->h / m);
  p[LW_HOT_H2] = q * q;
  p[LW_HOT_H2O] = k->h2o * q * q * s;
  p[LW_HOT_OH] = k->oh * q * s;
  p[LW_HOT_H] = k->h * q;
  p[LW_HOT_O] = k->o * s;
  p[LW_HOT_O2] = s * s;
  double bn = k->no * s, w = root(1, bn, e->n / m);
  p[LW_HOT_N2] = w * w;
  p[LW_HOT_NO] = bn * w;
  p[LW_HOT_AR] = e->ar / m;
  double dq = 4 * ah * q + bh, dw = 4 * w + bn;
  double lq_s = -(2 * p[LW_HOT_H2O] + p[LW_HOT_OH]) / (q * dq), lq_m = -e->h / (m * q * dq);
  double lw_s = -bn / dw, lw_m = -e->n / (m * w * dw);
  double hydrogen = 2 * (p[LW_HOT_H2] + p[LW_HOT_H2O]) + p[LW_HOT_OH] + p[LW_HOT_H];
  double with_h = 2 * p[LW_HOT_H2O] + p[LW_HOT_OH]; /* oxygen with hydrogen, d/d ln q */
  double free = p[LW_HOT_O] + 2 * p[LW_HOT_O2];
  double carbon = p[LW_HOT_CO] + 2 * p[LW_HOT_CO2];
  out->oxygen = carbon + p[LW_HOT_H2O] + p[LW_HOT_OH] + free + p[LW_HOT_NO] - e->o / m;
  out->oxygen_s = p[LW_HOT_CO2] * (1 - bound) + p[LW_HOT_H2O] + p[LW_HOT_OH] + with_h * lq_s +
                  p[LW_HOT_O] + 4 * p[LW_HOT_O2] + p[LW_HOT_NO] * (1 + lw_s);
  out->oxygen_m = -carbon + with_h * lq_m + p[LW_HOT_NO] * lw_m + e->o / m;
  out->sum = -pressure;
  for (int i = 0; i < LW_HOTS; i++)
    out->sum += p[i];
  out->sum_s = p[LW_HOT_H2O] + p[LW_HOT_OH] + hydrogen * lq_s + free + p[LW_HOT_NO] * (1 + lw_s) +
               2 * p[LW_HOT_N2] * lw_s;
  out->sum_m = -1 / m + hydrogen * lq_m + (2 * p[LW_HOT_N2] + p[LW_HOT_NO]) * lw_m - e->ar / m;
}

/* Where to begin without a solution near by: no dissociation, or a little of it. */
static void begin(const atoms *e, const constants *k, double pressure, double *s, double *m) {
  double total = 1 + 0.5 * e->h + 0.5 * e->n + e->ar;
  double over = 0.5 * (e->o - 2 - 0.5 * e->h);
  if (over > 0) total += over;
  *m = total / pressure;
  double trace = cbrt(1 / (k->co2 * k->co2 * *m)); /* s^2 and CO alike of what comes apart */
  *s = over > 0   ? sqrt(over / *m + trace * trace)
       : over < 0 ? fmin(trace, 1.5 / (k->h2o * -over))
                  : trace;
}

static bool solve(const constants *k, const atoms *e, double pressure, double *s, double *m,
                  balance *b) {
  for (int i = 0; i < 40; i++) {
    balance_at(k, e, pressure, *s, *m, b);
    double det = b->oxygen_s * b->sum_m - b->oxygen_m * b->sum_s;
    double ds = (b->oxygen_m * b->sum - b->oxygen * b->sum_m) / det;
    double dm = (b->oxygen * b->sum_s - b->oxygen_s * b->sum) / det;
    double far = fmax(fabs(ds), fabs(dm));
    if (!(far < 1e3)) return false;
    double damp = far > 1.5 ? 1.5 / far : 1;
    *s *= exp(damp * ds);
    *m *= exp(damp * dm);
    if (far < 1e-6) return true;
  }
  return false;
}

static void finish(const balance *b, double temperature, double pressure, lw_hot_gas *gas) {
  double mass = 0, heat = 0, sum = b->sum + pressure / bar;
  for (int i = 0; i < LW_HOTS; i++) {
    gas->x[i] = b->p[i] / sum;
    mass += gas->x[i] * molar_mass[i];
    heat += gas->x[i] * enthalpy(hot[i], temperature);
  }
  gas->temperature = temperature;
  gas->pressure = pressure;
  gas->molar_mass = mass;
  gas->enthalpy = gas_constant * heat / mass;
}

static bool within(double lambda, double pressure) {
  return lambda >= 0.4 && lambda <= 5 && pressure >= 1e3 && pressure <= 3e7;
}

bool lw_hot_gas_at(const lw_fuel *fuel, double lambda, double temperature, double pressure,
                   lw_hot_gas *gas) {
  if (!within(lambda, pressure) || !(temperature >= 1000 && temperature <= 4000)) return false;
  constants k = constants_at(temperature);
  atoms e = atoms_of(fuel, lambda);
  balance b = {0};
  double s = gas->root_o2, m = gas->amount * gas->pressure / pressure;
  bool warm = s > 0 && m > 0;
  if (!warm) begin(&e, &k, pressure / bar, &s, &m);
  bool found = solve(&k, &e, pressure / bar, &s, &m, &b);
  if (!found && warm) {
    begin(&e, &k, pressure / bar, &s, &m);
    found = solve(&k, &e, pressure / bar, &s, &m, &b);
  }
  if (!found) return false;
  finish(&b, temperature, pressure, gas);
  gas->root_o2 = s;
  gas->amount = m;
  return true;
}

/* ---- The flame ---- */

/* Sensible enthalpy of one kilogram of fuel vapor over 298.15 K, J. Heat capacity 0.5 + 4.0 T/1000
   kJ/(kg K), within 5 % of iso-octane's from 300 to 800 K (fit of ours). */
static double vapor(double t) {
  return 500 * (t - cold) + 2.0 * (t * t - cold * cold);
}

/* Enthalpy of gases of one kilogram with these mole fractions, below 1,000 K and above. */
static double gases(const double *x, double t) {
  double heat = 0, mass = 0;
  for (int i = 0; i < LW_HOTS; i++) {
    if (!(x[i] > 0)) continue;
    heat += x[i] * enthalpy(t < 1000 ? mild[i] : hot[i], t);
    mass += x[i] * molar_mass[i];
  }
  return gas_constant * heat / mass;
}

static double fresh(const lw_fuel *fuel, double lambda, double t) {
  double carbon = enthalpy(mild[LW_HOT_CO2], cold), water = enthalpy(mild[LW_HOT_H2O], cold);
  double molar = lw_fuel_molar_mass(fuel);
  double formed = gas_constant * (carbon + fuel->h_c / 2 * water) / molar + fuel->heating_value;
  double ratio = lambda * lw_fuel_stoichiometric(fuel);
  const double air[LW_HOTS] = {[LW_HOT_O2] = LW_AIR_O2,
                               [LW_HOT_N2] = (1 - argon) * (1 - LW_AIR_O2),
                               [LW_HOT_AR] = argon * (1 - LW_AIR_O2)};
  return (formed + vapor(t) + ratio * gases(air, t)) / (1 + ratio);
}

static double left_over(const lw_fuel *fuel, double lambda, double t) {
  lw_burn burn = {.lambda = lambda};
  lw_products p = lw_burn_products(fuel, &burn, NAN, 0);
  const double x[LW_HOTS] = {
      [LW_HOT_CO2] = p.dry.co2,  [LW_HOT_CO] = p.dry.co, [LW_HOT_H2O] = p.h2o / (1 - p.h2o),
      [LW_HOT_H2] = p.h2,        [LW_HOT_O2] = p.dry.o2, [LW_HOT_N2] = (1 - argon) * p.n2,
      [LW_HOT_AR] = argon * p.n2};
  return gases(x, t);
}

bool lw_flame(const lw_fuel *fuel, double lambda, double residual, double unburned, double pressure,
              lw_hot_gas *gas) {
  if (!within(lambda, pressure) || !(unburned >= 250 && unburned <= 1500)) return false;
  double heat = (1 - residual) * fresh(fuel, lambda, unburned);
  if (residual > 0) heat += residual * left_over(fuel, lambda, unburned);
  lw_hot_gas now = *gas;
  bool warm = gas->temperature > 0;
  double t = warm ? gas->temperature : 2250 + 0.55 * (unburned - cold), slope = 2200;
  for (int i = 0; i < 12; i++) {
    double before = now.enthalpy, from = now.temperature;
    if (!lw_hot_gas_at(fuel, lambda, t, pressure, &now)) return false;
    if (i > 0 && fabs(t - from) > 1e-3) slope = (now.enthalpy - before) / (t - from);
    double step = (heat - now.enthalpy) / slope;
    if (fabs(step) < 0.3) {
      *gas = now;
      return true;
    }
    t = fmin(fmax(t + step, 1000), 4000);
  }
  return false;
}
