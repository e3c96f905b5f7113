/* leanward/serve.h - the jobs over HTTP: one server in this process, for this machine or, paired
** device by device, for the shop's network. docs/serve.md says how it is safe; docs/openapi.json
** what it answers.
**
** Units    none; JSON as in docs/json.md.
** Errors   lw_serve_start: a port that is taken, a store that will not open, a certificate that
**          will not do. Afterwards every failure is an HTTP answer.
** Memory   bounded: so many connections, waiting requests, live events (docs/serve.md).
** Threads  the server runs its own; these functions are for the thread that started it. SIGPIPE
**          must be ignored.
*/
#ifndef LEANWARD_SERVE_H
#define LEANWARD_SERVE_H

#include "leanward/instrument.h"
#include "leanward/record.h"

typedef struct lw_server lw_server;

typedef struct lw_serve_options {
  const char *store; /* path of the store */
  const char *cards; /* folder of spec cards that jobs may name; NULL: none */
  int port;          /* 0: any that is free */
  bool lan;          /* listen on every address, for paired devices; else on loopback only */
  /* With lan: devices speak TLS, on the port behind `port` (any that is free when that is 0), and
     `port` itself is for this machine alone, without TLS. certificate and key: PEM files of the
     shop's own, both or neither; NULL: made here, kept beside the store (tls-key.pem, mode 0600,
     tls-certificate.pem) and made anew when it soon ends or lacks an address of this machine. */
  bool tls;
  const char *certificate, *key;
  /* Readings that go to every page as they come: descriptions of instruments (instrument.h), or a
     log or CSV file played replay_speed times as fast as it was. */
  const char *const *instruments;
  size_t instrument_count; /* at most LW_SOURCE_INSTRUMENTS */
  const char *replay;      /* NULL: none */
  double replay_speed;
} lw_serve_options;

lw_status lw_serve_start(const lw_serve_options *options, lw_server **server,
                         lw_error *error) LW_MUST_USE;
/* Answer what has been taken in, end all streams, close. NULL is allowed. */
void lw_serve_stop(lw_server *server);

int lw_serve_port(const lw_server *server);
/* "https://192.168.1.20:8351" or "http://127.0.0.1:8350": where others reach it. */
const char *lw_serve_origin(const lw_server *server);
/* With TLS: until when the certificate is good, s since 1970; its SHA-256 fingerprint as browsers
   show it; whether it was made here, so that nobody vouches for it. 0, NULL and false without. */
int64_t lw_serve_certificate_until(const lw_server *server);
const char *lw_serve_fingerprint(const lw_server *server);
bool lw_serve_certificate_made_here(const lw_server *server);
/* To be called once a second or so: keeps streams alive, ends what has stalled. */
void lw_serve_tick(lw_server *server);

/* A new one-time token; *address gets what a phone opens ("https://HOST/pair#TOKEN"). Both live
   until the next call. NULL: too many tokens wait. */
const char *lw_serve_token(lw_server *server, const char **address);
/* How many devices have been paired since the start: changes when a token was used. */
unsigned lw_serve_paired(const lw_server *server);

/* A text as a QR code for a terminal (half blocks, light on dark unless colored), or NULL; the
   caller frees it. */
char *lw_serve_qr_text(const char *text, bool color);

/* What came from an instrument, as events and /api/live carry it (docs/serve.md); a new value. */
json_t *lw_live_json(const lw_live *live);

#endif
