"""Best reps of earlier days: kept, found about a week later, and never a reason to stop."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from imufeedback.app.best_reps import KEPT, find, keep
from imufeedback.app.tracks import Track
from imufeedback.errors import CannotWrite
from imufeedback.figure.pose import POSE

TODAY = datetime.date(2026, 5, 20)


def track(number: int = 3) -> Track:
    thigh = np.array([20.04, np.nan, 5.0])
    return Track(number, np.array([-40.0, 0.0, 80.0]), thigh, 1, (20.0, None, 5.0))


def before(days: int) -> datetime.date:
    return TODAY - datetime.timedelta(days=days)


def test_what_was_kept_is_found_with_its_day(tmp_path: Path) -> None:
    keep(tmp_path / "a.json", before(7), track())
    found = find(tmp_path / "a.json", TODAY)
    assert found is not None
    np.testing.assert_allclose(found.thigh_deg, [20.0, np.nan, 5.0])
    assert (found.number, found.down_from, found.at_marks_deg) == (3, 1, (20.0, None, 5.0))
    assert found.label == "2026-05-13"


@pytest.mark.parametrize(("days", "nearest"), [((1, 6, 30), 6), ((1,), 1), ((9, 4), 9), ((0,), None)])
def test_about_a_week_ago_is_looked_for_and_never_today(
    days: tuple[int, ...], nearest: int | None, tmp_path: Path
) -> None:
    for day in days:
        keep(tmp_path / "a.json", before(day), track(day + 1))
    found = find(tmp_path / "a.json", TODAY)
    assert (found.number if found else None) == (None if nearest is None else nearest + 1)


def test_a_day_has_one_rep_and_the_file_stays_small(tmp_path: Path) -> None:
    for day in range(KEPT + 20, 0, -1):
        keep(tmp_path / "a.json", before(day), track(1))
        keep(tmp_path / "a.json", before(day), track(2))
    size = (tmp_path / "a.json").stat().st_size
    keep(tmp_path / "a.json", TODAY, track(2))
    assert (tmp_path / "a.json").stat().st_size == size


@pytest.mark.parametrize("text", ["", "{", '{"reps": [{"day": "x"}]}', '{"format": 9}'])
def test_a_broken_file_gives_nothing(text: str, tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text(text)
    assert find(tmp_path / "a.json", TODAY) is None


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "no").write_text("a file stands in its place")
    with pytest.raises(CannotWrite):
        keep(tmp_path / "no" / "a.json", TODAY, track())


def test_the_body_is_kept_too_so_that_an_earlier_session_has_its_outline(tmp_path: Path) -> None:
    pose = np.arange(3.0 * len(POSE)).reshape(3, -1)
    pose[1, 4] = np.nan
    keep(tmp_path / "a.json", before(7), replace(track(), pose_deg=pose))
    found = find(tmp_path / "a.json", TODAY)
    assert found is not None
    np.testing.assert_allclose(found.pose_deg, pose)
    np.testing.assert_allclose(found.pose_at(78.0, down=True), pose[2])
    keep(tmp_path / "b.json", before(7), track())
    older = find(tmp_path / "b.json", TODAY)
    assert older is not None
    assert older.pose_deg is None
