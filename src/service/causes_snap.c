/* causes_snap.c - the throttle opened quickly: causes run in time and held against the needles. */
#include "causes_internal.h"

#include <math.h>
#include <string.h>

/* The idle it starts from: screws as found, the speed screw where this car needs it. */
static const lw_sight *stands(const inquiry *d) {
  const lw_sight *first = &d->sights[d->first_idle];
  return first->at == LW_AT_IDLE ? first : NULL;
}

double lw_causes_snaps(inquiry *d, const trial *trials, size_t count, const lw_match *match,
                       lw_snap_shown *shown) {
  const char *edits[4];
  size_t n = 0;
  double sum = 0;
  const lw_test_car *car = d->car;
  for (size_t i = 0; i < count; i++) {
    for (size_t k = 0; k < trials[i].edit_count; k++)
      edits[n++] = trials[i].text[k];
    if (trials[i].row->id == LW_CAUSE_UNIT) car = d->other;
  }
  for (size_t i = 0; i < d->snap_count; i++) {
    d->runs++;
    lw_status status = lw_snap_run(d->units, car, edits, n, stands(d),
                                   match->throttle[d->first_idle], &d->snaps[i], &shown[i], NULL);
    if (status != LW_OK || !shown[i].possible) shown[i] = d->sound_shown[i]; /* it tells nothing */
    if (shown[i].possible) sum += lw_snap_log(&d->snaps[i], &shown[i], 1);
  }
  return sum;
}

double lw_causes_snaps_stray(const inquiry *d) {
  const double far = 4;
  double sum = 0;
  for (size_t i = 0; i < d->snap_count; i++) {
    if (d->sound_shown[i].possible) sum += lw_snap_log(&d->snaps[i], &d->sound_shown[i], far);
  }
  return sum;
}
