/* test_engine.c - the engine around the carburetor against what is published of engines.
**
** "From memory" means the figure is known but its page could not be opened. A range is given by its
** middle and half its width. No figure here was used to fit the model unless docs/physics-engine.md
** says so beside the equation (best-torque timing, spark, unburned fuel).
*/
#include "car_kit.h"
#include "csv.h"

#include "../../src/engine/engine_internal.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
#define M        " (from memory)"

static const double gallon = 3.785411784e-3, mile = 1609.344, inch3 = 1.6387064e-5;

/* ---- friction ---- */

static void friction_by_barnes_moss(void **state) {
  (void)state;
  const char *source = "Barnes-Moss, IMechE C343/73, as Heywood eq. 13.6b: motored mean pressure, "
                       "bar; constants read in two public engine programs";
  static const struct {
    double rpm, bar;
  } table[] = {{800, 1.122},  {1000, 1.170}, {2000, 1.470},
               {3000, 1.870}, {4000, 2.370}, {6000, 3.670}};
  for (size_t i = 0; i < COUNT(table); i++) {
    double n = table[i].rpm / 1000;
    double taken_off = 0.15 + 0.02 * n * n; /* pumping and valve flow: docs/physics-engine.md */
    double bar = lw_friction(table[i].rpm * CAR_RPM, 355) / 1e5 + taken_off;
    PUBLISHED(bar, table[i].bar, 0.0005, source);
  }
}

/* ---- exhaust that stays ---- */

static void residual_by_fox_cheng_and_heywood(void **state) {
  (void)state;
  const char *source = "Fox, Cheng and Heywood, SAE 931025: worked by hand from its formula" M;
  double degree = CAR_DEGREE, turn = 2 * CAR_PI;
  PUBLISHED(lw_residual(13.33 * turn, 0.3e5, 1e5, 0.2 * degree, 1, 8.5), 0.2265, 5e-5, source);
  PUBLISHED(lw_residual(13.33 * turn, 0.3e5, 1e5, 0, 1, 8.5), 0.1812, 5e-5, source);
  PUBLISHED(lw_residual(25 * turn, 0.5e5, 1e5, 0.5 * degree, 1, 9), 0.1500, 5e-5, source);
}

static void residual_of_the_demo_engines(void **state) {
  shop *s = *state;
  const char *source = "Heywood 6.4: some 20 % at light load, 7 % at full load" M;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    PUBLISHED(car_at(s, car, 1, 2500).burned.residual, 0.07, 0.025, source);
    PUBLISHED(car_idle(s, car).burned.residual, 0.22, 0.05, source);
  }
}

/* ---- vacuum ---- */

static void idle_vacuum(void **state) {
  shop *s = *state;
  const char *chart = "vacuum gauge charts: 17 to 22 inHg, steady, warm, at sea level";
  const char *army = "US Army Ordnance course OD1001, p. 87: about 20 inHg";
  double sum = 0;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_running run = car_idle(s, shop_car(s, car_cards[i]));
    PUBLISHED(run_inhg(&run), 19.5, 2.505, chart);
    sum += run_inhg(&run);
  }
  PUBLISHED(sum / CAR_CARDS, 20, 2.5, army);
}

/* The speed screw is turned back to the idle speed, as anyone would there. */
static void idle_vacuum_falls_with_altitude(void **state) {
  shop *s = *state;
  const char *source = "US Army Ordnance course OD1001, p. 87: 1 inHg less each 1,000 ft, 5 inHg "
                       "at 5,000 ft. A rule of one figure: held to 0.5 to 1.5 each 1,000 ft";
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]), *high = car_with(s, car, "altitude=5000 ft");
    double rpm = car->engine->speed_hot / CAR_RPM;
    lw_running low = car_idle(s, car), up = car_hold(s, high, rpm, 0);
    printf("%-28s %.1f inHg, at 5,000 ft %.1f\n", car_cards[i], run_inhg(&low), run_inhg(&up));
    PUBLISHED(run_inhg(&low) - run_inhg(&up), 5, 2.5, source);
  }
}

static void snap_test(void **state) {
  shop *s = *state;
  const char *open = "US Army Ordnance course OD1001, p. 87: snapped open, about 2 inHg or less";
  const char *shut = "the same: about 25 inHg on release; gauge charts: 25 to 30 on overrun";
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    lw_running wide = car_at(s, car, 1, 2000), over = car_at(s, car, 0, 3000);
    PUBLISHED(run_inhg(&wide), 1, 1, open);
    PUBLISHED(run_inhg(&over), 25.5, 2.5, shut);
  }
}

/* ---- compression ---- */

static void the_compression_rule_is_where_trouble_begins(void **state) {
  shop *s = *state;
  const char *source =
      "service manuals: the weakest cylinder at least 75 % of the strongest; under "
      "it is a fault (an industrial engine's manual of the 1990s)";
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    double missing = car_idle(s, car).burned.misfire, all = car->engine->cylinders;
    lw_running passes = car_idle(s, car_with(s, car, "cylinder=3 compression 76 %"));
    lw_running fails = car_idle(s, car_with(s, car, "cylinder=3 compression 50 %"));
    double weak = all * (passes.burned.misfire - missing); /* of its own cycles */
    double bad = all * (fails.burned.misfire - missing);
    printf("%-28s 76 %%: %.1f %% of its cycles miss; 50 %%: %.0f\n", car_cards[i], 100 * weak,
           100 * bad);
    PUBLISHED(weak, 0, 0.1, source);
    PUBLISHED(bad, 0.65, 0.35, source);
  }
}

/* ---- exhaust gas ---- */

/* What burned, with what did not taken out again with its own oxygen: the tables know no misfire
   and no crevices. */
typedef struct clean {
  double co, co2, o2, h2, h2o;
} clean;

static clean clean_gas(lw_engine *e, double lambda) {
  lw_charge charge = plain_charge(e, 2500, 0.98, lambda);
  lw_burned burned;
  lw_burn_work(e, &charge, &burned);
  lw_products p = burned.exhaust;
  double unburned = p.dry.hc, breathed = lambda * lw_fuel_oxygen(&e->fuel) * unburned;
  double wet = p.h2o / (1 - p.h2o), o2 = p.dry.o2 - breathed;
  double dry = 1 - unburned / 6 - breathed * (1 + LW_AIR_N2_TO_O2);
  return (clean){p.dry.co / dry, p.dry.co2 / dry, o2 / dry, p.h2 / dry, wet / (dry + wet)};
}

static lw_engine *clean_engine(shop *s, const char *fuel) {
  lw_engine *e = shop_car(s, "corran-220-six-manual")->engine;
  e->spread = e->flutter = 0;
  if (fuel) assert_true(lw_fuel_by_name(fuel, &e->fuel));
  return e;
}

static void frozen_exhaust_against_computed_equilibrium(void **state) {
  shop *s = *state;
  const char *source =
      "Cantera 3.0.1 with NASA-7 polynomials (NASA TM-4513), tests/data/frozen_exhaust.csv";
  int count = 0;
  for (csv *c = csv_open("frozen_exhaust.csv"); csv_next(c);) {
    lw_engine *e = clean_engine(s, NULL);
    const char *name = csv_text(c, "fuel");
    e->fuel = (lw_fuel){.h_c = 2.25, .heating_value = 44.3e6};
    if (strstr(name, "O0.0176")) e->fuel = (lw_fuel){NULL, 1.7261, 0.0176, 43e6, 0};
    if (strstr(name, "C2H5OH")) e->fuel = (lw_fuel){NULL, 3, 0.5, 26.8e6, 0};
    clean g = clean_gas(e, 1 / csv_number(c, "phi"));
    /* the table's air has 3.7733 mol for each O2, argon counted: the figures' last but one digit */
    PUBLISHED(g.co, csv_number(c, "frzK3.5_dry_CO"), 3e-5, source);
    PUBLISHED(g.co2, csv_number(c, "frzK3.5_dry_CO2"), 3e-5, source);
    PUBLISHED(g.o2, csv_number(c, "frzK3.5_dry_O2"), 3e-5, source);
    PUBLISHED(g.h2, csv_number(c, "frzK3.5_dry_H2"), 3e-5, source);
    PUBLISHED(g.h2o, csv_number(c, "frzK3.5_wet_H2O"), 3e-5, source);
    count++;
  }
  assert_true(count > 40);
}

static void exhaust_against_an_open_course(void **state) {
  shop *s = *state;
  const char *source = "MIT OCW 2.61 (2017), exhaust composition: complete burning, H/C 1.87, "
                       "water-gas 3.7 (ours: 1.85 and 3.5)";
  static const struct {
    double lambda, co, co2, o2;
  } table[] = {{0.80, 7.680, 10.217, 0}, {0.90, 3.724, 12.801, 0}, {0.95, 1.828, 14.066, 0},
               {1.00, 0, 15.298, 0},     {1.05, 0, 14.520, 1.065}, {1.10, 0, 13.817, 2.028},
               {1.20, 0, 12.598, 3.698}};
  lw_engine *e = clean_engine(s, NULL);
  for (size_t i = 0; i < COUNT(table); i++) {
    clean g = clean_gas(e, table[i].lambda);
    PUBLISHED(100 * g.co, table[i].co, 0.13, source); /* K 3.5 for 3.7 moves CO by 0.10 at 0.80 */
    PUBLISHED(100 * g.co2, table[i].co2, 0.12, source);
    PUBLISHED(100 * g.o2, table[i].o2, 0.02, source);
  }
  PUBLISHED(100 * clean_gas(e, 1).h2o, 12.51, 0.12, source);
}

static void share_of_heat_released(void **state) {
  shop *s = *state;
  const char *source = "Heywood fig. 3-9: 95 to 98 % lean, some 95 at stoichiometric, falling as "
                       "fuel exceeds air" M;
  static const struct {
    double phi, share, within;
  } table[] = {{0.85, 0.975, 0.02},
               {0.95, 0.97, 0.02},
               {1.0, 0.955, 0.02},
               {1.1, 0.87, 0.03},
               {1.2, 0.79, 0.04}};
  lw_engine *e = shop_car(s, "corran-220-six-manual")->engine;
  for (size_t i = 0; i < COUNT(table); i++) {
    lw_burned b;
    lw_charge c = plain_charge(e, 2000, 0.8, 1 / table[i].phi);
    lw_burn_charge(e, &c, &b);
    printf("phi %.2f: %.3f of the heat released\n", table[i].phi, b.efficiency);
    PUBLISHED(b.efficiency, table[i].share, table[i].within, source);
  }
}

/* ---- spark ---- */

static double torque_off_best(lw_engine *e, double degrees) {
  lw_charge c = plain_charge(e, 2500, 0.95, 0.9);
  lw_burned b;
  lw_burn_charge(e, &c, &b);
  c.timing = b.best;
  lw_burn_charge(e, &c, &b);
  double best = b.torque;
  c.timing += degrees * CAR_DEGREE;
  lw_burn_charge(e, &c, &b);
  return 1 - b.torque / best;
}

static void torque_falls_away_from_best_timing(void **state) {
  shop *s = *state;
  const char *source = "Heywood figs. 9-3 and 15-3: some 1 % at 5 degrees, 3 to 5 at 10, 12 to 20 "
                       "at 20" M;
  lw_engine *e = shop_car(s, "corran-290-eight-manual")->engine;
  for (int sign = -1; sign <= 1; sign += 2) {
    PUBLISHED(torque_off_best(e, sign * 5), 0.01, 0.005, source);
    PUBLISHED(torque_off_best(e, sign * 10), 0.04, 0.01, source);
    PUBLISHED(torque_off_best(e, sign * 20), 0.16, 0.04, source);
  }
}

static void best_timing_wide_open(void **state) {
  shop *s = *state;
  const char *source = "J. of Combustion 2011, 678719: 31 degrees before top center on one engine "
                       "(speed not in what was read)";
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_running run = car_at(s, shop_car(s, car_cards[i]), 1, 3000);
    PUBLISHED(run.burned.best / CAR_DEGREE, 31, 6, source);
  }
}

/* ---- work ---- */

static double gross_efficiency(const lw_engine *e, double lambda, double filling, double rpm) {
  lw_charge c = plain_charge(e, rpm, filling, lambda);
  lw_burned b;
  lw_burn_charge(e, &c, &b);
  c.timing = b.best;
  lw_burn_charge(e, &c, &b);
  double fuel = c.fuel[0] + c.fuel[1];
  return b.imep * e->displacement * rpm / 120 / (fuel * e->fuel.heating_value);
}

static void gross_indicated_efficiency(void **state) {
  shop *s = *state;
  const char *cycle =
      "Heywood 5.7 and fig. 5-9: real gross work is some 85 % of the fuel-air cycle's, "
      "which is 0.40 at a ratio of 8.5 and stoichiometric" M;
  const char *fuel = "gross indicated specific fuel consumption 220 to 280 g/kWh, best timing, "
                     "lambda 1, wide open" M;
  lw_engine *e = shop_car(s, "corran-220-six-manual")->engine; /* 8.4 */
  double gross = gross_efficiency(e, 1, 0.98, 2000);
  printf("gross indicated efficiency %.3f\n", gross);
  PUBLISHED(gross, 0.34, 0.02, cycle);
  PUBLISHED(3.6e9 / (gross * e->fuel.heating_value), 250, 30, fuel);
}

/* Lambda at which something peaks. */
static double peak(const lw_engine *e, bool by_air, double filling) {
  double best = 0, at = 0;
  for (int i = 0; i <= 60; i++) {
    double lambda = 0.7 + 0.01 * i;
    double value = gross_efficiency(e, lambda, filling, 2500) / (by_air ? lambda : 1);
    if (value > best) {
      best = value;
      at = lambda;
    }
  }
  return at;
}

static void best_power_is_rich_and_best_economy_lean(void **state) {
  shop *s = *state;
  const char *power = "most power at air-fuel ratios of 12 to 13.5: lambda 0.83 to 0.93" M;
  const char *economy = "least fuel at air-fuel ratios of 15.5 to 17: lambda 1.06 to 1.17" M;
  lw_engine *e = shop_car(s, "corran-220-six-manual")->engine;
  double richest = peak(e, true, 0.98), leanest = peak(e, false, 0.6);
  printf("most power at lambda %.2f, least fuel at %.2f\n", richest, leanest);
  PUBLISHED(richest, 0.88, 0.05, power);
  PUBLISHED(leanest, 1.115, 0.055, economy);
}

/* Wide open, where torque peaks. */
static lw_running strongest(shop *s, const lw_test_car *car) {
  lw_running best = car_at(s, car, 1, 1500);
  for (int rpm = 1750; rpm <= 3500; rpm += 250) {
    lw_running run = car_at(s, car, 1, rpm);
    if (run.burned.torque > best.burned.torque) best = run;
  }
  return best;
}

static void brake_figures_wide_open(void **state) {
  shop *s = *state;
  const char *pressure = "mean brake pressure of production engines of the 1960s, wide open at "
                         "the torque peak: 7.5 to 9.5 bar" M;
  const char *fuel = "their fuel then: 0.45 to 0.58 lb/hp h" M;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    lw_running run = strongest(s, car);
    double bar = run.burned.torque * 4 * CAR_PI / car->engine->displacement / 1e5;
    double watts = run.burned.torque * run.setting.speed;
    double pounds = run.point.fuel * 3600 / 0.45359237 / (watts / 745.7);
    printf("%-28s %.0f N m at %.0f rpm, %.2f bar, %.3f lb/hp h\n", car_cards[i], run.burned.torque,
           run_rpm(&run), bar, pounds);
    PUBLISHED(bar, 8.5, 1, pressure);
    PUBLISHED(pounds, 0.515, 0.065, fuel);
  }
}

/* ---- air ---- */

static void air_demand(void **state) {
  shop *s = *state;
  const char *full = "carburetor sizing rule: 350 in3 at 6,000 rpm and 100 % are 608 ft3/min";
  const char *real =
      "the same: real engines of the time reach 70 to 85 % at their best speed, less "
      "at 6,000 rpm" M;
  lw_test_car *car = shop_car(s, "corran-350-eight-manual");
  double rpm = 6000, foot3 = 0.028316846592;
  double demand = car->engine->displacement / inch3 * rpm / 3456;
  PUBLISHED(demand * 350 / (car->engine->displacement / inch3), 608, 0.5, full);
  double drawn = car_at(s, car, 1, rpm).point.air / 1.2041 * 60 / foot3;
  printf("350 in3 at 6,000 rpm: %.0f of %.0f ft3/min\n", drawn, demand);
  PUBLISHED(drawn / demand, 0.75, 0.1, real);
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *one = shop_car(s, car_cards[i]);
    double full_air = 1.2041 * one->engine->displacement * 2000 / 120;
    PUBLISHED(car_at(s, one, 1, 2000).point.air / full_air, 0.775, 0.075, real);
  }
}

/* ---- the road ---- */

static double miles_a_gallon(const lw_running *r, double mile_h) {
  double fuel = r->point.fuel / 740; /* m3/s */
  return mile_h / 3600 / (fuel / gallon);
}

static void fuel_on_a_level_road(void **state) {
  shop *s = *state;
  const char *source =
      "steady fuel use in period road tests: sixes of 3.6 L 20 to 26 mile/gal at 50 "
      "mile/h and 15.5 to 20 at 70; eights of 5 to 6 L 16 to 20 and 13 to 16" M;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    lw_running slow = car_road(s, car, 50), fast = car_road(s, car, 70);
    bool six = car->engine->cylinders == 6;
    double at50 = miles_a_gallon(&slow, 50), at70 = miles_a_gallon(&fast, 70);
    printf("%-28s %.1f mile/gal at 50, %.1f at 70 mile/h\n", car_cards[i], at50, at70);
    PUBLISHED(at50, six ? 23 : 18, six ? 3 : 2, source);
    PUBLISHED(at70, six ? 17.75 : 14.5, six ? 2.25 : 1.5, source);
  }
}

static void fuel_at_idle(void **state) {
  shop *s = *state;
  const char *source = "a warm idle of the time: sixes 0.4 to 0.6 gal/h, eights 0.5 to 1.0" M;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    double volume = car_idle(s, car).point.fuel / 740 / gallon * 3600;
    printf("%-28s %.2f gal/h at idle\n", car_cards[i], volume);
    bool six = car->engine->cylinders == 6;
    PUBLISHED(volume, six ? 0.5 : 0.75, six ? 0.1 : 0.25, source);
  }
}

static void power_on_a_level_road(void **state) {
  shop *s = *state;
  const char *source =
      "40 CFR 86.129 sets dynamometers to 10.3 hp at 50 mile/h for 3,000 lb and "
      "12.7 for 4,500 lb; half of the tires' share and the driveline come on top" M;
  static const char *const names[] = {"corran-220-six-manual", "corran-350-eight-manual"};
  static const double dynamometer[] = {10.8, 12.4};
  for (size_t i = 0; i < COUNT(names); i++) {
    lw_vehicle v = lw_vehicle_usual(shop_card(s, names[i]));
    double torque = 0, speed = 0;
    lw_road_load(&v, 50 * mile / 3600, 0, v.gears - 1, 1.204, &torque, &speed);
    double tires = 0.5 * v.mass * 9.80665 * v.rolling * 50 * mile / 3600 / 745.7;
    printf("%s: %.1f hp on the road at 50 mile/h\n", names[i], torque * speed / 745.7);
    PUBLISHED(torque * speed * 0.93 / 745.7, dynamometer[i] + tires, 2.5, source);
  }
}

/* Where wide-open torque meets what the converter takes, the turbine at rest. */
static double stall_rpm(shop *s, const lw_test_car *car, double converter) {
  double low = 800, high = 4500;
  for (int i = 0; i < 30; i++) {
    double middle = 0.5 * (low + high), speed = middle * CAR_RPM;
    bool pulls = car_at(s, car, 1, middle).burned.torque > converter * speed * speed;
    *(pulls ? &low : &high) = middle;
  }
  return low;
}

static void converter_stall(void **state) {
  shop *s = *state;
  const char *source =
      "converters of passenger cars stalled at 1,500 to 2,300 rpm, full throttle" M;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    if (!strstr(car_cards[i], "automatic")) continue;
    lw_test_car *car = shop_car(s, car_cards[i]);
    double usual = lw_converter_usual(car->engine);
    double stall = stall_rpm(s, car, usual), fitted = stall_rpm(s, car, car->engine->converter);
    printf("%-28s stalls at %.0f rpm, with the card's speed in drive at %.0f\n", car_cards[i],
           stall, fitted);
    PUBLISHED(stall, 1900, 400, source);
  }
}

/* ---- mixtures apart ---- */

static void maldistribution(void **state) {
  shop *s = *state;
  const char *least =
      "Gerrish and Voss, NACA, Oct. 1936: some 4 % in a well-fed nine-cylinder engine";
  const char *most = "wet manifolds of cars: cylinders 1 to 2 air-fuel ratios apart" M;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]);
    lw_running run = car_hold(s, car, 2500, 0);
    double lo = 99, hi = 0;
    for (int k = 0; k < car->engine->cylinders; k++) {
      lo = fmin(lo, run.burned.cylinder[k].lambda);
      hi = fmax(hi, run.burned.cylinder[k].lambda);
    }
    double apart = (hi - lo) / run.burned.lambda;
    printf("%-28s %.1f %% from leanest to richest\n", car_cards[i], 100 * apart);
    PUBLISHED(fmin(apart, 0.04), 0.04, 1e-9, least);
    PUBLISHED(apart * 14.6, 1, 1, most);
  }
}

static double limit_of(double residual, double filling) {
  double lo = 1, hi = 2;
  for (int i = 0; i < 40; i++) {
    double middle = 0.5 * (lo + hi);
    *(lw_misfire(middle, residual, filling, 1, 1) < 0.5 ? &lo : &hi) = middle;
  }
  return lo;
}

static void limits_of_burning(void **state) {
  (void)state;
  const char *lean = "lean limit of spark engines, little residual: lambda 1.3 to 1.5" M;
  const char *idle = "lean limit of a carbureted idle: air-fuel ratios of 16 to 18" M;
  const char *dilute = "Heywood 9.4.3: gas over fuel some 20 to 25 where misfire sets in" M;
  const char *rich = "rich limit of gasoline: air-fuel ratio 8 to 9" M;
  PUBLISHED(limit_of(0.07, 0.98), 1.4, 0.1, lean);
  PUBLISHED(limit_of(0.25, 0.4) * 14.57, 17, 1, idle);
  PUBLISHED((1 + 14.57) / (1 - 0.30) - 1, 22.5, 2.5, dilute); /* stoichiometric with 30 %: */
  PUBLISHED(lw_misfire(1, 0.30, 0.4, 1, 1), 0.25, 0.24, dilute);
  double lo = 0.4, hi = 0.9;
  for (int i = 0; i < 40; i++) {
    double middle = 0.5 * (lo + hi);
    *(lw_misfire(middle, 0.1, 0.9, 1, 1) > 0.5 ? &lo : &hi) = middle;
  }
  PUBLISHED(lo * 14.57, 8.5, 0.5, rich);
}

/* ---- gases at idle ---- */

static void unburned_fuel_of_a_sound_idle(void **state) {
  shop *s = *state;
  const char *source =
      "idle limits of the first controlled years: at most 350 ppm hexane for engines "
      "of this size; uncontrolled cars 300 to 500 and more" M;
  const char *share =
      "Heywood 11.4.3: crevices hold 1 to 2.5 % of the fuel, about half of it survives" M;
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_running run = car_idle(s, shop_car(s, car_cards[i]));
    const lw_gases *g = &run.burned.exhaust.dry;
    PUBLISHED(run_hc(&run), 260, 90, source);
    PUBLISHED(g->hc / (g->hc + g->co + g->co2), 0.0095, 0.0045, share);
  }
}

/* ---- fuel with alcohol ---- */

static void ethanol_leans_by_its_oxygen(void **state) {
  shop *s = *state;
  const char *source = "mass balance of 10 % ethanol by volume: needs 14.10 for 14.70, 4.1 % less";
  for (size_t i = 0; i < CAR_CARDS; i++) {
    lw_test_car *car = shop_car(s, car_cards[i]), *other = car_with(s, car, "fuel=E10");
    lw_running pure = car_hold(s, car, 2500, 0), blend = car_hold(s, other, 2500, 0);
    PUBLISHED(blend.burned.lambda / pure.burned.lambda - 1, 0.041, 0.01, source);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(friction_by_barnes_moss),
      cmocka_unit_test(residual_by_fox_cheng_and_heywood),
      cmocka_unit_test(residual_of_the_demo_engines),
      cmocka_unit_test(idle_vacuum),
      cmocka_unit_test(idle_vacuum_falls_with_altitude),
      cmocka_unit_test(snap_test),
      cmocka_unit_test(the_compression_rule_is_where_trouble_begins),
      cmocka_unit_test(frozen_exhaust_against_computed_equilibrium),
      cmocka_unit_test(exhaust_against_an_open_course),
      cmocka_unit_test(share_of_heat_released),
      cmocka_unit_test(torque_falls_away_from_best_timing),
      cmocka_unit_test(best_timing_wide_open),
      cmocka_unit_test(gross_indicated_efficiency),
      cmocka_unit_test(best_power_is_rich_and_best_economy_lean),
      cmocka_unit_test(brake_figures_wide_open),
      cmocka_unit_test(air_demand),
      cmocka_unit_test(fuel_on_a_level_road),
      cmocka_unit_test(fuel_at_idle),
      cmocka_unit_test(power_on_a_level_road),
      cmocka_unit_test(converter_stall),
      cmocka_unit_test(maldistribution),
      cmocka_unit_test(limits_of_burning),
      cmocka_unit_test(unburned_fuel_of_a_sound_idle),
      cmocka_unit_test(ethanol_leans_by_its_oxygen),
  };
  return cmocka_run_group_tests(tests, shop_setup, shop_teardown);
}
