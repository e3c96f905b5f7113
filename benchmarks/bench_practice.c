/* bench_practice.c - how many practice cars one server runs: the server in a process of its own, a
** learner for each car over real sockets, who looks at its needles and makes a move now and then.
**
**   bench_practice [CARS [SECONDS [CARD]]]     CARD: every demo card in turn unless one is named
**
** Each learner has an address of its own in 127.0.0.0/8, as each would have in a shop's network.
*/
#define _DEFAULT_SOURCE /* mkdtemp */
#include "leanward/serve.h"

#include <arpa/inet.h>
#include <errno.h>
#include <jansson.h>
#include <netinet/in.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { LEARNERS_MOST = 220, MOVE_EVERY = 20 };

static const char *const demo[] = {
    "corran-220-six-automatic", "corran-220-six-export",      "corran-220-six-limiter",
    "corran-220-six-manual",    "corran-290-eight-automatic", "corran-290-eight-export",
    "corran-290-eight-manual",  "corran-350-eight-automatic", "corran-350-eight-manual",
    "corran-350-eight-pair",    "corran-350-eight-vacuum"};
enum { DEMO = sizeof demo / sizeof demo[0] };

typedef struct learner {
  int stream;
  long long car;
  char pass[80], tail[32];
  size_t needles;
  double last, worst; /* s: when needles came last; the longest without */
} learner;

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void die(const char *what) {
  fprintf(stderr, "bench_practice: %s\n", what);
  exit(2);
}

/* ---- the server ---- */

static void serve(const char *folder, const char *cards, int out) {
  char store[200];
  lw_error error = {0};
  lw_server *server = NULL;
  snprintf(store, sizeof store, "%s/jobs.db", folder);
  lw_serve_options options = {.store = store, .cards = cards};
  if (lw_serve_start(&options, &server, &error) != LW_OK) die(error.text);
  int port = lw_serve_port(server);
  if (write(out, &port, sizeof port) != sizeof port) die("no pipe");
  for (;;) { /* until it is killed */
    struct timespec second = {1, 0};
    nanosleep(&second, NULL);
    lw_serve_tick(server);
  }
}

/* kB of a line of /proc/PID/status; processor seconds used so far. */
static long memory_of(pid_t pid, const char *line) {
  char path[64], text[200];
  long kb = 0;
  snprintf(path, sizeof path, "/proc/%d/status", (int)pid);
  FILE *file = fopen(path, "r");
  while (file && fgets(text, sizeof text, file)) {
    if (strncmp(text, line, strlen(line)) == 0) kb = strtol(text + strlen(line) + 1, NULL, 10);
  }
  if (file) fclose(file);
  return kb;
}

static double processor_of(pid_t pid) {
  char path[64], text[600] = "";
  long long user = 0, system = 0;
  snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
  FILE *file = fopen(path, "r");
  if (file && fgets(text, sizeof text, file)) {
    const char *at = strrchr(text, ')');
    for (int i = 0; at && i < 12; i++)
      at = strchr(at + 1, ' ');
    if (at) {
      char *rest = NULL;
      user = strtoll(at, &rest, 10);
      system = strtoll(rest, NULL, 10);
    }
  }
  if (file) fclose(file);
  return (double)(user + system) / (double)sysconf(_SC_CLK_TCK);
}

/* ---- asking ---- */

static int connect_as(int who, int port) {
  struct sockaddr_in from = {.sin_family = AF_INET}, to = {.sin_family = AF_INET};
  from.sin_addr.s_addr = htonl(INADDR_LOOPBACK + 1 + (uint32_t)who);
  to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  to.sin_port = htons((uint16_t)port);
  int fd = socket(AF_INET, SOCK_STREAM, 0);
  bool good = fd >= 0 && bind(fd, (struct sockaddr *)&from, sizeof from) == 0 &&
              connect(fd, (struct sockaddr *)&to, sizeof to) == 0;
  if (!good) die(strerror(errno));
  return fd;
}

static void send_request(int fd, int port, const char *method, const char *path, const char *pass,
                         const char *body) {
  static int count;
  char text[1200];
  int used = snprintf(text, sizeof text,
                      "%s %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%sPractice-Pass: %s\r\n"
                      "Idempotency-Key: bench-%d-%d\r\n",
                      method, path, port, body ? "Connection: close\r\n" : "", pass, (int)getpid(),
                      count++);
  if (body) {
    used += snprintf(text + used, sizeof text - (size_t)used,
                     "Content-Type: application/json\r\nContent-Length: %zu\r\n\r\n%s",
                     strlen(body), body);
  } else {
    used += snprintf(text + used, sizeof text - (size_t)used, "\r\n");
  }
  if (send(fd, text, (size_t)used, MSG_NOSIGNAL) != used) die("a request was cut");
}

/* The answer's JSON; NULL: none. *status: 0 none. */
static json_t *ask(int who, int port, const char *path, const char *pass, const char *body,
                   int *status) {
  static char text[200000];
  size_t used = 0;
  int fd = connect_as(who, port);
  send_request(fd, port, "POST", path, pass, body);
  for (ssize_t got; (got = recv(fd, text + used, sizeof text - 1 - used, 0)) > 0;)
    used += (size_t)got;
  close(fd);
  text[used] = '\0';
  *status = 0;
  const char *begin = strstr(text, "\r\n\r\n");
  if (!begin || sscanf(text, "HTTP/1.1 %d", status) != 1) return NULL;
  return json_loads(begin + 4, 0, NULL);
}

static void bring_in(learner *l, int number, int port, const char *card) {
  char wish[160], path[80];
  int status = 0;
  snprintf(wish, sizeof wish, "{\"card\": \"%s\"}", card);
  json_t *json = ask(number, port, "/api/practice", "", wish, &status);
  if (status != 201) die(json_string_value(json_object_get(json, "error")));
  l->car = json_integer_value(json_object_get(json, "practice"));
  snprintf(l->pass, sizeof l->pass, "%s", json_string_value(json_object_get(json, "pass")));
  json_decref(json);
  snprintf(path, sizeof path, "/api/practice/%lld/events", l->car);
  l->stream = connect_as(number, port);
  send_request(l->stream, port, "GET", path, "", NULL);
}

/* ---- looking ---- */

/* Events that end in these bytes; the last few bytes are kept, for one that is cut. */
static void hear(learner *l) {
  char text[8192];
  size_t kept = strlen(l->tail);
  memcpy(text, l->tail, kept);
  ssize_t got = recv(l->stream, text + kept, sizeof text - 1 - kept, MSG_DONTWAIT);
  if (got <= 0) die("a stream ended");
  text[kept + (size_t)got] = '\0';
  const char *at = text;
  for (const char *found; (found = strstr(at, "event: needles")) != NULL; at = found + 14) {
    double t = now();
    if (l->needles++ && t - l->last > l->worst) l->worst = t - l->last;
    l->last = t;
  }
  size_t left = strlen(at), most = sizeof l->tail - 1 < 13 ? sizeof l->tail - 1 : 13;
  snprintf(l->tail, sizeof l->tail, "%s", at + (left > most ? left - most : 0));
}

static void look(learner *list, int count, double until) {
  static struct pollfd in[LEARNERS_MOST];
  for (int i = 0; i < count; i++)
    in[i] = (struct pollfd){.fd = list[i].stream, .events = POLLIN};
  double left;
  do { /* once at least: who is late with moves still looks */
    left = until - now();
    if (poll(in, (nfds_t)count, left > 0 ? (int)(1e3 * left) + 1 : 0) <= 0) continue;
    for (int i = 0; i < count; i++) {
      if (in[i].revents) hear(&list[i]);
    }
  } while (left > 0);
}

/* One learner's next move: a screw, the throttle, half a minute waited, a reading, a check. A move
   that this car refuses is no failure. */
static void make_move(const learner *l, int number, int port, int which) {
  static const char *const moves[] = {
      "{\"move\": \"turn\", \"screw\": \"speed screw\", \"turns\": -0.0625}",
      "{\"move\": \"hold\", \"speed_rad_s\": 261.8}",
      "{\"move\": \"wait\"}",
      "{\"move\": \"read\"}",
      "{\"move\": \"pedal\", \"share\": 0}",
      "{\"move\": \"turn\", \"screw\": \"speed screw\", \"turns\": 0.0625}",
      "{\"move\": \"blip\"}",
      "{\"move\": \"check\", \"check\": \"fuel level\"}"};
  char path[80];
  int status = 0;
  snprintf(path, sizeof path, "/api/practice/%lld/moves", l->car);
  json_decref(ask(number, port, path, l->pass, moves[which % 8], &status));
  if (status != 200 && status != 422) die("a move was not answered");
}

typedef struct clock_told {
  long long ticks, missed;
  double longest;
} clock_told;

static clock_told ask_clock(int port) {
  static char text[20000];
  size_t used = 0;
  int fd = connect_as(0, port);
  char head[160];
  int length = snprintf(head, sizeof head,
                        "GET /api/practice HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nConnection: close\r\n"
                        "\r\n",
                        port);
  if (send(fd, head, (size_t)length, MSG_NOSIGNAL) != length) die("a request was cut");
  for (ssize_t got; (got = recv(fd, text + used, sizeof text - 1 - used, 0)) > 0;)
    used += (size_t)got;
  close(fd);
  text[used] = '\0';
  const char *begin = strstr(text, "\r\n\r\n");
  json_t *json = begin ? json_loads(begin + 4, 0, NULL) : NULL;
  clock_told told = {json_integer_value(json_object_get(json, "ticks")),
                     json_integer_value(json_object_get(json, "missed_ticks")),
                     json_number_value(json_object_get(json, "longest_round_s"))};
  json_decref(json);
  return told;
}

/* ---- the run ---- */

static void work(learner *list, int count, int port, int seconds) {
  double began = now();
  int moves = seconds * count / MOVE_EVERY;
  for (int m = 0; m < moves; m++) {
    int i = m % count;
    look(list, count, began + (double)m * MOVE_EVERY / count);
    make_move(&list[i], i, port, m / count + i);
  }
  look(list, count, began + seconds);
}

static void say(const learner *list, int count, int seconds, clock_told before, clock_told after,
                double processor, pid_t pid) {
  size_t least = SIZE_MAX, sum = 0;
  double worst = 0;
  for (int i = 0; i < count; i++) {
    least = list[i].needles < least ? list[i].needles : least;
    sum += list[i].needles;
    worst = list[i].worst > worst ? list[i].worst : worst;
  }
  printf("%d cars for %d s, a move each every %d s\n", count, seconds, MOVE_EVERY);
  printf("  ticks %lld, missed %lld, longest round %.0f ms of 100\n", after.ticks - before.ticks,
         after.missed - before.missed, 1e3 * after.longest);
  printf("  needles a car: mean %.1f/s, least %.1f/s, longest without %.0f ms\n",
         (double)sum / count / seconds, (double)least / seconds, 1e3 * worst);
  printf("  processor %.0f %% of one core; memory %.1f MB, most %.1f MB\n",
         100 * processor / seconds, (double)memory_of(pid, "VmRSS:") / 1024,
         (double)memory_of(pid, "VmHWM:") / 1024);
}

int main(int argc, char **argv) {
  static learner list[LEARNERS_MOST];
  char folder[] = "/tmp/bench-practice-XXXXXX", command[80];
  int count = argc > 1 ? atoi(argv[1]) : 200, seconds = argc > 2 ? atoi(argv[2]) : 30, pipes[2];
  if (count < 1 || count > LEARNERS_MOST || seconds < 1) die("1 to 220 cars, 1 s or more");
  if (!mkdtemp(folder) || pipe(pipes) != 0) die(strerror(errno));
  signal(SIGPIPE, SIG_IGN);
  pid_t pid = fork();
  if (pid < 0) die(strerror(errno));
  if (pid == 0) serve(folder, LW_SOURCE_ROOT "/cards", pipes[1]);
  int port = 0;
  if (read(pipes[0], &port, sizeof port) != sizeof port) die("the server did not start");
  double begin = now();
  for (int i = 0; i < count; i++)
    bring_in(&list[i], i, port, argc > 3 ? argv[3] : demo[i % DEMO]);
  printf("brought in, in %.1f s; memory %.1f MB\n", now() - begin,
         (double)memory_of(pid, "VmRSS:") / 1024);
  look(list, count, now() + 2);
  for (int i = 0; i < count; i++)
    list[i].needles = 0, list[i].worst = 0;
  clock_told before = ask_clock(port);
  double used = processor_of(pid);
  work(list, count, port, seconds);
  say(list, count, seconds, before, ask_clock(port), processor_of(pid) - used, pid);
  kill(pid, SIGKILL);
  waitpid(pid, NULL, 0);
  snprintf(command, sizeof command, "rm -r '%s'", folder);
  return system(command) == 0 ? 0 : 2;
}
