/* idle_turn.h - screws that are turned beside running instruments: what a person types of them, and
** what is written into the job. Private to this floor.
*/
#ifndef LW_CLI_IDLE_TURN_H
#define LW_CLI_IDLE_TURN_H

#include "idle_job.h"

enum { IDLE_SCREWS_MOST = LW_SIGHT_SCREWS + 1 };

/* One screw between two readings. */
typedef struct idle_screw {
  const char *name;
  bool speed;    /* the idle speed screw: nobody counts where it stands */
  bool left;     /* left-hand thread: clockwise moves it out */
  double place;  /* turns out at the last reading; NaN: not counted */
  double preset; /* turns out where the card starts from */
  double turned; /* since then, counter-clockwise +; 0: not */
  bool typed;    /* a person said so; else the guide asked for it */
  bool beyond;   /* an eighth beyond and back, to finish lean */
} idle_screw;

typedef struct idle_screws {
  idle_screw at[IDLE_SCREWS_MOST]; /* the last one is the speed screw */
  size_t count;
} idle_screws;

/* The screws of the job's card that can be turned, where the newest idle reading has them. */
void idle_screws_of(const idle_guided *d, idle_screws *out);
/* As the guide asked. */
void idle_screws_advise(idle_screws *s, const lw_guidance *g);
void idle_screws_rest(idle_screws *s); /* nothing was turned */
/* Some mixture screw's place is not known. */
bool idle_screws_uncounted(const idle_screws *s);
/* What is not counted is taken to stand where the card starts from. */
void idle_screws_assume(idle_screws *s);
/* Where a screw stands now, turns out. */
double idle_screw_now(const idle_screw *s);
/* "left 1/4 turn clockwise, right 1/4 turn clockwise"; "" when nothing was turned. */
void idle_screws_words(const idle_screws *s, char *text, size_t size);

/* ---- what a person types ---- */

typedef enum idle_said_kind {
  IDLE_SAID_ENTER,   /* an empty line: it is done */
  IDLE_SAID_NOTHING, /* nothing was turned */
  IDLE_SAID_MOVE,    /* "mixture out 1/4", "left 1/8 turn clockwise"; the screws have it now */
  IDLE_SAID_PLACE,   /* "left at 1 1/2 turns" */
  IDLE_SAID_UNKNOWN, /* "not counted": they are taken to stand where the card starts from */
  IDLE_SAID_READING, /* "speed: 650 rpm" */
  IDLE_SAID_END      /* "end" */
} idle_said_kind;

/* One line; a move or a place is put into s. LW_BAD_INPUT says what may be typed. */
lw_status idle_said(idle_screws *s, const char *line, idle_said_kind *kind,
                    lw_error *error) LW_MUST_USE;

/* ---- what is written ---- */

typedef struct idle_taken {
  double x[LW_LIVE_ITEMS]; /* SI, over the settled window; NaN: not read */
  lw_hc_basis hc_basis;
  int64_t wall;         /* ms since 1970; < 0: nobody knows the time of day */
  const char *analyzer; /* one of the job's; NULL: not said */
  const char *note;
  lw_gear_load gear;
  bool first; /* of this job */
} idle_taken;

/* The moves and the reading behind the others in the job's file, on the disk when this is LW_OK. */
lw_status idle_keep(lw_units *units, const char *path, const idle_taken *taken,
                    const idle_screws *screws, lw_error *error) LW_MUST_USE;

#endif
