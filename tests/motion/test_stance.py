"""How the feet are set: rotation at address, counted from standing at the calibration."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.measure.golfer import play
from imufeedback.motion.stance import Stance
from imufeedback.records import Angles, Hand, JointAngles, PelvisAngles, Side, Zeroed
from imufeedback.synth.script import make_script


def seen(left_deg: float, right_deg: float, *, ok: bool = True) -> Angles:
    """One instant with these rotations, each with a bar of 2°."""
    t_s, known = np.zeros(1), np.full((1, 3), ok)
    bar, rate = np.deg2rad(np.full((1, 3), 2.0)), np.zeros((1, 3))
    joints = tuple(
        JointAngles("hip", side, t_s, np.deg2rad([[0.0, 0.0, deg]]), rate, bar, known)
        for side, deg in ((Side.LEFT, left_deg), (Side.RIGHT, right_deg))
    )
    return Angles(t_s, PelvisAngles(t_s, rate, rate, bar, known), joints)


def stood(*turns: tuple[float, float]) -> Stance:
    out = Stance()
    out.zeroed(Zeroed(0.0, "stillness"))
    for left, right in turns:
        out.see(seen(left, right))
        out.zeroed(Zeroed(1.0, "address"))
    return out


def test_each_address_adds_what_it_takes_out() -> None:
    found = stood((-12.0, -8.0), (1.0, -0.5)).features(Hand.RIGHT)
    assert found["lead_hip_stance_deg"] == pytest.approx(-11.0)
    assert found["trail_hip_stance_deg"] == pytest.approx(-8.5)
    assert found["trail_hip_stance_sd_deg"] == pytest.approx(np.hypot(2.0, 2.0))


def test_an_undone_zero_is_undone() -> None:
    stance = stood((-12.0, -8.0), (5.0, 5.0))
    stance.zeroed(Zeroed(2.0, "undone"))
    assert stance.features(Hand.LEFT)["lead_hip_stance_deg"] == pytest.approx(-8.0)


def test_what_was_not_known_at_an_address_is_not_known_until_the_next_calibration() -> None:
    stance = stood((-12.0, -8.0))
    stance.see(seen(1.0, 1.0, ok=False))
    stance.zeroed(Zeroed(2.0, "address"))
    stance.see(seen(1.0, 1.0))
    stance.zeroed(Zeroed(3.0, "address"))
    assert stance.features(Hand.RIGHT) == {}
    stance.zeroed(Zeroed(4.0, "stillness"))
    stance.see(seen(-10.0, -7.0))
    stance.zeroed(Zeroed(5.0, "address"))
    assert stance.features(Hand.RIGHT)["lead_hip_stance_deg"] == pytest.approx(-10.0)


@pytest.mark.parametrize("hand", Hand)
def test_a_golfers_stance_is_found(hand: Hand) -> None:
    script = make_script(hand=hand, reps=2, seed=31)
    for rep in play(script).reps:
        true = script.golfer.pose(np.array([rep.positions["address_s"]]), ()).hip_rad
        for name, side in (("trail", hand.trail), ("lead", hand.lead)):
            off = rep.features[f"{name}_hip_stance_deg"] - float(np.rad2deg(true[side][0, 2]))
            assert abs(off) < 1.0, (name, off)
