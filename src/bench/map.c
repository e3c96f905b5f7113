/* map.c - a twin over a grid, and along a line.
**
** A grid is walked like a meadow is mown, up one throttle and down the next, so that each point
** starts warm from the one beside it. Speed is the inner way: at one throttle the air hardly
** changes with it once the plate chokes.
*/
#include "leanward/bench.h"

#include <math.h>

enum { AXIS_MOST = 400 };

static lw_setting setting_of(const lw_twin *twin, double throttle, double speed) {
  return (lw_setting){.throttle = throttle, .speed = speed, .ambient = twin->ambient};
}

static void clear(lw_map_point *p, double throttle, double speed) {
  *p = (lw_map_point){.throttle = throttle, .speed = speed};
  p->air = p->fuel = p->afr = p->lambda = p->manifold = LW_NONE;
  for (int c = 0; c < LW_CIRCUITS; c++)
    p->by_circuit[c] = LW_NONE;
}

static void solve(const lw_twin *twin, lw_state *state, double throttle, double speed,
                  lw_map_point *p) {
  lw_setting setting = setting_of(twin, throttle, speed);
  lw_point at;
  clear(p, throttle, speed);
  lw_net_solve(twin->net, &setting, state, &p->report);
  if (!p->report.converged) return;
  lw_net_point(twin->net, &setting, state, &at);
  p->air = at.air;
  p->fuel = at.fuel;
  p->afr = at.afr;
  p->lambda = at.lambda;
  p->manifold = at.manifold;
  for (int c = 0; c < LW_CIRCUITS; c++)
    p->by_circuit[c] = at.by_circuit[c];
}

static lw_status check_axis(const double *x, size_t count, double lo, double hi, const char *what,
                            const char *span, lw_error *error) {
  if (count == 0 || count > AXIS_MOST) {
    return lw_fail(error, LW_BAD_INPUT, "1 to %d values of %s were expected", AXIS_MOST, what);
  }
  for (size_t i = 0; i < count; i++) {
    if (!(x[i] >= lo && x[i] <= hi)) {
      return lw_fail(error, LW_BAD_INPUT, "a %s lies outside %s", what, span);
    }
  }
  return LW_OK;
}

static lw_status check_speed(const double *speed, size_t count, lw_error *error) {
  return check_axis(speed, count, 10, 1300, "speed", "96 to 12,400 rpm", error);
}

static double *copied(lw_arena *arena, const double *x, size_t count) {
  double *out = lw_arena_array(arena, count, sizeof *out);
  for (size_t i = 0; out && i < count; i++)
    out[i] = x[i];
  return out;
}

static lw_map *new_map(lw_arena *arena, size_t throttles, const double *speed, size_t speeds,
                       lw_map_point **points, lw_error *error) {
  lw_map *m = lw_arena_alloc(arena, sizeof *m);
  lw_map_point *p = lw_arena_array(arena, throttles * speeds, sizeof *p);
  double *own = copied(arena, speed, speeds);
  if (!m || !p || !own) {
    lw_fail(error, LW_NO_MEMORY, "no memory for a map of this size");
    return NULL;
  }
  *m = (lw_map){.throttles = throttles, .speeds = speeds, .speed = own, .points = p};
  *points = p;
  return m;
}

lw_status lw_map_run(lw_arena *arena, const lw_twin *twin, const double *throttle, size_t throttles,
                     const double *speed, size_t speeds, lw_map **map, lw_error *error) {
  lw_map_point *points = NULL;
  lw_state state = {0};
  lw_status status = check_axis(throttle, throttles, 0, 1, "throttle", "0 to 100 %", error);
  if (status == LW_OK) status = check_speed(speed, speeds, error);
  if (status != LW_OK) return status;
  lw_map *m = new_map(arena, throttles, speed, speeds, &points, error);
  if (!m) return LW_NO_MEMORY;
  m->throttle = copied(arena, throttle, throttles);
  if (!m->throttle) return lw_fail(error, LW_NO_MEMORY, "no memory for a map of this size");
  for (size_t k = 0; k < throttles; k++) {
    for (size_t i = 0; i < speeds; i++) {
      size_t at = k % 2 ? speeds - 1 - i : i;
      lw_map_point *p = &points[at * throttles + k];
      solve(twin, &state, throttle[k], speed[at], p);
      m->failed += !p->report.converged;
    }
  }
  *map = m;
  return LW_OK;
}

/* ---- lines ---- */

/* The vacuum a road ends with: next to what wide open throttle leaves at the top speed. */
static double last_vacuum(const lw_twin *twin, double top) {
  lw_state state = {0};
  lw_map_point p;
  solve(twin, &state, 1, top, &p);
  double wide = p.report.converged ? twin->ambient - p.manifold : 0;
  return fmax(0.04 * twin->ambient, wide + 300);
}

/* Solve at this throttle; the vacuum over the wanted one. False: it did not converge. */
static bool over(const lw_twin *twin, lw_state *state, double throttle, double speed, double vacuum,
                 lw_map_point *p, double *above) {
  solve(twin, state, throttle, speed, p);
  if (!p->report.converged) { /* from the cold, in case the neighbor led astray */
    *state = (lw_state){.known = false};
    solve(twin, state, throttle, speed, p);
  }
  *above = twin->ambient - p->manifold - vacuum;
  return p->report.converged;
}

/* The throttle for a vacuum, searched from that of the point before: a little more is wanted. */
static void road_point(const lw_twin *twin, lw_state *state, double from, double vacuum,
                       double speed, lw_map_point *p) {
  double lo = from, hi = from, at_lo = 0, at_hi = 0, step = 0.02;
  if (!over(twin, state, lo, speed, vacuum, p, &at_lo)) return;
  if (at_lo <= 0) return; /* already as open as this load asks */
  at_hi = at_lo;
  while (at_hi > 0 && hi < 1) {
    lo = hi;
    at_lo = at_hi;
    hi = fmin(hi + step, 1);
    step *= 2;
    if (!over(twin, state, hi, speed, vacuum, p, &at_hi)) return;
  }
  for (int i = 0; i < 50 && at_hi < 0 && fabs(p->manifold + vacuum - twin->ambient) > 2; i++) {
    double share = i % 3 == 2 ? 0.5 : at_lo / (at_lo - at_hi), at = 0;
    double mid = lo + (hi - lo) * fmin(fmax(share, 0.02), 0.98);
    if (!over(twin, state, mid, speed, vacuum, p, &at)) return;
    *(at > 0 ? &lo : &hi) = mid;
    *(at > 0 ? &at_lo : &at_hi) = at;
  }
}

lw_status lw_line_run(lw_arena *arena, const lw_twin *twin, lw_line line, const double *speed,
                      size_t speeds, lw_map **map, lw_error *error) {
  lw_map_point *points = NULL;
  lw_state state = {0};
  lw_status status = check_speed(speed, speeds, error);
  if (status != LW_OK) return status;
  lw_map *m = new_map(arena, 1, speed, speeds, &points, error);
  if (!m) return LW_NO_MEMORY;
  double top = speed[speeds - 1], low = speed[0], first = LW_NONE, throttle = 0;
  double last = last_vacuum(twin, top);
  for (size_t i = 0; i < speeds; i++) {
    lw_map_point *p = &points[i];
    double share = (speed[i] * speed[i] - low * low) / (top * top - low * low);
    if (line == LW_LINE_WIDE_OPEN) {
      solve(twin, &state, 1, speed[i], p);
    } else if (i == 0) {
      solve(twin, &state, 0, speed[i], p);
      first = p->report.converged ? twin->ambient - p->manifold : 0.6 * twin->ambient;
    } else {
      /* falling with the square of speed, as drag rises; ours */
      road_point(twin, &state, throttle, first + (last - first) * share, speed[i], p);
    }
    if (p->report.converged) throttle = p->throttle;
    m->failed += !p->report.converged;
  }
  *map = m;
  return LW_OK;
}

lw_status lw_map_again(lw_arena *arena, const lw_twin *twin, const lw_map *like, lw_map **map,
                       lw_error *error) {
  lw_map_point *points = NULL;
  lw_state state = {0};
  if (like->throttle) {
    return lw_map_run(arena, twin, like->throttle, like->throttles, like->speed, like->speeds, map,
                      error);
  }
  lw_map *m = new_map(arena, like->throttles, like->speed, like->speeds, &points, error);
  if (!m) return LW_NO_MEMORY;
  for (size_t i = 0; i < like->throttles * like->speeds; i++) {
    const lw_map_point *p = &like->points[i];
    solve(twin, &state, p->throttle, p->speed, &points[i]);
    m->failed += !points[i].report.converged;
  }
  *map = m;
  return LW_OK;
}
