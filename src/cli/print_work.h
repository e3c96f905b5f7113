/* print_work.h - a worked job on a terminal. Private to this floor. */
#ifndef LW_PRINT_WORK_H
#define LW_PRINT_WORK_H

#include "cli.h"

/* Print the whole of a worked job on standard output. */
void print_work(const lw_work *work);

#endif
