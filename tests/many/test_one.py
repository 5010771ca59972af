"""One recording of many: judged, kept, or a line that says why not."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from imufeedback.record.exports.reps import row
from imufeedback.record.library.places import verdicts_of
from imufeedback.record.library.verdicts import read_verdicts
from imufeedback.review.judging import judge
from imufeedback.review.many import Way, judge_one
from imufeedback.review.many import one as room
from imufeedback.review.reporting import judgement


def test_the_verdict_is_that_of_judging_and_lies_beside_the_recording(archive: Path) -> None:
    path = archive / "b.mcap"
    outcome = judge_one(str(path), Way())
    summary = judge(path).summary
    assert outcome["state"] == "judged"
    assert outcome["reps"] == [row(one) for one in summary.reps]
    assert len(outcome["reps"]) == 1
    (kept,) = read_verdicts(path)
    assert kept.summary == summary
    assert outcome["duration_s"] == kept.duration_s > 10.0


def test_the_outcome_is_plain_json(archive: Path) -> None:
    outcome = judge_one(str(archive / "b.mcap"), Way())
    assert json.loads(json.dumps(outcome, allow_nan=False)) == outcome


def test_the_same_judgement_is_not_made_twice(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = str(archive / "b.mcap")
    first = judge_one(path, Way())
    with monkeypatch.context() as patch:
        patch.delattr(room, "judge")
        second = judge_one(path, Way())
    assert second["state"] == "kept"
    assert second["reps"] == first["reps"]
    assert judge_one(path, Way(again=True))["state"] == "judged"


def test_another_filter_other_limits_and_a_newer_recording_are_judged_anew(archive: Path) -> None:
    path = archive / "b.mcap"
    assert judge_one(str(path), Way())["state"] == "judged"
    assert judge_one(str(path), Way(filter_name="mahony"))["state"] == "judged"
    own = "format = 1\n[limits]\nlead-hip-turns-in = 90.0\n"
    assert judge_one(str(path), Way(limits=own))["state"] == "judged"
    assert judge_one(str(path), Way(limits=own))["state"] == "kept"
    assert len(read_verdicts(path)) == 3
    late_ns = verdicts_of(path).stat().st_mtime_ns + 1_000_000_000
    os.utime(path, ns=(late_ns, late_ns))
    assert judge_one(str(path), Way(limits=own))["state"] == "judged"


def test_a_report_uses_the_verdict_that_was_kept(archive: Path, tmp_path: Path) -> None:
    """Both name a way of judging by the same key."""
    judge_one(str(archive / "b.mcap"), Way())
    found = judgement(archive / "b.mcap", tmp_path, keep=True)
    assert found.others == ()


@pytest.mark.parametrize(("name", "says"), [("c.mcap", "no recording"), ("gone.mcap", "no such file")])
def test_what_is_wrong_with_a_file_is_one_line(archive: Path, name: str, says: str) -> None:
    outcome = judge_one(str(archive / name), Way())
    assert outcome["state"] == "failed"
    assert says in outcome["error"]
    assert name in outcome["error"]
    assert "\n" not in outcome["error"]
    assert not verdicts_of(archive / name).exists()


def test_a_folder_that_cannot_be_written_fails_its_recordings(archive: Path) -> None:
    verdicts_of(archive / "b.mcap").mkdir()  # also root cannot put a file there
    outcome = judge_one(str(archive / "b.mcap"), Way())
    assert outcome["state"] == "failed"
    assert "b.verdicts" in outcome["error"]


def test_work_that_is_given_up_leaves_nothing(archive: Path) -> None:
    def stop(seconds: float) -> None:
        if seconds > 1.0:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        judge_one(str(archive / "b.mcap"), Way(), stop)
    assert sorted(one.name for one in archive.iterdir()) == ["ana", "b.mcap", "c.mcap"]
