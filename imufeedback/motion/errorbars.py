"""Standard deviations of features. Degrees.

An angle's own standard deviation comes with it; in a change within one rep calibration and zero-g errors stay the same,
but the turn leaks into it through misaligned and cross-sensitive axes. The numbers were found on synthetic players with
typical sensors and soft tissue (`validate --set swings` checks that they still hold).
"""

from __future__ import annotations

import math

GROWTH_DEG, WOBBLE_DEG = 0.6, 1.5
KNEES_APART_DEG = 1.5
KNEE_SLOPE = 0.01
"""Degrees of knee flexion for a degree of turn."""
KNEE_BENDS_DEG = 0.6
TILT_SHARE = 0.45
CHANGE_DEG, CHANGE_PER_TURN, CHANGE_TURN_DEG = 0.5, 0.033, 90.0
ROTATION_DEG, ROTATION_SHARE = 2.0, 0.17
"""Skin and strap follow a hip's rotation only in part (Fiorentino et al., Gait Posture 2017, for skin markers); the
synthetic players' straps follow by 0.85, so a measured rotation is short by 0.17 of itself."""

SKIN_SHARE = ROTATION_SHARE / (1 - ROTATION_SHARE)
"""So much of a measured rotation may be missing from it."""


def at_once(sd_deg: float) -> float:
    """Of an absolute angle, from the angle's own."""
    return sd_deg


def tilt(sd_deg: float) -> float:
    """Of the side tilt half way down: near address most of its error is still that of address, which is small."""
    return TILT_SHARE * sd_deg


def change(turned_deg: float) -> float:
    """Of a change of thigh angle over so much turn."""
    return math.hypot(CHANGE_DEG, CHANGE_PER_TURN * min(abs(turned_deg), CHANGE_TURN_DEG))


def rotation(change_deg: float) -> float:
    """Of a measured change of hip rotation."""
    return math.hypot(ROTATION_DEG, ROTATION_SHARE * change_deg)


def hip_range(skin_deg: float) -> float:
    """Of a hip's range, so much of which is taken to be what the strap hides: it may be the leg's own turn."""
    return math.hypot(ROTATION_DEG, skin_deg / 2)


def wobble(rotation_deg: float) -> float:
    """Of the standing thigh's own turn: a strap that follows a hip's rotation only in part looks like a thigh that
    turns."""
    return math.hypot(WOBBLE_DEG, ROTATION_SHARE * rotation_deg / 2)
