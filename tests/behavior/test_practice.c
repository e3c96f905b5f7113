/* test_practice.c - practice cars: every fault can be had, shows, is mended by its name; hands do
** what hands do; the review says what each reading told and what the engine would have done.
**
** Common practice, no source, where nothing else is said.
*/
#include "car_kit.h"

#include "leanward/practice.h"

#include <math.h>

static lw_test_car *sound(shop *s, const char *name) {
  lw_test_car *car = NULL;
  shop_must(s, lw_test_car_new(s->arena, shop_card(s, name), &car, &s->error), name);
  return car;
}

static lw_practice *bring_in(shop *s, const lw_test_car *car, lw_cause_id cause, uint64_t seed,
                             lw_fault *fault) {
  lw_practice *p = NULL;
  shop_must(s, lw_fault_draw(s->units, car, cause, seed, fault, &s->error), "a fault");
  shop_must(s, lw_practice_new(s->units, car, fault, seed, &p, &s->error), fault->name);
  return p;
}

static lw_act act(shop *s, lw_practice *p, lw_act_kind kind, int which, double amount) {
  lw_act a = {.kind = kind, .which = which, .amount = amount};
  shop_must(s, lw_practice_do(p, s->units, &a, &s->error), lw_act_text(kind));
  return a;
}

static bool refused(shop *s, lw_practice *p, lw_act_kind kind, int which, double amount) {
  lw_act a = {.kind = kind, .which = which, .amount = amount};
  size_t before = 0, after = 0;
  double minutes = lw_practice_minutes(p);
  lw_practice_acts(p, &before);
  bool no = lw_practice_do(p, s->units, &a, &s->error) == LW_BAD_INPUT;
  lw_practice_acts(p, &after);
  assert_int_equal(before, after);
  assert_true(fabs(minutes - (lw_practice_minutes(p))) <= 0);
  return no;
}

static void run_for(lw_practice *p, double seconds) {
  for (int i = 0; i < (int)(10 * seconds + 0.5); i++)
    lw_practice_tick(p, 0.1);
}

/* ---- faults ---- */

/* Every cause can be had on some demo car, and each that can be had runs, whatever it does. */
static void every_cause_can_be_had(void **state) {
  static const char *const names[] = {"corran-220-six-manual", "corran-290-eight-export",
                                      "corran-350-eight-vacuum"};
  shop *s = *state;
  int had[LW_CAUSES] = {0};
  for (size_t i = 0; i < 3; i++) {
    lw_test_car *car = sound(s, names[i]);
    for (int c = 0; c < LW_CAUSES; c++) {
      lw_fault f;
      lw_practice *p = NULL;
      lw_error error = {0};
      if (!lw_fault_may((lw_cause_id)c)) continue;
      if (lw_fault_draw(s->units, car, (lw_cause_id)c, 5, &f, &error) != LW_OK) {
        assert_true(error.text[0] != '\0');
        continue;
      }
      had[c]++;
      assert_int_equal(f.id, c);
      assert_true(f.complaint[0] != '\0');
      assert_null(strstr(f.complaint, lw_cause_text(f.id)));
      shop_must(s, lw_practice_new(s->units, car, &f, 5, &p, &s->error), f.name);
      run_for(p, 2);
      lw_practice_free(p);
    }
  }
  for (int c = 0; c < LW_CAUSES; c++) {
    if (!had[c]) printf("on none of these: %s\n", lw_cause_text((lw_cause_id)c));
    bool may_lack = !lw_fault_may((lw_cause_id)c) || c == LW_CAUSE_POWER_SHUT ||
                    c == LW_CAUSE_CLEANER || c == LW_CAUSE_CHECK_VALVE || c == LW_CAUSE_VALVE_SET;
    if (!may_lack) assert_true(had[c] > 0);
  }
}

/* Drawn as often as they are met: many kinds, none too often. */
static void hidden_faults_differ(void **state) {
  enum { DRAWS = 120 };
  shop *s = *state;
  lw_test_car *car = sound(s, "corran-290-eight-manual");
  int met[LW_CAUSES] = {0}, kinds = 0, most = 0;
  for (uint64_t seed = 0; seed < DRAWS; seed++) {
    lw_fault f;
    shop_must(s, lw_fault_draw(s->units, car, LW_CAUSES, seed * 77, &f, &s->error), "a fault");
    assert_true(f.id != LW_CAUSE_NONE && f.id != LW_CAUSE_OTHER);
    met[f.id]++;
  }
  for (int c = 0; c < LW_CAUSES; c++) {
    kinds += met[c] > 0;
    most = met[c] > most ? met[c] : most;
  }
  printf("%d kinds in %d draws, the commonest %d times\n", kinds, DRAWS, most);
  assert_true(kinds >= 15);
  assert_true(most <= DRAWS / 2);
}

static void the_same_seed_is_the_same_car(void **state) {
  shop *s = *state;
  lw_test_car *car = sound(s, "corran-220-six-export");
  lw_fault a, b;
  lw_practice *p = bring_in(s, car, LW_CAUSES, 99, &a), *q = bring_in(s, car, LW_CAUSES, 99, &b);
  assert_string_equal(a.name, b.name);
  run_for(p, 5);
  run_for(q, 5);
  lw_needles n = lw_practice_needles(p), m = lw_practice_needles(q);
  assert_true(n.speed == m.speed && n.gases.co == m.gases.co && n.vacuum == m.vacuum);
  size_t checks = 0;
  lw_plain_tests(&checks);
  for (int i = 0; i < (int)checks; i++) {
    lw_act x = act(s, p, LW_ACT_CHECK, i, 0), y = act(s, q, LW_ACT_CHECK, i, 0);
    assert_int_equal(x.answer, y.answer);
  }
  lw_practice_free(p);
  lw_practice_free(q);
}

/* ---- hands ---- */

static void clockwise_leans_every_mixture_screw(void **state) {
  static const char *const names[] = {"corran-220-six-manual", "corran-220-six-limiter",
                                      "corran-290-eight-automatic"};
  shop *s = *state;
  for (size_t i = 0; i < 3; i++) {
    lw_fault f;
    lw_practice *p = bring_in(s, sound(s, names[i]), LW_CAUSE_NONE, 1, &f);
    run_for(p, 1);
    double before = lw_practice_needles(p).gases.co;
    lw_act a = act(s, p, LW_ACT_TURN, 0, -0.125);
    assert_true(fabs(a.done - (-0.125)) <= 1e-9);
    assert_true(lw_practice_unsettled(p) > 5);
    run_for(p, 40);
    assert_true(lw_practice_unsettled(p) <= 0);
    double after = lw_practice_needles(p).gases.co;
    printf("%s: CO %.2f %% to %.2f %%\n", names[i], 100 * before, 100 * after);
    assert_true(after < before - 5e-4);
    lw_practice_free(p);
  }
}

/* The speed screw clockwise is faster; a screw at its stop is not forced. */
static void screws_have_stops(void **state) {
  shop *s = *state;
  lw_fault f;
  lw_practice *p = bring_in(s, sound(s, "corran-220-six-manual"), LW_CAUSE_NONE, 1, &f);
  lw_practice_screw screws[LW_SIGHT_SCREWS + 1];
  assert_int_equal(lw_practice_screws(p, screws), 2);
  assert_string_equal(screws[1].name, "speed screw");
  run_for(p, 1);
  double before = lw_practice_needles(p).speed;
  act(s, p, LW_ACT_TURN, 1, -0.5);
  run_for(p, 10);
  assert_true(lw_practice_needles(p).speed > before + 40 * CAR_RPM);
  act(s, p, LW_ACT_TURN, 1, 0.5);
  lw_act a = act(s, p, LW_ACT_TURN, 0, 4);
  assert_true(fabs(a.done - (screws[0].hi - screws[0].turns)) <= 1e-9);
  assert_true(refused(s, p, LW_ACT_TURN, 0, 0.25));
  assert_non_null(strstr(s->error.text, "never force it"));
  assert_true(refused(s, p, LW_ACT_TURN, 0, 9));
  assert_true(refused(s, p, LW_ACT_TURN, 7, 0.25));
  assert_true(refused(s, p, LW_ACT_TURN, 0, LW_NONE));
  lw_practice_free(p);
}

static void a_foot_holds_a_speed(void **state) {
  shop *s = *state;
  for (int i = 0; i < CAR_CARDS; i++) {
    lw_fault f;
    lw_practice *p = bring_in(s, sound(s, car_cards[i]), LW_CAUSE_NONE, 1, &f);
    act(s, p, LW_ACT_HOLD, 0, 2500 * CAR_RPM);
    run_for(p, 8);
    double worst = 0;
    for (int k = 0; k < 100; k++) {
      run_for(p, 0.1);
      worst = fmax(worst, fabs(lw_practice_needles(p).speed / CAR_RPM - 2500));
    }
    printf("%s: within %.0f rpm\n", car_cards[i], worst);
    assert_true(worst <= 50);
    act(s, p, LW_ACT_PEDAL, 0, 0);
    run_for(p, 8);
    assert_true(lw_practice_needles(p).running);
    assert_true(lw_practice_needles(p).speed < 1000 * CAR_RPM);
    lw_practice_free(p);
  }
}

static void the_key_stops_and_starts_it(void **state) {
  shop *s = *state;
  lw_fault f;
  lw_practice *p = bring_in(s, sound(s, "corran-350-eight-manual"), LW_CAUSE_NONE, 1, &f);
  act(s, p, LW_ACT_STOP, 0, 0);
  run_for(p, 4);
  assert_false(lw_practice_needles(p).running);
  assert_int_equal(lw_practice_needles(p).why, LW_STALL_SPARK);
  assert_true(refused(s, p, LW_ACT_READ, 0, 0));
  assert_true(refused(s, p, LW_ACT_HOLD, 0, 200));
  act(s, p, LW_ACT_START, 0, 0);
  run_for(p, 8);
  assert_true(lw_practice_needles(p).running);
  assert_false(lw_practice_needles(p).cranking);
  act(s, p, LW_ACT_BLIP, 0, 0);
  double most = 0;
  for (int i = 0; i < 30; i++) {
    run_for(p, 0.1);
    most = fmax(most, lw_practice_needles(p).speed);
  }
  assert_true(most > 1500 * CAR_RPM);
  assert_true(refused(s, p, LW_ACT_GEAR, 0, 1)); /* no automatic */
  lw_practice_free(p);
}

/* A plugged hose takes its leak away, and it comes back with the hose. */
static void a_leaking_hose_can_be_plugged(void **state) {
  shop *s = *state;
  lw_test_car *car = sound(s, "corran-220-six-manual");
  lw_fault f = {.hose = -1};
  for (uint64_t seed = 0; f.hose < 0 && seed < 40; seed++)
    shop_must(s, lw_fault_draw(s->units, car, LW_CAUSE_VACUUM_LEAK, seed, &f, &s->error), "leak");
  assert_true(f.hose > 0);
  lw_practice *p = NULL;
  shop_must(s, lw_practice_new(s->units, car, &f, 3, &p, &s->error), f.name);
  double co[3];
  for (int i = 0; i < 3; i++) {
    if (i > 0) act(s, p, LW_ACT_HOSE, f.hose, i == 1);
    act(s, p, LW_ACT_WAIT, 0, 0);
    co[i] = lw_practice_needles(p).gases.co;
  }
  printf("CO %.2f %%, plugged %.2f %%, on again %.2f %%\n", 100 * co[0], 100 * co[1], 100 * co[2]);
  assert_true(co[1] > co[0] + 0.002);
  assert_true(co[2] < co[1] - 0.002);
  lw_practice_free(p);
}

static void an_automatic_is_put_in_drive(void **state) {
  shop *s = *state;
  lw_fault f;
  lw_practice *p = bring_in(s, sound(s, "corran-220-six-automatic"), LW_CAUSE_NONE, 1, &f);
  run_for(p, 1);
  double neutral = lw_practice_needles(p).speed;
  act(s, p, LW_ACT_GEAR, 0, 1);
  run_for(p, 6);
  double drive = lw_practice_needles(p).speed;
  printf("%.0f rpm, in drive %.0f\n", neutral / CAR_RPM, drive / CAR_RPM);
  assert_true(lw_practice_in_drive(p) && lw_practice_needles(p).running);
  assert_true(drive < neutral - 20 * CAR_RPM);
  lw_practice_free(p);
}

/* ---- checks ---- */

/* Each answer of each check has its words; the right ones are given about as often as lw_plain_tests
   says. */
static void checks_are_answered_as_such_checks_are(void **state) {
  enum { CARS = 400 };
  shop *s = *state;
  size_t count = 0;
  const lw_next_test *checks = lw_plain_tests(&count);
  lw_test_car *car = sound(s, "corran-220-six-manual");
  lw_fault f;
  shop_must(s, lw_fault_draw(s->units, car, LW_CAUSE_FLOAT_HIGH, 1, &f, &s->error), "a fault");
  int right = 0, wrong = 0;
  for (uint64_t seed = 0; seed < CARS; seed++) {
    lw_practice *p = NULL;
    shop_must(s, lw_practice_new(s->units, car, &f, 1000 + seed * 13, &p, &s->error), f.name);
    for (size_t i = 0; i < count; i++) {
      char words[LW_ACT_WORDS];
      lw_act a = {.kind = LW_ACT_CHECK, .which = (int)i};
      if (checks[i].finds[0].id != LW_CAUSE_FLOAT_HIGH && seed > 2) continue;
      a = act(s, p, LW_ACT_CHECK, (int)i, 0);
      lw_practice_words(p, &a, words, sizeof words);
      assert_true(strlen(words) > strlen(checks[i].name) + 4);
      assert_null(strstr(words, "it finds")); /* each has words of its own */
      if (checks[i].finds[0].id != LW_CAUSE_FLOAT_HIGH) continue;
      right += a.answer == 0;
      wrong += a.answer != 0;
    }
    lw_practice_free(p);
  }
  double share = right / (double)(right + wrong);
  printf("the fuel level is found high in %.1f %% of %d cars, 92 %% is said\n", 100 * share, CARS);
  assert_true(fabs(share - 0.92) < 0.05);
}

/* ---- the end ---- */

/* A search in order ends with the right name; the review tells of it, and the engine's own search
   ends with it too. */
static void a_review_tells(void **state) {
  static const struct {
    const char *card;
    lw_cause_id cause;
  } cars[] = {{"corran-220-six-manual", LW_CAUSE_FLOAT_HIGH},
              {"corran-290-eight-manual", LW_CAUSE_VACUUM_LEAK},
              {"corran-220-six-export", LW_CAUSE_ANALYZER},
              {"corran-220-six-automatic", LW_CAUSE_SCREWS},
              {"corran-350-eight-manual", LW_CAUSE_PUMP}};
  shop *s = *state;
  for (size_t i = 0; i < sizeof cars / sizeof cars[0]; i++) {
    lw_fault f;
    lw_review *r = NULL;
    lw_practice *p = bring_in(s, sound(s, cars[i].card), cars[i].cause, 4, &f);
    assert_int_equal(lw_practice_review(s->arena, s->units, p, &r, &s->error), LW_BAD_INPUT);
    act(s, p, LW_ACT_READ, 0, 0);
    act(s, p, LW_ACT_HOLD, 0, 2500 * CAR_RPM);
    lw_act early = act(s, p, LW_ACT_READ, 0, 0);
    assert_false(early.right); /* the needles still moved */
    act(s, p, LW_ACT_WAIT, 0, 0);
    act(s, p, LW_ACT_READ, 0, 0);
    act(s, p, LW_ACT_PEDAL, 0, 0);
    act(s, p, LW_ACT_CHECK, 6, 0);
    act(s, p, LW_ACT_NAME, LW_CAUSE_CHOKE, 0);
    assert_int_equal(lw_practice_where(p), LW_PRACTICE_SEEKING);
    act(s, p, LW_ACT_NAME, (int)cars[i].cause, 0);
    assert_int_equal(lw_practice_where(p), LW_PRACTICE_FOUND);
    assert_true(refused(s, p, LW_ACT_NAME, (int)cars[i].cause, 0));
    lw_practice_end(p);
    assert_true(refused(s, p, LW_ACT_READ, 0, 0));
    shop_must(s, lw_practice_review(s->arena, s->units, p, &r, &s->error), "review");
    printf("%s: %s %s\n", r->fault, r->would, r->fewest_says);
    for (size_t k = 0; k < r->step_count; k++)
      printf("   %s: %s (%.2f, %.2f)\n", r->steps[k].what, r->steps[k].words, r->steps[k].before,
             r->steps[k].after);
    assert_true(r->found && r->fewest_finds);
    assert_int_equal(r->wrong, 1);
    assert_true(fabs(r->minutes - (2 + 1 + 2 + 1 + 2 + 12 + 20)) <= 1e-9);
    assert_int_equal(r->step_count, 6);
    assert_non_null(strstr(r->steps[1].words, "come to rest"));
    assert_true(!lw_known(r->steps[1].after));
    assert_true(r->steps[0].after >= 0 && r->steps[0].after <= 1);
    assert_true(r->fewest_count >= 2);
    assert_true(r->fewest_minutes < r->minutes_seeking);
    lw_practice_free(p);
  }
}

/* The guide sets what is mis-set; a learner who does what it says leaves the car within. */
static void a_mis_set_idle_is_set(void **state) {
  shop *s = *state;
  lw_fault f;
  lw_review *r = NULL;
  lw_practice *p = bring_in(s, sound(s, "corran-220-six-manual"), LW_CAUSE_SCREWS, 2, &f);
  double off = f.turned[0];
  act(s, p, LW_ACT_NAME, LW_CAUSE_SCREWS, 0);
  act(s, p, LW_ACT_TURN, 0, -off); /* right-hand thread: outward is counter-clockwise */
  lw_practice_end(p);
  shop_must(s, lw_practice_review(s->arena, s->units, p, &r, &s->error), "review");
  printf("off by %.2f: %s guide %zu\n", off, r->set, r->turns_fewest);
  assert_true(r->within);
  assert_int_equal(r->turns_made, 1);
  assert_true(r->turns_fewest >= 1 && r->turns_fewest <= 6);
  lw_practice_free(p);
}

/* However often something is done, the list has an end and nothing else happens then. */
static void moves_are_bounded(void **state) {
  shop *s = *state;
  lw_fault f;
  lw_practice *p = bring_in(s, sound(s, "corran-220-six-manual"), LW_CAUSE_NONE, 1, &f);
  for (int i = 0; i < LW_ACTS_MOST; i++)
    act(s, p, LW_ACT_TURN, 1, i % 2 ? 0.0625 : -0.0625);
  lw_act more = {.kind = LW_ACT_STOP};
  assert_int_equal(lw_practice_do(p, s->units, &more, &s->error), LW_TOO_LARGE);
  assert_true(lw_practice_needles(p).running);
  run_for(p, 5);
  assert_true(lw_practice_needles(p).running);
  lw_practice_free(p);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(every_cause_can_be_had, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(hidden_faults_differ, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(the_same_seed_is_the_same_car, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(clockwise_leans_every_mixture_screw, shop_setup,
                                      shop_teardown),
      cmocka_unit_test_setup_teardown(screws_have_stops, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(a_foot_holds_a_speed, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(the_key_stops_and_starts_it, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(a_leaking_hose_can_be_plugged, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(an_automatic_is_put_in_drive, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(checks_are_answered_as_such_checks_are, shop_setup,
                                      shop_teardown),
      cmocka_unit_test_setup_teardown(a_review_tells, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(a_mis_set_idle_is_set, shop_setup, shop_teardown),
      cmocka_unit_test_setup_teardown(moves_are_bounded, shop_setup, shop_teardown),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
