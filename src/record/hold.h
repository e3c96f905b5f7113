/* hold.h - files that are held by a program while it runs. Private to this floor. */
#ifndef LW_RECORD_HOLD_H
#define LW_RECORD_HOLD_H

#include <stdbool.h>

/* Hold an open file for this program, until it is closed or the program ends, however it ends. False:
   another holds it. A file system that knows no locks holds everything for everybody. */
bool hold_file(int fd);

/* Remove what writers that are gone have left in this folder: `.leanward-PID-N.new` and what SQLite
   put beside it. Of ours, not held, and the process PID is no more. */
void hold_sweep(const char *folder);

#endif
