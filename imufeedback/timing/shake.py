"""One shake of all sensors in one hand -> how much later than the others each one's times are.

Sensors that move as one body have one angular speed, whatever way up they are. Its course in time is the same for all
but
for the constant delays that no clock fit can see: least delay of the radio, low-pass filters.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from imufeedback.records import Floats

GRID_HZ = 1000.0
LARGEST_S = 0.060
LEAST_RATE_RAD_S = 1.0
"""Mean angular speed below which nobody has shaken."""
LEAST_LIKENESS = 0.95
"""Correlation of two courses at the best shift; chosen."""


class NoShake(ValueError):
    """The samples do not show all sensors shaken as one; the text says why."""


def offsets_s(courses: Sequence[tuple[Floats, Floats]]) -> list[float]:
    """Offsets of sensors against their median, from (N,) t_s and (N, 3) gyr_rad_s of each during the shake.

    Raises NoShake.
    """
    begin_s = max(float(t_s[0]) for t_s, _ in courses) + LARGEST_S
    end_s = min(float(t_s[-1]) for t_s, _ in courses) - LARGEST_S
    if end_s - begin_s < 1.0:
        raise NoShake("the sensors were not shaken at the same time for at least one second")
    grid = np.arange(begin_s, end_s, 1.0 / GRID_HZ)
    speeds = [np.linalg.norm(gyr, axis=1) for _, gyr in courses]
    first = np.interp(grid, courses[0][0], speeds[0])
    if first.mean() < LEAST_RATE_RAD_S:
        raise NoShake("the shake was too weak: turn the hand to and fro, quickly")
    late = [0.0]
    for (t_s, _), speed in zip(courses[1:], speeds[1:], strict=True):
        late.append(_shift_s(grid, first, t_s, speed))
    middle = float(np.median(late))
    return [one - middle for one in late]


def _shift_s(grid: Floats, reference: Floats, t_s: Floats, speed: Floats) -> float:
    """The shift at which the course is most like the reference: a parabola through the best three of 1 ms steps."""
    shifts = np.arange(-LARGEST_S, LARGEST_S + 0.5 / GRID_HZ, 1.0 / GRID_HZ)
    alike = np.array([np.corrcoef(reference, np.interp(grid + shift, t_s, speed))[0, 1] for shift in shifts])
    best = int(np.argmax(alike))
    if not alike[best] >= LEAST_LIKENESS:
        raise NoShake("the sensors did not move as one: hold all of them in one hand")
    if best in (0, len(shifts) - 1):
        raise NoShake(f"the sensors are more than {LARGEST_S * 1e3:.0f} ms apart")
    low, top, high = alike[best - 1 : best + 2]
    return float(shifts[best] + 0.5 / GRID_HZ * (low - high) / (low - 2 * top + high))
