/* json_causes.c - weighed causes as JSON (docs/json.md). What fails makes the whole answer NULL. */
#include "json.h"

#include "leanward/causes.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- building ---- */

/* value is taken over, also when it cannot be put. */
static void put(json_t **object, const char *key, json_t *value) {
  if (json_object_set_new(*object, key, value) == 0) return;
  json_decref(*object);
  *object = NULL;
}

static void add(json_t **array, json_t *value) {
  if (json_array_append_new(*array, value) == 0) return;
  json_decref(*array);
  *array = NULL;
}

static json_t *text(const char *words) {
  return words ? lw_json_text(words, strlen(words)) : json_null();
}

static json_t *number(double x) {
  return isfinite(x) ? json_real(x) : json_null();
}

/* "LW_CAUSE_VACUUM_LEAK" is vacuum_leak. */
static json_t *cause_word(lw_cause_id id) {
  static const char *const ids[] = {
#define ID_OF(id, name) #id,
      LW_CAUSE_LIST(ID_OF)
#undef ID_OF
  };
  char word[40] = "";
  if (id >= LW_CAUSES) return json_null();
  snprintf(word, sizeof word, "%s", ids[id] + strlen("LW_CAUSE_"));
  for (char *c = word; *c; c++)
    *c = (char)tolower((unsigned char)*c);
  return json_string(word);
}

/* ---- parts ---- */

static json_t *evidence(const lw_evidence *e) {
  json_t *json = json_object();
  put(&json, "reading", text(e->reading));
  put(&json, "read", text(e->read));
  put(&json, "sound", text(e->healthy));
  put(&json, "with", text(e->with));
  put(&json, "tells", number(e->tells));
  return json;
}

static json_t *cause(const lw_cause *c) {
  json_t *json = json_object(), *edits = json_array(), *list = json_array();
  for (size_t i = 0; i < c->edit_count; i++)
    add(&edits, text(c->edits[i]));
  for (size_t i = 0; i < c->evidence_count; i++)
    add(&list, evidence(&c->evidence[i]));
  put(&json, "cause", cause_word(c->id));
  put(&json, "second", c->second ? cause_word(c->second) : json_null());
  put(&json, "name", text(c->name));
  put(&json, "probability", number(c->probability));
  put(&json, "size", number(c->size));
  put(&json, "remedy", text(lw_cause_remedy(c->id)));
  put(&json, "what_ifs", edits);
  put(&json, "evidence", list);
  put(&json, "together", json_boolean(c->together));
  return json;
}

static json_t *next_test(const lw_next_test *t) {
  json_t *json = json_object(), *finds = json_array();
  for (size_t i = 0; i < t->find_count; i++)
    add(&finds, cause_word(t->finds[i].id));
  put(&json, "test", text(t->name));
  put(&json, "how", text(t->how));
  put(&json, "minutes", number(t->minutes));
  put(&json, "gain", number(t->gain));
  put(&json, "outcomes", text(t->outcomes));
  put(&json, "finds", finds);
  return json;
}

static json_t *not_shown(const lw_diagnosis *g) {
  json_t *json = json_array();
  for (int i = 0; i < LW_CAUSES; i++) {
    if (g->unseen[i]) add(&json, cause_word((lw_cause_id)i));
  }
  return json;
}

static json_t *not_shown_names(const lw_diagnosis *g) {
  json_t *json = json_array();
  for (int i = 0; i < LW_CAUSES; i++) {
    if (g->unseen[i]) add(&json, text(lw_cause_text((lw_cause_id)i)));
  }
  return json;
}

static json_t *not_shown_by(const lw_diagnosis *g) {
  json_t *json = json_array();
  for (int i = 0; i < LW_CAUSES; i++) {
    if (g->unseen[i]) add(&json, text(lw_cause_shown_by((lw_cause_id)i)));
  }
  return json;
}

static json_t *weighed(const lw_told *t) {
  json_t *json = json_array();
  for (size_t i = 0; t && i < t->count; i++)
    add(&json, text(t->sights[i].label));
  for (size_t i = 0; t && i < t->snap_count; i++)
    add(&json, text(t->snaps[i].label));
  return json;
}

/* ---- the whole ---- */

json_t *lw_causes_json(const lw_diagnosis *g) {
  json_t *json = json_object(), *ranked = json_array(), *tests = json_array(), *left = json_array();
  for (size_t i = 0; i < g->cause_count; i++)
    add(&ranked, cause(&g->causes[i]));
  for (size_t i = 0; i < g->test_count; i++)
    add(&tests, next_test(&g->tests[i]));
  for (size_t i = 0; g->told && i < g->told->left_out_count; i++)
    add(&left, text(g->told->left_out[i]));
  put(&json, "summary", text(g->summary));
  put(&json, "found", json_boolean(g->found));
  put(&json, "tie", json_boolean(g->tie));
  put(&json, "wrong_unit", text(g->unit));
  put(&json, "ranked", ranked);
  put(&json, "next_tests", tests);
  put(&json, "not_shown", not_shown(g));
  put(&json, "not_shown_names", not_shown_names(g));
  put(&json, "not_shown_by", not_shown_by(g));
  put(&json, "weighed", weighed(g->told));
  put(&json, "left_out", left);
  return json;
}
