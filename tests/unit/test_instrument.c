/* test_instrument.c - descriptions of instruments, lines and frames, typed readings, any bytes. */
#define _XOPEN_SOURCE 700
#include "wire_kit.h"

/* ---- descriptions ---- */

#define ONE_FIELD "fields: [{is: CO, place: 1, unit: '%'}]\n"
#define HEAD      "instrument: a\nprotocol: lines\n"

static void test_demo_descriptions(void **state) {
  (void)state;
  static const char *const names[] = {"corran-bench-5.yaml",    "corran-frames.yaml",
                                      "corran-modbus-rtu.yaml", "corran-modbus-tcp.yaml",
                                      "corran-tachometer.yaml", "corran-test-cell.yaml"};
  wire_kit k = wire_kit_new();
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
    const lw_instrument *in = wire_demo(&k, names[i], NULL);
    HOLDS(lw_instrument_name(in), "Corran Works");
    assert_true(lw_instrument_gives(in, LW_LIVE_CO, NULL, NULL) ||
                lw_instrument_gives(in, LW_LIVE_SPEED, NULL, NULL));
  }
  wire_kit_free(&k);
}

/* Each wrong in one place; the line names it. */
static void test_refusals(void **state) {
  (void)state;
  static const struct {
    const char *text, *line;
  } rows[] = {
      {HEAD "fields: [{is: CO, place: 1, unit: rpm}]\n",
       "i.yaml:3: fields, CO: 'rpm' is not a unit"},
      {HEAD "fields: [{is: speed, place: 1, unit: '%'}]\n", "use rpm"},
      {HEAD "fields: [{is: CO, place: 1}]\n", "the unit is missing; use %, ppm"},
      {HEAD "fields: [{is: CO, place: 1, unit: ppm hexane}]\n", "only HC is counted in hexane"},
      {HEAD "fields: [{is: CO3, place: 1, unit: '%'}]\n", "did you mean 'CO"},
      {HEAD "fields: [{place: 1, unit: '%'}]\n", "'is' is missing"},
      {HEAD "fields: [{is: CO, byte: 1, unit: '%'}]\n", "in a line a number stands at a 'place'"},
      {HEAD "fields: [{is: CO, unit: '%'}]\n", "say one of 'place', 'behind' and 'column'"},
      {HEAD "fields: [{is: CO, place: 1, unit: '%', scale: 0}]\n", "a scale of 0"},
      {HEAD "fields: [{is: CO, place: 1, unit: '%'}, {is: CO, place: 2, unit: '%'}]\n",
       "given twice"},
      {HEAD, "'fields' is missing"},
      {"instrument: a\n" ONE_FIELD, "'protocol' is missing"},
      {"protocol: lines\n" ONE_FIELD, "'instrument' is missing"},
      {HEAD ONE_FIELD "port: COM3\n", "'COM3' is no port"},
      {HEAD ONE_FIELD "speed: 9601\n", "9601 is no speed"},
      {HEAD ONE_FIELD "bits: 9N1\n", "data bits 7 or 8"},
      {HEAD ONE_FIELD "framing: {end: <CRLF>}\n", "'<CRLF>' is no byte"},
      {HEAD ONE_FIELD "framing: {decimal comma: yes}\n", "the separator must be another one"},
      {HEAD ONE_FIELD "framing: {separator: ', '}\n", "one character was expected"},
      {HEAD ONE_FIELD "checksum: {as: hex}\n", "'kind' is missing"},
      {HEAD ONE_FIELD "checksum: {kind: crc99}\n", "checksum, kind"},
      {HEAD ONE_FIELD "baud: 9600\n", "'baud' is not a key of an instrument"},
      {"instrument: a\nprotocol: frames\nframing: {length: 8}\nfields: [{is: CO, byte: 1, unit: "
       "'%'}]\n",
       "a frame needs a 'start' or a checksum"},
      {"instrument: a\nprotocol: frames\nframing: {start: <STX>, length: 4}\n"
       "fields: [{is: CO, byte: 4, unit: '%'}]\n",
       "byte 4 lies behind"},
      {"instrument: a\nprotocol: modbus rtu\nport: 10.0.0.1:502\n"
       "fields: [{is: CO, register: 1, unit: '%'}]\n",
       "is 'modbus tcp' meant?"},
      {"instrument: a\nprotocol: modbus tcp\nport: /dev/ttyS0\n"
       "fields: [{is: CO, register: 1, unit: '%'}]\n",
       "goes over the network"},
      {"instrument: a\nprotocol: modbus rtu\nfields: [{is: CO, register: 65535, as: f32, unit: "
       "'%'}]\n",
       "beyond register 65535"},
      {"instrument: a\nprotocol: modbus rtu\nask: x\nfields: [{is: CO, register: 1, unit: '%'}]\n",
       "brings its own"},
      {"instrument: a\nprotocol: AK\nfields: [{is: CO, code: SREM, place: 1, unit: '%'}]\n",
       "'SREM' reads nothing"},
      {"instrument: a\nprotocol: AK\nfields: [{is: CO, code: AK, place: 1, unit: '%'}]\n",
       "four letters"},
  };
  wire_kit k = wire_kit_new();
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    const char *line = wire_refusal(&k, rows[i].text);
    HOLDS(line, rows[i].line);
    HOLDS(line, "i.yaml");
    assert_null(strchr(line, '\n'));
  }
  wire_kit_free(&k);
}

/* ---- lines ---- */

static gathered g;

static void feed(lw_instrument *i, double time, const char *bytes, lw_health *health) {
  lw_listener *l = NULL;
  g.count = 0;
  assert_int_equal(lw_listener_new(i, &l, NULL), LW_OK);
  lw_listener_bytes(l, time, bytes, strlen(bytes), gather, &g);
  *health = lw_listener_health(l);
  lw_listener_free(l);
}

static size_t readings(void) {
  size_t n = 0;
  for (size_t i = 0; i < g.count; i++)
    n += g.live[i].kind == LW_LIVE_READING;
  return n;
}

static void test_lines(void **state) {
  (void)state;
  static const struct {
    const char *bytes;
    size_t readings;
    double co, hc; /* of the last one, as written */
  } rows[] = {
      {"x\n1.25,210\n", 1, 1.25, 210},
      {"1.25,210\n", 0, 0, 0}, /* perhaps the end of a line: passed over */
      {"x\r\n 1.25 ,\t210 \r\n", 1, 1.25, 210},
      {"x\n1.25 %,210 ppm\n", 1, 1.25, 210}, /* a unit behind the number */
      {"x\n1.25,210\n0.80,180\n", 2, 0.80, 180},
      {"x\n1.25,---\n", 1, 1.25, NAN},
      {"x\n---,---\n", 1, NAN, NAN}, /* it speaks, and has nothing to show */
      {"x\n1.25,\n", 1, 1.25, NAN},
      {"x\n1.25\n", 0, 0, 0}, /* a place is missing */
      {"x\n1.25,210,7\n", 0, 0, 0},
      {"x\n1,25,210\n", 0, 0, 0},
      {"x\n1.2.5,210\n", 1, NAN, 210},
      {"x\n0x10,210\n", 1, NAN, 210},
      {"x\nnan,inf\n", 0, 0, 0},
      {"x\n125e-2,+210\n", 1, 1.25, 210},
      {"x\n99,210\n", 1, NAN, 210}, /* 99 % CO cannot be */
      {"x\n\n\n\n1.25,210\n", 1, 1.25, 210},
      {"x\n1.25,210", 0, 0, 0},
  };
  wire_kit k = wire_kit_new();
  lw_instrument *i = wire_describe(
      &k, HEAD "framing: {places: 2}\nmissing: [---]\nfields:\n"
               "  - {is: CO, place: 1, unit: '%'}\n  - {is: HC, place: 2, unit: ppm propane}\n");
  for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
    lw_health health;
    feed(i, 1, rows[r].bytes, &health);
    size_t n = readings();
    if (n != rows[r].readings) fail_msg("row %zu: %zu readings", r, n);
    assert_int_equal(health.readings, n);
    if (!n) continue;
    const lw_live *last = &g.live[g.count - 1];
    for (size_t e = g.count; e-- > 0 && last->kind != LW_LIVE_READING;)
      last = &g.live[e];
    double co = 100 * last->x[LW_LIVE_CO], hc = 1e6 * last->x[LW_LIVE_HC];
    bool same = (isnan(co) ? isnan(rows[r].co) : fabs(co - rows[r].co) < 1e-9) &&
                (isnan(hc) ? isnan(rows[r].hc) : fabs(hc - rows[r].hc) < 1e-9);
    if (!same) fail_msg("row %zu: CO %g, HC %g", r, co, hc);
    assert_int_equal(last->hc_basis, LW_HC_PROPANE);
  }
  wire_kit_free(&k);
}

/* Where a number may stand: behind words, at a column, behind blanks, with a decimal comma. */
static void test_places(void **state) {
  (void)state;
  static const struct {
    const char *keys, *bytes;
  } rows[] = {
      {"fields: [{is: CO, behind: 'CO=', unit: '%'}]\n", "x\nHC=300 CO=1.25;\n"},
      {"fields: [{is: CO, behind: 'CO', unit: '%'}]\n", "x\nCO   1.25\n"},
      {"fields: [{is: CO, column: 4, width: 5, unit: '%'}]\n", "x\nabc 1.25 7\n"},
      {"framing: {separator: <SP>}\nfields: [{is: CO, place: 2, unit: '%'}]\n",
       "x\n   a   1.25  7\n"},
      {"framing: {separator: ';', decimal comma: yes}\nfields: [{is: CO, place: 2, unit: '%'}]\n",
       "x\na;1,25;7\n"},
      {"framing: {separator: <TAB>}\nfields: [{is: CO, place: 2, unit: '%'}]\n", "x\na\t1.25\n"},
      {"framing: {end: <CR>}\n"
       "fields: [{is: CO, place: 1, unit: '%'}]\n",
       "x\r1.25\r"},
      {"framing: {start: '$G,'}\n"
       "fields: [{is: CO, place: 1, unit: '%'}]\n",
       "$X,3\n$G,1.25\n"},
      {"framing: {start: '$G,'}\n"
       "fields: [{is: CO, place: 1, unit: '%'}]\n",
       "$G,9$G,1.25\n"},
      {"framing: {start: <STX>, end: <ETX>}\n"
       "fields: [{is: CO, place: 1, unit: '%'}]\n",
       "\x02"
       "1.25\x03"},
      {"fields: [{is: CO, place: 1, unit: '%', scale: 0.01}]\n", "x\n125\n"},
      {"fields: [{is: CO, place: 1, unit: ppm, scale: 2, offset: 500}]\n", "x\n6000\n"},
      /* sum of "1.25" is 0x31 + 0x2E + 0x32 + 0x35 = 0xC6 = 198 */
      {"checksum: {kind: sum8}\n" ONE_FIELD, "x\n1.25C6\n"},
      {"checksum: {kind: sum8, behind: '*'}\n" ONE_FIELD, "x\n1.25*c6\n"},
      {"checksum: {kind: sum8, as: decimal, behind: '*'}\n" ONE_FIELD, "x\n1.25*198\n"},
      {"checksum: {kind: neg8, as: hex, behind: '*'}\n" ONE_FIELD, "x\n1.25*3A\n"},
      {"checksum: {kind: sum8, as: binary}\n" ONE_FIELD, "x\n1.25\xC6\n"},
  };
  wire_kit k = wire_kit_new();
  for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
    lw_health health;
    const char *text = lw_arena_print(k.arena, "%s%s", HEAD, rows[r].keys);
    feed(wire_describe(&k, text), 1, rows[r].bytes, &health);
    if (readings() != 1) fail_msg("row %zu: %zu readings; %s", r, readings(), health.last);
    NEAR(g.live[g.count - 1].x[LW_LIVE_CO], 0.0125, 1e-12);
  }
  wire_kit_free(&k);
}

static void test_line_checksum(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  lw_health h;
  lw_instrument *i = wire_describe(&k, HEAD "checksum: {kind: sum8, behind: '*'}\n" ONE_FIELD);
  feed(i, 1, "x\n1.35*C6\n1.25*C6\n1.25\n1.25*\n1.25*C\n1.25*CG\n*\n", &h);
  assert_int_equal(h.readings, 1);
  assert_int_equal(h.bad_checksum + h.bad_form, 6);
  HOLDS(g.live[0].words, "a checksum was wrong");
  assert_int_equal(g.live[0].kind, LW_LIVE_REMARK); /* told once, not six times */
  assert_int_equal(g.count, 2);
  wire_kit_free(&k);
}

/* ---- frames ---- */

/* AA 55, four 16-bit numbers low byte first, CRC as the program computes it. */
static void frame_of(unsigned char f[12], int co, int co2, int hc, int o2) {
  const int x[] = {co, co2, hc, o2};
  f[0] = 0xAA;
  f[1] = 0x55;
  for (int i = 0; i < 4; i++) {
    f[2 + 2 * i] = (unsigned char)(x[i] & 0xFF);
    f[3 + 2 * i] = (unsigned char)(x[i] >> 8);
  }
  uint32_t crc = lw_checksum_of(LW_CHECKSUM_CRC16_MODBUS, f + 2, 8);
  f[10] = (unsigned char)(crc & 0xFF);
  f[11] = (unsigned char)(crc >> 8);
}

/* Whatever noise stands between the frames, every whole one is read and no other. */
static void test_frames(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  lw_listener *l = NULL;
  uint64_t seed = 7;
  assert_int_equal(lw_listener_new(wire_demo(&k, "corran-frames.yaml", NULL), &l, NULL), LW_OK);
  g.count = 0;
  for (int n = 0; n < 300; n++) {
    unsigned char f[12], noise[16];
    size_t length = (size_t)(seed % 9);
    for (size_t b = 0; b < length; b++) {
      seed = seed * 6364136223846793005u + 1442695040888963407u;
      noise[b] = n % 3 ? (unsigned char)(seed >> 56) : 0xAA;
    }
    seed = seed * 6364136223846793005u + 1442695040888963407u;
    frame_of(f, n, 1390, n == 5 ? 65535 : 210, 60);
    if (n % 10 == 9) f[4] ^= 0x40; /* a bit falls over */
    lw_listener_bytes(l, 0.1 * n, noise, length, gather, &g);
    lw_listener_bytes(l, 0.1 * n, f, sizeof f, gather, &g);
  }
  lw_health h = lw_listener_health(l);
  assert_int_equal(h.readings, 270);
  assert_true(h.bad_checksum >= 30);
  int next = 0;
  for (size_t e = 0; e < g.count; e++) {
    if (g.live[e].kind != LW_LIVE_READING) continue;
    next += next % 10 == 9;
    NEAR(g.live[e].x[LW_LIVE_CO], next * 1e-4, 1e-12);
    assert_int_equal(lw_known(g.live[e].x[LW_LIVE_HC]), next != 5);
    next++;
  }
  lw_listener_free(l);
  wire_kit_free(&k);
}

/* Forms of numbers and orders of bytes; what stands there is worked by hand. */
static void test_forms(void **state) {
  (void)state;
  static const struct {
    const char *keys;
    unsigned char bytes[4];
    double want;
  } rows[] = {
      {"as: u8", {200, 0, 0, 0}, 200},
      {"as: s8, offset: 256", {200, 0, 0, 0}, 200},
      {"as: u16", {0x01, 0x2C, 0, 0}, 300},
      {"as: u16, bytes: low first", {0x2C, 0x01, 0, 0}, 300},
      {"as: s16, offset: 500", {0xFF, 0x38, 0, 0}, 300},
      {"as: u32", {0, 0, 0x01, 0x2C}, 300},
      {"as: u32, bytes: low first", {0x2C, 0x01, 0, 0}, 300},
      {"as: s32, offset: 301", {0xFF, 0xFF, 0xFF, 0xFF}, 300},
      {"as: f32", {0x43, 0x96, 0x00, 0x00}, 300}, /* 1.171875 x 2^8 */
      {"as: f32, bytes: low first", {0x00, 0x00, 0x96, 0x43}, 300},
  };
  wire_kit k = wire_kit_new();
  for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
    lw_listener *l = NULL;
    const char *text =
        lw_arena_print(k.arena,
                       "instrument: a\nprotocol: frames\nframing: {start: <STX>, length: "
                       "5}\nfields: [{is: speed, byte: 2, unit: rpm, %s}]\n",
                       rows[r].keys);
    assert_int_equal(lw_listener_new(wire_describe(&k, text), &l, NULL), LW_OK);
    g.count = 0;
    lw_listener_bytes(l, 1, "\x02", 1, gather, &g);
    lw_listener_bytes(l, 1, rows[r].bytes, 4, gather, &g);
    if (readings() != 1) fail_msg("row %zu", r);
    NEAR(g.live[0].x[LW_LIVE_SPEED] / WIRE_RPM, rows[r].want, 1e-9);
    lw_listener_free(l);
  }
  wire_kit_free(&k);
}

/* A float that is no number is no reading. */
static void test_not_a_number(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  lw_listener *l = NULL;
  lw_instrument *i =
      wire_describe(&k, "instrument: a\nprotocol: frames\nframing: {start: <STX>, length: 5}\n"
                        "fields: [{is: speed, byte: 2, unit: rpm, as: f32}]\n");
  assert_int_equal(lw_listener_new(i, &l, NULL), LW_OK);
  g.count = 0;
  lw_listener_bytes(l, 1, "\x02\x7F\xC0\x00\x00\x02\x7F\x80\x00\x00", 10, gather, &g);
  for (size_t e = 0; e < g.count; e++)
    assert_false(lw_known(g.live[e].x[LW_LIVE_SPEED]));
  lw_listener_free(l);
  wire_kit_free(&k);
}

/* ---- typed ---- */

static void test_typed(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  lw_source *s = wire_source();
  lw_live live;
  lw_error error = {0};
  assert_int_equal(lw_source_type(s, k.units,
                                  "CO: 1.2 %, HC 210 ppm propane; speed: 650 rpm, "
                                  "distributor vacuum: 4 inHg, air temperature 68 degF",
                                  &error),
                   LW_OK);
  assert_int_equal(lw_source_next(s, lw_now(), &live, &error), LW_OK);
  assert_int_equal(live.kind, LW_LIVE_READING);
  assert_int_equal(live.instrument, -1);
  assert_true(live.settled);
  NEAR(live.x[LW_LIVE_CO], 0.012, 1e-12);
  NEAR(live.x[LW_LIVE_SPEED], 650 * WIRE_RPM, 1e-9);
  NEAR(live.x[LW_LIVE_DISTRIBUTOR], 4 * 3386.38864, 0.01);
  NEAR(live.x[LW_LIVE_AIR_TEMPERATURE], 293.15, 1e-9);
  assert_int_equal(live.hc_basis, LW_HC_PROPANE);
  lw_source_now(s, 10, &live);
  NEAR(live.x[LW_LIVE_CO], 0.012, 1e-12);
  static const struct {
    const char *text, *line;
  } rows[] = {{"CO: 1.2", "the unit is missing"},  {"CO: 1.2 rpm", "not a unit that fits"},
              {"C0: 1.2 %", "is 'CO' meant?"},     {"", "nothing is said"},
              {"CO: 1 %, CO: 2 %", "given twice"}, {"CO: 80 %", "cannot be"},
              {"CO: 1.2 ppm hexane", "only HC"},   {"hello", "nothing that is read"},
              {"CO: 1,2 %", "the unit is missing"}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    error = (lw_error){0};
    assert_int_equal(lw_source_type(s, k.units, rows[i].text, &error), LW_BAD_INPUT);
    HOLDS(error.text, rows[i].line);
  }
  assert_int_equal(lw_source_next(s, lw_now(), &live, &error), LW_OK);
  assert_int_equal(live.kind, LW_LIVE_NOTHING); /* what was refused left nothing behind */
  lw_source_free(s);
  wire_kit_free(&k);
}

/* ---- tables ---- */

static lw_status play(wire_kit *k, const char *text, lw_source **s, lw_error *error) {
  const char *path = wire_path(k, "table.csv");
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  fputs(text, file);
  fclose(file);
  *s = wire_source();
  return lw_source_replay(*s, k->units, path, 0, error);
}

static void test_csv(void **state) {
  (void)state;
  wire_kit k = wire_kit_new();
  lw_source *s = NULL;
  lw_live live;
  lw_error error = {0};
  assert_int_equal(play(&k,
                        "\xEF\xBB\xBF"
                        "time [min],note,\"CO [%]\",HC (ppm hexane),speed [rpm]\r\n"
                        "0,\"a, b\",1.25,210,700\r\n0.5,x,1.30,,690\r\n\r\n0.4,x,1,1,1\r\n"
                        "0.6,x,zero,1,1\r\n1,x,1.4,200,\"680\"\r\n",
                        &s, &error),
                   LW_OK);
  static const double want[][3] = {{0, 1.25, 700}, {30, 1.30, 690}, {60, 1.4, 680}};
  size_t n = 0, remarks = 0;
  while (lw_source_next(s, lw_now() + 1, &live, &error) == LW_OK && live.kind != LW_LIVE_END) {
    remarks += live.kind == LW_LIVE_REMARK;
    if (live.kind != LW_LIVE_READING) continue;
    assert_true(n < 3);
    NEAR(live.time, want[n][0], 1e-9);
    NEAR(live.x[LW_LIVE_CO], want[n][1] / 100, 1e-12);
    NEAR(live.x[LW_LIVE_SPEED], want[n][2] * WIRE_RPM, 1e-9);
    assert_int_equal(lw_known(live.x[LW_LIVE_HC]), n != 1);
    n++;
  }
  assert_int_equal(n, 3);
  assert_int_equal(remarks, 2); /* a time that falls, and a cell that is no number */
  lw_source_free(s);
  static const struct {
    const char *text, *line;
  } rows[] = {
      {"CO [%]\n1\n", "'time [s]' is missing"},      {"time [s]\n1\n", "no column is anything"},
      {"time [s],CO\n1,1\n", "the unit is missing"}, {"", "empty"},
      {"time [s],CO [rpm]\n", "not a unit"},         {"time [s],CO [%],CO [%]\n", "two columns"}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    error = (lw_error){0};
    assert_int_equal(play(&k, rows[i].text, &s, &error), LW_BAD_INPUT);
    HOLDS(error.text, rows[i].line);
    HOLDS(error.file, "table.csv");
    lw_source_free(s);
  }
  wire_kit_free(&k);
}

/* ---- any bytes ---- */

/* Random bytes, mostly ones that telegrams are made of: nothing breaks, nothing that cannot be
   comes out, every byte is accounted for, and cutting the stream differently changes nothing. */
static void test_any_bytes(void **state) {
  (void)state;
  static const char *const names[] = {"corran-bench-5.yaml",    "corran-frames.yaml",
                                      "corran-modbus-rtu.yaml", "corran-modbus-tcp.yaml",
                                      "corran-tachometer.yaml", "corran-test-cell.yaml"};
  static const char likely[] =
      "\x02\x03\x11\x03\x0C\xAA\x55\r\n$GAS,*0123456789.-+eABCDEF KASTZON\x00\x01";
  wire_kit k = wire_kit_new();
  uint64_t seed = 99;
  for (size_t n = 0; n < sizeof names / sizeof names[0]; n++) {
    const lw_instrument *i = wire_demo(&k, names[n], NULL);
    for (int run = 0; run < 60; run++) {
      unsigned char bytes[3000];
      for (size_t b = 0; b < sizeof bytes; b++) {
        seed = seed * 6364136223846793005u + 1442695040888963407u;
        unsigned at = (unsigned)(seed >> 40);
        bytes[b] = run % 2 ? (unsigned char)likely[at % (sizeof likely - 1)] : (unsigned char)at;
      }
      lw_listener *whole = NULL, *cut = NULL;
      assert_int_equal(lw_listener_new(i, &whole, NULL), LW_OK);
      assert_int_equal(lw_listener_new(i, &cut, NULL), LW_OK);
      g.count = 0;
      lw_listener_bytes(whole, 1, bytes, sizeof bytes, gather, &g);
      for (size_t e = 0; e < g.count; e++) {
        for (int x = 0; x < LW_LIVE_ITEMS; x++)
          assert_true(!isinf(g.live[e].x[x]));
        assert_true(g.live[e].time == 1);
      }
      size_t count = g.count, at = 0;
      for (; at < sizeof bytes; at += (size_t)(run + 1))
        lw_listener_bytes(cut, 1, bytes + at,
                          at + (size_t)run + 1 < sizeof bytes ? (size_t)run + 1 : sizeof bytes - at,
                          gather, &g);
      lw_health a = lw_listener_health(whole), b = lw_listener_health(cut);
      assert_int_equal(g.count, 2 * count < GATHER_MOST ? 2 * count : GATHER_MOST);
      assert_int_equal(a.readings, b.readings);
      assert_int_equal(a.stray, b.stray);
      assert_true(a.stray <= a.bytes);
      assert_int_equal(a.bytes, sizeof bytes);
      lw_listener_free(whole);
      lw_listener_free(cut);
    }
  }
  wire_kit_free(&k);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_demo_descriptions),
      cmocka_unit_test(test_refusals),
      cmocka_unit_test(test_lines),
      cmocka_unit_test(test_places),
      cmocka_unit_test(test_line_checksum),
      cmocka_unit_test(test_frames),
      cmocka_unit_test(test_forms),
      cmocka_unit_test(test_not_a_number),
      cmocka_unit_test(test_typed),
      cmocka_unit_test(test_csv),
      cmocka_unit_test(test_any_bytes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
