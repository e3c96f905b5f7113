/* work.c - a job worked from end to end, and the helpers the judgements share. */
#include "service_internal.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>

/* ---- texts ---- */

const char *say(desk *d, const char *format, ...) {
  char text[1200];
  va_list args;
  va_start(args, format);
  int n = vsnprintf(text, sizeof text, format, args);
  va_end(args);
  size_t length = n < 0 ? 0 : (size_t)n < sizeof text ? (size_t)n : sizeof text - 1;
  const char *kept = lw_arena_copy(d->arena, text, length);
  if (kept) return kept;
  d->no_memory = true;
  return "";
}

void lines_add(desk *d, lines *l, const char *text) {
  if (l->count == l->room) {
    size_t room = l->room ? 2 * l->room : 16;
    const char **wider = lw_arena_array(d->arena, room, sizeof *wider);
    if (!wider) {
      d->no_memory = true;
      return;
    }
    for (size_t i = 0; i < l->count; i++)
      wider[i] = l->text[i];
    l->text = wider;
    l->room = room;
  }
  l->text[l->count++] = text;
}

const char *say_both(desk *d, lw_dim dim, double si) {
  char text[128];
  return say(d, "%s", lw_quantity_text_both(text, sizeof text, dim, si));
}

const char *say_range(desk *d, lw_dim dim, lw_range range) {
  char text[128];
  return say(d, "%s", lw_range_text(text, sizeof text, dim, LW_SHOP, range));
}

/* ---- halves that are never NULL ---- */

const lw_engine_card *engine_of(const desk *d) {
  return d->work->card ? &d->work->card->engine : &d->blank->engine;
}

const lw_carburetor_card *carburetor_of(const desk *d) {
  const lw_work *w = d->work;
  return w->fitted ? &w->fitted->carburetor
         : w->card ? &w->card->carburetor
                   : &d->blank->carburetor;
}

bool in_set_gear(const lw_work *w, const lw_reading *r) {
  bool drive = w->card && w->card->idle.gear == LW_GEAR_DRIVE;
  return r->gear == LW_GEAR_UNSAID || (r->gear == LW_GEAR_DRIVE) == drive;
}

const lw_reading_work *newest_idle(const desk *d, reading_test has) {
  const lw_work *w = d->work;
  const lw_reading_work *other = NULL;
  for (size_t i = w->reading_count; i-- > 0;) {
    const lw_reading_work *r = &w->readings[i];
    if (r->at != LW_AT_IDLE || !has(r)) continue;
    if (in_set_gear(w, r->reading)) return r;
    if (!other) other = r;
  }
  return other;
}

/* ---- fuel and air ---- */

bool lw_fuel_from(const lw_fuel_said *said, lw_fuel *fuel) {
  lw_fuel found = {said->name, NAN, 0, NAN, NAN};
  bool known = said->name && lw_fuel_by_name(said->name, &found);
  if (lw_known(said->h_c)) found.h_c = said->h_c;
  if (lw_known(said->o_c)) found.o_c = said->o_c;
  if (lw_known(said->heating_value)) found.heating_value = said->heating_value;
  if (lw_known(said->density)) found.density = said->density;
  if (!known && !lw_known(said->h_c)) return false;
  /* Dulong's rule stands in for a heating value that was not given (Heywood 1988, 3.5; from
     memory): 33.8 MJ a kg of carbon, 121 MJ (lower) a kg of the hydrogen not already bound to
     oxygen */
  if (!lw_known(found.heating_value)) {
    double free_hydrogen = 1.008e-3 * fmax(found.h_c - 2 * found.o_c, 0);
    found.heating_value = (12.011e-3 * 33.8e6 + free_hydrogen * 121e6) / lw_fuel_molar_mass(&found);
  }
  if (!found.name) found.name = "as given";
  *fuel = found;
  return true;
}

static lw_status choose_fuel(desk *d) {
  const lw_job *job = d->work->job;
  const lw_fuel_said *said = job->fuel.name || lw_known(job->fuel.h_c) ? &job->fuel : NULL;
  const char *file = job->file;
  if (!said && d->work->card && (d->work->card->fuel.name || lw_known(d->work->card->fuel.h_c))) {
    said = &d->work->card->fuel;
    file = d->work->card->file;
  }
  if (!said) {
    lw_fuel_by_name("gasoline", &d->work->fuel);
    return LW_OK;
  }
  if (lw_fuel_from(said, &d->work->fuel)) return LW_OK;
  char list[200] = "";
  for (size_t i = 0; lw_fuel_name(i); i++) {
    lw_text_append(list, sizeof list, i ? ", %s" : "%s", lw_fuel_name(i));
  }
  lw_error_place(d->error, file, said->line, "fuel");
  return lw_fail(
      d->error, LW_BAD_INPUT,
      "'%.40s' is not a fuel known by name (%s); give its hydrogen to carbon and oxygen to "
      "carbon",
      said->name, list);
}

static void choose_ambient(desk *d) {
  const lw_weather *weather = &d->work->job->weather;
  if (lw_known(weather->pressure)) {
    d->work->ambient = weather->pressure;
    d->work->ambient_how = "as measured";
  } else if (lw_known(weather->altitude)) {
    d->work->ambient = lw_standard_pressure(weather->altitude);
    d->work->ambient_how = "standard atmosphere at the shop's altitude";
  } else {
    d->work->ambient = LW_STANDARD_PRESSURE;
    d->work->ambient_how = "sea level assumed: neither pressure nor altitude was given";
  }
}

/* ---- readings ---- */

static bool has_screw(const lw_card *card, const char *name) {
  const lw_screw_card *s = card ? card->carburetor.screws.items : NULL;
  for (size_t i = 0; s && i < card->carburetor.screws.count; i++) {
    if (lw_text_same(s[i].name, name)) return true;
  }
  return false;
}

/* A position given to a screw that no card lists would be passed over: it is asked about instead. */
static lw_status check_screws(desk *d, const lw_reading *r, size_t number) {
  const lw_named *named = r->screws.items;
  const lw_list *known = &carburetor_of(d)->screws;
  const lw_screw_card *s = known->items;
  const char *names[16];
  size_t count = known->count < 16 ? known->count : 16;
  for (size_t i = 0; i < count; i++)
    names[i] = s[i].name;
  for (size_t i = 0; count && i < r->screws.count; i++) {
    const char *name = named[i].name;
    if (has_screw(d->work->card, name) || has_screw(d->work->fitted, name)) continue;
    const char *near = lw_text_nearest(name, names, count);
    char field[60];
    snprintf(field, sizeof field, "reading %zu, screws", number);
    lw_error_place(d->error, d->work->job->file, named[i].line, field);
    return lw_fail(d->error, LW_BAD_INPUT, "'%.60s' is not a screw of the card; %s'%s'%s", name,
                   near ? "did you mean " : "the first one is ", near ? near : names[0],
                   near ? "?" : "");
  }
  return LW_OK;
}

lw_sample lw_reading_sample(const lw_reading *r, const lw_analyzer *a, const lw_fuel *fuel,
                            double air_water) {
  lw_sample s = lw_sample_new(fuel);
  s.x = (lw_gases){r->co, r->co2, r->hc.x, r->o2, r->no};
  s.hc_basis = r->hc.basis ? r->hc.basis : a && a->hc_as ? a->hc_as : LW_HC_HEXANE;
  s.pef = a ? a->pef : NAN;
  s.wet = a && a->basis == LW_BASIS_WET;
  s.air_water = air_water;
  /* what was not read counts with a usual value: it only sizes "with all four gases" */
  double hexane = lw_known(r->hc.x) ? lw_sample_hexane(&s) : 250e-6;
  double per_hexane = lw_known(r->hc.x) && hexane > 0 ? r->hc.x / hexane : 1;
  s.u = (lw_gases){
      lw_reading_u(a, LW_GAS_CO, lw_known(r->co) ? r->co : 0.015),
      lw_reading_u(a, LW_GAS_CO2, lw_known(r->co2) ? r->co2 : 0.13),
      lw_reading_u(a, LW_GAS_HC, hexane) * per_hexane,
      lw_reading_u(a, LW_GAS_O2, lw_known(r->o2) ? r->o2 : 0.01),
      lw_reading_u(a, LW_GAS_NO, lw_known(r->no) ? r->no : 500e-6),
  };
  return s;
}

const lw_analyzer *lw_analyzer_of(const lw_job *job, const char *name) {
  const lw_analyzer *a = job->analyzers.items;
  if (!name) return job->analyzers.count == 1 ? &a[0] : NULL;
  for (size_t i = 0; i < job->analyzers.count; i++) {
    if (lw_text_same(a[i].name, name)) return &a[i];
  }
  return NULL;
}

static lw_condition condition_of(const lw_reading *r) {
  const double fast = 188.49555921538757; /* 1,800 rpm: no engine here idles so fast */
  if (r->at) return r->at;
  return r->speed >= fast ? LW_AT_FAST_IDLE : LW_AT_IDLE;
}

static lw_status work_reading(desk *d, const lw_reading *r, size_t number, lw_reading_work *out) {
  const lw_weather *weather = &d->work->job->weather;
  double moisture = lw_known(weather->humidity) && lw_known(weather->temperature)
                        ? lw_air_water(weather->temperature, d->work->ambient, weather->humidity)
                        : NAN;
  out->reading = r;
  out->analyzer = lw_analyzer_of(d->work->job, r->analyzer);
  out->at = condition_of(r);
  lw_sample s = lw_reading_sample(r, out->analyzer, &d->work->fuel, moisture);
  const double gases[] = {r->co, r->co2, r->hc.x, r->o2, r->no};
  for (size_t i = 0; i < 5; i++)
    out->has_gas = out->has_gas || lw_known(gases[i]);
  lw_status status = lw_exhaust_work(&s, &out->exhaust, d->error);
  if (status == LW_OK) return LW_OK;
  char field[160];
  snprintf(field, sizeof field, "reading %zu, %.100s", number, d->error ? d->error->field : "");
  lw_error_place(d->error, d->work->job->file, r->line, field);
  return status;
}

/* The as-found idle reading is the first, the as-left the last; marked ones go first, and one that
   had not settled is never as left. */
static size_t find_idle(const lw_work *w, lw_stage stage, bool last) {
  size_t best = SIZE_MAX;
  int weight_best = 0;
  for (size_t i = 0; i < w->reading_count; i++) {
    const lw_reading_work *r = &w->readings[i];
    if (r->at != LW_AT_IDLE || (last && r->reading->settled == LW_NO)) continue;
    int weight = 2 * in_set_gear(w, r->reading) + (r->reading->stage == stage);
    if (best == SIZE_MAX || weight > weight_best || (weight == weight_best && last)) {
      best = i;
      weight_best = weight;
    }
  }
  return best;
}

static lw_status work_readings(desk *d) {
  lw_work *w = d->work;
  const lw_reading *r = w->job->readings.items;
  lw_reading_work *out = lw_arena_array(d->arena, w->job->readings.count, sizeof *out);
  if (!out) return lw_fail(d->error, LW_NO_MEMORY, "no memory for the readings of this job");
  for (size_t i = 0; i < w->job->readings.count; i++) {
    lw_status status = check_screws(d, &r[i], i + 1);
    if (status == LW_OK) status = work_reading(d, &r[i], i + 1, &out[i]);
    if (status != LW_OK) return status;
  }
  w->readings = out;
  w->reading_count = w->job->readings.count;
  w->found = find_idle(w, LW_AS_FOUND, false);
  w->left = find_idle(w, LW_AS_LEFT, true);
  if (w->left == w->found) w->left = SIZE_MAX;
  return LW_OK;
}

/* ---- cautions and gaps ---- */

void work_cautions(desk *d) {
  lines l = {0};
  bool drive = d->work->card && (d->work->card->idle.gear == LW_GEAR_DRIVE ||
                                 lw_range_known(d->work->card->idle.speed_drive));
  lines_add(d, &l, "Running exhaust in a closed room kills: extract it.");
  lines_add(d, &l,
            "Keep hands, hair and sleeves from fans, belts and hot parts; mind the high tension.");
  lines_add(d, &l, "Fuel vapor and sparks: no flame, no hot lamp, a fire extinguisher at hand.");
  lines_add(
      d, &l,
      drive ? "An idle read in gear: chock the wheels, set the parking brake, and never stand in "
              "front of the car."
            : "Chock the wheels, set the parking brake, and never stand in front of a car in "
              "gear.");
  lines_add(d, &l,
            "Sealed adjustments may be illegal to alter: local law and the emission label come "
            "first.");
  lines_add(d, &l,
            "This verdict is advice, not a certificate: a licensed inspector decides whether a car "
            "passes.");
  d->work->cautions = l.text;
  d->work->caution_count = l.count;
}

static void gap_readings(desk *d, lines *l) {
  const lw_work *w = d->work;
  bool no_class = false, gas = false;
  for (size_t i = 0; i < w->reading_count; i++) {
    const lw_reading_work *r = &w->readings[i];
    gas = gas || r->has_gas;
    no_class = no_class || (r->has_gas && (!r->analyzer || !r->analyzer->accuracy));
  }
  if (!w->reading_count) lines_add(d, l, "no readings: nothing can be said of the exhaust");
  if (w->reading_count && !gas) lines_add(d, l, "no exhaust gas was read: no verdict on it");
  if (no_class) {
    lines_add(d, l, "analyzer or its class not given: the widest errors (class II) were assumed");
  }
}

void work_gaps(desk *d) {
  const lw_work *w = d->work;
  lines l = {0};
  if (!w->card) {
    lines_add(d, &l,
              "no spec card: specifications and targets are the trade's usual ones, or missing");
  } else {
    const lw_card *c = w->card;
    if (!lw_range_known(c->engine.initial_timing))
      lines_add(d, &l, "card without timing: not judged");
    if (!lw_range_known(c->idle.speed))
      lines_add(d, &l, "card without idle speed: speed not judged");
    if (!c->carburetor.screws.count) {
      lines_add(d, &l,
                "card without mixture screws: travel and stops are not known, turn with care");
    }
  }
  gap_readings(d, &l);
  if (!w->judgement_count)
    lines_add(d, &l, "no limits: name a public set or give the limit of the decal");
  const lw_weather *weather = &w->job->weather;
  if (!lw_known(weather->pressure) && !lw_known(weather->altitude)) {
    lines_add(d, &l,
              "neither air pressure nor altitude: compression and vacuum judged as at sea level");
  }
  if (!w->job->fuel.name && !lw_known(w->job->fuel.h_c)) {
    lines_add(d, &l, say(d, "fuel in the tank not given: %s assumed", w->fuel.name));
  }
  d->work->gaps = l.text;
  d->work->gap_count = l.count;
}

/* ---- the whole ---- */

lw_status lw_job_work(lw_arena *arena, const lw_job *job, const lw_card *card,
                      const lw_card *fitted, const lw_work **work, lw_error *error) {
  lw_work *w = lw_arena_alloc(arena, sizeof *w);
  lw_card *blank = lw_arena_alloc(arena, sizeof *blank);
  if (!w || !blank) return lw_fail(error, LW_NO_MEMORY, "no memory for this job");
  lw_table_clear(lw_card_table(), blank);
  desk d = {.arena = arena, .error = error, .blank = blank, .work = w};
  w->job = job;
  w->card = card;
  w->fitted = fitted;
  lw_status status = choose_fuel(&d);
  choose_ambient(&d);
  if (status == LW_OK) status = work_readings(&d);
  if (status != LW_OK) return status;
  work_intake(&d);
  work_fitness(&d);
  status = work_verdict(&d);
  if (status != LW_OK) return status;
  work_advice(&d);
  work_cautions(&d);
  work_gaps(&d);
  if (d.no_memory) return lw_fail(error, LW_NO_MEMORY, "no memory for this job");
  *work = w;
  return LW_OK;
}
