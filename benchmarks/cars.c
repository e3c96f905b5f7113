/* cars.c - units and what ails them, drawn from a seed. */
#include "cars.h"

#include "leanward/record.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double rpm = 3.14159265358979323846 / 30;

/* ---- chance ---- */

double cars_between(cars_random *random, double lo, double hi) {
  random->state = random->state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
  return lo + (hi - lo) * ((double)(random->state >> 33) / 2147483648.0);
}

int cars_below(cars_random *random, int count) {
  return (int)cars_between(random, 0, count);
}

/* ---- cards ---- */

static const char *const files[] = {
    "corran-220-six-manual",      "corran-220-six-automatic", "corran-290-eight-manual",
    "corran-290-eight-automatic", "corran-350-eight-manual",  "corran-350-eight-automatic",
    "corran-220-six-export",      "corran-220-six-limiter",   "corran-290-eight-export",
    "corran-350-eight-pair",      "corran-350-eight-vacuum",
};
enum { SIX, EIGHT_290 = 2, EIGHT_350 = 4, FILES = sizeof files / sizeof files[0] };

static lw_status read_one(lw_arena *arena, lw_units *units, const char *folder, const char *name,
                          const lw_card **out, lw_error *error) {
  const char *text = NULL, *path = lw_arena_print(arena, "%s/%s.yaml", folder, name);
  size_t length = 0;
  lw_card *card = NULL;
  if (!path) return lw_fail(error, LW_NO_MEMORY, "no memory for a card");
  lw_bind bind = {arena, units, path};
  lw_status status = lw_file_read(arena, path, LW_DOC_MAX_BYTES, &text, &length, error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, error);
  *out = card;
  return status;
}

/* A copy with screws of its own, of this kind. */
static lw_card *made(lw_arena *arena, const lw_card *from, lw_screw_kind kind) {
  lw_card *card = lw_arena_alloc(arena, sizeof *card);
  lw_list *screws = card ? &card->carburetor.screws : NULL;
  if (!card) return NULL;
  *card = *from;
  lw_screw_card *own = lw_arena_array(arena, screws->count + 1, sizeof *own);
  if (!own) return NULL;
  memcpy(own, screws->items, screws->count * sizeof *own);
  for (size_t i = 0; i < screws->count; i++) {
    if (own[i].kind != LW_SCREW_FIXED) own[i].kind = kind;
  }
  screws->items = own;
  return card;
}

static void put(cars_card *cards, size_t *count, const char *name, const lw_card *card) {
  cards[(*count)++] = (cars_card){name, card};
}

/* What the demo cards leave out: other screws, other secondaries, a pair of units. */
static lw_status make_more(lw_arena *arena, cars_card *cards, size_t *count) {
  const lw_card *six = cards[SIX].card, *two = cards[EIGHT_290].card, *four = cards[EIGHT_350].card;
  lw_card *fuel = made(arena, six, LW_SCREW_FUEL);
  lw_card *limiter = made(arena, six, LW_SCREW_FUEL_LIMITER);
  lw_card *two_fuel = made(arena, two, LW_SCREW_FUEL);
  lw_card *vacuum = made(arena, four, LW_SCREW_FUEL);
  lw_card *mechanical = made(arena, four, LW_SCREW_FUEL_LIMITED);
  lw_card *pair = made(arena, four, LW_SCREW_FUEL);
  lw_card *pair_valve = made(arena, four, LW_SCREW_FUEL);
  if (!fuel || !limiter || !two_fuel || !vacuum || !mechanical || !pair || !pair_valve) {
    return LW_NO_MEMORY;
  }
  limiter->carburetor.primary.idle_limiter = 1e-3;
  vacuum->carburetor.secondary.operation = 2;
  mechanical->carburetor.secondary.operation = 1;
  pair->carburetor.units = pair_valve->carburetor.units = 2;
  pair->carburetor.secondary.operation = 1;
  vacuum->carburetor.vent = mechanical->carburetor.vent = 2;
  put(cards, count, "one barrel, fuel-side screw", fuel);
  put(cards, count, "one barrel, limiter", limiter);
  put(cards, count, "two barrels, fuel-side screws", two_fuel);
  put(cards, count, "four barrels, vacuum secondaries", vacuum);
  put(cards, count, "four barrels, no air valve", mechanical);
  put(cards, count, "pair of four-barrels", pair);
  put(cards, count, "pair with air valves", pair_valve);
  return LW_OK;
}

lw_status cars_read(lw_arena *arena, lw_units *units, const char *folder, cars_card *cards,
                    size_t *count, lw_error *error) {
  *count = 0;
  for (size_t i = 0; i < FILES; i++) {
    const lw_card *card = NULL;
    lw_status status = read_one(arena, units, folder, files[i], &card, error);
    if (status != LW_OK) return status;
    put(cards, count, files[i], card);
  }
  if (make_more(arena, cards, count) == LW_OK) return LW_OK;
  return lw_fail(error, LW_NO_MEMORY, "no memory for the cards");
}

/* ---- edits ---- */

const char *cars_kind_text(cars_kind kind) {
  static const char *const texts[] = {
#define TEXT_OF(id, text) text,
      CARS_KIND_LIST(TEXT_OF)
#undef TEXT_OF
  };
  return texts[kind];
}

enum { EDITS_MOST = 8, EDIT_SIZE = 96 };

/* An ailment being made up: edits in words, and what no what-if takes. */
typedef struct ailment {
  char edits[EDITS_MOST][EDIT_SIZE];
  int count;
  double rise, hole; /* m: fuel over its level; from the bowl to the manifold */
} ailment;

static void edit(ailment *a, const char *name_to_value, double value, const char *unit) {
  if (a->count == EDITS_MOST) return;
  lw_text_append(a->edits[a->count++], EDIT_SIZE, "%s%.4f %s", name_to_value, value, unit);
}

static void word(ailment *a, const char *text) {
  if (a->count == EDITS_MOST) return;
  snprintf(a->edits[a->count++], EDIT_SIZE, "%s", text);
}

/* Plugged in one of three, else clogged up to all but a thousandth; of one side at times. */
static void clogged(ailment *a, cars_random *r, const lw_card *card, const char *name) {
  char full[48];
  const lw_carburetor_card *c = &card->carburetor;
  const char *before = "";
  if (c->primary.count > 1 && cars_below(r, 3) == 0) before = cars_below(r, 2) ? "left " : "right ";
  if (c->secondary.count && cars_below(r, 3) == 0) before = "secondary ";
  snprintf(full, sizeof full, "%s%s", before, name);
  double left = pow(10, cars_between(r, -3, 0));
  if (cars_below(r, 3) == 0) {
    char text[EDIT_SIZE];
    snprintf(text, sizeof text, "%s=plugged", full);
    word(a, text);
  } else {
    char text[EDIT_SIZE];
    snprintf(text, sizeof text, "%s=clogged ", full);
    edit(a, text, 100 * (1 - left), "%");
  }
}

static void turn_screws(ailment *a, cars_random *r, const lw_card *card) {
  const lw_list *list = &card->carburetor.screws;
  const lw_screw_card *s = list->items;
  for (size_t i = 0; i < list->count; i++) {
    if (s[i].kind == LW_SCREW_FIXED) continue;
    double hi = lw_known(s[i].travel.hi) ? s[i].travel.hi : 8, at = cars_between(r, 0, hi);
    int end = cars_below(r, 4);
    char name[64];
    snprintf(name, sizeof name, "%s screw=", s[i].name);
    edit(a, name, end == 0 ? 0 : end == 1 ? hi - 1e-4 : at, "turns");
  }
}

static void wear(ailment *a, cars_random *r) {
  static const char *const names[] = {"main jet=worn ", "power jet=worn ", "idle feed=worn ",
                                      "main bleed=worn "};
  int count = 1 + cars_below(r, 2);
  for (int i = 0; i < count; i++)
    edit(a, names[cars_below(r, 4)], cars_between(r, 1, 40), "%");
}

static const char *one_of(cars_random *r, const char *const *texts, int count) {
  return texts[cars_below(r, count)];
}

/* Edits that are words. */
static void make_words(ailment *a, cars_kind kind, cars_random *r) {
  static const char *const power[] = {"power valve=stuck open", "power valve=stuck shut"};
  static const char *const check[] = {"check valve=stuck open", "check valve=stuck shut"};
  static const char *const vent[] = {"bowl vent=internal", "bowl vent=external"};
  static const char *const fuel[] = {"fuel=E10", "fuel=E85", "fuel=methanol", "fuel=iso-octane"};
  if (kind == CARS_POWER_STUCK) word(a, one_of(r, power, 2));
  if (kind == CARS_CHECK_VALVE) word(a, one_of(r, check, 2));
  if (kind == CARS_VENT) word(a, one_of(r, vent, 2));
  if (kind == CARS_FUEL) word(a, one_of(r, fuel, 4));
}

static void make_one(ailment *a, cars_kind kind, cars_random *r, const lw_card *card) {
  static const char *const idle[] = {"idle restriction", "idle port", "second idle bleed",
                                     "slot width"};
  switch (kind) {
  case CARS_VACUUM_LEAK: edit(a, "vacuum leak=", cars_between(r, 0.01, 6), "mm"); break;
  case CARS_SHAFT_WEAR: edit(a, "shaft wear=", cars_between(r, 0.01, 0.8), "mm"); break;
  case CARS_POWER_LEAK: a->hole = cars_between(r, 0.05e-3, 0.6e-3); break;
  case CARS_FLOAT: a->rise = cars_between(r, -6e-3, 6e-3); break;
  case CARS_IDLE_FEED: clogged(a, r, card, "idle feed"); break;
  case CARS_IDLE_BLEED: clogged(a, r, card, "idle bleed"); break;
  case CARS_MAIN_BLEED: clogged(a, r, card, "main bleed"); break;
  case CARS_MAIN_JET: clogged(a, r, card, "main jet"); break;
  case CARS_IDLE_PASSAGE: clogged(a, r, card, one_of(r, idle, 4)); break;
  case CARS_WORN: wear(a, r); break;
  case CARS_CHOKE: edit(a, "choke=", cars_between(r, 0, 100), "%"); break;
  case CARS_CLEANER: edit(a, "air cleaner=clogged ", cars_between(r, 0, 97), "%"); break;
  case CARS_SCREWS: turn_screws(a, r, card); break;
  case CARS_STOP: edit(a, "idle stop=", cars_between(r, 0, 15), "deg"); break;
  case CARS_AIR_VALVE: edit(a, "air valve spring=", cars_between(r, 0.1, 6), "turns"); break;
  case CARS_SECONDARY: edit(a, "secondary=stuck open ", cars_between(r, 0, 60), "deg"); break;
  case CARS_ENGINE: edit(a, "displacement=", cars_between(r, 1.5, 8), "L"); break;
  default: make_words(a, kind, r);
  }
}

/* What no what-if takes: fuel over the lip, a leak from the bowl of any size. */
static void alter_net(lw_net *net, const ailment *a) {
  int bowl = -1;
  for (int i = 0; i < net->node_count; i++) {
    if (net->nodes[i].kind != LW_NET_BOWL) continue;
    net->nodes[i].height += a->rise;
    bowl = i;
  }
  if (!(a->hole > 0) || net->passage_count == LW_NET_PASSAGES) return;
  net->passages[net->passage_count++] = (lw_passage){
      .circuit = LW_CIRCUIT_LEAK,
      .from = bowl,
      .to = net->manifolds[0],
      .orifice = {0.785 * a->hole * a->hole, a->hole, 2},
      .barrel = -1,
      .name = "leak from the bowl",
  };
}

lw_status cars_alter(lw_arena *arena, lw_units *units, const lw_twin *from, cars_kind kind,
                     cars_random *r, lw_twin **changed, char *what, size_t size) {
  ailment a = {.count = 0};
  int several = kind == CARS_SEVERAL ? 2 + cars_below(r, 4) : 1;
  const lw_twin *at = from;
  lw_twin *next = NULL;
  what[0] = '\0';
  for (int i = 0; i < several; i++)
    make_one(&a, several > 1 ? (cars_kind)cars_below(r, CARS_SEVERAL) : kind, r, from->card);
  if (a.count == 0) { /* a copy all the same: its network is edited below */
    lw_status status = lw_what_if(arena, units, from, NULL, 0, &next, NULL);
    if (status != LW_OK) return status;
  }
  for (int i = 0; i < a.count; i++) {
    const char *edits[] = {a.edits[i]};
    lw_status status = lw_what_if(arena, units, at, edits, 1, &next, NULL);
    if (status != LW_OK && several == 1) return status;
    if (status != LW_OK) continue;
    at = next;
    lw_text_append(what, size, what[0] ? ", %s" : "%s", a.edits[i]);
  }
  if (!next) return LW_BAD_INPUT;
  if (a.rise != 0) lw_text_append(what, size, " fuel %+.2f mm", a.rise * 1e3);
  if (a.hole > 0) lw_text_append(what, size, " bowl leak %.2f mm", a.hole * 1e3);
  alter_net(next->net, &a);
  *changed = next;
  return LW_OK;
}

/* ---- settings ---- */

static double least_throttle(const lw_net *net) {
  const lw_barrel *first = &net->barrels[0];
  return -first->stop / (first->wide - first->closed - first->stop);
}

lw_setting cars_setting(const lw_net *net, cars_random *r) {
  double share = cars_between(r, 0, 1), least = least_throttle(net);
  if (cars_below(r, 2)) share = share * share * share; /* half of them near shut */
  return (lw_setting){
      .throttle = least + (1 - least) * share,
      .speed = cars_between(r, 300, 6000) * rpm,
      .ambient = lw_standard_pressure(cars_between(r, 0, 4000)),
      .temperature = cars_between(r, 250, 320),
  };
}

lw_setting cars_neighbor(const lw_net *net, const lw_setting *setting, cars_random *r) {
  lw_setting near = *setting;
  near.throttle += cars_between(r, -0.04, 0.04);
  near.throttle = fmin(fmax(near.throttle, least_throttle(net)), 1);
  near.speed = fmin(fmax(near.speed + cars_between(r, -200, 200) * rpm, 300 * rpm), 6000 * rpm);
  return near;
}
