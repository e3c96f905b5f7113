/* bind.c - a tree of nodes to a C struct by a table of fields, and the same table read backward to
** print what a struct holds and what a file may hold.
*/
#include "leanward/doc.h"

#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PATH_TEXT = 160, VALUE_TEXT = 256, MOST_CANDIDATES = 64 };

static const char *const hc_words[] = {"", "hexane", "propane", "C1", NULL};

/* ---- clearing ---- */

static void *member(void *object, const lw_field *field) {
  return (char *)object + field->at;
}

static const void *member_const(const void *object, const lw_field *field) {
  return (const char *)object + field->at;
}

static void clear_field(const lw_field *field, void *object) {
  switch (field->kind) {
  case LW_KIND_QUANTITY: *(double *)member(object, field) = NAN; break;
  case LW_KIND_RANGE: *(lw_range *)member(object, field) = lw_range_none; break;
  case LW_KIND_HC: *(lw_hc *)member(object, field) = (lw_hc){NAN, LW_HC_UNSAID}; break;
  case LW_KIND_MAP: lw_table_clear(field->table, member(object, field)); break;
  default: break; /* all zero */
  }
}

void lw_table_clear(const lw_table *table, void *object) {
  memset(object, 0, table->size);
  for (size_t i = 0; i < table->count; i++)
    clear_field(&table->fields[i], object);
}

/* ---- errors ---- */

typedef struct reader {
  const lw_bind *bind;
  lw_error *error;
  char path[PATH_TEXT]; /* "carburetor, primary" */
} reader;

static lw_status place(reader *r, const lw_node *node, const char *key, lw_status status) {
  char field[PATH_TEXT + 80];
  snprintf(field, sizeof field, "%s%s%s", r->path, r->path[0] && key ? ", " : "", key ? key : "");
  lw_error_place(r->error, r->bind->file, node->line, field);
  return status;
}

static lw_status expected(reader *r, const lw_node *node, const lw_field *field, const char *what) {
  return place(r, node, field->key, lw_fail(r->error, LW_BAD_INPUT, "%s was expected here", what));
}

static lw_status no_memory(reader *r, const lw_node *node) {
  return place(r, node, NULL, lw_fail(r->error, LW_NO_MEMORY, "no memory for this document"));
}

static const char *article(const char *noun) {
  return strchr("aeio", noun[0]) ? "an" : "a";
}

static lw_status unknown_key(reader *r, const lw_table *table, const lw_node *node) {
  const char *keys[MOST_CANDIDATES] = {0};
  size_t count = table->count < MOST_CANDIDATES ? table->count : MOST_CANDIDATES;
  for (size_t i = 0; i < count; i++)
    keys[i] = table->fields[i].key;
  const char *near = lw_text_nearest(node->key, keys, count);
  lw_status status;
  if (near) {
    status = lw_fail(r->error, LW_BAD_INPUT, "'%.60s' is not a key of %s %s; did you mean '%s'?",
                     node->key, article(table->name), table->name, near);
  } else {
    char list[280] = "";
    for (size_t i = 0; i < count; i++)
      lw_text_append(list, sizeof list, i ? ", %s" : "%s", keys[i]);
    status = lw_fail(r->error, LW_BAD_INPUT, "'%.60s' is not a key of %s %s; the keys are %s%s",
                     node->key, article(table->name), table->name, list,
                     strlen(list) + 1 >= sizeof list ? " ..." : "");
  }
  lw_node at_key = *node;
  at_key.line = node->key_line;
  return place(r, &at_key, NULL, status);
}

/* ---- values ---- */

static bool ends_with(const char *text, const char *end) {
  size_t length = strlen(text), n = strlen(end);
  return length > n && lw_text_same(text + length - n, end);
}

/* Only an HC reading may be counted in another gas: elsewhere "200 ppm propane" would silently
   become 200 ppm hexane, twice as much carbon. */
static lw_status check_counted(reader *r, const lw_node *node, const lw_field *field) {
  bool gas = field->dim == LW_FRACTION || field->dim == LW_PPM;
  if (!gas || field->kind == LW_KIND_HC) return LW_OK;
  if (!ends_with(node->text, "propane") && !ends_with(node->text, "C1")) return LW_OK;
  return place(r, node, field->key,
               lw_fail(r->error, LW_BAD_INPUT,
                       "HC is counted as hexane here; write the figure as ppm hexane"));
}

static bool in_bounds(const lw_field *field, double x) {
  return !(x < field->lo) && !(x > field->hi); /* NaN bounds never refuse */
}

static lw_status out_of_bounds(reader *r, const lw_node *node, const lw_field *field, double x) {
  char value[64], wanted[100];
  lw_range bounds = {field->lo, NAN, field->hi};
  lw_quantity_text_both(value, sizeof value, field->dim, x);
  lw_range_text(wanted, sizeof wanted, field->dim, LW_SHOP, bounds);
  return place(
      r, node, field->key,
      lw_fail(r->error, LW_BAD_INPUT, "'%.40s' is %s; %s was expected", node->text, value, wanted));
}

static lw_status read_quantity(reader *r, const lw_field *field, const lw_node *node, double *out) {
  double x = NAN;
  if (node->kind != LW_NODE_SCALAR) return expected(r, node, field, "one value with its unit");
  lw_status status = lw_quantity_read(r->bind->units, field->dim, node->text, &x, r->error);
  if (status != LW_OK) return place(r, node, field->key, status);
  if (!in_bounds(field, x)) return out_of_bounds(r, node, field, x);
  status = check_counted(r, node, field);
  if (status == LW_OK) *out = x;
  return status;
}

static lw_status read_range(reader *r, const lw_field *field, const lw_node *node, lw_range *out) {
  lw_range range = lw_range_none;
  if (node->kind != LW_NODE_SCALAR)
    return expected(r, node, field, "a value or a span with its unit");
  lw_status status = lw_range_read(r->bind->units, field->dim, node->text, &range, r->error);
  if (status != LW_OK) return place(r, node, field->key, status);
  const double parts[] = {range.lo, range.hi};
  for (size_t i = 0; i < 2; i++) {
    if (lw_known(parts[i]) && !in_bounds(field, parts[i])) {
      return out_of_bounds(r, node, field, parts[i]);
    }
  }
  status = check_counted(r, node, field);
  if (status == LW_OK) *out = range;
  return status;
}

static lw_status read_text(reader *r, const lw_field *field, const lw_node *node,
                           const char **out) {
  if (node->kind != LW_NODE_SCALAR) return expected(r, node, field, "plain words");
  size_t bad = 0;
  if (!lw_text_utf8(node->text, strlen(node->text), &bad)) {
    return expected(r, node, field, "text in UTF-8");
  }
  *out = node->text[0] ? node->text : NULL;
  return LW_OK;
}

static lw_status read_whole(reader *r, const lw_field *field, const lw_node *node, int *out) {
  double x = 0;
  lw_status status = read_quantity(r, field, node, &x);
  if (status != LW_OK) return status;
  if (x < INT_MIN || x > INT_MAX) return expected(r, node, field, "a whole number");
  *out = (int)x;
  return LW_OK;
}

static lw_status read_choice(reader *r, const lw_field *field, const lw_node *node,
                             const char *const *words, int *out) {
  size_t count = 0;
  while (words[count])
    count++;
  if (node->kind == LW_NODE_SCALAR) {
    for (size_t i = 1; i < count; i++) {
      if (!lw_text_same(node->text, words[i])) continue;
      *out = (int)i;
      return LW_OK;
    }
  }
  char list[320] = "";
  for (size_t i = 1; i < count; i++) {
    lw_text_append(list, sizeof list, i == 1 ? "%s" : i + 1 == count ? " or %s" : ", %s", words[i]);
  }
  const char *near =
      node->kind == LW_NODE_SCALAR ? lw_text_nearest(node->text, words + 1, count - 1) : NULL;
  lw_status status = near ? lw_fail(r->error, LW_BAD_INPUT,
                                    "'%.60s' is not a choice; did you mean '%s'?", node->text, near)
                          : lw_fail(r->error, LW_BAD_INPUT, "'%.60s' is not a choice; use %s",
                                    node->kind == LW_NODE_SCALAR ? node->text : "a list", list);
  return place(r, node, field->key, status);
}

static lw_status read_answer(reader *r, const lw_field *field, const lw_node *node,
                             lw_answer *out) {
  static const char *const words[] = {"", "no", "yes", NULL};
  int choice = 0;
  lw_status status = read_choice(r, field, node, words, &choice);
  if (status == LW_OK) *out = (lw_answer)choice;
  return status;
}

static lw_status read_hc(reader *r, const lw_field *field, const lw_node *node, lw_hc *out) {
  lw_hc hc = {NAN, LW_HC_UNSAID};
  lw_status status = read_quantity(r, field, node, &hc.x);
  if (status != LW_OK) return status;
  for (size_t i = 1; hc_words[i]; i++) {
    if (ends_with(node->text, hc_words[i])) hc.basis = (lw_hc_basis)i;
  }
  *out = hc;
  return LW_OK;
}

/* ---- lists ---- */

static lw_status read_table(reader *r, const lw_table *table, const lw_node *node, void *object);

static lw_status read_list(reader *r, const lw_field *field, const lw_node *node, lw_list *out) {
  if (node->kind != LW_NODE_LIST) return expected(r, node, field, "a list ('- ...' lines)");
  char *items = lw_arena_array(r->bind->arena, node->count, field->table->size);
  if (!items) return no_memory(r, node);
  char outer[PATH_TEXT];
  snprintf(outer, sizeof outer, "%s", r->path);
  size_t i = 0;
  for (const lw_node *child = node->first; child; child = child->next, i++) {
    snprintf(r->path, sizeof r->path, "%.*s%s%s %zu", (int)(PATH_TEXT - 60), outer,
             outer[0] ? ", " : "", field->table->name, i + 1);
    void *item = items + i * field->table->size;
    lw_status status = read_table(r, field->table, child, item);
    if (status != LW_OK) return status;
  }
  snprintf(r->path, sizeof r->path, "%s", outer);
  *out = (lw_list){items, node->count};
  return LW_OK;
}

static lw_status read_quantities(reader *r, const lw_field *field, const lw_node *node,
                                 lw_values *out) {
  if (node->kind != LW_NODE_LIST) return expected(r, node, field, "a list such as [1 in, 2 in]");
  double *x = lw_arena_array(r->bind->arena, node->count, sizeof *x);
  if (!x) return no_memory(r, node);
  size_t i = 0;
  for (const lw_node *child = node->first; child; child = child->next, i++) {
    lw_status status = read_quantity(r, field, child, &x[i]);
    if (status != LW_OK) return status;
  }
  *out = (lw_values){x, node->count};
  return LW_OK;
}

static lw_status read_texts(reader *r, const lw_field *field, const lw_node *node, lw_texts *out) {
  bool one = node->kind == LW_NODE_SCALAR;
  if (node->kind == LW_NODE_MAP) return expected(r, node, field, "a list of plain words");
  size_t count = one ? 1 : node->count, i = 0;
  const char **text = lw_arena_array(r->bind->arena, count, sizeof *text);
  if (!text) return no_memory(r, node);
  for (const lw_node *child = one ? node : node->first; child && i < count; child = child->next) {
    lw_status status = read_text(r, field, child, &text[i]);
    if (status != LW_OK) return status;
    if (text[i]) i++;
  }
  *out = (lw_texts){text, i};
  return LW_OK;
}

static lw_status read_named(reader *r, const lw_field *field, const lw_node *node, lw_list *out) {
  if (node->kind != LW_NODE_MAP) {
    return expected(r, node, field, "names with values, such as {left: 2 turns}");
  }
  lw_named *named = lw_arena_array(r->bind->arena, node->count, sizeof *named);
  if (!named) return no_memory(r, node);
  size_t i = 0;
  for (const lw_node *child = node->first; child; child = child->next, i++) {
    named[i] = (lw_named){.name = child->key, .x = NAN, .line = child->line};
    lw_status status = read_quantity(r, field, child, &named[i].x);
    if (status != LW_OK) return status;
  }
  *out = (lw_list){named, node->count};
  return LW_OK;
}

/* ---- tables ---- */

static lw_status read_map(reader *r, const lw_field *field, const lw_node *node, void *object) {
  char outer[PATH_TEXT];
  snprintf(outer, sizeof outer, "%s", r->path);
  snprintf(r->path, sizeof r->path, "%.*s%s%s", (int)(PATH_TEXT - 60), outer, outer[0] ? ", " : "",
           field->key);
  lw_status status = read_table(r, field->table, node, object);
  if (status == LW_OK) snprintf(r->path, sizeof r->path, "%s", outer);
  return status;
}

static lw_status read_field(reader *r, const lw_field *field, const lw_node *node, void *object) {
  void *at = member(object, field);
  switch (field->kind) {
  case LW_KIND_TEXT: return read_text(r, field, node, at);
  case LW_KIND_QUANTITY: return read_quantity(r, field, node, at);
  case LW_KIND_RANGE: return read_range(r, field, node, at);
  case LW_KIND_WHOLE: return read_whole(r, field, node, at);
  case LW_KIND_CHOICE: return read_choice(r, field, node, field->choices, at);
  case LW_KIND_ANSWER: return read_answer(r, field, node, at);
  case LW_KIND_HC: return read_hc(r, field, node, at);
  case LW_KIND_MAP: return read_map(r, field, node, at);
  case LW_KIND_LIST: return read_list(r, field, node, at);
  case LW_KIND_QUANTITIES: return read_quantities(r, field, node, at);
  case LW_KIND_TEXTS: return read_texts(r, field, node, at);
  case LW_KIND_NAMED: return read_named(r, field, node, at);
  }
  return LW_OK;
}

static const lw_field *find_field(const lw_table *table, const char *key) {
  for (size_t i = 0; i < table->count; i++) {
    if (strcmp(table->fields[i].key, key) == 0) return &table->fields[i];
  }
  return NULL;
}

/* Required keys are texts: given means that words stand there, not only the key or a pair of
   quotes. */
static lw_status check_required(reader *r, const lw_table *table, const lw_node *node,
                                const void *object) {
  for (size_t i = 0; i < table->count; i++) {
    const lw_field *field = &table->fields[i];
    if (!field->required || *(const char *const *)member_const(object, field)) continue;
    return place(
        r, node, NULL,
        lw_fail(r->error, LW_BAD_INPUT, "the key '%s' is missing: %s", field->key, field->what));
  }
  return LW_OK;
}

/* An empty value ("key:" and nothing) says "not known": the field stays cleared. */
static bool is_empty(const lw_node *node) {
  return node->kind == LW_NODE_SCALAR && !node->text[0] && !node->quoted;
}

static lw_status read_table(reader *r, const lw_table *table, const lw_node *node, void *object) {
  lw_table_clear(table, object);
  if (table->line_at != SIZE_MAX) *(int *)(void *)((char *)object + table->line_at) = node->line;
  if (node->kind == LW_NODE_SCALAR && table->shorthand) {
    lw_status status = read_field(r, &table->fields[0], node, object);
    return status == LW_OK ? check_required(r, table, node, object) : status;
  }
  if (node->kind != LW_NODE_MAP) {
    return place(
        r, node, NULL,
        lw_fail(r->error, LW_BAD_INPUT, "keys with values were expected for the %s", table->name));
  }
  for (const lw_node *child = node->first; child; child = child->next) {
    const lw_field *field = find_field(table, child->key);
    if (!field) return unknown_key(r, table, child);
    if (is_empty(child)) continue;
    lw_status status = read_field(r, field, child, object);
    if (status != LW_OK) return status;
  }
  return check_required(r, table, node, object);
}

lw_status lw_table_read(const lw_bind *bind, const lw_table *table, const lw_node *node,
                        void *object, lw_error *error) {
  reader r = {.bind = bind, .error = error};
  return read_table(&r, table, node, object);
}

/* ---- the key reference ---- */

static const char *kind_text(const lw_field *field) {
  switch (field->kind) {
  case LW_KIND_TEXT: return "words";
  case LW_KIND_QUANTITY: return "value";
  case LW_KIND_RANGE: return "value or span";
  case LW_KIND_WHOLE: return "whole number";
  case LW_KIND_CHOICE: return "one of";
  case LW_KIND_ANSWER: return "yes or no";
  case LW_KIND_HC: return "value";
  case LW_KIND_MAP: return "keys below";
  case LW_KIND_LIST: return "list, each with the keys below";
  case LW_KIND_QUANTITIES: return "list of values";
  case LW_KIND_TEXTS: return "words, or a list of them";
  case LW_KIND_NAMED: return "names with values";
  }
  return "";
}

static void reference_line(const lw_field *field, int depth, lw_sink sink, void *to) {
  char line[700];
  snprintf(line, sizeof line, "%*s- `%s` (%s", depth * 2, "", field->key, kind_text(field));
  if (field->kind == LW_KIND_CHOICE) {
    for (size_t i = 1; field->choices[i]; i++) {
      lw_text_append(line, sizeof line, "%s %s", i > 1 ? "," : "", field->choices[i]);
    }
  }
  bool has_unit = field->kind == LW_KIND_QUANTITY || field->kind == LW_KIND_RANGE ||
                  field->kind == LW_KIND_QUANTITIES || field->kind == LW_KIND_NAMED;
  if (has_unit) lw_text_append(line, sizeof line, ": %s", lw_dim_accepts(field->dim));
  if (field->kind == LW_KIND_HC)
    lw_text_append(line, sizeof line, ": ppm or %%, of hexane unless said");
  lw_text_append(line, sizeof line, "%s): %s\n", field->required ? "; required" : "", field->what);
  sink(to, line);
}

static void reference(const lw_table *table, int depth, lw_sink sink, void *to) {
  for (size_t i = 0; i < table->count; i++) {
    reference_line(&table->fields[i], depth, sink, to);
    if (table->fields[i].table) reference(table->fields[i].table, depth + 1, sink, to);
  }
}

void lw_table_reference(const lw_table *table, lw_sink sink, void *to) {
  reference(table, 0, sink, to);
}

/* ---- walking a filled struct ---- */

typedef struct walker {
  lw_visit visit;
  void *to;
} walker;

static void walk(const walker *w, const lw_table *table, const void *object, const char *path);

static void show_values(const lw_field *field, lw_unit_system system, const double *x, size_t count,
                        size_t step, char *out, size_t size) {
  out[0] = '\0';
  for (size_t i = 0; i < count; i++) {
    char one[64];
    double value = *(const double *)(const void *)((const char *)x + i * step);
    lw_quantity_text(one, sizeof one, field->dim, system, value, NAN);
    lw_text_append(out, size, i ? ", %s" : "%s", one);
  }
}

/* The texts of a plain field in both systems; false when it is not given. */
static bool show(const lw_field *field, const void *at, char *shop, char *metric, size_t size) {
  char *const out[2] = {shop, metric};
  switch (field->kind) {
  case LW_KIND_QUANTITY:
    if (!lw_known(*(const double *)at)) return false;
    for (int s = 0; s < 2; s++) {
      lw_quantity_text(out[s], size, field->dim, (lw_unit_system)s, *(const double *)at, NAN);
    }
    return true;
  case LW_KIND_RANGE:
    if (!lw_range_known(*(const lw_range *)at)) return false;
    for (int s = 0; s < 2; s++) {
      lw_range_text(out[s], size, field->dim, (lw_unit_system)s, *(const lw_range *)at);
    }
    return true;
  case LW_KIND_WHOLE:
    for (int s = 0; s < 2; s++)
      snprintf(out[s], size, "%d", *(const int *)at);
    return *(const int *)at != 0;
  case LW_KIND_CHOICE:
    for (int s = 0; s < 2; s++)
      snprintf(out[s], size, "%s", field->choices[*(const int *)at]);
    return *(const int *)at != 0;
  case LW_KIND_ANSWER:
    for (int s = 0; s < 2; s++) {
      snprintf(out[s], size, "%s", *(const lw_answer *)at == LW_YES ? "yes" : "no");
    }
    return *(const lw_answer *)at != LW_UNSAID;
  case LW_KIND_HC: {
    const lw_hc *hc = at;
    if (!lw_known(hc->x)) return false;
    for (int s = 0; s < 2; s++) {
      snprintf(out[s], size, "%.0f ppm %s", hc->x * 1e6, hc_words[hc->basis ? hc->basis : 1]);
    }
    return true;
  }
  case LW_KIND_QUANTITIES: {
    const lw_values *v = at;
    for (int s = 0; s < 2; s++) {
      show_values(field, (lw_unit_system)s, v->x, v->count, sizeof *v->x, out[s], size);
    }
    return v->count > 0;
  }
  default: return false;
  }
}

static void walk_texts(const walker *w, const lw_field *field, const lw_texts *texts,
                       const char *path) {
  for (size_t i = 0; i < texts->count; i++) {
    char item[PATH_TEXT];
    snprintf(item, sizeof item, "%.120s %zu", path, i + 1);
    w->visit(w->to, texts->count > 1 ? item : path, field, texts->text[i], texts->text[i]);
  }
}

static void walk_named(const walker *w, const lw_field *field, const lw_list *list,
                       const char *path) {
  const lw_named *named = list->items;
  for (size_t i = 0; i < list->count; i++) {
    char item[PATH_TEXT], shop[VALUE_TEXT], metric[VALUE_TEXT];
    snprintf(item, sizeof item, "%.80s, %.60s", path, named[i].name);
    lw_quantity_text(shop, sizeof shop, field->dim, LW_SHOP, named[i].x, NAN);
    lw_quantity_text(metric, sizeof metric, field->dim, LW_METRIC, named[i].x, NAN);
    w->visit(w->to, item, field, shop, metric);
  }
}

static void walk_field(const walker *w, const lw_field *field, const void *at, const char *path) {
  char shop[VALUE_TEXT], metric[VALUE_TEXT];
  if (field->kind == LW_KIND_MAP) {
    walk(w, field->table, at, path);
  } else if (field->kind == LW_KIND_LIST) {
    const lw_list *list = at;
    for (size_t i = 0; i < list->count; i++) {
      char item[PATH_TEXT];
      snprintf(item, sizeof item, "%.120s %zu", path, i + 1);
      walk(w, field->table, (const char *)list->items + i * field->table->size, item);
    }
  } else if (field->kind == LW_KIND_TEXT) {
    const char *text = *(const char *const *)at;
    if (text) w->visit(w->to, path, field, text, text);
  } else if (field->kind == LW_KIND_TEXTS) {
    walk_texts(w, field, at, path);
  } else if (field->kind == LW_KIND_NAMED) {
    walk_named(w, field, at, path);
  } else if (show(field, at, shop, metric, VALUE_TEXT)) {
    w->visit(w->to, path, field, shop, metric);
  }
}

static void walk(const walker *w, const lw_table *table, const void *object, const char *path) {
  for (size_t i = 0; i < table->count; i++) {
    const lw_field *field = &table->fields[i];
    char inner[PATH_TEXT];
    snprintf(inner, sizeof inner, "%.100s%s%s", path, path[0] ? ", " : "", field->key);
    walk_field(w, field, member_const(object, field), inner);
  }
}

void lw_table_walk(const lw_table *table, const void *object, lw_visit visit, void *to) {
  walker w = {visit, to};
  walk(&w, table, object, "");
}
