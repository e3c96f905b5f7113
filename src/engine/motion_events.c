/* motion_events.c - what happens at a moment, and in words. */
#include "motion_internal.h"

#include <stdio.h>

enum {
  ROOT_STOP,
  ROOT_DASHPOT,
  ROOT_NEEDLE,
  ROOT_POWER,
  ROOT_VALVE,
  ROOT_KICK,
  ROOT_CHOKE,
  ROOT_PUMP,
  ROOT_STALL,
  ROOT_RUN
};

/* What it means when its function rises, and when it falls; LW_EVENTS: nothing. */
static const lw_event_kind rising[LW_ROOTS] = {
    LW_EVENT_OFF_STOP,   LW_EVENT_DASHPOT_LEFT, LW_EVENT_NEEDLE_LIFTED, LW_EVENT_POWER_OPEN,
    LW_EVENT_VALVE_OPEN, LW_EVENT_KICK,         LW_EVENT_CHOKE_OPEN,    LW_EVENTS,
    LW_EVENTS,           LW_EVENT_STARTED};
static const lw_event_kind falling[LW_ROOTS] = {LW_EVENT_ON_STOP,
                                                LW_EVENT_DASHPOT_MET,
                                                LW_EVENT_NEEDLE_SEATED,
                                                LW_EVENT_POWER_SHUT,
                                                LW_EVENT_VALVE_SHUT,
                                                LW_EVENT_KICK_OFF,
                                                LW_EVENTS,
                                                LW_EVENT_PUMP_DOWN,
                                                LW_EVENT_STALLED,
                                                LW_EVENTS};

void lw_motion_roots(const lw_motion *m, double t, const double *y, double *g) {
  const lw_devices *d = &m->devices;
  double pedal = lw_motion_pedal(m, t), rho = m->fuel_density;
  double held = d->dashpot_touch > 0 && y[ST_DASHPOT] > y[ST_CAM] ? y[ST_DASHPOT] : y[ST_CAM];
  double level = y[ST_BOWL] / (rho * d->bowl_area) - LW_BOWL_DEPTH;
  g[ROOT_STOP] = (held > pedal ? held : pedal) - 1e-4;
  g[ROOT_DASHPOT] = d->dashpot_touch > 0 ? pedal - d->dashpot_touch : 1;
  g[ROOT_NEEDLE] = -level / d->needle_travel - 0.006;
  g[ROOT_POWER] = y[ST_POWER] - 0.5;
  g[ROOT_VALVE] = y[ST_VALVE] - 0.5;
  g[ROOT_KICK] = y[ST_KICK] - 0.5;
  g[ROOT_CHOKE] = y[ST_CHOKE] - 0.95;
  g[ROOT_PUMP] = y[ST_PUMP] / (d->pump_volume * rho + 1e-9) - 0.03;
  g[ROOT_STALL] = y[ST_SPEED] - m->stall_speed;
  g[ROOT_RUN] = y[ST_SPEED] - m->run_speed;
}

static lw_stall cause_of(const lw_motion *m) {
  if (!m->controls.ignition) return LW_STALL_SPARK;
  /* a charge much thinner than an idle's, whatever the mixture */
  const double thinner = 5e3; /* Pa */
  if (m->recent_manifold < LW_STANDARD_PRESSURE - m->engine.vacuum_hot - thinner)
    return LW_STALL_AIR;
  if (m->recent_lambda < 0.7) return LW_STALL_RICH;
  bool cold = m->y[ST_COOLANT] < 325; /* much of the fuel stays liquid */
  if (m->recent_lambda > 1.3 || (cold && m->recent_misfire > 0.25 && m->recent_lambda > 0.9))
    return LW_STALL_LEAN;
  return m->recent_load > 5 ? LW_STALL_LOAD : LW_STALL_AIR;
}

static void note(lw_motion *m, lw_event_kind kind) {
  lw_stall cause = LW_STALL_NOT;
  if (kind == LW_EVENT_STARTED) {
    if (m->running) return;
    m->running = true;
  }
  if (kind == LW_EVENT_STALLED) {
    if (!m->running) return;
    m->running = false;
    cause = cause_of(m);
  }
  if (m->event_count < LW_EVENTS_MOST)
    m->events[m->event_count++] = (lw_event){m->time, kind, cause};
}

void lw_motion_passed(lw_motion *m, const int *direction) {
  for (int i = 0; i < LW_ROOTS; i++) {
    lw_event_kind kind = LW_EVENTS;
    if (direction[i] > 0) kind = rising[i];
    if (direction[i] < 0) kind = falling[i];
    if (kind != LW_EVENTS) note(m, kind);
  }
}

size_t lw_motion_events(const lw_motion *m, const lw_event **events) {
  *events = m->events;
  return m->event_count;
}

void lw_motion_forget_events(lw_motion *m) {
  m->event_count = 0;
}

const char *lw_event_text(const lw_event *event, char *buffer, size_t size) {
  static const char *const words[] = {
#define LW_EVENT_TEXT(id, text) text,
      LW_EVENT_LIST(LW_EVENT_TEXT)
#undef LW_EVENT_TEXT
  };
  static const char *const causes[] = {
#define LW_STALL_TEXT(id, text) text,
      LW_STALL_LIST(LW_STALL_TEXT)
#undef LW_STALL_TEXT
  };
  if (size) buffer[0] = 0;
  lw_text_append(buffer, size, "%.2f s: %s", event->time, words[event->kind]);
  if (event->cause != LW_STALL_NOT) lw_text_append(buffer, size, ": %s", causes[event->cause]);
  return buffer;
}
