/* cmd_complete.c - `leanward card --complete`: the sizes a card lacks, and `card --families`.
**
** What is printed is a spec card again: the file as it was, inferred sizes put in and marked, and
** the targets as comments behind it. A file whose maps are written in braces gets the sizes alone.
*/
#include "cli.h"

#include "leanward/bench.h"

#include <math.h>
#include <string.h>

static const double inch = 0.0254, rpm = 2 * 3.14159265358979323846 / 60, inhg = 3386.389;
/* A target further off than this is missed. */
static const double missed_by = 0.05;

/* ---- the sizes as lines of a card ---- */

static void size_line(const lw_inferred_size *s, const char *indent, int indent_length) {
  printf("%.*s%s: %.4f in # inferred%s\n", indent_length, indent, s->key, s->value / inch,
         s->at_bound ? ", at the bound of what is plausible" : "");
}

static void side_lines(const lw_completed *c, bool secondary, const char *indent,
                       int indent_length) {
  for (size_t i = 0; i < c->size_count; i++) {
    if (c->sizes[i].secondary == secondary) size_line(&c->sizes[i], indent, indent_length);
  }
}

static size_t sizes_of(const lw_completed *c, bool secondary) {
  size_t n = 0;
  for (size_t i = 0; i < c->size_count; i++)
    n += c->sizes[i].secondary == secondary;
  return n;
}

/* Start of a line counted from 1; NULL behind the last. */
static const char *line_start(const char *text, int line) {
  while (line > 1 && text) {
    text = strchr(text, '\n');
    if (text) text++;
    line--;
  }
  return text && *text ? text : NULL;
}

/* True when a map begins on a line of its own, key by key, so that lines may be put before it. */
static bool takes_lines(const char *text, int line) {
  const char *at = line > 0 ? line_start(text, line) : NULL;
  if (!at) return false;
  at += strspn(at, " ");
  size_t length = strcspn(at, "\n");
  return *at != '{' && strncmp(at, "primary", 7) != 0 && strncmp(at, "secondary", 9) != 0 &&
         memchr(at, ':', length) != NULL;
}

static void whole(const char *text, const lw_completed *c, const lw_card *card) {
  int lines[] = {card->carburetor.primary.line, card->carburetor.secondary.line};
  int line = 1;
  const char *at = text;
  while (*at) {
    for (int side = 0; side < 2; side++) {
      if (line == lines[side]) side_lines(c, side == 1, at, (int)strspn(at, " "));
    }
    size_t length = strcspn(at, "\n");
    printf("%.*s\n", (int)length, at);
    at += length + (at[length] == '\n');
    line++;
  }
}

static void fragment(const lw_completed *c) {
  printf("# to be put into the card\ncarburetor:\n");
  for (int side = 0; side < 2; side++) {
    if (!sizes_of(c, side == 1)) continue;
    printf("  %s:\n", side ? "secondary" : "primary");
    side_lines(c, side == 1, "    ", 4);
  }
}

/* ---- how well targets were met ---- */

static void target_lines(const lw_completed *c) {
  printf("#\n# What the twin of this card gives. Inferred sizes are not rounded to a drill.\n");
  printf("#   %-14s %8s  %-14s %7s %7s %7s\n", "target", "speed", "vacuum", "wanted", "met", "off");
  for (size_t i = 0; i < c->target_count; i++) {
    const lw_target *t = &c->targets[i];
    char vacuum[24] = "wide open";
    if (lw_known(t->vacuum)) snprintf(vacuum, sizeof vacuum, "%.1f inHg", t->vacuum / inhg);
    printf("#   %-14s %4.0f rpm  %-14s %7.2f %7.2f %+6.1f%%\n", t->name, t->speed / rpm, vacuum,
           t->afr, t->met, 100 * (t->met / t->afr - 1));
  }
  printf("# %s; the worst is %.1f %% off.\n",
         c->worst > missed_by ? "Not every target was met" : "Every target was met within 5 %",
         100 * c->worst);
  if (c->at_bound) {
    printf("# Sizes at a bound: %zu; what is asked or given there is unusual.\n", c->at_bound);
  }
}

/* ---- JSON ---- */

static json_t *json_sizes(const lw_completed *c) {
  json_t *list = json_array();
  for (size_t i = 0; i < c->size_count; i++) {
    const lw_inferred_size *s = &c->sizes[i];
    json_array_append_new(list, json_pack("{s:s, s:s, s:f, s:b}", "side",
                                          s->secondary ? "secondary" : "primary", "key", s->key,
                                          "value_m", s->value, "at_bound", s->at_bound));
  }
  return list;
}

static json_t *json_targets(const lw_completed *c) {
  json_t *list = json_array();
  for (size_t i = 0; i < c->target_count; i++) {
    const lw_target *t = &c->targets[i];
    json_t *vacuum = lw_known(t->vacuum) ? json_real(t->vacuum) : json_null();
    json_array_append_new(list, json_pack("{s:s, s:f, s:o, s:f, s:f}", "name", t->name, "speed_rpm",
                                          t->speed / rpm, "vacuum_pa", vacuum, "afr", t->afr, "met",
                                          t->met));
  }
  return list;
}

static void print_json(const lw_completed *c) {
  json_t *root = json_pack("{s:s, s:o, s:o, s:f}", "unit", c->card->unit, "sizes", json_sizes(c),
                           "targets", json_targets(c), "worst", c->worst);
  if (!root) return;
  json_dumpf(root, stdout, JSON_INDENT(2));
  putchar('\n');
  json_decref(root);
}

/* ---- the whole ---- */

static lw_status complete(lw_arena *arena, lw_units *units, const char *path, const char **text,
                          lw_card **card, lw_completed **done, lw_error *error) {
  size_t length = 0;
  lw_bind bind = {arena, units, path};
  lw_status status = lw_file_read(arena, path, LW_DOC_MAX_BYTES, text, &length, error);
  if (status == LW_OK) status = lw_card_read(&bind, *text, length, card, error);
  if (status == LW_OK) status = lw_card_complete(arena, *card, NULL, 0, done, error);
  if (status != LW_OK) lw_error_place(error, path, 0, NULL);
  return status;
}

static void print_card(const char *text, const lw_card *card, const lw_completed *done) {
  bool inside = true;
  for (int side = 0; side < 2; side++) {
    const lw_barrel_card *g = side ? &card->carburetor.secondary : &card->carburetor.primary;
    if (sizes_of(done, side == 1) && !takes_lines(text, g->line)) inside = false;
  }
  if (inside) {
    whole(text, done, card);
  } else {
    fragment(done);
  }
  target_lines(done);
}

int cmd_complete(const char *path, bool json) {
  lw_error error = {0};
  lw_units *units = NULL;
  const char *text = NULL;
  lw_card *card = NULL;
  lw_completed *done = NULL;
  lw_arena *arena = lw_arena_new(0);
  if (!arena) lw_fail(&error, LW_NO_MEMORY, "no memory");
  int code = CLI_COULD_NOT;
  if (!arena || lw_units_open(&units, &error) != LW_OK ||
      complete(arena, units, path, &text, &card, &done, &error) != LW_OK) {
    cli_fail("card", &error);
  } else {
    if (json) {
      print_json(done);
    } else {
      print_card(text, card, done);
    }
    code = cli_finish("card", done->worst > missed_by ? CLI_OUTSIDE : CLI_DONE);
  }
  lw_units_close(units);
  lw_arena_free(arena);
  return code;
}

int cmd_families(void) {
  const char *names[32];
  size_t count = lw_net_families(names, sizeof names / sizeof names[0]);
  for (size_t i = 0; i < count; i++)
    printf("%s\n", names[i]);
  return cli_finish("card", CLI_DONE);
}
