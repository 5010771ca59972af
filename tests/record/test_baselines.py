"""A player's baseline of sessions before."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from imufeedback.record.baselines import COUNTED, FOLDER, Taken, earlier, keep
from imufeedback.record.library.edits import add_edit
from imufeedback.records import BlockBegun, Mode, Rep, Role

DAY, NEXT = date(2030, 5, 4), date(2030, 5, 6)


def rep(index: int, lead_deg: float = 36.0, void: str = "") -> Rep:
    features = {"lead_hip_turn_in_deg": lead_deg, "backswing_s": 0.9}
    return Rep(index, "full-swings", 1.0, 2.0, {}, (), {} if void else features, void)


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "one.mcap"
    path.touch()
    return path


def test_reps_of_a_baseline_are_taken_down_and_no_others() -> None:
    taken = Taken()
    taken(
        [
            rep(0),
            BlockBegun(0.0, "baseline", Role.BASELINE, "full-swings", Mode.NONE, 1.0),
            rep(1),
            rep(2, void="a gap"),
        ]
    )
    taken([rep(3), BlockBegun(9.0, "swings", Role.SWINGS, "full-swings", Mode.NONE, 1.0), rep(4)])
    assert [one.index for one in taken.reps] == [1, 3]


def test_what_was_kept_is_there_in_the_next_session_with_its_day(tmp_path: Path, recording: Path) -> None:
    keep(tmp_path, "Åse / Ö", DAY, recording, [rep(k, 30.0 + k) for k in range(8)], discarded={2})
    found = earlier(tmp_path, "Åse / Ö", NEXT)
    assert found is not None
    assert sorted(one["lead_hip_turn_in_deg"] for one in found.reps["full-swings"]) == [30, 31, 33, 34, 35, 36, 37]
    assert found.origin == "2030-05-04"
    assert set(found.reps["full-swings"][0]) == {"lead_hip_turn_in_deg"}, "only what rules compare is kept"
    assert earlier(tmp_path, "other", NEXT) is None


def test_a_rep_that_is_discarded_afterwards_leaves_the_baseline(tmp_path: Path, recording: Path) -> None:
    keep(tmp_path, "one", DAY, recording, [rep(k, 30.0 + k) for k in range(8)])
    add_edit(recording, "discard", rep=7)
    found = earlier(tmp_path, "one", NEXT)
    assert found is not None
    assert max(one["lead_hip_turn_in_deg"] for one in found.reps["full-swings"]) == 36.0


def test_a_recording_that_is_gone_takes_its_reps_along(tmp_path: Path, recording: Path) -> None:
    keep(tmp_path, "one", DAY, recording, [rep(k) for k in range(8)])
    recording.unlink()
    assert earlier(tmp_path, "one", NEXT) is None


def test_old_baselines_and_too_many_reps_do_not_count(tmp_path: Path, recording: Path) -> None:
    keep(tmp_path, "one", DAY, recording, [rep(k) for k in range(30)])
    found = earlier(tmp_path, "one", NEXT)
    assert found is not None
    assert len(found.reps["full-swings"]) == COUNTED
    assert earlier(tmp_path, "one", date(2031, 5, 4)) is None


def test_a_file_that_cannot_be_read_is_no_baseline_and_is_replaced(tmp_path: Path, recording: Path) -> None:
    keep(tmp_path, "one", DAY, recording, [rep(0)])
    (file,) = (tmp_path / FOLDER).iterdir()
    file.write_text("{")
    assert earlier(tmp_path, "one", NEXT) is None
    keep(tmp_path, "one", DAY, recording, [rep(0)])
    assert json.loads(file.read_text())["player"] == "one"
