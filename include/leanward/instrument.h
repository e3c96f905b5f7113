/* leanward/instrument.h - readings as they come: from serial lines, Modbus, AK telegrams, a file
** played again, or typed in; all as one source, each with its time and whether it has settled.
**
** A description (a small YAML file, docs/instruments.md) says how an instrument speaks. A source
** listens to one or several of them, keeps a log of every byte that came and went, notices when one
** falls silent or is unplugged and when it is back, and hands out readings one by one.
**
**   lw_instrument_read(&bind, text, length, &instrument, &error)   the description
**   lw_source_new(&source, &error)
**   lw_source_log(source, "run.log", &error)                     before listening; may be left out
**   lw_source_listen(source, instrument, 0, &error)              once for each instrument
**   while (lw_source_next(source, lw_now() + 0.5, &live, &error) == LW_OK)
**     switch (live.kind) ...                          LW_LIVE_NOTHING at the deadline; LW_LIVE_END
**   lw_source_free(source)
**
** Units    SI; gases are mole fractions as displayed (HC in moles of the gas hc_basis names).
** Times    `time` in s since the source began, from a clock that is never set and runs on while the
**          machine sleeps; it is when the last byte of a reading came. All durations are of it.
**          lw_now() is that clock for deadlines; `wall` the time of day. When the clock on the wall
**          is set by a second or more a remark says so, and `wall` goes with it from there.
** Errors   LW_BAD_INPUT for a description or a log that is wrong, with its line; LW_IO for a port
**          or file. What goes wrong while listening is no error but a live entry (LW_LIVE_LOST,
**          LW_LIVE_REMARK): a session goes on.
** Memory   an lw_instrument lives in its arena and must outlive the sources that listen to it. A
**          source allocates when made and when an instrument is added (about 60 kB each), not while
**          it runs.
** Threads  no threads inside; everything waits in poll(2). A source belongs to one thread at a
**          time; lw_source_wake may be called from any thread and from a signal handler.
** Repeats  a log replays bit for bit: the same readings with the same times, settled or not.
** Source   Modbus telegrams as libmodbus 3.1.6 sends and answers them; the AK protocol as published
**          instrument manuals agree on it; lags from gauge.h. docs/instruments.md.
*/
#ifndef LEANWARD_INSTRUMENT_H
#define LEANWARD_INSTRUMENT_H

#include "leanward/doc.h"
#include "leanward/exhaust.h"

/* ---- What is read --------------------------------------------------------------------------- */

/* Name in descriptions, dimension (units.h), least and greatest value believed, SI: outside of them
   a value is taken for a fault of the line and dropped. The first five in the order of lw_gases. */
#define LW_LIVE_ITEM_LIST(X)                                                                       \
  X(LW_LIVE_CO, "CO", LW_FRACTION, -0.01, 0.25)                                                    \
  X(LW_LIVE_CO2, "CO2", LW_FRACTION, -0.01, 0.25)                                                  \
  X(LW_LIVE_HC, "HC", LW_PPM, -0.001, 0.1)                                                         \
  X(LW_LIVE_O2, "O2", LW_FRACTION, -0.02, 0.30)                                                    \
  X(LW_LIVE_NO, "NO", LW_PPM, -0.001, 0.02)                                                        \
  X(LW_LIVE_LAMBDA, "lambda", LW_RATIO, 0.2, 20)                                                   \
  X(LW_LIVE_SPEED, "speed", LW_SPIN, 0, 1600)                                                      \
  X(LW_LIVE_VACUUM, "vacuum", LW_PRESSURE, -30e3, 110e3)                                           \
  X(LW_LIVE_DISTRIBUTOR, "distributor vacuum", LW_PRESSURE, -30e3, 110e3)                          \
  X(LW_LIVE_TIMING, "timing", LW_ANGLE, -1.1, 1.6)                                                 \
  X(LW_LIVE_DWELL, "dwell", LW_ANGLE, 0, 6.3)                                                      \
  X(LW_LIVE_COOLANT, "coolant", LW_TEMPERATURE, 220, 450)                                          \
  X(LW_LIVE_OIL, "oil", LW_TEMPERATURE, 220, 480)                                                  \
  X(LW_LIVE_AIR_TEMPERATURE, "air temperature", LW_TEMPERATURE, 220, 360)                          \
  X(LW_LIVE_AIR_PRESSURE, "air pressure", LW_PRESSURE, 40e3, 120e3)                                \
  X(LW_LIVE_HUMIDITY, "humidity", LW_SHARE, 0, 1.05)
typedef enum lw_live_item {
#define LW_LIVE_ITEM_ENUM(id, name, dim, least, most) id,
  LW_LIVE_ITEM_LIST(LW_LIVE_ITEM_ENUM)
#undef LW_LIVE_ITEM_ENUM
      LW_LIVE_ITEMS
} lw_live_item;
const char *lw_live_item_text(lw_live_item item); /* "CO", "speed" */
lw_dim lw_live_item_dim(lw_live_item item);

/* Settled or wait. */
typedef enum lw_settling {
  LW_SETTLE_UNSAID,  /* not read yet, or lost */
  LW_SETTLE_WAIT,    /* its lag has not passed, or it still moves */
  LW_SETTLE_SETTLED, /* stays within its noise since longer than its lag */
  LW_SETTLE_UNSTEADY /* waited for long enough (three lags and half a minute); it does not rest */
} lw_settling;
const char *lw_settling_text(lw_settling settling); /* "settled", "wait", "does not rest", "" */

typedef enum lw_live_kind {
  LW_LIVE_NOTHING, /* the deadline came, or lw_source_wake */
  LW_LIVE_READING, /* x holds what came now */
  LW_LIVE_LOST,    /* an instrument is unplugged or silent; words say why. Its items are unsaid */
  LW_LIVE_BACK,    /* it is back */
  LW_LIVE_REMARK,  /* words for a person: wrong checksums, a log that cannot be written, ... */
  LW_LIVE_MOVED,   /* a hand turned something: lw_source_moved */
  LW_LIVE_END      /* a file played to its end; there is nothing left to wait for */
} lw_live_kind;

enum { LW_LIVE_WORDS = 200 };

typedef struct lw_live {
  lw_live_kind kind;
  uint64_t number;                  /* counts all entries of a source but NOTHING, from 1 */
  int instrument;                   /* in order of lw_source_listen, from 0; -1: typed or none */
  double time;                      /* s since the source began */
  int64_t wall;                     /* ms since 1970-01-01 UTC */
  double x[LW_LIVE_ITEMS];          /* SI, what came with this reading; NaN: not in it */
  lw_hc_basis hc_basis;             /* gas HC is counted in, as the description says */
  lw_settling state[LW_LIVE_ITEMS]; /* of every item this instrument has given so far */
  double wait[LW_LIVE_ITEMS];   /* s until it is expected to settle; 0 when it has; NaN: unknown */
  double mean[LW_LIVE_ITEMS];   /* over the settling window; NaN: too little came */
  double spread[LW_LIVE_ITEMS]; /* standard deviation about the trend in that window */
  bool settled;                 /* every item of this reading is settled */
  double longest_wait;          /* greatest of wait over this reading's items */
  char words[LW_LIVE_WORDS];    /* LOST, BACK, REMARK: one line; else "" */
} lw_live;

/* ---- Descriptions --------------------------------------------------------------------------- */

typedef enum lw_protocol {
  LW_PROTOCOL_UNSAID,
  LW_PROTOCOL_LINES,      /* text lines, sent unasked or when asked */
  LW_PROTOCOL_FRAMES,     /* bytes of fixed length */
  LW_PROTOCOL_MODBUS_RTU, /* on a serial line */
  LW_PROTOCOL_MODBUS_TCP,
  LW_PROTOCOL_AK, /* serial line or TCP */
  LW_PROTOCOLS
} lw_protocol;
const char *lw_protocol_text(lw_protocol protocol);

typedef struct lw_instrument lw_instrument; /* a description that has been read and checked */

/* text: the file's bytes; bind->file: its name for errors. LW_BAD_INPUT with the line of the first
   thing that is wrong. *instrument and all it points to live in bind's arena. */
lw_status lw_instrument_read(const lw_bind *bind, const char *text, size_t length,
                             lw_instrument **instrument, lw_error *error) LW_MUST_USE;
/* The keys, for the reference in docs/instruments.md. */
const lw_table *lw_instrument_table(void);
/* Use another port (or HOST:PORT) than the description names. */
void lw_instrument_set_port(lw_instrument *instrument, const char *port);

const char *lw_instrument_name(const lw_instrument *instrument);
const char *lw_instrument_port(const lw_instrument *instrument); /* NULL: none named */
lw_protocol lw_instrument_protocol(const lw_instrument *instrument);
/* Whether it gives this item; its 95 % lag in s, and the standing it must reach to count as settled
   (SI, largest drift over the window). Both outputs may be NULL. */
bool lw_instrument_gives(const lw_instrument *instrument, lw_live_item item, double *lag,
                         double *within);

/* ---- A source ------------------------------------------------------------------------------- */

typedef struct lw_source lw_source;

enum { LW_SOURCE_INSTRUMENTS = 8 };

double lw_now(void); /* s, the clock of deadlines (CLOCK_BOOTTIME) */

lw_status lw_source_new(lw_source **source, lw_error *error) LW_MUST_USE;
void lw_source_free(lw_source *source); /* closes ports, ends the log; NULL is allowed */

/* Keep what comes and goes in this file, from now on. An existing log of ours is continued, behind
   whatever a power cut left of its last line; any other file is refused. Every reading handed out
   by lw_source_next is on disk before. Full disk: a remark says so, listening goes on, and the log
   goes on when there is room again, with how many entries it lacks. */
lw_status lw_source_log(lw_source *source, const char *path, lw_error *error) LW_MUST_USE;

enum { LW_LISTEN_PATIENT = 1 }; /* a port that is not there yet is waited for, not an error */
lw_status lw_source_listen(lw_source *source, const lw_instrument *instrument, int flags,
                           lw_error *error) LW_MUST_USE;

/* Play a log of ours, or a CSV file whose header names a time and items with units ("time [s],
   CO [%],HC [ppm hexane],speed [rpm]"), `speed` times as fast as it was; 0: as fast as it is taken.
   Instead of lw_source_listen. Which of the two it is, the first bytes tell. */
lw_status lw_source_replay(lw_source *source, lw_units *units, const char *path, double speed,
                           lw_error *error) LW_MUST_USE;

/* A reading typed by a person: "CO: 1.2 %, HC: 210 ppm hexane, speed: 650 rpm". It is handed out by
   lw_source_next like any other (instrument -1) and counts as settled: a person read it off. */
lw_status lw_source_type(lw_source *source, lw_units *units, const char *text,
                         lw_error *error) LW_MUST_USE;
/* A screw was turned, a hose plugged, the throttle moved: nothing counts as settled until its lag
   has passed from now. */
lw_status lw_source_moved(lw_source *source, const char *what, lw_error *error) LW_MUST_USE;

/* Wait for what comes next until deadline (lw_now()'s clock; in the past: only look). */
lw_status lw_source_next(lw_source *source, double deadline, lw_live *live,
                         lw_error *error) LW_MUST_USE;
/* Let a waiting lw_source_next return at once, with LW_LIVE_NOTHING when nothing came. From any
   thread, and from a signal handler. */
void lw_source_wake(lw_source *source);

/* The newest of every item over all instruments (the first listed wins where two give one), no
   older than `age` s before the newest entry; kind LW_LIVE_READING, or NOTHING when there is none.
 */
void lw_source_now(const lw_source *source, double age, lw_live *live);

/* How it goes with one instrument. */
typedef struct lw_health {
  const char *name; /* the instrument's */
  bool there;       /* its port is open and it is not silent */
  uint64_t bytes, readings;
  uint64_t bad_checksum, bad_form; /* telegrams thrown away */
  uint64_t stray;                  /* bytes that belonged to no telegram */
  uint64_t doubted;                /* values outside of what can be */
  uint64_t unanswered;             /* asked, and no answer in time */
  uint64_t losses;                 /* times it was lost */
  char last[LW_LIVE_WORDS];        /* the last thing that was wrong, "" when nothing was */
} lw_health;
size_t lw_source_instruments(const lw_source *source);
lw_health lw_source_health(const lw_source *source, size_t instrument);

/* ---- Settling by itself ---------------------------------------------------------------------- */

/* The judge that a source keeps for each item, for use on readings from elsewhere. It wants: the
   lag has passed since anything was moved, and over a window of half the lag (3 s at least, 4
   readings) the straight line through the readings changes by less than `within`, as surely as
   their scatter allows. */
enum { LW_SETTLER_POINTS = 64 };
typedef struct lw_settler {
  double lag, within, tail, window;
  double first, moved, waiting; /* s: first reading; last disturbance; since when it waits */
  int count, newest;
  struct {
    double time, x;
    int merged;
  } point[LW_SETTLER_POINTS]; /* ring; readings closer than window/48 are merged */
  lw_settling state;
  double mean, slope, spread, wait;
} lw_settler;

void lw_settler_start(lw_settler *settler, double lag, double within);
/* A last part comes with this time constant, s, far behind the rest (HC off a wetted hose): the
   window is half of it at least, and what the line would still change in it must be within. */
void lw_settler_tail(lw_settler *settler, double tail);
/* Something moved at this time. */
void lw_settler_moved(lw_settler *settler, double time);
/* One reading; times must not fall. Returns the new state. NaN is passed over. */
lw_settling lw_settler_take(lw_settler *settler, double time, double x);

/* Lag to wait for an item on an analyzer of this class (from the exhaust port on: 5 s of idle's gas
   stand in pipe and muffler), and the drift over the window that still counts as standing: a third
   of the permissible error and no less than the display's step. Tachometer, gauges and
   thermometers: docs/instruments.md. */
double lw_live_lag(lw_class accuracy, lw_live_item item);
double lw_live_within(lw_class accuracy, lw_live_item item);
double lw_live_tail(lw_live_item item); /* 0: none */

/* ---- Framing by itself ----------------------------------------------------------------------- */

/* Check sums over length bytes. CRC-16 of Modbus: polynomial 0xA001 reflected, from 0xFFFF, sent
   low byte first; the other two: 0x1021, high bit first; CRC-32: 0xEDB88320 reflected. */
typedef enum lw_checksum {
  LW_CHECKSUM_UNSAID,
  LW_CHECKSUM_SUM8, /* sum modulo 256 */
  LW_CHECKSUM_NEG8, /* 256 less that sum */
  LW_CHECKSUM_XOR8,
  LW_CHECKSUM_CRC8,  /* polynomial 0x07 from 0 */
  LW_CHECKSUM_SUM16, /* sum modulo 65,536 */
  LW_CHECKSUM_CRC16_MODBUS,
  LW_CHECKSUM_CRC16_CCITT,  /* 0x1021 from 0xFFFF */
  LW_CHECKSUM_CRC16_XMODEM, /* 0x1021 from 0 */
  LW_CHECKSUM_CRC32,
  LW_CHECKSUMS
} lw_checksum;
uint32_t lw_checksum_of(lw_checksum kind, const void *bytes, size_t length);
int lw_checksum_bytes(lw_checksum kind); /* 1, 2 or 4 */
const char *lw_checksum_text(lw_checksum kind);

/* Feed bytes of one instrument as if they had come at this time and get what they make, without any
   port: each finished reading goes to `take`. For tests, fuzzing, and other carriers. */
typedef struct lw_listener lw_listener;
lw_status lw_listener_new(const lw_instrument *instrument, lw_listener **listener,
                          lw_error *error) LW_MUST_USE;
void lw_listener_free(lw_listener *listener);
typedef void (*lw_live_taker)(void *to, const lw_live *live);
void lw_listener_bytes(lw_listener *listener, double time, const void *bytes, size_t length,
                       lw_live_taker take, void *to);
lw_health lw_listener_health(const lw_listener *listener);

#endif
