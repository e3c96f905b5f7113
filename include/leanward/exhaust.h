/* leanward/exhaust.h - what a reading of exhaust gas says of the mixture, and how sure that is.
**
** Any of CO, CO2, HC, O2, NO may be missing. With CO, CO2, HC and O2 all read, the mixture follows
** from an atom balance. With fewer, the same balance is closed with what burning must leave behind
** (docs/physics.md, "Fewer gases"), and the answer says how much less sure it is.
**
** Units    mole fractions (0.035, not 3.5 %); lambda is air over stoichiometric air.
** Errors   LW_BAD_INPUT for values no gas can have; a set of readings that do not fit together is
**          a result with notes, not an error.
** Memory   none; everything is in the caller's structs.
** Threads  pure functions.
** Source   Brettschneider's balance as standardised in OIML R 99 / ISO 3930; Heywood 1988, 4.9;
**          uncertainty by JCGM 100:2008 (GUM). Derivations: docs/physics.md.
*/
#ifndef LEANWARD_EXHAUST_H
#define LEANWARD_EXHAUST_H

#include "leanward/card.h"
#include "leanward/medium.h"

/* ---- The analyzer -------------------------------------------------------------------------- */

/* Maximum permissible error of an analyzer of a class at a value: the greater of an absolute and a
   relative part, mole fraction (HC as hexane). LW_CLASS_UNSAID counts as class II; NO has no class
   and gives the greater of 50 ppm and 10 %.
   Source: OIML R 99 tables of permissible errors; flags in exhaust_class.c. */
double lw_permissible(lw_class accuracy, lw_gas_name gas, double value);
/* Smallest display step such an analyzer has, mole fraction. */
double lw_display_step(lw_class accuracy, lw_gas_name gas);
/* Standard uncertainty of a reading: permissible error as a rectangle's half width and the display
   step as another (GUM 4.3.7). An analyzer's own errors and steps go before its class. */
double lw_reading_u(const lw_analyzer *analyzer, lw_gas_name gas, double value);

/* ---- The sample ---------------------------------------------------------------------------- */

typedef struct lw_gases {
  double co, co2, hc, o2, no;
} lw_gases;

typedef struct lw_sample {
  lw_gases x;           /* as read; NaN: not read. HC in moles of the gas hc_basis names */
  lw_gases u;           /* standard uncertainties, same basis; NaN or 0: exact */
  lw_hc_basis hc_basis; /* unsaid counts as hexane */
  double pef;           /* hexane reading = propane reading * pef; NaN: 0.52 */
  bool wet;             /* fractions of wet gas */
  lw_fuel fuel;
  double water_gas; /* CO*H2O/(CO2*H2), frozen; NaN: 3.5 */
  double air_water; /* mol of water for each mol of dry intake air; NaN: 0 */
} lw_sample;

/* A sample with nothing read, the given fuel and all defaults. */
lw_sample lw_sample_new(const lw_fuel *fuel);
/* HC as moles of carbon atoms for each mole of sample: 6 * hexane, 3 * propane. */
double lw_sample_carbon(const lw_sample *sample);
/* HC as hexane, as limits are written. */
double lw_sample_hexane(const lw_sample *sample);

/* ---- Lambda -------------------------------------------------------------------------------- */

/* The simplified formula of the standards, fixed fuel CH1.7261O0.0176, K = 3.5, HC in hexane:
   mole fractions of dry gas in, lambda out; NaN when nothing burned. */
double lw_lambda_simple(double co, double co2, double hc_hexane, double o2);

/* The balance for any fuel, HC basis, NO and humid intake air. All of co, co2, hc, o2 must be
   known; no may be NaN (0). The basis (wet or dry) cancels. NaN when nothing burned. */
double lw_lambda_balance(const lw_sample *sample);
/* The same with its standard uncertainty by linear propagation of sample->u. */
lw_measure lw_lambda_measure(const lw_sample *sample);

/* ---- Burning, forward ---------------------------------------------------------------------- */

/* How a charge burned: overall lambda; spread, the standard deviation of lambda between cylinders
   and cycles; unburned, the share of fuel carbon that left as HC. */
typedef struct lw_burn {
  double lambda, spread, unburned;
} lw_burn;

typedef struct lw_products {
  lw_gases dry;  /* HC as carbon atoms, NO = 0 */
  double h2, n2; /* dry; n2 counts argon */
  double h2o;    /* of wet gas */
} lw_products;

/* Composition after the water-gas reaction froze at K (NaN: 3.5). Source: atom balance with
   Heywood eq. 4.60 ff. for one mixture, averaged over a normal spread of lambda. */
lw_products lw_burn_products(const lw_fuel *fuel, const lw_burn *burn, double water_gas,
                             double air_water);

/* ---- The whole answer ---------------------------------------------------------------------- */

typedef enum lw_lambda_source {
  LW_LAMBDA_NONE,    /* too little was read */
  LW_LAMBDA_BALANCE, /* CO, CO2, HC and O2 read */
  LW_LAMBDA_INFERRED /* some of them inferred; see missing */
} lw_lambda_source;

typedef enum lw_note_code {
  LW_NOTE_FEWER_GASES,  /* lambda leans on what was not read */
  LW_NOTE_LEAN_OPEN,    /* the lean side is open: leaner would look the same */
  LW_NOTE_VOID,         /* CO + CO2 under 6 %: too diluted to judge */
  LW_NOTE_DILUTED,      /* outside air, or uneven cylinders, beside burned gas */
  LW_NOTE_LEAN_OR_LEAK, /* lean mixture and leaking probe look alike */
  LW_NOTE_CLOSURE,      /* the four gases do not fit together */
  LW_NOTE_WET,          /* they would fit if the gas was not dried */
  LW_NOTE_MISFIRE,      /* HC and O2 of charge that did not burn */
  LW_NOTE_CO_CORRECTED, /* CO corrected for dilution */
  LW_NOTE_RICH_HC,      /* HC high and CO high: rich, not misfire */
  LW_NOTE_AIR_ONLY      /* the probe is in fresh air */
} lw_note_code;

typedef enum lw_weight { LW_REMARK, LW_DOUBT, LW_ALARM } lw_weight;

typedef struct lw_note {
  lw_note_code code;
  lw_weight weight;
  char text[320];
} lw_note;

enum { LW_NOTES_MOST = 8 };

typedef struct lw_exhaust {
  lw_lambda_source source;
  lw_measure lambda;           /* of the gas at the probe */
  double lambda_lo, lambda_hi; /* about 95 % */
  bool lean_open;              /* lambda_hi is only the leanest an engine will run */
  double u_all;                /* u of lambda if CO, CO2, HC and O2 had all been read */
  lw_measure lambda_simple;    /* standard formula; NaN unless the four gases were read */
  lw_measure afr;              /* by mass */
  lw_measure efficiency;       /* of combustion: share of the fuel's heat released */
  lw_gases filled, filled_u;   /* dry, HC as hexane: as read, or as inferred */
  lw_gases missing;            /* 1 where the gas was inferred, else 0 */
  double h2, water;            /* dry H2; water in the wet gas */
  lw_measure closure;          /* sum of all gases less 1; NaN unless four were read */
  lw_measure co_corrected;     /* CO * 15/(CO + CO2) where CO + CO2 < 15 %, else CO as read */
  bool co_is_corrected;
  double dilution;      /* undiluted CO + CO2 over read CO + CO2, 1 to 3 */
  double air_share;     /* most of the sample that can be outside air, 0..1 */
  double lambda_inside; /* lambda of the engine if that much is outside air */
  lw_measure spread;    /* of lambda between cylinders that CO with O2 would mean */
  lw_measure misfire;   /* share of the charge that did not burn */
  bool void_sample;
  lw_note notes[LW_NOTES_MOST];
  size_t note_count;
} lw_exhaust;

/* Work one sample through. Returns LW_BAD_INPUT (error names the gas) when a value is negative,
   over 1, O2 over 21 %, or CO + CO2 over 25 %; else LW_OK, also when lambda cannot be told. */
lw_status lw_exhaust_work(const lw_sample *sample, lw_exhaust *out, lw_error *error) LW_MUST_USE;

#endif
