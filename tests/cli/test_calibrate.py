"""``fit``: a recording fitted again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from commands import Commands

LESSON = Path(__file__).parents[2] / "recordings" / "first_lesson.mcap"


def test_by_its_own_movements(imufeedback: Commands, tmp_path: Path) -> None:
    ended = imufeedback("calibrate", LESSON, "--json", tmp_path / "f.json")
    assert ended.status == 0
    assert "right knee" in ended.err
    assert "Calibration good" in ended.out
    document = json.loads((tmp_path / "f.json").read_text(encoding="utf-8"))
    assert document["level"] == "good"
    assert [one["segment"] for one in document["segments"]] == ["pelvis", "left_thigh", "right_thigh"]


def test_by_windows(imufeedback: Commands) -> None:
    ended = imufeedback("calibrate", LESSON, "--still", "0.8:3.5", "--flex", "4:16")
    assert ended.status == 0
    assert "standing + flexion" in ended.out


def test_a_window_of_movement_for_standing_is_refused_with_the_reason(imufeedback: Commands) -> None:
    ended = imufeedback("calibrate", LESSON, "--still", "4:8", "--flex", "4:16")
    assert ended.status == 1
    assert "moved while standing" in ended.err
    assert "no calibration came of it" in ended.error


def test_half_of_the_windows_is_wrong_usage(imufeedback: Commands) -> None:
    assert imufeedback("calibrate", LESSON, "--still", "1:2").status == 2


def test_kept_for_the_player(imufeedback: Commands, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    assert imufeedback("calibrate", LESSON, "--keep").status == 0
    (kept,) = (tmp_path / "fits").iterdir()
    assert json.loads(kept.read_text(encoding="utf-8"))["fit"]["segments"]
