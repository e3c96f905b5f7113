/* test_idle_live.c - `leanward idle JOB --listen`: the guide beside a practice car whose screws are
** turned as it asks, beside a line that is pulled out, and beside a file that is played.
**
** The practice car's time runs ten times as fast; the description's lags are cut down to it.
*/
#define _XOPEN_SOURCE 700
#include "wire_kit.h"

#include "run.h"

#include <signal.h>
#include <sys/resource.h>

static const char card[] = "cards/corran-290-eight-manual.yaml";
static const char quick[] = "instrument: quick bench\n"
                            "protocol: lines\n"
                            "port: /dev/nowhere\n"
                            "class: I\n"
                            "silence: 1 s\n"
                            "framing: {start: \"$GAS,\", end: <LF>, places: 8}\n"
                            "checksum: {kind: xor8, as: hex, behind: \"*\", from: 2}\n"
                            "fields:\n"
                            "  - {is: CO, place: 2, unit: \"% vol\", lag: 2 s}\n"
                            "  - {is: CO2, place: 3, unit: \"% vol\", lag: 2 s}\n"
                            "  - {is: HC, place: 4, unit: ppm hexane, lag: 2 s}\n"
                            "  - {is: O2, place: 5, unit: \"% vol\", lag: 2 s}\n"
                            "  - {is: speed, place: 7, unit: rpm, lag: 0.5 s}\n"
                            "  - {is: vacuum, place: 8, unit: inHg, lag: 0.5 s}\n";

/* ---- a kit: files, programs with pipes ---- */

static const char *put_file(wire_kit *k, const char *name, const char *text) {
  const char *path = wire_path(k, name);
  FILE *file = fopen(path, "w");
  assert_non_null(file);
  assert_true(fputs(text, file) >= 0);
  assert_int_equal(fclose(file), 0);
  return path;
}

static char *get_file(const char *path) {
  static char text[1 << 18];
  FILE *file = fopen(path, "rb");
  assert_non_null(file);
  text[fread(text, 1, sizeof text - 1, file)] = '\0';
  fclose(file);
  return text;
}

static const char *put_job(wire_kit *k, const char *more) {
  char text[4000];
  snprintf(text, sizeof text,
           "# ours\njob: CW-9\ncard: %s/%s\nfuel: gasoline\nanalyzers:\n"
           "  - {name: bench, class: I, HC as: hexane}\nchecks: {warm: yes, choke open: yes}\n%s",
           getenv("SOURCE_ROOT"), card, more);
  return put_file(k, "job.yaml", text);
}

static size_t count_of(const char *text, const char *part) {
  size_t n = 0;
  for (const char *p = text; (p = strstr(p, part)); p++)
    n++;
  return n;
}

typedef struct program {
  pid_t pid;
  int in, out; /* what it reads, what it prints (standard error too) */
  char text[1 << 16];
  size_t count, seen;
} program;

static rlim_t longest = RLIM_INFINITY; /* bytes of a file the program may write */

static void start(program *p, const char *const *args) {
  const char *argv[24] = {getenv("LEANWARD")};
  int in[2], out[2];
  for (size_t i = 0; args[i]; i++)
    argv[i + 1] = args[i];
  memset(p, 0, sizeof *p);
  assert_int_equal(pipe(in), 0);
  assert_int_equal(pipe(out), 0);
  fflush(NULL);
  p->pid = fork();
  assert_true(p->pid >= 0);
  if (p->pid == 0) {
    dup2(in[0], 0);
    dup2(out[1], 1);
    dup2(out[1], 2);
    for (int fd = 3; fd < 256; fd++) /* a master held here would keep the line plugged in */
      close(fd);
    if (setrlimit(RLIMIT_FSIZE, &(struct rlimit){longest, longest}) == 0 &&
        chdir(getenv("SOURCE_ROOT")) == 0)
      execv(argv[0], (char *const *)(uintptr_t)argv);
    _exit(99);
  }
  close(in[0]);
  close(out[1]);
  p->in = in[1];
  p->out = out[0];
  assert_int_equal(fcntl(p->out, F_SETFL, O_NONBLOCK), 0);
}
#define START(p, ...) start(p, (const char *const[]){__VA_ARGS__, NULL})

static void tell(program *p, const char *line) {
  assert_int_equal(write(p->in, line, strlen(line)), (ssize_t)strlen(line));
}

static int ended(program *p) {
  int status = 0;
  assert_int_equal(waitpid(p->pid, &status, 0), p->pid);
  if (p->in >= 0) close(p->in);
  close(p->out);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* More of its words; false at their end. */
static bool more(program *p) {
  ssize_t n = read(p->out, p->text + p->count, sizeof p->text - 1 - p->count);
  if (n > 0) p->count += (size_t)n;
  p->text[p->count] = '\0';
  if (n < 0) nanosleep(&(struct timespec){0, 10000000}, NULL);
  return n != 0;
}

/* Words that come after those waited for before; where they stand. */
static const char *hears(program *p, const char *words, double seconds) {
  double until = lw_now() + seconds;
  for (;;) {
    const char *at = strstr(p->text + p->seen, words);
    if (at) {
      p->seen = (size_t)(at - p->text) + strlen(words);
      return at;
    }
    if (lw_now() > until || !more(p)) break;
  }
  more(p);
  if (strstr(p->text + p->seen, words)) return hears(p, words, 1);
  fprintf(stderr, "%s\n", p->text);
  fail_msg("'%s' was not said in %.0f s", words, seconds);
  return NULL;
}

static void practice(program *car, const char *link, const char *edit) {
  struct stat st;
  START(car, "practice", "--fast", "10", "--link", link, card, edit);
  for (int i = 0; i < 600 && lstat(link, &st) != 0; i++)
    nanosleep(&(struct timespec){0, 50000000}, NULL);
  assert_int_equal(lstat(link, &st), 0);
}

static void park(program *car) {
  assert_int_equal(kill(car->pid, SIGINT), 0);
  assert_int_equal(ended(car), 0);
}

/* ---- the hand ---- */

static const char *stretch(const char *text, char *flat, size_t size) {
  size_t n = 0;
  for (; *text && n + 1 < size; text++) {
    char c = *text == '\n' ? ' ' : *text;
    if (c != ' ' || (n && flat[n - 1] != ' ')) flat[n++] = c;
  }
  flat[n] = '\0';
  return flat;
}

/* "left screw: 3/8 turn counter-clockwise (richer), then 1/8 turn back" to turns, + out. */
static bool asked(const char *advice, const char *screw, double *out) {
  char head[40], amount[40], way[40];
  lw_error unheard = {0};
  snprintf(head, sizeof head, "%s screw: ", screw);
  const char *at = strstr(advice, head);
  if (!at || sscanf(at + strlen(head), "%39[0-9/ ]", amount) != 1) return false;
  const char *turn = at + strlen(head) + strlen(amount);
  if (sscanf(turn, "turn%*[s ] %39[a-z-]", way) != 1 && sscanf(turn, "turn %39[a-z-]", way) != 1)
    return false;
  amount[strlen(amount) - 1] = '\0';
  if (lw_number_read(amount, out, &unheard) != LW_OK) return false;
  if (strncmp(way, "clockwise", 9) == 0) *out = -*out;
  const char *end = strchr(at, ';'), *back = strstr(at, "back");
  if (back && end && back < end) *out -= 0.125;
  return true;
}

/* Turns what the guide's newest advice asks, at the car. How many screws. */
static int turn(program *guide, program *car) {
  char advice[2000], line[100];
  double out = 0;
  int n = 0;
  const char *at = hears(guide, "next: ", 30);
  size_t from = (size_t)(at - guide->text);
  hears(guide, "Wait until", 5);
  stretch(guide->text + from, advice, sizeof advice);
  char *end = strstr(advice, "Wait until");
  if (end) *end = '\0';
  static const char *const screws[] = {"left", "right"};
  for (size_t i = 0; i < 2; i++) {
    if (!asked(advice, screws[i], &out)) continue;
    snprintf(line, sizeof line, "%s screw=%+.4f turns\n", screws[i], out);
    tell(car, line);
    n++;
  }
  printf("hand: %s\n", advice);
  return n;
}

/* ---- tests ---- */

/* From 5.7 % CO to set: every move is seen by itself, nobody types a word. Killed in the middle it
   goes on where it was, with every reading. */
static void a_rich_car_is_set_and_a_kill_loses_nothing(void **state) {
  (void)state;
  static program guide, car;
  wire_kit k = wire_kit_new();
  const char *bench = put_file(&k, "bench.yaml", quick), *link = wire_path(&k, "car");
  const char *job = put_job(&k, "");
  practice(&car, link, "screws=2 1/4 turns");
  START(&guide, "idle", job, "--listen", bench, "--port", link);
  tell(&guide, "both at 2 1/4 turns\n");
  hears(&guide, "left 2 1/4 turns out, right 2 1/4 turns out", 10);
  hears(&guide, "reading 1, kept in ", 20);
  hears(&guide, "next: ", 10);
  const ran *second = RUN("idle", job, "--listen", bench, "--port", link);
  assert_int_equal(second->code, 2);
  HOLDS(second->err, "another program adds to this file (leanward idle, process ");
  assert_int_equal(count_of(second->err, "\n"), 1);
  assert_int_equal(RUN("idle", job)->code, 1);   /* who only reads is not kept out */
  assert_int_equal(kill(guide.pid, SIGKILL), 0); /* asked, not yet turned */
  assert_int_equal(ended(&guide), -1);
  char *text = get_file(job);
  HOLDS(text, "# ours\n"); /* a comment of the person's */
  HOLDS(text, "label: as it came in");
  HOLDS(text, "left: 2 1/4 turns");
  assert_int_equal(count_of(text, "stage: "), 1);
  START(&guide, "idle", job, "--listen", bench, "--port", link);
  hears(&guide, "next: ", 20); /* the same move is asked for again */
  hears(&guide, "it idles as the newest reading of the job says", 10);
  guide.seen = 0;
  assert_int_equal(turn(&guide, &car), 2);
  int code = -1, moves = 1;
  hears(&guide, "reading 2, kept in ", 30);
  for (; moves < 7; moves++) {
    while (!strstr(guide.text + guide.seen, "expect") && !strstr(guide.text, "set: ") &&
           more(&guide))
      ;
    if (strstr(guide.text, "set: ")) break;
    turn(&guide, &car);
    char next[40];
    snprintf(next, sizeof next, "reading %d, kept in ", moves + 2);
    hears(&guide, next, 30);
  }
  hears(&guide, "leave the screws alone", 10);
  code = ended(&guide);
  text = get_file(job);
  printf("set after %d moves\n%s\n", moves, strstr(guide.text, "set: "));
  assert_int_equal(code, 0);
  assert_int_equal(count_of(text, "stage: "), moves + 1);
  assert_true(count_of(text, "turned as the guide asked") >= (size_t)moves);
  const ran *typed = RUN("idle", job); /* asked without instruments it says the same */
  assert_int_equal(typed->code, 0);
  HOLDS(typed->out, "leave the screws alone");
  park(&car);
  wire_kit_free(&k);
}

/* ---- a line of ours, without a car ---- */

/* Readings twenty a second for so long, steady to the display's step. */
static void speak(const wire *w, double seconds, double co, double speed) {
  char line[120];
  for (int i = 0; i < (int)(20 * seconds); i++) {
    snprintf(line, sizeof line, "$GAS,%d,%.2f,%.2f,%d,0.30,95,%.0f,17.8", i, co, 14.6 - 0.6 * co,
             (int)(190 + 45 * co), speed);
    uint32_t sum = lw_checksum_of(LW_CHECKSUM_XOR8, line + 1, strlen(line) - 1);
    lw_text_append(line, sizeof line, "*%02X\r\n", (unsigned)sum);
    wire_say(w, line);
    nanosleep(&(struct timespec){0, 50000000}, NULL);
  }
}

static void what_was_turned_is_typed(void **state) {
  (void)state;
  static program guide;
  wire_kit k = wire_kit_new();
  const char *bench = put_file(&k, "bench.yaml", quick), *job = put_job(&k, "");
  wire w = wire_new(&k, "port");
  START(&guide, "idle", job, "--listen", bench, "--port", w.path, "--json");
  tell(&guide, "both at 2 turns\n");
  speak(&w, 4, 4.0, 700);
  hears(&guide, "\"state\":\"move\"", 10);
  hears(&guide, "\"readings\":1", 1);
  tell(&guide, "left up 1/4\nleft out\nright out 99\nmiddle out 1/4\nCO: 1 rpm\n");
  hears(&guide, "which way?", 5);
  hears(&guide, "how far?", 5);
  hears(&guide, "how far?", 5);
  hears(&guide, "'middle out 1/4' is not understood", 5);
  hears(&guide, "CO: ", 5);
  tell(&guide, "left 1/8 turn clockwise\nright in 1/4\n");
  hears(&guide, "turned: left 1/8 turn clockwise, right 1/4 turn clockwise", 5);
  speak(&w, 6, 4.0, 700); /* the same: it was told, so it counts */
  hears(&guide, "\"readings\":2", 10);
  /* seen and undone: nothing was turned, nothing is kept */
  speak(&w, 0.6, 4.0, 900);
  hears(&guide, "turning is seen", 5);
  speak(&w, 6, 4.0, 700);
  hears(&guide, "nothing was turned", 10);
  /* pulled out and in again, silent, and heard again */
  wire_unplug(&w);
  hears(&guide, "unplugged; it is waited for", 10);
  wire_plug(&w);
  nanosleep(&(struct timespec){2, 500000000}, NULL);
  speak(&w, 1, 4.0, 700);
  hears(&guide, "is back", 10);
  hears(&guide, "silent for 1 s; it is waited for", 10);
  speak(&w, 1, 4.0, 700);
  hears(&guide, "is back", 10);
  assert_int_equal(kill(guide.pid, SIGINT), 0);
  hears(&guide, "goes on from 2 readings", 5);
  assert_int_equal(ended(&guide), 1);
  char *text = get_file(job);
  HOLDS(text, "left: 1 7/8 turns");
  HOLDS(text, "right: 1 3/4 turns");
  HOLDS(text, "turned: 1/8 turn clockwise");
  assert_int_equal(count_of(text, "turned, as typed"), 2);
  assert_int_equal(count_of(text, "stage: "), 2);
  close(w.master);
  wire_kit_free(&k);
}

/* Turned while the program was away: it asks. A file that cannot be written: the reading waits. */
static void turned_while_it_was_away(void **state) {
  (void)state;
  static program guide;
  wire_kit k = wire_kit_new();
  const char *bench = put_file(&k, "bench.yaml", quick);
  const char *job = put_job(&k, "readings:\n  - {label: before, at: idle, speed: 700 rpm, gear: "
                                "neutral, settled: yes, CO: 4.0 %, CO2: 12.2 %, HC: 370 ppm, O2: "
                                "0.30 %, screws: {left: 2 turns, right: 2 turns}}\n");
  wire w = wire_new(&k, "port");
  START(&guide, "idle", job, "--listen", bench, "--port", w.path);
  hears(&guide, "next: ", 10);
  speak(&w, 5, 2.5, 700);
  hears(&guide, "Was it turned", 10);
  speak(&w, 2, 2.5, 700);
  char *kept = strdup(get_file(job));
  assert_int_equal(count_of(kept, "CO: "), 1); /* nobody has answered */
  put_file(&k, "job.yaml", "job: [wrong\n");
  tell(&guide, "nothing\n");
  speak(&w, 5, 2.5, 700);
  hears(&guide, "job.yaml:", 10);
  hears(&guide, "in hand and not kept yet", 10);
  put_file(&k, "job.yaml", kept);
  hears(&guide, "reading 2, kept in", 15);
  char *text = get_file(job);
  HOLDS(text, "label: read again");
  assert_int_equal(count_of(text, "turned"), 0);
  assert_int_equal(kill(guide.pid, SIGINT), 0);
  assert_int_equal(ended(&guide), 1);
  free(kept);
  close(w.master);
  wire_kit_free(&k);
}

/* ---- a file that is played ---- */

static void rows(FILE *file, double *time, double seconds, double co, double speed) {
  for (int i = 0; i < (int)(2 * seconds); i++, *time += 0.5)
    fprintf(file, "%.1f,%.2f,%.2f,%.0f,0.30,%.0f,17.8\n", *time, co, 14.6 - 0.6 * co, 190 + 45 * co,
            speed);
}

static const char *put_table(wire_kit *k, int steps) {
  static const double co[] = {4.0, 2.4, 1.25};
  const char *path = wire_path(k, "run.csv");
  double time = 0;
  FILE *file = fopen(path, "w");
  assert_non_null(file);
  fputs("time [s],CO [%],CO2 [%],HC [ppm hexane],O2 [%],speed [rpm],vacuum [inHg]\n", file);
  for (int i = 0; i < steps; i++) {
    rows(file, &time, 90, co[i], 700);
    if (i + 1 < steps) rows(file, &time, 3, co[i], 760);
  }
  fclose(file);
  return path;
}

static void a_table_is_played(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  const char *screws = "readings: []\n";
  const char *job = put_job(&k, screws);
  /* the first two idles of it; then the whole of it, on the job as it stands */
  const char *table = put_table(&k, 2);
  const ran *r = RUN("idle", job, "--listen", table, "--speed", "0", "--json");
  assert_int_equal(r->code, 1);
  assert_int_equal(count_of(r->out, "\n"), 2);
  HOLDS(r->out, "{\"job\":\"CW-9\",\"state\":\"move\",\"words\":\"left screw: ");
  HOLDS(r->out, "\"readings\":2");
  HOLDS(r->err, "ended before the idle was set");
  HOLDS(get_file(job), "played from run.csv, ");
  HOLDS(get_file(job), "screws not counted, taken as the card's preset");
  assert_int_equal(count_of(get_file(job), "not counted"), 1); /* then they are */
  put_table(&k, 3);
  r = RUN("idle", job, "--listen", table, "--speed", "0");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "reading 3, kept in ");
  HOLDS(r->out, "set: 700 rpm, CO 1.25 %");
  char *text = get_file(job);
  assert_int_equal(count_of(text, "CO: "), 3);
  HOLDS(text, "CO: 4.000 %");
  HOLDS(text, "CO: 2.400 %");
  HOLDS(text, "CO: 1.250 %");
  r = RUN("idle", job, "--json");
  assert_int_equal(r->code, 0);
  HOLDS(r->out, "\"state\": \"set\"");
  wire_kit_free(&k);
}

/* A disk that takes no more, played by the longest file a process may write: the reading stays in
   hand, the job as it was, and at the end its figures are said. */
static void a_full_disk_loses_no_reading(void **state) {
  (void)state;
  static program guide;
  wire_kit k = wire_kit_new();
  const char *job = put_job(&k, ""), *table = put_table(&k, 1);
  char *before = strdup(get_file(job));
  longest = strlen(before) + 20;
  START(&guide, "idle", job, "--listen", table, "--speed", "0");
  longest = RLIM_INFINITY;
  tell(&guide, "not counted\n");
  hears(&guide, "left 1 1/2 turns out, right 1 1/2 turns out", 5);
  hears(&guide, "what was there before is unchanged", 10);
  hears(&guide, "in hand and not kept yet", 10);
  assert_int_equal(kill(guide.pid, SIGINT), 0);
  hears(&guide, "could not be kept: CO 4.00 %, speed 700 rpm, ", 10);
  assert_int_equal(ended(&guide), 2);
  assert_string_equal(get_file(job), before);
  free(before);
  wire_kit_free(&k);
}

static void refused(const ran *r, const char *part) {
  assert_int_equal(r->code, 2);
  HOLDS(r->err, part);
  assert_string_equal(r->out, "");
  assert_null(strchr(r->err, '\n')[1] ? "more than one line" : NULL);
}

static void bad_input_is_one_line(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  const char *bench = put_file(&k, "bench.yaml", quick), *job = put_job(&k, "");
  const char *table = put_table(&k, 1);
  char *before = strdup(get_file(job));
  refused(RUN("idle", "nowhere.yaml", "--listen", bench), "nowhere.yaml");
  refused(RUN("idle", "-", "--listen", bench), "standard input cannot take them");
  refused(RUN("idle", job, "--listen", "nowhere.yaml"), "nowhere.yaml");
  refused(RUN("idle", job, "--listen", bench), "/dev/nowhere cannot be opened");
  refused(RUN("idle", job, "--listen", card), "is not a key of an instrument");
  refused(RUN("idle", card, "--listen", bench), "is not a key of a job");
  refused(RUN("idle", job, "--port", "/dev/nowhere"), "'/dev/nowhere' is not an option");
  refused(RUN("idle", job, "--wait"), "go with --listen");
  refused(RUN("idle", job, "--drive", "--listen", bench), "--listen goes with a job");
  refused(RUN("idle", "--listen", bench), "a job or a spec card was expected");
  refused(RUN("idle", job, job, "--listen", bench), "one job was expected");
  refused(RUN("idle", job, "--listen", table, "--listen", bench), "a file is played alone");
  refused(RUN("idle", job, "--listen", bench, "--for", "long"), "--help");
  put_file(&k, "bad.csv", "time [s],CO\n");
  refused(RUN("idle", job, "--listen", wire_path(&k, "bad.csv")), "the unit is missing");
  assert_string_equal(get_file(job), before);
  free(before);
  char two[600];
  snprintf(two, sizeof two, "job: J\ncard: %s/%s\nanalyzers: [{name: a}, {name: b}]\n",
           getenv("SOURCE_ROOT"), card);
  put_file(&k, "two.yaml", two);
  refused(RUN("idle", wire_path(&k, "two.yaml"), "--listen", table),
          "the job has 2 analyzers and none is called 'run.csv'");
  wire_kit_free(&k);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bad_input_is_one_line),
      cmocka_unit_test(a_table_is_played),
      cmocka_unit_test(a_full_disk_loses_no_reading),
      cmocka_unit_test(turned_while_it_was_away),
      cmocka_unit_test(what_was_turned_is_typed),
      cmocka_unit_test(a_rich_car_is_set_and_a_kill_loses_nothing),
  };
  signal(SIGPIPE, SIG_IGN);
  return cmocka_run_group_tests(tests, NULL, NULL);
}
