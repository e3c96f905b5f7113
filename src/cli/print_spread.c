/* print_spread.c - what a tolerance study says: text, JSON, CSV. */
#include "print_spread.h"

#include "cli_twin.h"

#include <math.h>
#include <string.h>

/* What is looked at, in the units of the shop. */
static const struct {
  const char *head, *key, *column;
  double times; /* from SI */
  int decimals;
} shown[LW_SPREAD_SEENS] = {
    [LW_SPREAD_SPEED] = {"speed as assembled, rpm", "speed_rad_s", "speed_rpm", 9.5492965855137201,
                         0},
    [LW_SPREAD_CO] = {"CO as assembled, %", "co", "co_pct", 100, 2},
    [LW_SPREAD_HC] = {"HC as assembled, ppm", "hc_hexane", "hc_ppm", 1e6, 0},
    [LW_SPREAD_TURNS] = {"mixture screw, turns out", "turns", "turns", 1, 2},
    [LW_SPREAD_SPEED_TURNS] = {"speed screw, turns in", "speed_screw_turns", "speed_screw_turns", 1,
                               2},
    [LW_SPREAD_SET_CO] = {"CO as set, %", "set_co", "set_co_pct", 100, 2},
    [LW_SPREAD_SET_HC] = {"HC as set, ppm", "set_hc_hexane", "set_hc_ppm", 1e6, 0},
};

static const double quantiles[] = {0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99};
enum { QUANTILES = sizeof quantiles / sizeof quantiles[0] };

/* ---- text ---- */

static void print_share(const char *what, lw_spread_share s) {
  printf("  %-56s %5.1f %%  (%.1f to %.1f)\n", what, 100 * s.share, 100 * s.lo, 100 * s.hi);
}

static void print_head(const cli_study *s) {
  const lw_card *card = s->car->twin->card;
  const lw_spread_goal *g = &s->ask.goal;
  cli_styled(stdout, CLI_STRONG, card->unit);
  if (s->what[0]) printf(" with %s", s->what);
  printf(": %zu units. ", s->result->unit_count);
  char text[300];
  snprintf(text, sizeof text, "Wanted: %.0f +/- %.0f rpm%s, CO %.2f to %.2f %%",
           lw_dim_shown(LW_SPIN, LW_SHOP, g->speed),
           lw_dim_shown(LW_SPIN, LW_SHOP, g->speed_within),
           g->gear == LW_LOAD_DRIVE ? " in drive" : "", 100 * g->co_lo, 100 * g->co_hi);
  if (lw_known(g->co_most))
    lw_text_append(text, sizeof text, ", at most %.2f %%", 100 * g->co_most);
  if (lw_known(g->hc_most))
    lw_text_append(text, sizeof text, ", HC at most %.0f ppm", 1e6 * g->hc_most);
  lw_text_append(text, sizeof text, ".");
  putchar('\n');
  cli_wrapped(stdout, 0, 0, text);
}

static void print_shares(const lw_spread_result *r) {
  puts("\nShare of units (95 % interval)");
  print_share("as assembled: speed in its band", r->speed_at_once);
  print_share("as assembled: speed and CO in their bands, limits kept", r->good_at_once);
  print_share("set by their screws: at speed, under the limits", r->settable);
  print_share("set by their screws: CO in its band as well", r->in_band);
  bool said = false;
  for (int i = LW_SPREAD_SET + 1; i < LW_SPREAD_ENDS; i++) {
    if (!r->ends[i]) continue;
    if (!said) puts("\nThe others");
    said = true;
    printf("  %-56s %5.1f %%  (%zu)\n", lw_spread_end_text((lw_spread_end)i),
           100 * (double)r->ends[i] / (double)r->unit_count, r->ends[i]);
  }
}

static void print_numbers(const lw_spread_result *r) {
  printf("\n%-26s %8s %7s %7s %7s %7s %7s\n", "Units lie under", "middle*", "5 %", "25 %", "50 %",
         "75 %", "95 %");
  for (int i = 0; i < LW_SPREAD_SEENS; i++) {
    const lw_spread_numbers *n = &r->numbers[i];
    if (!n->count) continue;
    double middle = shown[i].times * r->nominal->x[i];
    printf("%-26s", shown[i].head);
    cli_cell(stdout, 9, shown[i].decimals, middle);
    for (int q = 1; q + 1 < QUANTILES; q++)
      printf(" %7.*f", shown[i].decimals, shown[i].times * lw_spread_quantile(n, quantiles[q]));
    putchar('\n');
  }
  puts("* every size in the middle of its tolerance");
}

/* The dimensions that matter: those over a fiftieth of the variance, and no more than six. */
static void print_rank_of(const lw_spread_result *r, int seen) {
  size_t lines = 0;
  char half[40];
  for (size_t i = 0; i < r->dim_count && lines < 6; i++) {
    size_t d = r->order[i][seen];
    const lw_sensitivity *s = &r->rank[d][seen];
    if (!(s->total > 0.02)) break;
    if (lines++ == 0) printf("\n%s\n", lw_spread_seen_text((lw_spread_seen)seen));
    printf(
        "  %-20s %-18s %5.0f +/- %2.0f %%   alone %4.0f +/- %2.0f %%\n",
        lw_vary_text(r->dims[d].what),
        lw_half_text(half, sizeof half, lw_tolerance_of(r->dims[d].what)->counts, r->dims[d].half),
        100 * s->total, 100 * s->total_u, 100 * s->first, 100 * s->first_u);
  }
}

static void print_rank(const lw_spread_result *r) {
  if (!r->ranked) return;
  puts("\nWhat it hangs on: share of the variance, with all a dimension does together with\n"
       "others, and alone (+/- standard error)");
  for (int i = 0; i < LW_SPREAD_SEENS; i++) {
    if (i != LW_SPREAD_SET_CO) print_rank_of(r, i); /* that one hangs on the meter */
  }
}

void cli_spread_print(const cli_study *s) {
  print_head(s);
  print_shares(s->result);
  print_numbers(s->result);
  print_rank(s->result);
}

void cli_tolerances_print(void) {
  puts("| name | what | either way | drawn | source |\n| --- | --- | --- | --- | --- |");
  for (int i = 0; i < LW_VARIES; i++) {
    const lw_tolerance *t = lw_tolerance_of((lw_vary)i);
    char half[40];
    printf("| %s | %s | %s | %s | %s |\n", lw_vary_text((lw_vary)i), t->what,
           t->half > 0 ? lw_half_text(half, sizeof half, t->counts, t->half) : "as the source says",
           t->fill == LW_FILL_MADE ? "normal" : "evenly", t->source);
  }
}

/* ---- JSON ---- */

static json_t *number(double x) {
  return lw_known(x) ? json_real(x) : json_null();
}

static json_t *share_json(lw_spread_share s) {
  return json_pack("{s:I, s:f, s:f, s:f}", "count", (json_int_t)s.count, "share", s.share, "least",
                   s.lo, "most", s.hi);
}

static json_t *shares_json(const lw_spread_result *r) {
  return json_pack("{s:o, s:o, s:o, s:o}", "speed_as_assembled", share_json(r->speed_at_once),
                   "good_as_assembled", share_json(r->good_at_once), "settable",
                   share_json(r->settable), "settable_in_band", share_json(r->in_band));
}

static json_t *ends_json(const lw_spread_result *r) {
  json_t *ends = json_array();
  for (int i = 0; i < LW_SPREAD_ENDS; i++)
    json_array_append_new(ends, json_pack("{s:s, s:I}", "end", lw_spread_end_text((lw_spread_end)i),
                                          "count", (json_int_t)r->ends[i]));
  return ends;
}

static json_t *numbers_json(const lw_spread_result *r) {
  json_t *all = json_object();
  for (int i = 0; i < LW_SPREAD_SEENS; i++) {
    const lw_spread_numbers *n = &r->numbers[i];
    json_t *under = json_array();
    for (int q = 0; q < QUANTILES; q++)
      json_array_append_new(
          under, json_pack("[f, o]", quantiles[q], number(lw_spread_quantile(n, quantiles[q]))));
    json_object_set_new(all, shown[i].key,
                        json_pack("{s:I, s:o, s:o, s:o, s:o}", "count", (json_int_t)n->count,
                                  "middle", number(r->nominal->x[i]), "mean", number(n->mean), "sd",
                                  number(n->sd), "quantiles", under));
  }
  return all;
}

static json_t *sensitivity_json(const lw_sensitivity *s) {
  return json_pack("{s:o, s:o, s:o, s:o}", "first", number(s->first), "first_u", number(s->first_u),
                   "total", number(s->total), "total_u", number(s->total_u));
}

static json_t *dims_json(const lw_spread_result *r) {
  static const char *const units[] = {
      [LW_HALF_LENGTH] = "m",     [LW_HALF_SHARE] = "share", [LW_HALF_TURNS] = "turns",
      [LW_HALF_ANGLE] = "rad",    [LW_HALF_SPEED] = "rad/s", [LW_HALF_GAS] = "mole fraction",
      [LW_HALF_NUMBER] = "number"};
  json_t *dims = json_array();
  for (size_t d = 0; d < r->dim_count; d++) {
    const lw_spread_dim *dim = &r->dims[d];
    json_t *hang = json_object();
    for (int i = 0; i < LW_SPREAD_SEENS && r->ranked; i++)
      json_object_set_new(hang, shown[i].key, sensitivity_json(&r->rank[d][i]));
    json_array_append_new(dims, json_pack("{s:s, s:f, s:s, s:I, s:b, s:o}", "name",
                                          lw_vary_text(dim->what), "either_way", dim->half, "unit",
                                          units[lw_tolerance_of(dim->what)->counts], "parts",
                                          (json_int_t)dim->parts, "from_card", (int)dim->card,
                                          "variance", hang));
  }
  return dims;
}

static json_t *goal_json(const lw_spread_goal *g) {
  return json_pack("{s:f, s:f, s:f, s:f, s:f, s:o, s:o, s:s}", "speed_rad_s", g->speed,
                   "speed_within_rad_s", g->speed_within, "co", g->co, "co_least", g->co_lo,
                   "co_most", g->co_hi, "co_limit", number(g->co_most), "hc_limit_hexane",
                   number(g->hc_most), "gear", g->gear == LW_LOAD_DRIVE ? "drive" : "neutral");
}

void cli_spread_json(const cli_study *s) {
  const lw_spread_result *r = s->result;
  json_t *root = json_pack(
      "{s:s, s:s, s:I, s:I, s:I, s:o, s:o, s:o, s:o, s:o}", "unit", s->car->twin->card->unit,
      "edits", s->what, "units", (json_int_t)r->unit_count, "ranked", (json_int_t)r->ranked, "seed",
      (json_int_t)s->ask.seed, "wanted", goal_json(&s->ask.goal), "shares", shares_json(r), "ends",
      ends_json(r), "numbers", numbers_json(r), "dimensions", dims_json(r));
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(12));
  putchar('\n');
  json_decref(root);
}

/* ---- CSV ---- */

lw_status cli_spread_csv(const char *path, const cli_study *s, lw_error *error) {
  lw_draft draft;
  lw_status status = lw_draft_begin(path, &draft, error);
  if (status != LW_OK) return status;
  FILE *to = draft.stream;
  fputs("unit", to);
  for (int i = 0; i < LW_SPREAD_SEENS; i++)
    fprintf(to, ",%s", shown[i].column);
  fputs(",within,end\r\n", to);
  for (size_t k = 0; k < s->result->unit_count; k++) {
    const lw_spread_unit *u = &s->result->units[k];
    fprintf(to, "%zu", k + 1);
    for (int i = 0; i < LW_SPREAD_SEENS; i++) {
      fputc(',', to);
      if (lw_known(u->x[i])) fprintf(to, "%.7g", shown[i].times * u->x[i]);
    }
    fprintf(to, ",%s,%s\r\n", u->within ? "yes" : "no", lw_spread_end_text(u->end));
  }
  return lw_draft_finish(&draft, error);
}
