/* replay.c - feed every file of the folders named on the command line to a fuzz target, once. What
** fuzzing found stays found, with any compiler.
*/
#include <dirent.h>
#include <string.h>

#include "fuzz.h"

static int replay_file(const char *path) {
  FILE *file = fopen(path, "rb");
  if (!file) return 0;
  static uint8_t bytes[1 << 20];
  size_t size = fread(bytes, 1, sizeof bytes, file);
  fclose(file);
  uint8_t *exact = malloc(size ? size : 1); /* so that a read one byte too far is seen */
  HOLD(exact);
  memcpy(exact, bytes, size);
  LLVMFuzzerTestOneInput(exact, size);
  free(exact);
  return 1;
}

static int replay_folder(const char *folder) {
  int count = 0;
  DIR *open = opendir(folder);
  if (!open) return 0;
  for (struct dirent *entry; (entry = readdir(open));) {
    char path[4096];
    if (entry->d_name[0] == '.') continue;
    snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
    count += replay_file(path);
  }
  closedir(open);
  return count;
}

int main(int argc, char **argv) {
  int total = 0;
  for (int i = 1; i < argc; i++) {
    int count = replay_folder(argv[i]);
    printf("%s: %d files\n", argv[i], count);
    if (count == 0) return 1; /* a missing corpus must not look like a passed test */
    total += count;
  }
  return total > 0 ? 0 : 1;
}
