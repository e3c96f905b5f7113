/* circuit_scene.c - which passage of the network is which on the picture, and numbers in words. */
#include "circuit_sketch.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define INH2O 249.08891 /* Pa, conventional */

/* Under this nothing is said to flow, kg/s: a thousandth of an idle jet's flow. */
static const double least_flow = 2e-8;
/* Only for a needle whose turns no card tells: a usual taper. */
static const double usual_half_angle = 9 * 3.14159265358979323846 / 180;

/* ---- names ---- */

/* "main jet" begins "main jet" and "main jet, left"; a number may follow ("idle air bypass 2"). */
static bool begins(const char *name, const char *word) {
  size_t n = strlen(word);
  if (strncmp(name, word, n) != 0) return false;
  return name[n] == '\0' || name[n] == ',' || (name[n] == ' ' && name[n + 1] <= '9');
}

static const struct {
  const char *word;
  lw_role role;
} words[] = {
    {"main jet", LW_ROLE_MAIN_JET},
    {"power jet", LW_ROLE_POWER},
    {"power step of rod", LW_ROLE_POWER},
    {"well", LW_ROLE_WELL},
    {"main air bleed", LW_ROLE_MAIN_BLEED},
    {"main nozzle", LW_ROLE_NOZZLE},
    {"idle feed", LW_ROLE_FEED},
    {"idle air bleed", LW_ROLE_IDLE_BLEED},
    {"second idle bleed", LW_ROLE_SECOND_BLEED},
    {"idle restriction", LW_ROLE_RESTRICTION},
    {"transfer slot", LW_ROLE_SLOT_BELOW},
    {"slot above plate", LW_ROLE_SLOT_ABOVE},
    {"idle limiter", LW_ROLE_LIMITER},
    {"fixed idle port", LW_ROLE_PORT},
    {"screw", LW_ROLE_PORT},
    {"bleed hole", LW_ROLE_BLEED_HOLE},
    {"off-idle check valve", LW_ROLE_CHECK},
    {"idle air bypass", LW_ROLE_BYPASS},
    {"throttle", LW_ROLE_PLATE},
    {"plate clearance", LW_ROLE_CLEARANCE},
};

static int role_of(const char *name) {
  for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
    if (begins(name, words[i].word)) return (int)words[i].role;
  }
  return -1;
}

/* ---- finding ---- */

static int barrel_of(const lw_net *net, const lw_passage *p) {
  int from = net->nodes[p->from].barrel, to = net->nodes[p->to].barrel;
  return from >= 0 ? from : to;
}

static int drawn_barrel(const lw_circuit_view *view) {
  const lw_net *net = view->net;
  if (view->barrel >= 0 && view->barrel < net->barrel_count) return view->barrel;
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *p = &net->passages[i];
    if (begins(p->name, "screw") && barrel_of(net, p) >= 0) return barrel_of(net, p);
  }
  return 0;
}

/* By volume an emulsion is mostly air long before its mass tells: a ten-thousandth of its mass is a
   sixteenth of its room. */
lw_stuff lw_stuff_of(double flow, double fuel) {
  if (!(fabs(flow) > least_flow)) return LW_STUFF_NONE;
  double share = fuel / flow;
  return share > 1 - 1e-4 ? LW_STUFF_FUEL : share < 5e-3 ? LW_STUFF_AIR : LW_STUFF_EMULSION;
}

static void take(const lw_circuit_view *view, bool solved, int i, lw_stream *stream) {
  const lw_passage *p = &view->net->passages[i];
  *stream = (lw_stream){.exists = true, .passage = p, .flow = NAN, .fuel = NAN, .air = NAN};
  stream->plugged = p->gas ? !(p->cd_area > 0) : !(p->orifice.area > 0);
  if (!solved) return;
  stream->flow = view->point->flow[i];
  stream->fuel = view->point->fuel_flow[i];
  stream->air = stream->flow - stream->fuel;
  stream->stuff = lw_stuff_of(stream->flow, stream->fuel);
}

static void find_nodes(const lw_net *net, lw_scene *scene) {
  const struct {
    const char *word;
    int *at;
  } places[] = {{"main well", &scene->well},         {"nozzle", &scene->nozzle},
                {"idle tube top", &scene->idle_top}, {"idle channel", &scene->channel},
                {"behind limiter", &scene->behind},  {"booster", &scene->booster},
                {"below venturi", &scene->below},    {"bleed air chamber", &scene->chamber}};
  for (size_t k = 0; k < sizeof places / sizeof places[0]; k++) {
    *places[k].at = -1;
    for (int i = 0; i < net->node_count; i++) {
      const lw_net_node *n = &net->nodes[i];
      bool ours = n->barrel == scene->barrel || places[k].at == &scene->chamber;
      if (ours && begins(n->name, places[k].word)) *places[k].at = i;
    }
  }
}

static void find_streams(const lw_circuit_view *view, lw_scene *scene) {
  const lw_net *net = view->net;
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *p = &net->passages[i];
    int role = role_of(p->name);
    if (role == LW_ROLE_PORT && p->to == scene->chamber && scene->chamber >= 0) {
      take(view, scene->solved, i, &scene->streams[LW_ROLE_AIR_SCREW]);
    } else if (role >= 0 && barrel_of(net, p) == scene->barrel) {
      take(view, scene->solved, i, &scene->streams[role]);
    }
  }
}

void lw_scene_find(const lw_circuit_view *view, lw_scene *scene) {
  const lw_net *net = view->net;
  memset(scene, 0, sizeof *scene);
  scene->solved = view->report->converged && view->point;
  scene->barrel = drawn_barrel(view);
  scene->b = &net->barrels[scene->barrel];
  scene->horn = scene->b->horn;
  scene->manifold = scene->b->manifold;
  find_nodes(net, scene);
  find_streams(view, scene);
  const lw_passage *bleed = scene->streams[LW_ROLE_MAIN_BLEED].passage;
  const lw_passage *jet = scene->streams[LW_ROLE_MAIN_JET].passage;
  if (bleed) scene->horn = bleed->from;
  scene->bowl = jet ? jet->from : -1;
  scene->reference = scene->solved ? view->point->pressure[scene->horn] : NAN;
  scene->angle = lw_scene_angle(view, scene->barrel);
}

double lw_scene_angle(const lw_circuit_view *view, int barrel) {
  const lw_barrel *b = &view->net->barrels[barrel];
  if (view->report->converged && view->point) return b->closed + view->point->angle[barrel];
  double share = b->linkage == LW_LINK_PEDAL ? view->setting->throttle : 0;
  if (b->linkage == LW_LINK_LATE) {
    share = (view->setting->throttle - b->link_from) / (b->link_to - b->link_from);
    share = fmin(fmax(share, 0), 1);
  }
  return b->closed + b->stop + share * (b->wide - b->closed - b->stop);
}

double lw_scene_choke(const lw_net *net, int horn) {
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *p = &net->passages[i];
    if (p->to == horn && begins(p->name, "choke") && p->high > 0) return p->cd_area / p->high;
  }
  return LW_NONE;
}

double lw_scene_valve(const lw_circuit_view *view, int barrel) {
  const lw_barrel *b = &view->net->barrels[barrel];
  double slope = 0;
  if (!(b->valve_full > 0) || !view->report->converged || !view->point) return LW_NONE;
  if (view->setting->held && lw_known(view->setting->held->valve)) {
    return view->setting->held->valve;
  }
  /* the throat's depression from the booster's: see assemble.c, barrel_values */
  double horn = view->point->pressure[b->horn], signal = view->point->pressure[b->signal];
  double throat = horn * pow(signal / horn, 1 / b->booster);
  return lw_air_valve_share(horn - throat, b->valve_opens, b->valve_full, &slope);
}

/* A passage is called after its screw, "screw, left", cut where names are. */
double lw_screw_turns(const lw_circuit_view *view, const lw_passage *passage) {
  const lw_list *list = &view->card->carburetor.screws;
  const lw_screw_card *screws = list->items;
  for (size_t i = 0; i < list->count; i++) {
    char name[LW_NET_NAME];
    const char *own = screws[i].name ? screws[i].name : "";
    if (screws[i].kind == LW_SCREW_FIXED) continue;
    snprintf(name, sizeof name, own[0] ? "screw, %s" : "screw", own);
    if (strcmp(name, passage->name) == 0) return lw_range_middle(screws[i].preset);
  }
  return LW_NONE;
}

double lw_needle_lift(const lw_circuit_view *view, const lw_passage *passage) {
  double seat = passage->high, lo = 0, hi = 4 * seat, slope = 0;
  double turns = lw_screw_turns(view, passage);
  if (lw_known(turns)) return turns * passage->low;
  for (int i = 0; i < 60; i++) {
    double mid = 0.5 * (lo + hi);
    bool less = lw_needle_area(mid, seat, usual_half_angle, &slope) < passage->orifice.area;
    *(less ? &lo : &hi) = mid;
  }
  return 0.5 * (lo + hi);
}

/* ---- words ---- */

const char *lw_figures(char *buffer, size_t size, double x) {
  char three[32];
  snprintf(three, sizeof three, "%.2e", fabs(x));
  int figures = three[0] == '1' ? 3 : 2;
  char exact[32];
  snprintf(exact, sizeof exact, "%.*e", figures - 1, x);
  double rounded = strtod(exact, NULL);
  int power = rounded != 0 ? (int)floor(log10(fabs(rounded)) + 1e-9) : 0;
  int decimals = figures - 1 - power;
  snprintf(buffer, size, "%.*f", decimals > 0 ? decimals : 0, rounded);
  return buffer;
}

static void append_flow(char *buffer, size_t size, const char *what, double kg_s) {
  char text[32];
  double mg = fabs(kg_s) * 1e6;
  bool grams = mg >= 995;
  lw_text_append(buffer, size, "%s%s %s %s", buffer[0] ? "\n" : "", what,
                 lw_figures(text, sizeof text, grams ? mg / 1e3 : mg), grams ? "g/s" : "mg/s");
}

const char *lw_flow_words(char *buffer, size_t size, const lw_stream *stream) {
  buffer[0] = '\0';
  if (stream->plugged) return snprintf(buffer, size, "plugged"), buffer;
  if (!lw_known(stream->flow)) return buffer;
  switch (stream->stuff) {
  case LW_STUFF_NONE: snprintf(buffer, size, "no flow"); break;
  case LW_STUFF_AIR: append_flow(buffer, size, "air", stream->air); break;
  case LW_STUFF_FUEL: append_flow(buffer, size, "fuel", stream->fuel); break;
  case LW_STUFF_EMULSION:
    append_flow(buffer, size, "fuel", stream->fuel);
    append_flow(buffer, size, "air", stream->air);
    break;
  }
  return buffer;
}

const char *lw_flow_line(char *buffer, size_t size, const lw_stream *stream) {
  lw_flow_words(buffer, size, stream);
  char *cut = strchr(buffer, '\n');
  if (!cut) return buffer;
  /* one unit when both have it: "fuel 42 mg/s" and "air 110 mg/s" */
  char *unit = strrchr(buffer, ' '), air[60];
  char *first = cut;
  while (first > buffer && *first != ' ')
    first--;
  bool same = strncmp(first, unit, (size_t)(cut - first)) == 0;
  snprintf(air, sizeof air, "%s", cut + 1);
  *(same ? first : cut) = '\0';
  return lw_text_append(buffer, size, ", %s", air);
}

const char *lw_pressure_words(char *buffer, size_t size, const lw_scene *scene, double p) {
  char text[32];
  double depth = (scene->reference - p) / INH2O;
  if (fabs(depth) < 0.005) return snprintf(buffer, size, "0 inH2O"), buffer;
  if (fabs(depth) < 1) { /* a hundredth is what a good manometer shows */
    snprintf(buffer, size, "%s%.2f inH2O", depth > 0 ? "\xE2\x88\x92" : "+", fabs(depth));
    return buffer;
  }
  snprintf(buffer, size, "%s%s inH2O", depth > 0 ? "\xE2\x88\x92" : "+",
           lw_figures(text, sizeof text, fabs(depth)));
  return buffer;
}

const char *lw_barrel_words(char *buffer, size_t size, const lw_net *net, int barrel) {
  const lw_barrel *b = &net->barrels[barrel];
  const char *horn = strchr(net->nodes[b->horn].name, ',');
  const char *name = net->nodes[b->signal].name;
  bool right = strstr(name, "right") != NULL, left = strstr(name, "left") != NULL;
  bool secondaries = false;
  for (int i = 0; i < net->barrel_count; i++)
    secondaries = secondaries || net->barrels[i].linkage != LW_LINK_PEDAL;
  buffer[0] = '\0';
  if (horn) lw_text_append(buffer, size, "%s unit", horn + 2);
  if (secondaries) {
    lw_text_append(buffer, size, "%s%s", buffer[0] ? ", " : "",
                   b->linkage == LW_LINK_PEDAL ? "primary" : "secondary");
  }
  if (left || right) {
    lw_text_append(buffer, size, "%s%s", buffer[0] ? " " : "", left ? "left" : "right");
  }
  if (!buffer[0]) lw_text_append(buffer, size, "the barrel");
  return buffer;
}
