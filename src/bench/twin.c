/* twin.c - the twin of a card: its network and its surroundings. */
#include "leanward/bench.h"

lw_status lw_twin_new(lw_arena *arena, const lw_card *card, lw_twin **out, lw_error *error) {
  lw_twin *twin = lw_arena_alloc(arena, sizeof *twin);
  if (!twin) return lw_fail(error, LW_NO_MEMORY, "no memory for this twin");
  *twin = (lw_twin){.card = card, .ambient = LW_STANDARD_PRESSURE, .temperature = 293.15};
  lw_status status = lw_net_build(arena, card, &twin->net, error);
  if (status == LW_OK) *out = twin;
  return status;
}
