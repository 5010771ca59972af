"""Fits kept by player and day."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from imufeedback.commands import args_of
from imufeedback.errors import BadFile
from imufeedback.record.fits import StoredFit, last, store
from imufeedback.records import Fit, Level, Segment, SegmentFit, frozen, same

DAY = date(2030, 5, 4)
FIT = Fit(
    "standing + knee lifts + bows",
    (SegmentFit(Segment.PELVIS, frozen([0.5, 0.5, 0.5, 0.5]), Level.FAIR, 0.03, "a reason", frozen(np.ones(3))),),
)


def test_what_was_stored_comes_back(tmp_path: Path) -> None:
    store(tmp_path, StoredFit("Åse / Ö", DAY, FIT))
    found = last(tmp_path, "Åse / Ö")
    assert found is not None
    assert (found.day, found.player) == (DAY, "Åse / Ö")
    assert same(found.fit, FIT)


def test_the_last_one_counts_and_players_are_kept_apart(tmp_path: Path) -> None:
    store(tmp_path, StoredFit("one", DAY, FIT))
    store(tmp_path, StoredFit("one", date(2030, 5, 6), FIT))
    found = last(tmp_path, "one")
    assert found is not None
    assert found.day == date(2030, 5, 6)
    assert last(tmp_path, "other") is None


def test_two_names_with_one_file_name_are_not_mixed_up(tmp_path: Path) -> None:
    store(tmp_path, StoredFit("a/b", DAY, FIT))
    assert last(tmp_path, "a:b") is None


@pytest.mark.parametrize(
    ("today", "words"),
    [(date(2030, 5, 5), "yesterday"), (date(2030, 5, 11), "7 days ago"), (date(2030, 5, 1), "on 2030-05-04")],
)
def test_another_day_is_always_said(today: date, words: str) -> None:
    one = StoredFit("one", DAY, FIT)
    command = one.command(today)
    assert words in str(command.caution)
    assert same(command.fit(), FIT)


def test_the_same_day_needs_no_words() -> None:
    assert "caution" not in args_of(StoredFit("one", DAY, FIT).command(DAY))


def test_a_damaged_file_is_one_line(tmp_path: Path) -> None:
    path = store(tmp_path, StoredFit("one", DAY, FIT))
    path.write_text("{", encoding="utf-8")
    with pytest.raises(BadFile, match="no stored calibration"):
        last(tmp_path, "one")
