/* other_card.c - the spec card of the unit made for the other transmission, in a folder of cards. */
#include "leanward/record.h"

#include <dirent.h>
#include <string.h>

enum { CARDS_MOST = 500 };

static bool same(const char *a, const char *b) {
  return a && b ? lw_text_same(a, b) : a == b;
}

static bool is_other(const lw_card *card, const lw_card *c) {
  bool engine = same(card->maker, c->maker) && same(card->engine_name, c->engine_name) &&
                card->year == c->year && same(card->emissions, c->emissions);
  bool unit = card->carburetor.barrels == c->carburetor.barrels &&
              card->carburetor.units == c->carburetor.units;
  bool transmission =
      card->transmission && c->transmission && card->transmission != c->transmission;
  return engine && unit && transmission && !same(card->unit, c->unit);
}

/* Names of a folder's cards, in order. */
static size_t names_in(lw_arena *arena, const char *folder, const char **names) {
  size_t n = 0;
  DIR *dir = opendir(folder);
  for (struct dirent *e; dir && n < CARDS_MOST && (e = readdir(dir));) {
    size_t length = strlen(e->d_name), at = n;
    if (length < 6 || strcmp(e->d_name + length - 5, ".yaml") != 0) continue;
    const char *name = lw_arena_copy(arena, e->d_name, length);
    if (!name) break;
    for (; at > 0 && strcmp(names[at - 1], name) > 0; at--)
      names[at] = names[at - 1];
    names[at] = name;
    n++;
  }
  if (dir) closedir(dir);
  return n;
}

const lw_card *lw_card_other(lw_arena *arena, lw_units *units, const char *folder,
                             const lw_card *card) {
  const char **names = lw_arena_array(arena, CARDS_MOST, sizeof *names);
  if (!card || !names || !card->transmission) return NULL;
  if (!folder) {
    const char *slash = card->file ? strrchr(card->file, '/') : NULL;
    folder = slash ? lw_arena_copy(arena, card->file, (size_t)(slash - card->file)) : ".";
  }
  size_t count = folder ? names_in(arena, folder, names) : 0;
  for (size_t i = 0; i < count; i++) {
    const char *path = lw_arena_print(arena, "%s/%s", folder, names[i]), *text = NULL;
    const lw_bind bind = {arena, units, path};
    size_t length = 0;
    lw_card *c = NULL;
    lw_error ignored = {0};
    if (!path || lw_file_read(arena, path, LW_DOC_MAX_BYTES, &text, &length, &ignored) != LW_OK)
      continue;
    if (lw_card_read(&bind, text, length, &c, &ignored) == LW_OK && is_other(card, c)) return c;
  }
  return NULL;
}
