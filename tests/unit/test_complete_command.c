/* test_complete_command.c - `leanward card --complete` and `--families`, run as a person does.
**
** A card printed is a card again: it is read back and run.
*/
#include "run.h"

/* The card in a file without the lines that begin with one of these keys at this indent. */
static const char *without(const char *path, const char *const *keys, char *out, size_t size) {
  char full[600], line[400];
  snprintf(full, sizeof full, "%s/%s", getenv("SOURCE_ROOT"), path);
  FILE *file = fopen(full, "r");
  assert_non_null(file);
  size_t used = 0;
  while (fgets(line, sizeof line, file)) {
    bool dropped = false;
    for (size_t i = 0; keys[i]; i++) {
      size_t n = strlen(keys[i]);
      dropped = dropped || (strncmp(line, "    ", 4) == 0 && strncmp(line + 4, keys[i], n) == 0 &&
                            line[4 + n] == ':');
    }
    if (!dropped) used += (size_t)snprintf(out + used, size - used, "%s", line);
    assert_true(used < size);
  }
  fclose(file);
  return out;
}

static size_t count_of(const char *text, const char *part) {
  size_t n = 0;
  for (; (text = strstr(text, part)); text++)
    n++;
  return n;
}

static const char *const complete[] = {"card", "--complete", "-", NULL};
static const char *const jets[] = {"main jet",   "main bleed", "idle feed",
                                   "idle bleed", "power jet",  NULL};

static void the_printed_card_is_whole_and_can_be_run(void **state) {
  (void)state;
  static const struct {
    const char *card;
    size_t sizes;
  } cards[] = {{"cards/corran-220-six-manual.yaml", 5}, {"cards/corran-350-eight-pair.yaml", 9}};
  const char *const again[] = {"map", "-", "--throttle", "0, 5 %", "--speed", "700 rpm", NULL};
  for (size_t i = 0; i < 2; i++) {
    static char card[TEXT], completed[TEXT];
    const ran *r = run(complete, without(cards[i].card, jets, card, sizeof card));
    assert_string_equal(r->err, "");
    assert_int_equal(r->code, 0);
    assert_int_equal(count_of(r->out, "# inferred"), cards[i].sizes);
    HOLDS(r->out, "# Every target was met within 5 %");
    HOLDS(r->out, "full throttle  3000 rpm");
    HOLDS(r->out, "\nfuel: gasoline\n"); /* what stood there still does */
    snprintf(completed, sizeof completed, "%s", r->out);
    r = run(again, completed);
    assert_int_equal(r->code, 0);
    HOLDS(r->out, "700 rpm");
  }
}

static void a_missed_target_is_exit_1_and_said(void **state) {
  (void)state;
  static char card[TEXT];
  const char *const port[] = {"idle port", NULL};
  without("cards/corran-220-six-manual.yaml", port, card, sizeof card);
  char *bleed = strstr(card, "main jet: 0.067");
  assert_non_null(bleed);
  memcpy(bleed, "main jet: 0.087", 15);
  const ran *r = run(complete, card);
  assert_int_equal(r->code, 1);
  HOLDS(r->out, "# Not every target was met; the worst is ");
}

static void json_lists_sizes_and_targets(void **state) {
  (void)state;
  static char card[TEXT];
  const char *const as_json[] = {"card", "--complete", "--json", "-", NULL};
  const ran *r = run(as_json, without("cards/corran-350-eight-pair.yaml", jets, card, sizeof card));
  assert_int_equal(r->code, 0);
  assert_int_equal(count_of(r->out, "\"value_m\""), 9);
  assert_int_equal(count_of(r->out, "\"side\": \"secondary\""), 4);
  assert_int_equal(count_of(r->out, "\"met\""), 10);
}

static void a_card_in_braces_gets_a_piece_to_put_in(void **state) {
  (void)state;
  const ran *r = run(complete, "unit: X-1\nengine: {displacement: 3.6 L}\ncarburetor:\n  primary: "
                               "{count: 1, throttle bore: 43 mm, venturi: 32 mm}\n"
                               "  screws: [{name: mixture, kind: fuel}]\n");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "# to be put into the card\ncarburetor:\n  primary:\n    main jet: ");
}

static void what_cannot_be_completed_is_one_line(void **state) {
  (void)state;
  const ran *r = run(complete, "unit: X-1\ncarburetor: {primary: {count: 1}}\n");
  assert_int_equal(r->code, 2);
  assert_string_equal(r->out, "");
  HOLDS(r->err, "engine, displacement: the engine's displacement is needed");
  assert_int_equal(count_of(r->err, "\n"), 1);
  r = RUN("card", "--complete", "cards/none.yaml");
  assert_int_equal(r->code, 2);
  HOLDS(r->err, "cards/none.yaml: it cannot be opened");
  assert_int_equal(count_of(r->err, "\n"), 1);
}

static void families_are_listed(void **state) {
  (void)state;
  const ran *r = RUN("card", "--families");
  assert_int_equal(r->code, 0);
  assert_int_equal(count_of(r->out, "\n"), 8);
  HOLDS(r->out, "two barrels, one air-bleed screw\n");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_printed_card_is_whole_and_can_be_run),
      cmocka_unit_test(a_missed_target_is_exit_1_and_said),
      cmocka_unit_test(json_lists_sizes_and_targets),
      cmocka_unit_test(a_card_in_braces_gets_a_piece_to_put_in),
      cmocka_unit_test(what_cannot_be_completed_is_one_line),
      cmocka_unit_test(families_are_listed),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
