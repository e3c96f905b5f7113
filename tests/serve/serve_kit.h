/* serve_kit.h - the real server in a process of its own, asked over real sockets. For tests only.
**
** LEANWARD and SOURCE_ROOT stand in the environment (tests/meson.build).
*/
#ifndef LW_TESTS_SERVE_KIT_H
#define LW_TESTS_SERVE_KIT_H

#include "store_case.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <ifaddrs.h>
#include <jansson.h>
#include <netinet/in.h>
#include <poll.h>
#include <signal.h>
#include <strings.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <time.h>

typedef struct served {
  pid_t pid;
  int port, out; /* out: its standard output */
  char folder[64], store[160], said[4096];
} served;

static inline double kit_now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

/* Read what the server prints until word is in it. */
static inline void wait_for_words(served *s, const char *word) {
  double until = kit_now() + 20;
  while (!strstr(s->said, word)) {
    struct pollfd in = {.fd = s->out, .events = POLLIN};
    size_t used = strlen(s->said);
    if (kit_now() > until) fail_msg("the server never said '%s': %s", word, s->said);
    if (poll(&in, 1, 100) <= 0) continue;
    ssize_t got = read(s->out, s->said + used, sizeof s->said - 1 - used);
    if (got <= 0) fail_msg("the server ended: %s", s->said);
    s->said[used + (size_t)got] = '\0';
  }
}

enum { EXTRAS_MOST = 8 };

/* Start on the store of s->folder (made when empty) with these more options, the last NULL. */
static inline void server_start_with(served *s, const char *const *extras) {
  char cards[300];
  int pipes[2];
  if (!s->folder[0]) {
    snprintf(s->folder, sizeof s->folder, "%s", fresh_folder());
    snprintf(s->store, sizeof s->store, "%s/jobs.db", s->folder);
  }
  snprintf(cards, sizeof cards, "%s/cards", getenv("SOURCE_ROOT"));
  assert_int_equal(pipe(pipes), 0);
  fflush(NULL);
  s->said[0] = '\0';
  s->pid = fork();
  assert_true(s->pid >= 0);
  if (s->pid == 0) {
    const char *argv[9 + EXTRAS_MOST] = {getenv("LEANWARD"), "serve",  "--port",  "0",
                                         "--store",          s->store, "--cards", cards};
    for (size_t i = 0; i < EXTRAS_MOST && extras[i]; i++)
      argv[8 + i] = extras[i];
    dup2(pipes[1], 1);
    dup2(pipes[1], 2);
    close(pipes[0]);
    close(pipes[1]);
    execv(argv[0], (char *const *)(uintptr_t)argv);
    _exit(99);
  }
  close(pipes[1]);
  s->out = pipes[0];
  wait_for_words(s, "/ has the jobs of ");
  assert_int_equal(sscanf(s->said, "http://127.0.0.1:%d/", &s->port), 1);
}

/* extra: one more option or NULL. */
static inline void server_start(served *s, const char *extra) {
  const char *const extras[] = {extra, NULL};
  server_start_with(s, extras);
}

/* End it by a signal; its exit code, -1 when the signal ended it. */
static inline int server_end(served *s, int with) {
  int status = 0;
  kill(s->pid, with);
  assert_int_equal(waitpid(s->pid, &status, 0), s->pid);
  close(s->out);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static inline int connect_to(const char *address, int port) {
  struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port)};
  struct timeval most = {20, 0};
  int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  assert_int_equal(inet_pton(AF_INET, address, &at.sin_addr), 1);
  setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &most, sizeof most);
  setsockopt(fd, SOL_SOCKET, SO_SNDTIMEO, &most, sizeof most);
  if (connect(fd, (struct sockaddr *)&at, sizeof at) != 0) fail_msg("no connection: %d", errno);
  return fd;
}

static inline void send_all(int fd, const char *bytes, size_t length) {
  for (size_t done = 0; done < length;) {
    ssize_t sent = send(fd, bytes + done, length - done, MSG_NOSIGNAL);
    if (sent <= 0) return; /* the other side has had enough; what it said is read next */
    done += (size_t)sent;
  }
}

typedef struct answer {
  int status; /* 0: the connection was closed without an answer */
  char head[8192];
  char *body; /* a 0 behind it */
  size_t length;
} answer;

static inline void answer_free(answer *a) {
  free(a->body);
  a->body = NULL;
}

/* The value of a header into buffer; "" when there is none. */
static inline const char *head_of(const answer *a, const char *name) {
  static char value[2048];
  size_t length = strlen(name);
  value[0] = '\0';
  for (const char *line = a->head; (line = strstr(line, "\r\n")) != NULL;) {
    line += 2;
    if (strncasecmp(line, name, length) != 0 || line[length] != ':') continue;
    const char *from = line + length + 1 + strspn(line + length + 1, " ");
    snprintf(value, sizeof value, "%.*s", (int)strcspn(from, "\r\n"), from);
    break;
  }
  return value;
}

/* Take apart what came; bytes has room for a 0 behind it. */
static inline answer taken_apart(char *bytes, size_t used) {
  answer a = {0};
  bytes[used] = '\0';
  char *end = strstr(bytes, "\r\n\r\n");
  if (!end || sscanf(bytes, "HTTP/1.1 %d", &a.status) != 1) return a;
  snprintf(a.head, sizeof a.head, "%.*s", (int)(end - bytes), bytes);
  a.length = used - (size_t)(end + 4 - bytes);
  a.body = malloc(a.length + 1);
  memcpy(a.body, end + 4, a.length + 1);
  return a;
}

/* Read to the end of the connection. */
static inline answer read_answer(int fd) {
  static char bytes[4 << 20];
  size_t used = 0;
  for (ssize_t got;
       used < sizeof bytes - 1 && (got = recv(fd, bytes + used, sizeof bytes - 1 - used, 0)) > 0;)
    used += (size_t)got;
  return taken_apart(bytes, used);
}

/* One request with these header lines (each ending in \r\n; NULL: none but Host) to address. */
static inline answer ask_at(const char *address, int port, const char *method, const char *path,
                            const char *heads, const char *body, size_t length) {
  static char head[20000];
  int fd = connect_to(address, port);
  bool host = heads && strncasecmp(heads, "Host:", 5) == 0;
  char host_line[96] = "";
  if (!host) snprintf(host_line, sizeof host_line, "Host: %s:%d\r\n", address, port);
  int used = snprintf(head, sizeof head, "%s %s HTTP/1.1\r\n%sConnection: close\r\n%s", method,
                      path, host_line, heads ? heads : "");
  assert_true(used > 0 && (size_t)used < sizeof head - 64);
  if (body) {
    used += snprintf(head + used, sizeof head - (size_t)used, "Content-Length: %zu\r\n", length);
  }
  used += snprintf(head + used, sizeof head - (size_t)used, "\r\n");
  send_all(fd, head, (size_t)used);
  if (body) send_all(fd, body, length);
  answer a = read_answer(fd);
  close(fd);
  return a;
}

static inline answer ask(const served *s, const char *method, const char *path, const char *heads,
                         const char *body) {
  return ask_at("127.0.0.1", s->port, method, path, heads, body, body ? strlen(body) : 0);
}

/* An address of this machine that is not loopback; false: it has none. */
static inline bool own_address(char *text, size_t size) {
  struct ifaddrs *list = NULL;
  bool found = false;
  if (getifaddrs(&list) != 0) return false;
  for (const struct ifaddrs *a = list; a && !found; a = a->ifa_next) {
    struct sockaddr_in in;
    if (!a->ifa_addr || a->ifa_addr->sa_family != AF_INET) continue;
    memcpy(&in, a->ifa_addr, sizeof in);
    found = ntohl(in.sin_addr.s_addr) >> 24 != 127 &&
            inet_ntop(AF_INET, &in.sin_addr, text, (socklen_t)size);
  }
  freeifaddrs(list);
  return found;
}

/* The cookie an answer sets, as a header line of ours, beside another. */
static inline void cookie_of(const answer *a, char *line, size_t size) {
  const char *set = head_of(a, "Set-Cookie");
  assert_non_null(strstr(set, "HttpOnly"));
  assert_non_null(strstr(set, "SameSite=Strict"));
  snprintf(line, size, "Cookie: other=1; %.*s\r\n", (int)strcspn(set, ";"), set);
}

/* The token a server started with --lan has printed. */
static inline void token_of(served *s, char token[20]) {
  wait_for_words(s, "works once");
  const char *said = strstr(s->said, "type\n\n    ");
  assert_non_null(said);
  assert_int_equal(sscanf(said + 6, " %10s", token), 1);
}

#define JSON_HEAD     "Content-Type: application/json\r\n"
#define KEY_HEAD(key) JSON_HEAD "Idempotency-Key: " key "\r\n"

/* The request must give this status. */
static inline answer must_ask(const served *s, int status, const char *method, const char *path,
                              const char *heads, const char *body) {
  answer a = ask(s, method, path, heads, body);
  if (a.status != status) {
    fail_msg("%s %s: %d, %d was expected: %.300s", method, path, a.status, status,
             a.body ? a.body : "");
  }
  return a;
}

static inline void gives(const served *s, int status, const char *method, const char *path,
                         const char *heads, const char *body) {
  answer a = must_ask(s, status, method, path, heads, body);
  answer_free(&a);
}

static inline json_t *json_of(const answer *a) {
  json_error_t error;
  json_t *json = json_loadb(a->body ? a->body : "", a->length, 0, &error);
  if (!json) fail_msg("no JSON: %s: %.200s", error.text, a->body ? a->body : "");
  return json;
}

static inline int64_t number_in(const answer *a, const char *key) {
  json_t *json = json_of(a);
  int64_t number = json_integer_value(json_object_get(json, key));
  json_decref(json);
  return number;
}

/* A job file of the source tree as text; malloced. */
static inline char *job_file(const char *name) {
  char path[300];
  size_t length = 0;
  snprintf(path, sizeof path, "%s/jobs/%s.yaml", getenv("SOURCE_ROOT"), name);
  return slurp(path, &length);
}

/* Put a job of the source tree into the server; its number. */
static inline int64_t put_in(const served *s, const char *name) {
  char heads[200];
  char *text = job_file(name);
  snprintf(heads, sizeof heads, "Content-Type: application/yaml\r\nIdempotency-Key: put-in-%s\r\n",
           name);
  answer a = must_ask(s, 201, "POST", "/api/jobs", heads, text);
  int64_t number = number_in(&a, "job");
  answer_free(&a);
  free(text);
  return number;
}

#endif
