/* test_gas_stream.c - lambda for every row of a CSV, and the decimal numbers it stands on. */
#include "check.h"

#include "leanward/gas_stream.h"

#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <locale.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define HEADER "time,CO [%],CO2 [%],HC [ppm hexane],O2 [%]"
#define ROW    "0.1,3.20,12.8,250,0.60"

/* ---- running the stream over a text ---- */

static lw_units *units; /* opened once for all tests */

static int open_units(void **state) {
  (void)state;
  lw_error error = {0};
  return lw_units_open(&units, &error) == LW_OK ? 0 : -1;
}

static int close_units(void **state) {
  (void)state;
  lw_units_close(units);
  return 0;
}

typedef struct outcome {
  lw_status status;
  lw_gas_count count;
  lw_error error;
  char *out; /* freed by the caller */
  size_t length;
  char told[8192]; /* complaints, one a line */
} outcome;

static void keep_complaint(void *to, const lw_error *error) {
  outcome *o = to;
  char line[800];
  lw_text_append(o->told, sizeof o->told, "%s\n", lw_error_line(error, line, sizeof line));
}

static lw_gas_plan plan_for_tests(void) {
  lw_fuel fuel;
  assert_true(lw_fuel_by_name("gasoline", &fuel));
  lw_gas_plan plan = lw_gas_plan_new(&fuel);
  plan.analyzer.accuracy = LW_CLASS_I;
  return plan;
}

static int scratch_file(const char *text, size_t length) {
  char path[] = "/tmp/leanward-test-XXXXXX";
  int fd = mkstemp(path);
  assert_true(fd >= 0);
  unlink(path);
  assert_int_equal(write(fd, text, length), (ssize_t)length);
  lseek(fd, 0, SEEK_SET);
  return fd;
}

static outcome run_bytes(lw_gas_plan plan, const char *text, size_t length) {
  outcome o = {.status = LW_OK};
  plan.in = scratch_file(text, length);
  plan.out = scratch_file("", 0);
  plan.complain = keep_complaint;
  plan.to = &o;
  o.status = lw_gas_stream(units, &plan, &o.count, &o.error);
  o.length = (size_t)lseek(plan.out, 0, SEEK_END);
  o.out = calloc(1, o.length + 1);
  assert_non_null(o.out);
  assert_int_equal(pread(plan.out, o.out, o.length, 0), (ssize_t)o.length);
  close(plan.in);
  close(plan.out);
  return o;
}

static outcome run_text(lw_gas_plan plan, const char *text) {
  return run_bytes(plan, text, strlen(text));
}

/* text in, without uncertainty: the whole output must be want, with no complaint. */
static void gives(const char *text, const char *want) {
  outcome o = run_text(plan_for_tests(), text);
  assert_string_equal(o.told, "");
  assert_int_equal(o.status, LW_OK);
  assert_string_equal(o.out, want);
  free(o.out);
}

/* The header is refused, with part in the error line; nothing is written. */
static void refuses(bool uncertainty, const char *text, const char *part) {
  lw_gas_plan plan = plan_for_tests();
  plan.uncertainty = uncertainty;
  outcome o = run_text(plan, text);
  char line[800];
  HOLDS(lw_error_line(&o.error, line, sizeof line), part);
  HOLDS(line, "-:1: ");
  assert_int_equal(o.status, LW_BAD_INPUT);
  assert_int_equal(o.length, 0);
  free(o.out);
}

/* ---- decimals ---- */

static uint64_t next_random(uint64_t *state) {
  *state ^= *state << 13;
  *state ^= *state >> 7;
  *state ^= *state << 17;
  return *state;
}

static bool same_bits(double a, double b) {
  return memcmp(&a, &b, sizeof a) == 0;
}

static void check_read(const char *text) {
  double got = NAN, want = strtod(text, NULL);
  bool read = lw_decimal_read(text, strlen(text), &got);
  if (isinf(want) ? !read : read && same_bits(got, want)) return;
  fprintf(stderr, "'%s': got %.17g, strtod %.17g\n", text, got, want);
  fail();
}

static void decimals_of_a_log_read_as_strtod_reads_them(void **state) {
  (void)state;
  uint64_t seed = 88172645463325252;
  char text[64];
  for (int i = 0; i < 2000000; i++) {
    uint64_t r = next_random(&seed);
    int places = (int)(r % 6);
    snprintf(text, sizeof text, "%s%.*f", r & 64 ? "-" : "", places,
             (double)(next_random(&seed) % 100000000) / 997);
    check_read(text);
  }
}

static void decimals_of_any_size_read_as_strtod_reads_them(void **state) {
  (void)state;
  uint64_t seed = 362436069521288629;
  char text[96];
  for (int i = 0; i < 1000000; i++) {
    uint64_t r = next_random(&seed);
    int digits = 1 + (int)(r % 25), point = (int)(r >> 8) % (digits + 1), used = 0;
    for (int d = 0; d < digits; d++) {
      if (d == point) text[used++] = '.';
      text[used++] = (char)('0' + next_random(&seed) % 10);
    }
    int exponent = (int)((r >> 16) % 700) - 350;
    if (r & (1u << 30)) exponent /= 16;
    if (r & (1u << 31)) exponent = 0;
    snprintf(text + used, sizeof text - (size_t)used, exponent ? "e%d" : "%.0d", exponent);
    check_read(text);
  }
}

static void hard_decimals_read_as_strtod_reads_them(void **state) {
  (void)state;
  static const char *const hard[] = {"9007199254740992",
                                     "9007199254740993",
                                     "9007199254740993.0000000001",
                                     "1e22",
                                     "1e23",
                                     "8.5e22",
                                     "8.5e-22",
                                     "0.1e-22",
                                     "18446744073709551615",
                                     "18446744073709551616",
                                     "99999999999999999999",
                                     "0.000000000000000000000000000001",
                                     "2.2250738585072011e-308",
                                     "4.9e-324",
                                     "2.4e-324",
                                     "1.7976931348623157e308",
                                     "1.7976931348623159e308",
                                     "1e400",
                                     "1e-400",
                                     "-0",
                                     "-0.0",
                                     "+5",
                                     "5.",
                                     ".5",
                                     "00012.50",
                                     "1E+2",
                                     "1e000000000000000000000000000003",
                                     "0e999999999999"};
  for (size_t i = 0; i < sizeof hard / sizeof hard[0]; i++)
    check_read(hard[i]);
}

static void what_is_no_plain_decimal_is_refused(void **state) {
  (void)state;
  static const char *const wrong[] = {"",    "-",   "+",   ".",     "-.",  "e5",    "1e",
                                      "1e+", "1e-", "1 ",  " 1",    "1,5", "1.2.3", "0x10",
                                      "inf", "nan", "NaN", "--1",   "+-1", "1e5.",  "1_000",
                                      "12a", "1.e", "٣",   "1e1e1", "1%"};
  double x = 7;
  for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
    if (lw_decimal_read(wrong[i], strlen(wrong[i]), &x)) fail_msg("'%s' was read", wrong[i]);
  }
  assert_false(lw_decimal_read("1\0", 2, &x));
  char endless[500];
  memset(endless, '1', sizeof endless);
  assert_false(lw_decimal_read(endless, sizeof endless, &x));
  assert_true(lw_decimal_read(endless, 300, &x));
  assert_true(same_bits(x, 1.1111111111111111e299));
  assert_true(lw_decimal_read("12.5,99", 4, &x)); /* only length characters are looked at */
  NEAR(x, 12.5, 0);
}

static void check_write(double x, int decimals) {
  char got[LW_DECIMAL_SPACE], want[LW_DECIMAL_SPACE];
  size_t length = lw_decimal_write(got, x, decimals);
  int want_length = snprintf(want, sizeof want, "%.*f", decimals, x);
  if ((int)length == want_length && strcmp(got, want) == 0) return;
  fprintf(stderr, "%.17g with %d decimals: got '%s', printf '%s'\n", x, decimals, got, want);
  fail();
}

static void decimals_write_as_printf_writes_them(void **state) {
  (void)state;
  uint64_t seed = 1234567;
  for (int i = 0; i < 300000; i++) {
    uint64_t r = next_random(&seed);
    int decimals = (int)(r % 10);
    check_write((double)(int64_t)next_random(&seed) * 0x1p-60, decimals);
    check_write((double)(next_random(&seed) % 3000000) / 1e6, decimals);
    /* ties and their neighbors: an odd number of halves of the last digit, moved by one unit */
    double tie = (double)(next_random(&seed) % 200001) / 32;
    check_write(tie, decimals);
    check_write(nextafter(tie, r & 64 ? 0 : 1e9), decimals);
    double five = (double)(10 * (next_random(&seed) % 100000) + 5) / pow(10, decimals + 1);
    check_write(five, decimals);
    check_write(-five, decimals);
    double any;
    uint64_t bits = next_random(&seed);
    memcpy(&any, &bits, sizeof any);
    if (i % 8 == 0 && isfinite(any)) check_write(any, decimals);
  }
  const double edges[] = {0,    -0.0, 0.5, 1.5, 2.5, 0.05, 4503599627370495.5, 4503599627370496,
                          1e300};
  for (size_t i = 0; i < sizeof edges / sizeof edges[0]; i++) {
    for (int decimals = 0; decimals < 10; decimals++)
      check_write(edges[i], decimals);
  }
}

/* A locale with decimal commas, made in folder when none is installed. */
static bool set_comma_locale(const char *folder) {
  char command[300];
  snprintf(command, sizeof command, "localedef -i de_DE -f UTF-8 %s/de_DE.UTF-8 >/dev/null 2>&1",
           folder);
  if (setlocale(LC_ALL, "de_DE.UTF-8")) return true;
  if (system(command) != 0 || setenv("LOCPATH", folder, 1) != 0) return false;
  return setlocale(LC_ALL, "de_DE.UTF-8") != NULL;
}

static void a_locale_with_decimal_commas_changes_nothing(void **state) {
  (void)state;
  char folder[] = "/tmp/leanward-locale-XXXXXX", command[100], text[LW_DECIMAL_SPACE], comma[20];
  assert_non_null(mkdtemp(folder));
  bool set = set_comma_locale(folder), read = false;
  snprintf(comma, sizeof comma, "%.1f", 1.5);
  double x = 0;
  lw_gas_plan plan = plan_for_tests();
  plan.json_lines = true;
  if (set) read = lw_decimal_read("0.12345678901234567890123", 25, &x);
  lw_decimal_write(text, 1e17, 2);
  outcome csv = run_text(plan_for_tests(), HEADER "\n" ROW "\n");
  outcome json = run_text(plan, HEADER "\n" ROW "\n");
  setlocale(LC_ALL, "C");
  unsetenv("LOCPATH");
  snprintf(command, sizeof command, "rm -rf %s", folder);
  assert_int_equal(system(command), 0);
  HOLDS(csv.out, ROW ",0.");
  HOLDS(json.out, "\"lambda\":0.");
  free(csv.out);
  free(json.out);
  assert_string_equal(text, "100000000000000000.00");
  if (!set) {
    print_message("no locale with decimal commas is here, and localedef could not make one\n");
    skip();
  }
  assert_string_equal(comma, "1,5"); /* the locale was in force */
  assert_true(read);
  NEAR(x, 0.12345678901234568, 0);
}

/* ---- rows ---- */

/* lambda of ROW as a CSV cell, from the balance itself. */
static const char *lambda_cell(char *buffer, size_t size, double no) {
  lw_fuel fuel;
  assert_true(lw_fuel_by_name("gasoline", &fuel));
  lw_sample s = lw_sample_new(&fuel);
  s.x = (lw_gases){0.032, 0.128, 250e-6, 0.006, no};
  double lambda = lw_lambda_balance(&s);
  snprintf(buffer, size, "%.4f,%.2f", lambda, lambda * lw_fuel_stoichiometric(&fuel));
  assert_true(lambda > 0.85 && lambda < 0.97); /* 3.2 % CO is rich */
  return buffer;
}

#define LAMBDA lambda_cell((char[64]){0}, 64, NAN)

/* format with every "@" replaced by the cells that ROW's gases give. */
static char *with_lambda(const char *format) {
  static char text[4096];
  char cells[64];
  size_t used = 0, length = strlen(lambda_cell(cells, sizeof cells, NAN));
  for (; *format; format++) {
    if (*format == '@') {
      memcpy(text + used, cells, length);
      used += length;
    } else {
      text[used++] = *format;
    }
  }
  text[used] = '\0';
  return text;
}

static void a_row_goes_out_as_it_came_with_lambda_behind_it(void **state) {
  (void)state;
  gives(HEADER "\n" ROW "\n", with_lambda(HEADER ",lambda,afr\n" ROW ",@\n"));
}

static void columns_stand_in_any_order_and_unit(void **state) {
  (void)state;
  gives("O2 (%),note,hc [% propane],co2 [ppm],x,CO [ppm vol]\n"
        "0.60,a,0.05,128000, ,32000\n",
        with_lambda("O2 (%),note,hc [% propane],co2 [ppm],x,CO [ppm vol],lambda,afr\n"
                    "0.60,a,0.05,128000, ,32000,@\n"));
}

static void nitric_oxide_counts_when_it_is_there(void **state) {
  (void)state;
  char with[64], text[400];
  lambda_cell(with, sizeof with, 0.003);
  assert_string_not_equal(with, LAMBDA);
  snprintf(text, sizeof text, "%s,NO [ppm],lambda,afr\n%s,3000,%s\n%s,,%s\n", HEADER, ROW, with,
           ROW, LAMBDA);
  gives(HEADER ",NO [ppm]\n" ROW ",3000\n" ROW ",\n", text);
}

static void what_hc_is_counted_in_comes_from_the_plan_unless_the_column_says(void **state) {
  (void)state;
  lw_gas_plan plan = plan_for_tests();
  plan.analyzer.hc_as = LW_HC_PROPANE;
  outcome o = run_text(plan, "CO [%],CO2 [%],HC [ppm],O2 [%]\n3.20,12.8,500,0.60\n");
  HOLDS(o.out, LAMBDA);
  free(o.out);
}

static void line_ends_are_kept(void **state) {
  (void)state;
  gives(HEADER "\r\n" ROW "\r\n" ROW "\r\n",
        with_lambda(HEADER ",lambda,afr\r\n" ROW ",@\r\n" ROW ",@\r\n"));
}

static void a_last_line_without_its_end_gets_one(void **state) {
  (void)state;
  gives(HEADER "\n" ROW, with_lambda(HEADER ",lambda,afr\n" ROW ",@\n"));
  gives(HEADER "\r\n" ROW, with_lambda(HEADER ",lambda,afr\r\n" ROW ",@\r\n"));
  gives(HEADER, HEADER ",lambda,afr\n");
}

static void a_byte_order_mark_is_kept_and_not_read(void **state) {
  (void)state;
  gives("\xef\xbb\xbf"
        "CO [%],CO2 [%],HC [ppm],O2 [%]\n3.20,12.8,250,0.60\n",
        with_lambda("\xef\xbb\xbf"
                    "CO [%],CO2 [%],HC [ppm],O2 [%],lambda,afr\n3.20,12.8,250,0.60,@\n"));
}

static void blank_lines_pass_and_empty_cells_are_not_measured(void **state) {
  (void)state;
  gives(
      HEADER "\n\n" ROW "\n\r\n0.2,3.20,,250,0.60\n0.3, , , , \n\n",
      with_lambda(HEADER ",lambda,afr\n\n" ROW ",@\n\r\n0.2,3.20,,250,0.60,,\n0.3, , , , ,,\n\n"));
}

static void quoted_cells_hold_commas_quotes_and_lines(void **state) {
  (void)state;
  gives("\"time, s\",\"CO [%]\",CO2 [%],HC [ppm],O2 [%],\"note \"\"x\"\"\"\n"
        "\"0,1\",\"3.20\",12.8,\"250\",0.60,\"said \"\"lean\"\",\nthen left\"\n"
        "5\" hose,3.20,12.8,250,0.60,\"\"\n",
        with_lambda("\"time, s\",\"CO [%]\",CO2 [%],HC [ppm],O2 [%],\"note \"\"x\"\"\",lambda,afr\n"
                    "\"0,1\",\"3.20\",12.8,\"250\",0.60,\"said \"\"lean\"\",\nthen left\",@\n"
                    "5\" hose,3.20,12.8,250,0.60,\"\",@\n"));
}

static void a_name_that_is_taken_is_not_used_twice(void **state) {
  (void)state;
  gives("Lambda,afr,CO [%],CO2 [%],HC [ppm],O2 [%]\n1,2,3.20,12.8,250,0.60\n",
        with_lambda("Lambda,afr,CO [%],CO2 [%],HC [ppm],O2 [%],leanward_lambda,leanward_afr\n"
                    "1,2,3.20,12.8,250,0.60,@\n"));
}

static void fresh_air_has_no_lambda_and_is_no_error(void **state) {
  (void)state;
  gives(HEADER "\n0.1,0.00,0.0,0,20.90\n", HEADER ",lambda,afr\n0.1,0.00,0.0,0,20.90,,\n");
}

/* ---- bad rows ---- */

static void one_bad_row(const char *bad, const char *told) {
  char text[600], want[600];
  snprintf(text, sizeof text, "%s\n%s\n%s\n%s\n", HEADER, ROW, bad, ROW);
  snprintf(want, sizeof want, "%s,lambda,afr\n%s,%s\n%s,,\n%s,%s\n", HEADER, ROW, LAMBDA, bad, ROW,
           LAMBDA);
  outcome o = run_text(plan_for_tests(), text);
  HOLDS(o.told, "-:3: ");
  HOLDS(o.told, told);
  assert_ptr_equal(strchr(o.told, '\n'), o.told + strlen(o.told) - 1); /* one line */
  assert_int_equal(o.status, LW_OK);
  assert_int_equal(o.count.rows, 3);
  assert_int_equal(o.count.bad, 1);
  assert_string_equal(o.out, want);
  free(o.out);
}

static void a_bad_row_is_told_and_stays_in_its_place(void **state) {
  (void)state;
  one_bad_row("0.1,3.20,12.8,250", "4 cells where the header has 5");
  one_bad_row("0.1,3.20,12.8,250,0.60,7", "6 cells where the header has 5");
  one_bad_row("0.1,3,20,12.8,250,0.60", "is there a comma inside a number?");
  one_bad_row("lost", "1 cell where the header has 5");
  one_bad_row("0.1,lean,12.8,250,0.60", "CO: 'lean' is not a number");
  one_bad_row("0.1,3.20,12.8,250,n/a", "O2: 'n/a' is not a number; leave the cell empty");
  one_bad_row("0.1,3.20,\"12,8\",250,0.60", "CO2: '12,8' is not a number; write a point");
  one_bad_row("0.1,3.20,12.8,250 ppm,0.60", "HC: '250 ppm' is not a number");
  one_bad_row("0.1,nan,12.8,250,0.60", "CO: 'nan'");
  one_bad_row("0.1,3.20,12.8,1e999,0.60", "HC: '1e999'");
  one_bad_row("0.1,3.20,0x10,250,0.60", "CO2: '0x10'");
}

static void values_no_gas_can_have_are_told(void **state) {
  (void)state;
  one_bad_row("0.1,-3.20,12.8,250,0.60", "CO: ");
  one_bad_row("0.1,3.20,12.8,-1,0.60", "HC: ");
  one_bad_row("0.1,3.20,12.8,250,22.5", "O2: ");
  one_bad_row("0.1,14.0,12.8,250,0.60", "CO and CO2: ");
  one_bad_row("0.1,3.20,12.8,2e6,0.60", "HC: ");
  one_bad_row("0.1,320,12.8,250,0.60", "CO: ");
}

static void a_quote_that_is_not_closed_costs_its_own_line_only(void **state) {
  (void)state;
  one_bad_row("\"0.1,3.20,12.8,250,0.60", "a quote is opened and not closed");
  one_bad_row("\"0.1\"x,3.20,12.8,250,0.60", "text follows a closing quote");
}

static void line_numbers_count_lines_not_rows(void **state) {
  (void)state;
  outcome o = run_text(plan_for_tests(), HEADER "\n\"a\nb\nc\",3.20,12.8,250,0.60\n\n0.1,x,1,1,1\n"
                                                "\"a\nb\",y,1,1,1\n0.1,z,1,1,1");
  HOLDS(o.told, "-:6: CO: 'x'");
  HOLDS(o.told, "-:7: CO: 'y'");
  HOLDS(o.told, "-:9: CO: 'z'");
  assert_int_equal(o.count.rows, 4);
  assert_int_equal(o.count.bad, 3);
  free(o.out);
}

/* header, a row whose note is padded so that the row has length bytes, a good row */
static outcome run_long(size_t length, bool newline, const char *begin) {
  static const char head[] = "CO [%],CO2 [%],HC [ppm],O2 [%],note\n",
                    good[] = "3.20,12.8,250,0.60,";
  char *text = malloc(length + 200);
  assert_non_null(text);
  size_t used = strlen(head), prefix = strlen(begin);
  memcpy(text, head, used);
  memcpy(text + used, begin, prefix);
  memset(text + used + prefix, 'x', length - prefix);
  used += length;
  used += (size_t)sprintf(text + used, "%s%s", newline ? "\r\n" : "", newline ? good : "");
  outcome o = run_bytes(plan_for_tests(), text, used);
  free(text);
  return o;
}

static void a_row_of_64_kib_is_read_and_a_longer_one_is_told(void **state) {
  (void)state;
  for (int newline = 0; newline < 2; newline++) {
    outcome o = run_long(LW_GAS_ROW_MOST, newline, "3.20,12.8,250,0.60,");
    assert_string_equal(o.told, "");
    assert_int_equal(o.count.bad, 0);
    HOLDS(o.out, LAMBDA);
    free(o.out);
  }
  /* the last but two: its CR is the last byte of the first buffer */
  const size_t longer[] = {LW_GAS_ROW_MOST + 1,      LW_GAS_ROW_MOST + 2,       LW_GAS_ROW_MOST + 3,
                           LW_GAS_ROW_MOST + 4,      LW_GAS_IN_BUFFER - 36 - 1, LW_GAS_IN_BUFFER,
                           3 * LW_GAS_IN_BUFFER + 17};
  for (size_t i = 0; i < sizeof longer / sizeof longer[0]; i++) {
    outcome o = run_long(longer[i], true, "3.20,12.8,250,0.60,");
    HOLDS(o.told, "-:2: the row is longer than 64 KiB");
    assert_int_equal(o.count.rows, 2);
    assert_int_equal(o.count.bad, 1);
    HOLDS(o.out, "xxxx,,\r\n3.20,12.8,250,0.60,,0.9");
    /* both rows, the header, and what is appended: nothing of the long line is lost */
    assert_int_equal(o.length, 36 + 11 + longer[i] + 2 + 2 + 19 + strlen(LAMBDA) + 1 + 1);
    free(o.out);
    o = run_long(longer[i], false, "3.20,12.8,250,0.60,\"");
    assert_int_equal(o.count.bad, 1);
    HOLDS(o.out, "xxxx,,\n");
    free(o.out);
  }
}

/* ---- headers ---- */

static void a_wrong_header_is_refused_in_one_line(void **state) {
  (void)state;
  refuses(false, "", "the file is empty; a header was expected");
  refuses(false, "\n" ROW "\n", "the first line is blank");
  refuses(false,
          "\xff\xfe"
          "C",
          "UTF-16");
  refuses(false, "CO [%]\rCO2 [%]\r", "carriage return");
  refuses(false, "CO [%],CO2 [%],HC [ppm]\n", "-:1: no column O2; the header must name it");
  refuses(false, "CO [%],CO2 [%],HC [ppm]\n", "--uncertainty");
  refuses(false, "CO,CO2 [%],HC [ppm],O2 [%]\n",
          "CO: the unit is missing in the header; use %, ppm");
  refuses(false, "CO [],CO2 [%],HC [ppm],O2 [%]\n", "CO: the unit is missing");
  refuses(false, "CO [mg],CO2 [%],HC [ppm],O2 [%]\n", "CO: 'mg' is not a unit that fits here");
  refuses(false, "CO [%],CO2 [%],HC [g/km],O2 [%]\n", "HC: 'g/km'");
  refuses(false, "CO [%],co [%],CO2 [%],HC [ppm],O2 [%]\n", "CO: two columns have this name");
  refuses(false, "CO [%],C02 [%],HC [ppm],O2 [%]\n", "no column CO2; is 'C02' meant?");
  refuses(false, "CO [%],CO 2 [%],HC [ppm],O2 [%]\n", "no column CO2; is 'CO 2' meant?");
  refuses(false, "CO [%],CO\xe2\x82\x82 [%],HC [ppm],O2 [%]\n", "no column CO2; is 'CO");
  refuses(false, "CO [%],CO2 [%],HC ppm,O2 [%]\n", "no column HC; is 'HC ppm' meant?");
  refuses(false, "CO [%],CO2 [%],HCs [ppm],O2 [%]\n", "no column HC; is 'HCs' meant?");
  refuses(false, "CO [%];CO2 [%];HC [ppm];O2 [%]\n", "commas, not semicolons");
  refuses(true, "CO [%],C02 [%]\n", "no column CO2; is 'C02' meant?");
  refuses(true, "time,speed [rpm]\n", "no column is a gas");
  refuses(true, "CO [%],NO\n", "NO: the unit is missing");
  refuses(false, "\"CO [%],CO2 [%]\n", "a quote is opened and not closed");
}

static void an_endless_header_is_refused(void **state) {
  (void)state;
  size_t length = 2 * LW_GAS_IN_BUFFER;
  char *text = malloc(length);
  assert_non_null(text);
  memset(text, 'a', length);
  outcome o = run_bytes(plan_for_tests(), text, length);
  assert_int_equal(o.status, LW_BAD_INPUT);
  HOLDS(o.error.text, "longer than 64 KiB");
  assert_int_equal(o.length, 0);
  free(o.out);
  free(text);
}

static void other_gases_and_columns_are_left_alone(void **state) {
  (void)state;
  gives("NO2 [ppm],NOx [ppm],CO (corr.) [%],lambda_x,CO [%],CO2 [%],HC [ppm],O2 [%]\n"
        "1,2,x,y,3.20,12.8,250,0.60\n",
        with_lambda("NO2 [ppm],NOx [ppm],CO (corr.) [%],lambda_x,CO [%],CO2 [%],HC [ppm],O2 "
                    "[%],lambda,afr\n1,2,x,y,3.20,12.8,250,0.60,@\n"));
}

/* ---- with uncertainty ---- */

static lw_exhaust worked(lw_gases x, lw_sample *sample) {
  lw_gas_plan plan = plan_for_tests();
  lw_reading reading = {
      .co = x.co, .co2 = x.co2, .o2 = x.o2, .no = x.no, .hc = {x.hc, LW_HC_HEXANE}};
  *sample = lw_reading_sample(&reading, &plan.analyzer, &plan.fuel, NAN);
  lw_exhaust e;
  lw_error error = {0};
  assert_int_equal(lw_exhaust_work(sample, &e, &error), LW_OK);
  return e;
}

static void uncertainty_adds_its_columns(void **state) {
  (void)state;
  lw_gas_plan plan = plan_for_tests();
  plan.uncertainty = true;
  outcome o = run_text(plan, HEADER "\n" ROW "\nx,,y,,\n");
  lw_sample sample;
  lw_exhaust e = worked((lw_gases){0.032, 0.128, 250e-6, 0.006, NAN}, &sample);
  char want[600];
  snprintf(
      want, sizeof want,
      "%s,lambda,afr,lambda_u,lambda_lo,lambda_hi,afr_u,notes\n%s,%.4f,%.2f,%.4f,%.4f,%.4f,%.2f,",
      HEADER, ROW, e.lambda.x, e.afr.x, e.lambda.u, e.lambda_lo, e.lambda_hi, e.afr.u);
  HOLDS(o.out, want);
  HOLDS(o.out, "\nx,,y,,,,,,,,,\n");
  HOLDS(o.told, "-:3: CO2: 'y' is not a number");
  assert_true(e.lambda.u > 0.001 && e.lambda.u < 0.05);
  free(o.out);
}

static void uncertainty_does_with_fewer_gases(void **state) {
  (void)state;
  lw_gas_plan plan = plan_for_tests();
  plan.uncertainty = true;
  outcome o = run_text(plan, "CO [%],CO2 [%]\n3.20,12.8\n3.20,\n,\n");
  lw_sample sample;
  lw_exhaust e = worked((lw_gases){0.032, 0.128, NAN, NAN, NAN}, &sample);
  char want[200];
  snprintf(want, sizeof want, "\n3.20,12.8,%.4f,%.2f,%.4f,", e.lambda.x, e.afr.x, e.lambda.u);
  assert_int_equal(e.source, LW_LAMBDA_INFERRED);
  HOLDS(o.out, want);
  HOLDS(o.out, "fewer_gases");
  HOLDS(o.out, "\n,,,,,,,,");
  assert_string_equal(o.told, "");
  free(o.out);
}

/* ---- JSON lines ---- */

static json_t *json_line(const char **text) {
  const char *end = strchr(*text, '\n');
  assert_non_null(end);
  json_t *json = json_loadb(*text, (size_t)(end - *text), 0, NULL);
  assert_non_null(json);
  *text = end + 1;
  return json;
}

static void json_lines_hold_one_object_a_row(void **state) {
  (void)state;
  lw_gas_plan plan = plan_for_tests();
  plan.json_lines = true;
  outcome o = run_text(plan, HEADER ",\"a \"\"b\"\"\"\n" ROW ",\"c \"\"d\"\"\"\n\n" ROW
                                    "\n0.1,3.20,12.8,250,x,\xff\n");
  const char *text = o.out;
  json_t *first = json_line(&text), *second = json_line(&text), *third = json_line(&text);
  assert_string_equal(text, "");
  NEAR(json_number_value(json_object_get(first, "lambda")), strtod(LAMBDA, NULL), 6e-5);
  json_t *cells = json_object_get(first, "cells");
  assert_string_equal(json_string_value(json_object_get(cells, "CO [%]")), "3.20");
  assert_string_equal(json_string_value(json_object_get(cells, "a \"b\"")), "c \"d\"");
  assert_int_equal(json_integer_value(json_object_get(first, "line")), 2);
  assert_int_equal(json_integer_value(json_object_get(second, "line")), 4);
  assert_true(json_is_null(json_object_get(second, "lambda")));
  HOLDS(json_string_value(json_object_get(second, "error")), "5 cells where the header has 6");
  HOLDS(json_string_value(json_object_get(third, "error")), "-:5: O2: 'x'");
  cells = json_object_get(third, "cells");
  assert_string_equal(json_string_value(json_object_get(cells, "a \"b\"")), "?");
  assert_null(json_object_get(first, "error"));
  assert_null(json_object_get(first, "exhaust"));
  json_decref(first);
  json_decref(second);
  json_decref(third);
  free(o.out);
}

static void json_lines_with_uncertainty_hold_the_whole_analysis(void **state) {
  (void)state;
  lw_gas_plan plan = plan_for_tests();
  plan.json_lines = plan.uncertainty = true;
  outcome o = run_text(plan, HEADER "\n" ROW "\nx,y,,,\n");
  const char *text = o.out;
  json_t *first = json_line(&text), *second = json_line(&text);
  json_t *exhaust = json_object_get(first, "exhaust");
  json_t *lambda = json_object_get(exhaust, "lambda");
  NEAR(json_number_value(json_object_get(lambda, "value")),
       json_number_value(json_object_get(first, "lambda")), 0);
  assert_true(json_number_value(json_object_get(lambda, "u")) > 0);
  assert_true(json_is_null(json_object_get(second, "exhaust")));
  json_decref(first);
  json_decref(second);
  free(o.out);
}

/* ---- pipes ---- */

/* Run the stream in a child between two pipes. */
static pid_t start_child(int to_child[2], int from_child[2], lw_gas_plan plan) {
  assert_int_equal(pipe(to_child) + pipe(from_child), 0);
  fflush(NULL);
  pid_t child = fork();
  assert_true(child >= 0);
  if (child > 0) {
    close(to_child[0]);
    close(from_child[1]);
    return child;
  }
  close(to_child[1]);
  close(from_child[0]);
  lw_gas_count count;
  lw_error error = {0};
  plan.in = to_child[0];
  plan.out = from_child[1];
  bool good = lw_gas_stream(units, &plan, &count, &error) == LW_OK;
  _exit(good ? 0 : 1);
}

static void child_must_succeed(pid_t child) {
  int status = -1;
  assert_int_equal(waitpid(child, &status, 0), child);
  assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
}

/* Read until text holds part; fails after ten seconds of silence. */
static void read_until(int fd, char *text, size_t size, const char *part) {
  while (!strstr(text, part)) {
    struct pollfd p = {.fd = fd, .events = POLLIN};
    assert_int_equal(poll(&p, 1, 10000), 1);
    size_t used = strlen(text);
    ssize_t n = read(fd, text + used, size - used - 1);
    assert_true(n > 0);
    text[used + (size_t)n] = '\0';
  }
}

static void a_live_source_is_answered_row_by_row(void **state) {
  (void)state;
  int to[2], from[2];
  char text[2000] = "";
  pid_t child = start_child(to, from, plan_for_tests());
  assert_true(write(to[1], HEADER "\n", strlen(HEADER) + 1) > 0);
  read_until(from[0], text, sizeof text, ",lambda,afr\n");
  for (int i = 0; i < 3; i++) {
    text[0] = '\0';
    assert_true(write(to[1], ROW "\n", strlen(ROW) + 1) > 0);
    read_until(from[0], text, sizeof text, "\n");
    HOLDS(text, LAMBDA);
  }
  close(to[1]);
  child_must_succeed(child);
  close(from[0]);
}

static void the_size_of_the_pieces_makes_no_difference(void **state) {
  (void)state;
  static const char text[] = HEADER "\r\n" ROW "\r\n\"a \"\"q\"\",\nb\",3.20,12.8,250,0.60\r\n"
                                    "\"x\"y,1,1,1,1\r\n\r\n0.1,z,1,1,1\r\n" ROW;
  outcome whole = run_text(plan_for_tests(), text);
  assert_int_equal(whole.count.bad, 2);
  for (size_t piece = 1; piece < 8; piece++) {
    int to[2], from[2];
    char got[2000] = "";
    pid_t child = start_child(to, from, plan_for_tests());
    for (size_t at = 0; at < sizeof text - 1; at += piece) {
      size_t n = sizeof text - 1 - at < piece ? sizeof text - 1 - at : piece;
      assert_int_equal(write(to[1], text + at, n), (ssize_t)n);
      /* let the child take this piece on its own: its pipe must be empty before the next */
      nanosleep(&(struct timespec){.tv_nsec = 200000}, NULL);
    }
    close(to[1]);
    ssize_t n;
    size_t used = 0;
    while ((n = read(from[0], got + used, sizeof got - used - 1)) > 0)
      used += (size_t)n;
    close(from[0]);
    child_must_succeed(child);
    assert_string_equal(got, whole.out);
  }
  free(whole.out);
}

/* ---- failing files and memory ---- */

static lw_status run_files(int in, int out, lw_error *error) {
  lw_gas_plan plan = plan_for_tests();
  lw_gas_count count = {77, 77};
  plan.in = in;
  plan.out = out;
  lw_status status = lw_gas_stream(units, &plan, &count, error);
  if (status != LW_OK) assert_int_equal(count.rows, 77); /* outputs are untouched */
  return status;
}

static void a_full_disk_is_told(void **state) {
  (void)state;
  lw_error error = {0};
  int in = scratch_file(HEADER "\n" ROW "\n", strlen(HEADER "\n" ROW "\n"));
  int full = open("/dev/full", O_WRONLY);
  assert_true(full >= 0);
  assert_int_equal(run_files(in, full, &error), LW_IO);
  assert_string_equal(error.text, "cannot write: No space left on device");
  assert_string_equal(error.field, "output");
  close(in);
  close(full);
}

static void a_reader_that_left_is_told(void **state) {
  (void)state;
  lw_error error = {0};
  signal(SIGPIPE, SIG_IGN);
  int in = scratch_file(HEADER "\n" ROW "\n", strlen(HEADER "\n" ROW "\n")), ends[2];
  assert_int_equal(pipe(ends), 0);
  close(ends[0]);
  assert_int_equal(run_files(in, ends[1], &error), LW_IO);
  HOLDS(error.text, "the program reading the output has ended");
  close(in);
  close(ends[1]);
}

static void what_cannot_be_read_is_told(void **state) {
  (void)state;
  lw_error error = {0};
  int folder = open("/tmp", O_RDONLY), out = scratch_file("", 0);
  assert_true(folder >= 0);
  assert_int_equal(run_files(folder, out, &error), LW_IO);
  assert_string_equal(error.text, "cannot read: Is a directory");
  assert_string_equal(error.file, "-");
  close(folder);
  close(out);
}

/* Largest memory of a child that works rows rows from a pipe, KiB. */
static long memory_of(long rows) {
  int to[2], from[2];
  signal(SIGPIPE, SIG_DFL);
  pid_t child = start_child(to, from, plan_for_tests());
  pid_t drain = fork();
  assert_true(drain >= 0);
  if (drain == 0) {
    char bytes[65536];
    close(to[1]);
    while (read(from[0], bytes, sizeof bytes) > 0)
      continue;
    _exit(0);
  }
  close(from[0]);
  FILE *f = fdopen(to[1], "w");
  assert_non_null(f);
  fputs(HEADER "\n", f);
  for (long i = 0; i < rows; i++)
    fputs(ROW "\n", f);
  fclose(f);
  int status = -1;
  struct rusage before, after;
  assert_int_equal(getrusage(RUSAGE_CHILDREN, &before), 0);
  assert_int_equal(waitpid(child, &status, 0), child);
  assert_int_equal(getrusage(RUSAGE_CHILDREN, &after), 0);
  assert_int_equal(status, 0);
  assert_int_equal(waitpid(drain, &status, 0), drain);
  return after.ru_maxrss;
}

static void a_long_file_needs_no_more_memory_than_a_short_one(void **state) {
  (void)state;
  /* ru_maxrss of children only grows, so the second figure holds both */
  long small = memory_of(20000), large = memory_of(400000);
  if (large - small >= 2048) fail_msg("20,000 rows: %ld KiB, 400,000 rows: %ld KiB", small, large);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(decimals_of_a_log_read_as_strtod_reads_them),
      cmocka_unit_test(decimals_of_any_size_read_as_strtod_reads_them),
      cmocka_unit_test(hard_decimals_read_as_strtod_reads_them),
      cmocka_unit_test(what_is_no_plain_decimal_is_refused),
      cmocka_unit_test(decimals_write_as_printf_writes_them),
      cmocka_unit_test(a_locale_with_decimal_commas_changes_nothing),
      cmocka_unit_test(a_row_goes_out_as_it_came_with_lambda_behind_it),
      cmocka_unit_test(columns_stand_in_any_order_and_unit),
      cmocka_unit_test(nitric_oxide_counts_when_it_is_there),
      cmocka_unit_test(what_hc_is_counted_in_comes_from_the_plan_unless_the_column_says),
      cmocka_unit_test(line_ends_are_kept),
      cmocka_unit_test(a_last_line_without_its_end_gets_one),
      cmocka_unit_test(a_byte_order_mark_is_kept_and_not_read),
      cmocka_unit_test(blank_lines_pass_and_empty_cells_are_not_measured),
      cmocka_unit_test(quoted_cells_hold_commas_quotes_and_lines),
      cmocka_unit_test(a_name_that_is_taken_is_not_used_twice),
      cmocka_unit_test(fresh_air_has_no_lambda_and_is_no_error),
      cmocka_unit_test(a_bad_row_is_told_and_stays_in_its_place),
      cmocka_unit_test(values_no_gas_can_have_are_told),
      cmocka_unit_test(a_quote_that_is_not_closed_costs_its_own_line_only),
      cmocka_unit_test(line_numbers_count_lines_not_rows),
      cmocka_unit_test(a_row_of_64_kib_is_read_and_a_longer_one_is_told),
      cmocka_unit_test(a_wrong_header_is_refused_in_one_line),
      cmocka_unit_test(an_endless_header_is_refused),
      cmocka_unit_test(other_gases_and_columns_are_left_alone),
      cmocka_unit_test(uncertainty_adds_its_columns),
      cmocka_unit_test(uncertainty_does_with_fewer_gases),
      cmocka_unit_test(json_lines_hold_one_object_a_row),
      cmocka_unit_test(json_lines_with_uncertainty_hold_the_whole_analysis),
      cmocka_unit_test(a_live_source_is_answered_row_by_row),
      cmocka_unit_test(the_size_of_the_pieces_makes_no_difference),
      cmocka_unit_test(a_full_disk_is_told),
      cmocka_unit_test(a_reader_that_left_is_told),
      cmocka_unit_test(what_cannot_be_read_is_told),
      cmocka_unit_test(a_long_file_needs_no_more_memory_than_a_short_one),
  };
  return cmocka_run_group_tests(tests, open_units, close_units);
}
