"""Two bodies that a ball joint holds together, and what a sensor on each feels. Exact kinematics, by finite differences
of smooth functions; nothing here knows of the filter."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body.link import JointFilters, sight
from imufeedback.body.links import UPDATE_S
from imufeedback.body.strapdown import Strapdown
from imufeedback.records import Floats

HZ = 200.0
GRAVITY = np.array([0.0, 0.0, 9.81])
ARMS_M = np.array([0.11, -0.06, 0.085, 0.02, 0.20, -0.07])
"""True lever arms: proximal sensor to centre, distal sensor to centre, each in its sensor's axes."""


@dataclass(frozen=True)
class Felt:
    """Rates and specific forces (N, 3) of both sensors, and their true orientations to earth."""

    gyr: tuple[Floats, Floats]
    acc: tuple[Floats, Floats]
    true: tuple[Rotation, Rotation]

    @cached_property
    def frames(self) -> tuple[Floats, Floats]:
        """(N, 3, 3) orientation of both sensors in their gyroscope frames, which begin with the first sample."""
        gyr = np.stack(self.gyr)
        one, two = Strapdown(1 / HZ).turned(gyr.swapaxes(0, 1), -gyr[:, 0], np.tile(np.eye(3), (2, 1, 1)))
        return one, two

    @property
    def D(self) -> Floats:
        """True distal→proximal between the gyroscope frames, as they begin."""
        out: Floats = (self.true[0][0].inv() * self.true[1][0]).as_matrix()
        return out


def swinging(seconds: float, size: float = 1.0) -> Felt:
    """A body that walks on the spot: both segments turn about all axes, the joint is carried along. `size` 0 is rest;
    1 turns by up to about 200 °/s."""
    t_s = np.arange(int(seconds * HZ)) / HZ
    true = (_proximal(t_s, size), _distal(t_s, size))
    gyr, acc = [], []
    for of, sensor in enumerate((_proximal, _distal)):
        h = 1e-4
        gyr.append((sensor(t_s - h, size).inv() * sensor(t_s + h, size)).as_rotvec() / (2 * h))
        before, now, after = (_place(of, sensor, t_s + step, size) for step in (-1e-3, 0.0, 1e-3))
        acc.append(true[of].inv().apply((after - 2 * now + before) / 1e-6 + GRAVITY))
    return Felt((gyr[0], gyr[1]), (acc[0], acc[1]), true)


def _proximal(t_s: Floats, size: float) -> Rotation:
    turn = np.column_stack((0.5 * np.sin(2.0 * t_s), 0.2 * np.sin(2.9 * t_s), 0.25 * np.sin(3.7 * t_s)))
    return Rotation.from_euler("zyx", size * turn + [0.3, 0.2, 1.4])


def _distal(t_s: Floats, size: float) -> Rotation:
    turn = np.column_stack((0.4 * np.sin(2.3 * t_s + 1), 0.7 * np.sin(3.1 * t_s), 0.3 * np.sin(2.6 * t_s + 2)))
    return Rotation.from_euler("zyx", size * turn + [-0.9, 0.1, 1.7])


def _place(of: int, turned, t_s: Floats, size: float) -> Floats:  # type: ignore[no-untyped-def]
    """Of the sensor: the joint centre's place, less the arm."""
    centre = size * np.column_stack((0.10 * np.sin(2.2 * t_s), 0.06 * np.sin(4.1 * t_s), 0.04 * np.sin(4.4 * t_s + 1)))
    out: Floats = centre - turned(t_s, size).apply(ARMS_M[3 * of : 3 * of + 3])
    return out


def followed(link: JointFilters, felt: Felt, begin: int = 0, end: int | None = None) -> list[tuple[int, float]]:
    """Feed a filter with all updates of the samples from begin to end; returns what it doubted."""
    told: list[tuple[int, float]] = []
    S, gyr, acc = (np.stack(both) for both in (felt.frames, felt.gyr, felt.acc))
    earth = np.stack([one.inv().apply([0.0, 0.0, 1.0]) for one in felt.true])
    vertical = (S @ earth[..., None])[..., 0]  # the sensors' own filters have the true tilt
    n = round(UPDATE_S * HZ)
    for at in range(max(begin, 1), (gyr.shape[1] if end is None else end) - n, n):
        here = slice(at - 1, at + n + 1)
        up, up_sd = vertical[:, at + n, None], np.full((2, 1), np.deg2rad(1.0))
        seen = sight(S[:, here], acc[:, here], gyr[:, here], up, up_sd, 1 / HZ)
        told += link.observe(seen[:1, 0], seen[1:, 0], UPDATE_S)
    return told


def error_of(link: JointFilters, felt: Felt, at: int = -1) -> Floats:
    """(3,) rotation vector, in the proximal gyroscope frame, from the true D at a sample to the filter's.

    The true one holds what the gyroscopes have drifted apart until then.
    """
    S = felt.frames
    true = S[0][at] @ (felt.true[0][at].inv() * felt.true[1][at]).as_matrix() @ S[1][at].T
    out: Floats = Rotation.from_matrix(link.D[0] @ true.T).as_rotvec()
    return out


def up(felt: Felt, at: int = 0) -> Floats:
    """The vertical in the proximal gyroscope frame."""
    out: Floats = felt.frames[0][at] @ felt.true[0][at].inv().apply([0.0, 0.0, 1.0])
    return out
