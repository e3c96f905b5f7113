/* causes_rows.c - the causes as rows, and how likely what was found beside the gases is under each.
**
** Rows hold each cause's prior (how often it is met among cars brought for an idle that will not
** set; ours) and the sizes it is tried in, smallest first. A cause that a unit cannot have is
** refused by the what-if and drops out; a size that no reading shows is passed over.
*/
#include "causes_internal.h"

#include <math.h>

static const char *const names[] = {
#define NAME_OF(id, name) name,
    LW_CAUSE_LIST(NAME_OF)
#undef NAME_OF
};

const char *lw_cause_text(lw_cause_id cause) {
  return cause < LW_CAUSES ? names[cause] : "cause";
}

/* @ is the size, # the cylinder. */
static const cause_row rows[] = {
    {LW_CAUSE_NONE, 0.20, NULL, NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_VACUUM_LEAK, 0.09, "vacuum leak=@ mm", NULL, NULL, {1.4, 2, 2.7, 3.4, 4.2}, 5, "mm"},
    {LW_CAUSE_PORT_LEAK,
     0.05,
     "vacuum leak=@ mm",
     "leak at cylinder=#",
     NULL,
     {1.1, 1.6, 2.2, 2.8, 3.4},
     5,
     "mm"},
    {LW_CAUSE_POWER_LEAK, 0.03, "power valve=leaking", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_POWER_LEAK, 0.02, "power valve=stuck open", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_POWER_SHUT, 0.01, "power valve=stuck shut", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_FLOAT_HIGH, 0.04, "float level=+@ mm", NULL, NULL, {2.2, 3.3, 4.5}, 3, "mm"},
    {LW_CAUSE_FLOAT_LOW, 0.03, "float level=-@ mm", NULL, NULL, {3, 5, 7}, 3, "mm"},
    {LW_CAUSE_IDLE_FEED, 0.02, "idle feed=clogged @ %", NULL, NULL, {20, 35, 55, 80}, 4, "%"},
    {LW_CAUSE_IDLE_FEED,
     0.015,
     "left idle feed=clogged @ %",
     NULL,
     "left",
     {25, 45, 70, 95},
     4,
     "%"},
    {LW_CAUSE_IDLE_FEED,
     0.015,
     "right idle feed=clogged @ %",
     NULL,
     "right",
     {25, 45, 70, 95},
     4,
     "%"},
    {LW_CAUSE_IDLE_BLEED, 0.02, "idle bleed=clogged @ %", NULL, NULL, {20, 40, 60, 90}, 4, "%"},
    {LW_CAUSE_IDLE_BLEED,
     0.01,
     "left idle bleed=clogged @ %",
     NULL,
     "left",
     {20, 40, 65, 95},
     4,
     "%"},
    {LW_CAUSE_IDLE_BLEED,
     0.01,
     "right idle bleed=clogged @ %",
     NULL,
     "right",
     {20, 40, 65, 95},
     4,
     "%"},
    {LW_CAUSE_MAIN_RICH, 0.02, "main jet=worn @ %", NULL, NULL, {4.5, 7, 10}, 3, "%"},
    {LW_CAUSE_MAIN_LEAN, 0.02, "main jet=clogged @ %", NULL, NULL, {12, 19, 28}, 3, "%"},
    {LW_CAUSE_MAIN_BLEED, 0.03, "main bleed=clogged @ %", NULL, NULL, {45, 70, 92}, 3, "%"},
    {LW_CAUSE_SHAFT, 0.03, "shaft wear=@ mm", NULL, NULL, {0.15, 0.25, 0.4}, 3, "mm"},
    {LW_CAUSE_CHOKE, 0.04, "choke=@ %", NULL, NULL, {48, 56, 64, 72, 80}, 5, "%"},
    {LW_CAUSE_CLEANER, 0.02, "air cleaner=clogged @ %", NULL, NULL, {74, 84, 92}, 3, "%"},
    {LW_CAUSE_SECONDARY,
     0.02,
     "secondary=stuck open @ deg",
     NULL,
     NULL,
     {1.2, 2, 2.8, 3.6, 4.4, 5.2},
     6,
     "deg"},
    {LW_CAUSE_CHECK_VALVE, 0.02, "check valve=stuck open", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_TIMING_LATE, 0.04, "timing=-@ deg", NULL, NULL, {4.5, 8, 13}, 3, "deg"},
    {LW_CAUSE_TIMING_EARLY, 0.03, "timing=+@ deg", NULL, NULL, {4.5, 8, 13}, 3, "deg"},
    {LW_CAUSE_ADVANCE, 0.02, "centrifugal advance=stuck", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_VALVE_SET, 0.02, "vacuum advance=manifold", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_VALVE_SET, 0.01, NULL, NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_PUMP, 0.01, "accelerator pump=disconnected", NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_PUMP,
     0.01,
     "accelerator pump=weak @ %",
     NULL,
     NULL,
     {8, 16, 28},
     3,
     "% of its stroke"},
    {LW_CAUSE_AIR_VALVE,
     0.006,
     "air valve spring=+@ turns",
     NULL,
     "too tight",
     {0.6, 1.2, 2},
     3,
     "turns"},
    {LW_CAUSE_AIR_VALVE,
     0.006,
     "air valve spring=@ turns",
     NULL,
     "too loose",
     {-1.6, -1, -0.5}, /* less is looser */
     3,
     "turns"},
    {LW_CAUSE_UNIT, 0.02, NULL, NULL, NULL, {0}, 1, NULL},
    {LW_CAUSE_WEAK, 0.03, "cylinder=# compression @ %", NULL, NULL, {45, 60, 70, 78}, 4, "%"},
    {LW_CAUSE_MISFIRE, 0.05, "cylinder=# spark @ %", NULL, NULL, {0, 12, 24, 36}, 4, "%"},
    {LW_CAUSE_SAMPLE_AIR, 0.05, "exhaust leak=@ %", NULL, NULL, {4, 7, 12, 20}, 4, "%"},
    {LW_CAUSE_ANALYZER, 0.015, NULL, NULL, NULL, {0.72, 0.79, 0.87}, 3, NULL},
    {LW_CAUSE_ANALYZER, 0.015, NULL, NULL, NULL, {1.13, 1.21, 1.3}, 3, NULL},
    {LW_CAUSE_FUEL, 0.01, "fuel=E@", NULL, NULL, {8, 15}, 2, NULL},
};
enum { ROWS = sizeof rows / sizeof rows[0] };

const cause_row *lw_cause_rows(size_t *count) {
  *count = ROWS;
  return rows;
}

double lw_cause_prior(lw_cause_id id) {
  double sum = id == LW_CAUSE_SCREWS       ? 0.20
               : id == LW_CAUSE_UNBALANCED ? 0.08
               : id == LW_CAUSE_OTHER      ? 0.05
                                           : 0;
  for (size_t i = 0; i < ROWS; i++)
    sum += rows[i].id == id ? rows[i].prior : 0;
  return sum;
}

bool lw_cause_may(const lw_test_car *car, const cause_row *row) {
  bool valve = car->engine->spark.source == LW_VACUUM_VALVE;
  return row->id != LW_CAUSE_VALVE_SET || !row->edit || valve;
}

/* ---- findings ---- */

static double normal(double x, double mean, double sd) {
  double e = (x - mean) / sd;
  return -0.5 * e * e - log(sd * 2.5066282746310002);
}

bool lw_cause_leaks(lw_cause_id id) {
  return id == LW_CAUSE_VACUUM_LEAK || id == LW_CAUSE_PORT_LEAK;
}

bool lw_cause_moves(lw_cause_id id) {
  return id == LW_CAUSE_PUMP || id == LW_CAUSE_AIR_VALVE;
}

/* Logarithm of the probability of what was found beside the gases, under a cause of a size. How
   often each finding is made is ours (docs/causes.md). */
double lw_cause_findings(const lw_findings *f, lw_cause_id id, double size, double initial) {
  const double degree = 0.017453292519943295;
  double sum = 0;
  if (lw_known(f->timing)) {
    double off = id == LW_CAUSE_TIMING_LATE ? -size : id == LW_CAUSE_TIMING_EARLY ? size : 0;
    sum += normal(f->timing / degree, initial / degree + off, 1.6);
  }
  if (lw_known(f->weakest)) {
    double share = id == LW_CAUSE_WEAK ? size / 100 : 0.94;
    sum += normal(fmin(f->weakest, 1), share, id == LW_CAUSE_WEAK ? 0.06 : 0.04);
  }
  if (f->leak_test == LW_LEAK_FOUND || f->leak_test == LW_LEAK_NONE) {
    double found = lw_cause_leaks(id) ? 0.9 : id == LW_CAUSE_SHAFT ? 0.5 : 0.03;
    sum += log(f->leak_test == LW_LEAK_FOUND ? found : 1 - found);
  }
  if (f->choke != LW_CHOKE_UNSAID) {
    double shut = id == LW_CAUSE_CHOKE ? 0.92 : 0.02;
    sum += log(f->choke == LW_CHOKE_OPEN ? 1 - shut : shut);
  }
  if (f->needle != LW_NEEDLE_UNSAID) {
    bool one = id == LW_CAUSE_WEAK || id == LW_CAUSE_MISFIRE, port = id == LW_CAUSE_PORT_LEAK;
    double steady = one ? 0.1 : port ? 0.4 : 0.75;
    double regular = one ? 0.6 : port ? 0.25 : 0.05;
    sum += log(f->needle == LW_NEEDLE_STEADY         ? steady
               : f->needle == LW_NEEDLE_REGULAR_DROP ? regular
                                                     : (1 - steady - regular) / 3);
  }
  if (lw_known(f->fuel_high)) {
    double mm = 1e3 * f->fuel_high;
    double is = id == LW_CAUSE_FLOAT_HIGH ? size : id == LW_CAUSE_FLOAT_LOW ? -size : 0;
    sum += normal(mm, is, 1.0);
  }
  if (f->advance != LW_FIT_UNKNOWN) {
    double wrong = id == LW_CAUSE_ADVANCE ? 0.93 : 0.04;
    sum += log(f->advance == LW_NOT_FIT ? wrong : 1 - wrong);
  }
  if (f->shot != LW_SHOT_UNSAID) {
    double strong = id == LW_CAUSE_PUMP ? 0.07 : 0.95;
    sum += log(f->shot == LW_SHOT_STRONG ? strong : 0.5 * (1 - strong));
  }
  if (lw_known(f->air_valve)) /* counted from slack, to a quarter turn */
    sum += normal(f->air_valve, id == LW_CAUSE_AIR_VALVE ? size : 0, 0.25);
  if (lw_known(f->fall_time)) {
    bool slow = id == LW_CAUSE_VALVE_SET;
    sum += normal(log(fmax(f->fall_time, 0.05)), slow ? log(5) : log(1.3), slow ? 0.5 : 0.45);
  }
  return sum;
}

lw_findings lw_findings_none(void) {
  return (lw_findings){.timing = LW_NONE,
                       .weakest = LW_NONE,
                       .fall_time = LW_NONE,
                       .fuel_high = LW_NONE,
                       .air_valve = LW_NONE,
                       .left_alone = LW_NONE};
}
