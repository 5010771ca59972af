"""Fits of real people by windows: right, or refused with a reason; sitting, squatting, walking, over gaps.

Source of the recordings: see ``README.md`` of the data folder. They are not part of the repository.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from imufeedback.measure import windows_sweep
from imufeedback.measure.trials import PersonTrial, RecordedTrial, Walker
from imufeedback.measure.windows_sweep import outcome
from imufeedback.records import Level

PEOPLE = ("SqDL", "SqSL", "StepUpH", "DropLandDL", "optical_walk")


@cache
def trial(folder: Path, name: str) -> RecordedTrial:
    return Walker(folder / name) if name == "human_walk" else PersonTrial(folder / "people" / name)


@pytest.mark.parametrize("flex_s", [(76.0, 82.0), (78.5, 81.0), (70.0, 85.0), (44.0, 55.0), (95.0, 113.0)])
def test_sitting_reads_the_same_however_it_was_fitted(data_folder: Path, flex_s: tuple[float, float]) -> None:
    """Getting up from the chair, sitting down, walking: 57° by an independent estimate."""
    one = outcome(trial(data_folder, "human_walk"), flex_s)
    assert one.refused is None
    assert one.accepted
    assert one.error_deg < 7.0


def test_a_seat_without_movement_is_refused_with_the_reason(data_folder: Path) -> None:
    one = outcome(trial(data_folder, "human_walk"), (60.0, 70.0))
    assert one.refused is not None
    assert " – " in one.refused


@pytest.mark.parametrize("name", PEOPLE)
def test_the_stretches_that_a_trial_names(data_folder: Path, name: str) -> None:
    """Squats and each repetition by itself, with gaps between them: none is wrong, and most are fitted."""
    given = trial(data_folder, name)
    seen = [outcome(given, window) for window in given.stretches]
    assert not any(one.wrong for one in seen)
    assert seen[0].accepted
    assert sum(one.accepted for one in seen) >= 0.8 * len(seen)
    for one in seen:
        if one.fit is not None:
            offsets = [abs(segment.acc_bias_m_s2).max() for segment in one.fit.segments]
            assert max(offsets) == 0.0, "no offset out of stretches that end in motion"
            for segment in one.fit.segments:
                assert (segment.reason is None) is (segment.level is Level.GOOD)


@pytest.mark.parametrize("name", ["human_walk", "DropLandDL"])
def test_three_sensors_do(data_folder: Path, name: str) -> None:
    given = trial.__wrapped__(data_folder, name)
    given.series = {one: series for one, series in given.series.items() if "shank" not in one}
    seen = [outcome(given, window) for window in given.stretches]
    assert not any(one.wrong for one in seen)
    assert all(one.accepted for one in seen)


def test_the_sweep_draws_the_windows_of_its_seed(data_folder: Path) -> None:
    import numpy as np

    given = trial(data_folder, "SqDL")
    one, again, other = (windows_sweep.at_random(given, 5, np.random.default_rng(seed)) for seed in (1, 1, 2))
    assert one == again
    assert one != other
    assert all(given.still_s[1] <= begin < end <= given.end_s for begin, end in one)
