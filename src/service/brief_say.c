/* brief_say.c - the twin's numbers in words, as few digits as they deserve.
**
** CO in tenths of a percent, speed in tens of rpm (changes in fives), lambda in tenths of a percent
** and turns in sixteenths: finer than that a twin is not known to be right (docs/brief.md).
*/
#include "brief_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Less than this is not told as a change. */
static const double speed_worth = 0.26, co_worth = 5e-4, lambda_worth = 5e-3; /* 2.5 rpm */

/* ---- pieces ---- */

static double rpm(double speed) {
  return lw_dim_shown(LW_SPIN, LW_SHOP, speed);
}

static double to_ten(double speed) {
  return 10 * round(rpm(speed) / 10);
}

static double co_of(const lw_idle_point *p) {
  return 100 * p->run.burned.sampled.dry.co;
}

static double hc_of(const lw_idle_point *p) {
  return 1e6 / 6 * p->run.burned.sampled.dry.hc;
}

static const char *sixteenths(double turns, char *out, size_t size) {
  double at = round(16 * turns) / 16;
  if (fabs(at) > 1e-9) return lw_turns_text(out, size, at);
  out[0] = '\0';
  return lw_text_append(out, size, "0 turns");
}

const char *lw_brief_window_text(lw_brief_window w, char *out, size_t size) {
  char lo[48], hi[48];
  out[0] = '\0';
  if (!lw_known(w.lo)) return lw_text_append(out, size, "nowhere in its travel");
  sixteenths(w.lo, lo, sizeof lo);
  sixteenths(w.hi, hi, sizeof hi);
  if (w.hi - w.lo < 1.0 / 16)
    return lw_text_append(out, size, "at %s out, less than 1/16 turn wide", lo);
  return lw_text_append(out, size, "from %s to %s out", lo, hi);
}

static const char *window_text(desk *d, lw_brief_window w) {
  char text[160];
  return say(d, "%s", lw_brief_window_text(w, text, sizeof text));
}

static const char *turns_text(desk *d, double turns) {
  char text[48];
  return say(d, "%s", sixteenths(turns, text, sizeof text));
}

static const char *co_span(desk *d, const lw_brief_reach *r) {
  if (!r->run || !lw_known(r->co_lo)) return "not known";
  return say(d, "%.1f to %.1f %%", 100 * r->co_lo, 100 * r->co_hi);
}

static const char *speed_span(desk *d, const lw_brief_reach *r) {
  if (!r->run || !lw_known(r->speed_lo)) return "not known";
  return say(d, "%.0f to %.0f rpm%s", to_ten(r->speed_lo), to_ten(r->speed_hi),
             r->dies ? " (leaner, it dies)" : "");
}

static const char *set_text(desk *d, const lw_brief_reach *r) {
  if (!r->run) return "not known";
  return r->set.solved ? say(d, "%.1f %%", co_of(&r->set)) : "none: it does not run";
}

/* ---- the screws ---- */

static const char *say_reach(desk *d, const lw_brief *b) {
  const lw_brief_reach *a = &b->reach[0], *c = &b->reach[1];
  if (!a->run || !c->run) return NULL;
  return say(d,
             "screws from stop to stop reach CO %s before, %s now with the speed kept, and %s "
             "before, %s now with the speed screw left alone",
             a->screws ? co_span(d, a) : "nothing", c->screws ? co_span(d, c) : "nothing",
             a->screws ? speed_span(d, a) : "nothing", c->screws ? speed_span(d, c) : "nothing");
}

static const char *say_rich_end(desk *d, const lw_brief *b) {
  const lw_brief_reach *a = &b->reach[0], *c = &b->reach[1];
  if (!a->run || !c->run || !a->screws || !c->screws) return NULL;
  return say(d, "the richest the screws give is CO %.1f %% before, %.1f %% now", 100 * a->co_hi,
             100 * c->co_hi);
}

static const char *say_gentle(desk *d, const lw_brief *b) {
  double a = b->reach[0].co_per_turn, c = b->reach[1].co_per_turn;
  if (!lw_known(a) || !lw_known(c)) return NULL;
  return say(d, "1/16 turn about the preset moves CO by %.2f %% before, by %.2f %% now",
             100 * fabs(a) / 16, 100 * fabs(c) / 16);
}

static const char *say_target(desk *d, const lw_brief *b) {
  const lw_brief_reach *a = &b->reach[0], *c = &b->reach[1];
  if (!a->run || !c->run) return NULL;
  return say(d,
             "as its card sets it the twin stands at CO %s before, %s now; each card's own band is "
             "met %s before, %s now",
             set_text(d, a), set_text(d, c), window_text(d, a->target), window_text(d, c->target));
}

static const char *say_limit(desk *d, const lw_brief *b) {
  const lw_brief_reach *a = &b->reach[0], *c = &b->reach[1];
  if (!a->run || !c->run || !a->set.solved || !c->set.solved) return NULL;
  return say(
      d,
      "as its card sets it the twin stands at CO %.1f %%, HC %.0f ppm before and CO %.1f %%, "
      "HC %.0f ppm now; inside every limit of its own card %s before, %s now",
      co_of(&a->set), 10 * round(hc_of(&a->set) / 10), co_of(&c->set),
      10 * round(hc_of(&c->set) / 10), window_text(d, a->limits), window_text(d, c->limits));
}

/* ---- one difference alone ---- */

static void add(char *text, size_t size, const char *part) {
  lw_text_append(text, size, "%s%s", text[0] ? "; " : "", part);
}

static void add_idle(desk *d, const lw_brief_alone *o, char *text, size_t size) {
  double by = 5 * round(rpm(o->speed) / 5);
  if (o->stalls) {
    add(text, size, "the engine no longer idles on its stop");
  } else if (fabs(o->speed) >= speed_worth && by != 0) {
    add(text, size,
        say(d, "idle %.0f rpm %s, the stop left alone", fabs(by), by < 0 ? "slower" : "faster"));
  }
  if (fabs(o->co) >= co_worth) {
    add(text, size, say(d, "CO at idle %+.1f %%", 100 * o->co));
  } else if (fabs(o->idle) >= lambda_worth) {
    add(text, size,
        say(d, "idle %.1f %% %s", 100 * fabs(o->idle), o->idle > 0 ? "leaner" : "richer"));
  }
}

static const char *say_alone(desk *d, const lw_brief_alone *o) {
  char text[500] = "";
  if (!o->run) return NULL;
  add_idle(d, o, text, sizeof text);
  for (int i = LW_PLACE_OFF_IDLE; i < LW_PLACES; i++) {
    double x = o->places[i];
    if (!lw_known(x) || fabs(x) < lambda_worth) continue;
    add(text, sizeof text,
        say(d, "%s %.1f %% %s", lw_place_text((lw_place)i), 100 * fabs(x),
            x > 0 ? "leaner" : "richer"));
  }
  return text[0] ? say(d, "by itself: %s", text)
                 : "by itself: no change of idle or mixture that the twin feels";
}

/* ---- the closing throttle ---- */

static const char *snap_side(desk *d, const lw_brief_snap *s) {
  if (s->stalled) return "the engine dies";
  char distributor[80] = "";
  if (lw_known(s->distributor_fall)) {
    snprintf(distributor, sizeof distributor, ", vacuum at the distributor down after %.1f s",
             s->distributor_fall);
  }
  return say(d, "speed down after %.1f s%s, HC up to %.0f ppm", s->fall_time, distributor,
             10 * round(1e5 * s->hc_most));
}

static const char *say_snap(desk *d, const lw_brief *b) {
  if (!b->snap[0].run || !b->snap[1].run) return NULL;
  return say(d, "foot off at 2,500 rpm, before: %s; now: %s", snap_side(d, &b->snap[0]),
             snap_side(d, &b->snap[1]));
}

/* ---- which number belongs to which difference ---- */

static bool begins(const char *text, const char *with) {
  return text && strncmp(text, with, strlen(with)) == 0;
}

static const char *size_of_screw(desk *d, const lw_brief *b, const char *what) {
  if (begins(what, "kind") || begins(what, "number")) return say_reach(d, b);
  if (begins(what, "travel")) return say_rich_end(d, b);
  if (begins(what, "thread of the mixture")) return say_gentle(d, b);
  if (begins(what, "preset")) return say_gentle(d, b);
  return NULL;
}

static const char *size_of(desk *d, const lw_brief *b, const lw_brief_item *item,
                           const char *path) {
  if (item->alone.run) return say_alone(d, &item->alone);
  switch (item->group) {
  case LW_BRIEF_SCREWS: return size_of_screw(d, b, item->what);
  case LW_BRIEF_SEALED: return say_rich_end(d, b);
  case LW_BRIEF_LIMITS: return say_limit(d, b);
  case LW_BRIEF_SIZES: return strstr(item->what, "idle limiter") ? say_rich_end(d, b) : NULL;
  case LW_BRIEF_IDLE: return begins(path, "idle, CO") ? say_target(d, b) : NULL;
  case LW_BRIEF_DEVICES:
    return begins(path, "carburetor, dashpot") || begins(path, "engine, control valve")
               ? say_snap(d, b)
               : NULL;
  default: return NULL;
  }
}

/* A number that was said is not said again in the same brief. */
static bool said_before(const brief_desk *b, size_t i) {
  for (size_t k = 0; k < i; k++) {
    if (b->items[k].size && strcmp(b->items[k].size, b->items[i].size) == 0) return true;
  }
  return false;
}

static void say_sizes(brief_desk *b) {
  for (size_t i = 0; i < b->count; i++) {
    b->items[i].size = size_of(b->d, b->brief, &b->items[i], b->paths[i]);
    bool alone = b->items[i].alone.run;
    if (b->items[i].size && !alone && said_before(b, i)) b->items[i].size = NULL;
  }
}

/* ---- the wrong unit ---- */

static const char *came_text(desk *d, const lw_brief_swap *s) {
  const lw_brief_reach *r = &s->reach;
  if (!r->left.solved) return "dies on its stop as it comes";
  return say(d, "idles at %.0f rpm and CO %.1f %% as it comes", to_ten(r->left.run.setting.speed),
             co_of(&r->left));
}

static const char *range_text(desk *d, lw_dim dim, lw_range r) {
  char text[80];
  return say(d, "%s", lw_range_text(text, sizeof text, dim, LW_SHOP, r));
}

/* How far the screws are from where they meet the target. */
static const char *way_text(desk *d, const lw_brief_reach *r) {
  bool out = r->target.lo > r->turns;
  double way = out ? r->target.lo - r->turns : r->turns - r->target.hi;
  const char *to = out ? "out" : "in";
  if (way < 1.0 / 32) return say(d, "its screws must go %s by less than 1/16 turn", to);
  return say(d, "its screws must go %s by %s", to, turns_text(d, fmax(way, 1.0 / 16)));
}

const char *brief_swap_text(desk *d, const lw_brief_swap *s) {
  const lw_brief_reach *r = &s->reach;
  const lw_idle_card *idle = &s->engine->idle;
  const char *head = say(d, "%s on the engine of %s", s->unit->unit, s->engine->unit);
  if (!r->run) return say(d, "%s: not run (%s)", head, r->why ? r->why : "not known");
  if (!r->set.solved)
    return say(d, "%s %s; the speed cannot be set (%s)", head, came_text(d, s), r->set.why);
  const char *set = say(d, "%s %s; with the speed set to %.0f rpm CO is %.1f %%", head,
                        came_text(d, s), rpm(r->set.run.setting.speed), co_of(&r->set));
  if (!lw_range_known(idle->co)) return say(d, "%s; that card names no CO to compare it with", set);
  const char *wanted = range_text(d, LW_FRACTION, idle->co);
  switch (s->answer) {
  case LW_FITS: return say(d, "%s, where %s is specified", set, wanted);
  case LW_FITS_BY_SCREW:
    return say(d, "%s, where %s is specified; %s", set, wanted, way_text(d, r));
  default:
    return say(d, "%s, where %s is specified; %s", set, wanted,
               r->screws ? say(d, "its screws reach %s and do not meet it", co_span(d, r))
                         : "it has no screw to set it with");
  }
}

/* ---- the verdict ---- */

static void add_evidence(brief_desk *b, const char *text) {
  lines_add(b->d, &b->evidence, text);
}

static const char *line_text(desk *d, const lw_brief_figure *f) {
  return f->line ? say(d, " (line %d)", f->line) : "";
}

static void item_evidence(brief_desk *b, const lw_brief_item *i) {
  add_evidence(b, say(b->d, "%s: %s%s, not %s%s", i->what,
                      i->after.text ? i->after.text : "not given", line_text(b->d, &i->after),
                      i->before.text ? i->before.text : "not given", line_text(b->d, &i->before)));
}

/* A unit that is fitted is set afterwards: having to turn its screws speaks against nothing. */
static bool speaks_against(const lw_brief_swap *s) {
  return s->answer == LW_FITS_NOT;
}

/* The mark that `leanward rejet` sets for a mixture that is back. */
static const double another_mixture = 0.02;

static bool mixture_evidence(brief_desk *b) {
  const lw_comparison *c = b->brief->road;
  bool found = false;
  for (int i = LW_PLACE_OFF_IDLE; c && i < LW_PLACES; i++) {
    const lw_effect *e = &c->effects[i];
    if (!e->points || fabs(e->mean) < another_mixture) continue;
    add_evidence(b, say(b->d, "twin: another mixture on the same road: it %s", e->words));
    found = true;
  }
  return found;
}

static size_t swap_evidence(brief_desk *b, bool *known) {
  size_t against = 0;
  *known = true;
  for (int k = 0; k < 2; k++) {
    const lw_brief_swap *s = &b->brief->swap[k];
    add_evidence(b, say(b->d, "twin: %s", s->words));
    against += speaks_against(s);
    *known = *known && s->answer != LW_FITS_UNKNOWN;
  }
  return against;
}

static void say_verdict(brief_desk *b) {
  lw_brief *brief = b->brief;
  size_t against = 0;
  bool known = false;
  brief->interchanges = true;
  brief->verdict = "The two cards say the same.";
  if (b->count == 0) return;
  for (size_t i = 0; i < b->count; i++) {
    if (!b->items[i].interchange) continue;
    item_evidence(b, &b->items[i]);
    against++;
  }
  against += mixture_evidence(b);
  against += swap_evidence(b, &known);
  const char *was = brief->before.card->unit, *is = brief->after.card->unit;
  brief->interchanges = against == 0;
  brief->verdict =
      against ? say(b->d, "%s does not interchange with %s.", is, was)
              : say(b->d,
                    "Nothing on the cards%s keeps %s from standing in for %s; the parts list "
                    "decides.",
                    known ? " or from the twin" : "", is, was);
}

void brief_say(brief_desk *b) {
  say_sizes(b);
  say_verdict(b);
}
