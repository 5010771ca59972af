"""An accelerometer's offset is taken off when the length of gravity bears it out in several poses, and not else."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.body.offsets import believed
from imufeedback.body.stretch import WindowSamples
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Segment

HZ = 100.0
TRUE = np.array([0.3, -0.2, 0.1])
THIGH, PELVIS = Segment.RIGHT_THIGH, Segment.PELVIS


def posed(poses_deg: Sequence[float], offset: np.ndarray) -> WindowSamples:
    """Quiet for 2 s in each pose, turned about an axis that is level, and half a second from one to the next."""
    angles = np.concatenate(
        [np.r_[np.full(200, a), np.linspace(a, b, 50)] for a, b in zip(poses_deg, [*poses_deg[1:], 0.0], strict=True)]
    )
    turns = Rotation.from_euler("x", angles[:, None], degrees=True)
    force = turns.inv().apply([0.0, 0.0, STANDARD_GRAVITY_M_S2]) + offset
    gyr = np.gradient(np.deg2rad(angles))[:, None] * [HZ, 0.0, 0.0]
    return WindowSamples(turns.as_quat(scalar_first=True), gyr, force, HZ)


def taken(found: np.ndarray, poses_deg: Sequence[float] = (0.0, 60.0), offset: np.ndarray = TRUE) -> bool:
    return bool(believed({THIGH: (found, np.eye(3))}, {THIGH: posed(poses_deg, offset)}))


def test_a_true_offset_is_taken():
    assert taken(TRUE)
    assert taken(0.8 * TRUE)


def test_one_pose_is_not_enough():
    """It would only need an offset along gravity."""
    assert not taken(TRUE, [0.0])
    assert not taken(TRUE, [0.0, 5.0])


@pytest.mark.parametrize("invented", [-TRUE, np.array([0.0, 0.6, 0.0]), np.array([0.1, 0.1, -0.5])])
def test_an_invented_offset_is_refused(invented):
    assert not taken(invented)
    assert not taken(invented, offset=np.zeros(3))


def test_what_one_sensor_contradicts_is_taken_from_none():
    """They come from one set of equations."""
    found = {THIGH: (TRUE, np.eye(3)), PELVIS: (np.array([0.0, 0.0, 0.5]), np.eye(3))}
    whole = {THIGH: posed([0, 60], TRUE), PELVIS: posed([0, 40], np.zeros(3))}
    assert believed(found, whole) == {}
    assert believed(found | {PELVIS: (np.zeros(3), np.eye(3))}, whole)


def test_a_movement_from_rest_to_rest_is_a_pose_too():
    """A knee lift has no quiet moment at its top; but over the whole of it the mean of all force is gravity."""
    t_s = np.arange(0, 1.5, 1 / HZ)
    lift = 35.0 * (1 - np.cos(2 * np.pi * t_s / 1.5))
    angles = np.r_[np.zeros(150), lift, np.zeros(150)]
    turns = Rotation.from_euler("x", angles[:, None], degrees=True)
    place = 0.4 * turns.apply([0.0, 0.0, 1.0])  # on a lever arm, so that it is accelerated
    pull = np.gradient(np.gradient(place, 1 / HZ, axis=0), 1 / HZ, axis=0)
    force = turns.inv().apply(pull + STANDARD_GRAVITY_M_S2 * np.eye(3)[2]) + TRUE
    gyr = np.gradient(np.deg2rad(angles))[:, None] * [HZ, 0.0, 0.0]
    whole = {THIGH: WindowSamples(turns.as_quat(scalar_first=True), gyr, force, HZ)}
    assert believed({THIGH: (TRUE, np.eye(3))}, whole)
    assert not believed({THIGH: (-TRUE, np.eye(3))}, whole)
