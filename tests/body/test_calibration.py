"""A calibration that cannot lie: right or refused, whatever was first thought and whatever was lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bodies import WORN, command, random_mounting
from fit_windows import acted, errors_deg, rad, stretches, striding
from performances import BEGIN, blocks, fed, stage
from scipy.spatial.transform import Rotation

from imufeedback.body import calibration
from imufeedback.body.calibration import FitImpossible, fit
from imufeedback.body.stretch import WindowSamples
from imufeedback.measure.fitters import performance
from imufeedback.records import FitRefused, Fitted, Level, Notice, Segment
from imufeedback.synth.plan import STANDING
from imufeedback.synth.script import make_script

PELVIS, LEFT, RIGHT = WORN
CHAIR = rad(forward_tilt=-22, trail_flexion=58, lead_flexion=58, trail_knee=80, lead_knee=80)


def off_deg(found, mounting) -> float:
    return max(errors_deg(found, mounting).values())


@pytest.fixture(name="believe_turned")
def turn_the_first_guess(monkeypatch: pytest.MonkeyPatch):
    """Believe at first that some segments face backward."""
    first = calibration._fitted

    def believe(*segments: Segment) -> None:
        turns = dict.fromkeys(WORN, 0.0) | dict.fromkeys(segments, np.pi)
        monkeypatch.setattr(
            calibration, "_fitted", lambda given, taken: calibration._turned_by(first(given, taken), turns)
        )

    return believe


TURNED = [(PELVIS,), (RIGHT,), (LEFT, RIGHT), (PELVIS, RIGHT), (PELVIS, LEFT, RIGHT)]


@pytest.mark.parametrize("turned", TURNED, ids=lambda which: "+".join(which))
def test_whatever_was_believed_first_walking_tells_the_front(believe_turned, turned):
    golfer, still, flex = striding()
    mounting = random_mounting(1)
    believe_turned(*turned)
    assert off_deg(fit(*stretches(golfer, mounting, still, flex)), mounting) < 8.0


@pytest.mark.parametrize("turned", TURNED, ids=lambda which: "+".join(which))
def test_whatever_was_believed_first_the_calibration_movements_tell_the_front(believe_turned, turned):
    script = make_script(reps=0, seed=5)
    mounting = random_mounting(1)
    believe_turned(*turned)
    given = stretches(script.golfer, mounting, script.fit_windows.still, script.fit_windows.flex)
    assert off_deg(fit(*given, bow=True), mounting) < 5.0


@pytest.mark.parametrize("seconds", [0.8, 1.5])
@pytest.mark.parametrize("flex_s", [(4.0, 6.5), (6.0, 9.5), (4.0, 9.5)])
def test_sitting_down_slouched_is_right_or_refused(flex_s, seconds):
    """The pelvis tips backward, not as a bow."""
    golfer, still, _ = acted(*[(seconds, one) for one in (CHAIR, CHAIR, CHAIR, STANDING)])
    mounting = random_mounting(7)
    given = stretches(golfer, mounting, still, flex_s)
    try:
        found = fit(*given)
    except FitImpossible:
        with pytest.raises(FitImpossible, match=r"^(pelvis|left thigh|right thigh|both thighs).* – "):
            fit(*given)
    else:
        assert off_deg(found, mounting) < 25.0 or found.level is Level.POOR


def test_a_joint_that_contradicts_is_a_refusal_and_no_wider_bar():
    """The right thigh's sensor shows the movement of a mirror image: front and back, left and right exchanged."""
    golfer, still, flex = striding()
    rest, moving, whole = stretches(golfer, random_mounting(0), still, flex)

    def mirrored(stretch: WindowSamples) -> WindowSamples:
        """What it feels beside gravity, the other way round."""
        gravity = Rotation.from_quat(stretch.q_es, scalar_first=True).inv().apply([0.0, 0.0, 9.80665])
        return replace(stretch, acc_m_s2=2 * gravity - stretch.acc_m_s2)

    given = rest, moving | {RIGHT: mirrored(moving[RIGHT])}, whole | {RIGHT: mirrored(whole[RIGHT])}
    with pytest.raises(FitImpossible, match=r"^(pelvis|pelvis and right thigh|right thigh): .* – "):
        fit(*given)


def test_a_turn_of_the_body_is_no_flexion():
    """Both thighs tip sideways only."""
    side = rad(trail_adduction=-35, lead_adduction=-35)
    golfer, still, flex = acted(*[(0.7, one) for one in (side, STANDING, side, STANDING)])
    with pytest.raises(FitImpossible, match=r"pelvis|thigh"):
        fit(*stretches(golfer, random_mounting(3), still, flex))


def test_a_movement_beside_what_the_thighs_did_before_is_refused():
    """Squats first; then the legs swing to the side for long, about one axis: that is not straight ahead."""
    squat = rad(trail_flexion=70, lead_flexion=70, trail_knee=90, lead_knee=90)
    side = rad(trail_adduction=-32, lead_adduction=-32)
    order = (squat, STANDING, squat, STANDING, *(side, STANDING) * 4)
    golfer, still, (_, end) = acted(*[(0.8, one) for one in order])
    with pytest.raises(FitImpossible, match=r"^left thigh: it tipped mostly sideways of .* – lift the knee"):
        fit(*stretches(golfer, random_mounting(3), still, (7.2, end)))


def test_both_thighs_that_hardly_moved():
    small = rad(trail_flexion=10, lead_flexion=10)
    golfer, still, flex = acted(*[(0.4, one) for one in (small, STANDING, small, STANDING)])
    with pytest.raises(FitImpossible, match="both thighs: hardly moved – lift the knees higher"):
        fit(*stretches(golfer, random_mounting(3), still, flex))


def test_an_accelerometer_in_another_unit_is_named():
    golfer, still, flex = striding()
    rest, moving, whole = stretches(golfer, random_mounting(0), still, flex)
    in_g = replace(rest[LEFT], acc_m_s2=rest[LEFT].acc_m_s2 / 9.81)
    with pytest.raises(FitImpossible, match=r"left thigh: at rest its accelerometer shows 1 m/s² instead of"):
        fit(rest | {LEFT: in_g}, moving, whole)


# ── samples that are missing in the calibration movements ────────────────────────────────────────────────────────────


def with_gaps(given, seed: int, which: slice):
    """Half a second is lost three times between 4 and 14 s, by some of the sensors."""
    rng = np.random.default_rng(seed)
    begins = rng.uniform(4.0, 14.0, 3)
    out = []
    for block in given:
        lost = np.any([(block.t_s >= begin) & (block.t_s < begin + 0.5) for begin in begins], axis=0)
        ok = block.ok.copy()
        ok[:, which] &= ~lost[:, None]
        out.append(replace(block, ok=ok))
    return out


@pytest.mark.parametrize("which", [slice(None), slice(0, 1), slice(2, 3)], ids=["all", "pelvis", "right thigh"])
@pytest.mark.parametrize("seed", [1, 4])
def test_gaps_in_the_movements_are_right_or_refused(seed, which):
    events = fed(stage(seed), [BEGIN, *with_gaps(blocks(seed), seed, which)])
    true = performance(seed).places
    for fitted in [one for one in events if isinstance(one, Fitted)]:
        for one in fitted.fit.segments:
            found = Rotation.from_quat(one.q_sb, scalar_first=True)
            error = found.inv() * Rotation.from_quat(true[one.segment].q_sb, scalar_first=True)
            assert np.rad2deg(error.magnitude()) < 15.0
    assert any(isinstance(one, Fitted | FitRefused) for one in events)


@pytest.mark.parametrize("which", [slice(None), slice(1, 2)], ids=["all", "left thigh"])
@pytest.mark.parametrize("seed", range(4))
def test_gaps_in_named_windows_are_right_or_refused(seed, which):
    body = stage(seed)
    given = with_gaps(blocks(seed), seed, which)
    windows = performance(seed).script.fit_windows
    fed(body, given)
    args = {"still": list(windows.still), "flex": {str(one): list(windows.flex[one]) for one in WORN}}
    (event, *_) = body.feed(command("fit", given[-1].t_s[-1], **args))
    if isinstance(event, FitRefused):
        assert " – " in event.reason
        return
    true = performance(seed).places
    for one in event.fit.segments:
        found = Rotation.from_quat(one.q_sb, scalar_first=True)
        error = found.inv() * Rotation.from_quat(true[one.segment].q_sb, scalar_first=True)
        assert np.rad2deg(error.magnitude()) < 15.0


# ── a refusal changes nothing ────────────────────────────────────────────────────────────────────────────────────


def test_a_refused_fit_leaves_the_old_one_in_force_and_says_so():
    body = stage(1)
    fed(body, blocks(1))
    windows = performance(1).script.fit_windows
    at = round(blocks(1)[-1].t_s[-1] * 1e9)
    good = {"still": list(windows.still), "flex": {str(one): list(windows.flex[one]) for one in WORN}}
    bad = good | {"flex": list(windows.still)}
    (refused,) = body.feed(command("fit", at * 1e-9, **bad))
    assert isinstance(refused, FitRefused), "there was none before, so nothing more is said"
    (fitted,) = body.feed(command("fit", at * 1e-9, **good))
    assert isinstance(fitted, Fitted)
    before = body.state.fit
    refused, notice = body.feed(command("fit", at * 1e-9, **bad))
    assert isinstance(refused, FitRefused)
    assert isinstance(notice, Notice)
    assert notice.text == "the calibration before stays in use"
    assert body.state.fit.segments[0].q_sb.tolist() == before.segments[0].q_sb.tolist()


def test_standing_may_come_after_the_movement():
    script = make_script(reps=0, seed=5)
    body = stage(5)
    given = blocks(5)
    fed(body, given)
    lifts = performance(5).script.fit_windows
    end = float(given[-1].t_s[-1])
    args = {"still": [end - 1.3, end - 0.1], "flex": {str(one): list(lifts.flex[one]) for one in WORN}}
    (event, *_) = body.feed(command("fit", end, **args))
    assert script.ready_s > 0
    assert isinstance(event, Fitted | FitRefused)
    if isinstance(event, Fitted):
        for one in event.fit.segments:
            true = Rotation.from_quat(performance(5).places[one.segment].q_sb, scalar_first=True)
            error = Rotation.from_quat(one.q_sb, scalar_first=True).inv() * true
            assert np.rad2deg(error.magnitude()) < 15.0


@pytest.mark.parametrize("which", ["still", "flex", "whole"])
def test_an_empty_stretch_of_a_recording_with_gaps_is_a_refusal(which):
    body = stage(1)
    given = with_gaps(blocks(1), 1, slice(None))
    fed(body, given)
    windows = performance(1).script.fit_windows
    still, flex = list(windows.still), [4.0, 14.0]
    nowhere = [300.0, 310.0]
    args = {"still": nowhere if which != "flex" else still, "flex": nowhere if which != "still" else flex}
    (event, *_) = body.feed(command("fit", given[-1].t_s[-1], **args))
    assert isinstance(event, FitRefused)
    assert "no samples" in event.reason
