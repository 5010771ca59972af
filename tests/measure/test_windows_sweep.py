"""What the sweep's lines count."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.measure.checks import Context, LeftOut
from imufeedback.measure.windows_sweep import WindowOutcome, lines, sweep
from imufeedback.records import Fit, Level, Segment, SegmentFit, frozen


def fit(level: Level) -> Fit:
    return Fit("standing + flexion", (SegmentFit(Segment.PELVIS, frozen([1.0, 0.0, 0.0, 0.0]), level, 0.1, None),))


def seen(*, flexed: bool = True, level: Level | None = Level.GOOD, error_deg: float = 5.0) -> WindowOutcome:
    made = None if level is None else fit(level)
    return WindowOutcome("one", (1.0, 2.0), flexed, made, None if made else "no", error_deg if made else float("nan"))


def test_wrong_is_what_was_accepted_and_is_off():
    assert not seen().wrong
    assert seen(error_deg=30.0).wrong
    assert seen(error_deg=float("nan")).wrong, "what cannot be judged is not right"
    assert not seen(level=Level.POOR, error_deg=30.0).wrong
    assert not seen(level=None).wrong


def test_refused_are_poor_ones_too_and_only_flexed_ones_count():
    wrong, refused = lines([seen(), seen(level=Level.POOR), seen(level=None), seen(flexed=False, level=None), seen()])
    assert wrong.value == 0
    assert wrong.ok
    assert refused.value == pytest.approx(50.0)
    assert not refused.ok
    assert np.isnan(list(lines([]))[1].value)


def test_without_recordings_it_is_left_out(tmp_path):
    for data in (None, tmp_path):
        with pytest.raises(LeftOut, match="--data"):
            list(sweep(Context(tmp_path, data)))
