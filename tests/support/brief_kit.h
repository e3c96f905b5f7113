/* brief_kit.h - cards with their documents, and briefs of them. For tests only. */
#ifndef LW_TESTS_BRIEF_KIT_H
#define LW_TESTS_BRIEF_KIT_H

#include "car_kit.h"

#include "leanward/brief.h"
#include "leanward/brief_page.h"

static inline lw_brief_side brief_text(shop *s, const char *file, const char *text) {
  lw_brief_side side = {0};
  lw_card *card = NULL;
  lw_bind bind = {s->arena, s->units, file};
  shop_must(s, lw_card_read(&bind, text, strlen(text), &card, &s->error), file);
  shop_must(s, lw_doc_parse(s->arena, file, text, strlen(text), &side.root, &s->error), file);
  side.card = card;
  return side;
}

/* name: "corran-220-six-manual", "1969/corran-220-six-manual" */
static inline lw_brief_side brief_side(shop *s, const char *name) {
  char path[600];
  const char *text = NULL, *root = getenv("SOURCE_ROOT");
  size_t length = 0;
  snprintf(path, sizeof path, "%s/cards/%s.yaml", root ? root : LW_SOURCE_ROOT, name);
  shop_must(s, lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &text, &length, &s->error), name);
  return brief_text(s, lw_arena_print(s->arena, "%s.yaml", name), text);
}

static inline lw_brief *brief_of(shop *s, lw_brief_side a, lw_brief_side b) {
  lw_brief *brief = NULL;
  shop_must(s, lw_brief_pair(s->arena, s->units, a, b, &brief, &s->error), "brief");
  return brief;
}

/* The card of 1968 against that of 1969. */
static inline lw_brief *brief_years_of(shop *s, const char *name) {
  char next[200];
  snprintf(next, sizeof next, "1969/%s", name);
  return brief_of(s, brief_side(s, name), brief_side(s, next));
}

static inline const lw_brief_item *brief_item(const lw_brief *b, const char *what) {
  for (size_t i = 0; i < b->item_count; i++) {
    if (strcmp(b->items[i].what, what) == 0) return &b->items[i];
  }
  return NULL;
}

static inline double set_co(const lw_brief_reach *r) { /* % */
  assert_true(r->set.solved);
  return run_co(&r->set.run);
}

#endif
