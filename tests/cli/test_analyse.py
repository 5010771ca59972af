"""``analyse``: summaries, damaged recordings, and files that are none."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest
from commands import Commands

from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Command, RawPacket


def test_the_summary_has_the_documented_fields(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    ended = imufeedback("analyse", recording, "--json", tmp_path / "a.json", "--angles", tmp_path / "a.csv")
    assert ended.status == 0
    assert "trail" in ended.out
    summary = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert set(summary) >= {"version", "player", "sensors", "calibration", "reps", "totals", "recording", "notes"}
    assert summary["player"] == {"hand": "right"}
    assert summary["calibration"]["level"] == "good"
    assert set(summary["calibration"]["segments"]) == {"pelvis", "left_thigh", "right_thigh"}
    (rep,) = summary["reps"]
    assert set(rep) >= {"index", "kind", "start_s", "end_s", "positions", "features", "findings", "cues"}
    assert set(rep["positions"]) >= {"address_s", "top_s", "level_s", "impact_s", "finish_s"}
    for mark in ("address", "top", "level", "impact", "finish"):
        for angle in ("trail_thigh_angle", "trail_hip_rotation", "lead_hip_rotation"):
            assert f"{angle}_{mark}_deg" in rep["features"]
    assert {one["sound"] for one in rep["cues"]} == {"rep-counted"}
    assert summary["totals"]["lost"] > 0
    rows = (tmp_path / "a.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0].startswith(
        "time_s,pelvis_turn_deg,pelvis_side_tilt_deg,pelvis_forward_tilt_deg,left_hip_flexion_deg"
    )
    assert len(rows) > 1000


def test_the_fields_are_documented(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    """Every name in the JSON stands in the document beside the code."""
    document = Path(__file__).parents[2] / "imufeedback" / "report" / "SUMMARY.md"
    text = document.read_text(encoding="utf-8")
    imufeedback("analyse", recording, "--json", tmp_path / "a.json")
    summary = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    names = {
        *summary,
        *summary["totals"],
        *summary["sensors"][0],
        *summary["reps"][0],
        *summary["reps"][0]["positions"],
    }
    assert {name for name in names if name not in text} == set()


def test_another_filter(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    tops = {}
    for name in ("vqf", "mahony"):
        assert imufeedback("analyse", recording, "--filter", name, "--json", tmp_path / f"{name}.json").status == 0
        summary = json.loads((tmp_path / f"{name}.json").read_text(encoding="utf-8"))
        tops[name] = summary["reps"][0]["features"]["trail_thigh_angle_top_deg"]
    assert tops["vqf"] == pytest.approx(tops["mahony"], abs=8.0)
    assert tops["vqf"] != tops["mahony"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "the file is empty"),
        (b"time_s,gyr_x\n0,1\n", "no recording"),
        (bytes(range(256)) * 40, "no recording"),
    ],
)
def test_a_file_that_is_no_recording(imufeedback: Commands, tmp_path: Path, content: bytes, says: str) -> None:
    (tmp_path / "a.mcap").write_bytes(content)
    ended = imufeedback("analyse", tmp_path / "a.mcap")
    assert ended.status == 1
    assert says in ended.error
    assert str(tmp_path / "a.mcap") in ended.error


def test_no_file_and_a_folder(imufeedback: Commands, tmp_path: Path) -> None:
    assert "no such file" in imufeedback("analyse", tmp_path / "b.mcap").error
    ended = imufeedback("analyse", tmp_path)
    assert ended.status == 1
    assert "folder" in ended.error


def test_a_torn_recording_gives_all_up_to_the_tear_with_a_note(
    imufeedback: Commands, recording: Path, tmp_path: Path
) -> None:
    torn = tmp_path / "torn.mcap"
    data = recording.read_bytes()
    torn.write_bytes(data[: len(data) - len(data) // 50])
    ended = imufeedback("analyse", torn, "--json", tmp_path / "a.json")
    assert ended.status == 0
    assert "breaks off at byte" in ended.err
    summary = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert len(summary["reps"]) == 1
    assert "breaks off" in summary["notes"][0]


def test_a_damaged_recording_gives_the_rest_with_a_note(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    data = bytearray(recording.read_bytes())
    packet = next(one for one in read_items(recording) if isinstance(one, RawPacket) and one.host_ns > 10**10)
    data[data.index(packet.payload) + 3] ^= 0x55
    (tmp_path / "damaged.mcap").write_bytes(data)
    ended = imufeedback("analyse", tmp_path / "damaged.mcap")
    assert ended.status == 0
    assert "damaged at byte" in ended.err


def test_a_recording_without_its_first_item(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    data = bytearray(recording.read_bytes())
    data[data.index(b"rule_set") + 2] ^= 0x55
    (tmp_path / "damaged.mcap").write_bytes(data)
    ended = imufeedback("analyse", tmp_path / "damaged.mcap")
    assert ended.status == 1
    assert "its beginning is damaged" in ended.error


def test_a_recording_whose_settings_make_no_sense_is_the_files_fault(imufeedback: Commands, tmp_path: Path) -> None:
    with JournalWriter(tmp_path / "odd.mcap") as journal:
        journal.write(Command(0, "begin", {"sensors": [{"id": "a", "role": "elbow", "layout": "house"}]}))
    ended = imufeedback("analyse", tmp_path / "odd.mcap")
    assert ended.status == 1
    assert "odd.mcap" in ended.error


def test_a_recording_without_reps_and_calibration(imufeedback: Commands, folder: Path, tmp_path: Path) -> None:
    imufeedback("import", folder, "--out", tmp_path / "a.mcap")
    ended = imufeedback("analyse", tmp_path / "a.mcap", "--json", tmp_path / "a.json", "--angles", tmp_path / "a.csv")
    assert ended.status == 0
    assert "No reps found." in ended.out
    assert "no calibration" in ended.err
    assert json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["reps"] == []


@pytest.mark.parametrize("option", ["--json", "--angles"])
def test_nothing_is_overwritten_without_being_told(
    imufeedback: Commands, recording: Path, tmp_path: Path, option: str
) -> None:
    (tmp_path / "a").write_text("already here", encoding="utf-8")
    ended = imufeedback("analyse", recording, option, tmp_path / "a")
    assert ended.status == 1
    assert "--overwrite" in ended.error
    assert (tmp_path / "a").read_text(encoding="utf-8") == "already here"
    assert imufeedback("analyse", recording, option, tmp_path / "a", "--overwrite").status == 0
    assert (tmp_path / "a").read_text(encoding="utf-8") != "already here"


def test_an_output_folder_that_is_a_file(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    ended = imufeedback("analyse", recording, "--json", tmp_path / "file" / "a.json")
    assert ended.status == 1
    assert "no folder" in ended.error


def test_a_players_own_limits_judge_anew(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text("format = 1\n[limits]\nlead-hip-turns-in = 90.0\n", encoding="utf-8")
    ended = imufeedback("analyse", recording, "--json", tmp_path / "own.json", "--limits", own)
    assert ended.status == 0
    (rep,) = json.loads((tmp_path / "own.json").read_text(encoding="utf-8"))["reps"]
    assert [one["limit"] for one in rep["findings"] if one["rule"] == "lead-hip-turns-in"] == [90.0]


def test_a_limits_file_that_cannot_be_read_is_named(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text("format = 1\nlimit = 3\n", encoding="utf-8")
    ended = imufeedback("analyse", recording, "--limits", wrong)
    assert ended.status != 0
    assert "wrong.toml" in ended.err


@pytest.mark.parametrize("value", ["nan", "inf", "-inf"])
def test_a_limit_cannot_switch_its_rule_off(imufeedback: Commands, recording: Path, tmp_path: Path, value: str) -> None:
    own = tmp_path / "own.toml"
    own.write_text(f"format = 1\n[limits]\ntrail-thigh-keeps-falling = {value}\n", encoding="utf-8")
    ended = imufeedback("analyse", recording, "--limits", own)
    assert ended.status == 1
    assert "own.toml: limits.trail-thigh-keeps-falling = " in ended.error


def test_a_misspelt_limit_is_told_with_the_nearest_and_all_is_judged(
    imufeedback: Commands, recording: Path, tmp_path: Path
) -> None:
    own = tmp_path / "own.toml"
    own.write_text("format = 1\n[limits]\ntrail-thigh-keeps-faling = 9.0\n", encoding="utf-8")
    ended = imufeedback("analyse", recording, "--limits", own)
    assert ended.status == 0
    assert ended.err.count("is 'trail-thigh-keeps-falling' meant?") == 1
    many = imufeedback("analyse", recording, recording, "--limits", own)
    assert many.status == 0
    assert "is 'trail-thigh-keeps-falling' meant?" in many.err


@pytest.mark.skipif(sys.platform == "win32", reason="pipes in folders are a POSIX thing")
def test_a_pipe_is_refused_at_once(imufeedback: Commands, recording: Path, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.mcap"
    os.mkfifo(pipe)
    assert "this is a pipe" in imufeedback("analyse", pipe).error
    assert "this is a pipe" in imufeedback("analyse", recording, "--limits", pipe).error
