/* test_bad_input.c - hostile and broken files: too large, too deep, too many, cut off, not text;
** and memory that runs out at every place it can. A refusal is one clear line; a crash is what ASan
** and UBSan turn into a failed test.
*/
#include "check.h"

#include <stdlib.h>
#include <time.h>

#include "leanward/card.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])

static lw_units *units;

static int open_all(void **state) {
  (void)state;
  return lw_units_open(&units, NULL) == LW_OK ? 0 : -1;
}

static int close_all(void **state) {
  (void)state;
  lw_units_close(units);
  return 0;
}

static const char card_text[] =
    "unit: CW-220-A\nyear: 1971\ntransmission: automatic\nemission package: clean air\n"
    "engine:\n  layout: inline\n  cylinders: 6\n  displacement: 220 in3\n  compression ratio: "
    "8.5:1\n"
    "  compression pressure: 120 to 150 psi\n  initial timing: 5 deg BTDC\n"
    "  centrifugal advance:\n  - {speed: 1000 rpm, advance: 4 to 8 deg}\n  - {speed: 2000 rpm, "
    "advance: 12 deg}\n"
    "  control valve: {set vacuum: 6 inHg, fall time: 3 s}\n"
    "carburetor:\n  barrels: 1\n  primary: {count: 1, main jet: 0.059 in, rods: [0.05 in, 0.04 "
    "in]}\n"
    "  screws:\n  - {name: left, kind: fuel with limited travel, travel: 0 to 4 turns, preset: 2 "
    "turns}\n"
    "  sealed: [stop, cap]\n"
    "idle: {speed: 650 +/- 50 rpm, CO: 1 to 2 %, HC: 300 ppm hexane}\n"
    "limits:\n- european idle\n- {gas: CO, value: at most 4.5 %}\nfuel: gasoline\nnotes: [one, "
    "two]\n";

static const char job_text[] =
    "job: 12\ncomplaint: will not idle\ncar: {cylinders: 6, year: 1971, transmission: automatic}\n"
    "weather: {temperature: 20 degC, pressure: 29.9 inHg, humidity: 50 %}\nfuel: {name: E10}\n"
    "analyzers: [{name: red, class: I, HC as: propane, propane factor: 0.52}]\n"
    "checks: {compression: [130 psi, 128 psi, 131 psi], timing: 5 deg BTDC, warm: yes}\n"
    "readings:\n- {stage: as found, analyzer: red, CO: 3.5 %, CO2: 12 %, O2: 0.5 %, HC: 400 ppm,\n"
    "   screws: {left: 2 turns}}\n- {stage: as left, CO: 1.5 %, speed: 650 rpm}\n"
    "done: [turned in, {what: turned out, screw: left, turned: 1/4 turn}]\nnotes: done\n";

/* Read text as a card and as a job in a fresh arena; the worse status, and the line of the card. */
static lw_status read_both(const char *text, size_t length, lw_error *error) {
  lw_arena *arena = lw_arena_new(0);
  lw_bind bind = {arena, units, "f.yaml"};
  lw_card *card = NULL;
  lw_job *job = NULL;
  lw_error job_error = {0};
  *error = (lw_error){0};
  lw_status as_card = lw_card_read(&bind, text, length, &card, error);
  lw_status as_job = lw_job_read(&bind, text, length, &job, &job_error);
  assert_true((as_card == LW_OK) == (card != NULL));
  assert_true((as_job == LW_OK) == (job != NULL));
  if (as_card != LW_OK) assert_true(error->status == as_card && error->text[0]);
  if (as_job != LW_OK) assert_true(job_error.status == as_job && job_error.text[0]);
  lw_arena_free(arena);
  return as_card != LW_OK ? as_card : as_job;
}

static double seconds(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* A generous bound, sanitizers and a busy machine included: what it catches is quadratic work. */
enum { PATIENCE = 20 };

static char *repeated(const char *head, const char *part, size_t times, const char *tail,
                      size_t *length) {
  size_t h = strlen(head), p = strlen(part), t = strlen(tail);
  char *text = malloc(h + p * times + t + 1);
  assert_non_null(text);
  memcpy(text, head, h);
  for (size_t i = 0; i < times; i++)
    memcpy(text + h + i * p, part, p);
  memcpy(text + h + p * times, tail, t + 1);
  *length = h + p * times + t;
  return text;
}

static const struct bulk {
  const char *head, *part, *tail;
  size_t times;
  lw_status status;
  const char *says;
} bulks[] = {
    {"unit: x\nnotes: ", "[", "\n", 10000, LW_BAD_INPUT, "nested too deep"},
    {"unit: x\nnotes: ", "{a: ", "\n", 10000, LW_BAD_INPUT, "nested too deep"},
    {"", "[", "", 10000, LW_BAD_INPUT, "nested too deep"},
    {"", "- ", "", 10000, LW_BAD_INPUT, "nested too deep"},
    {"", "? ", "", 10000, LW_BAD_INPUT, ""},
    {"unit: x\nnotes: [", "a,", "]\n", 60000, LW_BAD_INPUT, "too many entries"},
    {"", "\n", "unit: x\n", 1000000, LW_BAD_INPUT, ""},
    {"", "# c\n", "unit: x\n", 1000000, LW_BAD_INPUT, ""},
    {"unit: x\nnotes: 'a", "&a ", "\n", 5000, LW_BAD_INPUT, "does not read as YAML"},
    {"unit: x\nnotes: ", "*a ", "\n", 5000, LW_BAD_INPUT, ""},
    {"unit: x\nnotes: ", "!a ", "\n", 5000, LW_BAD_INPUT, ""},
    {"unit: x\nnotes: ", "\t", "\n", 5000, LW_BAD_INPUT, ""},
    {"", "---\n", "", 5000, LW_BAD_INPUT, "second document"},
    {"unit: x\n", "%", "\n", 5000, LW_BAD_INPUT, ""},
    {"", "\xef\xbb\xbf", "unit: x\n", 5000, LW_BAD_INPUT, ""},
    {"unit: x\nengine:\n  bore: ", "9", " in\n", 100000, LW_BAD_INPUT, "engine"},
    /* as a card this is two inches, honestly; as a job it has no engine */
    {"unit: x\nengine:\n  bore: 1.", "9", " in\n", 100000, LW_BAD_INPUT, ""},
    {"unit: x\nengine:\n  bore: 1 ", "in ", "\n", 100000, LW_BAD_INPUT, "engine"},
    {"unit: x\nengine:\n  ", "bore", ": 1\n", 200, LW_BAD_INPUT, "is not a key of an engine"},
};

static void bulk_is_refused_in_words_and_in_time(void **state) {
  (void)state;
  for (size_t i = 0; i < COUNT(bulks); i++) {
    size_t length = 0;
    lw_error error;
    char *text = repeated(bulks[i].head, bulks[i].part, bulks[i].times, bulks[i].tail, &length);
    double start = seconds();
    lw_status status = read_both(text, length, &error);
    char line[900];
    lw_error_line(&error, line, sizeof line);
    if (status != bulks[i].status) fail_msg("bulk %zu: %s: %s", i, lw_status_text(status), line);
    HOLDS(line, bulks[i].says);
    if (seconds() - start > PATIENCE) fail_msg("bulk %zu took %.0f s", i, seconds() - start);
    free(text);
  }
}

/* A long text is no fault: a pasted letter in the notes must not be lost or cut. */
static void a_text_of_a_megabyte_is_kept_whole(void **state) {
  (void)state;
  size_t length = 0;
  char *text = repeated("unit: x\nnotes: \"", "word ", 200000, "\"\n", &length);
  lw_arena *arena = lw_arena_new(0);
  lw_bind bind = {arena, units, "f.yaml"};
  lw_card *card = NULL;
  assert_int_equal(lw_card_read(&bind, text, length, &card, NULL), LW_OK);
  assert_int_equal(card->notes.count, 1);
  assert_int_equal(strlen(card->notes.text[0]), 1000000);
  lw_arena_free(arena);
  free(text);
}

static void sixty_thousand_keys_are_refused_quickly(void **state) {
  (void)state;
  size_t size = 1u << 21;
  char *text = malloc(size);
  lw_error error;
  int used = snprintf(text, size, "job: 1\nreadings:\n- screws:\n");
  for (int i = 0; i < 60000; i++)
    used += snprintf(text + used, size - (size_t)used, "    k%d: 1 turn\n", i);
  double start = seconds();
  assert_int_equal(read_both(text, (size_t)used, &error), LW_BAD_INPUT);
  HOLDS(error.text, "more than 1000 keys in one place");
  assert_int_equal(error.line, 1004);
  if (seconds() - start > PATIENCE) fail_msg("%.0f s", seconds() - start);
  free(text);
}

static void a_hundred_megabytes_are_refused_unread(void **state) {
  (void)state;
  size_t length = (size_t)100 * 1000 * 1000;
  char *text = calloc(1, length);
  assert_non_null(text);
  lw_error error;
  assert_int_equal(read_both(text, length, &error), LW_TOO_LARGE);
  HOLDS(error.text, "more than 4 MiB");
  free(text);
}

/* The aliases that make a small file a large one are refused at the first anchor. */
static void an_alias_bomb_is_refused_at_its_first_anchor(void **state) {
  (void)state;
  const char *text =
      "unit: x\nnotes:\n- &a [lol, lol, lol]\n- &b [*a, *a, *a]\n- &c [*b, *b, *b]\n";
  lw_error error;
  assert_int_equal(read_both(text, strlen(text), &error), LW_BAD_INPUT);
  assert_int_equal(error.line, 3);
  HOLDS(error.text, "anchors and tags");
}

/* Cut anywhere, a file reads or is refused; each byte turned into others the same. */
static void a_file_cut_anywhere_does_no_harm(void **state) {
  (void)state;
  const struct {
    const char *text;
    size_t length;
  } files[] = {{card_text, sizeof card_text - 1}, {job_text, sizeof job_text - 1}};
  for (size_t f = 0; f < 2; f++) {
    for (size_t cut = 0; cut <= files[f].length; cut++) {
      lw_error error;
      char *part =
          malloc(cut ? cut : 1); /* of the exact size, so that ASan sees one byte too far */
      memcpy(part, files[f].text, cut);
      read_both(part, cut, &error);
      free(part);
    }
  }
}

static void a_file_with_a_byte_turned_does_no_harm(void **state) {
  (void)state;
  static const char turned[] = {
      '\0', '\x01', '\t', '\n', '\r', ' ', '#', '-', ':', '[', '{', '}',    ']',    ',',    '&',
      '*',  '!',    '|',  '>',  '\'', '"', '%', '@', '?', '9', 'x', '\x7f', '\x80', '\xc3', '\xff'};
  const char *const files[] = {card_text, job_text};
  for (size_t f = 0; f < 2; f++) {
    size_t length = strlen(files[f]);
    char *text = malloc(length);
    for (size_t at = 0; at < length; at++) {
      lw_error error;
      memcpy(text, files[f], length);
      text[at] = turned[(at * 7) % sizeof turned];
      read_both(text, length, &error);
      text[at] = turned[(at * 7 + 13) % sizeof turned];
      read_both(text, length, &error);
    }
    free(text);
  }
}

/* Memory that ends anywhere: LW_NO_MEMORY with a line, or LW_OK, and never half an answer. */
static void memory_may_end_anywhere(void **state) {
  (void)state;
  for (int job = 0; job < 2; job++) {
    const char *text = job ? job_text : card_text;
    size_t enough = 0, refused = 0;
    for (size_t limit = 1; limit < 100000 && enough < 20; limit += 16) {
      lw_arena *arena = lw_arena_new(limit);
      lw_bind bind = {arena, units, "f.yaml"};
      lw_error error = {0};
      lw_card *card = NULL;
      lw_job *work = NULL;
      lw_status status = job ? lw_job_read(&bind, text, strlen(text), &work, &error)
                             : lw_card_read(&bind, text, strlen(text), &card, &error);
      if (status == LW_OK) {
        assert_string_equal(job ? work->file : card->file, "f.yaml");
        enough++;
      } else {
        if (status != LW_NO_MEMORY) fail_msg("limit %zu: %s", limit, lw_status_text(status));
        if (enough) fail_msg("limit %zu is too small and a lesser one was not", limit);
        assert_null(card);
        assert_null(work);
        assert_string_equal(error.file, "f.yaml");
        HOLDS(error.text, "no memory");
        refused++;
      }
      assert_true(lw_arena_used(arena) <= limit);
      lw_arena_free(arena);
    }
    assert_int_equal(enough, 20);
    assert_true(refused > 100);
  }
}

static void an_arena_never_hands_out_more_than_its_limit(void **state) {
  (void)state;
  for (size_t limit = 1; limit < 400; limit++) {
    lw_arena *arena = lw_arena_new(limit);
    while (lw_arena_alloc(arena, 7))
      ;
    assert_true(lw_arena_used(arena) <= limit);
    assert_null(lw_arena_print(arena, "%0*d", 1000, 1));
    lw_arena_free(arena);
  }
  lw_arena *arena = lw_arena_new(SIZE_MAX);
  assert_null(lw_arena_alloc(arena, SIZE_MAX));
  assert_null(lw_arena_alloc(arena, SIZE_MAX - 8));
  assert_null(lw_arena_copy(arena, "", SIZE_MAX));
  assert_null(lw_arena_array(arena, SIZE_MAX / 4 + 1, 4));
  lw_arena_free(arena);
}

/* Nothing was expected of these but an answer: a number with every byte before and behind it. */
static void every_byte_around_a_number_is_answered(void **state) {
  (void)state;
  for (int before = 1; before < 256; before++) {
    for (int after = 1; after < 256; after++) {
      char text[16];
      double si = NAN;
      lw_range range = lw_range_none;
      snprintf(text, sizeof text, "%c5%cin", before, after);
      lw_status one = lw_quantity_read(units, LW_LENGTH, text, &si, NULL);
      lw_status span = lw_range_read(units, LW_LENGTH, text, &range, NULL);
      assert_true((one == LW_OK) == !isnan(si));
      assert_true((span == LW_OK) == !isnan(range.lo));
      /* a letter may be a prefix: "5Ein" is five exainches, and every field's bounds refuse it */
      bool letter = (after >= 'a' && after <= 'z') || (after >= 'A' && after <= 'Z');
      if (one == LW_OK && !letter && fabs(si) > 999 * 0.0254) fail_msg("'%s' is %g m", text, si);
    }
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bulk_is_refused_in_words_and_in_time),
      cmocka_unit_test(a_text_of_a_megabyte_is_kept_whole),
      cmocka_unit_test(sixty_thousand_keys_are_refused_quickly),
      cmocka_unit_test(a_hundred_megabytes_are_refused_unread),
      cmocka_unit_test(an_alias_bomb_is_refused_at_its_first_anchor),
      cmocka_unit_test(a_file_cut_anywhere_does_no_harm),
      cmocka_unit_test(a_file_with_a_byte_turned_does_no_harm),
      cmocka_unit_test(memory_may_end_anywhere),
      cmocka_unit_test(an_arena_never_hands_out_more_than_its_limit),
      cmocka_unit_test(every_byte_around_a_number_is_answered),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
