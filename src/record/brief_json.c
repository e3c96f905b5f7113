/* brief_json.c - lw_brief_json: a brief for other programs. docs/brief.md describes it. */
#include "json.h"

#include "leanward/brief_page.h"

#include <math.h>
#include <string.h>

static json_t *text(const char *s) {
  return s ? lw_json_text(s, strlen(s)) : json_null();
}

static json_t *number(double x) {
  return lw_known(x) && fabs(x) < 1e300 ? json_real(x) : json_null();
}

static json_t *whole(int x) {
  return x ? json_integer(x) : json_null();
}

/* ---- differences ---- */

static json_t *figure_json(const lw_brief_figure *f) {
  return json_pack("{s:o, s:o}", "text", text(f->text), "line", whole(f->line));
}

static json_t *alone_json(const lw_brief_alone *a) {
  if (!a->run) return json_null();
  json_t *places = json_object();
  for (int i = 0; i < LW_PLACES; i++)
    json_object_set_new(places, lw_place_text((lw_place)i), number(a->places[i]));
  return json_pack("{s:b, s:o, s:o, s:o, s:o}", "stalls", (int)a->stalls, "idle_speed_rad_s",
                   number(a->speed), "idle_co_fraction", number(a->co), "idle_lambda_change",
                   number(a->idle), "lambda_change_by_place", places);
}

static json_t *item_json(const lw_brief_item *i) {
  return json_pack("{s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:b, s:b, s:b, s:o}", "group",
                   lw_brief_group_text(i->group), "what", text(i->what), "before",
                   figure_json(&i->before), "after", figure_json(&i->after), "do", text(i->act),
                   "why", text(i->why), "twin", text(i->size), "method", (int)i->method,
                   "keeps_from_interchanging", (int)i->interchange, "common", (int)i->common,
                   "alone", alone_json(&i->alone));
}

/* ---- the twin ---- */

static json_t *window_json(lw_brief_window w) {
  return lw_known(w.lo) ? json_pack("[f, f]", w.lo, w.hi) : json_null();
}

static json_t *span_json(double lo, double hi) {
  return lw_known(lo) ? json_pack("[f, f]", lo, hi) : json_null();
}

static json_t *point_json(const lw_idle_point *p) {
  if (!p->solved) return json_null();
  return json_pack("{s:f, s:f, s:f, s:f, s:f}", "speed_rad_s", p->run.setting.speed, "vacuum_pa",
                   p->run.vacuum, "co_fraction", p->run.burned.sampled.dry.co, "hc_hexane_fraction",
                   p->run.burned.sampled.dry.hc / 6, "lambda", p->run.burned.lambda);
}

static json_t *curve_json(const lw_idle_curve *c) {
  json_t *points = json_array();
  for (size_t i = 0; c && i < c->count; i++) {
    json_t *p = point_json(&c->points[i]);
    if (json_is_object(p)) json_object_set_new(p, "turns", json_real(c->points[i].turns));
    json_array_append_new(points, p);
  }
  return points;
}

static json_t *reach_json(const lw_brief_reach *r, bool curves) {
  if (!r->run) return json_pack("{s:b, s:o}", "run", 0, "why", text(r->why));
  json_t *out = json_pack("{s:b, s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:b, s:o, s:o, s:o}", "run", 1,
                          "trimmed", (int)r->trimmed, "speed_screw_left_alone",
                          point_json(&r->left), "speed_set", point_json(&r->set), "turns",
                          number(r->turns), "travel_turns", span_json(r->turns_lo, r->turns_hi),
                          "co_fraction_span", span_json(r->co_lo, r->co_hi), "speed_rad_s_span",
                          span_json(r->speed_lo, r->speed_hi), "dies", (int)r->dies,
                          "co_fraction_per_turn", number(r->co_per_turn), "target_met_turns",
                          window_json(r->target), "limits_met_turns", window_json(r->limits));
  if (!out || !curves) return out;
  json_object_set_new(out, "curve_speed_kept", curve_json(r->kept));
  json_object_set_new(out, "curve_speed_screw_left_alone", curve_json(r->free));
  return out;
}

static json_t *swap_json(const lw_brief_swap *s) {
  static const char *const answers[] = {"not known", "fits", "fits after its screws are turned",
                                        "does not fit"};
  if (!s || !s->unit) return json_null(); /* a unit that was carried over is not run */
  return json_pack("{s:o, s:o, s:s, s:o, s:o}", "unit", text(s->unit->unit), "on_engine_of",
                   text(s->engine->unit), "answer", answers[s->answer], "words", text(s->words),
                   "reach", reach_json(&s->reach, false));
}

static json_t *snap_json(const lw_brief_snap *s) {
  if (!s->run) return json_null();
  return json_pack("{s:b, s:o, s:o, s:o, s:o, s:o}", "stalled", (int)s->stalled, "fall_time_s",
                   number(s->fall_time), "distributor_fall_s", number(s->distributor_fall),
                   "hc_most_hexane_fraction", number(s->hc_most), "leanest_lambda",
                   number(s->leanest), "richest_lambda", number(s->richest));
}

static json_t *road_json(const lw_comparison *c) {
  if (!c) return json_null();
  json_t *places = json_array();
  for (int i = 0; i < LW_PLACES; i++) {
    const lw_effect *e = &c->effects[i];
    if (!e->words) continue;
    json_array_append_new(
        places, json_pack("{s:s, s:o, s:o, s:o, s:o, s:o}", "place", lw_place_text(e->place),
                          "mean_change", number(e->points ? e->mean : LW_NONE), "worst_change",
                          number(e->points ? e->worst : LW_NONE), "afr_before",
                          number(e->points ? e->afr : LW_NONE), "afr_after",
                          number(e->points ? e->afr_changed : LW_NONE), "words", text(e->words)));
  }
  return places;
}

/* Rows by speed, columns by throttle. */
static json_t *grid_json(const lw_map *m) {
  if (!m) return json_null();
  json_t *throttle = json_array(), *speed = json_array(), *afr = json_array();
  for (size_t k = 0; k < m->throttles; k++)
    json_array_append_new(throttle, json_real(m->throttle[k]));
  for (size_t i = 0; i < m->speeds; i++) {
    json_t *line = json_array();
    json_array_append_new(speed, json_real(m->speed[i]));
    for (size_t k = 0; k < m->throttles; k++)
      json_array_append_new(line, number(m->points[i * m->throttles + k].afr));
    json_array_append_new(afr, line);
  }
  return json_pack("{s:o, s:o, s:o}", "throttle", throttle, "speed_rad_s", speed, "afr", afr);
}

/* ---- two units ---- */

static json_t *texts_json(const char *const *list, size_t count) {
  json_t *out = json_array();
  for (size_t i = 0; i < count; i++)
    json_array_append_new(out, text(list[i]));
  return out;
}

static json_t *card_json(const lw_card *c) {
  return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", "unit", text(c->unit), "file", text(c->file),
                   "year", whole(c->year), "engine", text(c->engine_name), "transmission",
                   text(c->transmission ? lw_transmission_text(c->transmission) : NULL),
                   "emission_package", text(c->emissions));
}

static json_t *pair_json(const lw_brief *b) {
  json_t *items = json_array();
  for (size_t i = 0; i < b->item_count; i++)
    json_array_append_new(items, item_json(&b->items[i]));
  return json_pack(
      "{s:o, s:o, s:o, s:b, s:o, s:o, s:o, s:[o, o], s:[o, o], s:[o, o], s:o, s:[o, o], s:o}",
      "title", text(b->title), "before", card_json(b->before.card), "after",
      card_json(b->after.card), "interchanges", (int)b->interchanges, "verdict", text(b->verdict),
      "evidence", texts_json(b->evidence, b->evidence_count), "differences", items, "reach",
      reach_json(&b->reach[0], true), reach_json(&b->reach[1], true), "wrong_unit",
      swap_json(&b->swap[0]), swap_json(&b->swap[1]), "snap_shut", snap_json(&b->snap[0]),
      snap_json(&b->snap[1]), "road", road_json(b->road), "map", grid_json(b->grid[0]),
      grid_json(b->grid[1]), "not_said", texts_json(b->gaps, b->gap_count));
}

/* ---- a model year ---- */

static json_t *shared_json(const lw_brief_year *y, const lw_brief_shared *list, size_t count) {
  json_t *out = json_array();
  for (size_t i = 0; i < count; i++) {
    json_t *units = json_array();
    for (size_t k = 0; k < list[i].count; k++)
      json_array_append_new(units, text(y->units[list[i].units[k]]->after.card->unit));
    json_array_append_new(out, json_pack("{s:s, s:o, s:o, s:o, s:o, s:o}", "group",
                                         lw_brief_group_text(list[i].item->group), "what",
                                         text(list[i].item->what), "before",
                                         text(list[i].item->before.text), "after",
                                         text(list[i].item->after.text), "do",
                                         text(list[i].item->act), "units", units));
  }
  return out;
}

static json_t *cards_json(const lw_card *const *card, size_t count) {
  json_t *out = json_array();
  for (size_t i = 0; i < count; i++)
    json_array_append_new(out, card_json(card[i]));
  return out;
}

static json_t *year_json(const lw_brief_year *y) {
  json_t *units = json_array();
  for (size_t k = 0; k < y->unit_count; k++) {
    json_t *unit = pair_json(y->units[k]);
    if (unit) json_object_set_new(unit, "other_transmission", swap_json(y->siblings[k]));
    json_array_append_new(units, unit);
  }
  return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "before", whole(y->before), "after",
                   whole(y->after), "dropped", cards_json(y->dropped, y->dropped_count), "added",
                   cards_json(y->added, y->added_count), "common",
                   shared_json(y, y->common, y->common_count), "units", units, "procedures",
                   shared_json(y, y->procedures, y->procedure_count));
}

json_t *lw_brief_json(const lw_brief_document *document) {
  return document->pair ? pair_json(document->pair) : year_json(document->year);
}
