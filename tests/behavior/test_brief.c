/* test_brief.c - what changes between units do to the person adjusting: common practice, no source.
*/
#include "brief_kit.h"

/* The demo card with one line of its text changed. */
static lw_brief_side with(shop *s, const char *name, const char *from, const char *to) {
  char path[600], *changed = lw_arena_alloc(s->arena, 20000);
  const char *text = NULL, *root = getenv("SOURCE_ROOT");
  size_t length = 0;
  snprintf(path, sizeof path, "%s/cards/%s.yaml", root ? root : LW_SOURCE_ROOT, name);
  shop_must(s, lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &text, &length, &s->error), name);
  const char *at = strstr(text, from);
  assert_non_null(at);
  assert_non_null(changed);
  snprintf(changed, 20000, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
  return brief_text(s, "changed.yaml", changed);
}

static lw_brief *changed(shop *s, const char *name, const char *from, const char *to) {
  return brief_of(s, brief_side(s, name), with(s, name, from, to));
}

static void a_limiter_lowers_the_richest_the_screw_gives(void **state) {
  const lw_brief *b = brief_years_of(*state, "corran-220-six-manual");
  const lw_brief_item *kind = brief_item(b, "kind of mixture screw");
  assert_non_null(kind);
  assert_true(kind->method && kind->interchange);
  HOLDS(kind->act, "can only lean");
  HOLDS(kind->act, "No longer feel for a stop");
  assert_true(b->reach[1].co_hi < 0.7 * b->reach[0].co_hi);
  assert_false(b->interchanges);
}

static void an_air_bleed_screw_is_gentler_and_turns_the_same_way(void **state) {
  const lw_brief *b = brief_years_of(*state, "corran-350-eight-automatic");
  HOLDS(brief_item(b, "thread of the mixture screw")->act, "still leans");
  HOLDS(brief_item(b, "number of mixture screws")->act, "One screw sets the whole unit");
  assert_true(fabs(b->reach[1].co_per_turn) < 0.7 * fabs(b->reach[0].co_per_turn));
  /* out is leaner with the air bleed, richer with the fuel-side screw it replaces: both on the
     scale of turns out from seated, which clockwise lengthens with a left-hand thread */
  assert_true(b->reach[0].co_per_turn > 0);
  const lw_brief *bleed = brief_years_of(*state, "corran-290-eight-automatic");
  assert_true(bleed->reach[0].co_per_turn < 0);
}

static void a_dashpot_keeps_the_closing_throttle_from_misfiring(void **state) {
  const lw_brief *b = brief_years_of(*state, "corran-220-six-automatic");
  const lw_brief_item *dashpot = brief_item(b, "dashpot");
  assert_non_null(dashpot);
  HOLDS(dashpot->act, "stands clear of the lever");
  assert_true(b->snap[0].run && b->snap[1].run);
  assert_true(b->snap[1].fall_time > b->snap[0].fall_time + 0.5);
  assert_true(b->snap[1].hc_most < 0.5 * b->snap[0].hc_most);
  HOLDS(dashpot->size, "HC up to");
}

static void later_timing_slows_an_idle_that_nobody_sets(void **state) {
  const lw_brief *b = changed(*state, "corran-220-six-manual", "initial timing: 0 +/- 1 deg BTDC",
                              "initial timing: 4 +/- 1 deg ATDC");
  assert_int_equal(b->item_count, 1);
  HOLDS(b->items[0].act, "4 deg later than before");
  assert_true(b->items[0].alone.run);
  assert_true(b->items[0].alone.speed < -1); /* 10 rpm */
  HOLDS(b->items[0].size, "slower");
}

static void a_leaner_jet_leans_cruise_and_leaves_idle(void **state) {
  const lw_brief *b =
      changed(*state, "corran-290-eight-manual", "main jet: 0.061 in", "main jet: 0.058 in");
  const lw_brief_alone *a = &b->items[0].alone;
  assert_int_equal(b->item_count, 1);
  assert_true(a->run);
  assert_true(a->places[LW_PLACE_CRUISE] > 0.02);
  /* idle is fed through the main jet, but its own restriction is far smaller */
  assert_true(fabs(a->idle) < 0.3 * a->places[LW_PLACE_CRUISE]);
  assert_null(b->items[0].act); /* nothing is set at the screws */
  HOLDS(b->items[0].size, "cruise");
  assert_false(b->interchanges);
}

static void a_shorter_travel_caps_the_rich_end(void **state) {
  const lw_brief *b =
      changed(*state, "corran-220-six-manual", "travel: 0 to 3 turns", "travel: 0 to 2 turns");
  assert_int_equal(b->item_count, 1);
  NEAR(b->reach[1].turns_hi, 2, 1e-9);
  assert_true(b->reach[1].co_hi < b->reach[0].co_hi);
  HOLDS(b->items[0].act, "do not look for more");
}

static void a_tighter_limit_narrows_the_turns_that_pass(void **state) {
  const lw_brief *b =
      changed(*state, "corran-350-eight-pair", "value: at most 2.0 %", "value: at most 1.2 %");
  assert_int_equal(b->item_count, 1);
  HOLDS(b->items[0].act, "tighter");
  assert_true(b->reach[1].limits.hi < b->reach[0].limits.hi - 0.05);
  /* a limit is no part: the units are alike */
  assert_true(b->interchanges);
}

/* A rich unit on an engine that wants a lean idle has to be set; a unit far too small for an engine
   cannot be. */
static void the_wrong_unit_is_judged_by_what_its_screws_reach(void **state) {
  shop *s = *state;
  const lw_brief *b = brief_of(s, brief_side(s, "corran-220-six-export"),
                               brief_side(s, "1969/corran-220-six-manual"));
  assert_int_equal(b->swap[0].answer, LW_FITS_BY_SCREW);
  HOLDS(b->swap[0].words, "CW-2203X on the engine of CW-2211M");
  HOLDS(b->swap[0].words, "must go in");
  assert_true(set_co(&b->swap[0].reach) > 1.5);
  /* on its own engine each unit meets its own card */
  const lw_brief *same =
      brief_of(s, brief_side(s, "corran-220-six-limiter"), brief_side(s, "corran-220-six-manual"));
  assert_true(same->swap[0].answer == LW_FITS || same->swap[0].answer == LW_FITS_BY_SCREW);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_limiter_lowers_the_richest_the_screw_gives),
      cmocka_unit_test(an_air_bleed_screw_is_gentler_and_turns_the_same_way),
      cmocka_unit_test(a_dashpot_keeps_the_closing_throttle_from_misfiring),
      cmocka_unit_test(later_timing_slows_an_idle_that_nobody_sets),
      cmocka_unit_test(a_leaner_jet_leans_cruise_and_leaves_idle),
      cmocka_unit_test(a_shorter_travel_caps_the_rich_end),
      cmocka_unit_test(a_tighter_limit_narrows_the_turns_that_pass),
      cmocka_unit_test(the_wrong_unit_is_judged_by_what_its_screws_reach),
  };
  return cmocka_run_group_tests(tests, shop_setup, shop_teardown);
}
