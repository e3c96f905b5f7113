/* infer.c - lambda when fewer than four gases were read.
**
** The forward model (burn.c) has three unknowns: lambda, spread, unburned share. Their posterior is
** summed over a grid: a coarse one over all lambda, then a fine one where the weight lies. What was
** read enters with its uncertainty and a small model error; what was not read is averaged over.
**
** Priors (ours; they are wide on purpose and printed in docs/physics.md, "Fewer gases"):
**   lambda    normal 1.0, 0.15: a running engine lies between about 0.7 and 1.3
**   spread    lognormal, median 0.05, factor 1.8: cylinders fed by one carburetor
**   unburned  lognormal, median 1.2 % (about 250 ppm hexane), factor 2.2, when HC was not read
** Model error: 0.05 % CO, 0.2 % CO2, 0.1 % O2, all by volume.
*/
#include "exhaust_internal.h"

#include <math.h>

enum { COARSE = 61, FINE = 81, SPREADS = 9, SHARES = 7 };

static const double normal_nodes[SPREADS] = {-2.4, -1.8, -1.2, -0.6, 0, 0.6, 1.2, 1.8, 2.4};
static const double share_nodes[SHARES] = {-2.4, -1.6, -0.8, 0, 0.8, 1.6, 2.4};

typedef struct model {
  const lw_sample *sample;
  double shares[SHARES], share_weight[SHARES];
  int share_count;
  double spreads[SPREADS], spread_weight[SPREADS];
} model;

/* Running sums of a weighted sample. */
typedef struct sums {
  double w, x, xx;
} sums;

enum { S_LAMBDA, S_CO, S_CO2, S_HC, S_O2, S_H2, S_WATER, S_EFFICIENCY, S_ALL };

typedef struct posterior {
  double lambda[FINE], weight[FINE];
  sums of[S_ALL];
} posterior;

static void add(sums *s, double w, double x) {
  s->w += w;
  s->x += w * x;
  s->xx += w * x * x;
}

static lw_measure measure(const sums *s) {
  double mean = s->x / s->w;
  return (lw_measure){mean, sqrt(fmax(s->xx / s->w - mean * mean, 0))};
}

static model model_of(const lw_sample *sample) {
  model m = {.sample = sample, .share_count = SHARES};
  for (int i = 0; i < SPREADS; i++) {
    m.spreads[i] = 0.05 * pow(1.8, normal_nodes[i]);
    m.spread_weight[i] = exp(-0.5 * normal_nodes[i] * normal_nodes[i]);
  }
  for (int i = 0; i < SHARES; i++) {
    m.shares[i] = 0.012 * pow(2.2, share_nodes[i]);
    m.share_weight[i] = exp(-0.5 * share_nodes[i] * share_nodes[i]);
  }
  if (lw_known(sample->x.hc)) m.share_count = 1; /* its share follows from lambda: see products */
  return m;
}

/* Products at a grid point. With HC read, the unburned share is the one that shows as that HC. */
static lw_products products(const model *m, double lambda, double spread, double share) {
  lw_burn burn = {lambda, spread, share};
  const lw_sample *s = m->sample;
  if (lw_known(s->x.hc)) {
    burn.unburned = 0.012;
    lw_products first = lw_burn_products(&s->fuel, &burn, s->water_gas, s->air_water);
    double per_share = first.dry.hc / burn.unburned * (s->wet ? 1 - first.h2o : 1);
    burn.unburned = fmin(lw_sample_carbon(s) / per_share, 0.95);
  }
  return lw_burn_products(&s->fuel, &burn, s->water_gas, s->air_water);
}

static double misfit(double read, double u, double model_error, double predicted) {
  if (!lw_known(read)) return 0;
  double variance = (lw_known(u) ? u * u : 0) + model_error * model_error;
  return (predicted - read) * (predicted - read) / variance;
}

static double log_weight(const model *m, double lambda, const lw_products *p) {
  const lw_sample *s = m->sample;
  double wet = s->wet ? 1 - p->h2o : 1;
  double chi2 = misfit(s->x.co, s->u.co, 0.0005, p->dry.co * wet) +
                misfit(s->x.co2, s->u.co2, 0.002, p->dry.co2 * wet) +
                misfit(s->x.o2, s->u.o2, 0.001, p->dry.o2 * wet);
  double prior = (lambda - 1) / 0.15;
  return -0.5 * (chi2 + prior * prior);
}

/* The best log weight at one lambda, for finding where to look closely. */
static double best_at(const model *m, double lambda) {
  double best = -INFINITY;
  for (int i = 0; i < SPREADS; i++) {
    for (int j = 0; j < m->share_count; j++) {
      lw_products p = products(m, lambda, m->spreads[i], m->shares[j]);
      double w = log_weight(m, lambda, &p) + log(m->spread_weight[i]);
      if (m->share_count > 1) w += log(m->share_weight[j]);
      if (w > best) best = w;
    }
  }
  return best;
}

/* The stretch of lambda that carries all but exp(-20) of the best weight, and that best weight. */
static double find_stretch(const model *m, double *lo, double *hi) {
  const double from = 0.45, to = 1.75, step = (to - from) / (COARSE - 1);
  double at[COARSE], best = -INFINITY;
  for (int i = 0; i < COARSE; i++) {
    at[i] = best_at(m, from + step * i);
    if (at[i] > best) best = at[i];
  }
  int first = 0, last = COARSE - 1;
  while (first < last && at[first] < best - 20)
    first++;
  while (last > first && at[last] < best - 20)
    last--;
  *lo = from + step * (first - 1);
  *hi = from + step * (last + 1);
  return best;
}

static void add_products(posterior *post, double w, double lambda, const lw_fuel *fuel,
                         const lw_products *p) {
  const double values[S_ALL] = {
      lambda,    p->dry.co, p->dry.co2, p->dry.hc,
      p->dry.o2, p->h2,     p->h2o,     lw_combustion_efficiency(fuel, &p->dry, p->h2),
  };
  for (int i = 0; i < S_ALL; i++)
    add(&post->of[i], w, values[i]);
}

static posterior sum_stretch(const model *m, double lo, double hi, double best) {
  posterior post = {0};
  for (int k = 0; k < FINE; k++) {
    double lambda = lo + (hi - lo) * k / (FINE - 1);
    post.lambda[k] = lambda;
    for (int i = 0; i < SPREADS; i++) {
      for (int j = 0; j < m->share_count; j++) {
        lw_products p = products(m, lambda, m->spreads[i], m->shares[j]);
        double w = exp(log_weight(m, lambda, &p) - best) * m->spread_weight[i];
        if (m->share_count > 1) w *= m->share_weight[j];
        post.weight[k] += w;
        add_products(&post, w, lambda, &m->sample->fuel, &p);
      }
    }
  }
  return post;
}

static double quantile(const posterior *post, double share) {
  double total = 0, below = 0;
  for (int k = 0; k < FINE; k++)
    total += post->weight[k];
  for (int k = 0; k < FINE; k++) {
    double next = below + post->weight[k] / total;
    if (next >= share) {
      double step = post->lambda[1] - post->lambda[0];
      double part = (share - below) / (next - below);
      return post->lambda[k] + step * (part - 0.5);
    }
    below = next;
  }
  return post->lambda[FINE - 1];
}

lw_inferred lw_infer(const lw_sample *sample) {
  model m = model_of(sample);
  double lo = 0, hi = 0;
  double best = find_stretch(&m, &lo, &hi);
  posterior post = sum_stretch(&m, lo, hi, best);
  lw_measure of[S_ALL];
  for (int i = 0; i < S_ALL; i++)
    of[i] = measure(&post.of[i]);
  return (lw_inferred){
      .lambda = of[S_LAMBDA],
      .lo = quantile(&post, 0.025),
      .hi = quantile(&post, 0.975),
      .filled = {of[S_CO].x, of[S_CO2].x, of[S_HC].x, of[S_O2].x, NAN},
      .filled_u = {of[S_CO].u, of[S_CO2].u, of[S_HC].u, of[S_O2].u, NAN},
      .h2 = of[S_H2].x,
      .water = of[S_WATER].x,
      .efficiency = of[S_EFFICIENCY],
  };
}
