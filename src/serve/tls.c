/* tls.c - the certificate that --tls shows: the person's own, or one made here.
**
** A certificate made here is signed by its own key (ECDSA on P-256). Key and certificate lie beside
** the store, mode 0600; the key stays, the certificate is made anew when it soon ends or does not
** name an address this machine has now. Nobody vouches for it: the person compares its fingerprint.
** It can sign for nobody else (basic constraints: no CA), so a device that trusts it trusts this
** server alone.
**
** Source   RFC 5280 for what stands in it; 825 days: the longest Apple's systems take from any
**          server (from memory, not read).
*/
#include "serve.h"

#include "leanward/record.h"

#include <arpa/inet.h>
#include <gnutls/crypto.h>
#include <gnutls/gnutls.h>
#include <gnutls/x509.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum {
  DAY = 24 * 3600,
  LASTS_DAYS = 825,
  RENEW_DAYS = 30,
  ADDRESSES_MOST = 16,
  FILE_MOST = 256 * 1024,
  SERIAL_BYTES = 16
};

/* What a certificate made here must name. */
typedef struct names {
  struct in_addr at[ADDRESSES_MOST];
  size_t count;
  char host[HOST_NAME_MAX + 1], local[HOST_NAME_MAX + 8];
} names;

static void names_now(names *n) {
  memset(n, 0, sizeof *n);
  n->count = own_addresses(n->at, ADDRESSES_MOST);
  if (gethostname(n->host, sizeof n->host - 1) != 0) snprintf(n->host, sizeof n->host, "localhost");
  /* .local: how machines of one network find each other without a name server (RFC 6762) */
  snprintf(n->local, sizeof n->local, "%s%s", n->host, strchr(n->host, '.') ? "" : ".local");
}

/* ---- errors ---- */

static lw_status tls_error(lw_error *error, const char *path, const char *what, int code) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_BAD_INPUT, "%s: %s", what, gnutls_strerror(code));
}

static lw_status refuse(lw_error *error, const char *path, const char *what) {
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_BAD_INPUT, "%s", what);
}

/* ---- files ---- */

static lw_status read_text(const char *path, char **text, lw_error *error) {
  lw_arena *arena = lw_arena_new(0);
  const char *bytes = NULL;
  size_t length = 0;
  if (!arena) return lw_fail(error, LW_NO_MEMORY, "no memory for the certificate");
  lw_status status = lw_file_read(arena, path, FILE_MOST, &bytes, &length, error);
  if (status == LW_OK) {
    *text = strndup(bytes, length);
    if (!*text) status = lw_fail(error, LW_NO_MEMORY, "no memory for the certificate");
  }
  lw_arena_free(arena);
  return status;
}

/* Before any thread of the server runs: the mask belongs to the whole process. */
static lw_status write_text(const char *path, const char *text, lw_error *error) {
  mode_t was = umask(0077);
  lw_status status = lw_file_write(path, text, strlen(text), error);
  umask(was);
  return status;
}

static lw_status check_mode(const char *path, mode_t refused, const char *words, lw_error *error) {
  struct stat info;
  if (stat(path, &info) != 0 || !(info.st_mode & refused)) return LW_OK;
  return refuse(error, path, words);
}

/* ---- PEM ---- */

static gnutls_datum_t datum(char *text) {
  return (gnutls_datum_t){(unsigned char *)text, text ? (unsigned)strlen(text) : 0};
}

static lw_status key_of(const char *path, char *text, gnutls_x509_privkey_t *key, lw_error *error) {
  gnutls_datum_t pem = datum(text);
  if (strstr(text, "ENCRYPTED")) {
    return refuse(error, path, "this key asks for a passphrase; give a file without one");
  }
  if (gnutls_x509_privkey_init(key) != 0) return lw_fail(error, LW_NO_MEMORY, "no memory");
  int code = gnutls_x509_privkey_import(*key, &pem, GNUTLS_X509_FMT_PEM);
  if (code == 0) return LW_OK;
  gnutls_x509_privkey_deinit(*key);
  *key = NULL;
  return tls_error(error, path, "there is no private key in this file (PEM)", code);
}

/* The first certificate of a file: the server's own, before those that vouch for it. */
static lw_status leaf_of(const char *path, char *text, gnutls_x509_crt_t *leaf, lw_error *error) {
  gnutls_datum_t pem = datum(text);
  if (gnutls_x509_crt_init(leaf) != 0) return lw_fail(error, LW_NO_MEMORY, "no memory");
  int code = gnutls_x509_crt_import(*leaf, &pem, GNUTLS_X509_FMT_PEM);
  if (code == 0) return LW_OK;
  gnutls_x509_crt_deinit(*leaf);
  *leaf = NULL;
  return tls_error(error, path, "there is no certificate in this file (PEM)", code);
}

static bool belong_together(gnutls_x509_crt_t leaf, gnutls_x509_privkey_t key) {
  unsigned char a[64] = {0}, b[64] = {0};
  size_t a_size = sizeof a, b_size = sizeof b;
  return gnutls_x509_crt_get_key_id(leaf, GNUTLS_KEYID_USE_SHA256, a, &a_size) == 0 &&
         gnutls_x509_privkey_get_key_id(key, GNUTLS_KEYID_USE_SHA256, b, &b_size) == 0 &&
         a_size == b_size && memcmp(a, b, a_size) == 0;
}

static void describe(tls_identity *id) {
  unsigned char digest[32] = {0};
  size_t size = sizeof digest;
  gnutls_x509_crt_get_fingerprint(id->leaf, GNUTLS_DIG_SHA256, digest, &size);
  id->fingerprint[0] = '\0';
  for (size_t i = 0; i < sizeof digest; i++)
    lw_text_append(id->fingerprint, sizeof id->fingerprint, i ? ":%02X" : "%02X", digest[i]);
  id->until = gnutls_x509_crt_get_expiration_time(id->leaf);
}

/* ---- made here ---- */

static bool covers(gnutls_x509_crt_t leaf, const names *n) {
  time_t now = time(NULL);
  bool good = gnutls_x509_crt_get_activation_time(leaf) <= now &&
              gnutls_x509_crt_get_expiration_time(leaf) - now > (time_t)RENEW_DAYS * DAY &&
              gnutls_x509_crt_check_hostname(leaf, n->local);
  for (size_t i = 0; good && i < n->count; i++)
    good = gnutls_x509_crt_check_ip(leaf, (const unsigned char *)&n->at[i], sizeof n->at[i], 0);
  return good;
}

static int put_names(gnutls_x509_crt_t crt, const names *n) {
  const char *const hosts[] = {"localhost", n->host, n->local};
  char title[HOST_NAME_MAX + 32];
  snprintf(title, sizeof title, "Leanward on %.40s", n->host); /* a CN holds 64 at most */
  int code = gnutls_x509_crt_set_dn_by_oid(crt, GNUTLS_OID_X520_COMMON_NAME, 0, title,
                                           (unsigned)strlen(title));
  for (size_t i = 0; code == 0 && i < sizeof hosts / sizeof hosts[0]; i++)
    code = gnutls_x509_crt_set_subject_alt_name(crt, GNUTLS_SAN_DNSNAME, hosts[i],
                                                (unsigned)strlen(hosts[i]), GNUTLS_FSAN_APPEND);
  for (size_t i = 0; code == 0 && i < n->count; i++)
    code = gnutls_x509_crt_set_subject_alt_name(crt, GNUTLS_SAN_IPADDRESS, &n->at[i],
                                                sizeof n->at[i], GNUTLS_FSAN_APPEND);
  return code;
}

static int put_use(gnutls_x509_crt_t crt) {
  unsigned char serial[SERIAL_BYTES];
  time_t now = time(NULL);
  int code = gnutls_rnd(GNUTLS_RND_NONCE, serial, sizeof serial);
  serial[0] = (unsigned char)((serial[0] & 0x7F) | 0x01); /* positive, not 0 */
  if (code == 0) code = gnutls_x509_crt_set_version(crt, 3);
  if (code == 0) code = gnutls_x509_crt_set_serial(crt, serial, sizeof serial);
  /* from yesterday: a phone's clock may be behind */
  if (code == 0) code = gnutls_x509_crt_set_activation_time(crt, now - DAY);
  if (code == 0)
    code = gnutls_x509_crt_set_expiration_time(crt, now + (time_t)(LASTS_DAYS - 1) * DAY);
  if (code == 0) code = gnutls_x509_crt_set_basic_constraints(crt, 0, -1);
  if (code == 0) code = gnutls_x509_crt_set_key_usage(crt, GNUTLS_KEY_DIGITAL_SIGNATURE);
  if (code == 0) code = gnutls_x509_crt_set_key_purpose_oid(crt, GNUTLS_KP_TLS_WWW_SERVER, 0);
  return code;
}

static char *text_of(gnutls_datum_t *pem) {
  char *text = strndup((const char *)pem->data, pem->size);
  gnutls_free(pem->data);
  return text;
}

static lw_status make_certificate(gnutls_x509_privkey_t key, const names *n, char **text,
                                  lw_error *error) {
  gnutls_x509_crt_t crt = NULL;
  gnutls_datum_t pem = {0};
  int code = gnutls_x509_crt_init(&crt);
  if (code == 0) code = put_use(crt);
  if (code == 0) code = put_names(crt, n);
  if (code == 0) code = gnutls_x509_crt_set_key(crt, key);
  if (code == 0) code = gnutls_x509_crt_sign2(crt, crt, key, GNUTLS_DIG_SHA256, 0);
  if (code == 0) code = gnutls_x509_crt_export2(crt, GNUTLS_X509_FMT_PEM, &pem);
  if (crt) gnutls_x509_crt_deinit(crt);
  *text = code == 0 ? text_of(&pem) : NULL;
  if (*text) return LW_OK;
  return lw_fail(error, LW_IO, "no certificate could be made: %s", gnutls_strerror(code));
}

static lw_status make_key(const char *path, char **text, lw_error *error) {
  gnutls_x509_privkey_t key = NULL;
  gnutls_datum_t pem = {0};
  unsigned bits = GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP256R1);
  int code = gnutls_x509_privkey_init(&key);
  if (code == 0) code = gnutls_x509_privkey_generate(key, GNUTLS_PK_ECDSA, bits, 0);
  if (code == 0)
    code =
        gnutls_x509_privkey_export2_pkcs8(key, GNUTLS_X509_FMT_PEM, NULL, GNUTLS_PKCS_PLAIN, &pem);
  if (key) gnutls_x509_privkey_deinit(key);
  *text = code == 0 ? text_of(&pem) : NULL;
  if (*text) return write_text(path, *text, error);
  return lw_fail(error, LW_IO, "no key could be made: %s", gnutls_strerror(code));
}

static lw_status own_key(const char *path, char **text, gnutls_x509_privkey_t *key,
                         lw_error *error) {
  lw_error none = {0};
  lw_status status = check_mode(
      path, 077, "other users of this machine can read this key: remove it, and a new one is made",
      error);
  if (status != LW_OK) return status;
  status = read_text(path, text, &none);
  if (status == LW_NOT_FOUND) {
    status = make_key(path, text, error);
  } else if (status != LW_OK) {
    *error = none;
  }
  return status == LW_OK && *text ? key_of(path, *text, key, error) : status;
}

/* The one that lies there, when it still does; else a new one, with a file of another kind left
   alone. */
static lw_status own_certificate(const char *path, gnutls_x509_privkey_t key, tls_identity *id,
                                 lw_error *error) {
  static const char *const begins[] = {"-----BEGIN CERTIFICATE-----", NULL};
  lw_error unheard = {0};
  names n;
  names_now(&n);
  if (read_text(path, &id->certificate, &unheard) == LW_OK &&
      leaf_of(path, id->certificate, &id->leaf, &unheard) == LW_OK &&
      belong_together(id->leaf, key) && covers(id->leaf, &n)) {
    return LW_OK;
  }
  if (id->leaf) gnutls_x509_crt_deinit(id->leaf);
  id->leaf = NULL;
  free(id->certificate);
  id->certificate = NULL;
  lw_status status = lw_file_replaceable(path, begins, error);
  if (status == LW_OK) status = make_certificate(key, &n, &id->certificate, error);
  if (status != LW_OK || !id->certificate) return status;
  status = write_text(path, id->certificate, error);
  return status == LW_OK ? leaf_of(path, id->certificate, &id->leaf, error) : status;
}

static lw_status load_own(const char *store, tls_identity *id, lw_error *error) {
  lw_arena *arena = lw_arena_new(0);
  gnutls_x509_privkey_t key = NULL;
  const char *key_path = arena ? lw_file_beside(arena, store, "tls-key.pem") : NULL;
  const char *path = arena ? lw_file_beside(arena, store, "tls-certificate.pem") : NULL;
  lw_status status = key_path && path ? own_key(key_path, &id->key, &key, error)
                                      : lw_fail(error, LW_NO_MEMORY, "no memory");
  if (status == LW_OK) status = own_certificate(path, key, id, error);
  if (key) gnutls_x509_privkey_deinit(key);
  lw_arena_free(arena);
  id->made_here = true;
  return status;
}

/* ---- given ---- */

static lw_status check_time(const char *path, gnutls_x509_crt_t leaf, lw_error *error) {
  time_t now = time(NULL), from = gnutls_x509_crt_get_activation_time(leaf);
  time_t until = gnutls_x509_crt_get_expiration_time(leaf);
  if (from <= now && now < until) return LW_OK;
  char day[32];
  struct tm utc;
  time_t *which = from > now ? &from : &until;
  gmtime_r(which, &utc);
  strftime(day, sizeof day, "%Y-%m-%d", &utc);
  lw_error_place(error, path, 0, NULL);
  return lw_fail(error, LW_BAD_INPUT,
                 from > now ? "this certificate begins on %s only; is the "
                              "clock of this machine right?"
                            : "this certificate ended on %s: renew it",
                 day);
}

static lw_status load_given(const char *certificate, const char *key_path, tls_identity *id,
                            lw_error *error) {
  gnutls_x509_privkey_t key = NULL;
  lw_status status = read_text(certificate, &id->certificate, error);
  if (status == LW_OK) status = read_text(key_path, &id->key, error);
  if (status == LW_OK)
    status = check_mode(key_path, 007,
                        "every user of this machine can read this "
                        "key: chmod o= it",
                        error);
  if (status == LW_OK) status = leaf_of(certificate, id->certificate, &id->leaf, error);
  if (status == LW_OK) status = key_of(key_path, id->key, &key, error);
  if (status == LW_OK && !belong_together(id->leaf, key)) {
    status = refuse(error, key_path, "this key does not belong to the certificate");
  }
  if (status == LW_OK) status = check_time(certificate, id->leaf, error);
  if (key) gnutls_x509_privkey_deinit(key);
  return status;
}

/* ---- the rest ---- */

lw_status tls_load(const lw_serve_options *options, tls_identity *id, lw_error *error) {
  if (MHD_is_feature_supported(MHD_FEATURE_TLS) != MHD_YES) {
    return lw_fail(error, LW_IO, "this libmicrohttpd was built without TLS");
  }
  lw_status status = options->certificate
                         ? load_given(options->certificate, options->key, id, error)
                         : load_own(options->store, id, error);
  if (status == LW_OK) describe(id);
  return status;
}

void tls_free(tls_identity *id) {
  if (id->leaf) gnutls_x509_crt_deinit(id->leaf);
  if (id->key) gnutls_memset(id->key, 0, strlen(id->key));
  free(id->key);
  free(id->certificate);
  memset(id, 0, sizeof *id);
}

bool tls_names(const tls_identity *id, const char *host) {
  return id->leaf && gnutls_x509_crt_check_hostname(id->leaf, host);
}

/* A name that stands in the certificate, without wildcard; false: none does. */
bool tls_first_name(const tls_identity *id, char *name, size_t size) {
  for (unsigned i = 0;; i++) {
    size_t used = size;
    int type = gnutls_x509_crt_get_subject_alt_name(id->leaf, i, name, &used, NULL);
    if (type == GNUTLS_E_SHORT_MEMORY_BUFFER) continue;
    if (type < 0) return false;
    if (type == GNUTLS_SAN_DNSNAME && !strchr(name, '*')) return true;
  }
}
