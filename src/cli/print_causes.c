/* print_causes.c - weighed causes on a terminal: in full, and the three lines a job shows. */
#include "print_work.h"

#include "leanward/causes.h"

#include <string.h>

enum { EVIDENCE_SHOWN = 4, SHORT_CAUSES = 3 };
static const double evidence_from = 0.04, least_printed = 0.02;

static void line(int indent, const char *text) {
  printf("%*s", indent, "");
  cli_wrapped(stdout, indent, indent, text);
}

static void print_summary(const lw_diagnosis *g) {
  if (g->unit) {
    fputs("  => ", stdout);
    cli_styled(stdout, CLI_BAD, "wrong unit");
    fputs(": ", stdout);
    cli_wrapped(stdout, 17, 5, g->unit);
  }
  fputs("  => ", stdout);
  cli_wrapped(stdout, 5, 5, g->summary);
}

static void print_evidence(const lw_cause *c) {
  size_t shown = c->evidence_count < EVIDENCE_SHOWN ? c->evidence_count : EVIDENCE_SHOWN;
  if (!shown) return;
  if (c->together)
    line(
        8,
        "no reading alone speaks for it: they do together, or how often it is met does. It differs "
        "most from a sound car in:");
  printf("        %-36s %-10s %-19s %s\n", c->together ? "reading" : "what tells", "read",
         "a sound car", "with this");
  for (size_t i = 0; i < shown; i++) {
    const lw_evidence *e = &c->evidence[i];
    int columns = (int)lw_text_columns(e->reading);
    printf("        %s", e->reading);
    if (columns > 36) printf("\n%8s", ""), columns = 0;
    printf("%*s %-10s %-19s %s\n", 36 - columns, "", e->read, e->healthy, e->with);
  }
}

static void print_cause(const lw_cause *c, bool evidence) {
  char text[400];
  snprintf(text, sizeof text, "%3.0f %%  ", 100 * c->probability);
  fputs(text, stdout);
  cli_styled(stdout, evidence ? CLI_STRONG : CLI_PLAIN, c->name);
  putchar('\n');
  if (c->id != LW_CAUSE_NONE) line(8, lw_cause_remedy(c->id));
  if (evidence) print_evidence(c);
}

static void print_test(const lw_next_test *t, size_t number) {
  char text[600];
  snprintf(text, sizeof text, "%s (%.0f min): %s", t->name, t->minutes, t->how);
  printf("%3zu. ", number);
  cli_wrapped(stdout, 5, 5, text);
  line(5, t->outcomes);
}

static void print_weighed(const lw_told *t) {
  char text[600] = "";
  for (size_t i = 0; i < t->count; i++)
    lw_text_append(text, sizeof text, "%s%s", i ? "; " : "", t->sights[i].label);
  for (size_t i = 0; i < t->snap_count; i++)
    lw_text_append(text, sizeof text, "%s%s", text[0] ? "; " : "", t->snaps[i].label);
  fputs("weighed: ", stdout);
  cli_wrapped(stdout, 9, 9, text);
  for (size_t i = 0; i < t->left_out_count; i++) {
    fputs("left out: ", stdout);
    cli_wrapped(stdout, 10, 10, t->left_out[i]);
  }
}

/* Causes these readings would not show, by the reading that would. */
static void print_unseen(const lw_diagnosis *g) {
  bool said[LW_CAUSES] = {false}, any = false;
  for (int i = 0; i < LW_CAUSES; i++) {
    char text[600];
    const char *by = lw_cause_shown_by((lw_cause_id)i);
    if (!g->unseen[i] || said[i]) continue;
    snprintf(text, sizeof text, "%s", lw_cause_text((lw_cause_id)i));
    for (int k = i + 1; k < LW_CAUSES; k++) {
      if (!g->unseen[k] || strcmp(by, lw_cause_shown_by((lw_cause_id)k)) != 0) continue;
      said[k] = true;
      lw_text_append(text, sizeof text, ", %s", lw_cause_text((lw_cause_id)k));
    }
    lw_text_append(text, sizeof text, ": %s", by);
    if (!any) puts("\nnot weighed, for these readings would not show it, and what would:");
    any = true;
    fputs("  - ", stdout);
    cli_wrapped(stdout, 4, 4, text);
  }
}

/* What was not or could not be told. */
static void print_limits(const lw_diagnosis *g) {
  char unknown[400] = "";
  for (int i = 0; i < LW_UNKNOWNS; i++) {
    if (g->open[i])
      lw_text_append(unknown, sizeof unknown, "%s%s", unknown[0] ? ", " : "",
                     lw_unknown_text((lw_unknown)i));
  }
  print_unseen(g);
  if (unknown[0]) {
    fputs("these readings say nothing of this car's own: ", stdout);
    cli_wrapped(stdout, 46, 2, unknown);
  }
}

void print_causes(const lw_work *work, const lw_diagnosis *g) {
  cli_styled(stdout, CLI_STRONG, work->job->id);
  const lw_card *unit = work->fitted ? work->fitted : work->card;
  printf(", %s %s\n", work->card ? work->card->engine_name : "", unit ? unit->unit : "");
  if (g->told) print_weighed(g->told);
  putchar('\n');
  print_summary(g);
  putchar('\n');
  for (size_t i = 0; i < g->cause_count && g->causes[i].probability >= least_printed; i++)
    print_cause(&g->causes[i], g->causes[i].probability >= evidence_from);
  if (g->test_count) {
    putchar('\n');
    cli_styled(stdout, CLI_STRONG, "What would tell more");
    putchar('\n');
  }
  for (size_t i = 0; i < g->test_count; i++)
    print_test(&g->tests[i], i + 1);
  print_limits(g);
}

void print_causes_short(const lw_diagnosis *g) {
  print_summary(g);
  for (size_t i = 0; i < g->cause_count && i < SHORT_CAUSES; i++) {
    if (g->causes[i].probability < least_printed) break;
    printf("  %3.0f %%  ", 100 * g->causes[i].probability);
    cli_wrapped(stdout, 9, 9, g->causes[i].name);
  }
  if (g->test_count) {
    char text[600];
    snprintf(text, sizeof text, "%s (%.0f min): %s", g->tests[0].name, g->tests[0].minutes,
             g->tests[0].outcomes);
    fputs("  next test: ", stdout);
    cli_wrapped(stdout, 13, 4, text);
  }
}
