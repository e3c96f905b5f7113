/* limits.c - public limits that a job can be held to, each with where it stands.
**
** `standing` says how the figure came here: read in the rule or its transposition, read in a
** secondary text, or from memory. Years are model years; where a rule counts from a day within a
** year, the year before that day is the last of the older row. A local rule always comes first.
*/
#include "service_internal.h"

#include <math.h>

#define IN3(x)  ((x)*16.387064e-6)
#define ANY     NAN, NAN
#define EVER    9999
#define PERCENT 1e-2
#define PPM     1e-6
#define AT_MOST(x)                                                                                 \
  { NAN, NAN, x }

static const lw_public_limit rows[] = {
    /* 45 CFR part 85, 31 FR 5170 (30 March 1966): seven-mode composite */
    {"us federal cycle", "first federal exhaust standard, seven-mode composite",
     "45 CFR part 85, 31 FR 5170 (1966), 50 to 100 cu in", "read in a secondary text", 1968, 1969,
     IN3(50), IN3(100), LW_GAS_HC, LW_AT_CYCLE, AT_MOST(410 * PPM)},
    {"us federal cycle", "first federal exhaust standard, seven-mode composite",
     "45 CFR part 85, 31 FR 5170 (1966), 50 to 100 cu in", "read in a secondary text", 1968, 1969,
     IN3(50), IN3(100), LW_GAS_CO, LW_AT_CYCLE, AT_MOST(2.3 * PERCENT)},
    {"us federal cycle", "first federal exhaust standard, seven-mode composite",
     "45 CFR part 85, 31 FR 5170 (1966), over 100 to 140 cu in", "read in a secondary text", 1968,
     1969, IN3(100), IN3(140), LW_GAS_HC, LW_AT_CYCLE, AT_MOST(350 * PPM)},
    {"us federal cycle", "first federal exhaust standard, seven-mode composite",
     "45 CFR part 85, 31 FR 5170 (1966), over 100 to 140 cu in", "read in a secondary text", 1968,
     1969, IN3(100), IN3(140), LW_GAS_CO, LW_AT_CYCLE, AT_MOST(2.0 * PERCENT)},
    {"us federal cycle", "first federal exhaust standard, seven-mode composite",
     "45 CFR part 85, 31 FR 5170 (1966), over 140 cu in", "read in a secondary text", 1968, 1969,
     IN3(140), NAN, LW_GAS_HC, LW_AT_CYCLE, AT_MOST(275 * PPM)},
    {"us federal cycle", "first federal exhaust standard, seven-mode composite",
     "45 CFR part 85, 31 FR 5170 (1966), over 140 cu in", "read in a secondary text", 1968, 1969,
     IN3(140), NAN, LW_GAS_CO, LW_AT_CYCLE, AT_MOST(1.5 * PERCENT)},
    /* California Motor Vehicle Pollution Control Board, 1966 model year */
    {"california cycle", "California seven-mode composite, first years",
     "California Motor Vehicle Pollution Control Board, 1966, over 140 cu in",
     "read in a secondary text", 1966, 1969, IN3(140), NAN, LW_GAS_HC, LW_AT_CYCLE,
     AT_MOST(275 * PPM)},
    {"california cycle", "California seven-mode composite, first years",
     "California Motor Vehicle Pollution Control Board, 1966, over 140 cu in",
     "read in a secondary text", 1966, 1969, IN3(140), NAN, LW_GAS_CO, LW_AT_CYCLE,
     AT_MOST(1.5 * PERCENT)},
    /* 40 CFR 85.2203(a),(c) (58 FR 58401) */
    {"us short test", "idle test of 1981 and later light vehicles", "40 CFR 85.2203(a), (c)",
     "read", 1981, EVER, ANY, LW_GAS_HC, LW_AT_IDLE, AT_MOST(220 * PPM)},
    {"us short test", "idle test of 1981 and later light vehicles", "40 CFR 85.2203(a), (c)",
     "read", 1981, EVER, ANY, LW_GAS_CO, LW_AT_IDLE, AT_MOST(1.2 * PERCENT)},
    /* Directive 2000/30/EC as transposed by the French order of 9 August 2002, annex II 2.1 */
    {"european idle", "roadworthiness, no catalyst",
     "Directive 2000/30/EC (first used up to 1 October 1986)", "read", 0, 1986, ANY, LW_GAS_CO,
     LW_AT_IDLE, AT_MOST(4.5 * PERCENT)},
    {"european idle", "roadworthiness, no catalyst",
     "Directive 2000/30/EC (first used after 1 October 1986)", "read", 1987, EVER, ANY, LW_GAS_CO,
     LW_AT_IDLE, AT_MOST(3.5 * PERCENT)},
    {"european idle, catalyst", "roadworthiness, controlled catalyst", "Directive 2000/30/EC",
     "read", 0, 2002, ANY, LW_GAS_CO, LW_AT_IDLE, AT_MOST(0.5 * PERCENT)},
    {"european idle, catalyst", "roadworthiness, controlled catalyst", "Directive 2000/30/EC",
     "read", 0, 2002, ANY, LW_GAS_CO, LW_AT_FAST_IDLE, AT_MOST(0.3 * PERCENT)},
    {"european idle, catalyst",
     "roadworthiness, controlled catalyst",
     "Directive 2000/30/EC",
     "read",
     0,
     EVER,
     ANY,
     LW_GAS_UNSAID,
     LW_AT_FAST_IDLE,
     {0.97, 1.0, 1.03}},
    {"european idle, catalyst", "roadworthiness, controlled catalyst",
     "Directive 2000/30/EC (registered after 1 July 2002)", "read in a secondary text", 2003, EVER,
     ANY, LW_GAS_CO, LW_AT_IDLE, AT_MOST(0.3 * PERCENT)},
    {"european idle, catalyst", "roadworthiness, controlled catalyst",
     "Directive 2000/30/EC (registered after 1 July 2002)", "read in a secondary text", 2003, EVER,
     ANY, LW_GAS_CO, LW_AT_FAST_IDLE, AT_MOST(0.2 * PERCENT)},
    /* inspection manual; CO also SI 2001/25 Sch. 3 and the 1986 regulations Sch. 7B */
    {"british idle", "roadworthiness, no catalyst",
     "inspection manual (first used from 1 August 1975)", "read in a secondary text", 1976, 1986,
     ANY, LW_GAS_CO, LW_AT_IDLE, AT_MOST(4.5 * PERCENT)},
    {"british idle", "roadworthiness, no catalyst",
     "inspection manual (first used from 1 August 1986)", "read in a secondary text", 1987, EVER,
     ANY, LW_GAS_CO, LW_AT_IDLE, AT_MOST(3.5 * PERCENT)},
    {"british idle", "roadworthiness, no catalyst",
     "inspection manual (first used from 1 August 1975)", "read in a secondary text", 1976, EVER,
     ANY, LW_GAS_HC, LW_AT_IDLE, AT_MOST(1200 * PPM)},
    /* StVZO Anlage XI, version up to April 2006 */
    {"german idle", "idle test, no catalyst (a reading to 4.5 % was accepted for the instrument)",
     "StVZO Anlage XI (to 2006)", "read", 0, EVER, ANY, LW_GAS_CO, LW_AT_IDLE,
     AT_MOST(3.5 * PERCENT)},
    /* order of 26 February 1976 */
    {"french idle", "idle test of 1976", "order of 26 February 1976", "read", 0, EVER, ANY,
     LW_GAS_CO, LW_AT_IDLE, AT_MOST(4.5 * PERCENT)},
    /* Central Motor Vehicles Rules 1989, rule 115(2), four-wheelers other than the newer class */
    {"indian idle", "idle test, four-wheelers", "Central Motor Vehicles Rules 1989, rule 115(2)",
     "read", 0, EVER, ANY, LW_GAS_CO, LW_AT_IDLE, AT_MOST(3.0 * PERCENT)},
    {"indian idle", "idle test, four-wheelers", "Central Motor Vehicles Rules 1989, rule 115(2)",
     "read", 0, EVER, ANY, LW_GAS_HC, LW_AT_IDLE, AT_MOST(1500 * PPM)},
};

const lw_public_limit *lw_public_limits(size_t *count) {
  *count = sizeof rows / sizeof rows[0];
  return rows;
}

size_t lw_public_sets(const char **names, size_t most) {
  size_t found = 0;
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    if (i && lw_text_same(rows[i].set, rows[i - 1].set)) continue;
    if (found < most) names[found] = rows[i].set;
    found++;
  }
  return found;
}
