"""The calibration movements are recognised in any tempo, and what they lack is said."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from performances import GRID_HZ, blocks

from imufeedback.body.sequence import NAMES, Performed, Refused, Sequence
from imufeedback.measure.fitters import performance
from imufeedback.records import AlignedBlock, FitStep, Segment
from imufeedback.synth.movements import Spoil
from imufeedback.synth.sensors import WORN


def told(given, segments=WORN):
    sequence = Sequence(segments, grid_hz=GRID_HZ)
    return [one for block in given for one in sequence.feed(block)]


def cut(block: AlignedBlock, rows: slice) -> AlignedBlock:
    names = ("t_s", "q_es", "gyr_rad_s", "acc_m_s2", "rest", "inclination_sd_rad", "heading_sd_rad", "ok", "saturated")
    return AlignedBlock(block.segments, *(getattr(block, name)[rows] for name in names))


def signature(events):
    return [(type(one).__name__, one.t_s, getattr(one, "reason", getattr(one, "step", ""))) for one in events]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_step_is_told_once_and_in_order(seed):
    events = told(blocks(seed))
    steps = [one for one in events if isinstance(one, FitStep)]
    assert [one.step for one in steps] == list(NAMES)
    assert [one.number for one in steps] == [1, 2, 3, 4, 5]
    assert all(one.say for one in steps)
    (done,) = [one for one in events if isinstance(one, Performed)]
    windows = performance(seed).script.fit_windows
    for movements, segment in ((done.right, Segment.RIGHT_THIGH), (done.left, Segment.LEFT_THIGH)):
        assert len(movements) == 2
        begin, end = windows.flex[segment]
        seen_begin, seen_end = done.window(movements)
        assert begin - 0.1 < seen_begin < begin + 0.5
        assert end - 1.2 < seen_end < end + 0.2


def test_blocks_of_any_size_tell_the_same():
    given = blocks(2)
    small = [cut(one, slice(k, k + 3)) for one in given for k in range(0, len(one.t_s), 3)]
    assert signature(told(small)) == signature(told(given))


def test_a_state_put_back_goes_on_the_same():
    given = blocks(1)
    whole, first = Sequence(WORN, grid_hz=GRID_HZ), Sequence(WORN, grid_hz=GRID_HZ)
    half = len(given) // 2
    for block in given[:half]:
        whole.feed(block)
        first.feed(block)
    second = Sequence(WORN, grid_hz=GRID_HZ)
    second.state = pickle.loads(pickle.dumps(first.state))
    rest = [one for block in given[half:] for one in whole.feed(block)]
    assert signature(one for block in given[half:] for one in second.feed(block)) == signature(rest)
    assert rest


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (Spoil.MOVED, "moved while standing – stand still for 3 seconds"),
        (Spoil.SAME_SIDE, "the right knee was lifted again – right knee twice, left knee twice, bow twice"),
        (Spoil.WALKED, "as in walking – stay in one place"),
        (Spoil.SAT, "you sat down – stay standing until the end"),
        (Spoil.NO_BOW, "missing: bow twice"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_accepted(spoil, words):
    events = told(blocks(4, spoil))
    first = next(one for one in events if isinstance(one, Refused))
    assert words in first.reason
    assert not first.over
    assert not any(isinstance(one, Performed) for one in events)


def test_after_a_refusal_standing_still_begins_again():
    events = told([*blocks(4, Spoil.NO_BOW)])
    k = next(i for i, one in enumerate(events) if isinstance(one, Refused))
    assert [one.step for one in events[k + 1 :] if isinstance(one, FitStep)][:1] == ["standing"]


def test_a_step_done_once_is_enough_when_the_next_one_begins():
    """The second right lift is played as standing still."""
    given = blocks(3)
    (done,) = [one for one in told(given) if isinstance(one, Performed)]
    first, second = done.right[0], done.right[1]
    still = next(one for one in given if one.t_s[0] > done.still_s[0] + 0.5)

    def calm(block: AlignedBlock) -> AlignedBlock:
        if not second.begin_s - 0.1 <= block.t_s[0] <= second.end_s + 0.1:
            return block
        n = len(block.t_s)
        return AlignedBlock(
            block.segments, block.t_s, still.q_es[:n], still.gyr_rad_s[:n], still.acc_m_s2[:n],
            still.rest[:n], still.inclination_sd_rad[:n], still.heading_sd_rad[:n], still.ok[:n], still.saturated[:n],
        )  # fmt: skip

    events = told([calm(one) for one in given])
    (once,) = [one for one in events if isinstance(one, Performed)]
    assert len(once.right) == 1
    assert once.right[0].begin_s == pytest.approx(first.begin_s, abs=0.1)
    assert [one.step for one in events if isinstance(one, FitStep)] == list(NAMES)


def test_it_ends_by_itself_when_nobody_performs():
    """Standing still for ever: told what is missing again and again, and over in the end."""
    still = blocks(1)[40]
    n = len(still.t_s)
    sequence = Sequence(WORN, grid_hz=GRID_HZ)
    events = []
    for k in range(round(200 * GRID_HZ / n)):
        t_s = (np.arange(n) + k * n) / GRID_HZ
        fields = ("q_es", "gyr_rad_s", "acc_m_s2", "rest", "inclination_sd_rad", "heading_sd_rad", "ok", "saturated")
        events += sequence.feed(AlignedBlock(still.segments, t_s, *(getattr(still, name) for name in fields)))
    assert sequence.over
    reasons = [one.reason for one in events if isinstance(one, Refused)]
    assert reasons[0] == "missing: lift the right knee twice"
    assert "no calibration came about in 3 minutes" in reasons[-1]
