"""Names that a person or another program chose: no command for a terminal, no formula for a spreadsheet."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from pathlib import Path

import pytest
from commands import Commands
from sessions import begin

from imufeedback.cli.output import print_reps, say, show
from imufeedback.document import Document, JudgedRep
from imufeedback.record.exports import ExportSource, reps
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Finding, Hand, Rep, Verdict
from imufeedback.report.summary import Summary

EVIL = "\x1b]0;owned\x07\x1b[2J=1+1"


def test_lines_show_escapes(capsys: pytest.CaptureFixture[str]) -> None:
    say(f"a {EVIL}")
    show(f"b {EVIL}\nc")
    out, err = capsys.readouterr()
    assert "\x1b" not in out + err
    assert out == "b \\x1b]0;owned\\x07\\x1b[2J=1+1\\nc\n"


def test_a_list_of_recordings_shows_escapes(imufeedback: Commands, tmp_path: Path) -> None:
    with JournalWriter(tmp_path / "x\x1b[31m.mcap", title=EVIL, started=datetime.now(UTC)) as journal:
        journal.write(begin("house"))
    for words in (("list", "--library", tmp_path), ("check", journal.path)):
        ended = imufeedback("recordings", *words)
        assert ended.status == 0
        assert "\x1b" not in ended.out + ended.err
        assert "\\x1b" in ended.out


def test_what_stands_in_brackets_is_no_markup(capsys: pytest.CaptureFixture[str]) -> None:
    summary = Summary(Hand.RIGHT)
    rep = Rep(0, "[/] [bold]", 0.0, 1.0, {}, (), {})
    summary([rep, Finding("one", 0, 0.5, 1.0, 2.0, "deg", Verdict.FAULT, f"[/b] {EVIL}", "stalled", 0.0)])
    print_reps(summary)
    out = capsys.readouterr().out
    assert "[/b]" in out
    assert "\x1b" not in out


@pytest.mark.parametrize("kind", ["=1+1", "+1", "-2", "@SUM(A1)", "\t=1", " =cmd|' /C calc'!A0"])
def test_a_formula_in_an_export_is_a_text(tmp_path: Path, kind: str) -> None:
    rep = JudgedRep(
        index=0, kind=kind, start_s=0.0, end_s=1.0, positions={"top_s": 0.5}, features={"trail_thigh_growth_deg": -3.5},
        findings=[], cues=[],
    )  # fmt: skip
    summary = Document(version="1", reps=[rep])
    source = ExportSource(tmp_path / "x.mcap", trace=None, summary=summary, grid_hz=200.0)  # type: ignore[arg-type]
    reps.write(source, tmp_path / "reps.csv")
    with open(tmp_path / "reps.csv", encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["kind"] == f"'{kind}"
    assert row["trail_thigh_growth_deg"] == "-3.5", "numbers stay numbers"
