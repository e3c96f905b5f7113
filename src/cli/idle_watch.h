/* idle_watch.h - running instruments beside the idle guide: whether what they read may be taken, and
** whether a screw is being turned. Private to this floor.
*/
#ifndef LW_CLI_IDLE_WATCH_H
#define LW_CLI_IDLE_WATCH_H

#include "idle_turn.h"

typedef struct idle_watch {
  bool gives[LW_LIVE_ITEMS]; /* by some instrument */
  double lag[LW_LIVE_ITEMS], within[LW_LIVE_ITEMS];
  double typed[LW_LIVE_ITEMS]; /* by a person, since the last reading; NaN */
  lw_hc_basis typed_basis;
  double turned_at; /* s of the source's clock; NaN: not yet */
  lw_live now;      /* the newest of every item */
  double mark[LW_LIVE_ITEMS], band[LW_LIVE_ITEMS], marked_at;
} idle_watch;

void idle_watch_start(idle_watch *w);
/* One that is listened to; a file that is played tells what it gives as it comes. */
void idle_watch_instrument(idle_watch *w, const lw_instrument *instrument);
/* A reading came. */
void idle_watch_came(idle_watch *w, const lw_source *source, const lw_live *came);

/* All that the guide needs has settled at an idle: a reading may be taken. Else why: "" while it is
   only to be waited for, or what is missing. */
bool idle_watch_settled(const idle_watch *w, char *why, size_t size);
/* Over the settled window of each item; NaN where none has. */
void idle_watch_means(const idle_watch *w, double x[LW_LIVE_ITEMS], lw_hc_basis *basis);
/* What does not rest and is taken all the same: "speed"; "": nothing. */
void idle_watch_restless(const idle_watch *w, char *text, size_t size);

/* Remember how it stands; later: whether CO, speed or vacuum have left it by more than share of the
   band. follow lets the mark go after what creeps, as an engine that warms up does. */
void idle_watch_mark(idle_watch *w);
bool idle_watch_left(const idle_watch *w, double share);
void idle_watch_follow(idle_watch *w);
/* Whether it is another idle than this reading of the job. */
bool idle_watch_differs(const idle_watch *w, const lw_sight *then);

#endif
