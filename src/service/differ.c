/* differ.c - two spec cards side by side, value by value.
**
** The reasons given are common practice, no source; the brief sizes them on the twin.
*/
#include "differ.h"

#include <math.h>
#include <string.h>

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

const char *differ_reason(const char *path) {
  for (size_t i = 0; i < sizeof reasons / sizeof reasons[0]; i++) {
    if (strstr(path, reasons[i].part)) return reasons[i].why;
  }
  return NULL;
}

/* ---- parts that are read as one ---- */

/* "left, right: fuel-side screw with limited travel, right-hand, 1/2 turn to 3 turns" */
const char *differ_screws(desk *d, const lw_card *card) {
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

const char *differ_sealed(desk *d, const lw_card *card) {
  const lw_texts *t = &card->carburetor.sealed;
  char text[500] = "";
  for (size_t i = 0; i < t->count; i++) {
    lw_text_append(text, sizeof text, "%s%s", i ? "; " : "", t->text[i]);
  }
  return text[0] ? say(d, "%s", text) : NULL;
}

const char *differ_timing(desk *d, const lw_card *card) {
  lw_range t = card->engine.initial_timing;
  char lo[40], hi[40];
  if (!lw_range_known(t)) return NULL;
  lw_timing_text(lo, sizeof lo, t.lo);
  lw_timing_text(hi, sizeof hi, t.hi);
  return strcmp(lo, hi) ? say(d, "%s to %s", lo, hi) : say(d, "%s", lo);
}

/* A curve as its span at each point: "1000 rpm 0 to 4 deg, ..." */
const char *differ_curve(desk *d, const lw_list *points) {
  const lw_advance_point *p = points->items;
  char text[400] = "";
  for (size_t i = 0; i < points->count; i++) {
    char at[48], span[64];
    bool by_speed = lw_known(p[i].speed);
    lw_quantity_text(at, sizeof at, by_speed ? LW_SPIN : LW_PRESSURE, LW_SHOP,
                     by_speed ? p[i].speed : p[i].vacuum, NAN);
    lw_range_text(span, sizeof span, LW_ANGLE, LW_SHOP, p[i].advance);
    lw_text_append(text, sizeof text, "%s%s at %s", i ? ", " : "", span, at);
  }
  return text[0] ? say(d, "%s", text) : NULL;
}

/* ---- plain values ---- */

static void collect(void *to, const char *path, const lw_field *field, const char *shop,
                    const char *metric) {
  said_list *list = to;
  (void)field;
  (void)metric;
  if (list->count == SAID_MOST || !list->wanted(path)) return;
  list->v[list->count++] = (said){say(list->d, "%s", path), say(list->d, "%s", shop)};
}

said_list *said_of(desk *d, const lw_card *card, bool (*wanted)(const char *path)) {
  said_list *list = lw_arena_alloc(d->arena, sizeof *list);
  if (!list) {
    d->no_memory = true;
    return NULL;
  }
  list->d = d;
  list->wanted = wanted;
  lw_table_walk(lw_card_table(), card, collect, list);
  return list;
}

const char *said_value(const said_list *list, const char *path) {
  for (size_t i = 0; i < list->count; i++) {
    if (strcmp(list->v[i].path, path) == 0) return list->v[i].value;
  }
  return NULL;
}

void said_compare(const said_list *a, const said_list *b, said_visit visit, void *to) {
  for (size_t i = 0; i < a->count; i++) {
    const char *other = said_value(b, a->v[i].path);
    if (!other || strcmp(other, a->v[i].value) != 0) visit(to, a->v[i].path, a->v[i].value, other);
  }
  for (size_t i = 0; i < b->count; i++) {
    if (!said_value(a, b->v[i].path)) visit(to, b->v[i].path, NULL, b->v[i].value);
  }
}
