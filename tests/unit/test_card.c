/* test_card.c - spec cards and jobs from text to structs: what is read, what is refused and how it
 *is
 ** said, and that the key reference, the errors and the reader speak of the same keys.
 */
#include "check.h"

#include <stdlib.h>

#include "leanward/card.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define PI       3.14159265358979323846

static lw_units *units;
static lw_arena *arena;

static int open_all(void **state) {
  (void)state;
  return lw_units_open(&units, NULL) == LW_OK ? 0 : -1;
}

static int close_all(void **state) {
  (void)state;
  lw_units_close(units);
  return 0;
}

static int new_arena(void **state) {
  (void)state;
  arena = lw_arena_new(0);
  return arena ? 0 : -1;
}

static int free_arena(void **state) {
  (void)state;
  lw_arena_free(arena);
  return 0;
}

static lw_status read_either(bool job, const char *text, char *line, size_t size) {
  lw_bind bind = {arena, units, job ? "j.yaml" : "c.yaml"};
  lw_error error = {0};
  lw_card *card = NULL;
  lw_job *found = NULL;
  lw_status status = job ? lw_job_read(&bind, text, strlen(text), &found, &error)
                         : lw_card_read(&bind, text, strlen(text), &card, &error);
  lw_error_line(&error, line, size);
  assert_true(status == LW_OK || (!card && !found));
  return status;
}

static const lw_card *good_card(const char *text) {
  lw_bind bind = {arena, units, "c.yaml"};
  lw_error error = {0};
  lw_card *card = NULL;
  if (lw_card_read(&bind, text, strlen(text), &card, &error) != LW_OK) {
    fail_msg("%d: %s: %s", error.line, error.field, error.text);
  }
  return card;
}

static const lw_job *good_job(const char *text) {
  lw_bind bind = {arena, units, "j.yaml"};
  lw_error error = {0};
  lw_job *job = NULL;
  if (lw_job_read(&bind, text, strlen(text), &job, &error) != LW_OK) {
    fail_msg("%d: %s: %s", error.line, error.field, error.text);
  }
  return job;
}

/* ---- what is read ---- */

static void a_card_is_read_into_si(void **state) {
  (void)state;
  const lw_card *c =
      good_card("unit: CW-1\n"
                "year: 1972\n"
                "transmission: Automatic\n"
                "engine:\n"
                "  cylinders: 6\n"
                "  displacement: 220 in3\n"
                "  compression ratio: 8.5:1\n"
                "  initial timing: 2 +/- 2 deg ATDC\n"
                "  centrifugal advance:\n"
                "  - {speed: 500 rpm, advance: 0 to 2 deg}\n"
                "  - {speed: 2000 rpm, advance: 12 deg}\n"
                "carburetor:\n"
                "  barrels: 1\n"
                "  primary: {count: 1, main jet: 0.059 in, rods: [0.05 in, 1.1 mm]}\n"
                "  screws:\n"
                "  - {name: left, kind: air bleed, travel: 0 to 8 turns, preset: 2 1/2 turns}\n"
                "  sealed: limiter cap\n"
                "  dashpot: yes\n"
                "idle:\n"
                "  CO: at most 1.5 %\n"
                "  HC: 220 ppm propane\n"
                "limits:\n"
                "- european idle\n"
                "- {gas: CO, value: at most 4.5 %, at: fast idle}\n"
                "fuel: E10\n");
  assert_string_equal(c->file, "c.yaml");
  assert_string_equal(c->unit, "CW-1");
  assert_int_equal(c->year, 1972);
  assert_int_equal(c->transmission, LW_AUTOMATIC_TRANSMISSION);
  assert_int_equal(c->engine.line, 5);
  NEAR(c->engine.displacement, 220 * 1.6387064e-5, 1e-15);
  NEAR(c->engine.initial_timing.lo, -4 * PI / 180, 1e-12);
  NEAR(c->engine.initial_timing.hi, 0, 1e-12);
  assert_true(isnan(c->engine.bore));
  assert_false(lw_range_known(c->engine.dwell));
  assert_int_equal(c->engine.centrifugal_advance.count, 2);
  const lw_advance_point *points = c->engine.centrifugal_advance.items;
  assert_int_equal(points[1].line, 11);
  NEAR(points[1].speed, 2000 * PI / 30, 1e-9);
  assert_true(isnan(points[1].vacuum));
  NEAR(c->carburetor.primary.main_jet, 0.059 * 0.0254, 1e-12);
  assert_int_equal(c->carburetor.primary.rods.count, 2);
  NEAR(c->carburetor.primary.rods.x[1], 0.0011, 1e-12);
  assert_int_equal(c->carburetor.secondary.count, 0);
  const lw_screw_card *screw = c->carburetor.screws.items;
  assert_int_equal(screw->kind, LW_SCREW_AIR_BLEED);
  assert_int_equal(lw_screw_thread(screw), LW_THREAD_LEFT);
  NEAR(screw->preset.at, 2.5, 0);
  assert_string_equal(c->carburetor.sealed.text[0], "limiter cap");
  assert_int_equal(c->carburetor.dashpot, LW_YES);
  assert_int_equal(c->carburetor.bypass, LW_UNSAID);
  assert_true(isnan(c->idle.co.lo));
  NEAR(c->idle.co.hi, 0.015, 1e-15);
  NEAR(c->idle.hc.x, 2.2e-4, 1e-15);
  assert_int_equal(c->idle.hc.basis, LW_HC_PROPANE);
  const lw_limit_said *limits = c->limits.items;
  assert_string_equal(limits[0].public_set, "european idle");
  assert_int_equal(limits[1].at, LW_AT_FAST_IDLE);
  assert_int_equal(limits[1].line, 24);
  assert_string_equal(c->fuel.name, "E10");
}

static void a_job_is_read_into_si(void **state) {
  (void)state;
  const lw_job *j = good_job(
      "job: 17\n"
      "analyzers: [{name: red, class: I, HC as: hexane}, {name: blue, class: 00}]\n"
      "checks: {compression: [150 psi, 148 psi], vacuum fall time: 2.5 s, warm: yes}\n"
      "readings:\n"
      "- {stage: as found, analyzer: BLUE, CO: 3.5 %, HC: 300 ppm, screws: {left: 2 turns}}\n"
      "- stage: as left\n"
      "  analyzer: red\n"
      "  CO:\n"
      "done:\n"
      "- turned in the left screw\n"
      "- {what: again, screw: left, turned: -1/4 turn}\n"
      "notes: []\n");
  assert_string_equal(j->id, "17");
  const lw_analyzer *a = j->analyzers.items;
  assert_int_equal(a[0].accuracy, LW_CLASS_I);
  assert_int_equal(a[1].accuracy, LW_CLASS_00);
  assert_int_equal(j->checks.compression.count, 2);
  NEAR(j->checks.fall_time, 2.5, 0);
  assert_int_equal(j->checks.warm, LW_YES);
  const lw_reading *r = j->readings.items;
  assert_int_equal(j->readings.count, 2);
  NEAR(r[0].co, 0.035, 1e-15);
  assert_int_equal(r[0].hc.basis, LW_HC_UNSAID);
  const lw_named *screws = r[0].screws.items;
  assert_string_equal(screws[0].name, "left");
  NEAR(screws[0].x, 2, 0);
  assert_true(isnan(r[1].co));
  assert_int_equal(r[1].line, 6);
  const lw_done *done = j->done.items;
  assert_string_equal(done[0].what, "turned in the left screw");
  assert_true(isnan(done[0].turns));
  NEAR(done[1].turns, -0.25, 0);
  assert_int_equal(j->notes.count, 0);
}

/* ---- what is refused, whole lines ---- */

static const struct bad {
  const char *text, *line; /* whole error line, or its beginning when it ends in "..." */
} bad_cards[] = {
    {"[a, b]\n", "c.yaml:1: keys with values were expected for the spec card"},
    {"just words\n", "c.yaml:1: keys with values were expected for the spec card"},
    {"year: 1972\n",
     "c.yaml:1: the key 'unit' is missing: number stamped on the carburetor or on its tag"},
    {"unit:\nyear: 1972\n", "c.yaml:1: the key 'unit' is missing..."},
    {"unit: ''\n", "c.yaml:1: the key 'unit' is missing..."},
    {"unit: [a]\n", "c.yaml:1: unit: ..."},
    {"unit: x\nyaer: 1972\n", "c.yaml:2: 'yaer' is not a key of a spec card; did you mean 'year'?"},
    {"unit: x\nEngine: {}\n",
     "c.yaml:2: 'Engine' is not a key of a spec card; did you mean 'engine'?"},
    {"unit: x\ntachometer: 1\n",
     "c.yaml:2: 'tachometer' is not a key of a spec card; the keys are unit, maker, ..."},
    {"unit: x\nengine:\n  bore: 3.4 in\n  strok: 4 in\n",
     "c.yaml:4: engine: 'strok' is not a key of an engine; did you mean 'stroke'?"},
    {"unit: x\nidle:\n  sped: 650 rpm\n",
     "c.yaml:3: idle: 'sped' is not a key of an idle; did you mean 'speed'?"},
    {"unit: x\ncarburetor:\n  primary:\n    main jett: 0.059 in\n",
     "c.yaml:4: carburetor, primary: 'main jett' is not a key of a barrel; did you mean 'main "
     "jet'?"},
    {"unit: x\ncarburetor:\n  primary:\n    main jet: 0.059\n",
     "c.yaml:4: carburetor, primary, main jet: the unit is missing; use in, thou, mm, cm, m, ft"},
    {"unit: x\ncarburetor:\n  primary:\n    main jet: 0.059 psi\n",
     "c.yaml:4: carburetor, primary, main jet: 'psi' is not a unit that fits here; use in, thou, "
     "mm, cm, m, ft"},
    {"unit: x\ncarburetor:\n  primary:\n    main jet: 1,5 mm\n",
     "c.yaml:4: carburetor, primary, main jet: '1,5 mm' has a comma in a number; write a point, as "
     "in 3.5"},
    {"unit: x\ncarburetor: {primary: {main jet: 0.59 in}}\n",
     "c.yaml:2: carburetor, primary, main jet: '0.59 in' is 0.590 in (14.99 mm); 0.0039 to "
     "0.315 in was expected"},
    {"unit: x\ncarburetor: {primary: {main jet: -1 mm}}\n",
     "c.yaml:2: carburetor, primary, main jet: '-1 mm' is ..."},
    {"unit: x\ncarburetor: {primary: {main jet: nan}}\n",
     "c.yaml:2: carburetor, primary, main jet: 'nan' is not a number; leave the line out if not "
     "known"},
    {"unit: x\ncarburetor: {primary: {main jet: [1 mm]}}\n",
     "c.yaml:2: carburetor, primary, main jet: one value with its unit was expected here"},
    {"unit: x\ncarburetor: {primary: {rods: 1 mm}}\n",
     "c.yaml:2: carburetor, primary, rods: a list such as ..."},
    {"unit: x\ncarburetor:\n  primary:\n    rods:\n    - 1 mm\n    - 99 mm\n",
     "c.yaml:6: carburetor, primary, rods: '99 mm' is ..."},
    {"unit: x\ncarburetor:\n  screws:\n  - {name: a}\n  - {kind: fuel}\n",
     "c.yaml:5: carburetor, screw 2: the key 'name' is missing..."},
    {"unit: x\ncarburetor:\n  screws:\n  - {name: a}\n  - {name: }\n",
     "c.yaml:5: carburetor, screw 2: the key 'name' is missing..."},
    {"unit: x\ncarburetor:\n  screws:\n  - {name: a}\n  -\n",
     "c.yaml:5: carburetor, screw 2: keys with values were expected for the screw"},
    {"unit: x\ncarburetor:\n  screws: {name: a}\n",
     "c.yaml:3: carburetor, screws: a list ('- ...' lines) was expected here"},
    {"unit: x\ncarburetor:\n  screws:\n  - {name: a}\n  - {name: A}\n",
     "c.yaml:5: carburetor, screws: two screws have the same name; give each its own"},
    {"unit: x\ncarburetor:\n  screws:\n  - {name: a, kind: air bleed, thread: right-hand}\n",
     "c.yaml:4: carburetor, screws: an air-bleed screw has a left-hand thread..."},
    {"unit: x\ncarburetor:\n  screws:\n  - {name: a, travel: 0 to 2 turns, preset: 3 turns}\n",
     "c.yaml:4: carburetor, screws: the preset lies outside the screw's travel"},
    {"unit: x\ncarburetor:\n  screws:\n  - {name: a, kind: fule}\n",
     "c.yaml:4: carburetor, screw 1, kind: 'fule' is not a choice; did you mean 'fuel'?"},
    {"unit: x\ntransmission: cvt\n",
     "c.yaml:2: transmission: 'cvt' is not a choice; use manual or automatic"},
    {"unit: x\ntransmission: [manual]\n", "c.yaml:2: transmission: 'a list' is not a choice..."},
    {"unit: x\nyear: 19.5\n", "c.yaml:2: year: '19.5' is not a whole number"},
    {"unit: x\nyear: 72\n", "c.yaml:2: year: '72' is 72; 1900 to 2100 was expected"},
    {"unit: x\nyear: 1e30\n", "c.yaml:2: year: '1e30' is ..."},
    {"unit: x\nengine: {cylinders: 0}\n",
     "c.yaml:2: engine, cylinders: '0' is 0; 1 to 16 was expected"},
    {"unit: x\nengine: {cylinders: 6, bore: 3 in, stroke: 4 in, displacement: 220 in3}\n",
     "c.yaml:2: engine: bore, stroke and cylinders give 2.78 L and the displacement says 3.61 "
     "L..."},
    {"unit: x\nidle: {speed: 700 to 600 rpm}\n",
     "c.yaml:2: idle, speed: the span runs backward..."},
    {"unit: x\nidle: {speed: 600-700 rpm}\n",
     "c.yaml:2: idle, speed: '600-700 rpm': write a span with 'to', as in '600 to 700 rpm'"},
    {"unit: x\nidle: {speed: 9000 rpm}\n",
     "c.yaml:2: idle, speed: '9000 rpm' is 9000 rpm; 200 to 2500 rpm was expected"},
    {"unit: x\nidle: {CO: 13 %}\n",
     "c.yaml:2: idle, CO: '13 %' is 13.00 %; 0.00 to 12.00 % was expected"},
    {"unit: x\ncarburetor: {barrels: 2, primary: {count: 1}}\n",
     "c.yaml:2: carburetor, barrels: the counts..."},
    {"unit: x\ncarburetor: {primary: {throttle bore: 30 mm, venturi: 40 mm}}\n",
     "c.yaml:2: carburetor, venturi: ..."},
    {"unit: x\ncarburetor: {primary: {booster: 30 mm, venturi: 20 mm}}\n",
     "c.yaml:2: carburetor, booster: ..."},
    {"unit: x\ncarburetor: {power valve opens: 10 inHg, power valve closed: 8 inHg}\n",
     "c.yaml:2: carburetor, power valve closed: ..."},
    {"unit: x\nlimits:\n- {gas: CO}\n",
     "c.yaml:3: limit 1: a limit needs its gas and its value..."},
    {"unit: x\nlimits:\n- {value: 1 %}\n",
     "c.yaml:3: limit 1: a limit needs its gas and its value..."},
    {"unit: x\nlimits:\n- x\n- ''\n", "c.yaml:4: limit 2: a limit needs its gas and its value..."},
    {"unit: x\nlimits:\n- {public: x, gas: CO}\n",
     "c.yaml:3: limit 1: a limit is either a public set or..."},
    {"unit: x\nlimits:\n- {public: x, value: at most 3 %}\n",
     "c.yaml:3: limit 1: a limit is either a public set or..."},
    {"unit: x\nlimits:\n- {gas: HC, value: at most 200 ppm propane}\n",
     "c.yaml:3: limit 1, value: HC is counted as hexane here..."},
    {"unit: x\nfuel: {hydrogen to carbon: 5}\n",
     "c.yaml:2: fuel, hydrogen to carbon: '5' is 5.00; 0.00 to 4.00 was expected"},
    {"unit: x\r\nengine:\r\n  bore: 3.4\r\n", "c.yaml:3: engine, bore: the unit is missing..."},
    {"\xef\xbb\xbfunit: x\nengine:\n\tbore: 3.4\n", "c.yaml:3: this does not read as YAML..."},
};

static const struct bad bad_jobs[] = {
    {"date: today\n", "j.yaml:1: the key 'job' is missing: number or name of the job"},
    {"job: 1\nreadings:\n- {CO: 13 %, CO2: 14 %}\n",
     "j.yaml:3: reading 1: CO and CO2 together are over 25 %..."},
    {"job: 1\nreadings:\n- {CO: 1 %}\n- {CO: 10 %, CO2: 10 %, O2: 11 %}\n",
     "j.yaml:4: reading 2: CO, CO2 and O2 together are over 30 %..."},
    {"job: 1\nreadings:\n- {O2: 21.5 %}\n",
     "j.yaml:3: reading 1, O2: '21.5 %' is 21.50 %; 0.00 to 21.00 % was expected"},
    {"job: 1\nreadings:\n- {CO: -0.1 %}\n",
     "j.yaml:3: reading 1, CO: '-0.1 %' is -0.10 %; 0.00 to 25.00 % was expected"},
    {"job: 1\nreadings:\n- {HC: -5 ppm}\n", "j.yaml:3: reading 1, HC: '-5 ppm' is ..."},
    {"job: 1\nreadings:\n- {HC: 220}\n",
     "j.yaml:3: reading 1, HC: the unit is missing; use ppm, %"},
    {"job: 1\nreadings:\n- {CO: NaN}\n",
     "j.yaml:3: reading 1, CO: 'NaN' is not a number; leave the line out if not known"},
    {"job: 1\nreadings:\n- {CO: 3.5}\n",
     "j.yaml:3: reading 1, CO: the unit is missing; use %, ppm"},
    {"job: 1\nreadings:\n- {CO: '3,5 %'}\n", "j.yaml:3: reading 1, CO: '3,5 %' has a comma..."},
    {"job: 1\nreadings:\n- {CO: 3 % propane}\n", "j.yaml:3: reading 1, CO: ..."},
    {"job: 1\nreadings:\n- {analyzer: red}\n",
     "j.yaml:3: reading 1: 'red' is not one of the job's analyzers"},
    {"job: 1\nanalyzers: [{name: reed}]\nreadings:\n- {analyzer: read}\n",
     "j.yaml:4: reading 1: 'read' is not one of the job's analyzers; did you mean 'reed'?"},
    {"job: 1\nanalyzers: [{name: a}, {name: b}]\nreadings:\n- {CO: 1 %}\n",
     "j.yaml:4: reading 1: the job has several analyzers; say which one took this reading"},
    {"job: 1\nsnaps:\n- {CO least: 3 %, CO most: 0.6 %}\n",
     "j.yaml:3: snap 1: the lowest CO lies over the highest: check both, they may be swapped"},
    {"job: 1\nsnaps:\n- {kind: tip-in, speed: 1500 rpm}\n- {kind: snap, speed: 1500 rpm}\n",
     "j.yaml:4: snap 2: a snap starts from idle and holds no speed: write the highest as 'speed "
     "most', or say kind: tip-in or floored"},
    {"job: 1\nsnaps:\n- {speed: 1500 rpm}\n", "j.yaml:3: snap 1: a snap starts from idle..."},
    {"job: 1\nanalyzers: [{name: a}, {name: b}]\nsnaps:\n- {CO most: 1 %}\n",
     "j.yaml:4: snap 1: the job has several analyzers; say which one took this reading"},
    {"job: 1\nanalyzers: [{name: reed}]\nsnaps:\n- {analyzer: read}\n",
     "j.yaml:4: snap 1: 'read' is not one of the job's analyzers; did you mean 'reed'?"},
    {"job: 1\nsnaps:\n- {felt: flat}\n", "j.yaml:3: snap 1, felt: ..."},
    {"job: 1\nsnaps:\n- {kind: blip}\n", "j.yaml:3: snap 1, kind: ..."},
    {"job: 1\nsnaps:\n- {CO most: 26 %}\n", "j.yaml:3: snap 1, CO most: ..."},
    {"job: 1\nchecks: {pump shot: feeble}\n", "j.yaml:2: checks, pump shot: ..."},
    {"job: 1\nchecks: {air valve spring: 11 turns}\n", "j.yaml:2: checks, air valve spring: ..."},
    {"job: 1\nanalyzers: [{name: }, {name: b}]\nreadings:\n- {analyzer: c}\n",
     "j.yaml:2: analyzer 1: the key 'name' is missing..."},
    {"job: 1\nanalyzers: [{name: a}, {name: A}]\n",
     "j.yaml:2: analyzer 2: two analyzers have the same name..."},
    {"job: 1\nanalyzers: [{name: a, HC error: 24 ppm propane}]\n",
     "j.yaml:2: analyzer 1, HC error: HC is counted as hexane here..."},
    {"job: 1\ncar: {cylinders: 2}\nchecks:\n  compression: [1 bar, 2 bar, 3 bar]\n",
     "j.yaml:4: checks, compression: there are more values than the car has cylinders"},
    {"job: 1\nreadings:\n- {screws: {left: 2}}\n",
     "j.yaml:3: reading 1, screws: the unit is missing; use turns"},
    {"job: 1\nreadings:\n- {screws: [2 turns]}\n", "j.yaml:3: reading 1, screws: ..."},
    {"job: 1\nreadings:\n- {speed: 650 rpm, sped: 1}\n",
     "j.yaml:3: reading 1: 'sped' is not a key of a reading; did you mean 'speed'?"},
    {"job: 1\ndone:\n- ''\n", "j.yaml:3: work step 1: the key 'what' is missing..."},
    {"job: 1\ndone:\n- {turned: 1 turn}\n", "j.yaml:3: work step 1: the key 'what' is missing..."},
    {"job: 1\nchecks: {warm: maybe}\n",
     "j.yaml:2: checks, warm: 'maybe' is not a choice; use no or yes"},
    {"job: 1\nchecks: {warm: true}\n",
     "j.yaml:2: checks, warm: 'true' is not a choice; use no or yes"},
    {"job: 1\nweather: {humidity: 120 %}\n",
     "j.yaml:2: weather, humidity: '120 %' is 120 %; 0 to 100 % was expected"},
    {"job: 1\nweather: {pressure: 29.9 in}\n",
     "j.yaml:2: weather, pressure: 'in' is not a unit that fits here; use inHg..."},
};

static void refuse_all(bool job, const struct bad *rows, size_t count) {
  for (size_t i = 0; i < count; i++) {
    char line[900];
    lw_status status = read_either(job, rows[i].text, line, sizeof line);
    if (status != LW_BAD_INPUT) fail_msg("taken: %s", rows[i].text);
    size_t n = strlen(rows[i].line);
    bool open = n > 3 && strcmp(rows[i].line + n - 3, "...") == 0;
    if (open ? strncmp(line, rows[i].line, n - 3) != 0 || strlen(line) <= n - 3
             : strcmp(line, rows[i].line) != 0) {
      fail_msg("%s\n said     %s\n expected %s", rows[i].text, line, rows[i].line);
    }
  }
}

static void bad_cards_get_an_exact_line(void **state) {
  (void)state;
  refuse_all(false, bad_cards, COUNT(bad_cards));
}

static void bad_jobs_get_an_exact_line(void **state) {
  (void)state;
  refuse_all(true, bad_jobs, COUNT(bad_jobs));
}

static void forty_analyzers_are_all_known(void **state) {
  (void)state;
  char text[4000] = "job: 1\nanalyzers:\n";
  for (int i = 1; i <= 40; i++)
    lw_text_append(text, sizeof text, "- {name: unit %d}\n", i);
  lw_text_append(text, sizeof text, "readings:\n- {analyzer: unit 40, CO: 1 %%}\n");
  good_job(text);
}

/* ---- tables, reference, walk ---- */

typedef struct seen {
  char *text;
  size_t count;
} seen;

static void collect(void *to, const char *text) {
  seen *s = to;
  size_t old = strlen(s->text), n = strlen(text);
  assert_true(n > 0 && text[n - 1] == '\n');
  assert_null(memchr(text, '\n', n - 1));
  s->text = realloc(s->text, old + n + 1);
  memcpy(s->text + old, text, n + 1);
  s->count++;
}

static size_t expect_keys(const lw_table *table, int depth, const char **at) {
  size_t count = 0;
  for (size_t i = 0; i < table->count; i++) {
    const lw_field *f = &table->fields[i];
    char want[120];
    snprintf(want, sizeof want, "%*s- `%s` (", depth * 2, "", f->key);
    if (strncmp(*at, want, strlen(want)) != 0) fail_msg("expected %s at %.60s", want, *at);
    const char *end = strchr(*at, '\n');
    assert_non_null(end);
    char line[800];
    snprintf(line, sizeof line, "%.*s", (int)(end - *at), *at);
    HOLDS(line, f->what);
    assert_true((strstr(line, "; required)") != NULL) == f->required);
    *at = end + 1;
    count++;
    if (f->table) count += expect_keys(f->table, depth + 1, at);
  }
  return count;
}

static void the_key_reference_lists_every_key(void **state) {
  (void)state;
  const lw_table *tables[] = {lw_card_table(), lw_job_table()};
  for (size_t i = 0; i < 2; i++) {
    seen s = {calloc(1, 1), 0};
    lw_table_reference(tables[i], collect, &s);
    const char *at = s.text;
    assert_int_equal(expect_keys(tables[i], 0, &at), s.count);
    assert_string_equal(at, "");
    assert_true(s.count > 60);
    free(s.text);
  }
}

/* A table cannot be wrong in ways that only bad memory would show. */
static void check_table(const lw_table *table, int depth) {
  assert_true(depth < 8);
  assert_true(table->count > 0 && table->count <= 64); /* MOST_CANDIDATES in bind.c */
  assert_true(table->line_at == SIZE_MAX || table->line_at + sizeof(int) <= table->size);
  for (size_t i = 0; i < table->count; i++) {
    const lw_field *f = &table->fields[i];
    assert_true(f->key && f->key[0] && f->what && f->what[0]);
    assert_true(f->at < table->size);
    assert_false(f->lo > f->hi);
    assert_true((f->kind == LW_KIND_CHOICE) == (f->choices != NULL));
    assert_true((f->kind == LW_KIND_MAP || f->kind == LW_KIND_LIST) == (f->table != NULL));
    if (f->choices) assert_true(f->choices[0][0] == '\0' && f->choices[1]);
    for (size_t j = 0; j < i; j++) {
      if (lw_text_same(f->key, table->fields[j].key))
        fail_msg("%s: '%s' stands twice", table->name, f->key);
      if (f->at == table->fields[j].at)
        fail_msg("%s: '%s' and '%s' share a member", table->name, f->key, table->fields[j].key);
    }
    if (f->table) check_table(f->table, depth + 1);
  }
}

static void tables_are_sound(void **state) {
  (void)state;
  check_table(lw_card_table(), 0);
  check_table(lw_job_table(), 0);
}

/* Every required key of every table, reached by a document made from the tables themselves: with
   the key the document reads, without it the error names the key. */
static void write_value(const lw_field *f, char *out, size_t size) {
  double mid = lw_known(f->lo) && lw_known(f->hi) ? 0.5 * (f->lo + f->hi)
               : lw_known(f->lo)                  ? f->lo + 1
                                                  : 1;
  char value[80];
  snprintf(value, sizeof value, "%.9g%s%s", lw_dim_shown(f->dim, LW_METRIC, mid),
           lw_dim_unit(f->dim, LW_METRIC)[0] ? " " : "", lw_dim_unit(f->dim, LW_METRIC));
  switch (f->kind) {
  case LW_KIND_WHOLE: lw_text_append(out, size, "%.0f", floor(mid)); break;
  case LW_KIND_QUANTITY:
  case LW_KIND_RANGE:
  case LW_KIND_HC: lw_text_append(out, size, "%s", value); break;
  case LW_KIND_QUANTITIES: lw_text_append(out, size, "[%s, %s]", value, value); break;
  case LW_KIND_NAMED: lw_text_append(out, size, "{left: %s}", value); break;
  case LW_KIND_CHOICE: lw_text_append(out, size, "%s", f->choices[1]); break;
  case LW_KIND_ANSWER: lw_text_append(out, size, "yes"); break;
  default: lw_text_append(out, size, "word"); break;
  }
}

static void write_table(const lw_table *table, const lw_field *leave, char *out, size_t size) {
  lw_text_append(out, size, "{");
  for (size_t i = 0; i < table->count; i++) {
    const lw_field *f = &table->fields[i];
    if (f == leave) continue;
    lw_text_append(out, size, "%s: ", f->key);
    if (f->kind == LW_KIND_LIST) lw_text_append(out, size, "[");
    if (f->table) {
      write_table(f->table, leave, out, size);
    } else {
      write_value(f, out, size);
    }
    lw_text_append(out, size, f->kind == LW_KIND_LIST ? "]," : ",");
  }
  lw_text_append(out, size, "}");
}

static size_t leave_out_each(const lw_table *root, const lw_table *table, const lw_bind *bind) {
  static char text[40000];
  size_t required = 0;
  for (size_t i = 0; i < table->count; i++) {
    const lw_field *f = &table->fields[i];
    text[0] = '\0';
    write_table(root, f, text, sizeof text);
    const lw_node *node = NULL;
    lw_error error = {0};
    void *object = calloc(1, root->size);
    assert_int_equal(lw_doc_parse(arena, "t", text, strlen(text), &node, &error), LW_OK);
    lw_status status = lw_table_read(bind, root, node, object, &error);
    free(object);
    if (f->required) {
      char want[80];
      snprintf(want, sizeof want, "the key '%s' is missing", f->key);
      assert_int_equal(status, LW_BAD_INPUT);
      HOLDS(error.text, want);
      required++;
    } else if (status != LW_OK) {
      fail_msg("without '%s': %s: %s", f->key, error.field, error.text);
    }
    if (f->table) required += leave_out_each(root, f->table, bind);
  }
  return required;
}

static void each_required_key_is_required_and_no_other(void **state) {
  (void)state;
  lw_bind bind = {arena, units, "t"};
  assert_int_equal(leave_out_each(lw_card_table(), lw_card_table(), &bind), 2);
  assert_int_equal(leave_out_each(lw_job_table(), lw_job_table(), &bind), 3);
}

static void count_visit(void *to, const char *path, const lw_field *field, const char *shop,
                        const char *metric) {
  (void)field;
  assert_true(path[0] && shop && metric && shop[0] && metric[0]);
  (*(size_t *)to)++;
}

static size_t leaves(const lw_table *table) {
  size_t count = 0;
  for (size_t i = 0; i < table->count; i++)
    count += table->fields[i].table ? leaves(table->fields[i].table) : 1;
  return count;
}

static void the_walk_visits_every_filled_member_once(void **state) {
  (void)state;
  static char text[40000];
  const lw_table *tables[] = {lw_card_table(), lw_job_table()};
  for (size_t i = 0; i < 2; i++) {
    lw_bind bind = {arena, units, "t"};
    const lw_node *node = NULL;
    size_t visits = 0;
    text[0] = '\0';
    write_table(tables[i], NULL, text, sizeof text);
    void *object = calloc(1, tables[i]->size);
    assert_int_equal(lw_doc_parse(arena, "t", text, strlen(text), &node, NULL), LW_OK);
    lw_table_clear(tables[i], object);
    lw_table_walk(tables[i], object, count_visit, &visits);
    assert_int_equal(visits, 0);
    assert_int_equal(lw_table_read(&bind, tables[i], node, object, NULL), LW_OK);
    lw_table_walk(tables[i], object, count_visit, &visits);
    assert_int_equal(visits, leaves(tables[i]));
    free(object);
  }
}

static void find_text(void *to, const char *path, const lw_field *field, const char *shop,
                      const char *metric) {
  (void)field;
  (void)metric;
  if (strcmp(path, "idle, procedure") == 0) *(size_t *)to = strlen(shop);
}

static void a_long_text_is_walked_whole(void **state) {
  (void)state;
  char text[1200] = "unit: x\nidle: {procedure: ";
  for (int i = 0; i < 90; i++)
    lw_text_append(text, sizeof text, "ten bytes ");
  lw_text_append(text, sizeof text, "end}\n");
  size_t length = 0;
  lw_table_walk(lw_card_table(), good_card(text), find_text, &length);
  assert_int_equal(length, 903);
}

static void words_for_every_choice(void **state) {
  (void)state;
  for (int i = 0; i <= LW_SCREW_FIXED; i++)
    assert_true(lw_screw_kind_text((lw_screw_kind)i)[0]);
  assert_string_equal(lw_transmission_text(LW_TRANSMISSION_UNSAID), "not said");
  assert_string_equal(lw_transmission_text(LW_AUTOMATIC_TRANSMISSION), "automatic");
  assert_string_equal(lw_gas_text(LW_GAS_CO2), "CO2");
  assert_string_equal(lw_gas_text(LW_GAS_NO), "NO");
  assert_string_equal(lw_condition_text(LW_AT_FAST_IDLE), "fast idle");
  assert_string_equal(lw_stage_text(LW_AS_LEFT), "as left");
  assert_string_equal(lw_class_text(LW_CLASS_00), "00");
  assert_string_equal(lw_class_text(LW_CLASS_II), "II");
}

/* Common practice, no source: the air-bleed screw is the left-hand one. */
static void a_screw_has_the_thread_of_its_kind_unless_said(void **state) {
  (void)state;
  lw_screw_card s = {.kind = LW_SCREW_AIR_BLEED};
  assert_int_equal(lw_screw_thread(&s), LW_THREAD_LEFT);
  s.kind = LW_SCREW_FUEL_LIMITER;
  assert_int_equal(lw_screw_thread(&s), LW_THREAD_RIGHT);
  s.thread = LW_THREAD_LEFT;
  assert_int_equal(lw_screw_thread(&s), LW_THREAD_LEFT);
  s = (lw_screw_card){.kind = LW_SCREW_FIXED};
  assert_int_equal(lw_screw_thread(&s), LW_THREAD_UNSAID);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, new_arena, free_arena)

int main(void) {
  const struct CMUnitTest tests[] = {
      TEST(a_card_is_read_into_si),
      TEST(a_job_is_read_into_si),
      TEST(bad_cards_get_an_exact_line),
      TEST(bad_jobs_get_an_exact_line),
      TEST(forty_analyzers_are_all_known),
      TEST(the_key_reference_lists_every_key),
      TEST(tables_are_sound),
      TEST(each_required_key_is_required_and_no_other),
      TEST(the_walk_visits_every_filled_member_once),
      TEST(a_long_text_is_walked_whole),
      TEST(words_for_every_choice),
      TEST(a_screw_has_the_thread_of_its_kind_unless_said),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
