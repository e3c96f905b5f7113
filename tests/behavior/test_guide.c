/* test_guide.c - the idle guide at the screws of virtual cars: every kind of screw, cars that are not
** what their twin believes, readings as instruments give them.
**
** benchmarks/bench_guide.c does the same with thousands of cars and prints how many moves they take.
*/
#include "check.h"

#include "leanward/guide.h"
#include "leanward/record.h"

#include <math.h>
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
  s->arena = lw_arena_new((size_t)512 << 20);
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

static lw_test_car *car_of(shop *s, const char *name) {
  char path[600], line[900];
  const char *text = NULL;
  size_t length = 0;
  lw_card *card = NULL;
  lw_test_car *car = NULL;
  snprintf(path, sizeof path, "%s/cards/%s", getenv("SOURCE_ROOT"), name);
  lw_bind bind = {s->arena, s->units, path};
  lw_status status = lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &text, &length, &s->error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &s->error);
  if (status == LW_OK) status = lw_test_car_new(s->arena, card, &car, &s->error);
  if (status != LW_OK) fail_msg("%s", lw_error_line(&s->error, line, sizeof line));
  return car;
}

/* ---- a car at which a hand turns screws ---- */

typedef struct bay {
  shop *s;
  const lw_test_car *model; /* what the guide believes */
  const char *edits[8];     /* how this car differs */
  size_t edit_count;
  lw_engine engine;
  double turns[4], speed;
  const lw_screw_card *screws[4];
  size_t count;
  lw_sight sights[24];
  size_t readings;
} bay;

static bay enter(shop *s, const lw_test_car *model, double turns) {
  bay b = {.s = s, .model = model, .engine = *model->engine};
  const lw_list *list = &model->twin->card->carburetor.screws;
  const lw_screw_card *screw = list->items;
  for (size_t i = 0; i < list->count && b.count < 4; i++) {
    if (screw[i].kind == LW_SCREW_FIXED) continue;
    b.turns[b.count] = turns;
    b.screws[b.count++] = &screw[i];
  }
  return b;
}

static bool run_at(bay *b, double speed, lw_running *run) {
  char text[4][96];
  const char *edits[12];
  size_t n = 0;
  lw_state state = {0};
  lw_test_car own = *b->model, *car = NULL;
  own.engine = &b->engine;
  for (size_t i = 0; i < b->edit_count; i++)
    edits[n++] = b->edits[i];
  for (size_t k = 0; k < b->count; k++) {
    snprintf(text[k], sizeof text[k], "%s screw=%.6f turns", b->screws[k]->name, b->turns[k]);
    edits[n++] = text[k];
  }
  if (lw_test_car_what_if(b->s->arena, b->s->units, &own, edits, n, &car, &b->s->error) != LW_OK)
    fail_msg("%s", b->s->error.text);
  return lw_engine_hold(car->engine, car->twin->net, &car->around, speed, 0, &state, run, NULL) ==
         LW_OK;
}

static void read_it(bay *b) {
  lw_running run;
  assert_true(run_at(b, b->speed, &run));
  lw_sight *s = &b->sights[b->readings++];
  const lw_products *gas = &run.burned.sampled;
  *s = (lw_sight){.label = "idle", .at = LW_AT_IDLE, .speed = b->speed, .screws_known = true};
  for (int k = 0; k < LW_CHANNELS; k++)
    s->x[k] = s->u[k] = LW_NONE;
  s->x[LW_SEE_VACUUM] = run.vacuum;
  s->u[LW_SEE_VACUUM] = 700;
  s->x[LW_SEE_CO] = 1e-4 * floor(1e4 * gas->dry.co + 0.5);
  s->u[LW_SEE_CO] = 0.0006;
  s->x[LW_SEE_CO2] = 1e-3 * floor(1e3 * gas->dry.co2 + 0.5);
  s->u[LW_SEE_CO2] = 0.003;
  s->x[LW_SEE_O2] = 1e-4 * floor(1e4 * gas->dry.o2 + 0.5);
  s->u[LW_SEE_O2] = 0.001;
  s->x[LW_SEE_HC] = 1e-6 * floor(1e6 * gas->dry.hc / 6 + 0.5);
  s->u[LW_SEE_HC] = 12e-6;
  s->screw_count = b->count;
  for (size_t k = 0; k < b->count; k++) {
    s->screws[k].name = b->screws[k]->name;
    s->screws[k].turns = b->turns[k];
  }
}

static double sign_of(const lw_screw_card *screw) {
  return lw_screw_thread(screw) == LW_THREAD_LEFT ? -1 : 1;
}

/* Turn as told. Nothing past a stop; richening goes beyond and comes back clockwise. */
static void turn(bay *b, const lw_guidance *g) {
  for (size_t i = 0; i < g->move_count; i++) {
    for (size_t k = 0; k < b->count; k++) {
      const lw_screw_move *m = &g->moves[i];
      if (strcmp(m->screw, b->screws[k]->name) != 0) continue;
      lw_range t = b->screws[k]->travel;
      assert_true(m->to >= (lw_known(t.lo) ? t.lo : 0) - 1e-9);
      if (lw_known(t.hi)) assert_true(m->to <= t.hi + 1e-9);
      NEAR(m->to, b->turns[k] + sign_of(b->screws[k]) * m->turns, 1e-9);
      bool richer = m->turns > 0; /* counter-clockwise richens every kind: common practice */
      assert_true(strstr(m->words, richer ? "richer" : "leaner"));
      if (m->back) HOLDS(m->words, "back clockwise, to finish lean");
      assert_int_equal(m->back, richer); /* no last turn richens: common practice, no source */
      assert_true(richer ? m->beyond > 0.03 : m->beyond == 0);
      double far = b->turns[k] + sign_of(b->screws[k]) * (m->turns + m->beyond);
      assert_true(far >= (lw_known(t.lo) ? t.lo : 0) - 1e-9);
      if (lw_known(t.hi)) assert_true(far <= t.hi + 1e-9);
      b->turns[k] = m->to;
    }
  }
  b->speed = g->speed;
}

/* Work until the guide has said its last; returns the moves. */
static int work(bay *b, lw_guidance *g) {
  lw_goal goal = lw_goal_from(b->model->twin->card);
  for (int moves = 0; moves < 12; moves++) {
    read_it(b);
    if (lw_guide_next(b->s->arena, b->s->units, b->model, &goal, b->sights, b->readings, g,
                      &b->s->error) != LW_OK)
      fail_msg("%s", b->s->error.text);
    if (g->state != LW_GUIDE_MOVE) return moves;
    turn(b, g);
  }
  fail_msg("no end after twelve moves");
  return -1;
}

/* ---- tests ---- */

static const char *const cards[] = {
    "corran-220-six-export.yaml",      "corran-220-six-manual.yaml",
    "corran-220-six-limiter.yaml",     "corran-290-eight-manual.yaml",
    "corran-290-eight-automatic.yaml", "corran-350-eight-manual.yaml",
};
enum { CARDS = sizeof cards / sizeof cards[0] };

/* From rich and from lean, on a car leaner and with more friction than its twin. */
static void every_kind_of_screw_is_set_in_a_few_moves(void **state) {
  shop *s = *state;
  for (size_t i = 0; i < CARDS; i++) {
    const lw_test_car *model = car_of(s, cards[i]);
    const lw_screw_card *screw = model->twin->card->carburetor.screws.items;
    double preset = lw_range_middle(screw[0].preset);
    for (int rich = 0; rich < 2; rich++) {
      double off = (rich ? 0.75 : -0.25) * (screw[0].kind == LW_SCREW_AIR_BLEED ? -1 : 1);
      lw_range t = screw[0].travel;
      double start = fmax(preset + off, lw_known(t.lo) ? t.lo : 0);
      if (lw_known(t.hi)) start = fmin(start, t.hi);
      bay b = enter(s, model, start);
      b.edits[b.edit_count++] = "idle feed=-1 %";
      b.engine.friction *= 1.1;
      b.engine.overlap *= 1.2;
      b.speed = model->engine->speed_hot + 60 * rpm;
      lw_guidance g;
      int moves = work(&b, &g);
      const lw_sight *last = &b.sights[b.readings - 1];
      printf("%s from %s: %d moves, CO %.2f -> %.2f %%, %s\n", cards[i], rich ? "rich" : "lean",
             moves, 100 * b.sights[0].x[LW_SEE_CO], 100 * last->x[LW_SEE_CO], g.words);
      assert_int_equal(g.state, LW_GUIDE_SET);
      assert_in_range(moves, 1, 6);
    }
  }
}

static void a_pair_of_screws_apart_is_brought_together(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-290-eight-manual.yaml");
  bay b = enter(s, model, 1.5);
  b.turns[0] = 2.25;
  b.turns[1] = 1.0;
  b.speed = model->engine->speed_hot;
  lw_guidance g;
  int moves = work(&b, &g);
  printf("apart by 1 1/4 turns: %d moves, left %.2f, right %.2f\n", moves, b.turns[0], b.turns[1]);
  assert_int_equal(g.state, LW_GUIDE_SET);
  assert_true(fabs(b.turns[0] - b.turns[1]) < 0.2);
}

/* A clogged idle feed leaves the screw at its rich stop, too lean (common practice, no source). */
static void a_screw_at_its_stop_is_said_to_be(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-220-six-manual.yaml");
  bay b = enter(s, model, 1.75);
  b.edits[b.edit_count++] = "idle feed=clogged 55 %";
  b.speed = model->engine->speed_hot;
  lw_guidance g;
  int moves = work(&b, &g);
  printf("idle feed clogged: %d moves, %s\n", moves, g.words);
  assert_int_equal(g.state, LW_GUIDE_CANNOT);
  HOLDS(g.words, "cannot be set");
}

/* A lean car with limited travel needs the place by its stop: come to from beyond, as far as there is
   a beyond. */
static void by_the_rich_stop_too_it_finishes_lean(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-350-eight-manual.yaml");
  for (int clogged = 46; clogged <= 66; clogged += 4) {
    char feed[64];
    snprintf(feed, sizeof feed, "idle feed=clogged %d %%", clogged);
    bay b = enter(s, model, 2.5);
    b.edits[b.edit_count++] = feed;
    b.speed = model->engine->speed_hot;
    lw_guidance g;
    int moves = work(&b, &g);
    printf("%s: %d moves to %.4f and %.4f, %s\n", feed, moves, b.turns[0], b.turns[1], g.words);
    assert_true(g.state == LW_GUIDE_SET || g.state == LW_GUIDE_CANNOT);
    assert_true(fmax(b.turns[0], b.turns[1]) <= 2.75 - 0.0624);
  }
}

/* One side too lean to burn gives oxygen as air in the sample does; the screws say which it is. */
static void screws_far_apart_are_no_air_in_the_sample(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-350-eight-automatic.yaml");
  bay b = enter(s, model, 1.75);
  b.turns[0] = 2.9;
  b.turns[1] = 0.6;
  b.speed = model->engine->speed_hot;
  lw_guidance g;
  int moves = work(&b, &g);
  const lw_sight *found = &b.sights[0];
  printf("apart by 2 turns: CO and CO2 %.1f %%, %d moves, %s\n",
         100 * (found->x[LW_SEE_CO] + found->x[LW_SEE_CO2]), moves, g.words);
  assert_true(found->x[LW_SEE_CO] + found->x[LW_SEE_CO2] < 0.12);
  assert_int_equal(g.state, LW_GUIDE_SET);
  assert_true(fabs(b.turns[0] - b.turns[1]) < 0.2);
}

/* Lean before and lean after: no CO either time, yet the oxygen has followed the screw. */
static void a_lean_engine_answers_in_oxygen(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-220-six-limiter.yaml");
  bay b = enter(s, model, 0.75);
  b.edits[b.edit_count++] = "idle feed=clogged 14 %";
  b.speed = model->engine->speed_hot;
  lw_guidance g;
  int moves = work(&b, &g);
  for (size_t i = 0; i < b.readings; i++)
    printf("CO %.2f, O2 %.2f; ", 100 * b.sights[i].x[LW_SEE_CO], 100 * b.sights[i].x[LW_SEE_O2]);
  printf("%d moves, %s\n", moves, g.words);
  assert_true(b.sights[1].x[LW_SEE_CO] < 0.003);
  assert_int_equal(g.state, LW_GUIDE_SET);
}

/* HC over its limit in the middle of the CO span: the guide looks where it is lower. */
static void high_hc_is_sought_lower_within_the_span(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-220-six-manual.yaml");
  lw_goal goal = lw_goal_from(model->twin->card);
  int set = 0, cannot = 0;
  for (int percent = 110; percent <= 140; percent += 5) {
    bay b = enter(s, model, 2.0);
    b.engine.hidden *= 0.01 * percent;
    b.speed = model->engine->speed_hot;
    lw_guidance g;
    int moves = work(&b, &g);
    const lw_sight *last = &b.sights[b.readings - 1];
    printf("crevices %d %%: %d moves, CO %.2f %%, HC %.0f ppm, %s\n", percent, moves,
           100 * last->x[LW_SEE_CO], 1e6 * last->x[LW_SEE_HC], g.words);
    assert_true(g.state == LW_GUIDE_SET || g.state == LW_GUIDE_CANNOT);
    bool over = last->x[LW_SEE_HC] > goal.hc_most;
    assert_int_equal(over, g.state == LW_GUIDE_CANNOT);
    set += !over;
    cannot += over;
  }
  assert_true(set > 0 && cannot > 0);
}

/* A reading is believed before the count of turns and before the twin: with a leaking power valve, or
   screws that stand elsewhere than was counted, what reads too rich is never made richer. */
static void too_rich_is_never_made_richer(void **state) {
  static const struct {
    const char *edit;
    double off; /* turns that the count is wrong by */
  } strange[] = {{"power valve=leaking", 0}, {"float level=+4 mm", 0}, {NULL, 0.5}, {NULL, -0.5}};
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-290-eight-manual.yaml");
  lw_goal goal = lw_goal_from(model->twin->card);
  for (size_t i = 0; i < sizeof strange / sizeof strange[0]; i++) {
    bay b = enter(s, model, strange[i].edit ? 1.5 : 1.75);
    lw_guidance g = {0};
    if (strange[i].edit) b.edits[b.edit_count++] = strange[i].edit;
    b.speed = model->engine->speed_hot;
    for (int moves = 0; moves < 12; moves++) {
      read_it(&b);
      lw_sight *last = &b.sights[b.readings - 1];
      for (size_t k = 0; k < b.count; k++)
        last->screws[k].turns += strange[i].off;
      assert_int_equal(
          lw_guide_next(s->arena, s->units, model, &goal, b.sights, b.readings, &g, &s->error),
          LW_OK);
      if (g.state != LW_GUIDE_MOVE) break;
      double richer = 0;
      for (size_t m = 0; m < g.move_count; m++) {
        for (size_t k = 0; k < b.count; k++) {
          if (strcmp(g.moves[m].screw, b.screws[k]->name) != 0) continue;
          b.turns[k] += sign_of(b.screws[k]) * g.moves[m].turns;
          richer += g.moves[m].turns;
        }
      }
      if (last->x[LW_SEE_CO] > goal.co_hi + 0.002) assert_true(richer < 1e-9);
      b.speed = g.speed;
    }
    assert_true(g.state != LW_GUIDE_MOVE);
  }
}

static void what_is_right_is_left_alone(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-290-eight-automatic.yaml");
  bay b = enter(
      s, model,
      lw_range_middle(((const lw_screw_card *)model->twin->card->carburetor.screws.items)->preset));
  b.speed = model->engine->speed_hot;
  lw_guidance g;
  assert_int_equal(work(&b, &g), 0);
  assert_int_equal(g.state, LW_GUIDE_SET);
  HOLDS(g.words, "leave the screws alone");
}

static void air_in_the_sample_stops_the_work(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-290-eight-manual.yaml");
  bay b = enter(s, model, 1.75);
  b.engine.exhaust_leak = 0.3;
  b.speed = model->engine->speed_hot;
  lw_guidance g;
  assert_int_equal(work(&b, &g), 0);
  assert_int_equal(g.state, LW_GUIDE_WAIT);
  HOLDS(g.words, "outside air in the sample");
}

static void no_reading_is_one_line(void **state) {
  shop *s = *state;
  const lw_test_car *model = car_of(s, "corran-290-eight-manual.yaml");
  lw_goal goal = lw_goal_from(model->twin->card);
  lw_guidance g;
  lw_sight blank = {.label = "idle", .at = LW_AT_IDLE, .speed = 70};
  for (int k = 0; k < LW_CHANNELS; k++)
    blank.x[k] = blank.u[k] = LW_NONE;
  assert_int_equal(lw_guide_next(s->arena, s->units, model, &goal, NULL, 0, &g, &s->error),
                   LW_BAD_INPUT);
  assert_int_equal(lw_guide_next(s->arena, s->units, model, &goal, &blank, 1, &g, &s->error),
                   LW_BAD_INPUT);
  HOLDS(s->error.text, "has no CO");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_kind_of_screw_is_set_in_a_few_moves),
      cmocka_unit_test(a_pair_of_screws_apart_is_brought_together),
      cmocka_unit_test(a_screw_at_its_stop_is_said_to_be),
      cmocka_unit_test(by_the_rich_stop_too_it_finishes_lean),
      cmocka_unit_test(screws_far_apart_are_no_air_in_the_sample),
      cmocka_unit_test(a_lean_engine_answers_in_oxygen),
      cmocka_unit_test(high_hc_is_sought_lower_within_the_span),
      cmocka_unit_test(too_rich_is_never_made_richer),
      cmocka_unit_test(what_is_right_is_left_alone),
      cmocka_unit_test(air_in_the_sample_stops_the_work),
      cmocka_unit_test(no_reading_is_one_line),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
