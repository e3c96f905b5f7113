/* cmd_idle_job.c - `leanward idle JOB`: the next move at the screws, from the readings so far. */
#include "cli_twin.h"
#include "idle_job.h"

#include "leanward/bench_json.h"
#include "leanward/causes.h"

#include <assert.h>
#include <string.h>

enum { SHOWN_MOST = 3 };

static double rpm(double speed) {
  return lw_dim_shown(LW_SPIN, LW_SHOP, speed);
}

/* A job's readings stand at the left edge; a card has none. */
bool cmd_idle_is_job(const char *path) {
  lw_arena *arena = lw_arena_new(0);
  const char *text = NULL;
  size_t length = 0;
  bool job = false;
  if (arena && strcmp(path, "-") != 0 &&
      lw_file_read(arena, path, LW_DOC_MAX_BYTES, &text, &length, NULL) == LW_OK) {
    job = strncmp(text, "job:", 4) == 0 || strstr(text, "\njob:") || strstr(text, "\nreadings:");
  }
  lw_arena_free(arena);
  return job;
}

/* ---- text ---- */

static void print_goal(const idle_guided *d) {
  const lw_goal *g = &d->goal;
  printf("wanted: %.0f rpm (within %.0f), CO %.1f to %.1f %%", rpm(g->speed), rpm(g->speed_within),
         100 * g->co_lo, 100 * g->co_hi);
  if (lw_known(g->hc_most)) printf(", HC at most %.0f ppm", 1e6 * g->hc_most);
  puts("");
}

static void print_history(const idle_guided *d) {
  printf("\n%3s %-28s%7s%7s%8s%7s  %s\n", "", "reading", "rpm", "CO %", "HC ppm", "O2 %", "screws");
  for (size_t i = 0; i < d->count; i++) {
    const lw_sight *s = &d->sights[i];
    printf("%3zu %-28.28s%7.0f%7.2f", i + 1, s->label, rpm(s->speed), 100 * s->x[LW_SEE_CO]);
    cli_cell(stdout, 8, 0, 1e6 * s->x[LW_SEE_HC]);
    cli_cell(stdout, 7, 1, 100 * s->x[LW_SEE_O2]);
    for (size_t k = 0; k < s->screw_count; k++) {
      char turns[48];
      lw_turns_text(turns, sizeof turns, s->screws[k].turns);
      printf("%s%s %s", k ? ", " : "  ", s->screws[k].name, turns);
    }
    putchar('\n');
  }
}

void idle_print_start(const idle_guided *d) {
  print_goal(d);
  print_history(d);
}

static void print_causes(const lw_diagnosis *c) {
  for (size_t i = 0; i < c->cause_count && i < SHOWN_MOST; i++) {
    char line[400];
    snprintf(line, sizeof line, "%.0f %%  %s: %s", 100 * c->causes[i].probability,
             c->causes[i].name, lw_cause_remedy(c->causes[i].id));
    fputs("  ", stdout);
    cli_wrapped(stdout, 2, 7, line);
  }
}

void idle_print_guidance(const idle_guided *d, bool caution) {
  static const cli_style styles[] = {[LW_GUIDE_MOVE] = CLI_STRONG,
                                     [LW_GUIDE_SET] = CLI_GOOD,
                                     [LW_GUIDE_CANNOT] = CLI_BAD,
                                     [LW_GUIDE_WAIT] = CLI_DOUBT};
  static const char *const heads[] = {[LW_GUIDE_MOVE] = "next: ",
                                      [LW_GUIDE_SET] = "",
                                      [LW_GUIDE_CANNOT] = "",
                                      [LW_GUIDE_WAIT] = "wait: "};
  putchar('\n');
  cli_styled(stdout, styles[d->g.state], heads[d->g.state]);
  cli_wrapped(stdout, (int)strlen(heads[d->g.state]), 2, d->g.words);
  if (d->g.state == LW_GUIDE_MOVE && caution) {
    puts("Wheels chocked, brake on, hands and hoses clear of fan and belts, exhaust led outdoors.");
  }
  if (!d->causes) return;
  puts("what prevents it, most likely:");
  print_causes(d->causes);
}

static void write_json(const idle_guided *d) {
  json_t *root = lw_guidance_json(d->work->job, &d->goal, d->count, &d->g, d->causes);
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(9));
  putchar('\n');
  json_decref(root);
}

/* ---- the command ---- */

/* Nothing is turned on an engine that is not fit: what to do first is said instead. */
int idle_print_not_fit(const idle_guided *d) {
  const lw_work *work = d->work;
  if (work->intake.answer == LW_BELONGS_NOT) {
    cli_styled(stdout, CLI_BAD, "not the right unit: ");
    cli_wrapped(stdout, 20, 2, work->intake.summary);
    return CLI_OUTSIDE;
  }
  cli_styled(stdout, CLI_BAD, "not fit to be adjusted: ");
  cli_wrapped(stdout, 24, 2, work->fitness.first ? work->fitness.first : work->fitness.summary);
  return CLI_OUTSIDE;
}

lw_status idle_guided_read(idle_guided *d, lw_units *units, const char *path, lw_error *error) {
  *d = (idle_guided){.arena = lw_arena_new((size_t)256 << 20)};
  if (!d->arena) return lw_fail(error, LW_NO_MEMORY, "no memory for this job");
  lw_status status = lw_case_read(d->arena, units, path, &d->given, error);
  const lw_case *given = &d->given;
  if (status == LW_OK)
    status = lw_job_work(d->arena, given->job, given->card, given->fitted, &d->work, error);
  if (status != LW_OK) return status;
  if (d->work->fitness.overall == LW_NOT_FIT || d->work->intake.answer == LW_BELONGS_NOT)
    return LW_OK;
  status = lw_job_car(d->arena, units, d->work, &d->car, error);
  if (status != LW_OK) return status;
  d->goal = lw_goal_from(d->car->twin->card);
  d->count = lw_job_idles(d->work, d->sights, IDLE_SIGHTS_MOST);
  return LW_OK;
}

void idle_guided_free(idle_guided *d) {
  lw_arena_free(d->arena);
  d->arena = NULL;
}

lw_status idle_guided_next(idle_guided *d, lw_units *units, lw_error *error) {
  lw_status status =
      lw_guide_next(d->arena, units, d->car, &d->goal, d->sights, d->count, &d->g, error);
  if (status != LW_OK || d->g.state != LW_GUIDE_CANNOT) return status;
  lw_diagnosis *causes = NULL;
  size_t skip = d->count > LW_SIGHTS_MOST ? d->count - LW_SIGHTS_MOST : 0;
  if (lw_causes_find(d->arena, units, d->car, d->sights + skip, d->count - skip, NULL, &causes,
                     NULL) == LW_OK)
    d->causes = causes;
  return LW_OK;
}

/* ---- the command ---- */

static int say(const idle_guided *d, bool json) {
  assert(d->work); /* the job has been read */
  if (!d->car) return idle_print_not_fit(d);
  if (json) {
    write_json(d);
  } else {
    idle_print_start(d);
    idle_print_guidance(d, true);
  }
  return d->g.state == LW_GUIDE_SET ? CLI_DONE : CLI_OUTSIDE;
}

int cmd_idle_job(const char *path, bool json) {
  lw_error error = {0};
  idle_guided d = {0};
  lw_units *units = NULL;
  lw_status status = lw_units_open(&units, &error);
  if (status == LW_OK) status = idle_guided_read(&d, units, path, &error);
  if (status == LW_OK && d.car) status = idle_guided_next(&d, units, &error);
  int code = status == LW_OK ? cli_finish("idle", say(&d, json)) : cli_fail("idle", &error);
  lw_units_close(units);
  idle_guided_free(&d);
  return code;
}
