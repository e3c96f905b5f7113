/* brief_year.c - lw_brief_years: a folder of cards against last year's. */
#include "brief_internal.h"

#include <stdio.h>
#include <string.h>

enum { UNITS_MOST = 400 };

typedef struct year_desk {
  desk *d;
  lw_units *units;
  lw_brief_year *year;
  const lw_brief_years_ask *ask;
  const lw_brief_side *before, *after; /* those of ask */
  size_t before_count, after_count;
  size_t *partner; /* of each after: index into before; SIZE_MAX: none */
  bool *taken;     /* each before */
} year_desk;

/* ---- pairing ---- */

/* Equal but for digits: "idle control set E68" and "idle control set E69". */
static bool same_but_digits(const char *a, const char *b) {
  if (!a || !b) return a == b;
  for (; *a || *b; a++, b++) {
    bool digit = *a >= '0' && *a <= '9' && *b >= '0' && *b <= '9';
    char one[2] = {*a, '\0'}, other[2] = {*b, '\0'};
    if (!digit && !lw_text_same(one, other)) return false;
  }
  return true;
}

static bool same_car(const lw_card *a, const lw_card *b) {
  return lw_text_same(a->engine_name, b->engine_name) && a->transmission == b->transmission;
}

static bool same_number(const lw_card *a, const lw_card *b) {
  return lw_text_same(a->unit, b->unit);
}

static bool same_kind(const lw_card *a, const lw_card *b) {
  return same_car(a, b) && same_but_digits(a->emissions, b->emissions);
}

/* Up to the comma: "idle control set E68, sealed limiter" is an idle control set. */
static bool same_family(const lw_card *a, const lw_card *b) {
  char family[2][120];
  const lw_card *card[2] = {a, b};
  for (int k = 0; k < 2; k++) {
    const char *text = card[k]->emissions ? card[k]->emissions : "";
    snprintf(family[k], sizeof family[k], "%.*s", (int)strcspn(text, ","), text);
  }
  return same_car(a, b) && same_but_digits(family[0], family[1]);
}

static void pair(year_desk *y, bool (*same)(const lw_card *a, const lw_card *b), bool alone) {
  for (size_t i = 0; i < y->after_count; i++) {
    size_t found = SIZE_MAX, count = 0, rivals = 0;
    if (y->partner[i] != SIZE_MAX) continue;
    for (size_t k = 0; k < y->before_count; k++) {
      if (y->taken[k] || !same(y->before[k].card, y->after[i].card)) continue;
      if (!count++) found = k;
    }
    for (size_t k = 0; k < y->after_count; k++)
      rivals += y->partner[k] == SIZE_MAX && same(y->after[k].card, y->after[i].card);
    if (!count || (alone && (count > 1 || rivals > 1))) continue;
    y->partner[i] = found;
    y->taken[found] = true;
  }
}

/* ---- order: engine, package, transmission ---- */

static int compare_texts(const char *a, const char *b) {
  if (!a || !b) return (a != NULL) - (b != NULL);
  return strcmp(a, b);
}

static int order(const lw_card *a, const lw_card *b) {
  int by = compare_texts(a->engine_name, b->engine_name);
  if (!by) by = compare_texts(a->emissions, b->emissions);
  if (!by) by = (int)a->transmission - (int)b->transmission;
  return by ? by : compare_texts(a->unit, b->unit);
}

static void sort(size_t *index, size_t count, const lw_brief_side *side) {
  for (size_t i = 1; i < count; i++) {
    size_t at = index[i], k = i;
    for (; k > 0 && order(side[index[k - 1]].card, side[at].card) > 0; k--)
      index[k] = index[k - 1];
    index[k] = at;
  }
}

/* ---- each unit ---- */

static lw_status brief_units(year_desk *y, lw_error *error) {
  size_t *index = lw_arena_array(y->d->arena, y->after_count, sizeof *index), count = 0;
  lw_brief **list = lw_arena_array(y->d->arena, y->after_count, sizeof(void *));
  if (!index || !list) return lw_fail(error, LW_NO_MEMORY, "no memory for this model year");
  for (size_t i = 0; i < y->after_count; i++) {
    if (y->partner[i] != SIZE_MAX) index[count++] = i;
  }
  sort(index, count, y->after);
  for (size_t i = 0; i < count; i++) {
    lw_status status = lw_brief_pair(y->d->arena, y->units, y->before[y->partner[index[i]]],
                                     y->after[index[i]], &list[i], error);
    if (status != LW_OK) return status;
    if (y->ask->progress) y->ask->progress(y->ask->to, i + 1, count);
  }
  y->year->units = list;
  y->year->unit_count = count;
  return count ? LW_OK
               : lw_fail(error, LW_BAD_INPUT,
                         "no unit of one folder is found in the other: engine name, transmission "
                         "and emission package tell which belong together");
}

/* The unit of the other transmission in the same year, engine and package. */
static const lw_card *sibling_of(const year_desk *y, const lw_card *card) {
  for (size_t i = 0; i < y->after_count; i++) {
    const lw_card *o = y->after[i].card;
    if (o->transmission && card->transmission && o->transmission != card->transmission &&
        lw_text_same(o->engine_name, card->engine_name) &&
        same_but_digits(o->emissions, card->emissions))
      return o;
  }
  return NULL;
}

static void run_siblings(year_desk *y) {
  const lw_brief_swap **list = lw_arena_array(y->d->arena, y->year->unit_count, sizeof(void *));
  if (!list) y->d->no_memory = true;
  for (size_t i = 0; list && i < y->year->unit_count; i++) {
    const lw_card *card = y->year->units[i]->after.card, *other = sibling_of(y, card);
    const char *why = NULL;
    lw_test_car *car = other ? brief_car(y->d, card, &why) : NULL;
    lw_brief_swap *swap = car ? lw_arena_alloc(y->d->arena, sizeof *swap) : NULL;
    list[i] = swap;
    if (swap) brief_run_swap(y->d, y->units, other, car, swap);
  }
  y->year->siblings = list;
}

/* ---- dropped and added ---- */

static const lw_card **cards_of(year_desk *y, const lw_brief_side *side, size_t count,
                                bool (*in)(const year_desk *y, size_t i), size_t *found) {
  size_t *index = lw_arena_array(y->d->arena, count, sizeof *index);
  const lw_card **list = lw_arena_array(y->d->arena, count, sizeof(void *));
  *found = 0;
  if (!index || !list) {
    y->d->no_memory = true;
    return NULL;
  }
  for (size_t i = 0; i < count; i++) {
    if (in(y, i)) index[(*found)++] = i;
  }
  sort(index, *found, side);
  for (size_t i = 0; i < *found; i++)
    list[i] = side[index[i]].card;
  return list;
}

static bool was_dropped(const year_desk *y, size_t i) {
  return !y->taken[i];
}

static bool was_added(const year_desk *y, size_t i) {
  return y->partner[i] == SIZE_MAX;
}

/* ---- what units share ---- */

static bool same_text(const char *a, const char *b) {
  return a == b || (a && b && strcmp(a, b) == 0);
}

static bool same_item(const lw_brief_item *a, const lw_brief_item *b) {
  return a->group == b->group && strcmp(a->what, b->what) == 0 &&
         same_text(a->before.text, b->before.text) && same_text(a->after.text, b->after.text);
}

/* A thing done differently is the same whatever figure stood on the old card. */
static bool same_act(const lw_brief_item *a, const lw_brief_item *b) {
  return a->group == b->group && same_text(a->act, b->act);
}

typedef bool (*same_fn)(const lw_brief_item *a, const lw_brief_item *b);

static const lw_brief_item *find(const lw_brief *unit, const lw_brief_item *like, same_fn same) {
  for (size_t i = 0; i < unit->item_count; i++) {
    if (same(&unit->items[i], like)) return &unit->items[i];
  }
  return NULL;
}

/* Whether a unit before this one has it already. */
static bool told(const lw_brief_year *year, size_t unit, const lw_brief_item *item, same_fn same) {
  for (size_t k = 0; k < unit; k++) {
    if (find(year->units[k], item, same)) return true;
  }
  return find(year->units[unit], item, same) != item;
}

static lw_brief_shared shared_of(year_desk *y, const lw_brief_item *item, same_fn same) {
  const lw_brief_year *year = y->year;
  size_t *units = lw_arena_array(y->d->arena, year->unit_count, sizeof *units), count = 0;
  if (!units) y->d->no_memory = true;
  for (size_t k = 0; units && k < year->unit_count; k++) {
    if (find(year->units[k], item, same)) units[count++] = k;
  }
  return (lw_brief_shared){item, units, count};
}

static bool is_common(const lw_brief_year *year, const lw_brief_item *item, size_t count) {
  (void)item;
  return count >= 2 && 3 * count >= 2 * year->unit_count;
}

static bool is_procedure(const lw_brief_year *year, const lw_brief_item *item, size_t count) {
  (void)year;
  (void)count;
  return item->method && item->act;
}

static const lw_brief_shared *collect(year_desk *y, same_fn same,
                                      bool (*in)(const lw_brief_year *year,
                                                 const lw_brief_item *item, size_t count),
                                      size_t *found) {
  const lw_brief_year *year = y->year;
  size_t most = 0;
  *found = 0;
  for (size_t k = 0; k < year->unit_count; k++)
    most += year->units[k]->item_count;
  lw_brief_shared *list = lw_arena_array(y->d->arena, most ? most : 1, sizeof *list);
  if (!list) y->d->no_memory = true;
  for (int group = 0; list && group < LW_BRIEF_GROUPS; group++) {
    for (size_t k = 0; k < year->unit_count; k++) {
      for (size_t i = 0; i < year->units[k]->item_count; i++) {
        const lw_brief_item *item = &year->units[k]->items[i];
        if ((int)item->group != group || told(year, k, item, same)) continue;
        lw_brief_shared s = shared_of(y, item, same);
        if (in(year, item, s.count)) list[(*found)++] = s;
      }
    }
  }
  return list;
}

static void mark_common(year_desk *y) {
  for (size_t c = 0; c < y->year->common_count; c++) {
    const lw_brief_shared *s = &y->year->common[c];
    for (size_t k = 0; k < s->count; k++) {
      const lw_brief *unit = y->year->units[s->units[k]];
      lw_brief_item *items = (lw_brief_item *)unit->items; /* ours; the caller's are const */
      for (size_t i = 0; i < unit->item_count; i++) {
        if (same_item(&items[i], s->item)) items[i].common = true;
      }
    }
  }
}

/* ---- in words ---- */

/* The transmission all of them are for; unsaid when they differ. */
static lw_transmission shared_transmission(const lw_brief_year *y, const lw_brief_shared *s) {
  lw_transmission one = y->units[s->units[0]]->after.card->transmission;
  for (size_t i = 1; i < s->count; i++) {
    if (y->units[s->units[i]]->after.card->transmission != one) return LW_TRANSMISSION_UNSAID;
  }
  return one;
}

const char *lw_brief_units_text(const lw_brief_year *y, const lw_brief_shared *s, char *out,
                                size_t size) {
  size_t next = 0, named = 0;
  bool all = s->count == y->unit_count, but = !all && s->count * 2 > y->unit_count;
  out[0] = '\0';
  lw_text_append(out, size, "%s", all ? "all units" : but ? "all but " : "");
  for (size_t k = 0; k < y->unit_count && !all; k++) {
    bool in = next < s->count && s->units[next] == k;
    next += in;
    if (in != but)
      lw_text_append(out, size, "%s%s", named++ ? ", " : "", y->units[k]->after.card->unit);
  }
  lw_transmission gear = all || but ? LW_TRANSMISSION_UNSAID : shared_transmission(y, s);
  if (gear) lw_text_append(out, size, " (%s)", lw_transmission_text(gear));
  return out;
}

const char *lw_brief_card_text(const lw_card *card, char *out, size_t size) {
  out[0] = '\0';
  lw_text_append(out, size, "%s", card->unit);
  if (card->engine_name) lw_text_append(out, size, ": %s", card->engine_name);
  if (card->transmission)
    lw_text_append(out, size, ", %s", lw_transmission_text(card->transmission));
  if (card->emissions) lw_text_append(out, size, ", %s", card->emissions);
  return out;
}

/* ---- all ---- */

static int year_of(const lw_brief_side *side, size_t count) {
  int year = count ? side[0].card->year : 0;
  for (size_t i = 1; i < count; i++) {
    if (side[i].card->year != year) return 0;
  }
  return year;
}

static lw_status work(year_desk *y, lw_error *error) {
  lw_brief_year *year = y->year;
  pair(y, same_number, false);
  pair(y, same_kind, true);
  pair(y, same_family, true);
  lw_status status = brief_units(y, error);
  if (status != LW_OK) return status;
  run_siblings(y);
  year->dropped = cards_of(y, y->before, y->before_count, was_dropped, &year->dropped_count);
  year->added = cards_of(y, y->after, y->after_count, was_added, &year->added_count);
  year->common = collect(y, same_item, is_common, &year->common_count);
  mark_common(y);
  year->procedures = collect(y, same_act, is_procedure, &year->procedure_count);
  return LW_OK;
}

lw_status lw_brief_years(lw_arena *arena, lw_units *units, const lw_brief_years_ask *ask,
                         lw_brief_year **out, lw_error *error) {
  desk d = {.arena = arena, .error = error};
  size_t n = ask->before_count, m = ask->after_count;
  if (!n || !m || n > UNITS_MOST || m > UNITS_MOST)
    return lw_fail(error, LW_BAD_INPUT, "1 to %d cards were expected in each folder", UNITS_MOST);
  lw_brief_year *year = lw_arena_alloc(arena, sizeof *year);
  size_t *partner = lw_arena_array(arena, m, sizeof *partner);
  bool *taken = lw_arena_array(arena, n, sizeof *taken);
  if (!year || !partner || !taken)
    return lw_fail(error, LW_NO_MEMORY, "no memory for this model year");
  for (size_t i = 0; i < m; i++)
    partner[i] = SIZE_MAX;
  *year = (lw_brief_year){.before = year_of(ask->before, n), .after = year_of(ask->after, m)};
  year_desk y = {&d, units, year, ask, ask->before, ask->after, n, m, partner, taken};
  lw_status status = work(&y, error);
  if (status != LW_OK) return status;
  if (d.no_memory) return lw_fail(error, LW_NO_MEMORY, "no memory for this model year");
  *out = year;
  return LW_OK;
}
