/* arena.c - memory that is taken piece by piece and given back at once.
**
** Blocks are chained; a request larger than a block gets a block of its own. Every piece starts
** at a multiple of alignof(max_align_t). The limit counts what was handed out, so that a hostile
** input ends in LW_NO_MEMORY and not in a machine without memory.
*/
#include "leanward/base.h"

#include <stdalign.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK_BYTES = 64 * 1024 };

typedef struct block {
  struct block *next;
  size_t used, size;
  alignas(max_align_t) unsigned char bytes[];
} block;

struct lw_arena {
  block *blocks;
  size_t used, limit;
};

static size_t rounded(size_t size) {
  const size_t step = alignof(max_align_t);
  return (size + step - 1) / step * step;
}

static block *block_new(block *next, size_t need) {
  size_t size = need > BLOCK_BYTES ? need : BLOCK_BYTES;
  block *b = calloc(1, sizeof *b + size);
  if (!b) return NULL;
  b->next = next;
  b->size = size;
  return b;
}

lw_arena *lw_arena_new(size_t limit) {
  lw_arena *arena = calloc(1, sizeof *arena);
  if (arena) arena->limit = limit ? limit : (size_t)64 * 1024 * 1024;
  return arena;
}

void lw_arena_free(lw_arena *arena) {
  if (!arena) return;
  for (block *b = arena->blocks; b;) {
    block *next = b->next;
    free(b);
    b = next;
  }
  free(arena);
}

void *lw_arena_alloc(lw_arena *arena, size_t size) {
  if (size > arena->limit) return NULL;
  if (size > SIZE_MAX - sizeof(block) - alignof(max_align_t)) return NULL; /* rounding would wrap */
  size_t need = rounded(size ? size : 1);
  if (need > arena->limit - arena->used) return NULL;
  block *b = arena->blocks;
  if (!b || b->size - b->used < need) {
    b = block_new(arena->blocks, need);
    if (!b) return NULL;
    arena->blocks = b;
  }
  void *piece = b->bytes + b->used;
  b->used += need;
  arena->used += need;
  return piece;
}

void *lw_arena_array(lw_arena *arena, size_t count, size_t size) {
  if (size && count > SIZE_MAX / size) return NULL;
  return lw_arena_alloc(arena, count * size);
}

char *lw_arena_copy(lw_arena *arena, const char *text, size_t length) {
  if (length == SIZE_MAX) return NULL;
  char *copy = lw_arena_alloc(arena, length + 1);
  if (copy && length) memcpy(copy, text, length);
  return copy;
}

char *lw_arena_print(lw_arena *arena, const char *format, ...) {
  va_list args, again;
  va_start(args, format);
  va_copy(again, args);
  int length = vsnprintf(NULL, 0, format, args);
  va_end(args);
  char *text = length < 0 ? NULL : lw_arena_alloc(arena, (size_t)length + 1);
  if (text) vsnprintf(text, (size_t)length + 1, format, again);
  va_end(again);
  return text;
}

size_t lw_arena_used(const lw_arena *arena) {
  return arena->used;
}
