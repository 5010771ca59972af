"""Double taps of a thigh: found while the player stands still, in blocks of any size, and nowhere else."""

from __future__ import annotations

import pickle
from collections.abc import Iterator

import numpy as np
import pytest

from imufeedback.motion.taps import AFTER_S, Taps
from imufeedback.records import AlignedBlock, Floats, Segment, Tapped, frozen

SEGMENTS = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
LEFT, RIGHT = 1, 2


class Session:
    """Eight seconds of standing, to be disturbed."""

    def __init__(self) -> None:
        self.t_s: Floats = np.arange(1600) * 0.005
        rng = np.random.default_rng(4)
        self.acc = rng.normal(0.0, 0.1, (1600, 3, 3)) + np.array([0.0, 9.81, 0.0])
        self.gyr = rng.normal(0.0, 0.02, (1600, 3, 3))
        self.ok = np.ones((1600, 3), dtype=bool)

    def tap(self, t_s: float, thigh: int = RIGHT, peak: float = 40.0) -> Session:
        at = round(t_s / 0.005)
        self.acc[at : at + 4, thigh, 2] += peak * np.array([1.0, -0.6, 0.3, -0.1])
        self.gyr[at : at + 6, thigh, 0] += 3.0
        return self

    def blocks(self, size: int) -> Iterator[AlignedBlock]:
        for begin in range(0, 1600, size):
            part = slice(begin, begin + size)
            count = len(self.t_s[part])
            sd = frozen(np.zeros((count, 3)))
            q = frozen(np.tile([1.0, 0, 0, 0], (count, 3, 1)))
            flags = frozen(np.zeros((count, 3)), np.bool_)
            yield AlignedBlock(
                SEGMENTS, frozen(self.t_s[part]), q, frozen(self.gyr[part]), frozen(self.acc[part]), flags, sd, sd,
                frozen(self.ok[part], np.bool_), flags,
            )  # fmt: skip

    def found(self, size: int = 1600) -> list[Tapped]:
        taps = Taps()
        return [one for block in self.blocks(size) for one in taps.feed(block)]


@pytest.mark.parametrize("size", [1, 7, 160, 1600])
def test_two_taps_of_one_thigh_are_told_when_it_was_still_after_them(size: int) -> None:
    (found,) = Session().tap(3.0).tap(3.3).found(size)
    assert found.segment is Segment.RIGHT_THIGH
    assert found.t_s == pytest.approx(3.3 + AFTER_S, abs=0.011)


def test_each_thigh_and_each_time() -> None:
    found = Session().tap(2.0, LEFT).tap(2.2, LEFT).tap(5.0).tap(5.5).found(10)
    assert [one.segment for one in found] == [Segment.LEFT_THIGH, Segment.RIGHT_THIGH]


def walking(session: Session) -> Session:
    session.gyr[:, :, 0] += 1.5 * np.sin(2 * np.pi * session.t_s)[:, None]
    return session


def turning_at_the_end(session: Session) -> Session:
    session.gyr[700:, 0, 1] += 1.0
    return session


def with_a_loss(session: Session) -> Session:
    session.ok[630, LEFT] = False
    return session


@pytest.mark.parametrize(
    "session",
    [
        Session(),
        Session().tap(3.0),
        Session().tap(3.0).tap(3.7),
        Session().tap(3.0).tap(3.25).tap(3.5),
        Session().tap(3.0, LEFT).tap(3.3, RIGHT),
        Session().tap(3.0).tap(3.3).tap(3.3, LEFT),
        Session().tap(3.0, peak=6.0).tap(3.3, peak=6.0),
        walking(Session().tap(3.0).tap(3.3)),
        turning_at_the_end(Session().tap(3.0).tap(3.3)),
        with_a_loss(Session().tap(3.0).tap(3.3)),
    ],
    ids=["none", "one", "too far apart", "three", "one each", "both shaken", "soft", "walking", "turning", "a loss"],
)
def test_nothing_else_is_a_double_tap(session: Session) -> None:
    assert session.found(10) == []
    assert session.found() == []


def test_half_restored_and_the_other_half_find_it_too() -> None:
    session = Session().tap(3.0).tap(3.3)
    blocks = list(session.blocks(10))
    first, second = Taps(), Taps()
    for block in blocks[:62]:  # between the taps
        assert first.feed(block) == []
    second.state = pickle.loads(pickle.dumps(first.state))
    assert [one for block in blocks[62:] for one in second.feed(block)] == session.found()
