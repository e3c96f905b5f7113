/* test_brief.c - two cards held against each other, a year paired, page, sheet and JSON of it, and
** the demo year: every card of 1969 idles on its twin as it says.
*/
#include "brief_kit.h"

#include <dirent.h>
#include <unistd.h>

const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void) {
  return "leak:libfontconfig\n"; /* see test_sheet.c */
}

/* ---- cards made up: no sizes, so that no twin is run ---- */

static lw_brief_side made(shop *s, const char *unit, const char *engine, const char *gear,
                          const char *package, const char *rest) {
  char *text = lw_arena_print(s->arena,
                              "unit: %s\nengine name: %s\nyear: 1970\ntransmission: %s\n"
                              "emission package: %s\n%s",
                              unit, engine, gear, package, rest);
  return brief_text(s, lw_arena_print(s->arena, "%s.yaml", unit), text);
}

static void each_figure_names_its_line(void **state) {
  const lw_brief *b = brief_of(
      *state,
      brief_text(
          *state, "a.yaml",
          "unit: A\ncarburetor:\n  screws:\n    - name: left\n      kind: fuel\n      travel: "
          "0 to 3 turns\n  sealed:\n    - a\n    - b\nidle:\n  speed: 700 rpm\n"),
      brief_text(
          *state, "b.yaml",
          "unit: B\nidle: {speed: 600 rpm}\ncarburetor:\n  sealed: [b, c]\n  screws:\n    - "
          "{name: fixed, kind: fixed}\n    - name: left\n      kind: air bleed\n      travel: "
          "0 to 4 turns\n"));
  const lw_brief_item *i = brief_item(b, "kind of mixture screw");
  assert_int_equal(i->before.line, 5);
  assert_int_equal(i->after.line, 8);
  i = brief_item(b, "travel of the mixture screw");
  assert_int_equal(i->before.line, 6);
  assert_int_equal(i->after.line, 9);
  i = brief_item(b, "idle speed");
  assert_int_equal(i->before.line, 11);
  assert_int_equal(i->after.line, 2);
  i = brief_item(b, "newly sealed");
  assert_string_equal(i->after.text, "c");
  assert_int_equal(i->after.line, 4);
  assert_int_equal(i->before.line, 0);
  i = brief_item(b, "no longer sealed there");
  assert_string_equal(i->before.text, "a");
  assert_int_equal(i->before.line, 8);
}

static void differences_stand_in_the_order_of_the_hand(void **state) {
  const lw_brief *b = brief_years_of(*state, "corran-290-eight-manual");
  for (size_t i = 1; i < b->item_count; i++)
    assert_true(b->items[i - 1].group <= b->items[i].group);
  assert_non_null(brief_item(b, "advance control valve"));
  HOLDS(brief_item(b, "test of the advance control valve")->act, "No longer make the test");
  HOLDS(brief_item(b, "what feeds the vacuum advance")->act, "ported");
}

static void the_same_card_twice_says_the_same(void **state) {
  lw_brief_side side = brief_side(*state, "corran-220-six-manual");
  const lw_brief *b = brief_of(*state, side, side);
  assert_int_equal(b->item_count, 0);
  assert_int_equal(b->evidence_count, 0);
  assert_true(b->interchanges);
  HOLDS(b->verdict, "say the same");
}

static void what_a_card_does_not_say_is_not_guessed(void **state) {
  shop *s = *state;
  lw_brief_side says = made(s, "A", "six", "manual", "x", "carburetor: {dashpot: yes}\n");
  lw_brief_side silent = made(s, "B", "six", "manual", "x", "carburetor: {barrels: 1}\n");
  lw_brief_side denies = made(s, "C", "six", "manual", "x", "carburetor: {dashpot: no}\n");
  HOLDS(brief_item(brief_of(s, says, silent), "dashpot")->act, "does not say");
  HOLDS(brief_item(brief_of(s, says, denies), "dashpot")->act, "no dashpot any more");
  assert_null(brief_item(brief_of(s, silent, denies), "dashpot"));
}

static void a_card_without_sizes_is_told_without_numbers(void **state) {
  shop *s = *state;
  const lw_brief *b = brief_of(s, made(s, "A", "six", "manual", "x", "idle: {speed: 700 rpm}\n"),
                               made(s, "B", "six", "manual", "x", "idle: {speed: 650 rpm}\n"));
  HOLDS(brief_item(b, "idle speed")->act, "Set 650 rpm, no longer 700 rpm");
  assert_null(brief_item(b, "idle speed")->size);
  assert_false(b->reach[0].run);
  assert_int_equal(b->swap[0].answer, LW_FITS_UNKNOWN);
  assert_int_equal(b->gap_count, 2);
  HOLDS(b->gaps[0], "the twin of A cannot be run");
}

/* ---- years ---- */

static void count_units(void *to, size_t done, size_t all) {
  size_t *told = to;
  assert_int_equal(done, ++*told);
  assert_true(done <= all);
}

static lw_brief_year *year_of(shop *s, const lw_brief_side *a, size_t n, const lw_brief_side *b,
                              size_t m) {
  lw_brief_year *y = NULL;
  size_t told = 0;
  lw_brief_years_ask ask = {a, b, n, m, count_units, &told};
  shop_must(s, lw_brief_years(s->arena, s->units, &ask, &y, &s->error), "year");
  assert_int_equal(told, y->unit_count);
  return y;
}

static void units_of_two_years_are_paired_by_what_they_are_for(void **state) {
  shop *s = *state;
  const char *seven = "idle: {speed: 700 rpm}\n", *six = "idle: {speed: 600 rpm}\n";
  const lw_brief_side a[] = {made(s, "A-1", "six", "manual", "set 1", seven),
                             made(s, "A-2", "six", "automatic", "set 1", seven),
                             made(s, "A-3", "six", "manual", "export", seven),
                             made(s, "A-4", "eight", "manual", "set 1, sealed", seven),
                             made(s, "A-5", "four", "manual", "set 1", seven)};
  const lw_brief_side b[] = {made(s, "B-2", "six", "automatic", "set 2", six),
                             made(s, "B-1", "six", "manual", "set 2", six),
                             made(s, "A-3", "six", "manual", "export, other", six),
                             made(s, "B-4", "eight", "manual", "set 2", six),
                             made(s, "B-6", "twelve", "manual", "set 2", six)};
  const lw_brief_year *y = year_of(s, a, 5, b, 5);
  assert_int_equal(y->unit_count, 4);
  assert_string_equal(y->units[0]->before.card->unit, "A-4"); /* package up to its comma */
  assert_string_equal(y->units[0]->after.card->unit, "B-4");
  assert_string_equal(y->units[1]->before.card->unit, "A-3"); /* the number */
  assert_string_equal(y->units[2]->before.card->unit, "A-1"); /* engine, gear, package */
  assert_string_equal(y->units[3]->before.card->unit, "A-2");
  assert_int_equal(y->dropped_count, 1);
  assert_string_equal(y->dropped[0]->unit, "A-5");
  assert_int_equal(y->added_count, 1);
  assert_string_equal(y->added[0]->unit, "B-6");
}

static void what_most_units_share_is_told_once(void **state) {
  shop *s = *state;
  const lw_brief_side a[] = {made(s, "A-1", "one", "manual", "x", "idle: {speed: 700 rpm}\n"),
                             made(s, "A-2", "two", "automatic", "x", "idle: {speed: 700 rpm}\n"),
                             made(s, "A-3", "three", "automatic", "x", "idle: {speed: 700 rpm}\n")};
  const lw_brief_side b[] = {made(s, "B-1", "one", "manual", "x", "idle: {speed: 650 rpm}\n"),
                             made(s, "B-2", "two", "automatic", "x",
                                  "idle: {speed: 650 rpm}\ncarburetor: {dashpot: yes}\n"),
                             made(s, "B-3", "three", "automatic", "x",
                                  "idle: {speed: 600 rpm}\ncarburetor: {dashpot: yes}\n")};
  const lw_brief_year *y = year_of(s, a, 3, b, 3);
  char text[200];
  assert_int_equal(y->common_count, 2);
  assert_string_equal(y->common[0].item->what, "idle speed");
  assert_string_equal(lw_brief_units_text(y, &y->common[0], text, sizeof text), "all but B-3");
  assert_int_equal(y->procedure_count, 1);
  assert_string_equal(lw_brief_units_text(y, &y->procedures[0], text, sizeof text), "all but B-1");
  for (size_t k = 0; k < 3; k++) {
    const lw_brief_item *speed = brief_item(y->units[k], "idle speed");
    assert_int_equal(speed->common, strcmp(y->units[k]->after.card->unit, "B-3") != 0);
  }
}

static void years_with_nothing_in_common_are_refused(void **state) {
  shop *s = *state;
  lw_brief_side a = made(s, "A", "six", "manual", "x", ""),
                b = made(s, "B", "eight", "manual", "x", "");
  lw_brief_year *y = NULL;
  lw_error error = {0};
  lw_brief_years_ask ask = {&a, &b, 1, 1, NULL, NULL};
  assert_int_equal(lw_brief_years(s->arena, s->units, &ask, &y, &error), LW_BAD_INPUT);
  HOLDS(error.text, "no unit of one folder is found in the other");
}

/* ---- page, sheet, JSON ---- */

typedef struct written {
  char path[64];
  char *bytes;
  size_t length;
} written;

static void slot(written *w) {
  snprintf(w->path, sizeof w->path, "/tmp/leanward-brief-XXXXXX");
  int fd = mkstemp(w->path);
  assert_true(fd >= 0);
  close(fd);
}

static void slurp(shop *s, written *w) {
  const char *text = NULL;
  shop_must(s, lw_file_read(s->arena, w->path, 16 << 20, &text, &w->length, &s->error), w->path);
  w->bytes = lw_arena_copy(s->arena, text, w->length);
  assert_non_null(w->bytes);
  unlink(w->path);
}

static void page_of(shop *s, const lw_brief_document *d, written *w) {
  slot(w);
  shop_must(s, lw_brief_page_write(d, w->path, &s->error), "page");
  slurp(s, w);
}

static void sheet_of(shop *s, const lw_brief_document *d, written *w) {
  slot(w);
  shop_must(s, lw_brief_sheet_write(d, w->path, "A4", &s->error), "sheet");
  slurp(s, w);
}

static size_t times(const char *text, const char *part) {
  size_t n = 0;
  for (const char *at = text; (at = strstr(at, part)); at += strlen(part))
    n++;
  return n;
}

static void the_page_stands_alone(void **state) {
  shop *s = *state;
  lw_brief_document d = {.pair = brief_years_of(s, "corran-350-eight-automatic")};
  written a, b;
  page_of(s, &d, &a);
  page_of(s, &d, &b);
  assert_int_equal(strncmp(a.bytes, LW_BRIEF_PAGE_BEGIN, strlen(LW_BRIEF_PAGE_BEGIN)), 0);
  assert_null(strstr(a.bytes, "http:"));
  assert_null(strstr(a.bytes, "https:"));
  assert_null(strstr(a.bytes, "<script"));
  assert_null(strstr(a.bytes, "url("));
  HOLDS(a.bytes, "default-src 'none'");
  HOLDS(a.bytes, "width=device-width");
  assert_int_equal(times(a.bytes, "<img alt=\""), 4);
  assert_int_equal(times(a.bytes, "src=\"data:image/png;base64,"), 4);
  assert_int_equal(times(a.bytes, "<div"), times(a.bytes, "</div>"));
  assert_int_equal(times(a.bytes, "<ul>"), times(a.bytes, "</ul>"));
  assert_int_equal(times(a.bytes, "<p"), times(a.bytes, "</p>"));
  assert_int_equal(a.length, b.length);
  assert_memory_equal(a.bytes, b.bytes, a.length);
}

static void what_a_card_says_is_never_markup(void **state) {
  shop *s = *state;
  lw_brief_side a = made(s, "A<b>", "six", "manual", "x", "carburetor: {sealed: ['\"<script>']}\n");
  lw_brief_side b =
      made(s, "B&", "six", "manual", "x",
           "carburetor: {sealed: [\"</style>\\u202Eabc\"]}\nidle: {speed: 700 rpm}\n");
  lw_brief_document d = {.pair = brief_of(s, a, b)};
  written w;
  page_of(s, &d, &w);
  assert_null(strstr(w.bytes, "<b>"));
  assert_null(strstr(w.bytes, "<script>"));
  assert_null(strstr(w.bytes, "\xE2\x80\xAE"));
  assert_int_equal(times(w.bytes, "</style>"), 1);
  HOLDS(w.bytes, "A&lt;b&gt;");
  HOLDS(w.bytes, "&quot;&lt;script&gt;");
  HOLDS(w.bytes, "B&amp;");
}

static void the_sheet_is_the_same_bytes_every_time(void **state) {
  shop *s = *state;
  lw_brief_document d = {.pair = brief_years_of(s, "corran-220-six-automatic")};
  written a, b;
  sheet_of(s, &d, &a);
  sheet_of(s, &d, &b);
  assert_int_equal(strncmp(a.bytes, "%PDF-", 5), 0);
  assert_int_equal(a.length, b.length);
  assert_memory_equal(a.bytes, b.bytes, a.length);
  lw_error error = {0};
  assert_int_equal(lw_brief_sheet_write(&d, "/dev/null", "A7", &error), LW_BAD_INPUT);
}

static void json_holds_figures_lines_and_numbers(void **state) {
  shop *s = *state;
  lw_brief_document d = {.pair = brief_years_of(s, "corran-220-six-manual")};
  json_t *root = lw_brief_json(&d);
  assert_non_null(root);
  assert_true(json_is_false(json_object_get(root, "interchanges")));
  const json_t *items = json_object_get(root, "differences"), *i = NULL;
  assert_int_equal(json_array_size(items), d.pair->item_count);
  bool found = false;
  for (size_t k = 0; k < json_array_size(items); k++) {
    i = json_array_get(items, k);
    if (strcmp(json_string_value(json_object_get(i, "what")), "initial timing") != 0) continue;
    found = true;
    assert_true(json_integer_value(json_object_get(json_object_get(i, "after"), "line")) == 25);
    assert_true(
        json_number_value(json_object_get(json_object_get(i, "alone"), "idle_speed_rad_s")) < 0);
  }
  assert_true(found);
  assert_int_equal(json_array_size(json_object_get(root, "reach")), 2);
  assert_int_equal(json_array_size(json_object_get(root, "wrong_unit")), 2);
  json_decref(root);
}

/* ---- the demo year ---- */

static lw_brief_side *folder(shop *s, const char *name, size_t *count) {
  char path[600];
  const char *root = getenv("SOURCE_ROOT");
  lw_brief_side *side = lw_arena_array(s->arena, 40, sizeof *side);
  snprintf(path, sizeof path, "%s/cards/%s", root ? root : LW_SOURCE_ROOT, name);
  DIR *dir = opendir(path);
  assert_non_null(dir);
  assert_non_null(side);
  *count = 0;
  for (const struct dirent *e = readdir(dir); e; e = readdir(dir)) {
    char card[400];
    size_t n = strlen(e->d_name);
    if (n < 6 || strcmp(e->d_name + n - 5, ".yaml") != 0) continue;
    snprintf(card, sizeof card, "%s%s%.*s", name, name[0] ? "/" : "", (int)(n - 5), e->d_name);
    side[(*count)++] = brief_side(s, card);
  }
  closedir(dir);
  return side;
}

/* The engine of a year ago is the engine of this year: what the twin trims must come out alike. */
static void same_engine(shop *s, const lw_test_car *car, const char *last_year) {
  const lw_test_car *old = shop_car(s, last_year);
  NEAR(car->engine->overlap / old->engine->overlap, 1, 0.25);
  NEAR(car->engine->friction / old->engine->friction, 1, 0.05);
}

static void every_card_of_1969_idles_as_it_says(void **state) {
  static const char *const units[] = {"corran-220-six-manual",      "corran-220-six-automatic",
                                      "corran-220-six-export",      "corran-290-eight-manual",
                                      "corran-290-eight-automatic", "corran-290-eight-export",
                                      "corran-350-eight-manual",    "corran-350-eight-automatic",
                                      "corran-350-eight-pair",      "corran-350-eight-export"};
  shop *s = *state;
  for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
    char name[120];
    snprintf(name, sizeof name, "1969/%s", units[i]);
    const lw_test_car *car = shop_car(s, name);
    const lw_card *card = car->twin->card;
    assert_int_equal(card->year, 1969);
    assert_true(car->trimmed);
    lw_running left = car_idle(s, car);
    assert_false(left.stalled);
    assert_int_equal(lw_range_side(card->idle.speed, left.setting.speed), 0);
    assert_int_equal(lw_range_side(card->engine.idle_vacuum, left.vacuum), 0);
    lw_running set = car_hold(s, car, card->idle.speed.at / CAR_RPM, 0);
    run_print(card->unit, &set);
    assert_int_equal(lw_range_side(card->idle.co, set.burned.sampled.dry.co), 0);
    assert_int_equal(lw_range_side(card->idle.afr, set.point.air / set.point.fuel), 0);
    const lw_limit_said *l = card->limits.items;
    assert_true(set.burned.sampled.dry.co < l[0].value.hi);
    assert_true(set.burned.sampled.dry.hc / 6 < l[1].value.hi);
    if (lw_range_known(card->idle.speed_drive))
      assert_int_equal(
          lw_range_side(card->idle.speed_drive, car_idle_in(s, car, LW_LOAD_DRIVE).setting.speed),
          0);
    lw_completed *done = NULL;
    shop_must(s, lw_card_complete(s->arena, card, NULL, 0, &done, &s->error), name);
    assert_int_equal(done->size_count, 0);
    if (strcmp(units[i], "corran-350-eight-export") != 0) same_engine(s, car, units[i]);
  }
}

static void the_demo_year_has_units_kept_dropped_and_added(void **state) {
  shop *s = *state;
  size_t n = 0, m = 0;
  const lw_brief_side *a = folder(s, "", &n), *b = folder(s, "1969", &m);
  assert_int_equal(n, 11);
  assert_int_equal(m, 10);
  const lw_brief_year *y = year_of(s, a, n, b, m);
  assert_int_equal(y->before, 1968);
  assert_int_equal(y->after, 1969);
  assert_int_equal(y->unit_count, 9);
  assert_int_equal(y->dropped_count, 2);
  assert_int_equal(y->added_count, 1);
  bool limit = false;
  for (size_t c = 0; c < y->common_count; c++)
    limit = limit || strcmp(y->common[c].item->what, "limit on CO at idle") == 0;
  assert_true(limit);
  for (size_t k = 0; k < y->unit_count; k++) {
    const lw_brief *u = y->units[k];
    assert_true(u->reach[0].run && u->reach[1].run);
    assert_int_equal(u->gap_count, 0);
    for (size_t i = 0; i < u->item_count; i++)
      assert_true(u->items[i].before.line || u->items[i].after.line);
  }
  written w;
  page_of(s, &(lw_brief_document){.year = y}, &w);
  HOLDS(w.bytes, "What applies to all");
  HOLDS(w.bytes, "Procedures that changed");
  json_t *json = lw_brief_json(&(lw_brief_document){.year = y}); /* with a unit that was kept */
  assert_int_equal(json_array_size(json_object_get(json, "units")), 9);
  json_decref(json);
  assert_int_equal(times(w.bytes, "<div"), times(w.bytes, "</div>"));
  sheet_of(s, &(lw_brief_document){.year = y}, &w);
  assert_int_equal(strncmp(w.bytes, "%PDF-", 5), 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_figure_names_its_line),
      cmocka_unit_test(differences_stand_in_the_order_of_the_hand),
      cmocka_unit_test(the_same_card_twice_says_the_same),
      cmocka_unit_test(what_a_card_does_not_say_is_not_guessed),
      cmocka_unit_test(a_card_without_sizes_is_told_without_numbers),
      cmocka_unit_test(units_of_two_years_are_paired_by_what_they_are_for),
      cmocka_unit_test(what_most_units_share_is_told_once),
      cmocka_unit_test(years_with_nothing_in_common_are_refused),
      cmocka_unit_test(the_page_stands_alone),
      cmocka_unit_test(what_a_card_says_is_never_markup),
      cmocka_unit_test(the_sheet_is_the_same_bytes_every_time),
      cmocka_unit_test(json_holds_figures_lines_and_numbers),
      cmocka_unit_test(every_card_of_1969_idles_as_it_says),
      cmocka_unit_test(the_demo_year_has_units_kept_dropped_and_added),
  };
  return cmocka_run_group_tests(tests, shop_setup, shop_teardown);
}
