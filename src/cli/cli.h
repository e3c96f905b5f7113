/* cli.h - what the commands share. Private to this floor. */
#ifndef LW_CLI_H
#define LW_CLI_H

#include "leanward/record.h"

#include <stdio.h>

/* Exit codes (docs/leanward.1). */
enum { CLI_DONE = 0, CLI_OUTSIDE = 1, CLI_COULD_NOT = 2 };

/* Each command is given its own argv, argv[0] being its name, and returns an exit code. */
int cmd_job(int argc, char **argv);
int cmd_gas(int argc, char **argv);
int cmd_card(int argc, char **argv);
int cmd_jobs(int argc, char **argv);
int cmd_limits(int argc, char **argv);
int cmd_map(int argc, char **argv);
int cmd_try(int argc, char **argv);
int cmd_idle(int argc, char **argv);
int cmd_causes(int argc, char **argv);
int cmd_watch(int argc, char **argv);
int cmd_drive(int argc, char **argv);
int cmd_rejet(int argc, char **argv);
int cmd_brief(int argc, char **argv);
int cmd_listen(int argc, char **argv);
int cmd_practice(int argc, char **argv);
int cmd_serve(int argc, char **argv);
int cmd_spread(int argc, char **argv);

/* `idle JOB`: whether this file is a job, and the next move of it. */
bool cmd_idle_is_job(const char *path);
int cmd_idle_job(const char *path, bool json);

/* `card --complete FILE`, `card --families`. */
int cmd_complete(const char *path, bool json);
int cmd_families(void);

/* `card --draw OUT`: asked for by these arguments; then done with them. */
bool cmd_draw_asked(int argc, char **argv);
int cmd_draw(int argc, char **argv);

/* Print "leanward COMMAND: LINE" on standard error and return CLI_COULD_NOT. */
int cli_fail(const char *command, const lw_error *error);
/* The same for a wrong option or argument, with a pointer to --help. */
int cli_usage(const char *command, const char *format, ...) LW_PRINTF(2, 3);

/* True when this stream may carry color: a terminal, NO_COLOR unset, TERM not dumb. */
bool cli_color(FILE *stream);

typedef enum cli_style { CLI_PLAIN, CLI_STRONG, CLI_GOOD, CLI_BAD, CLI_DOUBT, CLI_FAINT } cli_style;
/* Print text in a style where color is allowed. Color never carries meaning alone. */
void cli_styled(FILE *stream, cli_style style, const char *text);
/* Print text wrapped at the terminal's width (80 when unknown), indent columns in; the first line
   starts where the cursor is (column start). */
void cli_wrapped(FILE *stream, int start, int indent, const char *text);

/* Flush and close standard output; CLI_COULD_NOT with one line when that failed (full disk). */
int cli_finish(const char *command, int code);

#endif
