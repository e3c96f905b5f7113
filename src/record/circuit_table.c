/* circuit_table.c - above the section: what is drawn and its totals; under it: how to read the
** lines, where the fuel leaves, the other barrels, and leaks.
*/
#include "circuit_sketch.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SIDE = 20, FOOT = 942, ROW = 21, TILE_TOP = 92, TILE_HEIGHT = 66 };

#define DEGREES (180 / 3.14159265358979323846)

/* ---- head ---- */

/* As much of a text as a width holds. */
static void fitted(lw_sketch *s, double x, double y, double size, bool bold, lw_shade shade,
                   double width, const char *text) {
  char part[160];
  size_t length = strlen(text), bad = 0;
  snprintf(part, sizeof part, "%.150s", text);
  for (size_t keep = length; keep > 1 && lw_tag_width(s, size, bold, part) > width; keep--) {
    snprintf(part, sizeof part, "%.*s", (int)(keep < 150 ? keep : 150), text);
    if (!lw_text_utf8(part, strlen(part), &bad)) part[bad] = '\0';
    lw_text_append(part, sizeof part, "\xE2\x80\xA6");
  }
  lw_tag_at(s, x, y, 0, size, bold, shade, part);
}

static void title(lw_sketch *s) {
  const lw_card *card = s->view->card;
  char text[220] = "";
  if (card->engine_name) lw_text_append(text, sizeof text, "%.40s", card->engine_name);
  if (card->transmission) {
    lw_text_append(text, sizeof text, "%s%s", text[0] ? ", " : "",
                   lw_transmission_text(card->transmission));
  }
  double taken =
      text[0] ? lw_tag_at(s, SIDE + 680, 19, 1, 14, false, LW_SHADE_TEXT, text).width : 0;
  fitted(s, SIDE, 10, 24, true, LW_SHADE_TEXT, 660 - taken,
         card->unit ? card->unit : "Unit without a number");
  snprintf(text, sizeof text, "%s", s->view->net->family);
  if (text[0] >= 'a' && text[0] <= 'z') text[0] = (char)(text[0] - 'a' + 'A');
  fitted(s, SIDE, 43, 14, false, LW_SHADE_TEXT, 680, text);
}

static void operating_point(lw_sketch *s) {
  const lw_setting *set = s->view->setting;
  char text[200], pressure[40];
  snprintf(text, sizeof text, "%.0f rpm, ", set->speed * 60 / 6.283185307179586);
  if (set->throttle == 0) {
    lw_text_append(text, sizeof text, "throttle on its idle stop");
  } else if (set->throttle < 0) {
    lw_text_append(text, sizeof text, "throttle shut past its idle stop");
  } else if (set->throttle >= 1) {
    lw_text_append(text, sizeof text, "throttle wide open");
  } else {
    lw_text_append(text, sizeof text, "throttle %.3g %% from its idle stop", set->throttle * 100);
  }
  lw_quantity_text(pressure, sizeof pressure, LW_PRESSURE, LW_SHOP, set->ambient, LW_NONE);
  lw_text_append(text, sizeof text, "; outside %s", pressure);
  lw_tag_at(s, SIDE, 65, 0, 14, false, LW_SHADE_TEXT, text);
}

static void tile(lw_sketch *s, int i, const char *name, const char *value, const char *more) {
  double width = 162, x = SIDE + i * (width + 10.6);
  lw_framed(s, x, TILE_TOP, width, TILE_HEIGHT, LW_SHADE_PAPER, 1.2);
  lw_tag_at(s, x + 9, TILE_TOP + 4, 0, 13, false, LW_SHADE_SOFT, name);
  lw_tag_at(s, x + 9, TILE_TOP + 21, 0, 20, true, LW_SHADE_TEXT, value);
  lw_tag_at(s, x + 9, TILE_TOP + 46, 0, 13, false, LW_SHADE_TEXT, more);
}

/* Three figures: totals are good for more than single passages are. */
static const char *total(char *buffer, size_t size, double kg_s) {
  double g = kg_s * 1e3;
  int decimals = fabs(g) >= 99.95 ? 0 : fabs(g) >= 9.995 ? 1 : fabs(g) >= 0.9995 ? 2 : 3;
  snprintf(buffer, size, "%.*f g/s", decimals, g);
  return buffer;
}

static void totals(lw_sketch *s) {
  const lw_point *p = s->view->point;
  char value[40], more[60];
  double density = s->view->net->fluids.fuel_density;
  double air_density =
      s->view->setting->ambient / (s->view->net->fluids.air_r * s->view->net->fluids.temperature);
  snprintf(more, sizeof more, "%.3g cfm", p->air / air_density / (0.028316846592 / 60));
  tile(s, 0, "air, whole engine", total(value, sizeof value, p->air), more);
  snprintf(more, sizeof more, "%.3g L/h", p->fuel / density * 3.6e6);
  tile(s, 1, "fuel", total(value, sizeof value, p->fuel), more);
  if (lw_known(p->afr) && p->afr < 1000) {
    snprintf(value, sizeof value, "%.1f", p->afr);
    snprintf(more, sizeof more, "lambda %.2f", p->lambda);
  } else {
    snprintf(value, sizeof value, "no fuel");
    snprintf(more, sizeof more, "only air flows");
  }
  tile(s, 2, "air-fuel ratio", value, more);
  double vacuum = s->view->setting->ambient - p->manifold;
  lw_quantity_text(value, sizeof value, LW_PRESSURE, LW_SHOP, vacuum, LW_NONE);
  lw_quantity_text(more, sizeof more, LW_PRESSURE, LW_METRIC, vacuum, LW_NONE);
  tile(s, 3, "manifold vacuum", value, more);
}

static void not_settled(lw_sketch *s) {
  char text[160];
  lw_framed(s, SIDE, TILE_TOP, 680, TILE_HEIGHT, LW_SHADE_PAPER, 3);
  lw_tag_at(s, SIDE + 12, TILE_TOP + 8, 0, 17, true, LW_SHADE_WARNING,
            "The flows did not settle: no pressure or flow is shown.");
  const char *where = s->view->report->where;
  snprintf(text, sizeof text, "%s%.80s", where[0] ? "Furthest from balance: " : "Try another point",
           where);
  lw_tag_at(s, SIDE + 12, TILE_TOP + 36, 0, 13, false, LW_SHADE_TEXT, text);
}

void lw_draw_head(lw_sketch *s) {
  title(s);
  operating_point(s);
  if (s->scene.solved) {
    totals(s);
  } else {
    not_settled(s);
  }
}

/* ---- foot ---- */

static double legend(lw_sketch *s, double y) {
  static const struct {
    lw_stuff stuff;
    const char *name;
  } kinds[] = {{LW_STUFF_FUEL, "fuel"},
               {LW_STUFF_EMULSION, "emulsion"},
               {LW_STUFF_AIR, "air"},
               {LW_STUFF_NONE, "no flow"}};
  static const double at[] = {SIDE, 140, 300, 420};
  for (size_t i = 0; i < 4; i++) {
    const lw_dot line[] = {{at[i], y + 9}, {at[i] + 44, y + 9}};
    lw_duct(s, kinds[i].stuff, line, 2);
    lw_tag_at(s, at[i] + 51, y, 0, 13, false, LW_SHADE_TEXT, kinds[i].name);
  }
  lw_stream plugged = {.exists = true, .plugged = true};
  const lw_dot line[] = {{570, y + 9}, {614, y + 9}};
  lw_pipe(s, &plugged, line, 2, -1, false);
  lw_jet(s, &plugged, 592, y + 9, false);
  lw_tag_at(s, 621, y, 0, 13, false, LW_SHADE_TEXT, "plugged");
  lw_tag_at(s, SIDE, y + 22, 0, 13, false, LW_SHADE_PRESSURE,
            s->scene.solved ? "\xE2\x88\x92 inH2O: below the pressure in the air horn.  1 inHg = "
                              "13.6 inH2O.  A wider arrow: more flow."
                            : "Passages as they are; what flows in them is not known here.");
  return y + 46;
}

static double fuel_bar(lw_sketch *s, double y) {
  const lw_point *p = s->view->point;
  static const lw_circuit order[] = {LW_CIRCUIT_IDLE, LW_CIRCUIT_TRANSFER, LW_CIRCUIT_MAIN,
                                     LW_CIRCUIT_POWER, LW_CIRCUIT_LEAK};
  static const lw_shade shades[] = {LW_SHADE_FUEL, LW_SHADE_EMULSION, LW_SHADE_METAL, LW_SHADE_LINE,
                                    LW_SHADE_WARNING};
  char text[200] = "Fuel leaves through: ";
  double x = SIDE, width = 680;
  if (!(p->fuel > 1e-9)) return y;
  for (size_t i = 0, said = 0; i < 5; i++) {
    double share = fmax(p->by_circuit[order[i]], 0) / p->fuel;
    if (share < 0.005) continue;
    lw_text_append(text, sizeof text, "%s%s %.0f %%", said++ ? ", " : "", lw_circuit_text(order[i]),
                   share * 100);
    double w = fmin(share * width, SIDE + width - x);
    lw_framed(s, x, y + 20, w, 12, shades[i], 1);
    x += w;
  }
  lw_tag_at(s, SIDE, y, 0, 13, true, LW_SHADE_TEXT, text);
  return y + 40;
}

static const double columns[] = {SIDE + 8, 330, 430, 492, 564, 692}; /* right edges but the first */

static void row(lw_sketch *s, double y, const char *const *cells, bool bold) {
  for (size_t i = 0; i < 6; i++) {
    if (cells[i][0]) lw_tag_at(s, columns[i], y, i ? 1 : 0, 13, bold, LW_SHADE_TEXT, cells[i]);
  }
}

static void barrel_row(lw_sketch *s, double y, int b) {
  const lw_net *net = s->view->net;
  const lw_point *p = s->view->point;
  char name[80], air[24] = "", fuel[24] = "", afr[24] = "", plate[24], booster[24] = "";
  lw_barrel_words(name, sizeof name, net, b);
  snprintf(plate, sizeof plate, "%.1f\xC2\xB0", lw_scene_angle(s->view, b) * DEGREES);
  if (s->scene.solved) {
    double a = p->barrel_air[b], f = p->barrel_fuel[b];
    for (int i = 0; i < net->passage_count; i++) { /* what enters by bleeds and slots counts, too */
      const lw_passage *q = &net->passages[i];
      if (net->nodes[q->from].kind != LW_NET_INNER || net->nodes[q->from].barrel != b) continue;
      if (net->nodes[q->to].kind == LW_NET_INNER) continue;
      a += p->flow[i] - p->fuel_flow[i];
    }
    lw_figures(air, sizeof air, a * 1e3);
    lw_figures(fuel, sizeof fuel, f * 1e6);
    if (f > 1e-9 && a / f < 1000) snprintf(afr, sizeof afr, "%.1f", a / f);
    double depth = (p->pressure[net->barrels[b].horn] - p->pressure[net->barrels[b].signal]);
    if (depth < 249) {
      snprintf(booster, sizeof booster, "%.2f", fmax(depth, 0) / 249.08891);
    } else {
      lw_figures(booster, sizeof booster, depth / 249.08891);
    }
    if (!(a > 2e-8)) snprintf(air, sizeof air, "0");
    if (!(f > 2e-8)) snprintf(fuel, sizeof fuel, "0");
  }
  if (b == s->scene.barrel) lw_text_append(name, sizeof name, " (drawn)");
  const char *cells[] = {name, air, fuel, afr, plate, booster};
  if (b % 2 == 0) lw_filled(s, SIDE, y - 2, 680, ROW, LW_SHADE_AIR);
  row(s, y, cells, b == s->scene.barrel);
}

static double table(lw_sketch *s, double y) {
  static const char *const heads[] = {"barrel", "air g/s", "fuel mg/s",
                                      "A/F",    "plate",   "signal inH2O"};
  static const char *const bare[] = {"barrel", "", "", "", "plate", ""};
  if (s->view->net->barrel_count < 2) return y;
  row(s, y, s->scene.solved ? heads : bare, true);
  lw_line(s, SIDE, y + 19, SIDE + 680, y + 19, 1.2, LW_SHADE_LINE);
  y += 23;
  for (int b = 0; b < s->view->net->barrel_count; b++)
    barrel_row(s, y + ROW * b, b);
  return y + ROW * s->view->net->barrel_count + 4;
}

/* How far the air valves are open, all in one line. */
static double valves(lw_sketch *s, double y) {
  double least = 1, most = -1;
  char text[80];
  for (int b = 0; b < s->view->net->barrel_count; b++) {
    double open = lw_scene_valve(s->view, b);
    if (!lw_known(open)) continue;
    least = fmin(least, open);
    most = fmax(most, open);
  }
  if (most < 0) return y;
  if (most - least < 0.01) {
    snprintf(text, sizeof text, "Air valve: %.0f %% open", 100 * most);
  } else {
    snprintf(text, sizeof text, "Air valves: %.0f to %.0f %% open", 100 * least, 100 * most);
  }
  lw_tag_at(s, SIDE, y, 0, 13, false, LW_SHADE_TEXT, text);
  return y + ROW;
}

static bool is_leak(const lw_passage *p) {
  return p->circuit == LW_CIRCUIT_LEAK;
}

static double leaks(lw_sketch *s, double y) {
  const lw_net *net = s->view->net;
  for (int i = 0; i < net->passage_count; i++) {
    const lw_passage *p = &net->passages[i];
    if (!is_leak(p)) continue;
    char text[120], figure[32];
    snprintf(text, sizeof text, "Leak into the manifold: %s", p->name);
    if (s->scene.solved) {
      double flow = s->view->point->flow[i], fuel = s->view->point->fuel_flow[i];
      lw_text_append(text, sizeof text, ", %s %s mg/s", fuel > 0.5 * flow ? "fuel" : "air",
                     lw_figures(figure, sizeof figure, flow * 1e6));
    }
    lw_tag_at(s, SIDE, y, 0, 13, true, LW_SHADE_WARNING, text);
    y += ROW;
  }
  return y;
}

void lw_draw_foot(lw_sketch *s) {
  double y = legend(s, FOOT);
  if (s->scene.solved) y = fuel_bar(s, y);
  y = table(s, y);
  y = valves(s, y);
  y = leaks(s, y);
  if (s->unplaced) {
    lw_tag_at(s, SIDE, y, 0, 13, true, LW_SHADE_WARNING, "Some labels found no room.");
  }
}

double lw_foot_height(const lw_circuit_view *view) {
  int barrels = view->net->barrel_count, leak_count = 0;
  bool valve = false;
  for (int b = 0; b < barrels; b++)
    valve = valve || lw_known(lw_scene_valve(view, b));
  for (int i = 0; i < view->net->passage_count; i++)
    leak_count += is_leak(&view->net->passages[i]);
  double rows = barrels > 1 ? 27 + ROW * barrels : 0;
  return FOOT + 46 + 40 + rows + ROW * (leak_count + valve) + 14;
}
