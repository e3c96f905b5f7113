/* cmd_serve.c - `leanward serve`: the jobs in a browser, here or on paired devices. */
#include "cli.h"

#include "leanward/serve.h"

#include <errno.h>
#include <getopt.h>
#include <limits.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { USUAL_PORT = 8350, TICK_SECONDS = 1, BEAT_TICKS = 10, RENEW_DAYS = 14 };

static const char usage[] =
    "Usage: leanward serve [OPTION]...\n"
    "Open the saved jobs in a browser, until interrupted. Only programs on this machine reach it,\n"
    "unless --lan is given; then a phone or tablet is paired once, by its camera or by a token.\n\n"
    "  --port N        listen on this port (8350; 0: any that is free)\n"
    "  --lan           also let paired devices on this network in\n"
    "  --tls           with --lan: devices speak TLS, on the next port (8351)\n"
    "  --certificate FILE, --key FILE\n"
    "                  with --tls: this certificate and its key (PEM), not one made here\n"
    "  --cards FOLDER  spec cards that jobs may name (cards beside the store)\n"
    "  --store PATH    use the store at PATH instead of the usual one\n"
    "  --listen FILE   show what this instrument reads as it comes (a description, as for\n"
    "                    `leanward listen`); may be given up to 8 times\n"
    "  --replay FILE   instead: play a log or a CSV file as if it were read now\n"
    "  --speed N       so many times as fast as it was (1)\n"
    "  --open          open the page in this machine's browser\n"
    "  --help          this text\n\n"
    "With --lan, Enter shows a new token. Exit status: 0 ended by a signal, 2 could not.\n";

typedef struct serve_options {
  char store[PATH_MAX], cards[PATH_MAX];
  const char *instruments[LW_SOURCE_INSTRUMENTS], *replay;
  size_t instrument_count;
  const char *certificate, *key;
  double speed;
  int port;
  bool lan, tls, open;
} serve_options;

/* ---- what is printed ---- */

/* As two lines of 16 bytes. */
static void show_fingerprint(const lw_server *server) {
  const char *print = lw_serve_fingerprint(server);
  if (!print || !lw_serve_certificate_made_here(server)) return;
  printf(
      "\nThe device's browser warns once that nobody vouches for this certificate. Before you go\n"
      "on there, look at it, and go on only when its SHA-256 fingerprint is\n\n"
      "    %.48s\n    %s\n\n",
      print, print + 48);
}

static void show_token(lw_server *server) {
  const char *address = NULL, *token = lw_serve_token(server, &address);
  if (!token) {
    puts("Too many tokens wait to be used; each lives 10 minutes.");
    return;
  }
  printf("\nTo pair a device, open %s/pair there and type\n\n    %s\n\n", lw_serve_origin(server),
         token);
  char *qr = isatty(STDOUT_FILENO) ? lw_serve_qr_text(address, cli_color(stdout)) : NULL;
  if (qr) printf("or point its camera here:\n\n%s\n", qr);
  free(qr);
  puts("The token works once, within 10 minutes.");
  show_fingerprint(server);
  fflush(stdout);
}

static int days_left(const lw_server *server) {
  const int64_t day = INT64_C(24) * 3600;
  return (int)((lw_serve_certificate_until(server) - time(NULL)) / day);
}

static void show_certificate(const lw_server *server) {
  char day[32];
  struct tm utc;
  time_t until = (time_t)lw_serve_certificate_until(server);
  gmtime_r(&until, &utc);
  strftime(day, sizeof day, "%Y-%m-%d", &utc);
  printf("That address is for this machine alone; %s/ is for paired devices.\n"
         "Its certificate is good until %s.\n",
         lw_serve_origin(server), day);
}

static void show_start(lw_server *server, const serve_options *o) {
  printf("http://127.0.0.1:%d/ has the jobs of %s.\n", lw_serve_port(server), o->store);
  if (o->tls) show_certificate(server);
  if (o->lan) show_token(server);
  if (!o->lan) puts("Only this machine reaches it. Ctrl-C ends it.");
  fflush(stdout);
}

/* The desktop's own way to open an address; not waited for. */
static void open_page(lw_server *server) {
  char address[64];
  snprintf(address, sizeof address, "http://127.0.0.1:%d/", lw_serve_port(server));
  pid_t child = fork();
  if (child != 0) return;
  sigset_t none;
  sigemptyset(&none);
  sigprocmask(SIG_SETMASK, &none, NULL);
  execlp("xdg-open", "xdg-open", address, (char *)NULL);
  _exit(127);
}

/* ---- running ---- */

static void block_signals(sigset_t *set) {
  sigemptyset(set);
  sigaddset(set, SIGTERM);
  sigaddset(set, SIGINT);
  sigaddset(set, SIGHUP);
  pthread_sigmask(SIG_BLOCK, set, NULL);
}

/* Enter on the terminal asks for a new token. */
static bool enter_pressed(bool *listen) {
  struct pollfd in = {.fd = STDIN_FILENO, .events = POLLIN};
  char bytes[256];
  if (!*listen || poll(&in, 1, 0) <= 0) return false;
  ssize_t got = read(STDIN_FILENO, bytes, sizeof bytes);
  if (got <= 0) *listen = false;
  return got > 0;
}

/* Once a day near the certificate's end; told: the days left that were told last. */
static int warn_of_end(const lw_server *server, int told) {
  int left = told == INT_MIN ? told : days_left(server);
  if (left >= told) return told;
  if (left >= 0) {
    printf("The certificate ends in %d days: start the server anew%s.\n", left + 1,
           lw_serve_certificate_made_here(server) ? ", and a new one is made" : " with a new one");
  } else {
    puts("The certificate has ended: start the server anew.");
  }
  fflush(stdout);
  return left;
}

static void run(lw_server *server, const serve_options *o, const sigset_t *signals) {
  const struct timespec tick = {TICK_SECONDS, 0};
  bool listen = o->lan && isatty(STDIN_FILENO);
  unsigned paired = 0;
  int told = o->tls ? RENEW_DAYS : INT_MIN;
  for (int count = 1; sigtimedwait(signals, NULL, &tick) < 0; count++) {
    if (count % BEAT_TICKS == 0) {
      lw_serve_tick(server);
      told = warn_of_end(server, told);
    }
    while (waitpid(-1, NULL, WNOHANG) > 0)
      continue;
    if (lw_serve_paired(server) != paired) {
      paired = lw_serve_paired(server);
      puts("A device was paired.");
      fflush(stdout);
    }
    if (enter_pressed(&listen)) show_token(server);
  }
}

static int serve(const serve_options *o) {
  lw_error error = {0};
  lw_server *server = NULL;
  sigset_t signals;
  const lw_serve_options options = {.store = o->store,
                                    .cards = o->cards[0] ? o->cards : NULL,
                                    .port = o->port,
                                    .lan = o->lan,
                                    .tls = o->tls,
                                    .certificate = o->certificate,
                                    .key = o->key,
                                    .instruments = o->instruments,
                                    .instrument_count = o->instrument_count,
                                    .replay = o->replay,
                                    .replay_speed = o->speed};
  umask(0077);
  block_signals(&signals);
  if (lw_serve_start(&options, &server, &error) != LW_OK) return cli_fail("serve", &error);
  show_start(server, o);
  if (o->open) open_page(server);
  run(server, o, &signals);
  lw_serve_stop(server);
  return cli_finish("serve", CLI_DONE);
}

/* ---- options ---- */

static bool take_port(serve_options *o, const char *text) {
  char *end = NULL;
  errno = 0;
  long port = strtol(text, &end, 10);
  if (errno || !*text || *end || port < 0 || port > 65535) return false;
  o->port = (int)port;
  return true;
}

static bool take_path(char *to, const char *path) {
  if (!path[0] || strlen(path) >= PATH_MAX) return false;
  memcpy(to, path, strlen(path) + 1);
  return true;
}

static bool take_instrument(serve_options *o, const char *path) {
  if (o->instrument_count == LW_SOURCE_INSTRUMENTS) return false;
  o->instruments[o->instrument_count++] = path;
  return true;
}

static bool take_speed(serve_options *o, const char *text) {
  lw_error ignored = {0};
  return lw_number_read(text, &o->speed, &ignored) == LW_OK && o->speed > 0;
}

static bool take(serve_options *o, int c, const char *value) {
  switch (c) {
  case 'p': return take_port(o, value);
  case 'l': o->lan = true; return true;
  case 't': o->tls = true; return true;
  case 'C': o->certificate = value; return true;
  case 'k': o->key = value; return true;
  case 'o': o->open = true; return true;
  case 'S': return take_path(o->store, value);
  case 'c': return take_path(o->cards, value);
  case 'i': return take_instrument(o, value);
  case 'r': o->replay = value; return true;
  case 's': return take_speed(o, value);
  default: return false;
  }
}

/* The folder `cards` beside the store. */
static void usual_cards(serve_options *o) {
  const char *slash = strrchr(o->store, '/');
  int folder = slash ? (int)(slash - o->store) + 1 : 0;
  if (o->cards[0] || (size_t)folder + 6 > sizeof o->cards) return;
  memcpy(o->cards, o->store, (size_t)folder);
  memcpy(o->cards + folder, "cards", 6);
}

/* Options that do not go together; NULL: they do. */
static const char *clash_of(const serve_options *o) {
  if (o->replay && o->instrument_count) return "--listen and --replay do not go together";
  if (o->tls && !o->lan) return "--tls is for devices on the network: it needs --lan";
  if (!o->certificate != !o->key) return "--certificate and --key are given together";
  if (o->certificate && !o->tls) return "--certificate and --key need --tls";
  if (o->tls && o->port == 65535) return "--tls takes the port behind --port: 65534 is the last";
  return NULL;
}

int cmd_serve(int argc, char **argv) {
  static const struct option options[] = {{"port", required_argument, NULL, 'p'},
                                          {"lan", no_argument, NULL, 'l'},
                                          {"cards", required_argument, NULL, 'c'},
                                          {"store", required_argument, NULL, 'S'},
                                          {"listen", required_argument, NULL, 'i'},
                                          {"replay", required_argument, NULL, 'r'},
                                          {"speed", required_argument, NULL, 's'},
                                          {"open", no_argument, NULL, 'o'},
                                          {"tls", no_argument, NULL, 't'},
                                          {"certificate", required_argument, NULL, 'C'},
                                          {"key", required_argument, NULL, 'k'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  static serve_options o = {.port = USUAL_PORT, .speed = 1};
  lw_store_default_path(o.store, sizeof o.store);
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    if (c == 'h') {
      fputs(usage, stdout);
      return cli_finish("serve", CLI_DONE);
    }
    if (!take(&o, c, optarg)) {
      return cli_usage("serve", "'%s' is not an option, or lacks its value, or has a wrong one",
                       argv[optind - 1]);
    }
  }
  if (optind != argc) return cli_usage("serve", "'%.60s' was not expected", argv[optind]);
  const char *clash = clash_of(&o);
  if (clash) return cli_usage("serve", "%s", clash);
  usual_cards(&o);
  return serve(&o);
}
