/* reply.c - an answer made and sent. */
#include "serve.h"

#include <stdlib.h>
#include <string.h>

static const char no_memory[] = "{\"error\":\"the server is out of memory\"}";

void reply_json(request *r, unsigned status, json_t *json) {
  char *text = json ? json_dumps(json, JSON_COMPACT) : NULL;
  json_decref(json);
  free(r->reply.body);
  r->reply.type = "application/json";
  r->reply.status = text ? status : MHD_HTTP_SERVICE_UNAVAILABLE;
  r->reply.body = text ? text : strdup(no_memory);
  r->reply.length = r->reply.body ? strlen(r->reply.body) : 0;
}

static void error_json(request *r, unsigned status, const char *text, const char *file, int line,
                       const char *field) {
  json_t *json = json_pack("{s:s}", "error", text);
  if (json && file[0]) json_object_set_new(json, "file", json_string(file));
  if (json && line > 0) json_object_set_new(json, "line", json_integer(line));
  if (json && field[0]) json_object_set_new(json, "field", json_string(field));
  reply_json(r, status, json);
}

void reply_error(request *r, unsigned status, const char *format, ...) {
  char text[512];
  size_t bad = 0;
  va_list args;
  va_start(args, format);
  vsnprintf(text, sizeof text, format, args);
  va_end(args);
  if (!lw_text_utf8(text, strlen(text), &bad)) text[bad] = '\0';
  error_json(r, status, text, "", 0, "");
}

void reply_failure(request *r, lw_status status, const lw_error *error) {
  static const unsigned codes[] = {
      [LW_OK] = MHD_HTTP_INTERNAL_SERVER_ERROR,
      [LW_BAD_INPUT] = MHD_HTTP_UNPROCESSABLE_CONTENT,
      [LW_NOT_FOUND] = MHD_HTTP_NOT_FOUND,
      [LW_IO] = MHD_HTTP_INTERNAL_SERVER_ERROR,
      [LW_NO_MEMORY] = MHD_HTTP_SERVICE_UNAVAILABLE,
      [LW_TOO_LARGE] = MHD_HTTP_UNPROCESSABLE_CONTENT,
      [LW_NO_CONVERGENCE] = MHD_HTTP_UNPROCESSABLE_CONTENT,
      [LW_STORE] = MHD_HTTP_INSUFFICIENT_STORAGE,
  };
  lw_error e = *error;
  size_t bad = 0;
  char *texts[] = {e.text, e.file, e.field};
  for (size_t i = 0; i < 3; i++) { /* fixed buffers may be cut inside a letter */
    if (!lw_text_utf8(texts[i], strlen(texts[i]), &bad)) texts[i][bad] = '\0';
  }
  error_json(r, codes[status], e.text, e.file, e.line, e.field);
}

static void head(struct MHD_Response *response, const char *name, const char *value) {
  if (value[0]) MHD_add_response_header(response, name, value);
}

enum MHD_Result reply_send(request *r) {
  reply *p = &r->reply;
  char seconds[16];
  struct MHD_Response *response =
      MHD_create_response_from_buffer(p->length, p->body, MHD_RESPMEM_MUST_FREE);
  if (!response) return MHD_NO;
  p->body = NULL;
  guard_head(response);
  if (p->type) head(response, MHD_HTTP_HEADER_CONTENT_TYPE, p->type);
  head(response, MHD_HTTP_HEADER_CACHE_CONTROL, "no-store");
  head(response, MHD_HTTP_HEADER_ALLOW, p->allow);
  head(response, MHD_HTTP_HEADER_LOCATION, p->location);
  head(response, MHD_HTTP_HEADER_ETAG, p->tag);
  head(response, MHD_HTTP_HEADER_SET_COOKIE, p->cookie);
  head(response, MHD_HTTP_HEADER_CONTENT_DISPOSITION, p->disposition);
  snprintf(seconds, sizeof seconds, "%d", p->retry_after);
  if (p->retry_after) head(response, MHD_HTTP_HEADER_RETRY_AFTER, seconds);
  enum MHD_Result result = MHD_queue_response(r->connection, p->status, response);
  MHD_destroy_response(response);
  return result;
}

void reply_free(reply *p) {
  free(p->body);
  p->body = NULL;
}
