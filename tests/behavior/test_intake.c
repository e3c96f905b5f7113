/* test_intake.c - does the fitted unit belong on this car? Units for manual and automatic
** transmission look alike and do not interchange: common practice, no source.
*/
#include "job_kit.h"

static const lw_intake *intake_of(kit *k, const story *s) {
  return &kit_work(k, s)->intake;
}

static const lw_difference *difference(const lw_intake *in, const char *what) {
  for (size_t i = 0; i < in->difference_count; i++) {
    if (strcmp(in->differences[i].what, what) == 0) return &in->differences[i];
  }
  return NULL;
}

static void the_right_number_belongs(void **state) {
  const lw_intake *in = intake_of(*state, &(story){0});
  assert_int_equal(in->answer, LW_BELONGS);
  HOLDS(in->summary, "A-1");
  assert_int_equal(in->difference_count, 0);
}

static void case_of_a_number_does_not_matter(void **state) {
  assert_int_equal(intake_of(*state, &(story){.job_tail = "fitted unit: a-1\n"})->answer,
                   LW_BELONGS);
}

static void without_a_number_or_a_card_nothing_is_claimed(void **state) {
  const lw_intake *in = intake_of(*state, &(story){.job_tail = ""});
  assert_int_equal(in->answer, LW_BELONGS_UNKNOWN);
  HOLDS(in->summary, "read the number");
  in = &kit_work_with(*state, kit_job(*state, &(story){0}), NULL, NULL)->intake;
  assert_int_equal(in->answer, LW_BELONGS_UNKNOWN);
  HOLDS(in->summary, "no spec card");
}

static void another_number_does_not_belong_and_no_screw_is_turned(void **state) {
  const lw_work *w = kit_work(
      *state, &(story){.job_tail = "fitted unit: B-7\n", .reading = KIT_READ(KIT_RICH, "")});
  assert_int_equal(w->intake.answer, LW_BELONGS_NOT);
  HOLDS(w->intake.summary, "B-7");
  HOLDS(w->intake.summary, "A-1");
  assert_false(kit_turns_something(w));
}

#define AUTOMATIC                                                                                  \
  "unit: A-2\nengine name: test six\ntransmission: automatic\nyear: 1968\n"                        \
  "engine: " KIT_ENGINE "\n"                                                                       \
  "carburetor:\n  screws: [{name: air, kind: air bleed, travel: 0 to 4 turns}]\n"                  \
  "  sealed: [fuel limiter]\n  dashpot: no\n  primary: {count: 1, power jet: 1 mm, main jet: "     \
  "1.4 mm}\n"                                                                                      \
  "idle: {speed: 650 +/- 25 rpm, gear: neutral, CO: 1.0 to 1.5 %}\n"

static void the_unit_of_the_other_transmission_says_so(void **state) {
  kit *k = *state;
  const lw_card *card =
      kit_card(k, "A-1",
               &(story){.carburetor = "  dashpot: yes\n  primary: {count: 1, power jet: "
                                      "1.1 mm, main jet: 1.5 mm}\n"});
  const lw_card *fitted = kit_card_text(k, AUTOMATIC);
  const lw_work *w =
      kit_work_with(k, kit_job(k, &(story){.job_tail = "fitted unit: A-2\n"}), card, fitted);
  assert_int_equal(w->intake.answer, LW_BELONGS_NOT);
  HOLDS(w->intake.summary, "automatic");
  HOLDS(w->intake.summary, "manual");
  HOLDS(w->intake.summary, "do not interchange");
  const lw_difference *d = difference(&w->intake, "idle mixture screws");
  assert_non_null(d);
  HOLDS(d->fitted, "left-hand");
  assert_non_null(difference(&w->intake, "dashpot"));
  assert_non_null(difference(&w->intake, "sealed parts"));
  d = difference(&w->intake, "idle, speed");
  HOLDS(d->why, "idle speed");
  assert_false(kit_turns_something(w));
}

/* A power jet sizes the enrichment; when it comes in is the power valve's. */
static void a_power_jet_and_a_power_valve_differ_in_what_they_do(void **state) {
  kit *k = *state;
  const lw_card *card =
      kit_card(k, "A-1",
               &(story){.carburetor = "  power valve opens: 6 inHg\n  primary: {count: 1, power "
                                      "jet: 1.1 mm}\n"});
  const lw_card *fitted =
      kit_card(k, "A-3",
               &(story){.carburetor = "  power valve opens: 8 inHg\n  primary: {count: 1, power "
                                      "jet: 1.0 mm}\n"});
  const lw_intake *in =
      &kit_work_with(k, kit_job(k, &(story){.job_tail = "fitted unit: A-3\n"}), card, fitted)
           ->intake;
  HOLDS(difference(in, "primary, power jet")->why, "full-throttle mixture");
  HOLDS(difference(in, "power valve opens")->why, "vacuum");
}

static void the_same_card_twice_shows_no_difference(void **state) {
  kit *k = *state;
  const lw_card *card = kit_card(k, "A-1", &(story){0});
  const lw_work *w = kit_work_with(k, kit_job(k, &(story){0}), card, card);
  assert_int_equal(w->intake.answer, LW_BELONGS);
  assert_int_equal(w->intake.difference_count, 0);
}

/* The number in the car and the card given for it disagree: whichever is wrong, the screws of that
   card may not be the ones in hand. */
static void a_fitted_card_of_another_number_stops_the_work(void **state) {
  kit *k = *state;
  const lw_card *card = kit_card(k, "A-1", &(story){0});
  const lw_card *fitted = kit_card_text(k, AUTOMATIC);
  const lw_work *w =
      kit_work_with(k, kit_job(k, &(story){.reading = KIT_READ(KIT_RICH, "")}), card, fitted);
  assert_int_equal(w->intake.answer, LW_BELONGS_NOT);
  HOLDS(w->intake.summary, "A-1");
  HOLDS(w->intake.summary, "A-2");
  assert_false(kit_turns_something(w));
}

static void a_card_of_another_car_is_refused(void **state) {
  static const struct {
    const char *car, *what;
  } cars[] = {
      {"{year: 1968, engine: test eight, transmission: manual}", "engine"},
      {"{year: 1968, engine: test six, transmission: automatic}", "transmission"},
      {"{year: 1969, engine: test six, transmission: manual}", "model year"},
      {"{year: 1968, engine: test six, displacement: 4.2 L, transmission: manual}", "displacement"},
  };
  for (size_t i = 0; i < 4; i++) {
    const lw_work *w =
        kit_work(*state, &(story){.car = cars[i].car, .reading = KIT_READ(KIT_RICH, "")});
    assert_int_equal(w->intake.answer, LW_BELONGS_NOT);
    assert_non_null(difference(&w->intake, cars[i].what));
    HOLDS(w->intake.summary, cars[i].what);
    assert_false(kit_turns_something(w));
  }
}

static void a_displacement_rounded_on_the_decal_is_the_same_engine(void **state) {
  const lw_intake *in =
      intake_of(*state, &(story){.car = "{year: 1968, engine: test six, displacement: 220 in3}"});
  assert_int_equal(in->answer, LW_BELONGS);
}

#define T(name) cmocka_unit_test_setup_teardown(name, kit_setup, kit_teardown)

int main(void) {
  const struct CMUnitTest tests[] = {
      T(the_right_number_belongs),
      T(case_of_a_number_does_not_matter),
      T(without_a_number_or_a_card_nothing_is_claimed),
      T(another_number_does_not_belong_and_no_screw_is_turned),
      T(the_unit_of_the_other_transmission_says_so),
      T(a_power_jet_and_a_power_valve_differ_in_what_they_do),
      T(the_same_card_twice_shows_no_difference),
      T(a_fitted_card_of_another_number_stops_the_work),
      T(a_card_of_another_car_is_refused),
      T(a_displacement_rounded_on_the_decal_is_the_same_engine),
  };
  return cmocka_run_group_tests_name("intake", tests, NULL, NULL);
}
