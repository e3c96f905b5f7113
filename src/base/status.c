/* status.c - outcomes and the one clear line that goes with them. */
#include "leanward/base.h"

#include <stdio.h>
#include <string.h>

/* Make text safe to show on a terminal and to put into JSON, in place and without growing: control
   characters (C0, DEL and the C1 of U+0080 to U+009F) become blanks; bytes that are not UTF-8, such
   as a letter cut by "%.60s", become question marks. */
static void mend(char *text) {
  size_t left = strlen(text), bad = 0;
  for (char *p = text; !lw_text_utf8(p, left, &bad);) {
    p[bad] = '?';
    left -= bad + 1;
    p += bad + 1;
  }
  for (char *p = text; *p; p++) {
    unsigned char c = (unsigned char)p[0], next = (unsigned char)p[1];
    if (c < 0x20 || c == 0x7f) p[0] = ' ';
    if (c == 0xC2 && next >= 0x80 && next <= 0x9F) p[0] = p[1] = ' ';
  }
}

const char *lw_status_text(lw_status status) {
  static const char *const texts[] = {
#define LW_STATUS_TEXT(name, text) text,
      LW_STATUS_LIST(LW_STATUS_TEXT)
#undef LW_STATUS_TEXT
  };
  size_t at = (size_t)status;
  return at < sizeof texts / sizeof texts[0] ? texts[at] : "unknown status";
}

lw_status lw_fail(lw_error *error, lw_status status, const char *format, ...) {
  if (!error) return status;
  error->status = status;
  va_list args;
  va_start(args, format);
  vsnprintf(error->text, sizeof error->text, format, args);
  va_end(args);
  mend(error->text);
  return status;
}

void lw_error_place(lw_error *error, const char *file, int line, const char *field) {
  if (!error) return;
  if (file) {
    snprintf(error->file, sizeof error->file, "%s", file);
    mend(error->file);
  }
  if (line >= 1) error->line = line;
  if (field) {
    snprintf(error->field, sizeof error->field, "%s", field);
    mend(error->field);
  }
}

const char *lw_error_line(const lw_error *error, char *buffer, size_t size) {
  buffer[0] = '\0';
  if (error->file[0]) lw_text_append(buffer, size, "%s", error->file);
  if (error->line >= 1) {
    lw_text_append(buffer, size, error->file[0] ? ":%d" : "line %d", error->line);
  }
  if (buffer[0]) lw_text_append(buffer, size, ": ");
  if (error->field[0]) lw_text_append(buffer, size, "%s: ", error->field);
  lw_text_append(buffer, size, "%s", error->text[0] ? error->text : lw_status_text(error->status));
  mend(buffer); /* a caller may have filled the parts by hand, and the buffer may have cut them */
  return buffer;
}
