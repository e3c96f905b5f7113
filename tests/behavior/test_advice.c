/* test_advice.c - whatever a job holds, it is worked: random jobs, jobs without cards, very large
** and very empty ones, and memory that ends at every place. What must never happen is held here:
** a move past a stop, a move on an engine that is not fit, a text with a hole in it.
*/
#include "job_kit.h"

enum { JOBS = 20000, SCREWS_MOST = 4, READINGS_MOST = 2 };

/* One random job with its card; everything lives in here. */
typedef struct world {
  uint64_t seed;
  lw_card card;
  lw_job job;
  lw_screw_card screws[SCREWS_MOST];
  lw_reading readings[READINGS_MOST];
  lw_named positions[SCREWS_MOST];
  lw_analyzer analyzer;
  lw_limit_said limits[4];
  double compression[8];
  const char *sealed[2];
} world;

static bool chance(world *w, double share) {
  return kit_chance(&w->seed) < share;
}

static double between(world *w, double lo, double hi) {
  return kit_between(&w->seed, lo, hi);
}

static double maybe(world *w, double share, double lo, double hi) {
  return chance(w, share) ? between(w, lo, hi) : NAN;
}

/* A span, one figure, one bound, or nothing. */
static lw_range any_range(world *w, double lo, double hi) {
  double a = between(w, lo, hi), b = between(w, lo, hi);
  switch (kit_pick(&w->seed, 5)) {
  case 0: return lw_range_none;
  case 1: return (lw_range){a, a, a};
  case 2: return (lw_range){NAN, NAN, a};
  case 3: return (lw_range){a, NAN, NAN};
  default: return (lw_range){fmin(a, b), 0.5 * (a + b), fmax(a, b)};
  }
}

/* On a sixteenth mostly, as a screwdriver is read; at the stops and beyond them now and then. */
static double any_position(world *w, lw_range travel) {
  if (chance(w, 0.15)) return NAN;
  if (chance(w, 0.15) && lw_known(travel.hi)) return travel.hi;
  if (chance(w, 0.1) && lw_known(travel.lo)) return travel.lo;
  if (chance(w, 0.1)) return 0;
  double at = between(w, 0, 6);
  return chance(w, 0.5) ? round(at * 16) / 16 : at;
}

static void fill_screws(world *w) {
  static const char *const names[SCREWS_MOST] = {"left", "right", "front", "rear"};
  size_t count = kit_pick(&w->seed, SCREWS_MOST + 1);
  for (size_t i = 0; i < count; i++) {
    lw_screw_card *s = &w->screws[i];
    *s = (lw_screw_card){.name = names[i], .kind = (lw_screw_kind)kit_pick(&w->seed, 6)};
    s->travel = chance(w, 0.2)   ? lw_range_none
                : chance(w, 0.2) ? (lw_range){NAN, NAN, between(w, 1, 4)}
                                 : (lw_range){between(w, 0, 1), NAN, between(w, 1, 5)};
    s->preset = lw_range_none;
    w->positions[i] = (lw_named){names[i], any_position(w, s->travel), 0};
  }
  w->card.carburetor.screws = (lw_list){w->screws, count};
  w->sealed[0] = "cap ZQX";
  w->sealed[1] = chance(w, 0.5) ? "right mixture screw" : "idle speed screw";
  w->card.carburetor.sealed = (lw_texts){w->sealed, kit_pick(&w->seed, 3)};
}

static void fill_reading(world *w, lw_reading *r) {
  lw_fuel fuel = {0};
  lw_fuel_by_name("gasoline", &fuel);
  lw_burn burn = {between(w, 0.6, 1.5), between(w, 0.01, 0.2), between(w, 0.002, 0.15)};
  lw_products p = lw_burn_products(&fuel, &burn, NAN, NAN);
  double air = chance(w, 0.3) ? between(w, 0, 1) : 0, own = 1 - air;
  bool wild = chance(w, 0.1); /* gases no engine gives, and some none can */
  double all = chance(w, 0.85) ? 1 : 0.5;
  r->co = maybe(w, all, 1, 1) * (wild ? between(w, 0, 0.3) : p.dry.co * own);
  r->co2 = maybe(w, all, 1, 1) * (wild ? between(w, 0, 0.3) : p.dry.co2 * own);
  r->o2 = maybe(w, all, 1, 1) * (wild ? between(w, 0, 0.25) : p.dry.o2 * own + 0.2095 * air);
  r->hc.x = maybe(w, all, 1, 1) * (wild ? between(w, 0, 0.5) : p.dry.hc / 6 * own);
  r->hc.basis = (lw_hc_basis)kit_pick(&w->seed, 4);
  r->no = maybe(w, 0.2, 0, 0.003);
  r->speed = maybe(w, 0.9, 40, 110);
  r->gear = (lw_gear)kit_pick(&w->seed, 4);
  r->choke = chance(w, 0.8) ? LW_CHOKE_OPEN : (lw_choke_state)kit_pick(&w->seed, 4);
  r->air_cleaner = chance(w, 0.8) ? LW_YES : (lw_answer)kit_pick(&w->seed, 3);
  r->settled = chance(w, 0.8) ? LW_YES : (lw_answer)kit_pick(&w->seed, 3);
  r->stage = (lw_stage)kit_pick(&w->seed, 4);
  r->vacuum = maybe(w, 0.7, 0, 90e3);
  r->needle = chance(w, 0.7) ? LW_NEEDLE_STEADY : (lw_needle)kit_pick(&w->seed, 6);
  r->screws = (lw_list){w->positions, w->card.carburetor.screws.count};
}

static void fill_checks(world *w) {
  lw_checks *k = &w->job.checks;
  bool sound = chance(w, 0.6);
  for (size_t i = 0; i < 8; i++)
    w->compression[i] = sound ? 950e3 : between(w, 0, 1200e3);
  k->compression = (lw_values){w->compression, chance(w, 0.8) ? 8 : kit_pick(&w->seed, 9)};
  k->dwell = sound ? 0.6 : maybe(w, 0.6, 0, 1.5);
  k->timing = sound ? 0.08 : maybe(w, 0.6, -0.5, 0.8);
  k->leak_test = sound ? LW_LEAK_NONE : (lw_leak_test)kit_pick(&w->seed, 4);
  k->warm = sound ? LW_YES : (lw_answer)kit_pick(&w->seed, 3);
  k->choke_open = sound ? LW_YES : (lw_answer)kit_pick(&w->seed, 3);
  k->air_cleaner = sound ? LW_YES : (lw_answer)kit_pick(&w->seed, 3);
  k->dashpot_clear = sound ? LW_YES : (lw_answer)kit_pick(&w->seed, 3);
  k->accessories_off = sound ? LW_YES : (lw_answer)kit_pick(&w->seed, 3);
  k->fall_time = sound ? 2 : maybe(w, 0.5, 0, 10);
  k->coolant = maybe(w, 0.3, 250, 390);
  k->fuel_level = maybe(w, 0.3, 0, 0.03);
}

static void fill_limits(world *w) {
  static const char *const sets[] = {"european idle", "british idle", "us federal cycle",
                                     "european idle, catalyst"};
  size_t count = kit_pick(&w->seed, 5);
  for (size_t i = 0; i < count; i++) {
    lw_limit_said *l = &w->limits[i];
    *l = (lw_limit_said){.public_set = chance(w, 0.3) ? sets[kit_pick(&w->seed, 4)] : NULL,
                         .gas = (lw_gas_name)kit_pick(&w->seed, 6),
                         .at = (lw_condition)kit_pick(&w->seed, 5)};
    double scale = l->gas == LW_GAS_HC || l->gas == LW_GAS_NO ? 0.002 : l->gas ? 0.05 : 2;
    l->value = any_range(w, 0, scale);
    while (!l->public_set && !lw_range_known(l->value)) /* the reader refuses a limit of nothing */
      l->value = any_range(w, 0, scale);
  }
  w->job.limits = (lw_list){w->limits, count};
}

static void make(world *w) {
  lw_table_clear(lw_card_table(), &w->card);
  lw_table_clear(lw_job_table(), &w->job);
  w->card.file = "card.yaml";
  w->card.unit = "A-1";
  w->card.year = chance(w, 0.9) ? 1968 : 0;
  w->card.engine.cylinders = 8;
  w->card.engine.displacement = maybe(w, 0.8, 0.5e-3, 6e-3);
  w->card.engine.layout = (int)kit_pick(&w->seed, 4);
  w->card.engine.initial_timing = (lw_range){0.07, 0.08, 0.09};
  w->card.engine.dwell = (lw_range){0.5, 0.6, 0.7};
  w->card.idle.speed = any_range(w, 60, 80);
  w->card.idle.speed_drive = any_range(w, 50, 70);
  w->card.idle.gear = (lw_gear)kit_pick(&w->seed, 4);
  w->card.idle.co = any_range(w, 0, 0.05);
  w->card.carburetor.speed_thread = (lw_thread)kit_pick(&w->seed, 3);
  w->job.file = "job.yaml";
  w->job.id = "R";
  w->job.fitted_unit = chance(w, 0.9) ? "A-1" : chance(w, 0.5) ? "A-2" : NULL;
  w->job.weather.altitude = maybe(w, 0.5, -400, 4000);
  fill_screws(w);
  fill_checks(w);
  fill_limits(w);
  lw_analyzer a = {.name = "bench", .accuracy = (lw_class)kit_pick(&w->seed, 5), .pef = NAN};
  a.basis = (lw_basis)kit_pick(&w->seed, 3);
  a.co = a.co2 = a.hc = a.o2 = a.no = NAN;
  a.co_step = a.co2_step = a.hc_step = a.o2_step = a.no_step = NAN;
  w->analyzer = a;
  w->job.analyzers = (lw_list){&w->analyzer, kit_pick(&w->seed, 2)};
  size_t count = chance(w, 0.05) ? 0 : chance(w, 0.8) ? 1 : READINGS_MOST;
  for (size_t i = 0; i < count; i++) {
    w->readings[i] = (lw_reading){.at = i ? LW_AT_FAST_IDLE : LW_AT_IDLE, .timing = NAN};
    fill_reading(w, &w->readings[i]);
  }
  w->job.readings = (lw_list){w->readings, count};
}

/* Values that no gas can have: what lw_exhaust_work refuses, written out on its own. */
static bool impossible(const lw_reading *r) {
  return r->co > 0.25 || r->co2 > 0.25 || r->co + r->co2 > 0.25 || r->o2 > 0.21;
}

/* ---- what must never happen ---- */

static bool letter(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

static bool holds_word(const char *text, const char *word) {
  size_t n = strlen(word);
  for (const char *at = strstr(text, word); at; at = strstr(at + 1, word)) {
    if ((at == text || !letter(at[-1])) && !letter(at[n])) return true;
  }
  return false;
}

static void whole_text(void *to, const char *text, bool needed, kit_where where) {
  size_t *bad = to;
  (void)where;
  bool hole = !text ? needed
                    : !text[0] || holds_word(text, "nan") || holds_word(text, "inf") ||
                          strstr(text, "(null)") || strstr(text, "not known rpm");
  if (hole) fprintf(stderr, "hole in: %s\n", text ? text : "(missing)");
  *bad += hole;
}

static bool sealed_here(const lw_card *card, const char *screw) {
  for (size_t i = 0; i < card->carburetor.sealed.count; i++) {
    const char *text = card->carburetor.sealed.text[i];
    if (strncmp(text, screw, strlen(screw)) == 0 && strstr(text, "screw")) return true;
  }
  return false;
}

/* Every screw the move speaks of ends inside its travel and not under its seat. */
static void stays_inside(const lw_card *card, const lw_reading *r, const lw_move *m) {
  const lw_list *list = &card->carburetor.screws;
  const lw_screw_card *s = list->items;
  const lw_named *at = r->screws.items;
  double lo = INFINITY,
         hi = -INFINITY; /* of the first one's kind: only those are brought together */
  const lw_screw_card *first = NULL;
  for (size_t i = 0; i < list->count; i++) {
    if (s[i].kind == LW_SCREW_FIXED || sealed_here(card, s[i].name)) continue;
    if (!first) first = &s[i];
    if (s[i].kind != first->kind || !lw_known(at[i].x)) continue;
    lo = fmin(lo, at[i].x);
    hi = fmax(hi, at[i].x);
  }
  for (size_t i = 0; i < list->count; i++) {
    bool meant = s[i].kind != LW_SCREW_FIXED && !sealed_here(card, s[i].name);
    if (strcmp(m->screw, s[i].name) == 0) assert_true(meant);
    if (!meant || !lw_known(at[i].x)) continue;
    double seat = lw_known(s[i].travel.lo) ? s[i].travel.lo : 0;
    double stop = lw_known(s[i].travel.hi) ? s[i].travel.hi : INFINITY;
    if (m->kind == LW_MOVE_BALANCE) {
      if (s[i].kind != first->kind) continue;
      assert_true(0.5 * (lo + hi) >= seat - 1e-9 && 0.5 * (lo + hi) <= stop + 1e-9);
      continue;
    }
    bool outward = (s[i].kind == LW_SCREW_AIR_BLEED) == m->clockwise;
    double end = at[i].x + (outward ? m->turns : -m->turns);
    if (outward ? end > stop + 1e-9 : end < seat - 1e-9)
      fail_msg("%s at %g, travel %g to %g: %s", s[i].name, at[i].x, seat, stop, m->words);
  }
}

static void moves_only_when_it_may(const world *w, const lw_work *work) {
  const lw_move *m = &work->advice.move;
  if (!kit_turns_something(work)) return;
  assert_true(work->fitness.overall != LW_NOT_FIT);
  assert_true(work->intake.answer != LW_BELONGS_NOT);
  assert_true(w->readings[0].settled != LW_NO);
  assert_false(work->readings[0].exhaust.void_sample);
  assert_true(m->turns > 0 && m->turns <= 6);
  assert_non_null(m->screw);
  if (m->kind == LW_MOVE_SPEED) {
    assert_false(sealed_here(&w->card, "idle speed"));
    assert_true(m->turns <= 0.5);
    return;
  }
  if (m->kind == LW_MOVE_MIXTURE) assert_int_equal(m->leaner, m->clockwise);
  stays_inside(&w->card, &w->readings[0], m);
}

static void chances_are_chances(const lw_judgement *j, size_t count) {
  for (size_t i = 0; i < count; i++) {
    bool judged = j[i].verdict != LW_NO_VERDICT;
    if (judged ? !(j[i].inside >= 0 && j[i].inside <= 1) : j[i].inside < 0 || j[i].inside > 1)
      fail_msg("%s: %g", j[i].name, j[i].inside);
    if (judged) assert_true(lw_known(j[i].value.x));
    if (judged) assert_true(j[i].at != LW_AT_CYCLE);
  }
}

static void random_jobs_are_worked_and_never_turn_too_far(void **state) {
  (void)state;
  world w = {.seed = 19681968};
  size_t turned = 0, sought = 0, first = 0, refused = 0, holes = 0;
  for (int i = 0; i < JOBS; i++) {
    make(&w);
    lw_arena *arena = lw_arena_new(0);
    const lw_work *work = NULL;
    lw_error error = {0};
    lw_status status = lw_job_work(arena, &w.job, &w.card, NULL, &work, &error);
    bool bad = false;
    for (size_t r = 0; r < w.job.readings.count; r++)
      bad = bad || impossible(&w.readings[r]);
    if (status != (bad ? LW_BAD_INPUT : LW_OK)) fail_msg("job %d: %s", i, error.text);
    if (status == LW_OK) {
      moves_only_when_it_may(&w, work);
      chances_are_chances(work->judgements, work->judgement_count);
      chances_are_chances(work->judgements_found, work->judgement_found_count);
      kit_walk(work, whole_text, &holes);
      turned += kit_turns_something(work);
      sought += work->advice.move.kind == LW_MOVE_SEEK;
      first += work->advice.move.kind == LW_MOVE_FIRST;
    }
    refused += status == LW_BAD_INPUT;
    lw_arena_free(arena);
    if (holes) fail_msg("job %d has holes in its texts", i);
  }
  print_message(
      "%d jobs: %zu turn a screw, %zu seek a cause, %zu do something first, %zu refused\n",
      (int)JOBS, turned, sought, first, refused);
  assert_true(turned > 1000 && sought > 500 && first > 1000 && refused > 100);
}

/* ---- edges ---- */

static void a_job_without_any_card_is_worked(void **state) {
  kit *k = *state;
  const lw_work *w =
      kit_work_with(k, kit_job(k, &(story){.reading = KIT_READ(KIT_RICH, "")}), NULL, NULL);
  size_t holes = 0;
  kit_walk(w, whole_text, &holes);
  assert_int_equal(holes, 0);
  HOLDS(w->gaps[0], "no spec card");
  assert_false(kit_turns_something(w));
}

static void a_fitted_card_alone_is_worked(void **state) {
  kit *k = *state;
  const lw_work *w =
      kit_work_with(k, kit_job(k, &(story){0}), NULL, kit_card(k, "A-1", &(story){0}));
  size_t holes = 0;
  kit_walk(w, whole_text, &holes);
  assert_int_equal(holes, 0);
  assert_int_equal(w->intake.answer, LW_BELONGS_UNKNOWN);
}

static void an_empty_job_says_what_is_missing(void **state) {
  kit *k = *state;
  const lw_work *w = kit_work_with(k, kit_job_text(k, "job: E\n"), NULL, NULL);
  size_t holes = 0;
  kit_walk(w, whole_text, &holes);
  assert_int_equal(holes, 0);
  assert_int_equal(w->verdict, LW_NO_VERDICT);
  assert_int_equal(w->advice.move.kind, LW_MOVE_FIRST);
  HOLDS(w->advice.move.words, "take an idle reading");
  assert_true(w->gap_count >= 3);
  assert_true(w->found == SIZE_MAX && w->left == SIZE_MAX);
}

static void forty_readings_and_sixteen_cylinders_are_worked(void **state) {
  kit *k = *state;
  lw_job *job = kit_job(k, &(story){0});
  lw_reading *many = lw_arena_array(k->arena, 40, sizeof *many);
  double compression[16], leakage[16];
  for (size_t i = 0; i < 40; i++)
    many[i] = *(const lw_reading *)job->readings.items;
  for (size_t i = 0; i < 16; i++) {
    compression[i] = i % 2 ? 1000e3 : 200e3;
    leakage[i] = i % 2 ? 0.1 : 0.9;
  }
  many[0].stage = LW_AS_FOUND;
  job->readings = (lw_list){many, 40};
  job->checks.compression = (lw_values){compression, 16};
  job->checks.leakage = (lw_values){leakage, 16};
  const lw_work *w = kit_work_with(k, job, kit_card(k, "A-1", &(story){0}), NULL);
  size_t holes = 0;
  kit_walk(w, whole_text, &holes);
  assert_int_equal(holes, 0);
  assert_int_equal(w->reading_count, 40);
  assert_int_equal(w->left, 39);
  HOLDS(kit_check(w, LW_CHECK_COMPRESSION)->why, "1, 3, 5, 7, 9, 11, 13, 15 are weak");
  HOLDS(kit_check(w, LW_CHECK_COMPRESSION)->found, "145");
}

static void gases_no_engine_gives_are_refused_with_their_place(void **state) {
  kit *k = *state;
  lw_job *job = kit_job(k, &(story){0});
  lw_reading r = *(const lw_reading *)job->readings.items;
  const lw_work *w = NULL;
  lw_error error = {0};
  r.o2 = 0.25;
  job->readings.items = &r;
  assert_int_equal(lw_job_work(k->arena, job, NULL, NULL, &w, &error), LW_BAD_INPUT);
  assert_null(w);
  HOLDS(error.field, "reading 1");
  HOLDS(error.field, "O2");
  assert_true(error.line > 0);
  assert_int_equal(lw_job_work(k->arena, job, NULL, NULL, &w, NULL), LW_BAD_INPUT);
}

/* Memory that ends anywhere gives no memory, never half an answer or a fall. */
static void memory_may_end_at_every_place(void **state) {
  kit *k = *state;
  const char *found = KIT_CHECKS_OPEN ", timing: 5 deg BTDC, leak test: found}";
  lw_job *job = kit_job(k, &(story){.job_tail = "fitted unit: A-2\n"
                                                "limits: [{public: european idle}]\n",
                                    .checks = found});
  const lw_card *card = kit_card(k, "A-1", &(story){.carburetor = "  dashpot: yes\n"});
  const lw_card *fitted = kit_card(k, "A-2", &(story){.screws = "[{name: air, kind: air bleed}]"});
  size_t failed = 0, limit = 1;
  for (bool done = false; !done; limit += limit < 4096 ? 61 : 331) {
    lw_arena *arena = lw_arena_new(limit);
    const lw_work *w = NULL;
    lw_error error = {0};
    lw_status status = lw_job_work(arena, job, card, fitted, &w, &error);
    if (status == LW_OK) {
      size_t holes = 0;
      assert_non_null(w);
      kit_walk(w, whole_text, &holes);
      assert_int_equal(holes, 0);
      done = true;
    } else {
      assert_int_equal(status, LW_NO_MEMORY);
      assert_null(w);
      assert_true(error.text[0] != '\0');
      failed++;
    }
    lw_arena_free(arena);
    assert_true(limit < (size_t)4 << 20);
  }
  print_message("a job with two cards needs about %zu bytes; %zu smaller limits gave no memory\n",
                limit, failed);
  assert_true(failed > 50);
}

#define T(name) cmocka_unit_test_setup_teardown(name, kit_setup, kit_teardown)

int main(void) {
  const struct CMUnitTest tests[] = {
      T(random_jobs_are_worked_and_never_turn_too_far),
      T(a_job_without_any_card_is_worked),
      T(a_fitted_card_alone_is_worked),
      T(an_empty_job_says_what_is_missing),
      T(forty_readings_and_sixteen_cylinders_are_worked),
      T(gases_no_engine_gives_are_refused_with_their_place),
      T(memory_may_end_at_every_place),
  };
  return cmocka_run_group_tests_name("advice", tests, NULL, NULL);
}
