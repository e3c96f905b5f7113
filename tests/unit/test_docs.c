/* test_docs.c - the handbook says what the program does: its key reference is that of the tables,
** its links lead somewhere, and its contents name every page.
*/
#include "check.h"

#include "leanward/card.h"
#include "leanward/instrument.h"
#include "leanward/rejet.h"

#include <ctype.h>
#include <dirent.h>
#include <stdlib.h>
#include <sys/stat.h>

enum { PAGE_MOST = 256 * 1024 };

static char *page(const char *name) {
  char path[600];
  snprintf(path, sizeof path, "%s/docs/%s", getenv("SOURCE_ROOT"), name);
  FILE *f = fopen(path, "rb");
  assert_non_null(f);
  char *text = calloc(1, PAGE_MOST);
  assert_non_null(text);
  size_t n = fread(text, 1, PAGE_MOST - 1, f);
  assert_true(n > 0 && n < PAGE_MOST - 1);
  fclose(f);
  return text;
}

static void add(void *to, const char *text) {
  lw_text_append(to, PAGE_MOST, "%s", text);
}

static void check_section(const char *text, const char *mark, const lw_table *table) {
  char *want = calloc(1, PAGE_MOST);
  assert_non_null(want);
  snprintf(want, PAGE_MOST, "<!-- %s -->\n", mark);
  lw_table_reference(table, add, want);
  add(want, "<!-- end -->\n");
  if (!strstr(text, want)) fail_msg("run tools/docs after changing the keys (%s)", mark);
  free(want);
}

static void files_page_lists_the_keys_of_the_tables(void **state) {
  (void)state;
  char *text = page("files.md");
  check_section(text, "keys of a spec card", lw_card_table());
  check_section(text, "keys of a job", lw_job_table());
  free(text);
}

static void rejet_page_lists_the_keys_of_a_drawer(void **state) {
  (void)state;
  char *text = page("rejet.md");
  check_section(text, "drawer keys", lw_drawer_table());
  free(text);
}

static void instruments_page_lists_the_keys_of_a_description(void **state) {
  (void)state;
  char *text = page("instruments.md");
  check_section(text, "instrument keys", lw_instrument_table());
  free(text);
}

/* ---- links: each leads somewhere, and the table of contents leads to every page ---- */

enum { PAGES = 64, PATH = 256 };

typedef struct book {
  char path[PAGES][PATH]; /* "docs/files.md", from the source folder */
  bool reached[PAGES];
  size_t count;
} book;

static void add_page(book *b, const char *folder, const char *name) {
  assert_true(b->count < PAGES);
  snprintf(b->path[b->count++], PATH, "%s%s", folder, name);
}

static void add_folder(book *b, const char *folder) {
  char path[600];
  snprintf(path, sizeof path, "%s/%s", getenv("SOURCE_ROOT"), folder);
  DIR *dir = opendir(path);
  assert_non_null(dir);
  for (const struct dirent *e = readdir(dir); e; e = readdir(dir)) {
    size_t n = strlen(e->d_name);
    if (n > 3 && strcmp(e->d_name + n - 3, ".md") == 0) add_page(b, folder, e->d_name);
  }
  closedir(dir);
}

static char *source(const char *path) {
  char from_docs[300];
  snprintf(from_docs, sizeof from_docs, "../%s", path);
  return page(from_docs);
}

/* "docs/decisions/001.md" and "../files.md" make "docs/files.md". */
static void resolve(const char *from, const char *link, char path[PATH]) {
  const char *slash = strrchr(from, '/');
  snprintf(path, PATH, "%.*s", slash ? (int)(slash - from) : 0, from);
  while (*link) {
    size_t n = strcspn(link, "/");
    char *up = strrchr(path, '/');
    if (n == 2 && strncmp(link, "..", 2) == 0) {
      *(up ? up : path) = '\0';
    } else if (n > 0 && !(n == 1 && *link == '.')) {
      lw_text_append(path, PATH, "%s%.*s", *path ? "/" : "", (int)n, link);
    }
    link += n + (link[n] == '/');
  }
}

/* The anchor a head gets: small letters, blanks as hyphens, without marks. */
static void anchor_of(const char *head, char anchor[PATH]) {
  size_t n = 0;
  for (; *head && *head != '\n' && n < PATH - 1; head++) {
    unsigned char c = (unsigned char)*head;
    if (isalnum(c) || c == '-' || c == '_' || c >= 0x80) anchor[n++] = (char)tolower(c);
    if (c == ' ') anchor[n++] = '-';
  }
  anchor[n] = '\0';
}

static bool has_anchor(const char *path, const char *wanted) {
  char *text = source(path), anchor[PATH];
  bool found = false;
  for (const char *line = text; line && *line && !found; line = strchr(line, '\n')) {
    line += *line == '\n';
    if (*line != '#') continue;
    const char *head = line + strspn(line, "#");
    anchor_of(head + strspn(head, " "), anchor);
    found = strcmp(anchor, wanted) == 0;
  }
  free(text);
  return found;
}

/* Follow one link of a page: its file must be there, and the anchor in it. */
static void follow(book *b, const char *from, const char *link) {
  char path[PATH], file[600], readme[PATH];
  struct stat st;
  const char *mark = strchr(link, '#');
  char name[PATH];
  snprintf(name, sizeof name, "%.*s", mark ? (int)(mark - link) : (int)strlen(link), link);
  if (*name) {
    resolve(from, name, path);
  } else {
    snprintf(path, sizeof path, "%s", from);
  }
  snprintf(file, sizeof file, "%s/%s", getenv("SOURCE_ROOT"), path);
  if (stat(file, &st) != 0) {
    fail_msg("%s: the link (%s) leads nowhere: there is no %s", from, link, path);
    return;
  }
  if (mark && strstr(path, ".md") && !has_anchor(path, mark + 1)) {
    fail_msg("%s: the link (%s) leads nowhere: no head of %s has that anchor", from, link, path);
  }
  snprintf(readme, sizeof readme, "%.200s/README.md", path);
  for (size_t i = 0; i < b->count; i++) {
    if (!strcmp(b->path[i], path) || !strcmp(b->path[i], readme)) b->reached[i] = true;
  }
}

/* Calls follow for every ](link) and src="link" outside listings; addresses on the net are left. */
static void each_link(book *b, const char *from) {
  char *text = source(from), link[PATH];
  for (const char *at = text; *at; at++) {
    if (*at == '\n' && strncmp(at + 1, "    ", 4) == 0) {
      at += strcspn(at + 1, "\n");
      continue;
    }
    size_t open = !strncmp(at, "](", 2) ? 2 : !strncmp(at, "src=\"", 5) ? 5 : 0;
    if (open == 0) continue;
    snprintf(link, sizeof link, "%.*s", (int)strcspn(at + open, ")\" \n"), at + open);
    if (!strstr(link, "://") && strncmp(link, "mailto:", 7) != 0) follow(b, from, link);
  }
  free(text);
}

static void every_link_leads_somewhere(void **state) {
  (void)state;
  static book b;
  add_folder(&b, "docs/");
  add_folder(&b, "docs/decisions/");
  add_page(&b, "", "README.md");
  for (size_t i = 0; i < b.count; i++)
    each_link(&b, b.path[i]);
}

static void the_contents_lead_to_every_page(void **state) {
  (void)state;
  static book b;
  bool followed[PAGES] = {false};
  add_folder(&b, "docs/");
  add_folder(&b, "docs/decisions/");
  add_page(&b, "", "README.md");
  for (size_t i = 0; i < b.count; i++)
    b.reached[i] = strcmp(b.path[i], "docs/handbook.md") == 0;
  for (bool more = true; more;) {
    more = false;
    for (size_t i = 0; i < b.count; i++) {
      if (!b.reached[i] || followed[i]) continue;
      each_link(&b, b.path[i]);
      more = followed[i] = true;
    }
  }
  for (size_t i = 0; i < b.count; i++) {
    if (!b.reached[i]) fail_msg("no way leads from docs/handbook.md to %s", b.path[i]);
  }
}

/* Each page of docs/ is a chapter, so that it stands in the order of the work. */
static void every_page_is_a_chapter(void **state) {
  (void)state;
  static book b;
  char *contents = page("handbook.md"), link[PATH + 8];
  add_folder(&b, "docs/");
  for (size_t i = 0; i < b.count; i++) {
    const char *name = b.path[i] + strlen("docs/");
    snprintf(link, sizeof link, "](%s):", name);
    if (strcmp(name, "handbook.md") != 0 && !strstr(contents, link)) {
      fail_msg("docs/handbook.md has no line \"- [title](%s): what\"", name);
    }
  }
  free(contents);
}

/* Sources a page names in a listing's letters, `src/carb/build.c`, are there. */
static void every_source_named_is_there(void **state) {
  (void)state;
  static book b;
  static const char *const roots[] = {"src/",   "include/", "tests/",       "tools/",
                                      "cards/", "jobs/",    "instruments/", "docs/"};
  add_folder(&b, "docs/");
  add_page(&b, "", "README.md");
  for (size_t i = 0; i < b.count; i++) {
    char *text = source(b.path[i]), path[600];
    for (const char *at = strchr(text, '`'); at; at = strchr(at, '`')) {
      size_t n = strspn(++at, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_./-");
      bool ours = false;
      for (size_t k = 0; k < sizeof roots / sizeof roots[0]; k++)
        ours = ours || strncmp(at, roots[k], strlen(roots[k])) == 0;
      if (!ours || at[n] != '`') continue;
      snprintf(path, sizeof path, "%s/%.*s", getenv("SOURCE_ROOT"), (int)n, at);
      struct stat st;
      if (stat(path, &st) != 0)
        fail_msg("%s names %.*s, which is not there", b.path[i], (int)n, at);
    }
    free(text);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_link_leads_somewhere),
      cmocka_unit_test(the_contents_lead_to_every_page),
      cmocka_unit_test(every_page_is_a_chapter),
      cmocka_unit_test(every_source_named_is_there),
      cmocka_unit_test(instruments_page_lists_the_keys_of_a_description),
      cmocka_unit_test(files_page_lists_the_keys_of_the_tables),
      cmocka_unit_test(rejet_page_lists_the_keys_of_a_drawer),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
