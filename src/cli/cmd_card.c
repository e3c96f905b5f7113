/* cmd_card.c - `leanward card`: check a spec card, print what it says in both unit systems. */
#include "cli.h"

#include <getopt.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward card [--json] FILE\n"
    "       leanward card --complete [--json] FILE\n"
    "       leanward card --keys | --job-keys | --families\n"
    "       leanward card --draw OUT [--throttle SHARE] [--speed SPEED] FILE [NAME=VALUE ...]\n"
    "Check a spec card and print it in shop and metric units. FILE may be `-`.\n\n"
    "  --json      as JSON: {path: {shop, metric}}\n"
    "  --complete  size what the card lacks, so that the unit meets the usual targets\n"
    "  --families  the kinds of carburetors that can be run\n"
    "  --keys      every key a spec card may hold, with its units\n"
    "  --job-keys  the same for a job file\n"
    "  --draw OUT  the passages with what flows in them, as .svg or .png (--draw OUT --help)\n"
    "  --help      this text\n";

enum { ROWS_MOST = 800 };

/* One printed value: "carburetor, primary" / "main jet" / "0.0550 in (1.397 mm)". */
typedef struct row {
  const char *section, *name, *value;
  bool done;
} row;

typedef struct printer {
  lw_arena *arena;
  json_t *json;
  row rows[ROWS_MOST];
  size_t count;
} printer;

static void collect(void *to, const char *path, const lw_field *field, const char *shop,
                    const char *metric) {
  printer *p = to;
  (void)field;
  if (p->json) {
    json_object_set_new(p->json, path, json_pack("{s:s, s:s}", "shop", shop, "metric", metric));
    return;
  }
  const char *last = strrchr(path, ',');
  bool both = strcmp(shop, metric) != 0;
  if (p->count == ROWS_MOST) return;
  p->rows[p->count++] = (row){
      .section = lw_arena_copy(p->arena, path, last ? (size_t)(last - path) : 0),
      .name = lw_arena_print(p->arena, "%s", last ? last + 2 : path),
      .value = both ? lw_arena_print(p->arena, "%s (%s)", shop, metric)
                    : lw_arena_print(p->arena, "%s", shop),
  };
}

/* "engine, centrifugal advance 2" is the second of a list: its values share a line. */
static bool is_item(const char *section) {
  size_t n = strlen(section);
  return n && section[n - 1] >= '0' && section[n - 1] <= '9';
}

static void print_item(printer *p, size_t from) {
  const char *section = p->rows[from].section;
  char text[700] = "";
  for (size_t i = from; i < p->count; i++) {
    if (p->rows[i].done || strcmp(p->rows[i].section, section) != 0) continue;
    lw_text_append(text, sizeof text, "%s%s %s", text[0] ? "; " : "", p->rows[i].name,
                   p->rows[i].value);
    p->rows[i].done = true;
  }
  printf("  %-26s ", strrchr(section, ',') ? strrchr(section, ',') + 2 : section);
  cli_wrapped(stdout, 29, 29, text);
}

/* Plain values under their heading, then the lists under it. */
static void print_section(printer *p, size_t from) {
  const char *section = p->rows[from].section;
  size_t length = strlen(section);
  if (section[0]) {
    putchar('\n');
    cli_styled(stdout, CLI_STRONG, section);
    putchar('\n');
  }
  for (size_t i = from; i < p->count; i++) {
    row *r = &p->rows[i];
    if (r->done || strcmp(r->section, section) != 0) continue;
    printf("  %-26s ", r->name);
    cli_wrapped(stdout, 29, 29, r->value);
    r->done = true;
  }
  for (size_t i = from; length && i < p->count; i++) {
    const row *r = &p->rows[i];
    bool inside = strncmp(r->section, section, length) == 0 && r->section[length] == ',' &&
                  !strchr(r->section + length + 1, ',');
    if (!r->done && inside && is_item(r->section)) print_item(p, i);
  }
}

static void print_rows(printer *p) {
  for (size_t i = 0; i < p->count; i++) {
    if (p->rows[i].done) continue;
    if (is_item(p->rows[i].section)) {
      print_item(p, i);
    } else {
      print_section(p, i);
    }
  }
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
  printer *p = lw_arena_alloc(arena, sizeof *p);
  if (!p) {
    lw_fail(error, LW_NO_MEMORY, "no memory to print this card");
    return cli_fail("card", error);
  }
  p->arena = arena;
  p->json = json ? json_object() : NULL;
  lw_table_walk(lw_card_table(), card, collect, p);
  if (json) {
    json_dumpf(p->json, stdout, JSON_INDENT(2));
    putchar('\n');
    json_decref(p->json);
  } else {
    print_rows(p);
  }
  return cli_finish("card", CLI_DONE);
}

int cmd_card(int argc, char **argv) {
  static const struct option options[] = {{"json", no_argument, NULL, 'j'},
                                          {"keys", no_argument, NULL, 'k'},
                                          {"job-keys", no_argument, NULL, 'J'},
                                          {"complete", no_argument, NULL, 'c'},
                                          {"families", no_argument, NULL, 'f'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  if (cmd_draw_asked(argc, argv)) return cmd_draw(argc, argv);
  bool json = false, complete = false;
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    switch (c) {
    case 'j': json = true; break;
    case 'c': complete = true; break;
    case 'f': return cmd_families();
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
  if (complete) return cmd_complete(argv[optind], json);
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
