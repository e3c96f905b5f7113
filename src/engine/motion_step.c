/* motion_step.c - time steps by SUNDIALS CVODE.
**
** Backward differentiation with Newton's method, events by root finding. The system is stiff at
** times (a manifold behind a wide open throttle fills in a millisecond or two, a clutch bites as
** fast), most of the time it is not. Newton's matrix is made by differences. Moving a state that
** the network does not feel, or feels slowly, keeps network and burning, which costs next to
** nothing; the manifold's air, and what moves in the network just now, is moved with all; what
** changes torque at once, with the burning. What is neglected so slows Newton's method down and
** does not change the answer. Rows of sums are made from the same numbers as those of what they
** sum, so that air and fuel are conserved to the last digits.
*/
#include "motion_internal.h"

#include <cvode/cvode.h>
#include <math.h>
#include <nvector/nvector_serial.h>
#include <stdlib.h>
#include <string.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>

struct lw_stepper {
  SUNContext context;
  void *cvode;
  N_Vector y, atol;
  SUNMatrix matrix;
  SUNLinearSolver linear;
  bool restart;
};

static const double relative = 1e-4;

/* ---- what CVODE asks ---- */

static int slopes(realtype t, N_Vector y, N_Vector f, void *user) {
  lw_motion *m = user;
  return lw_motion_rates(m, t, N_VGetArrayPointer(y), ANEW_ALL, N_VGetArrayPointer(f)) ? 0 : 1;
}

static int crossings(realtype t, N_Vector y, realtype *g, void *user) {
  lw_motion_roots(user, t, N_VGetArrayPointer(y), g);
  return 0;
}

static bool moving(double share) {
  return share > 0.001 && share < 0.999;
}

/* What must be evaluated anew when a state is moved: the network for those that it answers by
   moving them, so that they chase each other. */
static lw_anew felt_by(const lw_motion *m, const double *y, int state) {
  if (state >= ST_AIR && state < ST_AIR + LW_SIDES) return ANEW_ALL;
  if (state >= ST_FUEL && state < ST_FUEL + LW_SIDES) return ANEW_BURNING;
  bool network = false;
  switch (state) {
  case ST_SPEED:
  case ST_DISTRIBUTOR: return ANEW_BURNING;
  case ST_CHOKE: network = m->devices.choke && y[state] < 0.98; break;
  case ST_POWER: network = moving(lw_power_goal(m)); break;
  case ST_VALVE: network = moving(m->now.valve_goal); break;
  case ST_DIAPHRAGM: network = moving(m->now.diaphragm_goal); break;
  default: break;
  }
  return network ? ANEW_ALL : ANEW_LIGHT;
}

/* The second side of an engine that has one. */
static bool unused(const lw_motion *m, int state) {
  if (m->engine.sides > 1) return false;
  return state == ST_AIR + 1 || state == ST_FUEL + 1 || state == ST_FILM + 1;
}

/* A move that changes its slopes well over what the network leaves unsettled. */
static double nudge(const lw_motion *m, const double *y, int state) {
  return fmax(1e-6 * fabs(y[state]), 0.01 * m->atol[state]);
}

static bool column(lw_motion *m, double t, double *y, int j, lw_anew anew, const double *base,
                   double *out) {
  double rates[STATES], kept = y[j], by = nudge(m, y, j);
  y[j] += by;
  bool good = lw_motion_rates(m, t, y, anew, rates);
  by = y[j] - kept;
  y[j] = kept;
  for (int i = 0; good && i < STATES; i++)
    out[i] = (rates[i] - base[i]) / by;
  return good;
}

/* Light columns first: the others change what is kept. */
static int matrix(realtype t, N_Vector at, N_Vector f, SUNMatrix a, void *user, N_Vector t1,
                  N_Vector t2, N_Vector t3) {
  (void)f, (void)t1, (void)t2, (void)t3;
  lw_motion *m = user;
  double base[STATES], y[STATES];
  memcpy(y, N_VGetArrayPointer(at), sizeof y);
  if (!lw_motion_rates(m, t, y, ANEW_ALL, base)) return 1;
  lw_anew felt[SUMS];
  for (int j = 0; j < SUMS; j++)
    felt[j] = felt_by(m, y, j);
  for (int anew = ANEW_LIGHT; anew >= ANEW_ALL; anew--) {
    for (int j = 0; j < SUMS; j++) {
      if (felt[j] != (lw_anew)anew || unused(m, j)) continue;
      if (!column(m, t, y, j, (lw_anew)anew, base, SUNDenseMatrix_Column(a, j))) return 1;
    }
  }
  return 0;
}

/* ---- making it ---- */

static bool set_up(lw_motion *m, lw_stepper *s) {
  bool good = CVodeInit(s->cvode, slopes, 0, s->y) == CV_SUCCESS &&
              CVodeSVtolerances(s->cvode, relative, s->atol) == CV_SUCCESS &&
              CVodeSetUserData(s->cvode, m) == CV_SUCCESS &&
              CVodeSetErrFile(s->cvode, NULL) == CV_SUCCESS &&
              CVodeSetLinearSolver(s->cvode, s->linear, s->matrix) == CV_SUCCESS &&
              CVodeSetJacFn(s->cvode, matrix) == CV_SUCCESS &&
              CVodeRootInit(s->cvode, LW_ROOTS, crossings) == CV_SUCCESS &&
              CVodeSetNoInactiveRootWarn(s->cvode) == CV_SUCCESS &&
              CVodeSetMaxStep(s->cvode, 2) == CV_SUCCESS;
  return good;
}

lw_status lw_stepper_new(lw_motion *m, lw_error *error) {
  lw_stepper *s = calloc(1, sizeof *s);
  if (!s) return lw_fail(error, LW_NO_MEMORY, "no memory for the integrator");
  m->stepper = s;
  bool good = SUNContext_Create(NULL, &s->context) == 0;
  if (good) {
    s->y = N_VNew_Serial(STATES, s->context);
    s->atol = N_VNew_Serial(STATES, s->context);
    s->matrix = SUNDenseMatrix(STATES, STATES, s->context);
    s->cvode = CVodeCreate(CV_BDF, s->context);
    good = s->y && s->atol && s->matrix && s->cvode;
  }
  if (good) {
    s->linear = SUNLinSol_Dense(s->y, s->matrix, s->context);
    memcpy(N_VGetArrayPointer(s->y), m->y, sizeof m->y);
    memcpy(N_VGetArrayPointer(s->atol), m->atol, sizeof m->atol);
    good = s->linear && set_up(m, s);
  }
  if (!good) return lw_fail(error, LW_NO_MEMORY, "no memory for the integrator");
  s->restart = true;
  long reals = 0, whole = 0;
  CVodeGetWorkSpace(s->cvode, &reals, &whole);
  m->effort.bytes += (size_t)reals * sizeof(realtype) + (size_t)whole * sizeof(sunindextype);
  return LW_OK;
}

void lw_stepper_free(lw_motion *m) {
  lw_stepper *s = m->stepper;
  if (!s) return;
  if (s->cvode) CVodeFree(&s->cvode);
  if (s->linear) SUNLinSolFree(s->linear);
  if (s->matrix) SUNMatDestroy(s->matrix);
  if (s->y) N_VDestroy(s->y);
  if (s->atol) N_VDestroy(s->atol);
  if (s->context) SUNContext_Free(&s->context);
  free(s);
  m->stepper = NULL;
}

void lw_stepper_restart(lw_motion *m) {
  m->stepper->restart = true;
}

/* ---- going on ---- */

static lw_status give_up(const lw_motion *m, int code, lw_error *error) {
  const char *why = "the steps became too short";
  if (code == CV_TOO_MUCH_WORK) why = "it took too many steps";
  if (code == CV_REPTD_RHSFUNC_ERR || code == CV_UNREC_RHSFUNC_ERR || code == CV_RHSFUNC_FAIL ||
      code == CV_FIRST_RHSFUNC_ERR)
    return lw_fail(error, LW_NO_CONVERGENCE, "at %.3f s the flows did not settle (%s)", m->time,
                   m->report.where);
  return lw_fail(error, LW_NO_CONVERGENCE, "at %.3f s the run could not go on: %s", m->time, why);
}

/* Why it might stall is what it breathed while it still turned. */
static void remember(lw_motion *m) {
  const lw_moment *n = &m->now;
  if (m->y[ST_SPEED] < 1.15 * m->stall_speed) return;
  m->recent_lambda = n->burned.lambda;
  m->recent_misfire = n->burned.misfire;
  m->recent_load = n->load;
  m->recent_manifold = n->manifold;
}

static bool begin(lw_motion *m) {
  lw_stepper *s = m->stepper;
  if (!s->restart) return true;
  memcpy(N_VGetArrayPointer(s->y), m->y, sizeof m->y);
  s->restart = false;
  return CVodeReInit(s->cvode, m->time, s->y) == CV_SUCCESS;
}

lw_status lw_stepper_to(lw_motion *m, double until, lw_error *error) {
  lw_stepper *s = m->stepper;
  int passed[LW_ROOTS], code = CV_SUCCESS;
  long most = 3000 + (long)(3000 * (until - m->time));
  if (!begin(m) || CVodeSetStopTime(s->cvode, until) != CV_SUCCESS)
    return lw_fail(error, LW_NO_CONVERGENCE, "at %.3f s the run could not go on", m->time);
  while (m->time < until && most-- > 0) {
    code = CVode(s->cvode, until, s->y, &m->time, CV_ONE_STEP);
    if (code < 0) break;
    m->effort.steps++;
    memcpy(m->y, N_VGetArrayPointer(s->y), sizeof m->y);
    remember(m);
    if (code == CV_ROOT_RETURN && CVodeGetRootInfo(s->cvode, passed) == CV_SUCCESS)
      lw_motion_passed(m, passed);
    if (code == CV_TSTOP_RETURN) break;
  }
  if (code >= 0 && m->time >= until) return LW_OK;
  if (code >= 0) code = CV_TOO_MUCH_WORK;
  s->restart = true;
  return give_up(m, code, error);
}
