/* test_docs.c - the handbook says what the program does: its key reference is that of the tables.
 */
#include "check.h"

#include "leanward/card.h"
#include "leanward/instrument.h"
#include "leanward/rejet.h"

#include <stdlib.h>

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

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(instruments_page_lists_the_keys_of_a_description),
      cmocka_unit_test(files_page_lists_the_keys_of_the_tables),
      cmocka_unit_test(rejet_page_lists_the_keys_of_a_drawer),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
