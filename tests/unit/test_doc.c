/* test_doc.c - YAML to a tree that knows its lines, and what is refused on the way. */
#include "check.h"

#include <stdlib.h>

#include "leanward/doc.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])

static lw_arena *arena;

static int new_arena(void **state) {
  (void)state;
  arena = lw_arena_new(0);
  return arena ? 0 : -1;
}

static int free_arena(void **state) {
  (void)state;
  lw_arena_free(arena);
  return 0;
}

static lw_status parse(const char *text, size_t length, const lw_node **root, char *line,
                       size_t size) {
  lw_error error = {0};
  lw_status status = lw_doc_parse(arena, "a.yaml", text, length, root, &error);
  lw_error_line(&error, line, size);
  return status;
}

static const lw_node *good(const char *text) {
  char line[800];
  const lw_node *root = NULL;
  if (parse(text, strlen(text), &root, line, sizeof line) != LW_OK) fail_msg("%s", line);
  return root;
}

static void the_tree_has_keys_values_and_lines(void **state) {
  (void)state;
  const lw_node *root =
      good("# a comment\nunit: K-1\n\nengine:\n  bore: 3.4 in\n  notes: [a, 'b c']\n");
  assert_int_equal(root->kind, LW_NODE_MAP);
  assert_int_equal(root->count, 2);
  assert_int_equal(root->line, 2);
  const lw_node *unit = lw_doc_child(root, "unit");
  assert_string_equal(unit->text, "K-1");
  assert_int_equal(unit->line, 2);
  assert_int_equal(unit->column, 7);
  const lw_node *engine = lw_doc_child(root, "engine");
  assert_int_equal(engine->key_line, 4);
  assert_int_equal(engine->line, 5);
  const lw_node *notes = lw_doc_child(engine, "notes");
  assert_int_equal(notes->kind, LW_NODE_LIST);
  assert_int_equal(notes->count, 2);
  assert_string_equal(notes->first->text, "a");
  assert_null(notes->first->key);
  assert_false(notes->first->quoted);
  assert_string_equal(notes->first->next->text, "b c");
  assert_true(notes->first->next->quoted);
  assert_null(notes->first->next->next);
  assert_null(lw_doc_child(root, "bore"));
  assert_null(lw_doc_child(notes, "a"));
}

static void folded_and_block_texts_are_one_value(void **state) {
  (void)state;
  const lw_node *root = good("a: >\n  one\n  two\nb: |\n  three\n  four\nc: \"\\u00e9\"\n");
  assert_string_equal(lw_doc_child(root, "a")->text, "one two\n");
  assert_string_equal(lw_doc_child(root, "b")->text, "three\nfour\n");
  assert_string_equal(lw_doc_child(root, "c")->text, "\xc3\xa9");
  assert_int_equal(lw_doc_child(root, "b")->line, 4);
  assert_int_equal(lw_doc_child(root, "c")->line, 7);
}

/* Windows and old line ends, byte order marks and UTF-16 are how files come from elsewhere. */
static void other_line_ends_and_encodings_read_the_same(void **state) {
  (void)state;
  static const struct {
    const char *text;
    size_t length;
  } files[] = {
      {"a: 1\nb: 2\n", 10},
      {"a: 1\r\nb: 2\r\n", 12},
      {"a: 1\rb: 2\r", 10},
      {"\xef\xbb\xbf"
       "a: 1\nb: 2",
       12},
      {"\xff\xfe"
       "a\0:\0 \0"
       "1\0\n\0b\0:\0 \0"
       "2\0",
       20},
      {"\xfe\xff"
       "\0a\0:\0 \0"
       "1\0\n\0b\0:\0 \0"
       "2",
       20},
      {"%YAML 1.1\n---\na: 1\nb: 2\n...\n", 28},
  };
  for (size_t i = 0; i < COUNT(files); i++) {
    char line[800];
    const lw_node *root = NULL;
    if (parse(files[i].text, files[i].length, &root, line, sizeof line) != LW_OK)
      fail_msg("%zu: %s", i, line);
    assert_int_equal(root->count, 2);
    assert_string_equal(lw_doc_child(root, "a")->text, "1");
    assert_string_equal(lw_doc_child(root, "b")->text, "2");
    assert_int_equal(lw_doc_child(root, "b")->line, lw_doc_child(root, "a")->line + 1);
  }
}

/* The whole error line, file and line number and all. */
static const struct bad {
  const char *text, *line;
} bad[] = {
    {"", "a.yaml: the file is empty; keys with values were expected"},
    {"  \n\n", "a.yaml: the file is empty; keys with values were expected"},
    {"# only a comment\n", "a.yaml: the file is empty; keys with values were expected"},
    {"a: 1\nb: 2\na: 3\n",
     "a.yaml:3: a: this key is already given at line 1; a key may stand once"},
    {"a: {b: 1,\n  c: 2,\n  b: 3}\n",
     "a.yaml:3: b: this key is already given at line 1; a key may stand once"},
    {"a: &x 1\n",
     "a.yaml:1: anchors and tags ('&', '!') are not used here; write the value itself"},
    {"a: 1\nb: &x [1]\n",
     "a.yaml:2: anchors and tags ('&', '!') are not used here; write the values"},
    {"a: &x {b: 1}\n", "a.yaml:1: anchors and tags ('&', '!') are not used here; write the values"},
    {"a: *x\n", "a.yaml:1: aliases ('*') are not used here; write the value itself"},
    {"a: !!str 1\n",
     "a.yaml:1: anchors and tags ('&', '!') are not used here; write the value itself"},
    {"a: ! 1\n", "a.yaml:1: anchors and tags ('&', '!') are not used here; write the value itself"},
    {"a:\n- !x {b: 1}\n",
     "a.yaml:2: anchors and tags ('&', '!') are not used here; write the values"},
    {"&k a: 1\n",
     "a.yaml:1: anchors and tags ('&', '!') are not used here; write the value itself"},
    {"a: 1\n---\nb: 2\n", "a.yaml:2: a second document ('---') starts here; one file, one"},
    {"? [a, b]\n: 1\n", "a.yaml:1: a key must be plain words, not a list or a map"},
    {"? {a: b}\n: 1\n", "a.yaml:1: a key must be plain words, not a list or a map"},
    {"a: \"x\\0y\"\n", "a.yaml:1: the text holds a zero byte"},
    {"a: 1\n\"k\\0\": 2\n", "a.yaml:2: the text holds a zero byte"},
};

static void bad_documents_get_an_exact_line(void **state) {
  (void)state;
  for (size_t i = 0; i < COUNT(bad); i++) {
    char line[800];
    const lw_node *root = NULL;
    lw_status status = parse(bad[i].text, strlen(bad[i].text), &root, line, sizeof line);
    if (status != LW_BAD_INPUT) fail_msg("'%s' gave %s", bad[i].text, lw_status_text(status));
    assert_string_equal(line, bad[i].line);
    assert_null(root);
  }
}

/* What libyaml itself refuses: its own words differ, the line must be right and the advice there.
 */
static const struct {
  const char *text;
  int line;
} broken[] = {
    {"a: [1, 2\n", 2},  {"a: 1\nb: {c: 2\n", 3},  {"a: 1\n\tb: 2\n", 2},
    {"a:\n\t- 1\n", 2}, {"a: 'open\n\nend", 3},   {"a: 1\n  b: 2\n", 2},
    {"a: b: c\n", 1},   {"a: 1\nb\nc: 2\n", 3},   {"a: @x\n", 1},
    {"a: %x\n", 1},     {"a: \"\\q\"\n", 1},      {"- a\nb: 1\n", 2},
    {"a: ]\n", 1},      {"a: 1\n...\nb: 2\n", 3}, {"%BAD\n---\na: 1\n", 1},
};

static void broken_yaml_names_its_line(void **state) {
  (void)state;
  for (size_t i = 0; i < COUNT(broken); i++) {
    const lw_node *root = NULL;
    lw_error error = {0};
    lw_status status =
        lw_doc_parse(arena, "a.yaml", broken[i].text, strlen(broken[i].text), &root, &error);
    if (status != LW_BAD_INPUT) fail_msg("'%s' was taken", broken[i].text);
    if (error.line != broken[i].line) {
      fail_msg("'%s': line %d instead of %d: %s", broken[i].text, error.line, broken[i].line,
               error.text);
    }
    assert_string_equal(error.file, "a.yaml");
    HOLDS(error.text, "check the indent, the colon and the quotes");
  }
}

/* Bytes that are no text: the line is found although libyaml names only the byte. */
static void bytes_that_are_not_text_name_their_line(void **state) {
  (void)state;
  static const struct {
    const char *text;
    size_t length;
    int line;
  } files[] = {
      {"a: 1\nb: \0\n", 10, 2},
      {"a: \x01\n", 5, 1},
      {"\x89PNG\r\n\x1a\n", 8, 1},
      {"a: 1\nb: \xff\n", 10, 2},
      {"a: 1\n\nb: \xc3(\n", 11, 3},
      {"a: 1\nb: \xed\xa0\x80\n", 12, 2},
      {"a: \xc0\xaf\n", 6, 1},
      {"\x7f"
       "ELF\2\1\1\0",
       8, 1},
      {"a: x\xc3", 5, 1},
      {"a: 1\r\nb: 2\r\nc: \x02", 16, 3},
  };
  for (size_t i = 0; i < COUNT(files); i++) {
    const lw_node *root = NULL;
    lw_error error = {0};
    lw_status status = lw_doc_parse(arena, "a.yaml", files[i].text, files[i].length, &root, &error);
    assert_int_equal(status, LW_BAD_INPUT);
    if (error.line != files[i].line) fail_msg("%zu: line %d: %s", i, error.line, error.text);
    HOLDS(error.text, "this is not text");
  }
}

static void limits_are_kept(void **state) {
  (void)state;
  char text[200] = "", line[800];
  const lw_node *root = NULL;
  for (int i = 0; i < LW_DOC_MAX_DEPTH; i++)
    strcat(text, "[");
  for (int i = 0; i < LW_DOC_MAX_DEPTH; i++)
    strcat(text, "]");
  assert_int_equal(parse(text, strlen(text), &root, line, sizeof line), LW_OK);
  memmove(text + 1, text, strlen(text) + 1);
  strcat(text, "]");
  assert_int_equal(parse(text, strlen(text), &root, line, sizeof line), LW_BAD_INPUT);
  assert_string_equal(line, "a.yaml:1: the document is nested too deep");
  assert_int_equal(parse("a: 1", LW_DOC_MAX_BYTES + 1, &root, line, sizeof line), LW_TOO_LARGE);
  HOLDS(line, "a.yaml: the file has more than 4 MiB");
}

static void no_bytes_at_all_is_an_empty_file(void **state) {
  (void)state;
  char line[800];
  const lw_node *root = NULL;
  assert_int_equal(parse(NULL, 0, &root, line, sizeof line), LW_BAD_INPUT);
  HOLDS(line, "a.yaml: the file is empty");
}

static void an_error_may_be_left_out(void **state) {
  (void)state;
  const lw_node *root = NULL;
  for (size_t i = 0; i < COUNT(bad); i++) {
    assert_int_equal(lw_doc_parse(arena, "a", bad[i].text, strlen(bad[i].text), &root, NULL),
                     LW_BAD_INPUT);
  }
}

/* The error line goes to terminals and into JSON: no escape sequence, no broken UTF-8. */
static void an_error_line_is_safe_to_show(void **state) {
  (void)state;
  char line[800], text[300];
  const lw_node *root = NULL;
  static const char *const hostile[] = {
      "\"\\e[2J\": 1\n\"\\e[2J\": 2\n",
      "\"\\u009b2J\": 1\n\"\\u009b2J\": 2\n",
      "\"a\\nb\": 1\n\"a\\nb\": 2\n",
  };
  for (size_t i = 0; i < COUNT(hostile); i++) {
    assert_int_equal(parse(hostile[i], strlen(hostile[i]), &root, line, sizeof line), LW_BAD_INPUT);
    assert_null(strchr(line, '\x1b'));
    assert_null(strchr(line, '\n'));
    assert_null(strstr(line, "\xc2\x9b"));
  }
  /* a key of two-byte letters, cut by every buffer at every offset */
  for (size_t lead = 0; lead < 2; lead++) {
    text[0] = '\0';
    for (int copy = 0; copy < 2; copy++) {
      if (lead) strcat(text, "x");
      for (int i = 0; i < 68; i++)
        strcat(text, "\xc3\xa9");
      strcat(text, ": 1\n");
    }
    for (size_t size = 20; size < 300; size++) {
      size_t at = 0;
      assert_int_equal(parse(text, strlen(text), &root, line, size), LW_BAD_INPUT);
      if (!lw_text_utf8(line, strlen(line), &at))
        fail_msg("size %zu: cut inside a letter at %zu", size, at);
      assert_true(strlen(line) < size);
    }
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(the_tree_has_keys_values_and_lines, new_arena, free_arena),
      cmocka_unit_test_setup_teardown(folded_and_block_texts_are_one_value, new_arena, free_arena),
      cmocka_unit_test_setup_teardown(other_line_ends_and_encodings_read_the_same, new_arena,
                                      free_arena),
      cmocka_unit_test_setup_teardown(bad_documents_get_an_exact_line, new_arena, free_arena),
      cmocka_unit_test_setup_teardown(broken_yaml_names_its_line, new_arena, free_arena),
      cmocka_unit_test_setup_teardown(bytes_that_are_not_text_name_their_line, new_arena,
                                      free_arena),
      cmocka_unit_test_setup_teardown(limits_are_kept, new_arena, free_arena),
      cmocka_unit_test_setup_teardown(no_bytes_at_all_is_an_empty_file, new_arena, free_arena),
      cmocka_unit_test_setup_teardown(an_error_may_be_left_out, new_arena, free_arena),
      cmocka_unit_test_setup_teardown(an_error_line_is_safe_to_show, new_arena, free_arena),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
