/* gas_stream.c - lambda for every row of a CSV file of any length, as fast as it is read.
**
** One input buffer, one output buffer. A row is found, its gas cells are cut out, read and worked,
** and the row goes out with its results before the next one is looked at. A quote that is never
** closed would swallow the rest of the file: then only its own line counts as bad.
*/
#include "leanward/gas_stream.h"

#include "csv_scan.h"
#include "gas_header.h"
#include "json.h"

#include <errno.h>
#include <limits.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
  LAMBDA_DECIMALS = 4, /* class 0 at its best resolves about 0.0005 */
  AFR_DECIMALS = 2,
  APPENDED = 7,
  TAIL_TEXT = 512,
  JSON_DIGITS = 9
};

static const char *const appended[APPENDED] = {"lambda",    "afr",   "lambda_u", "lambda_lo",
                                               "lambda_hi", "afr_u", "notes"};
enum { APPENDED_PLAIN = 2 };

/* A row as found: its text without line end, and its line end ("", "\n" or "\r\n"). */
typedef struct row {
  const char *text, *text_end, *next;
  uint64_t lines;  /* line feeds in it */
  const char *bad; /* why it cannot be read, or NULL */
} row;

/* What a row gave; NaN: nothing. */
typedef struct answer {
  double lambda, afr;
  const lw_exhaust *exhaust; /* NULL without uncertainty or when the row is bad */
  const lw_sample *sample;
  const lw_error *error; /* NULL when the row is good */
} answer;

typedef struct stream {
  const lw_gas_plan *plan;
  lw_error *error;
  lw_gas_header header;
  lw_reading reading; /* the columns' HC basis; with uncertainty also the row's gases */
  lw_sample sample;
  lw_exhaust exhaust;
  double stoichiometric;
  const char *line_end; /* the header's */
  lw_gas_count count;
  uint64_t line;        /* of the row at hand */
  size_t start, used;   /* input not yet worked: [start, used) */
  bool over;            /* the input has ended */
  size_t filled;        /* of the output */
  size_t header_length; /* without byte order mark */
  char in[LW_GAS_IN_BUFFER];
  char out[LW_GAS_OUT_BUFFER];
  char header_text[LW_GAS_ROW_MOST];
} stream;

/* ---- reading and writing ---- */

static void wait_for(int fd, short events) {
  struct pollfd p = {.fd = fd, .events = events};
  (void)poll(&p, 1, -1);
}

static lw_status write_all(stream *s, const char *bytes, size_t length) {
  while (length > 0) {
    ssize_t n = write(s->plan->out, bytes, length);
    if (n >= 0) {
      bytes += n;
      length -= (size_t)n;
    } else if (errno == EAGAIN || errno == EWOULDBLOCK) {
      wait_for(s->plan->out, POLLOUT);
    } else if (errno != EINTR) {
      const char *why =
          errno == EPIPE ? "the program reading the output has ended" : strerror(errno);
      lw_error_place(s->error, NULL, 0, "output");
      return lw_fail(s->error, LW_IO, "cannot write: %s", why);
    }
  }
  return LW_OK;
}

static lw_status flush(stream *s) {
  size_t length = s->filled;
  s->filled = 0;
  return write_all(s, s->out, length);
}

static lw_status emit(stream *s, const char *bytes, size_t length) {
  if (length > sizeof s->out - s->filled) {
    lw_status status = flush(s);
    if (status != LW_OK) return status;
    if (length > sizeof s->out) return write_all(s, bytes, length);
  }
  memcpy(s->out + s->filled, bytes, length);
  s->filled += length;
  return LW_OK;
}

/* More input behind what is not yet worked; what is worked goes out first. */
static lw_status fill(stream *s) {
  lw_status status = flush(s);
  if (status != LW_OK) return status;
  memmove(s->in, s->in + s->start, s->used - s->start);
  s->used -= s->start;
  s->start = 0;
  for (;;) {
    ssize_t n = read(s->plan->in, s->in + s->used, sizeof s->in - s->used);
    if (n >= 0) {
      s->used += (size_t)n;
      s->over = n == 0;
      return LW_OK;
    }
    if (errno == EAGAIN || errno == EWOULDBLOCK) {
      wait_for(s->plan->in, POLLIN);
    } else if (errno != EINTR) {
      lw_error_place(s->error, s->plan->name, 0, NULL);
      return lw_fail(s->error, LW_IO, "cannot read: %s", strerror(errno));
    }
  }
}

/* ---- finding rows ---- */

static void cut_line_end(row *r, const char *end) {
  r->next = end;
  r->text_end = end;
  if (r->text_end > r->text && r->text_end[-1] == '\n') r->text_end--;
  if (r->text_end > r->text && r->text_end < end && r->text_end[-1] == '\r') r->text_end--;
}

static const char too_long[] = "the row is longer than 64 KiB";

static uint64_t line_feeds(const char *p, const char *end) {
  uint64_t n = 0;
  for (; p < end && (p = memchr(p, '\n', (size_t)(end - p))); p++)
    n++;
  return n;
}

/* How far a row may reach: its longest text and line end, and one byte more to tell it is longer.
   The same whatever the size of the pieces in which the input comes. */
static const char *view_end(const stream *s) {
  size_t have = s->used - s->start, most = LW_GAS_ROW_MOST + 3;
  return s->in + s->start + (have < most ? have : most);
}

/* True when the row at hand is longer than a row may be, should its end not be in view. */
static bool view_full(const stream *s) {
  return s->used - s->start >= LW_GAS_ROW_MOST + 3;
}

/* The first line of what is in view as a bad row. */
static bool bad_line(const stream *s, row *r, const char *why) {
  const char *end = view_end(s);
  const char *feed = memchr(r->text, '\n', (size_t)(end - r->text));
  if (!feed && (view_full(s) || !s->over)) return false;
  cut_line_end(r, feed ? feed + 1 : end);
  r->lines = 1;
  r->bad = why;
  return true;
}

/* The next row. False: its end is not in view. */
static bool find_row(const stream *s, row *r) {
  const char *end = view_end(s), *stop = NULL;
  bool last = s->over && !view_full(s);
  *r = (row){.text = s->in + s->start};
  switch (lw_csv_row(r->text, end, last, &stop)) {
  case LW_CSV_ROW: break;
  case LW_CSV_MORE: return false;
  case LW_CSV_OPEN_QUOTE:
    if (!view_full(s) && !s->over) return false;
    return bad_line(s, r, "a quote is opened and not closed");
  case LW_CSV_TORN_QUOTE:
    return bad_line(s, r,
                    "text follows a closing quote; a quote inside a quoted cell is written twice");
  }
  cut_line_end(r, stop < end ? stop + 1 : stop);
  r->lines = line_feeds(r->text, r->next);
  if ((size_t)(r->text_end - r->text) > LW_GAS_ROW_MOST) r->bad = too_long;
  return true;
}

/* ---- a row to an answer ---- */

static lw_status refuse_number(lw_csv_cell cell, lw_error *error) {
  int shown = cell.length > 40 ? 40 : (int)cell.length;
  const char *comma = memchr(cell.text, ',', cell.length);
  const char *advice =
      comma ? "write a point in it, as in 3.5" : "leave the cell empty when it was not measured";
  return lw_fail(error, LW_BAD_INPUT, "'%.*s' is not a number; %s", shown, cell.text, advice);
}

static lw_status read_cell(lw_csv_cell cell, double *value, lw_error *error) {
  while (cell.length && (*cell.text == ' ' || *cell.text == '\t')) {
    cell.text++;
    cell.length--;
  }
  while (cell.length && (cell.text[cell.length - 1] == ' ' || cell.text[cell.length - 1] == '\t')) {
    cell.length--;
  }
  if (cell.length == 0) {
    *value = LW_NONE;
    return LW_OK;
  }
  return lw_decimal_read(cell.text, cell.length, value) ? LW_OK : refuse_number(cell, error);
}

static double *gas_of(lw_gases *x, lw_gas_name gas) {
  switch (gas) {
  case LW_GAS_CO: return &x->co;
  case LW_GAS_CO2: return &x->co2;
  case LW_GAS_HC: return &x->hc;
  case LW_GAS_O2: return &x->o2;
  default: return &x->no;
  }
}

/* Cut the gas cells out of a row. Returns how many cells it has. */
static size_t split(const lw_gas_header *header, const row *r, lw_csv_cell *cells) {
  size_t at = 0, wanted = 0;
  for (const char *p = r->text; p; at++) {
    lw_csv_cell cell = lw_csv_next(&p, r->text_end);
    if (wanted < header->column_count && header->columns[wanted].at == at) cells[wanted++] = cell;
  }
  return at;
}

static lw_status read_row(const lw_gas_header *header, const row *r, lw_gases *x, lw_error *error) {
  if (r->bad) return lw_fail(error, LW_BAD_INPUT, "%s", r->bad);
  lw_csv_cell cells[LW_GAS_COLUMNS];
  size_t count = split(header, r, cells);
  if (count != header->cells) {
    return lw_fail(error, LW_BAD_INPUT, "%zu cell%s where the header has %zu%s", count,
                   count == 1 ? "" : "s", header->cells,
                   count > header->cells ? "; is there a comma inside a number?" : "");
  }
  for (size_t i = 0; i < header->column_count; i++) {
    const lw_gas_column *column = &header->columns[i];
    double written = 0;
    lw_status status = read_cell(cells[i], &written, error);
    if (status != LW_OK) {
      lw_error_place(error, NULL, 0, lw_gas_text(column->gas));
      return status;
    }
    *gas_of(x, column->gas) = written * column->scale;
  }
  return LW_OK;
}

/* Might lw_exhaust_work refuse these? It has the last word; this only spares asking it each time.
 */
static bool doubtful(const lw_gases *x) {
  return x->co < 0 || x->co2 < 0 || x->hc < 0 || x->o2 < 0 || x->no < 0 || x->hc > 1 || x->no > 1 ||
         x->o2 > 0.2 || x->co > 0.2 || x->co2 > 0.2 || x->co + x->co2 > 0.2;
}

static lw_status work_plain(stream *s, const lw_gases *x, answer *a, lw_error *error) {
  s->sample.x = *x;
  if (doubtful(x)) {
    lw_status status = lw_exhaust_work(&s->sample, &s->exhaust, error);
    if (status != LW_OK) return status;
  }
  /* A gas not read is NaN and makes lambda NaN. */
  a->lambda = lw_lambda_balance(&s->sample);
  a->afr = a->lambda * s->stoichiometric;
  return LW_OK;
}

static lw_status work_fully(stream *s, const lw_gases *x, answer *a, lw_error *error) {
  lw_reading *reading = &s->reading;
  reading->co = x->co;
  reading->co2 = x->co2;
  reading->hc.x = x->hc;
  reading->o2 = x->o2;
  reading->no = x->no;
  s->sample = lw_reading_sample(reading, &s->plan->analyzer, &s->plan->fuel, LW_NONE);
  lw_status status = lw_exhaust_work(&s->sample, &s->exhaust, error);
  if (status != LW_OK) return status;
  a->lambda = s->exhaust.lambda.x;
  a->afr = s->exhaust.afr.x;
  a->exhaust = &s->exhaust;
  a->sample = &s->sample;
  return LW_OK;
}

/* ---- an answer to bytes ---- */

/* ",0.9871"; nothing but the comma for a value that is not known. */
static char *put_number(char *to, double x, int decimals) {
  *to++ = ',';
  return isfinite(x) ? to + lw_decimal_write(to, x, decimals) : to;
}

static char *put_sure(char *to, const lw_exhaust *e) {
  to = put_number(to, e ? e->lambda.u : LW_NONE, LAMBDA_DECIMALS);
  to = put_number(to, e ? e->lambda_lo : LW_NONE, LAMBDA_DECIMALS);
  to = put_number(to, e ? e->lambda_hi : LW_NONE, LAMBDA_DECIMALS);
  to = put_number(to, e ? e->afr.u : LW_NONE, AFR_DECIMALS);
  *to++ = ',';
  for (size_t i = 0; e && i < e->note_count; i++) {
    const char *word = lw_note_word(e->notes[i].code);
    if (i > 0) *to++ = ' ';
    while (*word)
      *to++ = *word++;
  }
  return to;
}

static lw_status emit_csv(stream *s, const row *r, const answer *a) {
  /* numbers of lambda's size take 20 characters at most where they are known; see TAIL_TEXT */
  char tail[6 * LW_DECIMAL_SPACE + TAIL_TEXT], *p = tail;
  p = put_number(p, a->lambda, LAMBDA_DECIMALS);
  p = put_number(p, a->afr, AFR_DECIMALS);
  if (s->plan->uncertainty) p = put_sure(p, a->exhaust);
  lw_status status = emit(s, r->text, (size_t)(r->text_end - r->text));
  if (status == LW_OK) status = emit(s, tail, (size_t)(p - tail));
  if (status != LW_OK) return status;
  if (r->text_end == r->next) return emit(s, s->line_end, strlen(s->line_end));
  return emit(s, r->text_end, (size_t)(r->next - r->text_end));
}

static json_t *number_or_null(double x) {
  return isfinite(x) ? json_real(x) : json_null();
}

static json_t *cell_text(lw_csv_cell cell) {
  char buffer[1024];
  if (!cell.quoted || cell.length >= sizeof buffer) return lw_json_text(cell.text, cell.length);
  size_t length = lw_csv_plain(cell, buffer, sizeof buffer);
  return lw_json_text(buffer, length);
}

/* {"time": "0.1", "CO [%]": "3.2"}: the row's cells by their heading, as text. NULL: no memory. */
static json_t *cells_json(const stream *s, const row *r) {
  json_t *cells = json_object();
  bool failed = !cells;
  const char *names = s->header_text, *names_end = names + s->header_length;
  for (const char *p = r->text; p && names;) {
    json_t *name = cell_text(lw_csv_next(&names, names_end));
    json_t *value = cell_text(lw_csv_next(&p, r->text_end));
    failed |= !name || json_object_set_new(cells, json_string_value(name), value) != 0;
    json_decref(name);
    if (failed) break;
  }
  if (!failed) return cells;
  json_decref(cells);
  return NULL;
}

static json_t *answer_json(const stream *s, const row *r, const answer *a) {
  json_t *object = json_object();
  bool failed = json_object_set_new(object, "line", json_integer((json_int_t)s->line)) != 0;
  failed |= json_object_set_new(object, "cells", r->bad ? json_null() : cells_json(s, r)) != 0;
  failed |= json_object_set_new(object, "lambda", number_or_null(a->lambda)) != 0;
  failed |= json_object_set_new(object, "afr", number_or_null(a->afr)) != 0;
  if (s->plan->uncertainty) {
    json_t *exhaust = a->exhaust ? lw_exhaust_json(a->sample, a->exhaust) : json_null();
    failed |= json_object_set_new(object, "exhaust", exhaust) != 0;
  }
  if (a->error) {
    char line[800];
    lw_error_line(a->error, line, sizeof line);
    failed |= json_object_set_new(object, "error", lw_json_text(line, strlen(line))) != 0;
  }
  if (!failed) return object;
  json_decref(object);
  return NULL;
}

static lw_status emit_json(stream *s, const row *r, const answer *a) {
  json_t *object = answer_json(s, r, a);
  char *text = object ? json_dumps(object, JSON_COMPACT | JSON_REAL_PRECISION(JSON_DIGITS)) : NULL;
  json_decref(object);
  if (!text) return lw_fail(s->error, LW_NO_MEMORY, "no memory for a row of JSON");
  lw_status status = emit(s, text, strlen(text));
  if (status == LW_OK) status = emit(s, "\n", 1);
  free(text);
  return status;
}

/* ---- rows in turn ---- */

static void place_row(const stream *s, lw_error *error) {
  error->line = s->line > INT_MAX ? INT_MAX : (int)s->line;
  if (s->plan->name) snprintf(error->file, sizeof error->file, "%s", s->plan->name);
}

static lw_status do_row(stream *s, const row *r) {
  answer a = {.lambda = LW_NONE, .afr = LW_NONE};
  lw_gases x = {LW_NONE, LW_NONE, LW_NONE, LW_NONE, LW_NONE};
  lw_error bad; /* not cleared as a whole: that would cost more than the lambda */
  bad.field[0] = bad.file[0] = bad.text[0] = '\0';
  bad.line = 0;
  lw_status found = read_row(&s->header, r, &x, &bad);
  if (found == LW_OK) {
    found = s->plan->uncertainty ? work_fully(s, &x, &a, &bad) : work_plain(s, &x, &a, &bad);
  }
  s->count.rows++;
  if (found != LW_OK) {
    place_row(s, &bad);
    a = (answer){.lambda = LW_NONE, .afr = LW_NONE, .error = &bad};
    s->count.bad++;
    if (s->plan->complain) s->plan->complain(s->plan->to, &bad);
  }
  return s->plan->json_lines ? emit_json(s, r, &a) : emit_csv(s, r, &a);
}

/* A line longer than any row: it goes through piece by piece, and counts as one bad row. */
static lw_status do_endless_line(stream *s) {
  lw_status status = LW_OK;
  const char *feed = NULL;
  for (;;) {
    size_t have = s->used - s->start;
    feed = memchr(s->in + s->start, '\n', have);
    if (feed || s->over) break;
    /* the last byte stays: it may be the CR of a CRLF */
    if (!s->plan->json_lines) status = emit(s, s->in + s->start, have - 1);
    s->start = s->used - 1;
    if (status == LW_OK) status = fill(s);
    if (status != LW_OK) return status;
  }
  row r = {.text = s->in + s->start, .bad = too_long};
  cut_line_end(&r, feed ? feed + 1 : s->in + s->used);
  status = do_row(s, &r);
  s->start = (size_t)(r.next - s->in);
  s->line++;
  return status;
}

static lw_status do_rows(stream *s) {
  lw_status status = LW_OK;
  while (status == LW_OK) {
    row r;
    if (s->start == s->used && s->over) return flush(s);
    if (s->start < s->used && find_row(s, &r)) {
      /* a blank line is no row, except where a row may be one empty cell */
      bool blank = r.text == r.text_end && s->header.cells > 1 && !r.bad;
      if (!blank) status = do_row(s, &r);
      if (blank && !s->plan->json_lines) status = emit(s, r.text, (size_t)(r.next - r.text));
      s->start = (size_t)(r.next - s->in);
      s->line += r.lines;
    } else if (view_full(s)) {
      status = do_endless_line(s);
    } else {
      status = fill(s);
    }
  }
  return status;
}

/* ---- the header ---- */

static lw_status emit_header(stream *s, const row *r) {
  if (s->plan->json_lines) return LW_OK;
  char tail[TAIL_TEXT] = "";
  size_t count = s->plan->uncertainty ? APPENDED : APPENDED_PLAIN;
  for (size_t i = 0; i < count; i++) {
    bool taken = lw_gas_header_has(s->header_text, s->header_length, appended[i]);
    lw_text_append(tail, sizeof tail, taken ? ",leanward_%s" : ",%s", appended[i]);
  }
  lw_status status = emit(s, r->text, (size_t)(r->text_end - r->text));
  if (status == LW_OK) status = emit(s, tail, strlen(tail));
  return status == LW_OK ? emit(s, s->line_end, strlen(s->line_end)) : status;
}

/* What must not be at the start of a file. NULL: nothing. */
static const char *wrong_start(const stream *s, const row *r) {
  if (s->used == 0) return "the file is empty";
  if (s->used >= 2 && (memcmp(s->in, "\xff\xfe", 2) == 0 || memcmp(s->in, "\xfe\xff", 2) == 0)) {
    return "the text is UTF-16; save it as UTF-8";
  }
  if (r->bad) return r->bad;
  if (r->text == r->text_end) return "the first line is blank";
  if (memchr(r->text, '\r', (size_t)(r->text_end - r->text))) {
    return "lines end in a carriage return alone; save the file with LF or CRLF line ends";
  }
  return NULL;
}

static lw_status do_header(stream *s, lw_units *units) {
  row r = {.text = s->in};
  lw_status status = LW_OK;
  while (status == LW_OK && !(s->start < s->used && find_row(s, &r))) {
    if (s->over || view_full(s)) break;
    status = fill(s);
  }
  if (status != LW_OK) return status;
  if (!r.next && s->used > 0) r.bad = "the header is longer than 64 KiB";
  lw_error_place(s->error, s->plan->name, 1, NULL);
  const char *wrong = wrong_start(s, &r);
  if (wrong) {
    return lw_fail(s->error, LW_BAD_INPUT,
                   "%s; a header was expected, as in 'CO [%%],CO2 [%%],"
                   "HC [ppm hexane],O2 [%%]'",
                   wrong);
  }
  const char *text = r.text;
  if (r.text_end - text >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) text += 3;
  s->header_length = (size_t)(r.text_end - text);
  memcpy(s->header_text, text, s->header_length);
  status =
      lw_gas_header_read(units, text, s->header_length, s->plan->uncertainty, &s->header, s->error);
  if (status != LW_OK) return status;
  s->line_end = r.next - r.text_end == 2 ? "\r\n" : "\n";
  s->start = (size_t)(r.next - s->in);
  s->line = 1 + r.lines;
  return emit_header(s, &r);
}

static void clear_reading(stream *s) {
  lw_reading *r = &s->reading;
  r->co = r->co2 = r->o2 = r->no = r->speed = r->vacuum = r->timing = LW_NONE;
  r->hc = (lw_hc){LW_NONE, s->header.hc_basis};
}

lw_gas_plan lw_gas_plan_new(const lw_fuel *fuel) {
  lw_gas_plan plan = {.name = "-", .in = STDIN_FILENO, .out = STDOUT_FILENO, .fuel = *fuel};
  lw_analyzer *a = &plan.analyzer;
  a->pef = a->co = a->co2 = a->hc = a->o2 = a->no = LW_NONE;
  a->co_step = a->co2_step = a->hc_step = a->o2_step = a->no_step = LW_NONE;
  return plan;
}

lw_status lw_gas_stream(lw_units *units, const lw_gas_plan *plan, lw_gas_count *count,
                        lw_error *error) {
  lw_error unheard = {0};
  stream *s = malloc(sizeof *s);
  if (!s) return lw_fail(error, LW_NO_MEMORY, "no memory for the buffers");
  memset(s, 0, offsetof(stream, in));
  s->plan = plan;
  s->error = error ? error : &unheard;
  s->stoichiometric = lw_fuel_stoichiometric(&plan->fuel);
  lw_status status = do_header(s, units);
  if (status == LW_OK) {
    lw_error_place(s->error, "", 0, "");
    s->error->line = 0;
    clear_reading(s);
    s->sample = lw_reading_sample(&s->reading, &plan->analyzer, &plan->fuel, LW_NONE);
    status = do_rows(s);
  }
  if (status == LW_OK) *count = s->count;
  free(s);
  return status;
}
