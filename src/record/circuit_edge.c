/* circuit_edge.c - the wall at the plate's edge, enlarged: slot, idle port, needle in true place.
**
** Heights, slot, seat and needle lift are to scale. Where the port lies under the shut plate no
** card says: it is drawn just under it.
*/
#include "circuit_sketch.h"

#include <math.h>
#include <stdio.h>

enum {
  PANEL_X = 20,
  PANEL_TOP = 700,
  PANEL_RIGHT = 482,
  PANEL_BOTTOM = 930,
  CHANNEL = 292, /* x of the idle channel's middle */
  WALL_LEFT = 301,
  WALL_RIGHT = 337,
  SLOT_TOP = 742
};

static const double needle_slope = 0.158; /* tangent of a half angle of 9 degrees */
static const double port_under = 0.5e-3;  /* m: upper edge of the port under the shut plate; ours */

typedef struct edge_view {
  double scale;                 /* units for each m */
  double shut_y;                /* the edge when the plate is shut */
  double edge_y;                /* the edge now */
  double slot_low, slot_length; /* m; length 0: none */
  double port_y, port;          /* middle and diameter, units; 0: none */
} edge_view;

static edge_view view_of(const lw_sketch *s) {
  const lw_scene *scene = &s->scene;
  const lw_stream *slot = &scene->streams[LW_ROLE_SLOT_BELOW];
  const lw_stream *port = &scene->streams[LW_ROLE_PORT];
  edge_view v = {.slot_length = 0};
  if (slot->exists) {
    v.slot_low = slot->passage->low;
    v.slot_length = slot->passage->high;
  }
  double above = fmax(v.slot_low + v.slot_length, 2e-3);
  v.scale = fmin(92 / above, 22e3);
  v.shut_y = SLOT_TOP + above * v.scale;
  double slope = 0;
  double rise = lw_throttle_edge(scene->angle, scene->b->closed, scene->b->bore, &slope);
  v.edge_y = v.shut_y - rise * v.scale;
  if (port->exists) {
    bool screw = port->passage->high > 0;
    double d = screw ? port->passage->high : port->passage->orifice.diameter;
    v.port = fmin(fmax(d * v.scale, 8), 44);
    v.port_y = v.shut_y + port_under * v.scale + v.port / 2;
  }
  return v;
}

static void frame(lw_sketch *s) {
  lw_framed(s, PANEL_X, PANEL_TOP, PANEL_RIGHT - PANEL_X, PANEL_BOTTOM - PANEL_TOP, LW_SHADE_PAPER,
            1.5);
  lw_filled(s, WALL_RIGHT, PANEL_TOP + 1, PANEL_RIGHT - WALL_RIGHT - 1,
            PANEL_BOTTOM - PANEL_TOP - 2, LW_SHADE_AIR);
  lw_filled(s, WALL_LEFT, PANEL_TOP + 1, WALL_RIGHT - WALL_LEFT, PANEL_BOTTOM - PANEL_TOP - 2,
            LW_SHADE_METAL);
  lw_line(s, WALL_LEFT, PANEL_TOP + 1, WALL_LEFT, PANEL_BOTTOM - 1, 1.5, LW_SHADE_LINE);
  lw_line(s, WALL_RIGHT, PANEL_TOP + 1, WALL_RIGHT, PANEL_BOTTOM - 1, 1.5, LW_SHADE_LINE);
  lw_busy(s, WALL_LEFT, PANEL_TOP, WALL_RIGHT - WALL_LEFT, PANEL_BOTTOM - PANEL_TOP);
}

static lw_shade inside(const lw_stream *stream) {
  switch (stream->stuff) {
  case LW_STUFF_FUEL: return LW_SHADE_FUEL;
  case LW_STUFF_EMULSION: return LW_SHADE_EMULSION;
  case LW_STUFF_AIR: return LW_SHADE_AIR;
  case LW_STUFF_NONE: break;
  }
  return LW_SHADE_PAPER;
}

/* An opening through the wall between two heights. */
static void opening(lw_sketch *s, double top, double bottom, const lw_stream *stream, bool arrow) {
  if (bottom - top < 0.5) return;
  lw_filled(s, WALL_LEFT - 1, top, WALL_RIGHT - WALL_LEFT + 2, bottom - top, inside(stream));
  lw_line(s, WALL_LEFT, top, WALL_RIGHT, top, 1.5, LW_SHADE_LINE);
  lw_line(s, WALL_LEFT, bottom, WALL_RIGHT, bottom, 1.5, LW_SHADE_LINE);
  if (!arrow || stream->stuff == LW_STUFF_NONE || stream->plugged) return;
  lw_arrow(s, WALL_RIGHT + 10, (top + bottom) / 2, stream->flow < 0 ? -1 : 1, 0, stream->flow);
}

static void label(lw_sketch *s, const lw_stream *stream, const char *name, double x, double y,
                  double wish_x, double wish_y) {
  char flow[80], text[200];
  lw_flow_line(flow, sizeof flow, stream);
  snprintf(text, sizeof text, flow[0] ? "%s\n%s" : "%s", name, flow);
  bool live = stream->stuff != LW_STUFF_NONE && !stream->plugged;
  lw_tag_near(s, x, y, wish_x, wish_y, false,
              stream->plugged ? LW_SHADE_WARNING
              : live          ? LW_SHADE_TEXT
                              : LW_SHADE_SOFT,
              text);
}

static void draw_slot(lw_sketch *s, const edge_view *v) {
  const lw_stream *below = &s->scene.streams[LW_ROLE_SLOT_BELOW];
  const lw_stream *above = &s->scene.streams[LW_ROLE_SLOT_ABOVE];
  if (!below->exists) return;
  char text[100];
  double low = v->shut_y - v->slot_low * v->scale, top = low - v->slot_length * v->scale;
  double edge = fmin(fmax(v->edge_y, top), low);
  double under = (low - edge) / v->scale * 1e3, length = v->slot_length * 1e3;
  if (above->exists) opening(s, top, edge, above, true);
  opening(s, edge, low, below, true);
  if (edge > top + 1 && above->exists) {
    label(s, above, "slot above the plate", WALL_LEFT - 16, (top + edge) / 2, 200, top + 12);
  }
  snprintf(text, sizeof text, "transfer slot: %.1f of %.1f mm\nunder the edge", under, length);
  label(s, below, text, WALL_LEFT - 16, (edge + low) / 2 + 4, 165, top + 60);
}

/* The needle from the left; its cone fills the seat when the lift is 0. */
static void needle(lw_sketch *s, const edge_view *v, double lift) {
  double r = v->port / 2, scale = v->port / s->scene.streams[LW_ROLE_PORT].passage->high;
  double shoulder = WALL_LEFT - fmin(lift * scale, 60); /* where the cone is as wide as the seat */
  double tip = shoulder + fmin(0.75 * r / needle_slope, 86);
  double end = r - needle_slope * (tip - shoulder), y = v->port_y;
  cairo_new_path(s->cr);
  cairo_move_to(s->cr, 128, y - r);
  cairo_line_to(s->cr, shoulder, y - r);
  cairo_line_to(s->cr, tip, y - end);
  cairo_line_to(s->cr, tip, y + end);
  cairo_line_to(s->cr, shoulder, y + r);
  cairo_line_to(s->cr, 128, y + r);
  cairo_close_path(s->cr);
  lw_shade_set(s, LW_SHADE_NONE);
  cairo_fill_preserve(s->cr);
  lw_shade_set(s, LW_SHADE_LINE);
  cairo_set_line_width(s->cr, 1.6);
  cairo_stroke(s->cr);
  for (int x = 134; x < 196; x += 7)
    lw_line(s, x, y - r, x + 4, y + r, 1, LW_SHADE_LINE);
  lw_framed(s, 112, y - r - 5, 16, 2 * r + 10, LW_SHADE_NONE, 1.6); /* the head */
  lw_busy(s, 112, y - r - 5, tip - 112, 2 * r + 10);
}

static void draw_port(lw_sketch *s, const edge_view *v) {
  const lw_stream *port = &s->scene.streams[LW_ROLE_PORT];
  if (!port->exists) return;
  bool screw = port->passage->high > 0;
  char text[120] = "idle port, fixed", turns[40];
  opening(s, v->port_y - v->port / 2, v->port_y + v->port / 2, port, !screw);
  if (screw) {
    double out = lw_screw_turns(s->view, port->passage);
    needle(s, v, lw_needle_lift(s->view, port->passage));
    lw_turns_text(turns, sizeof turns, out);
    snprintf(text, sizeof text, lw_known(out) ? "screw: %s out" : "screw", turns);
    if (port->stuff != LW_STUFF_NONE && !port->plugged) {
      lw_arrow(s, WALL_RIGHT + 22, v->port_y + v->port / 2 + 8, port->flow < 0 ? -1 : 1, 0,
               port->flow);
    }
  }
  if (port->plugged) lw_jet(s, port, WALL_LEFT + 18, v->port_y, true);
  label(s, port, text, screw ? WALL_RIGHT + 12 : CHANNEL - 4,
        v->port_y + v->port / 2 + (screw ? 8 : -6), 190, v->port_y + v->port / 2 + 24);
}

static void draw_channel(lw_sketch *s, const edge_view *v) {
  const lw_scene *scene = &s->scene;
  const lw_stream *limiter = &scene->streams[LW_ROLE_LIMITER];
  const lw_stream *port = &scene->streams[LW_ROLE_PORT];
  const lw_stream *slot = &scene->streams[LW_ROLE_SLOT_BELOW];
  const lw_stream *way_out = limiter->exists ? limiter : port->exists ? port : slot;
  double bottom = port->exists ? v->port_y + 4 : v->shut_y;
  if (way_out->plugged || way_out->stuff == LW_STUFF_NONE) { /* then it ends at the slot */
    const lw_dot dead[] = {{CHANNEL, v->shut_y}, {CHANNEL, bottom}};
    lw_duct(s, LW_STUFF_NONE, dead, 2);
    way_out = slot;
    bottom = v->shut_y;
  }
  const lw_dot way[] = {{CHANNEL, PANEL_TOP + 1}, {CHANNEL, bottom}};
  lw_duct(s, way_out->plugged ? LW_STUFF_NONE : way_out->stuff, way, 2);
  if (!limiter->exists) return;
  double y = v->shut_y - 4;
  lw_jet(s, limiter, CHANNEL, y, true);
  char text[60] = "sealed limiter";
  if (limiter->plugged) snprintf(text, sizeof text, "limiter, plugged");
  lw_tag_near(s, CHANNEL - 8, y, 225, y + 2, false,
              limiter->plugged ? LW_SHADE_WARNING : LW_SHADE_SOFT, text);
}

/* The plate's edge coming in from the right, at its height and angle. */
static void draw_edge_of_plate(lw_sketch *s, const edge_view *v) {
  double a = s->scene.angle, x = WALL_RIGHT + 2, y = v->edge_y;
  if (y < PANEL_TOP + 8) {
    char text[60];
    snprintf(text, sizeof text, "edge %.0f mm\nfurther up", (PANEL_TOP - y) / v->scale * 1e3);
    lw_tag_near(s, 430, PANEL_TOP + 4, 430, PANEL_TOP + 44, false, LW_SHADE_SOFT, text);
    return;
  }
  cairo_save(s->cr);
  cairo_rectangle(s->cr, WALL_RIGHT, PANEL_TOP + 1, PANEL_RIGHT - WALL_RIGHT - 1,
                  PANEL_BOTTOM - PANEL_TOP - 2);
  cairo_clip(s->cr);
  double reach = 240;
  lw_line(s, x, y, x + reach * cos(a), y + reach * sin(a), 9, LW_SHADE_LINE);
  cairo_restore(s->cr);
  for (int t = 0; t < 130; t += 14) {
    double px = x + t, py = y + t * tan(a);
    if (py < PANEL_BOTTOM) lw_busy(s, px, py - 6, 14, 12 + 14 * tan(a));
  }
  lw_tag_near(s, x + 50, y + 50 * tan(a), 430, y - 6, false, LW_SHADE_TEXT, "plate's edge");
}

void lw_draw_edge(lw_sketch *s) {
  if (s->scene.channel < 0) return;
  edge_view v = view_of(s);
  char title[80];
  double times = v.scale * s->scene.b->bore / 140;
  snprintf(title, sizeof title, "At the plate's edge, %.0f times larger", times);
  frame(s);
  lw_tag_at(s, PANEL_X + 8, PANEL_TOP + 6, 0, 13, true, LW_SHADE_PRESSURE, title);
  draw_channel(s, &v);
  draw_slot(s, &v);
  draw_port(s, &v);
  draw_edge_of_plate(s, &v);
}
