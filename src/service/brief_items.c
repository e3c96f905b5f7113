/* brief_items.c - what differs between two cards, and what it means for the person adjusting.
**
** The consequences are common practice, no source. A figure both cards give and agree on is no
** difference; one that a card leaves out is shown as left out and never guessed.
*/
#include "brief_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *lw_brief_group_text(lw_brief_group group) {
  static const char *const texts[] = {
#define TEXT_OF(id, name) name,
      LW_BRIEF_GROUP_LIST(TEXT_OF)
#undef TEXT_OF
  };
  return group < LW_BRIEF_GROUPS ? texts[group] : "";
}

/* ---- lines ---- */

/* "screws 2" is the second child of "screws"; "sealed" with one text is its only child. */
static const lw_node *step(const lw_node *at, const char *token) {
  const lw_node *child = lw_doc_child(at, token);
  if (child) return child;
  const char *space = strrchr(token, ' ');
  char key[120];
  if (!space || space[1] < '1' || space[1] > '9') return NULL;
  snprintf(key, sizeof key, "%.*s", (int)(space - token), token);
  const lw_node *list = lw_doc_child(at, key), *node = list ? list->first : NULL;
  if (list && list->kind != LW_NODE_LIST) return list;
  for (long n = strtol(space + 1, NULL, 10); n > 1 && node; n--)
    node = node->next;
  return node;
}

int brief_line(const lw_node *root, const char *path) {
  const lw_node *at = root;
  int line = root ? root->line : 0;
  while (at && at->kind == LW_NODE_MAP && *path) {
    char token[120];
    size_t n = 0;
    const char *comma = strstr(path, ", ");
    n = comma ? (size_t)(comma - path) : strlen(path);
    snprintf(token, sizeof token, "%.*s", (int)n, path);
    at = step(at, token);
    if (at) line = at->key ? at->key_line : at->line;
    path += comma ? n + 2 : n;
  }
  return line;
}

/* ---- putting an item down ---- */

typedef struct draft {
  lw_brief_group group;
  const char *path; /* for lines and the twin; NULL: none */
  const char *what, *a, *b, *act, *why;
  bool method, interchange;
} draft;

static lw_brief_figure figure(const lw_brief_side *side, const char *path, const char *text) {
  bool known = text && path && side->root;
  return (lw_brief_figure){text, known ? brief_line(side->root, path) : 0};
}

/* path_before: where the first card has it, when that is elsewhere than on the second. */
static void put_from(brief_desk *b, const draft *t, const char *path_before) {
  if (b->count == BRIEF_ITEMS_MOST) {
    if (b->gaps.count == 0 || !strstr(b->gaps.text[b->gaps.count - 1], "more differences"))
      lines_add(b->d, &b->gaps, "there are more differences than are told here");
    return;
  }
  b->paths[b->count] = t->path;
  b->items[b->count++] = (lw_brief_item){.group = t->group,
                                         .what = t->what,
                                         .before = figure(&b->brief->before, path_before, t->a),
                                         .after = figure(&b->brief->after, t->path, t->b),
                                         .act = t->act,
                                         .why = t->why,
                                         .method = t->method,
                                         .interchange = t->interchange};
}

static void put(brief_desk *b, const draft *t) {
  put_from(b, t, t->path);
}

/* ---- screws ---- */

const lw_screw_card *brief_screw(const lw_card *card, size_t *count) {
  const lw_screw_card *s = card->carburetor.screws.items, *first = NULL;
  *count = 0;
  for (size_t i = 0; i < card->carburetor.screws.count; i++) {
    if (s[i].kind == LW_SCREW_FIXED) continue;
    if (!first) first = &s[i];
    (*count)++;
  }
  return first;
}

static const char *screw_path(brief_desk *b, const lw_card *card, const lw_screw_card *s,
                              const char *key) {
  const lw_screw_card *first = card->carburetor.screws.items;
  return say(b->d, "carburetor, screws %zu, %s", (size_t)(s - first) + 1, key);
}

/* What one key of the first screw that turns says on either card. */
static void put_screw(brief_desk *b, const char *key, draft t) {
  size_t count = 0;
  const lw_card *before = b->brief->before.card, *after = b->brief->after.card;
  const lw_screw_card *a = brief_screw(before, &count), *c = brief_screw(after, &count);
  t.group = LW_BRIEF_SCREWS;
  t.path = screw_path(b, after, c, key);
  put_from(b, &t, screw_path(b, before, a, key));
}

/* What the hand does with a screw of this kind, and what it then no longer does. */
static const struct {
  const char *now, *no_longer;
} kinds[] = {
    [LW_SCREW_UNSAID] = {"The card does not say what the screw does: find out before it is turned.",
                         ""},
    [LW_SCREW_FUEL] = {"Turn the mixture screw clockwise to lean. It has no stop: count the turns "
                       "out from lightly "
                       "seated, it can be turned out of the casting.",
                       "No longer count turns to keep it in the casting."},
    [LW_SCREW_FUEL_LIMITED] =
        {"Turn the mixture screw clockwise to lean. Feel for the stop on the rich side and "
         "never force it: force breaks the screw off in the casting.",
         "No longer feel for a stop on the rich side."},
    [LW_SCREW_FUEL_LIMITER] =
        {"Turn the mixture screw clockwise to lean: it can only lean from what the sealed "
         "limiter lets through. Too lean with the screw well out means a "
         "fault, not more screw.",
         "No longer count on a limiter behind it."},
    [LW_SCREW_AIR_BLEED] =
        {"Turn the mixture screw clockwise to lean: it moves outward and admits air. "
         "Count the turns out from lightly seated, clockwise.",
         "No longer expect the screw to move outward as it leans."},
    [LW_SCREW_FIXED] = {"There is nothing to turn: a mixture outside its limits means a fault.",
                        "The mixture can be set again."},
};

static void compare_kind(brief_desk *b, const lw_screw_card *a, const lw_screw_card *c) {
  if (a->kind == c->kind) return;
  const char *no_longer = c->kind == LW_SCREW_AIR_BLEED
                              ? "No longer expect the screw to move inward as it leans."
                              : kinds[a->kind].no_longer;
  const char *act = say(b->d, "%s%s%s", kinds[c->kind].now, no_longer[0] ? " " : "", no_longer);
  put_screw(b, "kind",
            (draft){.what = "kind of mixture screw",
                    .a = lw_screw_kind_text(a->kind),
                    .b = lw_screw_kind_text(c->kind),
                    .act = act,
                    .why = differ_reason("screws"),
                    .method = true,
                    .interchange = true});
}

static const char *hand_text(lw_thread thread) {
  return thread == LW_THREAD_LEFT ? "left-hand" : thread == LW_THREAD_RIGHT ? "right-hand" : NULL;
}

static void compare_thread(brief_desk *b, const lw_screw_card *a, const lw_screw_card *c) {
  const char *was = hand_text(lw_screw_thread(a)), *is = hand_text(lw_screw_thread(c));
  if (lw_text_same(was, is)) return;
  bool left = lw_screw_thread(c) == LW_THREAD_LEFT;
  const char *act =
      left ? "The thread of the mixture screw is left-hand: clockwise moves it outward, and still "
             "leans. To seat it lightly turn it counter-clockwise."
           : "The thread of the mixture screw is right-hand: clockwise moves it inward, and leans. "
             "To seat it lightly turn it clockwise, no longer counter-clockwise.";
  put_screw(b, "thread",
            (draft){.what = "thread of the mixture screw",
                    .a = was,
                    .b = is,
                    .act = act,
                    .method = true,
                    .interchange = true});
}

static const char *count_act(desk *d, size_t was, size_t is) {
  if (is == 1)
    return "One screw sets the whole unit: there are no longer screws to be turned alike and "
           "brought together.";
  if (is == 0) return "There is no mixture screw to turn any more.";
  return was < is ? say(d,
                        "There are %zu screws now: turn them alike, a little at a time, and "
                        "bring them together when they stand apart.",
                        is)
                  : say(d, "Turn the %zu screws that are left alike.", is);
}

static void compare_count(brief_desk *b, size_t was, size_t is) {
  if (was == is) return;
  put(b, &(draft){LW_BRIEF_SCREWS, "carburetor, screws", "number of mixture screws",
                  say(b->d, "%zu", was), say(b->d, "%zu", is), count_act(b->d, was, is), NULL, true,
                  true});
}

static const char *turns(desk *d, lw_range r) {
  char text[80];
  return lw_range_known(r) ? say(d, "%s", lw_range_text(text, sizeof text, LW_TURNS, LW_SHOP, r))
                           : NULL;
}

static void compare_turns(brief_desk *b, const lw_screw_card *a, const lw_screw_card *c) {
  const char *was = turns(b->d, a->travel), *is = turns(b->d, c->travel);
  if ((was || is) && !lw_text_same(was, is)) {
    const char *act =
        is ? say(b->d, "The travel of the mixture screw is %s%s%s: do not look for more.", is,
                 was ? ", no longer " : "", was ? was : "")
           : "The card no longer says where the travel ends: find the stop gently.";
    put_screw(b, "travel",
              (draft){.what = "travel of the mixture screw", .a = was, .b = is, .act = act});
  }
  was = turns(b->d, a->preset);
  is = turns(b->d, c->preset);
  if ((was || is) && !lw_text_same(was, is)) {
    const char *act = is ? say(b->d, "Start the mixture screw from %s out%s%s.", is,
                               was ? ", no longer from " : "", was ? was : "")
                         : "No preset is given any more.";
    put_screw(b, "preset",
              (draft){.what = "preset of the mixture screw", .a = was, .b = is, .act = act});
  }
}

static void compare_screws(brief_desk *b) {
  size_t was = 0, is = 0;
  const lw_card *before = b->brief->before.card, *after = b->brief->after.card;
  const lw_screw_card *a = brief_screw(before, &was), *c = brief_screw(after, &is);
  if (a && c) compare_kind(b, a, c);
  if (a && c) compare_thread(b, a, c);
  if (before->carburetor.screws.count && after->carburetor.screws.count) compare_count(b, was, is);
  if (!a || !c) return;
  compare_turns(b, a, c);
  if (a->place && c->place && !lw_text_same(a->place, c->place)) {
    put_screw(b, "place",
              (draft){.what = "place of the mixture screw",
                      .a = a->place,
                      .b = c->place,
                      .act = say(b->d, "Look for it there: %s.", c->place)});
  }
}

/* ---- sealed parts ---- */

static bool has_text(const lw_texts *list, const char *text) {
  for (size_t i = 0; i < list->count; i++) {
    if (lw_text_same(list->text[i], text)) return true;
  }
  return false;
}

static const char *sealed_path(brief_desk *b, const lw_texts *list, size_t i) {
  return list->count > 1 ? say(b->d, "carburetor, sealed %zu", i + 1) : "carburetor, sealed";
}

static void compare_sealed(brief_desk *b) {
  const lw_texts *a = &b->brief->before.card->carburetor.sealed;
  const lw_texts *c = &b->brief->after.card->carburetor.sealed;
  for (size_t i = 0; i < c->count; i++) {
    if (has_text(a, c->text[i])) continue;
    put(b, &(draft){LW_BRIEF_SEALED, sealed_path(b, c, i), "newly sealed", NULL, c->text[i],
                    say(b->d, "Never adjust the %s; where it was tampered with it is replaced.",
                        c->text[i]),
                    NULL, true, false});
  }
  for (size_t i = 0; i < a->count; i++) {
    if (has_text(c, a->text[i])) continue;
    put(b, &(draft){LW_BRIEF_SEALED, sealed_path(b, a, i), "no longer sealed there", a->text[i],
                    NULL, say(b->d, "No longer look for the %s.", a->text[i]), NULL, true, false});
  }
}

/* ---- values with a rule ---- */

/* {new} and {old} stand for the figures. dropped and added NULL: as changed, with what is known. */
typedef struct rule {
  const char *path; /* the first that begins so holds */
  lw_brief_group group;
  const char *what;
  const char *changed, *added, *dropped;
  bool method, interchange;
} rule;

#define CHECK "Check against {new}, no longer {old}."

static const rule rules[] = {
    {"carburetor, speed screw thread", LW_BRIEF_SCREWS, "thread of the speed screw",
     "The speed screw has a {new} thread, no longer {old}: mind which way raises the speed.", NULL,
     NULL, true, false},
    {"idle, speed in drive", LW_BRIEF_IDLE, "idle speed in drive",
     "In drive it turns at {new}, no longer {old}.", "In drive it turns at {new}.",
     "No speed in drive is given any more.", false, false},
    {"idle, speed", LW_BRIEF_IDLE, "idle speed", "Set {new}, no longer {old}.", "Set {new}.",
     "No idle speed is given any more.", false, false},
    {"idle, gear", LW_BRIEF_IDLE, "gear the idle is set in",
     "Set the idle in {new}, no longer in {old}.", "Set the idle in {new}.", NULL, true, false},
    {"idle, CO2", LW_BRIEF_IDLE, "CO2 target", "Finish with CO2 at {new}, no longer {old}.",
     "Finish with CO2 at {new}.", "CO2 is no longer part of the setting.", false, false},
    {"idle, CO", LW_BRIEF_IDLE, "CO target", "Finish with CO at {new}, no longer {old}.",
     "Finish with CO at {new}.", "CO is no longer part of the setting.", false, false},
    {"idle, O2", LW_BRIEF_IDLE, "O2 target", "Finish with O2 at {new}, no longer {old}.",
     "Finish with O2 at {new}.", "O2 is no longer part of the setting.", false, false},
    {"idle, HC", LW_BRIEF_IDLE, "HC target", "As set, HC may be at most {new}, no longer {old}.",
     "As set, HC may be at most {new}.", "HC is no longer part of the setting.", false, false},
    {"idle, air-fuel ratio", LW_BRIEF_IDLE, "air-fuel ratio target",
     "The air-fuel ratio then lies at {new}, no longer {old}.",
     "The air-fuel ratio then lies at {new}.", NULL, false, false},
    {"idle, procedure", LW_BRIEF_IDLE, "procedure", "Now: {new}", "Now: {new}",
     "The card gives no procedure any more.", true, false},
    {"engine, timing speed", LW_BRIEF_TIMING, "speed the timing is read at",
     "Read the timing at or below {new}, no longer {old}.", "Read the timing at or below {new}.",
     NULL, false, false},
    {"engine, timing hose", LW_BRIEF_TIMING, "hose while timing",
     "Time it with the vacuum hose {new}, no longer {old}.", "Time it with the vacuum hose {new}.",
     NULL, true, false},
    {"engine, advance degrees", LW_BRIEF_TIMING, "what the advance is counted in",
     "Advance is counted at the {new}, no longer at the {old}: degrees and speeds are not the "
     "same.",
     "Advance is counted at the {new}.", NULL, true, false},
    {"engine, vacuum source", LW_BRIEF_TIMING, "what feeds the vacuum advance",
     "The vacuum advance is fed so: {new}; no longer so: {old}. Route the hose for it, and check "
     "the "
     "advance there.",
     "The vacuum advance is fed so: {new}.", NULL, true, false},
    {"engine, control valve, set vacuum", LW_BRIEF_DEVICES, "advance control valve",
     "Set the advance control valve to {new} at the distributor, no longer {old}.",
     "There is an advance control valve now: set it so that the distributor has {new} at idle.",
     "There is no advance control valve any more: nothing to set, and it is no suspect when the "
     "idle hangs fast.",
     true, false},
    {"engine, control valve, fall time", LW_BRIEF_DEVICES, "test of the advance control valve",
     "Open the throttle and let it go: the vacuum at the distributor must be down within {new}, no "
     "longer {old}.",
     "New test: open the throttle and let it go; the vacuum at the distributor must be down to its "
     "set value within {new}.",
     "No longer make the test of the vacuum at the distributor after the throttle is let go.", true,
     false},
    {"carburetor, dashpot gap", LW_BRIEF_DEVICES, "gap of the dashpot",
     "Set the dashpot to a gap of {new}, no longer {old}.", "Set the dashpot to a gap of {new}.",
     "There is no dashpot gap to set any more.", false, false},
    {"carburetor, dashpot time", LW_BRIEF_DEVICES, "time of the dashpot",
     "The dashpot must let the throttle down in {new}, no longer {old}.",
     "The dashpot must let the throttle down in {new}.", NULL, false, false},
    {"carburetor, bowl vent", LW_BRIEF_DEVICES, "vent of the bowl",
     "The bowl breathes: {new}, no longer: {old}.", NULL, NULL, false, true},
    {"carburetor, air valve spring", LW_BRIEF_DEVICES, "air valve spring",
     "Wind the air valve spring {new}, no longer {old}.", "Wind the air valve spring {new}.",
     "There is no air valve spring to wind any more.", false, false},
    {"carburetor, air valve time", LW_BRIEF_DEVICES, "damper of the air valve",
     "The damper lets the air valve open in {new}, no longer {old}.", NULL, NULL, false, false},
    {"carburetor, secondary, operation", LW_BRIEF_DEVICES, "how the secondaries open",
     "The secondaries open by: {new}, no longer: {old}.", NULL, NULL, true, true},
    {"carburetor, barrels", LW_BRIEF_DEVICES, "barrels", NULL, NULL, NULL, false, true},
    {"carburetor, units", LW_BRIEF_DEVICES, "units on the manifold", NULL, NULL, NULL, false, true},
    {"carburetor, float level", LW_BRIEF_BENCH, "float level",
     "Set the float to {new}, no longer {old}.", "Set the float to {new}.", NULL, false, false},
    {"carburetor, float measured", LW_BRIEF_BENCH, "how the float is measured",
     "Measure the float at: {new}; no longer: {old}.", "Measure the float at: {new}.", NULL, true,
     false},
    {"carburetor, fuel level", LW_BRIEF_BENCH, "fuel level",
     "The fuel stands at {new}, no longer {old}.", NULL, NULL, false, false},
    {"carburetor, choke, vacuum kick", LW_BRIEF_BENCH, "vacuum kick",
     "Set the kick to {new}, no longer {old}.", "Set the kick to {new}.",
     "There is no kick to set any more.", false, false},
    {"carburetor, choke, unloader", LW_BRIEF_BENCH, "unloader",
     "Set the unloader to {new}, no longer {old}.", "Set the unloader to {new}.",
     "There is no unloader to set any more.", false, false},
    {"carburetor, choke, fast idle step", LW_BRIEF_BENCH, "fast idle step",
     "Set fast idle on the {new} step, no longer on the {old}.", "Set fast idle on the {new} step.",
     NULL, true, false},
    {"carburetor, choke, fast idle", LW_BRIEF_BENCH, "fast idle",
     "Set fast idle to {new}, no longer {old}.", "Set fast idle to {new}.", NULL, false, false},
    {"carburetor, choke, setting", LW_BRIEF_BENCH, "choke setting",
     "Set the choke to {new}, no longer {old}.", "Set the choke to {new}.", NULL, false, false},
    {"carburetor, choke", LW_BRIEF_BENCH, NULL, NULL, NULL, NULL, false, false},
    {"carburetor, pump stroke", LW_BRIEF_BENCH, "pump stroke",
     "Set the pump stroke to {new}, no longer {old}.", "Set the pump stroke to {new}.", NULL, false,
     false},
    {"carburetor, pump", LW_BRIEF_BENCH, NULL, NULL, NULL, NULL, false, false},
    {"carburetor, ", LW_BRIEF_SIZES, NULL, NULL, NULL, NULL, false, false},
    {"engine, name", LW_BRIEF_OTHER, "engine", NULL, NULL, NULL, false, true},
    {"engine, displacement", LW_BRIEF_OTHER, "displacement", NULL, NULL, NULL, false, true},
    {"engine, layout", LW_BRIEF_OTHER, "layout of the engine", NULL, NULL, NULL, false, true},
    {"engine, cylinders", LW_BRIEF_OTHER, "cylinders", NULL, NULL, NULL, false, true},
    {"engine, bore", LW_BRIEF_OTHER, "bore", NULL, NULL, NULL, false, false},
    {"engine, stroke", LW_BRIEF_OTHER, "stroke", NULL, NULL, NULL, false, false},
    {"engine, compression ratio", LW_BRIEF_OTHER, "compression ratio", NULL, NULL, NULL, false,
     false},
    {"engine, firing order", LW_BRIEF_CHECKS, "firing order",
     "The firing order is {new}, no longer {old}: mind the leads.", NULL, NULL, false, false},
    {"engine, idle vacuum", LW_BRIEF_CHECKS, "manifold vacuum at idle", CHECK, NULL, NULL, false,
     false},
    {"engine, warm coolant", LW_BRIEF_CHECKS, "warm enough to be set",
     "Warm it to {new}, no longer {old}, before it is set.", "Warm it to {new} before it is set.",
     NULL, false, false},
    {"engine, dwell", LW_BRIEF_CHECKS, "dwell", "Set the dwell to {new}, no longer {old}.", NULL,
     NULL, false, false},
    {"engine, ", LW_BRIEF_CHECKS, NULL, CHECK, "Check against {new}.",
     "No figure is given any more.", false, false},
    {"transmission", LW_BRIEF_OTHER, "transmission",
     "It is for the {new} transmission, no longer for the {old}.", NULL, NULL, false, true},
    {"emission package", LW_BRIEF_OTHER, "emission package", NULL, NULL, NULL, false, false},
    {"engine name", LW_BRIEF_OTHER, "engine it belongs on", NULL, NULL, NULL, false, true},
    {"fuel", LW_BRIEF_OTHER, "fuel", "It is calibrated for {new}, no longer for {old}.", NULL, NULL,
     false, true},
};

/* Devices the card answers yes or no to. */
static const struct {
  const char *path, *what, *added, *dropped;
} answers[] = {
    {"carburetor, dashpot", "dashpot",
     "There is a dashpot now: set its gap, and see that it stands clear of the lever before the "
     "idle is set. Where the idle comes down slowly, it is the first suspect.",
     "There is no dashpot any more: nothing to set or to hold clear. An engine that dies when the "
     "throttle is let go is not missing one."},
    {"carburetor, off-idle check valve", "off-idle check valve",
     "There is an off-idle check valve now: a lean stumble just off idle points to it first.",
     "There is no off-idle check valve any more: no longer suspect it for a lean stumble."},
    {"carburetor, idle air bypass", "idle air bypass",
     "Idle air goes around the plates now: see that the passages are clean before the speed screw "
     "is blamed.",
     "Idle air no longer goes around the plates: the speed screw alone sets it."},
};

static const rule *rule_of(const char *path) {
  for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++) {
    if (strncmp(path, rules[i].path, strlen(rules[i].path)) == 0) return &rules[i];
  }
  return NULL;
}

/* The template with the figures in it. */
static const char *filled(desk *d, const char *template, const char *a, const char *b) {
  char text[1100] = "";
  for (const char *at = template; *at;) {
    bool is_new = strncmp(at, "{new}", 5) == 0, is_old = strncmp(at, "{old}", 5) == 0;
    if (is_new || is_old) {
      const char *value = is_new ? b : a;
      lw_text_append(text, sizeof text, "%s", value ? value : "not given");
      at += 5;
    } else {
      size_t n = strcspn(at + 1, "{") + 1;
      lw_text_append(text, sizeof text, "%.*s", (int)n, at);
      at += n;
    }
  }
  return say(d, "%s", text);
}

static const char *act_of(desk *d, const rule *r, const char *a, const char *b) {
  const char *template = !a ? r->added : !b ? r->dropped : r->changed;
  return template ? filled(d, template, a, b) : NULL;
}

/* "primary, main jet": the path without the map it stands in. */
static const char *short_name(const char *path) {
  if (strncmp(path, "carburetor, ", 12) == 0) return path + 12;
  if (strncmp(path, "engine, ", 8) == 0) return path + 8;
  return path;
}

/* A device is there when the card says yes; a card that does not say is not taken for a no. */
static bool put_answer(brief_desk *b, const char *path, const char *a, const char *c) {
  for (size_t i = 0; i < sizeof answers / sizeof answers[0]; i++) {
    if (strcmp(path, answers[i].path) != 0) continue;
    bool was = lw_text_same(a, "yes"), is = lw_text_same(c, "yes");
    if (was == is) return true;
    const char *unsaid = "The card does not say whether it is there: look.";
    put(b, &(draft){LW_BRIEF_DEVICES, path, answers[i].what, a, c,
                    (was ? !c : !a) ? unsaid
                    : is            ? answers[i].added
                                    : answers[i].dropped,
                    differ_reason(answers[i].what), true, true});
    return true;
  }
  return false;
}

static void put_value(void *to, const char *path, const char *a, const char *c) {
  brief_desk *b = to;
  if (put_answer(b, path, a, c)) return;
  const rule *r = rule_of(path);
  if (!r) return;
  const char *name = short_name(path);
  put(b, &(draft){r->group, path, r->what ? r->what : name, a, c, act_of(b->d, r, a, c),
                  differ_reason(name), r->method, r->interchange});
}

/* What has its own comparison, or says which card it is. */
static bool plain(const char *path) {
  static const char *const others[] = {
      "carburetor, screws ",         "carburetor, sealed",     "limits ", "engine, initial timing",
      "engine, centrifugal advance", "engine, vacuum advance", "notes"};
  for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
    if (strncmp(path, others[i], strlen(others[i])) == 0) return false;
  }
  return strcmp(path, "unit") != 0 && strcmp(path, "maker") != 0 && strcmp(path, "year") != 0;
}

static void compare_values(brief_desk *b) {
  said_list *a = said_of(b->d, b->brief->before.card, plain);
  said_list *c = said_of(b->d, b->brief->after.card, plain);
  if (a && c) said_compare(a, c, put_value, b);
}

/* ---- timing ---- */

static void compare_timing(brief_desk *b) {
  lw_range a = b->brief->before.card->engine.initial_timing;
  lw_range c = b->brief->after.card->engine.initial_timing;
  const char *was = differ_timing(b->d, b->brief->before.card);
  const char *is = differ_timing(b->d, b->brief->after.card);
  if (!(was || is) || lw_text_same(was, is)) return;
  const char *act = is ? say(b->d, "Time the engine to %s before the idle is touched.", is) : NULL;
  double by = lw_dim_shown(LW_ANGLE, LW_SHOP, lw_range_middle(c) - lw_range_middle(a));
  if (was && is && fabs(by) > 0.05) {
    act = say(b->d, "Time the engine to %s before the idle is touched: %.3g deg %s than before.",
              is, fabs(by), by < 0 ? "later" : "earlier");
  }
  put(b, &(draft){LW_BRIEF_TIMING, "engine, initial timing", "initial timing", was, is, act,
                  differ_reason("timing"), false, false});
}

static void compare_curve(brief_desk *b, const char *path, const char *what, const lw_list *a,
                          const lw_list *c) {
  const char *was = differ_curve(b->d, a), *is = differ_curve(b->d, c);
  if (!(was || is) || lw_text_same(was, is)) return;
  put(b, &(draft){LW_BRIEF_TIMING, path, what, was, is,
                  is ? "Check the advance against the new curve; the distributor belongs to it."
                     : NULL,
                  differ_reason("advance"), false, false});
}

static void compare_spark(brief_desk *b) {
  const lw_engine_card *a = &b->brief->before.card->engine, *c = &b->brief->after.card->engine;
  compare_timing(b);
  compare_curve(b, "engine, centrifugal advance", "centrifugal advance", &a->centrifugal_advance,
                &c->centrifugal_advance);
  compare_curve(b, "engine, vacuum advance", "vacuum advance", &a->vacuum_advance,
                &c->vacuum_advance);
}

/* ---- limits ---- */

static const char *limit_name(desk *d, const lw_limit_said *l) {
  return l->public_set ? say(d, "limits of the set '%s'", l->public_set)
                       : say(d, "limit on %s%s%s", lw_gas_text(l->gas), l->at ? " at " : "",
                             l->at ? lw_condition_text(l->at) : "");
}

static const lw_limit_said *same_limit(const lw_list *list, const lw_limit_said *l) {
  const lw_limit_said *all = list->items;
  for (size_t i = 0; i < list->count; i++) {
    if (l->public_set || all[i].public_set) {
      if (lw_text_same(l->public_set, all[i].public_set)) return &all[i];
    } else if (all[i].gas == l->gas && all[i].at == l->at) {
      return &all[i];
    }
  }
  return NULL;
}

static const char *limit_value(desk *d, const lw_limit_said *l) {
  char text[80];
  if (l->public_set) return "as the set says";
  lw_dim dim = l->gas == LW_GAS_HC || l->gas == LW_GAS_NO ? LW_PPM : LW_FRACTION;
  return say(d, "%s", lw_range_text(text, sizeof text, dim, LW_SHOP, l->value));
}

static const char *limit_act(desk *d, const lw_limit_said *a, const lw_limit_said *c,
                             const char *was, const char *is) {
  if (!a) return say(d, "It is held to %s now.", is);
  if (!c) return "The card holds it to no such limit any more.";
  bool both = lw_known(a->value.hi) && lw_known(c->value.hi);
  return say(d, "It is held to %s, no longer %s%s.", is, was,
             !both                       ? ""
             : c->value.hi < a->value.hi ? ": tighter"
             : c->value.hi > a->value.hi ? ": wider"
                                         : "");
}

static const char *limit_path(brief_desk *b, const lw_list *list, const lw_limit_said *l) {
  const lw_limit_said *first = list->items;
  return l ? say(b->d, "limits %zu", (size_t)(l - first) + 1) : NULL;
}

static void put_limit(brief_desk *b, const lw_limit_said *a, const lw_limit_said *c) {
  if (!a && !c) return;
  const lw_list *before = &b->brief->before.card->limits, *after = &b->brief->after.card->limits;
  const char *was = a ? limit_value(b->d, a) : NULL, *is = c ? limit_value(b->d, c) : NULL;
  if (lw_text_same(was, is)) return;
  draft t = {.group = LW_BRIEF_LIMITS,
             .path = limit_path(b, after, c),
             .what = limit_name(b->d, c ? c : a),
             .a = was,
             .b = is,
             .act = limit_act(b->d, a, c, was, is)};
  put_from(b, &t, limit_path(b, before, a));
}

static void compare_limits(brief_desk *b) {
  const lw_list *a = &b->brief->before.card->limits, *c = &b->brief->after.card->limits;
  const lw_limit_said *was = a->items, *is = c->items;
  for (size_t i = 0; i < c->count; i++)
    put_limit(b, same_limit(a, &is[i]), &is[i]);
  for (size_t i = 0; i < a->count; i++) {
    if (!same_limit(c, &was[i])) put_limit(b, &was[i], NULL);
  }
}

/* ---- notes ---- */

static void compare_notes(brief_desk *b) {
  const lw_texts *a = &b->brief->before.card->notes, *c = &b->brief->after.card->notes;
  for (size_t i = 0; i < c->count; i++) {
    if (has_text(a, c->text[i])) continue;
    put(b, &(draft){LW_BRIEF_OTHER, c->count > 1 ? say(b->d, "notes %zu", i + 1) : "notes",
                    "new note on the card", NULL, c->text[i], NULL, NULL, false, false});
  }
}

/* ---- all ---- */

/* By group; within a group as they were found. */
static void sort(brief_desk *b) {
  for (size_t i = 1; i < b->count; i++) {
    lw_brief_item item = b->items[i];
    const char *path = b->paths[i];
    size_t k = i;
    for (; k > 0 && b->items[k - 1].group > item.group; k--) {
      b->items[k] = b->items[k - 1];
      b->paths[k] = b->paths[k - 1];
    }
    b->items[k] = item;
    b->paths[k] = path;
  }
}

void brief_find(brief_desk *b) {
  compare_screws(b);
  compare_sealed(b);
  compare_spark(b);
  compare_values(b);
  compare_limits(b);
  compare_notes(b);
  sort(b);
}
