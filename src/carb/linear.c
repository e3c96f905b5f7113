/* linear.c - the Newton step of a bordered block diagonal system.
**
**   [A1       B1] [x1]   [-r1]        Xi = Ai^-1 Bi,  zi = Ai^-1 (-ri)
**   [   A2    B2] [x2] = [-r2]        (D - sum Ci Xi) xd = -rd - sum Ci zi
**   [C1 C2 .. D ] [xd]   [-rd]        xi = zi - Xi xd
** Each Ai is factored with row scaling and partial pivoting. For eight barrels of nine unknowns
** that is a tenth of the work of the dense system.
*/
#include "net_internal.h"

#include <math.h>

/* Gauss elimination of a (n by n, rows of `wide`) with `cols` right-hand columns in rhs, in place.
   */
static bool eliminate(int n, double *a, int wide, int cols, double *rhs, int rhs_wide) {
  for (int i = 0; i < n; i++) { /* scale rows */
    double most = 0;
    for (int j = 0; j < n; j++)
      most = fmax(most, fabs(a[i * wide + j]));
    if (!(most > 0)) return false;
    for (int j = 0; j < n; j++)
      a[i * wide + j] /= most;
    for (int j = 0; j < cols; j++)
      rhs[i * rhs_wide + j] /= most;
  }
  for (int k = 0; k < n; k++) {
    int best = k;
    for (int i = k + 1; i < n; i++) {
      if (fabs(a[i * wide + k]) > fabs(a[best * wide + k])) best = i;
    }
    if (!(fabs(a[best * wide + k]) > 1e-300)) return false;
    for (int j = k; best != k && j < n; j++) {
      double t = a[k * wide + j];
      a[k * wide + j] = a[best * wide + j];
      a[best * wide + j] = t;
    }
    for (int j = 0; best != k && j < cols; j++) {
      double t = rhs[k * rhs_wide + j];
      rhs[k * rhs_wide + j] = rhs[best * rhs_wide + j];
      rhs[best * rhs_wide + j] = t;
    }
    for (int i = k + 1; i < n; i++) {
      double f = a[i * wide + k] / a[k * wide + k];
      if (f == 0) continue;
      for (int j = k + 1; j < n; j++)
        a[i * wide + j] -= f * a[k * wide + j];
      for (int j = 0; j < cols; j++)
        rhs[i * rhs_wide + j] -= f * rhs[k * rhs_wide + j];
    }
  }
  for (int i = n - 1; i >= 0; i--) {
    for (int j = 0; j < cols; j++) {
      /* the caller fills n rows of cols; clang 14 loses count of its two loops */
      double t = rhs[i * rhs_wide + j]; // NOLINT(clang-analyzer-core.uninitialized.Assign)
      for (int k = i + 1; k < n; k++)
        t -= a[i * wide + k] * rhs[k * rhs_wide + j];
      rhs[i * rhs_wide + j] = t / a[i * wide + i];
    }
  }
  return true;
}

enum { WIDE = LW_NET_BORDER + 1 };

bool lw_net_step(const lw_net *net, lw_system *s, double *step) {
  double solved[LW_NET_BARRELS][LW_NET_BLOCK][WIDE]; /* X | z */
  double border[LW_NET_BORDER][1] = {{0}};
  int k = net->border_size, at = 0, border_at = lw_net_border_at(net);
  for (int i = 0; i < k; i++)
    border[i][0] = -s->r[border_at + i];
  for (int b = 0; b < net->barrel_count; b++) {
    int n = net->block_size[b];
    for (int i = 0; i < n; i++) {
      for (int j = 0; j < k; j++)
        solved[b][i][j] = s->b[b][i][j];
      solved[b][i][k] = -s->r[at + i];
    }
    if (!eliminate(n, &s->a[b][0][0], LW_NET_BLOCK, k + 1, &solved[b][0][0], WIDE)) return false;
    for (int i = 0; i < k; i++) {
      for (int l = 0; l < n; l++) {
        double c = s->c[b][i][l];
        if (c == 0) continue;
        for (int j = 0; j < k; j++)
          s->d[i][j] -= c * solved[b][l][j];
        border[i][0] -= c * solved[b][l][k];
      }
    }
    at += n;
  }
  if (!eliminate(k, &s->d[0][0], LW_NET_BORDER, 1, &border[0][0], 1)) return false;
  at = 0;
  for (int b = 0; b < net->barrel_count; b++) {
    for (int i = 0; i < net->block_size[b]; i++) {
      double t = solved[b][i][k];
      for (int j = 0; j < k; j++)
        t -= solved[b][i][j] * border[j][0];
      step[at++] = t;
    }
  }
  for (int i = 0; i < k; i++)
    step[at++] = border[i][0];
  return true;
}
