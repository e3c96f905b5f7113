/* cli_live.h - instruments for commands: descriptions opened, what is read as one line. Private to
** this floor.
*/
#ifndef LW_CLI_LIVE_H
#define LW_CLI_LIVE_H

#include "cli.h"

#include "leanward/instrument.h"

/* A log of ours or a CSV file, to be played; not a description. */
bool cli_live_is_played(const char *path);

/* The description at path; port: use this one instead of its own; NULL: its own. */
lw_status cli_live_describe(lw_arena *arena, lw_units *units, const char *path, const char *port,
                            lw_instrument **out, lw_error *error) LW_MUST_USE;

/* "settled", "wait", "does not rest", "": of the items it holds. */
const char *cli_live_state(const lw_live *live);
/* The same with how long: "wait 12 s". */
void cli_live_state_words(const lw_live *live, char *text, size_t size);
/* "  CO 1.21 %*  speed 652 rpm", what a hand at the screws looks at first, as many items as fit in
   room columns. A star: still moving; the state must not stand in color alone. */
void cli_live_items(const lw_live *live, int room, char *text, size_t size);
/* Columns of the terminal on standard output, 80 when unknown. */
int cli_live_columns(void);

/* From here on Ctrl-C, a hang-up or a request to end lets the command end in order. */
void cli_live_signals(void);
/* The source that waits meanwhile and is to be woken; NULL: none any more. */
void cli_live_watch(lw_source *source);
/* End as if asked by a signal. */
void cli_live_end(void);
bool cli_live_ended(void);

#endif
