/* cylinder.c - one charge: exhaust left behind, whether it burns, what work and what gas it gives.
**
** Equations and sources stand beside each part; those fitted by us say so (docs/physics-engine.md
** shows what they give).
*/
#include "engine_internal.h"

#include <math.h>

#define DEGREE (LW_PI / 180)
#define RPM    (LW_PI / 30)

/* ---- exhaust that stays ---- */

/* Comes back in valve overlap, and stays in the clearance for each unit of phi. */
typedef struct left_behind {
  double back, clearance;
} left_behind;

static left_behind left_of(double speed, double inlet, double exhaust, double overlap,
                           double compression_ratio) {
  double n = fmax(speed / (2 * LW_PI), 1), per_degree = overlap * 180 / LW_PI;
  double log_ratio = log(fmax(inlet, 1) / fmax(exhaust, 1)), drop = fabs(exhaust - inlet) / LW_BAR;
  return (left_behind){1.266 * per_degree / n * exp(-0.87 * log_ratio) * sqrt(drop),
                       0.632 * exp(-0.74 * log_ratio) / compression_ratio};
}

static double share_left(const left_behind *left, double phi) {
  return lw_clamp(left->back + left->clearance * phi, 0, 0.7);
}

double lw_residual(double speed, double inlet, double exhaust, double overlap, double phi,
                   double compression_ratio) {
  left_behind left = left_of(speed, inlet, exhaust, overlap, compression_ratio);
  return share_left(&left, phi);
}

/* ---- whether it burns ---- */

/* Gas (air and exhaust) over fuel decides on the lean side: some 23 at idle is where every other
   cycle drops out (Heywood 9.4.3 has 25 to 28 for strong sparks and fast chambers), less where the
   charge is thinner than an idle's, as when coasting. How far it lies beyond that. The shares of
   thinness, spark and compression are ours; that of compression so that a cylinder at the usual
   limit, 75 % of the others, just begins to miss. */
static double beyond_lean(double limit, double lambda, double residual, double filling,
                          double spark, double compression) {
  const double stoichiometric = 14.6, idle_filling = 0.35;
  double over_fuel = (lambda * stoichiometric + 1) / fmax(1 - residual, 0.05) - 1;
  double weak = 1 - fmin(compression, 1);
  return over_fuel - limit + 5 * (1 - fmin(spark, 1)) + 25 * weak * weak +
         22 * fmax(idle_filling - filling, 0);
}

/* Rich of lambda 0.6 nothing burns (Heywood 9.4: flammability). Widths ours. */
static double misfire(double beyond, double lambda) {
  const double width = 0.55, rich = 0.58, rich_width = 0.02;
  return 1 - 1 / ((1 + exp(beyond / width)) * (1 + exp((rich - lambda) / rich_width)));
}

/* Before cycles drop out altogether some burn late and in part (Heywood 9.4.3): share of the work
   that is kept. Size and width ours, so that an idle turns fastest at a lambda of some 0.95. */
static double kept_burning(double beyond) {
  return 1 - 0.9 * exp(fmin(beyond, 0) / 1.5);
}

double lw_misfire(double lambda, double residual, double filling, double spark,
                  double compression) {
  if (!(lambda > 0) || lambda > 1e3 || !(spark > 0) || !(compression > 0)) return 1;
  return misfire(beyond_lean(LW_LEAN_LIMIT, lambda, residual, filling, spark, compression), lambda);
}

/* ---- friction ---- */

/* Heywood eq. 13.6b (Barnes-Moss, IMechE C343/73) is the motored engine at wide open throttle; what
   pumping and valve flow take of it there is 0.15 bar and rises with the square of speed (Heywood
   13.4; shares ours). Cold oil: half of it goes by the root of the oil's viscosity (Sandoval and
   Heywood, SAE 2003-01-0725, from memory), which doubles every 20 K or so: a quarter more at 60
   degC, twice at 20, held at three times. */
double lw_friction(double speed, double coolant) {
  double n = speed / (1000 * RPM);
  double motored = 0.97 + 0.15 * n + 0.05 * n * n, pumping = 0.15 + 0.02 * n * n;
  double cold = 1 + 0.5 * (exp(lw_clamp((355 - coolant) / 56, 0, 1.6)) - 1);
  return (motored - pumping) * cold * LW_BAR;
}

double lw_accessory_torque(const lw_engine *engine, double speed) {
  double n = speed / (1000 * RPM); /* half turns as a bearing does, half as a fan */
  return engine->accessory * (0.5 + 0.5 * n * n);
}

static double pumping(double speed, double manifold, double exhaust) {
  double n = speed / (1000 * RPM);
  return exhaust - manifold + 0.02e5 * n * n;
}

/* ---- spark ---- */

/* Laminar flame speed of gasoline over its best, with exhaust in the charge (Heywood eq. 9.34 and
   table 9.2 after Rhodes and Keck). Their line was measured to some 30 % and would stop every flame
   at 39 %, where engines still fire now and then: from a quarter on it runs out evenly (ours). */
static double flame(double phi, double residual) {
  const double measured = 0.25;
  double mixture = 1 - 54.9 / 30.5 * (phi - 1.21) * (phi - 1.21);
  double root = pow(lw_clamp(residual, 1e-9, measured), 0.77), dilution = 1 - 2.06 * root;
  if (residual > measured) {
    double slope = 2.06 * 0.77 * root / measured;
    dilution *= exp(-slope / dilution * (residual - measured));
  }
  return fmax(mixture, 0.1) * fmax(dilution, 0.01);
}

/* Best-torque timing: half the charge is burned 8 degrees after top center (Heywood 9.2.2); how long
   that takes rises with speed, as the flame slows and as the charge thins (exponents and size ours:
   33 degrees at 2,000 rpm and cruise, 26 wide open, about what engines of the time were timed to).
   `pace` is what all cylinders share. */
static double best_pace(double speed, double filling) {
  double n = fmax(speed / (1500 * RPM), 0.1);
  return 14 * exp(0.35 * log(n) - 0.25 * log(lw_clamp(filling, 0.1, 1.5)));
}

static double best_timing(double pace, double flame_speed) {
  return fmin(pace * exp(-0.55 * log(flame_speed)) + 6, 60) * DEGREE;
}

/* Torque falls with the square of the distance from best: 3.5 % at 10 degrees (Heywood fig. 9-3, 15.5
   has 1 % at 5, 5 % at 10 to 15); slowly burning charges stand it no better. */
static double spark_efficiency(double timing, double best) {
  double off = (timing - best) / DEGREE, loss = 0.00035 * off * off;
  return 1 / (1 + loss);
}

/* ---- work ---- */

/* Share of the released heat that does not go to the walls: less in slow turning and thin charges
   (Heywood 12.5; sizes ours). */
static double walls(double filling, double speed) {
  double slow = sqrt(1500 * RPM / fmax(speed, 100 * RPM));
  double heat = 0.11 * slow / sqrt(sqrt(fmax(filling, 0.1)));
  return 1 - lw_clamp(heat, 0.05, 0.40);
}

/* Fuel-air cycle by a gamma that is least at stoichiometric, where most is dissociated (Heywood fig.
   5-9: 0.40 at 8.5 with the heat of combustion counted in full, 0.43 at phi 0.8; the mean pressure
   peaks at phi 1.1). A part goes for the finite burn and blow-down, and a part for uneven burning: a
   flame slowed by exhaust or want of fuel burns each cycle at another time. Sizes ours: gross 85 %
   of the fuel-air cycle wide open (Heywood 5.7), half at idle. */
static double indicated(double lambda, double flame_speed, double log_ratio) {
  double gamma = 1.265 + 0.12 * fmin(fabs(lambda - 1), 0.4);
  double ideal = 1 - exp((1 - gamma) * log_ratio);
  double uneven = 1 / (1 + 0.14 * fmax(1 / flame_speed - 1.45, 0));
  return ideal * 0.94 * uneven;
}

/* Share of the fuel's heat that is released, from what is left unburned in the gas (Heywood eq.
   4.69): CO 283 kJ/mol, H2 241.8; HC counts as fuel. */
static double released(const lw_fuel *fuel, const lw_products *p) {
  double carbon = p->dry.co + p->dry.co2 + p->dry.hc;
  if (!(carbon > 0)) return 0;
  double of_carbon = fuel->heating_value * lw_fuel_molar_mass(fuel);
  double lost = (p->dry.co * 283e3 + p->h2 * 241.8e3) / of_carbon + p->dry.hc;
  return lw_clamp(1 - lost / carbon, 0, 1);
}

/* ---- gas ---- */

void lw_pool_add(lw_pool *pool, const lw_products *p, double dry) {
  pool->co += p->dry.co * dry;
  pool->co2 += p->dry.co2 * dry;
  pool->hc += p->dry.hc * dry;
  pool->o2 += p->dry.o2 * dry;
  pool->no += p->dry.no * dry;
  pool->h2 += p->h2 * dry;
  pool->n2 += p->n2 * dry;
  pool->h2o += p->h2o / (1 - p->h2o) * dry;
}

lw_products lw_pool_mixed(const lw_pool *s) {
  double dry = s->co + s->co2 + s->hc / 6 + s->o2 + s->no + s->h2 + s->n2;
  if (!(dry > 0)) return (lw_products){.dry = {0, 0, 0, LW_AIR_O2, 0}, .n2 = 1 - LW_AIR_O2};
  return (lw_products){
      .dry = {s->co / dry, s->co2 / dry, s->hc / dry, s->o2 / dry, s->no / dry},
      .h2 = s->h2 / dry,
      .n2 = s->n2 / dry,
      .h2o = s->h2o / (dry + s->h2o),
  };
}

/* NO is made of what is there: half an O2 and half an N2, and where oxygen is short, CO2 gives it. */
static void put_nitric_oxide(lw_products *p, double no) {
  p->dry.no = no;
  p->n2 -= no / 2;
  double oxygen = fmin(p->dry.o2, no / 2), from_co2 = no - 2 * oxygen;
  p->dry.o2 -= oxygen;
  p->dry.co2 -= from_co2;
  p->dry.co += from_co2;
}

/* Share of the fuel that is vapor when it burns: a cold engine wets its walls (ours). */
static double evaporated(const lw_surroundings *around) {
  double floor = fmax(around->floor, around->coolant);
  return 1 - 0.35 * lw_clamp((335 - floor) / 75, 0, 1);
}

/* Fuel that hides in crevices and comes out unburned (Heywood 11.4.3: 1 to 2.5 % at the valve; about
   half of it survives); somewhat less of it where the exhaust is hot, more with rich mixtures. Sizes
   ours, by what an infrared analyzer shows: some 270 ppm hexane at a sound idle. It sees about half
   of such carbon, so that a flame ionization detector would show more. */
static double hidden(double share, double lambda, double manifold, double ambient) {
  double rich = 1 + 4 * lw_clamp(1 - lambda, 0, 0.4);
  return share * rich * (1 - 0.25 * lw_clamp(manifold / ambient, 0, 1));
}

/* ---- all cylinders ---- */

typedef struct firing {
  const lw_engine *e;
  const lw_charge *c;
  double exhaust; /* Pa */
  double vapor, filling, need, air_water;
  left_behind left;
  double pace, log_ratio, walls;
  double best;
  lw_pool pool;
  double released, fuel;
  bool work_only; /* NO takes most of the time and gives no work */
} firing;

/* All that the cylinders share: worked out once. */
static firing firing_of(const lw_engine *e, const lw_charge *c) {
  firing f = {.e = e,
              .c = c,
              .exhaust = 1.02 * c->around.ambient,
              .vapor = evaporated(&c->around),
              .filling = c->manifold / LW_STANDARD_PRESSURE,
              .need = lw_fuel_stoichiometric(&e->fuel),
              .log_ratio = log(e->compression_ratio)};
  if (c->around.humidity > 0)
    f.air_water = lw_air_water(c->around.temperature, c->around.ambient, c->around.humidity);
  f.left = left_of(c->speed, c->manifold, f.exhaust, e->overlap, e->compression_ratio);
  f.pace = best_pace(c->speed, f.filling);
  f.walls = walls(f.filling, c->speed);
  return f;
}

static void air_alone(firing *f, lw_cylinder *c) {
  double moles = c->air / LW_AIR_MOLAR_MASS;
  c->lambda = INFINITY;
  c->misfire = 1;
  f->pool.o2 += moles * LW_AIR_O2;
  f->pool.n2 += moles * (1 - LW_AIR_O2);
  f->pool.h2o += moles * f->air_water;
}

/* The gas of the vapor; liquid fuel leaves as it came. */
static lw_products gas_of(const firing *f, const lw_cylinder *c, double lambda) {
  const lw_charge *in = f->c;
  double kept = fmin(hidden(f->e->hidden, lambda, in->manifold, in->around.ambient), 0.2);
  lw_burn how = {lambda, f->e->flutter, 1 - (1 - c->misfire) * (1 - kept)};
  return lw_burn_products(&f->e->fuel, &how, NAN, f->air_water);
}

static void add_nitric_oxide(const firing *f, const lw_cylinder *c, double lambda, double best,
                             lw_products *gas) {
  const lw_charge *in = f->c;
  if (f->work_only || c->misfire >= 1) return;
  double no = lw_nitric_oxide(&f->e->fuel, lambda, c->residual, in->manifold,
                              f->e->compression_ratio, in->speed, fmax(best - in->timing, 0));
  put_nitric_oxide(gas, (1 - c->misfire) * no / (1 - gas->h2o));
}

static void fire(firing *f, int i, lw_cylinder *c) {
  const lw_engine *e = f->e;
  const lw_cylinder_health *health = &e->health[i];
  if (!(c->fuel > 1e-6 * c->air)) {
    air_alone(f, c);
    return;
  }
  c->lambda = c->air / (c->fuel * f->need);
  double lambda = c->lambda / f->vapor, phi = fmin(1 / lambda, 2);
  c->residual = share_left(&f->left, fmin(phi, 1.3));
  double beyond = beyond_lean(e->lean_limit, lambda, c->residual, f->filling, health->spark,
                              health->compression);
  bool can = lambda < 1e3 && health->spark > 0 && health->compression > 0;
  c->misfire = can ? misfire(beyond, lambda) : 1;
  double flame_speed = flame(phi, c->residual), best = best_timing(f->pace, flame_speed);
  lw_products gas = gas_of(f, c, lambda);
  double share = f->vapor * released(&e->fuel, &gas);
  c->work = c->fuel * e->fuel.heating_value * share * indicated(lambda, flame_speed, f->log_ratio) *
            f->walls * kept_burning(beyond) * spark_efficiency(f->c->timing, best) *
            (0.4 + 0.6 * fmin(health->compression, 1));
  add_nitric_oxide(f, c, lambda, best, &gas);
  double carbon = c->fuel / lw_fuel_molar_mass(&e->fuel);
  lw_pool_add(&f->pool, &gas, f->vapor * carbon / (gas.dry.co + gas.dry.co2 + gas.dry.hc));
  f->pool.hc += (1 - f->vapor) * carbon;
  f->best += best * c->fuel;
  f->released += share * c->fuel;
  f->fuel += c->fuel;
}

static void sample(const lw_engine *e, lw_burned *out) {
  double air = lw_clamp(e->exhaust_leak, 0, 1);
  lw_pool pool = {0};
  lw_pool_add(&pool, &out->exhaust, 1 - air);
  pool.o2 += air * LW_AIR_O2;
  pool.n2 += air * (1 - LW_AIR_O2);
  out->sampled = lw_pool_mixed(&pool);
}

/* kg/s of what the law weighs, from moles a cycle. HC counts as CH1.85, NOx as NO. */
static void weigh(const firing *f, lw_burned *out) {
  double cycles = f->c->speed / (4 * LW_PI);
  out->nox_as_no = f->pool.no * 30.006e-3 * cycles;
  out->co = f->pool.co * 28.010e-3 * cycles;
  out->hc = f->pool.hc * 13.876e-3 * cycles;
}

static void add_up(const firing *f, lw_burned *out) {
  const lw_engine *e = f->e;
  double work = 0, square = 0, air = 0;
  for (int i = 0; i < e->cylinders; i++) {
    const lw_cylinder *c = &out->cylinder[i];
    work += c->work;
    square += c->work * c->work;
    air += c->air;
    out->residual += c->residual / e->cylinders;
    out->misfire += c->misfire / e->cylinders;
  }
  double mean = work / e->cylinders, n = e->cylinders;
  out->roughness = mean > 0 ? sqrt(fmax(square / n - mean * mean, 0)) / mean : 0;
  out->lambda = f->fuel > 0 ? air / (f->fuel * lw_fuel_stoichiometric(&e->fuel)) : INFINITY;
  out->best = f->fuel > 0 ? f->best / f->fuel : best_timing(f->pace, flame(1, 0.15));
  out->efficiency = f->fuel > 0 ? f->released / f->fuel : 0;
  out->imep = work / e->displacement;
}

static void burn(const lw_engine *e, const lw_charge *charge, bool work_only, lw_burned *out) {
  firing f = firing_of(e, charge);
  f.work_only = work_only;
  *out = (lw_burned){.timing = charge->timing};
  lw_share_out(e, charge, out->cylinder);
  for (int i = 0; i < e->cylinders; i++)
    fire(&f, i, &out->cylinder[i]);
  add_up(&f, out);
  out->exhaust = lw_pool_mixed(&f.pool);
  sample(e, out);
  weigh(&f, out);
  out->pmep = pumping(charge->speed, charge->manifold, f.exhaust);
  out->fmep = e->friction * lw_friction(charge->speed, charge->around.coolant);
  out->torque = (out->imep - out->pmep - out->fmep) * e->displacement / (4 * LW_PI) -
                lw_accessory_torque(e, charge->speed);
}

void lw_burn_charge(const lw_engine *engine, const lw_charge *charge, lw_burned *out) {
  burn(engine, charge, false, out);
}

void lw_burn_work(const lw_engine *engine, const lw_charge *charge, lw_burned *out) {
  burn(engine, charge, true, out);
}
