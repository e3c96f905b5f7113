/* server.c - start and stop. */
#define _DEFAULT_SOURCE /* IFF_UP */

#include "serve.h"

#include <arpa/inet.h>
#include <errno.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

/* ---- addresses ---- */

size_t own_addresses(struct in_addr *list, size_t most) {
  struct ifaddrs *all = NULL;
  size_t count = 0;
  if (getifaddrs(&all) != 0) all = NULL;
  for (const struct ifaddrs *a = all; a && count + 1 < most; a = a->ifa_next) {
    bool usable = a->ifa_addr && a->ifa_addr->sa_family == AF_INET && (a->ifa_flags & IFF_UP) &&
                  !(a->ifa_flags & IFF_LOOPBACK);
    if (!usable) continue;
    struct sockaddr_in in;
    memcpy(&in, a->ifa_addr, sizeof in);
    list[count++] = in.sin_addr;
  }
  if (all) freeifaddrs(all);
  list[count++].s_addr = htonl(INADDR_LOOPBACK);
  return count;
}

/* *port: 0 takes any that is free, and becomes it. */
static int listening_socket(bool everywhere, int *port, lw_error *error) {
  struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons((uint16_t)*port)};
  socklen_t length = sizeof at;
  int yes = 1;
  at.sin_addr.s_addr = htonl(everywhere ? INADDR_ANY : INADDR_LOOPBACK);
  int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  bool good = fd >= 0 && setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) == 0 &&
              bind(fd, (struct sockaddr *)&at, sizeof at) == 0 && listen(fd, 64) == 0 &&
              getsockname(fd, (struct sockaddr *)&at, &length) == 0;
  if (good) {
    *port = ntohs(at.sin_port);
    return fd;
  }
  int number = errno;
  if (fd >= 0) close(fd);
  lw_fail(error, LW_IO, "port %d cannot be used: %s%s", *port, strerror(number),
          number == EADDRINUSE ? "; another program has it: name another with --port" : "");
  return -1;
}

/* ---- start ---- */

static void connection_changed(void *to, struct MHD_Connection *connection, void **held,
                               enum MHD_ConnectionNotificationCode code) {
  lw_server *server = to;
  (void)held;
  const union MHD_ConnectionInfo *info =
      MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
  if (!info) return;
  if (code == MHD_CONNECTION_NOTIFY_STARTED) {
    guard_connected(server->guard, info->connect_fd);
  } else {
    guard_gone(server->guard, info->connect_fd);
  }
}

/* The library's own remarks (a peer that went away) are nobody's concern. */
static void say_nothing(void *to, const char *format, va_list args) LW_PRINTF(2, 0);
static void say_nothing(void *to, const char *format, va_list args) {
  (void)to;
  (void)format;
  (void)args;
}

/* A %00 would end the text early and let the rest of an address go unseen: such a text becomes one
   that names nothing. */
static size_t unescape(void *to, struct MHD_Connection *connection, char *text) {
  (void)to;
  (void)connection;
  if (!strstr(text, "%00")) return MHD_http_unescape(text);
  text[0] = '\x01';
  text[1] = '\0';
  return 1;
}

/* TLS 1.2 and up, and of its ciphers what GnuTLS thinks safe. */
static const char tls_priorities[] =
    "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2:%SERVER_PRECEDENCE";

static bool start_daemon(lw_server *server, door *d, int fd, const tls_identity *tls) {
  unsigned flags =
      MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ITC | MHD_USE_ERROR_LOG;
  const struct MHD_OptionItem secure[] = {
      {MHD_OPTION_HTTPS_MEM_CERT, 0, tls ? tls->certificate : NULL},
      {MHD_OPTION_HTTPS_MEM_KEY, 0, tls ? tls->key : NULL},
      {MHD_OPTION_HTTPS_PRIORITIES, 0, (void *)(uintptr_t)tls_priorities}, // NOLINT
      {MHD_OPTION_END, 0, NULL}};
  const struct MHD_OptionItem plain[] = {{MHD_OPTION_END, 0, NULL}};
  d->daemon = MHD_start_daemon(
      flags | (tls ? MHD_USE_TLS : 0), 0, NULL, NULL, request_take, server,
      MHD_OPTION_EXTERNAL_LOGGER, say_nothing, NULL, MHD_OPTION_LISTEN_SOCKET, fd,
      MHD_OPTION_NOTIFY_COMPLETED, request_over, server, MHD_OPTION_NOTIFY_CONNECTION,
      connection_changed, server, MHD_OPTION_CONNECTION_LIMIT, (unsigned)CONNECTIONS_MOST,
      MHD_OPTION_PER_IP_CONNECTION_LIMIT, (unsigned)CONNECTIONS_EACH,
      MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)CONNECTION_MEMORY, MHD_OPTION_CONNECTION_TIMEOUT,
      (unsigned)IDLE_SECONDS, MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_UNESCAPE_CALLBACK,
      unescape, NULL, MHD_OPTION_ARRAY, tls ? secure : plain, MHD_OPTION_END);
  return d->daemon != NULL;
}

static lw_status open_door(lw_server *server, door *d, bool everywhere, const tls_identity *tls,
                           lw_error *error) {
  int fd = listening_socket(everywhere, &d->port, error);
  if (fd < 0) return LW_IO;
  if (start_daemon(server, d, fd, tls)) return LW_OK;
  close(fd);
  return lw_fail(error, LW_IO, "the server could not be started");
}

/* Without TLS one door for all; with it the plain one is for this machine alone. */
static lw_status open_doors(lw_server *server, const lw_serve_options *options, lw_error *error) {
  lw_status status = LW_OK;
  door *plain = &server->doors[0], *secure = &server->doors[1];
  plain->port = options->port;
  if (options->tls) status = tls_load(options, &server->tls, error);
  if (status == LW_OK)
    status = open_door(server, plain, options->lan && !options->tls, NULL, error);
  if (status != LW_OK || !options->tls) return status;
  secure->port = options->port ? options->port + 1 : 0;
  return open_door(server, secure, true, &server->tls, error);
}

/* What a device opens: the address, or a name when the certificate is for names alone. */
static void say_origin(lw_server *server) {
  char host[INET_ADDRSTRLEN] = "127.0.0.1", name[256];
  struct in_addr first[2];
  bool tls = server->tls.leaf != NULL;
  if (server->lan) {
    own_addresses(first, 2);
    inet_ntop(AF_INET, &first[0], host, sizeof host);
  }
  bool named =
      tls && !tls_names(&server->tls, host) && tls_first_name(&server->tls, name, sizeof name);
  snprintf(server->origin, sizeof server->origin, "%s://%s:%d", tls ? "https" : "http",
           named ? name : host, server->doors[tls].port);
}

static lw_status open_first(lw_server *server, lw_error *error) {
  lw_store *store = NULL;
  lw_status status = lw_store_open(server->store, false, &store, error);
  if (status == LW_OK) status = pair_load(&server->pairing, store, error);
  server->hands[0].store = store;
  return status;
}

static lw_server *server_new(const lw_serve_options *options) {
  lw_server *server = calloc(1, sizeof *server);
  if (!server) return NULL;
  pthread_mutex_init(&server->lock, NULL);
  pthread_mutex_init(&server->writing, NULL);
  pthread_mutex_init(&server->drawing, NULL);
  pthread_mutex_init(&server->pairing.lock, NULL);
  pthread_cond_init(&server->work, NULL);
  server->store = strdup(options->store);
  server->cards = options->cards ? strdup(options->cards) : NULL;
  server->lan = options->lan;
  server->began = seconds_now();
  server->guard = guard_new();
  server->hub = hub_new();
  bool good = server->store && server->guard && server->hub && (!options->cards || server->cards);
  if (good) return server;
  lw_serve_stop(server);
  return NULL;
}

lw_status lw_serve_start(const lw_serve_options *options, lw_server **out, lw_error *error) {
  lw_server *server = server_new(options);
  if (!server) return lw_fail(error, LW_NO_MEMORY, "no memory for the server");
  lw_status status = open_first(server, error);
  if (status == LW_OK) status = open_doors(server, options, error);
  say_origin(server);
  if (status == LW_OK && !hands_start(server)) {
    status = lw_fail(error, LW_NO_MEMORY, "the server's threads could not be started");
  }
  if (status == LW_OK) status = live_start(server, options, error);
  if (status == LW_OK) status = yard_start(server, error);
  if (status == LW_OK) {
    *out = server;
  } else {
    lw_serve_stop(server);
  }
  return status;
}

/* ---- stop ---- */

/* In this order: nobody new, what was taken in is worked, streams end, the daemon goes. A
   connection must not sleep when the daemon ends, and after the first three none does. */
void lw_serve_stop(lw_server *server) {
  if (!server) return;
  for (size_t i = 0; i < DOORS; i++) {
    int fd = server->doors[i].daemon ? MHD_quiesce_daemon(server->doors[i].daemon) : -1;
    if (fd >= 0) close(fd);
  }
  if (server->hands_running == 0) lw_store_close(server->hands[0].store);
  hands_stop(server);
  live_stop(server);
  yard_end(server, NOBODY);
  if (server->hub) hub_end(server->hub, NOBODY);
  for (size_t i = 0; i < DOORS; i++) {
    if (server->doors[i].daemon) MHD_stop_daemon(server->doors[i].daemon);
  }
  yard_free(server);
  tls_free(&server->tls);
  guard_free(server->guard);
  hub_free(server->hub);
  free(server->store);
  free(server->cards);
  pthread_mutex_destroy(&server->lock);
  pthread_mutex_destroy(&server->writing);
  pthread_mutex_destroy(&server->drawing);
  pthread_mutex_destroy(&server->pairing.lock);
  pthread_cond_destroy(&server->work);
  free(server);
}

/* ---- the rest ---- */

int lw_serve_port(const lw_server *server) {
  return server->doors[0].port;
}

const char *lw_serve_origin(const lw_server *server) {
  return server->origin;
}

int64_t lw_serve_certificate_until(const lw_server *server) {
  return server->tls.until;
}

const char *lw_serve_fingerprint(const lw_server *server) {
  return server->tls.leaf ? server->tls.fingerprint : NULL;
}

bool lw_serve_certificate_made_here(const lw_server *server) {
  return server->tls.made_here;
}

void lw_serve_tick(lw_server *server) {
  hub_beat(server->hub);
  guard_tick(server->guard);
}

const char *lw_serve_token(lw_server *server, const char **address) {
  if (!pair_token(&server->pairing, server->token_text)) return NULL;
  snprintf(server->token_address, sizeof server->token_address, "%s/pair#%s", server->origin,
           server->token_text);
  *address = server->token_address;
  return server->token_text;
}

unsigned lw_serve_paired(const lw_server *server) {
  pairing *p = // NOLINTNEXTLINE(performance-no-int-to-ptr): its own lock
      &((lw_server *)(uintptr_t)server)->pairing;
  pthread_mutex_lock(&p->lock);
  unsigned paired = p->paired;
  pthread_mutex_unlock(&p->lock);
  return paired;
}
