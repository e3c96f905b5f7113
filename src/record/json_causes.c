/* json_causes.c - weighed causes as JSON (docs/json.md). */
#include "json.h"

#include "leanward/causes.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

/* "LW_CAUSE_VACUUM_LEAK" as vacuum_leak. */
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

static json_t *text(const char *words) {
  return words ? lw_json_text(words, strlen(words)) : json_null();
}

static json_t *number(double x) {
  return isfinite(x) ? json_real(x) : json_null();
}

static json_t *evidence_json(const lw_cause *c) {
  json_t *all = json_array();
  for (size_t i = 0; i < c->evidence_count; i++) {
    const lw_evidence *e = &c->evidence[i];
    json_array_append_new(all, json_pack("{s:o, s:o, s:o, s:o, s:o}", "reading", text(e->reading),
                                         "read", text(e->read), "sound", text(e->healthy), "with",
                                         text(e->with), "tells", number(e->tells)));
  }
  return all;
}

static json_t *cause_json(const lw_cause *c) {
  json_t *edits = json_array();
  for (size_t i = 0; i < c->edit_count; i++)
    json_array_append_new(edits, text(c->edits[i]));
  return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "cause", cause_word(c->id), "second",
                   c->second ? cause_word(c->second) : json_null(), "name", text(c->name),
                   "probability", number(c->probability), "size", number(c->size), "remedy",
                   text(lw_cause_remedy(c->id)), "what_if", edits, "evidence", evidence_json(c));
}

static json_t *test_json(const lw_next_test *t) {
  json_t *finds = json_array();
  for (size_t i = 0; i < t->find_count; i++)
    json_array_append_new(finds, cause_word(t->finds[i].id));
  return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", "test", text(t->name), "how", text(t->how),
                   "minutes", number(t->minutes), "gain", number(t->gain), "outcomes",
                   text(t->outcomes), "finds", finds);
}

static json_t *texts(const char *const *list, size_t count) {
  json_t *all = json_array();
  for (size_t i = 0; i < count; i++)
    json_array_append_new(all, text(list[i]));
  return all;
}

json_t *lw_causes_json(const lw_diagnosis *g) {
  json_t *causes = json_array(), *tests = json_array(), *unseen = json_array(),
         *weighed = json_array();
  for (size_t i = 0; i < g->cause_count; i++)
    json_array_append_new(causes, cause_json(&g->causes[i]));
  for (size_t i = 0; i < g->test_count; i++)
    json_array_append_new(tests, test_json(&g->tests[i]));
  for (int i = 0; i < LW_CAUSES; i++) {
    if (g->unseen[i]) json_array_append_new(unseen, cause_word((lw_cause_id)i));
  }
  for (size_t i = 0; g->told && i < g->told->count; i++)
    json_array_append_new(weighed, text(g->told->sights[i].label));
  return json_pack("{s:o, s:b, s:b, s:o, s:o, s:o, s:o, s:o, s:o}", "summary", text(g->summary),
                   "found", (int)g->found, "tie", (int)g->tie, "wrong_unit", text(g->unit), "ranked",
                   causes, "next_tests", tests, "not_shown", unseen, "weighed", weighed, "left_out",
                   texts(g->told ? g->told->left_out : NULL, g->told ? g->told->left_out_count : 0));
}
