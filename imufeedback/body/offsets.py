"""Accelerometers' zero-g offsets: taken off only when gravity is as long as it should be in several poses by it.

The length of gravity is a witness of its own: no axis, no gyroscope and no joint takes part. A pose is a quiet moment,
or what a movement from rest to rest comes to: over it the mean of all force is gravity, since no velocity is left.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imufeedback.body.joint_problem import Shared
from imufeedback.body.matrices import from_q
from imufeedback.body.stretch import WindowSamples
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Bools, Floats, Segment

Offsets = dict[Segment, tuple[Floats, Floats]]
"""(3,) m/s² and (3, 3), sensor axes."""
QUIET_S, QUIET_RATE_RAD_S, QUIET_ACC_M_S2 = 0.24, 0.25, 0.25
"""A quiet moment: so long, turning and shaking by less. Chosen."""
MOVEMENT_S = 4.0
"""A longer movement from rest to rest leaves too much of the filter's drift in the mean. Chosen."""
POSE_RAD = float(np.deg2rad(15.0))
"""Two poses are the same when gravity is by less apart in the sensor: an offset shows by the sine of it. Chosen."""
ALIKE = math.cos(POSE_RAD)
SEVERAL = 2
SAME_LENGTH_M_S2 = 0.02
"""No sensor's length may get worse by more (2 mg: of the mean of a quiet moment). Chosen."""


@dataclass(frozen=True, slots=True)
class _Pose:
    """A mean of the force in earth axes is ``force - turn @ offset``."""

    force: Floats
    turn: Floats
    """(3, 3) mean of sensor → earth."""

    @property
    def up(self) -> Floats:
        """(3,) in the sensor."""
        out: Floats = self.turn[2] / math.sqrt(self.turn[2] @ self.turn[2])
        return out


def offsets(R: Mapping[Segment, Floats], shared: Mapping[Segment, Shared]) -> Offsets:
    """What both hips say, in sensor axes; the pelvis' is the mean of what both thighs say."""
    seen = {thigh: (one.offset[1], one.covariance[1]) for thigh, one in shared.items()}
    seen[Segment.PELVIS] = (
        np.mean([one.offset[0] for one in shared.values()], axis=0),
        np.mean([one.covariance[0] for one in shared.values()], axis=0),
    )
    return {one: (R[one] @ offset, R[one] @ covariance @ R[one].T) for one, (offset, covariance) in seen.items()}


def believed(found: Offsets, whole: Mapping[Segment, WindowSamples]) -> Offsets:
    """All of them or none, for they come from one set of equations: gravity gets nearer to its length over several
    poses of all sensors, and for none of them worse."""
    if not any(offset.any() for offset, _ in found.values()):
        return {}
    before, after = [], []
    for one, (offset, _) in found.items():
        seen = _poses(whole[one])
        if len(seen) < SEVERAL:
            return {}
        without, with_it = _errors(seen, np.zeros(3)), _errors(seen, offset)
        if _rms(with_it) > _rms(without) + SAME_LENGTH_M_S2:
            return {}
        before.append(without)
        after.append(with_it)
    better = _rms(np.concatenate(after)) < _rms(np.concatenate(before))
    return dict(found) if better else {}


def _errors(poses: list[_Pose], offset: Floats) -> Floats:
    """(P,) m/s² by which gravity is too long."""
    return np.array([np.linalg.norm(one.force - one.turn @ offset) for one in poses]) - STANDARD_GRAVITY_M_S2


def _rms(errors: Floats) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def _poses(stretch: WindowSamples) -> list[_Pose]:
    """Means over all moments of the same pose."""
    groups: list[tuple[Floats, list[_Pose]]] = []
    for one in _moments(stretch):
        up = one.up
        for first, group in groups:
            if first @ up > ALIKE:
                group.append(one)
                break
        else:
            groups.append((up, [one]))
    return [
        _Pose(np.mean([one.force for one in group], axis=0), np.mean([one.turn for one in group], axis=0))
        for _, group in groups
    ]


def _moments(stretch: WindowSamples) -> list[_Pose]:
    """Quiet moments, and movements between two of them."""
    size = max(round(QUIET_S * stretch.rate_hz), 1)
    R = from_q(stretch.q_es)
    force = (R @ stretch.acc_m_s2[..., None])[..., 0]
    out: list[_Pose] = []
    for piece in stretch.pieces:
        last = None
        for begin in (piece.start + size * np.flatnonzero(_quiet(stretch, piece, size))).tolist():
            # from the middle of one moment to the middle of the next
            between = slice(begin if last is None else last + size // 2, begin + size // 2)
            moved = last is not None and size < begin - last <= MOVEMENT_S * stretch.rate_hz
            parts = [between] * moved + [slice(begin, begin + size)]
            out += [_Pose(force[part].mean(axis=0), R[part].mean(axis=0)) for part in parts]
            last = begin
    return out


def _quiet(stretch: WindowSamples, piece: slice, size: int) -> Bools:
    """Which moments of so many samples, one after the other in a piece, are quiet."""
    count = (piece.stop - piece.start) // size
    part = slice(piece.start, piece.start + count * size)
    gyr, acc = (one[part].reshape(count, size, 3) for one in (stretch.gyr_rad_s, stretch.acc_m_s2))
    turning = np.sqrt((gyr**2).sum(axis=2).mean(axis=1))
    out: Bools = (turning < QUIET_RATE_RAD_S) & (acc.std(axis=1).max(axis=1) < QUIET_ACC_M_S2)
    return out
