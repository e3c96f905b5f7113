/* test_settling.c - "settled" must be true when it is said, and not be said much later than it is.
**
** Stepped gas goes through the analyzer of gauge.h (pipe, hose, cells, hang-up, noise, display
** steps); what it shows goes to the judge. Beside it stands what the cells would show in the end.
*/
#define _XOPEN_SOURCE 700
#include "wire_kit.h"

#include "leanward/gauge.h"

static uint64_t seed = 1;

static double chance(void) {
  seed = seed * 6364136223846793005u + 1442695040888963407u;
  return (double)(seed >> 11) * 0x1p-53;
}

static lw_products exhaust(double co, double hc, double o2) {
  lw_products gas = {.dry = {co, 0.145 - 0.5 * co, 6 * hc, o2, 1e-4}};
  gas.h2 = 0.4 * co;
  gas.n2 = 1 - gas.dry.co - gas.dry.co2 - hc - o2 - gas.h2;
  gas.h2o = 0.13;
  return gas;
}

static double of(const lw_gases *g, int item) {
  const double x[] = {g->co, g->co2, g->hc, g->o2, g->no};
  return x[item];
}

typedef struct outcome {
  int steps, early[5], never[5];
  double worst[5]; /* off when settled was said, in parts of what counts as standing */
  double late[5];  /* sum of s between being within and being told so */
} outcome;

/* One step of the mixture at 0 s after a minute of rest; the move is told. */
static void step(lw_class accuracy, outcome *o) {
  lw_meter_kind kind = lw_meter_usual(accuracy);
  kind.seed = seed;
  static lw_meter meter, end;
  lw_settler s[5];
  bool told[5] = {false};
  double within_since[5], flow = lw_exhaust_flow(0.003, 0.0002);
  lw_products before = exhaust(0.002 + 0.05 * chance(), 1e-4 + 4e-4 * chance(), 0.015 * chance());
  lw_products after = exhaust(0.002 + 0.05 * chance(), 1e-4 + 4e-4 * chance(), 0.015 * chance());
  lw_meter_start(&meter, &kind);
  lw_meter_step(&meter, 600, &before, flow);
  end = meter;
  lw_meter_step(&end, 600, &after, flow);
  lw_gases last = lw_meter_true(&end);
  for (int i = 0; i < 5; i++) {
    lw_live_item item = (lw_live_item)i;
    lw_settler_start(&s[i], lw_live_lag(accuracy, item), lw_live_within(accuracy, item));
    lw_settler_tail(&s[i], lw_live_tail(item));
    within_since[i] = -1;
  }
  for (int n = -120; n < 240; n++) {
    double time = 0.5 * n;
    if (n == 0) {
      for (int i = 0; i < 5; i++)
        lw_settler_moved(&s[i], time);
    }
    lw_meter_step(&meter, 0.5, n < 0 ? &before : &after, flow);
    lw_gases shown = lw_meter_read(&meter), real = lw_meter_true(&meter);
    for (int i = 0; i < 5; i++) {
      lw_settling state = lw_settler_take(&s[i], time, of(&shown, i));
      double off = fabs(of(&real, i) - of(&last, i));
      if (off > s[i].within) within_since[i] = -1;
      if (off <= s[i].within && within_since[i] < 0) within_since[i] = time;
      if (n < 0 || told[i] || state != LW_SETTLE_SETTLED) continue;
      told[i] = true;
      o->worst[i] = fmax(o->worst[i], off / s[i].within);
      o->early[i] += off > s[i].within;
      if (within_since[i] >= 0) o->late[i] += time - within_since[i];
    }
  }
  o->steps++;
  for (int i = 0; i < 5; i++)
    o->never[i] += !told[i];
}

static void steps(lw_class accuracy) {
  outcome o = {0};
  for (int n = 0; n < 400; n++)
    step(accuracy, &o);
  for (int i = 0; i < 5; i++) {
    printf(
        "class %s, %s: said too early %d of %d, worst %.2f of what counts as standing, never %d, "
        "later than it was %.1f s in the mean\n",
        lw_class_text(accuracy), lw_live_item_text((lw_live_item)i), o.early[i], o.steps,
        o.worst[i], o.never[i], o.late[i] / o.steps);
    assert_true(o.early[i] <= o.steps / 100);
    assert_true(o.worst[i] < 1.5);
    assert_true(o.never[i] <= o.steps / 100);
  }
}

static void test_steps(void **state) {
  (void)state;
  steps(LW_CLASS_I);
  steps(LW_CLASS_II);
}

/* Nothing moves: settled nearly all the time, though everything wanders within its noise. */
static void test_rest(void **state) {
  (void)state;
  lw_meter_kind kind = lw_meter_usual(LW_CLASS_I);
  lw_products gas = exhaust(0.012, 2e-4, 0.006);
  static lw_meter meter;
  lw_settler s[5];
  int settled[5] = {0}, looks = 0;
  lw_meter_start(&meter, &kind);
  lw_meter_step(&meter, 600, &gas, lw_exhaust_flow(0.003, 0.0002));
  for (int i = 0; i < 5; i++) {
    lw_settler_start(&s[i], lw_live_lag(LW_CLASS_I, (lw_live_item)i),
                     lw_live_within(LW_CLASS_I, (lw_live_item)i));
    lw_settler_tail(&s[i], lw_live_tail((lw_live_item)i));
  }
  for (int n = 0; n < 7200; n++) {
    lw_meter_step(&meter, 0.5, &gas, lw_exhaust_flow(0.003, 0.0002));
    lw_gases shown = lw_meter_read(&meter);
    looks += n >= 200;
    for (int i = 0; i < 5; i++)
      settled[i] += lw_settler_take(&s[i], 0.5 * n, of(&shown, i)) == LW_SETTLE_SETTLED && n >= 200;
  }
  for (int i = 0; i < 5; i++) {
    double share = (double)settled[i] / looks;
    printf("at rest, %s: settled %.1f %% of an hour\n", lw_live_item_text((lw_live_item)i),
           100 * share);
    assert_true(share > 0.95);
  }
}

typedef struct story {
  double settled_co, settled_speed, unsteady; /* s: first seen */
  bool ever_early;
} story;

/* A line each half second: speed with a step of `rpm` over `within` s at 60 s, CO behind it by 8 s
   of pipe and hose and a lag of 3 s; nobody tells that something moved. */
static story watch(const char *keys, double rpm, double within, double hunt) {
  wire_kit k = wire_kit_new();
  lw_listener *l = NULL;
  static gathered g;
  story o = {NAN, NAN, NAN, false};
  const char *text =
      lw_arena_print(k.arena,
                     "instrument: a\nprotocol: lines\nclass: I\nframing: {start: '$'}\n"
                     "fields:\n  - {is: speed, place: 1, unit: rpm}\n  - {is: CO, place: "
                     "2, unit: '%%'%s}\n",
                     keys);
  assert_int_equal(lw_listener_new(wire_describe(&k, text), &l, NULL), LW_OK);
  for (int n = 0; n < 400; n++) {
    char line[80];
    double t = 0.5 * n, turned = fmin(fmax((t - 60) / within, 0), 1), late = t - 68;
    double speed = 650 + rpm * turned + hunt * sin(1.7 * t) + 4 * (chance() - 0.5);
    double co = late > 0 ? 1.0 + 0.8 * (1 - exp(-late / 3)) : 1.0;
    snprintf(line, sizeof line, "$%.0f,%.2f\n", speed, co + 0.01 * (chance() - 0.5));
    g.count = 0;
    lw_listener_bytes(l, t, line, strlen(line), gather, &g);
    assert_int_equal(g.count, 1);
    const lw_live *live = &g.live[0];
    if (t < 60.5) continue;
    bool co_settled = live->state[LW_LIVE_CO] == LW_SETTLE_SETTLED;
    if (co_settled && t > 63 && co < 1.75) o.ever_early = true;
    if (co_settled && co > 1.75 && isnan(o.settled_co)) o.settled_co = t;
    if (live->state[LW_LIVE_SPEED] == LW_SETTLE_SETTLED && t > 63 && isnan(o.settled_speed))
      o.settled_speed = t;
    if (live->state[LW_LIVE_SPEED] == LW_SETTLE_UNSTEADY && isnan(o.unsteady)) o.unsteady = t;
  }
  lw_listener_free(l);
  wire_kit_free(&k);
  return o;
}

/* The gas stands still while the changed gas is on its way; the speed gives it away. */
static void test_speed_gives_it_away(void **state) {
  (void)state;
  story o = watch("", 60, 2, 0);
  printf("speed moved at 60 to 62 s: CO settled at %.1f s, speed at %.1f s\n", o.settled_co,
         o.settled_speed);
  assert_false(o.ever_early);
  assert_true(o.settled_co > 75 && o.settled_co < 95);
  assert_true(o.settled_speed < 70);
}

/* An idle that hunts is told as such, and does not keep the gas waiting for ever. */
static void test_hunting(void **state) {
  (void)state;
  story o = watch("", 0, 1, 60);
  printf("hunting by 60 rpm: told at %.1f s, CO settled at %.1f s\n", o.unsteady, o.settled_co);
  assert_true(o.unsteady < 100);
  assert_true(lw_known(o.settled_co));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_steps),
      cmocka_unit_test(test_rest),
      cmocka_unit_test(test_speed_gives_it_away),
      cmocka_unit_test(test_hunting),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
