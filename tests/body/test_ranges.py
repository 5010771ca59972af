"""What no joint does tells front from back, over all that was recorded."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.body.facing import ANGLES, STEPS
from imufeedback.body.joints import JOINTS
from imufeedback.body.ranges import range_pair, since_worn
from imufeedback.body.stretch import WindowSamples
from imufeedback.records import Segment

HZ = 100.0
FRONT, BACK = int(np.argmin(np.abs(ANGLES))), 0
PELVIS, THIGH, SHANK = Segment.PELVIS, Segment.RIGHT_THIGH, Segment.RIGHT_SHANK
HIP = next(one for one in JOINTS if one.name == "hip" and one.distal is THIGH)
KNEE = next(one for one in JOINTS if one.name == "knee" and one.distal is SHANK)
Y_UP = Rotation.from_euler("x", 90, degrees=True)


def tipped(deg: float, seconds: float) -> np.ndarray:
    """(N, 4) of a sensor that sits on its segment unturned, tipped about z (a thigh forward: positive)."""
    one = Y_UP * Rotation.from_euler("z", deg, degrees=True)
    return np.tile(one.as_quat(scalar_first=True), (round(seconds * HZ), 1))


def stretch(q_es: np.ndarray) -> WindowSamples:
    return WindowSamples(q_es, np.zeros((len(q_es), 3)), np.zeros((len(q_es), 3)), HZ)


def energy(joint, proximal_deg: float, distal_deg: float, seconds: float = 2.0, earlier=None) -> np.ndarray:
    whole = {
        joint.proximal: stretch(np.concatenate((tipped(0, 1), tipped(proximal_deg, seconds)))),
        joint.distal: stretch(np.concatenate((tipped(0, 1), tipped(distal_deg, seconds)))),
    }
    nothing = dict.fromkeys(whole, np.empty((0, 4)))
    return range_pair(joint, dict.fromkeys(whole, np.eye(3)), whole, earlier or nothing)


@pytest.mark.parametrize("pelvis_deg", [22.0, 0.0, -20.0])
def test_a_sitting_hip_is_flexed(pelvis_deg):
    """Thighs 80° from standing, whatever the pelvis does."""
    found = energy(HIP, pelvis_deg, 80.0)
    assert found[FRONT, FRONT] == 0.0
    assert found[FRONT, BACK] == pytest.approx(25.0)
    assert found[BACK, BACK] > 9.0


def test_a_hip_that_is_extended_by_40_degrees_is_none():
    assert energy(HIP, 0.0, -20.0)[FRONT, FRONT] == 0.0
    assert energy(HIP, 0.0, -40.0)[FRONT, FRONT] > 2.0
    assert energy(HIP, 0.0, -50.0)[FRONT, FRONT] > 9.0


def test_a_knee_bends_backward():
    found = energy(KNEE, 30.0, -30.0)
    assert found[FRONT, FRONT] == 0.0
    assert found[BACK, BACK] > 9.0, "both turned round: a knee bent forward by 60°"
    assert found.shape == (STEPS, STEPS)


def test_a_shock_does_not_count():
    assert energy(HIP, 0.0, -70.0, seconds=0.1)[FRONT, FRONT] == 0.0


def test_what_was_before_counts_too():
    sat = {PELVIS: tipped(0, 0.1), THIGH: tipped(80, 0.1)}
    assert energy(HIP, 0.0, 0.0)[FRONT, BACK] == 0.0
    assert energy(HIP, 0.0, 0.0, earlier=sat)[FRONT, BACK] == pytest.approx(25.0)


def test_what_was_in_the_hand_does_not():
    still = {PELVIS: stretch(tipped(0, 1)), THIGH: stretch(tipped(0, 1))}
    postures = {
        PELVIS: np.concatenate((tipped(0, 0.1), tipped(110, 0.05), tipped(10, 0.1))),
        THIGH: np.concatenate((tipped(0, 0.1), tipped(0, 0.05), tipped(80, 0.1))),
    }
    worn = since_worn(postures, still)
    assert [len(worn[one]) for one in (PELVIS, THIGH)] == [10, 10]
    np.testing.assert_array_equal(worn[THIGH], tipped(80, 0.1))
