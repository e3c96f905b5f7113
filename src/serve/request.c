/* request.c - one request: its head is judged before a byte of its body is taken, its body is
** gathered up to a limit, and its answer made here or by a hand.
**
**   new -> head judged -> body gathered -> (quick) answered
**                                       -> (hand) suspended -> worked -> resumed -> answered
**                                       -> (stream) events until either side ends it
**
** A refusal at the head is sent at once; libmicrohttpd then closes the connection, so the body of a
** refused request is never read.
*/
#include "serve.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const char *header(const request *r, const char *name) {
  return MHD_lookup_connection_value(r->connection, MHD_HEADER_KIND, name);
}

static int fd_of(struct MHD_Connection *connection) {
  const union MHD_ConnectionInfo *info =
      MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
  return info ? info->connect_fd : -1;
}

/* ---- the head ---- */

static bool refuse(request *r, unsigned status, const char *text) {
  reply_error(r, status, "%s", text);
  return false;
}

static bool check_query_name(request *r, const char *name) {
  const char *list = r->route->query;
  size_t length = strlen(name);
  for (const char *word = list; *word;) {
    size_t n = strcspn(word, " ");
    if (n == length && memcmp(word, name, n) == 0) return true;
    word += n + strspn(word + n, " ");
  }
  return false;
}

typedef struct query_check {
  request *r;
  const char *bad;
} query_check;

static enum MHD_Result take_query(void *to, enum MHD_ValueKind kind, const char *name,
                                  const char *value) {
  query_check *check = to;
  (void)kind;
  if (!check_query_name(check->r, name)) {
    check->bad = name;
    return MHD_NO;
  }
  if (strcmp(name, "search") == 0) check->r->search = value ? value : "";
  if (strcmp(name, "paper") == 0) check->r->paper = value ? value : "";
  if (strcmp(name, "hold") == 0) check->r->hold = value ? value : "";
  return MHD_YES;
}

static bool take_queries(request *r) {
  query_check check = {r, NULL};
  MHD_get_connection_values(r->connection, MHD_GET_ARGUMENT_KIND, take_query, &check);
  if (!check.bad) return true;
  reply_error(r, MHD_HTTP_BAD_REQUEST, "'%.40s' is not a name this address takes in its query",
              check.bad);
  return false;
}

/* "application/json; charset=utf-8" is application/json. */
static bool is_type(const char *given, const char *type) {
  size_t length = strlen(type);
  return given && strncasecmp(given, type, length) == 0 &&
         (!given[length] || given[length] == ';' || given[length] == ' ');
}

static bool check_type(request *r) {
  const char *type = header(r, MHD_HTTP_HEADER_CONTENT_TYPE);
  bool json = is_type(type, "application/json");
  r->yaml = (r->route->flags & TAKES_YAML) && is_type(type, "application/yaml");
  if (json || r->yaml) return true;
  return refuse(r, MHD_HTTP_UNSUPPORTED_MEDIA_TYPE,
                r->route->flags & TAKES_YAML
                    ? "the body must be application/json or application/yaml"
                    : "the body must be application/json");
}

static bool check_length(request *r) {
  const char *length = header(r, MHD_HTTP_HEADER_CONTENT_LENGTH);
  if (!length || strtoull(length, NULL, 10) <= BODY_MOST) return true;
  return refuse(r, MHD_HTTP_CONTENT_TOO_LARGE, "the body is larger than 1 MB");
}

static bool take_key(request *r) {
  static const char allowed[] =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.:";
  r->key = header(r, "Idempotency-Key");
  r->pass = header(r, "Practice-Pass");
  if (!(r->route->flags & NEEDS_KEY)) return true;
  size_t length = r->key ? strlen(r->key) : 0;
  if (length >= 8 && length <= LW_CHANGE_KEY_MOST && strspn(r->key, allowed) == length) return true;
  return refuse(r, MHD_HTTP_BAD_REQUEST,
                "this needs a header Idempotency-Key of 8 to 80 letters, digits, - _ . or :, the "
                "same each time the same change is sent");
}

/* If-Match: "17" */
static bool take_run(request *r) {
  const char *tag = header(r, MHD_HTTP_HEADER_IF_MATCH);
  r->on_run = -1;
  if (!(r->route->flags & NEEDS_RUN)) return true;
  char *end = NULL;
  if (tag && tag[0] == '"' && tag[1] >= '1' && tag[1] <= '9' && strlen(tag) < 20) {
    r->on_run = strtoll(tag + 1, &end, 10);
    if (strcmp(end, "\"") == 0) return true;
  }
  return refuse(r, MHD_HTTP_PRECONDITION_REQUIRED,
                "this needs a header If-Match with the run the change was made to, as in \"17\"");
}

/* True: go on; false: r has a reply. */
static bool judge_head(lw_server *server, request *r) {
  if (!guard_admit(server, r)) return false;
  if (!r->route) return true; /* an asset */
  if (!take_queries(r)) return false;
  if ((r->route->flags & TAKES_BODY) && (!check_type(r) || !check_length(r))) return false;
  return take_key(r) && take_run(r);
}

/* ---- the body ---- */

static void gather(request *r, const char *bytes, size_t length) {
  bool takes = r->route && (r->route->flags & TAKES_BODY);
  if (!takes || r->used + length > BODY_MOST) r->too_large = true;
  if (r->too_large) return;
  if (r->used + length + 1 > r->size) {
    size_t size = (r->used + length) * 2 + 256;
    char *grown = realloc(r->body, size);
    if (!grown) {
      r->too_large = true;
      return;
    }
    r->body = grown;
    r->size = size;
  }
  memcpy(r->body + r->used, bytes, length);
  r->used += length;
  r->body[r->used] = '\0';
}

/* ---- the answer ---- */

static enum MHD_Result send_stream(request *r) {
  bool board = r->route->kind == ROUTE_BOARD; /* classes are told of under negative numbers */
  struct MHD_Response *response =
      r->route->kind == ROUTE_NEEDLES
          ? needles_stream(r)
          : hub_stream(r->server->hub, r->connection, board ? -r->number : r->number, r->who,
                       header(r, "Last-Event-ID"));
  if (!response) {
    if (!r->reply.status)
      reply_error(r, MHD_HTTP_SERVICE_UNAVAILABLE, "too many pages are open; close one");
    return reply_send(r);
  }
  guard_head(response);
  MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, "text/event-stream");
  MHD_add_response_header(response, MHD_HTTP_HEADER_CACHE_CONTROL, "no-store");
  enum MHD_Result result = MHD_queue_response(r->connection, MHD_HTTP_OK, response);
  MHD_destroy_response(response);
  return result;
}

static enum MHD_Result give_to_hand(request *r) {
  MHD_suspend_connection(r->connection);
  r->queued = true;
  if (hands_take(r->server, r)) return MHD_YES;
  reply_error(r, MHD_HTTP_SERVICE_UNAVAILABLE, "the server is busy; try again");
  r->reply.retry_after = 1;
  MHD_resume_connection(r->connection);
  return MHD_YES;
}

static enum MHD_Result answer(request *r) {
  if (r->reply.status) return reply_send(r);
  if (r->too_large) {
    reply_error(r, MHD_HTTP_CONTENT_TOO_LARGE, "the body is larger than what is taken here");
    return reply_send(r);
  }
  if (!r->route) {
    const asset *a = asset_find(r->path);
    if (a) return asset_send(r, a);
    reply_error(r, MHD_HTTP_NOT_FOUND, "there is nothing at this address");
    return reply_send(r);
  }
  if (r->route->kind >= ROUTE_STREAM) return send_stream(r);
  if (r->route->kind == ROUTE_HAND) return give_to_hand(r);
  r->route->answer(NULL, r);
  return reply_send(r);
}

/* ---- what libmicrohttpd calls ---- */

static request *request_new(lw_server *server, struct MHD_Connection *connection,
                            const char *method, const char *url) {
  request *r = calloc(1, sizeof *r);
  if (!r) return NULL;
  r->server = server;
  r->connection = connection;
  r->path = url;
  r->method = method;
  r->started = seconds_now();
  r->secure = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_GNUTLS_SESSION) != NULL;
  return r;
}

enum MHD_Result request_take(void *to, struct MHD_Connection *connection, const char *url,
                             const char *method, const char *version, const char *upload,
                             size_t *upload_size, void **held) {
  lw_server *server = to;
  request *r = *held;
  (void)version;
  if (!r) {
    r = request_new(server, connection, method, url);
    if (!r) return MHD_NO;
    *held = r;
    guard_request_began(server->guard, fd_of(connection));
    return judge_head(server, r) ? MHD_YES : reply_send(r);
  }
  if (*upload_size) {
    gather(r, upload, *upload_size);
    *upload_size = 0;
    return MHD_YES;
  }
  guard_request_came(server->guard, fd_of(connection));
  return answer(r);
}

void request_over(void *to, struct MHD_Connection *connection, void **held,
                  enum MHD_RequestTerminationCode why) {
  lw_server *server = to;
  request *r = *held;
  (void)why;
  guard_request_came(server->guard, fd_of(connection));
  if (!r) return;
  reply_free(&r->reply);
  free(r->body);
  free(r);
  *held = NULL;
}
