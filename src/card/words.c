/* words.c - choices in words, and the tables a card and a job share. */
#include "words.h"

#include "fields.h"

const char *const lw_words_transmission[] = {"", "manual", "automatic", NULL};
const char *const lw_words_gear[] = {"", "neutral", "park", "drive", NULL};
const char *const lw_words_hose[] = {"", "connected", "plugged", NULL};
const char *const lw_words_gas[] = {"", "CO", "CO2", "HC", "O2", "NO", NULL};
const char *const lw_words_condition[] = {"", "idle", "fast idle", "cruise", "cycle", NULL};
const char *const lw_words_stage[] = {"", "as found", "working", "as left", NULL};
const char *const lw_words_snap[] = {"", "snap", "tip-in", "floored", NULL};
const char *const lw_words_felt[] = {"", "clean", "hesitates", "pops back", "dies", "smokes", NULL};
const char *const lw_words_class[] = {"", "00", "0", "I", "II", NULL};

#define S lw_fuel_said
static const lw_field fuel_fields[] = {
    TEXT("name", name,
         "gasoline, E5, E10, E85, LPG, propane, methane, ethanol, methanol or "
         "iso-octane; any other name needs its atoms"),
    VALUE("hydrogen to carbon", h_c, LW_RATIO, 0, 4, "hydrogen atoms for each carbon atom"),
    VALUE("oxygen to carbon", o_c, LW_RATIO, 0, 1, "oxygen atoms for each carbon atom"),
    VALUE("heating value", heating_value, LW_ENERGY_PER_MASS, 10e6, 60e6, "lower heating value"),
    VALUE("density", density, LW_DENSITY, 400, 1000, "at 15 degC"),
};
const lw_table lw_fuel_table = SHORTHAND("fuel", fuel_fields);
#undef S

#define S lw_limit_said
static const lw_field limit_fields[] = {
    TEXT("public", public_set,
         "a public set of limits by name (`leanward limits` lists them); the year and displacement "
         "of the car pick the row"),
    CHOICE("gas", gas, lw_words_gas, "which gas this limit holds"),
    SPAN("value", value, LW_FRACTION, 0, 1,
         "as in 'at most 1.5 %' or 'at most 220 ppm'; HC as hexane"),
    CHOICE("at", at, lw_words_condition, "engine condition; idle unless said"),
    TEXT("source", source, "decal, manual or rule that sets it"),
};
const lw_table lw_limit_table = SHORTHAND("limit", limit_fields);
#undef S

const char *lw_screw_kind_text(lw_screw_kind kind) {
  static const char *const texts[] = {
      "screw of a kind not said",
      "fuel-side screw",
      "fuel-side screw with limited travel",
      "fuel-side screw behind a sealed limiter",
      "air-bleed screw with sealed fuel limiters",
      "fixed idle mixture, no screw",
  };
  return texts[kind];
}

const char *lw_transmission_text(lw_transmission transmission) {
  return transmission ? lw_words_transmission[transmission] : "not said";
}

const char *lw_gas_text(lw_gas_name gas) {
  return lw_words_gas[gas];
}

const char *lw_condition_text(lw_condition at) {
  return at ? lw_words_condition[at] : "not said";
}

const char *lw_stage_text(lw_stage stage) {
  return stage ? lw_words_stage[stage] : "not said";
}

const char *lw_snap_kind_text(lw_snap_kind kind) {
  return lw_words_snap[kind ? kind : LW_SNAP_NEUTRAL];
}

const char *lw_felt_text(lw_felt felt) {
  return felt ? lw_words_felt[felt] : "not said";
}

const char *lw_class_text(lw_class accuracy) {
  return accuracy ? lw_words_class[accuracy] : "not said";
}

lw_thread lw_screw_thread(const lw_screw_card *screw) {
  if (screw->thread != LW_THREAD_UNSAID) return screw->thread;
  if (screw->kind == LW_SCREW_AIR_BLEED) return LW_THREAD_LEFT;
  return screw->kind == LW_SCREW_UNSAID || screw->kind == LW_SCREW_FIXED ? LW_THREAD_UNSAID
                                                                         : LW_THREAD_RIGHT;
}
