/* cmd_gas.c - `leanward gas`: one exhaust reading from options, or a stream of them in CSV. */
#include "cli.h"

#include "leanward/gas_stream.h"

#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char usage[] =
    "Usage: leanward gas --co 3.2% --co2 12.8% --hc \"250 ppm hexane\" --o2 0.6% [OPTION]...\n"
    "       leanward gas --csv [FILE] [OPTION]...\n"
    "Work one exhaust reading: lambda and how sure it is, air-fuel ratio, combustion efficiency\n"
    "and what the gases say together. Any of them may be missing.\n\n"
    "  --co, --co2, --o2 VALUE   as read, with its unit: % or ppm\n"
    "  --hc, --no VALUE          the same; HC may say its gas, as in '250 ppm hexane'\n"
    "  --fuel NAME               gasoline (unless said), E5, E10, E15, E85, LPG, propane,\n"
    "                            methane, ethanol, methanol or iso-octane\n"
    "  --class NAME              accuracy class of the analyzer: 00, 0, I or II (unless said)\n"
    "  --wet                     the gas was not dried before it was measured\n"
    "  --hc-as GAS               what HC is counted in: hexane (unless said), propane or C1\n"
    "  --propane-factor X        hexane reading = propane reading times X; 0.52 unless said\n"
    "  --json                    as JSON (docs/json.md)\n\n"
    "  --csv                     work every row of FILE, or of standard input. The header names\n"
    "                            the gases with their units: CO [%],CO2 [%],HC [ppm hexane],O2 "
    "[%]\n"
    "                            Rows go out as they came, with lambda and afr behind them.\n"
    "  --uncertainty             also how sure; lambda from fewer gases where some are missing\n"
    "  --json-lines              one JSON object a row instead of CSV\n\n"
    "  --help                    this text\n\n"
    "A bad row is reported with its line number and goes out with empty results; the rest is\n"
    "done, and the exit status is 2.\n";

enum { GASES = 5, LABEL = 22, TEXT = 200 };

enum option_id {
  OPT_CO = 1, /* in the order of lw_gas_name */
  OPT_CO2,
  OPT_HC,
  OPT_O2,
  OPT_NO,
  OPT_FUEL,
  OPT_CLASS,
  OPT_WET,
  OPT_HC_AS,
  OPT_FACTOR,
  OPT_JSON,
  OPT_CSV,
  OPT_UNCERTAINTY,
  OPT_JSON_LINES,
  OPT_HELP
};

static const struct option options[] = {
    {"co", required_argument, NULL, OPT_CO},
    {"co2", required_argument, NULL, OPT_CO2},
    {"hc", required_argument, NULL, OPT_HC},
    {"o2", required_argument, NULL, OPT_O2},
    {"no", required_argument, NULL, OPT_NO},
    {"fuel", required_argument, NULL, OPT_FUEL},
    {"class", required_argument, NULL, OPT_CLASS},
    {"wet", no_argument, NULL, OPT_WET},
    {"hc-as", required_argument, NULL, OPT_HC_AS},
    {"propane-factor", required_argument, NULL, OPT_FACTOR},
    {"json", no_argument, NULL, OPT_JSON},
    {"csv", optional_argument, NULL, OPT_CSV},
    {"uncertainty", no_argument, NULL, OPT_UNCERTAINTY},
    {"json-lines", no_argument, NULL, OPT_JSON_LINES},
    {"help", no_argument, NULL, OPT_HELP},
    {NULL, 0, NULL, 0},
};
enum { OPTIONS = sizeof options / sizeof options[0] - 1 };

/* Everything the options say. */
typedef struct request {
  lw_gas_plan plan;                /* fuel and analyzer serve the single reading, too */
  const char *gas_text[GASES + 1]; /* by lw_gas_name; NULL: not given */
  lw_reading reading;
  bool json, csv, help;
  const char *file;
} request;

/* ---- reading the options ---- */

static const char *const hc_words[] = {"", "hexane", "propane", "C1"};
static const char *const class_words[] = {"", "00", "0", "I", "II"};

static lw_status refuse(lw_error *error, const char *option, const char *value,
                        const char *const *words, size_t count) {
  char list[TEXT] = "";
  for (size_t i = 0; i < count; i++) {
    lw_text_append(list, sizeof list, "%s%s",
                   i == 0           ? ""
                   : i + 1 == count ? " or "
                                    : ", ",
                   words[i]);
  }
  const char *near = lw_text_nearest(value, words, count);
  lw_error_place(error, NULL, 0, option);
  return lw_fail(error, LW_BAD_INPUT, "'%.40s' is not known%s%s%s%s", value, near ? "; is '" : "",
                 near ? near : "", near ? "' meant? Use " : "; use ", list);
}

/* The index of value in words, from 1; 0 when it is not there. */
static size_t word_index(const char *value, const char *const *words, size_t count) {
  for (size_t i = 1; i < count; i++) {
    if (lw_text_same(value, words[i])) return i;
  }
  return 0;
}

static lw_status read_fuel(request *r, const char *value, lw_error *error) {
  if (lw_fuel_by_name(value, &r->plan.fuel)) return LW_OK;
  const char *names[32];
  size_t count = 0;
  while (count < 32 && (names[count] = lw_fuel_name(count)))
    count++;
  return refuse(error, "--fuel", value, names, count);
}

static lw_status read_factor(request *r, const char *value, lw_error *error) {
  double x = 0;
  lw_error_place(error, NULL, 0, "--propane-factor");
  lw_status status = lw_number_read(value, &x, error);
  if (status != LW_OK) return status;
  if (x < 0.3 || x > 0.8) {
    return lw_fail(error, LW_BAD_INPUT,
                   "%.40s is not a factor an analyzer has; 0.3 to 0.8 is usual", value);
  }
  r->plan.analyzer.pef = x;
  return LW_OK;
}

static lw_status take_option(request *r, int id, const char *value, lw_error *error) {
  switch (id) {
  case OPT_FUEL: return read_fuel(r, value, error);
  case OPT_FACTOR: return read_factor(r, value, error);
  case OPT_CLASS:
    r->plan.analyzer.accuracy = (lw_class)word_index(value, class_words, 5);
    return r->plan.analyzer.accuracy ? LW_OK : refuse(error, "--class", value, class_words + 1, 4);
  case OPT_HC_AS:
    r->plan.analyzer.hc_as = (lw_hc_basis)word_index(value, hc_words, 4);
    return r->plan.analyzer.hc_as ? LW_OK : refuse(error, "--hc-as", value, hc_words + 1, 3);
  case OPT_WET: r->plan.analyzer.basis = LW_BASIS_WET; break;
  case OPT_JSON: r->json = true; break;
  case OPT_CSV:
    r->csv = true;
    r->file = value;
    break;
  case OPT_UNCERTAINTY: r->plan.uncertainty = true; break;
  case OPT_JSON_LINES: r->plan.json_lines = true; break;
  case OPT_HELP: r->help = true; break;
  default: r->gas_text[id] = value; break;
  }
  return LW_OK;
}

static int unknown_option(int argc, char **argv, int found) {
  const char *given = optind > 0 && optind <= argc ? argv[optind - 1] : "";
  if (found == ':') return cli_usage("gas", "%.40s needs a value", given);
  const char *names[OPTIONS];
  for (size_t i = 0; i < OPTIONS; i++)
    names[i] = options[i].name;
  char word[64];
  const char *start = given + strspn(given, "-");
  snprintf(word, sizeof word, "%.*s", (int)strcspn(start, "="), start);
  const char *near = lw_text_nearest(word, names, OPTIONS);
  if (near) return cli_usage("gas", "'%.40s' is not an option; is --%s meant?", given, near);
  return cli_usage("gas", "'%.40s' is not an option", given);
}

static int check_together(const request *r, int files, const char *file) {
  bool gas = false;
  for (int i = 1; i <= GASES; i++)
    gas = gas || r->gas_text[i];
  if (r->csv && gas) return cli_usage("gas", "with --csv the gases come from the file");
  if (r->csv && r->json) return cli_usage("gas", "use --json-lines with --csv");
  if (r->csv && files > 1) return cli_usage("gas", "one file was expected");
  if (!r->csv && r->plan.json_lines) return cli_usage("gas", "--json-lines goes with --csv");
  if (!r->csv && files > 0) {
    return cli_usage("gas", "'%.60s': a file is worked with --csv, a value follows its option",
                     file);
  }
  if (!r->csv && !gas) {
    return cli_usage("gas", "no gas was given; write what was read, as in --co 3.2%%");
  }
  return CLI_DONE;
}

static int read_options(request *r, int argc, char **argv) {
  lw_error error = {0};
  int found = 0;
  opterr = 0;
  optind = 1;
  while ((found = getopt_long(argc, argv, ":", options, NULL)) != -1) {
    if (found == '?' || found == ':') return unknown_option(argc, argv, found);
    if (take_option(r, found, optarg, &error) != LW_OK) return cli_fail("gas", &error);
  }
  if (r->help) return CLI_DONE;
  int files = argc - optind + (r->file ? 1 : 0);
  if (!r->file) r->file = optind < argc ? argv[optind] : "-";
  return check_together(r, files, r->file);
}

/* ---- one reading ---- */

static lw_hc_basis basis_in(const char *text) {
  size_t length = strlen(text);
  for (size_t i = 1; i < 4; i++) {
    size_t n = strlen(hc_words[i]);
    if (length > n && lw_text_same(text + length - n, hc_words[i])) return (lw_hc_basis)i;
  }
  return LW_HC_UNSAID;
}

static lw_status read_gases(request *r, lw_units *units, lw_error *error) {
  lw_reading *to = &r->reading;
  double *const values[GASES + 1] = {NULL, &to->co, &to->co2, &to->hc.x, &to->o2, &to->no};
  to->speed = to->vacuum = to->timing = LW_NONE;
  for (int i = 1; i <= GASES; i++) {
    const char *text = r->gas_text[i];
    lw_dim dim = i == LW_GAS_HC || i == LW_GAS_NO ? LW_PPM : LW_FRACTION;
    *values[i] = LW_NONE;
    if (!text) continue;
    char option[8];
    snprintf(option, sizeof option, "--%s", options[i - 1].name);
    lw_error_place(error, NULL, 0, option);
    lw_status status = lw_quantity_read(units, dim, text, values[i], error);
    if (status != LW_OK) return status;
    lw_hc_basis said = basis_in(text), as = r->plan.analyzer.hc_as;
    if (i == LW_GAS_HC) to->hc.basis = said;
    if (said && i != LW_GAS_HC) {
      return lw_fail(error, LW_BAD_INPUT, "'%.40s': only HC is counted in another gas", text);
    }
    if (said && as && said != as) {
      return lw_fail(error, LW_BAD_INPUT, "'%.40s' and --hc-as %s do not agree", text,
                     hc_words[as]);
    }
  }
  lw_error_place(error, NULL, 0, "");
  return LW_OK;
}

static void print_row(const char *label, const char *text) {
  printf("%-*s", LABEL, label);
  cli_wrapped(stdout, LABEL, LABEL, text);
}

/* "0.905", "0.893 to 0.917": digits as the band deserves. */
static void value_and_span(char *value, char *span, double x, double lo, double hi, int decimals) {
  double band = (hi - lo) / 2;
  char low[40], high[40];
  lw_text_value(value, TEXT, x, band, decimals);
  lw_text_value(low, sizeof low, lo, band, decimals);
  lw_text_value(high, sizeof high, hi, band, decimals);
  snprintf(span, TEXT, "%s to %s", low, high);
}

/* most: no value can be larger, whatever its band (NaN: no such bound) */
static void print_measure(const char *label, lw_measure m, double scale, double most,
                          const char *unit) {
  char value[TEXT], span[TEXT], text[3 * TEXT];
  if (!lw_known(m.x)) return;
  double x = m.x * scale, half = lw_known(m.u) ? LW_COVERAGE * m.u * scale : 0;
  value_and_span(value, span, x, fmax(x - half, 0), fmin(x + half, most), 2);
  snprintf(text, sizeof text, half > 0 ? "%s%s (%s)" : "%s%s", value, unit, span);
  print_row(label, text);
}

static void print_lambda(const lw_exhaust *e) {
  char value[TEXT], span[TEXT], text[3 * TEXT];
  if (!lw_known(e->lambda.x)) {
    print_row("Lambda", "cannot be told from these gases");
    return;
  }
  value_and_span(value, span, e->lambda.x, e->lambda_lo, e->lambda_hi, 4);
  snprintf(text, sizeof text, "%s (%s%s, about 95 %% sure)", value, span,
           e->lean_open ? " or leaner" : "");
  print_row("Lambda", text);
}

static void print_mixture(const lw_exhaust *e, const lw_fuel *fuel) {
  if (!lw_known(e->lambda.x)) return;
  char text[3 * TEXT], percent[40];
  double off = 100 * fabs(e->lambda.x - 1);
  lw_text_value(percent, sizeof percent, off, 100 * LW_COVERAGE * e->lambda.u, 1);
  const char *stoichiometric = "stoichiometric";
  if (e->lambda_hi < 1) {
    snprintf(text, sizeof text, "richer than %s: %s %% less air", stoichiometric, percent);
  } else if (e->lambda_lo > 1) {
    snprintf(text, sizeof text, "leaner than %s: %s %% more air", stoichiometric, percent);
  } else {
    snprintf(text, sizeof text, "%s, or too near to it to tell rich from lean", stoichiometric);
  }
  lw_text_append(text, sizeof text, "; %s takes %.2f:1", fuel->name, lw_fuel_stoichiometric(fuel));
  print_row("Mixture", text);
}

static void append_gas(char *text, size_t size, lw_gas_name gas, double x, double u) {
  lw_dim dim = gas == LW_GAS_HC || gas == LW_GAS_NO ? LW_PPM : LW_FRACTION;
  char value[TEXT], half[TEXT];
  lw_quantity_text(value, sizeof value, dim, LW_SHOP, x, LW_COVERAGE * u);
  lw_quantity_text(half, sizeof half, dim, LW_SHOP, LW_COVERAGE * u, LW_COVERAGE * u);
  lw_text_append(text, size, "%s%s %s", text[0] ? ", " : "", lw_gas_text(gas), value);
  if (lw_known(u) && u > 0) lw_text_append(text, size, " +/- %s", half);
}

static void print_inferred(const lw_exhaust *e) {
  const double missing[] = {e->missing.co, e->missing.co2, e->missing.hc, e->missing.o2,
                            e->missing.no};
  const double x[] = {e->filled.co, e->filled.co2, e->filled.hc, e->filled.o2, e->filled.no};
  const double u[] = {e->filled_u.co, e->filled_u.co2, e->filled_u.hc, e->filled_u.o2,
                      e->filled_u.no};
  char text[4 * TEXT] = "";
  for (int i = 0; i < GASES; i++) {
    if (missing[i] > 0 && lw_known(x[i])) {
      append_gas(text, sizeof text, (lw_gas_name)(i + 1), x[i], u[i]);
    }
  }
  if (text[0]) print_row("Inferred, not read", text);
}

static void print_notes(const lw_exhaust *e) {
  static const char *const weights[] = {"Remark", "Doubt", "Alarm"};
  static const cli_style styles[] = {CLI_FAINT, CLI_DOUBT, CLI_BAD};
  if (e->note_count) putchar('\n');
  for (size_t i = 0; i < e->note_count; i++) {
    const lw_note *note = &e->notes[i];
    cli_styled(stdout, styles[note->weight], weights[note->weight]);
    printf("%*s", 8 - (int)strlen(weights[note->weight]), "");
    cli_wrapped(stdout, 8, 8, note->text);
  }
}

static void print_reading(const request *r, const lw_exhaust *e) {
  print_lambda(e);
  print_measure("Air-fuel ratio", e->afr, 1, LW_NONE, ":1");
  print_mixture(e, &r->plan.fuel);
  print_measure("Combustion efficiency", e->efficiency, 100, 100, " %");
  if (e->co_is_corrected) print_measure("CO corrected", e->co_corrected, 100, 100, " %");
  print_inferred(e);
  print_notes(e);
}

static int print_json(const lw_sample *sample, const lw_exhaust *e) {
  json_t *json = lw_exhaust_json(sample, e);
  if (!json) {
    lw_error error = {0};
    lw_fail(&error, LW_NO_MEMORY, "no memory for the JSON");
    return cli_fail("gas", &error);
  }
  json_dumpf(json, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(9));
  putchar('\n');
  json_decref(json);
  return CLI_DONE;
}

static int one_reading(request *r, lw_units *units) {
  lw_error error = {0};
  lw_exhaust exhaust;
  lw_status status = read_gases(r, units, &error);
  if (status != LW_OK) return cli_fail("gas", &error);
  lw_sample sample = lw_reading_sample(&r->reading, &r->plan.analyzer, &r->plan.fuel, LW_NONE);
  status = lw_exhaust_work(&sample, &exhaust, &error);
  if (status != LW_OK) return cli_fail("gas", &error);
  int code = CLI_DONE;
  if (r->json) {
    code = print_json(&sample, &exhaust);
  } else {
    print_reading(r, &exhaust);
  }
  return cli_finish("gas", code);
}

/* ---- a stream ---- */

static void complain(void *to, const lw_error *error) {
  (void)to;
  (void)cli_fail("gas", error);
}

static int stream(request *r, lw_units *units) {
  lw_error error = {0};
  lw_gas_count count = {0};
  bool standard = strcmp(r->file, "-") == 0;
  int in = standard ? STDIN_FILENO : open(r->file, O_RDONLY);
  if (in < 0) {
    lw_error_place(&error, r->file, 0, NULL);
    lw_fail(&error, LW_IO, "cannot be opened: %s", strerror(errno));
    return cli_fail("gas", &error);
  }
  r->plan.name = r->file;
  r->plan.in = in;
  r->plan.complain = complain;
  lw_status status = lw_gas_stream(units, &r->plan, &count, &error);
  if (!standard) close(in);
  if (status != LW_OK) return cli_fail("gas", &error);
  if (count.bad == 0) return CLI_DONE;
  fprintf(stderr, "leanward gas: %" PRIu64 " rows, %" PRIu64 " with errors\n", count.rows,
          count.bad);
  return CLI_COULD_NOT;
}

int cmd_gas(int argc, char **argv) {
  lw_fuel fuel;
  if (!lw_fuel_by_name("gasoline", &fuel)) return CLI_COULD_NOT;
  request r = {.plan = lw_gas_plan_new(&fuel)};
  int code = read_options(&r, argc, argv);
  if (code != CLI_DONE) return code;
  if (r.help) {
    fputs(usage, stdout);
    return cli_finish("gas", CLI_DONE);
  }
  lw_error error = {0};
  lw_units *units = NULL;
  if (lw_units_open(&units, &error) != LW_OK) return cli_fail("gas", &error);
  code = r.csv ? stream(&r, units) : one_reading(&r, units);
  lw_units_close(units);
  return code;
}
