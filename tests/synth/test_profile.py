"""Profiles are smooth, and their derivatives are the derivatives."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BPoly

from imufeedback.errors import UsageError
from imufeedback.synth.profile import Along, Constant, Knock, Profile, Spline, Wave, course


def numeric(f, x, h=1e-5):
    return (f(x + h) - f(x - h)) / (2 * h)


INNER = Spline.through([(0.0, 0.0), (1.0, -0.7, 0.0, 3.0), (1.5, 0.8, 2.0), (2.5, 1.5)])
SLOPES = Spline.from_rates(0.4, [(-1.0, 0.2), (0.2, -0.9), (2.0, 0.0)])


@pytest.mark.parametrize(
    "profile",
    [
        INNER,
        SLOPES,
        Along(SLOPES, INNER),
        Constant(3.0),
        Wave(INNER, 0.7, 0.1, 0.8, 0.3, 0.2, -1.0),
        Knock(0.6, 0.9, 0.5),
    ],
    ids=lambda p: type(p).__name__,
)
def test_rate_and_acceleration_are_derivatives(profile: Profile) -> None:
    x = np.linspace(0.02, 1.98, 400)
    np.testing.assert_allclose(profile.rate(x), numeric(profile.value, x), atol=2e-8)
    np.testing.assert_allclose(profile.accel(x), numeric(profile.rate, x), atol=2e-6)


@pytest.mark.parametrize("knot", [1.0, 1.5])
def test_nothing_jumps_at_a_knot(knot: float) -> None:
    sides = course(INNER, np.array([knot - 1e-9, knot + 1e-9]))
    for one in (sides.value, sides.rate, sides.accel):
        assert abs(one[1] - one[0]) < 1e-6


def test_between_two_values_it_is_the_quintic_smoothstep() -> None:
    u = np.linspace(0, 1, 11)
    expected = 2 + 3 * (10 * u**3 - 15 * u**4 + 6 * u**5)
    np.testing.assert_allclose(Spline.through([(4.0, 2.0), (6.0, 5.0)]).value(4 + 2 * u), expected, atol=1e-12)


def test_pieces_are_those_of_scipys_hermite_interpolation() -> None:
    knots = [(0.0, 1.0, 2.0, -3.0), (0.7, -1.0, 0.5, 4.0), (2.0, 3.0, 0.0, 1.0)]
    expected = BPoly.from_derivatives([k[0] for k in knots], [k[1:] for k in knots])
    x = np.linspace(0, 2, 101)
    np.testing.assert_allclose(Spline.through(knots).value(x), expected(x), atol=1e-12)


def test_a_given_rate_is_kept_between_its_knots() -> None:
    x = np.linspace(0.2, 2.0, 1001)
    rate = SLOPES.rate(x)
    assert rate.min() >= -0.9 - 1e-12
    assert rate.max() <= 1e-12
    assert SLOPES.value(np.array([-1.0]))[0] == pytest.approx(0.4)
    # A cubic smoothstep of rate covers the mean of its ends times its length.
    assert SLOPES.value(np.array([2.0]))[0] == pytest.approx(0.4 + 1.2 * -0.35 + 1.8 * -0.45)


@pytest.mark.parametrize("knots", [[(0.0, 1.0)], [(0.0, 1.0), (0.0, 2.0)], [(1.0, 1.0), (0.0, 2.0)]])
def test_knots_that_do_not_rise_are_refused(knots: list[tuple[float, float]]) -> None:
    with pytest.raises(UsageError, match="rising"):
        Spline.through(knots)
    with pytest.raises(UsageError, match="rising"):
        Spline.from_rates(0.0, knots)


def test_a_knock_is_nothing_before_and_dies_away_after() -> None:
    knock = Knock(1.0, 0.01, 0.05)
    assert not knock.value(np.array([0.0, 0.999, 1.0])).any()
    np.testing.assert_allclose(knock.value(np.array([1.05, 1.1])), np.exp([-1.0, -2.0]))


def test_a_wave_is_the_sine_in_the_middle_of_its_envelope() -> None:
    envelope = Spline.through([(0.0, 0.0), (1.0, 1.0), (3.0, 1.0), (4.0, 0.0)])
    wave = Wave(envelope, 0.5, 0.0, 2.0, offset=7.0)
    np.testing.assert_allclose(wave.value(np.array([0.0, 1.5, 2.0, 2.5, 4.0])), [7.0, 5.0, 7.0, 9.0, 7.0], atol=1e-12)
