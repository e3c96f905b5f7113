/* drive_cause.c - which circuit or device made a second the worst of its gas. */
#include "drive_internal.h"

#include <math.h>

static const double inch = 3386.389, rpm = 3.14159265358979323846 / 30;

static int largest(const lw_drive_second *s, double *share) {
  int best = LW_CIRCUIT_AIR + 1;
  double all = 0;
  for (int c = LW_CIRCUIT_AIR + 1; c < LW_CIRCUITS; c++) {
    all += fmax(s->by_circuit[c], 0);
    if (s->by_circuit[c] > s->by_circuit[best]) best = c;
  }
  *share = all > 0 ? s->by_circuit[best] / all : 0;
  return best;
}

static void say_circuit(const lw_drive_second *s, char *text, size_t size) {
  double share;
  int c = largest(s, &share);
  lw_text_append(text, size, "%s: %.0f %% of the metered fuel, lambda %.2f",
                 lw_circuit_text((lw_circuit)c), 100 * share, s->lambda);
}

/* Why there was so much fuel. */
static void say_rich(const lw_drive_second *s, char *text, size_t size) {
  double from_walls = s->fuel > 0 ? s->film / s->fuel : 0;
  if (s->choke < 0.97) {
    lw_text_append(text, size, "choke: %.0f %% open, lambda %.2f", 100 * s->choke, s->lambda);
  } else if (s->pumped > 0.15) {
    lw_text_append(text, size, "accelerator pump: %.0f %% of the fuel, lambda %.2f",
                   100 * s->pumped, s->lambda);
  } else if (from_walls > 0.15) {
    lw_text_append(text, size,
                   "fuel leaving the manifold's walls: %.0f %% of the fuel, lambda %.2f",
                   100 * from_walls, s->lambda);
  } else if (s->power > 0.2 && s->lambda < 1) {
    lw_text_append(text, size, "power enrichment: %.0f %% open at %.1f inHg, lambda %.2f",
                   100 * s->power, s->vacuum / inch, s->lambda);
  } else {
    say_circuit(s, text, size);
  }
}

static void say_misfire(const lw_drive_second *s, double idle_vacuum, char *text, size_t size) {
  double to_walls = s->fuel > 0 ? -s->film / s->fuel : 0, lost = 100 * s->misfire;
  if (s->vacuum > idle_vacuum + inch && s->engine > 900 * rpm) {
    lw_text_append(text, size,
                   "closed throttle at %.0f rpm: %.1f inHg leaves too thin a charge, %.0f %% of "
                   "cycles do not burn",
                   s->engine / rpm, s->vacuum / inch, lost);
  } else if (s->lambda > 1.1 && to_walls > 0.1) {
    lw_text_append(text, size,
                   "fuel wetting the manifold's walls: lambda %.2f, %.0f %% of cycles do not burn",
                   s->lambda, lost);
  } else if (s->lambda > 1.05) {
    lw_text_append(text, size, "lean mixture, %.0f %% of cycles do not burn; ", lost);
    say_circuit(s, text, size);
  } else {
    lw_text_append(text, size, "%.0f %% of cycles do not burn; ", lost);
    say_rich(s, text, size);
  }
}

void lw_drive_cause(const lw_drive_second *s, lw_gas_name gas, double idle_vacuum, char *text,
                    size_t size) {
  text[0] = '\0';
  if (!s->running) {
    lw_text_append(text, size, "the engine was not running by itself");
  } else if (gas == LW_GAS_NO) {
    lw_text_append(text, size, "load: %.1f inHg at %.0f rpm; ", s->vacuum / inch, s->engine / rpm);
    say_circuit(s, text, size);
  } else if (gas == LW_GAS_HC && s->misfire > 0.02) {
    say_misfire(s, idle_vacuum, text, size);
  } else {
    say_rich(s, text, size);
  }
}
