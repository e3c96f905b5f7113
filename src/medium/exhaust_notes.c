/* exhaust_notes.c - what a set of readings says beyond its numbers, in words for the bay.
**
** Every note states what was seen, what can be behind it and how to tell. Thresholds that are ours
** are named here once.
*/
#include "exhaust_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Ours: evenly fed cylinders of a carbureted engine stay under this spread of lambda. */
static const double even_spread = 0.11;
/* Ours: misfire worth naming, share of the charge. */
static const double misfire_floor = 0.015;
/* Ours: HC of a rich mixture worth a word, as hexane. */
static const double rich_hc_floor = 400e-6;
/* Closure of a good set is within this beside the analyzer's errors: water-gas ratio, drying. */
static const double closure_model = 0.004;

static void note(lw_exhaust *out, lw_note_code code, lw_weight weight, const char *text) {
  if (out->note_count == LW_NOTES_MOST) return;
  lw_note *n = &out->notes[out->note_count++];
  n->code = code;
  n->weight = weight;
  snprintf(n->text, sizeof n->text, "%s", text);
}

static void list_missing(const lw_exhaust *out, char *list, size_t size) {
  const double missing[] = {out->missing.co, out->missing.co2, out->missing.hc, out->missing.o2};
  static const char *const names[] = {"CO", "CO2", "HC", "O2"};
  int left = 0;
  for (int i = 0; i < 4; i++)
    left += missing[i] > 0;
  list[0] = '\0';
  for (int i = 0; i < 4; i++) {
    if (!(missing[i] > 0)) continue;
    left--;
    lw_text_append(list, size, list[0] ? left ? ", %s" : " and %s" : "%s", names[i]);
  }
}

static void note_fewer(lw_exhaust *out) {
  if (out->source != LW_LAMBDA_INFERRED) return;
  char text[320], missing[40];
  list_missing(out, missing, sizeof missing);
  double now = LW_COVERAGE * out->lambda.u, all = LW_COVERAGE * out->u_all; /* as in the tables */
  char band[24], full[24];
  snprintf(text, sizeof text,
           "%s not read: lambda leans on how engines usually burn, and on no outside air at the "
           "probe; it is known to about +-%s",
           missing, lw_text_value(band, sizeof band, now, now / 2, 3));
  if (lw_known(all) && all < 0.9 * now) {
    lw_text_append(text, sizeof text, "; with all four gases it would be about +-%s",
                   lw_text_value(full, sizeof full, all, all / 2, 3));
  }
  note(out, LW_NOTE_FEWER_GASES, LW_DOUBT, text);
  if (out->lean_open) {
    note(out, LW_NOTE_LEAN_OPEN, LW_DOUBT,
         "so little CO is left on every mixture from about stoichiometric to the lean limit: read "
         "O2 "
         "or CO2 to tell how lean it is");
  }
}

static bool note_air(const lw_sample *s, lw_exhaust *out) {
  bool air = s->x.o2 > 0.19 && !(s->x.co + s->x.co2 > 0.02);
  if (air) {
    note(out, LW_NOTE_AIR_ONLY, LW_ALARM,
         "this is almost plain air: the engine is not running, or the probe or its line is open");
  } else if (out->void_sample) {
    note(out, LW_NOTE_VOID, LW_ALARM,
         "CO and CO2 together are under 6 %: too much air in the sample for any verdict (40 CFR "
         "85.2213); find the leak in the exhaust or the sample line, or the cylinders that do not "
         "fire");
  }
  return air;
}

/* The one gas whose change would make the sum come out, and its needed value. */
static void closure_words(const lw_sample *s, const lw_exhaust *out, char *text, size_t size) {
  static const char *const names[] = {"CO2", "O2", "CO"};
  const double at[] = {s->x.co2, s->x.o2, s->x.co};
  /* d(sum)/d(gas) of a CH1.85 fuel: burned carbon carries its own nitrogen (burn.c) */
  const double slope[] = {6.5, 4.8, 4.8};
  bool any = false;
  for (int i = 0; i < 3; i++) {
    double want = at[i] - out->closure.x / slope[i];
    if (want < 0 || want > 0.209) continue;
    lw_text_append(text, size, any ? ", or %s %.1f %%" : "if %s were %.1f %%", names[i],
                   want * 100);
    any = true;
  }
  lw_text_append(text, size, any ? "" : "on no change of a single gas");
}

static void note_closure(const lw_sample *s, lw_exhaust *out) {
  double u = hypot(out->closure.u, closure_model);
  if (out->source != LW_LAMBDA_BALANCE || fabs(out->closure.x) <= LW_COVERAGE * u) return;
  double dried = (1 + out->closure.x) / (1 - out->water) - 1;
  if (!s->wet && out->closure.x < -0.05 && fabs(dried) <= LW_COVERAGE * u) {
    note(out, LW_NOTE_WET, LW_DOUBT,
         "the gases would fit together if the sample was not dried: look at the cooler and the "
         "water trap, or say that this analyzer measures wet gas. If it was dried, one gas is "
         "misread or mistyped: look at the least one first");
    return;
  }
  char text[320];
  snprintf(text, sizeof text,
           "these gases do not fit together (they add up to %.1f %%, expected 100 "
           "+-%.1f %%): they would ",
           100 * (1 + out->closure.x), 100 * LW_COVERAGE * u);
  closure_words(s, out, text, sizeof text);
  lw_text_append(
      text, sizeof text,
      ". An air leak cannot do this; check the calibration and the fuel named in the job");
  note(out, LW_NOTE_CLOSURE, LW_DOUBT, text);
}

static void note_dilution(const lw_sample *s, lw_exhaust *out) {
  if (out->void_sample || out->source != LW_LAMBDA_BALANCE) return;
  bool uneven = out->spread.x - LW_COVERAGE * out->spread.u > even_spread;
  char text[320];
  if (uneven && s->x.co > 0.003) {
    snprintf(
        text, sizeof text,
        "CO %.1f %% stands beside O2 %.1f %%: either up to %.0f %% of the sample is outside air "
        "(the engine itself then runs at lambda %.2f), or cylinders or barrels are fed unevenly. "
        "Seal the probe and the exhaust joints and read again; if O2 stays, balance the unit",
        100 * s->x.co, 100 * s->x.o2, 100 * out->air_share, out->lambda_inside);
    note(out, LW_NOTE_DILUTED, LW_DOUBT, text);
  } else if (s->x.co <= 0.005 && out->lambda.x - LW_COVERAGE * out->lambda.u > 1.03) {
    snprintf(text, sizeof text,
             "a lean mixture and outside air at the probe look alike in these gases: lambda inside "
             "the engine may lie anywhere from %.2f to %.2f. Make sure the exhaust is tight",
             fmin(out->lambda_inside, 1.0), out->lambda.x);
    note(out, LW_NOTE_LEAN_OR_LEAK, LW_REMARK, text);
  }
}

/* HC of charge that did not burn comes with the oxygen it did not use; HC of a rich mixture does
   not. */
static void note_misfire(const lw_sample *s, lw_exhaust *out) {
  char text[320];
  double ppm = 1e6 * out->filled.hc, lambda = lw_known(out->lambda.x) ? out->lambda.x : 1;
  if (!lw_known(out->misfire.x) || out->void_sample) return;
  if (out->misfire.x <= misfire_floor) {
    if (!(ppm > rich_hc_floor * 1e6) || lambda > 0.9) return;
    snprintf(text, sizeof text,
             "HC %.0f ppm is what a mixture this rich leaves: lean it before suspecting ignition",
             ppm);
    note(out, LW_NOTE_RICH_HC, LW_REMARK, text);
    return;
  }
  double its_oxygen = lw_sample_carbon(s) * lambda * lw_fuel_oxygen(&s->fuel);
  double u_o2 = lw_known(s->u.o2) ? s->u.o2 : 0;
  bool oxygen_lacks = lw_known(s->x.o2) && s->x.o2 + LW_COVERAGE * u_o2 < 0.6 * its_oxygen;
  double lo = 100 * fmax(out->misfire.x - 2 * out->misfire.u, 0);
  double hi = 100 * (out->misfire.x + 2 * out->misfire.u);
  const char *next =
      oxygen_lacks
          ? "The oxygen that goes with it is missing: check the HC channel for hang-up first"
      : lambda > 1.1
          ? "With this mixture a lean misfire is the first suspect: look for an air leak"
          : "Look for a cylinder that does not fire (plug, cable, valve) before touching "
            "the screws";
  snprintf(text, sizeof text,
           "HC %.0f ppm: about %.0f to %.0f %% of the charge leaves unburned. %s", ppm, lo, hi,
           next);
  note(out, LW_NOTE_MISFIRE, LW_ALARM, text);
}

static void note_corrected(lw_exhaust *out) {
  if (!out->co_is_corrected || out->void_sample || out->filled.co < 0.001) return;
  char text[200];
  snprintf(text, sizeof text,
           "corrected for dilution (CO and CO2 together under 15 %%), CO is %.2f %%",
           100 * out->co_corrected.x);
  note(out, LW_NOTE_CO_CORRECTED, LW_REMARK, text);
}

void lw_exhaust_notes(const lw_sample *sample, lw_exhaust *out) {
  if (note_air(sample, out)) return;
  note_closure(sample, out);
  note_dilution(sample, out);
  note_misfire(sample, out);
  note_corrected(out);
  note_fewer(out);
}
