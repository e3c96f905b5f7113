/* log.c - the log of a source: one line for each thing that happened, only ever added to.
**
**   leanward log 1
**   0.000000 W 0 1764125600000 *5e1d0c3a
**   0.000100 D 0 instrument: bench\x0afields: ... *...
**   0.512345 I 0 12.1,0.85,210\x0d\x0a *...
**
** Seconds since the source began, kind (event_kind), instrument, bytes (what does not print, and
** the backslash, as \xHH), and a CRC-32 of all that stands before the blank and the star. A line is
** written by one write(2) and synced before a reading that it brought is handed out. A line that a
** power cut left in part has no end or a wrong CRC: the reader says so.
*/
#include "instrument_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char first_line[] = "leanward log 1\n";
static const char hex[] = "0123456789abcdef";

enum { LINE_MOST = LOG_LINE_MOST, FIRST = sizeof first_line - 1 };

/* ---- writing ---- */

static size_t escaped(char *to, const unsigned char *bytes, size_t length) {
  size_t n = 0;
  for (size_t i = 0; i < length; i++) {
    unsigned char c = bytes[i];
    if (c >= 0x20 && c < 0x7F && c != '\\') {
      to[n++] = (char)c;
    } else {
      to[n++] = '\\';
      to[n++] = 'x';
      to[n++] = hex[c >> 4];
      to[n++] = hex[c & 15];
    }
  }
  return n;
}

static size_t line_of(const event *e, char line[LINE_MOST]) {
  size_t most = e->length < DESCRIPTION_MOST ? e->length : DESCRIPTION_MOST;
  size_t n = (size_t)snprintf(line, 64, "%" PRId64 ".%06d %c %d ", e->us / 1000000,
                              (int)(e->us % 1000000), (char)e->kind, e->instrument);
  n += escaped(line + n, e->bytes, most);
  uint32_t crc = lw_checksum_of(LW_CHECKSUM_CRC32, line, n);
  n += (size_t)snprintf(line + n, 16, " *%08" PRIx32 "\n", crc);
  return n;
}

/* All or nothing: what a full disk took in part is taken back. */
static bool put(log_file *log, const char *bytes, size_t length) {
  size_t done = 0;
  while (done < length) {
    ssize_t n = write(log->fd, bytes + done, length - done);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) break;
    done += (size_t)n;
  }
  if (done == length) {
    log->length += (int64_t)length;
    return log->dirty = true;
  }
  if (done > 0 && ftruncate(log->fd, (off_t)log->length) != 0) log->dirty = true;
  return false;
}

static bool put_event(log_file *log, const event *e) {
  return put(log, log->line, line_of(e, log->line));
}

bool lw_log_write(log_file *log, const event *e) {
  if (log->fd < 0) return true;
  if (log->lacks > 0) { /* first say what is missing */
    char count[24];
    event lacks = {e->us, EVENT_LACKS, 0, (unsigned char *)count, 0};
    lacks.length = (size_t)snprintf(count, sizeof count, "%" PRIu64, log->lacks);
    if (!put_event(log, &lacks)) {
      log->lacks++;
      return false;
    }
    log->lacks = 0;
    log->failing = false;
  }
  if (put_event(log, e)) return true;
  log->lacks++;
  log->failing = true;
  return false;
}

void lw_log_sync(log_file *log) {
  if (log->fd >= 0 && log->dirty) (void)fdatasync(log->fd);
  log->dirty = false;
}

void lw_log_close(log_file *log) {
  if (log->fd < 0) return;
  lw_log_sync(log);
  close(log->fd);
  log->fd = -1;
}

/* ---- opening ---- */

static lw_status io_error(const char *path, const char *what, lw_error *error) {
  int why = errno;
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_IO, "%s: %s", what, strerror(why));
}

/* Where an earlier log ended, and what stands behind its last whole line. */
static lw_status look_through(const char *path, int64_t *us, int64_t *wall, lw_error *error) {
  log_reader *reader = NULL;
  lw_status status = lw_log_reader_new(path, &reader, error);
  if (status != LW_OK || !reader) return status;
  event e;
  int line = 0;
  log_state state;
  while ((state = lw_log_reader_next(reader, &e, &line)) != LOG_OVER) {
    if (state != LOG_ENTRY) continue;
    if (e.us > *us) *us = e.us;
    if (e.kind == EVENT_WALL) *wall = strtoll((const char *)e.bytes, NULL, 10);
  }
  lw_log_reader_free(reader);
  return LW_OK;
}

/* A torn last line gets its end, so that what follows stands on a line of its own. */
static bool end_last_line(log_file *log) {
  char last = '\n';
  if (log->length > 0 && pread(log->fd, &last, 1, (off_t)(log->length - 1)) != 1) return false;
  return last == '\n' || put(log, "\n", 1);
}

lw_status lw_log_open(log_file *log, const char *path, int64_t *us, int64_t *wall,
                      lw_error *error) {
  struct stat st;
  *us = *wall = 0;
  memset(log, 0, sizeof *log);
  log->fd = -1;
  snprintf(log->path, sizeof log->path, "%s", path);
  bool there = stat(path, &st) == 0 && S_ISREG(st.st_mode) && st.st_size > 0;
  if (there) {
    lw_status status = look_through(path, us, wall, error);
    if (status != LW_OK) return status;
  }
  int fd = open(path, O_RDWR | O_APPEND | O_CREAT | O_CLOEXEC, 0666);
  if (fd < 0) fd = open(path, O_WRONLY | O_APPEND | O_CLOEXEC);
  if (fd < 0) return io_error(path, "the log cannot be opened", error);
  log->fd = fd;
  log->length = fstat(fd, &st) == 0 && S_ISREG(st.st_mode) ? (int64_t)st.st_size : 0;
  bool good = there ? end_last_line(log) : put(log, first_line, FIRST);
  if (good) return LW_OK;
  lw_status status = io_error(path, "the log cannot be written", error);
  close(fd);
  log->fd = -1;
  return status;
}

/* ---- reading ---- */

struct log_reader {
  FILE *file;
  int line;
  unsigned char bytes[DESCRIPTION_MOST + 1];
  char text[LINE_MOST];
};

bool lw_log_is(const char *path) {
  char start[FIRST];
  FILE *file = fopen(path, "rb");
  if (!file) return false;
  bool is = fread(start, 1, FIRST, file) == FIRST && memcmp(start, first_line, FIRST) == 0;
  fclose(file);
  return is;
}

lw_status lw_log_reader_new(const char *path, log_reader **reader, lw_error *error) {
  log_reader *r = malloc(sizeof *r);
  if (!r) return lw_fail(error, LW_NO_MEMORY, "no memory to read a log");
  r->line = 1;
  r->file = fopen(path, "rb");
  lw_status status = LW_OK;
  if (!r->file) {
    status = io_error(path, "the log cannot be opened", error);
    if (errno == ENOENT) status = lw_fail(error, LW_NOT_FOUND, "there is no such file");
  } else if (!fgets(r->text, sizeof r->text, r->file) || strcmp(r->text, first_line) != 0) {
    lw_error_place(error, path, 1, NULL);
    status =
        lw_fail(error, LW_BAD_INPUT, "this is no log of leanward; its first line would be '%.*s'",
                (int)FIRST - 1, first_line);
  }
  if (status != LW_OK) {
    lw_log_reader_free(r);
    return status;
  }
  *reader = r;
  return LW_OK;
}

void lw_log_reader_free(log_reader *r) {
  if (!r) return;
  if (r->file) fclose(r->file);
  free(r);
}

static int hex_of(char c) {
  const char *at = c ? strchr(hex, c) : NULL;
  return at ? (int)(at - hex) : -1;
}

static bool unescaped(const char *text, size_t length, unsigned char *to, size_t *count) {
  size_t n = 0;
  for (size_t i = 0; i < length; i++) {
    if (n == DESCRIPTION_MOST) return false;
    if (text[i] != '\\') {
      to[n++] = (unsigned char)text[i];
      continue;
    }
    if (length - i < 4 || text[i + 1] != 'x') return false;
    int high = hex_of(text[i + 2]), low = hex_of(text[i + 3]);
    if (high < 0 || low < 0) return false;
    to[n++] = (unsigned char)(high << 4 | low);
    i += 3;
  }
  to[n] = '\0';
  *count = n;
  return true;
}

/* "12.345678 I 0 bytes *crc" without its line end. */
static bool parse(log_reader *r, size_t length, event *e) {
  char *text = r->text, *end = NULL;
  if (length < 20 || memcmp(text + length - 10, " *", 2) != 0) return false;
  for (size_t i = length - 8; i < length; i++) {
    if (hex_of(text[i]) < 0) return false;
  }
  uint32_t crc = (uint32_t)strtoul(text + length - 8, NULL, 16);
  length -= 10;
  if (crc != lw_checksum_of(LW_CHECKSUM_CRC32, text, length)) return false;
  text[length] = '\0';
  long long seconds = strtoll(text, &end, 10);
  if (*end != '.' || seconds < 0 || seconds > 4000000000LL) return false;
  long micro = strtol(end + 1, &end, 10);
  if (micro < 0 || micro > 999999 || end[0] != ' ' || !end[1] || end[2] != ' ') return false;
  char kind = end[1];
  long instrument = strtol(end + 3, &end, 10);
  if (*end != ' ' || instrument < 0 || instrument >= LW_SOURCE_INSTRUMENTS) return false;
  if (!strchr("WDBIAONLMTXE", kind)) return false;
  *e = (event){.us = (int64_t)seconds * 1000000 + micro,
               .kind = (event_kind)kind,
               .instrument = (int)instrument,
               .bytes = r->bytes};
  end++;
  return unescaped(end, (size_t)(text + length - end), r->bytes, &e->length);
}

static void skip_line(FILE *file, size_t *length) {
  for (int c; (c = getc(file)) != EOF && c != '\n';)
    ++*length;
}

log_state lw_log_reader_next(log_reader *r, event *e, int *line) {
  size_t length = 0;
  int c = EOF;
  while (length < sizeof r->text - 1 && (c = getc(r->file)) != EOF && c != '\n')
    r->text[length++] = (char)c;
  r->text[length] = '\0';
  *line = ++r->line;
  if (c == EOF && length == 0) return LOG_OVER;
  if (c != EOF && c != '\n') skip_line(r->file, &length);
  bool whole = c == '\n' && length < sizeof r->text - 1 && parse(r, length, e);
  if (whole) return LOG_ENTRY;
  *e = (event){.length = length};
  bool torn = feof(r->file) || (c = getc(r->file)) == EOF;
  if (!torn) (void)ungetc(c, r->file);
  return torn ? LOG_TORN : LOG_DAMAGED;
}
