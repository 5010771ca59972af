/* What steps from sample to sample and so cannot be done in numpy's columns. Every function is one that stands in Python
   beside it, formula by formula; the constants come from there, too:

   told     fusion/known.py        Known.told, for samples without a gap and within their range
   found    fusion/rest_level.py   RestLevel.found
   updated  body/link.py           _updated, one update after the other
   carried  body/strapdown.py      Strapdown.carried

   Arrays are contiguous doubles; their sizes are checked here. */

#define PY_SSIZE_T_CLEAN
#include <Python.h>
#include <math.h>
#include <string.h>

#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("fp-contract=off") /* rounded as in Python */
#elif defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#endif

#define MOST 24

typedef struct {
    Py_buffer held[MOST];
    int count;
} Arrays;

static void release(Arrays *arrays) {
    for (int k = 0; k < arrays->count; k++) PyBuffer_Release(&arrays->held[k]);
}

/* The arguments from `first` on as arrays of at least `sizes[k]` doubles; those from `written` on can be written. */
static int take(PyObject *args, Py_ssize_t first, int count, int written, const Py_ssize_t *sizes, Arrays *arrays,
                double **out) {
    arrays->count = 0;
    if (PyTuple_Size(args) != first + count) {
        PyErr_SetString(PyExc_TypeError, "wrong number of arrays");
        return 0;
    }
    for (int k = 0; k < count; k++) {
        Py_buffer *one = &arrays->held[k];
        int flags = PyBUF_C_CONTIGUOUS | PyBUF_FORMAT | (k >= written ? PyBUF_WRITABLE : 0);
        if (PyObject_GetBuffer(PyTuple_GetItem(args, first + k), one, flags) < 0) {
            release(arrays);
            return 0;
        }
        arrays->count = k + 1;
        if (one->len < sizes[k] * (Py_ssize_t)sizeof(double) || one->format == NULL || strcmp(one->format, "d")) {
            PyErr_Format(PyExc_ValueError, "array %d is too short, or not of doubles", k);
            release(arrays);
            return 0;
        }
        out[k] = one->buf;
    }
    return 1;
}

static double least(double a, double b) { return a < b ? a : b; }
static double most(double a, double b) { return a > b ? a : b; }

/* ── fusion/known.py ───────────────────────────────────────────────────────────────────────────────────────────── */

enum { HEADING, QUIET, PACE2, MEAN2, TURN_X, TURN_Y, TURN_Z, BEGUN, UNREST, SHAKEN, KNOWN };

static PyObject *told(PyObject *self, PyObject *args) {
    (void)self;
    Py_ssize_t n = PyLong_AsSsize_t(PyTuple_GetItem(args, 0));
    if (n < 0) return PyErr_Occurred() ? NULL : PyErr_Format(PyExc_ValueError, "negative length");
    Py_ssize_t sizes[] = {22, 3 * n, 3 * n, n, KNOWN, n, n, n};
    double *a[8];
    Arrays arrays;
    if (!take(args, 1, 8, 4, sizes, &arrays, a)) return NULL;
    const double *c = a[0], *gyr = a[1], *acc = a[2], *steps = a[3];
    double *s = a[4], *tilts = a[5], *headings = a[6], *quiets = a[7];
    const double drift = c[0], quiet_rate2 = c[1], least2 = c[2], most2 = c[3], pace_mean = c[4], pace_falls = c[5],
                 rest_s = c[6], shaken_falls = c[7], moving2 = c[8], share2 = c[9], turned_most2 = c[10],
                 moving = c[11], shaken_over = c[12], period = c[13], first_still = c[14], first_per = c[15],
                 first_most = c[16], turning = c[17], turning_most = c[18], first_halves = c[19], gravity = c[20],
                 filter_s = c[21];
    for (Py_ssize_t i = 0; i < n; i++) {
        const double x = gyr[3 * i], y = gyr[3 * i + 1], z = gyr[3 * i + 2], step = steps[i];
        const double *f = acc + 3 * i;
        const double rate2 = x * x + y * y + z * z, force2 = f[0] * f[0] + f[1] * f[1] + f[2] * f[2];
        s[HEADING] += drift * step;
        const int quiet = rate2 < quiet_rate2 && least2 < force2 && force2 < most2;
        s[MEAN2] += (rate2 - s[MEAN2]) * least(step / pace_mean, 1.0);
        s[PACE2] *= most(1.0 - 2.0 * step / pace_falls, 0.0);
        if (s[MEAN2] > s[PACE2]) s[PACE2] = s[MEAN2];
        s[QUIET] = quiet ? s[QUIET] + step : 0.0;
        const int rest = s[QUIET] >= rest_s;
        const double kept = 1.0 - least(step / shaken_falls, 1.0);
        s[TURN_X] = (s[TURN_X] + x * step) * kept;
        s[TURN_Y] = (s[TURN_Y] + y * step) * kept;
        s[TURN_Z] = (s[TURN_Z] + z * step) * kept;
        const double turn2 = s[TURN_X] * s[TURN_X] + s[TURN_Y] * s[TURN_Y] + s[TURN_Z] * s[TURN_Z];
        double tilt = sqrt(moving2 + share2 * least(turn2, turned_most2));
        if (!isnan(s[BEGUN]) && !rest) { /* _first */
            s[BEGUN] += least(step, 2.0 * period);
            const double share = least(1.0, (period + filter_s) / (s[BEGUN] + filter_s));
            const double unrest = fabs(sqrt(force2) - gravity) + turning * least(sqrt(rate2), turning_most);
            s[UNREST] += share * (unrest - s[UNREST]);
            const double first = least(first_still + first_per * s[UNREST], first_most);
            tilt = most(first / (1.0 + s[BEGUN] / first_halves), moving);
        }
        if (s[SHAKEN] > shaken_over) {
            tilt = hypot(tilt, s[SHAKEN]);
            s[SHAKEN] *= exp(-step / shaken_falls);
        }
        tilts[i] = tilt;
        headings[i] = s[HEADING];
        quiets[i] = s[QUIET];
    }
    release(&arrays);
    Py_RETURN_NONE;
}

/* ── fusion/rest_level.py ──────────────────────────────────────────────────────────────────────────────────────── */

enum { LEVEL_X, LEVEL_Y, MEAN_X, MEAN_Y, SD, LEVELLING };

static PyObject *found(PyObject *self, PyObject *args) {
    (void)self;
    Py_ssize_t n = PyLong_AsSsize_t(PyTuple_GetItem(args, 0));
    if (n < 0) return PyErr_Occurred() ? NULL : PyErr_Format(PyExc_ValueError, "negative length");
    Py_ssize_t sizes[] = {8, 4 * n, 3 * n, n, n, n, LEVELLING, 4 * n, n};
    double *a[9];
    Arrays arrays;
    if (!take(args, 1, 9, 6, sizes, &arrays, a)) return NULL;
    const double *c = a[0], *q_es = a[1], *acc = a[2], *steps = a[3], *quiets = a[4], *sds = a[5];
    double *s = a[6], *levelled = a[7], *sds_out = a[8];
    const double rest_s = c[0], falls = c[1], mean_s = c[2], follows = c[3], none = c[4], speed = c[5], gravity = c[6],
                 rest_sd = c[7];
    int any = 0;
    for (Py_ssize_t i = 0; i < n; i++) {
        const double *q = q_es + 4 * i, *f = acc + 3 * i;
        const double step = steps[i], quiet = quiets[i], sd = sds[i];
        double *out = levelled + 4 * i;
        memcpy(out, q, 4 * sizeof(double));
        sds_out[i] = sd;
        if (quiet <= 0.0) { /* in movement what was found fades */
            s[SD] = sd;
            s[MEAN_X] = s[MEAN_Y] = 0.0;
            const double fade = exp(-step / falls);
            s[LEVEL_X] *= fade;
            s[LEVEL_Y] *= fade;
            if (fabs(s[LEVEL_X]) + fabs(s[LEVEL_Y]) < none) s[LEVEL_X] = s[LEVEL_Y] = 0.0;
        } else {
            /* to_earth, and the turn that takes the force to the vertical */
            const double w = q[0], vx = q[1], vy = q[2], vz = q[3];
            const double ax = 2.0 * (vy * f[2] - vz * f[1]), ay = 2.0 * (vz * f[0] - vx * f[2]),
                         az = 2.0 * (vx * f[1] - vy * f[0]);
            const double ex = f[0] + w * ax + (vy * az - vz * ay), ey = f[1] + w * ay + (vz * ax - vx * az),
                         ez = f[2] + w * az + (vx * ay - vy * ax);
            const double size = sqrt(ex * ex + ey * ey + ez * ez);
            double force_sd = 0.0;
            if (quiet >= rest_s) force_sd = hypot(speed / (gravity * quiet), rest_sd);
            if (s[SD] == 0.0) s[SD] = sd;
            double share = least(step / least(quiet, mean_s), 1.0);
            s[MEAN_X] += share * (ey / size - s[MEAN_X]);
            s[MEAN_Y] += share * (-(ex / size) - s[MEAN_Y]);
            if (force_sd != 0.0) {
                const double gain = s[SD] * s[SD] / (s[SD] * s[SD] + force_sd * force_sd);
                share = least(step / follows, 1.0);
                s[LEVEL_X] += share * (gain * s[MEAN_X] - s[LEVEL_X]);
                s[LEVEL_Y] += share * (gain * s[MEAN_Y] - s[LEVEL_Y]);
                sds_out[i] = most(s[SD] * force_sd / hypot(s[SD], force_sd), rest_sd);
            }
        }
        if (s[LEVEL_X] != 0.0 || s[LEVEL_Y] != 0.0) {
            const double x = 0.5 * s[LEVEL_X], y = 0.5 * s[LEVEL_Y], w = sqrt(1.0 - (x * x + y * y));
            out[0] = w * q[0] - x * q[1] - y * q[2];
            out[1] = w * q[1] + x * q[0] + y * q[3];
            out[2] = w * q[2] - x * q[3] + y * q[0];
            out[3] = w * q[3] + x * q[2] - y * q[1];
            any = 1;
        }
    }
    release(&arrays);
    return PyBool_FromLong(any);
}

/* ── body/link.py ──────────────────────────────────────────────────────────────────────────────────────────────── */

static double dot3(const double *a, const double *b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

static void times3(const double *A, const double *v, double *out) { /* A·v */
    for (int r = 0; r < 3; r++) out[r] = dot3(A + 3 * r, v);
}

static void product3(const double *A, const double *B, double *out) { /* A·B */
    for (int r = 0; r < 3; r++)
        for (int k = 0; k < 3; k++)
            out[3 * r + k] = A[3 * r] * B[k] + A[3 * r + 1] * B[3 + k] + A[3 * r + 2] * B[6 + k];
}

static void cross3(const double *v, double *out) { /* [v]× */
    const double X[9] = {0.0, -v[2], v[1], v[2], 0.0, -v[0], -v[1], v[0], 0.0};
    memcpy(out, X, sizeof X);
}

/* Lower Cholesky factor of the positive definite n×n matrix in A, in its place. */
static int factored(double *A, int n) {
    for (int r = 0; r < n; r++)
        for (int k = 0; k <= r; k++) {
            double sum = A[r * n + k];
            for (int m = 0; m < k; m++) sum -= A[r * n + m] * A[k * n + m];
            if (r == k) {
                if (!(sum > 0.0)) return 0;
                A[r * n + r] = sqrt(sum);
            } else
                A[r * n + k] = sum / A[k * n + k];
        }
    return 1;
}

static void solved(const double *L, int n, double *b) {
    for (int r = 0; r < n; r++) {
        for (int m = 0; m < r; m++) b[r] -= L[r * n + m] * b[m];
        b[r] /= L[r * n + r];
    }
    for (int r = n - 1; r >= 0; r--) {
        for (int m = r + 1; m < n; m++) b[r] -= L[m * n + r] * b[m];
        b[r] /= L[r * n + r];
    }
}

static void turned(const double *D, const double *v, double *out) {
    const double angle = sqrt(dot3(v, v) + 1e-24), half = sin(0.5 * angle) / angle, part = sin(angle) / angle;
    double X[9], XX[9], R[9], RD[9], N[9];
    cross3(v, X);
    product3(X, X, XX);
    for (int k = 0; k < 9; k++) R[k] = (k % 4 ? 0.0 : 1.0) + part * X[k] + 2.0 * half * half * XX[k];
    product3(R, D, RD);
    for (int r = 0; r < 3; r++)
        for (int k = 0; k < 3; k++) {
            const double sum = RD[r] * RD[k] + RD[3 + r] * RD[3 + k] + RD[6 + r] * RD[6 + k];
            N[3 * r + k] = (r == k ? 1.5 : 0.0) - 0.5 * sum;
        }
    product3(RD, N, out);
}

typedef struct {
    const double *force, *lever, *rate2, *lever2, *up, *up_sd, *rough2;
} Sight;

/* One joint; 0 where Python is to do it: D and the two verticals contradict each other. */
static int joint(const double *c, double span, const Sight *one, const Sight *two, Py_ssize_t at, const double *D,
                 const double *P0, const double *arms, double level, const double *off, double *D_out, double *P,
                 double *arms_out, double *level_out, double *off_out) {
    const double drift2 = c[0], scale2 = c[1], walk2 = c[2], acc2 = c[3], arm_share2 = c[4], rough_share2 = c[5],
                 level_share = c[6], surprise_most = c[7], level_most = c[8], freedom = c[9], lasting = c[10],
                 up2 = c[11], up_least2 = c[12], shown2 = c[13], gravity2 = c[14], off_share = c[15], off_least = c[16],
                 tilt_off2 = c[17];
    const double *F1 = one->force + 3 * at, *F2 = two->force + 3 * at, *L1 = one->lever + 9 * at;
    const double *u1 = one->up + 3 * at, *u2 = two->up + 3 * at;
    const double sd1 = one->up_sd[at], sd2 = two->up_sd[at];
    memcpy(P, P0, 81 * sizeof(double));
    for (int k = 0; k < 9; k++)
        P[10 * k] += (k < 3 ? drift2 + scale2 * (one->rate2[at] + two->rate2[at]) : walk2) * span;

    double DL[9], seen[3], above[3], by_arm[3], by_other[3], residual[6], H[54] = {0.0}, X[9];
    product3(D, two->lever + 9 * at, DL);
    times3(D, F2, seen);
    times3(DL, arms + 3, by_other);
    times3(L1, arms, by_arm);
    times3(D, u2, above);
    for (int r = 0; r < 3; r++) {
        seen[r] += by_other[r];
        residual[r] = F1[r] + by_arm[r] - seen[r];
        residual[3 + r] = u1[r] - above[r];
    }
    const double minus_seen[3] = {-seen[0], -seen[1], -seen[2]}, minus_above[3] = {-above[0], -above[1], -above[2]};
    cross3(minus_seen, X);
    for (int r = 0; r < 3; r++)
        for (int k = 0; k < 3; k++) {
            H[9 * r + k] = X[3 * r + k];
            H[9 * r + 3 + k] = -L1[3 * r + k];
            H[9 * r + 6 + k] = DL[3 * r + k];
        }
    cross3(minus_above, X);
    for (int r = 0; r < 3; r++)
        for (int k = 0; k < 3; k++) H[9 * (3 + r) + k] = X[3 * r + k];

    double PH[54], S[36], gain[54];
    for (int r = 0; r < 9; r++)
        for (int k = 0; k < 6; k++) {
            double sum = 0.0;
            for (int m = 0; m < 9; m++) sum += P[9 * r + m] * H[9 * k + m];
            PH[6 * r + k] = sum;
        }
    for (int r = 0; r < 6; r++)
        for (int k = 0; k < 6; k++) {
            double sum = 0.0;
            for (int m = 0; m < 9; m++) sum += H[9 * r + m] * PH[6 * m + k];
            S[6 * r + k] = sum;
        }

    /* _noise */
    const double own = level * (acc2 + arm_share2 * (one->lever2[at] + two->lever2[at]) +
                                rough_share2 * (one->rough2[at] + two->rough2[at]));
    double E[9], e[3] = {residual[0], residual[1], residual[2]};
    for (int r = 0; r < 3; r++)
        for (int k = 0; k < 3; k++) E[3 * r + k] = S[6 * r + k] + (r == k ? own : 0.0);
    if (!factored(E, 3)) return 0;
    solved(E, 3, e);
    const double surprise2 = dot3(residual, e);
    level = level * (1.0 + level_share * (least(surprise2 / 3.0, surprise_most) - 1.0));
    level = least(most(level, 1.0), level_most);
    const double heavy = most((freedom + surprise2) / (freedom + 3.0), 1.0);
    for (int k = 0; k < 6; k++)
        S[7 * k] += k < 3 ? own * heavy * least(level, lasting) : up2 * (0.5 * (sd1 * sd1 + sd2 * sd2) + up_least2);

    if (!factored(S, 6)) return 0;
    memcpy(gain, PH, sizeof gain);
    double change[9], less[81];
    for (int r = 0; r < 9; r++) {
        solved(S, 6, gain + 6 * r);
        change[r] = 0.0;
        for (int k = 0; k < 6; k++) change[r] += gain[6 * r + k] * residual[k];
    }
    for (int r = 0; r < 9; r++)
        for (int k = 0; k < 9; k++) {
            double sum = 0.0;
            for (int m = 0; m < 6; m++) sum += gain[6 * r + m] * PH[6 * k + m];
            less[9 * r + k] = sum;
        }

    /* _hidden */
    const double along = dot3(seen, u1);
    double across2 = 0.0, hidden[3], back = 0.0;
    for (int r = 0; r < 3; r++) across2 += (seen[r] - along * u1[r]) * (seen[r] - along * u1[r]);
    const double tipped2 = gravity2 * (sd1 * sd1 + sd2 * sd2);
    const double root = sqrt(least((shown2 * level + tipped2) / (across2 + 1e-12), 1.0));
    for (int r = 0; r < 3; r++) hidden[r] = root * u1[r];
    const double held = dot3(hidden, change);
    for (int r = 0; r < 3; r++) {
        change[r] -= hidden[r] * held;
        for (int k = 0; k < 3; k++) back += hidden[r] * less[9 * r + k] * hidden[k];
    }
    for (int k = 0; k < 81; k++) P[k] -= less[k];
    for (int r = 0; r < 3; r++)
        for (int k = 0; k < 3; k++) P[9 * r + k] += back * hidden[r] * hidden[k];
    for (int r = 0; r < 9; r++)
        for (int k = 0; k < r; k++) P[9 * r + k] = P[9 * k + r] = 0.5 * (P[9 * r + k] + P[9 * k + r]);
    turned(D, change, D_out);
    for (int k = 0; k < 6; k++) arms_out[k] = arms[k] + change[3 + k];
    *level_out = level;

    /* _held_to_tilt */
    times3(D_out, u2, above);
    cross3(above, X);
    double turn[3], off2 = 0.0;
    times3(X, u1, turn);
    for (int r = 0; r < 3; r++) {
        off_out[r] = off[r] + off_share * (turn[r] - off[r]);
        off2 += off_out[r] * off_out[r];
    }
    const double most1 = most(sd1, off_least), most2 = most(sd2, off_least);
    return off2 <= tilt_off2 * (most1 * most1 + most2 * most2);
}

/* The updates from `begin` on, before `end`, of (J, N, …) sights: fills the rows after the first of (1 + end - begin, J,
   …) states; returns how many of them are right. */
static PyObject *updated(PyObject *self, PyObject *args) {
    (void)self;
    Py_ssize_t J = PyLong_AsSsize_t(PyTuple_GetItem(args, 0)), n = PyLong_AsSsize_t(PyTuple_GetItem(args, 1)),
               begin = PyLong_AsSsize_t(PyTuple_GetItem(args, 2)), end = PyLong_AsSsize_t(PyTuple_GetItem(args, 3));
    double span = PyFloat_AsDouble(PyTuple_GetItem(args, 4));
    if (PyErr_Occurred()) return NULL;
    if (J < 0 || begin < 0 || end < begin || end > n) return PyErr_Format(PyExc_ValueError, "not among the updates");
    const Py_ssize_t all = J * n, rows = J * (1 + end - begin);
    Py_ssize_t sizes[] = {18,  3 * all, 9 * all, all,      all,       3 * all,  all,  all,      3 * all, 9 * all,
                          all, all,     3 * all, all,      all,       9 * rows, 81 * rows, 6 * rows, rows,    3 * rows};
    double *a[20];
    Arrays arrays;
    if (!take(args, 5, 20, 15, sizes, &arrays, a)) return NULL;
    const Sight one = {a[1], a[2], a[3], a[4], a[5], a[6], a[7]}, two = {a[8], a[9], a[10], a[11], a[12], a[13], a[14]};
    double *D = a[15], *P = a[16], *arms = a[17], *level = a[18], *off = a[19];
    Py_ssize_t row = begin;
    for (; row < end; row++)
        for (Py_ssize_t j = 0; j < J; j++) {
            const Py_ssize_t old = (row - begin) * J + j, new = old + J;
            if (!joint(a[0], span, &one, &two, j * n + row, D + 9 * old, P + 81 * old, arms + 6 * old, level[old],
                       off + 3 * old, D + 9 * new, P + 81 * new, arms + 6 * new, level + new, off + 3 * new))
                goto out;
        }
out:
    release(&arrays);
    return PyLong_FromSsize_t(row - begin);
}

/* ── body/strapdown.py ─────────────────────────────────────────────────────────────────────────────────────────── */

/* (S, N, 3, 3) orientations from (N, S, 3) rates, (S, 3) those before them and the (S, 3, 3) orientations before. */
static PyObject *carried(PyObject *self, PyObject *args) {
    (void)self;
    Py_ssize_t sensors = PyLong_AsSsize_t(PyTuple_GetItem(args, 0)), n = PyLong_AsSsize_t(PyTuple_GetItem(args, 1));
    double step = PyFloat_AsDouble(PyTuple_GetItem(args, 2));
    if (PyErr_Occurred()) return NULL;
    if (sensors < 0 || n < 0) return PyErr_Format(PyExc_ValueError, "negative length");
    Py_ssize_t sizes[] = {3 * sensors * n, 3 * sensors, 9 * sensors, 9 * sensors * n};
    double *a[4];
    Arrays arrays;
    if (!take(args, 3, 4, 3, sizes, &arrays, a)) return NULL;
    for (Py_ssize_t m = 0; m < sensors; m++) {
        const double *last = a[1] + 3 * m;
        double w = 1.0, v[3] = {0.0, 0.0, 0.0};
        for (Py_ssize_t i = 0; i < n; i++) {
            const double *rate = a[0] + 3 * (i * sensors + m);
            const double mean[3] = {0.5 * (last[0] + rate[0]), 0.5 * (last[1] + rate[1]), 0.5 * (last[2] + rate[2])};
            const double size = sqrt(dot3(mean, mean)), half = 0.5 * size * step;
            const double c = cos(half), part = size > 0.0 ? sin(half) / size : 0.0;
            const double x = part * mean[0], y = part * mean[1], z = part * mean[2];
            const double q[4] = {w * c - v[0] * x - v[1] * y - v[2] * z, w * x + v[0] * c + v[1] * z - v[2] * y,
                                 w * y - v[0] * z + v[1] * c + v[2] * x, w * z + v[0] * y - v[1] * x + v[2] * c};
            const double length = sqrt(q[0] * q[0] + q[1] * q[1] + q[2] * q[2] + q[3] * q[3]);
            w = q[0] / length;
            for (int k = 0; k < 3; k++) v[k] = q[k + 1] / length;
            const double R[9] = {
                w * w + v[0] * v[0] - v[1] * v[1] - v[2] * v[2], 2.0 * (v[0] * v[1] - w * v[2]),
                2.0 * (v[0] * v[2] + w * v[1]),                  2.0 * (v[0] * v[1] + w * v[2]),
                w * w - v[0] * v[0] + v[1] * v[1] - v[2] * v[2], 2.0 * (v[1] * v[2] - w * v[0]),
                2.0 * (v[0] * v[2] - w * v[1]),                  2.0 * (v[1] * v[2] + w * v[0]),
                w * w - v[0] * v[0] - v[1] * v[1] + v[2] * v[2],
            };
            product3(a[2] + 9 * m, R, a[3] + 9 * (m * n + i));
            last = rate;
        }
    }
    release(&arrays);
    Py_RETURN_NONE;
}

static PyMethodDef METHODS[] = {
    {"told", told, METH_VARARGS, NULL},
    {"found", found, METH_VARARGS, NULL},
    {"updated", updated, METH_VARARGS, NULL},
    {"carried", carried, METH_VARARGS, NULL},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef MODULE = {PyModuleDef_HEAD_INIT, "_recursions", NULL, 0, METHODS, NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit__recursions(void) { return PyModule_Create(&MODULE); }
