"""Calibration recovers how every sensor is strapped on, and refuses what it cannot know."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bodies import ALL, WORN, G, random_mounting
from fit_windows import RATE_HZ, acted, by_segment, errors_deg, rad, stretches, striding
from scipy.spatial.transform import Rotation

from imufeedback.body.calibration import FitImpossible, WindowSamples, fit
from imufeedback.records import Hand, Level, Segment
from imufeedback.synth.plan import STANDING
from imufeedback.synth.script import make_script


@pytest.fixture(scope="module")
def script():
    return make_script(reps=0, seed=5)


@pytest.mark.parametrize("seed", range(5))
def test_any_mounting_is_recovered(script, seed):
    mounting = random_mounting(seed)
    windows = script.fit_windows
    found = fit(*stretches(script.golfer, mounting, windows.still, windows.flex, ALL))
    assert found.method == "standing + flexion"
    assert found.level is Level.GOOD
    assert [one.segment for one in found.segments] == list(ALL)
    assert all(one.reason is None for one in found.segments)
    assert max(errors_deg(found, mounting).values()) < 0.1


@pytest.mark.parametrize("axis", ["x", "y", "z"])
@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_sensor_on_its_edge_or_upside_down(script, axis, turn):
    mounting = dict.fromkeys(WORN, Rotation.from_euler(axis, turn, degrees=True))
    windows = script.fit_windows
    found = fit(*stretches(script.golfer, mounting, windows.still, windows.flex))
    assert max(errors_deg(found, mounting).values()) < 0.1


def test_a_left_hander_is_fitted_just_so():
    script = make_script(hand=Hand.LEFT, reps=0, seed=5)
    mounting = random_mounting(1)
    windows = script.fit_windows
    found = fit(*stretches(script.golfer, mounting, windows.still, windows.flex))
    assert max(errors_deg(found, mounting).values()) < 0.1


def test_the_found_rotation_is_no_mirror_image(script):
    windows = script.fit_windows
    found = fit(*stretches(script.golfer, random_mounting(2), windows.still, windows.flex))
    for one in found.segments:
        assert np.linalg.det(Rotation.from_quat(one.q_sb, scalar_first=True).as_matrix()) == pytest.approx(1.0)
        assert np.linalg.norm(one.q_sb) == pytest.approx(1.0)


# ── refused, with the segment and what to do ─────────────────────────────────────────────────────────────────────


def test_moved_while_standing_is_refused(script):
    """The window of a knee lift is given as the still one."""
    windows = script.fit_windows
    lifting = windows.flex[Segment.RIGHT_THIGH]
    with pytest.raises(FitImpossible, match="right thigh: moved while standing – stand still for 3 seconds"):
        fit(*stretches(script.golfer, random_mounting(0), lifting, windows.flex))


def test_hardly_moved_is_refused(script):
    windows = script.fit_windows
    flex = windows.flex | {Segment.LEFT_THIGH: windows.still}
    with pytest.raises(FitImpossible, match="left thigh: hardly moved – lift the knee higher"):
        fit(*stretches(script.golfer, random_mounting(0), windows.still, flex))


@pytest.mark.parametrize("which", ["still", "flex"])
def test_an_empty_window_is_refused(script, which):
    windows = script.fit_windows
    still, flex, whole = stretches(script.golfer, random_mounting(0), windows.still, windows.flex)
    empty = WindowSamples(np.empty((0, 4)), np.empty((0, 3)), np.empty((0, 3)), RATE_HZ)
    (still if which == "still" else flex)[Segment.LEFT_THIGH] = empty
    with pytest.raises(FitImpossible, match="left thigh: no samples"):
        fit(still, flex, whole)


def test_a_pelvis_that_never_tipped_needs_a_thigh(script):
    windows = script.fit_windows
    given = stretches(script.golfer, random_mounting(0), windows.still, windows.still, (Segment.PELVIS,))
    with pytest.raises(FitImpossible, match="bow twice"):
        fit(*given)


# ── other movements ──────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("seed", range(3))
def test_without_a_bow_the_pelvis_takes_its_direction_from_the_legs(seed):
    golfer, still, flex = striding()
    mounting = random_mounting(seed)
    found = fit(*stretches(golfer, mounting, still, flex))
    assert found.method == "standing + flexion; pelvis from the legs"
    assert by_segment(found)[Segment.PELVIS].level is Level.GOOD
    errors = errors_deg(found, mounting)
    assert errors[Segment.PELVIS] < 3.0
    assert max(errors[Segment.LEFT_THIGH], errors[Segment.RIGHT_THIGH]) < 0.5


def test_a_pelvis_without_a_shared_acceleration_is_refused():
    """Noise on the accelerometers drowns what pelvis and thighs share, and it made no bow: nothing tells its front."""
    golfer, still, flex = striding()
    rest, moving, whole = stretches(golfer, random_mounting(0), still, flex)
    rng = np.random.default_rng(4)

    def noisy(s: WindowSamples) -> WindowSamples:
        return replace(s, acc_m_s2=s.acc_m_s2 + rng.normal(0, 30.0, s.acc_m_s2.shape))

    with pytest.raises(FitImpossible, match="pelvis: its front and back look alike – bow twice"):
        fit(rest, {one: noisy(s) for one, s in moving.items()}, {one: noisy(s) for one, s in whole.items()})


def lifts(sideways_deg: float):
    """The right knee up and down twice, the second time to the side; then the left one straight, then two bows."""
    up, side = rad(trail_flexion=60, trail_knee=90), rad(trail_flexion=20, trail_adduction=-sideways_deg)
    left, bow = rad(lead_flexion=60, lead_knee=90), rad(forward_tilt=40, trail_flexion=40, lead_flexion=40)
    return acted(*[(0.7, one) for one in (up, STANDING, side, STANDING, left, STANDING, left, STANDING, bow, STANDING)])


def test_a_sideways_movement_is_not_called_good():
    golfer, still, _ = lifts(25)
    flex = {Segment.RIGHT_THIGH: (4.0, 6.8), Segment.LEFT_THIGH: (6.8, 9.6), Segment.PELVIS: (9.6, 11.0)}
    mounting = random_mounting(6)
    found = fit(*stretches(golfer, mounting, still, flex))
    right, left = by_segment(found)[Segment.RIGHT_THIGH], by_segment(found)[Segment.LEFT_THIGH]
    assert right.level is not Level.GOOD
    assert right.reason == "right thigh: the movement was partly sideways – lift the knee straight up"
    assert left.level is Level.GOOD
    assert left.reason is None
    assert right.sd_rad > left.sd_rad
    assert found.level is right.level
    assert right.sd_axes_rad is not None
    assert errors_deg(found, mounting)[Segment.RIGHT_THIGH] < 3 * np.rad2deg(right.sd_axes_rad[1])  # facing


def test_the_more_sideways_the_worse():
    order = (Level.GOOD, Level.FAIR, Level.POOR)
    levels = []
    for sideways in (0, 20, 35, 60):
        golfer, still, _ = lifts(sideways)
        flex = {Segment.RIGHT_THIGH: (4.0, 6.8), Segment.LEFT_THIGH: (6.8, 9.6), Segment.PELVIS: (9.6, 11.0)}
        found = fit(*stretches(golfer, random_mounting(6), still, flex))
        levels.append(order.index(by_segment(found)[Segment.RIGHT_THIGH].level))
    assert levels == sorted(levels)
    assert levels[0] == 0
    assert levels[-1] == 2


def test_sensor_noise_costs_less_than_the_error_bar_says(script):
    """White noise of consumer parts: 0.015 °/s/√Hz and 230 µg/√Hz, worst of the usual, over 50 Hz of bandwidth."""
    mounting = random_mounting(3)
    windows = script.fit_windows
    rng = np.random.default_rng(1)

    def noisy(s: WindowSamples) -> WindowSamples:
        gyr = s.gyr_rad_s + rng.normal(0, np.deg2rad(0.015) * 50**0.5, s.gyr_rad_s.shape)
        acc = s.acc_m_s2 + rng.normal(0, 230e-6 * G * 50**0.5, s.acc_m_s2.shape)
        return replace(s, gyr_rad_s=gyr, acc_m_s2=acc)

    parts = stretches(script.golfer, mounting, windows.still, windows.flex, ALL)
    found = fit(*({one: noisy(s) for one, s in part.items()} for part in parts))
    for one in found.segments:
        assert np.deg2rad(errors_deg(found, mounting)[one.segment]) < one.sd_rad
