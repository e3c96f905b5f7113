/* test_spread.c - a tolerance study: the same for any threads, one value without tolerance, what
** the whole car says for the same sizes. */
#include "spread_kit.h"

#include <pthread.h>
#include <stdatomic.h>

#define SIX "corran-220-six-manual"

/* ---- threads ---- */

typedef struct pool {
  lw_spread *spread;
  atomic_size_t next;
} pool;

static void *work(void *of) {
  pool *p = of;
  for (size_t at; (at = atomic_fetch_add(&p->next, 3)) < lw_spread_runs(p->spread);)
    lw_spread_work(p->spread, at, 3);
  return NULL;
}

static lw_spread_result threaded(shop *s, const lw_test_car *car, const lw_spread_ask *ask,
                                 size_t threads) {
  pool p = {0};
  pthread_t thread[3];
  lw_spread_result result;
  shop_must(s, lw_spread_new(s->arena, car, ask, &p.spread, &s->error), "study");
  for (size_t i = 0; i < threads; i++)
    assert_int_equal(pthread_create(&thread[i], NULL, work, &p), 0);
  for (size_t i = 0; i < threads; i++)
    pthread_join(thread[i], NULL);
  shop_must(s, lw_spread_finish(s->arena, p.spread, &result, &s->error), "result");
  return result;
}

static void same_bits(const lw_spread_result *a, const lw_spread_result *b) {
  for (size_t i = 0; i < a->unit_count; i++) {
    assert_memory_equal(a->units[i].x, b->units[i].x, sizeof a->units[i].x);
    assert_int_equal(a->units[i].end, b->units[i].end);
    assert_int_equal(a->units[i].within, b->units[i].within);
  }
  if (a->ranked) assert_memory_equal(a->rank, b->rank, a->dim_count * sizeof *a->rank);
  if (a->ranked) assert_memory_equal(a->order, b->order, a->dim_count * sizeof *a->order);
}

static void any_number_of_threads_gives_the_same_bits(void **state) {
  shop *s = *state;
  static const char *const names[] = {SIX, "corran-290-eight-automatic"};
  for (size_t k = 0; k < 2; k++) {
    lw_test_car *car = shop_car(s, names[k]);
    lw_spread_ask ask = spread_ask(car, 60);
    ask.ranked = 12;
    lw_spread_result one = threaded(s, car, &ask, 1);
    for (size_t threads = 2; threads <= 3; threads++) {
      lw_spread_result more = threaded(s, car, &ask, threads);
      same_bits(&one, &more);
    }
  }
}

static void a_unit_is_the_same_in_a_larger_study_and_in_any_order(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, SIX);
  lw_spread_ask ask = spread_ask(car, 40);
  ask.ranked = 0;
  lw_spread_result few = spread_run(s, car, &ask);
  ask.units = 90;
  lw_spread *spread = NULL;
  lw_spread_result many;
  shop_must(s, lw_spread_new(s->arena, car, &ask, &spread, &s->error), "study");
  assert_int_equal(lw_spread_runs(spread), 90);
  for (size_t i = 90; i-- > 0;)
    lw_spread_work(spread, i, 1);
  lw_spread_work(spread, 90, 5); /* beyond the last */
  shop_must(s, lw_spread_finish(s->arena, spread, &many, &s->error), "result");
  for (size_t i = 0; i < 40; i++)
    assert_memory_equal(few.units[i].x, many.units[i].x, sizeof few.units[i].x);
  ask.seed = 2;
  lw_spread_result other = spread_run(s, car, &ask);
  assert_true(other.units[0].x[LW_SPREAD_CO] != many.units[0].x[LW_SPREAD_CO]);
}

/* ---- without tolerance ---- */

static void no_tolerance_gives_one_value(void **state) {
  shop *s = *state;
  for (size_t k = 0; k < CAR_CARDS; k++) {
    lw_test_car *car = shop_car(s, car_cards[k]);
    lw_spread_ask ask = spread_ask(car, 20);
    spread_all(&ask, 0);
    ask.ranked = 10;
    lw_spread_result r = spread_run(s, car, &ask);
    for (int seen = 0; seen < LW_SPREAD_SEENS; seen++) {
      for (size_t i = 0; i < r.unit_count; i++)
        assert_memory_equal(&r.units[i].x[seen], &r.nominal->x[seen], sizeof(double));
      NEAR(r.numbers[seen].sd, 0, 1e-12 * fabs(r.numbers[seen].mean));
      for (size_t d = 0; d < r.dim_count; d++) {
        assert_true(isnan(r.rank[d][seen].first) ||
                    fabs(r.rank[d][seen].first) + fabs(r.rank[d][seen].total) < 1e-9);
      }
    }
    assert_true(r.ends[LW_SPREAD_SET] == 20 || r.ends[LW_SPREAD_SET] == 0);
  }
}

/* ---- against the whole car ---- */

static double co_of(const lw_running *run) {
  return run->burned.sampled.dry.co;
}

/* The car itself at idle, found by lw_engine_idle. The study burns without NO, which takes a
   little of CO2's oxygen: CO is compared within 0.02 %. */
static void assembled_units_idle_as_the_car_does(void **state) {
  shop *s = *state;
  for (size_t k = 0; k < CAR_CARDS; k++) {
    lw_test_car *car = shop_car(s, car_cards[k]);
    lw_spread_ask ask = spread_ask(car, 2);
    spread_all(&ask, 0);
    ask.ranked = 0;
    lw_spread_result r = spread_run(s, car, &ask);
    lw_state start = {0};
    lw_running run;
    shop_must(s,
              lw_engine_idle(car->engine, car->twin->net, &car->around, 0, ask.goal.gear, &start,
                             &run, &s->error),
              "idle");
    NEAR(r.nominal->x[LW_SPREAD_SPEED] / CAR_RPM, run.setting.speed / CAR_RPM, 0.1);
    NEAR(r.nominal->x[LW_SPREAD_CO], co_of(&run), 0.0002);
    NEAR(r.nominal->x[LW_SPREAD_HC], run.burned.sampled.dry.hc / 6, 1e-6);
  }
}

/* As set: the same screw and stop on the car give the speed and the CO that were found. */
static void set_units_idle_as_the_car_does(void **state) {
  shop *s = *state;
  static const char *const names[] = {SIX, "corran-220-six-limiter", "corran-290-eight-automatic",
                                      "corran-290-eight-manual"};
  for (size_t k = 0; k < 4; k++) {
    lw_test_car *car = shop_car(s, names[k]);
    lw_spread_ask ask = spread_ask(car, 2);
    spread_all(&ask, 0);
    lw_spread_result r = spread_run(s, car, &ask);
    char edits[120];
    snprintf(edits, sizeof edits, "screws=%+.6f turns;idle stop=%+.6f turns",
             r.nominal->x[LW_SPREAD_TURNS], r.nominal->x[LW_SPREAD_SPEED_TURNS]);
    lw_running run = car_idle_in(s, car_with(s, car, edits), ask.goal.gear);
    NEAR(run.setting.speed / CAR_RPM, ask.goal.speed / CAR_RPM, 0.3);
    NEAR(co_of(&run), r.nominal->x[LW_SPREAD_SET_CO], 0.0002);
    NEAR(r.nominal->x[LW_SPREAD_SET_CO], ask.goal.co, 0.00005);
  }
}

/* Sizes at the end of one tolerance, against the what-if that builds the whole car anew. */
static void widened_sizes_are_those_of_a_what_if(void **state) {
  shop *s = *state;
  static const struct {
    lw_vary what;
    const char *edit, *unit;
    double half; /* what the edit's + is, in tolerances: 10 times as wide, drawn at u */
  } sizes[] = {{LW_VARY_IDLE_FEED, "idle feed", "mm", 0.07},
               {LW_VARY_IDLE_BLEED, "idle bleed", "mm", 0.125},
               {LW_VARY_RESTRICTION, "idle restriction", "mm", 0.125},
               {LW_VARY_SEAT, "idle port", "mm", 0.15},
               {LW_VARY_VENTURI, "venturi", "mm", 0.5},
               {LW_VARY_TIMING, "timing", "deg", 10}};
  lw_test_car *car = shop_car(s, SIX);
  for (size_t k = 0; k < sizeof sizes / sizeof sizes[0]; k++) {
    lw_spread_ask ask = spread_ask(car, 3);
    spread_all(&ask, 0);
    ask.times[sizes[k].what] = 10;
    ask.ranked = 0;
    lw_spread_result r = spread_run(s, car, &ask);
    /* which draw it is: the parts come in the order of the dims */
    uint32_t part = 0;
    for (size_t d = 0; r.dims[d].what != sizes[k].what; d++)
      part += (uint32_t)r.dims[d].parts;
    for (size_t unit = 0; unit < 3; unit++) {
      char edit[60];
      lw_fill fill = lw_tolerance_of(sizes[k].what)->fill;
      double by = sizes[k].half * lw_fill_at(fill, lw_spread_draw(1, unit, part));
      snprintf(edit, sizeof edit, "%s=%+.9f %s", sizes[k].edit, by, sizes[k].unit);
      lw_running run = car_idle_in(s, car_with(s, car, edit), ask.goal.gear);
      NEAR(r.units[unit].x[LW_SPREAD_SPEED] / CAR_RPM, run.setting.speed / CAR_RPM, 0.3);
      NEAR(r.units[unit].x[LW_SPREAD_CO], co_of(&run), 0.0002 + 0.003 * co_of(&run));
    }
  }
}

/* ---- added up ---- */

static void numbers_are_sorted_and_counted(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, SIX);
  lw_spread_ask ask = spread_ask(car, 200);
  ask.ranked = 20;
  lw_spread_result r = spread_run(s, car, &ask);
  size_t ends = 0, within = 0;
  for (int i = 0; i < LW_SPREAD_ENDS; i++)
    ends += r.ends[i];
  for (size_t i = 0; i < r.unit_count; i++)
    within += r.units[i].within;
  assert_int_equal(ends, 200);
  assert_int_equal(within, r.settable.count);
  for (int seen = 0; seen < LW_SPREAD_SEENS; seen++) {
    const lw_spread_numbers *n = &r.numbers[seen];
    for (size_t i = 1; i < n->count; i++)
      assert_true(n->sorted[i] >= n->sorted[i - 1]);
    assert_true(lw_spread_quantile(n, 0) == n->sorted[0]);
    assert_true(lw_spread_quantile(n, 1) == n->sorted[n->count - 1]);
    for (size_t i = 1; i < r.dim_count; i++) {
      double a = r.rank[r.order[i - 1][seen]][seen].total, b = r.rank[r.order[i][seen]][seen].total;
      assert_false(a < b);
    }
  }
  const double line[] = {1, 2, 4};
  const lw_spread_numbers n = {3, line, 0, 0};
  NEAR(lw_spread_quantile(&n, 0.25), 1.5, 1e-12);
  NEAR(lw_spread_quantile(&n, 0.75), 3, 1e-12);
}

static void draws_are_even_and_tolerances_symmetric(void **state) {
  (void)state;
  double sum = 0, square = 0;
  for (uint64_t i = 0; i < 20000; i++) {
    double u = lw_spread_draw(7, i, (uint32_t)(i % 50));
    assert_true(u > 0 && u < 1);
    sum += u;
    square += u * u;
  }
  NEAR(sum / 20000, 0.5, 4 * 0.2887 / sqrt(20000));
  NEAR(square / 20000, 1.0 / 3, 4 * 0.298 / sqrt(20000));
  for (int i = 1; i < 1000; i++) {
    double u = i / 1000.0;
    NEAR(lw_fill_at(LW_FILL_MADE, u), -lw_fill_at(LW_FILL_MADE, 1 - u), 1e-9);
    NEAR(lw_fill_at(LW_FILL_SET, u), -lw_fill_at(LW_FILL_SET, 1 - u), 1e-12);
  }
  assert_true(lw_fill_at(LW_FILL_MADE, 1e-16) >= -1);
  assert_true(lw_fill_at(LW_FILL_MADE, 1 - 1e-16) <= 1);
}

static void what_cannot_be_studied_is_refused(void **state) {
  shop *s = *state;
  lw_test_car *car = shop_car(s, SIX);
  lw_spread *spread = NULL;
  lw_spread_ask ask = spread_ask(car, 1);
  assert_int_equal(lw_spread_new(s->arena, car, &ask, &spread, &s->error), LW_BAD_INPUT);
  ask = spread_ask(car, 10);
  ask.ranked = 6;
  assert_int_equal(lw_spread_new(s->arena, car, &ask, &spread, &s->error), LW_BAD_INPUT);
  ask = spread_ask(car, 10);
  ask.times[3] = LW_NONE;
  assert_int_equal(lw_spread_new(s->arena, car, &ask, &spread, &s->error), LW_BAD_INPUT);
  ask = spread_ask(car, 10);
  ask.goal.co = LW_NONE;
  assert_int_equal(lw_spread_new(s->arena, car, &ask, &spread, &s->error), LW_BAD_INPUT);
  ask = spread_ask(car, 10);
  lw_test_car *dead = car_with(s, car, "main jet=plugged;idle feed=plugged");
  assert_int_equal(lw_spread_new(s->arena, dead, &ask, &spread, &s->error), LW_BAD_INPUT);
  HOLDS(s->error.text, "does not idle");
  assert_null(spread);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(any_number_of_threads_gives_the_same_bits),
      cmocka_unit_test(a_unit_is_the_same_in_a_larger_study_and_in_any_order),
      cmocka_unit_test(no_tolerance_gives_one_value),
      cmocka_unit_test(assembled_units_idle_as_the_car_does),
      cmocka_unit_test(set_units_idle_as_the_car_does),
      cmocka_unit_test(widened_sizes_are_those_of_a_what_if),
      cmocka_unit_test(numbers_are_sorted_and_counted),
      cmocka_unit_test(draws_are_even_and_tolerances_symmetric),
      cmocka_unit_test(what_cannot_be_studied_is_refused),
  };
  return cmocka_run_group_tests(tests, shop_setup, shop_teardown);
}
