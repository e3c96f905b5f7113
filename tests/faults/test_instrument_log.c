/* test_instrument_log.c - the log: replayed bit for bit; full disk, power cut, damage; a clock that is
** set, a machine that sleeps. */
#define _XOPEN_SOURCE 700
#include "wire_kit.h"

#include "instrument_internal.h"

#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>

/* What one session gave out. */
typedef struct session {
  wire_kit k;
  wire w, t;
  const char *log;
  gathered *got;
} session;

static const char plain[] =
    "instrument: plain\nprotocol: lines\nsilence: 0.3 s\nframing: {start: '$'}\n"
    "checksum: {kind: xor8, behind: '*'}\nfields:\n"
    "  - {is: CO, place: 1, unit: '%'}\n  - {is: speed, place: 2, unit: rpm}\n";
static const char asked[] = "instrument: asked\nprotocol: lines\nask: 'R<CR>'\nevery: 0.05 s\n"
                            "answer within: 0.05 s\nfields: [{is: dwell, place: 1, unit: deg}]\n";

static void say(const wire *w, double co, double speed) {
  char line[80];
  snprintf(line, sizeof line, "$%.3f,%.1f", co, speed);
  snprintf(line + strlen(line), 8, "*%02X\n",
           (unsigned)lw_checksum_of(LW_CHECKSUM_XOR8, line, strlen(line)));
  wire_say(w, line);
}

static void listen_for(lw_source *s, session *v, double seconds) {
  lw_live live;
  char bytes[64];
  double until = lw_now() + seconds;
  while (lw_now() < until) {
    assert_int_equal(lw_source_next(s, lw_now() + 0.005, &live, NULL), LW_OK);
    if (v->t.master >= 0 && read(v->t.master, bytes, sizeof bytes) > 0) wire_say(&v->t, "46.5\n");
    if (live.kind != LW_LIVE_NOTHING) gather(v->got, &live);
  }
}

/* Everything happens: readings, noise, wrong sums, silence, moves, typed, unplugged, unanswered. */
static void live_session(session *v) {
  lw_source *s = wire_source();
  lw_instrument *a = wire_describe(&v->k, plain), *b = wire_describe(&v->k, asked);
  lw_error error = {0};
  lw_instrument_set_port(a, v->w.path);
  lw_instrument_set_port(b, v->t.path);
  if (lw_source_log(s, v->log, &error) != LW_OK) fail_msg("%s", error.text);
  wire_listen(s, a, 0);
  wire_listen(s, b, 0);
  for (int i = 0; i < 30; i++) {
    say(&v->w, 0.8 + 0.001 * i, 700 + i);
    if (i == 7) wire_bytes(&v->w, "\x00\xFF\\x41 *\r\n$1,2*00\n", 18);
    if (i == 12) assert_int_equal(lw_source_moved(s, "left screw, 1/8 turn", NULL), LW_OK);
    if (i == 15) assert_int_equal(lw_source_type(s, v->k.units, "oil: 180 degF", NULL), LW_OK);
    listen_for(s, v, 0.02);
  }
  listen_for(s, v, 0.5); /* silence */
  say(&v->w, 0.9, 690);
  listen_for(s, v, 0.05);
  wire_unplug(&v->t);
  listen_for(s, v, 0.3);
  wire_plug(&v->t);
  listen_for(s, v, 1);
  lw_source_free(s);
}

static session session_new(void) {
  session v = {.k = wire_kit_new()};
  v.w = wire_new(&v.k, "plain");
  v.t = wire_new(&v.k, "asked");
  v.log = wire_path(&v.k, "run.log");
  v.got = lw_arena_alloc(v.k.arena, sizeof *v.got);
  assert_non_null(v.got);
  return v;
}

static void session_free(session *v) {
  wire_free(&v->w);
  wire_free(&v->t);
  wire_kit_free(&v->k);
}

/* Entries of a log played at once (or so many times as fast). */
static gathered *played(wire_kit *k, const char *path, double speed) {
  static gathered kept[2]; /* the result lasts until the next but one */
  static int turn;
  gathered *g = &kept[turn ^= 1];
  lw_source *s = wire_source();
  lw_error error = {0};
  lw_live live;
  g->count = 0;
  if (lw_source_replay(s, k->units, path, speed, &error) != LW_OK) fail_msg("%s", error.text);
  do {
    if (lw_source_next(s, lw_now() + 10, &live, &error) != LW_OK) fail_msg("%s", error.text);
    assert_int_not_equal(live.kind, LW_LIVE_NOTHING);
    if (live.kind != LW_LIVE_END) gather(g, &live);
  } while (live.kind != LW_LIVE_END);
  lw_source_free(s);
  return g;
}

static bool same_entry(const lw_live *a, const lw_live *b) {
  return a->kind == b->kind && a->number == b->number && a->instrument == b->instrument &&
         same_bits(&a->time, &b->time, 1) && a->wall == b->wall &&
         same_bits(a->x, b->x, LW_LIVE_ITEMS) && a->hc_basis == b->hc_basis &&
         memcmp(a->state, b->state, sizeof a->state) == 0 &&
         same_bits(a->wait, b->wait, LW_LIVE_ITEMS) && same_bits(a->mean, b->mean, LW_LIVE_ITEMS) &&
         same_bits(a->spread, b->spread, LW_LIVE_ITEMS) && a->settled == b->settled &&
         same_bits(&a->longest_wait, &b->longest_wait, 1) && strcmp(a->words, b->words) == 0;
}

static void check_same(const gathered *a, const gathered *b) {
  for (size_t i = 0; i < a->count && i < b->count; i++) {
    if (!same_entry(&a->live[i], &b->live[i]))
      fail_msg("entry %zu: %d at %.6f '%s', again %d at %.6f '%s'", i, (int)a->live[i].kind,
               a->live[i].time, a->live[i].words, (int)b->live[i].kind, b->live[i].time,
               b->live[i].words);
  }
  assert_int_equal(a->count, b->count);
}

static void test_bit_for_bit(void **state) {
  (void)state;
  session v = session_new();
  live_session(&v);
  bool kinds[LW_LIVE_END + 1] = {false};
  for (size_t i = 0; i < v.got->count; i++)
    kinds[v.got->live[i].kind] = true;
  for (int kind = LW_LIVE_READING; kind < LW_LIVE_END; kind++)
    assert_true(kinds[kind]); /* or this test says less than it seems to */
  check_same(v.got, played(&v.k, v.log, 0));
  check_same(v.got, played(&v.k, v.log, 20));
  session_free(&v);
}

static void test_speed(void **state) {
  (void)state;
  session v = session_new();
  live_session(&v);
  double length = v.got->live[v.got->count - 1].time - v.got->live[0].time, before = lw_now();
  (void)played(&v.k, v.log, 4);
  double took = lw_now() - before;
  assert_true(took > length / 4 * 0.8 && took < length / 4 * 1.3 + 0.2);
  session_free(&v);
}

/* ---- clocks ---- */

typedef struct shifted {
  double now;   /* s the machine has slept */
  int64_t wall; /* ms the clock on the wall is off */
} shifted;

static double shifted_now(void *to) {
  return lw_now() + ((const shifted *)to)->now;
}

static double shifted_slept(void *to) {
  return ((const shifted *)to)->now;
}

static int64_t shifted_wall(void *to) {
  struct timespec t;
  clock_gettime(CLOCK_REALTIME, &t);
  return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000 + ((const shifted *)to)->wall;
}

static lw_source *shifted_source(session *v, shifted *by, const char *log) {
  lw_source *s = wire_source();
  lw_error error = {0};
  lw_instrument *a = wire_describe(&v->k, plain);
  lw_instrument_set_port(a, v->w.path);
  lw_source_clocks(s, &(source_clocks){shifted_now, shifted_slept, shifted_wall, by});
  if (lw_source_log(s, log, &error) != LW_OK) fail_msg("%s", error.text);
  wire_listen(s, a, 0);
  return s;
}

/* Twenty readings a second for so long, all the same. */
static void steady(lw_source *s, session *v, const shifted *by, double seconds) {
  lw_live live;
  for (int i = 0; i < (int)(20 * seconds); i++) {
    say(&v->w, 1.2, 700);
    double until = lw_now() + 0.05;
    while (lw_now() < until) {
      assert_int_equal(lw_source_next(s, until + by->now, &live, NULL), LW_OK);
      if (live.kind != LW_LIVE_NOTHING) gather(v->got, &live);
    }
  }
}

static const lw_live *last_reading(const gathered *g) {
  size_t i = g->count;
  while (i > 0 && g->live[i - 1].kind != LW_LIVE_READING)
    i--;
  assert_true(i > 0);
  return &g->live[i - 1];
}

static int64_t off_by(const lw_live *live) { /* ms: its time of day less the true one */
  shifted none = {0, 0};
  return live->wall - shifted_wall(&none);
}

/* Forward an hour, back two, while it settles: the readings settle as if nothing had been, in the
   same time; only the time of day goes with it. */
static void test_a_clock_that_is_set(void **state) {
  (void)state;
  session v = session_new();
  shifted by = {0, 0};
  const char *log = wire_path(&v.k, "set.log");
  lw_source *s = shifted_source(&v, &by, log);
  steady(s, &v, &by, 1.5);
  assert_true(llabs(off_by(last_reading(v.got))) < 500);
  by.wall = 3600 * 1000;
  steady(s, &v, &by, 1);
  assert_true(llabs(off_by(last_reading(v.got)) - by.wall) < 500);
  by.wall = -3600 * 1000;
  steady(s, &v, &by, 2);
  const lw_live *last = last_reading(v.got);
  assert_true(llabs(off_by(last) - by.wall) < 500);
  assert_int_equal(last->state[LW_LIVE_SPEED], LW_SETTLE_SETTLED);
  double before = -1;
  size_t remarks = 0;
  for (size_t i = 0; i < v.got->count; i++) {
    const lw_live *live = &v.got->live[i];
    assert_true(live->time >= before);
    assert_true(live->time < 10);
    before = live->time;
    assert_true(live->kind == LW_LIVE_READING || live->kind == LW_LIVE_REMARK);
    if (live->kind != LW_LIVE_REMARK) continue;
    HOLDS(live->words, remarks ? "was set back by 2.0 h" : "was set forward by 60 min");
    remarks++;
  }
  assert_int_equal(remarks, 2);
  lw_source_free(s);
  check_same(v.got, played(&v.k, log, 0));
  /* gone on with by the clock as it stands now */
  s = shifted_source(&v, &by, log);
  steady(s, &v, &by, 0.5);
  double later = last_reading(v.got)->time - before;
  assert_true(later > 0.3 && later < 5);
  lw_source_free(s);
  session_free(&v);
}

/* Two hours asleep: both clocks have gone on, so none was set; but nothing settled is left. */
static void test_a_machine_that_sleeps(void **state) {
  (void)state;
  session v = session_new();
  shifted by = {0, 0};
  lw_source *s = shifted_source(&v, &by, wire_path(&v.k, "sleep.log"));
  steady(s, &v, &by, 4);
  assert_int_equal(last_reading(v.got)->state[LW_LIVE_SPEED], LW_SETTLE_SETTLED);
  size_t awake = v.got->count;
  by.now = 7200;
  by.wall = 7200 * 1000;
  steady(s, &v, &by, 1);
  assert_true(last_reading(v.got)->time > 7200);
  assert_true(llabs(off_by(last_reading(v.got)) - by.wall) < 500);
  assert_int_equal(v.got->live[awake].kind, LW_LIVE_LOST);
  HOLDS(v.got->live[awake].words, "this machine slept for 2.0 h");
  assert_int_equal(v.got->live[awake + 1].kind, LW_LIVE_BACK);
  for (size_t i = awake; i < v.got->count; i++) {
    const lw_live *live = &v.got->live[i];
    assert_true(live->kind != LW_LIVE_REMARK);
    if (live->kind == LW_LIVE_READING)
      assert_int_not_equal(live->state[LW_LIVE_SPEED], LW_SETTLE_SETTLED);
  }
  steady(s, &v, &by, 3);
  assert_int_equal(last_reading(v.got)->state[LW_LIVE_SPEED], LW_SETTLE_SETTLED);
  lw_source_free(s);
  session_free(&v);
}

static long size_of(const char *path) {
  struct stat st;
  assert_int_equal(stat(path, &st), 0);
  return (long)st.st_size;
}

static size_t count_kind(const gathered *g, lw_live_kind kind) {
  size_t n = 0;
  for (size_t i = 0; i < g->count; i++)
    n += g->live[i].kind == kind;
  return n;
}

/* Cut off after any byte: what stood in whole lines before is there, the rest is told. */
static void test_power_cut(void **state) {
  (void)state;
  session v = session_new();
  live_session(&v);
  const gathered *all = v.got;
  const char *cut = wire_path(&v.k, "cut.log");
  char command[300];
  long size = size_of(v.log);
  for (long at = size - 1; at > size - 400 && at > 16; at -= 7) {
    snprintf(command, sizeof command, "head -c %ld '%s' > '%s'", at, v.log, cut);
    assert_int_equal(system(command), 0);
    gathered *g = played(&v.k, cut, 0);
    size_t remarks = count_kind(g, LW_LIVE_REMARK), same = 0;
    while (same < g->count && same < all->count && same_entry(&g->live[same], &all->live[same]))
      same++;
    assert_true(g->count - same <= 1); /* the word about the torn line */
    if (g->count > same) HOLDS(g->live[same].words, "ends inside of a line");
    assert_true(remarks <= count_kind(all, LW_LIVE_REMARK) + 1);
  }
  /* going on behind a torn line */
  snprintf(command, sizeof command, "head -c %ld '%s' > '%s'", size - 30, v.log, cut);
  assert_int_equal(system(command), 0);
  lw_source *s = wire_source();
  lw_instrument *a = wire_describe(&v.k, plain);
  lw_live live;
  lw_instrument_set_port(a, v.w.path);
  assert_int_equal(lw_source_log(s, cut, NULL), LW_OK);
  wire_listen(s, a, 0);
  say(&v.w, 1.5, 800);
  live = wire_reading(s);
  assert_true(live.time > all->live[all->count - 1].time - 0.1);
  lw_source_free(s);
  gathered *g = played(&v.k, cut, 0);
  const lw_live *last = &g->live[g->count - 1];
  assert_int_equal(last->kind, LW_LIVE_READING);
  assert_true(same_bits(last->x, live.x, LW_LIVE_ITEMS) && same_bits(&last->time, &live.time, 1));
  HOLDS(g->live[g->count - 2].words, "is damaged and left out");
  session_free(&v);
}

/* Killed without a word: every reading that was handed out is in the log. */
static void test_killed(void **state) {
  (void)state;
  session v = session_new();
  int tell[2];
  assert_int_equal(pipe(tell), 0);
  fflush(NULL);
  pid_t child = fork();
  assert_true(child >= 0);
  if (child == 0) {
    lw_source *s = NULL;
    lw_live live;
    lw_instrument *a = wire_describe(&v.k, plain);
    lw_instrument_set_port(a, v.w.path);
    if (lw_source_new(&s, NULL) != LW_OK || lw_source_log(s, v.log, NULL) != LW_OK ||
        lw_source_listen(s, a, 0, NULL) != LW_OK)
      _exit(1);
    for (;;) {
      if (lw_source_next(s, lw_now() + 1, &live, NULL) != LW_OK) _exit(1);
      if (live.kind == LW_LIVE_READING && write(tell[1], &live.x[LW_LIVE_CO], sizeof(double)) < 0)
        _exit(1);
    }
  }
  double co = 0;
  nanosleep(&(struct timespec){0, 300000000}, NULL);
  for (int i = 0; i < 50; i++) {
    say(&v.w, 0.5 + 0.01 * i, 700);
    assert_int_equal(read(tell[0], &co, sizeof co), sizeof co);
  }
  kill(child, SIGKILL);
  assert_int_equal(waitpid(child, NULL, 0), child);
  gathered *g = played(&v.k, v.log, 0);
  assert_int_equal(count_kind(g, LW_LIVE_READING), 50);
  NEAR(g->live[g->count - 1].x[LW_LIVE_CO], co, 0);
  close(tell[0]);
  close(tell[1]);
  session_free(&v);
}

/* A file that may grow no more stands for a disk that is full. */
static void test_full_disk(void **state) {
  (void)state;
  session v = session_new();
  struct rlimit before, now;
  signal(SIGXFSZ, SIG_IGN);
  assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
  lw_source *s = wire_source();
  lw_instrument *a = wire_describe(&v.k, plain);
  lw_live live;
  lw_instrument_set_port(a, v.w.path);
  assert_int_equal(lw_source_log(s, v.log, NULL), LW_OK);
  wire_listen(s, a, 0);
  say(&v.w, 0.5, 700);
  (void)wire_reading(s);
  now = before;
  now.rlim_cur = (rlim_t)size_of(v.log) + 10; /* in the middle of the next line */
  assert_int_equal(setrlimit(RLIMIT_FSIZE, &now), 0);
  say(&v.w, 0.6, 700);
  assert_true(wire_until(s, LW_LIVE_REMARK, 1, &live));
  HOLDS(live.words, "the log cannot be written");
  NEAR(wire_reading(s).x[LW_LIVE_CO], 0.006, 1e-12); /* listening goes on */
  say(&v.w, 0.7, 700);
  (void)wire_reading(s);
  assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
  say(&v.w, 0.8, 700);
  assert_true(wire_until(s, LW_LIVE_REMARK, 1, &live));
  HOLDS(live.words, "can be written again");
  (void)wire_reading(s);
  lw_source_free(s);
  gathered *g = played(&v.k, v.log, 0);
  double co[8];
  size_t n = 0;
  bool told = false;
  for (size_t i = 0; i < g->count; i++) {
    if (g->live[i].kind == LW_LIVE_READING && n < 8) co[n++] = 100 * g->live[i].x[LW_LIVE_CO];
    told |=
        strstr(g->live[i].words, "the disk was full; entries missing from the log here: 2") != NULL;
  }
  if (!told) fail_msg("not told; %zu readings", n);
  assert_int_equal(n, 2);
  NEAR(co[0], 0.5, 1e-9);
  NEAR(co[1], 0.8, 1e-9);
  session_free(&v);
}

/* Any byte of a log changed: no crash, and no reading that was not there. */
static void test_damage(void **state) {
  (void)state;
  session v = session_new();
  live_session(&v);
  const gathered *all = v.got;
  long size = size_of(v.log);
  char *bytes = malloc((size_t)size);
  const char *path = wire_path(&v.k, "bad.log");
  FILE *file = fopen(v.log, "rb");
  assert_int_equal(fread(bytes, 1, (size_t)size, file), size);
  fclose(file);
  for (long at = 16; at < size; at += 97) {
    bytes[at] = (char)(bytes[at] ^ 0x04);
    file = fopen(path, "wb");
    assert_int_equal(fwrite(bytes, 1, (size_t)size, file), size);
    fclose(file);
    bytes[at] = (char)(bytes[at] ^ 0x04);
    lw_source *s = wire_source();
    lw_error error = {0};
    lw_live live = {.kind = LW_LIVE_NOTHING};
    size_t readings = 0;
    assert_int_equal(lw_source_replay(s, v.k.units, path, 0, &error), LW_OK);
    bool told = false;
    while (live.kind != LW_LIVE_END && lw_source_next(s, lw_now() + 1, &live, &error) == LW_OK) {
      readings += live.kind == LW_LIVE_READING;
      told |= strstr(live.words, "damaged") || strstr(live.words, "ends inside");
    }
    assert_true(told || error.status != LW_OK);
    assert_true(readings <= count_kind(all, LW_LIVE_READING));
    lw_source_free(s);
  }
  free(bytes);
  session_free(&v);
}

static void test_refusals(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  lw_source *s = wire_source();
  lw_error error = {0};
  const char *path = wire_path(&k, "job.yaml");
  FILE *file = fopen(path, "wb");
  fputs("job: dear to somebody\n", file);
  fclose(file);
  assert_int_equal(lw_source_log(s, path, &error), LW_BAD_INPUT);
  HOLDS(error.text, "this is no log of leanward");
  assert_int_equal(size_of(path), 22); /* and not one byte was added to it */
  error = (lw_error){0};
  assert_int_equal(lw_source_log(s, "/nowhere/run.log", &error), LW_IO);
  HOLDS(error.text, "No such file");
  error = (lw_error){0};
  assert_int_equal(lw_source_log(s, "/dev/full", &error), LW_IO);
  HOLDS(error.text, "No space left");
  error = (lw_error){0};
  assert_int_equal(lw_source_replay(s, k.units, "/nowhere/run.log", 1, &error), LW_NOT_FOUND);
  lw_source_free(s);
  wire_kit_free(&k);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_a_clock_that_is_set),
      cmocka_unit_test(test_a_machine_that_sleeps),
      cmocka_unit_test(test_bit_for_bit),
      cmocka_unit_test(test_speed),
      cmocka_unit_test(test_power_cut),
      cmocka_unit_test(test_killed),
      cmocka_unit_test(test_full_disk),
      cmocka_unit_test(test_damage),
      cmocka_unit_test(test_refusals),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
