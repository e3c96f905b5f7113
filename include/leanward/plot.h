/* leanward/plot.h - pictures of the twin's runs: the mixture against air flow, and over the range.
**
** A picture is 360 units wide, so that a phone shows it without zooming; PNG has twice as many
** pixels. Nothing is told by color alone: curves differ in their dashes, areas in their hatching
** and each is labeled, levels carry their number. Points that did not converge are hatched gaps.
** The same runs give the same bytes.
**
** Units    maps are SI; pictures show g/s, rpm, % and plain air-fuel ratios.
** Errors   LW_IO when the file cannot be written, LW_BAD_INPUT when there is nothing to draw.
** Memory   freed before these return.
** Threads  reentrant.
*/
#ifndef LEANWARD_PLOT_H
#define LEANWARD_PLOT_H

#include "leanward/bench.h"
#include "leanward/car.h"
#include "leanward/maneuver.h"
#include "leanward/spread.h"

typedef enum lw_plot_form { LW_PLOT_SVG, LW_PLOT_PNG } lw_plot_form;

/* Air-fuel ratio against air flow along a line, the circuits' shares as stacked areas below. With a
   changed line (NULL: none; point by point that of original) both curves, and the change between
   them in %, all against the original's air flow. With a line after that (NULL: none; the same points
   again) what was done against the change: its curve and its change from the original beside the
   others, and the circuits are its own. title and note: plain text, note may be NULL. path may be
   "-". */
typedef struct lw_plot_lines {
  const char *title, *note;
  const lw_map *original, *changed, *after;
} lw_plot_lines;
lw_status lw_plot_line(const lw_plot_lines *plot, lw_plot_form form, const char *path,
                       lw_error *error) LW_MUST_USE;

/* Idle speed (or, with the speed held, vacuum), CO and HC against the turns of each screw, with the
   card's bands and limits where it has them; each screw's place is marked. */
typedef struct lw_plot_idle {
  const char *title;
  const lw_card *card;
  const lw_idle_table *table;
} lw_plot_idle;
lw_status lw_plot_idle_write(const lw_plot_idle *plot, lw_plot_form form, const char *path,
                             lw_error *error) LW_MUST_USE;

/* A maneuver against time: speed, vacuum with that at the distributor (dashed), lambda in the
   cylinders, HC at the port, and the throttle; the moment it was moved and a stall are marked. */
typedef struct lw_plot_watch {
  const char *title, *note;
  const lw_maneuver *run;
} lw_plot_watch;
lw_status lw_plot_watch_write(const lw_plot_watch *plot, lw_plot_form form, const char *path,
                              lw_error *error) LW_MUST_USE;

/* A tolerance study: histograms of speed, CO, HC and turns, with the card's bands and limits, and
   the dimensions that speed, CO, turns and HC hang on. */
typedef struct lw_plot_spread {
  const char *title;
  const lw_spread_goal *goal;
  const lw_spread_result *result;
} lw_plot_spread;
lw_status lw_plot_spread_write(const lw_plot_spread *plot, lw_plot_form form, const char *path,
                               lw_error *error) LW_MUST_USE;

/* Air-fuel ratio over throttle (square-root scale: most happens near the stop) and speed, as bands
   with labeled contours. */
lw_status lw_plot_map(const char *title, const char *note, const lw_map *map, lw_plot_form form,
                      const char *path, lw_error *error) LW_MUST_USE;

#endif
