/* test_compression.c - the compression rule and idle vacuum at altitude against printed charts. */
#include "job_kit.h"

#define CHART                                                                                      \
  "1990s industrial-engine service manual, compression test conclusion: lowest at least 75 % of "  \
  "highest, chart of highest and lowest in psi (read)"

static lw_fit compression(kit *k, double highest, double lowest) {
  const char *checks =
      lw_arena_print(k->arena, "{compression: [%.1f psi, %.1f psi, %.1f psi, %.1f psi]}", highest,
                     lowest, 0.5 * (highest + lowest), highest);
  const lw_work *w =
      kit_work(k, &(story){.engine = "{cylinders: 4}", .car = "{cylinders: 4}", .checks = checks});
  return kit_check(w, LW_CHECK_COMPRESSION)->answer;
}

/* The chart's lowest still passes, one pound less does not: +-0.5 psi of its rounding. */
static void lowest_to_highest_follows_the_printed_chart(void **state) {
  static const struct {
    double highest, lowest;
  } chart[] = {{134, 101}, {140, 105}, {150, 113}, {160, 120},
               {180, 135}, {200, 150}, {220, 165}, {236, 177}};
  for (size_t i = 0; i < sizeof chart / sizeof chart[0]; i++) {
    PUBLISHED(compression(*state, chart[i].highest, chart[i].lowest), LW_FIT, 0, CHART);
    PUBLISHED(compression(*state, chart[i].highest, chart[i].lowest - 1), LW_NOT_FIT, 0, CHART);
  }
}

static void the_manuals_own_example_passes(void **state) {
  PUBLISHED(compression(*state, 196, 155), LW_FIT, 0, CHART ": 196 with 155 passes, 147 needed");
  PUBLISHED(compression(*state, 196, 147), LW_FIT, 0, CHART ": 196 with 155 passes, 147 needed");
  PUBLISHED(compression(*state, 196, 146), LW_NOT_FIT, 0, CHART ": 147 needed");
}

/* A card's own share goes before the common rule; another maker prints 70 %. */
static void a_card_may_print_another_share(void **state) {
  kit *k = *state;
  const lw_work *w =
      kit_work(k, &(story){.engine = "{cylinders: 4, weakest to strongest: 70 %}",
                           .car = "{cylinders: 4}",
                           .checks = "{compression: [140 psi, 99 psi, 140 psi, 140 psi]}"});
  PUBLISHED(kit_check(w, LW_CHECK_COMPRESSION)->answer, LW_FIT, 0,
            "service data page of another maker: lowest at least 70 % of highest (read)");
}

static lw_fit vacuum(kit *k, const char *altitude, double inhg) {
  const char *reading =
      lw_arena_print(k->arena, "[{at: idle, speed: 700 rpm, vacuum: %.2f inHg}]", inhg);
  const char *tail = lw_arena_print(k->arena, "weather: {altitude: %s}\n", altitude);
  const lw_work *w =
      kit_work(k, &(story){.engine = "{cylinders: 6}", .reading = reading, .job_tail = tail});
  return kit_check(w, LW_CHECK_VACUUM)->answer;
}

static void idle_vacuum_at_sea_level_is_seventeen_and_more(void **state) {
  const char *source = "vacuum gauge charts: warm, sea level, 17 to 22 inHg, steady (read)";
  PUBLISHED(vacuum(*state, "0 ft", 17.1), LW_FIT, 0, source);
  PUBLISHED(vacuum(*state, "0 ft", 22), LW_FIT, 0, source);
  PUBLISHED(vacuum(*state, "0 ft", 16.9), LW_NOT_FIT, 0, source);
}

/* The rule is rounded to an inch; a quarter of one on both sides is what it can tell. */
static void an_inch_of_vacuum_goes_with_every_thousand_feet(void **state) {
  const char *source =
      "US Army Ordnance course OD1001 p. 87: an inch less for each 1,000 ft, 5 inHg "
      "less at 5,000 ft (read)";
  static const struct {
    const char *altitude;
    double least;
  } heights[] = {{"1000 ft", 16}, {"2000 ft", 15}, {"3000 ft", 14}, {"5000 ft", 12}};
  for (size_t i = 0; i < sizeof heights / sizeof heights[0]; i++) {
    PUBLISHED(vacuum(*state, heights[i].altitude, heights[i].least + 0.25), LW_FIT, 0, source);
    PUBLISHED(vacuum(*state, heights[i].altitude, heights[i].least - 0.25), LW_NOT_FIT, 0, source);
  }
}

/* Both ends of the gauge reading scale with the air: U.S. Standard Atmosphere 1976, 5,000 ft:
   84.31 kPa, 0.8320 of sea level. */
static void specified_compression_follows_the_air_pressure(void **state) {
  const char *source = "U.S. Standard Atmosphere 1976, 5,000 ft: 0.8320 of sea level (from memory)";
  kit *k = *state;
  static const struct {
    double psi;
    lw_fit answer;
  } cases[] = {{125 * 0.8320 + 0.5, LW_FIT}, {125 * 0.8320 - 0.5, LW_NOT_FIT}};
  for (size_t i = 0; i < 2; i++) {
    double p = cases[i].psi;
    const char *checks = lw_arena_print(k->arena, "{compression: [%.2f psi, %.2f psi]}", p, p + 1);
    const lw_work *w =
        kit_work(k, &(story){.engine = "{cylinders: 2, compression pressure: 125 to 155 psi}",
                             .car = "{cylinders: 2}",
                             .checks = checks,
                             .job_tail = "weather: {altitude: 5000 ft}\n"});
    PUBLISHED(kit_check(w, LW_CHECK_COMPRESSION)->answer, cases[i].answer, 0, source);
  }
}

#define T(name) cmocka_unit_test_setup_teardown(name, kit_setup, kit_teardown)

int main(void) {
  const struct CMUnitTest tests[] = {
      T(lowest_to_highest_follows_the_printed_chart),
      T(the_manuals_own_example_passes),
      T(a_card_may_print_another_share),
      T(idle_vacuum_at_sea_level_is_seventeen_and_more),
      T(an_inch_of_vacuum_goes_with_every_thousand_feet),
      T(specified_compression_follows_the_air_pressure),
  };
  return cmocka_run_group_tests_name("compression and vacuum", tests, NULL, NULL);
}
