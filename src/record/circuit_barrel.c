/* circuit_barrel.c - the section of the drawn barrel: bowl, main and idle circuits, bore, plate.
**
** Air comes down a gallery at the left and crosses to the idle channel on rungs, one for each
** bleed; the one crossing of passages (idle channel over main jet) is drawn as a bridge. Bore,
** venturi, plate, nozzle lip and fuel level are to one scale; the rest is laid out to be read.
*/
#include "circuit_sketch.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- places ---- */

enum {
  HORN_TOP = 184,
  HORN_FLOOR = 250,
  GALLERY = 160, /* x */
  COLUMN = 292,  /* x of the idle channel */
  TUBE = 415,    /* x of the idle tube */
  WELL = 458,    /* x */
  TOP_Y = 345,   /* idle tube top */
  SECOND_Y = 405,
  CHECK_Y = 458,
  SCREW_Y = 532,
  NOZZLE_Y = 352,
  WELL_Y = 576,
  MAIN_Y = 610,
  POWER_Y = 660,
  EDGE_TOP = 700, /* the enlarged view begins */
  LEFT = 500,     /* walls of the bore */
  RIGHT = 640,
  MIDDLE = 570,
  THROAT_Y = 350,
  SHAFT_Y = 790,
  BOTTOM = 930,
  BOWL_LEFT = 20,
  BOWL_RIGHT = 130,
  BOWL_TOP = 325,
  BOWL_BOTTOM = 548
};

static const lw_barrel_card *card_of(const lw_sketch *s) {
  const lw_carburetor_card *c = &s->view->card->carburetor;
  return s->scene.b->linkage == LW_LINK_PEDAL ? &c->primary : &c->secondary;
}

static double units_per_m(const lw_sketch *s) {
  return (RIGHT - LEFT) / s->scene.b->bore;
}

/* Half the opening of the venturi, on the picture. */
static double throat(const lw_sketch *s) {
  double share = card_of(s)->venturi / s->scene.b->bore;
  if (!lw_known(share)) share = 0.9;
  return fmin(fmax(share, 0.3), 1) * (RIGHT - LEFT) / 2;
}

static double level_y(const lw_sketch *s) {
  const lw_net *net = s->view->net;
  double lip = s->scene.nozzle >= 0 ? net->nodes[s->scene.nozzle].height : 0.005;
  double level = s->scene.bowl >= 0 ? net->nodes[s->scene.bowl].height : 0;
  return fmin(fmax(NOZZLE_Y + (lip - level) * units_per_m(s), BOWL_TOP + 6), BOWL_BOTTOM - 20);
}

/* ---- labels ---- */

/* A passage's name and what flows in it. */
static void name_stream(lw_sketch *s, lw_role role, const char *name, double x, double y,
                        double wish_x, double wish_y) {
  const lw_stream *stream = &s->scene.streams[role];
  char flow[80], text[160];
  if (!stream->exists) return;
  lw_flow_words(flow, sizeof flow, stream);
  snprintf(text, sizeof text, flow[0] ? "%s\n%s" : "%s", name, flow);
  bool live = stream->stuff != LW_STUFF_NONE && !stream->plugged;
  lw_shade shade = stream->plugged ? LW_SHADE_WARNING : live ? LW_SHADE_TEXT : LW_SHADE_SOFT;
  lw_tag_near(s, x, y, wish_x, wish_y, false, shade, text);
}

static void name_node(lw_sketch *s, int node, const char *name, double x, double y, double wish_x,
                      double wish_y) {
  char pressure[48], text[120];
  if (node < 0) return;
  if (s->scene.solved) {
    lw_pressure_words(pressure, sizeof pressure, &s->scene, s->view->point->pressure[node]);
    snprintf(text, sizeof text, "%s\n%s", name, pressure);
  } else {
    snprintf(text, sizeof text, "%s", name);
  }
  lw_tag_near(s, x, y, wish_x, wish_y, true, LW_SHADE_PRESSURE, text);
}

/* "open", "shut" or "partly open", for a gate that follows a pressure difference. A power jet shuts
   as the vacuum rises, a check valve opens as the difference does. */
static const char *gate_state(const lw_passage *p, double difference, bool solved) {
  if (p->gate == LW_GATE_NONE) return p->orifice.area > 0 ? "stuck open" : "stuck shut";
  if (!solved) return "";
  bool opens = p->gate == LW_GATE_CHECK;
  if (difference <= p->low) return opens ? "shut" : "open";
  if (difference >= p->high) return opens ? "open" : "shut";
  return "partly open";
}

/* ---- bowl and main circuit ---- */

static void draw_bowl(lw_sketch *s) {
  double level = level_y(s), width = BOWL_RIGHT - BOWL_LEFT;
  lw_framed(s, BOWL_LEFT, BOWL_TOP, width, BOWL_BOTTOM - BOWL_TOP, LW_SHADE_PAPER, 3);
  lw_filled(s, BOWL_LEFT + 2, level, width - 4, BOWL_BOTTOM - 2 - level, LW_SHADE_FUEL);
  lw_framed(s, BOWL_LEFT + 22, level - 9, width - 44, 26, LW_SHADE_METAL, 1.5); /* the float */

  lw_busy(s, BOWL_LEFT, BOWL_TOP, width, BOWL_BOTTOM - BOWL_TOP);
  const lw_dot vent[] = {{52, BOWL_TOP}, {52, HORN_FLOOR - 2}};
  lw_duct(s, LW_STUFF_AIR, vent, 2);
  lw_filled(s, 48.5, BOWL_TOP - 2, 7, 5, LW_SHADE_AIR);
  name_node(s, s->scene.bowl, "fuel bowl", 75, BOWL_TOP, 105, BOWL_TOP - 26);
}

static void draw_rod(lw_sketch *s) {
  if (!card_of(s)->rods.count) return;
  lw_line(s, 78, BOWL_TOP - 14, 78, BOWL_BOTTOM - 20, 5, LW_SHADE_METAL);
  lw_line(s, 78, BOWL_BOTTOM - 20, 78, BOWL_BOTTOM + 22, 3, LW_SHADE_METAL);
}

static void draw_power(lw_sketch *s) {
  const lw_stream *power = &s->scene.streams[LW_ROLE_POWER];
  const lw_dot way[] = {{40, BOWL_BOTTOM}, {40, POWER_Y}, {WELL, POWER_Y}, {WELL, MAIN_Y}};
  if (!power->exists) return;
  bool step = strncmp(power->passage->name, "power step", 10) == 0;
  double vacuum = s->scene.solved
                      ? s->view->setting->ambient - s->view->point->pressure[s->scene.manifold]
                      : NAN;
  const char *state = gate_state(power->passage, vacuum, s->scene.solved);
  char name[80];
  snprintf(name, sizeof name, "%s%s%s", step ? "power step of the rod" : "power jet",
           state[0] ? ", " : "", state);
  lw_pipe(s, power, way, 4, 0.80, false);
  lw_jet(s, power, 120, POWER_Y, false);
  if (strcmp(state, "shut") == 0 || strcmp(state, "stuck shut") == 0) {
    lw_line(s, 88, POWER_Y - 10, 88, POWER_Y + 10, 4, LW_SHADE_LINE);
  }
  name_stream(s, LW_ROLE_POWER, name, 120, POWER_Y, 175, POWER_Y + 23);
}

static void draw_main(lw_sketch *s) {
  const lw_stream *streams = s->scene.streams;
  const lw_dot jet[] = {{78, BOWL_BOTTOM}, {78, MAIN_Y}, {WELL, MAIN_Y}, {WELL, WELL_Y}};
  const lw_dot well[] = {{WELL, WELL_Y}, {WELL, NOZZLE_Y}};
  const lw_dot bleed[] = {{WELL, HORN_FLOOR - 2}, {WELL, NOZZLE_Y}};
  double inner = 0.3 * throat(s);
  const lw_dot nozzle[] = {{WELL, NOZZLE_Y},
                           {MIDDLE - (lw_known(card_of(s)->booster) ? inner : 0), NOZZLE_Y}};
  lw_filled(s, WELL - 13, level_y(s), 26, WELL_Y + 8 - level_y(s), LW_SHADE_METAL);
  lw_line(s, WELL - 28, level_y(s), WELL + 28, level_y(s), 1.5, LW_SHADE_FUEL);
  draw_power(s);
  lw_pipe(s, &streams[LW_ROLE_MAIN_JET], jet, 4, 0.76, false);
  lw_jet(s, &streams[LW_ROLE_MAIN_JET], 120, MAIN_Y, false);
  lw_pipe(s, &streams[LW_ROLE_WELL], well, 2, 0.55, false);
  lw_pipe(s, &streams[LW_ROLE_MAIN_BLEED], bleed, 2, 0.75, false);
  lw_jet(s, &streams[LW_ROLE_MAIN_BLEED], WELL, HORN_FLOOR + 26, true);
  lw_pipe(s, &streams[LW_ROLE_NOZZLE], nozzle, 2, 0.72, false);
  lw_node_dot(s, WELL, WELL_Y);
  lw_node_dot(s, WELL, NOZZLE_Y);
  name_stream(s, LW_ROLE_MAIN_JET, "main jet", 120, MAIN_Y, 155, MAIN_Y + 25);
  name_stream(s, LW_ROLE_MAIN_BLEED, "main air bleed", WELL, HORN_FLOOR + 26, 392, HORN_FLOOR + 26);
  name_stream(s, LW_ROLE_NOZZLE, "main nozzle", 505, NOZZLE_Y + 4, MIDDLE + 2, NOZZLE_Y + 66);
  name_node(s, s->scene.well, "main well", WELL, WELL_Y, 352, WELL_Y - 8);
  name_node(s, s->scene.nozzle, "nozzle", WELL - 6, NOZZLE_Y - 4, 392, NOZZLE_Y - 36);
}

/* ---- idle circuit ---- */

static void rung(lw_sketch *s, lw_role role, double y, const char *name) {
  const lw_stream *stream = &s->scene.streams[role];
  const lw_dot way[] = {{GALLERY, y}, {COLUMN, y}};
  if (!stream->exists) return;
  lw_pipe(s, stream, way, 2, 0.78, false);
  lw_jet(s, stream, 195, y, false);
  name_stream(s, role, name, 220, y, 220, y - 25);
}

static void check_rung(lw_sketch *s) {
  const lw_stream *check = &s->scene.streams[LW_ROLE_CHECK];
  if (!check->exists) return;
  char name[60];
  bool solved = s->scene.solved;
  double difference = solved ? s->view->point->pressure[check->passage->from] -
                                   s->view->point->pressure[check->passage->to]
                             : NAN;
  const char *state = gate_state(check->passage, difference, solved);
  const char *between = !state[0] ? "" : state[0] == 'p' ? ":\n" : ": "; /* partly open */
  snprintf(name, sizeof name, "check valve%s%s", between, state);
  rung(s, LW_ROLE_CHECK, CHECK_Y, name);
  bool shut = strcmp(state, "shut") == 0 || strcmp(state, "stuck shut") == 0;
  cairo_new_path(s->cr);
  cairo_arc(s->cr, shut ? 175 : 169, CHECK_Y, 5.5, 0, 6.283185307179586);
  lw_shade_set(s, LW_SHADE_LINE);
  cairo_fill(s->cr);
  lw_line(s, 182, CHECK_Y - 9, 182, CHECK_Y - (shut ? 0 : 5), 3, LW_SHADE_LINE);
  lw_line(s, 182, CHECK_Y + (shut ? 0 : 5), 182, CHECK_Y + 9, 3, LW_SHADE_LINE);
}

/* The one screw of the unit: its needle, the chamber behind it, this barrel's hole. */
static void air_screw(lw_sketch *s) {
  const lw_stream *screw = &s->scene.streams[LW_ROLE_AIR_SCREW];
  const lw_stream *hole = &s->scene.streams[LW_ROLE_BLEED_HOLE];
  if (!screw->exists) return;
  double lift = lw_needle_lift(s->view, screw->passage);
  double turns = lw_screw_turns(s->view, screw->passage);
  const lw_dot in[] = {{GALLERY, SCREW_Y}, {226, SCREW_Y}};
  const lw_dot out[] = {{226, SCREW_Y}, {COLUMN, SCREW_Y}};
  char name[80], out_words[32];
  lw_pipe(s, screw, in, 2, 0.32, false);
  lw_pipe(s, hole, out, 2, 0.86, false);
  lw_framed(s, 212, SCREW_Y - 13, 28, 26, LW_SHADE_AIR, 2);
  lw_jet(s, hole, 258, SCREW_Y, false);
  double tip = SCREW_Y - 8 + fmin(lift * 8e3, 14);
  cairo_new_path(s->cr); /* needle from below the rung, its tip rising into the pipe when shut */
  cairo_move_to(s->cr, 187, tip);
  cairo_line_to(s->cr, 194, SCREW_Y + 20);
  cairo_line_to(s->cr, 194, SCREW_Y + 32);
  cairo_line_to(s->cr, 180, SCREW_Y + 32);
  cairo_line_to(s->cr, 180, SCREW_Y + 20);
  cairo_close_path(s->cr);
  lw_shade_set(s, LW_SHADE_LINE);
  cairo_fill(s->cr);
  lw_filled(s, 175, SCREW_Y + 32, 24, 7, LW_SHADE_LINE);
  lw_busy(s, 175, SCREW_Y, 24, 48);
  lw_turns_text(out_words, sizeof out_words, turns);
  snprintf(name, sizeof name, lw_known(turns) ? "air screw: %s out" : "air screw", out_words);
  name_stream(s, LW_ROLE_AIR_SCREW, name, 187, SCREW_Y + 40, 200, SCREW_Y + 56);
  name_stream(s, LW_ROLE_BLEED_HOLE, "bleed hole", 258, SCREW_Y, 250, SCREW_Y + 29);
  name_node(s, s->scene.chamber, "chamber", 226, SCREW_Y - 13, 226, SCREW_Y - 32);
}

static void draw_gallery(lw_sketch *s) {
  double low = 0;
  const struct {
    lw_role role;
    double y;
  } rungs[] = {{LW_ROLE_IDLE_BLEED, TOP_Y},
               {LW_ROLE_SECOND_BLEED, SECOND_Y},
               {LW_ROLE_CHECK, CHECK_Y},
               {LW_ROLE_AIR_SCREW, SCREW_Y}};
  for (size_t i = 0; i < 4; i++) {
    if (s->scene.streams[rungs[i].role].exists) low = rungs[i].y;
  }
  if (low == 0) return;
  const lw_dot way[] = {{GALLERY, HORN_FLOOR - 2}, {GALLERY, low + 5}};
  lw_duct(s, LW_STUFF_AIR, way, 2);
}

static void draw_idle(lw_sketch *s) {
  const lw_stream *streams = s->scene.streams;
  const lw_dot feed[] = {{WELL, WELL_Y}, {TUBE, WELL_Y}, {TUBE, TOP_Y}, {COLUMN, TOP_Y}};
  const lw_dot down[] = {{COLUMN, TOP_Y}, {COLUMN, SECOND_Y}};
  if (s->scene.idle_top < 0) return;
  draw_gallery(s);
  lw_pipe(s, &streams[LW_ROLE_FEED], feed, 4, 0.45, false);
  lw_jet(s, &streams[LW_ROLE_FEED], TUBE, WELL_Y - 60, true);
  lw_pipe(s, &streams[LW_ROLE_RESTRICTION], down, 2, 0.78, false);
  lw_jet(s, &streams[LW_ROLE_RESTRICTION], COLUMN, TOP_Y + 26, true);
  rung(s, LW_ROLE_IDLE_BLEED, TOP_Y, "idle bleed");
  rung(s, LW_ROLE_SECOND_BLEED, SECOND_Y, "second bleed");
  check_rung(s);
  air_screw(s);
  name_stream(s, LW_ROLE_FEED, "idle feed", TUBE, WELL_Y - 60, 352, WELL_Y - 60);
  name_stream(s, LW_ROLE_RESTRICTION, "restriction", COLUMN, TOP_Y + 26, 350, TOP_Y + 66);
  name_node(s, s->scene.idle_top, "idle tube top", COLUMN, TOP_Y, 354, TOP_Y + 24);
  name_node(s, s->scene.channel, "idle channel", COLUMN, SECOND_Y, 352, SECOND_Y + 50);
}

/* What leaves the channel for the edge, as one stream: all of it goes down the column. */
static lw_stream down_stream(const lw_scene *scene) {
  static const lw_role out[] = {LW_ROLE_SLOT_BELOW, LW_ROLE_SLOT_ABOVE, LW_ROLE_PORT,
                                LW_ROLE_LIMITER};
  lw_stream sum = {.exists = true};
  for (size_t i = 0; i < 4; i++) {
    const lw_stream *one = &scene->streams[out[i]];
    bool behind = out[i] == LW_ROLE_PORT && scene->behind >= 0;
    if (!one->exists || behind || !lw_known(one->flow)) continue;
    sum.flow += one->flow;
    sum.fuel += one->fuel;
  }
  sum.stuff = lw_stuff_of(sum.flow, sum.fuel);
  return sum;
}

static void draw_column(lw_sketch *s) {
  if (s->scene.channel < 0) return;
  lw_stream down = down_stream(&s->scene);
  const lw_dot way[] = {{COLUMN, SECOND_Y}, {COLUMN, EDGE_TOP + 2}};
  const lw_dot over[] = {{COLUMN, MAIN_Y - 16}, {COLUMN, POWER_Y + 16}};
  lw_pipe(s, &down, way, 2, -1, false);
  lw_pipe(s, &down, over, 2, 0.5, true);
  lw_node_dot(s, COLUMN, TOP_Y);
  lw_node_dot(s, COLUMN, SECOND_Y);
}

/* ---- bore ---- */

/* One wall: side -1 left, 1 right. */
static void wall(lw_sketch *s, double side) {
  double x = side < 0 ? LEFT : RIGHT, in = (RIGHT - LEFT) / 2.0 - throat(s), out = x + side * 11;
  double t = x - side * in;
  cairo_new_path(s->cr);
  cairo_move_to(s->cr, x, HORN_FLOOR);
  cairo_curve_to(s->cr, x, 300, t, 310, t, THROAT_Y);
  cairo_curve_to(s->cr, t, 395, x, 400, x, 470);
  cairo_line_to(s->cr, x, BOTTOM);
  cairo_line_to(s->cr, out, BOTTOM);
  cairo_line_to(s->cr, out, HORN_FLOOR);
  cairo_close_path(s->cr);
  lw_shade_set(s, LW_SHADE_METAL);
  cairo_fill_preserve(s->cr);
  lw_shade_set(s, LW_SHADE_LINE);
  cairo_set_line_width(s->cr, 1.5);
  cairo_stroke(s->cr);
  lw_busy(s, fmin(out, t), HORN_FLOOR, fabs(out - t), 220);
  lw_busy(s, fmin(out, x), 470, 11, BOTTOM - 470);
}

static void draw_booster(lw_sketch *s) {
  if (!lw_known(card_of(s)->booster)) return;
  double inner = 0.3 * throat(s);
  for (int side = -1; side <= 1; side += 2) {
    cairo_new_path(s->cr);
    cairo_move_to(s->cr, MIDDLE + side * (inner + 5), THROAT_Y - 28);
    cairo_line_to(s->cr, MIDDLE + side * inner, THROAT_Y);
    cairo_line_to(s->cr, MIDDLE + side * (inner + 4), THROAT_Y + 28);
    cairo_set_line_width(s->cr, 5);
    cairo_set_line_join(s->cr, CAIRO_LINE_JOIN_ROUND);
    lw_shade_set(s, LW_SHADE_LINE);
    cairo_stroke(s->cr);
    lw_busy(s, MIDDLE + side * inner - 4, THROAT_Y - 28, 10, 56);
  }
}

/* The plate in section: an ellipse that just fits the bore when shut, turned by its angle. */
static void draw_plate(lw_sketch *s) {
  double half = (RIGHT - LEFT) / 2.0 / cos(s->scene.b->closed), a = s->scene.angle;
  double shaft = s->scene.b->shaft * (RIGHT - LEFT) / 2;
  lw_line(s, MIDDLE - half * cos(a), SHAFT_Y - half * sin(a), MIDDLE + half * cos(a),
          SHAFT_Y + half * sin(a), 6, LW_SHADE_LINE);
  cairo_new_path(s->cr);
  cairo_arc(s->cr, MIDDLE, SHAFT_Y, shaft, 0, 6.283185307179586);
  lw_shade_set(s, LW_SHADE_METAL);
  cairo_fill_preserve(s->cr);
  lw_shade_set(s, LW_SHADE_LINE);
  cairo_set_line_width(s->cr, 2);
  cairo_stroke(s->cr);
  double up = fmax(half * fabs(sin(a)), 14), across = fmax(half * cos(a), 14);
  lw_busy(s, MIDDLE - across, SHAFT_Y - up, across, up + 6);
  lw_busy(s, MIDDLE, SHAFT_Y - 6, across, up + 6);
}

static void draw_bypass(lw_sketch *s) {
  const lw_stream *bypass = &s->scene.streams[LW_ROLE_BYPASS];
  const lw_dot way[] = {{RIGHT + 1, 722}, {668, 722}, {668, 862}, {RIGHT + 1, 862}};
  if (!bypass->exists) return;
  char text[120] = "air\nbypass", flow[60], *digits;
  lw_pipe(s, bypass, way, 4, 0.7, false);
  lw_jet(s, bypass, 668, 766, true);
  lw_flow_words(flow, sizeof flow, bypass);
  digits = strncmp(flow, "air ", 4) == 0 ? flow + 4 : flow;
  if (flow[0]) lw_text_append(text, sizeof text, "\n%s", digits);
  lw_tag_near(s, 668, 722, 684, 690, false, LW_SHADE_TEXT, text);
}

/* Plate and the clearance around it together. */
static void name_plate_flow(lw_sketch *s) {
  const lw_stream *plate = &s->scene.streams[LW_ROLE_PLATE];
  const lw_stream *around = &s->scene.streams[LW_ROLE_CLEARANCE];
  if (!plate->exists || !lw_known(plate->flow)) return;
  lw_stream sum = *plate;
  char flow[80], text[120];
  sum.plugged = false;
  sum.flow += around->exists ? around->flow : 0;
  sum.fuel += around->exists ? around->fuel : 0;
  sum.air = sum.flow - sum.fuel;
  sum.stuff = lw_stuff_of(sum.flow, sum.fuel);
  if (sum.stuff != LW_STUFF_NONE) {
    lw_arrow(s, MIDDLE + 46, SHAFT_Y + 62, 0, sum.flow < 0 ? -1 : 1, sum.flow);
  }
  lw_flow_words(flow, sizeof flow, &sum);
  snprintf(text, sizeof text, "past plate\n%s", flow);
  lw_tag_near(s, MIDDLE + 46, SHAFT_Y + 62, MIDDLE - 14, SHAFT_Y + 64, false, LW_SHADE_TEXT, text);
}

static void draw_bore(lw_sketch *s) {
  lw_filled(s, LEFT, HORN_FLOOR, RIGHT - LEFT, BOTTOM - HORN_FLOOR, LW_SHADE_AIR);
  wall(s, -1);
  wall(s, 1);
  draw_booster(s);
  draw_plate(s);
  draw_bypass(s);
}

static void name_bore(lw_sketch *s) {
  char text[80], angle[32];
  double flow = s->scene.solved ? s->view->point->barrel_air[s->scene.barrel] : NAN;
  name_node(s, s->scene.booster, lw_known(card_of(s)->booster) ? "booster" : "throat", MIDDLE,
            THROAT_Y - 20, MIDDLE, THROAT_Y - 51);
  name_node(s, s->scene.below, "below venturi", MIDDLE, 545, MIDDLE, 545);
  name_node(s, s->scene.manifold, "manifold", MIDDLE, 905, MIDDLE, 905);
  snprintf(angle, sizeof angle, "%.1f", s->scene.angle * 180 / 3.14159265358979323846);
  snprintf(text, sizeof text, "plate %s\xC2\xB0", angle);
  lw_tag_near(s, MIDDLE, SHAFT_Y - 14, MIDDLE + 30, SHAFT_Y - 44, false, LW_SHADE_TEXT, text);
  name_plate_flow(s);
  if (!lw_known(flow) || !(fabs(flow) > 2e-8)) return;
  double way = flow < 0 ? -1 : 1;
  lw_arrow(s, MIDDLE, 268, 0, way, flow);
  lw_arrow(s, MIDDLE, 640, 0, way, flow);
  lw_stream air = {.exists = true, .flow = flow, .air = flow, .stuff = LW_STUFF_AIR};
  lw_flow_words(angle, sizeof angle, &air);
  lw_tag_near(s, MIDDLE, 640, MIDDLE, 608, false, LW_SHADE_TEXT, angle);
}

/* Its plate hides the sine of its angle (docs/what-ifs.md). None over a secondary barrel. */
static void draw_choke(lw_sketch *s) {
  const double half = 21, y = HORN_TOP + 25;
  double open = lw_scene_choke(s->view->net, s->scene.b->horn);
  char text[40] = "choke";
  if (!lw_known(open)) return;
  double angle = asin(fmin(fmax(1 - open, 0), 1));
  double across = half * sin(angle), down = half * cos(angle);
  lw_line(s, MIDDLE - across, y - down, MIDDLE + across, y + down, 4, LW_SHADE_LINE);
  lw_busy(s, MIDDLE - across - 3, y - down, 2 * across + 6, fmax(2 * down, 6));
  if (open < 0.995) snprintf(text, sizeof text, "choke, %.0f %%\nshut", 100 * (1 - open));
  lw_tag_near(s, MIDDLE, y, MIDDLE + across + 36, 216, false,
              open < 0.995 ? LW_SHADE_TEXT : LW_SHADE_SOFT, text);
}

static void draw_horn(lw_sketch *s) {
  lw_filled(s, 10, HORN_TOP, 700, HORN_FLOOR - HORN_TOP, LW_SHADE_AIR);
  for (int x = 14; x < 706; x += 12)
    lw_line(s, x, HORN_TOP - 10, x + 7, HORN_TOP, 2, LW_SHADE_NONE);
  lw_line(s, 10, HORN_TOP, 710, HORN_TOP, 2, LW_SHADE_LINE);
  lw_line(s, 10, HORN_TOP - 11, 710, HORN_TOP - 11, 2, LW_SHADE_LINE);
  /* the floor, open at the bore */
  lw_filled(s, 10, HORN_FLOOR - 4, LEFT - 10, 8, LW_SHADE_METAL);
  lw_filled(s, RIGHT, HORN_FLOOR - 4, 710 - RIGHT, 8, LW_SHADE_METAL);
  lw_busy(s, 10, HORN_FLOOR - 4, LEFT - 10, 8);
  draw_choke(s);
}

static void name_horn(lw_sketch *s) {
  char text[120] = "air horn, under the air cleaner", depth[32];
  if (s->scene.solved) {
    double under = (s->view->setting->ambient - s->scene.reference) / 249.08891;
    if (under > 0.005) {
      snprintf(text, sizeof text, "air horn: %s inH2O below the air outside",
               lw_figures(depth, sizeof depth, under));
    } else {
      snprintf(text, sizeof text, "air horn: as the air outside");
    }
  }
  lw_tag_near(s, 200, 216, 200, 216, true, LW_SHADE_PRESSURE, text);
}

/* Thin lines from the wall at the plate's edge to the enlarged view. */
static void mark_edge(lw_sketch *s) {
  double y = SHAFT_Y - (RIGHT - LEFT) / 2.0 * tan(s->scene.b->closed);
  cairo_rectangle(s->cr, LEFT - 9, y - 22, 22, 38);
  lw_shade_set(s, LW_SHADE_PRESSURE);
  cairo_set_line_width(s->cr, 1.5);
  cairo_stroke(s->cr);
  lw_line(s, 482, EDGE_TOP, LEFT - 9, y - 22, 1, LW_SHADE_PRESSURE);
  lw_line(s, 482, BOTTOM, LEFT - 9, y + 16, 1, LW_SHADE_PRESSURE);
}

void lw_draw_barrel(lw_sketch *s) {
  draw_horn(s);
  draw_bore(s);
  draw_bowl(s);
  name_horn(s);
  draw_main(s);
  draw_rod(s);
  draw_idle(s);
  draw_column(s);
  name_bore(s);
  mark_edge(s);
}
