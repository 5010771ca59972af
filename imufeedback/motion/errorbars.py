"""Standard deviations of features. Degrees.

An angle's own standard deviation comes with it; in a change within one rep calibration and zero-g errors stay the same,
but the turn leaks into it through misaligned and cross-sensitive axes. The numbers were found on synthetic players with
typical sensors and soft tissue (`validate --set swings` checks that they still hold).
"""

from __future__ import annotations

import math

import numpy as np

from imufeedback.records import Floats

GROWTH_DEG, WOBBLE_DEG = 0.6, 1.5
KNEES_APART_DEG = 1.5
KNEE_SLOPE = 0.01
"""Degrees of knee flexion for a degree of turn."""
KNEE_BENDS_DEG = 0.6
TILT_SHARE, TILT_PER_TURN = 0.4, 0.022
"""Degrees for a degree of turn from address: 80 drawn players with typical sensors are 0.4 degrees off where the turn
is about that of address, 1.1 at the top and at impact, 1.9 at the finish."""
TURN_DEG, TURN_PER_TURN = 0.3, 0.02
"""Of the turn from address: the same players are 0.5 degrees off at the top, 1.1 at impact, 1.7 at the finish."""
CHANGE_DEG, CHANGE_PER_TURN, CHANGE_TURN_DEG = 0.5, 0.033, 90.0
ROTATION_DEG, ROTATION_SHARE = 2.0, 0.17
"""Skin and strap follow a hip's rotation only in part (Fiorentino et al., Gait Posture 2017, for skin markers); the
synthetic players' straps follow by 0.85, so a measured rotation is short by 0.17 of itself."""
SHAKEN_DEG_S2 = 0.03
"""For the square of the turn's greatest rate, (rad/s)²: tissue that a quick turn sets swinging is elsewhere at impact.
Synthetic players read 9 degrees less at twice the full pace, 2 at a quarter more."""

SKIN_SHARE = ROTATION_SHARE / (1 - ROTATION_SHARE)
"""So much of a measured rotation may be missing from it."""


def at_once(sd_deg: float) -> float:
    """Of an absolute angle, from the angle's own."""
    return sd_deg


def tilt(sd_rad: Floats, turn_rad: Floats) -> Floats:
    """(N,) of the side tilt, rad: near the turn of address most of its error is still that of address, which is small;
    the turn away from there leaks into it."""
    out: Floats = np.hypot(TILT_SHARE * sd_rad, TILT_PER_TURN * turn_rad)
    return out


def turn(turn_deg: float) -> float:
    """Of the pelvis' turn from address."""
    return math.hypot(TURN_DEG, TURN_PER_TURN * turn_deg)


def change(turned_deg: float) -> float:
    """Of a change of thigh angle over so much turn."""
    return math.hypot(CHANGE_DEG, CHANGE_PER_TURN * min(abs(turned_deg), CHANGE_TURN_DEG))


def rotation(change_deg: float, turn_rate_deg_s: float = 0.0) -> float:
    """Of a measured change of hip rotation while the pelvis turns at no more than this rate; at rest where none is
    given."""
    shaken = SHAKEN_DEG_S2 * math.radians(turn_rate_deg_s) ** 2
    return math.hypot(ROTATION_DEG, ROTATION_SHARE * change_deg, shaken)


def hip_range(skin_deg: float) -> float:
    """Of a hip's range, so much of which is taken to be what the strap hides: it may be the leg's own turn."""
    return math.hypot(ROTATION_DEG, skin_deg / 2)


def wobble(rotation_deg: float) -> float:
    """Of the standing thigh's own turn: a strap that follows a hip's rotation only in part looks like a thigh that
    turns."""
    return math.hypot(WOBBLE_DEG, ROTATION_SHARE * rotation_deg / 2)
