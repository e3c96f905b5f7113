/* fuzz.h - what the fuzz targets share: an assertion that no build turns off, and the entry point.
 */
#ifndef LW_TESTS_FUZZ_H
#define LW_TESTS_FUZZ_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#define HOLD(condition)                                                                            \
  do {                                                                                             \
    if (!(condition)) {                                                                            \
      fprintf(stderr, "%s:%d: does not hold: %s\n", __FILE__, __LINE__, #condition);               \
      abort();                                                                                     \
    }                                                                                              \
  } while (0)

/* The name is libFuzzer's. */
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#endif
