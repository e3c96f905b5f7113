/* cli_live.c - instruments for commands: descriptions opened, what is read as one line. */
#include "cli_live.h"

#include <math.h>
#include <signal.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

/* A log begins with its own words, a description with a key; anything with a comma in its first
   line and no colon before it is a table. */
bool cli_live_is_played(const char *path) {
  char text[256] = "";
  FILE *file = fopen(path, "rb");
  if (!file) return false;
  size_t n = fread(text, 1, sizeof text - 1, file);
  fclose(file);
  text[n] = '\0';
  if (strncmp(text, "leanward log ", 13) == 0) return true;
  if (text[0] == '#') return false;
  text[strcspn(text, "\r\n")] = '\0';
  return strchr(text, ',') && !strchr(text, ':');
}

lw_status cli_live_describe(lw_arena *arena, lw_units *units, const char *path, const char *port,
                            lw_instrument **out, lw_error *error) {
  const char *text = NULL;
  size_t length = 0;
  lw_status status = lw_file_read(arena, path, (size_t)64 * 1024, &text, &length, error);
  lw_bind bind = {arena, units, path};
  if (status == LW_OK) status = lw_instrument_read(&bind, text, length, out, error);
  if (status == LW_OK && port) lw_instrument_set_port(*out, port);
  return status;
}

/* ---- one line ---- */

/* Decimals worth showing, one more than a shop writes down for speed and pressures. */
static void value_text(char *text, size_t size, lw_live_item item, double x) {
  lw_dim dim = lw_live_item_dim(item);
  snprintf(text, size, "%.*f%s%s", lw_dim_decimals(dim, LW_SHOP) + (dim == LW_RATIO),
           lw_dim_shown(dim, LW_SHOP, x), dim == LW_RATIO ? "" : " ", lw_dim_unit(dim, LW_SHOP));
}

const char *cli_live_state(const lw_live *live) {
  if (live->settled) return "settled";
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (lw_known(live->x[i]) && live->state[i] == LW_SETTLE_WAIT) return "wait";
  }
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    if (lw_known(live->x[i]) && live->state[i] == LW_SETTLE_UNSTEADY) return "does not rest";
  }
  return "";
}

void cli_live_state_words(const lw_live *live, char *text, size_t size) {
  const char *state = cli_live_state(live);
  snprintf(text, size, "%s", state);
  if (strcmp(state, "wait") == 0 && live->longest_wait > 0)
    lw_text_append(text, size, " %.0f s", ceil(live->longest_wait));
}

/* A narrow terminal has no room for the rest. */
static const lw_live_item in_order[LW_LIVE_ITEMS] = {
    LW_LIVE_CO,          LW_LIVE_SPEED,           LW_LIVE_VACUUM,       LW_LIVE_HC,
    LW_LIVE_O2,          LW_LIVE_LAMBDA,          LW_LIVE_CO2,          LW_LIVE_NO,
    LW_LIVE_DISTRIBUTOR, LW_LIVE_TIMING,          LW_LIVE_DWELL,        LW_LIVE_COOLANT,
    LW_LIVE_OIL,         LW_LIVE_AIR_TEMPERATURE, LW_LIVE_AIR_PRESSURE, LW_LIVE_HUMIDITY};

void cli_live_items(const lw_live *live, int room, char *text, size_t size) {
  text[0] = '\0';
  for (int i = 0; i < LW_LIVE_ITEMS; i++) {
    char value[48], one[100];
    lw_live_item item = in_order[i];
    if (!lw_known(live->x[item])) continue;
    value_text(value, sizeof value, item, live->x[item]);
    snprintf(one, sizeof one, "  %s %s%s", lw_live_item_text(item), value,
             live->state[item] == LW_SETTLE_SETTLED ? "" : "*");
    if ((int)(strlen(text) + strlen(one)) > room) break;
    lw_text_append(text, size, "%s", one);
  }
}

int cli_live_columns(void) {
  struct winsize size = {0};
  return ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 20 ? size.ws_col : 80;
}

/* ---- an end in order ---- */

static volatile sig_atomic_t ended;
static lw_source *volatile heard; /* Ctrl-C must find the source */

static void on_signal(int number) {
  (void)number;
  ended = 1;
  if (heard) lw_source_wake(heard);
}

void cli_live_signals(void) {
  struct sigaction act = {.sa_handler = on_signal};
  sigaction(SIGINT, &act, NULL);
  sigaction(SIGTERM, &act, NULL);
  sigaction(SIGHUP, &act, NULL);
  signal(SIGXFSZ, SIG_IGN); /* a file as long as it may be is a full disk, not an end */
}

void cli_live_watch(lw_source *source) {
  heard = source;
}

void cli_live_end(void) {
  ended = 1;
}

bool cli_live_ended(void) {
  return ended != 0;
}
