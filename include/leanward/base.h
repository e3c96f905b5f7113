/* leanward/base.h - what every floor stands on: outcomes, error lines, memory, text.
**
** Units    none here; see units.h.
** Errors   a function that can fail returns lw_status and fills a caller-owned lw_error. Outputs
**          are untouched unless LW_OK is returned.
** Memory   lw_arena is the only allocator of the pure floors; it is freed at once.
** Threads  reentrant; no globals. An arena or an error belongs to one thread at a time.
*/
#ifndef LEANWARD_BASE_H
#define LEANWARD_BASE_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define LW_VERSION "0.1.0"

#if defined(__GNUC__)
#define LW_PRINTF(format_at, args_at) __attribute__((format(printf, format_at, args_at)))
#define LW_MUST_USE                   __attribute__((warn_unused_result))
#else
#define LW_PRINTF(format_at, args_at)
#define LW_MUST_USE
#endif

/* ---- Outcome ------------------------------------------------------------------------------- */

/* One list makes the enum and its texts, so that they cannot drift apart. */
#define LW_STATUS_LIST(X)                                                                          \
  X(LW_OK, "done")                                                                                 \
  X(LW_BAD_INPUT, "the input is not what was expected")                                            \
  X(LW_NOT_FOUND, "not found")                                                                     \
  X(LW_IO, "a file could not be read or written")                                                  \
  X(LW_NO_MEMORY, "out of memory")                                                                 \
  X(LW_TOO_LARGE, "larger than the program accepts")                                               \
  X(LW_NO_CONVERGENCE, "the computation did not converge")                                         \
  X(LW_STORE, "the store refused")

typedef enum lw_status {
#define LW_STATUS_ENUM(name, text) name,
  LW_STATUS_LIST(LW_STATUS_ENUM)
#undef LW_STATUS_ENUM
} lw_status;

/* The name of a status as words, for logs and tests. Never NULL. */
const char *lw_status_text(lw_status status);

/* Where something went wrong and what to do. Empty strings and line 0 mean "not known". */
typedef struct lw_error {
  lw_status status;
  char file[256];  /* as the user named it */
  int line;        /* from 1; 0 when there is no line */
  char field[128]; /* "carburetor, main jet", "row 12, column CO" */
  char text[400];  /* what was found, what was expected, what to do; no final full stop */
} lw_error;

/* Fill *error with a message and return status, so that a caller can `return lw_fail(...)`.
   error may be NULL. file, line and field are left as they are: see lw_error_place. */
lw_status lw_fail(lw_error *error, lw_status status, const char *format, ...) LW_PRINTF(3, 4);

/* Say where. Any of file and field may be NULL to leave it as it is; line < 1 likewise. */
void lw_error_place(lw_error *error, const char *file, int line, const char *field);

/* "FILE:LINE: FIELD: TEXT" with the unknown parts left out, into buffer. Returns buffer. */
const char *lw_error_line(const lw_error *error, char *buffer, size_t size);

/* ---- Memory -------------------------------------------------------------------------------- */

typedef struct lw_arena lw_arena;

/* A new arena that will hand out at most limit bytes (0: 64 MiB). NULL when there is no memory. */
lw_arena *lw_arena_new(size_t limit);
/* Free the arena and all it handed out. NULL is allowed. */
void lw_arena_free(lw_arena *arena);
/* size zeroed bytes, aligned for any type; NULL when the limit or the memory is reached. */
void *lw_arena_alloc(lw_arena *arena, size_t size) LW_MUST_USE;
/* The same for count elements of size bytes; NULL also when count * size overflows. */
void *lw_arena_array(lw_arena *arena, size_t count, size_t size) LW_MUST_USE;
/* A copy of length bytes with a final 0. */
char *lw_arena_copy(lw_arena *arena, const char *text, size_t length) LW_MUST_USE;
/* printf into the arena. NULL when there is no memory. */
char *lw_arena_print(lw_arena *arena, const char *format, ...) LW_PRINTF(2, 3) LW_MUST_USE;
/* Bytes handed out so far. */
size_t lw_arena_used(const lw_arena *arena);

/* ---- Values that may be missing ------------------------------------------------------------ */

/* NaN stands for "not given", "not measured", "not known" everywhere in Leanward. */
#define LW_NONE ((double)NAN)
/* True when x holds a number. */
bool lw_known(double x);

/* A value with its allowed span. A single value has lo = at = hi. "at most 3 %" has lo = NaN and
   at = NaN. All NaN: not given. */
typedef struct lw_range {
  double lo, at, hi;
} lw_range;

extern const lw_range lw_range_none;
bool lw_range_known(lw_range range);
/* The middle of the range: at if given, else half way, else the bound that is known. */
double lw_range_middle(lw_range range);
/* -1 below lo, 0 inside, +1 above hi; an unknown bound never refuses. */
int lw_range_side(lw_range range, double x);

/* A measured or computed value with its standard uncertainty (GUM, JCGM 100:2008). The band shown
   to people is x +- LW_COVERAGE * u, about 95 %. */
typedef struct lw_measure {
  double x, u;
} lw_measure;

#define LW_COVERAGE 2.0

/* ---- Text ---------------------------------------------------------------------------------- */

/* The nearest of count candidates to word when it is near enough to be a slip of the pen (at most
   a third of its letters, and at most 3, differ), else NULL. Case is ignored. */
const char *lw_text_nearest(const char *word, const char *const *candidates, size_t count);

/* x with as many decimals as its band deserves (two figures of the band), at most max_decimals.
   Without a band (NaN or 0) max_decimals are printed. "not known" for NaN. Returns buffer. */
const char *lw_text_value(char *buffer, size_t size, double x, double band, int max_decimals);

/* Equal but for the case of ASCII letters; NULL equals NULL only. */
bool lw_text_same(const char *a, const char *b);

/* printf at the end of a fixed buffer; cuts at its end. Returns buffer. */
char *lw_text_append(char *buffer, size_t size, const char *format, ...) LW_PRINTF(3, 4);

/* Length of the UTF-8 text in columns of a terminal (combining and wide letters count as one). */
size_t lw_text_columns(const char *text);

/* True when length bytes are well-formed UTF-8 without NUL; *bad_at gets the first bad offset. */
bool lw_text_utf8(const char *text, size_t length, size_t *bad_at);

#endif
