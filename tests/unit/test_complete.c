/* test_complete.c - cards are completed without touching what they give, and say what they found. */
#include "check.h"

#include "leanward/bench.h"
#include "leanward/record.h"

#include <stdlib.h>

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
  snprintf(path, sizeof path, "%s/cards/%s", root ? root : LW_SOURCE_ROOT, name);
  lw_bind bind = {s->arena, s->units, path};
  lw_status status = lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &text, &length, &s->error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &s->error);
  assert_int_equal(status, LW_OK);
  return card;
}

static lw_completed *completed(shop *s, const lw_card *card) {
  lw_completed *done = NULL;
  lw_status status = lw_card_complete(s->arena, card, NULL, 0, &done, &s->error);
  if (status != LW_OK) fprintf(stderr, "%s\n", s->error.text);
  assert_int_equal(status, LW_OK);
  return done;
}

static void strip(lw_barrel_card *g) {
  g->main_jet = g->main_bleed = g->power_jet = g->idle_feed = g->idle_bleed = LW_NONE;
  g->idle_restriction = g->idle_port = g->idle_limiter = g->slot_length = g->slot_width = LW_NONE;
}

static void a_card_without_jets_gets_them_and_meets_its_targets(void **state) {
  shop *s = *state;
  static const char *const names[] = {
      "corran-220-six-manual.yaml",      "corran-220-six-export.yaml",
      "corran-220-six-limiter.yaml",     "corran-290-eight-export.yaml",
      "corran-290-eight-automatic.yaml", "corran-350-eight-automatic.yaml",
      "corran-350-eight-vacuum.yaml",    "corran-350-eight-pair.yaml"};
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
    lw_card card = *card_of(s, names[i]);
    strip(&card.carburetor.primary);
    strip(&card.carburetor.secondary);
    lw_completed *done = completed(s, &card);
    printf("%-32s %zu sizes, worst target %.1f %% off, %d runs\n", names[i], done->size_count,
           100 * done->worst, done->runs);
    assert_true(done->size_count >= 8);
    assert_true(done->worst < 0.05);
    assert_false(lw_known(card.carburetor.primary.main_jet)); /* the card given is not touched */
  }
}

static void what_a_card_gives_is_kept(void **state) {
  shop *s = *state;
  lw_card card = *card_of(s, "corran-220-six-manual.yaml");
  double jet = 1.6e-3, bleed = card.carburetor.primary.main_bleed;
  card.carburetor.primary.main_jet = jet;
  card.carburetor.primary.idle_feed = card.carburetor.primary.idle_port = LW_NONE;
  lw_completed *done = completed(s, &card);
  const lw_barrel_card *g = &done->card->carburetor.primary;
  assert_true(g->main_jet == jet && g->main_bleed == bleed);
  assert_int_equal(done->size_count, 2);
  assert_string_equal(done->sizes[0].key, "idle feed");
  assert_string_equal(done->sizes[1].key, "idle port");
  assert_true(done->sizes[0].value == g->idle_feed && done->sizes[1].value == g->idle_port);
}

static void a_whole_card_lacks_nothing(void **state) {
  lw_completed *done = completed(*state, card_of(*state, "corran-290-eight-manual.yaml"));
  assert_int_equal(done->size_count, 0);
  assert_true(done->target_count == 10 && done->worst < 0.05);
}

static void bore_and_venturi_follow_from_the_engine(void **state) {
  shop *s = *state;
  lw_card card = *card_of(s, "corran-220-six-manual.yaml");
  strip(&card.carburetor.primary);
  card.carburetor.primary.bore = card.carburetor.primary.venturi = LW_NONE;
  lw_completed *done = completed(s, &card);
  const lw_barrel_card *g = &done->card->carburetor.primary;
  printf("3.6 L: venturi %.1f mm, bore %.1f mm\n", 1e3 * g->venturi, 1e3 * g->bore);
  NEAR(g->venturi, 32.5e-3, 4e-3); /* what the card gives */
  NEAR(g->bore, 42.9e-3, 5e-3);
  assert_string_equal(done->sizes[0].key, "venturi");
}

static void what_cannot_be_is_said(void **state) {
  shop *s = *state;
  lw_completed *done = NULL;
  lw_card card = *card_of(s, "corran-220-six-manual.yaml");
  const lw_target mad = {"mad", 1e4, 5e4, 14, 1, 0};
  assert_int_equal(lw_card_complete(s->arena, &card, &mad, 1, &done, &s->error), LW_BAD_INPUT);
  HOLDS(s->error.text, "'mad'");
  const lw_target beyond = {"beyond", 30, 90e3, 14, 1, 0};
  assert_int_equal(lw_card_complete(s->arena, &card, &beyond, 1, &done, &s->error),
                   LW_NO_CONVERGENCE);
  HOLDS(s->error.text, "'beyond'");
  card.engine.displacement = LW_NONE;
  assert_int_equal(lw_card_complete(s->arena, &card, NULL, 0, &done, &s->error), LW_BAD_INPUT);
  HOLDS(s->error.text, "displacement");
  assert_null(done);
}

static void every_family_has_a_demo_card(void **state) {
  static const char *const cards[] = {"220-six-export",   "220-six-manual",      "220-six-limiter",
                                      "290-eight-export", "290-eight-automatic", "350-eight-pair",
                                      "350-eight-vacuum", "350-eight-manual"};
  const char *names[32];
  size_t count = lw_net_families(names, 32);
  assert_int_equal(count, sizeof cards / sizeof cards[0]);
  for (size_t i = 0; i < count; i++) {
    char file[80];
    shop *s = *state;
    lw_net *net = NULL;
    snprintf(file, sizeof file, "corran-%s.yaml", cards[i]);
    assert_int_equal(lw_net_build(s->arena, card_of(s, file), &net, &s->error), LW_OK);
    assert_string_equal(net->family, names[i]);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_card_without_jets_gets_them_and_meets_its_targets),
      cmocka_unit_test(what_a_card_gives_is_kept),
      cmocka_unit_test(a_whole_card_lacks_nothing),
      cmocka_unit_test(bore_and_venturi_follow_from_the_engine),
      cmocka_unit_test(what_cannot_be_is_said),
      cmocka_unit_test(every_family_has_a_demo_card),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
