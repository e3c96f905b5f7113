/* serve.h - what the parts of the server share. Private to this floor.
**
** One thread (libmicrohttpd's, epoll) talks to all connections: it reads requests, lets guard.c
** decide, gives out assets and runs the event streams. Whatever touches the store or computes is
** done by three hands (hand.c) while its connection is suspended. So a slow answer never holds up a
** live reading. With TLS there are two such threads: one for this machine, plain, and one for the
** network.
**
**   server.c   start, stop, connections      request.c  one request from its head to its answer
**   guard.c    who may ask what              route.c    the table of what can be asked
**   hand.c     the working threads           hub.c      live events
**   live.c     readings from instruments     asset.c    the browser's files
**   yard.c     practice cars and classes     needles.c  their needles, live
**   pair.c     tokens and devices            tls.c      the certificate
**   api_*.c    the answers                   qr.c       QR codes
*/
#ifndef LW_SERVE_H
#define LW_SERVE_H

#include "leanward/document.h"
#include "leanward/serve.h"

#include <gnutls/x509.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <pthread.h>

enum {
  BODY_MOST = 1024 * 1024, /* bytes of a request's body */
  CONNECTIONS_MOST = 320,
  CONNECTIONS_EACH = 64, /* from one address */
  CONNECTION_MEMORY = 24 * 1024,
  WAITING_MOST = 64, /* requests that wait for a hand */
  IDLE_SECONDS = 20,
  REQUEST_SECONDS = 30, /* a request that takes longer to come in is ended */
  HANDS = 3,
  DEVICES_MOST = 64,
  TOKENS_MOST = 8,
  TOKEN_LETTERS = 10,
  TOKEN_SECONDS = 600,
  SECRET_BYTES = 32,
  DIGEST_TEXT = 65, /* SHA-256 in hexadecimal */
  EVENTS_KEPT = 1024,
  EVENT_BYTES_KEPT = 4 * 1024 * 1024,
  STREAMS_MOST = 100
};

/* ---- answers ---- */

typedef struct reply {
  unsigned status;  /* 0: none yet */
  const char *type; /* content type */
  char *body;       /* malloced; freed with the reply */
  size_t length;
  char allow[64], location[64], tag[80], cookie[200];
  char disposition[100];
  int retry_after; /* s; 0: none */
} reply;

/* ---- who asks ---- */

enum { NOBODY = -1, THIS_MACHINE = 0 }; /* else the number of a device */

typedef struct route route;
typedef struct hand hand;

typedef struct request {
  lw_server *server;
  struct MHD_Connection *connection;
  const route *route;
  const char *method, *path;
  int64_t who;
  int64_t number; /* {number} of the path */
  char *body;
  size_t used, size;
  bool too_large, queued;
  bool secure;                       /* it came over TLS */
  const char *key;                   /* Idempotency-Key */
  const char *pass;                  /* Practice-Pass; NULL: none */
  int64_t on_run;                    /* If-Match; -1: none */
  bool yaml;                         /* the body is YAML, else JSON */
  const char *search, *paper, *hold; /* query */
  double started;                    /* s, monotonic */
  reply reply;
  struct request *next;
} request;

struct hand {
  lw_server *server;
  pthread_t thread;
  lw_store *store;
  lw_units *units;
  lw_arena *arena; /* of the request it works on */
};

/* ---- routes (route.c) ---- */

typedef enum route_kind {
  ROUTE_HAND,   /* answered by a hand */
  ROUTE_QUICK,  /* answered at once, by the talking thread */
  ROUTE_STREAM, /* events of a job */
  ROUTE_BOARD,  /* events of a class */
  ROUTE_NEEDLES /* a practice car's needles */
} route_kind;

enum { NEEDS_KEY = 1, NEEDS_RUN = 2, TAKES_BODY = 4, TAKES_YAML = 8, FOR_ANYONE = 16, HEAVY = 32 };

struct route {
  const char *method, *path; /* "{number}" stands for a whole number */
  route_kind kind;
  unsigned flags;
  void (*answer)(hand *h, request *r); /* h is NULL for ROUTE_QUICK */
  const char *query;                   /* names that may stand in the query, blank-separated */
};

/* The route of a path and method. NULL: *allow has the methods the path knows, "" when it is no
   path of ours. */
const route *route_find(const char *method, const char *path, int64_t *number, char *allow,
                        size_t size);
/* All of them. */
const route *route_list(size_t *count);

/* ---- guard (guard.c) ---- */

typedef struct guard guard;
/* False: *r has the refusal. */
bool guard_admit(lw_server *server, request *r);
void guard_head(struct MHD_Response *response); /* the headers every answer carries */

/* ---- replies (reply.c) ---- */

/* Takes json over; NULL: no memory, which becomes the answer. */
void reply_json(request *r, unsigned status, json_t *json);
/* {"error": ...} in words. */
void reply_error(request *r, unsigned status, const char *format, ...) LW_PRINTF(3, 4);
/* The same from an lw_error: 422 for what the asker can mend, 404, 413, 503, 507, 500. */
void reply_failure(request *r, lw_status status, const lw_error *error);
enum MHD_Result reply_send(request *r);
void reply_free(reply *reply);

/* ---- hands (hand.c) ---- */

bool hands_start(lw_server *server);
void hands_stop(lw_server *server);
/* False: too much waits already. The connection must be suspended before. */
bool hands_take(lw_server *server, request *r);
/* Open what this hand needs the first time; false: the reply says why not. */
bool hand_ready(hand *h, request *r);

/* ---- events (hub.c) ---- */

typedef struct hub hub;
hub *hub_new(void);
void hub_free(hub *h);
/* Tell all streams of a job, or of every job. data: one line of JSON. */
enum { EVERY_JOB = 0 };
void hub_tell(hub *h, int64_t job, const char *type, const char *data);
/* A stream for a connection; from: the Last-Event-ID, or NULL. NULL: too many. */
struct MHD_Response *hub_stream(hub *h, struct MHD_Connection *connection, int64_t job,
                                int64_t device, const char *from);
void hub_beat(hub *h);                /* keep streams alive */
void hub_end(hub *h, int64_t device); /* end those of a device; -1: all, for good */

/* ---- instruments (live.c) ---- */

typedef struct live_feed live_feed;
/* Nothing to do without instruments. live_stop also after a start that failed. */
lw_status live_start(lw_server *server, const lw_serve_options *options, lw_error *error);
void live_stop(lw_server *server);

/* ---- practice cars (yard.h) ---- */

typedef struct yard yard;
lw_status yard_start(lw_server *server, lw_error *error);
/* End the streams of a device; NOBODY: all, for good, and the clock. Then, when no connection is
   left, yard_free. */
void yard_end(lw_server *server, int64_t device);
void yard_free(lw_server *server);
/* NULL: r has the refusal. */
struct MHD_Response *needles_stream(request *r);

/* ---- pairing (pair.c) ---- */

typedef struct paired_device {
  int64_t number;
  char name[64], secret[DIGEST_TEXT], paired_at[40];
} paired_device;

typedef struct token {
  char text[TOKEN_LETTERS + 1];
  double made; /* s, monotonic; 0: free */
} token;

typedef struct pairing {
  pthread_mutex_t lock;
  paired_device devices[DEVICES_MOST];
  size_t device_count;
  token tokens[TOKENS_MOST];
  double tries; /* left; refilled with time */
  double tried_at;
  unsigned paired;
} pairing;

lw_status pair_load(pairing *p, lw_store *store, lw_error *error);
/* Into text, of TOKEN_LETTERS + 1; false: too many wait. */
bool pair_token(pairing *p, char *text);
/* The device of a Cookie header, NOBODY when there is none or it is revoked. */
int64_t pair_device(pairing *p, const char *cookie);
void pair_forget(pairing *p, int64_t number);
/* SHA-256 of bytes as hexadecimal. */
void digest_text(const void *bytes, size_t length, char text[DIGEST_TEXT]);

/* ---- TLS (tls.c) ---- */

typedef struct tls_identity {
  char *certificate, *key; /* PEM, malloced */
  gnutls_x509_crt_t leaf;  /* NULL: no TLS */
  bool made_here;
  char fingerprint[100]; /* SHA-256 of the certificate, "AB:CD:..." */
  int64_t until;         /* s since 1970 */
} tls_identity;

/* The person's own (options->certificate), or the one made here, which lies beside the store. */
lw_status tls_load(const lw_serve_options *options, tls_identity *id, lw_error *error);
void tls_free(tls_identity *id);
/* Whether the certificate is one for this name or address. */
bool tls_names(const tls_identity *id, const char *host);
/* A name that stands in the certificate, without wildcard; false: none does. */
bool tls_first_name(const tls_identity *id, char *name, size_t size);

/* ---- QR (qr.c) ---- */

char *qr_svg(const char *text); /* malloced; NULL: no memory */

/* ---- assets (asset.c and the table made at build time) ---- */

typedef struct asset {
  const char *path, *type, *tag;
  const unsigned char *bytes, *packed; /* packed: gzip, NULL when it gains nothing */
  size_t length, packed_length;
  bool lasting; /* its name changes with its content */
} asset;
extern const asset assets[];
extern const size_t asset_count;
const asset *asset_find(const char *path);
enum MHD_Result asset_send(request *r, const asset *a);

/* ---- the answers (api_*.c) ---- */

void api_status(hand *h, request *r);
void api_pair(hand *h, request *r);
void api_pairing(hand *h, request *r);
void api_devices(hand *h, request *r);
void api_device_revoke(hand *h, request *r);
void api_cards(hand *h, request *r);
void api_jobs(hand *h, request *r);
void api_job_create(hand *h, request *r);
void api_job(hand *h, request *r);
void api_job_put(hand *h, request *r);
void api_reading_add(hand *h, request *r);
void api_work(hand *h, request *r);
void api_sheet(hand *h, request *r);
void api_readings_csv(hand *h, request *r);
void api_causes(hand *h, request *r);
void api_idle(hand *h, request *r);
void api_idle_curves(hand *h, request *r);
void api_map(hand *h, request *r);
void api_try(hand *h, request *r);
void api_what_ifs(hand *h, request *r);
void api_off_idle(hand *h, request *r);
void api_watch(hand *h, request *r);
void api_brief(hand *h, request *r);
void api_brief_pdf(hand *h, request *r);
void api_brief_html(hand *h, request *r);
void api_job_keys(hand *h, request *r);
void api_practice(hand *h, request *r);
void api_practice_new(hand *h, request *r);
void api_practice_state(hand *h, request *r);
void api_practice_move(hand *h, request *r);
void api_practice_end(hand *h, request *r);
void api_practice_review(hand *h, request *r);
void api_classes(hand *h, request *r);
void api_class_new(hand *h, request *r);
void api_class(hand *h, request *r);
void api_class_close(hand *h, request *r);
void api_live(hand *h, request *r);
void api_live_moved(hand *h, request *r);

/* What a request's body and address come to, for a key that may be sent again. */
void digest_of(const request *r, char text[DIGEST_TEXT]);
/* The newest run of the job r names; false: the reply says why not. */
bool api_newest(hand *h, request *r, lw_store_run *run);
/* That run read and worked. */
bool api_worked(hand *h, request *r, lw_case *given, const lw_work **work);

/* The card a job names, from the folder of cards: base name of the path it names. Texts in the
   hand's arena; LW_NOT_FOUND when there is none. */
lw_status card_text(hand *h, const char *named, const char **text, size_t *length, lw_error *error);
/* The unit for the other transmission (record.h), from that folder; NULL: none. */
const lw_card *card_other(hand *h, const lw_card *card);

/* A card "NAME" or "FOLDER/NAME", or a folder "FOLDER/", "./", of the folder of cards: its path, what
   to call it, and which of both. False: it is no such name. It need not be there. */
bool card_place(hand *h, const char *named, const char **path, const char **shown, bool *folder);

/* ---- the server ---- */

/* Who listens: without TLS one for all, with it one for this machine and one for the network. */
typedef struct door {
  struct MHD_Daemon *daemon;
  int port;
} door;
enum { DOORS = 2 };

struct lw_server {
  door doors[DOORS]; /* the first is plain, the second TLS */
  char *store, *cards;
  bool lan;
  tls_identity tls;
  char origin[300]; /* "https://192.168.1.20:8351": where others reach it */
  char token_text[TOKEN_LETTERS + 1], token_address[340];
  pairing pairing;
  guard *guard;
  hub *hub;
  live_feed *live; /* NULL: no instrument */
  yard *yard;
  double began;
  /* hands */
  pthread_mutex_t lock;
  pthread_cond_t work;
  request *first, *last;
  size_t waiting, heavy; /* heavy ones in work: one hand less than there are at most */
  bool stopping;
  pthread_mutex_t writing; /* one change of a job at a time */
  pthread_mutex_t drawing; /* one sheet at a time: fonts are shared by the whole process */
  hand hands[HANDS];
  size_t hands_running;
};

guard *guard_new(void);
void guard_free(guard *g);
void guard_connected(guard *g, int fd);
void guard_request_began(guard *g, int fd);
void guard_request_came(guard *g, int fd);
void guard_gone(guard *g, int fd);
void guard_tick(guard *g);

double seconds_now(void); /* monotonic */
/* IPv4 addresses of this machine's interfaces that are up; loopback comes last. How many. */
size_t own_addresses(struct in_addr *list, size_t most);
bool same_secret(const char *a, const char *b, size_t length);

/* request.c */
enum MHD_Result request_take(void *server, struct MHD_Connection *connection, const char *url,
                             const char *method, const char *version, const char *upload,
                             size_t *upload_size, void **held);
void request_over(void *server, struct MHD_Connection *connection, void **held,
                  enum MHD_RequestTerminationCode why);

#endif
