/* test_build.c - cards are lowered to networks that keep what they are told to keep. */
#include "check.h"

#include "leanward/bench.h"
#include "leanward/record.h"

#include <stdlib.h>

static const double rpm = 3.14159265358979323846 / 30;

typedef struct shop {
  lw_arena *arena;
  lw_units *units;
  lw_error error;
} shop;

static int setup(void **state) {
  shop *s = calloc(1, sizeof *s);
  if (!s) return 1;
  s->arena = lw_arena_new((size_t)256 << 20);
  *state = s;
  return s->arena && lw_units_open(&s->units, &s->error) == LW_OK ? 0 : 1;
}

static int teardown(void **state) {
  shop *s = *state;
  lw_units_close(s->units);
  lw_arena_free(s->arena);
  free(s);
  return 0;
}

static lw_card *card_of(shop *s, const char *name) {
  char path[600];
  const char *text = NULL, *root = getenv("SOURCE_ROOT");
  size_t length = 0;
  lw_card *card = NULL;
  snprintf(path, sizeof path, "%s/cards/corran-%s.yaml", root ? root : LW_SOURCE_ROOT, name);
  lw_bind bind = {s->arena, s->units, path};
  lw_status status = lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &text, &length, &s->error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &s->error);
  assert_int_equal(status, LW_OK);
  return card;
}

static lw_net *net_of(shop *s, const lw_card *card) {
  lw_net *net = NULL;
  lw_status status = lw_net_build(s->arena, card, &net, &s->error);
  if (status != LW_OK) fprintf(stderr, "%s\n", s->error.text);
  assert_int_equal(status, LW_OK);
  return net;
}

static void any_step_of_a_rod_that_fills_its_jet_is_refused(void **state) {
  shop *s = *state;
  lw_card card = *card_of(s, "350-eight-manual");
  lw_barrel_card *g = &card.carburetor.primary;
  lw_net *net = NULL;
  double x[2], fits = g->rods.x[1];
  g->rods = (lw_values){x, 2};
  for (size_t step = 0; step < 2; step++) {
    x[0] = x[1] = fits;
    x[step] = 1.01 * g->main_jet;
    assert_int_equal(lw_net_build(s->arena, &card, &net, &s->error), LW_BAD_INPUT);
    HOLDS(s->error.text, "the rod fills its jet");
    HOLDS(s->error.field, "primary, rods");
  }
  x[0] = x[1] = fits;
  net_of(s, &card);
}

/* A passage more before the slots, as a what-if may bring: each slot keeps its own place. */
static void slots_are_kept_by_their_barrel(void **state) {
  shop *s = *state;
  static const char *const cards[] = {"290-eight-manual", "350-eight-pair", "350-eight-vacuum"};
  for (size_t k = 0; k < 3; k++) {
    lw_card card = *card_of(s, cards[k]);
    lw_net *like = net_of(s, &card), *net = NULL;
    for (int i = 0; i < like->passage_count; i++) {
      if (like->passages[i].gate == LW_GATE_SLOT_BELOW) {
        like->passages[i].low = 1e-3 * (1 + like->passages[i].barrel);
      }
    }
    card.carburetor.primary.second_idle_bleed = 0.5e-3;
    card.carburetor.primary.power_jet = LW_NONE;
    assert_int_equal(lw_net_build_like(s->arena, &card, like, &net, &s->error), LW_OK);
    size_t slots = 0;
    for (int i = 0; i < net->passage_count; i++) {
      const lw_passage *p = &net->passages[i];
      if (p->gate != LW_GATE_SLOT_BELOW) continue;
      assert_true(p->low == 1e-3 * (1 + p->barrel));
      slots++;
    }
    assert_true(slots >= 2);
  }
}

static double rear_opens(const lw_net *net, double at) {
  lw_setting setting = {.throttle = 1, .speed = at * rpm, .ambient = LW_STANDARD_PRESSURE};
  lw_state state = {0};
  lw_report report;
  static lw_point point;
  double widest = 0;
  lw_net_solve(net, &setting, &state, &report);
  assert_true(report.converged);
  lw_net_point(net, &setting, &state, &point);
  for (int b = 0; b < net->barrel_count; b++) {
    if (net->barrels[b].linkage == LW_LINK_DIAPHRAGM) widest = fmax(widest, point.angle[b]);
  }
  return widest * 180 / 3.14159265358979323846;
}

/* Wide open, a diaphragm follows the air flow where a rod would follow the pedal. */
static void a_pair_has_vacuum_secondaries_when_its_card_says_so(void **state) {
  shop *s = *state;
  lw_card card = *card_of(s, "350-eight-pair");
  card.carburetor.secondary.operation = 2;
  lw_net *net = net_of(s, &card);
  double slow = rear_opens(net, 1000), fast = rear_opens(net, 5500);
  printf("pair with vacuum secondaries, pedal down: %.1f deg at 1,000 rpm, %.1f at 5,500\n", slow,
         fast);
  assert_true(slow < 1 && fast > 10);
}

/* A plate that is wide open long before the first sliver of the throttle: no throttle is fine
   enough, and that is said instead of the nearest being taken. */
static void a_vacuum_no_throttle_is_fine_enough_for_is_refused(void **state) {
  shop *s = *state;
  lw_net *net = net_of(s, card_of(s, "220-six-manual"));
  lw_setting setting = {.speed = 700 * rpm, .ambient = LW_STANDARD_PRESSURE};
  lw_state from = {0};
  net->barrels[0].wide = 1e30;
  assert_int_equal(lw_net_throttle_for(net, &setting, 40e3, &from, &s->error), LW_NO_CONVERGENCE);
  HOLDS(s->error.text, "it jumps from");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(any_step_of_a_rod_that_fills_its_jet_is_refused),
      cmocka_unit_test(slots_are_kept_by_their_barrel),
      cmocka_unit_test(a_pair_has_vacuum_secondaries_when_its_card_says_so),
      cmocka_unit_test(a_vacuum_no_throttle_is_fine_enough_for_is_refused),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
