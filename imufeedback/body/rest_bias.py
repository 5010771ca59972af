"""A gyroscope's bias, as the rests in a stretch show it."""

from __future__ import annotations

import numpy as np

from imufeedback.records import Floats

REST_S, REST_GYR_RAD_S, REST_ACC_M_S2, BIAS_RAD_S = 0.5, 0.03, 0.1, 0.1
"""A rest: so long, no axis scattering more. A mean rate below the last is the gyroscope's bias (`ble/verdict.py`)."""
JUMP_RAD_S = 0.01
"""A smaller change between rests is swaying, not a bias that was taken off. Chosen: that of cheap chips is 0.02."""


def whole_rows(t_s: Floats, gyr: Floats, acc: Floats) -> tuple[Floats, Floats, Floats]:
    """The samples of which every number is finite."""
    with np.errstate(invalid="ignore"):
        good = np.isfinite((gyr + acc) @ np.ones(3))
    return (t_s, gyr, acc) if good.all() else (t_s[good], gyr[good], acc[good])


def bias(t_s: Floats, gyr: Floats, acc: Floats) -> Floats:
    """(N, 3) the gyroscope's bias at each sample, as its rests show it; zero where there are none.

    One for all, or two: live it is taken off from the rest on that has first shown it.
    """
    if len(t_s) < 2:
        return np.zeros_like(gyr)
    size = max(round(REST_S / float(np.median(np.diff(t_s)))), 2)
    count = len(t_s) // size
    nothing: Floats = np.zeros_like(gyr)
    if not count:  # too few to rest in
        return nothing
    (mean, rates_sd), (_, forces_sd) = (_spread(x[: count * size], count) for x in (gyr, acc))
    rest = (rates_sd < REST_GYR_RAD_S) & (forces_sd < REST_ACC_M_S2) & (np.linalg.norm(mean, axis=-1) < BIAS_RAD_S)
    if not rest.any():
        return nothing
    mean, at_s = mean[rest], t_s[: count * size].reshape(count, size)[rest].mean(axis=1)
    k = _jump(mean)
    before, after = np.median(mean[: k or None], axis=0), np.median(mean[k:], axis=0)
    if np.linalg.norm(after - before) < JUMP_RAD_S:
        return np.broadcast_to(np.median(mean, axis=0), gyr.shape)
    parted: Floats = np.where((t_s < 0.5 * (at_s[k - 1] + at_s[k]))[:, None], before, after)
    return parted


def _spread(values: Floats, count: int) -> tuple[Floats, Floats]:
    """Of so many equal parts of rows (N, 3) the means (count, 3), and the standard deviation of the axis that scatters
    most."""
    parts = np.ascontiguousarray(values.T).reshape(3, count, -1)
    mean = parts.mean(axis=2)
    away = parts - mean[..., None]
    return mean.T, np.sqrt((away * away).mean(axis=2).max(axis=0))


def _jump(values: Floats) -> int:
    """Of rows (n, 3), the number of the first after the jump that leaves least of how they differ; 0 for one row.

    Differences count as they are and not by their squares: a leg that sways while the other one is lifted passes for a
    rest, and two such once moved the jump from the first rest to behind the lift.
    """
    if len(values) < 2:
        return 0
    return 1 + int(np.argmin(_differ(values)[:-1] + _differ(values[::-1])[-2::-1]))


def _differ(values: Floats) -> Floats:
    """(n,) by how much the first row, the first two, the first three … differ from their median, summed."""
    count = np.arange(1, len(values) + 1)
    first = np.where((np.arange(len(values)) < count[:, None])[..., None], values, np.inf)
    sums = np.cumsum(np.sort(first, axis=1), axis=1)
    sums = np.concatenate((np.zeros_like(sums[:, :1]), sums), axis=1)
    at = count - 1
    # what lies above the middle less what lies below it
    apart = sums[at, count] - sums[at, (count + 1) // 2] - sums[at, count // 2]
    out: Floats = apart.sum(axis=1)
    return out
