"""Axes of the calibration against the alignment functions of qmt (Laidig et al.), on the same samples."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.body.calibration import fit
from imufeedback.body.stretch import WindowSamples
from imufeedback.measure.fitters import strapped
from imufeedback.records import Segment
from imufeedback.synth.performance import make_performance
from imufeedback.synth.sensors import measure, true_q_es

qmt = pytest.importorskip("qmt")
HZ = 100.0
LEG = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH, Segment.RIGHT_SHANK)


@pytest.fixture(name="seen", scope="module", params=[3, 8])
def perform(request):
    """Stretches of perfect sensors strapped on anyhow: standing, and all movements."""
    script = make_performance(request.param)
    places = strapped(request.param, LEG)
    flex = script.fit_windows.flex

    def stretch(one, window):
        pose = script.golfer.pose(np.arange(*window, 1 / HZ), (one,))
        q_es = true_q_es(pose, places[one])
        return WindowSamples(q_es, *measure(pose, places[one]), HZ, window[0] + np.arange(len(q_es)) / HZ)

    still = {one: stretch(one, script.fit_windows.still) for one in LEG}
    moved = {one: stretch(one, flex[one]) for one in LEG}
    span = script.fit_windows.still[1] - 0.4, max(end for _, end in flex.values()) + 0.3
    whole = {one: stretch(one, span) for one in LEG}
    return still, moved, {one.segment: one for one in fit(still, moved, whole, bow=True).segments}


def degrees_between(a, b):
    return np.rad2deg(np.arccos(np.clip(abs(a @ b) / np.linalg.norm(a) / np.linalg.norm(b), 0, 1)))


def test_the_knee_is_the_hinge_that_qmt_finds(seen):
    """Thigh and shank hang on one hinge: its axis, found by Olsson et al. (Sensors 2020;20:3534) from both sensors, is
    z of both segments. Ours is the axis of the movement, so the knee may turn in and out as people's do: 6°."""
    _, moved, found = seen
    thigh, shank = moved[Segment.RIGHT_THIGH], moved[Segment.RIGHT_SHANK]
    turning = np.linalg.norm(thigh.gyr_rad_s, axis=1) > 0.5  # the method divides by rates
    settings = {"useSampleSelection": False}
    samples = thigh.acc_m_s2, shank.acc_m_s2, thigh.gyr_rad_s, shank.gyr_rad_s
    axes = qmt.jointAxisEstHingeOlsson(*(one[turning] for one in samples), settings)
    for segment, axis in zip((Segment.RIGHT_THIGH, Segment.RIGHT_SHANK), axes, strict=True):
        ours = Rotation.from_quat(found[segment].q_sb, scalar_first=True).as_matrix()[:, 2]
        assert degrees_between(ours, np.asarray(axis).ravel()) < 6.0


def test_qmt_aligns_to_the_same_rotation(seen):
    """Up exact and z as near as can be: qmt's reset alignment, given the same two axes, gives the same rotation."""
    still, _, found = seen
    for segment in LEG:
        z = Rotation.from_quat(found[segment].q_sb, scalar_first=True).as_matrix()[:, 2]
        q = np.array(still[segment].q_es)[None]
        reset = np.zeros(q.shape[1], dtype=bool)
        reset[0] = True
        aligned = qmt.resetAlignment(q, reset, x=[0, 0, 0], y=[0, 0, 1], yCs=-1, z=z, zCs=0, exactAxis="y")
        ours = Rotation.from_quat(q[0, 0], scalar_first=True) * Rotation.from_quat(
            found[segment].q_sb, scalar_first=True
        )
        theirs = Rotation.from_quat(np.asarray(aligned).reshape(-1, 4)[0], scalar_first=True)
        up = [one.as_matrix()[2, 1] for one in (ours, theirs)]
        assert up[1] == pytest.approx(1.0, abs=1e-9)
        assert np.rad2deg((ours.inv() * theirs).magnitude()) < 1.5  # sway between one instant and the mean
