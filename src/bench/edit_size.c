/* edit_size.c - what-ifs that change a size of the card: jets, bleeds, rods, bores. */
#include "bench_internal.h"

#include <math.h>
#include <string.h>

/* ---- the card's own keys and bounds ---- */

static const lw_field *field_of(const lw_table *table, const char *key) {
  for (size_t i = 0; i < table->count; i++) {
    if (lw_text_same(table->fields[i].key, key)) return &table->fields[i];
  }
  return NULL;
}

static const lw_field *nested(const char *first, const char *second, const char *key) {
  const lw_field *f = field_of(lw_card_table(), first);
  if (second) f = field_of(f->table, second);
  return field_of(f->table, key);
}

static lw_barrel_card *group_of(const lw_edit *e) {
  return e->secondary ? &e->card->carburetor.secondary : &e->card->carburetor.primary;
}

static bool is(const lw_edit *e, const char *name) {
  size_t count = 0;
  return strcmp(lw_what_ifs(&count)[e->row].name, name) == 0;
}

/* ---- what differs from the card ---- */

static lw_scaled *scaled_of(lw_altered *a, const lw_edit *e) {
  for (size_t i = 0; i < a->scaled_count; i++) {
    lw_scaled *s = &a->scaled[i];
    if (s->name == e->row && s->secondary == e->secondary && s->side == e->side) return s;
  }
  return NULL;
}

static lw_status set_scale(lw_edit *e, double scale) {
  lw_altered *a = &e->twin->altered;
  lw_scaled *s = scaled_of(a, e);
  if (!s && a->scaled_count == LW_SCALED_MOST) {
    return lw_edit_refuse(e, "more than %d sizes differ from the card", LW_SCALED_MOST);
  }
  if (!s) s = &a->scaled[a->scaled_count++];
  *s = (lw_scaled){e->row, e->secondary, e->side, scale};
  return LW_OK;
}

/* A new size for all barrels ends what was plugged or differed on one side. */
static void forget_scales(lw_edit *e) {
  lw_altered *a = &e->twin->altered;
  size_t kept = 0;
  for (size_t i = 0; i < a->scaled_count; i++) {
    lw_scaled s = a->scaled[i];
    if (s.name != e->row || s.secondary != e->secondary) a->scaled[kept++] = s;
  }
  a->scaled_count = kept;
}

/* ---- sizes ---- */

/* "plugged", "worn 5 %", "clogged 50 %" as a factor of the diameter; false: none of them. */
static bool fault_factor(const lw_edit *e, double *factor) {
  double share = 0;
  if (lw_text_same(e->value, "plugged")) {
    *factor = 0;
  } else if (lw_edit_share(e, "worn", &share)) {
    *factor = 1 + share;
  } else if (lw_edit_share(e, "clogged", &share)) {
    *factor = share >= 1 ? 0 : sqrt(1 - share);
  } else {
    return false;
  }
  return true;
}

static lw_status check_size(const lw_edit *e, const lw_field *f, double now) {
  const lw_carburetor_card *c = &e->card->carburetor;
  if (e->secondary && !c->secondary.count) {
    return lw_edit_refuse(e, "this unit has no secondary barrels");
  }
  if (e->side && (e->secondary || c->primary.count < 2)) {
    return lw_edit_refuse(e, "only a unit with two primary barrels has a left and a right one");
  }
  if (e->side && (!lw_size_passages(e->row) || strncmp(f->key, "slot", 4) == 0)) {
    return lw_edit_refuse(e, "this size is changed for all barrels at once; leave the side out");
  }
  if (is(e, "power jet") && c->primary.rods.count) {
    return lw_edit_refuse(e, "this unit enriches with its rods; change 'rod power step'");
  }
  bool fault = false;
  double factor = 0;
  fault = fault_factor(e, &factor);
  if (!lw_known(now) && (fault || e->sign || e->side)) {
    return lw_edit_refuse(e, "the card gives no %s%s, so there is nothing to change",
                          e->secondary ? "secondary " : "", f->key);
  }
  if (is(e, "idle limiter") && (!fault || factor > 1)) {
    return lw_edit_refuse(e, "the limiter is sealed and is never changed; 'plugged' and 'clogged' "
                             "are understood, as faults");
  }
  return LW_OK;
}

static lw_status fault_size(lw_edit *e, double *at, double factor) {
  bool plug = !(factor > 0);
  if (plug && !lw_size_passages(e->row)) return lw_edit_refuse(e, "this cannot be plugged");
  if (plug || e->side) return set_scale(e, factor);
  *at *= factor;
  return LW_OK;
}

lw_status lw_edit_size(lw_edit *e) {
  size_t count = 0;
  const lw_field *f = nested("carburetor", "primary", lw_what_ifs(&count)[e->row].name);
  double *at = (double *)(void *)((char *)group_of(e) + f->at);
  double factor = 0, value = 0, scale = 1;
  lw_status status = check_size(e, f, *at);
  if (status != LW_OK) return status;
  if (fault_factor(e, &factor)) return fault_size(e, at, factor);
  const lw_scaled *s = e->side ? scaled_of(&e->twin->altered, e) : NULL;
  if (s && s->scale > 0) scale = s->scale;
  status = lw_edit_value(e, f->dim, *at * scale, f->lo, f->hi, &value);
  if (status != LW_OK) return status;
  if (e->side) return set_scale(e, value / *at);
  *at = value;
  forget_scales(e);
  return LW_OK;
}

lw_status lw_edit_rod(lw_edit *e) {
  const lw_field *f = nested("carburetor", "primary", "rods");
  lw_values *rods = &group_of(e)->rods;
  if (!rods->count) return lw_edit_refuse(e, "the card gives no metering rods");
  double *steps = lw_arena_array(e->arena, rods->count, sizeof *steps), value = 0;
  if (!steps) return lw_fail(e->error, LW_NO_MEMORY, "no memory for this what-if");
  memcpy(steps, rods->x, rods->count * sizeof *steps);
  size_t i = is(e, "rod power step") ? rods->count - 1 : 0;
  lw_status status = lw_edit_value(e, f->dim, steps[i], f->lo, f->hi, &value);
  if (status != LW_OK) return status;
  steps[i] = value;
  rods->x = steps;
  return LW_OK;
}

lw_status lw_edit_engine(lw_edit *e) {
  size_t count = 0;
  const lw_field *f = nested("engine", NULL, lw_what_ifs(&count)[e->row].name);
  double *at = (double *)(void *)((char *)&e->card->engine + f->at), value = 0;
  lw_status status = lw_edit_value(e, f->dim, *at, f->lo, f->hi, &value);
  if (status == LW_OK) *at = value;
  return status;
}

lw_status lw_edit_power_vacuum(lw_edit *e) {
  size_t count = 0;
  lw_carburetor_card *c = &e->card->carburetor;
  const lw_field *f = nested("carburetor", NULL, lw_what_ifs(&count)[e->row].name);
  double *at = (double *)(void *)((char *)c + f->at), value = 0;
  if (!lw_known(c->primary.power_jet) && !c->primary.rods.count) {
    return lw_edit_refuse(e, "the card gives no power enrichment");
  }
  lw_status status = lw_edit_value(e, f->dim, *at, f->lo, f->hi, &value);
  if (status == LW_OK) *at = value;
  return status;
}

lw_status lw_edit_air_valve(lw_edit *e) {
  lw_carburetor_card *c = &e->card->carburetor;
  const lw_field *f = nested("carburetor", NULL, "air valve spring");
  if (c->secondary.operation != 3) return lw_edit_refuse(e, "this unit has no air valve");
  double value = 0;
  lw_status status = lw_edit_value(e, f->dim, c->air_valve_turns, f->lo, f->hi, &value);
  if (status == LW_OK) c->air_valve_turns = value;
  return status;
}
