"""``demo`` where something is missing: it says so in one line and goes on, or ends with one line."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import pytest
from commands import Commands, Ended

from imufeedback import audio
from imufeedback.app import display
from imufeedback.constants import CAUTIONS
from imufeedback.errors import SoundError
from imufeedback.record.replay import read_items

SCREENS = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")


@pytest.fixture(name="fast", scope="module")
def run_once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Ended, Path]:
    """One whole demo as fast as it goes; several tests look at it."""
    import subprocess
    import sys

    out = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [
            *(sys.executable, "-m", "imufeedback", "demo", "--headless", "--no-realtime", "--reps", "1"),
            *("--pace", "full", "--flaw", "stall", "--out", str(out / "new" / "folder"), "--json", str(out / "a.json")),
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=600,  # for one that hangs: how long it takes is the machine's business
    )
    return Ended(done.returncode, done.stdout, done.stderr), out


def test_prints_a_table_and_where_the_recording_is(fast: tuple[Ended, Path]) -> None:
    ended, out = fast
    assert ended.status == 0, ended.err
    (recording,) = (out / "new" / "folder").glob("*.mcap")
    assert f"Recording: {recording}" in ended.out
    assert "stalled" in ended.out
    assert read_items(recording).title == "demo"


def test_the_first_screen_has_the_cautions(fast: tuple[Ended, Path]) -> None:
    lines = fast[0].err.splitlines()
    assert [line.removeprefix("! ") for line in lines[: len(CAUTIONS)]] == list(CAUTIONS)


def test_says_that_there_is_no_window_and_no_sound(fast: tuple[Ended, Path]) -> None:
    assert "no window, and no sound" in fast[0].err


def test_the_json_has_the_truth(fast: tuple[Ended, Path]) -> None:
    document: dict[str, Any] = json.loads((fast[1] / "a.json").read_text(encoding="utf-8"))
    (rep,), (truth,) = document["reps"], document["truth"]["reps"]
    assert rep["positions"]["top_s"] == pytest.approx(truth["top_s"], abs=0.03)
    finding, finish = rep["findings"]
    assert (finding["rule"], finish["rule"]) == ("trail-thigh-keeps-falling", "trail-thigh-reaches-target")
    assert finding["t_s"] == pytest.approx(truth["stall_s"], abs=0.2)  # typical sensors, slow pace
    (amiss,) = truth["amiss"]
    assert (amiss["flaw"], amiss["size"], amiss["lasts_deg"]) == ("stall", 1.0, None)
    assert 0.3 < amiss["onset"] < 0.55
    assert Path(document["recording"]).is_file()
    assert document["totals"]["rejected"] == 0


def test_a_folder_that_cannot_be_made(imufeedback: Commands, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    for out in ("file", "file/below"):
        ended = imufeedback("demo", "--headless", "--no-realtime", "--reps", "0", "--out", tmp_path / out)
        assert ended.status == 1
        assert str(tmp_path / out) in ended.error
        assert "--out" in ended.error


def test_a_json_file_that_exists_is_refused_before_any_work(imufeedback: Commands, tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text("already here", encoding="utf-8")
    ended = imufeedback("demo", "--headless", "--no-realtime", "--out", tmp_path / "r", "--json", tmp_path / "a.json")
    assert ended.status == 1
    assert "--overwrite" in ended.error
    assert not (tmp_path / "r").exists()
    assert (tmp_path / "a.json").read_text(encoding="utf-8") == "already here"


def test_no_display_is_said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    from imufeedback.cli import demo

    for name in SCREENS:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    assert not demo._has_display()
    said = capsys.readouterr().err
    assert said.startswith("no window: ")
    assert "there is no screen" in said
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    ("complaint", "says"),
    [
        ("ImportError: libEGL.so.1: cannot open shared object file: No such file", "libEGL.so.1 is missing"),
        ("qt.qpa.plugin: From 6.5.0, xcb-cursor0 or libxcb-cursor0 is needed", "libxcb-cursor.so.0 is missing"),
        ("qt.qpa.xcb: could not connect to display :77", "does not answer"),
        ("ModuleNotFoundError: No module named 'PySide6'", "PySide6 is not installed"),
    ],
)
def test_without_qts_system_libraries_it_says_which_and_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], complaint: str, says: str
) -> None:
    from imufeedback.cli import demo

    monkeypatch.setenv("DISPLAY", ":77")
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setattr(display, "_probe", lambda environment: complaint)
    assert not demo._has_display()
    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1
    assert "apt-get install" in said or "pip install" in said or "desktop session" in said


def test_a_real_demo_without_screen_and_sound_goes_on(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """At the pace of life, but with nothing to play: a golfer who does no rep and is stopped at once."""
    from imufeedback.live.practice import Practice

    for name in SCREENS:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setattr(audio.open_player, "__defaults__", (time.monotonic_ns, _no_device, None))
    monkeypatch.setattr(Practice, "wait", lambda practice: None)
    ended = imufeedback("demo", "--reps", "0", "--out", tmp_path)
    assert ended.status == 0, ended.err
    assert "no window: " in ended.err
    assert "no sound device" in ended.err
    assert "goes on without sound" in ended.err
    assert "No reps found." in ended.out
    (recording,) = tmp_path.glob("*.mcap")
    opened = read_items(recording)
    assert list(opened)
    assert opened.complete


def _no_device() -> Any:
    raise SoundError("no sound device", where="sound", hint="connect a speaker and start again")
