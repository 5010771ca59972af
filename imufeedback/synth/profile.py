"""Scalar profiles that are twice continuously differentiable, with exact derivatives.

A profile is a function of one variable: time in seconds, or pelvis turn in radians. `Spline` is a piecewise quintic
(or lower) polynomial; `Along` is a function of turn followed in time, by the chain rule; `Wave` swings to and fro
inside an envelope, and `Knock` is the envelope of something that is struck.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from scipy.interpolate import CubicHermiteSpline, PPoly, make_interp_spline

from imufeedback.errors import UsageError
from imufeedback.records import Floats


def _summed(rate: np.polynomial.Polynomial) -> Floats:
    """(10,) powers, the highest first, of the integral of 140 u³ (1 - u)³ times a polynomial of degree 2 in u."""
    u = np.polynomial.Polynomial([0.0, 1.0])
    powers = np.asarray((140.0 * u**3 * (1 - u) ** 3 * rate).integ().coef, dtype=np.float64)
    return np.concatenate([np.zeros(10 - len(powers)), powers[::-1]])


EVEN = 1.3
_V = np.polynomial.Polynomial([-1.0, 2.0])
_EASED, _HURRIED, _SLACK = _summed(_V**0), _summed(_V), _summed(_V**2 - 1 / 9)


@dataclass(frozen=True, slots=True)
class Course:
    """Value, rate and acceleration of one scalar at N instants, each (N,)."""

    value: Floats
    rate: Floats
    accel: Floats

    def scaled(self, factor: float) -> Course:
        return Course(factor * self.value, factor * self.rate, factor * self.accel)


class Profile(Protocol):
    """A scalar as a function of ``x`` (N,); all three answers are exact and vectorised."""

    def value(self, x: Floats) -> Floats: ...

    def rate(self, x: Floats) -> Floats: ...

    def accel(self, x: Floats) -> Floats: ...


def course(profile: Profile, x: Floats) -> Course:
    """All three at once."""
    return Course(profile.value(x), profile.rate(x), profile.accel(x))


class Constant:
    """The same value always."""

    def __init__(self, value: float) -> None:
        self._value = value

    def value(self, x: Floats) -> Floats:
        return np.full(np.shape(x), self._value)

    def rate(self, x: Floats) -> Floats:
        return np.zeros(np.shape(x))

    accel = rate


class Spline:
    """A piecewise polynomial. Outside its knots it goes on as its end pieces do; callers stay inside."""

    def __init__(self, poly: Any) -> None:
        self._poly = poly

    @classmethod
    def through(cls, knots: Sequence[tuple[float, ...]]) -> Spline:
        """Quintic Hermite pieces through ``(x, value[, rate[, accel]])``; what is left out is 0.

        Between two knots with nothing but values this is the quintic smoothstep, 10u³ - 15u⁴ + 6u⁵.
        Raises UsageError for fewer than two knots, or when x does not rise.
        """
        x = _rising(knots)
        value, rate, accel = np.array([(*knot[1:], 0.0, 0.0)[:3] for knot in knots]).T
        return cls.at_knots(x, value, rate, accel)

    @classmethod
    def at_knots(cls, x: Floats, value: Floats, rate: Floats, accel: Floats) -> Spline:
        """The same for arrays, each (K,); x rises."""
        return cls(PPoly(_quintic(np.diff(x), value, rate, accel), x))

    @classmethod
    def eased(
        cls, begin: tuple[float, float], end: tuple[float, float], early: float = 0.0, slack: float = EVEN
    ) -> Spline:
        """From rest to rest between two ``(x, value)``, with three continuous derivatives at both ends.

        The rate is ``140 u³ (1 - u)³`` times ``1 - early · v + slack · (v² - 1/9)`` with v from -1 to 1: above 0,
        `early` hurries at first, `slack` at both ends, with a hesitation between. It is monotone while
        ``|early| < 1 - slack / 9`` and `slack` is 0 to 8. With `EVEN` it is within 1 % of the quintic smoothstep, by
        which people reach (Flash & Hogan, J Neurosci 1985;5:1688-703), without a jump of the third derivative.
        """
        (x, a), (after, b) = begin, end
        powers = (b - a) * (_EASED - early * _HURRIED + slack * _SLACK)
        powers[-1] += a
        return cls(PPoly((powers / (after - x) ** np.arange(len(powers) - 1, -1, -1))[:, None], np.array([x, after])))

    @classmethod
    def up_and_down(cls, start: float, end: float, ramp: float) -> Spline:
        """From 0 up to 1 within `ramp`, and down again before the end, as `eased`."""
        up, down = (
            one._poly.c
            for one in (cls.eased((start, 0.0), (start + ramp, 1.0)), cls.eased((end - ramp, 1.0), (end, 0.0)))
        )
        between = np.eye(10)[:, 9:]
        return cls(PPoly(np.concatenate([up, between, down], axis=1), np.array([start, start + ramp, end - ramp, end])))

    @classmethod
    def from_rates(cls, start: float, knots: Sequence[tuple[float, float]]) -> Spline:
        """The integral of a rate: `start` at the first knot, cubic smoothsteps of rate between ``(x, rate)`` knots.

        The rate stays between the rates at both knots, so that limits on it can be promised.
        Raises UsageError for fewer than two knots, or when x does not rise.
        """
        x = _rising(knots)
        rate = CubicHermiteSpline(x, [knot[1] for knot in knots], np.zeros(len(x)))
        poly = rate.antiderivative()
        poly.c[-1] += start
        return cls(PPoly(poly.c, poly.x))

    def smoothed(self, half: float) -> Spline:
        """Its mean from `half` before to `half` after: one more continuous derivative, and as monotone as it was."""
        summed, breaks = self._poly.antiderivative(), self._poly.x
        at = np.unique(np.concatenate([breaks - half, breaks + half]))
        begin = at[:-1] + 1e-12  # from here on, where a knot falls on an end of the mean
        order = summed.c.shape[0]
        parts = [
            (summed(begin + half, nu) - summed(begin - half, nu)) / (2 * half * math.factorial(nu))
            for nu in range(order - 1, -1, -1)
        ]
        return Spline(PPoly(np.stack(parts), at))

    def value(self, x: Floats) -> Floats:
        return np.asarray(self._poly(x), dtype=np.float64)

    def rate(self, x: Floats) -> Floats:
        return np.asarray(self._poly(x, 1), dtype=np.float64)

    def accel(self, x: Floats) -> Floats:
        return np.asarray(self._poly(x, 2), dtype=np.float64)


def splines_through(
    x: Floats, values: Floats, begin: list[tuple[int, Floats]], end: list[tuple[int, Floats]]
) -> list[Spline]:
    """Splines through the columns of ``values`` (N, C): quintic ones (four continuous derivatives) where `begin` and
    `end` are two derivatives each, as (order, (C,) values), and of degree 7 (six) where they are three."""
    degree = 2 * len(begin) + 1
    together = make_interp_spline(x, values, k=degree, bc_type=(begin, end))
    at = np.unique(together.t)
    powers = np.stack([together(at[:-1], nu) / math.factorial(nu) for nu in range(degree, -1, -1)])
    return [Spline(PPoly(np.ascontiguousarray(powers[:, :, k]), at)) for k in range(values.shape[1])]


def from_rest_to_rest(x: Floats, values: Floats) -> list[Spline]:
    """Splines through the columns of ``values`` (N, C), with three derivatives of 0 at both ends."""
    nothing = np.zeros(values.shape[1])
    rest = [(1, nothing), (2, nothing), (3, nothing)]
    return splines_through(x, values, rest, rest)


class Along:
    """``outer(inner(t))``: a function of pelvis turn, followed in time."""

    def __init__(self, outer: Profile, inner: Profile) -> None:
        self.outer = outer
        self.inner = inner

    def value(self, x: Floats) -> Floats:
        return self.outer.value(self.inner.value(x))

    def rate(self, x: Floats) -> Floats:
        return self.outer.rate(self.inner.value(x)) * self.inner.rate(x)

    def accel(self, x: Floats) -> Floats:
        at = self.inner.value(x)
        return self.outer.accel(at) * self.inner.rate(x) ** 2 + self.outer.rate(at) * self.inner.accel(x)


@dataclass(frozen=True, slots=True)
class Sum:
    """One on top of the other."""

    one: Profile
    other: Profile

    def value(self, x: Floats) -> Floats:
        return self.one.value(x) + self.other.value(x)

    def rate(self, x: Floats) -> Floats:
        return self.one.rate(x) + self.other.rate(x)

    def accel(self, x: Floats) -> Floats:
        return self.one.accel(x) + self.other.accel(x)


@dataclass(frozen=True, slots=True)
class Wave:
    """``offset + envelope(t) · (mean + amplitude · sin(2π · hz · (t - start_s) + phase_rad))``."""

    envelope: Profile
    hz: float
    start_s: float
    amplitude: float
    phase_rad: float = 0.0
    mean: float = 0.0
    offset: float = 0.0

    def value(self, x: Floats) -> Floats:
        return self.offset + self.envelope.value(x) * self._inner(x).value

    def rate(self, x: Floats) -> Floats:
        inner = self._inner(x)
        return self.envelope.rate(x) * inner.value + self.envelope.value(x) * inner.rate

    def accel(self, x: Floats) -> Floats:
        inner, outer = self._inner(x), course(self.envelope, x)
        return outer.accel * inner.value + 2 * outer.rate * inner.rate + outer.value * inner.accel

    def _inner(self, x: Floats) -> Course:
        w = 2 * np.pi * self.hz
        angle = w * (x - self.start_s) + self.phase_rad
        sine, cosine = self.amplitude * np.sin(angle), self.amplitude * np.cos(angle)
        return Course(self.mean + sine, w * cosine, -w * w * sine)


@dataclass(frozen=True, slots=True)
class Knock:
    """0 until `at_s`; then up within `rise_s` as `Spline.eased`, and down again by ``exp(-(t - at_s) / decay_s)``."""

    at_s: float
    rise_s: float
    decay_s: float

    def value(self, x: Floats) -> Floats:
        up, down = self._parts(x)
        return up.value * down

    def rate(self, x: Floats) -> Floats:
        up, down = self._parts(x)
        return (up.rate - up.value / self.decay_s) * down

    def accel(self, x: Floats) -> Floats:
        up, down = self._parts(x)
        return (up.accel - 2 * up.rate / self.decay_s + up.value / self.decay_s**2) * down

    def _parts(self, x: Floats) -> tuple[Course, Floats]:
        after = np.maximum(np.asarray(x) - self.at_s, 0.0)
        u = np.minimum(after / self.rise_s, 1.0)
        up = Course(
            u**4 * (35 - 84 * u + 70 * u**2 - 20 * u**3),
            140 * (u * (1 - u)) ** 3 / self.rise_s,
            420 * (u * (1 - u)) ** 2 * (1 - 2 * u) / self.rise_s**2,
        )
        return up, np.exp(-after / self.decay_s)


def _quintic(h: Floats, value: Floats, rate: Floats, accel: Floats) -> Floats:
    """(6, K) coefficients of K pieces of lengths `h` (K,), highest power first, from what holds at K + 1 knots.

    scipy's `BPoly.from_derivatives` gives the same (see tests) in many times the time.
    """
    start = value[:-1], rate[:-1], accel[:-1] / 2
    missing = value[1:] - value[:-1] - rate[:-1] * h - accel[:-1] * h**2 / 2
    faster = (rate[1:] - rate[:-1] - accel[:-1] * h) * h
    harder = (accel[1:] - accel[:-1]) * h**2 / 2
    third = (10 * missing - 4 * faster + harder) / h**3
    fourth = (-15 * missing + 7 * faster - 2 * harder) / h**4
    fifth = (6 * missing - 3 * faster + harder) / h**5
    return np.stack([fifth, fourth, third, *start[::-1]])


def _rising(knots: Sequence[tuple[float, ...]]) -> Floats:
    x = np.array([knot[0] for knot in knots], dtype=np.float64)
    if len(x) < 2 or not np.all(np.diff(x) > 0):
        raise UsageError(
            f"a profile needs two knots or more, rising, not {x.tolist()}", hint="check durations and turns"
        )
    return x
