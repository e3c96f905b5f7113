/* test_wires.c - instruments on real pseudo-terminals, and everything that goes wrong with them. */
#define _XOPEN_SOURCE 700
#include "wire_kit.h"

#include <pthread.h>

/* The Corran bench's line with its checksum: from the first byte behind the $ up to the star. */
static const char *gas_line(double co, double speed) {
  static char line[120];
  snprintf(line, sizeof line, "$GAS,1.0,%.2f,13.90,210,0.60,95,%.0f,17.8", co, speed);
  uint32_t x = lw_checksum_of(LW_CHECKSUM_XOR8, line + 1, strlen(line) - 1);
  snprintf(line + strlen(line), sizeof line - strlen(line), "*%02X\r\n", x);
  return line;
}

typedef struct bench {
  wire_kit k;
  wire w;
  lw_source *s;
} bench;

static bench bench_new(void) {
  bench b = {.k = wire_kit_new()};
  b.w = wire_new(&b.k, "port");
  b.s = wire_source();
  wire_listen(b.s, wire_demo(&b.k, "corran-bench-5.yaml", b.w.path), 0);
  return b;
}

static void bench_free(bench *b) {
  lw_source_free(b->s);
  wire_free(&b->w);
  wire_kit_free(&b->k);
}

static int by_size(const void *a, const void *b) {
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

/* A busy machine holds up some, so that one alone says little of the program. */
static double median(double *x, size_t count) {
  qsort(x, count, sizeof *x, by_size);
  return x[count / 2];
}

static void test_reads(void **state) {
  (void)state;
  bench b = bench_new();
  lw_live live;
  double took[9];
  for (int i = 0; i < 9; i++) {
    double before = lw_now();
    wire_say(&b.w, gas_line(0.85, 702));
    live = wire_reading(b.s);
    took[i] = lw_now() - before;
  }
  assert_true(median(took, 9) < 0.1);
  NEAR(live.x[LW_LIVE_CO], 0.0085, 1e-12);
  NEAR(live.x[LW_LIVE_SPEED], 702 * WIRE_RPM, 1e-9);
  NEAR(live.x[LW_LIVE_VACUUM], 17.8 * 3386.38864, 0.1);
  assert_int_equal(live.hc_basis, LW_HC_HEXANE);
  assert_int_equal(live.state[LW_LIVE_CO], LW_SETTLE_WAIT);
  assert_false(live.settled);
  assert_true(live.longest_wait > 10);
  assert_true(llabs(live.wall - (int64_t)time(NULL) * 1000) < 2000);
  bench_free(&b);
}

static void test_noise_and_halves(void **state) {
  (void)state;
  bench b = bench_new();
  static const char noise[] = "\x00\xFF$G\x80$GAS,\r\n\xAA*00\n$$$GAS,1,2*\n";
  for (int i = 0; i < 20; i++) {
    char line[120], first[60];
    snprintf(line, sizeof line, "%s", gas_line(0.5 + 0.01 * i, 700));
    wire_bytes(&b.w, noise, sizeof noise - 1);
    snprintf(first, sizeof first, "%.20s", line); /* in two halves */
    wire_say(&b.w, first);
    nanosleep(&(struct timespec){0, 20000000}, NULL);
    wire_say(&b.w, line + 20);
    lw_live live = wire_reading(b.s);
    NEAR(live.x[LW_LIVE_CO], 0.005 + 0.0001 * i, 1e-12);
  }
  lw_health h = lw_source_health(b.s, 0);
  assert_int_equal(h.readings, 20);
  assert_true(h.stray > 0 && h.bad_checksum + h.bad_form > 0);
  bench_free(&b);
}

/* One bit falls over in each place of a line: no reading comes of it. */
static void test_every_bit(void **state) {
  (void)state;
  bench b = bench_new();
  char good[120];
  snprintf(good, sizeof good, "%s", gas_line(0.85, 702));
  size_t length = strlen(good) - 2;
  for (size_t i = 0; i < length; i++) {
    for (int bit = 0; bit < 8; bit++) {
      char bad[120];
      lw_live live;
      lw_error error = {0};
      memcpy(bad, good, sizeof bad);
      bad[i] = (char)(bad[i] ^ (1 << bit));
      wire_say(&b.w, bad);
      wire_say(&b.w, "\r\n");
      for (int n = 0; n < 2; n++) {
        assert_int_equal(lw_source_next(b.s, lw_now(), &live, &error), LW_OK);
        /* letters of the hexadecimal sum may be small or capital: no harm */
        bool harmless = i >= length - 2 && bit == 5;
        if (live.kind == LW_LIVE_READING && !harmless) fail_msg("byte %zu bit %d: %s", i, bit, bad);
      }
    }
  }
  wire_say(&b.w, gas_line(0.85, 702));
  NEAR(wire_reading(b.s).x[LW_LIVE_CO], 0.0085, 1e-12);
  bench_free(&b);
}

/* 3 s without a word: told; back with the next line. Nothing is settled across the gap. */
static void test_silence(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  wire w = wire_new(&k, "port");
  lw_source *s = wire_source();
  lw_instrument *i =
      wire_describe(&k, "instrument: a\nprotocol: lines\nsilence: 0.4 s\nframing: {start: '$'}\n"
                        "fields: [{is: vacuum, place: 1, unit: inHg, lag: 0 s}]\n");
  lw_instrument_set_port(i, w.path);
  wire_listen(s, i, 0);
  lw_live live;
  wire_say(&w, "$17.5\n");
  (void)wire_reading(s);
  wire_say(&w, "$17"); /* and the rest of it 2 s later */
  double before = lw_now();
  assert_true(wire_until(s, LW_LIVE_LOST, 2, &live));
  assert_true(lw_now() - before > 0.3 && lw_now() - before < 0.8);
  HOLDS(live.words, "a: silent for 0.4 s");
  assert_false(lw_source_health(s, 0).there);
  lw_source_now(s, 60, &live);
  assert_int_equal(live.kind, LW_LIVE_NOTHING);
  nanosleep(&(struct timespec){2, 0}, NULL);
  wire_say(&w, ".9\n$16.5\n");
  assert_true(wire_until(s, LW_LIVE_BACK, 1, &live));
  HOLDS(live.words, "a is back");
  NEAR(wire_reading(s).x[LW_LIVE_VACUUM], 16.5 * 3386.38864, 0.1); /* not 17, nor 0.9 */
  assert_true(lw_source_health(s, 0).there);
  assert_int_equal(lw_source_health(s, 0).losses, 1);
  lw_source_free(s);
  wire_free(&w);
  wire_kit_free(&k);
}

/* A pseudo-terminal that another program makes meanwhile is not taken for the one that is gone: not
   by the source, and not because of how this test unplugs. */
static void stranger(bench *b) {
  lw_live live;
  wire other = wire_new(&b->k, "stranger");
  for (int i = 0; i < 5; i++) {
    wire_say(&other, gas_line(0.85, 702));
    assert_false(wire_until(b->s, LW_LIVE_READING, 0.1, &live)); /* waits, and does not spin */
  }
  wire_free(&other);
}

static void test_unplug_and_replug(void **state) {
  (void)state;
  bench b = bench_new();
  lw_live live;
  for (int round = 0; round < 3; round++) {
    wire_say(&b.w, gas_line(0.85, 702));
    if (round) assert_true(wire_until(b.s, LW_LIVE_BACK, 5, &live));
    (void)wire_reading(b.s);
    wire_say(&b.w, "$GAS,1.0,9");
    wire_unplug(&b.w);
    assert_true(wire_until(b.s, LW_LIVE_LOST, 5, &live));
    HOLDS(live.words, "unplugged");
    stranger(&b);
    unlink(b.w.path);
    assert_false(wire_until(b.s, LW_LIVE_READING, 0.3, &live));
    wire_plug(&b.w);
    lw_source_next(b.s, lw_now() + 2.5, &live, NULL) == LW_OK ? (void)0 : fail();
  }
  assert_int_equal(lw_source_health(b.s, 0).losses, 3);
  bench_free(&b);
}

static void test_not_there(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  lw_error error = {0};
  lw_live live;
  wire w = {-1, -1, wire_path(&k, "port")};
  lw_source *s = wire_source();
  lw_instrument *i = wire_demo(&k, "corran-bench-5.yaml", w.path);
  assert_int_equal(lw_source_listen(s, i, 0, &error), LW_IO);
  HOLDS(error.text, "cannot be opened: No such file");
  wire_listen(s, i, LW_LISTEN_PATIENT);
  assert_true(wire_until(s, LW_LIVE_LOST, 1, &live));
  wire_plug(&w);
  double until = lw_now() + 4;
  while (lw_now() < until && !lw_source_health(s, 0).there) {
    if (write(w.master, gas_line(1, 700), strlen(gas_line(1, 700))) < 0) fail();
    assert_int_equal(lw_source_next(s, lw_now() + 0.1, &live, &error), LW_OK);
  }
  assert_true(lw_source_health(s, 0).there);
  lw_instrument_set_port(i, "/dev/null");
  assert_int_equal(lw_source_listen(s, i, 0, &error), LW_IO);
  HOLDS(error.text, "no serial line");
  lw_instrument_set_port(i, "somewhere.example:7000");
  assert_int_equal(lw_source_listen(s, i, 0, &error), LW_BAD_INPUT);
  HOLDS(error.text, "no address");
  lw_instrument_set_port(i, NULL);
  assert_int_equal(lw_source_listen(s, i, 0, &error), LW_BAD_INPUT);
  HOLDS(error.text, "no port is named");
  assert_int_equal(lw_source_instruments(s), 1);
  lw_source_free(s);
  wire_free(&w);
  wire_kit_free(&k);
}

/* Gases from one, ten times a second, until the other was asked nine times. */
static void both_speak(bench *b, wire *t, double between[8]) {
  lw_live live;
  char asked[64];
  int said = 0, gas = 0, answered = 0, speed = 0;
  double until = lw_now() + 30, next = 0, last = 0;
  while ((speed < 9 || gas < said) && lw_now() < until) {
    if (speed < 9 && lw_now() > next) {
      wire_say(&b->w, gas_line(0.85, 702));
      said++;
      next = lw_now() + 0.1;
    }
    if (answered < 9 && read(t->master, asked, sizeof asked) > 0) {
      if (answered > 0) between[answered - 1] = lw_now() - last;
      last = lw_now();
      answered++;
      wire_say(t, "N 695 D 46.5\r");
    }
    assert_int_equal(lw_source_next(b->s, lw_now() + 0.01, &live, NULL), LW_OK);
    gas += live.kind == LW_LIVE_READING && live.instrument == 0;
    speed += live.kind == LW_LIVE_READING && live.instrument == 1;
    if (live.kind == LW_LIVE_READING && live.instrument == 1) {
      NEAR(live.x[LW_LIVE_SPEED], 695 * WIRE_RPM, 1e-9);
      assert_false(lw_known(live.x[LW_LIVE_CO]));
    }
  }
  assert_int_equal(gas, said); /* each once */
  assert_int_equal(speed, 9);
}

/* Gases from one, speed from another, at their own pace; one is unplugged, the other goes on. */
static void test_two_at_once(void **state) {
  (void)state;
  bench b = bench_new();
  wire t = wire_new(&b.k, "tach");
  lw_live live;
  double between[8];
  wire_listen(b.s,
              wire_demo_but(&b.k, "corran-tachometer.yaml", t.path, "every: 0.25 s",
                            "every: 0.25 s\nanswer within: 5 s\nsilence: 20 s"),
              0);
  both_speak(&b, &t, between);
  double pace = median(between, 8); /* asked four times a second */
  if (!(pace > 0.22 && pace < 0.29)) fail_msg("asked every %.3f s", pace);
  lw_source_now(b.s, 30, &live);
  NEAR(live.x[LW_LIVE_SPEED], 702 * WIRE_RPM, 1e-9); /* the first listed wins */
  assert_true(lw_known(live.x[LW_LIVE_DWELL]));
  wire_unplug(&t);
  assert_true(wire_until(b.s, LW_LIVE_LOST, 5, &live));
  assert_int_equal(live.instrument, 1);
  wire_say(&b.w, gas_line(0.85, 702));
  assert_int_equal(wire_reading(b.s).instrument, 0);
  wire_free(&t);
  bench_free(&b);
}

/* Asked and silent: counted, told, and asked again; a late answer is not taken for the next one. */
static void test_unanswered(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  wire w = wire_new(&k, "port");
  lw_source *s = wire_source();
  lw_instrument *i = wire_describe(
      &k, "instrument: a\nprotocol: lines\nask: 'R<CR>'\nevery: 0.1 s\nsilence: 20 s\n"
          "answer within: 0.8 s\nfields: [{is: CO, place: 1, unit: '%'}]\n");
  lw_instrument_set_port(i, w.path);
  wire_listen(s, i, 0);
  lw_live live;
  char asked[64];
  assert_true(wire_until(s, LW_LIVE_REMARK, 5, &live));
  HOLDS(live.words, "no answer in time");
  assert_int_equal(wire_hear(&w, asked, sizeof asked, 2), 2);
  assert_memory_equal(asked, "R\r", 2);
  wire_say(&w, "9.99\n"); /* late */
  assert_false(wire_until(s, LW_LIVE_READING, 0.6, &live));
  (void)wire_until(s, LW_LIVE_READING, 0.6, &live);
  assert_int_equal(wire_hear(&w, asked, sizeof asked, 2), 2);
  wire_say(&w, "1.25\n");
  NEAR(wire_reading(s).x[LW_LIVE_CO], 0.0125, 1e-12);
  assert_true(lw_source_health(s, 0).unanswered >= 1);
  lw_source_free(s);
  wire_free(&w);
  wire_kit_free(&k);
}

/* Sent once when the port opens, and again after it came back. */
static void test_hello(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  wire w = wire_new(&k, "port");
  lw_source *s = wire_source();
  lw_instrument *i = wire_describe(&k, "instrument: a\nprotocol: lines\nhello: '<ESC>G<0x01>'\n"
                                       "fields: [{is: CO, place: 1, unit: '%'}]\n");
  lw_live live;
  char heard[16];
  lw_instrument_set_port(i, w.path);
  wire_listen(s, i, 0);
  assert_int_equal(wire_hear(&w, heard, sizeof heard, 3), 3);
  assert_memory_equal(heard, "\x1BG\x01", 3);
  wire_unplug(&w);
  assert_true(wire_until(s, LW_LIVE_LOST, 1, &live));
  wire_plug(&w);
  (void)wire_until(s, LW_LIVE_READING, 0.5, &live);
  assert_int_equal(wire_hear(&w, heard, sizeof heard, 3), 3);
  lw_source_free(s);
  wire_free(&w);
  wire_kit_free(&k);
}

static void pause_ms(long ms) {
  nanosleep(&(struct timespec){ms / 1000, ms % 1000 * 1000000}, NULL);
}

/* Half a line was read, then nobody looked for longer than a pause may be; the other half waits. A
   program that works out an advice meanwhile loses no reading by it, and the log says the same. */
static void test_away(void **state) {
  (void)state;
  bench b = {.k = wire_kit_new()};
  const char *log = wire_path(&b.k, "run.log");
  lw_live live;
  b.w = wire_new(&b.k, "port");
  b.s = wire_source();
  assert_int_equal(lw_source_log(b.s, log, NULL), LW_OK);
  wire_listen(b.s, wire_demo(&b.k, "corran-bench-5.yaml", b.w.path), 0);
  for (int i = 0; i < 3; i++) {
    char line[120];
    snprintf(line, sizeof line, "%s", gas_line(0.85 + 0.01 * i, 702));
    wire_bytes(&b.w, line, 20);
    while (lw_source_health(b.s, 0).bytes % strlen(line) != 20)
      (void)wire_until(b.s, LW_LIVE_READING, 0.01, &live);
    wire_say(&b.w, line + 20);
    pause_ms(800);
    live = wire_reading(b.s);
    NEAR(live.x[LW_LIVE_CO], 0.0085 + 0.0001 * i, 1e-12);
  }
  assert_int_equal(lw_source_health(b.s, 0).bad_form + lw_source_health(b.s, 0).stray, 0);
  lw_source_free(b.s);
  b.s = wire_source();
  assert_int_equal(lw_source_replay(b.s, b.k.units, log, 0, NULL), LW_OK);
  for (int i = 0; i < 3; i++)
    live = wire_reading(b.s);
  NEAR(live.x[LW_LIVE_CO], 0.0087, 1e-12);
  bench_free(&b);
}

/* The same while somebody looks, the line being quiet: the second half is of another line. */
static void test_pause(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  wire w = wire_new(&k, "port");
  lw_source *s = wire_source();
  lw_live live;
  lw_instrument *i = wire_describe(&k, "instrument: a\nprotocol: lines\nsilence: 20 s\n"
                                       "framing: {start: '$'}\n"
                                       "fields: [{is: vacuum, place: 1, unit: inHg, lag: 0 s}]\n");
  lw_instrument_set_port(i, w.path);
  wire_listen(s, i, 0);
  wire_say(&w, "$1");
  assert_false(wire_until(s, LW_LIVE_READING, 0.8, &live));
  wire_say(&w, "7.5\n");
  assert_false(wire_until(s, LW_LIVE_READING, 0.2, &live));
  wire_say(&w, "$16.5\n");
  NEAR(wire_reading(s).x[LW_LIVE_VACUUM], 16.5 * 3386.38864, 0.1);
  lw_source_free(s);
  wire_free(&w);
  wire_kit_free(&k);
}

/* More came while nobody looked than one look takes, and for longer than silence is borne. */
static void test_away_long(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  wire w = wire_new(&k, "port");
  lw_source *s = wire_source();
  lw_live live;
  char line[400];
  lw_instrument *i =
      wire_describe(&k, "instrument: a\nprotocol: lines\nsilence: 0.5 s\nframing: {start: '$'}\n"
                        "fields: [{is: vacuum, place: 1, unit: inHg, lag: 0 s}]\n");
  lw_instrument_set_port(i, w.path);
  wire_listen(s, i, 0);
  snprintf(line, sizeof line, "$17.5,%0300d\n", 0);
  wire_say(&w, line);
  pause_ms(1000);
  assert_int_equal(lw_source_next(s, lw_now() + 5, &live, NULL), LW_OK);
  assert_int_equal(live.kind, LW_LIVE_READING); /* and is not said to be lost before */
  lw_source_free(s);
  wire_free(&w);
  wire_kit_free(&k);
}

static void *wake_later(void *source) {
  nanosleep(&(struct timespec){0, 200000000}, NULL);
  lw_source_wake(source);
  return NULL;
}

static void test_wake_and_deadline(void **state) {
  (void)state;
  bench b = bench_new();
  lw_live live;
  double before = lw_now();
  assert_int_equal(lw_source_next(b.s, before + 0.15, &live, NULL), LW_OK);
  assert_int_equal(live.kind, LW_LIVE_NOTHING);
  assert_true(lw_now() - before >= 0.149 && lw_now() - before < 0.3);
  pthread_t thread;
  assert_int_equal(pthread_create(&thread, NULL, wake_later, b.s), 0);
  before = lw_now();
  assert_int_equal(lw_source_next(b.s, before + 2, &live, NULL), LW_OK);
  assert_int_equal(live.kind, LW_LIVE_NOTHING);
  assert_true(lw_now() - before < 1);
  pthread_join(thread, NULL);
  assert_int_equal(lw_source_moved(b.s, "idle screw", NULL), LW_OK);
  assert_int_equal(lw_source_next(b.s, lw_now(), &live, NULL), LW_OK);
  assert_int_equal(live.kind, LW_LIVE_MOVED);
  HOLDS(live.words, "idle screw");
  bench_free(&b);
}

/* Ten thousand lines as fast as a pseudo-terminal takes them: none lost, none twice, in order. */
static void *pour(void *to) {
  const wire *w = to;
  for (int i = 0; i < 10000; i++) {
    const char *line = gas_line(0.001 * (i % 5000), 700);
    for (size_t at = 0; line[at];) {
      ssize_t n = write(w->master, line + at, strlen(line + at));
      if (n > 0) at += (size_t)n;
      if (n < 0) nanosleep(&(struct timespec){0, 100000}, NULL);
    }
  }
  return NULL;
}

static void test_flood(void **state) {
  (void)state;
  bench b = bench_new();
  pthread_t thread;
  assert_int_equal(pthread_create(&thread, NULL, pour, &b.w), 0);
  double before = lw_now();
  for (int i = 0; i < 10000; i++) {
    lw_live live = wire_reading(b.s);
    char want[16];
    snprintf(want, sizeof want, "%.2f", 0.001 * (i % 5000));
    NEAR(live.x[LW_LIVE_CO], atof(want) / 100, 1e-12);
  }
  printf("10,000 lines in %.2f s\n", lw_now() - before);
  pthread_join(thread, NULL);
  bench_free(&b);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_reads),
      cmocka_unit_test(test_noise_and_halves),
      cmocka_unit_test(test_every_bit),
      cmocka_unit_test(test_silence),
      cmocka_unit_test(test_unplug_and_replug),
      cmocka_unit_test(test_not_there),
      cmocka_unit_test(test_two_at_once),
      cmocka_unit_test(test_unanswered),
      cmocka_unit_test(test_hello),
      cmocka_unit_test(test_away),
      cmocka_unit_test(test_pause),
      cmocka_unit_test(test_away_long),
      cmocka_unit_test(test_wake_and_deadline),
      cmocka_unit_test(test_flood),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
