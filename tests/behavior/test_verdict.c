/* test_verdict.c - readings against limits: the decision itself (JCGM 106:2012, 8.3, guard bands of
** 2u on both sides), which reading and which row it is held to, and what becomes of a sample that
** holds outside air.
*/
#include "job_kit.h"

static const lw_range at_most_2 = {NAN, NAN, 2};
static const lw_range at_least_2 = {2, NAN, NAN};
static const lw_range between = {0.97, 1, 1.03};

/* ---- the decision ---- */

static void at_the_limit_exactly_with_nothing_uncertain_is_within(void **state) {
  (void)state;
  assert_int_equal(lw_judge((lw_measure){2, 0}, at_most_2), LW_WITHIN);
  assert_int_equal(lw_judge((lw_measure){2, 0}, at_least_2), LW_WITHIN);
  assert_int_equal(lw_judge((lw_measure){0.97, 0}, between), LW_WITHIN);
  assert_int_equal(lw_judge((lw_measure){1.03, 0}, between), LW_WITHIN);
  assert_int_equal(lw_judge((lw_measure){nextafter(2, 3), 0}, at_most_2), LW_OUTSIDE);
  assert_int_equal(lw_judge((lw_measure){nextafter(2, 1), 0}, at_least_2), LW_OUTSIDE);
}

static void the_guard_band_is_twice_u_on_both_sides(void **state) {
  (void)state;
  static const struct {
    double x;
    lw_verdict high, low;
  } cases[] = {{1.0, LW_WITHIN, LW_OUTSIDE},       {1.5, LW_WITHIN, LW_TOO_CLOSE},
               {1.75, LW_TOO_CLOSE, LW_TOO_CLOSE}, {2.0, LW_TOO_CLOSE, LW_TOO_CLOSE},
               {2.25, LW_TOO_CLOSE, LW_TOO_CLOSE}, {2.5, LW_TOO_CLOSE, LW_WITHIN},
               {3.0, LW_OUTSIDE, LW_WITHIN}};
  for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
    lw_measure v = {cases[i].x, 0.25};
    assert_int_equal(lw_judge(v, at_most_2), cases[i].high);
    assert_int_equal(lw_judge(v, at_least_2), cases[i].low);
  }
}

static void a_two_sided_limit_is_left_on_either_side(void **state) {
  (void)state;
  assert_int_equal(lw_judge((lw_measure){1.00, 0.01}, between), LW_WITHIN);
  assert_int_equal(lw_judge((lw_measure){0.98, 0.01}, between), LW_TOO_CLOSE);
  assert_int_equal(lw_judge((lw_measure){1.02, 0.01}, between), LW_TOO_CLOSE);
  assert_int_equal(lw_judge((lw_measure){0.94, 0.01}, between), LW_OUTSIDE);
  assert_int_equal(lw_judge((lw_measure){1.06, 0.01}, between), LW_OUTSIDE);
  /* a band wider than the limit can never be called within */
  assert_int_equal(lw_judge((lw_measure){1.00, 0.03}, between), LW_TOO_CLOSE);
}

static void without_value_or_limit_there_is_no_verdict(void **state) {
  (void)state;
  assert_int_equal(lw_judge((lw_measure){NAN, 0.1}, at_most_2), LW_NO_VERDICT);
  assert_int_equal(lw_judge((lw_measure){NAN, NAN}, at_most_2), LW_NO_VERDICT);
  assert_int_equal(lw_judge((lw_measure){1, 0.1}, lw_range_none), LW_NO_VERDICT);
  assert_int_equal(lw_judge((lw_measure){1, NAN}, at_most_2), LW_WITHIN); /* NaN: exact */
  assert_true(isnan(lw_inside_probability((lw_measure){NAN, 0.1}, at_most_2)));
  assert_true(isnan(lw_inside_probability((lw_measure){1, 0.1}, lw_range_none)));
}

/* Normal tables: 0.841345 under one u, 0.977250 under two, 0.682689 between -u and +u. */
static void the_share_inside_is_that_of_a_normal(void **state) {
  (void)state;
  const char *source = "standard normal table, any textbook (from memory)";
  PUBLISHED(lw_inside_probability((lw_measure){2, 0.5}, at_most_2), 0.5, 1e-9, source);
  PUBLISHED(lw_inside_probability((lw_measure){1.5, 0.5}, at_most_2), 0.841345, 1e-6, source);
  PUBLISHED(lw_inside_probability((lw_measure){1, 0.5}, at_most_2), 0.977250, 1e-6, source);
  PUBLISHED(lw_inside_probability((lw_measure){3, 0.5}, at_least_2), 0.977250, 1e-6, source);
  PUBLISHED(lw_inside_probability((lw_measure){1, 0.03}, between), 0.682689, 1e-6, source);
  assert_true(lw_inside_probability((lw_measure){2, 0}, at_most_2) == 1);
  assert_true(lw_inside_probability((lw_measure){2, 0}, at_least_2) == 1);
  assert_true(lw_inside_probability((lw_measure){0.97, 0}, between) == 1);
  assert_true(lw_inside_probability((lw_measure){0.969, 0}, between) == 0);
}

/* ---- the whole job ---- */

static const lw_judgement *judgement(const lw_work *w, const char *name) {
  for (size_t i = 0; i < w->judgement_count; i++) {
    if (strcmp(w->judgements[i].name, name) == 0) return &w->judgements[i];
  }
  return NULL;
}

#define CO_AND_HC(co, hc)                                                                          \
  "fitted unit: A-1\nlimits: [{gas: CO, value: at most " co ", at: idle}, {gas: HC, value: at "    \
  "most " hc ", at: idle}]\n"

static void outside_beats_too_close_beats_within(void **state) {
  static const struct {
    const char *limits;
    lw_verdict verdict;
    const char *words;
  } cases[] = {{CO_AND_HC("2 %", "350 ppm"), LW_WITHIN, "within every limit"},
               {CO_AND_HC("1.2 %", "350 ppm"), LW_TOO_CLOSE, "too close"},
               {CO_AND_HC("1.2 %", "100 ppm"), LW_OUTSIDE, "outside"},
               {CO_AND_HC("0.5 %", "350 ppm"), LW_OUTSIDE, "outside"}};
  for (size_t i = 0; i < 4; i++) {
    const lw_work *w = kit_work(*state, &(story){.job_tail = cases[i].limits});
    assert_int_equal(w->verdict, cases[i].verdict);
    HOLDS(w->verdict_words, cases[i].words);
  }
}

static void a_limit_nothing_was_read_for_is_said_beside_the_verdict(void **state) {
  const lw_work *w = kit_work(
      *state, &(story){.job_tail = "fitted unit: A-1\nlimits: [{gas: CO, value: at most 2 %, at: "
                                   "idle}, {gas: CO, value: at most 0.5 %, at: fast idle}]\n"});
  assert_int_equal(w->verdict, LW_WITHIN);
  HOLDS(w->verdict_words, "1 limit could not be judged");
  const lw_judgement *j = judgement(w, "CO at fast idle");
  assert_int_equal(j->verdict, LW_NO_VERDICT);
  assert_true(j->reading == SIZE_MAX && isnan(j->value.x) && isnan(j->inside));
  HOLDS(j->remark, "not read at fast idle");
}

static void a_gas_that_was_not_read_is_never_judged_from_a_guess(void **state) {
  const lw_work *w =
      kit_work(*state, &(story){.reading = KIT_READ("CO: 1.2 %, CO2: 14.3 %, O2: 0.24 %", "")});
  const lw_judgement *j = judgement(w, "HC at idle");
  assert_int_equal(j->verdict, LW_NO_VERDICT);
  assert_true(isnan(j->value.x));
}

static void a_sample_of_mostly_air_gets_no_verdict(void **state) {
  const lw_work *w = kit_work(
      *state,
      &(story){.reading = KIT_READ("CO: 0.6 %, CO2: 5.3 %, HC: 90 ppm hexane, O2: 12.7 %", "")});
  assert_int_equal(w->verdict, LW_NO_VERDICT);
  HOLDS(judgement(w, "CO at idle")->remark, "too much air");
  assert_true(isnan(judgement(w, "CO at idle")->inside));
}

/* 1.10 % read beside 6 % O2 may be 1.5 % and more: under a limit of 1.4 it is not within. */
static void outside_air_never_makes_a_reading_pass(void **state) {
  const char *reading = KIT_READ("CO: 1.10 %, CO2: 10.3 %, HC: 162 ppm hexane, O2: 6.0 %", "");
  const lw_work *w =
      kit_work(*state, &(story){.reading = reading, .job_tail = CO_AND_HC("1.4 %", "350 ppm")});
  const lw_judgement *j = judgement(w, "CO at idle");
  assert_int_equal(j->verdict, LW_TOO_CLOSE);
  HOLDS(j->remark, "outside air");
  w = kit_work(*state, &(story){.reading = reading, .job_tail = CO_AND_HC("4.5 %", "1200 ppm")});
  assert_int_equal(judgement(w, "CO at idle")->verdict, LW_WITHIN);
}

static void a_driving_cycle_is_never_judged_from_the_bay(void **state) {
  const lw_work *w = kit_work(*state, &(story){.job_tail = "fitted unit: A-1\nlimits: [{public: us "
                                                           "federal cycle}]\n"});
  assert_int_equal(w->judgement_count, 2);
  assert_int_equal(w->verdict, LW_NO_VERDICT);
  for (size_t i = 0; i < 2; i++) {
    assert_int_equal(w->judgements[i].at, LW_AT_CYCLE);
    HOLDS(w->judgements[i].remark, "driving cycle");
  }
}

static void the_reading_that_speaks_is_the_one_left_with(void **state) {
  const lw_work *w = kit_work(
      *state,
      &(story){.reading =
                   "[{at: idle, stage: as found, settled: yes, speed: 700 rpm, " KIT_VERY_RICH
                   "}, {at: idle, stage: as left, settled: yes, speed: 700 rpm, "
                   "" KIT_ON_TARGET "}, {at: idle, stage: working, settled: yes, speed: 700 "
                   "rpm, " KIT_RICH "}]"});
  NEAR(judgement(w, "CO at idle")->value.x, 0.0120, 1e-9);
  NEAR(w->judgements_found[0].value.x, 0.0368, 1e-9);
  assert_int_equal(w->found, 0);
  assert_int_equal(w->left, 1);
}

/* ---- public sets ---- */

static double co_limit(kit *k, const char *set, const char *car) {
  const char *tail = lw_arena_print(k->arena, "fitted unit: A-1\nlimits: [{public: %s}]\n", set);
  const lw_work *w = kit_work(k, &(story){.car = car, .card_tail = "", .job_tail = tail});
  for (size_t i = 0; i < w->judgement_count; i++) {
    const lw_judgement *j = &w->judgements[i];
    if (j->gas == LW_GAS_CO && j->at != LW_AT_FAST_IDLE) return j->limit.hi;
  }
  return NAN;
}

static void the_year_picks_the_row(void **state) {
  NEAR(co_limit(*state, "european idle", "{year: 1986}"), 0.045, 1e-12);
  NEAR(co_limit(*state, "european idle", "{year: 1987}"), 0.035, 1e-12);
  NEAR(co_limit(*state, "european idle", "{year: 1901}"), 0.045, 1e-12);
  NEAR(co_limit(*state, "british idle", "{year: 1976}"), 0.045, 1e-12);
  NEAR(co_limit(*state, "british idle", "{year: 1987}"), 0.035, 1e-12);
  assert_true(isnan(co_limit(*state, "british idle", "{year: 1975}")));
  assert_true(isnan(co_limit(*state, "us short test", "{year: 1980}")));
  NEAR(co_limit(*state, "us short test", "{year: 1981}"), 0.012, 1e-12);
  NEAR(co_limit(*state, "'european idle, catalyst'", "{year: 2003}"), 0.003, 1e-12);
}

/* 31 FR 5170: under 50 cu in exempt, 50 to 100, over 100 to 140, over 140. */
static void the_displacement_picks_the_row(void **state) {
  static const struct {
    const char *car;
    double co;
  } cars[] = {{"{year: 1968, displacement: 49 in3}", NAN},
              {"{year: 1968, displacement: 50.1 in3}", 0.023},
              {"{year: 1968, displacement: 100 in3}", 0.023},
              {"{year: 1968, displacement: 100.5 in3}", 0.020},
              {"{year: 1968, displacement: 140 in3}", 0.020},
              {"{year: 1969, displacement: 350 in3}", 0.015},
              {"{year: 1970, displacement: 350 in3}", NAN}};
  kit *k = *state;
  for (size_t i = 0; i < sizeof cars / sizeof cars[0]; i++) {
    lw_job *job = kit_job(
        k, &(story){.car = cars[i].car, .job_tail = "limits: [{public: us federal cycle}]\n"});
    const lw_work *w = kit_work_with(k, job, NULL, NULL);
    double co = NAN;
    for (size_t n = 0; n < w->judgement_count; n++)
      if (w->judgements[n].gas == LW_GAS_CO) co = w->judgements[n].limit.hi;
    if (lw_known(cars[i].co) ? !(fabs(co - cars[i].co) < 1e-12) : lw_known(co))
      fail_msg("%s: %g", cars[i].car, co);
  }
}

static void a_set_that_cannot_be_picked_from_says_why(void **state) {
  kit *k = *state;
  const lw_work *w = kit_work_with(
      k,
      kit_job(k, &(story){.car = "{engine: x}", .job_tail = "limits: [{public: british idle}]\n"}),
      NULL, NULL);
  assert_int_equal(w->verdict, LW_NO_VERDICT);
  assert_int_equal(w->judgement_count, 1);
  HOLDS(w->judgements[0].remark, "year is not given");
  w = kit_work_with(
      k,
      kit_job(k, &(story){.car = "{year: 1970}", .job_tail = "limits: [{public: british idle}]\n"}),
      NULL, NULL);
  HOLDS(w->judgements[0].remark, "no row");
  /* the year is there; what is missing is the displacement */
  w = kit_work_with(k,
                    kit_job(k, &(story){.car = "{year: 1968}",
                                        .job_tail = "limits: [{public: us federal cycle}]\n"}),
                    NULL, NULL);
  HOLDS(w->judgements[0].remark, "displacement, which is not given");
}

static void an_unknown_set_is_refused_with_the_nearest_name(void **state) {
  kit *k = *state;
  lw_job *job = kit_job(k, &(story){.job_tail = "limits: [{public: europaean idle}]\n"});
  const lw_work *w = NULL;
  lw_error error = {0};
  assert_int_equal(lw_job_work(k->arena, job, NULL, NULL, &w, &error), LW_BAD_INPUT);
  assert_null(w);
  HOLDS(error.text, "europaean idle");
  HOLDS(error.text, "did you mean 'european idle'");
  assert_true(error.line > 0);
  assert_string_equal(error.file, "job.yaml");
}

static void a_two_sided_lambda_limit_is_judged_at_fast_idle(void **state) {
  const lw_work *w = kit_work(
      *state, &(story){.reading = "[{at: fast idle, speed: 2500 rpm, settled: yes, CO: 0.2 %, CO2: "
                                  "15.0 %, HC: 100 ppm hexane, O2: 0.3 %}]",
                       .car = "{year: 1995}",
                       .card_tail = "",
                       .job_tail = "fitted unit: A-1\nlimits: [{public: 'european idle, "
                                   "catalyst'}]\n"});
  const lw_judgement *j = judgement(w, "lambda at fast idle");
  assert_non_null(j);
  NEAR(j->value.x, 1.003, 0.01);
  assert_int_equal(j->verdict, LW_WITHIN);
}

static void without_a_limit_the_cards_target_serves_and_that_is_said(void **state) {
  const lw_work *w = kit_work(*state, &(story){.card_tail = ""});
  assert_int_equal(w->judgement_count, 1);
  HOLDS(w->judgements[0].remark, "card's target");
}

/* An HC target in propane is held to readings as hexane by the factor readings are turned with. */
static void a_target_in_propane_is_held_to_hexane_by_the_usual_factor(void **state) {
  const lw_work *w =
      kit_work(*state, &(story){.card_tail = "",
                                .idle = "{speed: 700 rpm, gear: neutral, HC: 500 ppm propane}"});
  NEAR(judgement(w, "HC at idle")->limit.hi, 500e-6 * 0.52, 1e-12);
}

/* ---- more gas is never better ---- */

static int rank(lw_verdict v) {
  return v == LW_WITHIN ? 0 : v == LW_TOO_CLOSE ? 1 : v == LW_OUTSIDE ? 2 : -1;
}

static void a_larger_reading_never_turns_outside_into_within(void **state) {
  (void)state;
  uint64_t seed = 20261125;
  for (int i = 0; i < 20000; i++) {
    lw_analyzer a = {.accuracy = (lw_class)kit_pick(&seed, 5)};
    a.co = a.co2 = a.hc = a.o2 = a.no = NAN;
    a.co_step = a.co2_step = a.hc_step = a.o2_step = a.no_step = NAN;
    lw_range limit = {NAN, NAN, kit_between(&seed, 0.002, 0.06)};
    double x = kit_between(&seed, 0, 0.08), more = x + kit_between(&seed, 0, 0.02);
    lw_measure low = {x, lw_reading_u(&a, LW_GAS_CO, x)};
    lw_measure high = {more, lw_reading_u(&a, LW_GAS_CO, more)};
    int before = rank(lw_judge(low, limit)), after = rank(lw_judge(high, limit));
    assert_true(after >= before);
    double p = lw_inside_probability(low, limit), q = lw_inside_probability(high, limit);
    assert_true(p >= 0 && p <= 1 && q >= 0 && q <= 1);
  }
}

/* The same through a whole job, where dilution and its correction come in: CO rising with all else
   held, at every O2. */
static void through_a_whole_job_more_co_is_never_better(void **state) {
  kit *k = *state;
  for (int o2 = 0; o2 <= 12; o2++) {
    int worst = -1;
    for (int step = 0; step <= 60; step++) {
      kit one = {.arena = lw_arena_new(0), .units = k->units};
      lw_job *job = kit_job(&one, &(story){.job_tail = CO_AND_HC("1.5 %", "2000 ppm")});
      lw_reading r = *(const lw_reading *)job->readings.items;
      r.co = 0.0005 * step;
      r.o2 = 0.01 * o2;
      r.co2 = 0.145 - 0.7 * r.o2;
      job->readings.items = &r;
      const lw_work *w = kit_work_with(&one, job, NULL, NULL);
      int now = rank(judgement(w, "CO at idle")->verdict);
      if (now >= 0) {
        if (worst == 2 && now == 0) fail_msg("O2 %d %%, CO step %d turns within", o2, step);
        if (now > worst) worst = now;
      }
      lw_arena_free(one.arena);
    }
    assert_int_equal(worst, 2);
  }
}

#define T(name) cmocka_unit_test_setup_teardown(name, kit_setup, kit_teardown)

int main(void) {
  const struct CMUnitTest tests[] = {
      T(at_the_limit_exactly_with_nothing_uncertain_is_within),
      T(the_guard_band_is_twice_u_on_both_sides),
      T(a_two_sided_limit_is_left_on_either_side),
      T(without_value_or_limit_there_is_no_verdict),
      T(the_share_inside_is_that_of_a_normal),
      T(outside_beats_too_close_beats_within),
      T(a_limit_nothing_was_read_for_is_said_beside_the_verdict),
      T(a_gas_that_was_not_read_is_never_judged_from_a_guess),
      T(a_sample_of_mostly_air_gets_no_verdict),
      T(outside_air_never_makes_a_reading_pass),
      T(a_driving_cycle_is_never_judged_from_the_bay),
      T(the_reading_that_speaks_is_the_one_left_with),
      T(the_year_picks_the_row),
      T(the_displacement_picks_the_row),
      T(a_set_that_cannot_be_picked_from_says_why),
      T(an_unknown_set_is_refused_with_the_nearest_name),
      T(a_two_sided_lambda_limit_is_judged_at_fast_idle),
      T(without_a_limit_the_cards_target_serves_and_that_is_said),
      T(a_target_in_propane_is_held_to_hexane_by_the_usual_factor),
      T(a_larger_reading_never_turns_outside_into_within),
      T(through_a_whole_job_more_co_is_never_better),
  };
  return cmocka_run_group_tests_name("verdict", tests, NULL, NULL);
}
