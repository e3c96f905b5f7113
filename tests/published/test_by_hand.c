/* test_by_hand.c - docs/by-hand.md: its sheets work out, the library says the same, and its
** commands print what the page says they print.
**
** The page is read, not retyped. A line `name = number` is given, `name = expression = number` is
** worked out from the names above it in the same chapter. "- `name` within N % of `what`" compares
** with what the table `asked` gets from the library. "$ command" is run, and the lines under it
** must stand in its output, white space aside. Equations and their sources stand in the page.
*/
#include "check.h"

#include "leanward/bench.h"
#include "leanward/exhaust.h"
#include "leanward/record.h"

#include <ctype.h>
#include <stdlib.h>
#include <unistd.h>

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define SIX      "cards/corran-220-six-manual.yaml"

static const double rpm = 3.14159265358979323846 / 30, inch_of_water = 249.09;

/* ---- the page ---- */

enum { PAGE_MOST = 64 * 1024, CHAPTERS = 16, VALUES = 64, CLAIMS = 6, COMMANDS = 4, LINES = 4 };

typedef struct value {
  char name[16];
  double x, printed, half; /* half a unit of the last printed figure */
} value;

typedef struct claim {
  char name[16], what[64];
  double percent;
} claim;

typedef struct command {
  char text[512]; /* one or more, a line each */
  char lines[LINES][160];
  size_t count;
} command;

typedef struct chapter {
  char title[96];
  value values[VALUES];
  claim claims[CLAIMS];
  command commands[COMMANDS];
  size_t value_count, claim_count, command_count;
} chapter;

typedef struct page {
  chapter chapters[CHAPTERS];
  size_t count;
} page;

static const value *find(const chapter *c, const char *name, size_t length) {
  for (size_t i = 0; i < c->value_count; i++) {
    const value *v = &c->values[i];
    if (strlen(v->name) == length && strncmp(v->name, name, length) == 0) return v;
  }
  return NULL;
}

static double of(const chapter *c, const char *name) {
  const value *v = find(c, name, strlen(name));
  if (!v) fail_msg("%s: no line gives '%s'", c->title, name);
  return v ? v->x : NAN;
}

/* ---- expressions: + - * / ^ ( ), names, sqrt ln asin min max ---- */

typedef struct reader {
  const char *at;
  const chapter *chapter;
} reader;

static double sum(reader *r);

static void blanks(reader *r) {
  while (*r->at == ' ')
    r->at++;
}

static bool take(reader *r, char c) {
  blanks(r);
  if (*r->at != c) return false;
  r->at++;
  return true;
}

static double called(reader *r, const char *name, size_t length) {
  static const char *const names[] = {"sqrt", "ln", "asin", "min", "max"};
  double x = sum(r), y = take(r, ',') ? sum(r) : NAN;
  if (!take(r, ')')) fail_msg("%s: a bracket is not closed at '%s'", r->chapter->title, r->at);
  size_t i = 0;
  while (i < COUNT(names) && (strlen(names[i]) != length || strncmp(names[i], name, length) != 0))
    i++;
  switch (i) {
  case 0: return sqrt(x);
  case 1: return log(x);
  case 2: return asin(x);
  case 3: return fmin(x, y);
  case 4: return fmax(x, y);
  default: fail_msg("%s: no function '%.*s'", r->chapter->title, (int)length, name);
  }
  return NAN;
}

static double primary(reader *r) {
  blanks(r);
  if (take(r, '(')) {
    double x = sum(r);
    if (!take(r, ')')) fail_msg("%s: a bracket is not closed at '%s'", r->chapter->title, r->at);
    return x;
  }
  if (isdigit((unsigned char)*r->at)) {
    char *end = NULL;
    double x = strtod(r->at, &end);
    r->at = end;
    return x;
  }
  const char *name = r->at;
  while (isalnum((unsigned char)*r->at) || *r->at == '_')
    r->at++;
  size_t length = (size_t)(r->at - name);
  if (take(r, '(')) return called(r, name, length);
  const value *v = find(r->chapter, name, length);
  if (!v) fail_msg("%s: '%.*s' is not given above", r->chapter->title, (int)length, name);
  return v ? v->x : NAN;
}

static double sign(reader *r) {
  if (take(r, '-')) return -sign(r);
  double x = primary(r);
  return take(r, '^') ? pow(x, sign(r)) : x;
}

static double product(reader *r) {
  double x = sign(r);
  for (;;) {
    if (take(r, '*')) {
      x *= sign(r);
    } else if (take(r, '/')) {
      x /= sign(r);
    } else {
      return x;
    }
  }
}

static double sum(reader *r) {
  double x = product(r);
  for (;;) {
    if (take(r, '+')) {
      x += product(r);
    } else if (take(r, '-')) {
      x -= product(r);
    } else {
      return x;
    }
  }
}

/* ---- reading the page ---- */

/* Half a unit of the last figure of a number as it is written. */
static double half_of(const char *number) {
  const char *point = number + strspn(number, "-0123456789");
  return *point == '.' ? 0.5 * pow(10, -(double)strspn(point + 1, "0123456789")) : 0.5;
}

/* "name = 1.85", "name = expression = 1.85 unit" */
static void read_sheet_line(chapter *c, const char *line) {
  const char *first = strstr(line, " = "), *second = first ? strstr(first + 3, " = ") : NULL;
  size_t length = strcspn(line, " ");
  if (!first || length >= sizeof c->values[0].name || c->value_count == VALUES) {
    fail_msg("%s: not a line of a sheet: %s", c->title, line);
    return;
  }
  value v = {.half = 0};
  memcpy(v.name, line, length);
  const char *number = (second ? second : first) + 3;
  v.x = v.printed = strtod(number, NULL);
  if (second) {
    reader r = {first + 3, c};
    v.x = sum(&r);
    v.half = half_of(number);
    blanks(&r);
    if (strncmp(r.at, "= ", 2) != 0) fail_msg("%s: %s: cannot read '%s'", c->title, v.name, r.at);
  }
  c->values[c->value_count++] = v;
}

/* "- `name` within 0.1 % of `what`: why" */
static void read_claim(chapter *c, const char *line) {
  assert_true(c->claim_count < CLAIMS);
  claim *k = &c->claims[c->claim_count++];
  if (sscanf(line, "- `%15[^`]` within %lf %% of `%63[^`]`:", k->name, &k->percent, k->what) != 3) {
    fail_msg("%s: not a comparison: %s", c->title, line);
  }
}

/* "$ command" begins one, unless the line above was one, too; others are what it prints. */
static void read_command_line(chapter *c, const char *line, bool after_command) {
  if (line[0] == '$' && !after_command) {
    assert_true(c->command_count < COMMANDS);
    c->command_count++;
  }
  assert_true(c->command_count > 0);
  command *k = &c->commands[c->command_count - 1];
  if (line[0] == '$') {
    lw_text_append(k->text, sizeof k->text, "%s\n", line + 2);
    return;
  }
  assert_true(k->count < LINES);
  snprintf(k->lines[k->count++], sizeof k->lines[0], "%.159s", line);
}

static void read_line(page *p, const char *line, bool *in_commands, bool *after_command) {
  if (strncmp(line, "## ", 3) == 0) {
    assert_true(p->count < CHAPTERS);
    snprintf(p->chapters[p->count++].title, sizeof p->chapters[0].title, "%.95s", line + 3);
  }
  if (p->count == 0) return;
  chapter *c = &p->chapters[p->count - 1];
  bool indented = strncmp(line, "    ", 4) == 0;
  if (indented && line[4] == '$') *in_commands = true;
  if (!indented) *in_commands = false;
  if (indented && *in_commands) read_command_line(c, line + 4, *after_command);
  if (indented && !*in_commands) read_sheet_line(c, line + 4);
  *after_command = indented && line[4] == '$';
  if (strncmp(line, "- `", 3) == 0) read_claim(c, line);
}

static page *read_page(void) {
  char path[600];
  const char *root = getenv("SOURCE_ROOT");
  snprintf(path, sizeof path, "%s/docs/by-hand.md", root ? root : LW_SOURCE_ROOT);
  FILE *f = fopen(path, "rb");
  page *p = calloc(1, sizeof *p);
  char line[1024];
  bool in_commands = false, after_command = false;
  if (!f || !p) fail_msg("cannot read %s", path);
  while (f && p && fgets(line, sizeof line, f)) {
    line[strcspn(line, "\n")] = '\0';
    read_line(p, line, &in_commands, &after_command);
  }
  if (f) fclose(f);
  return p;
}

/* ---- the six ---- */

typedef struct shop {
  lw_arena *arena;
  lw_units *units;
  lw_error error;
  page *page;
} shop;

static const shop *open_shop; /* for the functions of `asked` */

static const lw_twin *six(void) {
  static const lw_twin *kept;
  if (kept) return kept;
  char path[600];
  const char *text = NULL, *root = getenv("SOURCE_ROOT");
  size_t length = 0;
  lw_card *card = NULL;
  lw_twin *twin = NULL;
  lw_error error;
  snprintf(path, sizeof path, "%s/" SIX, root ? root : LW_SOURCE_ROOT);
  lw_bind bind = {open_shop->arena, open_shop->units, path};
  lw_status status = lw_file_read(bind.arena, path, LW_DOC_MAX_BYTES, &text, &length, &error);
  if (status == LW_OK) status = lw_card_read(&bind, text, length, &card, &error);
  if (status == LW_OK) status = lw_twin_new(bind.arena, card, &twin, &error);
  assert_int_equal(status, LW_OK);
  return kept = twin;
}

static const lw_twin *with(const lw_twin *from, const char *edit) {
  lw_twin *changed = NULL;
  lw_error error;
  assert_int_equal(lw_what_if(open_shop->arena, open_shop->units, from, &edit, 1, &changed, &error),
                   LW_OK);
  return changed;
}

static lw_point at(const lw_twin *twin, double throttle, double turning) {
  lw_setting setting = {.throttle = throttle, .speed = turning * rpm, .ambient = twin->ambient};
  lw_state state = {0};
  lw_report report;
  lw_point point;
  lw_net_solve(twin->net, &setting, &state, &report);
  if (!report.converged) fail_msg("did not converge: %s", report.where);
  lw_net_point(twin->net, &setting, &state, &point);
  return point;
}

static int passage(const lw_twin *twin, const char *name) {
  for (int i = 0; i < twin->net->passage_count; i++) {
    if (strcmp(twin->net->passages[i].name, name) == 0) return i;
  }
  fail_msg("no passage is called %s", name);
  return 0;
}

static double change(const lw_twin *from, const lw_twin *to, double throttle, double turning) {
  return 100 * (at(to, throttle, turning).lambda / at(from, throttle, turning).lambda - 1);
}

/* ---- what the library says ---- */

static lw_fuel fuel_of(const chapter *c) {
  lw_fuel fuel;
  lw_fuel_by_name("gasoline", &fuel);
  fuel.h_c = of(c, "x");
  fuel.o_c = find(c, "y", 1) ? of(c, "y") : 0;
  return fuel;
}

static double stoichiometric(const chapter *c) {
  lw_fuel fuel = fuel_of(c);
  return lw_fuel_stoichiometric(&fuel);
}

static lw_sample sample_of(const chapter *c) {
  lw_fuel fuel = fuel_of(c);
  lw_sample s = lw_sample_new(&fuel);
  s.x =
      (lw_gases){of(c, "CO") / 100, of(c, "CO2") / 100, of(c, "HC") * 1e-6, of(c, "O2") / 100, NAN};
  return s;
}

static double balance(const chapter *c) {
  lw_sample s = sample_of(c);
  return lw_lambda_balance(&s);
}
static double standard(const chapter *c) {
  lw_sample s = sample_of(c);
  return lw_lambda_simple(s.x.co, s.x.co2, s.x.hc, s.x.o2);
}

static lw_products products_of(const chapter *c) {
  lw_fuel fuel = fuel_of(c);
  lw_burn burn = {.lambda = of(c, "lambda")};
  return lw_burn_products(&fuel, &burn, of(c, "K"), 0);
}
static double rich_co(const chapter *c) {
  return 100 * products_of(c).dry.co;
}
static double rich_co2(const chapter *c) {
  return 100 * products_of(c).dry.co2;
}
static double rich_h2(const chapter *c) {
  return 100 * products_of(c).h2;
}

static lw_exhaust exhaust_of(const chapter *c) {
  lw_sample s = sample_of(c);
  lw_exhaust e;
  assert_int_equal(lw_exhaust_work(&s, &e, NULL), LW_OK);
  return e;
}
static double co_corrected(const chapter *c) {
  return 100 * exhaust_of(c).co_corrected.x;
}
static double lambda_inside(const chapter *c) {
  return exhaust_of(c).lambda_inside;
}
static double air_in_sample(const chapter *c) {
  return 100 * exhaust_of(c).air_share;
}

static double orifice(const chapter *c) {
  lw_fluids fluids = lw_fluids_at(293.15, 745);
  lw_orifice jet = {of(c, "area") * 1e-6, of(c, "d") * 1e-3, of(c, "l")};
  return 1e3 * lw_mix_orifice_drop(&jet, &fluids, 1e5, of(c, "dp"), 1).m;
}
static double main_jet(const chapter *c) {
  (void)c;
  return 1e3 * at(six(), 1, 3000).flow[passage(six(), "main jet")];
}

static double venturi(const chapter *c) {
  lw_fluids fluids = lw_fluids_at(of(c, "T"), 745);
  double lo = 0, hi = 1, area = of(c, "area") * 1e-6, p = of(c, "p");
  for (int i = 0; i < 60; i++) {
    double mach = 0.5 * (lo + hi);
    *(lw_venturi_flow(area, &fluids, p, mach).m * 1e3 < of(c, "air") ? &lo : &hi) = mach;
  }
  return p - lw_venturi_flow(area, &fluids, p, lo).throat;
}
static double booster(const chapter *c) {
  (void)c;
  lw_point p = at(six(), 1, 3000);
  const lw_barrel *b = &six()->net->barrels[0];
  return (p.pressure[b->horn] - p.pressure[b->signal]) / inch_of_water;
}

/* Air at which the nozzle gives its first milligram a second, wide open, g/s. */
static double begins(const lw_twin *twin) {
  double lo = 100, hi = 400;
  for (int i = 0; i < 30; i++) {
    double turning = 0.5 * (lo + hi);
    *(at(twin, 1, turning).fuel < 1e-6 ? &lo : &hi) = turning;
  }
  return 1e3 * at(twin, 1, hi).air;
}
static double main_begins(const chapter *c) {
  (void)c;
  return begins(six());
}
static double main_begins_higher(const chapter *c) {
  (void)c;
  return begins(with(six(), "float level=+2 mm"));
}

static double idle_bleed(const chapter *c) {
  (void)c;
  return 1e6 * at(six(), 0, 700).flow[passage(six(), "idle air bleed")];
}
static double idle_feed(const chapter *c) {
  (void)c;
  return 1e6 * at(six(), 0, 700).fuel_flow[passage(six(), "idle feed")];
}
static double clogged_bleed(const chapter *c) {
  const lw_twin *clogged = with(six(), "idle bleed=clogged 50 %");
  return 1e6 * at(clogged, 0, 700).fuel_flow[passage(clogged, "idle feed")] / idle_feed(c);
}

static double altitude_pressure(const chapter *c) {
  return lw_standard_pressure(of(c, "z"));
}
static double altitude(const chapter *c) {
  (void)c;
  return change(six(), with(six(), "altitude=1600 m"), 1, 3000);
}
static double altitude_plain(const chapter *c) {
  (void)c;
  const lw_twin *plain = with(six(), "nozzle lip=0.3 mm");
  plain = with(with(plain, "main bleed=plugged"), "idle feed=plugged");
  return change(plain, with(plain, "altitude=1600 m"), 1, 3000);
}

static double idle_air(const chapter *c) {
  (void)c;
  return 1e3 * at(six(), 0, 700).air;
}
static double past_plate(const chapter *c) {
  (void)c;
  lw_point p = at(six(), 0, 700);
  return 1e3 * (p.flow[passage(six(), "throttle")] + p.flow[passage(six(), "plate clearance")]);
}

static double needle(const chapter *c) {
  double slope = 0;
  return 1e6 * lw_needle_area(of(c, "lift2") * 1e-3, of(c, "seat") * 1e-3, 270 * rpm / 180, &slope);
}
static double quarter_turn_fuel(const chapter *c) {
  (void)c;
  return 100 * (at(with(six(), "mixture screw=2 turns"), 0, 700).fuel / at(six(), 0, 700).fuel - 1);
}
static double quarter_turn_lambda(const chapter *c) {
  (void)c;
  return at(with(six(), "mixture screw=2 turns"), 0, 700).lambda;
}

static double e10(const chapter *c) {
  (void)c;
  return change(six(), with(six(), "fuel=E10"), 0.17, 2200);
}

static const struct {
  const char *what;
  double (*ask)(const chapter *c);
} asked[] = {
    {"stoichiometric air", stoichiometric},
    {"lambda by balance", balance},
    {"lambda by the standards", standard},
    {"CO of a rich mixture", rich_co},
    {"CO2 of a rich mixture", rich_co2},
    {"H2 of a rich mixture", rich_h2},
    {"CO corrected", co_corrected},
    {"lambda inside", lambda_inside},
    {"air in the sample", air_in_sample},
    {"liquid through an orifice", orifice},
    {"the main jet of the six", main_jet},
    {"depression in a venturi", venturi},
    {"the booster of the six", booster},
    {"air at which the main circuit begins", main_begins},
    {"the same with the float 2 mm higher", main_begins_higher},
    {"the idle bleed of the six", idle_bleed},
    {"the idle feed of the six", idle_feed},
    {"fuel with the bleed half clogged", clogged_bleed},
    {"pressure at an altitude", altitude_pressure},
    {"altitude on a plain jet", altitude_plain},
    {"altitude on the six", altitude},
    {"air of the idle", idle_air},
    {"air past the plate", past_plate},
    {"opening of a needle", needle},
    {"fuel by a quarter turn", quarter_turn_fuel},
    {"lambda after a quarter turn", quarter_turn_lambda},
    {"air for E10", stoichiometric},
    {"E10 on the six", e10},
};

/* ---- the tests ---- */

static void every_line_works_out(void **state) {
  const page *p = ((shop *)*state)->page;
  assert_true(p->count >= 8);
  size_t worked = 0;
  for (size_t i = 0; i < p->count; i++) {
    const chapter *c = &p->chapters[i];
    for (size_t k = 0; k < c->value_count; k++) {
      const value *v = &c->values[k];
      worked += v->half > 0;
      if (fabs(v->x - v->printed) <= 1.001 * v->half) continue;
      fail_msg("docs/by-hand.md, %s: %s is %.8g, the page says %.8g", c->title, v->name, v->x,
               v->printed);
    }
  }
  printf("%zu lines of %zu sheets work out\n", worked, p->count);
}

static double ask(const chapter *c, const char *what) {
  for (size_t i = 0; i < COUNT(asked); i++) {
    if (strcmp(asked[i].what, what) == 0) return asked[i].ask(c);
  }
  fail_msg("docs/by-hand.md, %s: nothing is known as '%s'", c->title, what);
  return NAN;
}

static void the_library_says_the_same(void **state) {
  const page *p = ((shop *)*state)->page;
  size_t claims = 0, far = 0;
  for (size_t i = 0; i < p->count; i++) {
    const chapter *c = &p->chapters[i];
    assert_true(c->claim_count > 0);
    for (size_t k = 0; k < c->claim_count; k++) {
      const claim *q = &c->claims[k];
      double hand = of(c, q->name), got = ask(c, q->what), off = 100 * (got / hand - 1);
      printf("%-38s by hand %11.6g, program %11.6g: %+.4f %%\n", q->what, hand, got, off);
      claims++;
      far += !(fabs(off) <= q->percent);
    }
  }
  /* the page uses all of the table, and each result is near enough */
  assert_int_equal(claims, COUNT(asked));
  assert_int_equal(far, 0);
}

/* White space of any length becomes one blank. */
static void squeeze(char *text) {
  char *to = text;
  for (const char *from = text; *from; from++) {
    bool space = isspace((unsigned char)*from);
    if (space && to > text && to[-1] == ' ') continue;
    *to++ = space ? ' ' : *from;
  }
  *to = '\0';
}

static void run_command(const command *k, const char *folder) {
  static char line[1024], out[PAGE_MOST];
  snprintf(line, sizeof line, "set -e; cd '%s'; exec 2>&1\n%s", folder, k->text);
  FILE *f = popen(line, "r");
  assert_non_null(f);
  size_t length = fread(out, 1, sizeof out - 1, f);
  out[length] = '\0';
  int code = pclose(f);
  squeeze(out);
  for (size_t i = 0; i < k->count; i++) {
    char want[160];
    snprintf(want, sizeof want, "%s", k->lines[i]);
    squeeze(want);
    if (!strstr(out, want)) fail_msg("%sprints no \"%s\", but:\n%s", k->text, want, out);
  }
  if (code != 0) fail_msg("%sended with %d", k->text, code);
}

/* In a folder of its own that sees the cards; `leanward` is the one that was built. */
static void its_commands_print_what_it_says(void **state) {
  const page *p = ((shop *)*state)->page;
  char folder[] = "/tmp/leanward-by-hand-XXXXXX", from[600], to[100], path[4096];
  assert_non_null(mkdtemp(folder));
  const char *program = getenv("LEANWARD"), *root = getenv("SOURCE_ROOT");
  assert_non_null(program);
  snprintf(from, sizeof from, "%s/cards", root ? root : LW_SOURCE_ROOT);
  snprintf(to, sizeof to, "%s/cards", folder);
  assert_int_equal(symlink(from, to), 0);
  snprintf(path, sizeof path, "%.*s:%s", (int)(strrchr(program, '/') - program), program,
           getenv("PATH"));
  setenv("PATH", path, 1);
  size_t commands = 0;
  for (size_t i = 0; i < p->count; i++) {
    const chapter *c = &p->chapters[i];
    if (c->command_count == 0) fail_msg("docs/by-hand.md, %s: no command", c->title);
    for (size_t k = 0; k < c->command_count; k++, commands++) {
      if (c->commands[k].count == 0) fail_msg("docs/by-hand.md, %s: no output", c->title);
      run_command(&c->commands[k], folder);
    }
  }
  unlink(to);
  snprintf(to, sizeof to, "%s/six.svg", folder);
  unlink(to);
  assert_int_equal(rmdir(folder), 0);
  printf("%zu commands\n", commands);
}

/* ---- around them ---- */

static int setup(void **state) {
  shop *s = calloc(1, sizeof *s);
  if (!s) return 1;
  *state = s;
  open_shop = s;
  s->arena = lw_arena_new((size_t)64 << 20);
  if (!s->arena || lw_units_open(&s->units, &s->error) != LW_OK) return 1;
  s->page = read_page();
  return s->page ? 0 : 1;
}

static int teardown(void **state) {
  shop *s = *state;
  lw_units_close(s->units);
  lw_arena_free(s->arena);
  free(s->page);
  free(s);
  return 0;
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_line_works_out),
      cmocka_unit_test(the_library_says_the_same),
      cmocka_unit_test(its_commands_print_what_it_says),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
