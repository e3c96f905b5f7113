/* guard.c - who may ask what. In the order of the checks:
**
**   1. rate        so many requests a second from one address
**   2. Host        must name this server by loopback name or by the address that was reached, over
**                  TLS also by a name of the certificate: a page of another site that has its name
**                  resolve to us (rebinding) is refused
**   3. cross-site  a request another site's page makes is refused, by Origin and by Sec-Fetch-Site
**   4. route       the path and method must be ours
**   5. pairing     beyond loopback, only paired devices; assets, status and pairing are open to all
**
** A request that changes something must also carry a JSON or YAML body or a method a plain form
** cannot send (request.c), which is what keeps old browsers without those headers from doing it.
*/
#include "serve.h"

#include <arpa/inet.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <time.h>

enum { ADDRESSES = 256, RATE = 50, BURST = 200, FDS = DOORS * CONNECTIONS_MOST + 64 };

typedef struct bucket {
  uint32_t address;
  double tokens, at;
} bucket;

struct guard {
  pthread_mutex_t lock; /* of all of it: there may be two talking threads */
  bucket buckets[ADDRESSES];
  struct {
    int fd;
    double since; /* a request is coming in since then; 0: none is */
  } coming[FDS];
};

double seconds_now(void) {
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

bool same_secret(const char *a, const char *b, size_t length) {
  unsigned differ = 0;
  for (size_t i = 0; i < length; i++)
    differ |= (unsigned)((unsigned char)a[i] ^ (unsigned char)b[i]);
  return differ == 0;
}

guard *guard_new(void) {
  guard *g = calloc(1, sizeof *g);
  if (!g) return NULL;
  pthread_mutex_init(&g->lock, NULL);
  for (size_t i = 0; i < FDS; i++)
    g->coming[i].fd = -1;
  return g;
}

void guard_free(guard *g) {
  if (g) pthread_mutex_destroy(&g->lock);
  free(g);
}

/* ---- requests that never finish coming in ---- */

/* The library's own timeout starts anew with every byte; a byte now and then would hold a
   connection for ever. So the time from connect (or from the end of the last answer's request) to
   the last byte of a request is watched here. */
static void watch(guard *g, int fd, double since, bool add) {
  if (fd < 0) return;
  pthread_mutex_lock(&g->lock);
  size_t free_at = FDS;
  size_t at = 0;
  for (; at < FDS && g->coming[at].fd != fd; at++) {
    if (g->coming[at].fd < 0 && free_at == FDS) free_at = at;
  }
  if (at == FDS && add) at = free_at;
  if (at < FDS) {
    g->coming[at].fd = fd;
    g->coming[at].since = since;
  }
  pthread_mutex_unlock(&g->lock);
}

void guard_connected(guard *g, int fd) {
  watch(g, fd, seconds_now(), true);
}

void guard_request_began(guard *g, int fd) {
  watch(g, fd, seconds_now(), false);
}

void guard_request_came(guard *g, int fd) {
  watch(g, fd, 0, false);
}

void guard_gone(guard *g, int fd) {
  pthread_mutex_lock(&g->lock);
  for (size_t i = 0; i < FDS; i++) {
    if (g->coming[i].fd == fd) g->coming[i].fd = -1;
  }
  pthread_mutex_unlock(&g->lock);
}

/* A socket that is shut down is closed by the library, which then says guard_gone. */
void guard_tick(guard *g) {
  double now = seconds_now();
  pthread_mutex_lock(&g->lock);
  for (size_t i = 0; i < FDS; i++) {
    bool late = g->coming[i].since > 0 && now - g->coming[i].since > REQUEST_SECONDS;
    if (g->coming[i].fd >= 0 && late) shutdown(g->coming[i].fd, SHUT_RDWR);
  }
  pthread_mutex_unlock(&g->lock);
}

/* ---- the checks ---- */

static const char *header(const request *r, const char *name) {
  return MHD_lookup_connection_value(r->connection, MHD_HEADER_KIND, name);
}

static uint32_t peer_of(const request *r) {
  const union MHD_ConnectionInfo *info =
      MHD_get_connection_info(r->connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
  if (!info || !info->client_addr || info->client_addr->sa_family != AF_INET) return 0;
  struct sockaddr_in in;
  memcpy(&in, info->client_addr, sizeof in);
  return ntohl(in.sin_addr.s_addr);
}

static bool is_loopback(uint32_t address) {
  return address >> 24 == 127;
}

static bool refuse(request *r, unsigned status, const char *text) {
  reply_error(r, status, "%s", text);
  return false;
}

/* Addresses share a bucket where their numbers agree in the last byte; the newer one takes it over,
   with the rate that is left. */
static bool take_one(guard *g, uint32_t peer) {
  bucket *b = &g->buckets[(peer ^ peer >> 8) % ADDRESSES];
  double now = seconds_now();
  pthread_mutex_lock(&g->lock);
  if (b->at <= 0) b->tokens = BURST;
  b->tokens += (now - b->at) * RATE;
  if (b->tokens > BURST) b->tokens = BURST;
  b->at = now;
  b->address = peer;
  bool one = b->tokens >= 1;
  if (one) b->tokens -= 1;
  pthread_mutex_unlock(&g->lock);
  return one;
}

static bool check_rate(guard *g, request *r, uint32_t peer) {
  if (take_one(g, peer)) return true;
  r->reply.retry_after = 1;
  return refuse(r, MHD_HTTP_TOO_MANY_REQUESTS,
                "too many requests from this address; wait a second");
}

/* The address and port of ours that this connection reached. */
static bool reached(const request *r, char *text, size_t size, int *port) {
  const union MHD_ConnectionInfo *info =
      MHD_get_connection_info(r->connection, MHD_CONNECTION_INFO_CONNECTION_FD);
  struct sockaddr_in in;
  socklen_t length = sizeof in;
  if (!info || getsockname(info->connect_fd, (struct sockaddr *)&in, &length) != 0) return false;
  *port = ntohs(in.sin_port);
  return in.sin_family == AF_INET && inet_ntop(AF_INET, &in.sin_addr, text, (socklen_t)size);
}

/* The name of a Host header when its port is ours, the usual one of its scheme being silent. */
static bool host_name(const request *r, const char *host, int port, char *name, size_t size) {
  size_t length = strcspn(host, ":");
  char want[16] = "";
  if (port != (r->secure ? 443 : 80) || host[length]) snprintf(want, sizeof want, ":%d", port);
  if (length == 0 || length >= size || strcmp(host + length, want) != 0) return false;
  memcpy(name, host, length);
  name[length] = '\0';
  return true;
}

/* Over TLS a name of the certificate will do: another site that has its name lead here shows its
   visitors a certificate that is not for it. */
static bool check_host(const lw_server *server, request *r, uint32_t peer) {
  const char *host = header(r, MHD_HTTP_HEADER_HOST);
  char name[256], address[INET_ADDRSTRLEN];
  int port = 0;
  if (host && reached(r, address, sizeof address, &port) &&
      host_name(r, host, port, name, sizeof name)) {
    if (is_loopback(peer) && strcasecmp(name, "localhost") == 0) return true;
    if (strcmp(name, address) == 0) return true;
    if (r->secure && tls_names(&server->tls, name)) return true;
  }
  return refuse(r, MHD_HTTP_MISDIRECTED_REQUEST,
                "this server is reached by its address, as it was printed when it was started");
}

static bool check_site(request *r) {
  const char *origin = header(r, MHD_HTTP_HEADER_ORIGIN);
  const char *site = header(r, "Sec-Fetch-Site");
  const char *host = header(r, MHD_HTTP_HEADER_HOST);
  bool reads = strcmp(r->method, "GET") == 0 || strcmp(r->method, "HEAD") == 0;
  bool api = strncmp(r->path, "/api/", 5) == 0;
  char want[300];
  snprintf(want, sizeof want, "%s://%s", r->secure ? "https" : "http", host ? host : "");
  bool good = !origin || strcmp(origin, want) == 0;
  /* a link from elsewhere may lead to a page, not to the data behind it */
  bool own = !site || strcmp(site, "same-origin") == 0 || strcmp(site, "none") == 0;
  if (good && (own || (reads && !api))) return true;
  return refuse(r, MHD_HTTP_FORBIDDEN, "a page of another site may not ask this");
}

static bool check_route(request *r) {
  bool head = strcmp(r->method, "HEAD") == 0;
  r->route = route_find(head ? "GET" : r->method, r->path, &r->number, r->reply.allow,
                        sizeof r->reply.allow);
  if (r->route && !(head && r->route->kind >= ROUTE_STREAM)) {
    r->reply.allow[0] = '\0';
    return true;
  }
  bool reads = head || strcmp(r->method, "GET") == 0;
  if (!r->route && !r->reply.allow[0] && strncmp(r->path, "/api/", 5) == 0) {
    return refuse(r, MHD_HTTP_NOT_FOUND, "there is nothing at this address");
  }
  if (!r->route && !r->reply.allow[0] && reads) return true; /* perhaps an asset */
  r->route = NULL;
  if (!r->reply.allow[0]) snprintf(r->reply.allow, sizeof r->reply.allow, "GET");
  return refuse(r, MHD_HTTP_METHOD_NOT_ALLOWED, "this address does not take this method");
}

static bool check_who(lw_server *server, request *r, uint32_t peer) {
  if (is_loopback(peer)) {
    r->who = THIS_MACHINE;
    return true;
  }
  r->who = pair_device(&server->pairing, header(r, MHD_HTTP_HEADER_COOKIE));
  if (r->who != NOBODY || !r->route || (r->route->flags & FOR_ANYONE)) return true;
  return refuse(r, MHD_HTTP_UNAUTHORIZED, "this device is not paired, or no longer");
}

bool guard_admit(lw_server *server, request *r) {
  uint32_t peer = peer_of(r);
  return check_rate(server->guard, r, peer) && check_host(server, r, peer) && check_site(r) &&
         check_route(r) && check_who(server, r, peer);
}

void guard_head(struct MHD_Response *response) {
  static const char *const heads[][2] = {
      {"Content-Security-Policy",
       "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
       "connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; "
       "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
      {"X-Content-Type-Options", "nosniff"},
      {"X-Frame-Options", "DENY"},
      {"Referrer-Policy", "no-referrer"},
      {"Cross-Origin-Resource-Policy", "same-origin"},
      {"Cross-Origin-Opener-Policy", "same-origin"},
      {"Permissions-Policy", "camera=(), microphone=(), geolocation=()"},
  };
  for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
    MHD_add_response_header(response, heads[i][0], heads[i][1]);
}
