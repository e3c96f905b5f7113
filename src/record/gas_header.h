/* gas_header.h - which columns of a CSV header are gases, in which unit. Private to this floor. */
#ifndef LW_RECORD_GAS_HEADER_H
#define LW_RECORD_GAS_HEADER_H

#include "leanward/gas_stream.h"

enum { LW_GAS_COLUMNS = 5 };

typedef struct lw_gas_column {
  size_t at; /* cell of the row, from 0 */
  lw_gas_name gas;
  double scale; /* fraction = scale * number */
} lw_gas_column;

typedef struct lw_gas_header {
  lw_gas_column columns[LW_GAS_COLUMNS]; /* in the order of the row */
  size_t column_count;
  size_t cells;         /* of the row */
  lw_hc_basis hc_basis; /* as the HC column says */
} lw_gas_header;

/* Read a header row (without its line end). fewer: not all four gases need be there. error->field
   is set. */
lw_status lw_gas_header_read(lw_units *units, const char *text, size_t length, bool fewer,
                             lw_gas_header *header, lw_error *error) LW_MUST_USE;

/* True when the header has a cell of this name, whatever its case. */
bool lw_gas_header_has(const char *text, size_t length, const char *name);

#endif
