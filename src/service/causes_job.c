/* causes_job.c - what a job tells of causes: its readings as sights, its checks as findings. */
#include "causes_internal.h"

#include "leanward/job_car.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- readings ---- */

static void leave_out(lw_arena *arena, lw_told *t, const lw_reading_work *r, const char *why) {
  const char *label = r->reading->label ? r->reading->label : lw_condition_text(r->at);
  if (t->left_out_count == LW_LEFT_OUT_MOST) return;
  const char *text = lw_arena_print(arena, "%s: %s", label, why);
  if (text) t->left_out[t->left_out_count++] = text;
}

static const char *unusable(const lw_reading_work *r) {
  if (r->reading->settled == LW_NO) return "had not settled";
  if (r->exhaust.void_sample) return "the sample is void";
  if (!(r->reading->speed > 0)) return "its speed is not given";
  if (r->at == LW_AT_CYCLE) return "a mean over a cycle, not one place of the engine";
  if (r->at == LW_AT_CRUISE && !(r->reading->vacuum > 0))
    return "a cruise needs its vacuum: it tells the load";
  return "nothing in it to compare";
}

/* Screws that were not written down stand as at another reading of the same stage. */
static void borrow_screws(const lw_work *w, const size_t *index, lw_told *t) {
  for (size_t i = 0; i < t->count; i++) {
    lw_sight *s = &t->sights[i];
    lw_stage stage = w->readings[index[i]].reading->stage;
    for (size_t k = 0; k < t->count && !s->screws_known; k++) {
      size_t from = k < i ? i - 1 - k : k; /* the nearest before it first */
      const lw_sight *o = &t->sights[from];
      if (from == i || !o->screws_known || w->readings[index[from]].reading->stage != stage)
        continue;
      s->screw_count = o->screw_count;
      memcpy(s->screws, o->screws, sizeof s->screws);
      s->screws_known = true;
    }
  }
}

/* Of too many, the first one and the newest stay. */
static void take_readings(lw_arena *arena, const lw_work *w, lw_told *t) {
  size_t index[LW_SIGHTS_MOST] = {0};
  for (size_t i = 0; i < w->reading_count; i++) {
    lw_sight s;
    if (!lw_job_sight(w, &w->readings[i], &s)) {
      leave_out(arena, t, &w->readings[i], unusable(&w->readings[i]));
      continue;
    }
    if (t->count == LW_SIGHTS_MOST) {
      leave_out(arena, t, &w->readings[index[1]], "more readings than are weighed; newer ones are");
      memmove(t->sights + 1, t->sights + 2, (LW_SIGHTS_MOST - 2) * sizeof *t->sights);
      memmove(index + 1, index + 2, (LW_SIGHTS_MOST - 2) * sizeof *index);
      t->count--;
    }
    index[t->count] = i;
    t->sights[t->count++] = s;
  }
  borrow_screws(w, index, t);
  for (size_t i = 0; i < t->count; i++) {
    if (t->sights[i].at != LW_AT_IDLE) continue;
    bool found = w->readings[index[i]].reading->stage == LW_AS_FOUND;
    t->findings.left_alone = found ? 0.7 : 0.2;
    break;
  }
}

/* ---- the throttle opened quickly ---- */

/* What its displays came to, made dry and counted as hexane as any reading is. */
static lw_sample sample_of(const lw_work *w, const lw_snap_reading *s, const lw_analyzer *a,
                           double co) {
  lw_reading r = {.co = co,
                  .o2 = s->o2_most,
                  .hc = s->hc_most,
                  .co2 = LW_NONE,
                  .no = LW_NONE,
                  .at = LW_AT_IDLE};
  return lw_reading_sample(&r, a, &w->fuel, LW_NONE);
}

static void take_gas(const lw_work *w, const lw_snap_reading *r, lw_snap *s) {
  const lw_analyzer *a = lw_analyzer_of(w->job, r->analyzer);
  lw_sample most = sample_of(w, r, a, r->co_most), least = sample_of(w, r, a, r->co_least);
  s->accuracy = a ? a->accuracy : LW_CLASS_UNSAID;
  s->x[LW_SNAP_CO_MOST] = most.x.co;
  s->x[LW_SNAP_CO_LEAST] = least.x.co;
  s->x[LW_SNAP_HC_MOST] = lw_known(most.x.hc) ? lw_sample_hexane(&most) : LW_NONE;
  s->x[LW_SNAP_O2_MOST] = most.x.o2;
}

static void take_snaps(lw_arena *arena, const lw_work *w, lw_told *t) {
  const lw_snap_reading *list = w->job->snaps.items;
  size_t count = w->job->snaps.count, from = count > LW_SNAPS_MOST ? count - LW_SNAPS_MOST : 0;
  for (size_t i = from; i < count; i++) {
    const lw_snap_reading *r = &list[i];
    lw_snap *s = &t->snaps[t->snap_count++];
    lw_snap_kind kind = r->kind ? r->kind : LW_SNAP_NEUTRAL;
    s->label = r->label ? r->label : lw_snap_kind_text(kind);
    s->kind = kind;
    s->speed = r->speed;
    s->felt = r->felt;
    take_gas(w, r, s);
    s->x[LW_SNAP_VACUUM_MOST] = r->vacuum_most;
    s->x[LW_SNAP_SPEED_MOST] = r->speed_most;
  }
  if (from && t->left_out_count < LW_LEFT_OUT_MOST) {
    const char *text =
        lw_arena_print(arena, "%zu snaps: more than are weighed; newer ones are", from);
    if (text) t->left_out[t->left_out_count++] = text;
  }
}

/* ---- checks ---- */

static void sort(double *x, size_t n) {
  for (size_t i = 1; i < n; i++) {
    double v = x[i];
    size_t at = i;
    for (; at > 0 && x[at - 1] > v; at--)
      x[at] = x[at - 1];
    x[at] = v;
  }
}

static void take_compression(const lw_values *v, lw_findings *f) {
  double x[LW_CYLINDERS_MOST];
  if (v->count < 3 || v->count > LW_CYLINDERS_MOST) return;
  memcpy(x, v->x, v->count * sizeof *x);
  sort(x, v->count);
  double median = 0.5 * (x[(v->count - 1) / 2] + x[v->count / 2]);
  if (!(median > 0)) return;
  f->weakest = x[0] / median;
  for (size_t i = v->count; i-- > 0;) {
    if (v->x[i] <= x[0]) f->weakest_cylinder = (int)i + 1;
  }
}

static void take_fuel_level(const lw_work *w, lw_findings *f) {
  const lw_card *card = w->fitted ? w->fitted : w->card;
  lw_range want = card ? card->carburetor.fuel_level : lw_range_none;
  double level = w->job->checks.fuel_level;
  if (!lw_known(level) || !lw_range_known(want)) return;
  double lo = lw_known(want.lo) ? want.lo : want.at, hi = lw_known(want.hi) ? want.hi : want.at;
  /* measured down from the casting: a larger figure is less fuel */
  f->fuel_high = level < lo ? lo - level : level > hi ? hi - level : 0;
}

static void take_checks(const lw_work *w, lw_findings *f) {
  const lw_checks *c = &w->job->checks;
  if (c->timing_hose != LW_HOSE_CONNECTED) f->timing = c->timing;
  take_compression(&c->compression, f);
  take_fuel_level(w, f);
  f->leak_test = c->leak_test;
  f->choke = c->choke_open == LW_YES  ? LW_CHOKE_OPEN
             : c->choke_open == LW_NO ? LW_CHOKE_PARTLY_OPEN
                                      : LW_CHOKE_UNSAID;
  f->fall_time = c->fall_time;
  f->shot = c->pump_shot;
  const lw_card *card = w->fitted ? w->fitted : w->card;
  if (card) f->air_valve = c->air_valve_turns - card->carburetor.air_valve_turns; /* NaN: unknown */
  f->advance = w->fitness.checks[LW_CHECK_CENTRIFUGAL].answer;
  for (size_t i = 0; i < w->reading_count && !f->needle; i++) {
    if (w->readings[i].at == LW_AT_IDLE) f->needle = w->readings[i].reading->needle;
  }
}

void lw_sights_from(lw_arena *arena, const lw_work *work, lw_told *told) {
  *told = (lw_told){.findings = lw_findings_none()};
  take_readings(arena, work, told);
  take_snaps(arena, work, told);
  take_checks(work, &told->findings);
}

/* ---- the whole ---- */

static bool other_unit(const lw_work *w) {
  return w->intake.answer == LW_BELONGS_NOT;
}

/* Units for manual and automatic look alike. When nobody has read the number, this one may carry the
   other's; a card that cannot be run says nothing of it. */
static void take_other(lw_arena *arena, lw_units *units, const lw_work *w, const lw_test_car *car,
                       const lw_card *other, lw_told *t) {
  lw_test_car *with = NULL;
  if (!other || w->job->fitted_unit || w->job->fitted_card) return;
  if (lw_job_car_with(arena, units, w, car, other, &with, NULL) != LW_OK) return;
  t->other = with;
  t->other_name = other->unit;
}

lw_status lw_causes_of(lw_arena *arena, lw_units *units, const lw_work *work, const lw_card *other,
                       lw_diagnosis **out, lw_error *error) {
  lw_test_car *car = NULL;
  lw_diagnosis *g = NULL;
  if (other_unit(work) && (!work->fitted || work->fitted == work->card)) {
    return lw_fail(error, LW_BAD_INPUT,
                   "the unit fitted is not the card's and its own card is not given: there is no "
                   "twin to hold the readings against");
  }
  lw_told *told = lw_arena_alloc(arena, sizeof *told);
  if (!told) return lw_fail(error, LW_NO_MEMORY, "no memory to weigh causes");
  lw_status status = lw_job_car(arena, units, work, &car, error);
  if (status != LW_OK) return status;
  lw_sights_from(arena, work, told);
  told->not_its_unit = other_unit(work);
  take_other(arena, units, work, car, other, told);
  status = lw_causes_weigh(arena, units, car, told, &g, error);
  if (status != LW_OK) return status;
  g->told = told;
  if (other_unit(work)) g->unit = work->intake.summary;
  *out = g;
  return LW_OK;
}

/* Somebody opened the throttle quickly, and the engine did not take it. */
static bool felt_ill(const lw_job *job) {
  const lw_snap_reading *snaps = job->snaps.items;
  for (size_t i = 0; i < job->snaps.count; i++) {
    if (snaps[i].felt > LW_FELT_CLEAN) return true;
  }
  return false;
}

bool lw_causes_worth(const lw_work *work) {
  bool outside = work->verdict == LW_OUTSIDE || work->verdict == LW_TOO_CLOSE;
  return outside || work->fitness.overall == LW_NOT_FIT || work->advice.move.kind == LW_MOVE_SEEK ||
         felt_ill(work->job);
}
