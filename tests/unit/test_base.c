/* test_base.c - errors, arena, text: the helpers every floor stands on. */
#include "check.h"

#include <stdlib.h>

static void error_line_has_its_parts(void **state) {
  (void)state;
  char line[600];
  lw_error error = {0};
  lw_fail(&error, LW_BAD_INPUT, "a number was expected");
  assert_string_equal(lw_error_line(&error, line, sizeof line), "a number was expected");
  lw_error_place(&error, "a.yaml", 3, "engine, bore");
  assert_string_equal(lw_error_line(&error, line, sizeof line),
                      "a.yaml:3: engine, bore: a number was expected");
  assert_int_equal(error.status, LW_BAD_INPUT);
}

static void error_line_is_one_line(void **state) {
  (void)state;
  char line[600];
  lw_error error = {0};
  lw_fail(&error, LW_BAD_INPUT, "two\nlines\x1b[31m");
  lw_error_line(&error, line, sizeof line);
  assert_null(strchr(line, '\n'));
  assert_null(strchr(line, '\x1b'));
}

static void arena_keeps_its_limit(void **state) {
  (void)state;
  lw_arena *arena = lw_arena_new(100000);
  assert_non_null(arena);
  assert_non_null(lw_arena_alloc(arena, 90000));
  assert_null(lw_arena_alloc(arena, 20000));
  assert_null(lw_arena_array(arena, SIZE_MAX / 2, 8));
  assert_null(lw_arena_alloc(arena, SIZE_MAX));
  assert_non_null(lw_arena_alloc(arena, 100));
  lw_arena_free(arena);
  lw_arena_free(NULL);
}

static void arena_aligns_and_zeroes(void **state) {
  (void)state;
  lw_arena *arena = lw_arena_new(0);
  for (size_t size = 1; size < 300; size += 7) {
    unsigned char *piece = lw_arena_alloc(arena, size);
    assert_int_equal((uintptr_t)piece % _Alignof(max_align_t), 0);
    for (size_t i = 0; i < size; i++)
      assert_int_equal(piece[i], 0);
    memset(piece, 0xAA, size);
  }
  assert_string_equal(lw_arena_print(arena, "%d of %s", 3, "four"), "3 of four");
  lw_arena_free(arena);
}

static void nearest_word_is_a_slip_of_the_pen(void **state) {
  (void)state;
  static const char *const keys[] = {"main jet", "main bleed", "idle feed", "venturi"};
  assert_string_equal(lw_text_nearest("main jett", keys, 4), "main jet");
  assert_string_equal(lw_text_nearest("mian jet", keys, 4), "main jet");
  assert_string_equal(lw_text_nearest("Venturi", keys, 4), "venturi");
  assert_null(lw_text_nearest("carburetor", keys, 4));
  assert_null(lw_text_nearest("", keys, 4));
}

static void numbers_carry_honest_digits(void **state) {
  (void)state;
  char text[40];
  assert_string_equal(lw_text_value(text, sizeof text, 0.98765, 0.02, 4), "0.988");
  assert_string_equal(lw_text_value(text, sizeof text, 0.98765, 0.2, 4), "0.99");
  assert_string_equal(lw_text_value(text, sizeof text, 123.456, 30, 2), "123");
  assert_string_equal(lw_text_value(text, sizeof text, 123.456, LW_NONE, 1), "123.5");
  assert_string_equal(lw_text_value(text, sizeof text, LW_NONE, 1, 1), "not known");
}

static void utf8_is_checked(void **state) {
  (void)state;
  size_t bad = 99;
  assert_true(lw_text_utf8("caf\xc3\xa9 \xe2\x82\xac \xf0\x9f\x98\x80", 14, &bad));
  assert_false(lw_text_utf8("ab\xff", 3, &bad));
  assert_int_equal(bad, 2);
  assert_false(lw_text_utf8("\xc0\xaf", 2, &bad));     /* overlong */
  assert_false(lw_text_utf8("\xed\xa0\x80", 3, &bad)); /* surrogate */
  assert_false(lw_text_utf8("a\0b", 3, &bad));
}

static void ranges_refuse_only_by_known_bounds(void **state) {
  (void)state;
  lw_range most = {NAN, NAN, 3};
  assert_int_equal(lw_range_side(most, 2), 0);
  assert_int_equal(lw_range_side(most, 4), 1);
  assert_int_equal(lw_range_side((lw_range){1, 2, 3}, 0), -1);
  assert_int_equal(lw_range_side(lw_range_none, 1e9), 0);
  assert_false(lw_range_known(lw_range_none));
  NEAR(lw_range_middle((lw_range){1, NAN, 3}), 2, 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(error_line_has_its_parts),
      cmocka_unit_test(error_line_is_one_line),
      cmocka_unit_test(arena_keeps_its_limit),
      cmocka_unit_test(arena_aligns_and_zeroes),
      cmocka_unit_test(nearest_word_is_a_slip_of_the_pen),
      cmocka_unit_test(numbers_carry_honest_digits),
      cmocka_unit_test(utf8_is_checked),
      cmocka_unit_test(ranges_refuse_only_by_known_bounds),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
