/* cars.h - units and what ails them: every family, every fault of the carburetor, any setting.
**
** Shared by the benchmarks of the network and by the test of its sureness. All is drawn from a
** seed, so that a point that went wrong can be met again.
**
** Memory   in the caller's arena.
*/
#ifndef LW_BENCHMARKS_CARS_H
#define LW_BENCHMARKS_CARS_H

#include "leanward/bench.h"

/* ---- Chance --------------------------------------------------------------------------------- */

typedef struct cars_random {
  uint64_t state;
} cars_random;
double cars_between(cars_random *random, double lo, double hi);
int cars_below(cars_random *random, int count);

/* ---- Cards ---------------------------------------------------------------------------------- */

typedef struct cars_card {
  const char *name;
  const lw_card *card;
} cars_card;
enum { CARS_MOST = 32 };

/* The demo cards of a folder, and one made from them for each family that has none there. */
lw_status cars_read(lw_arena *arena, lw_units *units, const char *folder, cars_card *cards,
                    size_t *count, lw_error *error) LW_MUST_USE;

/* ---- What ails them ------------------------------------------------------------------------- */

#define CARS_KIND_LIST(X)                                                                          \
  X(CARS_SOUND, "sound")                                                                           \
  X(CARS_VACUUM_LEAK, "vacuum leak up to 6 mm")                                                    \
  X(CARS_SHAFT_WEAR, "worn throttle shaft")                                                        \
  X(CARS_POWER_LEAK, "leaking power valve")                                                        \
  X(CARS_POWER_STUCK, "power valve stuck")                                                         \
  X(CARS_FLOAT, "fuel level within 6 mm")                                                          \
  X(CARS_IDLE_FEED, "idle feed plugged or clogged")                                                \
  X(CARS_IDLE_BLEED, "idle bleed plugged or clogged")                                              \
  X(CARS_MAIN_BLEED, "main bleed plugged or clogged")                                              \
  X(CARS_MAIN_JET, "main jet plugged or clogged")                                                  \
  X(CARS_IDLE_PASSAGE, "idle passage plugged or clogged")                                          \
  X(CARS_WORN, "worn jets")                                                                        \
  X(CARS_CHOKE, "choke partly or fully shut")                                                      \
  X(CARS_CLEANER, "air cleaner clogged")                                                           \
  X(CARS_SCREWS, "screws anywhere in their travel")                                                \
  X(CARS_STOP, "idle stop anywhere")                                                               \
  X(CARS_AIR_VALVE, "air valve spring")                                                            \
  X(CARS_CHECK_VALVE, "check valve stuck")                                                         \
  X(CARS_SECONDARY, "secondary plates stuck")                                                      \
  X(CARS_VENT, "bowl vent")                                                                        \
  X(CARS_FUEL, "another fuel")                                                                     \
  X(CARS_ENGINE, "another engine")                                                                 \
  X(CARS_SEVERAL, "several of these")
typedef enum cars_kind {
#define CARS_KIND_ENUM(id, text) id,
  CARS_KIND_LIST(CARS_KIND_ENUM)
#undef CARS_KIND_ENUM
      CARS_KINDS
} cars_kind;
const char *cars_kind_text(cars_kind kind);

/* A copy of a twin with an ailment of this kind. LW_BAD_INPUT when this unit cannot have it. what
   gets the edits in words. */
lw_status cars_alter(lw_arena *arena, lw_units *units, const lw_twin *from, cars_kind kind,
                     cars_random *random, lw_twin **changed, char *what, size_t size) LW_MUST_USE;

/* Plates quite shut (under the idle stop) to wide open, more often near shut; 300 to 6,000 rpm; sea
   level to 4,000 m; 250 to 320 K. */
lw_setting cars_setting(const lw_net *net, cars_random *random);
/* Near it: a hand's breadth of pedal and some hundred rpm. */
lw_setting cars_neighbor(const lw_net *net, const lw_setting *setting, cars_random *random);

#endif
