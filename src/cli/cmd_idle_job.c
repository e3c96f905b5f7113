/* cmd_idle_job.c - `leanward idle JOB`: the next move at the screws, from the readings so far. */
#include "cli_twin.h"

#include "leanward/causes.h"
#include "leanward/guide.h"
#include "leanward/job_car.h"

#include <math.h>
#include <string.h>

enum { SIGHTS_MOST = 32, SHOWN_MOST = 3 };

/* What was asked of the guide and what it said. */
typedef struct guided {
  const lw_work *work;
  lw_test_car *car;
  lw_goal goal;
  lw_sight sights[SIGHTS_MOST];
  size_t count;
  lw_guidance g;
  const lw_diagnosis *causes; /* when the screws cannot do it; NULL: not weighed */
} guided;

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

static void print_goal(const guided *d) {
  const lw_goal *g = &d->goal;
  printf("wanted: %.0f rpm (within %.0f), CO %.1f to %.1f %%", rpm(g->speed), rpm(g->speed_within),
         100 * g->co_lo, 100 * g->co_hi);
  if (lw_known(g->hc_most)) printf(", HC at most %.0f ppm", 1e6 * g->hc_most);
  puts("");
}

static void print_history(const guided *d) {
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

static void print_causes(const lw_diagnosis *c) {
  for (size_t i = 0; i < c->cause_count && i < SHOWN_MOST; i++) {
    char line[400];
    snprintf(line, sizeof line, "%.0f %%  %s: %s", 100 * c->causes[i].probability,
             c->causes[i].name, lw_cause_remedy(c->causes[i].id));
    fputs("  ", stdout);
    cli_wrapped(stdout, 2, 7, line);
  }
}

static void print_guidance(const guided *d) {
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
  if (d->g.state == LW_GUIDE_MOVE) {
    puts("Wheels chocked, brake on, hands and hoses clear of fan and belts, exhaust led outdoors.");
  }
  if (!d->causes) return;
  puts("what prevents it, most likely:");
  print_causes(d->causes);
}

/* ---- JSON ---- */

static json_t *number(double x) {
  return lw_known(x) ? json_real(x) : json_null();
}

static json_t *moves_json(const lw_guidance *g) {
  json_t *moves = json_array();
  for (size_t i = 0; i < g->move_count; i++) {
    const lw_screw_move *m = &g->moves[i];
    json_array_append_new(moves, json_pack("{s:s, s:f, s:o, s:o, s:b, s:s}", "screw", m->screw,
                                           "turns_counter_clockwise", m->turns, "from",
                                           number(m->from), "to", number(m->to), "and_back",
                                           (int)m->back, "words", m->words));
  }
  return moves;
}

static void write_json(const guided *d) {
  static const char *const states[] = {[LW_GUIDE_MOVE] = "move",
                                       [LW_GUIDE_SET] = "set",
                                       [LW_GUIDE_CANNOT] = "cannot",
                                       [LW_GUIDE_WAIT] = "wait"};
  const lw_guidance *g = &d->g;
  bool move = g->state == LW_GUIDE_MOVE;
  json_t *expect =
      move ? json_pack("{s:f, s:f, s:f, s:f, s:f, s:f}", "speed_rad_s", g->speed, "co", g->co,
                       "co_u", g->co_u, "hc_hexane", g->hc, "hc_u", g->hc_u, "vacuum_pa", g->vacuum)
           : json_null();
  json_t *causes = json_array();
  for (size_t i = 0; d->causes && i < d->causes->cause_count; i++)
    json_array_append_new(causes, json_pack("{s:s, s:f}", "cause", d->causes->causes[i].name,
                                            "probability", d->causes->causes[i].probability));
  json_t *root =
      json_pack("{s:s, s:s, s:s, s:{s:f, s:f, s:f, s:f}, s:i, s:o, s:o, s:o}", "job",
                d->work->job->id ? d->work->job->id : "", "state", states[g->state], "words",
                g->words, "wanted", "speed_rad_s", d->goal.speed, "co", d->goal.co, "co_least",
                d->goal.co_lo, "co_most", d->goal.co_hi, "readings", (int)d->count, "moves",
                moves_json(g), "expect", expect, "causes", causes);
  json_dumpf(root, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(9));
  putchar('\n');
  json_decref(root);
}

/* ---- the command ---- */

/* Nothing is turned on an engine that is not fit: what to do first is said instead. */
static int not_fit(const lw_work *work) {
  if (work->intake.answer == LW_BELONGS_NOT) {
    cli_styled(stdout, CLI_BAD, "not the right unit: ");
    cli_wrapped(stdout, 20, 2, work->intake.summary);
    return cli_finish("idle", CLI_OUTSIDE);
  }
  cli_styled(stdout, CLI_BAD, "not fit to be adjusted: ");
  cli_wrapped(stdout, 24, 2, work->fitness.first ? work->fitness.first : work->fitness.summary);
  return cli_finish("idle", CLI_OUTSIDE);
}

static lw_status guide(lw_arena *arena, lw_units *units, guided *d, lw_error *error) {
  lw_status status = lw_job_car(arena, units, d->work, &d->car, error);
  if (status != LW_OK) return status;
  d->goal = lw_goal_from(d->car->twin->card);
  d->count = lw_job_idles(d->work, d->sights, SIGHTS_MOST);
  status = lw_guide_next(arena, units, d->car, &d->goal, d->sights, d->count, &d->g, error);
  if (status != LW_OK || d->g.state != LW_GUIDE_CANNOT) return status;
  lw_diagnosis *causes = NULL;
  size_t skip = d->count > LW_SIGHTS_MOST ? d->count - LW_SIGHTS_MOST : 0;
  if (lw_causes_find(arena, units, d->car, d->sights + skip, d->count - skip, NULL, &causes,
                     NULL) == LW_OK)
    d->causes = causes;
  return LW_OK;
}

int cmd_idle_job(const char *path, bool json) {
  lw_error error = {0};
  lw_case given = {0};
  guided d = {0};
  lw_units *units = NULL;
  lw_arena *arena = lw_arena_new((size_t)256 << 20);
  int code = CLI_DONE;
  lw_status status = arena ? lw_units_open(&units, &error)
                           : lw_fail(&error, LW_NO_MEMORY, "no memory for this job");
  if (status == LW_OK) status = lw_case_read(arena, units, path, &given, &error);
  if (status == LW_OK)
    status = lw_job_work(arena, given.job, given.card, given.fitted, &d.work, &error);
  bool fit = status == LW_OK && d.work->fitness.overall != LW_NOT_FIT &&
             d.work->intake.answer != LW_BELONGS_NOT;
  if (fit) status = guide(arena, units, &d, &error);
  if (status != LW_OK) {
    code = cli_fail("idle", &error);
  } else if (!fit) {
    code = not_fit(d.work);
  } else if (json) {
    write_json(&d);
    code = cli_finish("idle", d.g.state == LW_GUIDE_SET ? CLI_DONE : CLI_OUTSIDE);
  } else {
    print_goal(&d);
    print_history(&d);
    print_guidance(&d);
    code = cli_finish("idle", d.g.state == LW_GUIDE_SET ? CLI_DONE : CLI_OUTSIDE);
  }
  lw_units_close(units);
  lw_arena_free(arena);
  return code;
}
