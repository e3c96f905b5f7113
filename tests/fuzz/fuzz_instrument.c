/* fuzz_instrument.c - any bytes as what an instrument sends, under any of a handful of descriptions;
** and any bytes as a description.
**
** The first byte picks: 0 to 7 a description below that the rest is fed to, anything else the rest is
** a description itself. Holds what instrument.h promises: times as given, values believed or NaN, a
** refusal with one line, every byte counted, lines that can be shown.
*/
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "leanward/instrument.h"

static const char *const descriptions[] = {
    "instrument: a\nprotocol: lines\nfields: [{is: CO, place: 1, unit: '%'}, {is: speed, place: 2, "
    "unit: rpm}]\n",
    "instrument: a\nprotocol: lines\nframing: {start: '$G,', end: <CR>, separator: <SP>, places: "
    "3}\n"
    "checksum: {kind: xor8, behind: '*'}\nmissing: ['---']\n"
    "fields: [{is: CO, place: 1, unit: '%'}, {is: HC, behind: 'HC', unit: ppm C1},\n"
    "  {is: O2, column: 3, width: 4, unit: '%'}]\n",
    "instrument: a\nprotocol: lines\nframing: {separator: ';', decimal comma: yes}\n"
    "checksum: {kind: sum8, as: decimal, behind: '#'}\nfields: [{is: CO, place: 2, unit: '%'}]\n",
    "instrument: a\nprotocol: frames\nframing: {start: <0xAA><0x55>, length: 9}\n"
    "checksum: {kind: sum8, from: 3}\nfields: [{is: CO, byte: 3, as: u16, unit: ppm},\n"
    "  {is: speed, byte: 5, as: f32, bytes: low first, unit: rpm}]\n",
    "instrument: a\nprotocol: frames\nframing: {length: 4}\nchecksum: {kind: xor8}\n"
    "fields: [{is: CO, byte: 1, as: s16, unit: ppm}]\n",
    "instrument: a\nprotocol: modbus rtu\nfields: [{is: CO, register: 0, unit: ppm},\n"
    "  {is: speed, register: 1, as: f32, words: low first, unit: rpm}]\n",
    "instrument: a\nprotocol: modbus tcp\nfields: [{is: CO, register: 0, unit: ppm},\n"
    "  {is: speed, register: 9, as: s32, bytes: low first, unit: rpm}]\n",
    "instrument: a\nprotocol: AK\nfields: [{is: CO, code: AKON, place: 1, unit: ppm},\n"
    "  {is: oil, code: ATEM, place: 2, unit: degC}]\n",
};

enum { COUNT = sizeof descriptions / sizeof descriptions[0] };

static lw_units *units;
static lw_arena *arena;
static lw_instrument *known[COUNT];

static void check_live(void *to, const lw_live *live) {
  size_t *count = to, bad = 0;
  ++*count;
  HOLD(live->kind == LW_LIVE_READING || live->kind == LW_LIVE_REMARK);
  HOLD(live->time >= 0 && live->time < 1e6);
  HOLD(lw_text_utf8(live->words, strlen(live->words), &bad));
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    HOLD(!isinf(live->x[i]) && fabs(lw_known(live->x[i]) ? live->x[i] : 0) < 2e5);
    HOLD(!(live->wait[i] < 0) && !isinf(live->wait[i]) && !(live->spread[i] < 0));
    HOLD(lw_settling_text(live->state[i]));
  }
}

/* In pieces; bytes also pick how long each is and how much later it comes. */
static void feed(const lw_instrument *instrument, const uint8_t *data, size_t size) {
  lw_listener *l = NULL;
  size_t count = 0;
  double time = 0;
  HOLD(lw_listener_new(instrument, &l, NULL) == LW_OK);
  for (size_t at = 0; at < size;) {
    size_t n = 1 + data[at] % 61;
    if (n > size - at) n = size - at;
    lw_listener_bytes(l, time, data + at, n, check_live, &count);
    time += 0.01 * (data[at] % 7) + (data[at] % 53 == 0 ? 1 : 0);
    at += n;
  }
  lw_health h = lw_listener_health(l);
  HOLD(h.bytes == size && h.stray <= size && h.readings <= count && count <= 2 * size + 2);
  lw_listener_free(l);
}

static void describe(const uint8_t *data, size_t size) {
  lw_arena *own = lw_arena_new(0);
  lw_bind bind = {own, units, "f"};
  lw_instrument *i = NULL;
  lw_error error = {0};
  char line[900];
  HOLD(own);
  lw_status status = lw_instrument_read(&bind, (const char *)data, size, &i, &error);
  HOLD((status == LW_OK) == (i != NULL));
  if (i) {
    feed(i, data, size);
  } else {
    lw_error_line(&error, line, sizeof line);
    HOLD(error.status == status && error.text[0] && !strpbrk(line, "\n\r\t\x1b\x7f"));
  }
  lw_arena_free(own);
}

static void prepare(void) {
  arena = lw_arena_new(0);
  if (!arena || lw_units_open(&units, NULL) != LW_OK) abort();
  for (size_t i = 0; i < COUNT; i++) {
    lw_bind bind = {arena, units, "f"};
    HOLD(lw_instrument_read(&bind, descriptions[i], strlen(descriptions[i]), &known[i], NULL) ==
         LW_OK);
  }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
  if (!units) prepare();
  if (size == 0) return 0;
  if (data[0] < COUNT) {
    feed(known[data[0]], data + 1, size - 1);
  } else {
    describe(data + 1, size - 1);
  }
  return 0;
}
