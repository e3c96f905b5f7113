/* test_plot.c - pictures of the twin's runs: their form, their size, the same bytes every time, and
** holes where nothing converged. How they look was looked at.
*/
#include "check.h"

#include "leanward/plot.h"

#include <cairo.h>
#include <stdlib.h>
#include <unistd.h>

enum { BYTES_MOST = 4 << 20, SPEEDS = 12, THROTTLES = 9, POINTS = SPEEDS * THROTTLES };

const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void) {
  return "leak:libfontconfig\n"; /* see test_sheet.c */
}

/* A map made by hand: richer with throttle, leaner with speed. */
typedef struct made {
  double throttle[THROTTLES], speed[SPEEDS];
  lw_map_point points[POINTS];
  lw_map map;
} made;

static lw_map_point point(double throttle, double speed, double afr, double air) {
  lw_map_point p = {.throttle = throttle, .speed = speed, .afr = afr, .lambda = afr / 14.6};
  p.air = air;
  p.fuel = air / afr;
  p.report.converged = true;
  p.by_circuit[LW_CIRCUIT_IDLE] = p.fuel * (1 - throttle);
  p.by_circuit[LW_CIRCUIT_MAIN] = p.fuel * throttle;
  return p;
}

static void make(made *m) {
  for (int k = 0; k < THROTTLES; k++)
    m->throttle[k] = k / (THROTTLES - 1.0);
  for (int i = 0; i < SPEEDS; i++) {
    m->speed[i] = 70 + 30 * i;
    for (int k = 0; k < THROTTLES; k++) {
      m->points[i * THROTTLES + k] =
          point(m->throttle[k], m->speed[i], 16.3 - 4 * m->throttle[k] + 0.1 * i, 0.01);
    }
  }
  m->map = (lw_map){THROTTLES, SPEEDS, m->throttle, m->speed, m->points, 0};
}

/* The same as a line: air flow from 5 to 100 g/s. */
static void make_line(made *m) {
  make(m);
  for (int i = 0; i < SPEEDS; i++) {
    double t = i / (SPEEDS - 1.0);
    m->points[i] = point(t, m->speed[i], 15.5 - 2.5 * t, 0.005 * pow(20, t));
  }
  m->map.throttles = 1;
  m->map.throttle = NULL;
}

static void lose(made *m, int i) {
  m->points[i].report.converged = false;
  m->points[i].afr = m->points[i].lambda = m->points[i].air = m->points[i].fuel = NAN;
  m->map.failed++;
}

typedef struct drawn {
  char path[64];
  char *bytes;
  size_t length;
} drawn;

static void begin(drawn *d) {
  snprintf(d->path, sizeof d->path, "/tmp/leanward-plot-XXXXXX");
  int fd = mkstemp(d->path);
  assert_true(fd >= 0);
  close(fd);
  d->bytes = calloc(1, BYTES_MOST);
  assert_non_null(d->bytes);
}

static void slurp(drawn *d) {
  FILE *f = fopen(d->path, "rb");
  assert_non_null(f);
  d->length = fread(d->bytes, 1, BYTES_MOST - 1, f);
  assert_true(d->length > 1000 && d->length < BYTES_MOST - 1);
  d->bytes[d->length] = '\0';
  fclose(f);
}

static void end(drawn *d) {
  unlink(d->path);
  free(d->bytes);
}

static drawn draw_map(const made *m, const char *title, lw_plot_form form) {
  drawn d;
  lw_error error = {0};
  begin(&d);
  assert_int_equal(lw_plot_map(title, "note", &m->map, form, d.path, &error), LW_OK);
  slurp(&d);
  return d;
}

static drawn draw_line(const made *a, const made *b, lw_plot_form form) {
  drawn d;
  lw_error error = {0};
  lw_plot_lines lines = {"line", NULL, &a->map, b ? &b->map : NULL, NULL};
  begin(&d);
  assert_int_equal(lw_plot_line(&lines, form, d.path, &error), LW_OK);
  slurp(&d);
  return d;
}

static cairo_surface_t *png(const drawn *d) {
  cairo_surface_t *s = cairo_image_surface_create_from_png(d->path);
  assert_int_equal(cairo_surface_status(s), CAIRO_STATUS_SUCCESS);
  return s;
}

/* Difference between the greatest and least of red, green and blue: 0 is gray. */
static int colored(cairo_surface_t *s, int x, int y) {
  const unsigned char *p = (const unsigned char *)cairo_image_surface_get_data(s) +
                           y * cairo_image_surface_get_stride(s) + 4 * x;
  int most = p[0] > p[1] ? p[0] : p[1], least = p[0] < p[1] ? p[0] : p[1];
  most = p[2] > most ? p[2] : most;
  least = p[2] < least ? p[2] : least;
  return most - least;
}

/* Pixels of a column band of the picture that carry color. */
static int count_colored(cairo_surface_t *s, int x0, int x1) {
  int count = 0;
  for (int y = 0; y < cairo_image_surface_get_height(s); y++) {
    for (int x = x0; x < x1; x++)
      count += colored(s, x, y) > 12;
  }
  return count;
}

static void a_picture_is_as_wide_as_a_phone(void **state) {
  (void)state;
  made m;
  make(&m);
  drawn svg = draw_map(&m, "unit", LW_PLOT_SVG), image = draw_map(&m, "unit", LW_PLOT_PNG);
  HOLDS(svg.bytes, "width=\"360px\"");
  HOLDS(svg.bytes, "</svg>");
  cairo_surface_t *s = png(&image);
  assert_int_equal(cairo_image_surface_get_width(s), 720);
  cairo_surface_destroy(s);
  end(&svg);
  end(&image);
}

static void titles_are_text_for_those_who_cannot_see_and_never_markup(void **state) {
  (void)state;
  made m;
  make(&m);
  drawn d = draw_map(&m, "A <b>&</b> \xC2\xB0 unit", LW_PLOT_SVG);
  HOLDS(d.bytes, "<title>A &lt;b&gt;&amp;&lt;/b&gt; \xC2\xB0 unit</title>");
  HOLDS(d.bytes, "<desc>Air-fuel ratio over throttle");
  assert_null(strstr(d.bytes, "<b>"));
  end(&d);
}

static void the_same_run_gives_the_same_bytes(void **state) {
  (void)state;
  made m, line;
  make(&m);
  make_line(&line);
  for (int form = 0; form < 2; form++) {
    drawn a = draw_map(&m, "unit", (lw_plot_form)form),
          b = draw_map(&m, "unit", (lw_plot_form)form);
    assert_int_equal(a.length, b.length);
    assert_memory_equal(a.bytes, b.bytes, a.length);
    end(&a);
    end(&b);
    a = draw_line(&line, &line, (lw_plot_form)form);
    b = draw_line(&line, &line, (lw_plot_form)form);
    assert_int_equal(a.length, b.length);
    assert_memory_equal(a.bytes, b.bytes, a.length);
    end(&a);
    end(&b);
  }
}

static void points_that_failed_are_holes_without_color(void **state) {
  (void)state;
  made whole, holed;
  make(&whole);
  make(&holed);
  for (int i = 0; i < SPEEDS; i++) {
    lose(&holed, i * THROTTLES + 4);
    lose(&holed, i * THROTTLES + 5);
  }
  drawn a = draw_map(&whole, "unit", LW_PLOT_PNG), b = draw_map(&holed, "unit", LW_PLOT_PNG);
  cairo_surface_t *full = png(&a), *open = png(&b);
  /* throttle 38 to 75 % stands between 0.62 and 0.86 of the width on the square-root scale */
  int x0 = (int)(2 * (46 + 0.64 * 300)), x1 = (int)(2 * (46 + 0.84 * 300));
  int colored_bar = count_colored(full, x0, x1);
  assert_true(colored_bar > 40000);
  /* what is left is the color bar below */
  assert_true(count_colored(open, x0, x1) < colored_bar / 10);
  assert_true(count_colored(open, 2 * 60, 2 * 120) > 20000);
  cairo_surface_destroy(full);
  cairo_surface_destroy(open);
  end(&a);
  end(&b);
}

static void a_changed_curve_gets_a_panel_of_its_own_change(void **state) {
  (void)state;
  made a, b;
  make_line(&a);
  make_line(&b);
  for (int i = 0; i < SPEEDS; i++)
    b.points[i].lambda *= 1.04, b.points[i].afr *= 1.04;
  lose(&b, 5);
  drawn one = draw_line(&a, NULL, LW_PLOT_PNG), two = draw_line(&a, &b, LW_PLOT_PNG);
  cairo_surface_t *p = png(&one), *q = png(&two);
  assert_true(cairo_image_surface_get_height(q) > cairo_image_surface_get_height(p) + 200);
  cairo_surface_destroy(p);
  cairo_surface_destroy(q);
  end(&one);
  end(&two);
}

static void nothing_to_draw_is_said(void **state) {
  (void)state;
  made m, line;
  lw_error error = {0};
  make(&m);
  make_line(&line);
  for (int i = 0; i < POINTS; i++)
    lose(&m, i);
  for (int i = 0; i < SPEEDS; i++)
    lose(&line, i);
  assert_int_equal(lw_plot_map("t", NULL, &m.map, LW_PLOT_SVG, "/dev/null", &error), LW_BAD_INPUT);
  HOLDS(error.text, "no point converged");
  lw_plot_lines lines = {"t", NULL, &line.map, NULL, NULL};
  assert_int_equal(lw_plot_line(&lines, LW_PLOT_PNG, "/dev/null", &error), LW_BAD_INPUT);
  HOLDS(error.text, "too few points converged");
  make(&m);
  m.map.speeds = 1;
  assert_int_equal(lw_plot_map("t", NULL, &m.map, LW_PLOT_SVG, "/dev/null", &error), LW_BAD_INPUT);
  HOLDS(error.text, "two speeds");
}

static void even_maps_and_extreme_ones_are_drawn(void **state) {
  (void)state;
  made m;
  make(&m);
  for (int i = 0; i < POINTS; i++)
    m.points[i] = point(m.points[i].throttle, m.points[i].speed, 14.7, 0.01);
  drawn d = draw_map(&m, "even", LW_PLOT_SVG);
  end(&d);
  for (int i = 0; i < POINTS; i++)
    m.points[i] = point(m.points[i].throttle, m.points[i].speed, i % 2 ? 3 : 900, 0.01);
  d = draw_map(&m, "a title so long that it must be wrapped over more than one line of a phone",
               LW_PLOT_PNG);
  end(&d);
  make_line(&m);
  for (int i = 0; i < SPEEDS; i++)
    m.points[i] = point(0.5, m.points[i].speed, 14.7, 0.01);
  d = draw_line(&m, NULL, LW_PLOT_PNG);
  end(&d);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_picture_is_as_wide_as_a_phone),
      cmocka_unit_test(titles_are_text_for_those_who_cannot_see_and_never_markup),
      cmocka_unit_test(the_same_run_gives_the_same_bytes),
      cmocka_unit_test(points_that_failed_are_holes_without_color),
      cmocka_unit_test(a_changed_curve_gets_a_panel_of_its_own_change),
      cmocka_unit_test(nothing_to_draw_is_said),
      cmocka_unit_test(even_maps_and_extreme_ones_are_drawn),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
