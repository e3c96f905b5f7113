/* api_brief.c - what changed between two cards, or between two model years, of the folder of cards:
** as JSON, as a sheet and as a page that stands alone. Two cards take half a second, a year a second
** for each unit.
*/
#include "serve.h"

#include "leanward/brief_page.h"

#include <stdlib.h>
#include <string.h>

typedef struct place {
  const char *path, *shown;
  bool folder;
} place;

/* What was and now name. False: r has the refusal. */
static bool places(hand *h, request *r, place at[2]) {
  static const char *const keys[] = {"was", "now"};
  for (size_t i = 0; i < 2; i++) {
    const char *named = MHD_lookup_connection_value(r->connection, MHD_GET_ARGUMENT_KIND, keys[i]);
    if (named && card_place(h, named, &at[i].path, &at[i].shown, &at[i].folder)) continue;
    reply_error(r, MHD_HTTP_BAD_REQUEST,
                "%s is the name of a card, as in 1969/corran-220-six-manual, or of a folder, as in "
                "1969/ (./ is the folder of cards itself); /api/cards lists them",
                keys[i]);
    return false;
  }
  if (at[0].folder == at[1].folder) return true;
  reply_error(r, MHD_HTTP_BAD_REQUEST, "was and now are two cards or two folders, not one of each");
  return false;
}

static lw_status pair(hand *h, const place at[2], lw_brief_document *document, lw_error *error) {
  lw_brief_side side[2];
  lw_brief *brief = NULL;
  for (size_t i = 0; i < 2; i++) {
    lw_status status =
        lw_brief_side_read(h->arena, h->units, at[i].path, at[i].shown, &side[i], error);
    if (status != LW_OK) return status == LW_IO ? LW_NOT_FOUND : status;
  }
  lw_status status = lw_brief_pair(h->arena, h->units, side[0], side[1], &brief, error);
  document->pair = brief;
  return status;
}

static lw_status year(hand *h, const place at[2], lw_brief_document *document, lw_error *error) {
  lw_brief_years_ask ask = {0};
  lw_brief_year *made = NULL;
  lw_status status = lw_brief_folder_read(h->arena, h->units, at[0].path, at[0].shown, &ask.before,
                                          &ask.before_count, error);
  if (status == LW_OK)
    status = lw_brief_folder_read(h->arena, h->units, at[1].path, at[1].shown, &ask.after,
                                  &ask.after_count, error);
  if (status == LW_IO) return LW_NOT_FOUND;
  if (status == LW_OK) status = lw_brief_years(h->arena, h->units, &ask, &made, error);
  document->year = made;
  return status;
}

/* False: r has the failure. */
static bool made(hand *h, request *r, lw_brief_document *document) {
  lw_error error = {0};
  place at[2] = {0};
  if (!places(h, r, at)) return false;
  lw_status status = at[0].folder ? year(h, at, document, &error) : pair(h, at, document, &error);
  if (status != LW_OK) reply_failure(r, status, &error);
  return status == LW_OK;
}

void api_brief(hand *h, request *r) {
  lw_brief_document document = {0};
  if (made(h, r, &document)) reply_json(r, MHD_HTTP_OK, lw_brief_json(&document));
}

/* Takes bytes over. */
static void download(request *r, lw_status status, const lw_error *error, char *bytes,
                     size_t length, const char *type, const char *ending) {
  if (status != LW_OK) {
    reply_failure(r, status, error);
    return;
  }
  r->reply.body = bytes;
  r->reply.length = length;
  r->reply.type = type;
  r->reply.status = MHD_HTTP_OK;
  snprintf(r->reply.disposition, sizeof r->reply.disposition, "attachment; filename=\"brief.%s\"",
           ending);
}

void api_brief_pdf(hand *h, request *r) {
  lw_brief_document document = {0};
  lw_error error = {0};
  char *bytes = NULL;
  size_t length = 0;
  if (!made(h, r, &document)) return;
  pthread_mutex_lock(&h->server->drawing);
  lw_status status =
      lw_brief_sheet_make(&document, r->paper ? r->paper : "A4", &bytes, &length, &error);
  pthread_mutex_unlock(&h->server->drawing);
  download(r, status, &error, bytes, length, "application/pdf", "pdf");
}

void api_brief_html(hand *h, request *r) {
  lw_brief_document document = {0};
  lw_error error = {0};
  char *bytes = NULL;
  size_t length = 0;
  if (!made(h, r, &document)) return;
  pthread_mutex_lock(&h->server->drawing); /* its pictures hold text */
  lw_status status = lw_brief_page_make(&document, &bytes, &length, &error);
  pthread_mutex_unlock(&h->server->drawing);
  download(r, status, &error, bytes, length, "text/html; charset=utf-8", "html");
}
