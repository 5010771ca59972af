"""A strap that moved is noticed at an address; a player who only stands otherwise is not told off."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.body.slip import SlipWatch

UP = np.array([0.20, 0.97, 0.14])
UP = UP / np.linalg.norm(UP)


def about_y(v, deg):
    c, s = np.cos(np.deg2rad(deg)), np.sin(np.deg2rad(deg))
    return np.array([c * v[0] + s * v[2], v[1], c * v[2] - s * v[0]])


def watch(addresses: int = 6) -> SlipWatch:
    out = SlipWatch()
    assert out.address(None, UP, 0.0) is None
    for k in range(addresses):
        assert out.address(np.deg2rad(1.0 if k % 2 else -1.0), UP, 10.0) is None
    return out


@pytest.mark.parametrize("deg", [-10.0, 10.0])
def test_ten_degrees_about_the_thigh_are_noticed_at_once(deg):
    slip = watch().address(np.deg2rad(deg), about_y(UP, deg), 10.0)
    assert slip is not None
    assert np.rad2deg(slip.turn_rad) == pytest.approx(deg, abs=2.0)


def test_the_new_place_is_the_usual_one_from_then_on():
    one = watch()
    one.address(np.deg2rad(10.0), about_y(UP, 10.0), 10.0)
    assert one.address(np.deg2rad(0.5), about_y(UP, 10.0), 10.0) is None


def test_a_foot_set_otherwise_leaves_gravity_where_it_was():
    """The hip is turned by 25° but the thigh leans as ever: no strap does that."""
    assert watch().address(np.deg2rad(25.0), UP, 10.0) is None


def test_tipping_is_noticed_by_gravity_alone():
    tipped = UP + np.array([0.2, 0.0, 0.0])
    slip = watch().address(0.0, tipped / np.linalg.norm(tipped), 10.0)
    assert slip is not None
    assert slip.turn_rad == 0.0


def test_a_deeper_bend_of_the_same_player_is_no_slip():
    deeper = UP + np.array([0.12, 0.0, 0.0])
    assert watch().address(0.0, deeper / np.linalg.norm(deeper), 10.0) is None


def test_a_restless_player_is_given_more_room():
    rng = np.random.default_rng(3)
    one = SlipWatch()
    stance = rng.normal(0.0, np.deg2rad(4.0), 60)
    told = [one.address(turn, UP, 10.0) for turn in np.diff(stance, prepend=stance[0])]
    assert sum(slip is not None for slip in told[10:]) <= 1


def test_an_unlikely_drift_over_half_an_hour_is_no_slip():
    """Heading wanders by some degrees a minute when nobody addresses a ball."""
    assert watch().address(np.deg2rad(15.0), about_y(UP, 3.0), 1800.0) is None
