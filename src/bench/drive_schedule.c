/* drive_schedule.c - speed against time, and the modes in it. */
#include "leanward/drive.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double mph = 0.44704;
static const double longest = 6 * 3600, fastest = 90;

/* ---- reading it ---- */

double lw_schedule_length(const lw_schedule *s) {
  return s->time[s->count - 1];
}

double lw_schedule_speed(const lw_schedule *s, double time) {
  if (!(time > 0)) return s->speed[0];
  if (time >= lw_schedule_length(s))
    return time > lw_schedule_length(s) ? 0 : s->speed[s->count - 1];
  size_t lo = 0, hi = s->count - 1;
  while (hi - lo > 1) {
    size_t middle = (lo + hi) / 2;
    *(s->time[middle] <= time ? &lo : &hi) = middle;
  }
  double part = (time - s->time[lo]) / (s->time[hi] - s->time[lo]);
  return s->speed[lo] + part * (s->speed[hi] - s->speed[lo]);
}

double lw_schedule_distance(const lw_schedule *s) {
  double sum = 0;
  for (size_t i = 1; i < s->count; i++)
    sum += 0.5 * (s->speed[i] + s->speed[i - 1]) * (s->time[i] - s->time[i - 1]);
  return sum;
}

/* ---- making it ---- */

static lw_status refuse(lw_error *error, size_t row, const char *what) {
  lw_error_place(error, NULL, (int)row, NULL);
  return lw_fail(error, LW_BAD_INPUT, "%s", what);
}

static lw_status check(const double *time, const double *speed, size_t count, lw_error *error) {
  if (count < 2) return lw_fail(error, LW_BAD_INPUT, "a schedule needs two times at least");
  for (size_t i = 0; i < count; i++) {
    if (!(speed[i] >= 0 && speed[i] <= fastest))
      return refuse(error, i, "a speed lies outside 0 to 201 mph (324 km/h)");
    if (i == 0 && time[0] != 0) return refuse(error, 0, "the first time must be 0");
    if (i > 0 && !(time[i] > time[i - 1])) return refuse(error, i, "times must rise");
    if (!(time[i] <= longest)) return refuse(error, i, "a schedule ends within six hours");
  }
  return LW_OK;
}

lw_status lw_schedule_of(lw_arena *arena, const char *name, const double *time, const double *speed,
                         size_t count, const lw_mode *mode, size_t modes, const signed char *in,
                         lw_schedule **out, lw_error *error) {
  lw_status status = check(time, speed, count, error);
  if (status != LW_OK) return status;
  lw_schedule *s = lw_arena_alloc(arena, sizeof *s);
  double *t = lw_arena_array(arena, count, sizeof *t), *v = lw_arena_array(arena, count, sizeof *v);
  lw_mode *m = modes ? lw_arena_array(arena, modes, sizeof *m) : NULL;
  signed char *where = in ? lw_arena_array(arena, count, sizeof *where) : NULL;
  const char *called = lw_arena_print(arena, "%s", name);
  if (!s || !t || !v || (modes && !m) || (in && !where) || !called)
    return lw_fail(error, LW_NO_MEMORY, "no memory for this schedule");
  memcpy(t, time, count * sizeof *t);
  memcpy(v, speed, count * sizeof *v);
  if (m) memcpy(m, mode, modes * sizeof *m);
  if (where) memcpy(where, in, count * sizeof *where);
  *s = (lw_schedule){called, count, t, v, modes, m, where};
  *out = s;
  return LW_OK;
}

/* ---- seven modes ---- */

/* Stretches of one cycle: seconds, the speed they end at, the mode they count for. Times and
   weights from memory (31 FR 5170, 30 Mar. 1966, and the California procedure); the times sum to
   137 s and the weights to 1. An acceleration counts up to a speed, then its rest does not. */
typedef struct stretch {
  double seconds, to;
  int mode;
} stretch;

static const stretch seven[] = {
    {20, 0, 0},  {25 / 2.2, 25, 1}, {14 - 25 / 2.2, 30, -1}, {15, 30, 2}, {11, 15, 3},
    {15, 15, 4}, {15 / 1.2, 30, 5}, {29 - 15 / 1.2, 50, -1}, {25, 20, 6}, {8, 0, -1},
};

static const lw_mode modes_of_seven[] = {
    {"idle", 0.042},   {"0-25 mph", 0.244},  {"30 mph", 0.118},    {"30-15 mph", 0.062},
    {"15 mph", 0.050}, {"15-30 mph", 0.455}, {"50-20 mph", 0.029},
};

enum {
  STRETCHES = sizeof seven / sizeof seven[0],
  MODES = sizeof modes_of_seven / sizeof modes_of_seven[0],
  CYCLES = 7
};

/* The mode a stretch of a cycle (from 0) counts for: first those of warming up, then the hot ones;
   -1: none. Cycle 5 is driven only. */
static int mode_of(bool whole, int cycle, int mode) {
  if (mode < 0 || !whole) return mode;
  return cycle < 4 ? mode : cycle == 4 ? -1 : mode + MODES;
}

static void weigh(bool whole, lw_mode *modes) {
  for (int i = 0; i < MODES; i++) {
    modes[i] = modes_of_seven[i];
    if (!whole) continue;
    modes[MODES + i] = modes_of_seven[i];
    snprintf(modes[i].name, LW_MODE_NAME, "warming %.24s", modes_of_seven[i].name);
    snprintf(modes[MODES + i].name, LW_MODE_NAME, "hot %.24s", modes_of_seven[i].name);
    modes[i].weight *= 0.35;
    modes[MODES + i].weight *= 0.65;
  }
}

lw_status lw_schedule_seven(lw_arena *arena, bool whole, lw_schedule **out, lw_error *error) {
  double time[CYCLES * STRETCHES + 1] = {0}, speed[CYCLES * STRETCHES + 1] = {0};
  signed char in[CYCLES * STRETCHES + 1];
  lw_mode modes[2 * MODES];
  size_t n = 0;
  int cycles = whole ? CYCLES : 2;
  for (int c = 0; c < cycles; c++) {
    for (int i = 0; i < STRETCHES; i++, n++) {
      in[n] = (signed char)mode_of(whole, c, seven[i].mode);
      time[n + 1] = time[n] + seven[i].seconds;
      speed[n + 1] = mph * seven[i].to;
    }
    time[n] = 137 * (c + 1); /* not its rounded sum */
  }
  in[n] = -1;
  weigh(whole, modes);
  return lw_schedule_of(arena, "the seven-mode cycle", time, speed, n + 1, modes,
                        whole ? 2 * MODES : MODES, in, out, error);
}
