/* print_brief.c - a brief on the terminal: two units, or a model year. */
#include "print_brief.h"

#include <math.h>
#include <string.h>

/* ---- lines ---- */

/* "  now    fuel-side screw behind a sealed limiter (cards/x.yaml:61)" */
static void labeled(const char *label, const char *text) {
  printf("    %-5s ", label);
  cli_wrapped(stdout, 10, 10, text);
}

static void figure(const char *label, const lw_brief_figure *f) {
  char text[1400];
  snprintf(text, sizeof text, "%s", f->text ? f->text : "not given");
  if (f->line) lw_text_append(text, sizeof text, " (line %d)", f->line);
  labeled(label, text);
}

static void item(const lw_brief_item *i) {
  printf("  %s\n", i->what);
  figure("was", &i->before);
  figure("now", &i->after);
  if (i->act) labeled("do", i->act);
  if (i->why && !i->act) labeled("why", i->why);
  if (i->size) labeled("twin", i->size);
}

static void heading(const char *text) {
  putchar('\n');
  cli_styled(stdout, CLI_STRONG, text);
  putchar('\n');
}

static void bullet(const char *text) {
  fputs("  - ", stdout);
  cli_wrapped(stdout, 4, 4, text);
}

static size_t of_group(const lw_brief *b, int group, bool with_common) {
  size_t count = 0;
  for (size_t i = 0; i < b->item_count; i++)
    count += (int)b->items[i].group == group && (with_common || !b->items[i].common);
  return count;
}

static void groups(const lw_brief *b, bool with_common) {
  for (int g = 0; g < LW_BRIEF_GROUPS; g++) {
    if (!of_group(b, g, with_common)) continue;
    heading(lw_brief_group_text((lw_brief_group)g));
    for (size_t i = 0; i < b->item_count; i++) {
      if ((int)b->items[i].group == g && (with_common || !b->items[i].common)) item(&b->items[i]);
    }
  }
}

/* ---- the twin ---- */

static void number(int width, int decimals, double x) {
  if (lw_known(x)) {
    printf("%*.*f", width, decimals, x + 0.0);
  } else {
    printf("%*s", width, "--");
  }
}

static void reach_row(const char *unit, const lw_brief_reach *r) {
  printf("  %-14.14s", unit);
  if (!r->run) {
    printf(" %s\n", r->why);
    return;
  }
  const lw_running *set = &r->set.run;
  bool runs = r->set.solved;
  number(7, 2, r->turns);
  number(8, 0, runs ? lw_dim_shown(LW_SPIN, LW_SHOP, set->setting.speed) : LW_NONE);
  number(7, 1, runs ? lw_dim_shown(LW_PRESSURE, LW_SHOP, set->vacuum) : LW_NONE);
  number(7, 1, runs ? 100 * set->burned.sampled.dry.co : LW_NONE);
  number(7, 0, runs ? 1e7 * round(set->burned.sampled.dry.hc / 6 * 1e5) / 1e6 : LW_NONE);
  number(9, 1, 100 * r->co_lo);
  number(6, 1, 100 * r->co_hi);
  number(9, 0, 10 * round(lw_dim_shown(LW_SPIN, LW_SHOP, r->speed_lo) / 10));
  number(6, 0, 10 * round(lw_dim_shown(LW_SPIN, LW_SHOP, r->speed_hi) / 10));
  puts(r->dies ? "  dies lean" : "");
}

static void reach(const lw_brief *b) {
  if (!b->reach[0].run && !b->reach[1].run) return;
  heading("What the screws reach (twin)");
  printf("  %-14s%7s%8s%7s%7s%7s%15s%15s\n", "", "turns", "rpm", "inHg", "CO %", "HC ppm",
         "CO % from to", "rpm from to");
  reach_row(b->before.card->unit, &b->reach[0]);
  reach_row(b->after.card->unit, &b->reach[1]);
}

static void mixture(const lw_brief *b) {
  if (!b->road) return;
  heading("The mixture over the range, a level road (twin)");
  for (int i = 0; i < LW_PLACES; i++) {
    if (b->road->effects[i].words) bullet(b->road->effects[i].words);
  }
}

static void list(const char *head, const char *const *text, size_t count) {
  if (!count) return;
  heading(head);
  for (size_t i = 0; i < count; i++)
    bullet(text[i]);
}

static void whole(const lw_brief *b, bool with_common) {
  cli_styled(stdout, CLI_STRONG, b->title);
  putchar('\n');
  cli_styled(stdout, b->interchanges ? CLI_PLAIN : CLI_BAD, b->verdict);
  putchar('\n');
  if (b->before.card->file && b->after.card->file)
    printf("was: %s\nnow: %s\n", b->before.card->file, b->after.card->file);
  groups(b, with_common);
  reach(b);
  mixture(b);
  list(b->interchanges ? "Interchange" : "Does not interchange: the evidence", b->evidence,
       b->evidence_count);
  list("Not said", b->gaps, b->gap_count);
}

static void foot(void) {
  putchar('\n');
  cli_wrapped(stdout, 0, 0,
              "was, now: the cards' figures with their lines. twin: computed; gases dry, HC as "
              "hexane, sea level, warm. Local law and the emission label come first; sealed parts "
              "are never adjusted.");
}

void print_brief(const lw_brief *brief) {
  whole(brief, true);
  foot();
}

/* ---- a model year ---- */

static void contents(const lw_brief_year *y) {
  heading("Contents");
  puts("  1 What applies to all");
  for (size_t k = 0; k < y->unit_count; k++)
    printf("  %zu %s\n", k + 2, y->units[k]->title);
  printf("  %zu Procedures that changed\n", y->unit_count + 2);
}

static void cards(const char *head, const lw_card *const *card, size_t count) {
  if (!count) return;
  heading(head);
  for (size_t i = 0; i < count; i++) {
    char text[400];
    bullet(lw_brief_card_text(card[i], text, sizeof text));
  }
}

static void common(const lw_brief_year *y) {
  heading("1 What applies to all");
  if (!y->common_count) puts("  Nothing: each unit changed in its own way.");
  for (size_t c = 0; c < y->common_count; c++) {
    const lw_brief_shared *s = &y->common[c];
    char units[600], text[1400];
    lw_brief_units_text(y, s, units, sizeof units);
    printf("  %s (%s)\n", s->item->what, units);
    snprintf(text, sizeof text, "%s, now %s",
             s->item->before.text ? s->item->before.text : "not given",
             s->item->after.text ? s->item->after.text : "not given");
    labeled("was", text);
    if (s->item->act) labeled("do", s->item->act);
  }
}

static void procedures(const lw_brief_year *y) {
  char head[60];
  snprintf(head, sizeof head, "%zu Procedures that changed", y->unit_count + 2);
  heading(head);
  if (!y->procedure_count) puts("  None.");
  for (size_t c = 0; c < y->procedure_count; c++) {
    char units[600], text[2000];
    lw_brief_units_text(y, &y->procedures[c], units, sizeof units);
    snprintf(text, sizeof text, "%s: %s", units, y->procedures[c].item->act);
    bullet(text);
  }
}

void print_brief_year(const lw_brief_year *y) {
  char head[120];
  snprintf(head, sizeof head, "Model year %d against %d: %zu units", y->after, y->before,
           y->unit_count);
  cli_styled(stdout, CLI_STRONG, head);
  putchar('\n');
  contents(y);
  cards("Dropped", y->dropped, y->dropped_count);
  cards("Added", y->added, y->added_count);
  common(y);
  for (size_t k = 0; k < y->unit_count; k++) {
    printf("\n%zu ", k + 2);
    whole(y->units[k], false);
    if (y->siblings[k])
      list("The unit of the other transmission (twin)", &y->siblings[k]->words, 1);
  }
  procedures(y);
  foot();
}
