/* document.c - a job file as a JSON tree and back, and a reading added to one without touching the
** rest of it.
*/
#include "leanward/document.h"

#include <stdlib.h>
#include <string.h>

/* ---- tree to JSON ---- */

static json_t *scalar_json(const lw_node *node) {
  return node->text[0] || node->quoted ? json_string(node->text) : json_null();
}

json_t *lw_document_json(const lw_node *root) {
  if (root->kind == LW_NODE_SCALAR) return scalar_json(root);
  json_t *made = root->kind == LW_NODE_MAP ? json_object() : json_array();
  for (const lw_node *child = root->first; made && child; child = child->next) {
    json_t *value = lw_document_json(child);
    int failed = root->kind == LW_NODE_MAP ? json_object_set_new(made, child->key, value)
                                           : json_array_append_new(made, value);
    if (!failed) continue;
    json_decref(made);
    return NULL;
  }
  return made;
}

/* ---- JSON to text ---- */

typedef struct draft {
  char *at;
  size_t used, size;
  bool failed;
} draft;

static void put(draft *d, const char *text, size_t length) {
  if (d->used + length > d->size) {
    size_t size = (d->used + length) * 2 + 256;
    char *grown = d->failed ? NULL : realloc(d->at, size);
    if (!grown) {
      d->failed = true;
      return;
    }
    d->at = grown;
    d->size = size;
  }
  if (length) memcpy(d->at + d->used, text, length);
  d->used += length;
}

static void puts_to(draft *d, const char *text) {
  put(d, text, strlen(text));
}

static void indent(draft *d, int columns) {
  for (int i = 0; i < columns; i++)
    put(d, " ", 1);
}

/* Words that YAML reads as they stand, whatever is around them; anything else is quoted. */
static bool plain(const char *text, size_t length) {
  static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789";
  if (!length || !strchr(letters, text[0]) || text[length - 1] == ' ') return false;
  for (size_t i = 0; i < length; i++) {
    if (!text[i] || (!strchr(letters, text[i]) && !strchr(" .,%+/()_-", text[i]))) return false;
  }
  return true;
}

static void put_escaped(draft *d, unsigned char c) {
  char code[8];
  switch (c) {
  case '"': puts_to(d, "\\\""); return;
  case '\\': puts_to(d, "\\\\"); return;
  case '\n': puts_to(d, "\\n"); return;
  case '\r': puts_to(d, "\\r"); return;
  case '\t': puts_to(d, "\\t"); return;
  default: break;
  }
  snprintf(code, sizeof code, "\\x%02X", c);
  puts_to(d, code);
}

/* C1 controls, the byte order mark and the line ends of Unicode would be read as something else, or
   refused, when they stood there bare. Length of the letter, 0: it may stand. */
static size_t odd_letter(const unsigned char *s, size_t left, unsigned *letter) {
  if (left >= 2 && s[0] == 0xC2 && s[1] < 0xA0) {
    *letter = s[1];
    return 2;
  }
  if (left < 3) return 0;
  unsigned u = (unsigned)(s[0] & 0x0F) << 12 | (unsigned)(s[1] & 0x3F) << 6 | (s[2] & 0x3Fu);
  bool three = (s[0] & 0xF0) == 0xE0;
  *letter = u;
  return three && (u == 0x2028 || u == 0x2029 || u == 0xFEFF || u == 0xFFFE || u == 0xFFFF) ? 3 : 0;
}

static void put_quoted(draft *d, const char *text, size_t length) {
  const unsigned char *s = (const unsigned char *)text;
  put(d, "\"", 1);
  for (size_t i = 0; i < length;) {
    unsigned letter = 0;
    char code[12];
    size_t odd = odd_letter(s + i, length - i, &letter);
    if (odd) {
      snprintf(code, sizeof code, "\\u%04X", letter);
      puts_to(d, code);
      i += odd;
    } else if (s[i] < 0x20 || s[i] == 0x7F || s[i] == '"' || s[i] == '\\') {
      put_escaped(d, s[i++]);
    } else {
      put(d, text + i++, 1);
    }
  }
  put(d, "\"", 1);
}

static void put_words(draft *d, const char *text, size_t length) {
  if (plain(text, length)) {
    put(d, text, length);
  } else {
    put_quoted(d, text, length);
  }
}

static bool is_empty(const json_t *value) {
  return json_is_null(value) || (json_is_object(value) && !json_object_size(value)) ||
         (json_is_array(value) && !json_array_size(value));
}

static lw_status put_scalar(draft *d, const json_t *value, lw_error *error) {
  char number[32];
  if (json_is_string(value)) {
    put_words(d, json_string_value(value), json_string_length(value));
  } else if (json_is_integer(value)) {
    snprintf(number, sizeof number, "%lld", (long long)json_integer_value(value));
    puts_to(d, number);
  } else if (json_is_boolean(value)) {
    puts_to(d, json_is_true(value) ? "yes" : "no");
  } else {
    return lw_fail(error, LW_BAD_INPUT, "write a value as a text with its unit, as in \"3.68 %%\"");
  }
  put(d, "\n", 1);
  return LW_OK;
}

static lw_status put_value(draft *d, const json_t *value, int column, int depth, lw_error *error);

/* The cursor stands at column of its line; every further line is indented to it. */
static lw_status put_map(draft *d, const json_t *map, int column, int depth, lw_error *error) {
  const char *key;
  json_t *value;
  lw_status status = LW_OK;
  bool first = true;
  json_object_foreach((json_t *)map, key, value) {
    if (is_empty(value)) continue;
    if (!first) indent(d, column);
    first = false;
    put_words(d, key, strlen(key));
    put(d, ":", 1);
    if (json_is_object(value) || json_is_array(value)) {
      put(d, "\n", 1);
      indent(d, column + 2);
      status = put_value(d, value, column + 2, depth + 1, error);
    } else {
      put(d, " ", 1);
      status = put_scalar(d, value, error);
      if (status != LW_OK) lw_error_place(error, NULL, 0, key);
    }
    if (status != LW_OK) return status;
  }
  if (first) puts_to(d, "{}\n");
  return LW_OK;
}

static lw_status put_list(draft *d, const json_t *list, int column, int depth, lw_error *error) {
  lw_status status = LW_OK;
  bool first = true;
  for (size_t i = 0; status == LW_OK && i < json_array_size(list); i++) {
    const json_t *value = json_array_get(list, i);
    if (json_is_null(value)) continue;
    if (!first) indent(d, column);
    first = false;
    put(d, "- ", 2);
    status = put_value(d, value, column + 2, depth + 1, error);
  }
  if (first) puts_to(d, "[]\n");
  return status;
}

static lw_status put_value(draft *d, const json_t *value, int column, int depth, lw_error *error) {
  if (depth > LW_DOC_MAX_DEPTH) {
    return lw_fail(error, LW_TOO_LARGE, "this is nested more than %d deep", LW_DOC_MAX_DEPTH);
  }
  if (json_is_object(value)) return put_map(d, value, column, depth, error);
  if (json_is_array(value)) return put_list(d, value, column, depth, error);
  return put_scalar(d, value, error);
}

static lw_status finish(draft *d, lw_arena *arena, const char **text, size_t *length,
                        lw_error *error) {
  const char *copy = d->failed ? NULL : lw_arena_copy(arena, d->at ? d->at : "", d->used);
  if (!copy) return lw_fail(error, LW_NO_MEMORY, "no memory for this document");
  *text = copy;
  *length = d->used;
  return LW_OK;
}

lw_status lw_document_text(lw_arena *arena, const json_t *tree, const char **text, size_t *length,
                           lw_error *error) {
  draft d = {0};
  lw_status status = json_is_object(tree)
                         ? put_value(&d, tree, 0, 0, error)
                         : lw_fail(error, LW_BAD_INPUT, "a document is a map of keys and values");
  if (status == LW_OK) status = finish(&d, arena, text, length, error);
  free(d.at);
  return status;
}

/* ---- adding ---- */

static const char *line_start(const char *text, const char *end, int line) {
  for (int at = 1; at < line && text < end; at++) {
    const char *feed = memchr(text, '\n', (size_t)(end - text));
    text = feed ? feed + 1 : end;
  }
  return text;
}

/* Blank lines and comments above the next key belong to that key. */
static const char *above_comments(const char *text, const char *at) {
  while (at > text) {
    const char *start = at - 1;
    while (start > text && start[-1] != '\n')
      start--;
    const char *word = start + strspn(start, " \t");
    if (word < at && *word != '#' && *word != '\n' && *word != '\r') return at;
    at = start;
  }
  return at;
}

/* Where a new item goes and how far in; NULL when the list is not one that takes lines. */
static const char *place_for_item(const lw_node *root, const char *text, size_t length,
                                  const char *key, int *column) {
  const char *end = text + length;
  const lw_node *list = lw_doc_child(root, key);
  if (!list || list->kind != LW_NODE_LIST || !list->first) return NULL;
  const char *line = line_start(text, end, list->first->line);
  size_t blanks = strspn(line, " ");
  if (line[blanks] != '-') return NULL;
  *column = (int)blanks;
  return list->next ? above_comments(text, line_start(text, end, list->next->key_line)) : end;
}

/* head: a line of its own before the item; NULL: none. */
static lw_status splice(lw_arena *arena, const char *text, size_t length, const char *place,
                        const char *head, int column, const json_t *item, const char **out,
                        size_t *out_length, lw_error *error) {
  draft d = {0};
  put(&d, text, (size_t)(place - text));
  if (place > text && place[-1] != '\n') put(&d, "\n", 1);
  if (head) {
    put_words(&d, head, strlen(head));
    puts_to(&d, ":\n");
  }
  indent(&d, column);
  puts_to(&d, "- ");
  lw_status status = put_value(&d, item, column + 2, 0, error);
  put(&d, place, (size_t)(text + length - place));
  if (status == LW_OK) status = finish(&d, arena, out, out_length, error);
  free(d.at);
  return status;
}

/* Is text the document wanted? Only then may a splice stand. */
static bool reads_as(lw_arena *arena, const char *text, size_t length, const json_t *wanted) {
  lw_error ignored = {0};
  const lw_node *root = NULL;
  if (lw_doc_parse(arena, "spliced", text, length, &root, &ignored) != LW_OK) return false;
  json_t *tree = lw_document_json(root);
  bool same = tree && json_equal(tree, wanted);
  json_decref(tree);
  return same;
}

/* item as it reads back: all texts, nothing empty. A new value. */
static json_t *as_read(lw_arena *arena, const json_t *item, lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  const lw_node *root = NULL;
  if (lw_document_text(arena, item, &text, &length, error) != LW_OK) return NULL;
  if (lw_doc_parse(arena, "item", text, length, &root, error) != LW_OK) return NULL;
  json_t *tree = lw_document_json(root);
  if (!tree) lw_fail(error, LW_NO_MEMORY, "no memory for this item");
  return tree;
}

/* The tree with the item in it. */
static json_t *tree_with(const lw_node *root, const char *key, json_t *item) {
  json_t *tree = lw_document_json(root);
  json_t *list = tree ? json_object_get(tree, key) : NULL;
  if (tree && !json_is_array(list)) {
    list = json_array();
    if (json_object_set_new(tree, key, list) != 0) list = NULL;
  }
  if (list && json_array_append(list, item) == 0) return tree;
  json_decref(tree);
  return NULL;
}

static lw_status add_item(lw_arena *arena, const lw_node *root, const char *text, size_t length,
                          const char *key, json_t *item, const char **out, size_t *out_length,
                          lw_error *error) {
  json_t *wanted = root->kind == LW_NODE_MAP ? tree_with(root, key, item) : NULL;
  if (!wanted) return lw_fail(error, LW_NO_MEMORY, "no memory to add to this document");
  int column = 0;
  const char *place = place_for_item(root, text, length, key, &column);
  bool first = !lw_doc_child(root, key); /* a list of its own, at the end */
  if (first) {
    place = text + length;
    column = 2;
  }
  lw_status status = LW_NOT_FOUND;
  if (place) {
    status = splice(arena, text, length, place, first ? key : NULL, column, item, out, out_length,
                    error);
    if (status == LW_OK && !reads_as(arena, *out, *out_length, wanted)) status = LW_NOT_FOUND;
  }
  if (status == LW_NOT_FOUND) status = lw_document_text(arena, wanted, out, out_length, error);
  json_decref(wanted);
  return status;
}

lw_status lw_document_add(lw_arena *arena, const char *file, const char *text, size_t length,
                          const char *key, const json_t *item, const char **out, size_t *out_length,
                          lw_error *error) {
  const lw_node *root = NULL;
  lw_status status = lw_doc_parse(arena, file, text, length, &root, error);
  if (status != LW_OK) return status;
  json_t *read = json_is_object(item) ? as_read(arena, item, error) : NULL;
  if (!read) {
    return json_is_object(item) ? error ? error->status : LW_BAD_INPUT
                                : lw_fail(error, LW_BAD_INPUT, "a map of keys was expected");
  }
  status = add_item(arena, root, text, length, key, read, out, out_length, error);
  json_decref(read);
  return status;
}
