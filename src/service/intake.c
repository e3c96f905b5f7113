/* intake.c - does the fitted unit belong on this car?
**
** Units for manual and automatic transmission look alike and do not interchange. `leanward brief`
** says what each difference does and sizes it on the twin.
*/
#include "differ.h"

#include <math.h>
#include <string.h>

enum { DIFFERENCES_MOST = 40 };

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

/* ---- two cards side by side ---- */

static void compare_texts(pile *p, const char *what, const char *a, const char *b) {
  if ((a || b) && !lw_text_same(a, b)) put(p, what, a, b, differ_reason(what));
}

/* What the person at the screws must know first, each as one difference. */
static void compare_main(pile *p, const lw_card *card, const lw_card *fitted) {
  compare_texts(p, "idle mixture screws", differ_screws(p->d, card), differ_screws(p->d, fitted));
  compare_texts(p, "sealed parts", differ_sealed(p->d, card), differ_sealed(p->d, fitted));
  compare_texts(p, "initial timing", differ_timing(p->d, card), differ_timing(p->d, fitted));
  compare_texts(p, "centrifugal advance", differ_curve(p->d, &card->engine.centrifugal_advance),
                differ_curve(p->d, &fitted->engine.centrifugal_advance));
  compare_texts(p, "vacuum advance", differ_curve(p->d, &card->engine.vacuum_advance),
                differ_curve(p->d, &fitted->engine.vacuum_advance));
}

/* Every other plain value of the idle and of the carburetor. */
static bool told_as_one(const char *path) {
  return strstr(path, ", screws ") || strstr(path, ", sealed") || strstr(path, "procedure");
}

static bool of_idle(const char *path) {
  return strncmp(path, "idle, ", 6) == 0 && !told_as_one(path);
}

static bool of_unit(const char *path) {
  return strncmp(path, "carburetor, ", 12) == 0 && !told_as_one(path);
}

static void put_value(void *to, const char *path, const char *a, const char *b) {
  const char *what = of_unit(path) ? path + 12 : path;
  put(to, what, a, b, differ_reason(what));
}

static void compare_values(pile *p, const lw_card *card, const lw_card *fitted,
                           bool (*wanted)(const char *path)) {
  said_list *a = said_of(p->d, card, wanted), *b = said_of(p->d, fitted, wanted);
  if (a && b) said_compare(a, b, put_value, p);
}

/* Idle figures first, then the unit's sizes, in the order of the card. */
static void compare_cards(pile *p, const lw_card *card, const lw_card *fitted) {
  compare_main(p, card, fitted);
  compare_values(p, card, fitted, of_idle);
  compare_values(p, card, fitted, of_unit);
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
    in->summary = "no spec card of this car was given";
  } else if (car_differences) {
    in->answer = LW_BELONGS_NOT;
    in->summary =
        say(d, "the spec card (%s) is not for this car: %s differs", card->unit, p->item[0].what);
  } else if (job->fitted_unit && fitted && !lw_text_same(job->fitted_unit, fitted->unit)) {
    in->answer = LW_BELONGS_NOT;
    in->summary = say(d, "the number on the unit is %s, but the fitted unit's card is of %s",
                      job->fitted_unit, fitted->unit);
  } else if (!number) {
    in->summary = "read the number on the unit (tag or casting) and give it";
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
