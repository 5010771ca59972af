"""A rep that could not be judged, in everything that the command line prints and writes."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from commands import Commands
from sessions import steady_session

from imufeedback.record.journal import JournalWriter
from imufeedback.records import Segment
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script

REASON = "right thigh: samples of its sensor are missing"


@pytest.fixture(name="spoilt", scope="module")
def recording_with_an_outage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three reps; the trail thigh's sensor is silent for 0.1 s in the second downswing."""
    script = make_script(pace=Pace.FULL, reps=3, seed=2)
    rep = script.truth.reps[1]
    from_s = rep.top_s + 0.1
    with JournalWriter(tmp_path_factory.mktemp("spoilt") / "three.mcap", title="three") as journal:
        for item in steady_session(script, silent=Segment.RIGHT_THIGH, from_s=from_s, to_s=from_s + 0.1):
            journal.write(item)
    return journal.path


def test_analyse_tells_it_in_the_table_and_counts_it_nowhere(
    imufeedback: Commands, spoilt: Path, tmp_path: Path
) -> None:
    done = imufeedback("analyse", str(spoilt), "--json", str(tmp_path / "a.json"))
    assert done.status == 0
    assert f"does not count: {REASON}" in " ".join(done.out.replace("│", " ").split())
    summary = json.loads((tmp_path / "a.json").read_text())
    good, void, other = summary["reps"]
    assert (good["void"], other["void"]) == (None, None)
    assert void["void"].startswith(REASON)
    assert (void["index"], void["features"], void["findings"]) == (1, {}, [])
    assert set(void["positions"]) <= {"address_s", "top_s", "finish_s"}
    assert "rep-counted" not in [one["sound"] for one in void["cues"]]
    assert [one["sound"] for one in other["cues"]] == ["rep-counted"]
    assert (summary["totals"]["reps"], summary["totals"]["void"]) == (2, 1)
    assert summary["tones"]["with"]["reps"] == 2


def test_exports_say_why(imufeedback: Commands, spoilt: Path, tmp_path: Path) -> None:
    assert imufeedback("export", str(spoilt), "--format", "reps", "--out", str(tmp_path / "reps.csv")).status == 0
    good, void, other = list(csv.DictReader((tmp_path / "reps.csv").read_text().splitlines()))
    assert (good["void"], other["void"]) == ("", "")
    assert void["void"].startswith(REASON)
    assert void["trail_thigh_angle_min_deg"] == ""


def test_the_table_of_many_says_why(imufeedback: Commands, spoilt: Path, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    done = imufeedback("analyse", str(spoilt.parent), "--out", str(tmp_path / "all.parquet"), "--workers", "1")
    assert done.status == 0
    assert "2 reps, 0 with a fault, 1 without a result" in done.out
    void = parquet.read_table(tmp_path / "all.parquet")["void"].to_pylist()
    assert [bool(one) for one in void] == [False, True, False]


def test_the_list_of_recordings_and_the_report(imufeedback: Commands, spoilt: Path, tmp_path: Path) -> None:
    assert imufeedback("report", str(spoilt), "--out", str(tmp_path / "a.html")).status == 0
    page = (tmp_path / "a.html").read_text()
    assert "<b>2 of 2</b> reps without a fault" in page
    assert "Without a result, and counted nowhere: 1 rep" in page
    assert f"does not count: {REASON}" in page
    assert "<s>2</s>" in page
    done = imufeedback("recordings", "list", "--library", str(spoilt.parent))
    assert "2 reps, 0 with a fault, 1 without a result" in done.out
