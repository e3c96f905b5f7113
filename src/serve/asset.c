/* asset.c - the browser's files, which lie in the program itself (embed.c makes the table). */
#include "serve.h"

#include <string.h>

/* Addresses of the one page, which finds out by itself what to show: small letters, digits and
   hyphens between slashes. Files have a dot in their name. */
static bool is_page(const char *path) {
  return path[strspn(path, "abcdefghijklmnopqrstuvwxyz0123456789-/")] == '\0' &&
         !strstr(path, "//") && strncmp(path, "/api", 4) != 0;
}

const asset *asset_find(const char *path) {
  const char *want = is_page(path) ? "/index.html" : path;
  for (size_t i = 0; i < asset_count; i++) {
    if (strcmp(assets[i].path, want) == 0) return &assets[i];
  }
  return NULL;
}

/* "gzip, deflate, br", "gzip;q=1.0"; "gzip;q=0" is the rare way to say no. */
static bool takes_gzip(const char *accept) {
  const char *at = accept ? strstr(accept, "gzip") : NULL;
  if (!at) return false;
  at += 4;
  return strncmp(at, ";q=0", 4) != 0 ||
         (at[4] == '.' && strspn(at + 5, "0") < strcspn(at + 5, ",; "));
}

/* Is tag among those of If-None-Match? */
static bool is_known(const char *none_match, const char *tag) {
  return none_match && strstr(none_match, tag) != NULL;
}

enum MHD_Result asset_send(request *r, const asset *a) {
  const char *accept =
      MHD_lookup_connection_value(r->connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_ACCEPT_ENCODING);
  const char *known =
      MHD_lookup_connection_value(r->connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_IF_NONE_MATCH);
  bool packed = a->packed && takes_gzip(accept), same = is_known(known, a->tag);
  const unsigned char *bytes = packed ? a->packed : a->bytes;
  size_t length = packed ? a->packed_length : a->length;
  /* the library takes what it only reads as not const */
  struct MHD_Response *response = MHD_create_response_from_buffer(
      same ? 0 : length, (void *)(uintptr_t)bytes, // NOLINT(performance-no-int-to-ptr)
      MHD_RESPMEM_PERSISTENT);
  if (!response) return MHD_NO;
  guard_head(response);
  MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, a->type);
  MHD_add_response_header(response, MHD_HTTP_HEADER_ETAG, a->tag);
  MHD_add_response_header(response, MHD_HTTP_HEADER_VARY, "Accept-Encoding");
  MHD_add_response_header(response, MHD_HTTP_HEADER_CACHE_CONTROL,
                          a->lasting ? "private, max-age=31536000, immutable" : "no-cache");
  if (packed && !same) MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_ENCODING, "gzip");
  enum MHD_Result result =
      MHD_queue_response(r->connection, same ? MHD_HTTP_NOT_MODIFIED : MHD_HTTP_OK, response);
  MHD_destroy_response(response);
  return result;
}
