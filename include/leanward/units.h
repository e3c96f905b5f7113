/* leanward/units.h - shop units at the edges, SI inside.
**
** A person writes "0.059 in", "2 1/2 turns", "19.5 inHg", "650 +/- 25 rpm", "120 to 150 psi". This
** header turns such words into SI and back. Conversion itself is UDUNITS-2's; the units a shop uses
** and UDUNITS does not know (cfm, thou, inH2O at 4 degC) are added by name.
**
** Units    SI inside: Pa, K, kg, m, s, rad, rad/s; fractions and ratios are 1. Screw positions are
**          counted in turns (1 turn = 1, not 2 pi): a screw's turn is a count of its thread.
** Errors   LW_BAD_INPUT names the units that would have been understood.
** Memory   lw_units is created at the edge and closed there.
** Threads  one lw_units is used by one thread at a time. Several, one a thread, are fine: UDUNITS
**          keeps its state in globals, so its calls (few: units are remembered) take turns.
** Source   UDUNITS-2 2.2.28; 1 inHg = 3386.38864 Pa (mercury at 0 degC), 1 inH2O = 249.08891 Pa
**          (water at 4 degC, conventional), 1 cfm = 0.3048^3/60 m3/s exactly.
*/
#ifndef LEANWARD_UNITS_H
#define LEANWARD_UNITS_H

#include "leanward/base.h"

/* What a number measures. Column 2: the unit inside. 3: the unit a shop reads it in. 4: the metric
   unit people read. 5, 6: decimals worth printing in those two. 7: units named in an error. */
#define LW_DIM_LIST(X)                                                                             \
  X(LW_COUNT, "1", "", "", 0, 0, "a whole number")                                                 \
  X(LW_RATIO, "1", "", "", 2, 2, "a plain number")                                                 \
  X(LW_LENGTH, "m", "in", "mm", 4, 3, "in, thou, mm, cm, m, ft")                                   \
  X(LW_VOLUME, "m3", "in3", "cm3", 1, 0, "in3, cm3, cc, L")                                        \
  X(LW_MASS, "kg", "lb", "kg", 1, 1, "kg, g, lb")                                                  \
  X(LW_TIME, "s", "s", "s", 1, 1, "s, ms, min")                                                    \
  X(LW_SPIN, "rad/s", "rpm", "rpm", 0, 0, "rpm")                                                   \
  X(LW_ANGLE, "rad", "deg", "deg", 1, 1, "deg, deg BTDC, deg ATDC")                                \
  X(LW_TURNS, "1", "turns", "turns", 2, 2, "turns")                                                \
  X(LW_PRESSURE, "Pa", "inHg", "kPa", 1, 1, "inHg, psi, kPa, bar, mbar, mmHg, inH2O")              \
  X(LW_COMPRESSION, "Pa", "psi", "kPa", 0, 0, "psi, bar, kPa")                                     \
  X(LW_TEMPERATURE, "K", "degF", "degC", 0, 0, "degF, degC, K")                                    \
  X(LW_FRACTION, "1", "%", "%", 2, 2, "%, ppm")                                                    \
  X(LW_SHARE, "1", "%", "%", 0, 0, "%")                                                            \
  X(LW_PPM, "1", "ppm", "ppm", 0, 0, "ppm, %")                                                     \
  X(LW_SPEED, "m/s", "mph", "km/h", 1, 1, "mph, km/h, m/s")                                        \
  X(LW_ELEVATION, "m", "ft", "m", 0, 0, "ft, m")                                                   \
  X(LW_AIRFLOW, "m3/s", "cfm", "L/s", 0, 1, "cfm, L/s, m3/h")                                      \
  X(LW_DENSITY, "kg/m3", "kg/m3", "kg/m3", 0, 0, "kg/m3, g/cm3, lb/gallon")                        \
  X(LW_ENERGY_PER_MASS, "J/kg", "MJ/kg", "MJ/kg", 1, 1, "MJ/kg, Btu/lb")

typedef enum lw_dim {
#define LW_DIM_ENUM(name, inside, shop, metric, shop_decimals, metric_decimals, units) name,
  LW_DIM_LIST(LW_DIM_ENUM)
#undef LW_DIM_ENUM
      LW_DIM_COUNT
} lw_dim;

typedef enum lw_unit_system { LW_SHOP, LW_METRIC } lw_unit_system;

typedef struct lw_units lw_units;

/* Load the unit database. LW_IO when its file (Debian: libudunits2-data) is not installed. */
lw_status lw_units_open(lw_units **out, lw_error *error) LW_MUST_USE;
void lw_units_close(lw_units *units);

/* x_si = scale * x_written + offset for a unit of this dimension. The unit may carry trade words
   that do not change its size: "% vol", "ppm hexane", "deg BTDC"; "deg ATDC" turns the sign. */
lw_status lw_units_scale(lw_units *units, lw_dim dim, const char *unit, double *scale,
                         double *offset, lw_error *error) LW_MUST_USE;

/* A number as people write it, without unit: "650", "-0.5", ".059", "1 1/4", "-1/4", "1e-3". The
   whole text must be used. A decimal comma, "NaN" and "inf" are refused in words. */
lw_status lw_number_read(const char *text, double *value, lw_error *error) LW_MUST_USE;

/* One quantity with its unit, to SI. LW_COUNT and LW_RATIO stand without unit ("9.2", "9.2:1"). */
lw_status lw_quantity_read(lw_units *units, lw_dim dim, const char *text, double *si,
                           lw_error *error) LW_MUST_USE;

/* "650 rpm", "600 to 700 rpm", "650 +/- 50 rpm", "650 rpm +/- 50 rpm", "at most 3 %",
   "at least 100 psi", to SI. A reversed span ("700 to 600 rpm") is refused. */
lw_status lw_range_read(lw_units *units, lw_dim dim, const char *text, lw_range *si,
                        lw_error *error) LW_MUST_USE;

/* The unit people read this dimension in, and how many decimals are worth printing. Needs no
   database: the factors are fixed. "" for LW_COUNT and LW_RATIO. */
const char *lw_dim_unit(lw_dim dim, lw_unit_system system);
int lw_dim_decimals(lw_dim dim, lw_unit_system system);
const char *lw_dim_accepts(lw_dim dim);
/* The unit inside: "Pa", "rad/s". */
const char *lw_dim_inside(lw_dim dim);
/* SI to that unit. */
double lw_dim_shown(lw_dim dim, lw_unit_system system, double si);

/* "19.5 inHg" or "66.0 kPa" (system) or, with both, "19.5 inHg (66.0 kPa)". band (SI, NaN: none)
   limits the digits. Returns buffer. */
const char *lw_quantity_text(char *buffer, size_t size, lw_dim dim, lw_unit_system system,
                             double si, double band);
const char *lw_quantity_text_both(char *buffer, size_t size, lw_dim dim, double si);
/* "600 to 700 rpm", "at most 1.50 %". */
const char *lw_range_text(char *buffer, size_t size, lw_dim dim, lw_unit_system system,
                          lw_range si);
/* "5.0 deg BTDC", "2.5 deg ATDC", "TDC": ignition timing, rad, positive before. */
const char *lw_timing_text(char *buffer, size_t size, double angle);
/* "2 1/2 turns", "1/4 turn": to the nearest sixteenth when that is within 0.011, else
   decimals. */
const char *lw_turns_text(char *buffer, size_t size, double turns);

#endif
