/* test_trade.c - what the trade knows of idle screws, held against whole worked jobs. Every fact
** here is common practice, no source, unless a test names one.
*/
#include "job_kit.h"

static const lw_move *move_of(kit *k, const story *s) {
  return &kit_work(k, s)->advice.move;
}

#define SCREWS(kind, travel) "[{name: mixture, kind: " kind ", travel: " travel "}]"
#define FUEL                 "[{name: mixture, kind: fuel}]"
#define AT(turns)            ", screws: {mixture: " turns "}"

/* ---- which way ---- */

static void clockwise_leans_on_every_kind_of_mixture_screw(void **state) {
  const char *const screws[] = {FUEL, SCREWS("fuel with limited travel", "0 to 3 turns"),
                                SCREWS("fuel behind limiter", "0 to 3 turns"),
                                SCREWS("air bleed", "0 to 4 turns")};
  for (size_t i = 0; i < 4; i++) {
    const lw_move *m = move_of(
        *state, &(story){.screws = screws[i], .reading = KIT_READ(KIT_RICH, AT("1 3/4 turns"))});
    assert_int_equal(m->kind, LW_MOVE_MIXTURE);
    assert_true(m->leaner && m->clockwise);
    HOLDS(m->words, "clockwise");
    assert_null(strstr(m->words, "counter"));
    m = move_of(*state,
                &(story){.screws = screws[i], .reading = KIT_READ(KIT_LEAN, AT("1 3/4 turns"))});
    assert_int_equal(m->kind, LW_MOVE_MIXTURE);
    assert_false(m->leaner || m->clockwise);
    HOLDS(m->words, "counter-clockwise");
  }
}

/* Clockwise moves a left-hand thread out: the room left is to its outer stop, not to its seat. */
static void an_air_bleed_screw_moves_outward_when_it_leans(void **state) {
  const lw_move *m =
      move_of(*state, &(story){.screws = SCREWS("air bleed", "0 to 4 turns"),
                               .reading = KIT_READ(KIT_VERY_RICH, AT("3 7/8 turns"))});
  assert_int_equal(m->kind, LW_MOVE_MIXTURE);
  NEAR(m->turns, 0.125, 1e-9);
  m = move_of(*state, &(story){.screws = SCREWS("air bleed", "0 to 4 turns"),
                               .reading = KIT_READ(KIT_VERY_RICH, AT("1/8 turn"))});
  NEAR(m->turns, 0.5, 1e-9);
  assert_true(m->clockwise);
}

static void an_air_bleed_screw_gets_about_twice_the_turn(void **state) {
  const char *const gases[] = {KIT_READ(KIT_RICH, AT("2 turns")),
                               KIT_READ(KIT_VERY_RICH, AT("2 turns")),
                               KIT_READ(KIT_LEAN, AT("2 turns"))};
  for (size_t i = 0; i < 3; i++) {
    const lw_move *fuel = move_of(*state, &(story){.screws = FUEL, .reading = gases[i]});
    const lw_move *air = move_of(
        *state, &(story){.screws = SCREWS("air bleed", "0 to 4 turns"), .reading = gases[i]});
    NEAR(air->turns / fuel->turns, 2, 0.01);
  }
}

/* ---- how far ---- */

static void no_screw_is_sent_past_its_stop_or_its_seat(void **state) {
  static const struct {
    const char *screws, *reading;
  } ends[] = {
      {SCREWS("fuel with limited travel", "0 to 3 turns"), KIT_READ(KIT_LEAN, AT("3 turns"))},
      {SCREWS("fuel with limited travel", "0 to 3 turns"), KIT_READ(KIT_LEAN, AT("3 1/2 turns"))},
      {SCREWS("fuel with limited travel", "0 to 3 turns"), KIT_READ(KIT_RICH, AT("0 turns"))},
      {SCREWS("fuel with limited travel", "1/2 to 3 turns"), KIT_READ(KIT_RICH, AT("1/2 turn"))},
      {FUEL, KIT_READ(KIT_RICH, AT("0 turns"))},
      {SCREWS("fuel behind limiter", "0 to 3 turns"), KIT_READ(KIT_LEAN, AT("3 turns"))},
      {SCREWS("air bleed", "0 to 4 turns"), KIT_READ(KIT_RICH, AT("4 turns"))},
      {SCREWS("air bleed", "0 to 4 turns"), KIT_READ(KIT_LEAN, AT("0 turns"))},
  };
  for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
    const lw_move *m =
        move_of(*state, &(story){.screws = ends[i].screws, .reading = ends[i].reading});
    assert_int_equal(m->kind, LW_MOVE_SEEK);
    HOLDS(m->words, "do not force");
    HOLDS(m->reason, "end of its travel");
  }
}

/* From the limiter's maximum, which is fully out, only lean is left. */
static void a_screw_behind_a_limiter_only_leans_from_its_limit(void **state) {
  const char *screws = SCREWS("fuel behind limiter", "0 to 3 turns");
  const lw_work *lean =
      kit_work(*state, &(story){.screws = screws, .reading = KIT_READ(KIT_LEAN, AT("3 turns"))});
  assert_int_equal(lean->advice.move.kind, LW_MOVE_SEEK);
  const lw_move *m =
      move_of(*state, &(story){.screws = screws, .reading = KIT_READ(KIT_RICH, AT("3 turns"))});
  assert_int_equal(m->kind, LW_MOVE_MIXTURE);
  assert_true(m->leaner);
}

static void out_of_reach_says_what_to_look_for(void **state) {
  const lw_move *rich = move_of(*state, &(story){.reading = KIT_READ(KIT_RICH, AT("0 turns"))});
  HOLDS(rich->words, "Fuel level");
  HOLDS(rich->words, "power valve");
  HOLDS(rich->words, "idle air bleed");
  HOLDS(rich->words, "choke");
  const lw_move *lean = move_of(*state, &(story){.reading = KIT_READ(KIT_LEAN, AT("3 turns"))});
  HOLDS(lean->words, "air leak");
  HOLDS(lean->words, "idle feed");
  HOLDS(lean->words, "fuel level");
}

static void a_unit_without_a_screw_gets_no_move(void **state) {
  const lw_work *w = kit_work(*state, &(story){.screws = "[{name: secondary, kind: fixed}]",
                                               .reading = KIT_READ(KIT_RICH, "")});
  assert_false(kit_turns_something(w));
  HOLDS(w->advice.move.words, "no mixture screw");
}

static void a_fixed_screw_beside_a_real_one_is_left_out(void **state) {
  const lw_move *m = move_of(
      *state, &(story){.screws = "[{name: front, kind: fixed}, {name: rear, kind: fuel}]",
                       .reading = KIT_READ(KIT_RICH, ", screws: {front: 0 turns, rear: 2 turns}")});
  assert_int_equal(m->kind, LW_MOVE_MIXTURE);
  assert_string_equal(m->screw, "rear");
}

static void the_nearer_stop_of_two_screws_counts(void **state) {
  const lw_move *m = move_of(
      *state,
      &(story){.screws = "[{name: left, kind: fuel with limited travel, travel: 0 to 3 "
                         "turns}, {name: right, kind: fuel with limited travel, travel: 0 "
                         "to 3 turns}]",
               .reading = KIT_READ(KIT_VERY_RICH, ", screws: {left: 1/8 turn, right: 1/4 turn}")});
  assert_int_equal(m->kind, LW_MOVE_MIXTURE);
  NEAR(m->turns, 0.125, 1e-9);
  HOLDS(m->words, "both mixture screws alike");
}

/* ---- finish lean, in words a person can follow ---- */

static void a_richer_move_ends_with_a_touch_clockwise(void **state) {
  const lw_work *w = kit_work(*state, &(story){.reading = KIT_READ(KIT_LEAN, AT("1 3/4 turns"))});
  HOLDS(w->advice.move.words, "last touch clockwise");
  bool told = false;
  for (size_t i = 0; i < w->advice.step_count; i++)
    told = told || strstr(w->advice.steps[i], "clockwise, from the rich side");
  assert_true(told);
}

static void the_smallest_move_is_said_as_a_sixteenth(void **state) {
  const lw_move *m =
      move_of(*state, &(story){.reading = KIT_READ("CO: 1.80 %, CO2: 13.9 %, HC: 240 ppm hexane, "
                                                   "O2: 0.24 %",
                                                   AT("1 3/4 turns"))});
  NEAR(m->turns, 1.0 / 16, 1e-9);
  HOLDS(m->words, "1/16 turn");
}

/* ---- what comes before any screw ---- */

static void the_wrong_unit_comes_before_any_screw(void **state) {
  const lw_work *w = kit_work(
      *state, &(story){.reading = KIT_READ(KIT_RICH, ""), .job_tail = "fitted unit: A-2\n"});
  assert_int_equal(w->advice.move.kind, LW_MOVE_FIRST);
  HOLDS(w->advice.move.words, "unit");
}

static void an_unfit_engine_comes_before_any_screw(void **state) {
  const lw_work *w = kit_work(*state, &(story){.reading = KIT_READ(KIT_RICH, ""),
                                               .checks = KIT_CHECKS_OPEN ", timing: 12 deg BTDC}"});
  assert_int_equal(w->advice.move.kind, LW_MOVE_FIRST);
  HOLDS(w->advice.move.words, "timing");
}

static void a_reading_that_still_moves_is_waited_for(void **state) {
  const lw_move *m = move_of(*state, &(story){.reading = "[{at: idle, speed: 500 rpm, gear: "
                                                         "neutral, settled: no, " KIT_RICH "}]"});
  assert_int_equal(m->kind, LW_MOVE_FIRST);
  HOLDS(m->words, "wait");
}

/* 40 CFR 85.2213: CO + CO2 under 6 % voids the test. */
static void a_sample_full_of_air_moves_no_screw(void **state) {
  const char *const gases[] = {KIT_READ("CO: 1.2 %, CO2: 4.5 %, HC: 90 ppm hexane, O2: 13 %", ""),
                               KIT_READ("CO: 0.0 %, CO2: 0.1 %, HC: 5 ppm hexane, O2: 20.8 %", ""),
                               KIT_READ("O2: 20.6 %", "")};
  for (size_t i = 0; i < 3; i++) {
    const lw_work *w = kit_work(*state, &(story){.reading = gases[i]});
    assert_int_equal(w->advice.move.kind, LW_MOVE_FIRST);
    HOLDS(w->advice.move.words, "air");
  }
}

static void a_misfire_is_found_before_the_screws_are_touched(void **state) {
  const lw_move *m = move_of(
      *state, &(story){.reading = KIT_READ("CO: 1.9 %, CO2: 12.6 %, HC: 1680 ppm hexane, O2: 1.9 %",
                                           AT("2 turns"))});
  assert_int_equal(m->kind, LW_MOVE_SEEK);
  HOLDS(m->words, "does not fire");
}

/* Lean enough to miss, every plug is innocent: the leak is looked for first. */
static void a_lean_misfire_points_to_air_before_plugs(void **state) {
  const lw_move *m = move_of(
      *state, &(story){.reading = KIT_READ("CO: 0.05 %, CO2: 11.4 %, HC: 1500 ppm hexane, O2: 5 %",
                                           AT("2 turns"))});
  assert_int_equal(m->kind, LW_MOVE_SEEK);
  HOLDS(m->words, "air leak");
}

static void speed_outside_its_span_is_set_first(void **state) {
  static const struct {
    const char *speed, *thread;
    bool clockwise;
  } cases[] = {{"560 rpm", "", true},
               {"900 rpm", "", false},
               {"560 rpm", "  speed screw thread: left-hand\n", false},
               {"900 rpm", "  speed screw thread: left-hand\n", true}};
  for (size_t i = 0; i < 4; i++) {
    kit *k = *state;
    const char *reading = lw_arena_print(k->arena, "[{at: idle, speed: %s, %s}]", cases[i].speed,
                                         KIT_STEADY ", " KIT_RICH);
    const lw_move *m = move_of(k, &(story){.carburetor = cases[i].thread, .reading = reading});
    assert_int_equal(m->kind, LW_MOVE_SPEED);
    assert_string_equal(m->screw, "idle speed");
    assert_int_equal(m->clockwise, cases[i].clockwise);
    assert_true(m->turns >= 0.125 && m->turns <= 0.5);
  }
}

static void on_target_nothing_is_turned(void **state) {
  const lw_work *w = kit_work(*state, &(story){.reading = KIT_READ(KIT_ON_TARGET, "")});
  assert_int_equal(w->advice.move.kind, LW_MOVE_NONE);
  HOLDS(w->advice.move.words, "leave the screws");
  assert_int_equal(w->verdict, LW_WITHIN);
}

/* The legal limit binds: a card's target above it is not what the engine is set to. */
static void the_limit_binds_where_the_cards_target_lies_over_it(void **state) {
  const lw_work *w = kit_work(
      *state,
      &(story){.reading = KIT_READ(KIT_ON_TARGET, AT("2 turns")),
               .job_tail =
                   "fitted unit: A-1\nlimits: [{gas: CO, value: at most 0.5 %, at: idle}]\n"});
  assert_int_equal(w->verdict, LW_OUTSIDE);
  assert_int_equal(w->advice.move.kind, LW_MOVE_MIXTURE);
  assert_true(w->advice.move.leaner);
  assert_null(strstr(w->advice.target, "1.50"));
}

/* CO right and a limit broken all the same: another cause, and no screw for it. */
static void with_co_right_and_hc_outside_the_cause_is_sought(void **state) {
  const lw_work *w = kit_work(
      *state, &(story){.reading = KIT_READ(KIT_ON_TARGET, ""),
                       .card_tail = "year: 1968\n"
                                    "limits: [{gas: HC, value: at most 120 ppm, at: idle}]\n"});
  assert_int_equal(w->verdict, LW_OUTSIDE);
  assert_int_equal(w->advice.move.kind, LW_MOVE_SEEK);
}

static void two_screws_set_apart_with_co_beside_o2_are_balanced(void **state) {
  const lw_move *m = move_of(
      *state,
      &(story){.screws = "[{name: left, kind: fuel, travel: 0 to 4 turns}, {name: right, kind: "
                         "fuel, travel: 0 to 4 turns}]",
               .reading = KIT_READ("CO: 2.2 %, CO2: 12.0 %, HC: 260 ppm hexane, O2: 2.6 %",
                                   ", screws: {left: 1 turn, right: 3 turns}")});
  assert_int_equal(m->kind, LW_MOVE_BALANCE);
  HOLDS(m->words, "2 turns apart");
  NEAR(m->turns, 1, 1e-9);
}

/* ---- sealed parts ---- */

typedef struct watch {
  const char *sealed;
  size_t named; /* times it was named outside the words that leave it alone */
  size_t cared;
} watch;

static void watch_text(void *to, const char *text, bool needed, kit_where where) {
  watch *w = to;
  (void)needed;
  if (!text || where == KIT_COMPARE || !strstr(text, w->sealed)) return;
  if (strstr(text, "leave it alone") == NULL) {
    fprintf(stderr, "sealed part in: %s\n", text);
    w->named++;
  } else {
    w->cared++;
  }
}

static void sealed_parts_are_only_ever_named_to_be_left_alone(void **state) {
  const char *const readings[] = {
      KIT_READ(KIT_RICH, AT("2 turns")),      KIT_READ(KIT_RICH, AT("0 turns")),
      KIT_READ(KIT_LEAN, AT("3 turns")),      KIT_READ(KIT_ON_TARGET, AT("2 turns")),
      KIT_READ(KIT_LEAN, AT("1 turn")),       KIT_READ("O2: 20.6 %", ""),
      KIT_READ(KIT_VERY_RICH, AT("2 turns")),
  };
  const char *const kinds[] = {"fuel", "fuel with limited travel", "fuel behind limiter",
                               "air bleed", "fixed"};
  kit *k = *state;
  for (size_t i = 0; i < 7; i++) {
    for (size_t j = 0; j < 5; j++) {
      const char *screws =
          lw_arena_print(k->arena, "[{name: mixture, kind: %s, travel: 0 to 3 turns}]", kinds[j]);
      const lw_work *w = kit_work(
          k, &(story){.screws = screws, .sealed = "[limiter plug ZQX]", .reading = readings[i]});
      watch seen = {.sealed = "ZQX"};
      kit_walk(w, watch_text, &seen);
      assert_int_equal(seen.named, 0);
      assert_int_equal(seen.cared, 1);
    }
  }
}

/* Some cards list the screw itself, under a plug. */
static void a_sealed_mixture_screw_is_not_turned(void **state) {
  const char *const sealed[] = {"[mixture]", "[Mixture screw]", "[mixture screws]",
                                "[idle mixture screw]"};
  for (size_t i = 0; i < 4; i++) {
    const lw_work *w = kit_work(
        *state, &(story){.sealed = sealed[i], .reading = KIT_READ(KIT_RICH, AT("2 turns"))});
    assert_false(kit_turns_something(w));
    HOLDS(w->advice.move.words, "sealed");
  }
}

static void force_is_warned_of_where_a_screw_breaks(void **state) {
  const lw_work *w = kit_work(*state, &(story){0});
  bool told = false;
  for (size_t i = 0; i < w->advice.care_count; i++)
    told = told || strstr(w->advice.cares[i], "force breaks it off");
  assert_true(told);
}

/* Without the count of its turns nobody knows how near the stop is. */
static void a_limited_screw_of_unknown_position_is_counted_first(void **state) {
  const lw_move *m = move_of(*state, &(story){.reading = KIT_READ(KIT_LEAN, "")});
  assert_int_equal(m->kind, LW_MOVE_MIXTURE);
  HOLDS(m->words, "stop");
}

/* ---- cautions ---- */

static void every_job_carries_the_cautions_that_save_lives(void **state) {
  const lw_work *w = kit_work(*state, &(story){0});
  const char *const needed[] = {"Running exhaust in a closed room kills",
                                "fans, belts and hot parts",
                                "high tension",
                                "Fuel vapor",
                                "parking brake",
                                "front of a car",
                                "illegal",
                                "not a certificate"};
  for (size_t i = 0; i < sizeof needed / sizeof needed[0]; i++) {
    bool told = false;
    for (size_t j = 0; j < w->caution_count; j++)
      told = told || strstr(w->cautions[j], needed[i]);
    if (!told) fail_msg("no caution holds: %s", needed[i]);
  }
}

#define T(name) cmocka_unit_test_setup_teardown(name, kit_setup, kit_teardown)

int main(void) {
  const struct CMUnitTest tests[] = {
      T(clockwise_leans_on_every_kind_of_mixture_screw),
      T(an_air_bleed_screw_moves_outward_when_it_leans),
      T(an_air_bleed_screw_gets_about_twice_the_turn),
      T(no_screw_is_sent_past_its_stop_or_its_seat),
      T(a_screw_behind_a_limiter_only_leans_from_its_limit),
      T(out_of_reach_says_what_to_look_for),
      T(a_unit_without_a_screw_gets_no_move),
      T(a_fixed_screw_beside_a_real_one_is_left_out),
      T(the_nearer_stop_of_two_screws_counts),
      T(a_richer_move_ends_with_a_touch_clockwise),
      T(the_smallest_move_is_said_as_a_sixteenth),
      T(the_wrong_unit_comes_before_any_screw),
      T(an_unfit_engine_comes_before_any_screw),
      T(a_reading_that_still_moves_is_waited_for),
      T(a_sample_full_of_air_moves_no_screw),
      T(a_misfire_is_found_before_the_screws_are_touched),
      T(a_lean_misfire_points_to_air_before_plugs),
      T(speed_outside_its_span_is_set_first),
      T(on_target_nothing_is_turned),
      T(the_limit_binds_where_the_cards_target_lies_over_it),
      T(with_co_right_and_hc_outside_the_cause_is_sought),
      T(two_screws_set_apart_with_co_beside_o2_are_balanced),
      T(sealed_parts_are_only_ever_named_to_be_left_alone),
      T(a_sealed_mixture_screw_is_not_turned),
      T(force_is_warned_of_where_a_screw_breaks),
      T(a_limited_screw_of_unknown_position_is_counted_first),
      T(every_job_carries_the_cautions_that_save_lives),
  };
  return cmocka_run_group_tests_name("trade", tests, NULL, NULL);
}
