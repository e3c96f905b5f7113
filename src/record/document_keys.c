/* document_keys.c - the keys of a file by their table, as a form needs them. */
#include "leanward/document.h"

static const char *kind_word(lw_kind kind) {
  switch (kind) {
  case LW_KIND_TEXT: return "words";
  case LW_KIND_QUANTITY: return "value";
  case LW_KIND_RANGE: return "span";
  case LW_KIND_WHOLE: return "whole";
  case LW_KIND_CHOICE: return "choice";
  case LW_KIND_ANSWER: return "answer";
  case LW_KIND_HC: return "hc";
  case LW_KIND_MAP: return "map";
  case LW_KIND_LIST: return "list";
  case LW_KIND_QUANTITIES: return "values";
  case LW_KIND_TEXTS: return "texts";
  case LW_KIND_NAMED: return "named";
  }
  return "";
}

static bool has_unit(lw_kind kind) {
  return kind == LW_KIND_QUANTITY || kind == LW_KIND_RANGE || kind == LW_KIND_QUANTITIES ||
         kind == LW_KIND_NAMED;
}

/* Null where the value has none; accepts in words. */
static json_t *unit_json(const lw_field *f) {
  if (f->kind == LW_KIND_HC)
    return json_pack("{s:s, s:s, s:s}", "shop", "ppm", "metric", "ppm", "accepts",
                     "ppm or %, of hexane unless said");
  if (!has_unit(f->kind)) return json_null();
  return json_pack("{s:s, s:s, s:s}", "shop", lw_dim_unit(f->dim, LW_SHOP), "metric",
                   lw_dim_unit(f->dim, LW_METRIC), "accepts", lw_dim_accepts(f->dim));
}

static json_t *choices_json(const lw_field *f) {
  json_t *list = json_array();
  if (f->kind == LW_KIND_ANSWER) {
    json_array_append_new(list, json_string("yes"));
    json_array_append_new(list, json_string("no"));
  }
  for (size_t i = 1; f->kind == LW_KIND_CHOICE && f->choices[i]; i++)
    json_array_append_new(list, json_string(f->choices[i]));
  return list;
}

json_t *lw_table_json(const lw_table *table) {
  json_t *list = json_array();
  for (size_t i = 0; list && i < table->count; i++) {
    const lw_field *f = &table->fields[i];
    json_t *keys = f->table ? lw_table_json(f->table) : json_array();
    json_t *one = json_pack("{s:s, s:s, s:s, s:b, s:o, s:o, s:s, s:o}", "key", f->key, "kind",
                            kind_word(f->kind), "what", f->what, "required", (int)f->required,
                            "unit", unit_json(f), "choices", choices_json(f), "one",
                            f->table ? f->table->name : "", "keys", keys);
    if (one && json_array_append_new(list, one) == 0) continue;
    json_decref(list);
    return NULL;
  }
  return list;
}
