/* cmd_limits.c - `leanward limits`: the public limits, and where each figure stands. */
#include "cli.h"

#include <getopt.h>
#include <string.h>

static const char usage[] =
    "Usage: leanward limits [--set NAME] [--json]\n"
    "List the public limits a job can be held to: name the set in the job or on the card,\n"
    "as in `limits: [european idle]`. The car's year and displacement pick the row.\n\n"
    "  --set NAME  only this set\n"
    "  --json      as JSON\n"
    "  --help      this text\n";

static void years(const lw_public_limit *l, char *text, size_t size) {
  text[0] = '\0';
  if (l->year_from == 0 && l->year_to == 9999) {
    snprintf(text, size, "any year");
  } else if (l->year_from == 0) {
    snprintf(text, size, "to %d", l->year_to);
  } else if (l->year_to == 9999) {
    snprintf(text, size, "from %d", l->year_from);
  } else {
    snprintf(text, size, "%d-%d", l->year_from, l->year_to);
  }
}

static void print_row(const lw_public_limit *l) {
  char value[64], when[32];
  lw_dim dim = l->gas == LW_GAS_UNSAID ? LW_RATIO : l->gas == LW_GAS_HC ? LW_PPM : LW_FRACTION;
  lw_range_text(value, sizeof value, dim, LW_SHOP, l->value);
  years(l, when, sizeof when);
  printf("  %-10s %-7s %-9s %-18s ", when, l->gas ? lw_gas_text(l->gas) : "lambda",
         lw_condition_text(l->at), value);
  char source[300];
  snprintf(source, sizeof source, "%s (%s)", l->source, l->standing);
  cli_wrapped(stdout, 49, 49, source);
}

static json_t *row_json(const lw_public_limit *l) {
  json_t *low = lw_known(l->value.lo) ? json_real(l->value.lo) : json_null();
  json_t *high = lw_known(l->value.hi) ? json_real(l->value.hi) : json_null();
  return json_pack("{s:s, s:s, s:s, s:s, s:i, s:i, s:s, s:s, s:o, s:o}", "set", l->set, "title",
                   l->title, "source", l->source, "standing", l->standing, "year_from",
                   l->year_from, "year_to", l->year_to, "gas",
                   l->gas ? lw_gas_text(l->gas) : "lambda", "at", lw_condition_text(l->at),
                   "at_least", low, "at_most", high);
}

static size_t list(const char *set, json_t *rows) {
  size_t count = 0, shown = 0;
  const lw_public_limit *l = lw_public_limits(&count);
  const char *last = NULL;
  for (size_t i = 0; i < count; i++) {
    if (set && !lw_text_same(set, l[i].set)) continue;
    shown++;
    if (rows) {
      json_array_append_new(rows, row_json(&l[i]));
      continue;
    }
    if (!last || strcmp(last, l[i].set) != 0) {
      if (last) putchar('\n');
      cli_styled(stdout, CLI_STRONG, l[i].set);
      printf(": %s\n", l[i].title);
    }
    last = l[i].set;
    print_row(&l[i]);
  }
  return shown;
}

int cmd_limits(int argc, char **argv) {
  static const struct option options[] = {{"set", required_argument, NULL, 's'},
                                          {"json", no_argument, NULL, 'j'},
                                          {"help", no_argument, NULL, 'h'},
                                          {0}};
  const char *set = NULL;
  bool json = false;
  opterr = 0;
  for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
    switch (c) {
    case 's': set = optarg; break;
    case 'j': json = true; break;
    case 'h': fputs(usage, stdout); return cli_finish("limits", CLI_DONE);
    default:
      return cli_usage("limits", "'%s' is not an option, or lacks its value", argv[optind - 1]);
    }
  }
  if (optind < argc) return cli_usage("limits", "'%s' was not expected", argv[optind]);
  json_t *rows = json ? json_array() : NULL;
  size_t shown = list(set, rows);
  if (json) {
    json_dumpf(rows, stdout, JSON_INDENT(2));
    putchar('\n');
    json_decref(rows);
  }
  if (!shown) return cli_usage("limits", "'%s' is not a set of limits", set);
  return cli_finish("limits", CLI_DONE);
}
