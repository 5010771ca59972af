"""The compiled form of each recursion and the one in Python, on the same samples: equal to rounding."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import astuple

import numpy as np
import pytest

from imufeedback import recursions
from imufeedback.body.ahead import Ahead
from imufeedback.body.link import JointFilters, Sight
from imufeedback.body.strapdown import Strapdown
from imufeedback.fusion.known import Knowledge
from imufeedback.fusion.stepping import Given, Stepping
from imufeedback.records import DeviceBlock, DeviceRun, Floats, same
from imufeedback.timing import SensorClock
from imufeedback.timing.clock import TimedRun
from imufeedback.timing.envelope import middle_slope
from imufeedback.timing.grid import on_the_grid

MUST = os.environ.get("IMUFEEDBACK_REQUIRE_COMPILERS") == "1"
needs_core = pytest.mark.skipif(recursions.core is None and not MUST, reason="it was built without a compiler")
PERIOD_S = 0.005


def samples(seed: int, n: int = 4000) -> tuple[Floats, Floats, Floats, list[float]]:
    """Orientations, rates, forces and steps of a sensor that swings every other two seconds and rests between."""
    rng = np.random.default_rng(seed)
    moves = np.where(np.arange(n) // 400 % 2, 1.0, 0.004)[:, None]
    q = np.array([1.0, 0.02, -0.01, 0.3]) + np.cumsum(moves * rng.normal(0.0, 0.01, (n, 4)), axis=0)
    gyr, acc = moves * rng.normal(0.0, 3.0, (n, 3)), np.array([0.1, 0.2, 9.8]) + moves * rng.normal(0.0, 5.0, (n, 3))
    steps = rng.normal(PERIOD_S, 1e-4, n)
    steps[::97], steps[500] = 5 * PERIOD_S, 0.3  # lost packets, and a longer gap
    return q / np.linalg.norm(q, axis=1)[:, None], gyr, acc, steps.tolist()


def both_ways(monkeypatch: pytest.MonkeyPatch, work: Callable[[], object]) -> tuple[object, object]:
    assert recursions.core is not None
    compiled = work()
    monkeypatch.setattr(recursions, "core", None)
    return compiled, work()


@needs_core
@pytest.mark.parametrize("size", [1, 4, 4000])
def test_how_well_a_sensor_is_known(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """With samples that are put in where packets were lost: of every packet the second one."""
    q, gyr, acc, listed = samples(3)
    steps, observed = np.array(listed), np.arange(len(q)) // 300 % 3 > 0

    def work() -> tuple[Floats, tuple[object, ...]]:
        step, out = Stepping(known=Knowledge(shaken_rad=0.1, turn=(0.1, 0.2, 0.3), settled=True)), []
        for k in range(0, len(q), size):
            part = slice(k, k + size)
            real = None if size == 1 else np.delete(np.arange(len(q[part])), 1)
            gone = slice(None) if real is None else real
            real_steps, rates = steps[part][gone], gyr[part][gone]
            given = Given(
                steps[part], 0.1 * gyr[part], observed[part], real, real_steps, rates, acc[part][gone], q[part][gone]
            )
            out.append(np.column_stack(step.stepped(given, PERIOD_S, [])))
        known, level, bias = step.known, step.level, step.bias
        return np.concatenate(out), (*astuple(known), *astuple(level), *astuple(bias))

    (ours, memory), (theirs, other) = both_ways(monkeypatch, work)  # type: ignore[misc]
    assert memory[2] is False, "a gap that unsettles no sensor"
    np.testing.assert_allclose(ours, theirs, rtol=0.0, atol=1e-12)
    kept = q if size == 1 else np.delete(q, np.arange(1, len(q), size), axis=0)
    assert np.abs(theirs[:, :4] - kept).max() > 1e-3
    assert len(np.unique(theirs[:, 7])) > 3
    for one, two in zip(memory, other, strict=True):
        if one is None:
            assert two is None
            continue
        np.testing.assert_allclose(one, two, rtol=0.0, atol=1e-12)


@needs_core
def test_samples_on_the_grid(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of one sensor with a gap, one that ends early, and one that has none; some came too late for their steps."""
    q, gyr, acc, steps = samples(6, 600)
    rows = np.column_stack((q * np.where(np.arange(600) % 2, 1.0, -1.0)[:, None], gyr, acc, np.ones((600, 4))))
    rows, times_s = np.concatenate((rows, np.full((1, 14), np.nan))), np.cumsum([0.5 * step for step in steps] + [0.0])
    t_s = 0.2 + 0.005 * np.arange(300)
    limits, ends = np.array([[20, 20, 0], [150, 60, 0], [300, 300, 0]]), [20, 40, 300]

    def work() -> tuple[Floats, ...]:
        return on_the_grid(t_s, times_s, rows, [0, 300, 600], [300, 300, 0], limits, ends)

    ours, theirs = both_ways(monkeypatch, work)
    for one, two in zip(ours, theirs, strict=True):  # type: ignore[call-overload]
        np.testing.assert_allclose(one, two, rtol=0.0, atol=1e-12)
    known = theirs[2]  # type: ignore[index]
    assert 0 < known[:, :2].sum() < 500
    assert not known[:, 2].any()


def sights(rng: np.random.Generator, updates: int, noise: float) -> tuple[Sight, Sight]:
    """Of two joints whose sensors move alike, but for noise."""
    shape = 2, updates
    force = rng.normal(np.array([0.0, 9.8, 0.0]), 4.0, (*shape, 3))
    lever = rng.normal(0.0, 8.0, (*shape, 3, 3))
    up = np.broadcast_to([0.0, 1.0, 0.0], (*shape, 3))

    def one() -> Sight:
        size = rng.uniform(0.0, 9.0, (3, *shape))
        seen = force + rng.normal(0.0, noise, force.shape)
        return Sight(seen, lever, size[0], size[1], up.copy(), np.full(shape, 0.02), size[2])

    return one(), one()


@needs_core
@pytest.mark.parametrize("turned_deg", [0.0, 25.0])
def test_the_joints(turned_deg: float) -> None:
    """With a joint that begins wrong by so much, which gravity puts right: that is left to Python."""
    rng, updates, span_s = np.random.default_rng(4), 60, 0.04
    one, two = sights(rng, updates, 0.5)
    a = np.radians(turned_deg)
    tipped = np.array([[np.cos(a), -np.sin(a), 0.0], [np.sin(a), np.cos(a), 0.0], [0.0, 0.0, 1.0]])
    begin = (
        np.tile(tipped, (2, 1, 1)),
        np.tile(0.02 * np.eye(3), (2, 1, 1)),
        np.full((2, 6), 0.1),
        np.full((2, 6), 0.04),
    )
    ours, theirs, ahead, by_python = JointFilters.begun(*begin), JointFilters.begun(*begin), Ahead(one, two, span_s), 0
    for j in range(updates):
        if j == 30:
            for link in (ours, theirs):
                link.set_heading(1, 0.3, np.array([0.0, 1.0, 0.0]), 0.01)
        if ahead.observe(ours, j, j + 1) is None:
            by_python += 1
            ours.observe(one[:, j], two[:, j], span_s)
        theirs.observe(one[:, j], two[:, j], span_s)
        for name in ("D", "P", "arms_m", "level", "off"):
            np.testing.assert_allclose(getattr(ours, name), getattr(theirs, name), rtol=0.0, atol=1e-11)
    assert (by_python > 0) is (turned_deg > 0.0)


@needs_core
@pytest.mark.parametrize("n", [1, 2, 3, 90])
def test_the_slope_of_an_envelope(monkeypatch: pytest.MonkeyPatch, n: int) -> None:
    rng = np.random.default_rng(n)
    for _ in range(50):
        points = np.column_stack((np.sort(rng.uniform(0.0, 90.0, n)), rng.exponential(0.01, n)))
        with monkeypatch.context() as patch:
            ours, theirs = both_ways(patch, lambda points=points: middle_slope(points))  # type: ignore[misc]
        assert ours == theirs


@needs_core
def test_a_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Exactly the same, through bins, reports, lines that move, and up to a gap."""
    rng, samples = np.random.default_rng(6), 4
    ticks = np.cumsum(rng.integers(4990, 5010, (3000, samples)).reshape(-1)).reshape(-1, samples)
    ticks[2900:] += 200_000
    host_ns = (ticks[:, -1] * 1000.1 + rng.exponential(3e6, len(ticks)) + (ticks[:, -1] < 4_000_000) * 3e7).astype(int)
    values = rng.normal(0.0, 1.0, (*ticks.shape, 3))
    parts = slice(1, 700), slice(700, None)
    runs = [DeviceRun("a", host_ns[k].tolist(), ticks[k], values[k], values[k]) for k in parts]

    def work() -> tuple[list[TimedRun | None], object]:
        clock = SensorClock("a", tick_unit_s=1e-6, tick_bits=32, nominal_hz=200.0, origin_ns=0)
        clock.feed(DeviceBlock("a", int(host_ns[0]), ticks[0], values[0], values[0], np.zeros(samples, np.uint8)))
        out = [clock.feed_run(runs[0]), clock.feed_run(runs[1])]
        return out, clock.state

    (ours, memory), (theirs, other) = both_ways(monkeypatch, work)  # type: ignore[misc]
    assert [0 if one is None else len(one.run) for one in ours] == [699, 2200]
    assert same(ours, theirs)
    assert same(memory, other)


@needs_core
@pytest.mark.parametrize("n", [1, 3, 2000])
def test_gyroscope_frames(monkeypatch: pytest.MonkeyPatch, n: int) -> None:
    rates = np.random.default_rng(6).normal(0.0, 6.0, (n + 1, 3, 3))
    rates[n // 2 :, 1] = 0.0
    begin = Strapdown(PERIOD_S).turned(rates[:1], rates[0], np.tile(np.eye(3), (3, 1, 1)))[:, 0]

    def work() -> Floats:
        return Strapdown(PERIOD_S).turned(rates[1:], rates[0], begin)

    ours, theirs = both_ways(monkeypatch, work)
    assert theirs.shape == (3, n, 3, 3)  # type: ignore[attr-defined]
    np.testing.assert_allclose(ours, theirs, rtol=0.0, atol=1e-12)


@needs_core
def test_arrays_that_are_too_short_are_refused() -> None:
    assert recursions.core is not None
    with pytest.raises(ValueError, match="too short"):
        recursions.core.stepped(5, 5, *(np.zeros(4) for _ in range(16)))
    with pytest.raises(ValueError, match="not of doubles"):
        recursions.core.stepped(1, 1, *(np.zeros(60, dtype=np.int64) for _ in range(16)))
    with pytest.raises(TypeError, match="wrong number"):
        recursions.core.updated(1, 1, 0, 1, 0.04, np.zeros(3))
    with pytest.raises(ValueError, match="beyond the end"):
        recursions.core.gridded(1, 1, 2, 1, *(np.full(28, 2.0) for _ in range(11)))
