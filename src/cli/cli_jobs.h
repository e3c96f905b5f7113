/* cli_jobs.h - the list that `leanward jobs` prints. Private to this floor. */
#ifndef LW_CLI_JOBS_H
#define LW_CLI_JOBS_H

#include "leanward/record.h"

/* Print the list as a table or as JSON; an exit code. store NULL: there is none yet. */
int cli_jobs_list(lw_store *store, const char *path, const char *search, bool every_run,
                  bool as_json);

#endif
