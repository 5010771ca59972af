/* What steps from sample to sample and so cannot be done in numpy's columns. Every function is one that stands in Python
   beside it, formula by formula; the constants come from there, too:

   stepped  fusion/stepping.py     stepped: HeldBias.held, Knowledge.told for samples within their range, RestLevel.found
   gridded  timing/grid.py         on_the_grid
   updated  body/link.py           _updated, one update after the other
   clocked  timing/clock.py        SensorClock.next_times, for packets of which nothing is to be asked
   middle   timing/envelope.py     middle_slope
   carried  body/strapdown.py      Strapdown.turned

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

enum { HEADING, QUIET, PACE2, MEAN2, TURN_X, TURN_Y, TURN_Z, BEGUN, UNREST, SHAKEN, SETTLED, KNOWN };

/* Knowledge.told, one sample more; returns the tilt. */
static double tell(const double *c, double *s, const double *rate, const double *f, double step) {
    const double drift = c[0], quiet_rate2 = c[1], least2 = c[2], most2 = c[3], pace_mean = c[4], pace_falls = c[5],
                 rest_s = c[6], shaken_falls = c[7], moving2 = c[8], share2 = c[9], turned_most2 = c[10],
                 moving = c[11], shaken_over = c[12], period = c[13], first_still = c[14], first_per = c[15],
                 first_most = c[16], turning = c[17], turning_most = c[18], first_halves = c[19], gravity = c[20],
                 filter_s = c[21], gap_s = c[22], alpha_least = c[23], alpha_per = c[24], curved_s = c[25],
                 unknown = c[26], relevel = c[27];
    const double x = rate[0], y = rate[1], z = rate[2];
    const double rate2 = x * x + y * y + z * z, force2 = f[0] * f[0] + f[1] * f[1] + f[2] * f[2];
    s[HEADING] += drift * step;
    const int quiet = rate2 < quiet_rate2 && least2 < force2 && force2 < most2;
    if (step >= gap_s) { /* lost_turn_rad */
        const double alpha = most(alpha_least, alpha_per * sqrt(most(s[PACE2], rate2)));
        const double lost = least(0.5 * alpha * step * step * least(step / curved_s, 1.0), unknown);
        s[HEADING] += lost;
        s[SHAKEN] = hypot(s[SHAKEN], lost);
        if (s[SHAKEN] > relevel) s[SETTLED] = 0.0;
        if (lost > relevel) s[QUIET] = 0.0;
    }
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
    return tilt;
}

/* ── fusion/rest_level.py ──────────────────────────────────────────────────────────────────────────────────────── */

enum { LEVEL_X, LEVEL_Y, MEAN_X, MEAN_Y, SD, LEVELLING };

/* RestLevel.found, one sample more; returns the tilt. */
static double level_off(const double *c, double *s, const double *q, const double *f, double step, double quiet, double sd,
                        double *out) {
    const double rest_s = c[0], falls = c[1], mean_s = c[2], follows = c[3], none = c[4], speed = c[5], gravity = c[6],
                 rest_sd = c[7];
    double tilt = sd;
    memcpy(out, q, 4 * sizeof(double));
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
            tilt = most(s[SD] * force_sd / hypot(s[SD], force_sd), rest_sd);
        }
    }
    if (s[LEVEL_X] != 0.0 || s[LEVEL_Y] != 0.0) {
        const double x = 0.5 * s[LEVEL_X], y = 0.5 * s[LEVEL_Y], w = sqrt(1.0 - (x * x + y * y));
        out[0] = w * q[0] - x * q[1] - y * q[2];
        out[1] = w * q[1] + x * q[0] + y * q[3];
        out[2] = w * q[2] - x * q[3] + y * q[0];
        out[3] = w * q[3] + x * q[2] - y * q[1];
    }
    return tilt;
}

/* ── fusion/held_bias.py ───────────────────────────────────────────────────────────────────────────────────────── */

enum { SCALE, CANDIDATE_S, HELD, CANDIDATE = HELD + 3, HOLDING = CANDIDATE + 3 };

/* HeldBias.held, one sample more. */
static void hold(const double *c, double *s, const double *bias, int observed, double step) {
    const double scale_share = c[0], settle_s = c[1], period = c[2];
    s[SCALE] += scale_share * (least(most(step / period, 0.5), 2.0) - s[SCALE]);
    if (!observed) {
        s[CANDIDATE] = NAN; /* none */
    } else if (isnan(s[CANDIDATE]) || s[CANDIDATE_S] >= settle_s) {
        if (!isnan(s[CANDIDATE])) memcpy(s + HELD, s + CANDIDATE, 3 * sizeof(double));
        for (int k = 0; k < 3; k++) s[CANDIDATE + k] = bias[k] / s[SCALE];
        s[CANDIDATE_S] = 0.0;
    }
    s[CANDIDATE_S] += step;
}

/* ── fusion/stepping.py ────────────────────────────────────────────────────────────────────────────────────────── */

enum { KNOWING = 28, LEVELS = 8, HOLDS = 3 }; /* constants of each */

/* Of n samples that the filter was given, the m `real` ones were measured. */
static PyObject *stepped(PyObject *self, PyObject *args) {
    (void)self;
    Py_ssize_t n = PyLong_AsSsize_t(PyTuple_GetItem(args, 0)), m = PyLong_AsSsize_t(PyTuple_GetItem(args, 1));
    if (PyErr_Occurred()) return NULL;
    if (n < 0 || m < 0) return PyErr_Format(PyExc_ValueError, "negative length");
    Py_ssize_t sizes[] = {KNOWING + LEVELS + HOLDS, n,     3 * n, n, m, m, 3 * m, 3 * m, 4 * m,
                          KNOWN + LEVELLING + HOLDING, 4 * m, 3 * m, 3 * m, m, m, m};
    double *a[16];
    Arrays arrays;
    if (!take(args, 2, 16, 9, sizes, &arrays, a)) return NULL;
    const double *c = a[0], *steps = a[1], *bias = a[2], *observed = a[3], *real = a[4], *real_steps = a[5],
                 *gyr = a[6], *acc = a[7], *q_es = a[8];
    double *known = a[9], *level = known + KNOWN, *held = level + LEVELLING;
    double *q_out = a[10], *rates = a[11], *biases = a[12], *tilts = a[13], *headings = a[14], *quiets = a[15];
    for (Py_ssize_t i = 0, j = 0; i < n && j < m; i++) {
        hold(c + KNOWING + LEVELS, held, bias + 3 * i, observed[i] != 0.0, steps[i]);
        if (n != m && (double)i < real[j]) continue;
        double *rate = rates + 3 * j;
        memcpy(biases + 3 * j, held + HELD, 3 * sizeof(double));
        for (int k = 0; k < 3; k++) rate[k] = gyr[3 * j + k] - held[HELD + k];
        const double tilt = tell(c, known, rate, acc + 3 * j, real_steps[j]);
        tilts[j] = level_off(c + KNOWING, level, q_es + 4 * j, acc + 3 * j, real_steps[j], known[QUIET], tilt,
                             q_out + 4 * j);
        headings[j] = known[HEADING];
        quiets[j] = known[QUIET];
        j++;
    }
    release(&arrays);
    Py_RETURN_NONE;
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

/* ── timing/clock.py ───────────────────────────────────────────────────────────────────────────────────────────── */

enum { DEVICE, OFFSET, TARGET, SLOPE, SESSION, PERIOD, COUNT, BIN_X, BIN_Y, SINCE, LATE, REPORTED, CLOCK };

/* Packets from `begin` on as long as each follows the one before, in the bin that is open, with the map on the line, and
   until it is time to report; returns the first one that is left. */
static PyObject *clocked(PyObject *self, PyObject *args) {
    (void)self;
    Py_ssize_t n = PyLong_AsSsize_t(PyTuple_GetItem(args, 0)), samples = PyLong_AsSsize_t(PyTuple_GetItem(args, 1)),
               k = PyLong_AsSsize_t(PyTuple_GetItem(args, 2));
    if (PyErr_Occurred()) return NULL;
    if (n < 0 || samples < 1 || k < 0) return PyErr_Format(PyExc_ValueError, "negative length");
    Py_ssize_t sizes[] = {11, n * samples, n, CLOCK, n * samples, n * samples, n};
    double *a[7];
    Arrays arrays;
    if (!take(args, 3, 7, 3, sizes, &arrays, a)) return NULL;
    const double *c = a[0];
    const double early = c[0], backlog = c[1], gap_steps = c[2], follows = c[3], rounding = c[4], bin = c[5],
                 drop = c[6], slew = c[7], least_step = c[8], delay_s = c[9], report = c[10];
    double *s = a[3];
    for (; k < n; k++) {
        const double *step = a[1] + k * samples, host = a[2][k], slope = s[SLOPE];
        double *t = a[4] + k * samples, *dt = a[5] + k * samples;
        double last = s[DEVICE], longest = step[0], shortest = step[0], sum = 0.0, usual = 0.0;
        for (Py_ssize_t i = 0; i < samples; i++) {
            last += step[i];
            longest = most(longest, step[i]);
            shortest = least(shortest, step[i]);
            if (0.5 * s[PERIOD] < step[i] && step[i] < gap_steps * s[PERIOD]) {
                sum += step[i];
                usual += 1.0;
            }
        }
        const double late = host - (last + s[OFFSET]), first = s[DEVICE] + step[0], delay = host - last;
        if (!(shortest > least_step && -early <= late && late < backlog)) break;
        if (longest > gap_steps * s[PERIOD] || step[0] > follows * s[PERIOD] + rounding) break;
        if (!(trunc(last / bin) == trunc(s[BIN_X] / bin))) break;
        const double above = delay - (s[TARGET] + slope * last), target = above < 0.0 ? s[TARGET] + above : s[TARGET];
        if (fabs(target + slope * first - (s[OFFSET] + slope * step[0])) > slew * step[0]) break;
        if (!(first + (target + slope * first) - delay_s > s[SESSION])) break;
        a[6][k] = above;
        if (delay < s[BIN_Y]) {
            s[BIN_X] = last;
            s[BIN_Y] = delay;
        }
        if (above < -drop) s[SINCE] = last;
        double device = s[DEVICE];
        for (Py_ssize_t i = 0; i < samples; i++) {
            device += step[i];
            t[i] = device + (target + slope * device) - delay_s;
            dt[i] = step[i] * (1.0 + slope);
        }
        s[DEVICE] = last;
        s[TARGET] = target;
        s[OFFSET] = target + slope * last;
        s[SESSION] = last + (target + slope * last) - delay_s;
        s[LATE] = late;
        if (usual > 0.0) {
            s[COUNT] += usual;
            s[PERIOD] += (sum - usual * s[PERIOD]) / least(s[COUNT] + 20.0, 2000.0);
        }
        if (s[SESSION] - s[REPORTED] >= report) {
            k++;
            break;
        }
    }
    release(&arrays);
    return PyLong_FromSsize_t(k);
}

/* ── timing/envelope.py ────────────────────────────────────────────────────────────────────────────────────────── */

/* Of n points (x, y), in whose place their lower hull is put. */
static PyObject *middle(PyObject *self, PyObject *args) {
    (void)self;
    Py_ssize_t n = PyLong_AsSsize_t(PyTuple_GetItem(args, 0)), size = 0;
    if (n < 1) return PyErr_Occurred() ? NULL : PyErr_Format(PyExc_ValueError, "no points");
    Py_ssize_t sizes[] = {2 * n};
    double *p, sum = 0.0, slope = 0.0;
    Arrays arrays;
    if (!take(args, 1, 1, 0, sizes, &arrays, &p)) return NULL;
    for (Py_ssize_t i = 0; i < n; i++) {
        const double x = p[2 * i], y = p[2 * i + 1];
        sum += x;
        for (; size >= 2; size--) {
            const double *a = p + 2 * (size - 2), *b = p + 2 * (size - 1);
            if ((b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0]) > 0.0) break;
        }
        p[2 * size] = x;
        p[2 * size + 1] = y;
        size++;
    }
    const double mean = sum / (double)n;
    for (Py_ssize_t i = 0; i + 1 < size; i++) {
        const double *a = p + 2 * i, *b = a + 2;
        if (a[0] <= mean && mean <= b[0] && b[0] > a[0]) {
            slope = (b[1] - a[1]) / (b[0] - a[0]);
            break;
        }
    }
    release(&arrays);
    return PyFloat_FromDouble(slope);
}

/* ── timing/grid.py ────────────────────────────────────────────────────────────────────────────────────────────── */

enum { ROW = 14, MIXED = 10 };

static void between(const double *a, const double *b, double f, double *q, double *mixed) { /* _slerp, and the rest */
    const double cosine = a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3];
    const double angle = acos(least(fabs(cosine), 1.0)) + 1e-9;
    const double wa = sin((1.0 - f) * angle), wb = sin(f * angle) * copysign(1.0, cosine);
    double size2 = 0.0;
    for (int k = 0; k < 4; k++) {
        q[k] = wa * a[k] + wb * b[k];
        size2 += q[k] * q[k];
    }
    for (int k = 0; k < 4; k++) q[k] /= sqrt(size2);
    for (int k = 0; k < MIXED; k++) mixed[k] = a[4 + k] + f * (b[4 + k] - a[4 + k]);
}

static void gone_on(const double *a, double since, double *q) { /* _turned */
    const double v[3] = {a[4] * since, a[5] * since, a[6] * since};
    const double half = 0.5 * sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2]);
    const double part = half > 0.0 ? 0.5 * sin(half) / half : 0.5;
    const double w = cos(half), x = part * v[0], y = part * v[1], z = part * v[2];
    double size2 = 0.0;
    q[0] = a[0] * w - a[1] * x - a[2] * y - a[3] * z;
    q[1] = a[0] * x + a[1] * w + a[2] * z - a[3] * y;
    q[2] = a[0] * y - a[1] * z + a[2] * w + a[3] * x;
    q[3] = a[0] * z + a[1] * y - a[2] * x + a[3] * w;
    for (int k = 0; k < 4; k++) size2 += q[k] * q[k];
    for (int k = 0; k < 4; k++) q[k] /= sqrt(size2);
}

/* The steps of R releases, of which `limits` (R, S) samples and `ends` (R) steps were known. */
static PyObject *gridded(PyObject *self, PyObject *args) {
    (void)self;
    Py_ssize_t n = PyLong_AsSsize_t(PyTuple_GetItem(args, 0)), S = PyLong_AsSsize_t(PyTuple_GetItem(args, 1)),
               rows = PyLong_AsSsize_t(PyTuple_GetItem(args, 2)), R = PyLong_AsSsize_t(PyTuple_GetItem(args, 3));
    if (PyErr_Occurred()) return NULL;
    if (n < 0 || S < 0 || rows < 0 || R < 0) return PyErr_Format(PyExc_ValueError, "negative length");
    Py_ssize_t sizes[] = {3, n, rows, ROW * rows, S, S, R * S, R, 4 * n * S, MIXED * n * S, n * S};
    double *a[11];
    Arrays arrays;
    if (!take(args, 4, 11, 8, sizes, &arrays, a)) return NULL;
    const double *c = a[0], *t_s = a[1], *times = a[2], *row = a[3], *begins = a[4], *counts = a[5], *limits = a[6],
                 *ends = a[7];
    double *q = a[8], *mixed = a[9], *ok = a[10];
    const double tiny = c[0], bridge = c[1], predict = c[2];
    for (Py_ssize_t i = 0; i < S; i++) {
        const Py_ssize_t begin = (Py_ssize_t)begins[i], count = (Py_ssize_t)counts[i];
        Py_ssize_t upto = 0, group = 0;
        if (begin < 0 || begin + (count > 1 ? count : 1) > rows) {
            release(&arrays);
            return PyErr_Format(PyExc_ValueError, "samples beyond the end");
        }
        for (Py_ssize_t j = 0; j < n; j++) {
            const Py_ssize_t out = j * S + i;
            while (group < R - 1 && (double)j >= ends[group]) group++;
            while (upto < count && times[begin + upto] <= t_s[j] + tiny) upto++;
            const Py_ssize_t limit = (Py_ssize_t)least(limits[group * S + i], counts[i]);
            const Py_ssize_t at = (upto < limit ? upto : limit) - 1;
            const Py_ssize_t here = begin + (at > 0 ? at : 0);
            const int begun = at >= 0, on = begun && at < limit - 1;
            const double past = t_s[j] - times[here];
            const double span = on ? most(times[here + 1] - times[here], tiny) : 1.0;
            const double part = on ? most(past, 0.0) / span : 0.0;
            const double *one = row + ROW * here;
            between(one, part > 0.0 ? one + ROW : one, part, q + 4 * out, mixed + MIXED * out);
            ok[out] = begun && (past <= tiny || (on ? span <= bridge : past <= predict));
            if (begun && !on && past > tiny) gone_on(one, past, q + 4 * out);
        }
    }
    release(&arrays);
    Py_RETURN_NONE;
}

static PyMethodDef METHODS[] = {
    {"stepped", stepped, METH_VARARGS, NULL},
    {"gridded", gridded, METH_VARARGS, NULL},
    {"updated", updated, METH_VARARGS, NULL},
    {"clocked", clocked, METH_VARARGS, NULL},
    {"middle", middle, METH_VARARGS, NULL},
    {"carried", carried, METH_VARARGS, NULL},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef MODULE = {PyModuleDef_HEAD_INIT, "_recursions", NULL, 0, METHODS, NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit__recursions(void) { return PyModule_Create(&MODULE); }
