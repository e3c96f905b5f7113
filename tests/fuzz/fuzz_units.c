/* fuzz_units.c - any text as a number, a quantity and a range of every dimension.
**
** The first byte picks the dimension. Holds what units.h promises: outputs untouched unless LW_OK,
** finite values, a range in order, and that what is written back reads again.
*/
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "leanward/units.h"

static lw_units *units;

static void check_error(lw_status status, const lw_error *error) {
  size_t bad = 0;
  HOLD(status == LW_BAD_INPUT && error->status == status && error->text[0]);
  HOLD(lw_text_utf8(error->text, strlen(error->text), &bad));
}

static void check_quantity(lw_dim dim, const char *text) {
  double si = NAN, again = NAN;
  lw_error error = {0};
  lw_status status = lw_quantity_read(units, dim, text, &si, &error);
  HOLD((status == LW_OK) == (isfinite(si) != 0));
  if (status != LW_OK) {
    check_error(status, &error);
    return;
  }
  for (int system = 0; system < 2; system++) {
    char shown[64];
    lw_quantity_text(shown, sizeof shown, dim, (lw_unit_system)system, si, NAN);
    if (!isfinite(lw_dim_shown(dim, (lw_unit_system)system, si))) continue;
    HOLD(lw_quantity_read(units, dim, shown, &again, NULL) == LW_OK || dim == LW_COUNT);
  }
}

static void check_range(lw_dim dim, const char *text) {
  lw_range r = lw_range_none;
  lw_error error = {0};
  lw_status status = lw_range_read(units, dim, text, &r, &error);
  HOLD((status == LW_OK) == lw_range_known(r));
  if (status != LW_OK) {
    check_error(status, &error);
    return;
  }
  HOLD(!(r.lo > r.hi) && !(r.at < r.lo) && !(r.at > r.hi));
  HOLD(!isinf(r.lo) && !isinf(r.at) && !isinf(r.hi));
  char shown[200];
  lw_range_text(shown, sizeof shown, dim, LW_SHOP, r);
  HOLD(shown[0]);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
  if (!units && lw_units_open(&units, NULL) != LW_OK) abort();
  if (size < 1) return 0;
  char *text = malloc(size);
  HOLD(text);
  memcpy(text, data + 1, size - 1);
  text[size - 1] = '\0';
  lw_dim dim = (lw_dim)(data[0] % LW_DIM_COUNT);
  double value = NAN;
  lw_error error = {0};
  lw_status status = lw_number_read(text, &value, &error);
  HOLD((status == LW_OK) == (isfinite(value) != 0));
  if (status != LW_OK) check_error(status, &error);
  check_quantity(dim, text);
  check_range(dim, text);
  free(text);
  return 0;
}
