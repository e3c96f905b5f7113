/* test_exhaust_notes.c - what a set of gases is said to mean: each note on gases made by the forward
** model, where the cause is known; and how often the stated bands hold the truth.
**
** Where no source stands beside a check, the reading of the gases is common practice, no source.
*/
#include "job_kit.h"

static lw_fuel gasoline(void) {
  lw_fuel fuel = {0};
  assert_true(lw_fuel_by_name("gasoline", &fuel));
  return fuel;
}

static void set_u(lw_sample *s, lw_class accuracy) {
  lw_analyzer a = {.accuracy = accuracy};
  a.co = a.co2 = a.hc = a.o2 = a.no = NAN;
  a.co_step = a.co2_step = a.hc_step = a.o2_step = a.no_step = NAN;
  s->u =
      (lw_gases){lw_reading_u(&a, LW_GAS_CO, s->x.co), lw_reading_u(&a, LW_GAS_CO2, s->x.co2),
                 lw_reading_u(&a, LW_GAS_HC, s->x.hc), lw_reading_u(&a, LW_GAS_O2, s->x.o2), NAN};
}

/* Dry gas of a charge that burned so, read by a class I analyzer without error. */
static lw_sample burned(double lambda, double spread, double unburned) {
  lw_fuel fuel = gasoline();
  lw_burn burn = {lambda, spread, unburned};
  lw_products p = lw_burn_products(&fuel, &burn, NAN, NAN);
  lw_sample s = lw_sample_new(&fuel);
  s.x = (lw_gases){p.dry.co, p.dry.co2, p.dry.hc / 6, p.dry.o2, NAN};
  set_u(&s, LW_CLASS_I);
  return s;
}

/* The same with a share of outside air behind it. */
static lw_sample diluted(lw_sample s, double air) {
  s.x.co *= 1 - air;
  s.x.co2 *= 1 - air;
  s.x.hc *= 1 - air;
  s.x.o2 = s.x.o2 * (1 - air) + LW_AIR_O2 * air;
  set_u(&s, LW_CLASS_I);
  return s;
}

static lw_sample mixed(lw_sample a, const lw_sample *b) {
  a.x.co = 0.5 * (a.x.co + b->x.co);
  a.x.co2 = 0.5 * (a.x.co2 + b->x.co2);
  a.x.hc = 0.5 * (a.x.hc + b->x.hc);
  a.x.o2 = 0.5 * (a.x.o2 + b->x.o2);
  set_u(&a, LW_CLASS_I);
  return a;
}

static lw_exhaust work(const lw_sample *s) {
  lw_exhaust out;
  lw_error error = {0};
  assert_int_equal(lw_exhaust_work(s, &out, &error), LW_OK);
  return out;
}

static const lw_note *note_of(const lw_exhaust *e, lw_note_code code) {
  for (size_t i = 0; i < e->note_count; i++) {
    if (e->notes[i].code == code) return &e->notes[i];
  }
  return NULL;
}

static const char *words(const lw_exhaust *e, lw_note_code code) {
  const lw_note *n = note_of(e, code);
  if (!n) fprintf(stderr, "note %d is missing\n", (int)code);
  return n ? n->text : "";
}

/* ---- nothing to say ---- */

static void an_even_healthy_engine_raises_no_doubt(void **state) {
  (void)state;
  for (int i = 0; i <= 25; i++) {
    for (int j = 0; j < 3; j++) {
      lw_sample s = burned(0.85 + 0.01 * i, 0.03 + 0.025 * j, 0.010);
      lw_exhaust e = work(&s);
      for (size_t n = 0; n < e.note_count; n++) {
        if (e.notes[n].weight != LW_REMARK)
          fail_msg("lambda %.2f spread %.3f: %s", 0.85 + 0.01 * i, 0.03 + 0.025 * j,
                   e.notes[n].text);
      }
    }
  }
}

/* ---- air ---- */

static void a_probe_in_fresh_air_is_named_and_nothing_else_is(void **state) {
  (void)state;
  lw_fuel fuel = gasoline();
  lw_sample s = lw_sample_new(&fuel);
  s.x = (lw_gases){0, 0.001, 6e-6, 0.207, NAN};
  lw_exhaust e = work(&s);
  assert_int_equal(e.note_count, 1);
  assert_int_equal(e.notes[0].weight, LW_ALARM);
  HOLDS(words(&e, LW_NOTE_AIR_ONLY), "probe");
  assert_int_equal(e.source, LW_LAMBDA_NONE);
}

static void under_six_percent_co_and_co2_a_test_is_void(void **state) {
  (void)state;
  const char *source = "40 CFR 85.2213 and part 51 subpart S appendix B: CO + CO2 under 6 %";
  lw_sample s = burned(0.98, 0.04, 0.012);
  double sum = s.x.co + s.x.co2;
  lw_sample under = diluted(s, 1 - 0.0599 / sum), over = diluted(s, 1 - 0.0601 / sum);
  lw_exhaust e = work(&under);
  PUBLISHED(e.void_sample, 1, 0, source);
  assert_int_equal(note_of(&e, LW_NOTE_VOID)->weight, LW_ALARM);
  HOLDS(words(&e, LW_NOTE_VOID), "leak");
  e = work(&over);
  PUBLISHED(e.void_sample, 0, 0, source);
  assert_null(note_of(&e, LW_NOTE_VOID));
}

static void air_behind_a_rich_engine_is_sized_and_seen_through(void **state) {
  (void)state;
  for (int i = 0; i < 6; i++) {
    double lambda = 0.86 + 0.02 * i;
    lw_sample s = diluted(burned(lambda, 0.02, 0.012), 0.25);
    lw_exhaust e = work(&s);
    HOLDS(words(&e, LW_NOTE_DILUTED), "outside air");
    HOLDS(words(&e, LW_NOTE_DILUTED), "unevenly");
    NEAR(e.air_share, 0.25, 0.02);
    NEAR(e.lambda_inside, lambda, 0.01);
  }
}

/* One barrel rich, one lean, evenly mixed: CO and O2 stand side by side without any leak. */
static void uneven_barrels_are_not_taken_for_an_even_mixture(void **state) {
  (void)state;
  lw_sample rich = burned(0.82, 0.02, 0.012), lean = burned(1.16, 0.02, 0.012);
  lw_sample both = mixed(rich, &lean);
  lw_exhaust e = work(&both);
  HOLDS(words(&e, LW_NOTE_DILUTED), "balance");
  lw_sample even = burned(e.lambda.x, 0.04, 0.012);
  e = work(&even);
  assert_null(note_of(&e, LW_NOTE_DILUTED));
}

/* A lean engine, and one at stoichiometric with air behind it, give the same gases: both must be
   left open, and the span said must hold both. */
static void lean_and_leaking_are_left_open_together(void **state) {
  (void)state;
  lw_sample lean = burned(1.12, 0.03, 0.012);
  lw_exhaust e = work(&lean);
  HOLDS(words(&e, LW_NOTE_LEAN_OR_LEAK), "1.00");
  HOLDS(words(&e, LW_NOTE_LEAN_OR_LEAK), "1.12");
  assert_int_equal(note_of(&e, LW_NOTE_LEAN_OR_LEAK)->weight, LW_REMARK);
  lw_sample leak = diluted(burned(1.0, 0.01, 0.012), 0.11);
  e = work(&leak);
  HOLDS(words(&e, LW_NOTE_LEAN_OR_LEAK), "1.00");
}

/* ---- gases that do not fit ---- */

static void an_air_leak_never_looks_like_a_bad_calibration(void **state) {
  (void)state;
  for (int i = 0; i < 8; i++) {
    for (int j = 0; j < 12; j++) {
      lw_sample s = diluted(burned(0.8 + 0.05 * i, 0.04, 0.012), 0.05 * j);
      lw_exhaust e = work(&s);
      assert_null(note_of(&e, LW_NOTE_CLOSURE));
      assert_null(note_of(&e, LW_NOTE_WET));
    }
  }
}

static void one_gas_read_wrong_is_seen_and_its_right_value_offered(void **state) {
  (void)state;
  lw_sample s = burned(0.96, 0.03, 0.012);
  double right = 100 * s.x.co2;
  s.x.co2 -= 0.03;
  lw_exhaust e = work(&s);
  char text[40];
  snprintf(text, sizeof text, "CO2 were %.1f %%", right);
  const char *said = strstr(words(&e, LW_NOTE_CLOSURE), "CO2 were ");
  assert_non_null(said);
  NEAR(strtod(said + strlen("CO2 were "), NULL), right, 0.3);
  HOLDS(words(&e, LW_NOTE_CLOSURE), "calibration");
}

static void gas_that_was_not_dried_is_told_from_a_bad_calibration(void **state) {
  (void)state;
  lw_sample s = burned(0.97, 0.03, 0.012);
  lw_fuel fuel = gasoline();
  lw_products p = lw_burn_products(&fuel, &(lw_burn){0.97, 0.03, 0.012}, NAN, NAN);
  double wet = 1 - p.h2o;
  s.x.co *= wet;
  s.x.co2 *= wet;
  s.x.hc *= wet;
  s.x.o2 *= wet;
  lw_exhaust e = work(&s);
  HOLDS(words(&e, LW_NOTE_WET), "water trap");
  assert_null(note_of(&e, LW_NOTE_CLOSURE));
  s.wet = true;
  e = work(&s);
  assert_null(note_of(&e, LW_NOTE_WET));
  assert_null(note_of(&e, LW_NOTE_CLOSURE));
}

/* ---- HC ---- */

static void charge_that_did_not_burn_is_sized(void **state) {
  (void)state;
  for (int i = 0; i < 4; i++) {
    double missed = 0.04 + 0.03 * i;
    lw_sample s = burned(0.97, 0.04, 0.015 + missed);
    lw_exhaust e = work(&s);
    const char *text = words(&e, LW_NOTE_MISFIRE);
    HOLDS(text, "does not fire");
    assert_int_equal(note_of(&e, LW_NOTE_MISFIRE)->weight, LW_ALARM);
    assert_true(e.misfire.x - 2 * e.misfire.u <= missed + 1e-9);
    assert_true(e.misfire.x + 2 * e.misfire.u >= missed - 1e-9);
  }
}

static void a_lean_misfire_sends_to_the_air_leak(void **state) {
  (void)state;
  lw_sample s = burned(1.2, 0.04, 0.08);
  lw_exhaust e = work(&s);
  HOLDS(words(&e, LW_NOTE_MISFIRE), "air leak");
}

static void hc_without_the_oxygen_of_a_misfire_is_doubted_first(void **state) {
  (void)state;
  lw_sample s = burned(0.97, 0.02, 0.012);
  s.x.hc = 2000e-6;
  set_u(&s, LW_CLASS_I);
  lw_exhaust e = work(&s);
  HOLDS(words(&e, LW_NOTE_MISFIRE), "hang-up");
}

static void hc_of_a_rich_mixture_is_no_misfire(void **state) {
  (void)state;
  lw_sample s = burned(0.82, 0.03, 0.022);
  lw_exhaust e = work(&s);
  assert_null(note_of(&e, LW_NOTE_MISFIRE));
  HOLDS(words(&e, LW_NOTE_RICH_HC), "lean it before");
}

/* ---- CO corrected ---- */

static void diluted_co_is_corrected_by_the_rule(void **state) {
  (void)state;
  lw_fuel fuel = gasoline();
  lw_sample s = lw_sample_new(&fuel);
  s.x = (lw_gases){0.010, 0.103, 162e-6, 0.060, NAN};
  lw_exhaust e = work(&s);
  PUBLISHED(e.co_corrected.x, 0.010 * 15 / 11.3, 1e-9,
            "UNECE R83 annex 5: CO * 15/(CO + CO2) under 15 % (from memory)");
  HOLDS(words(&e, LW_NOTE_CO_CORRECTED), "1.33 %");
  s.x.co2 = 0.145;
  e = work(&s);
  PUBLISHED(e.co_corrected.x, 0.010, 1e-12,
            "UNECE R83 annex 5: no correction from 15 % on (from memory)");
  assert_false(e.co_is_corrected);
}

/* ---- fewer gases ---- */

static lw_sample only(lw_sample s, bool co, bool co2, bool hc, bool o2) {
  if (!co) s.x.co = NAN;
  if (!co2) s.x.co2 = NAN;
  if (!hc) s.x.hc = NAN;
  if (!o2) s.x.o2 = NAN;
  return s;
}

static void every_gas_that_is_missing_is_named(void **state) {
  (void)state;
  lw_sample s = burned(0.97, 0.04, 0.012);
  static const struct {
    bool co, co2, hc, o2;
    const char *words;
  } sets[] = {
      {true, true, true, false, "O2 not read"},
      {true, true, false, true, "HC not read"},
      {true, false, true, true, "CO2 not read"},
      {false, true, true, true, "CO not read"},
      {true, false, true, false, "CO2 and O2 not read"},
      {true, false, false, false, "CO2, HC and O2 not read"},
      {false, false, false, true, "CO, CO2 and HC not read"},
  };
  for (size_t i = 0; i < sizeof sets / sizeof sets[0]; i++) {
    lw_sample few = only(s, sets[i].co, sets[i].co2, sets[i].hc, sets[i].o2);
    lw_exhaust e = work(&few);
    assert_int_equal(e.source, LW_LAMBDA_INFERRED);
    const char *text = words(&e, LW_NOTE_FEWER_GASES);
    HOLDS(text, sets[i].words);
    assert_ptr_equal(strstr(text, sets[i].words), text);
    HOLDS(text, "outside air");
  }
}

static void with_little_co_alone_the_lean_side_stays_open(void **state) {
  (void)state;
  lw_sample lean = only(burned(1.05, 0.04, 0.012), true, false, true, false);
  lw_exhaust e = work(&lean);
  assert_true(e.lean_open);
  HOLDS(words(&e, LW_NOTE_LEAN_OPEN), "read O2");
  assert_true(e.lambda_hi > 1.1);
  lw_sample rich = only(burned(0.88, 0.04, 0.012), true, false, true, false);
  e = work(&rich);
  assert_false(e.lean_open);
  assert_null(note_of(&e, LW_NOTE_LEAN_OPEN));
}

/* ---- words are whole ---- */

static void no_text_is_cut_or_holds_a_missing_number(void **state) {
  (void)state;
  uint64_t seed = 7;
  for (int i = 0; i < 4000; i++) {
    lw_sample s = burned(kit_between(&seed, 0.6, 1.5), kit_between(&seed, 0.005, 0.25),
                         kit_between(&seed, 0.002, 0.2));
    s = diluted(s, kit_chance(&seed) < 0.5 ? 0 : kit_between(&seed, 0, 0.8));
    s.x.co2 *= kit_between(&seed, 0.8, 1.1);
    lw_exhaust e = work(&s);
    assert_true(e.note_count <= LW_NOTES_MOST);
    for (size_t n = 0; n < e.note_count; n++) {
      size_t length = strlen(e.notes[n].text);
      if (!length || length >= sizeof e.notes[n].text - 1) fail_msg("cut: %s", e.notes[n].text);
      assert_null(strstr(e.notes[n].text, "nan "));
      assert_null(strstr(e.notes[n].text, "inf "));
    }
  }
}

/* ---- the bands hold ---- */

/* GUM supplement 1 (JCGM 101:2008): propagate by sampling, compare with the linear u. */
static void the_u_of_lambda_is_the_spread_of_sampled_lambdas(void **state) {
  (void)state;
  enum { COMPOSITIONS = 24, SAMPLES = 200000 };
  uint64_t seed = 101;
  double worst = 0;
  for (int i = 0; i < COMPOSITIONS; i++) {
    lw_sample s =
        burned(0.75 + 0.025 * i, kit_between(&seed, 0.02, 0.12), kit_between(&seed, 0.004, 0.03));
    set_u(&s, (lw_class)(1 + i % 4));
    lw_measure m = lw_lambda_measure(&s);
    double sum = 0, squares = 0;
    for (int n = 0; n < SAMPLES; n++) {
      lw_sample moved = s;
      moved.x.co += s.u.co * kit_normal(&seed);
      moved.x.co2 += s.u.co2 * kit_normal(&seed);
      moved.x.hc += s.u.hc * kit_normal(&seed);
      moved.x.o2 += s.u.o2 * kit_normal(&seed);
      double d = lw_lambda_balance(&moved) - m.x;
      sum += d;
      squares += d * d;
    }
    double mean = sum / SAMPLES, spread = sqrt(squares / SAMPLES - mean * mean);
    double off = fabs(m.u / spread - 1);
    if (off > worst) worst = off;
    if (off > 0.05) fail_msg("composition %d: u %.5f, sampled %.5f", i, m.u, spread);
  }
  print_message("u of lambda: off by at most %.2f %% over %d compositions\n", 100 * worst,
                (int)COMPOSITIONS);
}

typedef struct subset {
  const char *name;
  bool co, co2, hc, o2;
} subset;

/* Share of cars whose true lambda lies inside the stated band. Cars come from the model's own priors
   (infer.c); readings carry the analyzer's u and, when asked, the model error. */
static double coverage(const subset *set, int cars, double model_error) {
  uint64_t seed = 4242;
  int inside = 0;
  for (int i = 0; i < cars; i++) {
    double lambda = 1 + 0.15 * kit_normal(&seed);
    double spread = 0.05 * pow(1.8, kit_normal(&seed));
    double unburned = fmin(0.012 * pow(2.2, kit_normal(&seed)), 0.5);
    lw_sample s = burned(lambda, spread, unburned);
    s.x.co += hypot(s.u.co, model_error * 0.0005) * kit_normal(&seed);
    s.x.co2 += hypot(s.u.co2, model_error * 0.002) * kit_normal(&seed);
    s.x.hc += s.u.hc * kit_normal(&seed);
    s.x.o2 += hypot(s.u.o2, model_error * 0.001) * kit_normal(&seed);
    s.x.co = fmax(s.x.co, 0); /* an analyzer shows no less than nothing */
    s.x.hc = fmax(s.x.hc, 0);
    s.x.o2 = fmax(s.x.o2, 0);
    lw_sample few = only(s, set->co, set->co2, set->hc, set->o2);
    lw_exhaust e = work(&few);
    inside += lambda >= e.lambda_lo && lambda <= e.lambda_hi;
  }
  return (double)inside / cars;
}

static void the_band_with_fewer_gases_holds_the_truth_in_about_95_percent(void **state) {
  (void)state;
  static const subset sets[] = {
      {"CO, HC", true, false, true, false},    {"CO, CO2, HC", true, true, true, false},
      {"CO, O2, HC", true, false, true, true}, {"CO, CO2, O2", true, true, false, true},
      {"CO", true, false, false, false},       {"O2", false, false, false, true},
  };
  enum { CARS = 1500 };
  bool good = true;
  for (size_t i = 0; i < sizeof sets / sizeof sets[0]; i++) {
    double share = coverage(&sets[i], CARS, 1), plain = coverage(&sets[i], CARS, 0);
    print_message("coverage %-12s %.1f %% (without model error %.1f %%)\n", sets[i].name,
                  100 * share, 100 * plain);
    good = good && share >= 0.90 && share <= 0.99;
  }
  assert_true(good);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(an_even_healthy_engine_raises_no_doubt),
      cmocka_unit_test(a_probe_in_fresh_air_is_named_and_nothing_else_is),
      cmocka_unit_test(under_six_percent_co_and_co2_a_test_is_void),
      cmocka_unit_test(air_behind_a_rich_engine_is_sized_and_seen_through),
      cmocka_unit_test(uneven_barrels_are_not_taken_for_an_even_mixture),
      cmocka_unit_test(lean_and_leaking_are_left_open_together),
      cmocka_unit_test(an_air_leak_never_looks_like_a_bad_calibration),
      cmocka_unit_test(one_gas_read_wrong_is_seen_and_its_right_value_offered),
      cmocka_unit_test(gas_that_was_not_dried_is_told_from_a_bad_calibration),
      cmocka_unit_test(charge_that_did_not_burn_is_sized),
      cmocka_unit_test(a_lean_misfire_sends_to_the_air_leak),
      cmocka_unit_test(hc_without_the_oxygen_of_a_misfire_is_doubted_first),
      cmocka_unit_test(hc_of_a_rich_mixture_is_no_misfire),
      cmocka_unit_test(diluted_co_is_corrected_by_the_rule),
      cmocka_unit_test(every_gas_that_is_missing_is_named),
      cmocka_unit_test(with_little_co_alone_the_lean_side_stays_open),
      cmocka_unit_test(no_text_is_cut_or_holds_a_missing_number),
      cmocka_unit_test(the_u_of_lambda_is_the_spread_of_sampled_lambdas),
      cmocka_unit_test(the_band_with_fewer_gases_holds_the_truth_in_about_95_percent),
  };
  return cmocka_run_group_tests_name("exhaust notes", tests, NULL, NULL);
}
