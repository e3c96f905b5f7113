/* api_cards.c - the folder of spec cards: what a job may name. Only plain names in that one folder
** are ever opened, whatever path a job writes.
*/
#include "serve.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>

enum { CARDS_MOST = 500 };

/* "../cards/corran-220.yaml" to "corran-220"; false when it is no name of a card. */
static bool card_name(const char *named, char *name, size_t size) {
  static const char allowed[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.";
  const char *slash = strrchr(named, '/');
  const char *base = slash ? slash + 1 : named;
  size_t length = strlen(base);
  if (length > 5 && strcmp(base + length - 5, ".yaml") == 0) length -= 5;
  if (length < 1 || length >= size || base[0] == '.') return false;
  memcpy(name, base, length);
  name[length] = '\0';
  return strspn(name, allowed) == length;
}

lw_status card_text(hand *h, const char *named, const char **text, size_t *length,
                    lw_error *error) {
  char name[120];
  if (h->server->cards && card_name(named, name, sizeof name)) {
    char *path = lw_arena_print(h->arena, "%s/%s.yaml", h->server->cards, name);
    lw_error ignored = {0};
    if (path && lw_file_read(h->arena, path, LW_DOC_MAX_BYTES, text, length, &ignored) == LW_OK) {
      return LW_OK;
    }
  }
  return lw_fail(error, LW_NOT_FOUND,
                 "there is no card '%.80s' here; /api/cards lists those there are", named);
}

static int by_name(const void *a, const void *b) {
  return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Names of the folder's cards, in arena, sorted. */
static size_t find_cards(hand *h, const char **names) {
  size_t count = 0;
  DIR *folder = h->server->cards ? opendir(h->server->cards) : NULL;
  if (!folder) return 0;
  for (struct dirent *e; count < CARDS_MOST && (e = readdir(folder)) != NULL;) {
    char name[120];
    size_t length = strlen(e->d_name);
    bool yaml = length > 5 && strcmp(e->d_name + length - 5, ".yaml") == 0;
    if (!yaml || !card_name(e->d_name, name, sizeof name)) continue;
    names[count] = lw_arena_copy(h->arena, name, strlen(name));
    count += names[count] != NULL;
  }
  closedir(folder);
  qsort(names, count, sizeof names[0], by_name);
  return count;
}

static json_t *text_or_null(const char *text) {
  return text ? json_string(text) : json_null();
}

static json_t *card_json(hand *h, const char *name) {
  lw_error error = {0};
  lw_card *card = NULL;
  const char *text = NULL;
  size_t length = 0;
  const lw_bind bind = {h->arena, h->units, name};
  lw_status status = card_text(h, name, &text, &length, &error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &error);
  if (status != LW_OK) return NULL;
  return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o}", "card", name, "unit", card->unit, "maker",
                   text_or_null(card->maker), "engine", text_or_null(card->engine_name),
                   "emissions", text_or_null(card->emissions), "model_year",
                   card->year ? json_integer(card->year) : json_null(), "transmission",
                   card->transmission ? json_string(lw_transmission_text(card->transmission))
                                      : json_null());
}

/* A card that is wrong is left out: it cannot be named until it is mended. */
void api_cards(hand *h, request *r) {
  static const size_t size = CARDS_MOST * sizeof(char *);
  const char **names = lw_arena_alloc(h->arena, size);
  json_t *list = json_array();
  size_t count = names ? find_cards(h, names) : 0;
  for (size_t i = 0; i < count; i++) {
    json_t *card = card_json(h, names[i]);
    if (card) json_array_append_new(list, card);
  }
  reply_json(r, MHD_HTTP_OK, json_pack("{s:o}", "cards", list));
}
