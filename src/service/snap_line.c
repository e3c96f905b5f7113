/* snap_line.c - the throttle opened quickly, in one line: for the terminal, the sheet and the JSON. */
#include "leanward/service.h"

#include <math.h>
#include <string.h>

/* "tip-in at 1,500 rpm", with the word the shop gave it before it. */
static void add_name(char *buffer, size_t size, const lw_snap_reading *s) {
  const char *kind = lw_snap_kind_text(s->kind);
  char speed[48];
  bool labeled = s->label && !lw_text_same(s->label, kind);
  if (labeled) lw_text_append(buffer, size, "%s", s->label);
  if (labeled && s->kind <= LW_SNAP_NEUTRAL) return;
  lw_text_append(buffer, size, "%s%s", labeled ? ", " : "", kind);
  if (!lw_known(s->speed)) return;
  lw_quantity_text(speed, sizeof speed, LW_SPIN, LW_SHOP, s->speed, LW_NONE);
  lw_text_append(buffer, size, " at %s", speed);
}

/* A percentage off a moving display: a tenth is all it tells, but near nothing. */
static int decimals(double fraction) {
  return fraction < 0.001 ? 2 : 1;
}

static void add_co(char *buffer, size_t size, const lw_snap_reading *s, const char **between) {
  double lo = s->co_least, hi = s->co_most;
  if (!lw_known(lo) && !lw_known(hi)) return;
  lw_text_append(buffer, size, "%sCO ", *between);
  if (lw_known(lo) && lw_known(hi)) {
    lw_text_append(buffer, size, "%.*f to %.*f %%", decimals(lo), 100 * lo, decimals(hi), 100 * hi);
  } else {
    double x = lw_known(lo) ? lo : hi;
    lw_text_append(buffer, size, "%s %.*f %%", lw_known(lo) ? "from" : "to", decimals(x), 100 * x);
  }
  *between = ", ";
}

static void add_most(char *buffer, size_t size, const char *name, lw_dim dim, double x,
                     const char **between) {
  char text[48];
  if (!lw_known(x)) return;
  lw_quantity_text(text, sizeof text, dim, LW_SHOP, x, LW_NONE);
  lw_text_append(buffer, size, "%s%s to %s", *between, name, text);
  *between = ", ";
}

static void add_gases(char *buffer, size_t size, const lw_snap_reading *s, const char **between) {
  static const char *const counted[] = {"", "", " as propane", " as C1"};
  add_co(buffer, size, s, between);
  add_most(buffer, size, "HC", LW_PPM, s->hc_most.x, between);
  if (lw_known(s->hc_most.x)) lw_text_append(buffer, size, "%s", counted[s->hc_most.basis]);
  if (!lw_known(s->o2_most)) return;
  lw_text_append(buffer, size, "%sO2 to %.*f %%", *between, decimals(s->o2_most), 100 * s->o2_most);
  *between = ", ";
}

const char *lw_snap_line(char *buffer, size_t size, const lw_snap_reading *s) {
  const char *between = ": ";
  if (size) buffer[0] = '\0';
  add_name(buffer, size, s);
  add_gases(buffer, size, s, &between);
  add_most(buffer, size, "vacuum", LW_PRESSURE, s->vacuum_most, &between);
  add_most(buffer, size, "speed", LW_SPIN, s->speed_most, &between);
  bool read = between[0] == ',';
  if (s->felt) lw_text_append(buffer, size, "%s%s", read ? "; " : ": ", lw_felt_text(s->felt));
  if (!read && !s->felt) lw_text_append(buffer, size, ": nothing read");
  if (s->note) lw_text_append(buffer, size, "; %s", s->note);
  return buffer;
}
