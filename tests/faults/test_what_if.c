/* test_what_if.c - `leanward map` and `leanward try` given what cannot be: one clear line, exit 2.
**
** Runs the program itself (LEANWARD in the environment), in the source folder.
*/
#include "run.h"

#define SIX   "cards/corran-220-six-manual.yaml"
#define EIGHT "cards/corran-290-eight-manual.yaml"
#define FOUR  "cards/corran-350-eight-manual.yaml"

static void refused(const ran *r, const char *part) {
  HOLDS(r->err, part);
  assert_int_equal(r->code, 2);
  assert_string_equal(r->out, "");
  char *end = strchr(r->err, '\n');
  assert_non_null(end);
  assert_string_equal(end + 1, "");
}

static void tried(const char *card, const char *edit, const char *part) {
  refused(RUN("try", card, edit), part);
}

static void a_name_nobody_knows_gets_the_nearest(void **state) {
  (void)state;
  tried(SIX, "main jot=1 mm", "main jot=1 mm: 'main jot' is not known; is 'main jet' meant?");
  tried(SIX, "vacum leak=2 mm", "is 'vacuum leak' meant?");
  tried(EIGHT, "lefft screw=1 turn", "is 'left screw' meant?");
  tried(FOUR, "secondary main jett=2 mm", "is 'secondary main jet' meant?");
  tried(SIX, "flux compensator=1", "`leanward try --list` prints the names");
  tried(EIGHT, "idle mixture screw=+1/4 turn",
        "several screws; write 'left screw', 'right screw', or 'screws' for all alike");
}

static void what_is_no_edit_is_refused(void **state) {
  (void)state;
  tried(SIX, "main jet", "write NAME=VALUE");
  tried(SIX, "=3 mm", "the name is missing");
  tried(SIX, "main jet=", "the value is missing");
  tried(SIX, "main jet=   ", "the value is missing");
  tried(SIX, "main jet=0.061", "the unit is missing; use in, thou, mm");
  tried(SIX, "main jet=5 %", "a percentage is a change: write +5 % or -5 %");
  tried(SIX, "main jet=--1 mm", "is not a value for it; use in, mm; plugged");
  tried(SIX, "main jet=sideways", "is not a value for it");
  tried(SIX, "main jet=nan mm", "is not a value for it");
  tried(SIX, "main jet=1 mm\xFF", "not UTF-8");
  tried(SIX, "fuel=gasolin", "is 'gasoline' meant?");
  tried(SIX, "fuel=LPG", "no liquid in a float bowl");
  tried(SIX, "choke=120 %", "write how far it is shut");
  tried(SIX, "bowl vent=sideways", "write internal, external or both");
  tried(FOUR, "secondary=ajar", "write 'stuck open 5 deg'");
  refused(RUN("try", SIX), "what to change was expected");
  refused(RUN("try"), "a spec card and what to change were expected");
}

static void sizes_that_cannot_be_are_refused(void **state) {
  (void)state;
  tried(SIX, "main jet=2 in", "2.000 in cannot be");
  tried(SIX, "main jet=-2 mm", "cannot be");
  tried(SIX, "venturi=8 mm", "the booster would be wider than the venturi");
  tried(SIX, "venturi=1.9 in", "the venturi would be wider than the throttle bore");
  tried(SIX, "idle feed=3 mm", "the idle feed is wider than the main jet that feeds it");
  tried(FOUR, "rod economy step=2 mm", "the rod fills its jet");
  tried(SIX, "power valve opens=15 inHg", "closed at a higher vacuum than it opens at");
  tried(SIX, "nozzle lip=0 mm", "siphons");
  refused(RUN("try", SIX, "nozzle lip=5 mm", "float level=+6 mm"),
          "5.00 mm above the level, and run over");
  tried(SIX, "float level=2 mm", "write a change");
  tried(SIX, "altitude=9000 m", "cannot be");
  tried(SIX, "vacuum leak=40 mm", "cannot be");
  tried(SIX, "idle stop=-30 deg", "it can stand 0 to 40 deg");
  /* two edits that cannot be together are both named */
  refused(RUN("try", SIX, "throttle bore=1.3 in", "venturi=1.4 in"),
          "throttle bore=1.3 in, venturi=1.4 in: the venturi would be wider");
}

static void screws_stop_at_their_stops_and_sealed_is_sealed(void **state) {
  (void)state;
  tried(SIX, "mixture screw=+9 turns", "where a sealed stop holds it: force breaks it off");
  tried(SIX, "mixture screw=-3 turns", "it goes from 0 turns to 3 turns");
  tried(EIGHT, "left screw=3 1/4 turns", "it goes from 0 turns to 3 turns");
  tried(EIGHT, "screws=+2 turns", "it goes from 0 turns to 3 turns");
  tried(EIGHT, "idle limiter=1.2 mm", "the limiter is sealed and is never changed");
  tried(EIGHT, "idle limiter=worn 5 %", "is never changed");
  tried(SIX, "idle stop=1/4 turn", "write a change, as +1/4 turn");
}

static void parts_a_unit_does_not_have_are_named(void **state) {
  (void)state;
  tried(SIX, "secondary main jet=1 mm", "this unit has no secondary barrels");
  tried(SIX, "secondary=stuck shut", "this unit has no secondary barrels");
  tried(SIX, "left main jet=1 mm", "two primary barrels");
  tried(SIX, "check valve=stuck open", "no off-idle check valve");
  tried(SIX, "air valve spring=2 turns", "no air valve");
  tried(SIX, "rod power step=1 mm", "no metering rods");
  tried(FOUR, "power jet=1 mm", "enriches with its rods");
  tried(FOUR, "left venturi=1 in", "all barrels at once");
}

/* The engine's what-ifs: refused where no engine runs, and held to what an engine can be. */
static void engines_are_changed_only_where_they_run(void **state) {
  (void)state;
  tried(SIX, "timing=-5 deg", "`leanward idle`");
  tried(SIX, "cylinder=3 dead", "`leanward idle`");
  refused(RUN("idle", SIX, "cylinder=7 dead"), "1 to 6");
  refused(RUN("idle", SIX, "cylinder=dead"), "begin with the cylinder's number");
  refused(RUN("idle", SIX, "cylinder=3 tired"), "'tired' is not one of dead");
  refused(RUN("idle", SIX, "cylinder=3 compression 170 %"), "a share of a sound one");
  refused(RUN("idle", SIX, "vacuum advance=on"), "plugged, ported, manifold, control valve");
  refused(RUN("idle", SIX, "coolant=500 degC"), "cannot be");
  refused(RUN("idle", SIX, "timing=+90 deg"), "cannot be");
  refused(RUN("idle", SIX, "exhaust leak=95 %"), "no exhaust sample");
  refused(RUN("idle", SIX, "leak at cylinder=0"), "1 to 6, or all");
  refused(RUN("idle", SIX, "--drive"), "not automatic");
  refused(RUN("idle", SIX, "--points", "2"), "has a wrong one");
  refused(RUN("idle"), "a spec card was expected");
  refused(RUN("idle", "cards/none.yaml"), "cards/none.yaml");
}

static void runs_in_time_are_asked_for_as_they_are(void **state) {
  (void)state;
  refused(RUN("watch"), "a spec card was expected");
  refused(RUN("watch", SIX), "what to run was expected");
  refused(RUN("watch", SIX, "snap-shat"), "is 'snap-shut' meant?");
  refused(RUN("watch", SIX, "blip", "--hold", "90 s"), "more or less than this run");
  refused(RUN("watch", SIX, "blip", "--hold", "soon"), "is not a number");
  refused(RUN("watch", SIX, "blip", "--speed", "1500"), "the unit is missing");
  refused(RUN("watch", SIX, "blip", "accelerator pump=tired"), "weak 50 %, disconnected, sound");
  refused(RUN("watch", SIX, "blip", "choke heat=some"), "is not one of sound, none");
  refused(RUN("watch", SIX, "blip", "dashpot=900 s"), "cannot be");
  refused(RUN("watch", "cards/none.yaml", "blip"), "cards/none.yaml");
}

static void a_card_that_lacks_sizes_is_told_what_fills_them(void **state) {
  (void)state;
  const char *card = "unit: X-1\nengine: {displacement: 3.6 L}\ncarburetor:\n  primary: {count: 1, "
                     "throttle bore: 43 mm, venturi: 32 mm}\n"
                     "  screws: [{name: mixture, kind: fuel}]\n";
  const char *map[] = {"map", "-", NULL}, *try[] = {"try", "-", "main jet=1.5 mm", NULL};
  refused(run(map, card), "the card lacks main jet");
  refused(run(map, card), "`leanward card --complete`");
  refused(run(try, card), "main bleed, idle feed, idle bleed, idle port");
  refused(RUN("map", "cards/none.yaml"), "cards/none.yaml");
}

static void axes_and_files_that_cannot_be_are_refused(void **state) {
  (void)state;
  refused(RUN("map", SIX, "--throttle", "5"), "--throttle: '5': the unit is missing");
  refused(RUN("map", SIX, "--throttle", "200 %"), "0 to 100 %");
  refused(RUN("map", SIX, "--speed", "4000:600:100 rpm"), "the steps must rise");
  refused(RUN("map", SIX, "--speed", "600:4000:1 rpm"), "at most 200 values");
  refused(RUN("map", SIX, "--speed", "2000, 1000 rpm"), "the values must rise");
  refused(RUN("map", SIX, "--speed", "fast"), "--speed");
  refused(RUN("map", SIX, "--over", "airflow", "--speed", "2000 rpm"), "at least two speeds");
  refused(RUN("map", SIX, "--over", "fuel"), "--help");
  refused(RUN("map", SIX, "--svg", "/nonexistent/x.svg"), "/nonexistent/x.svg");
  refused(RUN("map", SIX, "--over", "airflow", "--throttle", "5 %"), "leave --throttle or --over");
  refused(RUN("map", SIX, "--csv", "--json"), "can go to standard output");
  refused(RUN("try", SIX, "fuel=E10", "--svg", "-", "--png", "-"), "can go to standard output");
  refused(RUN("map", SIX, EIGHT), "one spec card was expected");
  refused(RUN("map"), "one spec card was expected");
}

static void sizes_of_the_secondary_side_are_told_from_the_primary(void **state) {
  (void)state;
  const char *map[] = {"map", "-", NULL};
  const char *const sides[] = {"", "main jet: 2.6 mm, main bleed: 1.5 mm, rods: [1 mm, 2.7 mm], "};
  const char *const words[] = {"the card lacks secondary main jet, secondary main bleed;",
                               "carburetor, secondary, rods: the rod fills its jet"};
  for (size_t i = 0; i < 2; i++) {
    char card[900];
    snprintf(
        card, sizeof card,
        "unit: X-2\nengine: {displacement: 5.7 L}\ncarburetor:\n  primary: {count: 2, throttle "
        "bore: 35 mm, venturi: 28 mm, main jet: 1.8 mm,\n    main bleed: 1.8 mm, idle feed: 0.8 "
        "mm, idle bleed: 1.4 mm, idle port: 1.5 mm}\n  secondary: {%scount: 2, throttle bore: 44 "
        "mm, venturi: 38 mm, operation: mechanical}\n"
        "  screws: [{name: left, kind: fuel}, {name: right, kind: fuel}]\n",
        sides[i]);
    refused(run(map, card), words[i]);
  }
}

/* ---- and what is right goes through ---- */

static void tables_fit_a_terminal_of_80_columns(void **state) {
  (void)state;
  const ran *runs[1];
  const char *const commands[][6] = {
      {"map", SIX, NULL},
      {"map", FOUR, "--circuits", NULL},
      {"map", FOUR, "--over", "airflow", NULL},
      {"try", EIGHT, "left main jet=worn 5 %", NULL},
      {"try", "--list", NULL},
      {"try", "--help", NULL},
      {"map", "--help", NULL},
  };
  for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
    runs[0] = run(commands[i], "");
    assert_true(runs[0]->code == 0 || runs[0]->code == 1);
    assert_string_equal(runs[0]->err, "");
    for (const char *line = runs[0]->out; *line;) {
      const char *end = strchr(line, '\n');
      assert_non_null(end);
      char one[400];
      snprintf(one, sizeof one, "%.*s", (int)(end - line), line);
      if (lw_text_columns(one) > 80) fail_msg("over 80 columns: %s", one);
      line = end + 1;
    }
  }
}

static size_t commas(const char *line) {
  size_t n = 0;
  for (; *line && *line != '\r' && *line != '\n'; line++)
    n += *line == ',';
  return n;
}

static void csv_has_its_columns_on_every_row(void **state) {
  (void)state;
  const ran *r = RUN("try", SIX, "main jet=+3 %", "--csv");
  HOLDS(r->out, "speed_rpm,throttle_pct,afr,lambda,air_g_s,fuel_g_s,manifold_kpa,main_share,");
  HOLDS(r->out, ",changed_afr,");
  size_t rows = 0, want = commas(r->out);
  for (const char *line = r->out; *line; line = strchr(line, '\n') + 1) {
    assert_int_equal(commas(line), want);
    rows++;
  }
  assert_int_equal(rows, 1 + 10 * 8);
}

static void a_sound_try_says_so_with_its_exit_code(void **state) {
  (void)state;
  const ran *r = RUN("try", SIX, "vacuum leak=2 mm", "--throttle", "0, 2 %", "--speed", "700 rpm");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "leans idle by");
  HOLDS(r->out, "Change, % of lambda");
  r = RUN("try", SIX, "vacuum leak=2 mm", "--throttle", "0 %", "--speed", "700 rpm", "--json");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "\"edits\": [");
  HOLDS(r->out, "\"words\": \"leans idle by");
}

/* No fuel is an effect, not a gap in the comparison. */
static void a_place_left_without_fuel_is_said(void **state) {
  (void)state;
  const ran *r = RUN("try", SIX, "idle feed=plugged");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "- leaves idle without any fuel (1 point)");
  HOLDS(r->out, "= no fuel flows at 8 of 80 points; else most at the step off idle");
  r = RUN("try", SIX, "main jet=plugged", "--throttle", "0 %", "--speed", "700 rpm", "--json");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "\"summary\": \"no fuel flows at 1 of 1 points\"");
  HOLDS(r->out, "\"worst_change\": null");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_name_nobody_knows_gets_the_nearest),
      cmocka_unit_test(what_is_no_edit_is_refused),
      cmocka_unit_test(sizes_that_cannot_be_are_refused),
      cmocka_unit_test(screws_stop_at_their_stops_and_sealed_is_sealed),
      cmocka_unit_test(parts_a_unit_does_not_have_are_named),
      cmocka_unit_test(engines_are_changed_only_where_they_run),
      cmocka_unit_test(runs_in_time_are_asked_for_as_they_are),
      cmocka_unit_test(a_card_that_lacks_sizes_is_told_what_fills_them),
      cmocka_unit_test(sizes_of_the_secondary_side_are_told_from_the_primary),
      cmocka_unit_test(axes_and_files_that_cannot_be_are_refused),
      cmocka_unit_test(tables_fit_a_terminal_of_80_columns),
      cmocka_unit_test(csv_has_its_columns_on_every_row),
      cmocka_unit_test(a_sound_try_says_so_with_its_exit_code),
      cmocka_unit_test(a_place_left_without_fuel_is_said),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
