/* api_cards.c - the folder of spec cards: what a job may name. Only plain names in that one folder
** are ever opened, whatever path a job writes.
*/
#include "serve.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>

enum { CARDS_MOST = 500, FOLDERS_MOST = 50, NAME_MOST = 120 };

/* A name that leads nowhere else: no slash, no dot before it. */
static bool is_plain(const char *name, size_t length) {
  static const char allowed[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.";
  if (length < 1 || length >= NAME_MOST || name[0] == '.') return false;
  for (size_t i = 0; i < length; i++) {
    if (!strchr(allowed, name[i])) return false;
  }
  return true;
}

/* "../cards/corran-220.yaml" to "corran-220"; false when it is no name of a card. */
static bool card_name(const char *named, char *name, size_t size) {
  const char *slash = strrchr(named, '/');
  const char *base = slash ? slash + 1 : named;
  size_t length = strlen(base);
  if (length > 5 && strcmp(base + length - 5, ".yaml") == 0) length -= 5;
  if (length >= size || !is_plain(base, length)) return false;
  memcpy(name, base, length);
  name[length] = '\0';
  return true;
}

bool card_place(hand *h, const char *named, const char **path, const char **shown, bool *folder) {
  const char *slash = strchr(named, '/'), *base = slash ? slash + 1 : named;
  size_t above = slash ? (size_t)(slash - named) : 0;
  bool here = above == 0 || (above == 1 && named[0] == '.');
  *folder = slash && !base[0];
  bool good = h->server->cards && (here ? !slash || above : is_plain(named, above)) &&
              (*folder || is_plain(base, strlen(base)));
  if (!good) return false;
  const char *inner =
      lw_arena_print(h->arena, "%s%.*s%s%s%s", here ? "" : "/", here ? 0 : (int)above, named,
                     *folder ? "" : "/", *folder ? "" : base, *folder ? "" : ".yaml");
  *path = inner ? lw_arena_print(h->arena, "%s%s", h->server->cards, inner) : NULL;
  *shown = inner ? lw_arena_print(h->arena, "cards%s", inner) : NULL;
  return *path && *shown;
}

lw_status card_text(hand *h, const char *named, const char **text, size_t *length,
                    lw_error *error) {
  char name[NAME_MOST];
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

const lw_card *card_other(hand *h, const lw_card *card) {
  return h->server->cards ? lw_card_other(h->arena, h->units, h->server->cards, card) : NULL;
}

static int by_name(const void *a, const void *b) {
  return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Names of a folder's cards, or of the folders in it, in arena, sorted. */
static size_t find_names(hand *h, const char *path, bool folders, const char **names, size_t most) {
  size_t count = 0;
  DIR *dir = path ? opendir(path) : NULL;
  if (!dir) return 0;
  for (const struct dirent *e; count < most && (e = readdir(dir)) != NULL;) {
    size_t length = strlen(e->d_name);
    bool yaml = length > 5 && strcmp(e->d_name + length - 5, ".yaml") == 0;
    if (folders == yaml || !is_plain(e->d_name, length)) continue;
    names[count] = lw_arena_copy(h->arena, e->d_name, length - (yaml ? 5 : 0));
    count += names[count] != NULL;
  }
  closedir(dir);
  qsort(names, count, sizeof names[0], by_name);
  return count;
}

static json_t *text_or_null(const char *text) {
  return text ? json_string(text) : json_null();
}

/* prefix: "", "1969/". A card that is wrong is NULL: it cannot be named until it is mended. */
static json_t *card_json(hand *h, const char *prefix, const char *name) {
  lw_error error = {0};
  lw_card *card = NULL;
  const char *text = NULL;
  size_t length = 0;
  const lw_bind bind = {h->arena, h->units, name};
  const char *path = lw_arena_print(h->arena, "%s/%s%s.yaml", h->server->cards, prefix, name);
  const char *full = lw_arena_print(h->arena, "%s%s", prefix, name);
  if (!path || !full) return NULL;
  lw_status status = lw_file_read(h->arena, path, LW_DOC_MAX_BYTES, &text, &length, &error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &error);
  if (status != LW_OK) return NULL;
  return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o}", "card", full, "unit", card->unit, "maker",
                   text_or_null(card->maker), "engine", text_or_null(card->engine_name),
                   "emissions", text_or_null(card->emissions), "model_year",
                   card->year ? json_integer(card->year) : json_null(), "transmission",
                   card->transmission ? json_string(lw_transmission_text(card->transmission))
                                      : json_null());
}

/* The cards of one folder: "" is the folder of cards itself. */
static json_t *cards_of(hand *h, const char *prefix) {
  static const size_t size = CARDS_MOST * sizeof(char *);
  const char **names = lw_arena_alloc(h->arena, size);
  const char *path = lw_arena_print(h->arena, "%s/%s", h->server->cards, prefix);
  json_t *list = json_array();
  size_t count = names && path ? find_names(h, path, false, names, CARDS_MOST) : 0;
  for (size_t i = 0; i < count; i++) {
    json_t *card = card_json(h, prefix, names[i]);
    if (card) json_array_append_new(list, card);
  }
  return list;
}

/* Folders in it: other model years, to be held against it. */
static json_t *folders_of(hand *h) {
  const char *names[FOLDERS_MOST];
  json_t *list = json_array();
  size_t count = find_names(h, h->server->cards, true, names, FOLDERS_MOST);
  for (size_t i = 0; i < count; i++) {
    const char *prefix = lw_arena_print(h->arena, "%s/", names[i]);
    json_t *cards = prefix ? cards_of(h, prefix) : json_array();
    if (json_array_size(cards)) {
      json_array_append_new(list, json_pack("{s:s, s:o}", "folder", prefix, "cards", cards));
    } else {
      json_decref(cards);
    }
  }
  return list;
}

void api_cards(hand *h, request *r) {
  bool there = h->server->cards != NULL;
  reply_json(r, MHD_HTTP_OK,
             json_pack("{s:o, s:o}", "cards", there ? cards_of(h, "") : json_array(), "folders",
                       there ? folders_of(h) : json_array()));
}

void api_job_keys(hand *h, request *r) {
  (void)h;
  reply_json(r, MHD_HTTP_OK, json_pack("{s:o}", "keys", lw_table_json(lw_job_table())));
}
