/* devices.c - what lags on this car and how: from the card where it tells, else assumed.
**
** Every assumption is listed in docs/physics-motion.md with why it is of that size.
*/
#include "motion_internal.h"

#include <math.h>

#define CM3 1e-6

static double or (double x, double otherwise) {
  return x > 0 ? x : otherwise;
}

static double middle_or(lw_range range, double otherwise) {
  return lw_range_known(range) ? lw_range_middle(range) : otherwise;
}

/* ---- bowl ---- */

static void bowl(lw_devices *d, const lw_card *card) {
  const lw_carburetor_card *c = &card->carburetor;
  int units = c->units > 1 ? c->units : 1, barrels = c->barrels > 1 ? c->barrels : 1;
  d->bowl_area = units * or (c->bowl_volume / LW_BOWL_DEPTH, 1.5e-3 + 0.5e-3 * barrels);
  d->needle_seat = sqrt(units) * or (c->needle_seat, 2.3e-3);
  d->needle_travel = 3e-3;
  d->supply_pressure = 30e3;
}

/* ---- pump ---- */

static void pump(lw_devices *d, const lw_card *card, double displacement) {
  const lw_carburetor_card *c = &card->carburetor;
  double lasts = or (c->pump_duration, 0.8);
  double rho = card->fuel.density > 0 ? card->fuel.density : 745;
  bool has = lw_range_known(c->pump_stroke) || lw_known(c->pump_volume);
  d->pump_volume = has ? or (c->pump_volume, 0.35 * CM3 * displacement * 1e3) : 0;
  d->pump_to = 0.6;
  d->pump_spring = 60e3;
  d->pump_yield = 25e3;
  d->pump_nozzle = d->pump_volume * rho / lasts / sqrt(2 * rho * d->pump_yield);
  d->pump_inlet = 8 * d->pump_nozzle;
}

/* ---- dashpot ---- */

/* Share of the pedal's travel at which a barrel's lever stands `gap` off its stop, the lever being
   some 28 mm long (ours). */
static double share_of_gap(const lw_net *net, double gap) {
  const double arm = 28e-3;
  const lw_barrel *b = &net->barrels[0];
  return gap / arm / (b->wide - b->closed - b->stop);
}

static void dashpot(lw_devices *d, const lw_net *net, const lw_card *card) {
  const lw_carburetor_card *c = &card->carburetor;
  d->dashpot_time = or (c->dashpot_time, 2.5);
  d->dashpot_touch = 0;
  if (c->dashpot != LW_YES) return;
  d->dashpot_touch = share_of_gap(net, middle_or(c->dashpot_gap, 2e-3));
}

/* ---- choke ---- */

/* The plate's edge stands `gap` off the wall: a plate of radius r, turned so far, leaves gap/r of
   its bore open (1 - cos, both ways), beside the clearance around it. */
static double share_of_choke(const lw_carburetor_card *c, double gap) {
  double bores = or (c->primary.bore, 0.04) * sqrt(c->primary.count > 1 ? c->primary.count : 1);
  double radius = 0.5 * 1.18 * bores; /* as wide as the network has it: 1.4 times the bores' area */
  return lw_clamp(gap / radius + LW_CHOKE_CLEARANCE, 0, 1);
}

/* The fast-idle cam holds the throttle where the warm engine turns as the card says, on a middle
   step; a cold start sits on the highest, some third higher (common practice). */
static lw_status cam(lw_devices *d, const lw_engine *engine, const lw_net *net, const lw_card *card,
                     const lw_surroundings *around, lw_error *error) {
  double speed = middle_or(card->carburetor.choke.fast_idle, 1600 * LW_PI / 30);
  const double highest = 1.35;
  lw_surroundings warm = *around;
  warm.coolant = 355;
  warm.temperature = lw_breathed(around->temperature, 355, 0);
  lw_state state = {0};
  lw_running run;
  lw_status status = lw_engine_hold(engine, net, &warm, speed, 0, &state, &run, error);
  d->cam = status == LW_OK ? highest * fmax(run.setting.throttle, 0) : 0;
  return status;
}

static void choke(lw_devices *d, const lw_card *card) {
  const lw_choke_card *c = &card->carburetor.choke;
  static const double heat[] = {300, 300, 300, 250, 190}; /* s, by kind */
  d->choke = c->kind != 1 && (c->kind > 1 || lw_range_known(c->vacuum_kick));
  d->choke_index = fmin(294, or (c->opens_at, 344) - 20);
  d->choke_open = or (c->opens_at, 344);
  d->choke_spring = 900;
  d->choke_heat = or (c->heating_time, heat[c->kind >= 0 && c->kind <= 4 ? c->kind : 0]);
  d->choke_cool = 1200;
  d->choke_well = fmax(372, d->choke_open + 28);
  d->kick_vacuum = 25e3;
  d->kick_lag = 0.4;
  if (lw_range_known(c->vacuum_kick))
    d->kick = share_of_choke(&card->carburetor, lw_range_middle(c->vacuum_kick));
  if (lw_range_known(c->unloader))
    d->unloader = share_of_choke(&card->carburetor, lw_range_middle(c->unloader));
}

/* ---- all ---- */

lw_status lw_devices_usual(const lw_engine *engine, const lw_net *net, const lw_card *card,
                           const lw_surroundings *around, lw_devices *out, lw_error *error) {
  lw_devices d = {
      .power_lag = 0.06,
      .valve_lag = or (card->carburetor.air_valve_time, 0.25),
      .diaphragm_lag = 0.4,
      .hose_lag = 0.12,
      .release_lag = 0.45,
      .heat_capacity = 23e3 * engine->displacement * 1e3,
      .film = 1,
  };
  bowl(&d, card);
  pump(&d, card, engine->displacement);
  dashpot(&d, net, card);
  choke(&d, card);
  if (d.choke || card->carburetor.choke.kind == 1) {
    lw_status status = cam(&d, engine, net, card, around, error);
    if (status != LW_OK) return status;
  }
  double drag =
      (engine->friction * lw_friction(20, 355) + 0.3e5) * engine->displacement / (4 * LW_PI);
  d.starter_speed = 40;
  d.starter_torque = 2.2 * drag;
  *out = d;
  return LW_OK;
}
