/* brief_cards.c - the cards of a brief, read from files and folders. */
#include "leanward/brief_page.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>

lw_status lw_brief_side_read(lw_arena *arena, lw_units *units, const char *path, const char *shown,
                             lw_brief_side *side, lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  lw_card *card = NULL;
  if (!shown) shown = path;
  lw_bind bind = {arena, units, shown};
  lw_status status = lw_file_read(arena, path, LW_DOC_MAX_BYTES, &text, &length, error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, error);
  if (status == LW_OK) status = lw_doc_parse(arena, shown, text, length, &side->root, error);
  if (status != LW_OK) lw_error_place(error, shown, 0, NULL);
  side->card = card;
  return status;
}

static bool is_card_name(const char *name) {
  size_t n = strlen(name);
  return n > 5 && name[0] != '.' && strcmp(name + n - 5, ".yaml") == 0;
}

static int by_name(const void *a, const void *b) {
  return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* The names of a folder's cards, in order: what is told does not hang on how the disk sorts. */
static lw_status list_folder(lw_arena *arena, const char *folder, const char *shown,
                             const char **names, size_t *count, lw_error *error) {
  DIR *dir = opendir(folder);
  *count = 0;
  lw_error_place(error, shown, 0, NULL);
  if (!dir) return lw_fail(error, LW_IO, "the folder cannot be opened");
  for (const struct dirent *entry = readdir(dir); entry; entry = readdir(dir)) {
    if (!is_card_name(entry->d_name)) continue;
    if (*count == LW_BRIEF_CARDS_MOST) {
      closedir(dir);
      return lw_fail(error, LW_TOO_LARGE, "more than %d cards", LW_BRIEF_CARDS_MOST);
    }
    names[*count] = lw_arena_copy(arena, entry->d_name, strlen(entry->d_name));
    if (names[*count]) (*count)++;
  }
  closedir(dir);
  if (!*count) return lw_fail(error, LW_NOT_FOUND, "there is no card (.yaml) in this folder");
  qsort(names, *count, sizeof *names, by_name);
  *error = (lw_error){0};
  return LW_OK;
}

lw_status lw_brief_folder_read(lw_arena *arena, lw_units *units, const char *folder,
                               const char *shown, const lw_brief_side **sides, size_t *count,
                               lw_error *error) {
  const char **names = lw_arena_array(arena, LW_BRIEF_CARDS_MOST, sizeof *names);
  if (!shown) shown = folder;
  if (!names) return lw_fail(error, LW_NO_MEMORY, "no memory");
  lw_status status = list_folder(arena, folder, shown, names, count, error);
  if (status != LW_OK) return status;
  lw_brief_side *list = lw_arena_array(arena, *count, sizeof *list);
  if (!list) return lw_fail(error, LW_NO_MEMORY, "no memory");
  for (size_t i = 0; i < *count && status == LW_OK; i++) {
    const char *path = lw_arena_print(arena, "%s/%s", folder, names[i]);
    const char *name = lw_arena_print(arena, "%s/%s", shown, names[i]);
    status = path && name ? lw_brief_side_read(arena, units, path, name, &list[i], error)
                          : lw_fail(error, LW_NO_MEMORY, "no memory");
  }
  *sides = list;
  return status;
}
