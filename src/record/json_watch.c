/* json_watch.c - a run of `leanward watch` as JSON (docs/watch.md). */
#include "leanward/bench_json.h"

static json_t *number(double x) {
  return lw_known(x) && x > -1e300 && x < 1e300 ? json_real(x) : json_null();
}

static json_t *figures(const lw_maneuver *m) {
  return json_pack(
      "{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, "
      "s:o, s:o, s:b}",
      "lean_dip", number(m->lean_dip), "lean_time_s", number(m->lean_time), "leanest",
      number(m->leanest), "richest", number(m->richest), "vacuum_before_pa",
      number(m->vacuum_before), "vacuum_least_pa", number(m->vacuum_least), "vacuum_most_pa",
      number(m->vacuum_most), "speed_most_rad_s", number(m->speed_most), "speed_end_rad_s",
      number(m->speed_end), "fall_time_s", number(m->fall_time), "distributor_fall_s",
      number(m->distributor_fall), "hc_most", number(m->hc_most), "hc_mass_kg", number(m->hc_mass),
      "misfire_most", number(m->misfire_most), "pump_mass_kg", number(m->pump_mass), "pump_time_s",
      number(m->pump_time), "started_s", number(m->started), "choke_opened_s",
      number(m->choke_opened), "stalled", (int)m->stalled);
}

static json_t *trace(const lw_maneuver *m) {
  json_t *list = json_array();
  for (size_t i = 0; i < m->count; i++) {
    const lw_trace_point *p = &m->points[i];
    json_array_append_new(
        list,
        json_pack("{s:f, s:f, s:f, s:f, s:f, s:o, s:f, s:f, s:f, s:f, s:f, s:f, s:f}", "time_s",
                  p->time, "speed_rad_s", p->speed, "vacuum_pa", p->vacuum, "distributor_vacuum_pa",
                  p->distributor_vacuum, "throttle", p->throttle, "lambda",
                  number(p->lambda_cylinders), "co", p->co, "co2", p->co2, "o2", p->o2, "hc_hexane",
                  p->hc, "no", p->no, "timing_rad", p->timing, "pumped_kg_s", p->pumped));
  }
  return list;
}

json_t *lw_watch_json(const lw_twin *twin, lw_watch_kind run, const lw_maneuver *m) {
  json_t *events = json_array();
  for (size_t i = 0; i < m->event_count; i++) {
    char text[120];
    json_array_append_new(events, json_pack("{s:f, s:s}", "time_s", m->events[i].time, "words",
                                            lw_event_text(&m->events[i], text, sizeof text)));
  }
  return json_pack("{s:o, s:s, s:f, s:o, s:o, s:o}", "twin", lw_twin_json(twin), "run",
                   lw_watch_names()[run], "moved_s", lw_known(m->moved) ? m->moved : 0.0, "figures",
                   figures(m), "events", events, "trace", trace(m));
}
