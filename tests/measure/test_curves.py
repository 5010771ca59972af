"""A planted jump, a stretch without any motion, and a mirror are found; a golfer who is alive has none of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from imufeedback.measure.curves import odd
from imufeedback.synth.golfer import Golfer
from imufeedback.synth.plan import STANDING, Channel, MotionPlan, Piece, hold
from imufeedback.synth.player import Pace
from imufeedback.synth.profile import Profile, Spline, Sum
from imufeedback.synth.script import Script, make_script


@pytest.fixture(scope="module")
def script() -> Script:
    return make_script(pace=Pace.FULL, reps=1, seed=2, alive=True)


def changed(script: Script, **profiles: Profile) -> Script:
    """With other profiles on the way down."""
    (top_s,) = (rep.top_s for rep in script.truth.reps)
    pieces = [
        Piece(one.start_s, one.end_s, {**one.profiles, **{Channel(name): made for name, made in profiles.items()}})
        if one.start_s == top_s
        else one
        for one in script.golfer.plan.pieces
    ]
    return replace(script, golfer=Golfer(script.golfer.player, MotionPlan(pieces)))


def way_down(script: Script) -> Piece:
    (rep,) = script.truth.reps
    return next(one for one in script.golfer.plan.pieces if one.start_s == rep.top_s)


@pytest.mark.parametrize("seed", [2, 5])
def test_a_golfer_who_is_alive_does_nothing_odd(seed: int) -> None:
    seen = odd(make_script(pace=Pace.SLOW, reps=1, seed=seed, alive=True))
    assert (seen.jumps, seen.constant, seen.mirrors) == ([], [], [])


def test_a_jump_of_the_third_derivative_is_found_where_it_is(script: Script) -> None:
    down = way_down(script)
    at = down.start_s + 0.3
    x = np.array([down.start_s, at, down.end_s])
    # a cubic from the knot on: value, rate and acceleration go on
    smooth = down.profiles[Channel.TRAIL_FLEXION]
    cubic = Spline.at_knots(x, *(np.array([0.0, 0.0, c]) for c in _cubic(3e3, down.end_s - at)))
    seen = odd(changed(script, trail_flexion=Sum(smooth, cubic)))
    assert {channel for _, channel in seen.jumps} == {Channel.TRAIL_FLEXION}
    assert any(abs(found_s - at) < 1e-4 for found_s, _ in seen.jumps)


def _cubic(jerk: float, h: float) -> tuple[float, float, float]:
    return jerk * h**3 / 6, jerk * h**2 / 2, jerk * h


def test_a_constant_angle_in_a_swing_is_found(script: Script) -> None:
    down = way_down(script)
    value = float(down.profiles[Channel.FORWARD_TILT].value(np.array([down.start_s]))[0])
    flat = Spline.through([(down.start_s, value), (down.end_s, value)])
    assert {what for _, what in odd(changed(script, forward_tilt=flat)).constant} == {"forward_tilt"}


def test_a_body_that_stands_quite_still_is_found(script: Script) -> None:
    pieces = script.golfer.plan.pieces
    still = MotionPlan([hold(pieces[0].start_s, pieces[0].end_s, STANDING), *pieces[1:]])
    assert odd(replace(script, golfer=Golfer(script.golfer.player, still))).constant


def test_a_mirror_is_found(script: Script) -> None:
    lead = way_down(script).profiles[Channel.LEAD_ROTATION]

    class Negative:
        def value(self, x: np.ndarray) -> np.ndarray:
            return -lead.value(x)

        def rate(self, x: np.ndarray) -> np.ndarray:
            return -lead.rate(x)

        def accel(self, x: np.ndarray) -> np.ndarray:
            return -lead.accel(x)

    slow = make_script(pace=Pace.SLOW, reps=1, seed=2, alive=True)
    lead = way_down(slow).profiles[Channel.LEAD_ROTATION]
    assert {one for _, one in odd(changed(slow, trail_rotation=Negative())).mirrors} == {Channel.LEAD_ROTATION}


def test_the_exact_golfer_is_odd() -> None:
    """The check can fail: exact sessions stand quite still."""
    assert odd(make_script(reps=1, seed=2)).constant
