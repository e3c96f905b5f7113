/* leanward/card.h - the spec card and the job: what the manual says, and what was found.
**
** A spec card holds what a service manual's table and an engine decal say of one carburetor on one
** engine. A job holds one car in the bay: complaint, weather, checks, readings, what was done.
** Everything but identity is optional; what is missing limits what can be said, and that is said.
**
** Units    SI. Angles in rad of the crankshaft unless said; ignition timing positive before top
**          dead center. Screw positions in turns out from lightly seated, whatever the thread's
**          hand. Vacuum is a depth below the air outside (positive). Compression is a gauge
**          pressure.
** Errors   see doc.h.
** Memory   texts and lists live in the arena given to the reader.
** Files    docs/files.md, made from the tables (lw_card_table, lw_job_table).
*/
#ifndef LEANWARD_CARD_H
#define LEANWARD_CARD_H

#include "leanward/doc.h"

/* ---- Choices. The order is that of the words in card.c; 0 is always "not said". ------------- */

typedef enum lw_transmission {
  LW_TRANSMISSION_UNSAID,
  LW_MANUAL_TRANSMISSION,
  LW_AUTOMATIC_TRANSMISSION
} lw_transmission;

/* The kinds of idle mixture screw (docs/physics.md, "Screws"). */
typedef enum lw_screw_kind {
  LW_SCREW_UNSAID,
  LW_SCREW_FUEL,         /* the needle meters idle mixture; clockwise moves in and leans */
  LW_SCREW_FUEL_LIMITED, /* the same with a sealed stop on the rich side; force breaks it */
  LW_SCREW_FUEL_LIMITER, /* the same behind a sealed flow limiter: it can only lean from there */
  LW_SCREW_AIR_BLEED,    /* meters bleed air; left-hand thread: clockwise moves out and leans */
  LW_SCREW_FIXED         /* no screw at all */
} lw_screw_kind;

typedef enum lw_thread { LW_THREAD_UNSAID, LW_THREAD_RIGHT, LW_THREAD_LEFT } lw_thread;
typedef enum lw_gear { LW_GEAR_UNSAID, LW_GEAR_NEUTRAL, LW_GEAR_PARK, LW_GEAR_DRIVE } lw_gear;
typedef enum lw_hose { LW_HOSE_UNSAID, LW_HOSE_CONNECTED, LW_HOSE_PLUGGED } lw_hose;
typedef enum lw_degrees { LW_DEGREES_UNSAID, LW_DEGREES_CRANK, LW_DEGREES_DISTRIBUTOR } lw_degrees;
typedef enum lw_gas_name {
  LW_GAS_UNSAID,
  LW_GAS_CO,
  LW_GAS_CO2,
  LW_GAS_HC,
  LW_GAS_O2,
  LW_GAS_NO
} lw_gas_name;
typedef enum lw_condition {
  LW_AT_UNSAID,
  LW_AT_IDLE,
  LW_AT_FAST_IDLE,
  LW_AT_CRUISE,
  LW_AT_CYCLE
} lw_condition;
typedef enum lw_stage { LW_STAGE_UNSAID, LW_AS_FOUND, LW_WORKING, LW_AS_LEFT } lw_stage;
typedef enum lw_choke_state {
  LW_CHOKE_UNSAID,
  LW_CHOKE_OPEN,
  LW_CHOKE_PARTLY_OPEN,
  LW_CHOKE_CLOSED
} lw_choke_state;
typedef enum lw_needle {
  LW_NEEDLE_UNSAID,
  LW_NEEDLE_STEADY,
  LW_NEEDLE_REGULAR_DROP,   /* falls at even intervals */
  LW_NEEDLE_IRREGULAR_DROP, /* falls now and then */
  LW_NEEDLE_DRIFT,          /* wanders slowly */
  LW_NEEDLE_VIBRATION,      /* fast shaking */
} lw_needle;
typedef enum lw_leak_test {
  LW_LEAK_UNSAID,
  LW_LEAK_NOT_TESTED,
  LW_LEAK_NONE,
  LW_LEAK_FOUND
} lw_leak_test;
typedef enum lw_pump_shot {
  LW_SHOT_UNSAID,
  LW_SHOT_STRONG,
  LW_SHOT_WEAK,
  LW_SHOT_NONE
} lw_pump_shot;
/* The throttle opened quickly: snap.h. */
typedef enum lw_snap_kind {
  LW_SNAP_UNSAID,
  LW_SNAP_NEUTRAL,
  LW_SNAP_TIP_IN,
  LW_SNAP_FLOORED
} lw_snap_kind;
typedef enum lw_felt {
  LW_FELT_UNSAID,
  LW_FELT_CLEAN,
  LW_FELT_HESITATES, /* a flat spot */
  LW_FELT_POPS_BACK, /* through the air horn */
  LW_FELT_DIES,
  LW_FELT_SMOKES /* black */
} lw_felt;
/* Accuracy classes of exhaust gas analyzers, OIML R 99 (permissible errors in exhaust.h). */
typedef enum lw_class {
  LW_CLASS_UNSAID,
  LW_CLASS_00,
  LW_CLASS_0,
  LW_CLASS_I,
  LW_CLASS_II
} lw_class;
typedef enum lw_basis { LW_BASIS_UNSAID, LW_BASIS_DRY, LW_BASIS_WET } lw_basis;

/* ---- Parts both files use ------------------------------------------------------------------ */

/* A fuel by name (gasoline, E10, E85, LPG, ...) or by its atoms; see medium.h for the names. */
typedef struct lw_fuel_said {
  const char *name;
  double h_c, o_c;      /* atoms for each carbon atom */
  double heating_value; /* lower, J/kg */
  double density;       /* kg/m3 at 15 degC */
  int line;
} lw_fuel_said;

/* One legal limit or the name of a public set of limits (verdict.h lists them). */
typedef struct lw_limit_said {
  const char *public_set; /* "european idle", or NULL when gas and value are given */
  lw_gas_name gas;
  lw_range value; /* mole fraction; HC as hexane */
  lw_condition at;
  const char *source; /* decal, manual, local rule */
  int line;
} lw_limit_said;

/* ---- Spec card ----------------------------------------------------------------------------- */

typedef struct lw_advance_point {
  double speed;     /* rad/s; centrifugal curve */
  double vacuum;    /* Pa; vacuum curve */
  lw_range advance; /* rad */
  int line;
} lw_advance_point;

typedef struct lw_control_valve {
  double set_vacuum; /* Pa: the vacuum it holds at the distributor at idle */
  double fall_time;  /* s: most time for the vacuum to fall back to it after the throttle closes */
  int line;
} lw_control_valve;

typedef struct lw_engine_card {
  const char *name;
  int layout; /* 1 inline, 2 vee, 3 flat */
  int cylinders;
  double displacement, bore, stroke; /* m3, m, m */
  double compression_ratio;
  const char *firing_order;
  lw_range compression_pressure; /* Pa gauge, cranking, warm, throttle open, sea level */
  double compression_variation;  /* Pa: most difference between cylinders */
  double compression_share;      /* least share weakest/strongest */
  double leakage;                /* most cylinder leakage, fraction */
  lw_range dwell;                /* rad of the distributor */
  lw_range point_gap, plug_gap;  /* m */
  lw_range idle_vacuum;          /* Pa, sea level */
  lw_range initial_timing;       /* rad before top dead center */
  double timing_speed;           /* rad/s: at or below */
  lw_hose timing_hose;
  lw_degrees advance_degrees;
  lw_list centrifugal_advance, vacuum_advance; /* of lw_advance_point */
  int vacuum_source;                           /* 1 ported, 2 manifold, 3 control valve */
  lw_control_valve control_valve;
  double warm_coolant; /* K: least coolant temperature for idle setting */
  int line;
} lw_engine_card;

typedef struct lw_barrel_card {
  int count;
  double bore, venturi, booster; /* throttle bore, main and booster venturi, m */
  double main_jet, main_bleed;   /* m */
  lw_values rods;                /* metering rod steps, lean to rich, m */
  double idle_feed, idle_bleed, second_idle_bleed, idle_restriction; /* m */
  double idle_port, idle_limiter;                                    /* m */
  double slot_length, slot_width;                                    /* transfer slot, m */
  double bypass;     /* idle air bypass around the plate, m */
  double power_jet;  /* m */
  double nozzle_lip; /* m above fuel level */
  int operation;     /* secondaries: 1 mechanical, 2 vacuum, 3 air valve */
  int line;
} lw_barrel_card;

typedef struct lw_screw_card {
  const char *name;
  lw_screw_kind kind;
  lw_thread thread;
  lw_range travel; /* turns out from lightly seated, between the stops */
  lw_range preset; /* turns out from lightly seated to start from */
  int barrels;     /* how many it serves */
  const char *place;
  int line;
} lw_screw_card;

typedef struct lw_choke_card {
  int kind; /* 1 manual, 2 thermostat in well, 3 thermostat in housing, 4 electric */
  const char *setting;
  lw_range vacuum_kick, unloader; /* m, plate to wall */
  lw_range fast_idle;             /* rad/s */
  const char *fast_idle_step;
  double opens_at, heating_time; /* K of the thermostat, s */
  int line;
} lw_choke_card;

typedef struct lw_carburetor_card {
  int barrels; /* of one unit */
  int units;   /* how many units on the manifold; 1 unless said */
  int vent;    /* 1 internal, 2 external, 3 both */
  lw_barrel_card primary, secondary;
  lw_list screws;                   /* of lw_screw_card */
  lw_thread speed_thread;           /* idle speed screw */
  lw_texts sealed;                  /* never adjusted */
  lw_range float_level, fuel_level; /* m; how measured stands in float_how */
  const char *float_how;
  lw_choke_card choke;
  lw_range pump_stroke, dashpot_gap;                  /* m */
  double pump_volume;                                 /* m3 of one full stroke, all nozzles */
  double pump_duration, dashpot_time, air_valve_time; /* s */
  double bowl_volume, needle_seat;                    /* m3 at the set level; m */
  lw_answer dashpot, check_valve, bypass;
  double power_opens, power_closes; /* Pa of manifold vacuum: opens below, closed above */
  double air_valve_turns;           /* spring wind-up */
  int line;
} lw_carburetor_card;

typedef struct lw_idle_card {
  lw_range speed, speed_drive; /* rad/s: neutral, in drive */
  lw_gear gear;                /* mixture is set in */
  lw_range co, co2, o2;        /* mole fractions */
  lw_hc hc;                    /* at most */
  lw_range afr;
  const char *procedure;
  int line;
} lw_idle_card;

typedef struct lw_card {
  const char *file; /* as named by the user */
  const char *unit, *maker, *engine_name, *emissions;
  int year;
  lw_transmission transmission;
  lw_engine_card engine;
  lw_carburetor_card carburetor;
  lw_idle_card idle;
  lw_list limits; /* of lw_limit_said */
  lw_fuel_said fuel;
  lw_texts notes;
  int line;
} lw_card;

/* ---- Job ----------------------------------------------------------------------------------- */

typedef struct lw_car {
  const char *description, *plate, *odometer, *engine, *emissions;
  int year, cylinders;
  double displacement; /* m3 */
  lw_transmission transmission;
  int line;
} lw_car;

typedef struct lw_weather {
  double temperature, pressure, humidity, altitude; /* K, Pa, 0..1, m */
  int line;
} lw_weather;

typedef struct lw_analyzer {
  const char *name;
  lw_class accuracy;
  lw_basis basis;    /* dry unless said */
  lw_hc_basis hc_as; /* hexane unless said */
  double pef;        /* hexane reading = propane reading * pef */
  double co, co2, hc, o2,
      no; /* permissible error instead of the class, mole fraction (HC as hexane) */
  double co_step, co2_step, hc_step, o2_step, no_step; /* resolution, mole fraction */
  const char *calibrated;
  int line;
} lw_analyzer;

typedef struct lw_reading {
  const char *label, *time, *analyzer, *note;
  lw_stage stage;
  lw_condition at;
  double speed; /* rad/s */
  lw_gear gear;
  lw_choke_state choke;
  lw_answer air_cleaner, settled;
  double co, co2, o2, no; /* mole fractions as read */
  lw_hc hc;
  double vacuum; /* Pa */
  lw_needle needle;
  double timing;  /* rad before top dead center */
  lw_list screws; /* of lw_named: turns out from lightly seated */
  int line;
} lw_reading;

/* The highest and lowest values the displays came to when the throttle was opened quickly. */
typedef struct lw_snap_reading {
  const char *label, *time, *analyzer, *note;
  lw_snap_kind kind;
  double speed; /* rad/s held; of a snap the highest stands in speed_most */
  double co_most, co_least, o2_most;
  lw_hc hc_most;
  double vacuum_most, speed_most; /* Pa, rad/s */
  lw_felt felt;
  int line;
} lw_snap_reading;

typedef struct lw_advance_reading {
  double speed, vacuum, advance; /* rad/s, Pa, rad */
  int line;
} lw_advance_reading;

typedef struct lw_checks {
  lw_values compression;                         /* Pa gauge, cylinder 1 first */
  lw_values leakage;                             /* fractions */
  double dwell, point_gap, timing, timing_speed; /* rad, m, rad, rad/s */
  lw_hose timing_hose;
  lw_list centrifugal_advance, vacuum_advance; /* of lw_advance_reading */
  lw_leak_test leak_test;
  const char *leak_place;
  double fuel_level;   /* m, measured as the card says */
  double coolant, oil; /* K */
  lw_answer warm, choke_open, air_cleaner, dashpot_clear, accessories_off, converter_idle;
  double fall_time;       /* s: distributor vacuum back to its value after the throttle is let go */
  lw_pump_shot pump_shot; /* looked at down the air horn, engine stopped */
  double air_valve_turns; /* wind-up of the air valve's spring, as counted */
  double cranking_speed;
  int line;
} lw_checks;

typedef struct lw_done {
  const char *what;
  const char *screw;
  double turns; /* + counter-clockwise, - clockwise, as turned */
  int line;
} lw_done;

typedef struct lw_job {
  const char *file;
  const char *id, *date, *technician, *shop, *customer, *complaint;
  const char *card, *fitted_card; /* paths as written, relative to the job's folder */
  const char *fitted_unit;        /* number stamped on the unit in the car */
  lw_car car;
  lw_weather weather;
  lw_fuel_said fuel;
  lw_list analyzers; /* of lw_analyzer */
  lw_checks checks;
  lw_list readings; /* of lw_reading */
  lw_list snaps;    /* of lw_snap_reading */
  lw_list limits;   /* of lw_limit_said */
  lw_list done;     /* of lw_done */
  lw_texts notes;
  int line;
} lw_job;

/* ---- Reading them -------------------------------------------------------------------------- */

const lw_table *lw_card_table(void);
const lw_table *lw_job_table(void);

/* text: the file's bytes; file: its name for errors. *card and all it points to live in bind's
   arena. LW_BAD_INPUT with the line of the first thing that is wrong. */
lw_status lw_card_read(const lw_bind *bind, const char *text, size_t length, lw_card **card,
                       lw_error *error) LW_MUST_USE;
lw_status lw_job_read(const lw_bind *bind, const char *text, size_t length, lw_job **job,
                      lw_error *error) LW_MUST_USE;

/* Words for choices, for people: "fuel-side screw with limited travel", "automatic". */
const char *lw_screw_kind_text(lw_screw_kind kind);
const char *lw_transmission_text(lw_transmission transmission);
const char *lw_gas_text(lw_gas_name gas);
const char *lw_condition_text(lw_condition at);
const char *lw_stage_text(lw_stage stage);
const char *lw_snap_kind_text(lw_snap_kind kind);
const char *lw_felt_text(lw_felt felt);
const char *lw_class_text(lw_class accuracy);

/* The thread hand of a screw: as said, else that of its kind (air bleed: left). */
lw_thread lw_screw_thread(const lw_screw_card *screw);

#endif
