"""What the joint between two sensors shows: in one go, over gaps, and when it shows nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bodies import random_mounting
from fit_windows import acted, rad, stretches, striding
from scipy.spatial.transform import Rotation

from imufeedback.body.facing import ANGLES
from imufeedback.body.joint_problem import Shared
from imufeedback.body.joints import JOINTS
from imufeedback.body.relevel import relevelled
from imufeedback.body.shared_joint import JointSide, shared_joint
from imufeedback.body.stretch import WindowSamples
from imufeedback.records import Segment
from imufeedback.synth.plan import STANDING

PELVIS, THIGH = Segment.PELVIS, Segment.RIGHT_THIGH
HIP = next(one for one in JOINTS if one.name == "hip" and one.distal is THIGH)


def sides(postures=None, *, turned_deg: float = 0.0, change=lambda stretch: stretch) -> tuple[JointSide, JointSide]:
    """Pelvis and right thigh of a player who walks; the thigh's frame is turned to the left."""
    golfer, still, flex = postures or striding()
    mounting = random_mounting(2)
    rest, _, whole = stretches(golfer, mounting, still, flex)
    out = []
    for one, turn, arm in zip((PELVIS, THIGH), (0.0, turned_deg), HIP.arms_m, strict=True):
        R = (mounting[one] * Rotation.from_euler("y", turn, degrees=True)).as_matrix()
        out.append(JointSide(rest[one], change(whole[one]), R, np.array(arm)))
    return out[0], out[1]


def seen(*args, **kwargs) -> Shared:
    found = shared_joint(*sides(*args, **kwargs))
    assert found is not None
    return found


def best_deg(found: Shared) -> float:
    """The difference of facing, thigh minus pelvis, that the energy likes best."""
    p, d = np.unravel_index(int(np.argmin(found.energy)), found.energy.shape)
    return float(np.degrees(np.angle(np.exp(1j * (ANGLES[d] - ANGLES[p])))))


def off_deg(a: float, b: float) -> float:
    return abs((a - b + 180.0) % 360.0 - 180.0)


def without(stretch: WindowSamples, gaps: list[tuple[float, float]]) -> WindowSamples:
    lost = np.any([(stretch.t_s >= begin) & (stretch.t_s < end) for begin, end in gaps], axis=0)
    return stretch.rows(~lost)


GAPS = [(4.5, 5.5), (7.6, 8.4)]


@pytest.mark.parametrize("turned_deg", [0.0, 40.0, -100.0, 180.0])
def test_a_turned_thigh_is_seen(turned_deg):
    found = seen(turned_deg=turned_deg)
    assert off_deg(np.degrees(found.turn_rad), turned_deg) < 6.0
    assert off_deg(best_deg(found), -turned_deg) < 6.0, "it is to be turned back"
    assert found.unbroken > 25.0


@pytest.mark.parametrize("heading_deg", [0.0, 80.0, 170.0])
@pytest.mark.parametrize("turned_deg", [0.0, 180.0])
def test_after_a_gap_no_heading_is_trusted(turned_deg, heading_deg):
    """The thigh's filter goes on after each gap with a wrong heading."""

    def broken(stretch: WindowSamples) -> WindowSamples:
        lost = Rotation.from_euler("z", heading_deg, degrees=True)
        turned = (lost * Rotation.from_quat(stretch.q_es, scalar_first=True)).as_quat(scalar_first=True)
        after = stretch.t_s > GAPS[0][0]
        return without(replace(stretch, q_es=np.where(after[:, None], turned, stretch.q_es)), GAPS)

    pelvis, thigh = sides(turned_deg=turned_deg)
    found = shared_joint(replace(pelvis, whole=without(pelvis.whole, GAPS)), replace(thigh, whole=broken(thigh.whole)))
    assert found is not None
    assert off_deg(best_deg(found), -turned_deg) < 20.0


def test_a_wrong_tilt_after_a_gap_is_found_anew():
    """20° of tilt that the filter carried over the gap is gone; what touches standing stays as it was."""
    (_, thigh) = sides()
    wrong = Rotation.from_euler("x", 20, degrees=True)
    q_es = (wrong * Rotation.from_quat(thigh.whole.q_es, scalar_first=True)).as_quat(scalar_first=True)
    after = thigh.whole.t_s > GAPS[0][0]
    given = replace(thigh.whole, q_es=np.where(after[:, None], q_es, thigh.whole.q_es))
    found = relevelled(without(given, GAPS), thigh.still)
    true = without(thigh.whole, GAPS)
    up = [Rotation.from_quat(one.q_es, scalar_first=True).as_matrix()[:, 2] for one in (found, true)]
    away = np.degrees(np.arccos(np.clip((up[0] * up[1]).sum(axis=1), -1, 1)))
    assert away[found.t_s < GAPS[0][0]].max() == pytest.approx(0.0, abs=1e-4)
    assert np.median(away[found.t_s > GAPS[0][1]]) < 4.0


def test_noise_tells_nothing():
    """Even though some heading always fits noise best."""
    for seed in range(3):
        rng = np.random.default_rng(seed)

        def noisy(stretch: WindowSamples, rng=rng) -> WindowSamples:
            return replace(stretch, acc_m_s2=stretch.acc_m_s2 + rng.normal(0, 10.0, stretch.acc_m_s2.shape))

        assert np.ptp(seen(change=noisy).energy) < 4.0


def test_what_one_sensor_lost_is_missing_in_both():
    pelvis, thigh = sides()
    found = shared_joint(pelvis, replace(thigh, whole=without(thigh.whole, GAPS)))
    assert found is not None
    assert off_deg(best_deg(found), 0.0) < 20.0
    assert shared_joint(pelvis, replace(thigh, whole=without(thigh.whole, [(0.0, 99.0)]))) is None


def test_a_stretch_that_ends_in_motion_shows_no_offset():
    """Its drift could go nowhere else."""
    lift = rad(trail_flexion=60, trail_knee=90)
    golfer, still, _ = acted(*[(0.7, one) for one in (lift, STANDING, lift, STANDING)])

    def drifting(stretch: WindowSamples) -> WindowSamples:
        return replace(stretch, gyr_rad_s=stretch.gyr_rad_s + np.deg2rad([0.3, -0.2, 0.4]))

    found = seen((golfer, still, (4.0, 6.2)), change=drifting)
    assert not any(offset.any() for offset in found.offset)


def test_a_person_who_turns_round_after_a_gap():
    """A full turn about the vertical, of both: their right sides have no mean direction."""

    def turning(stretch: WindowSamples) -> WindowSamples:
        after = stretch.t_s > GAPS[0][0]
        angle = np.where(after, 2 * np.pi * (stretch.t_s - GAPS[0][0]) / (stretch.t_s[-1] - GAPS[0][0]), 0.0)
        about = Rotation.from_rotvec(angle[:, None] * [0.0, 0.0, 1.0])
        q_es = (about * Rotation.from_quat(stretch.q_es, scalar_first=True)).as_quat(scalar_first=True)
        return without(replace(stretch, q_es=q_es), GAPS[:1])

    assert off_deg(best_deg(seen(turned_deg=180.0, change=turning)), 180.0) < 20.0
