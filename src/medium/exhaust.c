/* exhaust.c - one reading of exhaust gas, worked through: checked, balanced or inferred, and put
** into numbers. The words are in exhaust_notes.c.
**
** Uncertainty of everything that is not lambda itself is propagated by evaluating it once with each
** gas moved by its standard uncertainty (GUM 5.1.3, note 2).
*/
#include "exhaust_internal.h"

#include <math.h>

enum { GASES = 5 };

/* Dry gases with HC in carbon atoms, and what follows from them. */
typedef struct derived {
  double h2, water, closure, efficiency, co_corrected, spread;
} derived;

static double *gas_at(lw_gases *g, int i) {
  double *const all[GASES] = {&g->co, &g->co2, &g->hc, &g->o2, &g->no};
  return all[i];
}

/* ---- checks ---- */

static lw_status refuse(lw_error *error, const char *field, const char *text) {
  lw_error_place(error, NULL, 0, field);
  return lw_fail(error, LW_BAD_INPUT, "%s", text);
}

static lw_status check(const lw_sample *s, lw_error *error) {
  static const char *const names[GASES] = {"CO", "CO2", "HC", "O2", "NO"};
  lw_gases x = s->x;
  for (int i = 0; i < GASES; i++) {
    double v = *gas_at(&x, i);
    if (v < 0)
      return refuse(error, names[i], "a gas cannot be less than nothing; zero the analyzer");
    if (v > 1 || isinf(v))
      return refuse(error, names[i], "more than 100 % was given; check the unit");
  }
  if (x.o2 > 0.21) return refuse(error, "O2", "over 21 %, more than air holds; check it");
  if (x.co + x.co2 > 0.25) {
    return refuse(error, "CO and CO2", "together over 25 %; no fuel gives that: check both");
  }
  if (x.co > 0.25 || x.co2 > 0.25) {
    return refuse(error, x.co > 0.25 ? "CO" : "CO2", "over 25 %; no fuel gives that: check it");
  }
  return LW_OK;
}

/* ---- numbers ---- */

double lw_combustion_efficiency(const lw_fuel *fuel, const lw_gases *dry, double h2) {
  /* molar heating values of CO and H2: Heywood 1988, section 4.9.4 (10.1 and 120 MJ/kg) */
  const double heat_co = 283.0e3, heat_h2 = 241.8e3;
  double heat_fuel = fuel->heating_value * lw_fuel_molar_mass(fuel);
  double carbon = dry->co + dry->co2 + dry->hc;
  double left = dry->co * heat_co + h2 * heat_h2 + dry->hc * heat_fuel;
  return fmax(1 - left / (carbon * heat_fuel), 0);
}

/* H2 of the dry or wet gas from the water-gas ratio, and water for each mole of the same gas. */
static double hydrogen(const lw_sample *s, const lw_gases *g, double lambda, double *water) {
  double k = lw_known(s->water_gas) ? s->water_gas : 3.5;
  double burned = g->co + g->co2;
  double breathed = lambda * lw_fuel_oxygen(&s->fuel) * (burned + g->hc);
  double brought = (lw_known(s->air_water) ? s->air_water : 0) / LW_AIR_O2 * breathed;
  double all = s->fuel.h_c / 2 * burned + brought;
  *water = all * k * g->co2 / (k * g->co2 + g->co);
  return all - *water;
}

double lw_spread_of(const lw_fuel *fuel, const lw_gases *dry, double h2, double lambda) {
  double need = lw_fuel_oxygen(fuel), carbon = dry->co + dry->co2 + dry->hc;
  double unburned = dry->hc / carbon, scale = need * (1 - unburned);
  double over = (dry->o2 / carbon - unburned * lambda * need) / scale;
  double lack = (dry->co + h2) / 2 / carbon / scale;
  double tail = fmin(over, lack);
  if (!(tail > 1e-6)) return 0;
  double d = fabs(over - lack), lo = 1e-4, hi = 2;
  for (int i = 0; i < 40; i++) {
    double s = sqrt(lo * hi), t = d / s;
    double small =
        s * (0.39894228040143268 * exp(-0.5 * t * t) - t * 0.5 * erfc(t * 0.70710678118654752));
    *(small < tail ? &lo : &hi) = s;
  }
  return sqrt(lo * hi);
}

/* CO * 15 / (CO + CO2) where that sum is under 15 %: UNECE R83 annex 5, Directive 98/69/EC (from
   memory). It is meant for gasoline: a gas fuel never reaches 15 %. */
static double corrected(const lw_fuel *fuel, const lw_gases *dry) {
  double sum = dry->co + dry->co2;
  bool gasoline_like = fuel->h_c < 2.3 || fuel->o_c > 0;
  return gasoline_like && sum > 0 && sum < 0.15 ? dry->co * 0.15 / sum : dry->co;
}

static derived derive(const lw_sample *s) {
  lw_gases g = s->x;
  g.hc = lw_sample_carbon(s);
  g.no = lw_known(g.no) ? g.no : 0;
  double lambda = lw_lambda_balance(s);
  derived d = {0};
  double water = 0, h2 = hydrogen(s, &g, lambda, &water);
  double n2 =
      LW_AIR_N2_TO_O2 * lambda * lw_fuel_oxygen(&s->fuel) * (g.co + g.co2 + g.hc) - g.no / 2;
  double sum = g.co + g.co2 + g.o2 + g.no + g.hc / 6 + h2 + n2;
  d.closure = sum + (s->wet ? water : 0) - 1;
  d.water = s->wet ? water : water / (1 + water);
  double to_dry = s->wet ? 1 / (1 - water) : 1;
  for (int i = 0; i < GASES; i++)
    *gas_at(&g, i) *= to_dry;
  d.h2 = h2 * to_dry;
  d.efficiency = lw_combustion_efficiency(&s->fuel, &g, d.h2);
  d.co_corrected = corrected(&s->fuel, &g);
  d.spread = lw_spread_of(&s->fuel, &g, d.h2, lambda);
  return d;
}

/* ---- with all four gases ---- */

static void measure_full(const lw_sample *s, lw_exhaust *out) {
  derived at = derive(s);
  double v_closure = 0, v_efficiency = 0, v_co = 0, v_spread = 0;
  for (int i = 0; i < GASES; i++) {
    lw_sample moved = *s;
    lw_gases u = s->u;
    double step = *gas_at(&u, i), *x = gas_at(&moved.x, i);
    if (!lw_known(step) || !lw_known(*x) || step <= 0) continue;
    *x += step;
    derived d = derive(&moved);
    v_closure += (d.closure - at.closure) * (d.closure - at.closure);
    v_efficiency += (d.efficiency - at.efficiency) * (d.efficiency - at.efficiency);
    v_co += (d.co_corrected - at.co_corrected) * (d.co_corrected - at.co_corrected);
    v_spread += (d.spread - at.spread) * (d.spread - at.spread);
  }
  out->source = LW_LAMBDA_BALANCE;
  out->lambda = lw_lambda_measure(s);
  out->lambda_lo = out->lambda.x - LW_COVERAGE * out->lambda.u;
  out->lambda_hi = out->lambda.x + LW_COVERAGE * out->lambda.u;
  out->u_all = out->lambda.u;
  out->h2 = at.h2;
  out->water = at.water;
  out->closure = (lw_measure){at.closure, sqrt(v_closure)};
  out->efficiency = (lw_measure){at.efficiency, sqrt(v_efficiency)};
  out->co_corrected = (lw_measure){at.co_corrected, sqrt(v_co)};
  out->spread = (lw_measure){at.spread, sqrt(v_spread)};
}

/* ---- with fewer ---- */

/* What lambda's u would be with every gas read at what is believed now. */
static double u_if_all(const lw_sample *s, const lw_inferred *in) {
  lw_sample full = *s;
  full.wet = false;
  full.hc_basis = LW_HC_C1;
  double atoms = s->hc_basis == LW_HC_PROPANE ? 3 : s->hc_basis == LW_HC_C1 ? 1 : 6;
  full.x = in->filled;
  full.u.hc *= atoms;
  return lw_lambda_measure(&full).u;
}

static void measure_fewer(const lw_sample *s, lw_exhaust *out) {
  lw_inferred in = lw_infer(s);
  out->source = LW_LAMBDA_INFERRED;
  out->lambda = in.lambda;
  out->lambda_lo = in.lo;
  out->lambda_hi = in.hi;
  out->lean_open = !lw_known(s->x.co2) && !lw_known(s->x.o2) && in.hi > 1.05;
  out->u_all = u_if_all(s, &in);
  out->filled = in.filled;
  out->filled_u = in.filled_u;
  out->filled.hc /= 6;
  out->filled_u.hc /= 6;
  out->h2 = in.h2;
  out->water = in.water;
  out->efficiency = in.efficiency;
  if (lw_known(s->x.co)) out->co_corrected = (lw_measure){s->x.co, s->u.co};
}

/* ---- what both share ---- */

static void clear(lw_exhaust *out) {
  const lw_measure none = {NAN, NAN};
  const lw_gases no_gases = {NAN, NAN, NAN, NAN, NAN};
  *out = (lw_exhaust){
      .lambda = none,
      .lambda_lo = NAN,
      .lambda_hi = NAN,
      .u_all = NAN,
      .lambda_simple = none,
      .afr = none,
      .efficiency = none,
      .filled = no_gases,
      .filled_u = no_gases,
      .h2 = NAN,
      .water = NAN,
      .closure = none,
      .co_corrected = none,
      .dilution = NAN,
      .air_share = NAN,
      .lambda_inside = NAN,
      .spread = none,
      .misfire = none,
  };
}

/* Where a gas was read, that reading (dry, HC as hexane) replaces what was inferred. */
static void keep_read(const lw_sample *s, lw_exhaust *out) {
  double dry = s->wet && lw_known(out->water) ? 1 / (1 - out->water) : 1;
  lw_gases x = s->x, u = s->u;
  double to_hexane = lw_known(x.hc) && x.hc > 0 ? lw_sample_hexane(s) / x.hc : 1;
  x.hc *= to_hexane;
  u.hc *= to_hexane;
  for (int i = 0; i < GASES; i++) {
    bool read = lw_known(*gas_at(&x, i));
    *gas_at(&out->missing, i) = read || i == GASES - 1 ? 0 : 1;
    if (!read) continue;
    *gas_at(&out->filled, i) = *gas_at(&x, i) * dry;
    *gas_at(&out->filled_u, i) = *gas_at(&u, i) * dry;
  }
}

/* Undiluted, the share of CO in CO + CO2 tells the mixture inside the engine (spread 0.02: even
   cylinders); the sum it should have had tells how much air came in behind it. */
static void measure_dilution(const lw_sample *s, lw_exhaust *out) {
  if (!lw_known(s->x.co) || !lw_known(s->x.co2) || !(s->x.co2 > 0)) return;
  double share = s->x.co / (s->x.co + s->x.co2), lo = 0.5, hi = 1.02;
  lw_burn burn = {.spread = 0.02};
  if (lw_known(s->x.hc)) {
    burn.unburned = lw_sample_carbon(s) / (s->x.co + s->x.co2 + lw_sample_carbon(s));
  }
  lw_products p = {0};
  for (int i = 0; i < 30; i++) {
    burn.lambda = 0.5 * (lo + hi);
    p = lw_burn_products(&s->fuel, &burn, s->water_gas, s->air_water);
    double got = p.dry.co / (p.dry.co + p.dry.co2);
    *(got > share ? &lo : &hi) = burn.lambda;
  }
  double wet = s->wet ? 1 - p.h2o : 1;
  double dilution = (p.dry.co + p.dry.co2) * wet / (s->x.co + s->x.co2);
  out->dilution = fmin(fmax(dilution, 1), 3);
  double by_sum = 1 - 1 / fmax(dilution, 1);
  double by_o2 = lw_known(s->x.o2) ? s->x.o2 / 0.2095 : 1;
  out->air_share = fmin(by_sum, by_o2);
  out->lambda_inside = burn.lambda;
  /* 40 CFR 85.2213 and Part 51 Subpart S App. B void a test under 6 % */
  out->void_sample = s->x.co + s->x.co2 < 0.06;
}

/* Charge that did not burn at all. Base: 1.5 % of the fuel leaves warm idling engines unburned
   anyway, and richer than lambda 0.95 a tenth of the lack on top. Of misfired fuel between half and
   all reaches the probe (the rest burns in the manifold). All from memory. */
static void measure_misfire(const lw_sample *s, lw_exhaust *out) {
  double carbon = s->x.co + s->x.co2 + lw_sample_carbon(s);
  if (!lw_known(carbon) || !(carbon > 0)) return;
  double lambda = lw_known(out->lambda.x) ? out->lambda.x : 1;
  double base = 0.015 + 0.1 * fmax(0.95 - lambda, 0);
  double extra = fmax(lw_sample_carbon(s) / carbon - base, 0);
  out->misfire = (lw_measure){fmin(extra / 0.75, 1), 0.15 * extra / 0.75};
}

lw_status lw_exhaust_work(const lw_sample *sample, lw_exhaust *out, lw_error *error) {
  lw_status status = check(sample, error);
  if (status != LW_OK) return status;
  clear(out);
  const lw_gases *x = &sample->x;
  bool air_only = x->o2 > 0.19 && !(x->co + x->co2 > 0.02);
  if (lw_known(x->co + x->co2 + x->hc + x->o2) && x->co + x->co2 > 0.001 && !air_only) {
    measure_full(sample, out);
  } else if ((lw_known(x->co) || lw_known(x->co2) || lw_known(x->o2)) && !air_only) {
    measure_fewer(sample, out);
  }
  keep_read(sample, out);
  if (out->source == LW_LAMBDA_BALANCE) {
    const lw_gases *f = &out->filled;
    out->lambda_simple = (lw_measure){lw_lambda_simple(f->co, f->co2, f->hc, f->o2), out->lambda.u};
  }
  out->co_is_corrected =
      lw_known(out->co_corrected.x) && out->co_corrected.x > out->filled.co * (1 + 1e-9);
  double stoichiometric = lw_fuel_stoichiometric(&sample->fuel);
  out->afr = (lw_measure){out->lambda.x * stoichiometric, out->lambda.u * stoichiometric};
  if (out->source != LW_LAMBDA_NONE) {
    measure_dilution(sample, out);
    measure_misfire(sample, out);
  }
  lw_exhaust_notes(sample, out);
  return LW_OK;
}
