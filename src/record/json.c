/* json.c - worked jobs and gas analyses as JSON: the one writer for it (docs/json.md).
**
** A `build` collects members; whatever fails in it makes the whole answer NULL. jansson releases a
** value that cannot be put into a NULL object, so nothing leaks on the way.
*/
#include "json.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- building ---- */

typedef struct build {
  json_t *object;
  bool failed;
} build;

static build build_new(void) {
  build b = {json_object(), false};
  b.failed = !b.object;
  return b;
}

static json_t *build_end(build *b) {
  if (!b->failed) return b->object;
  json_decref(b->object);
  return NULL;
}

/* value is taken over; NULL is a failure to make it. */
static void put(build *b, const char *key, json_t *value) {
  b->failed |= json_object_set_new(b->object, key, value) != 0;
}

json_t *lw_json_text(const char *text, size_t length) {
  if (lw_text_utf8(text, length, NULL)) return json_stringn(text, length);
  char *copy = malloc(length + 1);
  if (!copy) return NULL;
  memcpy(copy, text, length);
  size_t bad = 0, done = 0;
  while (!lw_text_utf8(copy + done, length - done, &bad)) {
    done += bad;
    copy[done++] = '?';
  }
  json_t *json = json_stringn(copy, length);
  free(copy);
  return json;
}

static json_t *text(const char *words) {
  return words ? lw_json_text(words, strlen(words)) : json_null();
}

/* JSON has no NaN and no infinity. */
static json_t *number(double x) {
  return isfinite(x) ? json_real(x) : json_null();
}

static json_t *whole(size_t n) {
  return n == SIZE_MAX ? json_null() : json_integer((json_int_t)n);
}

/* 0 is "not given" in cards and jobs. */
static json_t *whole_given(int n) {
  return n ? json_integer(n) : json_null();
}

static json_t *measure(lw_measure m) {
  build b = build_new();
  put(&b, "value", number(m.x));
  put(&b, "u", number(m.u));
  return build_end(&b);
}

static json_t *range(lw_range r) {
  build b = build_new();
  put(&b, "lo", number(r.lo));
  put(&b, "at", number(r.at));
  put(&b, "hi", number(r.hi));
  return build_end(&b);
}

static json_t *texts(const char *const *list, size_t count) {
  json_t *array = json_array();
  bool failed = !array;
  for (size_t i = 0; i < count && !failed; i++) {
    failed = json_array_append_new(array, text(list[i])) != 0;
  }
  if (!failed) return array;
  json_decref(array);
  return NULL;
}

/* One JSON value for each element of a C array. */
typedef json_t *(*lw_json_of)(const void *element);

static json_t *list(const void *elements, size_t count, size_t size, lw_json_of one) {
  json_t *array = json_array();
  bool failed = !array;
  for (size_t i = 0; i < count && !failed; i++) {
    failed = json_array_append_new(array, one((const char *)elements + i * size)) != 0;
  }
  if (!failed) return array;
  json_decref(array);
  return NULL;
}

/* ---- words: 0 is "not said" and becomes null ---- */

#define WORD(words, i) word_at((words), sizeof(words) / sizeof(words)[0], (size_t)(i))

static json_t *word_at(const char *const *words, size_t count, size_t i) {
  return i < count && words[i] ? json_string(words[i]) : json_null();
}

static json_t *answer_word(lw_answer answer) {
  return answer == LW_UNSAID ? json_null() : json_boolean(answer == LW_YES);
}

static json_t *said(bool given, const char *words) {
  return given ? text(words) : json_null();
}

static json_t *hc_word(lw_hc_basis basis) {
  static const char *const words[] = {NULL, "hexane", "propane", "C1"};
  return WORD(words, basis);
}

static json_t *verdict_word(lw_verdict verdict) {
  static const char *const words[] = {NULL, "within", "outside", "too_close_to_call"};
  return WORD(words, verdict);
}

static json_t *fit_word(lw_fit fit) {
  static const char *const words[] = {"unknown", "fit", "not_fit"};
  return WORD(words, fit);
}

static json_t *gas_or_lambda(lw_gas_name gas) {
  return text(gas == LW_GAS_UNSAID ? "lambda" : lw_gas_text(gas));
}

const char *lw_note_word(lw_note_code code) {
  static const char *const words[] = {
      [LW_NOTE_FEWER_GASES] = "fewer_gases",
      [LW_NOTE_LEAN_OPEN] = "lean_open",
      [LW_NOTE_VOID] = "void",
      [LW_NOTE_DILUTED] = "diluted",
      [LW_NOTE_LEAN_OR_LEAK] = "lean_or_leak",
      [LW_NOTE_CLOSURE] = "closure",
      [LW_NOTE_WET] = "wet",
      [LW_NOTE_MISFIRE] = "misfire",
      [LW_NOTE_CO_CORRECTED] = "co_corrected",
      [LW_NOTE_RICH_HC] = "rich_hc",
      [LW_NOTE_AIR_ONLY] = "air_only",
  };
  size_t i = (size_t)code;
  return i < sizeof words / sizeof words[0] && words[i] ? words[i] : "other";
}

/* ---- gas ---- */

static json_t *gases(const lw_gases *g) {
  build b = build_new();
  put(&b, "co_fraction", number(g->co));
  put(&b, "co2_fraction", number(g->co2));
  put(&b, "hc_fraction", number(g->hc));
  put(&b, "o2_fraction", number(g->o2));
  put(&b, "no_fraction", number(g->no));
  return build_end(&b);
}

static json_t *fuel(const lw_fuel *f) {
  build b = build_new();
  put(&b, "name", text(f->name));
  put(&b, "hydrogen_to_carbon", number(f->h_c));
  put(&b, "oxygen_to_carbon", number(f->o_c));
  put(&b, "heating_value_j_per_kg", number(f->heating_value));
  put(&b, "density_kg_per_m3", number(f->density));
  put(&b, "stoichiometric_afr", number(lw_fuel_stoichiometric(f)));
  return build_end(&b);
}

static json_t *sample(const lw_sample *s) {
  build b = build_new();
  put(&b, "read", gases(&s->x));
  put(&b, "read_u", gases(&s->u));
  put(&b, "hc_as", hc_word(s->hc_basis));
  put(&b, "propane_factor", number(s->pef));
  put(&b, "wet", json_boolean(s->wet));
  put(&b, "fuel", fuel(&s->fuel));
  put(&b, "water_gas_ratio", number(s->water_gas));
  put(&b, "air_water_ratio", number(s->air_water));
  return build_end(&b);
}

static json_t *note(const void *element) {
  static const char *const weights[] = {"remark", "doubt", "alarm"};
  const lw_note *n = element;
  build b = build_new();
  put(&b, "code", text(lw_note_word(n->code)));
  put(&b, "weight", WORD(weights, n->weight));
  put(&b, "text", text(n->text));
  return build_end(&b);
}

static json_t *inferred(const lw_gases *missing) {
  const double flags[] = {missing->co, missing->co2, missing->hc, missing->o2, missing->no};
  const char *names[5];
  size_t count = 0;
  for (int i = 0; i < 5; i++) {
    if (flags[i] > 0.5) names[count++] = lw_gas_text((lw_gas_name)(LW_GAS_CO + i));
  }
  return texts(names, count);
}

static json_t *exhaust_json(const lw_exhaust *e) {
  static const char *const sources[] = {"none", "balance", "inferred"};
  build b = build_new();
  put(&b, "lambda_from", WORD(sources, e->source));
  put(&b, "lambda", measure(e->lambda));
  put(&b, "lambda_lo", number(e->lambda_lo));
  put(&b, "lambda_hi", number(e->lambda_hi));
  put(&b, "lambda_lean_open", json_boolean(e->lean_open));
  put(&b, "lambda_u_with_all_gases", number(e->u_all));
  put(&b, "lambda_simple", measure(e->lambda_simple));
  put(&b, "afr", measure(e->afr));
  put(&b, "efficiency_fraction", measure(e->efficiency));
  put(&b, "composition", gases(&e->filled));
  put(&b, "composition_u", gases(&e->filled_u));
  put(&b, "inferred", inferred(&e->missing));
  put(&b, "h2_fraction", number(e->h2));
  put(&b, "water_fraction", number(e->water));
  put(&b, "closure_fraction", measure(e->closure));
  put(&b, "co_corrected_fraction", measure(e->co_corrected));
  put(&b, "co_is_corrected", json_boolean(e->co_is_corrected));
  put(&b, "dilution", number(e->dilution));
  put(&b, "air_share_fraction", number(e->air_share));
  put(&b, "lambda_inside", number(e->lambda_inside));
  put(&b, "lambda_spread", measure(e->spread));
  put(&b, "misfire_fraction", measure(e->misfire));
  put(&b, "void", json_boolean(e->void_sample));
  put(&b, "notes", list(e->notes, e->note_count, sizeof e->notes[0], note));
  return build_end(&b);
}

json_t *lw_exhaust_json(const lw_sample *given, const lw_exhaust *exhaust) {
  json_t *object = exhaust_json(exhaust);
  if (object && json_object_set_new(object, "sample", sample(given)) == 0) return object;
  json_decref(object);
  return NULL;
}

/* ---- the job as it was taken in ---- */

static json_t *done(const void *element) {
  const lw_done *d = element;
  build b = build_new();
  put(&b, "what", text(d->what));
  put(&b, "screw", text(d->screw));
  put(&b, "turns_counterclockwise", number(d->turns));
  return build_end(&b);
}

static json_t *job(const lw_job *j) {
  build b = build_new();
  put(&b, "file", text(j->file));
  put(&b, "id", text(j->id));
  put(&b, "date", text(j->date));
  put(&b, "technician", text(j->technician));
  put(&b, "shop", text(j->shop));
  put(&b, "customer", text(j->customer));
  put(&b, "complaint", text(j->complaint));
  put(&b, "card_file", text(j->card));
  put(&b, "fitted_card_file", text(j->fitted_card));
  put(&b, "fitted_unit", text(j->fitted_unit));
  put(&b, "done", list(j->done.items, j->done.count, sizeof(lw_done), done));
  put(&b, "notes", texts(j->notes.text, j->notes.count));
  return build_end(&b);
}

static json_t *car(const lw_car *c) {
  build b = build_new();
  put(&b, "description", text(c->description));
  put(&b, "plate", text(c->plate));
  put(&b, "odometer", text(c->odometer));
  put(&b, "engine", text(c->engine));
  put(&b, "emissions", text(c->emissions));
  put(&b, "model_year", whole_given(c->year));
  put(&b, "cylinders", whole_given(c->cylinders));
  put(&b, "displacement_m3", number(c->displacement));
  put(&b, "transmission", said(c->transmission, lw_transmission_text(c->transmission)));
  return build_end(&b);
}

static json_t *weather(const lw_weather *w) {
  build b = build_new();
  put(&b, "temperature_k", number(w->temperature));
  put(&b, "pressure_pa", number(w->pressure));
  put(&b, "humidity_fraction", number(w->humidity));
  put(&b, "altitude_m", number(w->altitude));
  return build_end(&b);
}

static json_t *card_identity(const lw_card *c) {
  if (!c) return json_null();
  build b = build_new();
  put(&b, "file", text(c->file));
  put(&b, "unit", text(c->unit));
  put(&b, "maker", text(c->maker));
  put(&b, "engine", text(c->engine_name));
  put(&b, "emissions", text(c->emissions));
  put(&b, "model_year", whole_given(c->year));
  put(&b, "transmission", said(c->transmission, lw_transmission_text(c->transmission)));
  return build_end(&b);
}

/* ---- readings ---- */

static json_t *screw_position(const void *element) {
  const lw_named *n = element;
  build b = build_new();
  put(&b, "screw", text(n->name));
  put(&b, "turns_out", number(n->x));
  return build_end(&b);
}

static json_t *analyzer(const lw_analyzer *a) {
  static const char *const bases[] = {NULL, "dry", "wet"};
  if (!a) return json_null();
  build b = build_new();
  put(&b, "name", text(a->name));
  put(&b, "class", said(a->accuracy, lw_class_text(a->accuracy)));
  put(&b, "basis", WORD(bases, a->basis));
  put(&b, "hc_as", hc_word(a->hc_as));
  put(&b, "propane_factor", number(a->pef));
  put(&b, "calibrated", text(a->calibrated));
  return build_end(&b);
}

/* The engine while it was read. */
static void put_state(build *b, const lw_reading *r) {
  static const char *const gears[] = {NULL, "neutral", "park", "drive"};
  static const char *const chokes[] = {NULL, "open", "partly_open", "closed"};
  static const char *const needles[] = {NULL,    "steady",   "regular_drop", "irregular_drop",
                                        "drift", "vibration"};
  put(b, "speed_rad_per_s", number(r->speed));
  put(b, "gear", WORD(gears, r->gear));
  put(b, "choke", WORD(chokes, r->choke));
  put(b, "air_cleaner_on", answer_word(r->air_cleaner));
  put(b, "settled", answer_word(r->settled));
  put(b, "vacuum_pa", number(r->vacuum));
  put(b, "needle", WORD(needles, r->needle));
  put(b, "timing_rad_before_tdc", number(r->timing));
  put(b, "screws", list(r->screws.items, r->screws.count, sizeof(lw_named), screw_position));
}

static json_t *reading(const void *element) {
  const lw_reading_work *w = element;
  const lw_reading *r = w->reading;
  const lw_gases read = {r->co, r->co2, r->hc.x, r->o2, r->no};
  build b = build_new();
  put(&b, "label", text(r->label));
  put(&b, "time", text(r->time));
  put(&b, "stage", said(r->stage, lw_stage_text(r->stage)));
  put(&b, "condition", said(w->at, lw_condition_text(w->at)));
  put(&b, "note", text(r->note));
  put_state(&b, r);
  put(&b, "analyzer", analyzer(w->analyzer));
  put(&b, "read", gases(&read));
  put(&b, "hc_as", hc_word(r->hc.basis));
  put(&b, "gas", w->has_gas ? exhaust_json(&w->exhaust) : json_null());
  return build_end(&b);
}

/* What the displays came to when the throttle was opened quickly. */
static void put_extremes(build *b, const lw_snap_reading *s) {
  put(b, "co_least_fraction", number(s->co_least));
  put(b, "co_most_fraction", number(s->co_most));
  put(b, "hc_most_fraction", number(s->hc_most.x));
  put(b, "hc_as", hc_word(s->hc_most.basis));
  put(b, "o2_most_fraction", number(s->o2_most));
  put(b, "vacuum_most_pa", number(s->vacuum_most));
  put(b, "speed_most_rad_per_s", number(s->speed_most));
}

static json_t *snap(const void *element) {
  static const char *const kinds[] = {"snap", "snap", "tip_in", "floored"};
  static const char *const felt[] = {NULL, "clean", "hesitates", "pops_back", "dies", "smokes"};
  const lw_snap_reading *s = element;
  char line[800];
  build b = build_new();
  put(&b, "label", text(s->label));
  put(&b, "time", text(s->time));
  put(&b, "kind", WORD(kinds, s->kind));
  put(&b, "speed_rad_per_s", number(s->speed));
  put(&b, "analyzer_name", text(s->analyzer));
  put_extremes(&b, s);
  put(&b, "felt", WORD(felt, s->felt));
  put(&b, "note", text(s->note));
  put(&b, "words", text(lw_snap_line(line, sizeof line, s)));
  return build_end(&b);
}

/* ---- judgement ---- */

static json_t *difference(const void *element) {
  const lw_difference *d = element;
  build b = build_new();
  put(&b, "what", text(d->what));
  put(&b, "expected", text(d->expected));
  put(&b, "fitted", text(d->fitted));
  put(&b, "why", text(d->why));
  return build_end(&b);
}

static json_t *intake(const lw_intake *i) {
  static const char *const answers[] = {"unknown", "belongs", "belongs_not"};
  build b = build_new();
  put(&b, "answer", WORD(answers, i->answer));
  put(&b, "summary", text(i->summary));
  put(&b, "differences",
      list(i->differences, i->difference_count, sizeof(lw_difference), difference));
  return build_end(&b);
}

static json_t *check(const void *element) {
  const lw_check *c = element;
  build b = build_new();
  put(&b, "check", text(c->name));
  put(&b, "answer", fit_word(c->answer));
  put(&b, "essential", json_boolean(c->essential));
  put(&b, "found", text(c->found));
  put(&b, "expected", text(c->expected));
  put(&b, "why", text(c->why));
  put(&b, "next", text(c->next));
  return build_end(&b);
}

static json_t *fitness(const lw_fitness *f) {
  build b = build_new();
  put(&b, "answer", fit_word(f->overall));
  put(&b, "summary", text(f->summary));
  put(&b, "first", text(f->first));
  put(&b, "fit_count", whole(f->fit));
  put(&b, "not_fit_count", whole(f->not_fit));
  put(&b, "unknown_count", whole(f->unknown));
  put(&b, "checks", list(f->checks, LW_CHECK_COUNT, sizeof(lw_check), check));
  return build_end(&b);
}

static json_t *judgement(const void *element) {
  const lw_judgement *j = element;
  bool of_lambda = j->gas == LW_GAS_UNSAID;
  build b = build_new();
  put(&b, "name", text(j->name));
  put(&b, "source", text(j->source));
  put(&b, "gas", gas_or_lambda(j->gas));
  put(&b, "condition", said(j->at, lw_condition_text(j->at)));
  put(&b, of_lambda ? "limit_lambda" : "limit_fraction", range(j->limit));
  put(&b, of_lambda ? "value_lambda" : "value_fraction", measure(j->value));
  put(&b, "reading", whole(j->reading));
  put(&b, "inside_probability", number(j->inside));
  put(&b, "verdict", verdict_word(j->verdict));
  put(&b, "remark", text(j->remark));
  return build_end(&b);
}

static json_t *move(const lw_move *m) {
  static const char *const kinds[] = {"none", "first", "speed", "mixture", "seek", "balance"};
  bool mixture = m->kind == LW_MOVE_MIXTURE, turn = mixture || m->kind == LW_MOVE_SPEED;
  build b = build_new();
  put(&b, "kind", WORD(kinds, m->kind));
  put(&b, "screw", text(m->screw));
  put(&b, "leaner", mixture ? json_boolean(m->leaner) : json_null());
  put(&b, "clockwise", turn ? json_boolean(m->clockwise) : json_null());
  put(&b, "turns", turn || m->kind == LW_MOVE_BALANCE ? number(m->turns) : json_null());
  put(&b, "words", text(m->words));
  put(&b, "reason", text(m->reason));
  return build_end(&b);
}

static json_t *advice(const lw_advice *a) {
  build b = build_new();
  put(&b, "move", move(&a->move));
  put(&b, "target", text(a->target));
  put(&b, "steps", texts(a->steps, a->step_count));
  put(&b, "cares", texts(a->cares, a->care_count));
  return build_end(&b);
}

static json_t *judgements(const lw_judgement *all, size_t count) {
  return list(all, count, sizeof *all, judgement);
}

json_t *lw_work_json(const lw_work *w) {
  build b = build_new();
  put(&b, "leanward", text(LW_VERSION));
  put(&b, "job", job(w->job));
  put(&b, "car", car(&w->job->car));
  put(&b, "weather", weather(&w->job->weather));
  put(&b, "ambient_pa", number(w->ambient));
  put(&b, "ambient_how", text(w->ambient_how));
  put(&b, "fuel", fuel(&w->fuel));
  put(&b, "card", card_identity(w->card));
  put(&b, "fitted", card_identity(w->fitted));
  put(&b, "intake", intake(&w->intake));
  put(&b, "fitness", fitness(&w->fitness));
  put(&b, "readings", list(w->readings, w->reading_count, sizeof w->readings[0], reading));
  put(&b, "snaps", list(w->job->snaps.items, w->job->snaps.count, sizeof(lw_snap_reading), snap));
  put(&b, "reading_as_found", whole(w->found));
  put(&b, "reading_as_left", whole(w->left));
  put(&b, "judgements", judgements(w->judgements, w->judgement_count));
  put(&b, "judgements_as_found", judgements(w->judgements_found, w->judgement_found_count));
  put(&b, "verdict", verdict_word(w->verdict));
  put(&b, "verdict_words", text(w->verdict_words));
  put(&b, "advice", advice(&w->advice));
  put(&b, "causes", w->causes ? lw_causes_json(w->causes) : json_null());
  put(&b, "cautions", texts(w->cautions, w->caution_count));
  put(&b, "gaps", texts(w->gaps, w->gap_count));
  return build_end(&b);
}
