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
    {"power jet", "full-throttle mixture differs"},
    {"booster", "signal and start of the main circuit differ: lean or rich over the whole range"},
    {"nozzle lip", "the main circuit starts at another air flow"},
    {"vent", "mixture follows the air cleaner's restriction in another way"},
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

/* "left, right: fuel-side screw with limited travel, right-hand, 1/2 turn to 3 turns" */
static const char *screws_text(desk *d, const lw_card *card) {
  const lw_screw_card *s = card->carburetor.screws.items;
  char text[500] = "";
  for (size_t i = 0; i < card->carburetor.screws.count; i++) {
    char travel[80] = "";
    lw_thread thread = lw_screw_thread(&s[i]);
    if (lw_range_known(s[i].travel)) {
      lw_range_text(travel, sizeof travel, LW_TURNS, LW_SHOP, s[i].travel);
    }
    lw_text_append(text, sizeof text, "%s%s: %s%s%s%s", i ? "; " : "", s[i].name,
                   lw_screw_kind_text(s[i].kind),
                   thread == LW_THREAD_LEFT    ? ", left-hand thread"
                   : thread == LW_THREAD_RIGHT ? ", right-hand thread"
                                               : "",
                   travel[0] ? ", travel " : "", travel);
  }
  return text[0] ? say(d, "%s", text) : NULL;
}

static const char *sealed_text(desk *d, const lw_card *card) {
  const lw_texts *t = &card->carburetor.sealed;
  char text[500] = "";
  for (size_t i = 0; i < t->count; i++) {
    lw_text_append(text, sizeof text, "%s%s", i ? "; " : "", t->text[i]);
  }
  return text[0] ? say(d, "%s", text) : NULL;
}

static const char *timing_text(desk *d, const lw_card *card) {
  lw_range t = card->engine.initial_timing;
  char lo[40], hi[40];
  if (!lw_range_known(t)) return NULL;
  lw_timing_text(lo, sizeof lo, t.lo);
  lw_timing_text(hi, sizeof hi, t.hi);
  return strcmp(lo, hi) ? say(d, "%s to %s", lo, hi) : say(d, "%s", lo);
}

/* A curve as its span at each point: "1000 rpm 0 to 4 deg, ..." */
static const char *curve_text(desk *d, const lw_list *list) {
  const lw_advance_point *p = list->items;
  char text[400] = "";
  for (size_t i = 0; i < list->count; i++) {
    char at[48], span[64];
    bool by_speed = lw_known(p[i].speed);
    lw_quantity_text(at, sizeof at, by_speed ? LW_SPIN : LW_PRESSURE, LW_SHOP,
                     by_speed ? p[i].speed : p[i].vacuum, NAN);
    lw_range_text(span, sizeof span, LW_ANGLE, LW_SHOP, p[i].advance);
    lw_text_append(text, sizeof text, "%s%s at %s", i ? ", " : "", span, at);
  }
  return text[0] ? say(d, "%s", text) : NULL;
}

static void compare_texts(pile *p, const char *what, const char *a, const char *b) {
  if ((a || b) && !lw_text_same(a, b)) put(p, what, a, b, reason_for(what));
}

/* What the person at the screws must know first, each as one difference. */
static void compare_main(pile *p, const lw_card *card, const lw_card *fitted) {
  compare_texts(p, "idle mixture screws", screws_text(p->d, card), screws_text(p->d, fitted));
  compare_texts(p, "sealed parts", sealed_text(p->d, card), sealed_text(p->d, fitted));
  compare_texts(p, "initial timing", timing_text(p->d, card), timing_text(p->d, fitted));
  compare_texts(p, "centrifugal advance", curve_text(p->d, &card->engine.centrifugal_advance),
                curve_text(p->d, &fitted->engine.centrifugal_advance));
  compare_texts(p, "vacuum advance", curve_text(p->d, &card->engine.vacuum_advance),
                curve_text(p->d, &fitted->engine.vacuum_advance));
}

typedef struct said {
  const char *path, *value;
} said;

typedef struct values {
  desk *d;
  said v[VALUES_MOST];
  size_t count;
} values;

/* Every other plain value of the idle and of the carburetor. */
static void collect(void *to, const char *path, const lw_field *field, const char *shop,
                    const char *metric) {
  values *v = to;
  (void)field;
  (void)metric;
  bool idle = strncmp(path, "idle, ", 6) == 0, unit = strncmp(path, "carburetor, ", 12) == 0;
  bool told = strstr(path, ", screws ") || strstr(path, ", sealed") || strstr(path, "procedure");
  if ((!idle && !unit) || told || v->count == VALUES_MOST) return;
  v->v[v->count++] = (said){say(v->d, "%s", unit ? path + 12 : path), say(v->d, "%s", shop)};
}

static const char *find(const values *v, const char *path) {
  for (size_t i = 0; i < v->count; i++) {
    if (strcmp(v->v[i].path, path) == 0) return v->v[i].value;
  }
  return NULL;
}

/* Idle figures first, then the unit's sizes, in the order of the card. */
static void compare_values(pile *p, const values *a, const values *b, bool idle) {
  for (size_t i = 0; i < a->count; i++) {
    const char *other = find(b, a->v[i].path);
    bool is_idle = strncmp(a->v[i].path, "idle, ", 6) == 0;
    if (is_idle != idle || (other && strcmp(other, a->v[i].value) == 0)) continue;
    put(p, a->v[i].path, a->v[i].value, other, reason_for(a->v[i].path));
  }
  for (size_t i = 0; i < b->count; i++) {
    bool is_idle = strncmp(b->v[i].path, "idle, ", 6) == 0;
    if (is_idle != idle || find(a, b->v[i].path)) continue;
    put(p, b->v[i].path, NULL, b->v[i].value, reason_for(b->v[i].path));
  }
}

static void compare_cards(pile *p, const lw_card *card, const lw_card *fitted) {
  values *a = lw_arena_alloc(p->d->arena, sizeof *a), *b = lw_arena_alloc(p->d->arena, sizeof *b);
  if (!a || !b) {
    p->d->no_memory = true;
    return;
  }
  a->d = b->d = p->d;
  compare_main(p, card, fitted);
  lw_table_walk(lw_card_table(), card, collect, a);
  lw_table_walk(lw_card_table(), fitted, collect, b);
  compare_values(p, a, b, true);
  compare_values(p, a, b, false);
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
