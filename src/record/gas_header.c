/* gas_header.c - "time,CO [%],HC [ppm hexane]": which columns are gases, in which unit. */
#include "gas_header.h"

#include "csv_scan.h"

#include <stdio.h>
#include <string.h>

enum { NAME_TEXT = 96 };

/* A header cell taken apart. */
typedef struct heading {
  char name[NAME_TEXT], unit[NAME_TEXT];
  bool has_unit; /* brackets were there */
} heading;

static const lw_gas_name gases[LW_GAS_COLUMNS] = {LW_GAS_CO, LW_GAS_CO2, LW_GAS_HC, LW_GAS_O2,
                                                  LW_GAS_NO};

static lw_dim gas_dim(lw_gas_name gas) {
  return gas == LW_GAS_HC || gas == LW_GAS_NO ? LW_PPM : LW_FRACTION;
}

static char *trim(char *text) {
  while (*text == ' ' || *text == '\t')
    text++;
  size_t n = strlen(text);
  while (n && (text[n - 1] == ' ' || text[n - 1] == '\t'))
    text[--n] = '\0';
  return text;
}

/* "CO2 [%]" or "CO2 (%)" into its name and unit. */
static heading heading_of(lw_csv_cell cell) {
  heading h = {0};
  char copy[NAME_TEXT];
  lw_csv_plain(cell, copy, sizeof copy);
  char *text = trim(copy);
  size_t n = strlen(text);
  char close = n ? text[n - 1] : '\0';
  char *open = close == ']' ? strrchr(text, '[') : close == ')' ? strrchr(text, '(') : NULL;
  if (open) {
    text[n - 1] = '\0';
    *open = '\0';
    h.has_unit = true;
    snprintf(h.unit, sizeof h.unit, "%s", trim(open + 1));
  }
  snprintf(h.name, sizeof h.name, "%s", trim(text));
  return h;
}

static lw_gas_name gas_named(const char *name) {
  for (size_t i = 0; i < LW_GAS_COLUMNS; i++) {
    if (lw_text_same(name, lw_gas_text(gases[i]))) return gases[i];
  }
  return LW_GAS_UNSAID;
}

/* The gas a name looks like: a nought for the O, blanks or dashes inside, a small 2, or the unit
   behind the name without brackets ("C02", "CO_2", "HC ppm"). */
static lw_gas_name gas_meant(const char *name) {
  char plain[NAME_TEXT], word[NAME_TEXT];
  size_t used = 0;
  for (const char *p = name; *p; p++) {
    if (*p == ' ' || *p == '_' || *p == '-') continue;
    if (strncmp(p, "\xe2\x82\x82", 3) == 0) { /* subscript two */
      plain[used++] = '2';
      p += 2;
    } else {
      plain[used++] = (char)(*p == '0' ? 'O' : *p);
    }
  }
  plain[used] = '\0';
  if (gas_named(plain)) return gas_named(plain);
  size_t n = strcspn(name, " _");
  snprintf(word, sizeof word, "%.*s", (int)n, name);
  const char *rest = name + n + (name[n] ? 1 : 0);
  bool unit = rest[0] == '%' || lw_text_same(rest, "ppm") || lw_text_same(rest, "percent") ||
              lw_text_same(rest, "pct") || lw_text_same(rest, "vol");
  return unit ? gas_named(word) : LW_GAS_UNSAID;
}

static lw_hc_basis basis_in(const char *unit) {
  static const char *const words[] = {"", "hexane", "propane", "C1"};
  size_t length = strlen(unit);
  for (size_t i = 1; i < sizeof words / sizeof words[0]; i++) {
    size_t n = strlen(words[i]);
    if (length > n && lw_text_same(unit + length - n, words[i])) return (lw_hc_basis)i;
  }
  return LW_HC_UNSAID;
}

static const char *example(lw_gas_name gas) {
  switch (gas) {
  case LW_GAS_HC: return "HC [ppm hexane]";
  case LW_GAS_NO: return "NO [ppm]";
  case LW_GAS_CO2: return "CO2 [%]";
  case LW_GAS_O2: return "O2 [%]";
  default: return "CO [%]";
  }
}

static bool present(const lw_gas_header *header, lw_gas_name gas) {
  for (size_t i = 0; i < header->column_count; i++) {
    if (header->columns[i].gas == gas) return true;
  }
  return false;
}

static lw_status add_column(lw_units *units, const heading *h, lw_gas_name gas,
                            lw_gas_header *header, lw_error *error) {
  lw_error_place(error, NULL, 0, lw_gas_text(gas));
  if (present(header, gas)) {
    return lw_fail(error, LW_BAD_INPUT, "two columns have this name; rename the one not meant");
  }
  if (!h->has_unit || !h->unit[0]) {
    return lw_fail(error, LW_BAD_INPUT,
                   "the unit is missing in the header; use %s, in brackets, as in '%s'",
                   lw_dim_accepts(gas_dim(gas)), example(gas));
  }
  lw_gas_column *column = &header->columns[header->column_count];
  double offset = 0;
  lw_status status = lw_units_scale(units, gas_dim(gas), h->unit, &column->scale, &offset, error);
  if (status != LW_OK) return status;
  column->at = header->cells;
  column->gas = gas;
  if (gas == LW_GAS_HC) header->hc_basis = basis_in(h->unit);
  header->column_count++;
  lw_error_place(error, NULL, 0, "");
  return LW_OK;
}

/* The name of a column that may be meant for a gas that is missing; "" when there is none. slips:
   a mere slip of the pen counts as well. */
static heading look_alike(const char *text, size_t length, const lw_gas_header *header,
                          lw_gas_name gas, bool slips) {
  const char *word = lw_gas_text(gas), *end = text + length;
  for (const char *p = text; p;) {
    heading h = heading_of(lw_csv_next(&p, end));
    lw_gas_name named = gas_named(h.name);
    if (named && present(header, named)) continue;
    if (gas_meant(h.name) == gas) return h;
    if (slips && h.name[0] && lw_text_nearest(h.name, &word, 1)) return h;
  }
  return (heading){.name = ""};
}

static lw_status missing(const char *text, size_t length, const lw_gas_header *header,
                         lw_gas_name gas, lw_error *error) {
  heading h = look_alike(text, length, header, gas, true);
  const char *name = lw_gas_text(gas);
  lw_error_place(error, NULL, 0, NULL);
  if (h.name[0]) {
    return lw_fail(error, LW_BAD_INPUT, "no column %s; is '%.40s' meant? Name it '%s'", name,
                   h.name, example(gas));
  }
  if (header->cells == 1 && memchr(text, ';', length)) {
    return lw_fail(error, LW_BAD_INPUT,
                   "no column %s; cells must be separated by commas, not "
                   "semicolons",
                   name);
  }
  return lw_fail(
      error, LW_BAD_INPUT, "no column %s; the header must name it with its unit, as in '%s'%s",
      name, example(gas), gas == LW_GAS_NO ? "" : ", or use --uncertainty to do with fewer gases");
}

/* With fewer gases nothing is required, so a misspelt name would be passed over in silence. */
static lw_status check_fewer(const char *text, size_t length, const lw_gas_header *header,
                             lw_error *error) {
  for (size_t i = 0; i < LW_GAS_COLUMNS; i++) {
    if (present(header, gases[i])) continue;
    heading h = look_alike(text, length, header, gases[i], header->column_count == 0);
    if (h.name[0]) return missing(text, length, header, gases[i], error);
  }
  if (header->column_count > 0) return LW_OK;
  return lw_fail(error, LW_BAD_INPUT,
                 "no column is a gas; name CO, CO2, HC, O2 or NO with its unit, as in 'CO [%%]'");
}

lw_status lw_gas_header_read(lw_units *units, const char *text, size_t length, bool fewer,
                             lw_gas_header *header, lw_error *error) {
  lw_gas_header h = {.hc_basis = LW_HC_UNSAID};
  const char *end = text + length;
  for (const char *p = text; p; h.cells++) {
    heading cell = heading_of(lw_csv_next(&p, end));
    lw_gas_name gas = gas_named(cell.name);
    if (!gas) continue;
    lw_status status = add_column(units, &cell, gas, &h, error);
    if (status != LW_OK) return status;
  }
  if (fewer) {
    lw_status status = check_fewer(text, length, &h, error);
    if (status != LW_OK) return status;
  }
  for (size_t i = 0; !fewer && i < LW_GAS_COLUMNS; i++) {
    if (gases[i] != LW_GAS_NO && !present(&h, gases[i])) {
      return missing(text, length, &h, gases[i], error);
    }
  }
  *header = h;
  return LW_OK;
}

bool lw_gas_header_has(const char *text, size_t length, const char *name) {
  const char *end = text + length;
  char cell[NAME_TEXT];
  for (const char *p = text; p;) {
    lw_csv_plain(lw_csv_next(&p, end), cell, sizeof cell);
    if (lw_text_same(trim(cell), name)) return true;
  }
  return false;
}
