/* brief_parts.c - what page and sheet of a brief share: pictures, places, the table of reach. */
#include "brief_parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- the table of reach ---- */

const char *const lw_reach_heads[LW_REACH_COLUMNS] = {
    "unit",      "screws stand at",  "rpm, inHg as set",  "CO as set",
    "HC as set", "CO, stop to stop", "rpm, stop to stop", "target met",
    "limits met"};

static void reach_spans(const lw_brief_reach *r, lw_reach_row row) {
  char text[120];
  snprintf(row[1], sizeof row[1], "%s", lw_turns_text(text, sizeof text, r->turns));
  snprintf(row[5], sizeof row[5], "%.1f to %.1f %%", 100 * r->co_lo, 100 * r->co_hi);
  snprintf(row[6], sizeof row[6], "%.0f to %.0f%s",
           10 * round(lw_dim_shown(LW_SPIN, LW_SHOP, r->speed_lo) / 10),
           10 * round(lw_dim_shown(LW_SPIN, LW_SHOP, r->speed_hi) / 10),
           r->dies ? ", dies lean" : "");
  snprintf(row[7], sizeof row[7], "%s", lw_brief_window_text(r->target, text, sizeof text));
  snprintf(row[8], sizeof row[8], "%s", lw_brief_window_text(r->limits, text, sizeof text));
}

void lw_brief_reach_row(const lw_card *card, const lw_brief_reach *r, lw_reach_row row) {
  for (int i = 0; i < LW_REACH_COLUMNS; i++)
    row[i][0] = '\0';
  snprintf(row[0], sizeof row[0], "%s", card->unit);
  if (!r->run) {
    snprintf(row[1], sizeof row[1], "not run");
    return;
  }
  if (r->set.solved) {
    const lw_running *set = &r->set.run;
    snprintf(row[2], sizeof row[2], "%.0f, %.1f",
             lw_dim_shown(LW_SPIN, LW_SHOP, set->setting.speed),
             lw_dim_shown(LW_PRESSURE, LW_SHOP, set->vacuum));
    snprintf(row[3], sizeof row[3], "%.1f %%", 100 * set->burned.sampled.dry.co);
    snprintf(row[4], sizeof row[4], "%.0f ppm", 10 * round(1e5 / 6 * set->burned.sampled.dry.hc));
  } else {
    snprintf(row[2], sizeof row[2], "does not run");
  }
  if (r->screws) {
    reach_spans(r, row);
  } else {
    snprintf(row[1], sizeof row[1], "no screw");
  }
}

/* ---- pictures ---- */

static lw_status road_picture(const lw_brief *b, lw_picture_use use, void *to, lw_error *error) {
  char title[300], note[300];
  lw_error own = {0};
  if (!b->road) return LW_OK;
  snprintf(title, sizeof title, "%s on the road", b->after.card->unit);
  snprintf(note, sizeof note, "level road, idle to top speed; original: %s, changed: %s",
           b->before.card->unit, b->after.card->unit);
  lw_plot_lines lines = {title, note, b->road->original, b->road->changed, NULL};
  lw_status status = lw_plot_line_use(&lines, use, to, &own);
  if (status == LW_BAD_INPUT) return LW_OK; /* too few points to draw */
  if (status != LW_OK && error) *error = own;
  return status;
}

static lw_status map_picture(const lw_brief_side *side, const lw_map *map, const char *when,
                             lw_picture_use use, void *to, lw_error *error) {
  char title[300];
  lw_error own = {0};
  if (!map) return LW_OK;
  snprintf(title, sizeof title, "%s, %s", side->card->unit, when);
  lw_status status = lw_plot_map_use(title, NULL, map, use, to, &own);
  if (status == LW_BAD_INPUT) return LW_OK; /* nothing converged */
  if (status != LW_OK && error) *error = own;
  return status;
}

lw_status lw_brief_pictures(const lw_brief *b, lw_picture_use use, void *to, lw_error *error) {
  lw_status status = lw_plot_reach_use(b, use, to, error);
  if (status == LW_OK) status = road_picture(b, use, to, error);
  if (status == LW_OK) status = map_picture(&b->before, b->grid[0], "before", use, to, error);
  if (status == LW_OK) status = map_picture(&b->after, b->grid[1], "now", use, to, error);
  return status;
}
