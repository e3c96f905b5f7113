/* print_work.c - a worked job on a terminal, in the order a technician asks: does the unit belong,
** is the engine fit, what does the exhaust say, is it inside, what do I turn.
*/
#include "print_work.h"

#include <math.h>
#include <string.h>

static void heading(const char *text) {
  putchar('\n');
  cli_styled(stdout, CLI_STRONG, text);
  putchar('\n');
}

enum { LABEL_COLUMNS = 20 };

/* "  label: text" wrapped under the text. */
static void item(const char *label, const char *text) {
  printf("  %s: ", label);
  cli_wrapped(stdout, (int)lw_text_columns(label) + 4, 4, text);
}

static void bullet(const char *text) {
  fputs("  - ", stdout);
  cli_wrapped(stdout, 4, 4, text);
}

static cli_style fit_style(lw_fit fit) {
  return fit == LW_FIT ? CLI_GOOD : fit == LW_NOT_FIT ? CLI_BAD : CLI_DOUBT;
}

static cli_style verdict_style(lw_verdict v) {
  return v == LW_WITHIN ? CLI_GOOD : v == LW_OUTSIDE ? CLI_BAD : CLI_DOUBT;
}

/* ---- head and intake ---- */

static void print_head(const lw_work *w) {
  const lw_job *job = w->job;
  char car[200] = "";
  if (job->car.year) lw_text_append(car, sizeof car, "%d ", job->car.year);
  if (job->car.engine) lw_text_append(car, sizeof car, "%s", job->car.engine);
  if (job->car.transmission) {
    lw_text_append(car, sizeof car, ", %s", lw_transmission_text(job->car.transmission));
  }
  char title[160];
  snprintf(title, sizeof title, "Job %s", job->id);
  cli_styled(stdout, CLI_STRONG, title);
  if (job->date) printf(", %s", job->date);
  if (job->technician) printf(", %s", job->technician);
  putchar('\n');
  if (job->car.description) item("car", job->car.description);
  if (car[0]) item("engine", car);
  if (job->complaint) item("complaint", job->complaint);
}

static void print_intake(const lw_work *w) {
  heading("Does the unit belong here?");
  const lw_intake *in = &w->intake;
  const char *word = in->answer == LW_BELONGS       ? "yes"
                     : in->answer == LW_BELONGS_NOT ? "NO"
                                                    : "not known";
  fputs("  ", stdout);
  cli_styled(stdout,
             in->answer == LW_BELONGS       ? CLI_GOOD
             : in->answer == LW_BELONGS_NOT ? CLI_BAD
                                            : CLI_DOUBT,
             word);
  fputs(" - ", stdout);
  cli_wrapped(stdout, (int)strlen(word) + 5, 4, in->summary);
  for (size_t i = 0; i < in->difference_count; i++) {
    const lw_difference *d = &in->differences[i];
    char text[700];
    snprintf(text, sizeof text, "%s, fitted %s%s%s", d->expected, d->fitted, d->why ? ": " : "",
             d->why ? d->why : "");
    item(d->what, text);
  }
}

/* ---- fit to adjust ---- */

static void print_check(const lw_check *c) {
  const char *word = c->answer == LW_FIT ? "fit" : c->answer == LW_NOT_FIT ? "NOT FIT" : "?";
  printf("  %-22s ", c->name);
  cli_styled(stdout, fit_style(c->answer), word);
  printf("%*s", (int)(9 - strlen(word)), "");
  char text[1200] = "";
  if (c->found && !lw_text_same(c->found, c->why)) {
    lw_text_append(text, sizeof text, "%s; ", c->found);
  }
  lw_text_append(text, sizeof text, "%s", c->why);
  if (c->answer == LW_NOT_FIT && c->expected) {
    lw_text_append(text, sizeof text, " (expected %s)", c->expected);
  }
  if (c->answer == LW_NOT_FIT && c->next) lw_text_append(text, sizeof text, ". Next: %s", c->next);
  cli_wrapped(stdout, 34, 34, text);
}

static void print_fitness(const lw_work *w) {
  heading("Is the engine fit to be adjusted?");
  const lw_fitness *f = &w->fitness;
  for (size_t i = 0; i < LW_CHECK_COUNT; i++)
    print_check(&f->checks[i]);
  fputs("  => ", stdout);
  cli_styled(stdout, fit_style(f->overall), "");
  cli_wrapped(stdout, 5, 5, f->summary);
  if (f->overall != LW_FIT && f->first) item("first", f->first);
}

/* ---- exhaust ---- */

static void cell(double x, double scale, int decimals, int width) {
  if (lw_known(x)) {
    printf("%*.*f", width, decimals, x * scale);
  } else {
    printf("%*s", width, "-");
  }
}

/* The part of a label that fits its column, cut between words; *rest gets what is left. */
static int label_part(const char *label, const char **rest) {
  int length = (int)strlen(label);
  *rest = NULL;
  if (length <= LABEL_COLUMNS) return length;
  int cut = LABEL_COLUMNS;
  while (cut > 0 && label[cut] != ' ')
    cut--;
  if (cut == 0) cut = LABEL_COLUMNS;
  while (cut > 0 && ((unsigned char)label[cut] & 0xC0) == 0x80)
    cut--;
  *rest = label + cut + (label[cut] == ' ');
  return cut;
}

static void print_lambda(const lw_exhaust *e) {
  char lambda[24], band[24];
  if (e->source == LW_LAMBDA_NONE) {
    puts("        -");
    return;
  }
  lw_text_value(lambda, sizeof lambda, e->lambda.x, e->lambda.u, 3);
  lw_text_value(band, sizeof band, LW_COVERAGE * e->lambda.u, e->lambda.u, 3);
  printf("  %6s +-%s%s\n", lambda, band, e->source == LW_LAMBDA_INFERRED ? " *" : "");
}

static void print_reading(const lw_reading_work *r, size_t number) {
  const lw_reading *x = r->reading;
  const lw_exhaust *e = &r->exhaust;
  const char *label = x->label ? x->label : lw_stage_text(x->stage), *rest = NULL;
  int part = label_part(label, &rest);
  printf("  %2zu %.*s%*s", number, part, label, LABEL_COLUMNS - part, "");
  cell(lw_dim_shown(LW_SPIN, LW_SHOP, x->speed), 1, 0, 6);
  cell(x->co, 100, 2, 7);
  cell(x->co2, 100, 1, 6);
  cell(lw_known(x->hc.x) ? e->filled.hc : NAN, 1e6, 0, 6);
  cell(x->o2, 100, 2, 7);
  print_lambda(e);
  if (!rest) return;
  fputs("     ", stdout);
  cli_wrapped(stdout, 5, 5, rest);
}

static void print_exhaust(const lw_work *w) {
  if (!w->reading_count) return;
  heading("What the exhaust says");
  printf("  %2s %-20s%6s%7s%6s%6s%7s  lambda\n", "", "reading", "rpm", "CO %", "CO2 %", "HC",
         "O2 %");
  bool inferred = false;
  for (size_t i = 0; i < w->reading_count; i++) {
    print_reading(&w->readings[i], i + 1);
    inferred = inferred || w->readings[i].exhaust.source == LW_LAMBDA_INFERRED;
  }
  printf("  HC in ppm hexane; lambda with its 95 %% band%s\n",
         inferred ? "; * not all gases read" : "");
  for (size_t i = 0; i < w->reading_count; i++) {
    const lw_exhaust *e = &w->readings[i].exhaust;
    for (size_t k = 0; k < e->note_count; k++) {
      char label[32];
      snprintf(label, sizeof label, "reading %zu", i + 1);
      item(label, e->notes[k].text);
    }
  }
}

static void print_snaps(const lw_work *w) {
  const lw_snap_reading *snaps = w->job->snaps.items;
  if (w->job->snaps.count) heading("When the throttle was opened quickly");
  for (size_t i = 0; i < w->job->snaps.count; i++) {
    char line[800];
    bullet(lw_snap_line(line, sizeof line, &snaps[i]));
  }
}

/* ---- verdict ---- */

static const char *judged_text(char *buffer, size_t size, const lw_judgement *j) {
  lw_dim dim = j->gas == LW_GAS_UNSAID                      ? LW_RATIO
               : j->gas == LW_GAS_HC || j->gas == LW_GAS_NO ? LW_PPM
                                                            : LW_FRACTION;
  char value[48], limit[64], band[48];
  lw_range_text(limit, sizeof limit, dim, LW_SHOP, j->limit);
  if (!lw_known(j->value.x)) {
    snprintf(buffer, size, "limit %s: %s", limit, j->remark ? j->remark : "not read");
    return buffer;
  }
  double half = LW_COVERAGE * j->value.u;
  double unit = lw_dim_shown(dim, LW_SHOP, 1);
  int decimals = lw_dim_decimals(dim, LW_SHOP);
  lw_text_value(value, sizeof value, j->value.x * unit, half * unit, decimals);
  lw_text_value(band, sizeof band, half * unit, half * unit, decimals);
  snprintf(buffer, size, "%s +-%s %s, limit %s%s%s", value, band, lw_dim_unit(dim, LW_SHOP), limit,
           j->remark ? "; " : "", j->remark ? j->remark : "");
  return buffer;
}

static void print_judgement(const lw_judgement *j, const lw_judgement *found) {
  char text[400], was[400], line[1000];
  const char *word = lw_verdict_text(j->verdict);
  printf("  %-18s ", j->name);
  cli_styled(stdout, verdict_style(j->verdict), word);
  printf("%*s ", (int)(17 - (int)strlen(word)), "");
  judged_text(text, sizeof text, j);
  snprintf(line, sizeof line, "%s", text);
  if (j->verdict == LW_TOO_CLOSE && j->inside < 0.98) {
    lw_text_append(line, sizeof line, "; %.0f %% likely inside", 100 * j->inside);
  }
  lw_text_append(line, sizeof line, " [%s]", j->source);
  if (found->reading != j->reading && lw_known(found->value.x)) {
    lw_judgement plain = *found;
    plain.remark = NULL;
    judged_text(was, sizeof was, &plain);
    char *limit = strstr(was, ", limit");
    if (limit) *limit = '\0';
    lw_text_append(line, sizeof line, "; as found %s, %s", was, lw_verdict_text(found->verdict));
  }
  cli_wrapped(stdout, 39, 39, line);
}

static void print_verdict(const lw_work *w) {
  heading("Verdict");
  for (size_t i = 0; i < w->judgement_count; i++) {
    print_judgement(&w->judgements[i], &w->judgements_found[i]);
  }
  fputs("  => ", stdout);
  cli_styled(stdout, verdict_style(w->verdict), w->verdict_words);
  putchar('\n');
}

/* ---- next move and the rest ---- */

static void print_advice(const lw_work *w) {
  const lw_advice *a = &w->advice;
  heading("Next move");
  if (a->target) item("target", a->target);
  fputs("  => ", stdout);
  cli_wrapped(stdout, 5, 5, a->move.words);
  if (a->move.reason) item("because", a->move.reason);
  for (size_t i = 0; i < a->step_count; i++)
    bullet(a->steps[i]);
  if (a->care_count) heading("Mind");
  for (size_t i = 0; i < a->care_count; i++)
    bullet(a->cares[i]);
}

static void print_done(const lw_work *w) {
  const lw_done *done = w->job->done.items;
  if (w->job->done.count) heading("What was done");
  for (size_t i = 0; i < w->job->done.count; i++) {
    char text[700], turns[48] = "";
    if (lw_known(done[i].turns)) lw_turns_text(turns, sizeof turns, fabs(done[i].turns));
    snprintf(text, sizeof text, "%s%s%s%s%s%s", done[i].what, done[i].screw ? " (" : "",
             done[i].screw ? done[i].screw : "", turns[0] ? " " : "", turns,
             !turns[0]           ? ""
             : done[i].turns < 0 ? " clockwise"
                                 : " counter-clockwise");
    if (done[i].screw) lw_text_append(text, sizeof text, ")");
    bullet(text);
  }
}

void print_work(const lw_work *w) {
  print_head(w);
  print_intake(w);
  print_fitness(w);
  print_exhaust(w);
  print_snaps(w);
  print_done(w);
  print_verdict(w);
  print_advice(w);
  if (w->causes) {
    heading("What is likely wrong");
    print_causes_short(w->causes);
  }
  if (w->gap_count) heading("What was not given");
  for (size_t i = 0; i < w->gap_count; i++)
    bullet(w->gaps[i]);
  heading("Cautions");
  for (size_t i = 0; i < w->caution_count; i++)
    bullet(w->cautions[i]);
}
