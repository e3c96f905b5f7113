/* soon.c - temporary: commands that other files will define. Remove when they have. */
#include "cli.h"
__attribute__((weak)) int cmd_gas(int argc, char **argv) {
  (void)argc;
  return cli_usage(argv[0], "not there yet");
}
__attribute__((weak)) int cmd_jobs(int argc, char **argv) {
  (void)argc;
  return cli_usage(argv[0], "not there yet");
}
__attribute__((weak)) lw_status lw_sheet_write(const lw_work *work, const char *path,
                                               const char *paper, lw_error *error) {
  (void)work, (void)path, (void)paper;
  return lw_fail(error, LW_IO, "not there yet");
}
