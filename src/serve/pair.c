/* pair.c - one-time tokens and the devices paired with them.
**
** A token has 10 letters of 32 (50 bits), lives 10 minutes, is used once; all addresses together
** have 10 tries, and one more every 6 s. A device then holds 32 random bytes in a cookie; the store
** holds their SHA-256 only. The devices are also kept here, so that a request is let in without the
** disk.
*/
#include "serve.h"

#include <gnutls/crypto.h>
#include <gnutls/gnutls.h>
#include <stdlib.h>
#include <string.h>

#define COOKIE "leanward_device"

enum { TRIES = 10, TRY_SECONDS = 6 };

void digest_text(const void *bytes, size_t length, char text[DIGEST_TEXT]) {
  unsigned char digest[32] = {0};
  gnutls_hash_fast(GNUTLS_DIG_SHA256, bytes, length, digest);
  for (size_t i = 0; i < sizeof digest; i++)
    snprintf(text + 2 * i, 3, "%02x", digest[i]);
}

/* ---- devices ---- */

static void take_device(void *to, const lw_device *d) {
  pairing *p = to;
  if (p->device_count == DEVICES_MOST) return;
  paired_device *kept = &p->devices[p->device_count++];
  kept->number = d->number;
  snprintf(kept->name, sizeof kept->name, "%s", d->name);
  snprintf(kept->secret, sizeof kept->secret, "%s", d->secret);
  snprintf(kept->paired_at, sizeof kept->paired_at, "%s", d->paired_at);
}

lw_status pair_load(pairing *p, lw_store *store, lw_error *error) {
  p->tries = TRIES;
  p->tried_at = seconds_now();
  return lw_store_devices(store, take_device, p, error);
}

void pair_forget(pairing *p, int64_t number) {
  pthread_mutex_lock(&p->lock);
  for (size_t i = 0; i < p->device_count; i++) {
    if (p->devices[i].number != number) continue;
    p->devices[i] = p->devices[--p->device_count];
    break;
  }
  pthread_mutex_unlock(&p->lock);
}

/* The value of our cookie, or NULL; *length its length. */
static const char *cookie_value(const char *cookies, size_t *length) {
  size_t name = strlen(COOKIE);
  while (cookies && *cookies) {
    cookies += strspn(cookies, " ;");
    size_t n = strcspn(cookies, ";");
    if (n > name && strncmp(cookies, COOKIE, name) == 0 && cookies[name] == '=') {
      *length = n - name - 1;
      return cookies + name + 1;
    }
    cookies += n;
  }
  return NULL;
}

int64_t pair_device(pairing *p, const char *cookies) {
  size_t length = 0;
  char digest[DIGEST_TEXT];
  int64_t found = NOBODY;
  const char *secret = cookie_value(cookies, &length);
  if (!secret || length != (size_t)2 * SECRET_BYTES) return NOBODY;
  digest_text(secret, length, digest);
  pthread_mutex_lock(&p->lock);
  for (size_t i = 0; i < p->device_count; i++) {
    if (same_secret(p->devices[i].secret, digest, DIGEST_TEXT)) found = p->devices[i].number;
  }
  pthread_mutex_unlock(&p->lock);
  return found;
}

/* ---- tokens ---- */

bool pair_token(pairing *p, char *text) {
  static const char letters[] = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"; /* no I, O, 0, 1 */
  unsigned char random[TOKEN_LETTERS];
  if (gnutls_rnd(GNUTLS_RND_KEY, random, sizeof random) != 0) return false;
  double now = seconds_now();
  bool made = false;
  pthread_mutex_lock(&p->lock);
  for (size_t i = 0; i < TOKENS_MOST && !made; i++) {
    token *t = &p->tokens[i];
    if (t->made > 0 && now - t->made < TOKEN_SECONDS) continue;
    for (size_t k = 0; k < TOKEN_LETTERS; k++)
      t->text[k] = letters[random[k] % 32];
    t->text[TOKEN_LETTERS] = '\0';
    t->made = now;
    memcpy(text, t->text, sizeof t->text);
    made = true;
  }
  pthread_mutex_unlock(&p->lock);
  return made;
}

typedef enum token_end { TOKEN_GOOD, TOKEN_BAD, TOKEN_WAIT } token_end;

static token_end use_token(pairing *p, const char *text) {
  double now = seconds_now();
  token_end end = TOKEN_BAD;
  pthread_mutex_lock(&p->lock);
  p->tries += (now - p->tried_at) / TRY_SECONDS;
  if (p->tries > TRIES) p->tries = TRIES;
  p->tried_at = now;
  if (p->tries < 1) {
    end = TOKEN_WAIT;
  } else {
    p->tries -= 1;
    for (size_t i = 0; i < TOKENS_MOST; i++) {
      token *t = &p->tokens[i];
      bool lives = t->made > 0 && now - t->made < TOKEN_SECONDS;
      if (!lives || !same_secret(t->text, text, TOKEN_LETTERS)) continue;
      t->made = 0; /* used */
      end = TOKEN_GOOD;
    }
  }
  pthread_mutex_unlock(&p->lock);
  return end;
}

/* ---- the answers ---- */

/* The body's members: exactly those named, all texts. */
static json_t *read_body(request *r) {
  json_error_t error;
  json_t *body = json_loadb(r->body ? r->body : "", r->used, JSON_REJECT_DUPLICATES, &error);
  if (json_is_object(body)) return body;
  json_decref(body);
  reply_error(r, MHD_HTTP_BAD_REQUEST, "the body is no JSON object: %s", error.text);
  return NULL;
}

static bool check_name(request *r, const char *name) {
  size_t length = name ? strlen(name) : 0;
  bool good = length >= 1 && length < sizeof((paired_device *)0)->name;
  for (size_t i = 0; good && i < length; i++)
    good = (unsigned char)name[i] >= 0x20 && name[i] != 0x7F;
  if (good) return true;
  reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT, "a device needs a name of 1 to 63 letters");
  return false;
}

/* Keep the device and give it its secret. */
static void admit(hand *h, request *r, const char *name) {
  unsigned char random[SECRET_BYTES];
  char secret[2 * SECRET_BYTES + 1], digest[DIGEST_TEXT];
  pairing *p = &h->server->pairing;
  lw_error error = {0};
  lw_device d = {.name = name, .secret = digest, .paired_at = ""};
  if (gnutls_rnd(GNUTLS_RND_KEY, random, sizeof random) != 0) {
    reply_error(r, MHD_HTTP_SERVICE_UNAVAILABLE, "no random numbers to be had");
    return;
  }
  for (size_t i = 0; i < SECRET_BYTES; i++)
    snprintf(secret + 2 * i, 3, "%02x", random[i]);
  digest_text(secret, strlen(secret), digest);
  lw_status status = lw_store_device_add(h->store, name, digest, &d.number, &error);
  if (status != LW_OK) {
    reply_failure(r, status, &error);
    return;
  }
  pthread_mutex_lock(&p->lock);
  take_device(p, &d);
  p->paired++;
  pthread_mutex_unlock(&p->lock);
  snprintf(r->reply.cookie, sizeof r->reply.cookie,
           COOKIE "=%s; Path=/; Max-Age=31536000; HttpOnly; SameSite=Strict%s", secret,
           r->secure ? "; Secure" : "");
  reply_json(r, MHD_HTTP_CREATED,
             json_pack("{s:I, s:s}", "device", (json_int_t)d.number, "name", name));
}

void api_pair(hand *h, request *r) {
  json_t *body = read_body(r);
  if (!body) return;
  const char *given = json_string_value(json_object_get(body, "token"));
  const char *name = json_string_value(json_object_get(body, "name"));
  char text[TOKEN_LETTERS + 1] = "";
  if (json_object_size(body) != 2 || !given || !name) {
    reply_error(r, MHD_HTTP_UNPROCESSABLE_CONTENT, "token and name were expected");
  } else if (check_name(r, name)) {
    bool right_length = strlen(given) == TOKEN_LETTERS;
    for (size_t i = 0; right_length && i < TOKEN_LETTERS; i++)
      text[i] = (char)(given[i] >= 'a' && given[i] <= 'z' ? given[i] - 'a' + 'A' : given[i]);
    pthread_mutex_lock(&h->server->pairing.lock);
    bool full = h->server->pairing.device_count == DEVICES_MOST;
    pthread_mutex_unlock(&h->server->pairing.lock);
    token_end end = full ? TOKEN_BAD : use_token(&h->server->pairing, text);
    if (full) {
      reply_error(r, MHD_HTTP_CONFLICT, "64 devices are paired; revoke one first");
    } else if (end == TOKEN_WAIT) {
      r->reply.retry_after = TRY_SECONDS;
      reply_error(r, MHD_HTTP_TOO_MANY_REQUESTS, "too many tries; wait a little");
    } else if (end == TOKEN_BAD) {
      reply_error(r, MHD_HTTP_FORBIDDEN,
                  "this token is wrong, used or older than 10 minutes; ask for a new one");
    } else {
      admit(h, r, name);
    }
  }
  json_decref(body);
}

/* Only who is let in already may let others in. */
void api_pairing(hand *h, request *r) {
  (void)h;
  char text[TOKEN_LETTERS + 1], address[340];
  const tls_identity *tls = &r->server->tls;
  if (!r->server->lan) {
    reply_error(r, MHD_HTTP_CONFLICT,
                "this server is reached from this machine only; start it with --lan");
    return;
  }
  if (!pair_token(&r->server->pairing, text)) {
    r->reply.retry_after = 60;
    reply_error(r, MHD_HTTP_TOO_MANY_REQUESTS, "8 tokens wait to be used; each lives 10 minutes");
    return;
  }
  snprintf(address, sizeof address, "%s/pair#%s", r->server->origin, text);
  char *svg = qr_svg(address);
  reply_json(r, MHD_HTTP_CREATED,
             json_pack("{s:s, s:s, s:i, s:s, s:o}", "token", text, "address", address, "seconds",
                       TOKEN_SECONDS, "qr_svg", svg ? svg : "", "fingerprint",
                       tls->made_here ? json_string(tls->fingerprint) : json_null()));
  free(svg);
}

void api_devices(hand *h, request *r) {
  (void)h;
  pairing *p = &r->server->pairing;
  json_t *list = json_array();
  pthread_mutex_lock(&p->lock);
  for (size_t i = 0; i < p->device_count; i++) {
    const paired_device *d = &p->devices[i];
    json_array_append_new(list, json_pack("{s:I, s:s, s:b}", "device", (json_int_t)d->number,
                                          "name", d->name, "this", d->number == r->who));
  }
  pthread_mutex_unlock(&p->lock);
  reply_json(r, MHD_HTTP_OK, json_pack("{s:o}", "devices", list));
}

void api_device_revoke(hand *h, request *r) {
  lw_error error = {0};
  lw_status status = lw_store_device_revoke(h->store, r->number, &error);
  if (status != LW_OK) {
    reply_failure(r, status, &error);
    return;
  }
  pair_forget(&h->server->pairing, r->number);
  hub_end(h->server->hub, r->number);
  yard_end(h->server, r->number);
  reply_json(r, MHD_HTTP_OK, json_pack("{s:I}", "revoked", (json_int_t)r->number));
}
