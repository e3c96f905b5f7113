/* advice.c - which screw, which way, how far: idle advice by rule.
**
** The rules (common practice; the twin will better them later):
**   - nothing is turned on an engine that is not fit, on a reading that has not settled, or on a
**     sample full of air;
**   - speed first when it is outside its span, then mixture, then speed again;
**   - clockwise leans on every kind of mixture screw; the air-bleed kind moves out doing so and is
**     gentler, so it is turned twice as far;
**   - the last turn is clockwise, from the rich side: setting ends lean;
**   - no move goes past a stop; at a stop the cause is sought elsewhere;
**   - sealed parts are never named as something to turn.
** Step sizes: an eighth of a turn moves CO by about a percent on a fuel-side screw, a quarter turn
** of the speed screw moves idle by about 100 rpm. Both from memory; a reading follows every move.
*/
#include "service_internal.h"

#include <math.h>
#include <stdint.h>
#include <string.h>
#include <strings.h>

static const double least_move = 1.0 / 16; /* turns: less cannot be turned on purpose */

typedef struct aim {
  lw_range co, speed;
  const char *co_from; /* "the card's target" */
} aim;

static const char *say_turns(desk *d, double turns) {
  char text[40];
  return say(d, "%s", lw_turns_text(text, sizeof text, turns));
}

/* ---- aims ---- */

/* The card's CO span, but a limit under it binds; without a span, or over the limit, from half a
   percent to four fifths of the tightest CO limit at idle. */
static void aim_under(aim *a, double cap) {
  if (!isfinite(cap)) return;
  bool card = lw_range_known(a->co);
  if (card && !(a->co.hi > cap)) return;
  double hi = 0.8 * cap, lo = card && a->co.lo < hi ? a->co.lo : fmin(0.005, 0.4 * cap);
  a->co = (lw_range){lo, NAN, hi};
  a->co_from = card ? "four fifths of the limit, which lies under the card's target"
                    : "four fifths of the limit";
}

static aim aims(const desk *d, const lw_reading_work *r) {
  const lw_work *w = d->work;
  aim a = {lw_range_none, lw_range_none, NULL};
  if (w->card) {
    const lw_idle_card *idle = &w->card->idle;
    bool drive = r && r->reading->gear == LW_GEAR_DRIVE && lw_range_known(idle->speed_drive);
    a.speed = drive ? idle->speed_drive : idle->speed;
    a.co = idle->co;
    a.co_from = "the card's target";
  }
  double cap = INFINITY;
  for (size_t i = 0; i < w->judgement_count; i++) {
    const lw_judgement *j = &w->judgements[i];
    if (j->gas == LW_GAS_CO && j->at == LW_AT_IDLE) cap = fmin(cap, j->limit.hi);
  }
  aim_under(&a, cap);
  /* a single figure is held to a tenth of a percent or a tenth of itself, whichever is more */
  if (lw_known(a.co.at) && a.co.lo == a.co.hi) {
    double slack = fmax(0.001, 0.1 * a.co.at);
    a.co.lo -= slack;
    a.co.hi += slack;
  }
  if (lw_known(a.speed.at) && a.speed.lo == a.speed.hi) {
    a.speed.lo -= 25 * 0.10471975511965977; /* 25 rpm: what a tachometer and a hand can hold */
    a.speed.hi += 25 * 0.10471975511965977;
  }
  return a;
}

static const char *say_target(desk *d, const aim *a) {
  const char *co = lw_range_known(a->co) ? say(d, "CO %s", say_range(d, LW_FRACTION, a->co)) : "";
  const char *speed = lw_range_known(a->speed) ? say_range(d, LW_SPIN, a->speed) : "";
  if (!co[0] && !speed[0]) return NULL;
  return say(d, "%s%s%s", co, co[0] && speed[0] ? ", " : "", speed);
}

/* ---- screws ---- */

/* "left screw", "left mixture screws": the name alone or with what it is. */
static bool calls(const char *text, const char *name) {
  static const char *const tails[] = {"", " screw", " screws", " mixture screw", " mixture screws"};
  size_t n = strlen(name);
  if (strncasecmp(text, name, n) != 0) return false;
  for (size_t i = 0; i < sizeof tails / sizeof tails[0]; i++) {
    if (lw_text_same(text + n, tails[i])) return true;
  }
  return false;
}

static bool is_sealed(const desk *d, const char *name) {
  const lw_texts *t = &carburetor_of(d)->sealed;
  for (size_t i = 0; i < t->count; i++) {
    if (calls(t->text[i], name)) return true;
  }
  return false;
}

/* A screw the card lists as sealed is no screw to turn, whatever its kind. */
static bool adjustable_screw(const desk *d, const lw_screw_card *s) {
  return s->kind != LW_SCREW_FIXED && !is_sealed(d, s->name) && !is_sealed(d, "mixture") &&
         !is_sealed(d, "idle mixture");
}

static const lw_screw_card *first_adjustable(const desk *d, size_t *adjustable) {
  const lw_list *list = &carburetor_of(d)->screws;
  const lw_screw_card *screws = list->items, *first = NULL;
  *adjustable = 0;
  for (size_t i = 0; i < list->count; i++) {
    if (!adjustable_screw(d, &screws[i])) continue;
    if (!first) first = &screws[i];
    (*adjustable)++;
  }
  return first;
}

static double position(const lw_reading *r, const char *name) {
  const lw_named *named = r->screws.items;
  for (size_t i = 0; i < r->screws.count; i++) {
    if (lw_text_same(named[i].name, name)) return named[i].x;
  }
  return NAN;
}

/* How far the screw can still go this way, over all adjustable ones; NaN when not known. */
static double room(const desk *d, const lw_reading *r, bool leaner) {
  const lw_list *list = &carburetor_of(d)->screws;
  const lw_screw_card *s = list->items;
  double least = NAN;
  for (size_t i = 0; i < list->count; i++) {
    double at = position(r, s[i].name);
    if (!adjustable_screw(d, &s[i]) || !lw_known(at)) continue;
    bool outward = (s[i].kind == LW_SCREW_AIR_BLEED) == leaner;
    double end = outward ? s[i].travel.hi : lw_known(s[i].travel.lo) ? s[i].travel.lo : 0;
    double left = outward ? end - at : at - end;
    if (lw_known(left) && !(least < left)) least = fmax(left, 0);
  }
  return least;
}

/* Names of the screws as a person would say them: "the rear mixture screw". */
static const char *screw_names(desk *d, const lw_screw_card *first, size_t adjustable) {
  if (!first) return "the mixture screw (every one of them alike)";
  if (adjustable == 1) {
    bool whole = strstr(first->name, "screw"), kind = strstr(first->name, "mixture");
    bool bleed = strstr(first->name, "bleed");
    return say(d, "the %s%s", first->name,
               whole           ? ""
               : kind || bleed ? " screw"
                               : " mixture screw");
  }
  return adjustable == 2 ? "both mixture screws alike" : "all mixture screws alike";
}

/* A screw with a hard stop out there, and nobody has counted how far out it stands. */
static bool stop_unseen(const desk *d, const lw_reading *r) {
  const lw_list *list = &carburetor_of(d)->screws;
  const lw_screw_card *s = list->items;
  for (size_t i = 0; i < list->count; i++) {
    bool stopped = s[i].kind == LW_SCREW_FUEL_LIMITED || s[i].kind == LW_SCREW_FUEL_LIMITER;
    if (stopped && adjustable_screw(d, &s[i]) && !lw_known(position(r, s[i].name))) return true;
  }
  return false;
}

typedef struct spread {
  double lo, hi; /* least and most turns out */
  size_t count;
  bool reachable; /* the middle of the two lies inside every travel */
} spread;

/* Screws of one kind set apart feed their barrels apart. */
static spread apart(const desk *d, const lw_reading *r) {
  const lw_list *list = &carburetor_of(d)->screws;
  const lw_screw_card *s = list->items;
  spread a = {INFINITY, -INFINITY, 0, true};
  size_t adjustable = 0;
  const lw_screw_card *first = first_adjustable(d, &adjustable);
  for (size_t i = 0; i < list->count; i++) {
    double at = position(r, s[i].name);
    if (!adjustable_screw(d, &s[i]) || s[i].kind != first->kind || !lw_known(at)) continue;
    a.lo = fmin(a.lo, at);
    a.hi = fmax(a.hi, at);
    a.count++;
  }
  for (size_t i = 0; i < list->count; i++) {
    if (lw_range_side(s[i].travel, 0.5 * (a.lo + a.hi)) != 0) a.reachable = false;
  }
  return a;
}

/* ---- moves ---- */

static lw_move first_do(const char *words, const char *reason) {
  return (lw_move){.kind = LW_MOVE_FIRST, .words = words, .reason = reason};
}

static lw_move seek(const char *words, const char *reason) {
  return (lw_move){.kind = LW_MOVE_SEEK, .words = words, .reason = reason};
}

static lw_move speed_move(desk *d, double speed, lw_range span) {
  bool faster = speed < span.lo;
  double gap = faster ? span.lo - speed : speed - span.hi;
  double middle = fabs(speed - 0.5 * (span.lo + span.hi));
  /* a quarter turn for 100 rpm, in eighths, at most half a turn at a time */
  double rpm = lw_dim_shown(LW_SPIN, LW_SHOP, lw_known(middle) ? middle : gap);
  double turns = fmin(fmax(round(rpm / 50) / 8, 1.0 / 8), 0.5);
  bool clockwise = (carburetor_of(d)->speed_thread != LW_THREAD_LEFT) == faster;
  if (is_sealed(d, "idle speed") || is_sealed(d, "speed")) {
    return seek("the idle speed screw is sealed on this unit: look for what moves the speed",
                say(d, "idle is %s", faster ? "too slow" : "too fast"));
  }
  return (lw_move){
      .kind = LW_MOVE_SPEED,
      .screw = "idle speed",
      .clockwise = clockwise,
      .turns = turns,
      .words = say(d, "turn the idle speed screw %s about %s, wait, read again",
                   clockwise ? "clockwise" : "counter-clockwise", say_turns(d, turns)),
      .reason = say(d, "idle is %s, %s than %s", say_both(d, LW_SPIN, speed),
                    faster ? "slower" : "faster", say_range(d, LW_SPIN, span)),
  };
}

/* Sixteenths of a turn for a CO error on a fuel-side screw, before stops. */
static double wanted_turns(double error, lw_screw_kind kind) {
  double turns = error > 0.02 ? 0.25 : error > 0.005 ? 0.125 : least_move;
  return kind == LW_SCREW_AIR_BLEED ? 2 * turns : turns;
}

static bool all_fixed(const desk *d) {
  const lw_list *list = &carburetor_of(d)->screws;
  const lw_screw_card *s = list->items;
  for (size_t i = 0; i < list->count; i++) {
    if (s[i].kind != LW_SCREW_FIXED) return false;
  }
  return true;
}

static const char *stop_words(bool leaner) {
  return leaner ? "do not force the screw: find what makes it rich. Fuel level, a leaking power "
                  "valve, a plugged idle air bleed, the choke, fuel in the oil"
                : "do not force the screw: find what makes it lean. An air leak, a plugged idle "
                  "feed, a low fuel level";
}

static const char *mixture_words(desk *d, const lw_reading *r, const char *names, double turns,
                                 bool leaner) {
  const char *by = say_turns(d, turns);
  if (leaner) return say(d, "turn %s clockwise %s (leaner), wait, read again", names, by);
  return say(d,
             "turn %s counter-clockwise %s (richer)%s, wait, then finish with the last touch "
             "clockwise",
             names, by, stop_unseen(d, r) ? ", no farther than its stop" : "");
}

static lw_move mixture_move(desk *d, const lw_reading *r, double error, bool leaner,
                            const char *than) {
  size_t adjustable = 0;
  const lw_screw_card *s = first_adjustable(d, &adjustable);
  const char *state = say(d, "CO is %s than %s", leaner ? "higher" : "lower", than);
  bool listed = carburetor_of(d)->screws.count > 0;
  if (listed && !adjustable) {
    return seek(carburetor_of(d)->sealed.count && !all_fixed(d)
                    ? "the mixture screw is sealed on this unit: leave it and look for the cause"
                    : "there is no mixture screw on this unit: look for the cause",
                state);
  }
  double turns = wanted_turns(error, s ? s->kind : LW_SCREW_UNSAID), left = room(d, r, leaner);
  if (lw_known(left) && left < least_move) {
    return seek(stop_words(leaner),
                say(d, "%s and the screw is at the end of its travel that way", state));
  }
  if (lw_known(left)) turns = fmin(turns, floor(left * 16 + 1e-9) / 16);
  const char *words = mixture_words(d, r, screw_names(d, s, adjustable), turns, leaner);
  const char *screw = !s ? "all" : adjustable == 1 ? s->name : adjustable == 2 ? "both" : "all";
  return (lw_move){.kind = LW_MOVE_MIXTURE,
                   .screw = screw,
                   .leaner = leaner,
                   .clockwise = leaner,
                   .turns = turns,
                   .words = words,
                   .reason = state};
}

/* ---- what stands in the way ---- */

static bool noted(const lw_exhaust *e, lw_note_code code) {
  for (size_t i = 0; i < e->note_count; i++) {
    if (e->notes[i].code == code) return true;
  }
  return false;
}

static bool has_co(const lw_reading_work *r) {
  return r->has_gas;
}

/* True when something comes before any screw; fills the move. */
static bool blocked(desk *d, const lw_reading_work *r, lw_move *move) {
  const lw_work *w = d->work;
  if (w->intake.answer == LW_BELONGS_NOT) {
    *move = first_do("settle which unit and card belong on this car before adjusting",
                     w->intake.summary);
  } else if (w->fitness.overall == LW_NOT_FIT) {
    *move = first_do(w->fitness.first ? w->fitness.first : "repair first", w->fitness.summary);
  } else if (!r) {
    *move = first_do("take an idle reading: speed, CO, and HC, CO2 and O2 if the analyzer has them",
                     "there is no exhaust reading at idle");
  } else if (r->reading->settled == LW_NO) {
    *move = first_do("wait until the readings stop moving, then read again",
                     "the last reading had not settled");
  } else if (noted(&r->exhaust, LW_NOTE_AIR_ONLY) || r->exhaust.void_sample) {
    *move = first_do("find where air gets into the sample, then read again",
                     "the sample holds too much air to set anything by");
  } else if (noted(&r->exhaust, LW_NOTE_MISFIRE)) {
    bool lean = r->exhaust.lambda.x > 1.1; /* as the note of exhaust_notes.c */
    *move = seek(lean ? "a mixture this lean misses by itself: find the air leak; with none, start "
                        "the screws from the card's preset"
                      : "find the cylinder that does not fire before touching the screws",
                 "HC says that part of the charge leaves unburned");
  } else {
    return false;
  }
  return true;
}

/* Two screws apart, and gases that say so: bring them together first. */
static bool unbalanced(desk *d, const lw_reading_work *r, lw_move *move) {
  if (!noted(&r->exhaust, LW_NOTE_DILUTED)) return false;
  spread a = apart(d, r->reading);
  double by = a.hi - a.lo;
  if (a.count < 2 || !(by >= 0.25) || !a.reachable) return false;
  *move = (lw_move){
      .kind = LW_MOVE_BALANCE,
      .screw = a.count == 2 ? "both" : "all",
      .turns = by / 2,
      .words =
          say(d, "the screws stand %s apart: bring %s to the middle of the two, wait, read again",
              say_turns(d, by), a.count == 2 ? "both" : "all"),
      .reason = "CO and O2 together: one side is fed richer than the other",
  };
  return true;
}

static lw_move choose(desk *d, const lw_reading_work *r, const aim *a) {
  lw_move move = {0};
  if (blocked(d, r, &move)) return move;
  double speed = r->reading->speed, co = r->exhaust.filled.co;
  if (lw_known(speed) && lw_range_side(a->speed, speed) != 0) return speed_move(d, speed, a->speed);
  if (unbalanced(d, r, &move)) return move;
  if (noted(&r->exhaust, LW_NOTE_DILUTED) && r->exhaust.air_share > 0.1) {
    return first_do(
        "make the probe, its line and the exhaust joints tight, then read again",
        "CO and O2 stand side by side: outside air in the sample would hide a rich mixture");
  }
  if (!lw_range_known(a->co)) {
    return (lw_move){.kind = LW_MOVE_NONE,
                     .words = "no CO target and no CO limit was given",
                     .reason = "the card gives none"};
  }
  if (!lw_known(r->reading->co)) {
    return first_do("read CO at idle", "there is nothing to set the mixture by");
  }
  if (co > a->co.hi) return mixture_move(d, r->reading, co - a->co.hi, true, a->co_from);
  if (co < a->co.lo) return mixture_move(d, r->reading, a->co.lo - co, false, a->co_from);
  if (d->work->verdict == LW_OUTSIDE) {
    return seek("leave the screws; look for the cause of what is still outside",
                "idle CO is on target and yet a limit is not kept: the idle screws cannot cure it");
  }
  return (lw_move){.kind = LW_MOVE_NONE,
                   .words = "leave the screws where they are",
                   .reason = say(d, "speed and CO are on %s", a->co_from)};
}

/* ---- what follows, and what to mind ---- */

static void add_steps(desk *d, const lw_move *m, lines *steps) {
  if (d->work->fitness.overall == LW_FIT_UNKNOWN) {
    lines_add(d, steps, say(d, "before relying on it: %s", d->work->fitness.summary));
  }
  size_t adjustable = 0;
  const lw_list *screws = &carburetor_of(d)->screws;
  bool mixture = first_adjustable(d, &adjustable) || !screws->count;
  if (m->kind == LW_MOVE_SPEED || m->kind == LW_MOVE_MIXTURE) {
    lines_add(d, steps,
              "wait until the readings stop moving: the analyzer lags the engine by 10 to 30 "
              "seconds");
    lines_add(d, steps,
              m->kind == LW_MOVE_SPEED
                  ? "read the speed and CO again: the speed screw moves both"
                  : "bring the speed back with the idle speed screw, then read CO again");
  }
  if (m->kind == LW_MOVE_MIXTURE || (m->kind == LW_MOVE_SPEED && mixture)) {
    lines_add(d, steps,
              "end with the last touch of the mixture screw clockwise, from the rich side");
    lines_add(d, steps, "open the throttle for a moment, let it settle, and read once more");
  } else if (m->kind == LW_MOVE_NONE && m->reason) {
    if (carburetor_of(d)->dashpot == LW_YES) {
      lines_add(d, steps, "set the dashpot gap and the fast idle if they were backed off");
    }
    bool left = d->work->left != SIZE_MAX;
    if (!left) lines_add(d, steps, "take the as-left reading with the air cleaner on");
  }
}

static void add_cares(desk *d, lines *cares) {
  const lw_carburetor_card *c = carburetor_of(d);
  const lw_screw_card *s = c->screws.items;
  bool seen[LW_SCREW_FIXED + 1] = {false};
  for (size_t i = 0; i < c->screws.count; i++) {
    if (seen[s[i].kind]) continue;
    seen[s[i].kind] = true;
    switch (s[i].kind) {
    case LW_SCREW_FUEL_LIMITED:
      lines_add(d, cares,
                "the screw has a sealed stop on the rich side: force breaks it off in the "
                "casting, and the casting must then be replaced");
      break;
    case LW_SCREW_FUEL_LIMITER:
      lines_add(d, cares,
                "behind the sealed limiter the screw can only lean: fully out is as rich as it "
                "gets");
      break;
    case LW_SCREW_AIR_BLEED:
      lines_add(d, cares,
                "air-bleed screw with left-hand thread: clockwise moves it out, admits air and "
                "leans; its fine thread needs more turning for the same effect");
      break;
    case LW_SCREW_FIXED:
      lines_add(d, cares, say(d, "%s: no screw, nothing to adjust", s[i].name));
      break;
    default: break;
    }
  }
  for (size_t i = 0; i < c->sealed.count; i++) {
    lines_add(d, cares, say(d, "sealed, leave it alone: %s", c->sealed.text[i]));
  }
  lines_add(d, cares, "seat a screw lightly by hand only: a scored needle never sets again");
}

void work_advice(desk *d) {
  lw_advice *advice = &d->work->advice;
  const lw_reading_work *r = newest_idle(d, has_co);
  aim a = aims(d, r);
  lines steps = {0}, cares = {0};
  advice->move = choose(d, r, &a);
  advice->target = say_target(d, &a);
  add_steps(d, &advice->move, &steps);
  add_cares(d, &cares);
  advice->steps = steps.text;
  advice->step_count = steps.count;
  advice->cares = cares.text;
  advice->care_count = cares.count;
}
