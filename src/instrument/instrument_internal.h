/* instrument_internal.h - what the parts of this floor share. Private to it.
**
** What happens to an instrument is a row of events (bytes came, something was asked, no answer,
** lost, begun anew, ...). A listener is driven by them and by nothing else, least of all by a
** clock: live they come from a port and go into the log, on replay they come from the log. That is
** why a log replays bit for bit.
*/
#ifndef LW_INSTRUMENT_INTERNAL_H
#define LW_INSTRUMENT_INTERNAL_H

#include "leanward/instrument.h"

#include <math.h>

enum {
  FIELDS_MOST = 32,
  REQUESTS_MOST = 32,
  MISSING_MOST = 16,
  MARK_MOST = 32,   /* bytes of a start, an end, a question */
  FRAME_MOST = 512, /* longest line or telegram; Modbus has at most 260 */
  CHUNK_MOST = 128, /* bytes of one event; at most one reading for each two of them */
  DESCRIPTION_MOST = 16 * 1024,
  LOG_LINE_MOST = 4 * DESCRIPTION_MOST + 128 /* each byte may take four */
};

/* ---- Descriptions ---- */

typedef enum number_form { FORM_UNSAID, U8, S8, U16, S16, U32, S32, F32 } number_form;
typedef enum order { ORDER_UNSAID, HIGH_FIRST, LOW_FIRST } order;
typedef enum register_table { TABLE_UNSAID, HOLDING, INPUT } register_table;
typedef enum check_form { CHECK_UNSAID, CHECK_HEX, CHECK_DECIMAL, CHECK_BINARY } check_form;

typedef struct mark {
  unsigned char at[MARK_MOST];
  size_t count;
} mark;

/* As written, then worked out. */
typedef struct field {
  int is; /* choice: item + 1 */
  const char *unit, *behind, *code, *stands;
  double scale, offset, lag, address;
  int place, column, width, byte, form, table, word_order, byte_order;
  int line;
  /* worked out */
  lw_live_item item;
  double to_si, from; /* SI = raw * to_si + from */
  double within, tail;
  mark mark;   /* of behind */
  int request; /* that brings it */
  size_t at;   /* its first byte in that request's data, or in the frame */
} field;

typedef struct framing_said {
  const char *start, *end, *separator;
  int length, places;
  lw_answer decimal_comma;
  int line;
} framing_said;

typedef struct checksum_said {
  int kind, form, order, from;
  const char *behind;
  int line;
} checksum_said;

/* One question of the round that makes a reading. */
typedef struct question {
  unsigned char bytes[MARK_MOST + 8];
  size_t count;
  int function, address, registers; /* Modbus */
  char code[5];                     /* AK */
} question;

struct lw_instrument {
  const char *name, *port, *bits, *ask, *hello, *note;
  int protocol, baud, accuracy, station, channel;
  double every, answer, silence;
  framing_said framing;
  checksum_said checksum;
  lw_texts missing;
  lw_list fields; /* of field */
  int line;
  /* worked out */
  const char *text; /* the description itself, for the log */
  size_t text_length;
  mark start, end, greeting;
  char separator; /* '\0': blanks */
  mark check_mark;
  question requests[REQUESTS_MOST];
  int request_count; /* 0: it sends unasked */
  lw_hc_basis hc_basis;
  double gap; /* s: a pause this long inside a telegram ends it */
};

static inline const field *instrument_fields(const lw_instrument *i) {
  return i->fields.items;
}

/* "<STX>", "<CR>", "<0x1B>" and plain letters to bytes. */
lw_status lw_mark_read(const char *text, mark *out, lw_error *error) LW_MUST_USE;
int lw_baud_known(int baud);
bool lw_bits_known(const char *bits);

/* ---- Framing ---- */

typedef enum frame_state {
  FRAME_MORE,
  FRAME_WHOLE,
  FRAME_BAD_CHECKSUM,
  FRAME_BAD_FORM
} frame_state;

/* A telegram in a buffer: bytes before it are noise, `used` counts them and the telegram. */
typedef struct telegram {
  size_t noise, used;
  const unsigned char *data; /* without marks and checksum */
  size_t length;
  int status; /* AK: the status digit; Modbus: exception code; else 0 */
} telegram;

/* Look at the front of the buffer. FRAME_MORE: nothing whole yet, used says how much can never
   become part of a telegram. wanted: the request that waits for its answer, NULL: none. */
frame_state lw_frame_find(const lw_instrument *instrument, const question *wanted,
                          unsigned transaction, const unsigned char *bytes, size_t count,
                          telegram *out);

/* The fields that this frame brings, into x (SI). Returns how many were found; *wrong counts what
   stood there and was no number, *doubted what cannot be. */
int lw_fields_read(const lw_instrument *instrument, int request, const telegram *frame, double *x,
                   int *wrong, int *doubted);

/* A number written in decimal, alone in these bytes apart from blanks and a unit behind it. */
bool lw_decimal_of(const unsigned char *text, size_t length, bool comma, double *x);

/* ---- Listening ---- */

struct lw_listener {
  const lw_instrument *instrument;
  int index;
  /* telegrams */
  unsigned char bytes[FRAME_MOST + CHUNK_MOST];
  size_t count;
  double heard; /* s: the last byte */
  bool whole;   /* a line's beginning has been seen since it was begun */
  /* the round */
  int current;  /* request asked next or waited for */
  bool waiting; /* for its answer */
  unsigned transaction;
  double x[LW_LIVE_ITEMS]; /* what the round has brought so far */
  int status;              /* AK: last status digit told */
  /* what came of it */
  bool there, ever;
  double last_time, last[LW_LIVE_ITEMS], last_at[LW_LIVE_ITEMS];
  bool gives[LW_LIVE_ITEMS];
  lw_settler settler[LW_LIVE_ITEMS];
  double stirred; /* s: when speed or vacuum last moved; NaN: never */
  lw_health health;
  double remarked; /* s: the last remark, so that they stay rare */
  lw_live_taker take;
  void *to;
};

void lw_listener_start(lw_listener *listener, const lw_instrument *instrument, int index);
/* Port opened: what comes first may be the rest of a telegram. */
void lw_listener_begin(lw_listener *listener);
void lw_listener_hear(lw_listener *listener, double time, const void *bytes, size_t length);
/* The request that is due is on its way: its bytes. */
const question *lw_listener_ask(lw_listener *listener);
void lw_listener_no_answer(lw_listener *listener, double time);
void lw_listener_lost(lw_listener *listener, double time, const char *why);
void lw_listener_moved(lw_listener *listener, double time);
/* Speed or vacuum moved: slow items wait, quick ones are not held up by what is quick. */
void lw_listener_stirred(lw_listener *listener, double time);
/* A whole reading from elsewhere (a CSV row). */
void lw_listener_reading(lw_listener *listener, double time, const double *x);
/* Every item as it stands. */
void lw_listener_state(const lw_listener *listener, lw_live *live);
void lw_live_clear(lw_live *live);

/* ---- Ports ---- */

typedef struct plug {
  int fd; /* -1: shut */
  bool connecting;
} plug;

lw_status lw_port_open(const lw_instrument *instrument, plug *port, lw_error *error) LW_MUST_USE;
/* A TCP connection that was begun: LW_OK when it stands. */
lw_status lw_port_connected(plug *port, lw_error *error) LW_MUST_USE;
void lw_port_close(plug *port);

/* ---- The log ---- */

typedef enum event_kind {
  EVENT_WALL = 'W',      /* time of day at 0 s, ms: a session begins, or (" set" behind it) the
                            clock on the wall was set */
  EVENT_DESCRIBE = 'D',  /* the description's text */
  EVENT_BEGIN = 'B',     /* port opened */
  EVENT_IN = 'I',        /* bytes came */
  EVENT_AWAY = 'A',      /* the bytes that follow may have waited: no pause before them is known */
  EVENT_OUT = 'O',       /* bytes went: the request that was due */
  EVENT_NO_ANSWER = 'N', /* none in time */
  EVENT_LOST = 'L',      /* unplugged or silent: why */
  EVENT_MOVED = 'M',     /* a hand moved something: what */
  EVENT_TYPED = 'T',     /* a reading typed in */
  EVENT_LACKS = 'X',     /* entries that could not be kept: how many */
  EVENT_END = 'E'        /* ended in order */
} event_kind;

typedef struct event {
  int64_t us; /* since the source began */
  event_kind kind;
  int instrument;
  const unsigned char *bytes;
  size_t length;
} event;

typedef struct log_file {
  int fd; /* -1: none */
  char path[256];
  int64_t length; /* up to the end of the last whole line */
  uint64_t lacks; /* entries that could not be written */
  bool dirty, failing;
  char line[LOG_LINE_MOST];
} log_file;

/* Opened for going on; *us: time of its last entry; *wall: time of day at its 0 s by the newest
   word on it, ms; 0: new. */
lw_status lw_log_open(log_file *log, const char *path, int64_t *us, int64_t *wall,
                      lw_error *error) LW_MUST_USE;
/* One line. False when it is not kept. */
bool lw_log_write(log_file *log, const event *event);
void lw_log_sync(log_file *log);
void lw_log_close(log_file *log);

typedef struct log_reader log_reader;
typedef enum log_state { LOG_ENTRY, LOG_DAMAGED, LOG_TORN, LOG_OVER } log_state;
lw_status lw_log_reader_new(const char *path, log_reader **reader, lw_error *error) LW_MUST_USE;
void lw_log_reader_free(log_reader *reader);
/* The next entry; its bytes stay until the next call. *line: of the file. LOG_TORN: the last line
   is cut off; length says how many bytes of it. */
log_state lw_log_reader_next(log_reader *reader, event *event, int *line);
/* The file begins as a log does. */
bool lw_log_is(const char *path);

/* ---- Clocks ---- */

/* Two clocks: one that is never set and also runs while the machine sleeps, s, with how much of it
   was sleep, s, and the one on the wall, ms since 1970, which anybody may set. Tests bring their
   own. */
typedef struct source_clocks {
  double (*now)(void *to);
  double (*slept)(void *to);
  int64_t (*wall)(void *to);
  void *to;
} source_clocks;
/* At once after lw_source_new. */
void lw_source_clocks(lw_source *source, const source_clocks *clocks);

/* ---- CSV ---- */

typedef struct csv_reader csv_reader;
lw_status lw_csv_reader_new(lw_units *units, const char *path, csv_reader **reader,
                            lw_error *error) LW_MUST_USE;
void lw_csv_reader_free(csv_reader *reader);
const lw_instrument *lw_csv_reader_instrument(const csv_reader *reader);
/* The next row. 1: there is one, 0: the end, -1: a row that is wrong, words say why. */
int lw_csv_reader_next(csv_reader *reader, double *time, double *x, char *words, size_t size);

/* ---- Typed ---- */

lw_status lw_typed_read(lw_units *units, const char *text, double *x, lw_hc_basis *basis,
                        lw_error *error) LW_MUST_USE;
lw_hc_basis lw_basis_in(const char *unit);

#endif
