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
from imufeedback.fusion.rest_level import RestLevel
from imufeedback.records import Floats

MUST = os.environ.get("IMUFEEDBACK_REQUIRE_COMPILERS") == "1"
needs_core = pytest.mark.skipif(recursions.core is None and not MUST, reason="it was built without a compiler")
PERIOD_S = 0.005


def samples(seed: int, n: int = 4000) -> tuple[Floats, Floats, Floats, list[float]]:
    """Orientations, rates, forces and steps of a sensor that swings every other two seconds and rests between."""
    rng = np.random.default_rng(seed)
    moves = np.where(np.arange(n) // 400 % 2, 1.0, 0.004)[:, None]
    q = np.array([1.0, 0.02, -0.01, 0.3]) + np.cumsum(moves * rng.normal(0.0, 0.01, (n, 4)), axis=0)
    gyr, acc = moves * rng.normal(0.0, 3.0, (n, 3)), np.array([0.1, 0.2, 9.8]) + moves * rng.normal(0.0, 5.0, (n, 3))
    return q / np.linalg.norm(q, axis=1)[:, None], gyr, acc, rng.normal(PERIOD_S, 1e-4, n).tolist()


def both_ways(monkeypatch: pytest.MonkeyPatch, work: Callable[[], object]) -> tuple[object, object]:
    assert recursions.core is not None
    compiled = work()
    monkeypatch.setattr(recursions, "core", None)
    return compiled, work()


@needs_core
@pytest.mark.parametrize("size", [1, 4, 4000])
def test_how_well_a_sensor_is_known(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    q, gyr, acc, steps = samples(3)

    def work() -> tuple[list[Floats], tuple[object, ...]]:
        known, level, out = Knowledge(shaken_rad=0.1, turn=(0.1, 0.2, 0.3)), RestLevel(), []
        for k in range(0, len(q), size):
            part = slice(k, k + size)
            tilts, headings, quiets = known.told(gyr[part], acc[part], steps[part], PERIOD_S, [])
            levelled, sds = level.found(q[part], acc[part], steps[part], quiets, tilts)
            right = q[part] if levelled is None else levelled
            out.append(np.column_stack((tilts, headings, quiets, sds, right)))
        return out, (*astuple(known), *astuple(level))

    (ours, memory), (theirs, other) = both_ways(monkeypatch, work)  # type: ignore[misc]
    np.testing.assert_allclose(np.concatenate(ours), np.concatenate(theirs), rtol=0.0, atol=1e-12)
    assert np.abs(np.concatenate(theirs)[:, 4:] - q).max() > 1e-3
    for one, two in zip(memory, other, strict=True):
        if one is None:
            assert two is None
            continue
        np.testing.assert_allclose(one, two, rtol=0.0, atol=1e-12)


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
@pytest.mark.parametrize("n", [1, 3, 2000])
def test_gyroscope_frames(monkeypatch: pytest.MonkeyPatch, n: int) -> None:
    rates = np.random.default_rng(6).normal(0.0, 6.0, (n + 1, 3, 3))
    rates[n // 2 :, 1] = 0.0
    begin = Strapdown(PERIOD_S).carried(rates[:1], rates[0], np.tile(np.eye(3), (3, 1, 1)))[:, 0]

    def work() -> Floats:
        return Strapdown(PERIOD_S).carried(rates[1:], rates[0], begin)

    ours, theirs = both_ways(monkeypatch, work)
    assert theirs.shape == (3, n, 3, 3)  # type: ignore[attr-defined]
    np.testing.assert_allclose(ours, theirs, rtol=0.0, atol=1e-12)


@needs_core
def test_arrays_that_are_too_short_are_refused() -> None:
    assert recursions.core is not None
    with pytest.raises(ValueError, match="too short"):
        recursions.core.found(5, *(np.zeros(4) for _ in range(9)))
    with pytest.raises(ValueError, match="not of doubles"):
        recursions.core.told(1, *(np.zeros(60, dtype=np.int64) for _ in range(8)))
    with pytest.raises(TypeError, match="wrong number"):
        recursions.core.updated(1, 1, 0, 1, 0.04, np.zeros(3))
