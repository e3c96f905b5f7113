/* what_if.c - NAME=VALUE: the names, and a changed copy of a twin.
**
** An edit changes a copy of the card, or what no card says (lw_altered). The network is then built
** anew from the changed card, the rest is put into it (alter.c), and the idle stop is set back
** where it stood: nobody has turned the speed screw.
*/
#include "bench_internal.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define HOLE "in, mm; plugged, worn 5 %, clogged 50 %"
#define BORE "in, mm"

/* Name, values, what it is, a fault?, who does it, passages it meters. */
#define WHAT_IF_LIST(X)                                                                            \
  X("main jet", HOLE, "bore of the main metering jet", false, lw_edit_size,                        \
    "main jet|power step of rod")                                                                  \
  X("main bleed", HOLE, "main air bleed", false, lw_edit_size, "main air bleed")                   \
  X("rod economy step", BORE, "metering rod where it leans", false, lw_edit_rod, NULL)             \
  X("rod power step", BORE, "metering rod where it enriches", false, lw_edit_rod, NULL)            \
  X("power jet", HOLE, "power enrichment restriction", false, lw_edit_size, "power jet")           \
  X("power valve opens", "inHg, kPa", "vacuum under which enrichment is full", false,              \
    lw_edit_power_vacuum, NULL)                                                                    \
  X("power valve closed", "inHg, kPa", "vacuum over which there is none", false,                   \
    lw_edit_power_vacuum, NULL)                                                                    \
  X("idle feed", HOLE, "idle fuel restriction (idle tube)", false, lw_edit_size, "idle feed")      \
  X("idle bleed", HOLE, "idle air bleed", false, lw_edit_size, "idle air bleed")                   \
  X("second idle bleed", HOLE, "further bleed of the idle channel", false, lw_edit_size,           \
    "second idle bleed")                                                                           \
  X("idle restriction", HOLE, "restriction in the idle channel", false, lw_edit_size,              \
    "idle restriction")                                                                            \
  X("idle port", HOLE, "discharge hole below the plate, the screw's seat", false, lw_edit_size,    \
    "screw|fixed idle port")                                                                       \
  X("idle limiter", "plugged, clogged 50 %", "sealed limiter of the idle mixture", true,           \
    lw_edit_size, "idle limiter|fixed idle port")                                                  \
  X("slot length", "in, mm; plugged, clogged 50 %", "transfer slot, along the bore", false,        \
    lw_edit_size, "transfer slot|slot above plate")                                                \
  X("slot width", "in, mm; plugged, clogged 50 %", "transfer slot, across", false, lw_edit_size,   \
    "transfer slot|slot above plate")                                                              \
  X("bypass", HOLE, "idle air passage around the plate", false, lw_edit_size, "idle air bypass")   \
  X("venturi", BORE, "main venturi throat", false, lw_edit_size, NULL)                             \
  X("booster", BORE, "booster venturi throat", false, lw_edit_size, NULL)                          \
  X("throttle bore", BORE, "bore at the throttle plate", false, lw_edit_size, NULL)                \
  X("nozzle lip", BORE, "height of the nozzle above the fuel level", false, lw_edit_size, NULL)    \
  X("screw", "turns",                                                                              \
    "mixture screw by its name on the card, as in 'left screw'; 'screws': all alike; + is "        \
    "outward",                                                                                     \
    false, lw_edit_screw, NULL)                                                                    \
  X("idle stop", "deg; + or - turns", "speed screw: throttle plate over shut; + opens", false,     \
    lw_edit_stop, NULL)                                                                            \
  X("float level", "+ or - mm, in", "change of the fuel's height; + is fuel higher", false,        \
    lw_edit_float, NULL)                                                                           \
  X("bowl vent", "internal, external, both", "where the fuel bowl breathes", false, lw_edit_vent,  \
    NULL)                                                                                          \
  X("choke", "20 %, 35 deg, open, shut", "how far the choke is shut", false, lw_edit_choke, NULL)  \
  X("air valve spring", "turns", "wind-up of the air valve's spring", false, lw_edit_air_valve,    \
    NULL)                                                                                          \
  X("altitude", "ft, m", "sets the pressure of the standard atmosphere; not the temperature",      \
    false, lw_edit_altitude, NULL)                                                                 \
  X("pressure", "inHg, kPa", "of the air outside", false, lw_edit_pressure, NULL)                  \
  X("temperature", "degF, degC", "of the air and the fuel", false, lw_edit_temperature, NULL)      \
  X("fuel", "gasoline, E10, E85, ...", "its density and the air it needs", false, lw_edit_fuel,    \
    NULL)                                                                                          \
  X("displacement", "in3, L", "of the engine on the same unit", false, lw_edit_engine, NULL)       \
  X("compression ratio", "a plain number", "of the engine", false, lw_edit_engine, NULL)           \
  X("timing", "deg; + is earlier", "initial timing, the whole curve with it", false,               \
    lw_edit_timing, NULL)                                                                          \
  X("vacuum advance", "plugged, ported, manifold, control valve", "where it gets its vacuum",      \
    false, lw_edit_vacuum_advance, NULL)                                                           \
  X("coolant", "degF, degC", "of the engine: cold oil, wet walls", false, lw_edit_coolant, NULL)   \
  X("humidity", "%", "of the air", false, lw_edit_humidity, NULL)                                  \
  X("accelerator pump", "weak 50 %, disconnected, sound", "what it delivers of its stroke", true,  \
    lw_edit_pump, NULL)                                                                            \
  X("dashpot", "2 s, none", "how long it takes to let the throttle shut", false, lw_edit_dashpot,  \
    NULL)                                                                                          \
  X("advance release", "2 s", "lag of the vacuum at the distributor when it falls", false,         \
    lw_edit_release, NULL)                                                                         \
  X("choke heat", "sound, none", "what opens the choke as the engine warms", true,                 \
    lw_edit_choke_heat, NULL)                                                                      \
  X("centrifugal advance", "stuck, sound", "the weights in the distributor", true,                 \
    lw_edit_advance, NULL)                                                                         \
  X("cylinder", "3 dead, 3 compression 70 %, 3 spark 50 %, 3 sound", "one cylinder's health",      \
    true, lw_edit_cylinder, NULL)                                                                  \
  X("leak at cylinder", "3, all", "whose port the vacuum leak is at", true, lw_edit_leak_at, NULL) \
  X("exhaust leak", "5 %, none", "outside air in the sample at the probe", true,                   \
    lw_edit_exhaust_leak, NULL)                                                                    \
  X("vacuum leak", "mm, in; none", "a hole into the manifold", true, lw_edit_hole, NULL)           \
  X("shaft wear", "mm, in; none", "play of the throttle shaft", true, lw_edit_hole, NULL)          \
  X("power valve", "leaking, stuck open, stuck shut, sound", "the valve of the enrichment", true,  \
    lw_edit_power_valve, NULL)                                                                     \
  X("air cleaner", "clogged 50 %, clean", "share of its opening that is lost", true,               \
    lw_edit_cleaner, NULL)                                                                         \
  X("check valve", "stuck open, stuck shut, sound", "off-idle check valve", true,                  \
    lw_edit_check_valve, NULL)                                                                     \
  X("secondary", "stuck open 5 deg, stuck shut, sound", "plates of the secondary barrels", true,   \
    lw_edit_secondary, NULL)

static const lw_what_if_name names[] = {
#define NAME_OF(name, values, what, fault, run, passages) {name, values, what, fault},
    WHAT_IF_LIST(NAME_OF)
#undef NAME_OF
};

static const struct {
  lw_status (*run)(lw_edit *e);
  const char *passages;
} deeds[] = {
#define DEED_OF(name, values, what, fault, run, passages) {run, passages},
    WHAT_IF_LIST(DEED_OF)
#undef DEED_OF
};

enum { NAMES = sizeof names / sizeof names[0], CANDIDATES = NAMES * 2 + 16 };

/* ---- values ---- */

lw_status lw_edit_refuse(const lw_edit *e, const char *format, ...) {
  char text[320];
  va_list args;
  va_start(args, format);
  vsnprintf(text, sizeof text, format, args);
  va_end(args);
  if (e->error) e->error->line = 0;
  lw_error_place(e->error, NULL, 0, e->text);
  return lw_fail(e->error, LW_BAD_INPUT, "%s", text);
}

static bool ends_in_percent(const char *text) {
  size_t n = strlen(text);
  return n && text[n - 1] == '%';
}

/* A change counts from no zero but the unit's: +10 degC is 10 K. */
static lw_status zero_of(const lw_edit *e, lw_dim dim, double *zero) {
  const char *unit = e->magnitude + strspn(e->magnitude, "0123456789./ ");
  double scale = 1;
  *zero = 0;
  if (dim != LW_TEMPERATURE) return LW_OK;
  return lw_units_scale(e->units, dim, unit, &scale, zero, NULL);
}

static lw_status within(const lw_edit *e, lw_dim dim, double x, double lo, double hi) {
  if (!(x < lo * (1 - 1e-12) || x > hi * (1 + 1e-12))) return LW_OK;
  char is[64], range[96];
  lw_quantity_text(is, sizeof is, dim, LW_SHOP, x, LW_NONE);
  lw_range_text(range, sizeof range, dim, LW_SHOP, (lw_range){lo, LW_NONE, hi});
  return lw_edit_refuse(e, "%s cannot be; %s is believed", is, range);
}

lw_status lw_edit_value(const lw_edit *e, lw_dim dim, double now, double lo, double hi,
                        double *value) {
  double x = 0, zero = 0;
  lw_error error = {0};
  char first = e->magnitude[0];
  bool percent = ends_in_percent(e->magnitude) && dim != LW_SHARE && dim != LW_FRACTION;
  if (!((first >= '0' && first <= '9') || first == '.')) {
    return lw_edit_refuse(e, "'%s' is not a value for it; use %s", e->value, names[e->row].values);
  }
  if (percent && !e->sign) {
    return lw_edit_refuse(e, "a percentage is a change: write +%s or -%s", e->value, e->value);
  }
  if (e->sign && !lw_known(now)) return lw_edit_refuse(e, "the card does not say what to change");
  lw_status status = lw_quantity_read(e->units, percent ? LW_SHARE : dim, e->magnitude, &x, &error);
  if (status == LW_OK && e->sign) status = zero_of(e, dim, &zero);
  if (status != LW_OK) return lw_edit_refuse(e, "%s", error.text);
  if (percent) {
    x = now * (1 + e->sign * x);
  } else if (e->sign) {
    x = now + e->sign * (x - zero);
  }
  status = within(e, dim, x, lo, hi);
  if (status == LW_OK) *value = x;
  return status;
}

bool lw_edit_share(const lw_edit *e, const char *word, double *share) {
  const char *text = e->value;
  char rest[120];
  double x = 0;
  if (word) {
    size_t n = strlen(word);
    if (strncmp(text, word, n) != 0 || text[n] != ' ') return false;
    text += n + 1;
  }
  snprintf(rest, sizeof rest, "%s", text);
  size_t n = strlen(rest);
  if (!word && n > 5 && strcmp(rest + n - 5, " shut") == 0) rest[n - 5] = '\0';
  if (lw_quantity_read(e->units, LW_SHARE, rest, &x, NULL) != LW_OK) return false;
  if (!(x >= 0 && x <= 1)) return false;
  *share = x;
  return true;
}

/* ---- taking an edit apart ---- */

/* Words of text[0..length) with one space between; letters that fold are kept as they are. */
static void words(char *out, size_t size, const char *text, size_t length) {
  size_t used = 0;
  for (size_t i = 0; i < length && used + 1 < size; i++) {
    bool blank = text[i] == ' ' || text[i] == '\t';
    if (blank && (used == 0 || out[used - 1] == ' ')) continue;
    out[used++] = blank ? ' ' : text[i];
  }
  if (used && out[used - 1] == ' ') used--;
  out[used] = '\0';
}

static void take_sign(lw_edit *e) {
  const char *v = e->value;
  e->sign = v[0] == '+' ? 1 : v[0] == '-' ? -1 : 0;
  if (strncmp(v, "\xE2\x88\x92", 3) == 0) { /* a typeset minus */
    e->sign = -1;
    v += 2;
  }
  e->magnitude = v + (e->sign ? 1 : 0);
  e->magnitude += strspn(e->magnitude, " ");
}

static lw_status take_apart(lw_edit *e, const char *text) {
  const char *equals = strchr(text, '=');
  if (!lw_text_utf8(text, strlen(text), NULL)) {
    snprintf(e->text, sizeof e->text, "edit");
    return lw_edit_refuse(e, "these bytes are not UTF-8 text");
  }
  snprintf(e->text, sizeof e->text, "%.120s", text);
  if (!equals) return lw_edit_refuse(e, "write NAME=VALUE, as in 'main jet=0.061 in'");
  words(e->name, sizeof e->name, text, (size_t)(equals - text));
  if (strlen(equals + 1) >= sizeof e->value) return lw_edit_refuse(e, "the value is too long");
  words(e->value, sizeof e->value, equals + 1, strlen(equals + 1));
  if (!e->name[0]) return lw_edit_refuse(e, "the name is missing before '='");
  if (!e->value[0]) return lw_edit_refuse(e, "the value is missing behind '='");
  take_sign(e);
  return LW_OK;
}

/* ---- names ---- */

static bool strip(char *name, const char *word) {
  size_t n = strlen(word);
  char first[16];
  snprintf(first, sizeof first, "%.*s", (int)n, name);
  if (!lw_text_same(first, word) || name[n] != ' ') return false;
  memmove(name, name + n + 1, strlen(name + n));
  return true;
}

static bool find_row(lw_edit *e, const char *name) {
  for (size_t i = 0; i < NAMES; i++) {
    if (!lw_text_same(name, names[i].name)) continue;
    e->row = i;
    return true;
  }
  return false;
}

static bool find_name(lw_edit *e) {
  char rest[sizeof e->name];
  if (lw_edit_screw_word(e->name) || lw_edit_find_screw(e->card, e->name)) {
    return find_row(e, "screw");
  }
  if (find_row(e, e->name)) return true;
  snprintf(rest, sizeof rest, "%s", e->name);
  e->secondary = strip(rest, "secondary");
  if (!e->secondary) strip(rest, "primary");
  e->side = strip(rest, "left") ? 1 : strip(rest, "right") ? 2 : 0;
  if (!find_row(e, rest)) return false;
  bool may = deeds[e->row].run == lw_edit_size || deeds[e->row].run == lw_edit_rod;
  return may && !(e->side && deeds[e->row].run == lw_edit_rod);
}

/* A name nobody knows: the nearest of all that this card understands. */
static lw_status unknown(lw_edit *e) {
  const char *known[CANDIDATES];
  char screws[8][96];
  size_t n = 0;
  const lw_list *list = &e->card->carburetor.screws;
  const lw_screw_card *s = list->items;
  for (size_t i = 0; i < NAMES; i++)
    known[n++] = names[i].name;
  for (size_t i = 0; i < list->count && i < 8; i++)
    known[n++] = lw_edit_screw_name(screws[i], sizeof screws[i], &s[i]);
  for (size_t i = 0; i < NAMES && e->card->carburetor.secondary.count; i++) {
    if (deeds[i].run != lw_edit_size) continue;
    known[n] = lw_arena_print(e->arena, "secondary %s", names[i].name);
    if (known[n]) n++;
  }
  const char *near = lw_text_nearest(e->name, known, n);
  if (near) return lw_edit_refuse(e, "'%s' is not known; is '%s' meant?", e->name, near);
  return lw_edit_refuse(e, "'%s' is not known; `leanward try --list` prints the names", e->name);
}

static lw_status one_edit(lw_edit *e, const char *text) {
  lw_status status = take_apart(e, text);
  if (status != LW_OK) return status;
  if (!find_name(e)) return unknown(e);
  return deeds[e->row].run(e);
}

/* ---- the changed copy ---- */

/* What holds between sizes of a card, as at its reading, and what could not be made of metal. */
const char *lw_card_impossible(const lw_card *card) {
  assert(card);
  const lw_carburetor_card *c = &card->carburetor;
  const lw_barrel_card *groups[] = {&c->primary, &c->secondary};
  for (size_t i = 0; i < 2; i++) {
    const lw_barrel_card *g = groups[i];
    const double holes[] = {g->main_jet,          g->main_bleed,       g->idle_feed, g->idle_bleed,
                            g->second_idle_bleed, g->idle_restriction, g->power_jet};
    if (g->venturi > g->bore) return "the venturi would be wider than the throttle bore";
    if (g->booster > g->venturi) return "the booster would be wider than the venturi it sits in";
    for (size_t k = 0; k < sizeof holes / sizeof holes[0]; k++) {
      if (holes[k] > 0.5 * g->venturi) return "a jet or bleed would be wider than half the venturi";
    }
  }
  if (c->power_closes < c->power_opens) {
    return "the power valve must be closed at a higher vacuum than it opens at";
  }
  return NULL;
}

static lw_status copy_card(lw_arena *arena, const lw_card *card, lw_card **out, lw_error *error) {
  const lw_list *screws = &card->carburetor.screws;
  lw_card *copy = lw_arena_alloc(arena, sizeof *copy);
  lw_screw_card *own = lw_arena_array(arena, screws->count + 1, sizeof *own);
  if (!copy || !own) return lw_fail(error, LW_NO_MEMORY, "no memory for this what-if");
  *copy = *card;
  if (screws->count) memcpy(own, screws->items, screws->count * sizeof *own);
  copy->carburetor.screws.items = own;
  *out = copy;
  return LW_OK;
}

static void set_stop(lw_net *net, double stop) {
  for (int b = 0; b < net->barrel_count; b++) {
    if (net->barrels[b].linkage == LW_LINK_PEDAL) net->barrels[b].stop = stop;
  }
}

/* The network of the changed card; what cannot be is the edits' fault, not a line's of the card. */
static lw_status rebuild(lw_arena *arena, lw_twin *twin, const lw_net *from, const char *edits,
                         double stop, lw_error *error) {
  lw_error own = {0};
  const char *why = lw_card_impossible(twin->card);
  lw_status status = why ? lw_fail(&own, LW_BAD_INPUT, "%s", why)
                         : lw_net_build_like(arena, twin->card, from, &twin->net, &own);
  if (status == LW_OK) {
    set_stop(twin->net, stop);
    return lw_twin_alter(twin, error);
  }
  if (error) error->line = 0;
  lw_error_place(error, NULL, 0, edits);
  return lw_fail(error, status, "%s", own.text);
}

lw_status lw_what_if(lw_arena *arena, lw_units *units, const lw_twin *from,
                     const char *const *edits, size_t count, lw_twin **changed, lw_error *error) {
  return lw_what_if_car(arena, units, from, edits, count, NULL, changed, error);
}

lw_status lw_what_if_car(lw_arena *arena, lw_units *units, const lw_twin *from,
                         const char *const *edits, size_t count, lw_test_car *car,
                         lw_twin **changed, lw_error *error) {
  lw_card *card = NULL;
  char all[120] = "";
  lw_twin *twin = lw_arena_alloc(arena, sizeof *twin);
  if (!twin) return lw_fail(error, LW_NO_MEMORY, "no memory for this what-if");
  lw_status status = copy_card(arena, from->card, &card, error);
  if (status != LW_OK) return status;
  *twin = *from;
  twin->card = card;
  double stop = from->net->barrels[0].stop;
  for (size_t i = 0; i < count && status == LW_OK; i++) {
    lw_edit e = {arena, units, error, card, twin, &stop, car, .sign = 0};
    status = one_edit(&e, edits[i]);
    lw_text_append(all, sizeof all, i ? ", %s" : "%s", edits[i]);
  }
  if (status == LW_OK) status = rebuild(arena, twin, from->net, all, stop, error);
  if (status == LW_OK) *changed = twin;
  return status;
}

const lw_what_if_name *lw_what_ifs(size_t *count) {
  *count = NAMES;
  return names;
}

const char *lw_size_passages(size_t name) {
  return name < NAMES ? deeds[name].passages : NULL;
}
