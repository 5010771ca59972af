"""``sounds`` and what ``latency`` refuses."""

from __future__ import annotations

from pathlib import Path

from commands import Commands

from imufeedback.cues.waveforms import MEANINGS


def test_every_sound_is_listed_with_its_meaning(imufeedback: Commands) -> None:
    ended = imufeedback("sounds")
    assert ended.status == 0
    lines = ended.out.splitlines()
    assert [line.split()[0] for line in lines] == list(MEANINGS)
    assert all(meaning in ended.out for meaning in MEANINGS.values())


def test_a_sound_that_does_not_exist(imufeedback: Commands) -> None:
    ended = imufeedback("sounds", "--play", "gong")
    assert ended.status == 2
    assert "stalled" in ended.error


def test_a_picture_of_another_kind_is_refused_before_any_work(imufeedback: Commands, tmp_path: Path) -> None:
    ended = imufeedback("latency", "--picture", tmp_path / "a.gif")
    assert ended.status == 2
    assert ".svg" in ended.error
