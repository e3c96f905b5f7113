/* cmd_listen.c - `leanward listen`: readings as they come, or out of a log again. */
#include "cli_live.h"

#include <errno.h>
#include <getopt.h>
#include <math.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static const char usage[] =
    "Usage: leanward listen [OPTION]... DESCRIPTION...\n"
    "       leanward listen [OPTION]... LOG|CSV\n"
    "Readings from the instruments that the descriptions (docs/instruments.md) tell how to read, "
    "or\n"
    "out of a log or a CSV file again. Each with its time, and whether it has settled or is to be\n"
    "waited for. Ctrl-C ends it. A line typed meanwhile is a reading as well (\"CO: 1.2 %\"), and\n"
    "an empty one says that something was turned: nothing counts as settled for a while.\n\n"
    "  --log FILE   keep every byte with its time; an existing log is continued\n"
    "  --port PORT  use this device or HOST:PORT instead of the description's (with one)\n"
    "  --csv        comma-separated values; can be played again\n"
    "  --json       one JSON object a line (docs/instruments.md)\n"
    "  --speed X    play a file so many times as fast as it was (1; 0: at once)\n"
    "  --for S      end after so long\n"
    "  --count N    end after so many readings\n"
    "  --wait       a port that is not there is waited for\n"
    "  --check      only read the descriptions and say what they give\n"
    "  --keys       list the keys of a description\n"
    "  --help       this text\n\n"
    "Exit status: 0 ended in order; 1 ended, and an instrument was lost at the end; 2 could not, "
    "or\n"
    "the log is not whole.\n";

enum { TYPED_MOST = 256 };

typedef enum form { FORM_LINES, FORM_CSV, FORM_JSON } form;

typedef struct session {
  lw_arena *arena;
  lw_units *units;
  lw_source *source;
  form form;
  const char *log, *port;
  double speed, seconds, count;
  bool wait, check, status_line; /* one line that is written over */
  bool played, typing;           /* a file; standard input is read */
  bool gives[LW_LIVE_ITEMS], lost, log_failed;
  double readings, began;
  char typed[TYPED_MOST];
  size_t typed_count;
} session;

/* ---- output ---- */

static void wall_text(char *text, size_t size, int64_t wall) {
  time_t seconds = (time_t)(wall / 1000);
  struct tm day;
  if (!gmtime_r(&seconds, &day)) memset(&day, 0, sizeof day);
  size_t n = strftime(text, size, "%Y-%m-%dT%H:%M:%S", &day);
  snprintf(text + n, size - n, ".%03dZ", (int)(wall % 1000));
}

/* On a terminal the line is written over, so it must not be longer than the terminal is wide. */
static void print_line(session *s, const lw_live *live) {
  char state[40], items[640];
  int columns = s->status_line ? cli_live_columns() : 1000;
  cli_live_state_words(live, state, sizeof state);
  cli_live_items(live, columns - 26, items, sizeof items);
  printf("%s%8.1f s  ", s->status_line ? "\r\x1b[K" : "", live->time);
  cli_styled(stdout, live->settled ? CLI_GOOD : CLI_DOUBT, state);
  printf("%*s%s", (int)(13 - strlen(state)), "", items);
  if (!s->status_line) putchar('\n');
}

static void csv_name(int item) {
  lw_dim dim = lw_live_item_dim((lw_live_item)item);
  const char *unit = item == LW_LIVE_HC ? "ppm" : lw_dim_unit(dim, LW_SHOP);
  printf(",%s", lw_live_item_text((lw_live_item)item));
  if (unit[0]) printf(" [%s]", unit);
}

static void csv_header(const session *s) {
  printf("time [s],wall");
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (s->gives[i]) csv_name(i);
  }
  puts(",state,wait");
}

static void csv_row(const session *s, const lw_live *live) {
  char wall[40];
  wall_text(wall, sizeof wall, live->wall);
  printf("%.6f,%s", live->time, wall);
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (!s->gives[i]) continue;
    putchar(',');
    double x = lw_dim_shown(lw_live_item_dim((lw_live_item)i), LW_SHOP, live->x[i]);
    if (lw_known(live->x[i])) printf("%.7g", x);
  }
  printf(",%s,", cli_live_state(live));
  if (lw_known(live->longest_wait)) printf("%.1f", live->longest_wait);
  putchar('\n');
}

static const char *kind_text(lw_live_kind kind) {
  static const char *const words[] = {"nothing", "reading", "lost", "back",
                                      "remark",  "moved",   "end"};
  return words[kind];
}

static json_t *number(double x) {
  return lw_known(x) ? json_real(x) : json_null();
}

static json_t *items_json(const lw_live *live) {
  json_t *items = json_object();
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (!lw_known(live->x[i])) continue;
    json_object_set_new(items, lw_live_item_text((lw_live_item)i),
                        json_pack("{s:f, s:s, s:o, s:o, s:o}", "x", live->x[i], "state",
                                  lw_settling_text(live->state[i]), "wait_s", number(live->wait[i]),
                                  "mean", number(live->mean[i]), "spread",
                                  number(live->spread[i])));
  }
  return items;
}

static void json_line(const lw_live *live) {
  static const char *const bases[] = {"", "hexane", "propane", "C1"};
  char wall[40];
  wall_text(wall, sizeof wall, live->wall);
  json_t *root = json_pack("{s:s, s:I, s:i, s:f, s:s}", "kind", kind_text(live->kind), "number",
                           (json_int_t)live->number, "instrument", live->instrument, "time_s",
                           live->time, "wall", wall);
  if (live->kind == LW_LIVE_READING) {
    json_object_set_new(root, "settled", json_boolean(live->settled));
    json_object_set_new(root, "state", json_string(cli_live_state(live)));
    json_object_set_new(root, "items", items_json(live));
    if (live->hc_basis != LW_HC_UNSAID)
      json_object_set_new(root, "HC_as", json_string(bases[live->hc_basis]));
  } else {
    json_object_set_new(root, "words", json_string(live->words));
  }
  json_dumpf(root, stdout, JSON_COMPACT | JSON_REAL_PRECISION(9));
  putchar('\n');
  json_decref(root);
}

/* What is no reading: on the screen beside the readings; for CSV on standard error. */
static void print_words(const session *s, const lw_live *live) {
  FILE *to = s->form == FORM_LINES ? stdout : stderr;
  if (s->status_line) fputs("\r\x1b[K", to);
  if (live->kind == LW_LIVE_MOVED) {
    fprintf(to, "%8.1f s  moved%s%s\n", live->time, live->words[0] ? ": " : "", live->words);
  } else {
    fprintf(to, "%8.1f s  %s\n", live->time, live->words);
  }
}

static void show(session *s, const lw_live *live) {
  if (live->kind == LW_LIVE_NOTHING || live->kind == LW_LIVE_END) return;
  if (s->form == FORM_JSON) {
    json_line(live);
  } else if (live->kind != LW_LIVE_READING) {
    print_words(s, live);
  } else if (s->form == FORM_CSV) {
    csv_row(s, live);
  } else {
    print_line(s, live);
  }
  fflush(stdout);
}

/* ---- typed lines ---- */

static void typed_line(session *s, const char *line) {
  lw_error error = {0};
  char text[600];
  lw_status status = line[strspn(line, " \t\r")] ? lw_source_type(s->source, s->units, line, &error)
                                                 : lw_source_moved(s->source, "", &error);
  if (status != LW_OK)
    fprintf(stderr, "leanward listen: typed: %s\n", lw_error_line(&error, text, sizeof text));
}

static void read_typed(session *s) {
  char bytes[TYPED_MOST];
  struct pollfd in = {STDIN_FILENO, POLLIN, 0};
  if (!s->typing || poll(&in, 1, 0) <= 0) return;
  ssize_t n = read(STDIN_FILENO, bytes, sizeof bytes);
  if (n <= 0) s->typing = n < 0 && errno == EINTR;
  for (ssize_t i = 0; i < n; i++) {
    if (bytes[i] != '\n' && s->typed_count + 1 < sizeof s->typed) {
      s->typed[s->typed_count++] = bytes[i];
    } else if (bytes[i] == '\n') {
      s->typed[s->typed_count] = '\0';
      s->typed_count = 0;
      typed_line(s, s->typed);
    }
  }
}

/* ---- the session ---- */

/* How the log and the instruments stood at the end. */
static int verdict(session *s) {
  bool lost = false;
  for (size_t i = 0; i < lw_source_instruments(s->source); i++)
    lost |= !s->played && !lw_source_health(s->source, i).there;
  if (s->log_failed) {
    lw_error error = {.status = LW_IO};
    snprintf(error.text, sizeof error.text, "the log is not whole: there was no room for it");
    lw_error_place(&error, s->log, 0, NULL);
    return cli_fail("listen", &error);
  }
  return lost ? CLI_OUTSIDE : CLI_DONE;
}

static int end(session *s) {
  if (s->status_line) putchar('\n');
  for (size_t i = 0; i < lw_source_instruments(s->source); i++) {
    lw_health h = lw_source_health(s->source, i);
    if (s->form != FORM_LINES) break;
    printf("%s: %llu readings, %llu bytes", h.name, (unsigned long long)h.readings,
           (unsigned long long)h.bytes);
    const struct {
      uint64_t n;
      const char *what;
    } bad[] = {{h.bad_checksum, "wrong checksums"},
               {h.bad_form, "not as described"},
               {h.stray, "stray bytes"},
               {h.doubted, "values that cannot be"},
               {h.unanswered, "unanswered"},
               {h.losses, "lost"}};
    for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
      if (bad[k].n) printf(", %s: %llu", bad[k].what, (unsigned long long)bad[k].n);
    }
    putchar('\n');
  }
  return cli_finish("listen", verdict(s));
}

static bool done(const session *s) {
  if (cli_live_ended() || ferror(stdout)) return true;
  if (lw_known(s->count) && s->readings >= s->count) return true;
  return lw_known(s->seconds) && lw_now() >= s->began + s->seconds;
}

static int loop(session *s) {
  lw_error error = {0};
  lw_live live;
  s->began = lw_now();
  s->status_line = s->form == FORM_LINES && isatty(STDOUT_FILENO) && !s->played;
  s->typing = !s->played && isatty(STDIN_FILENO);
  if (s->form == FORM_CSV) csv_header(s);
  while (!done(s)) {
    double deadline = lw_now() + 0.1;
    if (lw_known(s->seconds))
      deadline = deadline < s->began + s->seconds ? deadline : s->began + s->seconds;
    if (lw_source_next(s->source, deadline, &live, &error) != LW_OK)
      return cli_fail("listen", &error);
    s->log_failed |= live.kind == LW_LIVE_REMARK && strncmp(live.words, "the log cannot", 14) == 0;
    s->readings += live.kind == LW_LIVE_READING;
    show(s, &live);
    if (live.kind == LW_LIVE_END) break;
    read_typed(s);
  }
  return end(s);
}

static void note_gives(session *s, const lw_instrument *instrument) {
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    s->gives[i] |= lw_instrument_gives(instrument, (lw_live_item)i, NULL, NULL);
}

static void print_check(const lw_instrument *instrument) {
  printf("%s, %s, %s\n", lw_instrument_name(instrument),
         lw_protocol_text(lw_instrument_protocol(instrument)),
         lw_instrument_port(instrument) ? lw_instrument_port(instrument) : "no port named");
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    double lag = 0, within = 0;
    char text[48];
    if (!lw_instrument_gives(instrument, (lw_live_item)i, &lag, &within)) continue;
    lw_dim dim = lw_live_item_dim((lw_live_item)i);
    double scale = lw_dim_shown(dim, LW_SHOP, 1) - lw_dim_shown(dim, LW_SHOP, 0);
    snprintf(text, sizeof text, "%.3g %s", within * scale, lw_dim_unit(dim, LW_SHOP));
    printf("  %-20s settles in %4.1f s, stands within %s\n", lw_live_item_text((lw_live_item)i),
           lag, text);
  }
}

static lw_status listen_to(session *s, char **paths, int count, lw_error *error) {
  lw_status status = LW_OK;
  for (int i = 0; status == LW_OK && i < count; i++) {
    lw_instrument *instrument = NULL;
    status = cli_live_describe(s->arena, s->units, paths[i], s->port, &instrument, error);
    if (status != LW_OK) break;
    note_gives(s, instrument);
    if (s->check) {
      print_check(instrument);
      continue;
    }
    status = lw_source_listen(s->source, instrument, s->wait ? LW_LISTEN_PATIENT : 0, error);
    if (status != LW_OK) lw_error_place(error, paths[i], 0, NULL);
  }
  return status;
}

static lw_status start(session *s, char **paths, int count, lw_error *error) {
  s->played = count == 1 && cli_live_is_played(paths[0]);
  lw_status status = lw_source_new(&s->source, error);
  if (status != LW_OK) return status;
  cli_live_watch(s->source);
  if (s->played) {
    for (int i = 0; i < LW_LIVE_ITEMS; i++)
      s->gives[i] = true;
    return lw_source_replay(s->source, s->units, paths[0], lw_known(s->speed) ? s->speed : 1,
                            error);
  }
  if (s->log && !s->check) status = lw_source_log(s->source, s->log, error);
  return status == LW_OK ? listen_to(s, paths, count, error) : status;
}

static int run(session *s, char **paths, int count) {
  lw_error error = {0};
  cli_live_signals();
  int code = CLI_COULD_NOT;
  s->arena = lw_arena_new(0);
  if (!s->arena) {
    lw_fail(&error, LW_NO_MEMORY, "no memory");
    code = cli_fail("listen", &error);
  } else if (lw_units_open(&s->units, &error) != LW_OK || start(s, paths, count, &error) != LW_OK) {
    code = cli_fail("listen", &error);
  } else if (s->check) {
    code = cli_finish("listen", CLI_DONE);
  } else {
    code = loop(s);
  }
  cli_live_watch(NULL);
  lw_source_free(s->source);
  lw_units_close(s->units);
  lw_arena_free(s->arena);
  return code;
}

/* ---- options ---- */

static void print_text(void *to, const char *text) {
  fputs(text, to);
}

static bool positive(const char *text, double *to) {
  lw_error unheard = {0};
  return lw_number_read(text, to, &unheard) == LW_OK && *to >= 0;
}

static bool take(session *s, int c, const char *value) {
  switch (c) {
  case 'l': s->log = value; return true;
  case 'p': s->port = value; return true;
  case 'c': s->form = FORM_CSV; return true;
  case 'j': s->form = FORM_JSON; return true;
  case 's': return positive(value, &s->speed);
  case 'f': return positive(value, &s->seconds);
  case 'n': return positive(value, &s->count);
  case 'w': return s->wait = true;
  case 'k': return s->check = true;
  default: return false;
  }
}

int cmd_listen(int argc, char **argv) {
  static const struct option options[] = {
      {"log", required_argument, NULL, 'l'},   {"port", required_argument, NULL, 'p'},
      {"csv", no_argument, NULL, 'c'},         {"json", no_argument, NULL, 'j'},
      {"speed", required_argument, NULL, 's'}, {"for", required_argument, NULL, 'f'},
      {"count", required_argument, NULL, 'n'}, {"wait", no_argument, NULL, 'w'},
      {"check", no_argument, NULL, 'k'},       {"keys", no_argument, NULL, 'K'},
      {"help", no_argument, NULL, 'h'},        {0}};
  session s = {.speed = LW_NONE, .seconds = LW_NONE, .count = LW_NONE};
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      return cli_finish("listen", CLI_DONE);
    }
    if (c == 'K') {
      lw_table_reference(lw_instrument_table(), print_text, stdout);
      return cli_finish("listen", CLI_DONE);
    }
    if (!take(&s, c, optarg))
      return cli_usage("listen", "'%s' is not an option, or lacks its value, or has a wrong one",
                       argv[optind - 1]);
  }
  int count = argc - optind;
  if (count == 0) return cli_usage("listen", "a description, a log or a CSV file was expected");
  if (count > 1 && s.port) return cli_usage("listen", "--port goes with one description");
  if (count > LW_SOURCE_INSTRUMENTS)
    return cli_usage("listen", "at most %d instruments at once", LW_SOURCE_INSTRUMENTS);
  return run(&s, argv + optind, count);
}
