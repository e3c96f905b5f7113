/* test_limits.c - the table of public limits against the rules it comes from. `read` in a source
** means the rule or its transposition was read; "secondary" that a text about it was.
*/
#include "check.h"

#include "leanward/service.h"

#define CUBIC_INCHES(x) ((x)*16.387064e-6)
#define PERCENT(x)      ((x)*1e-2)
#define PPM(x)          ((x)*1e-6)

static bool row_is(const lw_public_limit *row, const char *set, int year, double displacement,
                   lw_gas_name gas, lw_condition at) {
  if (strcmp(row->set, set) != 0 || row->gas != gas || row->at != at) return false;
  if (year < row->year_from || year > row->year_to) return false;
  if (lw_known(row->displacement_over) && !(displacement > row->displacement_over)) return false;
  return !(displacement > row->displacement_to);
}

/* The one row for a car; fails when there are several. NULL: none. */
static const lw_public_limit *row_for(const char *set, int year, double displacement,
                                      lw_gas_name gas, lw_condition at) {
  size_t count = 0;
  const lw_public_limit *rows = lw_public_limits(&count), *found = NULL;
  for (size_t i = 0; i < count; i++) {
    if (!row_is(&rows[i], set, year, displacement, gas, at)) continue;
    if (found) fail_msg("two rows of %s for %d", set, year);
    found = &rows[i];
  }
  return found;
}

static double most(const char *set, int year, double displacement, lw_gas_name gas,
                   lw_condition at) {
  const lw_public_limit *row = row_for(set, year, displacement, gas, at);
  return row ? row->value.hi : NAN;
}

static void first_us_federal_standard(void **state) {
  (void)state;
  const char *source = "31 FR 5170 (30 March 1966), 45 CFR part 85 (read, secondary)";
  static const struct {
    double cubic_inches, hc, co;
  } classes[] = {{51, 410, 2.3},  {100, 410, 2.3}, {101, 350, 2.0},
                 {140, 350, 2.0}, {141, 275, 1.5}, {400, 275, 1.5}};
  for (size_t i = 0; i < sizeof classes / sizeof classes[0]; i++) {
    double v = CUBIC_INCHES(classes[i].cubic_inches);
    PUBLISHED(most("us federal cycle", 1968, v, LW_GAS_HC, LW_AT_CYCLE), PPM(classes[i].hc), 1e-9,
              source);
    PUBLISHED(most("us federal cycle", 1968, v, LW_GAS_CO, LW_AT_CYCLE), PERCENT(classes[i].co),
              1e-9, source);
  }
  assert_null(row_for("us federal cycle", 1968, CUBIC_INCHES(49), LW_GAS_CO, LW_AT_CYCLE));
  assert_null(row_for("us federal cycle", 1967, CUBIC_INCHES(200), LW_GAS_CO, LW_AT_CYCLE));
}

static void california_1966(void **state) {
  (void)state;
  const char *source = "California Motor Vehicle Pollution Control Board, 1966 (read, secondary)";
  double v = CUBIC_INCHES(200);
  PUBLISHED(most("california cycle", 1966, v, LW_GAS_HC, LW_AT_CYCLE), PPM(275), 1e-9, source);
  PUBLISHED(most("california cycle", 1966, v, LW_GAS_CO, LW_AT_CYCLE), PERCENT(1.5), 1e-9, source);
}

static void us_short_test(void **state) {
  (void)state;
  const char *source = "40 CFR 85.2203(a), (c), 58 FR 58401 (read)";
  PUBLISHED(most("us short test", 1981, 3e-3, LW_GAS_HC, LW_AT_IDLE), PPM(220), 1e-9, source);
  PUBLISHED(most("us short test", 1981, 3e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(1.2), 1e-9, source);
  assert_null(row_for("us short test", 1980, 3e-3, LW_GAS_CO, LW_AT_IDLE));
}

static void european_idle(void **state) {
  (void)state;
  const char *source = "Directive 2000/30/EC as transposed by the French order of 9 August 2002 "
                       "(EQUT0201269A), annex II 2.1 (read)";
  const char *newer =
      "98/69/EC class or registered after 1 July 2002: excerpt of the directive and "
      "an inspection page (read, secondary)";
  const char *catalyst = "european idle, catalyst";
  PUBLISHED(most("european idle", 1980, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(4.5), 1e-9, source);
  PUBLISHED(most("european idle", 1988, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(3.5), 1e-9, source);
  PUBLISHED(most(catalyst, 1995, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(0.5), 1e-9, source);
  PUBLISHED(most(catalyst, 1995, 2e-3, LW_GAS_CO, LW_AT_FAST_IDLE), PERCENT(0.3), 1e-9, source);
  PUBLISHED(most(catalyst, 2004, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(0.3), 1e-9, newer);
  PUBLISHED(most(catalyst, 2004, 2e-3, LW_GAS_CO, LW_AT_FAST_IDLE), PERCENT(0.2), 1e-9, newer);
  const lw_public_limit *lambda = row_for(catalyst, 1995, 2e-3, LW_GAS_UNSAID, LW_AT_FAST_IDLE);
  assert_non_null(lambda);
  PUBLISHED(lambda->value.lo, 0.97, 1e-12, source);
  PUBLISHED(lambda->value.hi, 1.03, 1e-12, source);
}

static void british_idle(void **state) {
  (void)state;
  const char *source = "inspection manual, copies (read, secondary); CO before 1 August 1986 also "
                       "SI 2001/25 schedule 3 (read)";
  PUBLISHED(most("british idle", 1980, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(4.5), 1e-9, source);
  PUBLISHED(most("british idle", 1988, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(3.5), 1e-9, source);
  PUBLISHED(most("british idle", 1980, 2e-3, LW_GAS_HC, LW_AT_IDLE), PPM(1200), 1e-9, source);
  PUBLISHED(most("british idle", 1988, 2e-3, LW_GAS_HC, LW_AT_IDLE), PPM(1200), 1e-9, source);
}

static void german_french_and_indian_idle(void **state) {
  (void)state;
  PUBLISHED(most("german idle", 1975, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(3.5), 1e-9,
            "StVZO Anlage XI, to April 2006 (read)");
  PUBLISHED(most("french idle", 1976, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(4.5), 1e-9,
            "order of 26 February 1976 (read, excerpt)");
  const char *source = "Central Motor Vehicles Rules 1989, rule 115(2), other four-wheelers (read)";
  PUBLISHED(most("indian idle", 1985, 2e-3, LW_GAS_CO, LW_AT_IDLE), PERCENT(3.0), 1e-9, source);
  PUBLISHED(most("indian idle", 1985, 2e-3, LW_GAS_HC, LW_AT_IDLE), PPM(1500), 1e-9, source);
}

/* No figure stands without its source, and no car falls into two rows of one kind. */
static void every_row_names_its_source_and_no_car_gets_two(void **state) {
  (void)state;
  size_t count = 0;
  const lw_public_limit *rows = lw_public_limits(&count);
  for (size_t i = 0; i < count; i++) {
    const lw_public_limit *r = &rows[i];
    assert_true(r->set[0] && r->title[0] && strlen(r->source) > 10);
    assert_true(!strcmp(r->standing, "read") || !strcmp(r->standing, "from memory") ||
                !strcmp(r->standing, "read in a secondary text"));
    assert_true(r->year_from <= r->year_to && lw_range_known(r->value));
    for (int year = 1950; year <= 2030; year++) {
      for (int cubic_inches = 40; cubic_inches <= 500; cubic_inches += 10)
        row_for(r->set, year, CUBIC_INCHES(cubic_inches), r->gas, r->at);
    }
  }
}

static void every_set_is_listed_once(void **state) {
  (void)state;
  const char *names[64];
  size_t sets = lw_public_sets(names, 64), count = 0;
  const lw_public_limit *rows = lw_public_limits(&count);
  assert_true(sets > 5 && sets <= 64);
  for (size_t i = 0; i < sets; i++) {
    for (size_t j = 0; j < i; j++)
      assert_false(lw_text_same(names[i], names[j]));
  }
  for (size_t i = 0; i < count; i++) {
    bool listed = false;
    for (size_t j = 0; j < sets; j++)
      listed = listed || strcmp(rows[i].set, names[j]) == 0;
    assert_true(listed);
  }
  const char *one[1] = {NULL};
  assert_int_equal(lw_public_sets(one, 1), sets);
  assert_non_null(one[0]);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(first_us_federal_standard),
      cmocka_unit_test(california_1966),
      cmocka_unit_test(us_short_test),
      cmocka_unit_test(european_idle),
      cmocka_unit_test(british_idle),
      cmocka_unit_test(german_french_and_indian_idle),
      cmocka_unit_test(every_row_names_its_source_and_no_car_gets_two),
      cmocka_unit_test(every_set_is_listed_once),
  };
  return cmocka_run_group_tests_name("public limits", tests, NULL, NULL);
}
