/* job_car.c - a job's car put on the bench, its readings as sights. */
#include "leanward/job_car.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const lw_card *unit_of(const lw_work *work) {
  return work->fitted ? work->fitted : work->card;
}

/* The car of a card in the job's weather. */
static lw_status on_bench(lw_arena *arena, lw_units *units, const lw_work *work,
                          const lw_card *card, lw_test_car **out, lw_error *error) {
  const lw_weather *weather = &work->job->weather;
  const char *edits[4];
  char text[4][96];
  size_t n = 0;
  lw_test_car *car = NULL;
  lw_status status = lw_test_car_new(arena, card, &car, error);
  if (status != LW_OK) return status;
  snprintf(text[n], sizeof text[n], "pressure=%.3f kPa", work->ambient / 1e3);
  n++;
  if (lw_known(weather->temperature))
    snprintf(text[n++], sizeof text[0], "temperature=%.2f degC", weather->temperature - 273.15);
  if (lw_known(weather->humidity))
    snprintf(text[n++], sizeof text[0], "humidity=%.1f %%", 100 * weather->humidity);
  if (work->job->fuel.name) snprintf(text[n++], sizeof text[0], "fuel=%s", work->job->fuel.name);
  for (size_t i = 0; i < n; i++)
    edits[i] = text[i];
  return lw_test_car_what_if(arena, units, car, edits, n, out, error);
}

lw_status lw_job_car(lw_arena *arena, lw_units *units, const lw_work *work, lw_test_car **out,
                     lw_error *error) {
  const lw_card *card = unit_of(work);
  if (card) return on_bench(arena, units, work, card, out, error);
  return lw_fail(error, LW_BAD_INPUT,
                 "without a spec card there is no twin to hold the readings against; name one as "
                 "`card:` in the job");
}

lw_status lw_job_car_with(lw_arena *arena, lw_units *units, const lw_work *work,
                          const lw_test_car *car, const lw_card *unit, lw_test_car **out,
                          lw_error *error) {
  lw_status status = on_bench(arena, units, work, unit, out, error);
  if (status == LW_OK) (*out)->engine = car->engine;
  return status;
}

static void take_gases(const lw_work *work, const lw_reading_work *r, lw_sight *s) {
  lw_sample sample = lw_reading_sample(r->reading, r->analyzer, &work->fuel, LW_NONE);
  s->x[LW_SEE_CO] = sample.x.co;
  s->x[LW_SEE_CO2] = sample.x.co2;
  s->x[LW_SEE_O2] = sample.x.o2;
  s->x[LW_SEE_NO] = sample.x.no;
  s->x[LW_SEE_HC] = lw_known(sample.x.hc) ? lw_sample_hexane(&sample) : LW_NONE;
  s->u[LW_SEE_CO] = sample.u.co;
  s->u[LW_SEE_CO2] = sample.u.co2;
  s->u[LW_SEE_O2] = sample.u.o2;
  s->u[LW_SEE_NO] = sample.u.no;
  double scale = sample.x.hc > 0 ? s->x[LW_SEE_HC] / sample.x.hc : 1;
  s->u[LW_SEE_HC] = lw_known(sample.u.hc) ? sample.u.hc * scale : LW_NONE;
}

static void take_screws(const lw_reading *r, lw_sight *s) {
  const lw_named *screw = r->screws.items;
  s->screws_known = r->screws.count > 0;
  for (size_t i = 0; i < r->screws.count && i < LW_SIGHT_SCREWS; i++) {
    s->screws[i].name = screw[i].name;
    s->screws[i].turns = screw[i].x;
    s->screw_count++;
  }
}

bool lw_job_sight(const lw_work *work, const lw_reading_work *r, lw_sight *s) {
  const double gauge = 850, light = 0.0175; /* Pa, rad: a quarter inch, a degree */
  const lw_reading *reading = r->reading;
  bool idle = r->at == LW_AT_IDLE, fast = r->at == LW_AT_FAST_IDLE;
  bool cruise = r->at == LW_AT_CRUISE && reading->vacuum > 0;
  if (!(idle || fast || cruise) || !(reading->speed > 0)) return false;
  if (reading->settled == LW_NO || r->exhaust.void_sample) return false;
  *s = (lw_sight){.label = reading->label ? reading->label : lw_condition_text(r->at),
                  .at = r->at,
                  .speed = reading->speed};
  s->gear = reading->gear == LW_GEAR_DRIVE ? LW_LOAD_DRIVE : LW_LOAD_NONE;
  for (int k = 0; k < LW_CHANNELS; k++)
    s->x[k] = s->u[k] = LW_NONE;
  take_gases(work, r, s);
  s->x[LW_SEE_VACUUM] = reading->vacuum;
  s->u[LW_SEE_VACUUM] = gauge;
  /* timing with its hose plugged is a finding of its own; off idle it holds the advance */
  s->x[LW_SEE_TIMING] = fast || cruise ? reading->timing : LW_NONE;
  s->u[LW_SEE_TIMING] = light;
  take_screws(reading, s);
  for (int k = 0; k < LW_CHANNELS; k++) {
    if (lw_known(s->x[k]) && !(cruise && k == LW_SEE_VACUUM)) return true;
  }
  return false;
}

size_t lw_job_idles(const lw_work *work, lw_sight *sights, size_t most) {
  size_t n = 0;
  const lw_card *card = unit_of(work);
  bool drive = card && card->idle.gear == LW_GEAR_DRIVE;
  for (size_t i = 0; i < work->reading_count; i++) {
    lw_sight s;
    if (work->readings[i].at != LW_AT_IDLE || !lw_job_sight(work, &work->readings[i], &s)) continue;
    if ((s.gear == LW_LOAD_DRIVE) != drive || !lw_known(s.x[LW_SEE_CO])) continue;
    if (n == most) memmove(sights, sights + 1, --n * sizeof *sights);
    sights[n++] = s;
  }
  return n;
}
