/* test_modbus.c - our Modbus against libmodbus's server: over pseudo-terminals through a relay that
** spoils what it carries, and over TCP.
**
** libmodbus makes the answers and their checksums here; nothing of ours does.
*/
#define _XOPEN_SOURCE 700
#include "wire_kit.h"

#include <arpa/inet.h>
#include <errno.h>
#include <modbus/modbus.h>
#include <pthread.h>
#include <stdatomic.h>
#include <sys/socket.h>

typedef struct server {
  modbus_t *bus;
  modbus_mapping_t *map;
  pthread_t thread;
  int listening; /* TCP, else -1 */
  atomic_bool stop, mute;
} server;

/* Registers of instruments/corran-modbus-*.yaml. */
static void fill(server *s) {
  s->map = modbus_mapping_new(0, 0, 32, 8);
  assert_non_null(s->map);
  const uint16_t x[] = {85, 1392, 212, 61, (uint16_t)-55};
  memcpy(s->map->tab_registers, x, sizeof x);
  modbus_set_float(702.25F, s->map->tab_registers + 16); /* low word first */
  s->map->tab_input_registers[0] =
      0x4270; /* 60.125 = 1.87890625 x 2^5, high word first; the named */
  s->map->tab_input_registers[1] = 0x8000; /* orders of libmodbus 3.1.6 swap bytes as well */
}

static void serve(server *s) {
  uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
  while (!s->stop) {
    int n = modbus_receive(s->bus, query);
    if (n > 0 && !s->mute) (void)modbus_reply(s->bus, query, n, s->map);
    if (n < 0 && s->listening >= 0 && errno != ETIMEDOUT) return;
  }
}

static void *run_rtu(void *to) {
  serve(to);
  return NULL;
}

static void *run_tcp(void *to) {
  server *s = to;
  while (!s->stop) {
    int listening = s->listening;
    if (modbus_tcp_accept(s->bus, &listening) < 0) return NULL;
    serve(s);
    modbus_close(s->bus);
  }
  return NULL;
}

static void patience(server *s) {
  modbus_set_indication_timeout(s->bus, 0, 100000);
  modbus_set_error_recovery(s->bus, MODBUS_ERROR_RECOVERY_PROTOCOL);
}

/* ---- a serial line that can be spoilt ---- */

typedef struct relay {
  int ours, theirs; /* masters */
  pthread_t thread;
  atomic_bool stop;
  atomic_int flip;              /* spoil this many answers, one bit each */
  atomic_int noise, echo, drop; /* bytes before each answer; give the question back; lose answers */
} relay;

static void *carry(void *to) {
  relay *r = to;
  unsigned char bytes[512];
  while (!r->stop) {
    ssize_t n = read(r->ours, bytes, sizeof bytes);
    if (n > 0) {
      (void)!write(r->theirs, bytes, (size_t)n);
      if (r->echo) (void)!write(r->ours, bytes, (size_t)n);
    }
    n = read(r->theirs, bytes, sizeof bytes);
    if (n > 0 && r->drop > 0) {
      r->drop--;
      n = 0;
    }
    if (n > 4 && r->flip > 0) {
      r->flip--;
      bytes[3] ^= 0x10;
    }
    if (n > 0)
      (void)!write(r->ours, "\x11\x03\xFF\x00noise", (size_t)(r->noise < 9 ? r->noise : 9));
    for (ssize_t i = 0; i < n; i++) /* piece by piece, as a line brings it */
      (void)!write(r->ours, bytes + i, 1);
    nanosleep(&(struct timespec){0, 500000}, NULL);
  }
  return NULL;
}

typedef struct bench {
  wire_kit k;
  wire ours, theirs;
  relay relay;
  server server;
  lw_source *s;
} bench;

static bench *bench_new(void) {
  static bench b;
  memset(&b, 0, sizeof b);
  b.k = wire_kit_new();
  b.ours = wire_new(&b.k, "ours");
  b.theirs = wire_new(&b.k, "theirs");
  b.relay.ours = b.ours.master;
  b.relay.theirs = b.theirs.master;
  b.server.listening = -1;
  b.server.bus = modbus_new_rtu(b.theirs.path, 19200, 'E', 8, 1);
  assert_non_null(b.server.bus);
  assert_int_equal(modbus_set_slave(b.server.bus, 17), 0);
  patience(&b.server);
  assert_int_equal(modbus_connect(b.server.bus), 0);
  fill(&b.server);
  assert_int_equal(pthread_create(&b.relay.thread, NULL, carry, &b.relay), 0);
  assert_int_equal(pthread_create(&b.server.thread, NULL, run_rtu, &b.server), 0);
  b.s = wire_source();
  return &b;
}

static void server_free(server *s) {
  s->stop = true;
  if (s->listening >= 0) shutdown(s->listening, SHUT_RDWR);
  pthread_join(s->thread, NULL);
  if (s->listening >= 0) close(s->listening);
  modbus_close(s->bus);
  modbus_free(s->bus);
  modbus_mapping_free(s->map);
}

static void bench_free(bench *b) {
  lw_source_free(b->s);
  b->relay.stop = true;
  pthread_join(b->relay.thread, NULL);
  server_free(&b->server);
  wire_free(&b->ours);
  wire_free(&b->theirs);
  wire_kit_free(&b->k);
}

static void check_reading(const lw_live *live) {
  NEAR(live->x[LW_LIVE_CO], 0.0085, 1e-12);
  NEAR(live->x[LW_LIVE_CO2], 0.1392, 1e-12);
  NEAR(live->x[LW_LIVE_HC], 212e-6, 1e-12);
  NEAR(live->x[LW_LIVE_O2], 0.0061, 1e-12);
  NEAR(live->x[LW_LIVE_OIL], 273.15 - 5.5, 1e-9);
  NEAR(live->x[LW_LIVE_SPEED], 702.25 * WIRE_RPM, 1e-9);
  NEAR(live->x[LW_LIVE_VACUUM], 60125, 1e-6);
}

/* The program that answers and the relay are threads of this one; on a busy machine they take longer
   than the 0.3 s of the description. Where a test is not about that, they may. */
static void listen_patiently(bench *b, const char *limits) {
  wire_listen(
      b->s,
      wire_demo_but(&b->k, "corran-modbus-rtu.yaml", b->ours.path, "answer within: 0.3 s", limits),
      0);
}

static void test_rtu(void **state) {
  (void)state;
  bench *b = bench_new();
  listen_patiently(b, "answer within: 5 s\nsilence: 20 s");
  for (int i = 0; i < 4; i++) {
    lw_live live = wire_reading(b->s);
    check_reading(&live);
  }
  lw_health h = lw_source_health(b->s, 0);
  assert_int_equal(h.bad_checksum + h.bad_form + h.unanswered + h.stray, 0);
  bench_free(b);
}

static void test_rtu_noise(void **state) {
  (void)state;
  bench *b = bench_new();
  lw_live live;
  listen_patiently(b, "answer within: 5 s\nsilence: 20 s");
  b->relay.noise = 7;
  live = wire_reading(b->s);
  check_reading(&live);
  b->relay.noise = 0;
  b->relay.echo = 1; /* an adapter that hears itself */
  live = wire_reading(b->s);
  live = wire_reading(b->s);
  check_reading(&live);
  bench_free(b);
}

static void test_rtu_spoilt(void **state) {
  (void)state;
  bench *b = bench_new();
  lw_live live;
  listen_patiently(b, "answer within: 1.5 s\nsilence: 20 s"); /* it is waited for three times */
  live = wire_reading(b->s);
  check_reading(&live);
  b->relay.flip = 1;
  bool some = false;
  for (int i = 0; i < 3; i++) { /* the rest of that round is read, the spoilt part is not */
    live = wire_reading(b->s);
    if (lw_known(live.x[LW_LIVE_CO])) NEAR(live.x[LW_LIVE_CO], 0.0085, 1e-12);
    if (lw_known(live.x[LW_LIVE_SPEED])) NEAR(live.x[LW_LIVE_SPEED], 702.25 * WIRE_RPM, 1e-9);
    some |= !lw_known(live.x[LW_LIVE_CO]) || !lw_known(live.x[LW_LIVE_SPEED]) ||
            !lw_known(live.x[LW_LIVE_VACUUM]);
  }
  assert_true(some);
  assert_int_equal(lw_source_health(b->s, 0).bad_checksum, 1);
  uint64_t unanswered = lw_source_health(b->s, 0).unanswered;
  b->relay.drop = 1;
  for (int i = 0; i < 3; i++)
    live = wire_reading(b->s);
  check_reading(&live);
  assert_true(lw_source_health(b->s, 0).unanswered > unanswered);
  bench_free(b);
}

/* 3 s without an answer (here 1.5 s): lost; then back. */
static void test_rtu_silent(void **state) {
  (void)state;
  bench *b = bench_new();
  lw_live live;
  lw_instrument *i = wire_describe(
      &b->k, "instrument: a\nprotocol: modbus rtu\nspeed: 19200\nbits: 8E1\nstation: 17\n"
             "every: 0.1 s\nanswer within: 0.5 s\nsilence: 1.5 s\n"
             "fields: [{is: CO, register: 0, scale: 0.01, unit: '%'}]\n");
  lw_instrument_set_port(i, b->ours.path);
  wire_listen(b->s, i, 0);
  (void)wire_reading(b->s);
  b->server.mute = true;
  assert_true(wire_until(b->s, LW_LIVE_LOST, 5, &live));
  HOLDS(live.words, "silent");
  b->server.mute = false;
  assert_true(wire_until(b->s, LW_LIVE_BACK, 5, &live));
  NEAR(wire_reading(b->s).x[LW_LIVE_CO], 0.0085, 1e-12);
  bench_free(b);
}

/* Registers the station does not have: its refusal is told with their numbers. */
static void test_rtu_refused(void **state) {
  (void)state;
  bench *b = bench_new();
  lw_live live;
  lw_instrument *i = wire_describe(
      &b->k, "instrument: a\nprotocol: modbus rtu\nspeed: 19200\nbits: 8E1\nstation: 17\n"
             "answer within: 5 s\nfields:\n"
             "  - {is: CO, register: 0, scale: 0.01, unit: '%'}\n"
             "  - {is: speed, register: 400, as: f32, unit: rpm}\n");
  lw_instrument_set_port(i, b->ours.path);
  wire_listen(b->s, i, 0);
  assert_true(wire_until(b->s, LW_LIVE_REMARK, 10, &live));
  HOLDS(live.words, "station 17 refuses registers 400 to 401 (exception 2)");
  live = wire_reading(b->s);
  NEAR(live.x[LW_LIVE_CO], 0.0085, 1e-12);
  assert_false(lw_known(live.x[LW_LIVE_SPEED]));
  bench_free(b);
}

/* Two questions of one length in a round; the first answer comes too late, while the second question
   would be due: it must not be taken for the second's. */
static void test_rtu_late(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  wire w = wire_new(&k, "port");
  lw_source *s = wire_source();
  lw_live live;
  unsigned char asked[64];
  lw_instrument *i = wire_describe(&k, "instrument: a\nprotocol: modbus rtu\nevery: 0.1 s\n"
                                       "answer within: 0.8 s\nfields:\n"
                                       "  - {is: CO, register: 0, unit: ppm}\n"
                                       "  - {is: HC, register: 8, unit: ppm hexane}\n");
  lw_instrument_set_port(i, w.path);
  wire_listen(s, i, 0);
  assert_true(wire_until(s, LW_LIVE_REMARK, 5, &live)); /* no answer to the first */
  assert_int_equal(wire_hear(&w, asked, sizeof asked, 8), 8);
  static const unsigned char late[] = {0x01, 0x03, 0x02, 0x00, 0x64, 0xB9, 0xAF};
  assert_int_equal(lw_checksum_of(LW_CHECKSUM_CRC16_MODBUS, late, 5), 0xAFB9);
  wire_bytes(&w, late, sizeof late);
  assert_false(wire_until(s, LW_LIVE_READING, 0.6, &live));
  (void)wire_until(s, LW_LIVE_READING, 0.6, &live);
  assert_int_equal(wire_hear(&w, asked, sizeof asked, 8), 8);
  assert_int_equal(asked[3], 8); /* the second question */
  wire_bytes(&w, late, sizeof late);
  live = wire_reading(s);
  NEAR(live.x[LW_LIVE_HC], 100e-6, 1e-12);
  assert_false(lw_known(live.x[LW_LIVE_CO]));
  lw_source_free(s);
  wire_free(&w);
  wire_kit_free(&k);
}

/* ---- TCP ---- */

static const char *tcp_start(wire_kit *k, server *s, int number) {
  memset(s, 0, sizeof *s);
  s->bus = modbus_new_tcp("127.0.0.1", number);
  assert_non_null(s->bus);
  patience(s);
  s->listening = modbus_tcp_listen(s->bus, 1);
  assert_true(s->listening >= 0);
  fill(s);
  struct sockaddr_in at;
  socklen_t length = sizeof at;
  assert_int_equal(getsockname(s->listening, (struct sockaddr *)&at, &length), 0);
  assert_int_equal(pthread_create(&s->thread, NULL, run_tcp, s), 0);
  return lw_arena_print(k->arena, "127.0.0.1:%d", ntohs(at.sin_port));
}

static void test_tcp(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  server s;
  const char *address = tcp_start(&k, &s, 0);
  lw_source *source = wire_source();
  lw_live live;
  wire_listen(source,
              wire_demo_but(&k, "corran-modbus-tcp.yaml", address, "answer within: 0.3 s",
                            "answer within: 5 s\nsilence: 20 s"),
              0);
  for (int i = 0; i < 3; i++) {
    live = wire_reading(source);
    check_reading(&live);
  }
  server_free(&s); /* the cable is drawn */
  assert_true(wire_until(source, LW_LIVE_LOST, 5, &live));
  (void)tcp_start(&k, &s, atoi(strchr(address, ':') + 1));
  assert_true(wire_until(source, LW_LIVE_BACK, 10, &live));
  live = wire_reading(source);
  check_reading(&live);
  lw_source_free(source);
  server_free(&s);
  wire_kit_free(&k);
}

typedef struct door {
  int listening, last; /* the connection that stays open */
  atomic_int came;
  int shut; /* so many are shut at once; from then on they are left open */
} door;

/* Takes connections in and never says a word; ends when it is shut down. */
static void *keep_door(void *to) {
  door *d = to;
  for (int fd; (fd = accept(d->listening, NULL, NULL)) >= 0;) {
    if (d->last >= 0) close(d->last);
    d->last = fd;
    if (d->came++ < d->shut) {
      close(fd);
      d->last = -1;
    }
  }
  return NULL;
}

/* How often one comes to a door within s seconds. */
static int comings(const char *more, int shut, double seconds) {
  wire_kit k = wire_kit_new();
  lw_source *source = wire_source();
  door d = {.listening = socket(AF_INET, SOCK_STREAM, 0), .last = -1, .shut = shut};
  struct sockaddr_in at = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
  socklen_t length = sizeof at;
  pthread_t thread;
  lw_live live;
  assert_int_equal(bind(d.listening, (struct sockaddr *)&at, sizeof at), 0);
  assert_int_equal(listen(d.listening, 8), 0);
  assert_int_equal(getsockname(d.listening, (struct sockaddr *)&at, &length), 0);
  assert_int_equal(pthread_create(&thread, NULL, keep_door, &d), 0);
  const char *address = lw_arena_print(k.arena, "127.0.0.1:%d", ntohs(at.sin_port));
  wire_listen(source,
              wire_demo_but(&k, "corran-modbus-tcp.yaml", address, "answer within: 0.3 s", more),
              LW_LISTEN_PATIENT);
  assert_false(wire_until(source, LW_LIVE_READING, seconds, &live));
  assert_int_equal(lw_source_health(source, 0).losses, 1); /* told once */
  lw_source_free(source);
  shutdown(d.listening, SHUT_RDWR);
  pthread_join(thread, NULL);
  close(d.listening);
  if (d.last >= 0) close(d.last);
  wire_kit_free(&k);
  return d.came;
}

/* A far end that takes each connection and is silent: not only the first one is made anew. */
static void test_tcp_silent(void **state) {
  (void)state;
  int came = comings("answer within: 0.1 s\nsilence: 0.4 s", 0, 4);
  if (came < 3) fail_msg("%d connections", came);
}

/* One that shuts each at once is tried after 0.1, 0.2, ... s, not ten times a second. */
static void test_tcp_shut(void **state) {
  (void)state;
  int came = comings("answer within: 0.1 s\nsilence: 20 s", 1000, 4);
  if (came < 3 || came > 7) fail_msg("%d connections", came); /* 0, 0.1, 0.3, 0.7, 1.5, 3.1 s */
}

/* Nobody listens there: told at once without patience, waited for with it. */
static void test_tcp_nobody(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  lw_source *source = wire_source();
  lw_live live;
  wire_listen(source, wire_demo(&k, "corran-modbus-tcp.yaml", "127.0.0.1:1"), LW_LISTEN_PATIENT);
  assert_true(wire_until(source, LW_LIVE_LOST, 2, &live));
  HOLDS(live.words, "refused");
  lw_source_free(source);
  wire_kit_free(&k);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_rtu),         cmocka_unit_test(test_rtu_noise),
      cmocka_unit_test(test_rtu_spoilt),  cmocka_unit_test(test_rtu_silent),
      cmocka_unit_test(test_rtu_refused), cmocka_unit_test(test_rtu_late),
      cmocka_unit_test(test_tcp),         cmocka_unit_test(test_tcp_nobody),
      cmocka_unit_test(test_tcp_silent),  cmocka_unit_test(test_tcp_shut),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
