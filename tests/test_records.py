"""Records: frozen, with read-only arrays, compared exactly."""

from __future__ import annotations

import dataclasses
import inspect
import typing

import numpy as np
import pytest

from imufeedback import records
from imufeedback.records import (
    Angles,
    Command,
    Event,
    Fit,
    Flag,
    Hand,
    Item,
    JointAngles,
    Level,
    PelvisAngles,
    Rep,
    Segment,
    SegmentFit,
    Side,
    frozen,
    same,
)

RECORDS = [one for _, one in inspect.getmembers(records, dataclasses.is_dataclass)]


@pytest.mark.parametrize("kind", RECORDS, ids=lambda one: one.__name__)
def test_every_record_is_frozen_and_slotted(kind):
    assert kind.__dataclass_params__.frozen
    assert hasattr(kind, "__slots__")


def test_the_unions_hold_records_only():
    for union in (Item, Event):
        assert all(dataclasses.is_dataclass(one) for one in typing.get_args(union))


def test_trail_and_lead():
    assert (Hand.RIGHT.trail, Hand.RIGHT.lead) == (Side.RIGHT, Side.LEFT)
    assert (Hand.LEFT.trail, Hand.LEFT.lead) == (Side.LEFT, Side.RIGHT)
    assert [Segment.thigh(side) for side in Side] == [Segment.LEFT_THIGH, Segment.RIGHT_THIGH]
    assert [Segment.shank(side) for side in Side] == [Segment.LEFT_SHANK, Segment.RIGHT_SHANK]


def test_flags_are_single_bits_that_fit_a_byte():
    values = [int(one) for one in Flag if one]
    assert sum(values) == np.bitwise_or.reduce(values) <= 255


# ── frozen ───────────────────────────────────────────────────────────────────────────────────────────────────────


def test_frozen_is_read_only_and_of_the_type_asked():
    out = frozen([1, 2, 3])
    assert out.dtype == np.float64
    with pytest.raises(ValueError, match="read-only"):
        out[0] = 9
    assert frozen([1, 0], np.bool_).dtype == np.bool_


def test_frozen_copies_only_when_it_must():
    base = np.arange(4.0)
    out = frozen(base)
    assert np.shares_memory(out, base)
    assert base.flags.writeable  # a view is frozen, not its base
    assert frozen(out) is out
    assert not np.shares_memory(frozen(base, np.int64), base)


# ── same ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def rep(**features: float) -> Rep:
    return Rep(0, "swing", 1.0, 2.0, {"top_s": 1.5}, (), features)


@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [
        (1.0, 1.0, True),
        (float("nan"), float("nan"), True),
        (1.0, float("nan"), False),
        (0.1 + 0.2, 0.3, False),
        ((1, 2), [1, 2], True),
        ((1, 2), (1, 2, 3), False),
        ({"a": 1}, {"a": 1}, True),
        ({"a": 1}, {"b": 1}, False),
        ({"a": float("nan")}, {"a": float("nan")}, True),
        (np.array([1.0, np.nan]), np.array([1.0, np.nan]), True),
        (np.array([1.0]), np.array([1]), False),
        (np.array([1.0]), np.array([[1.0]]), False),
        (np.array([1.0]), [1.0], False),
        (np.array([True]), np.array([True]), True),
        (rep(x_deg=1.0), rep(x_deg=1.0), True),
        (rep(x_deg=1.0), rep(x_deg=1.0000000001), False),
        (rep(x_deg=1.0), rep(y_deg=1.0), False),
        (Command(1, "begin", {}), records.Tick(1), False),
        (Side.LEFT, Side.RIGHT, False),
        (None, 0, False),
    ],
)
def test_same(a, b, expected):
    assert same(a, b) is expected
    assert same(b, a) is expected


# ── small answers ────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("levels", "worst"),
    [
        ((Level.GOOD, Level.GOOD), Level.GOOD),
        ((Level.GOOD, Level.FAIR), Level.FAIR),
        ((Level.POOR, Level.FAIR, Level.GOOD), Level.POOR),
    ],
)
def test_a_fit_is_as_good_as_its_worst_segment(levels, worst):
    parts = tuple(
        SegmentFit(segment, frozen([1, 0, 0, 0]), level, 0.02, None)
        for segment, level in zip(Segment, levels, strict=False)
    )
    assert Fit("known", parts).level is worst


def test_a_joint_is_found_by_name_and_side():
    t_s, three, ok = frozen([0.0]), frozen(np.zeros((1, 3))), frozen([[True] * 3], np.bool_)
    hips = tuple(JointAngles("hip", side, t_s, three, three, three, ok) for side in Side)
    angles = Angles(t_s, PelvisAngles(t_s, three, three, three, ok), hips)
    assert angles.joint("hip", Side.RIGHT) is hips[1]
    with pytest.raises(KeyError, match="no left knee in these angles"):
        angles.joint("knee", Side.LEFT)
