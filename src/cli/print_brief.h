/* print_brief.h - a brief on the terminal. Private to this floor. */
#ifndef LW_CLI_PRINT_BRIEF_H
#define LW_CLI_PRINT_BRIEF_H

#include "cli.h"

#include "leanward/brief.h"

void print_brief(const lw_brief *brief);
void print_brief_year(const lw_brief_year *year);

#endif
