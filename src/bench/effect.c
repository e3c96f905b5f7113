/* effect.c - what a change does, place by place, in words.
**
** The bounds between places are ours: a closed throttle is idle up to 1.3 times the idle speed,
** else coasting; off idle is the throttle's first eighth; wide open is under 0.08 of the air
** outside as vacuum, cruise over 0.3 of it.
*/
#include "bench_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double worth_saying = 0.005; /* of lambda */

lw_place lw_place_of(const lw_map_point *p, double idle, double ambient) {
  double vacuum = (ambient - p->manifold) / ambient;
  if (p->throttle < 0.005) return p->speed <= 1.3 * idle ? LW_PLACE_IDLE : LW_PLACE_COAST;
  if (vacuum < 0.08) return LW_PLACE_WIDE_OPEN;
  if (p->throttle < 0.125 && vacuum > 0.3) return LW_PLACE_OFF_IDLE;
  return vacuum > 0.3 ? LW_PLACE_CRUISE : LW_PLACE_LOAD;
}

static const char *subject(lw_place place) {
  static const char *const texts[] = {"idle",   "coasting",   "the step off idle",
                                      "cruise", "heavy load", "wide open throttle"};
  return texts[place];
}

static const char *say_change(lw_arena *arena, const lw_effect *e) {
  char rpm[32];
  const char *name = subject(e->place);
  int speed = (int)lround(lw_dim_shown(LW_SPIN, LW_SHOP, e->speed));
  if (speed >= 1000) {
    snprintf(rpm, sizeof rpm, "%d,%03d rpm", speed / 1000, speed % 1000);
  } else {
    snprintf(rpm, sizeof rpm, "%d rpm", speed);
  }
  if (fabs(e->worst) < worth_saying) {
    return lw_arena_print(arena, "leaves %s as it is (within %.1f %%)", name, 100 * worth_saying);
  }
  double span = 100 * fabs(e->mean), worst = 100 * fabs(e->worst);
  bool even = e->mean * e->worst > 0 && fabs(span - worst) < fmax(0.15 * worst, 0.2);
  const char *verb = e->worst > 0 ? "leans" : "richens";
  if (e->points == 1 || even) {
    return lw_arena_print(arena,
                          "%s %s by %.1f %% (air-fuel ratio %.1f to %.1f at %s, throttle "
                          "%.0f %%)",
                          verb, name, worst, e->afr, e->afr_changed, rpm, 100 * e->throttle);
  }
  return lw_arena_print(arena,
                        "%s %s by up to %.1f %% (air-fuel ratio %.1f to %.1f at %s, throttle "
                        "%.0f %%; %+.1f %% in the mean)",
                        verb, name, worst, e->afr, e->afr_changed, rpm, 100 * e->throttle,
                        100 * e->mean);
}

static const char *say(lw_arena *arena, const lw_effect *e) {
  if (!e->points) {
    return lw_arena_print(arena, "leaves %s without any fuel (%zu point%s)", subject(e->place),
                          e->dry, e->dry > 1 ? "s" : "");
  }
  const char *words = say_change(arena, e);
  if (!words || !e->dry) return words;
  return lw_arena_print(arena, "%s; at %zu more point%s no fuel flows at all", words, e->dry,
                        e->dry > 1 ? "s" : "");
}

static void count(lw_effect *e, const lw_map_point *a, const lw_map_point *b, double change) {
  e->points++;
  e->mean += change;
  if (e->points > 1 && fabs(change) <= fabs(e->worst)) return;
  e->worst = change;
  e->speed = a->speed;
  e->throttle = a->throttle;
  e->afr = a->afr;
  e->afr_changed = b->afr;
}

static const char *summarize(lw_arena *arena, const lw_comparison *c) {
  const lw_effect *most = NULL;
  size_t compared = 0;
  char dry[64] = "";
  for (int i = 0; i < LW_PLACES; i++) {
    const lw_effect *e = &c->effects[i];
    compared += e->points;
    if (e->points && (!most || fabs(e->worst) > fabs(most->worst))) most = e;
  }
  if (c->dry) {
    snprintf(dry, sizeof dry, "no fuel flows at %zu of %zu points%s", c->dry, compared + c->dry,
             most ? "; else " : "");
  }
  if (!most) {
    return lw_arena_print(arena, "%s",
                          c->dry ? dry : "nothing can be compared: no point has a mixture in both");
  }
  if (fabs(most->worst) < worth_saying) {
    return lw_arena_print(arena, "%schanges nothing worth saying: under %.1f %% at all %zu points",
                          dry, 100 * worth_saying, compared);
  }
  return lw_arena_print(arena, "%smost at %s: %+.1f %% (%s)", dry, subject(most->place),
                        100 * most->worst, most->worst > 0 ? "leaner" : "richer");
}

double lw_change(const lw_map_point *original, const lw_map_point *changed) {
  return changed->lambda / original->lambda - 1;
}

lw_status lw_compare(lw_arena *arena, const lw_map *original, const lw_map *changed, double idle,
                     double ambient, lw_comparison **comparison, lw_error *error) {
  lw_comparison *c = lw_arena_alloc(arena, sizeof *c);
  if (!c) return lw_fail(error, LW_NO_MEMORY, "no memory for this comparison");
  c->original = original;
  c->changed = changed;
  if (!lw_known(idle)) idle = original->speed[0];
  for (int i = 0; i < LW_PLACES; i++)
    c->effects[i].place = (lw_place)i;
  for (size_t i = 0; i < original->throttles * original->speeds; i++) {
    const lw_map_point *a = &original->points[i], *b = &changed->points[i];
    double change = lw_change(a, b);
    if (!a->report.converged || !b->report.converged) {
      c->lost++;
      continue;
    }
    lw_effect *e = &c->effects[lw_place_of(a, idle, ambient)];
    if (change == change) {
      count(e, a, b, change);
      if (fabs(change) > fabs(c->worst)) c->worst = change;
    } else if (a->lambda == a->lambda) {
      e->dry++;
      c->dry++;
    }
  }
  for (int i = 0; i < LW_PLACES; i++) {
    lw_effect *e = &c->effects[i];
    if (!e->points && !e->dry) continue;
    if (e->points) e->mean /= (double)e->points;
    e->words = say(arena, e);
    if (!e->words) return lw_fail(error, LW_NO_MEMORY, "no memory for this comparison");
  }
  c->summary = summarize(arena, c);
  if (!c->summary) return lw_fail(error, LW_NO_MEMORY, "no memory for this comparison");
  *comparison = c;
  return LW_OK;
}

const char *lw_place_text(lw_place place) {
  static const char *const texts[] = {
#define TEXT_OF(id, text) text,
      LW_PLACE_LIST(TEXT_OF)
#undef TEXT_OF
  };
  return texts[place];
}
