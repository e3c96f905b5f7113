/* practice_json.c - an exercise as its learner may see it, and its review. Nothing here but the
** review knows the fault.
*/
#include "yard.h"

#include <math.h>

static json_t *number(double x) {
  return isfinite(x) ? json_real(x) : json_null();
}

static const char *where_text(lw_practice_state where) {
  return where == LW_PRACTICE_SEEKING ? "seeking" : where == LW_PRACTICE_FOUND ? "found" : "over";
}

static json_t *text_or_null(const char *text) {
  return text ? json_string(text) : json_null();
}

static json_t *goal_json(const lw_goal *g) {
  return json_pack("{s:f, s:f, s:f, s:f, s:o, s:o, s:b}", "speed_rad_s", g->speed,
                   "speed_within_rad_s", g->speed_within, "co_least", g->co_lo, "co_most", g->co_hi,
                   "co_limit", number(g->co_most), "hc_limit_hexane", number(g->hc_most),
                   "in_drive", g->gear == LW_LOAD_DRIVE);
}

static json_t *screws_json(const lw_practice *p) {
  lw_practice_screw screws[LW_SIGHT_SCREWS + 1];
  size_t count = lw_practice_screws(p, screws);
  json_t *list = json_array();
  for (size_t i = 0; i < count; i++) {
    bool speed = screws[i].kind == LW_SCREW_UNSAID;
    json_array_append_new(
        list,
        json_pack("{s:s, s:s, s:b, s:f, s:f, s:f}", "screw", screws[i].name, "kind",
                  speed ? "speed screw" : lw_screw_kind_text(screws[i].kind), "speed_screw", speed,
                  "turns", screws[i].turns, "least", screws[i].lo, "most", screws[i].hi));
  }
  return list;
}

static json_t *hoses_json(const lw_practice *p) {
  json_t *list = json_array();
  for (int i = 0; i < LW_HOSES; i++) {
    lw_hose_id hose = (lw_hose_id)i;
    if (!lw_practice_has_hose(p, hose)) continue;
    json_array_append_new(list, json_pack("{s:s, s:b}", "hose", lw_hose_text(hose), "plugged",
                                          (int)lw_practice_plugged(p, hose)));
  }
  return list;
}

/* The newest answer of each check that was made. */
static json_t *checks_json(const lw_practice *p) {
  size_t count = 0, acts = 0;
  const lw_next_test *checks = lw_plain_tests(&count);
  const lw_act *act = lw_practice_acts(p, &acts);
  json_t *list = json_array();
  for (size_t i = 0; i < count; i++) {
    char words[LW_ACT_WORDS];
    const lw_act *made = NULL;
    for (size_t k = 0; k < acts; k++) {
      if (act[k].kind == LW_ACT_CHECK && act[k].which == (int)i) made = &act[k];
    }
    json_array_append_new(
        list, json_pack("{s:s, s:s, s:f, s:o}", "check", checks[i].name, "how", checks[i].how,
                        "minutes", checks[i].minutes, "answer",
                        made ? json_string(lw_practice_words(p, made, words, sizeof words))
                             : json_null()));
  }
  return list;
}

static json_t *moves_json(const lw_practice *p) {
  size_t count = 0;
  const lw_act *acts = lw_practice_acts(p, &count);
  json_t *list = json_array();
  double at = 0;
  for (size_t i = 0; i < count; i++) {
    char words[LW_ACT_WORDS];
    at += acts[i].minutes;
    json_array_append_new(list,
                          json_pack("{s:s, s:s, s:f, s:f}", "move", lw_act_text(acts[i].kind),
                                    "words", lw_practice_words(p, &acts[i], words, sizeof words),
                                    "minutes", acts[i].minutes, "at_minutes", at));
  }
  return list;
}

json_t *practice_json(const stand *s) {
  const lw_practice *p = s->practice;
  const lw_card *card = lw_practice_card(p);
  lw_goal goal = lw_practice_goal(p);
  json_t *json = json_pack(
      "{s:I, s:s, s:o, s:s, s:o, s:o, s:o}", "practice", (json_int_t)s->number, "name", s->name,
      "class", s->group ? json_integer((json_int_t)s->group) : json_null(), "state",
      where_text(lw_practice_where(p)), "unit", text_or_null(card->unit), "engine",
      text_or_null(card->engine_name), "transmission",
      card->transmission ? json_string(lw_transmission_text(card->transmission)) : json_null());
  json_t *more = json_pack(
      "{s:s, s:b, s:b, s:o, s:f, s:i, s:f, s:o, s:o, s:o, s:o}", "complaint",
      lw_practice_complaint(p), "automatic", (int)lw_practice_automatic(p), "in_drive",
      (int)lw_practice_in_drive(p), "wanted", goal_json(&goal), "minutes", lw_practice_minutes(p),
      "wrong", lw_practice_wrong(p), "unsettled_s", lw_practice_unsettled(p), "screws",
      screws_json(p), "hoses", hoses_json(p), "checks", checks_json(p), "moves", moves_json(p));
  if (!json || !more || json_object_update(json, more) != 0) {
    json_decref(json);
    json = NULL;
  }
  json_decref(more);
  return json;
}

/* ---- the review ---- */

static json_t *steps_json(const lw_review_step *steps, size_t count) {
  json_t *list = json_array();
  for (size_t i = 0; i < count; i++)
    json_array_append_new(
        list, json_pack("{s:s, s:f, s:s, s:o, s:o}", "what", steps[i].what, "minutes",
                        steps[i].minutes, "words", steps[i].words ? steps[i].words : "", "before",
                        number(steps[i].before), "after", number(steps[i].after)));
  return list;
}

json_t *practice_review_json(const lw_review *r) {
  bool can = r->turns_fewest != SIZE_MAX;
  return json_pack(
      "{s:s, s:s, s:b, s:i, s:f, s:f, s:I, s:o, s:s, s:o, s:f, s:b, s:s, s:b, s:s, s:I, s:o}",
      "fault", r->fault, "remedy", r->remedy, "found", (int)r->found, "wrong", r->wrong, "minutes",
      r->minutes, "minutes_seeking", r->minutes_seeking, "moves_seeking",
      (json_int_t)r->moves_seeking, "steps", steps_json(r->steps, r->step_count), "would",
      r->would ? r->would : "", "fewest", steps_json(r->fewest, r->fewest_count), "fewest_minutes",
      r->fewest_minutes, "fewest_finds", (int)r->fewest_finds, "fewest_says",
      r->fewest_says ? r->fewest_says : "", "within", (int)r->within, "set", r->set, "turns_made",
      (json_int_t)r->turns_made, "turns_fewest",
      can ? json_integer((json_int_t)r->turns_fewest) : json_null());
}
