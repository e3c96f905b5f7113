/* leanward/drive_file.h - driving schedules from files, and pictures of a drive.
**
** Units    as the file's header says; schedules are SI inside.
** Errors   LW_BAD_INPUT with the file's line; those of lw_file_read.
** Memory   results lie in the caller's arena.
** Threads  reentrant.
*/
#ifndef LEANWARD_DRIVE_FILE_H
#define LEANWARD_DRIVE_FILE_H

#include "leanward/drive.h"
#include "leanward/plot.h"

/* A CSV with a header: time_s; speed_mph, speed_kmh or speed_ms; phase if there is one (a whole
   number or a word: its stretches are reported by themselves). Other columns are passed over; empty
   lines, too. At most six hours in a megabyte. path may be "-". */
lw_status lw_schedule_read(lw_arena *arena, const char *path, lw_schedule **schedule,
                           lw_error *error) LW_MUST_USE;

/* Speed wanted and driven, CO, HC and vacuum against time; worst seconds are marked. */
typedef struct lw_plot_drive {
  const char *title, *note; /* note may be NULL */
  const lw_drive *drive;
} lw_plot_drive;
lw_status lw_plot_drive_write(const lw_plot_drive *plot, lw_plot_form form, const char *path,
                              lw_error *error) LW_MUST_USE;

#endif
