/* sheet_table.c - the tables of the handover sheet: fit to adjust, unit differences, readings. */
#include "sheet.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { COLUMNS_MOST = 10 };

typedef struct row {
  const char *cell[COLUMNS_MOST];
  bool bold;   /* the first two cells */
  bool shaped; /* a shape stands before the second cell */
  lw_verdict shape;
} row;

typedef struct table {
  const char *title, *what; /* what: how it is called when it had to be cut */
  const char *const *heads;
  const double *share; /* of the width, one for each column */
  size_t columns, count;
  double size; /* of the type */
  int lines;   /* most lines of a cell */
  row *rows;
  double x[COLUMNS_MOST + 1];
} table;

/* ---- any table ---- */

static const double head_height = 10, shape_width = 10;

static double indent_of(const row *r, size_t column) {
  return r->shaped && column == 1 ? shape_width : 0;
}

static lw_hand hand_of(const table *t, const row *r, size_t column) {
  bool name = column < 2;
  return (lw_hand){t->size, name && r->bold, LW_INK_TEXT, t->lines};
}

static double room_of(const table *t, const row *r, size_t column) {
  return t->x[column + 1] - t->x[column] - 5 - indent_of(r, column);
}

static double row_height(lw_pen *pen, const table *t, const row *r) {
  double height = 0;
  for (size_t i = 0; i < t->columns; i++) {
    if (!r->cell[i]) continue;
    height = fmax(height, lw_pen_text_height(pen, hand_of(t, r, i), room_of(t, r, i), r->cell[i]));
  }
  return height + 3;
}

static void draw_heads(lw_pen *pen, const table *t) {
  static const lw_hand head = {6.5, false, LW_INK_SOFT, 1};
  for (size_t i = 0; i < t->columns; i++) {
    lw_pen_text(pen, head, NULL, t->x[i], pen->y, t->x[i + 1] - t->x[i] - 4, t->heads[i]);
  }
  pen->y += head_height;
}

static void draw_row(lw_pen *pen, const table *t, const row *r, double height) {
  lw_pen_rule(pen, pen->left, pen->y - 1, pen->right - pen->left, 0.3, LW_INK_RULE);
  if (r->shaped) lw_pen_verdict_shape(pen, r->shape, t->x[1] + 4, pen->y + 5, 3.4);
  for (size_t i = 0; i < t->columns; i++) {
    if (!r->cell[i]) continue;
    lw_pen_text(pen, hand_of(t, r, i), t->what, t->x[i] + indent_of(r, i), pen->y + 0.5,
                room_of(t, r, i), r->cell[i]);
  }
  pen->y += height;
}

/* How many rows were drawn. A table that may not be split goes to the second page whole. */
static size_t draw_table(lw_pen *pen, table *t) {
  double whole = head_height;
  t->x[0] = pen->left;
  for (size_t i = 0; i < t->columns; i++) {
    t->x[i + 1] = t->x[i] + t->share[i] * (pen->right - pen->left);
  }
  for (size_t i = 0; i < t->count; i++)
    whole += row_height(pen, t, &t->rows[i]);
  bool split = pen->level->split || pen->page > 1;
  if (!lw_pen_title(pen, t->title, t->count == 0 ? 16 : split ? 44 : fmin(whole, 560))) return 0;
  if (t->count) draw_heads(pen, t);
  for (size_t i = 0; i < t->count; i++) {
    double height = row_height(pen, t, &t->rows[i]);
    int page = pen->page;
    if (!lw_pen_room(pen, height + 1)) return i;
    if (pen->page != page) draw_heads(pen, t);
    draw_row(pen, t, &t->rows[i], height);
  }
  return t->count;
}

/* ---- fit to adjust ---- */

enum { CHECK_COLUMNS = 5 };
static const char *const check_heads[CHECK_COLUMNS] = {"check", "answer", "found", "expected",
                                                       "why, and what to do"};
/* With reasons to give, and without. */
static const double check_share[2][CHECK_COLUMNS] = {{0.165, 0.095, 0.21, 0.21, 0.32},
                                                     {0.18, 0.10, 0.33, 0.39, 0}};

static const char *fit_word(lw_fit fit) {
  return fit == LW_FIT ? "fit" : fit == LW_NOT_FIT ? "not fit" : "not known";
}

static lw_verdict fit_shape(lw_fit fit) {
  return fit == LW_FIT ? LW_WITHIN : fit == LW_NOT_FIT ? LW_OUTSIDE : LW_NO_VERDICT;
}

/* Why an answer is not "fit" is worth its room; why it is, is not. */
static const char *check_reason(lw_pen *pen, const lw_check *check) {
  if (check->answer == LW_FIT) return "";
  const char *why = check->why ? check->why : "", *next = check->next ? check->next : "";
  const char *both = lw_arena_print(pen->arena, "%s%s%s", why, *why && *next ? "; " : "", next);
  return both ? both : why;
}

static const char *check_found(const lw_check *check) {
  if (check->found) return check->found;
  return check->answer == LW_FIT && check->why ? check->why : "not given";
}

static row check_row(lw_pen *pen, const lw_check *check) {
  row r = {.bold = check->answer == LW_NOT_FIT, .shaped = true, .shape = fit_shape(check->answer)};
  r.cell[0] = check->name;
  r.cell[1] = fit_word(check->answer);
  r.cell[2] = check_found(check);
  r.cell[3] = check->expected ? check->expected : "not given";
  r.cell[4] = check_reason(pen, check);
  return r;
}

static bool has_row(const lw_check *check) {
  return check->name && (check->answer != LW_FIT_UNKNOWN || check->found);
}

/* Checks nobody made are named in one line instead of a row each. */
static void checks_not_made(lw_pen *pen) {
  lw_hand hand = {7.2, false, LW_INK_SOFT, 3};
  const lw_check *checks = pen->work->fitness.checks;
  char list[600] = "";
  for (size_t i = 0; i < LW_CHECK_COUNT; i++) {
    if (!checks[i].name || has_row(&checks[i])) continue;
    lw_text_append(list, sizeof list, "%s%s", list[0] ? ", " : "", checks[i].name);
  }
  if (!list[0]) return;
  const char *text = lw_arena_print(pen->arena, "Not checked: %s.", list);
  double width = pen->right - pen->left;
  if (!text || !lw_pen_room(pen, lw_pen_text_height(pen, hand, width, text) + 3)) {
    lw_pen_shorten(pen, "checks");
    return;
  }
  pen->y += lw_pen_text(pen, hand, "checks", pen->left, pen->y + 1, width, text) + 3;
}

void lw_sheet_checks(lw_pen *pen) {
  const lw_check *checks = pen->work->fitness.checks;
  row rows[LW_CHECK_COUNT];
  table t = {.title = "Fit to adjust",
             .what = "checks",
             .heads = check_heads,
             .size = 7.2,
             .lines = pen->level->cell,
             .rows = rows};
  bool reasons = false;
  for (size_t i = 0; i < LW_CHECK_COUNT; i++) {
    if (!has_row(&checks[i])) continue;
    reasons = reasons || checks[i].answer != LW_FIT;
    rows[t.count++] = check_row(pen, &checks[i]);
  }
  t.share = check_share[reasons ? 0 : 1];
  t.columns = reasons ? CHECK_COLUMNS : CHECK_COLUMNS - 1;
  if (draw_table(pen, &t) < t.count) {
    lw_pen_shorten(pen, "checks");
  } else {
    checks_not_made(pen);
  }
}

/* ---- what differs between the two units ---- */

enum { DIFFERENCES_MOST = 10 }; /* of any level */

/* Differences that do the same thing share a row; those that are known to matter come first. */
static void add_differences(lw_pen *pen, table *t, bool with_reason, size_t *told) {
  const lw_intake *intake = &pen->work->intake;
  size_t most = pen->level->differences;
  for (size_t i = 0;
       i < intake->difference_count && t->count < most && t->count < DIFFERENCES_MOST;) {
    const lw_difference *d = &intake->differences[i];
    size_t same = 1;
    if ((d->why != NULL) != with_reason) {
      i++;
      continue;
    }
    while (d->why && i + same < intake->difference_count && intake->differences[i + same].why &&
           strcmp(d->why, intake->differences[i + same].why) == 0) {
      same++;
    }
    row r = {.cell = {d->what, d->expected, d->fitted, d->why}};
    if (same > 1) {
      r.cell[0] = lw_arena_print(pen->arena, "%s (and %zu more)", d->what, same - 1);
    }
    t->rows[t->count++] = r;
    *told += same;
    i += same;
  }
}

void lw_sheet_differences(lw_pen *pen) {
  static const char *const heads[] = {"part", "this car", "fitted", "what it does"};
  static const double share[] = {0.17, 0.275, 0.275, 0.28};
  row rows[DIFFERENCES_MOST];
  table t = {.title = "What differs between the two units",
             .what = "differences of the units",
             .heads = heads,
             .share = share,
             .columns = 4,
             .size = 7.2,
             .lines = pen->level->cell,
             .rows = rows};
  size_t told = 0, all = pen->work->intake.difference_count;
  if (all == 0) return;
  add_differences(pen, &t, true, &told);
  add_differences(pen, &t, false, &told);
  if (told < all) {
    const char *title = lw_arena_print(
        pen->arena, "What differs between the two units (%zu of %zu; leanward brief lists all)",
        told, all);
    if (title) t.title = title;
  }
  if (draw_table(pen, &t) < t.count) lw_pen_shorten(pen, t.what);
}

/* ---- every reading ---- */

enum { READING_COLUMNS = 10, READINGS_MOST = 64 };
static const char *const reading_heads[READING_COLUMNS] = {
    "no.",   "reading", "rpm",  "inHg",   "CO %",
    "CO2 %", "HC ppm",  "O2 %", "lambda", "screws, turns out"};
static const double reading_share[READING_COLUMNS] = {0.04, 0.285, 0.06,  0.065, 0.065,
                                                      0.07, 0.075, 0.065, 0.075, 0.20};

static const char *number(lw_pen *pen, double x, int decimals) {
  if (!lw_known(x)) return "\xE2\x80\x93";
  return lw_arena_print(pen->arena, "%.*f", decimals, x);
}

static const char *hc_text(lw_pen *pen, const lw_hc *hc) {
  static const char *const basis[] = {"", "", " C3", " C1"};
  if (!lw_known(hc->x)) return number(pen, hc->x, 0);
  return lw_arena_print(pen->arena, "%.0f%s", hc->x * 1e6, basis[hc->basis]);
}

static const char *screws_text(lw_pen *pen, const lw_reading *r) {
  const lw_named *named = r->screws.items;
  char text[400] = "", turns[40];
  for (size_t i = 0; i < r->screws.count; i++) {
    lw_turns_text(turns, sizeof turns, named[i].x);
    char *space = strstr(turns, " turn");
    if (space) *space = '\0';
    lw_text_append(text, sizeof text, "%s%s %s", i ? ", " : "", named[i].name, turns);
  }
  return lw_arena_print(pen->arena, "%s", text);
}

static const char *reading_name(lw_pen *pen, const lw_reading_work *w) {
  const lw_reading *r = w->reading;
  char text[300] = "";
  if (r->time) lw_text_append(text, sizeof text, "%.20s ", r->time);
  if (r->stage) lw_text_append(text, sizeof text, "%s", lw_stage_text(r->stage));
  if (w->at)
    lw_text_append(text, sizeof text, "%s%s", text[0] ? ", " : "", lw_condition_text(w->at));
  if (r->gear == LW_GEAR_DRIVE) lw_text_append(text, sizeof text, ", in drive");
  if (r->settled == LW_NO) lw_text_append(text, sizeof text, ", not settled");
  return lw_arena_print(pen->arena, "%s%s%s", text, r->label && text[0] ? ": " : "",
                        r->label ? r->label : "");
}

static row reading_row(lw_pen *pen, size_t index) {
  const lw_reading_work *w = &pen->work->readings[index];
  const lw_reading *r = w->reading;
  row out = {.bold = false};
  out.cell[0] = lw_arena_print(pen->arena, "%zu", index + 1);
  out.cell[1] = reading_name(pen, w);
  out.cell[2] = number(pen, r->speed * 9.549296585513721, 0);
  out.cell[3] = number(pen, lw_dim_shown(LW_PRESSURE, LW_SHOP, r->vacuum), 1);
  out.cell[4] = number(pen, r->co * 100, 2);
  out.cell[5] = number(pen, r->co2 * 100, 1);
  out.cell[6] = hc_text(pen, &r->hc);
  out.cell[7] = number(pen, r->o2 * 100, 2);
  out.cell[8] = number(pen, w->has_gas ? w->exhaust.lambda.x : LW_NONE, 3);
  out.cell[9] = screws_text(pen, r);
  return out;
}

/* When not all fit, the first and the last are worth more than those between. */
static bool kept(size_t index, size_t count, size_t most) {
  size_t first = most / 2;
  return count <= most || index < first || index >= count - (most - first);
}

void lw_sheet_readings(lw_pen *pen) {
  row rows[READINGS_MOST];
  table t = {.title = "Readings",
             .what = "words beside readings",
             .heads = reading_heads,
             .share = reading_share,
             .columns = READING_COLUMNS,
             .size = 7,
             .lines = pen->level->cell < 2 ? 1 : 2,
             .rows = rows};
  size_t count = pen->work->reading_count;
  for (size_t i = 0; i < count && t.count < READINGS_MOST; i++) {
    if (kept(i, count, pen->level->readings)) rows[t.count++] = reading_row(pen, i);
  }
  if (count == 0) return;
  size_t drawn = draw_table(pen, &t);
  if (drawn == count) return;
  char what[60];
  snprintf(what, sizeof what, "readings (%zu of %zu shown)", drawn, count);
  lw_pen_shorten(pen, what);
}
