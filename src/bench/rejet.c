/* rejet.c - the question put together and the answer ranked; the drawer's file. */
#include "rejet_internal.h"

#include <math.h>
#include <string.h>

/* ---- the drawer's file ---- */

#define MM(x) ((x)*1e-3)
#define SIZES(key, m, what)                                                                        \
  {                                                                                                \
    key, LW_KIND_QUANTITIES, offsetof(lw_drawer, m), LW_LENGTH, MM(0.1), MM(8), NULL, NULL, false, \
        what                                                                                       \
  }
#define STEP(key, m, what)                                                                         \
  {                                                                                                \
    key, LW_KIND_QUANTITY, offsetof(lw_rod_said, m), LW_LENGTH, MM(0.1), MM(8), NULL, NULL, true,  \
        what                                                                                       \
  }

static const lw_field rod_fields[] = {
    STEP("economy", economy, "diameter where it leans"),
    STEP("power", power, "diameter where it enriches"),
};
static const lw_table rod_table = {"rod",
                                   rod_fields,
                                   sizeof rod_fields / sizeof rod_fields[0],
                                   sizeof(lw_rod_said),
                                   offsetof(lw_rod_said, line),
                                   false};

static const lw_field drawer_fields[] = {
    SIZES("main jet", main_jet, "main metering jets"),
    SIZES("main bleed", main_bleed, "main air bleeds"),
    {"rods", LW_KIND_LIST, offsetof(lw_drawer, rods), LW_COUNT, NAN, NAN, NULL, &rod_table, false,
     "metering rods, as {economy: 0.048 in, power: 0.037 in}"},
    SIZES("power jet", power_jet, "power enrichment restrictions"),
    {"power valve", LW_KIND_QUANTITIES, offsetof(lw_drawer, power_valve), LW_PRESSURE, 3e3, 70e3,
     NULL, NULL, false, "vacuum under which each is open"},
    SIZES("idle feed", idle_feed, "idle fuel restrictions"),
    SIZES("idle bleed", idle_bleed, "idle air bleeds"),
    SIZES("second idle bleed", second_idle_bleed, "further bleeds of the idle channel"),
    SIZES("idle restriction", idle_restriction, "restrictions in the idle channel"),
    {"float level", LW_KIND_QUANTITIES, offsetof(lw_drawer, float_level), LW_LENGTH, MM(-10),
     MM(10), NULL, NULL, false, "how much higher (+) or lower (-) the fuel may stand"},
};
static const lw_table drawer_table = {"drawer",
                                      drawer_fields,
                                      sizeof drawer_fields / sizeof drawer_fields[0],
                                      sizeof(lw_drawer),
                                      offsetof(lw_drawer, line),
                                      false};

const lw_table *lw_drawer_table(void) {
  return &drawer_table;
}

static lw_status check_rods(const lw_bind *bind, const lw_drawer *d, lw_error *error) {
  const lw_rod_said *rods = d->rods.items;
  for (size_t i = 0; i < d->rods.count; i++) {
    if (rods[i].power <= rods[i].economy) continue;
    lw_error_place(error, bind->file, rods[i].line, "rods");
    return lw_fail(error, LW_BAD_INPUT,
                   "a rod's power step must not be thicker than its economy step");
  }
  return LW_OK;
}

static lw_status check_counts(const lw_bind *bind, const lw_drawer *d, lw_error *error) {
  for (size_t i = 0; i < drawer_table.count; i++) {
    const lw_field *f = &drawer_fields[i];
    const char *at = (const char *)d + f->at;
    size_t n = f->kind == LW_KIND_LIST ? ((const lw_list *)(const void *)at)->count
                                       : ((const lw_values *)(const void *)at)->count;
    if (n <= LW_DRAWER_SIZES_MOST) continue;
    lw_error_place(error, bind->file, 0, f->key);
    return lw_fail(error, LW_BAD_INPUT, "at most %d sizes of a part are taken; there are %zu",
                   LW_DRAWER_SIZES_MOST, n);
  }
  return LW_OK;
}

lw_status lw_drawer_read(const lw_bind *bind, const char *text, size_t length, lw_drawer **drawer,
                         lw_error *error) {
  const lw_node *root = NULL;
  lw_status status = lw_doc_parse(bind->arena, bind->file, text, length, &root, error);
  if (status != LW_OK) return status;
  lw_drawer *read = lw_arena_alloc(bind->arena, sizeof *read);
  if (!read) return lw_fail(error, LW_NO_MEMORY, "no memory for this drawer");
  status = lw_table_read(bind, &drawer_table, root, read, error);
  if (status == LW_OK) status = check_counts(bind, read, error);
  if (status == LW_OK) status = check_rods(bind, read, error);
  if (status == LW_OK) *drawer = read;
  return status;
}

/* ---- the question ---- */

lw_rejet_ask lw_rejet_ask_usual(void) {
  lw_rejet_ask ask = {.parts_most = 4};
  for (int i = 0; i < LW_PLACES; i++)
    ask.lambda[i] = ask.afr[i] = LW_NONE;
  return ask;
}

static lw_status check_ask(const lw_rejet_ask *ask, size_t edits, lw_error *error) {
  if (!edits) return lw_fail(error, LW_BAD_INPUT, "what changes was expected");
  if (ask->parts_most < 0 || ask->parts_most > LW_REJET_PARTS_MOST) {
    return lw_fail(error, LW_BAD_INPUT, "0 to %d parts can be changed at once",
                   LW_REJET_PARTS_MOST);
  }
  for (int i = 0; i < LW_PLACES; i++) {
    bool good =
        !(ask->lambda[i] < 0.5 || ask->lambda[i] > 2) && !(ask->afr[i] < 3 || ask->afr[i] > 30);
    if (good) continue;
    return lw_fail(error, LW_BAD_INPUT, "the target for %s is no mixture an engine burns",
                   lw_place_text((lw_place)i));
  }
  return LW_OK;
}

/* ---- the answer ---- */

static bool before(const lw_proposal *a, const lw_proposal *b) {
  if (a->within != b->within) return a->within;
  return a->score < b->score;
}

static void rank(lw_proposal *list, size_t count) {
  for (size_t i = 1; i < count; i++) {
    lw_proposal p = list[i];
    size_t at = i;
    for (; at > 0 && before(&p, &list[at - 1]); at--)
      list[at] = list[at - 1];
    list[at] = p;
  }
}

static bool wants(const lw_rejet_ask *ask) {
  for (int i = 0; i < LW_PLACES; i++) {
    if (lw_known(ask->lambda[i]) || lw_known(ask->afr[i])) return true;
  }
  return false;
}

static lw_status propose(lw_rejet_task *t, lw_rejet *r) {
  lw_choice found[LW_REJET_PROPOSALS], fitted = {.turn = 0};
  lw_proposal *list = lw_arena_array(t->arena, LW_REJET_PROPOSALS, sizeof *list);
  if (!list) return lw_fail(t->error, LW_NO_MEMORY, "no memory for these proposals");
  for (int i = 0; i < t->knobs.count; i++)
    fitted.size[i] = (short)t->knobs.knob[i].now;
  lw_status status = lw_proposal_settle(t, &fitted, false, &r->nothing);
  if (status != LW_OK) return status;
  r->nothing_to_do = r->nothing.fit.furthest <= LW_REJET_NOTHING && !r->nothing.fit.lost;
  size_t count = r->nothing_to_do ? 0 : lw_rejet_search(t, found, LW_REJET_PROPOSALS);
  if (!r->nothing_to_do && !count) /* the screws alone are always an answer */
    return lw_fail(t->error, LW_NO_MEMORY, "no memory to look through the drawer");
  for (size_t i = 0; i < count && status == LW_OK; i++)
    status = lw_proposal_settle(t, &found[i], true, &list[i]);
  if (status != LW_OK) return status;
  rank(list, count);
  r->proposals = list;
  r->count = count;
  return LW_OK;
}

static lw_status hand_over(const lw_rejet_task *t, lw_rejet *r) {
  const char **out = lw_arena_array(t->arena, t->knobs.left_out_count + 1, sizeof *out);
  if (!out) return lw_fail(t->error, LW_NO_MEMORY, "no memory for this answer");
  for (size_t i = 0; i < t->knobs.left_out_count; i++)
    out[i] = t->knobs.left_out[i];
  r->left_out = out;
  r->left_out_count = t->knobs.left_out_count;
  r->original = t->original;
  r->changed = t->changed;
  r->band = t->band;
  r->co_wanted = t->co_wanted;
  r->to_target = wants(t->ask);
  r->turns = t->turns;
  r->part_count = (size_t)t->knobs.parts;
  r->points = (size_t)t->spot_count;
  r->runs = t->runs;
  return LW_OK;
}

lw_status lw_rejet_run(lw_arena *arena, lw_units *units, const lw_test_car *original,
                       const char *const *edits, size_t count, const lw_rejet_ask *ask,
                       lw_rejet **out, lw_error *error) {
  lw_rejet_task *t = lw_arena_alloc(arena, sizeof *t);
  lw_rejet *r = lw_arena_alloc(arena, sizeof *r);
  lw_test_car *changed = NULL;
  if (!t || !r) return lw_fail(error, LW_NO_MEMORY, "no memory for this question");
  lw_status status = check_ask(ask, count, error);
  if (status == LW_OK)
    status = lw_test_car_what_if(arena, units, original, edits, count, &changed, error);
  if (status != LW_OK) return status;
  t->arena = arena;
  t->units = units;
  t->error = error;
  t->ask = ask;
  t->original = original;
  t->changed = changed;
  t->turns = lw_screws_range(changed->twin->card);
  status = lw_knobs_list(arena, changed->twin, ask, &t->knobs, error);
  if (status == LW_OK) status = lw_spots_list(t, &r->before);
  if (status == LW_OK) status = propose(t, r);
  if (status == LW_OK) status = hand_over(t, r);
  if (status == LW_OK) *out = r;
  return status;
}
