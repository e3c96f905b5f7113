/* sheet_parts.c - the sections of the handover sheet that are words. */
#include "sheet.h"

#include "leanward/causes.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const lw_hand body = {8, false, LW_INK_TEXT, 0}, soft = {7.2, false, LW_INK_SOFT, 1};

const char *lw_sheet_stage(const lw_work *work, size_t reading) {
  if (reading >= work->reading_count) return "read";
  switch (work->readings[reading].reading->stage) {
  case LW_AS_FOUND: return "found";
  case LW_AS_LEFT: return "left";
  default: return "read";
  }
}

static double wide(const lw_pen *pen) {
  return pen->right - pen->left;
}

/* ---- header ---- */

typedef struct fact {
  const char *label, *value;
} fact;

static void add_fact(fact *facts, size_t *count, const char *label, const char *value) {
  if (value && value[0]) facts[(*count)++] = (fact){label, value};
}

static const char *car_text(lw_pen *pen, const lw_car *car) {
  if (!car->year) return car->description ? car->description : "not given";
  return lw_arena_print(pen->arena, "%s%s%d", car->description ? car->description : "",
                        car->description ? ", " : "", car->year);
}

static const char *engine_text(lw_pen *pen, const lw_work *work) {
  const lw_car *car = &work->job->car;
  const char *name = car->engine ? car->engine : work->card ? work->card->engine_name : NULL;
  double litres = car->displacement * 1e3;
  if (!lw_known(litres)) return name;
  return lw_arena_print(pen->arena, "%s%s%.2f L", name ? name : "", name ? ", " : "", litres);
}

static size_t collect_facts(lw_pen *pen, fact *facts) {
  const lw_work *work = pen->work;
  const lw_job *job = work->job;
  size_t n = 0;
  add_fact(facts, &n, "Car", car_text(pen, &job->car));
  add_fact(facts, &n, "Plate", job->car.plate);
  add_fact(facts, &n, "Odometer", job->car.odometer);
  add_fact(facts, &n, "Customer", job->customer ? job->customer : "not given");
  add_fact(facts, &n, "Engine", engine_text(pen, work));
  if (job->car.transmission) {
    add_fact(facts, &n, "Transmission", lw_transmission_text(job->car.transmission));
  }
  add_fact(facts, &n, "Emission package", job->car.emissions);
  add_fact(facts, &n, "Technician", job->technician ? job->technician : "not given");
  add_fact(facts, &n, "Unit fitted",
           job->fitted_unit ? job->fitted_unit
           : work->fitted   ? work->fitted->unit
                            : "not given");
  add_fact(facts, &n, "Unit of this car", work->card ? work->card->unit : "no spec card given");
  add_fact(facts, &n, "Fuel", work->fuel.name);
  return n;
}

static void draw_facts(lw_pen *pen) {
  static const lw_hand label = {6.2, false, LW_INK_SOFT, 1}, value = {8, false, LW_INK_TEXT, 2};
  fact facts[16];
  size_t count = collect_facts(pen, facts);
  double column = wide(pen) / 4;
  for (size_t i = 0; i < count; i += 4) {
    double height = 0;
    for (size_t j = i; j < i + 4 && j < count; j++) {
      double x = pen->left + column * (double)(j - i);
      lw_pen_text(pen, label, NULL, x, pen->y, column - 8, facts[j].label);
      double h =
          lw_pen_text(pen, value, "names at the head", x, pen->y + 8, column - 8, facts[j].value);
      height = fmax(height, h);
    }
    pen->y += height + 12;
  }
}

static void draw_complaint(lw_pen *pen) {
  static const lw_hand label = {6.2, false, LW_INK_SOFT, 1};
  lw_hand hand = {8, false, LW_INK_TEXT, pen->level->complaint};
  const char *text = pen->work->job->complaint;
  lw_pen_text(pen, label, NULL, pen->left, pen->y, wide(pen), "Complaint");
  pen->y += 8;
  pen->y +=
      lw_pen_text(pen, hand, "complaint", pen->left, pen->y, wide(pen), text ? text : "not given");
  pen->y += 6;
}

void lw_sheet_header(lw_pen *pen) {
  static const lw_hand title = {19, true, LW_INK_TEXT, 1}, shop = {8.5, false, LW_INK_SOFT, 1};
  static const lw_hand number = {11, true, LW_INK_TEXT, 1};
  const lw_job *job = pen->work->job;
  char text[160];
  double half = wide(pen) * 0.55;
  lw_pen_text(pen, title, NULL, pen->left, pen->y - 4, half, "Handover sheet");
  lw_pen_text(pen, shop, "shop", pen->left, pen->y + 20, half,
              job->shop ? job->shop : "shop not given");
  snprintf(text, sizeof text, "Job %.120s", job->id);
  if (lw_pen_text_width(pen, number, text) > wide(pen) - half) {
    lw_pen_text(pen, number, "job number", pen->left + half, pen->y + 2, wide(pen) - half, text);
  } else {
    lw_pen_text_right(pen, number, pen->right, pen->y + 2, text);
  }
  snprintf(text, sizeof text, "%.60s", job->date ? job->date : "date not given");
  lw_pen_text_right(pen, shop, pen->right, pen->y + 20, text);
  pen->y += 34;
  lw_pen_rule(pen, pen->left, pen->y, wide(pen), 2, LW_INK_ACCENT);
  pen->y += 8;
  draw_facts(pen);
  draw_complaint(pen);
}

/* ---- verdict ---- */

static const char *verdict_title(lw_verdict verdict) {
  switch (verdict) {
  case LW_WITHIN: return "Within";
  case LW_OUTSIDE: return "Outside";
  case LW_TOO_CLOSE: return "Too close to call";
  case LW_NO_VERDICT: break;
  }
  return "No verdict";
}

static void badge(lw_pen *pen, lw_verdict shape, double y, const char *text) {
  static const lw_hand hand = {7.8, true, LW_INK_TEXT, 1};
  double x = pen->right - 158;
  lw_pen_verdict_shape(pen, shape, x, y, 4.6);
  lw_pen_text(pen, hand, NULL, x + 10, y - 5.5, pen->right - x - 14, text);
}

/* The reading the verdict stands on: as left, else as found, else the last with gas. */
static const lw_exhaust *newest_exhaust(const lw_work *work) {
  const size_t choice[] = {work->left, work->found};
  for (size_t i = 0; i < 2; i++) {
    if (choice[i] < work->reading_count && work->readings[choice[i]].has_gas) {
      return &work->readings[choice[i]].exhaust;
    }
  }
  for (size_t i = work->reading_count; i-- > 0;) {
    if (work->readings[i].has_gas) return &work->readings[i].exhaust;
  }
  return NULL;
}

/* A verdict on gas that may not be the engine's own must not look clean. */
static void sample_badge(lw_pen *pen, double y) {
  const lw_exhaust *e = newest_exhaust(pen->work);
  bool doubt = e && e->void_sample, lean = false;
  for (size_t i = 0; e && i < e->note_count; i++) {
    lw_note_code code = e->notes[i].code;
    doubt = doubt || code == LW_NOTE_AIR_ONLY || code == LW_NOTE_VOID || code == LW_NOTE_WET ||
            code == LW_NOTE_CLOSURE || code == LW_NOTE_DILUTED;
    lean = lean || code == LW_NOTE_LEAN_OR_LEAK;
  }
  if (doubt) {
    badge(pen, LW_TOO_CLOSE, y, "Gas sample: in doubt");
  } else if (lean) {
    badge(pen, LW_TOO_CLOSE, y, "Gas sample: lean or diluted");
  } else if (!e) {
    badge(pen, LW_NO_VERDICT, y, "Gas sample: none");
  } else if (e->source != LW_LAMBDA_BALANCE) {
    badge(pen, LW_NO_VERDICT, y, "Gas sample: not all read");
  } else {
    badge(pen, LW_WITHIN, y, "Gas sample: holds together");
  }
}

static void badges(lw_pen *pen, double y) {
  static const char *const unit[] = {"Unit: not compared", "Unit: belongs here",
                                     "Unit: does not belong here"};
  static const lw_verdict unit_shape[] = {LW_NO_VERDICT, LW_WITHIN, LW_OUTSIDE};
  static const char *const fit[] = {"Engine: fitness not known", "Engine: fit to adjust",
                                    "Engine: not fit to adjust"};
  badge(pen, unit_shape[pen->work->intake.answer], y, unit[pen->work->intake.answer]);
  badge(pen, unit_shape[pen->work->fitness.overall], y + 15, fit[pen->work->fitness.overall]);
  sample_badge(pen, y + 30);
}

void lw_sheet_verdict(lw_pen *pen) {
  static const lw_hand title = {17, true, LW_INK_TEXT, 1}, label = {6.5, false, LW_INK_SOFT, 1};
  lw_hand words = {8.5, false, LW_INK_TEXT, pen->level->item + 1};
  const char *text = pen->work->verdict_words ? pen->work->verdict_words : "";
  double width = wide(pen) - 52 - 178;
  double height = fmax(56, 38 + lw_pen_text_height(pen, words, width, text) + 8);
  if (!lw_pen_room(pen, height + 4)) return;
  double y = pen->y;
  lw_pen_ink(pen, LW_INK_SHADE);
  cairo_rectangle(pen->cr, pen->left, y, wide(pen), height);
  cairo_fill(pen->cr);
  lw_pen_rule(pen, pen->left, y, 4, height, LW_INK_ACCENT);
  lw_pen_verdict_shape(pen, pen->work->verdict, pen->left + 27, y + 27, 14);
  lw_pen_text(pen, label, NULL, pen->left + 52, y + 6, width, "Exhaust, held to the limits below");
  lw_pen_text(pen, title, NULL, pen->left + 52, y + 13, width, verdict_title(pen->work->verdict));
  lw_pen_text(pen, words, "verdict", pen->left + 52, y + 37, width, text);
  badges(pen, y + 14);
  pen->y += height + 2;
}

/* ---- lists ---- */

static double items_height(lw_pen *pen, const lw_items *items, double width) {
  lw_hand hand = body;
  hand.lines = pen->level->item;
  double height = 0;
  for (size_t i = 0; i < items->count && i < pen->level->items; i++) {
    height += lw_pen_text_height(pen, hand, width - 9, items->text[i]) + 2.5;
  }
  return height;
}

static void items_draw(lw_pen *pen, const lw_items *items, const char *what, double x, double y,
                       double width) {
  lw_hand hand = body;
  hand.lines = pen->level->item;
  for (size_t i = 0; i < items->count; i++) {
    if (i >= pen->level->items) {
      lw_pen_shorten(pen, what);
      return;
    }
    lw_pen_rule(pen, x, y + 4, 2.6, 2.6, LW_INK_ACCENT);
    y += lw_pen_text(pen, hand, what, x + 9, y, width - 9, items->text[i]) + 2.5;
  }
}

/* One list over the whole width, broken over pages between its entries. */
static void items_flow(lw_pen *pen, const lw_items *items, const char *what, lw_hand hand) {
  hand.lines = pen->level->item;
  for (size_t i = 0; i < items->count; i++) {
    double h = lw_pen_text_height(pen, hand, wide(pen) - 9, items->text[i]);
    if (i >= pen->level->items || !lw_pen_room(pen, h + 2)) {
      lw_pen_shorten(pen, what);
      return;
    }
    lw_pen_rule(pen, pen->left, pen->y + hand.size / 2, 2.4, 2.4, LW_INK_ACCENT);
    lw_pen_text(pen, hand, what, pen->left + 9, pen->y, wide(pen) - 9, items->text[i]);
    pen->y += h + 2;
  }
}

/* ---- found and set ---- */

static void add_text(lw_pen *pen, lw_items *items, const char *text) {
  if (text && text[0]) lw_items_add(pen, items, "%s", text);
}

static void notes_of(lw_pen *pen, lw_items *items, size_t reading) {
  if (reading >= pen->work->reading_count) return;
  const lw_reading_work *r = &pen->work->readings[reading];
  if (!r->has_gas) return;
  for (size_t i = 0; i < r->exhaust.note_count; i++) {
    lw_items_add(pen, items, "Exhaust, as %s: %s", lw_sheet_stage(pen->work, reading),
                 r->exhaust.notes[i].text);
  }
}

static void collect_found(lw_pen *pen, lw_items *items) {
  const lw_work *work = pen->work;
  add_text(pen, items, work->intake.summary);
  if (work->intake.difference_count) {
    lw_items_add(pen, items, "%zu difference%s between the two units: see the table",
                 work->intake.difference_count, work->intake.difference_count == 1 ? "" : "s");
  }
  add_text(pen, items, work->fitness.summary);
  if (work->job->checks.leak_place) {
    lw_items_add(pen, items, "Air leak: %s", work->job->checks.leak_place);
  }
  notes_of(pen, items, work->found);
  for (size_t i = 0; i < work->job->notes.count; i++)
    add_text(pen, items, work->job->notes.text[i]);
  if (items->count == 0) add_text(pen, items, "Nothing was recorded.");
}

/* "clockwise 1/4 turn": the sign a person would have to look up, in words. */
static void add_done(lw_pen *pen, lw_items *items, const lw_done *done) {
  char turns[40];
  if (!lw_known(done->turns) || done->turns == 0) {
    lw_items_add(pen, items, "%s%s%s", done->screw ? done->screw : "", done->screw ? ": " : "",
                 done->what);
    return;
  }
  lw_turns_text(turns, sizeof turns, fabs(done->turns));
  lw_items_add(pen, items, "%s%s%s (%s %s)", done->screw ? done->screw : "",
               done->screw ? " screw: " : "", done->what, turns,
               done->turns < 0 ? "clockwise" : "counter-clockwise");
}

static void add_screws(lw_pen *pen, lw_items *items) {
  const lw_work *work = pen->work;
  if (work->found >= work->reading_count || work->left >= work->reading_count) return;
  const lw_list *before = &work->readings[work->found].reading->screws;
  const lw_list *after = &work->readings[work->left].reading->screws;
  const lw_named *b = before->items, *a = after->items;
  char from[40], to[40];
  for (size_t i = 0; i < after->count; i++) {
    for (size_t j = 0; j < before->count; j++) {
      bool moved = fabs(a[i].x - b[j].x) > 1e-6;
      if (!lw_text_same(a[i].name, b[j].name) || !moved) continue;
      lw_turns_text(from, sizeof from, b[j].x);
      lw_turns_text(to, sizeof to, a[i].x);
      lw_items_add(pen, items, "%s screw: from %s to %s out from its seat", a[i].name, from, to);
    }
  }
}

void lw_sheet_found_and_set(lw_pen *pen) {
  static const lw_hand hand = {9, true, LW_INK_ACCENT, 1};
  lw_items found = {.count = 0}, set = {.count = 0};
  const lw_done *done = pen->work->job->done.items;
  double column = (wide(pen) - 20) / 2, second = pen->left + column + 20;
  collect_found(pen, &found);
  for (size_t i = 0; i < pen->work->job->done.count; i++)
    add_done(pen, &set, &done[i]);
  add_screws(pen, &set);
  if (set.count == 0) add_text(pen, &set, "Nothing was recorded as done.");
  double height = fmax(items_height(pen, &found, column), items_height(pen, &set, column));
  if (!lw_pen_room(pen, height + 28)) {
    lw_pen_shorten(pen, "what was found and set");
    return;
  }
  double y = pen->y + 8;
  lw_pen_text(pen, hand, NULL, pen->left, y, column, "What was found");
  lw_pen_text(pen, hand, NULL, second, y, column, "What was set");
  lw_pen_rule(pen, pen->left, y + 13, column, 0.8, LW_INK_ACCENT);
  lw_pen_rule(pen, second, y + 13, column, 0.8, LW_INK_ACCENT);
  items_draw(pen, &found, "what was found", pen->left, y + 18, column);
  items_draw(pen, &set, "what was set", second, y + 18, column);
  pen->y = y + 18 + height;
}

/* ---- what remains ---- */

void lw_sheet_advice(lw_pen *pen) {
  const lw_advice *advice = &pen->work->advice;
  lw_items items = {.count = 0};
  if (advice->move.words) {
    const char *reason = advice->move.reason;
    lw_items_add(pen, &items, "Next: %s%s%s", advice->move.words, reason ? " \xE2\x80\x93 " : "",
                 reason ? reason : "");
  }
  bool first_said = advice->move.kind == LW_MOVE_FIRST && advice->move.words;
  if (pen->work->fitness.first && pen->work->fitness.overall != LW_FIT && !first_said) {
    lw_items_add(pen, &items, "First: %s", pen->work->fitness.first);
  }
  for (size_t i = 0; i < advice->step_count; i++)
    add_text(pen, &items, advice->steps[i]);
  for (size_t i = 0; i < advice->care_count; i++) {
    lw_items_add(pen, &items, "Care: %s", advice->cares[i]);
  }
  if (items.count == 0) add_text(pen, &items, "Nothing further was worked out.");
  if (!lw_pen_title(pen, "What remains", 24)) return;
  if (advice->target) {
    char *target = lw_arena_print(pen->arena, "Target: %s", advice->target);
    pen->y += lw_pen_text(pen, soft, NULL, pen->left, pen->y, wide(pen), target) + 2;
  }
  items_flow(pen, &items, "what remains", body);
}

/* ---- what is likely wrong ---- */

/* The sentence, three causes and one test: what the next person asks for. */
void lw_sheet_causes(lw_pen *pen) {
  enum { SHOWN = 3 };
  const lw_diagnosis *g = pen->work->causes;
  lw_items items = {.count = 0};
  if (!g) return;
  if (g->summary) lw_items_add(pen, &items, "By the twin of this car: %s", g->summary);
  char rest[400] = "";
  for (size_t i = 0; i < g->cause_count && i < SHOWN; i++) {
    if (g->causes[i].probability < 0.02) break;
    lw_text_append(rest, sizeof rest, "%s%s (%.0f %%)", i ? "; " : "", g->causes[i].name,
                   100 * g->causes[i].probability);
  }
  if (rest[0]) lw_items_add(pen, &items, "Likelihood: %s", rest);
  if (g->test_count) {
    lw_items_add(pen, &items, "Would tell more: %s \xE2\x80\x93 %s", g->tests[0].name,
                 g->tests[0].outcomes);
  }
  if (!lw_pen_title(pen, "What is likely wrong", 24)) return;
  items_flow(pen, &items, "what is likely wrong", body);
}

/* ---- the throttle opened quickly ---- */

void lw_sheet_snaps(lw_pen *pen) {
  static const lw_hand hand = {7.2, false, LW_INK_TEXT, 0};
  const lw_list *list = &pen->work->job->snaps;
  const lw_snap_reading *snaps = list->items;
  lw_items items = {.count = 0};
  for (size_t i = 0; i < list->count; i++) {
    char line[800];
    lw_items_add(pen, &items, "%s", lw_snap_line(line, sizeof line, &snaps[i]));
  }
  if (items.count == 0) return;
  if (!lw_pen_title(pen, "When the throttle was opened quickly", 14)) {
    lw_pen_shorten(pen, "snaps");
    return;
  }
  items_flow(pen, &items, "snaps", hand);
}

/* ---- how sure ---- */

static void add_analyzers(lw_pen *pen, lw_items *items) {
  static const char *const basis[] = {"dry", "dry", "wet"};
  static const char *const hc[] = {"hexane", "hexane", "propane", "C1"};
  const lw_list *list = &pen->work->job->analyzers;
  const lw_analyzer *a = list->items;
  for (size_t i = 0; i < list->count; i++) {
    lw_items_add(pen, items, "Analyzer %s: class %s, %s gas, HC counted as %s%s%s", a[i].name,
                 a[i].accuracy ? lw_class_text(a[i].accuracy) : "II assumed", basis[a[i].basis],
                 hc[a[i].hc_as], a[i].calibrated ? "; calibrated " : "",
                 a[i].calibrated ? a[i].calibrated : "");
  }
  if (list->count == 0 && pen->work->reading_count) {
    lw_items_add(pen, items, "No analyzer was named: class II is assumed.");
  }
}

static void add_missing(lw_pen *pen, lw_items *items, size_t reading) {
  if (reading >= pen->work->reading_count || !pen->work->readings[reading].has_gas) return;
  const lw_exhaust *e = &pen->work->readings[reading].exhaust;
  const lw_gases *m = &e->missing;
  for (size_t i = 0; i < e->note_count; i++) {
    if (e->notes[i].code == LW_NOTE_FEWER_GASES) return; /* says so itself */
  }
  const double flags[] = {m->co, m->co2, m->hc, m->o2};
  static const char *const names[] = {"CO", "CO2", "HC", "O2"};
  char list[40] = "";
  for (size_t i = 0; i < 4; i++) {
    if (flags[i] > 0.5) lw_text_append(list, sizeof list, "%s%s", list[0] ? ", " : "", names[i]);
  }
  if (list[0]) {
    lw_items_add(pen, items, "As %s, not read: %s; lambda leans on what burning must leave behind.",
                 lw_sheet_stage(pen->work, reading), list);
  }
}

static void add_air(lw_pen *pen, lw_items *items) {
  char air[64];
  if (!lw_known(pen->work->ambient)) return;
  lw_quantity_text_both(air, sizeof air, LW_PRESSURE, pen->work->ambient);
  lw_items_add(pen, items, "Air pressure %s%s%s", air, pen->work->ambient_how ? ", " : "",
               pen->work->ambient_how ? pen->work->ambient_how : "");
}

static void add_remarks(lw_pen *pen, lw_items *items) {
  for (size_t i = 0; i < pen->work->judgement_count; i++) {
    const lw_judgement *j = &pen->work->judgements[i];
    const char *name = j->name ? j->name : lw_gas_text(j->gas);
    if (j->verdict == LW_TOO_CLOSE && lw_known(j->inside)) {
      lw_items_add(pen, items, "%s: %.0f %% likely to be inside its limit%s%s", name,
                   j->inside * 100, j->remark ? "; " : "", j->remark ? j->remark : "");
    } else if (j->remark) {
      lw_items_add(pen, items, "%s: %s", name, j->remark);
    }
  }
}

void lw_sheet_sureness(lw_pen *pen) {
  static const lw_hand hand = {7.2, false, LW_INK_TEXT, 0};
  lw_items items = {.count = 0};
  const lw_work *work = pen->work;
  add_analyzers(pen, &items);
  add_missing(pen, &items, work->found);
  if (work->left != work->found) {
    add_missing(pen, &items, work->left);
    notes_of(pen, &items, work->left);
  }
  add_remarks(pen, &items);
  add_air(pen, &items);
  for (size_t i = 0; i < work->gap_count; i++)
    add_text(pen, &items, work->gaps[i]);
  if (items.count == 0 || !lw_pen_title(pen, "How sure", 14)) return;
  items_flow(pen, &items, "how sure", hand);
}

/* ---- the end ---- */

static const char standing_cautions[] =
    "Running exhaust in a closed room kills: extract it. Keep clear of fans, belts, hot parts and "
    "high tension; fuel vapor meets sparks. Chock the wheels, set the parking brake, never stand "
    "in "
    "front of a car in gear. Sealed adjustments may be illegal to alter: local law and the "
    "emission "
    "label come first.";

static const lw_hand small = {6.5, false, LW_INK_SOFT, 5};

static const char *cautions(lw_pen *pen) {
  const char *all = "";
  for (size_t i = 0; i < pen->work->caution_count; i++) {
    const char *more =
        lw_arena_print(pen->arena, "%s%s%s", all, i ? " " : "", pen->work->cautions[i]);
    if (more) all = more;
  }
  return all[0] ? all : standing_cautions;
}

double lw_sheet_end_height(lw_pen *pen) {
  return lw_pen_text_height(pen, small, wide(pen), cautions(pen)) + 20 + 52;
}

static void signature(lw_pen *pen, double x, double y, double width, const char *who,
                      const char *name) {
  static const lw_hand hand = {7, false, LW_INK_SOFT, 1};
  char *text = lw_arena_print(pen->arena, "%s%s%s", who, name ? ": " : "", name ? name : "");
  lw_pen_rule(pen, x, y, width, 0.7, LW_INK_TEXT);
  lw_pen_text(pen, hand, NULL, x, y + 3, width, text);
}

void lw_sheet_end(lw_pen *pen) {
  static const lw_hand cut = {6.5, true, LW_INK_TEXT, 2};
  const lw_job *job = pen->work->job;
  if (pen->page == 1 && !lw_pen_room(pen, pen->end_height)) return;
  double y = pen->bottom - pen->end_height + 4, third = (wide(pen) - 48) / 3;
  if (pen->shortened[0]) {
    char *text = lw_arena_print(pen->arena, "Shortened to fit: %s. The whole is in %s.",
                                pen->shortened, job->file ? job->file : "the job file");
    lw_pen_text(pen, cut, NULL, pen->left, y - 2, wide(pen), text);
  }
  y += 16;
  lw_pen_text(pen, small, NULL, pen->left, y, wide(pen), cautions(pen));
  y = pen->bottom - 16;
  signature(pen, pen->left, y, third, "Technician", job->technician);
  signature(pen, pen->left + third + 24, y, third, "Customer", job->customer);
  signature(pen, pen->left + 2 * (third + 24), y, third, "Date", NULL);
}
