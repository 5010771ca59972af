"""Processes of this computer."""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import dying
import pytest

from imufeedback.review.many import Way, in_processes, judge_one, local


def test_two_processes_give_what_one_call_each_gives(archive: Path, session_file: Path) -> None:
    paths = [archive / "b.mcap", archive / "c.mcap", archive / "ana" / "a.mcap"]
    outcomes = {one["recording"]: one for one in in_processes(paths, Way(), 2)}
    assert set(outcomes) == {str(one) for one in paths}
    assert [outcomes[str(one)]["state"] for one in paths] == ["judged", "failed", "judged"]
    alone = judge_one(str(session_file), Way())
    for path in (paths[0], paths[2]):
        assert outcomes[str(path)]["reps"] == alone["reps"]


def test_work_that_is_closed_ends_at_once_and_leaves_nothing_but_verdicts(archive: Path) -> None:
    work = in_processes([archive / "c.mcap", archive / "b.mcap", archive / "ana" / "a.mcap"], Way(), 1)
    assert next(work)["state"] == "failed"
    work.close()
    assert not multiprocessing.active_children()
    left = {one.name for one in archive.rglob("*") if one.is_file()}
    assert left <= {"a.mcap", "b.mcap", "c.mcap", "b.verdicts.json"}


def test_a_recording_whose_process_dies_takes_no_other_with_it(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(local, "_work", dying.work)
    names = ["a", "deadly", "b", "wrong", "c"]
    outcomes = {Path(one["recording"]).name: one for one in in_processes([tmp_path / one for one in names], Way(), 2)}
    assert sorted(outcomes) == sorted(names)
    assert {name for name, one in outcomes.items() if one["state"] == "failed"} == {"deadly", "wrong"}
    assert "died" in outcomes["deadly"]["error"]
    assert outcomes["wrong"]["error"].endswith("wrong: ZeroDivisionError: in two lines")


def test_a_stop_is_heard_inside_a_recording(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stop = multiprocessing.get_context("spawn").Event()
    monkeypatch.setattr(local, "_stop", stop)
    stop.set()
    with pytest.raises(local.WorkStopped):
        local._work(str(archive / "b.mcap"), Way())
    assert not (archive / "b.verdicts.json").exists()
