/* test_sheet.c - the handover sheet, read back with poppler: pages, words, where they stand, ink.
**
** Words are checked for what a person would see at once: none outside the paper, none printed over
** another. Works are made by hand where the sheet itself is meant, and by lw_job_work for the demo
** jobs.
*/
#include "check.h"

#include "leanward/record.h"

#include <dirent.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_TEXT = 1 << 20, MOST_WORDS = 6000, MOST_PATH = 1024 };

/* fontconfig keeps its one configuration until the process ends, where the leak checker does not
   see who holds it: a bare FcInit() shows the same 256 bytes, and FcFini() frees them. It does not
   grow with the number of sheets. */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void) {
  return "leak:libfontconfig\n";
}

typedef struct bench {
  lw_arena *arena;
  lw_units *units;
  char folder[64], pdf[96];
  char *text; /* what pdftotext saw */
} bench;

static int setup(void **state) {
  bench *b = calloc(1, sizeof *b);
  lw_error error = {0};
  if (!b) return 1;
  snprintf(b->folder, sizeof b->folder, "/tmp/leanward-sheet-XXXXXX");
  if (!mkdtemp(b->folder)) return 1;
  snprintf(b->pdf, sizeof b->pdf, "%s/sheet.pdf", b->folder);
  b->arena = lw_arena_new(0);
  b->text = calloc(1, MOST_TEXT);
  *state = b;
  return b->arena && b->text && lw_units_open(&b->units, &error) == LW_OK ? 0 : 1;
}

static int teardown(void **state) {
  bench *b = *state;
  unlink(b->pdf);
  rmdir(b->folder);
  lw_units_close(b->units);
  lw_arena_free(b->arena);
  free(b->text);
  free(b);
  return 0;
}

/* ---- reading a PDF back ---- */

/* What a command says of the sheet: before and after stand around the file's name. */
static size_t output(bench *b, const char *before, const char *after) {
  char command[300];
  snprintf(command, sizeof command, "%s '%s' %s", before, b->pdf, after);
  FILE *pipe = popen(command, "r");
  assert_non_null(pipe);
  size_t length = fread(b->text, 1, MOST_TEXT - 1, pipe);
  b->text[length] = '\0';
  assert_int_equal(pclose(pipe), 0);
  return length;
}

static int pages(bench *b) {
  output(b, "pdfinfo", "");
  const char *at = strstr(b->text, "Pages:");
  assert_non_null(at);
  return atoi(at + 6);
}

typedef struct word {
  int page;
  double x0, y0, x1, y1;
  char text[60];
} word;

typedef struct words {
  word word[MOST_WORDS];
  size_t count;
  double width, height;
} words;

static void words_read(bench *b, words *w) {
  memset(w, 0, sizeof *w);
  output(b, "pdftotext -bbox", "-");
  int page = 0;
  for (char *line = strtok(b->text, "\n"); line; line = strtok(NULL, "\n")) {
    word *t = &w->word[w->count];
    double width = 0, height = 0;
    if (sscanf(line, " <page width=\"%lf\" height=\"%lf\">", &width, &height) == 2) {
      page++;
      w->width = width;
      w->height = height;
    } else if (sscanf(line, " <word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\">%59[^<]",
                      &t->x0, &t->y0, &t->x1, &t->y1, t->text) == 5) {
      t->page = page;
      assert_true(++w->count < MOST_WORDS);
    }
  }
}

static void no_word_is_off_the_paper(const words *w) {
  for (size_t i = 0; i < w->count; i++) {
    const word *t = &w->word[i];
    bool inside = t->x0 >= 30 && t->y0 >= 20 && t->x1 <= w->width - 30 && t->y1 <= w->height - 15;
    if (!inside) fprintf(stderr, "'%s' stands off the paper at %g %g\n", t->text, t->x0, t->y0);
    assert_true(inside);
  }
}

/* A word's box is as high as its line; lines that follow one another share a few tenths of a point.
   More than a quarter of the smaller box is print over print. */
static void no_word_is_over_another(const words *w) {
  for (size_t i = 0; i < w->count; i++) {
    for (size_t j = 0; j < i; j++) {
      const word *a = &w->word[i], *c = &w->word[j];
      if (a->page != c->page) continue;
      double across = fmin(a->x1, c->x1) - fmax(a->x0, c->x0);
      double down = fmin(a->y1, c->y1) - fmax(a->y0, c->y0);
      if (across <= 0.5 || down <= 0) continue;
      double small = fmin((a->x1 - a->x0) * (a->y1 - a->y0), (c->x1 - c->x0) * (c->y1 - c->y0));
      if (across * down <= 0.25 * small) continue;
      fprintf(stderr, "page %d: '%s' is printed over '%s'\n", a->page, a->text, c->text);
      fail();
    }
  }
}

/* Share of pixels of each page that are not white; no page may be empty. */
static void every_page_has_ink(bench *b) {
  size_t length = output(b, "pdftoppm -r 40 -gray", ""), at = 0;
  int found = 0;
  while (at < length) {
    int width = 0, height = 0, used = 0;
    assert_int_equal(sscanf(b->text + at, "P5 %d %d 255%n", &width, &height, &used), 2);
    at += (size_t)used + 1;
    size_t size = (size_t)width * (size_t)height, dark = 0;
    assert_true(at + size <= length);
    for (size_t i = 0; i < size; i++)
      dark += (unsigned char)b->text[at + i] < 200;
    double share = (double)dark / (double)size;
    if (share < 0.004 || share > 0.4) fprintf(stderr, "page %d: ink %.4f\n", found + 1, share);
    assert_true(share >= 0.004 && share <= 0.4);
    at += size;
    found++;
  }
  assert_int_equal(found, pages(b));
}

static void write_sheet(bench *b, const lw_work *work, const char *paper) {
  lw_error error = {0};
  char line[900];
  if (lw_sheet_write(work, b->pdf, paper, &error) == LW_OK) return;
  fprintf(stderr, "%s\n", lw_error_line(&error, line, sizeof line));
  fail();
}

/* All that holds for any sheet; returns its number of pages. */
static int sheet_holds(bench *b, const lw_work *work) {
  words *w = malloc(sizeof *w);
  assert_non_null(w);
  write_sheet(b, work, NULL);
  int count = pages(b);
  assert_true(count == 1 || count == 2);
  every_page_has_ink(b);
  words_read(b, w);
  NEAR(w->width, 595.276, 0.01);
  NEAR(w->height, 841.89, 0.01);
  assert_true(w->count > 60);
  no_word_is_off_the_paper(w);
  no_word_is_over_another(w);
  free(w);
  output(b, "pdftotext -layout", "- | tr -s ' \\n' ' '");
  HOLDS(b->text, "Handover sheet");
  HOLDS(b->text, "Advice, not a certificate");
  HOLDS(b->text, "Leanward " LW_VERSION);
  HOLDS(b->text, count == 1 ? "page 1 of 1" : "page 2 of 2");
  HOLDS(b->text, "Technician");
  HOLDS(b->text, "Customer");
  return count;
}

/* ---- works made by hand ---- */

typedef struct hand_made {
  lw_job job;
  lw_work work;
  lw_reading reading[60];
  lw_reading_work reading_work[60];
  lw_judgement judgement[4], found[4];
} hand_made;

/* A job with nothing but its number, worked by nobody. */
static hand_made *bare(bench *b) {
  hand_made *h = lw_arena_alloc(b->arena, sizeof *h);
  assert_non_null(h);
  lw_table_clear(lw_job_table(), &h->job);
  h->job.id = "T-1";
  h->work.job = &h->job;
  h->work.ambient = LW_NONE;
  h->work.found = h->work.left = SIZE_MAX;
  return h;
}

static lw_judgement co_judgement(double x, double u, lw_verdict verdict, size_t reading) {
  return (lw_judgement){.name = "CO at idle",
                        .source = "decal",
                        .gas = LW_GAS_CO,
                        .at = LW_AT_IDLE,
                        .limit = {LW_NONE, LW_NONE, 0.02},
                        .reading = reading,
                        .value = {x, u},
                        .inside = 0.5,
                        .verdict = verdict};
}

static void add_reading(hand_made *h, lw_stage stage, double co) {
  size_t i = h->work.reading_count++;
  lw_reading *r = &h->reading[i];
  r->stage = stage;
  r->at = LW_AT_IDLE;
  r->speed = 68;
  r->co = co;
  r->co2 = 0.14;
  r->o2 = 0.003;
  r->hc = (lw_hc){220e-6, LW_HC_HEXANE};
  r->no = r->timing = LW_NONE;
  r->vacuum = 62e3;
  lw_reading_work *w = &h->reading_work[i];
  *w = (lw_reading_work){.reading = r, .has_gas = true, .at = LW_AT_IDLE};
  w->exhaust.source = LW_LAMBDA_BALANCE;
  w->exhaust.lambda = (lw_measure){0.97, 0.005};
  w->exhaust.lambda_lo = 0.96;
  w->exhaust.lambda_hi = 0.98;
  w->exhaust.filled = (lw_gases){co, 0.14, 220e-6, 0.003, LW_NONE};
  w->exhaust.filled_u = (lw_gases){0.0005, 0.004, 7e-6, 0.0006, LW_NONE};
  h->work.readings = h->reading_work;
  if (stage == LW_AS_FOUND) h->work.found = i;
  if (stage == LW_AS_LEFT) h->work.left = i;
}

static hand_made *before_and_after(bench *b, double co, double u, lw_verdict verdict) {
  hand_made *h = bare(b);
  add_reading(h, LW_AS_FOUND, 0.037);
  add_reading(h, LW_AS_LEFT, co);
  h->found[0] = co_judgement(0.037, 0.001, LW_OUTSIDE, 0);
  h->judgement[0] = co_judgement(co, u, verdict, 1);
  h->work.judgements = h->judgement;
  h->work.judgements_found = h->found;
  h->work.judgement_count = h->work.judgement_found_count = 1;
  h->work.verdict = verdict;
  h->work.verdict_words = "as the limits say";
  return h;
}

/* length letters in words, ten to a word. */
static const char *long_text(bench *b, size_t length, bool spaced) {
  char *text = lw_arena_alloc(b->arena, length + 1);
  assert_non_null(text);
  for (size_t i = 0; i < length; i++)
    text[i] = spaced && i % 10 == 9 ? ' ' : (char)('a' + i % 26);
  return text;
}

static void an_empty_job_still_makes_one_decent_page(void **state) {
  bench *b = *state;
  assert_int_equal(sheet_holds(b, &bare(b)->work), 1);
  HOLDS(b->text, "No verdict");
  HOLDS(b->text, "Job T-1");
  HOLDS(b->text, "not given");
  HOLDS(b->text, "No exhaust reading and no limit was given");
  HOLDS(b->text, "Nothing was recorded as done");
  HOLDS(b->text, "Running exhaust in a closed room kills");
  assert_null(strstr(b->text, "Shortened"));
  assert_null(strstr(b->text, "nan"));
}

static void before_and_after_show_value_band_limit_and_verdict(void **state) {
  bench *b = *state;
  sheet_holds(b, &before_and_after(b, 0.0118, 0.0004, LW_WITHIN)->work);
  HOLDS(b->text, "at most 2.00 %");
  HOLDS(b->text, "3.70 \xC2\xB1 0.20 %");
  HOLDS(b->text, "1.18 \xC2\xB1 0.08 %");
  HOLDS(b->text, "outside");
  HOLDS(b->text, "within");
  HOLDS(b->text, "Within");
  HOLDS(b->text, "0.970 \xC2\xB1 0.010");
  HOLDS(b->text, "as the limits say");
}

static void every_verdict_is_said_in_words(void **state) {
  bench *b = *state;
  static const lw_verdict verdicts[] = {LW_OUTSIDE, LW_TOO_CLOSE, LW_WITHIN, LW_NO_VERDICT};
  static const char *const said[] = {"Outside", "Too close to call", "Within", "No verdict"};
  for (size_t i = 0; i < 4; i++) {
    sheet_holds(b, &before_and_after(b, 0.0198, 0.0005, verdicts[i])->work);
    HOLDS(b->text, said[i]);
    for (size_t j = 0; j < 4; j++) {
      if (j != i) assert_null(strstr(b->text, said[j]));
    }
  }
}

static void words_of_users_are_text_and_never_markup(void **state) {
  bench *b = *state;
  hand_made *h = before_and_after(b, 0.0118, 0.0004, LW_WITHIN);
  h->job.complaint = "<b>rough</b> & \"smoky\" <span size='99999'>idle</span> &amp; %s %n";
  h->job.customer = "<i>";
  h->job.shop = "A\x01\x02\tB \xE2\x80\xAE"
                "C\xFF"
                "D";
  sheet_holds(b, &h->work);
  HOLDS(b->text, "<b>rough</b> & \"smoky\" <span size='99999'>idle</span> &amp; %s %n");
  HOLDS(b->text, "Customer: <i>");
  HOLDS(b->text, "A B C?D");
}

/* 12 cylinders, 40 readings, long words everywhere, and texts without a single space. */
static hand_made *hostile(bench *b) {
  hand_made *h = before_and_after(b, 0.0118, 0.0004, LW_TOO_CLOSE);
  lw_check *checks = h->work.fitness.checks;
  const char *spaced = long_text(b, 400, true), *solid = long_text(b, 300, false);
  lw_done *done = lw_arena_array(b->arena, 80, sizeof *done);
  const char **notes = lw_arena_array(b->arena, 80, sizeof *notes);
  assert_true(done && notes);
  while (h->work.reading_count < 40)
    add_reading(h, LW_WORKING, 0.02);
  for (size_t i = 0; i < 40; i++)
    h->reading[i].label = i % 2 ? spaced : solid;
  for (size_t i = 0; i < LW_CHECK_COUNT; i++) {
    checks[i] = (lw_check){.name = i % 2 ? "compression" : solid,
                           .answer = LW_NOT_FIT,
                           .found = "128, 131, 126, 130, 129, 127, 131, 128, 126, 130, 131, 85 psi",
                           .expected = spaced,
                           .why = spaced,
                           .next = solid};
  }
  for (size_t i = 0; i < 80; i++) {
    done[i] = (lw_done){.what = i % 3 ? "idle speed set" : spaced,
                        .screw = i % 5 ? NULL : solid,
                        .turns = i % 2 ? LW_NONE : -0.25};
    notes[i] = spaced;
  }
  h->job.done = (lw_list){done, 80};
  h->job.notes = (lw_texts){notes, 80};
  h->job.complaint = long_text(b, 5000, true);
  h->job.id = h->job.customer = h->job.technician = h->job.shop = h->job.date = solid;
  h->job.car.description = h->job.car.plate = h->job.car.engine = solid;
  h->job.checks.leak_place = spaced;
  h->work.verdict_words = spaced;
  h->work.advice = (lw_advice){.move = {.words = spaced, .reason = solid}, .target = spaced};
  h->work.advice.steps = h->work.advice.cares = h->work.gaps = h->work.cautions = notes;
  h->work.advice.step_count = h->work.advice.care_count = h->work.gap_count = 80;
  h->work.caution_count = 80;
  h->judgement[0].name = h->judgement[0].source = h->judgement[0].remark = solid;
  return h;
}

static void a_hostile_job_keeps_to_two_pages_and_says_what_it_left_out(void **state) {
  bench *b = *state;
  assert_int_equal(sheet_holds(b, &hostile(b)->work), 2);
  HOLDS(b->text, "Shortened to fit:");
  HOLDS(b->text, "complaint");
  HOLDS(b->text, "of 40 shown");
  HOLDS(b->text, "Too close to call");
}

static void a_megabyte_of_complaint_is_cut_and_said(void **state) {
  bench *b = *state;
  hand_made *h = bare(b);
  h->job.complaint = long_text(b, 1 << 20, true);
  h->job.file = "mega.yaml";
  sheet_holds(b, &h->work);
  HOLDS(b->text, "Shortened to fit: complaint. The whole is in mega.yaml");
}

static void values_off_any_scale_stay_on_the_paper(void **state) {
  bench *b = *state;
  hand_made *h = before_and_after(b, 0.0118, 0.0004, LW_WITHIN);
  h->judgement[0].value = (lw_measure){1.0, 1e9};
  h->found[0].value = (lw_measure){0, 0};
  h->reading_work[0].exhaust.lambda = (lw_measure){1e6, LW_NONE};
  h->reading_work[1].exhaust.lambda_hi = INFINITY;
  h->reading_work[1].exhaust.lean_open = true;
  h->reading[0].speed = 0;
  h->reading[1].speed = 1e4;
  sheet_holds(b, &h->work);
  HOLDS(b->text, "or leaner");
}

/* ---- files ---- */

static char *bytes_of(const char *path, size_t *length) {
  FILE *file = fopen(path, "rb");
  assert_non_null(file);
  char *bytes = malloc(MOST_TEXT);
  assert_non_null(bytes);
  *length = fread(bytes, 1, MOST_TEXT, file);
  fclose(file);
  return bytes;
}

static void the_same_work_gives_the_same_bytes_at_another_time(void **state) {
  bench *b = *state;
  static const char *const dates[] = {"2026-11-20", NULL};
  for (size_t i = 0; i < 2; i++) {
    hand_made *h = before_and_after(b, 0.0118, 0.0004, LW_WITHIN);
    size_t first_length = 0, second_length = 0;
    h->job.date = dates[i];
    write_sheet(b, &h->work, NULL);
    char *first = bytes_of(b->pdf, &first_length);
    sleep(2);
    write_sheet(b, &h->work, NULL);
    char *second = bytes_of(b->pdf, &second_length);
    assert_int_equal(first_length, second_length);
    assert_memory_equal(first, second, first_length);
    free(first);
    free(second);
  }
}

static void the_file_says_what_it_is(void **state) {
  bench *b = *state;
  hand_made *h = before_and_after(b, 0.0118, 0.0004, LW_WITHIN);
  h->job.technician = "M. K.";
  h->job.date = "2026-11-20";
  write_sheet(b, &h->work, NULL);
  output(b, "TZ=UTC pdfinfo -isodates", "");
  HOLDS(b->text, "Handover sheet, job T-1");
  HOLDS(b->text, "M. K.");
  HOLDS(b->text, "Leanward " LW_VERSION);
  HOLDS(b->text, "2026-11-20T00:00:00Z");
}

static void letter_paper_is_letter_and_other_paper_is_refused(void **state) {
  bench *b = *state;
  lw_error error = {0};
  const lw_work *work = &hostile(b)->work;
  words *w = malloc(sizeof *w);
  assert_non_null(w);
  write_sheet(b, work, "letter");
  words_read(b, w);
  NEAR(w->width, 612, 0.01);
  NEAR(w->height, 792, 0.01);
  no_word_is_off_the_paper(w);
  no_word_is_over_another(w);
  free(w);
  unlink(b->pdf);
  assert_int_equal(lw_sheet_write(work, b->pdf, "foolscap", &error), LW_BAD_INPUT);
  HOLDS(error.text, "foolscap");
  HOLDS(error.text, "A4 or Letter");
  assert_int_equal(access(b->pdf, F_OK), -1);
}

static void a_sheet_that_cannot_be_written_leaves_nothing_behind(void **state) {
  bench *b = *state;
  char path[160];
  lw_error error = {0};
  snprintf(path, sizeof path, "%s/no/such/folder.pdf", b->folder);
  assert_int_equal(lw_sheet_write(&bare(b)->work, path, NULL, &error), LW_IO);
  assert_true(error.text[0] != '\0');
  assert_int_equal(access(path, F_OK), -1);
}

/* ---- the demo jobs ---- */

static void demo_sheet_holds(bench *b, const char *path) {
  lw_case given = {0};
  const lw_work *work = NULL;
  lw_error error = {0};
  char line[900];
  bool good = lw_case_read(b->arena, b->units, path, &given, &error) == LW_OK &&
              lw_job_work(b->arena, given.job, given.card, given.fitted, &work, &error) == LW_OK;
  if (!good) fprintf(stderr, "%s\n", lw_error_line(&error, line, sizeof line));
  assert_true(good);
  sheet_holds(b, work);
  HOLDS(b->text, given.job->id);
  HOLDS(b->text, given.job->technician);
  HOLDS(b->text, given.card->unit);
  HOLDS(b->text, "Corran Works engine decal");
  HOLDS(b->text, "at most 2.00 %");
  HOLDS(b->text,
        strstr(path, "demo") || strstr(path, "wrong-unit") ? "at most 300 ppm" : "at most 350 ppm");
  HOLDS(b->text, "Lambda at idle");
  HOLDS(b->text, "Before and after");
  HOLDS(b->text, "Fit to adjust");
  assert_null(strstr(b->text, "Shortened"));
  assert_null(strstr(b->text, "(null)"));
  assert_null(strstr(b->text, "nan"));
}

static const lw_work *demo_work(bench *b, const char *name) {
  char path[MOST_PATH];
  lw_case given = {0};
  const lw_work *work = NULL;
  lw_error error = {0};
  snprintf(path, sizeof path, LW_SOURCE_ROOT "/jobs/%s.yaml", name);
  assert_int_equal(lw_case_read(b->arena, b->units, path, &given, &error), LW_OK);
  assert_int_equal(lw_job_work(b->arena, given.job, given.card, given.fitted, &work, &error),
                   LW_OK);
  return work;
}

static void each_demo_story_is_told(void **state) {
  bench *b = *state;
  static const struct {
    const char *job, *told[4];
  } stories[] = {
      {"demo", {"Unit: belongs here", "Engine: fit to adjust", "Within", "1/2 turn clockwise"}},
      {"wrong-unit", {"does not belong here", "idle mixture screws", "CW-2902M", "Outside"}},
      {"vacuum-leak",
       {"Engine: not fit to adjust", "Air leak: gasket", "lean or diluted", "Outside"}},
      {"weak-cylinder", {"Engine: not fit to adjust", "84, 159", "cylinder 6", "Outside"}},
      {"two-gas", {"Gas sample: not all read", "class II", "CO2 and O2 not read", "Within"}},
      {"probe-leak", {"Gas sample: in doubt", "outside air", "Nothing turned", "6.00"}},
      {"lean-enough", {"Engine: fit to adjust", "Within", "leave the screws", "class 0"}},
      {"flat-spot",
       {"Engine: fit to adjust", "Within", "When the throttle was opened quickly",
        "Snap from idle: CO 0.6 to 3.2 %; hesitates"}},
  };
  for (size_t i = 0; i < sizeof stories / sizeof stories[0]; i++) {
    write_sheet(b, demo_work(b, stories[i].job), NULL);
    output(b, "pdftotext -layout", "- | tr -s ' \\n' ' '");
    for (size_t j = 0; j < 4; j++)
      HOLDS(b->text, stories[i].told[j]);
  }
}

static void every_demo_job_makes_a_whole_sheet(void **state) {
  char path[MOST_PATH];
  size_t count = 0;
  DIR *dir = opendir(LW_SOURCE_ROOT "/jobs");
  assert_non_null(dir);
  for (const struct dirent *e = readdir(dir); e; e = readdir(dir)) {
    size_t n = strlen(e->d_name);
    if (n < 6 || strcmp(e->d_name + n - 5, ".yaml") != 0) continue;
    snprintf(path, sizeof path, LW_SOURCE_ROOT "/jobs/%s", e->d_name);
    demo_sheet_holds(*state, path);
    count++;
  }
  closedir(dir);
  assert_true(count >= 7);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(an_empty_job_still_makes_one_decent_page),
      cmocka_unit_test(before_and_after_show_value_band_limit_and_verdict),
      cmocka_unit_test(every_verdict_is_said_in_words),
      cmocka_unit_test(words_of_users_are_text_and_never_markup),
      cmocka_unit_test(a_hostile_job_keeps_to_two_pages_and_says_what_it_left_out),
      cmocka_unit_test(a_megabyte_of_complaint_is_cut_and_said),
      cmocka_unit_test(values_off_any_scale_stay_on_the_paper),
      cmocka_unit_test(the_same_work_gives_the_same_bytes_at_another_time),
      cmocka_unit_test(the_file_says_what_it_is),
      cmocka_unit_test(letter_paper_is_letter_and_other_paper_is_refused),
      cmocka_unit_test(a_sheet_that_cannot_be_written_leaves_nothing_behind),
      cmocka_unit_test(every_demo_job_makes_a_whole_sheet),
      cmocka_unit_test(each_demo_story_is_told),
  };
  return cmocka_run_group_tests(tests, setup, teardown);
}
