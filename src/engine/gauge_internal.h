/* gauge_internal.h - what the instruments share. */
#ifndef LW_GAUGE_INTERNAL_H
#define LW_GAUGE_INTERNAL_H

#include <stdint.h>

/* A number with mean 0 and standard deviation 1, and one between 0 and 1, that belong to a seed and
   two places. */
double lw_lot(uint64_t seed, uint64_t a, uint64_t b);
double lw_lot_even(uint64_t seed, uint64_t a, uint64_t b);

#endif
