/* print_work.h - a worked job on a terminal. Private to this floor. */
#ifndef LW_PRINT_WORK_H
#define LW_PRINT_WORK_H

#include "cli.h"

#include "leanward/causes.h"

/* Print the whole of a worked job on standard output. */
void print_work(const lw_work *work);

/* Weighed causes in full, and in the few lines that a job shows of them. */
void print_causes(const lw_work *work, const lw_diagnosis *causes);
void print_causes_short(const lw_diagnosis *causes);

#endif
