/* card.c - the keys of a spec card, and what must hold between them. */
#include "leanward/card.h"

#include "fields.h"
#include "words.h"

#include <string.h>

static const char *const words_layout[] = {"", "inline", "vee", "flat", NULL};
static const char *const words_degrees[] = {"", "crankshaft", "distributor", NULL};
static const char *const words_vacuum_source[] = {"", "ported", "manifold", "control valve", NULL};
static const char *const words_thread[] = {"", "right-hand", "left-hand", NULL};
static const char *const words_vent[] = {"", "internal", "external", "both", NULL};
static const char *const words_operation[] = {"", "mechanical", "vacuum", "air valve", NULL};
static const char *const words_choke[] = {
    "", "manual", "thermostat in well", "thermostat in housing", "electric", NULL};
static const char *const words_screw[] = {
    "", "fuel", "fuel with limited travel", "fuel behind limiter", "air bleed", "fixed", NULL};

#define S lw_advance_point
static const lw_field advance_fields[] = {
    VALUE("speed", speed, LW_SPIN, 0, RPM(12000), "speed of this point of the centrifugal curve"),
    VALUE("vacuum", vacuum, LW_PRESSURE, 0, KPA(100), "vacuum of this point of the vacuum curve"),
    SPAN("advance", advance, LW_ANGLE, DEG(-10), DEG(60), "advance at this point"),
};
static const lw_table advance_table = TABLE("advance point", advance_fields);
#undef S

#define S lw_control_valve
static const lw_field control_valve_fields[] = {
    VALUE("set vacuum", set_vacuum, LW_PRESSURE, 0, KPA(100),
          "vacuum at the distributor at idle, as set"),
    VALUE("fall time", fall_time, LW_TIME, 0.1, 60,
          "most time for the vacuum at the distributor to fall back after the throttle is let go; "
          "3 s unless said"),
};
static const lw_table control_valve_table = TABLE("control valve", control_valve_fields);
#undef S

#define S lw_engine_card
static const lw_field engine_fields[] = {
    TEXT("name", name, "as the trade calls it"),
    CHOICE("layout", layout, words_layout, "arrangement of the cylinders"),
    WHOLE("cylinders", cylinders, 1, 16, "number of cylinders"),
    VALUE("displacement", displacement, LW_VOLUME, 20e-6, 20e-3, "swept volume of all cylinders"),
    VALUE("bore", bore, LW_LENGTH, MM(20), MM(200), "cylinder bore"),
    VALUE("stroke", stroke, LW_LENGTH, MM(20), MM(250), "piston stroke"),
    VALUE("compression ratio", compression_ratio, LW_RATIO, 3, 16, "as in 8.5 or 8.5:1"),
    TEXT("firing order", firing_order, "cylinder numbers, as in 1-5-3-6-2-4"),
    SPAN("compression pressure", compression_pressure, LW_COMPRESSION, KPA(200), KPA(2500),
         "at cranking speed, warm, throttle open, sea level"),
    VALUE("compression variation", compression_variation, LW_COMPRESSION, KPA(10), KPA(1000),
          "greatest difference allowed between two cylinders"),
    VALUE("weakest to strongest", compression_share, LW_SHARE, PCT(40), PCT(100),
          "least allowed share; 75 % unless said"),
    VALUE("leakage", leakage, LW_SHARE, PCT(1), PCT(60),
          "greatest cylinder leakage allowed; 20 % unless said"),
    SPAN("dwell", dwell, LW_ANGLE, DEG(5), DEG(90), "breaker points, degrees of the distributor"),
    SPAN("point gap", point_gap, LW_LENGTH, MM(0.1), MM(1.5), "breaker point gap"),
    SPAN("plug gap", plug_gap, LW_LENGTH, MM(0.2), MM(2.5), "spark plug gap"),
    SPAN("idle vacuum", idle_vacuum, LW_PRESSURE, KPA(20), KPA(85),
         "manifold vacuum at idle, sea level; 17 to 22 inHg unless said"),
    SPAN("initial timing", initial_timing, LW_ANGLE, DEG(-20), DEG(40),
         "degrees before top dead center"),
    VALUE("timing speed", timing_speed, LW_SPIN, RPM(100), RPM(3000),
          "initial timing is read at or below this speed"),
    CHOICE("timing hose", timing_hose, lw_words_hose, "vacuum advance hose while timing is read"),
    CHOICE("advance degrees", advance_degrees, words_degrees,
           "whether the advance curves count degrees and speed of the crankshaft or distributor"),
    LIST("centrifugal advance", centrifugal_advance, &advance_table, "points of the curve"),
    LIST("vacuum advance", vacuum_advance, &advance_table, "points of the curve"),
    CHOICE("vacuum source", vacuum_source, words_vacuum_source, "what feeds the vacuum advance"),
    MAP("control valve", control_valve, &control_valve_table,
        "distributor vacuum-advance control valve"),
    VALUE("warm coolant", warm_coolant, LW_TEMPERATURE, DEGC(40), DEGC(120),
          "least coolant temperature for setting the idle; 70 degC unless said"),
};
static const lw_table engine_table = TABLE("engine", engine_fields);
#undef S

#define S            lw_barrel_card
#define JET(k, m, w) VALUE(k, m, LW_LENGTH, MM(0.1), MM(8), w)
static const lw_field barrel_fields[] = {
    WHOLE("count", count, 1, 4, "barrels of this kind"),
    VALUE("throttle bore", bore, LW_LENGTH, MM(12), MM(80), "bore at the throttle plate"),
    VALUE("venturi", venturi, LW_LENGTH, MM(8), MM(75), "main venturi throat"),
    VALUE("booster", booster, LW_LENGTH, MM(3), MM(40), "booster venturi throat"),
    JET("main jet", main_jet, "bore of the main metering jet"),
    JET("main bleed", main_bleed, "main air bleed (high-speed bleed)"),
    VALUES("rods", rods, LW_LENGTH, MM(0.1), MM(8), "metering rod steps, economy step first"),
    JET("idle feed", idle_feed, "idle fuel restriction (idle tube)"),
    JET("idle bleed", idle_bleed, "idle air bleed"),
    JET("second idle bleed", second_idle_bleed, "further bleed of the idle channel"),
    JET("idle restriction", idle_restriction, "restriction in the idle channel (economizer)"),
    JET("idle port", idle_port, "discharge hole below the plate"),
    JET("idle limiter", idle_limiter, "sealed limiter of the idle mixture"),
    VALUE("slot length", slot_length, LW_LENGTH, MM(0.5), MM(15), "transfer slot, along the bore"),
    VALUE("slot width", slot_width, LW_LENGTH, MM(0.2), MM(4), "transfer slot, across"),
    JET("bypass", bypass, "idle air passage around the plate"),
    JET("power jet", power_jet, "power enrichment restriction"),
    VALUE("nozzle lip", nozzle_lip, LW_LENGTH, 0, MM(40), "height of the nozzle above fuel level"),
    CHOICE("operation", operation, words_operation, "how secondary barrels open"),
};
static const lw_table barrel_table = TABLE("barrel", barrel_fields);
#undef S

#define S lw_screw_card
static const lw_field screw_fields[] = {
    REQUIRED("name", name, "left, right, front, or what the shop calls it"),
    CHOICE("kind", kind, words_screw, "what the screw does; see docs/physics.md"),
    CHOICE("thread", thread, words_thread, "right-hand unless the screw is an air bleed"),
    SPAN("travel", travel, LW_TURNS, 0, 20, "turns out from lightly seated, between its stops"),
    SPAN("preset", preset, LW_TURNS, 0, 20, "turns out from lightly seated to start from"),
    WHOLE("barrels", barrels, 1, 8, "how many barrels it serves"),
    TEXT("place", place, "where it is found"),
};
static const lw_table screw_table = TABLE("screw", screw_fields);
#undef S

#define S lw_choke_card
static const lw_field choke_fields[] = {
    CHOICE("kind", kind, words_choke, "how the choke is moved"),
    TEXT("setting", setting, "index or notch of the thermostat"),
    SPAN("vacuum kick", vacuum_kick, LW_LENGTH, MM(0.2), MM(20), "plate to air horn wall"),
    SPAN("unloader", unloader, LW_LENGTH, MM(0.5), MM(25), "plate to air horn wall, throttle open"),
    SPAN("fast idle", fast_idle, LW_SPIN, RPM(400), RPM(4000), "speed on the step named below"),
    TEXT("fast idle step", fast_idle_step, "step of the cam the speed is set on"),
    VALUE("opens at", opens_at, LW_TEMPERATURE, DEGC(20), DEGC(120), "thermostat holds it open"),
    VALUE("heating time", heating_time, LW_TIME, 5, 1800, "for the thermostat to warm by 63 %"),
};
static const lw_table choke_table = TABLE("choke", choke_fields);
#undef S

#define S lw_carburetor_card
static const lw_field carburetor_fields[] = {
    WHOLE("barrels", barrels, 1, 8, "number of barrels of the unit"),
    WHOLE("units", units, 1, 2, "units on one manifold; of two, the front one has a fixed idle"),
    CHOICE("bowl vent", vent, words_vent, "where the fuel bowl breathes"),
    MAP("primary", primary, &barrel_table, "the barrels that open first"),
    MAP("secondary", secondary, &barrel_table, "the barrels that open later"),
    LIST("screws", screws, &screw_table, "idle mixture screws"),
    CHOICE("speed screw thread", speed_thread, words_thread, "idle speed screw"),
    TEXTS("sealed", sealed, "stops, limiters and caps that are never adjusted"),
    SPAN("float level", float_level, LW_LENGTH, MM(0), MM(80), "float setting, dry"),
    TEXT("float measured", float_how, "between what the float level is measured"),
    SPAN("fuel level", fuel_level, LW_LENGTH, MM(0), MM(80),
         "wet fuel level below the mark the manual names"),
    MAP("choke", choke, &choke_table, "choke and fast idle"),
    SPAN("pump stroke", pump_stroke, LW_LENGTH, MM(0.5), MM(40), "accelerator pump"),
    VALUE("pump volume", pump_volume, LW_VOLUME, CM3(0.05), CM3(20),
          "one full stroke, all nozzles"),
    VALUE("pump duration", pump_duration, LW_TIME, 0.05, 5, "full stroke, throttle opened at once"),
    SPAN("dashpot gap", dashpot_gap, LW_LENGTH, MM(0.1), MM(15), "plunger in, throttle closed"),
    VALUE("dashpot time", dashpot_time, LW_TIME, 0.1, 30, "plunger out to throttle on its stop"),
    ANSWER("dashpot", dashpot, "whether the unit has a throttle-closing dashpot"),
    ANSWER("off-idle check valve", check_valve, "air valve of the off-idle mixture"),
    ANSWER("idle air bypass", bypass, "fixed air passages around the plates"),
    VALUE("power valve opens", power_opens, LW_PRESSURE, KPA(3), KPA(70), "below this vacuum"),
    VALUE("power valve closed", power_closes, LW_PRESSURE, KPA(3), KPA(80), "above this vacuum"),
    VALUE("air valve spring", air_valve_turns, LW_TURNS, 0, 8, "wind-up from slack"),
    VALUE("air valve time", air_valve_time, LW_TIME, 0.02, 5, "its damper lets it open by 63 %"),
    VALUE("bowl volume", bowl_volume, LW_VOLUME, CM3(5), CM3(1000), "fuel in each unit's bowl"),
    VALUE("needle seat", needle_seat, LW_LENGTH, MM(0.8), MM(5), "hole of the float valve"),
};
static const lw_table carburetor_table = TABLE("carburetor", carburetor_fields);
#undef S

#define S lw_idle_card
static const lw_field idle_fields[] = {
    SPAN("speed", speed, LW_SPIN, RPM(200), RPM(2500), "curb idle speed in neutral or park"),
    SPAN("speed in drive", speed_drive, LW_SPIN, RPM(200), RPM(2500), "curb idle speed in drive"),
    CHOICE("gear", gear, lw_words_gear, "gear the mixture is set in"),
    SPAN("CO", co, LW_FRACTION, 0, PCT(12), "exhaust target"),
    SPAN("CO2", co2, LW_FRACTION, 0, PCT(17), "exhaust target"),
    SPAN("O2", o2, LW_FRACTION, 0, PCT(21), "exhaust target"),
    HC("HC", hc, 0.03, "exhaust target, at most"),
    SPAN("air-fuel ratio", afr, LW_RATIO, 5, 30, "target where the manual gives one"),
    TEXT("procedure", procedure, "in a line, as the manual sets it"),
};
static const lw_table idle_table = TABLE("idle", idle_fields);
#undef S

#define S lw_card
static const lw_field card_fields[] = {
    REQUIRED("unit", unit, "number stamped on the carburetor or on its tag"),
    TEXT("maker", maker, "maker of the engine"),
    TEXT("engine name", engine_name, "engine this unit belongs on"),
    WHOLE("year", year, 1900, 2100, "model year"),
    CHOICE("transmission", transmission, lw_words_transmission,
           "transmission this unit belongs to"),
    TEXT("emission package", emissions, "as the decal calls it"),
    MAP("engine", engine, &engine_table, "the engine"),
    MAP("carburetor", carburetor, &carburetor_table, "the unit"),
    MAP("idle", idle, &idle_table, "idle speed and exhaust targets"),
    LIST("limits", limits, &lw_limit_table, "legal limits that go with this card"),
    MAP("fuel", fuel, &lw_fuel_table, "fuel the unit is calibrated for"),
    TEXTS("notes", notes, "anything else the manual says"),
};
static const lw_table card_table = TABLE("spec card", card_fields);
#undef S

/* ---- what must hold between keys ---- */

static lw_status at_line(const lw_bind *bind, lw_error *error, int line, const char *field,
                         const char *text) {
  lw_error_place(error, bind->file, line, field);
  return lw_fail(error, LW_BAD_INPUT, "%s", text);
}

static lw_status check_screws(const lw_bind *bind, const lw_card *card, lw_error *error) {
  const lw_screw_card *screws = card->carburetor.screws.items;
  for (size_t i = 0; i < card->carburetor.screws.count; i++) {
    const lw_screw_card *s = &screws[i];
    for (size_t j = 0; j < i; j++) {
      if (lw_text_same(s->name, screws[j].name)) {
        return at_line(bind, error, s->line, "carburetor, screws",
                       "two screws have the same name; give each its own");
      }
    }
    if (s->kind == LW_SCREW_AIR_BLEED && s->thread == LW_THREAD_RIGHT) {
      return at_line(bind, error, s->line, "carburetor, screws",
                     "an air-bleed screw has a left-hand thread: clockwise moves it out and leans; "
                     "take the thread out or correct the kind");
    }
    bool sided = lw_range_known(s->preset) && lw_range_known(s->travel);
    if (sided && lw_range_side(s->travel, lw_range_middle(s->preset)) != 0) {
      return at_line(bind, error, s->line, "carburetor, screws",
                     "the preset lies outside the screw's travel");
    }
  }
  return LW_OK;
}

/* Bore, stroke and cylinders must give the displacement, within the rounding of a decal. */
static lw_status check_engine(const lw_bind *bind, const lw_card *card, lw_error *error) {
  const lw_engine_card *e = &card->engine;
  if (!lw_known(e->bore) || !lw_known(e->stroke) || !lw_known(e->displacement) || !e->cylinders) {
    return LW_OK;
  }
  double swept = 0.78539816339744831 * e->bore * e->bore * e->stroke * e->cylinders;
  if (fabs(swept / e->displacement - 1) <= 0.02) return LW_OK;
  lw_error_place(error, bind->file, e->line, "engine");
  return lw_fail(error, LW_BAD_INPUT,
                 "bore, stroke and cylinders give %.2f L and the displacement says %.2f L; one of "
                 "them is mistyped",
                 swept * 1e3, e->displacement * 1e3);
}

static lw_status check_carburetor(const lw_bind *bind, const lw_card *card, lw_error *error) {
  const lw_carburetor_card *c = &card->carburetor;
  const lw_barrel_card *barrels[] = {&c->primary, &c->secondary};
  for (size_t i = 0; i < 2; i++) {
    if (barrels[i]->venturi > barrels[i]->bore) {
      return at_line(bind, error, barrels[i]->line, "carburetor, venturi",
                     "the venturi is wider than the throttle bore; one of them is mistyped");
    }
    if (barrels[i]->booster > barrels[i]->venturi) {
      return at_line(bind, error, barrels[i]->line, "carburetor, booster",
                     "the booster is wider than the venturi it sits in; one of them is mistyped");
    }
  }
  int counted = c->primary.count + c->secondary.count;
  if (c->barrels && counted && counted != c->barrels) {
    return at_line(bind, error, c->line, "carburetor, barrels",
                   "the counts of primary and secondary do not add up to the barrels");
  }
  if (c->power_closes < c->power_opens) {
    return at_line(bind, error, c->line, "carburetor, power valve closed",
                   "the power valve must be closed at a higher vacuum than it opens at");
  }
  return LW_OK;
}

static lw_status at_end_of_memory(const lw_bind *bind, lw_error *error) {
  lw_error_place(error, bind->file, 0, NULL);
  return lw_fail(error, LW_NO_MEMORY, "no memory for this card");
}

const lw_table *lw_card_table(void) {
  return &card_table;
}

lw_status lw_card_read(const lw_bind *bind, const char *text, size_t length, lw_card **card,
                       lw_error *error) {
  const lw_node *root = NULL;
  lw_status status = lw_doc_parse(bind->arena, bind->file, text, length, &root, error);
  if (status != LW_OK) return status;
  lw_card *read = lw_arena_alloc(bind->arena, sizeof *read);
  if (!read) return at_end_of_memory(bind, error);
  status = lw_table_read(bind, &card_table, root, read, error);
  if (status == LW_OK) status = check_screws(bind, read, error);
  if (status == LW_OK) status = check_engine(bind, read, error);
  if (status == LW_OK) status = check_carburetor(bind, read, error);
  if (status == LW_OK) status = lw_limits_check(bind, &read->limits, error);
  if (status != LW_OK) return status;
  read->file = lw_arena_copy(bind->arena, bind->file, strlen(bind->file));
  if (!read->file) return at_end_of_memory(bind, error);
  *card = read;
  return LW_OK;
}
