/* cmd_card.c - `leanward card`: check a spec card, print what it says in both unit systems. */
#include "cli.h"

#include <getopt.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward card [--json] FILE\n"
    "       leanward card --keys | --job-keys\n"
    "Check a spec card and print it in shop and metric units. FILE may be `-`.\n\n"
    "  --json      as JSON: {path: {shop, metric}}\n"
    "  --keys      every key a spec card may hold, with its units\n"
    "  --job-keys  the same for a job file\n"
    "  --help      this text\n";

typedef struct printer {
  char section[64];
  json_t *json;
} printer;

/* "carburetor, primary, main jet" prints under the heading "carburetor, primary". */
static void print_value(void *to, const char *path, const lw_field *field, const char *shop,
                        const char *metric) {
  printer *p = to;
  (void)field;
  if (p->json) {
    json_object_set_new(p->json, path, json_pack("{s:s, s:s}", "shop", shop, "metric", metric));
    return;
  }
  const char *last = strrchr(path, ',');
  const char *name = last ? last + 2 : path;
  char section[64] = "";
  if (last) snprintf(section, sizeof section, "%.*s", (int)(last - path), path);
  if (strcmp(section, p->section) != 0) {
    putchar('\n');
    cli_styled(stdout, CLI_STRONG, section);
    putchar('\n');
    snprintf(p->section, sizeof p->section, "%s", section);
  }
  bool both = strcmp(shop, metric) != 0;
  char value[600];
  snprintf(value, sizeof value, both ? "%s  (%s)" : "%s", shop, metric);
  printf("  %-24s ", name);
  cli_wrapped(stdout, 27, 27, value);
}

static void print_text(void *to, const char *text) {
  (void)to;
  fputs(text, stdout);
}

static int print_card(lw_arena *arena, lw_units *units, const char *path, bool json,
                      lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  lw_card *card = NULL;
  lw_bind bind = {arena, units, path};
  lw_status status = lw_file_read(arena, path, LW_DOC_MAX_BYTES, &text, &length, error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, error);
  if (status != LW_OK) return cli_fail("card", error);
  printer p = {.json = json ? json_object() : NULL};
  lw_table_walk(lw_card_table(), card, print_value, &p);
  if (json) {
    json_dumpf(p.json, stdout, JSON_INDENT(2));
    putchar('\n');
    json_decref(p.json);
  }
  return cli_finish("card", CLI_DONE);
}

int cmd_card(int argc, char **argv) {
  static const struct option options[] = {{"json", no_argument, NULL, 'j'},
                                          {"keys", no_argument, NULL, 'k'},
                                          {"job-keys", no_argument, NULL, 'J'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  bool json = false;
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    switch (c) {
    case 'j': json = true; break;
    case 'k':
      lw_table_reference(lw_card_table(), print_text, NULL);
      return cli_finish("card", CLI_DONE);
    case 'J':
      lw_table_reference(lw_job_table(), print_text, NULL);
      return cli_finish("card", CLI_DONE);
    case 'h': fputs(usage, stdout); return cli_finish("card", CLI_DONE);
    default: return cli_usage("card", "'%s' is not an option", argv[optind - 1]);
    }
  }
  if (optind + 1 != argc) return cli_usage("card", "one spec card was expected");
  lw_error error = {0};
  lw_units *units = NULL;
  lw_arena *arena = lw_arena_new(0);
  if (!arena) lw_fail(&error, LW_NO_MEMORY, "no memory");
  int code = arena && lw_units_open(&units, &error) == LW_OK
                 ? print_card(arena, units, argv[optind], json, &error)
                 : cli_fail("card", &error);
  lw_units_close(units);
  lw_arena_free(arena);
  return code;
}
