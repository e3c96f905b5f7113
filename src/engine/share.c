/* share.c - which cylinder gets what: sides of the carburetor, crossing, distribution, a leak.
**
** Every cylinder draws the same mass of charge from the manifold; what differs is how much fuel is
** in it. A two-barrel manifold keeps its sides apart but for `crossing`; what one side brings over
** its cylinders' need goes over to the other. Within a side, wet distribution makes some cylinders
** richer than others by a fixed pattern. (NACA, Gerrish and Voss 1936: some 4 % in a well-fed
** nine-cylinder engine; sizes here are ours.)
*/
#include "engine_internal.h"

#include <math.h>

typedef struct stream {
  double air, fuel;
} stream;

static stream scaled(stream s, double by) {
  return (stream){s.air * by, s.fuel * by};
}

static stream sum(stream a, stream b) {
  return (stream){a.air + b.air, a.fuel + b.fuel};
}

static double mass(stream s) {
  return s.air + s.fuel;
}

static int cylinders_of(const lw_engine *e, int side) {
  int n = 0;
  for (int i = 0; i < e->cylinders; i++)
    n += e->side[i] == side;
  return n;
}

/* What each side's cylinders get, after some has crossed over and the rest is evened out. */
static void cross(const lw_engine *e, stream *s) {
  double c = e->crossing;
  stream mixed[LW_SIDES] = {sum(scaled(s[0], 1 - c), scaled(s[1], c)),
                            sum(scaled(s[1], 1 - c), scaled(s[0], c))};
  double all = mass(mixed[0]) + mass(mixed[1]);
  double need = all * cylinders_of(e, 0) / e->cylinders, over = mass(mixed[0]) - need;
  int from = over > 0 ? 0 : 1, to = 1 - from;
  double share = mass(mixed[from]) > 0 ? fabs(over) / mass(mixed[from]) : 0;
  stream moved = scaled(mixed[from], share);
  s[from] = scaled(mixed[from], 1 - share);
  s[to] = sum(mixed[to], moved);
}

/* Standard normal scores of the cylinders of a side, in an order in which neighbors differ: their
   sum is zero, so that distribution makes no fuel. */
static double score(int index, int count) {
  if (count < 2) return 0;
  int order = (index * (count / 2 + 1)) % count;
  if (count % 2 == 0) order = index % 2 ? count - 1 - index / 2 : index / 2;
  double at = 2.0 * (order + 0.5) / count - 1;                /* -1..1, evenly */
  double all = sqrt((1 - 1.0 / ((double)count * count)) / 3); /* its standard deviation */
  return at / all;
}

/* A leak at one cylinder's port: it draws that air first and less of the rest, which the others get.
   What leaks in beyond its charge goes back to the others. */
static void leak_into(const lw_engine *e, double leak, lw_cylinder *c) {
  int k = e->leak_cylinder, others = e->cylinders - 1;
  double total = 0;
  for (int i = 0; i < e->cylinders; i++)
    total += c[i].air + c[i].fuel;
  double each = (total + leak) / e->cylinders, taken = others ? fmin(leak, each) : leak;
  for (int i = 0; i < e->cylinders; i++) {
    double before = c[i].air + c[i].fuel;
    double left = others ? each - taken : total;
    double wanted = i == k ? left : (total - left) / others;
    double by = before > 0 ? wanted / before : 0;
    c[i].air = c[i].air * by + (i == k ? taken : (leak - taken) / others);
    c[i].fuel *= by;
  }
}

/* Fuel is what must come out even: the pattern and the leak scale charges, not fuel. */
static void even_out(lw_cylinder *c, int n, double air, double fuel) {
  double a = 0, f = 0;
  for (int i = 0; i < n; i++) {
    a += c[i].air;
    f += c[i].fuel;
  }
  for (int i = 0; i < n; i++) {
    c[i].air *= a > 0 ? air / a : 1;
    c[i].fuel *= f > 0 ? fuel / f : 1;
  }
}

bool lw_leak_is_own(const lw_engine *e) {
  return e->leak_cylinder >= 0 && e->leak_cylinder < e->cylinders;
}

void lw_share_out(const lw_engine *e, const lw_charge *charge, lw_cylinder *c) {
  double cycles = charge->speed / (4 * LW_PI); /* of each cylinder, 1/s */
  for (int i = 0; i < e->cylinders; i++)
    c[i] = (lw_cylinder){0};
  if (!(cycles > 0)) return; /* it stands: nothing is drawn */
  stream side[LW_SIDES] = {{charge->air[0], charge->fuel[0]}, {charge->air[1], charge->fuel[1]}};
  double leak = lw_leak_is_own(e) ? fmax(charge->leak, 0) : 0;
  if (e->sides > 1) {
    cross(e, side);
  } else {
    side[0] = sum(side[0], side[1]);
  }
  int seen[LW_SIDES] = {0};
  for (int i = 0; i < e->cylinders; i++) {
    int s = e->sides > 1 ? e->side[i] : 0, n = e->sides > 1 ? cylinders_of(e, s) : e->cylinders;
    double z = e->spread * score(seen[s]++, n);
    c[i].air = side[s].air / n / cycles;
    c[i].fuel = side[s].fuel / n / cycles * fmax(1 - z, 0);
  }
  if (leak > 0) leak_into(e, leak / cycles, c);
  double air = charge->air[0] + charge->air[1] + leak;
  even_out(c, e->cylinders, air / cycles, (charge->fuel[0] + charge->fuel[1]) / cycles);
}
