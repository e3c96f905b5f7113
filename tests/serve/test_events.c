/* test_events.c - live events: several readers of a job see the same, at once, from where they left
** off; and how the server ends: in order, or killed, with nothing lost that it acknowledged.
*/
#include "serve_kit.h"

#include <pthread.h>

enum { READERS = 3, READINGS = 12 };

typedef struct reader {
  int fd;
  size_t used;
  char text[60000]; /* all that came, chunk lengths taken out by need only */
} reader;

static void start_reader(const served *s, int64_t job, const char *last, reader *r) {
  char head[400];
  r->fd = connect_to("127.0.0.1", s->port);
  r->used = 0;
  int used = snprintf(
      head, sizeof head, "GET /api/jobs/%lld/events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%s%s%s\r\n",
      (long long)job, s->port, last ? "Last-Event-ID: " : "", last ? last : "", last ? "\r\n" : "");
  send_all(r->fd, head, (size_t)used);
}

/* Read until count events of this type are there; false at the end of the stream. */
static size_t count_of(const reader *r, const char *what) {
  size_t count = 0;
  for (const char *p = r->text; (p = strstr(p, what)) != NULL; p++)
    count++;
  return count;
}

static bool read_some(reader *r) {
  ssize_t got = recv(r->fd, r->text + r->used, sizeof r->text - 1 - r->used, 0);
  if (got <= 0) return false;
  r->used += (size_t)got;
  r->text[r->used] = '\0';
  return true;
}

static void wait_for(reader *r, const char *what, size_t count) {
  while (count_of(r, what) < count) {
    if (!read_some(r)) fail_msg("the stream ended or stood still: %s", r->text);
  }
}

/* The data lines in their order, one after the other. */
static void data_of(const reader *r, char *out, size_t size) {
  out[0] = '\0';
  for (const char *p = r->text; (p = strstr(p, "data: ")) != NULL; p++)
    lw_text_append(out, size, "%.*s\n", (int)strcspn(p, "\r\n"), p);
}

static void add_reading(const served *s, int64_t job, int number) {
  char path[60], heads[120], body[100];
  snprintf(path, sizeof path, "/api/jobs/%lld/readings", (long long)job);
  snprintf(heads, sizeof heads, JSON_HEAD "Idempotency-Key: events-%06d\r\n", number);
  snprintf(body, sizeof body, "{\"label\": \"number %d\", \"CO\": \"%d.5 %%\"}", number,
           number % 8);
  gives(s, 201, "POST", path, heads, body);
}

static void readers_see_the_same_at_once(void **state) {
  static reader readers[READERS];
  static char first[60000], other[60000];
  served s = {0};
  double worst = 0;
  (void)state;
  server_start(&s, NULL);
  int64_t job = put_in(&s, "demo"), elsewhere = put_in(&s, "two-gas");
  for (int i = 0; i < READERS; i++) {
    start_reader(&s, job, NULL, &readers[i]);
    wait_for(&readers[i], "event: begin", 1);
  }
  for (int k = 0; k < READINGS; k++) {
    add_reading(&s, elsewhere, 1000 + k);
    add_reading(&s, job, k);
    double acknowledged = kit_now();
    for (int i = 0; i < READERS; i++)
      wait_for(&readers[i], "event: saved", (size_t)k + 1);
    if (kit_now() - acknowledged > worst) worst = kit_now() - acknowledged;
  }
  printf("worst time from acknowledged to seen by %d readers: %.1f ms\n", READERS, 1e3 * worst);
  assert_true(worst < 0.1);
  data_of(&readers[0], first, sizeof first);
  for (int i = 1; i < READERS; i++) {
    data_of(&readers[i], other, sizeof other);
    assert_string_equal(other, first);
  }
  /* one goes away after its third event, and comes back */
  char last[60] = "";
  const char *at = readers[0].text;
  for (int k = 0; k < 4; k++)
    at = strstr(at, "id: ") + 4;
  snprintf(last, sizeof last, "%.*s", (int)strcspn(at, "\r\n"), at);
  close(readers[0].fd);
  static reader back;
  start_reader(&s, job, last, &back);
  wait_for(&back, "event: saved", READINGS - 3);
  assert_int_equal(count_of(&back, "event: begin"), 0);
  assert_int_equal(count_of(&back, "event: saved"), READINGS - 3);
  static reader stranger;
  start_reader(&s, job, "1234-77", &stranger);
  wait_for(&stranger, "event: begin", 1);
  /* the end of the server is the end of the streams */
  double told = kit_now();
  assert_int_equal(server_end(&s, SIGTERM), 0);
  assert_true(kit_now() - told < 2);
  while (read_some(&back))
    continue;
  for (int i = 1; i < READERS; i++)
    close(readers[i].fd);
  close(back.fd);
  close(stranger.fd);
  remove_folder(s.folder);
}

/* ---- several at once, and killed ---- */

typedef struct writer {
  const served *s;
  int64_t job;
  int number, acknowledged;
} writer;

static bool try_reading(const served *s, int64_t job, const char *key) {
  char path[60], heads[120], body[100];
  static const char shape[] = "POST %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nConnection: close\r\n%s"
                              "Content-Length: %zu\r\n\r\n%s";
  char text[600], got[400] = "";
  snprintf(path, sizeof path, "/api/jobs/%lld/readings", (long long)job);
  snprintf(heads, sizeof heads, JSON_HEAD "Idempotency-Key: %s\r\n", key);
  snprintf(body, sizeof body, "{\"label\": \"%s\", \"CO\": \"1.5 %%\"}", key);
  int used = snprintf(text, sizeof text, shape, path, s->port, heads, strlen(body), body);
  struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons((uint16_t)s->port)};
  at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  bool good = connect(fd, (struct sockaddr *)&at, sizeof at) == 0;
  if (good) send_all(fd, text, (size_t)used);
  good = good && recv(fd, got, sizeof got - 1, 0) > 0 && strncmp(got, "HTTP/1.1 201", 12) == 0;
  close(fd);
  return good;
}

static void *write_on(void *to) {
  writer *w = to;
  for (int i = 0; i < 200; i++) {
    char key[40];
    snprintf(key, sizeof key, "writer-%d-%d", w->number, i);
    if (!try_reading(w->s, w->job, key)) break;
    w->acknowledged = i + 1;
    struct timespec pause = {0, 100000000}; /* below what one address may ask */
    nanosleep(&pause, NULL);
  }
  return NULL;
}

static size_t labels_in(const served *s, int64_t job, int number, int most) {
  char path[60];
  size_t found = 0;
  snprintf(path, sizeof path, "/api/jobs/%lld", (long long)job);
  answer a = must_ask(s, 200, "GET", path, NULL, NULL);
  json_t *json = json_of(&a);
  json_t *list = json_object_get(json_object_get(json, "document"), "readings");
  for (int i = 0; i < most; i++) {
    char key[40];
    snprintf(key, sizeof key, "writer-%d-%d", number, i);
    for (size_t k = 0; k < json_array_size(list); k++) {
      const char *label = json_string_value(json_object_get(json_array_get(list, k), "label"));
      found += label && strcmp(label, key) == 0;
    }
  }
  json_decref(json);
  answer_free(&a);
  return found;
}

static void nothing_acknowledged_is_lost(void **state) {
  enum { WRITERS = 3, KILLS = 3 };
  served s = {0};
  (void)state;
  server_start(&s, NULL);
  int64_t job = put_in(&s, "demo");
  for (int round = 0; round < KILLS; round++) {
    writer writers[WRITERS];
    pthread_t threads[WRITERS];
    for (int i = 0; i < WRITERS; i++) {
      writers[i] = (writer){&s, job, round * WRITERS + i, 0};
      pthread_create(&threads[i], NULL, write_on, &writers[i]);
    }
    struct timespec some = {0, 700000000};
    nanosleep(&some, NULL);
    server_end(&s, round + 1 < KILLS ? SIGKILL : SIGTERM);
    for (int i = 0; i < WRITERS; i++)
      pthread_join(threads[i], NULL);
    server_start(&s, NULL);
    for (int i = 0; i < WRITERS; i++) {
      int said = writers[i].acknowledged;
      assert_true(said > 0);
      /* each once, and the one that was cut off sent again is there once, too */
      assert_int_equal(labels_in(&s, job, writers[i].number, said), said);
      char key[40];
      snprintf(key, sizeof key, "writer-%d-%d", writers[i].number, said);
      assert_true(try_reading(&s, job, key));
      assert_int_equal(labels_in(&s, job, writers[i].number, said + 1), said + 1);
    }
  }
  assert_int_equal(server_end(&s, SIGTERM), 0);
  char command[300];
  snprintf(command, sizeof command, "'%s' jobs --store '%s' --every-run --json >/dev/null",
           getenv("LEANWARD"), s.store);
  assert_int_equal(system(command), 0);
  remove_folder(s.folder);
}

/* How soon is measured in benchmarks/web.mjs against its target; here it is only said. */
static void it_starts_again_and_again(void **state) {
  served s = {0};
  double best = 10;
  (void)state;
  server_start(&s, NULL);
  put_in(&s, "demo");
  assert_int_equal(server_end(&s, SIGINT), 0);
  for (int i = 0; i < 5; i++) {
    double from = kit_now();
    server_start(&s, NULL);
    double took = kit_now() - from;
    if (took < best) best = took;
    gives(&s, 200, "GET", "/api/jobs", NULL, NULL);
    assert_int_equal(server_end(&s, SIGTERM), 0);
  }
  printf("from start to listening: %.1f ms\n", 1e3 * best);
  remove_folder(s.folder);
}

static void what_keeps_it_from_starting_is_said(void **state) {
  served s = {0};
  char command[400];
  (void)state;
  server_start(&s, NULL);
  snprintf(command, sizeof command, "'%s' serve --port %d --store '%s' 2>'%s/err'",
           getenv("LEANWARD"), s.port, s.store, s.folder);
  assert_int_equal(WEXITSTATUS(system(command)), 2);
  char path[160];
  size_t length = 0;
  snprintf(path, sizeof path, "%s/err", s.folder);
  char *said = slurp(path, &length);
  assert_non_null(strstr(said, "another program has it: name another with --port"));
  free(said);
  snprintf(command, sizeof command, "'%s' serve --port 70000 2>/dev/null", getenv("LEANWARD"));
  assert_int_equal(WEXITSTATUS(system(command)), 2);
  assert_int_equal(server_end(&s, SIGTERM), 0);
  remove_folder(s.folder);
}

int main(void) {
  signal(SIGPIPE, SIG_IGN);
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(readers_see_the_same_at_once),
      cmocka_unit_test(nothing_acknowledged_is_lost),
      cmocka_unit_test(it_starts_again_and_again),
      cmocka_unit_test(what_keeps_it_from_starting_is_said),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
