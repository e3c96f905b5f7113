/* leanward/gas_stream.h - lambda for every row of a CSV file of any length, as fast as it is read.
**
** The header names the gases with their units: "time,CO [%],CO2 [%],HC [ppm hexane],O2 [%]". Order
** and other columns are free. Each row goes out as it came in, byte for byte, with the results
** behind it; a row that cannot be understood is reported, goes out with empty results, and the rest
** is done.
**
** Units    as the header says; lambda and air-fuel ratio are plain numbers.
** Errors   LW_BAD_INPUT when the header is wrong or the input is empty; LW_IO when reading or
**          writing fails. Bad rows are counted and told one by one, they do not end the run.
** Memory   one block of about 640 KiB for the run, whatever the length of the file.
** Threads  one lw_units is used by one thread. The locale is not used.
** Limits   rows of 64 KiB. A quoted cell may hold commas, quotes and line ends (RFC 4180).
*/
#ifndef LEANWARD_GAS_STREAM_H
#define LEANWARD_GAS_STREAM_H

#include "leanward/service.h"

/* Longest row, without its line end. Buffers of the run, in bytes. */
#define LW_GAS_ROW_MOST   ((size_t)64 * 1024)
#define LW_GAS_IN_BUFFER  ((size_t)256 * 1024)
#define LW_GAS_OUT_BUFFER ((size_t)256 * 1024)

typedef struct lw_gas_plan {
  const char *name; /* of the input, for error lines; "-" is standard input */
  int in, out;      /* open files; both stay open */
  lw_fuel fuel;
  lw_analyzer analyzer; /* class, basis, what HC is counted in, factor; all may be unsaid */
  bool uncertainty;     /* also how sure, and lambda from fewer gases */
  bool json_lines;      /* one JSON object a row instead of CSV (docs/json.md) */
  /* Called for each bad row with its place; may be NULL. */
  void (*complain)(void *to, const lw_error *error);
  void *to;
} lw_gas_plan;

/* A plan with everything unsaid, from standard input to standard output. */
lw_gas_plan lw_gas_plan_new(const lw_fuel *fuel);

typedef struct lw_gas_count {
  uint64_t rows, bad; /* rows without the header; how many of them were bad */
} lw_gas_count;

/* Work the whole input. Appended columns: lambda, afr; with uncertainty also lambda_u, lambda_lo,
   lambda_hi, afr_u and notes (words of docs/json.md with blanks between). A name the input already
   has gets "leanward_" before it. Without uncertainty CO, CO2, HC and O2 must be in the header, and
   a row that lacks one of them has no lambda. What was worked is written before each wait for
   input, so a live source is answered at once. */
lw_status lw_gas_stream(lw_units *units, const lw_gas_plan *plan, lw_gas_count *count,
                        lw_error *error) LW_MUST_USE;

/* ---- Decimal numbers, fast ------------------------------------------------------------------ */

/* A plain decimal ("12", "-.5", "3.20e-2") that fills all of text. False for anything else: blanks,
   commas, hexadecimal, inf, NaN, over 400 characters, or a size no double can hold. The result is
   the double nearest to what is written, bit for bit that of a correctly rounding strtod. */
bool lw_decimal_read(const char *text, size_t length, double *value);

/* Characters lw_decimal_write can need, with the final 0. */
#define LW_DECIMAL_SPACE 340

/* x with decimals (0 to 9) digits behind the point, into to (LW_DECIMAL_SPACE bytes). Returns the
   length. The same characters as printf's %.*f in the C locale. */
size_t lw_decimal_write(char *to, double x, int decimals);

#endif
