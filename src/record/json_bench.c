/* json_bench.c - what the bench finds, as JSON. */
#include "leanward/bench_json.h"

#include <string.h>

#include <math.h>

static json_t *number(double x) {
  return isfinite(x) ? json_real(x) : json_null();
}

/* ---- maps ---- */

json_t *lw_twin_json(const lw_twin *twin) {
  const lw_net *net = twin->net;
  return json_pack("{s:s, s:s, s:s, s:f, s:f, s:f}", "unit", twin->card->unit, "family",
                   net->family, "fuel", net->fuel.name, "ambient_pa", twin->ambient,
                   "temperature_k", twin->temperature, "idle_stop_rad", net->barrels[0].stop);
}

json_t *lw_map_point_json(const lw_map_point *p) {
  json_t *shares = json_object();
  for (int c = 0; c < LW_CIRCUITS; c++) {
    if (c == LW_CIRCUIT_AIR) continue;
    double share = p->fuel > 1e-9 ? p->by_circuit[c] / p->fuel : LW_NONE;
    json_object_set_new(shares, lw_circuit_text((lw_circuit)c), number(share));
  }
  return json_pack("{s:o, s:o, s:b, s:s, s:o, s:o, s:o, s:o, s:o, s:o}", "throttle",
                   number(p->throttle), "speed_rad_s", number(p->speed), "converged",
                   p->report.converged, "worst_balance", p->report.converged ? "" : p->report.where,
                   "afr", number(p->afr), "lambda", number(p->lambda), "air_kg_s", number(p->air),
                   "fuel_kg_s", number(p->fuel), "manifold_pa", number(p->manifold), "fuel_shares",
                   shares);
}

json_t *lw_map_points_json(const lw_map *map) {
  json_t *points = json_array();
  for (size_t i = 0; i < map->throttles * map->speeds; i++)
    json_array_append_new(points, lw_map_point_json(&map->points[i]));
  return points;
}

json_t *lw_map_json(const lw_twin *twin, const lw_map *map) {
  return json_pack("{s:o, s:I, s:o}", "twin", lw_twin_json(twin), "not_converged",
                   (json_int_t)map->failed, "points", lw_map_points_json(map));
}

/* ---- idle ---- */

/* The share of HC in the dry gas, counted as hexane. */
static double hexane(const lw_products *p) {
  return p->dry.hc / 6;
}

static json_t *idle_point_json(const lw_idle_point *p) {
  const lw_products *gas = &p->run.burned.sampled;
  json_t *turns = lw_known(p->turns) ? json_real(p->turns) : json_null();
  if (!p->solved) return json_pack("{s:o, s:b, s:s}", "turns", turns, "solved", 0, "why", p->why);
  return json_pack("{s:o, s:b, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f}",
                   "turns", turns, "solved", 1, "speed_rad_s", p->run.setting.speed, "vacuum_pa",
                   p->run.vacuum, "co", gas->dry.co, "co2", gas->dry.co2, "o2", gas->dry.o2,
                   "hc_hexane", hexane(gas), "no", gas->dry.no, "lambda", p->run.burned.lambda,
                   "misfire", p->run.burned.misfire, "air_kg_s", p->run.point.air, "fuel_kg_s",
                   p->run.point.fuel, "timing_rad", p->run.burned.timing);
}

json_t *lw_idle_table_json(const lw_test_car *car, const lw_idle_table *t) {
  json_t *curves = json_array();
  for (size_t k = 0; k < t->curve_count; k++) {
    const lw_idle_curve *c = &t->curves[k];
    json_t *points = json_array();
    for (size_t i = 0; i < c->count; i++)
      json_array_append_new(points, idle_point_json(&c->points[i]));
    json_array_append_new(
        curves,
        json_pack("{s:s, s:o, s:o, s:o}", "screw", c->screw, "stands_at",
                  lw_known(c->now) ? json_real(c->now) : json_null(), "fastest",
                  c->fastest < c->count ? json_integer((json_int_t)c->fastest) : json_null(),
                  "points", points));
  }
  return json_pack("{s:o, s:b, s:s, s:s, s:o, s:o}", "twin", lw_twin_json(car->twin), "trimmed",
                   (int)car->trimmed, "held", t->hold == LW_HOLD_SPEED ? "speed" : "speed screw",
                   "gear", t->gear == LW_LOAD_DRIVE ? "drive" : "neutral", "as_it_stands",
                   idle_point_json(&t->now), "curves", curves);
}

/* ---- a change beside the original ---- */

/* Null where nothing was compared. */
static json_t *of_effect(const lw_effect *e, double x) {
  return e->points ? json_real(x) : json_null();
}

static json_t *effects_json(const lw_comparison *c) {
  json_t *effects = json_array();
  for (int i = 0; i < LW_PLACES; i++) {
    const lw_effect *e = &c->effects[i];
    if (!e->words) continue;
    json_array_append_new(
        effects, json_pack("{s:s, s:I, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:s}", "place",
                           lw_place_text(e->place), "points", (json_int_t)e->points, "no_fuel",
                           (json_int_t)e->dry, "mean_change", of_effect(e, e->mean), "worst_change",
                           of_effect(e, e->worst), "speed_rad_s", of_effect(e, e->speed),
                           "throttle", of_effect(e, e->throttle), "afr", of_effect(e, e->afr),
                           "changed_afr", of_effect(e, e->afr_changed), "words", e->words));
  }
  return effects;
}

json_t *lw_trial_json(const char *const *edits, size_t count, const lw_twin *twin,
                      const lw_twin *changed, const lw_comparison *c) {
  json_t *said = json_array();
  for (size_t i = 0; i < count; i++)
    json_array_append_new(said, json_stringn_nocheck(edits[i], strlen(edits[i])));
  return json_pack("{s:o, s:o, s:o, s:s, s:o, s:o, s:o}", "edits", said, "original_twin",
                   lw_twin_json(twin), "changed_twin", lw_twin_json(changed), "summary", c->summary,
                   "effects", effects_json(c), "original", lw_map_points_json(c->original),
                   "changed", lw_map_points_json(c->changed));
}

/* ---- the guide ---- */

static json_t *moves_json(const lw_guidance *g) {
  json_t *moves = json_array();
  for (size_t i = 0; i < g->move_count; i++) {
    const lw_screw_move *m = &g->moves[i];
    json_array_append_new(moves, json_pack("{s:s, s:f, s:o, s:o, s:b, s:s}", "screw", m->screw,
                                           "turns_counter_clockwise", m->turns, "from",
                                           number(m->from), "to", number(m->to), "and_back",
                                           (int)m->back, "words", m->words));
  }
  return moves;
}

static json_t *suspects_json(const lw_diagnosis *d) {
  json_t *causes = json_array();
  for (size_t i = 0; d && i < d->cause_count; i++)
    json_array_append_new(causes, json_pack("{s:s, s:f}", "cause", d->causes[i].name, "probability",
                                            d->causes[i].probability));
  return causes;
}

static json_t *goal_json(const lw_goal *goal) {
  return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "speed_rad_s", number(goal->speed),
                   "speed_within_rad_s", number(goal->speed_within), "co", number(goal->co),
                   "co_least", number(goal->co_lo), "co_most", number(goal->co_hi), "co_limit",
                   number(goal->co_most), "hc_limit_hexane", number(goal->hc_most));
}

json_t *lw_guidance_json(const lw_job *job, const lw_goal *goal, size_t readings,
                         const lw_guidance *g, const lw_diagnosis *causes) {
  static const char *const states[] = {[LW_GUIDE_MOVE] = "move",
                                       [LW_GUIDE_SET] = "set",
                                       [LW_GUIDE_CANNOT] = "cannot",
                                       [LW_GUIDE_WAIT] = "wait"};
  json_t *expect =
      g->state == LW_GUIDE_MOVE
          ? json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", "speed_rad_s", number(g->speed), "co",
                      number(g->co), "co_u", number(g->co_u), "hc_hexane", number(g->hc), "hc_u",
                      number(g->hc_u), "vacuum_pa", number(g->vacuum))
          : json_null();
  return json_pack("{s:s, s:s, s:s, s:o, s:I, s:o, s:o, s:o}", "job", job->id ? job->id : "",
                   "state", states[g->state], "words", g->words ? g->words : "", "wanted",
                   goal_json(goal), "readings", (json_int_t)readings, "moves", moves_json(g),
                   "expect", expect, "causes", suspects_json(causes));
}
