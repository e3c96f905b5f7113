/* test_carburetor.c - the twin of a carburetor does what the trade knows carburetors do.
**
** Every check prints the size of the effect it found. Directions and orders of size are common
** practice without a single source, unless a line says otherwise; changes are those of lambda at
** the same throttle and speed, positive is leaner.
*/
#include "check.h"

#include "leanward/bench.h"
#include "leanward/record.h"

#include <stdlib.h>

#define SIX       "corran-220-six-manual.yaml"
#define SIX_PLAIN "corran-220-six-export.yaml"
#define SIX_LIMIT "corran-220-six-limiter.yaml"
#define AIR_BLEED "corran-290-eight-automatic.yaml"
#define TWO_PLAIN "corran-290-eight-export.yaml"
#define FOUR      "corran-350-eight-manual.yaml"
#define VACUUM    "corran-350-eight-vacuum.yaml"
#define PAIR      "corran-350-eight-pair.yaml"

static const double rpm = 3.14159265358979323846 / 30, degree = 3.14159265358979323846 / 180;

typedef struct shop {
  lw_arena *arena;
  lw_units *units;
  lw_error error;
} shop;

/* Where a unit is looked at. */
typedef struct place {
  double throttle, rpm;
} place;
static const place idle = {0, 700}, off_idle = {0.04, 1000}, cruise = {0.17, 2200},
                   load = {0.26, 3000}, wide_open = {1, 3000};

static int setup(void **state) {
  shop *s = calloc(1, sizeof *s);
  if (!s) return 1;
  s->arena = lw_arena_new((size_t)256 << 20);
  *state = s;
  return s->arena && lw_units_open(&s->units, &s->error) == LW_OK ? 0 : 1;
}

static int teardown(void **state) {
  shop *s = *state;
  lw_units_close(s->units);
  lw_arena_free(s->arena);
  free(s);
  return 0;
}

static void complain(const lw_error *error) {
  char line[900];
  fprintf(stderr, "%s\n", lw_error_line(error, line, sizeof line));
}

static lw_twin *twin_of(shop *s, const char *name) {
  char path[600];
  const char *text = NULL, *root = getenv("SOURCE_ROOT");
  size_t length = 0;
  lw_card *card = NULL;
  lw_twin *twin = NULL;
  snprintf(path, sizeof path, "%s/cards/%s", root ? root : LW_SOURCE_ROOT, name);
  lw_bind bind = {s->arena, s->units, path};
  lw_status status = lw_file_read(s->arena, path, LW_DOC_MAX_BYTES, &text, &length, &s->error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &s->error);
  if (status == LW_OK) status = lw_twin_new(s->arena, card, &twin, &s->error);
  if (status != LW_OK) complain(&s->error);
  assert_non_null(twin);
  return twin;
}

static lw_twin *with(shop *s, const lw_twin *from, const char *edit) {
  lw_twin *changed = NULL;
  if (lw_what_if(s->arena, s->units, from, &edit, 1, &changed, &s->error) != LW_OK) {
    complain(&s->error);
  }
  assert_non_null(changed);
  return changed;
}

static lw_point at(const lw_twin *twin, place where) {
  lw_setting setting = {
      .throttle = where.throttle, .speed = where.rpm * rpm, .ambient = twin->ambient};
  lw_state state = {0};
  lw_report report;
  lw_point point;
  lw_net_solve(twin->net, &setting, &state, &report);
  if (!report.converged) fprintf(stderr, "did not converge: %s\n", report.where);
  assert_true(report.converged);
  lw_net_point(twin->net, &setting, &state, &point);
  return point;
}

/* The change of lambda from one twin to another, in percent. */
static double change(const lw_twin *from, const lw_twin *to, place where) {
  return 100 * (at(to, where).lambda / at(from, where).lambda - 1);
}

static double changed_by(shop *s, const lw_twin *from, const char *edit, place where) {
  return change(from, with(s, from, edit), where);
}

static double share(const lw_point *p, lw_circuit circuit) {
  return 100 * p->by_circuit[circuit] / p->fuel;
}

static int passage(const lw_twin *twin, const char *name) {
  for (int i = 0; i < twin->net->passage_count; i++) {
    if (strcmp(twin->net->passages[i].name, name) == 0) return i;
  }
  fprintf(stderr, "no passage '%s'\n", name);
  fail();
  return 0;
}

/* ---- screws ---- */

static void clockwise_leans_on_both_kinds_of_mixture_screw(void **state) {
  shop *s = *state;
  const lw_twin *fuel = twin_of(s, SIX), *air = twin_of(s, AIR_BLEED);
  double in = changed_by(s, fuel, "mixture screw=-1/4 turn", idle);
  double out = changed_by(s, fuel, "mixture screw=+1/4 turn", idle);
  double air_out = changed_by(s, air, "air bleed screw=+1/4 turn", idle);
  double air_in = changed_by(s, air, "air bleed screw=-1/4 turn", idle);
  printf("fuel side, 1/4 turn: clockwise (in) %+.2f %%, back %+.2f %%\n", in, out);
  printf("air bleed, 1/4 turn: clockwise (out) %+.2f %%, back %+.2f %%\n", air_out, air_in);
  assert_true(in > 0.5 && out < -0.5);
  assert_true(air_out > 0.1 && air_in < -0.1);
}

static void a_turn_of_the_air_bleed_screw_is_gentler(void **state) {
  shop *s = *state;
  const lw_twin *fuel = twin_of(s, TWO_PLAIN), *air = twin_of(s, AIR_BLEED);
  lw_twin *left = with(s, fuel, "left screw=-1/2 turn");
  double by_fuel = change(fuel, with(s, left, "right screw=-1/2 turn"), idle);
  double by_air = changed_by(s, air, "air bleed screw=+1/2 turn", idle);
  printf("half a turn leans: two fuel-side screws %+.2f %%, the air-bleed screw %+.2f %%\n",
         by_fuel, by_air);
  assert_true(by_air > 0 && by_air < 0.7 * by_fuel);
}

/* The limiter's maximum: no screw at all behind it. */
static void a_screw_behind_a_limiter_never_passes_its_maximum(void **state) {
  shop *s = *state;
  const lw_twin *limited = twin_of(s, SIX_LIMIT), *plain = twin_of(s, SIX_PLAIN);
  lw_twin *open = with(s, limited, "mixture screw=4 turns");
  lw_twin *gone = with(s, limited, "mixture screw=4 turns");
  lw_passage *screw = &gone->net->passages[passage(gone, "screw, mixture")];
  screw->orifice.area *= 100;
  screw->orifice.diameter *= 10;
  double most = at(gone, idle).lambda, reached = at(open, idle).lambda;
  double by_open = change(limited, open, idle);
  double by_plain = changed_by(s, plain, "mixture screw=4 turns", idle);
  printf(
      "opened to 4 turns: behind the limiter %+.2f %% (most it gives %+.2f %%), plain %+.2f %%\n",
      by_open, 100 * (most / at(limited, idle).lambda - 1), by_plain);
  assert_true(reached >= most);
  assert_true(by_open < 0 && by_plain < 1.5 * by_open);
}

/* ---- idle, transfer, bypass, check valve ---- */

/* The slot's part of what leaves the idle channel. */
static double slot_share(const lw_point *p) {
  double slot = p->by_circuit[LW_CIRCUIT_TRANSFER], port = p->by_circuit[LW_CIRCUIT_IDLE];
  return 100 * slot / (slot + port);
}

static void the_slot_is_small_at_curb_idle_and_takes_over_off_idle(void **state) {
  const lw_twin *t = twin_of(*state, SIX);
  lw_point curb = at(t, idle), open = at(t, (place){0.1, 1400});
  int above = passage(t, "slot above plate");
  double breath = 1e3 * curb.flow[above], fed = 1e3 * open.flow[above];
  printf("slot's part of the channel's fuel: idle %.0f %%, a tenth open %.0f %%; through its upper "
         "part %.3f g/s at idle, %.3f then\n",
         slot_share(&curb), slot_share(&open), breath, fed);
  assert_true(slot_share(&curb) < 20 && slot_share(&open) > 40);
  assert_true(share(&curb, LW_CIRCUIT_MAIN) < 0.1);
  assert_true(breath < 0 && fabs(fed) < 0.2 * fabs(breath));
}

/* How far the idle mixture goes when a slot is cut this much lower, the speed being set again. */
static double slot_matters(shop *s, const lw_twin *from, double lower, double vacuum) {
  lw_twin *moved = with(s, from, "idle stop=+0 deg");
  for (int i = 0; i < moved->net->passage_count; i++) {
    lw_passage *p = &moved->net->passages[i];
    if (p->gate == LW_GATE_SLOT_ABOVE || p->gate == LW_GATE_SLOT_BELOW) p->low -= lower;
  }
  assert_true(lw_net_set_stop(moved->net, idle.rpm * rpm, vacuum));
  return change(from, moved, idle);
}

/* The same castings without and with the passage drilled: slots are cut where the plate without it
   shows half a millimeter of them, and the speed screw gives both the same speed and vacuum. */
static void bypass_lets_the_plate_sit_further_closed_and_the_slot_matter_less(void **state) {
  shop *s = *state;
  lw_card undrilled = *twin_of(s, AIR_BLEED)->card;
  lw_twin *without = NULL;
  undrilled.carburetor.primary.bypass = LW_NONE;
  assert_int_equal(lw_twin_new(s->arena, &undrilled, &without, &s->error), LW_OK);
  lw_twin *drilled = with(s, without, "bypass=0.125 in");
  double vacuum = without->ambient - at(without, idle).manifold;
  assert_true(lw_net_set_stop(drilled->net, idle.rpm * rpm, vacuum));
  double open = without->net->barrels[0].stop / degree;
  double closed = drilled->net->barrels[0].stop / degree;
  double more = slot_matters(s, without, 0.1e-3, vacuum);
  double less = slot_matters(s, drilled, 0.1e-3, vacuum);
  printf("plate over shut at the same speed and vacuum: with bypass %.2f deg, without %.2f deg\n",
         closed, open);
  printf("a slot cut 0.1 mm lower: with bypass %+.2f %%, without %+.2f %%\n", less, more);
  assert_true(closed < open - 0.5);
  assert_true(fabs(less) < 0.85 * fabs(more));
}

static void the_off_idle_check_valve_leans_off_idle_and_only_there(void **state) {
  shop *s = *state;
  const lw_twin *sound = twin_of(s, AIR_BLEED);
  const lw_twin *shut = with(s, sound, "check valve=stuck shut");
  double curb = change(shut, sound, idle), off = change(shut, sound, (place){0.07, 1200});
  double wide = change(shut, sound, wide_open);
  printf("what the check valve does: idle %+.2f %%, off idle %+.2f %%, wide open %+.2f %%\n", curb,
         off, wide);
  assert_true(off > 2);
  assert_true(fabs(curb) < 0.2 * off && fabs(wide) < 0.2 * off);
}

/* ---- air valve ---- */

static double valve_share(const lw_twin *t, const lw_point *p, int barrel) {
  const lw_barrel *b = &t->net->barrels[barrel];
  double slope = 0;
  return lw_air_valve_share(p->pressure[b->horn] - p->pressure[b->signal], b->valve_opens,
                            b->valve_full, &slope);
}

static void a_light_air_valve_is_wide_open_at_a_modest_air_flow(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, FOUR);
  const lw_twin *tight = with(s, t, "air valve spring=6 turns");
  int rear = 0;
  while (!(t->net->barrels[rear].valve_full > 0))
    rear++;
  double most = at(t, (place){1, 4400}).barrel_air[rear], opened = NAN, stiff = NAN;
  for (double n = 800; n <= 4400; n += 100) {
    lw_point p = at(t, (place){1, n}), q = at(tight, (place){1, n});
    if (!(opened > 0) && valve_share(t, &p, rear) > 0.98) opened = p.barrel_air[rear];
    if (!(stiff > 0) && valve_share(tight, &q, rear) > 0.98) stiff = q.barrel_air[rear];
  }
  printf("wide open at %.0f g/s through its barrel, %.0f %% of that at 4,400 rpm; wound to 6 turns "
         "at %.0f g/s (nan: never)\n",
         1e3 * opened, 100 * opened / most, 1e3 * stiff);
  assert_true(opened < 0.7 * most);
  assert_true(!(stiff <= 1.2 * opened));
}

/* ---- secondaries ---- */

/* While their plates are shut no air goes through their boosters, and nothing may lift fuel over
   their lips: not the air horn's own depression either. */
static void shut_secondaries_bring_no_main_fuel(void **state) {
  static const char *const cards[] = {FOUR, VACUUM, PAIR};
  static const place places[] = {{0.15, 2000}, {0.3, 2000}, {0.4, 3000}};
  for (size_t i = 0; i < sizeof cards / sizeof cards[0]; i++) {
    const lw_twin *t = with(*state, twin_of(*state, cards[i]), "secondary=stuck shut");
    double most = 0;
    for (size_t k = 0; k < sizeof places / sizeof places[0]; k++) {
      lw_point p = at(t, places[k]);
      for (int n = 0; n < t->net->passage_count; n++) {
        if (strncmp(t->net->passages[n].name, "main nozzle, rear ", 18) != 0) continue;
        most = fmax(most, p.fuel_flow[n]);
      }
    }
    printf("%s: shut secondaries' nozzles bring %.2g g/s of fuel at most\n", cards[i], 1e3 * most);
    assert_true(most < 1e-9);
  }
}

/* ---- faults ---- */

static void a_vacuum_leak_leans_idle_and_fades_with_load(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *leak = with(s, t, "vacuum leak=2 mm");
  double i = change(t, leak, idle), c = change(t, leak, cruise), w = change(t, leak, wide_open);
  printf("leak of 2 mm: idle %+.1f %%, cruise %+.1f %%, wide open %+.2f %%\n", i, c, w);
  assert_true(i > 5 && c < 0.5 * i && w < 0.1 * i && w > -0.5);
}

static void a_leaking_power_valve_is_rich_everywhere_and_worst_at_idle(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *leak = with(s, t, "power valve=leaking");
  double i = change(t, leak, idle), c = change(t, leak, cruise), w = change(t, leak, wide_open);
  printf("leaking power valve: idle %+.1f %%, cruise %+.1f %%, wide open %+.2f %%\n", i, c, w);
  assert_true(i < -3 && i < c && c < w && w <= 0.01);
}

static void a_high_float_is_rich_and_more_so_at_small_flow(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *high = with(s, t, "float level=+3 mm");
  double i = change(t, high, idle), c = change(t, high, (place){0.1, 1700});
  double l = change(t, high, load), w = change(t, high, wide_open);
  printf(
      "fuel 3 mm high: idle %+.1f %%, light cruise %+.1f %%, load %+.1f %%, wide open %+.2f %%\n",
      i, c, l, w);
  assert_true(i < -0.5 && c < -0.5 && c < l && l < w && w < 0);
}

static double authority(shop *s, const lw_twin *t) {
  double rich = at(with(s, t, "mixture screw=+1 turn"), idle).fuel;
  double lean = at(with(s, t, "mixture screw=-1 turn"), idle).fuel;
  return 1e3 * (rich - lean);
}

static void a_plugged_idle_feed_takes_the_screw_its_authority(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX);
  double sound = authority(s, t);
  double clogged = authority(s, with(s, t, "idle feed=clogged 90 %"));
  double plugged = authority(s, with(s, t, "idle feed=plugged"));
  printf("two turns of the screw move %.3f g/s of idle fuel; the feed clogged by 90 %%: %.3f, "
         "plugged: %.3f\n",
         sound, clogged, plugged);
  assert_true(sound > 0.05 && clogged < 0.4 * sound && fabs(plugged) < 0.01 * sound);
}

static void a_plugged_idle_bleed_is_a_rich_idle(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *plugged = with(s, t, "idle bleed=plugged");
  double i = change(t, plugged, idle), w = change(t, plugged, wide_open);
  printf("idle bleed plugged: idle %+.1f %%, wide open %+.2f %%\n", i, w);
  assert_true(i < -10 && fabs(w) < 0.25 * fabs(i));
}

static void a_worn_main_jet_is_rich_above_transfer(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *worn = with(s, t, "main jet=worn 6 %");
  double i = change(t, worn, idle), o = change(t, worn, off_idle), l = change(t, worn, load);
  printf("main jet 6 %% wider: idle %+.2f %%, off idle %+.2f %%, load %+.1f %%\n", i, o, l);
  assert_true(l < -4 && i > 0.2 * l && o > 0.4 * l);
}

static void a_plugged_main_bleed_is_richer_as_flow_rises(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *plugged = with(s, t, "main bleed=plugged");
  double slow = change(t, plugged, (place){1, 1000}), fast = change(t, plugged, (place){1, 4000});
  double i = change(t, plugged, idle);
  printf("main bleed plugged: idle %+.2f %%, wide open at 1,000 rpm %+.1f %%, at 4,000 %+.1f %%\n",
         i, slow, fast);
  assert_true(fast < slow - 0.5 && fast < -3 && fabs(i) < 0.5);
}

/* ---- air, fuel, size ---- */

/* The rule is that of a plain jet: air goes with density, its depression on the fuel with density,
   and the fuel with the root of that. It is held to 0.4 points where the unit is a plain jet: without
   lip, main bleed and idle circuit. The whole unit gets less, for reasons that are its own (what
   takes each away is printed): bleed air thins out with the rest and lets the emulsion flow leaner,
   air runs back through the idle circuit, the lip costs a fixed depression, and at part throttle
   idle and transfer, behind ports the manifold chokes, follow no root of density at all. */
static void altitude_richens_with_the_inverse_square_root_of_density(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *high = with(s, t, "altitude=1600 m");
  double rule = 100 * (sqrt(high->ambient / t->ambient) - 1); /* the temperature stays */
  double w = change(t, high, wide_open), l = change(t, high, load);
  printf("1,600 m: wide open %+.1f %%, load %+.1f %%; the rule says %+.1f %%\n", w, l, rule);
  static const char *const taken[] = {"nozzle lip=0.3 mm", "main bleed=plugged",
                                      "idle feed=plugged"};
  double plain_w = w, plain_l = l;
  for (size_t i = 0; i < sizeof taken / sizeof taken[0]; i++) {
    t = with(s, t, taken[i]);
    plain_w = changed_by(s, t, "altitude=1600 m", wide_open);
    plain_l = changed_by(s, t, "altitude=1600 m", load);
    printf("  and with %s: wide open %+.2f %%, load %+.2f %%\n", taken[i], plain_w, plain_l);
  }
  NEAR(plain_w, rule, 0.4);
  NEAR(plain_l, rule, 0.4);
  NEAR(w, rule, 1.5);
  assert_true(l < 0.5 * rule && l > 1.2 * rule);
}

static void e10_reads_leaner_by_about_its_oxygen(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *e10 = with(s, t, "fuel=E10");
  double needs = lw_fuel_stoichiometric(&t->net->fuel) / lw_fuel_stoichiometric(&e10->net->fuel);
  double rule = 100 * (needs - 1);
  double i = change(t, e10, idle), c = change(t, e10, cruise), w = change(t, e10, wide_open);
  printf("E10: idle %+.1f %%, cruise %+.1f %%, wide open %+.1f %%; less air needed %+.1f %%\n", i,
         c, w, rule);
  NEAR(i, rule, 1);
  NEAR(c, rule, 1);
  NEAR(w, rule, 1);
}

/* Air at which the main circuit brings its first hundredth of the fuel, at 1,400 rpm, g/s. */
static double main_starts(const lw_twin *t) {
  for (double throttle = 0; throttle < 0.6; throttle += 0.002) {
    lw_point p = at(t, (place){throttle, 1400});
    if (share(&p, LW_CIRCUIT_MAIN) > 1) return 1e3 * p.air;
  }
  return NAN;
}

static void a_larger_venturi_is_weaker_later_and_leaner(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *large = with(s, t, "venturi=1 7/16 in");
  lw_point a = at(t, load), b = at(large, load);
  const lw_barrel *barrel = &t->net->barrels[0];
  double pull_a = a.pressure[barrel->horn] - a.pressure[barrel->signal];
  double pull_b = b.pressure[barrel->horn] - b.pressure[barrel->signal];
  double first_a = main_starts(t), first_b = main_starts(large), leaner = change(t, large, load);
  printf("venturi of 1 7/16 for 1 9/32 in: signal %.0f for %.0f Pa at %.0f and %.0f g/s, main from "
         "%.1f g/s for %.1f, load %+.1f %%\n",
         pull_b, pull_a, 1e3 * b.air, 1e3 * a.air, first_b, first_a, leaner);
  assert_true(pull_b < 0.75 * pull_a && fabs(b.air / a.air - 1) < 0.02);
  assert_true(first_b > 1.1 * first_a && leaner > 5);
}

static void the_main_circuit_of_the_six_starts_near_nine_grams(void **state) {
  const lw_twin *t = twin_of(*state, SIX);
  double first = main_starts(t);
  double leanest = 0, richest = 99;
  for (double throttle = 0; throttle < 0.12; throttle += 0.004) {
    lw_point p = at(t, (place){throttle, 700 + 7000 * throttle});
    leanest = fmax(leanest, p.afr);
    richest = fmin(richest, p.afr);
  }
  printf("main from %.1f g/s; from idle to an eighth open the mixture stays in %.1f to %.1f\n",
         first, richest, leanest);
  assert_true(first > 7 && first < 13);
  assert_true(richest > 11 && leanest < 17);
}

/* ---- choke, air cleaner ---- */

static void the_choke_works_on_every_circuit(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX), *choked = with(s, t, "choke=90 %");
  double i = change(t, choked, idle), o = change(t, choked, off_idle);
  double c = change(t, choked, cruise), w = change(t, choked, wide_open);
  printf(
      "choke 90 %% shut: idle %+.1f %%, off idle %+.1f %%, cruise %+.1f %%, wide open %+.1f %%\n",
      i, o, c, w);
  assert_true(i < -0.5 && o < -1 && c < -5 && w < -5);
}

static void a_clogged_air_cleaner_richens_only_an_externally_vented_bowl(void **state) {
  shop *s = *state;
  const lw_twin *t = twin_of(s, SIX);
  const lw_twin *inside = with(s, t, "bowl vent=internal"), *out = with(s, t, "bowl vent=external");
  double vented_in = changed_by(s, inside, "air cleaner=clogged 70 %", wide_open);
  double vented_out = changed_by(s, out, "air cleaner=clogged 70 %", wide_open);
  printf("air cleaner 70 %% clogged, wide open: vented inside %+.1f %%, outside %+.1f %%\n",
         vented_in, vented_out);
  assert_true(vented_out < -5 && fabs(vented_in) < 0.2 * fabs(vented_out));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(clockwise_leans_on_both_kinds_of_mixture_screw),
      cmocka_unit_test(a_turn_of_the_air_bleed_screw_is_gentler),
      cmocka_unit_test(a_screw_behind_a_limiter_never_passes_its_maximum),
      cmocka_unit_test(the_slot_is_small_at_curb_idle_and_takes_over_off_idle),
      cmocka_unit_test(bypass_lets_the_plate_sit_further_closed_and_the_slot_matter_less),
      cmocka_unit_test(the_off_idle_check_valve_leans_off_idle_and_only_there),
      cmocka_unit_test(a_light_air_valve_is_wide_open_at_a_modest_air_flow),
      cmocka_unit_test(shut_secondaries_bring_no_main_fuel),
      cmocka_unit_test(a_vacuum_leak_leans_idle_and_fades_with_load),
      cmocka_unit_test(a_leaking_power_valve_is_rich_everywhere_and_worst_at_idle),
      cmocka_unit_test(a_high_float_is_rich_and_more_so_at_small_flow),
      cmocka_unit_test(a_plugged_idle_feed_takes_the_screw_its_authority),
      cmocka_unit_test(a_plugged_idle_bleed_is_a_rich_idle),
      cmocka_unit_test(a_worn_main_jet_is_rich_above_transfer),
      cmocka_unit_test(a_plugged_main_bleed_is_richer_as_flow_rises),
      cmocka_unit_test(altitude_richens_with_the_inverse_square_root_of_density),
      cmocka_unit_test(e10_reads_leaner_by_about_its_oxygen),
      cmocka_unit_test(a_larger_venturi_is_weaker_later_and_leaner),
      cmocka_unit_test(the_main_circuit_of_the_six_starts_near_nine_grams),
      cmocka_unit_test(the_choke_works_on_every_circuit),
      cmocka_unit_test(a_clogged_air_cleaner_richens_only_an_externally_vented_bowl),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
