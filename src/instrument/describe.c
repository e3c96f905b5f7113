/* describe.c - the keys of an instrument's description, and what no instrument can be.
**
** Everything is worked out here once: units to factors, marks to bytes, fields to requests. What
** listens later needs neither units nor memory.
*/
#include "instrument_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const words_protocol[] = {"",           "lines", "frames", "modbus rtu",
                                             "modbus tcp", "AK",    NULL};
static const char *const words_class[] = {"", "00", "0", "I", "II", NULL};
static const char *const words_as[] = {"", "u8", "s8", "u16", "s16", "u32", "s32", "f32", NULL};
static const char *const words_order[] = {"", "high first", "low first", NULL};
static const char *const words_table[] = {"", "holding", "input", NULL};
static const char *const words_check[] = {
    "",      "sum8", "neg8", "xor8", "crc8", "sum16", "crc16 modbus", "crc16 ccitt", "crc16 xmodem",
    "crc32", NULL};
static const char *const words_check_as[] = {"", "hex", "decimal", "binary", NULL};
static const char *const words_item[] = {"",
#define ITEM_WORD(id, name, dim, least, most) name,
                                         LW_LIVE_ITEM_LIST(ITEM_WORD)
#undef ITEM_WORD
                                             NULL};

/* Rows of tables, as in the other readers. #define S as the struct before. */
#define ROW(k, kind_, m, d, l, h, c, t, r, w)                                                      \
  { k, kind_, offsetof(S, m), d, l, h, c, t, r, w }
#define TEXT(k, m, w)           ROW(k, LW_KIND_TEXT, m, LW_COUNT, NAN, NAN, NULL, NULL, false, w)
#define REQUIRED(k, m, w)       ROW(k, LW_KIND_TEXT, m, LW_COUNT, NAN, NAN, NULL, NULL, true, w)
#define TEXTS(k, m, w)          ROW(k, LW_KIND_TEXTS, m, LW_COUNT, NAN, NAN, NULL, NULL, false, w)
#define ANSWER(k, m, w)         ROW(k, LW_KIND_ANSWER, m, LW_COUNT, NAN, NAN, NULL, NULL, false, w)
#define WHOLE(k, m, l, h, w)    ROW(k, LW_KIND_WHOLE, m, LW_COUNT, l, h, NULL, NULL, false, w)
#define VALUE(k, m, d, l, h, w) ROW(k, LW_KIND_QUANTITY, m, d, l, h, NULL, NULL, false, w)
#define CHOICE(k, m, c, w)      ROW(k, LW_KIND_CHOICE, m, LW_COUNT, NAN, NAN, c, NULL, false, w)
#define MAP(k, m, t, w)         ROW(k, LW_KIND_MAP, m, LW_COUNT, NAN, NAN, NULL, t, false, w)
#define LIST(k, m, t, w)        ROW(k, LW_KIND_LIST, m, LW_COUNT, NAN, NAN, NULL, t, false, w)
#define COUNT_OF(rows)          (sizeof(rows) / sizeof(rows)[0])
#define TABLE(name_, rows)                                                                         \
  { name_, rows, COUNT_OF(rows), sizeof(S), offsetof(S, line), false }

#define S framing_said
static const lw_field framing_rows[] = {
    TEXT("start", start,
         "what a line or frame begins with; lines that begin otherwise are passed over"),
    TEXT("end", end, "what a line ends with; a line feed unless said"),
    TEXT("separator", separator,
         "one character between the places of a line; a comma unless said; "
         "<SP> for any number of blanks"),
    WHOLE("length", length, 2, FRAME_MOST,
          "frames: bytes of a whole one, start and checksum included"),
    WHOLE("places", places, 1, 100, "lines: how many places a line has; others are refused"),
    ANSWER("decimal comma", decimal_comma, "numbers are written as 1,25"),
};
static const lw_table framing_table = TABLE("framing", framing_rows);
#undef S

#define S checksum_said
static const lw_field checksum_rows[] = {
    CHOICE("kind", kind, words_check, "how it is made"),
    CHOICE("as", form, words_check_as, "how it is written; lines: hex unless said, frames: binary"),
    CHOICE("order", order, words_order,
           "of its bytes; high first unless said (crc16 modbus: low first)"),
    TEXT("behind", behind, "lines: what stands before it, such as \"*\""),
    WHOLE("from", from, 1, FRAME_MOST,
          "first byte that counts, the start's first being 1; 1 unless said"),
};
static const lw_table checksum_table = TABLE("checksum", checksum_rows);
#undef S

#define S field
static const lw_field field_rows[] = {
    CHOICE("is", is, words_item, "what is read"),
    TEXT("unit", unit, "of the number that comes, after scale and offset"),
    VALUE("scale", scale, LW_RATIO, -1e9, 1e9,
          "the number that comes is multiplied by it; 1 unless said"),
    VALUE("offset", offset, LW_RATIO, -1e9, 1e9, "added after scaling; 0 unless said"),
    WHOLE("place", place, 1, 100, "lines, AK: which place, from 1"),
    TEXT("behind", behind, "lines: words the number stands behind"),
    WHOLE("column", column, 1, FRAME_MOST, "lines: first column of the number, from 1"),
    WHOLE("width", width, 1, 40, "lines: how many columns, with column"),
    WHOLE("byte", byte, 1, FRAME_MOST, "frames: first byte, the start's first being 1"),
    VALUE("register", address, LW_COUNT, 0, 65535, "Modbus: address as on the wire, from 0"),
    CHOICE("table", table, words_table, "Modbus: which registers; holding unless said"),
    CHOICE("as", form, words_as, "frames, Modbus: form of the number; u16 unless said"),
    CHOICE("words", word_order, words_order,
           "order of a long number's registers; high first unless said"),
    CHOICE("bytes", byte_order, words_order, "order of bytes; high first unless said"),
    TEXT("code", code, "AK: four letters that ask for it"),
    VALUE("lag", lag, LW_TIME, 0, 600, "until a change shows 95 % of itself, from the engine on"),
    TEXT("stands within", stands, "drift over the settling window that still counts as settled"),
};
static const lw_table field_table = TABLE("field", field_rows);
#undef S

#define S lw_instrument
static const lw_field instrument_rows[] = {
    REQUIRED("instrument", name, "what it is called"),
    CHOICE("protocol", protocol, words_protocol, "how it speaks"),
    TEXT("port", port, "device of the serial line, or HOST:PORT in numbers"),
    WHOLE("speed", baud, 50, 4000000, "bits a second on a serial line; 9600 unless said"),
    TEXT("bits", bits, "data bits, parity (N, E, O), stop bits; 8N1 unless said"),
    CHOICE("class", accuracy, words_class, "accuracy class of OIML R 99; II unless said"),
    TEXT("hello", hello, "bytes sent once when the port opens"),
    TEXT("ask", ask, "lines, frames: bytes that ask for a reading; it sends unasked without them"),
    VALUE("every", every, LW_TIME, 0.02, 3600, "time between two questions; 0.5 s unless said"),
    VALUE("answer within", answer, LW_TIME, 0.01, 60,
          "after that a question counts as unanswered; 0.5 s"),
    VALUE("silence", silence, LW_TIME, 0.1, 3600,
          "after that it counts as lost; 3 s, or 4 questions"),
    WHOLE("station", station, 1, 247, "Modbus: address of the station; 1 unless said"),
    WHOLE("channel", channel, 0, 9, "AK: digit behind the K; 0 unless said"),
    MAP("framing", framing, &framing_table, "where a line or frame begins and ends"),
    MAP("checksum", checksum, &checksum_table, "how a line or frame is checked"),
    TEXTS("missing", missing, "what stands for a value that is not there, such as [\"---\", OVER]"),
    LIST("fields", fields, &field_table, "what it gives"),
    TEXT("note", note, "words for people"),
};
static const lw_table instrument_table = TABLE("instrument", instrument_rows);
#undef S

const lw_table *lw_instrument_table(void) {
  return &instrument_table;
}

/* ---- small readers ---- */

static const struct {
  const char *name;
  unsigned char byte;
} controls[] = {{"NUL", 0}, {"SOH", 1},  {"STX", 2},  {"ETX", 3}, {"EOT", 4},
                {"ENQ", 5}, {"ACK", 6},  {"BEL", 7},  {"TAB", 9}, {"LF", 10},
                {"CR", 13}, {"NAK", 21}, {"ESC", 27}, {"SP", 32}, {"LT", '<'}};

static bool control_byte(const char *name, size_t length, unsigned char *byte) {
  for (size_t i = 0; i < COUNT_OF(controls); i++) {
    if (strlen(controls[i].name) != length || strncmp(controls[i].name, name, length) != 0)
      continue;
    *byte = controls[i].byte;
    return true;
  }
  if (length != 4 || name[0] != '0' || name[1] != 'x') return false;
  char digits[3] = {name[2], name[3], 0}, *end = NULL;
  *byte = (unsigned char)strtoul(digits, &end, 16);
  return end == digits + 2;
}

lw_status lw_mark_read(const char *text, mark *out, lw_error *error) {
  mark m = {.count = 0};
  for (const char *p = text; *p; p++) {
    unsigned char byte = (unsigned char)*p;
    const char *close = *p == '<' ? strchr(p, '>') : NULL;
    if (*p == '<' && (!close || !control_byte(p + 1, (size_t)(close - p - 1), &byte))) {
      return lw_fail(error, LW_BAD_INPUT,
                     "'%.20s' is no byte; write <CR>, <LF>, <STX>, <0x1B>, and <LT> for '<' itself",
                     p);
    }
    if (close) p = close;
    if (m.count == MARK_MOST) return lw_fail(error, LW_BAD_INPUT, "more than %d bytes", MARK_MOST);
    m.at[m.count++] = byte;
  }
  *out = m;
  return LW_OK;
}

lw_hc_basis lw_basis_in(const char *unit) {
  static const char *const words[] = {"", "hexane", "propane", "C1"};
  size_t length = unit ? strlen(unit) : 0;
  for (size_t i = 1; i < COUNT_OF(words); i++) {
    size_t n = strlen(words[i]);
    if (length > n && lw_text_same(unit + length - n, words[i])) return (lw_hc_basis)i;
  }
  return LW_HC_UNSAID;
}

/* ---- errors ---- */

typedef struct reader {
  const lw_bind *bind;
  lw_instrument *i;
  lw_error *error;
} reader;

static lw_status at(reader *r, int line, const char *where) {
  lw_error_place(r->error, r->bind->file, line, where);
  return LW_BAD_INPUT;
}

/* lw_fail(...) filled the text already. */
#define REFUSE(r, line, where, ...)                                                                \
  ((void)lw_fail((r)->error, LW_BAD_INPUT, __VA_ARGS__), at(r, line, where))

static lw_status read_mark(reader *r, int line, const char *where, const char *text, mark *out) {
  if (!text) return LW_OK;
  return lw_mark_read(text, out, r->error) == LW_OK ? LW_OK : at(r, line, where);
}

/* ---- one field ---- */

static void name_of(const field *f, char *where, size_t size) {
  snprintf(where, size, "fields, %s", f->is ? words_item[f->is] : "field");
}

/* Which of the keys that say where a number stands belong to this protocol. */
static const char *wrong_place(const lw_instrument *i, const field *f) {
  bool modbus = i->protocol == LW_PROTOCOL_MODBUS_RTU || i->protocol == LW_PROTOCOL_MODBUS_TCP;
  int lines = (f->place > 0) + (f->behind != NULL) + (f->column > 0);
  switch (i->protocol) {
  case LW_PROTOCOL_LINES:
    if (f->byte || lw_known(f->address) || f->code)
      return "in a line a number stands at a 'place', 'behind' words, or at a 'column'";
    if (lines != 1) return "say one of 'place', 'behind' and 'column'";
    return f->column && !f->width ? "say the 'width' of the column" : NULL;
  case LW_PROTOCOL_FRAMES:
    if (lines || lw_known(f->address) || f->code) return "in a frame a number stands at a 'byte'";
    return f->byte ? NULL : "say at which 'byte' it stands";
  case LW_PROTOCOL_AK:
    if (f->behind || f->column || f->byte || lw_known(f->address))
      return "in AK a number stands at a 'place' of the answer to a 'code'";
    if (!f->code || strlen(f->code) != 4) return "say the 'code' of four letters that asks for it";
    return f->place ? NULL : "say at which 'place' of the answer it stands";
  default:
    if (modbus && (lines || f->byte || f->code)) return "in Modbus a number stands in a 'register'";
    if (modbus && (f->form == U8 || f->form == S8))
      return "a register holds u16, s16, u32, s32 or f32";
    return lw_known(f->address) ? NULL : "say in which 'register' it stands";
  }
}

static lw_status field_unit(reader *r, field *f, const char *where) {
  lw_dim dim = lw_live_item_dim(f->item);
  double scale = 1, offset = 0;
  if (lw_units_scale(r->bind->units, dim, f->unit ? f->unit : "", &scale, &offset, r->error) !=
      LW_OK)
    return at(r, f->line, where);
  double s = lw_known(f->scale) ? f->scale : 1, o = lw_known(f->offset) ? f->offset : 0;
  if (s == 0) return REFUSE(r, f->line, where, "a scale of 0 makes every number the same");
  bool gas = dim == LW_FRACTION || dim == LW_PPM;
  lw_hc_basis basis = lw_basis_in(f->unit);
  if (gas && basis != LW_HC_UNSAID && f->item != LW_LIVE_HC)
    return REFUSE(r, f->line, where, "only HC is counted in hexane, propane or C1");
  if (f->item == LW_LIVE_HC) r->i->hc_basis = basis;
  f->to_si = s * scale;
  f->from = o * scale + offset;
  return LW_OK;
}

static lw_status field_standing(reader *r, field *f, const char *where) {
  f->tail = lw_known(f->lag) ? 0 : lw_live_tail(f->item); /* who gives a lag knows the instrument */
  if (!lw_known(f->lag)) f->lag = lw_live_lag((lw_class)r->i->accuracy, f->item);
  f->within = lw_live_within((lw_class)r->i->accuracy, f->item);
  static const double counted[] = {1, 1, 2, 6}; /* of one hexane: propanes, carbons */
  if (f->item == LW_LIVE_HC) f->within *= counted[lw_basis_in(f->unit)];
  if (!f->stands) return LW_OK;
  lw_dim dim = lw_live_item_dim(f->item);
  double zero = 0;
  if (lw_quantity_read(r->bind->units, dim, f->stands, &f->within, r->error) != LW_OK)
    return at(r, f->line, where);
  /* a difference of temperatures: 2 degF is not 256 K */
  const char *unit = strpbrk(f->stands, "dK");
  double scale = 1;
  if (dim == LW_TEMPERATURE && unit &&
      lw_units_scale(r->bind->units, dim, unit, &scale, &zero, r->error) == LW_OK)
    f->within -= zero;
  if (f->within > 0) return LW_OK;
  return REFUSE(r, f->line, where, "'stands within' must be more than 0");
}

static lw_status work_field(reader *r, field *f, unsigned *seen) {
  char where[96];
  name_of(f, where, sizeof where);
  if (!f->is) return REFUSE(r, f->line, where, "the key 'is' is missing: what is read");
  f->item = (lw_live_item)(f->is - 1);
  if (*seen & 1u << f->item) return REFUSE(r, f->line, where, "this is given twice");
  *seen |= 1u << f->item;
  const char *wrong = wrong_place(r->i, f);
  if (wrong) return REFUSE(r, f->line, where, "%s", wrong);
  lw_status status = read_mark(r, f->line, where, f->behind, &f->mark);
  if (status == LW_OK) status = field_unit(r, f, where);
  if (status == LW_OK) status = field_standing(r, f, where);
  if (f->form == FORM_UNSAID) f->form = U16;
  if (f->word_order == ORDER_UNSAID) f->word_order = HIGH_FIRST;
  if (f->byte_order == ORDER_UNSAID) f->byte_order = HIGH_FIRST;
  if (f->table == TABLE_UNSAID) f->table = HOLDING;
  return status;
}

/* ---- requests ---- */

static int form_bytes(int form) {
  return form == U8 || form == S8 ? 1 : form == U16 || form == S16 ? 2 : 4;
}

static int by_register(const void *a, const void *b) {
  const field *f = *(const field *const *)a, *g = *(const field *const *)b;
  if (f->table != g->table) return f->table - g->table;
  return (f->address > g->address) - (f->address < g->address);
}

static void modbus_bytes(const lw_instrument *i, question *q) {
  unsigned char *b = q->bytes;
  size_t n = 0;
  if (i->protocol ==
      LW_PROTOCOL_MODBUS_TCP) { /* transaction (filled when sent), protocol, length */
    static const unsigned char head[6] = {0, 0, 0, 0, 0, 6};
    memcpy(b, head, n = sizeof head);
  }
  const int parts[] = {i->station,        q->function, q->address >> 8,
                       q->address & 0xFF, 0,           q->registers};
  for (size_t k = 0; k < COUNT_OF(parts); k++)
    b[n++] = (unsigned char)parts[k];
  if (i->protocol == LW_PROTOCOL_MODBUS_RTU) {
    uint32_t crc = lw_checksum_of(LW_CHECKSUM_CRC16_MODBUS, b, n);
    b[n++] = (unsigned char)(crc & 0xFF);
    b[n++] = (unsigned char)(crc >> 8);
  }
  q->count = n;
}

/* Registers side by side are read in one request; one between that nobody wants may not exist. */
static lw_status plan_modbus(reader *r, field *fields, size_t count) {
  lw_instrument *i = r->i;
  field *sorted[FIELDS_MOST];
  for (size_t k = 0; k < count; k++)
    sorted[k] = &fields[k];
  qsort((void *)sorted, count, sizeof(field *), by_register); // NOLINT(bugprone-sizeof-expression)
  for (size_t k = 0; k < count; k++) {
    field *f = sorted[k];
    int address = (int)f->address, registers = form_bytes(f->form) / 2;
    if (address + registers > 65536)
      return REFUSE(r, f->line, "fields", "the number goes beyond register 65535");
    question *q = i->request_count ? &i->requests[i->request_count - 1] : NULL;
    int function = f->table == INPUT ? 4 : 3;
    bool joins = q && q->function == function && address <= q->address + q->registers &&
                 address + registers - q->address <= 125;
    if (!joins) {
      q = &i->requests[i->request_count++];
      *q = (question){.function = function, .address = address};
    }
    if (address + registers > q->address + q->registers)
      q->registers = address + registers - q->address;
    f->request = i->request_count - 1;
    f->at = (size_t)(address - q->address) * 2;
  }
  for (int k = 0; k < i->request_count; k++)
    modbus_bytes(i, &i->requests[k]);
  return LW_OK;
}

static void ak_bytes(const lw_instrument *i, question *q) {
  /* STX, don't-care byte, code, blank, K, channel, ETX */
  const unsigned char bytes[] = {2, ' ', 0, 0, 0, 0, ' ', 'K', (unsigned char)('0' + i->channel),
                                 3};
  memcpy(q->bytes, bytes, sizeof bytes);
  memcpy(q->bytes + 2, q->code, 4);
  q->count = sizeof bytes;
}

static lw_status plan_ak(reader *r, field *fields, size_t count) {
  lw_instrument *i = r->i;
  for (size_t k = 0; k < count; k++) {
    field *f = &fields[k];
    int n = 0;
    if (strspn(f->code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") != 4 || f->code[0] != 'A')
      return REFUSE(r, f->line, "fields",
                    "'%.20s' reads nothing: a code that reads has four capital "
                    "letters and begins with A",
                    f->code);
    while (n < i->request_count && strcmp(i->requests[n].code, f->code) != 0)
      n++;
    if (n == i->request_count) {
      question *q = &i->requests[i->request_count++];
      *q = (question){.count = 0};
      memcpy(q->code, f->code, 4);
      ak_bytes(i, q);
    }
    f->request = n;
  }
  return LW_OK;
}

static lw_status plan_asked(reader *r) {
  lw_instrument *i = r->i;
  mark ask = {.count = 0};
  lw_status status = read_mark(r, i->line, "ask", i->ask, &ask);
  if (status != LW_OK || !ask.count) return status;
  i->request_count = 1;
  memcpy(i->requests[0].bytes, ask.at, ask.count);
  i->requests[0].count = ask.count;
  return LW_OK;
}

/* ---- lines and frames ---- */

static lw_status work_separator(reader *r) {
  lw_instrument *i = r->i;
  mark m = {{','}, 1};
  lw_status status = read_mark(r, i->framing.line, "framing, separator", i->framing.separator, &m);
  if (status != LW_OK) return status;
  if (m.count != 1)
    return REFUSE(r, i->framing.line, "framing, separator", "one character was expected");
  i->separator = m.at[0] == ' ' ? '\0' : (char)m.at[0];
  bool commas = i->framing.decimal_comma == LW_YES;
  if (commas && i->separator == ',')
    return REFUSE(r, i->framing.line, "framing",
                  "with a decimal comma the separator must be another one, such as ';'");
  return LW_OK;
}

static lw_status work_checksum(reader *r) {
  checksum_said *c = &r->i->checksum;
  bool lines = r->i->protocol == LW_PROTOCOL_LINES;
  if (!c->kind && (c->form || c->order || c->from || c->behind))
    return REFUSE(r, c->line, "checksum", "the key 'kind' is missing");
  if (!c->kind) return LW_OK;
  if (!c->form) c->form = lines ? CHECK_HEX : CHECK_BINARY;
  if (!c->order) c->order = c->kind == LW_CHECKSUM_CRC16_MODBUS && !lines ? LOW_FIRST : HIGH_FIRST;
  if (!c->from) c->from = 1;
  if (!lines && c->form != CHECK_BINARY)
    return REFUSE(r, c->line, "checksum", "in a frame the checksum is binary");
  if (lines && c->form == CHECK_DECIMAL && !c->behind)
    return REFUSE(r, c->line, "checksum", "say what the decimal checksum stands 'behind'");
  return read_mark(r, c->line, "checksum, behind", c->behind, &r->i->check_mark);
}

static lw_status work_frame(reader *r, field *fields, size_t count) {
  lw_instrument *i = r->i;
  int tail = i->checksum.kind ? lw_checksum_bytes((lw_checksum)i->checksum.kind) : 0;
  int length = i->framing.length, line = i->framing.line ? i->framing.line : i->line;
  if (!length) return REFUSE(r, line, "framing", "say the 'length' of a frame in bytes");
  if (!i->start.count && !i->checksum.kind)
    return REFUSE(r, line, "framing",
                  "a frame needs a 'start' or a checksum, or nobody can tell where it begins");
  if ((int)i->start.count + tail >= length || i->checksum.from > length - tail)
    return REFUSE(r, line, "framing", "nothing is left of %d bytes between start and checksum",
                  length);
  for (size_t k = 0; k < count; k++) {
    field *f = &fields[k];
    if (f->byte - 1 + form_bytes(f->form) > length - tail)
      return REFUSE(r, f->line, "fields", "byte %d lies behind the frame's data", f->byte);
    f->at = (size_t)(f->byte - 1);
  }
  return LW_OK;
}

static lw_status work_framing(reader *r, field *fields, size_t count) {
  lw_instrument *i = r->i;
  framing_said *f = &i->framing;
  bool lines = i->protocol == LW_PROTOCOL_LINES;
  if (!lines && i->protocol != LW_PROTOCOL_FRAMES) {
    bool said = f->start || f->end || f->separator || f->length || f->places || i->checksum.kind;
    if (!said && !i->ask) return LW_OK;
    return REFUSE(r, f->line ? f->line : i->line, said ? "framing" : "ask",
                  "%s brings its own; leave it out", lw_protocol_text((lw_protocol)i->protocol));
  }
  lw_status status = read_mark(r, f->line, "framing, start", f->start, &i->start);
  if (status == LW_OK) status = read_mark(r, f->line, "framing, end", f->end, &i->end);
  if (status == LW_OK) status = work_separator(r);
  if (status == LW_OK) status = work_checksum(r);
  if (status == LW_OK && !lines) status = work_frame(r, fields, count);
  if (lines && !i->end.count) i->end = (mark){{'\n'}, 1};
  return status == LW_OK ? plan_asked(r) : status;
}

/* ---- the whole ---- */

static bool is_address(const char *port) {
  const char *colon = port ? strrchr(port, ':') : NULL;
  return colon && colon[1] && strspn(colon + 1, "0123456789") == strlen(colon + 1) &&
         port[0] != '/';
}

static lw_status work_port(reader *r) {
  lw_instrument *i = r->i;
  bool tcp = i->protocol == LW_PROTOCOL_MODBUS_TCP, address = is_address(i->port);
  if (i->port && tcp && !address)
    return REFUSE(r, i->line, "port", "Modbus TCP goes over the network; write 192.168.1.20:502");
  if (i->port && address && i->protocol == LW_PROTOCOL_MODBUS_RTU)
    return REFUSE(r, i->line, "port", "Modbus RTU goes over a serial line; is 'modbus tcp' meant?");
  if (i->port && !address && i->port[0] != '/')
    return REFUSE(r, i->line, "port",
                  "'%.60s' is no port; write a device such as /dev/ttyUSB0, or an address such as "
                  "192.168.1.20:502",
                  i->port);
  if (!i->baud) i->baud = 9600;
  if (!lw_baud_known(i->baud))
    return REFUSE(r, i->line, "speed", "%d is no speed of a serial line; 9600 and 19200 are usual",
                  i->baud);
  if (!i->bits) i->bits = "8N1";
  if (!lw_bits_known(i->bits))
    return REFUSE(r, i->line, "bits",
                  "'%.20s': data bits 7 or 8, parity N, E or O, stop bits 1 or 2, "
                  "as in 8N1",
                  i->bits);
  return read_mark(r, i->line, "hello", i->hello, &i->greeting);
}

static double or_else(double given, double usual) {
  return lw_known(given) ? given : usual;
}

static lw_status work(reader *r) {
  lw_instrument *i = r->i;
  field *fields = // NOLINTNEXTLINE(performance-no-int-to-ptr): the reader's own list
      (field *)(uintptr_t)i->fields.items;
  size_t count = i->fields.count;
  unsigned seen = 0;
  if (!i->protocol)
    return REFUSE(r, i->line, NULL,
                  "the key 'protocol' is missing: lines, frames, modbus rtu, modbus "
                  "tcp or AK");
  if (!count) return REFUSE(r, i->line, NULL, "the key 'fields' is missing: what it gives");
  if (count > FIELDS_MOST) return REFUSE(r, i->line, "fields", "more than %d", FIELDS_MOST);
  if (i->missing.count > MISSING_MOST)
    return REFUSE(r, i->line, "missing", "more than %d", MISSING_MOST);
  if (!i->station) i->station = 1;
  i->every = or_else(i->every, 0.5);
  i->answer = or_else(i->answer, 0.5);
  i->silence = or_else(i->silence, fmax(3, 4 * i->every));
  i->gap = 0.5;
  lw_status status = work_port(r);
  for (size_t k = 0; status == LW_OK && k < count; k++)
    status = work_field(r, &fields[k], &seen);
  if (status == LW_OK) status = work_framing(r, fields, count);
  if (status != LW_OK) return status;
  if (i->protocol == LW_PROTOCOL_AK) return plan_ak(r, fields, count);
  if (i->protocol == LW_PROTOCOL_LINES || i->protocol == LW_PROTOCOL_FRAMES) return LW_OK;
  return plan_modbus(r, fields, count);
}

lw_status lw_instrument_read(const lw_bind *bind, const char *text, size_t length,
                             lw_instrument **instrument, lw_error *error) {
  lw_error unheard = {0};
  reader r = {bind, NULL, error ? error : &unheard};
  const lw_node *root = NULL;
  if (length > DESCRIPTION_MOST) {
    lw_error_place(r.error, bind->file, 0, NULL);
    return lw_fail(error, LW_TOO_LARGE,
                   "more than %d bytes; this is no description of an instrument", DESCRIPTION_MOST);
  }
  lw_status status = lw_doc_parse(bind->arena, bind->file, text, length, &root, error);
  if (status != LW_OK) return status;
  r.i = lw_arena_alloc(bind->arena, sizeof *r.i);
  char *copy = lw_arena_copy(bind->arena, text, length);
  if (!r.i || !copy) {
    lw_error_place(r.error, bind->file, 0, NULL);
    return lw_fail(error, LW_NO_MEMORY, "no memory for this description");
  }
  status = lw_table_read(bind, &instrument_table, root, r.i, error);
  if (status == LW_OK) status = work(&r);
  if (status != LW_OK) return status;
  r.i->text = copy;
  r.i->text_length = length;
  *instrument = r.i;
  return LW_OK;
}

/* ---- looking at one ---- */

void lw_instrument_set_port(lw_instrument *i, const char *port) {
  i->port = port;
}

const char *lw_instrument_name(const lw_instrument *i) {
  return i->name;
}

const char *lw_instrument_port(const lw_instrument *i) {
  return i->port;
}

lw_protocol lw_instrument_protocol(const lw_instrument *i) {
  return (lw_protocol)i->protocol;
}

const char *lw_protocol_text(lw_protocol protocol) {
  return (int)protocol >= 0 && protocol < LW_PROTOCOLS ? words_protocol[protocol] : "";
}

bool lw_instrument_gives(const lw_instrument *i, lw_live_item item, double *lag, double *within) {
  const field *fields = instrument_fields(i);
  for (size_t k = 0; k < i->fields.count; k++) {
    if (fields[k].item != item) continue;
    if (lag) *lag = fields[k].lag;
    if (within) *within = fields[k].within;
    return true;
  }
  return false;
}
