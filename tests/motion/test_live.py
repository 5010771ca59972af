"""The live judge on hand-made profiles: thigh angle against turn, at any tempo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from swings import ramp

from imufeedback.motion import LiveLimits
from imufeedback.motion.live import Judge
from imufeedback.records import Motion

LIMITS = LiveLimits(
    min_slope=0.06,
    dead_turn_rad=math.radians(3.0),
    dead_s=0.05,
    target_rad=math.radians(2.0),
    grow_rad=math.radians(1.0),
)
FALL = 0.24
"""Degrees of thigh angle lost for a degree of turn in a good downswing."""


def judged(profile, *, seconds: float = 2.0, hz: float = 200.0, begin: float = -42.0, end: float = 85.0, limits=LIMITS):
    """Judge a downswing at a constant turn rate; `profile` is thigh angle of turn, degrees.

    Returns the judge and its changes: (state, turn at the decision, turn at the onset), degrees.
    """
    n = round(seconds * hz)
    t_s = np.arange(n + 1) / hz
    turn = begin + (end - begin) * t_s / seconds
    turn_rate = math.radians((end - begin) / seconds)
    angle = np.deg2rad(profile(turn))
    h = 1e-3
    rate = np.deg2rad(profile(turn + h) - profile(turn - h)) / math.radians(2 * h) * turn_rate
    judge = Judge.from_top(limits, 0.0, math.radians(begin), float(angle[0]))
    changes = []
    for i in range(1, n + 1):
        onset = judge.step(t_s[i], math.radians(turn[i]), turn_rate, float(angle[i]), float(rate[i]))
        if onset is not None:
            changes.append((judge.state, float(turn[i]), float(np.interp(onset, t_s, turn))))
    return judge, changes


def line(*pieces: tuple[float, float], top: float = 23.0, begin: float = -42.0):
    """Thigh angle that begins at `top` and has slopes (degrees per degree) over stretches of turn."""
    points = [(begin, top)]
    for stretch, slope in pieces:
        points.append((points[-1][0] + stretch, points[-1][1] + stretch * slope))
    return ramp(*points)


GOOD = line((127, -FALL))
STALL = line((34, -FALL), (40, 0.0), (53, -FALL))
GROWS = line((14, 0.45), (113, -FALL))


def test_a_falling_angle_is_losing_and_nothing_else():
    judge, changes = judged(GOOD)
    assert [state for state, *_ in changes] == [Motion.FALLING]
    assert changes[0][1] < -42 + 3 + 1.5  # decided one dead-band after the top
    assert judge.stalls == []
    assert judge.flat_turn_rad == 0.0
    assert judge.growth_rad == 0.0


def test_a_stall_and_the_way_out_of_it():
    judge, changes = judged(STALL)
    assert [state for state, *_ in changes] == [Motion.FALLING, Motion.STALLED, Motion.FALLING]
    _, decided, onset = changes[1]
    assert onset == pytest.approx(-8, abs=0.7)
    assert decided == pytest.approx(-5, abs=0.7)  # one dead-band of turn later
    _, decided, onset = changes[2]
    assert onset == pytest.approx(32, abs=0.7)
    assert decided == pytest.approx(35, abs=0.7)
    (stall,) = judge.stalls
    assert math.degrees(stall.onset_turn_rad) == pytest.approx(-8, abs=0.7)
    assert math.degrees(stall.angle_rad) == pytest.approx(23 - 34 * FALL, abs=0.1)
    assert stall.decided_s > stall.onset_s
    assert math.degrees(judge.flat_turn_rad) == pytest.approx(40, abs=1)


def test_growth_from_the_top():
    """The trail side of the pelvis goes backward first: regaining, dated from the top."""
    judge, changes = judged(GROWS)
    assert [state for state, *_ in changes] == [Motion.GROWING, Motion.FALLING]
    _, decided, onset = changes[0]
    assert onset == pytest.approx(-42, abs=0.1)
    assert decided < -42 + 1.0 / 0.45 + 6.5  # grown by a degree, and 50 ms
    assert math.degrees(judge.growth_rad) == pytest.approx(14 * 0.45, abs=0.1)
    assert judge.growth_from_s == 0.0
    assert judge.stalls[0].onset_s == 0.0


def test_growth_in_the_middle_comes_after_a_stall():
    judge, changes = judged(line((34, -FALL), (20, 0.0), (20, 0.3), (53, -FALL)))
    states = [state for state, *_ in changes]
    assert states == [Motion.FALLING, Motion.STALLED, Motion.GROWING, Motion.FALLING]
    _, decided, _ = changes[2]
    assert decided == pytest.approx(12 + 1.0 / 0.3, abs=1)
    assert len(judge.stalls) == 1  # one stretch without loss is one stall


def test_growth_below_its_limit_is_a_stall_only():
    _, changes = judged(line((34, -FALL), (10, 0.08), (83, -FALL)))
    assert [state for state, *_ in changes] == [Motion.FALLING, Motion.STALLED, Motion.FALLING]


def test_a_falling_angle_short_of_the_limit_is_a_stall():
    for slope, stalls in ((-0.05, 1), (-0.07, 0)):
        judge, _ = judged(line((34, -FALL), (40, slope), (53, -FALL)))
        assert len(judge.stalls) == stalls


# ── dead-band and hysteresis ─────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("stretch", "stalls"), [(2.0, 0), (2.7, 0), (4.0, 1), (10.0, 1)])
def test_a_flat_stretch_within_the_dead_band_of_turn_is_no_stall(stretch, stalls):
    judge, _ = judged(line((34, -FALL), (stretch, 0.0), (90, -FALL)), hz=1000.0)
    assert len(judge.stalls) == stalls
    assert math.degrees(judge.flat_turn_rad) == pytest.approx(stretch, abs=0.4)


@pytest.mark.parametrize(("seconds", "stalls"), [(0.8, 0), (2.0, 1)])
def test_a_flat_stretch_within_the_dead_band_of_time_is_no_stall(seconds, stalls):
    """6° of turn: 38 ms of a fast downswing, 94 ms of a slow one. The dead-band has 50 ms."""
    judge, _ = judged(line((34, -FALL), (6.0, 0.0), (90, -FALL)), seconds=seconds, hz=1000.0)
    assert len(judge.stalls) == stalls


def test_the_way_back_needs_more_than_the_way_out():
    """A slope between the limit and one and a half times it keeps the state that was before: no flutter."""
    between = -0.075
    _, changes = judged(line((34, -FALL), (60, between), (33, -FALL)))
    assert [state for state, *_ in changes] == [Motion.FALLING]
    _, changes = judged(line((34, -FALL), (10, 0.0), (50, between), (33, -FALL)))
    assert [state for state, *_ in changes][:2] == [Motion.FALLING, Motion.STALLED]
    assert changes[2][0] is Motion.FALLING
    assert changes[2][2] == pytest.approx(52, abs=1)


def test_a_slope_that_flutters_about_the_limit_changes_nothing():
    """±0.02 about the limit every two degrees of turn."""
    wavy = line((20, -FALL), *[(1.0, -0.06 + 0.02 * (-1) ** k) for k in range(80)], (27, -FALL))
    judge, changes = judged(wavy, hz=1000.0)
    assert [state for state, *_ in changes] == [Motion.FALLING]
    assert judge.stalls == []


# ── the target ends the duty ─────────────────────────────────────────────────────────────────────────────────────


def test_once_the_target_is_reached_nothing_is_a_stall():
    """To 1° and there it stays, then grows: the duty is done."""
    judge, changes = judged(line((92, -FALL), (20, 0.0), (15, 0.3)))
    assert [state for state, *_ in changes] == [Motion.FALLING]
    assert judge.reached_s is not None
    assert judge.stalls == []
    assert judge.growth_rad == 0.0


def test_short_of_the_target_the_same_is_a_stall():
    judge, _ = judged(line((80, -FALL), (20, 0.0), (27, 0.0)))
    assert len(judge.stalls) == 1
    assert judge.reached_s is None


def test_reaching_the_target_ends_a_stall():
    judge, changes = judged(line((60, -FALL), (20, 0.0), (40, -FALL), (7, 0.0)))
    assert changes[-1][0] is Motion.FALLING
    assert judge.state is Motion.FALLING


def test_a_standing_pelvis_is_not_judged():
    """Below 2 °/s the ratio of two rates says nothing."""
    judge = Judge.from_top(LIMITS, 0.0, 0.0, 0.4)
    for i in range(1, 400):
        assert judge.step(i / 200, math.radians(0.005 * i), math.radians(1.0), 0.4, 0.0) is None
    assert judge.state is Motion.IDLE


# ── tempo ────────────────────────────────────────────────────────────────────────────────────────────────────────

TEMPOS = (0.8, 1.5, 3.0, 6.0, 12.0, 24.0)
"""Seconds from top to finish: a swing to a very slow rehearsal."""


@pytest.mark.parametrize("profile", [GOOD, STALL, GROWS], ids=["good", "stall", "grows"])
def test_the_same_profile_gives_the_same_states_at_the_same_turn(profile):
    """Six tempos, thirty to one: states are the same and their onsets lie at the same turn. Decisions come one
    dead-band later, which at a swing's tempo is the one of time."""
    reference = judged(profile, seconds=TEMPOS[2], hz=1000.0)[1]
    for seconds in TEMPOS:
        judge, changes = judged(profile, seconds=seconds, hz=1000.0)
        assert [state for state, *_ in changes] == [state for state, *_ in reference]
        late = 0.055 * 127 / seconds  # turn within the dead-band of time
        for (_, decided, onset), (_, decided_ref, onset_ref) in zip(changes, reference, strict=True):
            assert onset == pytest.approx(onset_ref, abs=0.6)
            assert decided == pytest.approx(decided_ref, abs=max(0.6, late))
        assert math.degrees(judge.flat_turn_rad) == pytest.approx(
            math.degrees(judged(profile, seconds=3.0, hz=1000.0)[0].flat_turn_rad), abs=0.6
        )


def test_the_judge_does_not_depend_on_the_sample_rate():
    expected = judged(STALL, hz=1000.0)[1]
    for hz in (100.0, 200.0, 400.0):
        for (state, decided, onset), (state_ref, decided_ref, onset_ref) in zip(
            judged(STALL, hz=hz)[1], expected, strict=True
        ):
            assert state is state_ref
            assert (decided, onset) == pytest.approx((decided_ref, onset_ref), abs=1.3)
