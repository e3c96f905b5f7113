/* analyzer.c - gas on its way from the port to the display.
**
** The pipe is passed by volume, the hose by time; both without mixing (what mixing there is counts
** as response). At the cells the gas is constant by pieces, so that a first-order response is an
** exponential and exact for any length of step:
**
**   y(t) = u + (y0 - u) exp(-t/T),   T = rise or fall, by the sign of u - y0
**
** HC that hangs up follows the gas with a slower exponential a(t) of the same kind, and the cell
** sees (1 - h) u + h a(t): two exponentials, again closed. Its cell has one time constant: the
** difference of rising and falling is the hang-up's.
*/
#include "gauge_internal.h"

#include "leanward/gauge.h"

#include <math.h>

enum { CO, CO2, HC, O2, NO };

/* ---- Kinds ---------------------------------------------------------------------------------- */

/* Time constants: infrared benches that answer 95 % in some 11 to 14 s with their hose (the French
   order of 22 Nov. 1996 and the Swiss ordinance ask for 15 s, and 60 s for oxygen's cell); oxygen
   by an electrochemical cell. Which way is faster is common practice; the sizes are ours. */
lw_meter_kind lw_meter_usual(lw_class accuracy) {
  lw_meter_kind k = {
      .pipe = 0.025,
      .pump = 8e-5, /* 5 L a minute */
      .hose = 3,
      .rise = {3.6, 3.2, 2.2, 6, 4},
      .fall = {2.4, 2.8, 2.2, 9, 5},
      .hang = 0.04,
      .hang_load = 15,
      .hang_clear = 45,
      .refresh = 0.5,
      .most = {0.10, 0.20, 0.01, 0.25, 0.005},
      .seed = 1,
  };
  for (int i = 0; i < LW_METER_GASES; i++) {
    lw_gas_name gas = (lw_gas_name)(LW_GAS_CO + i);
    double error = lw_permissible(accuracy, gas, 0);
    k.step[i] = lw_display_step(accuracy, gas);
    k.noise[i] = error / 8; /* the rules ask repeatability within a third of the error */
    k.zero[i] = error / 6;
    k.span[i] = 0.005;
  }
  return k;
}

lw_meter_kind lw_meter_ideal(void) {
  lw_meter_kind k = {.hang_load = 1, .hang_clear = 1};
  for (int i = 0; i < LW_METER_GASES; i++)
    k.most[i] = 1;
  return k;
}

/* ---- Gas on its way ------------------------------------------------------------------------- */

static const double fresh_air[LW_METER_GASES] = {0, 0, 0, LW_AIR_O2, 0};

void lw_meter_start(lw_meter *m, const lw_meter_kind *kind) {
  *m = (lw_meter){.kind = *kind};
  for (int i = 0; i < LW_METER_GASES; i++)
    m->at_cells[i] = m->cell[i] = fresh_air[i];
}

static lw_meter_piece *piece_at(lw_meter *m, int i) {
  return &m->piece[(m->first + i) % LW_METER_PIECES];
}

static bool alike(const double *a, const double *b) {
  for (int i = 0; i < LW_METER_GASES; i++) {
    if (a[i] != b[i]) return false;
  }
  return true;
}

/* Make room: of the pieces in the pipe the two oldest become one; without two of them, the same in
   the hose. */
static void merge(lw_meter *m) {
  int at = m->count - m->exited >= 3 ? m->exited : 0;
  lw_meter_piece *a = piece_at(m, at), *b = piece_at(m, at + 1), *c = piece_at(m, at + 2);
  double whole = c->entered - a->entered, share = whole > 0 ? (b->entered - a->entered) / whole : 0;
  for (int i = 0; i < LW_METER_GASES; i++)
    a->gas[i] = share * a->gas[i] + (1 - share) * b->gas[i];
  for (int i = at + 1; i + 1 < m->count; i++)
    *piece_at(m, i) = *piece_at(m, i + 1);
  m->count--;
  if (at < m->exited) m->exited--;
}

static void enter(lw_meter *m, const double *gas) {
  const double *last = m->count ? piece_at(m, m->count - 1)->gas : m->at_cells;
  if (alike(last, gas)) return;
  if (m->count == LW_METER_PIECES) merge(m);
  lw_meter_piece *p = piece_at(m, m->count++);
  p->entered = m->passed;
  p->arrives = INFINITY;
  for (int i = 0; i < LW_METER_GASES; i++)
    p->gas[i] = gas[i];
}

/* Pieces whose front reaches the probe in this step. */
static void leave_pipe(lw_meter *m, double dt, double flow) {
  double after = m->passed + flow * dt;
  for (; m->exited < m->count; m->exited++) {
    lw_meter_piece *p = piece_at(m, m->exited);
    double way = p->entered + m->kind.pipe - m->passed;
    if (way > after - m->passed) break;
    p->arrives = m->time + (way > 0 ? way / flow : 0) + m->kind.hose;
  }
}

/* ---- Response ------------------------------------------------------------------------------- */

static double decay(double dt, double lag) {
  return lag > 0 ? exp(-dt / lag) : 0;
}

/* The cell that sees u + b exp(-t/slow). Equal time constants are told apart by a millionth. */
static double follow(double y, double u, double b, double slow, double lag, double dt) {
  double fast = decay(dt, lag);
  if (b == 0 || !(slow > 0)) return u + (y - u) * fast;
  double apart = slow - lag;
  if (fabs(apart) < 1e-6 * slow) apart = 1e-6 * slow;
  double c = b * slow / apart;
  return u + c * decay(dt, slow) + (y - u - c) * fast;
}

static void respond(lw_meter *m, double dt) {
  const lw_meter_kind *k = &m->kind;
  for (int i = 0; i < LW_METER_GASES; i++) {
    double u = m->at_cells[i], y = m->cell[i];
    if (i == HC) {
      double slow = u > m->hung ? k->hang_load : k->hang_clear;
      m->cell[i] = follow(y, u, k->hang * (m->hung - u), slow, k->rise[i], dt);
      m->hung = u + (m->hung - u) * decay(dt, slow);
    } else {
      m->cell[i] = follow(y, u, 0, 0, u > y ? k->rise[i] : k->fall[i], dt);
    }
  }
}

/* Up to a time, piece by piece. */
static void respond_until(lw_meter *m, double end) {
  double now = m->time;
  while (m->count > 0 && piece_at(m, 0)->arrives <= end) {
    const lw_meter_piece *p = piece_at(m, 0);
    double at = fmax(p->arrives, now);
    respond(m, at - now);
    now = at;
    for (int i = 0; i < LW_METER_GASES; i++)
      m->at_cells[i] = p->gas[i];
    m->first = (m->first + 1) % LW_METER_PIECES;
    m->count--;
    m->exited--;
  }
  respond(m, end - now);
  m->time = end;
}

void lw_meter_step(lw_meter *m, double dt, const lw_products *exhaust, double flow) {
  if (!(dt > 0)) return;
  const lw_gases *dry = &exhaust->dry;
  double gas[LW_METER_GASES] = {dry->co, dry->co2, dry->hc / 6, dry->o2, dry->no};
  double outside = 0; /* the probe draws more than the pipe gives: the rest is air */
  if (!(flow > m->kind.pump)) {
    outside = m->kind.pump > 0 ? 1 - fmax(flow, 0) / m->kind.pump : 0;
    flow = fmax(m->kind.pump, 1e-9);
  }
  for (int i = 0; i < LW_METER_GASES; i++)
    gas[i] += outside * (fresh_air[i] - gas[i]);
  enter(m, gas);
  leave_pipe(m, dt, flow);
  m->passed += flow * dt;
  respond_until(m, m->time + dt);
}

double lw_exhaust_flow(double air, double fuel) {
  const double temperature = 450, gas_r = 8.314462618 / 28.6e-3; /* behind muffler and tail pipe */
  return (air + fuel) * gas_r * temperature / LW_STANDARD_PRESSURE;
}

/* ---- Display -------------------------------------------------------------------------------- */

/* SplitMix64 (Steele, Lea and Flood, 2014): 53 even bits. */
static double even(uint64_t *state) {
  *state += 0x9E3779B97F4A7C15u;
  uint64_t z = *state;
  z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
  z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
  return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

static uint64_t place(uint64_t seed, uint64_t a, uint64_t b) {
  return seed * 0x9E3779B97F4A7C15u + a * 0xD1B54A32D192ED03u + b * 0x8CB92BA72F3D8DD7u;
}

double lw_lot_even(uint64_t seed, uint64_t a, uint64_t b) {
  uint64_t state = place(seed, a, b);
  return even(&state);
}

/* Twelve even ones summed (Irwin and Hall): no farther out than 6. */
double lw_lot(uint64_t seed, uint64_t a, uint64_t b) {
  uint64_t state = place(seed, a, b);
  double sum = 0;
  for (int i = 0; i < 12; i++)
    sum += even(&state);
  return sum - 6;
}

lw_gases lw_meter_true(const lw_meter *m) {
  return (lw_gases){m->cell[CO], m->cell[CO2], m->cell[HC], m->cell[O2], m->cell[NO]};
}

static double displayed(const lw_meter *m, int i) {
  const lw_meter_kind *k = &m->kind;
  double hours = m->time / 3600;
  /* the cell is read at each refresh; an old reading stands until the next */
  uint64_t tick = k->refresh > 0 ? (uint64_t)floor(m->time / k->refresh + 1e-9) : 0;
  double x = m->cell[i] * (1 + k->span[i] * hours * lw_lot(k->seed, 1, (uint64_t)i)) +
             k->zero[i] * hours * lw_lot(k->seed, 2, (uint64_t)i) +
             k->noise[i] * lw_lot(k->seed, 16 + (uint64_t)i, tick);
  x = fmin(fmax(x, 0), k->most[i]);
  return k->step[i] > 0 ? k->step[i] * round(x / k->step[i]) : x;
}

lw_gases lw_meter_read(const lw_meter *m) {
  return (lw_gases){displayed(m, CO), displayed(m, CO2), displayed(m, HC), displayed(m, O2),
                    displayed(m, NO)};
}

/* ---- Settling ------------------------------------------------------------------------------- */

double lw_meter_settling(const lw_meter_kind *k, lw_gas_name gas, bool rising) {
  int i = (int)gas - LW_GAS_CO;
  if (i < 0 || i >= LW_METER_GASES) return NAN;
  if (i != HC) return k->hose + (rising ? k->rise[i] : k->fall[i]) * log(20);
  double slow = rising ? k->hang_load : k->hang_clear, lo = 0, hi = 1000 + 20 * slow;
  for (int n = 0; n < 100; n++) { /* what is left of a step of 1 falls steadily */
    double t = 0.5 * (lo + hi), left = follow(1, 0, k->hang, slow, k->rise[HC], t);
    *(left > 0.05 ? &lo : &hi) = t;
  }
  return k->hose + hi;
}
