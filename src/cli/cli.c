/* cli.c - what the commands share: error lines, color, wrapping, a clean end. */
#include "cli.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

int cli_fail(const char *command, const lw_error *error) {
  char line[1024];
  fflush(stdout);
  fprintf(stderr, "leanward %s: %s\n", command, lw_error_line(error, line, sizeof line));
  return CLI_COULD_NOT;
}

int cli_usage(const char *command, const char *format, ...) {
  va_list args;
  fflush(stdout);
  fprintf(stderr, "leanward %s: ", command);
  va_start(args, format);
  vfprintf(stderr, format, args);
  va_end(args);
  fprintf(stderr, "; `leanward %s --help` says more\n", command);
  return CLI_COULD_NOT;
}

bool cli_color(FILE *stream) {
  const char *none = getenv("NO_COLOR"), *term = getenv("TERM");
  if (none && none[0]) return false;
  return isatty(fileno(stream)) && term && strcmp(term, "dumb") != 0;
}

void cli_styled(FILE *stream, cli_style style, const char *text) {
  static const char *const codes[] = {"", "1", "1;32", "1;31", "1;33", "2"};
  if (style == CLI_PLAIN || !cli_color(stream)) {
    fputs(text, stream);
  } else {
    fprintf(stream, "\x1b[%sm%s\x1b[0m", codes[style], text);
  }
}

static int width_of(FILE *stream) {
  struct winsize size = {0};
  if (ioctl(fileno(stream), TIOCGWINSZ, &size) == 0 && size.ws_col >= 40) {
    return size.ws_col < 100 ? size.ws_col : 100;
  }
  return 80;
}

void cli_wrapped(FILE *stream, int start, int indent, const char *text) {
  int width = width_of(stream), column = start;
  bool first = true;
  while (*text) {
    while (*text == ' ')
      text++;
    size_t length = strcspn(text, " ");
    if (!length) break;
    char word[512];
    snprintf(word, sizeof word, "%.*s", (int)(length < sizeof word ? length : sizeof word - 1),
             text);
    int columns = (int)lw_text_columns(word);
    if (!first && column + 1 + columns > width) {
      fprintf(stream, "\n%*s", indent, "");
      column = indent;
    } else if (!first) {
      fputc(' ', stream);
      column++;
    }
    fputs(word, stream);
    column += columns;
    first = false;
    text += length;
  }
  fputc('\n', stream);
}

int cli_finish(const char *command, int code) {
  if (fflush(stdout) == 0 && !ferror(stdout)) return code;
  fprintf(stderr, "leanward %s: the output could not be written: %s\n", command, strerror(errno));
  return CLI_COULD_NOT;
}
