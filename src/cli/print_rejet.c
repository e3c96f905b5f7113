/* print_rejet.c - the answer of `leanward rejet` in words, CSV and JSON. */
#include "print_rejet.h"

#include <math.h>
#include <string.h>

static const lw_place shown[] = {LW_PLACE_IDLE, LW_PLACE_OFF_IDLE, LW_PLACE_CRUISE, LW_PLACE_LOAD,
                                 LW_PLACE_WIDE_OPEN};
enum { SHOWN = sizeof shown / sizeof shown[0] };

static double rpm(double speed) {
  return lw_dim_shown(LW_SPIN, LW_SHOP, speed);
}

static double lambda_of(const void *of, size_t i) {
  return ((const lw_map *)of)->points[i].lambda;
}

/* ---- words ---- */

static void size_text(char *buffer, size_t size, const lw_rejet_change *c, double x) {
  if (c->dim == LW_LENGTH && strcmp(c->name, "float level") == 0) {
    snprintf(buffer, size, "%+.3f in", x / 25.4e-3);
  } else if (c->dim == LW_LENGTH) {
    double thou = x / 25.4e-6;
    snprintf(buffer, size, fabs(thou - round(thou)) < 0.01 ? "%.3f in" : "%.4f in", x / 25.4e-3);
  } else {
    lw_quantity_text(buffer, size, c->dim, LW_SHOP, x, LW_NONE);
  }
}

/* "main jet 0.061 to 0.058 in, power valve ..."; "screws only" without parts. */
static void parts_text(char *buffer, size_t size, const lw_rejet *r, const lw_proposal *p) {
  buffer[0] = '\0';
  for (size_t i = 0; i < p->change_count; i++) {
    char from[32], to[32];
    const lw_rejet_change *c = &p->changes[i];
    size_text(from, sizeof from, c, c->from);
    size_text(to, sizeof to, c, c->to);
    bool rise = strcmp(c->name, "float level") == 0;
    if (!rise) *strchr(from, ' ') = '\0';
    lw_text_append(buffer, size, rise ? "%s%s %s%s" : "%s%s %s to %s", i ? ", " : "", c->name,
                   rise ? to : from, rise ? "" : to);
  }
  if (p->change_count) return;
  bool turned = lw_range_known(r->turns) && fabs(p->idle.turn) >= 0.005;
  lw_text_append(buffer, size, "%s", turned ? "screws only" : "all left as it is");
}

static void turn_text(char *buffer, size_t size, const lw_rejet *r, const lw_rejet_idle *idle) {
  if (!lw_range_known(r->turns)) {
    snprintf(buffer, size, "no screw");
  } else if (fabs(idle->turn) < 0.005) {
    snprintf(buffer, size, "as is");
  } else {
    snprintf(buffer, size, "%.2f %s%s", fabs(idle->turn), idle->turn > 0 ? "out" : "in",
             idle->short_of_travel ? "!" : "");
  }
}

static void fit_cells(const lw_rejet_fit *fit) {
  for (size_t i = 0; i < SHOWN; i++) {
    const lw_rejet_place *p = &fit->places[shown[i]];
    cli_cell(stdout, 7, 1, p->points ? 100 * p->error : LW_NONE);
  }
  cli_cell(stdout, 7, 1, 100 * fit->error);
}

static void proposal_row(const lw_rejet *r, const char *mark, const lw_proposal *p,
                         const char *words) {
  char turn[32];
  turn_text(turn, sizeof turn, r, &p->idle);
  printf("%-3s%2zu%5.0f", mark, p->part_count, p->labor);
  fit_cells(&p->fit);
  printf("%10s ", turn);
  if (p->idle.solved) {
    printf("%6.2f%s", 100 * p->idle.co, p->idle.side < 0 ? "-" : p->idle.side > 0 ? "+" : " ");
  } else {
    printf("%6s ", "--");
  }
  printf("\n     ");
  cli_wrapped(stdout, 5, 5, words);
}

static void print_list(const lw_rejet *r) {
  puts("\n  parts labor idle    off cruise  heavy   wide    all     screws   CO %");
  proposal_row(r, "", &r->nothing, "nothing done");
  for (size_t i = 0; i < r->count; i++) {
    char words[400], mark[24];
    snprintf(mark, sizeof mark, "%zu", i + 1);
    parts_text(words, sizeof words, r, &r->proposals[i]);
    proposal_row(r, mark, &r->proposals[i], words);
  }
  cli_wrapped(stdout, 0, 0,
              "Errors of lambda in % at idle, off idle, cruise, heavy load, wide open, and over "
              "all: the root of the mean square. screws: turns each is turned from where it "
              "stands; ! where its travel ends first. CO: at the idle speed, - under or + over "
              "the card's band. labor: 1 for what screws in or is bent, 2 for what is pressed in "
              "or drilled.");
}

static void place_line(const char *when, const lw_rejet_place *p) {
  printf("  %-13s", when);
  if (!p->points) {
    puts("     no point");
    return;
  }
  printf("%+7.1f %%%+9.1f %%  at %4.0f rpm, throttle %3.0f %%", 100 * p->mean, 100 * p->worst,
         rpm(p->worst_speed), 100 * p->worst_throttle);
  if (p->lost) printf(", %zu without mixture", p->lost);
  putchar('\n');
}

static void print_places(const lw_rejet *r, const lw_proposal *best) {
  printf("\n%-15s%9s%11s  (+ leaner, - richer than %s)\n", "", "in the mean", "at worst",
         r->to_target ? "wanted" : "the original");
  for (size_t i = 0; i < SHOWN; i++) {
    puts(lw_place_text(shown[i]));
    place_line("nothing done", &r->nothing.fit.places[shown[i]]);
    if (best) place_line("with no. 1", &best->fit.places[shown[i]]);
  }
}

static void band_text(char *buffer, size_t size, const lw_rejet *r) {
  buffer[0] = '\0';
  if (!lw_range_known(r->band)) return;
  char band[64];
  lw_range_text(band, sizeof band, LW_FRACTION, LW_SHOP, r->band);
  snprintf(buffer, size, "; the card asks for %s", band);
}

static void print_idle(const lw_rejet *r, const lw_proposal *p) {
  char text[500], band[90];
  band_text(band, sizeof band, r);
  if (!p->idle.solved) {
    snprintf(text, sizeof text, "Idle: the engine does not idle at %.0f rpm: %s.",
             rpm(r->before.speed), p->idle.why);
  } else {
    snprintf(text, sizeof text, "Idle at %.0f rpm: CO %.2f %%, before the change %.2f %%%s.%s%s",
             rpm(p->idle.speed), 100 * p->idle.co, 100 * r->before.co, band,
             p->idle.short_of_travel ? " The screws come to the end of their travel before the "
                                       "mixture is back."
                                     : "",
             p->idle.side && !p->idle.short_of_travel && !lw_range_known(r->turns)
                 ? " There is no screw to bring it there."
                 : "");
  }
  cli_wrapped(stdout, 0, 0, text);
}

/* Turn by turn, the way the hand moves: an air-bleed screw moves outward clockwise. */
static void print_screws(const lw_rejet *r, const lw_proposal *p) {
  const lw_list *list = &r->changed->twin->card->carburetor.screws;
  const lw_screw_card *s = list->items;
  for (size_t i = 0; i < list->count && fabs(p->idle.turn) >= 0.005; i++) {
    char text[240];
    if (s[i].kind == LW_SCREW_FIXED) continue;
    double now = lw_range_middle(s[i].preset);
    bool left = lw_screw_thread(&s[i]) == LW_THREAD_LEFT;
    bool clockwise = (p->idle.turn < 0) != left;
    snprintf(text, sizeof text, "Screw '%s': %.2f turns %s (%s)", s[i].name, fabs(p->idle.turn),
             clockwise ? "clockwise" : "counter-clockwise",
             p->idle.turn > 0 ? "outward" : "inward");
    if (lw_known(now))
      lw_text_append(text, sizeof text, ", from %.2f to %.2f turns out", now, now + p->idle.turn);
    if (lw_known(s[i].travel.hi))
      lw_text_append(text, sizeof text, "; its travel ends at %.2f", s[i].travel.hi);
    lw_text_append(text, sizeof text, ".");
    cli_wrapped(stdout, 0, 0, text);
  }
}

static void print_best(const lw_rejet *r, const lw_proposal *best) {
  char parts[400], text[700];
  parts_text(parts, sizeof parts, r, best);
  snprintf(text, sizeof text, "%s: %s. %s", best->within ? "Back within 2 %" : "Not within 2 %",
           parts,
           best->within ? ""
                        : "No choice at hand brings every place within it; `--parts 6` lets more "
                          "parts be changed at once.");
  putchar('\n');
  cli_wrapped(stdout, 0, 0, text);
  print_screws(r, best);
  print_idle(r, best);
}

static void print_try(const print_rejet *p, const lw_proposal *best) {
  printf("\nThe same on its own:\n  leanward try %s", p->answer->original->twin->card->file);
  for (int i = 0; i < p->edit_count; i++)
    printf(" \\\n    \"%s\"", p->edits[i]);
  for (size_t i = 0; i < best->edit_count; i++)
    printf(" \\\n    \"%s\"", best->edits[i]);
  putchar('\n');
}

static void print_left_out(const lw_rejet *r) {
  char text[600] = "Not proposed: ";
  if (!r->left_out_count) return;
  for (size_t i = 0; i < r->left_out_count; i++)
    lw_text_append(text, sizeof text, "%s%s", i ? "; " : "", r->left_out[i]);
  cli_wrapped(stdout, 0, 0, text);
}

static void print_maps(const print_rejet *p) {
  puts("\nLambda before");
  cli_grid(p->original, 3, false, lambda_of, p->original);
  puts("\nLambda with the change, nothing done");
  cli_grid(p->nothing, 3, false, lambda_of, p->nothing);
  if (!p->after) return;
  puts("\nLambda after no. 1");
  cli_grid(p->after, 3, false, lambda_of, p->after);
}

void print_rejet_text(const print_rejet *p) {
  const lw_rejet *r = p->answer;
  const lw_proposal *best = r->count ? &r->proposals[0] : NULL;
  cli_styled(stdout, CLI_STRONG, r->original->twin->card->unit);
  printf(" with ");
  cli_wrapped(stdout, 12, 2, p->what);
  if (r->nothing_to_do) {
    puts("Nothing to do: the mixture stays within 0.5 % everywhere.");
    print_idle(r, &r->nothing);
  } else if (best) {
    print_best(r, best);
    print_list(r);
  } else {
    puts("No choice of sizes at hand could be run.");
  }
  print_left_out(r);
  print_places(r, best);
  if (best) print_try(p, best);
  if (p->maps) print_maps(p);
}

/* ---- CSV ---- */

lw_status print_rejet_csv(const print_rejet *p, const char *path, lw_error *error) {
  static const char *const names[] = {"idle", "off_idle", "cruise", "heavy_load", "wide_open"};
  const lw_rejet *r = p->answer;
  lw_draft draft;
  lw_status status = lw_draft_begin(path, &draft, error);
  if (status != LW_OK) return status;
  FILE *to = draft.stream;
  fputs("rank,parts,labor,changes,screw_turns,short_of_travel,idle_co_pct,within", to);
  for (size_t i = 0; i < SHOWN; i++)
    fprintf(to, ",%s_mean_pct,%s_error_pct,%s_worst_pct", names[i], names[i], names[i]);
  fputs(",error_pct\r\n", to);
  for (size_t i = 0; i <= r->count; i++) {
    const lw_proposal *q = i ? &r->proposals[i - 1] : &r->nothing;
    char words[400];
    parts_text(words, sizeof words, r, q);
    fprintf(to, "%zu,%zu,%g,\"%s\",%.3f,%s,", i, q->part_count, q->labor,
            i ? words : "nothing done", q->idle.turn, q->idle.short_of_travel ? "yes" : "no");
    if (q->idle.solved) fprintf(to, "%.4g", 100 * q->idle.co);
    fprintf(to, ",%s", q->within ? "yes" : "no");
    for (size_t k = 0; k < SHOWN; k++) {
      const lw_rejet_place *f = &q->fit.places[shown[k]];
      if (f->points) {
        fprintf(to, ",%.4g,%.4g,%.4g", 100 * f->mean, 100 * f->error, 100 * f->worst);
      } else {
        fputs(",,,", to);
      }
    }
    fprintf(to, ",%.4g\r\n", 100 * q->fit.error);
  }
  return lw_draft_finish(&draft, error);
}

/* ---- JSON ---- */

static json_t *number(double x) {
  return x == x ? json_real(x) : json_null();
}

static json_t *fit_json(const lw_rejet_fit *fit) {
  json_t *places = json_array();
  for (size_t i = 0; i < SHOWN; i++) {
    const lw_rejet_place *p = &fit->places[shown[i]];
    bool any = p->points > 0;
    json_array_append_new(
        places,
        json_pack("{s:s, s:I, s:I, s:o, s:o, s:o, s:o, s:o}", "place", lw_place_text(p->place),
                  "points", (json_int_t)p->points, "lost", (json_int_t)p->lost, "mean",
                  number(any ? p->mean : LW_NONE), "error", number(any ? p->error : LW_NONE),
                  "worst", number(any ? p->worst : LW_NONE), "worst_speed_rad_s",
                  number(any ? p->worst_speed : LW_NONE), "worst_throttle",
                  number(any ? p->worst_throttle : LW_NONE)));
  }
  return json_pack("{s:f, s:f, s:o}", "error", fit->error, "furthest", fit->furthest, "places",
                   places);
}

static json_t *idle_json(const lw_rejet_idle *i) {
  if (!i->solved) return json_pack("{s:b, s:s, s:f}", "solved", 0, "why", i->why, "turn", i->turn);
  return json_pack("{s:b, s:f, s:b, s:f, s:f, s:f, s:f, s:f, s:s}", "solved", 1, "turn", i->turn,
                   "short_of_travel", (int)i->short_of_travel, "speed_rad_s", i->speed, "throttle",
                   i->throttle, "vacuum_pa", i->vacuum, "co", i->co, "lambda", i->lambda, "co_band",
                   i->side < 0   ? "under"
                   : i->side > 0 ? "over"
                                 : "inside");
}

static json_t *proposal_json(const lw_proposal *p) {
  json_t *changes = json_array(), *edits = json_array();
  for (size_t i = 0; i < p->change_count; i++) {
    const lw_rejet_change *c = &p->changes[i];
    json_array_append_new(changes, json_pack("{s:s, s:s, s:f, s:f}", "part", c->name, "unit",
                                             lw_dim_inside(c->dim), "from", c->from, "to", c->to));
  }
  for (size_t i = 0; i < p->edit_count; i++)
    json_array_append_new(edits, json_string(p->edits[i]));
  return json_pack("{s:I, s:f, s:f, s:b, s:o, s:o, s:o, s:o}", "parts", (json_int_t)p->part_count,
                   "labor", p->labor, "score", p->score, "within", (int)p->within, "changes",
                   changes, "edits", edits, "idle", idle_json(&p->idle), "fit", fit_json(&p->fit));
}

void print_rejet_json(const print_rejet *p) {
  const lw_rejet *r = p->answer;
  json_t *said = json_array(), *list = json_array(), *out = json_array();
  for (int i = 0; i < p->edit_count; i++)
    json_array_append_new(said, json_stringn_nocheck(p->edits[i], strlen(p->edits[i])));
  for (size_t i = 0; i < r->count; i++)
    json_array_append_new(list, proposal_json(&r->proposals[i]));
  for (size_t i = 0; i < r->left_out_count; i++)
    json_array_append_new(out, json_string(r->left_out[i]));
  json_t *root =
      json_pack("{s:o, s:o, s:o, s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "edits", said,
                "original_twin", cli_twin_json(r->original->twin), "changed_twin",
                cli_twin_json(r->changed->twin), "nothing_to_do", (int)r->nothing_to_do,
                "co_wanted", number(r->co_wanted), "original_idle", idle_json(&r->before),
                "nothing_done", proposal_json(&r->nothing), "proposals", list, "left_out", out,
                "original", cli_points_json(p->original), "changed", cli_points_json(p->nothing),
                "after", p->after ? cli_points_json(p->after) : json_null());
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(12));
  putchar('\n');
  json_decref(root);
}
