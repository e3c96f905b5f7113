/* test_fitness.c - is this engine fit to be adjusted? What the trade knows of the checks around an
** idle setting: common practice, no source, unless a test names one.
*/
#include "job_kit.h"

static const lw_check *check_of(kit *k, lw_check_id id, const story *s) {
  return kit_check(kit_work(k, s), id);
}

#define CHECKS_BUT(more) KIT_CHECKS_OPEN ", " more "}"
#define ALL_BUT_TIMING                                                                             \
  "leak test: none found, warm: yes, choke open: yes, air cleaner: yes, dashpot clear: yes, "      \
  "accessories off: yes"
#define REST                                                                                       \
  "dwell: 40 deg, timing: 5 deg BTDC, timing speed: 650 rpm, timing hose: "                        \
  "plugged, " ALL_BUT_TIMING

/* The engine may not be set, and the answer names this check first. */
static void refuses(kit *k, lw_check_id id, const story *s, const char *says) {
  const lw_work *w = kit_work(k, s);
  const lw_check *c = kit_check(w, id);
  assert_int_equal(c->answer, LW_NOT_FIT);
  assert_true(c->essential);
  assert_non_null(c->next);
  HOLDS(c->why, says);
  assert_int_equal(w->fitness.overall, LW_NOT_FIT);
  HOLDS(w->fitness.first, c->name);
  assert_false(kit_turns_something(w));
}

static void an_engine_with_nothing_against_it_is_fit(void **state) {
  const lw_work *w = kit_work(*state, &(story){0});
  assert_int_equal(w->fitness.overall, LW_FIT);
  assert_string_equal(w->fitness.summary, "fit to be adjusted");
  assert_int_equal(w->fitness.fit + w->fitness.not_fit + w->fitness.unknown, LW_CHECK_COUNT);
  assert_int_equal(w->fitness.not_fit, 0);
  assert_null(w->fitness.first);
}

static void what_makes_later_checks_meaningless_comes_first(void **state) {
  const lw_work *w = kit_work(
      *state, &(story){.checks = "{warm: no, choke open: no, timing: 20 deg BTDC, compression: "
                                 "[140 psi, 60 psi, 140 psi, 140 psi, 140 psi, 140 psi]}"});
  HOLDS(w->fitness.first, "engine warm");
  HOLDS(w->fitness.summary, "engine warm");
  assert_int_equal(w->fitness.not_fit, 4);
}

static void a_cold_engine_is_not_set(void **state) {
  refuses(*state, LW_CHECK_WARM, &(story){.checks = CHECKS_BUT("timing: 5 deg BTDC, warm: no")},
          "not warm");
  refuses(*state, LW_CHECK_WARM,
          &(story){.checks = CHECKS_BUT("timing: 5 deg BTDC, coolant: 60 degC")}, "not warm");
  assert_int_equal(
      check_of(*state, LW_CHECK_WARM, &(story){.checks = "{coolant: 70 degC}"})->answer, LW_FIT);
  /* StVZO Anlage XI: oil at least 60 degC for the idle test */
  assert_int_equal(check_of(*state, LW_CHECK_WARM, &(story){.checks = "{oil: 60 degC}"})->answer,
                   LW_FIT);
  assert_int_equal(check_of(*state, LW_CHECK_WARM, &(story){.checks = "{oil: 59 degC}"})->answer,
                   LW_NOT_FIT);
}

static void a_choke_that_is_not_open_spoils_every_circuit(void **state) {
  refuses(*state, LW_CHECK_CHOKE,
          &(story){.checks = CHECKS_BUT("timing: 5 deg BTDC, leak test: none found, warm: yes, "
                                        "choke open: no, air cleaner: yes")},
          "richens");
  const char *partly = "[{at: idle, speed: 700 rpm, choke: partly open, " KIT_ON_TARGET "}]";
  assert_int_equal(
      check_of(*state, LW_CHECK_CHOKE, &(story){.checks = "{warm: yes}", .reading = partly})
          ->answer,
      LW_NOT_FIT);
}

static void with_the_air_cleaner_off_the_idle_is_not_set(void **state) {
  refuses(*state, LW_CHECK_AIR_CLEANER,
          &(story){.checks = CHECKS_BUT("timing: 5 deg BTDC, warm: yes, choke open: yes, air "
                                        "cleaner: no")},
          "richer");
}

static void the_wrong_gear_is_not_set_in(void **state) {
  refuses(
      *state, LW_CHECK_ACCESSORIES,
      &(story){.reading = "[{at: idle, speed: 700 rpm, gear: drive, settled: yes, " KIT_RICH "}]"},
      "drag");
  /* park and neutral drive nothing, either will do */
  const char *park = "[{at: idle, speed: 700 rpm, gear: park, " KIT_RICH "}]";
  assert_int_equal(check_of(*state, LW_CHECK_ACCESSORIES, &(story){.reading = park})->answer,
                   LW_FIT);
}

/* ---- compression ---- */

static void a_weak_cylinder_is_named_and_stops_the_work(void **state) {
  const char *weak =
      "{compression: [140 psi, 138 psi, 141 psi, 84 psi, 137 psi, 140 psi], " REST "}";
  refuses(*state, LW_CHECK_COMPRESSION, &(story){.checks = weak}, "cylinder 4 is weak");
  HOLDS(check_of(*state, LW_CHECK_COMPRESSION, &(story){.checks = weak})->why, "60 %");
}

static void weak_neighbors_point_to_the_gasket_between_them(void **state) {
  const char *neighbors = "{compression: [140 psi, 138 psi, 80 psi, 78 psi, 137 psi, 140 psi]}";
  const char *apart = "{compression: [140 psi, 80 psi, 141 psi, 78 psi, 137 psi, 140 psi]}";
  const char *why = check_of(*state, LW_CHECK_COMPRESSION, &(story){.checks = neighbors})->why;
  HOLDS(why, "3, 4");
  HOLDS(why, "gasket");
  why = check_of(*state, LW_CHECK_COMPRESSION, &(story){.checks = apart})->why;
  HOLDS(why, "2, 4");
  assert_null(strstr(why, "gasket"));
}

/* On a vee or flat engine following numbers may stand on opposite banks, and numbers two or four
   apart side by side: only the eye tells. */
static void on_two_banks_following_numbers_are_not_called_neighbors(void **state) {
  const char *vee = "{name: test six, layout: vee, cylinders: 6, displacement: 3.6 L}";
  const char *const both[] = {
      "{compression: [140 psi, 138 psi, 80 psi, 78 psi, 137 psi, 140 psi]}",
      "{compression: [140 psi, 80 psi, 141 psi, 78 psi, 137 psi, 140 psi]}"};
  for (size_t i = 0; i < 2; i++) {
    const lw_check *c =
        check_of(*state, LW_CHECK_COMPRESSION, &(story){.engine = vee, .checks = both[i]});
    HOLDS(c->why, "if they stand side by side");
  }
}

static void even_but_low_compression_is_not_fit(void **state) {
  refuses(*state, LW_CHECK_COMPRESSION,
          &(story){.checks =
                       "{compression: [110 psi, 112 psi, 111 psi, 110 psi, 113 psi, 112 psi], "
                       "" REST "}"},
          "under the specification");
}

static void cylinders_left_out_are_asked_for(void **state) {
  const lw_check *c = check_of(*state, LW_CHECK_COMPRESSION,
                               &(story){.checks = "{compression: [140 psi, 138 psi]}"});
  assert_int_equal(c->answer, LW_FIT_UNKNOWN);
  HOLDS(c->why, "2 of 6");
  assert_non_null(c->next);
}

static void no_compression_at_all_is_not_fit(void **state) {
  const lw_check *c = check_of(*state, LW_CHECK_COMPRESSION,
                               &(story){.engine = "{cylinders: 4}",
                                        .checks = "{compression: [0 psi, 0 psi, 0 psi, 0 psi]}"});
  assert_int_equal(c->answer, LW_NOT_FIT);
  assert_null(strstr(c->why, "nan"));
}

static void leakage_over_the_card_names_its_cylinder(void **state) {
  const lw_check *c = check_of(*state, LW_CHECK_LEAKAGE,
                               &(story){.checks = "{leakage: [9 %, 8 %, 31 %, 7 %, 9 %, 8 %]}"});
  assert_int_equal(c->answer, LW_NOT_FIT);
  HOLDS(c->why, "cylinder 3, 31 %");
  HOLDS(c->next, "carburetor");
  HOLDS(c->next, "tailpipe");
  HOLDS(c->next, "radiator");
}

/* ---- ignition ---- */

static void timing_is_read_as_the_card_says_or_not_judged(void **state) {
  const lw_check *c =
      check_of(*state, LW_CHECK_TIMING,
               &(story){.checks = "{timing: 5 deg BTDC, timing hose: connected, timing speed: 650 "
                                  "rpm}"});
  assert_int_equal(c->answer, LW_FIT_UNKNOWN);
  HOLDS(c->why, "hose connected");
  c = check_of(*state, LW_CHECK_TIMING,
               &(story){.checks = "{timing: 5 deg BTDC, timing hose: plugged, timing speed: 1200 "
                                  "rpm}"});
  assert_int_equal(c->answer, LW_FIT_UNKNOWN);
  HOLDS(c->why, "at most");
}

static void late_and_early_timing_are_told_apart(void **state) {
  refuses(*state, LW_CHECK_TIMING,
          &(story){.checks = CHECKS_BUT("timing: 1 deg ATDC, " ALL_BUT_TIMING)}, "late");
  refuses(*state, LW_CHECK_TIMING,
          &(story){.checks = CHECKS_BUT("timing: 14 deg BTDC, " ALL_BUT_TIMING)}, "early");
}

static void wrong_dwell_comes_before_timing(void **state) {
  const lw_work *w = kit_work(
      *state, &(story){.checks = "{compression: [140 psi, 138 psi, 141 psi, 139 psi, 137 psi, 140 "
                                 "psi], dwell: 30 deg, timing: 14 deg BTDC, timing speed: 650 rpm, "
                                 "timing hose: plugged, " ALL_BUT_TIMING "}"});
  HOLDS(w->fitness.first, "dwell");
  HOLDS(kit_check(w, LW_CHECK_DWELL)->next, "timing");
}

static void distributor_degrees_count_twice_at_the_crank(void **state) {
  const char *engine = "{cylinders: 6, advance degrees: distributor, centrifugal advance: "
                       "[{speed: 500 rpm, advance: 0 to 1 deg}, {speed: 1000 rpm, advance: 8 to 10 "
                       "deg}]}";
  const char *right = "{centrifugal advance: [{speed: 2000 rpm, advance: 18 deg}]}";
  const char *wrong = "{centrifugal advance: [{speed: 2000 rpm, advance: 9 deg}]}";
  assert_int_equal(
      check_of(*state, LW_CHECK_CENTRIFUGAL, &(story){.engine = engine, .checks = right})->answer,
      LW_FIT);
  assert_int_equal(
      check_of(*state, LW_CHECK_CENTRIFUGAL, &(story){.engine = engine, .checks = wrong})->answer,
      LW_NOT_FIT);
}

/* ---- vacuum ---- */

static void a_leak_that_was_found_is_stopped_first(void **state) {
  const char *checks = CHECKS_BUT("timing: 5 deg BTDC, leak test: found, leak place: base gasket, "
                                  "warm: yes, choke open: yes, air cleaner: yes, dashpot clear: "
                                  "yes, accessories off: yes");
  refuses(*state, LW_CHECK_AIR_LEAK, &(story){.checks = checks}, "leans the idle");
  assert_string_equal(check_of(*state, LW_CHECK_AIR_LEAK, &(story){.checks = checks})->found,
                      "base gasket");
}

static void every_kind_of_needle_has_its_own_meaning(void **state) {
  static const struct {
    const char *needle, *why;
    lw_fit answer;
    bool essential;
  } kinds[] = {{"steady", "no single cylinder", LW_FIT, false},
               {"regular drop", "one cylinder", LW_NOT_FIT, true},
               {"irregular drop", "sticking valve", LW_NOT_FIT, false},
               {"drift", "mixture", LW_FIT, false},
               {"vibration", "valve guides", LW_NOT_FIT, true}};
  kit *k = *state;
  for (size_t i = 0; i < 5; i++) {
    const char *reading =
        lw_arena_print(k->arena, "[{at: idle, speed: 700 rpm, settled: yes, needle: %s, %s}]",
                       kinds[i].needle, KIT_RICH);
    const lw_check *c = check_of(k, LW_CHECK_NEEDLE, &(story){.reading = reading});
    HOLDS(c->why, kinds[i].why);
    assert_int_equal(c->answer, kinds[i].answer);
    assert_int_equal(c->essential, kinds[i].essential);
    if (c->answer == LW_NOT_FIT) assert_non_null(c->next);
  }
}

/* A mixture far off lowers vacuum as well: it may be set on an engine whose vacuum is low. */
static void low_vacuum_alone_does_not_stop_the_setting(void **state) {
  const lw_work *w = kit_work(
      *state,
      &(story){.reading = "[{at: idle, speed: 700 rpm, gear: neutral, settled: yes, vacuum: "
                          "14 inHg, needle: steady, " KIT_RICH "}]"});
  assert_int_equal(kit_check(w, LW_CHECK_VACUUM)->answer, LW_NOT_FIT);
  assert_int_equal(w->fitness.overall, LW_FIT);
  assert_int_equal(w->advice.move.kind, LW_MOVE_MIXTURE);
}

/* ---- carburetor ---- */

static void fuel_level_counts_down_from_its_mark(void **state) {
  const char *unit = "  fuel level: 0.66 +/- 0.03 in\n";
  HOLDS(check_of(*state, LW_CHECK_FUEL_LEVEL,
                 &(story){.carburetor = unit, .checks = "{fuel level: 0.55 in}"})
            ->why,
        "high: rich");
  HOLDS(check_of(*state, LW_CHECK_FUEL_LEVEL,
                 &(story){.carburetor = unit, .checks = "{fuel level: 0.80 in}"})
            ->why,
        "low: lean");
}

static void a_dashpot_that_holds_the_throttle_is_backed_off_first(void **state) {
  refuses(*state, LW_CHECK_DASHPOT,
          &(story){.carburetor = "  dashpot: yes\n",
                   .checks = CHECKS_BUT("timing: 5 deg BTDC, leak test: none found, warm: yes, "
                                        "choke open: yes, air cleaner: yes, accessories off: yes, "
                                        "dashpot clear: no")},
          "fast idle");
}

/* ---- off idle: said, but the idle can be set ---- */

#define OFF_IDLE(more) CHECKS_BUT("timing: 5 deg BTDC, " ALL_BUT_TIMING more)

/* The answer, that it does not forbid the idle, and whether the summary names it. */
static void off_idle(kit *k, lw_check_id id, const story *s, lw_fit answer) {
  const lw_work *w = kit_work(k, s);
  const lw_check *c = kit_check(w, id);
  assert_int_equal(c->answer, answer);
  assert_false(c->essential);
  assert_int_equal(w->fitness.overall, LW_FIT);
  bool named = strstr(w->fitness.summary, c->name) != NULL;
  assert_int_equal(named, answer == LW_NOT_FIT);
  assert_int_equal(c->next != NULL, answer == LW_NOT_FIT);
}

static void a_weak_pump_is_said_and_the_idle_set_all_the_same(void **state) {
  static const struct {
    const char *checks;
    lw_fit answer;
  } shots[] = {{OFF_IDLE(", pump shot: strong"), LW_FIT},
               {OFF_IDLE(", pump shot: weak"), LW_NOT_FIT},
               {OFF_IDLE(", pump shot: none"), LW_NOT_FIT},
               {OFF_IDLE(""), LW_FIT_UNKNOWN}};
  for (size_t i = 0; i < 4; i++)
    off_idle(*state, LW_CHECK_PUMP, &(story){.checks = shots[i].checks}, shots[i].answer);
}

static void an_air_valve_spring_is_held_to_a_quarter_turn(void **state) {
  static const char wound[] = "  air valve spring: 2 turns\n";
  static const struct {
    const char *card, *checks;
    lw_fit answer;
  } springs[] = {{wound, OFF_IDLE(", air valve spring: 2 1/4 turns"), LW_FIT},
                 {wound, OFF_IDLE(", air valve spring: 2 1/2 turns"), LW_NOT_FIT},
                 {wound, OFF_IDLE(", air valve spring: 1 1/2 turns"), LW_NOT_FIT},
                 {wound, OFF_IDLE(""), LW_FIT_UNKNOWN},
                 {"", OFF_IDLE(", air valve spring: 2 turns"), LW_FIT_UNKNOWN},
                 {"", OFF_IDLE(""), LW_FIT}};
  for (size_t i = 0; i < 6; i++) {
    story s = {.carburetor = springs[i].card, .checks = springs[i].checks};
    off_idle(*state, LW_CHECK_AIR_VALVE, &s, springs[i].answer);
  }
}

/* ---- the three-second rule ---- */

#define VALVE                                                                                      \
  "{name: test six, cylinders: 6, vacuum source: control valve, control valve: {set vacuum: 6 "    \
  "inHg}}"

static void advance_vacuum_is_down_within_three_seconds(void **state) {
  static const struct {
    const char *checks;
    lw_fit answer;
  } cases[] = {{"{vacuum fall time: 2.9 s}", LW_FIT},
               {"{vacuum fall time: 3 s}", LW_FIT},
               {"{vacuum fall time: 3.1 s}", LW_NOT_FIT},
               {"{warm: yes}", LW_FIT_UNKNOWN}};
  for (size_t i = 0; i < 4; i++) {
    const lw_check *c =
        check_of(*state, LW_CHECK_FALL_TIME, &(story){.engine = VALVE, .checks = cases[i].checks});
    assert_int_equal(c->answer, cases[i].answer);
    assert_true(c->essential);
    HOLDS(c->expected, "3 s");
  }
  HOLDS(check_of(*state, LW_CHECK_FALL_TIME,
                 &(story){.engine = VALVE, .checks = "{vacuum fall time: 5 s}"})
            ->why,
        "dashpot");
}

static void a_card_may_name_another_fall_time(void **state) {
  const char *engine = "{cylinders: 6, control valve: {set vacuum: 6 inHg, fall time: 5 s}}";
  assert_int_equal(check_of(*state, LW_CHECK_FALL_TIME,
                            &(story){.engine = engine, .checks = "{vacuum fall time: 4 s}"})
                       ->answer,
                   LW_FIT);
}

/* ---- not known ---- */

static void what_was_not_checked_is_said_and_carried_into_the_steps(void **state) {
  const lw_work *w =
      kit_work(*state, &(story){.checks = "{warm: yes}", .reading = KIT_READ(KIT_RICH, "")});
  assert_int_equal(w->fitness.overall, LW_FIT_UNKNOWN);
  HOLDS(w->fitness.summary, "not known to be fit");
  assert_true(w->advice.step_count > 0);
  HOLDS(w->advice.steps[0], "before relying on it");
}

#define T(name) cmocka_unit_test_setup_teardown(name, kit_setup, kit_teardown)

int main(void) {
  const struct CMUnitTest tests[] = {
      T(an_engine_with_nothing_against_it_is_fit),
      T(what_makes_later_checks_meaningless_comes_first),
      T(a_cold_engine_is_not_set),
      T(a_choke_that_is_not_open_spoils_every_circuit),
      T(with_the_air_cleaner_off_the_idle_is_not_set),
      T(the_wrong_gear_is_not_set_in),
      T(a_weak_cylinder_is_named_and_stops_the_work),
      T(weak_neighbors_point_to_the_gasket_between_them),
      T(on_two_banks_following_numbers_are_not_called_neighbors),
      T(even_but_low_compression_is_not_fit),
      T(cylinders_left_out_are_asked_for),
      T(no_compression_at_all_is_not_fit),
      T(leakage_over_the_card_names_its_cylinder),
      T(timing_is_read_as_the_card_says_or_not_judged),
      T(late_and_early_timing_are_told_apart),
      T(wrong_dwell_comes_before_timing),
      T(distributor_degrees_count_twice_at_the_crank),
      T(a_leak_that_was_found_is_stopped_first),
      T(every_kind_of_needle_has_its_own_meaning),
      T(low_vacuum_alone_does_not_stop_the_setting),
      T(fuel_level_counts_down_from_its_mark),
      T(a_dashpot_that_holds_the_throttle_is_backed_off_first),
      T(a_weak_pump_is_said_and_the_idle_set_all_the_same),
      T(an_air_valve_spring_is_held_to_a_quarter_turn),
      T(advance_vacuum_is_down_within_three_seconds),
      T(a_card_may_name_another_fall_time),
      T(what_was_not_checked_is_said_and_carried_into_the_steps),
  };
  return cmocka_run_group_tests_name("fitness", tests, NULL, NULL);
}
