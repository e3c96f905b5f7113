/* units.c - quantities as people write them, to SI and back.
**
** Reading goes through UDUNITS-2; writing uses the fixed factors below (a test holds the two
** together). Words that belong to the trade and not to the unit ("vol", "hexane", "BTDC") are taken
** off before UDUNITS sees the unit.
*/
#include "leanward/units.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <udunits2.h>

#define PI 3.14159265358979323846

enum { UNIT_TEXT = 48, KNOWN_UNITS = 64 };

typedef struct known_unit {
  char text[UNIT_TEXT];
  lw_dim dim;
  double scale, offset;
} known_unit;

/* UDUNITS parses with globals and keeps the outcome of each call in one: one thread at a time, also
   with a database each. */
static pthread_mutex_t udunits_turn = PTHREAD_MUTEX_INITIALIZER;

struct lw_units {
  ut_system *system;
  known_unit known[KNOWN_UNITS]; /* what was asked before: a file repeats its units */
  size_t known_count;
};

/* people's number = si * scale + offset */
typedef struct shown {
  double scale, offset;
} shown;

static const struct dim_row {
  const char *inside, *unit[2], *accepts;
  int decimals[2];
} dims[LW_DIM_COUNT] = {
#define LW_DIM_ROW(name, inside, shop, metric, shop_decimals, metric_decimals, units)              \
  [name] = {inside, {shop, metric}, units, {shop_decimals, metric_decimals}},
    LW_DIM_LIST(LW_DIM_ROW)
#undef LW_DIM_ROW
};

static const shown factors[LW_DIM_COUNT][2] = {
    [LW_COUNT] = {{1, 0}, {1, 0}},
    [LW_RATIO] = {{1, 0}, {1, 0}},
    [LW_LENGTH] = {{1 / 0.0254, 0}, {1000, 0}},
    [LW_VOLUME] = {{1 / (0.0254 * 0.0254 * 0.0254), 0}, {1e6, 0}},
    [LW_MASS] = {{1 / 0.45359237, 0}, {1, 0}},
    [LW_TIME] = {{1, 0}, {1, 0}},
    [LW_SPIN] = {{30 / PI, 0}, {30 / PI, 0}},
    [LW_ANGLE] = {{180 / PI, 0}, {180 / PI, 0}},
    [LW_TURNS] = {{1, 0}, {1, 0}},
    [LW_PRESSURE] = {{1 / 3386.38864034, 0}, {1e-3, 0}},
    [LW_COMPRESSION] = {{1 / 6894.75729317, 0}, {1e-3, 0}},
    [LW_TEMPERATURE] = {{1.8, -459.67}, {1, -273.15}},
    [LW_FRACTION] = {{100, 0}, {100, 0}},
    [LW_SHARE] = {{100, 0}, {100, 0}},
    [LW_PPM] = {{1e6, 0}, {1e6, 0}},
    [LW_SPEED] = {{3600 / 1609.344, 0}, {3.6, 0}},
    [LW_ELEVATION] = {{1 / 0.3048, 0}, {1, 0}},
    [LW_AIRFLOW] = {{60 / (0.3048 * 0.3048 * 0.3048), 0}, {1000, 0}},
    [LW_DENSITY] = {{1, 0}, {1, 0}},
    [LW_ENERGY_PER_MASS] = {{1e-6, 0}, {1e-6, 0}},
};

/* Shop units that UDUNITS-2 does not know, by their definition in units it does. */
static const struct {
  const char *name, *definition;
} shop_units[] = {
    {"cfm", "ft3/min"},        {"thou", "0.001 inch"},  {"cc", "cm3"},
    {"inH2O", "249.08891 Pa"}, {"mmH2O", "9.80665 Pa"}, {"mph", "mile/hour"},
    {"deg", "arc_degree"},
};

/* To UDUNITS a radian, a turn, a percent and 1 are convertible, and so are Hz and rad/s. On a spec
   card they are not: these dimensions take the units named here and no others. */
static const struct {
  lw_dim dim;
  const char *units[5];
} only[] = {
    {LW_ANGLE, {"deg", "degree", "degrees", "rad"}},
    {LW_TURNS, {"turns"}},
    {LW_FRACTION, {"%", "percent", "ppm"}},
    {LW_SHARE, {"%", "percent"}},
    {LW_PPM, {"%", "percent", "ppm"}},
    {LW_SPIN, {"rpm", "rad/s"}},
};

/* ---- numbers ---- */

static const char *skip_blank(const char *s) {
  while (*s == ' ' || *s == '\t')
    s++;
  return s;
}

static bool digit(char c) {
  return c >= '0' && c <= '9';
}

/* A plain decimal at *s; moves *s behind it. Hexadecimal, inf and NaN are not numbers here. */
static bool decimal(const char **s, double *value) {
  const char *start = *s, *p = start;
  if (*p == '+' || *p == '-') p++;
  if (!digit(*p) && !(*p == '.' && digit(p[1]))) return false;
  if (p[0] == '0' && (p[1] == 'x' || p[1] == 'X')) return false;
  char *end = NULL;
  *value = strtod(start, &end);
  *s = end;
  return isfinite(*value) != 0;
}

/* Up to six digits at *s as a whole number; moves *s behind them. Not strtod: that would take the
   hexadecimal and the exponents that no fraction has. */
static bool digits(const char **s, double *value) {
  const char *p = *s;
  *value = 0;
  while (digit(*p) && p - *s < 6)
    *value = *value * 10 + (*p++ - '0');
  bool some = p != *s && !digit(*p);
  *s = p;
  return some;
}

/* "3/4" after an optional whole number. Moves *s behind it. */
static bool fraction(const char **s, double *value) {
  const char *p = *s;
  double top = 0, bottom = 0;
  if (!digits(&p, &top) || *p++ != '/' || !digits(&p, &bottom) || bottom <= 0) return false;
  *value = top / bottom;
  *s = p;
  return true;
}

/* A number at *s: decimal, fraction, or whole number and fraction. Moves *s behind it. */
static bool number(const char **s, double *value) {
  const char *p = skip_blank(*s);
  double sign = 1;
  const char *unsigned_start = p;
  if (*p == '+' || *p == '-') {
    sign = *p == '-' ? -1 : 1;
    unsigned_start = p + 1;
  }
  const char *f = unsigned_start;
  double part = 0;
  if (fraction(&f, &part)) {
    *value = sign * part;
    *s = f;
    return true;
  }
  if (!decimal(&p, value)) return false;
  bool whole = *value == floor(*value);
  f = skip_blank(p);
  if (whole && f != p && fraction(&f, &part) && part < 1) {
    *value = sign * (fabs(*value) + part);
    p = f;
  }
  *s = p;
  return true;
}

static lw_status not_a_number(const char *text, lw_error *error) {
  const char *p = skip_blank(text);
  if (*p == '+' || *p == '-') p++;
  if (lw_text_same(p, "nan") || lw_text_same(p, "inf")) {
    return lw_fail(error, LW_BAD_INPUT, "'%.60s' is not a number; leave the line out if not known",
                   text);
  }
  return lw_fail(error, LW_BAD_INPUT, "'%.60s' is not a number", text);
}

/* A decimal comma ("3,5") gets its own advice. */
static bool decimal_comma(const char *rest) {
  return rest[0] == ',' && digit(rest[1]);
}

static lw_status comma_error(const char *text, lw_error *error) {
  return lw_fail(error, LW_BAD_INPUT, "'%.60s' has a comma in a number; write a point, as in 3.5",
                 text);
}

lw_status lw_number_read(const char *text, double *value, lw_error *error) {
  const char *p = text;
  double x = 0;
  if (!number(&p, &x)) return not_a_number(text, error);
  if (decimal_comma(p)) return comma_error(text, error);
  if (*skip_blank(p)) return not_a_number(text, error);
  *value = x;
  return LW_OK;
}

/* ---- units ---- */

/* A letter, percent or the bytes of "°" and the like. */
static bool unit_letter(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '%' || (unsigned char)c >= 0x80;
}

/* UDUNITS reads "2 in" as a unit of two inches and "m @ 3" as a shifted meter, so that "12 13 mm"
   would be 156 mm. A unit here starts with a letter, and a digit may only be an exponent or part of
   a name (in3, inH2O). */
static bool plain_unit(const char *unit) {
  for (size_t i = 0; unit[i]; i++) {
    if (unit_letter(unit[i])) continue;
    if (i == 0) return false;
    if (digit(unit[i]) ? !unit_letter(unit[i - 1]) && unit[i - 1] != '^'
                       : !strchr("/.*^_ ", unit[i])) {
      return false;
    }
  }
  return true;
}

static bool drop_suffix(char *unit, const char *suffix) {
  size_t n = strlen(unit), m = strlen(suffix);
  if (n < m || !lw_text_same(unit + n - m, suffix)) return false;
  if (n > m && unit[n - m - 1] != ' ' && unit[n - m - 1] != '-' &&
      (unsigned char)unit[n - m - 1] < 0x80) {
    return false;
  }
  unit[n - m] = '\0';
  while (unit[0] && (unit[strlen(unit) - 1] == ' ' || unit[strlen(unit) - 1] == '-')) {
    unit[strlen(unit) - 1] = '\0';
  }
  return true;
}

/* Take the trade's words off a unit. Returns the sign they give the value. */
static double trade_words(lw_dim dim, char *unit) {
  static const char *const before[] = {"BTDC", "before TDC", "before top dead center"};
  static const char *const after[] = {"ATDC", "after TDC", "after top dead center"};
  static const char *const gas[] = {"hexane", "propane", "C1", "by volume", "vol"};
  if (dim == LW_ANGLE) {
    double sign = 1;
    bool side = false;
    for (size_t i = 0; i < 3 && !side; i++) {
      side = drop_suffix(unit, before[i]);
      if (!side && drop_suffix(unit, after[i])) {
        side = true;
        sign = -1;
      }
    }
    if (!side) drop_suffix(unit, "TDC");
    if (strcmp(unit, "°") == 0) snprintf(unit, UNIT_TEXT, "deg");
    return sign;
  }
  if (dim == LW_FRACTION || dim == LW_PPM) {
    for (size_t i = 0; i < sizeof gas / sizeof gas[0]; i++)
      drop_suffix(unit, gas[i]);
  }
  if (dim == LW_SHARE) drop_suffix(unit, "RH");
  double turned = 1;
  if (dim == LW_TURNS) {
    if (!drop_suffix(unit, "counter-clockwise") && drop_suffix(unit, "clockwise")) turned = -1;
    if (lw_text_same(unit, "turn")) snprintf(unit, UNIT_TEXT, "turns");
  }
  if (dim == LW_PRESSURE || dim == LW_COMPRESSION) drop_suffix(unit, "gauge");
  return turned;
}

static lw_status unknown_unit(lw_dim dim, const char *unit, lw_error *error) {
  return lw_fail(error, LW_BAD_INPUT, "'%.40s' is not a unit that fits here; use %s", unit,
                 dims[dim].accepts);
}

static bool allowed(lw_dim dim, const char *unit) {
  for (size_t i = 0; i < sizeof only / sizeof only[0]; i++) {
    if (only[i].dim != dim) continue;
    for (size_t j = 0; j < 5 && only[i].units[j]; j++) {
      if (strcmp(unit, only[i].units[j]) == 0) return true;
    }
    return false;
  }
  return true;
}

static lw_status ask_udunits(lw_units *units, lw_dim dim, const char *unit, known_unit *out,
                             lw_error *error) {
  if (!allowed(dim, unit) || !plain_unit(unit)) return unknown_unit(dim, unit, error);
  if (dim == LW_TURNS) {
    out->scale = 1;
    return LW_OK;
  }
  ut_unit *from = ut_parse(units->system, unit, UT_UTF8);
  ut_unit *to = ut_parse(units->system, dims[dim].inside, UT_UTF8);
  cv_converter *conversion = from && to ? ut_get_converter(from, to) : NULL;
  lw_status status = LW_OK;
  if (conversion) {
    out->offset = cv_convert_double(conversion, 0);
    out->scale = cv_convert_double(conversion, 1) - out->offset;
    if (dim == LW_TEMPERATURE)
      out->scale = (cv_convert_double(conversion, 100) - out->offset) / 100;
  } else {
    status = unknown_unit(dim, unit, error);
  }
  cv_free(conversion);
  ut_free(from);
  ut_free(to);
  return status;
}

lw_status lw_units_scale(lw_units *units, lw_dim dim, const char *unit, double *scale,
                         double *offset, lw_error *error) {
  const char *start = skip_blank(unit);
  if (strlen(start) >= UNIT_TEXT) return unknown_unit(dim, unit, error);
  for (size_t i = 0; i < units->known_count; i++) {
    const known_unit *k = &units->known[i];
    if (k->dim != dim || strcmp(k->text, start) != 0) continue;
    *scale = k->scale;
    *offset = k->offset;
    return LW_OK;
  }
  known_unit found = {.dim = dim};
  char plain[UNIT_TEXT];
  snprintf(found.text, sizeof found.text, "%s", start);
  snprintf(plain, sizeof plain, "%s", start);
  drop_suffix(plain, "");
  double sign = trade_words(dim, plain);
  bool needs_unit = dim != LW_COUNT && dim != LW_RATIO;
  if (!plain[0] && needs_unit) {
    return lw_fail(error, LW_BAD_INPUT, "the unit is missing; use %s", dims[dim].accepts);
  }
  found.scale = 1;
  if (!needs_unit && plain[0] && strcmp(plain, ":1") != 0) {
    return lw_fail(error, LW_BAD_INPUT, "'%.40s' should not be there: %s stands without a unit",
                   plain, dims[dim].accepts);
  }
  if (needs_unit) {
    pthread_mutex_lock(&udunits_turn);
    lw_status status = ask_udunits(units, dim, plain, &found, error);
    pthread_mutex_unlock(&udunits_turn);
    if (status != LW_OK) return status;
  }
  found.scale *= sign;
  if (units->known_count < KNOWN_UNITS) units->known[units->known_count++] = found;
  *scale = found.scale;
  *offset = found.offset;
  return LW_OK;
}

static lw_status add_shop_units(ut_system *system, lw_error *error) {
  for (size_t i = 0; i < sizeof shop_units / sizeof shop_units[0]; i++) {
    ut_unit *unit = ut_parse(system, shop_units[i].definition, UT_ASCII);
    ut_unit *present = ut_get_unit_by_name(system, shop_units[i].name);
    if (unit && !present) ut_map_name_to_unit(shop_units[i].name, UT_ASCII, unit);
    ut_free(present);
    ut_free(unit);
    if (!unit) return lw_fail(error, LW_IO, "the unit database lacks %s", shop_units[i].definition);
  }
  return LW_OK;
}

static lw_status read_database(lw_units *units, lw_error *error) {
  ut_set_error_message_handler(ut_ignore);
  units->system = ut_read_xml(NULL);
  if (!units->system) {
    return lw_fail(error, LW_IO, "the unit database cannot be read; install libudunits2-data");
  }
  return add_shop_units(units->system, error);
}

lw_status lw_units_open(lw_units **out, lw_error *error) {
  lw_units *units = calloc(1, sizeof *units);
  if (!units) return lw_fail(error, LW_NO_MEMORY, "no memory for the unit database");
  pthread_mutex_lock(&udunits_turn);
  lw_status status = read_database(units, error);
  pthread_mutex_unlock(&udunits_turn);
  if (status != LW_OK) {
    lw_units_close(units);
    return status;
  }
  *out = units;
  return LW_OK;
}

void lw_units_close(lw_units *units) {
  if (!units) return;
  pthread_mutex_lock(&udunits_turn);
  ut_free_system(units->system);
  pthread_mutex_unlock(&udunits_turn);
  free(units);
}

/* ---- quantities and ranges ---- */

/* "600-700 rpm": a hyphen or dash with a number behind it is a span in the wrong spelling. */
static bool hyphen_span(const char *unit) {
  for (const char *p = unit; *p; p++) {
    size_t n = *p == '-' ? 1 : strncmp(p, "–", 3) == 0 ? 3 : 0;
    if (n == 0) continue;
    const char *after = skip_blank(p + n);
    if (digit(*after) || *after == '.') return true;
  }
  return false;
}

/* Split "12.5 in to 13 in" style text: the number at *s and the unit text that follows, up to a
   word that starts the next part (" to ", "+/-", the sign itself) or the end. */
static lw_status number_and_unit(const char **s, double *value, char unit[UNIT_TEXT],
                                 lw_error *error) {
  const char *p = *s;
  if (!number(&p, value)) return not_a_number(skip_blank(*s), error);
  if (decimal_comma(p)) return comma_error(skip_blank(*s), error);
  p = skip_blank(p);
  size_t n = 0;
  while (*p && strncmp(p, "+/-", 3) != 0 && strncmp(p, "±", 2) != 0 && strncmp(p, " to ", 4) != 0 &&
         strncmp(p, "to ", 3) != 0) {
    if (n + 1 >= UNIT_TEXT) return lw_fail(error, LW_BAD_INPUT, "the text '%.40s' is too long", p);
    unit[n++] = *p++;
  }
  while (n && (unit[n - 1] == ' ' || unit[n - 1] == '\t'))
    n--;
  unit[n] = '\0';
  if (hyphen_span(unit)) {
    return lw_fail(error, LW_BAD_INPUT, "'%.60s': write a span with 'to', as in '600 to 700 rpm'",
                   skip_blank(*s));
  }
  *s = p;
  return LW_OK;
}

/* *turned: the unit turns the sign (deg ATDC), so that the greater number is the lesser value. */
static lw_status scaled(lw_units *units, lw_dim dim, const char *unit, double written, double *si,
                        bool *turned, lw_error *error) {
  double scale = 1, offset = 0;
  lw_status status = lw_units_scale(units, dim, unit, &scale, &offset, error);
  if (status != LW_OK) return status;
  double value = written * scale + offset;
  if (!isfinite(value)) return lw_fail(error, LW_BAD_INPUT, "%g %s is too large", written, unit);
  *si = value;
  if (turned) *turned = scale < 0;
  return LW_OK;
}

lw_status lw_quantity_read(lw_units *units, lw_dim dim, const char *text, double *si,
                           lw_error *error) {
  const char *p = text;
  double written = 0, value = 0;
  char unit[UNIT_TEXT] = "";
  lw_status status = number_and_unit(&p, &written, unit, error);
  if (status != LW_OK) return status;
  if (*p) return lw_fail(error, LW_BAD_INPUT, "'%.60s': one value was expected here", text);
  status = scaled(units, dim, unit, written, &value, NULL, error);
  if (status != LW_OK) return status;
  if (dim == LW_COUNT && value != floor(value)) {
    return lw_fail(error, LW_BAD_INPUT, "'%.40s' is not a whole number", text);
  }
  *si = value;
  return LW_OK;
}

/* "at most 3 %" and "at least 100 psi". */
static lw_status one_sided(lw_units *units, lw_dim dim, const char *text, bool most, lw_range *si,
                           lw_error *error) {
  double written = 0, value = 0;
  bool turned = false;
  char unit[UNIT_TEXT] = "";
  lw_status status = number_and_unit(&text, &written, unit, error);
  if (status != LW_OK) return status;
  if (*text)
    return lw_fail(error, LW_BAD_INPUT, "one value was expected after 'at most' or 'at least'");
  status = scaled(units, dim, unit, written, &value, &turned, error);
  if (status != LW_OK) return status;
  *si = lw_range_none;
  *(most != turned ? &si->hi : &si->lo) = value;
  return LW_OK;
}

static lw_status spread(lw_units *units, lw_dim dim, const char *rest, double written, char *unit,
                        lw_range *si, lw_error *error) {
  double width = 0, scale = 1, offset = 0;
  char width_unit[UNIT_TEXT] = "";
  lw_status status = number_and_unit(&rest, &width, width_unit, error);
  if (status != LW_OK) return status;
  if (*rest || width < 0) {
    return lw_fail(error, LW_BAD_INPUT, "write the tolerance as in '650 +/- 50 rpm'");
  }
  if (!unit[0]) snprintf(unit, UNIT_TEXT, "%s", width_unit);
  if (!width_unit[0]) snprintf(width_unit, sizeof width_unit, "%s", unit);
  double at = 0;
  status = scaled(units, dim, unit, written, &at, NULL, error);
  if (status == LW_OK) status = lw_units_scale(units, dim, width_unit, &scale, &offset, error);
  if (status != LW_OK) return status;
  double half = width * fabs(scale);
  if (!isfinite(at - half) || !isfinite(at + half)) {
    return lw_fail(error, LW_BAD_INPUT, "a tolerance of %g %s is too large", width, width_unit);
  }
  *si = (lw_range){at - half, at, at + half};
  return LW_OK;
}

static lw_status from_to(lw_units *units, lw_dim dim, const char *rest, double written, char *unit,
                         lw_range *si, lw_error *error) {
  double end = 0, lo = 0, hi = 0;
  char end_unit[UNIT_TEXT] = "";
  lw_status status = number_and_unit(&rest, &end, end_unit, error);
  if (status != LW_OK) return status;
  if (*rest) return lw_fail(error, LW_BAD_INPUT, "write a span as in '600 to 700 rpm'");
  if (!unit[0]) snprintf(unit, UNIT_TEXT, "%s", end_unit);
  bool turned = false, end_turned = false;
  status = scaled(units, dim, unit, written, &lo, &turned, error);
  if (status == LW_OK) status = scaled(units, dim, end_unit, end, &hi, &end_turned, error);
  if (status != LW_OK) return status;
  if (turned && end_turned) { /* "5 to 10 deg ATDC" has its lesser number first, too */
    double swap = lo;
    lo = hi;
    hi = swap;
  }
  if (lo > hi)
    return lw_fail(error, LW_BAD_INPUT, "the span runs backward; write the lesser first");
  *si = (lw_range){lo, lo + 0.5 * (hi - lo), hi};
  return LW_OK;
}

lw_status lw_range_read(lw_units *units, lw_dim dim, const char *text, lw_range *si,
                        lw_error *error) {
  const char *p = skip_blank(text);
  if (strncmp(p, "at most ", 8) == 0) return one_sided(units, dim, p + 8, true, si, error);
  if (strncmp(p, "at least ", 9) == 0) return one_sided(units, dim, p + 9, false, si, error);
  double written = 0;
  char unit[UNIT_TEXT] = "";
  lw_status status = number_and_unit(&p, &written, unit, error);
  if (status != LW_OK) return status;
  if (strncmp(p, "+/-", 3) == 0) return spread(units, dim, p + 3, written, unit, si, error);
  if (strncmp(p, "±", 2) == 0) return spread(units, dim, p + 2, written, unit, si, error);
  if (*p) return from_to(units, dim, skip_blank(p) + 3, written, unit, si, error);
  double at = 0;
  status = scaled(units, dim, unit, written, &at, NULL, error);
  if (status == LW_OK) *si = (lw_range){at, at, at};
  return status;
}

/* ---- writing ---- */

const char *lw_dim_unit(lw_dim dim, lw_unit_system system) {
  return dims[dim].unit[system];
}

int lw_dim_decimals(lw_dim dim, lw_unit_system system) {
  return dims[dim].decimals[system];
}

const char *lw_dim_accepts(lw_dim dim) {
  return dims[dim].accepts;
}

const char *lw_dim_inside(lw_dim dim) {
  return dims[dim].inside;
}

double lw_dim_shown(lw_dim dim, lw_unit_system system, double si) {
  return si * factors[dim][system].scale + factors[dim][system].offset;
}

static const char *with_unit(char *buffer, size_t size, const char *value, const char *unit) {
  snprintf(buffer, size, unit[0] ? "%s %s" : "%s%s", value, unit);
  return buffer;
}

const char *lw_quantity_text(char *buffer, size_t size, lw_dim dim, lw_unit_system system,
                             double si, double band) {
  if (!lw_known(si)) return lw_text_value(buffer, size, si, LW_NONE, 0);
  if (dim == LW_TURNS) return lw_turns_text(buffer, size, si);
  char value[32];
  int decimals = dims[dim].decimals[system];
  /* a jet is known to a ten-thousandth of an inch, a bore or a float level to a thousandth */
  if (dim == LW_LENGTH && fabs(si) >= 5e-3) decimals--;
  double shown_band = band * fabs(factors[dim][system].scale);
  lw_text_value(value, sizeof value, lw_dim_shown(dim, system, si), shown_band, decimals);
  return with_unit(buffer, size, value, dims[dim].unit[system]);
}

const char *lw_quantity_text_both(char *buffer, size_t size, lw_dim dim, double si) {
  char shop[64], metric[64];
  lw_quantity_text(shop, sizeof shop, dim, LW_SHOP, si, LW_NONE);
  lw_quantity_text(metric, sizeof metric, dim, LW_METRIC, si, LW_NONE);
  bool one = !lw_known(si) || strcmp(dims[dim].unit[0], dims[dim].unit[1]) == 0;
  snprintf(buffer, size, one ? "%s" : "%s (%s)", shop, metric);
  return buffer;
}

const char *lw_range_text(char *buffer, size_t size, lw_dim dim, lw_unit_system system,
                          lw_range si) {
  char lo[64], hi[64];
  /* a limit far under a tenth of a percent is said in ppm */
  if (dim == LW_FRACTION && si.hi < 0.001) dim = LW_PPM;
  if (!lw_known(si.lo) && !lw_known(si.hi)) {
    return lw_quantity_text(buffer, size, dim, system, si.at, LW_NONE);
  }
  lw_quantity_text(lo, sizeof lo, dim, system, si.lo, LW_NONE);
  lw_quantity_text(hi, sizeof hi, dim, system, si.hi, LW_NONE);
  if (!lw_known(si.lo)) {
    snprintf(buffer, size, "at most %s", hi);
  } else if (!lw_known(si.hi)) {
    snprintf(buffer, size, "at least %s", lo);
  } else if (strcmp(lo, hi) == 0) {
    snprintf(buffer, size, "%s", hi);
  } else {
    const char *unit = dims[dim].unit[system];
    char *cut = unit[0] ? strrchr(lo, ' ') : NULL; /* "600 rpm" to "600": the unit is said once */
    if (cut) *cut = '\0';
    snprintf(buffer, size, "%s to %s", lo, hi);
  }
  return buffer;
}

const char *lw_timing_text(char *buffer, size_t size, double angle) {
  double degrees = lw_dim_shown(LW_ANGLE, LW_SHOP, angle);
  if (!lw_known(angle)) return lw_text_value(buffer, size, angle, NAN, 1);
  if (fabs(degrees) < 0.05) {
    snprintf(buffer, size, "TDC");
  } else {
    snprintf(buffer, size, "%.1f deg %s", fabs(degrees), degrees > 0 ? "BTDC" : "ATDC");
  }
  return buffer;
}

/* The part of a turn as a fraction in its lowest terms: 6 sixteenths are "3/8". */
static void sixteenths(char *buffer, size_t size, int n) {
  int bottom = 16;
  while (n % 2 == 0) {
    n /= 2;
    bottom /= 2;
  }
  snprintf(buffer, size, "%d/%d", n, bottom);
}

const char *lw_turns_text(char *buffer, size_t size, double turns) {
  if (!lw_known(turns)) return lw_text_value(buffer, size, turns, LW_NONE, 0);
  double a = fabs(turns);
  if (a >= 1000) { /* no screw has them: a slip of the pen shown back */
    snprintf(buffer, size, "%.4g turns", turns);
    return buffer;
  }
  if (fabs(a - round(a * 16) / 16) > 0.011) {
    snprintf(buffer, size, "%.2f turns", turns);
    return buffer;
  }
  char part[32] = "";
  int n = (int)lround(a * 16), whole = n / 16;
  if (n % 16) sixteenths(part, sizeof part, n % 16);
  const char *sign = turns < 0 && n ? "-" : "", *word = n > 16 || n == 0 ? "turns" : "turn";
  if (whole && part[0]) {
    snprintf(buffer, size, "%s%d %s %s", sign, whole, part, word);
  } else if (part[0]) {
    snprintf(buffer, size, "%s%s %s", sign, part, word);
  } else {
    snprintf(buffer, size, "%s%d %s", sign, whole, word);
  }
  return buffer;
}
