/* job.c - the keys of a job, and what no reading can be. */
#include "leanward/card.h"

#include "fields.h"
#include "words.h"

#include <stdio.h>
#include <string.h>

static const char *const words_choke_state[] = {"", "open", "partly open", "closed", NULL};
static const char *const words_needle[] = {
    "", "steady", "regular drop", "irregular drop", "drift", "vibration", NULL};
static const char *const words_leak[] = {"", "not tested", "none found", "found", NULL};
static const char *const words_shot[] = {"", "strong", "weak", "none", NULL};
static const char *const words_basis[] = {"", "dry", "wet", NULL};
static const char *const words_hc_as[] = {"", "hexane", "propane", "C1", NULL};

#define S lw_car
static const lw_field car_fields[] = {
    TEXT("description", description, "the car, as the shop calls it"),
    TEXT("plate", plate, "licence plate"),
    TEXT("odometer", odometer, "as read"),
    TEXT("engine", engine, "engine name"),
    TEXT("emission package", emissions, "as the decal calls it"),
    WHOLE("year", year, 1900, 2100, "model year"),
    WHOLE("cylinders", cylinders, 1, 16, "number of cylinders"),
    VALUE("displacement", displacement, LW_VOLUME, 20e-6, 20e-3, "swept volume of all cylinders"),
    CHOICE("transmission", transmission, lw_words_transmission, "transmission in the car"),
};
static const lw_table car_table = TABLE("car", car_fields);
#undef S

#define S lw_weather
static const lw_field weather_fields[] = {
    VALUE("temperature", temperature, LW_TEMPERATURE, DEGC(-50), DEGC(60), "air in the bay"),
    VALUE("pressure", pressure, LW_PRESSURE, KPA(50), KPA(110),
          "station pressure (not reduced to sea level)"),
    VALUE("humidity", humidity, LW_SHARE, 0, 1, "relative humidity"),
    VALUE("altitude", altitude, LW_ELEVATION, -500, 5000, "of the shop above sea level"),
};
static const lw_table weather_table = TABLE("weather", weather_fields);
#undef S

#define S lw_analyzer
static const lw_field analyzer_fields[] = {
    REQUIRED("name", name, "what readings call it"),
    CHOICE("class", accuracy, lw_words_class, "accuracy class of OIML R 99; II unless said"),
    CHOICE("basis", basis, words_basis,
           "whether the gas is dried before it is measured; dry unless said"),
    CHOICE("HC as", hc_as, words_hc_as, "gas the HC reading is counted in; hexane unless said"),
    VALUE("propane factor", pef, LW_RATIO, 0.3, 0.8,
          "propane/hexane equivalency factor marked on the analyzer; 0.52 unless said"),
    VALUE("CO error", co, LW_FRACTION, 0, PCT(5), "permissible error instead of the class"),
    VALUE("CO2 error", co2, LW_FRACTION, 0, PCT(5), "permissible error instead of the class"),
    VALUE("HC error", hc, LW_PPM, 0, 0.01, "permissible error instead of the class, as hexane"),
    VALUE("O2 error", o2, LW_FRACTION, 0, PCT(5), "permissible error instead of the class"),
    VALUE("NO error", no, LW_PPM, 0, 0.01, "permissible error"),
    VALUE("CO step", co_step, LW_FRACTION, 0, PCT(1), "smallest step of the display"),
    VALUE("CO2 step", co2_step, LW_FRACTION, 0, PCT(1), "smallest step of the display"),
    VALUE("HC step", hc_step, LW_PPM, 0, 0.001, "smallest step of the display"),
    VALUE("O2 step", o2_step, LW_FRACTION, 0, PCT(1), "smallest step of the display"),
    VALUE("NO step", no_step, LW_PPM, 0, 0.001, "smallest step of the display"),
    TEXT("calibrated", calibrated, "when and against what"),
};
static const lw_table analyzer_table = TABLE("analyzer", analyzer_fields);
#undef S

#define S lw_reading
static const lw_field reading_fields[] = {
    TEXT("label", label, "a word for it"),
    TEXT("time", time, "when it was taken"),
    CHOICE("stage", stage, lw_words_stage, "as found, working or as left"),
    CHOICE("at", at, lw_words_condition, "idle unless said or the speed says otherwise"),
    TEXT("analyzer", analyzer, "name of one of the job's analyzers; the only one unless said"),
    VALUE("speed", speed, LW_SPIN, 0, RPM(12000), "engine speed"),
    CHOICE("gear", gear, lw_words_gear, "gear the reading was taken in"),
    CHOICE("choke", choke, words_choke_state, "choke plate"),
    ANSWER("air cleaner", air_cleaner, "whether the air cleaner was on"),
    ANSWER("settled", settled, "whether the readings had stopped moving"),
    VALUE("CO", co, LW_FRACTION, 0, PCT(25), "carbon monoxide"),
    VALUE("CO2", co2, LW_FRACTION, 0, PCT(25), "carbon dioxide"),
    HC("HC", hc, 0.5, "hydrocarbons, as in '220 ppm hexane'"),
    VALUE("O2", o2, LW_FRACTION, 0, PCT(21), "oxygen"),
    VALUE("NO", no, LW_PPM, 0, 0.02, "nitric oxide"),
    VALUE("vacuum", vacuum, LW_PRESSURE, 0, KPA(105), "manifold vacuum"),
    CHOICE("needle", needle, words_needle, "how the vacuum gauge's needle behaves"),
    VALUE("timing", timing, LW_ANGLE, DEG(-30), DEG(70), "ignition timing at this speed"),
    NAMED("screws", screws, LW_TURNS, 0, 20, "turns out from lightly seated, by screw name"),
    TEXT("note", note, "anything else"),
};
static const lw_table reading_table = TABLE("reading", reading_fields);
#undef S

#define S lw_snap_reading
static const lw_field snap_fields[] = {
    TEXT("label", label, "a word for it"),
    TEXT("time", time, "when it was taken"),
    CHOICE(
        "kind", kind, lw_words_snap,
        "snap: neutral, floored for a moment and let go; tip-in, floored: at a held speed, to half "
        "throttle or wide open; snap unless said"),
    VALUE("speed", speed, LW_SPIN, 0, RPM(12000), "held speed of a tip-in or floored; 1,500 rpm"),
    TEXT("analyzer", analyzer, "name of one of the job's analyzers; the only one unless said"),
    VALUE("CO most", co_most, LW_FRACTION, 0, PCT(25), "highest carbon monoxide shown after it"),
    VALUE("CO least", co_least, LW_FRACTION, 0, PCT(25), "lowest shown after it"),
    HC("HC most", hc_most, 0.5, "highest hydrocarbons, as in '1,900 ppm hexane'"),
    VALUE("O2 most", o2_most, LW_FRACTION, 0, PCT(21), "highest oxygen shown after it"),
    VALUE("vacuum most", vacuum_most, LW_PRESSURE, 0, KPA(105), "highest vacuum after letting go"),
    VALUE("speed most", speed_most, LW_SPIN, 0, RPM(12000), "highest speed of a snap"),
    CHOICE("felt", felt, lw_words_felt, "how the engine took it"),
    TEXT("note", note, "anything else"),
};
static const lw_table snap_table = TABLE("snap", snap_fields);
#undef S

#define S lw_advance_reading
static const lw_field advance_reading_fields[] = {
    VALUE("speed", speed, LW_SPIN, 0, RPM(12000), "speed it was read at"),
    VALUE("vacuum", vacuum, LW_PRESSURE, 0, KPA(100), "vacuum it was read at"),
    VALUE("advance", advance, LW_ANGLE, DEG(-10), DEG(60), "advance beyond initial timing"),
};
static const lw_table advance_reading_table = TABLE("advance reading", advance_reading_fields);
#undef S

#define S lw_checks
static const lw_field checks_fields[] = {
    VALUES("compression", compression, LW_COMPRESSION, 0, KPA(3000),
           "each cylinder, first one first"),
    VALUES("leakage", leakage, LW_SHARE, 0, 1, "each cylinder, first one first"),
    VALUE("cranking speed", cranking_speed, LW_SPIN, RPM(30), RPM(600),
          "during the compression test"),
    VALUE("dwell", dwell, LW_ANGLE, 0, DEG(90), "degrees of the distributor"),
    VALUE("point gap", point_gap, LW_LENGTH, 0, MM(3), "breaker point gap"),
    VALUE("timing", timing, LW_ANGLE, DEG(-60), DEG(80), "initial timing as read"),
    VALUE("timing speed", timing_speed, LW_SPIN, RPM(100), RPM(6000), "speed it was read at"),
    CHOICE("timing hose", timing_hose, lw_words_hose, "vacuum advance hose while it was read"),
    LIST("centrifugal advance", centrifugal_advance, &advance_reading_table, "points read"),
    LIST("vacuum advance", vacuum_advance, &advance_reading_table, "points read"),
    CHOICE("leak test", leak_test, words_leak, "search for air leaks at manifold, base and hoses"),
    TEXT("leak place", leak_place, "where a leak was found"),
    VALUE("fuel level", fuel_level, LW_LENGTH, 0, MM(100), "measured as the card says"),
    VALUE("coolant", coolant, LW_TEMPERATURE, DEGC(-40), DEGC(140), "coolant temperature"),
    VALUE("oil", oil, LW_TEMPERATURE, DEGC(-40), DEGC(180), "oil temperature"),
    ANSWER("warm", warm, "engine at working temperature"),
    ANSWER("choke open", choke_open, "choke plate fully open"),
    ANSWER("air cleaner", air_cleaner, "air cleaner fitted"),
    ANSWER("dashpot clear", dashpot_clear, "dashpot and idle solenoid do not hold the throttle"),
    ANSWER("accessories off", accessories_off, "air conditioning, lamps, fan clutch"),
    ANSWER("converter idle", converter_idle, "automatic: selector in the gear the card names"),
    CHOICE("pump shot", pump_shot, words_shot, "accelerator pump's, looked at down the air horn"),
    VALUE("air valve spring", air_valve_turns, LW_TURNS, 0, 10, "its wind-up, as counted"),
    VALUE("vacuum fall time", fall_time, LW_TIME, 0, 120,
          "distributor vacuum back to its value after the throttle was opened and let go"),
};
static const lw_table checks_table = TABLE("checks", checks_fields);
#undef S

#define S lw_done
static const lw_field done_fields[] = {
    REQUIRED("what", what, "what was done"),
    TEXT("screw", screw, "which screw was turned"),
    VALUE("turned", turns, LW_TURNS, -20, 20,
          "as in '1/4 turn clockwise'; a bare number counts counter-clockwise"),
};
static const lw_table done_table = SHORTHAND("work step", done_fields);
#undef S

#define S lw_job
static const lw_field job_fields[] = {
    REQUIRED("job", id, "number or name of the job"),
    TEXT("date", date, "as in 2026-11-20"),
    TEXT("technician", technician, "who did it"),
    TEXT("shop", shop, "where"),
    TEXT("customer", customer, "for whom"),
    TEXT("complaint", complaint, "what the driver says"),
    TEXT("card", card, "path of the spec card that belongs to this car"),
    TEXT("fitted card", fitted_card, "path of the spec card of the unit that is fitted"),
    TEXT("fitted unit", fitted_unit, "number on the unit that is fitted"),
    MAP("car", car, &car_table, "the car"),
    MAP("weather", weather, &weather_table, "air in the bay"),
    MAP("fuel", fuel, &lw_fuel_table, "fuel in the tank"),
    LIST("analyzers", analyzers, &analyzer_table, "exhaust gas analyzers used"),
    MAP("checks", checks, &checks_table, "is the engine fit to be adjusted"),
    LIST("readings", readings, &reading_table, "what was read, in order"),
    LIST("snaps", snaps, &snap_table,
         "what the displays came to when the throttle was opened quickly"),
    LIST("limits", limits, &lw_limit_table, "limits this job is held to; the card's unless given"),
    LIST("done", done, &done_table, "what was done, in order"),
    TEXTS("notes", notes, "anything else"),
};
static const lw_table job_table = TABLE("job", job_fields);
#undef S

/* ---- what no reading can be ---- */

static lw_status at_line(const lw_bind *bind, lw_error *error, int line, const char *field,
                         const char *text) {
  lw_error_place(error, bind->file, line, field);
  return lw_fail(error, LW_BAD_INPUT, "%s", text);
}

/* name: as a reading or snap says; at its line. */
static lw_status check_analyzer(const lw_bind *bind, const lw_job *job, const char *name, int line,
                                const char *field, lw_error *error) {
  const lw_analyzer *analyzers = job->analyzers.items;
  const char *names[32];
  size_t count = job->analyzers.count < 32 ? job->analyzers.count : 32; /* to suggest from */
  for (size_t i = 0; i < job->analyzers.count; i++) {
    if (i < count) names[i] = analyzers[i].name;
    if (name && lw_text_same(name, analyzers[i].name)) return LW_OK;
  }
  bool needed = job->analyzers.count > 1;
  if (!name && !needed) return LW_OK;
  lw_error_place(error, bind->file, line, field);
  if (!name) {
    return lw_fail(error, LW_BAD_INPUT,
                   "the job has several analyzers; say which one took this reading");
  }
  const char *near = lw_text_nearest(name, names, count);
  return lw_fail(error, LW_BAD_INPUT, "'%.60s' is not one of the job's analyzers%s%s%s", name,
                 near ? "; did you mean '" : "", near ? near : "", near ? "'?" : "");
}

static lw_status check_reading(const lw_bind *bind, const lw_job *job, const lw_reading *r,
                               size_t number, lw_error *error) {
  char field[40];
  snprintf(field, sizeof field, "reading %zu", number);
  if (r->co + r->co2 > 0.25) {
    return at_line(
        bind, error, r->line, field,
        "CO and CO2 together are over 25 %; no engine on any fuel gives that: check both");
  }
  double sum = 0;
  const double parts[] = {r->co, r->co2, r->o2};
  for (size_t i = 0; i < 3; i++)
    sum += lw_known(parts[i]) ? parts[i] : 0;
  if (sum > 0.30) {
    return at_line(bind, error, r->line, field,
                   "CO, CO2 and O2 together are over 30 %; no exhaust gives that: check them");
  }
  return check_analyzer(bind, job, r->analyzer, r->line, field, error);
}

static lw_status check_snap(const lw_bind *bind, const lw_job *job, const lw_snap_reading *s,
                            size_t number, lw_error *error) {
  char field[40];
  snprintf(field, sizeof field, "snap %zu", number);
  if (s->co_least > s->co_most) {
    return at_line(bind, error, s->line, field,
                   "the lowest CO lies over the highest: check both, they may be swapped");
  }
  bool held = s->kind == LW_SNAP_TIP_IN || s->kind == LW_SNAP_FLOORED;
  if (lw_known(s->speed) && !held) {
    return at_line(bind, error, s->line, field,
                   "a snap starts from idle and holds no speed: write the highest as 'speed most', "
                   "or say kind: tip-in or floored");
  }
  return check_analyzer(bind, job, s->analyzer, s->line, field, error);
}

static lw_status check_analyzer_names(const lw_bind *bind, const lw_job *job, lw_error *error) {
  const lw_analyzer *analyzers = job->analyzers.items;
  for (size_t i = 0; i < job->analyzers.count; i++) {
    for (size_t j = 0; j < i; j++) {
      if (!lw_text_same(analyzers[i].name, analyzers[j].name)) continue;
      char field[40];
      snprintf(field, sizeof field, "analyzer %zu", i + 1);
      return at_line(bind, error, analyzers[i].line, field,
                     "two analyzers have the same name; give each its own");
    }
  }
  return LW_OK;
}

/* "turned both clockwise" with a turn that counts the other way would stand wrong on the record. */
static lw_status check_done(const lw_bind *bind, const lw_job *job, lw_error *error) {
  const lw_done *done = job->done.items;
  for (size_t i = 0; i < job->done.count; i++) {
    bool counter = strstr(done[i].what, "counter") != NULL;
    bool clockwise = !counter && strstr(done[i].what, "clockwise") != NULL;
    if (!(clockwise && done[i].turns > 0) && !(counter && done[i].turns < 0)) continue;
    char field[40];
    snprintf(field, sizeof field, "work step %zu, turned", i + 1);
    return at_line(bind, error, done[i].line, field,
                   "the words and the value turn opposite ways; write the way in the value, as in "
                   "'1/4 turn clockwise'");
  }
  return LW_OK;
}

static lw_status check_job(const lw_bind *bind, const lw_job *job, lw_error *error) {
  lw_status named = check_analyzer_names(bind, job, error);
  if (named != LW_OK) return named;
  const lw_reading *readings = job->readings.items;
  for (size_t i = 0; i < job->readings.count; i++) {
    lw_status status = check_reading(bind, job, &readings[i], i + 1, error);
    if (status != LW_OK) return status;
  }
  const lw_snap_reading *snaps = job->snaps.items;
  for (size_t i = 0; i < job->snaps.count; i++) {
    lw_status status = check_snap(bind, job, &snaps[i], i + 1, error);
    if (status != LW_OK) return status;
  }
  size_t cylinders = (size_t)job->car.cylinders;
  if (cylinders && job->checks.compression.count > cylinders) {
    return at_line(bind, error, job->checks.line, "checks, compression",
                   "there are more values than the car has cylinders");
  }
  return LW_OK;
}

lw_status lw_limits_check(const lw_bind *bind, const lw_list *limits, lw_error *error) {
  const lw_limit_said *said = limits->items;
  for (size_t i = 0; i < limits->count; i++) {
    char field[40];
    snprintf(field, sizeof field, "limit %zu", i + 1);
    if (said[i].public_set && (said[i].gas || lw_range_known(said[i].value))) {
      return at_line(bind, error, said[i].line, field,
                     "a limit is either a public set or a gas with its value, not both");
    }
    if (said[i].public_set) continue;
    if (!said[i].gas || !lw_range_known(said[i].value)) {
      return at_line(bind, error, said[i].line, field,
                     "a limit needs its gas and its value, as in {gas: CO, value: at most 1.5 %}");
    }
  }
  return LW_OK;
}

static lw_status at_end_of_memory(const lw_bind *bind, lw_error *error) {
  lw_error_place(error, bind->file, 0, NULL);
  return lw_fail(error, LW_NO_MEMORY, "no memory for this job");
}

const lw_table *lw_job_table(void) {
  return &job_table;
}

lw_status lw_job_read(const lw_bind *bind, const char *text, size_t length, lw_job **job,
                      lw_error *error) {
  const lw_node *root = NULL;
  lw_status status = lw_doc_parse(bind->arena, bind->file, text, length, &root, error);
  if (status != LW_OK) return status;
  lw_job *read = lw_arena_alloc(bind->arena, sizeof *read);
  if (!read) return at_end_of_memory(bind, error);
  status = lw_table_read(bind, &job_table, root, read, error);
  if (status == LW_OK) status = check_job(bind, read, error);
  if (status == LW_OK) status = check_done(bind, read, error);
  if (status == LW_OK) status = lw_limits_check(bind, &read->limits, error);
  if (status != LW_OK) return status;
  read->file = lw_arena_copy(bind->arena, bind->file, strlen(bind->file));
  if (!read->file) return at_end_of_memory(bind, error);
  *job = read;
  return LW_OK;
}
