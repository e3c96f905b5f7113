/* intake.c - does the fitted unit belong on this car?
**
** Units for manual and automatic transmission look alike and do not interchange. The reasons given
** are common practice; the twin will size them later.
*/
#include "service_internal.h"

#include <math.h>
#include <string.h>

enum { DIFFERENCES_MOST = 40, VALUES_MOST = 256 };

typedef struct pile {
  desk *d;
  lw_difference item[DIFFERENCES_MOST];
  size_t count, beyond; /* beyond: differences there was no room for */
} pile;

static void put(pile *p, const char *what, const char *expected, const char *fitted,
                const char *why) {
  if (p->count == DIFFERENCES_MOST) {
    p->beyond++;
    return;
  }
  p->item[p->count++] =
      (lw_difference){what, expected ? expected : "not given", fitted ? fitted : "not given", why};
}

/* What a difference does when the unit is fitted all the same. The first prefix that fits holds. */
static const struct {
  const char *part, *why;
} reasons[] = {
    {"screws", "the idle is set another way: kind, travel and hand of the screw differ"},
    {"sealed", "other parts are sealed"},
    {"idle feed", "idle mixture lies elsewhere; the screw may not reach the target"},
    {"idle bleed", "idle mixture lies elsewhere; the screw may not reach the target"},
    {"idle restriction", "idle and off-idle mixture differ"},
    {"idle limiter", "the richest idle mixture differs"},
    {"idle port", "idle mixture and the screw's reach differ"},
    {"bypass", "the plate sits elsewhere at idle, and the transfer slot with it"},
    {"slot", "off-idle mixture differs: a flat spot or a rich spell just off idle"},
    {"main jet", "cruise mixture differs"},
    {"main bleed", "cruise mixture differs with flow"},
    {"rods", "cruise and power mixture differ"},
    {"venturi", "signal and start of the main circuit differ: lean or rich over the whole range"},
    {"power", "enrichment comes in at another vacuum"},
    {"dashpot", "closing throttle: without it the engine dies or misfires, with it idle hangs"},
    {"check valve", "off-idle mixture differs"},
    {"choke", "warm-up differs"},
    {"pump", "tip-in differs"},
    {"air valve", "secondary opening differs"},
    {"float", "fuel level differs: all circuits"},
    {"fuel level", "fuel level differs: all circuits"},
    {"speed", "another idle speed is specified"},
    {"CO", "another exhaust target is specified"},
    {"HC", "another exhaust target is specified"},
    {"timing", "another timing is specified; the distributor belongs to it"},
    {"advance", "another advance curve is specified; the distributor belongs to it"},
};

static const char *reason_for(const char *path) {
  for (size_t i = 0; i < sizeof reasons / sizeof reasons[0]; i++) {
    if (strstr(path, reasons[i].part)) return reasons[i].why;
  }
  return NULL;
}

/* ---- two cards side by side ---- */

typedef struct said {
  const char *path, *value;
} said;

typedef struct values {
  desk *d;
  said v[VALUES_MOST];
  size_t count;
} values;

static void collect(void *to, const char *path, const lw_field *field, const char *shop,
                    const char *metric) {
  values *v = to;
  (void)field;
  (void)metric;
  bool matters = strncmp(path, "carburetor", 10) == 0 || strncmp(path, "idle", 4) == 0 ||
                 strstr(path, "timing") || strstr(path, "advance");
  if (!matters || v->count == VALUES_MOST) return;
  v->v[v->count++] = (said){say(v->d, "%s", path), say(v->d, "%s", shop)};
}

static const char *find(const values *v, const char *path) {
  for (size_t i = 0; i < v->count; i++) {
    if (strcmp(v->v[i].path, path) == 0) return v->v[i].value;
  }
  return NULL;
}

static void compare_cards(pile *p, const lw_card *card, const lw_card *fitted) {
  values *a = lw_arena_alloc(p->d->arena, sizeof *a), *b = lw_arena_alloc(p->d->arena, sizeof *b);
  if (!a || !b) {
    p->d->no_memory = true;
    return;
  }
  a->d = b->d = p->d;
  lw_table_walk(lw_card_table(), card, collect, a);
  lw_table_walk(lw_card_table(), fitted, collect, b);
  for (size_t i = 0; i < a->count; i++) {
    const char *other = find(b, a->v[i].path);
    if (other && strcmp(other, a->v[i].value) == 0) continue;
    put(p, a->v[i].path, a->v[i].value, other, reason_for(a->v[i].path));
  }
  for (size_t i = 0; i < b->count; i++) {
    if (find(a, b->v[i].path)) continue;
    put(p, b->v[i].path, NULL, b->v[i].value, reason_for(b->v[i].path));
  }
}

/* ---- card against car ---- */

static void compare_words(pile *p, const char *what, const char *car, const char *card,
                          const char *why) {
  if (car && card && !lw_text_same(car, card)) put(p, what, card, car, why);
}

/* Differences between the card that was named and the car in the bay: the card is not its card. */
static void compare_car(pile *p, const lw_job *job, const lw_card *card) {
  compare_words(p, "engine", job->car.engine, card->engine_name, "the card is of another engine");
  if (job->car.transmission && card->transmission && job->car.transmission != card->transmission) {
    put(p, "transmission", lw_transmission_text(card->transmission),
        lw_transmission_text(job->car.transmission),
        "the card is for the other transmission: idle speed, mixture and devices differ");
  }
  if (job->car.year && card->year && job->car.year != card->year) {
    put(p, "model year", say(p->d, "%d", card->year), say(p->d, "%d", job->car.year),
        "units of other years may be calibrated otherwise");
  }
  compare_words(p, "emission package", job->car.emissions, card->emissions,
                "another emission package is another calibration");
  double a = job->car.displacement, b = card->engine.displacement;
  if (lw_known(a) && lw_known(b) && fabs(a / b - 1) > 0.02) {
    put(p, "displacement", say_both(p->d, LW_VOLUME, b), say_both(p->d, LW_VOLUME, a),
        "the card is of another engine");
  }
}

/* ---- the answer ---- */

static void conclude(desk *d, lw_intake *in, const pile *p, size_t car_differences) {
  const lw_job *job = d->work->job;
  const lw_card *card = d->work->card, *fitted = d->work->fitted;
  const char *number = job->fitted_unit ? job->fitted_unit : fitted ? fitted->unit : NULL;
  if (!card) {
    in->summary = "not known: no spec card of this car was given";
  } else if (car_differences) {
    in->answer = LW_BELONGS_NOT;
    in->summary =
        say(d, "the spec card (%s) is not for this car: %s differs", card->unit, p->item[0].what);
  } else if (!number) {
    in->summary = "not known: read the number on the unit (tag or casting) and give it";
  } else if (lw_text_same(number, card->unit)) {
    in->answer = LW_BELONGS;
    in->summary = say(d, "unit %s belongs on this engine and transmission", number);
  } else if (!fitted) {
    in->answer = LW_BELONGS_NOT;
    in->summary = say(d,
                      "unit %s is fitted, %s belongs here; give the fitted unit's card to see what "
                      "differs",
                      number, card->unit);
  } else {
    in->answer = LW_BELONGS_NOT;
    bool other =
        fitted->transmission && card->transmission && fitted->transmission != card->transmission;
    in->summary =
        other
            ? say(d,
                  "unit %s is for the %s transmission; this car has the %s and needs %s. They look "
                  "alike and do not interchange",
                  number, lw_transmission_text(fitted->transmission),
                  lw_transmission_text(card->transmission), card->unit)
            : say(d, "unit %s is fitted, %s belongs here; they differ in %zu specified points",
                  number, card->unit, p->count + p->beyond);
  }
}

void work_intake(desk *d) {
  lw_work *w = d->work;
  pile *p = lw_arena_alloc(d->arena, sizeof *p);
  if (!p) {
    d->no_memory = true;
    return;
  }
  p->d = d;
  if (w->card) compare_car(p, w->job, w->card);
  size_t car_differences = p->count;
  bool other_unit = w->card && w->fitted && !lw_text_same(w->card->unit, w->fitted->unit);
  if (other_unit) compare_cards(p, w->card, w->fitted);
  conclude(d, &w->intake, p, car_differences);
  w->intake.differences = p->item;
  w->intake.difference_count = p->count;
}
