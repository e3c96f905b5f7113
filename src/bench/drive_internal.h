/* drive_internal.h - what the parts of a drive share. Private to this floor. */
#ifndef LW_DRIVE_INTERNAL_H
#define LW_DRIVE_INTERNAL_H

#include "leanward/drive.h"

enum { LW_FOOT_SPEEDS = 10, LW_FOOT_THROTTLES = 12 };

/* What torque each throttle gives, warm and settled: how a driver knows the pedal. */
typedef struct lw_foot {
  double speed[LW_FOOT_SPEEDS], throttle[LW_FOOT_THROTTLES];
  double torque[LW_FOOT_SPEEDS][LW_FOOT_THROTTLES];
} lw_foot;
lw_status lw_foot_learn(const lw_test_car *car, lw_foot *foot, lw_error *error) LW_MUST_USE;
/* Throttle for a torque at a speed, 0..1; *least gets what a released pedal gives. */
double lw_foot_throttle(const lw_foot *foot, double speed, double torque, double *least);

/* The driver at work. */
typedef struct lw_driving {
  lw_driver driver;
  lw_vehicle vehicle;
  lw_foot foot;
  bool automatic;
  double converter, inertia, clutch_most, idle; /* as the engine's; N m; rad/s */
  double air_density;
  double behind;    /* integral of what it is behind, m */
  double pedal;     /* where the foot is going */
  double brake;     /* N, as last set */
  int gear;         /* engaged, or to be engaged when the shift is over */
  double shift_end; /* s; a manual shift is under way until then */
  double cranking;  /* s the starter has run */
  double nursed;    /* pedal held after a stall */
} lw_driving;

/* What the driver does for the next step, from what it sees. */
void lw_driving_decide(lw_driving *d, const lw_schedule *schedule, double from, double time,
                       const lw_look *look, lw_controls *controls);

/* What made a second the worst of its gas. */
void lw_drive_cause(const lw_drive_second *s, lw_gas_name gas, double idle_vacuum, char *text,
                    size_t size);

#endif
