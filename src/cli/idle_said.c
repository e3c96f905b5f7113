/* idle_said.c - what a person types about the screws while the guide listens. */
#include "idle_turn.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

enum { LINE_MOST = 160 };

static const double most_turns = 6; /* in one move: a slip of the finger beyond (ours) */

static const char *const help =
    "type what was turned, as in 'left out 1/4' or 'left 1/8 turn clockwise'; where a screw "
    "stands, "
    "as in 'left at 1 1/2 turns', or 'not counted'; a reading, as in 'speed: 650 rpm'; 'nothing'; "
    "'end'; or Enter";

/* ---- screws ---- */

/* Also a reading that tells the guide nothing has where the screws stood. */
static const lw_reading *newest_idle(const lw_work *w) {
  for (size_t i = w->reading_count; i > 0; i--) {
    if (w->readings[i - 1].at == LW_AT_IDLE) return w->readings[i - 1].reading;
  }
  return NULL;
}

static double place_in(const lw_reading *r, const char *name) {
  const lw_named *screws = r ? r->screws.items : NULL;
  for (size_t k = 0; r && k < r->screws.count; k++) {
    if (lw_text_same(screws[k].name, name)) return screws[k].x;
  }
  return LW_NONE;
}

void idle_screws_of(const idle_guided *d, idle_screws *out) {
  const lw_carburetor_card *c = &d->car->twin->card->carburetor;
  const lw_screw_card *screw = c->screws.items;
  const lw_reading *newest = newest_idle(d->work);
  *out = (idle_screws){.count = 0};
  for (size_t i = 0; i < c->screws.count && out->count + 1 < IDLE_SCREWS_MOST; i++) {
    if (screw[i].kind == LW_SCREW_FIXED || screw[i].kind == LW_SCREW_UNSAID) continue;
    idle_screw *s = &out->at[out->count++];
    *s = (idle_screw){.name = screw[i].name, .place = place_in(newest, screw[i].name)};
    s->left = lw_screw_thread(&screw[i]) == LW_THREAD_LEFT;
    /* as the guide has it where the card does not say */
    s->preset = lw_range_known(screw[i].preset) ? lw_range_middle(screw[i].preset) : 2;
  }
  out->at[out->count++] = (idle_screw){.name = "speed screw",
                                       .speed = true,
                                       .left = c->speed_thread == LW_THREAD_LEFT,
                                       .place = LW_NONE};
}

void idle_screws_rest(idle_screws *s) {
  for (size_t i = 0; i < s->count; i++) {
    s->at[i].turned = 0;
    s->at[i].typed = s->at[i].beyond = false;
  }
}

void idle_screws_advise(idle_screws *s, const lw_guidance *g) {
  idle_screws_rest(s);
  for (size_t k = 0; k < g->move_count; k++) {
    for (size_t i = 0; i < s->count; i++) {
      if (!lw_text_same(s->at[i].name, g->moves[k].screw)) continue;
      s->at[i].turned = g->moves[k].turns;
      s->at[i].beyond = g->moves[k].back;
    }
  }
}

bool idle_screws_uncounted(const idle_screws *s) {
  for (size_t i = 0; i < s->count; i++) {
    if (!s->at[i].speed && !lw_known(s->at[i].place)) return true;
  }
  return false;
}

void idle_screws_assume(idle_screws *s) {
  for (size_t i = 0; i < s->count; i++) {
    if (!s->at[i].speed && !lw_known(s->at[i].place)) s->at[i].place = s->at[i].preset;
  }
}

double idle_screw_now(const idle_screw *s) {
  return s->place + (s->left ? -s->turned : s->turned);
}

void idle_screws_words(const idle_screws *s, char *text, size_t size) {
  text[0] = '\0';
  for (size_t i = 0; i < s->count; i++) {
    char by[48];
    const idle_screw *k = &s->at[i];
    if (k->turned == 0) continue;
    if (k->speed && !k->typed) { /* by how much, nobody told */
      lw_text_append(text, size, "%sspeed set", text[0] ? ", " : "");
      continue;
    }
    lw_turns_text(by, sizeof by, fabs(k->turned));
    lw_text_append(text, size, "%s%s %s %s", text[0] ? ", " : "", k->name, by,
                   k->turned > 0 ? "counter-clockwise" : "clockwise");
  }
}

/* ---- lines ---- */

static char *trimmed(char *text) {
  text += strspn(text, " \t\r");
  size_t n = strlen(text);
  while (n && strchr(" \t\r", text[n - 1]))
    text[--n] = '\0';
  return text;
}

/* The word at the start of text, and what is behind it; NULL when another stands there. */
static char *behind_word(char *text, const char *word) {
  size_t n = strlen(word);
  char head[LINE_MOST];
  if (strlen(text) < n || (text[n] && text[n] != ' ')) return NULL;
  snprintf(head, sizeof head, "%.*s", (int)n, text);
  return lw_text_same(head, word) ? text + n + strspn(text + n, " ") : NULL;
}

/* Which screw the line begins with: its index; count: all mixture screws; -1: none. */
static int screw_at(const idle_screws *s, char *text, char **rest) {
  static const char *const all[] = {"both", "all", "screws"};
  int best = -1;
  size_t longest = 0;
  for (size_t i = 0; i < s->count; i++) {
    char *behind = behind_word(text, s->at[i].name);
    if (!behind || strlen(s->at[i].name) <= longest) continue;
    longest = strlen(s->at[i].name);
    *rest = behind;
    best = (int)i;
  }
  for (size_t i = 0; best < 0 && i < sizeof all / sizeof all[0]; i++) {
    char *behind = behind_word(text, all[i]);
    if (!behind || s->count < 2) continue;
    *rest = behind;
    best = (int)s->count;
  }
  if (best < 0 && s->count == 2 && (*rest = behind_word(text, "screw")) != NULL) best = 0;
  char *more = best >= 0 ? behind_word(*rest, "screw") : NULL;
  if (more) *rest = more;
  return best;
}

typedef enum way { WAY_NONE, WAY_OUT, WAY_IN, WAY_CLOCKWISE, WAY_COUNTER } way;

/* The direction taken out of the line, wherever it stands in it; what is left is the amount. */
static way way_in(char *text, char *amount, size_t size) {
  static const struct {
    const char *word;
    way is;
  } words[] = {{"out", WAY_OUT},
               {"in", WAY_IN},
               {"clockwise", WAY_CLOCKWISE},
               {"counter-clockwise", WAY_COUNTER},
               {"counterclockwise", WAY_COUNTER}};
  way found = WAY_NONE;
  amount[0] = '\0';
  for (char *p = text; *p;) {
    size_t n = strcspn(p, " ");
    char word[LINE_MOST];
    bool direction = false;
    snprintf(word, sizeof word, "%.*s", (int)n, p);
    for (size_t i = 0; i < sizeof words / sizeof words[0] && !direction; i++) {
      direction = lw_text_same(word, words[i].word);
      if (direction) found = words[i].is;
    }
    bool unit = lw_text_same(word, "turn") || lw_text_same(word, "turns");
    if (!direction && !unit) lw_text_append(amount, size, "%s%s", amount[0] ? " " : "", word);
    p += n + strspn(p + n, " ");
  }
  return found;
}

static double counter_clockwise(const idle_screw *s, way w, double amount) {
  if (w == WAY_CLOCKWISE) return -amount;
  if (w == WAY_COUNTER) return amount;
  return (w == WAY_OUT) == s->left ? -amount : amount;
}

static lw_status check_place(const idle_screw *s, lw_error *error) {
  char text[48];
  double now = idle_screw_now(s);
  if (!lw_known(now) || (now > -1e-9 && now < 20)) return LW_OK;
  lw_turns_text(text, sizeof text, now);
  return lw_fail(error, LW_BAD_INPUT,
                 "%s would then stand at %s out; count its turns in and say '%s at 1 1/2 turns'",
                 s->name, text, s->name);
}

static lw_status take_move(idle_screws *s, int which, char *rest, lw_error *error) {
  char amount[LINE_MOST];
  double by = 0;
  lw_error own = {0};
  way w = way_in(rest, amount, sizeof amount);
  if (w == WAY_NONE)
    return lw_fail(error, LW_BAD_INPUT,
                   "which way? Write out or in, clockwise or counter-clockwise");
  if (!amount[0] || lw_number_read(amount, &by, &own) != LW_OK || !(by > 0 && by <= most_turns))
    return lw_fail(error, LW_BAD_INPUT, "'%.40s': how far? Write turns, as in 1/4, at most %.0f",
                   amount, most_turns);
  idle_screws turned = *s;
  for (size_t i = 0; i < s->count; i++) {
    idle_screw *k = &turned.at[i];
    if (which < (int)s->count ? (int)i != which : k->speed) continue;
    k->turned = counter_clockwise(k, w, by);
    k->typed = true;
    k->beyond = false;
    lw_status status = check_place(k, error);
    if (status != LW_OK) return status;
  }
  *s = turned;
  return LW_OK;
}

/* "at 1 1/2 turns": where it stands now, so what was turned on the way counts no more. */
static lw_status take_place(idle_screws *s, int which, char *rest, lw_error *error) {
  char amount[LINE_MOST];
  double at = 0;
  lw_error own = {0};
  (void)way_in(rest, amount, sizeof amount);
  if (!amount[0] || lw_number_read(amount, &at, &own) != LW_OK || !(at >= 0 && at <= 20))
    return lw_fail(error, LW_BAD_INPUT,
                   "'%.40s': where? Write turns out from lightly seated, 0 to 20, as in 1 1/2",
                   amount);
  for (size_t i = 0; i < s->count; i++) {
    idle_screw *k = &s->at[i];
    if (which < (int)s->count ? (int)i != which : k->speed) continue;
    if (k->speed)
      return lw_fail(error, LW_BAD_INPUT,
                     "nobody counts where the speed screw stands; say what it "
                     "was turned");
    k->place = at - (k->left ? -k->turned : k->turned);
  }
  return LW_OK;
}

static bool one_of(const char *text, const char *const *words) {
  for (; *words; words++) {
    if (lw_text_same(text, *words)) return true;
  }
  return false;
}

lw_status idle_said(idle_screws *s, const char *line, idle_said_kind *kind, lw_error *error) {
  static const char *const none[] = {"nothing", "no", "not turned", NULL};
  static const char *const unknown[] = {"not counted", "uncounted", NULL};
  static const char *const over[] = {"end", "quit", NULL};
  char copy[LINE_MOST], *rest = NULL;
  if (strlen(line) >= sizeof copy)
    return lw_fail(error, LW_BAD_INPUT, "a line of more than %d letters", LINE_MOST - 1);
  snprintf(copy, sizeof copy, "%s", line);
  char *text = trimmed(copy);
  *kind = !*text                  ? IDLE_SAID_ENTER
          : one_of(text, none)    ? IDLE_SAID_NOTHING
          : one_of(text, over)    ? IDLE_SAID_END
          : one_of(text, unknown) ? IDLE_SAID_UNKNOWN
          : strchr(text, ':')     ? IDLE_SAID_READING
                                  : IDLE_SAID_MOVE;
  if (*kind != IDLE_SAID_MOVE) return LW_OK;
  int which = screw_at(s, text, &rest);
  if (which < 0) return lw_fail(error, LW_BAD_INPUT, "'%.40s' is not understood; %s", text, help);
  char *place = behind_word(rest, "at");
  if (place) *kind = IDLE_SAID_PLACE;
  return place ? take_place(s, which, place, error) : take_move(s, which, rest, error);
}
