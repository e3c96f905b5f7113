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

static const double least_move = 1.0 / 16; /* turns: less cannot be turned on purpose */

typedef struct aim {
  lw_range co, speed;
  const char *co_from; /* "the card's target" */
} aim;

/* ---- aims ---- */

/* The card's CO span; else from half a percent to four fifths of the tightest CO limit at idle. */
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
  if (!lw_range_known(a.co) && isfinite(cap)) {
    a.co = (lw_range){fmin(0.005, 0.4 * cap), NAN, 0.8 * cap};
    a.co_from = "four fifths of the limit";
  }
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

static const lw_screw_card *first_adjustable(const desk *d, size_t *adjustable) {
  const lw_list *list = &carburetor_of(d)->screws;
  const lw_screw_card *screws = list->items, *first = NULL;
  *adjustable = 0;
  for (size_t i = 0; i < list->count; i++) {
    if (screws[i].kind == LW_SCREW_FIXED) continue;
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
    if (s[i].kind == LW_SCREW_FIXED || !lw_known(at)) continue;
    bool outward = (s[i].kind == LW_SCREW_AIR_BLEED) == leaner;
    double end = outward ? s[i].travel.hi : lw_known(s[i].travel.lo) ? s[i].travel.lo : 0;
    double left = outward ? end - at : at - end;
    if (lw_known(left) && !(least < left)) least = fmax(left, 0);
  }
  return least;
}

/* Names of the screws as a person would say them: "the left and the right screw". */
static const char *screw_names(desk *d, const lw_screw_card *first, size_t adjustable) {
  if (!first) return "the mixture screw (every one of them alike)";
  if (adjustable == 1) return say(d, "the %s mixture screw", first->name);
  return adjustable == 2 ? "both mixture screws alike" : "all mixture screws alike";
}

/* Two screws set apart feed their barrels apart. */
static double apart(const desk *d, const lw_reading *r) {
  const lw_list *list = &carburetor_of(d)->screws;
  const lw_screw_card *s = list->items;
  double lo = INFINITY, hi = -INFINITY;
  for (size_t i = 0; i < list->count; i++) {
    double at = position(r, s[i].name);
    if (s[i].kind == LW_SCREW_FIXED || !lw_known(at)) continue;
    lo = fmin(lo, at);
    hi = fmax(hi, at);
  }
  return hi > lo ? hi - lo : 0;
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
  char text[40];
  lw_turns_text(text, sizeof text, turns);
  return (lw_move){
      .kind = LW_MOVE_SPEED,
      .screw = "idle speed",
      .clockwise = clockwise,
      .turns = turns,
      .words = say(d, "turn the idle speed screw %s about %s, wait, read again",
                   clockwise ? "clockwise" : "counter-clockwise", text),
      .reason = say(d, "idle is %s, %s than %s", say_both(d, LW_SPIN, speed),
                    faster ? "slower" : "faster", say_range(d, LW_SPIN, span)),
  };
}

/* Sixteenths of a turn for a CO error on a fuel-side screw, before stops. */
static double wanted_turns(double error, lw_screw_kind kind) {
  double turns = error > 0.02 ? 0.25 : error > 0.005 ? 0.125 : least_move;
  return kind == LW_SCREW_AIR_BLEED ? 2 * turns : turns;
}

static const char *stop_words(bool leaner) {
  return leaner ? "do not force the screw: find what makes it rich. Fuel level, a leaking power "
                  "valve, a plugged idle air bleed, the choke, fuel in the oil"
                : "do not force the screw: find what makes it lean. An air leak, a plugged idle "
                  "feed, a "
                  "low fuel level";
}

static lw_move mixture_move(desk *d, const lw_reading *r, double error, bool leaner) {
  size_t adjustable = 0;
  const lw_screw_card *s = first_adjustable(d, &adjustable);
  const char *state = say(d, "CO is %s than the target", leaner ? "higher" : "lower");
  bool listed = carburetor_of(d)->screws.count > 0;
  if (listed && !adjustable) {
    return seek("there is no mixture screw on this unit: look for the cause", state);
  }
  double turns = wanted_turns(error, s ? s->kind : LW_SCREW_UNSAID), left = room(d, r, leaner);
  if (lw_known(left) && left < least_move) {
    return seek(stop_words(leaner),
                say(d, "%s and the screw is at the end of its travel that way", state));
  }
  if (lw_known(left)) turns = fmin(turns, floor(left * 16 + 1e-9) / 16);
  char text[40];
  lw_turns_text(text, sizeof text, turns);
  const char *names = screw_names(d, s, adjustable);
  const char *words =
      leaner ? say(d, "turn %s clockwise %s (leaner), wait, read again", names, text)
             : say(d,
                   "turn %s counter-clockwise %s (richer), wait, then finish with the last "
                   "touch clockwise",
                   names, text);
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
    *move = seek("find the cylinder that does not fire before touching the screws",
                 "HC says that part of the charge leaves unburned");
  } else {
    return false;
  }
  return true;
}

/* Two screws apart, and gases that say so: bring them together first. */
static bool unbalanced(desk *d, const lw_reading_work *r, lw_move *move) {
  double by = apart(d, r->reading);
  if (by < 0.25 || !noted(&r->exhaust, LW_NOTE_DILUTED)) return false;
  char text[40];
  lw_turns_text(text, sizeof text, by);
  *move = (lw_move){
      .kind = LW_MOVE_MIXTURE,
      .screw = "balance",
      .leaner = true,
      .clockwise = true,
      .turns = by / 2,
      .words =
          say(d, "the screws stand %s apart: bring both to the middle of the two, wait, read again",
              text),
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
  if (co > a->co.hi) return mixture_move(d, r->reading, co - a->co.hi, true);
  if (co < a->co.lo) return mixture_move(d, r->reading, a->co.lo - co, false);
  if (d->work->verdict == LW_OUTSIDE) {
    return seek("leave the screws; look for the cause of what is still outside",
                "CO is on target and yet a limit is not kept: mixture is not the cause");
  }
  return (lw_move){.kind = LW_MOVE_NONE,
                   .words = "leave the screws where they are",
                   .reason = say(d, "speed and CO are on %s", a->co_from)};
}

/* ---- what follows, and what to mind ---- */

static void add_steps(desk *d, const lw_move *m, lines *steps) {
  if (d->work->fitness.overall == LW_FIT_UNKNOWN) {
    lines_add(steps, say(d, "before relying on it: %s", d->work->fitness.summary));
  }
  if (m->kind == LW_MOVE_SPEED || m->kind == LW_MOVE_MIXTURE) {
    lines_add(steps,
              "wait until the readings stop moving: the analyzer lags the engine by 10 to 30 "
              "seconds");
    lines_add(steps, "bring the speed back with the idle speed screw, then read CO again");
    lines_add(steps, "end with the last touch of the mixture screw clockwise, from the rich side");
    lines_add(steps, "open the throttle for a moment, let it settle, and read once more");
  } else if (m->kind == LW_MOVE_NONE && m->reason) {
    if (carburetor_of(d)->dashpot == LW_YES) {
      lines_add(steps, "set the dashpot gap and the fast idle if they were backed off");
    }
    bool left = d->work->left != SIZE_MAX;
    if (!left) lines_add(steps, "take the as-left reading with the air cleaner on");
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
      lines_add(cares, "the screw has a sealed stop on the rich side: force breaks it off in the "
                       "casting, and the casting must then be replaced");
      break;
    case LW_SCREW_FUEL_LIMITER:
      lines_add(cares,
                "behind the sealed limiter the screw can only lean: fully out is as rich as it "
                "gets");
      break;
    case LW_SCREW_AIR_BLEED:
      lines_add(cares,
                "air-bleed screw with left-hand thread: clockwise moves it out, admits air and "
                "leans; its fine thread needs more turning for the same effect");
      break;
    case LW_SCREW_FIXED:
      lines_add(cares, say(d, "%s: no screw, nothing to adjust", s[i].name));
      break;
    default: break;
    }
  }
  for (size_t i = 0; i < c->sealed.count; i++) {
    lines_add(cares, say(d, "sealed, leave it alone: %s", c->sealed.text[i]));
  }
  lines_add(cares, "seat a screw lightly by hand only: a scored needle never sets again");
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
  advice->steps = lines_keep(d, &steps);
  advice->step_count = steps.count;
  advice->cares = lines_keep(d, &cares);
  advice->care_count = cares.count;
}
