/* test_document.c - a job file as a tree and back: what goes in comes out, whatever the words; and
** an item added leaves the rest byte for byte.
*/
#include "store_case.h"

#include "leanward/document.h"

static json_t *tree_of(lw_arena *arena, const char *text) {
  lw_error error = {0};
  const lw_node *root = NULL;
  must(lw_doc_parse(arena, "test", text, strlen(text), &root, &error), &error);
  return lw_document_json(root);
}

static void round_trip(const char *json_text) {
  lw_error error = {0};
  lw_arena *arena = lw_arena_new(0);
  const char *text = NULL;
  size_t length = 0;
  json_t *in = json_loads(json_text, 0, NULL);
  assert_non_null(in);
  must(lw_document_text(arena, in, &text, &length, &error), &error);
  json_t *out = tree_of(arena, text);
  if (!json_equal(in, out)) fail_msg("%s became\n%s", json_text, text);
  json_decref(in);
  json_decref(out);
  lw_arena_free(arena);
}

static void words_come_back_as_they_were(void **state) {
  static const char *const words[] = {"3.68 %",
                                      "1 1/4 turns",
                                      "yes",
                                      "null",
                                      "~",
                                      "- x",
                                      "a: b",
                                      "a #b",
                                      "#",
                                      "'",
                                      "\\\"",
                                      "\\\\",
                                      "  blank ",
                                      "line\\nend\\r\\n",
                                      "\\ttab",
                                      "{a}",
                                      "[b]",
                                      "*x",
                                      "&x",
                                      "!x",
                                      "%x",
                                      "@x",
                                      "`x",
                                      "|",
                                      ">",
                                      "?",
                                      "-",
                                      "---",
                                      "...",
                                      "\\u00dc",
                                      "\\u0085",
                                      "\\u2028x\\u2029",
                                      "\\ufeffx",
                                      "\\u00a0x",
                                      "\\u0001",
                                      "\\u007f",
                                      "\\ud83d\\ude97",
                                      "=1+1",
                                      "2026-11-20",
                                      "0x10",
                                      "1e5",
                                      "10:05",
                                      "",
                                      "a, b",
                                      "=",
                                      "<<"};
  (void)state;
  for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
    char text[200];
    snprintf(text, sizeof text,
             "{\"job\": \"%s\", \"notes\": [\"%s\", \"x\"], \"a\": {\"b\": [{\"c\": \"%s\"}]}}",
             words[i], words[i], words[i]);
    round_trip(text);
    if (!words[i][0]) continue;
    snprintf(text, sizeof text, "{\"%s\": \"x\"}", words[i]);
    round_trip(text);
  }
  round_trip("{\"a\": [[\"x\", \"y\"], [\"z\"]], \"b\": {\"c\": {\"d\": {\"e\": \"f\"}}}}");
}

static void a_person_s_numbers_and_answers_are_words(void **state) {
  lw_error error = {0};
  lw_arena *arena = lw_arena_new(0);
  const char *text = NULL;
  size_t length = 0;
  (void)state;
  json_t *in = json_loads(
      "{\"year\": 1968, \"warm\": true, \"date\": null, \"notes\": [], \"car\": {}}", 0, NULL);
  must(lw_document_text(arena, in, &text, &length, &error), &error);
  assert_string_equal(text, "year: 1968\nwarm: yes\n");
  json_decref(in);
  in = json_loads("{\"CO\": 3.68}", 0, NULL);
  assert_int_equal(lw_document_text(arena, in, &text, &length, &error), LW_BAD_INPUT);
  assert_string_equal(error.field, "CO");
  json_decref(in);
  char deep[400] = "";
  for (int i = 0; i < 60; i++)
    lw_text_append(deep, sizeof deep, "[");
  lw_text_append(deep, sizeof deep, "1");
  for (int i = 0; i < 60; i++)
    lw_text_append(deep, sizeof deep, "]");
  char whole[440];
  snprintf(whole, sizeof whole, "{\"a\": %s}", deep);
  in = json_loads(whole, 0, NULL);
  assert_int_equal(lw_document_text(arena, in, &text, &length, &error), LW_TOO_LARGE);
  json_decref(in);
  lw_arena_free(arena);
}

/* Adding {label: new} to text gives want; NULL: whatever, but the tree has it. */
static void adds(const char *before, const char *want) {
  lw_error error = {0};
  lw_arena *arena = lw_arena_new(0);
  const char *text = NULL;
  size_t length = 0;
  json_t *item = json_loads("{\"label\": \"new\", \"CO\": \"1 %\", \"note\": null}", 0, NULL);
  must(lw_document_add(arena, "test", before, strlen(before), "readings", item, &text, &length,
                       &error),
       &error);
  if (want) assert_string_equal(text, want);
  json_t *tree = tree_of(arena, text);
  json_t *list = json_object_get(tree, "readings");
  const json_t *last = json_array_get(list, json_array_size(list) - 1);
  assert_string_equal(json_string_value(json_object_get(last, "label")), "new");
  assert_string_equal(json_string_value(json_object_get(tree, "job")), "J");
  json_decref(tree);
  json_decref(item);
  lw_arena_free(arena);
}

static void an_item_is_added_and_the_rest_stays(void **state) {
  (void)state;
  adds("job: J # mine\nreadings:\n  - {CO: 2 %}\n  # between\n  - CO: 3 %\n\n# what was "
       "done\ndone: [x]\n",
       "job: J # mine\nreadings:\n  - {CO: 2 %}\n  # between\n  - CO: 3 %\n  - label: new\n    CO: "
       "1 %\n"
       "\n# what was done\ndone: [x]\n");
  adds("job: J\nreadings:\n- CO: 3 %", "job: J\nreadings:\n- CO: 3 %\n- label: new\n  CO: 1 %\n");
  adds("job: J\r\nreadings:\r\n  - CO: 3 %\r\nnotes: x\r\n", NULL);
  adds("job: J\nreadings: [{CO: 2 %}]\n",
       "job: J\nreadings:\n  - CO: 2 %\n  - label: new\n    CO: 1 %\n");
  adds("job: J\n", "job: J\nreadings:\n  - label: new\n    CO: 1 %\n");
  adds("# why\njob: J # mine\n# the end\n",
       "# why\njob: J # mine\n# the end\nreadings:\n  - label: new\n    CO: 1 %\n");
  adds("{job: J}\n", NULL);
  adds("job: J\n...\n", NULL);
  adds("{job: J, readings: [{CO: 2 %}]}", NULL);
  adds("job: J\nreadings:\n", NULL);
  adds("job: J\nreadings:\n  - note: >\n      folded\n      words\n  - note: |\n      "
       "kept\n\nnotes: x\n",
       NULL);
  adds("job: J\nreadings:\n  - CO: 2 %\n...\n", NULL);
  adds("%YAML 1.1\n---\nreadings:\n  - CO: 2 %\njob: J\n", NULL);
}

static void every_demo_job_comes_back(void **state) {
  static const char *const jobs[] = {"demo",          "vacuum-leak", "wrong-unit",
                                     "weak-cylinder", "two-gas",     "flat-spot"};
  (void)state;
  for (size_t i = 0; i < sizeof jobs / sizeof jobs[0]; i++) {
    char path[300];
    lw_error error = {0};
    lw_arena *arena = lw_arena_new(0);
    const char *text = NULL;
    size_t length = 0;
    snprintf(path, sizeof path, "%s/jobs/%s.yaml", getenv("SOURCE_ROOT"), jobs[i]);
    char *source = slurp(path, &length);
    json_t *tree = tree_of(arena, source);
    must(lw_document_text(arena, tree, &text, &length, &error), &error);
    json_t *again = tree_of(arena, text);
    assert_true(json_equal(tree, again));
    json_decref(tree);
    json_decref(again);
    free(source);
    lw_arena_free(arena);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(words_come_back_as_they_were),
      cmocka_unit_test(a_person_s_numbers_and_answers_are_words),
      cmocka_unit_test(an_item_is_added_and_the_rest_stays),
      cmocka_unit_test(every_demo_job_comes_back),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
