/* practice_check.c - checks with a plain answer on a practice car: drawn, and what was seen. */
#include "practice_internal.h"

#include <stdio.h>

/* What is seen, by the first cause a check finds: for each cause it finds, then for nothing. Where a
   check only tells that there is something, its first text says so. */
typedef struct seen_texts {
  lw_cause_id first;
  const char *texts[LW_TEST_FINDS + 1];
} seen_texts;

static const seen_texts seen[] = {
    {LW_CAUSE_VACUUM_LEAK,
     {"the speed changes at a gasket or hose", "the speed changes at one intake port",
      "the speed changes at the throttle shaft", "the speed changes nowhere"}},
    {LW_CAUSE_CHOKE, {"the plate does not stand upright", "the plate stands upright"}},
    {LW_CAUSE_MISFIRE,
     {"one cylinder makes hardly any difference", "one cylinder makes hardly any difference",
      "one cylinder makes hardly any difference", "each one slows it alike"}},
    {LW_CAUSE_WEAK, {"one cylinder is low", "all are alike"}},
    {LW_CAUSE_TIMING_LATE,
     {"the mark comes late", "the mark comes early", "the mark stands as the card says"}},
    {LW_CAUSE_ADVANCE, {"no more than at idle: the weights do not move", "it follows its curve"}},
    {LW_CAUSE_FLOAT_HIGH,
     {"the fuel stands too high", "the fuel stands too low", "the fuel stands right"}},
    {LW_CAUSE_ANALYZER, {"it does not show the bottle's figures", "it shows the bottle's figures"}},
    {LW_CAUSE_SAMPLE_AIR, {"it hisses: air comes in", "it is tight"}},
    {LW_CAUSE_VALVE_SET, {"it takes about five seconds", "it is down in a second or so"}},
    {LW_CAUSE_CLEANER, {"CO falls when it is off", "CO stays the same"}},
    {LW_CAUSE_SHAFT, {"it has play", "no play to feel"}},
    {LW_CAUSE_POWER_LEAK, {"it leaks", "it does not move", "it holds and moves"}},
    {LW_CAUSE_IDLE_FEED, {"dirt in the idle tube", "dirt in the idle bleed", "both are free"}},
    {LW_CAUSE_MAIN_RICH,
     {"the jet is larger than its size", "dirt in the jet", "the bleed is nearly shut",
      "jet and bleed are to size"}},
    {LW_CAUSE_SECONDARY, {"the plates do not come back to their stop", "the plates are shut"}},
    {LW_CAUSE_PUMP, {"no stream, or a thin one", "a strong stream from the first movement"}},
    {LW_CAUSE_AIR_VALVE, {"not the card's figure", "the card's figure"}},
    {LW_CAUSE_UNIT, {"another unit's number", "the card's number"}},
    {LW_CAUSE_FUEL, {"CO goes to its usual place on the other fuel", "CO stays the same"}},
};

static const char *seen_text(const lw_next_test *t, size_t answer) {
  for (size_t i = 0; i < sizeof seen / sizeof seen[0]; i++) {
    if (seen[i].first == t->finds[0].id && seen[i].texts[answer]) return seen[i].texts[answer];
  }
  return answer < t->find_count ? "it finds something" : "it finds nothing";
}

size_t lw_practice_answer(const lw_fault *f, const lw_next_test *check, double lot) {
  for (size_t a = 0; a < check->find_count; a++) {
    lot -= lw_test_likelihood(check, a, f->id);
    if (lot < 0) return a;
  }
  return check->find_count;
}

/* Numbers and places a real check would give beside. */
static void add_detail(const lw_fault *f, lw_cause_id found, char *buffer, size_t size) {
  bool really = found == f->id;
  int other = 1 + (int)(f->size * 7) % 4;
  if (found == LW_CAUSE_VACUUM_LEAK && really)
    lw_text_append(buffer, size, ": at the %s",
                   f->hose >= 0 ? lw_hose_text((lw_hose_id)f->hose) : "manifold gasket");
  if (found == LW_CAUSE_PORT_LEAK || found == LW_CAUSE_WEAK || found == LW_CAUSE_MISFIRE)
    lw_text_append(buffer, size, ": cylinder %d", f->cylinder ? f->cylinder : other);
  if (found == LW_CAUSE_WEAK && really)
    lw_text_append(buffer, size, ", %.0f %% of the others", f->size);
  if ((found == LW_CAUSE_TIMING_LATE || found == LW_CAUSE_TIMING_EARLY) && really)
    lw_text_append(buffer, size, " by %.0f deg", f->size);
  if ((found == LW_CAUSE_FLOAT_HIGH || found == LW_CAUSE_FLOAT_LOW) && really)
    lw_text_append(buffer, size, " by %.1f mm", f->size);
}

const char *lw_practice_seen(const lw_fault *f, size_t check, size_t answer, char *buffer,
                             size_t size) {
  size_t count = 0;
  const lw_next_test *t = lw_plain_tests(&count) + check;
  if (check >= count || answer > t->find_count) return "";
  snprintf(buffer, size, "%s", seen_text(t, answer));
  if (answer < t->find_count) add_detail(f, t->finds[answer].id, buffer, size);
  return buffer;
}
