/* test_json.c - worked jobs and gas analyses as JSON, and docs/json.md held to them. */
#include "check.h"

#include "leanward/gas_stream.h"
#include "leanward/record.h"

#include <math.h>
#include <stdlib.h>
#include <unistd.h>

#define TEXTS(name, ...) static const char *const name[] = {__VA_ARGS__}

/* ---- a job with everything in it, put together by hand ---- */

typedef struct made {
  lw_fuel fuel;
  lw_job job;
  lw_card card, fitted;
  lw_analyzer analyzer;
  lw_named screw;
  lw_done done;
  lw_snap_reading snap;
  lw_reading readings[2];
  lw_reading_work worked[2];
  lw_difference difference;
  lw_judgement judgements[2];
  lw_sample sample;
  lw_cause cause;
  lw_next_test test;
  lw_told told;
  lw_diagnosis diagnosis;
  lw_work work;
} made;

TEXTS(two_texts, "first", "second");

static void make_job(made *m) {
  m->done = (lw_done){"leaned", "left", -0.25, 40};
  m->snap = (lw_snap_reading){.label = "once",
                              .kind = LW_SNAP_TIP_IN,
                              .speed = 150,
                              .co_least = 0.006,
                              .co_most = 0.03,
                              .hc_most = {480e-6, LW_HC_PROPANE},
                              .o2_most = NAN,
                              .vacuum_most = NAN,
                              .speed_most = NAN,
                              .felt = LW_FELT_POPS_BACK};
  m->job = (lw_job){
      .file = "corran.yaml",
      .id = "J-220-7",
      .date = "2026-04-01",
      .technician = "T",
      .shop = "S",
      .customer = "C",
      .complaint = "stalls when warm",
      .card = "six.yaml",
      .fitted_card = "six-automatic.yaml",
      .fitted_unit = "CW-2201",
      .car = {.description = "Corran 220 six",
              .plate = "X 1",
              .odometer = "81,000 km",
              .engine = "Corran 220",
              .emissions = "none",
              .year = 1972,
              .cylinders = 6,
              .displacement = 3.6e-3,
              .transmission = LW_MANUAL_TRANSMISSION},
      .weather = {.temperature = 293.15, .pressure = 98000, .humidity = 0.4, .altitude = NAN},
      .done = {&m->done, 1},
      .snaps = {&m->snap, 1},
      .notes = {two_texts, 2},
  };
  m->card = (lw_card){.file = "six.yaml",
                      .unit = "CW-2200",
                      .maker = "Corran Works",
                      .year = 1972,
                      .engine_name = "Corran 220",
                      .transmission = LW_MANUAL_TRANSMISSION};
  m->fitted = (lw_card){.file = "six-automatic.yaml", .unit = "CW-2201"};
}

static void make_readings(made *m) {
  lw_error error = {0};
  m->analyzer = lw_gas_plan_new(&m->fuel).analyzer;
  m->analyzer.name = "bench";
  m->analyzer.accuracy = LW_CLASS_I;
  m->analyzer.basis = LW_BASIS_DRY;
  m->screw = (lw_named){"left", 1.75, 12};
  m->readings[0] = (lw_reading){.label = "before",
                                .stage = LW_AS_FOUND,
                                .gear = LW_GEAR_NEUTRAL,
                                .choke = LW_CHOKE_PARTLY_OPEN,
                                .air_cleaner = LW_YES,
                                .settled = LW_NO,
                                .speed = 70,
                                .co = 0.032,
                                .co2 = 0.128,
                                .o2 = 0.006,
                                .no = NAN,
                                .hc = {250e-6, LW_HC_HEXANE},
                                .vacuum = 60000,
                                .needle = LW_NEEDLE_IRREGULAR_DROP,
                                .timing = 0.1,
                                .screws = {&m->screw, 1}};
  m->readings[1] = (lw_reading){.co = NAN,
                                .co2 = NAN,
                                .o2 = NAN,
                                .no = NAN,
                                .hc = {NAN, 0},
                                .speed = NAN,
                                .vacuum = 50000,
                                .timing = NAN};
  m->sample = lw_reading_sample(&m->readings[0], &m->analyzer, &m->fuel, NAN);
  m->worked[0] = (lw_reading_work){&m->readings[0], &m->analyzer, true, .at = LW_AT_IDLE};
  m->worked[1] = (lw_reading_work){&m->readings[1], NULL, false, .at = LW_AT_UNSAID};
  lw_exhaust *e = &m->worked[0].exhaust;
  assert_int_equal(lw_exhaust_work(&m->sample, e, &error), LW_OK);
  assert_true(e->note_count < LW_NOTES_MOST);
  e->notes[e->note_count++] =
      (lw_note){LW_NOTE_RICH_HC, LW_REMARK, "HC is high because it is rich"};
}

static void make_answers(made *m) {
  lw_work *w = &m->work;
  m->difference = (lw_difference){"transmission", "manual", "automatic", "no dashpot"};
  m->judgements[0] = (lw_judgement){.name = "CO at idle",
                                    .source = "decal",
                                    .gas = LW_GAS_CO,
                                    .at = LW_AT_IDLE,
                                    .limit = {NAN, NAN, 0.03},
                                    .reading = 0,
                                    .value = {0.032, 0.001},
                                    .inside = 0.02,
                                    .verdict = LW_TOO_CLOSE};
  m->judgements[1] = (lw_judgement){.name = "lambda",
                                    .limit = {0.97, NAN, 1.03},
                                    .reading = SIZE_MAX,
                                    .value = {NAN, NAN},
                                    .inside = NAN};
  *w = (lw_work){.job = &m->job,
                 .card = &m->card,
                 .fitted = &m->fitted,
                 .fuel = m->fuel,
                 .ambient = 98000,
                 .ambient_how = "measured",
                 .intake = {LW_BELONGS_NOT, "does not belong", &m->difference, 1},
                 .readings = m->worked,
                 .reading_count = 2,
                 .found = 0,
                 .left = SIZE_MAX,
                 .judgements = m->judgements,
                 .judgement_count = 2,
                 .judgements_found = m->judgements,
                 .judgement_found_count = 1,
                 .verdict = LW_OUTSIDE,
                 .verdict_words = "outside",
                 .advice = {{LW_MOVE_MIXTURE, "left", true, true, 0.125, "turn", "CO is high"},
                            "CO 1 to 2 %",
                            two_texts,
                            2,
                            two_texts,
                            1},
                 .cautions = two_texts,
                 .caution_count = 2,
                 .gaps = two_texts,
                 .gap_count = 1};
  for (int i = 0; i < LW_CHECK_COUNT; i++) {
    w->fitness.checks[i] = (lw_check){.id = (lw_check_id)i,
                                      .name = "engine warm",
                                      .answer = LW_NOT_FIT,
                                      .essential = true,
                                      .found = "60 degC"};
  }
  w->fitness.overall = LW_NOT_FIT;
  w->fitness.not_fit = LW_CHECK_COUNT;
}

static void make_causes(made *m) {
  static const lw_evidence evidence = {"CO, idle", "3.2 %", "0.8 to 1.6 %", "3.1 %", 4};
  m->cause = (lw_cause){.id = LW_CAUSE_FLOAT_HIGH,
                        .second = LW_CAUSE_FUEL,
                        .name = "fuel level high, about 3 mm",
                        .probability = 0.7,
                        .size = 3,
                        .edits = {"float level=+3 mm"},
                        .edit_count = 1,
                        .evidence = &evidence,
                        .evidence_count = 1};
  m->test = (lw_next_test){.name = "fuel level",
                           .how = "at the sight hole",
                           .minutes = 12,
                           .gain = 0.4,
                           .outcomes = "high: float",
                           .find_count = 1,
                           .finds = {{LW_CAUSE_FLOAT_HIGH, 0.9}}};
  m->told.sights[0].label = "idle";
  m->told.count = 1;
  m->told.snaps[0].label = "snap from idle";
  m->told.snap_count = 1;
  m->told.left_out[0] = "hunting: had not settled";
  m->told.left_out_count = 1;
  m->diagnosis = (lw_diagnosis){.causes = &m->cause,
                                .cause_count = 1,
                                .tests = &m->test,
                                .test_count = 1,
                                .summary = "probably fuel level high",
                                .found = true,
                                .unit = "another unit",
                                .told = &m->told};
  m->diagnosis.unseen[LW_CAUSE_CLEANER] = true;
  m->work.causes = &m->diagnosis;
}

static made *make(void) {
  made *m = calloc(1, sizeof *m);
  assert_non_null(m);
  assert_true(lw_fuel_by_name("E10", &m->fuel));
  make_job(m);
  make_readings(m);
  make_answers(m);
  make_causes(m);
  return m;
}

/* ---- looking into it ---- */

/* The value at "readings/0/gas/lambda/value"; fails when any part is not there. */
static json_t *at(json_t *json, const char *path) {
  char part[64];
  for (const char *p = path; *p; p += *p == '/') {
    size_t n = strcspn(p, "/");
    snprintf(part, sizeof part, "%.*s", (int)n, p);
    json = json_is_array(json) ? json_array_get(json, (size_t)strtol(part, NULL, 10))
                               : json_object_get(json, part);
    if (!json) fail_msg("%s: no %s", path, part);
    p += n;
  }
  return json;
}

static double number_at(json_t *json, const char *path) {
  json_t *value = at(json, path);
  if (!json_is_number(value)) fail_msg("%s is no number", path);
  return json_number_value(value);
}

static void text_at(json_t *json, const char *path, const char *want) {
  const char *got = json_string_value(at(json, path));
  if (!got) fail_msg("%s is no text", path);
  assert_string_equal(got, want);
}

static void null_at(json_t *json, const char *path) {
  if (!json_is_null(at(json, path))) fail_msg("%s is not null", path);
}

/* ---- tests ---- */

static void a_job_keeps_its_identity_and_its_answers(void **state) {
  (void)state;
  made *m = make();
  json_t *json = lw_work_json(&m->work);
  assert_non_null(json);
  text_at(json, "leanward", LW_VERSION);
  text_at(json, "job/id", "J-220-7");
  text_at(json, "job/notes/1", "second");
  text_at(json, "job/done/0/screw", "left");
  NEAR(number_at(json, "job/done/0/turns_counterclockwise"), -0.25, 0);
  text_at(json, "car/plate", "X 1");
  text_at(json, "car/transmission", "manual");
  assert_int_equal(json_integer_value(at(json, "car/model_year")), 1972);
  NEAR(number_at(json, "car/displacement_m3"), 3.6e-3, 0);
  NEAR(number_at(json, "weather/temperature_k"), 293.15, 0);
  text_at(json, "fuel/name", "E10");
  text_at(json, "card/unit", "CW-2200");
  text_at(json, "fitted/unit", "CW-2201");
  text_at(json, "intake/answer", "belongs_not");
  text_at(json, "intake/differences/0/why", "no dashpot");
  text_at(json, "fitness/answer", "not_fit");
  assert_int_equal(json_array_size(at(json, "fitness/checks")), LW_CHECK_COUNT);
  text_at(json, "fitness/checks/0/found", "60 degC");
  text_at(json, "verdict", "outside");
  text_at(json, "advice/move/kind", "mixture");
  assert_true(json_is_true(at(json, "advice/move/clockwise")));
  NEAR(number_at(json, "advice/move/turns"), 0.125, 0);
  assert_int_equal(json_array_size(at(json, "advice/steps")), 2);
  assert_int_equal(json_array_size(at(json, "advice/cares")), 1);
  assert_int_equal(json_array_size(at(json, "cautions")), 2);
  assert_int_equal(json_array_size(at(json, "gaps")), 1);
  json_decref(json);
  free(m);
}

static void a_job_keeps_its_readings_and_judgements(void **state) {
  (void)state;
  made *m = make();
  json_t *json = lw_work_json(&m->work);
  assert_int_equal(json_array_size(at(json, "readings")), 2);
  text_at(json, "readings/0/stage", "as found");
  text_at(json, "readings/0/condition", "idle");
  text_at(json, "readings/0/choke", "partly_open");
  text_at(json, "readings/0/needle", "irregular_drop");
  text_at(json, "readings/0/gear", "neutral");
  text_at(json, "snaps/0/kind", "tip_in");
  text_at(json, "snaps/0/felt", "pops_back");
  text_at(json, "snaps/0/hc_as", "propane");
  text_at(json, "snaps/0/words",
          "once, tip-in at 1432 rpm: CO 0.6 to 3.0 %, HC to 480 ppm as propane; pops back");
  text_at(json, "causes/weighed/1", "snap from idle");
  text_at(json, "causes/not_shown_by/0", lw_cause_shown_by(LW_CAUSE_CLEANER));
  text_at(json, "readings/0/analyzer/class", "I");
  text_at(json, "readings/0/analyzer/basis", "dry");
  text_at(json, "readings/0/hc_as", "hexane");
  assert_true(json_is_true(at(json, "readings/0/air_cleaner_on")));
  assert_true(json_is_false(at(json, "readings/0/settled")));
  NEAR(number_at(json, "readings/0/read/co_fraction"), 0.032, 0);
  NEAR(number_at(json, "readings/0/screws/0/turns_out"), 1.75, 0);
  NEAR(number_at(json, "readings/0/gas/lambda/value"), m->worked[0].exhaust.lambda.x, 0);
  NEAR(number_at(json, "readings/1/vacuum_pa"), 50000, 0);
  assert_int_equal(json_integer_value(at(json, "reading_as_found")), 0);
  text_at(json, "judgements/0/gas", "CO");
  text_at(json, "judgements/0/verdict", "too_close_to_call");
  NEAR(number_at(json, "judgements/0/limit_fraction/hi"), 0.03, 0);
  NEAR(number_at(json, "judgements/0/value_fraction/u"), 0.001, 0);
  text_at(json, "judgements/1/gas", "lambda");
  NEAR(number_at(json, "judgements/1/limit_lambda/lo"), 0.97, 0);
  assert_int_equal(json_array_size(at(json, "judgements_as_found")), 1);
  json_decref(json);
  free(m);
}

static void causes_keep_their_numbers(void **state) {
  (void)state;
  made *m = make();
  json_t *json = lw_work_json(&m->work);
  text_at(json, "causes/ranked/0/cause", "float_high");
  text_at(json, "causes/ranked/0/second", "fuel");
  text_at(json, "causes/not_shown/0", "cleaner");
  text_at(json, "causes/next_tests/0/finds/0", "float_high");
  assert_float_equal(number_at(json, "causes/ranked/0/probability"), 0.7, 1e-12);
  json_decref(json);
  m->work.causes = NULL;
  json = lw_work_json(&m->work);
  null_at(json, "causes");
  json_decref(json);
  free(m);
}

static void what_is_not_known_is_null(void **state) {
  (void)state;
  made *m = make();
  m->work.card = NULL;
  m->work.verdict = LW_NO_VERDICT;
  m->work.advice.move.kind = LW_MOVE_SEEK;
  json_t *json = lw_work_json(&m->work);
  static const char *const paths[] = {
      "card",
      "fitted/maker",
      "fitted/model_year",
      "fitted/transmission",
      "weather/altitude_m",
      "reading_as_left",
      "readings/0/read/no_fraction",
      "readings/0/time",
      "readings/1/analyzer",
      "readings/1/gas",
      "readings/1/stage",
      "readings/1/condition",
      "readings/1/gear",
      "readings/1/needle",
      "readings/1/settled",
      "readings/1/speed_rad_per_s",
      "judgements/0/limit_fraction/lo",
      "judgements/1/reading",
      "judgements/1/value_lambda/value",
      "judgements/1/verdict",
      "judgements/1/inside_probability",
      "fitness/first",
      "verdict",
      "advice/move/turns",
      "advice/move/leaner",
  };
  for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++)
    null_at(json, paths[i]);
  json_decref(json);
  free(m);
}

static void a_gas_analysis_keeps_its_numbers(void **state) {
  (void)state;
  made *m = make();
  const lw_exhaust *e = &m->worked[0].exhaust;
  json_t *json = lw_exhaust_json(&m->sample, e);
  assert_non_null(json);
  text_at(json, "lambda_from", "balance");
  NEAR(number_at(json, "lambda/value"), e->lambda.x, 0);
  NEAR(number_at(json, "lambda/u"), e->lambda.u, 0);
  NEAR(number_at(json, "lambda_lo"), e->lambda_lo, 0);
  NEAR(number_at(json, "afr/value"), e->afr.x, 0);
  NEAR(number_at(json, "efficiency_fraction/value"), e->efficiency.x, 0);
  NEAR(number_at(json, "composition/co2_fraction"), e->filled.co2, 0);
  assert_int_equal(json_array_size(at(json, "inferred")), 0);
  NEAR(number_at(json, "sample/read/hc_fraction"), 250e-6, 0);
  NEAR(number_at(json, "sample/fuel/stoichiometric_afr"), lw_fuel_stoichiometric(&m->fuel), 0);
  null_at(json, "sample/water_gas_ratio");
  json_decref(json);
  free(m);
}

static void inferred_gases_and_notes_are_named(void **state) {
  (void)state;
  made *m = make();
  lw_exhaust e;
  lw_error error = {0};
  lw_sample s = m->sample;
  s.x.hc = s.x.o2 = NAN;
  assert_int_equal(lw_exhaust_work(&s, &e, &error), LW_OK);
  json_t *json = lw_exhaust_json(&s, &e);
  text_at(json, "lambda_from", "inferred");
  text_at(json, "inferred/0", "HC");
  text_at(json, "inferred/1", "O2");
  assert_int_equal(json_array_size(at(json, "notes")), e.note_count);
  text_at(json, "notes/0/code", "fewer_gases");
  text_at(json, "notes/0/text", e.notes[0].text);
  null_at(json, "sample/read/o2_fraction");
  json_decref(json);
  free(m);
}

static void bytes_that_are_no_text_do_not_cost_the_answer(void **state) {
  (void)state;
  made *m = make();
  m->job.complaint = "st\xff"
                     "alls \xc3"; /* a letter cut in half, too */
  json_t *json = lw_work_json(&m->work);
  assert_non_null(json);
  text_at(json, "job/complaint", "st?alls ?");
  json_decref(json);
  free(m);
}

/* ---- no memory ---- */

static long allocations_left;
static bool once; /* only one allocation fails, or all from there on */

static void *limited_malloc(size_t size) {
  long left = allocations_left--;
  return left > 0 || (once && left < 0) ? malloc(size) : NULL;
}

static void out_of_memory_anywhere_gives_null_and_leaks_nothing(void **state) {
  (void)state;
  for (int mode = 0; mode < 2; mode++) {
    made *m = make();
    long tries = 0;
    json_t *json = NULL;
    once = mode == 1;
    json_set_alloc_funcs(limited_malloc, free);
    for (; !json && tries < 100000; tries++) {
      allocations_left = tries;
      json = lw_work_json(&m->work);
    }
    bool all = json && json_array_size(json_object_get(json, "readings")) == 2;
    json_decref(json);
    json_set_alloc_funcs(malloc, free);
    assert_true(all);
    assert_true(allocations_left >= 0); /* the last try had all it asked for */
    assert_true(tries > 500);           /* each of them failed once */
    free(m);
  }
}

/* ---- the document ---- */

static char *read_document(void) {
  char path[4096];
  const char *root = getenv("SOURCE_ROOT");
  snprintf(path, sizeof path, "%s/docs/json.md", root ? root : LW_SOURCE_ROOT);
  FILE *f = fopen(path, "rb");
  assert_non_null(f);
  char *text = calloc(1, 100000);
  assert_non_null(text);
  assert_true(fread(text, 1, 99999, f) > 1000);
  fclose(f);
  return text;
}

/* Every key in json, at any depth, must stand in the document as `key`. Counts those that do not.
 */
static int undescribed(json_t *json, const char *document) {
  const char *key;
  json_t *value;
  size_t i;
  int missing = 0;
  char quoted[128];
  json_array_foreach(json, i, value) missing += undescribed(value, document);
  json_object_foreach(json, key, value) {
    snprintf(quoted, sizeof quoted, "`%s`", key);
    if (!strstr(document, quoted)) {
      fprintf(stderr, "docs/json.md does not describe %s\n", quoted);
      missing++;
    }
    missing += undescribed(value, document);
  }
  return missing;
}

static bool has_key(json_t *json, const char *wanted) {
  const char *key;
  json_t *value;
  size_t i;
  json_array_foreach(json, i, value) {
    if (has_key(value, wanted)) return true;
  }
  json_object_foreach(json, key, value) {
    if (strcmp(key, wanted) == 0 || has_key(value, wanted)) return true;
  }
  return false;
}

/* One line of a stream, as JSON. */
static json_t *stream_line(const made *m, const char *text) {
  lw_units *units = NULL;
  lw_error error = {0};
  lw_gas_count count;
  lw_gas_plan plan = lw_gas_plan_new(&m->fuel);
  plan.json_lines = plan.uncertainty = true;
  FILE *in = tmpfile(), *out = tmpfile();
  assert_true(in && out && fputs(text, in) >= 0 && fflush(in) == 0);
  rewind(in);
  plan.in = fileno(in);
  plan.out = fileno(out);
  assert_int_equal(lw_units_open(&units, &error), LW_OK);
  assert_int_equal(lw_gas_stream(units, &plan, &count, &error), LW_OK);
  lw_units_close(units);
  rewind(out);
  json_t *json = json_loadf(out, 0, NULL);
  assert_non_null(json);
  fclose(in);
  fclose(out);
  return json;
}

/* All there is to describe: a job, an analysis and a row. */
static json_t *everything(const made *m) {
  json_t *row = stream_line(m, "CO [%]\nx\n");
  json_object_set_new(row, "cells", json_null()); /* its keys are the file's, not ours */
  json_t *all = json_pack("[o, o, o]", lw_work_json(&m->work),
                          lw_exhaust_json(&m->sample, &m->worked[0].exhaust), row);
  assert_non_null(all);
  return all;
}

static void every_key_is_described(void **state) {
  (void)state;
  made *m = make();
  char *document = read_document();
  json_t *all = everything(m);
  assert_int_equal(undescribed(all, document), 0);
  json_decref(all);
  free(document);
  free(m);
}

/* The first cell of each table row names keys; in the table of words it names notes. */
static void every_described_key_is_written(void **state) {
  (void)state;
  made *m = make();
  char *document = read_document();
  json_t *all = everything(m);
  int checked = 0, wrong = 0;
  bool words = false;
  for (char *line = strtok(document, "\n"); line; line = strtok(NULL, "\n")) {
    if (strncmp(line, "| word", 6) == 0) words = true;
    if (strncmp(line, "| key", 5) == 0) words = false;
    if (strncmp(line, "| `", 3) != 0 || words) continue;
    char *cell_end = strchr(line + 1, '|');
    assert_non_null(cell_end);
    for (char *p = line; (p = strchr(p, '`')) && p < cell_end;) {
      char *close = strchr(p + 1, '`'), key[64];
      assert_non_null(close);
      snprintf(key, sizeof key, "%.*s", (int)(close - p - 1), p + 1);
      if (!has_key(all, key)) {
        fprintf(stderr, "docs/json.md describes `%s`, which is not written\n", key);
        wrong++;
      }
      checked++;
      p = close + 1;
    }
  }
  assert_int_equal(wrong, 0);
  assert_true(checked > 100);
  json_decref(all);
  free(document);
  free(m);
}

static void every_note_has_its_word_in_the_document(void **state) {
  (void)state;
  made *m = make();
  char *document = read_document(), quoted[64];
  lw_exhaust e = m->worked[0].exhaust;
  e.note_count = 1;
  for (int code = LW_NOTE_FEWER_GASES; code <= LW_NOTE_AIR_ONLY; code++) {
    e.notes[0] = (lw_note){(lw_note_code)code, LW_DOUBT, "text"};
    json_t *json = lw_exhaust_json(&m->sample, &e);
    const char *word = json_string_value(at(json, "notes/0/code"));
    assert_string_not_equal(word, "other");
    snprintf(quoted, sizeof quoted, "\n| `%s` |", word);
    HOLDS(document, quoted);
    text_at(json, "notes/0/weight", "doubt");
    json_decref(json);
  }
  free(document);
  free(m);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_job_keeps_its_identity_and_its_answers),
      cmocka_unit_test(a_job_keeps_its_readings_and_judgements),
      cmocka_unit_test(what_is_not_known_is_null),
      cmocka_unit_test(a_gas_analysis_keeps_its_numbers),
      cmocka_unit_test(inferred_gases_and_notes_are_named),
      cmocka_unit_test(bytes_that_are_no_text_do_not_cost_the_answer),
      cmocka_unit_test(out_of_memory_anywhere_gives_null_and_leaks_nothing),
      cmocka_unit_test(causes_keep_their_numbers),
      cmocka_unit_test(every_key_is_described),
      cmocka_unit_test(every_described_key_is_written),
      cmocka_unit_test(every_note_has_its_word_in_the_document),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
