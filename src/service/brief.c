/* brief.c - lw_brief_pair: two cards held against each other, from end to end. */
#include "brief_internal.h"

#include <string.h>

static const char *year_text(desk *d, const lw_card *card) {
  return card->year ? say(d, " (%d)", card->year) : "";
}

static const char *title_of(desk *d, const lw_card *a, const lw_card *b) {
  const char *engine = b->engine_name ? b->engine_name : b->engine.name;
  const char *gear = b->transmission ? lw_transmission_text(b->transmission) : NULL;
  bool same = a->transmission == b->transmission;
  return say(d, "%s%s to %s%s%s%s%s%s", a->unit, year_text(d, a), b->unit, year_text(d, b),
             engine ? ": " : "", engine ? engine : "", gear && same ? ", " : "",
             gear && same ? gear : "");
}

static void finish(brief_desk *b) {
  lw_brief *brief = b->brief;
  brief->items = b->items;
  brief->item_count = b->count;
  brief->evidence = b->evidence.text;
  brief->evidence_count = b->evidence.count;
  brief->gaps = b->gaps.text;
  brief->gap_count = b->gaps.count;
}

lw_status lw_brief_pair(lw_arena *arena, lw_units *units, lw_brief_side before, lw_brief_side after,
                        lw_brief **out, lw_error *error) {
  desk d = {.arena = arena, .error = error};
  lw_brief *brief = lw_arena_alloc(arena, sizeof *brief);
  brief_desk *b = lw_arena_alloc(arena, sizeof *b);
  lw_brief_item *items = lw_arena_array(arena, BRIEF_ITEMS_MOST, sizeof *items);
  if (!brief || !b || !items) return lw_fail(error, LW_NO_MEMORY, "no memory for this brief");
  *brief = (lw_brief){.before = before, .after = after};
  *b = (brief_desk){.d = &d, .units = units, .brief = brief, .items = items};
  brief->title = title_of(&d, before.card, after.card);
  brief_find(b);
  brief_run(b);
  brief_say(b);
  finish(b);
  if (d.no_memory) return lw_fail(error, LW_NO_MEMORY, "no memory for this brief");
  *out = brief;
  return LW_OK;
}
