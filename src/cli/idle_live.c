/* idle_live.c - `leanward idle JOB --listen`: the guide beside running instruments.
**
** What is read is watched until it has settled; then one reading is written into the job's file, the
** guide is asked for the next move, and the watch goes on until a screw is turned. All that must
** outlive the program stands in the job's file: started again, it reads it and goes on.
*/
#include "cli_live.h"
#include "idle_watch.h"

#include "leanward/bench_json.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { TYPED_MOST = 256, WORDS = 600 };

static const double again = 5;    /* s: what could not be written is tried again */
static const double patience = 5; /* s: what is missing is told after it */
static const double alike = 3;    /* s: gas that only passes by is gone by then (ours) */

typedef enum phase {
  PHASE_COMPARE, /* the job has readings: is the car still as the newest says? */
  PHASE_ASKED,   /* the guide has spoken; nobody has turned a screw yet */
  PHASE_DOUBT,   /* it is not as the newest reading says: a person must say what was turned */
  PHASE_SETTLE,  /* a reading is taken when all has settled */
  PHASE_KEEP,    /* a reading is taken; the file did not take it yet */
  PHASE_OVER
} phase;

typedef struct session {
  const idle_listening *asked;
  lw_arena *arena; /* of the descriptions */
  lw_units *units;
  lw_source *source;
  lw_file_lock lock; /* of the job's file */
  idle_guided d;
  idle_screws screws;
  idle_watch watch;
  phase phase;
  bool told;    /* a person said that it was turned: a reading without a change counts */
  bool assumed; /* where the screws stand is the card's word, not a person's */
  bool played;  /* a file; its name and how far it was read when the job was left */
  double played_to;
  /* the reading in hand */
  idle_taken taken;
  char note[200], failed[WORDS];
  bool kept;
  double try_at;
  /* the person */
  bool typing, block, cautioned;
  char typed[TYPED_MOST], line[20], missing[WORDS];
  size_t typed_count;
  double missing_since, alike_since, began;
  int code;
} session;

/* ---- words and the line of readings ---- */

/* On a terminal the newest readings stand in one line with the line to type on under it; words go
   above them. */
static void clear_block(session *s) {
  if (s->block) fputs("\r\x1b[K\x1b[1A\r\x1b[K", stdout);
  s->block = false;
}

/* What is no guidance: with --json on standard error. */
static void LW_PRINTF(2, 3) say(session *s, const char *format, ...) {
  char text[WORDS];
  va_list args;
  va_start(args, format);
  vsnprintf(text, sizeof text, format, args);
  va_end(args);
  if (s->asked->json) {
    fprintf(stderr, "leanward idle: %s\n", text);
    return;
  }
  clear_block(s);
  cli_wrapped(stdout, 0, 2, text);
  fflush(stdout);
}

static void complain(session *s, const lw_error *error) {
  char text[WORDS];
  lw_error_line(error, text, sizeof text);
  clear_block(s);
  fflush(stdout);
  fprintf(stderr, "leanward idle: %s\n", text);
}

static void on_terminal(session *s, const char *state, const char *items) {
  if (s->block)
    fputs("\x1b"
          "7\x1b[1A\r\x1b[K",
          stdout);
  printf("%8.1f s  ", s->watch.now.time);
  cli_styled(stdout, strcmp(state, "settled") == 0 ? CLI_GOOD : CLI_DOUBT, state);
  printf("%*s%s", (int)(13 - strlen(state)), "", items);
  fputs(s->block    ? "\x1b"
                      "8"
        : s->typing ? "\n> "
                    : "\n",
        stdout);
  s->block = true;
  fflush(stdout);
}

/* Elsewhere one line each time the state changes: a log of the session. */
static void in_a_file(session *s, const char *word, const char *state, const char *items) {
  if (strcmp(word, s->line) == 0) return;
  snprintf(s->line, sizeof s->line, "%s", word);
  printf("%8.1f s  %-13s%s\n", s->watch.now.time, state, items);
  fflush(stdout);
}

static void show(session *s, bool settled) {
  char state[40], items[640];
  lw_live now = s->watch.now;
  if (s->asked->json) return;
  now.settled = settled;
  cli_live_state_words(&now, state, sizeof state);
  const char *word = cli_live_state(&now);
  if (!word[0] && !settled) snprintf(state, sizeof state, "%s", word = "wait");
  bool terminal = isatty(STDOUT_FILENO);
  cli_live_items(&now, terminal ? cli_live_columns() - 26 : 600, items, sizeof items);
  if (terminal) {
    on_terminal(s, state, items);
  } else {
    in_a_file(s, word, state, items);
  }
}

static void tell_guidance(session *s) {
  idle_guided *d = &s->d;
  if (!s->asked->json) {
    clear_block(s);
    idle_print_guidance(d, !s->cautioned);
    s->cautioned = s->cautioned || d->g.state == LW_GUIDE_MOVE;
  } else {
    json_t *root = lw_guidance_json(d->work->job, &d->goal, d->count, &d->g, d->causes);
    json_dumpf(root, stdout, JSON_COMPACT | JSON_REAL_PRECISION(9));
    putchar('\n');
    json_decref(root);
  }
  fflush(stdout);
}

/* "CO 1.21 %, speed 652 rpm" of the reading in hand. */
static const char *taken_words(const session *s, char *words, size_t size) {
  char items[400];
  lw_live shown;
  memset(&shown, 0, sizeof shown);
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    shown.x[i] = s->taken.x[i];
    shown.state[i] = LW_SETTLE_SETTLED;
  }
  cli_live_items(&shown, 380, items, sizeof items);
  words[0] = '\0';
  for (const char *p = items; *p;) { /* two blanks stand before each */
    const char *next = strstr(p + 2, "  ");
    size_t n = next ? (size_t)(next - p) : strlen(p);
    lw_text_append(words, size, "%s%.*s", words[0] ? ", " : "", (int)n - 2, p + 2);
    p += n;
  }
  return words;
}

static void tell_reading(session *s) {
  char words[440];
  say(s, "reading %zu, kept in %s: %s", s->d.work->reading_count, s->asked->job,
      taken_words(s, words, sizeof words));
}

/* ---- what follows from what the guide said ---- */

static void over(session *s, int code) {
  s->phase = PHASE_OVER;
  s->code = code;
}

/* A move is waited for, or it is over. */
static void go_on(session *s) {
  idle_screws_of(&s->d, &s->screws);
  s->told = false;
  if (s->d.g.state == LW_GUIDE_SET || s->d.g.state == LW_GUIDE_CANNOT) {
    over(s, s->d.g.state == LW_GUIDE_SET ? CLI_DONE : CLI_OUTSIDE);
    return;
  }
  idle_screws_advise(&s->screws, &s->d.g);
  s->phase = PHASE_ASKED;
  idle_watch_mark(&s->watch);
}

static void wait_and_read_again(session *s, const char *words) {
  s->d.g = (lw_guidance){.state = LW_GUIDE_WAIT, .words = words};
}

/* A reading that was kept and says nothing to the guide must not pass for the one before it. */
static bool tells(const session *s) {
  const lw_work *w = s->d.work;
  lw_sight sight;
  return w->reading_count > 0 && lw_job_sight(w, &w->readings[w->reading_count - 1], &sight);
}

/* fresh: the newest reading was taken just now. */
static void ask_guide(session *s, bool fresh) {
  lw_error error = {0};
  idle_guided *d = &s->d;
  if (fresh && !tells(s)) {
    wait_and_read_again(s, "too much air in the sample: this reading tells nothing; put the probe "
                           "deeper, mend the exhaust, and read again");
  } else if (idle_guided_next(d, s->units, &error) != LW_OK) {
    wait_and_read_again(s, lw_arena_print(d->arena, "%s", error.text));
  }
  tell_guidance(s);
}

/* ---- a reading is taken ---- */

static lw_status read_job(session *s, lw_error *error) {
  idle_guided fresh = {0};
  lw_status status = idle_guided_read(&fresh, s->units, s->asked->job, error);
  if (status != LW_OK) {
    idle_guided_free(&fresh);
    return status;
  }
  idle_guided_free(&s->d);
  s->d = fresh;
  return LW_OK;
}

static const char *base_name(const char *path) {
  const char *slash = strrchr(path, '/');
  return slash ? slash + 1 : path;
}

/* Said once for each trouble, tried again until it works: the reading stays in hand. */
static void could_not_keep(session *s, const lw_error *error) {
  char text[WORDS];
  lw_error_line(error, text, sizeof text);
  s->try_at = lw_now() + again;
  if (strcmp(text, s->failed) == 0) return;
  snprintf(s->failed, sizeof s->failed, "%s", text);
  complain(s, error);
  say(s, "the reading is %s; it is tried again every %.0f s",
      s->kept ? "kept, but the job cannot be worked" : "in hand and not kept yet", again);
}

static void keep(session *s) {
  lw_error error = {0};
  lw_status status = LW_OK;
  s->phase = PHASE_KEEP;
  if (!s->kept) status = idle_keep(s->units, s->asked->job, &s->taken, &s->screws, &error);
  s->kept = s->kept || status == LW_OK;
  if (status == LW_OK) status = read_job(s, &error);
  if (status != LW_OK) {
    could_not_keep(s, &error);
    return;
  }
  s->failed[0] = '\0';
  for (int i = 0; i < LW_LIVE_ITEMS; i++)
    s->watch.typed[i] = LW_NONE;
  if (!s->d.car) {
    clear_block(s);
    over(s, idle_print_not_fit(&s->d));
    return;
  }
  tell_reading(s);
  ask_guide(s, true);
  go_on(s);
}

static void note_of(session *s) {
  char restless[100];
  idle_watch_restless(&s->watch, restless, sizeof restless);
  if (s->played) {
    snprintf(s->note, sizeof s->note, "played from %.100s, %.3f s", base_name(s->asked->paths[0]),
             s->watch.now.time);
  } else {
    snprintf(s->note, sizeof s->note, "mean of the settled window");
  }
  if (s->assumed)
    lw_text_append(s->note, sizeof s->note, "; screws not counted, taken as the card's preset");
  s->assumed = false;
  if (restless[0]) lw_text_append(s->note, sizeof s->note, "; does not rest: %s", restless);
}

static void take(session *s) {
  idle_watch_means(&s->watch, s->taken.x, &s->taken.hc_basis);
  note_of(s);
  s->taken.note = s->note;
  s->taken.wall = s->played ? -1 : s->watch.now.wall;
  s->taken.gear = s->d.goal.gear;
  s->taken.first = s->d.work->reading_count == 0;
  s->kept = false;
  keep(s);
}

/* ---- turning ---- */

/* From now on nothing counts as settled until its lag has passed. */
static void turned(session *s, bool told) {
  lw_error error = {0};
  char words[LW_LIVE_WORDS];
  idle_screws_words(&s->screws, words, sizeof words);
  s->told = s->told || told;
  s->phase = PHASE_SETTLE;
  s->watch.turned_at = s->watch.now.time;
  if (!s->played && lw_source_moved(s->source, words, &error) != LW_OK) complain(s, &error);
  say(s, "%s%s%s; a reading is taken when it has settled",
      told       ? "turned"
      : words[0] ? "turning is seen"
                 : "it changes",
      words[0] ? ": " : "", words);
}

static void settled(session *s) {
  if (s->told || !lw_known(s->watch.marked_at) || idle_watch_left(&s->watch, 0.5)) {
    take(s);
    return;
  }
  say(s, "it is as it was before, so nothing was turned; if it was, press Enter. Still to do: %s",
      s->d.g.words);
  s->phase = PHASE_ASKED;
}

static void compare(session *s) {
  const char *other = "it does not idle as the newest reading of the job says any more";
  if (!idle_watch_differs(&s->watch, &s->d.sights[s->d.count - 1])) {
    say(s, "it idles as the newest reading of the job says");
    go_on(s);
  } else if (s->d.g.state != LW_GUIDE_MOVE) {
    say(s, "%s: it is read again", other);
    idle_screws_rest(&s->screws);
    take(s);
  } else if (s->typing) {
    char words[200];
    idle_screws_words(&s->screws, words, sizeof words);
    say(s,
        "%s. Was it turned as asked (%s)? Enter: yes. Or type what was turned; 'nothing' if "
        "nothing was",
        other, words);
    s->phase = PHASE_DOUBT;
  } else {
    say(s, "%s: taken as turned as asked", other);
    take(s);
  }
}

/* Somebody who starts the program anew turns at once: no need to wait for the last item to settle
   when all has been where the job says for a while. The end is told of what has settled only. */
static bool alike_for_long(session *s) {
  bool end = s->d.g.state == LW_GUIDE_SET || s->d.g.state == LW_GUIDE_CANNOT;
  if (end || idle_watch_differs(&s->watch, &s->d.sights[s->d.count - 1])) {
    s->alike_since = LW_NONE;
    return false;
  }
  if (!lw_known(s->alike_since)) s->alike_since = s->watch.now.time;
  return s->watch.now.time - s->alike_since >= alike;
}

/* What is missing is told once it has been missing for a while. */
static void tell_missing(session *s, const char *why) {
  if (!why[0] || strcmp(why, s->missing) != 0) {
    snprintf(s->missing, sizeof s->missing, "%s", why);
    s->missing_since = why[0] ? s->watch.now.time : LW_NONE;
  } else if (s->watch.now.time - s->missing_since >= patience) {
    say(s, "%s", why);
    s->missing_since = INFINITY;
  }
}

/* The guide goes by where the screws stand; without a person to say it, by the card's word, and the
   reading says so. */
static bool counted(session *s) {
  if (!idle_screws_uncounted(&s->screws)) return true;
  if (s->typing) return false;
  idle_screws_assume(&s->screws);
  s->assumed = true;
  say(s,
      "the screws are not counted and nobody can say where they stand: taken as the card's preset");
  return true;
}

static void step(session *s) {
  char why[WORDS];
  bool rests = idle_watch_settled(&s->watch, why, sizeof why);
  show(s, rests);
  if (s->played && s->watch.now.time <= s->played_to) { /* that reading is in the job already */
    if (s->phase == PHASE_COMPARE) idle_watch_mark(&s->watch);
    return;
  }
  if (lw_known(s->played_to) && s->phase == PHASE_COMPARE) {
    go_on(s);
    return;
  }
  if (!counted(s)) {
    tell_missing(s, rests ? "all has settled; say where the screws stand, or 'not counted'" : "");
    return;
  }
  tell_missing(s, s->phase == PHASE_SETTLE || s->phase == PHASE_COMPARE ? why : "");
  if (s->phase == PHASE_ASKED && idle_watch_left(&s->watch, 1)) {
    turned(s, false);
  } else if (s->phase == PHASE_ASKED) {
    idle_watch_follow(&s->watch);
  } else if (s->phase == PHASE_COMPARE && (rests || alike_for_long(s))) {
    compare(s);
  } else if (s->phase == PHASE_SETTLE && rests) {
    settled(s);
  }
}

/* ---- typed lines ---- */

static void nothing_turned(session *s) {
  idle_screws_rest(&s->screws);
  if (s->phase == PHASE_DOUBT || s->phase == PHASE_COMPARE) {
    turned(s, true);
  } else {
    idle_screws_advise(&s->screws, &s->d.g);
    s->told = false;
    if (s->phase == PHASE_SETTLE && s->d.count) s->phase = PHASE_ASKED;
    idle_watch_mark(&s->watch);
    say(s, "nothing was turned. Still to do: %s", s->d.count ? s->d.g.words : "wait");
  }
}

static void say_places(session *s) {
  char words[300] = "";
  for (size_t i = 0; i < s->screws.count; i++) {
    char text[48];
    const idle_screw *k = &s->screws.at[i];
    if (k->speed || !lw_known(idle_screw_now(k))) continue;
    lw_turns_text(text, sizeof text, idle_screw_now(k));
    lw_text_append(words, sizeof words, "%s%s %s out", words[0] ? ", " : "", k->name, text);
  }
  say(s, "%s", words);
}

static void typed_line(session *s, const char *line) {
  lw_error error = {0};
  idle_said_kind kind;
  lw_status status = s->phase == PHASE_KEEP ? lw_fail(&error, LW_BAD_INPUT,
                                                      "a reading waits to be kept; it comes first")
                                            : idle_said(&s->screws, line, &kind, &error);
  if (status == LW_OK && kind == IDLE_SAID_READING)
    status = lw_source_type(s->source, s->units, line, &error);
  if (status != LW_OK) {
    complain(s, &error);
    return;
  }
  switch (kind) {
  case IDLE_SAID_ENTER:
  case IDLE_SAID_MOVE: turned(s, true); break;
  case IDLE_SAID_NOTHING: nothing_turned(s); break;
  case IDLE_SAID_PLACE: say_places(s); break;
  case IDLE_SAID_UNKNOWN:
    s->assumed = s->assumed || idle_screws_uncounted(&s->screws);
    idle_screws_assume(&s->screws);
    say_places(s);
    break;
  case IDLE_SAID_READING: break;
  case IDLE_SAID_END: cli_live_end(); break;
  }
}

/* A program in the background must not read the terminal: it would be stopped. */
static bool may_read(const session *s) {
  struct pollfd in = {STDIN_FILENO, POLLIN, 0};
  if (!s->typing) return false;
  if (isatty(STDIN_FILENO) && tcgetpgrp(STDIN_FILENO) != getpgrp()) return false;
  return poll(&in, 1, 0) > 0;
}

static void read_typed(session *s) {
  char bytes[TYPED_MOST];
  if (!may_read(s)) return;
  ssize_t n = read(STDIN_FILENO, bytes, sizeof bytes);
  if (n <= 0) s->typing = n < 0 && errno == EINTR;
  for (ssize_t i = 0; i < n && s->phase != PHASE_OVER; i++) {
    if (bytes[i] != '\n' && s->typed_count + 1 < sizeof s->typed) {
      s->typed[s->typed_count++] = bytes[i];
    } else if (bytes[i] == '\n') {
      s->typed[s->typed_count] = '\0';
      s->typed_count = 0;
      s->block = s->block && !isatty(STDIN_FILENO); /* Enter moved on to a line of its own */
      typed_line(s, s->typed);
    }
  }
}

/* ---- the session ---- */

/* Before the end: what was asked for is still to do. */
static int ended_early(session *s) {
  if (s->phase == PHASE_KEEP) {
    char words[440];
    lw_error error = {.status = LW_IO};
    if (s->kept) return CLI_COULD_NOT; /* why the job cannot be worked was said */
    snprintf(error.text, sizeof error.text, "the last reading could not be kept: %s",
             taken_words(s, words, sizeof words));
    lw_error_place(&error, s->asked->job, 0, NULL);
    clear_block(s);
    return cli_fail("idle", &error);
  }
  say(s, "ended before the idle was set; started again it goes on from %zu reading%s in %s",
      s->d.work->reading_count, s->d.work->reading_count == 1 ? "" : "s", s->asked->job);
  return CLI_OUTSIDE;
}

static bool time_is_up(const session *s) {
  return lw_known(s->asked->seconds) && lw_now() >= s->began + s->asked->seconds;
}

static void heed(session *s, const lw_live *live) {
  switch (live->kind) {
  case LW_LIVE_READING:
    idle_watch_came(&s->watch, s->source, live);
    step(s);
    break;
  case LW_LIVE_LOST:
    idle_watch_came(&s->watch, s->source, live);
    say(s, "%s; it is waited for", live->words);
    s->line[0] = '\0';
    break;
  case LW_LIVE_BACK:
  case LW_LIVE_REMARK: say(s, "%s", live->words); break;
  case LW_LIVE_MOVED:
    if (s->played && live->words[0]) say(s, "the log says: turned: %s", live->words);
    if (s->played && s->watch.now.time > 0) s->watch.turned_at = live->time;
    break;
  case LW_LIVE_NOTHING:
  case LW_LIVE_END: break;
  }
}

static int loop(session *s) {
  lw_error error = {0};
  lw_live live;
  s->began = lw_now();
  while (s->phase != PHASE_OVER && !cli_live_ended() && !time_is_up(s) && !ferror(stdout)) {
    if (lw_source_next(s->source, lw_now() + 0.1, &live, &error) != LW_OK) {
      clear_block(s);
      return cli_fail("idle", &error);
    }
    read_typed(s); /* first: Enter has moved the cursor */
    if (s->phase != PHASE_OVER) heed(s, &live);
    if (s->phase == PHASE_KEEP && lw_now() >= s->try_at) keep(s);
    if (live.kind == LW_LIVE_END && s->phase != PHASE_KEEP) break;
    if (live.kind == LW_LIVE_END) nanosleep(&(struct timespec){0, 100000000}, NULL);
  }
  return s->phase == PHASE_OVER ? s->code : ended_early(s);
}

/* ---- the start ---- */

/* A job with several analyzers must say which one read: the one with the instrument's name. */
static lw_status choose_analyzer(session *s, const char *instrument, lw_error *error) {
  const lw_list *list = &s->d.work->job->analyzers;
  const lw_analyzer *a = list->items;
  if (list->count < 2) return LW_OK;
  for (size_t i = 0; i < list->count; i++) {
    if (instrument && lw_text_same(a[i].name, instrument)) s->taken.analyzer = a[i].name;
  }
  if (s->taken.analyzer) {
    s->taken.analyzer = lw_arena_print(s->arena, "%s", s->taken.analyzer);
    return LW_OK;
  }
  lw_error_place(error, s->asked->job, 0, "analyzers");
  return lw_fail(error, LW_BAD_INPUT,
                 "the job has %zu analyzers and none is called '%.60s'; give the one that listens "
                 "the instrument's name",
                 list->count, instrument ? instrument : base_name(s->asked->paths[0]));
}

/* How far the same file was read when the job was left. */
static double played_before(const session *s) {
  const lw_work *w = s->d.work;
  char head[160];
  const char *note = w->reading_count ? w->readings[w->reading_count - 1].reading->note : NULL;
  snprintf(head, sizeof head, "played from %.100s, ", base_name(s->asked->paths[0]));
  if (!note || strncmp(note, head, strlen(head)) != 0) return LW_NONE;
  char *end = NULL;
  double at = strtod(note + strlen(head), &end);
  return end > note + strlen(head) ? at : LW_NONE;
}

static lw_status listen_to(session *s, lw_error *error) {
  const idle_listening *a = s->asked;
  const char *co = NULL;
  lw_status status = a->log ? lw_source_log(s->source, a->log, error) : LW_OK;
  for (size_t i = 0; status == LW_OK && i < a->count; i++) {
    lw_instrument *instrument = NULL;
    status = cli_live_describe(s->arena, s->units, a->paths[i], a->ports[i], &instrument, error);
    if (status != LW_OK) break;
    idle_watch_instrument(&s->watch, instrument);
    if (!co && lw_instrument_gives(instrument, LW_LIVE_CO, NULL, NULL))
      co = lw_instrument_name(instrument);
    status = lw_source_listen(s->source, instrument, a->wait ? LW_LISTEN_PATIENT : 0, error);
    if (status != LW_OK) lw_error_place(error, a->paths[i], 0, NULL);
  }
  return status == LW_OK ? choose_analyzer(s, co, error) : status;
}

static lw_status open_source(session *s, lw_error *error) {
  const idle_listening *a = s->asked;
  lw_status status = lw_source_new(&s->source, error);
  if (status != LW_OK) return status;
  cli_live_watch(s->source);
  s->played = a->count == 1 && cli_live_is_played(a->paths[0]);
  s->played_to = LW_NONE;
  if (!s->played) return listen_to(s, error);
  s->played_to = played_before(s);
  status =
      lw_source_replay(s->source, s->units, a->paths[0], lw_known(a->speed) ? a->speed : 1, error);
  return status == LW_OK ? choose_analyzer(s, NULL, error) : status;
}

/* A job that could not take the first reading is told before anybody turns a screw. */
static lw_status check_file(const session *s, lw_error *error) {
  lw_draft draft;
  if (strcmp(s->asked->job, "-") == 0)
    return lw_fail(error, LW_BAD_INPUT,
                   "readings are written into the job's file; standard input cannot take them");
  lw_status status = lw_draft_begin(s->asked->job, &draft, error);
  if (status == LW_OK) lw_draft_abandon(&draft);
  return status;
}

static void tell_start(session *s) {
  if (!s->asked->json) idle_print_start(&s->d);
  if (idle_screws_uncounted(&s->screws))
    say(s,
        "Nobody has counted where %s stands: '%s at 1 1/2 turns' says it, turns out from lightly "
        "seated; 'not counted' takes the card's preset.",
        s->screws.at[0].name, s->screws.at[0].name);
  if (s->d.goal.gear == LW_LOAD_DRIVE)
    say(s, "The mixture of this unit is set in drive: brake on, wheels chocked, nobody in front.");
  if (!s->d.count) say(s, "The first reading is taken when all has settled.");
}

static lw_status start(session *s, lw_error *error) {
  lw_status status = check_file(s, error);
  if (status == LW_OK) status = lw_file_lock_take(s->asked->job, "leanward idle", &s->lock, error);
  if (status == LW_OK) status = read_job(s, error);
  if (status != LW_OK || !s->d.car) return status;
  idle_watch_start(&s->watch);
  idle_screws_of(&s->d, &s->screws);
  status = open_source(s, error);
  if (status != LW_OK) return status;
  s->typing = true;
  tell_start(s);
  s->phase = PHASE_SETTLE;
  s->told = true; /* the first reading needs no move before it */
  if (!s->d.count) return LW_OK;
  s->told = false;
  s->phase = PHASE_COMPARE;
  ask_guide(s, false);
  idle_screws_advise(&s->screws, &s->d.g);
  return LW_OK;
}

int idle_live(const idle_listening *asked) {
  lw_error error = {0};
  session s = {.asked = asked,
               .lock = {-1, NULL},
               .missing_since = LW_NONE,
               .alike_since = LW_NONE,
               .code = CLI_COULD_NOT};
  cli_live_signals();
  s.arena = lw_arena_new(0);
  lw_status status = s.arena ? lw_units_open(&s.units, &error)
                             : lw_fail(&error, LW_NO_MEMORY, "no memory to listen");
  if (status == LW_OK) status = start(&s, &error);
  if (status != LW_OK) {
    s.code = cli_fail("idle", &error);
  } else {
    s.code = cli_finish("idle", s.d.car ? loop(&s) : idle_print_not_fit(&s.d));
  }
  cli_live_watch(NULL);
  lw_source_free(s.source);
  lw_units_close(s.units);
  idle_guided_free(&s.d);
  lw_file_lock_release(&s.lock);
  lw_arena_free(s.arena);
  return s.code;
}
