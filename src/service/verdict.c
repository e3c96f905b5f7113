/* verdict.c - readings against limits: within, outside, or too close to call.
**
** The band shown to people, x +- 2u, decides: what a person sees touching the line is too close to
** call. (JCGM 106:2012, 8.3: guard bands of U on both sides of the limit.) The tool's verdict is
** advice; whether a car passes is for a licensed inspector.
*/
#include "service_internal.h"

#include <math.h>
#include <stdint.h>

enum { SETS_MOST = 32 };

typedef struct bench {
  desk *d;
  lw_judgement *newest, *found;
  size_t count, room;
} bench;

const char *lw_verdict_text(lw_verdict verdict) {
  static const char *const texts[] = {"no verdict", "within", "outside", "too close to call"};
  return texts[verdict];
}

static double below(lw_measure v, double bound) {
  if (!(v.u > 0)) return v.x <= bound ? 1 : 0;
  return 0.5 * erfc((v.x - bound) / v.u * 0.70710678118654752);
}

double lw_inside_probability(lw_measure value, lw_range limit) {
  if (!lw_known(value.x) || (!lw_known(limit.lo) && !lw_known(limit.hi))) return NAN;
  double under = lw_known(limit.hi) ? below(value, limit.hi) : 1;
  double low = lw_known(limit.lo) ? below(value, limit.lo) : 0;
  if (lw_known(limit.lo) && !(value.u > 0) && value.x == limit.lo) low = 0;
  return fmax(under - low, 0);
}

lw_verdict lw_judge(lw_measure value, lw_range limit) {
  if (!lw_known(value.x) || (!lw_known(limit.lo) && !lw_known(limit.hi))) return LW_NO_VERDICT;
  double band = lw_known(value.u) ? LW_COVERAGE * value.u : 0;
  if (value.x - band > limit.hi || value.x + band < limit.lo) return LW_OUTSIDE;
  bool high = lw_known(limit.hi) && value.x + band > limit.hi;
  bool low = lw_known(limit.lo) && value.x - band < limit.lo;
  return high || low ? LW_TOO_CLOSE : LW_WITHIN;
}

/* ---- which value ---- */

static lw_measure value_of(const lw_reading_work *r, lw_gas_name gas, const char **remark) {
  const lw_exhaust *e = &r->exhaust;
  const lw_measure none = {NAN, NAN};
  switch (gas) {
  case LW_GAS_UNSAID: return e->lambda;
  case LW_GAS_CO:
    if (!lw_known(r->reading->co)) return none;
    if (!e->co_is_corrected || e->co_corrected.x < 0.001) {
      return (lw_measure){e->filled.co, e->filled_u.co};
    }
    *remark = "CO corrected for dilution";
    return e->co_corrected;
  case LW_GAS_CO2:
    return lw_known(r->reading->co2) ? (lw_measure){e->filled.co2, e->filled_u.co2} : none;
  case LW_GAS_HC:
    return lw_known(r->reading->hc.x) ? (lw_measure){e->filled.hc, e->filled_u.hc} : none;
  case LW_GAS_O2:
    return lw_known(r->reading->o2) ? (lw_measure){e->filled.o2, e->filled_u.o2} : none;
  case LW_GAS_NO:
    return lw_known(r->reading->no) ? (lw_measure){e->filled.no, e->filled_u.no} : none;
  }
  return none;
}

static bool serves(const lw_reading_work *r, lw_gas_name gas, lw_condition at) {
  const char *remark = NULL;
  return r->has_gas && r->at == at && lw_known(value_of(r, gas, &remark).x);
}

static int weight(const lw_work *w, const lw_reading *r, lw_stage wanted) {
  return 4 * in_set_gear(w, r) + 2 * (r->settled != LW_NO) + (r->stage == wanted);
}

/* The reading that speaks for the car as it is now (newest) or as it came in (!newest): the last
   of the fitting ones, or the first. One in the gear the idle is set in goes before one that was not,
   then a settled one, then one marked as left or as found. */
static size_t pick(const lw_work *w, lw_gas_name gas, lw_condition at, bool newest) {
  lw_stage wanted = newest ? LW_AS_LEFT : LW_AS_FOUND;
  size_t best = SIZE_MAX;
  for (size_t i = 0; i < w->reading_count; i++) {
    if (!serves(&w->readings[i], gas, at)) continue;
    int more = best == SIZE_MAX ? 1
                                : weight(w, w->readings[i].reading, wanted) -
                                      weight(w, w->readings[best].reading, wanted);
    if (more > 0 || (more == 0 && newest)) best = i;
  }
  return best;
}

/* ---- one limit ---- */

/* A remark never pushes another one out. */
static void remark_also(bench *b, lw_judgement *j, const char *text) {
  j->remark = j->remark ? say(b->d, "%s; %s", j->remark, text) : text;
}

static bool diluted(const lw_exhaust *e) {
  for (size_t i = 0; i < e->note_count; i++) {
    if (e->notes[i].code == LW_NOTE_DILUTED) return true;
  }
  return false;
}

/* With outside air suspected, a reading is only the least the gas can be: it is also judged as if
   that air was there, and "within" stands only when both are. */
static void judge_undiluted(bench *b, lw_judgement *j, const lw_exhaust *e) {
  if (j->gas != LW_GAS_CO && j->gas != LW_GAS_HC && j->gas != LW_GAS_NO) return;
  double grown = 1 / (1 - fmin(e->air_share, 0.66));
  lw_measure read = j->gas == LW_GAS_CO ? (lw_measure){e->filled.co, e->filled_u.co} : j->value;
  lw_measure most = {read.x * grown, read.u * grown};
  char text[48];
  lw_quantity_text(text, sizeof text, j->gas == LW_GAS_CO ? LW_FRACTION : LW_PPM, LW_SHOP, most.x,
                   LW_COVERAGE * most.u);
  remark_also(b, j,
              say(b->d, "if %.0f %% of the sample is outside air it is %s: make the sample tight",
                  100 * e->air_share, text));
  if (j->verdict != LW_WITHIN || lw_judge(most, j->limit) == LW_WITHIN) return;
  j->verdict = LW_TOO_CLOSE;
  j->inside = fmin(j->inside, lw_inside_probability(most, j->limit));
}

static lw_judgement judge_one(bench *b, lw_gas_name gas, lw_condition at, lw_range limit,
                              const char *source, const char *remark, bool newest) {
  const lw_work *w = b->d->work;
  lw_judgement j = {
      .name = say(b->d, "%s at %s", gas ? lw_gas_text(gas) : "lambda", lw_condition_text(at)),
      .source = source,
      .gas = gas,
      .at = at,
      .limit = limit,
      .remark = remark,
      .value = {NAN, NAN},
      .inside = NAN,
  };
  if (at == LW_AT_CYCLE) {
    j.reading = SIZE_MAX;
    j.remark = "a composite over a driving cycle: readings in the bay cannot be held to it";
    return j;
  }
  j.reading = pick(w, gas, at, newest);
  if (j.reading == SIZE_MAX) {
    j.remark = say(b->d, "not read at %s", lw_condition_text(at));
    return j;
  }
  const lw_reading_work *r = &w->readings[j.reading];
  const char *how = NULL;
  j.value = value_of(r, gas, &how);
  if (how) remark_also(b, &j, how);
  if (r->exhaust.void_sample) {
    remark_also(b, &j, "no verdict: the sample holds too much air");
    return j;
  }
  if (gas == LW_GAS_UNSAID && r->exhaust.source == LW_LAMBDA_INFERRED) {
    remark_also(b, &j, "lambda is inferred: not all four gases were read");
  }
  j.inside = lw_inside_probability(j.value, limit);
  j.verdict = lw_judge(j.value, limit);
  if (diluted(&r->exhaust)) judge_undiluted(b, &j, &r->exhaust);
  if (r->reading->settled == LW_NO) { /* what still moves may be outside, never safely within */
    remark_also(b, &j, "the reading had not settled");
    if (j.verdict == LW_WITHIN) j.verdict = LW_TOO_CLOSE;
  }
  return j;
}

static void judge(bench *b, lw_gas_name gas, lw_condition at, lw_range limit, const char *source,
                  const char *remark) {
  if (b->count == b->room) return; /* judge_all made room for all */
  b->newest[b->count] = judge_one(b, gas, at, limit, source, remark, true);
  b->found[b->count] = judge_one(b, gas, at, limit, source, remark, false);
  b->count++;
}

/* ---- sets of limits ---- */

static int car_year(const lw_work *w) {
  return w->job->car.year ? w->job->car.year : w->card ? w->card->year : 0;
}

static double car_displacement(const lw_work *w) {
  if (lw_known(w->job->car.displacement)) return w->job->car.displacement;
  return w->card ? w->card->engine.displacement : NAN;
}

/* Rows that need a year or a displacement that was not given are passed over. */
static bool row_fits(const lw_work *w, const lw_public_limit *row) {
  int year = car_year(w);
  bool any_year = row->year_from == 0 && row->year_to == 9999;
  if (!any_year && (year < row->year_from || year > row->year_to || year == 0)) return false;
  double v = car_displacement(w);
  const double slack = 1 + 1e-9; /* "100 in3" as read may lie a bit over the row's 100 */
  if (lw_known(row->displacement_over) && !(v > row->displacement_over * slack)) return false;
  return !lw_known(row->displacement_to) || v <= row->displacement_to * slack;
}

/* Why no row of a known set serves. */
static const char *no_row(const lw_work *w) {
  if (car_year(w) == 0) return "the car's year is not given, so no row can be picked";
  if (!lw_known(car_displacement(w))) {
    return "no row of this set holds for this year without the displacement, which is not given";
  }
  return "no row of this set holds for this year and displacement";
}

static lw_status judge_set(bench *b, const lw_limit_said *said, const char *file) {
  size_t count = 0, used = 0;
  bool known = false;
  const lw_public_limit *row = lw_public_limits(&count);
  for (size_t i = 0; i < count; i++) {
    if (!lw_text_same(row[i].set, said->public_set)) continue;
    known = true;
    if (!row_fits(b->d->work, &row[i])) continue;
    judge(b, row[i].gas, row[i].at, row[i].value, row[i].source, NULL);
    used++;
  }
  if (known && used) return LW_OK;
  if (known) {
    lw_judgement j = {.name = said->public_set,
                      .source = said->public_set,
                      .reading = SIZE_MAX,
                      .limit = lw_range_none,
                      .value = {NAN, NAN},
                      .inside = NAN,
                      .remark = no_row(b->d->work)};
    if (b->count < b->room) {
      b->newest[b->count] = j;
      b->found[b->count++] = j;
    }
    return LW_OK;
  }
  const char *names[SETS_MOST];
  size_t sets = lw_public_sets(names, SETS_MOST);
  const char *near = lw_text_nearest(said->public_set, names, sets < SETS_MOST ? sets : SETS_MOST);
  lw_error_place(b->d->error, file, said->line, "limits, public");
  return lw_fail(b->d->error, LW_BAD_INPUT,
                 "'%.60s' is not a public set of limits%s%s%s; `leanward limits` lists them",
                 said->public_set, near ? "; did you mean '" : "", near ? near : "",
                 near ? "'?" : "");
}

static lw_status judge_list(bench *b, const lw_list *list, const char *file) {
  const lw_limit_said *said = list->items;
  for (size_t i = 0; i < list->count; i++) {
    if (said[i].public_set) {
      lw_status status = judge_set(b, &said[i], file);
      if (status != LW_OK) return status;
      continue;
    }
    judge(b, said[i].gas, said[i].at ? said[i].at : LW_AT_IDLE, said[i].value,
          said[i].source ? said[i].source : "as given", NULL);
  }
  return LW_OK;
}

/* Without any legal limit the card's targets serve, and that is said. */
static void judge_targets(bench *b) {
  const lw_card *card = b->d->work->card;
  if (!card) return;
  const char *remark = "no legal limit was given: held to the card's target";
  if (lw_range_known(card->idle.co)) {
    judge(b, LW_GAS_CO, LW_AT_IDLE, card->idle.co, "spec card, idle target", remark);
  }
  if (lw_known(card->idle.hc.x)) {
    /* as lw_sample_hexane turns a reading */
    double to_hexane = card->idle.hc.basis == LW_HC_PROPANE ? 0.52
                       : card->idle.hc.basis == LW_HC_C1    ? 1.0 / 6
                                                            : 1;
    lw_range most = {NAN, NAN, card->idle.hc.x * to_hexane};
    judge(b, LW_GAS_HC, LW_AT_IDLE, most, "spec card, idle target", remark);
  }
}

/* ---- overall ---- */

static lw_verdict overall(const lw_judgement *j, size_t count) {
  bool within = false, close = false;
  for (size_t i = 0; i < count; i++) {
    if (j[i].verdict == LW_OUTSIDE) return LW_OUTSIDE;
    within = within || j[i].verdict == LW_WITHIN;
    close = close || j[i].verdict == LW_TOO_CLOSE;
  }
  return close ? LW_TOO_CLOSE : within ? LW_WITHIN : LW_NO_VERDICT;
}

static const char *overall_words(bench *b, lw_verdict verdict) {
  size_t open = 0;
  for (size_t i = 0; i < b->count; i++)
    open += b->newest[i].verdict == LW_NO_VERDICT;
  const char *rest =
      !open ? "" : say(b->d, "; %zu limit%s could not be judged", open, open == 1 ? "" : "s");
  switch (verdict) {
  case LW_WITHIN: return say(b->d, "within every limit that was read%s", rest);
  case LW_OUTSIDE: return say(b->d, "outside at least one limit%s", rest);
  case LW_TOO_CLOSE:
    return say(b->d, "too close to call: what is not sure about the reading reaches over a limit%s",
               rest);
  default:
    return b->count ? "no verdict: nothing that was read can be held to the limits"
                    : "no verdict: neither the job nor the card gives a limit";
  }
}

/* How many judgements a list of limits can give: every row of a set, or one. */
static size_t room_for(const lw_list *list) {
  const lw_limit_said *said = list->items;
  size_t rows = 0, room = 0;
  const lw_public_limit *row = lw_public_limits(&rows);
  for (size_t i = 0; i < list->count; i++) {
    room++;
    for (size_t k = 0; said[i].public_set && k < rows; k++)
      room += lw_text_same(row[k].set, said[i].public_set);
  }
  return room;
}

static lw_status judge_all(bench *b, const lw_list *list, const char *file) {
  size_t room = list ? room_for(list) : 2;
  b->newest = lw_arena_array(b->d->arena, room, sizeof *b->newest);
  b->found = lw_arena_array(b->d->arena, room, sizeof *b->found);
  b->room = room;
  if (!b->newest || !b->found) {
    return lw_fail(b->d->error, LW_NO_MEMORY, "no memory for the limits of this job");
  }
  if (list) return judge_list(b, list, file);
  judge_targets(b);
  return LW_OK;
}

lw_status work_verdict(desk *d) {
  lw_work *w = d->work;
  bench b = {.d = d};
  const lw_card *card = w->card;
  bool by_job = w->job->limits.count > 0, by_card = !by_job && card && card->limits.count > 0;
  lw_status status = by_job    ? judge_all(&b, &w->job->limits, w->job->file)
                     : by_card ? judge_all(&b, &card->limits, card->file)
                               : judge_all(&b, NULL, NULL);
  if (status != LW_OK) return status;
  w->judgements = b.newest;
  w->judgements_found = b.found;
  w->judgement_count = w->judgement_found_count = b.count;
  w->verdict = overall(b.newest, b.count);
  w->verdict_words = overall_words(&b, w->verdict);
  return LW_OK;
}
