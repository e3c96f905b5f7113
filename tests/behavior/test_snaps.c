/* test_snaps.c - what only shows when the throttle is opened, under load, or against the other unit:
** weak pump, air valve spring, main circuit at a cruise, the unit for the other transmission.
** Common practice, no source (physics.md section 5, 7 and 16; section 4).
*/
#include "cause_kit.h"

#include "leanward/record.h"

static lw_snap snap_of(shop *s, const lw_test_car *car, lw_snap_kind kind) {
  lw_snap snap = {.label = kind == LW_SNAP_NEUTRAL ? "snap" : "floored",
                  .kind = kind,
                  .speed = LW_NONE,
                  .accuracy = LW_CLASS_I};
  lw_snap_shown shown;
  shop_must(s, lw_snap_of(car, &snap, &shown, &s->error), "snap");
  assert_true(shown.possible);
  memcpy(snap.x, shown.x, sizeof snap.x);
  printf("%s: CO %.2f to %.2f %%, HC to %.0f ppm, leanest %.2f, feels: %s\n", snap.label,
         100 * snap.x[LW_SNAP_CO_LEAST], 100 * snap.x[LW_SNAP_CO_MOST],
         1e6 * snap.x[LW_SNAP_HC_MOST], shown.leanest, lw_snap_feels(&shown));
  return snap;
}

static const lw_diagnosis *weigh(shop *s, const lw_test_car *model, const lw_told *told,
                                 const char *what) {
  lw_diagnosis *g = NULL;
  shop_must(s, lw_causes_weigh(s->arena, s->units, model, told, &g, &s->error), "causes");
  cause_print(what, g);
  return g;
}

static lw_told told_of(shop *s, const lw_test_car *car) {
  lw_told told = {.count = SEEN_MOST, .findings = lw_findings_none()};
  cause_read(s, car, told.sights);
  return told;
}

/* Steady readings do not show it, and the program says so; a snap does. */
static void a_dead_pump_shows_in_a_snap(void **state) {
  shop *s = *state;
  lw_test_car *model = shop_car(s, "corran-290-eight-manual");
  lw_test_car *car = car_with(s, model, "accelerator pump=disconnected");
  lw_told told = told_of(s, car);
  const lw_diagnosis *steady = weigh(s, model, &told, "steady readings");
  assert_true(steady->unseen[LW_CAUSE_PUMP]);
  told.snaps[told.snap_count++] = snap_of(s, car, LW_SNAP_NEUTRAL);
  told.snaps[0].felt = LW_FELT_HESITATES;
  const lw_diagnosis *g = weigh(s, model, &told, "with a snap");
  assert_int_equal(g->causes[0].id, LW_CAUSE_PUMP);
  assert_false(g->unseen[LW_CAUSE_PUMP]);
  assert_true(g->causes[0].evidence_count >= 2);
  told.findings.shot = LW_SHOT_NONE;
  g = weigh(s, model, &told, "and no stream to be seen");
  assert_true(g->by_id[LW_CAUSE_PUMP] > 0.95);
}

static void a_sound_snap_speaks_for_the_pump(void **state) {
  shop *s = *state;
  lw_test_car *model = shop_car(s, "corran-220-six-manual");
  lw_told told = told_of(s, model);
  told.snaps[told.snap_count++] = snap_of(s, model, LW_SNAP_NEUTRAL);
  told.snaps[0].felt = LW_FELT_CLEAN;
  const lw_diagnosis *g = weigh(s, model, &told, "sound");
  assert_int_equal(g->causes[0].id, LW_CAUSE_NONE);
  assert_true(g->by_id[LW_CAUSE_PUMP] < 0.03);
}

/* Too tight: a passing rich spell at low speed and wide throttle; too loose: a lean one. */
static void the_air_valve_spring_shows_when_floored(void **state) {
  shop *s = *state;
  lw_test_car *model = shop_car(s, "corran-350-eight-manual");
  const char *edits[] = {"air valve spring=+2 turns", "air valve spring=-1.2 turns"};
  const char *where[] = {"too tight", "too loose"};
  double co[2];
  for (int i = 0; i < 2; i++) {
    lw_test_car *car = car_with(s, model, edits[i]);
    lw_told told = told_of(s, car);
    told.snaps[told.snap_count++] = snap_of(s, car, LW_SNAP_FLOORED);
    co[i] = told.snaps[0].x[LW_SNAP_CO_MOST];
    const lw_diagnosis *g = weigh(s, model, &told, edits[i]);
    size_t place = cause_place(g, LW_CAUSE_AIR_VALVE);
    assert_true(place < 3); /* cars and hands differ: it may pass for a healthy one's spell */
    assert_string_equal(g->causes[place].where, where[i]);
    told.findings.air_valve = i ? -1.2 : 2;
    g = weigh(s, model, &told, "  and its turns counted");
    assert_int_equal(g->causes[0].id, LW_CAUSE_AIR_VALVE);
    assert_string_equal(g->causes[0].where, where[i]);
  }
  assert_true(co[0] > co[1]);
}

/* A reading under load, by its speed and vacuum. */
static lw_sight under_load(shop *s, const lw_test_car *car, double rpm, double torque) {
  lw_running run = car_hold(s, car, rpm, torque);
  lw_sight sight = cause_sight(&run, "cruise", LW_AT_CRUISE);
  cause_screws(&sight, car->twin->card, 0);
  sight.held = true;
  return sight;
}

/* A worn jet is rich wherever the main circuit works, a plugged bleed the more the more flows. */
static void a_cruise_tells_a_jet_from_its_bleed(void **state) {
  shop *s = *state;
  static const struct {
    const char *edit;
    lw_cause_id id, other;
  } pairs[] = {{"main jet=worn 8 %", LW_CAUSE_MAIN_RICH, LW_CAUSE_MAIN_BLEED},
               {"main bleed=clogged 85 %", LW_CAUSE_MAIN_BLEED, LW_CAUSE_MAIN_RICH}};
  lw_test_car *model = shop_car(s, "corran-290-eight-manual");
  for (size_t i = 0; i < 2; i++) {
    lw_test_car *car = car_with(s, model, pairs[i].edit);
    lw_told told = told_of(s, car);
    const lw_diagnosis *without = weigh(s, model, &told, pairs[i].edit);
    told.sights[told.count++] = under_load(s, car, 2000, 60);
    told.sights[told.count++] = under_load(s, car, 2500, 110);
    const lw_diagnosis *with = weigh(s, model, &told, "  with cruises");
    double before = without->by_id[pairs[i].id] / (without->by_id[pairs[i].other] + 1e-6);
    double after = with->by_id[pairs[i].id] / (with->by_id[pairs[i].other] + 1e-6);
    printf("  odds against the other: %.2f, with cruises %.2f\n", before, after);
    assert_true(after > before);
  }
}

/* The car is put where its vacuum is, whatever the load: the vacuum itself is no evidence. */
static void a_cruise_is_held_by_its_vacuum(void **state) {
  shop *s = *state;
  lw_test_car *model = shop_car(s, "corran-220-six-manual");
  lw_sight sight = under_load(s, model, 2200, 50);
  lw_match m;
  shop_must(s, lw_match_run(s->units, model, NULL, 0, &sight, 1, false, &m, &s->error), "match");
  assert_true(m.possible);
  assert_true(fabs(m.seen[0][LW_SEE_VACUUM] - sight.x[LW_SEE_VACUUM]) < 50);
  assert_true(fabs(m.seen[0][LW_SEE_CO] - sight.x[LW_SEE_CO]) < 0.0008); /* air in the sample */
  assert_int_equal(m.read, 4);                                           /* CO, CO2, O2, HC */
  double co = m.seen[0][LW_SEE_CO];
  sight.x[LW_SEE_VACUUM] -= 20e3; /* well into the power valve's range */
  shop_must(s, lw_match_run(s->units, model, NULL, 0, &sight, 1, false, &m, &s->error), "match");
  assert_true(m.seen[0][LW_SEE_CO] > co + 0.01);
}

/* Units for manual and automatic look alike and do not interchange. */
static void the_unit_for_the_other_transmission_is_ranked(void **state) {
  shop *s = *state;
  lw_test_car *model = shop_car(s, "corran-220-six-manual");
  const lw_card *other =
      lw_card_other(s->arena, s->units, LW_SOURCE_ROOT "/cards", model->twin->card);
  assert_non_null(other);
  assert_int_equal(other->transmission, LW_AUTOMATIC_TRANSMISSION);
  lw_test_car *with = NULL;
  shop_must(s, lw_test_car_new(s->arena, other, &with, &s->error), "the other unit");
  with->engine = model->engine;
  lw_told told = told_of(s, with);
  told.other = with;
  told.other_name = other->unit;
  const lw_diagnosis *g = weigh(s, model, &told, "the automatic's unit");
  assert_true(cause_place(g, LW_CAUSE_UNIT) < 2);
  told = told_of(s, model);
  told.other = with;
  g = weigh(s, model, &told, "its own unit");
  assert_int_equal(g->causes[0].id, LW_CAUSE_NONE);
  told.other = NULL;
  g = weigh(s, model, &told, "its own unit, number read");
  assert_true(g->by_id[LW_CAUSE_UNIT] <= 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_dead_pump_shows_in_a_snap),
      cmocka_unit_test(a_sound_snap_speaks_for_the_pump),
      cmocka_unit_test(the_air_valve_spring_shows_when_floored),
      cmocka_unit_test(a_cruise_tells_a_jet_from_its_bleed),
      cmocka_unit_test(a_cruise_is_held_by_its_vacuum),
      cmocka_unit_test(the_unit_for_the_other_transmission_is_ranked),
  };
  return cmocka_run_group_tests(tests, shop_setup, shop_teardown);
}
