/* main.c - one command each. */
#include "cli.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>

static const struct {
  const char *name;
  int (*run)(int argc, char **argv);
  const char *what;
} commands[] = {
    {"job", cmd_job, "work a job file: intake, fit to adjust, exhaust, next move, verdict, sheet"},
    {"gas", cmd_gas, "work one exhaust reading, or a stream of them in CSV"},
    {"card", cmd_card, "check a spec card and print its sizes in both unit systems"},
    {"map", cmd_map, "run a card's twin: air-fuel ratio over throttle and speed, or air flow"},
    {"try", cmd_try, "what a change does to the mixture over the whole range"},
    {"rejet", cmd_rejet, "which jets, rods, bleeds, screws bring the mixture back after a change"},
    {"spread", cmd_spread,
     "what tolerances do: which units idle, which can be set by their screws"},
    {"idle", cmd_idle, "the next move at the idle screws; how an engine idles with each turned"},
    {"causes", cmd_causes, "what is wrong, how that is known, and which test would tell more"},
    {"watch", cmd_watch, "what the needles do while the throttle moves"},
    {"drive", cmd_drive, "drive a speed schedule: emissions by mode, grams a mile, fuel"},
    {"listen", cmd_listen, "readings from instruments as they come, or out of a log again"},
    {"brief", cmd_brief, "what changed between two units or model years, and what it does"},
    {"practice", cmd_practice, "a car that idles in real time and speaks as an instrument"},
    {"jobs", cmd_jobs, "list, search, show, export and import the jobs that were saved"},
    {"serve", cmd_serve, "open the saved jobs in a browser, here or on paired devices"},
    {"limits", cmd_limits, "list the public limits a job can be held to"},
};

static void help(FILE *to) {
  fputs("Usage: leanward COMMAND [OPTION]... [FILE]...\n"
        "A service bench for carbureted engines: from the readings a shop can take to the\n"
        "setting, the verdict and the handover sheet.\n\nCommands:\n",
        to);
  for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
    fprintf(to, "  %-8s%s\n", commands[i].name, commands[i].what);
  }
  fputs("\n  --help     this text; `leanward COMMAND --help` for a command\n"
        "  --version  the version\n\n"
        "Exit status: 0 done and within, 1 done and outside or not fit, 2 could not.\n",
        to);
}

int main(int argc, char **argv) {
  /* a reader that goes away ends the output with an error message, not with a signal */
  signal(SIGPIPE, SIG_IGN);
  if (argc < 2) {
    help(stderr);
    return CLI_COULD_NOT;
  }
  if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0) {
    help(stdout);
    return cli_finish("--help", CLI_DONE);
  }
  if (strcmp(argv[1], "--version") == 0) {
    puts("leanward " LW_VERSION);
    return cli_finish("--version", CLI_DONE);
  }
  const char *names[sizeof commands / sizeof commands[0]];
  for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
    names[i] = commands[i].name;
    if (strcmp(argv[1], names[i]) == 0) return commands[i].run(argc - 1, argv + 1);
  }
  const char *near = lw_text_nearest(argv[1], names, sizeof names / sizeof names[0]);
  fprintf(stderr, "leanward: '%.60s' is not a command%s%s%s; `leanward --help` lists them\n",
          argv[1], near ? "; did you mean '" : "", near ? near : "", near ? "'?" : "");
  return CLI_COULD_NOT;
}
