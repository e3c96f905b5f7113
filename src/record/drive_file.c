/* drive_file.c - a driving schedule from a CSV file. */
#include "leanward/drive_file.h"

#include "csv_scan.h"

#include "leanward/gas_stream.h"
#include "leanward/record.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { BYTES_MOST = 1 << 20, ROWS_MOST = 6 * 3600 * 4, CELL = 64, NO_COLUMN = -1 };

typedef struct columns {
  int time, speed, phase;
  double scale; /* m/s for each unit of speed */
} columns;

typedef struct reading {
  const char *path;
  columns columns;
  double *time, *speed;
  signed char *in;
  int *line;
  size_t count, modes;
  lw_mode mode[LW_MODES_MOST];
  lw_error *error;
} reading;

static lw_status bad(reading *r, int line, const char *field) {
  lw_error_place(r->error, r->path, line, field);
  return LW_BAD_INPUT;
}

/* A cell without the blanks around it. */
static void plain(lw_csv_cell cell, char *to) {
  char text[CELL];
  size_t n = lw_csv_plain(cell, text, sizeof text);
  if (n > sizeof text - 1) n = sizeof text - 1;
  text[n] = '\0';
  char *from = text;
  while (isspace((unsigned char)*from))
    from++;
  size_t length = strlen(from);
  while (length && isspace((unsigned char)from[length - 1]))
    length--;
  memcpy(to, from, length);
  to[length] = '\0';
}

/* ---- header ---- */

static lw_status header(reading *r, const char *p, const char *end, int line) {
  static const struct {
    const char *name;
    double scale;
  } speeds[] = {{"speed_mph", 0.44704}, {"speed_kmh", 1 / 3.6}, {"speed_ms", 1}};
  columns *c = &r->columns;
  *c = (columns){NO_COLUMN, NO_COLUMN, NO_COLUMN, 0};
  for (int i = 0; p; i++) {
    char name[CELL];
    plain(lw_csv_next(&p, end), name);
    if (lw_text_same(name, "time_s")) c->time = i;
    if (lw_text_same(name, "phase")) c->phase = i;
    for (size_t k = 0; k < sizeof speeds / sizeof speeds[0]; k++) {
      if (!lw_text_same(name, speeds[k].name)) continue;
      if (c->speed != NO_COLUMN) {
        (void)lw_fail(r->error, LW_BAD_INPUT, "there are two columns of speed");
        return bad(r, line, "header");
      }
      c->speed = i;
      c->scale = speeds[k].scale;
    }
  }
  if (c->time != NO_COLUMN && c->speed != NO_COLUMN) return LW_OK;
  (void)lw_fail(r->error, LW_BAD_INPUT,
                "a header with time_s and speed_mph, speed_kmh or speed_ms "
                "was expected");
  return bad(r, line, "header");
}

/* ---- rows ---- */

/* The mode of a phase's name, added when it is new. */
static lw_status phase(reading *r, const char *name, int line, signed char *mode) {
  *mode = -1;
  if (!*name) return LW_OK;
  char full[LW_MODE_NAME];
  bool number = strspn(name, "0123456789") == strlen(name);
  snprintf(full, sizeof full, "%s%.30s", number ? "phase " : "", name);
  for (size_t i = 0; i < r->modes && *mode < 0; i++) {
    if (strcmp(r->mode[i].name, full) == 0) *mode = (signed char)i;
  }
  if (*mode >= 0) return LW_OK;
  if (r->modes == LW_MODES_MOST) {
    (void)lw_fail(r->error, LW_BAD_INPUT, "more than %d phases", LW_MODES_MOST);
    return bad(r, line, "phase");
  }
  r->mode[r->modes] = (lw_mode){.weight = 0};
  memcpy(r->mode[r->modes].name, full, sizeof full);
  *mode = (signed char)r->modes++;
  return LW_OK;
}

static lw_status number(reading *r, const char *text, int line, const char *field, double *out) {
  if (lw_decimal_read(text, strlen(text), out)) return LW_OK;
  (void)lw_fail(r->error, LW_BAD_INPUT, "'%.40s' is not a number", text);
  return bad(r, line, field);
}

static lw_status row(reading *r, const char *p, const char *end, int line) {
  const columns *c = &r->columns;
  char time[CELL] = "", speed[CELL] = "", name[CELL] = "";
  for (int i = 0; p; i++) {
    char text[CELL];
    plain(lw_csv_next(&p, end), text);
    if (i == c->time) memcpy(time, text, sizeof time);
    if (i == c->speed) memcpy(speed, text, sizeof speed);
    if (i == c->phase) memcpy(name, text, sizeof name);
  }
  if (r->count == ROWS_MOST) {
    (void)lw_fail(r->error, LW_TOO_LARGE, "more than %d rows", ROWS_MOST);
    (void)bad(r, line, NULL);
    return LW_TOO_LARGE;
  }
  size_t n = r->count;
  lw_status status = number(r, time, line, "time_s", &r->time[n]);
  if (status == LW_OK) status = number(r, speed, line, "speed", &r->speed[n]);
  if (status == LW_OK) status = phase(r, name, line, &r->in[n]);
  if (status != LW_OK) return status;
  r->speed[n] *= c->scale;
  r->line[n] = line;
  r->count++;
  return LW_OK;
}

static bool empty(const char *p, const char *end) {
  while (p < end && isspace((unsigned char)*p))
    p++;
  return p == end;
}

static lw_status rows(reading *r, const char *text, size_t length) {
  const char *p = text, *end = text + length;
  if (length >= 3 && memcmp(p, "\xEF\xBB\xBF", 3) == 0) p += 3;
  bool headed = false;
  for (int line = 1; p < end; line++) {
    const char *stop;
    if (lw_csv_row(p, end, true, &stop) != LW_CSV_ROW) {
      (void)lw_fail(r->error, LW_BAD_INPUT, "a quote is not closed, or text follows it");
      return bad(r, line, NULL);
    }
    const char *row_end = stop > p && stop[-1] == '\r' ? stop - 1 : stop;
    lw_status status = LW_OK;
    if (!empty(p, row_end)) {
      status = headed ? row(r, p, row_end, line) : header(r, p, row_end, line);
      headed = true;
    }
    if (status != LW_OK) return status;
    for (const char *q = p; q < stop; q++)
      line += *q == '\n'; /* inside quotes */
    p = stop < end ? stop + 1 : end;
  }
  return LW_OK;
}

static size_t lines_of(const char *text, size_t length) {
  size_t n = 1;
  for (size_t i = 0; i < length; i++)
    n += text[i] == '\n';
  return n < ROWS_MOST ? n : ROWS_MOST;
}

static const char *base_name(const char *path) {
  const char *slash = strrchr(path, '/');
  if (strcmp(path, "-") == 0) return "standard input";
  return slash ? slash + 1 : path;
}

lw_status lw_schedule_read(lw_arena *arena, const char *path, lw_schedule **schedule,
                           lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  lw_status status = lw_file_read(arena, path, BYTES_MOST, &text, &length, error);
  if (status != LW_OK) return status;
  size_t most = lines_of(text, length);
  reading *r = lw_arena_alloc(arena, sizeof *r);
  if (!r) return lw_fail(error, LW_NO_MEMORY, "no memory for this schedule");
  *r = (reading){.path = path,
                 .time = lw_arena_array(arena, most, sizeof(double)),
                 .speed = lw_arena_array(arena, most, sizeof(double)),
                 .in = lw_arena_array(arena, most, 1),
                 .line = lw_arena_array(arena, most, sizeof(int)),
                 .error = error};
  if (!r->time || !r->speed || !r->in || !r->line)
    return lw_fail(error, LW_NO_MEMORY, "no memory for this schedule");
  status = rows(r, text, length);
  if (status != LW_OK) return status;
  lw_error wrong = {0};
  status = lw_schedule_of(arena, base_name(path), r->time, r->speed, r->count, r->mode, r->modes,
                          r->modes ? r->in : NULL, schedule, &wrong);
  if (status == LW_OK) return LW_OK;
  bool placed = wrong.line >= 0 && (size_t)wrong.line < r->count;
  (void)lw_fail(error, status, "%s", wrong.text);
  lw_error_place(error, path, placed ? r->line[wrong.line] : 0, NULL);
  return status;
}
