/* check.h - what every test stands on: cmocka, and checks against the outside with their sources.
**
** A published check is one call: PUBLISHED(got, want, tolerance, source). It fails with all four,
** so that a log alone tells what was compared. `source` names the book, rule or data set and where
** in it; it ends in "(from memory)" when the figure could not be read, and in "(common practice, no
** source)" for what the trade knows.
*/
#ifndef LW_TESTS_CHECK_H
#define LW_TESTS_CHECK_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "leanward/base.h"

#define PUBLISHED(got, want, tolerance, source)                                                    \
  published_check((got), (want), (tolerance), (source), __FILE__, __LINE__)

static inline void published_check(double got, double want, double tolerance, const char *source,
                                   const char *file, int line) {
  if (fabs(got - want) <= tolerance) return;
  fprintf(stderr, "%s:%d: got %.9g, published %.9g +- %.3g: %s\n", file, line, got, want, tolerance,
          source);
  _fail(file, line);
}

/* got within tolerance of want; no outside source: our own arithmetic. */
#define NEAR(got, want, tolerance)                                                                 \
  published_check((got), (want), (tolerance), "own arithmetic", __FILE__, __LINE__)

/* got (a string) holds part. */
#define HOLDS(got, part) text_check((got), (part), __FILE__, __LINE__)

static inline void text_check(const char *got, const char *part, const char *file, int line) {
  if (got && strstr(got, part)) return;
  fprintf(stderr, "%s:%d: \"%s\" does not hold \"%s\"\n", file, line, got ? got : "(null)", part);
  _fail(file, line);
}

#endif
