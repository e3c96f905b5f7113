/* edit_engine.c - what-ifs that only an engine knows: timing, advance, cylinders, warmth, leaks. */
#include "bench_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DEG 0.017453292519943295

static lw_status no_engine(const lw_edit *e) {
  return lw_edit_refuse(e, "this changes the engine, which is not run here; `leanward idle`, "
                           "`leanward watch` and `leanward drive` run it");
}

/* A whole number at the start of text; *rest gets what follows, blanks left out. 0: there is none. */
static int leading(const char *text, const char **rest) {
  char *end = NULL;
  long n = strtol(text, &end, 10);
  *rest = end + strspn(end, " ");
  return end == text || n < 0 || n > 1000 ? 0 : (int)n;
}

lw_status lw_edit_timing(lw_edit *e) {
  double now = 0, at = 0;
  if (!e->car) return no_engine(e);
  lw_engine *engine = e->car->engine;
  now = engine->spark.initial + engine->timing_error;
  lw_status status = lw_edit_value(e, LW_ANGLE, now, -60 * DEG, 60 * DEG, &at);
  if (status == LW_OK) engine->timing_error = at - engine->spark.initial;
  return status;
}

lw_status lw_edit_advance(lw_edit *e) {
  if (!e->car) return no_engine(e);
  lw_engine *engine = e->car->engine;
  if (strcmp(e->value, "stuck") != 0 && strcmp(e->value, "sound") != 0) {
    return lw_edit_refuse(e, "'%s' is not one of stuck, sound", e->value);
  }
  if (strcmp(e->value, "stuck") == 0) engine->spark.centrifugal.count = 0;
  return LW_OK;
}

lw_status lw_edit_vacuum_advance(lw_edit *e) {
  static const struct {
    const char *word;
    lw_vacuum_source source;
  } sources[] = {{"plugged", LW_VACUUM_NONE},
                 {"ported", LW_VACUUM_PORTED},
                 {"manifold", LW_VACUUM_MANIFOLD},
                 {"control valve", LW_VACUUM_VALVE}};
  if (!e->car) return no_engine(e);
  lw_engine *engine = e->car->engine;
  for (size_t i = 0; i < sizeof sources / sizeof sources[0]; i++) {
    if (!lw_text_same(e->value, sources[i].word)) continue;
    engine->spark.source = sources[i].source;
    return LW_OK;
  }
  return lw_edit_refuse(e, "'%s' is not one of plugged, ported, manifold, control valve", e->value);
}

/* "70 %" of a sound one. */
static lw_status share_of(const lw_edit *e, const char *text, double *share) {
  lw_error error = {0};
  lw_status status = lw_quantity_read(e->units, LW_SHARE, text, share, &error);
  if (status == LW_OK && *share >= 0 && *share <= 1) return LW_OK;
  return lw_edit_refuse(e, "write a share of a sound one, as 70 %%");
}

/* "3 dead", "3 compression 70 %", "3 spark 50 %", "3 sound" */
lw_status lw_edit_cylinder(lw_edit *e) {
  double share = 0;
  const char *what = NULL;
  if (!e->car) return no_engine(e);
  lw_engine *engine = e->car->engine;
  int cylinder = leading(e->value, &what);
  if (cylinder < 1 || cylinder > engine->cylinders) {
    return lw_edit_refuse(e, "begin with the cylinder's number, 1 to %d, as '3 dead'",
                          engine->cylinders);
  }
  lw_cylinder_health *h = &engine->health[cylinder - 1];
  if (strcmp(what, "dead") == 0) {
    h->spark = 0;
    return LW_OK;
  }
  if (strcmp(what, "sound") == 0) {
    *h = (lw_cylinder_health){1, 1};
    return LW_OK;
  }
  bool compression = strncmp(what, "compression ", 12) == 0;
  if (!compression && strncmp(what, "spark ", 6) != 0) {
    return lw_edit_refuse(e, "'%s' is not one of dead, compression 70 %%, spark 50 %%, sound",
                          what);
  }
  lw_status status = share_of(e, what + (compression ? 12 : 6), &share);
  if (status == LW_OK) *(compression ? &h->compression : &h->spark) = share;
  return status;
}

lw_status lw_edit_leak_at(lw_edit *e) {
  const char *rest = NULL;
  if (!e->car) return no_engine(e);
  lw_engine *engine = e->car->engine;
  if (strcmp(e->value, "all") == 0) {
    engine->leak_cylinder = -1;
    return LW_OK;
  }
  int cylinder = leading(e->value, &rest);
  if (*rest || cylinder < 1 || cylinder > engine->cylinders) {
    return lw_edit_refuse(e, "write the cylinder whose port the vacuum leak is at, 1 to %d, or all",
                          engine->cylinders);
  }
  engine->leak_cylinder = cylinder - 1;
  return LW_OK;
}

lw_status lw_edit_exhaust_leak(lw_edit *e) {
  double share = 0;
  if (!e->car) return no_engine(e);
  lw_engine *engine = e->car->engine;
  lw_status status = LW_OK;
  if (strcmp(e->value, "none") != 0) status = share_of(e, e->value, &share);
  if (status == LW_OK && share > 0.9) {
    return lw_edit_refuse(e, "more than 90 %% outside air is no exhaust sample");
  }
  if (status == LW_OK) engine->exhaust_leak = share;
  return status;
}

lw_status lw_edit_coolant(lw_edit *e) {
  if (!e->car) return no_engine(e);
  return lw_edit_value(e, LW_TEMPERATURE, e->car->around.coolant, 233.15, 393.15,
                       &e->car->around.coolant);
}

lw_status lw_edit_humidity(lw_edit *e) {
  if (!e->car) return no_engine(e);
  return lw_edit_value(e, LW_SHARE, e->car->around.humidity, 0, 1, &e->car->around.humidity);
}

/* ---- devices, which only time shows ---- */

lw_status lw_edit_pump(lw_edit *e) {
  double share = 0;
  if (!e->car) return no_engine(e);
  double *pump = &e->car->devices.pump;
  if (strcmp(e->value, "disconnected") == 0 || strcmp(e->value, "sound") == 0) {
    *pump = e->value[0] == 's';
    return LW_OK;
  }
  if (!lw_edit_share(e, "weak", &share))
    return lw_edit_refuse(e, "'%s' is not one of weak 50 %%, disconnected, sound", e->value);
  *pump = share;
  return LW_OK;
}

lw_status lw_edit_dashpot(lw_edit *e) {
  if (!e->car) return no_engine(e);
  e->car->devices.no_dashpot = strcmp(e->value, "none") == 0;
  if (e->car->devices.no_dashpot) return LW_OK;
  return lw_edit_value(e, LW_TIME, LW_NONE, 0.05, 60, &e->car->devices.dashpot_time);
}

lw_status lw_edit_release(lw_edit *e) {
  if (!e->car) return no_engine(e);
  return lw_edit_value(e, LW_TIME, LW_NONE, 0.01, 60, &e->car->devices.advance_release);
}

lw_status lw_edit_choke_heat(lw_edit *e) {
  if (!e->car) return no_engine(e);
  bool none = strcmp(e->value, "none") == 0;
  if (!none && strcmp(e->value, "sound") != 0)
    return lw_edit_refuse(e, "'%s' is not one of sound, none", e->value);
  e->car->devices.choke_cold = none;
  return LW_OK;
}

/* ---- a changed car ---- */

lw_status lw_test_car_what_if(lw_arena *arena, lw_units *units, const lw_test_car *from,
                              const char *const *edits, size_t count, lw_test_car **changed,
                              lw_error *error) {
  lw_test_car *car = lw_arena_alloc(arena, sizeof *car);
  lw_engine *engine = lw_arena_alloc(arena, sizeof *engine);
  lw_twin *twin = NULL;
  if (!car || !engine) return lw_fail(error, LW_NO_MEMORY, "no memory for this what-if");
  *car = *from;
  *engine = *from->engine;
  car->engine = engine;
  lw_status status = lw_what_if_car(arena, units, from->twin, edits, count, car, &twin, error);
  if (status != LW_OK) return status;
  car->twin = twin;
  car->around.ambient = twin->ambient;
  car->around.temperature = twin->temperature;
  engine->fuel = twin->net->fuel;
  engine->displacement = twin->card->engine.displacement;
  engine->compression_ratio = twin->net->draw.compression_ratio;
  *changed = car;
  return LW_OK;
}
