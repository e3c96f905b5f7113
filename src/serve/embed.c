/* embed.c - at build time: a folder of files into a C table, each also packed with gzip.
** Usage: embed FOLDER OUT.c
*/
#define _GNU_SOURCE /* scandir, open_memstream */

#include <dirent.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

static const struct {
  const char *ending, *type;
} types[] = {
    {".html", "text/html; charset=utf-8"},
    {".js", "text/javascript; charset=utf-8"},
    {".css", "text/css; charset=utf-8"},
    {".svg", "image/svg+xml"},
    {".webmanifest", "application/manifest+json"},
    {".png", "image/png"},
    {".woff2", "font/woff2"},
    {".txt", "text/plain; charset=utf-8"},
};

static int fail(const char *what) {
  fprintf(stderr, "embed: %s\n", what);
  exit(1);
}

static const char *type_of(const char *name) {
  const char *dot = strrchr(name, '.');
  for (size_t i = 0; dot && i < sizeof types / sizeof types[0]; i++) {
    if (strcmp(dot, types[i].ending) == 0) return types[i].type;
  }
  return "application/octet-stream";
}

static unsigned char *slurp(const char *path, size_t *length) {
  FILE *file = fopen(path, "rb");
  if (!file) fail(path);
  fseek(file, 0, SEEK_END);
  long size = ftell(file);
  rewind(file);
  unsigned char *bytes = malloc((size_t)size + 1);
  if (!bytes || fread(bytes, 1, (size_t)size, file) != (size_t)size) fail(path);
  fclose(file);
  *length = (size_t)size;
  return bytes;
}

static unsigned char *pack(unsigned char *bytes, size_t length, size_t *packed_length) {
  z_stream z = {0};
  if (deflateInit2(&z, 9, Z_DEFLATED, 15 + 16, 9, Z_DEFAULT_STRATEGY) != Z_OK) fail("zlib");
  size_t most = deflateBound(&z, (uLong)length) + 64;
  unsigned char *packed = malloc(most);
  if (!packed) fail("memory");
  z.next_in = bytes;
  z.avail_in = (uInt)length;
  z.next_out = packed;
  z.avail_out = (uInt)most;
  if (deflate(&z, Z_FINISH) != Z_STREAM_END) fail("zlib");
  *packed_length = z.total_out;
  deflateEnd(&z);
  return packed;
}

static void write_bytes(FILE *out, const char *name, size_t at, const unsigned char *bytes,
                        size_t length) {
  fprintf(out, "static const unsigned char %s%zu[] = {", name, at);
  for (size_t i = 0; i < length; i++)
    fprintf(out, "%s%u,", i % 32 ? "" : "\n", bytes[i]);
  fprintf(out, "0};\n");
}

/* FNV-1a of 64 bits: two contents under one name differ in it; nobody is kept out by it. */
static uint64_t tag_of(const unsigned char *bytes, size_t length) {
  uint64_t h = 14695981039346656037u;
  for (size_t i = 0; i < length; i++)
    h = (h ^ bytes[i]) * 1099511628211u;
  return h;
}

/* app-4F2A9C1B.js changes its name with its content. */
static bool lasts(const char *name) {
  const char *dash = strrchr(name, '-');
  return dash && strspn(dash + 1, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") == 8 && dash[9] == '.';
}

static int by_name(const struct dirent **a, const struct dirent **b) {
  return strcmp((*a)->d_name, (*b)->d_name);
}

static int no_dots(const struct dirent *e) {
  return e->d_name[0] != '.';
}

/* One file's bytes and their row of the table. */
static void embed(FILE *out, FILE *rows, const char *folder, const char *name, size_t at) {
  size_t size = strlen(folder) + strlen(name) + 2, length = 0, packed_length = 0;
  char *path = malloc(size);
  if (!path) fail("memory");
  snprintf(path, size, "%s/%s", folder, name);
  unsigned char *bytes = slurp(path, &length), *packed = pack(bytes, length, &packed_length);
  bool gains = packed_length < length;
  write_bytes(out, "plain", at, bytes, length);
  if (gains) write_bytes(out, "packed", at, packed, packed_length);
  fprintf(rows, "    {\"/%s\", \"%s\", \"\\\"%016llx\\\"\", plain%zu, ", name, type_of(name),
          (unsigned long long)tag_of(bytes, length), at);
  if (gains) {
    fprintf(rows, "packed%zu, %zu, %zu, ", at, length, packed_length);
  } else {
    fprintf(rows, "NULL, %zu, 0, ", length);
  }
  fprintf(rows, "%s},\n", lasts(name) ? "true" : "false");
  free(path);
  free(bytes);
  free(packed);
}

int main(int argc, char **argv) {
  struct dirent **list = NULL;
  char *table = NULL;
  size_t table_length = 0;
  if (argc != 3) fail("usage: embed FOLDER OUT.c");
  int count = scandir(argv[1], &list, no_dots, by_name);
  FILE *out = fopen(argv[2], "w"), *rows = open_memstream(&table, &table_length);
  if (count < 1 || !out || !rows) fail(argv[1]);
  fprintf(out, "/* made by src/serve/embed.c */\n#include \"serve.h\"\n");
  for (int i = 0; i < count; i++) {
    embed(out, rows, argv[1], list[i]->d_name, (size_t)i);
    free(list[i]);
  }
  free(list);
  if (fclose(rows) != 0) fail("memory");
  fprintf(out, "const asset assets[] = {\n%s};\nconst size_t asset_count = %d;\n", table, count);
  free(table);
  return fclose(out) == 0 ? 0 : fail(argv[2]);
}
