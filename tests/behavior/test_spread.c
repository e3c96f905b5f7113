/* test_spread.c - what tolerances do to units, as the trade and plain counting have it. */
#include "spread_kit.h"

#define SIX   "corran-220-six-manual"
#define EIGHT "corran-290-eight-automatic"

/* Common practice, no source: wider tolerances leave fewer units that are right untouched. */
static void wider_tolerances_leave_fewer_units_right(void **state) {
  shop *s = *state;
  static const char *const names[] = {SIX, EIGHT, "corran-350-eight-manual"};
  for (size_t k = 0; k < 3; k++) {
    lw_test_car *car = shop_car(s, names[k]);
    double speed = 1.01, sd = 0;
    for (int step = 0; step < 4; step++) {
      double times = 0.25 * (1 << step);
      lw_spread_ask ask = spread_ask(car, 300);
      spread_all(&ask, times);
      ask.ranked = 0;
      lw_spread_result r = spread_run(s, car, &ask);
      assert_true(r.speed_at_once.share <= speed + 0.02);
      assert_true(r.numbers[LW_SPREAD_TURNS].sd > sd);
      speed = r.speed_at_once.share;
      sd = r.numbers[LW_SPREAD_TURNS].sd;
      assert_true(r.in_band.count <= r.settable.count);
      assert_true(r.good_at_once.count <= r.speed_at_once.count);
    }
    assert_true(speed < 0.8);
  }
}

/* Common practice, no source: an air-bleed screw has a finer thread and a gentler effect, so that
   the same hand sets CO closer, and the screw has further to go. */
static void the_air_bleed_screw_is_gentler(void **state) {
  shop *s = *state;
  lw_spread_result r[2];
  const char *const names[] = {SIX, EIGHT};
  for (int k = 0; k < 2; k++) {
    lw_test_car *car = shop_car(s, names[k]);
    lw_spread_ask ask = spread_ask(car, 300);
    ask.times[LW_VARY_METER] = 0;
    ask.ranked = 0;
    r[k] = spread_run(s, car, &ask);
  }
  assert_true(r[1].numbers[LW_SPREAD_TURNS].sd > 2 * r[0].numbers[LW_SPREAD_TURNS].sd);
  assert_true(r[1].numbers[LW_SPREAD_SET_CO].sd < 0.5 * r[0].numbers[LW_SPREAD_SET_CO].sd);
}

/* What is set by screws hangs no more on how it came out of the box. */
static void setting_wipes_out_how_it_was_assembled(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, SIX);
  lw_spread_ask ask = spread_ask(car, 400);
  lw_spread_result r = spread_run(s, car, &ask);
  assert_true(r.numbers[LW_SPREAD_SET_CO].sd < 0.3 * r.numbers[LW_SPREAD_CO].sd);
  assert_true(r.in_band.share > r.good_at_once.share + 0.5);
  size_t stop = spread_dim(&r, LW_VARY_STOP), preset = spread_dim(&r, LW_VARY_PRESET);
  NEAR(r.rank[stop][LW_SPREAD_SET_HC].total, 0, 1e-9);
  NEAR(r.rank[preset][LW_SPREAD_SET_HC].total, 0, 1e-9);
  assert_true(r.rank[preset][LW_SPREAD_CO].total > 0.2);
  assert_true(r.rank[stop][LW_SPREAD_SPEED].total > 0.2);
  size_t tachometer = spread_dim(&r, LW_VARY_TACHOMETER);
  NEAR(r.rank[tachometer][LW_SPREAD_CO].total, 0, 1e-9);
}

/* Tolerances are even to both sides: while they are small, so is everything they do. */
static void small_tolerances_spread_evenly_to_both_sides(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, SIX);
  lw_spread_ask ask = spread_ask(car, 600);
  spread_all(&ask, 0.05);
  ask.ranked = 0;
  lw_spread_result r = spread_run(s, car, &ask);
  for (int seen = 0; seen < LW_SPREAD_SEENS; seen++) {
    const lw_spread_numbers *n = &r.numbers[seen];
    double middle = r.nominal->x[seen], error = n->sd / sqrt((double)n->count);
    NEAR(n->mean, middle, 4 * error + 0.03 * n->sd);
    double below = middle - lw_spread_quantile(n, 0.16);
    double above = lw_spread_quantile(n, 0.84) - middle;
    assert_true(fabs(above / below - 1) < 0.3);
  }
}

/* A tighter limit is met by fewer units, and changes none of them. */
static void tighter_limits_pass_fewer_units(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, SIX);
  size_t before = 1000;
  for (int step = 0; step < 5; step++) {
    double most = 350e-6 - step * 25e-6;
    lw_spread_ask ask = spread_ask(car, 300);
    ask.goal.hc_most = most;
    ask.ranked = 0;
    lw_spread_result r = spread_run(s, car, &ask);
    assert_true(r.settable.count <= before);
    before = r.settable.count;
  }
  assert_true(before < 150);
}

/* Without its screws' travel a unit that needs it cannot be set. */
static void a_screw_at_its_stop_cannot_richen(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, SIX);
  lw_spread_ask ask = spread_ask(car, 200);
  ask.ranked = 0;
  lw_spread_result r = spread_run(s, car_with(s, car, "idle feed=-40 %"), &ask);
  assert_true(r.ends[LW_SPREAD_TOO_LEAN] > 150);
  assert_true(r.in_band.count < 50);
}

/* ---- against plain Monte Carlo ---- */

/* The same tolerances on three sizes and the timing, each car built anew by what-ifs and idled in
   full, with random numbers of its own. */
static void shares_are_those_of_cars_built_one_by_one(void **state) {
  shop *s = *state;
  enum { PLAIN = 150, UNITS = 1500 };
  lw_test_car *car = shop_car(s, SIX);
  lw_spread_ask ask = spread_ask(car, UNITS);
  spread_all(&ask, 0);
  ask.ranked = 0;
  const double wide = 4;
  static const lw_vary what[] = {LW_VARY_IDLE_FEED, LW_VARY_IDLE_BLEED, LW_VARY_RESTRICTION,
                                 LW_VARY_TIMING};
  static const double half[] = {7e-3, 12.5e-3, 12.5e-3, 1};
  for (int i = 0; i < 4; i++)
    ask.times[what[i]] = wide;
  lw_spread_result r = spread_run(s, car, &ask);
  double sum[2] = {0}, square[2] = {0};
  size_t right = 0;
  for (uint64_t k = 0; k < PLAIN; k++) {
    double z[4];
    char edits[240];
    for (uint32_t i = 0; i < 4; i++) {
      lw_fill fill = lw_tolerance_of(what[i])->fill;
      z[i] = wide * half[i] * lw_fill_at(fill, lw_spread_draw(99, k, i));
    }
    snprintf(edits, sizeof edits,
             "idle feed=%+.9f mm;idle bleed=%+.9f mm;idle restriction=%+.9f mm;timing=%+.9f deg",
             z[0], z[1], z[2], z[3]);
    lw_running run = car_idle_in(s, car_with(s, car, edits), ask.goal.gear);
    double x[2] = {run.setting.speed, run.burned.sampled.dry.co};
    right += fabs(x[0] - ask.goal.speed) <= ask.goal.speed_within;
    for (int i = 0; i < 2; i++) {
      sum[i] += x[i] / PLAIN;
      square[i] += x[i] * x[i] / PLAIN;
    }
  }
  for (int i = 0; i < 2; i++) {
    const lw_spread_numbers *n = &r.numbers[i == 0 ? LW_SPREAD_SPEED : LW_SPREAD_CO];
    double sd = sqrt(square[i] - sum[i] * sum[i]);
    NEAR(n->mean, sum[i], 4 * sd / sqrt(PLAIN));
    NEAR(n->sd / sd, 1, 4 * 0.75 / sqrt(PLAIN)); /* of a normal 0.71 */
  }
  double p = (double)right / PLAIN, off = 4 * sqrt(0.25 / PLAIN);
  NEAR(r.speed_at_once.share, p, off);
}

/* Brute force on the car: what a dimension's total says of the variance is what is gone without it.
   True where effects add up, as they nearly do here. */
static void variance_falls_by_what_is_taken_away(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, SIX);
  lw_spread_ask ask = spread_ask(car, 2000);
  for (int i = 0; i < LW_VARIES; i++)
    ask.times[i] = 0.5;
  lw_spread_result all = spread_run(s, car, &ask);
  static const lw_vary what[] = {LW_VARY_STOP, LW_VARY_FRICTION, LW_VARY_PRESET};
  for (int i = 0; i < 3; i++) {
    lw_spread_ask less = ask;
    less.times[what[i]] = 0;
    less.ranked = 0;
    lw_spread_result without = spread_run(s, car, &less);
    double left = without.numbers[LW_SPREAD_SPEED].sd / all.numbers[LW_SPREAD_SPEED].sd;
    const lw_sensitivity *hangs = &all.rank[spread_dim(&all, what[i])][LW_SPREAD_SPEED];
    NEAR(1 - left * left, hangs->total, 4 * hangs->total_u + 0.05);
    assert_true(hangs->first < hangs->total + 4 * (hangs->first_u + hangs->total_u));
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(wider_tolerances_leave_fewer_units_right),
      cmocka_unit_test(the_air_bleed_screw_is_gentler),
      cmocka_unit_test(setting_wipes_out_how_it_was_assembled),
      cmocka_unit_test(small_tolerances_spread_evenly_to_both_sides),
      cmocka_unit_test(tighter_limits_pass_fewer_units),
      cmocka_unit_test(a_screw_at_its_stop_cannot_richen),
      cmocka_unit_test(shares_are_those_of_cars_built_one_by_one),
      cmocka_unit_test(variance_falls_by_what_is_taken_away),
  };
  return cmocka_run_group_tests(tests, shop_setup, shop_teardown);
}
